"""
Today in a record of one year: what is short of water now is told what fills it again, and the sheet says what is known.

Litres by hand: 1 mm over 1 m² is 1 L (exact). Invented weather.
"""

from __future__ import annotations

import dataclasses

import pytest

import panbudget
from panbudget.reports.today.sheet import sheet_lines
from panbudget.studies.today import telling
from tests.garden_file import write_garden, years_csv

TANK = 'kind = "tank"\nvolume = "{litres} L"\nfootprint = "1 m^2"\noutlet_height = "4 m"\nfull_at_start = {full}'


def _today(folder, supply, emitters=60):
    lines = years_csv(2021, 2021, hot=(2021,)).splitlines(keepends=True)
    weather = "".join(line for line in lines if not line[:1].isdigit() or line[:10] <= "2021-07-20")
    return panbudget.today(write_garden(folder, weather, supply=supply, emitters=emitters), sheet=True)


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A tank that was all but empty at the start: its valve hangs open, and its bed is dry."""
    return _today(tmp_path_factory.mktemp("empty"), TANK.format(litres=500, full=0.0))


@pytest.mark.parametrize(("left", "told"), [(-0.01, True), (0.0, False)])
def test_what_is_short_now_is_told_the_litres_that_fill_it_where_no_year_tells_more(left, told, empty):
    (key,) = empty.beds
    name, bed = key.split("/")
    area = empty.scenario.controller[name].bed[bed].area
    gone = float(empty.season.beds[key]["driest_depletion_mm"].iloc[-1])
    assert empty.beds[key].fill_l == pytest.approx(gone * area)
    beds = {key: dataclasses.replace(empty.beds[key], driest_left_mm=left)}
    first = dataclasses.replace(empty, beds=beds).sentences()[0].replace("\u00a0", " ")
    says = (
        f"Do 1: water by hand once, evenly, what is short of water now: {key} with {gone * area:.0f} L from elsewhere"
    )
    assert first.startswith(says) is told
    assert ("one year's weather" in first) is told


@pytest.mark.parametrize(("refilled", "share"), [(0.0, 0.0), (0.01, 0.0), (1.8, 0.5)])
def test_the_share_that_evaporates_while_water_runs_is_none_of_openings_that_bring_less_than_a_swing(
    refilled, share, empty
):
    """One opening and a swing of 0.9 kg; without any, an empty tank's, there was a division by nothing."""
    assert empty.scenario.controller["upper"].valve.swing_kg == pytest.approx(0.9)
    openings = empty.season.openings.iloc[:1].assign(refilled_kg=refilled)
    season = dataclasses.replace(empty.season, openings=openings)
    assert telling._running(season, "upper") == pytest.approx(share)


def test_at_the_seasons_end_there_is_nothing_to_water_for(empty):
    assert not any(line.startswith("Do") for line in dataclasses.replace(empty, end=empty.day).sentences())


def test_the_sheet_of_an_empty_tank_has_its_cautions_and_no_level_for_a_pan_under_an_open_valve(empty):
    """Whose pan goes on falling: between trip and reset it does not stand."""
    (valve,) = empty.valves.values()
    assert valve.is_open and all(not visit.levels for visit in empty.visits)
    lines = "\n".join(sheet_lines(empty))
    assert "where the tank is empty, it stands open rightly" in lines
    assert "lock its lid" in lines and "It stands open tonight" in lines


def test_the_sheet_of_a_shut_valve_has_trip_and_reset(tmp_path):
    found = _today(tmp_path, 'kind = "mains"\npressure = "100 kPa"')
    (valve,) = found.valves.values()
    assert not valve.is_open and {visit.levels["upper"] for visit in found.visits} == {(valve.trip_mm, valve.reset_mm)}
    assert "lock its lid" not in "\n".join(sheet_lines(found))


@pytest.mark.parametrize(("visits", "told"), [(slice(None), True), (slice(0, 1), False)])
def test_a_bed_that_falls_short_while_the_sheet_runs_is_told_what_to_do_then(visits, told, tmp_path):
    """What its roots can take with ease is gone then: RAW = p TAW (FAO-56 eq 83), 1 mm over 1 m² a litre."""
    lines = years_csv(2020, 2021, hot=(2020, 2021)).splitlines(keepends=True)
    weather = "".join(line for line in lines if not line[:1].isdigit() or line[:10] <= "2021-07-12")
    found = panbudget.today(write_garden(tmp_path, weather, emitters=36), sheet=True)
    (key,) = found.beds
    raw = float(found.season.beds[key]["raw_mm"].iloc[-1]) * found.scenario.controller["upper"].bed["tomatoes"].area
    days = found.fan.first_days(outcome.short[0] for outcome in found.fan.outcomes)
    assert found.beds[key].driest_left_mm >= 0.0 and found.visits[0].day < days[0] <= found.visits[-1].day
    (line,) = (line for line in sheet_lines(dataclasses.replace(found, visits=found.visits[visits])) if key in line)
    assert (f"From that day on, water it by hand with {raw:.0f} L" in line.replace("\u00a0", " ")) is told


@pytest.mark.parametrize(
    ("years", "told"), [((0,), ""), ((2020,), "1 year"), (range(1, 9), "8 years"), (range(1, 10), "")]
)
def test_a_sheet_of_few_years_says_that_its_levels_go_by_their_rain(years, told, tmp_path):
    """Nine years hold four in five (`band`); a forecast alone (year 0) is of no year."""
    lines = years_csv(2020, 2021).splitlines(keepends=True)
    weather = "".join(line for line in lines if not line[:1].isdigit() or line[:10] <= "2021-07-12")
    found = panbudget.today(write_garden(tmp_path, weather), sheet=True)
    fan = dataclasses.replace(found.fan, years=tuple(years))
    sheet = "\n".join(sheet_lines(dataclasses.replace(found, fan=fan))).replace("\u00a0", " ")
    assert (f"The levels and openings go by {told} of the record alone" in sheet) is bool(told)
    assert ("of the record alone" in sheet) is bool(told)
