"""
Season figures. Each function takes a season, and axes if the caller has some, and returns the axes.

What labels, colours and hatches mean stands in `style`; what all figures share, in `canvas`. No global state of
matplotlib is touched: figures are plain objects, never pyplot's.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from panbudget.numeric import Floats
from panbudget.reports import canvas
from panbudget.reports.canvas import date_axis, day_numbers, keys, legend_above, panels
from panbudget.reports.season.weeks import weeks_table
from panbudget.reports.style import STYLES, VALVE_STYLES, applied, plain
from panbudget.scenario.supplies import Tank
from panbudget.season.heat import hottest_run
from panbudget.season.result import Season
from panbudget.studies.supplies import tank_sizes
from panbudget.words import SHOWN, days_said, kilograms, mm

HOT_DAYS = 10
_FAR_RIM = 2.5  # times the highest level of the days drawn
_COLUMNS = 3
MOST_DRAWN = 12  # panels a figure; nobody looks through a hundred, and they would take most of a minute
#: style -> column of a bed's days
_LEFT = {"driest": "driest_water_left_mm", "mean": "water_left_mm"}
_ROOM_BELOW = 0.15  # of what is above it, at least, so that the line at zero is seen to be one
_STRIP = 0.07  # of the axes' height: a valve that stands open all day would paint all of them
_SUPPLIED = {
    **{"etc": "etc_mm", "needed": "net_demand_mm"},
    **{"supplied_driest": "driest_irrigation_mm", "supplied": "irrigation_mm"},
}
_ON_WHITE: dict[str, Any] = {"fontsize": 8.0, "bbox": {"facecolor": "white", "edgecolor": "none", "pad": 1.0}}


def drawn_beds(season: Season) -> dict[str, pd.DataFrame]:
    """Return the beds that have panels: all, or of many those with the most days short of water, as the scenario has them."""
    worst = sorted(season.beds, key=lambda key: -season.totals["beds"][key]["driest_quarter"]["stress_days"])
    return {key: table for key, table in season.beds.items() if key in worst[:MOST_DRAWN]}


def drawn_valves(season: Season) -> list[str]:
    """Return the valves whose pans have panels: all, or the first of many."""
    return list(season.controllers)[:MOST_DRAWN]


@applied()
def season_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw the season: rain and ETo, openings a day, and the water left in each bed before plants suffer.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        Two, and one for each of `drawn_beds`; a new figure if left out.

    Returns
    -------
    list of Axes
        Weather, openings, then the beds in the scenario's order.
    """
    beds = drawn_beds(season)
    heights = [1.25, 1.0, *([1.2] * len(beds))]
    height, ratios = 1.35 * sum(heights) / len(heights), {"height_ratios": heights}
    axes = panels(len(heights), height=height, axes=axes, sharex=True, gridspec_kw=ratios)
    days = season.days
    draw_rain_and_eto(axes[0], day_numbers(days.index), days["rain_mm"], days["eto_mm"])
    _draw_openings(axes[1], season)
    for ax, (key, table) in zip(axes[2:], beds.items(), strict=True):
        draw_water_left(ax, table, least_and_most_left(table))
        canvas.label(ax.yaxis, "{}", "depth")
        ax.set(title=f"Water left in {plain(key)} before plants suffer")
    legend_above(axes[2], columns=4, handles=keys(list(_LEFT)[::-1], ["suffer"]))
    for ax in axes:
        date_axis(ax, day_numbers(days.index))
        ax.grid(axis="x")
    return axes


def draw_rain_and_eto(ax: Axes, at: Floats, rain: pd.Series[float], eto: pd.Series[float]) -> None:
    """Draw a season's weather in short: rain as bars, reference evapotranspiration as a line."""
    ax.bar(at, rain.to_numpy(float), width=0.85, **STYLES["rain"].filled(linewidth=0.3))
    ax.plot(at, eto.to_numpy(float), **STYLES["eto"].lined(marker="." if len(at) == 1 else ""))
    canvas.label(ax.yaxis, "{}", "depth-a-day")
    ax.set(title="Rain and reference evapotranspiration")
    legend_above(ax)


