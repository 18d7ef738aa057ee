"""Compiled code: kept in a folder of the user's own, never taken from one that others can write to."""

from __future__ import annotations

import contextlib
import os
import stat
import sys
import time

import pytest

from panbudget.engine import compiled as compiling
from panbudget.engine import season as engine
from panbudget.engine.hour import tank_hour
from panbudget.engine.pan import eventful_hour

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
    assert again.hits() == 1
    compiling.compiled.cache_clear()


@pytest.mark.parametrize(
    "damage", ["cut off", "a byte changed", "empty", "rubbish", "no seal", "a rubbish seal", "a folder"]
)
@pytest.mark.parametrize("suffix", ["nbi", "nbc"])
def test_code_that_is_not_as_it_was_written_is_compiled_again(damage, suffix, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv(compiling.CACHE_VARIABLE, str(tmp_path))
    compiling.compiled.cache_clear()
    compiling.compiled(third)(1.0)
    (file,) = tmp_path.rglob(f"*.{suffix}")
    (seal,) = tmp_path.rglob("digests.json")
    whole = file.read_bytes()
    changed = whole[:-1] + bytes([whole[-1] ^ 1])
    broken = {"cut off": whole[:-9], "a byte changed": changed, "empty": b"", "rubbish": b"rubbish"}
    if "seal" in damage:
        seal.unlink() if damage == "no seal" else seal.write_text("{", encoding="ascii")
    elif damage == "a folder":
        file.unlink()
        file.mkdir()
    else:
        file.write_bytes(broken[damage])
    compiling.compiled.cache_clear()
    again = compiling.compiled(third)
    assert again(1.0) == third(1.0)
    assert again.hits() == 0
    assert capsys.readouterr().err.count("\n") == 1
    compiling.compiled.cache_clear()
    once_more = compiling.compiled(third)
    assert (once_more(1.0), once_more.hits(), capsys.readouterr().err) == (third(1.0), 1, "")
    compiling.compiled.cache_clear()


def test_of_two_processes_that_begin_together_one_compiles(tmp_path, monkeypatch):
    monkeypatch.setenv(compiling.CACHE_VARIABLE, str(tmp_path))
    compiling.compiled.cache_clear()
    run, alone = compiling.compiled(third), compiling._alone

    @contextlib.contextmanager
    def waited(folder):
        """Another process compiles meanwhile."""
        monkeypatch.setattr(compiling, "_alone", alone)
        assert compiling.compiled.__wrapped__(third)(1.0) == third(1.0)
        with alone(folder):
            yield

    monkeypatch.setattr(compiling, "_alone", waited)
    assert (run(1.0), run.hits()) == (third(1.0), 1)
    compiling.compiled.cache_clear()


def test_who_compiles_keeps_others_waiting(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl")
    handle = os.open(tmp_path, os.O_RDONLY)
    with compiling._alone(tmp_path), pytest.raises(BlockingIOError):
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    # a process that was stopped in the middle keeps others waiting for a while only
    monkeypatch.setattr(compiling, "_PATIENCE", 0.3)
    began = time.monotonic()
    with compiling._alone(tmp_path):
        assert 0.3 <= time.monotonic() - began < 5.0
    os.close(handle)


def test_a_cache_that_can_t_be_written_to_any_more_stops_nothing(tmp_path, monkeypatch):
    monkeypatch.setenv(compiling.CACHE_VARIABLE, str(tmp_path))
    compiling.compiled.cache_clear()
    run = compiling.compiled(third)
    for folder in sorted(tmp_path.rglob("*"), reverse=True):
        folder.rmdir()
    assert run(1.0) == third(1.0)
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


def test_a_variable_forbids_compiling(monkeypatch):
    monkeypatch.setenv(compiling.COMPILER_VARIABLE, "off")
    assert not compiling.has_compiler()
    monkeypatch.delenv(compiling.COMPILER_VARIABLE)
    assert compiling.has_compiler()


def test_what_two_functions_call_is_compiled_once():
    """The pans' hours on the mains and a tank's hours go through one copy of the longest function."""
    made = {}
    compiling._bound(engine.run_season, made)
    on_mains, on_tank = (
        made[function].py_func.__globals__["eventful_hour"] for function in (engine.pan_hours, tank_hour)
    )
    assert on_mains is on_tank is made[eventful_hour]
