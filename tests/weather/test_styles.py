"""
Exports as people have them: each reads, or is refused with lines that make it read when they are pasted.
"""

from __future__ import annotations

import re
import tomllib

import numpy as np
import pytest

from panbudget.errors import WeatherError
from panbudget.physics.air import wind_at_2m
from panbudget.weather import GapLimits, read_weather
from panbudget.weather.text.headers import headings_of, read_header
from panbudget.weather.text.heading import unit_of
from panbudget.weather.text.opening import find_opening
from panbudget.weather.text.stations import read_logger_header
from tests.weather.more_styles import MORE_STYLES
from tests.weather.sites import Site
from tests.weather.styles import STYLES, TRUTH, f, inches
from tests.weather.test_broken_files import table

SITE = Site(latitude=38.0, longitude=0.0, elevation=100.0, timezone="Etc/GMT+0")
ALL = STYLES | MORE_STYLES

TRUE_UNITS = {"wind": "m/s", "rain": "mm"}


def pasted(message):
    """Return the columns of the block that a message gives to paste, as a scenario would hold them."""
    block = message[message.index("# in the scenario") :]
    return tomllib.loads(block)["weather"]["columns"]


def filled_in(columns, units=TRUE_UNITS):
    """Return columns with what a person writes in place of the question marks."""
    return {
        name: {**choice, "unit": units[name]} if choice.get("unit") == "?" else choice
        for name, choice in columns.items()
    }


def read_as_told(path, **options):
    """Read a file as a new user does: with what its message gives to paste, where it has one."""
    try:
        return read_weather(path, SITE, **options), ""
    except WeatherError as error:
        message = str(error)
        assert len(message.splitlines()) <= 12, message
        return read_weather(path, SITE, **{"columns": filled_in(pasted(message)), **options}), message


@pytest.mark.parametrize("style", ALL.values(), ids=ALL.keys())
def test_what_was_written_in_comes_out_once_the_suggestion_is_pasted(tmp_path, style):
    """Within what the file's own digits allow."""
    path = tmp_path / "station.csv"
    path.write_bytes(style.content if isinstance(style.content, bytes) else style.content.encode())
    weather, _ = read_as_told(path)
    by_day = {day.date: day for day in TRUTH}
    kept = [(i, by_day[stamp.date()]) for i, stamp in enumerate(weather.daily.index) if stamp.date() in by_day]
    kept = kept[1:-1]  # a clock other than the site's cuts the outer days
    assert len(kept) >= len(TRUTH) - 3
    for name in style.columns:
        truth = [getattr(day, "rh" if name == "rh_mean" else name) for _, day in kept]
        if name == "wind":
            truth = [float(wind_at_2m(wind, height=style.wind_height)) for wind in truth]
        assert weather.daily[name].iloc[[i for i, _ in kept]].tolist() == pytest.approx(truth, abs=style.near), name
        assert weather.filled().get(name) is None


NEVER = (
    "indoor",
    "grass",
    "soil",
    "clear",
    "record",
    "normal",
    "indicator",
    "zenith",
    "longitude",
    "gust",
    "igmin",
    "tgk",
    "9am",
)


@pytest.mark.parametrize("style", ALL.values(), ids=ALL.keys())
def test_a_suggestion_names_no_unit_that_the_file_does_not_and_no_other_quantity(tmp_path, style):
    """Where neither header nor legend has a unit, the block has none, or a question mark."""
    path = tmp_path / "station.csv"
    path.write_bytes(style.content if isinstance(style.content, bytes) else style.content.encode())
    _, message = read_as_told(path)
    text = path.read_bytes().decode("utf-16" if path.read_bytes()[:2] in (b"\xff\xfe",) else "latin-1").lower()
    for name, choice in pasted(message).items() if message else ():
        assert not any(word in choice["column"].lower() for word in NEVER), choice
        if name != "date" and choice.get("unit", "?") != "?":
            assert any(
                word in text
                for word in (
                    "°",
                    "(c",
                    "deg",
                    "(mm",
                    "(in",
                    "(knot",
                    "(j/",
                    "[",
                    "mph",
                    "tempera",
                    " mm",
                    "mj/",
                    "s**-1",
                )
            )
    if "short names" in str(path) or b"TXK" in path.read_bytes():
        assert not any("unit" in choice for choice in pasted(message).values())


