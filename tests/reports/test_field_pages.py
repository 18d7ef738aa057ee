"""The pages of `faults` and `fit`: they answer first, stand alone, and take a user's words as text."""

from __future__ import annotations

import copy
import re
from dataclasses import replace

import numpy as np
import pytest

from panbudget import replay
from panbudget.reports.arranging import MOST_STEPS
from panbudget.reports.canvas import svg_text
from panbudget.reports.faults.figures import harm_figure
from panbudget.reports.faults.page import faults_report, faults_sentences
from panbudget.reports.fit.figures import loss_figure, residual_figure
from panbudget.reports.fit.page import VERB, fit_sentences
from panbudget.reports.writing import as_page
from panbudget.scenario.garden import scenario_from
from panbudget.studies.faults import faults
from panbudget.studies.fit.estimate import fit
from panbudget.studies.fit.tub import Worth
from panbudget.words import day_said
from tests.field_logs import kept_log
from tests.small_weather import weather_csv


@pytest.fixture(scope="module")
def tried(make_shared_garden):
    garden = make_shared_garden({"title": "<b>Mine</b>"}, weather=weather_csv(31))
    return faults(garden.changed({"fault": [{"kind": "leak", "loss": "2 L/day"}]}))


@pytest.fixture(scope="module")
def fitted(make_shared_garden):
    garden = make_shared_garden({"title": "<b>Mine</b>"}, weather=weather_csv(31))
    truth = garden.changed({"controller": {"upper": {"pan": {"exposure": 0.8}}}})
    log = garden.path.parent / "log.csv"
    log.write_text(kept_log(replay(truth), every=1.3, misreads=1), encoding="utf-8")
    return fit(garden, log)


def test_the_faults_page_ranks_them_and_tells_signs_and_cure(tried):
    page = as_page(tried, {"harm": svg_text(harm_figure(tried))})
    assert "&lt;b&gt;Mine&lt;/b&gt;" in page
    assert "<b>Mine" not in page
    assert "http" not in page
    assert page.index(faults_sentences(tried)[0].split(",")[0]) < page.index("<h2>Harm")
    kinds = {trial.fault.kind for trial in tried.trials}
    assert page.count("<strong>Cure:</strong>") == len(kinds) < len(tried.trials)
    assert "(in your file)" in page


def test_what_to_do_first_about_faults_is_something_to_do(tried):
    """A look and a cure, of different kinds."""
    (first, *_) = steps = faults_report(tried, {}).first
    assert re.fullmatch(r"Watch for .*\. Look: .+\. Cure: .+\.", first)
    assert len(steps) == len({step.partition(".")[0] for step in steps}) == MOST_STEPS


def test_a_tank_that_runs_dry_anyway_is_told_before_the_ranking(make_garden):
    tank = {"kind": "tank", "volume": "100 L", "footprint": "1 m^2", "outlet_height": "2 m"}
    garden = make_garden(weather=weather_csv(20))
    raw = copy.deepcopy(dict(garden.described))
    raw["supply"]["spring"] = tank
    found = faults(scenario_from(raw, garden.path))
    empty = found.season.totals["supplies"]["spring"]["tank"]["first_empty_day"]
    assert f"The tank spring is empty from {day_said(empty)} even in the sound season" in faults_sentences(found)[-1]


def test_the_harm_is_drawn_as_it_is_listed(tried):
    days, litres = harm_figure(tried)
    assert [bar.get_width() for bar in days.patches] == [t.more_stress_days for t in tried.trials]
    np.testing.assert_allclose(
        [bar.get_width() for bar in litres.patches], [t.more_wasted_litres for t in tried.trials]
    )
    assert days.get_xlabel().endswith("[days]")
    assert litres.get_xlabel().endswith("[L]")
    assert days.yaxis_inverted()
    names = [text.get_text() for text in days.get_yticklabels()]  # a phone shows names and bars side by side
    assert max(len(line) for name in names for line in name.split("\n")) <= 38 < max(map(len, names))
    assert not any(line[-1].isdigit() for name in names for line in name.split("\n"))
    idle = replace(tried, trials=tuple(t for t in tried.trials if t.more_stress_days == 0))
    assert harm_figure(idle)[0].get_xlim()[1] == 1.0  # no hundredths of a day where none is added


