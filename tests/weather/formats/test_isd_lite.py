"""
ISD-Lite: units, marks, the two kinds of rain, and genuine files against pandas alone.

Format: NOAA NCEI, "Integrated Surface Data - ISD-Lite" format documentation (2006), from memory. Genuine files:
those that the package diyepw 1.3.1 carries, where it is installed; nothing of them is copied.
"""

from __future__ import annotations

import datetime as dt
import gzip
import importlib.util
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import isd_lite
from panbudget.weather.text.source import Source
from tests.weather.sites import Site

GREENWICH = Site(latitude=51.0, longitude=0.0, elevation=50.0, timezone="Etc/GMT+0")


def line(stamp, *, temperature=200, dew_point=100, pressure=10150, wind=30, rain=0, six=-9999):
    numbers = (temperature, dew_point, pressure, 180, wind, 4, rain, six)
    return f"{stamp:%Y %m %d %H}" + "".join(f"{number:6d}" for number in numbers)


def text(count=72, *, start="2025-06-01 01:00", **columns):
    """Return hours from 01:00, whose first rain fell after midnight; ``columns`` gives dicts of hour -> value."""
    lines = []
    for i, stamp in enumerate(pd.date_range(start, periods=count, freq="h")):
        lines.append(line(stamp, **{name: values[i] for name, values in columns.items() if i in values}))
    return "\n".join(lines) + "\n"


def read(content, site=GREENWICH):
    return isd_lite.read(Source(content, "station.txt", "0" * 64, "utf-8"), columns={}, site=site)


def refusal(content):
    with pytest.raises(WeatherError) as caught:
        read(content)
    return str(caught.value)


def test_tenths_become_standard_units():
    """20.0 °C, dew point 10.0 °C, 3.0 m/s, 1.5 mm in one hour."""
    raw = read(text(rain={4: 15}))
    row = raw.daily.loc["2025-06-01"]
    assert (row["tmin"], row["tmax"], row["wind"], row["rain"]) == (20.0, 20.0, 3.0, 1.5)
    assert row["vapour_pressure"] == pytest.approx(0.6108 * math.exp(17.27 * 10 / 247.3))
    assert raw.wind_height == 10.0


def test_9999_is_missing():
    """Five of 24 temperatures: 79 % are left, and the day is a gap."""
    raw = read(text(temperature=dict.fromkeys(range(30, 35), -9999)))
    assert raw.daily["tmin"].isna().tolist() == [False, True, False]
    assert raw.daily["wind"].notna().all()


def test_a_trace_of_rain_is_zero_and_that_is_said():
    raw = read(text(rain={4: -1, 5: 2}))
    assert raw.daily["rain"].loc["2025-06-01"] == pytest.approx(0.2)
    assert any("a trace in 1 record counts as 0" in note for note in raw.notes)


def test_sea_level_pressure_is_left_out_and_that_is_said():
    raw = read(text())
    assert "pressure" not in raw.daily.columns
    assert any("is not used" in note and "eq 7" in note for note in raw.notes)


def test_six_hour_totals_do_not_count_rain_twice():
    """The hours hold 3.0 mm, the total of 06:00 too: 3.0 and not 6.0."""
    raw = read(text(rain={1: 10, 2: 20}, six={5: 30}))
    assert raw.daily["rain"].loc["2025-06-01"] == pytest.approx(3.0)


def test_six_hour_totals_fill_hours_without_an_amount():
    """5.0 mm by 06:00 of which 1.0 is known: 4.0 fell in the four hours without an amount."""
    missing = dict.fromkeys((0, 2, 3, 4), -9999)
    raw = read(text(rain={1: 10, **missing}, six={5: 50}))
    assert raw.daily["rain"].loc["2025-06-01"] == pytest.approx(5.0)
    assert any("4 hours without an amount" in note and "4 mm" in note for note in raw.notes)


def test_a_six_hour_total_below_its_hours_takes_nothing_away():
    raw = read(text(rain={1: 30, 2: -9999}, six={5: 20}))
    assert raw.daily["rain"].loc["2025-06-01"] == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("hours", "six", "rain"),
    [*[({1: 10, 2: 20}, six, rain) for six, rain in ((50, 5.0), (34, 3.4), (33, 3.0), (0, 3.0))], ({}, 50, 5.0)],
)
def test_a_six_hour_total_above_all_its_hours_is_taken(hours, six, rain):
    """Tenths that are rounded apart; smaller totals change nothing; over dry hours it falls evenly."""
    assert read(text(rain=hours, six={5: six})).daily["rain"].sum() == pytest.approx(rain)


def test_a_six_hour_trace_makes_its_hours_dry():
    raw = read(text(rain=dict.fromkeys(range(6), -9999), six={5: -1}))
    assert raw.daily["rain"].loc["2025-06-01"] == 0.0


