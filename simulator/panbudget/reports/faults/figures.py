"""
Faults figures: what each fault adds to the sound season, in bars.
"""

import textwrap

import numpy as np
from matplotlib.axes import Axes

from panbudget.reports.canvas import label, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.faults import Trials

_FIGURES = ("more_stress_days", "more_wasted_litres")
_LONGEST = 62  # letters of a label's line


@applied()
def harm_figure(trials: Trials) -> list[Axes]:
    """
    Draw stress days and wasted litres that each fault adds, the most harmful at the top.

    Returns
    -------
    list of Axes
        Stress days; litres.
    """
    rows = np.arange(len(trials.trials))
    axes = panels(2, height=0.24 * len(rows), columns=2, more=1.0, sharey=True, gridspec_kw={"wspace": 0.08})
    for ax, key, figure in zip(axes, ("more_stress", "more_wasted"), _FIGURES, strict=True):
        ax.barh(rows, [getattr(trial, figure) for trial in trials.trials], height=0.7, **STYLES[key].filled(label=""))
        ax.set_xlim(right=max(1.0, ax.get_xlim()[1]))  # one day, one litre, where no fault adds any
        ax.axvline(0.0, color="black", linewidth=0.7)
        label(ax.xaxis, f"{STYLES[key].label} [{{}}]", STYLES[key].unit)
        ax.grid(axis="x")
    names = ["\n".join(textwrap.wrap(trial.name, _LONGEST)) for trial in trials.trials]
    axes[0].set_yticks(rows, [plain(name) for name in names], linespacing=0.9)
    axes[0].set_ylim(len(rows) - 0.4, -0.6)
    return axes
