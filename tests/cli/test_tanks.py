"""Tanks: sizes judged by the plants, no advice for more pan or emitters under an empty one, and the cautions."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pandas as pd
import pytest

import panbudget
from panbudget.reports.arranging import steps_of
from panbudget.season.years import in_year
from panbudget.studies import ranges
from panbudget.studies.away import changes
from panbudget.studies.supplies import FACTORS, enough, tank_sizes
from tests.cli.test_main import run
from tests.garden_file import write_garden, years_csv

# a dry summer from 5 m³ without a roof: empty after some weeks
TANK = 'kind = "tank"\nvolume = "{} L"\nfootprint = "2 m^2"\noutlet_height = "2 m"\n{}'
ADVICE = ("larger emitters on", "deeper pan, a", "More or larger", "a wider pan or a smaller refill flow gives")


def tank_garden(folder, *, volume=1500, more="", emitters=60, end="2021-08-10"):
    supply = TANK.format(volume, more)
    return write_garden(folder, years_csv(2021, 2021), supply=supply, emitters=emitters, end=end)


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    return panbudget.replay(tank_garden(tmp_path_factory.mktemp("tank")))


def test_a_size_is_judged_by_the_plants(season):
    """Each row is the replay of a garden described so; the smallest that is as good as any is enough."""
    sizes = tank_sizes(season, "spring")
    for at in (3, 4, 7):
        tank = {"volume": f"{1500 * FACTORS[at]!r} L", "footprint": f"{2 * FACTORS[at]!r} m^2"}
        other = panbudget.replay(season.scenario.changed({"supply": {"spring": tank}}))
        row, bed = sizes.iloc[at], other.totals["beds"]["upper/tomatoes"]
        assert row["stress_days"] == bed["driest_quarter"]["stress_days"]
        assert row["empty_days"] == (other.controllers["upper"]["starved_hours"] > 0.0).sum()
    best = enough(sizes)
    assert best["share"] == sizes["share"].max() > sizes["share"].iloc[4]
    assert (sizes.attrs["years"], sizes.attrs["draws"]) == (1, 2)
    # what is described has no margin, and what is enough has one
    assert sizes["exposure"].iloc[4] is None
    assert best["exposure"][0] <= 1.0 <= best["exposure"][1]


def test_sizes_are_judged_in_every_usable_year_of_the_file_over_the_draws(tmp_path, monkeypatch):
    """Each row's share and mean are those of seasons drawn with such a tank, year by year."""
    monkeypatch.setattr("panbudget.studies.supplies.FACTORS", (1.0, 2.0))
    text = years_csv(2020, 2022, blank=[("2021-07-15", "2021-07-15")])
    supply = TANK.format(1500, "")
    garden = panbudget.load_scenario(
        write_garden(tmp_path, text, supply=supply, emitters=60, start="2022-07-01", end="2022-07-20")
    )
    sizes = tank_sizes(panbudget.replay(garden), "spring")
    assert sizes.attrs["years"] == 2  # 2020 and 2022; a day of 2021 has no temperature
    wide = garden.changed({"supply": {"spring": {"volume": "3000 L", "footprint": "4 m^2"}}})
    short = []
    for of in (wide, in_year(wide, 2020)):
        season = panbudget.replay(of)
        growing = season.beds["upper/tomatoes"]["growing"].to_numpy()
        short += [((out.ks[0] < 1.0) & growing).sum() for out in ranges.sampled_results(season, 2, lanes=[1])]
    assert sizes["mean_days"].iloc[1] == np.mean(short)
    assert sizes["share"].iloc[1] == np.mean([days <= garden.wishes.stress_days for days in short])


@pytest.mark.parametrize(
    ("share", "mean", "volume"),
    [
        ([0.2, 0.9, 0.9], [9.0, 3.0, 3.0], 2.0),
        ([0.2, 0.88, 0.9], [9.0, 3.0, 3.0], 2.0),  # two of a hundred fewer count as equal
        ([0.2, 0.87, 0.9], [9.0, 3.0, 3.0], 4.0),
        ([0.9, 0.9, 0.9], [3.5, 3.5, 3.0], 1.0),  # half a day
        ([0.9, 0.9, 0.9], [3.6, 3.5, 3.0], 2.0),
        ([0.0, 0.0, 0.0], [60.0, 50.0, 50.0], 2.0),
    ],
)
def test_the_smallest_size_as_good_for_the_plants_as_any_is_enough_though_it_runs_dry(share, mean, volume):
    sizes = pd.DataFrame(
        {"volume_l": [1.0, 2.0, 4.0], "share": share, "mean_days": mean, "empty_days": [8.0, 2.0, 0.0]}
    )
    assert enough(sizes)["volume_l"] == volume
    assert enough(sizes.iloc[:1])["volume_l"] == 1.0


def test_findings_of_an_empty_tank_advise_neither_a_deeper_pan_nor_larger_emitters(season):
    codes = {finding.code: finding for finding in season.findings}
    assert {"no-water", "short-of-water"} <= set(codes)
    for finding in season.findings:
        if finding.code in ("short-of-water", "dry-pan"):
            assert "tank" in finding.text
            assert not any(text in finding.text for text in ADVICE)
    assert "cautions for tanks" in codes["no-water"].text
    assert len([step for step in steps_of(season.findings) if "tank" in step]) == 1  # told once for all three


