"""
Words: numbers and dates as a person reads them, on pages, in figures and on the terminal; the package's own texts.

A number with a unit is written by `amount`, in the units that the garden's person thinks in (`units_shown`); a text names the
kind of a quantity in place of a unit, ``{level:depth}`` (`say`), and a heading does so in brackets, ``supplied [depth]``. A text
that is made before anybody asks for it knows both (`InUnits`); as data it is metric.

Dates in sentences, headings and titles of figures are "3 July 2025"; in tables and files, and in messages about them, as
ISO 8601 has them. Thousands are parted by a narrow space, never by a comma, which half of the world reads as a decimal mark.
"""

import contextlib
import contextvars
import datetime as dt
import functools
import importlib.resources
import math
import re
import string
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal, NamedTuple, ParamSpec

from panbudget.errors import PanbudgetError, Problem

_NARROW_SPACE = "\u202f"
_NO_BREAK = "\u00a0"
_RUNS_NAMED = 5  # of days in a row, of those that are written out
_P = ParamSpec("_P")


def packaged_text(name: str) -> str:
    """Return one of the package's own files, such as "templates/short.toml"."""
    return importlib.resources.files("panbudget").joinpath(name).read_text(encoding="utf-8")


def packaged(name: str) -> dict[str, Any]:
    """Return what one of the package's own TOML files holds, such as "scenario/keys.toml"."""
    return tomllib.loads(packaged_text(name))


def number(value: float | None, decimals: int = 0) -> str:
    """
    Write a number plainly.

    Returns
    -------
    str
        A dash where there is none; never "-0".

    Examples
    --------
    >>> number(1234.5, 1).replace("\\u202f", " ")
    '1 234.5'
    >>> number(-0.04, 1), number(None)
    ('0.0', '–')
    """
    if value is None or math.isnan(value):
        return "–"
    text = f"{value:,.{decimals}f}".replace(",", _NARROW_SPACE)
    if not re.search("[1-9]", text):
        text = text.lstrip("-")
    return text.replace("-", "−")


def signed(value: float | None, decimals: int = 0) -> str:
    """Write a difference with its sign; none where it rounds to zero."""
    text = number(value, decimals)
    return f"+{text}" if value is not None and value > 0.0 and re.search("[1-9]", text) else text


def _with_unit(value: float | None, decimals: int, unit: str) -> str:
    return f"{number(value, decimals)}{_NO_BREAK}{unit}"


class Shown(NamedTuple):
    """
    How a kind of quantity is shown.

    Parameters
    ----------
    metric, us : str
        Units.
    size : float
        Metric units in one US unit.
    more : int
        Decimals that the US figure needs more, to tell no less than the metric one.
    zero : float
        In US units, where the metric one is 0.
    """

    metric: str
    us: str
    size: float
    more: int
    zero: float = 0.0

    @property
    def unit(self) -> str:
        """Unit in which it is shown."""
        return self.us if is_us() else self.metric

    def shown(self, value: float) -> float:
        """Return a metric value in the unit shown."""
        return value / self.size + self.zero if is_us() else value

    def metric_of(self, value: float) -> float:
        """Return the metric value of one in the unit shown."""
        return (value - self.zero) * self.size if is_us() else value

    def decimals(self, metric: int) -> int:
        """Return the decimals shown, where the metric figure has so many."""
        return max(metric + self.more, 0) if is_us() else metric


def as_typed(value: float, kind: str) -> str:
    """Write a metric quantity as a file has it, in the unit shown."""
    return f"{SHOWN[kind].shown(value):.6g} {SHOWN[kind].unit.replace('²', '^2')}"


#: what units.toml has
TABLES: Mapping[str, Any] = packaged("units.toml")
#: kind of quantity -> how it is shown; "" is a number without a unit of one system
SHOWN: Mapping[str, Shown] = {kind: Shown(*row) for kind, row in TABLES["shown"].items()}
_SAID: Mapping[str, tuple[str, str]] = TABLES["said"]
_KINDS = {scale.metric: kind for kind, scale in reversed([*SHOWN.items()])}
#: what a person may think in
System = Literal["metric", "US"]
#: that a sheet may be printed on
PaperSize = Literal["A4", "Letter"]
_SYSTEM: contextvars.ContextVar[System | None] = contextvars.ContextVar("units", default=None)


