"""All usable years: replay --season all, and that check, size and away take the same ones."""

from __future__ import annotations

import json
import re

import pandas as pd
import pytest

import panbudget
from tests.cli.test_main import run as run_program
from tests.garden_file import write_garden, years_csv

# a hole in February of 2022 and a day of its own season missing in 2023; the record ends within the season of 2025
GAPPY = {"drop": [("2022-02-10", "2022-02-25"), ("2025-07-20", "2025-12-31")], "blank": [("2023-07-10", "2023-07-10")]}

pytestmark = pytest.mark.usefixtures("few_changes")


def run(capsys, *arguments):
    code, out, err = run_program(capsys, *arguments)
    return code, out.replace("\u00a0", " "), err.replace("\u00a0", " ")


@pytest.fixture(scope="module")
def garden(tmp_path_factory):
    folder = tmp_path_factory.mktemp("years")
    return write_garden(folder, years_csv(2021, 2025, hot=(2022,), **GAPPY))


@pytest.mark.draws
def test_a_gap_in_february_cuts_nothing_and_years_stand_side_by_side(garden, tmp_path, capsys):
    code, out, err = run(capsys, "replay", garden, "--season", "all", "--figures", "--out", tmp_path / "y")
    assert code == 0, err
    assert out.startswith("Replayed in 3 years: 2021 to 2022, 2024. Years without a day short of water: none.")
    assert "The worst year is 2022: upper/tomatoes " in out
    assert sorted(p.name for p in (tmp_path / "y").iterdir()) == ["figures", "years.csv", "years.html", "years.json"]
    whole = json.loads((tmp_path / "y" / "years.json").read_text(encoding="utf-8"))
    assert list(whole["years"]) == ["2021", "2022", "2024"]
    assert whole["named"]["worst"] == whole["ranked"][0] == 2022
    assert whole["named"]["middle"] == whole["ranked"][1]
    assert any(text.startswith("2023 is left out: tmax is empty on 2023-07-10") for text in whole["assumptions"])
    assert any(text.startswith("2025 is left out: the record runs from 2021-01-01") for text in whole["assumptions"])
    table = pd.read_csv(tmp_path / "y" / "years.csv").set_index("year")
    assert table["named"].to_dict()[2022] == "worst"
    # each row is that of the year's own replay
    alone = panbudget.read_year(panbudget.load_scenario(garden), 2024)
    season = panbudget.replay(alone[0], weather=alone[1])
    assert table.loc[2024, "valve_litres"] == pytest.approx(season.totals["controllers"]["upper"]["litres"], abs=1e-6)
    page = (tmp_path / "y" / "years.html").read_text(encoding="utf-8")
    assert "2023 is left out" in page
    assert 'id="years"' in page
    assert "each valve. Darker: worst, middle, best.<" in page


def test_a_single_years_caption_speaks_of_no_darker_bar(tmp_path, capsys):
    garden = write_garden(tmp_path, years_csv(2021, 2021))
    assert run(capsys, "replay", garden, "--season", "all", "--figures", "--out", tmp_path / "y")[0] == 0
    assert "each valve.<" in (tmp_path / "y" / "years.html").read_text(encoding="utf-8")


def test_check_lists_the_years_and_why_one_is_left_out(garden, capsys):
    code, out, _ = run(capsys, "check", garden)
    assert code == 0
    assert "Years in which the season can be replayed: 2021 to 2022, 2024." in out
    assert "2023 is left out: tmax is empty on 2023-07-10" in out
    assert json.loads(run(capsys, "check", garden, "--json")[1])["years"]["usable"] == [2021, 2022, 2024]


def test_a_season_over_new_year_is_filed_under_the_year_in_which_it_starts(tmp_path, capsys):
    weather = years_csv(2020, 2023, southern=True, drop=[("2021-06-01", "2021-06-30"), ("2022-01-05", "2022-01-05")])
    garden = write_garden(tmp_path, weather, start="2020-12-10", end="2021-01-20", latitude=-35.0)
    code, out, _ = run(capsys, "replay", garden, "--season", "all", "--out", tmp_path / "y")
    assert code == 0
    assert out.startswith("Replayed in 2 years: 2020, 2022. ")
    found = panbudget.years(garden)
    assert str(found.seasons[2022].days.index[-1].date()) == "2023-01-20"


