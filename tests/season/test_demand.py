"""From a scenario's words to demand and soil."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError

from panbudget.physics.soil import available_water
from panbudget.scenario import beds
from panbudget.season.demand import Climate, PlantingError, bed_demand, demand_curve, plant_of, soil_of

DATES = np.arange("2025-05-01", "2025-10-01", dtype="datetime64[D]")


def checked(part, described):
    return TypeAdapter(part).validate_python(described)


def curve(planted=dt.date(2025, 5, 1), basal=False, **described):
    weather = climate("2025-05-01", len(DATES))
    return demand_curve(checked(beds.Plants, described), weather, planted=planted, basal=basal)


def test_own_figures_take_the_place_of_the_tables():
    plant = plant_of(checked(beds.Plants, {"name": "tomato", "kc_mid": 0.9, "root_depth": "40 cm", "depletion": 0.3}))
    assert (plant.kc_ini, plant.kc_mid, plant.root_depth, plant.depletion) == (0.6, 0.9, 0.4, 0.3)
    assert plant.kcb_mid == pytest.approx(0.85)  # the bare soil's 0.05 stays


def test_roots_of_a_perennial_start_where_they_end():
    plant = plant_of(checked(beds.Plants, {"name": "mint", "root_depth": "60 cm"}))
    assert plant.root_depth_start == plant.root_depth == 0.6


def test_shallow_own_roots_are_never_exceeded_at_planting():
    plant = plant_of(checked(beds.Plants, {"name": "tomato", "root_depth": "10 cm"}))
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
    assert soil_of(checked(beds.Soil, {"name": "loam"})).field_capacity == 0.25
    own = soil_of(checked(beds.Soil, {"field_capacity": 0.3, "wilting_point": 0.1}))
    assert (own.field_capacity, own.wilting_point) == (0.3, 0.1)


def bed(**described):
    base = {"area": "10 m^2", "emitters": {"count": 10, "flow": "2 L/h"}, "soil": "loam"}
    return checked(beds.Bed, {**base, **described})


def climate(start="2025-03-01", days=300, tmean=20.0, eto=5.0, **more):
    dates = np.datetime64(start, "D") + np.arange(days)
    n = len(dates)
    return Climate(
        dates=dates,
        wind=np.full(n, 2.0),
        rh_min=np.full(n, 45.0),
        tmean=np.broadcast_to(np.asarray(tmean, float), (n,)).copy(),
        eto=np.full(n, eto),
        **more,
    )


SPINACH = {"plants": "spinach", "planted": dt.date(2025, 4, 1)}  # 65 days
BEANS = {"plants": "green bean", "planted": dt.date(2025, 6, 15)}  # 90 days


def test_plantings_in_turn_leave_bare_soil_between_them():
    weather = climate()
    texts = ("2025-06-04", "2025-06-05", "2025-06-14", "2025-06-15", "2025-09-12", "2025-09-13")
    demand = bed_demand(bed(plantings=[BEANS, SPINACH]), weather)
    day = {text: int((np.datetime64(text, "D") - weather.dates[0]).astype(int)) for text in texts}
    assert demand.growing[day["2025-06-04"]]
    assert not demand.growing[day["2025-06-05"] : day["2025-06-15"]].any()
    assert demand.kc[day["2025-06-14"]] == 0.5  # bare soil: the next planting's Kc ini
    assert demand.growing[day["2025-06-15"]]
    assert demand.growing[day["2025-09-12"]]
    assert not demand.growing[day["2025-09-13"]]
    assert demand.depletion[day["2025-06-04"]] == 0.2
    assert demand.depletion[day["2025-06-15"]] == 0.45
    assert [part.name for part in demand.parts] == ["green bean", "spinach"]


def test_plantings_that_overlap_are_refused():
    early = {**BEANS, "planted": dt.date(2025, 5, 1)}
    with pytest.raises(PlantingError, match=r"spinach is still in the ground on 2025-05-01 when green bean grows"):
        bed_demand(bed(plantings=[SPINACH, early]), climate())


def test_a_mixture_asks_for_its_parts_by_the_ground_they_cover():
    parts = [{"plants": "lawn", "share": 0.25}, {"plants": "desert plants", "share": 0.75}]
    demand = bed_demand(bed(mix=parts), climate(days=3))
    assert demand.kc.tolist() == pytest.approx([0.25 * 0.95 + 0.75 * 0.3] * 3)
    assert demand.depletion.tolist() == [0.4] * 3  # the part that suffers first


def test_shares_that_do_not_add_up_are_refused():
    with pytest.raises(ValidationError, match="add up to 0.9"):
        bed(mix=[{"plants": "lawn", "share": 0.2}, {"plants": "desert plants", "share": 0.7}])


def test_a_perennial_grows_every_year_from_the_same_day():
    weather = climate("2023-01-01", 3 * 365 + 1)
    demand = bed_demand(bed(plants="mint", planted=dt.date(2025, 3, 15)), weather)
    for year in (2023, 2024, 2025):
        at = int((np.datetime64(f"{year}-03-15") - weather.dates[0]).astype(int))
        assert not demand.growing[at - 1]
        assert demand.growing[at : at + 240].all()
        assert not demand.growing[at + 240]


def test_a_southern_season_runs_over_new_year():
    """Planted in October, 145 days of tomato: growing on both sides of New Year."""
    weather = climate("2024-09-01", 240)
    demand = bed_demand(bed(plants="tomato", planted=dt.date(2024, 10, 10)), weather)
    assert demand.growing.sum() == 145
    assert demand.growing[int((np.datetime64("2025-01-01") - weather.dates[0]).astype(int))]


def test_growing_degree_days_are_counted_above_the_base():
    """20 °C over a base of 10: ten a day; stages of 200, 300, 400, 100 are 20, 30, 40 and 10 days (McMaster & Wilhelm 1997)."""
    plants = {"name": "tomato", "stages_gdd": [200, 300, 400, 100], "base_temperature": 10.0}
    demand = bed_demand(bed(plants=plants, planted=dt.date(2025, 5, 1)), climate())
    in_days = bed_demand(
        bed(plants={"name": "tomato", "stages": [20, 30, 40, 10]}, planted=dt.date(2025, 5, 1)), climate()
    )
    assert demand.kc.tolist() == in_days.kc.tolist()
    warm = bed_demand(bed(plants=plants, planted=dt.date(2025, 5, 1)), climate(tmean=30.0))
    assert warm.growing.sum() == pytest.approx(50, abs=1)


def test_degree_days_need_their_weather():
    plants = {"name": "tomato", "stages_gdd": [200, 300, 400, 100]}
    with pytest.raises(PlantingError, match="which the weather file does not hold"):
        bed_demand(bed(plants=plants, planted=dt.date(2025, 2, 1)), climate())
    with pytest.raises(PlantingError, match="never gathers 1000 degree days"):
        bed_demand(bed(plants=plants, planted=dt.date(2025, 5, 1)), climate(tmean=8.0))
    said = bed_demand(bed(plants=plants, planted=dt.date(2025, 5, 1)), climate(days=120)).assumptions
    assert any("has not gathered all its degree days" in text for text in said)


def test_mulch_takes_its_part_of_the_evaporation_and_none_of_the_plants():
    """FAO-56 (1998) ch. 10, from memory: straw over all, half of the soil's evaporation; plastic, all of it."""
    bare = bed_demand(bed(plants="lettuce", planted=dt.date(2025, 5, 1)), climate())
    straw = {"kind": "organic", "cover": 1.0}
    plastic = {"kind": "plastic", "cover": 1.0}
    at = 65  # early in the season: Kc 0.7, Kcb 0.15
    assert bare.kc[at] == pytest.approx(0.7)
    for mulch, left in ((straw, 0.5), (plastic, 0.0)):
        got = bed_demand(bed(plants="lettuce", planted=dt.date(2025, 5, 1), mulch=mulch), climate())
        assert got.kc[at] == pytest.approx(0.15 + left * 0.55)
        assert (got.kc <= bare.kc + 1e-12).all()


