"""
Sweep map: the design that suits each place, and the water that it takes, where the places lie.
"""

import math
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap

from panbudget import words
from panbudget.errors import OutputError
from panbudget.reports.canvas import panels, save
from panbudget.reports.style import VALVE_STYLES, applied, plain
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.store import OVER, described
from panbudget.studies.sweep.summary import Choice

_MARKS = "osD^vP*Xhp"
# from light grey on: a white mark would look hollow, or without a figure
_SHADES = LinearSegmentedColormap.from_list("shades", ["#D9D9D9", "#000000"])


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
    size = _size(len(placed))
    with applied():
        left, right = panels(2, height=4.1, columns=2)
        for index, name in enumerate(designs):
            mine = np.array([choice.design == name for choice in placed], bool)
            label = f"{plain(name)} ({int(mine.sum())})"
            colour = VALVE_STYLES[index % len(VALVE_STYLES)].colour
            mark = _MARKS[index % len(_MARKS)]
            look: dict[str, Any] = {"s": size, "marker": mark, "edgecolors": colour, "linewidths": 0.8}
            for chosen, face in ((mine & keeps, colour), (mine & ~keeps, "none")):
                if chosen.any():
                    left.scatter(longitude[chosen], latitude[chosen], facecolors=face, label=label, **look)
                    label = "_"
        left.figure.suptitle(plain(title)[:100], x=0.01, ha="left")
        left.set_title(f"what suits; hollow: none keeps to {wish} days short")
        left.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=3)
        text, water = _level(placed)
        tank = words.SHOWN["tank-volume"]
        _shaded(right, longitude, latitude, tank.shown(water / 1000.0), f"water a season [{tank.unit}]")
        right.set_title(f"its water, {text}")
        for ax in (left, right):
            _laid(ax, latitude)
        return [left, right]


def _level(choices: Sequence[Choice]) -> tuple[str, Any]:
    """The water of places by the highest return level that most of them have; else that of their highest years."""
    for text, name in (("nine years in ten", "litres_nine_in_ten"), ("four years in five", "litres_four_in_five")):
        water = np.array([getattr(choice, name) for choice in choices])
        if np.isfinite(water).mean() >= 0.5:
            return text, water
    return "highest of its years", np.array([choice.litres for choice in choices])


def _size(places: int) -> float:
    return float(np.clip(2400.0 / max(places, 1), 6.0, 60.0))


def _shaded(ax: Axes, longitude: Any, latitude: Any, values: Any, label: str, limits: Any = (None, None)) -> None:
    """Places shaded by a value; a cross where there is none."""
    known = np.isfinite(values)
    grey: dict[str, Any] = {"cmap": _SHADES, "edgecolors": "#7F7F7F", "linewidths": 0.4}
    grey |= {"s": _size(len(values)), "vmin": limits[0], "vmax": limits[1]}
    ends = (values[known].min(), values[known].max()) if limits[0] is None and known.any() else limits
    same = ends[0] == ends[1]  # a scale would run below it, as of no days to negative ones
    text = f"{ends[0]:.4g} {label} everywhere" if same and known.any() else "_"
    shades = ax.scatter(longitude[known], latitude[known], c=values[known], label=text, **grey)
    if not known.all():
        ax.scatter(longitude[~known], latitude[~known], marker="x", c="#7F7F7F", s=12.0, label="too few years")
    if same or not known.all():
        ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12))
    if not same and known.any():  # beside crosses alone it would say nothing
        ax.figure.colorbar(shades, ax=ax, label=label, shrink=0.8)


def _laid(ax: Axes, latitude: Any) -> None:
    """Axes of a map: a degree of longitude as much shorter as it is there."""
    ax.set(xlabel="longitude [°]", ylabel="latitude [°]")
    middle = float(np.radians(np.clip(latitude.mean(), -80.0, 80.0)))
    ax.set_aspect(1.0 / math.cos(middle), adjustable="datalim")
    ax.grid(True)


def column_figure(values: pd.DataFrame, column: str, quantile: float | None, title: str) -> list[Axes]:
    """
    Draw a column of the dataset on maps, one a design, on one scale.

    Parameters
    ----------
    values : DataFrame
        site, latitude, longitude, design, value: as `summary.mapped` gives it.
    column : str
    quantile : float, optional
        Of the years; their mean if left out. [-]
    title : str
    """
    unit, meaning, over = described(column)
    placed = values[np.isfinite(values["longitude"].astype(float))]
    if kind := words.kind_of(unit):
        unit, placed = words.SHOWN[kind].unit, placed.assign(value=placed["value"].map(words.SHOWN[kind].shown))
    by_design = list(placed.groupby("design", sort=False))
    years = "mean of the years" if quantile is None else f"not exceeded in {100.0 * quantile:g} % of years"
    known = placed["value"].dropna()
    label = {"": column, "1": column, "day": "days"}.get(unit, unit)
    limits = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    with applied():
        axes = panels(max(len(by_design), 1), height=3.6, columns=2)
        axes[0].figure.suptitle(f"{plain(title)[:70]}: {meaning}; {years}{OVER.get(over, '')}", x=0.01, ha="left")
        for ax, (design, rows) in zip(axes, by_design, strict=False):
            longitude, latitude, shades = (rows[name].to_numpy(float) for name in ("longitude", "latitude", "value"))
            _shaded(ax, longitude, latitude, shades, label, limits)
            ax.set_title(plain(str(design)))
            _laid(ax, latitude)
        return axes


def column_files(values: pd.DataFrame, column: str, quantile: float | None, title: str) -> dict[str, bytes]:
    """Return such maps as files, as `map_files` does."""
    name = f"map-{column}" + ("" if quantile is None else f"-{quantile:g}")
    return _files(column_figure(values, column, quantile, title), name)


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
    return _files(map_figure(choices, designs, title, wish), "map")


def _files(axes: Sequence[Axes], name: str) -> dict[str, bytes]:
    try:
        with tempfile.TemporaryDirectory() as folder:
            save(axes, Path(folder) / name)
            return {f"{name}{suffix}": (Path(folder) / f"{name}{suffix}").read_bytes() for suffix in (".png", ".svg")}
    except OSError as error:
        raise OutputError(problem("unwritable", reason=error.strerror), file=f"figures/{name}") from None