@pytest.mark.parametrize(
    ("headers", "suggested"),
    [
        ("Total Rain (mm),Total Precip (mm)", {"rain": "Total Precip (mm)"}),
        ("Max Wind (km/h),Mean Wind (km/h)", {"wind": "Mean Wind (km/h)"}),
        ("Clearsky GHI (W/m2),GHI (W/m2)", {"radiation": "GHI (W/m2)"}),
        ("Soil Temp Min (C),Grass Min Temp (C),Record Rain (mm),Rain Indicator,Solar Zenith Angle", {}),
        ("Rain (furlong)", {}),
        ("Wind from,Wind m/s", {"wind": "Wind m/s"}),
        ("Humidity,DewPt (F)", {"rh_mean": "Humidity", "dew_point": "DewPt (F)"}),
    ],
)
def test_of_several_columns_the_right_one_is_suggested(headers, suggested):
    """And none where there is none."""
    header = read_header(["date", "tmin", "tmax", *headers.split(",")], {}, line=1)
    assert {name: choice.column for name, choice in header.suggested.items() if choice.unit != "?"} == suggested


def test_lowest_and_highest_are_a_days_temperatures():
    header = read_header(["date", "Lowest (°C)", "Highest (°C)", "Humid. (%)"], {}, line=1)
    assert {name: choice.column for name, choice in header.suggested.items()} == {
        "tmin": "Lowest (°C)",
        "tmax": "Highest (°C)",
        "rh_mean": "Humid. (%)",
    }


@pytest.mark.parametrize("word", ["temperature", "temperatura", "temperatuur", "lufttemperatur"])
def test_a_temperature_is_known_whose_min_and_max_are_joined_to_its_word(word):
    header = read_header(["date", f"{word}min", f"{word}max"], {}, line=1)
    assert (header.headers["tmin"], header.headers["tmax"]) == (f"{word}min", f"{word}max")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("Temp (°F)", "degF"),
        ("TemperatureF", "degF"),
        ("temperaturef", "degF"),
        ("Dew Point (F)", "degF"),
        ("Dew PointF", "degF"),
        ("PrecipitationIn", "in"),
        ("Wind SpeedMPH", "mph"),
        ("wind_speed_10m (km/h)", "km/h"),
        ("Rain (cm)", "cm"),
        ("Pressure (mmHg)", "mmHg"),
        ("Rainfall", None),
        ("Temp Min", None),
        ("Rain (mm/h)", "rate"),
    ],
)
def test_a_headers_own_unit_is_understood(text, unit):
    """In brackets, behind the name, or joined to it."""
    assert unit_of(text) == unit


@pytest.mark.parametrize("given", ["rain", "wind", "dew_point"])
def test_beside_a_temperature_in_fahrenheit_a_unit_is_asked_for_and_not_assumed(tmp_path, given):
    """Of what the user names no unit for; what the message says makes it read."""
    path = tmp_path / "station.csv"
    header = {"rain": "Precipitation", "wind": "Wind Speed", "dew_point": "Dew Point"}
    rows = [f"{day.date},{f(day.tmin)},{f(day.tmax)},0.4,50.0,5.0" for day in TRUTH]
    names = [header["rain"], header["dew_point"], header["wind"]]
    path.write_text("\n".join([",".join(["Date", "Low (°F)", "High (°F)", *names]), *rows]) + "\n")
    units = {"rain": "in", "dew_point": "degF", "wind": "mph"}
    columns = {
        "tmin": {"column": "Low (°F)"},
        "tmax": {"column": "High (°F)"},
        **{name: {"column": header[name], "unit": unit} for name, unit in units.items() if name != given},
        given: {"column": header[given]},
    }
    with pytest.raises(WeatherError, match=f'"{header[given]}" names no unit while "Low') as refusal:
        read_weather(path, SITE, columns=columns)
    assert f'{given} = {{ column = "{header[given]}", unit = "?" }}' in str(refusal.value)
    weather = read_weather(path, SITE, columns=filled_in(pasted(str(refusal.value)), units))
    assert weather.daily["rain"].tolist() == pytest.approx([0.4 * 25.4] * len(TRUTH))


