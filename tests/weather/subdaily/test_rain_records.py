"""
What a rain column counts, at the bounds of the rules that tell: common practice, no source, unless said otherwise.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.weather.subdaily.rain_records import rain_amounts
from tests.weather.subdaily.test_hourly import days, hours, records, refusal

HOUR = 3600


def found(level, *, kind="unknown", step=HOUR, seconds=None):
    level = np.asarray(level, float)
    at = np.arange(1, len(level) + 1) * step if seconds is None else np.asarray(seconds)
    return rain_amounts(level, at, kind=kind, step=float(step), header="Rain")


def codes(*arguments, **options):
    return [problem.code for problem in found(*arguments, **options).problems]


def counter(rises, falls, *, records=400, apart=3):
    """A counter that gains 1 mm at each of some records, and falls to 0 elsewhere than at midnight at some others."""
    level, value = [], 0.0
    rise_at = {5 + apart * n for n in range(rises)}
    fall_at = {10 + 24 * n for n in range(falls)}  # hour 11 of a day
    for record in range(records):
        value = 0.0 if record in fall_at else value + 1.0 if record in rise_at else value
        level.append(value)
    return level


def test_a_column_whose_rises_are_followed_by_falls_a_quarter_of_the_time_is_of_intervals():
    assert found(counter(36, 9, apart=6)).kind == "interval"
    assert codes(counter(37, 9, apart=6)) == ["rain-kind-unknown"]


def test_a_counter_may_slip_at_one_rise_in_fifty():
    assert found(counter(100, 2)).kind == "total"
    assert codes(counter(99, 2)) == ["rain-kind-unknown"]


def test_what_a_models_packing_leaves_below_nothing_is_no_rain():
    """Reanalyses write some hours as -6e-5 mm: common practice, no source."""
    assert found([0.0, 1.0, 0.0, -0.001, 2.0, 0.0]).amounts.tolist() == [0.0, 1.0, 0.0, 0.0, 2.0, 0.0]
    assert codes([0.0, 1.0, 0.0, -0.0011, 2.0, 0.0]) == ["rain-negative"]


@pytest.mark.parametrize(
    ("header", "share"),
    [("rain_mmday", 24), ("Rain (mm/day)", 24), ("pr [mm d-1]", 24), ("rain mm/d", 24), ("rain mm", 1), ("day mm", 1)],
)
def test_intervals_in_millimetres_a_day_are_a_rate(header, share):
    level = np.array([0.0, 24.0, 0.0, 12.0, 0.0, 6.0, 0.0])
    at = np.arange(1, 8) * HOUR
    rain = rain_amounts(level, at, kind="unknown", step=float(HOUR), header=header)
    assert rain.amounts == pytest.approx(level / share)
    assert any("a rate" in said for said in rain.notes) is (share > 1)


def test_totals_of_six_hours_fill_the_hours_before_them_and_a_lost_one_leaves_its_hours_unknown():
    level = np.full(36, np.nan)
    level[[5, 11, 17, 29, 35]] = 0.0, 3.0, 0.0, 1.0, 0.0  # none at hour 24
    amounts = found(level, kind="spans").amounts
    assert np.nansum(amounts) == 4.0
    assert np.flatnonzero(np.isnan(amounts)).tolist() == [*range(18, 29)]


@pytest.mark.parametrize(("minutes", "wrong"), [(324, []), (323, ["rain-sliding"])])
def test_totals_of_six_hours_nearer_to_each_other_slide(minutes, wrong):
    assert codes([0.0, 3.0, 1.0, 0.0], kind="spans", step=minutes * 60) == wrong


@pytest.mark.parametrize(("rises", "kind"), [(3, "total"), (2, "unknown")])
def test_three_rises_make_a_counter_by_its_looks(rises, kind):
    assert found(counter(rises, 0)).kind == kind


@pytest.mark.parametrize(
    ("resets", "carried", "kind"),
    [(8, 2, "daily"), (7, 2, "unknown"), (2, 8, "total"), (2, 7, "unknown"), (21, 83, "unknown")],
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
    assert found([523.4] * 49 + [523.4 + 9.9e-7]).kind == "total"
    assert found([523.4] * 49 + [523.4 + 1.01e-6]).kind == "unknown"


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


EVERY_HOUR = np.arange(0, 96 * 3600, 3600)


def sums(values, *, kind="unknown", seconds=EVERY_HOUR, step=3600.0):
    return found(values, kind=kind, step=step, seconds=seconds[: len(values)])


def spells(*pairs, count=96):
    """Return amounts an hour: (hour, mm) pairs, 0 elsewhere."""
    amounts = np.zeros(count)
    for hour, amount in pairs:
        amounts[hour] = amount
    return amounts


SPELLS = spells((5, 1.0), (6, 2.0), (30, 0.5), (31, 0.5), (40, 3.0), (60, 1.0), (61, 0.2), (80, 0.4))


def daily_counter(amounts):
    """Sum each day's amounts from midnight; the record at midnight closes the day before."""
    level, day = np.zeros(len(amounts)), 0.0
    for i, amount in enumerate(amounts):
        day = amount if i % 24 == 1 else day + amount
        level[i] = day
    return level


