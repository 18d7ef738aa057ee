"""The usual faults one by one: ranked by what they add, with what a person outside would count and measure."""

from __future__ import annotations

import copy
import dataclasses
import datetime as dt
from types import SimpleNamespace
from typing import get_args

import pandas as pd
import pytest
from pydantic import TypeAdapter

from panbudget import replay, scenario_from
from panbudget.errors import ScenarioError
from panbudget.reports.faults.page import faults_sentences, noticed
from panbudget.scenario.faults import AnyFault, Fault
from panbudget.scenario.problems import kinds_of
from panbudget.studies import faults as study
from panbudget.studies.faults import CURES, LOOKS, faults, valves_of
from tests.scenario.test_garden import SOUND
from tests.small_weather import weather_csv

FAULT_KINDS = {name for part in get_args(AnyFault) for name in kinds_of(part)}


@pytest.fixture(scope="module")
def weather():
    return weather_csv(45, rain=[0.0] * 9 + [6.0] + [0.0] * 35)


@pytest.fixture(scope="module")
def garden(make_shared_garden, weather):
    few = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 16}}}}}}
    return make_shared_garden(few, weather=weather)


@pytest.fixture(scope="module")
def found(garden):
    """The usual faults of that garden, tried once."""
    return faults(garden)


def test_every_kind_has_a_place_to_look_and_a_cure():
    assert set(LOOKS) == set(CURES) == FAULT_KINDS


@pytest.mark.parametrize(
    ("fault", "valves"),
    [
        ({"kind": "leak", "loss": "1 L/day", "controller": "upper"}, ["upper"]),
        ({"kind": "clogged-emitters", "share": 0.5, "bed": "upper/tomatoes"}, ["upper"]),
        ({"kind": "supply-cut", "supply": "spring"}, ["upper", "up"]),
    ],
)
def test_a_fault_shows_at_its_own_valve_or_at_all_on_its_supply(fault, valves, make_garden):
    """And not at one whose name is a part of its own."""
    upper = copy.deepcopy(SOUND)["controller"]["upper"]
    broken = make_garden({"controller": {"upper": upper, "up": upper}}).changed({"fault": [fault]})
    assert valves_of(broken.fault[0], broken) == valves


def test_faults_are_ranked_by_stress_days_and_then_by_wasted_litres(garden, found):
    """Each trial's figures are those of its own replay, added up here again; every kind but none twice alike."""
    harms = []
    for trial in found.trials:
        fault = {k: v for k, v in trial.fault.model_dump().items() if v is not None}
        assert fault["start"] == dt.date(2025, 5, 16) or trial.fault.kind == "supply-cut"
        harms.append((max(trial.more_stress_days, 0), round(trial.more_wasted_litres, 6)))
    assert harms == sorted(harms, reverse=True)
    assert {trial.fault.kind for trial in found.trials} == FAULT_KINDS
    assert [trial.what for trial in found.trials if trial.more_stress_days > 0]
    shade = next(trial for trial in found.trials if trial.fault.kind == "shade")
    again = replay(garden.changed({"fault": [{"kind": "shade", "factor": 0.6, "start": dt.date(2025, 5, 16)}]}))
    beds = again.totals["beds"]["upper/tomatoes"]
    assert shade.broken.stress_days == beds["driest_quarter"]["stress_days"]
    lost = again.totals["controllers"]["upper"]
    assert shade.broken.wasted_litres == pytest.approx(
        beds["deep_percolation_mm"] * 12.0 + lost["leaked_kg"] + lost["spilled_kg"]
    )


def test_the_signs_are_a_weeks_counts_with_the_fault_and_without(garden, found):
    leak = next(trial for trial in found.trials if trial.fault.kind == "leak")
    signs = leak.signs["upper"]
    assert (signs.start, signs.end) == (dt.date(2025, 5, 16), dt.date(2025, 5, 22))
    week = slice("2025-05-16", "2025-05-22")
    sound = found.season.controllers["upper"]
    assert signs.figures["openings"][1] == sound.loc[week, "openings"].sum()
    assert signs.figures["openings"][2] == sound.loc["2025-05-09":"2025-05-15", "openings"].sum()
    area = garden.controller["upper"].pan.area
    assert signs.figures["drop_mm"][0] == pytest.approx(8.0 + 0.3 / area)  # 8 mm a day and 300 mL of leak
    assert signs.figures["drop_mm"][1] == pytest.approx(8.0)
    assert "lost a day while shut 9.5 mm in place of 8.0 mm" in noticed("upper", signs).replace("\u00a0", " ")


