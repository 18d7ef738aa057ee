"""
The faults' ranking beside that of a second, plain simulator of the season (`naive_faults`), garden by garden.

A single opening that begins before midnight in one and after it in the other moves a day's water, and with it a few stress
days: the second simulator differs from itself by as much between steps of 1 and of 5 seconds. So days may differ by three
or by 7 %, litres by half a per cent of all that the valves gave, and only what differs by more must stand in one order.
"""

from __future__ import annotations

import datetime as dt
import itertools
from pathlib import Path

import pytest

from panbudget.scenario.garden import load_scenario
from panbudget.studies.faults import faults

pytest.importorskip("numba")

from tests.naive_faults import Harm, naive_season, thirstiest_week

_ROOT = Path(__file__).resolve().parents[2]
_DAYS, _SHARE_OF_DAYS, _SHARE_OF_LITRES = 3, 0.07, 0.005
#: garden -> file, variant, step of the second simulator [s], pairs of faults in a hundred that must be told apart
GARDENS = {
    "the one to start from": ("simulator/panbudget/templates/garden.toml", None, 1.0, 60),
    "the demo": ("scenarios/terraces.toml", None, 2.0, 60),
    "the demo on a tank under a roof": ("scenarios/terraces.toml", "rain-tank", 5.0, 9),
}


def days_margin(days: int) -> float:
    return max(_DAYS, _SHARE_OF_DAYS * abs(days))


@pytest.fixture(scope="module", params=GARDENS)
def both(request):
    """Fault by fault in the program's order: its trial, and what the second simulator says that the fault adds."""
    file, variant, step, apart = GARDENS[request.param]
    scenario = load_scenario(_ROOT / file)
    scenario = scenario if variant is None else scenario.with_variant(variant)
    found = faults(scenario)
    sound = naive_season(scenario, step_seconds=step)
    again = []
    for trial in found.trials:
        harm = naive_season(scenario, trial.fault, step_seconds=step).harm
        again.append(
            Harm(harm.stress_days - sound.harm.stress_days, harm.wasted_litres - sound.harm.wasted_litres),
        )
    return scenario, found, sound, again, apart


def test_the_sound_seasons_agree(both):
    _, found, sound, _, _ = both
    totals = found.season.totals
    assert totals["weather"]["eto_mm"] == pytest.approx(sound.eto, rel=1e-6)
    for name, bed in totals["beds"].items():
        assert bed["litres"] == pytest.approx(sound.bed_litres[name], rel=_SHARE_OF_LITRES)
        assert bed["driest_quarter"]["stress_days"] == pytest.approx(sound.stress[name], abs=2)
    for name, controller in totals["controllers"].items():
        assert controller["openings"] == pytest.approx(sound.openings[name], abs=2)


def test_each_fault_adds_what_a_second_simulator_says(both):
    _, found, _, again, _ = both
    for trial, harm in zip(found.trials, again, strict=True):
        most = days_margin(harm.stress_days)
        assert trial.more_stress_days == pytest.approx(harm.stress_days, abs=most), trial.name
        litres = _SHARE_OF_LITRES * trial.broken.litres
        assert trial.more_wasted_litres == pytest.approx(harm.wasted_litres, abs=litres), trial.name


def test_faults_stand_in_the_order_of_a_second_simulator(both):
    """All pairs that the second simulator tells apart: by stress days, or, where neither adds any, by litres."""
    _, found, _, again, apart = both
    pairs = list(itertools.combinations(zip(found.trials, again, strict=True), 2))
    told = 0
    for (upper, one), (lower, other) in pairs:
        more, less = max(one.stress_days, 0), max(other.stress_days, 0)
        if abs(more - less) > days_margin(max(more, less)):
            told += 1
            assert more > less, f"{upper.name} stands above {lower.name}"
        elif upper.harm[0] == lower.harm[0] == more == less == 0:
            margin = _SHARE_OF_LITRES * max(upper.broken.litres, lower.broken.litres)
            if abs(one.wasted_litres - other.wasted_litres) > margin:
                told += 1
                assert one.wasted_litres > other.wasted_litres, f"{upper.name} stands above {lower.name}"
    assert 100 * told >= apart * len(pairs)


def test_the_supply_is_cut_in_the_week_that_a_second_simulator_finds_thirstiest(both):
    scenario, found, _, _, _ = both
    week = thirstiest_week(scenario, found.start)
    cuts = [trial.fault for trial in found.trials if trial.fault.kind == "supply-cut"]
    assert cuts
    assert {(cut.start, cut.end) for cut in cuts} == {(week, week + dt.timedelta(days=6))}
