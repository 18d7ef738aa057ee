"""
The scenario's JSON schema, made from its models: what an editor needs to complete and check a `garden.toml`.
"""

from typing import Any

from panbudget.scenario.garden import Scenario

_DRAFT = "https://json-schema.org/draft/2020-12/schema"
_OF_NUMBERS = ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")


def schema() -> dict[str, Any]:
    """
    Return the JSON schema of a scenario file.

    Returns
    -------
    dict
        Quantities are strings with examples of their units, defaults are written as a file writes them.
    """
    made = Scenario.model_json_schema()
    _as_written(made)
    return {"$schema": _DRAFT, **made}


def _as_written(node: Any) -> None:
    """Bring what the models hold, numbers in the engine's units, to what a file says."""
    for below in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        _as_written(below)
    if not isinstance(node, dict):
        return
    unit = node.pop("unit", None) if node.get("type") == "string" else None
    if unit is not None:
        for key in _OF_NUMBERS:
            node.pop(key, None)
        if isinstance(node.get("default"), int | float):
            node["default"] = f"{node['default']:g} {unit}"
    # no key of a TOML file can be null
    kinds = [kind for kind in node.get("anyOf", ()) if kind != {"type": "null"}]
    if "anyOf" in node and len(kinds) < len(node["anyOf"]):
        del node["anyOf"]
        node.update(kinds[0] if len(kinds) == 1 else {"anyOf": kinds})
        if node.get("default", 0) is None:
            del node["default"]
