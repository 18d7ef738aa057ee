"""
Make the invented weather of the demo gardens: two years at Tarnivel, and the short summer that `new` copies.

Nothing here was measured and neither place exists; the coordinates only set the height of the sun. Every run
writes the same bytes: the seeds stand in the table below, and only uniform numbers are drawn, whose stream
numpy has kept from release to release. Run as ``python weather_samples/make_samples.py``.

Units: °C, %, m/s at 2 m, mm, MJ m⁻² d⁻¹. The sun is FAO-56 (1998) eq. 21 and 37, vapour pressure eq. 11; the
climate (means, spells of rain, how far a cloud dims or cools a day) is made up, to look like a dry summer.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

__all__ = ["SAMPLES", "Sample", "clear_sky_radiation", "write_all"]

_SOLAR_CONSTANT = 0.0820  # MJ m⁻² min⁻¹, FAO-56 (1998) eq. 21
_DULLEST, _BRIGHTEST = 0.28, 0.97  # bounds of Rs/Rso, so that rounding stays within 0.25 and 0.98
_CALMEST, _WINDIEST = 0.8, 4.5  # m/s
_DRIEST = 8.0  # %, the least RH a day's afternoon is given


@dataclass(frozen=True)
class Sample:
    """
    One file of invented weather: where, when, which climate, and what was put in by hand.

    Parameters
    ----------
    path : str
        Relative to the project's folder.
    place, remark : str
        For the file's header.
    seed : int
        Of numpy's default generator.
    latitude, elevation : float
        [degrees, m]
    start, end : date
        First and last day.
    tmax, tmin : (float, float)
        Yearly mean and half range of the two temperatures. [°C]
    wet : tuple of float
        Chance of a dry day being followed by a wet one, January to December. [-]
    dryness : float
        How far the dew point lies below Tmin in mid-July. [°C]
    heat : mapping of date to (float, float)
        Tmax and wind of the days of a heat wave. [°C, m/s]
    showers : mapping of date to float
        Rain of a thunder shower. [mm]
    dry_spell : (date, date), optional
        Days kept free of chance rain.
    no_wind, no_humidity : tuple of date
        Days on which the instrument "failed": cells left empty.
    """

    path: str
    place: str
    remark: str
    seed: int
    latitude: float
    elevation: float
    start: dt.date
    end: dt.date
    tmax: tuple[float, float]
    tmin: tuple[float, float]
    wet: tuple[float, ...]
    dryness: float
    heat: dict[dt.date, tuple[float, float]] = field(default_factory=dict)
    showers: dict[dt.date, float] = field(default_factory=dict)
    dry_spell: tuple[dt.date, dt.date] | None = None
    no_wind: tuple[dt.date, ...] = ()
    no_humidity: tuple[dt.date, ...] = ()


_DRY_SUMMER = (0.30, 0.28, 0.24, 0.22, 0.13, 0.05, 0.01, 0.02, 0.07, 0.20, 0.28, 0.30)
_HEAT_WAVE = (
    (37.3, 2.9),
    (38.5, 3.3),
    (39.4, 3.6),
    (40.2, 3.4),
    (40.7, 3.9),
    (41.1, 4.2),
    (40.6, 3.8),
    (39.9, 3.5),
    (38.8, 3.7),
    (37.5, 3.1),
)

SAMPLES = (
    Sample(
        path="weather_samples/terraces-2024.csv",
        place="Tarnivel terraces (no such place)",
        remark="an ordinary summer",
        seed=2024,
        latitude=38.6,
        elevation=240.0,
        start=dt.date(2024, 3, 1),
        end=dt.date(2024, 10, 31),
        tmax=(23.6, 9.2),
        tmin=(11.0, 6.3),
        wet=_DRY_SUMMER,
        dryness=3.5,
        showers={dt.date(2024, 6, 19): 11.4, dt.date(2024, 9, 6): 16.2},
        dry_spell=(dt.date(2024, 6, 27), dt.date(2024, 8, 18)),
        no_wind=(dt.date(2024, 5, 14), dt.date(2024, 7, 2), dt.date(2024, 9, 21)),
        no_humidity=(dt.date(2024, 6, 8), dt.date(2024, 8, 17)),
    ),
    Sample(
        path="weather_samples/terraces-2025.csv",
        place="Tarnivel terraces (no such place)",
        remark="a heat wave from 8 to 17 July, thunder showers in June, August and September",
        seed=2025,
        latitude=38.6,
        elevation=240.0,
        start=dt.date(2025, 3, 1),
        end=dt.date(2025, 10, 31),
        tmax=(23.6, 9.2),
        tmin=(11.0, 6.3),
        wet=_DRY_SUMMER,
        dryness=3.5,
        heat={dt.date(2025, 7, 8 + i): day for i, day in enumerate(_HEAT_WAVE)},
        showers={
            dt.date(2025, 6, 11): 18.6,
            dt.date(2025, 8, 22): 33.4,
            dt.date(2025, 8, 23): 7.2,
            dt.date(2025, 9, 18): 28.8,
        },
        dry_spell=(dt.date(2025, 6, 28), dt.date(2025, 8, 10)),
    ),
    Sample(
        path="simulator/panbudget/templates/weather.csv",
        place="Ostrevelle yard (no such place)",
        remark="a warm summer with some rain, to start from; put your own weather in its place",
        seed=2023,
        latitude=43.5,
        elevation=120.0,
        start=dt.date(2023, 5, 1),
        end=dt.date(2023, 8, 31),
        tmax=(18.5, 9.3),
        tmin=(9.0, 6.6),
        wet=(0.3, 0.3, 0.3, 0.3, 0.26, 0.17, 0.10, 0.13, 0.2, 0.3, 0.3, 0.3),
        dryness=1.8,
    ),
)


def clear_sky_radiation(day_of_year: int, *, latitude: float, elevation: float) -> float:
    """
    Solar radiation of a cloudless day.

    Parameters
    ----------
    day_of_year : int
        1 on 1 January.
    latitude, elevation : float
        [degrees, m]

    Returns
    -------
    float
        Rso. [MJ m⁻² d⁻¹]

    References
    ----------
    FAO-56 (1998), eq. 21, 23, 24, 25 and 37.
    """
    phi = math.radians(latitude)
    turn = 2.0 * math.pi * day_of_year / 365.0
    dr = 1.0 + 0.033 * math.cos(turn)
    delta = 0.409 * math.sin(turn - 1.39)
    ws = math.acos(-math.tan(phi) * math.tan(delta))
    height = ws * math.sin(phi) * math.sin(delta) + math.cos(phi) * math.cos(delta) * math.sin(ws)
    Ra = 24.0 * 60.0 / math.pi * _SOLAR_CONSTANT * dr * height
    return (0.75 + 2e-5 * elevation) * Ra


def write_all(root: Path) -> list[Path]:
    """
    Write every sample below a folder.

    Parameters
    ----------
    root : Path
        The project's folder, or any other; folders in it are made if missing.

    Returns
    -------
    list of Path
        The files written, in the order of `SAMPLES`.
    """
    written = []
    for sample in SAMPLES:
        path = root / sample.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(_text(sample).encode("ascii"))
        written.append(path)
    return written


def _text(sample: Sample) -> str:
    lines = [
        f"# invented weather: {sample.place}, {sample.start.year}; {sample.remark}",
        "# invented weather: drawn by chance by a script of panbudget; nothing was measured",
        f"# latitude {sample.latitude:g}, elevation {sample.elevation:g} m; degC, %, m/s at 2 m, mm, MJ/m2/d",
        "date,tmin,tmax,rh_max,rh_min,wind,rain,radiation",
        *_days(sample),
    ]
    return "\n".join(lines) + "\n"


def _days(sample: Sample) -> list[str]:
    rng = np.random.default_rng(sample.seed)
    rows = []
    warmth = gust = 0.0
    was_wet = False
    for number in range((sample.end - sample.start).days + 1):
        day = sample.start + dt.timedelta(days=number)
        # twenty draws a day whatever happens, so that a change to one day leaves the others alone
        draws = [float(value) for value in rng.random(20)]
        warmth = 0.72 * warmth + 1.5 * _bell(draws[0:4])
        gust = 0.35 * gust + 0.5 * _bell(draws[4:8])
        rain = _rain(sample, day, draws, was_wet=was_wet)
        was_wet = rain > 0.0
        rows.append(_row(sample, day, draws, warmth=warmth, gust=gust, rain=rain))
    return rows


def _bell(draws: list[float]) -> float:
    """Near-normal number of mean 0 and spread 1: four uniform draws added need no libm."""
    return (sum(draws) - 2.0) * math.sqrt(3.0)


def _rain(sample: Sample, day: dt.date, draws: list[float], *, was_wet: bool) -> float:
    if day in sample.showers:
        return sample.showers[day]
    if day in sample.heat:
        return 0.0
    if sample.dry_spell is not None and sample.dry_spell[0] <= day <= sample.dry_spell[1]:
        return 0.0
    chance = sample.wet[day.month - 1]
    if was_wet:
        chance += 0.3
    if draws[8] >= chance:
        return 0.0
    return round(min(0.4 - 5.5 * math.log(1.0 - draws[9]), 30.0), 1)


def _row(sample: Sample, day: dt.date, draws: list[float], *, warmth: float, gust: float, rain: float) -> str:
    of_year = day.timetuple().tm_yday
    season = math.cos(2.0 * math.pi * (of_year - 204) / 365.0)  # warmest about 23 July
    summer = max(season, 0.0)
    tmax = sample.tmax[0] + sample.tmax[1] * season + warmth
    tmin = sample.tmin[0] + sample.tmin[1] * season + 0.6 * warmth + 0.7 * _bell(draws[10:14])
    wind = 1.9 + 0.25 * summer + gust
    if day in sample.heat:
        tmax, wind = sample.heat[day]
        clearness = 0.90 + 0.06 * draws[14]
        tmin = tmax - 16.5 - 1.5 * draws[15]
        dew_point = tmin - 13.0 - 2.0 * draws[16]
    elif rain > 0.0:
        heavy = min(rain / 12.0, 1.0)
        clearness = 0.66 - 0.26 * heavy + 0.12 * (draws[14] - 0.5)
        tmax -= 2.5 + 2.0 * heavy
        tmin = min(tmin + 0.8, tmax - 3.5)
        dew_point = tmin - 0.2 - 0.8 * draws[16]
        wind += 0.4 * heavy
    else:
        clouds = (0.42 - 0.27 * summer) * draws[14] * draws[14]
        clearness = 0.955 - clouds
        tmax -= 5.0 * clouds
        tmin = min(tmin, tmax - 6.0)
        dew_point = tmin - 0.5 - sample.dryness * summer - 2.0 * draws[16]
    tmin, tmax = round(tmin, 1), round(tmax, 1)
    wind = min(max(wind, _CALMEST), _WINDIEST)
    Rso = clear_sky_radiation(of_year, latitude=sample.latitude, elevation=sample.elevation)
    radiation = min(max(clearness, _DULLEST), _BRIGHTEST) * Rso
    ea = _saturation(dew_point)
    rh_max = f"{min(100.0 * ea / _saturation(tmin), 100.0):.0f}"
    rh_min = f"{max(100.0 * ea / _saturation(tmax), _DRIEST):.0f}"
    wind_cell = f"{wind:.1f}"
    if day in sample.no_wind:
        wind_cell = ""
    if day in sample.no_humidity:
        rh_max = rh_min = ""
    return f"{day},{tmin:.1f},{tmax:.1f},{rh_max},{rh_min},{wind_cell},{rain:.1f},{radiation:.1f}"


def _saturation(temperature: float) -> float:
    """Saturation vapour pressure, FAO-56 (1998) eq. 11. [kPa]"""
    return 0.6108 * math.exp(17.27 * temperature / (temperature + 237.3))


if __name__ == "__main__":
    for path in write_all(Path(__file__).resolve().parent.parent):
        print(path.name)
