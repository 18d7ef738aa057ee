"""
Checks of sensors, every threshold at its bound, in invented days that vary without a pattern: a June and July at 38° north.

What the checks are after: ASCE-EWRI (2005) Appendix D, Allen (1996), FAO-56 Annex 5, WMO No. 8, from memory. The thresholds are
common practice, no source, measured in tests/benchmarks/weather_checks.py.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.physics.air import saturation_vapour_pressure
from panbudget.weather.checks import air, sensors
from panbudget.weather.checks.sensors import _too_many_alike, homogeneity
from panbudget.weather.site import sky_of
from panbudget.weather.text.raw import ByHour
from tests.weather.checks.days import inspected
from tests.weather.sites import Site

N = 60
WAVE = np.array([0.0, 0.6, 1.3, 1.9, 1.1, 0.4, -0.5, -1.3, -2.1, -1.2, -0.6])
WALK = np.resize(WAVE, N) + np.linspace(0.0, 3.7, N)  # never the same twice
AIR = {"tmin": 14.0 + WALK, "tmax": 28.0 + WALK}
LATE = np.where(np.arange(N) >= 30, 1.0, 0.0)
CLEAR = sky_of(pd.date_range("2025-06-01", periods=N), latitude=38.0, elevation=100.0).clear


def seen(days=N, **columns):
    """Return the names of what is refused or cautioned about with no check trusted but those named."""
    trust = columns.pop("trust", ())
    found = inspected(days, **{**{name: values[:days] for name, values in AIR.items()}, **columns}, trust=trust)
    return [problem.code for problem in found.problems] + [caution.name for caution in found.cautions]


def on(usual, value, first, count=1):
    """Return days with one value on some in a row."""
    values = np.broadcast_to(np.asarray(usual, float), N).copy()
    values[first : first + count] = value
    return values


def test_sound_days_pass():
    assert (
        seen(wind=2.0 + 0.3 * WALK, rain=np.where(WALK < -3.0, -WALK, 0.0), radiation=CLEAR * (0.8 + 0.02 * WALK)) == []
    )


# what is on its days -> the last that passes and the first that is seen
BOUNDS = [
    ("temperature-spike", "tmax", lambda by: on(AIR["tmax"], np.median(AIR["tmax"][25:36]) + by, 30), 10.0, 24.0),
    ("temperature-spike", "tmax", lambda by: on(28.0 + 2.0 * WALK, np.max(28.0 + 2.0 * WALK) + by, 30), 12.0, 12.1),
    ("value-stuck", "wind", lambda days: on(2.0 + 0.3 * WALK, 2.2, 30, days), 5, 6),
    ("value-stuck", "rain", lambda days: on(np.where(WALK > 3.0, WALK, 0.0), 2.0, 30, days), 5, 6),
    ("value-stuck", "rain", lambda most: on(np.where(WALK > 3.0, WALK, 0.0), most, 30, 20), 0.9, 1.0),
    ("wind-zero", "wind", lambda days: on(2.0 + 0.3 * WALK, 0.0, 30, days), 2, 3),
    ("wind-dead", "wind", lambda by: by + 0.001 * WALK, 0.12, 0.11),
    ("wind-leap", "wind", lambda by: (2.0 + 0.05 * WALK) * np.where(np.arange(N) < 30, 1.0, by), 1.5, 1.9),
    ("wind-leap", "wind", lambda by: (6.0 + 0.001 * WALK) * np.where(np.arange(N) < 30, 1.0, by), 0.6, 0.57),
    ("humidity-saturated", "rh_min", lambda days: on(50.0 + WALK, 99.0, 30, days), 4, 5),
    ("stations-mixed", "tmin", lambda by: 14.0 + 0.1 * WALK + by * (np.arange(N) % 2), 1.4, 1.7),
    ("temperature-range", "tmax", lambda by: AIR["tmin"] + by, 2.51, 2.49),
    ("temperature-range", "tmax", lambda by: AIR["tmin"] + by, 21.9, 22.1),
    (
        "rain-sum",
        "rain",
        lambda days: np.r_[np.repeat([3.1, 4.2, 5.3], days), 10.1 - 0.7 * np.arange(8), np.zeros(N)][:N],
        2,
        4,
    ),
    ("rain-spike", "rain", lambda by: on(on(0.0, 20.0, 10), by, 30), 150.0, 150.1),
    ("rain-spike", "rain", lambda by: on(on(0.0, 60.0, 10), by, 30), 180.0, 180.1),
    ("wind-spike", "wind", lambda by: on(on(1.5 + 0.01 * WALK, 2.5, 10), by, 30), 8.0, 8.1),
    ("wind-spike", "wind", lambda by: on(on(1.5 + 0.01 * WALK, 3.0, 10), by, 30), 9.0, 9.1),
    ("wind-spike", "wind", lambda by: on(on(on(1.5 + 0.01 * WALK, 6.1, 10), 13.0, 30, 2), by, 40), 9.0, 10.0),
    ("wind-spike", "wind", lambda by: on(on(1.5 + 0.01 * WALK, 6.1, 10), by, 30, 2), 13.1, 13.0),
    (
        "wind-spike",
        "wind",
        lambda by: np.where(np.arange(N) % 3 == 0, by, 1.55 + 0.001 * WALK),
        13.1,
        13.0,
    ),  # a third of all days
]


@pytest.mark.parametrize(("check", "column", "values", "last", "first"), BOUNDS)
def test_what_a_sensor_does_is_seen_beyond_its_bound(check, column, values, last, first):
    assert check not in seen(**{column: values(last)})
    assert check in seen(**{column: values(first)})
    assert check not in seen(**{column: values(first)}, trust=[check])


def test_a_look_at_extremes_first_spares_medians_and_changes_no_verdict(monkeypatch):
    """Random walks with gaps, spikes and leaps about the thresholds, beside the same without that look."""
    found, looked_for = set(), {"temperature-spike", "temperature-leap"}
    others = {row.name for row in (*sensors.CHECKS, *air.CHECKS)} - looked_for
    for seed in range(100):
        draw = np.random.default_rng(seed)
        walk = np.cumsum(draw.normal(0.0, 0.7, N)) + draw.choice([0.0, 28.0]) * (np.arange(N) >= draw.integers(N))
        walk[draw.integers(N, size=2)] += draw.uniform(10.0, 14.0, 2)
        days = {"tmin": walk, "tmax": walk + draw.uniform(6.0, 12.0, N)}
        days["tmin"][draw.random(N) < draw.choice([0.0, 0.1, 0.5])] = np.nan
        verdicts = []
        for look in (sensors.extremes, lambda values, window: (np.full(values.size + 1 - window % 2, -np.inf), np.inf)):
            monkeypatch.setattr(sensors, "extremes", look)
            inspection = inspected(N, trust=others, **days)
            verdicts.append([problem.sentence() for problem in inspection.problems])
            monkeypatch.undo()
        assert verdicts[0] == verdicts[1]
        found.update(problem.code for problem in inspection.problems)
    assert looked_for <= found


@pytest.mark.parametrize(("by", "expected"), [(25.5, False), (-25.5, False), (-26.5, True)])
def test_temperatures_that_leap_and_stay_are_refused(by, expected):
    """26 °C between the middles of ten days before and after."""
    later = np.where(np.arange(N) < 30, 0.0, by)
    flat = {"tmin": 14.0 + 0.01 * WALK + later, "tmax": 28.0 + 0.01 * WALK + later}
    assert ("temperature-leap" in seen(**flat)) is expected


@pytest.mark.parametrize(("warm", "expected"), [(-0.1, False), (0.1, True)])
def test_air_below_freezing_may_turn_colder_by_as_much(warm, expected):
    """As on the last day of 1984 in the north of Finland, from −4 to −34 °C, in a public grid's record."""
    mean = np.where(np.arange(N) < 30, warm, warm - 30.0 + 0.001 * WALK)
    assert ("temperature-leap" in seen(tmin=mean - 6.0, tmax=mean + 6.0)) is expected


