"""Compiled code: kept in a folder of the user's own, never taken from one that others can write to."""

from __future__ import annotations

import os
import stat
import sys

import pytest

from panbudget.engine import compiled as compiling
from panbudget.engine import season as engine

pytest.importorskip("numba")


def third(x):
    """A function to compile."""
    return x / 3.0


def test_code_is_kept_where_the_variable_says_and_used_again(tmp_path, monkeypatch):
    monkeypatch.setenv(compiling.CACHE_VARIABLE, str(tmp_path / "kept"))
    compiling.compiled.cache_clear()
    assert compiling.compiled(third)(1.0) == third(1.0)
    assert list((tmp_path / "kept").glob("compiled-*/**/*.nbc"))
    compiling.compiled.cache_clear()
    again = compiling.compiled(third)
    assert again(1.0) == third(1.0)
    assert sum(again.stats.cache_hits.values()) == 1
    compiling.compiled.cache_clear()


def test_numbas_own_setting_is_left_as_it_was(tmp_path, monkeypatch):
    import numba

    monkeypatch.setenv(compiling.CACHE_VARIABLE, str(tmp_path))
    before = numba.config.CACHE_DIR
    compiling.compiled.cache_clear()
    compiling.compiled(third)
    compiling.compiled.cache_clear()
    assert before == numba.config.CACHE_DIR


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="needs owners and modes of files")
def test_a_folder_that_others_can_write_to_is_not_trusted(tmp_path, monkeypatch):
    monkeypatch.setenv(compiling.CACHE_VARIABLE, str(tmp_path))
    folder = compiling.cache_folder(engine.run_season)
    assert folder is not None
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    folder.chmod(0o777)
    assert compiling.cache_folder(engine.run_season) is None


def test_where_no_folder_can_be_made_nothing_is_kept_and_all_still_works(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder", encoding="ascii")
    monkeypatch.setenv(compiling.CACHE_VARIABLE, str(blocked))
    compiling.compiled.cache_clear()
    assert compiling.cache_folder(third) is None
    assert compiling.compiled(third)(2.0) == third(2.0)
    compiling.compiled.cache_clear()


def test_the_users_own_cache_is_the_place_by_default(tmp_path, monkeypatch):
    if sys.platform != "linux":
        pytest.skip("the name differs by system")
    monkeypatch.delenv(compiling.CACHE_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    folder = compiling.cache_folder(engine.run_season)
    assert folder is not None
    assert folder.parent == tmp_path / "panbudget"
