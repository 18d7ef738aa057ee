"""
Reference ET and the pan, against FAO-56's examples, a second library and McMahon et al.'s worked day.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.physics import air as met
from panbudget.physics import evaporation as evap
from panbudget.physics import sun

DATA = Path(__file__).parents[1] / "data"


def published(file, case):
    text = (DATA / file).read_text(encoding="utf-8")
    return {row["name"]: row for row in csv.DictReader(text.splitlines()) if row["case"] == case}


def day(date, **columns):
    return pd.DataFrame({k: [float(v)] for k, v in columns.items()}, index=pd.DatetimeIndex([date], name="date"))


def test_eto_of_a_july_day_at_uccle():
    """FAO-56 (1998), chapter 4, Example 18: 3.88 mm/day from max and min RH, wind at 10 m, sunshine."""
    ea = met.vapour_pressure_from_rh_max_min(84.0, 63.0, tmin=12.3, tmax=21.5)
    Ra = sun.extraterrestrial_radiation(187, latitude=50.8)
    N = sun.daylight_hours(187, latitude=50.8)
    Rs = met.radiation_from_sunshine(9.25, daylight=N, extraterrestrial=Ra)
    u2 = met.wind_at_2m(10.0 / 3.6, height=10.0)
    table = day("2015-07-06", tmin=12.3, tmax=21.5, vapour_pressure=ea, wind=u2, radiation=Rs)
    eto = evap.reference_evapotranspiration(table, latitude=50.8, elevation=100.0)
    assert eto.iloc[0] == pytest.approx(3.88, abs=0.01)


def test_eto_of_a_month_at_bangkok():
    """FAO-56 (1998), chapter 4, Example 17: 5.72 mm/day. It takes G = 0.14 MJ, a daily step takes none: 0.04 more."""
    Ra = sun.extraterrestrial_radiation(105, latitude=13.73)
    N = sun.daylight_hours(105, latitude=13.73)
    Rs = met.radiation_from_sunshine(8.5, daylight=N, extraterrestrial=Ra)
    table = day("2015-04-15", tmin=25.6, tmax=34.8, vapour_pressure=2.85, wind=2.0, radiation=Rs)
    eto = evap.reference_evapotranspiration(table, latitude=13.73, elevation=2.0).iloc[0]
    # eq. 6: the term of G that the example subtracts, with its own Δ, γ and u2
    heat_flux = 0.408 * 0.246 * 0.14 / (0.246 + 0.0674 * (1 + 0.34 * 2.0))
    assert eto - heat_flux == pytest.approx(5.72, abs=0.012)


def test_eto_with_missing_data_at_lyon():
    """FAO-56 (1998), chapter 4, Example 20: 4.56 mm/day from temperature alone, with wind at 2 m/s."""
    Ra = sun.extraterrestrial_radiation(196, latitude=45.72)
    Rso = met.clear_sky_radiation(Ra, elevation=200.0)
    Rs = np.minimum(0.16 * np.sqrt(26.6 - 14.8) * Ra, Rso)
    ea = met.vapour_pressure_from_dew_point(14.8)
    table = day("2015-07-15", tmin=14.8, tmax=26.6, vapour_pressure=ea, wind=2.0, radiation=Rs)
    eto = evap.reference_evapotranspiration(table, latitude=45.72, elevation=200.0)
    assert eto.iloc[0] == pytest.approx(4.56, abs=0.01)


def test_eto_of_a_southern_winter_day_at_alice_springs():
    """McMahon et al. (2013), HESS 17, supplement S19, 20 July 1980: 2.0775 mm/day."""
    rows = published("alice_springs_mcmahon2013.csv", "alice_springs_1980_07_20")
    Rs, u2 = float(rows["Rs"]["published"]), float(rows["u2"]["published"])
    ea = met.vapour_pressure_from_rh_max_min(71.0, 25.0, tmin=2.0, tmax=21.0)
    table = day("1980-07-20", tmin=2.0, tmax=21.0, vapour_pressure=ea, wind=u2, radiation=Rs)
    eto = evap.reference_evapotranspiration(table, latitude=-23.7951, elevation=546.0)
    assert eto.iloc[0] == pytest.approx(2.0775, abs=0.002)


def test_the_pans_energy_balance_at_alice_springs():
    """Rotstayn et al. (2006), McMahon et al. (2013) S6: recomputed only, 3.660 mm/day; f(0) 1.202 here, 1.201 there."""
    rows = published("alice_springs_mcmahon2013.csv", "alice_springs_1980_07_20")
    Rs, u2 = float(rows["Rs"]["published"]), float(rows["u2"]["published"])
    ea = met.vapour_pressure_from_rh_max_min(71.0, 25.0, tmin=2.0, tmax=21.0)
    table = day("1980-07-20", tmin=2.0, tmax=21.0, vapour_pressure=ea, wind=u2, radiation=Rs)
    pan = evap.pan_energy_balance(table, latitude=-23.7951, elevation=546.0, ground_albedo=0.26)
    assert pan[0] == pytest.approx(float(rows["E_penpan_ground_albedo_0.26"]["recomputed"]), abs=0.005)


def test_pan_coefficients_of_fao56_example_22():
    """FAO-56 (1998), chapter 4, Example 22: Kp 0.83 with green fetch, 0.61 with dry (1.9 m/s, 73 %, 1000 m)."""
    wind, rh = np.array([1.9]), np.array([73.0])
    rows = published("pan_examples.csv", "ex22")
    for cover, name in (("green", "kp_class_a_green"), ("dry", "kp_class_a_dry")):
        kp = evap.pan_coefficient(wind, rh, fetch=1000.0, cover=cover).kp[0]
        assert kp == pytest.approx(float(rows[name]["published"]), abs=float(rows[name]["tolerance"]))


def test_pan_from_eto_reads_example_21_backwards():
    """FAO-56 (1998), chapter 4, Example 21: ETo 6.7 mm/day with Kp 0.85 is a pan's 7.9 mm/day."""
    assert evap.pan_from_eto(np.array([6.7]), np.array([0.85]))[0] == pytest.approx(7.9, abs=0.06)


