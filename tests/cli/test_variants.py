"""--variant on every verb that reads a scenario: names and files, several, in order; what pages and JSON say of them."""

from __future__ import annotations

import json
import re

import pytest

import panbudget
from panbudget.errors import ScenarioError
from panbudget.studies.sweep.plan import load_plan
from tests.cli.test_main import run
from tests.garden_file import write_garden, years_csv

MORE = """
[uncertainty]
samples = 20
[variant.wide]
controller.upper.pan.vessels = [{ diameter = "70 cm" }]
[variant.strong]
controller.upper.valve.refill.flow = "3 L/h"
"""
LOG = "date,level_mm\n2021-07-02 08:00,20\n"


@pytest.fixture
def garden(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bare.toml").write_text("controller.upper.pan.exposure = 0.8\n", encoding="utf-8")
    named = '[variant.fitted]\ncontroller.upper.valve.refill.flow = "2.5 L/h"\n'
    (tmp_path / "named.toml").write_text(named, encoding="utf-8")
    return write_garden(tmp_path, years_csv(2021, 2021), more=MORE)


LAID = ("--variant", "wide", "--variant", "bare.toml", "--variant", "named.toml")
VERBS = {
    "check": (("check.html",), ()),
    "replay": (("report.html", "season.json"), ()),
    "today": (("today.html", "today.json"), ("--day", "2021-07-20")),
    "setup": (("setup.html", "setup.json"), ()),
    "away": (("away.html", "away.json"), ("--from", "2021-07-10", "--to", "2021-07-12")),
    "statement": (("statement.html", "statement.json", "season.json"), ()),
}


@pytest.mark.parametrize("verb", VERBS)
def test_page_and_json_name_what_was_laid_over_show_the_garden_and_its_fingerprint(verb, garden, tmp_path, capsys):
    files, options = VERBS[verb]
    code, out, err = run(capsys, verb, garden, *LAID, *options, "--out", tmp_path / "o")
    assert code == 0, err
    assert "Laid over: wide, bare.toml, named.toml." in out
    ran = panbudget.load_scenario(garden, "wide", "bare.toml", "named.toml")
    for name in files:
        text = (tmp_path / "o" / name).read_text(encoding="utf-8")
        if name.endswith(".json"):
            whole = json.loads(text)
            assert whole["laid_over"] == ["wide", "bare.toml", "named.toml"]
            assert whole["garden"]["upper"]["exposure"] == 0.8
            assert whole["garden"]["upper"]["refill"]["flow"] == 2.5
            assert whole["garden"]["upper"]["beds"]["tomatoes"]["area_m2"] == 12.0
            assert whole["provenance"]["scenario_sha256"] == ran.sha256
        else:
            words = re.sub(r"\s+", " ", text)
            assert "wide, bare.toml, named.toml" in words, name
            assert "700 mm across" in words, name
            assert "12 m²" in words or "12.0" in words, name
            if verb not in ("setup", "statement"):
                assert ran.sha256 in words
                assert "2.5 L/h at 100 kPa" in words


def test_the_fingerprint_is_of_the_garden_that_ran(garden):
    base = panbudget.load_scenario(garden)
    assert base.sha256 != base.with_variant("wide").sha256
    assert base.with_variants(["wide", "strong"]).sha256 == base.with_variants(["strong", "wide"]).sha256
    assert base.file_sha256 == base.with_variant("wide").file_sha256
    # a variant that is not used, and another way to write a length, leave no mark
    garden.write_text(
        garden.read_text(encoding="utf-8").replace("50 cm", "500 mm") + "[variant.more]\ntitle = 'x'\n",
        encoding="utf-8",
    )
    again = panbudget.load_scenario(garden)
    assert again.sha256 == base.sha256
    assert again.file_sha256 != base.file_sha256


def test_later_ones_win(garden):
    both = panbudget.replay(garden, variants=["strong", "named.toml"])
    assert both.scenario.controller["upper"].valve.refill.flow == 2.5
    assert panbudget.replay(garden, variants=["named.toml", "strong"]).scenario.laid_over == ("named.toml", "strong")
    assert both == panbudget.replay(panbudget.load_scenario(garden, "strong", "named.toml"))


def test_compare_takes_files(garden, tmp_path, capsys):
    options = ("--with-base", "--variant", "bare.toml", "--variant", "wide")
    code, out, err = run(capsys, "compare", garden, *options, "--out", tmp_path / "o")
    assert code == 0, err
    assert "bare.toml" in out
    whole = json.loads((tmp_path / "o" / "compare.json").read_text(encoding="utf-8"))
    assert whole["garden"]["bare.toml"]["upper"]["exposure"] == 0.8
    assert whole["garden"]["as described"]["upper"]["exposure"] == 1.0
    assert "bare.toml: upper" in (tmp_path / "o" / "compare.html").read_text(encoding="utf-8")


def test_compare_says_that_one_variant_alone_is_fitted_and_lays_the_fit_under_all(garden, tmp_path, capsys):
    """A fitted pan beside a wide one as described passed for a comparison of two pans."""
    fitted = "[variant.fitted]\ncontroller.upper.pan.exposure = 0.8\nuncertainty.controller.upper.swing = [0.9, 1.1]\n"
    (tmp_path / "fitted.toml").write_text(fitted, encoding="utf-8")
    page, compare = tmp_path / "o" / "compare.html", ("compare", garden, "--out", tmp_path / "o", "--overwrite")
    code, out, _ = run(capsys, *compare, "--variant", "fitted.toml", "--variant", "wide")
    assert (code, out.startswith("Ranges as of a fit to a field log come with fitted.toml, and")) == (0, True)
    assert "Take wide" not in page.read_text(encoding="utf-8")
    code, out, _ = run(capsys, *compare, "--with-base", "--variant", "wide", "--over", "fitted.toml")
    assert (code, "--over" in out) == (0, False)
    whole = json.loads((tmp_path / "o" / "compare.json").read_text(encoding="utf-8"))
    assert {part["upper"]["exposure"] for part in whole["garden"].values()} == {0.8}


def test_every_study_takes_variants_in_python(garden, monkeypatch):
    """Each lays them over before it does anything else."""
    calls = {
        "check": {},
        "years": {},
        "setup": {},
        "size": {},
        "away": {
            "start": panbudget.load_scenario(garden).season.start,
            "end": panbudget.load_scenario(garden).season.end,
        },
        "faults": {},
        "statement": {},
        "fit": {"log": "log.csv"},
    }
    for verb, more in calls.items():
        with pytest.raises(ScenarioError, match='did you mean "wide"'):
            getattr(panbudget, verb)(garden, variants=["wyde"], **more)


@pytest.mark.parametrize(
    ("content", "text"),
    [
        ("", "must hold one [variant.NAME] and nothing else, or the keys of one overlay"),
        ("[variant.a]\ntitle='a'\n[variant.b]\ntitle='b'\n", "must hold one [variant.NAME]"),
        (
            "controller.uper.pan.exposure = 0.8\n",
            'bad.toml: controller.uper changes nothing that the file has; did you mean "upper"?',
        ),
        (  # it asked for all that a whole valve needs
            "controller.orchard.pan.exposure = 0.8\nuncertainty.controller.orchard.exposure = [0.9, 1.1]\n",
            "bad.toml: controller.orchard changes nothing that the file has; it has upper; is this of another garden?\n",
        ),
        (  # it made a supply that nobody used, and a note
            "supply.sprnig.pressure = '100 kPa'\n",
            'bad.toml: supply.sprnig changes nothing that the file has; did you mean "spring"?',
        ),
        ("controller.upper.pan.exposure = -1\n", "bad.toml: controller.upper.pan.exposure"),
        ("contoller.upper.pan.exposure = 0.8\n", "bad.toml: contoller"),
    ],
)
def test_an_overlay_that_can_t_be_is_refused_with_its_name(content, text, garden, tmp_path, capsys):
    (tmp_path / "bad.toml").write_text(content, encoding="utf-8")
    code, _, err = run(capsys, "check", garden, "--variant", "bad.toml")
    assert code == 2
    assert text in err


def test_a_whole_garden_is_no_overlay(garden, capsys):
    code, _, err = run(capsys, "check", garden, "--variant", "garden.toml")
    assert code == 2
    assert "no whole garden" in err


def test_a_sweep_lays_variants_over_its_scenario(garden, tmp_path):
    (tmp_path / "sites.csv").write_text(
        "name,latitude,elevation,weather\nhere,38.6,240,weather.csv\n", encoding="utf-8"
    )
    plan = tmp_path / "plan.toml"
    plan.write_text('scenario = "garden.toml"\n[sites]\ntable = "sites.csv"\n', encoding="utf-8")
    plain, laid = load_plan(plan), load_plan(plan, ["wide", "bare.toml"])
    assert laid.base.laid_over == ("wide", "bare.toml")
    assert laid.base.controller["upper"].pan.exposure == 0.8
    assert laid.designs[0].scenario.controller["upper"].pan.exposure == 0.8
    assert plain.fingerprint != laid.fingerprint


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("what_if.heat", '{ start = 2025-08-10, warmer = "+5 K" }'),
        ("season.start", "1990-05-01"),
        ("weather.trust", '["nothing"]'),
        ("weather.format", '"none"'),
        ("weather.columns.tmin.column", '"none"'),
        ("weather.file", '"none.csv"'),
    ],
)
def test_what_a_variants_file_gets_wrong_is_told_as_that_files_mistake(key, value, garden, tmp_path, capsys):
    (tmp_path / "late.toml").write_text(f"{key} = {value}\n", encoding="utf-8")
    laid = ("--variant", "late.toml", "--variant", "bare.toml")  # the last laid over has no such key
    code, _, error = run(capsys, "replay", "garden.toml", *laid, "--out", "out")
    assert code == 2
    assert error.startswith("late.toml: ")
    assert key.removesuffix(".column") in error or "none.csv: there is no such file" in error


def test_a_variant_of_a_file_without_any_is_told_with_how_to_describe_one(garden, capsys):
    garden.write_text(garden.read_text(encoding="utf-8").partition("[variant")[0], encoding="utf-8")
    code, _, error = run(capsys, "replay", "garden.toml", "--variant", "deep pan", "--out", "out")
    assert code == 2
    assert (
        'the file has none; describe it under [variant."deep pan"], or name a file of changes that ends in .toml'
        in error
    )
