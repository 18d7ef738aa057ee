"""A season in three sentences."""

from __future__ import annotations

import re

from panbudget import replay
from panbudget.reports.season.words import three_sentences
from tests.small_weather import weather_csv
from tests.test_laws import VALVE, nested


def plain(text):
    return re.sub(r"\s", " ", text)


def test_a_valve_that_never_opens_is_said_to(make_garden):
    season = replay(make_garden(nested(VALVE, {"swing": "9 kg"}), days=3))
    first, _, last = map(plain, three_sentences(season))
    assert first == "The valve upper never opened in 3 days."
    assert last.startswith("Look first at upper (first on 1 May 2025): the valve never opened")


def test_many_beds_are_counted_and_not_listed(make_garden):
    garden = make_garden(weather=weather_csv(60))
    raw = dict(garden.described)
    bed = raw["controller"]["upper"]["bed"]["tomatoes"]
    raw["controller"]["upper"]["bed"] = {f"bed-{i}": bed for i in range(8)}
    from panbudget.scenario.garden import scenario_from

    second = plain(three_sentences(replay(scenario_from(raw, garden.path)))[1])
    assert second.startswith("Of 8 beds, ")


def test_nothing_grave_is_said_so(make_garden):
    overlay = {
        "controller": {
            "upper": {
                "bed": {
                    "tomatoes": {
                        "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5},
                        "emitters": {"count": 50},
                    }
                }
            }
        }
    }
    assert three_sentences(replay(make_garden(overlay, days=60)))[2].startswith("Nothing grave was found")
