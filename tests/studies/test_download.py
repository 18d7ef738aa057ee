"""
Downloads, against a server on this machine: what is asked, what is written, and that nothing changes where an answer is none.

The live services were not reached: their layouts are in `tests/weather_server`, from memory.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import threading
import tomllib

import pandas as pd
import pytest

from panbudget import download_weather, load_scenario, read_weather
from panbudget.errors import OutputError, PanbudgetError, ScenarioError, WeatherError
from panbudget.physics.air import wind_at_2m
from panbudget.scenario.editing import edited
from panbudget.weather.services import asking, record
from panbudget.weather.site import Site
from tests.weather_server import serving

GARDEN = """\
# my garden
[site]
latitude = 38.6     # by the map
longitude = -6.1
elevation = "240 m"

[weather]           # from the station
file = "station.csv"  # beside this file
format = "logger"
missing_rain = "zero" # dry
"""
SITE = Site(latitude=38.6, longitude=-6.1, elevation="240 m")


@pytest.fixture(scope="module")
def running():
    with serving() as server:
        yield server


@pytest.fixture
def server(running, monkeypatch):
    running.__init__(running.address)
    monkeypatch.setenv("PANBUDGET_POWER_ADDRESS", running.address)
    monkeypatch.setenv("PANBUDGET_FORECAST_ADDRESS", running.address)
    monkeypatch.setattr(asking, "_PAUSE", 0.01)
    return running


@pytest.fixture
def garden(tmp_path):
    path = tmp_path / "garden.toml"
    path.write_text(GARDEN, encoding="utf-8")
    return path


def files(garden):
    return {path.name: path.read_bytes() for path in garden.parent.iterdir()}


def test_a_record_is_written_beside_the_garden_and_named_in_it(garden, server):
    server.way = "too-many"  # with a day that nobody asked for
    result = download_weather(garden, years=(2023, 2024))
    assert [path for path, _ in server.asked] == ["/api/temporal/daily/point"]
    query = server.asked[0][1]
    assert (query["start"], query["end"], query["latitude"], query["longitude"]) == (
        "20230101",
        "20241231",
        "38.6",
        "-6.1",
    )
    assert {"T2M_MAX", "T2M_MIN", "RH2M", "WS2M", "PRECTOTCORR", "ALLSKY_SFC_SW_DWN"} <= set(
        query["parameters"].split(",")
    )
    file = garden.parent / "garden-weather.csv"
    text = file.read_text(encoding="utf-8")
    assert f"Downloaded on {dt.date.today()} from {server.address}" in text
    assert "Acknowledge: data from the NASA" in text
    weather = read_weather(file, SITE)
    assert len(weather.daily) == 731
    assert weather.daily["tmax"].iloc[30] == pytest.approx(23.1)  # 31 January
    assert result.files["weather"] == {
        "file": "garden-weather.csv",
        "first": "2023-01-01",
        "last": "2024-12-31",
        "days": 731,
        "new": 731,
        "missing": 0,
    }
    edited = garden.read_text(encoding="utf-8")
    assert edited == GARDEN.replace('"station.csv"', '"garden-weather.csv"').replace('format = "logger"\n', "")
    assert "Before, it had file = 'station.csv', format = 'logger'." in result.sentences()[-1]


def test_only_days_that_are_lacking_are_asked_for(garden, server):
    """And what is there stays as it is; the header then speaks of all days."""
    download_weather(garden, years=(2022, 2022))
    file = garden.parent / "garden-weather.csv"
    changed = file.read_text(encoding="utf-8").replace("2022,7,1,20.10", "2022,7,1,33.33")
    lines = changed.splitlines(keepends=True)
    file.write_text("".join(line for line in lines if not line.startswith(("2022,3,", "2022,2,"))), encoding="utf-8")
    server.asked.clear()
    result = download_weather(garden, years=(2022, 2023))
    assert [(query["start"], query["end"]) for _, query in server.asked] == [("20220201", "20231231")]
    assert result.files["weather"]["new"] == 28 + 31 + 365
    text = file.read_text(encoding="utf-8")
    assert "2022,7,1,33.33" in text
    assert "01/01/2022 through 12/31/2023" in text
    assert text.count("Downloaded on") == 1
    server.asked.clear()
    assert "nothing was downloaded" in download_weather(garden, years=(2022, 2023)).lines[0]
    assert not server.asked
    assert file.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("present", "years", "spans"),
    [
        # 3660 days: worked by the calendar
        ((2005, 2005), (2003, 2020), [("2003-01-01", "2013-01-07"), ("2013-01-08", "2020-12-31")]),
        # a year that is there lies between: 366 days from one missing to the next are asked for as one, 367 are not
        ((1995, 1995), (1994, 1997), [("1994-01-01", "1997-12-31")]),
        ((1996, 1996), (1994, 1997), [("1994-01-01", "1995-12-31"), ("1997-01-01", "1997-12-31")]),
        ((1985, 1986), (1985, 1986), []),
    ],
)
def test_a_question_is_of_ten_years_at_most_and_of_no_year_that_is_there(present, years, spans, monkeypatch):
    monkeypatch.setattr(record, "_answered", lambda _, __, first, last, today: (str(first), str(last)))
    cells = pd.DataFrame({"T2M_MAX": "1"}, index=pd.date_range(f"{present[0]}-01-01", f"{present[1]}-12-31"))
    days = record.lacking(cells, dt.date(years[0], 1, 1), dt.date(years[1], 12, 31))
    assert list(record.asked_for(asking.Service("power"), SITE, days, today=dt.date.today())) == spans


def test_days_that_are_not_there_yet_are_left_out(garden, server):
    """And asked for again the next time; the record never reaches beyond yesterday."""
    today = dt.date.today()
    server.latest = today - dt.timedelta(days=4)
    result = download_weather(garden, years=(today.year - 1, today.year))
    assert result.files["weather"]["last"] == str(server.latest)
    assert server.asked[0][1]["end"] == f"{today - dt.timedelta(days=1):%Y%m%d}"
    server.latest = today - dt.timedelta(days=2)
    result = download_weather(garden, years=(today.year - 1, today.year))
    assert server.asked[-1][1]["start"] == f"{today - dt.timedelta(days=3):%Y%m%d}"
    assert result.files["weather"]["new"] == 2


def test_a_forecast_is_written_as_a_plain_table_and_named(garden, server):
    """FAO-56 eq 47: 4 m/s at 10 m are 2.99 m/s at 2 m."""
    result = download_weather(garden, forecast=10)
    assert server.asked[0][0] == "/v1/forecast"
    assert server.asked[0][1]["forecast_days"] == "10"
    weather = read_weather(garden.parent / "garden-forecast.csv", SITE)
    assert weather.daily.index[-1].date() == dt.date.today() + dt.timedelta(days=9)
    assert weather.daily["wind"].iloc[0] == pytest.approx(float(wind_at_2m(4.0, height=10.0)), abs=0.005)
    assert weather.daily["radiation"].iloc[0] == 9.0
    head = (garden.parent / "garden-forecast.csv").read_text(encoding="utf-8")
    assert "CC BY 4.0" in head
    assert str(dt.date.today()) in head
    edited = garden.read_text(encoding="utf-8")
    assert edited.startswith(GARDEN.rstrip("\n"))
    assert tomllib.loads(edited)["weather"]["forecast"] == {"file": "garden-forecast.csv"}
    before = edited
    download_weather(garden, forecast=3)
    assert garden.read_text(encoding="utf-8") == before
    assert result.files["forecast"]["days"] == 20


WRONG = {
    "stalls": "does not answer within 0.3 s",
    "drips": "is not done with its answer within 0.6 s",
    "cut": "broke off",
    "nothing": "something else than weather: nothing;",
    "wide": "something else than weather: it is UTF-16",
    "packed": "something else than weather: it is packed",
    500: "refuses with 500",
    404: "refuses the question with 404 .*asked again it says the same",
    "json-error": "refuses the question with 422 .*: .*no such parameter",
    "json": "something else than weather: no such variable",
    "deep": "something else than weather",
    "web-page": "sign in",
    "half": "only part of what was asked",
    "elsewhere": "latitude 51",
    "round": "sends on and on",
    "another-host": "sends on to http://localhost:[0-9]+, which is another host and is not asked; .*sign in",
    "nowhere": "sends on to an address that can't be used .*file",
    "other-columns": "has no (T2M_MIN|temperature_2m_min)",
    "gzip-cut": "broke off",
    429: "refuses with 429",
}
PASSING = ("stalls", "drips", "cut", "nothing", "wide", "packed", "gzip-cut", 429, 500)


def test_days_that_a_forecast_lacks_at_its_ends_are_said_as_are_gaps(garden, server):
    """They were left out without a word."""
    server.way = "bare-ends"
    result = download_weather(garden, forecast=7)
    assert result.files["forecast"] | {"days": 15, "missing": 1} == result.files["forecast"]
    said = result.sentences()[0].replace("\u00a0", " ")
    assert "holds 15 days, " in said
    assert said.endswith(
        " Of these, days that still lack a figure: 1. Left out at its ends, as they lack temperatures or rain: 2 days."
    )


def test_a_forecast_that_is_a_day_short_is_refused(garden, server):
    """Past days that came along make none of the days ahead."""
    server.way = "one-less"
    with pytest.raises(WeatherError, match="10 days ago to 7 days on were asked; missing: 1 day;"):
        download_weather(garden, forecast=7)


@pytest.mark.parametrize(
    ("way", "what", "says"),
    [
        ("twice", {"forecast": 7}, "missing: 1 day;"),
        ("twice", {"years": (2024, 2024)}, "it has 2024-12-31 twice;"),
        ("endless", {"forecast": 7}, "missing: 1 day;"),
        ("no-rain", {"years": (2024, 2024)}, "it has no PRECTOTCORR;"),
        ("exchanged", {"forecast": 7}, "lowest temperature of a day is above the highest;"),
        ("exchanged", {"years": (2024, 2024)}, "lowest temperature of a day is above the highest;"),
        ("fahrenheit", {"forecast": 7}, "a maximum air temperature is 86 °C, as it says;"),
        ("fahrenheit", {"years": (2024, 2024)}, "a maximum air temperature is 86 °C, as it says;"),
        ("below-nothing", {"forecast": 7}, "a rain is -1.5 mm, as it says;"),
        ("below-nothing", {"years": (2024, 2024)}, "a rain is -1.5 mm, as it says;"),
        ("too-damp", {"forecast": 7}, "a maximum relative humidity is 100.5 %, as it says;"),
        ("too-damp", {"years": (2024, 2024)}, "a mean relative humidity is 100.5 %, as it says;"),
        ("no-units", {"forecast": 7}, "something else than weather"),
        ("one-for-all", {"forecast": 7}, "something else than weather"),
        ("too-long", {"forecast": 7}, "something else than weather"),
        ("true", {"forecast": 7}, "something else than weather"),
        ("old", {"forecast": 7}, r"gives days to \d{4}-\d\d-\d\d, and today is .*date right\?"),
    ],
)
def test_what_no_garden_could_be_replayed_with_is_not_written(way, what, says, garden, server):
    server.way, before = way, files(garden)
    server.today -= dt.timedelta(days=2 * (way == "old"))
    with pytest.raises(WeatherError, match=says) as caught:
        download_weather(garden, **what)
    assert files(garden) == before
    for offered in re.findall(r"to be saved as a file: (\S+)", str(caught.value)):
        assert "latitude=" in offered
    if way == "old":  # a day less is today's elsewhere
        server.today += dt.timedelta(days=1)
        assert download_weather(garden, **what).files["forecast"]["days"] == 17


@pytest.mark.parametrize(("pause", "tries"), [("20", 3), ("21", 1), ("\u00b2", 3)])
def test_a_service_that_asks_for_a_long_pause_is_not_asked_again(pause, tries, garden, server, monkeypatch):
    monkeypatch.setattr(asking.time, "sleep", lambda seconds: None)
    server.way, server.pause = 429, pause
    with pytest.raises(WeatherError, match="refuses with 429"):
        download_weather(garden, forecast=7)
    assert len(server.asked) == tries


@pytest.mark.parametrize(("way", "says"), WRONG.items())
@pytest.mark.parametrize("what", [{"years": (2024, 2024)}, {"forecast": 10}, {"years": (2024, 2024), "forecast": 10}])
def test_what_goes_wrong_is_one_message_and_changes_nothing(way, says, what, garden, server, monkeypatch):
    """Of both together, the second only goes wrong; neither is written then. The service's own pause is kept."""
    waits, sleep = [], asking.time.sleep
    if (
        way == 429
    ):  # a server that stalls sleeps by the same clock, in a thread of its own, be it one of the test before
        ours = threading.get_ident()
        monkeypatch.setattr(
            asking.time, "sleep", lambda s: waits.append(s) if threading.get_ident() == ours else sleep(s)
        )
    if len(what) == 2 and way in PASSING:
        server.way = ["whole", way, way, way]
    elif len(what) == 2 and way == "round":
        server.way = ["whole", *["round"] * 10]
    else:
        server.way = ["whole", way] if len(what) == 2 else way
    before = files(garden)
    with pytest.raises(WeatherError, match=says) as caught:
        download_weather(garden, **what, timeout=0.1 if way == "drips" else 0.3)
    message = str(caught.value)
    assert "no file was changed" in message
    assert "\n" not in message
    assert message.startswith("NASA POWER: " if "forecast" not in what else "Open-Meteo: ")
    assert files(garden) == before
    tries = 3 if way in PASSING else 6 if way == "round" else 1
    assert len(server.asked) == tries + len(what) - 1
    assert waits == ([3.0, 3.0] if way == 429 else [])


