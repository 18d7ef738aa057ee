"""Rounding: whatever the parts, they add up to their total as printed, and none is off by a whole digit."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.studies.statement.rounding import rounded, rounded_parts

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
