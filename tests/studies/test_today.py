"""
Today: the evening's state is the replay's; the fan goes on from it; what was seen corrects it; changes are worth what they do.

The law behind most of it: where every earlier year has this year's weather, the fan is the season itself. Invented weather.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import re
import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.special import stdtrit

import panbudget
from panbudget.errors import ScenarioError, WeatherError
from panbudget.reports.today import page
from panbudget.reports.today import sheet as sheet_module
from panbudget.reports.today.sheet import sheet_lines
from panbudget.season.result import Finding
from panbudget.studies.today import seen, standing, telling, trials
from panbudget.studies.today.fan import band, start_of
from tests.garden_file import write_garden, years_csv

DAY = dt.date(2021, 7, 20)
SMALL = 'plants = {{ kc = 1.0, root_depth = "50 cm", depletion = 0.45 }}'


def record(first=2018, last=DAY, **options):
    """Weather to a day; the same each year but for ``hot`` ones."""
    lines = years_csv(first, last.year, **options).splitlines(keepends=True)
    return "".join(line for line in lines if not line[:1].isdigit() or line[:10] <= str(last))


SPARE_TANK = '[supply.spare]\nkind = "tank"\nvolume = "500 L"\nfootprint = "1 m^2"\noutlet_height = "1 m"\n'
BARREL = '[supply.barrel]\nkind = "tank"\nvolume = "1 m^3"\nfootprint = "1 m^2"\noutlet_height = "4 m"\n'


def valve(name, supply, emitters):
    """Another valve, of one bed."""
    bed = f'area = "5 m^2"\nsoil = "loam"\nmethod = "dual"\n{SMALL.format()}\nplanted = 2021-05-05\n'
    return f"""[controller.{name}]
supply = "{supply}"
pan = {{ vessels = [{{ diameter = "40 cm" }}], depth = "18 cm" }}
valve = {{ swing = "0.7 kg", refill = {{ flow = "2 L/h", at = "100 kPa" }} }}
[controller.{name}.bed.greens]
{bed}emitters = {{ count = {emitters}, flow = "2 L/h", at = "100 kPa" }}
"""


ACTIONS = trials.Trials.actions


@pytest.fixture(scope="module", autouse=True)
def few_runs():
    """Sixteen runs a change are for real gardens; and changes are tried where they are looked at (`changes`)."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trials, "RUNS", 4)
        patch.setattr(trials.Trials, "actions", lambda self: [])
        yield


@pytest.fixture
def changes(monkeypatch):
    monkeypatch.setattr(trials.Trials, "actions", ACTIONS)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("today")


@pytest.fixture(scope="module")
def garden(folder):
    return write_garden(folder, record(hot=(2019,)))


@pytest.fixture(scope="module")
def result(garden):
    return panbudget.today(garden)


@pytest.fixture(scope="module")
def whole(folder):
    """The season as it goes on, in the weather of all years but 2019."""
    (folder / "whole").mkdir()
    return panbudget.replay(write_garden(folder / "whole", years_csv(2021, 2021)))


def test_the_evening_is_that_of_the_replay(result, whole):
    assert (result.day, result.end) == (DAY, dt.date(2021, 8, 10))
    pan, valve = whole.scenario.controller["upper"].pan, result.valves["upper"]
    level = whole.controllers["upper"]["pan_level_kg"].loc["2021-07-20"]
    assert (valve.level_mm - valve.trip_mm) * pan.area == pytest.approx(level, abs=1e-9)
    assert (valve.reset_mm - valve.trip_mm) * pan.area == pytest.approx(0.9)
    week = whole.controllers["upper"].loc["2021-07-14":"2021-07-20"]
    assert (valve.openings, valve.litres) == (week["openings"].sum(), pytest.approx(week["litres"].sum()))
    bed, table = result.beds["upper/tomatoes"], whole.beds["upper/tomatoes"].loc[:"2021-07-20"]
    assert bed.left_mm == pytest.approx(table["raw_mm"].iloc[-1] - table["depletion_mm"].iloc[-1])
    assert bed.need_mm == pytest.approx(table["etc_mm"].iloc[-7:].mean())
    assert bed.driest_days_left == pytest.approx(max(bed.driest_left_mm, 0.0) / bed.need_mm)
    assert result.supplies["spring"].litres == pytest.approx(
        whole.controllers["upper"].loc[:"2021-07-20", "litres"].sum()
    )