@pytest.mark.parametrize("way", ["uneven", "other-unit", "cut-silently"])
@pytest.mark.parametrize("what", [{"years": (2024, 2024)}, {"forecast": 10}])
def test_what_is_almost_weather_is_refused(way, what, garden, server):
    if way == "uneven" and "years" in what:
        return
    server.way = way
    before = files(garden)
    with pytest.raises(WeatherError, match="something else|in °F|broke off"):
        download_weather(garden, **what)
    assert files(garden) == before


def test_what_may_pass_is_tried_again_and_a_moved_service_is_followed(garden, server):
    server.way = [503, "cut", "whole"]
    assert download_weather(garden, years=(2024, 2024)).files["weather"]["days"] == 366
    assert len(server.asked) == 3
    server.way = "gzip"
    assert download_weather(garden, years=(2023, 2024)).files["weather"]["new"] == 365
    server.way = "moved"
    assert download_weather(garden, forecast=2).files["forecast"]["days"] == 12


def test_offline_is_said_plainly_with_an_address_for_a_browser(garden, server):
    before = files(garden)
    with pytest.raises(WeatherError, match="is this computer connected") as caught:
        download_weather(garden, years=(2024, 2024), power_address="http://127.0.0.1:9", timeout=1.0)
    assert "http://127.0.0.1:9/api/temporal/daily/point?parameters=T2M_MAX" in str(caught.value)
    with pytest.raises(WeatherError, match="Open-Meteo: can't be asked: its address nonsense can't be used"):
        download_weather(garden, forecast=1, forecast_address="nonsense")
    with pytest.raises(
        WeatherError, match="/v1/forecast can't be used .* or as PANBUDGET_FORECAST_ADDRESS in the envi"
    ):
        download_weather(garden, forecast=1, forecast_address="ftp://127.0.0.1")
    assert files(garden) == before


