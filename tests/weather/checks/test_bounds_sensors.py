"""
Checks of sensors on the smallest series on which each speaks, and on that beside it across the bound on which it doesn't.

The bounds are common practice, no source; days are invented, a June and July at 38° north.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.checks.sensors import _too_many_alike
from panbudget.weather.site import sky_of
from tests.weather.checks.days import inspected, spoken
from tests.weather.checks.test_sensors import WALK, WAVE, N, by_hour, clock
from tests.weather.sites import Site

AT = np.arange(N)
PLAIN = {"tmin": np.full(N, 14.0), "tmax": np.full(N, 28.0)}
WARM = {"tmin": 14.0 + WALK, "tmax": 28.0 + WALK}
TURNS = np.resize([0.0, 1.0], N)


def run(count, *, days=N, first=10):
    """Tell which days are in a run of so many."""
    return (np.arange(days) >= first) & (np.arange(days) < first + count)


def later(by, *, days=N, first=N // 2):
    """Return so much from a day on, nothing before."""
    return by * (np.arange(days) >= first)


def spiked(by, usual):
    """Return minima that go to and fro so that the days around stray by so much, with one that stands out, too few to be alone."""
    stray = (usual - 0.5) / 1.4826
    tmin = stray * TURNS + np.where(AT == 30, by + stray, 0.0)
    return {"days": 59, "tmin": tmin[:59], "tmax": PLAIN["tmax"][:59]}


def hot_run(count):
    return {"tmin": np.where(run(count, first=27), 40.0, 14.0), "tmax": PLAIN["tmax"]}


def stuck(days):
    """Return days of which no two neighbours are equal but for four."""
    wind = 2.0 + 0.001 * np.arange(days)
    wind[100:104] = 3.0
    return {"tmin": 14.0 + wind, "tmax": 28.0 + wind, "wind": wind}


def in_turn(daily, over_two):
    """Return minima that change by so much from day to day in the middle, and over two days by so much."""
    return {"tmin": 14.0 + daily * TURNS + over_two * (AT // 2 % 2), "tmax": PLAIN["tmax"]}


def in_blocks(apart, *, days=90, block=7, gaps=0):
    """Return minima of two places in turn, so many days each, that change by one degree from one block to the next but one."""
    at = np.arange(days) // block
    tmin = 14.0 + apart * (at % 2) + (at // 2 % 2)
    tmin[:gaps] = np.nan
    return {"days": days, "tmin": tmin, "tmax": 28.0 + np.resize(WALK, days)}


def damp_nights(wet):
    days = 500
    tmin = np.resize(WALK, days)
    rain = np.where(np.arange(days) < wet, 3.0, 0.0)
    return {
        "days": days,
        "tmin": tmin,
        "tmax": tmin + 12.0,
        "rh_max": np.where(run(60, days=days), 99.0, 90.0),
        "rain": rain,
    }


def damp_every_night(dry):
    """Return rainy nights, all but so many of a hundred damp, that warm up little."""
    return damp_nights(500) | {
        "rh_max": np.where(np.arange(500) % 100 < dry, 90.0, 99.0),
        "tmax": np.resize(WALK, 500) + 3.0,
    }


def damp_days(count=5, damp=99.0, warming=4.1):
    return {**WARM, "tmax": WARM["tmin"] + warming, "rh_min": np.where(run(count), damp, 60.0)}


def desert(tmax=30.0, warming=12.0, damp=73.9, days=N):
    return {"days": days, "tmin": tmax - warming, "tmax": tmax, "rh_max": np.where(np.arange(days) < 8, damp, 60.0)}


def wet_days(rain, *, count=3, rh=79.0):
    return {**WARM, "rain": np.where(run(count), rain, 0.0), "rh_max": np.where(run(count), rh, 95.0)}


def in_the_sun(by):
    """Return days at 1,000 m that warm up, by a logarithm, so much more than goes with their light, wind and season."""
    outside = float(
        np.median(sky_of(pd.date_range("2025-06-01", periods=N), latitude=38.0, elevation=1000.0).extraterrestrial)
    )
    usual = 0.971 + 1.629 * 0.9 - 0.0957 * 3.0 + 0.013 * outside - 0.0092 * 14.0 + 0.0001 * 1000.0
    warm = {"tmin": 14.0, "tmax": 14.0 + np.exp(usual + by) + 1e-6 * WALK - 1e-6 * np.median(WALK)}
    return {**warm, "radiation": 0.9 * 30.0, "clear": 30.0, "wind": 3.0, "site": Site(38.0, 1000.0)}


def calm(*days):
    return {**WARM, "wind": np.where(np.isin(AT, days), 0.0, 2.0)}


def calm_hours(beside, calm=1.0):
    """Return days of records with such shares of calms from 11 to 15 h and at all other hours."""
    calms = np.where((np.arange(24) >= 11) & (np.arange(24) < 15), calm, beside)
    return {**WARM, "wind": np.full(N, 2.0) + WALK / 10.0, "by_hour": by_hour(0.0)._replace(calms=calms)}


def dead(wind, *, weak=N, others=2.0):
    return {**PLAIN, "wind": np.where(N - weak > AT, others, wind)}


def seldom(more):
    """Return a dead gauge that tells something every second day, and on so many days between."""
    return {**PLAIN, "wind": np.where((AT % 2 == 0) | (2 * more > AT), 0.1, np.nan)}


def leaps(moved, *, days=60, strays=0.0, **more):
    """Return a wind whose logarithm goes to and fro, and moves in the middle of the days."""
    at = np.arange(days)
    by_size = 1.0 + moved * (at >= days // 2) + strays * (-1.0) ** at
    return {"days": days, "tmin": 14.0, "tmax": 28.0, "wind": np.exp(by_size) - 0.3, **more}


def month(moved, days=28):
    """Return a wind of which a month is so much faster or slower, by its logarithm, than before and after."""
    at = np.arange(62 + days)
    by_size = 1.0 + moved * ((at >= 30) & (at < 30 + days))
    return {"days": at.size, "tmin": 14.0, "tmax": 28.0, "wind": np.exp(by_size) - 0.3}


def clock_moves(moved, *, days=N, first=30, strays=0.1, light=True):
    """Return hours of days whose middle goes to and fro, and moves."""
    hours = clock(0.0, light=light)
    middles = 12.0 + strays * TURNS[:days] + later(moved, days=days, first=first)
    return {
        "days": days,
        "tmin": 14.0,
        "tmax": 28.0,
        "by_hour": hours._replace(middles=pd.Series(middles, index=hours.middles.index[:days])),
    }


def parted(**by):
    """Return days of which some quantity is another from the thirty-first on, by so much."""
    parts = {name: later(by.get(name, 0.0)) for name in ("mean", "range", "pressure", "rh_max", "dryness", "wind")}
    mean, range_of = 21.0 + parts["mean"] + 1e-6 * WAVE[AT % 11], 14.0 * np.exp(parts["range"])
    tmin = mean - range_of / 2.0
    return {
        "tmin": tmin,
        "tmax": mean + range_of / 2.0,
        "pressure": 100.0 - parts["pressure"],
        "rh_max": 90.0 - parts["rh_max"],
        "dew_point": tmin - 3.0 - parts["dryness"],
        "wind": 0.4 * np.exp(parts["wind"]) - 0.3,
    }


# check -> days, the last that pass and the first of which it speaks
BOUNDS = [
    ("temperature-spike", lambda by: spiked(by, 0.5), 11.99, 12.01),
    ("temperature-spike", lambda by: spiked(by, 2.0), 18.9, 19.1),  # 9.5 times 2
    ("temperature-spike", lambda by: spiked(by, 3.0), 21.9, 22.1),
    ("temperature-spike", lambda by: spiked(by, 4.0), 23.9, 24.1),  # 6 times 4
    ("temperature-spike", hot_run, 6, 5),  # of eleven days around
    (
        "temperature-leap",
        lambda days: {"days": days, **{k: v[:days] + later(40.0, first=days // 2)[:days] for k, v in WARM.items()}},
        19,
        20,
    ),
    ("clock", lambda off: {**WARM, "by_hour": by_hour(off, light=True)}, 3.45, 3.55),
    ("clock", lambda off: {**WARM, "by_hour": by_hour(off, light=True)}, -3.45, -3.55),
    ("clock", lambda off: {**WARM, "by_hour": by_hour(off)}, 3.49, 3.51),
    ("clock", lambda off: {**WARM, "by_hour": by_hour(off)}, -3.49, -3.51),
    ("clock", lambda off: {**WARM, "by_hour": by_hour(off, by_sun=False)}, 4.99, 5.01),
    ("clock", lambda height: {**WARM, "by_hour": by_hour(6.0, height=height)}, 0.99, 1.01),
    ("clock-change", lambda days: clock_moves(1.0, days=days, first=10), 20, 21),
    ("clock-change", lambda moved: clock_moves(moved, strays=0.8), 0.797, 0.803),
    ("clock-change", clock_moves, 0.699, 0.701),
    ("clock-change", lambda moved: clock_moves(moved, light=False), 3.99, 4.01),
    ("record-parted", lambda by: parted(pressure=by), 0.995, 1.005),
    ("record-parted", lambda by: parted(wind=by), 0.199, 0.201),
    ("record-parted", lambda by: parted(range=by), 0.249, 0.251),
    ("record-parted", lambda by: parted(dryness=by), 2.49, 2.51),
    ("record-parted", lambda by: parted(rh_max=by), 14.9, 15.1),
    ("record-parted", lambda by: parted(mean=by), 3.99, 4.01),
    ("record-parted", lambda by: parted(mean=2.0, pressure=by), 0.495, 0.505),
    ("hours-missing", lambda share: {**WARM, "by_hour": by_hour(0.0, rare=8, share=share)}, 0.501, 0.499),
    ("hours-missing", lambda rare: {**WARM, "by_hour": by_hour(0.0, rare=rare)}, 9, 8),
    ("stations-mixed", lambda daily: in_turn(daily, 0.5), 1.49, 1.51),
    ("stations-mixed", lambda daily: in_turn(daily, 2.0), 2.59, 2.61),  # 1.3 times 2
    ("stations-mixed", in_blocks, 1.74, 1.76),
    ("stations-mixed", lambda days: in_blocks(4.0, days=days), 89, 90),
    ("stations-mixed", lambda few: in_blocks(4.0, days=150, gaps=-few), -16, -15),
    ("stations-mixed", lambda short: in_blocks(4.0, block=-short), -8, -7),
    ("value-stuck", lambda days: {"days": days, **stuck(days)}, 430, 431),  # 429 / 427³ is 5.51e-6, 430 / 428³ 5.48e-6
    ("value-stuck", lambda rain: {**WARM, "rain": np.where(run(20), rain, 0.0)}, 0.99, 1.0),
    ("humidity-saturated", damp_nights, 101, 100),
    ("humidity-saturated", damp_every_night, 3, 2),
    ("humidity-saturated", damp_days, 4, 5),
    ("humidity-saturated", lambda damp: damp_days(damp=damp), 98.9, 99.0),
    ("humidity-saturated", lambda warming: damp_days(warming=warming), 3.99, 4.01),
    ("humidity-low", wet_days, 4.99, 5.0),
    ("humidity-low", lambda rh: wet_days(5.0, rh=rh), 85.0, 84.9),
    ("humidity-low", lambda count: wet_days(5.0, count=count), 2, 3),
    ("humidity-low", lambda tmax: desert(tmax=tmax), 33.0, 32.9),
    ("humidity-low", lambda warming: desert(warming=warming), 12.5, 12.49),
    ("humidity-low", lambda damp: desert(damp=damp), 74.0, 73.9),
    ("humidity-low", lambda days: desert(days=days), 59, 60),
    ("thermometer-sun", in_the_sun, 0.4195, 0.4205),
    ("wind-zero", lambda count: calm(*range(0, 2 * count, 2)), 4, 5),
    ("wind-zero", lambda count: calm(*range(count)), 2, 3),
    (
        "wind-zero",
        lambda days: {"days": days, "tmin": 14.0, "tmax": 28.0, "wind": np.where(run(3, days=days), 0.0, 2.0)},
        19,
        20,
    ),
    ("wind-dead", dead, 0.1205, 0.1195),
    ("wind-calm-hours", calm_hours, 0.26, 0.25),
    ("wind-calm-hours", lambda calm: calm_hours(0.1, calm=calm), 0.99, 1.0),
    ("wind-dead", lambda weak: dead(0.1, weak=weak, others=0.13), 9, 10),  # half of twenty days: 0.115 in the middle
    ("wind-dead", lambda others: dead(0.1, weak=10, others=others), 0.141, 0.139),
    ("wind-dead", seldom, 1, 2),
    ("wind-dead", lambda wind: {"days": 90, "tmin": 14.0, "tmax": 28.0, "wind": wind}, 0.301, 0.299),
    ("wind-dead", lambda days: {"days": days, "tmin": 14.0, "tmax": 28.0, "wind": 0.2}, 89, 90),
    ("wind-leap", leaps, 0.499, 0.501),
    ("wind-leap", leaps, -0.499, -0.501),
    # moved² / 4 is 0.6 times strays² where the halves are equal
    ("wind-leap", lambda strays: leaps(1.0, strays=strays), 0.646, 0.645),
    ("wind-leap", lambda days: leaps(1.0, days=days), 39, 40),
    ("wind-leap", month, 0.693, 0.694),  # ln 2 is 0.6931
    ("wind-leap", month, -0.693, -0.694),
    ("wind-leap", lambda moved: month(moved, days=56), 0.693, 0.694),
    # on frozen days a gauge may stand
    ("wind-leap", lambda warm: leaps(1.0, tmax=np.repeat([warm, 28.0], 30), tmin=-5.0), 0.0, 0.1),
]


@pytest.mark.parametrize(("check", "days", "last", "first"), BOUNDS)
def test_a_sensor_is_doubted_from_its_bound_on(check, days, last, first):
    assert not spoken(check, **{"days": N, **days(last)})
    assert spoken(check, **{"days": N, **days(first)})


@pytest.mark.parametrize(("days", "alike", "count"), [(5200, 80, 9), (2700, 150, 15)])
def test_how_many_days_alike_in_a_row_are_no_chance_by_how_coarse_they_are(days, alike, count):
    """By hand: ln(0.003 / (n (n - 1) / 2 · p)) / ln(5 p), p = (m - 1) / (n - 1), is 7.0002 and 13.9995, and a day more is rounded up."""
    assert _too_many_alike((np.arange(days) // alike).astype(np.uint64)) == count


@pytest.mark.parametrize(
    ("check", "wind"),
    [
        ("wind-leap", np.repeat([4.0, 0.399], 30)),  # all but gone: under a tenth
        ("wind-leap", np.repeat([0.399, 4.0], 30)),
        ("wind-leap", np.repeat([0.01, 4.0], 30)),
        ("wind-zero", np.repeat([4.0, 0.0], [50, 10])),
        ("wind-dead", np.repeat([4.0, 0.1], [45, 15])),
    ],
)
def test_wind_that_is_doubted_is_worth_what_it_is_on_other_days(check, wind):
    (said,) = inspected(60, tmin=14.0, tmax=28.0, wind=wind, only=check, trust=()).cautions
    assert said.instead[0]["wind"] == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("before", "after", "winds"),
    [(3.0, 9.0, [3.0]), (9.0, 3.0, [3.0]), (4.0, 1.0, [1.0, 4.0]), (4.0, 1.66, [1.66]), (4.0, 1.64, [1.64, 4.0])],
)
def test_a_wind_that_leaps_is_worth_what_the_usual_side_has_or_either_where_both_are_as_usual(before, after, winds):
    """By hand: ln(4 / 2) - ln(2 / 1.649) is 0.5; 2 m/s is FAO-56's mean of over 2000 stations."""
    wind = np.repeat([before, after], 30)
    (said,) = inspected(60, tmin=14.0, tmax=28.0, wind=wind, only="wind-leap", trust=()).cautions
    assert [way["wind"] for way in said.instead] == [pytest.approx(np.full(60, wind)) for wind in winds]


