"""
Command line: parse, call, print. Whatever a command can do, a Python user can do in one call.

A module a verb, which puts its command on `options.app` when it is imported. Heavy imports wait until a command needs
them, so that ``--help`` is quick.
"""

import importlib
import sys
from typing import Annotated

import typer

from panbudget.cli.options import TEXTS, app
from panbudget.errors import PanbudgetError

_BAD_INPUT, _INTERRUPTED = 2, 130
# in the order in which --help lists them
VERBS = (
    "new",
    "weather",
    "check",
    "replay",
    "known",
    "compare",
    "setup",
    "away",
    "faults",
    "fit",
    "size",
    "statement",
    "sweep",
)
for _verb in VERBS:
    importlib.import_module(f"panbudget.cli.{_verb}")


def _version(wanted: bool) -> None:
    if wanted:
        import importlib.metadata

        typer.echo(f"panbudget {importlib.metadata.version('panbudget')}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    """Take what goes before a command."""


def main(arguments: list[str] | None = None) -> None:
    """
    Run the command line.

    Exit codes: 0 done; 1 with ``--strict`` when a finding is a danger; 2 bad input; 130 interrupted.
    """
    try:
        code = app(args=arguments, standalone_mode=False)
    except PanbudgetError as error:
        typer.echo(str(error), err=True)
        hints = TEXTS["hints"]  # options, which the library does not know
        for hint in dict.fromkeys(hints[problem.code] for problem in error.problems if problem.code in hints):
            typer.echo(hint, err=True)
        code = _BAD_INPUT
    except KeyboardInterrupt:
        code = _INTERRUPTED
    except Exception as error:  # typer's own message for a mistake in the call; anything else is a bug of ours
        if type(error).__name__ == "Abort":
            code = _INTERRUPTED
        elif callable(show := getattr(error, "show", None)) and isinstance(getattr(error, "exit_code", None), int):
            show()
            code = _BAD_INPUT
        else:
            raise
    if code == _INTERRUPTED:
        typer.echo("Interrupted; nothing half-made is left.", err=True)
    sys.exit(code if isinstance(code, int) else 0)