@pytest.mark.parametrize(
    ("warming", "by", "expected"), [(14.0, 0.85, 0), (14.0, 0.83, 1), (8.0, 0.73, 0), (8.0, 0.70, 1)]
)
def test_radiation_stays_below_a_clear_sky_by_itself_or_for_the_warmth_of_the_days(warming, by, expected):
    found = seen(tmax=AIR["tmin"] + warming, radiation=CLEAR * (by + 0.0001 * WALK))
    assert found.count("radiation-low") == expected


def test_equal_days_are_made_up_and_have_no_sensors():
    assert seen(tmin=14.0, tmax=30.0, wind=2.0) == []
    assert seen(wind=2.0) == ["value-stuck"]
    assert seen(wind=2.0, units={"wind": "Beaufort"}) == []
    assert "value-stuck" in seen(tmax=30.0)


@pytest.mark.parametrize(("days", "expected"), [(3, []), (4, ["days-twice"])])
def test_days_that_stand_there_twice_are_seen_from_four_in_a_row(days, expected):
    rough = {name: (values + 0.01 * np.arange(N) ** 1.5).round(2) for name, values in AIR.items()}
    for values in rough.values():
        values[40 : 40 + days] = values[10 : 10 + days]
    assert seen(**rough) == expected
    assert seen(**rough, typical=True) == []


