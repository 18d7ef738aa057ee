"""
Every threshold of the checks at its bound: what is still believed, and the first that is not.

Thresholds are common practice, no source, unless a test says otherwise. The days are invented: 20 of a June at 38° north.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.physics import air, sun
from panbudget.weather.checks.inspection import Inspection
from panbudget.weather.checks.plausibility import inspect_values
from panbudget.weather.site import sky_of
from panbudget.weather.text.raw import RawTable
from tests.weather.sites import Site

SITE = Site(38.0, 100.0)
E30 = float(air.saturation_vapour_pressure(30.0))
# FAO-56 eq 7 at 100 m, and its neighbours of the checks
P100 = float(air.atmospheric_pressure(100.0))


def inspected(
    days=20, *, start="2025-06-01", site=SITE, asked=None, stated=(), conversions=None, factor=1.0, **columns
):
    """Return ordinary days with these columns, one value for all or a list, inspected; further ones are options."""
    options = {name: columns.pop(name) for name in ("too_bright", "bright_share", "table") if name in columns}
    clear = columns.pop("clear", None)
    index = pd.date_range(start, periods=days, name="date")
    daily = pd.DataFrame(
        {name: np.broadcast_to(np.asarray(v, float), days) for name, v in columns.items()}, index=index
    )
    raw = RawTable(
        daily,
        tuple(range(2, days + 2)),
        "test",
        units=dict.fromkeys(stated, "as stated"),
        unit_is_stated=frozenset(stated),
        conversions=conversions or {},
    )
    mask = np.ones(days, bool) if asked is None else np.asarray(asked, bool)
    sky = sky_of(index, latitude=site.latitude, elevation=site.elevation)
    if clear is not None:
        sky = sky._replace(clear=np.broadcast_to(np.asarray(clear, float), days))
    return inspect_values(Inspection(daily.copy(), mask, raw, sky, site, wind_factor=factor, **options))


def codes(*arguments, **columns):
    return [problem.code for problem in inspected(*arguments, **columns).problems]


def one_day(usual, odd, *, days=20, at=3):
    return [odd if day == at else usual for day in range(days)]


AIR = {"tmin": 14.0, "tmax": 30.0}

ONE_DAY = [
    ("tmax", 30.0, {"tmin": 14.0}, 57.0, 57.1, "tmax-range"),
    ("tmin", 14.0, {"tmax": 30.0}, -90.0, -90.1, "tmin-range"),
    ("tmax", 30.0, {"tmin": 14.0}, 14.0, 13.9, "tmax-below-tmin"),
    ("rh_max", 80.0, AIR, 100.0, 100.1, "rh_max-range"),
    ("rh_min", 35.0, AIR, 0.0, -0.1, "rh_min-range"),
    ("rh_mean", 50.0, AIR, 100.0, 100.1, "rh_mean-range"),
    ("rh_max", 80.0, AIR, 0.1, 0.0, "humidity-zero"),
    ("rh_mean", 50.0, AIR, 0.1, 0.0, "humidity-zero"),
    ("rh_max", 80.0, AIR | {"rh_min": 35.0}, 35.0, 34.9, "rh_max-below-rh_min"),
    ("rh_mean", 50.0, AIR | {"rh_max": 80.0}, 80.5, 80.6, "rh_mean-above-rh_max"),
    ("rh_mean", 50.0, AIR | {"rh_min": 35.0}, 34.5, 34.4, "rh_mean-below-rh_min"),
    ("dew_point", 12.0, AIR, 24.0, 24.1, "dew_point-above-tmin"),
    ("dew_point", 12.0, {"tmin": 25.0, "tmax": 30.0}, 30.0, 30.1, "dew_point-above-tmax"),
    ("dew_point", 12.0, AIR, -95.0, -95.1, "dew_point-range"),
    ("dew_point", 12.0, {"rain": 0.0}, 36.0, 36.1, "dew_point-range"),
    ("vapour_pressure", 1.5, AIR, E30 * 1.00099, E30 * 1.00101, "saturation"),
    ("vapour_pressure", 1.5, {"rain": 0.0}, 6.0, 6.01, "vapour_pressure-range"),
    ("vapour_pressure", 1.5, AIR, 0.001, 0.0, "vapour_pressure-range"),
    ("wind", 2.0, {}, 0.0, -0.1, "wind-range"),
    ("wind", 2.0, {}, 40.0, 40.1, "wind-range"),
    ("pressure", P100, {}, P100 + 11.99, P100 + 12.01, "pressure-range"),
    ("pressure", P100, {}, P100 - 11.99, P100 - 12.01, "pressure-range"),
    ("rain", 0.0, {}, 0.0, -0.1, "rain-range"),
    ("rain", 0.0, {}, 400.0, 400.1, "rain-range"),
    ("sunshine", 9.0, {}, 0.0, -0.1, "sunshine-range"),
    ("pan_evaporation", 8.0, {}, 0.0, -0.1, "pan_evaporation-range"),
    ("pan_evaporation", 8.0, {}, 40.0, 40.1, "pan_evaporation-range"),
    ("radiation", 24.0, {}, 0.1, -0.1, "radiation-range"),
    ("radiation", 24.0, {}, 0.01, 0.0, "radiation-zero"),
]


@pytest.mark.parametrize(("name", "usual", "others", "last", "first", "code"), ONE_DAY)
def test_a_value_is_believed_up_to_its_bound_and_refused_beyond(name, usual, others, last, first, code):
    assert codes(**others, **{name: one_day(usual, last)}) == []
    found = inspected(**others, **{name: one_day(usual, first)})
    (problem,) = found.problems
    assert (problem.code, problem.where) == (code, name)
    assert problem.value == pytest.approx(first)
    assert "on 2025-06-04" in problem.found and problem.cure
    assert np.isnan(found.daily[name].iloc[3])


@pytest.mark.parametrize(("name", "usual", "others", "last", "first", "code"), ONE_DAY)
def test_a_day_that_nobody_asked_for_is_left_out_and_counted(name, usual, others, last, first, code):
    found = inspected(**others, **{name: one_day(usual, first)}, asked=[day != 3 for day in range(20)])
    assert found.problems == []
    assert found.left_out == {name: 1}
    assert np.isnan(found.daily[name].iloc[3])
    assert f"{name}: 1 value that can't be true left out, on days outside those asked for" in found.notes


def test_the_worst_day_is_named_and_the_others_are_counted():
    (problem,) = inspected(rain=[0.0, -1.0, -3.0, -2.0] + [0.0] * 16).problems
    assert problem.found == "is -3 mm on 2025-06-03 (and 2 more days)"
    (problem,) = inspected(rh_max=[80.0, 101.0, 103.0] + [80.0] * 17).problems
    assert problem.found == "is 103 % on 2025-06-03 (and 1 more day)"


@pytest.mark.parametrize(
    ("name", "other", "columns"),
    [
        ("tmax", "tmin", {"tmin": 14.0, "tmax": one_day(30.0, 9.0)}),
        ("rh_max", "rh_min", {"rh_min": 35.0, "rh_max": one_day(80.0, 30.0)}),
        ("rh_mean", "rh_max", {"rh_max": 80.0, "rh_mean": one_day(50.0, 90.0)}),
        ("rh_mean", "rh_min", {"rh_min": 35.0, "rh_mean": one_day(50.0, 20.0)}),
    ],
)
def test_a_column_that_shares_the_blame_is_left_out_too(name, other, columns):
    daily = inspected(**columns).daily
    assert daily[name].isna().tolist() == daily[other].isna().tolist() == [day == 3 for day in range(20)]


def test_a_dew_point_above_tmax_leaves_the_temperatures_alone():
    daily = inspected(**AIR, dew_point=one_day(12.0, 31.0)).daily
    assert daily[["tmin", "tmax"]].notna().all().all()


WHOLE = [
    # medians that no place on earth reaches, in °C
    ({"tmin": 14.0, "tmax": 50.0}, {"tmin": 14.0, "tmax": 50.1}, "temperature-unit", "°F"),
    ({"tmin": 38.0, "tmax": 45.0}, {"tmin": 38.1, "tmax": 45.0}, "temperature-unit", "°F"),
    ({"rain": 0.0, "dew_point": 33.0}, {"rain": 0.0, "dew_point": 33.1}, "dew-point-unit", "°F"),
    # kelvin: all above 180 and below 340
    ({}, {"tmin": 181.0, "tmax": 339.0}, "temperature-unit", "K"),
    ({}, {"tmax": one_day(80.0, 135.1)}, "temperature-unit", "tenths of °C"),
    ({}, {"tmin": -40.0, "tmax": -136.0}, "temperature-unit", "tenths of °C"),
    # at most 1.05 in a column of per cent; above 105 in the middle and 1000 at most
    ({"rh_max": 1.06}, {"rh_max": 1.05}, "humidity-unit", "fraction"),
    ({}, {"rh_max": 1000.0}, "humidity-unit", "tenths of %"),
    # vapour pressure over saturation at tmax, in the middle: 1.5, and 15 from hPa to Pa
    ({}, AIR | {"vapour_pressure": E30 * 1.51}, "vapour-pressure-unit", "hPa"),
    ({}, AIR | {"vapour_pressure": E30 * 14.9}, "vapour-pressure-unit", "hPa"),
    ({}, AIR | {"vapour_pressure": E30 * 15.1}, "vapour-pressure-unit", "Pa"),
    ({"wind": 5.0}, {"wind": 5.1}, "wind-unit", "km/h"),
    ({}, {"wind": 50.0}, "wind-unit", "km/h"),
    ({}, {"wind": 50.1}, "wind-unit", "run of wind"),
    ({"pressure": P100 + 3.99}, {"pressure": P100 + 4.01}, "pressure-unit", "sea level"),
    ({"pan_evaporation": 40.0}, {"pan_evaporation": 40.1}, "pan-evaporation-unit", "tenths of a millimetre"),
]


@pytest.mark.parametrize(("sound", "odd", "code", "looks_like"), WHOLE)
def test_a_whole_column_is_doubted_beyond_its_bound(sound, odd, code, looks_like):
    assert codes(**(sound or AIR)) == []
    found = inspected(**odd)
    (problem,) = found.problems
    assert problem.code == code
    assert looks_like in problem.found
    assert problem.where in found.condemned


@pytest.mark.parametrize(
    ("low", "high", "looks_like"), [(180.0, 330.0, "tenths"), (181.0, 340.0, "tenths"), (181.0, 339.0, "K")]
)
def test_kelvin_lies_between_180_and_340(low, high, looks_like):
    (problem,) = inspected(tmax=[low, high] * 10).problems
    assert looks_like in problem.found


def test_fahrenheit_is_told_from_tenths_by_its_highest():
    assert "°F" in inspected(tmin=60.0, tmax=one_day(80.0, 135.0)).problems[0].found
    assert "°F" in inspected(tmax=135.0).problems[0].found
    assert "tenths" in inspected(tmax=135.1).problems[0].found


@pytest.mark.parametrize(("days", "expected"), [(10, ["tmax-below-tmin"]), (11, ["columns-exchanged"])])
def test_columns_look_exchanged_on_more_than_half_of_the_days(days, expected):
    assert codes(tmin=14.0, tmax=[9.0] * days + [30.0] * (20 - days)) == expected


@pytest.mark.parametrize(("days", "expected"), [(1, "tmax-below-tmin"), (2, "columns-exchanged")])
def test_one_day_is_no_exchange(days, expected):
    assert codes(days, tmin=14.0, tmax=9.0) == [expected]


def test_humidity_between_105_and_1000_is_tenths_and_single_days_above_100_are_faults():
    assert "rh_max-range" in codes(rh_max=105.0)
    assert codes(rh_max=105.1) == ["humidity-unit"]
    assert codes(rh_max=one_day(800.0, 1000.1)) == ["rh_max-range"]


def test_a_dew_point_in_fahrenheit_shows_by_tmax():
    """More than half of the days above tmax, and none more than half a degree above it once turned into °C."""
    air_of_winter = {"tmin": 0.0, "tmax": 5.0}
    as_celsius = 32.0 + 1.8 * 5.5
    assert codes(**air_of_winter, dew_point=[32.0] * 11 + [as_celsius] * 9) == ["dew-point-unit"]
    assert "dew-point-unit" not in codes(**air_of_winter, dew_point=[32.0] * 11 + [as_celsius + 0.1] * 9)
    assert "dew-point-unit" not in codes(**air_of_winter, dew_point=[32.0] * 10 + [4.0] * 10)
    assert "dew-point-unit" in codes(**air_of_winter, dew_point=[32.0] * 11 + [4.0] * 9)


@pytest.mark.parametrize("ratio", [1.0009, 1.49])
def test_a_vapour_pressure_up_to_half_above_saturation_is_no_unit(ratio):
    assert "vapour-pressure-unit" not in codes(**AIR, vapour_pressure=E30 * ratio)


def test_the_wind_is_doubted_at_2_metres():
    """A gauge at 10 m has 5.1 m/s where 2 m have 3.8."""
    assert codes(wind=5.1, factor=0.75) == []
    assert codes(wind=5.1 / 0.75, factor=0.75) == ["wind-unit"]


@pytest.mark.parametrize(
    ("days", "wind", "stated", "expected"),
    [
        (14, 5.1, (), ["wind-unit"]),
        (13, 5.1, (), []),
        (13, 15.0, (), []),
        (13, 15.1, (), ["wind-unit"]),
        (20, 15.0, ("wind",), []),
        (20, 15.1, ("wind",), ["wind-unit"]),
    ],
)
def test_a_few_days_or_a_stated_unit_may_be_windier(days, wind, stated, expected):
    found = inspected(days, wind=wind, stated=stated)
    assert [problem.code for problem in found.problems] == expected
    if expected and stated:
        assert 'correct its unit, which is stated as "as stated"' in found.problems[0].cure
    elif expected:
        assert 'if it is right after all, say so: wind = { column = "wind", unit = "m/s" }' in found.problems[0].cure


@pytest.mark.parametrize(
    ("days", "wind", "stated", "noted"),
    [(20, 3.5, (), 0), (20, 3.51, (), 1), (13, 3.51, (), 0), (14, 3.51, (), 1), (20, 3.51, ("wind",), 0)],
)
def test_a_windy_site_is_noted(days, wind, stated, noted):
    assert len(inspected(days, wind=wind, stated=stated).notes) == noted


# one kPa is 10 hPa, 1000 Pa, 7.50062 mmHg, 0.2953 inHg, 0.01 bar and 0.00986923 atm (by definition of these units)
@pytest.mark.parametrize(
    ("unit", "in_one"),
    [("hPa", 10.0), ("Pa", 1000.0), ("mmHg", 7.50062), ("inHg", 0.295300), ("bar", 0.01), ("atm", 0.00986923)],
)
@pytest.mark.parametrize(("apart", "looks"), [(3.9, True), (-3.9, True), (4.1, False), (-4.1, False)])
def test_pressure_in_another_unit_is_known_within_4_kilopascals(unit, in_one, apart, looks):
    if unit == "atm" and apart == 3.9:
        unit = "bar"  # they are 1.3 % apart, and the one that is thought of first is named
    site = Site(38.0, 300.0)
    (problem,) = inspected(pressure=(float(air.atmospheric_pressure(300.0)) + apart) * in_one, site=site).problems
    assert problem.code == "pressure-unit"
    assert (f"looks like {unit}" in problem.found) is looks


@pytest.mark.parametrize(
    ("elevation", "pressure", "sea"),
    [(1000.0, 98.0, False), (1000.0, 98.1, True), (1000.0, 104.9, True), (1000.0, 105.0, False)],
)
def test_pressure_brought_down_to_sea_level_lies_between_98_and_105(elevation, pressure, sea):
    (problem,) = inspected(pressure=pressure, site=Site(38.0, elevation)).problems
    assert ("sea level" in problem.found) is sea
    assert "delete the column" in problem.cure


RISING = list(np.linspace(0.0, 50.1, 20))


@pytest.mark.parametrize(
    ("rain", "expected"),
    [
        (RISING, ["rain-unit"]),
        ([*RISING[:10], RISING[9] - 0.1, *RISING[11:]], []),
        (list(np.linspace(0.0, 50.0, 20)), []),
        ([0.0] * 15 + [10.05, 20.05, 30.05, 40.05, 50.05], ["rain-unit"]),
        ([0.0] * 16 + [20.05, 30.05, 40.05, 50.05], []),
        (RISING[1:], []),
    ],
)
def test_a_running_total_never_falls_in_20_days_rises_5_times_and_passes_50_mm(rain, expected):
    assert codes(len(rain), rain=rain) == expected


def rains(amounts, days=40):
    return [*amounts, *[0.0] * (days - len(amounts))]


@pytest.mark.parametrize(
    ("amounts", "stated", "expected"),
    [
        ([26.0] * 10, (), ["rain-unit"]),
        ([26.0] * 9, (), []),
        ([25.0] * 10, (), []),
        ([26.0] * 9 + [26.5], (), []),
        ([26.0] * 10, ("rain",), []),
    ],
)
def test_whole_numbers_with_a_median_above_25_in_10_wet_days_look_like_tenths(amounts, stated, expected):
    assert codes(40, rain=rains(amounts), stated=stated) == expected


INCHES = [0.13, 0.27, 0.55, 0.08, 0.31] * 3


@pytest.mark.parametrize(
    ("amounts", "stated", "expected"),
    [
        (INCHES, (), ["rain-unit"]),
        (INCHES[:14], (), []),
        (INCHES, ("rain",), []),
        ([*INCHES[:14], 3.99], (), ["rain-unit"]),
        ([*INCHES[:14], 4.0], (), []),
        ([0.61, 0.59] * 7 + [0.59], (), ["rain-unit"]),
        ([0.61, 0.59] * 8, (), []),
        ([*INCHES[:14], 0.125], (), []),
        ([0.13, 0.1] * 7 + [0.13], (), ["rain-unit"]),
        ([0.13, 0.1] * 8, (), []),
    ],
)
def test_rain_in_hundredths_looks_like_inches(amounts, stated, expected):
    """From 15 wet days, below 4, with a mean below 0.6, fewer than half of them in tenths."""
    found = inspected(40, rain=rains(amounts), stated=stated)
    assert [problem.code for problem in found.problems] == expected
    if expected:
        assert 'unit = "in"' in found.problems[0].cure


def test_a_stated_unit_lets_rain_reach_the_worlds_record():
    assert codes(rain=one_day(0.0, 1850.0), stated=("rain",)) == []
    (problem,) = inspected(rain=one_day(0.0, 1850.1), stated=("rain",)).problems
    assert problem.expected == "at most 1850 mm"
    (problem,) = inspected(rain=one_day(0.0, 400.1)).problems
    assert problem.expected == "at most 400 mm"
    assert 'rain = { column = "rain", unit = "mm" } under [weather.columns]' in problem.cure


DAYS = pd.date_range("2025-06-01", periods=20).day_of_year.to_numpy()
DAYLIGHT = sun.daylight_hours(DAYS, latitude=38.0)
CLEAR = air.clear_sky_radiation(sun.extraterrestrial_radiation(DAYS, latitude=38.0), elevation=100.0)


def test_sunshine_ends_a_little_after_the_day():
    """0.3 h: refraction and rounding."""
    assert codes(sunshine=one_day(9.0, DAYLIGHT[3] + 0.299)) == []
    (problem,) = inspected(sunshine=one_day(9.0, DAYLIGHT[3] + 0.301)).problems
    assert problem.code == "sunshine-range"
    assert f"{DAYLIGHT[3]:.1f} h" in problem.expected


LONGEST = float(DAYLIGHT.max())


@pytest.mark.parametrize(
    ("highest", "looks_like"),
    [
        (61.0 * LONGEST + 1.0, "seconds"),
        (61.0 * LONGEST - 1.0, "minutes"),
        (10.0 * LONGEST + 3.1, "minutes"),
        (10.0 * LONGEST + 2.9, "tenths of an hour (or minutes)"),
        (100.1, "tenths of an hour (or minutes)"),
        (100.0, "per cent"),
    ],
)
def test_sunshine_in_another_unit_shows_by_its_highest(highest, looks_like):
    (problem,) = inspected(sunshine=highest).problems
    assert problem.code == "sunshine-unit"
    assert f"looks like {looks_like}" in problem.found
    assert f"{LONGEST:.1f} h" in problem.expected


@pytest.mark.parametrize(("over", "code"), [(8, "sunshine-range"), (9, "sunshine-unit")])
def test_sunshine_is_in_another_unit_if_it_is_too_long_on_more_than_40_percent_of_the_days(over, code):
    assert codes(sunshine=[60.0] * over + [9.0] * (20 - over)) == [code]


@pytest.mark.parametrize(
    ("days", "highest", "stated", "expected"),
    [
        (14, 1.0, (), ["sunshine-unit"]),
        (14, 1.01, (), []),
        (13, 1.0, (), []),
        (14, 0.0, (), []),
        (14, 0.01, (), ["sunshine-unit"]),
        (14, 1.0, ("sunshine",), []),
    ],
)
def test_sunshine_never_above_1_in_14_days_looks_like_a_share(days, highest, stated, expected):
    assert codes(days, sunshine=highest, stated=stated) == expected


@pytest.mark.parametrize("site", [SITE, Site(38.0, 2000.0)])
def test_radiation_is_believed_up_to_1_05_of_a_clear_skys(site):
    """The bound of the project's own model page; Rso by FAO-56 eq 37."""
    clear = sky_of(pd.date_range("2025-06-01", periods=20), latitude=38.0, elevation=site.elevation).clear
    assert codes(radiation=one_day(24.0, clear[3] * 1.0499), site=site) == []
    (problem,) = inspected(radiation=one_day(24.0, clear[3] * 1.0501), site=site).problems
    assert problem.code == "radiation-too-bright"
    assert f"{clear[3] * 1.05:.1f} MJ/m² (1.05 Rso)" in problem.expected
    assert 'too_bright = "limit" under [weather]' in problem.cure


