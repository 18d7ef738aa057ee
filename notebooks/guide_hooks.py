"""
Guide hooks: the pages that the package itself writes: the keys of a scenario, and what rests on memory.

MkDocs calls `on_page_markdown` for each page; a line `<!-- scenario keys -->` becomes the tables of all keys.
"""

from __future__ import annotations

from typing import Any

MARK = "<!-- scenario keys -->"


def on_page_markdown(markdown: str, **_: Any) -> str:
    """Put the tables of keys where the page asks for them."""
    return markdown.replace(MARK, scenario_keys()) if MARK in markdown else markdown


def scenario_keys() -> str:
    """Return a Markdown table of keys for every table of a scenario, from the JSON schema."""
    from panbudget.scenario.schema import schema

    whole = schema()
    parts = [_section("The file itself", whole)]
    parts += [_section(name, part) for name, part in whole.get("$defs", {}).items() if part.get("properties")]
    return "\n\n".join(parts)


def _section(name: str, part: dict[str, Any]) -> str:
    required = set(part.get("required", ()))
    rows = []
    for key, entry in part["properties"].items():
        default = "required" if key in required else _shown(entry.get("default"))
        about = str(entry.get("description", "")).replace("|", "\\|").replace("<", "&lt;")
        rows.append(f"| `{key}` | {_kind(entry)} | {default} | {about} |")
    heading = [
        f"## {name}",
        "",
        str(part.get("description", "")).splitlines()[0] if part.get("description") else "",
        "",
    ]
    return "\n".join([*heading, "| key | what it takes | default | meaning |", "|---|---|---|---|", *rows])


def _shown(value: Any) -> str:
    if value is None or value == "":
        return ""
    return f"`{str(value).lower() if isinstance(value, bool) else value}`"


def _kind(entry: dict[str, Any]) -> str:
    if "$ref" in entry:
        name = entry["$ref"].rsplit("/", 1)[-1]
        return f"[{name}](#{name.lower()})"
    if "enum" in entry or "const" in entry:
        return ", ".join(f'`"{value}"`' for value in entry.get("enum", [entry.get("const")]))
    for union in ("anyOf", "oneOf", "allOf"):
        if union in entry:
            kinds = [_kind(part) for part in entry[union] if part.get("type") != "null"]
            return " or ".join(dict.fromkeys(kinds))
    if entry.get("type") == "array":
        return f"list of {_kind(entry.get('items', {}))}"
    if entry.get("type") == "object" and isinstance(entry.get("additionalProperties"), dict):
        return f"tables by name: {_kind(entry['additionalProperties'])}"
    return {"string": "text", "integer": "whole number", "boolean": "true or false", "object": "a table"}.get(
        str(entry.get("type")), str(entry.get("type", "any"))
    )
