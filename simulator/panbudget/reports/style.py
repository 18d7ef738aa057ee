"""
Style: the one table of labels, units, colours, line styles and hatches that figures share.

Colours are those of Okabe and Ito (2008, Color Universal Design), which people with the common kinds of
colour blindness can tell apart; line style, width or hatch says the same again, for print in grey.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import matplotlib

_BLACK, _ORANGE, _SKY, _GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
_BLUE, _VERMILION, _PURPLE, _GREY = "#0072B2", "#D55E00", "#CC79A7", "#7F7F7F"


@dataclass(frozen=True)
class Style:
    """
    How one quantity is drawn.

    Parameters
    ----------
    label : str
        Its name in legends.
    unit : str
        Without brackets; empty for a mere mark.
    colour : str
    line : str or tuple
        Line style, as matplotlib takes it.
    width : float
        [points]
    hatch : str
        For areas; empty for none.
    """

    label: str
    unit: str = ""
    colour: str = _BLACK
    line: Any = "-"
    width: float = 1.2
    hatch: str = ""

    def lined(self, **changes: Any) -> dict[str, Any]:
        """Return keywords for a line."""
        return {
            "label": self.label,
            "color": self.colour,
            "linestyle": self.line,
            "linewidth": self.width,
            **changes,
        }

    def filled(self, **changes: Any) -> dict[str, Any]:
        """Return keywords for an area."""
        return {
            "label": self.label,
            "facecolor": self.colour,
            "edgecolor": _GREY,
            "linewidth": 0.0,
            "hatch": self.hatch or None,
            **changes,
        }

    @property
    def axis(self) -> str:
        """Label and unit, as an axis says them."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label


STYLES: dict[str, Style] = {
    "rain": Style("rain", "mm/day", _SKY, hatch="////"),
    "eto": Style("ETo", "mm/day", _VERMILION, width=1.3),
    "openings": Style("openings", "per day"),
    "depletion": Style("depletion", "mm"),
    "mean": Style("bed mean", "mm", _BLUE, width=1.6),
    "driest": Style("driest quarter", "mm", _VERMILION, (0, (5, 1.5)), 1.2),
    "raw": Style("RAW", "mm", _BLACK, (0, (1, 1.2)), 1.1),
    "taw": Style("TAW", "mm", _GREY, "-", 0.9),
    "stress": Style("driest quarter short of water", colour="#E4E4E4"),
    "stress_mean": Style("whole bed short of water", colour="#C8C8C8", hatch="////"),
    "level": Style("pan's level", "kg above trip", _BLUE, width=1.3),
    "level_mm": Style("the same", "mm of water"),
    "open": Style("valve open", colour="#F0C36D"),
    "trip": Style("trip: opens", colour=_BLACK, line=(0, (5, 2)), width=0.9),
    "reset": Style("reset: shuts", colour=_BLACK, line=(0, (1, 1.2)), width=1.0),
    "rim": Style("rim: spills", colour=_GREY, line="-", width=1.0),
    "supplied": Style("supplied, bed mean", "mm", _BLUE, "-", 1.8),
    "supplied_driest": Style("supplied, driest quarter", "mm", _VERMILION, (0, (5, 1.5)), 1.1),
    "needed": Style("net demand", "mm", _BLACK, (0, (1, 1.2)), 1.6),
    "etc": Style("ETc, before any rain", "mm", _GREY, (0, (6, 2, 1, 2)), 0.9),
    "weekly_supply": Style("supplied", "mm/week", _BLUE, "-", 1.8),
    "weekly_need": Style("ETc less the rain that the soil could hold", "mm/week", _BLACK, (0, (1, 1.2)), 1.6),
    "gap_short": Style("less than that", colour="#E4E4E4", hatch="////"),
    "gap_over": Style("more than that", colour="#CFE3F1"),
    "measured": Style("measured or derived", colour="#BFD9EA"),
    "filled": Style("filled", colour=_ORANGE, hatch="xxxx"),
    "borrowed": Style("borrowed", colour="#E3C6DA", hatch="\\\\\\\\"),
    "missing": Style("missing", colour="#FFFFFF", hatch="...."),
    "tmax": Style("Tmax", "°C", _VERMILION, "-", 1.2),
    "tmin": Style("Tmin", "°C", _BLUE, (0, (5, 1.5)), 1.2),
    "opened": Style("openings", "per day", "#9CC3DC"),
    "wave": Style("heat wave, from and to", colour=_ORANGE, line=(0, (2, 1)), width=1.3),
    "year": Style("the other years", colour="#A8A8A8", width=0.9),
    "year_worst": Style("the worst year", colour=_BLUE, width=1.8),
    "year_heat": Style("with a made-up heat wave", colour=_VERMILION, line=(0, (5, 1.5)), width=1.3),
    "by_log": Style("by the log", "mm/day", _BLACK),
    "as_described": Style("the model as described", "mm/day", _VERMILION, (0, (5, 1.5)), 1.2),
    "as_fitted": Style("the model as fitted", "mm/day", _BLUE, "-", 1.6),
    "more_stress": Style("days short of water, more than sound", "days", "#9CC3DC"),
    "more_wasted": Style("wasted, more than sound", "L", "#EBCB9A", hatch="////"),
    "limit": Style("limit: all of RAW used", colour=_BLACK, line=(0, (1, 1.2)), width=1.3),
}

#: a colour and a line for each controller in turn
CONTROLLER_STYLES: tuple[tuple[str, Any], ...] = (
    (_BLUE, "-"),
    (_VERMILION, (0, (4, 1.5))),
    (_GREEN, (0, (1, 1.2))),
    (_PURPLE, (0, (6, 2, 1, 2))),
    (_BLACK, (0, (8, 2))),
)

_RC: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8.5,
    "axes.titlesize": 9.0,
    "axes.titlelocation": "left",
    "axes.labelsize": 8.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "grid.color": "#DDDDDD",
    "grid.linewidth": 0.5,
    "hatch.linewidth": 0.5,
    "legend.fontsize": 8.0,
    "legend.frameon": False,
    "legend.borderaxespad": 0.2,
    "legend.handlelength": 2.6,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "figure.facecolor": "white",
    "savefig.dpi": 150,
    "svg.fonttype": "path",
    # ids in an SVG depend on this, so that two runs write the same bytes
    "svg.hashsalt": "panbudget",
}

_DRAWN_BY = frozenset(
    (
        *("axes", "date", "figure", "font", "grid", "hatch", "legend", "lines", "mathtext"),
        *("patch", "path", "savefig", "svg", "text", "xaxis", "xtick", "yaxis", "ytick"),
    )
)
_DEFAULTS: dict[str, Any] = {
    key: value for key, value in matplotlib.rcParamsDefault.items() if key.split(".")[0] in _DRAWN_BY
}


@contextlib.contextmanager
def applied() -> Iterator[None]:
    """Draw and save in this style; whatever the caller had set returns afterwards."""
    # from matplotlib's own defaults, so that nobody's private settings change our bytes
    with matplotlib.rc_context():
        settings: Any = {**_DEFAULTS, **_RC}
        matplotlib.rcParams.update(settings)
        yield


def plain(text: str) -> str:
    """
    Keep a user's name from being read as a formula.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> plain("beds at $2")
    'beds at \\\\$2'
    """
    return " ".join(text.split()).replace("$", r"\$")
