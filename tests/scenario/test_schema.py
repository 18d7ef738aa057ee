"""The scenario's JSON schema: it lets through what the program lets through, and says how each key is written."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from pathlib import Path

import pytest

from panbudget.scenario.schema import schema
from tests.scenario.test_garden import SOUND, changed

jsonschema = pytest.importorskip("jsonschema")
ROOT = Path(__file__).resolve().parents[2]
TEMPLATE = ROOT / "simulator" / "panbudget" / "templates" / "garden.toml"
TANK = {"kind": "tank", "volume": "1 m^3", "footprint": "0.8 m^2", "outlet_height": "2 m"}
BED = "controller/upper/bed/tomatoes"


def as_json(description):
    """Dates as an editor's language server hands them on: text."""
    return json.loads(json.dumps(description, default=lambda day: dt.date.isoformat(day)))


def errors(description):
    return [error.message for error in jsonschema.Draft202012Validator(schema()).iter_errors(as_json(description))]


def test_it_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("path", [ROOT / "scenarios" / "terraces.toml", TEMPLATE], ids=["demo", "template"])
def test_the_demo_and_the_template_keep_to_it(path):
    assert errors(tomllib.loads(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("supply/spring", TANK),
        (f"{BED}/plants", {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.45}),
        (f"{BED}/plants", {"plant_factor": 0.5, "root_depth": "60 cm", "depletion": 0.45}),
        (f"{BED}/soil", {"field_capacity": 0.28, "wilting_point": 0.13}),
        (f"{BED}/soil", {"layers": [{"name": "loam", "thickness": "30 cm"}]}),
        ("fault", [{"kind": "leak", "loss": "300 mL/day"}]),
        ("supply/spring/right", {"season": {"start": "04-01", "end": "10-31"}}),
        ("what_if", {"heat": {"start": dt.date(2025, 7, 8), "warmer": "+5 K"}}),
    ],
)
def test_every_kind_of_part_keeps_to_it(path, value):
    assert errors(changed(path, value)) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("supply/spring", {**TANK, "pressure": "1 bar"}),
        ("supply/spring/pressure", 150),
        ("controller/upper/valve/swin", "900 g"),
        ("controller/upper/pan/evaporation", "magic"),
        (f"{BED}/uniformity", 1.2),
        ("fault", [{"kind": "leak", "share": 0.5}]),
    ],
)
def test_what_the_program_refuses_by_its_form_the_schema_refuses(path, value):
    assert errors(changed(path, value))
    assert errors(SOUND) == []


def test_keys_say_how_they_are_written():
    """Quantities are text with examples of units; defaults are as a file would write them."""
    pan = schema()["$defs"]["Pan"]["properties"]
    assert pan["depth"] == {**pan["depth"], "type": "string", "examples": ["20 mm", "0.8 in"]}
    assert "floor to rim" in pan["depth"]["description"]
    assert pan["freeboard"]["default"] == "20 mm"
    assert "null" not in json.dumps(schema())


def test_the_template_tells_an_editor_where_it_is():
    assert TEMPLATE.read_text(encoding="utf-8").splitlines()[0] == "#:schema ./garden.schema.json"


def test_every_key_says_what_it_means_but_for_tables_which_have_keys_of_their_own():
    for name, part in {"Scenario": schema(), **schema()["$defs"]}.items():
        for key, about in part["properties"].items():
            table = "$ref" in about or "oneOf" in about
            assert about.get("description") or table or key == "kind", (name, key)
