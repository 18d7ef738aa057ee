"""
Several files of one station, joined by date. All invented.
"""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from tests.weather.formats.test_logger import table as hours
from tests.weather.sites import Site
from tests.weather.test_broken_files import table

SITE = Site(latitude=38.0, longitude=-6.0, elevation=100.0, timezone="Etc/GMT+0")
MAY, JUNE = dt.date(2025, 5, 12), dt.date(2025, 6, 1)


def write(folder, **files):
    """Write files by name."""
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")


def test_files_of_a_list_or_a_pattern_are_joined_by_date(tmp_path):
    """Months in whatever order of the list; May in °F."""
    may = table(20, start=MAY, tmin=57.2, tmax=86)
    may = may.replace("tmin,tmax", "tmin [°F],tmax [°F]").replace("wind", "wind (m/s)").replace("rain", "rain (mm)")
    write(tmp_path, m05=may, m06=table(20, start=JUNE))
    for paths in ([tmp_path / "m06.csv", tmp_path / "m05.csv"], tmp_path / "m*.csv", [tmp_path / "m0?.csv"]):
        weather = read_weather(paths, SITE, shown_as="months")
        assert (len(weather.daily), str(weather.daily.index[0].date())) == (40, "2025-05-12")
        assert weather.daily["tmin"].to_numpy() == pytest.approx(14.0)
        assert "2 files, joined by date" in weather.notes


def test_of_several_files_the_one_in_another_unit_is_blamed_and_its_header_cures_it(tmp_path):
    june = table(20, start=JUNE, rh_max=0.8, rh_min=0.5)
    write(tmp_path, m05=table(20, start=MAY), m06=june)
    with pytest.raises(WeatherError) as caught:
        read_weather(tmp_path / "m*.csv", SITE)
    (line,) = str(caught.value).splitlines()
    assert line.startswith("m06.csv: rh_max is at most 0.80 %")
    assert 'in this file\'s header, as "rh_max (fraction)", "rh_min (fraction)", for' in line
    write(tmp_path, m06=june.replace("rh_max,rh_min", "rh_max (fraction),rh_min (fraction)"))
    assert len(read_weather(tmp_path / "m*.csv", SITE).daily) == 40
    write(tmp_path, m05=table(20, start=MAY, rh_max=0.8, rh_min=0.5), m06=june)
    with pytest.raises(WeatherError, match="name its unit under") as caught:
        read_weather(tmp_path / "m*.csv", SITE)


MPH = {"wind": "Wind (mph)"}
JOINED = {
    "days": [table(20, start=day).replace("wind", "Wind (mph)") for day in (MAY, JUNE)],
    "hours of one header": [hours(headers=MPH), hours(headers=MPH, start="2025-06-11")],
    "hours of two headers": [hours(headers=MPH), hours(headers=MPH | {"rain": "Rain (mm)"}, start="2025-06-11")],
}


@pytest.mark.parametrize("parts", JOINED.values(), ids=JOINED.keys())
def test_a_unit_that_contradicts_the_headers_of_joined_files_is_cautioned_about_once(tmp_path, parts):
    """A steady 2 m/s in each, which the headers say are mph."""
    write(tmp_path, **dict(zip("ab", parts, strict=True)))
    weather = read_weather(tmp_path / "?.csv", SITE, columns={"wind": {"column": "Wind (mph)", "unit": "m/s"}})
    assert len(weather.daily) >= 20
    [caution] = [caution for caution in weather.cautions if caution.name == "header-unit"]
    assert 'wind = { column = "Wind (mph)", unit = "mph" }' in caution.brief
    assert "the season's ETo is" in caution.worth


def test_an_overlap_must_agree_and_fills_gaps(tmp_path):
    """The first in the list gives a figure that it has; rounding is no contradiction."""
    write(tmp_path, a=table(20, start=MAY, wind=[2] * 15 + [""] * 5), b=table(20, start=dt.date(2025, 5, 27), wind=2.1))
    weather = read_weather([tmp_path / "a.csv", tmp_path / "b.csv"], SITE)
    assert weather.daily["wind"].iloc[14:16].tolist() == [2.0, 2.1]
    write(tmp_path, b=table(20, start=dt.date(2025, 5, 27), tmax=33))
    with pytest.raises(WeatherError, match=r"tmax of 2025-05-27 \(and 4 more days\) is 30 in a\.csv and 33 in b\.csv"):
        read_weather([tmp_path / "a.csv", tmp_path / "b.csv"], SITE)


def test_a_day_whose_hours_stand_in_two_files_is_whole(tmp_path):
    """Cut at noon."""
    first, second = hours(252), hours(228, start="2025-06-11 12:00")
    write(tmp_path, a=first, b=second)
    weather = read_weather(tmp_path / "*.csv", SITE)
    whole = read_weather_of(tmp_path, hours(480))
    assert weather.daily.equals(whole.daily)
    assert len(weather.daily) == 20


def read_weather_of(folder, text):
    path = folder / "whole.txt"
    path.write_text(text, encoding="utf-8")
    return read_weather(path, SITE)


def test_a_pattern_that_meets_no_file_is_refused(tmp_path):
    """By its key."""
    with pytest.raises(WeatherError, match=r'weather\.file = ".*/x-\*\.csv" meets no file'):
        read_weather(tmp_path / "x-*.csv", SITE)


@pytest.mark.parametrize(
    ("humidity", "missing", "days"),
    [("x", ["x"], 1), (0, ["0 %"], 1), (-9999, [], 1), ("NA", [], 1), (0, ["0 mm"], None), (77, ["77"], 1)],
)
def test_what_stands_for_a_missing_value_can_be_named(tmp_path, humidity, missing, days):
    """A mark with a unit holds in columns of that unit only; usual words and codes need no name."""
    column = [80 if i != 3 else humidity for i in range(20)]
    write(tmp_path, a=table(rh_max=column, rh_min=[35 if i != 3 else "" for i in range(20)]))
    if days is None:
        with pytest.raises(WeatherError, match="dead sensor"):
            read_weather(tmp_path / "a.csv", SITE, missing=missing)
        return
    weather = read_weather(tmp_path / "a.csv", SITE, missing=missing)
    assert sum(weather.filled()["vapour_pressure"].values()) == days


def test_what_is_wrong_with_several_files_is_told_of_each_and_of_all_once(tmp_path):
    """A cell in each, and a header that both have."""
    cells = (("m05", MAY, "2..4"), ("m06", JUNE, "2..5"))
    wrong = {name: table(20, start=day).replace("24\n", f"{cell}\n", 1) for name, day, cell in cells}
    write(tmp_path, **{name: text.replace("wind", "Wind speed (m/s)") for name, text in wrong.items()})
    with pytest.raises(WeatherError) as caught:
        read_weather(tmp_path / "m*.csv", SITE, shown_as="months")
    lines = str(caught.value).split("\n# in the scenario")[0].splitlines()
    assert [line.split(", column")[0].split(" looks")[0] for line in lines] == [
        'm05.csv: line 1: "Wind speed (m/s)"',
        "m05.csv: line 2",
        "m06.csv: line 2",
    ]
