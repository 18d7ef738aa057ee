"""Gardens and weather drawn at random, each from its number alone: for laws that hold whatever the garden."""

from __future__ import annotations

import copy
import datetime as dt

import numpy as np

from panbudget.scenario.garden import scenario_from
from panbudget.weather.checks.plausibility import TRUSTED
from tests.scenario.test_garden import SOUND

_HEADER = "date,tmin,tmax,rh_max,rh_min,wind,rain"
_TEXTURES = ("sand", "loam", "clay", "silt loam", "sandy loam")


def weather_of(draw, start, days):
    """Warm days at random, dry or wet; radiation is left to be estimated from the temperatures."""
    lines, warm, dry = [_HEADER], draw.uniform(12.0, 34.0), draw.uniform(0.6, 0.98)
    for index in range(days):
        high = warm + 5.0 * np.sin(2.0 * np.pi * index / 365.0) + draw.normal(0.0, 3.0)
        rain = 0.0 if draw.random() < dry else round(draw.exponential(12.0), 1)
        cells = (high - draw.uniform(6.0, 14.0), high, draw.uniform(60.0, 95.0), draw.uniform(15.0, 55.0))
        cells = (*cells, draw.uniform(0.5, 5.0), rain)
        lines.append(f"{start + dt.timedelta(days=index)}," + ",".join(f"{cell:.2f}" for cell in cells))
    return "\n".join(lines) + "\n"


def random_garden(number, folder, *, start=dt.date(2025, 5, 1), days=60, latitude=None, **changes):
    """
    Return a garden of its number.

    Parameters
    ----------
    number : int
    folder : Path
        Its weather file is written there.
    start : date
    days : int
    latitude : float, optional
    **changes
        ``size``, a factor on pan, swing, flows and beds; ``pressure``, on all pressures; ``exposure``, on the pan's.

    Returns
    -------
    Scenario
    """
    draw = np.random.default_rng(number)
    size, pressure, exposure = (changes.get(name, 1.0) for name in ("size", "pressure", "exposure"))
    drawn = float(draw.uniform(-60.0, 60.0))
    latitude = drawn if latitude is None else latitude
    described = copy.deepcopy(SOUND)
    described["site"] |= {"latitude": latitude, "elevation": f"{draw.uniform(0.0, 1500.0):.0f} m"}
    described["season"] = {"start": start, "end": start + dt.timedelta(days=days - 1)}
    controller = described["controller"]["upper"]
    area, depth = draw.uniform(0.05, 0.5), draw.uniform(120.0, 400.0)
    controller["pan"] = {
        "vessels": [{"area": f"{area * size} m^2"}],
        "depth": f"{depth} mm",
        "freeboard": f"{draw.uniform(10.0, 0.3 * depth)} mm",
        "exposure": draw.uniform(0.6, 1.3) * exposure,
    }
    exponent = float(draw.choice([0.0, 0.5]))
    flow = draw.uniform(0.5, 6.0)
    controller["valve"] = {
        "swing": f"{draw.uniform(0.5, 6.0) * area * size} kg",
        "refill": {"flow": f"{flow * size} L/h", "exponent": exponent},
    }
    bed = controller["bed"]["tomatoes"]
    bed["area"] = f"{draw.uniform(2.0, 30.0) * size} m^2"
    bed["planted"] = start
    bed["soil"] = str(draw.choice(_TEXTURES))
    bed["emitters"] = {
        "count": int(draw.integers(4, 80)),
        "flow": f"{draw.uniform(0.5, 4.0) * size} L/h",
        "exponent": exponent,
    }
    for supply in described["supply"].values():
        supply["pressure"] = f"{draw.uniform(40.0, 250.0) * pressure} kPa"
    described["weather"] = {"file": f"weather-{number}.csv", "trust": TRUSTED}  # of no climate
    (folder / f"weather-{number}.csv").write_text(weather_of(draw, start, days), encoding="utf-8")
    return scenario_from(described, folder / "garden.toml")
