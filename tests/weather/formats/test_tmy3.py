"""
TMY3: the layout, its rain that is none, and genuine files against the package that carries them.

Format: Wilcox and Marion (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156, tables 1-1 to 1-3, from memory.
Genuine files: those that the package pvlib 0.11 carries, read by its own reader; nothing of them is copied.
"""

from __future__ import annotations

import datetime as dt
import re

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import tmy3
from panbudget.weather.site import Station
from panbudget.weather.text.source import Source
from tests.weather.sites import Site
from tests.weather.typical_years import (
    assert_refused_or_a_year,
    assert_the_invented_day,
    damages,
    genuine,
    hour_of,
    stamps,
)

SITE = Site(latitude=40.0, longitude=-100.0, elevation=300.0, timezone="America/Chicago")
HEADER = (
    "Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),Dry-bulb (C),Dew-point (C),RHum (%),Pressure (mbar),Wspd (m/s),"
    "Lprecip depth (mm),Lprecip quantity (hr)"
)


def text(*, rain=True, quantity=1):
    rows = []
    for year, month, day, hour in stamps():
        v = hour_of(hour)
        depth = v["rain"] if rain is True else rain
        rows.append(
            f"{month:02d}/{day:02d}/{year},{hour:02d}:00,{v['radiation']},{v['temperature']},{v['dew_point']},"
            f"{v['humidity']},980,{v['wind']},{depth},{quantity}"
        )
    return "\n".join(['999999,"NOWHERE",XX,-6.0,40.000,-100.000,300', HEADER, *rows]) + "\n"


SOUND = text()


def read(content, site=SITE, **columns):
    return tmy3.read(Source(content, "typical.csv", "0" * 64, "utf-8"), columns=columns, site=site)


def refusal(content):
    with pytest.raises(WeatherError) as caught:
        read(content)
    return str(caught.value)


def test_a_typical_year_has_365_days_and_says_what_it_is():
    raw = read(SOUND)
    assert_the_invented_day(raw)


@pytest.mark.parametrize(("year", "real"), [(2005, False), (2006, True)])
def test_one_later_year_than_any_typical_one_has_months_of_is_that_year(year, real):
    """The layout's typical years end with 2005 (Users Manual for TMY3 Data Sets, from memory)."""
    raw = read(re.sub(r"(?m)^(\d\d/\d\d)/\d{4}", rf"\1/{year}", SOUND))
    assert raw.typical is not real
    assert raw.recognised.startswith("the hours of 2006, TMY3 layout" if real else "typical-year file, TMY3 layout")


def test_its_first_line_is_its_station():
    assert read(SOUND).station == Station("Nowhere", latitude=40.0, longitude=-100.0, elevation=300.0)


def test_the_hour_that_24_00_closes_belongs_to_its_day():
    """40 °C at 24:00 on the 1st is the 1st's maximum."""
    raw = read(SOUND.replace("06/01/1989,24:00,0,14.0", "06/01/1989,24:00,0,40.0"))
    assert raw.daily["tmax"].idxmax().strftime("%m-%d") == "06-01"


def test_it_is_laid_onto_the_season_and_called_typical(tmp_path):
    file = tmp_path / "typical.csv"
    file.write_text(SOUND, encoding="utf-8")
    weather = read_weather(file, SITE, start=dt.date(2024, 5, 1), end=dt.date(2024, 9, 30))
    assert weather.provenance["typical"] is True
    assert weather.notes[0] == "a typical year made of months from different years; no real summer"
    assert weather.provenance["assumptions"][0] == weather.notes[0]
    assert "29 February is a copy of the typical year's 28 February" in weather.notes
    assert len(weather.daily) == 366
    assert weather.provenance["reader"] == "tmy3"


@pytest.mark.parametrize("rain", [0.0, -9900])
def test_rain_of_nothing_but_zeros_is_no_record_and_no_dry_year(tmp_path, rain):
    file = tmp_path / "typical.csv"
    file.write_text(text(rain=rain), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"no rain record.*rain is never invented.*missing_rain = \"zero\""):
        read_weather(file, SITE)
    weather = read_weather(file, SITE, missing_rain="zero")
    assert weather.filled()["rain"] == {"zero rain (assumed)": 365}