def test_radiation_may_be_a_half_in_polar_night():
    """Twilight and printed digits."""
    north = Site(78.0, 10.0)
    assert codes(start="2024-12-10", radiation=one_day(0.0, 0.5), site=north) == []
    assert codes(start="2024-12-10", radiation=one_day(0.0, 0.51), site=north) == ["radiation-too-bright"]
    limited = inspected(start="2024-12-10", radiation=one_day(0.0, 0.62), site=north, too_bright="limit")
    assert limited.problems == [] and limited.daily["radiation"].iloc[3] == 0.5
    assert codes(start="2024-12-10", radiation=one_day(0.0, 0.63), site=north, too_bright="limit") == [
        "radiation-too-bright"
    ]


@pytest.mark.parametrize(("share", "limited"), [(1.2499, True), (1.2501, False)])
def test_radiation_is_limited_up_to_1_25_of_a_clear_skys(share, limited):
    found = inspected(radiation=one_day(24.0, CLEAR[3] * share), too_bright="limit")
    assert (found.problems == []) is limited
    assert found.limited.tolist() == [limited and day == 3 for day in range(20)]
    if limited:
        assert found.daily["radiation"].iloc[3] == pytest.approx(1.05 * CLEAR[3])
    else:
        assert "check the unit, the sensor's calibration" in found.problems[0].cure


