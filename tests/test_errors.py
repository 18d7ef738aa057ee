"""Errors as data: the sentence a person reads, the file named on every line, the error in another process."""

from __future__ import annotations

import pickle

import pytest

from panbudget.errors import Problem, ScenarioError, WeatherError, did_you_mean, nearest

UNIT = Problem("wrong-unit", "valve.swing", '= "2 kPa" is a pressure', 'a weight, such as "900 g"', value="2 kPa")
EMPTY = Problem("empty-file", found="holds no row", cure="save it again")


def test_a_sentence_says_where_what_was_found_what_was_expected_and_what_to_do():
    assert UNIT.sentence() == 'valve.swing = "2 kPa" is a pressure; expected: a weight, such as "900 g"'
    assert EMPTY.sentence() == "holds no row; save it again"


def test_a_problem_is_one_line_whatever_the_file_holds():
    assert len(Problem("x", "title", '= "a\nb\r\nc" is not known').sentence().splitlines()) == 1


def test_every_line_of_an_error_opens_with_its_file():
    error = ScenarioError(UNIT, EMPTY, file="garden.toml")
    assert str(error) == error.text()
    assert [line.split(": ")[0] for line in str(error).splitlines()] == ["garden.toml"] * 2
    assert (error.key, error.value) == ("valve.swing", "2 kPa")
    assert (ScenarioError().key, ScenarioError().value) == ("", None)


@pytest.mark.parametrize(("error", "most"), [(ScenarioError, 40), (WeatherError, 12)])
def test_a_message_is_so_long_and_no_longer(error, most):
    assert len(str(error(*[EMPTY] * most)).splitlines()) == most
    lines = str(error(*[EMPTY] * (most + 1), file="g.toml")).splitlines()
    assert len(lines) == most
    assert lines[-1] == "g.toml: and 2 more problems, which are shown when these are mended"


def test_what_is_said_of_many_lines_is_said_once():
    def said(*lines, found="is empty"):
        return [Problem("empty", f"line {line}: date", found, value=line) for line in lines]

    assert ScenarioError(*said(2)).text() == "line 2: date is empty"
    assert ScenarioError(*said(2, 3, 4)).text() == "each of the lines 2 to 4: date is empty"
    assert ScenarioError(*said(2, 4, 5, 9, 11)).text() == "each of the lines 2, 4, 5, 9, 11: date is empty"
    assert (
        ScenarioError(*said(2, 4, 5, 9, 11, 12)).text() == "each of the lines 2, 4, 5, 9, 11 and 1 more: date is empty"
    )
    mixed = [*said(2), *said(3, found="is no date"), EMPTY, *said(4)]
    assert ScenarioError(*mixed, file="log.csv").text().splitlines() == [
        "log.csv: each of the lines 2, 4: date is empty",
        "log.csv: line 3: date is no date",
        f"log.csv: {EMPTY.sentence()}",
    ]
    assert len(ScenarioError(*mixed).problems) == 4


def test_a_prefix_goes_before_where_it_is():
    assert UNIT.under("variant.wide: ").sentence().startswith("variant.wide: valve.swing = ")
    assert UNIT.under("variant.wide: ").code == UNIT.code


@pytest.mark.parametrize(("letters", "shown"), [(1000, 1000), (1001, 903)])
def test_a_files_name_is_shown_with_the_middle_left_out_where_it_is_too_long(letters, shown):
    """A path of 6,000 letters was written out in full."""
    assert len(ScenarioError(EMPTY, file="f" * letters).text().partition(": ")[0]) == shown


def test_an_error_is_the_same_in_another_process():
    error = pickle.loads(pickle.dumps(WeatherError(UNIT, EMPTY, file="a.csv")))
    assert (type(error), error.problems, error.file) == (WeatherError, (UNIT, EMPTY), "a.csv")


def test_the_nearest_known_word_is_suggested_capitals_aside():
    assert nearest("LOME", ["Loam", "sand"]) == "Loam"
    assert nearest("basalt", ["loam", "sand"]) is None
    assert did_you_mean("lome", ["loam"], "write a texture") == 'did you mean "loam"?'
    assert did_you_mean("basalt", ["loam"], "write a texture") == "write a texture"
