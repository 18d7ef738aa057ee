"""One meaning for a day short of water: the same morning's depletion in tables, pages, away, figures and ratios."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest

import panbudget
from panbudget.reports.away.figures import room_figure
from panbudget.reports.season.figures import season_figure
from tests.cli.test_main import run
from tests.garden_file import write_garden, years_csv

DUAL = 'method = "dual"\n'
LETTUCE = """
[controller.upper.bed.lettuce]
area = "6 m^2"
emitters = { count = 20, flow = "2 L/h", at = "100 kPa" }
soil = "sandy loam"
plants = { name = "lettuce", stages = [5, 5, 6, 4] }
planted = 2021-07-11
"""

pytestmark = pytest.mark.usefixtures("few_changes")


def season_of(folder, *, more="", emitters=30):
    return panbudget.replay(write_garden(folder, years_csv(2021, 2021), more=more, emitters=emitters))


@pytest.mark.parametrize("more", ["", DUAL])
def test_water_left_is_below_zero_on_the_days_short_and_on_no_other(tmp_path, more):
    for key, table in season_of(tmp_path, more=more).beds.items():
        for prefix in ("", "driest_"):
            assert ((table[f"{prefix}water_left_mm"] < 0.0) == (table[f"{prefix}ks"] < 1.0)).all(), key
            assert (table[f"{prefix}ks"] < 1.0).any() and (table[f"{prefix}ks"] == 1.0).any()


def test_the_morning_is_yesterdays_depletion_less_what_came(tmp_path):
    """FAO-56 eq. 85 without the day's own ETc: by hand from yesterday's evening."""
    table = season_of(tmp_path).beds["upper/tomatoes"]
    came = table["driest_depletion_mm"].shift(1) - table["rain_mm"] + table["runoff_mm"] - table["driest_irrigation_mm"]
    np.testing.assert_allclose(table["driest_morning_depletion_mm"][1:], np.maximum(came, 0.0)[1:], atol=1e-9)
    left = table["raw_mm"] - table["driest_morning_depletion_mm"]
    np.testing.assert_allclose(table["driest_water_left_mm"], left, atol=1e-9)


@pytest.mark.parametrize("emitters", [30, 60, 62, 64, 66, 70])
def test_away_never_calls_safe_what_has_water_left_below_zero(tmp_path, capsys, emitters):
    garden = write_garden(tmp_path, years_csv(2021, 2022), emitters=emitters)
    options = ("--from", "2021-07-20", "--to", "2021-07-30", "--json")
    code, out, _ = run(capsys, "away", garden, *options)
    assert code == 0
    whole = json.loads(out)
    for stay in (*whole["years"], whole["heat"]):
        for bed in stay["beds"].values():
            assert (bed["least_room_mm"] < 0.0) == (bed["stress_days"] > 0)
    assert not re.search(r"with −[\d.]*[1-9][\d.]*\s*mm left", " ".join(whole["sentences"]))


@pytest.mark.draws
def test_figures_cross_their_limit_on_the_days_short(tmp_path):
    season = season_of(tmp_path)
    table = season.beds["upper/tomatoes"]
    lines = {str(line.get_label()): np.asarray(line.get_ydata()) for line in season_figure(season)[2].get_lines()}
    below = lines["driest quarter"] < -1e-9
    assert below.tolist() == (table["driest_ks"] < 1.0).tolist()
    dates = [pd.Timestamp(day).date() for day in ("2021-07-20", "2021-07-30")]
    away = panbudget.away(season.scenario, *dates)
    left = np.asarray(room_figure(away)[0].get_lines()[0].get_ydata())
    assert int((left < -1e-9).sum()) == away.worst.beds["upper/tomatoes"].stress_days


def test_days_on_which_nothing_grows_count_neither_as_need_nor_as_waste(tmp_path):
    """Lettuce stands there on 20 of 41 days; the valve waters the bed on all of them."""
    season = season_of(tmp_path, more=LETTUCE)
    table, totals = season.beds["upper/lettuce"], season.totals["beds"]["upper/lettuce"]
    growing = table["growing"]
    assert 0 < growing.sum() < len(growing)
    assert totals["irrigation_growing_mm"] == pytest.approx(table["irrigation_mm"][growing].sum())
    assert totals["irrigation_growing_mm"] < totals["irrigation_mm"]
    assert totals["etc_bare_mm"] == pytest.approx(table["etc_mm"][~growing].sum()) and totals["etc_bare_mm"] > 0.0
    assert totals["drained_growing_mm"] == pytest.approx(table["deep_percolation_mm"][growing].sum())
    ratio = totals["irrigation_growing_mm"] / totals["net_demand_mm"]
    assert totals["supply_over_demand"] == pytest.approx(ratio)
    wet = [finding for finding in season.findings if (finding.code, finding.where) == ("too-wet", "upper/lettuce")]
    assert all(finding.days == int(((table["deep_percolation_mm"] > 0.0) & growing).sum()) for finding in wet)
    assert f"upper/lettuce got {totals['irrigation_growing_mm']:.0f}" in season.sentences()[1]


def test_printed_differences_are_those_of_the_printed_numbers(tmp_path, capsys):
    more = '[variant.bit]\ncontroller.upper.valve.refill.flow = "2.07 L/h"\n[variant.more]\ncontroller.upper.pan.exposure = 1.013\n'
    garden = write_garden(tmp_path, years_csv(2021, 2021), more=more)
    options = ("--with-base", "--variant", "bit", "--variant", "more", "--out", tmp_path / "c")
    assert run(capsys, "compare", garden, *options)[0] == 0
    page = (tmp_path / "c" / "compare.html").read_text(encoding="utf-8").replace("\u202f", "").replace("−", "-")
    rows = [re.findall(r"<td[^>]*>([^<]*)</td>", row) for row in page.split("<tr")]
    compared = 0
    for row in rows:
        if len(row) == 5 and re.fullmatch(r"-?[\d.]+", row[2]):
            for cell in row[3:]:
                if match := re.match(r"(-?[\d.]+) \(([+-]?[\d.]+)\)", cell):
                    assert float(match[1]) - float(row[2]) == pytest.approx(float(match[2]), abs=1e-6), row
                    compared += 1
    assert compared > 8
