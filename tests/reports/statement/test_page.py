"""The files: hostile names do no harm, equal input gives equal bytes, every number leads back to season.json."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import re
from decimal import Decimal

import pypdf
import pytest

from panbudget import scenario_from
from panbudget.reports.statement.page import months_table
from panbudget.reports.statement.pdf import statement_pdf
from panbudget.reports.statement.sheet import statement_sheet
from panbudget.reports.writing import as_json, as_page
from panbudget.reports.writing import write_into as write_statement
from panbudget.studies.statement.account import statement

HOSTILE = '=HYPERLINK("http://x","<script>alert(1)</script>") {nb} Æøλж 水🌊'
BED = "=1+2|<b>{{ 7*7 }}"


@pytest.fixture(scope="module")
def hostile(state):
    """A statement whose holder and bed try to be a formula, a script and a page number."""
    made = state({"holder": HOSTILE, "reference": "+1", "purpose": "@SUM(A1)", "point_of_diversion": "-2"}, days=31)
    raw = dict(made.season.scenario.described)
    upper = dict(raw["controller"]["upper"])
    upper["bed"] = {BED: upper["bed"]["tomatoes"]}
    raw["controller"] = {"upper": upper}
    return statement(scenario_from(raw, made.season.scenario.path))


@pytest.fixture(scope="module")
def written(hostile, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out")
    write_statement(hostile, folder)
    return folder


def test_hostile_names_are_text_in_the_page(written):
    page = (written / "statement.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "<b>" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "{{ 7*7 }}" in page and "49" not in page.split("<body>")[1].split("{{ 7*7 }}")[1][:5]


def test_hostile_names_are_no_formulas_in_any_csv(written):
    for name in ("statement.csv", "daily.csv", "openings.csv"):
        rows = list(csv.reader(io.StringIO((written / name).read_text(encoding="utf-8"))))
        for row in rows:
            for cell in row:
                try:
                    assert math.isfinite(float(cell or 0))
                except ValueError:
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell
    rows = (written / "statement.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    first = next(csv.DictReader(row for row in rows if not row.startswith("#")))
    assert first["holder"] == "'" + HOSTILE
    assert first["reference"] == "'+1"


def test_a_headroom_below_zero_stays_a_number(state):
    table = months_table(state({"volume": "1 L"}, days=31))
    assert float(table["headroom"].iloc[0]) < 0


@pytest.mark.parametrize(("file", "width"), [("statement-a4.pdf", 595.28), ("statement-letter.pdf", 612.0)])
def test_hostile_names_are_text_in_the_pdf_and_one_page_is_enough(written, file, width):
    read = pypdf.PdfReader(written / file)
    assert len(read.pages) == 1
    assert float(read.pages[0].mediabox.width) == pytest.approx(width, abs=0.1)
    text = read.pages[0].extract_text()
    # broken over lines where it fits; what the font lacks is a box
    assert '=HYPERLINK("http://x","<script>alert(1)</script>"){nb}Æøλж□□' in "".join(text.split())
    assert "□ stands for a letter that this file's font lacks" in text
    assert "page 1 of 1" in text
    for said in ("certified by nobody", "Prepared by", "Signature", "SHA-256", BED[:10]):
        assert said in text
    assert read.metadata.creation_date.year == 2000  # none of its own: equal input, equal bytes
    assert "/Annots" not in read.pages[0]  # nothing to click


def test_ordinary_names_need_no_box(state):
    text = pypdf.PdfReader(
        io.BytesIO(statement_pdf(statement_sheet(state({"holder": "Zoë Łoś"}, days=31)), "A4"))
    ).pages[0]
    assert "Zoë Łoś" in text.extract_text()
    assert "□" not in text.extract_text()


def test_many_sources_run_over_several_numbered_pages(state):
    sheet = statement_sheet(state({"volume": "9 m^3"}, days=31))
    many = dataclasses.replace(sheet, sections=sheet.sections * 5)
    read = pypdf.PdfReader(io.BytesIO(statement_pdf(many, "A4")))
    assert len(read.pages) > 1
    assert f"page 2 of {len(read.pages)}" in read.pages[1].extract_text()


@pytest.mark.draws
def test_two_runs_give_the_same_bytes(hostile, written, tmp_path):
    again = tmp_path / "again"
    again.mkdir()
    write_statement(statement(hostile.season.scenario), again)
    names = sorted(path.name for path in written.iterdir())
    assert names == sorted(path.name for path in again.iterdir())
    for name in names:
        assert (written / name).read_bytes() == (again / name).read_bytes(), name


def found(season, path):
    """Follow a path such as "supplies.spring.litres" into season.json."""
    at = season
    for part in path.split("."):
        at = at[part]
    return at


def test_every_number_leads_back_to_season_json(state, tmp_path):
    made = state({"volume": "9 m^3"})
    write_statement(made, tmp_path)
    season = json.loads((tmp_path / "season.json").read_text(encoding="utf-8"))
    said = json.loads((tmp_path / "statement.json").read_text(encoding="utf-8"))
    source = said["sources"]["spring"]
    origin = source["from"]
    assert source["litres"] == found(season, origin["litres"])
    assert source["largest_rate"]["l_per_h"] == found(season, origin["largest_rate"])
    assert source["peak_day"] == found(season, origin["peak_day"])
    by_month = found(season, origin["months"])
    months = {key: month for year in source["water_years"] for key, month in year["months"].items()}
    assert {key: month["litres"] for key, month in months.items()} == by_month
    beds = {line["bed"]: line for line in source["beds"]}
    for bed, path in origin["beds"].items():
        if bed == "pans":
            assert path == "1 × controllers.upper.refilled_kg"
            assert beds[None]["applied"] == season["controllers"]["upper"]["refilled_kg"]
        else:
            assert beds[bed]["applied"] == season["beds"][bed]["litres"]
    assert source["crops"]["tomato"]["litres"] == beds["upper/tomatoes"]["applied"]
    assert said["provenance"] == season["provenance"]


def test_the_json_and_the_csv_say_the_same(state):
    made = state({"volume_unit": "gal", "volume": "900 gal"})
    months = as_json(made)["sources"]["spring"]["water_years"][0]["months"]
    for row in months_table(made).to_dict("records"):
        assert float(row["modelled"]) == months[row["month"]]["printed"]["modelled"]
        assert float(row["headroom"]) == months[row["month"]]["printed"]["headroom"]
        assert row["modelled_litres"] == months[row["month"]]["litres"]
        assert row["metered"] == ""


def test_a_notebook_can_show_the_page(state):
    page = as_page(state(None, days=31))
    assert page.startswith("<!DOCTYPE html>")
    assert "Statement of water drawn" in page


def test_invented_weather_is_marked_on_every_page_and_what_is_signed_is_not_alone(state):
    sheet = statement_sheet(state({"attestation": "I stand by this."}, days=31))
    for copies in (1, 3):
        marked = dataclasses.replace(sheet, mark="INVENTED WEATHER", sections=sheet.sections * copies)
        pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(statement_pdf(marked, "A4"))).pages]
        assert all("INVENTED WEATHER" in page for page in pages)
        (signed,) = [page for page in pages if "Signature" in page]
        assert signed is pages[-1]
        for text in ("Consumption.", "Units and rounding.", "I stand by this.", "SHA-256"):
            assert text in signed
        assert signed.index("I stand by this.") < signed.index("Prepared by")
    assert '<div class="mark">' not in as_page(state(None, days=31))


def test_all_files_say_what_this_is_and_where_its_weather_is_from(hostile, written):
    notice = "Not a legal statement and certified by nobody; the authority's own method, meter rules and licence terms prevail."
    data = json.loads((written / "statement.json").read_text(encoding="utf-8"))
    assert data["notice"].endswith(notice)
    assert data["weather"]["taken_from"] == "weather.csv" and data["weather"]["kind"] == "unknown"
    head = (written / "statement.csv").read_text(encoding="utf-8").splitlines()[:2]
    assert head[0].endswith(notice) and head[1].startswith("# Weather: Taken from weather.csv.")
    assert notice.split(";")[0] in (written / "statement.html").read_text(encoding="utf-8")


def test_the_page_is_a_persons_page_and_keeps_what_is_signed(state):
    """Picture, three sentences, what to do first, findings, the source's facts, folded tables; what is signed last and open."""
    made = state({"volume": "2 m^3", "holder": "Zoë Łoś"}, days=62)
    page = as_page(made).split("<body>")[1]
    order = ['class="bars"', 'class="summary"', "Do this first", ">Findings<", "Zoë Łoś", ">To sign<", ">Signature<"]
    places = [page.index(part) for part in order]
    assert places == sorted(places)
    folded = re.findall(r"<details><summary><h2>(.*?)</h2>", page)
    assert folded == [
        *("spring, month by month, 2025", "spring, against the licence", "spring, bed by bed"),
        "How it was determined, and its limits",
    ]
    assert page.index("<details>") < page.index(">To sign<") and page.rindex("</details>") < page.index(">To sign<")
    summary = page[page.index('class="summary"') : page.index("Do this first")]
    assert summary.count("<li>") == 3 and "EXCEEDED" in summary
    assert page.count("Drawn: ") == 1  # said once: among the three sentences, or in the source's own


