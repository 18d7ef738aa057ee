"""How every page stands: picture, three sentences, what to do first, findings by their causes, the rest folded; words explained."""

from __future__ import annotations

import re

import pytest

from panbudget.reports.arranging import MOST_STEPS, arranged, causes, steps_of, words_used
from panbudget.reports.pages import Report, Section, labelled, page
from panbudget.season.result import Finding

MORE = "More emitters on this bed. Mulch helps."
SHORT = [
    Finding("note", "short", "a/peas", "Short: 2 days.", cure=MORE),
    Finding("danger", "short", "a/beans", "Short: 30 days.", first="2025-07-01", days=30, cure=MORE),
    Finding("danger", "short", "b/roses", "Short: 20 days.", cure=MORE),
]
WET = Finding("caution", "wet", "b/figs", "Too wet: 80 mm drained below the roots.", cure="Fewer emitters.")


def test_findings_of_one_cause_stand_together_and_say_once_what_to_do():
    short, wet, little = causes([WET, *SHORT])
    assert (short.severity, short.cure) == ("danger", MORE)
    assert [finding.message for finding in short.findings] == ["Short: 30 days.", "Short: 20 days."]
    assert (little.severity, little.cure, little.findings) == ("note", MORE, (SHORT[0],))  # a note stays one
    assert (wet.cure, wet.findings, WET.text) == (WET.cure, (WET,), f"{WET.message} {WET.cure}")
    other = Finding("note", "short", "c/figs", "Short: 1 day.", cure="See to the tank first.")
    assert [cause.findings[-1] for cause in causes([*SHORT, other])] == [SHORT[2], SHORT[0], other]


def test_what_to_do_first_names_the_gravest_places_and_leaves_notes_out():
    assert steps_of([WET, *SHORT]) == [f"a/beans, b/roses: {MORE}", "b/figs: Fewer emitters."]
    assert steps_of(SHORT[:1]) == []
    assert steps_of([SHORT[1], SHORT[1]]) == [f"a/beans: {MORE}"]  # a place is named once
    assert steps_of([Finding("caution", "bare", "a", "One sentence alone.")]) == ["a: One sentence alone."]
    many = [Finding("caution", f"code-{n}", "a", "It is so.", cure=f"Mend it {n}.") for n in range(MOST_STEPS + 1)]
    assert len(steps_of(many)) == MOST_STEPS == 3


def test_what_cures_several_findings_is_one_step_and_a_valve_is_named_by_its_beds():
    """An empty tank has three findings: a valve without water, its dry pan, and beds that are short."""
    codes = (("no-water", "a"), ("dry-pan", "a"), ("short", "a/figs"), ("no-water", "b"))
    found = [Finding("danger", code, where, "It is so.", cure="A larger tank.") for code, where in codes]
    found.append(Finding("caution", "spill", "a", "It is so.", cure="More freeboard."))
    assert steps_of(found) == ["a/figs, b: A larger tank.", "a: More freeboard."]


@pytest.mark.parametrize(
    ("severity", "steps"), [("danger", ["a", "a/figs", "b"]), ("caution", ["a", "a/figs", "a/peas"])]
)
def test_of_equally_grave_things_to_do_each_valve_has_its_first(severity, steps):
    """An empty tank has three findings; the other valve's beds are short, too."""
    found = [
        Finding("danger", f"code-{n}", where, "It is so.", cure=f"Mend {where}.")
        for n, where in enumerate(["a", "a/figs", "a/peas"])
    ]
    found.append(Finding(severity, "short", "b", "It is so.", cure="Mend b."))
    assert steps_of(found) == [f"{where}: Mend {where}." for where in steps]


def _page(**content):
    figures = {"first": "<svg><text>one</text></svg>", "second": "<svg><text>two</text></svg>"}
    sections = [
        Section("Numbers", table=labelled([{"bed": "a", "mm": 3}], names=1), note="under the table"),
        Section("Pictures", figures=figures, captions={"first": "The first.", "second": "The second."}),
        Section("Found", findings=[WET]),
        Section("Paste it", code="x = 1"),
    ]
    return page(
        Report("Title", "when", sections, sentences=["S1.", "S2.", "S3.", "S4."], first=["Mend it."], **content)
    )


def test_the_picture_is_first_then_three_sentences_what_to_do_and_what_was_found():
    text = _page()
    order = [
        "Title",
        ">one<",
        "S1.",
        "S3.",
        "S4.",
        "Mend it.",
        "Before you build",
        "Found",
        ">two<",
        "x = 1",
        "<dt>drained</dt>",
    ]
    places = [text.index(part) for part in [*order, "Numbers", "under the table", "Method, and where"]]
    assert places == sorted(places)
    assert text.count(">one<") == text.count(">two<") == 1
    folded = re.findall(r"<details><summary><h2>(.*?)</h2>", text)
    assert folded == ["More in words", "Numbers", "Method, and where it ends"]
    assert '<td data-of="mm">3</td>' in text  # a phone shows a row's figures one below the other, each with its heading


def test_a_figure_beside_a_table_leaves_the_table_and_a_section_of_one_figure_goes_with_it():
    table = labelled([{"bed": "a"}])
    both = arranged([Section("Both", figures={"only": "<svg/>"}, table=table)])
    assert (both.picture.figures, both.open) == ({"only": "<svg/>"}, [])
    assert [part.heading for part in both.folded[0]] == ["Both"] and both.folded[0][0].table is table
    alone = arranged([Section("Alone", figures={"only": "<svg/>"}), Section("Open", table=table, folded=False)])
    assert [[part.heading for part in block] for block in alone.open] == [["Open"]]
    assert alone.folded == []


def test_only_the_words_on_the_page_are_explained():
    def used(text):
        return [word for word, _ in words_used(f"<style>ETo</style><p>{text}</p>")]

    assert used("ETo &lt; net <b>demand</b>") == ["ETo"]
    assert used("Net demand; the trips of a reset pan") == ["net demand", "reset"]
    assert used("ETc adj &divide; 3") == ["ETc adj"]
    assert used('<svg aria-label="swing">freeboards</svg>') == []
    assert "drained" in used("Drained below the roots, on 1 day short of water")
