"""
Broken weather files: each mistake is one line that names the file, the place, and what to do.

The files are invented; the messages are what a person reads, so they are what is tested.
"""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from tests.weather.sites import Site

SITE = Site(latitude=38.0, elevation=100.0)


def table(days=20, *, start=dt.date(2025, 6, 1), drop=(), **columns):
    """Return a table of ordinary summer days; ``columns`` gives other values, one for all or a list."""
    usual = {"tmin": 14, "tmax": 30, "rh_max": 80, "rh_min": 35, "wind": 2, "rain": 0, "radiation": 24}
    chosen = {name: value for name, value in (usual | columns).items() if name not in drop}
    lines = [",".join(["date", *chosen])]
    for index in range(days):
        cells = [value[index] if isinstance(value, list) else value for value in chosen.values()]
        lines.append(",".join(map(str, [start + dt.timedelta(days=index), *cells])))
    return "\n".join(lines) + "\n"


def with_day(usual, odd, *, days=20, at=3):
    """Return a column that is odd on one day."""
    return [odd if index == at else usual for index in range(days)]


def without_line(text, number):
    lines = text.splitlines()
    return "\n".join(lines[: number - 1] + lines[number:]) + "\n"


def refusal(tmp_path, content, **options):
    """Read a file that must be refused; return the message's lines."""
    file = tmp_path / "weather.csv"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(WeatherError) as caught:
        read_weather(file, SITE, shown_as="station.csv", **options)
    assert caught.value.file == "station.csv"
    lines = str(caught.value).split("\n# in the scenario")[0].splitlines()
    assert len(lines) == len(caught.value.problems)
    assert all(line.startswith("station.csv: ") for line in lines)
    return lines


SOUND = table()

