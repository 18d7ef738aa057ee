"""
Faults figures: what each fault adds to the sound season, in bars.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from panbudget.reports.style import STYLES, applied, plain

if TYPE_CHECKING:
    from panbudget.studies.faults import Trials

_WIDTH = 9.0
_LONGEST = 62  # letters of a label


def harm_figure(found: Trials) -> list[Axes]:
    """
    Draw stress days and wasted litres that each fault adds, the most harmful at the top.

    Parameters
    ----------
    found : Trials

    Returns
    -------
    list of Axes
        Stress days; litres.
    """
    with applied():
        rows = len(found.trials)
        figure = Figure(figsize=(_WIDTH, 0.24 * rows + 1.0), layout="constrained")
        axes = list(figure.subplots(1, 2, sharey=True))
        places = np.arange(rows)
        for ax, key, values in (
            (axes[0], "more_stress", [trial.more_stress_days for trial in found.trials]),
            (axes[1], "more_wasted", [trial.more_wasted_litres for trial in found.trials]),
        ):
            ax.barh(places, values, height=0.7, **STYLES[key].filled(label=""))
            ax.axvline(0.0, color="black", linewidth=0.7)
            ax.set_xlabel(f"{STYLES[key].label} [{STYLES[key].unit}]")
            ax.grid(axis="x")
        names = [
            trial.name if len(trial.name) <= _LONGEST else trial.name[: _LONGEST - 1] + "…" for trial in found.trials
        ]
        axes[0].set_yticks(places, [plain(name) for name in names])
        axes[0].set_ylim(rows - 0.4, -0.6)
    return axes