@pytest.mark.parametrize(("days", "limited"), [(2, True), (3, False)])
def test_radiation_is_limited_on_at_most_10_percent_of_the_days(days, limited):
    radiation = [*CLEAR[:days] * 1.1, *[24.0] * (20 - days)]
    assert (codes(radiation=radiation, too_bright="limit") == []) is limited
    assert codes(radiation=radiation, too_bright="limit", bright_share=0.2) == []


def test_one_day_may_be_limited_however_few_there_are():
    assert codes(3, radiation=[CLEAR[0] * 1.1, 24.0, 24.0], too_bright="limit") == []
    assert codes(3, radiation=[*CLEAR[:2] * 1.1, 24.0], too_bright="limit") != []


def test_the_day_that_is_too_bright_by_the_largest_share_is_named():
    radiation = [24.0] * 20
    radiation[2], radiation[18] = CLEAR[2] * 1.2, CLEAR[18] * 1.19
    assert radiation[18] > radiation[2]
    (problem,) = inspected(radiation=radiation).problems
    assert "on 2025-06-03 (and 1 more day)" in problem.found


@pytest.mark.parametrize(("days", "sign"), [(6, False), (7, True)])
def test_the_sign_of_the_latitude_is_thought_of_from_7_days_on(days, sign):
    south = Site(-38.0, 100.0)
    (problem,) = inspected(radiation=[24.0] * days + [10.0] * (20 - days), site=south).problems
    assert ("it would fit latitude 38" in problem.cure) is sign
    spoilt = inspected(radiation=[24.0] * 7 + [10.0] * 12 + [36.0], site=south).problems
    assert "it would fit" not in spoilt[0].cure


