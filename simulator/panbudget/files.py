"""
Files: TOML that somebody typed is read; tables as CSV and totals as JSON are written, the same bytes each time.

What is written holds no dates of writing and no host, and numbers printed one way.
"""

import json
import os
import re
import shutil
import tomllib
import unicodedata
from pathlib import Path
from typing import Any, TextIO

import pandas as pd

from panbudget.errors import OutputError, Problem, ScenarioError

# 12 significant digits: enough that sums close to 1e-9, and no trailing noise of binary fractions
_FLOATS = "%.12g"
# with which a text may be taken for a formula by a spreadsheet
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")
# what somebody types is smaller
_MOST_BYTES, _MOST_LEVELS, _MOST_KEYS = 2_000_000, 50, 10_000
_PLAIN_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def json_bytes(content: dict[str, Any]) -> bytes:
    """Return a JSON file: sorted by nothing, numbers in full, one byte sequence for one content."""
    return (json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def write_json(content: dict[str, Any], path: Path) -> None:
    """Write a JSON file, as `json_bytes` gives it."""
    path.write_bytes(json_bytes(content))


def write_csv(table: pd.DataFrame, path: Path | TextIO, *, header: bool = True) -> None:
    """
    Write a table: numbers in full, and no text that a spreadsheet would run.

    A text that begins with = + - @, be it after blanks or in full width, a tab or a line's end gets an apostrophe.
    """
    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype.kind not in "biuf":
            safe[name] = pd.Series([_guarded(value) for value in safe[name]], index=safe.index, dtype=object)
    safe.to_csv(path, index=False, header=header, float_format=_FLOATS, lineterminator="\n", encoding="utf-8")


def _guarded(value: object) -> object:
    if not isinstance(value, str) or _PLAIN_NUMBER.fullmatch(value):
        return value
    plain = unicodedata.normalize("NFKC", value).lstrip(" \ufeff\u200b")
    return f"'{value}" if plain.startswith(_FORMULA_SIGNS) else value


def write_whole(path: Path, text: str) -> None:
    """
    Write a text file whole or not at all: what stood there stays until all is written.

    Raises
    ------
    OutputError
        It can't be written.
    """
    target = path.resolve()  # a link stays one
    draft = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        draft.write_bytes(text.encode())
        if target.exists():
            shutil.copymode(target, draft)
        draft.replace(target)
    except OSError as error:
        problem = Problem(
            "unwritable", "", f"can't be written ({error.strerror})", cure="check the folder's permissions"
        )
        raise OutputError(problem, file=str(path)) from None
    finally:
        draft.unlink(missing_ok=True)


def toml_key(name: str) -> str:
    """Return a name as a key of TOML, in quotes where it needs them."""
    bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if bare else json.dumps(name, ensure_ascii=False)


def read_toml(path: str | Path, *, missing: str = "check the path") -> tuple[dict[str, Any], bytes]:
    """
    Read a TOML file.

    Parameters
    ----------
    path : path
    missing : str
        What to do where there is no such file.

    Returns
    -------
    (dict, bytes)
        What it says, and what it holds.

    Raises
    ------
    ScenarioError
        It can't be read, or is not TOML; the message names the line.
    """
    path = Path(path)
    try:
        if path.exists() and not path.is_dir() and (problem := _unlikely(path)):
            raise ScenarioError(problem, file=str(path))
        content = path.read_bytes()
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
        read = tomllib.loads(text)
        if (keys := _keys(read, _MOST_LEVELS)) <= _MOST_KEYS:
            return read, content
        problem = Problem("too-much", "", f"has {keys:,} keys", f"at most {_MOST_KEYS:,}", "name another file")
    except RecursionError:
        problem = Problem("too-deep", "", f"is nested deeper than {_MOST_LEVELS} levels", "", "name another file")
    except FileNotFoundError:
        problem = Problem("no-file", "", "there is no such file", "", missing)
    except IsADirectoryError:
        inside = sorted(path.glob("*.toml"))
        cure = f"did you mean {inside[0]}?" if inside else "name the .toml file in it"
        problem = Problem("folder", "", "is a folder", "", cure)
    except OSError as error:
        cure = "check its permissions, or name another file"
        problem = Problem("unreadable", "", f"can't be read ({error.strerror})", "", cure)
    except UnicodeDecodeError:
        problem = Problem("not-utf8", "", "is not a text file in UTF-8", "", "save it as UTF-8")
    except tomllib.TOMLDecodeError as error:
        problem = _toml_problem(str(error), text)
    except ValueError:  # Python's own limit of digits
        problem = Problem("too-long", "", "has a number of thousands of digits", "", "write it shorter")
    raise ScenarioError(problem, file=str(path))


def _unlikely(path: Path) -> Problem | None:
    """Return what is wrong with a path that is no file, or too large a one for somebody to have typed."""
    if not path.is_file():
        return Problem("no-plain-file", "", "is not a plain file", "", "name the .toml file")
    if (size := path.stat().st_size) > _MOST_BYTES:
        found = f"is {size / 1e6:.1f} MB"
        return Problem("too-large", "", found, f"TOML of at most {_MOST_BYTES / 1e6:g} MB", "name another file")
    return None


def _keys(part: Any, levels: int) -> int:
    """Count the keys of a tree; a RecursionError if it has more levels."""
    if not isinstance(part, dict | list):
        return 0
    if levels == 0:
        raise RecursionError
    inner = part.values() if isinstance(part, dict) else part
    return len(part) + sum(_keys(value, levels - 1) for value in inner)


def _toml_problem(message: str, text: str) -> Problem:
    """Say what `tomllib` found, with its line, its text and a cure."""
    rows = text.splitlines()
    at = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what = re.sub(r"\s*\(at .*\)$", "", message)
    row = int(at.group(1)) if at else len(rows)
    where = f"line {row}, column {at.group(2)}" if at else f"line {row}, where the file ends"
    line = rows[row - 1].strip() if 0 < row <= len(rows) else ""
    if twice := re.search(r"Cannot declare \((.*)\) twice", what):
        key = ".".join(re.findall("'([^']*)'", twice[1]))
        return Problem(
            "said-twice", where, f": [{key}] stands twice", "", "two parts can't have one name, so rename one"
        )
    if "Cannot overwrite a value" in what:
        return Problem("said-twice", where, f": the key of `{line}` stands twice", "", "keep one")
    line = line.partition(" #")[0].strip()
    cure = "text goes in quotes, and a table is [name] on a line of its own"
    if re.search(r"=\s*\d+[-./]\d+[-./]\d+", line):
        cure = "a date is year-month-day and one of the calendar's, such as 2023-05-01"
    elif re.search("[“”„«»‘’]", line):
        cure = 'its quotes are curly: type straight ones, "like these"'
    elif what.startswith("Expected '='"):
        cure = 'a key is followed by =, such as title = "My garden"'
    found = f": this can't be read as TOML ({what})" + (f": {line[:60]}" if line else "")
    return Problem("not-toml", where, found, "", cure)
