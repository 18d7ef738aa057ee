"""
Size figures: the map of pans and refill flows, and what a drop of water buys.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.size.choose import Choice, ValveSizing

__all__ = ["map_figure", "trade_off_figure"]

_WIDTH = 7.5


def map_figure(valve: ValveSizing) -> list[Axes]:
    """
    Draw every setting tried: pan's area across, refill flow up, days short as a number, kept wishes as filled marks.

    Parameters
    ----------
    valve : ValveSizing

    Returns
    -------
    list of Axes
        One.
    """
    choice = valve.advice
    with applied():
        figure = Figure(figsize=(_WIDTH, 5.0), layout="constrained")
        ax = figure.subplots()
        judged = choice.judged
        area = np.array([s.area for s in judged.settings])
        flow = np.array([s.refill_flow for s in judged.settings])
        days = judged.stress_days
        # the same pan and flow with other swings lie on each other: the one that keeps most shows
        order = np.argsort(judged.feasible, kind="stable")
        shades = ax.scatter(
            area[order],
            flow[order],
            c=np.minimum(days[order], 60.0),
            cmap="Greys",
            vmin=0.0,
            vmax=60.0,
            s=46.0,
            marker="s",
            edgecolors="#BBBBBB",
            linewidths=0.3,
        )
        kept = judged.feasible
        ax.scatter(
            area[kept],
            flow[kept],
            facecolors="none",
            edgecolors=STYLES["mean"].colour,
            s=70.0,
            linewidths=1.3,
            label="keeps every wish",
        )
        best = judged.settings[choice.best]
        ax.plot(
            best.area, best.refill_flow, marker="*", markersize=15, linestyle="", color=STYLES["eto"].colour,
            markeredgecolor="black", label="best" if choice.keeps else "nearest to the wishes",
        )  # fmt: skip
        ax.plot(
            valve.present.area, valve.present.refill_flow, marker="x", markersize=9, markeredgewidth=2.0, linestyle="",
            color="black", label="as described",
        )  # fmt: skip
        ax.set_xscale("log")
        ax.set_yscale("log")
        for axis, values in ((ax.xaxis, area), (ax.yaxis, flow)):
            ticks = _round_ticks(float(values.min()), float(values.max()))
            axis.set_ticks(ticks, [f"{tick:g}" for tick in ticks])
            axis.set_ticks([], minor=True)
        ax.set_xlabel("pan's area [m²]")
        ax.set_ylabel("refill flow [L/h]")
        ax.set_title(f"Settings tried for {plain(valve.name)}")
        bar = figure.colorbar(shades, ax=ax, shrink=0.8)
        bar.set_label("days short of water [days]; 60 or more: black")
        figure.legend(loc="outside lower center", ncols=3)
    return [ax]


def _round_ticks(low: float, high: float) -> list[float]:
    ticks = [a * 10.0**b for b in range(-4, 4) for a in (1.0, 2.0, 5.0)]
    inside = [tick for tick in ticks if low * 0.99 <= tick <= high * 1.01]
    return inside if len(inside) >= 2 else [float(f"{low:.3g}"), float(f"{high:.3g}")]


def trade_off_figure(valve: ValveSizing) -> list[Axes]:
    """
    Draw what water buys: litres a season across, days short up, the least water for each number of days as a line.

    Parameters
    ----------
    valve : ValveSizing

    Returns
    -------
    list of Axes
        One.
    """
    with applied():
        figure = Figure(figsize=(_WIDTH, 3.8), layout="constrained")
        ax = figure.subplots()
        sets: list[tuple[Choice, str, str, str]] = [(valve.choice, "emitters as they are", STYLES["taw"].colour, "--")]
        if valve.with_emitters is not None:
            sets.append((valve.with_emitters, "with the suggested emitters", STYLES["mean"].colour, "-"))
        for choice, label, colour, line in sets:
            judged = choice.judged
            ax.scatter(judged.litres / 1000.0, judged.stress_days, s=14.0, color=colour, alpha=0.45, linewidths=0.0)
            order = np.argsort(judged.litres, kind="stable")
            lowest = np.minimum.accumulate(judged.stress_days[order])
            ax.step(
                judged.litres[order] / 1000.0,
                lowest,
                where="post",
                color=colour,
                linestyle=line,
                linewidth=1.6,
                label=label,
            )
            ax.plot(
                judged.litres[choice.best] / 1000.0, judged.stress_days[choice.best], marker="*", markersize=13,
                color=STYLES["eto"].colour, markeredgecolor="black", linestyle="", label="best" if choice is valve.advice else None,
            )  # fmt: skip
        best = valve.advice.judged.litres[valve.advice.best] / 1000.0
        most = max(float(choice.judged.litres.max()) for choice, *_ in sets) / 1000.0
        ax.set_xlim(0.0, min(3.0 * float(best), 1.05 * most))
        highest = max(float(choice.judged.stress_days.max()) for choice, *_ in sets)
        ax.set_ylim(-0.04 * max(highest, 1.0), 1.05 * max(highest, 1.0))
        ax.set_xlabel("water through the valve [m³ a season, mean of the years]")
        ax.set_ylabel("days short [days]")
        ax.set_title(f"What water buys, {plain(valve.name)}")
        ax.legend(loc="upper right")
        ax.grid()
    return [ax]
