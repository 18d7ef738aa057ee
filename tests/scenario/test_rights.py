"""The right and the statement's ranges in a scenario: what is read, what is refused and how it is said."""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from pathlib import Path

import pytest

from panbudget.errors import ScenarioError
from panbudget.scenario.garden import scenario_from
from panbudget.scenario.rights import LicensedSeason
from tests.scenario.test_garden import changed

ROOT = Path(__file__).resolve().parents[2]


def right(**keys):
    return changed("supply/spring/right", keys)


def test_a_right_comes_out_in_engine_units():
    description = right(
        volume="0.05 acre-foot", rate="3 gpm", area="0.1 acre", season={"start": "10-01", "end": "04-30"}
    )
    read = scenario_from(description).supply["spring"].right
    assert read.volume == pytest.approx(0.05 * 1233481.83754752)
    assert read.rate == pytest.approx(3 * 60 * 3.785411784)
    assert read.area == pytest.approx(404.68564224)
    assert read.season.start == (10, 1)
    assert (read.volume_unit, read.water_year_start) == ("L", 1)


def test_papers_may_be_of_today_and_of_tomorrow_elsewhere():
    description = right(priority_date=TODAY.year)
    description["supply"]["spring"]["meter"] = {"calibration_date": TODAY + dt.timedelta(days=1)}
    assert scenario_from(description).supply["spring"].right.priority_date == str(TODAY.year)


def test_a_licensed_season_holds_both_ends_and_may_run_over_new_year():
    summer = LicensedSeason.model_validate({"start": "04-01", "end": "10-31"})
    assert [summer.holds(*day) for day in ((3, 31), (4, 1), (10, 31), (11, 1))] == [False, True, True, False]
    winter = LicensedSeason.model_validate({"start": "11-01", "end": "02-29"})
    assert [winter.holds(*day) for day in ((10, 31), (11, 1), (1, 5), (2, 29), (3, 1))] == [
        False,
        True,
        True,
        True,
        False,
    ]


