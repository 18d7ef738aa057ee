"""
Messages: what the room says of a file. The words stand in `messages.toml`, by code; values in braces come from the modules.
"""

import functools
from typing import Any

from panbudget.errors import Problem
from panbudget.words import packaged, say

_MESSAGES = packaged("weather/messages.toml")


def table_of(name: str) -> Any:
    """Return a table of `messages.toml` that is used as it stands."""
    return _MESSAGES[name]


def note(text: str, /, **values: Any) -> str:
    """Write what a report should mention: a text of `messages.toml` with these values in it."""
    return say(_MESSAGES["notes"][text], **values)


def problem(text: str, where: str = "", value: object = None, /, **values: Any) -> Problem:
    """
    Make a problem of its words.

    Parameters
    ----------
    text : str
        Its table in `messages.toml`: found, expected and cure, each of which may be left out. The code is its name up to
        a stroke, after which the case stands where one code has several.
    where, value
        As in `Problem`.
    **values
        What stands in braces there.
    """
    words = _MESSAGES[text]
    found, expected, cure = (say(words.get(part, ""), **values) for part in ("found", "expected", "cure"))
    return Problem(text.partition("/")[0], where, found, expected, cure, value)


def is_caution(text: str) -> bool:
    """Tell whether a text's words are a caution's: what they speak of is unlikely, and not refused."""
    return bool(_MESSAGES[text].get("caution", False))


@functools.cache
def only_cautions(name: str) -> bool:
    """Tell whether all that a check may say is a caution's: it refuses nothing, and changes no value."""
    texts = [text for text in _MESSAGES if text.partition("/")[0] == name]
    return bool(texts) and all(map(is_caution, texts))


def counted(count: int, noun: str) -> str:
    """
    Write a count with its noun.

    Examples
    --------
    >>> counted(1, "day"), counted(3, "day")
    ('1 day', '3 days')
    """
    return f"{count} {noun}{'s' if count > 1 else ''}"
