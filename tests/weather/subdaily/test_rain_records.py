"""
What a rain column counts, at the bounds of the rules that tell: common practice, no source, unless said otherwise.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.weather.subdaily.rain_records import rain_amounts

HOUR = 3600


def found(level, *, kind="unknown", step=HOUR, seconds=None):
    level = np.asarray(level, float)
    at = np.arange(1, len(level) + 1) * step if seconds is None else np.asarray(seconds)
    return rain_amounts(level, at, kind=kind, step=float(step), header="Rain")


def codes(*arguments, **options):
    return [problem.code for problem in found(*arguments, **options).problems]


def counter(rises, falls, *, records=400):
    """A counter that gains 1 mm at each of some records, and falls to 0 elsewhere than at midnight at some others."""
    level, value = [], 0.0
    rise_at = {5 + 3 * n for n in range(rises)}
    fall_at = {10 + 24 * n for n in range(falls)}  # hour 11 of a day
    for record in range(records):
        value = 0.0 if record in fall_at else value + 1.0 if record in rise_at else value
        level.append(value)
    return level


def test_a_column_whose_rises_are_followed_by_falls_a_quarter_of_the_time_is_of_intervals():
    rises, quarter = 12, 3
    assert found(counter(rises, quarter)).kind == "interval"
    assert codes(counter(rises, quarter - 1)) == ["rain-kind-unknown"]


def test_a_counter_may_slip_at_one_rise_in_fifty():
    assert found(counter(100, 2)).kind == "total"
    assert codes(counter(99, 2)) == ["rain-kind-unknown"]


@pytest.mark.parametrize(("rises", "kind"), [(3, "total"), (2, "unknown")])
def test_three_rises_make_a_counter_by_its_looks(rises, kind):
    assert found(counter(rises, 0)).kind == kind


@pytest.mark.parametrize(
    ("resets", "carried", "kind"), [(8, 2, "daily"), (7, 2, "unknown"), (2, 8, "total"), (2, 7, "unknown")]
)
def test_a_daily_counter_falls_at_four_midnights_of_five_and_a_total_one_at_one_of_five(resets, carried, kind):
    """Each day's second hour gains 1 mm; at the first record after midnight the level falls to 0, or is carried."""
    level, value = [], 0.0
    for day in range(resets + carried + 1):
        for hour in range(24):
            if hour == 0 and 0 < day <= resets:
                value = 0.0
            if hour == 1:
                value += 1.0
            level.append(value)
    assert found(level, seconds=np.arange(len(level)) * HOUR + 1800).kind == kind


def test_a_level_that_stands_still_is_a_total():
    assert found([523.4] * 50).kind == "total"
    assert found([523.4] * 49 + [523.4 + 9e-7]).kind == "total"


@pytest.mark.parametrize(("minutes", "expected"), [(90, []), (91, ["rain-kind"])])
def test_a_reset_shows_within_ninety_minutes_after_midnight(minutes, expected):
    """Records every minute for ten days; 1 mm at noon, back to 0 some minutes after midnight."""
    minute = np.arange(1, 10 * 1440 + 1)
    of_day = minute % 1440
    level = np.where((of_day >= 720) | (of_day < minutes), 1.0, 0.0)
    level[: minutes + 1] = 0.0
    assert codes(level, kind="daily", seconds=minute * 60, step=60) == expected


@pytest.mark.parametrize(("rises", "expected"), [(6, ["rain-kind"]), (5, [])])
def test_six_rises_contradict_a_header_of_intervals(rises, expected):
    assert codes(counter(rises, 0), kind="interval") == expected


@pytest.mark.parametrize(("falls", "expected"), [(2, []), (3, ["rain-kind"])])
def test_three_falls_contradict_a_header_of_a_daily_counter(falls, expected):
    assert codes(counter(40, falls), kind="daily") == expected


def test_falls_at_one_rise_in_fifty_contradict_no_header():
    assert codes(counter(150, 3, records=500), kind="daily") == []
    assert codes(counter(149, 3, records=500), kind="daily") == ["rain-kind"]


