"""A field log: what is read, what is refused and how it is said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from panbudget.errors import ReadingsError
from panbudget.studies.fit import log
from panbudget.studies.fit.log import read_field_log

ROWS = "2025-05-01 08:00,0,150\n2025-05-03 18:30,4,148\n2025-05-05 07:15,3,151\n"


def read(garden, text):
    path = garden.path.parent / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_field_log(path, garden, shown_as="log.csv")


def test_a_log_is_read_with_its_empty_cells(make_garden):
    text = "date;time;openings;level;opened;added;meter;notes\n"
    text += (
        "2025-05-01;08:00;0;150,5;;;1000;\n# a remark\n2025-05-03;18:30;;;yes;2;;topped up\n2025-05-05;;3;;;;1200;\n"
    )
    log = read(make_garden(), text)
    first, second, third = log.visits["upper"]
    assert (first.level, first.meter, first.hour) == (150.5, 1000.0, 8.0)
    assert (second.openings, second.opened, second.added, second.note) == (None, True, 2.0, "topped up")
    assert third.hour == 4 * 24.0 + 12.0
    assert log.assumptions == ("rows of the log with no time of day, which count as noon: 1",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty; expected: a header"),
        ("date,openings,level_mm\n", "has a header and no row"),
        ("day,openings\n" + ROWS, "the header has no column date"),
        ("date,opening,level_mm\n" + ROWS, 'did you mean "openings"'),
        ("date,note,time\n2025-05-01,x,08:00\n2025-05-02,x,08:00\n2025-05-03,x,08:00\n", "nothing to go by"),
        ("date,openings,level_mm\n" + ROWS + "2025-05-06 08:00,2\n", "line 5 has 2 cells where the header has 3"),
        (
            "date,openings,level_mm\n" + ROWS + "2025-05-06,10001,150\n",
            "10001 is no count; expected: a whole number since",
        ),
        ("date,openings,level_mm\n" + ROWS + "6 May,2,150\n", 'line 5: date "6 May" is no date such as'),
        ("date,openings,level_mm\n" + ROWS + "２０25-05-06,2,150\n", "is no date such as 2025-06-01"),
        ("date,openings,level_mm\n" + ROWS + ROWS.splitlines()[-1] + "\n", "line 5: is the row above it once more"),
        (
            "date,openings,level_mm\n" + ROWS + "2025-05-04 08:00,2,150\n",
            "line 5: 2025-05-04 08:00 is before the row above",
        ),
        ("date,openings,level_mm\n" + ROWS + "2025-05-06 08:00,2.5,150\n", "line 5: openings = 2.5 is no count"),
        (
            "date,openings,level_mm\n" + ROWS + "2025-05-06 08:00,-2,150\n",
            'openings = "-2" is no number of zero or more',
        ),
        ("date,openings,level_mm\n" + ROWS + "2025-05-06 08:00,2,15 cm\n", 'level_mm = "15 cm" is no number'),
        (
            "date,openings,controller\n2025-05-01,1,uper\n",
            'controller "uper" is not in the scenario; did you mean "upper"',
        ),
        ("date,openings\n2025-05-01,1\n2025-05-02,1\n", "upper has 2\u00a0rows; expected: 3 visits at least"),
        (
            "date,jug_ml,jug_minutes\n2025-05-01,33,1\n",
            "has rows of a jug or of weighings alone; expected: three visits",
        ),
        (
            "date,meter_l\n2025-05-01,1200\n2025-05-02,\n2025-05-03,1200\n2025-05-04,1199.5\n",
            "line 5: meter = 1199.5 is below 1200 in line 4: was it misread",
        ),
        (
            "date,openings,level_mm\n" + ROWS + "2025-05-06 08:00,2,150\n2025-05-06 08:00,3,\n",
            "2025-05-06 08:00 stands in the row above, too, and both have openings; expected: a row a moment",
        ),
        (  # it was read as 1.52 L, and a supply that is cut was told
            'date,meter_l\n2025-05-01,980\n2025-05-02,"1,520"\n2025-05-03,2040\n',
            'meter_l = "1,520" has a comma that may be a decimal or a thousands mark; write 1520 or 1.520 instead',
        ),
        (
            "date\tmeter_l\n2025-05-01\t980\n2025-05-02\t1,520\n2025-05-03\t2040\n",
            'line 3: meter_l = "1,520" has a comma',
        ),
        ("date,openings,level_mm\n" + ROWS + "2025-05-06 08:00,2,1_50\n", 'level_mm = "1_50" is no number'),
        ("date,opened\n2025-05-01,perhaps\n2025-05-02,yes\n2025-05-03,no\n", "is neither yes nor no"),
    ],
)
def test_a_broken_log_is_told_in_one_line(text, said, make_garden):
    with pytest.raises(ReadingsError) as caught:
        read(make_garden(), text)
    assert said in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1
    assert str(caught.value).startswith("log.csv: ")


@pytest.mark.parametrize(("more", "refused"), [(0.0, False), (0.001, True)])
def test_a_meter_counts_no_more_than_five_times_what_the_open_valve_lets_through(make_garden, more, refused):
    """A slip of thousands left nothing that a fit could weigh. Two days; litres an hour by the packets."""
    garden = make_garden()
    part = garden.controller["upper"]
    flow = part.valve.refill.flow + sum(bed.emitters.count * bed.emitters.flow for bed in part.bed.values())
    text = f"date,meter_l\n2025-05-01,100\n2025-05-03,{100.0 + 5.0 * 48.0 * flow + more!r}\n2025-05-05,1e6\n"
    with pytest.raises(ReadingsError) as caught:
        read(garden, text)
    lines = [line.partition(": meter = ")[0] for line in str(caught.value).splitlines()]
    assert lines == ["log.csv: line 3", "log.csv: line 4"][not refused :]
    assert f"let through, {5.0 * 48.0 * flow:,.0f} L at most" in str(caught.value).replace("\u00a0", " ").replace(
        "\u202f", ","
    )


def test_beside_semicolons_a_comma_is_the_decimal_mark(make_garden):
    text = "date;openings;meter_l\n2025-05-01;0;999,520\n2025-05-03;4;1000,520\n2025-05-05;3;1001\n"
    assert [visit.meter for visit in read(make_garden(), text).visits["upper"]] == [999.52, 1000.52, 1001.0]


def test_all_that_is_wrong_comes_out_at_once(make_garden):
    with pytest.raises(ReadingsError) as caught:
        read(make_garden(), "date,openings,level_mm\n" + ROWS + "x,1,1\n2025-05-07,y,1\n2025-05-08,1,z\n")
    assert [line.split(":")[1].strip() for line in str(caught.value).splitlines()] == ["line 5", "line 6", "line 7"]


def test_of_a_mistake_on_each_row_a_dozen_lines_are_shown(make_garden):
    rows = "".join(f"2025-05-{day:02},a{day}\n" for day in range(1, 31))
    with pytest.raises(ReadingsError) as caught:
        read(make_garden(), f"date,level\n{rows}")
    assert len(lines := str(caught.value).splitlines()) == 12
    assert lines[-1] == "log.csv: and 19 more problems, which are shown when these are mended"


def test_a_log_that_is_not_there_or_not_text_is_told(make_garden, tmp_path):
    garden = make_garden()
    with pytest.raises(ReadingsError, match="there is no such field log"):
        read_field_log(tmp_path / "nowhere.csv", garden)
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00d")
    with pytest.raises(ReadingsError, match="not a text file in UTF-8"):
        read_field_log(tmp_path / "b.csv", garden)


def test_units_in_headers_other_dates_and_a_counter_are_read(make_garden):
    text = "Date;Level (cm);meter [m3];added_ml;counter\n"
    text += "1.5.2025;15,5;1.2;;100\n2025/05/03 18:30;15;1.3;500;104\n2025-05-05 7:15;;;;\n2025-05-06 7:15;;;;109\n"
    text += "2025-05-07 7:15;;;;115\n"
    first, second, third, fourth, fifth = read(make_garden(), text).visits["upper"]
    assert (first.level, first.meter, first.timed) == pytest.approx((155.0, 1200.0, False))
    assert (second.level, second.meter, second.added) == pytest.approx((150.0, 1300.0, 0.5))
    assert (second.openings, third.openings, fourth.openings, fifth.openings) == (
        4,
        None,
        None,
        6,
    )  # over a gap: unknown


def test_levels_most_of_which_are_deeper_than_the_pan_are_refused(make_garden):
    with pytest.raises(ReadingsError) as caught:
        read(make_garden(), "date,openings,level_mm\n" + ROWS.replace(",15", ",150"))
    assert (
        "line 2: level = 1500 mm is more than the pan's depth, 180 mm; write the water's depth, in the unit of"
        in str(caught.value)
    )


@pytest.mark.parametrize(("litres", "refused"), [(35.3, False), (35.4, True)])
def test_no_more_is_poured_into_a_pan_than_it_holds(make_garden, litres, refused):
    """50 cm across and 18 cm deep: 35.34 L."""
    text = f"date,openings,added_l\n2025-05-01,0,\n2025-05-02,3,{litres}\n2025-05-03,2,\n"
    said = "" if refused else read(make_garden(), text).assumptions
    if refused:
        with pytest.raises(ReadingsError) as caught:
            read(make_garden(), text)
        said = str(caught.value)
    assert (
        "line 3: added_l = 35.4 is more than the pan holds, 35.3 L; write litres: 300 mL are 0.3" in said
    ) is refused


@pytest.mark.parametrize(
    ("rows", "to_learn", "refused"), [(1000, True, False), (1001, True, True), (1001, False, False)]
)
def test_a_log_is_no_longer_than_a_fit_can_go_through(make_garden, rows, to_learn, refused):
    """One of 10,000 rows took minutes."""
    days = "".join(f"2025-05-{1 + k // 100:02d} {k // 60 % 24:02d}:{k % 60:02d},0\n" for k in range(rows - 2))
    garden = make_garden()
    path = garden.path.parent / "log.csv"
    path.write_text(f"date,openings\n{days}2025-05-20,1\n2025-05-21,2\n", encoding="ascii")
    said = ""
    try:
        read_field_log(path, garden, to_learn=to_learn)
    except ReadingsError as error:
        said = str(error)
    assert ("has 1,001 rows; at most 1,000 are read; keep the rows of the season" in said) is refused, said


def test_one_impossible_level_in_many_is_left_out_and_said(make_garden):
    rows = "".join(f"2025-05-{day:02d} 08:00,{1510 if day == 9 else 151}\n" for day in range(1, 16))
    log = read(make_garden(), "date,level_mm\n" + rows)
    assert log.visits["upper"][8].level is None
    assert log.assumptions == ("line 10: level = 1510 mm is more than the pan's depth, 180 mm, and is left out",)


def test_a_running_total_among_openings_is_told(make_garden):
    rows = "".join(f"2025-05-{day:02d} 08:00,{3 * day}\n" for day in range(1, 16))
    with pytest.raises(ReadingsError, match="they look like a running total; call the column counter"):
        read(make_garden(), "date,openings\n" + rows)


def test_a_unit_of_another_kind_in_a_header_is_told(make_garden):
    with pytest.raises(ReadingsError, match=r"column level \(kg\): .* is a weight"):
        read(make_garden(), "date,level (kg)\n" + "2025-05-01,1\n2025-05-02,1\n2025-05-03,1\n")


def test_a_counter_with_gaps_counts_only_between_neighbours(make_garden):
    """Openings are those since the row before, and what lies over a gap is not known."""
    rows = "2025-05-01,10\n2025-05-02,\n2025-05-03,15\n2025-05-04,17\n"
    log = read(make_garden(), "date,counter\n" + rows)
    assert [visit.openings for visit in log.visits["upper"]] == [None, None, None, 2]
    with pytest.raises(ReadingsError, match="line 3: counter = 15.5 is no whole number"):
        read(make_garden(), "date,counter\n2025-05-01,10\n2025-05-02,15.5\n2025-05-03,17\n2025-05-04,18\n")


def test_a_counter_that_falls_is_asked_about_and_the_cure_works(make_garden):
    rows = "2025-05-01,10\n2025-05-02,17\n2025-05-03,3\n2025-05-04,8\n2025-05-05,12\n"
    with pytest.raises(ReadingsError) as caught:
        read(make_garden(), "date,counter\n" + rows)
    assert "line 4: counter = 3 is below 17 in line 3: was it misread, or set back to zero?" in str(caught.value)
    cured = read(make_garden(), "date,counter\n" + rows.replace("03,3", "03,"))
    assert [visit.openings for visit in cured.visits["upper"]] == [None, 7, None, None, 4]


@pytest.mark.parametrize(("level", "taken"), [(180, 180.0), (181, 180.0), (183, 180.0), (183.02, None)])
def test_one_level_above_the_rim_refuses_no_log(level, taken, make_garden):
    """Brimful, a ruler shows up to 3 mm more than the depth: it counts as the rim. More is left out, and said."""
    log = read(make_garden(), f"date,openings,level_mm\n{ROWS}2025-05-06 08:00,0,{level}\n")
    assert log.visits["upper"][3].level == taken
    assert len(log.assumptions) == (taken is None)


def test_a_jug_and_two_weighings_are_read_from_any_row(make_garden):
    """700 mL in 20 minutes are 2.1 L/h; 7.42 less 6.5 kg. A row with nothing else parts no counts."""
    head = "date,openings,level_mm,jug_ml,jug_minutes,fell_at_kg,rose_at_kg\n"
    text = head + ROWS.replace("\n", ",,,,\n") + "2025-05-06 08:00,,,700,20,7.42,6.5\n2025-05-07 08:00,4,150,,,,\n"
    log = read(make_garden(), text)
    assert log.measured["upper"] == pytest.approx({"refill": 2.1, "swing": 0.92})
    assert [visit.openings for visit in log.visits["upper"]] == [0, 4, 3, 4]


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ("700,,,", "line 5: has a jug without its minutes, or minutes without a jug"),
        ("700,0,,", "line 5: has a jug without its minutes"),
        (",,7.4,", "line 5: has one weighing of two; expected: both fell_at_kg and rose_at_kg"),
        (",,6.5,7.4", "line 5: fell_at_kg = 6.5 is not above rose_at_kg = 7.4"),
        ("0.7,20,,", "line 5: the jug gives 0.0021 L/h where the scenario has 2 L/h, which is unlikely"),
        (",,7400,6500", "line 5: the weighings give 900 kg at the counterweight"),
    ],
)
def test_a_jug_or_weighings_that_can_t_be_are_told(cells, said, make_garden):
    head = "date,openings,level_mm,jug_ml,jug_minutes,fell_at_kg,rose_at_kg\n"
    with pytest.raises(ReadingsError) as caught:
        read(make_garden(), head + ROWS.replace("\n", ",,,,\n") + f"2025-05-06 08:00,2,150,{cells}\n")
    assert said in str(caught.value)


def days_of(head, *cells):
    return f"date,{head}\n" + "".join(f"2025-05-{day:02d} 08:00,{cell}\n" for day, cell in enumerate(cells, 1))


JUG = "level_mm,jug_ml,jug_minutes,fell_at_kg,rose_at_kg"


@pytest.mark.parametrize(
    ("sound", "broken", "said"),
    [
        (days_of("openings", 0, 4, 10_000), days_of("openings", 0, 4, 10_001), "openings = 10001 is no count"),
        (days_of("counter", 1, 10_001, 10_001), days_of("counter", 1, 10_002, 10_002), "counter = 10002"),
        # a tenth of the levels
        (days_of("level_mm", 184, 184, *[150] * 18), days_of("level_mm", 184, 184, *[150] * 17), "level = 184 mm"),
        # a running total: rows, the last, and the last over the second
        (days_of("openings", *range(1, 7), 9), days_of("openings", *range(1, 7), 9, 9), "a running total"),
        (days_of("openings", 0, *range(7), 7), days_of("openings", 0, *range(7), 8), "a running total"),
        (days_of("openings", *[100] * 7, 300), days_of("openings", *[100] * 7, 301), "a running total"),
        # five times and a fifth of 2 L/h, five times 0.9 kg
        (days_of(JUG, *["150,10000,60,,"] * 3), days_of(JUG, *["150,10001,60,,"] * 3), "the jug gives 10 L/h"),
        (days_of(JUG, *["150,400,60,,"] * 3), days_of(JUG, *["150,399,60,,"] * 3), "the jug gives 0.399 L/h"),
        (days_of(JUG, *["150,,,5.5,1"] * 3), days_of(JUG, *["150,,,5.501,1"] * 3), "the weighings give 4.5 kg"),
    ],
)
def test_what_a_log_may_say_is_taken_up_to_its_bound(sound, broken, said, make_garden):
    garden = make_garden()
    assert read(garden, sound)
    with pytest.raises(ReadingsError, match=re.escape(said)):
        read(garden, broken)


@pytest.mark.parametrize(("last", "in_tub"), [(143.13, False), (143.12, True)])
def test_levels_that_fall_by_more_than_one_and_a_half_swings_are_a_tubs(last, in_tub, make_garden):
    """By hand: 1.5 · 0.9 kg over the 0.19635 m² of 50 cm across are 6.875 mm."""
    assert bool(read(make_garden(), days_of("level_mm", 150, 147, last)).tubs) is in_tub


@pytest.mark.parametrize(("ml", "taken"), [(20, True), (19.9, False)])
def test_a_clogged_refill_emitter_drips_a_hundredth_at_least(ml, taken, make_garden):
    """Of 2 L/h; a log that tells where the pan stands may have it, and no log to learn from."""
    garden, text = make_garden(), days_of(JUG, *[f"150,{ml},60,,"] * 3)
    path = garden.path.parent / "log.csv"
    path.write_text(text, encoding="utf-8")
    try:
        assert read_field_log(path, garden, to_learn=False).measured["upper"]["refill"] == pytest.approx(0.02)
    except ReadingsError:
        assert not taken
    else:
        assert taken


def test_the_guide_names_every_column_that_a_log_may_have():
    guide = (Path(__file__).parents[3] / "notebooks" / "guide" / "field.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`(\w+)`", "".join(line for line in guide.splitlines() if line[:3] == "| `")))
    assert {name.replace("jug_l", "jug_ml") for name in log._KNOWN} <= named
