"""Left alone: every year of the record, the worst named, a made-up heat wave, and the one change that helps."""

from __future__ import annotations

import dataclasses
import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from panbudget import replay
from panbudget.errors import Problem, ScenarioError
from panbudget.reports.away import page
from panbudget.reports.away.page import away_sentences
from panbudget.studies import ranges
from panbudget.studies.away import changes, judging, leaving
from panbudget.studies.away.leaving import away
from panbudget.studies.away.stays import BedAway, Fared, PanAway, Stay, stay_of
from tests.small_weather import weather_csv

JUNE = (dt.date(2025, 6, 1), dt.date(2025, 6, 14))
BED = ("controller", "upper", "bed", "tomatoes")


def overlay(part, change):
    return {"controller": {"upper": {part: change}}}


def few_emitters(count):
    return overlay("bed", {"tomatoes": {"emitters": {"count": count}}})


def two_years(hotter=0.0):
    """May and June of two equal years, the second one's June with a pan that loses more."""
    lines = weather_csv(61 + 365).splitlines()
    head, rows = lines[0], lines[1:]
    changed = []
    for row in rows:
        if row.startswith("2026-06"):
            cells = row.split(",")
            cells[1:3] = [str(14.0 + hotter), str(30.0 + hotter)]
            row = ",".join(cells)
        if not "04" <= row[5:7] <= "08":
            row = row.replace(",24.0,", ",8.0,")  # a winter's sun
        changed.append(row)
    return "\n".join([head, *changed]) + "\n"


@pytest.fixture
def make(make_garden):
    def made(change=None, hotter=0.0):
        season = {"season": {"start": dt.date(2025, 5, 1), "end": dt.date(2025, 6, 30)}}
        garden = make_garden(season, weather=two_years(hotter))
        return garden.changed(change) if change else garden

    return made


_LEFT = {}  # emitters -> what came of it, found once


def left_alone(make, count):
    if count not in _LEFT:
        _LEFT[count] = away(make(few_emitters(count)), *JUNE)
    return _LEFT[count]


def test_a_garden_with_enough_water_is_safe_and_nothing_is_tried(make):
    found = left_alone(make, 60)
    assert found.safe
    assert [stay.start.year for stay in found.stays] == [2025, 2026]
    assert found.changes == ()
    assert away_sentences(found)[0].startswith("Yes: from 1 June to 14 June")
    assert "all 2 years" in away_sentences(found)[0]


def test_a_stay_is_the_same_days_of_the_whole_seasons_replay(make):
    garden = make(few_emitters(12))
    found = left_alone(make, 12)
    whole = replay(garden)
    table = whole.beds["upper/tomatoes"].loc["2025-06-01":"2025-06-14"]
    bed = found.stays[0].beds["upper/tomatoes"]
    assert bed.stress_days == int((table["growing"] & (table["driest_ks"] < 1.0)).sum()) > 0
    assert bed.irrigation_mm == pytest.approx(table["irrigation_mm"].sum())
    assert bed.least_room_mm == pytest.approx(table["driest_water_left_mm"].min())
    valve = whole.controllers["upper"].loc["2025-06-01":"2025-06-14"]
    assert found.stays[0].pans["upper"].litres == pytest.approx(valve["litres"].sum())
    assert found.stays[0].pans["upper"].openings == valve["openings"].sum()


def test_a_bed_where_nothing_grows_is_not_the_one_that_comes_nearest_to_its_limit():
    """It holds 26 mm of water; 30 mm are left to the tree."""
    days = pd.date_range("2025-06-01", periods=2)
    values = {"driest_ks": 1.0, "irrigation_mm": 0.0, "taw_mm": 26.0}
    fallow, tree = (
        pd.DataFrame({**values, "driest_water_left_mm": left, "growing": grows}, index=days)
        for left, grows in ((10.0, False), (30.0, True))
    )
    season = SimpleNamespace(beds={"upper/fallow": fallow, "upper/tree": tree}, controllers={}, days=tree)
    stay = stay_of(season, {}, None)
    assert np.isnan(stay.beds["upper/fallow"].least_room_mm)
    assert page._nearest(stay).startswith("upper/tree")
    assert stay.badness == (0.0, 0, -30.0)
    none = stay_of(SimpleNamespace(beds={"upper/fallow": fallow}, controllers={}, days=tree), {}, None)
    assert (page._nearest(none), none.badness[2]) == ("nothing grows in any bed then", -np.inf)


def test_the_year_of_the_dates_does_not_matter(make):
    garden = make(few_emitters(12))
    a, b = left_alone(make, 12), away(garden, dt.date(2031, 6, 1), dt.date(2031, 6, 14))
    assert a.table().equals(b.table())


