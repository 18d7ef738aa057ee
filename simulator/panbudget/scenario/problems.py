"""
Scenario errors as data: where, what was found, what was expected, the nearest key that is known.

pydantic finds what is wrong and where; this module says it. Knows the models' shape and no meaning of their own.
"""

import datetime as dt
import json
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Literal, NamedTuple, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from panbudget.errors import CONTROLS, Problem, did_you_mean, nearest
from panbudget.scenario import problem
from panbudget.units import UnitError
from panbudget.words import TABLES, packaged

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_MOST_STRANGERS = 10  # unknown keys that are named
_MOST_SHOWN = 60  # characters of a value
_TYPE = "-type"  # the end of what the library calls a value of another type
_BOUNDS = "ge", "gt", "le", "lt"  # as the library calls them
_EXAMPLE = re.compile(r'such as ("[^"]+"(?:,? (?:or )?"[^"]+")*)')
_LONGEST_TEXT = 500  # characters of any text
_LOOK_ALIKE = ("LATIN", "GREEK", "CYRILLIC")  # scripts, as Unicode names their letters
USABLE = '1 to 60 printable characters without "/"'

_FOUND = packaged("scenario/problems.toml")


class Senseless(ValueError):
    """
    Values of one part that can be read and make no sense.

    Parameters
    ----------
    *problems : Problem
        Their ``where`` is a key path below the part, empty for the part itself; `problems` puts the value in.
    """

    def __init__(self, *problems: Problem) -> None:
        self.problems = problems
        super().__init__("; ".join(problem.sentence() for problem in problems))


def problems(error: ValidationError, root: type[BaseModel], prefix: str = "") -> list[Problem]:
    """
    Turn pydantic's findings into problems.

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
    listed: list[Problem] = []
    seen: set[tuple[str, str]] = set()
    strangers = 0
    excused: set[str] = set()  # keys that a misspelt key was meant to be, tables that have keys of another kind
    for item in error.errors(include_url=False):
        strangers += item["type"] == "extra_forbidden"
        if item["type"] == "extra_forbidden" and strangers > _MOST_STRANGERS:
            continue  # each takes a search for what it may have meant
        spot = _spot(item["loc"], root)
        for wrong in _of_item(item, spot, root):
            same = re.sub(r"\[\d+\]$", "", wrong.where), wrong.found  # the first of a list's entries will do
            # of a key that may be a number or a word, what is wrong with the one that was given
            of_type = wrong.code.endswith(_TYPE)
            beside = (other for other in listed if other.where == wrong.where)
            rivals = [other for other in beside if of_type or other.code.endswith(_TYPE)]
            if same not in seen and not (rivals and of_type):
                seen.add(same)
                listed = [other for other in listed if other not in rivals] + [wrong]
            parent = wrong.where.rpartition(".")[0]
            if wrong.code == "unknown-key" and spot.model is not None:
                excused.add(f"{parent}.{nearest(spot.key, spot.model.model_fields)}".lstrip("."))
            elif wrong.code in ("other-kind", "said-twice"):
                excused.add(parent)
    if (more := strangers - _MOST_STRANGERS) > 0:
        listed.append(Problem("unknown-keys", "", f"has {more:,} more keys that are unknown", cure="take them out"))
    # one mistake is one line: that the right key is missing, or another kind's, need not be said as well
    return [
        wrong.under(prefix)
        for wrong in listed
        if wrong.code != "missing" or excused.isdisjoint((wrong.where, wrong.where.rpartition(".")[0]))
    ]


class _Spot(NamedTuple):
    """A place in the models: key path, last key, the model that holds it, that model's kinds, and the key's field."""

    where: str
    key: str
    model: Any
    kinds: list[Any]
    field: Any

    @property
    def annotation(self) -> Any:
        """The key's type; None where its model has no such key."""
        return self.field and self.field.annotation


