"""
Today figures: each bed's water left, so far and fanned out over what earlier years would do; made for a phone's width.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from panbudget.reports.canvas import date_axis, day_numbers, keys, label, legend_over, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.today.fan import band
from panbudget.studies.today.standing import Today

_WIDTH = 4.0  # inches, on a phone's screen about life-size
_BEFORE = 21  # days shown before today


@applied()
def fan_figure(today: Today, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw the water left of each bed's driest quarter: three weeks past, and the fan ahead.

    Parameters
    ----------
    today : Today
        With a fan.
    axes : sequence of Axes, optional
        One for each bed; a new figure if left out.

    Returns
    -------
    list of Axes
        One for each bed, in the scenario's order.
    """
    fan, beds = today.fan, today.season.beds
    assert fan is not None
    axes = panels(len(beds), height=1.5, width=_WIDTH, more=0.7, axes=axes, sharex=True)
    ahead = day_numbers(fan.dates)
    for row, (ax, (key, table)) in enumerate(zip(axes, beds.items(), strict=True)):
        past = table.iloc[-_BEFORE:]
        grown = np.where(past["growing"], past["driest_water_left_mm"], np.nan)
        ax.plot(day_numbers(past.index), grown, **STYLES["fan_past"].lined(label=""))
        values = fan.each("room_mm", row)
        grows = ~np.isnan(values).any(axis=0)
        if grows.any():
            ends = band(values[:, grows], worst_is_low=True)
            ax.fill_between(ahead[grows], ends["low"], ends["high"], **STYLES["fan_band"].filled(label=""))
            for name in ("middle", "worst"):
                ax.plot(ahead[grows], ends[name], **STYLES[f"fan_{name}"].lined(label=""))
        ax.axhline(0.0, **STYLES["zero"].lined(label=""))
        ax.set_title(plain(key))
        label(ax.yaxis, "left [{}]", "depth")
        ax.grid()
    date_axis(axes[-1], np.array([day_numbers(today.season.days.index)[-_BEFORE:][0], ahead[-1]]), most=5)
    legend_over(axes, 2, keys(["fan_past", "fan_middle", "fan_worst", "zero"], ["fan_band"]))
    return axes