def test_what_copied_days_are_worth_takes_all_figures_from_the_days_around():
    twice = {name: np.where(np.isin(np.arange(N), range(30, 34)), np.roll(v, 20), v) for name, v in AIR.items()}
    (caution,) = (said for said in inspected(N, **twice, trust=()).cautions if said.name == "days-twice")
    for name, values in AIR.items():
        ends = [values[[26, 27, 28, 29, 34, 35, 36]].mean(), values[[27, 28, 29, 34, 35, 36, 37]].mean()]
        assert caution.instead[0][name] == pytest.approx(
            np.where(np.isin(np.arange(N), range(30, 34)), np.interp(np.arange(N), [29, 34], ends), values)
        )


def test_days_in_between_are_drawn_by_as_many_around_them_up_to_a_week():
    """By hand: a day between 10 and 14 is 12; ten between days around 10 and days around 14 lie near the mean of a week."""
    found = inspected(26, tmin=np.r_[10.0, np.nan, 14.0, np.full(23, 14.0)], tmax=30.0, trust=())
    assert sensors._between(found, slice(1, 2), "tmin")["tmin"][1] == pytest.approx(12.0)
    days = np.r_[np.tile([12.0, 8.0], 4), 99.0, np.full(8, 50.0), 99.0, np.tile([16.0, 12.0], 4)]
    found = inspected(26, tmin=days, tmax=130.0, only="clock")
    drawn = sensors._between(found, slice(8, 18), "tmin")["tmin"]
    assert drawn[:8].tolist() == days[:8].tolist()
    assert drawn[8:18] == pytest.approx(np.full(10, 12.0), abs=0.7)


def test_temperatures_alone_that_stand_there_twice_are_another_years():
    rough = {name: (values + 0.01 * np.arange(N) ** 1.5).round(2) for name, values in AIR.items()}
    for values in rough.values():
        values[40:44] = values[10:14]
    wind = 2.0 + 0.01 * np.arange(N) + 0.3 * WALK
    found = inspected(N, **rough, wind=wind, trust=()).cautions
    assert ["and tmax of 4 days" in caution.sentence for caution in found] == [True]


def test_a_gauge_that_freezes_is_not_dead():
    cold = {name: values - 40.0 for name, values in AIR.items()}
    assert not {"wind-zero", "wind-dead"} & set(seen(**cold, wind=on(0.1 + 0.01 * WALK, 0.0, 30, 5)))


@pytest.mark.parametrize(("rh", "wet", "expected"), [(85.0, 3, False), (84.9, 3, True), (84.9, 2, False)])
def test_a_hygrometer_that_stays_below_85_percent_on_3_wet_days_reads_low(rh, wet, expected):
    found = seen(rain=on(0.0, 5.0, 20, wet) + 0.1 * (np.arange(N) == 21), rh_max=on(60.0 + WALK, rh, 20, wet))
    assert ("humidity-low" in found) is expected


def test_days_that_are_wet_by_a_weeks_total_tell_nothing_of_a_hygrometer():
    found = seen(rain=np.where(np.arange(N) % 7 == 0, 9.0, 0.0), rh_max=60.0 + WALK)
    assert ("rain-periods" in found, "humidity-low" in found) == (True, False)


def test_a_hygrometer_beside_no_temperatures_is_passed_over():
    assert "humidity-low" not in seen(tmax=np.full(N, np.nan), rh_max=60.0 + WALK)


@pytest.mark.parametrize(
    ("damp", "warming", "hotter", "days", "expected"),
    [
        (74.1, 12.0, 0.0, 60, False),
        (73.9, 12.0, 0.0, 60, True),
        (73.9, 12.6, 0.0, 60, False),
        (73.9, 12.0, 6.0, 60, False),
        (73.9, 12.0, 0.0, 59, False),
    ],
)
def test_the_dampest_days_of_a_season_come_to_74_percent_but_in_deserts(damp, warming, hotter, days, expected):
    """A desert: hotter than 33 °C on the middling day (26.9 + 6), or warming up by more than 12.5 °C."""
    tmin = AIR["tmin"] + hotter + 13.0 - warming
    rh_max = on(60.0 + WALK, damp, 20, 8)
    assert (
        "humidity-low" in seen(days, tmin=tmin[:days], tmax=tmin[:days] + warming, rh_max=rh_max[:days])
    ) is expected


