"""Salt in a pan: what came is there or left, it weighs and slows, and a rinse in time keeps the drift small."""

from __future__ import annotations

import dataclasses
import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest

from panbudget import replay
from panbudget.reports.writing import as_page
from panbudget.season.salt import GRAMS_PER_LITRE, MOST_DRIFT, evaporation_factor, pan_salt, salted_pans
from tests.random_gardens import random_garden
from tests.small_garden import garden as bare_garden
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
    assert "rinse it and fill it again every" in finding.text
    assert f"{100 * salt['evaporation_less']:.1f} % less evaporation" in finding.text
    assert f"{100 * salt['drift_most_of_swing']:.1f} % of the swing" in finding.text


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
    assert 1.0 - less == pytest.approx(salt_of(season)["evaporation_less"], rel=1e-9)


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
        np.testing.assert_array_equal(both, whole.controllers["upper"][column])
    assert salt_of(rest)["end_g"] == pytest.approx(salt_of(whole)["end_g"], rel=1e-6)
    assert salt_of(rest)["drift_end_g"] == pytest.approx(salt_of(whole)["drift_end_g"], rel=1e-6)
    assert salt_of(first)["rinses"] + salt_of(rest)["rinses"] == salt_of(whole)["rinses"] >= 2
    fresh = replay(garden, start=cut + dt.timedelta(days=1), state=first.state)
    assert salt_of(fresh)["end_g"] < 0.7 * salt_of(whole)["end_g"]


@pytest.mark.parametrize("number", [3, 30, 58])
def test_a_random_salty_season_cut_in_two_is_the_season_in_one_to_the_last_bit(tmp_path, number):
    """Where openings leap with the least salt, too: a pan that is pressed by hand at its reset."""
    pressed = {"controller": {"upper": {"valve": {"press_times": ["06:00", "20:00"]}}}}
    fresh = random_garden(number, tmp_path).changed(pressed)
    garden = fresh.changed({"supply": {name: {"salinity": "3 dS/m"} for name in fresh.supply}})
    whole, cut = replay(garden), garden.season.start + dt.timedelta(days=29)
    first = replay(garden, end=cut)
    rest = replay(garden, start=cut + dt.timedelta(days=1), state=first.state, salt=first.salt_left)
    for column in ("pan_level_kg", "evaporated_kg", "refilled_kg", "openings"):
        both = np.concatenate([one.controllers["upper"][column] for one in (first, rest)])
        np.testing.assert_array_equal(both, whole.controllers["upper"][column])


def test_salt_acts_alike_where_every_mornings_drift_and_strength_are_the_same():
    """What the last evening leaves acts on nothing any more."""

    def salt(*refilled, level=0.0):
        return pan_salt(*one_pan(list(refilled), [level] * 3), 0, 1.0, 10.0)

    assert salt(1.0, 2.0, 3.0).acts_as(salt(1.0, 2.0, 4.0))
    assert not salt(1.0, 2.0, 3.0).acts_as(salt(1.0, 2.0 + 1e-13, 3.0))
    assert not salt(1.0, 2.0, 3.0).acts_as(salt(1.0, 2.0, 3.0, level=1e-9))  # the same salt in more water


def test_the_report_has_its_table(make_garden):
    season = salty(make_garden, "1 dS/m", days=100)
    page = as_page(season)
    assert "Salt in the pans" in page
    assert "Salt in the pans" not in as_page(salty(make_garden, None))


def test_each_per_cent_of_specific_gravity_takes_one_of_evaporation_up_to_250_grams():
    """From memory, Linsley, Kohler & Paulhus: 1 % per 1 % of specific gravity, 0.75 % of it per 1 % of salt."""
    assert evaporation_factor([10.0, 100.0, 250.0, 300.0, -5.0]) == pytest.approx([0.9925, 0.925, 0.8125, 0.8125, 1.0])


def one_pan(refilled, level, spilled=0.0, leaked=0.0, swing=1.0, dry=-9.0):
    """Pans and results of one pan, as `pan_salt` reads them; numbers or lists of days."""
    refilled, level, spilled, leaked, dry, swing = (
        np.array(part)[None, :].astype(float)
        for part in np.broadcast_arrays(*map(np.atleast_1d, (refilled, level, spilled, leaked, dry, swing)))
    )
    results = SimpleNamespace(refilled=refilled, level=level, spilled=spilled, leaked=leaked)
    return SimpleNamespace(dry=dry, swing=swing), results


