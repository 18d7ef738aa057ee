"""From a scenario's words to demand and soil."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError

from panbudget.physics.crops import covered_fraction
from panbudget.physics.soil import available_water
from panbudget.scenario import beds
from panbudget.season.demand import (
    Climate,
    PlantingError,
    bed_demand,
    bed_forcing,
    demand_curve,
    evaporable_water,
    mulch_factor,
    plant_of,
    soil_of,
)

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
    demand = bed_demand(bed(plantings=[SPINACH, BEANS]), weather)
    day = {text: int((np.datetime64(text, "D") - weather.dates[0]).astype(int)) for text in texts}
    assert demand.growing[day["2025-06-04"]]
    assert not demand.growing[day["2025-06-05"] : day["2025-06-15"]].any()
    assert demand.kc[day["2025-06-14"]] == 0.5  # bare soil: the next planting's Kc ini
    assert demand.growing[day["2025-06-15"]]
    assert demand.growing[day["2025-09-12"]]
    assert not demand.growing[day["2025-09-13"]]
    assert demand.p_table[day["2025-06-04"]] == 0.2
    assert demand.p_table[day["2025-06-15"]] == 0.45
    assert [part.name for part in demand.parts] == ["spinach", "green bean"]


def test_plantings_that_overlap_are_refused():
    early = {**BEANS, "planted": dt.date(2025, 5, 1)}
    with pytest.raises(PlantingError, match=r"spinach is still in the ground on 2025-05-01 when green bean grows"):
        bed_demand(bed(plantings=[SPINACH, early]), climate())


def test_a_mixture_asks_for_its_parts_by_the_ground_they_cover():
    parts = [{"plants": "lawn", "share": 0.25}, {"plants": "desert plants", "share": 0.75}]
    demand = bed_demand(bed(mix=parts), climate(days=3))
    assert demand.kc.tolist() == pytest.approx([0.25 * 0.95 + 0.75 * 0.3] * 3)
    assert demand.p_table.tolist() == [0.4] * 3  # the part that suffers first


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
    assert "tomato: no base temperature is given, so its degree days count from 10 °C on" in [*map(str, said)]


def test_mulch_takes_its_part_of_the_evaporation_and_none_of_the_plants():
    """FAO-56 (1998) ch. 10, from memory: straw over all, half of the soil's evaporation; plastic, all of it."""
    bare = bed_demand(bed(plants="lettuce", planted=dt.date(2025, 5, 1)), climate())
    straw = {"kind": "organic", "cover": 1.0}
    plastic = {"kind": "plastic", "cover": 1.0}
    at = 65  # early in the season: Kc 0.7, Kcb 0.15
    assert bare.kc[at] == pytest.approx(0.7)
    for mulch, left in ((straw, 0.5), ({**straw, "kind": "compost"}, 0.5), (plastic, 0.0)):
        got = bed_demand(bed(plants="lettuce", planted=dt.date(2025, 5, 1), mulch=mulch), climate())
        assert got.kc[at] == pytest.approx(0.15 + left * 0.55)
        assert (got.kc <= bare.kc + 1e-12).all()


@pytest.mark.parametrize(
    ("mulch", "left"),
    [(None, 1.0), (("organic", 1.0), 0.5), (("compost", 0.4), 0.8), (("plastic", 0.25), 0.75), (("plastic", 1.0), 0.0)],
)
def test_a_mulch_leaves_half_of_the_evaporation_below_it_or_none(mulch, left):
    """FAO-56 (1998), chapter 10 (from memory): 5 % less for each 10 % under an organic one; bare ground loses all."""
    part = None if mulch is None else beds.Mulch(kind=mulch[0], cover=mulch[1])
    assert mulch_factor(part) == pytest.approx(left, abs=1e-12)


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


def test_the_season_is_concerned_from_its_first_day_to_its_last():
    weather = climate(days=1, within=(dt.date(2025, 5, 1), dt.date(2025, 5, 31)))
    spans = {("2025-04-01", "2025-04-30"): False, ("2025-04-01", "2025-05-01"): True}
    spans |= {("2025-05-31", "2025-07-01"): True, ("2025-06-01", "2025-07-01"): False}
    for (first, last), concerned in spans.items():
        days = np.arange(first, np.datetime64(last) + np.timedelta64(1, "D"), dtype="datetime64[D]")
        assert weather.concerns(days) is concerned, (first, last)


def runoff(rain, number):
    """NRCS: S = 25400 / CN − 254 mm, Q = (P − 0.2 S)² / (P + 0.8 S)."""
    s = 25400.0 / number - 254.0
    return (rain - 0.2 * s) ** 2 / (rain + 0.8 * s)


#: of curve number 75, by Hawkins, Hjelmfelt & Zevenbergen (1985), from memory
DRY, WET = 75.0 / (2.281 - 0.01281 * 75.0), 75.0 / (0.427 + 0.00573 * 75.0)


