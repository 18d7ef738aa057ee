"""
Figures: a season drawn. Each function takes a season, and axes if the caller has some, and returns the axes.

What labels, colours and hatches mean stands in `style`; saving, in `canvas`. No global state of matplotlib is
touched: figures are plain objects, never pyplot's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from panbudget.numeric import Floats
from panbudget.reports.canvas import date_axis, day_numbers, enough, legend_above, runs, save, svg_text
from panbudget.reports.style import CONTROLLER_STYLES, STYLES, applied, plain
from panbudget.season.weeks import weeks_table
from panbudget.words import days_said, kilograms, mm

if TYPE_CHECKING:
    from panbudget.season.result import Season

__all__ = [
    "SEASON_FIGURES",
    "hottest_days",
    "level_points",
    "pan_level_figure",
    "save",
    "season_figure",
    "supplied_against_needed_figure",
    "svg_text",
    "weeks_figure",
]

_WIDTH = 9.0  # inches; an A4 page's text is narrower, and the vector picture shrinks to it
_HOT_DAYS = 10
_FAR_RIM = 2.5  # times the highest level of the days drawn
_COLUMNS = 3


def season_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw the season: rain and ETo, openings a day, and each bed's root zone against RAW and TAW.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        Two, and one for each bed; a new figure if left out.

    Returns
    -------
    list of Axes
        Weather, openings, then the beds in the scenario's order.
    """
    with applied():
        if axes is None:
            heights = [1.25, 1.0, *([1.2] * len(season.beds))]
            figure = Figure(figsize=(_WIDTH, 1.35 * sum(heights) + 0.5), layout="constrained")
            axes = list(
                figure.subplots(len(heights), 1, sharex=True, gridspec_kw={"height_ratios": heights}, squeeze=False)[
                    :, 0
                ]
            )
        axes = enough(axes, 2 + len(season.beds))
        _draw_weather(axes[0], season.days)
        _draw_openings(axes[1], season)
        for index, (key, table) in enumerate(season.beds.items()):
            _draw_bed(axes[2 + index], key, table, legend=index == 0)
        for ax in axes:
            date_axis(ax, day_numbers(season.days.index))
            ax.grid(axis="x")
    return axes


def _draw_weather(ax: Axes, days: pd.DataFrame) -> None:
    at = day_numbers(days.index)
    ax.bar(at, days["rain_mm"].to_numpy(), width=0.85, **STYLES["rain"].filled(linewidth=0.3))
    ax.plot(at, days["eto_mm"].to_numpy(), **STYLES["eto"].lined(marker="." if len(at) == 1 else ""))
    ax.set_ylabel("mm/day")
    ax.set_title("Rain and reference evapotranspiration")
    legend_above(ax)


def _draw_openings(ax: Axes, season: Season) -> None:
    for index, (name, table) in enumerate(season.controllers.items()):
        colour, line = CONTROLLER_STYLES[index % len(CONTROLLER_STYLES)]
        # edges at midnight, so that a step covers its day
        at = day_numbers(table.index)
        ax.stairs(
            table["openings"].to_numpy(),
            np.append(at - 0.5, at[-1] + 0.5),
            color=colour,
            linestyle=line,
            linewidth=1.3,
            label=plain(name),
            baseline=None,
        )
    ax.set_ylim(bottom=0.0)
    ax.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=4))
    ax.set_ylabel("per day")
    ax.set_title("Openings")
    legend_above(ax, columns=5)


