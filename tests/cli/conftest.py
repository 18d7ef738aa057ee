"""Commands run here in this process."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def figures_in_outline(request, monkeypatch):
    """Drawing is most of a command's time: but for tests marked ``draws``, figures' files are written and not drawn."""

    def outline(drawn, target, **options):
        if isinstance(target, Path):
            target.write_bytes(b"\x89PNG\r\n\x1a\n")
        else:
            target.write('<svg xmlns="http://www.w3.org/2000/svg"></svg>')

    if "draws" not in request.keywords:
        monkeypatch.setattr("panbudget.reports.canvas._save", outline)
