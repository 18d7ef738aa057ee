"""
Marks for missing values, trusted checks, and what is said of the checks that ran.

Thresholds are common practice, no source, unless a test says otherwise.
"""

from __future__ import annotations

import pytest

from panbudget.weather.checks.plausibility import TRUSTED, trust_problem
from tests.weather.checks.days import SITE, codes, inspected, one_day


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
MARKS += [99.9, 99.99, 999, 999.9, 8888, 9999, 9999.9, 32700, 32767, 99999]


def test_all_numbers_that_loggers_and_archives_write_for_a_missing_value_are_marks():
    """From memory of their guides: one problem each."""
    found = inspected(len(MARKS) + 20, wind=[*MARKS, *[2.0] * 20])
    assert [problem.value for problem in found.problems] == sorted(MARKS)
    assert found.daily["wind"].isna().sum() == len(MARKS)


def test_a_mark_in_two_columns_is_one_problem():
    (problem,) = inspected(tmin=one_day(14.0, -999.0), tmax=one_day(30.0, -999.0)).problems
    assert problem.where == "tmin, tmax"
    assert problem.found.startswith("are -999 on 2025-06-04")


def test_a_figure_that_could_be_true_is_a_mark_only_when_it_repeats_and_stands_alone():
    """Twice with no other above 0.8 of it, or rain three times as often as others near it; 99 % is a humidity."""
    assert codes(rain=one_day(0.0, 99.9)) == []
    assert codes(rain=[99.0, 99.0, 79.2, *[0.0] * 17]) == ["missing-mark"]
    assert codes(rain=[99.0, 99.0, 79.3, *[0.0] * 17]) == []
    assert codes(rain=[99.0, 99.0, 99.0, 79.3, *[0.0] * 16]) == ["missing-mark"]
    # 9.9 mm in tenths, in a long record that has every amount near it now and then
    often = [tenths for tenths in range(60, 150) if tenths != 99 for _ in range(2)]
    assert "missing-mark" not in codes(len(often) + 5, rain=[99.0] * 5 + often)
    assert "missing-mark" in codes(len(often) + 6, rain=[99.0] * 6 + often)
    assert codes(wind=[25.5, 25.5, *[2.0] * 18]) == ["missing-mark"]
    assert codes(rh_min=[99.0, 99.0, *[40.0] * 18]) == []


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


def test_names_that_can_be_trusted_are_listed():
    assert trust_problem(["wind-zero"]) is None
    problem = trust_problem(["wind-zero", "wind-nought"], where="weather")
    assert problem.sentence().startswith(
        'weather.trust names "wind-nought", which is no check; expected: some of clock, '
    )
    assert "wind-zero" in problem.expected and "tmax-range" not in TRUSTED
    assert inspected(tmax=60.0, tmin=20.0, trust=TRUSTED).problems  # what nobody can know better


def test_what_ran_is_listed_and_nothing_else():
    ran = inspected(tmin=14.0, tmax=30.0, rain=0.0, site=SITE).ran
    assert ran["tmin-range"] == ["tmin", "tmin"] and ran["rain-unit"] == ["rain"]
    assert not any(name.startswith(("wind", "radiation", "humidity", "clock")) for name in ran)
