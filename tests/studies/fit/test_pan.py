"""The pan without steps agrees with the engine's own count, in the mean and at the end, in dry weather and with rain."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from panbudget import replay
from panbudget.season.layout import prepare
from panbudget.studies.fit.pan import Modelled, PanModel
from panbudget.studies.fit.readings import to_come
from panbudget.weather.of_scenario import read_scenario_weather
from tests.season.test_faults import TANK
from tests.small_weather import weather_csv

FACTORS = ({"exposure": 0.7}, {"exposure": 1.2, "swing": 0.8}, {"exposure": 1.0, "refill": 0.5, "swing": 1.3})


@pytest.mark.parametrize("factors", FACTORS)
@pytest.mark.parametrize("overlay", [None, TANK], ids=["mains", "tank"])
def test_cycles_and_litres_are_the_engines_within_an_opening(factors, overlay, make_garden):
    random = np.random.default_rng(3)
    rain = [float(p) for p in np.where(random.random(60) < 0.1, random.exponential(8.0, 60), 0.0)]
    garden = make_garden(overlay, weather=weather_csv(60, pan=[float(e) for e in random.uniform(3, 11, 60)], rain=rain))
    if overlay:
        garden = garden.changed({"supply": {"spring": {"volume": "60 m^3", "footprint": "60 m^2"}}})
    weather = read_scenario_weather(garden)
    forcing = prepare(garden, weather, garden.season.start, garden.season.end)
    found = PanModel(garden, forcing, 0, ()).modelled(factors)
    described = garden.controller["upper"]
    there = garden.changed(
        {
            "controller": {
                "upper": {
                    "pan": {"exposure": factors["exposure"]},
                    "valve": {
                        "swing": f"{0.9 * factors.get('swing', 1.0)!r} kg",
                        "refill": {"flow": f"{described.valve.refill.flow * factors.get('refill', 1.0)!r} L/h"},
                    },
                }
            }
        }
    )
    season = replay(there, weather=weather)
    counted = season.controllers["upper"]["openings"].cumsum().to_numpy()
    smooth = found.counted_at(24.0 * np.arange(1, 61))
    # a count is the whole part of the cycles: half an opening below them in the mean
    assert np.mean(smooth - counted) == pytest.approx(0.5, abs=0.5)
    assert smooth[-1] - counted[-1] == pytest.approx(0.5, abs=1.2)
    litres = season.totals["controllers"]["upper"]["litres"]
    assert found.litres[-1] == pytest.approx(litres, rel=0.06 if overlay else 0.03)


def test_the_refill_flow_of_a_pan_on_a_tank_is_at_the_heads_that_the_tank_gave(make_garden):
    """A jug under the emitter catches what the falling head gives, not what its packet says at 100 kPa."""
    garden = make_garden(TANK, weather=weather_csv(20, pan=[6.0] * 20))
    season = replay(garden)
    pan = PanModel(garden, season.forcing, 0, ())
    openings = season.openings[season.openings["end_h"].notna()]
    hours = (openings["end_h"] - openings["start_h"]).sum()
    assert pan.through == pytest.approx(openings["litres"].sum() / hours, rel=0.05)
    assert pan.refill < season.forcing.pan_of["upper"].refill_flow  # that of the full tank
    assert pan.through / pan.refill == pytest.approx(31.0, rel=0.02)  # 30 emitters of 2 L/h beside one of 2 L/h


def test_an_opening_lets_through_what_it_does_in_dry_weather_while_the_pan_loses_what_rain_gave():
    """Five litres each; four cycles of rain at the hundredth hour, after which nothing opens for forty hours."""
    cycles = np.append(np.linspace(0.0, 10.0, 101), 6.0 + 0.1 * np.arange(100))
    none = np.zeros(200)
    pan = Modelled(cycles, 5.0 * np.maximum.accumulate(cycles), none, none)
    assert [pan.per_opening(hour) for hour in (100.0, 140.0, 180.0)] == pytest.approx([5.0] * 3)


def test_of_an_opening_under_way_any_part_is_still_to_come():
    """Ten thousand looks at a valve that is open for three tenths of the time, drawn; a level is read with the valve shut."""
    random = np.random.default_rng(5)
    part = np.where(random.random(10_000) < 0.3, random.random(10_000), 0.0)
    share = np.full(48, 0.3)
    looks = {"hours": np.array([12.5, 12.5, 30.0]), "levels": np.array([np.nan, 150.0, np.nan])}
    pan = SimpleNamespace(**looks, opened=np.array([False, False, True]))
    mean, variance = to_come(pan, Modelled(np.zeros(49), np.zeros(49), share, np.zeros(49)))
    assert mean.tolist() == pytest.approx([part.mean(), 0.0, 1.0], rel=0.02)
    assert variance.tolist() == pytest.approx([part.var(), 0.0, 0.0], rel=0.02)
