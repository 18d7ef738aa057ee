"""The range: seeded, run through the engine, and equal to a replay where the factors are one."""

from __future__ import annotations

import numpy as np
import pytest

from panbudget import replay
from panbudget.studies.statement.uncertainty import interval_of, sample_seasons

ONE = [1.0, 1.0]
NO_DOUBT = {"exposure": ONE, "refill_flow": ONE, "emitter_flow": ONE, "pressure": ONE}


def doubts(make_garden, **ranges):
    return replay(make_garden({"statement": {**NO_DOUBT, **ranges}}))


def test_without_doubt_every_sample_is_the_replay_itself(make_garden):
    season = doubts(make_garden)
    many = sample_seasons(season, 3)
    assert np.array_equal(many.litres["upper"], np.tile(season.controllers["upper"]["litres"].to_numpy(), (3, 1)))


def test_a_sample_is_the_replay_of_a_garden_changed_by_its_factors(make_garden):
    """One factor on the exposure: the smallest sample is what a scenario with that exposure draws."""
    season = doubts(make_garden, exposure=[0.8, 1.2])
    many = sample_seasons(season, 4)
    factors = 0.8 + 0.4 * np.random.default_rng(1).random((4, 1))[:, 0]
    for factor, litres in zip(factors, many.litres["upper"], strict=True):
        changed = season.scenario.changed({"controller": {"upper": {"pan": {"exposure": float(factor)}}}})
        assert litres.sum() == pytest.approx(replay(changed).totals["supplies"]["spring"]["litres"], rel=1e-9)


def test_pressure_has_no_say_where_all_emitters_follow_it_alike(make_garden):
    """Model page: with one exponent, pressure changes how long an opening lasts and not what a season gives."""
    season = doubts(make_garden, pressure=[0.5, 2.0])
    totals = sample_seasons(season, 10).litres["upper"].sum(axis=1)
    assert totals.max() / totals.min() < 1.1


def test_a_larger_refill_flow_draws_less_and_larger_emitters_more(make_garden):
    base = doubts(make_garden).totals["supplies"]["spring"]["litres"]
    smaller_refill = sample_seasons(doubts(make_garden, refill_flow=[0.5, 1.0]), 20).litres["upper"].sum(axis=1)
    larger_emitters = sample_seasons(doubts(make_garden, emitter_flow=[1.0, 1.5]), 20).litres["upper"].sum(axis=1)
    assert (smaller_refill > base).all()
    assert (larger_emitters > base).all()


def test_the_same_seed_gives_the_same_numbers_and_another_seed_others(make_garden):
    season = replay(make_garden())
    one, again = sample_seasons(season, 5), sample_seasons(season, 5)
    assert np.array_equal(one.litres["upper"], again.litres["upper"])
    other = sample_seasons(replay(make_garden({"statement": {"seed": 2}})), 5)
    assert not np.array_equal(one.litres["upper"], other.litres["upper"])


def test_the_range_holds_its_share_of_the_samples():
    """1 to 1000: the middle half, interpolated as numpy does: 250.75 to 750.25."""
    assert interval_of(np.arange(1.0, 1001.0), 0.5) == (250.75, 750.25)


def test_each_run_is_told(make_garden):
    told = []
    sample_seasons(replay(make_garden(days=5)), 3, told.append)
    assert told[-1] == "season 3 of 3 over the stated ranges"
