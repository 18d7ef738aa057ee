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

from panbudget.numeric import Floats
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Mask, Verdict, above, below
from panbudget.weather.sky import Sky, sky_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.words import and_more

#: model.md's bound on radiation, and how far above it "limit" may reach, both in Rso
BRIGHTEST, _MAY_BE_LIMITED = 1.05, 1.25
# twilight and printed digits near polar night [MJ m⁻² d⁻¹]
_FLOOR = 0.5
# unit -> (MJ m⁻² d⁻¹ in one, how to write it)
_RADIATION_UNITS = {
    "W/m²": (0.0864, "W/m^2"),
    "J/cm²": (0.01, "J/cm^2"),
    "kJ/m²": (0.001, "kJ/m^2"),
    "Wh/m²": (0.0036, "W*hour/m^2"),
    "cal/cm² (langley)": (0.04184, "cal/cm^2"),
    "J/m²": (1e-6, "J/m^2"),
    "tenths of MJ/m²": (0.1, ""),
}
_KWH = 3.6
# what the brightest days of a season reach of a clear sky's, in the right unit
_TOP_SHARES = (0.4, 1.15)
# a clear sky's radiation from which a day tells units apart, and from which it is never without light [MJ m⁻² d⁻¹]
_TELLING, _LIGHT = 1.0, 3.0
_DAYS_TO_JUDGE = 14
# sunshine above the geometric day: refraction and rounding [h]
_LONGER = 0.3
# a day's rain in mm beyond which it is doubted unless its unit is stated
_MUCH_RAIN = 400.0
_BY_TEN = "divide by ten in the file"
_TO_HOURS = "turn it into hours in the file"


def bright_bound(sky: Sky) -> Floats:
    """Return the largest believable radiation of each day. [MJ m⁻² d⁻¹]"""
    return np.maximum(BRIGHTEST * sky.clear, _FLOOR)


def _rain_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known, worst = inspection.known("rain"), inspection.worst("rain")
    steps = np.diff(known)
    if known.size >= 20 and (steps >= 0.0).all() and known[-1] > 50.0 and (steps > 0.0).sum() >= 5:
        found = f"never falls from one day to the next and reaches {worst}, which looks like a running total"
        yield Verdict(names, found, "each day's own rain", "write the difference from day to day")
        return
    if inspection.is_stated("rain"):
        return
    wet = known[known > 0.0]
    if wet.size >= 10 and (wet == np.round(wet)).all() and float(np.median(wet)) > 25.0:
        found = (
            f"reaches {worst} and half of the wet days have {np.median(wet):.0f} mm or more, in whole numbers, which "
            "looks like tenths of a millimetre"
        )
        yield Verdict(names, found, "days of 1 to 20 mm, as is usual", f"{_BY_TEN}; {inspection.confirmation('rain')}")
    elif _like_inches(wet):
        found = f"reaches only {worst} in {wet.size} wet days, in hundredths, which looks like inches"
        yield Verdict(names, found, "", inspection.unit_cure("in", "rain", confirm=True))


def _like_inches(wet: Floats) -> bool:
    """Tell whether rain is in hundredths, as gauges in inches are and gauges in millimetres aren't."""
    if wet.size < 15 or wet.max() >= 4.0 or wet.mean() >= 0.6:
        return False
    hundredths = np.abs(wet * 100.0 - np.round(wet * 100.0)) < 1e-6
    tenths = np.abs(wet * 10.0 - np.round(wet * 10.0)) < 1e-6
    return bool(hundredths.all() and tenths.mean() < 0.5)


def _over_most_rain(values: Floats, inspection: Inspection) -> Floats:
    return values - (STANDARD["rain"].highest if inspection.is_stated("rain") else _MUCH_RAIN)


def _most_rain(inspection: Inspection, row: int, here: Mask) -> str:
    return f"at most {STANDARD['rain'].highest if inspection.is_stated('rain') else _MUCH_RAIN:g} mm"


