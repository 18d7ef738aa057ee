"""The template's faults: take the "# " away, as the file says one may, and they are accepted."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import get_args

import pytest

from panbudget.errors import ScenarioError
from panbudget.scenario import faults
from panbudget.scenario.garden import scenario_from
from panbudget.scenario.problems import kinds_of
from panbudget.scenario.wishes import Owned

TEMPLATE = Path(__file__).resolve().parents[2] / "simulator" / "panbudget" / "templates" / "garden.toml"


def test_every_commented_fault_of_the_template_is_known():
    text = TEMPLATE.read_text(encoding="utf-8")
    lines, inside = [], False
    for line in text.splitlines():
        inside = line.startswith("# What goes wrong") or (inside and not line.startswith("# What if"))
        match = re.match(r"# (\[\[\w+\]\]|(?:\w+) = .*)", line)
        lines.append(match.group(1) if (inside or line.startswith("# salinity")) and match else line)
    scenario = scenario_from(tomllib.loads("\n".join(lines)))
    assert len(scenario.fault) == 8
    assert scenario.supply["house"].salinity == 0.8
    shown = set().union(*(fault.model_fields_set for fault in scenario.fault))
    assert shown == set().union(*(kind.model_fields for kind in get_args(faults.AnyFault)))
    for kind in (name for part in get_args(faults.AnyFault) for name in kinds_of(part)):
        assert f'"{kind}"' in text


@pytest.mark.parametrize("kind", [["leak"], {"of": "leak"}, 3, True])
def test_a_kind_that_is_no_text_is_refused(kind):
    described = tomllib.loads(TEMPLATE.read_text(encoding="utf-8")) | {"fault": [{"kind": kind}]}
    with pytest.raises(ScenarioError, match=r'fault\[0\]\.kind.* must be one of "clogged-refill"'):
        scenario_from(described)


def test_the_surface_of_what_is_owned_counts_each_vessel_once():
    """Two tubs of 50 by 40 cm side by side are one container of 0.4 m²."""
    tubs = Owned.model_validate(
        {"name": "tubs", "vessels": [{"length": "50 cm", "width": "40 cm", "count": 2}], "depth": "20 cm"}
    )
    assert tubs.area == pytest.approx(0.4)