@pytest.mark.parametrize(("back", "number"), [(1, WET), (5, WET), (6, DRY)])
def test_the_ground_remembers_five_days_of_the_record_before_the_runs_first(back, number):
    """60 mm five days before the first day leave it wet (over 53.3 mm), six days before they are forgotten."""
    rain = np.zeros(20)
    rain[10], rain[10 - back] = 70.0, 60.0
    got = bed_forcing(
        "c", "b", bed(plants="lawn", curve_number=75, antecedent="five-day"), climate(days=20), rain, 10, 14
    )
    assert got.rain_in[0] == pytest.approx(70.0 - runoff(70.0, number))
    assert not any("of the five days before" in text for text in got.assumptions)
    average = bed_forcing("c", "b", bed(plants="lawn", curve_number=75), climate(days=20), rain, 10, 14)
    assert average.rain_in[0] == pytest.approx(70.0 - runoff(70.0, 75.0))


@pytest.mark.parametrize(("first", "told"), [(0, True), (4, True), (5, False)])
def test_with_fewer_than_five_days_before_it_the_ground_is_neither_dry_nor_wet(first, told):
    rain = np.zeros(20)
    rain[first] = 70.0
    part = bed(plants="lawn", curve_number=75, antecedent="five-day")
    got = bed_forcing("c", "b", part, climate(days=20), rain, first, first + 6)
    assert got.rain_in[0] == pytest.approx(70.0 - runoff(70.0, 75.0 if told else DRY))
    assert any(f"holds {first} of the five days" in text for text in got.assumptions) is told


def test_salty_water_asks_for_its_leaching_and_fresh_water_for_none():
    """FAO-29 eq. 9: LR = ECw / (5 ECe − ECw); 1 and 2 dS/m: a ninth."""
    rain = np.zeros(3)
    salty = bed(plants="lawn", leaching={"water": "1 dS/m", "threshold": "2 dS/m"})
    assert bed_forcing("c", "b", salty, climate(days=3), rain, 0, 3).leaching == pytest.approx(1.0 / 9.0)
    assert bed_forcing("c", "b", bed(plants="lawn"), climate(days=3), rain, 0, 3).leaching == 0.0


def test_the_dual_coefficient_has_the_most_of_its_climate_and_the_share_of_bare_ground():
    """FAO-56 (1998) eq. 72 and 76 at 2 m/s and 45 %, where the climate's term is none: Kcb 0.6, 1 m high."""
    plant = {"kc": 0.7, "root_depth": "50 cm", "depletion": 0.5, "height": "1 m"}
    got = bed_forcing("c", "b", bed(plants=plant, method="dual"), climate(days=5), np.zeros(5), 2, 5)
    assert got.kc_max == pytest.approx([1.2] * 3)
    assert got.exposed == pytest.approx([1.0 - (0.45 / 1.05) ** 1.5] * 3)
    single = bed_forcing("c", "b", bed(plants=plant), climate(days=5), np.zeros(5), 2, 5)
    assert (single.kc_max.tolist(), single.exposed.tolist()) == ([0.0] * 3, [1.0] * 3)


def test_plants_never_cover_more_than_99_in_100_of_the_ground():
    """FAO-56 (1998) eq. 76, limits of fc; a Kcb of Kc max would cover all of it."""
    assert float(covered_fraction(1.2, 1.2, height=1.0)) == 0.99
    assert float(covered_fraction(0.1, 1.15, height=0.0)) == pytest.approx(0.01)  # eq. 76: at least 0.01 above the line


def test_a_surface_gives_no_more_at_once_than_nine_tenths_of_all_it_has():
    """FAO-56 (1998) eq. 73: loam 1000 (0.25 − 0.06) 0.1 = 19 mm, REW 9 of it; a soil of 8.5 mm can't give 8 first."""
    assert evaporable_water(bed(plants="lawn")) == pytest.approx((19.0, 9.0))
    poor = bed(plants="lawn", soil={"field_capacity": 0.09, "wilting_point": 0.01})
    assert evaporable_water(poor) == pytest.approx((8.5, 0.9 * 8.5))


def test_roots_that_end_with_the_last_layer_are_not_said_to_go_below_it():
    layers = {"layers": [{"name": "loam", "thickness": "20 cm"}, {"name": "clay", "thickness": "30 cm"}]}
    for depth, told in (("50 cm", False), ("51 cm", True)):
        plant = {"kc": 0.7, "root_depth": depth, "depletion": 0.5}
        got = bed_forcing("c", "b", bed(plants=plant, soil=layers), climate(days=2), np.zeros(2), 0, 2)
        assert any("roots go deeper" in text for text in got.assumptions) is told


@pytest.mark.parametrize(("kc_end", "adjusted"), [(0.44, 0.44), (0.45, 0.53)])
def test_kc_end_is_brought_to_the_climate_from_0_45_on(kc_end, adjusted):
    """FAO-56 (1998) eq. 65: 0.04 (4 − 2) (3/3)^0.3 = 0.08 at 4 m/s, 45 % and 3 m of height."""
    weather = dataclasses.replace(climate(), wind=np.full(300, 4.0))
    plant = checked(beds.Plants, {"name": "tomato", "kc_end": kc_end, "height": "3 m", "stages": [5, 5, 10, 5]})
    kc = demand_curve(plant, weather, planted=dt.date(2025, 4, 1), basal=False).kc
    assert kc[31 + 24] == pytest.approx(adjusted)  # the last day of the late stage
    assert kc[31 + 15] == pytest.approx(1.23)  # mid season, 1.15 as tabled
    assert kc[31 + 25] == kc[30] == 0.6


