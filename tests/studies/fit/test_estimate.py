"""Fitting: logs made by a garden whose truth is known come back to that truth, misreads or not."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest

from panbudget import replay
from panbudget.errors import ReadingsError
from panbudget.season.layout import prepare
from panbudget.studies.fit.estimate import fit, fit_controller
from panbudget.studies.fit.log import read_field_log
from panbudget.studies.fit.pan import PanModel
from panbudget.weather.of_scenario import read_scenario_weather
from tests.field_logs import kept_log
from tests.small_weather import weather_csv

DAYS = 30
METERED_DAYS = 45  # a meter by whole litres tells a flow to 3 % in so many


def uneven_weather(days=DAYS, seed=0):
    random = np.random.default_rng(seed)
    rain = np.where(random.random(days) < 0.1, random.exponential(6.0, days), 0.0)
    return weather_csv(days, pan=[float(e) for e in random.uniform(4.0, 11.0, days)], rain=[float(p) for p in rain])


def true_garden(garden, exposure=1.0, refill=2.0, swing=0.9):
    valve = {"swing": f"{swing!r} kg", "refill": {"flow": f"{refill!r} L/h"}}
    return garden.changed({"controller": {"upper": {"pan": {"exposure": exposure}, "valve": valve}}})


class Field:
    """A garden as described, its weather, and logs kept in a garden whose numbers are others."""

    def __init__(self, make_garden, days=DAYS):
        self.garden = make_garden(weather=uneven_weather(days))
        self.weather = read_scenario_weather(self.garden)

    def log(self, truth, **kept):
        season = replay(true_garden(self.garden, **truth), weather=self.weather)
        path = self.garden.path.parent / "log.csv"
        path.write_text(kept_log(season, **kept), encoding="utf-8")
        return read_field_log(path, self.garden)

    def fitted(self, truth, hold=(), **kept):
        log = self.log(truth, **kept)
        forcing = prepare(self.garden, self.weather, log.first, log.last)
        return fit_controller(self.garden, forcing, 0, log.visits["upper"], hold=hold)


def values(one):
    return {estimate.name: estimate.value for estimate in one.estimates}


@pytest.fixture
def field(make_garden):
    return Field(make_garden)


@pytest.fixture
def metered(make_garden):
    return Field(make_garden, METERED_DAYS)


KEPT = {
    "counts and levels": {},
    "counts": {"levels": False},
    "levels": {"counts": False, "every": 1.0, "level_error": 0.5},
    "misreads": {"misreads": 4},
    "sparse": {"every": 5.0},
    "meter": {"meter": True},
}


@pytest.mark.parametrize("kept", ["counts and levels", "meter", "misreads"])  # `longer` has all
def test_exposure_comes_back_within_a_twentieth(kept, field):
    found = values(field.fitted({"exposure": 0.6}, **KEPT[kept]))
    assert found["exposure"] == pytest.approx(0.6, rel=0.05)


def test_a_meter_tells_the_refill_flow(metered):
    found = values(metered.fitted({"exposure": 0.8, "refill": 1.6}, meter=True))
    assert found["exposure"] == pytest.approx(0.8, rel=0.03)
    assert found["refill"] == pytest.approx(1.6, rel=0.03)


def test_levels_alone_that_go_with_several_exposures_tell_none(field):
    """Every few days, a whole number of openings more or fewer between two levels can't be seen."""
    overlay = fit(field.garden, field.log({"exposure": 0.9}, counts=False, every=5.0), weather=field.weather)
    found = overlay.controllers["upper"]
    assert found.estimates == ()
    assert "is about as consistent with" in found.untold["exposure"]
    assert overlay.after.totals == overlay.before.totals
    assert "openings counted beside it" in overlay.toml


def test_a_meter_alone_tells_the_exposure_as_well_as_the_refill_flow_is_known(metered):
    one = metered.fitted({"exposure": 0.8}, levels=False, counts=False, meter=True)
    assert "openings counted beside it would part them" in one.untold["refill"]
    found = one.estimates[0]
    assert found.value == pytest.approx(0.8, rel=0.03)
    assert 0.07 < np.log(found.high / found.low) / 2.0 < 0.15  # [uncertainty] has the refill flow within a tenth