def test_a_bound_of_the_pan_table_is_told():
    bounded = evap.pan_coefficient(np.array([0.4, 2.0, 9.0]), np.array([20.0, 50.0, 90.0]), fetch=0.5, cover="green")
    assert bounded.wind_bounded.tolist() == [True, False, True]
    assert bounded.humidity_bounded.tolist() == [True, False, True]
    assert bounded.fetch_bounded
    at_ends = evap.class_a_coefficient_green(np.array([1.0, 8.0]), np.array([30.0, 84.0]), 1.0)
    np.testing.assert_allclose(bounded.kp[[0, 2]], at_ends)


def test_a_second_library_agrees_over_a_year_of_real_weather():
    """refet (ASCE-EWRI 2005 standardized, grass) on Seattle 2014; tmin as dew point and FAO-56 eq. 50 radiation."""
    refet = pytest.importorskip("refet")
    data = pytest.importorskip("vega_datasets").data
    weather = data.seattle_weather().set_index("date").loc["2014"]
    doy = weather.index.day_of_year.to_numpy()
    Ra = sun.extraterrestrial_radiation(doy, latitude=47.45)
    Rso = met.clear_sky_radiation(Ra, elevation=130.0)
    Rs = met.radiation_from_temperature_range(
        weather["temp_min"], weather["temp_max"], extraterrestrial=Ra, clear_sky=Rso
    )
    ea = met.vapour_pressure_from_dew_point(weather["temp_min"])
    table = pd.DataFrame(
        {
            "tmin": weather["temp_min"],
            "tmax": weather["temp_max"],
            "vapour_pressure": ea,
            "wind": np.maximum(weather["wind"], 0.5),
            "radiation": Rs,
        }
    )
    ours = evap.reference_evapotranspiration(table, latitude=47.45, elevation=130.0)
    theirs = refet.Daily(
        tmin=table["tmin"].to_numpy(),
        tmax=table["tmax"].to_numpy(),
        ea=table["vapour_pressure"].to_numpy(),
        rs=table["radiation"].to_numpy(),
        uz=table["wind"].to_numpy(),
        zw=2.0,
        elev=130.0,
        lat=47.45,
        doy=doy,
        method="asce",
    ).eto()
    assert ours.sum() == pytest.approx(theirs.sum(), rel=0.005)
    assert np.abs(ours.to_numpy() - theirs).max() < 0.06


@settings(max_examples=60, deadline=None)
@given(st.floats(-89.0, 89.0), st.integers(1, 366))
def test_the_hours_of_a_day_add_up_to_it(latitude, doy):
    daylight, dark = evap.hourly_shares(latitude, np.array([doy]))
    assert daylight.sum() == pytest.approx(1.0, abs=1e-12)
    assert dark.sum() == pytest.approx(1.0, abs=1e-12)
    assert (daylight >= 0.0).all()
    assert (dark >= 0.0).all()


def test_evaporation_by_day_is_even_about_noon_and_none_in_the_dark():
    daylight, dark = evap.hourly_shares(38.6, np.array([196]))
    np.testing.assert_allclose(daylight[0], daylight[0][::-1], atol=1e-12)
    assert daylight[0, :4].sum() == 0.0
    assert dark[0, 8:16].sum() == 0.0
