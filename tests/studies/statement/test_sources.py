"""Sources: their shares of every valve add up to the whole, whichever way it is split."""

from __future__ import annotations

import numpy as np
import pytest

from panbudget import replay, scenario_from
from panbudget.studies.statement.sources import litres_by_day, sources_of
from tests.small_weather import weather_csv


@pytest.mark.parametrize("split", ["emitters", "area"])
def test_shares_add_up_and_days_are_the_valves(make_garden, split):
    garden = make_garden(weather=weather_csv(20))
    raw = dict(garden.described)
    beds = raw["controller"]["upper"]["bed"]
    beds["beans"] = {**beds["tomatoes"], "area": "4 m^2"}
    beds["chard"] = {**beds["tomatoes"], "area": "8 m^2"}
    right = {"further": {"a": {"beds": ["upper/beans"]}, "b": {"beds": ["upper/chard"]}}}
    raw["supply"] = {"spring": {"pressure": "150 kPa", "right": right}, "tap": {"pressure": "300 kPa"}}
    season = replay(scenario_from({**raw, "statement": {"split": split}}, garden.path))
    sources = list(sources_of(season))
    assert [source.name for source in sources] == ["spring", "spring / a", "spring / b", "tap"]
    assert sum(source.shares.get("upper", 0.0) for source in sources) == pytest.approx(1.0, rel=1e-15)
    expected = {"emitters": [1 / 3, 1 / 3, 1 / 3], "area": [12 / 24, 4 / 24, 8 / 24]}[split]
    assert [source.shares["upper"] for source in sources[:3]] == pytest.approx(expected)
    assert sources[3].shares == {} and not sources[3].described
    together = np.sum([source.drawn(litres_by_day(season)) for source in sources], axis=0)
    assert together == pytest.approx(season.controllers["upper"]["litres"].to_numpy(), rel=1e-12)