def test_a_dew_point_in_fahrenheit_alone_is_taken_at_the_users_word(tmp_path):
    rows = [f"{day.date},{day.tmin},{day.tmax},0.4,57" for day in TRUTH]
    (tmp_path / "w.csv").write_text("\n".join(["date,tmin,tmax,rain,dew_point", *rows]) + "\n")
    with pytest.raises(WeatherError) as caught:
        read_weather(tmp_path / "w.csv", SITE)
    assert len(read_weather(tmp_path / "w.csv", SITE, columns=pasted(str(caught.value))).daily) == len(TRUTH)


def test_where_temperatures_look_like_fahrenheit_the_wind_is_guessed_in_mph(tmp_path):
    """A guess at km/h, pasted, would make it two thirds."""
    path = tmp_path / "station.csv"
    rows = [f"{day.date},{f(day.tmin)},{f(day.tmax)},0.4,{14 + i % 3}" for i, day in enumerate(TRUTH)]
    path.write_text("\n".join(["date,tmin,tmax,rain,wind", *rows]) + "\n")
    with pytest.raises(WeatherError, match=r"looks like mph \(or knots or km/h\)"):
        read_weather(path, SITE)


def test_the_marks_that_a_refusal_names_are_gaps_once_its_line_is_pasted(tmp_path):
    """All of them, each once, with those that are stated already and words that stand there twice."""
    path = tmp_path / "station.csv"
    marks = {2: "x", 9: "missing", 4: "away", 5: "away", 6: "q1"}
    rows = [f"{day.date},{day.tmin},{day.tmax},{day.rain},{marks.get(i, day.wind)}" for i, day in enumerate(TRUTH)]
    path.write_text("\n".join(["date,tmin,tmax,rain,wind", *rows]) + "\n")
    with pytest.raises(WeatherError) as caught:
        read_weather(path, SITE, missing=["q1"])
    assert str(caught.value).count('write missing = ["q1", "x", "missing", "away"] under [weather]') == 2
    read_weather(path, SITE, missing=["q1", "x", "missing", "away"], limits=GapLimits(share=0.3))


@pytest.mark.parametrize(("words", "advice"), [(10, 'write missing = ["SW"]'), (11, "name another column for it")])
def test_a_column_that_is_mostly_words_is_another(tmp_path, words, advice):
    rows = "".join(f"2025-06-{day:02},14.5,30,0,{'SW' if day <= words else 2.5}\n" for day in range(1, 21))
    (tmp_path / "w.csv").write_text(f"date,tmin,tmax,rain,wind\n{rows}")
    with pytest.raises(WeatherError, match=re.escape(advice)):
        read_weather(tmp_path / "w.csv", SITE)


def test_what_is_named_already_stays_in_the_block_that_takes_its_place(tmp_path):
    (tmp_path / "w.csv").write_text(table(tmin=57.2, tmax=86.0).replace("rain", "fell"), encoding="utf-8")
    columns = {"rain": {"column": "fell", "unit": "mm"}}
    with pytest.raises(WeatherError) as caught:
        read_weather(tmp_path / "w.csv", SITE, columns=columns)
    whole = filled_in(pasted(str(caught.value)))
    assert whole["rain"] == columns["rain"]
    assert whole["tmax"] == {"column": "tmax", "unit": "degF"}
    assert read_weather(tmp_path / "w.csv", SITE, columns=whole).daily["tmax"].iloc[0] == pytest.approx(30.0)


