"""
Days for the tests of the checks, inspected: ordinary ones, and one that is not.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panbudget.physics import air
from panbudget.weather.checks import figures, plausibility, sensors, wind
from panbudget.weather.checks import sky as sky_checks
from panbudget.weather.checks.inspection import Inspection, walk
from panbudget.weather.checks.plausibility import inspect_values
from panbudget.weather.site import sky_of
from panbudget.weather.text.raw import RawTable
from tests.weather.sites import Site

SITE = Site(38.0, 100.0)
E30 = float(air.saturation_vapour_pressure(30.0))
# FAO-56 eq 7 at 100 m, and its neighbours of the checks
P100 = float(air.atmospheric_pressure(100.0))


def inspected(
    days=20, *, start="2025-06-01", site=SITE, asked=None, stated=(), conversions=None, factor=1.0, **columns
):
    """
    Return ordinary days with these columns, one value for all or a list, inspected; further ones are options.

    What looks at sensors is trusted, unless ``trust`` says otherwise: equal days but for one are what it is there for. With the
    name of a check as ``only``, no other is made.
    """
    only = columns.pop("only", None)
    options = {name: columns.pop(name) for name in ("too_bright", "bright_share", "table") if name in columns}
    trust = frozenset(columns.pop("trust", SENSORS))
    of_raw = ("by_hour", "contradicted", "of_records", "rain_twice", "typical", "station", "means")
    more = {name: columns.pop(name) for name in of_raw if name in columns}
    clear, units = columns.pop("clear", None), columns.pop("units", {})
    index = pd.date_range(start, periods=days, name="date")
    daily = pd.DataFrame(
        {name: np.broadcast_to(np.asarray(v, float), days) for name, v in columns.items()}, index=index
    )
    raw = RawTable(
        daily,
        tuple(range(2, days + 2)),
        "test",
        units={**dict.fromkeys(stated, "as stated"), **units},
        unit_is_stated=frozenset(stated),
        conversions=conversions or {},
        **more,
    )
    mask = np.ones(days, bool) if asked is None else np.asarray(asked, bool)
    sky = sky_of(index, latitude=site.latitude, elevation=site.elevation)
    if clear is not None:
        sky = sky._replace(clear=np.broadcast_to(np.asarray(clear, float), days))
    inspection = Inspection(daily.copy(), mask, raw, sky, site, wind_factor=factor, trust=trust, **options)
    if only is None:
        return inspect_values(inspection)
    walk(inspection, [row for row in (*plausibility._CHECKS, *sky_checks.DARK) if row.name == only])
    return inspection


def codes(*arguments, **columns):
    """Return the codes of what is refused."""
    return [problem.code for problem in inspected(*arguments, **columns).problems]


def cautions(*arguments, **columns):
    """Return the names of what is cautioned about."""
    return [caution.name for caution in inspected(*arguments, **columns).cautions]


def spoken(check, *arguments, **columns):
    """Return what a check says where it is made alone."""
    found = inspected(*arguments, **columns, only=check, trust=())
    return " ".join([*(problem.sentence() for problem in found.problems), *(said.sentence for said in found.cautions)])


def one_day(usual, odd, *, days=20, at=3):
    """Return days that are as usual but for one."""
    return [odd if day == at else usual for day in range(days)]


#: names of the checks of sensors
SENSORS = [row.name for row in (*sensors.CHECKS, *wind.CHECKS, *figures.CHECKS)] + [
    "temperature-climate",
    "temperature-range",
]
AIR = {"tmin": 14.0, "tmax": 30.0}
