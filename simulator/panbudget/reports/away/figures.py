"""
Away figures: how near each bed comes to its limit while nobody is there, year by year.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from panbudget.numeric import Floats
from panbudget.reports.style import STYLES, applied, plain

if TYPE_CHECKING:
    from panbudget.studies.away import Away

__all__ = ["AWAY_FIGURES", "room_figure"]

_WIDTH = 9.0
_COLUMNS = 3
_FAR = 200.0  # % of RAW; a bed that goes far below would flatten the others, and is named instead


def room_figure(away: Away) -> list[Axes]:
    """
    Draw what each bed's driest quarter has used of its readily available water, day by day, a line a year.

    Parameters
    ----------
    away : Away

    Returns
    -------
    list of Axes
        One for each bed, in the scenario's order; all with the same axes.
    """
    with applied():
        keys = list(away.worst.beds)
        columns = min(_COLUMNS, len(keys))
        rows = -(-len(keys) // columns)
        figure = Figure(figsize=(_WIDTH, 2.1 * rows + 0.7), layout="constrained")
        grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
        axes = list(grid.flat)
        for ax in axes[len(keys) :]:
            ax.remove()
        axes = axes[: len(keys)]
        for ax, key in zip(axes, keys, strict=True):
            for stay in away.stays:
                if stay is not away.worst:
                    ax.plot(*_used(stay.season.beds[key]), **STYLES["year"].lined(label=""))
            ax.plot(*_used(away.worst.season.beds[key]), **STYLES["year_worst"].lined(label=""))
            ax.plot(*_used(away.heat.season.beds[key]), **STYLES["year_heat"].lined(label=""))
            ax.axhline(100.0, **STYLES["limit"].lined(label=""))
            ax.set_title(plain(key))
            ax.grid()
        most = max(float(np.nanmax([0.0, *line.get_ydata()])) for ax in axes for line in ax.get_lines())
        deepest = min(max(most, 100.0), _FAR)
        axes[0].set_ylim(deepest * 1.06, 0.0)  # downward, as depletion everywhere
        for ax in axes:
            low = float(np.nanmax([0.0, *(value for line in ax.get_lines() for value in line.get_ydata())]))
            if low > deepest:
                paper = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
                ax.text(
                    0.5, 0.04, f"down to {low:.0f} %", transform=ax.transAxes, ha="center", fontsize=8.0, bbox=paper
                )
        axes[0].set_xlim(0.5, away.days + 0.5)
        for place, ax in enumerate(axes):
            if place % columns == 0:
                ax.set_ylabel("used of RAW [%]")
            if place >= len(keys) - columns:
                ax.xaxis.set_tick_params(labelbottom=True)
                ax.set_xlabel("day away")
        shown = (
            ("year", "year_worst", "year_heat", "limit")
            if len(away.stays) > 1
            else ("year_worst", "year_heat", "limit")
        )
        labels = {"year_worst": f"{away.worst.name}, the worst year", "year_heat": f"{away.heat.name}"}
        handles = [Line2D([], [], **STYLES[key].lined(label=labels.get(key, STYLES[key].label))) for key in shown]
        figure.legend(handles=handles, loc="outside upper left", ncols=4)
    return axes


def _used(bed: pd.DataFrame) -> tuple[Floats, Floats]:
    """Days counted from the first away, and depletion as a share of RAW. [%]"""
    raw = bed["raw_mm"].to_numpy(float)
    used = 100.0 * bed["driest_depletion_mm"].to_numpy(float) / np.where(raw > 0.0, raw, np.nan)
    return np.arange(1.0, len(bed) + 1.0), np.where(bed["growing"], used, np.nan)


#: name -> function of what is known about leaving: what `away` draws
AWAY_FIGURES: dict[str, Callable[[Away], list[Axes]]] = {"room": room_figure}
