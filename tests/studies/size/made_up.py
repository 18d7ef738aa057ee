"""Made-up outcomes, wishes and gardens: what judging and choosing ask for, no replay."""

import math
from types import SimpleNamespace

import numpy as np

from panbudget.scenario.supplies import Mains
from panbudget.studies.size import choosing, judging, layouts, settings, sizing
from panbudget.studies.size.settings import Outcome, Setting

PRESENT = Setting(0.2, 180.0, 2.0, 0.9)


def outcome(**values):
    """One setting's season that keeps every wish, but for what is said."""
    usual = {
        **{"litres": 100.0, "openings_a_day": 2.0, "open_hours": 10.0, "stuck_hours": 0.0, "dry_hours": 0.0},
        "starved_hours": 0.0,
        **{"daylight_openings": 0.0, "stress_days": 0.0, "adequacy": 1.0, "supply": 1.0, "wasted": 0.0},
    } | values
    beds = ("stress_days", "adequacy", "supply")
    shapes = {key: (-1, 1, np.atleast_2d(value).shape[-1]) if key in beds else (-1, 1) for key, value in usual.items()}
    return Outcome(**{key: np.asarray(value, float).reshape(shapes[key]) for key, value in usual.items()})


def wishing(interval=0.9, **wishes):
    usual = {"stress_days": 4, "litres": None, "openings_a_day": (1.0, 4.0), "when": "any"} | wishes
    return SimpleNamespace(wishes=SimpleNamespace(**usual), uncertainty=SimpleNamespace(interval=interval))


def joined_draws(*parts):
    return Outcome(**{name: np.concatenate([getattr(part, name) for part in parts], axis=1) for name in vars(parts[0])})


def judged(litres, share=None, stress=None, often=None, settings=None, missed=None, by_year=None):
    """Settings with these figures, the first as described."""
    count = len(litres)
    values = dict.fromkeys(judging.Judged.__dataclass_fields__, np.zeros(count)) | {"bed_stress": np.zeros((count, 1))}
    values |= {"litres": np.array(litres, float), "share": np.array([1.0] * count if share is None else share)}
    values |= {"mean_stress": np.array([0.0] * count if stress is None else stress, float)}
    values |= {"openings_a_day": np.array([2.0] * count if often is None else often, float)}
    values |= {"missed": np.zeros((count, 4)) if missed is None else np.array(missed, float)}
    values |= {"near_by_year": np.zeros((count, 1)) if by_year is None else np.array(by_year, float)}
    # each another pan, so that all change as much
    values |= {"settings": tuple(settings or (PRESENT._replace(area=0.2 + 0.1 * n) for n in range(count)))}
    return judging.Judged(**values)


def garden_of(owned=(), pressure="100 kPa"):
    """What laying settings out asks of a garden: freeboard, supply, and what is owned."""
    valve = SimpleNamespace(pan=SimpleNamespace(freeboard=20.0), supply="spring")
    mains = Mains.model_validate({"kind": "mains", "pressure": pressure})
    return SimpleNamespace(controller={"upper": valve}, supply={"spring": mains}, owned=owned)


def judged_over(garden, tried, years):
    """Judge over all cells of some years' outcomes."""
    return judging.judged(garden, tried, judging.by_cell(years))


def search_coarsely(monkeypatch, *, draws=4, grid=(5, 5), of_each=2):
    """Few draws of a coarse grid, interpreted in one process."""
    monkeypatch.setattr(sizing, "_DRAWS", dict.fromkeys((True, False), (draws, draws)))
    monkeypatch.setattr(layouts, "_AREAS", grid[0])
    monkeypatch.setattr(layouts, "_FLOWS", grid[1])
    monkeypatch.setattr(layouts, "_CLOSER", 1)
    monkeypatch.setattr(layouts, "_OTHER_SWINGS", (0.7, 2.0))
    monkeypatch.setattr(choosing, "_OF_EACH", of_each)
    monkeypatch.setattr(judging, "SCAN", np.array([0.4, 0.7, 1.0, 1.4, 2.0]))
    for name in ("WORTH_COMPILING", "_WORTH_PROCESSES"):
        monkeypatch.setattr(settings, name, math.inf)