def test_the_worst_year_is_the_one_that_hurts_most(make):
    """The second June is 6 °C warmer while the measured pan loses the same, so its bed falls shorter."""
    found = away(make(few_emitters(20), hotter=6.0), *JUNE)
    assert found.worst.start.year == 2026
    assert found.worst.stress_days >= found.stays[0].stress_days
    assert found.heat.start.year == 2026
    assert "The worst year is 2026" in away_sentences(found)[1]


def test_the_made_heat_is_five_degrees_for_seven_days_in_the_middle(make):
    found = left_alone(make, 60)
    assert found.heat.made_heat.startswith("a made-up heat wave, 7 days from 4 June 2025, 5 °C warmer")
    assert "without rain" in found.heat.made_heat
    tmax = found.heat.season.days["tmax_c"]
    assert tmax.tolist() == [30.0] * 3 + [35.0] * 7 + [30.0] * 4


def test_the_scenarios_own_made_heat_is_taken_if_it_falls_on_the_days_away(make):
    heat = {"what_if": {"heat": {"start": dt.date(2025, 6, 10), "days": 3, "warmer": "+7 K"}}}
    found = away(make({**few_emitters(60), **heat}), *JUNE)
    assert found.heat.season.days["tmax_c"].max() == pytest.approx(37.0)
    assert found.stays[0].season.days["tmax_c"].max() == pytest.approx(30.0)  # the record itself has no made heat
    elsewhere = {"what_if": {"heat": {"start": dt.date(2025, 5, 3), "days": 3, "warmer": "+7 K"}}}
    found = away(make({**few_emitters(60), **elsewhere}), *JUNE)
    assert found.heat.season.days["tmax_c"].max() == pytest.approx(35.0)


def test_a_thirsty_bed_wants_more_emitters_and_the_change_truly_makes_it_safe(make):
    found = left_alone(make, 12)
    assert not found.safe
    assert found.stays[0].beds["upper/tomatoes"].short_before
    change = found.changes[0]
    assert change.safe
    assert "emitters in place of 12 on upper/tomatoes" in change.what
    count = int(change.what.split()[0])
    assert away(make(few_emitters(count)), *JUNE).safe
    assert not next(c for c in found.changes if "freeboard" in c.what).safe
    text = " ".join(away_sentences(found))
    assert "Any one of these would make it safe: (1)" in text
    assert "Short of water already on the day before leaving" in text


def test_what_gains_most_is_done_first_where_nothing_makes_it_safe_and_the_sheet_is_of_the_same_garden(make):
    found = left_alone(make, 12)
    hopeless = dataclasses.replace(found, changes=tuple(change for change in found.changes if not change.safe))
    first = list(page._first(hopeless))
    best = next(change for change in hopeless.changes if change.sure is not None)
    assert first[0].startswith("This alone gains most, though it does not make it safe") and best.what in first[0]
    assert (
        f"`panbudget today {found.scenario.path} --day 2025-05-31 --sheet`, on that evening, prints what to look at in the two weeks"
        in first[1]
    )
    for days, text in ((14, "in the two weeks after it"), (15, "until 13 June. Then go on by the sheet's last row")):
        stay = dataclasses.replace(hopeless, changes=(), end=dt.date(2025, 5, 31) + dt.timedelta(days=days))
        assert text in next(page._first(stay)).replace("\u00a0", " ")  # visits stand on the sheet every other day
    wide = found.scenario.changed({"variant": {"wide": {"controller": {"upper": {"pan": {"depth": "20 cm"}}}}}})
    laid = dataclasses.replace(hopeless, scenario=wide.with_variant("wide"), changes=())
    assert f"panbudget today {found.scenario.path} --variant wide --day 2025-05-31 --sheet" in next(page._first(laid))
    begins = found.scenario.season.start
    eve = dataclasses.replace(hopeless, changes=(), start=begins)
    assert f" --day {begins} --sheet" in next(page._first(eve))
    late = dataclasses.replace(found.worst, end=found.scenario.season.end + dt.timedelta(days=1))
    assert "Let the season described hold these days" in next(page._first(dataclasses.replace(eve, worst=late)))


@pytest.mark.parametrize(
    ("high", "words"), [(1.01, "evaporates 1.00 to 1.01 times"), (1.009, "there is no room in what")]
)
def test_a_margin_of_nothing_is_told_as_none(make, high, words):
    found = left_alone(make, 60)
    sure = dataclasses.replace(found.sure, exposure=(1.0, high), refill_flow=(0.9, 1.1))
    assert words in " ".join(away_sentences(dataclasses.replace(found, sure=sure)))


