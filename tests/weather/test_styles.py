"""
Exports as people have them: each reads, or is refused with lines that make it read when they are pasted.
"""

from __future__ import annotations

import tomllib

import pytest

from panbudget.errors import WeatherError
from panbudget.physics.air import wind_at_2m
from panbudget.weather import read_weather
from tests.weather.sites import Site
from tests.weather.styles import STYLES, TRUTH

SITE = Site(latitude=38.0, longitude=0.0, elevation=100.0, timezone="Etc/GMT+0")


def pasted(message):
    """Return the columns of the block that a message gives to paste, as a scenario would hold them."""
    block = message[message.index("# in the scenario") :]
    return tomllib.loads(block)["weather"]["columns"]


def read_as_told(path, **options):
    """Read a file as a new user does: with what its message gives to paste, where it has one."""
    try:
        return read_weather(path, SITE, **options), ""
    except WeatherError as error:
        message = str(error)
        assert len(message.splitlines()) <= 12, message
        return read_weather(path, SITE, **{"columns": pasted(message), **options}), message


@pytest.mark.parametrize("style", STYLES.values(), ids=STYLES.keys())
def test_what_was_written_in_comes_out_once_the_suggestion_is_pasted(tmp_path, style):
    """Within what the file's own digits allow."""
    path = tmp_path / "station.csv"
    path.write_bytes(style.content if isinstance(style.content, bytes) else style.content.encode())
    weather, _ = read_as_told(path)
    by_day = {day.date: day for day in TRUTH}
    kept = [(i, by_day[stamp.date()]) for i, stamp in enumerate(weather.daily.index) if stamp.date() in by_day]
    kept = kept[1:-1]  # a clock other than the site's cuts the outer days
    assert len(kept) >= len(TRUTH) - 3
    for name in style.columns:
        truth = [getattr(day, "rh" if name == "rh_mean" else name) for _, day in kept]
        if name == "wind":
            truth = [float(wind_at_2m(wind, height=style.wind_height)) for wind in truth]
        assert weather.daily[name].iloc[[i for i, _ in kept]].tolist() == pytest.approx(truth, abs=style.near), name
        assert weather.filled().get(name) is None
