"""
Plausibility: values that can't be true, and whole columns that betray another unit.

Each mistake is one problem, with the worst value, its day and the cure; a guess at a unit is only a hint in
that message, never acted upon. A column whose unit is stated escapes the guesses that rest on habit (wind,
radiation, rain), but not what no weather can be.
"""

from __future__ import annotations

import numpy as np

from panbudget.numeric import Mask
from panbudget.weather.checks import air, sky
from panbudget.weather.checks.inspection import Inspection, walk
from panbudget.weather.messages import counted, note, problem, table_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.words import and_more

#: what a file that was not refused has passed, in one line
PASSED = (
    "Wrong units looked for, and none found: Fahrenheit or kelvin for °C, km/h, knots or mph for m/s, W/m² or kWh/m² for "
    "MJ/m² (against a clear sky's), inches for mm of rain, hPa for kPa, shares for %, marks such as -999 for a "
    "missing value, tmin above tmax, dew points above tmax."
)

# numbers that loggers and archives write for a missing value
_MARKS = np.array(table_of("marks")["numbers"])


def inspect_values(inspection: Inspection) -> Inspection:
    """
    Check every value of a table.

    Parameters
    ----------
    inspection : Inspection
        Its table may be changed: pass a copy.

    Returns
    -------
    Inspection
        The same one, with its problems, if there are any.
    """
    _marks(inspection)
    walk(inspection, (*air.CHECKS, *sky.CHECKS))
    sky.limit_bright(inspection)
    problems = len(inspection.problems)
    walk(inspection, [sky.BRIGHT])
    if len(inspection.problems) == problems and not (inspection.limited & inspection.asked).any():
        walk(inspection, sky.DARK)
    inspection.notes += (
        note("values-left-out", name=name, values=counted(count, "value"))
        for name, count in inspection.left_out.items()
    )
    return inspection


def _marks(inspection: Inspection) -> None:
    """Name numbers that stand for a missing value, one problem for each such number, and take them out."""
    marks: dict[float, tuple[list[str], Mask]] = {}
    for name in inspection.daily.columns:
        factor, offset = inspection.raw.conversions.get(name, (1.0, 0.0))
        as_written = np.round((inspection.all_of(name) - offset) / factor, 4)
        values = as_written[~np.isin(as_written, _MARKS) & ~np.isnan(as_written)]
        for mark in np.intersect1d(_MARKS, as_written).tolist():
            days = as_written == mark
            outside = not STANDARD[name].lowest <= mark * factor + offset <= STANDARD[name].highest
            repeated = name == "rain" and int(days.sum()) >= 2
            # 999 among values near 900 is a value in another unit, and a check of its own
            alone = mark < 0 or not (values > 0.5 * mark).any()
            if (outside or repeated) and alone:
                names, of_all = marks.setdefault(mark, ([], np.zeros_like(days)))
                names.append(name)
                of_all |= days
                inspection.leave_out(days, name)
    for mark, (names, days) in marks.items():
        rows = np.flatnonzero(days & inspection.asked)
        if rows.size:
            where = f"{inspection.day(rows[0])}{and_more(rows.size - 1, 'day')}"
            shown = f"{'is' if len(names) == 1 else 'are'} {number(mark)} on {where}"
            inspection.problems.append(problem("missing-mark", ", ".join(names), mark, shown=shown))
