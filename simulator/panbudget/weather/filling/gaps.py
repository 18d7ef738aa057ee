"""
Gaps: how much of what is missing may be filled in, over the days asked for; the rest is refused.

Temperatures are never invented, rain only when the user says that no figure means no rain. A column that the file lacks
altogether is estimated for all days (see `estimates`); one with holes is filled within `GapLimits`.
"""

from dataclasses import dataclass

import numpy as np

from panbudget.errors import Problem
from panbudget.numeric import longest
from panbudget.weather.calendar import days_where
from panbudget.weather.checks.inspection import CheckedFile
from panbudget.weather.filling.estimates import known_days
from panbudget.weather.filling.fallback import Borrowed
from panbudget.weather.messages import counted, note, problem
from panbudget.weather.text.mistakes import also_has
from panbudget.weather.text.mistakes import problem as no_column
from panbudget.words import name_days


@dataclass(frozen=True)
class GapLimits:
    """
    How much of a column may be filled in, over the days asked for.

    Parameters
    ----------
    share : float
        Largest share of the days, 0 to 1. [-]
    run : int
        Longest run of days. [d]

    Raises
    ------
    ValueError
        A share outside 0 to 1, or a negative run.
    """

    share: float = 0.10
    run: int = 5

    def __post_init__(self) -> None:
        if not 0.0 <= self.share <= 1.0:
            raise ValueError(f"gap share is {self.share}; 0 to 1 is expected")
        if self.run < 0:
            raise ValueError(f"gap run is {self.run}; 0 or more days are expected")


# days of another year that a clock that was reset may have, and days that tell an exchange of day and month from a gap [d]
_RESET, _EXCHANGED = 60, 3
# days before those asked for in which a figure of rain shows that it was recorded: half a year, since a summer may be dry [d]
_WITHOUT_RAIN = 183