def test_in_this_years_weather_the_fan_is_the_season(result, whole):
    """2018 is as 2021, and 2020 but for the sun, a leap day further on; 2019 is hotter, and uses more water."""
    fan = result.fan
    assert fan.years == (2018, 2019, 2020)
    ahead = whole.beds["upper/tomatoes"].loc["2021-07-21":]
    litres = whole.controllers["upper"].loc["2021-07-21":, "litres"].cumsum()
    for year, off in ((0, 1e-9), (2, 5e-3)):
        np.testing.assert_allclose(fan.each("room_mm", 0)[year], ahead["driest_water_left_mm"], rtol=off)
        np.testing.assert_allclose(fan.each("litres", 0)[year], litres, rtol=off)
    assert fan.each("litres", 0)[1, -1] > fan.each("litres", 0)[0, -1]
    assert fan.each("openings", 0)[0, -1] == whole.controllers["upper"].loc["2021-07-21":, "openings"].sum()


def test_the_next_opening_is_the_replays_within_its_range(result, whole):
    moments = whole.openings["start"]
    coming = moments[moments >= "2021-07-21"].iloc[0]
    middle, early, late = result.valves["upper"].next_opening
    assert early <= coming.to_pydatetime() <= late
    assert early <= middle <= late


def test_a_band_of_nine_years_reaches_to_its_first_and_last():
    """Weibull's positions: of nine, the tenth and the ninetieth hundredth are the first and the last; of nineteen, the second."""
    values = np.arange(9.0)[:, None]
    ends = band(values, worst_is_low=True)
    assert (ends["low"][0], ends["middle"][0], ends["high"][0], ends["worst"][0]) == (0.0, 4.0, 8.0, 0.0)
    ends = band(np.arange(19.0)[:, None], worst_is_low=False)
    assert (ends["low"][0], ends["high"][0], ends["worst"][0]) == pytest.approx((1.0, 17.0, 18.0))


def test_of_few_years_the_band_reaches_beyond_them():
    """Student's t, 0.9, of two degrees of freedom: 1.886; three values of spread 1: 2 ± 1.886 √(4/3). Eight: 1.415 and √(9/8)."""
    three = np.array([[1.0], [2.0], [3.0]])
    ends = band(three, worst_is_low=True)
    assert (ends["low"][0], ends["high"][0]) == pytest.approx((-0.178, 4.178), abs=1e-3)
    assert band(three, worst_is_low=False)["low"][0] == 0.0  # of litres
    assert ends["worst"][0] == 1.0
    eight = np.array([-1.0, 1.0] * 4)[:, None]  # spread √(8/7)
    assert band(eight, worst_is_low=True)["high"][0] == pytest.approx(1.415 * (9.0 / 7.0) ** 0.5, abs=1e-3)
    assert band(three[:1], worst_is_low=True)["high"][0] == 1.0
    for years in range(2, 9):
        values = np.arange(years)[:, None]
        reach = stdtrit(years - 1, 0.9) * values.std(ddof=1) * (1.0 + 1.0 / years) ** 0.5
        assert band(values, worst_is_low=True)["high"][0] == pytest.approx(values.mean() + reach, abs=1e-3)


@pytest.fixture(scope="module")
def lone(folder):
    """That garden with this year's weather alone."""
    (folder / "lone").mkdir()
    return write_garden(folder / "lone", record(2021))


def test_without_years_and_forecast_the_rest_is_done_and_said(lone):
    found = panbudget.today(lone)
    assert found.fan is None
    assert found.valves["upper"].next_opening is None
    command = f"`panbudget weather {lone}"  # to paste
    assert any("No earlier year" in note and f"{command} --years 2011-2021`" in note for note in found.notes)
    assert any("There is no forecast" in note and f"{command} --forecast 10`" in note for note in found.notes)
    assert "only a forecast or earlier years could say" in " ".join(found.sentences())


