"""
NOAA GHCN-Daily, in its three layouts.

Format: NOAA NCEI, readme of GHCN-Daily: the .dly columns, elements, units, flags, and the CSV's columns (from
memory; the elements' names and meanings compared with the list in the package noaa-ghcn 0.3.0). The station and
its weather are invented; expected values are worked by hand.
"""

from __future__ import annotations

import calendar
import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import ghcn
from panbudget.weather.text.source import Source
from tests.weather.damage import assert_one_line_says, assert_refused_or_sound, damages
from tests.weather.sites import Site

SITE = Site(latitude=38.0, elevation=100.0, longitude=-6.0)
ID = "XXW00099999"
LONG_HEADER = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"
ACCESS_HEADER = (
    '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","AWND","AWND_ATTRIBUTES","PRCP","PRCP_ATTRIBUTES",'
    '"TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES","WT01"'
)
USUAL = {"TMAX": "256", "TMIN": "-11", "PRCP": "127", "AWND": "32"}
START = dt.date(2025, 6, 1)


def long(days=20, *, odd=None, header="", usual=USUAL):
    """Return a by-station CSV; ``odd`` holds the fourth day's rests of lines: value, flags and time."""
    lines = [header] if header else []
    for n in range(days):
        for element, value in usual.items():
            rest = (odd or {}).get(element) if n == 3 else None
            lines.append(f"{ID},{START + dt.timedelta(days=n):%Y%m%d},{element},{rest or f'{value},,,W,'}")
    return "\n".join(lines) + "\n"


def access(days=20, *, odd=None):
    """Return an access CSV; ``odd`` holds the fourth day's (value, attributes)."""
    lines = [ACCESS_HEADER]
    for n in range(days):
        cells = {name: (f"{USUAL[name]:>5}", ",,W") for name in ("AWND", "PRCP", "TMAX", "TMIN")}
        cells |= (odd or {}) if n == 3 else {}
        values = ",".join(f'"{value}","{marks}"' for value, marks in cells.values())
        lines.append(f'"{ID}","{START + dt.timedelta(days=n)}","38.1","-6.2","120.0","INVENTED HILL, XX",{values},""')
    return "\n".join(lines) + "\n"


def dly(*, odd=None, months=((2025, 6),), elements=USUAL):
    """Return a .dly file; ``odd`` holds what stands in for (element, day of the first month): 5 + 3 characters."""
    lines = []
    for index, (year, month) in enumerate(months):
        last = calendar.monthrange(year, month)[1]
        for element, value in elements.items():
            groups = [f"{value:>5}  W" if day <= last else "-9999   " for day in range(1, 32)]
            for (name, day), group in (odd or {}).items():
                if name == element and index == 0:
                    groups[day - 1] = group
            lines.append(f"{ID}{year}{month:02}{element}{''.join(groups)}")
    return "\n".join(lines) + "\n"


def read(text):
    return ghcn.read(Source(text, "station.csv", "", "utf-8"), columns={}, site=SITE)


def refused(text):
    with pytest.raises(WeatherError) as caught:
        read(text)
    return str(caught.value).splitlines()


LAYOUTS = {"long": long(), "long with header": long(header=LONG_HEADER), "access": access(), "dly": dly()}


@pytest.mark.parametrize("text", LAYOUTS.values(), ids=LAYOUTS.keys())
def test_each_layout_is_recognised_and_read_in_standard_units(text):
    """256 are 25.6 °C, -11 are -1.1 °C, 127 are 12.7 mm, 32 are 3.2 m/s at 10 m."""
    assert ghcn.sniff(text)[0] > 0.95
    raw = read(text)
    assert raw.daily.iloc[0].to_dict() == pytest.approx({"tmin": -1.1, "tmax": 25.6, "wind": 3.2, "rain": 12.7})
    assert raw.daily.index[0] == pd.Timestamp(START)
    assert raw.wind_height == 10.0
    assert len(raw.daily) in (20, 30)


def test_the_three_layouts_agree():
    """Twenty days of the same weather."""
    days = read(access()).daily
    pd.testing.assert_frame_equal(read(long()).daily, days)
    pd.testing.assert_frame_equal(read(dly()).daily.iloc[:20], days)


