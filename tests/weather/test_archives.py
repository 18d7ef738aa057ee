"""
Which format a file is in: one reader is sure, the others are not; and the whole road stands any damage.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import READERS, read_weather
from panbudget.weather.formats.readers import choose_reader
from panbudget.weather.text.source import Source
from tests.weather import test_broken_files
from tests.weather.formats import test_ghcn, test_gsod, test_knmi, test_power
from tests.weather.sites import Site

SITE = Site(latitude=45.0, elevation=100.0, longitude=-6.0)

SAMPLES = {
    "table": ("table", test_broken_files.table()),
    "GHCN-Daily, by-station": ("ghcn-daily", test_ghcn.long()),
    "GHCN-Daily, access": ("ghcn-daily", test_ghcn.access()),
    "GHCN-Daily, .dly": ("ghcn-daily", test_ghcn.dly()),
    "GSOD": ("gsod", test_gsod.season()),
    "NASA POWER": ("nasa-power", test_power.season()),
    "KNMI": ("knmi", test_knmi.season()),
}


@pytest.mark.parametrize(("name", "text"), SAMPLES.values(), ids=SAMPLES.keys())
def test_one_reader_is_sure_and_no_other_comes_near(name, text):
    """The formats' names differ enough that no two are in doubt."""
    reader, why = choose_reader(Source(text, "station.csv", "", "utf-8"), file_format="auto")
    recognised = reader.NAME
    assert recognised == name
    assert why
    scores = sorted(other.sniff(text)[0] for other in READERS.values() if name != other.NAME)
    assert scores[-1] < reader.sniff(text)[0]


@pytest.mark.parametrize(("name", "at_10_m"), [("KNMI", 3.2), ("GHCN-Daily, access", 3.2)])
def test_wind_at_10_m_is_brought_to_2_m(tmp_path, name, at_10_m):
    """FAO-56 eq 47: 4.87 / ln(67.8·10 - 5.42) is 0.748."""
    path = tmp_path / "station.csv"
    path.write_text(SAMPLES[name][1], encoding="utf-8")
    assert read_weather(path, SITE).daily["wind"].iloc[0] == pytest.approx(0.748 * at_10_m, abs=0.001)


def test_a_station_that_keeps_no_rain_is_refused_with_the_reason(tmp_path):
    """Attribute I on every day: its zeros are no dry summer."""
    path = tmp_path / "station.csv"
    path.write_text(SAMPLES["GSOD"][1].replace('"D"', '"I"'), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"keeps no rain record; rain is never invented"):
        read_weather(path, SITE)


@pytest.mark.parametrize("named", ["ghcn-daily", "gsod", "nasa-power", "knmi"])
def test_a_file_in_another_format_than_the_one_named_is_refused(tmp_path, named):
    """And the message says where to correct it."""
    path = tmp_path / "station.csv"
    for name, text in SAMPLES.values():
        if name == named:
            continue
        path.write_text(text, encoding="utf-8")
        with pytest.raises(WeatherError) as caught:
            read_weather(path, SITE, file_format=named)
        assert len(str(caught.value).splitlines()) == 1


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(sorted(SAMPLES)),
    places=st.lists(
        st.tuples(st.integers(0, 10_000), st.text('0123456789-.,;\n\t" abcTMAX°#', max_size=3)), max_size=3
    ),
    cut=st.sampled_from([0, 0, 1, 5, 20, 100, 500]),
)
def test_any_damage_is_refused_or_gives_sound_weather(tmp_path, name, places, cut):
    """From the file to the finished table, and never another exception than ours."""
    text = SAMPLES[name][1]
    for place, letters in places:
        at = place % len(text)
        text = text[:at] + letters + text[at + len(letters) :]
    path = tmp_path / "station.csv"
    path.write_bytes(text[: len(text) - cut].encode())
    try:
        weather = read_weather(path, SITE)
    except WeatherError:
        return
    daily = weather.daily.drop(columns="pan_evaporation", errors="ignore")
    assert np.isfinite(daily.to_numpy()).all()
    assert (weather.daily["tmax"] >= weather.daily["tmin"]).all()