def test_a_year_that_is_safe_is_told_so_though_its_tank_runs_empty(make):
    stay = left_alone(make, 60).worst
    starved = {name: dataclasses.replace(pan, starved_hours=3.0) for name, pan in stay.pans.items()}
    said = page._wrong(dataclasses.replace(stay, pans=starved))
    assert said.startswith("nothing goes wrong (upper/tomatoes comes nearest")
    assert said.endswith("stands open without water for 3.0\u00a0h, since its tank is empty")


def test_what_is_done_by_hand_helps_for_a_while(make):
    """Full soil on the day of leaving: fewer days short than without, and it is told as not enough."""
    found = left_alone(make, 12)
    hand = next(change for change in found.changes if change.what.startswith("water every bed by hand"))
    assert hand.stress_days < hand.before
    press = next(change for change in found.changes if change.what.startswith("press"))
    assert press.stress_days <= press.before


def test_a_valve_that_evaporation_holds_open_is_told_and_a_larger_refill_cures_it(make):
    garden = make(overlay("valve", {"refill": {"flow": "0.12 L/h"}}))
    found = away(garden, *JUNE)
    assert found.worst.pans["upper"].stuck_hours > 0
    assert "the valve upper is stuck open" in " ".join(away_sentences(found))
    larger = next(c for c in found.changes if "times as large at upper, which gives its beds less" in c.what)
    assert larger.safe


def test_an_impossible_change_is_told_as_such(make):
    """A swing of 0.9 kg in a pan that holds 1.2 kg can't be doubled."""
    small = {"vessels": [{"diameter": "25 cm"}], "depth": "45 mm", "freeboard": "20 mm"}
    found = away(
        make({"controller": {"upper": {"pan": small, "bed": {"tomatoes": {"emitters": {"count": 2}}}}}}), *JUNE
    )
    swing = next(change for change in found.changes if change.what.startswith("a swing"))
    assert "would empty the pan before it trips" in swing.impossible


def test_days_before_the_season_start_there(make):
    found = away(
        make(few_emitters(60)).changed({"season": {"start": dt.date(2025, 5, 20)}}),
        dt.date(2025, 5, 10),
        dt.date(2025, 5, 25),
    )
    assert found.stays[0].start == dt.date(2025, 5, 10)
    assert not found.stays[0].beds["upper/tomatoes"].short_before


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (dt.date(2025, 6, 9), dt.date(2025, 6, 1), "end, 2025-06-01, before they start, 2025-06-09"),
        (dt.date(2025, 6, 9), dt.date(2026, 6, 30), "the days away are 387, more than a year"),
    ],
)
def test_dates_that_can_t_be_are_told(make, start, end, said):
    with pytest.raises(ScenarioError) as told:
        away(make(), start, end)
    assert said in str(told.value)
    assert len(str(told.value).splitlines()) == 1


def test_the_table_has_a_row_for_each_stay_and_bed(make):
    found = left_alone(make, 12)
    table = found.table()
    assert table["start"].tolist() == ["2025-06-01", "2026-06-01", f"{found.worst.start}"]
    assert table["made_heat"].tolist() == [0, 0, 1]


def test_dates_in_no_year_of_the_record_are_told(make_garden):
    with pytest.raises(ScenarioError) as told:
        away(make_garden(days=31), dt.date(2025, 6, 1), dt.date(2025, 6, 9))
    assert "the days away from 1 June to 9 June" in str(told.value)
    assert "are in no year of the weather file weather.csv" in str(told.value)
    assert "it runs from 2025-05-01 to 2025-05-31" in str(told.value)
    assert len(str(told.value).splitlines()) == 1


def test_a_year_and_a_day_can_be_asked_for_and_one_day_more_can_t(make_garden):
    """366 days are a leap year; both are refused here, for a month's record holds neither."""
    start, garden = dt.date(2025, 5, 1), make_garden(days=3)
    for days, said in ((366, "in no year of the weather file"), (367, "the days away are 367, more than a year")):
        with pytest.raises(ScenarioError, match=said):
            away(garden, start, start + dt.timedelta(days=days - 1))


