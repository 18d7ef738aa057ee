"""The shared ground of the pages: a DataFrame as a table, sections in their order, what is empty left out."""

from __future__ import annotations

import datetime as dt
import math
import re

import pandas as pd
import pytest

from panbudget import replay
from panbudget.errors import CONTROLS
from panbudget.reports.pages import Report, Section, labelled, page, section, table_of, whole_options
from panbudget.reports.writing import as_page


def test_a_table_takes_labels_units_and_formats_from_its_attrs():
    frame = pd.DataFrame({"bed": ["a", "b"], "litres": [1234.4, math.nan], "share": [0.5, None]})
    frame.attrs = {
        "labels": {"litres": "water"},
        "units": {"litres": "L"},
        "formats": {"litres": 1, "share": "percent"},
    }
    table = table_of(frame)
    assert table.headings == ("bed", "water [L]", "share")
    assert [[re.sub(r"\s", " ", cell) for cell in row] for row in table.rows] == [
        ["a", "1 234.4", "50 %"],
        ["b", "–", "–"],
    ]


def test_a_cell_says_days_truth_and_nothing_in_its_own_way():
    rows = [{"a": dt.date(2025, 7, 3), "b": True, "c": None, "d": 0.26, "left out": 1}]
    frame = labelled(rows, {"d": ["share", 1], "a": "day", "b": "b", "c": "c"})
    assert table_of(frame).headings == ("share", "day", "b", "c")
    assert table_of(frame).rows == (("0.3", "2025\u201107\u201103", "yes", "–"),)


def test_a_grouped_name_is_not_repeated_in_the_row_below():
    frame = labelled([{"a": "x"}, {"a": "x"}, {"a": "y"}, {"a": "x"}], grouped=True)
    assert [row[0] for row in table_of(frame).rows] == ["x", "", "y", "x"]


def test_an_empty_section_is_left_out_and_a_table_without_rows_may_say_so():
    def shown(*sections):
        return page(Report("t", "w", sections, method=False))

    assert "Heading" not in shown(Section("Heading", table=labelled([], {"a": "a"})))
    assert "Heading" not in shown(Section("Heading", items=[]))
    assert "Heading" not in shown(Section("Heading", figures={}))
    text = shown(Section("Heading", table=labelled([], {"a": "a"}), none="Nothing."), Section("Words", text="alone"))
    assert "Nothing." in text
    assert text.index("Nothing.") < text.index("Words")


def test_a_sections_words_stand_in_its_rooms_file():
    part = section("away", "pans", table=[{"stay": "2024", "valve": "upper", "openings": 3}])
    assert part.heading == "Valves and pans"
    assert table_of(part.table).headings == ("days away in", "valve", "openings")


def test_a_result_names_its_figures(make_garden):
    from panbudget import away
    from tests.small_weather import heat_wave

    found = away(make_garden(weather=heat_wave()), dt.date(2025, 5, 8), dt.date(2025, 5, 12))
    assert found.plot()[0].get_title(loc="left") == "upper/tomatoes"
    with pytest.raises(ValueError, match="no figure 'rooms'; expected: room"):
        found.plot("rooms")


def test_a_result_writes_what_its_command_writes(make_garden, tmp_path):
    from panbudget import away
    from tests.small_weather import heat_wave

    found = away(make_garden(weather=heat_wave()), dt.date(2025, 5, 8), dt.date(2025, 5, 12))
    found.write(tmp_path / "out", figures=True)
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "away.csv",
        "away.html",
        "away.json",
        "figures",
    ]
    found.write(tmp_path / "out", overwrite=True)
    assert not (tmp_path / "out" / "figures").exists()


def test_on_a_phone_a_name_that_is_not_repeated_leaves_no_label_behind(make_garden):
    """Cells are lines there, `td.name + td.name` among them: a rule that hides the empty ones must reach as far."""
    style = as_page(replay(make_garden()))
    assert re.search(r"\.wide td\.name \+ td\.name \{ display: flex", style)
    assert ".wide td.name + td.name:empty { display: none; }" in style


def test_an_option_is_not_cut_by_the_end_of_a_line_and_what_else_stands_there_is_text():
    assert whole_options("fit <log> --out a-b --x") == (
        'fit &lt;log&gt; <span class="option">--out</span> a-b <span class="option">--x</span>'
    )
    assert whole_options("well--known & --") == "well--known &amp; --"
    assert whole_options("run `fit <log>`, then") == "run <code>fit &lt;log&gt;</code>, then"


def test_a_key_in_a_finding_stands_as_code(make_garden):
    """Backticks were printed as they are."""
    late = {"controller": {"upper": {"bed": {"tomatoes": {"planted": dt.date(2023, 5, 10)}}}}}
    page = as_page(replay(make_garden(late)))
    assert "Look at the year of <code>planted</code> and at the stages" in page
    assert "`" not in re.sub(r"<(style|svg|script).*?</\1>", "", page, flags=re.DOTALL)


def test_letters_that_nobody_sees_are_written_out_on_a_page(make_garden, tmp_path):
    """A file's name may hold them; a bidi mark turns round what follows on the page."""
    variant = tmp_path / "wi\u202e\u200bde\ufeff.toml"
    variant.write_text('controller.upper.pan.depth = "19 cm"\n', encoding="utf-8")
    page = as_page(replay(make_garden(), variants=[str(variant)]))
    assert "wi\\u202e\\u200bde\\ufeff.toml" in page
    assert not CONTROLS.search(page)