def test_other_tables_are_not_taken_for_it():
    """Not even an order from the archive's shop, which has °C or °F under the same names."""
    assert ghcn.sniff("date,tmin,tmax\n2025-06-01,1,2\n")[0] == 0.0
    assert ghcn.sniff('"STATION","NAME","DATE","PRCP","TMAX","TMIN"\n')[0] == 0.0


@pytest.mark.parametrize(
    "text",
    [
        long(odd={"TMAX": "-9999,,,,"}),
        access(odd={"TMAX": ("", "")}),
        access(odd={"TMAX": ("-9999", ",,")}),
        dly(odd={("TMAX", 4): "-9999   "}),
    ],
)
def test_minus_9999_or_a_blank_is_a_gap(text):
    """Only that day, only that element."""
    daily = read(text).daily
    assert np.isnan(daily["tmax"].iloc[3])
    assert daily["tmax"].isna().sum() == 1
    assert daily["tmin"].notna().all()


@pytest.mark.parametrize(
    "text",
    [
        long(odd={"TMAX": "999,,G,W,"}),
        access(odd={"TMAX": ("999", ",G,W")}),
        dly(odd={("TMAX", 4): "  999 GW"}),
    ],
)
def test_a_value_that_failed_a_check_is_a_gap_and_noted(text):
    """Any quality flag; it stands between the measurement flag and the source."""
    raw = read(text)
    assert np.isnan(raw.daily["tmax"].iloc[3])
    assert "1 value left out, as the archive's checks failed (quality flag): TMAX 1" in raw.notes


@pytest.mark.parametrize(
    "text",
    [
        long(odd={"PRCP": "0,T,,W,0700"}),
        access(odd={"PRCP": ("0", "T,,W")}),
        dly(odd={("PRCP", 4): "    0T W"}),
    ],
)
def test_a_trace_of_rain_is_zero_and_noted(text):
    """Flag T."""
    raw = read(text)
    assert raw.daily["rain"].iloc[3] == 0.0
    assert "1 day: rain is a trace (flag T), read as 0" in raw.notes


def test_every_element_has_its_unit():
    """Minutes to hours, hPa to kPa, percent as it is; 216 km in a day are 2.5 m/s at the pan's 0.6 m."""
    usual = {"TMAX": "256", "TMIN": "112", "ADPT": "98", "RHMX": "95", "RHMN": "40", "RHAV": "70", "WDMV": "216"}
    usual |= {"TSUN": "630", "ASTP": "10012", "EVAP": "71"}
    raw = read(long(usual=usual))
    expected = {"tmin": 11.2, "tmax": 25.6, "dew_point": 9.8, "rh_max": 95.0, "rh_min": 40.0, "rh_mean": 70.0}
    expected |= {"wind": 2.5, "sunshine": 10.5, "pressure": 100.12, "pan_evaporation": 7.1}
    assert raw.daily.iloc[0].to_dict() == pytest.approx(expected)
    assert raw.wind_height == 0.6
    assert any("wind run of 24 h (WDMV)" in note for note in raw.notes)


def test_sums_over_several_days_are_noted_and_not_spread():
    """MDPR: rain of a weekend, read on Monday."""
    raw = read(long(usual=USUAL | {"MDPR": "-9999"}, odd={"MDPR": "250,,,W,", "PRCP": "-9999,,,,"}))
    assert np.isnan(raw.daily["rain"].iloc[3])
    assert any("rain is given as a sum over several days 1 time (MDPR)" in note for note in raw.notes)


def test_rain_read_in_the_morning_is_noted():
    """A gauge emptied at seven holds yesterday's rain."""
    assert any("read before noon" in note for note in read(long().replace(",W,", ",W,0700")).notes)
    assert not any("read before noon" in note for note in read(long().replace(",W,", ",W,2400")).notes)


def test_years_out_of_order_and_leap_days_are_read():
    """A .dly file has 31 places for every month."""
    daily = read(dly(months=((2025, 2), (2024, 2)))).daily
    assert len(daily) == 28 + 29
    assert daily.index[28] == pd.Timestamp(2024, 2, 29)
    assert daily.index.is_monotonic_increasing


def test_days_without_any_value_have_no_row():
    """The rest of the current month is -9999."""
    odd = {(element, day): "-9999   " for element in USUAL for day in range(11, 31)}
    assert read(dly(odd=odd)).daily.index[-1] == pd.Timestamp(2025, 6, 10)


