"""What `spells` tells on both sides of its bounds; days are made so that the answer is known, worked by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.checks.spells import still
from tests.weather.checks.test_spells import DAYS, HOUR, SPAN, TURN, N, changed, days_of, hours, table, told

AT = np.arange(N)


def _share(step, share):
    """A series of spread 1 of which a step or line explains a share of the squares, and days in turn the rest."""
    z = (step - step.mean()) / step.std()
    free = TURN - (TURN * z).mean() * z
    return np.sqrt(share) * z + np.sqrt(1.0 - share) * free / free.std()


@pytest.mark.parametrize("wet", [10, 9])
def test_wet_days_are_set_apart_among_ten_or_more(wet):
    rain = np.where((AT % 12 == 6) & (12 * wet > AT), 1.0 + AT / N, 0.0)
    assert ("wet" in told(table(rain=rain))) is (wet >= 10)


@pytest.mark.parametrize("days", [2, 3])
def test_a_spell_has_three_days_or_more(days):
    assert told(table(**changed("wind", (50, 50 + days), 30.0)))["wind"].days == 3


@pytest.mark.parametrize("days", [90, 91])
def test_a_spell_has_three_quarters_of_the_days_or_fewer(days):
    spell = told(table(**changed("wind", (10, 10 + days), 30.0)))["wind"]
    assert (days_of(spell) == (10, 10 + days)) is (days <= 90)


@pytest.mark.parametrize("share", [0.255, 0.245])
def test_a_drift_is_told_from_a_quarter_of_the_spread_on(share):
    drifting = told(table(rh_mean=60.0 + 5.0 * _share(AT / N, share)))
    assert ("humidity-drift" in drifting) is (share >= 0.25)


@pytest.mark.parametrize("share", [0.34, 0.32])
def test_a_spell_is_clear_from_a_third_of_the_spread_on(share):
    """Fast enough to matter to ETo by far."""
    step = np.where((AT >= 40) & (AT < 80), 1.0, 0.0)
    spell = told(table(wind=3.0 * np.exp(0.9 * _share(step, share))))["wind"]
    assert spell.worth_share > 0.03
    assert spell.clear is (share > 1.0 / 3.0)


@pytest.mark.parametrize(("others", "clear"), [(26, True), (27, False)])
def test_days_without_rain_are_clear_from_a_fifth_of_the_rain_on(others, clear):
    """18 dry days beside 89, and 92: 0.202 and 0.196 of what fell."""
    wet = np.cumsum(np.array([2] * (others // 2) + [9] + [18] + [2] * (others - others // 2)) + 1) - 1
    days = DAYS[: int(wet[-1]) + 1]
    spell = told(table().iloc[: len(days)].assign(rain=np.where(np.isin(np.arange(len(days)), wet), 50.0, 0.0)))["dry"]
    assert (spell.days, spell.clear) == (18, clear)


@pytest.mark.parametrize(("trace", "days"), [(0.09, 27), (0.1, 14)])
def test_a_day_of_less_than_a_tenth_is_dry(trace, days):
    rain = np.where((AT >= 40) & (AT <= 60), 0.0, table()["rain"])
    rain[49] = trace
    assert told(table(rain=rain))["dry"].days == days


@pytest.mark.parametrize(("column", "least"), [("wind", 0.1), ("radiation", 3.0)])
def test_nothing_is_told_as_the_least_there_is(column, least):
    assert told(table(**changed(column, (50, 60), 0.0)))[column].mean == pytest.approx(least)


@pytest.mark.parametrize("days", [20, 19])
def test_twenty_records_of_an_hour_tell_of_it(days):
    wind = np.where((HOUR > 20) | (HOUR < 6), 0.0, 2.5)[: 24 * days]
    span = SPAN[0], SPAN[0] + pd.Timedelta(days=days - 1)
    assert len(still(hours(wind=wind, days=days), *span)) == (days >= 20)


@pytest.mark.parametrize("wet", [100, 99])
def test_a_hundred_records_of_rain_tell_of_hours_without(wet):
    rain = np.zeros(24 * 60)
    rain[np.flatnonzero(np.isin(HOUR, [12, 13]))[:wet]] = 1.0
    assert len(still(hours(rain=rain), *SPAN)) == (wet >= 100)