def test_the_level_is_counted_from_the_floor_where_the_trip_has_moved(garden, found):
    """A trip 225 g heavier leaves 225 g more in the pan: 1.1 mm of its 0.196 m², give or take the hour."""
    trip = next(trial for trial in found.trials if getattr(trial.fault, "trip", None) is not None)
    area = garden.controller["upper"].pan.area
    level, sound, _ = trip.signs["upper"].figures["noon_level_mm"]
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


def test_the_words_name_the_worst_first(garden, found):
    said = faults_sentences(found)
    assert said[1].startswith(f"Most harm: (1) {found.trials[0].name}: ")
    with pytest.raises(ScenarioError, match="lies outside the season"):
        faults(garden, start=dt.date(2026, 1, 1))


@pytest.mark.parametrize(("more", "is_said"), [(0, False), (-1, True)])
def test_a_cut_supply_that_spares_days_is_said_to_be_no_help(found, more, is_said):
    """Days are counted, not what the beds lack on them; a bed that is short anyway can't be short on more days than there are."""
    (cut,) = (trial for trial in found.trials if trial.fault.kind == "supply-cut")
    other = dataclasses.replace(cut, broken=cut.sound._replace(stress_days=cut.sound.stress_days + more))
    said = faults_sentences(dataclasses.replace(found, trials=(other,)))
    told = "spring: with the supply cut the beds are short of water on fewer days (1 fewer), and yet that is no help"
    assert any(told in line.replace("\u00a0", " ") for line in said) is is_said


def test_a_season_of_few_days_is_enough(make_garden):
    assert len(faults(make_garden(weather=weather_csv(5))).trials) == 14


@pytest.mark.parametrize(
    ("lost", "rain", "first"),
    [
        ([5.0] * 3 + [9.0] * 7 + [5.0] * 3, {}, 3),
        ([5.0] * 3 + [9.0] * 7 + [5.0] * 3, {4: 60.0}, 5),  # a wet day in it: the seven from the next on
        ([5.0] * 8, {}, 0),  # the first of equals
        ([1.0] * 6 + [2.0] * 2, {}, 1),
        ([1.0] + [9.0] * 6, {}, 0),  # fewer than eight days are the week
    ],
)
def test_the_thirstiest_week_loses_most_of_the_mean_pan_rain_off(lost, rain, first):
    """Two valves, one of which loses 2 mm more each day; days before the faults' first one do not count."""
    start, days = dt.date(2025, 5, 4), pd.date_range("2025-05-01", periods=len(lost) + 3)
    fallen = [rain.get(day - 3, 0.0) for day in range(len(days))]
    table = pd.DataFrame({"pan_mm": [99.0] * 3 + lost}, index=days)
    season = SimpleNamespace(
        controllers={"upper": table, "lower": table + 2.0}, days=pd.DataFrame({"rain_mm": fallen}, index=days)
    )
    assert study._thirstiest_week(season, start) == start + dt.timedelta(days=first)


@pytest.fixture(scope="module")
def plain_season(tmp_path_factory):
    """45 days that lose 1.0, 1.1, 1.2 … mm."""
    folder = tmp_path_factory.mktemp("plain")
    text = weather_csv(45, pan=[1.0 + 0.1 * day for day in range(45)])
    (folder / "weather.csv").write_text(text, encoding="utf-8")
    description = copy.deepcopy(SOUND)
    description["season"] = {"start": dt.date(2025, 5, 1), "end": dt.date(2025, 6, 14)}
    description["controller"]["upper"]["pan"]["evaporation"] = "measured"
    return replay(scenario_from(description, folder / "garden.toml"))


