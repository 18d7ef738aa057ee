"""
Canvas: what every figure needs: axes, dates, a legend's place, and saving the same bytes each time.

Days are matplotlib's day numbers here: a day's value stands at its mark, its width is half a day to each side.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import matplotlib.dates as mdates
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import AutoLocator, FixedFormatter, FixedLocator, FuncFormatter

from panbudget.numeric import Floats
from panbudget.reports.style import STYLES, applied
from panbudget.words import SHOWN, Shown, is_us, units_shown

WIDTH = 9.0  # inches; an A4 page's text is narrower, and the vector picture shrinks to it


def draw(draws: Mapping[str, Callable[..., Sequence[Axes]]], result: Any, folder: Path | None = None) -> dict[str, str]:
    """
    Draw a result's figures to stand inside its page.

    Parameters
    ----------
    draws : mapping of callable
        Names, and what draws them.
    result : Reported
    folder : Path, optional
        Where they are to stand as files too; made.

    Returns
    -------
    dict
        Name -> SVG element.
    """
    if folder is None:
        return {name: svg_text(drawn(result)) for name, drawn in draws.items()}
    folder.mkdir()
    return {name: _element(save(drawn(result), folder / name)) for name, drawn in draws.items()}


@applied()
def save(drawn: Sequence[Axes], path: Path) -> str:
    """
    Write a figure as PNG and SVG, the same bytes each time.

    Parameters
    ----------
    drawn : sequence of Axes
        As the functions here return.
    path : Path
        Without suffix.

    Returns
    -------
    str
        The SVG file's text.
    """
    _save(drawn, path.with_name(path.name + ".png"), format="png", dpi=150, metadata={"Software": None})
    text = _svg(drawn)
    path.with_name(path.name + ".svg").write_text(text, encoding="utf-8", newline="\n")
    return text


@applied()
def svg_text(drawn: Sequence[Axes]) -> str:
    """
    Return a figure as an SVG element to stand inside a page.

    Returns
    -------
    str
        ``<svg …>…</svg>``: no declaration, comment, metadata or address of anything outside.
    """
    return _element(_svg(drawn))


def _element(text: str) -> str:
    text = text[text.index("<svg") :]
    # matplotlib keeps user's names in comments; a page needs neither these nor its namespaces
    text = re.sub(r"<!--.*?-->\n?", "", text, flags=re.DOTALL)
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    return re.sub(r' xmlns(:\w+)?="[^"]*"', "", text).strip()


def _svg(drawn: Sequence[Axes]) -> str:
    buffer = io.StringIO()
    _save(drawn, buffer, format="svg", metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
    return buffer.getvalue()


def _save(drawn: Sequence[Axes], target: Any, **options: Any) -> None:
    figure = drawn[0].figure
    assert isinstance(figure, Figure)
    if (engine := figure.get_layout_engine()) is not None:
        engine.execute(figure)  # once; saving would lay it out twice, and again for each kind of file
        figure.set_layout_engine(None)
        for ax in figure.axes:  # the solver's last bits differ from run to run, and names in the SVG are made of them
            x, y, width, height = (round(float(part), 9) for part in ax.get_position(original=True).bounds)
            ax.set_position((x, y, width, height))
    figure.savefig(target, **options)


def panels(
    count: int,
    *,
    height: float,
    width: float = WIDTH,
    columns: int = 1,
    more: float = 0.5,
    axes: Sequence[Axes] | None = None,
    **layout: Any,
) -> list[Axes]:
    """
    Return the axes of a figure: those given, or those of a new figure.

    Parameters
    ----------
    count : int
        How many are needed.
    height : float
        Of each. [inches]
    width : float
        Of the figure. [inches]
    columns : int
        How many stand abreast; those of the last row that are not needed are left out.
    more : float
        Height of the figure beside theirs. [inches]
    axes : sequence of Axes, optional
        Of the caller.
    **layout
        As `Figure.subplots` takes it.

    Raises
    ------
    ValueError
        Another number of axes was given.
    """
    if axes is not None:
        if len(axes) != count:
            raise ValueError(f"{len(axes)} axes were given; {count} are needed")
        return list(axes)
    columns = min(columns, count)
    rows = -(-count // columns)
    figure = Figure(figsize=(width, height * rows + more), layout="constrained")
    made = list(figure.subplots(rows, columns, squeeze=False, **layout).flat)
    for ax in made[count:]:
        ax.remove()
    for ax in made[max(count - columns, 0) : count]:
        ax.xaxis.set_tick_params(labelbottom=True)  # the lowest of its column, whatever the row
    return made[:count]


def steps(ax: Axes, days: Floats, values: Any, **look: Any) -> None:
    """Draw a value a day as steps whose edges are at midnight."""
    ax.stairs(values, np.append(days - 0.5, days[-1] + 0.5), **look)


def keys(lines: Sequence[str] = (), areas: Sequence[str] = (), **labels: str) -> list[Any]:
    """Return a legend's handles of named styles, lines first; labels other than a style's own by its name."""
    return [Line2D([], [], **STYLES[name].lined(label=labels.get(name, STYLES[name].label))) for name in lines] + [
        Patch(**STYLES[name].filled(linewidth=0.3, label=labels.get(name, STYLES[name].label))) for name in areas
    ]


class _UnitTicks(AutoLocator):
    """Marks at round numbers of another unit than the data's."""

    def __init__(self, scale: Shown) -> None:
        super().__init__()
        self._scale = scale

    def tick_values(self, vmin: float, vmax: float) -> Any:
        with units_shown("US"):
            marks = super().tick_values(self._scale.shown(vmin), self._scale.shown(vmax))
            return np.array([self._scale.metric_of(mark) for mark in marks])

    def mark(self, value: float, _: object = None) -> str:
        """Return what stands at a mark."""
        with units_shown("US"):
            return f"{round(self._scale.shown(value), 9):g}".replace("-", "−")


