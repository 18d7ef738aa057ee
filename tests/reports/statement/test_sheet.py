"""The page: what it says, of this garden what is so and nothing that is not, and that its columns add up as printed."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from decimal import Decimal

import pytest

from panbudget import replay, scenario_from
from panbudget.reports.pages import table_of
from panbudget.reports.statement.method import method_lines
from panbudget.reports.statement.origins import weather_kind, weather_mark, weather_said
from panbudget.reports.statement.sheet import statement_sentences, statement_sheet
from panbudget.studies.statement.account import statement
from panbudget.studies.statement.units_of_form import VOLUME_UNITS
from tests.small_weather import weather_csv
from tests.studies.statement.test_account import on_tank


def number(cell):
    """A printed number, exactly."""
    return Decimal(cell.replace("\u202f", "").replace("−", "-"))


class Shown:
    """A table as it is shown: headings, rows, and a last row that adds up."""

    def __init__(self, frame):
        table = table_of(frame)
        self.headings = table.headings
        self.rows, self.total = (table.rows[:-1], table.rows[-1]) if frame.attrs.get("total") else (table.rows, ())


def tables(made):
    return [Shown(part.table) for part in statement_sheet(made).sections if part.table is not None and part.shown]


@pytest.mark.parametrize("unit", VOLUME_UNITS)
def test_columns_add_up_to_their_totals_as_printed(state, unit, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text("date,reading,unit\n2025-05-01,0,L\n2025-06-03,4321.7,L\n2025-06-20,5000,L\n", encoding="utf-8")
    made = state({"volume_unit": unit, "volume": "20 m^3"}, readings=file)
    months, _, licensed, beds = tables(made)
    for column in (1, 2, 4, 5):  # days, modelled, metered, reported
        cells = [row[column] for row in months.rows if row[column] != "–"]
        assert sum(map(number, cells)) == number(months.total[column]), months.headings[column]
    for column in range(3, 7):
        assert sum(number(row[column]) for row in beds.rows) == number(beds.total[column])
    for row in (*beds.rows, beds.total):
        assert number(row[3]) == number(row[4]) + number(row[5]) + number(row[6])  # where the water went
    assert beds.total[3] == months.total[2]
    licence = number(licensed.rows[0][1].split("\u00a0")[0])
    used = Decimal(0)
    for row in months.rows:
        used += number(row[5])
        assert number(row[7]) == licence - used


def test_the_words_say_what_this_is_and_how_it_was_determined(state):
    sheet = statement_sheet(state({"volume_unit": "acre-foot"}))
    (estimate,) = sheet.lead
    assert "estimate" in estimate and "certified by nobody" in estimate and "prevail" in estimate
    said = dict(sheet.limits)
    assert "hours open × the flow" in said["Determination"]
    assert "meter" not in said["Determination"]
    assert "None of 92 days" in said["Days filled"]
    assert "run 20 times" in said["Range"] and "seed" not in said["Range"] and "0.6 to 1.3 (default)" in said["Range"]
    assert "1 acre-ft = 1233481.83754752\u00a0L exactly" in said["Units and rounding"]
    assert "US survey foot" in said["Units and rounding"]
    assert sheet.wording["blanks"] == ["Prepared by", "Date", "Signature"]
    assert "90\u00a0% of 20 seasons" in sheet.sections[0].items[0]


def test_ranges_of_ones_own_are_not_called_default(state):
    said = dict(statement_sheet(state(None, overlay={"uncertainty": {"samples": 20, "exposure": [0.9, 1.1]}})).limits)
    assert "0.9 to 1.1;" in said["Range"]
    assert said["Range"].count("(default)") == 4  # refill, emitters, swing, pressure


def test_a_supply_without_a_right_says_where_to_describe_one(state):
    section = statement_sheet(state(None)).sections[0]
    assert "[supply.spring.right]" in section.items[-1]
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
    sheet = statement_sheet(state(None, readings=file))
    section = sheet.sections[0]
    assert any(
        "(of 3\u00a0months, 2 metered only in a sum that the model splits, 1 metered in part)" in sentence
        for sentence in section.items
    )
    (line,) = [sentence for sentence in section.items if sentence.startswith("Over the 62 metered days of spring")]
    assert "outside the model's range" in line and "less)" in line
    assert any("only a part of July 2025 (1 of 31\u00a0days)" in sentence for sentence in section.items)
    last = "METERED\u00a01/31"
    summed = "metered\u00a0total, split\u00a0by\u00a0the\u00a0model"
    assert [row[6] for row in table_of(sheet.sections[1].table).rows[:-1]] == [summed, summed, last]
    said = dict(statement_sheet(state(None, readings=file)).limits)
    assert "passed its last digit" in said["Measured"]
    assert "(2 here) are split" in said["Determination"]


@pytest.mark.parametrize(
    ("days", "bases", "told"),
    [
        (("05-01", "08-01"), ["sum"] * 3, "(of 3\u00a0months, 3 metered only in a sum that the model splits)"),
        (
            ("05-01", "06-01", "08-01"),
            ["metered", "sum", "sum"],
            "(of 3\u00a0months, 1 metered, 2 metered only in a sum",
        ),
        (("05-01", "06-01", "07-01", "08-01"), ["metered"] * 3, "(of 3\u00a0months, 3 metered)"),
    ],
)
def test_a_month_is_metered_only_where_readings_stand_at_its_ends(state, tmp_path, days, bases, told):
    """Between two readings the meter fixes the sum, and the model its split."""
    file = tmp_path / "meter.csv"
    rows = [f"2025-{day},{100 * number},L" for number, day in enumerate(days)]
    file.write_text("\n".join(["date,reading,unit", *rows]) + "\n", encoding="utf-8")
    made = state(None, readings=file)
    names = {"sum": "metered total, split by the model", "metered": "metered"}
    assert made.accounts[0].ledger.months["basis"].tolist() == [names[basis] for basis in bases]
    items = statement_sheet(made).sections[0].items
    assert told in items[0]
    assert (
        "lie between" not in items[0] and "the meter's ±2\u00a0% makes it" in items[0]
    )  # nothing of it is the model's
    (total,) = [item for item in items if item.startswith("Metered total of spring: ")]
    assert f"from the reading of 2025-05-01 (0 L) to that of 2025-08-01 ({100 * (len(days) - 1)} L)" in total
    (split,) = [item for item in items if item.startswith("No reading was taken at both ends of")] or [""]
    assert split.count(" 2025") == bases.count("sum")


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


def said(make_garden, overlay, weather=None):
    laid = {"uncertainty": {"samples": 20}, **overlay}
    return method_lines(statement(make_garden(laid, weather=weather or weather_csv(10))))


def test_what_was_measured_in_place_is_called_measured(make_garden):
    valve = {"refill": {"flow": "33 mL/min", "at": None}, "set_up_test": {"falls_at": "7.4 kg", "rises_at": "6.5 kg"}}
    del valve["refill"]["at"]
    garden = make_garden(weather=weather_csv(10))
    raw = dict(garden.described)
    upper = raw["controller"]["upper"]
    upper["valve"] = valve
    upper["bed"]["tomatoes"]["emitters"] = {"count": 30, "flow": "2 L/h"}
    words = method_lines(statement(scenario_from({**raw, "uncertainty": {"samples": 20}}, garden.path)))
    for part in ("Swing of upper, by two weighings", "refill flow of upper, in place", "tomatoes, in place"):
        assert part in words["Measured"]
    assert "packets" not in words["Assumed"]


def test_a_computed_pan_names_its_model_and_exposure(make_garden):
    pan = {"controller": {"upper": {"pan": {"evaporation": "energy-balance", "exposure": 0.9}}}}
    words = said(make_garden, pan)
    assert "Pan evaporation of upper: the pan's energy balance, exposure 0.9" in words["Assumed"]
    assert "packets" in words["Assumed"]
    measured = said(make_garden, {})
    assert "its column pan_evaporation" in measured["Weather"] and "measured" not in measured["Weather"]
    assert measured["Measured"] == "nothing at the garden itself"


def test_a_leak_in_the_season_is_named_on_the_sheet_that_people_sign(make_garden):
    assert "no leak, no clogging" in said(make_garden, {})["Assumed"]
    words = said(make_garden, {"fault": [{"kind": "leak", "loss": "2 L/day"}]})["Assumed"]
    assert "the pan leaks 2.0 L a day" in words
    assert "no leak, no clogging" not in words


def test_filled_days_are_counted_by_column_and_method(make_garden):
    lines = weather_csv(10).splitlines()
    cells = lines[4].split(",")
    cells[7] = ""  # radiation of the fourth day
    lines[4] = ",".join(cells)
    garden = make_garden(weather="\n".join(lines) + "\n")
    words = said(make_garden, {}, "\n".join(lines) + "\n")
    (method,) = replay(garden).totals["weather"]["filled"]["radiation"]
    assert words["Days filled"] == f"Of 10 days, weather was filled in: radiation on 1 ({method})."


def test_the_foot_is_named_only_where_there_is_one(make_garden):
    def units(**right):
        return said(make_garden, {"supply": {"spring": {"right": right}}})["Units and rounding"]

    assert "foot" not in units(volume_unit="m^3")
    assert "The foot is 0.3048 m. 1 ccf is" in units(volume_unit="hundred-cubic-feet")
    assert "survey foot" in units(area_unit="acre")
    assert "1 ft² = 0.09290304\u00a0m² exactly (NIST SP 811, 2008). The foot is 0.3048 m." in units(area_unit="ft^2")
    assert "1 ft³/s = 101940.6477312\u00a0L/h exactly" in units(rate_unit="ft^3/s")
    assert "added" not in units() and units().startswith("A total is rounded once")


def test_shared_valves_say_how_they_are_split(make_garden):
    right = {"further": {"own": {"beds": ["upper/tomatoes"]}}}
    assert "split between them" not in said(make_garden, {"supply": {"spring": {"right": right}}})["Determination"]


def test_what_a_person_reads_in_ten_seconds_names_each_source_what_is_broken_and_what_this_is(state):
    made = state({"volume": "2 m^3"})
    lines = statement_sentences(made)
    assert lines[0] == "Test garden: 1 May to 31 July 2025"
    assert lines[1] == "Source: spring" and lines[2].startswith("Drawn: ")
    assert lines[-2].startswith(
        "danger: spring: What is reported passes the licensed volume of water year 2025. First on "
    )
    assert "certified by nobody" in lines[-1]
    assert made.sentences() == lines


@pytest.mark.parametrize(
    ("source", "kind"),
    [
        ({"typical": True}, "typical"),
        ({"says": ["invented weather: no such place"]}, "invented"),
        ({"says": ["a typical meteorological year"]}, "typical"),
        ({"says": ["ERA reanalysis, nearest cell"]}, "grid"),
        ({"says": ["Station 12, hilltop"]}, "station"),
        ({"reader": "nasa-power"}, "grid"),
        ({"reader": "ghcn-daily"}, "station"),
        ({}, "unknown"),
    ],
)
def test_weather_is_called_what_its_file_says_of_itself_and_never_measured(state, source, kind):
    made = state(None, days=31)
    weather = made.season.weather
    provenance = {**weather.provenance, "says": [], **source}
    season = dataclasses.replace(made.season, weather=dataclasses.replace(weather, provenance=provenance))
    other = dataclasses.replace(made, season=season)
    assert weather_kind(other) == kind
    assert weather_mark(other) == {"typical": "TYPICAL YEAR", "invented": "INVENTED WEATHER"}.get(kind, "")
    said = weather_said(other)
    assert said.startswith("Taken from weather.csv") and "measured" not in said
    assert ("which says of itself" in said) == bool(source.get("says"))


def test_a_made_up_heat_wave_is_invented_weather(state):
    heat = {"what_if": {"heat": {"start": "2025-05-10", "days": 3, "warmer": "+3 K"}}}
    assert weather_mark(state(None, days=31, overlay=heat)) == "INVENTED WEATHER"


GIVEN = {
    **{"address": "Mill Lane 1", "priority_date": dt.date(1905, 5, 1), "source_kind": "spring"},
    **{"coordinates": "38.60 N", "place_of_use": "lot 4", "attestation": "I stand by this."},
}
METER = {"make": "turbine", "serial_number": 4711, "calibration_date": dt.date(2020, 3, 1), "multiplier": 10.0}


def test_what_the_officer_asks_for_is_printed_where_it_is_given_and_only_there(state, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text("date,reading,unit\n2025-05-01,100,L\n2025-05-11,120,L\n", encoding="utf-8")
    overlay = {"supply": {"spring": {"right": GIVEN, "meter": {**METER, "first_reading": "90 L"}}}}
    made = state(None, days=31, overlay=overlay, readings=file)
    sheet = statement_sheet(made)
    facts = dict(sheet.sections[0].facts)
    assert {
        label: facts[label] for label in ("Address", "Priority date", "Kind of source", "Coordinates", "Place of use")
    } == {
        **{"Address": "Mill Lane 1", "Priority date": "1905-05-01", "Kind of source": "spring"},
        **{"Coordinates": "38.60 N", "Place of use": "lot 4"},
    }
    assert (facts["Meter"], facts["Serial number"], facts["Calibrated"], facts["Multiplier"]) == (
        *("turbine", "4711", "2020-03-01", "10"),
    )
    # the file's own, whatever the scenario says
    assert (facts["First reading"], facts["Last reading"]) == ("100 L, 2025-05-01", "120 L, 2025-05-11")
    assert made.accounts[0].metered.metered == pytest.approx(200.0)
    assert sheet.attested == ("I stand by this.",)
    bare = statement_sheet(state(None, days=31))
    assert len(bare.sections[0].facts) == 6 and bare.attested == ()
    described = state(None, days=31, overlay={"supply": {"spring": {"meter": {"first_reading": "90 L"}}}})
    assert dict(statement_sheet(described).sections[0].facts)["First reading"] == "90 L"


def test_readings_are_listed_with_their_dates_and_of_many_those_that_matter(state, tmp_path):
    file = tmp_path / "meter.csv"
    days = [dt.date(2025, 5, 1) + dt.timedelta(days=index) for index in range(30)]
    for count, shown in ((24, 24), (25, 2)):
        rows = [f"{day},{10 * index},L" for index, day in enumerate(days[:count])]
        file.write_text("\n".join(["date,reading,unit", *rows]) + "\n", encoding="utf-8")
        table = table_of(statement_sheet(state(None, days=31, readings=file)).sections[2].table)
        assert len(table.rows) == shown
        assert (table.rows[0][:3], table.rows[-1][0]) == (("2025-05-01", "0 L", "first"), str(days[count - 1]))
        assert (f"{count - 2} more in the file" in table.caption) == (shown == 2)


def test_the_range_is_drawn_with_its_middle_and_no_range_is_a_point(state):
    made = state(None, days=31)
    section = statement_sheet(made).sections[0]
    low, middle, high = section.bar
    assert 0.0 < low < middle < high < 1.0
    account = made.accounts[0]
    assert (low / high, middle / high) == pytest.approx(
        (account.interval[0] / account.interval[1], account.ledger.reported_litres / account.interval[1])
    )
    assert "do not add up to the season's" in statement_sheet(made).sections[1].table.attrs["caption"]
    dry = statement_sheet(state(None, days=10, pan=0.0))
    assert dry.sections[0].bar is None
    assert "–" in {row[3] for row in table_of(dry.sections[1].table).rows}
    assert "; 90" not in dry.sections[0].items[0]


def test_days_that_the_weather_does_not_cover_are_counted(state):
    text = dict(statement_sheet(state({}, days=31)).limits)["Days covered"]
    assert text == (
        "Of water year 2025, 31 of 365\u00a0days are in this statement, and what was drawn on the other 334 is not; weather.csv "
        "runs from 2025-05-01 to 2025-05-31, and does not cover 334 of them."
    )


def test_a_tank_adds_up_as_printed_and_a_source_without_beds_has_no_table_of_them(state):
    sheet = statement_sheet(state(None, overlay=on_tank("creek"), days=40))
    tables = [part.table for part in sheet.sections if part.table is not None and part.shown]
    storage = [table for table in tables if "storage change [L]" in table_of(table).headings]
    assert len(storage) == 2  # of the tank, and of the creek that fills it
    for table in storage:
        (row,) = table_of(table).rows
        assert row[:2] == ("spring", "creek")
        start, roof, topped, drawn, over, end, change = map(number, row[2:])
        assert start + roof + topped == drawn + over + end
        assert change == end - start
    assert sum("bed by bed" in table.attrs["caption"] for table in tables) == 1
    words = [item for part in sheet.sections for item in part.items or ()]
    assert any(
        "drawn on creek and counted there; adding both sources up would count it twice" in item for item in words
    )
    assert any("float valves with them, at most" in item for item in words)
    totals = [
        table_of(part.table).rows[-1][0] for part in sheet.sections if part.table is not None and "month" in part.table
    ]
    assert totals == ["total, spring", "total, creek", "total, house"]