@pytest.mark.parametrize(
    ("fault", "first", "before"),
    [
        ({"kind": "leak", "loss": "1 L/day", "start": dt.date(2025, 5, 11)}, 10, slice(3, 10)),
        ({"kind": "clogged-refill", "share": 0.5, "start": dt.date(2025, 5, 11)}, 10, slice(3, 10)),
        # what grows by the month is looked at four weeks on
        ({"kind": "clogged-refill", "rate": 0.2, "start": dt.date(2025, 5, 9)}, 36, slice(1, 8)),
        ({"kind": "clogged-refill", "rate": 0.2, "start": dt.date(2025, 5, 21)}, 38, slice(13, 20)),  # the last week
        ({"kind": "leak", "loss": "1 L/day", "start": dt.date(2025, 5, 3)}, 2, slice(0, 2)),
        ({"kind": "leak", "loss": "1 L/day"}, 0, slice(0, 1)),
        ({"kind": "leak", "loss": "1 L/day", "start": dt.date(2025, 4, 3)}, 0, slice(0, 1)),
        ({"kind": "leak", "loss": "1 L/day", "start": dt.date(2025, 8, 3)}, 38, slice(37, 44)),
    ],
)
def test_signs_are_of_the_faults_first_week_and_of_the_week_before_it(plain_season, fault, first, before):
    fault = TypeAdapter(Fault).validate_python(fault)
    signs = study.signs_of(fault, "upper", plain_season, plain_season)
    table, pans = plain_season.controllers["upper"], plain_season.forcing.pans
    days = slice(first, first + 7)
    assert (signs.start, signs.end) == tuple(table.index[days][[0, -1]].date)
    for name in ("openings", "open_hours"):
        week, again, earlier = signs.figures[name]
        assert (week, earlier) == (table[name].iloc[days].sum(), table[name].iloc[before].sum())
        assert again == week
    to_beds = table["litres"] - table["refilled_kg"]
    assert signs.figures["litres"][::2] == pytest.approx((to_beds.iloc[days].sum(), to_beds.iloc[before].sum()))
    assert signs.figures["drop_mm"][::2] == pytest.approx(
        (table["pan_mm"].iloc[days].mean(), table["pan_mm"].iloc[before].mean())
    )
    noon = (plain_season.hourly_level["upper"].reshape(-1, 24)[:, 11] - pans.dry[0]) / pans.area[0]
    assert signs.figures["noon_level_mm"][::2] == pytest.approx((noon[days].mean(), noon[before].mean()))


def test_two_days_are_the_least_to_try_faults_in(make_garden):
    with pytest.raises(ScenarioError, match="season of one day is too short"):
        faults(make_garden(days=1))
    for start in (dt.date(2025, 4, 30), dt.date(2025, 5, 3)):
        with pytest.raises(
            ScenarioError, match=r"^start = .* lies outside the season; expected: 2025-05-01 to 2025-05-02"
        ):
            faults(make_garden(days=2), start=start)
    for start in (dt.date(2025, 5, 1), dt.date(2025, 5, 2)):
        assert faults(make_garden(days=2), start=start).start == start


def test_harm_adds_beds_and_valves_up():
    """By hand: 2 mm of 12 m² and 3 mm of 4 m² drained are 36 L; 1 + 2 kg leaked and 3 + 4 kg spilled."""
    valve = {"litres": 10.0, "stuck_open_hours": 1.0, "dry_pan_hours": 2.0, "starved_hours": 3.0}
    beds = [(2.0, 12.0, 3), (3.0, 4.0, 4)]
    totals = {
        "controllers": {
            "a": valve | {"leaked_kg": 1.0, "spilled_kg": 3.0},
            "b": valve | {"leaked_kg": 2.0, "spilled_kg": 4.0},
        },
        "beds": {
            f"a/{n}": {"deep_percolation_mm": mm, "area_m2": area, "driest_quarter": {"stress_days": days}}
            for n, (mm, area, days) in enumerate(beds)
        },
    }
    assert study._harm(SimpleNamespace(totals=totals)) == (7, 46.0, 20.0, 2.0, 4.0, 6.0)


def test_a_fault_that_spares_stress_does_no_negative_harm():
    def harm(days, litres):
        return study.Harm(days, litres, 0.0, 0.0, 0.0, 0.0)

    trial = study.Trial(None, "upper", "odd", False, harm(3, 50.0), harm(5, 80.0), {})
    assert (trial.more_stress_days, trial.harm) == (-2, (0, -30.0))
    assert study.Trial(None, "upper", "odd", False, harm(6, 50.0), harm(5, 20.0), {}).harm == (1, 30.0)
