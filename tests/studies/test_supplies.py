"""Half and double pressure, run and not asserted: the facts at the head of the model's page; and which tank is enough."""

from __future__ import annotations

import pandas as pd
import pytest

from panbudget import replay
from panbudget.studies.supplies import enough, pressed
from tests.season.test_faults import TANK
from tests.small_weather import weather_csv


def at(garden):
    return {one.times: one for one in pressed(replay(garden))}


def emitters(exponent, refill=0.5):
    return {
        "controller": {
            "upper": {
                "valve": {"refill": {"exponent": refill}},
                "bed": {"tomatoes": {"emitters": {"exponent": exponent}}},
            }
        }
    }


def test_with_one_exponent_pressure_changes_minutes_and_hardly_litres(make_garden):
    """Flows by √½ and √2; what the pan loses during an opening is the small difference left."""
    found = at(make_garden(emitters(0.5)))
    assert [one.pressure for one in found.values()] == [75.0, 150.0, 300.0]
    for times in (0.5, 2.0):
        assert found[times].bed_litres == pytest.approx(found[1.0].bed_litres, rel=0.03)
        assert found[times].open_hours * times**0.5 == pytest.approx(found[1.0].open_hours, rel=0.05)


def test_compensated_bed_emitters_beside_a_plain_refill_give_more_at_half_pressure(make_garden):
    found = at(make_garden(emitters(0.0)))
    assert found[0.5].bed_litres == pytest.approx(2.0**0.5 * found[1.0].bed_litres, rel=0.04)
    assert found[2.0].bed_litres == pytest.approx(0.5**0.5 * found[1.0].bed_litres, rel=0.04)


def test_a_flow_measured_in_place_follows_the_pressure_too(make_garden):
    garden = make_garden().changed({"controller": {"upper": {"valve": {"refill": {"at": None}}}}})
    found = at(garden)
    assert found[2.0].open_hours < 0.8 * found[1.0].open_hours


def test_a_tanks_height_is_what_is_changed(make_garden):
    """3 m and 6 m above the emitters, plus the metre of water in a full tank."""
    found = at(make_garden(TANK))
    assert found[1.0].pressure == pytest.approx(4.0 * 9.80665)
    assert found[2.0].pressure == pytest.approx(7.0 * 9.80665)
    assert found[0.5].pressure == pytest.approx(2.5 * 9.80665)


@pytest.mark.parametrize(
    "overlay",
    [{"supply": {"spring": {"salinity": "6 dS/m"}}}, {"season": {"start": "2025-05-08", "spin_up": "7 days"}}],
    ids=["salt", "spin-up"],
)
def test_the_row_as_described_is_the_seasons_own(overlay, make_garden):
    season = replay(make_garden(overlay, weather=weather_csv(60)))
    row = {one.times: one for one in pressed(season)}[1.0]
    own = season.totals["controllers"]["upper"]
    assert (row.openings, row.open_hours, row.bed_litres) == pytest.approx(
        (own["openings"], own["open_hours"], own["bed_litres"]), rel=1e-12
    )


@pytest.mark.parametrize(("share", "days", "best"), [(0.88, 1.5, 500.0), (0.879, 1.5, 1000.0), (0.88, 1.51, 1000.0)])
def test_a_tank_is_as_good_to_two_in_a_hundred_cells_and_half_a_day(share, days, best):
    sizes = pd.DataFrame({"volume_l": [500.0, 1000.0], "share": [share, 0.9], "mean_days": [days, 1.0]})
    assert enough(sizes)["volume_l"] == best