def _draw_openings(ax: Axes, season: Season) -> None:
    for index, (name, table) in enumerate(season.controllers.items()):
        look = VALVE_STYLES[index % len(VALVE_STYLES)].lined(linewidth=1.3, label=plain(name), baseline=None)
        canvas.steps(ax, day_numbers(table.index), table["openings"].to_numpy(), **look)
    ax.set_ylim(bottom=0.0)
    ax.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=4))
    ax.set(ylabel="per day", title="Openings")
    legend_above(ax, columns=5)


def draw_water_left(ax: Axes, table: pd.DataFrame, ends: tuple[float, float]) -> None:
    """
    Draw what each morning leaves in a bed's soil before its plants suffer: its mean, and its driest quarter as a band below.

    Nothing is drawn of days on which nothing grows.

    Parameters
    ----------
    ax : Axes
    table : DataFrame
        A bed's days.
    ends : (float, float)
        Of the axis, below and above zero. [mm]
    """
    at, growing = day_numbers(table.index), table["growing"].to_numpy(bool)
    water_left = {style: np.where(growing, table[column].to_numpy(float), np.nan) for style, column in _LEFT.items()}
    ax.axhspan(ends[0], 0.0, **STYLES["suffer"].filled(label=""))
    ax.axhline(0.0, **STYLES["zero"].lined(label=""))
    ax.fill_between(at, water_left["driest"], water_left["mean"], **STYLES["quarter"].filled(label=""))
    for style, values in water_left.items():
        ax.plot(at, values, **STYLES[style].lined(marker="." if len(at) == 1 else ""))
    ax.set_ylim(ends)


def least_and_most_left(*tables: pd.DataFrame) -> tuple[float, float]:
    """Return where the axis of some beds' water left ends, below and above zero. [mm]"""
    grown = (table.loc[table["growing"], list(_LEFT.values())].to_numpy().ravel() for table in tables)
    water_left = np.concatenate([[0.0, 1.0], *grown])
    most = 1.05 * float(water_left.max())
    return min(1.08 * float(water_left.min()), -_ROOM_BELOW * most), most


