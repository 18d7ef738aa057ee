"""
Checks of the air, every threshold at its bound.

Thresholds are common practice, no source, unless a test says otherwise. The days are invented: 20 of a June at 38° north.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.physics import air
from panbudget.weather.checks.air import scale_of
from panbudget.weather.text.headers import read_header
from panbudget.weather.text.raw import ColumnChoice, OtherUnit
from tests.weather.checks.days import AIR, E30, P100, SENSORS, codes, inspected, one_day, spoken
from tests.weather.sites import Site

WHOLE = [
    # medians that no place on earth reaches, in °C
    ({"tmin": 14.0, "tmax": 50.0}, {"tmin": 14.0, "tmax": 50.1}, "temperature-unit", "°F"),
    ({"tmin": 38.0, "tmax": 45.0}, {"tmin": 38.1, "tmax": 45.0}, "temperature-unit", "°F"),
    ({"rain": 0.0, "dew_point": 33.0}, {"rain": 0.0, "dew_point": 33.1}, "dew-point-unit", "°F"),
    # kelvin: all above 180 and below 340
    ({}, {"tmin": 181.0, "tmax": 221.0}, "temperature-unit", "K"),
    ({}, {"tmin": 299.0, "tmax": 339.0}, "temperature-unit", "K"),
    ({}, {"tmax": one_day(80.0, 135.1)}, "temperature-unit", "tenths of °C"),
    ({}, {"tmin": -40.0, "tmax": -136.0}, "temperature-unit", "tenths of °C"),
    # at most 1.05 in a column of per cent; above 105 in the middle and 1000 at most
    ({"rh_max": 1.06}, {"rh_max": 1.05}, "humidity-unit", "fraction"),
    ({"rh_min": 1.06}, {"rh_min": 1.05}, "humidity-unit", "fraction"),
    ({}, {"rh_max": 1000.0}, "humidity-unit", "tenths of %"),
    # vapour pressure over saturation at tmax, in the middle: 1.5, and 15 from hPa to Pa
    ({}, AIR | {"vapour_pressure": E30 * 1.51}, "vapour-pressure-unit", "hPa"),
    ({}, AIR | {"vapour_pressure": E30 * 14.9}, "vapour-pressure-unit", "hPa"),
    ({}, AIR | {"vapour_pressure": E30 * 15.1}, "vapour-pressure-unit", "Pa"),
    ({"wind": 5.0}, {"wind": 5.1}, "wind-unit", "km/h"),
    ({}, {"wind": 50.0}, "wind-unit", "km/h"),
    ({}, {"wind": 50.1}, "wind-unit", "looks like a day's run of wind"),
    ({}, {"wind": np.resize([30.0, 120.0, 330.0], 20)}, "wind-unit", "direction in degrees"),
    ({}, {"wind": np.resize([31.0, 120.0, 330.0], 20)}, "wind-unit", "looks like a day's run of wind"),
    ({}, {"wind": np.resize([30.0, 120.0, 329.0], 20)}, "wind-unit", "looks like a day's run of wind"),
    ({}, {"wind": np.resize([30.0, 120.0, 361.0], 20)}, "wind-unit", "looks like a day's run of wind"),
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


@pytest.mark.parametrize(("tmin", "tmax"), [(30.0, 170.0), (45.0, 170.0), (90.0, 250.0), (220.0, 261.0), (62.0, 261.0)])
def test_a_minimum_beside_a_maximum_in_tenths_is_in_tenths_too(tmin, tmax):
    """Though it may pass for °C, for °F, or for K as the maximum may: no place's middling range is 41 K, nor is it 199 °C to K."""
    (wrong,) = inspected(tmin=tmin, tmax=tmax).problems
    assert [key for key, _ in wrong.paste] == ["weather.columns.tmin", "weather.columns.tmax"]
    assert all('"0.1 degC"' in choice for _, choice in wrong.paste)


@pytest.mark.parametrize(("tmin", "names"), [(61.0, 2), (10.0, 1)])
def test_a_maximum_alone_may_be_in_kelvin(tmin, names):
    """200 above the figures of a minimum in °F, or in °C."""
    problems = inspected(tmin=tmin, tmax=261.0).problems
    assert [problem.paste[0][1] for problem in problems][-1].endswith('"K" }') and len(problems) == names