# unit -> MJ/m² in one: 0.0864 from W/m² over a day (86,400 s), 0.0036 from Wh, 0.04184 from cal/cm², by definition
@pytest.mark.parametrize(
    ("looks_like", "size"),
    [
        ("W/m²", 0.0864),
        ("J/cm²", 0.01),
        ("kJ/m²", 0.001),
        ("Wh/m²", 0.0036),
        ("cal/cm² (langley)", 0.04184),
        ("J/m²", 1e-6),
    ],
)
@pytest.mark.parametrize("share", [0.9, 1.0, 1.149])
def test_radiation_in_another_unit_is_known_by_a_clear_sky(looks_like, size, share):
    """The brightest days come just below a clear sky's in the right unit; some others would bring them lower."""
    (problem,) = inspected(radiation=CLEAR * share / size).problems
    assert f"looks like {looks_like}" in problem.found


@pytest.mark.parametrize(
    ("top", "looks_like"),
    [(1.149, "J/m²"), (1.151, "radiation-too-bright"), (0.401, "J/m²"), (0.399, "radiation-too-bright")],
)
def test_a_unit_brings_the_brightest_days_to_between_0_4_and_1_15_of_a_clear_skys(top, looks_like):
    (problem,) = inspected(radiation=CLEAR * top * 1e6).problems
    assert looks_like in problem.found or problem.code == looks_like


