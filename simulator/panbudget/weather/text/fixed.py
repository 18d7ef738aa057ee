"""
Fixed: what readers of formats whose columns are laid down once and for all have in common.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from panbudget.errors import Problem, WeatherError
from panbudget.physics.air import Floats
from panbudget.weather.text.dates import and_more
from panbudget.weather.text.raw import ColumnChoice
from panbudget.weather.text.source import Source

__all__ = ["moments", "refuse_columns", "split_cells"]

_YEARS = (1800, 2100)


def refuse_columns(columns: Mapping[str, ColumnChoice], source: Source, name: str) -> None:
    """
    Refuse a choice of columns where the format says what its columns are.

    Parameters
    ----------
    columns : mapping
        The user's choice.
    source : Source
        The file.
    name : str
        The reader's name.

    Raises
    ------
    WeatherError
        There is a choice.
    """
    if columns:
        named = ", ".join(f"weather.columns.{key}" for key in columns)
        message = (
            f'{named}: the format "{name}" says itself what its columns are; take [weather.columns] out, or name '
            "another format"
        )
        raise WeatherError(Problem.of_text(message, key=f"weather.columns.{next(iter(columns))}"), file=source.shown_as)


def split_cells(line: str, separator: str = ",") -> list[str]:
    """
    Split one line into its cells.

    Parameters
    ----------
    line : str
        Cells may stand in quotation marks.
    separator : str
        One character.

    Returns
    -------
    list of str
        Stripped; none of a line that can't be split.
    """
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])]
    except csv.Error:
        return []


def moments(
    year: Floats, month: Floats, day: Floats, hour: Floats, lines: npt.NDArray[np.int64], *, hours: range = range(24)
) -> tuple[npt.NDArray[np.datetime64], Problem | None]:
    """
    Join year, month, day and hour.

    Parameters
    ----------
    year, month, day, hour : ndarray, (rows,)
        As the file has them.
    lines : ndarray of int, (rows,)
        Where they stand.
    hours : range
        What an hour may be.

    Returns
    -------
    (ndarray of datetime64, Problem or None)
        And what is wrong with the first that is no hour of the calendar.
    """
    parts = np.column_stack([year, month, day, hour])
    wrong = ~((parts == np.round(parts)).all(axis=1))
    wrong |= (year < _YEARS[0]) | (year > _YEARS[1]) | (month < 1) | (month > 12) | (day < 1)
    wrong |= (day > 31) | (hour < hours.start) | (hour >= hours.stop)
    whole = np.where(wrong[:, None], np.array([2000.0, 1.0, 1.0, 0.0]), parts).astype(np.int64)
    months = (whole[:, 0] - 1970) * 12 + whole[:, 1] - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]")
    next_first = (months + 1).astype("datetime64[M]").astype("datetime64[D]")
    wrong |= whole[:, 2] > (next_first - first).astype(np.int64)
    stamps = (first + (whole[:, 2] - 1)).astype("datetime64[h]") + whole[:, 3]
    if not wrong.any():
        return stamps.astype("datetime64[ns]"), None
    place = int(np.argmax(wrong))
    shown = " ".join(f"{number:g}" for number in parts[place])
    message = (
        f"line {lines[place]}: {shown}{and_more(int(wrong.sum()) - 1, 'row')} is no hour of the calendar; year, "
        f"month, day and an hour of {hours.start} to {hours.stop - 1} are expected: correct it, or download the file "
        "again"
    )
    return stamps.astype("datetime64[ns]"), Problem.of_text(message, key="date", value=shown)
