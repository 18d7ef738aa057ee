"""Slips that would pass in silence: signs of latitude and longitude against the weather, and flows that flood a bed."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

import panbudget
from panbudget.scenario.garden import Site
from panbudget.season.findings import find
from panbudget.weather.site import Station, place_doubts, sun_doubt
from tests.cli.test_main import run
from tests.garden_file import MAINS, write_garden, years_csv


def without_radiation(text):
    return "\n".join(line.rsplit(",", 1)[0] for line in text.splitlines()) + "\n"


@pytest.mark.parametrize(("latitude", "southern"), [(-38.6, False), (38.6, True)])
def test_the_season_of_the_warmth_tells_the_hemisphere(tmp_path, capsys, latitude, southern):
    weather = without_radiation(years_csv(2021, 2021, southern=southern))
    code, out, err = run(capsys, "check", write_garden(tmp_path, weather, latitude=latitude), "--strict")
    out = out.replace("\u00a0", " ")
    assert code == 1, err
    warm, cold = ("November to February", "May to August") if southern else ("May to August", "November to February")
    assert (
        f"danger: weather: Latitude = {latitude:g} under [site] is not consistent with the file, whose {warm} are 16 °C"
        in out
    )
    assert f"warmer than its {cold}" in out
    assert "change the sign of the latitude" in out


@pytest.mark.parametrize(("latitude", "southern"), [(38.6, False), (-38.6, True), (-20.0, False)])
def test_a_sound_latitude_and_the_tropics_pass(tmp_path, latitude, southern):
    weather = without_radiation(years_csv(2021, 2021, southern=southern))
    found = panbudget.check(write_garden(tmp_path, weather, latitude=latitude))
    assert found.weather.doubts == ()


def test_latitude_and_longitude_exchanged_are_told_by_the_seasons(tmp_path):
    garden = write_garden(tmp_path, without_radiation(years_csv(2021, 2021)), latitude="-6.0\nlongitude = 37.4")
    (doubt,) = panbudget.check(garden).weather.doubts
    assert "write latitude = 37.4 and longitude = -6" in doubt


def test_radiation_of_the_other_hemisphere_is_told_by_the_sign_and_not_as_another_unit(tmp_path, capsys):
    code, _, err = run(capsys, "check", write_garden(tmp_path, years_csv(2021, 2021), latitude=-38.6))
    assert code == 2
    assert "check the sign of the site's latitude (south negative), for it would fit latitude 38.6" in err
    assert "looks like" not in err


def warm_in(summer, winter, days):
    """Equal days in July and January."""
    index = pd.DatetimeIndex(
        [*pd.date_range("2021-07-01", periods=days), *pd.date_range("2021-12-01", periods=days)], name="date"
    )
    mean = np.repeat([summer, winter], days)
    return pd.DataFrame({"tmin": mean - 5.0, "tmax": mean + 5.0}, index=index)


@pytest.mark.parametrize(
    ("latitude", "winter", "days", "doubted"),
    [
        (-40.0, 17.0, 60, True),
        (-40.0, 17.1, 60, False),  # less than 3 °C
        (-40.0, 10.0, 59, False),  # too few days of each half
        (-23.5, 10.0, 60, True),
        (-23.4, 10.0, 60, False),  # the tropics
        (40.0, 10.0, 60, False),
        (40.0, 23.0, 60, True),
    ],
)
def test_the_bounds_of_the_doubt_about_a_latitude(latitude, winter, days, doubted):
    """Common practice, no source: 3 °C, 60 days of each half, outside the tropics. July is 20 °C."""
    site = Site(latitude=latitude, elevation="10 m")
    assert bool(place_doubts(None, warm_in(20.0, winter, days), site)) is doubted


@pytest.mark.parametrize(
    ("latitude", "longitude", "said"),
    [
        (38.6, -9.0, []),
        (-38.6, -9.0, ["latitude"]),
        (38.6, 9.0, ["longitude"]),
        (-38.6, 9.0, ["latitude", "longitude"]),
    ],
)
def test_the_stations_own_place_tells_both_signs(latitude, longitude, said):
    station = Station("Invented Hill", 38.7, -9.2, 200.0)
    doubts = place_doubts(station, pd.DataFrame(), Site(latitude=latitude, longitude=longitude, elevation="200 m"))
    assert [text.split()[0] for text in doubts] == said
    assert all("has the other sign than that of Invented Hill" in text for text in doubts)


def test_a_station_near_the_equator_has_no_other_sign():
    station, site = Station("Isle", 0.3, 0.2, 5.0), Site(latitude=-0.1, longitude=-0.1, elevation="5 m")
    assert place_doubts(station, pd.DataFrame(), site) == []


@pytest.mark.parametrize(
    ("longitude", "noon", "doubted"),
    [
        (-120.0, 20.0, False),
        (120.0, 4.0, False),
        (-120.0, 4.0, True),
        (120.0, 20.0, True),
        (0.0, 14.0, False),
        (0.0, 14.1, True),
    ],
)
def test_the_hour_of_the_highest_sun_tells_the_longitude(longitude, noon, doubted):
    """At 120° W the sun's noon is 20:00 UTC; two hours are allowed."""
    site = Site(latitude=38.0, longitude=longitude, elevation="10 m")
    text = sun_doubt(noon, site)
    assert bool(text) is doubted
    assert sun_doubt(noon, Site(latitude=38.0, elevation="10 m")) == ""