@pytest.mark.parametrize(("top", "looks_like"), [(4.01, "tenths of MJ/m²"), (4.62, "tenths of MJ/m²"), (4.64, "W/m²")])
def test_tenths_are_thought_of_where_no_unit_fits(top, looks_like):
    """4 MJ/m² in tenths are 0.4 of a clear sky's; from 4.63 on 0.0864 MJ/m² in one W/m² bring as much."""
    (problem,) = inspected(radiation=CLEAR * top).problems
    assert f"looks like {looks_like}" in problem.found
    assert ("divide by ten" in problem.cure) is looks_like.startswith("tenths")


def test_below_four_tenths_of_a_clear_skys_in_tenths_it_is_no_unit():
    assert codes(radiation=CLEAR * 3.95) == ["radiation-too-bright"]


def test_a_few_spikes_hide_no_unit():
    """The 98th of 100 counts: 3 days of 200 are left aside, 5 are not."""
    assert "W/m²" in inspected(200, clear=30.0, radiation=[9000.0] * 3 + [340.0] * 197).problems[0].found
    assert "W/m²" not in inspected(200, clear=30.0, radiation=[9000.0] * 5 + [340.0] * 195).problems[0].found


def test_days_with_little_light_tell_no_unit():
    """From 1 MJ/m² of a clear sky's on."""
    assert codes(clear=1.0, radiation=11.0) == ["radiation-too-bright"]
    assert codes(clear=1.01, radiation=11.0) == ["radiation-unit"]


