"""Numbers in the units that a person thinks in: what is written, what stays metric, and how the units are chosen."""

from __future__ import annotations

import json
import pickle
import re

import pytest

from panbudget import load_scenario, replay, words
from panbudget.errors import ScenarioError
from panbudget.reports.pages import table_of, words_of
from panbudget.scenario.schema import schema
from panbudget.units import system_of
from panbudget.weather.messages import problem
from panbudget.words import SHOWN, InUnits, amount, bare, heading, printed, say, units_shown
from tests.conftest import garden_in

# published factors: NIST SP 811 (2008), appendix B.8, to the digits printed there
PUBLISHED = {
    "depth": 25.4,
    "height": 0.3048,
    "area": 9.290304e-2,
    "weight": 0.45359237,
    "volume": 3.785412,
    "jug": 29.57353,
    "pressure": 6.894757,
    "speed": 0.44704,
}
# a metric unit, as text has it after a number, in a heading's brackets, or as a word
METRIC = re.compile(
    r"(?:\d[\u00a0\u202f ]|[\[(]|, |\bin )(?:mm|cm|m|kg|g|L|mL|kPa|m²|m³|°C|L/h|mL/min|m/s|mm/\w+|K)(?![\w²³/])"
    r"|°C·|\b(?:lit(?:re|er)|millimetre|centimetre|kilogram|tonne)s?\b"
)
US = re.compile(r"(?:\d\u00a0|\.\d+ |[\[(])(?:in|ft|lb|gal|fl oz|psi|ft²|°F|gal/h|mph|in/\w+)(?![\w²/])|\bgallons?\b")
# what a US page may have: the unit of the file's own columns, and the sizes of a page's own layout
FILE_UNITS = re.compile(r"units that nobody states.*?(?=<|$)|no unit")


@pytest.mark.parametrize(
    "key", ["temperature-range/small", "temperature-range/large", "stations-mixed", "thermometer-sun"]
)
def test_what_a_caution_says_of_temperatures_is_in_the_units_shown(key):
    """A page shows cautions; what refuses a file speaks in the file's own units."""
    facts = {"middle": 5.0, "least": 5.0, "most": 5.0, "daily": 5.0, "over_two": 5.0, "share": 1.0, "count": 3}
    facts |= {"scale": "°F", "span": "1 day"}
    assert "5.0 °C" in problem(key, **facts).found
    with units_shown("US"):
        shown = problem(key, **facts)
    assert "9.0 °F" in shown.found and not METRIC.search(shown.found + shown.expected)


