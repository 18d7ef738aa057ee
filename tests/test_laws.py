"""
What follows from the mechanism, through the whole program: the facts of common practice at the head of the model
page (common practice, no source), and invariants.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from panbudget.season.replay import replay
from tests.small_weather import heat_wave, weather_csv

PAN = ("controller", "upper", "pan")
VALVE = ("controller", "upper", "valve")


def nested(path, value):
    """Nest a value below a path of keys."""
    for key in reversed(path):
        value = {key: value}
    return value


def merged(*overlays):
    """Merge nested overlays."""
    result = {}
    for overlay in overlays:
        for key, value in overlay.items():
            below = result.get(key)
            result[key] = merged(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return result


def area(square_metres):
    return nested(PAN, {"vessels": [{"area": f"{square_metres} m^2"}]})


def totals(scenario):
    season = replay(scenario)
    return season.totals["controllers"]["upper"], season.totals["beds"]["upper/tomatoes"]


def test_kg_are_proportional_to_the_pans_area(make_garden):
    """Same swing, beds and weather, no spill: double the pan, double the kg evaporated and (end apart) refilled."""
    small, _ = totals(make_garden(area(0.1), days=120))
    large, _ = totals(make_garden(area(0.2), days=120))
    assert large["evaporated_kg"] == pytest.approx(2 * small["evaporated_kg"], rel=1e-9)
    # refilled = evaporated less what is missing at the end, at most a swing
    assert large["refilled_kg"] == pytest.approx(2 * small["refilled_kg"], abs=3 * 0.9)


def test_openings_are_nearly_proportional_to_the_pans_area(make_garden):
    """While evaporation during an opening is small beside the refill flow; a little short of it as it is not."""
    small, _ = totals(make_garden(area(0.1), days=120))
    large, _ = totals(make_garden(area(0.2), days=120))
    assert large["openings"] == pytest.approx(2 * small["openings"], rel=0.08)
    assert large["openings"] <= 2 * small["openings"] + 1


def test_water_is_bed_flow_over_refill_flow_times_kg_refilled(make_garden):
    pan, bed = totals(make_garden(days=60))
    per_hour = 30 * 2.0 * 1.5**0.5 / (2.0 * 1.5**0.5)
    assert bed["litres"] == pytest.approx(per_hour * pan["refilled_kg"], rel=1e-12)
    assert bed["irrigation_mm"] == pytest.approx(bed["litres"] / 12.0, rel=1e-12)


def test_water_is_proportional_to_net_evaporation(make_garden):
    """Evaporation less the rain that the pan keeps; small showers, none spilled."""
    rain = [4.0 if index % 10 == 5 else 0.0 for index in range(120)]
    pan, _ = totals(make_garden(weather=weather_csv(120, rain=rain)))
    assert pan["spilled_kg"] == 0.0
    kept = pan["evaporated_kg"] - pan["rain_caught_kg"]
    assert pan["refilled_kg"] == pytest.approx(kept, abs=0.9)


def test_the_swing_changes_how_often_and_not_how_much(make_garden):
    fine, fine_bed = totals(make_garden(nested(VALVE, {"swing": "0.3 kg"}), days=120))
    coarse, coarse_bed = totals(make_garden(nested(VALVE, {"swing": "1.2 kg"}), days=120))
    assert fine["openings"] > 3.5 * coarse["openings"]
    assert fine_bed["litres"] == pytest.approx(coarse_bed["litres"], abs=30 * 1.2)


def test_a_smaller_refill_flow_gives_more_water(make_garden):
    litres = []
    for flow in ("1 L/h", "2 L/h", "4 L/h"):
        _, bed = totals(make_garden(nested(VALVE, {"refill": {"flow": flow}}), days=90))
        litres.append(bed["litres"])
    assert litres[0] > litres[1] > litres[2]
    assert litres[0] == pytest.approx(2 * litres[1], rel=0.05)


@pytest.mark.parametrize("pressure", ["75 kPa", "300 kPa"])
def test_pressure_changes_nothing_where_the_exponents_agree(make_garden, pressure):
    """It changes how long an opening lasts and not what it delivers."""
    pan, bed = totals(make_garden(days=90))
    other_pan, other_bed = totals(make_garden({"supply": {"spring": {"pressure": pressure}}}, days=90))
    assert other_bed["litres"] == pytest.approx(bed["litres"], rel=0.02)
    assert abs(other_pan["open_hours"] / pan["open_hours"] - 1) > 0.25


def test_pressure_counts_where_the_beds_are_compensated_and_the_refill_is_not(make_garden):
    overlay = nested(("controller", "upper", "bed", "tomatoes", "emitters"), {"exponent": 0.0})
    _, bed = totals(make_garden(overlay, days=90))
    _, other = totals(make_garden(merged(overlay, {"supply": {"spring": {"pressure": "37.5 kPa"}}}), days=90))
    # a quarter of the pressure halves the refill flow: twice the time open
    assert other["litres"] == pytest.approx(2 * bed["litres"], rel=0.05)


def test_the_pan_starts_filled_to_twenty_millimetres_below_its_rim(make_garden):
    scenario = make_garden()
    pan, _ = totals(scenario)
    assert pan["pan_start_kg"] == pytest.approx((180.0 - 20.0) * scenario.controller["upper"].pan.area)


@pytest.mark.parametrize("field", ["exposure", "area"])
def test_more_pan_never_gives_less_water(make_garden, field):
    litres = []
    for factor in (0.5, 0.8, 1.0, 1.3, 2.0):
        overlay = area(0.2 * factor) if field == "area" else nested(PAN, {"exposure": factor})
        litres.append(totals(make_garden(overlay, weather=heat_wave()))[1]["litres"])
    assert litres == sorted(litres)


def test_a_press_each_sunset_gives_an_opening_each_evening(make_garden):
    season = replay(make_garden(nested(VALVE, {"press_times": ["sunset"]}), days=20))
    pressed = season.openings[season.openings["cause"] == "press"]
    assert len(pressed) == 20
    hours = (pressed["start_h"] % 24.0).to_numpy()
    assert ((hours > 18.5) & (hours < 19.5)).all()


def test_the_season_in_two_halves_is_the_season(make_garden):
    """Carrying pan, valve and soil over a midnight gives the same numbers."""
    scenario = make_garden(weather=weather_csv(60, rain=[30.0 if i == 20 else 0.0 for i in range(60)]))
    middle = scenario.season.start + dt.timedelta(days=25)
    whole = replay(scenario)
    first = replay(scenario, end=middle)
    second = replay(scenario, start=middle + dt.timedelta(days=1), state=first.state)
    for key, column in (("controllers", "litres"), ("controllers", "openings"), ("beds", "eta_mm")):
        name = "upper" if key == "controllers" else "upper/tomatoes"
        joined = first.totals[key][name][column] + second.totals[key][name][column]
        assert joined == pytest.approx(whole.totals[key][name][column], rel=1e-9)
    end = second.totals["beds"]["upper/tomatoes"]["depletion_end_mm"]
    assert end == pytest.approx(whole.totals["beds"]["upper/tomatoes"]["depletion_end_mm"], abs=1e-9)


def test_months_and_openings_add_up_to_the_season(make_garden):
    season = replay(make_garden(days=75))
    supply = season.totals["supplies"]["spring"]
    assert sum(supply["by_month"].values()) == pytest.approx(supply["litres"], rel=1e-12)
    assert season.openings["litres"].sum() == pytest.approx(supply["litres"], rel=1e-9)
    assert season.controllers["upper"]["litres"].sum() == pytest.approx(supply["litres"], rel=1e-12)
    pan = season.totals["controllers"]["upper"]
    assert pan["bed_litres"] + pan["refilled_kg"] == pytest.approx(pan["litres"], rel=1e-12)
    assert len(season.openings) == pan["openings"]
    assert supply["peak_rate_l_per_h"] == pytest.approx(62.0 * 1.5**0.5)


def test_the_driest_quarter_gets_its_share(make_garden):
    season = replay(make_garden(nested(("controller", "upper", "bed", "tomatoes"), {"uniformity": 0.7})))
    bed = season.totals["beds"]["upper/tomatoes"]
    assert bed["driest_quarter"]["irrigation_mm"] == pytest.approx(0.7 * bed["irrigation_mm"], rel=1e-12)
    assert bed["driest_quarter"]["eta_mm"] <= bed["eta_mm"]


@pytest.mark.parametrize("days", [1, 2])
def test_a_season_of_a_day_or_two_is_a_season(make_garden, days):
    season = replay(make_garden(days=days))
    assert len(season.days) == days
    table = season.beds["upper/tomatoes"]
    dual = ["kcb", "ke", "kr", "few", "surface_depletion_mm", "evaporation_mm", "transpiration_mm"]
    assert table[dual].isna().all(axis=None)  # a single coefficient has no such terms
    assert np.isfinite(table.drop(columns=dual).select_dtypes("number").to_numpy()).all()


def test_a_summer_without_evaporation_never_opens_and_says_so(make_garden):
    season = replay(make_garden(weather=weather_csv(20, pan=0.0)))
    assert season.totals["controllers"]["upper"]["openings"] == 0
    assert [f.severity for f in season.findings if f.code == "never-opened"] == ["danger"]


def test_a_refill_that_cant_outrun_the_sun_is_a_finding(make_garden):
    """A 1 m² pan loses over 0.5 L at a hot noon; 0.2 L/h can't refill it."""
    overlay = merged(area(1.0), nested(VALVE, {"refill": {"flow": "0.2 L/h", "at": "150 kPa"}}))
    season = replay(make_garden(overlay))
    codes = {finding.code: finding.severity for finding in season.findings}
    assert codes["weak-refill"] == "caution"
    assert codes["stuck-open"] == "danger"
