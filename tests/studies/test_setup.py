"""What to set, worked again by hand; the refill calendar; what turning it gains."""

from __future__ import annotations

import copy
import dataclasses
import datetime as dt
import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from panbudget import replay
from panbudget.errors import PanbudgetError, ScenarioError
from panbudget.scenario.garden import scenario_from
from panbudget.season.totals import hourly_evaporation
from panbudget.studies import setup as study
from panbudget.studies.setup import TURNED, _turned, ml_per_minute, setup
from panbudget.weather.of_scenario import read_scenario_weather
from tests.small_weather import weather_csv

SHOWERS = [0.0 if day % 9 else 12.0 for day in range(92)]
PAN = [6.0 + 3.0 * (day // 31) for day in range(92)]  # 6 mm in May, 9 in June, and 12 at July's end: 92 days


@pytest.fixture
def make(make_garden):
    def made(change=None):
        garden = make_garden(weather=weather_csv(92, rain=SHOWERS, pan=PAN))
        return garden.changed(change) if change else garden

    return made


_PLAIN = []


def plain(make):
    """The garden without a change, its season and what is to be set: made once, and only looked at."""
    if not _PLAIN:
        garden = make()
        _PLAIN.append((garden, replay(garden), setup(garden)))
    return _PLAIN[0]


def rows(sheet):
    """The months of a sheet, by name."""
    return list(sheet.months.itertuples())


def test_levels_weights_and_flows_are_those_worked_by_hand(make):
    """A round pan of 50 cm, 18 cm deep, 20 mm of freeboard, a swing of 0.9 kg, 2 L/h rated at 100 kPa on 150."""
    sheet = plain(make)[2].sheets["upper"]
    area = math.pi * 0.25**2
    assert sheet.area == pytest.approx(area)
    assert sheet.swing_mm == pytest.approx(0.9 / area)  # 4.58 mm
    assert sheet.water_at_reset_kg == pytest.approx(160.0 * area)  # 31.4 kg
    assert (sheet.swing_g, sheet.counterweight_g) == (pytest.approx(900.0), pytest.approx(900.0))
    flow = 2.0 * math.sqrt(1.5)
    assert sheet.refill == pytest.approx(flow * 1000 / 60)  # 40.8 mL/min
    assert sheet.minutes_by_jug == pytest.approx(0.9 / flow * 60)  # 22.0 min
    assert sheet.emitters == {"tomatoes": (30, pytest.approx(flow * 1000 / 60))}


def test_an_uneven_beam_has_the_counterweights_own_difference(make):
    test = {"falls_at": "4.0 kg", "rises_at": "3.5 kg", "arm_ratio": 2.0}
    sheet = setup(make({"controller": {"upper": {"valve": {"set_up_test": test}}}})).sheets["upper"]
    assert (sheet.swing_g, sheet.counterweight_g) == (pytest.approx(1000.0), pytest.approx(500.0))


def test_the_ruler_test_is_the_mean_of_runs_of_three_dry_days(make):
    """May: 6 mm a day, showers on days 1, 10, 19 and 28 of the record: 6 + 6 + 6 + 1 runs of three dry days."""
    months = rows(plain(make)[2].sheets["upper"])
    assert [m.month for m in months] == [5, 6, 7]
    assert months[0].drop_mm == pytest.approx(18.0)
    assert months[0].dry_runs == 6 + 6 + 6 + 1
    assert months[1].drop_mm == pytest.approx(27.0)
    assert months[2].drop_mm == pytest.approx(36.0)


def test_the_ruler_test_gives_the_least_and_the_most_of_the_record(make_garden):
    """A pan that loses 1.0, 1.2, 1.4 … 7.0 mm: 29 runs of three, from 3.6 to 20.4 mm, 12 on average."""
    garden = make_garden(weather=weather_csv(31, pan=[1.0 + 0.2 * day for day in range(31)]))
    (month,) = rows(setup(garden).sheets["upper"])
    assert month.dry_runs == 29
    assert [month.drop_low_mm, month.drop_mm, month.drop_high_mm] == pytest.approx([3.6, 12.0, 20.4])


def test_a_month_without_three_dry_days_falls_back_on_its_mean_day(make_garden):
    garden = make_garden(weather=weather_csv(31, rain=[0.0, 0.0, 1.0] * 10 + [0.0], pan=7.0))
    (month,) = rows(setup(garden).sheets["upper"])
    assert (month.dry_runs, month.drop_mm) == (0, pytest.approx(21.0))


def test_weeks_are_the_seasons_own_sums(make):
    _, season, plan = plain(make)
    months = rows(plan.sheets["upper"])
    june = season.controllers["upper"].loc["2025-06"]
    assert months[1].openings_a_week == pytest.approx(june["openings"].sum() / 30 * 7)
    assert months[1].litres_a_week == pytest.approx(june["litres"].sum() / 30 * 7)
    begun = season.openings[
        season.openings["start"].dt.strftime("%Y-%m").eq("2025-06") & season.openings["end_h"].notna()
    ]
    assert months[1].minutes == pytest.approx(begun["minutes"].median())


def test_pressed_openings_count_among_the_openings_and_their_minutes_alike(make):
    """A press each sunset and trips besides: openings, their median minutes, and how many of them were pressed."""
    garden = make({"controller": {"upper": {"valve": {"press_times": ["sunset"]}}}})
    season, months = replay(garden), rows(setup(garden).sheets["upper"])
    june = season.openings[season.openings["start"].dt.strftime("%Y-%m").eq("2025-06")]
    assert set(june["cause"]) == {"trip", "press"}
    assert months[1].openings_a_week == pytest.approx(len(june) / 30 * 7)
    assert months[1].pressed_a_week == pytest.approx((june["cause"] == "press").sum() / 30 * 7)
    assert months[1].minutes == pytest.approx(june["minutes"].median())
    as_it_is = rows(plain(make)[2].sheets["upper"])
    assert {month.pressed_a_week for month in as_it_is} == {0.0}


def test_the_calendar_is_flow_times_supply_over_need(make):
    _, season, plan = plain(make)
    sheet = plan.sheets["upper"]
    bed = season.beds["upper/tomatoes"]
    for month, name in zip(rows(sheet), ("2025-05", "2025-06", "2025-07"), strict=True):
        part = bed.loc[name]
        grows = part["growing"]
        assert month.supply_mm == pytest.approx(part["driest_irrigation_mm"][grows].sum())
        # exact refill's need, from the other side: ETc less the rain that it did not have to drain
        before = bed["exact_depletion_mm"].shift(1, fill_value=0.0).loc[name]
        need = (part["net_demand_mm"] + part["exact_depletion_mm"] - before)[grows].sum()
        assert month.need_mm == pytest.approx(need)
        if not month.bound:
            assert month.refill == round(sheet.refill * month.supply_mm / month.need_mm)
    total = sum(month.need_mm for month in rows(sheet))
    left = bed["exact_depletion_mm"].iloc[-1]
    assert total == pytest.approx(bed["net_demand_mm"].sum() + left, rel=0.05)


def test_the_first_gain_is_the_season_as_it_is(make):
    _, season, plan = plain(make)
    as_it_is = plan.sheets["upper"].gains[0]
    quarter = season.totals["beds"]["upper/tomatoes"]["driest_quarter"]
    assert as_it_is.stress_days == quarter["stress_days"]
    assert as_it_is.litres == pytest.approx(season.totals["controllers"]["upper"]["litres"], rel=1e-9)
    assert as_it_is.drained_mm == pytest.approx(season.totals["beds"]["upper/tomatoes"]["deep_percolation_mm"])


def test_one_flow_is_what_replay_gives_with_it(make):
    garden, _, plan = plain(make)
    sheet = plan.sheets["upper"]
    one = sheet.gains[1]
    flow = one.refill * 60 / 1000 / math.sqrt(1.5)  # nominal, at 100 kPa
    changed = garden.changed({"controller": {"upper": {"valve": {"refill": {"flow": f"{flow!r} L/h"}}}}})
    season = replay(changed)
    assert one.litres == pytest.approx(season.totals["controllers"]["upper"]["litres"], rel=1e-9)
    assert one.stress_days == season.totals["beds"]["upper/tomatoes"]["driest_quarter"]["stress_days"]


def test_turning_the_refill_brings_each_months_supply_to_its_need(make):
    """The law behind the calendar: water goes as one over the refill flow."""
    garden, _, plan = plain(make)
    sheet = plan.sheets["upper"]
    state = None
    for month in rows(sheet):
        if month.bound:
            pytest.skip("a bound bites")
        flow = month.refill * 60 / 1000 / math.sqrt(1.5)
        first = dt.date(2025, month.month, 1)
        last = dt.date(2025, month.month, int(month.days))
        part = garden.changed({"controller": {"upper": {"valve": {"refill": {"flow": f"{flow!r} L/h"}}}}})
        season = replay(part, start=first, end=last, state=state)
        state = season.state
        bed = season.beds["upper/tomatoes"]
        got = bed["driest_irrigation_mm"][bed["growing"]].sum()
        # a swing more or less in the month, and a rounded flow
        assert got == pytest.approx(month.need_mm, rel=0.06)
    assert sheet.gains[2].way == TURNED
    assert sheet.gains[2].refill is None


def test_years_are_averaged(make_garden):
    """Two equal Mays give one May's figures."""
    one = make_garden(weather=weather_csv(31))
    sheet = setup(one).sheets["upper"]
    lines = weather_csv(31 + 365).splitlines()
    winter = [row.replace(",24.0,", ",8.0,") if not "04" <= row[5:7] <= "08" else row for row in lines]
    two = make_garden({"season": {"end": dt.date(2025, 5, 31)}}, weather="\n".join(winter) + "\n")
    plan = setup(two, weather=read_scenario_weather(two))
    assert plan.years == (2025, 2026)
    for a, b in zip(rows(plan.sheets["upper"]), rows(sheet), strict=True):
        assert a.litres_a_week == pytest.approx(b.litres_a_week, rel=0.02)
        assert (a.supply_mm, a.need_mm) == pytest.approx((b.supply_mm, b.need_mm), rel=0.02)
        assert a.days == b.days
    for a, b in zip(plan.sheets["upper"].gains, sheet.gains, strict=True):
        assert a.litres == pytest.approx(b.litres, rel=0.02)


def test_the_neediest_bed_leads_unless_another_is_chosen(make):
    garden = make(
        {
            "controller": {
                "upper": {
                    "bed": {
                        "beans": {
                            "area": "12 m^2",
                            "emitters": {"count": 5, "flow": "2 L/h", "at": "100 kPa"},
                            "soil": "loam",
                            "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.45},
                        }
                    }
                }
            }
        }
    )
    assert setup(garden).sheets["upper"].bed == "upper/beans"
    chosen = setup(garden, beds=["upper/tomatoes"]).sheets["upper"]
    assert chosen.bed == "upper/tomatoes"
    assert chosen.gains[0].other_stress_days > 0
    with pytest.raises(ScenarioError, match=r'bed = "upper/bean" is not in the file; did you mean "upper/beans"\?'):
        setup(garden, beds=["upper/bean"])
    with pytest.raises(ScenarioError, match="two beds are chosen at upper"):
        setup(garden, beds=["upper/beans", "upper/tomatoes"])


@pytest.mark.parametrize(
    ("supply", "need", "least", "turned"),
    [
        (80.0, 100.0, 0.0, (32, "")),  # 40 · 0.8
        (25.0, 100.0, 0.0, (10, "")),  # a quarter of the present flow, to the mL
        (24.9, 100.0, 0.0, (10, "least")),
        (400.0, 100.0, 0.0, (160, "")),  # four times
        (400.1, 100.0, 0.0, (160, "most")),
        (80.0, 100.0, 32.0, (32, "")),  # what the sun takes
        (80.0, 100.0, 32.2, (33, "least")),  # upwards, or the valve sticks open
        (5.0, 0.0, 0.0, (160, "most")),  # no need at all
        (400.0, 100.0, 170.0, (170, "least")),  # more than four times, where the sun takes that much
        (20.0, 100.0, 170.0, (170, "least")),
    ],
)
def test_the_flow_is_supply_over_need_between_a_quarter_and_four_times(supply, need, least, turned):
    """A present flow of 40 mL/min; worked by hand."""
    assert _turned(40.0, supply, need, least) == turned


def test_the_refill_must_outrun_the_hottest_hour_by_half(make):
    """A bed that wants hardly any refill flow, of a present one so small that a quarter of it would be outrun."""
    # a large pan, so that a tenth more or less of the least flow is more than the mL to which it is rounded
    few = {"valve": {"refill": {"flow": "9 L/h"}}, "bed": {"tomatoes": {"emitters": {"count": 3}}}}
    few["pan"] = {"vessels": [{"diameter": "150 cm"}]}
    garden = make({"controller": {"upper": few}})
    season, sheet = replay(garden), setup(garden).sheets["upper"]
    share = season.forcing.days.daylight_share.max(axis=1)  # no night share in this pan
    assert season.forcing.pans.night_share[0] == 0.0
    hottest = (season.controllers["upper"]["pan_mm"].to_numpy() * share).max() * sheet.area  # L/h
    least = int(np.ceil(1.5 * hottest * 1000 / 60))
    assert least > 0.25 * sheet.refill
    assert {(month.refill, month.bound) for month in rows(sheet)} == {(least, "least")}


@pytest.mark.parametrize(("rain", "runs"), [(0.0, 29), (0.09, 29), (0.1, 26)])
def test_a_tenth_of_a_millimetre_is_a_wet_day(make_garden, rain, runs):
    """One shower on the tenth day of 31: the three runs of three days that hold it fall out from 0.1 mm on."""
    garden = make_garden(weather=weather_csv(31, rain=[rain if day == 9 else 0.0 for day in range(31)]))
    (month,) = rows(setup(garden).sheets["upper"])
    assert month.dry_runs == runs


def test_runs_of_dry_days_do_not_cross_a_months_end(make_garden):
    """31 days of May and 30 of June, all dry: 29 and 28 runs of three."""
    months = rows(setup(make_garden(weather=weather_csv(61))).sheets["upper"])
    assert [month.dry_runs for month in months] == [29, 28]


def test_a_flow_that_can_t_be_set_is_bounded_and_said(make):
    """With 3 emitters on 12 m² the bed would want a tenth of the flow: a quarter is the least."""
    sheet = setup(make({"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 3}}}}}})).sheets["upper"]
    assert {m.bound for m in rows(sheet)} == {"least"}
    assert all(m.refill == int(np.ceil(0.25 * sheet.refill)) for m in rows(sheet))


def test_a_month_in_which_the_bed_does_not_grow_keeps_the_flow(make):
    late = {"controller": {"upper": {"bed": {"tomatoes": {"planted": dt.date(2025, 6, 1)}}}}}
    months = rows(setup(make(late)).sheets["upper"])
    assert months[0].bound == "idle"
    assert (months[0].supply_mm, months[0].need_mm) == (0.0, 0.0)
    assert months[0].refill == pytest.approx(ml_per_minute(2.0 * math.sqrt(1.5)))


def test_a_made_heat_wave_is_left_out_and_said(make):
    heat = {"what_if": {"heat": {"start": dt.date(2025, 6, 10), "warmer": "+5 K"}}}
    with_heat, without = setup(make(heat)), plain(make)[2]
    assert with_heat.table().equals(without.table())
    assert "left out" in with_heat.assumptions[0]


def test_a_flow_is_a_whole_millilitre_a_minute_and_one_at_least():
    """1.2 mL/min: a quarter of it is 0.3, which no jug shows; 41.4 mL/min: four times are 165.6, downwards."""
    assert _turned(1.2, 30.0, 100.0, 0.0) == (1, "")
    assert _turned(41.4, 500.0, 100.0, 0.0) == (165, "most")


@pytest.mark.parametrize(("dark_at", "most"), [(12, 0.35), (1, 0.3)])
def test_the_hottest_hour_has_its_own_share_of_the_night(dark_at, most):
    """
    Half a square metre, a quarter of the loss spread over the dark: 4 mm, of which the hottest hour takes a fifth by
    day and a tenth by dark: 4 (0.75 / 5 + 0.25 / 10) 0.5 = 0.35 L; a day of 6 mm and half of these shares 0.2625 L.
    What another hour loses by dark is not its own.
    """
    day, dark = np.zeros((2, 24)), np.zeros((2, 24))
    day[:, 12], dark[:, dark_at] = (0.2, 0.1), (0.1, 0.05)
    forcing = SimpleNamespace(
        pans=SimpleNamespace(night_share=np.array([0.9, 0.25]), area=np.array([7.0, 0.5])),
        days=SimpleNamespace(daylight_share=day, dark_share=dark),
    )
    assert hourly_evaporation(forcing, 1, np.array([4.0, 6.0])).max() == pytest.approx(most)


def test_openings_count_in_the_month_in_which_they_begin_and_those_from_before_the_season_not_at_all():
    """By hand: one still open at the end has no length; the first hour of June is the 744th of a season from 1 May."""
    rows = [
        ("upper", -0.5, 1.0, 90.0, "trip"),
        ("upper", 0.0, 0.5, 30.0, "trip"),
        ("lower", 1.0, 2.0, 60.0, "trip"),
        ("upper", 743.9, 744.4, 30.0, "press"),
        ("upper", 744.0, np.nan, 20.0, "trip"),
    ]
    openings = pd.DataFrame(rows, columns=["controller", "start_h", "end_h", "minutes", "cause"])
    season = SimpleNamespace(openings=openings, days=pd.DataFrame(index=pd.date_range("2025-05-01", periods=40)))
    begun = study._openings_begun(season, "upper")
    assert begun["month"].tolist() == [5, 5, 6]
    assert begun["pressed"].tolist() == [False, True, False]
    assert begun["minutes"].tolist()[:2] == [30.0, 30.0]
    assert np.isnan(begun["minutes"].iloc[2])


def test_the_neediest_bed_has_the_least_of_its_need_and_one_that_needs_nothing_has_enough(monkeypatch):
    """By hand: a gets 9 of 10 mm, b 4 of 5, c needs none; of beds that need nothing the first."""
    days = {"a": (9.0, 10.0), "b": (4.0, 5.0), "c": (3.0, 0.0), "d": (0.0, 0.0)}

    def two_halves(season, name, key):
        supply, need = days[key.split("/")[1]]
        return pd.DataFrame({"supply_mm": [supply / 2] * 2, "need_mm": [need / 2] * 2})

    monkeypatch.setattr(study, "_days", two_halves)

    def neediest(*beds):
        scenario = SimpleNamespace(controller={"upper": SimpleNamespace(bed=dict.fromkeys(beds))})
        return study._neediest("upper", [SimpleNamespace(scenario=scenario)])

    assert neediest("c", "a", "b") == "upper/b"
    assert neediest("c", "a") == "upper/a"
    assert neediest("d", "c") == "upper/d"


def test_the_need_of_the_first_day_counts_from_the_soils_first_morning(make_garden):
    """A quarter of the water gone already is none that the first day has taken."""
    bed = {"initial_depletion": 0.25, "planted": dt.date(2025, 5, 1)}
    season = replay(make_garden({"controller": {"upper": {"bed": {"tomatoes": bed}}}}, days=3))
    table = season.beds["upper/tomatoes"]
    days = study._days(season, "upper", "upper/tomatoes")
    began = 0.25 * table["taw_mm"].iloc[0]
    first = table["net_demand_mm"].iloc[0] + table["exact_depletion_mm"].iloc[0] - began
    assert days["need_mm"].iloc[0] == pytest.approx(first, rel=1e-12)
    assert 0.0 < first < began


def test_need_is_what_the_plants_use_less_rain_after_a_spin_up_and_over_a_change_of_roots(make_garden):
    """Ten dry days before the season took what no day of it has; roots less deep from 13 May on leave a lack below."""
    rows = (("tomato", [5, 5, 4, 4], dt.date(2025, 4, 25)), ("lettuce", [10, 10, 10, 10], dt.date(2025, 5, 13)))
    turns = [{"plants": {"name": name, "stages": stages}, "planted": day} for name, stages, day in rows]
    salad = {"area": "4 m^2", "emitters": {"count": 8, "flow": "2 L/h"}, "soil": "loam", "plantings": turns}
    days = {"start": dt.date(2025, 5, 1), "spin_up": "10 days"}
    change = {"season": days, "controller": {"upper": {"bed": {"salad": salad}}}}
    season = replay(make_garden(change, weather=weather_csv(41, start=dt.date(2025, 4, 21))))
    table = season.beds["upper/salad"]
    assert table["growing"].all()
    assert table["exact_left_below_mm"].loc["2025-05-13"] > 1.0
    assert study._days(season, "upper", "upper/salad")["need_mm"].tolist() == pytest.approx(
        table["exact_eta_mm"].tolist()
    )


@pytest.mark.parametrize(
    ("model", "other"), [("from-eto", "energy-balance"), ("energy-balance", "from-eto"), ("measured", "energy-balance")]
)
def test_the_other_pan_model_is_told_as_a_share_of_the_one_used(make_garden, model, other):
    garden = make_garden({"controller": {"upper": {"pan": {"evaporation": model}}}}, days=5)
    evaporation = replay(garden).forcing.pan_of["upper"].evaporation
    sheet = setup(garden).sheets["upper"]
    assert sheet.other_model == pytest.approx(evaporation[other].sum() / evaporation[model].sum())
    assert sheet.model == model


@pytest.mark.parametrize(("turned", "kept"), [(1.0, False), (1.1, True)])
def test_no_calendar_that_makes_things_worse_over_the_draws(make, monkeypatch, turned, kept):
    sure = study.Sure(1.0, (1.0, 2.0), None, None, 0.05, 0.05, (1.0, 1.0, turned))
    monkeypatch.setattr(study, "_sure", lambda *_: sure)
    sheet = setup(make()).sheets["upper"]
    assert ({month.bound for month in rows(sheet)} == {study.KEPT}) is kept
    assert ({month.refill for month in rows(sheet)} == {sheet.refill}) is kept


@pytest.mark.parametrize(
    ("starved", "others", "worse"), [(0.1, 1.0, False), (0.1, 1.1, True), (0.0, 1.1, False), (None, 1.1, False)]
)
def test_a_calendar_takes_from_no_other_bed_where_the_tank_runs_dry(make, starved, others, worse):
    """The chosen bed gains far more than the others lose; on mains, and from a tank that lasts, that is a gain."""
    sheet = plain(make)[2].sheets["upper"]
    now = dataclasses.replace(sheet.gains[0], stress_days=20.0, other_stress_days=1.0)
    then = dataclasses.replace(sheet.gains[-1], stress_days=0.0, other_stress_days=others)
    sure = dataclasses.replace(sheet.sure, mean_days=(21.0, 2.0))
    assert dataclasses.replace(sheet, starved_hours=starved, gains=(now, then), sure=sure).is_worse is worse


def test_a_tolerance_will_do_where_both_its_ends_keep_the_wish_as_often_as_asked(make, monkeypatch):
    """A bed short on 10 days from 4 % more refill on, and none before: 5 % will not do, 2 % will."""
    season = replay(make())

    def drawn(name, seasons, draws, run):
        short = np.where(draws.refill_flow["upper"] > 1.04, 10.0, 0.0)
        return short[None, :, None], short[None, :]

    monkeypatch.setattr(study, "_drawn", drawn)
    monkeypatch.setattr(study.ranges, "drawn_factors", lambda scenario, count: study.ranges.scanned(scenario))
    sure = study._sure("upper", [season], [None])
    assert (sure.share, sure.refill_within, sure.swing_within) == (1.0, 0.02, 0.05)
    assert sure.refill_flow == (0.4, 1.0)


def test_the_wish_and_the_share_asked_for_count_as_kept_where_they_are_just_met(make, monkeypatch):
    """Three days short, as many as the garden bears, in nine draws of ten, as often as it asks for."""
    just = np.array([3.0] * 9 + [4.0])
    monkeypatch.setattr(study, "_drawn", lambda *_: (just[None, :, None], just[None, :]))
    sure = study._sure("upper", [replay(make())], [None])
    coarse = study.ranges.COARSE
    assert (sure.share, sure.refill_within, sure.swing_within) == (0.9, 0.05, 0.05)
    assert sure.exposure == sure.refill_flow == (coarse[0], coarse[-1])


def test_a_tolerance_reaches_to_either_side_and_each_factor_is_looked_at_alone(make, monkeypatch):
    """A bed that is short at 5 % less refill, and wherever both factors are other than 1."""

    def drawn(name, seasons, draws, run):
        refill, exposure = draws.refill_flow["upper"], draws.exposure["upper"]
        short = np.where((refill == 0.95) | ((refill != 1.0) & (exposure != 1.0)), 10.0, 0.0)
        return short[None, :, None], short[None, :]

    monkeypatch.setattr(study, "_drawn", drawn)
    monkeypatch.setattr(study.ranges, "drawn_factors", lambda scenario, count: study.ranges.scanned(scenario))
    sure = study._sure("upper", [replay(make())], [None])
    coarse = study.ranges.COARSE
    assert sure.refill_within == 0.02
    assert sure.exposure == sure.refill_flow == (coarse[0], coarse[-1])


@pytest.mark.parametrize(("kept", "within"), [(88, 0.05), (87, 0.0)])
def test_a_swing_that_is_off_may_cost_two_cells_in_a_hundred(kept, within, make, monkeypatch):
    """Of the 90 in a hundred in which the wish is kept, as often as it is asked for."""

    def drawn(name, seasons, draws, run):
        cells = 90 if (draws.swing["upper"] == 1.0).all() else kept
        short = np.repeat([0.0, 10.0], [cells, 100 - cells])
        return short[None, :, None], short[None, :]

    monkeypatch.setattr(study, "_drawn", drawn)
    monkeypatch.setattr(study.ranges, "drawn_factors", lambda scenario, count: study.ranges.scanned(scenario))
    assert study._sure("upper", [replay(make())], [None]).swing_within == within


def test_each_months_ranges_are_of_the_draws(make):
    """By hand: the same months of each drawn season; the flow to set goes with the supply of a draw, in the mean of the years."""
    _, season, plan = plain(make)
    sheet, table = plan.sheets["upper"], plan.sheets["upper"].months
    outs = list(study.ranges.sampled_results(season, 2, lanes=[1]))
    month, growing = season.days.index.month, season.beds["upper/tomatoes"]["growing"].to_numpy()
    for row in table.itertuples():
        of_month = month == row.month
        litres = [7.0 * out.drawn[0, of_month].sum() / of_month.sum() for out in outs]
        supply = [out.irrigation[0, of_month & growing].sum() for out in outs]
        assert (row.litres_a_week_low, row.litres_a_week_high) == pytest.approx(
            tuple(np.quantile(litres, [0.05, 0.95]))
        )
        openings = [7.0 * out.openings[0, of_month].sum() / of_month.sum() for out in outs]
        assert (row.openings_a_week_low, row.openings_a_week_high) == pytest.approx(
            tuple(np.quantile(openings, [0.05, 0.95]))
        )
        for flow, of in zip((row.refill_low, row.refill_high), np.quantile(supply, [0.05, 0.95]), strict=True):
            assert flow == max(round(sheet.refill * of / row.need_mm), 1)


def test_a_draws_days_short_are_the_growing_ones_on_which_the_driest_quarter_lacks_water(make):
    """Of a bed on a small pan that grows for 60 of the 92 days, by hand from the engine's own days."""
    planted = {"plants": {"name": "tomato", "stages": [10, 20, 20, 10]}}
    small = {"pan": {"vessels": [{"diameter": "30 cm"}]}, "bed": {"tomatoes": planted}}
    season = replay(make({"controller": {"upper": small}}))
    days, litres = study._drawn("upper", [season], 2, study.ranges.engine_for(2))
    outs = list(study.ranges.sampled_results(season, 2, lanes=[1]))
    growing = season.beds["upper/tomatoes"]["growing"].to_numpy()
    assert days.tolist() == [[[((out.ks[0] < 1.0) & growing).sum()] for out in outs]]
    assert litres[0] == pytest.approx([out.drawn[0].sum() for out in outs])
    assert 0 < days.min() <= days.max() < growing.sum() == 60


def test_paper_is_taken_as_the_command_takes_it(make_garden):
    garden = make_garden()
    assert setup(garden, paper="Letter").paper == "Letter"
    with pytest.raises(PanbudgetError, match=r'paper = "A5" is unknown; expected: A4 or Letter'):
        setup(garden, paper="A5")


def test_under_a_tank_the_jug_goes_by_its_level(make_garden):
    """By hand: 2 L/h at 100 kPa and an exponent of a half, under 1 m³ on 1 m², 2 m up: 3 m of head full, 2.5 m half full."""
    tank = {"kind": "tank", "volume": "1 m^3", "footprint": "1 m^2", "outlet_height": "2 m"}
    garden = make_garden(days=12)
    raw = copy.deepcopy(dict(garden.described))
    raw["supply"]["spring"] = tank
    sheet = setup(scenario_from(raw, garden.path)).sheets["upper"]
    flow = {share: 2.0 * math.sqrt((2.0 + share) * 9.80665 / 100.0) * 1000.0 / 60.0 for share in (1.0, 0.5, 0.25)}
    assert sheet.refill == pytest.approx(flow.pop(1.0))
    assert sheet.by_level == pytest.approx(flow)
    assert setup(garden).sheets["upper"].by_level == {}