def test_totals_alone_make_a_day():
    """No hour has an amount; four totals of the day give it: 1 + 2 + 3 + 4 mm."""
    raw = read(text(rain=dict.fromkeys(range(72), -9999), six={5: 10, 11: 20, 17: 30, 23: 40}))
    assert raw.daily["rain"].loc["2025-06-01"] == pytest.approx(10.0)
    assert raw.daily["rain"].isna().tolist() == [False, True, True]


def test_rain_stamped_midnight_fell_the_day_before():
    """The amount of 00:00 on the 2nd is the hour's that ends there."""
    raw = read(text(rain={23: 15}))
    assert raw.daily["rain"].tolist() == [1.5, 0.0, 0.0]


def test_days_are_the_sites():
    """Seven hours behind UTC, 03:00 UTC on the 2nd is the evening of the 1st."""
    site = Site(latitude=40.0, longitude=-105.0, elevation=1600.0, timezone="America/Denver")
    raw = read(text(120, temperature={26: 310}), site)
    assert raw.daily["tmax"].idxmax() == pd.Timestamp("2025-06-01")


def test_a_file_without_any_rain_says_so(tmp_path):
    file = tmp_path / "station.txt"
    file.write_text(text(240, rain=dict.fromkeys(range(240), -9999)), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"no rain of one or six hours at all; .* missing_rain = \"zero\""):
        read_weather(file, GREENWICH)


def test_rain_that_stands_at_midnight_alone_is_the_days_where_the_user_says_that_no_figure_is_no_rain(tmp_path):
    """No column of an archive can be named otherwise: what is to be done is said for its gaps."""
    file, amounts = tmp_path / "station.txt", {i: 10 * (i % 48 == 23) if i % 24 == 23 else -9999 for i in range(480)}
    file.write_text(text(480, rain=amounts), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"under 80 % .* missing_rain = \"zero\"") as caught:
        read_weather(file, GREENWICH)
    assert "name the column" not in str(caught.value)
    assert read_weather(file, GREENWICH, missing_rain="zero").daily["rain"].tolist() == [1.0, 0.0] * 10


def test_the_wind_is_taken_from_10_m_unless_the_user_says_otherwise(tmp_path):
    """FAO-56 eq 47: 3.0 m/s at 10 m are 2.24 m/s at 2 m."""
    file = tmp_path / "station.txt"
    file.write_text(text(240), encoding="utf-8")
    weather = read_weather(file, GREENWICH)
    assert weather.daily["wind"].to_numpy() == pytest.approx(3.0 * 4.87 / math.log(67.8 * 10 - 5.42))
    assert any("10 m above ground, as the format has it" in note for note in weather.notes)
    said = read_weather(file, GREENWICH, wind_height=2.0)
    assert said.daily["wind"].eq(3.0).all()
    assert not any("as the format has it" in note for note in said.notes)


SOUND = text()
DAMAGED = {
    "cut last line": (SOUND[:-20], ["line 72 has 9 cells", "copy or export the file again"]),
    "a line too long": (SOUND.replace("\n", " 1\n", 1), ["line 1 has 13 cells"]),
    "no number": (SOUND.replace("   200", "   2x0", 1), ["line 1", "'2x0' is not a number"]),
    "no such hour": (SOUND.replace("2025 06 01 05", "2025 06 01 25"), ["line 5", "no hour of the calendar"]),
    "no such day": (SOUND.replace("2025 06 02 05", "2025 06 31 05"), ["line 29", "no hour of the calendar"]),
    "two stations": (SOUND + SOUND.replace("   200", "   210"), ["one station to a file"]),
}


@pytest.mark.parametrize(("content", "said"), DAMAGED.values(), ids=DAMAGED.keys())
def test_a_damaged_file_is_refused_by_place_and_cure(content, said):
    message = refusal(content)
    for part in said:
        assert part in message


def test_a_choice_of_columns_is_refused(tmp_path):
    path = tmp_path / "record.txt"
    path.write_text(SOUND, encoding="ascii")
    with pytest.raises(WeatherError, match="says itself what its columns are"):
        read_weather(path, GREENWICH, columns={"tmin": "x"})


def test_what_is_isd_lite_is_recognised():
    assert isd_lite.sniff(SOUND)[0] > 0.9
    assert isd_lite.sniff("2025-06-01 01:00,20,10\n")[0] == 0.0
    assert isd_lite.sniff("")[0] == 0.0


@given(st.data())
@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.too_slow])
def test_any_damage_makes_a_refusal_or_a_sound_table(data):
    content = SOUND
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(content)))
        end = start + data.draw(st.integers(0, 30))
        piece = data.draw(
            st.one_of(st.text(max_size=12), st.sampled_from(["\n", " ", "9" * 25, "-9999", "1e400", '"']))
        )
        content = content[:start] + piece + content[end:]
    try:
        raw = read(content)
    except WeatherError:
        return
    assert raw.daily.index.is_monotonic_increasing and raw.daily.index.is_unique
    assert not np.isinf(raw.daily.to_numpy()).any()


