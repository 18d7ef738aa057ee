"""Small named weather: invented, plain, every number in sight."""

from __future__ import annotations

import datetime as dt

HEADER = "date,tmin,tmax,rh_max,rh_min,wind,rain,radiation,pan_evaporation"


def weather_csv(days, *, start=dt.date(2025, 5, 1), tmin=14.0, tmax=30.0, rain=None, pan=8.0, wind=2.0, radiation=24.0):
    """Return a table of equal days; ``rain`` and ``pan`` may be lists. Radiation is below a clear sky's at 38° N."""
    lines = [HEADER]
    for index in range(days):
        day = start + dt.timedelta(days=index)
        p = rain[index] if rain is not None else 0.0
        e = pan[index] if isinstance(pan, list) else pan
        lines.append(f"{day},{tmin},{tmax},80,35,{wind},{p},{radiation},{e}")
    return "\n".join(lines) + "\n"


def dry_week():
    """Seven equal days without rain."""
    return weather_csv(7)


def heat_wave():
    """Thirty days, the ten in the middle hot and dry."""
    lines = weather_csv(30).splitlines()
    for index in range(11, 21):
        cells = lines[index].split(",")
        cells[1:5] = ["22", "41", "45", "12"]
        cells[-1] = "14"
        lines[index] = ",".join(cells)
    return "\n".join(lines) + "\n"