DAMAGED = {
    "cut": (SOUND[: len(SOUND) // 2].rsplit("\n", 1)[0], ["of the 8760 hours", "copy or download the file again"]),
    "cut within a line": (SOUND[:-12], ["line 8762 has 7 cells"]),
    "no temperature": (SOUND.replace("Dry-bulb (C)", "Bulb"), ["lacks Dry-bulb (C)"]),
    "no number": (SOUND.replace(",14.0,", ",cold,", 1), ["line 3", "'cold' is not a number"]),
    "no such day": (SOUND.replace("06/30/1989", "06/31/1989"), ["no hour of the calendar"]),
    "no date": (SOUND.replace("06/30/1989,05:00", "June,05:00"), ["no hour of the calendar"]),
    "a mark": (SOUND.replace(",14.0,", ",999.0,", 20), ["is 999 °C", "missing value"]),
}


@pytest.mark.parametrize(("content", "said"), DAMAGED.values(), ids=DAMAGED.keys())
def test_a_damaged_file_is_refused_by_place_and_cure(content, said):
    message = refusal(content)
    for part in said:
        assert part in message


def test_what_is_tmy3_is_recognised():
    assert tmy3.sniff(SOUND[:2000])[0] > 0.9
    assert tmy3.sniff("Date (MM/DD/YYYY),Time (HH:MM)\n")[0] == 0.0
    assert tmy3.sniff("")[0] == 0.0
    assert tmy3.sniff(SOUND[:2000].replace("\n01/01/", "\n07/06/"))[0] == 0.0


@given(damages(SOUND, "-9900"))
@settings(deadline=None, max_examples=10, suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example])
def test_any_damage_makes_a_refusal_or_a_sound_table(content):
    assert_refused_or_a_year(read, content)


@given(st.text(max_size=200))
@settings(deadline=None, max_examples=15)
def test_any_text_makes_a_refusal(content):
    with pytest.raises(WeatherError):
        read(content)


def test_a_genuine_file_agrees_with_the_packages_own_reader():
    """pvlib's Greensboro: extremes, wind and radiation of every day."""
    iotools = pytest.importorskip("pvlib.iotools")
    file = genuine("pvlib", "723170TYA.CSV")
    content = file.read_text(encoding="utf-8")
    raw = read(content, Site(latitude=36.1, longitude=-79.95, elevation=273.0))
    table, _ = iotools.read_tmy3(file, map_variables=True)
    assert len(table) == 8760
    hours = {name: table[name].to_numpy(dtype=float).reshape(365, 24) for name in ("temp_air", "wind_speed", "ghi")}
    expected = {
        "tmin": hours["temp_air"].min(axis=1),
        "tmax": hours["temp_air"].max(axis=1),
        "wind": hours["wind_speed"].mean(axis=1),
        "radiation": hours["ghi"].sum(axis=1) * 3600 / 1e6,
    }
    for name, values in expected.items():
        assert raw.daily[name].to_numpy() == pytest.approx(values, abs=1e-9), name


def test_genuine_rain_in_tenths_under_a_header_of_millimetres_is_read_as_tenths():
    """Greensboro's column sums up to 8345; some 1,000 mm a year fall there (common knowledge, no source)."""
    content = genuine("pvlib", "723170TYA.CSV").read_text(encoding="utf-8")
    raw = read(content, Site(latitude=36.1, longitude=-79.95, elevation=273.0))
    assert raw.daily["rain"].sum() == pytest.approx(834.5)
    assert any("tenths of a millimetre" in note for note in raw.notes)


def test_genuine_rain_in_a_tenth_of_the_hours_is_no_record():
    """Sand Point has amounts in 705 of 8760 hours."""
    content = genuine("pvlib", "703165TY.csv").read_text(encoding="utf-8")
    raw = read(content, Site(latitude=55.3, longitude=-160.5, elevation=7.0))
    assert raw.daily["rain"].isna().all()
    assert "no rain record" in raw.absent["rain"]


def test_genuine_days_that_end_at_midnight_of_the_next_are_whole():
    """SolarAnywhere writes one real year in this layout: 365 days, still called typical."""
    names = list(genuine("pvlib").glob("Burlington*TMY3 format.csv"))
    if not names:
        pytest.skip("this pvlib carries no such file")
    content = names[0].read_text(encoding="iso-8859-1")
    raw = read(content, Site(latitude=44.465, longitude=-73.205, elevation=41.0))
    assert len(raw.daily) == 365
    assert any("all its months say 2021" in note for note in raw.notes)
    assert isinstance(raw.daily.index, pd.DatetimeIndex)
