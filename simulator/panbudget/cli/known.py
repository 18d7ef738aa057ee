"""
Command line: `known`, what the program knows by name; `schema`, what a scenario file may say.
"""

from __future__ import annotations

from typing import Annotated

import typer

from panbudget.cli.options import app, print_json, print_table, say
from panbudget.errors import PanbudgetError, Problem, did_you_mean


@app.command()
def known(
    topic: Annotated[
        str, typer.Argument(metavar="TOPIC", help="plants, soils, landscape, pans, readers or from-memory.")
    ] = "plants",
    as_json: Annotated[bool, typer.Option("--json", help="Print the list as JSON on standard output.")] = False,
) -> None:
    """
    What does the program know by name, and where from?

    Example:  panbudget known soils
    """
    from panbudget.studies.known import TOPICS
    from panbudget.studies.known import known as listed

    if topic not in TOPICS:
        cure = did_you_mean(topic, TOPICS, "")
        raise PanbudgetError(Problem("unknown-topic", f'TOPIC = "{topic}"', "is unknown", ", ".join(TOPICS), cure))
    rows = listed(topic)
    if as_json:
        print_json({topic: rows})
        return
    # sources are long and often the same: numbered below the list
    sources = list(dict.fromkeys(row["source"] for row in rows))
    cells = [[*(v for k, v in row.items() if k != "source"), f"({sources.index(row['source']) + 1})"] for row in rows]
    print_table([*(k for k in rows[0] if k != "source"), "source"], cells, wide=True)
    for number, source in enumerate(sources, 1):
        say(f"({number}) {source}")


@app.command()
def schema() -> None:
    """
    What may a scenario file say? Its JSON schema, with which an editor completes and checks a garden.toml.

    Example:  panbudget schema > garden.schema.json
    """
    from panbudget.scenario.schema import schema as made

    print_json(made())