def test_a_seedling_is_five_centimetres_high_until_it_outgrows_them():
    """Common practice, no source. A tomato, 60 cm high at the end of the development stage, here of ten days."""
    plant = checked(beds.Plants, {"name": "tomato", "stages": [5, 10, 10, 5]})
    height = demand_curve(plant, climate(), planted=dt.date(2025, 4, 1), basal=False).height
    assert height[30:38].tolist() == pytest.approx([0.05] * 6 + [0.06, 0.12])
    assert height[31 + 14] == pytest.approx(0.6)


def test_plants_of_unstated_height_are_half_a_metre_high():
    """Common practice, no source."""
    for plants in ({"kc": 0.9}, {"plant_factor": 0.5}):
        assert set(curve(**plants, root_depth="50 cm", depletion=0.5).height) == {0.5}
        assert set(curve(**plants, root_depth="50 cm", depletion=0.5, height="2 m").height) == {2.0}


@pytest.mark.parametrize(
    ("start", "day"), [("2099-06-01", "2100-02-28"), ("2023-06-01", "2024-02-29"), ("1999-06-01", "2000-02-29")]
)
def test_a_perennial_of_a_leap_day_starts_on_the_28th_where_the_year_has_no_29th(start, day):
    """The Gregorian rule: 2000 and 2024 have a leap day, 2100 has none."""
    weather = climate(start, 320)
    growing = bed_demand(bed(plants="mint", planted=dt.date(2020, 2, 29)), weather).growing
    at = int((np.datetime64(day) - weather.dates[0]).astype(int))
    assert (growing[at - 1], growing[at]) == (False, True)


def test_degree_days_past_the_record_come_at_the_mean_of_its_last_thirty_days():
    """By hand: 70 days of 10 and 30 of 5 gather 850; the last 100 of 950 take 20 more, so that the late stage has 50."""
    tmean = np.array([20.0] * 70 + [15.0] * 30)
    by_heat = {"name": "tomato", "stages_gdd": [100, 200, 400, 250], "base_temperature": 10.0}
    weather = climate("2025-05-01", 100, tmean=tmean)
    got = bed_demand(bed(plants=by_heat, planted=dt.date(2025, 5, 1)), weather)
    days = bed_demand(bed(plants={"name": "tomato", "stages": [10, 20, 40, 50]}, planted=dt.date(2025, 5, 1)), weather)
    assert got.kc.tolist() == days.kc.tolist()
    enough = bed(plants=by_heat | {"stages_gdd": [100, 200, 400, 150]}, planted=dt.date(2025, 5, 1))
    assert not any("degree days" in text for text in bed_demand(enough, weather).assumptions)


def test_degree_days_count_from_the_records_first_day_to_its_last():
    plants = {"name": "tomato", "stages_gdd": [10, 10, 10, 10], "base_temperature": 10.0}
    for planted in (dt.date(2025, 3, 1), dt.date(2025, 3, 30)):
        assert bed_demand(bed(plants=plants, planted=planted), climate(days=30)).growing.any()
    with pytest.raises(PlantingError, match="which the weather file does not hold"):
        bed_demand(bed(plants=plants, planted=dt.date(2025, 3, 31)), climate(days=30))


def test_kc_ini_from_wettings_takes_the_eto_of_the_initial_stage_alone():
    """Five days of 2 mm in the mean from planting on, 9 mm before and after: as in a climate of 2 mm; else the record's mean."""
    plants = {"name": "tomato", "stages": [5, 5, 10, 5]}
    wetted = bed(plants=plants, planted=dt.date(2025, 3, 11), wetting_interval="4 d")
    eto = np.full(300, 9.0)
    eto[10:15] = [4.0, 1.0, 1.5, 1.5, 2.0]
    weather = dataclasses.replace(climate(), eto=eto)
    assert bed_demand(wetted, weather).kc[12] == bed_demand(wetted, climate(eto=2.0)).kc[12]
    late = bed(plants=plants, planted=dt.date(2026, 3, 11), wetting_interval="4 d")
    mean = climate(eto=float(eto.mean()))
    assert bed_demand(late, weather).kc[0] == pytest.approx(bed_demand(late, mean).kc[0], rel=1e-12)


@pytest.mark.parametrize(("kc_ini", "kcb_ini"), [(0.7, 0.25), (0.45, 0.0), (0.3, 0.0)])
def test_a_kc_of_less_than_the_bare_soils_leaves_the_plants_none(kc_ini, kcb_ini):
    """FAO-56 (1998) Tables 12 and 17: a tomato's Kc ini 0.6 and Kcb ini 0.15, so that 0.45 are the soil's."""
    plant = plant_of(checked(beds.Plants, {"name": "tomato", "kc_ini": kc_ini}))
    assert plant.kcb_ini == pytest.approx(kcb_ini, abs=1e-12)
