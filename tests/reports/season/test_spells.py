"""What stands out in a record: said by `check`, on its page and a season's, and in JSON; no finding, and no caution."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from panbudget.reports.check.page import check_lines
from panbudget.reports.season.spells import spell_lines, stands_out
from panbudget.reports.writing import as_json, as_page
from panbudget.studies.check import check
from panbudget.weather.checks.spells import Spell, Still
from panbudget.words import units_shown

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def found():
    return check(ROOT / "scenarios" / "terraces.toml")


def test_the_invented_heat_wave_is_what_stands_out(found):
    """weather_samples/README.md: ten days of heat, 8 to 17 July, with dry wind; it stands in every line that heat bears on."""
    text = "\n".join(check_lines(found, everything=True)).replace("\u00a0", " ")
    for quantity in ("temperature, for the time of year", "humidity", "wind"):
        assert f"  {quantity}, 8 to 17 July 2025 (10 days): " in text
    assert "What stands out in the record, worth a look beside a neighbour's station; no fault by itself:" in text


def test_the_short_check_tells_only_what_is_clear(found):
    (line,) = [
        line.replace("\u00a0", " ") for line in check_lines(found) if line.startswith("Stands out in the record: ")
    ]
    assert (
        "the longest time without rain, 24 June to 21 August 2025 (59 days): 0 mm; like the rest it would be 71 mm; worth "
        "−70.6 mm of rain" in line
    )
    assert "temperature" not in line


def test_it_stands_on_both_pages_and_in_json_with_units(found):
    for result in (found, found.season):
        assert "What stands out in the record" in as_page(result)
        rows = json.loads(json.dumps(as_json(result)))["weather"]["stands_out"]
        wind = next(row for row in rows if row["quantity"] == "wind")
        assert (wind["first"], wind["last"], wind["unit"], wind["of"]) == (
            "2025-07-08",
            "2025-07-17",
            "m/s at 2 m",
            "ETo",
        )
        assert wind["worth_mm"] == pytest.approx(21.0, abs=0.1)  # moves only if the method does
    assert not any("stands out" in finding.message.lower() for finding in found.season.findings)
    assert not [caution for caution in found.weather.cautions if "stands" in caution.sentence]


def made(*clear, still=()):
    """Return a season of which the shares of what stands out are told, each clear or not."""
    spells = [
        Spell(
            "wind", f"2025-07-0{at + 1}", "2025-07-09", 5, 6.0, 2.0, "m/s at 2 m", "ETo", 900.0 * share, share, is_clear
        )
        for at, (share, is_clear) in enumerate(clear)
    ]
    return SimpleNamespace(stands_out=spells, still=list(still))


def test_of_several_that_are_clear_the_two_worth_most_are_told():
    (line,) = spell_lines(made((0.02, True), (-0.3, True), (0.1, True), (0.9, False)), everything=False)
    assert line.index("−270.0 mm of ETo (−30.0 %)".replace(" mm", "\u00a0mm")) < line.index("+90.0")
    assert "+18.0" not in line
    assert "+810" not in line
    assert spell_lines(made((0.9, False)), everything=False) == []
    assert spell_lines(made(), everything=True) == []


def test_rain_does_not_crowd_out_what_is_worth_less_of_the_season():
    season = made((0.02, True), (0.8, True), (0.9, True))
    season.stands_out[1:] = [
        spell._replace(of="rain", quantity=q) for spell, q in zip(season.stands_out[1:], ("wet", "dry"), strict=True)
    ]
    (line,) = spell_lines(season, everything=False)
    assert "the longest time without rain" in line
    assert "wind" in line
    assert "rain on a wet day" not in line


def test_still_gauges_have_a_line_each_and_units_are_those_shown():
    gauges = [Still("wind", 0.75, 0.0, (0, 23), 2.5, True), Still("rain", 0.98, 0.9, (), 0.254, False)]
    season = made((0.1, True), still=gauges)
    lines = [line.replace("\u00a0", " ") for line in spell_lines(season, everything=True)]
    assert lines[2].strip() == (
        "wind: nothing in 75 % of the records at night and 0 % by day (6 to 18 h by the sun), and never anything at 0, 23 h; "
        "the least above nothing is 2.5 m/s"
    )
    with units_shown("US"):
        lines = [line.replace("\u00a0", " ") for line in spell_lines(season, everything=True)]
    assert (
        "13 mph; like the rest it would be 4.5 mph" in lines[1]
        or "13.4 mph; like the rest it would be 4.5 mph" in lines[1]
    )
    assert lines[3].endswith("the least above nothing is 0.010 in")
    table = stands_out(season)[0].table
    assert list(table.columns) == ["what", "first", "last", "worth", "days", "mean", "rest"]