@pytest.mark.parametrize(
    ("start", "first"),
    [
        (dt.date(2030, 11, 1), dt.date(2025, 11, 1)),
        (dt.date(2030, 1, 1), dt.date(2026, 1, 1)),
        (dt.date(2030, 3, 31), dt.date(2026, 3, 31)),  # the season's last day
        (dt.date(2030, 4, 1), dt.date(2025, 4, 1)),  # beyond it: before the season of that year
        (dt.date(2030, 10, 31), dt.date(2025, 10, 31)),
    ],
)
def test_a_day_falls_into_a_season_over_new_year_where_that_holds_it(start, first):
    season = SimpleNamespace(start=dt.date(2025, 11, 1), end=dt.date(2026, 3, 31))
    assert leaving._beside_the_season(SimpleNamespace(season=season), start) == first


@pytest.mark.parametrize(
    ("start", "days", "taken"),
    [
        (dt.date(2025, 6, 14), 3, True),  # on the last day away
        (dt.date(2025, 6, 15), 3, False),
        (dt.date(2025, 5, 30), 3, True),  # it ends on the first one
        (dt.date(2025, 5, 29), 3, False),
    ],
)
def test_a_described_heat_wave_is_taken_if_one_day_of_it_is_a_day_away(make_garden, start, days, taken):
    garden = make_garden({"what_if": {"heat": {"start": start, "days": days, "warmer": "+7 K"}}}, days=3)
    heat = leaving._heat(garden, SimpleNamespace(start=JUNE[0], end=JUNE[1]), 2025)
    assert (heat.start, heat.days, heat.warmer) == ((start, days, 7.0) if taken else (dt.date(2025, 6, 4), 7, 5.0))


@pytest.mark.parametrize(
    ("length", "first", "days"), [(14, 4, 7), (13, 4, 7), (8, 1, 7), (7, 1, 7), (5, 1, 5), (1, 1, 1)]
)
def test_a_made_heat_wave_lies_in_the_middle_and_is_no_longer_than_the_days_away(make_garden, length, first, days):
    stay = SimpleNamespace(start=JUNE[0], end=JUNE[0] + dt.timedelta(days=length - 1))
    heat = leaving._heat(make_garden(days=3), stay, 2025)
    assert (heat.start, heat.days) == (dt.date(2025, 6, first), days)
    assert heat.without_rain


def stayed(stress=(0, 0), room=(5.0, 3.0), dry=0.0, stuck=0.0):
    """A stay of two beds at one valve, and of a valve that nothing is wrong with."""
    beds = {
        f"upper/{name}": BedAway(days, None, False, least, 10.0)
        for name, days, least in zip("ab", stress, room, strict=True)
    }
    pans = {"lower": PanAway(1, 2.0, 3.0, 0.0, 0.0), "upper": PanAway(1, 2.0, 3.0, dry, stuck)}
    return Stay(*JUNE, "", beds, pans, None)


@pytest.mark.parametrize(
    ("stay", "badness", "failing"),
    [
        (stayed(), (0.0, 0.0, -3.0), []),
        (stayed(stress=(2, 3)), (5.0, 0.0, -3.0), ["upper"]),
        (stayed(dry=1.5, stuck=0.5, room=(-1.0, 9.0)), (0.0, 2.0, 1.0), ["upper"]),
        (stayed(stuck=0.01), (0.0, 0.01, -3.0), ["upper"]),
    ],
)
def test_a_stay_is_safe_while_no_bed_is_short_and_no_valve_wrong_for_a_moment(stay, badness, failing):
    assert stay.badness == pytest.approx(badness)
    assert stay.failing == failing
    assert stay.safe is not bool(failing)


@pytest.mark.parametrize(
    ("now", "times", "then"), [(12, 1.25, 15), (2, 1.25, 3), (1, 1.5, 2), (1, 3.0, 3), (11, 1.5, 16)]
)
def test_more_emitters_are_at_least_one_more(make, now, times, then):
    what, changed, _ = changes._more_emitters(make(few_emitters(now)), ["upper/tomatoes"], times)
    assert what == f"{then} emitters in place of {now} on upper/tomatoes"
    assert changed["controller"]["upper"]["bed"]["tomatoes"]["emitters"]["count"] == then


@pytest.mark.parametrize(("presses", "pressed"), [(0, True), (23, True), (24, False)])
def test_a_valve_is_pressed_at_sunrise_too_where_it_may_be(presses, pressed):
    """24 presses a day are the scenario's most."""
    times = [f"{hour:02d}:00" for hour in range(presses)]
    part = SimpleNamespace(valve=SimpleNamespace(press_times=times))
    assert changes.also_pressed(part) == ({"valve": {"press_times": [*times, "sunrise"]}} if pressed else {})
    assert changes.also_pressed(SimpleNamespace(valve=SimpleNamespace(press_times=["sunrise"]))) == {}