def test_a_forecast_comes_first(folder):
    """Ten hot days ahead dry the bed in every year; past days of the file are not used; an old file is told."""
    (folder / "hot").mkdir()
    path = write_garden(folder / "hot", record(2019))
    path.write_text(
        path.read_text(encoding="utf-8").replace("[season]", '[weather.forecast]\nfile = "f.csv"\n[season]'),
        encoding="utf-8",
    )
    lines = years_csv(2021, 2021, hot=(2021,)).splitlines()
    days = [line for line in lines if "2021-07-15" <= line[:10] <= "2021-07-30"]
    (folder / "hot" / "f.csv").write_text("\n".join([lines[0], *days]) + "\n", encoding="utf-8")
    found = panbudget.today(path)
    assert found.forecast_days == 10
    plain = panbudget.today(path, day=dt.date(2021, 7, 14))
    assert plain.forecast_days == 16
    assert found.fan.each("litres", 0)[0, 9] == pytest.approx(found.fan.each("litres", 0)[1, 9])
    cut = "\n".join([lines[0], *days])[:-1]
    (folder / "hot" / "f.csv").write_text(cut, encoding="utf-8")
    assert sum("last line has no line end" in note for note in panbudget.today(path).notes) == 1
    (folder / "hot" / "f.csv").write_text("\n".join([lines[0].replace("tmin", "tmni"), *days]) + "\n", encoding="utf-8")
    with pytest.raises(WeatherError, match=r"\[weather.forecast.columns\]"):
        panbudget.today(path)
    (folder / "hot" / "f.csv").write_text("\n".join([lines[0], *days[:4]]) + "\n", encoding="utf-8")
    old = panbudget.today(path)
    assert old.forecast_days == 0
    assert any("no use today: f.csv runs from 2021-07-15 to 2021-07-18" in note for note in old.notes)
    assert found.fan.each("litres", 0)[0, 9] > old.fan.each("litres", 0)[0, 9]
    bare = [
        ",".join(line.split(",")[at] for at in map(lines[0].split(",").index, ("date", "tmin", "tmax", "rain")))
        for line in (lines[0], *days)
    ]
    (folder / "hot" / "f.csv").write_text("\n".join(bare) + "\n", encoding="utf-8")
    rough = panbudget.today(path)
    assert rough.forecast_days == 10
    assert "The forecast f.csv has no humidity, wind, radiation: estimated, so that its days are rough." in rough.notes
    (folder / "hot" / "f.csv").write_text("\n".join([lines[0], *days[:8]]) + "\n", encoding="utf-8")
    (folder / "hot" / "weather.csv").write_text(record(2021), encoding="utf-8")
    alone = panbudget.today(path, sheet=True)
    assert (alone.forecast_days, alone.fan.years, len(alone.fan.dates)) == (2, (0,), 2)
    near, *far = alone.visits
    assert set(near.openings) == {"upper"}
    pan = alone.valves["upper"]
    assert {visit.levels["upper"] for visit in far} == {(pan.trip_mm, pan.reset_mm)}
    assert all(not visit.openings for visit in far)


@pytest.mark.parametrize(
    ("below", "is_open", "ahead", "overdue"),
    [(1.0, False, True, True), (1.0, False, False, True), (0.999, False, True, False), (9.0, True, False, False)],
)
def test_a_shut_valve_whose_pan_lies_below_the_trip_is_overdue(result, below, is_open, ahead, overdue):
    """A millimetre below, whether or not anything is known of the days ahead."""
    valve = dataclasses.replace(result.valves["upper"], is_open=is_open)
    valve = dataclasses.replace(valve, level_mm=valve.trip_mm - below)
    if not ahead:
        valve = dataclasses.replace(valve, next_opening=None)
    said = page._of_valve(result, "upper", valve)
    assert ("the opening is overdue" in said) is overdue
    report = page.today_report(dataclasses.replace(result, valves={"upper": valve}), {})
    assert report.first[0].startswith("First go and see whether water runs at upper") is overdue
    assert (report.sections[1].table["next"][0] == "overdue: go and see") is overdue


@pytest.mark.parametrize(
    ("below", "above", "alarms"),
    [(1.99, None, 0), (2.01, None, 1), (None, 4.99, 0), (None, 5.01, 1)],
)
def test_a_level_outside_the_swing_is_suspected_from_two_below_and_five_above(below, above, alarms, result):
    """In mm; common practice, no source."""
    valve, season = result.valves["upper"], result.season
    level = valve.reset_mm + above if below is None else valve.trip_mm - below
    look = telling.Look(24.0 * len(season.days), dt.datetime(2021, 7, 20, 23, 59), None, False, level)
    assert len(seen._put(result.scenario, season, start_of(season), "upper", look, 0.0)[1]) == alarms


