"""Salt in a pan: what came is there or left, it weighs and slows, and a rinse in time keeps the drift small."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from panbudget import replay
from panbudget.reports.writing import as_page
from panbudget.season.salt import GRAMS_PER_LITRE, MOST_DRIFT, evaporation_factor
from tests.small_weather import weather_csv


def salty(make_garden, salinity, **weather):
    garden = make_garden(weather=weather_csv(**weather) if weather else None)
    return replay(garden.changed({"supply": {"spring": {"salinity": salinity}}}) if salinity else garden)


def salt_of(season):
    return season.totals["controllers"]["upper"]["salt"]


def test_sea_water_evaporates_two_to_three_per_cent_less():
    """From memory: Linsley, Kohler & Paulhus, Hydrology for Engineers: sea water (35 g/kg) 2 to 3 % below fresh."""
    assert 0.97 <= evaporation_factor(35.0) <= 0.98
    assert evaporation_factor(0.0) == 1.0


def test_a_decisiemens_is_640_milligrams():
    """FAO-29 (Ayers & Westcot 1985): TDS [mg/L] ≈ 640 × EC [dS/m]."""
    assert GRAMS_PER_LITRE == 0.64


def test_salt_that_came_is_in_the_pan_or_left_with_the_spill(make_garden):
    rain = [0.0] * 9 + [60.0] + [0.0] * 10 + [45.0] + [0.0] * 10
    season = salty(make_garden, "3 dS/m", days=31, rain=rain)
    salt = salt_of(season)
    assert salt["left_g"] > 0.0
    assert salt["start_g"] + salt["came_g"] == pytest.approx(salt["left_g"] + salt["end_g"], rel=1e-9)
    refilled = season.totals["controllers"]["upper"]["refilled_kg"]
    assert salt["came_g"] == pytest.approx(0.64 * 3.0 * refilled)


def test_the_drift_is_the_salt_gained_and_the_rinse_keeps_it_under_a_twentieth(make_garden):
    """By hand: 8 mm a day from 0.196 m² is 1.57 kg, at 1 dS/m 1.005 g of salt; 45 g, 5 % of 900 g, take some 45 days."""
    season = salty(make_garden, "1 dS/m", days=100)
    salt = salt_of(season)
    assert salt["drift_end_g"] == pytest.approx(salt["end_g"] - salt["start_g"])
    assert salt["drift_most_of_swing"] > MOST_DRIFT
    assert salt["rinse_every_days"] == pytest.approx(45.0 / (0.64 * 8.0 * 0.19635), abs=1.5)
    assert salt["rinses"] == 2
    finding = next(f for f in season.findings if f.code == "salt")
    assert finding.severity == "caution"
    assert "rinse it and fill it again every" in finding.message


def test_salt_lowers_the_water_at_the_trip_by_its_own_weight(make_garden):
    """The beam feels water and salt together; the pan itself still closes (replay checks it)."""
    fresh, season = salty(make_garden, None, days=60), salty(make_garden, "8 dS/m", days=60)

    def lowest(one):
        pans = one.forcing.pans
        water = one.hourly_level["upper"] - pans.dry[0].repeat(24)
        return water[-240:].min()

    drift = salt_of(season)["drift_end_g"] / 1000.0
    assert drift > 0.2
    assert lowest(fresh) - lowest(season) == pytest.approx(drift, abs=0.12)
    assert salt_of(season)["evaporation_less"] > 0.002
    less = (
        season.totals["controllers"]["upper"]["evaporated_kg"] / fresh.totals["controllers"]["upper"]["evaporated_kg"]
    )
    # the second run takes the first one's salt, hence not to the last digit
    assert 1.0 - less == pytest.approx(salt_of(season)["evaporation_less"], rel=0.01)


def test_fresh_water_is_not_reckoned_with_and_a_trace_changes_nothing(make_garden):
    fresh, trace = salty(make_garden, None), salty(make_garden, "0.001 dS/m")
    assert "salt" not in fresh.totals["controllers"]["upper"]
    np.testing.assert_array_equal(fresh.hourly_level["upper"], trace.hourly_level["upper"])
    assert next(f for f in trace.findings if f.code == "salt").severity == "note"
    assert salt_of(trace)["rinse_every_days"] is None


def test_a_season_cut_in_two_goes_on_with_its_salt(make_garden):
    """What the trip, the evaporation and the rinsing do on the second half is what they do in a season in one."""
    rain = [0.0] * 14 + [25.0] + [0.0] * 45
    garden = make_garden(weather=weather_csv(60, rain=rain)).changed({"supply": {"spring": {"salinity": "6 dS/m"}}})
    whole = replay(garden)
    cut = dt.date(2025, 5, 31)
    first = replay(garden, end=cut)
    rest = replay(garden, start=cut + dt.timedelta(days=1), state=first.state, salt=first.salt_left)
    for column in ("pan_level_kg", "evaporated_kg", "refilled_kg", "openings"):
        both = np.concatenate([one.controllers["upper"][column] for one in (first, rest)])
        np.testing.assert_allclose(both, whole.controllers["upper"][column], rtol=1e-5, atol=1e-6)
    assert salt_of(rest)["end_g"] == pytest.approx(salt_of(whole)["end_g"], rel=1e-6)
    assert salt_of(rest)["drift_end_g"] == pytest.approx(salt_of(whole)["drift_end_g"], rel=1e-6)
    assert salt_of(first)["rinses"] + salt_of(rest)["rinses"] == salt_of(whole)["rinses"] >= 2
    fresh = replay(garden, start=cut + dt.timedelta(days=1), state=first.state)
    assert salt_of(fresh)["end_g"] < 0.7 * salt_of(whole)["end_g"]


def test_the_report_has_its_table(make_garden):
    season = salty(make_garden, "1 dS/m", days=100)
    page = as_page(season)
    assert "Salt in the pans" in page
    assert "Salt in the pans" not in as_page(salty(make_garden, None))