def is_us() -> bool:
    """Whether numbers are shown in US units."""
    return _SYSTEM.get() == "US"


def paper() -> PaperSize:
    """Return the paper that goes with the units shown."""
    return "Letter" if is_us() else "A4"


@contextlib.contextmanager
def units_shown(system: System) -> Iterator[None]:
    """Show numbers in these units; the words of an error that comes out stay in them. Elsewhere texts know both."""
    token = _SYSTEM.set(system)
    try:
        yield
    except PanbudgetError as error:
        error.settle()
        raise
    finally:
        _SYSTEM.reset(token)


@contextlib.contextmanager
def errors_shown(system: System) -> Iterator[None]:
    """Show the numbers of an error that comes out in these units, and leave all else."""
    try:
        yield
    except PanbudgetError as error:
        with units_shown(system):
            error.settle()
        raise


class InUnits(str):
    """A text that has numbers with units: metric as data, in the units shown wherever it is printed or put into a text."""

    us: str

    def __new__(cls, metric: str, us: str) -> "InUnits":
        made = super().__new__(cls, metric)
        made.us = us
        return made

    def __getnewargs__(self) -> tuple[str, str]:  # type: ignore[override]
        return str.__str__(self), self.us

    def __str__(self) -> str:
        return self.us if is_us() else str.__str__(self)

    def __format__(self, form: str) -> str:
        return format(str(self), form)


def in_both(make: Callable[_P, str]) -> Callable[_P, str]:
    """Make a function's text know both systems of units, where it is not yet known which is shown."""

    @functools.wraps(make)
    def made(*args: _P.args, **options: _P.kwargs) -> str:
        if _SYSTEM.get() is not None:
            return str(make(*args, **options))
        with units_shown("metric"):
            metric = str(make(*args, **options))
        with units_shown("US"):
            us = str(make(*args, **options))
        return metric if metric == us else InUnits(metric, us)

    return made


def joined(between: str, texts: Iterable[str]) -> str:
    """Join texts, whose numbers keep both units."""
    listed = [*texts]  # what yields them does so once
    return in_both(lambda: between.join(map(str, listed)))()


@in_both
def amount(value: float | None, kind: str, form: str = "") -> str:
    """
    Write a number with its unit.

    Parameters
    ----------
    value : float or None
        In the kind's metric unit.
    kind : str
        A key of `SHOWN`.
    form : str
        Decimals of the metric figure; left out, one below ten and else none. "signed" or "signed 1": with its sign. Or,
        with a plain space before the unit, a format of Python's own, such as ".2f" or "g", or ",1" for decimals.

    Examples
    --------
    >>> amount(425.4, "depth").replace("\\u00a0", " "), amount(2.0, "flow", "g")
    ('425 mm', '2 L/h')
    >>> with units_shown("US"):
    ...     print(amount(425.4, "depth", ".0f"), amount(2.0, "flow", "g"))
    16.75 in 0.5283 gal/h
    """
    scale = SHOWN[kind]
    if form and not form.isdigit() and not form.startswith("signed"):  # within a text: no hard space
        return f"{bare(value, kind, form)} {scale.unit}".rstrip()
    return f"{bare(value, kind, form)}{_NO_BREAK}{scale.unit}"


def bare(value: float | None, kind: str, form: str | int = "") -> str:
    """Write a number as `amount` does, without its unit, which a heading has."""
    scale, form = SHOWN[kind], str(form)
    if form == "":
        form = "1" if value is not None and abs(value) < 10.0 else "0"
    of_zero = scale.zero if form.startswith("signed") else 0.0  # a difference of temperatures has no zero of its own
    shown = None if value is None else scale.shown(value) - (of_zero if is_us() else 0.0)
    if form.startswith("signed"):
        return signed(shown, scale.decimals(int(form[6:] or 0)))
    if form.removeprefix(",").isdigit():
        return number(shown, scale.decimals(int(form.removeprefix(","))))
    if form[-1] == "f":
        sign, decimals = form[:-1].split(".")
        form = f"{sign}.{scale.decimals(int(decimals))}f"
    elif form == "g" and is_us():
        form = ".4g"
    text = str(format(shown, form))
    return f"{float(text):.0f}" if "e+" in text else text  # no powers of ten


def kind_of(unit: str) -> str:
    """Return the kind of quantity that files have in a unit; "" where that unit is the same everywhere."""
    return _KINDS.get(unit, "")


