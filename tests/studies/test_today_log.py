"""
Today's field log: its last rows set the pan, tell the exposure, or name the fault that shows as they do.

Invented weather of one year: no years to look ahead by, so that each run is a replay. What the log says is made from a season
whose truth is known (`field_logs`).
"""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest

import panbudget
from panbudget.errors import ScenarioError
from panbudget.studies.today import seen, telling
from panbudget.studies.today.fan import start_of
from tests.field_logs import kept_log
from tests.garden_file import write_garden, years_csv

LAST = "2021-07-20"


@pytest.fixture(scope="module")
def garden(tmp_path_factory):
    weather = [line for line in years_csv(2021, 2021).splitlines() if line[:10] <= LAST or line[0] == "d"]
    folder = tmp_path_factory.mktemp("log")
    path = write_garden(folder, "\n".join(weather) + "\n", more='[log]\nfile = "log.csv"\n')
    return panbudget.load_scenario(path)


@pytest.fixture(scope="module")
def sound(garden):
    return panbudget.replay(garden, end=LAST)


@pytest.fixture(scope="module")
def rows(sound):
    return kept_log(sound, every=1.5, seed=3, level_error=0.0, meter=True).splitlines()


def told(garden, rows, **given):
    """Today with a log of some rows."""
    (garden.path.parent / "log.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return panbudget.today(garden, **given)


def seen_in(garden, **change):
    """The log of a garden that is not as it is described."""
    season = panbudget.replay(garden.changed(change), end=LAST)
    return kept_log(season, every=1.5, seed=3, level_error=0.0, meter=True).splitlines()


def test_a_log_as_the_model_says_changes_nothing_and_narrows_the_exposure(garden, sound, rows):
    found = told(garden, rows)
    assert found.scenario.controller["upper"].pan.exposure == pytest.approx(1.0, abs=0.02)
    low, high = found.scenario.uncertainty.controller["upper"].exposure
    assert low == pytest.approx(2.0 - high)
    assert 0.03 <= high - 1.0 < 0.1
    level = sound.controllers["upper"]["pan_level_kg"].iloc[-1]
    valve, pan = found.valves["upper"], garden.controller["upper"].pan
    assert (valve.level_mm - valve.trip_mm) * pan.area == pytest.approx(level, abs=0.1)  # read by the millimetre
    assert not found.alarms


def test_a_knocked_trip_lies_where_its_water_is_and_levels_are_told_from_there(garden):
    """Half a kilogram of 0.19635 m² is 2.5 mm: a log of what the model says changes nothing."""
    knocked = garden.changed({"fault": [{"kind": "knocked", "trip": "0.5 kg"}]})
    found, valve = told(knocked, seen_in(knocked)), told(garden, seen_in(garden)).valves["upper"]
    assert found.valves["upper"].trip_mm - valve.trip_mm == pytest.approx(0.5 / 0.19635, abs=0.01)
    assert found.valves["upper"].reset_mm - valve.reset_mm == pytest.approx(0.5 / 0.19635, abs=0.01)
    assert found.scenario.controller["upper"].pan.exposure == pytest.approx(1.0, abs=0.02)
    level = panbudget.replay(knocked, end=LAST).controllers["upper"]["pan_level_kg"].iloc[-1]
    assert (found.valves["upper"].level_mm - found.valves["upper"].trip_mm) * 0.19635 == pytest.approx(level, abs=0.1)
    assert not found.alarms


@pytest.mark.parametrize("without", ["level_mm", "meter_l"])
@pytest.mark.parametrize("start", ["2021-07-12", "2021-07-17"])
def test_a_swing_knocked_of_late_is_each_days_own(start, without, garden):
    """From 0.9 to 1.8 kg, before or within the log's last week: a log of what the model says tells no fault."""
    knocked = garden.changed({"fault": [{"kind": "knocked", "swing": "0.9 kg", "start": start}]})
    log = pd.DataFrame([row.split(",") for row in seen_in(knocked)])
    kept = log.loc[:, log.iloc[0] != without]
    found = told(knocked, [",".join(row) for row in kept.to_numpy().tolist()])
    assert not found.alarms
    assert found.scenario.controller["upper"].pan.exposure == pytest.approx(1.0, abs=0.1)


def test_every_valve_that_a_log_tells_of_is_computed_so(garden, rows):
    """Two pans alike under one log: each is found to be as described."""
    two = garden.changed({"controller": {"lower": garden.described["controller"]["upper"]}})
    of_both = [f"{rows[0]},controller", *(f"{row},{name}" for name in ("upper", "lower") for row in rows[1:])]
    told_of = told(two, of_both).scenario.uncertainty.controller
    assert told_of["lower"].exposure == pytest.approx(told_of["upper"].exposure)


def test_a_pan_that_loses_more_than_described_is_computed_so(garden, sound):
    """And its beds get what it gave: the season so far is replayed, not the days ahead alone."""
    found = told(garden, seen_in(garden, controller={"upper": {"pan": {"exposure": 1.2}}}))
    assert found.scenario.controller["upper"].pan.exposure == pytest.approx(1.2, abs=0.04)
    assert any("which its uncertainty allows; the season" in note for note in found.notes)
    more = found.season.totals["controllers"]["upper"]["litres"] / sound.totals["controllers"]["upper"]["litres"]
    assert more == pytest.approx(1.2, abs=0.05)


@pytest.mark.parametrize(
    ("fault", "seen", "names"),
    [
        ({"kind": "clogged-refill", "share": 0.5}, "each opening gave 2.", "a clogged refill emitter. Catch"),
        ({"kind": "leak", "loss": "1.5 L/day"}, "the pan lost 1.", "a leak or animals that drink from it. A wet"),
        (
            {"kind": "shade", "factor": 0.4},
            "the pan lost 0.4",
            "a pan in the shade or algae or leaves on the water. Where the shadow",
        ),
    ],
)
def test_the_fault_that_shows_so_is_the_likelier_cause(fault, seen, names, garden):
    """Its size is not the usual list's, nor is its day the log's first."""
    found = told(garden, seen_in(garden, fault=[{**fault, "start": "2021-07-11"}]))
    (note,) = [note for note in found.alarms if "likelier cause" in note]
    assert seen in note
    assert f"likelier cause, {names}" in note
    assert found.scenario.controller["upper"].pan.exposure == 1.0


@pytest.mark.parametrize(
    ("last", "times"), [(204, "0.50"), (380, ""), (470, ""), (520, "1.27"), (20, "0.05"), (0, "0.02")]
)
def test_the_last_jug_tells_of_a_clogged_refill(last, times, garden):
    """2 L/h at 100 kPa are 408 mL in ten minutes at 150 kPa; half of it is no packet's error, 7 % less are, nor 15 % more."""
    head, jugs = "date,jug_ml,jug_minutes", ["2021-07-02 10:00,408,10", f"2021-07-19 10:00,{last},10"]
    alarms = [note for note in told(garden, [head, *jugs]).alarms if "times the flow described" in note]
    assert bool(alarms) is bool(times)
    assert all(f"gives {times} times the flow described" in note for note in alarms)
    assert any("a clogged refill emitter" in note for note in alarms) is (0 <= last < 380)


@pytest.mark.parametrize(
    ("ratio", "day", "more", "asks"),
    [
        (0.7, "02", "", True),
        (0.7, "12", "", False),  # a jug since the first of these counts
        (0.7, "02", "meter_l", False),
        (1.0, "02", "", False),
    ],
)
def test_counts_alone_ask_for_a_jug(ratio, day, more, asks, garden, sound):
    """
    Seven openings for the model's ten: the pan, or a refill emitter clogged to a fifth, tells it.

    408 mL are what 2 L/h at 100 kPa give in ten minutes at 150 kPa: 333 √1.5. Of what evaporates, a share s does while water
    runs in, s/c with an emitter clogged to c: so many openings as 1 − s/c over 1 − s tell c.
    """
    openings = sound.openings
    share = 1.0 - len(openings) * 0.9 / openings["refilled_kg"].sum()
    at = [f"2021-07-{at:02d} 12:00" for at in range(11, 20)]
    counts = [int(ratio * (openings["start"] < moment).sum()) for moment in at]
    each = openings["litres"].mean()
    rows = [
        f"{moment},{after - before},,{after * each:.0f},,"
        for moment, before, after in zip(at, [counts[0], *counts], counts, strict=False)
    ]
    head = f"date,openings,level_mm,{more or 'note'},jug_ml,jug_minutes"
    found = told(garden, [head, f"2021-07-{day} 13:00,,,,408,10", *rows])
    assert found.alarms == ()
    texts = [note for note in found.notes if "hold a jug under it" in note]
    assert bool(texts) is asks
    if asks:
        assert "for 10 minutes while the valve is open. 408 mL" in texts[0].replace("\u00a0", " ")
        forms = r"lost (\d\.\d+) times", r"(\d+)\smL or less", r"(\d+) times the water"
        seldom, less, times = (float(re.search(form, texts[0])[1]) for form in forms)
        clogged = share / (1.0 - seldom * (1.0 - share))
        assert less / 408.0 == pytest.approx(clogged, rel=0.05)
        assert times == pytest.approx(1.0 / clogged, abs=0.7)


@pytest.mark.parametrize(("days", "is_told"), [(1, False), (3, True)])
def test_no_opening_counted_where_there_should_be_some_is_told(days, is_told, garden):
    """The model opens some three times in two days; one more or less says nothing."""
    rows = [f"2021-07-{20 - ago} 12:00,0,," for ago in range(days, -1, -1)]
    found = told(garden, [HEAD, *rows])
    assert any("no opening was counted" in alarm for alarm in found.alarms) is is_told
    assert found.scenario.controller["upper"].pan.exposure == 1.0


def test_a_pan_moved_by_hand_is_told_and_tells_no_exposure(garden, rows):
    """Twelve millimetres more in one row: poured in, or moved; nothing else is told by it, and the days ahead start there."""
    cells = rows[-1].split(",")
    filled = [*rows[:-1], ",".join([*cells[:2], str(int(cells[2]) + 12), *cells[3:]])]
    found = told(garden, filled)
    (note,) = [note for note in found.notes if "Was it filled up or moved" in note]
    assert "came to hold 13 mm more" in note  # to the millimetre of two readings
    assert found.scenario.controller["upper"].pan.exposure == pytest.approx(1.0, abs=0.04)
    assert found.valves["upper"].level_mm > found.valves["upper"].reset_mm
    assert any("lies above the level at which it shuts" in note for note in found.alarms)
    emptied = [*rows[:-1], ",".join([*cells[:2], str(int(cells[2]) - 12), *cells[3:]])]
    found = told(garden, emptied)
    assert any(re.search("came to hold 1[1-3] mm less", note) for note in found.notes)
    assert any("lies below the level at which it opens" in note for note in found.alarms)


def test_water_poured_in_is_no_jump(garden, rows):
    """Two litres, ten millimetres, into a pan whose log says so."""
    cells = rows[-1].split(",")
    higher = ",".join([*cells[:2], str(int(cells[2]) + 10), *cells[3:]])
    added = [f"{row},{2.0 if row is rows[-2] else 0.0}" for row in rows[1:-1]]
    for header, moved in ((f"{rows[0]},added_l", False), (f"{rows[0]},tank_level", True)):
        assert any("moved" in note for note in told(garden, [header, *added, f"{higher},0.0"]).notes) is moved


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("2021-07-22 08:00,,157,,", "1 row of the field log after 2021-07-20"),
        ("2020-07-19 08:00,,157,,", "has no row from 2021-07-01 to 2021-07-20"),
        ("2021-07-19 08:00,,157,,", "you saw 157 mm on 2021-07-19 08:00 where the model had"),
    ],
)
def test_rows_that_are_of_no_use_are_told_and_one_will_do(row, says, garden):
    found = told(garden, ["date,openings,level_mm,meter_l,note", row])
    assert any(says in note.replace("\u00a0", " ") for note in found.notes)


