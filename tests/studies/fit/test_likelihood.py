"""The filter's likelihood on readings worked by hand: one opening a visit, levels in the middle of the swing."""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.studies.fit.likelihood import Sight, Tally, account, likelihood

VISITS = 20


def tallied(counts=None, levels=None, grain=0.0):
    nan = np.full(VISITS, np.nan)
    return Tally(
        kept=np.arange(VISITS),
        counts=nan if counts is None else np.asarray(counts, float),
        levels=nan if levels is None else np.asarray(levels, float),
        opened=np.zeros(VISITS),
        reset_mm=160.0,
        grain_mm=grain,
        beyond=np.zeros(VISITS),
    )


def sight(*paces, swing_mm=5.0):
    """Pans that go through so many cycles from one visit to the next, with valves open for no time at all."""
    cycles = np.array([0.5 + pace * np.arange(VISITS) for pace in paces])
    none = np.zeros_like(cycles)
    return Sight(cycles, cycles, none, none, np.full(len(paces), swing_mm))


def weighed(seen, seen_by, level_mm=0.5, walk=0.02):
    pans = len(seen_by.cycles)
    return likelihood(seen, seen_by, np.full(pans, level_mm), np.full(pans, walk))


def test_counts_tell_one_cycle_a_visit_from_more_and_less():
    values = weighed(tallied(counts=[1.0] * VISITS), sight(0.9, 1.0, 1.1))
    assert values[1] > max(values[0], values[2]) + 2.0


def test_levels_alone_can_t_tell_a_whole_opening_more_a_visit():
    """157.5 mm at every visit: one, two or three whole cycles lie between; one and a half do not (more cycles may go further astray)."""
    values = weighed(tallied(levels=[157.5] * VISITS), sight(1.0, 2.0, 3.0, 1.5))
    assert np.ptp(values[:3]) < 1.0
    assert values[3] < values[0] - 20.0


def test_a_pan_that_rain_keeps_above_its_reset_has_its_rulers_zero_where_it_is():
    """Two swings, 10 mm, above where it would stand without rain: the same readings, the same likelihood."""
    dry, counts = sight(0.8, 1.0), [1.0] * VISITS
    wet = dry._replace(cycles=dry.cycles - 2.0)
    low, high = (tallied(counts, [157.5 + lifted] * VISITS) for lifted in (0.0, 10.0))
    assert weighed(high, wet).tolist() == pytest.approx(weighed(low, dry).tolist())


@pytest.mark.parametrize("litres", [6.0, 8.0, 12.0, 14.0])
def test_how_a_meters_litres_scatter_does_not_tell_what_an_opening_lets_through(litres):
    """Ten litres a visit: an opening of ten, or more or fewer openings of less or more, follow them alike."""
    seen = tallied([np.nan] + [1.0] * (VISITS - 1))._replace(filled=np.arange(VISITS) > 0, metered=np.array([10.0]))
    pans = sight(1.0, 10.0 / litres)
    pans = pans._replace(cycles=pans.cycles - 0.5, counted=pans.cycles - 0.5, of_opening=np.array([10.0, litres]))
    assert np.ptp(weighed(seen, pans)) < 1.0


def test_a_miscount_and_a_misread_level_are_named():
    counts, levels = [1.0] * VISITS, [157.5] * VISITS
    counts[8], levels[13] = 2.0, 120.0
    found = account(tallied(counts, levels), sight(1.0), 0.5, 0.02)
    assert found.shifts == {8: 1.0}
    assert found.misread == {13}


def test_levels_rounded_coarsely_weigh_no_more_than_their_grain():
    """Levels to 5 mm scatter by 1.4 mm whatever the ruler: a millimetre off the model tells little."""
    levels = [155.0, 160.0] * (VISITS // 2)
    fine, coarse = (weighed(tallied([1.0] * VISITS, levels, grain), sight(1.0))[0] for grain in (0.0, 5.0))
    assert coarse > fine + 10.0


@pytest.mark.parametrize("walk", [0.02, 0.2])
def test_the_likelihood_is_a_density(walk):
    """Over all levels that one reading may show, right or misread, it adds up to no more than one."""
    steps = np.repeat([2.0, 0.4, 2.0], [26, 35, 27])  # finely where the level is likely
    levels, total = 100.0 + np.cumsum(steps) - 0.5 * steps, 0.0
    base = weighed(tallied([1.0] * VISITS, [157.5] * (VISITS - 1) + [np.nan]), sight(1.0), walk=walk)[0]
    for level, step in zip(levels, steps, strict=True):
        one = weighed(tallied([1.0] * VISITS, [157.5] * (VISITS - 1) + [level]), sight(1.0), walk=walk)[0]
        total += step * np.exp(one - base)
    # a misread level counts as one in 60 mm, here over 120 mm: one in twenty twice
    assert total == pytest.approx(1.05, abs=0.03)


@pytest.mark.parametrize("lacking", [0.0, 0.3, 1.0])
def test_many_pans_at_once_weigh_what_they_weigh_by_twos(lacking):
    """To the last bit: several exposures are looked at in one go."""
    random = np.random.default_rng(7)
    counts, levels = random.poisson(1.0, VISITS).astype(float), random.uniform(154.0, 161.0, VISITS)
    for part in (counts, levels):
        part[random.random(VISITS) < lacking * random.random()] = np.nan
    seen, paces = (
        tallied(counts, levels)._replace(opened=(random.random(VISITS) < 0.1).astype(float)),
        [0.5, 0.9, 1.0, 1.7],
    )
    by_twos = [weighed(seen, sight(*paces[at : at + 2])) for at in (0, 2)]
    assert weighed(seen, sight(*paces)).tolist() == np.concatenate(by_twos).tolist()