@applied()
def pan_level_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw each pan's level through the ten hottest days, with the levels of trip, reset and rim.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        One for each of `drawn_valves`; a new figure if left out.

    Returns
    -------
    list of Axes
        In the scenario's order; kg on the left, the same in mm of water on the right.
    """
    window = hottest_run(season.days["tmax_c"], HOT_DAYS)
    shown = pd.DatetimeIndex(season.days.index)[window]
    valves = drawn_valves(season)
    axes = panels(len(valves), height=2.6, axes=axes)
    for ax, name in zip(axes, valves, strict=True):
        begin, end, level = draw_level(ax, season, name, window)
        _mark_levels(ax, levels_of(season, name, window), begin, end, level)
        _depth_at_right(ax, season.scenario.controller[name].pan.area)
        canvas.day_ticks(ax, shown)
        canvas.label(ax.yaxis, "level [{} above trip]", "weight")
        ax.grid(axis="x")
        days = days_said(shown[0], shown[-1])
        ax.set_title(f"Pan of {plain(name)}, {days}, the hottest days in a row (solar time)")
    legend_above(axes[0], handles=keys(["level"], ["open"]))
    return axes


def draw_level(
    ax: Axes, season: Season, valve: str, window: slice, *, per_kg: float = 1.0, **look: Any
) -> tuple[float, float, Floats]:
    """
    Draw a pan's level through some days, and the valve's openings in a strip beneath.

    Parameters
    ----------
    ax : Axes
    season : Season
    valve : str
    window : slice
        Rows of the season's days.
    per_kg : float
        What the axis counts, per kg of water.
    **look
        Of the level's line, in place of its usual look.

    Returns
    -------
    (float, float, ndarray)
        First and last moment, as matplotlib counts days, and the levels drawn.
    """
    zero = float(day_numbers(season.days.index)[0])
    begin, end = window.start * 24.0, window.stop * 24.0
    openings = season.openings[season.openings["controller"] == valve]
    through = openings["end_h"].fillna(24.0 * len(season.days))
    seen = (openings["start_h"] < end) & (through > begin)
    shaded = STYLES["open"].filled(label="", edgecolor=STYLES["open"].colour, linewidth=0.6)
    starts, stops = openings["start_h"][seen].clip(lower=begin), through[seen].clip(upper=end)
    spans = [*zip(zero + starts / 24.0, (stops - starts) / 24.0, strict=True)]  # drawn as one: there may be thousands
    ax.broken_barh(spans, (0.0, _STRIP), transform=ax.get_xaxis_transform(), **shaded)
    resets = levels_of(season, valve, slice(None))["reset"]
    hours, level = level_points(season.hourly_level[valve], openings[seen], begin, end, resets)
    ax.plot(zero + hours / 24.0, level * per_kg, **STYLES["level"].lined(**look))
    return zero + begin / 24.0, zero + end / 24.0, level * per_kg


def levels_of(season: Season, valve: str, window: slice) -> dict[str, Floats]:
    """
    Return the levels at which a pan trips, resets and spills, as they stood: a knocked counterweight moves them.

    Parameters
    ----------
    season : Season
    valve : str
    window : slice
        Rows of the season's days.

    Returns
    -------
    dict of ndarray (days,)
        "trip", "reset", "rim". [kg above the day's trip weight]
    """
    pans, row = season.forcing.pans, list(season.controllers).index(valve)
    reset, rim = pans.swing[row, window], pans.rim[row, window]
    return {"trip": np.zeros(len(reset)), "reset": reset, "rim": rim}


def _mark_levels(ax: Axes, levels: dict[str, Floats], begin: float, end: float, level: Floats) -> None:
    """Draw trip, reset and rim, and name them at the right where they don't lie on each other."""
    labels = {key: STYLES[key].label for key in levels}
    reset, rim = (float(levels[key][-1]) for key in ("reset", "rim"))
    low, high = min(0.0, float(np.min(level))), max(float(levels["reset"].max()), float(np.max(level)))
    # a rim that is far is named and not drawn, or the level would be a ripple at the bottom
    far = levels["rim"].min() > _FAR_RIM * high
    room = 0.06 * max((high if far else max(high, levels["rim"].max())) - low, 1e-6)
    if far:
        del levels["rim"]
        corner: dict[str, Any] = {"xycoords": "axes fraction", "ha": "right", "va": "top", **_ON_WHITE}
        ax.annotate(f"rim: spills at {kilograms(rim)}", (0.995, 0.93), **corner)
    else:
        high = max(high, float(levels["rim"].max()))
        if rim <= reset - 1.6 * room:
            labels["reset"] = "reset, never reached"
        elif rim - reset < 1.6 * room:  # their labels would lie on each other
            labels |= {"reset": "", "rim": "rim, just above reset" if rim >= reset else "rim, just below reset"}
    if labels["reset"] and abs(reset) < 1.6 * room:  # nor these, under a pan that sank far below the trip
        labels |= {"reset": "", "trip": "trip, just below reset"}
    ax.set_ylim(low - room, high + (3.5 if far else 1.0) * room)
    ax.set_xlim(begin, end + 0.14 * (end - begin))  # the right margin is the lines' labels'
    for key, values in levels.items():
        days = np.linspace(begin, end, len(values) + 1)
        ax.step(days, np.append(values, values[-1]), where="post", **STYLES[key].lined(label=key))
        if labels[key]:
            ax.text(end + 0.008 * (end - begin), values[-1], labels[key], va="center", ha="left", **_ON_WHITE)


def _depth_at_right(ax: Axes, area: float) -> None:
    functions: Any = (lambda kg: kg / area, lambda depth: depth * area)  # matplotlib's types ask for more than it gives
    right = ax.secondary_yaxis("right", functions=functions)
    canvas.label(right.yaxis, "level [{} above trip]", "depth")
    ax.spines["right"].set_visible(True)


def level_points(
    hourly: Floats, openings: pd.DataFrame, begin: float, end: float, swing: Floats
) -> tuple[Floats, Floats]:
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
    swing : ndarray (days,)
        At which it resets, day by day. [kg above trip]

    Returns
    -------
    (ndarray, ndarray)
        Hours, and levels. [h, kg]
    """
    ends = np.arange(max(int(begin), 1), int(end) + 1)
    trips = openings["start_h"][(openings["cause"] == "trip") & openings["start_h"].between(begin, end)]
    resets = openings["end_h"][openings["end_h"].between(begin, end)]  # one still open has no number
    hours = np.concatenate([ends.astype(float), trips, resets])
    # an opening that ends at midnight has reset on the day before
    on = np.clip(np.ceil(resets.to_numpy() / 24.0).astype(int) - 1, 0, len(swing) - 1)
    levels = np.concatenate([hourly[ends - 1], np.zeros(len(trips)), swing[on]])
    order = np.argsort(hours, kind="stable")
    return hours[order], levels[order]


@applied()
def supplied_against_needed_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw what each bed got beside what it needed, added up day by day; the same axes for all.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        One for each of `drawn_beds`; a new figure if left out.

    Returns
    -------
    list of Axes
        In the scenario's order.
    """
    beds = drawn_beds(season)
    count = len(beds)
    axes = panels(count, height=2.35, columns=_COLUMNS, more=0.6, axes=axes, sharex=True, sharey=True)
    for ax, (key, table) in zip(axes, beds.items(), strict=True):
        days, totals = day_numbers(table.index), season.totals["beds"][key]
        # as in the page's sentences: what is given while nothing grows meets no need
        grown = 1.0 if totals["supply_over_demand"] is None else table["growing"].to_numpy(float)
        for name, column in _SUPPLIED.items():
            daily = table[column].to_numpy(float) * (grown if column.endswith("irrigation_mm") else 1.0)
            total = np.concatenate([[0.0], np.cumsum(daily)])  # from the first morning
            ax.plot(np.append(days[0] - 0.5, days + 0.5), total, **STYLES[name].lined())
        got, needed = float(total[-1]), totals["net_demand_mm"]
        ax.set_title(f"{plain(key)}\ngot {mm(got)}, net demand {mm(needed)}")
        date_axis(ax, days, most=4)
        ax.grid()
    for ax in axes:
        ax.set_ylim(bottom=0.0)
    canvas.label_left(axes, _COLUMNS, "since the start [{}]", "depth")
    handles, labels = axes[0].get_legend_handles_labels()
    figure = axes[0].figure
    if isinstance(figure, Figure) and figure.get_layout_engine() is not None:
        canvas.legend_over(axes, 2 if count < 2 else 4, handles[::-1], labels[::-1])
    else:
        axes[0].legend(handles[::-1], labels[::-1], loc="lower left", bbox_to_anchor=(0.0, 1.2), ncols=2)
    return axes


@applied()
def weeks_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw each bed's weeks: what the valve gave as steps over ETc less rain, the gap shaded.

    Parameters
    ----------
    season : Season
    axes : sequence of Axes, optional
        One for each of `drawn_beds`; a new figure if left out.

    Returns
    -------
    list of Axes
        In the scenario's order.
    """
    weeks = weeks_table(season)
    days = day_numbers(season.days.index)
    beds = drawn_beds(season)
    axes = panels(len(beds), height=1.7, axes=axes, sharex=True)
    for ax, key in zip(axes, beds, strict=True):
        of_bed = weeks[weeks["controller"] + "/" + weeks["bed"] == key]
        _draw_weeks(ax, of_bed, np.append(days[::7] - 0.5, days[-1] + 0.5), legend=ax is axes[0])
        ax.set_title(plain(key))
        date_axis(ax, days)
        ax.grid(axis="x")
    legend_above(axes[0])
    return axes


def _draw_weeks(ax: Axes, weeks: pd.DataFrame, edges: Floats, *, legend: bool) -> None:
    whole = 7.0 / weeks["days"].to_numpy(float)  # a short last week at the rate of a whole one
    given, needed = (weeks[column].to_numpy() * whole for column in ("irrigation_mm", "etc_less_rain_mm"))
    for name, low, high in (("gap_short", given, needed), ("gap_over", needed, given)):
        bottoms = np.maximum(low, 0.0)
        tops = np.where(high > low, high, bottoms)
        bars = STYLES[name].filled(label=STYLES[name].label if legend else "")
        ax.bar(edges[:-1], np.maximum(tops - bottoms, 0.0), np.diff(edges), bottoms, align="edge", **bars)
    ax.stairs(needed, edges, baseline=None, **STYLES["weekly_need"].lined())
    ax.stairs(given, edges, baseline=None, **STYLES["weekly_supply"].lined())
    canvas.label(ax.yaxis, "{}", "depth-a-week")
    ax.set_ylim(min(0.0, float(needed.min())) * 1.1, max(float(given.max()), float(needed.max()), 1.0) * 1.08)
    ax.axhline(0.0, color=STYLES["faint"].colour, linewidth=0.5)


@functools.lru_cache(maxsize=1)  # a dozen seasons a tank, for the figure and for the page
def other_sizes(season: Season) -> dict[str, pd.DataFrame]:
    """Return each tank's other sizes, as `tank_sizes` gives them."""
    return {name: tank_sizes(season, name) for name in season.tanks}


@applied()
def tank_figure(season: Season, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw each tank: its water day by day, and the days short and days empty under smaller and larger ones.

    Parameters
    ----------
    season : Season
        With a tank or more.
    axes : sequence of Axes, optional
        Two for each tank; a new figure if left out.

    Returns
    -------
    list of Axes
        Two a tank: water through the season, sizes.
    """
    ratios = {"width_ratios": [2.0, 1.0]}
    axes = panels(2 * len(season.tanks), height=2.8, columns=2, more=0.4, axes=axes, gridspec_kw=ratios)
    for left, right, (name, table) in zip(axes[::2], axes[1::2], season.tanks.items(), strict=True):
        supply = season.scenario.supply[name]
        volume = supply.volume / 1000.0 if isinstance(supply, Tank) else 0.0
        days, water = day_numbers(table.index), table["volume_l"] / 1000.0
        left.fill_between(days, water, color=STYLES["gap_over"].colour, linewidth=0.0)
        left.plot(days, water, **STYLES["mean"].lined(label="water in the tank"))
        left.axhline(volume, **STYLES["rim"].lined(label="full"))
        canvas.label(left.yaxis, "water [{}]", "tank-volume")
        left.set(ylim=(0.0, volume * 1.08), title=f"Tank {plain(name)}")
        legend_above(left)
        date_axis(left, days, most=6)
        left.grid(axis="x")
        _draw_sizes(right, other_sizes(season)[name], volume)
    return axes


def _draw_sizes(ax: Axes, sizes: pd.DataFrame, volume: float) -> None:
    volumes = sizes["volume_l"] / 1000.0
    lines = (("stress_days", "driest", "days short then"), ("empty_days", "needed", "days empty then"))
    for column, style, label in lines:
        ax.plot(volumes, sizes[column], marker="o", markersize=3.0, **STYLES[style].lined(label=label))
    legend_above(ax, columns=1, fontsize=7.0)
    ax.axvline(volume, **STYLES["trip"].lined(label=""))
    ax.set_xscale("log")
    canvas.mark_round(ax.xaxis, volumes.to_numpy(), "tank-volume")
    ax.set(ylim=(0.0, None), ylabel="days", xlabel=f"size [{SHOWN['tank-volume'].unit}]; dashed: this one")
    ax.set_title("Other sizes")
    ax.grid()


#: name -> function of a season: what `replay` draws
SEASON_FIGURES: dict[str, Callable[..., list[Axes]]] = {
    "season": season_figure,
    "supplied-against-needed": supplied_against_needed_figure,
    "weeks": weeks_figure,
    "pan-level": pan_level_figure,
}


def season_figures(season: Season) -> dict[str, Callable[..., list[Axes]]]:
    """Return what is drawn of a season, by name."""
    return {**SEASON_FIGURES, **({"tank": tank_figure} if season.tanks else {})}
