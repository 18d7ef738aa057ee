"""
Away figures: the water left in each bed while nobody is there, year by year.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from panbudget.numeric import Floats
from panbudget.reports.canvas import keys, label_left, legend_over, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.away.leaving import Away

_COLUMNS = 3
_ROOM_BELOW = 0.15  # of what is above zero, at least


@applied()
def room_figure(away: Away, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw the water left in each bed's driest quarter before its plants suffer, day by day, a line a year.

    Parameters
    ----------
    away : Away
    axes : sequence of Axes, optional
        One for each bed; a new figure if left out.

    Returns
    -------
    list of Axes
        One for each bed, in the scenario's order; upward, each with its own scale. [mm]
    """
    beds = list(away.worst.beds)
    axes = panels(len(beds), height=2.1, columns=_COLUMNS, more=0.7, axes=axes, sharex=True)
    others = [(stay, "year") for stay in away.stays if stay is not away.worst]
    for ax, key in zip(axes, beds, strict=True):
        for stay, style in (*others, (away.worst, "year_worst"), (away.heat, "year_heat")):
            ax.plot(*_left(stay.season.beds[key]), **STYLES[style].lined(label=""))
        if not any(np.isfinite(line.get_ydata()).any() for line in ax.get_lines()):
            ax.text(0.5, 0.6, "nothing grows", transform=ax.transAxes, ha="center")
        drawn = np.concatenate([[0.0, 1.0], *(np.asarray(line.get_ydata(), float) for line in ax.get_lines())])
        most = 1.06 * float(np.nanmax(drawn))
        least = min(1.08 * float(np.nanmin(drawn)), -_ROOM_BELOW * most)
        ax.axhspan(least, 0.0, **STYLES["suffer"].filled(label=""))
        ax.axhline(0.0, **STYLES["zero"].lined(label=""))
        ax.set(ylim=(least, most), title=plain(key))
        ax.grid()
    axes[0].set_xlim(0.5, away.days + 0.5)
    axes[0].xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    label_left(axes, _COLUMNS, "water left [{}]", "depth")
    for ax in axes[-_COLUMNS:]:
        ax.set_xlabel("day away")
    lines = [*(["year"] if others else []), "year_worst", "year_heat"]
    worst = f"{away.worst.name}, the worst year" if others else away.worst.name
    labels = {"year_worst": worst, "year_heat": away.heat.name}
    legend_over(axes, 4, keys(lines, ["suffer"], **labels))
    return axes


def _left(bed: pd.DataFrame) -> tuple[Floats, Floats]:
    """Days counted from the first away, and water left. [mm]"""
    water_left = bed["driest_water_left_mm"].to_numpy(float)
    return np.arange(1.0, len(bed) + 1.0), np.where(bed["growing"], water_left, np.nan)
