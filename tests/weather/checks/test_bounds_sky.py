"""
Checks of light on the smallest series on which each speaks, and on that beside it across the bound on which it doesn't.

The bounds are common practice, no source; days are invented, a June to September at 38° north.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.site import sky_of
from tests.weather.checks.days import codes, inspected, one_day, spoken

SKY = sky_of(pd.date_range("2025-06-01", periods=120), latitude=38.0, elevation=100.0)
CLEAR = SKY.clear


def shone(shares, **columns):
    """Return days with such shares of a clear sky's light, that warm up alike."""
    shares = np.asarray(shares, float)
    return {"days": shares.size, "tmin": 14.0, "tmax": 28.0, "radiation": CLEAR[: shares.size] * shares, **columns}


def dim(share, *, warming=14.0, days=45, **columns):
    return shone(np.full(days, share), tmax=14.0 + warming, **columns)


def leaps(before, after, *, days=40):
    return shone(np.where(np.arange(days) < 20, before, after))


def bright_before(first):
    """Return weeks of dim light and then of bright light, with five bright days that begin so long before these."""
    shares = np.r_[np.full(60, 0.6), np.full(45, 0.96)]
    shares[60 - first : 65 - first] = 0.96
    return shone(shares)


def between(low, *, share=0.5, without=0):
    """Return bright weeks around so many dim days, the middle ones of which have no figure."""
    shares = np.full(100, 0.96)
    shares[35 : 35 + low] *= share
    shares[40 : 40 + without] = np.nan
    return shone(shares)


def fades(to, *, days=90, known=90):
    """Return light that declines by the same part every day, to such a share of it in the end; so many days have a figure."""
    at = np.arange(days)
    return shone(np.where(at < days - known, np.nan, 0.96 * to ** (at / days)))


def little_light(clear, share):
    return dim(share, radiation=share * clear, clear=clear)


# check -> days, the last that pass and the first of which it speaks
BOUNDS = [
    ("radiation-cloudless", lambda days: dim(0.6, days=days), 45, 46),
    ("radiation-cloudless", lambda by: shone(np.resize([0.6, 0.6 + by], 60)), 0.011, 0.009),
    ("radiation-low", lambda share: dim(share, warming=11.9), 0.746, 0.745),  # 0.575 · 11.9^0.105
    ("radiation-low", lambda share: dim(share, warming=12.0), 0.841, 0.839),
    ("radiation-low", lambda days: dim(0.8, days=days), 44, 45),
    ("radiation-low", lambda clear: little_light(clear, 0.8), 18.0, 18.01),
    ("radiation-low", lambda share: dim(share, warming=1.0), 0.576, 0.574),
    ("radiation-low", lambda share: dim(share, warming=0.4), 0.535, 0.534),  # 0.575 · 0.5^0.105
    ("radiation-low", lambda days: dim(0.5, days=days), 44, 45),
    ("radiation-low", lambda clear: little_light(clear, 0.5), 6.0, 6.01),
    ("radiation-leap", lambda after: leaps(0.9, 0.9 * after), 0.751, 0.749),
    ("radiation-leap", lambda after: leaps(0.6, 0.6 * after), 1.499, 1.501),
    ("radiation-leap", lambda days: leaps(0.9, 0.5, days=days), 39, 40),
    ("radiation-leap", bright_before, 45, 46),
    (
        "radiation-leap",
        lambda clear: leaps(0.9, 0.5) | {"radiation": clear * np.repeat([0.9, 0.5], 20), "clear": clear},
        12.0,
        12.01,
    ),
    ("radiation-leap", lambda share: between(25, share=share), 0.621, 0.619),
    ("radiation-leap", between, 22, 23),  # nine in ten of twenty-five days
    ("radiation-leap", lambda without: between(25, without=without), 11, 10),
    ("radiation-leap", lambda share: between(12, share=share), 0.401, 0.399),  # as kWh/m² for MJ/m², which are 0.28
    ("radiation-leap", lambda share: between(5, share=share), 0.161, 0.159),  # as tenths for whole ones
    ("radiation-leap", lambda low: between(low, share=0.28), 10, 11),
    ("radiation-leap", lambda without: between(12, share=0.28, without=without), 3, 2),
    ("radiation-dark", lambda share: shone(one_day(0.8, share)), 0.0181, 0.0179),
    ("radiation-dark", lambda clear: little_light(clear, np.r_[0.001, np.full(44, 0.8)]), 20.0, 20.01),
    ("radiation-fades", fades, 0.781, 0.779),
    ("radiation-fades", lambda known: fades(0.5, days=100, known=known), 89, 90),
]