@pytest.mark.parametrize("names", ["wind,rain", "Wind Speed,Rainfall"])
def test_a_wind_and_a_rain_without_a_unit_are_asked_for_in_one_message_and_a_mark_is_no_unit(tmp_path, names):
    """Beside °F; 4.5 mph are 2.01 m/s. A question mark that is left is refused by its key."""
    path = tmp_path / "station.csv"
    rows = [f"{day.date},{f(day.tmin)},{f(day.tmax)},4.5,0.4" for day in TRUTH]
    path.write_text("\n".join([f"date,tmin (°F),tmax (°F),{names}", *rows]) + "\n", encoding="utf-8")
    with pytest.raises(WeatherError) as refusal:
        read_weather(path, SITE)
    columns = pasted(str(refusal.value))
    assert {name: choice["unit"] for name, choice in columns.items()} == {"wind": "?", "rain": "?"}
    with pytest.raises(WeatherError, match=r"weather\.columns\.wind: the unit of .* is still a question mark"):
        read_weather(path, SITE, columns=columns)
    weather = read_weather(path, SITE, columns=filled_in(columns, {"wind": "mph", "rain": "in"}))
    assert weather.daily["wind"].iloc[0] == pytest.approx(4.5 * 0.44704)
    assert weather.daily["rain"].iloc[0] == pytest.approx(0.4 * 25.4)


def test_a_wind_and_a_rain_are_asked_for_along_with_temperatures_that_look_like_fahrenheit(tmp_path):
    """All in one message, though no header names a unit."""
    path = tmp_path / "station.csv"
    rows = [f"{day.date},{f(day.tmin)},{f(day.tmax)},4.5,0.4" for day in TRUTH]
    path.write_text("\n".join(["date,tmin,tmax,wind,rain", *rows]) + "\n", encoding="utf-8")
    with pytest.raises(WeatherError) as refusal:
        read_weather(path, SITE)
    columns = pasted(str(refusal.value))
    assert {name: choice["unit"] for name, choice in columns.items()} == {
        "tmax": "degF",
        "tmin": "degF",
        "wind": "?",
        "rain": "?",
    }
    read_weather(path, SITE, columns=filled_in(columns, {"wind": "mph", "rain": "in"}))


def test_a_missing_column_of_rain_is_named_along_with_all_else_and_not_where_none_is_needed(tmp_path):
    path = tmp_path / "station.csv"
    path.write_text("\n".join(["Date,Low (C),High (C)", *(f"{d.date},{d.tmin},{d.tmax}" for d in TRUTH)]) + "\n")
    for missing_rain, named in (("error", True), ("zero", False)):
        with pytest.raises(WeatherError, match="looks like tmin") as refusal:
            read_weather(path, SITE, missing_rain=missing_rain)
        assert ("there is no column rain" in str(refusal.value)) is named


def test_a_check_that_is_trusted_is_not_made_while_headers_are_named(tmp_path):
    path = tmp_path / "station.csv"
    path.write_text(
        "\n".join(["Date,Low (C),High (C),Rain (mm),Wind Speed", *(f"{d.date},{d.tmin},{d.tmax},0,8" for d in TRUTH)])
    )
    for trust, told in (((), True), (["wind-unit"], False)):
        with pytest.raises(WeatherError, match="looks like tmin") as refusal:
            read_weather(path, SITE, trust=trust)
        assert ("which looks like km/h" in str(refusal.value)) is told


