"""
Style: the one table of labels, units, colours, line styles and hatches that figures share; it stands in ``style.toml``.
"""

import contextlib
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib

from panbudget.words import packaged

_TABLE = packaged("reports/style.toml")
_COLOURS: dict[str, str] = _TABLE["colours"]


@dataclass(frozen=True)
class Style:
    """
    How one quantity is drawn.

    Parameters
    ----------
    label : str
        Its name in legends.
    unit : str
        A kind of quantity, as `words.SHOWN` has it, or a unit that is the same everywhere; empty for a mere mark.
    colour : str
        As matplotlib takes it.
    dashes : sequence of float
        On, off and so on; empty for a whole line. [points]
    width : float
        [points]
    hatch : str
        For areas; empty for none.
    """

    label: str = ""
    unit: str = ""
    colour: str = "black"
    dashes: Sequence[float] = ()
    width: float = 1.2
    hatch: str = ""

    @property
    def line(self) -> Any:
        """Line style, as matplotlib takes it."""
        return (0, tuple(self.dashes)) if self.dashes else "-"

    def lined(self, **changes: Any) -> dict[str, Any]:
        """Return keywords for a line."""
        look = {"label": self.label, "color": self.colour, "linestyle": self.line, "linewidth": self.width}
        return {**look, **changes}

    def filled(self, **changes: Any) -> dict[str, Any]:
        """Return keywords for an area."""
        look = {"label": self.label, "facecolor": self.colour, "edgecolor": _COLOURS["grey"], "linewidth": 0.0}
        return {**look, "hatch": self.hatch or None, **changes}


def _style(colour: str = "black", **look: Any) -> Style:
    return Style(colour=_COLOURS.get(colour, colour), **look)


#: name -> how it is drawn
STYLES: Mapping[str, Style] = {name: _style(**look) for name, look in _TABLE["styles"].items()}
#: for each valve in turn
VALVE_STYLES: Sequence[Style] = [_style(**look) for look in _TABLE["valves"]]

_DRAWN_BY = {name.split(".")[0] for name in _TABLE["settings"]} | set(_TABLE["drawn_by"])
_DEFAULTS = {key: value for key, value in matplotlib.rcParamsDefault.items() if key.split(".")[0] in _DRAWN_BY}


@contextlib.contextmanager
def applied() -> Iterator[None]:
    """Draw and save in this style; whatever the caller had set returns afterwards."""
    with matplotlib.rc_context(), warnings.catch_warnings():
        # a name in a script that the font lacks is drawn as boxes, without noise on the terminal
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        # from matplotlib's own defaults, so that nobody's private settings change our bytes
        settings: Any = {**_DEFAULTS, **_TABLE["settings"]}
        matplotlib.rcParams.update(settings)
        yield


def plain(text: str) -> str:
    """
    Keep a user's name from being read as a formula, and from being left out of a legend for a line at its beginning.

    Examples
    --------
    >>> plain("beds at $2"), plain("_yard")
    ('beds at \\\\$2', ' _yard')
    """
    name = " ".join(text.split()).replace("$", r"\$")
    return f" {name}" if name.startswith("_") else name