@pytest.mark.parametrize(
    ("options", "text"),
    [
        (("--season", "20x1"), '--season "20x1" is no year; expected: a year such as 2024, or all'),
        (("--season", "all", "--spread", "30"), "--spread is of one season"),
        (("--season", "all", "--start", "2021-07-01"), "--season all takes the scenario's own days"),
    ],
)
def test_what_can_t_be_asked_of_all_years(garden, options, text, tmp_path, capsys):
    code, _, err = run(capsys, "replay", garden, *options, "--out", tmp_path / "y")
    assert code == 2
    assert text in err


def test_where_no_year_is_usable_the_gardens_own_year_says_why(tmp_path, capsys):
    garden = write_garden(tmp_path, years_csv(2021, 2021, blank=[("2021-07-02", "2021-07-02")]))
    code, _, err = run(capsys, "replay", garden, "--season", "all", "--out", tmp_path / "y")
    assert code == 2
    assert "tmax is empty on 2021-07-02" in err
    assert not (tmp_path / "y").exists()


def test_the_page_of_check_has_the_usable_years_together_and_why_others_are_left_out(garden, tmp_path, capsys):
    assert run(capsys, "check", garden, "--out", tmp_path / "c", "--quiet")[0] == 0
    page = (tmp_path / "c" / "check.html").read_text(encoding="utf-8")
    rows = re.findall(r'<tr>\s*(?:<td class="name"[^>]*>[^<]*</td>){3}', page)
    cells = [re.findall(r">([^<]*)</td>", row) for row in rows]
    assert ["2021 to 2022, 2024", "yes", ""] in cells
    assert [row[:2] for row in cells if row[1] == "no"] == [["2023", "no"], ["2025", "no"]]


def test_a_sweep_takes_the_same_years_and_names_one_that_is_asked_for_and_broken(garden, tmp_path, capsys):
    text = garden.read_text(encoding="utf-8")
    (tmp_path / "garden.toml").write_text(text, encoding="utf-8")
    (tmp_path / "weather.csv").write_bytes((garden.parent / "weather.csv").read_bytes())
    (tmp_path / "sites.csv").write_text(
        "name,latitude,elevation,weather\nhere,38.6,240,weather.csv\n", encoding="utf-8"
    )
    plan = tmp_path / "plan.toml"
    described = 'scenario = "garden.toml"\n[sites]\ntable = "sites.csv"\n[output]\nfigures = false\n'
    plan.write_text(described, encoding="utf-8")
    code, out, err = run(capsys, "sweep", plan, "--out", tmp_path / "s", "--processes", "1")
    assert code == 0, err
    assert out.startswith("3 seasons at 1 site: 3 rows")
    rows = pd.read_parquet(tmp_path / "s" / "seasons").sort_values("year")
    assert rows["year"].tolist() == [2021, 2022, 2024]
    own = panbudget.years(garden)
    litres = [own.seasons[year].totals["beds"]["upper/tomatoes"]["litres"] for year in (2021, 2022, 2024)]
    assert rows["litres"].tolist() == pytest.approx(litres)
    plan.write_text(described + "[years]\nfirst = 2021\nlast = 2023\n", encoding="utf-8")
    code, out, err = run(capsys, "sweep", plan, "--out", tmp_path / "t", "--processes", "1")
    assert code == 0, err
    assert "Left out: 1 season at 1 site (sites.csv" in out
    assert "here: 2023: tmax is empty on 2023-07-10" in out
    record = pd.read_csv(tmp_path / "t" / "sites.csv").iloc[0]
    assert (record["years_run"], record["years_skipped"]) == ("2021 2022", 2023)
    assert record["why"].startswith("2023: tmax is empty on 2023-07-10")


def test_a_season_that_began_is_replayed_as_far_as_the_file_goes(tmp_path, capsys):
    """Last year's dates, a file that ends on 20 July: one command, no edit; what lies outside it is told."""
    weather = [line for line in years_csv(2021, 2022).splitlines() if line[:10] <= "2022-07-20" or line[0] == "d"]
    garden = write_garden(tmp_path, "\n".join(weather) + "\n")
    code, out, err = run(capsys, "replay", garden, "--season", 2022, "--end", "2022-07-20", "--out", tmp_path / "y")
    assert code == 0, err
    assert "1 to 20 July 2022, 20 days" in out
    for options, text in (
        (("--end", "2022-08-11"), "2022-08-11 lies outside the season of 2022, 2022-07-01 to 2022-08-10"),
        (("--start", "2022-06-30"), "2022-06-30 lies outside the season of 2022"),
        ((), "choose one of its years, or days within them"),
        (("--end", "2022-07-21"), "choose one of its years, or days within them"),
    ):
        code, _, err = run(capsys, "replay", garden, "--season", 2022, *options, "--out", tmp_path / "z")
        assert (code, text in err) == (2, True), err