class Gaps:
    """
    What is missing of a file, on the days asked for, once fallbacks had their turn.

    Parameters
    ----------
    read : CheckedFile
        Its days before any value was taken out count: a value refused by its plausibility isn't missing too.
    borrowed : Borrowed
        What fallbacks lent.
    """

    def __init__(self, read: CheckedFile, borrowed: Borrowed) -> None:
        self._read, self._borrowed = read, borrowed
        self._daily = borrowed.laid_over(read.arranged.daily)
        self._known = known = known_days(self._daily)
        in_file = read.arranged.in_file | (known["tmin"] & known["tmax"])
        self._rows = read.arranged.asked & in_file
        self._absent = days_where(read.days, read.arranged.asked & ~in_file)
        self._missing = {name: self._rows & ~days for name, days in known.items()}
        self._helped = "/helped" if borrowed.files else ""
        self._cure = note(f"figures{self._helped}")

    def rows(self) -> list[Problem]:
        """Refuse days that have no row."""
        if not self._absent:
            return []
        values = {
            "count": counted(len(self._absent), "day"),
            "days": name_days(self._absent),
            "year": self._otherwise_dated(),
        }
        return [problem(f"no-row{self._helped}", "date", str(self._absent[0]), **values)]

    def _otherwise_dated(self) -> str:
        """Say where these days may stand: in another year, mistyped or of a clock that was reset, or with day and month exchanged."""
        by_year: dict[int, list[tuple[int, int]]] = {}
        for day in days_where(self._read.days, self._read.arranged.in_file):
            by_year.setdefault(day.year, []).append((day.month, day.day))
        absent = [(day.month, day.day) for day in self._absent]
        if mistyped := next((year for year, days in by_year.items() if days == absent), 0):
            return note("mistyped-year", year=mistyped)
        first, second = [*sorted(by_year), 0, 0][:2]
        if second > first + 1 and len(by_year[first]) <= _RESET:
            return note("clock-reset", year=first, count=counted(len(by_year[first]), "day"))
        # the sixth of June stays where it is
        of_year = set(by_year.get(self._absent[0].year, ()))
        fixed_days = {(month, month) for month, _ in absent} <= of_year
        exchanged = fixed_days and len(absent) >= _EXCHANGED and all((day, month) in of_year for month, day in absent)
        return note("days-exchanged") if exchanged else ""

    def values(self, limits: GapLimits, *, missing_rain: str) -> list[Problem]:
        """
        Refuse gaps that may not be filled in.

        Parameters
        ----------
        limits : GapLimits
            They hold for a column that the file has, even where a fallback lends some of it, unless it is refused already.
        missing_rain : str
            "error" or "zero".

        Returns
        -------
        list of Problem
            One a column; days without a row are not counted again.
        """
        problems = self._temperatures()
        if missing_rain == "error" and self._missing["rain"].any():
            problems.append(self._rain())
        problems += self._no_record_of_rain() if missing_rain == "zero" else []
        daily = self._read.arranged.daily
        measured = self._known if self._daily is daily else known_days(daily)
        for name in ("humidity", "wind", "radiation"):
            # a column that is empty on all days asked for, as one that ended decades ago, is absent and no gap
            if measured[name][self._read.arranged.asked].any() and name not in self._read.inspected.condemned:
                problems += self._over_limit(name, limits)
        return problems

    def _empty(self, name: str) -> str:
        """Say on which days a column is empty, and on which of them the file does have a figure, and why it is left out."""
        gap = self._missing[name]
        days = days_where(self._read.days, gap)
        text = "empty on every day" if (gap == self._rows).all() else f"empty on {name_days(days)}"
        given = (self._read.file.raw.left_out | self._borrowed.left_out).get(name)
        if given and (out := [day for day in days if day in given.days]):
            on = "there" if len(out) == len(days) else f"on {name_days(out)}"
            text += f" (left out {on} for {given.why})"
        return text

    def _temperatures(self) -> list[Problem]:
        names, verb = [name for name in ("tmin", "tmax") if self._missing[name].any()], "is"
        if len(names) == 2 and (self._missing["tmin"] == self._missing["tmax"]).all():
            names, verb = ["tmin"], "and tmax are"
        return [problem("no-temperature", name, verb=verb, empty=self._empty(name), cure=self._cure) for name in names]

    def _rain(self) -> Problem:
        why = self._read.file.raw.absent.get("rain")
        borrow = note("borrow-rain") if (self._missing["rain"] & self._borrowed.rain_at_hand).any() else ""
        values = {"borrow": borrow, "table": self._read.file.source.table}
        if not why and "rain" not in self._daily.columns:
            return no_column("no-rain", others=also_has(self._read.file.raw.unused), **values)
        return problem("no-rain/record" if why else "no-rain", "rain", empty=self._empty("rain"), why=why, **values)

    def _no_record_of_rain(self) -> list[Problem]:
        """Refuse to take for dry what lies outside the record of rain, as a gauge's years before it was set up."""
        asked, known = np.flatnonzero(self._read.arranged.asked), self._known["rain"]
        since = max(0, asked[0] - _WITHOUT_RAIN)
        if known[since : asked[-1] + 1].any() or not known.any():
            return []
        first, last = (self._read.days[row].date() for row in (since, asked[-1]))
        return [problem("no-rain/unrecorded", "rain", first=first, last=last)]

    def _over_limit(self, name: str, limits: GapLimits) -> list[Problem]:
        gap = self._missing[name]
        count, total = int(gap.sum()), int(self._read.arranged.asked.sum())
        _, run = longest(gap)
        if run <= limits.run and count <= limits.share * total:
            return []
        also = {"humidity": " (every column of it)", "radiation": " (and sunshine)"}.get(name, "")
        values = {"also": also, "days": name_days(days_where(self._read.days, gap)), "cure": self._cure}
        if run > limits.run:
            return [problem("gap-too-long/run", name, count, longest=run, run=limits.run, **values)]
        share, most = 100 * limits.share, int(limits.share * total)
        return [problem("gap-too-long/share", name, count, count=count, total=total, share=share, most=most, **values)]
