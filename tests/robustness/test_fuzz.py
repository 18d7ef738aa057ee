"""Whatever is broken at random comes out as a message: trees, bytes, cuts; `fuzz.py` goes on for as long as it is told."""

from __future__ import annotations

import contextlib
import datetime as dt
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.errors import ReadingsError, ScenarioError, WeatherError
from panbudget.scenario.garden import scenario_from
from panbudget.studies.fit.log import read_field_log
from panbudget.studies.statement.meter import read_readings
from panbudget.weather import read_weather
from tests.robustness import fuzz
from tests.robustness.test_reading import SITE, SOUND
from tests.robustness.test_values import with_values
from tests.scenario.test_garden import SOUND as GARDEN

_QUICK = settings(max_examples=25, deadline=None, derandomize=True, database=None)


def paths(part, above=""):
    """Every key path of a tree."""
    for key, value in part.items():
        yield f"{above}{key}"
        if isinstance(value, dict):
            yield from paths(value, f"{above}{key}/")


_SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates()
_QUANTITIES = st.builds("{} {}".format, st.floats(), st.sampled_from(["m", "L/h", "kg", "m^2", "kPa", "", "m**9", "%"]))
_TREES = st.recursive(
    _SCALARS | _QUANTITIES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


@settings(_QUICK, max_examples=150)
@given(st.sampled_from([*paths(GARDEN)]), _TREES)
def test_any_value_in_any_place_of_a_scenario_is_read_or_told(path, value):
    with contextlib.suppress(ScenarioError):
        scenario_from(with_values({path: value}))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


def read_or_told(read, error, content, file):
    file.write_bytes(content)
    with contextlib.suppress(error):
        return read(file)
    return None


def assert_weather(content, folder):
    weather = read_or_told(lambda file: read_weather(file, SITE, shown_as="w"), WeatherError, content, folder / "w.csv")
    if weather is not None:
        daily = weather.daily
        assert daily[["tmin", "tmax", "rain", "wind", "radiation"]].notna().all(axis=None)
        assert (daily["tmin"] <= daily["tmax"]).all() and daily["rain"].between(0.0, 2000.0).all()
        assert daily.index.is_monotonic_increasing and daily.index.is_unique


@_QUICK
@given(st.integers(0, len(SOUND) - 1), st.integers(0, 255))
def test_a_table_with_a_byte_changed_is_sound_or_refused(folder, at, byte):
    content = SOUND.encode()
    assert_weather(content[:at] + bytes([byte]) + content[at + 1 :], folder)


@_QUICK
@given(st.integers(0, len(SOUND)))
def test_a_table_cut_off_is_sound_or_refused(folder, length):
    assert_weather(SOUND.encode()[:length], folder)


@settings(_QUICK, max_examples=60)
@given(st.integers(0, 10**9))
def test_what_somebody_typed_and_broke_is_read_or_told(folder, seed):
    chance = random.Random(seed)
    garden = scenario_from(GARDEN | {"season": {"start": dt.date(2023, 5, 1), "end": dt.date(2023, 6, 10)}})
    for text, read in (
        (fuzz.LOG, lambda file: read_field_log(file, garden, shown_as="w")),
        (fuzz.READINGS, lambda file: read_readings(file, ["spring"], shown_as="w")),
    ):
        read_or_told(read, ReadingsError, fuzz.damaged(text.encode(), chance), folder / "typed.csv")


def test_whole_commands_on_broken_files_end_with_a_message():
    assert fuzz.run(range(10)) == []
