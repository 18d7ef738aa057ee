"""
Years figures: days short of water and litres, year by year, the worst, the middle and the best year named.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from panbudget.reports.canvas import label, panels
from panbudget.reports.style import STYLES, applied, plain
from panbudget.studies.years import SeasonsByYear

_MOST_LABELS = 21  # of years under an axis
_FEWEST_PLACES = 6  # on an axis, or a bar is a wall


@applied()
def years_figure(years: SeasonsByYear, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """
    Draw each year's bars: days short of each bed's driest quarter, then each valve's litres.

    Parameters
    ----------
    years : SeasonsByYear
    axes : sequence of Axes, optional
        One for each bed and each valve; a new figure if left out.

    Returns
    -------
    list of Axes
        Beds, then valves, in the scenario's order.
    """
    totals = [season.totals for season in years.seasons.values()]
    beds = {key: [of["beds"][key]["driest_quarter"]["stress_days"] for of in totals] for key in totals[0]["beds"]}
    valves = {name: [of["controllers"][name]["litres"] for of in totals] for name in totals[0]["controllers"]}
    axes = panels(len(beds) + len(valves), height=1.5, more=0.6, axes=axes, sharex=True)
    places = np.arange(len(totals))
    looks = [STYLES["year_named" if year in years.named else "year_bar"].filled(label="") for year in years.seasons]
    for at, (ax, (name, values)) in enumerate(zip(axes, [*beds.items(), *valves.items()], strict=True)):
        for where, value, look in zip(places, values, looks, strict=True):
            ax.bar(where, value, width=0.75, **look)
        ax.set_title(plain(name))
        ax.set_ylim(0.0, 1.25 * max(*values, 1.0))
        ax.yaxis.set_major_locator(MaxNLocator(nbins=4, integer=True))
        label(ax.yaxis, *(("{} short", "days") if at < len(beds) else ("water [{}]", "volume")))
        ax.grid(axis="y")
    for where, year in zip(places, years.seasons, strict=True):
        for ax, values in zip(axes, beds.values(), strict=False):
            ax.annotate(years.named.get(year, ""), (where, values[where]), ha="center", va="bottom", fontsize=8.0)
    apart = -(-len(places) // _MOST_LABELS)
    axes[-1].set_xticks(places[::apart], [str(year) for year in years.seasons][::apart])
    axes[-1].set_xlim(-0.6, max(len(places), _FEWEST_PLACES) - 0.4)
    return axes