@pytest.mark.parametrize(
    ("level", "unit"), [("15.6", "cm"), ("15.5", ""), ("18.0", "cm"), ("18.1", ""), ("6.2", "inches"), ("154", "")]
)
def test_a_level_that_reads_like_another_unit_is_asked_about(level, unit, garden):
    """The valve opens at 155.4 mm and the pan is 180 mm deep."""
    found = told(garden, ["date,openings,level_mm,meter_l,note", f"2021-07-19 08:00,,{level},,"])
    asked = [re.search("was it read in ([a-z]+)", alarm) for alarm in found.alarms if "lies below" in alarm]
    assert [match[1] for match in asked if match] == ([unit] if unit else [])


def test_what_is_given_by_hand_comes_after_the_log(garden, rows):
    found = told(garden, rows, level={"upper": 158.0})
    assert found.valves["upper"].level_mm == pytest.approx(158.0)
    # a level given for tonight is of the last day
    assert any("upper: from 2021-07-14 to 2021-07-20 the pan lost" in note for note in found.notes)
    with pytest.raises(panbudget.PanbudgetError, match=r"log\.csv"):
        told(garden, ["date,level_mm", "2021-07-19 08:00,wet"])


HEAD = "date,openings,level_mm,meter_l"


@pytest.mark.parametrize(
    ("levels", "litres", "cause", "tonight"),
    [
        ((120, 110), 800, "it hangs open. Shut the supply by hand; then see whether the refill emitter", 104.0),
        ((120, 110), 0, "If no water runs, is the magnet stuck", 104.0),
        ((175, 175), 800, "it hangs open. Shut the supply by hand; then see whether the counterweight", 169.0),
        ((175, 175), 0, "did more rain fall than was measured", 169.0),
    ],
)
def test_a_valve_that_hangs_open_is_told_and_its_pan_stands_where_it_was_seen(levels, litres, cause, tonight, garden):
    """Below its trip it loses until tonight what the model says, some 6 mm in 15 hours; it tells no exposure and no shade."""
    rows = [
        f"2021-07-{day} 09:00,0,{mm},{at}" for day, mm, at in zip((18, 20), levels, (100, 100 + litres), strict=True)
    ]
    found = told(garden, [HEAD, *rows])
    (alarm,) = [alarm for alarm in found.alarms if " on 2021-07-20 09:00 lies " in alarm]
    assert cause in alarm
    assert found.valves["upper"].level_mm == pytest.approx(tonight, abs=2.0)
    if levels[0] > 158:
        assert found.alarms == (alarm,)
        assert found.scenario.controller["upper"].pan.exposure == 1.0