def test_salt_of_three_days_by_hand():
    """
    1 dS/m is 0.64 g/L: 10 kg hold 6.4 g, and 2 kg more bring 1.28; spilling 1 of 10 kg takes a tenth of them, leaking 1
    of 9 kg a ninth. A leak below none (rain blown in) takes none.
    """
    salt = pan_salt(*one_pan([2.0, 0.0, 0.0], [0.0, 0.0, -1.0], [1.0, 0.0, 0.0], [0.0, -1.0, 1.0]), 0, 1.0, 10.0)
    assert salt.grams == pytest.approx([6.912, 6.912, 6.144])
    assert (salt.before.grams, salt.came_g, salt.left_g) == pytest.approx((6.4, 1.28, 1.536))
    assert salt.concentration == pytest.approx([0.768] * 3)
    assert salt.drift == pytest.approx([0.512e-3, 0.512e-3, -0.256e-3])
    assert salt.drifts == pytest.approx([0.0, 0.512e-3, 0.512e-3])
    assert 1.0 - salt.evaporation_factor == pytest.approx([0.75 * 0.64e-3, 0.75 * 0.768e-3, 0.75 * 0.768e-3])
    listed = salt.as_dict(np.array([2.0, 1.0, 1.0]) * salt.evaporation_factor)
    assert listed["evaporation_less"] == pytest.approx(0.75 * (0.64e-3 + 0.768e-3) / 2.0)
    assert (listed["drift_end_g"], listed["drift_most_g"]) == pytest.approx((-0.256, 0.512))
    strengths = dataclasses.replace(salt, concentration=np.array([0.5, 0.768, 0.6])).as_dict(np.ones(3))
    assert strengths["most_g_per_kg"] == 0.768
    assert (listed["drift_most_of_swing"], listed["supply_g_per_l"]) == pytest.approx((0.512e-3, 0.64))
    assert salt.as_dict(np.zeros(3))["evaporation_less"] == 0.0


def test_a_dry_pan_keeps_its_salt_and_has_no_strength():
    salt = pan_salt(*one_pan([0.0, 0.0], [-9.0, -9.0]), 0, 1.0, 10.0)
    assert salt.grams == pytest.approx([6.4, 6.4])
    assert salt.concentration.tolist() == [0.0, 0.0]
    assert salt.evaporation_factor[1] == 1.0


def test_a_rinse_is_due_once_the_drift_is_over_a_twentieth_of_the_least_swing_and_not_at_it():
    """By hand: 10 kg a day of 1 g/L gather 50 g in five days, a twentieth of 1 kg; the sixth is over it."""
    salinity = 1.0 / GRAMS_PER_LITRE
    salt = pan_salt(*one_pan([10.0] * 14, 0.0, swing=[2.0] * 13 + [1.0]), 0, salinity, 10.0)
    assert salt.rinses == (5, 11)
    assert (salt.shortest_interval, salt.rinsed_g, salt.swing) == (6, 30.0, 1.0)
    assert pan_salt(*one_pan([10.0] * 5, 0.0), 0, salinity, 10.0).shortest_interval is None
    assert pan_salt(*one_pan([10.002] * 5, 0.0), 0, salinity, 10.0).rinses == (4,)


@pytest.mark.parametrize(
    ("less", "drift", "matters"),
    [(0.000999, 0.0, False), (0.001001, 0.0, True), (0.0, 0.002, False), (0.0, 0.002001, True)],
)
def test_salt_matters_from_over_a_thousandth_of_the_evaporation_or_of_the_swing(less, drift, matters):
    """A swing of 2 kg: 2 g of salt are a thousandth."""
    salt = pan_salt(*one_pan([0.0], 0.0, swing=2.0), 0, 1.0, 10.0)
    salt = dataclasses.replace(salt, drift=np.array([0.0, drift]), evaporation_factor=np.array([1.0 - less]))
    assert salt.matters is matters


def test_salt_lowers_trip_rim_and_floor_by_the_drift_of_the_evening_before():
    """By hand: 2 kg a day of 1 g/L: the trip stands 0, 2 and 4 g lower, in steps of 2 g at midnight."""
    salt = pan_salt(*one_pan([2.0] * 3, 0.0), 0, 1.0 / GRAMS_PER_LITRE, 10.0)
    days = np.ones((1, 3))
    pans = bare_garden([8.0] * 3)[1]._replace(evaporation=8.0 * days, rim=5.0 * days, dry=-9.0 * days, shift=0.5 * days)
    salted = salted_pans(pans, {0: salt})
    assert salted.rim[0] == pytest.approx([5.0, 5.002, 5.004])
    assert salted.dry[0] == pytest.approx([-9.0, -8.998, -8.996])
    assert salted.shift[0] == pytest.approx([0.5, 0.498, 0.498])
    assert salted.evaporation[0] == pytest.approx(8.0 * salt.evaporation_factor)
    assert (salt.left(salted=True).applied, salt.left(salted=False).applied) == pytest.approx((0.004, 0.0))
