"""
Weather figures: what a record holds, drawn for `check`: the season day by day, and all its years.

Labels, colours and hatches stand in `style`, as for `figures`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from panbudget.reports.canvas import date_axis, day_numbers, enough, legend_above, runs
from panbudget.reports.style import STYLES, applied, plain
from panbudget.weather.flags import MISSING, is_borrowed, is_filled

if TYPE_CHECKING:
    from panbudget.weather import Weather

__all__ = ["KINDS", "weather_figure", "years_figure"]

_WIDTH = 9.0  # inches, as in `figures`

#: how a value came about, as the pictures tell it apart: names of styles
KINDS = ("measured", "filled", "borrowed", "missing")


def weather_figure(
    weather: Weather,
    start: dt.date | pd.Timestamp,
    end: dt.date | pd.Timestamp,
    *,
    eto: pd.Series[Any] | None = None,
    axes: Sequence[Axes] | None = None,
) -> list[Axes]:
    """
    Draw what a weather record holds: day by column how values came about, temperatures, and ETo and rain.

    Parameters
    ----------
    weather : Weather
    start, end : date
        First and last day to draw.
    eto : Series, optional
        Reference evapotranspiration by day. [mm/day]
    axes : sequence of Axes, optional
        Three; a new figure if left out.

    Returns
    -------
    list of Axes
        Coverage, temperatures, rain and ETo.
    """
    days = pd.date_range(start, end, freq="D", name="date")
    flags = weather.flags.reindex(days).fillna(MISSING)
    at = day_numbers(days)
    with applied():
        if axes is None:
            heights = [0.35 + 0.2 * len(flags.columns), 1.4, 1.4]
            figure = Figure(figsize=(_WIDTH, 1.25 * sum(heights) + 0.6), layout="constrained")
            axes = list(figure.subplots(3, 1, sharex=True, gridspec_kw={"height_ratios": heights}))
        axes = enough(axes, 3)
        _draw_coverage(axes[0], flags)
        daily = weather.daily.reindex(days)
        mark = {"marker": "." if len(days) == 1 else ""}
        for name in ("tmax", "tmin"):
            axes[1].plot(at, daily[name].to_numpy(float), **STYLES[name].lined(**mark))
        axes[1].set_ylabel("°C")
        axes[1].set_title("Temperatures of the day")
        legend_above(axes[1])
        axes[2].bar(at, daily["rain"].to_numpy(float), width=0.85, **STYLES["rain"].filled(linewidth=0.3))
        if eto is not None:
            axes[2].plot(at, eto.reindex(days).to_numpy(float), **STYLES["eto"].lined(**mark))
        axes[2].set_ylabel("mm/day")
        axes[2].set_title("Rain" if eto is None else "Rain and reference evapotranspiration")
        legend_above(axes[2])
        for ax in axes:
            date_axis(ax, at)
            ax.grid(axis="x")
    return axes


def years_figure(weather: Weather, ax: Axes | None = None) -> list[Axes]:
    """
    Draw what each year of a record holds: a column a year, a row a quantity, each cell filled to the share of its days.

    Parameters
    ----------
    weather : Weather
    ax : Axes, optional
        A new figure if left out.

    Returns
    -------
    list of Axes
        One. Days of a year before the record begins or after it ends count as missing.
    """
    flags = weather.flags
    years = np.unique(pd.DatetimeIndex(flags.index).year)
    days = pd.date_range(dt.date(int(years[0]), 1, 1), dt.date(int(years[-1]), 12, 31), name="date")
    flags = flags.reindex(days).fillna(MISSING)
    names = list(flags.columns)
    with applied():
        if ax is None:
            figure = Figure(figsize=(_WIDTH, 0.9 + 0.32 * len(names)), layout="constrained")
            ax = figure.subplots()
        for row, name in enumerate(names):
            kinds = _kinds(flags[name])
            floor = np.full(len(years), row + 0.4)
            for kind in KINDS:
                share = pd.Series(kinds[kind], index=days).groupby(days.year).mean().to_numpy(float)
                height = 0.8 * share
                shown = height > 0.0
                if shown.any():
                    ax.bar(
                        years[shown],
                        -height[shown],
                        0.94,
                        floor[shown],
                        **STYLES[kind].filled(label="", linewidth=0.3),
                    )
                floor = floor - height
        ax.set_yticks(range(len(names)), [plain(str(name)).replace("_", " ") for name in names])
        ax.set_ylim(len(names) - 0.5, -0.5)
        ax.set_xlim(years[0] - 0.5, years[-1] + 0.5)
        ax.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=12))
        ax.set_title("Share of each year's days")
        _legend(ax, KINDS)
    return [ax]


def _kinds(flags: pd.Series[Any]) -> dict[str, npt.NDArray[np.bool_]]:
    """Tell for each day by what kind of origin its value has."""
    known = {str(flag): _kind(str(flag)) for flag in flags.unique()}
    kind = flags.astype(str).map(known).to_numpy(object)
    return {name: np.asarray(kind == name, dtype=bool) for name in KINDS}


def _kind(flag: str) -> str:
    if flag == MISSING:
        return "missing"
    if is_borrowed(flag):
        return "borrowed"
    return "filled" if is_filled(flag) else "measured"


def _draw_coverage(ax: Axes, flags: pd.DataFrame) -> None:
    names, at = list(flags.columns), day_numbers(flags.index)
    for row, name in enumerate(names):
        for kind, mask in _kinds(flags[name]).items():
            spans = [(at[first] - 0.5, float(last - first + 1)) for first, last in runs(mask)]
            if spans:
                ax.broken_barh(spans, (row - 0.4, 0.8), **STYLES[kind].filled(label="", linewidth=0.3))
    ax.set_yticks(range(len(names)), [plain(str(name)).replace("_", " ") for name in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_title("How each day's value came about")
    _legend(ax, KINDS)


def _legend(ax: Axes, kinds: Sequence[str]) -> None:
    legend_above(
        ax,
        handles=[Patch(**STYLES[kind].filled(linewidth=0.3)) for kind in kinds],
        labels=[STYLES[kind].label for kind in kinds],
    )