@pytest.mark.parametrize(("times", "runs"), [(2.99, False), (3.01, True)])
def test_from_three_times_what_the_openings_give_a_meter_tells_that_water_runs(times, runs, garden, sound):
    """One opening counted: twice its litres, for one that may be under way."""
    each = sound.openings["litres"].mean()
    rows = ["2021-07-18 09:00,0,157,100", f"2021-07-20 09:00,1,120,{100.0 + times * 2.0 * each:.3f}"]
    assert any("hangs open. Shut" in alarm for alarm in told(garden, [HEAD, *rows]).alarms) is runs


def test_a_weather_file_that_begins_within_the_season_is_told(tmp_path):
    lines = years_csv(2021, 2021).splitlines(keepends=True)
    late = "".join(line for line in lines if not line[:1].isdigit() or "2021-07-02" <= line[:10] <= LAST)
    with pytest.raises(
        ScenarioError,
        match="season.start: the season began on 2021-07-01, before the weather file, which begins on 2021-07-02",
    ):
        panbudget.today(write_garden(tmp_path, late))


def spans_of(garden, losses, off=0.0):
    """Stretches between two looks without an opening: what the model lost, the last with so many mm more seen."""
    area = garden.controller["upper"].pan.area
    look = telling.Look(24.0, dt.datetime(2021, 7, 19), 0, False)
    spans = [telling._Span(look, look, 0, mm * area, mm * area) for mm in losses]
    return [*spans[:-1], spans[-1]._replace(seen=(losses[-1] + off) * area)]


