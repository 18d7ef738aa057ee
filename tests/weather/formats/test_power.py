"""
NASA POWER daily CSV.

Format: NASA POWER documentation, daily API and parameter dictionary (from memory). The place and its weather
are invented; expected values are worked by hand.
"""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
from hypothesis import given, settings

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import power
from panbudget.weather.text.source import Source
from tests.weather.damage import assert_one_line_says, assert_refused_or_sound, damages
from tests.weather.sites import Site

SITE = Site(latitude=38.0, elevation=100.0, longitude=-6.0)
BLOCK = """-BEGIN HEADER-
NASA/POWER Source Native Resolution Daily Data
Dates (month/day/year): 06/01/2025 through 06/20/2025 in LST
Location: latitude  38.1   longitude -6.2
elevation from MERRA-2: Average for 0.5 x 0.625 degree lat/lon region = 120.5 meters
The value for missing source data that cannot be computed or is outside of the sources availability range: -999
parameter(s):
T2M_MAX               MERRA-2 Temperature at 2 Meters Maximum (C)
T2M_MIN               MERRA-2 Temperature at 2 Meters Minimum (C)
T2MDEW                MERRA-2 Dew/Frost Point at 2 Meters (C)
RH2M                  MERRA-2 Relative Humidity at 2 Meters (%)
WS2M                  MERRA-2 Wind Speed at 2 Meters (m/s)
PRECTOTCORR           MERRA-2 Precipitation Corrected (mm/day)
ALLSKY_SFC_SW_DWN     CERES SYN1deg All Sky Surface Shortwave Downward Irradiance (MJ/m^2/day)
PS                    MERRA-2 Surface Pressure (kPa)
-END HEADER-
"""
HEADER = "YEAR,MO,DY,T2M_MAX,T2M_MIN,T2MDEW,RH2M,WS2M,PRECTOTCORR,ALLSKY_SFC_SW_DWN,PS"
DAY = "30.5,15.25,10.0,45.0,2.5,1.5,25.2,100.1"


def season(days=20, *, block=BLOCK, header=HEADER, values=DAY, odd=None, start=dt.date(2025, 6, 1)):
    """Return a file of equal days; ``odd`` stands in for the fourth's values."""
    lines = []
    for n in range(days):
        day = start + dt.timedelta(days=n)
        lines.append(f"{day.year},{day.month},{day.day},{odd if odd and n == 3 else values}")
    return block + "\n".join([header, *lines]) + "\n"


def read(text):
    return power.read(Source(text, "point.csv", "", "utf-8"), columns={}, site=SITE)


def refused(text):
    with pytest.raises(WeatherError) as caught:
        read(text)
    return str(caught.value).splitlines()


def test_the_block_is_recognised():
    """With it, and without it by the names of the parameters."""
    assert power.sniff(season())[0] > 0.95
    assert power.sniff(season(block=""))[0] > 0.95
    assert power.sniff("date,tmin,tmax\n")[0] == 0.0
    assert power.sniff("YEAR,MO,DY,tmin,tmax\n")[0] == 0.0


def test_a_day_is_read_in_standard_units():
    """The archive's units are ours."""
    raw = read(season(2))
    assert raw.daily.iloc[0].to_dict() == {
        "tmin": 15.25,
        "tmax": 30.5,
        "dew_point": 10.0,
        "rh_mean": 45.0,
        "wind": 2.5,
        "rain": 1.5,
        "radiation": 25.2,
        "pressure": 100.1,
    }
    assert raw.lines.tolist() == [18, 19]
    assert raw.wind_height == 2.0
    assert raw.station.latitude == 38.1
    assert raw.station.elevation == 120.5
    assert "not of a station" in raw.notes[0]


def test_the_radiations_unit_is_taken_from_the_block():
    """7 kWh are 25.2 MJ; a mean of 291.67 W/m² is 25.2 MJ in 86 400 s."""
    kwh = season(block=BLOCK.replace("MJ/m^2/day", "kW-hr/m^2/day"), values=DAY.replace("25.2", "7.0"))
    assert read(kwh).daily["radiation"].iloc[0] == pytest.approx(25.2)
    watt = season(block=BLOCK.replace("MJ/m^2/day", "W/m^2"), values=DAY.replace("25.2", "291.6667"))
    assert read(watt).daily["radiation"].iloc[0] == pytest.approx(25.2)


def test_the_code_for_missing_values_is_a_gap():
    """-999 by default, said or not, and -99 where the block says so."""
    odd = "-999,-999.0,-999.00,-999,-999,-999,-999,-999"
    for block in (BLOCK, BLOCK.replace(" range: -999", "")):
        assert read(season(odd=odd, block=block)).daily.iloc[3].isna().all()
    other = season(block=BLOCK.replace("range: -999", "range: -99"), odd="-99,-99.0,-99,-99,-99,-99,-99,-99")
    assert read(other).daily.iloc[3].isna().all()


def test_wind_at_10_m_is_used_where_there_is_no_other():
    """Its height goes with it, and another that the user states is doubted: the file has it."""
    raw = read(season(header=HEADER.replace("WS2M", "WS10M")))
    assert (raw.wind_height, raw.gauge) == (10.0, (10.0,))
    both = season(header=HEADER + ",WS10M", values=DAY + ",9.0")
    assert read(both).wind_height == 2.0
    assert read(both).daily["wind"].iloc[0] == 2.5
    assert any("not used, as the file has better: WS10M" in note for note in read(both).notes)


