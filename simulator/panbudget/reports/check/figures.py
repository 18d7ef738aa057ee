"""
Weather figures: what a record holds, drawn for `check`: the season day by day, all its years, and the year's march.

Labels, colours and hatches stand in `style`, as for `figures`.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from panbudget.numeric import runs
from panbudget.reports import canvas
from panbudget.reports.canvas import day_numbers, label, legend_above, panels
from panbudget.reports.season.figures import draw_rain_and_eto
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.check import Checked
from panbudget.studies.today.fan import BAND
from panbudget.weather import Weather
from panbudget.weather.flags import MISSING, is_borrowed, is_filled

#: how a value came about, as the pictures tell it apart: names of styles
KINDS = ("measured", "filled", "borrowed", "missing")
_MARCH = {"eto_mm": "ETo of each week", "rain_mm": "Rain of each week"}


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
    flags = weather.flags.astype(object).reindex(days.index).fillna(MISSING)
    heights = [0.35 + 0.2 * len(flags.columns), 1.4, 1.4]
    ratios = {"height_ratios": heights}
    axes = panels(3, height=1.25 * sum(heights) / 3.0, more=0.6, axes=axes, sharex=True, gridspec_kw=ratios)
    coverage, temperatures, water = axes
    _draw_coverage(coverage, flags)
    for name in ("tmax", "tmin"):
        mark = "." if len(days) == 1 else ""
        temperatures.plot(at, daily[name].to_numpy(float), **STYLES[name].lined(marker=mark))
    label(temperatures.yaxis, "{}", "temperature")
    temperatures.set_title("Temperatures of the day")
    legend_above(temperatures)
    draw_rain_and_eto(water, at, daily["rain"], days["eto_mm"])
    for ax in axes:
        canvas.date_axis(ax, at)
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
    kinds = weather.flags.astype(object).reindex(days).fillna(MISSING).map(_kind)
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


@applied()
def march_figure(checked: Checked, *, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw the march of the year, week by week: the record's mean, how far its years lie apart, and the season's own year.

    Parameters
    ----------
    checked : Checked
    axes : sequence of Axes, optional
        Two; a new figure if left out.

    Returns
    -------
    list of Axes
        ETo, rain.

    Notes
    -----
    The band's ends are at Weibull's plotting positions, as those of `today`: fewer than nine years lie all within it.
    """
    axes = panels(2, height=1.5, more=0.7, axes=axes, sharex=True)
    band = march_band(checked)
    for ax, (column, title) in zip(axes, _MARCH.items(), strict=True):
        weeks = checked.weeks.reset_index().pivot_table(column, "week", "year", dropna=False)
        at, ends = day_numbers(weeks.index) + 3.0, np.full((2, len(weeks)), np.nan)
        if band != "none":
            several = weeks.count(axis=1).to_numpy() > 1
            shares = [BAND["low"], BAND["high"]]
            ends[:, several] = np.nanquantile(weeks[several], shares, axis=1, method="weibull")
            ax.fill_between(at, *ends, **STYLES[f"march_{band}"].filled())
        if len(weeks.columns) > 1:
            ax.plot(at, weeks.mean(axis=1), **STYLES["march_mean"].lined())
        # a week between two that the record lacks is a point
        ax.plot(at, weeks[checked.season.days.index[0].year], **STYLES["march_own"].lined(marker=".", markersize=3.0))
        label(ax.yaxis, "{}", "depth-a-week")
        ax.set(title=title, xlim=(at[0] - 3.0, at[-1] + 4.0))
        ax.grid()
    canvas.day_ticks(axes[-1], pd.date_range(weeks.index[0], periods=12, freq="MS"))
    axes[0].set_ylim(bottom=min(0.0, axes[0].get_ylim()[0]))
    axes[1].set_ylim(bottom=0.0)
    canvas.legend_over(axes, 3, axes[0].get_legend_handles_labels()[0])
    return axes


def march_band(checked: Checked) -> str:
    """Name what the band of the year's march holds: "many", "few" or, where no week is in the record twice, "none"."""
    years = int(checked.weeks["eto_mm"].groupby("week").count().max())
    return "none" if years < 2 else "few" if (years + 1) * BAND["low"] < 1.0 else "many"


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
            spans = [(at[first] - 0.5, float(after - first)) for first, after in runs(mask)]
            if spans:
                ax.broken_barh(spans, (row - 0.4, 0.8), **_area(kind))
    _name_rows(ax, kinds.columns)
    ax.set_title("How each day's value came about")


def _name_rows(ax: Axes, names: Iterable[str]) -> None:
    """Name a row a quantity, from the top, and how values came about above it."""
    texts = [plain(str(name)).replace("_", " ") for name in names]
    ax.set_yticks(range(len(texts)), texts)
    ax.set_ylim(len(texts) - 0.5, -0.5)
    legend_above(ax, handles=[*canvas.keys(areas=KINDS)])
