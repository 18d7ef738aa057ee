"""
Scenario errors in plain words: where, what was found, what was expected, the nearest key that is known.

pydantic finds what is wrong and where; this module says it. Knows the models' shape and no meaning of their own.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
import typing
from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from panbudget.errors import Problem

__all__ = ["Senseless", "Several", "names_of", "nearest", "problems", "toml_problem"]


class Senseless(ValueError):
    """
    A value that can be read and makes no sense.

    Parameters
    ----------
    message : str
        Predicate of a sentence whose subject is the key and its value.
    key : str
        Key path below the part that was checked, empty for the part itself.
    near : str, optional
        A known name to suggest.
    whole : bool
        The message is a sentence of its own.
    shown : bool
        Whether the value is shown.
    """

    def __init__(
        self, message: str, *, key: str = "", near: str | None = None, whole: bool = False, shown: bool = True
    ) -> None:
        super().__init__(message + (f'; did you mean "{near}"?' if near else ""))
        self.key = key
        self.whole = whole
        self.shown = shown


class Several(ValueError):
    """Several values of one part that make no sense."""

    def __init__(self, parts: Iterable[Senseless]) -> None:
        self.parts = tuple(parts)
        super().__init__("; ".join(map(str, self.parts)))


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that looks most like this one, if any does."""
    by_folded = {k.casefold(): k for k in known}
    match = difflib.get_close_matches(str(word).casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[match[0]] if match else None


def names_of(scenario: Any) -> Iterator[tuple[str, str]]:
    """Walk over the names that a user made up: (key path, name)."""
    for name in scenario.supply:
        yield f"supply.{name}", name
        right = scenario.supply[name].right
        for further in right.further if right else ():
            yield f"supply.{name}.right.further.{further}", further
    for name in scenario.variant:
        yield f"variant.{name}", name
    for name, controller in scenario.controller.items():
        yield f"controller.{name}", name
        for bed in controller.bed:
            yield f"controller.{name}.bed.{bed}", bed


def problems(error: ValidationError, root: type[BaseModel], prefix: str = "") -> list[Problem]:
    """
    Turn pydantic's findings into lines for a person.

    Parameters
    ----------
    error : pydantic.ValidationError
    root : type
        The model that was validated, walked to find the known keys.
    prefix : str
        Put before every line, such as the variant's name.

    Returns
    -------
    list of Problem
        In the order of the file's models, one for each thing that is wrong.
    """
    found: list[Problem] = []
    for item in error.errors(include_url=False):
        for problem in _said(item, root):
            line = Problem.of_text(prefix + problem.sentence(), problem.where, problem.value)
            if line not in found:
                found.append(line)
    # a misspelt key is one mistake: that the right one is missing need not be said as well
    meant = {_sibling(line) for line in found if " is no known key" in line.sentence()} - {None}
    return [line for line in found if not (line.where in meant and f"{line.where} is missing" in line.sentence())]


def _sibling(line: Problem) -> str | None:
    match = re.search(r'did you mean "([^"]+)"', line.sentence())
    if match is None:
        return None
    parent = line.where.rpartition(".")[0]
    return f"{parent}.{match.group(1)}" if parent else match.group(1)


def _said(item: Any, root: type[BaseModel]) -> Iterator[Problem]:
    loc, kind, value = item["loc"], item["type"], item.get("input")
    path = _path(loc)
    context = item.get("ctx", {})
    cause = context.get("error")
    if isinstance(cause, Several):
        for part in cause.parts:
            yield _senseless(part, path, value)
    elif isinstance(cause, Senseless):
        yield _senseless(cause, path, value)
    elif kind == "extra_forbidden":
        yield Problem.of_text(f"{path} is no known key{_suggestion(loc, root)}", path, value)
    elif kind == "missing":
        yield Problem.of_text(f"{path} is missing{_expectation(loc, root)}", path)
    else:
        if kind == "literal_error":  # the names that are known are what was expected
            near = nearest(value, re.findall(r"'([^']*)'", context["expected"])) if isinstance(value, str) else None
            cure = f'; did you mean "{near}"?' if near else ""
        else:
            cure = _expectation(loc, root)
        yield Problem.of_text(f"{path} = {_shown(value)} {_predicate(kind, context)}{cure}", path, value)


def _senseless(cause: Senseless, path: str, value: Any) -> Problem:
    at = ".".join(p for p in (path, cause.key) if p)
    for part in re.findall(r"[^.\[\]]+", cause.key):
        if isinstance(value, dict):
            value = value.get(part)
        elif isinstance(value, list) and part.isdigit():
            value = value[int(part)]
    if cause.whole:
        return Problem.of_text(f"{at}: {cause}", at, value)
    if value is None or isinstance(value, dict | list | BaseModel) or not cause.shown:
        return Problem.of_text(f"{at} {cause}", at, value)
    return Problem.of_text(f"{at} = {_shown(value)} {cause}", at, value)


_BARE = re.compile(r"[A-Za-z0-9_-]+")


def _path(loc: tuple[Any, ...]) -> str:
    text = ""
    for part in loc:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            shown = part if _BARE.fullmatch(str(part)) else f'"{part}"'
            text += f".{shown}" if text else str(shown)
    return text


def _shown(value: Any) -> str:
    if isinstance(value, str):
        text = '"' + value + '"'
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, dt.date | dt.datetime):
        text = value.isoformat()
    elif isinstance(value, dict):
        text = "{ " + ", ".join(f"{k} = {_shown(v)}" for k, v in value.items()) + " }"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _predicate(kind: str, context: dict[str, Any]) -> str:
    limits = {
        "greater_than": ("gt", "must be above"),
        "greater_than_equal": ("ge", "must be at least"),
        "less_than": ("lt", "must be below"),
        "less_than_equal": ("le", "must be at most"),
    }
    if kind in limits:
        key, words = limits[kind]
        return f"{words} {context[key]:g}"
    if kind == "literal_error":
        return f"must be one of {context['expected']}".replace("'", '"')
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return "is not a table"
    if kind in ("float_type", "float_parsing"):
        return "is not a plain number"
    if kind in ("int_type", "int_parsing", "int_from_float"):
        return "is not a whole number"
    if kind == "finite_number":
        return "is not a finite number"
    if kind == "string_type":
        return "is not text in quotes"
    if kind == "list_type":
        return "is not a list in [ ]"
    if kind.startswith(("date_", "datetime_")):
        return "is not a date such as 2025-05-01"
    if kind == "too_short":
        return f"needs at least {context.get('min_length', 1)} entries"
    if kind == "too_long":
        return f"takes at most {context.get('max_length')} entries"
    return f"can't be used ({kind.replace('_', ' ')})"


