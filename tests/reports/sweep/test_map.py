"""The sweep's map: every place drawn once, its design named, hollow where nothing suits."""

from __future__ import annotations

import math

import pytest

from panbudget.reports.sweep.map import map_figure, map_files
from panbudget.studies.sweep.summary import Choice


def choices():
    """Three places on the map and one without a longitude."""
    return [
        Choice("a", 38.0, -7.0, "small", True, 20_000.0, 1.0, 12),
        Choice("b", 38.2, -6.8, "wide", True, 30_000.0, 2.0, 12),
        Choice("c", 38.4, -6.6, "wide", False, 40_000.0, 9.0, 12),
        Choice("d", 38.4, math.nan, "wide", True, 10_000.0, 0.0, 12),
    ]


def test_every_place_with_coordinates_is_drawn_once():
    left, right = map_figure(choices(), ["small", "wide", "none"], "A district", 3)
    assert sum(len(part.get_offsets()) for part in left.collections) == 3
    assert right.collections[0].get_array().tolist() == [20.0, 30.0, 40.0]
    assert [text.get_text() for text in left.get_legend().get_texts()] == ["small (1)", "wide (2)"]
    assert left.get_xlabel() == "longitude [°]"


def test_a_place_that_nothing_suits_is_hollow():
    left, _ = map_figure(choices(), ["small", "wide"], "A district", 3)
    hollow = [part for part in left.collections if not len(part.get_facecolors())]
    assert [part.get_offsets().tolist() for part in hollow] == [[[-6.6, 38.4]]]


@pytest.mark.draws
def test_two_drawings_have_the_same_bytes():
    assert map_files(choices(), ["small", "wide"], "x", 3) == map_files(choices(), ["small", "wide"], "x", 3)