@pytest.mark.parametrize(("days", "code"), [(10, "radiation-too-bright"), (11, "radiation-unit")])
def test_radiation_is_in_another_unit_if_it_is_too_bright_on_more_than_half_of_the_days(days, code):
    assert codes(radiation=[250.0] * days + [24.0] * (20 - days)) == [code]


@pytest.mark.parametrize(
    ("days", "top", "stated", "expected"),
    [
        (14, 0.39, (), ["radiation-too-dark"]),
        (14, 0.41, (), []),
        (13, 0.39, (), []),
        (14, 0.39, ("radiation",), []),
    ],
)
def test_radiation_never_above_40_percent_of_a_clear_skys_in_14_days_is_doubted(days, top, stated, expected):
    assert codes(days, radiation=CLEAR[:days] * top, stated=stated) == expected


@pytest.mark.parametrize(("top", "looks"), [(1.149 / 3.6, True), (1.151 / 3.6, False)])
def test_radiation_in_kilowatt_hours_would_be_up_to_1_15_of_a_clear_skys(top, looks):
    """3.6 MJ are 1 kWh, by definition."""
    (problem,) = inspected(radiation=CLEAR * top).problems
    assert ("looks like kWh/m²" in problem.found) is looks
    assert 'unit = "MJ/m²"' in problem.cure