def test_nights_at_saturation_are_worth_the_vapour_that_the_afternoon_has():
    """By hand: 30 % at 28 °C is the vapour of 70.9 % at 14 °C (FAO-56 eq 11); 60 % would be more than the night holds."""
    rh_min = np.repeat([30.0, 60.0], [100, 2])
    (said,) = inspected(
        102, tmin=14.0, tmax=28.0, rh_max=100.0, rh_min=rh_min, only="humidity-saturated", trust=()
    ).cautions
    assert said.instead[0]["rh_max"] == pytest.approx(np.repeat([70.94, 100.0], [100, 2]), abs=0.01)


def test_humidity_that_is_doubted_is_worth_all_its_days_and_vapour_that_is_made_of_it():
    """Six damp days in a row and two others; a humidity of hours, stuck for ten days, of which vapour is made; a wind tells neither."""
    air = {
        "tmin": 14.0,
        "tmax": 28.0,
        "vapour_pressure": 1.6 + 0.001 * AT,
        "rh_min": np.where(np.isin(AT, [2, 4, *range(10, 16)]), 99.0, 50.0),
    }
    (said,) = inspected(N, **air, only="humidity-saturated", trust=()).cautions
    assert np.flatnonzero(np.isnan(said.instead[0]["vapour_pressure"])).tolist() == [2, 4, 10, 11, 12, 13, 14, 15]
    air |= WARM | {"rh_min": np.where((AT > 20) & (AT <= 30), 60.0, 50.0 + WALK + 0.01 * AT)}
    for of in ({}, {"of_records": {"rh_min": "humidity"}}):
        (said,) = inspected(N, **air, only="value-stuck", trust=(), **of).cautions
        assert ("vapour_pressure" in said.instead[0]) is bool(of)
    (said,) = inspected(N, **parted(wind=0.7), only="record-parted", trust=()).cautions
    assert not said.instead


