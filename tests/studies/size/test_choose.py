"""Sizing: the same numbers as a replay, an optimum that an exhaustive search confirms, wishes that bind."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import math

import numpy as np
import pytest

from panbudget import replay
from panbudget.cli.main import main
from panbudget.errors import ScenarioError
from panbudget.studies.size.choose import WISHES, size
from panbudget.studies.size.settings import Setting, outcomes, year_forcing
from tests.small_weather import weather_csv
from tests.test_laws import nested

BED = ("controller", "upper", "bed", "tomatoes")
KC = {"plants": {"kc": 0.9, "root_depth": "40 cm", "depletion": 0.5}, "emitters": {"count": 40}}


def varied_weather(days=100):
    """Cool, hot and showery by turns; invented."""
    pan = [6.0 + 4.0 * np.sin(day / 9.0) + (3.0 if day % 17 < 4 else 0.0) for day in range(days)]
    rain = [18.5 if day % 29 == 13 else 0.0 for day in range(days)]
    return weather_csv(days, pan=[round(float(e), 2) for e in pan], rain=rain)


@pytest.fixture
def garden(make_garden):
    return make_garden(nested(BED, KC), weather=varied_weather())


def as_overlay(setting):
    """The setting laid over the garden; the flow is that at the supply's own pressure."""
    return {
        "controller": {
            "upper": {
                "pan": {"vessels": [{"area": f"{setting.area!r} m^2"}]},
                "valve": {
                    "swing": f"{setting.swing!r} kg",
                    "refill": {"flow": f"{setting.refill_flow!r} L/h", "at": "150 kPa"},
                },
            }
        }
    }


def test_a_setting_comes_out_as_its_replay(garden):
    """Bit for bit the same engine: litres, stress days, openings of three settings against three replays."""
    season = replay(garden)
    year = year_forcing(season, "upper")
    settings = [Setting(a, 180.0, f, s) for a, f, s in ((0.2, 2.0, 0.9), (0.1, 3.1, 0.5), (0.3, 1.2, 1.7))]
    (found,) = outcomes([year], settings, times=True)
    for index, setting in enumerate(settings):
        single = replay(garden.changed(as_overlay(setting)))
        bed = single.totals["beds"]["upper/tomatoes"]
        assert found.litres[index] == pytest.approx(single.totals["controllers"]["upper"]["litres"], rel=1e-9)
        assert found.stress_days[index, 0] == bed["driest_quarter"]["stress_days"]
        assert found.adequacy[index, 0] == pytest.approx(bed["driest_quarter"]["adequacy"], rel=1e-9)
        assert found.supply[index, 0] == pytest.approx(bed["irrigation_mm"], rel=1e-9)
        starts = single.openings["start_h"].to_numpy() % 24
        assert found.daylight_openings[index] == pytest.approx(((starts > 4) & (starts < 20)).mean(), abs=0.03)


def test_the_choice_is_that_of_an_exhaustive_search(garden):
    """Every pair of a coarse grid replayed on its own: none that keeps the wishes uses less water than the choice."""
    sizing = size(garden).valves["upper"]
    assert sizing.choice.keeps
    chosen = sizing.choice.judged.row(sizing.choice.best)
    least = np.inf
    for area, flow in itertools.product(np.linspace(0.06, 0.6, 7), np.linspace(0.8, 5.0, 7)):
        setting = Setting(float(area), 180.0, float(flow), 0.9)
        season = replay(garden.changed(as_overlay(setting)))
        pan = season.totals["controllers"]["upper"]
        hottest = season.days["tmax_c"].rolling(7).mean().idxmax()
        week = season.controllers["upper"].loc[hottest - dt.timedelta(days=6) : hottest, "openings"].mean()
        sound = pan["stuck_open_hours"] <= 1.0 and pan["dry_pan_hours"] == 0.0 and 0.5 <= week <= 8.0
        if sound and season.totals["beds"]["upper/tomatoes"]["driest_quarter"]["stress_days"] <= 3:
            least = min(least, pan["litres"])
    assert np.isfinite(least)
    assert chosen["litres"] <= least * 1.0001
    assert chosen["stress_days"] <= 3
    assert sizing.choice.binding == "stress_days"