def label(axis: Axis, text: str, kind: str) -> None:
    """
    Name an axis, with its unit at "{}" and marks at round numbers of that; what is drawn stays metric.

    Parameters
    ----------
    axis : matplotlib Axis
    text : str
        Such as "supplied [{}]".
    kind : str
        A kind of quantity, as `words.SHOWN` has it; any other word is itself the unit.
    """
    scale = SHOWN.get(kind)
    axis.set_label_text(text.format(scale.unit if scale else kind))
    if scale and is_us() and scale.size != 1.0:
        ticks = _UnitTicks(scale)
        axis.set_major_locator(ticks)
        axis.set_major_formatter(FuncFormatter(ticks.mark))


def mark_round(axis: Axis, values: Floats, kind: str) -> None:
    """Mark round numbers of what is shown on a logarithmic axis, or its ends where there is none."""
    scale = SHOWN[kind]
    low, high = scale.shown(float(values.min())), scale.shown(float(values.max()))
    ticks = [a * 10.0**b for b in range(-4, 4) for a in (1.0, 2.0, 5.0) if low * 0.99 <= a * 10.0**b <= high * 1.01]
    ticks = ticks if len(ticks) >= 2 else [float(f"{low:.3g}"), float(f"{high:.3g}")]
    axis.set_ticks([scale.metric_of(tick) for tick in ticks], [f"{tick:g}" for tick in ticks])
    axis.set_ticks([], minor=True)


def label_left(axes: Sequence[Axes], columns: int, text: str, kind: str) -> None:
    """Give each of panels in columns the marks of its own scale, as `label`; those at the left say of what."""
    for at, ax in enumerate(axes):
        label(ax.yaxis, "" if at % columns else text, kind)


def legend_above(ax: Axes, columns: int = 4, **content: Any) -> None:
    """Legend above the axes at the right, beside the title, so that it never covers data."""
    ax.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=columns, **content)


def legend_over(
    axes: Sequence[Axes], columns: int, handles: Sequence[Any], labels: Sequence[str] | None = None
) -> None:
    """Legend over all of a figure, at the left."""
    figure = axes[0].figure
    if isinstance(figure, Figure) and handles:
        named = {} if labels is None else {"labels": labels}
        figure.legend(handles=handles, loc="outside upper left", ncols=columns, **named)


def day_numbers(index: pd.Index[Any]) -> Floats:
    """Return the days of an index as matplotlib counts them."""
    return np.asarray(mdates.date2num(index.to_numpy()), dtype=np.float64)  # type: ignore[no-untyped-call]


def date_axis(ax: Axes, days: Floats, most: int = 9) -> None:
    """Put dates under an axis: whole days, years and months named once."""
    ax.set_xlim(days[0] - 0.5, days[-1] + 0.5)
    locator = mdates.AutoDateLocator(minticks=2, maxticks=most)  # type: ignore[no-untyped-call]
    locator.intervald[mdates.HOURLY] = [24]  # the finest thing on these axes is a day
    ax.xaxis.set_major_locator(locator)
    beside = ["", "%Y", "%B %Y", "%d %B %Y", "%d %B %Y", "%d %B %Y"]  # where marks are years, months, days and less
    formatter = mdates.ConciseDateFormatter(locator, offset_formats=beside)  # type: ignore[no-untyped-call]
    marks = ax.xaxis.get_majorticklocs().tolist()
    # found once: matplotlib asks some forty times for each drawing, and dates are slow
    fixed = FixedFormatter(formatter.format_ticks(marks))  # type: ignore[no-untyped-call]
    fixed.set_offset_string(formatter.get_offset())  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_locator(FixedLocator(marks))
    ax.xaxis.set_major_formatter(fixed)


def day_ticks(ax: Axes, index: pd.DatetimeIndex, apart: int = 1) -> None:
    """Mark every so many days by day and month."""
    ax.set_xticks(day_numbers(index)[::apart], [f"{day.day} {day:%b}" for day in index[::apart]])
