"""
Size figures: the map of pans and refill flows, and what a drop of water buys.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from panbudget.reports.canvas import label as label_axis
from panbudget.reports.canvas import legend_above, mark_round, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.size.choosing import Choice
from panbudget.studies.size.sizing import ValveSizing

_DARKEST = 60.0  # days short of water
_STAR: dict[str, Any] = {"marker": "*", "linestyle": "", "color": STYLES["eto"].colour, "markeredgecolor": "black"}
_CROSS: dict[str, Any] = {"marker": "X", "ms": 11, "linestyle": "", "color": "black", "markeredgecolor": "white"}


def name_of_best(choice: Choice) -> str:
    """Return what figures and tables call the setting chosen."""
    return "best" if choice.keeps else "nearest to the wishes"


@applied()
def map_figure(valve: ValveSizing, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw every setting tried: pan's area across, refill flow up, days short as a shade, kept wishes as rings.

    Parameters
    ----------
    valve : ValveSizing
    axes : sequence of Axes, optional
        One; a new figure if left out.

    Returns
    -------
    list of Axes
        One.
    """
    present, best, interval = valve.present, valve.best, valve.interval
    judged = valve.tried
    area = np.array([setting.area for setting in judged.settings])
    flow = np.array([valve.flow_of(setting) for setting in judged.settings])
    feasible = judged.share >= interval
    (ax,) = panels(1, height=4.5, width=7.5, axes=axes)
    # the same pan and flow with other swings lie on each other: the one that keeps most shows
    order = np.argsort(judged.share, kind="stable")
    darkest = max(_DARKEST, 2.0 * float(judged.stress_days.min()))  # where all are short, the least is half grey
    shade = np.minimum(judged.stress_days[order], darkest)
    squares: dict[str, Any] = {"cmap": "Greys", "vmin": 0.0, "vmax": darkest, "s": 46.0, "marker": "s"}
    shades = ax.scatter(area[order], flow[order], c=shade, edgecolors="#BBBBBB", linewidths=0.3, **squares)
    rings: dict[str, Any] = {"facecolors": "none", "edgecolors": STYLES["mean"].colour, "s": 70.0, "linewidths": 1.3}
    ax.scatter(area[feasible], flow[feasible], label="keeps the wishes", **rings)
    ax.plot(best.area, valve.flow_of(best), markersize=15, label=name_of_best(valve.choice), **_STAR)
    ax.plot(present.area, valve.flow_of(present), label="as described", **_CROSS)
    ax.set(xscale="log", yscale="log")
    sides = ((ax.xaxis, "pan's area [{}]", area, "area"), (ax.yaxis, "refill flow [{}]", flow, "flow"))
    for axis, text, values, kind in sides:
        label_axis(axis, text, kind)
        mark_round(axis, values, kind)
    ax.set(title=f"Settings tried for {plain(valve.name)}")
    bar = ax.figure.colorbar(shades, ax=ax, shrink=0.8)
    bar.set_label(f"days short of water [days]; {darkest:.0f} or more: black")
    ax.figure.legend(loc="outside lower center", ncols=3)
    return [ax]


@applied()
def trade_off_figure(valve: ValveSizing, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw what water buys: litres a season across, days short up, the least water for each number of days as a line.

    Parameters
    ----------
    valve : ValveSizing
    axes : sequence of Axes, optional
        One; a new figure if left out.

    Returns
    -------
    list of Axes
        One.
    """
    (ax,) = panels(1, height=3.3, width=7.5, axes=axes)
    judged, choice = valve.tried, valve.choice
    water, days = judged.litres / 1000.0, judged.stress_days
    ax.scatter(water, days, s=14.0, color=STYLES["faint"].colour, alpha=0.45, linewidths=0.0)
    order = np.argsort(water, kind="stable")
    ax.step(water[order], np.minimum.accumulate(days[order]), where="post", color=STYLES["mean"].colour, linewidth=1.6)
    chosen_water, chosen_days = choice.judged.litres / 1000.0, choice.judged.stress_days
    ax.plot(chosen_water[choice.best], chosen_days[choice.best], markersize=13, label=name_of_best(choice), **_STAR)
    ax.plot(chosen_water[0], chosen_days[0], label="as described", **_CROSS)
    ax.set_xlim(0.0, min(3.0 * float(chosen_water[[0, choice.best]].max()), 1.05 * float(water.max())))
    highest = max(1.0, float(days.max()))
    ax.set(ylim=(-0.04 * highest, 1.05 * highest), ylabel="days short of water [days]")
    label_axis(ax.xaxis, "water through the valve [{} a season, mean]", "tank-volume")
    ax.set(title=f"What water buys, {plain(valve.name)}")
    legend_above(ax)
    ax.grid()
    return [ax]
