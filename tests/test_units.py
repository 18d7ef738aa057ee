"""Units: text with a unit in, engine units out, and what is said when the text is something else."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from panbudget import units
from panbudget.units import KINDS, UnitError, column_conversion, quantity


def test_factors_that_need_no_library_are_the_librarys(monkeypatch):
    factors = units._TABLES["factors"]
    assert factors["gal"]["L"] == 3.785411784  # NIST SP 811 (2008), B.8
    monkeypatch.setitem(units._TABLES, "factors", {})
    for text, row in factors.items():
        for target, factor in row.items():
            assert units._conversion.__wrapped__(text, target) == (pytest.approx(factor, rel=1e-14), 0.0)


def test_a_garden_of_common_units_loads_without_the_library():
    code = "import sys, panbudget; panbudget.load_scenario(sys.argv[1]); print('pint' in sys.modules)"
    demo = Path(__file__).parents[1] / "scenarios" / "terraces.toml"
    done = subprocess.run([sys.executable, "-c", code, demo], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("18 in", "length", 0.4572),  # NIST SP 811 (2008), appendix B.8: 1 in = 0.0254 m exactly
        ("20 mm", "depth", 20.0),
        ("12 m²", "area", 12.0),
        ("12 m^2", "area", 12.0),
        ("900 g", "mass", 0.9),
        ("2 lb", "mass", 0.90718474),  # NIST SP 811, B.8: 1 lb = 0.45359237 kg exactly
        ("0.5 gal/h", "flow", 1.892705892),  # NIST SP 811, B.8: 1 gal (US) = 3.785411784 L exactly
        ("0,5 gph", "flow", 1.892705892),
        ("64 fl oz/h", "flow", 1.892705892),
        ("33 mL/min", "flow", 1.98),
        ("1.2 m^3/h", "flow", 1200.0),
        ("1 bar", "pressure", 100.0),
        ("10 mH2O", "pressure", 98.0665),  # NIST SP 811, B.8: conventional metre of water
    ],
)
def test_a_quantity_comes_out_in_the_engines_unit(text, kind, value):
    assert quantity(text, kind) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("2 kPa", "flow", 'is a pressure; expected: a flow, such as "2 L/h" or "0.5 gal/h"'),
        ("10 m", "pressure", "is a length; expected: a pressure"),
        ("2 furlongs/fortnigh", "flow", "unknown unit"),
        ("2", "flow", "has no unit"),
        (2, "flow", "has no unit; expected: a flow as text"),
        (True, "flow", "is not text with a unit"),
        (["2 L/h"], "flow", "is not text with a unit"),
        ("two litres", "flow", "does not begin with a number"),
        ("nan L/h", "flow", "does not begin with a number"),
        ("1e999 L/h", "flow", "too large"),
        ("2 (", "area", "unknown unit"),
        ("1,200 L", "volume", 'may be a decimal or a thousands mark; write "1200 L" or "1.200 L" instead'),
        ("1,202.0 L", "volume", 'has thousands marks; write "1202.0 L" instead'),
        ("1.202,5 L", "volume", 'write "1202.5 L" instead'),
        ("1,202,000 L", "volume", 'write "1202000 L" instead'),
        ("700 gr", "mass", 'has an unknown unit \'gr\'; expected: a weight, such as "900 g" or "2 lb"; write "700 g"'),
        ("8 m2", "area", 'write "8 m^2"'),
        ("7,125 g", "mass", 'write "7125 g" or "7.125 g" instead'),
    ],
)
def test_what_is_no_such_quantity_is_said(text, kind, said):
    with pytest.raises(UnitError) as caught:
        quantity(text, kind)
    assert said in str(caught.value)


def test_every_kinds_example_can_be_read():
    for kind, (_, _, example) in KINDS.items():
        for text in example.replace('"', "").replace(" or ", ", ").split(", "):
            assert quantity(text, kind) > 0.0


@pytest.mark.parametrize(
    ("unit", "target", "value", "expected"),
    [
        ("degF", "degC", 212.0, 100.0),
        ("°F", "degC", 32.0, 0.0),
        ("K", "degC", 273.15, 0.0),
        ("km/h", "m/s", 36.0, 10.0),
        ("knot", "m/s", 1.0, 0.514444),  # NIST SP 811, B.8
        ("mph", "m/s", 1.0, 0.44704),  # NIST SP 811, B.8, exact
        ("W/m^2", "MJ/m^2/day", 100.0, 8.64),
        ("kWh/m^2", "MJ/m^2/day", 1.0, 3.6),
        ("J/cm^2", "MJ/m^2/day", 100.0, 1.0),
        ("hPa", "kPa", 1013.25, 101.325),
        ("in", "mm", 1.0, 25.4),
        ("fraction", "%", 0.5, 50.0),
        ("min", "h", 90.0, 1.5),
    ],
)
def test_a_columns_unit_turns_into_the_standard_one(unit, target, value, expected):
    factor, offset = column_conversion(unit, target)
    assert value * factor + offset == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(("unit", "target"), [("mm", "degC"), ("furz", "mm"), ("kPa", "%"), ("", "mm")])
def test_a_column_of_another_kind_is_refused(unit, target):
    with pytest.raises(UnitError):
        column_conversion(unit, target)


@pytest.mark.parametrize("text", ["+5 K", "5 degC", "5 °C", "9 degF", "9 °F", "5 delta_degC"])
def test_a_difference_of_temperature_has_no_zero(text):
    assert quantity(text, "temperature difference") == pytest.approx(5.0)


def test_a_temperature_has_one():
    assert quantity("95 degF", "temperature") == pytest.approx(35.0)
    assert quantity("35 degC", "temperature") == pytest.approx(35.0)
    with pytest.raises(UnitError, match="expected: a temperature"):
        quantity("35 mm", "temperature")


@pytest.mark.parametrize(
    "unit",
    [
        "L**9**9**9",  # pint would compute it for minutes
        "m**5",
        "m**-5",
        "m**2**2",
        "m^2.5",
        "(m)",
        "m*(m",
        "2*m",
        "m" + "*m" * 20,  # 41 letters
        "m, s",
        "m+m",
        "",
    ],
)
def test_a_unit_is_no_expression(unit):
    with pytest.raises(UnitError, match="unknown unit|has no unit"):
        quantity(f"2 {unit}", "area")
    with pytest.raises(UnitError):
        column_conversion(unit, "mm")


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("2 m**4/m^2", "area", 2.0),
        ("2 m^-4 * m ** 3 · m³", "area", 2.0),
        ("2 km*m" + "*m/m" * 9, "area", 2000.0),  # 40 letters
        ("2 km*km" + "*m/m" * 9, "area", "unknown unit"),
        ("3000 kg/(m s^2)", "pressure", 3.0),
    ],
)
def test_a_units_powers_and_length_go_this_far(text, kind, value):
    if isinstance(value, str):
        with pytest.raises(UnitError, match=value):
            quantity(text, kind)
    else:
        assert quantity(text, kind) == pytest.approx(value)


def test_what_is_beyond_any_garden_is_refused_with_the_most_there_is():
    assert quantity("100 km", "length") == 100_000.0
    for text in ("100.1 km", "-100.1 km", "1e300 m"):
        with pytest.raises(UnitError, match="is beyond any garden; expected: a length of at most 100000 m$"):
            quantity(text, "length")


def test_a_flow_in_megalitres_beyond_any_garden_is_asked_whether_millilitres_are_meant():
    for text in ("500 ML/h", "500 Ml/h"):
        with pytest.raises(UnitError, match="beyond any garden.*write mL"):
            quantity(text, "flow")
    with pytest.raises(UnitError, match="100000000.0 L/h$|1e.08 L/h$"):
        quantity("500 m^3/s", "flow")
    assert quantity("500 mL/h", "flow") == pytest.approx(0.5)


def test_only_plain_digits_are_a_number():
    with pytest.raises(UnitError, match="does not begin with a number"):
        quantity("９００ m", "length")


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("1 ft3", 28.316846592),
        ("1 cf", 28.316846592),
        ("1 HCF", 2831.6846592),
        ("1 hundred-cubic-feet", 2831.6846592),
        ("1 AF", 1233481.83754752),
        ("1 MG", 3785411.784),
    ],
)
def test_a_meters_units_are_those_of_the_trade(text, litres):
    """NIST SP 811 (2008), appendix B: the foot of 0.3048 m, the gallon of 231 cubic inches."""
    assert quantity(text, "volume") == pytest.approx(litres, rel=1e-12)
    assert quantity("1000 mg", "mass") == pytest.approx(0.001)


SPELLED = [
    ("20 PSI", "pressure", "20 psi"),
    ("20 Psi", "pressure", "20 psi"),
    ("20 KPA", "pressure", "20 kPa"),
    ("1.2 DS/M", "conductivity", "1.2 dS/m"),
    ("2 Gal/H", "flow", "2 gal/h"),
    ("20 MM", "depth", "20 mm"),
    ("90 sqft", "area", "90 ft^2"),
    ("90 sq. ft.", "area", "90 ft^2"),
    ("90,5 FT2", "area", "90,5 ft^2"),
    ("1.5 cu ft", "volume", "1.5 ft^3"),
    ('20"', "length", "20 in"),
    ("6\u2032", "length", "6 ft"),
    ("5 in.", "length", "5 in"),
    ("9 qm", "area", "9 m^2"),  # a tiny length to the unit library
    ("9 M^2", "area", "9 m^2"),
    ("2 L·h⁻¹", "flow", "2 L/h"),
    ("2 L h-1", "flow", "2 L/h"),
    ("20 C", "temperature", "20 degC"),
]


@pytest.mark.parametrize(("text", "kind", "meant"), SPELLED)
def test_a_unit_as_people_write_it_is_unknown_and_told_as_it_is_to_be_written(text, kind, meant):
    """What is to be written is read."""
    with pytest.raises(UnitError) as caught:
        quantity(text, kind)
    assert caught.value.problem.cure == f'write "{meant}"'
    assert quantity(meant, kind) > 0.0


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("20 PSI", "flow"),
        ("90 sqft", "length"),
        ("700 gramms", "mass"),
        ("2 PSI**9", "pressure"),
        ("2 __IMPORT__('os')", "area"),
        ("9999999999999 SQFT", "area"),
    ],
)
def test_no_unit_is_told_of_another_kind_or_that_would_be_refused(text, kind):
    with pytest.raises(UnitError) as caught:
        quantity(text, kind)
    assert not caught.value.problem.cure


def test_a_unit_is_told_up_to_the_longest_that_is_read():
    """Forty letters."""
    for blanks, is_told in (("  ", True), ("   ", False)):
        unit = "M" + "*M/M" * 8 + f" *{blanks[1:]}M /M"
        with pytest.raises(UnitError) as caught:
            quantity(f"2 {unit}", "length")
        assert bool(caught.value.problem.cure) is is_told, len(unit)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("20 dd", "time"),
        ("20 cft", "length"),
        ("2 cin", "depth"),
        ("3 moz", "mass"),
        ("1 mgal", "volume"),
        ("1 hacre", "area"),
    ],
)
def test_a_unit_that_nobody_divides_by_ten_takes_no_prefix(text, kind):
    """A tenth of a day, a hundredth of a foot: slips of the pen that were read without a word."""
    with pytest.raises(UnitError, match="has an unknown unit"):
        quantity(text, kind)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("1 kgal", "volume", 3785.411784),
        ("1 cmH2O", "pressure", 0.0980665),
        ("1 hPa", "pressure", 0.1),
        ("1 ft", "length", 0.3048),
    ],
)
def test_what_the_trade_writes_with_a_prefix_is_read(text, kind, value):
    assert quantity(text, kind) == pytest.approx(value)
