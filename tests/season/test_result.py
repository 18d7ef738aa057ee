"""A season as a pandas user meets it: one table, a row a bed, pictures, folders, equality."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

import panbudget
from panbudget.errors import OutputError, ScenarioError
from panbudget.reports.season.files import openings_table


@pytest.fixture
def garden(make_garden):
    timer = {"days": ["mon", "thu"], "duration": "30 min"}
    return make_garden({"controller": {"upper": {"timer": timer}}}, days=40)


def test_days_are_what_pandas_takes(garden):
    """Text, date and Timestamp mean the same day."""
    days = ("2025-05-05", dt.date(2025, 5, 5), pd.Timestamp("2025-05-05"), np.datetime64("2025-05-05"))
    first = [panbudget.replay(garden, start=day, end="2025-05-20").days.index[0] for day in days]
    assert first == [pd.Timestamp("2025-05-05")] * 4


@pytest.mark.parametrize("day", ["soon", "2025-02-30", ""])
def test_what_is_no_day_is_refused(garden, day):
    with pytest.raises(ScenarioError, match=f'start = "{day}" is no day; expected: a date such as "2025-06-01"'):
        panbudget.replay(garden, start=day)


def test_one_table_holds_all_lanes_with_units(garden):
    season = panbudget.replay(garden)
    daily = season.daily
    assert daily.index.names == ["date", "controller", "bed"]
    assert daily.columns.names == ["lane", "quantity"]
    assert list(daily.columns.unique("lane")) == ["all", "mean", "driest_quarter", "exact_refill", "timer"]
    assert len(daily) == 40 * len(season.beds)
    bed = season.beds["upper/tomatoes"]
    one = daily.xs(("upper", "tomatoes"), level=("controller", "bed"))
    assert one["timer"]["irrigation_mm"].tolist() == bed["timer_irrigation_mm"].tolist()
    assert one["driest_quarter"]["ks"].tolist() == bed["driest_ks"].tolist()
    assert one["all"]["pan_mm"].tolist() == season.controllers["upper"]["pan_mm"].tolist()
    assert (
        daily.attrs["units"] | {"irrigation_mm": "mm", "pan_level_kg": "kg", "ks": "", "litres": "L"}
        == (daily.attrs["units"])
    )


def test_a_summary_has_a_row_a_bed(garden):
    season = panbudget.replay(garden)
    table = season.summary()
    totals = season.totals["beds"]["upper/tomatoes"]
    assert table.index.tolist() == [tuple(key.split("/")) for key in season.beds]
    assert table.loc[("upper", "tomatoes"), "irrigation_mm"] == totals["irrigation_mm"]
    assert table.loc[("upper", "tomatoes"), "driest_stress_days"] == totals["driest_quarter"]["stress_days"]
    assert table.attrs["units"]["litres"] == "L"


def test_openings_have_timestamps_and_their_file_the_same_text(garden):
    season = panbudget.replay(garden)
    assert season.openings["start"].dtype.kind == "M"
    shown = openings_table(season)
    assert shown["start"].tolist() == [f"{start:%Y-%m-%d %H:%M:%S}" for start in season.openings["start"]]
    still_open = season.openings["end"].isna()
    assert (shown["end"] == "").tolist() == still_open.tolist() == season.openings["end_h"].isna().tolist()


def test_a_repr_is_ten_lines_at_most(garden):
    season = panbudget.replay(garden)
    text = repr(season)
    assert len(text.splitlines()) <= 10
    assert repr(season.weather).startswith("Weather of weather.csv, 2025-") and ": tmin, tmax, " in repr(season.weather)
    assert "2025-05-01 to 2025-06-09, 40\N{NO-BREAK SPACE}days" in text
    assert "upper: " in text and "tomatoes: " in text and "findings: " in text


def test_seasons_of_the_same_files_and_days_are_equal(garden):
    season, again, shorter = (panbudget.replay(garden, end=end) for end in (None, None, "2025-05-20"))
    assert season == again and hash(season) == hash(again)
    assert season != shorter
    assert season != "a season"
    assert len({season, again, shorter}) == 2


@pytest.mark.draws
def test_a_season_draws_and_writes_what_the_command_does(garden, tmp_path):
    season = panbudget.replay(garden)
    assert season.plot()[0].get_ylabel()
    folder = tmp_path / "season"
    season.write(folder, figures=True)
    names = {path.name for path in folder.iterdir()}
    assert {"daily.csv", "openings.csv", "beds.csv", "weeks.csv", "season.json", "report.html", "figures"} <= names
    with pytest.raises(OutputError):
        season.write(str(folder))
    season.write(str(folder), overwrite=True)