def test_columns_that_stand_still_together_are_worth_the_days_around_of_all_of_them():
    """A wind of 4 m/s and a humidity of 80 % but for twenty days, whose own are 2 and 50."""
    here = run(20)
    columns = {"wind": np.where(here, 2.0, 4.0 + 0.001 * WALK), "rh_mean": np.where(here, 50.0, 80.0 + WALK)}
    said = inspected(N, **WARM, **columns, only="value-stuck", trust=()).cautions
    assert [set(caution.instead[0]) for caution in said] == [{"rh_mean", "wind"}] * 2
    assert said[0].instead[0]["wind"] == pytest.approx(np.where(AT == 10, 2.0, 4.0), abs=0.2)
    assert said[0].instead[0]["rh_mean"][11:].min() > 75.0


def test_a_highest_humidity_that_stands_still_alone_is_worth_the_vapour_of_the_afternoon():
    """By hand: 40 % at 28 °C is the vapour of 94.6 % at 14 °C (FAO-56 eq 11)."""
    columns = PLAIN | {"tmin": 14.0 + 1e-6 * AT, "rh_max": np.where(run(30), 70.0, 80.0 + WALK), "rh_min": 40.0}
    found = inspected(N, **columns, only="value-stuck", trust=()).cautions
    (said,) = (caution for caution in found if "rh_max" in caution.sentence)
    assert said.instead[0]["rh_max"][11:39] == pytest.approx(94.6, abs=0.1)