@given(st.text(max_size=200))
@settings(deadline=None, max_examples=60)
def test_any_text_makes_a_refusal(content):
    assert isd_lite.sniff(content)[0] in (0.0, 0.95)
    with pytest.raises(WeatherError):
        read(content)


def genuine(name):
    """Return a file inside the package, without importing it."""
    spec = importlib.util.find_spec("diyepw")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("diyepw is not installed")
    return Path(next(iter(spec.submodule_search_locations))) / "data" / "noaa_isd_lite_files" / name


STATIONS = {
    "O'Hare 2016": (
        "725300-2016.gz",
        Site(latitude=41.98, longitude=-87.9, elevation=201.0, timezone="America/Chicago"),
    ),
    "Northway 2018": (
        "702910-2018.gz",
        Site(latitude=62.97, longitude=-141.9, elevation=522.0, timezone="America/Anchorage"),
    ),
}


@pytest.mark.parametrize(("name", "site"), STATIONS.values(), ids=STATIONS.keys())
def test_a_genuine_station_agrees_with_pandas_alone(name, site):
    """Temperature, wind and one-hour rain by a plain groupby on the site's clock, on whole days."""
    content = gzip.decompress(genuine(name).read_bytes()).decode("ascii")
    raw = read(content, site)
    rows = [list(map(int, row.split())) for row in content.splitlines()]
    frame = pd.DataFrame(rows).replace(-9999, np.nan)
    stamps = pd.to_datetime(pd.DataFrame({"year": frame[0], "month": frame[1], "day": frame[2], "hour": frame[3]}))
    local = stamps.dt.tz_localize("UTC").dt.tz_convert(site.timezone)
    groups = frame.groupby(local.dt.date)
    before = (local - dt.timedelta(minutes=1)).dt.date
    expected = pd.DataFrame({"tmin": groups[4].min() / 10, "tmax": groups[4].max() / 10, "wind": groups[8].mean() / 10})
    # hours that the six-hour totals fill are few; days that have none must agree to the last digit
    rain = frame[10].clip(lower=0) / 10
    expected["rain"] = rain.groupby(before).sum()
    lacking = frame[10].isna().groupby(before).sum()
    expected.index = lacking.index = pd.DatetimeIndex(pd.to_datetime(expected.index))
    for column in ("tmin", "tmax", "wind", "rain"):
        found = raw.daily[column].dropna()
        assert len(found) > 355
        if column == "rain":
            found = found[lacking.loc[found.index] == 0]
            assert len(found) > 250
            # a six-hour total that holds more is taken
            assert (found >= expected[column].loc[found.index] - 1e-9).all()
            continue
        assert found.to_numpy() == pytest.approx(expected[column].loc[found.index].to_numpy(), abs=1e-9), column


@pytest.mark.parametrize(("amount", "more", "sums"), [(30, 11, ""), (30, 13, "13 mm"), (10, 9, ""), (10, 11, "5 mm")])
def test_a_seasons_two_sums_are_said_where_its_six_hour_totals_hold_more(tmp_path, amount, more, sums):
    """One hour's rain a day; one total of the four days asked for holds more, and one before them very much more."""
    rain = {at * 24 + 14: amount for at in range(6)}
    six = {at * 24 + 17: amount + {0: 600, 3: more}.get(at, 0) for at in range(6)}
    content = text(146, rain=rain, six=six, temperature={hour: 150 + 100 * (hour % 24 > 11) for hour in range(146)})
    (tmp_path / "station.txt").write_text(content, encoding="utf-8")
    days = {"start": dt.date(2025, 6, 2), "end": dt.date(2025, 6, 5)}
    weather = read_weather(tmp_path / "station.txt", GREENWICH, **days)
    assert "rain-six-hours" in weather.checks
    doubts = [caution for caution in weather.cautions if caution.name == "rain-six-hours"]
    assert len(doubts) == bool(sums)
    for caution in doubts:
        assert f"adds up to {sums} by six-hour totals and to {4 * amount / 10:.0f} mm by the hours" in caution.sentence
        assert caution.worth.startswith("if so, the season's rain changes by -1 mm")
    trusting = read_weather(tmp_path / "station.txt", GREENWICH, trust=["rain-six-hours"], **days)
    assert "rain-six-hours" not in {*trusting.checks, *(caution.name for caution in trusting.cautions)}


def test_genuine_chicago_says_that_its_two_kinds_of_rain_disagree():
    """O'Hare 2015: the six-hour totals hold a fifth more than the hours (counted by hand: 1028 and 849 mm)."""
    content = gzip.decompress(genuine("725300-2015.gz").read_bytes()).decode("ascii")
    raw = read(content, STATIONS["O'Hare 2016"][1])
    assert raw.rain_twice["six"].sum() > 1.1 * raw.rain_twice["hours"].sum()
    assert 1028.0 < raw.daily["rain"].sum() < 1100.0
