"""
Away figures: how near each bed comes to its limit while nobody is there, year by year.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from panbudget.numeric import Floats
from panbudget.reports.canvas import keys, legend_over, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.away.leaving import Away

_COLUMNS = 3
_FAR = 200.0  # % of RAW; a bed that goes far below would flatten the others, and has a scale of its own


@applied()
def room_figure(away: Away, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw what each bed's driest quarter has used of its readily available water, day by day, a line a year.

    Parameters
    ----------
    away : Away
    axes : sequence of Axes, optional
        One for each bed; a new figure if left out.

    Returns
    -------
    list of Axes
        One for each bed, in the scenario's order; all with the same axes, but for beds far below their limit.
    """
    beds = list(away.worst.beds)
    axes = panels(len(beds), height=2.1, columns=_COLUMNS, more=0.7, axes=axes, sharex=True)
    others = [(stay, "year") for stay in away.stays if stay is not away.worst]
    for ax, key in zip(axes, beds, strict=True):
        for stay, style in (*others, (away.worst, "year_worst"), (away.heat, "year_heat")):
            ax.plot(*_used(stay.season.beds[key]), **STYLES[style].lined(label=""))
        ax.axhline(100.0, **STYLES["limit"].lined(label=""))
        ax.set_title(plain(key))
        ax.grid()
    lows = [max(float(np.nanmax(np.append(line.get_ydata(), 0.0))) for line in ax.get_lines()) for ax in axes]
    deepest = max(100.0, *(low for low in lows if low <= _FAR))
    for ax, low in zip(axes, lows, strict=True):
        ax.set_ylim(1.06 * (low if low > _FAR else deepest), 0.0)  # downward, as depletion everywhere
    axes[0].set_xlim(0.5, away.days + 0.5)
    axes[0].xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    for ax in axes[::_COLUMNS]:
        ax.set_ylabel("used of RAW [%]")
    for ax in axes[-_COLUMNS:]:
        ax.set_xlabel("day away")
    lines = [*(["year"] if others else []), "year_worst", "year_heat", "limit"]
    labels = {"year_worst": f"{away.worst.name}, the worst year", "year_heat": away.heat.name}
    legend_over(axes, 4, keys(lines, **labels))
    return axes


def _used(bed: pd.DataFrame) -> tuple[Floats, Floats]:
    """Days counted from the first away, and depletion as a share of RAW. [%]"""
    raw = bed["raw_mm"].to_numpy(float)
    used = 100.0 * (raw - bed["driest_water_left_mm"].to_numpy(float)) / np.where(raw > 0.0, raw, np.nan)
    return np.arange(1.0, len(bed) + 1.0), np.where(bed["growing"], used, np.nan)
