"""What figures show: lines, labels, units; not pixels."""

from __future__ import annotations

import copy
import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from panbudget import replay, words
from panbudget.reports.canvas import save, svg_text
from panbudget.reports.check import figures as weather_figures
from panbudget.reports.season import figures
from panbudget.reports.season.page import season_report
from panbudget.reports.style import STYLES
from panbudget.scenario.garden import scenario_from
from panbudget.season.heat import hottest_run
from tests.small_weather import heat_wave, weather_csv


@pytest.fixture(scope="module")
def season(make_shared_garden):
    return replay(make_shared_garden(weather=heat_wave()))


def texts(ax):
    return {t.get_text() for t in ax.texts}


def lines(ax):
    return {line.get_label(): line for line in ax.get_lines()}


def test_the_season_shows_weather_openings_and_each_root_zone(season):
    axes = figures.season_figure(season)
    assert [ax.get_title(loc="left") for ax in axes] == [
        "Rain and reference evapotranspiration",
        "Openings",
        "Water left in upper/tomatoes before plants suffer",
    ]
    assert lines(axes[0])["ETo"].get_ydata() == pytest.approx(season.days["eto_mm"].to_numpy())
    left, bed = lines(axes[2]), season.beds["upper/tomatoes"]
    for label, mean in (("bed mean", ""), ("driest quarter", "driest_")):
        drawn = bed["raw_mm"] - bed[f"{mean}morning_depletion_mm"]
        assert left[label].get_ydata() == pytest.approx(np.where(bed["growing"], drawn, np.nan), nan_ok=True, abs=1e-9)
    low, high = axes[2].get_ylim()
    assert low < 0.0 < high  # upward, with room below the line at which plants suffer
    assert all("mm" in ax.get_ylabel() for ax in (axes[0], axes[2]))


def test_the_pans_level_is_drawn_through_the_hottest_days_and_never_leaves_trip_and_reset(season):
    (ax,) = figures.pan_level_figure(season)
    assert "11 to 20 May 2025" in ax.get_title(loc="left")
    level = lines(ax)["pan's level"]
    assert level.get_ydata().min() == pytest.approx(0.0, abs=1e-9)
    assert level.get_ydata().max() == pytest.approx(0.9)
    assert np.all(np.diff(level.get_xdata()) >= 0)
    assert (len(ax.collections), len(ax.patches)) == (
        1,
        0,
    )  # the openings, of which there may be thousands, are one shape
    assert "kg" in ax.get_ylabel()
    assert {"trip: opens", "reset: shuts"} <= texts(ax)
    assert "rim: spills at 4.8 kg" in texts(ax) or any("rim" in t for t in texts(ax))


def test_a_level_near_the_rim_has_the_rim_drawn(make_garden):
    """Rain over the rim in the hottest days."""
    season = replay(make_garden(weather=weather_csv(10, rain=[0.0, 45.5] * 5)))
    (ax,) = figures.pan_level_figure(season)
    assert "rim" in lines(ax)
    assert lines(ax)["rim"].get_ydata()[0] == pytest.approx(ax.get_ylim()[1], rel=0.1)


def test_trip_and_reset_share_a_label_where_the_pan_sank_far_below(make_garden):
    """Without water from the second day on the pan dries, and 4.6 mm of swing are a line's width."""
    cut = {"fault": [{"kind": "supply-cut", "start": dt.date(2025, 5, 2)}]}
    (ax,) = figures.pan_level_figure(replay(make_garden(cut, weather=weather_csv(30))))
    assert "trip, just below reset" in texts(ax)
    assert not {"trip: opens", "reset: shuts"} & texts(ax)
    assert {"trip", "reset"} <= set(lines(ax))


def test_a_knocked_counterweight_moves_the_levels_that_are_drawn(make_garden):
    """The valve trips under 4 kg more water from 15 May on: the rim stands that much nearer."""
    knocked = {"fault": [{"kind": "knocked", "start": dt.date(2025, 5, 15), "trip": "4 kg"}]}
    season = replay(make_garden(knocked, weather=heat_wave()))
    (ax,) = figures.pan_level_figure(season)
    window = hottest_run(season.days["tmax_c"], figures.HOT_DAYS)
    drawn, stood = lines(ax), figures.levels_of(season, "upper", window)
    for name in ("reset", "rim"):
        assert drawn[name].get_ydata()[:-1].tolist() == stood[name].tolist()
    described = season.scenario.controller["upper"]
    before = described.valve.swing_kg + described.pan.freeboard * described.pan.area
    day = [f"{date:%Y-%m-%d}" for date in season.days.index[window]].index("2025-05-15")
    assert stood["rim"][day - 1] == pytest.approx(before)
    assert stood["rim"][day] == pytest.approx(before - 4.0)


def test_a_reset_is_drawn_where_it_stood_on_its_day():
    openings = pd.DataFrame({"cause": "trip", "start_h": [10.0, 40.0], "end_h": [24.0, 48.0]})
    hours, level = figures.level_points(np.full(72, 0.5), openings, 0.0, 72.0, np.array([0.9, 1.3, 2.0]))
    assert level[hours == 24.0].tolist() == [0.5, 0.9]
    assert level[hours == 48.0].tolist() == [0.5, 1.3]


def test_the_hottest_days_are_the_hottest_run(season):
    window = hottest_run(season.days["tmax_c"], figures.HOT_DAYS)
    assert (window.start, window.stop) == (10, 20)
    assert hottest_run(season.days["tmax_c"].iloc[:3], figures.HOT_DAYS) == slice(0, 3)


