"""Headers of stations' tables: which column is which quantity, and in what unit."""

from __future__ import annotations

import pytest

from panbudget.weather.text.raw import ColumnChoice
from panbudget.weather.text.stations import read_logger_header

HEADINGS = {
    "Temp (°C)": ("temperature", "degC"),
    "Temp (ºC)": ("temperature", "degC"),
    "Outdoor Temperature(℉)": ("temperature", "degF"),
    "Temperature, °C": ("temperature", "degC"),
    "outTemp_C": ("temperature", "degC"),
    "tempf": ("temperature", "degF"),
    "Temp Out": ("temperature", None),
    "Air Temperature [deg C]": ("temperature", "degC"),
    "Dew Point (°C)": ("dew_point", "degC"),
    "Solar Energy (Ly)": ("radiation", "cal/cm^2"),
    "SW energy (Wh/m2)": ("radiation", "W*hour/m^2"),
    "Speed (mph)": ("wind", "mph"),
    "UR (%)": ("humidity", "%"),
    "u2_ms": ("wind", "m/s"),
    "Rs_MJ_m2_h": ("radiation", "MJ/m^2"),
    "wind_10m_ms": ("wind", "m/s"),
    "WIND10M(m/s)": ("wind", "m/s"),
    "Vent (nœuds)": ("wind", "knot"),
    "Humidity (%)": ("humidity", "%"),
    "Outdoor Humidity(%)": ("humidity", "%"),
    "RH %": ("humidity", "%"),
    "Wind (km/h)": ("wind", "km/h"),
    "windspeedmph": ("wind", "mph"),
    "Wind Speed kn": ("wind", "knot"),
    "Average Wind Speed (m/s)": ("wind", "m/s"),
    "Solar Radiation (W/m²)": ("radiation", "W/m^2"),
    "Solar Rad (W/m2)": ("radiation", "W/m^2"),
    "Absolute Pressure (hPa)": ("pressure", "hPa"),
    "Rain (mm)": ("rain", "mm"),
    "dailyrainin": ("rain", "in"),
    "global radiation sum of the hour [J/cm2]": ("radiation", "J/cm^2"),
    "rg (W/m2)": ("radiation", "W/m^2"),
    "d2m (K)": ("dew_point", "K"),
    "short_wave_from_sky_avg": ("radiation", None),
    "Summaarne kiirgus W/m²": ("radiation", "W/m^2"),
    "Toplam Yağış (mm=kg÷m²)": ("rain", "mm"),
    "טמפרטורה (C°)": ("temperature", "degC"),
    "מהירות הרוח (מטר לשניה)": ("wind", "m/s"),
    'כמות גשם (מ"מ)': ("rain", "mm"),
    "Spoljna temperatura (°C)": ("temperature", "degC"),
    "Vetar (km/h)": ("wind", "km/h"),
    "Hezetasuna (%)": ("humidity", "%"),
    "Erradiazioa (W/m²)": ("radiation", "W/m^2"),
    "Suhu udara (°C)": ("temperature", "degC"),
    "Kecepatan angin (km/jam)": ("wind", "km/h"),
    "Curah hujan (mm)": ("rain", "mm"),
    "Nhiệt độ (°C)": ("temperature", "degC"),
    "Độ ẩm (%)": ("humidity", "%"),
    "Tem.Aire a 150cm (ºC)": ("temperature", "degC"),
    "Vel.Med. a 1050cm (km/h)": ("wind", "km/h"),
    "Irradia. a 700cm (w/m²)": ("radiation", "W/m^2"),
    "Garden thermometer (°C)": ("temperature", "degC"),
    "WindSpd_kmh_Avg": ("wind", "km/h"),
    "WS_ms_Avg": ("wind", "m/s"),
    "Tdry": ("temperature", None),
    "Tdew": ("dew_point", None),
    "Humidity (S/N 12345)": ("humidity", None),
}
NOT_USED = [
    "Indoor Temperature (°C)",
    "Soil Temp (°C)",
    "Feels Like (°C)",
    "Wind Chill (°C)",
    "Heat Index (°C)",
    "Wind Gust (km/h)",
    "Udar vetra (km/h)",
    "Temperatura a 10cm del suelo (°C)",
    "Wind Direction (°)",
    "Rain Rate (mm/h)",
    "precipprob",
    "precipcover",
    "tR",
    "Rain Rate",
    "Rain (mm/h)",
    "Rain 24h (mm)",
    "Rain Last Hour",
    "UV Index",
    "Relative Pressure (hPa)",
    "Barometer (hPa)",
    "High Daily Temp (°C)",
    "Battery (V)",
    "HK-TEMP(oC)",
    "Temp gateway (°C)",
    "Pyranometer temperature (°C)",
    "Canopy temperature (°C)",
    "Road temp (°C)",
    "Virtual temperature (°C)",
    "Wetbulb temp (°C)",
    "Temperature -10 cm (°C)",
]