@pytest.mark.parametrize(
    ("losses", "off", "moved"), [((9.0,) * 3, 7.99, 0), ((9.0,) * 3, 8.01, 1), ((1.0, 9.0), 30.0, 0)]
)
def test_of_three_stretches_one_that_is_eight_millimetres_off_was_moved(losses, off, moved, garden):
    spans, notes = telling._moved(garden, "upper", spans_of(garden, losses, off))
    assert (len(losses) - len(spans), len(notes)) == (moved, moved)


@pytest.mark.parametrize(("lost", "tells"), [(4.99, False), (5.01, True)])
def test_a_ruler_tells_from_five_millimetres_lost(lost, tells, garden, sound):
    look = telling.Look(0.0, dt.datetime(2021, 7, 1), None, False)
    figures = telling._figures(garden, sound, "upper", [look, look], spans_of(garden, (lost,)))
    assert ("drop" in figures) is tells


def test_counts_and_a_meter_tell_within_what_they_stray_by(garden, sound):
    """A phase anywhere between two openings, √(1/12) at either end; 3 % an opening by the hour, and half a one of ten."""
    looks = [
        telling.Look(hour, dt.datetime(2021, 7, 1), count, False, meter=at)
        for hour, count, at in ((0.0, None, 0.0), (240.0, 10, 100.0))
    ]
    figures = telling._figures(garden, sound, "upper", looks, [])
    swings = np.exp(figures["openings"].ratio) / 10.0  # swings in what the model lost
    assert figures["openings"].error == pytest.approx((1.0 / 6.0) ** 0.5 * swings)
    assert figures["litres"].error == pytest.approx(0.03 + 0.5 / 10.0)
    assert telling._figure(0.0, 9.0, 1.0, np.ones(1)).ratio == pytest.approx(np.log(0.02))