def test_a_bed_short_before_its_tank_ran_dry_is_told_what_helps(tmp_path):
    """The last day of this season is the first on which the tank is empty."""
    whole = panbudget.replay(tank_garden(tmp_path, volume=1500, emitters=30))
    dry = whole.controllers["upper"].index[whole.controllers["upper"]["starved_hours"] > 0.0][0]
    short = whole.beds["upper/tomatoes"]["driest_ks"] < 1.0
    assert short[:dry].iloc[:-1].any()
    before = panbudget.replay(whole.scenario, end=dry - dt.timedelta(days=1))
    message = next(f.text for f in before.findings if f.code == "short-of-water")
    assert "More or larger emitters" in message


def test_the_page_shows_sizes_and_cautions(season, tmp_path, capsys):
    garden = tank_garden(tmp_path)
    assert run(capsys, "replay", garden, "--out", tmp_path / "s", "--quiet")[0] == 0
    page = (tmp_path / "s" / "report.html").read_text(encoding="utf-8")
    for text in ("days short then", "days empty then", "enough for the plants", "weighs a tonne"):
        assert text in page
    for text in (
        "air gap",
        "not drinking water",
        "Mosquitoes breed in tanks",
        "local code",
        "The higher a tank stands",
    ):
        assert text in page
    assert run(capsys, "check", garden, "--out", tmp_path / "c", "--quiet")[0] == 0
    assert "Cautions for tanks" in (tmp_path / "c" / "check.html").read_text(encoding="utf-8")


def test_a_float_valve_lets_water_in_below_a_fifth_of_its_tank(season):
    """Common practice, no source."""
    ((_, overlay, _),) = changes._tank_tries(season.scenario, "spring", "float", "", [100.0])
    assert overlay == {"supply": {"spring": {"top_up": {"below": "300.0 L", "rate": "100.0 L/h"}}}}


def test_away_changes_the_tank_alone_where_it_runs_dry(tmp_path, capsys):
    garden = tank_garden(tmp_path, volume=1500)
    code, out, _ = run(capsys, "away", garden, "--from", "2021-07-20", "--to", "2021-08-05", "--json")
    assert code == 0
    whole = json.loads(out)
    assert whole["heat"]["controllers"]["upper"]["starved_hours"] > 0.0
    what = [change["what"] for change in whole["changes"]]
    assert any(text.startswith("fill the tank spring to the brim") for text in what)
    assert any(text.startswith("a float valve on the tank spring") for text in what)
    assert any(text.startswith("a tank spring of") for text in what)
    assert not any(
        text in each for each in what for text in ("emitters in place", "as deep", "water surface", "refill")
    )
    assert "weighs a tonne" in " ".join(whole["sentences"])
    wide = next(change for change in whole["changes"] if change["what"].startswith("a tank spring of"))
    assert wide["safe"]
    assert wide["stress_days"] == 0 < wide["before"]


def test_a_full_tank_at_departure_is_the_tanks_own_brim(tmp_path):
    """Left on the season's first day, or later: the same as a garden whose tank is full then."""
    garden = panbudget.load_scenario(tank_garden(tmp_path, volume=1500, more="full_at_start = 0.4", end="2021-07-20"))
    season = garden.season
    found = panbudget.away(garden, season.start, season.end)
    full = next(change for change in found.changes if change.what.startswith("fill the tank"))
    brim = panbudget.away(garden.changed({"supply": {"spring": {"full_at_start": 1.0}}}), season.start, season.end)
    assert full.stress_days == brim.heat.stress_days < found.heat.stress_days


def test_setup_prints_no_calendar_that_makes_things_worse(tmp_path, capsys):
    garden = tank_garden(tmp_path, volume=1500, end="2021-09-10")
    code, out, _ = run(capsys, "setup", garden, "--out", tmp_path / "s")
    assert code == 0
    whole = json.loads((tmp_path / "s" / "setup.json").read_text(encoding="utf-8"))["controllers"]["upper"]
    now, turned = (gain["stress_days"] + gain["other_stress_days"] for gain in (whole["gains"][0], whole["gains"][-1]))
    kept = {month["bound"] for month in whole["months"]} == {"kept"}
    assert kept == (turned > now)
    assert kept
    assert "or by month" not in out
    assert "its tank is empty under the open valve" in out
    page = (tmp_path / "s" / "setup.html").read_text(encoding="utf-8")
    assert "The refill stays as it is" in page
    assert "weighs a tonne" in page


def test_a_wider_tank_says_how_much_more_it_holds_when_the_season_starts(season):
    """By hand: twice 1,500 L at 40 % is 600 L more."""
    garden = season.scenario.changed({"supply": {"spring": {"full_at_start": 0.4}}})
    ((text, _, _),) = changes._tank_tries(garden, "spring", "wider", changes._DATA["tanks"][-1]["what"], [2.0])
    assert text.replace("\u00a0", " ").replace("\u202f", " ").endswith("with 600 L more in it when the season starts")
