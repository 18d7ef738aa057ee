"""Files: whole or not at all, with numbers that can be added up again."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from panbudget import replay
from panbudget.errors import CONTROLS
from panbudget.files import json_bytes, write_csv
from panbudget.reports.season.files import beds_table, daily_table
from panbudget.reports.writing import as_json, write_into
from tests.small_weather import dry_week


@pytest.fixture
def season(make_garden):
    return replay(make_garden(weather=dry_week()))


def test_csv_numbers_read_back_to_twelve_digits(season, tmp_path):
    write_into(season, tmp_path)
    daily = pd.read_csv(tmp_path / "daily.csv")
    table = season.beds["upper/tomatoes"]
    assert daily["eta_mm"].tolist() == pytest.approx(table["eta_mm"].tolist(), rel=1e-11)
    assert daily["date"].tolist() == [f"2025-05-0{day}" for day in range(1, 8)]
    text = (tmp_path / "daily.csv").read_bytes()
    assert b"\r" not in text
    assert b"\r" not in (tmp_path / "report.html").read_bytes()


def test_json_has_every_number_in_full_and_says_where_it_comes_from(season):
    whole = as_json(season)
    assert json.loads(json.dumps(whole, allow_nan=False)) == whole
    assert set(whole["provenance"]) >= {"panbudget", "python", "packages", "scenario_sha256", "weather_sha256"}
    assert len(whole["provenance"]["weather_sha256"]) == 64
    assert whole["provenance"]["times"] == "solar"
    for finding in whole["findings"]:
        assert set(finding) == {"severity", "code", "where", "message", "first", "days", "cure"}


def test_tables_have_a_row_for_each_day_and_bed_and_for_each_part(season):
    daily, beds = daily_table(season), beds_table(season)
    assert len(daily) == 7 * len(season.beds)
    assert beds["part"].tolist() == ["mean", "driest_quarter", "exact_refill"] * len(season.beds)
    assert beds.loc[1, "irrigation_mm"] == pytest.approx(0.9 * beds.loc[0, "irrigation_mm"])
    # what passed each valve and each supply, day by day
    for name, part in daily.groupby("controller"):
        (one_bed,) = {part["bed"].iloc[0]}
        of_valve = part[part["bed"] == one_bed]
        assert of_valve["valve_litres"].sum() == pytest.approx(season.totals["controllers"][name]["litres"])
        supply = of_valve["supply"].iloc[0]
        assert of_valve["supply_litres"].sum() == pytest.approx(season.totals["supplies"][supply]["litres"])
    assert "float_litres" not in daily


def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe_and_a_number_does_not(tmp_path):
    texts = ["=1+1", "+1", "-x", "@SUM(A1)", "\tx", "a=b", "-2.5", "", None, " =1", "\u2003＝1", "ﹶ"]
    texts += ["\u2060=1", "\xad ＋1", "\u2028=1", "\u202e@x"]
    write_csv(pd.DataFrame({"name": texts, "value": [-1.5] * len(texts)}), tmp_path / "x.csv")
    rows = pd.read_csv(tmp_path / "x.csv", keep_default_na=False)
    assert rows["name"].tolist() == [
        "'=1+1",
        "'+1",
        "'-x",
        "'@SUM(A1)",
        "'\tx",
        "a=b",
        "-2.5",
        "",
        "",
        "' =1",
        "'\u2003＝1",
        "ﹶ",
        r"\u2060=1",
        r"\xad ＋1",
        "'\u2028=1",
        r"\u202e@x",
    ]
    assert (rows["value"] == -1.5).all()


def test_json_escapes_letters_that_nobody_sees_and_means_the_same():
    """RFC 8259, section 7: any character may be escaped, those beyond the first plane as two halves."""
    content = {"name": "a\u202eb\x9b2J\U000e0041", "ä": 1}
    text = json_bytes(content).decode()
    assert json.loads(text) == content and not CONTROLS.search(text) and "ä" in text
