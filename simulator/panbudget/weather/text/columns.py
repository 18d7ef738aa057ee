"""
Columns: the standard names and units of a daily weather table, and the range outside which a value is no
weather.

The one place where a column is described (in ``columns.toml``); readers, checks and reports look it up here.
"""

from typing import NamedTuple

from panbudget.words import SHOWN, in_both, packaged


class Column(NamedTuple):
    """What a column holds, its standard unit (as `units` names it and as people read it), and its limits."""

    meaning: str
    unit: str
    shown_unit: str
    lowest: float
    highest: float


_DATA = packaged("weather/text/columns.toml")
#: standard name -> column
STANDARD: dict[str, Column] = {name: Column(**facts) for name, facts in _DATA["standard"].items()}
#: columns that every file must have: temperatures are never invented (rain neither: see `gaps`)
REQUIRED = ("tmin", "tmax")
#: units of the finished daily table
FINISHED_UNITS: dict[str, str] = _DATA["finished"]


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


@in_both
def amount(value: float, kind: str) -> str:
    """Write a number, as short, with the unit of its kind."""
    return f"{number(SHOWN[kind].shown(value))} {SHOWN[kind].unit}"