@pytest.mark.parametrize(
    ("header", "suggested"),
    [
        ("P (mm)", {"rain": "mm"}),
        ("P (hPa)", {}),
        ("P", {}),
        ("Sun (MJ/m²)", {"radiation": "MJ/m^2"}),
        ("sunshine (MJ/m2)", {"radiation": "MJ/m^2"}),
        ("Sun (h)", {"sunshine": "h"}),
        ("Insolation (min)", {"sunshine": "min"}),
        ("Insolation (kWh/m²)", {"radiation": "kWh/m^2"}),
        ("Sun (h:mm)", {"sunshine": "h"}),
        ("Rain to 9 am (mm)", {"rain": "mm"}),
        ("Dry bulb max (°C)", {}),
        ("Wind run", {}),
        ("Wind run (miles)", {"wind": "mile/day"}),
        ("Dampfdruck (hPa)", {"vapour_pressure": "hPa"}),
        ("Wet bulb min (°C)", {}),
        ("Soltimer (døgn)", {"sunshine": None}),
        ("Zonneschijnduur (u)", {"sunshine": "h"}),
        ("Zonuren (h)", {"sunshine": "h"}),
        ("Globalstrålning (MJ/m²)", {"radiation": "MJ/m^2"}),
        ("Globalstr. (W/m²)", {"radiation": "W/m^2"}),
        ("Windgeschw. (m/s)", {"wind": "m/s"}),
        ("Usłonecznienie [h]", {"sunshine": "h"}),
        ("rF mittel (%)", {"rh_mean": "%"}),
        ("RF (mm)", {"rain": "mm"}),
        ("R/F (mm)", {"rain": "mm"}),
    ],
)
def test_a_header_of_one_letter_or_the_sun_is_known_by_its_unit(header, suggested):
    """P may be pressure."""
    known = read_header(["date", "tmin", "tmax", header], {}, line=1)
    assert {name: choice.unit for name, choice in known.suggested.items()} == suggested
    assert not [problem for problem in known.problems if problem.code not in ("looks-like", "no-rain")]


@pytest.mark.parametrize(("headers", "humidity"), [("T,U,FF", {"humidity": 2}), ("T,U,V", {}), ("T,spec_hum", {})])
def test_u_is_humidity_but_a_component_of_the_wind_beside_v(headers, humidity):
    """U is relative humidity in services' hourly tables (from memory)."""
    known = read_logger_header(["time", *headers.split(",")], {}, times=[0], line=1)
    assert {name: place for name, place in known.places.items() if name in ("humidity", "wind")} == {
        **humidity,
        **({"wind": 3} if "FF" in headers else {}),
    }


@pytest.mark.parametrize(("header", "suggested"), [("tmay", ["tmax"]), ("rair", ["rain"]), ("tmen", []), ("wxxd", [])])
def test_a_slip_in_a_short_name_is_asked_about_where_it_is_like_one_that_is_missing(header, suggested):
    """A letter of four; "tmen" is as near to tmin as to tmean, which is no column."""
    known = read_header(["date", *({"tmin", "tmax"} - {*suggested}), header], {}, line=1)
    assert list(known.suggested) == suggested


def test_a_lone_pair_of_readings_is_no_mean_of_the_day(tmp_path):
    """Nine in the morning and three in the afternoon are its drier half."""
    path = tmp_path / "station.csv"
    rows = [f"{d.date},{d.tmin},{d.tmax},{d.rain},60,40" for d in TRUTH]
    path.write_text("\n".join(["date,tmin,tmax,rain,9am RH (%),3pm RH (%)", *rows]) + "\n", encoding="utf-8")
    assert "9am RH (%), 3pm RH (%)" in " ".join(read_weather(path, SITE).notes)


def test_a_wind_run_of_an_hour_is_no_wind_of_a_day():
    known = read_logger_header(["time", "Temp (°C)", "Wind run (km)"], {}, times=[0], line=1)
    assert "wind" not in known.places


def test_of_rains_of_parts_of_a_day_none_is_taken():
    """A lone one is the day's."""
    known = read_header(["date", "tmin", "tmax", "Rain 06 UTC", "Rain 18 UTC"], {}, line=1)
    assert "rain" not in known.suggested


