"""
Compare figures: variants side by side, one column each, on axes that all of a row share.

Up to three variants stand beside each other; more go into a second band below.
"""

from collections.abc import Callable, Iterator, Sequence

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from panbudget.reports import canvas
from panbudget.reports.canvas import WIDTH, date_axis, day_numbers, day_ticks, keys, legend_over, steps
from panbudget.reports.season.figures import HOT_DAYS, draw_level, draw_water_left, least_and_most_left
from panbudget.reports.style import STYLES, applied, plain
from panbudget.season.heat import hottest_run
from panbudget.season.result import Season
from panbudget.studies.compare import Comparison

_ABREAST = 3
_FEW_DAYS = 62
_MOST_PAN_DAYS = 21  # more days of a level that saws up and down are a grey band


def _panels(comparison: Comparison, rows: int, height: float) -> list[list[Axes]]:
    """A grid: for each variant its column of ``rows`` axes; y shared along a row and over the bands."""
    count = len(comparison.names)
    abreast = min(_ABREAST, count)
    bands = -(-count // abreast)
    figure = Figure(figsize=(WIDTH, height * rows * bands + 0.7), layout="constrained")
    grid = figure.subplots(rows * bands, abreast, squeeze=False, sharex=True)
    columns = [list(grid[band * rows : (band + 1) * rows, at]) for band in range(bands) for at in range(abreast)]
    for ax in (ax for axes in columns[count:] for ax in axes):
        ax.remove()
    for at, axes in enumerate(columns[:count]):
        for row, ax in enumerate(axes):
            if at:
                ax.sharey(columns[0][row])
            ax.tick_params(labelleft=at % abreast == 0, labelbottom=row == rows - 1)
    return columns[:count]


def _shown(comparison: Comparison, season: Season) -> slice:
    return season.days.index.slice_indexer(pd.Timestamp(comparison.start), pd.Timestamp(comparison.end))


def _tables(season: Season) -> dict[str, pd.DataFrame]:
    """Valves' and beds' days by name; a bed's name has its valve's before a slash."""
    return {**season.controllers, **season.beds}


def _each(
    comparison: Comparison, columns: Sequence[Sequence[Axes]], places: Sequence[str]
) -> Iterator[tuple[Axes, str, Season, str]]:
    """Axes, variant, season and valve or bed in turn; what a variant lacks is said to be lacking."""
    for axes, (name, season) in zip(columns, comparison.seasons.items(), strict=True):
        for ax, where in zip(axes, places, strict=True):
            if where in _tables(season):
                yield ax, name, season, where
                continue
            ax.set_title(f"{plain(name)}: {plain(where)}")
            ax.text(0.5, 0.5, "not in this variant", transform=ax.transAxes, ha="center", va="center", fontsize=8.0)


def _drawn(comparison: Comparison, where: str) -> list[pd.DataFrame]:
    """A valve's or bed's days shown, of each variant that has it."""
    seasons = comparison.seasons.values()
    return [_tables(s)[where].iloc[_shown(comparison, s)] for s in seasons if where in _tables(s)]


def _dates(ax: Axes, comparison: Comparison, index: pd.DatetimeIndex, noon: float = 0.0) -> None:
    """Put dates under an axis, and mark the heat wave; ``noon``: how far a day's mark stands from its middle. [days]"""
    at = day_numbers(index)
    date_axis(ax, at, most=5)
    if len(at) <= _FEW_DAYS:  # the locator's own weeks begin at the months' firsts, and leave a window with one mark
        day_ticks(ax, index, -(-len(at) // 5))
    ax.grid(axis="x")
    if comparison.wave is not None:
        first, last = day_numbers(pd.DatetimeIndex([comparison.wave.start, comparison.wave.end]))
        for edge in (first - 0.5 + noon, last + 0.5 + noon):
            ax.axvline(edge, **STYLES["wave"].lined(label=""))


def _finished(
    comparison: Comparison,
    columns: list[list[Axes]],
    label: tuple[str, str],
    lines: Sequence[str],
    areas: Sequence[str] = (),
) -> list[Axes]:
    """Label the first column, put the legend above, and return all axes, variant by variant."""
    for ax in columns[0]:
        canvas.label(ax.yaxis, *label)
    handles = keys([*lines, *(["wave"] if comparison.wave is not None else [])], areas)
    legend_over(columns[0], 5 if len(handles) == 5 else 4, handles)
    return [ax for axes in columns for ax in axes]


@applied()
def pan_levels_figure(comparison: Comparison) -> list[Axes]:
    """
    Draw each pan's level for each variant, with trip and reset.

    Returns
    -------
    list of Axes
        Variant by variant, valve by valve. Depths, so that pans of different width compare; at most three weeks.
    """
    first = comparison.seasons[comparison.names[0]]
    window = _shown(comparison, first)
    if window.stop - window.start > _MOST_PAN_DAYS:
        hottest = hottest_run(first.days["tmax_c"].iloc[window], HOT_DAYS)
        window = slice(window.start + hottest.start, window.start + hottest.stop)
    index = pd.DatetimeIndex(first.days.index)[window]
    columns = _panels(comparison, len(comparison.controllers), 2.0)
    for ax, name, season, valve in _each(comparison, columns, comparison.controllers):
        described = season.scenario.controller[valve]
        begin, end, _ = draw_level(ax, season, valve, window, per_kg=1.0 / described.pan.area, linewidth=0.7)
        ax.axhline(0.0, **STYLES["trip"].lined())
        ax.axhline(described.valve.swing_kg / described.pan.area, **STYLES["reset"].lined())
        ax.set_title(f"{plain(name)}: pan of {plain(valve)}")
        _dates(ax, comparison, index, noon=0.5)  # a day's mark stands at its midnight, as in a replay's levels
        ax.set_xlim(begin, end)
    return _finished(comparison, columns, ("{} above trip", "depth"), ("level", "reset", "trip"), ("open",))


@applied()
def openings_figure(comparison: Comparison) -> list[Axes]:
    """
    Draw openings a day of each valve for each variant.

    Returns
    -------
    list of Axes
        Variant by variant, valve by valve.
    """
    columns = _panels(comparison, len(comparison.controllers), 1.5)
    look = STYLES["opened"].filled(label="", edgecolor=STYLES["opened"].colour, fill=True, baseline=0.0)
    for ax, name, season, valve in _each(comparison, columns, comparison.controllers):
        part = season.controllers[valve]["openings"].iloc[_shown(comparison, season)]
        steps(ax, day_numbers(part.index), part.to_numpy(), **look)
        ax.set_title(f"{plain(name)}: {plain(valve)}, {int(part.sum())} openings")
        ax.set_ylim(0.0, 1.05 * max(1, *(int(table["openings"].max()) for table in _drawn(comparison, valve))))
        ax.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=4))
        _dates(ax, comparison, pd.DatetimeIndex(part.index))
    return _finished(comparison, columns, ("{} a day", "openings"), ())


@applied()
def water_left_figure(comparison: Comparison) -> list[Axes]:
    """
    Draw the water left in each bed for each variant before plants suffer.

    Returns
    -------
    list of Axes
        Variant by variant, bed by bed; a bed's axes are the same in all.
    """
    columns = _panels(comparison, len(comparison.beds), 1.55)
    for ax, name, season, key in _each(comparison, columns, comparison.beds):
        part = season.beds[key].iloc[_shown(comparison, season)]
        draw_water_left(ax, part, least_and_most_left(*_drawn(comparison, key)))
        ax.set_title(f"{plain(name)}: {plain(key)}")
        _dates(ax, comparison, pd.DatetimeIndex(part.index))
    label = (f"{STYLES['left'].label} [{{}}]", STYLES["left"].unit)
    return _finished(comparison, columns, label, ("mean", "driest"), ("suffer",))


#: name -> function of a comparison: what `compare` draws
COMPARE_FIGURES: dict[str, Callable[[Comparison], list[Axes]]] = {
    "water-left": water_left_figure,
    "pan-level": pan_levels_figure,
    "openings": openings_figure,
}
