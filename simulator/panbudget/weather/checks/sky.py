"""
Checks of what comes from the sky: radiation, sunshine and rain, with the pan's measured evaporation beside
them.

Radiation is held against a clear sky's (FAO-56 eq 37): at most 1.05 Rso. Other thresholds are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, at_least, at_most
from panbudget.weather.messages import note, table_of
from panbudget.weather.site import Sky, sky_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.words import and_more

#: model.md's bound on radiation, and how far above it "limit" may reach, both in Rso
BRIGHTEST, _MAY_BE_LIMITED = 1.05, 1.25
# twilight and printed digits near polar night [MJ m⁻² d⁻¹]
_FLOOR = 0.5
# what radiation is taken for: its size in MJ m⁻² d⁻¹, and how to write it
_UNITS = table_of("radiation-units")
_KWH = 3.6
# what the brightest days of a season reach of a clear sky's, in the right unit
_TOP_SHARES = (0.4, 1.15)
# a clear sky's radiation from which a day tells units apart, and from which it is never without light [MJ m⁻² d⁻¹]
_TELLING, _LIGHT = 1.0, 3.0
# a clear sky's radiation below which the sun is low: winter of middle latitudes [MJ m⁻² d⁻¹]
_LOW_SUN = 8.0
_DAYS_TO_JUDGE = 14
# sunshine above the geometric day: refraction and rounding [h]
_LONGER = 0.3
# a day's rain in mm beyond which it is doubted unless its unit is stated
_MUCH_RAIN = 400.0


def bright_bound(sky: Sky) -> Floats:
    """Return the largest believable radiation of each day. [MJ m⁻² d⁻¹]"""
    return np.maximum(BRIGHTEST * sky.clear, _FLOOR)


def _rain_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known("rain")
    steps, wet = np.diff(known), known[known > 0.0]
    if known.size >= 20 and (steps >= 0.0).all() and known[-1] > 50.0 and (steps > 0.0).sum() >= 5:
        yield names, "rain-unit/total", {}
    elif inspection.is_stated("rain"):
        return
    elif wet.size >= 10 and (wet == np.round(wet)).all() and float(np.median(wet)) > 25.0:
        yield names, "rain-unit/tenths", {"half": np.median(wet)}
    elif _like_inches(wet):
        yield names, "rain-unit/inches", {"wet": wet.size, "unit": "in"}


def _like_inches(wet: Floats) -> bool:
    """Tell whether rain is in hundredths, as gauges in inches are and gauges in millimetres aren't."""
    if wet.size < 15 or wet.max() >= 4.0 or wet.mean() >= 0.6:
        return False
    hundredths, tenths = (np.abs(wet * parts - np.round(wet * parts)) < 1e-6 for parts in (100.0, 10.0))
    return bool(hundredths.all() and tenths.mean() < 0.5)


def _most_rain(inspection: Inspection) -> float:
    return STANDARD["rain"].highest if inspection.is_stated("rain") else _MUCH_RAIN


def _over_most_rain(values: Floats, inspection: Inspection) -> Floats:
    return values - _most_rain(inspection)


def _sunshine_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known, daylight = inspection.known("sunshine"), inspection.sky.daylight[inspection.asked]
    longest, high = float(daylight.max()), float(known.max())
    over = inspection.all_of("sunshine")[inspection.asked] > daylight + _LONGER
    if over.sum() > 0.4 * known.size:
        unit = "s" if high > 61.0 * longest else "min" if high > 10.0 * longest + 3.0 else ""
        text = unit or ("percent" if high <= 100.0 else "tenths")
        yield names, f"sunshine-unit/{text}", {"longest": longest, "unit": unit}
    elif known.size >= _DAYS_TO_JUDGE and 0.0 < high <= 1.0 and not inspection.is_stated("sunshine"):
        yield names, "sunshine-unit/share", {"high": high, "known": known.size}


