"""Laws that hold whatever the garden: invariants, no source. `tests/longer` holds them over many more gardens."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest

from panbudget import replay
from tests.random_gardens import random_garden

NUMBERS = range(3)
PAN, BED = ("controllers", "upper"), ("beds", "upper/tomatoes")


def total(season, name, of=BED):
    """A season's total of the pan or of the bed."""
    return season.totals[of[0]][of[1]][name]


def hold_size(number, folder):
    """Pan, swing, flows and beds all twice as large: as many openings, twice the water, soils as dry."""
    one, two = (replay(random_garden(number, folder, size=size)) for size in (1.0, 2.0))
    assert total(two, "openings", PAN) == total(one, "openings", PAN)
    assert total(two, "litres") == pytest.approx(2.0 * total(one, "litres"), rel=1e-6)
    assert total(two, "eta_mm") == pytest.approx(total(one, "eta_mm"), rel=1e-6)


def hold_pressure(number, folder):
    """Emitters of one exponent and no water lost meanwhile: pressure changes how long a valve is open, nearly nothing else."""
    one, two = (replay(random_garden(number, folder, pressure=pressure)) for pressure in (1.0, 2.0))
    # faster refills leave less time to evaporate while the valve is open
    assert total(two, "litres") <= total(one, "litres") * (1.0 + 1e-9) + _an_opening(one)
    if random_garden(number, folder).controller["upper"].valve.refill.exponent == 0.0:
        assert total(two, "litres") == pytest.approx(total(one, "litres"), rel=1e-9)


def hold_hemispheres(number, folder):
    """The other hemisphere half a year later: the same to 7.5 %; what is left is the sun's nearness in January."""
    north, south = (
        replay(random_garden(number, folder, latitude=sign * 38.0, start=start))
        for sign, start in ((1.0, dt.date(2025, 4, 1)), (-1.0, dt.date(2025, 10, 1)))
    )
    assert south.days["eto_mm"].sum() == pytest.approx(north.days["eto_mm"].sum(), rel=0.075)
    assert total(south, "evaporated_kg", PAN) == pytest.approx(total(north, "evaporated_kg", PAN), rel=0.075)


def hold_continuity(number, folder):
    """A millionth more evaporation moves the season by an opening at most."""
    one, two = (replay(random_garden(number, folder, exposure=exposure)) for exposure in (1.0, 1.000001))
    assert abs(total(two, "openings", PAN) - total(one, "openings", PAN)) <= 1
    assert abs(total(two, "litres") - total(one, "litres")) <= 1.01 * _an_opening(one) + 1e-4 * total(one, "litres")


def hold_time_zones(number, folder):
    """Clocks change what is shown and no water."""
    garden = random_garden(number, folder)
    here = garden.changed({"site": {"longitude": 9.0, "timezone": "Europe/Rome"}})
    there = garden.changed({"site": {"longitude": -120.0, "timezone": "America/Los_Angeles"}})
    one, two = replay(here), replay(there)
    assert total(one, "litres") == total(two, "litres")
    assert one.openings["start_h"].tolist() == two.openings["start_h"].tolist()


def hold_new_year(number, folder):
    """A season over New Year is its two parts, one after the other."""
    garden = random_garden(number, folder, start=dt.date(2024, 12, 10), latitude=-35.0)
    whole, old = replay(garden), replay(garden, end=dt.date(2024, 12, 31))
    new = replay(garden, start=dt.date(2025, 1, 1), state=old.state)
    for name, of in (("litres", PAN), ("openings", PAN), ("eta_mm", BED)):
        assert total(old, name, of) + total(new, name, of) == pytest.approx(total(whole, name, of), rel=1e-9, abs=1e-9)


def hold_polar_days(number, folder):
    """Sun all day, or none at all: every number is finite and all water is accounted for, which a run checks itself."""
    for latitude, start in ((89.0, dt.date(2025, 5, 20)), (-72.0, dt.date(2025, 5, 20))):
        season = replay(random_garden(number, folder, latitude=latitude, start=start))
        assert np.isfinite(season.controllers["upper"]["evaporated_kg"]).all()
        assert (season.days["eto_mm"] >= 0.0).all()
        assert math.isfinite(total(season, "litres"))


def _an_opening(season):
    """Litres of the largest opening that there is, or could be."""
    described = season.scenario.controller["upper"]
    flows = season.forcing.pans.valve_flow[0] / season.forcing.pans.refill_flow[0]
    return max(described.valve.swing_kg * float(flows.max()), float(season.openings["litres"].max() or 0.0))


LAWS = [hold_size, hold_pressure, hold_hemispheres, hold_continuity, hold_time_zones, hold_new_year, hold_polar_days]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__)
def test_laws_hold_whatever_the_garden(law, tmp_path):
    for number in NUMBERS:
        law(number, tmp_path)