def test_a_knocked_swing_moves_the_level_above_which_a_valve_is_suspected(garden):
    knocked = garden.changed({"fault": [{"kind": "knocked", "swing": "2 kg"}]})
    season = panbudget.replay(knocked, end=LAST)
    reset = (season.forcing.pans.swing[0, -1] - season.forcing.pans.dry[0, -1]) / 0.19635
    for above, alarms in ((4.99, 0), (5.01, 1)):
        look = telling.Look(24.0 * len(season.days), dt.datetime(2021, 7, 20, 23, 59), None, False, reset + above)
        assert len(seen._put(knocked, season, start_of(season), "upper", look, 0.0)[1]) == alarms


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"level": 150.0}, "level = 150.0 names no valve"),
        ({"level": {"upper": None}}, "level upper = None is no depth"),
        ({"level": {"upper": True}}, "level upper = True is no depth"),
        ({"level": {"upper": "15 kg"}}, "level upper = 15 kg is no depth"),
        ({"opened": {"upper": "noon"}}, "opened upper = noon is no moment"),
        ({"opened": {"upper": None}}, "opened upper = None is no moment"),
        ({"opened": {"upper": pd.Timestamp("2021-07-20 06:30", tz="UTC")}}, "is no moment"),
    ],
)
def test_what_was_seen_is_refused_where_it_is_no_depth_or_moment(given, says):
    with pytest.raises(ScenarioError, match=re.escape(says)):
        seen.seen_of(given.get("level"), given.get("opened"))


def test_what_was_seen_may_be_text():
    found = seen.seen_of({"upper": "6 in"}, {"upper": "2021-07-20 06:30"})
    assert found == ({"upper": pytest.approx(152.4)}, {"upper": dt.datetime(2021, 7, 20, 6, 30)})