def test_a_wish_for_little_water_can_make_the_rest_impossible(garden):
    thrifty = garden.changed({"wishes": {"litres": "1 m^3", "stress_days": 0}})
    choice = size(thrifty).valves["upper"].choice
    assert not choice.keeps
    assert choice.binding in WISHES
    assert choice.judged.violation[choice.best].sum() > 0.0


def test_openings_a_day_are_had_by_another_swing(garden):
    often = garden.changed({"wishes": {"openings_a_day": [0.2, 0.6]}})
    choice = size(often).valves["upper"].choice
    row = choice.judged.row(choice.best)
    assert choice.keeps
    assert 0.2 <= row["openings_a_day"] <= 0.6
    assert row["swing_kg"] > 0.9


def test_only_what_is_owned_is_chosen(garden):
    owned = [
        {"name": "tub", "vessels": [{"diameter": "40 cm"}], "depth": "20 cm"},
        {"name": "dish", "vessels": [{"length": "30 cm", "width": "20 cm"}], "depth": "8 cm", "count": 2},
        {"name": "grey dripper", "flow": "1.5 L/h", "count": 2},
    ]
    choice = size(garden.changed({"owned": owned})).valves["upper"].choice
    labels = set(choice.judged.labels)
    assert labels == {
        f"{pan}, {refill}"
        for pan in ("tub", "dish", "2 × dish", "tub and dish", "tub and 2 × dish")
        for refill in ("grey dripper", "2 × grey dripper")
    }
    areas = {round(s.area, 6) for s in choice.judged.settings}
    assert round(np.pi * 0.04 + 0.12, 6) in areas
    assert {s.depth for s in choice.judged.settings} == {200.0, 80.0}
    with pytest.raises(ScenarioError, match="all shallower than the freeboard"):
        size(garden.changed({"owned": [{"name": "lid", "vessels": [{"diameter": "40 cm"}], "depth": "1 cm"}]}))


def test_unlike_beds_are_given_emitters_of_their_own(make_garden):
    plants = {"kc": 0.9, "root_depth": "40 cm", "depletion": 0.5}
    bed = {"area": "10 m^2", "soil": "loam", "plants": plants}
    emitters = {"flow": "2 L/h", "at": "100 kPa"}
    beds = {
        "few": {**bed, "emitters": {"count": 20, **emitters}},
        "many": {**bed, "emitters": {"count": 60, **emitters}},
    }
    garden = make_garden(weather=varied_weather())
    raw = dict(garden.described)
    raw["controller"]["upper"]["bed"] = beds
    from panbudget.scenario.garden import scenario_from

    valve = size(scenario_from(raw, garden.path)).valves["upper"]
    assert valve.ratios["many"] == pytest.approx(3 * valve.ratios["few"])
    assert valve.emitters["few"][1] == valve.emitters["many"][1]
    assert valve.with_emitters is not None
    as_is, moved = valve.choice, valve.with_emitters
    assert moved.judged.litres[moved.best] < as_is.judged.litres[as_is.best]


def test_every_year_of_the_record_counts(make_garden, monkeypatch):
    """Twelve summers, one of them far hotter: nine years of ten leave that one out."""
    lines = ["date,tmin,tmax,rh_max,rh_min,wind,rain,radiation,pan_evaporation"]
    for n in range(12 * 366):
        day = dt.date(2010, 1, 1) + dt.timedelta(days=n)
        sun = 17.0 + 9.0 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 172) / 365)
        lines.append(f"{day},14,30,80,35,2,0,{sun:.1f},{12 if day.year == 2015 else 7}")
    garden = make_garden(nested(BED, KC), weather="\n".join(lines) + "\n")
    summer = garden.changed({"season": {"start": dt.date(2015, 7, 1), "end": dt.date(2015, 7, 31)}})
    monkeypatch.setattr("panbudget.studies.size.settings._WORTH_COMPILING", math.inf)  # a month is soon interpreted
    sizing = size(summer)
    assert sizing.years == tuple(range(2010, 2022))
    assert not any("nine years of ten can't be told" in text for text in sizing.assumptions)
    judged = sizing.valves["upper"].choice.judged
    # eleven summers of 7 mm and one of 12: the tenth part left out is the hot one
    assert judged.wet_litres[0] < judged.litres[0]