@pytest.mark.parametrize(("hours", "says"), [(47.9, "48 hours earlier"), (48.1, "no opening within 2 days")])
def test_an_opening_of_the_model_within_two_days_is_the_one_that_was_seen(hours, says, result):
    last = result.season.openings["start"].iloc[-1]
    note = seen._nearest(result.season, "upper", last.to_pydatetime() + dt.timedelta(hours=hours))
    assert says in note


def test_nine_earlier_years_are_enough_to_look_ahead_by(result):
    """The first and the last of nine are the tenth and the ninetieth hundredth (`band`)."""
    assert [len(standing._few_years(result.scenario, years)) for years in (8, 9)] == [1, 0]


def test_a_pan_moved_by_hand_opens_later_or_is_suspected(garden, result):
    valve = result.valves["upper"]
    fuller = panbudget.today(garden, level={"upper": valve.reset_mm})
    assert fuller.valves["upper"].level_mm == pytest.approx(valve.reset_mm)
    assert fuller.valves["upper"].next_opening[0] > valve.next_opening[0]
    assert any(
        f"you saw {valve.reset_mm:.0f} mm where the model had {valve.level_mm:.0f} mm" in n for n in fuller.notes
    )
    lower = panbudget.today(garden, level={"upper": valve.trip_mm - 3.0})
    assert any("lies below the level at which it opens" in note for note in lower.alarms)
    assert not fuller.alarms
    assert any("the opening is overdue" in line for line in lower.sentences())
    with pytest.raises(ScenarioError, match="181 mm can't be in a pan 180 mm deep"):
        panbudget.today(garden, level={"upper": 181.0})
    with pytest.raises(ScenarioError, match="expected: the depth of the water by ruler, such as 150 mm"):
        panbudget.today(garden, level={"upper": -1.0})
    with pytest.raises(ScenarioError, match='names no valve; name one of upper, such as "upper=43 mm"'):
        panbudget.today(garden, level={"lower": 43.0})


def test_an_opening_seen_when_the_model_has_one_changes_nothing(lone, result):
    """And one seen hours later leaves the pan fuller, by what it did not lose."""
    openings = result.season.openings
    last = openings["start"].iloc[-1].to_pydatetime()
    same = panbudget.today(lone, opened={"upper": last})
    assert same.valves["upper"].level_mm == pytest.approx(result.valves["upper"].level_mm, abs=0.3)  # to the minute
    assert any("nearest opening is 0 hours" in note for note in same.notes)
    first = dt.datetime(2021, 7, 1, 0, 0)
    with pytest.raises(ScenarioError, match="does not lie between 2021-07-01 and 2021-07-20"):
        panbudget.today(lone, opened={"upper": first - dt.timedelta(minutes=1)})


@pytest.mark.parametrize(
    ("ratio", "says"), [(1.2, "which its uncertainty allows"), (2.0, "look for a leak"), (0.4, "filled it up")]
)
def test_an_opening_and_a_level_tell_the_exposure_or_a_fault(ratio, says, folder):
    """Two dry days since an opening: the pan lost so many times what the model says, of which 0.6 to 1.3 is likely."""
    (folder / f"r{ratio}").mkdir()
    path = write_garden(folder / f"r{ratio}", record(2021), more="").with_name("garden.toml")
    path.write_text(path.read_text(encoding="utf-8").replace('swing = "0.9 kg"', 'swing = "6 kg"'), encoding="utf-8")
    seen = {"upper": dt.datetime(2021, 7, 17, 12, 0)}
    model = panbudget.today(path, opened=seen).valves["upper"]
    level = model.reset_mm - ratio * (model.reset_mm - model.level_mm)
    found = panbudget.today(path, opened=seen, level={"upper": level})
    assert any(says in note and f"{ratio:.2f} times" in note for note in (*found.alarms, *found.notes))
    exposure = found.scenario.controller["upper"].pan.exposure
    assert exposure == pytest.approx(1.2 if ratio == 1.2 else 1.0)


