"""
Exports of research: satellites, gap-filled towers, crop models. Layouts are published, from memory; every number is invented.
"""

from __future__ import annotations

import math

import pytest

from panbudget.weather import read_weather
from tests.weather.styles import TRUTH, at_five, hourly
from tests.weather.test_far_styles import SITE, agrees, written

TIMED = hourly(
    "time,temperature (°C),humidity (%),rain (mm),wind (m/s)",
    lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}Z", c, d.rh, at_five(t, d), d.wind],
)


def satellite_light(steps):
    """Write a radiation service's file: so many sums [Wh/m²] a quarter of a day's hours; the column names are its last remark."""
    text = (
        "# Time reference: Universal time (UT)\n#\n# Columns:\n# 1. Observation period (ISO 8601)\n"
        "# 2. Clear sky GHI. Clear sky global irradiation on horizontal plane at ground level (Wh/m2)\n"
        "# 3. GHI. Global irradiation on horizontal plane at ground level (Wh/m2)\n#\n"
        "# Observation period;Clear sky GHI;GHI\n"
    )
    times = [f"{i * 24 // steps:02d}:{i * 1440 // steps % 60:02d}:00.0" for i in range(steps)]
    for day in TRUTH:
        for i, (start, end) in enumerate(zip(times, times[1:] + times[:1], strict=True)):
            sun = max(-math.cos(2 * math.pi * (i + 0.5) / steps), 0.0)
            light = (
                1e6
                * day.radiation
                / 3600
                * sun
                / sum(max(-math.cos(2 * math.pi * (k + 0.5) / steps), 0) for k in range(steps))
            )
            text += f"{day.date}T{start}/{day.date}T{end};{light * 1.2:.4f};{light:.4f}\n"
    return text


@pytest.mark.parametrize("steps", [24, 96])
def test_light_of_a_satellite_is_read_beside_a_station_whatever_its_step(tmp_path, steps):
    """CAMS's radiation service: ISO 8601 intervals, the header in the last remark, sums over each of them in numbered remarks."""
    paths = [written(tmp_path, TIMED), written(tmp_path, satellite_light(steps), "light.csv")]
    agrees(read_weather(paths, SITE), ("tmin", "tmax", "rain", "wind", "radiation"))