TODAY = dt.date.today()
BAD = [
    ("supply/spring/meter", {"calibration_date": TODAY + dt.timedelta(days=3)}, "calibration_date", "has not come yet"),
    ("supply/spring/right", {"priority_date": TODAY + dt.timedelta(days=3)}, "priority_date", "not come yet"),
    ("supply/spring/right", {"priority_date": TODAY.year + 1}, "priority_date", "no year that is past"),
    ("supply/spring/meter", {"accuracy": 0.51}, "meter.accuracy", "at most 0.5"),
    ("supply/spring/meter", {"multiplier": 0}, "meter.multiplier", "above 0"),
    ("supply/spring/meter", {"serial": "1"}, "serial", 'did you mean "serial_number"'),
    ("supply/spring/right", {"priority_date": 1.5e3}, "priority_date", "no year that is past"),
    ("supply/spring/right", {"priority_date": True}, "right.priority_date", ""),
    ("supply/spring/right", {"adress": "A"}, "adress", 'did you mean "address"'),
    ("supply/spring/right", {"volume": "60 kg"}, "right.volume", "expected: a volume"),
    ("supply/spring/right", {"volume": "10000001 m^3"}, "right.volume", "at most 10000000000 L"),
    ("supply/spring/right", {"area": "10001 ha"}, "right.area", "at most"),
    ("supply/spring/right", {"volume": "0 L"}, "right.volume", "at least 0.001 L"),
    ("supply/spring/right", {"rate": "2 L"}, "right.rate", "expected: a flow"),
    ("supply/spring/right", {"volume_unit": "bucket"}, "right.volume_unit", "hundred-cubic-feet"),
    ("supply/spring/right", {"water_year_start": 13}, "right.water_year_start", "at most 12"),
    ("supply/spring/right", {"season": {"start": "02-30", "end": "10-31"}}, "right.season.start", "no day of any year"),
    ("supply/spring/right", {"season": {"start": "April", "end": "10-31"}}, "right.season.start", "04-01"),
    ("supply/spring/right", {"season": {"start": "04-01"}}, "right.season.end", "is missing"),
    ("supply/spring/right", {"holdr": "A"}, "holdr", 'did you mean "holder"'),
    ("supply/spring/right", {"holder": "A" * 201}, "right.holder", ""),
    ("supply/spring/right", {"decimals": 1.5}, "right.decimals", "whole number"),
    ("supply/spring/right", {"further": {"b": {"beds": []}}}, "further.b.beds", "at least 1"),
    (
        "supply/spring/right",
        {"further": {"b": {"beds": ["upper/tomatos"]}}},
        "b.beds[0]",
        'did you mean "upper/tomatoes"',
    ),
    ("supply/spring/right", {"further": {"b/c": {"beds": ["upper/tomatoes"]}}}, "further.b/c", "no usable name"),
    (
        "supply/spring/right",
        {"further": {"b": {"beds": ["upper/tomatoes"]}, "c": {"beds": ["upper/tomatoes"]}}},
        "further.c.beds[0]",
        "named twice",
    ),
    ("uncertainty", {"exposure": [1.1, 1.2]}, "uncertainty.exposure", "must hold 1"),
    ("uncertainty", {"exposure": [0.9]}, "uncertainty.exposure", "two factors"),
    ("uncertainty", {"pressure": ["a", "b"]}, "uncertainty.pressure", "two factors"),
    ("uncertainty", {"samples": 3}, "uncertainty.samples", "at least 20"),
    ("uncertainty", {"interval": 1.0}, "uncertainty.interval", "at most 0.99"),
    ("statement", {"split": "crop"}, "statement.split", '"area"'),
    ("uncertainty", {"exposur": [0.9, 1.1]}, "exposur", 'did you mean "exposure"'),
    ("statement", {"exposure": [0.9, 1.1]}, "statement.exposure", "is now a key of [uncertainty]: move it there"),
    ("statement", {"samples": 100}, "statement.samples", "is now a key of [uncertainty]: move it there"),
    ("uncertainty", {"controller": {"uper": {}}}, "uncertainty.controller.uper", 'did you mean "upper"'),
    (
        "uncertainty",
        {"controller": {"upper": {"exposure": [0.9, 1.1], "openings": [0.9, 1.1]}}},
        "uncertainty.controller.upper.openings",
        "stands beside exposure: give one of the two",
    ),
    (
        "uncertainty",
        {"controller": {"upper": {"refill_flow": [0.9, 1.1], "litres": [0.9, 1.1]}}},
        "uncertainty.controller.upper.litres",
        "stands beside refill_flow: give one of the two",
    ),
]


@pytest.mark.parametrize(("path", "value", "place", "said"), BAD)
def test_what_makes_no_sense_is_one_line_that_names_the_place(path, value, place, said):
    with pytest.raises(ScenarioError) as caught:
        scenario_from(changed(path, value), "garden.toml")
    text = str(caught.value)
    assert len(text.splitlines()) == 1, text
    assert place in text
    assert said in text


def test_every_commented_key_of_the_template_is_known():
    """Take the "# " away as the file says one may: the right and the ranges are accepted."""
    text = (ROOT / "simulator" / "panbudget" / "templates" / "garden.toml").read_text(encoding="utf-8")
    lines, inside = [], False
    for line in text.splitlines():
        if "`panbudget statement`" in line:
            inside = True
        elif line.startswith(("# One controller", "# What if", "# What goes wrong", "# In place of the mains")):
            inside = False
        match = re.match(r"# (\[[\w.-]+\]|\w+ = .*)", line)
        lines.append(match.group(1) if inside and match else line)
    scenario = scenario_from(tomllib.loads("\n".join(lines)))
    given = scenario.supply["house"].right
    assert set(type(given).model_fields) == given.model_fields_set
    assert set(type(scenario.supply["house"].meter).model_fields) == scenario.supply["house"].meter.model_fields_set
    assert set(type(scenario.statement).model_fields) == scenario.statement.model_fields_set
    assert set(type(scenario.uncertainty).model_fields) == scenario.uncertainty.model_fields_set | {"controller"}
    assert scenario.uncertainty == scenario_from(tomllib.loads(text)).uncertainty  # shown are the defaults
    assert scenario.statement == scenario_from(tomllib.loads(text)).statement  # shown are the defaults
