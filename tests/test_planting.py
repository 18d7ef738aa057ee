"""From a scenario's words to demand and soil."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from simulator.planting import demand_curve, plant_of, soil_of
from simulator.scenario import Plants, Soil

DATES = np.arange("2025-05-01", "2025-10-01", dtype="datetime64[D]")


def curve(planted=dt.date(2025, 5, 1), basal=False, **described):
    n = len(DATES)
    wind, humid = np.full(n, 2.0), np.full(n, 45.0)
    return demand_curve(Plants.model_validate(described), DATES, planted=planted, wind=wind, rh_min=humid, basal=basal)


def test_own_figures_take_the_place_of_the_tables():
    plant = plant_of(Plants.model_validate({"name": "tomato", "kc_mid": 0.9, "root_depth": "40 cm", "depletion": 0.3}))
    assert (plant.kc_ini, plant.kc_mid, plant.root_depth, plant.depletion) == (0.6, 0.9, 0.4, 0.3)
    assert plant.kcb_mid == pytest.approx(0.85)  # the bare soil's 0.05 stays


def test_roots_of_a_perennial_start_where_they_end():
    plant = plant_of(Plants.model_validate({"name": "mint", "root_depth": "60 cm"}))
    assert plant.root_depth_start == plant.root_depth == 0.6


def test_shallow_own_roots_are_never_exceeded_at_planting():
    plant = plant_of(Plants.model_validate({"name": "tomato", "root_depth": "10 cm"}))
    assert plant.root_depth_start == plant.root_depth == 0.1


def test_an_evergreen_needs_no_date_and_asks_the_same_all_year():
    demand = curve(planted=None, name="citrus")
    assert np.ptp(demand.kc) == 0.0
    assert demand.growing.all()


def test_a_stand_in_is_said():
    assert any("figures for cabbage stand in for kale" in text for text in curve(name="kale").assumptions)
    assert not any("stand in" in text for text in curve(name="cabbage").assumptions)


def test_a_constant_kc_parts_with_its_soil_for_the_dual_coefficient():
    """FAO-56 (1998) Table 18: Kcb is Kc less 0.05 to 0.1."""
    kc = {"kc": 0.9, "root_depth": "50 cm", "depletion": 0.5}
    assert curve(basal=True, **kc).kc[0] == pytest.approx(curve(**kc).kc[0] - 0.1)
    factor = {"plant_factor": 0.05, "root_depth": "50 cm", "depletion": 0.5}
    assert curve(basal=True, **factor).kc[0] == 0.0


def test_soils_by_name_or_by_two_figures():
    assert soil_of(Soil.model_validate({"name": "loam"})).field_capacity == 0.25
    own = soil_of(Soil.model_validate({"field_capacity": 0.3, "wilting_point": 0.1}))
    assert (own.field_capacity, own.wilting_point) == (0.3, 0.1)