def test_a_miscount_is_found_and_does_no_harm(field):
    log = field.log({"exposure": 0.9}, levels=False, every=1.5)
    path = field.garden.path.parent / "log.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    cells = lines[15].split(",")
    cells[1] = str(int(cells[1]) + 6)
    lines[15] = ",".join(cells)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    log = read_field_log(path, field.garden)
    forcing = prepare(field.garden, field.weather, log.first, log.last)
    found = fit_controller(field.garden, forcing, 0, log.visits["upper"])
    assert values(found)["exposure"] == pytest.approx(0.9, rel=0.03)
    assert any(line == 16 and "look counted too often" in what for line, what in found.questioned)


def test_misread_levels_are_set_aside_by_line(field):
    found = field.fitted({"exposure": 0.9}, misreads=3, every=1.5)
    named = [line for line, what in found.questioned if what.startswith("the level is off by")]
    assert len(named) >= 3
    assert found.readings["set_aside"].sum() <= 6


def test_water_poured_into_the_pan_puts_openings_off(field):
    """Two litres are 2 ÷ 0.9 of a swing, less what they would have lost while the valve was open."""
    log = field.log({}, levels=False)
    visits = log.visits["upper"]
    poured = (*visits[:9], dataclasses.replace(visits[9], added=2.0), *visits[10:])
    forcing = prepare(field.garden, field.weather, log.first, log.last)
    with_it, without = (
        PanModel(field.garden, forcing, 0, seen).modelled({"exposure": 1.0}).cycles[-1] for seen in (poured, visits)
    )
    assert without - with_it == pytest.approx(2.0 / 0.9, rel=0.1)


def test_a_valve_pressed_by_hand_is_stepped_opening_by_opening(make_garden):
    field = Field(make_garden)
    field.garden = field.garden.changed({"controller": {"upper": {"valve": {"press_times": ["20:30"]}}}})
    found = field.fitted({"exposure": 0.8}, levels=False)
    assert values(found)["exposure"] == pytest.approx(0.8, rel=0.06)


def test_a_log_outside_the_weather_is_told(field):
    log = field.log({})
    early = read_field_log(field.garden.path.parent / "log.csv", field.garden)
    moved = dt.date(2024, 5, 1)
    with pytest.raises(ReadingsError, match="expected: all of the log's days in the weather file; name a longer file"):
        fit(field.garden, type(log)(early.file, "", moved, early.last, early.visits, ()), weather=field.weather)


def test_a_log_of_another_year_than_the_season_wants_no_weather_between_them(field):
    """As `today` takes it: a scenario of last summer, and this summer's log; the file has no winter."""
    field.log({"exposure": 0.8})
    path = field.garden.path
    rows = (path.parent / "weather.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    next_year = [row.replace("2025-", "2026-", 1) for row in rows if row[:4] == "2025"]
    (path.parent / "weather.csv").write_text("".join([*rows, *next_year]), encoding="utf-8")
    log = path.parent / "log.csv"
    log.write_text(log.read_text(encoding="utf-8").replace("2025-", "2026-"), encoding="utf-8")
    found = fit(field.garden, log)
    assert values(found.controllers["upper"])["exposure"] == pytest.approx(0.8, rel=0.06)
    assert (found.log.first.year, found.before.days.index[0].year) == (2026, 2025)


def test_a_season_that_still_runs_is_taken_so_far(field):
    """As `today` takes it; the log of a running season was refused."""
    field.log({"exposure": 0.8})
    whole = fit(field.garden, field.garden.path.parent / "log.csv")
    longer = field.garden.changed({"season": {"end": field.garden.season.end + dt.timedelta(days=1)}})
    found = fit(longer, field.garden.path.parent / "log.csv")
    assert found.controllers["upper"].estimates == whole.controllers["upper"].estimates
    assert found.after.days.equals(whole.after.days) and found.litres == whole.litres
    assert "upper: the scenario's season takes" in whole.sentences()[0]
    assert "upper: the season so far (1 to 30 May 2025) takes" in found.sentences()[0]