@pytest.mark.parametrize(("days", "expected"), [(16, []), (14, ["rain-kind"])])
def test_a_growing_counter_may_be_emptied_every_fifth_day(days, expected):
    """Three falls on 15 midnights or more, at 40 rises."""
    assert codes(counter(40, 3, records=days * 24), kind="total") == expected


@pytest.mark.parametrize(("length", "slips"), [(1, True), (3, True), (4, False)])
def test_a_counter_may_fall_out_for_three_records(length, slips):
    level = np.arange(100.0, 160.0)
    level[30 : 30 + length] = 0.0
    result = found(level, kind="total")
    assert any("came back within 3 records on 1 occasion" in note for note in result.notes) is slips
    if slips:
        assert result.amounts.sum() == pytest.approx(59.0)
    else:
        assert [problem.code for problem in result.problems] == ["rain-leap"]


@pytest.mark.parametrize(("gain", "expected"), [(20.0, []), (20.1, ["rain-leap"])])
def test_a_leap_back_of_more_than_20_mm_is_no_rain(gain, expected):
    level = [gain] * 30 + [0.0] * 30 + [gain] * 30
    assert codes(level, kind="total") == expected


def test_a_leap_is_one_from_below_half_of_the_highest_level_to_it():
    assert codes([100.0] * 30 + [50.0] * 30 + [100.0] * 30, kind="total") == []
    assert codes([100.0] * 30 + [49.9] * 30 + [100.0] * 30, kind="total") == ["rain-leap"]
    assert codes([100.0] * 30 + [10.0] * 30 + [99.9] * 30, kind="total") == []


@pytest.mark.parametrize(("hours", "said"), [(6, False), (7, True)])
def test_rain_over_a_break_of_more_than_six_hours_is_said(hours, said):
    seconds = np.concatenate([np.arange(30), 29 + hours + np.arange(30)]) * HOUR
    level = np.arange(100.0, 160.0)
    notes = found(level, kind="total", seconds=seconds).notes
    assert any("1 mm of the counter fell in breaks of more than 6 h (1 of them)" in note for note in notes) is said


def test_a_break_in_which_the_counter_gained_nothing_is_not_said():
    seconds = np.concatenate([np.arange(30), 36 + np.arange(30)]) * HOUR
    level = np.concatenate([np.arange(100.0, 130.0), np.arange(129.0, 159.0)])
    assert not any("in breaks" in note for note in found(level, kind="total", seconds=seconds).notes)


def test_records_three_hours_apart_have_no_break_of_nine():
    """A break is also longer than three of the table's steps."""
    for apart, said in ((9, False), (10, True)):
        seconds = np.concatenate([np.arange(30) * 3, 87 + apart + np.arange(30) * 3]) * HOUR
        notes = found(np.arange(100.0, 160.0), kind="total", seconds=seconds, step=3 * HOUR).notes
        assert any("in breaks" in note for note in notes) is said


@pytest.mark.parametrize(("mm", "expected"), [(305.0, []), (305.1, ["rain-too-much"])])
def test_305_mm_in_an_hour_is_the_most_ever_measured(mm, expected):
    """World Meteorological Organization's list of extremes, from memory: 305 mm in 42 minutes."""
    assert codes([0.0] * 200 + [mm] + [0.0] * 200, kind="interval") == expected


def test_more_hours_may_bring_more():
    seconds = np.concatenate([np.arange(200), 201 + np.arange(200)]) * HOUR
    level = [0.0] * 200 + [610.0] + [0.0] * 199
    assert codes(level, kind="interval", seconds=seconds) == []
    level[200] = 610.1
    assert codes(level, kind="interval", seconds=seconds) == ["rain-too-much"]


@pytest.mark.parametrize(("records", "expected"), [(100, []), (101, ["rain-too-much"])])
def test_a_fault_is_on_fewer_than_one_record_in_a_hundred(records, expected):
    assert codes([0.0] * (records - 1) + [400.0], kind="interval") == expected
