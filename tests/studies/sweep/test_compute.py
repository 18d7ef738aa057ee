"""A sweep's rows against single replays of the same gardens, and the compiled engine against the plain one."""

from __future__ import annotations

import copy
import datetime as dt
import math
import sys

import numpy as np
import pytest

from panbudget.scenario.garden import load_scenario, scenario_from
from panbudget.season.layout import Design, bundle_of
from panbudget.season.replay import replay
from panbudget.season.years import in_year
from panbudget.studies.sweep.compute import COLUMNS, Engine, season_columns
from panbudget.studies.sweep.jobs import _read
from panbudget.studies.sweep.plan import load_plan
from panbudget.studies.sweep.site import Place, SiteRecord, open_site
from tests.studies.sweep.district import GARDEN, ROOT, make_plan, write_district

PLACE = Place("Place 01", 38.25, -7.3, 55.0, "place-01.csv", more={"timezone": "Etc/GMT+0"})
TANK = {"kind": "tank", "volume": "2 m^3", "footprint": "2 m^2", "outlet_height": "10 m"}
YEARS = [2020, 2021]


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Two invented years."""
    folder = tmp_path_factory.mktemp("weather")
    write_district(folder, first=2020, last=2021, places=1)
    base = load_scenario(ROOT / "scenarios" / "terraces.toml")
    return SiteRecord(PLACE, open_site(PLACE, base, str(folder / PLACE.file)).over(None, None))


def garden(overlay=None, *, tank=False):
    """The test plan's garden at the test's place."""
    import tomllib

    raw = tomllib.loads(GARDEN)
    raw["site"] = {
        "latitude": PLACE.latitude,
        "longitude": PLACE.longitude,
        "elevation": "55 m",
        "timezone": "Etc/GMT+0",
    }
    if tank:
        raw["supply"]["tap"] = {**TANK, "roof": {"area": "40 m^2", "first_flush": "1 mm"}}
    scenario = scenario_from(copy.deepcopy(raw))
    return scenario.changed(overlay) if overlay else scenario


VARIED = {
    "as described": {},
    "dual": {"controller": {"yard": {"bed": {"tomatoes": {"method": "dual"}}}}},
    "wetted": {"controller": {"yard": {"bed": {"tomatoes": {"wetting_interval": "3 d"}}}}},
    "runoff": {"controller": {"trees": {"bed": {"peaches": {"curve_number": 70, "antecedent": "five-day"}}}}},
    "heat": {
        "controller": {
            "yard": {
                "bed": {
                    "tomatoes": {
                        "plants": {"name": "tomato", "stages_gdd": [200, 300, 400, 200], "base_temperature": 10}
                    }
                }
            }
        }
    },
    "in turn": {
        "controller": {
            "yard": {
                "bed": {
                    "herbs": {
                        "plantings": [
                            {"plants": {"name": "lettuce", "stages": [5, 5, 10, 5]}, "planted": dt.date(2020, 5, 2)},
                            {"plants": {"name": "lettuce", "stages": [5, 5, 10, 5]}, "planted": dt.date(2020, 6, 2)},
                        ]
                    }
                }
            }
        }
    },
}
# a planting date goes with each planting
VARIED["in turn"]["controller"]["yard"]["bed"]["herbs"]["planted"] = None


def _designs(spin_up):
    season = {"season": {"spin_up": spin_up}} if spin_up else {}
    found = []
    for name, overlay in VARIED.items():
        if name == "in turn":
            raw = copy.deepcopy(dict(garden(season).described))
            raw["controller"]["yard"]["bed"]["herbs"].pop("plants")
            raw["controller"]["yard"]["bed"]["herbs"].pop("planted")
            herbs = {k: v for k, v in overlay["controller"]["yard"]["bed"]["herbs"].items() if k != "planted"}
            raw["controller"]["yard"]["bed"]["herbs"].update(herbs)
            found.append(Design(name, scenario_from(raw)))
        else:
            found.append(Design(name, garden({**overlay, **season})))
    tank = garden(season or None, tank=True)
    return [*found, Design("tank", tank)]


def _expected(season, key):
    bed, controller = season.totals["beds"][key], season.totals["controllers"][key.split("/")[0]]
    return {
        **{name: value for name, value in bed.items() if name in COLUMNS},
        **{f"driest_{name}": value for name, value in bed["driest_quarter"].items() if f"driest_{name}" in COLUMNS},
        **{name: value for name, value in controller.items() if name in COLUMNS and name != "litres"},
        "controller_litres": controller["litres"],
        "eto_mm": season.totals["weather"]["eto_mm"],
        "pan_evaporation_mm": season.totals["weather"]["pan_evaporation_mm"][key.split("/")[0]],
    }


@pytest.mark.parametrize("spin_up", [None, "40 d"])
def test_every_row_is_what_a_single_replay_of_that_garden_says(record, spin_up):
    designs = _designs(spin_up)
    bundle = bundle_of(designs)
    columns = season_columns(record, bundle, designs[0].scenario.season, YEARS, Engine(False))
    place = compared = 0
    for year in YEARS:
        for design in designs:
            season = replay(in_year(design.scenario, year), weather=record.weather)
            for key in season.totals["beds"]:
                assert (
                    f"{bundle.rows[place % len(bundle.rows)].controller}/{bundle.rows[place % len(bundle.rows)].bed}"
                    == key
                )
                for name, value in _expected(season, key).items():
                    got = columns[name][place]
                    where = (year, design.name, key, name)
                    if "closure" in name:
                        assert abs(got) < 1e-6, where  # rounding residue: any small number will do
                    elif value is None:
                        assert math.isnan(got), where
                    else:
                        assert got == pytest.approx(value, rel=1e-12, abs=1e-12), where
                        compared += 1
                place += 1
    assert place == len(columns["year"])
    assert compared > 25 * place


def test_a_tank_is_added_up_as_in_a_replay(record):
    design = Design("tank", garden(tank=True))
    columns = season_columns(record, bundle_of([design]), design.scenario.season, [2020], Engine(False))
    said = replay(design.scenario, weather=record.weather).totals["supplies"]["tap"]["tank"]
    assert columns["tank_end_l"][0] == pytest.approx(said["end_l"], rel=1e-12, abs=1e-9)
    assert columns["tank_least_l"][0] == pytest.approx(said["least_l"], rel=1e-12, abs=1e-9)
    assert columns["tank_roof_l"][0] == pytest.approx(said["roof_l"], rel=1e-12)
    assert said["roof_l"] > 0.0


def test_designs_beside_one_another_do_not_meet(record):
    designs = _designs(None)
    together = season_columns(record, bundle_of(designs), designs[0].scenario.season, [2021], Engine(False))
    place = 0
    for design in designs:
        alone = season_columns(record, bundle_of([design]), design.scenario.season, [2021], Engine(False))
        count = len(alone["year"])
        for name in COLUMNS:
            assert np.array_equal(alone[name], together[name][place : place + count], equal_nan=True), name
        place += count


def test_a_swing_that_would_open_too_often_is_refused(record):
    from panbudget.errors import ScenarioError

    design = Design(
        "tiny",
        garden({"controller": {"yard": {"valve": {"swing": "1 g"}, "pan": {"vessels": [{"diameter": "20 m"}]}}}}),
    )
    with pytest.raises(ScenarioError, match="wants a larger swing"):
        season_columns(record, bundle_of([design]), design.scenario.season, [2020], Engine(False))


def test_a_measured_pan_without_its_column_is_refused(record):
    from panbudget.errors import ScenarioError

    design = Design("ruler", garden({"controller": {"yard": {"pan": {"evaporation": "measured"}}}}))
    with pytest.raises(ScenarioError, match="needs a column pan_evaporation"):
        season_columns(record, bundle_of([design]), design.scenario.season, [2020], Engine(False))


def test_a_plan_of_the_examples_loads(tmp_path):
    pytest.importorskip("pyarrow")
    from panbudget.studies.sweep.plan import load_plan

    assert len(load_plan(make_plan(tmp_path)).places) == 3


def test_a_sweep_remembers_the_five_days_before_a_season(record):
    """Every season's runoff is that of the whole record's days: a design with its own dates cut later loses nothing."""
    design = Design("runoff", garden(VARIED["runoff"]))
    ground = design.scenario.controller["trees"].bed["peaches"]
    whole = record.ground("trees", "peaches", ground, 0, len(record.dates))
    for first in (3, 100, 400):
        part = record.ground("trees", "peaches", ground, first, first + 60)
        assert part.rain_in.tolist() == whole.rain_in[first : first + 60].tolist()
    assert (whole.rain_in < record.rain).any()


def test_the_first_read_of_a_regular_file_goes_row_by_row_nowhere(tmp_path):
    """Counted, not timed: ten years take hardly more calls than five, though a call a row would be 1,826 more."""
    plan = load_plan(make_plan(tmp_path, places=1, first=2020, last=2029))
    path = plan.folder / plan.places[0].file
    text = path.read_text(encoding="ascii")
    calls = []
    for last in (2024, 2029):
        path.write_text(text[: text.find(f"{last + 1}-01-01")] if last < 2029 else text, encoding="ascii")
        steps = []
        for _ in range(2):  # once to load what is loaded once, and to look at each text once
            steps.append(0)

            def count(frame, event, argument, steps=steps):
                steps[-1] += event in ("call", "c_call")

            sys.setprofile(count)
            try:
                _read(plan, plan.places[0], path)
            finally:
                sys.setprofile(None)
        calls.append(steps[-1])
    assert calls[1] - calls[0] < 500, calls
