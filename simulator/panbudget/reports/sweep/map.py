"""
Sweep map: the design that suits each place, and the water that it takes, where the places lie.
"""

import math
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from panbudget.reports.canvas import panels, save
from panbudget.reports.style import VALVE_STYLES, applied, plain
from panbudget.studies.sweep.summary import Choice

_MARKS = "osD^vP*Xhp"


def map_figure(choices: Sequence[Choice], designs: Sequence[str], title: str, wish: int) -> list[Axes]:
    """
    Draw two maps side by side: each place's design as a mark, and its water as a shade.

    Parameters
    ----------
    choices : sequence of Choice
        Those without a longitude are left out.
    designs : sequence of str
        In the plan's order, for the legend.
    title : str
    wish : int
        Most days short of water. [days]

    Returns
    -------
    list of Axes
        Two.
    """
    placed = [choice for choice in choices if math.isfinite(choice.longitude)]
    longitude = np.array([choice.longitude for choice in placed])
    latitude = np.array([choice.latitude for choice in placed])
    keeps = np.array([choice.keeps for choice in placed], bool)
    size = float(np.clip(2400.0 / max(len(placed), 1), 6.0, 60.0))
    with applied():
        left, right = panels(2, height=4.1, columns=2)
        for index, name in enumerate(designs):
            mine = np.array([choice.design == name for choice in placed], bool)
            label = f"{plain(name)} ({int(mine.sum())})"
            colour = VALVE_STYLES[index % len(VALVE_STYLES)].colour
            look: dict[str, Any] = {
                "s": size,
                "marker": _MARKS[index % len(_MARKS)],
                "edgecolors": colour,
                "linewidths": 0.8,
            }
            for chosen, face in ((mine & keeps, colour), (mine & ~keeps, "none")):
                if chosen.any():
                    left.scatter(longitude[chosen], latitude[chosen], facecolors=face, label=label, **look)
                    label = "_"
        left.figure.suptitle(plain(title)[:100], x=0.01, ha="left")
        left.set_title(f"what suits; hollow: none keeps to {wish} days short")
        left.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=3)
        water = np.array([choice.litres for choice in placed]) / 1000.0
        grey: dict[str, Any] = {"cmap": "Greys", "edgecolors": "#7F7F7F", "linewidths": 0.4}
        shades = right.scatter(longitude, latitude, c=water, s=size, **grey)
        right.set_title("its water, nine years in ten")
        right.figure.colorbar(shades, ax=right, label="water a season [m³]", shrink=0.8)
        for ax in (left, right):
            ax.set(xlabel="longitude [°]", ylabel="latitude [°]")
            middle = float(np.radians(np.clip(latitude.mean(), -80.0, 80.0)))
            ax.set_aspect(1.0 / math.cos(middle), adjustable="datalim")
            ax.grid(True)
        return [left, right]


def map_files(choices: Sequence[Choice], designs: Sequence[str], title: str, wish: int) -> dict[str, bytes]:
    """
    Return the map as files, the same bytes each time.

    Parameters
    ----------
    choices, designs, title, wish
        As in `map_figure`.

    Returns
    -------
    dict
        Name -> content: PNG and SVG.
    """
    axes = map_figure(choices, designs, title, wish)
    with tempfile.TemporaryDirectory() as folder:
        save(axes, Path(folder) / "map")
        return {name: (Path(folder) / name).read_bytes() for name in ("map.png", "map.svg")}
