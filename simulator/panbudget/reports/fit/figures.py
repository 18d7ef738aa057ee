"""
Fit figures: the pan's loss between visits by log and model, and what is left between them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib.dates as mdates
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from panbudget.reports.canvas import date_axis
from panbudget.reports.style import STYLES, applied, plain

if TYPE_CHECKING:
    import pandas as pd

    from panbudget.studies.fit.estimate import Fit

_WIDTH = 9.0
_MARKS = {"level": "o", "count": "s", "meter": "^"}


def _axes(fit: Fit) -> list[Axes]:
    figure = Figure(figsize=(_WIDTH, 2.4 * len(fit.controllers) + 0.7), layout="constrained")
    return list(figure.subplots(len(fit.controllers), 1, squeeze=False, sharex=True).flat)


def _days(fit: Fit) -> Any:
    # to the end of the last day, so that an evening's reading is not cut off
    span = np.array([fit.log.first, fit.log.last], "datetime64[D]") + np.array([0, 1])
    return mdates.date2num(span)  # type: ignore[no-untyped-call]


def _number(moments: pd.Series[Any]) -> Any:
    return mdates.date2num(moments.to_numpy("datetime64[s]"))  # type: ignore[no-untyped-call]


def loss_figure(fit: Fit) -> list[Axes]:
    """
    Draw what each pan lost a day between visits: by the log, as described and as fitted.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    list of Axes
        One a pan.
    """
    with applied():
        axes = _axes(fit)
        for ax, (name, one) in zip(axes, fit.controllers.items(), strict=True):
            middle = (_number(one.lost["start"]) + _number(one.lost["end"])) / 2.0
            for column, key in (("before", "as_described"), ("after", "as_fitted")):
                ax.plot(middle, one.lost[column].to_numpy(float), **STYLES[key].lined())
            ax.plot(
                middle,
                one.lost["observed"].to_numpy(float),
                **STYLES["by_log"].lined(linestyle="none"),
                marker="o",
                ms=3.5,
            )
            ax.set_title(plain(name))
            ax.set_ylabel("net loss [mm/day]")
            ax.grid()
            date_axis(ax, _days(fit))
        axes[0].figure.legend(*axes[0].get_legend_handles_labels(), loc="outside upper left", ncols=3)
    return axes


def residual_figure(fit: Fit) -> list[Axes]:
    """
    Draw what is left between readings and model, in standard errors.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    list of Axes
        One a pan.
    """
    with applied():
        axes = _axes(fit)
        far = 4.5
        for ax, (name, one) in zip(axes, fit.controllers.items(), strict=True):
            for kind, mark in _MARKS.items():
                rows = one.readings[one.readings["kind"] == kind]
                if not len(rows):
                    continue
                left = np.clip((rows["residual"] / rows["error"]).to_numpy(float), -far, far)
                aside = rows["set_aside"].to_numpy(bool)
                style: dict[str, Any] = {"linestyle": "none", "marker": mark, "ms": 4.0, "color": "#0072B2"}
                moments = _number(rows["date"])
                ax.plot(moments[~aside], left[~aside], label=kind, **style)
                ax.plot(moments[aside], left[aside], mfc="none", **style)
            ax.axhline(0.0, color="black", linewidth=0.7)
            ax.set_ylim(-far - 0.3, far + 0.3)
            ax.set_title(plain(name))
            ax.set_ylabel("standard errors")
            ax.grid()
            date_axis(ax, _days(fit))
        handles = {label: handle for ax in axes for handle, label in zip(*ax.get_legend_handles_labels(), strict=True)}
        axes[0].figure.legend(handles.values(), handles.keys(), loc="outside upper left", ncols=3)
    return axes
