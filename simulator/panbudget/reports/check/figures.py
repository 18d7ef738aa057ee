"""
Weather figures: what a record holds, drawn for `check`: the season day by day, and all its years.

Labels, colours and hatches stand in `style`, as for `figures`.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from panbudget.reports.canvas import date_axis, day_numbers, keys, legend_above, panels, runs
from panbudget.reports.season.figures import draw_rain_and_eto
from panbudget.reports.style import STYLES, applied, plain
from panbudget.weather import Weather
from panbudget.weather.flags import MISSING, is_borrowed, is_filled

#: how a value came about, as the pictures tell it apart: names of styles
KINDS = ("measured", "filled", "borrowed", "missing")


@applied()
def weather_figure(weather: Weather, days: pd.DataFrame, *, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw what a weather record holds: day by column how values came about, temperatures, and ETo and rain.

    Parameters
    ----------
    weather : Weather
    days : DataFrame
        The days to draw, as `Season.days`: index "date", reference evapotranspiration as ``eto_mm``. [mm/day]
    axes : sequence of Axes, optional
        Three; a new figure if left out.

    Returns
    -------
    list of Axes
        Coverage, temperatures, rain and ETo.
    """
    at, daily = day_numbers(days.index), weather.daily.reindex(days.index)
    flags = weather.flags.reindex(days.index).fillna(MISSING)
    heights = [0.35 + 0.2 * len(flags.columns), 1.4, 1.4]
    ratios = {"height_ratios": heights}
    axes = panels(3, height=1.25 * sum(heights) / 3.0, more=0.6, axes=axes, sharex=True, gridspec_kw=ratios)
    coverage, temperatures, water = axes
    _draw_coverage(coverage, flags)
    for name in ("tmax", "tmin"):
        mark = "." if len(days) == 1 else ""
        temperatures.plot(at, daily[name].to_numpy(float), **STYLES[name].lined(marker=mark))
    temperatures.set(ylabel="°C", title="Temperatures of the day")
    legend_above(temperatures)
    draw_rain_and_eto(water, at, daily["rain"], days["eto_mm"])
    for ax in axes:
        date_axis(ax, at)
        ax.grid(axis="x")
    return axes


@applied()
def years_figure(weather: Weather, *, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw what each year of a record holds: a column a year, a row a quantity, each cell filled to the share of its days.

    Parameters
    ----------
    weather : Weather
    axes : sequence of Axes, optional
        One; a new figure if left out.

    Returns
    -------
    list of Axes
        One. Days of a year before the record begins or after it ends count as missing.
    """
    recorded = pd.DatetimeIndex(weather.flags.index).year
    days = pd.date_range(f"{recorded.min()}-01-01", f"{recorded.max()}-12-31", name="date")
    kinds = weather.flags.reindex(days).fillna(MISSING).map(_kind)
    years = np.unique(days.year)
    (ax,) = panels(1, height=0.32 * len(kinds.columns), more=0.9, axes=axes)
    for row, name in enumerate(kinds.columns):
        floor = np.full(len(years), row + 0.4)
        for kind in KINDS:
            height = 0.8 * (kinds[name] == kind).groupby(days.year).mean().to_numpy(float)
            if (shown := height > 0.0).any():
                ax.bar(years[shown], -height[shown], 0.94, floor[shown], **_area(kind))
            floor = floor - height
    _name_rows(ax, kinds.columns)
    ax.set_xlim(years[0] - 0.5, years[-1] + 0.5)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=12))
    ax.set_title("Share of each year's days")
    return [ax]


def _area(kind: str) -> dict[str, Any]:
    return STYLES[kind].filled(label="", linewidth=0.3)


def _kind(flag: Any) -> str:
    if flag == MISSING:
        return "missing"
    if is_borrowed(str(flag)):
        return "borrowed"
    return "filled" if is_filled(str(flag)) else "measured"


def _draw_coverage(ax: Axes, flags: pd.DataFrame) -> None:
    at, kinds = day_numbers(flags.index), flags.map(_kind)
    for row, name in enumerate(kinds.columns):
        for kind in KINDS:
            mask = (kinds[name] == kind).to_numpy(bool)
            spans = [(at[first] - 0.5, float(last - first + 1)) for first, last in runs(mask)]
            if spans:
                ax.broken_barh(spans, (row - 0.4, 0.8), **_area(kind))
    _name_rows(ax, kinds.columns)
    ax.set_title("How each day's value came about")


def _name_rows(ax: Axes, names: Iterable[str]) -> None:
    """Name a row a quantity, from the top, and how values came about above it."""
    texts = [plain(str(name)).replace("_", " ") for name in names]
    ax.set_yticks(range(len(texts)), texts)
    ax.set_ylim(len(texts) - 0.5, -0.5)
    legend_above(ax, handles=[*keys(areas=KINDS)])