@pytest.mark.parametrize(
    ("times", "warm", "expected"), [(1.27, 60, False), (1.29, 60, True), (1.29, 40, True), (1.29, 39, False)]
)
def test_vapour_by_day_is_near_that_of_the_night_but_in_the_sun(times, warm, expected):
    """es(tmax)·rh_min against es(tmin)·rh_max, on days above freezing."""
    tmin, tmax = (np.where(np.arange(N) < warm, part, part - 40.0) for part in AIR.values())
    rh_max = 90.0 + WALK
    rh_min = rh_max * times * saturation_vapour_pressure(tmin) / saturation_vapour_pressure(tmax)
    found = inspected(N, tmin=tmin, tmax=tmax, rh_max=rh_max, rh_min=rh_min, trust=["temperature-leap"])
    assert ("thermometer-sun" in [caution.name for caution in found.cautions]) is expected


@pytest.mark.parametrize(("share", "told"), [(0.69, True), (0.71, False)])
def test_a_thermometer_that_much_too_warm_is_not_the_only_fault_and_its_worth_is_not_told(share, told):
    """7 tenths of the middling range: a correction that leaves hardly a range would make the season's ETo nothing."""
    tmin, tmax = AIR.values()
    times = np.exp(0.06 * share * np.median(tmax - tmin))
    rh_max = 80.0 + WALK
    rh_min = rh_max * times * saturation_vapour_pressure(tmin) / saturation_vapour_pressure(tmax)
    found = inspected(N, tmin=tmin, tmax=tmax, rh_max=rh_max, rh_min=rh_min, trust=[]).cautions
    (caution,) = (caution for caution in found if caution.name == "thermometer-sun")
    assert bool(caution.instead) is told


@pytest.mark.parametrize(("by", "expected"), [(0.40, False), (0.44, True)])
def test_days_warm_up_as_light_wind_and_season_have_it_but_in_the_sun(by, expected):
    """The logarithm of the middling range, 0.42 above that of the fit."""
    sky = sky_of(pd.date_range("2025-06-01", periods=N), latitude=38.0, elevation=100.0)
    light, share = np.median(sky.extraterrestrial), 0.6
    tmin, wind = float(np.median(AIR["tmin"])), 3.0
    usual = 0.971 + 1.629 * share - 0.0957 * wind + 0.013 * light - 0.0092 * tmin + 0.0001 * 100.0
    columns = {"radiation": sky.clear * (share + 0.0001 * WALK), "wind": wind + 0.1 * (WALK - np.median(WALK))}
    tmax = AIR["tmin"] + np.exp(usual + by)
    assert ("thermometer-sun" in seen(tmax=tmax, **columns, trust=["radiation-low"])) is expected
    assert "thermometer-sun" not in seen(tmax=tmax, **columns, trust=["thermometer-sun"])


@pytest.mark.parametrize(
    ("wind", "by", "blamed"), [(3.45, 0.5, "tmax"), (3.55, 0.5, "wind"), (3.55, 0.6, "wind"), (3.55, 0.62, "tmax")]
)
def test_days_that_warm_up_too_far_for_a_strong_wind_may_have_it_in_another_unit(wind, by, blamed):
    """3.5 m/s at 2 m; in mph the range may be 0.0957 · 0.553 · 3.55 = 0.188 wider, so 0.42 is 0.608."""
    sky = sky_of(pd.date_range("2025-06-01", periods=N), latitude=38.0, elevation=100.0)
    tmin = float(np.median(AIR["tmin"]))
    usual = 0.971 + 1.629 * 0.6 - 0.0957 * wind + 0.013 * np.median(sky.extraterrestrial) - 0.0092 * tmin + 0.01
    columns = {"radiation": sky.clear * (0.6 + 0.0001 * WALK), "wind": wind + 0.01 * (WALK - np.median(WALK))}
    tmax = AIR["tmin"] + np.exp(usual + by)
    found = inspected(N, **columns, tmin=AIR["tmin"], tmax=tmax, only="thermometer-sun", trust=["radiation-low"])
    (said,) = found.cautions
    assert said.sentence.split()[0] == blamed


