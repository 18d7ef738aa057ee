"""Left alone: every year of the record, the worst named, a made-up heat wave, and the one change that helps."""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget import replay
from panbudget.errors import ScenarioError
from panbudget.reports.away.page import away_sentences
from panbudget.studies.away import away
from tests.small_weather import weather_csv

JUNE = (dt.date(2025, 6, 1), dt.date(2025, 6, 14))
BED = ("controller", "upper", "bed", "tomatoes")


def overlay(part, change):
    return {"controller": {"upper": {part: change}}}


def few_emitters(count):
    return overlay("bed", {"tomatoes": {"emitters": {"count": count}}})


def two_years(hotter=0.0):
    """May and June of two equal years, the second one's June with a pan that loses more."""
    lines = weather_csv(61 + 365).splitlines()
    head, rows = lines[0], lines[1:]
    changed = []
    for row in rows:
        if row.startswith("2026-06"):
            cells = row.split(",")
            cells[1:3] = [str(14.0 + hotter), str(30.0 + hotter)]
            row = ",".join(cells)
        if not "04" <= row[5:7] <= "08":
            row = row.replace(",24.0,", ",8.0,")  # a winter's sun
        changed.append(row)
    return "\n".join([head, *changed]) + "\n"


@pytest.fixture
def make(make_garden):
    def made(change=None, hotter=0.0):
        season = {"season": {"start": dt.date(2025, 5, 1), "end": dt.date(2025, 6, 30)}}
        garden = make_garden(season, weather=two_years(hotter))
        return garden.changed(change) if change else garden

    return made


def test_a_garden_with_enough_water_is_safe_and_nothing_is_tried(make):
    found = away(make(few_emitters(60)), *JUNE)
    assert found.safe
    assert [stay.start.year for stay in found.stays] == [2025, 2026]
    assert found.changes == ()
    assert away_sentences(found)[0].startswith("Yes: from 1 June to 14 June")
    assert "all 2 years" in away_sentences(found)[0]


def test_a_stay_is_the_same_days_of_the_whole_seasons_replay(make):
    garden = make(few_emitters(12))
    found = away(garden, *JUNE)
    whole = replay(garden)
    table = whole.beds["upper/tomatoes"].loc["2025-06-01":"2025-06-14"]
    bed = found.stays[0].beds["upper/tomatoes"]
    assert bed.stress_days == int((table["growing"] & (table["driest_ks"] < 1.0)).sum()) > 0
    assert bed.irrigation_mm == pytest.approx(table["irrigation_mm"].sum())
    assert bed.least_room_mm == pytest.approx((table["raw_mm"] - table["driest_depletion_mm"]).min())
    valve = whole.controllers["upper"].loc["2025-06-01":"2025-06-14"]
    assert found.stays[0].pans["upper"].litres == pytest.approx(valve["litres"].sum())
    assert found.stays[0].pans["upper"].openings == valve["openings"].sum()


def test_the_year_of_the_dates_does_not_matter(make):
    garden = make(few_emitters(12))
    a, b = away(garden, *JUNE), away(garden, dt.date(2031, 6, 1), dt.date(2031, 6, 14))
    assert a.table().equals(b.table())


def test_the_worst_year_is_the_one_that_hurts_most(make):
    """The second June is 6 °C warmer while the measured pan loses the same, so its bed falls shorter."""
    found = away(make(few_emitters(20), hotter=6.0), *JUNE)
    assert found.worst.start.year == 2026
    assert found.worst.stress_days >= found.stays[0].stress_days
    assert found.heat.start.year == 2026
    assert "The worst year is 2026" in away_sentences(found)[1]


def test_the_made_heat_is_five_degrees_for_seven_days_in_the_middle(make):
    found = away(make(few_emitters(60)), *JUNE)
    assert found.heat.made_heat.startswith("a made-up heat wave, 7 days from 4 June 2025, 5 °C warmer")
    assert "without rain" in found.heat.made_heat
    tmax = found.heat.season.days["tmax_c"]
    assert tmax.tolist() == [30.0] * 3 + [35.0] * 7 + [30.0] * 4


