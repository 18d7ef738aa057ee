"""The sheet: what it says, and that its columns add up as printed."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal

import pytest

from panbudget.reports.statement.sheet import make_sheet
from panbudget.reports.statement.text import ESTIMATE, factor_text
from panbudget.studies.statement.units_of_form import VOLUME_UNITS


def number(cell):
    """A printed number, exactly."""
    return Decimal(cell.replace("\u202f", "").replace("−", "-"))


def tables(made):
    return make_sheet(made, ()).sections[0].tables


@pytest.mark.parametrize("unit", VOLUME_UNITS)
def test_columns_add_up_to_their_totals_as_printed(state, unit, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text("date,reading,unit\n2025-05-01,0,L\n2025-06-03,4321.7,L\n2025-06-20,5000,L\n", encoding="utf-8")
    made = state({"volume_unit": unit, "volume": "20 m^3"}, readings=file)
    months, _, beds = tables(made)
    for column in (1, 2, 4, 5):  # days, modelled, metered, reported
        cells = [row[column] for row in months.rows if row[column] != "–"]
        assert sum(map(number, cells)) == number(months.total[column]), months.headings[column]
    for column in range(3, 7):
        assert sum(number(row[column]) for row in beds.rows) == number(beds.total[column])
    for row in (*beds.rows, beds.total):
        assert number(row[3]) == number(row[4]) + number(row[5]) + number(row[6])  # where the water went
    assert beds.total[3] == months.total[2]
    licence = number(tables(made)[1].rows[0][1].split("\u00a0")[0])
    used = Decimal(0)
    for row in months.rows:
        used += number(row[5])
        assert number(row[7]) == licence - used


def test_the_words_say_what_this_is_and_how_it_was_determined(state):
    sheet = make_sheet(state({"volume_unit": "acre-foot"}), (("scenario, SHA-256", "00"),))
    assert "estimate" in ESTIMATE and "not certified" in ESTIMATE and "prevail" in ESTIMATE
    said = dict(sheet.method)
    assert "hours open × the flow" in said["Determination"]
    assert "meter" not in said["Determination"]
    assert "None of 92 days" in said["Days filled"]
    assert "run 20 times" in said["Range"] and "seed 1" in said["Range"] and "0.75 to 1.33 (default)" in said["Range"]
    assert "1 acre-ft = 1233481.83754752\u00a0L exactly" in said["Units and rounding"]
    assert "US survey foot" in said["Units and rounding"]
    assert sheet.blanks == ("Prepared by", "Date", "Signature")
    assert "90\u00a0% of 20 seasons" in sheet.sections[0].sentences[0]


def test_ranges_of_ones_own_are_not_called_default(state):
    said = dict(make_sheet(state(None, overlay={"statement": {"samples": 20, "exposure": [0.9, 1.1]}}), ()).method)
    assert "0.9 to 1.1;" in said["Range"]
    assert said["Range"].count("(default)") == 3


def test_a_supply_without_a_right_says_where_to_describe_one(state):
    section = make_sheet(state(None), ()).sections[0]
    assert "[supply.spring.right]" in section.sentences[-1]
    assert ("Holder", "–") in section.facts


def test_an_exceeded_licence_is_said_in_capitals_with_its_day(state):
    made = state({"volume": "2 m^3", "rate": "1 L/h", "area": "1 m^2", "season": {"start": "06-01", "end": "07-31"}})
    rows = {row[0]: row[3] for row in tables(made)[1].rows}
    assert re.search(r"EXCEEDED, first on 2025-\d\d-\d\d$", rows["volume"])
    assert re.match(r"EXCEEDED, first on 2025-05", rows["rate"])
    assert re.match(r"\d+.DAYS OUTSIDE, first 2025-05", rows["season"])
    assert rows["area"] == "LARGER"


def test_meter_and_model_are_set_against_each_other_in_one_sentence(state, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text("date,reading,unit,event\n2025-05-01,0,L,\n2025-06-20,9,L,\n2025-07-02,2,L,rollover at 10\n")
    section = make_sheet(state(None, readings=file), ()).sections[0]
    assert any("2 of 3\u00a0months by meter, 1 in part" in sentence for sentence in section.sentences)
    (line,) = [sentence for sentence in section.sentences if sentence.startswith("Over the metered")]
    assert "outside the model's range" in line and "less)" in line
    assert any("only a part of July 2025 (1 of 31\u00a0days)" in sentence for sentence in section.sentences)
    last = "METERED\u00a01/31"
    assert [row[6] for row in section.tables[0].rows] == ["METERED", "METERED", last]
    said = dict(make_sheet(state(None, readings=file), ()).method)
    assert "passed its last digit" in said["Measured"]
    assert "(2 here) are split" in said["Determination"]


def test_part_of_a_month_names_its_days(state):
    made = state(None, days=30, start=dt.date(2025, 5, 10))
    assert [row[0] for row in tables(made)[0].rows] == ["2025-05, 10 to 31", "2025-06, 1 to 8"]


def test_two_water_years_are_two_tables_and_two_terms(state):
    made = state({"volume": "9 m^3", "water_year_start": 7})
    found = tables(made)
    assert [len(table.rows) for table in found[:2]] == [2, 1]
    assert [row[0] for row in found[2].rows] == [
        "volume, July 2024 to June 2025",
        "volume, July 2025 to June 2026",
    ]


def test_a_factor_without_end_is_not_called_exact():
    assert "exact fraction" in factor_text(VOLUME_UNITS["acre-foot-survey"], "L")
    assert factor_text(VOLUME_UNITS["ML"], "L") == "1 ML = 1000000\u00a0L exactly"
