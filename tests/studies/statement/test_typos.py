"""Readings that can't be: the row that is wrong is named and not the next, and the likelier cure comes first."""

from __future__ import annotations

import pytest

from panbudget.errors import ReadingsError
from panbudget.scenario.rights import Meter
from panbudget.studies.statement.meter import read_readings

HEAD = "date,reading,unit,event\n"
DAYS = ("05-01", "06-01", "07-01", "08-01", "09-01")
# all valves open pass 65 L/h: 48 m³ in a month of 31 days; 400 L/h where a figure is to be possible
CASES = {
    "an extra zero": ([100, 1090, 118, 127], 65, 3, "impossible", '"109 m3" would do'),
    "an extra zero in the last reading": ([100, 109, 1180], 65, 4, "impossible", '"118 m3" would do'),
    "an extra zero that valves could have passed": ([0, 9, 180, 27, 36], 400, 4, "comes after it", '"18 m3" would do'),
    "the same, with nothing after the next": ([0, 90, 18], 400, 3, "comes after it", '"9 m3" would do'),
    "an extra zero in the first": ([1000, 109, 118], 65, 2, "comes after it", '"100 m3" would do'),
    "a digit too few": ([100, 109, 11, 127], 65, 4, "is below that of 2025-06-01", '"110 m3" would do'),
    "a digit too few, and what follows fits either": ([0, 45, 9, 135], 400, 4, "is below", "a digit"),
    "swapped rows": ([100, 118, 109, 127], 65, 4, "is below", "its number and that of 2025-06-01 may be swapped"),
    "another unit": ([100, 109, 118000, 127], 65, 4, "impossible", 'the unit may be wrong: "118000 L" would do'),
    "one unit for all": ([0, 450, 900, 1400], 65, 3, "impossible", 'the unit of all readings may be wrong: "L"'),
    "a counter that began again": ([9990, 9999, 8, 17], 65, 4, "is below", 'write "rollover at 10000"'),
    "a counter that began again nine tenths up": (
        [8991, 9000, 8, 17],
        1400,
        4,
        "is below",
        'write "rollover at 10000"',
    ),
    "a counter of three digits that began again": ([980, 989, 8, 17], 65, 4, "is below", 'write "rollover at 1000"'),
    "another meter a little less than nine tenths up": (
        [8980, 8989, 8, 17],
        1400,
        4,
        "is below",
        "if the counter passed",
    ),
    "another meter of two digits": ([90, 98, 8, 17], 65, 4, "is below", "if the counter passed"),
    "another meter": ([1234, 1240, 3, 12, 20], 65, 4, "is below", "if the counter passed its last digit"),
}


def read(folder, text, **more):
    (folder / "meter.csv").write_text(text, encoding="utf-8")
    return read_readings(folder / "meter.csv", ["spring"], shown_as="meter.csv", **more)


@pytest.mark.parametrize("case", CASES)
def test_the_wrong_row_alone_is_named_with_its_likelier_cure_first(tmp_path, case):
    numbers, most, line, found, cure = CASES[case]
    rows = [f"2025-{day},{number},m3," for day, number in zip(DAYS, numbers, strict=False)]
    with pytest.raises(ReadingsError) as caught:
        read(tmp_path, HEAD + "\n".join(rows) + "\n", most={"spring": most})
    (problem,) = caught.value.problems
    assert problem.where == f"line {line}:"
    assert found in problem.found
    assert problem.cure.startswith(cure) or cure in problem.cure.split(";")[0]


def test_a_unit_that_one_row_alone_has_is_likelier_than_a_digit(tmp_path):
    rows = "2025-05-01,100,m3,\n2025-06-01,109,m3,\n2025-07-01,118,gal,\n2025-08-01,127,m3,\n"
    with pytest.raises(ReadingsError) as caught:
        read(tmp_path, HEAD + rows, most={"spring": 65.0})
    assert caught.value.problems[0].cure.startswith('the unit may be wrong: "118 m3" would do')


def test_a_reading_beyond_any_garden_in_other_units_is_refused_and_nothing_else(tmp_path):
    """1e9 m³ is the most that a volume may be; in acre feet it is more."""
    rows = "2025-05-01,100,m3,\n2025-06-01,109,m3,\n2025-07-01,1e9,m3,\n"
    with pytest.raises(ReadingsError, match="line 4: .*is impossible"):
        read(tmp_path, HEAD + rows, most={"spring": 65.0})


@pytest.mark.parametrize(("litres", "possible"), [(1020.0, True), (1020.01, False)])
def test_what_all_open_valves_pass_day_and_night_is_the_most_with_the_meters_accuracy(tmp_path, litres, possible):
    """100 L/h for ten hours, and 2 % more: 1020 L. The hours are given, so nothing is added to them."""
    text = f"date,reading,unit\n2025-05-01 08:00,0,L\n2025-05-01 18:00,{litres},L\n"
    if possible:
        assert read(tmp_path, text, most={"spring": 100.0}).by_supply["spring"][0].litres == litres
        return
    with pytest.raises(ReadingsError, match="impossible: it would be 1\u202f020\u00a0L since"):
        read(tmp_path, text, most={"spring": 100.0})


def test_a_reading_without_a_time_of_day_has_a_day_more(tmp_path):
    """From some hour of one day to some hour of the next: 48 hours at most."""
    text = "date,reading,unit\n2025-05-01,0,L\n2025-05-02,{},L\n"
    assert read(tmp_path, text.format(4800), most={"spring": 100.0})
    with pytest.raises(ReadingsError, match="impossible"):
        read(tmp_path, text.format(4897), most={"spring": 100.0})


def test_a_counter_is_multiplied_as_its_meter_says(tmp_path):
    text = HEAD + "2025-05-01,990,L,\n2025-06-01,8,L,rollover at 1000\n"
    found = read(tmp_path, text, meters={"spring": Meter(multiplier=10.0)})
    assert found.by_supply["spring"][0].litres == pytest.approx(180.0)
    assert [reading.text for reading in found.taken["spring"]] == ["990 L", "8 L"]