BROKEN = {
    "empty": (b"", ["is empty", "export or copy the file again"]),
    "header only": ("date,tmin,tmax,rain\n", ["line 1 is a header and no row follows", "export"]),
    "comments only": ("# nothing\n", ["holds only comments", "export"]),
    "web page": ("<!DOCTYPE html><html></html>", ["is a web page", "download the file itself, as CSV"]),
    "JSON": ('{"daily": []}', ["is JSON", "convert it to CSV"]),
    "binary": (b"\x00\x01\x02\x03" * 50, ["is not a text file", "export it again as CSV"]),
    "workbook": (b"PK\x03\x04rest", ["spreadsheet workbook", "save the sheet as CSV"]),
    "wrong date": (
        SOUND.replace("2025-06-04", "2025-06-31"),
        ["line 5", "2025-06-31", "no day of the calendar"],
    ),
    "days in a column that was too narrow": (
        SOUND.replace("2025-06-04", "########"),
        ["line 5", "'########'", "make the column wider"],
    ),
    "no date": (SOUND.replace("2025-06-04", "Total"), ["line 5", "'Total'", "write dates as year-month-day"]),
    "ambiguous dates": (
        "date,tmin,tmax,rain\n01/05/2025,10,20,0\n02/05/2025,10,20,0\n",
        ["line 2", "may have the day or the month first", "write dates as year-month-day"],
    ),
    "two-digit year": (
        SOUND.replace("2025-06-04", "04/06/25"),
        ["line 5", "two digits", "four are expected"],
    ),
    "hourly": (SOUND.replace("2025-06-04", "2025-06-04 13:00"), ["line 5", "time of day", "one row a day"]),
    "duplicate": (
        SOUND.replace("2025-06-05", "2025-06-04,14,30,80,35,2,0,24\n2025-06-05"),
        ["2025-06-04 stands twice", "lines 5 and 6", "delete"],
    ),
    "missing day": (without_line(SOUND, 5), ["date has no row for 1 day: 2025-06-04", "add the rows"]),
    "short row": (SOUND.replace("2025-06-04,14,", "2025-06-04,"), ["line 5 has 7 cells", "the header has 8"]),
    "long row": (SOUND.replace("2025-06-04,14,", "2025-06-04,14,1,"), ["line 5 has 9 cells", "delete"]),
    "not a number": (
        table(tmax=with_day(30, "hot")),
        ["line 5, column tmax", "'hot' is not a number", "correct"],
    ),
    "a number made a date": (
        table(tmin=with_day(14, "10-Mar")),
        ["line 5, column tmin", "'10-Mar' is not a number", "a spreadsheet made a date of a number"],
    ),
    "tenths on a day": (table(tmax=with_day(30, 347)), ["tmax is 347 °C", "are these tenths of a degree?"]),
    "kelvin on a day": (table(tmax=with_day(30, 303.2)), ["tmax is 303.2 °C", "(is this K?)"]),
    "kelvin or tenths on a day": (table(tmax=with_day(30, 303)), ["tmax is 303 °C", "are these tenths of a degree?"]),
    # K would be 4.25 °C off the others and tenths 5.2 °C: which it is can't be told
    "kelvin or tenths alike": (table(tmax=with_day(24.1, 293)), ["(is this K? or are these tenths of a degree?)"]),
    "kelvin, tenths further off": (table(tmax=with_day(24.0, 293)), ["tmax is 293 °C", "(is this K?)"]),
    "days as numbers and as dates": (
        "date,tmin,tmax,rain\n" + "".join(f"{day},10,20,0\n" for day in (45819, 45820, "13/06/2025", "14/06/2025")),
        [
            "line 2",
            "'45819' (and 1 more row) looks like a spreadsheet's day number",
            "may exchange their day and month",
        ],
    ),
    "two stations": (
        SOUND + "".join(table(10, tmin=9).splitlines(keepends=True)[1:]),
        ["2025-06-01 stands twice", "lines 2 and 22", "keep one station's rows to a file"],
    ),
    "odd mark": (
        table(wind=with_day(2, "x")),
        ["line 5", "wind", "leave missing values empty", 'missing = ["x"] under [weather]'],
    ),
    "°F as °C": (
        table(tmin=57, tmax=86).replace("wind", "wind (m/s)").replace("rain", "rain (mm)"),
        ["tmax reaches 86", "looks like °F", 'unit = "degF"', "[weather.columns]"],
    ),
    "K as °C": (table(tmin=287, tmax=303), ["tmax reaches 303", "looks like K", 'unit = "K"']),
    "km/h as m/s": (
        table(wind=14),
        ["wind reaches 14", "looks like km/h", 'unit = "?"', "[weather.columns]"],
    ),
    "W/m² as MJ": (table(radiation=278), ["radiation reaches 278", "looks like W/m²", 'unit = "W/m^2"']),
    "RH fraction": (table(rh_max=0.8, rh_min=0.35), ["rh_max", "looks like a fraction", 'unit = "fraction"']),
    "RH above 100": (
        table(rh_max=with_day(80, 120)),
        ["rh_max is 120 % on 2025-06-04", "0 to 100 %", "write 100"],
    ),
    "tmax below tmin": (
        table(tmax=with_day(30, 9)),
        ["tmax is 9 °C on 2025-06-04", "below", "tmin", "correct"],
    ),
    "exchanged": (table(tmin=30, tmax=14), ["look exchanged", "exchange their names"]),
    "negative rain": (
        table(rain=with_day(0, -3)),
        ["rain is -3 mm on 2025-06-04", "0 mm or more", "correct it"],
    ),
    "rain with a minus": (
        table(rain=[0, 0, -3, -7, *[0] * 16]),
        ["rain is -7 mm on 2025-06-04 (and 1 more day)", "and these differ", "a minus too many"],
    ),
    "negative wind": (table(wind=with_day(2, -1)), ["wind is -1 m/s on 2025-06-04", "correct it"]),
    "sentinel": (
        table(tmin=with_day(14, -999)),
        ["tmin is empty on 2025-06-04", "left out there for the mark -999 of a missing value", "never invented"],
    ),
    "too bright": (
        table(radiation=with_day(24, 36)),
        ["radiation is 36", "2025-06-04", 'too_bright = "limit"'],
    ),
    "rain missing": (table(rain=with_day(0, "")), ["rain is empty on 2025-06-04", 'missing_rain = "zero"']),
    "tmin missing": (
        table(tmin=with_day(14, "")),
        ["tmin is empty on 2025-06-04", "never invented", "fill in"],
    ),
    "long gap": (
        table(40, wind=[2] * 10 + [""] * 6 + [2] * 24),
        ["wind is missing on up to 6 days in a row", "2025-06-11 to 2025-06-16", "take the column out"],
    ),
    "many gaps": (
        table(wind=["", 2, 2, 2, 2] * 4),
        ["wind is missing on 4 of 20 days", "10 %", "2025-06-01", "fill in"],
    ),
    "misspelt column": (
        SOUND.replace("radiation", "radiaton"),
        ["line 1", '"radiaton"', "looks like radiation", "rename"],
    ),
    "no tmax": (table(drop=["tmax"]), ["line 1", "there is no column tmax", "add it"]),
    "column twice": (
        SOUND.replace("rh_min", "rh_max"),
        ["line 1", '"rh_max" stands twice', "rename or delete"],
    ),
    "the lowest humidity in tenths": (table(rh_min=550), ["rh_min reaches 550", "under [weather.columns], rh_min = {"]),
    "a cell in another unit": (table(tmin=with_day(14, "57°F")), ["'57°F'", "(°C)", "brought into the column's unit"]),
    "no header": (SOUND.split("\n", 1)[1], ["line 1", "is a row of values", "a header line is expected"]),
    "names that are depths": (
        "time,0,0.5,1.5\n" + "".join(f"2025-05-{day:02d},9.5,8.5,7.5\n" for day in range(1, 8)),
        ["line 1", "names its columns by numbers", "by their depths", "take the file of the air"],
    ),
}


@pytest.mark.parametrize(("content", "said"), BROKEN.values(), ids=BROKEN.keys())
def test_a_broken_file_is_refused_in_one_line_that_names_the_place_and_the_cure(tmp_path, content, said):
    """One mistake, one line."""
    lines = refusal(tmp_path, content)
    assert len(lines) == 1, lines
    for part in said:
        assert part in lines[0]