@pytest.mark.parametrize(
    ("before", "times", "expected"),
    [(10, 6.5, False), (10, 6.9, True), (10, 1 / 6.9, True), (7, 7.2, False), (8, 7.2, True)],
)
def test_rain_that_is_many_times_as_much_from_a_day_on_is_seen(before, times, expected):
    """exp(1.9) = 6.7 times, with eight wet days on either side."""
    rain = np.zeros(N)
    rain[:20:2], rain[21:41:2] = 3.0 + 0.13 * np.arange(10), times * (3.0 + 0.13 * np.arange(10))
    rain[: 2 * (10 - before)] = 0.0
    assert ("rain-change" in seen(rain=rain)) is expected
    assert "rain-change" not in seen(rain=rain, trust=["rain-change"])


@pytest.mark.parametrize(
    ("gaps", "expected"),
    [
        ([7, 7, 8, 5, 7, 7, 7], True),
        ([7, 7, 9, 4, 8, 7, 7], False),
        ([7, 8, 6, 8, 7, 7, 8], False),
        ([7, 8, 6, 7, 7, 7], False),
        ([30, 31, 28], True),
        ([30, 33, 28], False),
    ],
)
def test_totals_of_weeks_and_months_are_seen_though_some_slip(gaps, expected):
    days = 100
    rain = np.zeros(days)
    rain[np.cumsum([2, *gaps])] = 3.0 + np.arange(len(gaps) + 1)
    warm = np.resize(AIR["tmin"], days)
    found = inspected(days, tmin=warm, tmax=warm + 14.0, rain=rain, trust=())
    assert ("rain-periods" in [caution.name for caution in found.cautions]) is expected


KNOTS = np.resize(np.r_[0.0, np.arange(3.0, 33.0)], 620)


@pytest.mark.parametrize(
    ("winds", "looks_like"),
    [
        (KNOTS, "knots"),
        (np.where(KNOTS > 0.0, KNOTS - 1.0, 0.0), ""),  # whole m/s from 2 on
        (KNOTS[:500], ""),
        ((KNOTS * 1.150779).round(0), "mph"),
        (np.resize(np.arange(40.0) * 1.852, 620).round(1), "km/h"),
        (np.resize(np.arange(40.0) * 0.514444, 620).round(1), ""),
        (np.resize(np.arange(40.0) * 0.1, 620), ""),
    ],
)
def test_hours_of_wind_that_stand_on_the_steps_of_another_unit_are_seen(winds, looks_like):
    found = inspected(N, **AIR, wind=2.0 + 0.1 * WALK, by_hour=by_hour(0.0)._replace(winds=winds), trust=())
    sentences = [caution.sentence for caution in found.cautions if caution.name == "wind-steps"]
    trusted = inspected(
        N, **AIR, wind=2.0 + 0.1 * WALK, by_hour=by_hour(0.0)._replace(winds=winds), trust=["wind-steps"]
    )
    assert "wind-steps" not in [caution.name for caution in trusted.cautions]
    assert all('unit = "' in sentence for sentence in sentences)  # the line to paste
    assert [looks_like] * bool(looks_like) == [s.split("that wind in ")[1].split(" has")[0] for s in sentences]


def test_how_many_days_in_a_row_stand_there_twice_by_no_chance_grows_with_a_file_of_coarse_figures():
    rng = np.random.default_rng(1)
    assert _too_many_alike(rng.integers(0, 10**9, 400).astype(np.uint64)) == 4
    assert _too_many_alike(rng.integers(0, 600, 33_000).astype(np.uint64)) == 6


@pytest.mark.parametrize("by", [0.25, 0.01, 4.0])
def test_the_day_on_which_the_wind_leaps_is_told(by):
    wind = (4.0 + 0.001 * WALK) * np.where(np.arange(N) < 33, 1.0, by)
    (said,) = [c.sentence for c in inspected(N, **AIR, wind=wind, trust=()).cautions if c.name == "wind-leap"]
    assert "on 2025-07-04" in said  # 33 days from 1 June


@pytest.mark.parametrize(("step", "wet", "seen_as"), [(7, 8, True), (6, 8, False), (30, 3, True)])
def test_rain_on_one_day_of_the_week_or_month_alone_is_a_total(step, wet, seen_as):
    days = 91
    first = pd.Timestamp("2025-05-31")
    rain = np.zeros(days)
    if step == 30:
        rain[[0, 30, 61]] = [12.3, 4.5, 6.7]  # the last of May, of June and of July
    else:
        rain[1 : 1 + step * wet : step] = 3.0 + np.arange(wet)
    warm = np.resize(AIR["tmin"], days)
    found = inspected(days, start=str(first.date()), tmin=warm, tmax=warm + 14.0, rain=rain, trust=())
    assert ("rain-periods" in [caution.name for caution in found.cautions]) is seen_as


