"""The sweep's map: every place drawn once, its design named, hollow where nothing suits."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from panbudget import words
from panbudget.errors import OutputError
from panbudget.reports.sweep.map import column_figure, map_figure, map_files
from panbudget.studies.sweep.summary import Choice


def choices():
    """Three places on the map and one without a longitude."""
    return [
        Choice("a", 38.0, -7.0, "small", True, 20_000.0, 1.0, 12, litres_nine_in_ten=20_000.0),
        Choice("b", 38.2, -6.8, "wide", True, 30_000.0, 2.0, 12, litres_nine_in_ten=30_000.0),
        Choice("c", 38.4, -6.6, "wide", False, 40_000.0, 9.0, 12, litres_nine_in_ten=40_000.0),
        Choice("d", 38.4, math.nan, "wide", True, 10_000.0, 0.0, 12),
    ]


def test_every_place_with_coordinates_is_drawn_once():
    left, right = map_figure(choices(), ["small", "wide", "none"], "A district", 3)
    assert sum(len(part.get_offsets()) for part in left.collections) == 3
    assert right.collections[0].get_array().tolist() == [20.0, 30.0, 40.0]
    assert [text.get_text() for text in left.get_legend().get_texts()] == ["small (1)", "wide (2)"]
    assert left.get_xlabel() == "longitude [°]"


def test_a_place_that_nothing_suits_is_hollow():
    left, right = map_figure(choices(), ["small", "wide"], "A district", 3)
    assert right.collections[0].to_rgba([20.0, 40.0])[:, 0].tolist() == pytest.approx(
        [0.85, 0.0], abs=0.01
    )  # none white
    hollow = [part for part in left.collections if not len(part.get_facecolors())]
    assert [part.get_offsets().tolist() for part in hollow] == [[[-6.6, 38.4]]]


@pytest.mark.draws
def test_two_drawings_have_the_same_bytes():
    assert map_files(choices(), ["small", "wide"], "x", 3) == map_files(choices(), ["small", "wide"], "x", 3)


def test_a_map_that_no_disk_takes_is_a_message(monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("panbudget.reports.sweep.map.save", full)
    with pytest.raises(OutputError, match="figures/map: can't be written .No space left on device"):
        map_files(choices(), ["small", "wide"], "x", 3)


def test_the_water_is_that_of_the_highest_level_that_most_places_have():
    """Of twelve years nine in ten, of six four in five, of two the highest; the legend says so."""
    for years, text in ((12, "nine years in ten"), (6, "four years in five"), (2, "highest of its years")):
        levels = {"litres_nine_in_ten": 9000.0 if years > 9 else math.nan}
        levels["litres_four_in_five"] = 8000.0 if years > 4 else math.nan
        _, right = map_figure([Choice("a", 38.0, -7.0, "s", True, 10_000.0, 1.0, years, **levels)], ["s"], "x", 3)
        assert right.get_title(loc="left") == f"its water, {text}"
        assert right.collections[0].get_array().tolist() == [{12: 9.0, 6: 8.0, 2: 10.0}[years]]


def test_a_column_has_a_map_a_design_on_one_scale_and_crosses_where_years_are_too_few():
    values = pd.DataFrame(
        {
            "site": ["a", "b", "a", "b"],
            "latitude": [38.0, 38.2] * 2,
            "longitude": [-7.0, -6.8] * 2,
            "design": ["small", "small", "wide", "wide"],
            "value": [3.0, 9.0, 1.0, math.nan],
        }
    )
    small, wide = column_figure(values, "stress_days", 0.9, "A district")
    assert (small.get_title(loc="left"), wide.get_title(loc="left")) == ("small", "wide")
    title = "A district: days short of water; not exceeded in 90 % of years; highest of the beds"
    assert small.figure.get_suptitle() == title
    assert small.collections[0].get_clim() == wide.collections[0].get_clim() == (1.0, 9.0)
    assert wide.collections[1].get_offsets().tolist() == [[-6.8, 38.2]]
    assert [text.get_text() for text in wide.get_legend().get_texts()] == ["too few years"]


def test_maps_are_in_the_units_shown():
    """20 000 L are 5 283 gal."""
    places = pd.DataFrame({"site": ["a", "b"], "latitude": [38.0, 38.2], "longitude": [-7.0, -6.8], "design": "s"})
    values = places.assign(value=[20_000.0, 10_000.0])
    with words.units_shown("US"):
        _, right = map_figure(choices(), ["small", "wide"], "A district", 3)
        (ax,) = column_figure(values, "litres", None, "x")
    assert right.collections[0].get_array().tolist() == pytest.approx([5283.4, 7925.2, 10566.9], abs=0.1)
    assert "water a season [gal]" in [other.get_ylabel() for other in right.figure.axes]
    assert ax.collections[0].get_array().tolist() == pytest.approx([5283.4, 2641.7], abs=0.1)
    assert "gal" in [other.get_ylabel() for other in ax.figure.axes]


def test_a_map_of_one_value_says_it_and_has_no_scale():
    """That of no days ran from -0.1 to 0.1."""
    places = {"site": ["a", "b"], "latitude": [38.0, 38.2], "longitude": [-7.0, -6.8], "design": "s", "value": 0.0}
    (ax,) = column_figure(pd.DataFrame(places), "stress_days", None, "x")
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["0 days everywhere"]
    assert len(ax.figure.axes) == 1
    (ax,) = column_figure(pd.DataFrame(places | {"value": math.nan}), "stress_days", None, "x")
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["too few years"]
    assert len(ax.figure.axes) == 1
