"""
A station that is not where the site is: half a degree is some 50 km, 300 m some 2 °C (by the usual 6.5 °C a km).
"""

from __future__ import annotations

import pytest

from panbudget.weather.site import Station, station_notes, sun_doubt
from tests.weather.sites import Site

SITE = Site(38.0, 100.0, longitude=-6.0)


@pytest.mark.parametrize(
    "station",
    [
        None,
        Station("Invented Hill"),
        Station("Invented Hill", 38.4, -6.4, 350.0),
        Station("Invented Hill", longitude=-6.0),
    ],
)
def test_a_station_near_by_or_nowhere_needs_no_note(station):
    """What a file doesn't say can't differ."""
    assert station_notes(station, SITE) == []


@pytest.mark.parametrize(
    ("station", "said"),
    [
        (Station("Invented Hill", -38.0), "latitude -38° there and 38° under [site]"),
        (Station("Invented Hill", 38.0, 6.0), "longitude 6° there and -6° under [site]"),
        (Station("Invented Hill", 38.0, -6.0, 900.0), "elevation 900 m there and 100 m under [site]"),
    ],
)
def test_a_station_elsewhere_is_named_with_the_difference(station, said):
    """A lost minus sign is the usual reason."""
    (note,) = station_notes(station, SITE)
    assert note.startswith("the file is of Invented Hill, which is not at the site: ")
    assert said in note


@pytest.mark.parametrize(
    ("near", "far"),
    [
        ({"latitude": 38.5}, {"latitude": 38.51}),
        ({"longitude": -5.5}, {"longitude": -5.49}),
        ({"elevation": 400.0}, {"elevation": 400.1}),
    ],
)
def test_half_a_degree_and_300_m_are_near(near, far):
    assert station_notes(Station("Invented Hill", **near), SITE) == []
    assert len(station_notes(Station("Invented Hill", **far), SITE)) == 1


def test_longitudes_on_both_sides_of_the_date_line_are_near():
    """179.9 and -179.9 are a fifth of a degree apart."""
    assert station_notes(Station("Invented Isle", longitude=179.9), Site(0.0, 0.0, longitude=-179.9)) == []


@pytest.mark.parametrize(("span", "off"), [(0.0, 2.0), (1.0, 2.0), (3.0, 2.5), (6.0, 4.0)])
def test_the_suns_noon_may_be_two_hours_off_and_more_where_records_are_long(span, off):
    site = Site(latitude=45.0, elevation=100.0, longitude=0.0)
    assert not sun_doubt(12.0 + off, site, span)
    assert sun_doubt(12.1 + off, site, span)