@pytest.mark.parametrize(("others", "told"), [(0, True), (1, False)])
def test_a_wind_that_stands_still_at_a_limit_is_worth_nothing_that_is_known(others, told):
    wind = np.where(run(20) | (N - others <= AT), 3.0, 2.0 + 0.1 * WALK.clip(-9, 9))
    (said,) = inspected(N, **WARM, wind=wind, only="value-stuck", trust=()).cautions
    assert bool(said.instead) is told


@pytest.mark.parametrize(("others", "told"), [(0, True), (1, False)])
def test_nothing_tells_how_warm_it_was_above_a_limit(others, told):
    tmax = np.where(run(20) | (N - others <= AT), 40.0, WARM["tmax"].clip(0, 39))
    (said,) = inspected(N, **{**WARM, "tmax": tmax}, only="value-stuck", trust=()).cautions
    assert bool(said.instead) is told


@pytest.mark.parametrize(("least", "winds"), [(0.99, [4.0]), (1.01, [4.0, 0.505])])
def test_days_without_wind_beside_no_weak_ones_may_be_a_gauge_that_stalls(least, winds):
    wind = np.where(AT % 5 == 0, 0.0, np.where(AT == 1, least, 4.0))
    (said,) = inspected(N, **PLAIN, wind=wind, only="wind-zero", trust=()).cautions
    assert [way["wind"][5] for way in said.instead] == pytest.approx(winds)


