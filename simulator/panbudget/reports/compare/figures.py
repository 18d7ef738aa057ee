"""
Compare figures: variants side by side, one column each, on axes that all of a row share.

Up to three variants stand beside each other; more go into a second band below.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from panbudget.reports.canvas import date_axis, day_numbers, runs
from panbudget.reports.season.figures import hottest_days, level_points
from panbudget.reports.style import STYLES, applied, plain

if TYPE_CHECKING:
    from panbudget.season.result import Season
    from panbudget.studies.compare import Comparison

__all__ = ["COMPARE_FIGURES", "depletion_figure", "openings_figure", "pan_levels_figure"]

_WIDTH = 9.0
_ABREAST = 3
_FEW_DAYS = 62
_MOST_PAN_DAYS = 21  # more days of a level that saws up and down are a grey band


def _panels(comparison: Comparison, rows: int, height: float) -> tuple[Figure, list[list[Axes]]]:
    """A grid: for each variant its column of ``rows`` axes; y shared along a row and over the bands."""
    names = comparison.names
    abreast = min(_ABREAST, len(names))
    bands = -(-len(names) // abreast)
    figure = Figure(figsize=(_WIDTH, height * rows * bands + 0.7), layout="constrained")
    grid = figure.subplots(rows * bands, abreast, squeeze=False, sharex=True)
    columns = []
    for place in range(bands * abreast):
        band, column = divmod(place, abreast)
        axes = [grid[band * rows + row, column] for row in range(rows)]
        if place < len(names):
            columns.append(axes)
        else:
            for ax in axes:
                ax.remove()
    for row in range(rows):
        for axes in columns[1:]:
            axes[row].sharey(columns[0][row])
    for place, axes in enumerate(columns):
        for row, ax in enumerate(axes):
            ax.tick_params(labelleft=place % abreast == 0, labelbottom=row == rows - 1)
    return figure, columns


def _shown(comparison: Comparison, season: Season) -> slice:
    first = season.days.index[0]
    return slice((pd.Timestamp(comparison.start) - first).days, (pd.Timestamp(comparison.end) - first).days + 1)


def _mark_wave(ax: Axes, comparison: Comparison) -> None:
    if comparison.wave is not None:
        at = day_numbers(pd.DatetimeIndex([comparison.wave.start, comparison.wave.end]))
        for edge in (at[0] - 0.5, at[1] + 0.5):
            ax.axvline(edge, **STYLES["wave"].lined(label=""))


def _lacks(ax: Axes, name: str, where: str) -> None:
    ax.set_title(f"{plain(name)}: {plain(where)}")
    ax.text(0.5, 0.5, "not in this variant", transform=ax.transAxes, ha="center", va="center", fontsize=8.0)


def _dates(ax: Axes, index: pd.DatetimeIndex) -> None:
    at = day_numbers(index)
    date_axis(ax, at, most=5)
    if len(at) <= _FEW_DAYS:  # the locator's own weeks begin at the months' firsts, and leave a window with one mark
        apart = -(-len(at) // 5)
        ax.set_xticks(at[::apart], [f"{day.day} {day:%b}" for day in index[::apart]])
    ax.grid(axis="x")


def _legend(figure: Figure, handles: list[object], columns: int = 4) -> None:
    figure.legend(handles=handles, loc="outside upper left", ncols=columns)


def _wave_handle(comparison: Comparison) -> list[object]:
    from matplotlib.lines import Line2D

    return [Line2D([], [], **STYLES["wave"].lined())] if comparison.wave is not None else []


def pan_levels_figure(comparison: Comparison) -> list[Axes]:
    """
    Draw each pan's level for each variant, with trip, reset and, where it is near, the rim.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    list of Axes
        Variant by variant, valve by valve. Depths, so that pans of different width compare; at most three weeks.
    """
    from matplotlib.lines import Line2D

    with applied():
        first = next(iter(comparison.seasons.values()))
        window = _shown(comparison, first)
        if window.stop - window.start > _MOST_PAN_DAYS:
            hottest = hottest_days(first.days.iloc[window])
            window = slice(window.start + hottest.start, window.start + hottest.stop)
        index = pd.DatetimeIndex(first.days.index)[window]
        figure, columns = _panels(comparison, len(comparison.controllers), 2.0)
        for axes, (name, season) in zip(columns, comparison.seasons.items(), strict=True):
            for ax, valve in zip(axes, comparison.controllers, strict=True):
                if valve not in season.controllers:
                    _lacks(ax, name, valve)
                    continue
                _draw_level(ax, season, valve, window)
                ax.set_title(f"{plain(name)}: pan of {plain(valve)}")
                _dates(ax, index)
                _mark_wave(ax, comparison)
                ax.set_xlim(day_numbers(index)[0] - 0.5, day_numbers(index)[-1] + 0.5)
        for ax in columns[0]:
            ax.set_ylabel("mm above trip")
        handles: list[object] = [Line2D([], [], **STYLES["level"].lined()), Patch(**STYLES["open"].filled())]
        handles += [Line2D([], [], **STYLES[key].lined()) for key in ("reset", "trip")]
        _legend(figure, handles + _wave_handle(comparison), 5)
    return [ax for axes in columns for ax in axes]


def _draw_level(ax: Axes, season: Season, valve: str, window: slice) -> None:
    described = season.scenario.controller[valve]
    area, swing = described.pan.area, described.valve.swing_kg
    days = day_numbers(season.days.index)
    begin, end = window.start * 24.0, window.stop * 24.0
    zero = float(days[0]) - 0.5  # here a day's mark stands at its noon, so that days and hours share an axis
    openings = season.openings[season.openings["controller"] == valve]
    through = openings["end_h"].fillna(24.0 * len(season.days))
    seen = (openings["start_h"] < end) & (through > begin)
    for start, stop in zip(openings["start_h"][seen], through[seen], strict=True):
        ax.axvspan(
            zero + max(start, begin) / 24.0,
            zero + min(stop, end) / 24.0,
            **STYLES["open"].filled(label="", edgecolor=STYLES["open"].colour, linewidth=0.5),
        )
    hour, level = level_points(season.hourly_level[valve], openings[seen], begin, end, swing)
    ax.plot([zero + h / 24.0 for h in hour], [kg / area for kg in level], **STYLES["level"].lined(linewidth=1.0))
    ax.axhline(0.0, **STYLES["trip"].lined())
    ax.axhline(swing / area, **STYLES["reset"].lined())


def openings_figure(comparison: Comparison) -> list[Axes]:
    """
    Draw openings a day of each valve for each variant.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    list of Axes
        Variant by variant, valve by valve.
    """
    with applied():
        seasons = list(comparison.seasons.values())
        figure, columns = _panels(comparison, len(comparison.controllers), 1.5)
        most = {
            valve: max(
                int(s.controllers[valve]["openings"].iloc[_shown(comparison, s)].max())
                for s in seasons
                if valve in s.controllers
            )
            for valve in comparison.controllers
        }
        for axes, (name, season) in zip(columns, comparison.seasons.items(), strict=True):
            window = _shown(comparison, season)
            for ax, valve in zip(axes, comparison.controllers, strict=True):
                if valve not in season.controllers:
                    _lacks(ax, name, valve)
                    continue
                part = season.controllers[valve].iloc[window]
                at = day_numbers(part.index)
                ax.stairs(
                    part["openings"].to_numpy(),
                    np.append(at - 0.5, at[-1] + 0.5),
                    fill=True,
                    baseline=0.0,
                    **STYLES["opened"].filled(label="", edgecolor=STYLES["opened"].colour),
                )
                total = int(part["openings"].sum())
                ax.set_title(f"{plain(name)}: {plain(valve)}, {total} openings")
                ax.set_ylim(0.0, 1.05 * max(most[valve], 1))
                ax.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=4))
                _dates(ax, pd.DatetimeIndex(part.index))
                _mark_wave(ax, comparison)
        for ax in columns[0]:
            ax.set_ylabel("openings a day")
        if comparison.wave is not None:
            _legend(figure, _wave_handle(comparison))
    return [ax for axes in columns for ax in axes]


def depletion_figure(comparison: Comparison) -> list[Axes]:
    """
    Draw each bed's root zone for each variant against RAW and TAW.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    list of Axes
        Variant by variant, bed by bed; depletion downward.
    """
    from matplotlib.lines import Line2D

    with applied():
        figure, columns = _panels(comparison, len(comparison.beds), 1.55)
        deepest = dict.fromkeys(comparison.beds, 1.0)
        for season in comparison.seasons.values():
            for key, table in season.beds.items():
                part = table.iloc[_shown(comparison, season)]
                most = max(float(part[c].max()) for c in ("taw_mm", "driest_depletion_mm", "depletion_mm"))
                deepest[key] = max(deepest[key], most)
        for axes, (name, season) in zip(columns, comparison.seasons.items(), strict=True):
            window = _shown(comparison, season)
            for ax, key in zip(axes, comparison.beds, strict=True):
                if key not in season.beds:
                    _lacks(ax, name, key)
                    continue
                part = season.beds[key].iloc[window]
                at = day_numbers(part.index)
                growing = part["growing"].to_numpy(bool)
                for style, column in (("stress", "driest_ks"), ("stress_mean", "ks")):
                    for a, b in runs(growing & (part[column].to_numpy() < 1.0)):
                        ax.axvspan(at[a] - 0.5, at[b] + 0.5, **STYLES[style].filled(label=""))
                for style, column in (
                    ("taw", "taw_mm"),
                    ("raw", "raw_mm"),
                    ("driest", "driest_depletion_mm"),
                    ("mean", "depletion_mm"),
                ):
                    mark = "." if len(at) == 1 else ""
                    ax.plot(at, part[column].to_numpy(), **STYLES[style].lined(marker=mark))
                ax.set_ylim(deepest[key] * 1.08, 0.0)
                ax.set_title(f"{plain(name)}: {plain(key)}")
                _dates(ax, pd.DatetimeIndex(part.index))
                _mark_wave(ax, comparison)
        for ax in columns[0]:
            ax.set_ylabel("depletion [mm]")
        handles: list[object] = [Line2D([], [], **STYLES[k].lined()) for k in ("mean", "driest", "raw", "taw")]
        handles += _wave_handle(comparison)
        handles += [Patch(**STYLES[key].filled()) for key in ("stress", "stress_mean")]
        _legend(figure, handles, 4)
    return [ax for axes in columns for ax in axes]


#: name -> function of a comparison: what `compare` draws
COMPARE_FIGURES: dict[str, Callable[[Comparison], list[Axes]]] = {
    "pan-level": pan_levels_figure,
    "openings": openings_figure,
    "depletion": depletion_figure,
}