@pytest.mark.parametrize(("text", "meant"), HEADINGS.items(), ids=HEADINGS.keys())
def test_a_header_is_read_by_its_words_and_unit(text, meant):
    quantity, unit = meant
    header = read_logger_header(["Time", text], {}, times=[0], line=1)
    assert list(header.places) == [quantity]
    assert (header.units[quantity] if quantity in header.stated else None) == unit


def test_of_light_and_its_energy_the_light_is_taken():
    cells = ["Time", "Temp (°C)", "Solar Energy (Ly)", "Solar Rad (W/m²)"]
    assert read_logger_header(cells, {}, times=[0], line=1).places["radiation"] == 3


def test_a_code_that_is_one_letter_off_is_no_light_beside_its_name():
    assert read_logger_header(["Time", "Temp (°C)", "RG", "GHI"], {}, times=[0], line=1).headers["radiation"] == "GHI"


@pytest.mark.parametrize(("text", "height"), [("Wind a 1050cm (km/h)", 10.5), ("Wind 49 cm (m/s)", None)])
def test_a_gauges_height_may_be_in_centimetres(text, height):
    assert read_logger_header(["Time", "Temp (°C)", text], {}, times=[0], line=1).wind_height == height


def test_of_columns_with_one_header_the_user_says_which_by_its_number():
    cells = ["Time", "Temp (C)", "Hum (%)", "Temp (C)"]
    asked = read_logger_header(cells, {}, times=[0], line=1)
    assert dict(asked.to_paste())["weather.columns.temperature"] == '{ column = "Temp (C) #?", unit = "degC" }'
    for column in ("Temp (C) #?", "Temp (C)"):
        (problem, *_) = read_logger_header(cells, {"temperature": ColumnChoice(column)}, times=[0], line=1).problems
        assert '"Temp (C) #2" is the second' in problem.sentence()
    named = read_logger_header(cells, {"temperature": ColumnChoice("Temp (C) #2")}, times=[0], line=1)
    assert named.places["temperature"] == 3
    assert not named.problems


@pytest.mark.parametrize("text", NOT_USED)
def test_what_is_no_quantity_of_ours_is_noted_and_not_used(text):
    header = read_logger_header(["Time", "Temp (°C)", text], {}, times=[0], line=1)
    assert list(header.places) == ["temperature"]
    assert header.problems == []
    assert any(text in note for note in header.notes)


@pytest.mark.parametrize(
    ("headers", "taken", "kind"),
    [
        (["Rain Rate (mm/h)", "Hourly Rain (mm)", "Daily Rain (mm)", "Total Rain (mm)"], "Daily Rain (mm)", "daily"),
        (["Hourly Rain (mm)", "Total Rain (mm)"], "Total Rain (mm)", "total"),
        (["Hourly Rain (mm)", "Yearly Rain (mm)"], "Yearly Rain (mm)", "total"),
        (["Rain (mm)", "Daily Rain (mm)"], "Daily Rain (mm)", "daily"),
        (["Hourly Rain (mm)"], "Hourly Rain (mm)", "hourly"),
        (["Rain (mm)"], "Rain (mm)", "unknown"),
    ],
)
def test_of_several_rain_columns_the_surest_is_taken(headers, taken, kind):
    header = read_logger_header(["Time", "Temp (°C)", *headers], {}, times=[0], line=1)
    assert header.headers["rain"] == taken
    assert header.rain_kind == kind


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Celsius (°C)", "degC"),
        ("#1:oC", "degC"),
        ("Fahrenheit (°F)", "degF"),
        ("Base station temp (°C)", "degC"),  # outdoors or indoors: who has it knows
        ("Lake temp (°C)", None),
        ("Sea temp (°C)", None),
        ("Dew point (°C)", None),
        ("Max Celsius (°C)", None),
    ],
)
def test_a_column_with_no_more_than_a_unit_of_temperature_is_asked_about_with_a_line_to_paste(header, unit):
    """Headers of loggers' exports, from memory."""
    cells = ["time", header, "Rain (mm)"]
    read = read_logger_header(cells, {}, times=[0], line=1)
    assert any("no column is an air temperature" in problem.sentence() for problem in read.problems)
    assert read.suggested == ({"temperature": ColumnChoice(header, unit)} if unit else {})
    if unit:
        pasted = read_logger_header(cells, read.suggested, times=[0], line=1)
        assert (pasted.problems, pasted.places["temperature"]) == ([], 1)
