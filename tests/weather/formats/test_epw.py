"""
EPW: the layout, its marks for missing, and genuine files against the package that carries them.

Format: EnergyPlus documentation, "Auxiliary Programs", EPW data dictionary, from memory. Genuine files: those that
the packages pvlib 0.11 and diyepw 1.3.1 carry, the former's read by its own reader; some are all rights reserved and
nothing of them is copied.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import epw
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

SITE = Site(latitude=40.0, longitude=-100.0, elevation=300.0)
HEAD = """LOCATION,Nowhere,XX,XXX,invented,999999,40.00,-100.00,-6.0,300.0
DESIGN CONDITIONS,0
TYPICAL/EXTREME PERIODS,0
GROUND TEMPERATURES,0
HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0
COMMENTS 1,invented
COMMENTS 2
DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31
"""


def text(*, rain=True, extra=""):
    rows = []
    for year, month, day, hour in stamps():
        v = hour_of(hour)
        depth = v["rain"] if rain is True else rain
        rows.append(
            f"{year},{month},{day},{hour},60,?9?9?9,{v['temperature']},{v['dew_point']},{v['humidity']},98000,0,0,300,"
            f"{v['radiation']},0,0,0,0,0,0,180,{v['wind']},5,5,20.0,77777,9,999999999,10,0.1,0,88,0.2,{depth},1.0"
        )
    return HEAD + "\n".join(rows) + "\n" + extra


SOUND = text()


def read(content, site=SITE, **columns):
    return epw.read(Source(content, "typical.epw", "0" * 64, "utf-8"), columns=columns, site=site)


def refusal(content):
    with pytest.raises(WeatherError) as caught:
        read(content)
    return str(caught.value)


def test_a_typical_year_has_365_days_and_says_what_it_is():
    raw = read(SOUND)
    assert_the_invented_day(raw)
    assert raw.wind_height == 10.0


def test_the_last_hour_belongs_to_its_day():
    raw = read(SOUND.replace("1989,6,1,24,60,?9?9?9,14.0", "1989,6,1,24,60,?9?9?9,40.0"))
    assert raw.daily["tmax"].idxmax().strftime("%m-%d") == "06-01"


def test_it_is_laid_onto_the_season_and_called_typical(tmp_path):
    file = tmp_path / "typical.epw"
    file.write_text(SOUND, encoding="utf-8")
    weather = read_weather(file, SITE, start=dt.date(2025, 5, 1), end=dt.date(2025, 9, 30))
    assert weather.provenance["typical"] is True
    assert weather.provenance["reader"] == "epw"
    assert weather.notes[0] == "a typical year made of months from different years; no real summer"
    assert weather.daily.loc["2025-07-01", "tmax"] == 30.0


def test_older_files_that_end_before_the_rain_are_read():
    """22 fields reach to the wind; with fewer, lines are cut off."""
    rows = SOUND[len(HEAD) :].splitlines()
    older, cut = (HEAD + "\n".join(",".join(row.split(",")[:fields]) for row in rows) for fields in (22, 21))
    assert read(older).daily["tmax"].eq(30.0).all()
    assert "has 21 cells" in refusal(cut)


def test_marks_for_missing_are_missing():
    """Dew point 99.9 and humidity 999 throughout: no humidity; radiation 9999 too."""
    content = SOUND.replace(",10.0,50,", ",99.9,999,")
    for figure in ("0", "200"):
        content = content.replace(f",0,0,300,{figure},", ",0,0,300,9999,")
    raw = read(content)
    assert not {"vapour_pressure", "rh_max", "radiation"} & set(raw.daily.columns)
    assert raw.daily["tmax"].eq(30.0).all()


@pytest.mark.parametrize("rain", [0.0, 999.0])
def test_rain_of_nothing_but_zeros_is_no_record_and_no_dry_year(tmp_path, rain):
    file = tmp_path / "typical.epw"
    file.write_text(text(rain=rain), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"no rain record.*missing_rain = \"zero\""):
        read_weather(file, SITE)
    assert read_weather(file, SITE, missing_rain="zero").daily["rain"].sum() == 0.0


def test_a_leap_day_in_the_file_is_left_out_and_that_is_said():
    day = [row for row in SOUND.splitlines() if row.startswith("1996,2,28,")]
    leap = "\n".join(row.replace("1996,2,28,", "1996,2,29,").replace(",30.0,", ",39.0,") for row in day)
    marker = "1990,3,1,1,"
    content = SOUND.replace(marker, leap + "\n" + marker)
    raw = read(content)
    assert len(raw.daily) == 365
    assert raw.daily["tmax"].max() == 30.0
    assert any("29 February is left out" in note for note in raw.notes)


DAMAGED = {
    "cut": (SOUND[: len(SOUND) // 2].rsplit("\n", 1)[0], ["of the 8760 hours", "copy or download the file again"]),
    "cut within a line": (SOUND[:-12], ["line 8768 has 33 cells"]),
    "no data periods": (SOUND.replace("DATA PERIODS", "PERIODS"), ['"DATA PERIODS" is missing']),
    "half-hours": (SOUND.replace("PERIODS,1,1,", "PERIODS,1,2,"), ["2 records an hour"]),
    "header only": (HEAD, ["no hours below its header lines"]),
    "no number": (SOUND.replace(",14.0,", ",cold,", 1), ["line 9", "'cold' is not a number"]),
    "no such hour": (SOUND.replace("1989,6,30,5,", "1989,6,30,25,"), ["no hour of the calendar"]),
    "hours twice": (SOUND.replace("1989,6,30,5,", "1989,6,30,6,"), ["holds 8759 of the 8760 hours"]),
}


@pytest.mark.parametrize(("content", "said"), DAMAGED.values(), ids=DAMAGED.keys())
def test_a_damaged_file_is_refused_by_place_and_cure(content, said):
    message = refusal(content)
    for part in said:
        assert part in message


def test_what_is_epw_is_recognised():
    assert epw.sniff(SOUND[:3000])[0] > 0.9
    assert epw.sniff("place,date,tmin\n")[0] == 0.0
    assert epw.sniff("")[0] == 0.0


@given(damages(SOUND, "9999"))
@settings(deadline=None, max_examples=10, suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example])
def test_any_damage_makes_a_refusal_or_a_sound_table(content):
    assert_refused_or_a_year(read, content)


@given(st.text(max_size=200))
@settings(deadline=None, max_examples=15)
def test_any_text_makes_a_refusal(content):
    with pytest.raises(WeatherError):
        read(content)


@pytest.mark.parametrize("name", ["NLD_Amsterdam062400_IWEC.epw", "tmy_45.000_8.000_2005_20??.epw"])
def test_a_genuine_file_agrees_with_the_packages_own_reader(name):
    """pvlib reads the same extremes, wind and radiation; two days without any light are missing to us."""
    iotools = pytest.importorskip("pvlib.iotools")
    (file,) = genuine("pvlib").glob(name)  # versions of the package have files of other years
    table, place = iotools.read_epw(file)
    site = Site(latitude=place["latitude"], longitude=place["longitude"], elevation=place["altitude"])
    raw = read(file.read_text(encoding="utf-8"), site)
    hours = {key: table[key].to_numpy(dtype=float).reshape(365, 24) for key in ("temp_air", "wind_speed", "ghi")}
    light = hours["ghi"].sum(axis=1) * 3600 / 1e6
    expected = {
        "tmin": hours["temp_air"].min(axis=1),
        "tmax": hours["temp_air"].max(axis=1),
        "wind": hours["wind_speed"].mean(axis=1),
        "radiation": np.where(light > 0.0, light, np.nan),
    }
    for column, values in expected.items():
        assert raw.daily[column].to_numpy() == pytest.approx(values, abs=1e-9, nan_ok=True), column
    assert raw.daily["rain"].isna().all()


@pytest.mark.parametrize(
    ("name", "latitude", "rain"),
    [
        ("USA_IL_Chicago.OHare.Intl.AP.725300_TMY3.epw", 41.98, True),
        ("USA_AK_Northway.AP.702910_TMY3.epw", 62.97, True),
    ],
)
def test_genuine_files_with_rain_keep_it(name, latitude, rain):
    """The sum of the file's own column, field 34, added up without our reader."""
    content = genuine("diyepw", "tmy_epw_files", name).read_text(encoding="utf-8")
    site = Site(latitude=latitude, elevation=201.0)
    raw = read(content, site)
    depth = [float(row.split(",")[33]) for row in content.splitlines()[8:]]
    assert (sum(depth) > 0) is rain
    assert raw.daily["rain"].sum() == pytest.approx(sum(depth))


@pytest.mark.parametrize(
    ("year", "comment", "days", "real"),
    [
        (2024, "invented", 366, True),
        (2024, "invented TMY", 366, False),
        (2023, "invented", 365, False),
        (2023, "invented AMY", 365, True),
        (2023, "of Year_2023", 365, True),
        (2023, "invented AMY", 366, False),
        (2024, "invented AMY", 365, False),
    ],
)
def test_one_year_with_all_its_days_is_no_typical_one_where_29_february_or_its_name_tells(year, comment, days, real):
    """A year without 29 February may be one that is written over the months of others."""
    first, *rows = SOUND.removeprefix(HEAD).splitlines()
    rows = [f"{year},{row.split(',', 1)[1]}" for row in (first, *rows)]
    leap = [row.replace(",2,28,", ",2,29,") for row in rows if f"{year},2,28," in row]
    at = 24 * 59
    rows = rows[:at] + (leap if days == 366 else []) + rows[at:]
    raw = read(HEAD.replace("COMMENTS 1,invented", f"COMMENTS 1,{comment}") + "\n".join(rows) + "\n")
    assert raw.typical is not real
    assert len(raw.daily) == (days if real else 365)
    assert (raw.daily.index.year == year).all() == real