@pytest.mark.parametrize("who", ["me:secret@", "me:sec/secret@", "me:secret?@", "me:sec\nsecret@"])
@pytest.mark.parametrize("where", ["http://{who}127.0.0.1:9", "{who}127.0.0.1:9", "http://{who}127.0.0.1:port"])
def test_who_asks_and_the_password_are_shown_nowhere(who, where, garden, server):
    with pytest.raises(WeatherError) as caught:
        download_weather(garden, forecast=1, forecast_address=where.format(who=who), timeout=1.0)
    assert "sec" not in str(caught.value) and "PANBUDGET_FORECAST_ADDRESS in the environment" in str(caught.value)
    assert "me:" not in str(caught.value)


def test_who_asks_is_not_kept_in_what_is_downloaded(garden, server):
    named = server.address.replace("//", "//me:secret@")
    download_weather(garden, years=(2024, 2024), forecast=1, power_address=named, forecast_address=named)
    for name in ("garden-weather.csv", "garden-forecast.csv"):
        assert b"secret" not in files(garden)[name] and "…@127.0.0.1".encode() in files(garden)[name]


def test_light_rain_of_a_forecast_is_taken_for_what_it_is(garden, server):
    """Its unit was asked for; without it in the header, light rain was refused as centimetres."""
    download_weather(garden, forecast=10)
    path = garden.parent / "garden-forecast.csv"
    about, rows = path.read_text(encoding="utf-8").split("\ndate", 1)
    table = pd.read_csv(io.StringIO("date" + rows), index_col="date")
    name = next(column for column in table if column.startswith("rain"))
    table[name] = [1.36, 0.47, 0.53, 0.21, 0.33, 0.97, 0.11, 0.67, 0.83, 0.19, *[0.37] * 20][: len(table)]
    path.write_text(f"{about}\n{table.to_csv()}", encoding="utf-8")
    assert read_weather(path, SITE).daily["rain"].max() == 1.36


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        ({}, "nothing to download"),
        ({"years": (1980, 2000)}, "1980 to 2000 can't be"),
        ({"years": (2001, 2000)}, "2001 to 2000"),
        ({"years": (2001, 2999)}, "2999"),
        ({"forecast": 0}, "0 can't be"),
        ({"forecast": 17}, "from 1 to 16"),
        ({"years": (2000, 2000), "file": ""}, "not a file's name"),
    ],
)
def test_what_can_not_be_asked_is_refused_before_anything_is(wish, says, garden, server):
    with pytest.raises(ScenarioError, match=says):
        download_weather(garden, **wish)
    assert not server.asked


