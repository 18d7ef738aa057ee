"""
Command line: `known`, what the program knows by name; `schema`, what a scenario file may say.
"""

import re
from collections.abc import Mapping
from typing import cast, get_args

import panbudget
from panbudget import words
from panbudget.cli import command, one_of, print_json, problem, say, table
from panbudget.errors import PanbudgetError, did_you_mean


@command
def known(topic: str = "plants", units: str = "metric", as_json: bool = False) -> None:
    """
    What does the program know by name, and where from?

    Example:  panbudget known soils
    """
    one_of("--units", units, get_args(words.System))
    from panbudget.studies.known import TOPICS

    if topic not in TOPICS:
        near = {"known": ", ".join(TOPICS), "cure": did_you_mean(topic, TOPICS, "")}
        raise PanbudgetError(problem("unknown-topic", f'TOPIC = "{topic}"', **near))
    rows = panbudget.known(topic)
    if as_json:
        print_json({topic: rows})
        return
    with words.units_shown(cast(words.System, units)):
        rows = [_shown(row) for row in rows]
    # sources are long and often the same: numbered below the list
    sources = list(dict.fromkeys(row["source"] for row in rows))
    cells = [[*list(row.values())[:-1], f"({sources.index(row['source']) + 1})"] for row in rows]
    say(table([*rows[0]], cells, wide=True))
    for number, source in enumerate(sources, 1):
        say(f"({number}) {source}")


def _shown(row: Mapping[str, str]) -> dict[str, str]:
    """Put a row's headings and figures in the units shown; what is no figure stays as it is."""
    shown = {}
    for name, text in row.items():
        unit = re.search(r" \[(.+)\]$", name)
        kind = words.kind_of(unit[1]) if unit else ""
        if unit and kind:
            name = f"{name[: unit.start()]} [{words.SHOWN[kind].unit}]"
            text = words.bare(float(text), kind, len(text.partition(".")[2])) if text else ""
        shown[name] = text
    return shown


@command
def schema() -> None:
    """
    What may a scenario file say? Its JSON schema, with which an editor completes and checks a garden.toml.

    Example:  panbudget schema > garden.schema.json
    """
    from panbudget.scenario.schema import schema as made

    print_json(made())