def test_interval_amounts_are_known_by_their_falls():
    found = sums(SPELLS)
    assert found.kind == "interval"
    assert np.array_equal(found.amounts, SPELLS)


def test_a_daily_counter_is_known_by_its_resets():
    found = sums(daily_counter(SPELLS))
    assert found.kind == "daily"
    assert found.amounts == pytest.approx(SPELLS)
    assert "begins again each day" in found.notes[0]


def test_a_total_counter_is_known_by_never_falling():
    found = sums(523.4 + np.cumsum(SPELLS))
    assert found.kind == "total"
    assert found.amounts == pytest.approx(SPELLS)


def test_a_counter_that_stands_still_is_no_rain():
    found = sums(np.full(96, 523.4))
    assert found.kind == "total"
    assert found.amounts.sum() == 0.0


def test_a_dry_column_is_dry_whatever_it_counts():
    assert sums(np.zeros(96)).amounts.sum() == 0.0


def test_a_total_counter_that_rolls_over_keeps_its_rain():
    """It rises by 1 mm an hour to 999 and begins again at 0: the fall gives the new level."""
    level = np.concatenate([np.arange(950.0, 1000.0), np.arange(0.0, 46.0)])
    found = sums(level, kind="total")
    assert found.amounts.sum() == pytest.approx(49.0 + 45.0)
    assert any("began again 1 time" in note for note in found.notes)


def test_a_total_counter_that_slips_to_zero_and_back_is_no_rain():
    level = 523.4 + np.cumsum(SPELLS)
    level[50:52] = 0.0
    found = sums(level, kind="total")
    assert found.amounts == pytest.approx(SPELLS)
    assert any("slip" in note for note in found.notes)


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize("kind", ["interval", "hourly", "daily", "total", "unknown"])
def test_a_few_records_are_no_trouble(kind, count):
    found = sums([0.0, 1.0, 1.0, 2.5][:count], kind=kind)
    assert len(found.amounts) == count


def test_a_total_counter_that_leaps_back_after_a_day_at_zero_is_refused():
    level = 523.4 + np.cumsum(SPELLS)
    level[50:75] = 0.0
    found = sums(level, kind="total")
    assert "leaps back" in found.problems[0].sentence()


def test_a_daily_counter_after_a_break_over_midnight_counts_from_midnight():
    """Last seen at 20 h with 5 mm; seen again at 8 h with 7 mm: all 7 fell on the new day."""
    level = daily_counter(spells((5, 5.0), (28, 7.0)))
    level[21:32] = np.nan
    found = sums(level, kind="daily")
    assert np.nansum(found.amounts[:25]) == pytest.approx(5.0)
    assert np.nansum(found.amounts[25:]) == pytest.approx(7.0)
    assert any("7 mm of the counter fell in breaks of more than 6 h (1 of them)" in note for note in found.notes)


