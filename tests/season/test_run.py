"""Running again while salt changes what the pans do, and openings that do not fit: bare figures, no replay."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any

import pytest

from panbudget.errors import ClosureError
from panbudget.season import run as season_run
from panbudget.season.layout import prepare
from panbudget.weather.of_scenario import read_scenario_weather


@dataclasses.dataclass
class Forced:
    pans: Any = None


def runs(monkeypatch, drifts, *, matters=True, salt=None):
    """How often the engine runs where each run leaves the next of these drifts [kg], and whether salt had a say."""
    count, left = [], iter(drifts)

    def once(forcing, state, run):
        count.append(forcing)
        return None, 0

    def balances(*_):
        drift = next(left)
        return {0: SimpleNamespace(drift=drift, matters=matters, acts_as=lambda other: other.drift == drift)}

    monkeypatch.setattr(season_run, "run_forcing", once)
    monkeypatch.setattr(season_run, "_balances", balances)
    monkeypatch.setattr(season_run, "salted_pans", lambda pans, known: known[0].drift)
    ran = season_run.run_salted(None, Forced(), SimpleNamespace(copy=lambda: None), salt or {})
    return len(count), ran.salted, ran.forcing.pans


def test_a_trace_of_salt_needs_no_second_run(monkeypatch):
    assert runs(monkeypatch, [5.0], matters=False) == (1, False, None)


def test_salt_that_is_in_the_pan_already_has_its_say_however_little_comes(monkeypatch):
    assert runs(monkeypatch, [5.0, 5.0], matters=False, salt={"upper": None}) == (2, True, 5.0)


@pytest.mark.parametrize(
    ("drifts", "count"),
    [
        ([0.0, 0.0], 2),
        ([0.0, 5e-324, 5e-324], 3),
        ([0.0, -1.1e-8, 0.9e-8, 0.9e-8], 4),
        ([*range(20), 19], 21),
    ],
)
def test_runs_go_on_until_the_drift_stands_still_to_the_last_bit(monkeypatch, drifts, count):
    assert runs(monkeypatch, drifts) == (count, True, drifts[-2])


def test_as_many_openings_as_there_is_room_for_fit_and_one_more_does_not(make_garden):
    garden = make_garden(days=3)
    forcing = prepare(garden, read_scenario_weather(garden), garden.season.start, garden.season.end)
    state = season_run.first_morning(forcing)
    assert season_run.run_forcing(forcing, state, run=lambda *groups: forcing.room)[1] == forcing.room
    with pytest.raises(ClosureError, match=f"{forcing.room + 1} openings do not fit the list of {forcing.room}"):
        season_run.run_forcing(forcing, state, run=lambda *groups: forcing.room + 1)
