"""Every verb on a garden described in US units: its pages, papers and lines have no metric unit, and no US unit the other way."""

from __future__ import annotations

import html
import io
import re

import pytest
from pypdf import PdfReader

from panbudget.__main__ import main
from tests.garden_file import write_garden, years_csv
from tests.test_units_shown import METRIC, US, plain_text

#: command -> what it takes beside the garden
VERBS = {
    "check": ["--all"],
    "replay": [],
    "compare": ["--with-base", "--variant", "wide"],
    "setup": [],
    "away": ["--from", "2021-07-20", "--to", "2021-07-30"],
    "faults": [],
    "size": [],
    "today": ["--day", "2021-07-20", "--sheet"],
    "statement": [],
    "fit": ["log.csv"],
}
# what may stand there nevertheless, and why
ALLOWED = {
    r"units that nobody states[^.]*?MJ/m²": "the units in which a file's own columns are read",
    r"pan\.\w+ = .*|valve\.\S+ = .*": "text to paste, the same as the file for machines beside it",
    r"\w+_(?:mm|ml|kg)\b": "columns of the field log, a file",
    r"(?:km/h|inches|°F|tenths|hPa)[^.;]* for [^.;]*": "checks of a file's columns, named by the units that they look for",
    r"(?s)1 US gal = .*?six\s+millionths": "what units of a form are, exactly",
    r"uncertainty\.\S+ = .*": "text to paste, as above",
    r"\d[\d.\u202f]* m/s(?: at 2 m)?(?= [a-z]*,? which looks)": "a doubt about a file's column, in the unit in which it is read",
}
SUPPLY = {
    "US": 'kind = "mains"\npressure = "22 psi"\n[supply.spring.right]\nvolume_unit = "gal"\nrate_unit = "gal/min"\narea_unit = "acre"',
    "metric": 'kind = "mains"\npressure = "150 kPa"',
}
MORE = """
[show]
units = "{system}"
[variant.wide]
controller.upper.pan.vessels = [{{ diameter = "24 in" }}]
"""


def _texts(folder):
    """Return what pages and papers in a folder say, by file."""
    texts = {path.name: html.unescape(plain_text(path.read_text(encoding="utf-8"))) for path in folder.glob("*.html")}
    for path in folder.glob("*.pdf"):
        texts[path.name] = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(path.read_bytes())).pages)
    return texts


@pytest.mark.draws
@pytest.mark.parametrize("system", ["US", "metric"])
def test_no_page_paper_or_line_mixes_units(tmp_path, capsys, monkeypatch, system):
    monkeypatch.chdir(tmp_path)
    write_garden(tmp_path, years_csv(2019, 2021), supply=SUPPLY[system], more=MORE.format(system=system))
    rows = "".join(f"2021-07-{day:02d},08:00,upper,{150 + day % 3},2\n" for day in range(2, 22, 2))
    (tmp_path / "log.csv").write_text("date,time,controller,level_mm,openings\n" + rows, encoding="utf-8")
    strays = []
    for verb, options in VERBS.items():
        with pytest.raises(SystemExit) as end:
            main([verb, "garden.toml", *options, "--out", verb])
        captured = capsys.readouterr()
        assert end.value.code == 0, captured.err
        texts = {f"{verb}: lines": captured.out} | {
            f"{verb}/{name}": text for name, text in _texts(tmp_path / verb).items()
        }
        for where, text in texts.items():
            for allowed in ALLOWED:
                text = re.sub(allowed, "", text)
            found = (METRIC if system == "US" else US).finditer(text)
            strays += [f"{where}: {text[max(m.start() - 40, 0) : m.end() + 20]}" for m in found]
    assert not strays, "\n".join(strays)
    papers = {"US": (612.0, 792.0), "metric": (595.28, 841.89)}
    box = PdfReader(tmp_path / "setup" / "setup.pdf").pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(papers[system], abs=1.0)
