"""
Garden: the garden that a page is about, as it ran: pans, swings, refill emitters, beds and emitters, a row a bed.

Flows are as described: at the pressure that the person wrote.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from panbudget.reports.pages import texts
from panbudget.scenario.beds import Emitter
from panbudget.scenario.garden import Scenario
from panbudget.words import amount, litres, say


def gardens_of(result: Any) -> Mapping[str, Scenario]:
    """Return the gardens that a result is about, by their names where there are several."""
    gardens: Mapping[str, Scenario] = getattr(result, "gardens", None) or {"": result.scenario}
    return gardens


def garden_rows(gardens: Mapping[str, Scenario]) -> Iterator[dict[str, str]]:
    """
    Yield a row for each bed of some gardens; what its valve has stands in the row of its first bed.

    Parameters
    ----------
    gardens : mapping
        Name -> Scenario.
    """
    for title, scenario in gardens.items():
        for name, part in scenario.controller.items():
            pan, supply = part.pan, scenario.supply[part.supply]
            holds = litres(supply.volume) if supply.kind == "tank" else amount(supply.pressure, "pressure", "g")
            vessels = "; ".join(str(vessel.in_words) for vessel in pan.vessels)
            of_valve = {
                "valve": f"{title}: {name}" if title else name,
                "pan": say(texts()["pan"]["row"], vessels=vessels, pan=pan),
                "swing": amount(1000.0 * part.valve.swing_kg, "grams", "0"),
                "refill": _flow(part.valve.refill),
                "supply": f"{part.supply} ({supply.kind}, {holds})",
            }
            for bed, planted in part.bed.items():
                emitters = f"{planted.emitters.count} × {_flow(planted.emitters)}"
                area = amount(planted.area, "area", ".3g").replace(" ", "\u00a0")
                yield {**of_valve, "bed": bed, "area": area, "emitters": emitters}
                of_valve = dict.fromkeys(of_valve, "")


def garden_line(scenario: Scenario, supply: str) -> str:
    """Return the same of the valves on one supply in a line, for paper."""
    parts = []
    for row in garden_rows({"": scenario}):
        if row["valve"]:
            name = row["valve"]
            of_valve = f"valve {name}: {row['pan']}; swing {row['swing']}; refill {row['refill']}"
            parts += [of_valve] if scenario.controller[name].supply == supply else []
        if scenario.controller[name].supply == supply:
            parts.append(f"bed {row['bed']}, {row['area']}, {row['emitters']}")
    return "; ".join(parts) + "."


def _flow(emitter: Emitter) -> str:
    at = f" at {amount(emitter.at, 'pressure', 'g')}" if emitter.at is not None else ", as measured"
    return f"{amount(emitter.flow, 'flow', '.3g')}{at}"


def garden_data(scenario: Scenario) -> dict[str, Any]:
    """Return the same as data: a mapping for each valve, its beds in it."""
    return {
        name: {
            "supply": part.supply,
            "area_m2": part.pan.area,
            "depth_mm": part.pan.depth,
            "freeboard_mm": part.pan.freeboard,
            "exposure": part.pan.exposure,
            "swing_kg": part.valve.swing_kg,
            "refill": part.valve.refill.model_dump(),
            "beds": {
                key: {"area_m2": bed.area, "emitters": bed.emitters.model_dump()} for key, bed in part.bed.items()
            },
        }
        for name, part in scenario.controller.items()
    }
