"""
Columns: the standard names and units of a daily weather table, and the range outside which a value is no
weather.

The one place where a column is described; readers, checks and reports look it up here.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["FINISHED_UNITS", "HUMIDITY", "REQUIRED", "STANDARD", "TEMPERATURES", "Column", "number"]


class Column(NamedTuple):
    """What a column holds, its standard unit (as `units` names it and as people read it), and its limits."""

    meaning: str
    unit: str
    shown_unit: str
    lowest: float
    highest: float


#: standard name -> column. Limits: world records with some room (World Meteorological Organization's list of
#: extremes, from memory: −89 and 57 °C, 1.8 m of rain in a day), beyond which only a mistake is left.
STANDARD: dict[str, Column] = {
    "tmin": Column("minimum air temperature", "degC", "°C", -90.0, 57.0),
    "tmax": Column("maximum air temperature", "degC", "°C", -90.0, 57.0),
    "rh_max": Column("maximum relative humidity", "%", "%", 0.0, 100.0),
    "rh_min": Column("minimum relative humidity", "%", "%", 0.0, 100.0),
    "rh_mean": Column("mean relative humidity", "%", "%", 0.0, 100.0),
    "dew_point": Column("dew point", "degC", "°C", -95.0, 36.0),
    "vapour_pressure": Column("vapour pressure", "kPa", "kPa", 0.0, 6.0),
    "wind": Column("wind speed", "m/s", "m/s", 0.0, 40.0),
    "rain": Column("rain", "mm", "mm", 0.0, 1850.0),
    "radiation": Column("solar radiation", "MJ/m^2/day", "MJ/m²", 0.0, 45.0),
    "sunshine": Column("hours of sunshine", "h", "h", 0.0, 24.0),
    "pressure": Column("air pressure at the site", "kPa", "kPa", 45.0, 110.0),
    "pan_evaporation": Column("measured pan evaporation", "mm", "mm", 0.0, 40.0),
}

#: columns that every file must have: temperatures are never invented (rain neither: see `gaps`)
REQUIRED = ("tmin", "tmax")

TEMPERATURES = ("tmin", "tmax", "dew_point")
HUMIDITY = ("vapour_pressure", "dew_point", "rh_max", "rh_min", "rh_mean")

#: units of the finished daily table
FINISHED_UNITS: dict[str, str] = {
    "tmin": "°C",
    "tmax": "°C",
    "vapour_pressure": "kPa",
    "rh_mean": "%",
    "rh_min": "%",
    "wind": "m/s at 2 m",
    "rain": "mm",
    "radiation": "MJ/m²/d",
    "pressure": "kPa",
    "pan_evaporation": "mm",
}


def number(value: float) -> str:
    """
    Write a number as a message shows it: short, and never in powers of ten.

    Parameters
    ----------
    value : float
        Any finite number.

    Returns
    -------
    str
        At most two decimals, four significant figures below ten thousand.

    Examples
    --------
    >>> number(318.0), number(31.25), number(-9999.0), number(0.5)
    ('318', '31.25', '-9999', '0.5')
    """
    text = f"{value:.2f}" if abs(value) < 100 else f"{value:.1f}"
    return text.rstrip("0").rstrip(".") or "0"