def _spot(loc: tuple[Any, ...], root: type[BaseModel]) -> _Spot:
    """Walk the models down a path as pydantic tells it, which holds the names of kinds as well as keys."""
    spot = _Spot("", "", root, [root], None)
    kinds: list[Any] = [root]  # of what stands at the spot
    model: Any = root  # the one of them that is meant, once known
    named = False  # the next part is a name that the user made up
    for part in loc:
        if isinstance(part, int):
            spot = spot._replace(where=f"{spot.where}[{part}]")
        elif named:
            name = part if _BARE.fullmatch(part) else f'"{part}"'
            spot, named = spot._replace(where=f"{spot.where}.{name}"), False
        elif model is None:  # the name of a kind, or of a scalar's
            model = next((kind for kind in kinds if kind.__name__ == part), None)
        else:
            key = part or '""'
            spot = _Spot(f"{spot.where}.{key}".lstrip("."), part, model, kinds, model.model_fields.get(part))
            named = get_origin(spot.annotation) is dict
            kinds = _models_in(spot.annotation)
            model = kinds[0] if len(kinds) == 1 else None
    return spot


def _of_item(item: Any, spot: _Spot, root: type[BaseModel]) -> Iterator[Problem]:
    kind, value, context = item["type"], item.get("input"), item.get("ctx", {})
    cause = context.get("error")
    if isinstance(cause, UnitError) and (found := _own_bound(cause.problem.code, str(value), spot)):
        (problem,) = cause.problems
        yield Problem(problem.code, spot.where, _with_value(value, found), _wanted(spot)[0], problem.cure, value)
    elif isinstance(cause, Senseless | UnitError):
        for problem in cause.problems:
            where = ".".join(filter(None, (spot.where, problem.where)))
            inner = _within(value, problem.where)
            expected = problem.expected if problem.where else _with_own_example(problem.expected, spot)
            yield Problem(problem.code, where, _with_value(inner, problem.found), expected, problem.cure, inner)
    elif kind == "extra_forbidden":
        yield _stranger(spot, value, root)
    elif kind == "missing":
        yield Problem("missing", spot.where, "is missing", *_wanted(spot))
    elif kind.startswith("union_tag"):
        names = [name for part in _models_in(spot.annotation) for name in kinds_of(part)]
        where, value = f"{spot.where}.kind", value.get("kind") if isinstance(value, dict) else None
        if value is None:
            yield Problem("missing", where, "is missing", "one of " + _listed(names))
        else:
            yield _no_choice(where, value, names)
    elif kind == "literal_error":
        yield _no_choice(spot.where, value, _literals(spot.annotation))
    else:
        found = _FOUND.get(kind, f"can't be used ({kind.replace('_', ' ')})").format(**context)
        if found == _FOUND["model_type"] and any(getattr(part, "beside", False) for part in _parts([spot.field])):
            found = _FOUND["text_or_table"]
        if {*_BOUNDS} & context.keys():
            bound = _bounds(spot)[{"le", "lt"}.isdisjoint(context)]
            found = f"must be {bound[1]}" if bound else found
        yield Problem(kind.replace("_", "-"), spot.where, _with_value(value, found), _wanted(spot)[0], value=value)


def _own_bound(code: str, text: str, spot: _Spot) -> str:
    """Say the key's own bound of a quantity that is beyond any, where it has one: it is the narrower."""
    upper, lower = _bounds(spot)
    below = text.lstrip().startswith("-")
    if code == "too-small" and lower and (lower[0] < 0 if below else lower[0] <= 0):
        return ""
    bound = lower if below or code == "too-small" else upper if code == "too-large" else None
    return f"must be {bound[1]}" if bound else ""


def _bounds(spot: _Spot) -> tuple[tuple[float, str] | None, tuple[float, str] | None]:
    """Return the most and the least that a key takes, with how to say it, in the unit it is read into; None for none."""
    parts = [*_parts([spot.field])]
    held = {sign: [bound for part in parts if (bound := getattr(part, sign, None)) is not None] for sign in _BOUNDS}
    reads = next((part for part in parts if "unit" in getattr(part, "written", {})), None)
    unit = f" {reads.written['unit']}".replace("**2", "²").replace("delta_deg", "°") if reads else ""
    if reads and 0 in held["gt"]:
        held["ge"].append(TABLES["least"][reads.read.keywords["kind"]])  # nothing smaller is read, but for 0
    least = max([*((bound, False) for bound in held["ge"]), *((bound, True) for bound in held["gt"])], default=None)
    most = min([*((bound, True) for bound in held["le"]), *((bound, False) for bound in held["lt"])], default=None)
    return (
        most and (most[0], f"{'at most' if most[1] else 'below'} {most[0]:.15g}{unit}"),
        least and (least[0], f"{'above' if least[1] else 'at least'} {least[0]:.15g}{unit}"),
    )


