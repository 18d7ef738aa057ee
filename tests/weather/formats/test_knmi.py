"""
KNMI daily text.

Format: the explanations at the head of the institute's etmgeg files (from memory). The station and its weather
are invented; expected values are worked by hand.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import knmi
from panbudget.weather.text.source import Source
from tests.weather.damage import assert_one_line_says, assert_refused_or_sound, damages
from tests.weather.sites import Site

SITE = Site(latitude=52.0, elevation=5.0, longitude=5.0)
HEADER = "# STN,YYYYMMDD,DDVEC,   FG,   TG,   TN,   TX,   SQ,    Q,   RH,   PG,   UG,   UX,   UN, EV24"
BLOCK = """BRON: KONINKLIJK NEDERLANDS METEOROLOGISCH INSTITUUT (KNMI)
Opmerking: verzonnen station.

SOURCE: ROYAL NETHERLANDS METEOROLOGICAL INSTITUTE (KNMI)
Comment: invented station.

YYYYMMDD  = Datum (YYYY=jaar MM=maand DD=dag) / Date (YYYY=year MM=month DD=day)
FG        = Etmaalgemiddelde windsnelheid (in 0.1 m/s) / Daily mean windspeed (in 0.1 m/s)
TN        = Minimum temperatuur (in 0.1 graden Celsius) / Minimum temperature (in 0.1 degrees Celsius)
TX        = Maximum temperatuur (in 0.1 graden Celsius) / Maximum temperature (in 0.1 degrees Celsius)
SQ        = Zonneschijnduur (in 0.1 uur) (-1 voor <0.05 uur) / Sunshine duration (in 0.1 hour) (-1 for <0.05 hour)
Q         = Globale straling (in J/cm2) / Global radiation (in J/cm2)
RH        = Etmaalsom van de neerslag (in 0.1 mm) (-1 voor <0.05 mm) / Daily precipitation amount (in 0.1 mm)

"""
PLACES = """# STN         LON(east)   LAT(north)  ALT(m)      NAME
# 999         5.200       52.100      2.00        Verzonnen
"""
VALUES = "  230,   32,  170,  105,  245,  112, 2210,    0,10178,   75,   95,   45,   41"


def season(days=20, *, block=BLOCK, header=HEADER, odd=None, station="  999"):
    """Return a file of equal days; ``odd`` stands in for the fourth's values."""
    start = dt.date(2025, 6, 1)
    lines = [
        f"{station},{start + dt.timedelta(days=n):%Y%m%d},{odd if odd and n == 3 else VALUES}" for n in range(days)
    ]
    return block + "\n".join([header, "", *lines]) + "\n"


def read(text):
    return knmi.read(Source(text, "etmgeg.txt", "", "utf-8"), columns={}, site=SITE)


def refused(text):
    with pytest.raises(WeatherError) as caught:
        read(text)
    return str(caught.value).splitlines()


def test_the_header_line_is_recognised():
    """Wherever the explanations end."""
    assert knmi.sniff(season())[0] > 0.95
    assert knmi.sniff(BLOCK)[0] > 0.9
    assert knmi.sniff("date,tmin,tmax\n")[0] == 0.0


def test_a_day_is_read_in_standard_units():
    """105 are 10.5 °C, 32 are 3.2 m/s, 112 are 11.2 h, 2210 J/cm² are 22.1 MJ/m²; RH is rain, UG humidity."""
    raw = read(season())
    expected = {
        "tmin": 10.5,
        "tmax": 24.5,
        "rh_max": 95.0,
        "rh_min": 45.0,
        "rh_mean": 75.0,
        "wind": 3.2,
        "rain": 0.0,
        "radiation": 22.1,
        "sunshine": 11.2,
    }
    assert raw.daily.iloc[0].to_dict() == pytest.approx(expected)
    assert raw.wind_height == 10.0
    assert raw.lines[0] == 17
    assert any("PG is the pressure at sea level" in note for note in raw.notes)
    assert any("EV24" in note for note in raw.notes)