def test_a_minimum_alone_in_tenths_is_named_alone():
    """Beside a maximum that is right, whose lines to paste exchanged the two."""
    (wrong,) = inspected(tmin=118.0, tmax=31.8).problems
    assert [key for key, _ in wrong.paste] == ["weather.columns.tmin"]


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
    """But a hygrometer that reads some per cent too high has no day above 250."""
    assert "rh_max-range" in codes(rh_max=one_day(105.0, 250.1))
    assert codes(rh_max=one_day(105.1, 250.1)) == ["humidity-unit"]
    assert codes(rh_max=one_day(108.0, 250.0)) == ["rh_max-range"]
    assert codes(rh_max=one_day(800.0, 1000.1)) == ["rh_max-range"]


def test_of_several_humidities_those_are_in_tenths_that_mostly_lie_above_105():
    for rh_min, named in ((105.0, False), (105.1, True)):
        said = spoken("humidity-unit", rh_max=900.0, rh_min=[rh_min] * 20)
        assert ("(rh_min too)" in said, 'rh_min = { column = "rh_min", unit = "0.1 %" }' in said) == (named, named)


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


@pytest.mark.parametrize(("times", "of_the_column"), [(4.99, True), (5.01, False)])
def test_a_vapour_pressure_of_two_units_is_offered_none(times, of_the_column):
    """Of hPa from a day on, hPa was offered for the whole column, and with it the days before were a tenth of what they are."""
    vapour = E30 * np.repeat([1.6, 1.6 * times] if of_the_column else [0.4, 0.4 * times], [9, 11])
    assert ("vapour-pressure-unit" in codes(**AIR, vapour_pressure=vapour)) is of_the_column


def test_the_wind_is_doubted_at_2_metres():
    """A gauge at 10 m has 5.1 m/s where 2 m have 3.8."""
    assert codes(wind=5.1, factor=0.75) == []
    assert codes(wind=5.1 / 0.75, factor=0.75) == ["wind-unit"]


@pytest.mark.parametrize(
    ("days", "wind", "stated", "refused", "cautioned"),
    [
        (14, 5.1, (), True, False),
        (13, 5.1, (), False, False),
        (13, 15.0, (), False, False),
        (13, 15.1, (), True, False),
        (20, 5.0, ("wind",), False, False),
        (20, 5.1, ("wind",), False, True),
        (13, 5.1, ("wind",), False, False),
        (20, [4.0] * 18 + [9.8] * 2, ("wind",), False, True),
        (20, [4.0] * 18 + [9.4] * 2, ("wind",), False, False),
        (20, 15.0, ("wind",), False, True),
        (20, 15.1, ("wind",), True, False),
        (20, 3.5, (), False, False),
        (20, 3.51, (), False, True),
        (13, 3.51, (), False, False),
        (14, 3.51, (), False, True),
        (20, 3.51, ("wind",), False, False),
    ],
)
def test_a_wind_is_refused_or_cautioned_about_by_its_middle_its_days_and_its_unit(
    days, wind, stated, refused, cautioned
):
    found = inspected(days, wind=wind, stated=stated)
    assert [problem.code for problem in found.problems] == ["wind-unit"] * refused
    assert [caution.name for caution in found.cautions] == ["wind-unit"] * cautioned
    if refused:
        cure = (
            'correct its unit, which is stated as "as stated"' if stated else 'wind = { column = "wind", unit = "?" }'
        )
        assert cure in found.problems[0].cure
        assert 'if it is right after all, write trust = ["wind-unit"] under [weather]' in found.problems[0].cure
    trusting = inspected(days, wind=wind, stated=stated, trust=["wind-unit"])
    assert (trusting.problems, trusting.cautions) == ([], [])


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


# by definition of the units: a mile of 1609.344 m, an inch of 25.4 mm, a day of 86 400 s
UNITS_APART = [
    ("wind", "Wind (mph)", "m/s", "mph", 0.44704, 0.0),
    ("wind", "Wind km/h", "m/s", "km/h", 1 / 3.6, 0.0),
    ("rain", "Rain (in)", "mm", "in", 25.4, 0.0),
    ("tmin", "Low (°F)", "degC", "degF", 5 / 9, -160 / 9),
    ("radiation", "Sun (W/m²)", "MJ/m2", "W/m^2", 0.0864, 0.0),
]
UNITS_ALIKE = [
    ("wind", "Wind (MPH)", "mile/hour"),
    ("rain", "Rain (mm)", "millimetre"),
    ("tmin", "Low (°F)", "fahrenheit"),
    ("tmin", "Low (F)", "degF"),
    ("rh_max", "Humidity (%)", "percent"),
    ("radiation", "Sun (MJ/m²)", "MJ/m^2/day"),
    ("radiation", "Sun (MJ/m2)", "MJ/m²"),
    ("wind", "Wind (gusty)", "mph"),
    ("wind", "Wind", "mph"),
    ("sunshine", "Sun (%)", "h"),
    ("wind", "Wind (mph)", None),
]