def test_the_fits_page_says_what_was_learnt_and_what_was_not(fitted):
    drawn = {"loss": svg_text(loss_figure(fitted)), "residuals": svg_text(residual_figure(fitted))}
    page = as_page(fitted, drawn)
    assert "&lt;b&gt;Mine&lt;/b&gt;" in page
    assert "<b>Mine" not in page
    assert "controller.upper.pan.exposure = 0." in page
    said = fit_sentences(fitted)
    assert fitted.controllers["upper"].estimates[0].value == pytest.approx(0.8, rel=0.01)
    assert said[0].startswith("upper: the scenario's season takes ")
    assert said[1].startswith(("upper: exposure 0.8", "upper: exposure 0.79"))
    assert any(sentence.startswith("upper: what would tell most next is ") for sentence in said)
    assert "What to measure next" in page
    assert any("stays as described: " in sentence for sentence in said)
    assert "Readings that look wrong" in page


@pytest.mark.parametrize(
    ("low", "high", "is_apart"), [(1.0, 2.0, False), (1.01, 2.0, True), (0.5, 1.0, False), (0.5, 0.99, True)]
)
def test_a_season_outside_the_range_of_all_readings_is_told_so(low, high, is_apart, fitted, monkeypatch):
    total = fitted.after.totals["controllers"]["upper"]["litres"]
    monkeypatch.setattr(type(fitted), "litres", {"upper": (low * total, high * total)})
    assert ("which lies outside" in fit_sentences(fitted)[0]) is is_apart


@pytest.mark.parametrize(("before", "after", "is_told"), [(0.0149, 0.0106, False), (0.0151, 0.0149, True)])
def test_a_measurement_that_narrows_nothing_as_printed_is_not_proposed(before, after, is_told, fitted):
    upper = replace(fitted.controllers["upper"], worth=(Worth("jug", before, after),))
    other = replace(fitted, controllers={"upper": upper})
    assert any("would tell most next" in sentence for sentence in fit_sentences(other)) is is_told
    assert ("measure next, write it into the log" in as_page(other, {"loss": "", "residuals": ""})) is is_told


def test_what_to_measure_next_names_the_column_in_the_units_shown(fitted):
    """It stood there as {:tub column}."""
    upper = replace(fitted.controllers["upper"], worth=(Worth("ruler", 0.4, 0.2),))
    other = replace(fitted, controllers={"upper": upper})
    for text in (as_page(other, {"loss": "", "residuals": ""}), *fit_sentences(other)):
        assert "{:" not in text
    assert any("(tub_mm)" in sentence for sentence in fit_sentences(other))


def test_the_loss_is_drawn_by_log_and_by_model_before_and_after(fitted):
    (ax,) = loss_figure(fitted)
    before, after, log = (line.get_ydata() for line in ax.get_lines())
    rows = fitted.controllers["upper"].lost
    np.testing.assert_array_equal(log, rows["observed"])
    # 8 mm a day as described, 0.8 of it as fitted, but for what an open valve's hours hide
    assert np.mean(after / before) == pytest.approx(0.8, abs=0.05)
    assert ax.get_ylabel() == "net loss [mm/day]"


def test_what_is_set_aside_is_drawn_hollow(fitted):
    (ax,) = residual_figure(fitted)
    hollow = sum(len(line.get_xdata()) for line in ax.get_lines() if line.get_markerfacecolor() == "none")
    assert hollow == fitted.controllers["upper"].readings["set_aside"].sum() >= 1


def test_levels_alone_draw_no_empty_figure_and_give_no_empty_overlay_to_paste(fitted):
    def pages_of(fit):
        draws = VERB.figures(fit)
        return draws, VERB.report(fit, dict.fromkeys(draws, "<svg/>"))

    draws, report = pages_of(fitted)
    assert [*draws] == ["loss", "residuals"] and any(part.code for part in report.sections)
    bare = {
        name: replace(pan, lost=pan.lost.iloc[:0], estimates=(), ranges={}) for name, pan in fitted.controllers.items()
    }
    draws, report = pages_of(replace(fitted, controllers=bare))
    assert [*draws] == ["residuals"] and not any(part.code for part in report.sections)
    assert not any("fitted.toml" in step for step in report.first)