def test_rain_and_sunshine_of_minus_one_are_traces():
    """Less than 0.05 mm, less than 0.05 h."""
    raw = read(season(odd=VALUES.replace("  112,", "   -1,").replace("    0,", "   -1,")))
    assert raw.daily["rain"].iloc[3] == 0.0
    assert raw.daily["sunshine"].iloc[3] == 0.0
    assert "1 day: rain is less than 0.05 mm (code -1), read as 0" in raw.notes
    assert "1 day: sunshine is less than 0.05 h (code -1), read as 0" in raw.notes


def test_blanks_are_gaps_and_a_blank_column_is_no_column():
    """Old years lack radiation; some stations lack it always."""
    raw = read(season(odd=VALUES.replace(" 2210,", "     ,")))
    assert np.isnan(raw.daily["radiation"].iloc[3])
    assert "radiation" not in read(season().replace(" 2210,", "     ,")).daily


def test_the_explanations_may_be_comments_and_name_the_place():
    """As the institute's daily downloads have them."""
    block = "".join(f"# {line}\n" for line in BLOCK.splitlines()) + PLACES
    raw = read(season(block=block))
    assert (raw.station.name, raw.station.latitude, raw.station.longitude) == ("Verzonnen", 52.1, 5.2)
    assert raw.daily["tmax"].iloc[0] == 24.5


def test_the_whole_road_gives_weather(tmp_path):
    """From the file to the finished table; eq 17 for the humidity."""
    path = tmp_path / "etmgeg_999.txt"
    path.write_text(season(), encoding="utf-8")
    weather = read_weather(path, SITE)
    assert weather.provenance["reader"] == "knmi"
    assert set(weather.flags["vapour_pressure"]) == {"eq 17 from rh_max and rh_min"}
    assert weather.daily["radiation"].to_numpy() == pytest.approx(22.1)


BROKEN = {
    "cut line": (season()[:-20], ["line 36", "cells where 15 are expected", "download it again"]),
    "no header": (season(header=""), ["has no header line with STN and YYYYMMDD", "download the file again"]),
    "header only": (BLOCK + HEADER + "\n", ["line 15 is a header and no row follows"]),
    "no TX": (season().replace("   TX,", "   TZ,"), ["has no TX (maximum air temperature)", "TN"]),
    "decimals": (season(odd=VALUES.replace("  105,", " 10.5,")), ["line 20", "TN is '10.5'", "whole numbers"]),
    "other unit": (
        season().replace("(in J/cm2) / Global radiation (in J/cm2)", "(W/m2)"),
        ["line 12", "expected: J/cm²"],
    ),
    "hourly": (season().replace("DDVEC", "   HH"), ["values are hourly", "download daily values"]),
    "wrong letters": (season(odd=VALUES.replace("245", "hot")), ["line 20", "TX is 'hot'"]),
    "wrong day": (season().replace("20250604", "20250631"), ["line 20", "no day of the calendar"]),
    "two stations": (
        season() + season(block="", header="#", station="  998"),
        ["holds 2 stations", "999 from line 17"],
    ),
    "column twice": (season().replace("   UG", "   UX"), ['"UX" stands twice']),
}


@pytest.mark.parametrize(("text", "said"), BROKEN.values(), ids=BROKEN.keys())
def test_a_damaged_file_is_refused_in_one_line(text, said):
    assert_one_line_says(refused(text), said)


@settings(max_examples=150, deadline=None)
@given(damages(season(8), most_cut=2500))
def test_any_damage_is_refused_or_leaves_a_sound_table(text):
    assert_refused_or_sound(read, text)


def test_marks_of_the_users_own_are_refused_where_the_format_has_its_own(tmp_path):
    file = tmp_path / "etmgeg.txt"
    file.write_text(season(), encoding="utf-8")
    with pytest.raises(WeatherError) as caught:
        read_weather(file, SITE, shown_as="etmgeg.txt", missing=["-99"])
    said = ["weather.missing names marks", 'the format "knmi" says itself', "take the line out"]
    assert_one_line_says(str(caught.value).splitlines(), said)