@pytest.mark.parametrize(
    ("wind", "units", "is_doubted"),
    [
        (3.1, {"tmin": "degF"}, True),
        (3.0, {"tmin": "degF"}, False),
        (3.1, {"rain": "in"}, True),
        (3.1, {"tmin": "degC"}, False),
    ],
)
def test_a_fresh_wind_in_metres_beside_imperial_columns_is_doubted(wind, units, is_doubted):
    """FAO-56 table 4: from 3 m/s on, a wind is moderate to strong."""
    more = {"units": {"wind": "m/s", **units}, "stated": ("wind", *units)}
    found = inspected(20, wind=wind, tmin=14.0, tmax=30.0, rain=0.0, **more).cautions
    assert [caution.name for caution in found] == ["wind-unit"] * is_doubted
    assert not is_doubted or 'unit = "mph" } under [weather.columns]' in found[0].sentence


@pytest.mark.parametrize(("name", "header", "stated", "named", "factor", "offset"), UNITS_APART)
def test_a_stated_unit_of_another_meaning_than_the_headers_is_cautioned_about(
    name, header, stated, named, factor, offset
):
    found = read_header(["date", header], {name: ColumnChoice(header, stated)}, line=1).contradicted
    assert found[name][:2] == (named, stated)
    usual = {"tmin": 14.0, "tmax": 30.0} | {name: 2.0}
    [caution] = inspected(**usual, contradicted=found).cautions
    assert caution.name == "header-unit"
    assert f'{name} = {{ column = "{name}", unit = "{named}" }} under [weather.columns]' in caution.brief
    assert f"in {stated}," in caution.brief
    assert f"header says {named}" in caution.brief
    np.testing.assert_allclose(caution.instead[0][name], 2.0 * factor + offset)
    assert not inspected(**usual, contradicted=found, trust=["header-unit", *SENSORS]).cautions
    if name in ("tmin", "tmax"):  # of both temperatures it is one
        both = dict.fromkeys(("tmin", "tmax"), found[name])
        [caution] = inspected(**usual, contradicted=both).cautions
        assert caution.brief.count("{ column = ") == 2


@pytest.mark.parametrize(
    ("name", "header", "stated", "named"),
    [
        ("rh_mean", "rh_mean (g/m³)", "%", "g/m³"),
        ("rh_mean", "Humidity [g/kg]", "%", "g/kg"),
        ("radiation", "Light (µmol/m²/s)", "W/m2", "µmol/m²/s"),
        ("radiation", "Light (lx)", "W/m2", "lx"),
        ("wind", "wind (mm)", "m/s", "mm"),
    ],
)
def test_a_stated_unit_under_a_header_of_another_quantity_is_cautioned_about(name, header, stated, named):
    found = read_header(["date", header], {name: ColumnChoice(header, stated)}, line=1).contradicted
    [caution] = inspected(**{"tmin": 14.0, "tmax": 30.0} | {name: 2.0}, contradicted=found).cautions
    assert f"header says {named}, which is another quantity's" in caution.brief
    assert not caution.instead


@pytest.mark.parametrize(("factor", "is_doubted"), [(2.25, True), (2.26, False)])
def test_a_header_whose_unit_can_not_be_is_no_doubt(factor, is_doubted):
    """45 MJ/m² is the most of a day: W/m² under a header of MJ/m², once stated, is right; the season of 300 MJ/m² failed."""
    found = {"radiation": OtherUnit("MJ/m^2", "W/m^2", factor, 0.0)}
    assert bool(inspected(tmin=14.0, tmax=30.0, radiation=20.0, contradicted=found).cautions) is is_doubted


@pytest.mark.parametrize(("name", "header", "stated"), UNITS_ALIKE)
def test_another_name_of_the_headers_unit_is_no_other_unit(name, header, stated):
    assert not read_header(["date", header], {name: ColumnChoice(header, stated)}, line=1).contradicted