@pytest.mark.parametrize(("clear", "expected"), [(3.0, []), (3.01, ["radiation-zero"])])
def test_a_day_may_be_without_any_light_where_a_clear_sky_gives_at_most_3(clear, expected):
    assert codes(radiation=one_day(20.0, 0.0), clear=one_day(30.0, clear)) == expected


@pytest.mark.parametrize(("clear", "expected"), [(3.0, []), (3.01, ["radiation-too-dark"])])
def test_only_days_with_light_are_too_dark(clear, expected):
    assert codes(radiation=0.3 * clear, clear=clear) == expected


@pytest.mark.parametrize(
    ("columns", "marked"),
    [
        ({"tmin": one_day(14.0, -999.0), "tmax": 30.0}, "tmin"),
        ({"rain": one_day(0.0, -9999.0)}, "rain"),
        ({"wind": one_day(2.0, 99.9)}, "wind"),
        ({"rain": [99.9, 99.9, *[0.0] * 18]}, "rain"),
    ],
)
def test_a_mark_for_a_missing_value_is_named_as_one(columns, marked):
    found = inspected(**columns)
    (problem,) = found.problems
    assert (problem.code, problem.where) == ("missing-mark", marked)
    assert problem.cure == "leave missing values empty"
    assert found.daily[marked].isna().any()


