"""Weeks: sums of the days, and reasons that hold."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest

from panbudget import replay
from panbudget.reports.season.weeks import weeks_table
from tests.small_weather import weather_csv


class Stub(SimpleNamespace):
    """A season in outline."""

    __hash__ = object.__hash__


def test_weeks_add_up_to_the_season(make_garden):
    season = replay(make_garden(weather=weather_csv(30, rain=[0.0] * 15 + [25.5] + [0.0] * 14)))
    weeks = weeks_table(season)
    assert weeks["days"].tolist() == [7, 7, 7, 7, 2]
    assert weeks_table(season) is weeks  # file and figure share it
    bed = season.beds["upper/tomatoes"]
    for column in ("irrigation_mm", "rain_mm", "deep_percolation_mm"):
        assert weeks[column].sum() == pytest.approx(bed[column].sum())
    assert weeks["week_from"].tolist()[:2] == ["2025-05-01", "2025-05-08"]


def test_small_plants_are_the_reason_in_spring_and_thirst_in_summer(make_garden):
    bed = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 36}}}}}}
    season = replay(make_garden(bed, days=110))
    weeks = weeks_table(season)
    assert "the plants are small" in weeks["why"].iloc[1]
    assert "short: the plants suffer" in weeks["why"].iloc[-1]


def test_no_reason_contradicts_days_of_stress(make_garden):
    """A bed that starts empty gets far more than it uses and suffers all the same; none is told of spare emitters."""
    bed = {"emitters": {"count": 200}, "initial_depletion": 0.95, "planted": "2025-03-10"}
    season = replay(make_garden({"controller": {"upper": {"bed": {"tomatoes": bed}}}}, weather=weather_csv(21)))
    weeks = weeks_table(season)
    suffers = weeks[weeks["stress_days"] > 0]
    assert (suffers["irrigation_mm"] > suffers["etc_less_rain_mm"]).any()
    assert suffers["why"].str.match(r"short(:| on \d+.days?: the soil was dry from before)").all()
    assert not weeks[weeks["stress_days"] == 0]["why"].str.contains("short").any()


def test_etc_less_rain_is_net_demand_but_for_what_the_soil_gains(make_garden):
    """With roots that do not grow; 30 dry days but for one shower."""
    plants = {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.45}
    change = {"controller": {"upper": {"bed": {"tomatoes": {"plants": plants, "planted": None}}}}}
    season = replay(make_garden(change, weather=weather_csv(30, rain=[0.0] * 15 + [25.5] + [0.0] * 14)))
    bed = season.beds["upper/tomatoes"]
    fallen = bed["exact_depletion_mm"].iloc[-1]
    assert weeks_table(season)["etc_less_rain_mm"].sum() == pytest.approx(bed["net_demand_mm"].sum() + fallen)


def test_a_week_in_which_nothing_grows_needs_nothing(make_garden):
    late = {"controller": {"upper": {"bed": {"tomatoes": {"planted": "2025-05-08"}}}}}
    first, second = weeks_table(replay(make_garden(late, days=14)))["etc_less_rain_mm"]
    assert first == 0.0 < second


def test_a_week_of_rain_is_said_to_be(make_garden):
    bed = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 60}}}}}}
    season = replay(make_garden(bed, weather=weather_csv(21, rain=[0.0] * 7 + [45.5] + [0.0] * 13)))
    assert "spilled rain" in weeks_table(season)["why"].iloc[1]


def why(*, highest_kc=1.0, spilled=0.0, **week):
    """The reason given for one week, whose amounts fall on its first day; a second, sound week has the highest Kc."""
    columns = ("irrigation_mm", "exact_irrigation_mm", "exact_etc_mm", "rain_mm", "runoff_mm", "deep_percolation_mm")
    table = pd.DataFrame(0.0, index=pd.date_range("2025-05-01", periods=14), columns=list(columns))
    table = table.assign(exact_deep_percolation_mm=0.0, ks=1.0, kc=highest_kc, growing=True)
    kc = week.pop("kc", highest_kc)
    for name, amount in week.items():
        table.iloc[0, list(table).index(name)] = amount
    table.iloc[:7, list(table).index("kc")] = kc
    pan = pd.DataFrame({"spilled_kg": [spilled, *[0.0] * 13]}, index=table.index)
    season = Stub(beds={"upper/tomatoes": table}, controllers={"upper": pan})
    return weeks_table(season)["why"].iloc[0]


@pytest.mark.parametrize(
    ("given", "needed", "part"),
    [
        (75.0, 60.0, False),  # a quarter more, and less
        (75.1, 60.0, True),
        (45.0, 60.0, False),
        (44.9, 60.0, True),
        (11.0, 6.0, False),  # 5 mm, where a quarter is less
        (11.1, 6.0, True),
        (1.0, 6.0, False),
        (0.9, 6.0, True),
    ],
)
def test_supply_is_near_within_a_quarter_of_etc_less_rain_or_five_millimetres(given, needed, part):
    """Common practice, no source."""
    assert bool(why(irrigation_mm=given, exact_etc_mm=needed)) is part


@pytest.mark.parametrize(("given", "part"), [(2.0, False), (2.1, True)])
def test_a_week_with_more_rain_than_etc_is_near_within_five_millimetres(given, part):
    """By hand: 4 mm of ETc less 7 of rain are −3; a quarter of that counts as none."""
    assert bool(why(irrigation_mm=given, exact_etc_mm=4.0, rain_mm=7.0)) is part


@pytest.mark.parametrize(("kc", "small"), [(0.75, False), (0.74, True)])
def test_plants_are_small_below_three_quarters_of_the_highest_kc(kc, small):
    """Common practice, no source."""
    assert ("the plants are small" in why(irrigation_mm=60.0, exact_etc_mm=20.0, kc=kc)) is small


@pytest.mark.parametrize(("rain", "spilled", "said"), [(5.0, 1.0, False), (5.1, 1.0, True), (5.1, 0.0, False)])
def test_a_pan_that_spills_is_a_reason_from_over_five_millimetres_of_rain(rain, spilled, said):
    reason = why(irrigation_mm=60.0, exact_etc_mm=30.0, rain_mm=rain, spilled=spilled)
    assert ("the pan spilled rain" in reason) is said


@pytest.mark.parametrize(("rain", "said"), [(10.0, False), (10.1, True)])
def test_rain_that_met_the_need_is_a_reason_from_over_the_need(rain, said):
    """By hand: 20 mm of ETc less 10 of rain are 10 mm."""
    reason = why(irrigation_mm=60.0, exact_etc_mm=20.0, rain_mm=rain)
    assert ("rain met the need" in reason) is said


@pytest.mark.parametrize(("runoff", "said"), [(5.0, False), (5.1, True)])
def test_rain_that_the_soil_could_not_hold_is_a_reason_from_over_five_millimetres_of_it(runoff, said):
    reason = why(exact_etc_mm=60.0, rain_mm=20.0, runoff_mm=runoff)
    assert ("could not hold" in reason) is said