def hourly(noon, zone_hours=0):
    """Twelve days by the hour; the sun highest at an hour of the file's clock."""
    lines = ["time,temperature,humidity,wind (m/s),rain,radiation"]
    for stamp in pd.date_range("2021-06-30", periods=13 * 24, freq="h"):
        sun = max(np.cos((stamp.hour - noon) * np.pi / 12.0), 0.0)
        lines.append(f"{stamp:%Y-%m-%d %H:%M},{18 + 10 * sun:.1f},50,2,0,{800 * sun:.0f}")
    return "\n".join(lines) + "\n"


def test_an_hourly_file_whose_sun_is_elsewhere_is_a_danger(tmp_path, capsys):
    """A clock of UTC+8 whose sun is highest at noon lies near 120° east."""
    garden = write_garden(tmp_path, hourly(12), start="2021-07-02", end="2021-07-08")
    text = garden.read_text(encoding="utf-8")
    for longitude, doubted in ((65.0, True), (118.0, False)):
        place = f'latitude = 38.6\nlongitude = {longitude}\ntimezone = "Etc/GMT-8"'
        garden.write_text(text.replace("latitude = 38.6", place), encoding="utf-8")
        code, out, err = run(capsys, "check", garden)
        assert code == 0, err
        assert ("danger: weather: Longitude = 65 under [site] is not consistent with the file" in out) is doubted
    assert "sun" not in " ".join(panbudget.check(garden).weather.doubts)


def test_a_bed_that_gets_more_than_a_hundred_millimetres_in_a_day_is_a_slip(tmp_path, capsys):
    """Two thousand emitters where thirty were meant."""
    garden = write_garden(tmp_path, years_csv(2021, 2021), emitters=2000, supply=MAINS)
    season = panbudget.replay(garden)
    found = next(finding for finding in season.findings if finding.code == "flood")
    table = season.beds["upper/tomatoes"]["irrigation_mm"]
    assert found.days == (table > 100.0).sum() > 0
    assert "count = 2000" in found.text and "a decimal point" in found.text
    code, out, _ = run(capsys, "check", garden)
    assert code == 0
    assert "caution: upper/tomatoes: This bed gets more than 100" in out


@pytest.mark.parametrize(("most", "flooded"), [(100.0, False), (100.01, True)])
def test_the_bound_of_a_flood(tmp_path, most, flooded):
    season = panbudget.replay(write_garden(tmp_path, years_csv(2021, 2021)))
    table = season.beds["upper/tomatoes"].assign(irrigation_mm=most)
    codes = [finding.code for finding in find(dataclasses.replace(season, beds={"upper/tomatoes": table}))]
    assert ("flood" in codes) is flooded