def _parts(parts: Iterable[Any]) -> Iterator[Any]:
    """All that annotations hold: kinds, and what is said of each."""
    for part in parts:
        yield part
        held = [part.annotation, *part.metadata] if isinstance(part, FieldInfo) else get_args(part)
        yield from _parts(held)


def _with_own_example(expected: str, spot: _Spot) -> str:
    """Put the key's own example, where it has one, in place of the quantity's, which may lie out of the key's bounds."""
    example = _EXAMPLE.search((spot.field and spot.field.description) or "")
    return _EXAMPLE.sub(lambda _: example[0], expected) if example else expected


def _with_an_example(field: Any) -> str:
    """What a key means, with what is taken where it is left out, or else its unit's example, if it names none."""
    meaning, parts = (field and field.description) or "", [*_parts([field])]
    if "such as" in meaning or not any(part in (float, int) for part in parts):
        return meaning
    unit = next((part.written for part in parts if "unit" in getattr(part, "written", {})), None)
    if isinstance(field.default, int | float | list | tuple):
        example = str([*field.default] if isinstance(field.default, tuple) else field.default)
        example = f'"{field.default:g} {unit["unit"]}"' if unit else example
    else:
        example = f'"{unit["examples"][0]}"' if unit else ""
    return ", such as ".join(filter(None, (meaning, example)))


def _no_choice(where: str, value: Any, names: list[str]) -> Problem:
    cure = did_you_mean(value, names, "") if isinstance(value, str) else ""
    return Problem("no-choice", where, _with_value(value, f"must be one of {_listed(names)}"), "", cure, value)