def _rain_cure(inspection: Inspection, row: int, here: Mask) -> str:
    confirm = "" if inspection.is_stated("rain") else f"; {inspection.confirmation('rain')}"
    return f"correct it, or leave the cell empty{confirm}"


def _sunshine_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    (name,) = names
    values, known = inspection.all_of(name), inspection.known(name)
    longest = float(inspection.sky.daylight[inspection.asked].max())
    high = float(known.max())
    over = (values > inspection.sky.daylight + _LONGER)[inspection.asked]
    if over.sum() > 0.4 * known.size:
        if high > 61.0 * longest:
            looks_like, cure = "seconds", inspection.unit_cure("s", name)
        elif high > 10.0 * longest + 3.0:
            looks_like, cure = "minutes", inspection.unit_cure("min", name)
        elif high <= 100.0:
            looks_like, cure = "per cent of the daylight or tenths of an hour", _TO_HOURS
        else:
            looks_like, cure = "tenths of an hour (or minutes)", _TO_HOURS
        found = f"reaches {inspection.worst(name)}, which looks like {looks_like}"
        yield Verdict(names, found, f"at most {longest:.1f} h, the longest day there", cure)
    elif known.size >= _DAYS_TO_JUDGE and 0.0 < high <= 1.0 and not inspection.is_stated(name):
        found = f"is never above {high:.2f} h in {known.size} days, which looks like a share of the daylight"
        yield Verdict(names, found, "hours", f"{_TO_HOURS}; {inspection.confirmation(name)}")


def _over_daylight(values: Floats, inspection: Inspection) -> Floats:
    return values - (inspection.sky.daylight + _LONGER)


def _daylight(inspection: Inspection, row: int, here: Mask) -> str:
    return f"at most {inspection.sky.daylight[row]:.1f} h, for which the sun is up there"


def _pan_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    (name,) = names
    known = inspection.known(name)
    if float(np.median(known)) > STANDARD[name].highest:
        more = and_more(known.size - 1, "day")
        found = f"reaches {inspection.worst(name)} mm{more}, which looks like tenths of a millimetre"
        yield Verdict(names, found, _PAN_RANGE, _BY_TEN)


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
    if over.sum() <= 0.5 * inspection.known("radiation").size or not share.size:
        return
    top = float(np.percentile(share, 98))
    low, high = _TOP_SHARES
    fitting = {unit: size for unit, (size, _) in _RADIATION_UNITS.items() if low < top * size <= high}
    # tenths, which are no unit, only where nothing else fits
    units = [unit for unit in fitting if _RADIATION_UNITS[unit][1]] or list(fitting)
    if not units:
        return
    unit = max(units, key=lambda unit: fitting[unit])
    written = _RADIATION_UNITS[unit][1]
    most = bound[inspection.row_of_highest(np.where(over, values, np.nan))]
    yield Verdict(
        names,
        f"reaches {inspection.worst('radiation')}{_high_on(over)}, which looks like {unit}",
        f"at most {most:.0f} MJ/m², from a clear sky there",
        inspection.unit_cure(written, "radiation") if written else _BY_TEN,
    )


def _high_on(over: Mask) -> str:
    more = int(over.sum()) - 1
    return f" (and is high on {more} more day{'s' if more > 1 else ''})" if more else ""


def _may_be_limited(inspection: Inspection, over: Mask) -> bool:
    """Tell whether so few values are too bright, and so little, that "limit" may bring them down."""
    values = inspection.all_of("radiation")
    here = over & inspection.asked
    few = here.sum() <= max(inspection.bright_share * inspection.known("radiation").size, 1)
    return bool(few and (values[here] <= _limit(inspection.sky)[here]).all())


def _limit(sky: Sky) -> Floats:
    return _MAY_BE_LIMITED * np.maximum(sky.clear, _FLOOR)


def limit_bright(inspection: Inspection) -> None:
    """Bring radiation that is a little too bright down to its bound, where the user chose so and it is on few days."""
    if not inspection.has("radiation") or inspection.too_bright != "limit":
        return
    values, bound = inspection.all_of("radiation"), bright_bound(inspection.sky)
    over = values > bound
    if (over & inspection.asked).any() and _may_be_limited(inspection, over):
        inspection.limited = over & (values <= _limit(inspection.sky))
        inspection.daily.loc[inspection.limited, "radiation"] = bound[inspection.limited]