def plain_text(page: str) -> str:
    """Return what a page says, without its style, pictures and tags."""
    return re.sub(r"<[^>]+>", " ", re.sub(r"<style.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL))


@pytest.fixture(scope="module")
def seasons(tmp_path_factory):
    """The same garden and days in US and in metric units."""
    folder = tmp_path_factory.mktemp("units")
    metric = replay(garden_in(folder, days=12))
    us = replay(garden_in(folder, {"show": {"units": "US"}}, days=12))
    return {"US": us, "metric": metric}


@pytest.mark.parametrize(("kind", "size"), PUBLISHED.items())
def test_a_unit_is_as_large_as_published(kind, size):
    assert SHOWN[kind].size == pytest.approx(size, rel=1e-6)


@pytest.mark.parametrize("kind", [kind for kind in SHOWN if kind])
def test_a_us_figure_tells_no_less_than_the_metric_one(kind):
    """A step of its last digit is no larger than one of the metric figure's, and one digit fewer would be too coarse."""
    kept = SHOWN[kind]
    assert kept.size * 10.0**-kept.more <= 1.0
    assert kept.size * 10.0 ** (1 - kept.more) > 1.0


@pytest.mark.parametrize(
    ("value", "kind", "form", "metric", "us"),
    [
        (425.4, "depth", "", "425 mm", "16.75 in"),
        (1.0, "depth", "0", "1 mm", "0.04 in"),
        (9.96, "depth", "", "10.0 mm", "0.392 in"),
        (0.1, "depth", "1", "0.1 mm", "0.004 in"),
        (2.0, "flow", "g", "2 L/h", "0.5283 gal/h"),
        (35.0, "temperature", ".1f", "35.0 °C", "95.0 °F"),
        (-5.0, "warming", "signed", "−5 °C", "−9 °F"),
        (5.0, "temperature", "signed", "+5 °C", "+9 °F"),
        (120.0, "area", ".3g", "120 m²", "1290 ft²"),
        (0.2, "area", ",3", "0.200 m²", "2.15 ft²"),
        (None, "volume", "", "– L", "– gal"),
        (150.0, "pressure", "g", "150 kPa", "21.76 psi"),
    ],
)
def test_an_amount_in_both_systems(value, kind, form, metric, us):
    with units_shown("metric"):
        assert amount(value, kind, form).replace("\u00a0", " ") == metric
    with units_shown("US"):
        assert amount(value, kind, form).replace("\u00a0", " ") == us


def test_a_text_made_before_anybody_asks_knows_both():
    text = say("{deep:depth .1f} of {8:depth g}; {:volume name} in {unit}", deep=25.4, unit=amount(1.0, "volume"))
    assert text == "25.4 mm of 8 mm; litres in 1.0\u00a0L"
    again = pickle.loads(pickle.dumps(text))
    for each in (text, again, say("{inner}", inner=text), words.joined("", [text]), words.joined("", iter([text]))):
        with units_shown("US"):
            assert f"{each}" == str(each) == "1.000 in of 0.315 in; gallons in 0.26\u00a0gal"
    assert json.dumps(text, ensure_ascii=False) == '"25.4 mm of 8 mm; litres in 1.0\u00a0L"'
    assert not isinstance(say("no number"), InUnits)


def test_a_heading_names_a_kind_and_its_column_is_in_that():
    with units_shown("US"):
        assert heading("supplied [depth]") == ("supplied [in]", "depth")
        assert bare(25.4, *heading("supplied [depth]")[1:], 0) == "1.00"
        assert heading("[volume name]") == ("gallons", "volume")
        assert heading("a bed [mine]") == ("a bed [mine]", "")


def test_what_away_tries_is_as_long_in_inches_as_a_ruler_reads():
    """20 mm are 0.7874 in, which nobody sets."""
    (freeboard,) = (row for row in words.packaged("studies/away/changes.toml")["changes"] if row["kind"] == "freeboard")
    with units_shown("US"):
        assert [say(freeboard["what"], size=size, at="upper") for size in freeboard["sizes"]] == [
            "0.79 in more freeboard at upper",
            "1.6 in more freeboard at upper",
        ]


def test_degree_days_of_a_heat_wave_are_in_the_units_shown():
    """10 degrees above 35 °C for a day are 18 above 95 °F."""
    wave = {"when": "3 July 2025", "days": 1, "peak_c": 45.0, "degree_days": 10.0}
    shown = {"metric": ("°C", "45.0", "10.0"), "US": ("°F", "113.0", "18.0")}
    for system, (unit, peak, degree_days) in shown.items():
        with units_shown(system):
            table = table_of(words_of("check")[0]("heat", table=[wave]).table)
        assert table.headings[2:] == (f"highest tmax, {unit}", f"{unit}·days above the limit")
        assert table.rows[0][2:] == (peak, degree_days)


def test_differences_are_those_of_printed_numbers():
    with units_shown("US"):
        first, second = printed(100.0, "depth"), printed(90.3, "depth")
        assert (bare(100.0, "depth", 0), bare(90.3, "depth", 0)) == ("3.94", "3.56")
        assert bare(first - second, "depth", "signed") == "+0.38"
    assert printed(100.4, "depth") == 100.0


@pytest.mark.parametrize(
    ("text", "system"),
    [
        ("18 in", "US"),
        ("2 L/h", "metric"),
        ("130 ft²", "US"),
        ("5 °F", "US"),
        ("33 mL/min", "metric"),
        ("10 mH2O", "metric"),
        ("0.5 gal/h", "US"),
        ("90 min", ""),
        ("A bed 2 ft wide", ""),
        ("2 ft wide", ""),
        ("06:30", ""),
        ("1.2 dS/m", ""),
    ],
)
def test_of_which_system_a_quantity_is(text, system):
    assert system_of(text) == system


PAN = {"controller": {"upper": {"pan": {"depth": "7 in", "freeboard": "0.8 in"}}}}


@pytest.mark.parametrize(
    ("overlay", "units"),
    [({}, "metric"), ({"show": {"units": "US"}}, "US"), (PAN, "metric"), ({**PAN, "show": {"units": "US"}}, "US")],
)
def test_the_units_shown_are_asked_for_or_the_files(tmp_path, overlay, units):
    """What is laid over a garden asks for other units or leaves them as they are, in whatever units it is written."""
    assert garden_in(tmp_path, overlay, days=3).units == units


GARDEN = """
[site]
latitude = 40.0
elevation = "{elevation}"
[weather]
file = "weather.csv"
[season]
start = 2025-06-01
end = 2025-06-02
{show}
[supply.house]
pressure = "{pressure}"
[controller.a]
supply = "house"
pan = {{ vessels = [{{ diameter = "20 in" }}], depth = "{depth}" }}
valve = {{ swing = "{swing}", refill = {{ flow = "2 L/h" }} }}
[controller.a.bed.b]
area = "9 m^2"
emitters = {{ count = 4, flow = "2 L/h" }}
soil = "loam"
plants = "tomato"
planted = 2025-05-01
[variant.shown]
show.units = "US"
"""
VALUES = {"elevation": "10 m", "pressure": "20 psi", "depth": "7 in", "swing": "2 lb", "show": ""}


@pytest.mark.parametrize(
    ("changes", "units"),
    [
        ({}, "metric"),
        ({"elevation": "30 ft"}, "US"),
        ({"elevation": "30 ft", "show": '[show]\nunits = "metric"'}, "metric"),
    ],
)
def test_the_units_that_a_file_uses_most_are_guessed_and_a_tie_is_metric(tmp_path, changes, units):
    path = tmp_path / "garden.toml"
    path.write_text(GARDEN.format(**VALUES | changes), encoding="utf-8")
    scenario = load_scenario(path)
    assert scenario.units == units
    assert scenario.with_variant("shown").units == "US"
    assert scenario.with_variant("shown").sha256 == scenario.sha256


def test_unknown_units_and_keys_are_refused(tmp_path):
    path = tmp_path / "garden.toml"
    for wrong, message in (
        ('units = "imperial"', r'show.units = "imperial" must be one of "metric" or "US"'),
        ('unit = "US"', r'show.unit is no known key; did you mean "units"?'),
    ):
        path.write_text(GARDEN.format(**VALUES | {"show": f"[show]\n{wrong}"}), encoding="utf-8")
        with pytest.raises(ScenarioError, match=re.escape(message)):
            load_scenario(path)


def test_messages_about_a_garden_are_in_its_units(tmp_path):
    path = tmp_path / "garden.toml"
    for swing, expected in (("90 lb", "the pan holds 70.5 lb"), ("90 kg", "the pan holds 32 kg")):
        elevation = "30 ft" if "lb" in swing else "10 m"
        changes = {"swing": swing, "elevation": elevation, "pressure": "20 psi" if "lb" in swing else "1 bar"}
        path.write_text(GARDEN.format(**VALUES | changes), encoding="utf-8")
        with pytest.raises(ScenarioError) as error:
            load_scenario(path)
        assert expected in str(error.value)
        assert expected in str(pickle.loads(pickle.dumps(error.value)))


def test_the_schema_knows_the_units():
    described = schema()["$defs"]["Show"]["properties"]["units"]
    assert described["enum"] == ["metric", "US"]


def test_a_us_page_has_no_metric_unit_and_a_metric_page_no_us_one(seasons, tmp_path):
    for system, season in seasons.items():
        season.write(tmp_path / system)
        page = (tmp_path / system / "report.html").read_text(encoding="utf-8")
        assert f"size: {'Letter' if system == 'US' else 'A4'};" in page
        text = FILE_UNITS.sub("", plain_text(page))
        strays = [
            text[max(m.start() - 30, 0) : m.end() + 10] for m in (METRIC if system == "US" else US).finditer(text)
        ]
        assert not strays
        lines = "\n".join([repr(season), *season.sentences()])
        assert not (METRIC if system == "US" else US).search(lines), lines
    for name in ("daily.csv", "openings.csv", "beds.csv", "weeks.csv"):
        assert (tmp_path / "US" / name).read_bytes() == (tmp_path / "metric" / name).read_bytes()
    data = [json.loads((tmp_path / system / "season.json").read_text(encoding="utf-8")) for system in seasons]
    assert data[0] == data[1]


def test_both_pages_hold_the_same_numbers(seasons, tmp_path):
    """Each number of the table of beds, turned into mm or litres, lies within half a digit of each of the two."""
    tables = {}
    for system, season in seasons.items():
        season.write(tmp_path / system)
        page = (tmp_path / system / "report.html").read_text(encoding="utf-8")
        start = page.index(f"supplied [{'in' if system == 'US' else 'mm'}]")
        cells = re.findall(r"<td[^>]*>(.*?)</td>", page[start : page.index("</table>", start)])
        tables[system] = [cell.replace("\u202f", "").replace("−", "-") for cell in cells]
    pairs = [(m, u) for m, u in zip(tables["metric"], tables["US"], strict=True) if m != u]
    assert len(pairs) >= 8
    for metric, us in pairs:
        sizes = [kept.size for kept in (SHOWN["depth"], SHOWN["volume"])]
        digits = len(us.partition(".")[2])
        assert any(abs(float(us) * size - float(metric)) <= 0.5 + 0.5 * size * 10.0**-digits for size in sizes), (
            metric,
            us,
        )


def test_marks_of_a_us_axis_are_round_in_its_unit_and_what_is_drawn_is_metric(seasons):
    axes = {system: season.plot("supplied-against-needed")[0] for system, season in seasons.items()}
    assert axes["US"].get_ylabel() == "since the start [in]"
    assert axes["US"].get_lines()[0].get_ydata().tolist() == axes["metric"].get_lines()[0].get_ydata().tolist()
    marks = [mark / 25.4 for mark in axes["US"].get_yticks()]
    texts = [label.get_text().replace("−", "-") for label in axes["US"].get_yticklabels()]
    assert [float(text) for text in texts] == pytest.approx(marks, abs=1e-9)
    assert max(map(len, texts)) <= 5
