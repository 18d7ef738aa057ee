"""
How much may be filled in, and with what: the limits at their bounds, worked by hand (FAO-56 chapter 3).
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from panbudget.errors import WeatherError
from panbudget.physics import air, sun
from panbudget.weather import GapLimits, read_weather
from panbudget.weather.filling.estimates import filled_radiation, filled_wind, filled_with
from panbudget.weather.flags import flagged
from panbudget.weather.site import sky_of
from tests.weather.sites import Site
from tests.weather.test_broken_files import table

SITE = Site(38.0, 100.0)


@pytest.fixture
def read(tmp_path):
    def do(text, **options):
        (tmp_path / "weather.csv").write_text(text, encoding="utf-8")
        return read_weather(tmp_path / "weather.csv", SITE, shown_as="station.csv", **options)

    return do


def holes(usual, at, days=60):
    return ["" if day in at else usual for day in range(days)]


COLUMNS = [
    ("wind", lambda at: {"wind": holes(2, at)}),
    ("humidity", lambda at: {"rh_max": holes(80, at), "rh_min": holes(35, at)}),
    ("radiation", lambda at: {"radiation": holes(24, at)}),
]


@pytest.mark.parametrize(("name", "columns"), COLUMNS)
def test_five_days_in_a_row_are_filled_in_and_six_are_not(read, name, columns):
    assert read(table(60, **columns(range(10, 15)))).filled()
    with pytest.raises(
        WeatherError, match=rf"{name} is missing .*on up to 6 days in a row: .*at most 5 in a row"
    ) as caught:
        read(table(60, **columns(range(10, 16))))
    assert caught.value.problems[0].code == "gap-too-long"


@pytest.mark.parametrize(("name", "columns"), COLUMNS)
def test_a_tenth_of_the_days_is_filled_in_and_no_more(read, name, columns):
    assert read(table(60, **columns(range(0, 24, 4)))).filled()
    with pytest.raises(WeatherError, match=rf"{name} is missing .*on 7 of 60 days: .*at most 10 % \(6\)"):
        read(table(60, **columns(range(0, 28, 4))))


def test_limits_count_the_days_asked_for_only(read):
    dates = {"start": dt.date(2025, 6, 20), "end": dt.date(2025, 7, 19)}
    assert read(table(60, **COLUMNS[0][1](range(0, 18))), **dates).filled()
    with pytest.raises(WeatherError, match="4 of 30 days"):
        read(table(60, **COLUMNS[0][1](range(20, 36, 4))), **dates)


@pytest.mark.parametrize("limits", [{"share": 0.0}, {"share": 1.0}, {"run": 0}])
def test_the_ends_of_the_limits_are_limits_too(limits):
    assert GapLimits(**limits)


@pytest.mark.parametrize("limits", [{"share": -0.01}, {"share": 1.01}, {"run": -1}])
def test_beyond_them_is_nonsense(limits):
    with pytest.raises(ValueError, match="expected"):
        GapLimits(**limits)


def test_a_flag_is_the_last_that_holds_and_no_kind_is_there_that_no_day_has():
    first, two, all_days = np.array([[True, False, False], [True, True, False], [True, True, True]])
    flags = flagged({"one": first, "other": two}, "else")
    assert flags.tolist() == ["other", "other", "else"]
    assert set(flags.categories) == {"other", "else"}
    assert flagged({"one": first, "all": all_days, "one again": first}, "else").tolist() == ["one again", "all", "all"]
    assert flagged({"one": first, "all": all_days}, "else").categories.tolist() == ["all"]


def test_wind_takes_its_months_mean_else_the_same_months_of_all_years_else_2():
    """FAO-56 chapter 3: 2 m/s where nothing is known."""
    days = pd.DatetimeIndex(["2024-06-01", "2024-06-02", "2025-06-01", "2025-06-02", "2025-07-01", "2026-06-01"])
    wind, flags = filled_wind(np.array([1.0, np.nan, 3.0, np.nan, np.nan, np.nan]), days)
    assert wind.tolist() == [1.0, 1.0, 3.0, 3.0, 2.0, 2.0]
    assert flags.tolist() == [
        "measured",
        "monthly mean wind",
        "measured",
        "monthly mean wind",
        "2 m/s",
        "monthly mean wind",
    ]


def test_one_value_fills_all_gaps_and_nan_leaves_them():
    daily = pd.DataFrame({"rain": [1.0, np.nan]})
    values, flags = filled_with(daily, "rain", 0.0, "zero")
    assert (values.tolist(), flags.tolist()) == ([1.0, 0.0], ["measured", "zero"])
    assert np.isnan(filled_with(daily, "rain", np.nan, "missing")[0]).tolist() == [False, True]
    assert filled_with(daily, "pressure", 100.0, "by rule")[0].tolist() == [100.0, 100.0]


@pytest.mark.parametrize(("setting", "krs"), [("inland", 0.16), ("coast", 0.19)])
def test_radiation_is_measured_else_by_sunshine_else_by_temperatures(setting, krs):
    """FAO-56 eq 35 and 50, with kRs 0.16 inland and 0.19 on a coast."""
    index = pd.date_range("2025-06-01", periods=4)
    sky = sky_of(index, latitude=38.0, elevation=100.0)
    daily = pd.DataFrame(
        {"tmin": 14.0, "tmax": 23.0, "radiation": [20.0, 30.0, np.nan, np.nan], "sunshine": [9.0, np.nan, 9.0, np.nan]},
        index=index,
    )
    limited = np.array([False, True, False, False])
    values, flags = filled_radiation(
        daily, sky=sky, site=Site(38.0, 100.0, setting=setting), limited=limited, in_file=np.ones(4, bool)
    )
    day = index.day_of_year.to_numpy()
    Ra, N = sun.extraterrestrial_radiation(day, latitude=38.0), sun.daylight_hours(day, latitude=38.0)
    assert values == pytest.approx([20.0, 30.0, (0.25 + 0.5 * 9.0 / N[2]) * Ra[2], krs * 3.0 * Ra[3]])
    assert flags.tolist() == [
        "measured",
        "limited to 1.05 Rso",
        "eq 35 from sunshine",
        "radiation from temperature range",
    ]


def test_sunshine_is_only_a_stopgap_where_most_days_have_radiation():
    index = pd.date_range("2025-06-01", periods=3)
    daily = pd.DataFrame({"tmin": 14.0, "tmax": 23.0, "radiation": [20.0, 20.0, np.nan], "sunshine": 9.0}, index=index)
    sky = sky_of(index, latitude=38.0, elevation=100.0)
    options = {"sky": sky, "site": SITE, "limited": np.zeros(3, bool)}
    assert filled_radiation(daily, in_file=np.ones(3, bool), **options)[1][2] == "from sunshine only"
    # half of the days of the file are not most
    assert filled_radiation(daily, in_file=np.array([True, False, True]), **options)[1][2] == "eq 35 from sunshine"


def test_pressure_has_no_limit(read):
    """It varies by a few per cent; FAO-56 eq 7."""
    pressure = float(air.atmospheric_pressure(100.0))
    assert read(table(60, pressure=holes(100.0, range(1, 60)))).daily["pressure"].to_numpy()[1:] == pytest.approx(
        pressure
    )


@pytest.mark.parametrize(
    ("columns", "options", "words"),
    [
        ({"rain": holes(0, range(20), 20)}, {}, ["rain is empty on every day; rain is never invented: fill it in"]),
        ({"drop": ["rain"]}, {}, ["there is no column rain (rain in mm)", 'rain = { column = "its header" }']),
        ({"tmin": holes(14, [3], 20), "tmax": holes(30, [3], 20)}, {}, ["tmin and tmax are empty on 2025-06-04"]),
        (
            {"tmin": holes(14, [3], 20), "tmax": holes(30, [4], 20)},
            {},
            ["tmin is empty on 2025-06-04", "tmax is empty"],
        ),
    ],
)
def test_what_is_never_invented_is_asked_for(read, columns, options, words):
    with pytest.raises(WeatherError) as caught:
        read(table(**columns), **options)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize("name", ["wind", "radiation"])
def test_a_column_that_is_empty_on_all_days_asked_for_is_absent_and_no_gap(read, name):
    """As one that ended decades ago; one figure among them, and it is a gap."""
    dates = {"start": dt.date(2025, 6, 20), "end": dt.date(2025, 7, 19)}
    usual = {"wind": 2, "radiation": 24}[name]
    weather = read(table(60, **{name: [usual] * 10 + [""] * 50}), **dates)
    assert any(f"the file has no {name}" in note for note in weather.notes)
    with pytest.raises(WeatherError, match=f"{name} is missing"):
        read(table(60, **{name: [usual] * 25 + [""] * 35}), **dates)


def dated_otherwise(text, as_of):
    """Return a table some of whose dates are others."""
    for day, other in as_of.items():
        text = text.replace(f"\n{day}", f"\n{other}")
    return text


def reset(count):
    first, then = dt.date(2025, 6, 10), dt.date(2000, 1, 1)
    return {str(first + dt.timedelta(days=i)): str(then + dt.timedelta(days=i)) for i in range(count)}


@pytest.mark.parametrize(
    ("as_of", "said"),
    [
        (reset(60), "60 days of 2000 stand in the file, as of a clock"),
        (reset(61), ""),
        ({f"2025-07-0{day}": f"2000-01-0{day}" for day in (3, 4)}, "2 days of 2000 stand in the file, as of a clock"),
        ({f"2025-07-0{day}": f"2025-0{day}-07" for day in (2, 3, 4)}, "if day and month of some dates are exchanged"),
        ({f"2025-07-0{day}": f"2025-0{day}-07" for day in (3, 4)}, ""),
        ({f"2025-07-0{day}": f"2025-0{day}-07" for day in (2, 3, 4, 7)} | {"2025-07-07": "2025-02-08"}, ""),
    ],
    ids=[
        "two months of a reset clock",
        "a day more",
        "a reset clock",
        "exchanged",
        "too few",
        "a gap with the day of the month's number",
    ],
)
def test_days_without_a_row_that_stand_elsewhere_are_said_to(read, as_of, said):
    with pytest.raises(WeatherError) as caught:
        read(dated_otherwise(table(90), as_of), start=dt.date(2025, 6, 1))
    [problem] = [problem for problem in caught.value.problems if "has no row" in problem.found]
    ways = ("as of a clock", "exchanged", "a slip")
    assert said in problem.found if said else not any(way in problem.found for way in ways)
