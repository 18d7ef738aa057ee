"""Units of the form: exact, and those that NIST prints."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS, VOLUME_UNITS, amount
from panbudget.units import quantity

# NIST SP 811 (2008), appendix B.8, seven printed digits; figures from memory, each agreeing with its definition there
NIST_LITRES = {
    "gal": 3.785412,
    "acre-foot-survey": 1.233489e6,
    "hundred-cubic-feet": 100 * 28.31685,
    "m^3": 1000.0,
}
NIST_LITRES_AN_HOUR = {"gal/min": 6.309020e-05 * 3.6e6, "ft^3/s": 2.831685e-02 * 3.6e6}


@pytest.mark.parametrize(("key", "litres"), NIST_LITRES.items())
def test_volumes_are_those_that_nist_prints(key, litres):
    assert float(VOLUME_UNITS[key].size) == pytest.approx(litres, rel=5e-7)


@pytest.mark.parametrize(("key", "litres"), NIST_LITRES_AN_HOUR.items())
def test_rates_are_those_that_nist_prints(key, litres):
    assert float(RATE_UNITS[key].size) == pytest.approx(litres, rel=5e-7)


def test_factors_are_exact_and_not_their_nearest_float():
    """231 cubic inches; 43 560 cubic feet of 0.3048 m; a twelfth of it."""
    assert VOLUME_UNITS["gal"].size == Fraction("3.785411784")
    assert VOLUME_UNITS["acre-foot"].size == Fraction("1233481.83754752")
    assert VOLUME_UNITS["acre-inch"].size * 12 == VOLUME_UNITS["acre-foot"].size
    assert VOLUME_UNITS["hundred-cubic-feet"].size == Fraction("2831.6846592")
    assert AREA_UNITS["acre"].size == Fraction("4046.8564224")
    assert RATE_UNITS["gal/min"].size == 60 * VOLUME_UNITS["gal"].size


def test_the_two_feet_differ_by_six_parts_in_a_million():
    """1200/3937 ÷ 0.3048 = 1200/1199.9976 = 1.000002000004; its cube less one is 6.000024e-6, by hand."""
    ratio = VOLUME_UNITS["acre-foot-survey"].size / VOLUME_UNITS["acre-foot"].size
    assert float(ratio - 1) == pytest.approx(6.000024e-6, rel=1e-7)


def test_a_handbook_example_of_volume_from_rate_and_time():
    """
    One cubic foot a second for 24 hours is 1.9835 acre-feet, and 448.8 gallons a minute; for an hour, 0.992 acre-inch.

    As water measurement handbooks print it (common practice; figures from memory).
    """
    day = 24 * RATE_UNITS["ft^3/s"].size
    assert float(day / VOLUME_UNITS["acre-foot"].size) == pytest.approx(1.9835, abs=5e-5)
    assert float(RATE_UNITS["ft^3/s"].size / RATE_UNITS["gal/min"].size) == pytest.approx(448.8, abs=0.05)
    assert float(RATE_UNITS["ft^3/s"].size / VOLUME_UNITS["acre-inch"].size) == pytest.approx(0.992, abs=5e-4)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        *(("1 acre-foot", "acre-foot"), ("1 acre-inch", "acre-inch"), ("1 ccf", "hundred-cubic-feet")),
        *(("1 gal", "gal"), ("1 m3", "m^3"), ("1 ML", "ML"), ("1 L", "L")),
    ],
)
def test_a_scenario_reads_a_licence_by_the_same_foot(text, unit):
    assert quantity(text, "volume") == pytest.approx(float(VOLUME_UNITS[unit].size), rel=1e-14)


def test_a_scenario_reads_rates_and_areas_by_the_same_foot():
    assert quantity("1 cfs", "flow") == pytest.approx(float(RATE_UNITS["ft^3/s"].size), rel=1e-14)
    assert quantity("1 gpm", "flow") == pytest.approx(float(RATE_UNITS["gal/min"].size), rel=1e-14)
    assert quantity("1 acre", "area") == pytest.approx(float(AREA_UNITS["acre"].size), rel=1e-14)


def test_the_last_digit_is_worth_what_the_docstring_says():
    for units, most in ((VOLUME_UNITS, 13), (RATE_UNITS, 4), (AREA_UNITS, 10)):
        for unit in units.values():
            assert unit.size / 10**unit.decimals <= most, unit.key


def test_amounts_have_their_decimals_and_a_dash_where_there_is_none():
    assert amount(Decimal("1234.50")) == "1\u202f234.50"
    assert amount(Decimal("-0.00")) == "0.00"
    assert amount(None) == "–"
    assert VOLUME_UNITS["m^3"].text(2345.0) == "2.35\u00a0m³"  # half goes up
    assert VOLUME_UNITS["m^3"].text(2345.0, 1) == "2.3\u00a0m³"


def test_a_factor_without_end_is_not_called_exact():
    """A size has a last decimal where its denominator has no prime factors but 2 and 5."""
    assert "exact fraction" in VOLUME_UNITS["acre-foot-survey"].factor_text("L")
    assert VOLUME_UNITS["ML"].factor_text("L") == "1 ML = 1000000\u00a0L exactly"
    assert VOLUME_UNITS["gal"].factor_text("L") == "1 US gal = 3.785411784\u00a0L exactly"
