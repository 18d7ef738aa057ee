"""
Faults figures: what each fault adds to the sound season, in bars.
"""

import re
import textwrap

import numpy as np
from matplotlib.axes import Axes

from panbudget.reports.canvas import label, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.faults import Trials

_FIGURES = ("more_stress_days", "more_wasted_litres")
_LONGEST = 38  # letters of a label's line: bars need room on a phone, too


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
    axes = panels(2, height=0.3 * len(rows), columns=2, more=1.0, sharey=True, gridspec_kw={"wspace": 0.08})
    for ax, key, figure in zip(axes, ("more_stress", "more_wasted"), _FIGURES, strict=True):
        ax.barh(rows, [getattr(trial, figure) for trial in trials.trials], height=0.7, **STYLES[key].filled(label=""))
        ax.set_xlim(right=max(1.0, ax.get_xlim()[1]))  # one day, one litre, where no fault adds any
        ax.axvline(0.0, color="black", linewidth=0.7)
        label(ax.xaxis, f"{STYLES[key].label} [{{}}]", STYLES[key].unit)
        ax.grid(axis="x")
    # no figure parts from its unit
    whole = [re.sub(r"(?<=\d) ", "\u00a0", plain(trial.name)) for trial in trials.trials]
    axes[0].set_yticks(rows, ["\n".join(textwrap.wrap(name, _LONGEST)) for name in whole], linespacing=1.0)
    axes[0].set_ylim(len(rows) - 0.4, -0.6)
    return axes
