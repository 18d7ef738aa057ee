"""
Command line: `open`, the garden's page on this machine.
"""

from pathlib import Path

from panbudget.cli import command, say
from panbudget.extras import wants_extra


@command
def open(folder: Path, port: int = 0, browser: bool = True) -> None:
    """
    Open your garden's page in the browser: answer a few questions, then move sliders and see the season. This machine only.

    Example:  panbudget open my-garden
    """
    wants_extra("nicegui", extra="page")
    from panbudget.page.server import serve

    serve(folder, port=port, browser=browser, ready=say)
