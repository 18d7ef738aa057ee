"""
Flags: the short names of how a value came about, and which of them mean that it was filled in.

A value that follows by a published equation from what the file mainly holds is derived, not filled: the
report names the equation once. Everything else that wasn't measured is counted by column and method.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Mask
from panbudget.weather.messages import table_of
from panbudget.words import say

#: how each of many values came about
Flags = pd.Categorical

MEASURED = "measured"
MISSING = "missing"
DEW_POINT_FROM_TMIN = "dew point from tmin"
DEW_POINT_FROM_TMIN_DRY = "dew point from tmin - 2 °C"
FROM_VAPOUR_PRESSURE = "from vapour pressure"
FROM_ESTIMATED = "from estimated vapour pressure"
RH_MEAN_OF_EXTREMES = "mean of rh_max and rh_min"
SUNSHINE_EQ_35 = "eq 35 from sunshine"
SUNSHINE_ONLY = "from sunshine only"
RADIATION_FROM_RANGE = "radiation from temperature range"
LIMITED = "limited to 1.05 Rso"
MONTHLY_WIND = "monthly mean wind"
DEFAULT_WIND = "2 m/s"
MADE_HEAT = "made-up heat wave"
ZERO_RAIN = "zero rain (assumed)"
PRESSURE_FROM_ELEVATION = "pressure from elevation"

#: what a humidity is computed from -> the equation of FAO-56
HUMIDITY_EQUATIONS = {"dew_point": 14, "rh_max and rh_min": 17, "rh_max": 18, "rh_mean": 19}

#: flags of values that follow from the file's main source
DERIVED = frozenset({FROM_VAPOUR_PRESSURE, RH_MEAN_OF_EXTREMES, SUNSHINE_EQ_35}) | {
    f"eq {equation} from {source}" for source, equation in HUMIDITY_EQUATIONS.items()
}

#: flag -> what a report says about it, with its source
EXPLAINED: dict[str, str] = {flag: say(text) for flag, text in table_of("flags").items()}
# flags that have a number with a unit
_IN_UNITS = {DEFAULT_WIND: say("{2:speed .2g}"), DEW_POINT_FROM_TMIN_DRY: say("dew point from tmin - {2:warming .2g}")}

_BORROWED = "borrowed from "


def said(flag: str) -> str:
    """Return a flag in the units of whoever reads it."""
    return _IN_UNITS.get(flag, flag)


def borrowed_from(file: str) -> str:
    """
    Return the flag of a value that a fallback's file lent.

    Parameters
    ----------
    file : str
        The file, as the user named it.

    Examples
    --------
    >>> borrowed_from("neighbour.csv")
    'borrowed from neighbour.csv'
    """
    return _BORROWED + file


def is_borrowed(flag: str) -> bool:
    """
    Tell whether a flag means that another station's file lent the value.

    Parameters
    ----------
    flag : str
        As in `Weather.flags`.

    Examples
    --------
    >>> is_borrowed(borrowed_from("neighbour.csv")), is_borrowed(DEFAULT_WIND)
    (True, False)
    """
    return flag.startswith(_BORROWED)


@functools.lru_cache(maxsize=256)
def _kinds(*flags: str) -> pd.CategoricalDtype:
    return pd.CategoricalDtype(list(flags))


def flags_of(code: npt.NDArray[np.integer[Any]], kinds: Sequence[str]) -> Flags:
    """Return the flags of which a code and the text of each code are known."""
    return pd.Categorical.from_codes(code, dtype=_kinds(*kinds), validate=False)


def flagged(days: Mapping[str, Mask], otherwise: str) -> Flags:
    """Return a flag for each day: the last whose days hold it, or else another. (days,)"""
    code, kinds = np.zeros(len(next(iter(days.values()))), np.int8), [otherwise]
    for flag, which in days.items():
        if which.all():
            code[:], kinds = 0, [flag]
        elif which.any():
            kinds += [] if flag in kinds else [flag]
            code[which] = kinds.index(flag)
    flags = flags_of(code, kinds)
    return flags if len(kinds) == 1 else flags.remove_unused_categories()


def coded(flags: pd.Series[str] | Flags) -> tuple[npt.NDArray[np.integer[Any]], list[str]]:
    """Return the kinds of many flags, and which of them each is."""
    held = getattr(flags, "array", flags)
    if not isinstance(held, pd.Categorical):
        held = pd.Categorical(held)
    return held.codes, [*map(str, held.categories)]


def filled_in(flags: pd.Series[str] | Flags) -> Mask:
    """Tell of each of many flags whether it means that a value was filled in."""
    code, kinds = coded(flags)
    filled = np.array([*map(is_filled, kinds)], dtype=bool)
    return filled[code] if filled.any() else np.zeros(len(code), dtype=bool)


def is_filled(flag: str) -> bool:
    """
    Tell whether a flag means that a value was filled in.

    Parameters
    ----------
    flag : str
        As in `Weather.flags`.

    Returns
    -------
    bool
        False for what was measured, derived from the file's main source, or left missing.

    Examples
    --------
    >>> is_filled("monthly mean wind"), is_filled("eq 17 from rh_max and rh_min")
    (True, False)
    """
    return flag not in DERIVED and flag not in (MEASURED, MISSING)
