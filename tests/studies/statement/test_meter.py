"""Meter readings: what they count, what they refuse, and how they fall on days."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.errors import ReadingsError
from panbudget.studies.statement.meter import Between, metered_days, read_readings

HEAD = "date,reading,unit,event\n"


@pytest.fixture
def read(tmp_path):
    def reader(text, supplies=("spring",), **more):
        path = tmp_path / "meter.csv"
        path.write_text(text, encoding="utf-8")
        return read_readings(path, supplies, shown_as="meter.csv", **more)

    return reader


def test_litres_lie_between_readings_in_any_unit(read):
    found = read("date,reading,unit\n2025-05-01,100,m^3\n2025-06-01,103.5,m^3\n2025-07-01 18:30,105000,L\n")
    first, second = found.by_supply["spring"]
    assert first.litres == pytest.approx(3500.0)
    assert second.litres == pytest.approx(1500.0)
    assert second.end == dt.datetime(2025, 7, 1, 18, 30)
    assert len(found.sha256) == 64


@pytest.mark.parametrize(
    ("header", "litres"),
    [
        ("reading (gal)", 3.785411784),
        ("Reading [m3]", 1000.0),
        ("reading_L", 1.0),
        ("READING (ML)", 1e6),
        ("reading ( HCF )", 2831.6846592),
        ("reading (gal),unit", 3.785411784),
    ],
)
def test_a_unit_in_the_header_is_every_row_s(read, header, litres):
    """NIST Handbook 44 (2024), appendix C: a US gallon is 231 in³, a cubic foot 28.316846592 L; ML is no mL."""
    more = "," * header.endswith(",unit")
    found = read(f"date,{header}\n2025-05-01,100{more}\n2025-06-01,103{more}\n")
    assert [part.litres for part in found.by_supply["spring"]] == pytest.approx([3.0 * litres])


def test_semicolons_decimal_commas_comments_and_the_end_of_a_day_are_read(read):
    found = read("# mine\ndate;reading;unit\n2025-05-01;1,5;m^3\n2025-05-31 24:00;2,75;m^3\n")
    (only,) = found.by_supply["spring"]
    assert only.litres == pytest.approx(1250.0)
    assert only.end == dt.datetime(2025, 6, 1)


def test_a_rollover_before_the_first_reading_is_said_to_count_for_nothing(read):
    assert (
        "2025-05-01, counts for nothing" in read(HEAD + "2025-05-01,9,L,rollover at 10\n2025-06-01,12,L,\n").events[0]
    )


def test_a_rollover_and_a_replacement_are_counted_and_said(read):
    """9 990 to 10 000 and on to 8.2: 18.2; a new meter at 0.2 read at 9.0: 8.8."""
    found = read(
        HEAD + "2025-05-01,9990,m^3,\n2025-06-01,8.2,m^3,rollover at 10000\n2025-06-20,10,m^3,removed\n"
        "2025-06-20,0.2,m^3,installed\n2025-07-01,9,m^3,\n"
    )
    assert [b.litres for b in found.by_supply["spring"]] == pytest.approx([18200.0, 1800.0, 8800.0])
    assert len(found.events) == 2
    assert "passed its last digit" in found.events[0]
    assert "installed on 2025-06-20" in found.events[1]


@given(st.lists(st.integers(0, 999), min_size=2, max_size=20), st.integers(0, 999))
def test_a_counter_that_rolls_over_counts_what_passed(tmp_path_factory, amounts, begin):
    """Any amounts below a full round, on a counter of three digits: their sum comes out."""
    lines, at = [f"2025-01-01,{begin},L,"], begin
    for index, amount in enumerate(amounts):
        after = (at + amount) % 1000
        day = dt.date(2025, 1, 2) + dt.timedelta(days=index)
        lines.append(f"{day},{after},L,{'rollover at 1000' if after < at else ''}")
        at = after
    path = tmp_path_factory.mktemp("meter") / "meter.csv"
    path.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    counted = read_readings(path, ["spring"]).by_supply["spring"]
    assert sum(between.litres for between in counted) == pytest.approx(sum(amounts))


BAD = {
    "a counter that goes down": (
        HEAD + "2025-05-01,9,L,\n2025-06-01,8,L,\n",
        ["line 3", "below", "rollover at", "removed"],
    ),
    "a rollover without its number": (
        HEAD + "2025-05-01,9,L,\n2025-06-01,8,L,rollover\n",
        ["line 3", "rollover at 10000"],
    ),
    "a first rollover without a number": (HEAD + "2025-05-01,9,L,rollover at 9**9\n", ["line 2", "rollover at 10000"]),
    "a first rollover at its reading": (HEAD + "2025-05-01,9,L,rollover at 9\n", ["line 2", "above"]),
    "a rollover below the reading": (HEAD + "2025-05-01,9,L,\n2025-06-01,8,L,rollover at 5\n", ["line 3", "above"]),
    "a rollover that went up": (HEAD + "2025-05-01,9,L,\n2025-06-01,10,L,rollover at 99\n", ["line 3", "not below"]),
    "an installation from nowhere": (HEAD + "2025-05-01,9,L,\n2025-06-01,0,L,installed\n", ["line 3", "removed"]),
    "a reading after a removal": (HEAD + "2025-05-01,9,L,removed\n2025-06-01,10,L,\n", ["line 3", "installed"]),
    "an unknown event": (HEAD + "2025-05-01,9,L,\n2025-06-01,10,L,broken\n", ["line 3", "broken", "installed"]),
    "dates out of order": (HEAD + "2025-06-01,9,L,\n2025-05-01,10,L,\n", ["line 3", "order of time"]),
    "a date that is none": (HEAD + "2025-02-30,9,L,\n2025-05-01,10,L,\n", ["line 2", "2025-02-30"]),
    "an hour that is none": (HEAD + "2025-02-03 25:00,9,L,\n2025-05-01,10,L,\n", ["line 2", "25:00"]),
    "a word for a number": (HEAD + "2025-05-01,full,L,\n2025-06-01,10,L,\n", ["line 2", "full"]),
    "a wrong unit": (HEAD + "2025-05-01,9,kg,\n2025-06-01,10,L,\n", ["line 2", "expected: a volume"]),
    "a reading below zero": (HEAD + "2025-05-01,-9,L,\n2025-06-01,10,L,\n", ["line 2", "below zero"]),
    "one reading": (HEAD + "2025-05-01,9,L,\n", ["two at least"]),
    "no reading": (HEAD, ["no reading"]),
    "nothing": ("", ["is empty"]),
    "no header": ("2025-05-01,9,L\n", ["no column date"]),
    "another word in the header": (
        "date,meter (gal)\n2025-05-01,9\n",
        ["no column reading, unit", "such as date,reading,unit is"],
    ),
    "no unit": ("date,reading\n2025-05-01,9\n", ["no column unit", "such as date,reading,unit is"]),
    "a wrong unit in the header": ("date,reading (kg)\n2025-05-01,9\n", ["line 2", '"9 kg"', "expected: a volume"]),
    "units apart": ("date,reading (gal),unit\n2025-05-01,9,gal\n2025-06-01,9,L\n", ["line 3", "the header says gal"]),
    "a misspelt column": (
        "date,reading,unit,evnt\n2025-05-01,9,L,\n2025-06-01,9,L,\n",
        ["evnt", 'did you mean "event"'],
    ),
    "a row too short": ("date,reading,unit\n2025-05-01,9\n2025-06-01,9,L\n", ["line 2", "2 cells"]),
    "a supply unknown": ("date,reading,unit,supply\n2025-05-01,9,L,sprung\n", ["line 2", 'did you mean "spring"']),
}


@pytest.mark.parametrize("name", BAD)
def test_what_can_not_be_true_is_told_by_its_line(read, name):
    text, words = BAD[name]
    with pytest.raises(ReadingsError) as caught:
        read(text)
    for word in words:
        assert word in str(caught.value)
    assert all(line.startswith("meter.csv: ") for line in str(caught.value).splitlines())


def test_all_that_is_wrong_comes_out_at_once(read):
    with pytest.raises(ReadingsError) as caught:
        read(HEAD + "2025-05-01,9,L,\nyesterday,9,L,\n2025-06-01,8,L,\n2025-07-01,8,kg,\n")
    assert len(caught.value.problems) == 3


def test_a_row_that_can_not_be_read_is_not_missed_as_well(read):
    """Two rows, one in kilograms: one line, and none that says there is one reading only."""
    with pytest.raises(ReadingsError) as caught:
        read("date,reading,unit\n2025-05-01,9,kg\n2025-06-01,10,L\n2025-07-01,,L\n")
    assert [problem.where for problem in caught.value.problems if problem.code == "no-volume"] == ["line 2:", "line 4:"]
    assert 'reading "9 kg"' in str(caught.value) and "expected: a volume" in str(caught.value)
    assert 'reading "L" does not begin with a number' in str(caught.value)


def test_several_supplies_need_a_column_and_a_name(read):
    with pytest.raises(ReadingsError, match="needs a column supply"):
        read("date,reading,unit\n2025-05-01,9,L\n", ("spring", "tap"))
    with pytest.raises(ReadingsError, match='supply "" is not in the scenario'):
        read("date,reading,unit,supply\n2025-05-01,9,L,\n2025-05-02,9,L,tap\n", ("spring", "tap"))
    found = read("date,reading,unit\n2025-05-01,9,L\n2025-05-02,10,L\n", ("spring", "tap"), default="tap")
    assert list(found.by_supply) == ["tap"]


def test_a_file_that_is_not_there_or_no_text_is_told(tmp_path):
    with pytest.raises(ReadingsError, match="no such file"):
        read_readings(tmp_path / "none.csv", ["spring"])
    with pytest.raises(ReadingsError, match="can't be read"):
        read_readings(tmp_path, ["spring"])
    (tmp_path / "x.csv").write_bytes(b"\xff\xfe\x00\x80")
    with pytest.raises(ReadingsError, match="UTF-8"):
        read_readings(tmp_path / "x.csv", ["spring"])


FIRST = dt.date(2025, 5, 1)


def between(start, end, litres):
    origin = dt.datetime(2025, 5, 1)
    return Between(origin + dt.timedelta(days=start), origin + dt.timedelta(days=end), litres)


def test_a_stretch_is_spread_as_the_model_has_it():
    """Days of 1, 3, 0 and 4 litres by the model, 16 by the meter: twice each."""
    litres, covered, split = metered_days([between(0, 4, 16.0)], FIRST, np.array([1.0, 3.0, 0.0, 4.0]))
    assert litres.tolist() == [2.0, 6.0, 0.0, 8.0]
    assert covered.tolist() == [1.0] * 4
    assert split == 0


def test_a_stretch_without_modelled_water_or_beyond_the_season_is_spread_evenly():
    litres, covered, _ = metered_days([between(0, 2, 6.0)], FIRST, np.array([0.0, 0.0, 5.0]))
    assert litres.tolist() == [3.0, 3.0, 0.0]
    assert covered.tolist() == [1.0, 1.0, 0.0]
    litres, covered, split = metered_days([between(-2, 2, 8.0)], FIRST, np.array([1.0, 9.0, 5.0]))
    assert litres.tolist() == [2.0, 2.0, 0.0]  # two of its four days
    assert split == 1


def test_part_of_a_day_is_part_of_it():
    litres, covered, _ = metered_days([between(0.5, 1.5, 3.0)], FIRST, np.array([2.0, 4.0]))
    assert litres.tolist() == [1.0, 2.0]
    assert covered.tolist() == [0.5, 0.5]
    assert metered_days([between(9, 12, 3.0)], FIRST, np.array([2.0, 4.0]))[0].tolist() == [0.0, 0.0]


@given(
    st.lists(st.just(0.0) | st.floats(1e-6, 500.0), min_size=1, max_size=70),
    st.lists(st.floats(0.01, 30.0), min_size=1, max_size=6),
)
def test_whole_stretches_keep_what_the_meter_says(modelled, lengths):
    """Whatever the model, what falls within the season adds up."""
    at, stretches = 0.0, []
    for index, length in enumerate(lengths):
        if at + length > len(modelled):
            break
        stretches.append(between(at, at + length, 10.0 * (index + 1)))
        at += length
    litres, covered, _ = metered_days(stretches, FIRST, np.array(modelled))
    assert litres.sum() == pytest.approx(sum(s.litres for s in stretches), abs=1e-6)
    assert (litres >= 0.0).all()
    assert covered.max() <= 1.0 + 1e-9


@pytest.mark.parametrize(
    ("start", "end", "split"),
    [
        (0, 31, 0),  # to the first moment of June: all of it is May's
        (0, 31 + 1 / 86400, 1),  # and one second of June
        (30.5, 31, 0),
        (31, 61, 0),
        (-1 / 86400, 5, 1),  # from the last second of April
        (0, 366, 1),  # to the same month of another year
    ],
)
def test_a_stretch_is_split_when_a_month_ends_within_it_and_not_with_it(start, end, split):
    assert metered_days([between(start, end, 1.0)], FIRST, np.ones(61))[2] == split


def test_a_stretch_that_ends_after_the_season_is_spread_evenly_and_one_that_ends_with_it_as_modelled():
    """8 L over the two days and two beyond: 2 L a day; over the two days alone, 1 and 3 parts of it."""
    modelled = np.array([1.0, 3.0])
    assert metered_days([between(0, 4, 8.0)], FIRST, modelled)[0].tolist() == [2.0, 2.0]
    assert metered_days([between(0, 2, 8.0)], FIRST, modelled)[0].tolist() == [2.0, 6.0]


@pytest.mark.parametrize(
    ("rows", "litres"),
    [
        ("2025-05-01,9,L,\n2025-06-01,9,L,\n", [0.0]),  # a counter may stand still
        ("2025-05-01,0,L,\n2025-06-01,0,L,removed\n2025-06-01,7,L,installed\n2025-07-01,8,L,\n", [0.0, 1.0]),
        ("2025-05-01,9,L,\n2025-06-01,0,L,rollover at 10\n", [1.0]),
        ("2025-05-01,9,L,\n2025-06-01,8,L,rollover at 9\n", ["a rollover needs the number"]),
        ("2025-05-01,9,L,\n2025-06-01,9,L,rollover at 10\n", ["not below"]),
        ("2025-05-01,9,L,\n2025-05-01,9,L,\n", ["is the time of the reading before it too"]),
        ("2025-05-02,9,L,removed\n2025-05-01,0,L,installed\n", ["order of time"]),
    ],
)
def test_a_counter_at_the_bounds_of_its_rules(read, rows, litres):
    if all(isinstance(part, float) for part in litres):
        assert [part.litres for part in read(HEAD + rows).by_supply["spring"]] == pytest.approx(litres)
    else:
        with pytest.raises(ReadingsError) as caught:
            read(HEAD + rows)
        assert litres[0] in str(caught.value)


def test_readings_lie_five_years_apart_at_most(read):
    """1830 days from 1 January 2020 are 4 January 2025; common practice, no source."""
    rows = HEAD + "2020-01-01,100,m^3,\n2025-01-0{day},101,m^3,\n"
    assert len(read(rows.format(day=4)).by_supply["spring"]) == 1
    with pytest.raises(ReadingsError, match="is years after the reading before it"):
        read(rows.format(day=5))


@pytest.mark.parametrize(
    ("count", "said"), [(10_000, "no column date"), (10_001, "has 10,001 rows; at most 10,000 are read")]
)
def test_no_more_than_ten_thousand_readings_are_looked_at(read, count, said):
    with pytest.raises(ReadingsError, match=said):
        read("day,reading,unit\n" + "".join(f"2020-01-01,{i},m^3\n" for i in range(count)))