def test_hours_of_sunshine_may_have_minutes(tmp_path):
    """5:30 is five hours and a half, as is the time of day that a spreadsheet makes of it."""
    path = tmp_path / "station.csv"
    for text in ("5:30", "05:30:00"):
        rows = [f"{d.date},{d.tmin},{d.tmax},{d.rain},{text}" for d in TRUTH]
        path.write_text("\n".join(["date,tmin,tmax,rain,Sunshine (h:mm)", *rows]) + "\n", encoding="utf-8")
        as_clock = read_weather(path, SITE).daily["radiation"]
        path.write_text(path.read_text(encoding="utf-8").replace(text, "5.5"), encoding="utf-8")
        assert as_clock.tolist() == read_weather(path, SITE).daily["radiation"].tolist()


@pytest.mark.parametrize(("force", "speed"), [(0, 0.1), (3, 4.4), (2.5, 3.45), (12, 34.0)])
def test_beaufort_is_the_middle_of_its_speeds_at_ten_metres(force, speed):
    """WMO-No. 8, Beaufort scale, from memory: 3 is 3.4 to 5.4 m/s. Beyond 12 nothing can be true."""
    header = read_header(["date", "tmin", "tmax", "Wind (Beaufort)"], {}, line=1)
    assert header.wind_height == 10.0
    read = header.standard({3: np.array([force, 13.0, -1.0])})["wind"]
    assert read.tolist() == pytest.approx([speed, 99.0, -1.0])


def test_cells_may_carry_their_unit(tmp_path):
    """All of a column the same; dashes with it are a gap, and another unit among them is named."""
    path = tmp_path / "station.csv"
    rows = [f"{d.date},{f(d.tmin)} °F,{f(d.tmax)}°F,{d.wind / 0.44704:.3f} mph,{inches(d.rain)} in" for d in TRUTH]
    rows[5] = rows[5].replace(rows[5].split(",")[3], "-- mph")
    path.write_text("\n".join(["date,tmin,tmax,wind,rain", *rows]) + "\n", encoding="utf-8")
    weather = read_weather(path, SITE)
    for name in ("tmin", "tmax", "rain", "wind"):
        assert weather.daily[name].tolist() == pytest.approx([getattr(d, name) for d in TRUTH], abs=0.06), name
    assert weather.filled() == {**weather.filled(), "wind": {"monthly mean wind": 1}}
    path.write_text("\n".join(["date,tmin,tmax,wind,rain", *rows]).replace("°F", "°C", 1) + "\n", encoding="utf-8")
    with pytest.raises(WeatherError, match="is not a number"):
        read_weather(path, SITE)


def test_codes_with_units_behind_them_keep_the_files_units():
    """Catalonia's codes, from memory."""
    cells = ["DATA", "TX (°C)", "TN (°C)", "HRM (%)", "PPT24h (mm)", "VVM10 (km/h)"]
    known = read_header(cells, {}, line=1)
    units = {name: choice.unit for name, choice in known.suggested.items()}
    assert units == {"tmax": "degC", "tmin": "degC", "rh_mean": "%", "rain": "mm", "wind": "km/h"}
    assert known.wind_height == 10.0


def test_codes_of_hours_are_told_beside_their_units():
    """Of a network of stations at schools, from memory."""
    cells = ["timestamp", "te (degrees Celsius)", "rh (-)", "pr (mm)", "ra (W/m2)"]
    assert headings_of(cells, [], None)[1][2:4] == ("temp", "degC")


def test_a_line_that_numbers_a_loggers_channels_is_passed_over():
    above = ['"Label","Air Temp","Rain"', '"Unit","deg C","mm"', '"Channel","1","2"']
    found = find_opening([*above, *(f"2025-06-01 {hour:02d}:00,14.5,0" for hour in range(5))])
    assert (found.cells, found.above) == (["Label", "Air Temp", "Rain"], 3)


def test_a_day_in_columns_of_short_names_is_found():
    rows = [f"X,2023,05,{day:02d},70.1,50.2,0.1" for day in range(1, 6)]
    assert find_opening(["STID,YEAR,MO,DA,TMAX,TMIN,RAIN", *rows]).dates == (1, 2, 3)
