"""
Show: in which units a garden's pages, figures, papers and lines speak; as said, or as the file is written.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any, get_args

from panbudget.scenario.quantities import Described
from panbudget.units import system_of
from panbudget.words import System


class Show(Described):
    """How results are shown; files for machines stay metric."""

    units: System | None = None


def units_asked(described: Mapping[str, Any]) -> System | None:
    """Return the units that a description asks for, if it does."""
    show = described.get("show")
    asked = show.get("units") if isinstance(show, Mapping) else None
    return asked if asked in get_args(System) else None


def units_of(described: Mapping[str, Any]) -> System:
    """
    Return the units that a description asks for, else those that it uses most; metric where both are as many.

    Parameters
    ----------
    described : mapping
        Keys as in a scenario file; its variants are not counted.

    Examples
    --------
    >>> units_of({"pan": {"depth": "8 in"}, "swing": "2 lb", "flow": "2 L/h"})
    'US'
    >>> units_of({"pan": {"depth": "8 in"}, "flow": "2 L/h"}), units_of({"show": {"units": "US"}})
    ('metric', 'US')
    """
    counts = Counter(system_of(text) for text in _texts({k: v for k, v in described.items() if k != "variant"}))
    return units_asked(described) or ("US" if counts["US"] > counts["metric"] else "metric")


def _texts(part: Any) -> Iterator[str]:
    if isinstance(part, str):
        yield part
    for below in part.values() if isinstance(part, Mapping) else part if isinstance(part, list) else ():
        yield from _texts(below)