def test_supplied_and_needed_add_up_to_the_totals(season):
    (ax,) = figures.supplied_against_needed_figure(season)
    bed = season.totals["beds"]["upper/tomatoes"]
    drawn = lines(ax)
    # the figure's number is that of the page's sentence: water while nothing grows meets no need
    assert drawn[STYLES["supplied"].label].get_ydata()[-1] == pytest.approx(bed["irrigation_growing_mm"])
    assert bed["irrigation_growing_mm"] < bed["irrigation_mm"]
    assert f"got {words.mm(bed['irrigation_growing_mm'])}," in ax.get_title(loc="left")
    assert drawn[STYLES["needed"].label].get_ydata()[-1] == pytest.approx(bed["net_demand_mm"])


@pytest.mark.draws
def test_the_weathers_coverage_names_what_was_filled(make_garden):
    text = weather_csv(20).replace("2025-05-04,14.0,30.0,80,35,2.0,0.0,24.0", "2025-05-04,14.0,30.0,80,35,2.0,0.0,")
    season = replay(make_garden(weather=text))
    figure = weather_figures.weather_figure(season.weather, season.days)
    svg = svg_text(figure)
    assert svg.startswith("<svg")
    labels = {t.get_text() for ax in figure for t in ax.get_yticklabels()} if not isinstance(figure, Figure) else set()
    assert {"radiation", "rain", "tmax"} <= labels


@pytest.mark.draws
@pytest.mark.parametrize("name", figures.SEASON_FIGURES)
def test_figures_are_the_same_bytes_twice_and_say_nothing_of_the_machine(name, season, tmp_path):
    for run in ("a", "b"):
        save(drawn := figures.SEASON_FIGURES[name](season), tmp_path / run)
    # a layout solver's last bits differ between processes
    assert all(part == round(part, 9) for ax in drawn for part in ax.get_position(original=True).min)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert svg == (tmp_path / "b.svg").read_text(encoding="utf-8")
    assert not re.search(r"20\d\d-\d\d-\d\dT", svg)


def test_styles_tell_lines_apart_without_colour():
    """In grey, every two lines that share axes differ in dash or width; hatches tell areas apart."""
    for group in (("mean", "driest", "zero"), ("supplied", "supplied_driest", "needed", "etc"), ("tmax", "tmin")):
        looks = [(str(STYLES[name].line), STYLES[name].width) for name in group]
        assert len(set(looks)) == len(looks)


@pytest.mark.draws
def test_a_name_with_a_dollar_is_no_formula(make_garden):
    garden = make_garden(days=3)
    raw = dict(garden.described)
    raw["controller"]["upper"]["bed"] = {"$a^b$": raw["controller"]["upper"]["bed"]["tomatoes"]}
    season = replay(scenario_from(raw, garden.path))
    assert "<svg" in svg_text(figures.season_figure(season))


def test_borrowed_days_have_a_hatch_of_their_own(make_garden, tmp_path):
    (tmp_path / "hill.csv").write_text(weather_csv(20), encoding="utf-8")
    text = weather_csv(20).replace("2025-05-04,14.0,30.0,80,35,2.0,0.0,24.0", "2025-05-04,14.0,30.0,80,35,2.0,0.0,")
    season = replay(make_garden({"weather": {"fallback": [{"file": "hill.csv"}]}}, weather=text))
    coverage = weather_figures.weather_figure(season.weather, season.days)[0]
    hatches = [patch.get_hatch() for patch in coverage.collections]
    assert hatches.count(STYLES["borrowed"].hatch) == 1
    assert STYLES["filled"].hatch not in hatches
    assert len({STYLES[kind].hatch for kind in weather_figures.KINDS}) == 4


def test_a_records_years_are_filled_to_the_share_of_their_days(make_garden):
    """From 1 May 2025 for 300 days: 245 of 365 days of 2025, 55 of 365 of 2026; the rest of each is missing."""
    weather = replay(make_garden(weather=weather_csv(300, radiation=8.0))).weather
    (ax,) = weather_figures.years_figure(weather)
    rows = {label.get_text(): index for index, label in enumerate(ax.get_yticklabels())}
    heights = {}
    for bar in ax.patches:
        row, year = round(bar.get_y() + bar.get_height() / 2.0), round(bar.get_x() + bar.get_width() / 2.0)
        heights.setdefault((row, year), []).append(abs(bar.get_height()) / 0.8)
    assert heights[rows["tmin"], 2025] == pytest.approx([245 / 365, 120 / 365])
    assert heights[rows["tmin"], 2026] == pytest.approx([55 / 365, 310 / 365])


@pytest.mark.parametrize("count", [12, 13])
def test_of_many_beds_the_shortest_of_water_are_drawn_and_the_page_says_so(make_shared_garden, count):
    garden = make_shared_garden(weather=heat_wave())
    raw = copy.deepcopy(dict(garden.described))
    bed = raw["controller"]["upper"]["bed"].pop("tomatoes")
    areas = {f"b{at}": "4 m^2" for at in range(count - 1)} | {"b5": "70 m^2", "dry": "80 m^2"}
    raw["controller"]["upper"]["bed"] = {name: bed | {"area": area} for name, area in areas.items()}
    season = replay(scenario_from(raw, garden.path))
    drawn = list(figures.drawn_beds(season))
    assert len(drawn) == 12 == len(figures.season_figure(season)) - 2
    assert {"upper/b5", "upper/dry"} <= set(drawn)
    assert drawn == [key for key in season.beds if key in drawn]
    said = f"The figures draw 12 of {count} beds"
    assert (said in str(season_report(season, {}).sections)) == (count > 12)