def printed(value: float, kind: str, decimals: int = 0) -> float:
    """Return a metric value as rounded where it is printed, so that differences are those of printed numbers."""
    scale = SHOWN[kind]
    return scale.metric_of(round(scale.shown(value), scale.decimals(decimals)))


def heading(text: str) -> tuple[str, str]:
    """
    Put a heading's unit, and return the kind that it names; empty where none.

    Examples
    --------
    >>> heading("supplied [depth]"), heading("[volume name]"), heading("strongest [g/kg]")
    (('supplied [mm]', 'depth'), ('litres', 'volume'), ('strongest [g/kg]', ''))
    """
    match = re.search(r"\[([\w-]+)( name)?\]$", text)
    if match is None or match[1] not in SHOWN:
        return text, ""
    kind, name = match.groups(default="")
    return text[: match.start()] + (_alone(kind + name) if name else f"[{_alone(kind)}]"), kind


def _alone(name: str) -> str:
    """Return what a text has without a number: the unit of a kind of quantity, or what is said otherwise in each system."""
    return _SAID[name][is_us()] if name in _SAID else SHOWN[name].unit


def litres(value: float | None) -> str:
    """Write a volume of water: "5 120 L"; one decimal below ten."""
    return amount(value, "volume")


def kilograms(value: float | None) -> str:
    """Write a weight: one decimal."""
    return amount(value, "weight", "1")


def mm(value: float | None) -> str:
    """Write a depth: "425 mm"; one decimal below ten."""
    return amount(value, "depth")


def hours(value: float | None) -> str:
    """Write hours, or minutes below one hour."""
    if value is not None and abs(value) < 1.0:
        return _with_unit(value * 60.0, 0, "min")
    return _with_unit(value, 1 if value is None or abs(value) < 100.0 else 0, "h")


def percent(value: float | None, decimals: int = 0) -> str:
    """Write a share as percent, a dash where there is none."""
    return "–" if value is None else _with_unit(100.0 * value, decimals, "%")


def hundredths(share: float) -> int:
    """
    Return the whole hundredths of a share, never more than it is.

    Examples
    --------
    >>> hundredths(0.899), hundredths(0.29)
    (89, 29)
    """
    return math.floor(100.0 * share + 1e-9)


def count(value: int, noun: str, plural: str | None = None) -> str:
    """
    Write a count with its noun.

    Examples
    --------
    >>> count(1, "day").replace("\\u00a0", " "), count(3, "day").replace("\\u00a0", " ")
    ('1 day', '3 days')
    """
    return f"{number(value)}{_NO_BREAK}{noun if value == 1 else plural or noun + 's'}"


def days_long(value: float) -> str:
    """Write a stretch of time in days, or in hours below one day."""
    return hours(24.0 * value) if value < 1.0 else _with_unit(value, 1, "days")


def calendar_day(day: dt.date) -> str:
    """
    Write a day of any year.

    Examples
    --------
    >>> calendar_day(dt.date(2025, 7, 3))
    '3 July'
    """
    return f"{day.day} {day:%B}"


def day_said(day: dt.date | str) -> str:
    """
    Write a date for a sentence; a text is one by ISO 8601, whose hour is left out.

    Examples
    --------
    >>> day_said("2025-07-03 06:30")
    '3 July 2025'
    """
    date = dt.date.fromisoformat(day[:10]) if isinstance(day, str) else day
    return f"{calendar_day(date)} {date.year}"


def days_said(first: dt.date | str, last: dt.date | str) -> str:
    """
    Write a stretch of days for a sentence.

    Examples
    --------
    >>> days_said("2025-05-01", "2025-09-30")
    '1 May to 30 September 2025'
    >>> days_said("2025-07-08", "2025-07-17"), days_said("2025-07-08", "2025-07-08")
    ('8 to 17 July 2025', '8 July 2025')
    >>> days_said("2024-11-01", "2025-03-31")
    '1 November 2024 to 31 March 2025'
    """
    start, end = (dt.date.fromisoformat(day[:10]) if isinstance(day, str) else day for day in (first, last))
    if start == end:
        return day_said(end)
    begin = calendar_day(start) if start.year == end.year else day_said(start)
    if (start.year, start.month) == (end.year, end.month):
        begin = str(start.day)
    return f"{begin} to {day_said(end)}"


