"""
Checks by the hours about noon, every threshold at its bound, in invented days of a June and July at 38° north.

What the checks are after: WMO No. 8, part I, chapter 2, from memory. The thresholds are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.physics.air import saturation_vapour_pressure
from tests.weather.checks.days import inspected
from tests.weather.checks.test_sensors import AIR, CLEAR, WALK, N, by_hour


def middays(damper=0.0, warmer=1.5, *, bright=800.0, days=N):
    """
    Return hours about noon under clouds that come and go: by how much the logarithm of vapour, and warmth, rise with 900 W/m².

    Light changes by turns, in another order each day, so that no hour of the day is brighter than others.
    """
    hours = np.array([24 * (20240 + day) + hour for day in range(days) for hour in range(9, 16)])
    light = np.where(np.random.default_rng(1).random(hours.size) < 0.5, 0.5, 1.0) * bright
    columns = {"light": light, "warmth": 20.0 + warmer * light / 900.0, "damp": damper * light / 900.0}
    return by_hour(0.0)._replace(midday=pd.DataFrame(columns, index=hours))


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        (middays(0.159), False),
        (middays(0.161), True),
        (middays(0.2, bright=390.0), False),  # 292 W/m² in the mean
        (middays(0.2, bright=410.0), True),
        (middays(0.2, days=24), False),  # 144 changes
        (middays(0.2, days=25), True),
        (middays(warmer=4.98), False),
        (middays(warmer=5.02), True),
        (middays(0.2)._replace(by_sun=False), False),
    ],
)
def test_a_thermometer_that_follows_the_light_from_hour_to_hour_is_in_the_sun(hours, expected):
    """Vapour by 16 % or warmth by 5 °C with 900 W/m²; the air itself warms up by 1.5 °C."""
    found = inspected(N, start="2025-06-01", **AIR, radiation=28.0, by_hour=hours, trust=())
    said = [caution for caution in found.cautions if caution.name == "thermometer-sun"]
    assert [True for _ in said] == [True] * expected
    if said:
        assert "follow" not in said[0].sentence and "from hour to hour" in said[0].sentence
        assert (said[0].instead[0]["tmax"] <= found.daily["tmax"]).all()
    trusting = inspected(N, start="2025-06-01", **AIR, radiation=18.0, by_hour=hours, trust=["thermometer-sun"])
    assert "thermometer-sun" not in [caution.name for caution in trusting.cautions]


@pytest.mark.parametrize(("count", "bright", "expected"), [(4, 900.0, 0), (5, 900.0, 1), (5, 199.0, 0), (5, 201.0, 1)])
def test_hours_of_nothing_between_bright_ones_are_lost_records(count, bright, expected):
    """Half of a dull hour's 200 W/m² is 100; five of seven hours of 60 days lie between others, so 5 in 300 are worth 1.7 %."""
    hours = middays(bright=bright)
    light = np.full(len(hours.midday), bright / 2.0)
    light[3 : 7 * count : 7] = 0.0
    hours = hours._replace(midday=hours.midday.assign(light=light))
    found = inspected(N, **AIR, radiation=20.0, by_hour=hours, only="radiation-drops", trust=())
    assert [said.instead[0]["radiation"][0] for said in found.cautions] == [
        pytest.approx(20.0 / (1 - 5 / 300))
    ] * expected


def test_light_that_reads_too_low_is_no_thermometer_in_the_sun():
    found = inspected(N, start="2025-06-01", **AIR, radiation=CLEAR * 0.5, by_hour=middays(0.2), trust=())
    assert {"radiation-low", "thermometer-sun"} & {caution.name for caution in found.cautions} == {"radiation-low"}


def test_afternoons_that_are_too_damp_though_nothing_follows_the_light_are_the_hygrometers():
    rh_max = 80.0 + WALK
    rh_min = rh_max * 1.4 * saturation_vapour_pressure(AIR["tmin"]) / saturation_vapour_pressure(AIR["tmax"])
    columns = {**AIR, "rh_max": rh_max, "rh_min": rh_min, "radiation": CLEAR * 0.8}
    found = inspected(N, **columns, by_hour=middays(), trust=())
    (said,) = (caution for caution in found.cautions if caution.name == "thermometer-sun")
    assert "hygrometer" in said.sentence
    assert np.isnan(said.instead[0]["rh_min"]).all()


@pytest.mark.parametrize(
    ("share", "by_day", "expected"), [(0.83, 0.83, True), (0.85, 0.83, False), (0.83, 0.85, False), (0.0, 0.95, False)]
)
def test_noons_that_are_never_as_bright_as_a_clear_sky_are_of_a_sensor_that_reads_low(share, by_day, expected):
    """1367 W/m² by the distance of the sun and its height, through 0.75 + 2e-5 z of the air: 1,000 W/m² at 38° in June."""
    day = pd.date_range("2025-06-01", periods=N).dayofyear.to_numpy()
    height = np.cos(np.radians(38.0) - 0.409 * np.sin(2 * np.pi * day / 365 - 1.39))
    noon = 1367.0 * (1 + 0.033 * np.cos(2 * np.pi * day / 365)) * height * 0.752
    hours = middays()
    light = np.repeat(share * noon, 7)
    hours = hours._replace(midday=hours.midday.assign(light=light))
    air = {"tmin": AIR["tmin"], "tmax": AIR["tmin"] + 9.0}
    found = inspected(N, start="2025-06-01", **air, radiation=CLEAR * by_day, by_hour=hours, trust=())
    assert ("radiation-low" in [caution.name for caution in found.cautions]) is expected