def _over_clear_sky(values: Floats, inspection: Inspection) -> Floats:
    bound = bright_bound(inspection.sky)
    return np.where(values > bound, values / bound, 0.0)  # the worst by its share of a clear sky's


def _no_light(values: Floats, inspection: Inspection) -> Floats:
    return np.asarray((values == 0.0) & (inspection.sky.clear > _LIGHT), dtype=np.float64)


def _too_bright_cure(inspection: Inspection, row: int, here: Mask) -> str:
    if _may_be_limited(inspection, here):
        return (
            f'correct the sensor\'s figures, or leave them empty; or write too_bright = "limit" under [{inspection.table}] '
            "to bring such days down to that and flag them"
        )
    site, days = inspection.site, pd.DatetimeIndex(inspection.daily.index)
    other = sky_of(days, latitude=-site.latitude, elevation=site.elevation)
    fits = not (inspection.all_of("radiation") > bright_bound(other))[inspection.asked].any()
    if here.sum() > 6 and fits:
        return f"check the sign of the site's latitude (south negative), for it would fit latitude {number(-site.latitude)}"
    return "check the unit, the sensor's calibration and the site's latitude and elevation; leave wrong cells empty"


def _clear_sky(inspection: Inspection, row: int, here: Mask) -> str:
    return f"at most {bright_bound(inspection.sky)[row]:.1f} MJ/m² (1.05 Rso), from a clear sky there"


def _too_dark(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    share = _share_of_clear_sky(inspection, _LIGHT)
    if share.size < _DAYS_TO_JUDGE or inspection.is_stated("radiation"):
        return
    top = float(share.max())
    if top < _TOP_SHARES[0]:
        found = f"reaches only {inspection.worst('radiation')}, never more than {100 * top:.0f} % of a clear sky's"
        cure = f"check the unit and the sensor; {inspection.confirmation('radiation')}"
        if top * _KWH <= _TOP_SHARES[1]:
            found = f"{found}, which looks like kWh/m²"
            cure = inspection.unit_cure("kWh/m^2", "radiation", confirm=True)
        yield Verdict(names, found, "above 70 % on clear days", cure)


_PAN_MOST = STANDARD["pan_evaporation"].highest
_PAN_RANGE = f"0 to {_PAN_MOST:g} mm a day"
_PAN = "pan_evaporation"

#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    Check("rain-range", "rain", below(0.0), "0 mm or more"),
    Doubt("rain-unit", ("rain",), _rain_unit),
    Check("rain-range", "rain", _over_most_rain, _most_rain, _rain_cure),
    Check("sunshine-range", "sunshine", below(0.0), "0 h or more"),
    Doubt("sunshine-unit", ("sunshine",), _sunshine_unit),
    Check("sunshine-range", "sunshine", _over_daylight, _daylight),
    Check("pan_evaporation-range", _PAN, below(0.0), _PAN_RANGE),
    Doubt("pan-evaporation-unit", (_PAN,), _pan_unit),
    Check("pan_evaporation-range", _PAN, above(_PAN_MOST), _PAN_RANGE),
    Check("radiation-range", "radiation", below(0.0), "0 MJ/m² or more"),
    Doubt("radiation-unit", ("radiation",), _radiation_unit),
)

#: what is too bright, once `limit_bright` has had its turn
BRIGHT = Check("radiation-too-bright", "radiation", _over_clear_sky, _clear_sky, _too_bright_cure)

_LIGHT_WORDS = ("some light, as even the darkest day has", "leave the cell empty", "which looks like a dead sensor")
#: made only where nothing was too bright
DARK: tuple[Check | Doubt, ...] = (
    Doubt("radiation-too-dark", ("radiation",), _too_dark),
    Check("radiation-zero", "radiation", _no_light, *_LIGHT_WORDS),
)
