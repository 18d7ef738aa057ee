"""
Checks of a wind's unit: what a whole column in km/h, mph or knots looks like in m/s, and the height of its gauge.

The thresholds are common practice, no source, as those of `air`. A unit that is stated is doubted as one that is not; but where the
values could be true, it is a caution.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from panbudget.numeric import Floats, half_digit, on_steps
from panbudget.physics import air
from panbudget.weather.checks.air import WIND_UNITS, around, is_refused_as, steps
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, at_least, at_most
from panbudget.weather.messages import note
from panbudget.weather.text.heading import by_file
from panbudget.weather.text.raw import TO_FILL_IN

# how many days it takes to question a windy site, a month
_DAYS_TO_JUDGE, _MONTH = 14, 30
# median wind at 2 m beyond which the unit is doubted, from which it is worth a look, that no place has, and that is a day's
# run of wind in km; the wind of a windy day (one in twenty) beyond which a stated unit is doubted too [m/s]
_WINDY, BREEZY, _STORMY, _RUN_OF_WIND, _WINDY_DAY = 5.0, 3.5, 15.0, 50.0, 9.5
# the lowest and highest of such figures where they may be degrees of the compass [°]
_COMPASS = 30.0, 330.0, 360.0
# a moderate to strong wind (FAO-56 table 4) beside columns in such units, with which its own in m/s is not consistent [m/s]
_FRESH, _IMPERIAL = 3.0, frozenset({"degF", "in", "inHg"})
# how many times as fast a wind is from a day on, if its unit changes there [-]
_TIMES_FASTER = 1.9
# how near a factor that brings wind to 2 m is to that of another height for both to be one [-]
_SAME_HEIGHT = 0.02
# a day's wind that is one of a kind: this much at 2 m, and so many times the next; of days that alone are in whole numbers the least,
# and the share of whole numbers from which on they are not alone [m/s, -, -, -]
_GALE, _TIMES_SECOND, _TIMES_TENTHS, _SELDOM_WHOLE = 8.0, 3.0, 1.5, 0.3
# elevations from which on wind may be stronger, and up to which it grows, and how many times as strong it may be there [m, -]
_SUMMITS, _ON_SUMMITS = (700.0, 1200.0), (1.0, 1.7)
# whole knots, mph and m/s in another unit: step in it -> that unit [m/s -> unit]; share of the hours on such steps, chance that
# they are there though it is none, and hours that tell; share of calms, and the least wind that moves a gauge where those are
# called calm: 3 knots at airports [m/s, -, -, h, -, m/s]
_STEPS = {1.852: "km/h", 1.609344: "km/h", 3.6: "km/h", 1.150779: "mph", 2.236936: "mph", 1.943844: "knot"}
_ON_STEPS, _BY_CHANCE, _HOURS, _CALMS, _LEAST_WIND = 0.995, 1e-4, 500, 0.005, 2.5
# the weakest wind of a gauge that is too slow to start, above the 3 knots of airports, and its share of calms [m/s, -]
_STARTS, _OFTEN_CALM = 1.8, 0.1
# 3 knots are 5.6 km/h; in whole mph they are 3, and the next knot is 5, for none gives 4 [km/h, mph]
_LEAST_KMH, _LEAST_STEP_MPH = 4.5, 1.5


def windier(inspection: Inspection) -> float:
    """Return how many times as strong as in a plain wind may be at a site's height, before it is doubted: summits are windy."""
    return float(np.interp(inspection.site.elevation, _SUMMITS, _ON_SUMMITS))


def _wind_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known("wind") * inspection.wind_factor
    middle, stated, enough = float(np.median(known)), inspection.is_stated("wind"), known.size >= _DAYS_TO_JUDGE
    beside, imperial = is_refused_as("°F", inspection) and not stated, imperial_of(inspection)
    factor = WIND_UNITS.get(inspection.unit_in_file("wind"), 1.0)
    slow = [
        unit
        for unit in (("mph", "knot", "km/h") if beside or imperial else ("km/h", "knot", "mph"))
        if WIND_UNITS[unit] < factor
    ]
    first, *others = (unit.replace("knot", "knots") for unit in slow or [note("another-unit")])
    looks_like = first + (f" (or {' or '.join(others)})" if others else "")
    values = {"middle": middle, "usual": _WINDY, "unit": TO_FILL_IN, "looks_like": looks_like}
    slower = [{"wind": inspection.all_of("wind") * WIND_UNITS[unit] / factor} for unit in slow]
    if middle > _RUN_OF_WIND:
        low, high = known.min() / inspection.wind_factor, known.max() / inspection.wind_factor
        compass = low <= _COMPASS[0] and _COMPASS[1] <= high <= _COMPASS[2]
        yield Verdict(
            names, f"wind-unit/{'compass' if compass else 'run'}", {"unit": TO_FILL_IN if compass else "km/day"}
        )
    elif middle > (_WINDY if enough and not stated else _STORMY):
        yield Verdict(names, "wind-unit", values)
    elif beside:
        yield Verdict(names, "wind-unit/beside", values)
    elif stated and enough and max(middle / _WINDY, np.percentile(known, 95.0) / _WINDY_DAY) > windier(inspection):
        yield Verdict(names, "wind-unit/stated", values, slower)
    elif stated and enough and factor == 1.0 and middle > _FRESH and imperial:
        instead = inspection.with_asked(wind=inspection.of_asked("wind") * WIND_UNITS["mph"])
        yield Verdict(
            names,
            "wind-unit/imperial",
            {**values, "line": inspection.line("wind", "mph"), "table": inspection.table, "columns": imperial},
            instead,
        )
    elif enough and not stated and middle > BREEZY:
        yield Verdict(names, "wind-unit/windy", values, slower)


