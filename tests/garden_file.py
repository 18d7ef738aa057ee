"""A small garden on disk, for commands: one valve, one bed, invented weather of several years."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

GARDEN = """\
title = "Test garden"
[site]
latitude = {latitude}
elevation = "240 m"
[weather]
file = "weather.csv"
[season]
start = {start}
end = {end}
[supply.spring]
{supply}
[controller.upper]
supply = "spring"
[controller.upper.pan]
vessels = [{{ diameter = "50 cm" }}]
depth = "18 cm"
[controller.upper.valve]
swing = "0.9 kg"
refill = {{ flow = "2 L/h", at = "100 kPa" }}
[controller.upper.bed.tomatoes]
area = "12 m^2"
emitters = {{ count = {emitters}, flow = "2 L/h", at = "100 kPa" }}
soil = "loam"
plants = {{ kc = 1.0, root_depth = "50 cm", depletion = 0.45 }}
{more}
"""
MAINS = 'kind = "mains"\npressure = "150 kPa"'


def write_garden(
    folder, weather, *, start="2021-07-01", end="2021-08-10", supply=MAINS, emitters=30, more="", latitude=38.6
):
    """Write garden.toml and weather.csv; return the garden's path."""
    (Path(folder) / "weather.csv").write_text(weather, encoding="utf-8")
    text = GARDEN.format(start=start, end=end, supply=supply, emitters=emitters, more=more, latitude=latitude)
    path = Path(folder) / "garden.toml"
    path.write_text(text, encoding="utf-8")
    return path


def years_csv(first, last, *, hot=(), drop=(), blank=(), southern=False):
    """
    Return daily weather from 1 January to 31 December, warm in summer, without rain from May to September.

    ``hot`` years are 6 °C warmer; ``drop`` days have no row, ``blank`` days no tmax (ISO dates, the first and the last).
    """
    lines = ["date,tmin,tmax,rh_max,rh_min,wind,rain,radiation"]
    day, end = dt.date(first, 1, 1), dt.date(last, 12, 31)

    def within(spans):
        return any(dt.date.fromisoformat(low) <= day <= dt.date.fromisoformat(high) for low, high in spans)

    while day <= end:
        summer = (day.month in (11, 12, 1, 2, 3)) if southern else (5 <= day.month <= 9)
        warmer = 6.0 if day.year in hot else 0.0
        tmax = (30.0 if summer else 14.0) + warmer
        cell = "" if within(blank) else f"{tmax:.1f}"
        if not within(drop):
            rain, radiation = (0.0, 24.0) if summer else (2.0, 8.0)
            lines.append(f"{day},{tmax - 14.0:.1f},{cell},80,35,2.0,{rain},{radiation}")
        day += dt.timedelta(days=1)
    return "\n".join(lines) + "\n"