def test_a_season_of_another_year_is_moved_and_none_is_told(folder):
    (folder / "moved").mkdir()
    path = write_garden(folder / "moved", record(), start="2019-07-01", end="2019-08-10")
    found = panbudget.today(path)
    assert (found.day, found.end) == (DAY, dt.date(2021, 8, 10))
    assert any("moved to 2021" in note for note in found.notes)
    early = panbudget.today(path, day=dt.date(2020, 7, 5))
    assert (early.day, early.fan.years) == (dt.date(2020, 7, 5), (2018, 2019))
    assert panbudget.today(path, day=dt.date(2020, 8, 10)).fan is None  # the season's last day
    for day in (dt.date(2020, 8, 11), dt.date(2020, 6, 30)):
        with pytest.raises(ScenarioError, match=f"no season is running on {day}: .* --day 2020-08-10 "):
            panbudget.today(path, day=day)


def test_a_day_that_can_not_be_asked_about_names_the_nearest_that_can(folder):
    (folder / "past").mkdir()
    path = write_garden(folder / "past", record(last=dt.date(2021, 8, 20)))
    latest = "on 2021-08-20, the weather file's last day: the season is 1 July to 10 August 2021, .* to 20 August 2021"
    for day, says in (
        (None, latest),
        (dt.date(2021, 6, 20), "on 2021-06-20: the season is"),
        (dt.date(2022, 7, 20), "2022-07-20 is no day of 1 July to 10 August 2022 that the weather file holds"),
    ):
        with pytest.raises(ScenarioError, match=f"{says}.*; --day 2021-08-10 "):
            panbudget.today(path, day=day)
    assert panbudget.today(path, day=dt.date(2021, 8, 10)).day == dt.date(2021, 8, 10)


def test_days_that_are_not_whole_are_not_today(folder):
    (folder / "gap").mkdir()
    found = panbudget.today(write_garden(folder / "gap", record(blank=(("2021-07-19", "2021-07-20"),))))
    assert found.day == dt.date(2021, 7, 18)
    assert any("days up to 2021-07-20, but they are whole to 2021-07-18 alone (" in note for note in found.notes)
    for day in (dt.date(2021, 7, 19), dt.date(2021, 7, 21)):
        with pytest.raises(ScenarioError, match=f"{day} is no day of .*; --day 2021-07-18 "):
            panbudget.today(folder / "gap" / "garden.toml", day=day)


def test_licence_and_tank_run_out_in_so_many_years(folder, result):
    """A licence a litre above the dry years' need runs out in the hot one alone; one below it, in all three."""
    need = result.supplies["spring"].litres + result.fan.each("litres", 0)[:, -1]
    for name, volume, years in (("more", max(need[0], need[2]) + 1.0, 1), ("less", min(need) - 1.0, 3)):
        (folder / name).mkdir()
        supply = f'kind = "mains"\npressure = "150 kPa"\nright = {{ volume = "{volume} L" }}'
        chance = (
            panbudget.today(write_garden(folder / name, record(hot=(2019,)), supply=supply)).supplies["spring"].runs_out
        )
        assert (chance.years, chance.of) == (years, 3)
        assert DAY < chance.day <= dt.date(2021, 8, 10)
    (folder / "tank").mkdir()
    supply = 'kind = "tank"\nvolume = "3 m^3"\nfootprint = "2 m^2"\noutlet_height = "8 m"'
    found = panbudget.today(write_garden(folder / "tank", record(), supply=supply))
    tank = found.supplies["spring"]
    assert tank.capacity == pytest.approx(3000.0)
    assert tank.tank_l == pytest.approx(3000.0 - tank.litres, abs=1e-6)
    assert tank.runs_out.of == 3


def test_a_refill_to_turn_under_a_tank_is_told_at_the_flow_of_a_full_one(folder, changes):
    """By hand: 2 L/h at 100 kPa, an exponent of a half, 1.5 m of water over an outlet 1 m up."""
    (folder / "low").mkdir()
    supply = 'kind = "tank"\nvolume = "3 m^3"\nfootprint = "2 m^2"\noutlet_height = "1 m"'
    found = panbudget.today(write_garden(folder / "low", record(2016), supply=supply, emitters=24))
    now = 2.0 * math.sqrt(2.5 * 9.80665 / 100.0) * 1000.0 / 60.0
    turned = next(action.what for action in found.actions if "turn the refill" in action.what)
    share = int(re.search(r"catches (\d+) % of what it does now", turned)[1]) / 100.0
    assert "down so that a jug catches" in turned and share in (0.8, 0.6)
    assert f"({share * now:.1f} mL/min with a full tank, from {now:.1f})" in turned.replace("\u00a0", " ")
    (soaked,) = (action.what for action in found.actions if "once by hand" in action.what)
    assert soaked.endswith("evenly from elsewhere than its tank")  # out of which nothing is taken in the runs


