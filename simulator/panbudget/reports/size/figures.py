"""
Size figures: the map of pans and refill flows, and what a drop of water buys.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis

from panbudget.numeric import Floats
from panbudget.reports.canvas import panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.size.choose import Choice, ValveSizing

_DARKEST = 60.0  # days short of water
_STAR: dict[str, Any] = {"marker": "*", "linestyle": "", "color": STYLES["eto"].colour, "markeredgecolor": "black"}


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
    choice, present = valve.advice, valve.present
    judged, best = choice.judged, choice.judged.settings[choice.best]
    area, _, flow, _ = np.array(judged.settings).T
    (ax,) = panels(1, height=4.5, width=7.5, axes=axes)
    # the same pan and flow with other swings lie on each other: the one that keeps most shows
    order = np.argsort(judged.feasible, kind="stable")
    shade = np.minimum(judged.stress_days[order], _DARKEST)
    squares: dict[str, Any] = {"cmap": "Greys", "vmin": 0.0, "vmax": _DARKEST, "s": 46.0, "marker": "s"}
    shades = ax.scatter(area[order], flow[order], c=shade, edgecolors="#BBBBBB", linewidths=0.3, **squares)
    rings: dict[str, Any] = {"facecolors": "none", "edgecolors": STYLES["mean"].colour, "s": 70.0, "linewidths": 1.3}
    ax.scatter(area[judged.feasible], flow[judged.feasible], label="keeps every wish", **rings)
    label = "best" if choice.keeps else "nearest to the wishes"
    ax.plot(best.area, best.refill_flow, markersize=15, label=label, **_STAR)
    cross: dict[str, Any] = {"marker": "x", "markersize": 9, "markeredgewidth": 2.0, "linestyle": "", "color": "black"}
    ax.plot(present.area, present.refill_flow, label="as described", **cross)
    ax.set(xscale="log", yscale="log")
    _mark_round(ax.xaxis, area)
    _mark_round(ax.yaxis, flow)
    ax.set(xlabel="pan's area [m²]", ylabel="refill flow [L/h]", title=f"Settings tried for {plain(valve.name)}")
    bar = ax.figure.colorbar(shades, ax=ax, shrink=0.8)
    bar.set_label(f"days short of water [days]; {_DARKEST:.0f} or more: black")
    ax.figure.legend(loc="outside lower center", ncols=3)
    return [ax]


def _mark_round(axis: Axis, values: Floats) -> None:
    """Mark round numbers on a logarithmic axis, or its ends where there is none."""
    low, high = float(values.min()), float(values.max())
    ticks = [a * 10.0**b for b in range(-4, 4) for a in (1.0, 2.0, 5.0) if low * 0.99 <= a * 10.0**b <= high * 1.01]
    ticks = ticks if len(ticks) >= 2 else [float(f"{low:.3g}"), float(f"{high:.3g}")]
    axis.set_ticks(ticks, [f"{tick:g}" for tick in ticks])
    axis.set_ticks([], minor=True)


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
    sets: list[tuple[Choice, str, str, str]] = [(valve.choice, "emitters as they are", STYLES["taw"].colour, "--")]
    if valve.with_emitters is not None:
        sets.append((valve.with_emitters, "with the suggested emitters", STYLES["mean"].colour, "-"))
    (ax,) = panels(1, height=3.3, width=7.5, axes=axes)
    for choice, label, colour, line in sets:
        water, days = choice.judged.litres / 1000.0, choice.judged.stress_days
        ax.scatter(water, days, s=14.0, color=colour, alpha=0.45, linewidths=0.0)
        order = np.argsort(water, kind="stable")
        look: dict[str, Any] = {"color": colour, "linestyle": line, "linewidth": 1.6, "label": label}
        ax.step(water[order], np.minimum.accumulate(days[order]), where="post", **look)
        star = "best" if choice is valve.advice else None
        ax.plot(water[choice.best], days[choice.best], markersize=13, label=star, **_STAR)
    best = float(valve.advice.judged.litres[valve.advice.best]) / 1000.0
    most = max(float(choice.judged.litres.max()) for choice, *_ in sets) / 1000.0
    ax.set_xlim(0.0, min(3.0 * best, 1.05 * most))
    highest = max(1.0, *(float(choice.judged.stress_days.max()) for choice, *_ in sets))
    ax.set(ylim=(-0.04 * highest, 1.05 * highest), xlabel="water through the valve [m³ a season, mean of the years]")
    ax.set(ylabel="days short of water [days]", title=f"What water buys, {plain(valve.name)}")
    ax.legend(loc="upper right")
    ax.grid()
    return [ax]
