"""
Editing: keys of a scenario file that a command or the page puts in; comments, order and all else stay as they were typed.
"""

import contextlib
import copy
import tomllib
from collections.abc import Collection, Mapping
from typing import Any

from panbudget.errors import Problem, ScenarioError
from panbudget.files import toml_key


def edited(
    text: str, table: tuple[str, ...], values: Mapping[str, Any], *, without: Collection[str] = (), file: str
) -> str:
    """
    Return the text of a scenario file with values put into one of its tables.

    Parameters
    ----------
    text : str
        TOML that can be read.
    table : tuple of str
        Its names from the root, such as ("weather", "forecast"); made where it is missing.
    values : mapping
        Key -> value.
    without : collection of str
        Keys of the table that go.
    file : str
        Its name, for the message.

    Raises
    ------
    ScenarioError
        The editor can't do it without touching something else; the message holds the lines to add by hand.
    """
    import tomlkit

    typed = text.replace("\r\n", "\n")
    for new in (tomlkit.table, tomlkit.inline_table):  # the second below what is inline, or written with dotted keys
        # tomlkit's own errors are of these; so are tomllib's
        with contextlib.suppress(ValueError, LookupError, TypeError, AttributeError):
            wanted, document = tomllib.loads(typed), tomlkit.parse(typed)
            _change(wanted, table, values, without, dict)
            _change(document, table, values, without, new)
            made = tomlkit.dumps(document)
            if tomllib.loads(made) == wanted:
                return made.replace("\n", "\r\n") if "\r\n" in text else made
    lines = "\n".join(f'{toml_key(key)} = "{value}"' for key, value in values.items())
    found = f"could not be changed under [{'.'.join(table)}]"
    raise ScenarioError(Problem("not-edited", "", found, cure=f"type there yourself: {lines}"), file=file)


def _change(root: Any, table: tuple[str, ...], values: Mapping[str, Any], without: Collection[str], new: Any) -> None:
    part = root
    for name in table:
        if name not in part:
            part[name] = new()
        part = part[name]
    for key in without:
        part.pop(key, None)
    for key, value in values.items():
        part[key] = copy.copy(value)