def test_rain_and_wind_exchanged_are_refused():
    rain, wind = np.where(np.arange(N) % 5 == 0, 4.0 + WALK, 0.0), 2.0 + 0.3 * WALK
    assert "rain-exchanged" in seen(rain=wind, wind=rain)
    assert "rain-exchanged" not in seen(rain=rain, wind=wind)


@pytest.mark.parametrize(("factor", "expected"), [(0.75, []), (0.6, ["radiation-leap"]), (1 / 0.6, ["radiation-leap"])])
def test_light_that_leaps_from_a_day_on_is_seen(factor, expected):
    later = np.where(np.arange(N) < 30, min(1.0 / factor, 1.0), min(factor, 1.0))
    assert [name for name in seen(radiation=CLEAR * 0.97 * later) if name == "radiation-leap"] == expected


@pytest.mark.parametrize(("factor", "days", "expected"), [(0.64, 25, 0), (0.6, 25, 1), (0.6, 18, 0), (0.28, 31, 1)])
def test_light_that_falls_for_a_month_and_comes_back_is_seen(factor, days, expected):
    n = 122
    warm, clear = (
        np.resize(AIR["tmin"], n),
        sky_of(pd.date_range("2025-06-01", periods=n), latitude=38.0, elevation=100.0).clear,
    )
    here = (np.arange(n) >= 40) & (np.arange(n) < 40 + days)
    found = inspected(n, tmin=warm, tmax=warm + 14.0, radiation=clear * 0.97 * np.where(here, factor, 1.0), trust=())
    said = [caution.sentence for caution in found.cautions if caution.name == "radiation-leap"]
    assert len(said) == expected
    assert all("before and after" in sentence for sentence in said)


@pytest.mark.parametrize(("end", "expected"), [(0.8, False), (0.6, True)])
def test_light_that_fades_is_seen(end, expected):
    days = 122
    warm = np.resize(AIR["tmin"], days)
    clear = sky_of(pd.date_range("2025-06-01", periods=days), latitude=38.0, elevation=100.0).clear
    radiation = clear * 0.97 * np.linspace(1.0, end, days)
    found = inspected(days, tmin=warm, tmax=warm + 14.0, radiation=radiation, trust=())
    assert ("radiation-fades" in [caution.name for caution in found.cautions]) is expected


def by_hour(off, *, height=4.0, rare=0, share=0.4, by_sun=True, light=False, lag=2.8):
    """Return hours of the day whose warmest, and whose sun, are so many hours late."""
    hour = np.arange(24) + 0.5
    records = np.full(24, 100.0)
    records[:rare] *= share
    flux = np.maximum(np.cos(2 * np.pi * (hour - 12.0 - off) / 24.0), 0.0) * 800.0
    warmth = 20.0 + height * np.cos(2 * np.pi * (hour - 12.0 - lag - off) / 24.0)
    return ByHour(records, warmth, flux if light else np.full(24, np.nan), by_sun)


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        (by_hour(3.4), []),
        (by_hour(3.6), ["clock"]),
        (by_hour(-3.6), ["clock"]),
        (by_hour(12.0, light=True), ["clock"]),
        (by_hour(4.9, by_sun=False), []),
        (by_hour(5.1, by_sun=False), ["clock"]),
        (by_hour(6.0, height=0.9), []),
        (by_hour(6.0, height=1.1), ["clock"]),
        (by_hour(0.0, light=True, lag=4.1), []),
        (by_hour(0.0, light=True, lag=4.3), ["clock"]),
        (by_hour(0.0, light=True, lag=0.6), []),
        (by_hour(0.0, light=True, lag=0.4), ["clock"]),
        (by_hour(0.0, light=True, lag=4.3, height=0.9), []),
        (by_hour(0.0, rare=8, share=0.49), ["hours-missing"]),
        (by_hour(0.0, rare=8, share=0.51), []),
        (by_hour(0.0, rare=9), []),
    ],
)
def test_a_clock_that_is_out_and_hours_that_are_always_missing_show_by_the_hours(hours, expected):
    assert seen(by_hour=hours) == expected