def test_blanks_lost_at_a_lines_end_are_put_back():
    """Three flags of the last day, blank where it has no value; what lacks more is cut."""
    text = dly()
    stripped = "\n".join(line.rstrip() for line in text.splitlines())
    pd.testing.assert_frame_equal(read(stripped).daily, read(text).daily)
    with pytest.raises(WeatherError, match=r"where this format has 269"):
        read(stripped.replace("-9999\n", "-999\n"))


def test_the_whole_road_gives_weather(tmp_path):
    """From the file to the finished table."""
    path = tmp_path / "station.csv"
    path.write_text(access(), encoding="utf-8")
    weather = read_weather(path, Site(40.0, 100.0))
    assert weather.provenance["reader"] == "ghcn-daily"
    assert len(weather.daily) == 20
    assert any("the file has no humidity at all" in note for note in weather.notes)
    assert any("INVENTED HILL, XX, which is not at the site: latitude 38.1°" in note for note in weather.notes)


BROKEN = {
    "long, cut line": (long()[:-12], ["line 80", "cells where 8 are expected", "download it again"]),
    "long, wrong day": (long().replace("20250604,TMAX", "20250631,TMAX"), ["line 13", "no day of the calendar"]),
    "long, decimals": (long(odd={"TMAX": "25.6,,,W,"}), ["line 13", "TMAX is '25.6'", "other units"]),
    "long, letters": (long(odd={"TMAX": "hot,,,W,"}), ["line 13", "TMAX is 'hot'"]),
    "long, blank": (long(odd={"TMAX": ",,,W,"}), ["line 13", "TMAX of 2025-06-04 is blank"]),
    "long, twice": (long() + long(1), ["line 81", "TMAX of 2025-06-01 stands twice", "and 3 more lines"]),
    "long, two stations": (
        long() + long().replace(ID, "XXW00099998"),
        ["holds 2 stations", "XXW00099998 from line 81"],
    ),
    "long, wrong element": (long().replace("TMIN", "TOBS"), ["has no TMIN (minimum air temperature)", "TOBS"]),
    "long, all missing": (
        long(usual={"TMAX": "-9999", "TMIN": "-9999"}),
        ["only codes for missing values", "choose another station"],
    ),
    "access, cut line": (access()[:-30], ["line 21"]),
    "access, no header": (access().split("\n", 1)[1], ["line 1", "none of this format's layouts"]),
    "access, header only": (ACCESS_HEADER + "\n", ["line 1 is a header and no row follows"]),
    "access, decimals": (access(odd={"TMAX": ("25.6", ",,W")}), ["line 5", "TMAX is '25.6'", 'format = "table"']),
    "access, day twice": (access() + access(1).split("\n", 1)[1], ["line 22", "2025-06-01 stands on line 2 already"]),
    "access, no TMAX": (access().replace('"TMAX"', '"TAVG"'), ["has no TMAX (maximum air temperature)"]),
    "access, column twice": (access().replace('"AWND"', '"TMAX"'), ['"TMAX" stands twice']),
    "dly, cut line": (dly()[:-60], ["line 4", "where this format has 269"]),
    "dly, shifted": (dly(odd={("TMAX", 31): "  256  W"}), ["line 1", "has a value for day 31"]),
    "dly, blank": (dly(odd={("TMAX", 4): "        "}), ["line 1", "TMAX of 2025-06-04 is blank"]),
    "dly, letters": (dly(odd={("TMAX", 4): "  hot  W"}), ["line 1", "TMAX is 'hot'"]),
    "dly, wrong month": (dly().replace("202506TMAX", "202513TMAX"), ["line 1", "month 13", "no month"]),
    "dly, stray line": (dly() + "end of file\n", ["line 5", '"end of file" does not begin with station']),
    "dly, no TMIN": (dly(elements={"TMAX": "256"}), ["has no TMIN (minimum air temperature)", "it has TMAX"]),
}


@pytest.mark.parametrize(("text", "said"), BROKEN.values(), ids=BROKEN.keys())
def test_a_damaged_file_is_refused_in_one_line(text, said):
    assert_one_line_says(refused(text), said)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(sorted(LAYOUTS)).flatmap(lambda layout: damages(LAYOUTS[layout], most_cut=2000)))
def test_any_damage_is_refused_or_leaves_a_sound_table(text):
    assert_refused_or_sound(read, text)
