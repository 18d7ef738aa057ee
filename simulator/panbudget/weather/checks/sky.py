"""
Checks of what comes from the sky: radiation, sunshine and rain, with the pan's measured evaporation beside
them.

Radiation is held against a clear sky's (FAO-56 eq 37): at most 1.05 Rso. Other thresholds are common
practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.physics.air import Floats
from panbudget.weather.checks.inspection import Inspection, Mask
from panbudget.weather.site import SiteLike
from panbudget.weather.sky import Sky, sky_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.dates import and_more

__all__ = ["BRIGHTEST", "bright_bound", "pan_evaporation", "radiation", "rain", "sunshine"]

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
}
_KWH = 3.6
_DAYS_TO_JUDGE = 14
# sunshine above the geometric day: refraction and rounding [h]
_LONGER = 0.3
# a day's rain in mm beyond which it is doubted unless its unit is stated
_MUCH_RAIN = 400.0


def bright_bound(sky: Sky) -> Floats:
    """Return the largest believable radiation of each day. [MJ m⁻² d⁻¹]"""
    return np.maximum(BRIGHTEST * sky.clear, _FLOOR)


def radiation(inspection: Inspection, *, site: SiteLike, too_bright: str, share: float) -> Mask:
    """Check solar radiation; return where it was limited to 1.05 Rso because the user chose so."""
    nothing = np.zeros(len(inspection.daily), dtype=bool)
    name = "radiation"
    if not inspection.has(name) or not inspection.known(name).size:
        return nothing
    why = "0 MJ/m² or more is expected: correct it, or leave the cell empty"
    inspection.refuse(name, inspection.all_of(name) < 0.0, why=why, lowest=True)
    values = inspection.all_of(name)
    bound = bright_bound(inspection.sky)
    over = values > bound
    here = inspection.asked & ~np.isnan(values)
    if (over & here).any():
        if (over & here).sum() > 0.5 * here.sum() and (unit := _radiation_unit(inspection, values, here)):
            _wrong_unit(inspection, unit, over)
            return nothing
        limited = over & (values <= _MAY_BE_LIMITED * np.maximum(inspection.sky.clear, _FLOOR))
        few = (over & here).sum() <= max(share * here.sum(), 1)
        if too_bright == "limit" and few and not (over & here & ~limited).any():
            inspection.daily.loc[limited, name] = bound[limited]
            over = over & ~limited
            inspection.refuse(name, over, why="")  # only days that nobody asked for are left
            return limited
        _too_bright(inspection, site, over, may_limit=few and not (over & here & ~limited).any())
        return nothing
    inspection.refuse(name, over, why="")  # as above
    _too_dark(inspection, values, here)
    return nothing


def _radiation_unit(inspection: Inspection, values: Floats, here: Mask) -> str:
    """Name the unit that brings the values nearest below a clear sky, or none."""
    clear = inspection.sky.clear
    judged = here & (clear > 1.0)
    if not judged.any():
        return ""
    ratio = values[judged] / clear[judged]
    tops = {unit: float(np.percentile(ratio, 98) * size) for unit, (size, _) in _RADIATION_UNITS.items()}
    fitting = {unit: top for unit, top in tops.items() if 0.4 < top <= 1.15}
    if fitting:
        return max(fitting, key=lambda unit: fitting[unit])
    return "tenths of MJ/m²" if 0.4 < float(np.percentile(ratio, 98)) / 10.0 <= 1.15 else ""


def _wrong_unit(inspection: Inspection, unit: str, over: Mask) -> None:
    more = int((over & inspection.asked).sum()) - 1
    also = f" (and is high on {more} more day{'s' if more > 1 else ''})" if more else ""
    cure = f"it looks like {unit}: divide by ten in the file"
    if unit in _RADIATION_UNITS:
        cure = inspection.name_unit(unit, _RADIATION_UNITS[unit][1], "radiation")
    most = _clear_sky_most(inspection, over)
    inspection.condemn(
        f"radiation reaches {inspection.worst('radiation')}{also}; a clear sky there gives "
        f"{most:.0f} MJ/m² at most. "
        f"{cure[0].upper()}{cure[1:]}",
        "radiation",
    )


def _clear_sky_most(inspection: Inspection, over: Mask) -> float:
    values = np.where(over & inspection.asked, inspection.all_of("radiation"), np.nan)
    return float(bright_bound(inspection.sky)[int(np.nanargmax(values))])


def _too_bright(inspection: Inspection, site: SiteLike, over: Mask, *, may_limit: bool) -> None:
    values = inspection.all_of("radiation")
    here = over & inspection.asked
    place = int(np.nanargmax(np.where(here, values / bright_bound(inspection.sky), np.nan)))
    days = pd.DatetimeIndex(inspection.daily.index)
    more = int(here.sum()) - 1
    also = f" (and is high on {more} more day{'s' if more > 1 else ''})" if more else ""
    most = float(bright_bound(inspection.sky)[place])
    other = sky_of(days, latitude=-site.latitude, elevation=site.elevation)
    known = inspection.asked & ~np.isnan(values)
    if may_limit:
        cure = (
            "correct the sensor's figures, or leave them empty; or write too_bright = "
            '"limit" under [weather] to '
            "bring such days down to that and flag them"
        )
    elif more > 5 and not (values > bright_bound(other))[known].any():
        cure = f"it would fit latitude {number(-site.latitude)}: check the sign of the site's latitude (south negative)"
    else:
        cure = "check the unit, the sensor's calibration and the site's latitude and elevation; leave wrong cells empty"
    message = (
        f"radiation is {number(float(values[place]))} MJ/m² on {days[place].date()}{also}; a "
        "clear sky there gives "
        f"{most:.1f} MJ/m² at most (1.05 Rso): {cure}"
    )
    inspection.problems.append(Problem.of_text(message, key="radiation", value=float(values[place])))


def _too_dark(inspection: Inspection, values: Floats, here: Mask) -> None:
    clear = inspection.sky.clear
    judged = here & (clear > 3.0)
    if not judged.any():
        return
    ratio = values[judged] / clear[judged]
    top = float(ratio.max())
    if judged.sum() >= _DAYS_TO_JUDGE and top < 0.4 and not inspection.is_stated("radiation"):
        cure = "check the unit and the sensor"
        if top * _KWH <= 1.15:
            cure = inspection.name_unit("kWh/m²", "kWh/m^2", "radiation")
        cure += f"; if it is right after all, say so: {inspection.confirm('radiation')}"
        inspection.condemn(
            f"radiation reaches only {inspection.worst('radiation')}, never more than "
            f"{100 * top:.0f} % of a clear "
            f"sky's; above 70 % on clear days is expected. {cure[0].upper()}{cure[1:]}",
            "radiation",
        )
        return
    why = "even the darkest day has some light, so this looks like a dead sensor: leave the cell empty"
    inspection.refuse("radiation", (values == 0.0) & (clear > 3.0), why=why)


def sunshine(inspection: Inspection) -> None:
    """Check hours of sunshine against the length of the day."""
    name = "sunshine"
    if not inspection.has(name) or not inspection.known(name).size:
        return
    why = "0 h or more is expected: correct it, or leave the cell empty"
    inspection.refuse(name, inspection.all_of(name) < 0.0, why=why, lowest=True)
    values = inspection.all_of(name)
    daylight = inspection.sky.daylight
    known = inspection.known(name)
    longest = float(daylight[inspection.asked].max())
    over = values > daylight + _LONGER
    here = inspection.asked & ~np.isnan(values)
    if (over & here).sum() > 0.4 * here.sum() and (over & here).any():
        high = float(known.max())
        if high > 61.0 * longest:
            cure = inspection.name_unit("seconds", "s", name)
        elif high > 10.0 * longest + 3.0:
            cure = inspection.name_unit("minutes", "min", name)
        elif high <= 100.0:
            cure = "it looks like per cent of the daylight or tenths of an hour: turn it into hours in the file"
        else:
            cure = "it looks like tenths of an hour (or minutes): turn it into hours in the file"
        inspection.condemn(
            f"sunshine reaches {inspection.worst(name)}; the longest day there has {longest:.1f} h. "
            f"{cure[0].upper()}{cure[1:]}",
            name,
        )
        return
    if known.size >= _DAYS_TO_JUDGE and 0.0 < known.max() <= 1.0 and not inspection.is_stated(name):
        inspection.condemn(
            f"sunshine is never above {known.max():.2f} h in {known.size} days; hours are "
            "expected. It looks like a "
            f"share of the daylight: turn it into hours in the file; if it is right after all, say so: "
            f"{inspection.confirm(name)}",
            name,
        )
        return
    day = int(np.nanargmax(np.where(here, values - daylight, np.nan)))
    why = f"the sun is up for {float(daylight[day]):.1f} h there: correct it, or leave the cell empty"
    inspection.refuse(name, over, why=why)


def rain(inspection: Inspection) -> None:
    """Check rain: sign, size, a running total, inches."""
    if not inspection.has("rain"):
        return
    why = "0 mm or more is expected: correct it, or leave the cell empty"
    inspection.refuse("rain", inspection.all_of("rain") < 0.0, why=why, lowest=True)
    values = inspection.all_of("rain")
    known = inspection.known("rain")
    steps = np.diff(known)
    if known.size >= 20 and (steps >= 0.0).all() and known[-1] > 50.0 and (steps > 0.0).sum() >= 5:
        inspection.condemn(
            "rain never falls from one day to the next and reaches "
            f"{inspection.worst('rain')}; each day's own rain "
            "is expected. It looks like a running total: write the difference from day to day",
            "rain",
        )
        return
    wet = known[known > 0.0]
    stated = inspection.is_stated("rain")
    whole = wet.size >= 10 and bool((wet == np.round(wet)).all())
    if whole and float(np.median(wet)) > 25.0 and not stated:
        inspection.condemn(
            f"rain reaches {inspection.worst('rain')} and half of the wet days have "
            f"{np.median(wet):.0f} mm or more, "
            "in whole numbers; days of 1 to 20 mm are usual. It looks like tenths of a "
            "millimetre: divide by ten in "
            f"the file; if it is right after all, say so: {inspection.confirm('rain')}",
            "rain",
        )
        return
    if not stated and _like_inches(wet):
        cure = inspection.name_unit("inches", "in", "rain")
        inspection.condemn(
            f"rain reaches only {inspection.worst('rain')} in {wet.size} wet days, in hundredths. "
            f"{cure[0].upper()}{cure[1:]}; if it is right after all, say so: {inspection.confirm('rain')}",
            "rain",
        )
        return
    most = STANDARD["rain"].highest if stated else _MUCH_RAIN
    why = f"at most {most:g} mm is expected: correct it, or leave the cell empty"
    if not stated:
        why += f"; if it is true, say so by naming the unit: {inspection.confirm('rain')}"
    inspection.refuse("rain", values > most, why=why)


def _like_inches(wet: Floats) -> bool:
    """Tell whether rain is in hundredths, as gauges in inches are and gauges in millimetres aren't."""
    if wet.size < 15 or wet.max() >= 4.0 or wet.mean() >= 0.6:
        return False
    hundredths = np.abs(wet * 100.0 - np.round(wet * 100.0)) < 1e-6
    tenths = np.abs(wet * 10.0 - np.round(wet * 10.0)) < 1e-6
    return bool(hundredths.all() and tenths.mean() < 0.5)


def pan_evaporation(inspection: Inspection) -> None:
    """Check the measured evaporation of a pan."""
    name = "pan_evaporation"
    if not inspection.has(name):
        return
    values = inspection.all_of(name)
    most = STANDARD[name].highest
    why = f"0 to {most:g} mm a day are expected: correct it, or leave the cell empty"
    inspection.refuse(name, values < 0.0, why=why, lowest=True)
    known = inspection.known(name)
    if known.size and float(np.median(known)) > most:
        inspection.condemn(
            f"pan_evaporation reaches {inspection.worst(name)} "
            f"mm{and_more(known.size - 1, 'day')}; 0 to {most:g} mm a "
            "day are expected. It looks like tenths of a millimetre: divide by ten in the file",
            name,
        )
        return
    inspection.refuse(name, values > most, why=why)