def _draw_bed(ax: Axes, key: str, table: pd.DataFrame, *, legend: bool) -> None:
    at = day_numbers(table.index)
    growing = table["growing"].to_numpy(bool)
    for name, column in (("stress", "driest_ks"), ("stress_mean", "ks")):
        short = growing & (table[column].to_numpy() < 1.0)
        for first, last in runs(short):
            ax.axvspan(at[first] - 0.5, at[last] + 0.5, **STYLES[name].filled(label=""))
    for name, column in (
        ("taw", "taw_mm"),
        ("raw", "raw_mm"),
        ("driest", "driest_depletion_mm"),
        ("mean", "depletion_mm"),
    ):
        ax.plot(at, table[column].to_numpy(), **STYLES[name].lined(marker="." if len(at) == 1 else ""))
    deepest = max(float(table[c].max()) for c in ("taw_mm", "driest_depletion_mm", "depletion_mm"))
    ax.set_ylim(max(deepest, 1.0) * 1.08, 0.0)  # downward: an empty root zone is at the bottom
    ax.set_ylabel(STYLES["depletion"].axis)
    ax.set_title(f"Root zone of {plain(key)}")
    if legend:
        handles, labels = ax.get_legend_handles_labels()
        for name in ("stress", "stress_mean"):
            handles.append(Patch(**STYLES[name].filled()))
            labels.append(STYLES[name].label)
        legend_above(ax, columns=3, handles=handles, labels=labels)


def hottest_days(days: pd.DataFrame, length: int = _HOT_DAYS) -> slice:
    """
    Find the hottest run of consecutive days.

    Parameters
    ----------
    days : DataFrame
        With ``tmax_c``, one row a day.
    length : int
        How many days; fewer if the season is shorter.

    Returns
    -------
    slice
        Rows of the run with the highest mean Tmax, the first of equals.
    """
    length = min(length, len(days))
    means = np.convolve(days["tmax_c"].to_numpy(float), np.full(length, 1.0 / length), mode="valid")
    # sums of equal days differ in the last bit, which must not choose the run
    first = int(np.argmax(np.round(means, 9)))
    return slice(first, first + length)