def and_more(count: int, noun: str) -> str:
    """
    Write how many more there are, in brackets, or nothing.

    Examples
    --------
    >>> "2025-07-03" + and_more(2, "day")
    '2025-07-03 (and 2 more days)'
    """
    if count <= 0:
        return ""
    return f" (and {count} more {noun}{'s' if count > 1 else ''})"


def name_days(days: Sequence[dt.date]) -> str:
    """
    Name days in a message: runs joined, the first few written out, the rest counted.

    Parameters
    ----------
    days : sequence of date
        Ascending.

    Returns
    -------
    str
        Such as "2025-07-03 to 2025-07-05, 2025-08-01".

    Examples
    --------
    >>> from datetime import date
    >>> name_days([date(2025, 7, 3), date(2025, 7, 4), date(2025, 8, 1)])
    '2025-07-03 to 2025-07-04, 2025-08-01'
    """
    runs: list[list[dt.date]] = []
    for day in days:
        if runs and day - runs[-1][1] == dt.timedelta(days=1):
            runs[-1][1] = day
        else:
            runs.append([day, day])
    shown = [str(first) if first == last else f"{first} to {last}" for first, last in runs[:_RUNS_NAMED]]
    others = sum((last - first).days + 1 for first, last in runs[_RUNS_NAMED:])
    return ", ".join(shown) + and_more(others, "day")


def written(value: Any, form: str | int) -> str:
    """
    Put a value as text.

    Parameters
    ----------
    value : object
    form : str or int
        Decimals; a kind of quantity and what `amount` takes beside it, such as "depth" or "flow .2f"; a function of this
        module and what it takes beside the value, such as "litres", "percent 1" or "count day"; or a format as Python's own.

    Examples
    --------
    >>> written(0.256, "percent 1").replace("\\u00a0", " "), written(3, "count day").replace("\\u00a0", " ")
    ('25.6 %', '3 days')
    >>> written(2.5, 1), written(2.5, "g"), written(2.5, "flow g")
    ('2.5', '2.5', '2.5 L/h')
    """
    if isinstance(form, int):
        return number(value, form)
    name, *options = form.split() or [""]
    if name and name in SHOWN:
        return amount(value, name, *options)
    if not callable(make := globals().get(name)):
        return format(value, form)
    text: str = make(value, *(int(option) if option.isdigit() else option for option in options))
    return text


class _Filler(string.Formatter):
    """
    Fills the braces of a text by `written`.

    ``{8:depth}`` is a number that stands there, ``{:depth}`` a unit alone, ``{:volume name}`` what ``[said]`` in units.toml has.
    """

    def vformat(self, format_string: str, args: Any, kwargs: Any) -> str:
        parts = []
        for literal, field, form, conversion in self.parse(format_string):
            parts.append(literal)
            if field is None:
                continue
            if field == "":
                parts.append(_alone(form or ""))
            else:
                value = float(field) if field[0].isdigit() else self.get_field(field, args, kwargs)[0]
                value = value if conversion is None else self.convert_field(value, conversion)
                parts.append(str(written(value, form or "")))
        return "".join(parts)


def filled(text: Any, values: Mapping[str, Any]) -> Any:
    """Fill the braces of a text, or of all texts in a list or table of them, in the units shown."""
    if isinstance(text, str):
        return _Filler().vformat(text, (), values)
    if isinstance(text, Mapping):
        return {name: filled(inner, values) for name, inner in text.items()}
    return [filled(inner, values) for inner in text] if isinstance(text, list) else text


@in_both
def say(text: str, /, **values: Any) -> str:
    """Fill the braces of a text, as `filled` does, which then knows both systems of units."""
    filled_in: str = filled(text, values)
    return filled_in


def problems_from(texts: Mapping[str, Sequence[str]]) -> Callable[..., Problem]:
    """
    Return what makes problems of a table of their words.

    Parameters
    ----------
    texts : mapping
        By code: what was found, what is expected, what to do; the last one or two may be left out.

    Returns
    -------
    callable
        Takes the code (up to its point the problem's own), where, the value found, and values by name.
    """

    def problem(code: str, where: str = "", value: object = None, **values: object) -> Problem:
        found, expected, cure = ([say(text, **values) for text in texts[code]] + ["", ""])[:3]
        return Problem(code.partition(".")[0], where, found, expected, cure, value)

    return problem
