"""Ranges of a season: seeded, around the season itself, wider with wider doubts."""

from __future__ import annotations

import pytest

from panbudget import replay
from panbudget.reports.season.files import provenance
from panbudget.reports.season.page import report_html
from panbudget.studies.ranges import with_spread
from tests.small_weather import weather_csv

SURE = {"exposure": [1.0, 1.0], "refill_flow": [1.0, 1.0], "emitter_flow": [1.0, 1.0], "pressure": [1.0, 1.0]}


def spread_of(garden, count=40):
    season = replay(garden)
    return season, with_spread(season, count).totals["spread"]


@pytest.mark.parametrize("season", [{}, {"season": {"start": "2025-05-08", "spin_up": "7 days"}}], ids=["", "spin-up"])
def test_without_doubt_there_is_no_range(make_garden, season):
    """Every sample is then the season itself, to the last digit that ranges are given with."""
    season, spread = spread_of(make_garden({"statement": SURE, **season}, weather=weather_csv(60)))
    bed, valve = season.totals["beds"]["upper/tomatoes"], season.totals["controllers"]["upper"]
    for key, value in (
        ("litres", bed["litres"]),
        ("stress_days", bed["stress_days"]),
        ("driest_quarter_stress_days", bed["driest_quarter"]["stress_days"]),
        ("deep_percolation_mm", bed["deep_percolation_mm"]),
    ):
        found = spread["beds"]["upper/tomatoes"][key]
        assert found["low"] == found["median"] == found["high"] == pytest.approx(value, abs=1e-8)
    assert spread["controllers"]["upper"]["litres"]["high"] == pytest.approx(valve["litres"], abs=1e-8)
    assert spread["controllers"]["upper"]["openings"]["low"] == valve["openings"]


def test_a_beds_litres_follow_its_emitters_and_the_valves_add_up(make_garden):
    """Emitters 1.2 times for sure: 1.2 times the bed's water, the refill's share unchanged."""
    plain, _ = spread_of(make_garden({"statement": SURE}))
    only = {"statement": {**SURE, "emitter_flow": [1.0, 1.4]}}
    _, spread = spread_of(make_garden(only), 200)
    litres = plain.totals["beds"]["upper/tomatoes"]["litres"]
    found = spread["beds"]["upper/tomatoes"]["litres"]
    # evenly between 1 and 1.4 times, the middle 90 %
    assert found["low"] == pytest.approx(1.02 * litres, rel=0.015)
    assert found["high"] == pytest.approx(1.38 * litres, rel=0.015)
    refilled = plain.totals["controllers"]["upper"]["refilled_kg"]
    assert spread["controllers"]["upper"]["litres"]["high"] == pytest.approx(found["high"] + refilled, rel=1e-9)


def test_two_runs_draw_the_same_and_the_season_is_left_alone(make_garden):
    season = replay(make_garden())
    assert with_spread(season, 25).totals["spread"] == with_spread(season, 25).totals["spread"]
    assert "spread" not in season.totals
    with pytest.raises(ValueError, match="too few"):
        with_spread(season, 5)


def test_the_report_has_the_ranges_only_when_asked(make_garden):
    season = replay(make_garden())
    page = report_html(with_spread(season, 25), {}, provenance(season))
    assert "<h2>Ranges</h2>" in page
    assert "The middle 90\u00a0% of 25 seasons" in page
    assert "<h2>Ranges</h2>" not in report_html(season, {}, provenance(season))