MARKS = [-88, -99, -99.9, -999, -999.9, -6999, -7999, -8888, -9999, -9999.9, -32768, -99999]
MARKS += [99.9, 99.99, 999, 999.9, 8888, 9999, 9999.9, 32767, 99999]


def test_all_numbers_that_loggers_and_archives_write_for_a_missing_value_are_marks():
    """From memory of their guides: one problem each."""
    found = inspected(len(MARKS) + 20, wind=[*MARKS, *[2.0] * 20])
    assert [problem.value for problem in found.problems] == sorted(MARKS)
    assert found.daily["wind"].isna().sum() == len(MARKS)


def test_a_mark_in_two_columns_is_one_problem():
    (problem,) = inspected(tmin=one_day(14.0, -999.0), tmax=one_day(30.0, -999.0)).problems
    assert problem.where == "tmin, tmax"
    assert problem.found.startswith("are -999 on 2025-06-04")


def test_a_figure_that_rain_can_be_is_a_mark_only_when_it_repeats():
    assert codes(rain=one_day(0.0, 99.9)) == []


@pytest.mark.parametrize(("other", "expected"), [(499.5, "missing-mark"), (499.6, "pressure-unit")])
def test_a_mark_among_values_of_its_size_is_a_value_in_another_unit(other, expected):
    assert expected in codes(pressure=one_day(other, 999.0))


def test_a_mark_is_looked_for_as_it_stands_in_the_file():
    """-99 °F is -72.8 °C, which could be a temperature; -999 °F could not."""
    conversions = {"tmin": (1.0 / 1.8, -32.0 / 1.8)}
    written = (-999.0 - 32.0) / 1.8
    assert codes(tmin=one_day(14.0, written), conversions=conversions) == ["missing-mark"]


def test_cures_are_written_for_the_scenarios_table_of_the_file():
    (problem,) = inspected(wind=14.0, table="weather.fallback").problems
    assert "name its unit under [weather.fallback.columns]" in problem.cure
