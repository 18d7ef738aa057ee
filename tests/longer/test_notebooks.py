"""The notebooks: kept without output, and running from top to bottom."""

from __future__ import annotations

import os
import re
from pathlib import Path

import nbformat
import pytest

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
#: notebook -> what its output must hold: text, and a mark of what its page or picture shows
EXPECTED = {
    "replay-last-summer": ([r"The valve yard opened\s\d+\stimes in 123\sdays", "radiation"], "image/png"),
    "compare-two-pans-in-a-heat-wave": (
        [
            r"The made-up heat wave of 8 to 15 July 2023: 8\sdays",
            r"wide-pan, yard: \d+\sopenings in place of \d+",
            r"swamped",
            r"worst_depletion_percent",
        ],
        "image/png",
    ),
    "season-totals": (
        [r"July 2022 to June 2023", r"Drawn: \d+\.\d\d\sm³, on \d+\sdays of use", "metered", r"acre-foot 0\.\d{5}\+"],
        "certified by nobody",
    ),
}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_kept_without_output(path):
    for cell in nbformat.read(path, as_version=4).cells:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
@pytest.mark.filterwarnings("ignore")  # of the kernel's own machinery; the cells' are turned into errors by an option
def test_a_notebook_runs_from_top_to_bottom(path, tmp_path, monkeypatch):
    from nbclient import NotebookClient

    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]))
    book = nbformat.read(path, as_version=4)
    NotebookClient(book, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}).execute()
    text = "\n".join(
        str(output.get("text", "")) + str(output.get("data", {}).get("text/plain", ""))
        for cell in book.cells
        for output in cell.get("outputs", [])
    )
    words, shown = EXPECTED[path.stem]
    for word in words:
        assert re.search(word, text), word
    assert "Traceback" not in text
    assert any(shown in str(o.get("data", {})) for c in book.cells for o in c.get("outputs", []))