def _field_at(loc: tuple[Any, ...], root: type[BaseModel]) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """Walk the models down a path: the model that holds its last key, and that key's field."""
    model: type[BaseModel] | None = root
    field: FieldInfo | None = None
    in_names = False  # the next part is a name that the user made up
    for index, part in enumerate(loc):
        if isinstance(part, int):
            continue
        if in_names:
            in_names = False
            field = None
            continue
        if model is None:
            return None, None
        field = model.model_fields.get(part)
        if field is None:
            return (model, None) if index == len(loc) - 1 else (None, None)
        if index == len(loc) - 1:
            return model, field
        in_names = _holds_names(field.annotation)
        model = _model_in(field.annotation)
    return model, field


def _holds_names(annotation: Any) -> bool:
    return typing.get_origin(annotation) is dict


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in typing.get_args(annotation):
        model = _model_in(part)
        if model is not None:
            return model
    return None


def _expectation(loc: tuple[Any, ...], root: type[BaseModel]) -> str:
    _, field = _field_at(loc, root)
    if field is not None and field.description:
        return f"; expected: {field.description}"
    if field is not None and _model_in(field.annotation) is not None:
        return f"; expected: a table [{_path(loc)}]"
    return ""


def _suggestion(loc: tuple[Any, ...], root: type[BaseModel]) -> str:
    model, _ = _field_at(loc, root)
    word = str(loc[-1])
    if model is None:
        return ""
    near = nearest(word, model.model_fields)
    if near:
        return f'; did you mean "{near}"?'
    places = [f"[{place}]" for place, other in _all_models(root, "") if word in other.model_fields]
    if places:
        return f'; "{word}" belongs in {" or ".join(places[:2])}'
    return f"; known here: {', '.join(model.model_fields)}"


def _all_models(model: type[BaseModel], at: str) -> Iterator[tuple[str, type[BaseModel]]]:
    for name, field in model.model_fields.items():
        below = _model_in(field.annotation)
        if below is not None:
            place = f"{at}.{name}".lstrip(".") + (".NAME" if _holds_names(field.annotation) else "")
            yield place, below
            yield from _all_models(below, place)


def toml_problem(message: str, content: bytes) -> str:
    """
    Say a TOML mistake with its line, its text and a cure.

    Parameters
    ----------
    message : str
        What `tomllib` said.
    content : bytes
        The file.

    Returns
    -------
    str
    """
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what = re.sub(r"\s*\(at .*\)$", "", message)
    where, line = "", ""
    if match:
        rows = content.decode("utf-8", "replace").splitlines()
        row = int(match.group(1))
        line = rows[row - 1].strip() if 0 < row <= len(rows) else ""
        where = f"line {row}, column {match.group(2)}: "
    elif "at end of document" in message:
        rows = content.decode("utf-8", "replace").splitlines()
        line = rows[-1].strip() if rows else ""
        where = f"line {len(rows)}, where the file ends: "
    twice = re.search(r"Cannot declare \((.*)\) twice", what)
    if twice:
        key = ".".join(re.findall(r"'([^']*)'", twice.group(1)))
        what = f"[{key}] stands twice; two parts can't have one name, so rename one"
        return where + what
    if "Cannot overwrite a value" in what:
        return f"{where}the key of `{line}` stands twice; keep one"
    line = line.partition(" #")[0].strip()
    cure = "; text goes in quotes, and a table is [name] on a line of its own"
    if re.search("[“”„«»‘’]", line):
        cure = '; its quotes are curly: type straight ones, "like these"'
    elif what.startswith("Expected '='"):
        cure = '; a key is followed by =, such as title = "My garden"'
    if re.search(r"=\s*\d+[-./]\d+[-./]\d+", line):
        cure = "; a date is year-month-day and one of the calendar's, such as 2023-05-01"
    return f"{where}this can't be read as TOML ({what})" + (f": {line[:60]}" if line else "") + cure