def test_bars_are_shares_of_their_width_and_the_licence_is_on_the_same_scale(state):
    (whole, *months), picture = _bars(state({"volume": "9 m^3"}, days=62))
    assert [bar.label for bar in (whole, *months)] == ["all days", "May", "June", "July"]
    assert picture.licensed_text.startswith("9") and picture.licensed == pytest.approx(1.0 / 1.05)
    reported = [float(bar.text.split()[0]) for bar in months]
    assert whole.middle * 1.05 * 9.0 == pytest.approx(float(whole.text.split()[0]), abs=0.05)  # as printed
    assert max(bar.high for bar in months) == pytest.approx(1.0 / 1.05)
    assert months[0].middle / months[1].middle == pytest.approx(reported[0] / reported[1], rel=0.05)
    assert all(0.0 <= bar.low <= bar.middle <= bar.high <= 1.0 for bar in (whole, *months))
    assert _bars(state(None, days=31))[1].licensed is None


@pytest.mark.parametrize("days", [75, 85])
def test_bars_say_what_is_printed_so_that_months_add_up(state, days):
    (whole, *months), _ = _bars(state(None, days=days))
    printed = [Decimal(re.sub(r"[^\d.]", "", bar.text)) for bar in (whole, *months)]  # "3 680 L"
    assert printed[0] == sum(printed[1:])


def _bars(made):
    picture = next(part.picture for part in statement_sheet(made).sections if hasattr(part, "picture"))
    return picture.bars, picture