def test_landscape_factors_multiply():
    """Landscape coefficient method: KL = ks kd kmc (from memory); low 0.2, average 1.0, high 1.25."""
    described = {"species": "low", "microclimate": "high", "root_depth": "50 cm", "depletion": 0.5}
    demand = bed_demand(bed(plants=described), climate(days=2))
    assert demand.kc.tolist() == pytest.approx([0.25, 0.25])
    with pytest.raises(ValidationError, match='unknown level of species "lowest"; expected: one of very low, low'):
        bed(plants={**described, "species": "lowest"})


def test_kc_ini_from_wettings_takes_the_place_of_the_tables():
    usual = bed_demand(bed(plants="tomato", planted=dt.date(2025, 5, 1)), climate())
    often = bed_demand(
        bed(plants="tomato", planted=dt.date(2025, 5, 1), wetting_interval="1 d", wetted_fraction=1.0), climate()
    )
    rarely = bed_demand(
        bed(plants="tomato", planted=dt.date(2025, 5, 1), wetting_interval="10 d", wetted_fraction=1.0), climate()
    )
    at = 65
    assert rarely.kc[at] < usual.kc[at] < often.kc[at]
    assert rarely.kc[140] == usual.kc[140]  # mid season is the same


def test_layers_add_up():
    """30 cm of loam (130 mm/m) over clay (140 mm/m): 50 cm of roots reach 39 + 28 mm, worked by hand."""
    layered = soil_of(
        checked(beds.Soil, {"layers": [{"name": "loam", "thickness": "30 cm"}, {"name": "clay", "thickness": "1 m"}]})
    )
    assert available_water(layered, [0.2, 0.5, 2.0]).tolist() == pytest.approx([26.0, 39.0 + 28.0, 39.0 + 238.0])
    assert available_water(soil_of(checked(beds.Soil, {"name": "loam"})), 0.5) == pytest.approx(65.0)


def test_roots_below_the_last_layer_are_said_to_go_on_in_it(make_garden):
    from panbudget import replay

    layers = {"soil": {"layers": [{"name": "loam", "thickness": "20 cm"}]}}
    season = replay(make_garden({"controller": {"upper": {"bed": {"tomatoes": layers}}}}, days=120))
    assert any("roots go deeper than the soil's layers, 0.2 m in all" in text for text in season.assumptions)