def test_a_total_counters_rain_over_a_long_break_is_kept_and_said():
    level = 523.4 + np.cumsum(SPELLS)
    level[28:66] = np.nan
    found = sums(level, kind="total")
    assert np.nansum(found.amounts) == pytest.approx(SPELLS.sum())
    assert any("5.2 mm of the counter fell in breaks" in note for note in found.notes)


def test_a_column_that_may_be_either_is_refused_with_the_cure():
    """One rise that stays to the end: an amount of the first hour and a counter that had begun would differ."""
    found = sums([1.0] * 3 + [2.0] * 3)
    assert "may be the rain of each interval or a running counter" in found.problems[0].sentence()
    assert 'daily_rain = { column = "Rain"' in found.problems[0].sentence()


@pytest.mark.parametrize(
    ("kind", "column", "said"),
    [
        ("daily", SPELLS, "where a counter that begins again each day would not"),
        ("total", np.tile(SPELLS, 1), "where a counter that only grows would not"),
        ("interval", 523.4 + np.cumsum(SPELLS), "hardly ever falls"),
    ],
)
def test_a_header_that_says_another_thing_than_its_column_is_refused(kind, column, said):
    assert said in sums(column, kind=kind).problems[0].sentence()


def test_an_hourly_counter_in_a_ten_minute_table():
    """It begins again at the full hour; the record at the full hour closes the hour before."""
    seconds = np.arange(600, 600 * 37, 600)
    level = np.tile([0.0, 0.2, 0.2, 0.4, 0.6, 0.6], 6)
    found = sums(level, kind="hourly", seconds=seconds, step=600.0)
    assert found.problems == []
    assert found.amounts.sum() == pytest.approx(6 * 0.6)


def test_a_sliding_sum_is_refused():
    """Rain of the last hour, renewed every ten minutes, holds each drop six times."""
    seconds = np.arange(600, 600 * 145, 600)
    amounts = np.zeros(144)
    amounts[[10, 40, 43, 77, 100]] = 1.0
    sliding = np.convolve(amounts, np.ones(6))[:144]
    assert "sliding sum" in sums(sliding, kind="hourly", seconds=seconds, step=600.0).problems[0].sentence()


FALLEN = spells(*((hour, 0.2 * (1 + hour % 5)) for hour in range(13, 960, 37)), count=960)


@pytest.mark.parametrize("reset", [3, 9, 22])
@pytest.mark.parametrize(("wet", "kind"), [(26, "daily"), (10, "daily"), (9, "interval")])
def test_a_daily_counter_may_begin_again_at_another_hour(reset, wet, kind):
    """As a station's rain day begins at nine; ten falls tell."""
    amounts = np.where(np.cumsum(FALLEN > 0.0) <= wet, FALLEN, 0.0)
    level = np.zeros(960)
    for i, amount in enumerate(amounts):
        level[i] = amount + (level[i - 1] if i and i % 24 != reset else 0.0)
    at = 3600 * (np.arange(960) + 1)
    result = sums(level, seconds=at)
    assert result.kind == kind
    assert result.amounts.sum() == pytest.approx(amounts.sum()) or kind == "interval"
    assert codes(level, kind="interval") == ["rain-kind"] * (kind == "daily")


@pytest.mark.parametrize(("others", "kind"), [(10, "daily"), (9, "interval")])
def test_showers_that_begin_at_one_hour_are_no_counter(others, kind):
    """Each ends at one hour, too: two fifths of them must begin at others."""
    showers = np.zeros(1200)
    for day in range(25):
        showers[24 * day + 5 + 24 : 24 * day + 9 + 24] = 0.4
        showers[24 * day + 29 : 24 * day + 29 + (3 if day < others else 0)] = 0.0
    assert found(showers).kind == kind


