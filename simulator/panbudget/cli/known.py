"""
Command line: `known`, what the program knows by name; `schema`, what a scenario file may say.
"""

import panbudget
from panbudget.cli import command, print_json, say, table
from panbudget.errors import PanbudgetError, Problem, did_you_mean


@command
def known(topic: str = "plants", as_json: bool = False) -> None:
    """
    What does the program know by name, and where from?

    Example:  panbudget known soils
    """
    from panbudget.studies.known import TOPICS

    if topic not in TOPICS:
        cure = did_you_mean(topic, TOPICS, "")
        raise PanbudgetError(Problem("unknown-topic", f'TOPIC = "{topic}"', "is unknown", ", ".join(TOPICS), cure))
    rows = panbudget.known(topic)
    if as_json:
        print_json({topic: rows})
        return
    # sources are long and often the same: numbered below the list
    sources = list(dict.fromkeys(row["source"] for row in rows))
    cells = [[*list(row.values())[:-1], f"({sources.index(row['source']) + 1})"] for row in rows]
    say(table([*rows[0]], cells, wide=True))
    for number, source in enumerate(sources, 1):
        say(f"({number}) {source}")


@command
def schema() -> None:
    """
    What may a scenario file say? Its JSON schema, with which an editor completes and checks a garden.toml.

    Example:  panbudget schema > garden.schema.json
    """
    from panbudget.scenario.schema import schema as made

    print_json(made())