@pytest.mark.parametrize(
    ("file", "says"),
    [
        ("x" * 300 + ".csv", "(File name too long|The filename|No such file)"),
        ("garden.toml/x.csv", "(Not a directory|its folder is not there)"),
        ("none/such.csv", "its folder is not there"),
        ("a\0b.csv", "null"),
        ("a\x1b[2J.csv", "letter that can't be seen"),
        ("a\nb.csv", "a line break"),
        ("a\tb.csv", "a line break"),
    ],
)
def test_a_file_that_can_not_be_there_is_refused_before_anything_is_asked(file, says, garden, server):
    """The service was asked first, for a minute where there is no network."""
    with pytest.raises(OutputError, match=f"can't be written.*{says}"):
        download_weather(garden, years=(2000, 2000), file=file)
    assert not server.asked


def test_the_earliest_year_and_the_longest_forecast_are_asked_for(garden, server):
    assert download_weather(garden, years=(1981, 1981), forecast=16).files["forecast"]["days"] == 26


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("longitude = -6.1\n", "", "site.longitude is missing; add a line under"),
        ("latitude = 38.6", "latitude = 138.6", "site.latitude"),
        ("[site]", "[plot]", "site is missing"),
    ],
)
def test_a_place_that_is_not_whole_is_told(old, new, says, garden, server):
    garden.write_text(GARDEN.replace(old, new), encoding="utf-8")
    with pytest.raises(ScenarioError, match=says):
        download_weather(garden, years=(2024, 2024))
    assert not server.asked