def test_several_processes_give_the_same_numbers(garden, monkeypatch):
    season = replay(garden)
    year = year_forcing(season, "upper")
    settings = [Setting(0.002 * n + 0.05, 180.0, 2.0, 0.9) for n in range(130)]
    (plain,) = outcomes([year], settings)
    monkeypatch.setattr("panbudget.studies.size.settings._WORTH_PROCESSES", 1)
    (spread,) = outcomes([year], settings)
    assert np.array_equal(plain.litres, spread.litres)
    assert np.array_equal(plain.stress_days, spread.stress_days)


def test_the_command_writes_page_table_and_json(garden, tmp_path, capsys):
    import tomllib

    source = tmp_path / "garden.toml"
    source.write_text(_toml(garden.described), encoding="utf-8")
    with pytest.raises(SystemExit) as stopped:
        main(["size", str(source), "--out", str(tmp_path / "sizes")])
    assert stopped.value.code == 0
    said = capsys.readouterr().out
    assert "upper: a pan of" in said
    names = sorted(p.name for p in (tmp_path / "sizes").iterdir())
    assert names == ["figures", "size.csv", "size.html", "size.json"]
    whole = json.loads((tmp_path / "sizes" / "size.json").read_text(encoding="utf-8"))
    overlay = tomllib.loads(whole["variant"])["variant"]["sized"]
    again = replay(garden.changed(overlay))
    best = whole["valves"]["upper"]["best"]
    assert again.totals["controllers"]["upper"]["litres"] == pytest.approx(best["litres"], rel=0.01)
    page = (tmp_path / "sizes" / "size.html").read_text(encoding="utf-8")
    assert "http" not in page
    assert "[variant.sized]" in page
    with pytest.raises(SystemExit) as stopped:
        main(["size", str(source), "--out", str(tmp_path / "none"), "--controller", "lower"])
    assert stopped.value.code == 2
    assert "controller.lower is not in the file; expected: one of " in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def _toml(value, path=""):
    """Enough TOML for a test's scenario."""

    def inline(part):
        if isinstance(part, bool):
            return str(part).lower()
        if isinstance(part, str):
            return json.dumps(part)
        if isinstance(part, list):
            return "[" + ", ".join(inline(p) for p in part) + "]"
        if isinstance(part, dict):
            return "{ " + ", ".join(f"{k} = {inline(v)}" for k, v in part.items()) + " }"
        return str(part)

    return "\n".join(f"{key} = {inline(part)}" for key, part in value.items()) + "\n"


def test_a_garden_on_a_tank_is_sized_too(garden, tmp_path):
    """Each setting has the tank to itself; the present one comes out as its replay, and the overlay can be pasted."""
    tank = {"kind": "tank", "volume": "20 m^3", "footprint": "8 m^2", "outlet_height": "6 m"}
    on_tank = garden.changed(
        {"supply": {"spring": tank}, "owned": [{"name": "dripper", "flow": "2 L/h", "at": "60 kPa"}]}
    )
    season = replay(on_tank)
    year = year_forcing(season, "upper")
    pan = season.forcing.pan_of["upper"]
    described = on_tank.controller["upper"]
    present = Setting(described.pan.area, described.pan.depth, pan.refill_flow, described.valve.swing_kg)
    (found,) = outcomes([year], [present])
    assert found.litres[0] == pytest.approx(season.totals["controllers"]["upper"]["litres"], rel=1e-9)
    sizing = size(on_tank)
    from panbudget.reports.size.page import variant_text

    assert 'at = "83.36 kPa"' in variant_text(sizing)