@pytest.mark.parametrize("supply", [SPARE_TANK + BARREL, SPARE_TANK], ids=["before", "alone"])
def test_a_tank_that_no_valve_uses_stands_for_none(supply, folder, changes):
    """Described before the one in use, or beside the mains alone: what is said is what is said without it."""
    found = []
    for name, more in (("spare", supply), ("none", supply.replace(SPARE_TANK, ""))):
        (folder / name).mkdir(exist_ok=True)
        path = write_garden(folder / name, record(2019), more=more)
        if BARREL in more:
            path.write_text(path.read_text(encoding="utf-8").replace('supply = "spring"', 'supply = "barrel"'), "utf-8")
        found.append(panbudget.today(path, sheet=True))
    spare, none = found
    assert spare.sentences() == none.sentences()
    assert spare.visits == none.visits
    # tomorrow at eight it holds what it holds tonight: what goes by day has not gone yet
    held = {"barrel": (spare.supplies["barrel"].tank_l,) * 2} if "barrel" in supply else {}
    assert {name: pytest.approx(ends) for name, ends in spare.visits[0].tanks.items()} == held
    sheet = "\n".join(sheet_lines(spare))
    assert ("where the tank is empty, it stands open rightly" in sheet) is ("barrel" in supply)


def test_a_bed_with_too_little_is_told_what_helps_and_it_does(folder, changes):
    """At most three, most days first, of different kinds. Soil filled up by hand takes what its driest quarter lacks."""
    (folder / "dry").mkdir()
    path = write_garden(folder / "dry", record(2016), emitters=24, more="[uncertainty]\nexposure = [0.9, 1.1]\n")
    found = panbudget.today(path)
    assert 1 <= len(found.actions) <= 3
    lack = found.season.beds["upper/tomatoes"]["driest_depletion_mm"].iloc[-1] * 12.0
    assert found.actions[0].what == f"water the bed upper/tomatoes once by hand, with {lack:.0f} L evenly"
    assert found.actions[0].litres == pytest.approx(0.0)
    days = [action.days for action in found.actions]
    assert days == sorted(days, reverse=True)
    assert all(action.days >= 1.0 or action.lack >= 0.25 for action in found.actions)
    assert any("turn the refill emitter of upper down to" in action.what for action in found.actions)
    for action in found.actions:
        assert action.days_range[0] <= action.days <= action.days_range[1]
    assert found.sentences()[0].startswith("Do 1: ")
    chance = found.beds["upper/tomatoes"].first_short
    assert (chance.years, chance.of) == (5, 5)


@pytest.mark.parametrize(
    ("days", "litres", "lack", "is_worth"),
    [
        (1.0, 0.0, 0.0, True),  # a day fewer
        (0.99, 0.0, 0.0, False),
        (0.0, 0.0, 25.0, True),  # a quarter of the lack
        (0.0, 0.0, 24.9, False),
        (-0.01, 0.0, 25.0, False),
        (0.0, 20.0, 0.0, True),  # a tenth of the water, with no day more
        (0.0, 19.9, 0.0, False),
        (-0.01, 20.0, 0.0, False),
    ],
)
def test_a_change_is_worth_a_sentence_from_its_bounds_on(days, litres, lack, is_worth):
    """Two runs alike; without the change nine days short, 200 L, 100 mm·days. Our bounds, no source."""
    before = np.array([[9.0, 200.0, 100.0]] * 2)
    assert trials._judged("", before, before - [days, litres, lack])[0] == is_worth
    assert not trials._judged("", 0.0 * before, 0.0 * before)[0]
    fewer = np.arange(11.0)[:, None] * [1.0, 0.0, 0.0]  # four of five runs
    assert trials._judged("", np.tile(before[:1], (11, 1)), before[:1] - fewer)[1].days_range == (1.0, 9.0)


@pytest.mark.parametrize(
    ("span", "said"),
    [((0.0, 0.4), "(none in four of five runs)"), ((0.0, 0.6), "(0 to 1)"), ((-0.6, 0.4), "(−1 to 0)")],
)
def test_a_change_that_few_runs_need_says_so(span, said):
    today = SimpleNamespace(day=dt.date(2025, 7, 1), end=dt.date(2025, 8, 31))
    worth = page._worth(today, trials.Action("Press it", 1.2, span, 0.0, 0.0)).replace("\N{NO-BREAK SPACE}", " ")
    assert worth.startswith("1 fewer day short of water in the next 30 days ")
    assert said in worth


