"""
Plausibility: values that can't be true, and whole columns that betray another unit.

Each mistake is one problem, with the worst value, its day and the cure; a guess at a unit is only a hint in
that message, never acted upon. A unit that is stated switches no check off: who knows better trusts a check by name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from panbudget.errors import Problem
from panbudget.numeric import Mask
from panbudget.weather.checks import air, exchanged, figures, grid, rain, sensors, sky, together, wind, wind_units
from panbudget.weather.checks.inspection import Doubt, Inspection, walk
from panbudget.weather.marks import marks_in
from panbudget.weather.messages import counted, note, problem, table_of
from panbudget.weather.text.columns import number
from panbudget.words import and_more

_CHECKS = (
    *exchanged.CHECKS,
    *air.CHECKS,
    *wind_units.CHECKS,
    *rain.CHECKS,
    *sky.CHECKS,
    *sensors.CHECKS,
    *wind.CHECKS,
    *together.CHECKS,
    *figures.CHECKS,
    *grid.CHECKS,
)

#: names of the checks that a user may know better than, and trust
TRUSTED = sorted({row.name for row in (*_CHECKS, *sky.DARK) if not row.certain})


def trust_problem(names: Iterable[str], *, where: str = "weather") -> Problem | None:
    """Say what names are no checks that can be trusted."""
    unknown = [name for name in names if name not in TRUSTED]
    values = {"given": ", ".join(f'"{name}"' for name in unknown), "known": ", ".join(TRUSTED)}
    return problem("unknown-check", f"{where}.trust", unknown[0], **values) if unknown else None


def checks_made(ran: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    """
    Say what was looked for, and in which columns.

    Parameters
    ----------
    ran : mapping
        Name of a check -> columns, as `Weather.checks`.

    Returns
    -------
    dict
        What was looked for -> columns; checks of ranges together, and those of one column beside another.
    """
    labels, made = table_of("labels"), dict[str, list[str]]()
    for name, columns in ran.items():
        label = labels.get(name) or labels["range" if name.endswith("-range") else "beside"]
        made[label] = list(dict.fromkeys([*made.get(label, []), *columns]))
    return made


def not_judged(ran: Mapping[str, Sequence[str]]) -> list[str]:
    """
    Say what no column of a file tells, or no single station's file, so that no check could look for it.

    Parameters
    ----------
    ran : mapping
        Name of a check -> columns, as `Weather.checks`.

    Returns
    -------
    list of str
        What sensors and files do, for which only a station near by can be asked.
    """
    columns, labels = set().union(*ran.values()), table_of("labels")
    lacking = [labels[name] for name, sets in table_of("told-by").items() if not any(map(columns.issuperset, sets))]
    return [*lacking, *dict.fromkeys(text for name, text in table_of("untold").items() if name in columns)]


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
    walk(inspection, _CHECKS)
    sky.limit_bright(inspection)
    problems = len(inspection.problems)
    walk(inspection, [sky.BRIGHT])
    if len(inspection.problems) == problems:
        limited = (inspection.limited & inspection.asked).any()  # which hours tell of all the same
        walk(inspection, [row for row in sky.DARK if not limited or (isinstance(row, Doubt) and row.beside)])
    inspection.notes += (
        note("values-left-out", name=name, values=counted(count, "value"))
        for name, count in inspection.left_out.items()
    )
    return inspection


def _marks(inspection: Inspection) -> None:
    """Name numbers that stand for a missing value, one problem for each such number, and take them out."""
    inspection.ran["missing-mark"] = list(map(str, inspection.daily.columns))
    marks: dict[float, tuple[list[str], Mask]] = {}
    for name in inspection.daily.columns:
        for seen in marks_in(inspection.raw, str(name), inspection.all_of(name)):
            if seen.likely:
                names, of_all = marks.setdefault(seen.number, ([], np.zeros_like(seen.rows)))
                names.append(name)
                of_all |= seen.rows
                inspection.leave_out(seen.rows, name)
    for mark, (names, days) in marks.items():
        rows = np.flatnonzero(days & inspection.asked)
        if rows.size:
            where = f"{inspection.day(rows[0])}{and_more(rows.size - 1, 'day')}"
            shown = f"{'is' if len(names) == 1 else 'are'} {number(mark)} on {where}"
            inspection.problems.append(problem("missing-mark", ", ".join(names), mark, shown=shown))