@pytest.mark.parametrize(
    ("latitude", "mean", "expected"),
    [(38.0, 41.1, []), (38.0, 42.6, ["temperature-climate"]), (51.0, 33.5, ["temperature-climate"]), (51.0, 30.9, [])],
)
def test_a_month_is_no_hotter_than_the_hottest_at_that_latitude(latitude, mean, expected):
    """At 38° 42.2 °C, at 51° 31.6 °C at sea level: world maps and records, from memory."""
    walk = WALK - WALK[-30:].mean()
    assert seen(tmin=mean - 5.0 + walk, tmax=mean + 5.0 + walk, site=Site(latitude, 0.0))[:1] == expected


@pytest.mark.parametrize(("earlier", "text"), [(21.0, "as °F other months"), (50.5, "which looks like °F")])
def test_a_month_too_hot_looks_like_fahrenheit_only_where_all_of_them_may_be(earlier, text):
    """At 51°, in June and July, 41 °F would be 5 °C, and 21 °F are -6 °C, colder than any month there."""
    found = inspected(
        N,
        tmin=np.repeat([earlier - 5.0, 37.0], 30),
        tmax=np.repeat([earlier + 5.0, 47.0], 30),
        site=Site(51.0, 0.0),
        trust=(),
    )
    assert text in " ".join(problem.sentence() for problem in found.problems)
    assert any(problem.paste for problem in found.problems) is ("looks like" in text)


def test_summer_is_no_colder_than_the_coldest_at_that_latitude():
    walk = WALK - WALK.mean()
    assert seen(tmin=1.0 + walk, tmax=11.0 + walk) == ["temperature-climate"]
    assert seen(tmin=9.0 + walk, tmax=19.0 + walk) == []
    high = Site(38.0, 2500.0)
    assert seen(tmin=1.0 + walk, tmax=11.0 + walk, site=high) == []


def test_dew_point_and_minimum_exchanged_are_refused():
    assert "dew-point-exchanged" in seen(dew_point=AIR["tmin"], tmin=AIR["tmin"] - 0.4)
    assert "dew-point-exchanged" not in seen(dew_point=AIR["tmin"], tmin=AIR["tmin"] - 0.2)
    cold = AIR["tmin"] - 40.0  # over ice it may lie above all winter
    assert "dew-point-exchanged" not in seen(dew_point=cold, tmin=cold - 0.4, tmax=AIR["tmax"] - 40.0)


@pytest.mark.parametrize(("by", "below", "expected"), [(5.1, 14, True), (4.9, 14, False), (5.1, 16, False)])
def test_a_dew_point_that_is_often_far_above_the_minimum_is_it(by, below, expected):
    """On three days in four, and by 5 °C on one in ten."""
    above = np.where(np.arange(N) < below, -0.5, by)
    assert ("dew-point-exchanged" in seen(dew_point=AIR["tmin"] + above, start="2025-10-01")) is expected


def test_the_homogeneity_statistic_is_that_worked_by_hand():
    """Six days of 0 and 2, six of 3 and 5: they stray by 1 and the mean moves by 3, so that 6 · 6 / 12 · 3² = 27 (Alexandersson 1986)."""
    strength, at, moved = homogeneity(np.array([0.0, 2.0] * 3 + [3.0, 5.0] * 3), 3)
    assert (strength, at, moved) == (pytest.approx(27.0), 6, pytest.approx(3.0))


def clock(moved, *, light=True, by_sun=True, first=30):
    """Return what hours hold whose days' middle moves on one of them, and strays by a quarter of an hour."""
    flux = np.where(light, np.maximum(-np.cos(2.0 * np.pi * np.arange(24) / 24.0), 0.0) * 600.0, np.nan)
    warmth = 20.0 - 5.0 * np.cos(2.0 * np.pi * (np.arange(24) - 2.5) / 24.0)
    middles = 12.0 + 0.25 * WAVE[np.arange(N) % 11] / 2.1 + moved * (np.arange(N) >= first)
    days = pd.date_range("2025-06-01", periods=N)
    return ByHour(np.full(24, 60.0), warmth, flux, by_sun, middles=pd.Series(middles % 24.0, index=days))


@pytest.mark.parametrize(
    ("by_hour", "is_seen"),
    [
        (clock(0.68), False),
        (clock(0.76), True),
        (clock(12.0), True),
        (clock(-12.0), True),
        (clock(1.0, first=4), False),
        (clock(1.0, by_sun=False), False),
        (clock(3.9, light=False), False),
        (clock(4.1, light=False), True),
    ],
    ids=[
        "little",
        "most of an hour",
        "half a day",
        "half a day back",
        "too early",
        "no zone",
        "warmth, little",
        "warmth",
    ],
)
def test_a_clock_that_changes_is_seen_where_the_days_middle_moves(by_hour, is_seen):
    """By the sun's hours alone: a civil clock without a zone changes twice a year."""
    assert ("clock-change" in seen(by_hour=by_hour)) is is_seen