def test_what_a_change_does_not_bear_on_goes_as_without_it(folder, monkeypatch):
    """A valve on the mains, two on a tank: each change scores as where all is run again."""
    (folder / "parts").mkdir()
    more = valve("lower", "barrel", 10) + valve("third", "barrel", 12) + BARREL
    path = write_garden(folder / "parts", record(2019), emitters=24, more=more)
    made = []
    monkeypatch.setattr(trials.Trials, "actions", lambda self: made.append(self) or [])
    panbudget.today(path)
    (tried,) = made
    parts = {}
    for trial in tried._trials():
        parts[trial.kind] = [len(trial.part.valves), len(trial.part.beds)]
        whole = map(trials._scores, tried._outcomes(trial._replace(part=tried._all)))
        assert list(tried._tried(trial))[:2] == [next(whole), next(whole)], trial
    assert parts["refill upper"] == [1, 1]
    assert parts["press third"] == parts["fill barrel"] == [2, 2]
    assert parts["soak lower/greens"] == parts["mulch"] == [0, 1]


def test_a_bed_with_too_much_is_told_to_save(folder, changes):
    (folder / "wet").mkdir()
    found = panbudget.today(write_garden(folder / "wet", record(2016), emitters=150))
    assert [action.days for action in found.actions] == [0.0]
    assert found.actions[0].litres < 0.0
    assert "no bed falls short more often" in found.sentences()[0]
    assert "Just as described, no bed falls short" in " ".join(found.sentences())


def test_a_bed_where_nothing_grows_has_no_water_left_on_the_page(result):
    bare = {key: dataclasses.replace(bed, growing=False, first_short=None) for key, bed in result.beds.items()}
    sections = page.today_report(dataclasses.replace(result, beds=bare), {}).sections
    assert sections[2].table["short"].unique().tolist() == ["nothing grows"]
    assert sections[2].table["driest_left_mm"].isna().all()


def test_the_fans_table_has_a_row_a_day_and_part(result):
    from panbudget.reports.today.page import fan_table

    table = fan_table(result)
    assert list(table["what"].unique()) == ["driest_left_mm", "openings", "litres"]
    assert len(table) == 3 * len(result.fan.dates)
    assert (table["low"] <= table["high"]).all()
    assert pd.Timestamp(table["date"].iloc[0]) == pd.Timestamp("2021-07-21")


@pytest.mark.parametrize(("level", "low", "high"), [("trip", 1.0, 1.0), ("reset", 0.0, 0.0)])
def test_an_opening_before_the_first_look_counts(level, low, high, garden, result):
    """At the trip level tonight a valve opens as soon as the sun is up; at the reset level, after eight."""
    mm = getattr(result.valves["upper"], f"{level}_mm")
    found = panbudget.today(garden, level={"upper": mm + (0.01 if level == "trip" else 0.0)}, sheet=True)
    assert found.visits[0].openings["upper"] == (low, high)


def test_beds_that_are_short_now_share_a_sentence(result):
    """One that is not yet has its own, with its day."""
    bed, others = result.beds["upper/tomatoes"], {"upper/beans": -14.0, "upper/peas": -19.0, "upper/mint": 5.0}
    beds = {key: dataclasses.replace(bed, driest_left_mm=left) for key, left in others.items()}
    chance = dataclasses.replace(bed.first_short, years=2)
    beds["upper/mint"] = dataclasses.replace(beds["upper/mint"], first_short=chance)
    said = dataclasses.replace(result, beds=beds).sentences()
    shown = [line.replace("\u00a0", " ") for line in said if "short" in line.lower() and "Do " not in line]
    assert shown[0] == "Short of water now, in the driest quarter: upper/beans by 14 mm, upper/peas by 19 mm."
    assert shown[1].startswith("upper/mint falls short in 2 of 3 years")
    assert len(shown) == 2


@pytest.mark.parametrize(("first", "is_new"), [("2021-07-14", True), ("2021-07-13", False)])
def test_a_finding_is_new_in_the_seven_days_whose_openings_are_told(first, is_new, result):
    """Of 20 July: 14 to 20 July."""
    season = dataclasses.replace(result.season, findings=(Finding("danger", "spill", "upper", "it spilled", first, 3),))
    sections = page.today_report(dataclasses.replace(result, season=season), {}).sections
    assert ("New in the last seven days" in [part.heading for part in sections]) == is_new


