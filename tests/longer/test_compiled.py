"""The engine's text compiled gives the numbers of the text as it stands: to compile it takes most of a minute."""

from __future__ import annotations

import numpy as np
import pytest

from panbudget import replay
from panbudget.season.layout import bundle_of
from panbudget.studies.size.settings import Setting, outcomes, year_forcing
from panbudget.studies.sweep.compute import COLUMNS, Engine, season_columns
from panbudget.studies.sweep.run import sweep
from tests.conftest import make_garden  # noqa: F401
from tests.studies.size.test_sizing import garden  # noqa: F401
from tests.studies.sweep.district import contents, make_plan
from tests.studies.sweep.test_compute import YEARS, _designs, record  # noqa: F401

pytest.importorskip("numba")


def test_the_compiled_engine_is_equal_bit_for_bit(record):  # noqa: F811
    designs = _designs("40 d")
    bundle = bundle_of(designs)
    plain, compiled = (
        season_columns(record, bundle, designs[0].scenario.season, YEARS, Engine(through)) for through in (False, True)
    )
    for name in COLUMNS:
        assert plain[name].tobytes() == compiled[name].tobytes(), name


def test_the_compiled_sweep_writes_the_same_bytes(tmp_path):
    plan = make_plan(tmp_path, places=1)
    sweep(plan, tmp_path / "plain", processes=1, compiler=False)
    sweep(plan, tmp_path / "compiled", processes=1, compiler=True)
    assert contents(tmp_path / "compiled") == contents(tmp_path / "plain")


def test_a_compiler_gives_the_same_numbers(garden, monkeypatch):  # noqa: F811
    season = replay(garden)
    year = year_forcing(season, "upper")
    settings = [Setting(0.05 * n, 180.0, 2.0, 0.9) for n in range(2, 8)]
    (plain,) = outcomes([year], settings)
    monkeypatch.setattr("panbudget.studies.size.settings.WORTH_COMPILING", 1)
    (compiled,) = outcomes([year], settings)
    for name in ("litres", "stress_days", "adequacy", "supply", "wasted", "openings_a_day"):
        assert np.array_equal(getattr(plain, name), getattr(compiled, name)), name
