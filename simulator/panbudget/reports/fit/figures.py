"""
Fit figures: the pan's loss between visits by log and model, and what is left between them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import matplotlib.dates as mdates
import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from panbudget.reports.canvas import date_axis, label, legend_over, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.fit.estimate import ControllerFit, Fit

_MARKS = {"level": "o", "count": "s", "meter": "^"}
_FAR = 4.5  # standard errors; what lies further stands at the edge


def _number(moments: pd.Series[Any]) -> Any:
    return mdates.date2num(moments.to_numpy("datetime64[s]"))  # type: ignore[no-untyped-call]


def _each(fit: Fit, named: str, kind: str) -> Iterator[tuple[Axes, ControllerFit]]:
    """Axes and pan in turn, with what all have in common."""
    axes = panels(len(fit.controllers), height=2.4, more=0.7, sharex=True)
    # to the end of the last day, so that an evening's reading is not cut off
    span = np.array([fit.log.first, fit.log.last], "datetime64[D]") + np.array([0, 1])
    for ax, (name, pan) in zip(axes, fit.controllers.items(), strict=True):
        yield ax, pan
        ax.set_title(plain(name))
        label(ax.yaxis, named, kind)
        ax.grid()
        date_axis(ax, mdates.date2num(span))  # type: ignore[no-untyped-call]


def _with_legend(axes: list[Axes]) -> list[Axes]:
    handles = {label: handle for ax in axes for handle, label in zip(*ax.get_legend_handles_labels(), strict=True)}
    legend_over(axes, 3, list(handles.values()), list(handles))
    return axes


@applied()
def loss_figure(fit: Fit) -> list[Axes]:
    """
    Draw what each pan lost a day between visits: by the log, as described and as fitted.

    Returns
    -------
    list of Axes
        One a pan.
    """
    axes = []
    for ax, pan in _each(fit, "net loss [{}]", "depth-a-day"):
        middle = (_number(pan.lost["start"]) + _number(pan.lost["end"])) / 2.0
        for column, key in (("before", "as_described"), ("after", "as_fitted")):
            ax.plot(middle, pan.lost[column].to_numpy(float), **STYLES[key].lined())
        look = STYLES["by_log"].lined(linestyle="none", marker="o", ms=3.5)
        ax.plot(middle, pan.lost["observed"].to_numpy(float), **look)
        axes.append(ax)
    return _with_legend(axes)


@applied()
def residual_figure(fit: Fit) -> list[Axes]:
    """
    Draw what is left between readings and model, in standard errors.

    Returns
    -------
    list of Axes
        One a pan.
    """
    axes = []
    for ax, pan in _each(fit, "standard errors", ""):
        for kind, mark in _MARKS.items():
            rows = pan.readings[pan.readings["kind"] == kind]
            errors = np.clip((rows["residual"] / rows["error"]).to_numpy(float), -_FAR, _FAR)
            aside, moments = rows["set_aside"].to_numpy(bool), _number(rows["date"])
            look: dict[str, Any] = {"linestyle": "none", "marker": mark, "ms": 4.0, "color": STYLES["mean"].colour}
            if len(rows):
                ax.plot(moments[~aside], errors[~aside], label=kind, **look)
                ax.plot(moments[aside], errors[aside], mfc="none", **look)
        ax.axhline(0.0, color="black", linewidth=0.7)
        ax.set_ylim(-_FAR - 0.3, _FAR + 0.3)
        axes.append(ax)
    return _with_legend(axes)
