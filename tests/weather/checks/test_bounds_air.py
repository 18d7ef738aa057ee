"""
Checks of the air on the smallest series on which each speaks, and on that beside it across the bound on which it doesn't.

The bounds are common practice, no source, or from memory; days are invented.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.site import sky_of
from tests.weather.checks.days import P100, codes, spoken
from tests.weather.checks.test_sensors import by_hour
from tests.weather.sites import Site


def air_of(mean, latitude=38.0, *, days=30, elevation=0.0, start="2025-06-07", warming=10.0):
    """Return equal days."""
    site = Site(latitude, elevation)
    return {"days": days, "tmin": mean - warming / 2.0, "tmax": mean + warming / 2.0, "site": site, "start": start}


def above(share, by, *, days=100):
    """Return dew points that lie above the minimum on so many days, and by so much."""
    return {"days": days, "tmin": 14.0, "dew_point": np.where(np.arange(days) < share, 14.0 + by, 13.0)}


def humid(**columns):
    return {"tmin": 14.0, "tmax": 28.0, **columns}


def far_above(days, *, of=100):
    """Return dew points far above the minimum, on so many days above the maximum: a hygrometer's fault, and no exchange."""
    dew_point = np.where(np.arange(of) % 5 == 0, 13.0, 20.0)
    dew_point[1 : 1 + 5 * days : 5] = 29.0
    return {"days": of, "tmin": 14.0, "tmax": 28.0, "dew_point": dew_point}


def as_vapour(share, by):
    """Return the same days with the vapour pressure of that dew point (FAO-56 eq. 14)."""
    days = above(share, by)
    dew_point = days.pop("dew_point")
    return days | {"vapour_pressure": 0.6108 * np.exp(17.27 * dew_point / (dew_point + 237.3))}


def parched(share, *, tmax=28.0, days=30):
    """Return days whose air has so much of what it could hold when it is warmest."""
    held = 0.6108 * np.exp(17.27 * tmax / (tmax + 237.3))
    return {"days": days, "tmin": tmax - 14.0, "tmax": tmax, "vapour_pressure": share * held}


def warms_up(by, damp):
    return air_of(21.0, warming=by) | {"rh_max": damp}


def winds(values, *, hours=1000, calms=0, off=0):
    """Return hours of such winds in turn, some of them calm, and some off all steps."""
    of_hours = np.resize(np.asarray(values, float), hours)
    of_hours[:calms], of_hours[calms : calms + off] = 0.0, values[-1] + 0.3
    return {"tmin": 14.0, "tmax": 28.0, "wind": 2.0, "by_hour": by_hour(0.0)._replace(winds=of_hours)}


def knots(count):
    """Return so many winds in whole mph, of whole knots."""
    return winds((np.arange(1, count + 1) * 1.150779).round(0))


def least(wind, *, step=1.37, **more):
    """Return winds of which none is weaker but calms, on no unit's steps."""
    return winds(np.r_[wind, wind + step + 0.37 * np.arange(30)].round(2), **{"calms": 5, **more})


# check -> days, the last that pass and the first of which it speaks
BOUNDS = [
    ("dew-point-exchanged", far_above, 2, 1),
    ("dew-point-exchanged", lambda by: as_vapour(100, by), 1.99, 2.01),
    ("dew-point-exchanged", lambda share: as_vapour(share, 3.0), 95, 96),
    ("dew_point-above-tmin", lambda by: humid(dew_point=14.0 + by), 10.0, 10.1),
    ("rh_mean-above-rh_max", lambda by: humid(rh_max=90.0, rh_mean=90.0 + by), 0.5, 0.51),
    ("rh_mean-below-rh_min", lambda by: humid(rh_min=40.0, rh_mean=40.0 - by), 0.5, 0.51),
    ("vapour-pressure-unit", parched, 0.0801, 0.0799),
    ("vapour-pressure-unit", lambda tmax: parched(0.079, tmax=tmax), 33.0, 32.9),
    ("vapour-pressure-unit", lambda days: parched(0.079, days=days), 13, 14),
    ("humidity-zero", lambda night: humid(rh_min=0.0, rh_max=night), 29.9, 30.0),
    ("pressure-range", lambda by: {"pressure": P100 + by}, 11.99, 12.01),
    ("wind-unit", lambda wind: {"wind": [4.0] * 18 + [wind] * 2, "stated": ("wind",)}, 9.49, 9.51),
    (
        "wind-unit",
        lambda wind: {"wind": wind, "stated": ("wind", "rain"), "rain": 0.0, "units": {"wind": "m/s", "rain": "in"}},
        3.0,
        3.01,
    ),
    ("wind-unit", lambda wind: {"wind": wind, "stated": ("wind",), "site": Site(38.0, 950.0)}, 6.74, 6.76),  # 5 · 1.35
    ("wind-steps", lambda hours: winds(np.arange(1, 41) * 3.6, hours=hours), 499, 500),
    ("wind-steps", lambda off: winds(np.arange(1, 41) * 3.6, off=off), 6, 5),
    ("wind-steps", knots, 65, 66),  # 1.150779⁻⁶⁵ is 1.09e-4
    ("wind-steps", least, 2.49, 2.51),
    ("wind-steps", lambda calms: least(3.0, calms=calms), 4, 5),
    ("temperature-climate", lambda days: air_of(50.0, days=days), 29, 30),
    ("temperature-climate", lambda mean: air_of(mean, 30.0, elevation=2000.0), 29.99, 30.01),
    ("temperature-range", lambda by: warms_up(by, 80.0), 21.99, 22.01),
    ("temperature-range", lambda by: warms_up(by, 85.0), 18.99, 19.01),
    ("temperature-range", lambda by: warms_up(by, 90.0), 15.99, 16.01),
    ("temperature-range", lambda days: warms_up(23.0, 60.0) | {"days": days}, 29, 30),
    ("dew-point-exchanged", lambda days: above(days, 0.4), 95, 96),
    ("dew-point-exchanged", lambda by: above(100, by), 0.299, 0.301),
    ("dew-point-exchanged", lambda days: above(days, 6.0, days=200), 150, 151),
    ("dew-point-exchanged", lambda by: above(80, by), 4.99, 5.01),
    ("dew-point-exchanged", lambda days: above(days, 1.0, days=days), 13, 14),
]