def test_days_without_wind_are_no_other_record():
    """A wind of nothing from a day on is a gauge's, which other checks tell."""
    calm = {**parted(), "wind": np.where(np.arange(N) < 30, 2.0 + 0.1 * WAVE[AT % 11], 0.0)}
    assert not spoken("record-parted", N, **calm)
    assert spoken("record-parted", N, **{**calm, "wind": np.maximum(calm["wind"], 0.1)})


@pytest.mark.parametrize(("start", "behind", "told"), [(20, 19, True), (19, 20, True), (20, 20, False)])
def test_a_spell_of_wind_in_another_unit_that_ends_parts_no_record(start, behind, told):
    """Twenty days in another unit: as many on either side tell it."""
    days = start + 20 + behind
    at, walk = np.arange(days), np.resize(WALK - WALK.mean(), days) + 1e-6 * np.arange(days)
    spell = (at >= start) & (at < start + 20)
    wind = (2.0 + 0.1 * np.resize(WAVE, days)) * np.where(spell, 3.6, 1.0)
    columns = {"tmin": 14.0 + walk, "tmax": 28.0 + walk, "wind": wind, "pressure": 100.0 + 0.1 * walk}
    assert bool(spoken("record-parted", days, **columns)) is told


def test_a_humidity_that_never_changes_is_worth_nothing_that_is_known():
    still = np.full(N, 60.0)
    for humidity, told in ((still, False), (np.where(AT < 20, 60.0 + WAVE[AT % 11], still), True)):
        found = inspected(N, **WARM, rh_max=humidity + 20.0, rh_min=humidity, only="value-stuck", trust=()).cautions
        assert [bool(said.instead) for said in found] == [told] * 2