def test_the_sheet_has_the_next_two_weeks_and_whom_to_ask(garden, result):
    """Every other morning, ruler between trip and reset; what is private stands there only where it is given."""
    asked = panbudget.load_scenario(garden).changed({"neighbour": {"ask": "A. Gardener, 0000"}})
    found = panbudget.today(asked, sheet=True)
    assert [visit.day.day for visit in found.visits] == [21, 23, 25, 27, 29, 31, 2]
    valve, week = found.valves["upper"], found.season.controllers["upper"]["openings"].iloc[-7:].mean()
    for visit in found.visits:
        low, high = visit.levels["upper"]
        assert valve.trip_mm - 1e-9 <= low <= high <= valve.reset_mm + 1e-9
        least, most = visit.openings["upper"]
        assert least <= (0.0 if visit.day.day == 21 else 2.0 * week) <= most
    lines = "\n".join(sheet_lines(found))
    # twice the longest opening, in whole hours up: a sound valve is never shut by hand
    longest = found.season.openings["minutes"].quantile(0.9)
    for minutes, hours in ((longest, "1 hour"), (30.0, "1 hour"), (31.0, "2 hours"), (123.0, "5 hours")):
        season = dataclasses.replace(found.season, openings=found.season.openings.assign(minutes=minutes))
        told = "\n".join(sheet_lines(dataclasses.replace(found, season=season))).replace("\u00a0", " ")
        assert f"two looks {hours} apart or more (an opening takes at most about {minutes:.0f} minutes)" in told
    assert "where the tank is empty" not in lines  # on mains
    hung = dataclasses.replace(found.season, openings=found.season.openings.assign(minutes=240.0))
    assert "takes at most about 240" not in "\n".join(sheet_lines(dataclasses.replace(found, season=hung)))
    assert "A. Gardener, 0000" in lines
    assert f"Fill it to {valve.reset_mm:.0f} mm with a can" in lines
    two = {name: dataclasses.replace(valve, reset_mm=depth) for name, depth in (("upper", 160.0), ("lower", 130.0))}
    assert sheet_module._filled_to(dataclasses.replace(found, valves=two)) == "160 mm (upper), 130 mm (lower)"
    assert "Name and number" not in lines
    assert list(sheet_lines(result)) == []


@pytest.mark.parametrize(("by", "spread"), [(1.0, 0.001), (0.0, 0.5)])
def test_the_sheets_levels_lie_where_a_knock_ahead_or_a_runs_swing_puts_them(by, spread, garden, result):
    """1 kg of 0.19635 m² is 5.1 mm. A larger swing reaches deeper: the reset stays 20 mm below the rim."""
    asked = panbudget.load_scenario(garden).changed({"uncertainty": {"swing": [1.0 - spread, 1.0 + spread]}})
    if by:
        asked = asked.changed({"fault": [{"kind": "knocked", "trip": f"{by} kg", "start": "2021-07-25"}]})
    valve, visits = result.valves["upper"], panbudget.today(asked, sheet=True).visits
    more = spread * (valve.reset_mm - valve.trip_mm) + 1e-6
    for visit in visits:
        low, high = (
            level - by * (visit.day.day >= 25 or visit.day.month == 8) / 0.19635 for level in visit.levels["upper"]
        )
        assert valve.trip_mm - more <= low <= high <= valve.reset_mm + 1e-6
    assert visits[-1].day == dt.date(2021, 8, 2)


def test_beds_of_which_nothing_is_known_share_a_line_of_the_sheet(garden):
    held = tomllib.loads(Path(garden).read_text(encoding="utf-8"))["controller"]["upper"]["bed"]["tomatoes"]
    bed = held | {"emitters": held["emitters"] | {"count": 60}}
    more = {"controller": {"upper": {"bed": {"tomatoes": bed, "more": bed}}}}
    found = panbudget.today(panbudget.load_scenario(garden).changed(more), sheet=True)
    lines = [line for line in sheet_lines(dataclasses.replace(found, fan=None)) if "leaves that hang" in line]
    assert lines == [
        "  upper/tomatoes, upper/more: leaves that hang in the morning are a sign that something is wrong."
    ]
