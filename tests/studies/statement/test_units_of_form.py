"""Units of the form: exact, and those that NIST prints; rounded parts add up to their total, none off by a whole digit."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.studies.statement.units_of_form import (
    AREA_UNITS,
    RATE_UNITS,
    VOLUME_UNITS,
    amount,
    rounded,
    rounded_parts,
)
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
    assert RATE_UNITS["gal/h"].size == VOLUME_UNITS["gal"].size
    assert AREA_UNITS["ft^2"].size == Fraction("0.3048") ** 2 == AREA_UNITS["acre"].size / 43560


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
    # NIST SP 811, B.8: 1.233 489 E+03 m³
    endless = "1 acre-ft (survey) = 1233489.238468…\u00a0L, computed with the exact fraction"
    assert VOLUME_UNITS["acre-foot-survey"].factor_text("L") == endless
    assert VOLUME_UNITS["ML"].factor_text("L") == "1 ML = 1000000\u00a0L exactly"
    assert VOLUME_UNITS["gal"].factor_text("L") == "1 US gal = 3.785411784\u00a0L exactly"


LITRES = st.floats(0.0, 1e9, allow_nan=False).map(Fraction)
DECIMALS = st.integers(0, 6)


@given(st.lists(LITRES, max_size=24), DECIMALS)
def test_parts_add_up_to_the_rounded_total_and_none_is_off_by_a_digit(parts, decimals):
    digits = rounded_parts(parts, decimals)
    assert sum(digits) == rounded(sum(parts, Fraction(0)), decimals)
    for part, digit in zip(parts, digits, strict=True):
        assert abs(part - Fraction(digit)) < Fraction(1, 10**decimals)


@given(st.lists(st.lists(LITRES, min_size=1, max_size=12), min_size=1, max_size=3), DECIMALS)
def test_years_and_their_months_add_up_at_both_levels(years, decimals):
    totals = rounded_parts([sum(months, Fraction(0)) for months in years], decimals)
    assert sum(totals) == rounded(sum((m for months in years for m in months), Fraction(0)), decimals)
    for months, total in zip(years, totals, strict=True):
        digits = rounded_parts(months, decimals, total)
        assert sum(digits) == total
        assert all(abs(m - Fraction(d)) < Fraction(1, 10**decimals) for m, d in zip(months, digits, strict=True))


@given(LITRES, DECIMALS)
def test_a_rounded_value_is_the_nearest(value, decimals):
    assert abs(value - Fraction(rounded(value, decimals))) <= Fraction(1, 2 * 10**decimals)


@pytest.mark.parametrize(
    ("value", "decimals", "digits"),
    [
        ("0.5", 0, 1),
        ("1.5", 0, 2),
        ("2.5", 0, 3),
        ("-2.5", 0, -3),
        ("0.004999", 2, 0),
        ("0.005", 2, "0.01"),
        ("-0.015", 2, "-0.02"),
    ],
)
def test_halves_go_away_from_zero(value, decimals, digits):
    assert rounded(Fraction(value), decimals) == Decimal(digits)


def test_equal_losses_go_to_the_earlier_part():
    """Four quarters of 1: 0.25 each; one decimal: 0.3, 0.3, 0.2, 0.2."""
    assert [str(part) for part in rounded_parts([Fraction(1, 4)] * 4, 1)] == ["0.3", "0.3", "0.2", "0.2"]


def test_the_missing_digit_goes_to_the_largest_remainder_wherever_it_stands():
    """1.2, 2.3 and 0.5 add up to 4: cut off they are 1, 2 and 0; the last lost most. With 5 wanted, the next one too."""
    parts = [Fraction("1.2"), Fraction("2.3"), Fraction("0.5")]
    assert rounded_parts(parts, 0) == [1, 2, 1]
    assert rounded_parts(parts, 0, Decimal(5)) == [1, 3, 1]
    assert rounded_parts(parts, 0, Decimal(3)) == [1, 2, 0]


def test_a_part_of_nothing_stays_nothing():
    assert rounded_parts([Fraction(0), Fraction("0.6"), Fraction(0)], 0) == [0, 1, 0]
    assert rounded_parts([], 2) == []


def test_digits_are_printed_with_their_zeros():
    assert str(rounded(Fraction(1), 2)) == "1.00"
    assert rounded(Fraction(-5, 1000), 3) == Decimal("-0.005")