def pan_level_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw each pan's level through the ten hottest days, with the levels of trip, reset and rim.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        One for each controller; a new figure if left out.

    Returns
    -------
    list of Axes
        In the scenario's order; kg on the left, the same in mm of water on the right.
    """
    with applied():
        count = len(season.controllers)
        if axes is None:
            figure = Figure(figsize=(_WIDTH, 2.6 * count + 0.5), layout="constrained")
            axes = list(figure.subplots(count, 1, squeeze=False)[:, 0])
        axes = enough(axes, count)
        window = hottest_days(season.days)
        for ax, name in zip(axes, season.controllers, strict=True):
            _draw_pan(ax, season, name, window, legend=ax is axes[0])
    return axes


def _draw_pan(ax: Axes, season: Season, name: str, window: slice, *, legend: bool) -> None:
    described = season.scenario.controller[name]
    swing, area = described.valve.swing_kg, described.pan.area
    rim = swing + described.pan.freeboard * area
    days = day_numbers(season.days.index)
    begin, end = window.start * 24.0, window.stop * 24.0

    def moment(hour: float) -> float:
        return float(days[0]) + hour / 24.0

    openings = season.openings[season.openings["controller"] == name]
    through = openings["end_h"].fillna(24.0 * len(season.days))
    seen = (openings["start_h"] < end) & (through > begin)
    for start, stop in zip(openings["start_h"][seen], through[seen], strict=True):
        ax.axvspan(
            moment(max(start, begin)),
            moment(min(stop, end)),
            **STYLES["open"].filled(label="", edgecolor=STYLES["open"].colour, linewidth=0.6),
        )
    hour, level = level_points(season.hourly_level[name], openings[seen], begin, end, swing)
    ax.plot([moment(h) for h in hour], level, **STYLES["level"].lined())

    low, high = min(0.0, float(np.min(level))), max(swing, float(np.max(level)))
    rim_is_far = rim > _FAR_RIM * high  # then it is named and not drawn, or the level would be a ripple at the bottom
    high = high if rim_is_far else max(high, rim)
    room = 0.06 * max(high - low, 1e-6)
    ax.set_ylim(low - room, high + room)
    width = moment(end) - moment(begin)
    ax.set_xlim(moment(begin), moment(end) + 0.14 * width)  # the right margin is the lines' labels'
    lines = {"trip": 0.0, "reset": swing, "rim": rim}
    texts = {key: STYLES[key].label for key in lines}
    if rim_is_far:
        del lines["rim"]
        ax.annotate(
            f"rim: spills at {kilograms(rim)}",
            (0.995, 0.93),
            xycoords="axes fraction",
            ha="right",
            va="top",
            fontsize=8.0,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )
        ax.set_ylim(low - room, high + 3.5 * room)
    elif rim - swing < 1.6 * room:  # their labels would lie on each other
        ax.axhline(swing, **STYLES["reset"].lined(label="reset"))
        del lines["reset"]
        texts["rim"] = "rim, just above reset"
    if "reset" in lines and swing < 1.6 * room:  # nor these, under a pan that sank far below the trip
        ax.axhline(swing, **STYLES["reset"].lined(label="reset"))
        del lines["reset"]
        texts["trip"] = "trip, just below reset"
    for key, value in lines.items():
        ax.axhline(value, **STYLES[key].lined(label=key))
        ax.text(
            moment(end) + 0.008 * width,
            value,
            texts[key],
            va="center",
            ha="left",
            fontsize=8.0,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )
    ax.set_ylabel(f"level [{STYLES['level'].unit}]")

    def depth(kg: Floats) -> Floats:
        return kg / area

    def weight(depth: Floats) -> Floats:
        return depth * area

    functions: Any = (depth, weight)  # matplotlib's own types ask for more than it gives
    right = ax.secondary_yaxis("right", functions=functions)
    right.set_ylabel("level [mm above trip]")
    ax.spines["right"].set_visible(True)
    shown = pd.DatetimeIndex(season.days.index)[window]
    ax.set_xticks(days[window], [f"{day.day} {day:%b}" for day in shown])
    ax.grid(axis="x")
    first, last = shown[0], shown[-1]
    ax.set_title(f"Pan of {plain(name)}, {days_said(first, last)}, the hottest days in a row (solar time)")
    if legend:
        handles = [*ax.get_legend_handles_labels()[0][:1], Patch(**STYLES["open"].filled())]
        legend_above(ax, handles=handles, labels=[STYLES["level"].label, STYLES["open"].label])


def level_points(
    hourly: Floats, openings: pd.DataFrame, begin: float, end: float, swing: float
) -> tuple[list[float], list[float]]:
    """
    Return a pan's level at the hours' ends, and at the exact moments between them: trips and resets.

    Parameters
    ----------
    hourly : ndarray (days·24,)
        At the end of each hour. [kg above trip]
    openings : DataFrame
        Of this pan's valve, in these hours.
    begin, end : float
        First and last hour. [h]
    swing : float
        [kg]

    Returns
    -------
    (list, list)
        Hours, and levels. [h, kg]
    """
    points = [(hour + 1.0, float(hourly[hour])) for hour in range(int(begin), int(end))]
    if begin > 0.0:
        points.append((begin, float(hourly[int(begin) - 1])))
    for start, stop, cause in zip(openings["start_h"], openings["end_h"], openings["cause"], strict=True):
        if cause == "trip" and begin <= start <= end:
            points.append((float(start), 0.0))
        if begin <= stop <= end:  # false for one still open, whose end is not a number
            points.append((float(stop), swing))
    points.sort(key=lambda point: point[0])
    return [hour for hour, _ in points], [level for _, level in points]


def supplied_against_needed_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw what each bed got beside what it needed, added up day by day; the same axes for all.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        One for each bed; a new figure if left out.

    Returns
    -------
    list of Axes
        In the scenario's order.
    """
    with applied():
        count = len(season.beds)
        if axes is None:
            columns = min(_COLUMNS, count)
            rows = -(-count // columns)
            figure = Figure(figsize=(_WIDTH, 2.35 * rows + 0.6), layout="constrained")
            grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
            axes = list(grid.flat)
            for ax in axes[count:]:
                ax.remove()
            for ax in axes[max(count - columns, 0) : count]:
                ax.xaxis.set_tick_params(labelbottom=True)  # the lowest of its column, whatever the row
            axes = axes[:count]
            for ax in axes[::columns]:
                ax.set_ylabel("since the start [mm]")
        axes = enough(axes, count)
        lines = (
            ("etc", "etc_mm"),
            ("needed", "net_demand_mm"),
            ("supplied_driest", "driest_irrigation_mm"),
            ("supplied", "irrigation_mm"),
        )
        for ax, (key, table) in zip(axes, season.beds.items(), strict=True):
            days = day_numbers(table.index)
            for name, column in lines:
                # from zero on the first morning
                total = np.concatenate([[0.0], np.cumsum(table[column].to_numpy(float))])
                ax.plot(np.append(days[0] - 0.5, days + 0.5), total, **STYLES[name].lined())
            got, needed = float(table["irrigation_mm"].sum()), float(table["net_demand_mm"].sum())
            ax.set_title(f"{plain(key)}\ngot {mm(got)}, net demand {mm(needed)}")
            date_axis(ax, days, most=4)
            ax.grid()
        for ax in axes:
            ax.set_ylim(bottom=0.0)
        handles, labels = axes[0].get_legend_handles_labels()
        figure_of = axes[0].figure
        if isinstance(figure_of, Figure) and figure_of.get_layout_engine() is not None:
            figure_of.legend(handles[::-1], labels[::-1], loc="outside upper left", ncols=min(4, 2 if count < 2 else 4))
        else:
            axes[0].legend(handles[::-1], labels[::-1], loc="lower left", bbox_to_anchor=(0.0, 1.2), ncols=2)
    return axes


def weeks_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw each bed's weeks: what the valve gave as steps over ETc less rain, the gap shaded.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        One for each bed; a new figure if left out.

    Returns
    -------
    list of Axes
        In the scenario's order.
    """
    with applied():
        table = weeks_table(season)
        count = len(season.beds)
        if axes is None:
            figure = Figure(figsize=(_WIDTH, 1.7 * count + 0.5), layout="constrained")
            axes = list(figure.subplots(count, 1, sharex=True, squeeze=False)[:, 0])
        axes = enough(axes, count)
        days = day_numbers(season.days.index)
        for ax, key in zip(axes, season.beds, strict=True):
            controller, bed = key.split("/")
            weeks = table[(table["controller"] == controller) & (table["bed"] == bed)]
            starts = days[::7] - 0.5
            edges = np.append(starts, days[-1] + 0.5)
            # a short last week at the rate of a whole one
            whole = 7.0 / weeks["days"].to_numpy(float)
            given = weeks["irrigation_mm"].to_numpy() * whole
            needed = weeks["etc_less_rain_mm"].to_numpy() * whole
            for name, low, high in (("gap_short", given, needed), ("gap_over", needed, given)):
                tops = np.where(high > low, high, np.maximum(low, 0.0))
                bottoms = np.maximum(low, 0.0)
                bars = STYLES[name].filled(label=STYLES[name].label if ax is axes[0] else "")
                ax.bar(edges[:-1], np.maximum(tops - bottoms, 0.0), np.diff(edges), bottoms, align="edge", **bars)
            ax.stairs(needed, edges, baseline=None, **STYLES["weekly_need"].stepped())
            ax.stairs(given, edges, baseline=None, **STYLES["weekly_supply"].stepped())
            ax.set_ylabel("mm/week")
            ax.set_title(plain(key))
            ax.set_ylim(min(0.0, float(needed.min())) * 1.1, max(float(given.max()), float(needed.max()), 1.0) * 1.08)
            ax.axhline(0.0, color=STYLES["taw"].colour, linewidth=0.5)
            date_axis(ax, days)
            ax.grid(axis="x")
        legend_above(axes[0])
    return axes


#: name -> function of a season: what `replay` draws
SEASON_FIGURES: dict[str, Callable[[Season], list[Axes]]] = {
    "season": season_figure,
    "supplied-against-needed": supplied_against_needed_figure,
    "weeks": weeks_figure,
    "pan-level": pan_level_figure,
}
