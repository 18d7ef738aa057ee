"""Damage: what every reader of an archive is held to, whatever was cut, lost or typed into its file."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from panbudget.errors import WeatherError

__all__ = ["assert_one_line_says", "assert_refused_or_sound", "damages"]


def damages(text, *, most_cut):
    """Return a strategy: the text with a few letters typed over others, and its end cut off."""

    def damaged(places, cut):
        found = text
        for place, letters in places:
            at = place % len(found)
            found = found[:at] + letters + found[at + len(letters) :]
        return found[: len(found) - cut]

    places = st.lists(st.tuples(st.integers(0, 10_000), st.text(max_size=4)), max_size=4)
    return st.builds(damaged, places, st.integers(0, most_cut)).filter(str.strip)


def assert_refused_or_sound(read, text):
    """Never another exception than ours, never a table with holes where it says that there are none."""
    try:
        raw = read(text)
    except WeatherError:
        return
    assert {"tmin", "tmax"} <= set(raw.daily.columns)
    assert len(raw.daily) == len(raw.lines) > 0
    assert not np.isinf(raw.daily.to_numpy()).any()


def assert_one_line_says(lines, said):
    """One line, with the place and the cure."""
    assert len(lines) == 1, lines
    for part in said:
        assert part in lines[0]
