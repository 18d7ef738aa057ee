"""Fixtures: a garden with a right, and statements of it."""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget.studies.ranges import sampled_litres
from panbudget.studies.statement import account
from tests.small_weather import weather_csv

SAMPLES = 20  # few: what they come to is looked at in test_ranges


@pytest.fixture(scope="module")
def state(make_shared_garden):
    """Return a function that makes a statement of the small garden, equal dry days, under a right; of each one only."""
    statements, runs = {}, {}

    def make(right=None, *, overlay=None, days=92, start=dt.date(2025, 5, 1), pan=8.0, **more):
        asked = repr((right, overlay, days, start, pan, more))

        def runs_once(season, count, *step, **before):
            """A right changes no water: what is drawn over the ranges is run once for all of them."""
            key = repr((overlay, pan, count, list(before.values()), season.totals["season"]))
            if key not in runs:
                runs[key] = sampled_litres(season, count, *step, **before)
            return runs[key]

        if asked not in statements or "readings" in more:  # a file of one name may be another
            text = weather_csv(days, start=start, pan=pan, radiation=20.0)
            laid = {"uncertainty": {"samples": SAMPLES}, **(overlay or {})}
            if right is not None:
                laid["supply"] = {"spring": {"right": right}}
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(account, "sampled_litres", runs_once)
                statements[asked] = account.statement(make_shared_garden(laid, weather=text), **more)
        return statements[asked]

    return make