@pytest.mark.parametrize(
    ("columns", "is_seen"),
    [
        ({"pressure": 100.0 + 0.01 * WALK - 1.02 * LATE}, False),
        ({"pressure": 100.0 + 0.01 * WALK - 1.08 * LATE}, True),
        ({"rh_max": 94.0 - WAVE[np.arange(N) % 11] - 12.0 * LATE, "rh_min": 40.0 + WALK}, False),
        ({"rh_max": 94.0 - WAVE[np.arange(N) % 11] - 21.0 * LATE, "rh_min": 40.0 + WALK}, True),
    ],
    ids=["a little lower", "lower", "a little drier", "drier"],
)
def test_another_station_is_seen_where_no_day_is_as_before(columns, is_seen):
    """A kPa apart, or fifteen per cent of humidity, beyond how far the days themselves lie apart."""
    assert ("record-parted" in seen(**{"rh_max": 94.0 + 0.0 * WALK, "rh_min": 40.0 + WALK} | columns)) is is_seen


def test_fewer_than_twenty_days_on_a_side_tell_no_other_station():
    """Forty days are the least."""
    early = np.where(np.arange(N) >= 20, -5.0, 0.0)
    columns = {"rh_max": 94.0 + 0.0 * WALK, "rh_min": 40.0 + WALK}
    assert "record-parted" in seen(
        40, pressure=(100.0 + 0.01 * WALK + early)[:40], **{k: v[:40] for k, v in columns.items()}
    )
    assert "record-parted" not in seen(
        39, pressure=(100.0 + 0.01 * WALK + early)[:39], **{k: v[:39] for k, v in columns.items()}
    )


def rain_that_stops(dull_after, *, days=90, wet_days=(0, 3), again=90):
    """Return days of which two in six are dull and wet until the forty-fifth, dull and dry from then on, until rain falls again."""
    place = np.arange(days)
    here = (place >= 45) & (place < again)
    dull = np.isin(place % 6, wet_days) & (~here | dull_after)
    ranges = np.where(dull, 6.0, 14.0) + 0.01 * (place % 7)
    rain = np.where(dull & ~here, 5.0 + 0.1 * (place % 9), 0.0)
    clear = sky_of(pd.date_range("2025-06-01", periods=days), latitude=38.0, elevation=100.0).clear
    light = clear * np.where(dull, 0.4, 0.85)
    tmin = 14.0 + np.resize(WALK, days)
    return inspected(days, tmin=tmin, tmax=tmin + ranges, rain=rain, radiation=light)


def test_rain_that_stops_though_days_stay_dull_is_a_blocked_gauge():
    """Fifteen wet days would be expected of ninety's second half; where days turn bright, none."""
    assert "rain-stops" in [caution.name for caution in rain_that_stops(True).cautions]
    assert "rain-stops" not in [caution.name for caution in rain_that_stops(False).cautions]


@pytest.mark.parametrize(("days", "is_seen"), [(70, False), (73, True)])
def test_rain_may_stay_away_for_nine_dull_days(days, is_seen):
    """Of the dull days after the last wet one, the ninth passes yet."""
    found = rain_that_stops(True, days=days)
    assert ("rain-stops" in [caution.name for caution in found.cautions]) is is_seen


@pytest.mark.parametrize(("elevation", "is_seen"), [(700.0, True), (1213.0, False)])
def test_a_summit_may_be_windy(elevation, is_seen):
    """6.7 m/s at 2 m, as on a mountain of 1,213 m among genuine records, is doubted in a plain."""
    site = Site(latitude=38.0, longitude=0.0, elevation=elevation)
    wind = 6.7 + 0.3 * WALK
    found = inspected(N, **AIR, wind=wind, stated=("wind",), site=site)
    assert ("wind-unit" in [caution.name for caution in found.cautions]) is is_seen


@pytest.mark.parametrize(
    ("dull_between", "again", "is_seen"), [(True, 78, True), (True, 72, False), (False, 78, False)]
)
def test_a_gauge_may_be_blocked_for_some_weeks_only(dull_between, again, is_seen):
    found = rain_that_stops(dull_between, days=140, again=again)
    assert ("rain-stops" in [caution.name for caution in found.cautions]) is is_seen