@pytest.mark.parametrize("name", ["terraces.csv", "TERRACE.CSV"])
def test_a_missing_file_is_refused_and_its_neighbour_named(name, tmp_path):
    """Most missing files are misspelt, or come from a system to which capitals are all one."""
    if (tmp_path / "x").touch() or (tmp_path / "X").exists():
        pytest.skip("such a system is this one")
    (tmp_path / "terrace.csv").write_text(SOUND, encoding="utf-8")
    with pytest.raises(
        WeatherError,
        match=r"^t\.csv: there is no such file \(beside it lies 'terrace\.csv'\); check the path",
    ):
        read_weather(tmp_path / name, SITE, shown_as="t.csv")


def test_a_folder_in_place_of_a_file_is_refused(tmp_path):
    """The name was forgotten."""
    with pytest.raises(WeatherError, match=r"^samples: is a folder; .* add the file's name$"):
        read_weather(tmp_path, SITE, shown_as="samples")


MAPPINGS = {
    "not in the file": (
        {"tmin": {"column": "T_low", "unit": None}},
        ["weather.columns.tmin", '"T_low" is not in the file', "It has date"],
    ),
    "bad unit": (
        {"wind": {"column": "wind", "unit": "furlong"}},
        ["weather.columns.wind", '"furlong"', '"m/s"'],
    ),
    "no unit at all": (
        {"wind": {"column": "wind", "unit": "blow"}},
        ["weather.columns.wind", '"blow" is an unknown unit', '"m/s"'],
    ),
    "unknown name": (
        {"windd": {"column": "wind", "unit": None}},
        ["weather.columns.windd", "no standard column", 'did you mean "wind"?'],
    ),
    "no header": ({"wind": {}}, ["weather.columns.wind", "is not a column", "T_low"]),
    "an empty unit": (
        {"wind": {"column": "wind", "unit": " "}},
        ["weather.columns.wind", "its unit is empty", "T_low"],
    ),
    "a unit alone, of no column": (
        {"dew_point": {"unit": "degC"}},
        ["weather.columns.dew_point", '"dew_point" is not in'],
    ),
}


@pytest.mark.parametrize(("columns", "said"), MAPPINGS.values(), ids=MAPPINGS.keys())
def test_a_mapping_that_does_not_fit_is_refused_by_its_key(tmp_path, columns, said):
    """The key path is where the user finds it in the scenario."""
    lines = refusal(tmp_path, SOUND, columns=columns)
    assert len(lines) == 1, lines
    for part in said:
        assert part in lines[0]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"wind_height": 0.2}, "weather.wind_height = 0.2 m is no height of a wind gauge"),
        (
            {"missing_rain": "none"},
            'weather.missing_rain = "none" is not known; expected: "error" or "zero"',
        ),
        ({"too_bright": "cut"}, 'weather.too_bright = "cut" is not known; expected: "error" or "limit"'),
        ({"file_format": "tabel"}, 'weather.format = "tabel" is not known'),
    ],
)
def test_an_option_that_is_not_known_is_refused_by_its_key(tmp_path, options, said):
    """A misspelt option must not be taken for the default."""
    assert said in refusal(tmp_path, SOUND, **options)[0]


def test_five_mistakes_are_five_lines(tmp_path):
    """All that is wrong at once, not one at a time."""
    text = table(
        tmax=with_day(30, 9),
        rain=with_day(0, -3, at=5),
        wind=with_day(2, -1, at=6),
        rh_max=with_day(80, 120, at=7),
        radiation=278,
    )
    lines = refusal(tmp_path, text)
    assert len(lines) == 5
    for word in ("tmax", "rain", "wind", "rh_max", "radiation"):
        assert sum(line.startswith(f"station.csv: {word} ") for line in lines) == 1


def test_trouble_outside_the_days_asked_for_is_noted_and_does_not_block(tmp_path):
    """An old dead sensor must not stop this season."""
    file = tmp_path / "weather.csv"
    file.write_text(table(rain=with_day(0, -3), tmax=with_day(30, 9, at=2)), encoding="utf-8")
    weather = read_weather(file, SITE, start=dt.date(2025, 6, 10), end=dt.date(2025, 6, 15))
    assert str(weather.daily.index[0].date()) == "2025-06-05"
    assert any("can't be true left out" in note for note in weather.notes)
    assert any("days before 2025-06-05" in note for note in weather.notes)


def test_a_name_that_no_file_can_have_is_refused(tmp_path):
    for name in ("x" * 300, "x" * 300 + "*"):
        with pytest.raises(WeatherError, match=r"^t\.csv: (can't be read|.*meets no file|.*no file)"):
            read_weather(tmp_path / name, SITE, shown_as="t.csv")


def test_a_unit_of_light_is_named_for_the_figures_as_the_file_has_them(tmp_path):
    """24 MJ/m² are 6667 Wh/m²; called W/m² they are 576 MJ/m², which would be a day's light in cal/cm²."""
    (tmp_path / "w.csv").write_text(table(radiation=6667))
    with pytest.raises(WeatherError, match="which looks like Wh/m²"):
        read_weather(tmp_path / "w.csv", SITE, columns={"radiation": {"column": "radiation", "unit": "W/m^2"}})