def test_the_scenarios_own_made_heat_is_taken_if_it_falls_on_the_days_away(make):
    heat = {"what_if": {"heat": {"start": dt.date(2025, 6, 10), "days": 3, "warmer": "+7 K"}}}
    found = away(make({**few_emitters(60), **heat}), *JUNE)
    assert found.heat.season.days["tmax_c"].max() == pytest.approx(37.0)
    assert found.stays[0].season.days["tmax_c"].max() == pytest.approx(30.0)  # the record itself has no made heat
    elsewhere = {"what_if": {"heat": {"start": dt.date(2025, 5, 3), "days": 3, "warmer": "+7 K"}}}
    found = away(make({**few_emitters(60), **elsewhere}), *JUNE)
    assert found.heat.season.days["tmax_c"].max() == pytest.approx(35.0)


def test_a_thirsty_bed_wants_more_emitters_and_the_change_truly_makes_it_safe(make):
    garden = make(few_emitters(12))
    found = away(garden, *JUNE)
    assert not found.safe
    assert found.stays[0].beds["upper/tomatoes"].short_before
    change = found.changes[0]
    assert change.safe
    assert "emitters in place of 12 on upper/tomatoes" in change.what
    count = int(change.what.split()[0])
    assert away(make(few_emitters(count)), *JUNE).safe
    assert not next(c for c in found.changes if "freeboard" in c.what).safe
    text = " ".join(away_sentences(found))
    assert "Any one of these would make it safe: (1)" in text
    assert "Short of water already on the day before leaving" in text


def test_what_is_done_by_hand_helps_for_a_while(make):
    """Full soil on the day of leaving: fewer days short than without, and it is told as not enough."""
    found = away(make(few_emitters(12)), *JUNE)
    hand = next(change for change in found.changes if change.what.startswith("water every bed by hand"))
    assert hand.stress_days < hand.before
    press = next(change for change in found.changes if change.what.startswith("press"))
    assert press.stress_days <= press.before


def test_a_valve_that_evaporation_holds_open_is_told_and_a_larger_refill_cures_it(make):
    garden = make(overlay("valve", {"refill": {"flow": "0.12 L/h"}}))
    found = away(garden, *JUNE)
    assert found.worst.pans["upper"].stuck_hours > 0
    assert "the valve upper is stuck open" in " ".join(away_sentences(found))
    larger = next(c for c in found.changes if "times as large at upper, which gives its beds less" in c.what)
    assert larger.safe


def test_an_impossible_change_is_told_as_such(make):
    """A swing of 0.9 kg in a pan that holds 1.2 kg can't be doubled."""
    small = {"vessels": [{"diameter": "25 cm"}], "depth": "45 mm", "freeboard": "20 mm"}
    found = away(
        make({"controller": {"upper": {"pan": small, "bed": {"tomatoes": {"emitters": {"count": 2}}}}}}), *JUNE
    )
    swing = next(change for change in found.changes if change.what.startswith("a swing"))
    assert "would empty the pan before it trips" in swing.impossible


def test_days_before_the_season_start_there(make):
    found = away(
        make(few_emitters(60)).changed({"season": {"start": dt.date(2025, 5, 20)}}),
        dt.date(2025, 5, 10),
        dt.date(2025, 5, 25),
    )
    assert found.stays[0].start == dt.date(2025, 5, 10)
    assert not found.stays[0].beds["upper/tomatoes"].short_before


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (dt.date(2025, 6, 9), dt.date(2025, 6, 1), "end, 2025-06-01, before they start, 2025-06-09"),
        (dt.date(2025, 6, 9), dt.date(2026, 6, 30), "the days away are 387, more than a year"),
    ],
)
def test_dates_that_can_t_be_are_told(make, start, end, said):
    with pytest.raises(ScenarioError) as told:
        away(make(), start, end)
    assert said in str(told.value)
    assert len(str(told.value).splitlines()) == 1


def test_the_table_has_a_row_for_each_stay_and_bed(make):
    found = away(make(few_emitters(12)), *JUNE)
    table = found.table()
    assert table["start"].tolist() == ["2025-06-01", "2026-06-01", f"{found.worst.start}"]
    assert table["made_heat"].tolist() == [0, 0, 1]


def test_dates_in_no_year_of_the_record_are_told(make_garden):
    with pytest.raises(ScenarioError) as told:
        away(make_garden(days=31), dt.date(2025, 6, 1), dt.date(2025, 6, 9))
    assert "the days away from 1 June to 9 June" in str(told.value)
    assert "are in no year of the weather file weather.csv" in str(told.value)
    assert "it runs from 2025-05-01 to 2025-05-31" in str(told.value)
    assert len(str(told.value).splitlines()) == 1