def test_the_day_of_the_year_is_a_date_too():
    """Day 60 of a leap year is 29 February."""
    text = f"{BLOCK}{HEADER.replace('MO,DY', 'DOY')}\n2024,60,{DAY}\n2025,60,{DAY}\n"
    assert list(read(text).daily.index) == [pd.Timestamp(2024, 2, 29), pd.Timestamp(2025, 3, 1)]


def test_what_can_not_be_is_left_empty_as_the_format_has_it(tmp_path):
    """Its own code stands for a missing value: what the scenario may say of others' it refuses."""
    path = tmp_path / "point.csv"
    path.write_text(season(odd=DAY.replace("1.5,25.2", "-1.5,25.2")), encoding="utf-8")
    with pytest.raises(WeatherError) as caught:
        read_weather(path, SITE)
    assert "correct it; or leave the cell empty, as this format has it" in str(caught.value)
    assert "missing = " not in str(caught.value)


def test_the_whole_road_gives_weather(tmp_path):
    """From the file to the finished table."""
    path = tmp_path / "point.csv"
    path.write_text(season(), encoding="utf-8")
    weather = read_weather(path, SITE)
    assert weather.provenance["reader"] == "nasa-power"
    assert weather.filled() == {}
    assert set(weather.flags["vapour_pressure"]) == {"eq 14 from dew_point"}
    assert weather.daily["radiation"].eq(25.2).all()


def test_a_last_line_without_an_end_is_noted():
    """25.2 cut to 25 can't be told from 25."""
    assert any("last line has no line end" in note for note in read(season()[:-1]).notes)
    assert not any("last line has no line end" in note for note in read(season()).notes)


def region(count):
    """Return a file of a region's cells, one after the other."""
    lines = season(3).splitlines()
    rows = [f"38.{n},-6.0,{line}" for n in range(count) for line in lines[17:]]
    return "\n".join([*lines[:16], "LAT,LON," + lines[16], *rows]) + "\n"


def test_a_region_of_one_cell_is_a_point():
    """Its columns LAT and LON are passed over."""
    assert len(read(region(1)).daily) == 3


BROKEN = {
    "region": (region(2), ["holds 2 stations (38.0 -6.0 from line 18, 38.1 -6.0 from line 21)", "expected: one"]),
    "cut line": (season()[:-20], ["line 37", "cells where 11 are expected", "download it again"]),
    "block not closed": (season().replace("-END HEADER-\n", ""), ["line 1 opens a block", "-END HEADER- is missing"]),
    "block only": (BLOCK, ["ends with its block of explanations"]),
    "no header": (season().replace(HEADER + "\n", ""), ["line 17", "is not the header of this format"]),
    "header only": (BLOCK + HEADER + "\n", ["line 17 is a header and no row follows"]),
    "hourly": (season().replace("DY,", "DY,HR,"), ["values are hourly", "download daily values"]),
    "monthly": (BLOCK + "PARAMETER,YEAR,JAN,FEB\nT2M,2025,1,2\n", ["a row for each year", "download daily values"]),
    "no block": (season(block=""), ["the unit of ALLSKY_SFC_SW_DWN is not named"]),
    "odd unit": (season(block=BLOCK.replace("Maximum (C)", "Maximum (F)")), ['T2M_MAX is in "F"', "download it in C"]),
    "no T2M_MIN": (season().replace("T2M_MIN", "T2M_RANGE"), ["has no T2M_MIN (minimum air temperature)", "T2M_MAX"]),
    "wrong letters": (season(odd=DAY.replace("30.5", "hot")), ["line 21", "T2M_MAX is 'hot'"]),
    "wrong day": (season().replace("2025,6,4,", "2025,6,31,"), ["line 21", "no day of the calendar"]),
    "column twice": (season().replace("RH2M,WS2M", "T2MDEW,WS2M"), ['"T2MDEW" stands twice']),
}


@pytest.mark.parametrize(("text", "said"), BROKEN.values(), ids=BROKEN.keys())
def test_a_damaged_file_is_refused_in_one_line(text, said):
    assert_one_line_says(refused(text), said)


@settings(max_examples=50, deadline=None)
@given(damages(season(8), most_cut=2000))
def test_any_damage_is_refused_or_leaves_a_sound_table(text):
    assert_refused_or_sound(read, text)


@pytest.mark.parametrize("at", [1, 2, 3])
def test_a_row_that_is_cut_off_within_its_date_is_told(at):
    """A line's end of old systems may fall anywhere."""
    cells = season().splitlines()[-1].split(",")
    cut = season().replace(",".join(cells), ",".join(cells[:at]) + "\r" + ",".join(cells[at:]))
    assert "line " in str(refused(cut))


def test_figures_in_another_unit_are_not_to_be_pasted_as_columns_which_a_format_has(tmp_path):
    (tmp_path / "point.csv").write_text(season(values=DAY.replace("30.5,15.25", "86.9,59.45")))
    with pytest.raises(WeatherError) as caught:
        read_weather(tmp_path / "point.csv", SITE)
    assert 'this format has it in "C"' in str(caught.value) and "[weather.columns]" not in str(caught.value)