def _listed(names: Iterable[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return " or ".join(filter(None, [", ".join(quoted[:-1]), quoted[-1]]))


def _wanted(spot: _Spot) -> tuple[str, str]:
    """What is expected at a place, and which kind of part needs it."""
    expected = _with_an_example(spot.field) or (f"a table [{spot.where}]" if _models_in(spot.annotation) else "")
    others = [mark for kind in spot.kinds if kind is not spot.model for mark in kind.marks]
    if others and spot.model is spot.kinds[0] and spot.key in spot.model.marks:
        expected += f", or {' or '.join(others)} in its place"
    elif len(spot.kinds) > 1 and spot.key != "kind":
        return expected, f"{_named(spot.model)} needs it"
    return expected, ""


def _named(*parts: Any) -> str:
    """Name kinds of a part by what a file says to get them."""
    kinds = [kind for part in parts for kind in kinds_of(part)]
    return f"kind = {_listed(kinds)}" if kinds else " or ".join(f"a {mark}" for part in parts for mark in part.marks)


def kinds_of(part: type[BaseModel]) -> tuple[str, ...]:
    """Return the values of `kind` that a part goes by, none where it has no such key."""
    return tuple(_literals(part.model_fields["kind"].annotation)) if "kind" in part.model_fields else ()


def _stranger(spot: _Spot, value: Any, root: type[BaseModel]) -> Problem:
    """A key that its table does not have: another kind's, misspelt, or one of another table."""
    code, where, key, model = "unknown-key", spot.where, spot.key, spot.model
    if model is None:
        return Problem(code, where, "is no known key")
    if key in model.elsewhere:
        return Problem("other-kind", where, _with_value(value, model.elsewhere[key]), value=value)
    having = [kind for kind in spot.kinds if key in kind.model_fields]
    if any(key in kind.marks for kind in having):
        beside = " and ".join(model.marks)
        found = _with_value(value, f"stands beside {beside}, and both say the same thing")
        return Problem("said-twice", where, found, cure="take one of them out", value=value)
    if having:
        takes = ", ".join(name for name in model.model_fields if name != "kind")
        found = f"goes with {_named(*having)}, not with {_named(model)}, which takes {takes}"
        return Problem("other-kind", where, _with_value(value, found), value=value)
    places = [f"[{table}]" for table, other in _all_models(root, "") if key in other.model_fields]
    known = f"known here: {', '.join(model.model_fields)}"
    otherwise = f'"{key}" belongs in {" or ".join(list(dict.fromkeys(places))[:2])}' if places else known
    if key.partition(".")[0] in {*model.model_fields} - {key}:  # in quotes it is one name
        return Problem(code, where, "is no known key", cure=f"write {key} without quotes", value=value)
    return Problem(code, where, "is no known key", cure=did_you_mean(key, model.model_fields, otherwise), value=value)


def _within(value: Any, path: str) -> Any:
    """Look up what stands at a key path below a table."""
    for part in re.findall(r"[^.\[\]]+", path):
        if isinstance(value, dict):
            value = value.get(part)
        elif isinstance(value, list) and part.isdigit():
            value = value[int(part)]
    return value


def _with_value(value: Any, found: str) -> str:
    """Put a value before what is the matter with it, unless it is a table or a list, or nothing."""
    if value is None or isinstance(value, dict | list | BaseModel):
        return found
    gap = "" if found.startswith(":") else " "
    return f"= {_shown(value)}{gap}{found}"


def _shown(value: Any) -> str:
    if isinstance(value, dt.date):  # a moment is one as well
        text = value.isoformat()
    else:
        text = f'"{value}"' if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 3] + "…"


def _models_in(annotation: Any) -> list[Any]:
    """Return the models that an annotation holds: several where a part comes in kinds."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]


def _literals(annotation: Any) -> list[str]:
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [name for part in get_args(annotation) for name in _literals(part)]


def _all_models(model: Any, at: str) -> Iterator[tuple[str, Any]]:
    for name, field in model.model_fields.items():
        table = f"{at}.{name}".lstrip(".") + (".NAME" if get_origin(field.annotation) is dict else "")
        for below in _models_in(field.annotation):
            yield table, below
            yield from _all_models(below, table)


def is_usable(name: str) -> bool:
    """Whether a name that the user made up can stand in keys, tables and file names."""
    return bool(name.strip()) and "/" not in name and name.isprintable() and len(name) <= 60


def stranger_in(name: str) -> str:
    """
    Return a letter of one script in a word of another that looks alike, such as a Cyrillic е among Latin letters.

    Examples
    --------
    >>> stranger_in("tomatоes"), stranger_in("томаты 2"), stranger_in("beds μ")
    ('о', '', '')
    """
    for word in re.findall(r"[^\W\d_]+", name):
        scripts = [unicodedata.name(letter, "").partition(" ")[0] for letter in word]
        among = [script for script in scripts if script in _LOOK_ALIKE]
        if len({*among}) > 1:
            return str(word[scripts.index(min(among, key=among.count))])
    return ""


def unseen(part: Any, where: str = "") -> Iterator[Problem]:
    """Find texts and keys that are too long or have letters that can't be seen; only a note may run over several lines."""
    if isinstance(part, str) and len(part) > _LONGEST_TEXT:
        yield problem("too-long", where, beginning=part[:40], letters=len(part), most=_LONGEST_TEXT)
    elif isinstance(part, str):
        letter = CONTROLS.search(part) or (None if where == "note" else re.search("[\n\t\u2028\u2029]", part))
        if letter is not None:
            yield problem("unseen-letter", where, text=json.dumps(part[:40]), letter=letter[0])
    elif isinstance(part, Mapping):
        for key, value in part.items():
            yield from unseen(str(key), "a key")
            yield from unseen(value, f"{where}.{key}" if where else str(key))
    elif isinstance(part, list | tuple):
        for index, item in enumerate(part):
            yield from unseen(item, f"{where}[{index}]")