@pytest.mark.parametrize(("check", "days", "last", "first"), BOUNDS)
def test_the_air_is_doubted_from_a_bound_on(check, days, last, first):
    assert not spoken(check, **days(last))
    assert spoken(check, **days(first))


# the hottest month of any place at that latitude, at sea level, and the coldest with a high sun; from memory
CLIMATES = [
    (0.0, 34.0, 13.0),
    (5.0, 34.0 + 5.0 / 3.0, 13.0 - 1.0 / 3.0),
    (15.0, 39.0, 12.0),
    (20.0, 41.0, 11.5),
    (25.0, 43.0, 11.0),
    (31.0, 43.0, 10.25),
    (37.0, 43.0, 9.5),
    (40.0, 40.5, 8.5),
    (43.0, 38.0, 7.5),
    (46.5, 35.0, 6.25),
    (50.0, 32.0, 5.0),
    (54.0, 30.25, 2.5),
    (58.0, 28.5, 0.0),
    (62.0, 26.25, -2.5),
    (66.0, 24.0, -5.0),
    (70.5, 19.5, -10.0),
    (75.0, 15.0, -15.0),
    (82.5, 11.5, -22.5),
    (90.0, 8.0, -30.0),
]


@pytest.mark.parametrize(("latitude", "hottest", "coldest"), CLIMATES)
def test_a_month_is_no_hotter_and_in_a_high_sun_no_colder_than_any_at_its_latitude(latitude, hottest, coldest):
    start = "2025-03-15" if latitude < 12.0 else "2025-06-07"
    for mean, speaks in (
        (hottest - 1e-3, False),
        (hottest + 1e-3, True),
        (coldest + 1e-3, False),
        (coldest - 1e-3, True),
    ):
        assert bool(spoken("temperature-climate", **air_of(mean, latitude, start=start))) is speaks


def test_the_sun_is_high_from_36_megajoules_a_day_on():
    """By the lowest sun of a month that is too cold."""
    days = pd.date_range("2025-03-01", periods=90)
    high = sky_of(days, latitude=38.0, elevation=0.0).extraterrestrial >= 36.0
    first = int(np.argmax(high))
    assert not spoken("temperature-climate", **air_of(0.0, start=str(days[first - 1].date())))
    assert spoken("temperature-climate", **air_of(0.0, start=str(days[first].date())))


# by definition of the units: a nautical mile of 1852 m, a mile of 1609.344 m
@pytest.mark.parametrize(
    ("step", "unit"),
    [(1.852, "km/h"), (1.609344, "km/h"), (3.6, "km/h"), (1.150779, "mph"), (2.236936, "mph"), (1.943844, "knots")],
)
def test_hours_of_wind_stand_on_the_steps_that_another_unit_gives_them(step, unit):
    assert f"that wind in {unit} has" in spoken("wind-steps", **winds((np.arange(1, 41) * step).round(2)))


@pytest.mark.parametrize(("weakest", "step", "unit"), [(4.51, 1.3, "km/h"), (4.49, 1.51, "mph"), (4.49, 1.49, "knots")])
def test_calms_up_to_three_knots_tell_their_unit_by_the_weakest_wind_and_the_next(weakest, step, unit):
    """5.6 km/h; in whole mph 3 and then 5."""
    assert f"that wind in {unit} has" in spoken("wind-steps", **least(weakest, step=step))


@pytest.mark.parametrize(
    ("days", "warmer", "first"),
    [
        (20, 0.0, "temperature-leap"),
        (19, 0.0, "temperature-unit"),
        (20, 7.95, "temperature-leap"),
        (20, 8.05, "temperature-unit"),
    ],
)
def test_fahrenheit_from_a_day_on_is_told_by_ten_days_on_either_side_that_are_as_warm(days, warmer, first):
    """By their own scales, up to 8 °C apart."""
    celsius = np.where(np.arange(days) < days // 2, 0.0, warmer)
    scale = np.where(np.arange(days) < days // 2, 1.0, 1.8)
    tmin, tmax = ((part + celsius) * scale + np.where(scale > 1.0, 32.0, 0.0) for part in (12.0, 26.0))
    assert codes(days, tmin=tmin, tmax=tmax, trust=["temperature-climate", "temperature-range"])[0] == first


@pytest.mark.parametrize(("weakest", "calms", "speaks"), [(1.81, 0.11, True), (1.79, 0.11, False), (1.81, 0.09, False)])
def test_a_gauge_that_starts_too_late_has_calms_and_no_weak_wind(weakest, calms, speaks):
    """Airports call up to three knots, 1.5 m/s, calm."""
    blowing = weakest + np.arange(900) % 37 / 9.7
    hours = np.r_[blowing, np.zeros(round(900 * calms / (1.0 - calms)) + 1)]
    assert ("starts too late" in spoken("wind-steps", **winds(hours))) is speaks