def _daylight(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
    return {"daylight": inspection.sky.daylight[row]}


def _over_daylight(values: Floats, inspection: Inspection) -> Floats:
    return values - (inspection.sky.daylight + _LONGER)


def _pan_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known(names[0])
    if float(np.median(known)) > STANDARD[names[0]].highest:
        yield names, "pan-evaporation-unit", {"more": and_more(known.size - 1, "day")}


def _share_of_clear_sky(inspection: Inspection, from_clear: float) -> Floats:
    """Radiation over a clear sky's, on days asked for that have a figure and more light than that."""
    clear = inspection.sky.clear
    share = inspection.all_of("radiation") / np.maximum(clear, from_clear)
    return share[inspection.asked & (clear > from_clear) & ~np.isnan(share)]


def _radiation_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Name the unit that brings the values nearest below a clear sky, if most of them are too bright."""
    values, bound = inspection.all_of("radiation"), bright_bound(inspection.sky)
    over = (values > bound) & inspection.asked
    share = _share_of_clear_sky(inspection, _TELLING)
    if over.sum() <= 0.5 * inspection.known("radiation").size or not share.size or _fits_other_side(inspection):
        return
    top = float(np.percentile(share, 98))
    fitting = [unit for unit in _UNITS if _TOP_SHARES[0] < top * unit["size"] <= _TOP_SHARES[1]]
    if fitting:
        # the largest; tenths, which are no unit, only where nothing else fits
        unit = max(fitting, key=lambda unit: (unit["written"] != "", unit["size"]))
        more = int(over.sum()) - 1
        too = f" (and is high on {more} more day{'s' if more > 1 else ''})" if more else ""
        most = bound[inspection.row_of_highest(np.where(over, values, np.nan))]
        yield names, "radiation-unit", {"looks_like": unit["name"], "too": too, "most": most, "unit": unit["written"]}


def _may_be_limited(inspection: Inspection, over: Mask) -> bool:
    """Tell whether so few values are too bright, and so little, that "limit" may bring them down."""
    values = inspection.all_of("radiation")
    here = over & inspection.asked
    few = here.sum() <= max(inspection.bright_share * inspection.known("radiation").size, 1)
    return bool(few and (values[here] <= _limit(inspection.sky)[here]).all())


def _limit(sky: Sky) -> Floats:
    return _MAY_BE_LIMITED * np.maximum(sky.clear, _FLOOR)


def limit_bright(inspection: Inspection) -> None:
    """
    Bring radiation that is a little too bright down to its bound, on few days: where the user chose so, or in a low sun.

    A clear sky's radiation by its height alone (FAO-56 eq 37) is less sure the longer the light's way through the air.
    """
    inspection.limited = np.zeros(len(inspection.daily), dtype=bool)
    if not inspection.has("radiation"):
        return
    values, bound = inspection.all_of("radiation"), bright_bound(inspection.sky)
    over = values > bound
    if inspection.too_bright != "limit":
        low = (inspection.sky.clear > _TELLING) & (inspection.sky.clear < _LOW_SUN)
        if (over & ~low & inspection.asked).any():
            return
        over &= low
    if (over & inspection.asked).any() and _may_be_limited(inspection, over):
        inspection.limited = over & (values <= _limit(inspection.sky))
        inspection.daily.loc[inspection.limited, "radiation"] = bound[inspection.limited]


def _over_clear_sky(values: Floats, inspection: Inspection) -> Floats:
    bound = bright_bound(inspection.sky)
    return np.where(values > bound, values / bound, 0.0)  # the worst by its share of a clear sky's


def _no_light(values: Floats, inspection: Inspection) -> Floats:
    return np.asarray((values == 0.0) & (inspection.sky.clear > _LIGHT), dtype=np.float64)


def _fits_other_side(inspection: Inspection) -> bool:
    """Tell whether the radiation is none too bright at the same latitude of the other hemisphere."""
    site, days = inspection.site, pd.DatetimeIndex(inspection.daily.index)
    other = sky_of(days, latitude=-site.latitude, elevation=site.elevation)
    share = inspection.all_of("radiation")[inspection.asked] / bright_bound(other)[inspection.asked]
    # as bright as a sky can be there on some day: a value a hundred times too small fits anywhere
    return bool(np.nanmax(share, initial=0.0) <= 1.0 and np.nanmax(share, initial=0.0) > _TOP_SHARES[0])


def _too_bright(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
    site = inspection.site
    if _may_be_limited(inspection, here):
        cure = note("may-be-limited", table=inspection.table)
    elif here.sum() > 6 and _fits_other_side(inspection):
        cure = note("other-latitude", latitude=number(-site.latitude))
    else:
        cure = note("too-bright")
    return {"most": bright_bound(inspection.sky)[row], "cure": cure}


def _too_dark(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    share = _share_of_clear_sky(inspection, _LIGHT)
    if share.size < _DAYS_TO_JUDGE or inspection.is_stated("radiation") or share.max() >= _TOP_SHARES[0]:
        return
    top = float(share.max())
    text = "radiation-too-dark/kwh" if top * _KWH <= _TOP_SHARES[1] else "radiation-too-dark"
    yield names, text, {"top": 100 * top, "unit": "kWh/m^2"}


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    at_least("rain"),
    Doubt(_rain_unit, ("rain",)),
    Check("rain-range", "rain", _over_most_rain, lambda inspection, *_: {"most": _most_rain(inspection)}),
    at_least("sunshine"),
    Doubt(_sunshine_unit, ("sunshine",)),
    Check("sunshine-range", "sunshine", _over_daylight, _daylight),
    at_least("pan_evaporation"),
    Doubt(_pan_unit, ("pan_evaporation",)),
    at_most("pan_evaporation"),
    at_least("radiation"),
    Doubt(_radiation_unit, ("radiation",)),
)

#: what is too bright, once `limit_bright` has had its turn
BRIGHT = Check("radiation-too-bright", "radiation", _over_clear_sky, _too_bright)

#: made only where nothing was too bright
DARK: tuple[Check | Doubt, ...] = (
    Doubt(_too_dark, ("radiation",)),
    Check("radiation-zero", "radiation", _no_light),
)
