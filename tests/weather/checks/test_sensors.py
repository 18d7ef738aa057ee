"""
Checks of sensors, every threshold at its bound, in invented days that vary without a pattern: a June and July at 38° north.

What the checks are after: ASCE-EWRI (2005) Appendix D, Allen (1996), FAO-56 Annex 5, WMO No. 8, from memory. The thresholds are
common practice, no source, measured in tests/benchmarks/weather_checks.py.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.checks.plausibility import TRUSTED, trust_problem
from panbudget.weather.site import sky_of
from panbudget.weather.text.raw import ByHour
from tests.weather.checks.days import SITE, inspected
from tests.weather.sites import Site

N = 60
WAVE = np.array([0.0, 0.6, 1.3, 1.9, 1.1, 0.4, -0.5, -1.3, -2.1, -1.2, -0.6])
WALK = np.resize(WAVE, N) + np.linspace(0.0, 3.7, N)  # never the same twice
AIR = {"tmin": 14.0 + WALK, "tmax": 28.0 + WALK}
CLEAR = sky_of(pd.date_range("2025-06-01", periods=N), latitude=38.0, elevation=100.0).clear


def seen(days=N, **columns):
    """Return the names of what is refused or cautioned about with no check trusted but those named."""
    trust = columns.pop("trust", ())
    found = inspected(days, **{**{name: values[:days] for name, values in AIR.items()}, **columns}, trust=trust)
    return [problem.code for problem in found.problems] + [caution.name for caution in found.cautions]


def on(usual, value, first, count=1):
    """Return days with one value on some in a row."""
    values = np.broadcast_to(np.asarray(usual, float), N).copy()
    values[first : first + count] = value
    return values


def test_sound_days_pass():
    assert (
        seen(wind=2.0 + 0.3 * WALK, rain=np.where(WALK > 3.0, WALK, 0.0), radiation=CLEAR * (0.8 + 0.02 * WALK)) == []
    )


# what is on its days -> the last that passes and the first that is seen
BOUNDS = [
    ("temperature-spike", "tmax", lambda by: on(AIR["tmax"], np.median(AIR["tmax"][25:36]) + by, 30), 10.0, 24.0),
    ("value-stuck", "wind", lambda days: on(2.0 + 0.3 * WALK, 2.2, 30, days), 5, 6),
    ("wind-zero", "wind", lambda days: on(2.0 + 0.3 * WALK, 0.0, 30, days), 2, 3),
    ("wind-dead", "wind", lambda by: by + 0.001 * WALK, 0.12, 0.11),
    ("wind-leap", "wind", lambda by: (2.0 + 0.05 * WALK) * np.where(np.arange(N) < 30, 1.0, by), 2.1, 2.5),
    ("humidity-saturated", "rh_min", lambda days: on(50.0 + WALK, 99.0, 30, days), 4, 5),
    ("stations-mixed", "tmin", lambda by: 14.0 + 0.1 * WALK + by * (np.arange(N) % 2), 1.4, 1.7),
    ("temperature-range", "tmax", lambda by: AIR["tmin"] + by, 2.51, 2.49),
    ("temperature-range", "tmax", lambda by: AIR["tmin"] + by, 21.9, 22.1),
    (
        "rain-sum",
        "rain",
        lambda days: np.r_[np.repeat([3.1, 4.2, 5.3], days), 10.1 - 0.7 * np.arange(8), np.zeros(N)][:N],
        2,
        4,
    ),
    ("rain-spike", "rain", lambda by: on(on(0.0, 20.0, 10), by, 30), 150.0, 150.1),
    ("rain-spike", "rain", lambda by: on(on(0.0, 60.0, 10), by, 30), 180.0, 180.1),
]


@pytest.mark.parametrize(("check", "column", "values", "last", "first"), BOUNDS)
def test_what_a_sensor_does_is_seen_beyond_its_bound(check, column, values, last, first):
    assert check not in seen(**{column: values(last)})
    assert check in seen(**{column: values(first)})
    assert check not in seen(**{column: values(first)}, trust=[check])


@pytest.mark.parametrize(("by", "expected"), [(25.5, False), (-25.5, False), (-26.5, True)])
def test_temperatures_that_leap_and_stay_are_refused(by, expected):
    """26 °C between the middles of ten days before and after."""
    later = np.where(np.arange(N) < 30, 0.0, by)
    flat = {"tmin": 14.0 + 0.01 * WALK + later, "tmax": 28.0 + 0.01 * WALK + later}
    assert ("temperature-leap" in seen(**flat)) is expected


@pytest.mark.parametrize(
    ("warming", "by", "expected"), [(14.0, 0.73, 0), (14.0, 0.70, 1), (8.0, 0.69, 0), (8.0, 0.67, 1)]
)
def test_radiation_stays_below_a_clear_sky_by_itself_or_for_the_warmth_of_the_days(warming, by, expected):
    found = seen(tmax=AIR["tmin"] + warming, radiation=CLEAR * (by + 0.0001 * WALK))
    assert found.count("radiation-low") == expected


def test_equal_days_are_made_up_and_have_no_sensors():
    assert seen(tmin=14.0, tmax=30.0, wind=2.0) == []
    assert seen(wind=2.0) == ["value-stuck"]


@pytest.mark.parametrize(("days", "expected"), [(3, []), (4, ["days-twice"])])
def test_days_that_stand_there_twice_are_seen_from_four_in_a_row(days, expected):
    rough = {name: (values + 0.01 * np.arange(N) ** 1.5).round(2) for name, values in AIR.items()}
    for values in rough.values():
        values[40 : 40 + days] = values[10 : 10 + days]
    assert seen(**rough) == expected


def test_a_gauge_that_freezes_is_not_dead():
    cold = {name: values - 40.0 for name, values in AIR.items()}
    assert not {"wind-zero", "wind-dead"} & set(seen(**cold, wind=on(0.1 + 0.01 * WALK, 0.0, 30, 5)))


@pytest.mark.parametrize(("rh", "wet", "expected"), [(72.0, 3, False), (71.9, 3, True), (71.9, 2, False)])
def test_a_hygrometer_that_stays_below_72_percent_on_3_wet_days_reads_low(rh, wet, expected):
    found = seen(rain=on(0.0, 5.0, 20, wet) + 0.1 * (np.arange(N) == 21), rh_max=on(60.0 + WALK, rh, 20, wet))
    assert ("humidity-low" in found) is expected


@pytest.mark.parametrize(("step", "wet", "seen_as"), [(7, 8, True), (6, 8, False), (30, 3, True)])
def test_rain_on_one_day_of_the_week_or_month_alone_is_a_total(step, wet, seen_as):
    days = 91
    first = pd.Timestamp("2025-05-31")
    rain = np.zeros(days)
    if step == 30:
        rain[[0, 30, 61]] = [12.3, 4.5, 6.7]  # the last of May, of June and of July
    else:
        rain[1 : 1 + step * wet : step] = 3.0 + np.arange(wet)
    warm = np.resize(AIR["tmin"], days)
    found = inspected(days, start=str(first.date()), tmin=warm, tmax=warm + 14.0, rain=rain, trust=())
    assert ("rain-periods" in [caution.name for caution in found.cautions]) is seen_as


def test_rain_and_wind_exchanged_are_refused():
    rain, wind = np.where(np.arange(N) % 5 == 0, 4.0 + WALK, 0.0), 2.0 + 0.3 * WALK
    assert "rain-exchanged" in seen(rain=wind, wind=rain)
    assert "rain-exchanged" not in seen(rain=rain, wind=wind)


@pytest.mark.parametrize(("factor", "expected"), [(0.75, []), (0.6, ["radiation-leap"]), (1 / 0.6, ["radiation-leap"])])
def test_light_that_leaps_from_a_day_on_is_seen(factor, expected):
    later = np.where(np.arange(N) < 30, min(1.0 / factor, 1.0), min(factor, 1.0))
    assert [name for name in seen(radiation=CLEAR * 0.97 * later) if name == "radiation-leap"] == expected


@pytest.mark.parametrize(("end", "expected"), [(0.75, False), (0.5, True)])
def test_light_that_fades_is_seen(end, expected):
    days = 122
    warm = np.resize(AIR["tmin"], days)
    clear = sky_of(pd.date_range("2025-06-01", periods=days), latitude=38.0, elevation=100.0).clear
    radiation = clear * 0.97 * np.linspace(1.0, end, days)
    found = inspected(days, tmin=warm, tmax=warm + 14.0, radiation=radiation, trust=())
    assert ("radiation-fades" in [caution.name for caution in found.cautions]) is expected


def by_hour(off, *, height=4.0, rare=0, share=0.4, by_sun=True, light=False):
    """Return hours of the day whose warmest, and whose sun, are so many hours late."""
    hour = np.arange(24) + 0.5
    records = np.full(24, 100.0)
    records[:rare] *= share
    flux = np.maximum(np.cos(2 * np.pi * (hour - 12.0 - off) / 24.0), 0.0) * 800.0
    warmth = 20.0 + height * np.cos(2 * np.pi * (hour - 14.8 - off) / 24.0)
    return ByHour(records, warmth, flux if light else np.full(24, np.nan), by_sun)


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        (by_hour(3.4), []),
        (by_hour(3.6), ["clock"]),
        (by_hour(-3.6), ["clock"]),
        (by_hour(12.0, light=True), ["clock"]),
        (by_hour(4.9, by_sun=False), []),
        (by_hour(5.1, by_sun=False), ["clock"]),
        (by_hour(6.0, height=0.9), []),
        (by_hour(6.0, height=1.1), ["clock"]),
        (by_hour(0.0, rare=8, share=0.49), ["hours-missing"]),
        (by_hour(0.0, rare=8, share=0.51), []),
        (by_hour(0.0, rare=9), []),
    ],
)
def test_a_clock_that_is_out_and_hours_that_are_always_missing_show_by_the_hours(hours, expected):
    assert seen(by_hour=hours) == expected


@pytest.mark.parametrize(
    ("latitude", "mean", "expected"),
    [(38.0, 41.1, []), (38.0, 42.6, ["temperature-climate"]), (51.0, 33.5, ["temperature-climate"]), (51.0, 30.9, [])],
)
def test_a_month_is_no_hotter_than_the_hottest_at_that_latitude(latitude, mean, expected):
    """At 38° 42.2 °C, at 51° 31.6 °C at sea level: world maps and records, from memory."""
    walk = WALK - WALK[-30:].mean()
    assert seen(tmin=mean - 5.0 + walk, tmax=mean + 5.0 + walk, site=Site(latitude, 0.0))[:1] == expected


def test_summer_is_no_colder_than_the_coldest_at_that_latitude():
    walk = WALK - WALK.mean()
    assert seen(tmin=1.0 + walk, tmax=11.0 + walk) == ["temperature-climate"]
    assert seen(tmin=9.0 + walk, tmax=19.0 + walk) == []
    high = Site(38.0, 2500.0)
    assert seen(tmin=1.0 + walk, tmax=11.0 + walk, site=high) == []


def test_dew_point_and_minimum_exchanged_are_refused():
    assert "dew-point-exchanged" in seen(dew_point=AIR["tmin"], tmin=AIR["tmin"] - 0.4)
    assert "dew-point-exchanged" not in seen(dew_point=AIR["tmin"], tmin=AIR["tmin"] - 0.2)


def test_names_that_can_be_trusted_are_listed():
    assert trust_problem(["wind-zero"]) is None
    problem = trust_problem(["wind-zero", "wind-nought"], where="weather")
    assert problem.sentence().startswith(
        'weather.trust names "wind-nought", which is no check; expected: some of clock, '
    )
    assert "wind-zero" in problem.expected and "tmax-range" not in TRUSTED
    assert inspected(tmax=60.0, tmin=20.0, trust=TRUSTED).problems  # what nobody can know better


def test_what_ran_is_listed_and_nothing_else():
    ran = inspected(tmin=14.0, tmax=30.0, rain=0.0, site=SITE).ran
    assert ran["tmin-range"] == ["tmin", "tmin"] and ran["rain-unit"] == ["rain"]
    assert not any(name.startswith(("wind", "radiation", "humidity", "clock")) for name in ran)
