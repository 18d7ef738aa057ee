"""The template's faults: take the "# " away, as the file says one may, and they are accepted."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from panbudget.scenario import faults
from panbudget.scenario.garden import scenario_from

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
    assert shown == set().union(*(kind.model_fields for kind in faults.KINDS))
    for kind in faults.FAULT_KINDS:
        assert f'"{kind}"' in text
