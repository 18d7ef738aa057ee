"""
Tank figures: the water in each tank through the season, and how large it should have been.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from panbudget.reports.canvas import date_axis, day_numbers, legend_above
from panbudget.reports.style import STYLES, applied, plain
from panbudget.season.supplies import tanks_in_use
from panbudget.studies.tank_sizes import tank_sizes

if TYPE_CHECKING:
    import pandas as pd

    from panbudget.season.result import Season

__all__ = ["tank_figure"]

_WIDTH = 9.0


def tank_figure(season: Season, sizes: Mapping[str, pd.DataFrame] | None = None) -> list[Axes]:
    """
    Draw each tank: its water day by day, and the hours that valves stood dry under smaller and larger ones.

    Parameters
    ----------
    season : Season
        With a tank or more.
    sizes : mapping of DataFrame, optional
        Tank -> other sizes, as `tank_sizes` gives them; else they are run.

    Returns
    -------
    list of Axes
        Two a tank: water through the season, sizes.
    """
    with applied():
        count = len(season.tanks)
        figure = Figure(figsize=(_WIDTH, 2.8 * count + 0.4), layout="constrained")
        grid = figure.subplots(count, 2, squeeze=False, gridspec_kw={"width_ratios": [2.0, 1.0]})
        for (left, right), (name, table) in zip(grid, season.tanks.items(), strict=True):
            supply = tanks_in_use(season.scenario)[name]
            days = day_numbers(table.index)
            left.fill_between(days, table["volume_l"] / 1000.0, color="#CFE3F1", linewidth=0.0)
            left.plot(days, table["volume_l"] / 1000.0, **STYLES["mean"].lined(label="water in the tank"))
            left.axhline(supply.volume / 1000.0, **STYLES["rim"].lined(label="full"))
            left.set_ylim(0.0, supply.volume / 1000.0 * 1.08)
            left.set_ylabel("water [m³]")
            left.set_title(f"Tank {plain(name)}")
            legend_above(left)
            date_axis(left, days, most=6)
            left.grid(axis="x")
            others = tank_sizes(season, name) if sizes is None else sizes[name]
            right.plot(
                others["volume_l"] / 1000.0, others["starved_hours"], marker="o", **STYLES["needed"].lined(label="")
            )
            right.axvline(supply.volume / 1000.0, **STYLES["trip"].lined(label=""))
            right.set_xscale("log")
            ticks = list(others["volume_l"][::3] / 1000.0)
            right.set_xticks(ticks, [f"{tick:.3g}" for tick in ticks])
            right.set_xticks([], minor=True)
            right.set_ylim(bottom=0.0)
            right.set_xlabel("size [m³]; dashed: this one")
            right.set_ylabel("hours open without water [h]")
            right.set_title("Other sizes")
            right.grid()
        return [ax for row in grid for ax in row]