def test_each_size_of_a_change_is_laid_over_the_present_one(make):
    """A pan of 50 cm, 18 cm deep, 20 mm of freeboard; a swing of 0.9 kg; a refill of 2 L/h."""
    part = make().controller["upper"]
    area = float(changes._sized(part, "surface", 2.0)["pan"]["vessels"][0]["area"].split()[0])
    assert area == pytest.approx(2.0 * part.pan.area)
    assert changes._sized(part, "freeboard", 40.0)["pan"]["freeboard"] == "60.0 mm"
    assert changes._sized(part, "depth", 1.5)["pan"]["depth"] == "270.0 mm"
    assert changes._sized(part, "swing", 2.0)["valve"]["swing"] == "1.8 kg"
    assert changes._sized(part, "refill", 0.5)["valve"]["refill"]["flow"] == "1.0 L/h"


def best_of(sizes, impossible=(), **shares):
    """The best size of a change whose stays are short of water on so many days; and how many stays were tried of each."""
    tried = []

    class Known(judging.Leave):
        def described(self, garden, test, by_hand=""):
            tried.append(garden)
            days = sizes[garden][[(2025, "hot"), (2025, None), (2024, None), (2023, None)].index(test)]
            return Fared(np.array([[days, 0]]), np.zeros((1, 2)), np.zeros((1, 2)))

        def judged(self, garden, tests, count, by_hand="", beside=()):
            return judging.Sure(shares.get(garden, 1.0), 1.0), []

    def changed(overlay):
        if overlay in impossible:
            raise ScenarioError(Problem("no", "pan", "can't be"))
        return overlay

    monkey = pytest.MonkeyPatch()
    monkey.setattr(judging, "_interval", lambda garden: 0.9)
    plain = SimpleNamespace(changed=changed)
    leave = Known(plain, None, *JUNE, dt.timedelta(days=13), lambda text: None)
    tests = [(2025, "hot"), (2025, None), (2024, None), (2023, None)]
    best = leave._best([(name, name, "") for name in sizes], tests, 9, 4)
    monkey.undo()
    return best, [tried.count(name) for name in sizes]


def test_the_smallest_size_that_makes_every_stay_safe_is_taken_and_none_after_it():
    """One that fails in either of the two hardest stays is not tried on the others."""
    change, tried = best_of({"a": [5], "b": [0, 2], "c": [0, 0, 1, 0], "d": [0, 0, 0, 0], "e": [0, 0, 0, 0]})
    assert (change.what, change.safe, change.fails_in, change.before) == ("d", True, (), 9)
    assert tried == [1, 2, 4, 4, 0]


@pytest.mark.parametrize(("share", "taken"), [(0.9, "a"), (0.89, "b")])
def test_a_size_that_is_safe_as_described_must_be_so_over_what_is_uncertain_too(share, taken):
    change, _ = best_of({"a": [0, 0, 0, 0], "b": [0, 0, 0, 0]}, a=share, b=0.95)
    assert (change.what, change.safe) == (taken, True)
    change, _ = best_of({"a": [0, 0, 0, 0], "b": [0, 0, 0, 0]}, a=0.5, b=0.6)
    assert (change.what, change.safe, change.fails_in) == ("b", False, ())


def test_where_no_size_makes_it_safe_the_one_that_leaves_the_least_is_told():
    change, _ = best_of({"a": [5], "b": [3], "c": [3], "d": [4]})
    assert (change.what, change.safe, change.stress_days) == ("b", False, 3)
    assert change.fails_in == ("2025 with a made-up heat wave",)
    change, _ = best_of({"a": [0], "b": [4, 0]}, impossible=("a",))
    assert (change.what, change.impossible) == ("b", "")
    change, _ = best_of({"c": [0, 0, 1, 2]})
    assert change.fails_in == ("2024", "2023")


@pytest.mark.parametrize(
    ("days", "verdict"),
    [
        (None, "none"),
        ((0.0, 0.0, 0.0), "none"),
        ((-1.0, 0.9, 0.1), "fewer"),
        ((-1.0, 0.89, 0.11), "swamped"),
        ((-1.0, 0.2, 0.0), "fewer"),  # equal in the others
        ((-1.0, 0.1, 0.0), "rare"),
        ((1.0, 0.1, 0.9), "clear"),
    ],
)
def test_a_change_helps_where_the_draws_that_it_changes_say_so(days, verdict):
    """Mean, shares below and above; nine of ten are asked for."""
    told = None if days is None else judging.Sure(0.5, 0.5, days=ranges.Paired(days[0], 0.0, 0.0, *days[1:]))
    assert judging.Change("x", False, (), 1, 2, "", told).verdict(0.9) == verdict