@pytest.mark.parametrize(
    ("hours", "wet", "whole", "wrong"),
    [(24, 26, False, True), (3, 26, False, True), (6, 10, False, True), (6, 9, False, False), (6, 26, True, False)],
)
@pytest.mark.parametrize("kind", ["interval", "unknown"])
def test_sums_of_the_last_hours_on_each_record_are_refused(kind, hours, wet, whole, wrong):
    """From ten rises on; amounts that are spread evenly over six hours are none, nor those of one size."""
    amounts = np.where(np.cumsum(FALLEN > 0.0) <= wet, FALLEN, 0.0)
    level = np.convolve(amounts, np.ones(hours))[:960]
    level = np.repeat(amounts.reshape(-1, hours).sum(axis=1), hours) / hours if whole else level
    assert codes(level, kind=kind) == ["rain-sliding"] * wrong
    assert codes(np.minimum(level, 0.1), kind=kind) == []


def test_negative_rain_is_refused():
    assert "expected: 0 mm or more" in sums(-SPELLS).problems[0].sentence()


def test_more_rain_than_ever_fell_in_an_hour_is_refused():
    found = sums(spells((5, 400.0), (40, 1.0), count=600), kind="interval", seconds=np.arange(0, 600 * 3600, 3600))
    assert "400 mm in 1 h" in found.problems[0].sentence()


@given(st.lists(st.tuples(st.integers(1, 95), st.sampled_from([0.2, 1.0, 7.4])), max_size=30), st.floats(0.0, 900.0))
@settings(deadline=None, max_examples=25)
def test_all_kinds_of_counter_come_to_the_same_rain(pairs, before):
    """A law: whatever the gauge counts, what fell is what fell."""
    amounts = spells(*pairs)
    expected = amounts.sum()
    assert sums(daily_counter(amounts), kind="daily").amounts.sum() == pytest.approx(expected)
    total = sums(before + np.cumsum(amounts), kind="total")
    assert total.amounts.sum() == pytest.approx(expected)


def test_rain_that_is_empty_is_none_where_the_user_says_so_and_a_counters_is_not():
    """Three showers of 1 mm, all other hours empty; and a counter that stands at 7, then 8 mm, with empty hours."""
    fallen = np.full(72, np.nan)
    fallen[[5, 30, 33]] = 1.0
    for kind in ("interval", "unknown"):
        found = dataclasses.replace(
            records(hours("2025-06-01", 72), rain=fallen, rain_kind=kind), rainless_if_empty=True
        )
        raw = days(found)
        assert raw.daily["rain"].tolist() == [1.0, 2.0, 0.0]
        assert any("rain: empty in 69 records" in note for note in raw.notes)
    counter = np.repeat([7.0, 8.0, 9.0, 10.0], 18)
    counter[3:70:9] = np.nan
    found = dataclasses.replace(
        records(hours("2025-06-01", 72), rain=counter, rain_kind="unknown"), rainless_if_empty=True
    )
    assert days(found).daily["rain"].sum() == pytest.approx(3.0)


@pytest.mark.parametrize("every", [2, 120])
def test_rain_below_nothing_is_told_with_what_may_be_pasted(every):
    """-1 at every second hour, and but a few times."""
    rain = np.zeros(480)
    rain[::every] = -1.0
    message = refusal(records(hours("2025-06-01", 480), rain=rain))
    assert 'write missing = ["-1 mm"] and missing_rain = "zero" under [weather]' in message


def test_days_lost_to_gaps_do_not_lose_their_rain_silently():
    """A counter gains 10 mm on a day with half its records: the day is a gap, and the sum is said."""
    rain = np.zeros(72)
    rain[30] = 10.0
    stamps = np.delete(hours("2025-06-01", 72), np.arange(34, 46))
    raw = days(records(stamps, rain=np.delete(rain, np.arange(34, 46))))
    assert raw.daily["rain"].isna().tolist() == [False, True, False]
    assert any("10 mm fell on 1 day with under 80 %" in note for note in raw.notes)