def test_a_file_of_somebody_elses_or_of_another_place_stays(garden, server):
    other = garden.parent / "garden-weather.csv"
    other.write_text("date,tmin,tmax\n", encoding="utf-8")
    with pytest.raises(WeatherError, match="no download of NASA POWER"):
        download_weather(garden, years=(2024, 2024))
    other.unlink()
    download_weather(garden, years=(2024, 2024))
    garden.write_text(garden.read_text(encoding="utf-8").replace("38.6", "39.2"), encoding="utf-8")
    with pytest.raises(WeatherError, match="is of latitude 38.6, which is not at the site"):
        download_weather(garden, years=(2023, 2024))
    assert download_weather(garden, years=(2024, 2024), file="other.csv").files["weather"]["file"] == "other.csv"
    (garden.parent / "garden-forecast.csv").write_text("mine\n", encoding="utf-8")
    with pytest.raises(WeatherError, match="no download of Open-Meteo"):
        download_weather(garden, forecast=2)


def test_a_file_in_other_units_stays(garden, server):
    download_weather(garden, years=(2024, 2024))
    file = garden.parent / "garden-weather.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("MJ/m^2/day", "kW-hr/m^2/day"), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"other units .*\(radiation in kW-hr/m\^2/day\)"):
        download_weather(garden, years=(2023, 2024))