@pytest.mark.parametrize(("check", "days", "last", "first"), BOUNDS)
def test_light_is_doubted_from_its_bound_on(check, days, last, first):
    assert not spoken(check, **days(last))
    assert spoken(check, **days(first))


def test_light_that_leaps_is_worth_what_it_was_before_and_fades_besides_no_more():
    """From 0.9 to 0.3 of a clear sky's on a day, and by half on 25 days between others."""
    for days, told in (
        (leaps(0.9, 0.3, days=120), "0.33 times what it was from"),
        (between(25, share=0.5), "0.50 times"),
    ):
        found = inspected(**days, trust=())
        (said,) = (caution for caution in found.cautions if caution.name in ("radiation-leap", "radiation-fades"))
        assert told in said.sentence
        light = said.instead[0]["radiation"] / found.sky.clear
        assert (
            np.abs(light - light[60]) < 0.01 * light[60]
        ).mean() > 0.93  # its first day may be told too early by some


@pytest.mark.parametrize(("light", "wet_first"), [((0.9, 0.3), False), ((0.3, 0.9), True)])
def test_light_that_leaps_as_rains_set_in_or_end_is_the_skys(light, wet_first):
    """Of the twenty days of the darker side five are wet, and six."""
    for wet, amount, told in ((5, 1.0, True), (6, 1.0, False), (6, 0.9, True)):
        rain = np.repeat([amount, 0.0], [wet, 40 - wet])[:: 1 if wet_first else -1]
        assert bool(spoken("radiation-leap", **leaps(*light, days=40), rain=rain)) is told


@pytest.mark.parametrize(("wet", "told"), [(11, True), (12, False)])
def test_light_that_fades_as_rains_set_in_is_the_skys(wet, told):
    """Of the 45 days of the darker half so many are wet, one after the other."""
    rain = np.repeat([0.0, 3.0, 0.0], [45, wet, 45 - wet])
    assert bool(spoken("radiation-fades", **fades(0.5), rain=rain)) is told


def test_nearly_dark_days_are_worth_what_is_estimated_and_not_told_where_a_leap_tells_them():
    found = inspected(**shone([0.8] * 40 + [0.01] * 2 + [0.8] * 40), trust=())
    (said,) = (caution for caution in found.cautions if caution.name == "radiation-dark")
    assert "(and 1 more day)" in said.sentence and np.isnan(said.instead[0]["radiation"]).sum() == 2
    names = [caution.name for caution in inspected(**leaps(0.9, 0.01), trust=()).cautions]
    assert "radiation-leap" in names and "radiation-dark" not in names


def test_sunshine_leaps_where_the_light_that_it_makes_does_and_no_radiation_is_known():
    """FAO-56 eq 35: 0.25 and half of n/N; 0.75 of what 0.9 makes is made by 0.55."""
    for share, told in ((0.56, False), (0.54, True), (0.05, True)):
        hours = SKY.daylight[:40] * np.repeat([0.9, share], 20)
        days = {"days": 40, "tmin": 14.0, "tmax": 28.0, "sunshine": hours}
        assert ("from 2025-06-21 on" in spoken("sunshine-leap", **days)) is told
        assert not spoken("sunshine-leap", **days, radiation=0.9 * CLEAR[:40])
    (said,) = inspected(
        **days | {"sunshine": SKY.daylight[:40] * np.repeat([0.9, 0.45], 20)}, only="sunshine-leap", trust=()
    ).cautions
    assert said.instead[0]["sunshine"] / SKY.daylight[:40] == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("top", "unit"), [(0.001149, "kW/m²"), (0.001151, "MJ/m²"), (1.149 / 277.8, "MJ/m²"), (1.151 / 277.8, "")]
)
def test_light_of_records_has_a_unit_that_brings_it_to_1_15_of_a_clear_skys_at_most(top, unit):
    """A flux of 1 MJ/m² in an hour is 277.8 W/m², by definition."""
    found = spoken("radiation-too-dark", **shone(np.full(20, top)), of_records={"radiation": "radiation"})
    assert found and (f"looks like {unit}" in found if unit else "looks like" not in found)


@pytest.mark.parametrize(("clear", "expected"), [(7.99, []), (8.01, ["radiation-too-bright"])])
def test_what_is_a_little_too_bright_in_a_low_sun_is_brought_down(clear, expected):
    """Below a clear sky's 8 MJ/m², whose light is less sure."""
    assert codes(radiation=one_day(0.6, 1.1) * np.full(20, clear), clear=clear) == expected