def test_days_without_wind_are_no_other_unit_for_a_month():
    found = inspected(
        N + 30, tmin=14.0, tmax=28.0 + later(1.0, days=N + 30), wind=2.0 * ~run(22, days=N + 30, first=40), trust=()
    )
    assert {caution.name for caution in found.cautions} & {"wind-zero", "wind-leap"} == {"wind-zero"}


@pytest.mark.parametrize(("ranges", "kind"), [(24.0, "more than"), (1.0, "less than")])
def test_a_range_of_no_climate_is_worth_ten_degrees(ranges, kind):
    (said,) = inspected(60, tmin=14.0, tmax=14.0 + ranges, only="temperature-range", trust=()).cautions
    assert kind in said.sentence
    assert said.instead[0]["tmax"] - said.instead[0]["tmin"] == pytest.approx(10.0)
    assert said.instead[0]["tmax"] + said.instead[0]["tmin"] == pytest.approx(28.0 + ranges)


def test_a_typical_year_may_have_a_wind_of_parts():
    assert "m/s at 2 m on 2025-07-01" in spoken("wind-leap", **leaps(1.0))
    assert not spoken("wind-leap", **leaps(1.0), typical=True)


def test_a_typical_year_is_made_of_parts():
    assert spoken("record-parted", N, **parted(pressure=1.5))
    assert not spoken("record-parted", N, **parted(pressure=1.5), typical=True)


def test_a_range_that_parts_a_record_is_told_as_it_is():
    """And a wind, of whose logarithm it is looked at, as it blows."""
    assert "(14.0 and 19.0 in the middle)" in spoken("record-parted", N, **parted(range=np.log(18.955 / 14.0)))
    assert "(0.1 and 0.5 in the middle)" in spoken("record-parted", N, **parted(wind=0.7))


def _copied_block(*, with_rain):
    """Sixty June and July days, the last ten of which are the first ten again."""
    at = np.arange(60)
    tmin, tmax = 14.0 + 3.0 * np.sin(0.7 * at), 26.0 + 5.0 * np.sin(0.41 * at)
    rain = np.where(at % 4 == 1, 1.0 + at % 7, 0.0)
    light = 18.0 + 5.0 * np.sin(1.1 * at)
    for values in (tmin, tmax, light, *([rain] if with_rain else [])):
        values[50:] = values[:10]
    return {"days": 60, "tmin": tmin, "tmax": tmax, "radiation": light, "rain": rain, "only": "days-twice", "trust": ()}


@pytest.mark.parametrize("with_rain", [True, False])
def test_copied_days_are_worth_their_rain_too_where_it_was_copied(with_rain):
    """Of the days that are true nothing is known but what falls on the others; common practice, no source."""
    columns = _copied_block(with_rain=with_rain)
    (said,) = inspected(**columns).cautions
    (instead,) = said.instead
    assert ("rain" in instead) is with_rain
    if with_rain:
        assert instead["rain"][50:] == pytest.approx(np.full(10, columns["rain"][:50].mean()))
        assert np.array_equal(instead["rain"][:50], columns["rain"][:50])


def test_light_that_is_too_bright_on_copied_days_is_told_to_be_copied():
    """June's light in December, of 60 days from 20 October on of which the first ten stand at the end again."""
    columns = _copied_block(with_rain=True) | {"only": None, "start": "2025-10-20"}
    clear = inspected(60, start="2025-10-20", tmin=1.0, tmax=9.0).sky.clear
    light = 0.95 * clear
    light[50:] = light[:10]
    found = inspected(**columns | {"radiation": light})
    (bright,) = found.problems
    assert bright.code == "radiation-too-bright"
    assert "look for a block that was copied" in bright.cure