def test_a_file_that_a_fallback_names_is_extended_and_the_garden_stays(garden, server):
    text = GARDEN + '[[weather.fallback]]\nfile = "grid.csv"\n'
    garden.write_text(text, encoding="utf-8")
    download_weather(garden, years=(2024, 2024), file="grid.csv")
    assert garden.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_a_garden_without_weather_gets_the_table(tmp_path, server, ends):
    path = tmp_path / "garden.toml"
    text = GARDEN[: GARDEN.index("[weather]")] + "[season]\nstart = 2024-05-01\nend = 2025-06-01\n"
    path.write_bytes(text.replace("\n", ends).encode())
    result = download_weather(path, years=(2024, 2024), forecast=1)
    content = path.read_bytes().decode()
    assert content.count("\r\n") == (content.count("\n") if ends == "\r\n" else 0)
    assert tomllib.loads(content)["weather"] == {
        "file": "garden-weather.csv",
        "forecast": {"file": "garden-forecast.csv"},
    }
    assert any("1 May 2024 to 1 June 2025, is not among these days" in line for line in result.lines)


@pytest.mark.parametrize("weather", ["weather = 3", "weather.columns.tmin = 'x'\nweather.trust = []"])
def test_where_the_garden_can_not_be_changed_nothing_is_written(weather, garden, server):
    garden.write_text(f"{weather}\n{GARDEN[: GARDEN.index('[weather]')]}", encoding="utf-8")
    before = files(garden)
    with pytest.raises(ScenarioError, match=r"could not be changed under \[weather"):
        download_weather(garden, years=(2024, 2024), forecast=2)
    assert files(garden) == before


@pytest.mark.parametrize(
    "weather", ['weather = { file = "own.csv" }  # mine', 'weather.file = "own.csv"  # mine\nweather.format = "auto"']
)
def test_weather_in_a_line_or_in_dotted_keys_takes_a_forecast_beside_it(weather):
    made = edited(f"{weather}\n[site]\n", ("weather", "forecast"), {"file": "ahead.csv"}, file="garden.toml")
    assert tomllib.loads(made)["weather"]["forecast"] == {"file": "ahead.csv"}
    assert "# mine" in made


def test_a_folder_that_can_not_be_written_is_told(garden, server):
    with pytest.raises(OutputError, match="can't be written"):
        download_weather(garden, years=(2024, 2024), file="none/such.csv")
    assert sorted(files(garden)) == ["garden.toml"]


def test_the_demo_takes_a_download_and_loads(tmp_path, server):
    """Every line of a long commented scenario stays, but for the file's."""
    source = __import__("pathlib").Path(__file__).resolve().parents[2] / "simulator/panbudget/templates/garden.toml"
    text = source.read_text(encoding="utf-8").replace("# longitude", "longitude", 1)
    path = tmp_path / "garden.toml"
    path.write_text(text, encoding="utf-8")
    download_weather(path, years=(2024, 2024), forecast=3)
    assert load_scenario(path).weather.forecast.file == "garden-forecast.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    lacking = [line for line in text.splitlines() if line not in lines]
    assert [line.split()[0] for line in lacking] == ["file"]


def test_an_error_of_every_kind_is_one_that_a_person_can_read():
    """Each text of the table can be made; and httpx is imported by one module only, when it asks."""
    for code in asking.TABLE["problems"]:
        values = dict.fromkeys(
            ("why", "address", "missing", "first", "last", "name", "unit", "expected", "status", "today"), "x"
        )
        error = asking.Service("power").refusal(code, **values, latitude=1.0, longitude=2.0, whole=40.0)
        assert isinstance(error, PanbudgetError)
        assert "{" not in str(error)
