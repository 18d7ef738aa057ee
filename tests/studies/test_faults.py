"""The usual faults one by one: ranked by what they add, with what a person outside would count and measure."""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget import replay
from panbudget.errors import ScenarioError
from panbudget.reports.faults.page import faults_sentences, noticed
from panbudget.scenario.faults import FAULT_KINDS
from panbudget.studies.faults import CURES, LOOKS, faults
from tests.small_weather import weather_csv


@pytest.fixture(scope="module")
def weather():
    return weather_csv(45, rain=[0.0] * 9 + [6.0] + [0.0] * 35)


@pytest.fixture
def garden(make_garden, weather):
    few = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 16}}}}}}
    return make_garden(few, weather=weather)


def test_every_kind_has_a_place_to_look_and_a_cure():
    assert set(LOOKS) == set(CURES) == set(FAULT_KINDS)


def test_faults_are_ranked_by_stress_days_and_then_by_wasted_litres(garden):
    """Each trial's figures are those of its own replay, added up here anew; every kind but none twice alike."""
    found = faults(garden)
    harms = []
    for trial in found.trials:
        fault = {k: v for k, v in trial.fault.model_dump().items() if v is not None}
        assert fault["start"] == dt.date(2025, 5, 16) or trial.fault.kind == "supply-cut"
        harms.append((max(trial.more_stress_days, 0), round(trial.more_wasted_litres, 6)))
    assert harms == sorted(harms, reverse=True)
    assert {trial.fault.kind for trial in found.trials} == set(FAULT_KINDS)
    assert [trial.what for trial in found.trials if trial.more_stress_days > 0]
    shade = next(trial for trial in found.trials if trial.fault.kind == "shade")
    again = replay(garden.changed({"fault": [{"kind": "shade", "factor": 0.6, "start": dt.date(2025, 5, 16)}]}))
    beds = again.totals["beds"]["upper/tomatoes"]
    assert shade.broken.stress_days == beds["driest_quarter"]["stress_days"]
    lost = again.totals["controllers"]["upper"]
    assert shade.broken.wasted_litres == pytest.approx(
        beds["deep_percolation_mm"] * 12.0 + lost["leaked_kg"] + lost["spilled_kg"]
    )


def test_the_signs_are_a_weeks_counts_with_the_fault_and_without(garden):
    found = faults(garden)
    leak = next(trial for trial in found.trials if trial.fault.kind == "leak")
    signs = leak.signs["upper"]
    assert (signs.start, signs.end) == (dt.date(2025, 5, 16), dt.date(2025, 5, 22))
    week = slice("2025-05-16", "2025-05-22")
    sound = found.season.controllers["upper"]
    assert signs.openings[1] == sound.loc[week, "openings"].sum()
    assert signs.openings[2] == sound.loc["2025-05-09":"2025-05-15", "openings"].sum()
    area = garden.controller["upper"].pan.area
    assert signs.drop_mm[0] == pytest.approx(8.0 + 0.3 / area)  # 8 mm a day and 300 mL of leak
    assert signs.drop_mm[1] == pytest.approx(8.0)
    assert "lost a day while shut 9.5 mm in place of 8.0 mm" in noticed("upper", signs).replace("\u00a0", " ")


def test_the_level_is_counted_from_the_floor_where_the_trip_has_moved(garden):
    """A trip 225 g heavier leaves 225 g more in the pan: 1.1 mm of its 0.196 m², give or take the hour."""
    found = faults(garden)
    trip = next(trial for trial in found.trials if getattr(trial.fault, "trip", None) is not None)
    area = garden.controller["upper"].pan.area
    level, sound, _ = trip.signs["upper"].noon_level_mm
    assert level - sound == pytest.approx(0.225 / area, abs=0.9)
    assert 0.0 < level < 180.0


def test_a_cut_falls_on_the_thirstiest_week_and_stops(make_garden):
    weather = weather_csv(45, pan=[5.0] * 30 + [11.0] * 7 + [5.0] * 8)
    found = faults(make_garden(weather=weather))
    cut = next(trial for trial in found.trials if trial.fault.kind == "supply-cut")
    assert (cut.fault.start, cut.fault.end) == (dt.date(2025, 5, 31), dt.date(2025, 6, 6))
    assert cut.broken.starved_hours > 24.0


def test_the_scenarios_own_faults_are_tried_alone_and_marked(garden):
    own = garden.changed({"fault": [{"kind": "leak", "loss": "5 L/day"}, {"kind": "algae", "share": 0.9}]})
    found = faults(own, start=dt.date(2025, 5, 20))
    described = [trial for trial in found.trials if trial.described]
    assert {trial.fault.kind for trial in described} == {"leak", "algae"}
    assert found.season.totals["controllers"]["upper"]["leaked_kg"] == 0.0
    assert found.trials[0].described  # nine tenths of the pan covered
    assert found.start == dt.date(2025, 5, 20)


def test_the_words_name_the_worst_first(garden):
    found = faults(garden)
    said = faults_sentences(found)
    assert said[1].startswith(f"Most harm: (1) {found.trials[0].name}: ")
    with pytest.raises(ScenarioError, match="lies outside the season"):
        faults(garden, start=dt.date(2026, 1, 1))


def test_a_season_of_few_days_is_enough(make_garden):
    assert len(faults(make_garden(weather=weather_csv(5))).trials) == 14