def imperial_of(inspection: Inspection) -> str:
    """Name the columns whose unit in the file is imperial."""
    headers = (
        inspection.raw.headers.get(name, name)
        for name in inspection.raw.units
        if inspection.unit_in_file(name) in _IMPERIAL
    )
    return ", ".join(dict.fromkeys(f'"{header}"' for header in headers))


def _wind_change(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Refuse a wind without a unit that is too fast for m/s, but was ordinary up to a day: not all of it is in another unit."""
    wind = inspection.of_asked("wind") * inspection.wind_factor
    if inspection.is_stated("wind") or float(np.nanmedian(wind)) <= _WINDY:
        return
    before, after = around(wind, _MONTH, _DAYS_TO_JUDGE)
    leaps = np.exp(np.abs(steps(np.log(np.maximum(wind, 0.1)), _DAYS_TO_JUDGE)))
    slow, fast = np.fmin(before, after), np.fmax(before, after)
    leaps = np.where((fast > _TIMES_FASTER * slow) & (slow < BREEZY) & (fast > _WINDY), leaps, np.nan)
    if (leaps > _TIMES_FASTER).any():
        row = int(np.nanargmax(leaps))
        words = {"before": before[row], "after": after[row], "first": inspection.day_asked(row), "days": _MONTH}
        yield Verdict(names, "wind-change", words)


def _gauge_height(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt the height of the gauge where the file itself states another."""
    used = inspection.wind_factor
    for stated in inspection.raw.gauge:
        other = float(air.wind_at_2m(1.0, height=stated))
        if abs(other / used - 1.0) > _SAME_HEIGHT:
            # FAO-56 eq 47, solved for the height
            height = (np.exp(4.87 / used) + 5.42) / 67.8
            instead = inspection.with_asked(wind=inspection.of_asked("wind") * other / used)
            yield Verdict(
                names, "gauge-height", {"used": float(height), "said": stated, "table": inspection.table}, instead
            )
            return


def _wind_spike(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt one day's gale in a record that has no other, or some days', which alone are in whole numbers."""
    wind, known = inspection.of_asked("wind"), np.r_[np.sort(inspection.known("wind"))[::-1], 0.0]
    in_file = known / by_file(inspection.unit_in_file("wind"), "m/s")[0]
    whole = on_steps(in_file, 1.0)
    strongest = int(np.argmin(whole))
    for days in range(strongest if strongest and whole[strongest:-1].mean() < _SELDOM_WHOLE else 1, 0, -1):
        least, second = known[days - 1 : days + 1]
        times, text = (_TIMES_TENTHS, "wind-spike/days") if days > 1 else (_TIMES_SECOND, "wind-spike")
        if least > max(_GALE / inspection.wind_factor, times * second):
            instead = inspection.with_asked(wind=np.where(wind >= least, second, wind))
            yield Verdict(names, text, {"second": second, "days": days}, instead)
            return


def _wind_steps(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt hours of wind that stand on the steps of another unit, or that know no weak wind but calms."""
    winds = inspection.raw.by_hour.winds if inspection.raw.by_hour else np.zeros(0)
    blowing, unit = winds[winds > 0.0], ""
    if blowing.size < _HOURS:
        return
    least, values = float(np.percentile(blowing, 0.5)), np.unique(blowing)
    off = half_digit(values, 2)
    for step, of in _STEPS.items() if off else ():
        fits = on_steps(blowing, step, off + 1e-6)
        if fits.mean() >= _ON_STEPS and min(2.0 * off / step, 1.0) ** values.size < _BY_CHANCE:
            unit = of
    if not unit and least >= _LEAST_WIND and winds.size - blowing.size >= _CALMS * winds.size:
        step = values[values > least].min(initial=np.inf) - least
        unit = "km/h" if least > _LEAST_KMH else "knot" if step < _LEAST_STEP_MPH else "mph"
    if unit:
        instead = inspection.with_asked(wind=inspection.of_asked("wind") * WIND_UNITS[unit])
        looks_like = "knots" if unit == "knot" else unit
        yield Verdict(names, "wind-steps", {"looks_like": looks_like, "unit": unit}, instead)
    elif least >= _STARTS and winds.size - blowing.size >= _OFTEN_CALM * winds.size:
        words = {"least": least, "share": 100.0 * (1.0 - blowing.size / winds.size)}
        yield Verdict(names, "wind-steps/starts", words, _moving_again(inspection, least))


def _moving_again(inspection: Inspection, least: float) -> dict[str, Floats]:
    """The wind with half of the weakest that moves the gauge in each record that has none."""
    hours = inspection.raw.by_hour
    if hours is None or "wind" not in hours.moving:
        return {}
    calm = (hours.moving["wind"].dropna() == 0.0).groupby(lambda hour: hour // 24).mean()
    added = calm.reindex(inspection.numbers).fillna(0.0).to_numpy() * least / 2.0
    return inspection.with_asked(wind=inspection.of_asked("wind") + added)


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    at_least("wind"),
    Doubt("wind-change", _wind_change, ("wind",), 2 * _DAYS_TO_JUDGE),
    Doubt("wind-unit", _wind_unit, ("wind",)),
    Doubt("wind-steps", _wind_steps, ("wind",), beside="by_hour"),
    at_most("wind"),
    Doubt("gauge-height", _gauge_height, ("wind",)),
    Doubt("wind-spike", _wind_spike, ("wind",), _DAYS_TO_JUDGE),
)
