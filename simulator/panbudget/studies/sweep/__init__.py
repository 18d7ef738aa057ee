"""
Sweeping: many seasons at once, sites × years × designs × beds, through the one engine.

`plan` is what the user describes, `jobs` its parts, `workers` where they run, `site` the places and one place's weather,
`grid` gridded weather, with `gridded`, `usable` the years that a place has, `compute` its seasons, `store` the files,
`summary` what they come to, `cube` the same for other tools, `swept` the end, `run` all of it in order.
"""

from collections.abc import Iterator, Mapping, Sequence

from panbudget.errors import Problem
from panbudget.words import packaged, problems_from

problem = problems_from(packaged("studies/sweep/problems.toml"))
#: lines of one kind that a message or a list has
MOST_LINES = 20


def first_of(problems: Sequence[Problem]) -> list[Problem]:
    """Return as many problems as a screen holds, and how many more there are."""
    more = len(problems) - MOST_LINES
    return [*problems[:MOST_LINES], *([problem("more", count=more)] if more > 0 else [])]


def named_twice(key: str, chosen: Mapping[str, str]) -> Iterator[Problem]:
    """Refuse a column or variable that is named for two things."""
    first: dict[str, str] = {}
    for name, column in chosen.items():
        if first.setdefault(column, name) != name:
            yield problem("column-twice.named", f"{key}.{name}", column, column=column, other=f"{key}.{first[column]}")