@pytest.mark.parametrize(
    ("unit", "value", "shown", "asks"),
    [
        ("degF", 753 / 1.8, "785 °F (418.3 °C)", ""),
        ("K", 57.1, "330.2 K (57.1 °C)", " (is the unit °F?)"),
        ("0.1 °C", 57.1, "571 × 0.1 °C (57.1 °C)", " (is the unit °F?)"),
        ("°C", 57.1, "57.1 °C", " (is the unit °F?)"),
        ("as it was", 57.1, "57.1 °C", " (is the unit °F?)"),
    ],
)
def test_a_value_is_given_in_the_files_unit_and_asked_about_in_no_unit_that_it_has(unit, value, shown, asks):
    """By definition: °F = 1.8 °C + 32, K = °C + 273.15."""
    [problem] = inspected(tmin=14.0, tmax=one_day(30.0, value), units={"tmax": unit}).problems
    assert problem.found == f"is {shown} on 2025-06-04"
    assert problem.expected == f"-90 to 57 °C{asks}"


SCALES = [
    ("degF", 51.0, "which looks like another unit", 'stated as "degF"'),
    ("degF", 290.0 / 1.8 - 160.0 / 9.0, "which looks like K", 'stated as "degF"'),
    ("K", 20.0 - 273.15, "which looks like °C", 'stated as "K"'),
    ("degC", 51.0, "which looks like °F", 'stated as "degC"'),
]


@pytest.mark.parametrize(("unit", "value", "looks_like", "cure"), SCALES)
def test_a_column_looks_like_no_unit_that_it_is_stated_to_have(unit, value, looks_like, cure):
    """Nor is its unit to be pasted again."""
    found = inspected(tmin=value, tmax=value, stated=("tmin", "tmax"), units=dict.fromkeys(("tmin", "tmax"), unit))
    assert looks_like in found.problems[0].found and cure in found.problems[0].cure
    assert not any(f'unit = "{unit}"' in line for _, line in found.problems[0].paste)


def test_figures_with_a_decimal_are_in_no_tenths():
    """208.2 °F of a column that was converted twice: tenths would be 20.8 °C, and are whole numbers."""
    problems = inspected(tmin=15.7, tmax=176.2 / 1.8, units=dict.fromkeys(("tmin", "tmax"), "degF")).problems
    assert problems and not any("0.1 degC" in line for problem in problems for _, line in problem.paste)


@pytest.mark.parametrize(
    ("unit", "looks_like", "slower"),
    [
        ("m/s", "km/h (or knots or mph)", 1 / 3.6),
        ("knot", "km/h (or mph)", 1 / 1.852),
        ("mph", "km/h", 1 / 1.609344),
        ("km/h", "another unit", None),
    ],
)
def test_a_stated_wind_looks_like_slower_units_only(unit, looks_like, slower):
    """By definition of the units: a mile of 1609.344 m, a nautical one of 1852 m."""
    [caution] = inspected(wind=6.0, stated=("wind",), units={"wind": unit}).cautions
    assert caution.brief.endswith(f"which looks like {looks_like}")
    if slower:
        np.testing.assert_allclose(caution.instead[0]["wind"], 6.0 * slower, rtol=1e-5)
        assert len(caution.instead) == looks_like.count("or ") + 1
    else:
        assert not caution.instead


@pytest.mark.parametrize("turned", [False, True])
def test_fahrenheit_from_a_day_on_is_told_as_that_alone(turned):
    """12 and 26 °C are 53.6 and 78.8 °F: no other column's unit is asked for."""
    tmin, tmax = [12.0] * 20 + [53.6] * 30, [26.0] * 20 + [78.8] * 30
    days = [column[::-1] if turned else column for column in (tmin, tmax)]
    found = inspected(50, tmin=days[0], tmax=days[1], wind=2.0, rain=0.0, trust=["temperature-climate"])
    assert [problem.code for problem in found.problems] == ["temperature-leap"]


def test_a_winter_in_fahrenheit_that_ends_within_days_changes_no_unit():
    """6 and 33 °F are no change of scale where the same file has a summer, before or after, that is hotter than any in °C."""
    for turn in (1, -1):
        tmin, tmax = ([warm] * 60 + [at] * 20 + [at + 27.0] * 60 for warm, at in ((70.0, 0.0), (95.0, 12.0)))
        asked = np.arange(140) >= 60
        found = inspected(140, tmin=tmin[::turn], tmax=tmax[::turn], wind=2.0, asked=asked[::turn])
        assert "temperature-leap" not in [problem.code for problem in found.problems]


@pytest.mark.parametrize("infinite", [np.inf, -np.inf])
def test_a_temperature_that_is_infinite_is_taken_for_no_unit(infinite):
    """Of a grid whose tmin was infinite, tmax was blamed, as tenths of a degree."""
    sound = np.linspace(0.0, 30.0, 50)
    assert [scale_of("tmin", values) for values in (np.full(50, infinite), np.append(sound, infinite))] == ["", ""]
