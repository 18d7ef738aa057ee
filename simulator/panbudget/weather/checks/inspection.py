"""
Inspection: the common ground of all checks of a weather table's values.

A value that can't be true is a problem if its day is asked for, and is left out (and counted) if not: old
trouble in a long record must neither block a season nor colour its monthly means.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.physics.air import Floats
from panbudget.weather.sky import Sky
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.dates import and_more
from panbudget.weather.text.raw import RawTable

__all__ = ["Inspection", "Mask"]

Mask = npt.NDArray[np.bool_]


@dataclass(eq=False)
class Inspection:
    """
    A weather table under inspection.

    Parameters
    ----------
    daily : DataFrame
        Standard columns, every day; checks set values that can't be true to NaN.
    asked : ndarray of bool, (days,)
        Days that the caller needs.
    raw : RawTable
        As read: units, headers and conversions.
    sky : Sky
        Ra, Rso and N of the days.
    """

    daily: pd.DataFrame
    asked: Mask
    raw: RawTable
    sky: Sky
    problems: list[Problem] = field(default_factory=list)
    condemned: set[str] = field(default_factory=set)
    notes: list[str] = field(default_factory=list)
    left_out: dict[str, int] = field(default_factory=dict)

    def has(self, *names: str) -> bool:
        """Tell whether all these columns are there and none was condemned as a whole."""
        return all(name in self.daily.columns and name not in self.condemned for name in names)

    def all_of(self, name: str) -> Floats:
        """Return a column's values of all days."""
        return self.daily[name].to_numpy(dtype=float)

    def known(self, name: str) -> Floats:
        """Return a column's values of the asked days that have one."""
        values = self.all_of(name)[self.asked]
        return values[~np.isnan(values)]

    def is_stated(self, name: str) -> bool:
        """Tell whether the user or the file names the column's unit."""
        return name in self.raw.unit_is_stated

    def condemn(self, message: str, *names: str) -> None:
        """Refuse whole columns; later checks pass them over."""
        self.condemned.update(names)
        self.problems.append(Problem.of_text(message, key=names[0]))

    def refuse(self, name: str, wrong: Mask, *, why: str, lowest: bool = False, also: tuple[str, ...] = ()) -> bool:
        """
        Refuse single values.

        Parameters
        ----------
        name : str
            The column.
        wrong : ndarray of bool, (days,)
            Where it can't be true.
        why : str
            What was expected and what to do; follows "rh_max is 120 % on 2025-07-03".
        lowest : bool
            Whether the worst value is the lowest one.
        also : tuple of str
            Other columns that share the blame, and are left out on the same days.

        Returns
        -------
        bool
            Whether a day asked for is among them.
        """
        elsewhere = wrong & ~self.asked
        if elsewhere.any():
            self.left_out[name] = self.left_out.get(name, 0) + int(elsewhere.sum())
        here = wrong & self.asked
        values = np.where(here, self.all_of(name), np.nan)
        # taken out on all days, so that no later check names the same mistake again
        for column in (name, *also):
            self.daily.loc[wrong, column] = np.nan
        if not here.any():
            return False
        place = int(np.nanargmin(values) if lowest else np.nanargmax(values))
        unit = STANDARD[name].shown_unit
        day = pd.DatetimeIndex(self.daily.index)[place].date()
        more = and_more(int(here.sum()) - 1, "day")
        message = f"{name} is {number(float(values[place]))} {unit} on {day}{more}; {why}"
        self.problems.append(Problem.of_text(message, key=name, value=float(values[place])))
        return True

    def worst(self, name: str, *, lowest: bool = False) -> str:
        """Write a column's largest (or lowest) value on the days asked for, and its day."""
        values = np.where(self.asked, self.all_of(name), np.nan)
        place = int(np.nanargmin(values) if lowest else np.nanargmax(values))
        day = pd.DatetimeIndex(self.daily.index)[place].date()
        return f"{number(float(values[place]))} on {day}"

    def name_unit(self, looks_like: str, unit: str, *names: str) -> str:
        """Say what unit columns look like and how to name it."""
        if self.is_stated(names[0]):
            stated = self.raw.units[names[0]]
            return f'it looks like {looks_like}, though its unit is stated as "{stated}": correct the unit'
        lines = " and ".join(
            f'{name} = {{ column = "{self.raw.headers.get(name, name)}", unit = "{unit}" }}' for name in names
        )
        return f"it looks like {looks_like}: name its unit under [weather.columns], {lines}"

    def confirm(self, name: str) -> str:
        """Say how to confirm that a column is in its standard unit after all."""
        column = self.raw.headers.get(name, name)
        return f'{name} = {{ column = "{column}", unit = "{STANDARD[name].shown_unit}" }} under [weather.columns]'
