"""
Files: TOML that somebody typed is read; tables as CSV and totals as JSON are written, the same bytes each time.

What is written holds no dates of writing and no host, and numbers printed one way.
"""

import contextlib
import functools
import gzip
import json
import os
import re
import shlex
import shutil
import tomllib
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any, TextIO

import pandas as pd

from panbudget.errors import CONTROLS, OutputError, Problem, ScenarioError, nearest, visible

# 12 significant digits: enough that sums close to 1e-9, and no trailing noise of binary fractions
_FLOATS = "%.12g"
# with which a text may be taken for a formula by a spreadsheet
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")
# what somebody types is smaller
_MOST_BYTES, _MOST_LEVELS, _MOST_KEYS, _MOST_NAMED, _MOST_DIGITS = 2_000_000, 50, 10_000, 200, 30
#: largest file that is read, unpacked [bytes], and its most lines: 68 years of hours, 11 of ten minutes
MOST_UNPACKED, MOST_LINES = 512_000_000, 600_000
#: letters of a table's cell, cells of its header, and of all its rows: a gigabyte when they are read
LONGEST_CELL, MOST_COLUMNS, MOST_CELLS = 10_000, 1000, 30_000_000
_CHUNK = 1 << 22  # bytes
_BINARY = re.compile(rb"[\0-\x08]")
_MANY_LINES, _FEW_OF_THEM = 2000, 0.02  # of a chunk, and the share of them that differ, below which it is no record
# texts of one line, to its end where they are not closed, and what may begin or end a longer one
_QUOTED, _MANY_LINED = re.compile(r""""(?:[^"\\]|\\.)*+"?|'[^']*'?"""), re.compile("'{3}|\"{3}")
# of TOML, longer than is read; one in sixteens is so much shorter
_LONG_NUMBER = re.compile(r"(?<![\w\"'])(?:0[xob][\da-fA-F_]{25}|\d[\d_.]{30})")
_PLAIN_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def json_text(content: dict[str, Any], *, plain: bool = False) -> str:
    """Return JSON: sorted by nothing, numbers in full; letters that nobody sees are escaped, and all but ASCII's if ``plain``."""
    text = json.dumps(content, indent=1, ensure_ascii=plain, allow_nan=False)
    return CONTROLS.sub(lambda found: json.dumps(found[0])[1:-1], text)


def json_bytes(content: dict[str, Any]) -> bytes:
    """Return a JSON file."""
    return f"{json_text(content)}\n".encode()


def write_csv(table: pd.DataFrame, path: Path | TextIO, *, header: bool = True) -> None:
    """
    Write a table: numbers in full, and no text that a spreadsheet would run.

    A text that begins with = + - @, be it after blanks or in full width, a tab or a line's end gets an apostrophe; letters
    that nobody sees are written out.
    """
    columns = dict[str, Any]()
    for name, column in table.items():
        columns[str(name)] = column.array
        if column.dtype.kind == "f":  # as texts: pandas takes ten times as long to write a number
            texts = ["" if value != value else _FLOATS % value for value in column.tolist()]
            columns[str(name)] = pd.Series(texts, dtype=object)
        elif column.dtype.kind not in "biu":
            texts = [_guarded(value) if isinstance(value, str) else value for value in column]
            columns[str(name)] = pd.Series(texts, dtype=object)
    pd.DataFrame(columns).to_csv(path, index=False, header=header, lineterminator="\n", encoding="utf-8")


@functools.lru_cache(maxsize=4096)
def _guarded(text: str) -> str:
    if _PLAIN_NUMBER.fullmatch(text):
        return text
    text = visible(text)
    plain = unicodedata.normalize("NFKC", text)  # of full-width signs
    return f"'{text}" if plain.startswith(_FORMULA_SIGNS) or plain.lstrip().startswith(_FORMULA_SIGNS) else text


class Unlikely(Exception):
    """
    A file that is not what somebody means to have read.

    Parameters
    ----------
    problem : Problem
        Which file, the caller knows.
    """

    def __init__(self, code: str, found: str, cure: str = "name another file") -> None:
        self.problem = Problem(code, "", found, cure=cure)
        super().__init__(found)


def contents(path: Path, most: int = MOST_UNPACKED) -> bytes:
    """
    Read a plain file whole.

    Raises
    ------
    OSError
        It can't be read.
    Unlikely
        A pipe or a device; or as `bounded`.
    """
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise Unlikely("no-plain-file", "is not a plain file", cure="name a file that stands on a disk")
    with open(path, "rb", opener=unblocked) as stream:
        return bounded(stream, most)


def unblocked(path: str, flags: int) -> int:
    """Open a file that gives what it has, were it a kernel's that waits for more, or a pipe that nobody reads."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def bounded(stream: IO[bytes] | gzip.GzipFile, most: int = MOST_UNPACKED) -> bytes:
    """
    Read a stream whole, once it has been gone through: a few kilobytes can unpack to a full memory.

    Raises
    ------
    Unlikely
        More bytes than that, more lines than `MOST_LINES`, megabytes of one line or of NUL, the same few lines again and again.
    """
    size, lines, last = 0, 0, b""
    while chunk := stream.read(_CHUNK):
        size, last = size + len(chunk), chunk
        ends = chunk.count(b"\n") + (chunk.count(b"\r") - chunk.count(b"\r\n") if b"\r" in chunk else 0)
        if size > most:
            raise Unlikely("too-large", f"holds more than {most / 1e6:g} MB", cure="keep what you need of it")
        if len(chunk) == _CHUNK and not chunk.strip(b"\0"):
            raise Unlikely("nul", f"line {lines + 1} holds megabytes of NUL characters", cure="copy the file again")
        if ends >= _MANY_LINES and _is_repeated(chunk, ends + 1):
            raise Unlikely("repeated", f"has the same few lines again and again, from line {lines + 1} on")
        lines += ends
        if not ends and len(chunk) == _CHUNK and not _BINARY.search(chunk):
            raise Unlikely("long-line", f"line {lines + 1} is megabytes long")
        if lines > MOST_LINES:
            cure = "part it into several, or keep the years that you need"
            raise Unlikely("too-many-lines", f"has more than {MOST_LINES:,} lines", cure=cure)
    if len(last) == size:
        return last
    stream.seek(0)
    return stream.read() or b""


def _is_repeated(chunk: bytes, count: int) -> bool:
    """Tell a chunk of lines of which few differ; so many of a record differ among its first already."""

    def filled(part: bytes) -> list[bytes]:
        rows = part.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        return [row for row in rows if row.strip(b' ,;|"\t\r')]

    if len(set(filled(chunk[: len(chunk) // 32])[:-1])) >= _FEW_OF_THEM * count:
        return False
    rows = filled(chunk)
    return len(rows) > _MANY_LINES and len(set(rows)) < _FEW_OF_THEM * len(rows)


def unlikely_text(text: str) -> tuple[int, str] | None:
    """Return the line of a NUL or of a cell of too many letters, and what it holds; None where there is neither."""
    if (at := text.find("\0")) >= 0:
        return text.count("\n", 0, at) + 1, "holds a NUL character (a byte of 0)"
    # a line so long fills one of the parts half as long
    half = LONGEST_CELL // 2
    long = any(text.find("\n", start, start + half) < 0 for start in range(0, len(text), half))
    for number, line in enumerate(text.split("\n") if long else (), 1):
        if len(line) > LONGEST_CELL and max(map(len, re.split("[,;\t|]", line))) > LONGEST_CELL:
            return number, f"holds a cell of more than {LONGEST_CELL:,} characters"
    return None


def write_whole(path: Path, content: str | bytes, *, parents: bool = False) -> None:
    """
    Write a file whole or not at all: what stood there stays until all is written.

    Parameters
    ----------
    path : Path
    content : str or bytes
    parents : bool, optional
        Make its folder, where there is none.

    Raises
    ------
    OutputError
        It can't be written.
    """
    target = Path(os.path.realpath(path))  # a link stays one, and a loop of links raises nothing here
    draft = target.with_name(f".{target.name[:50]}.{os.getpid()}")
    if target.exists() and not target.is_file():  # who may do all would put a file in a device's place
        problem = Problem("no-plain-file", "", "is not a plain file", cure="name a file that stands on a disk")
        raise OutputError(problem, file=str(path))
    try:
        if parents:
            target.parent.mkdir(parents=True, exist_ok=True)
        draft.write_bytes(content.encode() if isinstance(content, str) else content)
        if target.exists():
            shutil.copymode(target, draft)
        draft.replace(target)
    except OSError as error:
        found = f"can't be written ({error.strerror})"
        problem = Problem("unwritable", "", found, cure="check the folder's permissions")
        raise OutputError(problem, file=str(path)) from None
    finally:
        with contextlib.suppress(OSError):
            draft.unlink()


def remove(path: Path) -> None:
    """Remove a file or a folder, if it is there."""
    if path.is_dir() and not path.is_symlink():
        try:
            path.rmdir()  # which needs no file to be open
        except OSError:  # there is something in it
            shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def toml_key(name: str) -> str:
    """Return a name as a key of TOML, in quotes where it needs them."""
    bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if bare else json.dumps(name, ensure_ascii=False)


def toml_value(value: object) -> str:
    """Return a value as TOML has it in one line."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)


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
        content = contents(path, _MOST_BYTES)
        return toml_of(content, path), content
    except Unlikely as error:
        problem = error.problem
    except (FileNotFoundError, NotADirectoryError):
        near = nearest(path.name, [other.name for other in path.parent.glob("*.toml")])
        cure = f"did you mean {path.with_name(near)}?" if near else missing
        problem = Problem("no-file", "", "there is no such file", "", cure)
    except IsADirectoryError:
        inside = sorted(path.glob("*.toml"), key=lambda other: (other.name != "garden.toml", other.name))
        cure = f"did you mean {inside[0]}?" if inside else "name the .toml file in it"
        problem = Problem("folder", "", "is a folder", "", cure)
    except OSError as error:
        cure = "check its permissions, or name another file"
        problem = Problem("unreadable", "", f"can't be read ({error.strerror})", "", cure)
    raise ScenarioError(problem, file=str(path))


def toml_of(content: bytes, path: str | Path) -> dict[str, Any]:
    """
    Return what a TOML file says that holds this.

    Raises
    ------
    ScenarioError
        As `read_toml`, of what it holds.
    """
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
        if any(map(_has_long_key, text.split("\n"))):  # tomllib's time goes by its square
            raise RecursionError
        read = tomllib.loads(text, parse_float=_float)
        if (keys := _keys(read, _MOST_LEVELS)) <= _MOST_KEYS:
            return read
        named = f"has {keys:,} keys, which begin with {', '.join(map(str, list(read)[:10]))[:_MOST_NAMED]}"
        problem = Problem("too-much", "", named, f"at most {_MOST_KEYS:,}", "name another file")
    except RecursionError:
        problem = Problem("too-deep", "", f"is nested deeper than {_MOST_LEVELS} levels", "", "name another file")
    except UnicodeDecodeError:
        problem = Problem("not-utf8", "", "is not a text file in UTF-8", "", "save it as UTF-8")
    except tomllib.TOMLDecodeError as error:
        problem = _toml_problem(str(error), text)
    except ValueError:  # Python's own limit of digits, and ours
        line = next((at for at, row in enumerate(text.split("\n"), 1) if _LONG_NUMBER.search(row)), 0)
        where = f"line {line}:" if line else ""
        problem = Problem("too-long", where, f"has a number of more than {_MOST_DIGITS} digits", "", "write it shorter")
    raise ScenarioError(problem, file=str(path))


def straight(path: str | Path) -> Path:
    """Return a path with no ".." in it: through a part that is missing, what is there would pass for missing, too."""
    with contextlib.suppress(OSError, RuntimeError, ValueError):  # a loop of links, or no path at all
        return Path(path).resolve() if ".." in Path(path).parts else Path(path)
    return Path(path)


def typed(path: Path | str, laid_over: Sequence[str] = ()) -> str:
    """Write a path, and the variants laid over its garden, as they are typed in any system's terminal."""
    text = str(path)
    plain = shlex.quote(text)
    if plain != text and (os.name == "nt" or not set('"$`\\!') & set(text)):
        plain = f'"{text}"'  # the quotes of both systems
    return " --variant ".join([plain, *map(typed, laid_over)])


def _has_long_key(line: str) -> bool:
    """Tell a line whose key, or a key in whose value, has more levels than a file may have."""
    if line.count(".") <= _MOST_LEVELS:
        return False
    bare = line if _MANY_LINED.search(line) else _QUOTED.sub("'", line)  # a quote in a long text may be none of TOML's
    return any(run.count(".") > _MOST_LEVELS for run in re.findall(r"[\w.'\"\s-]+", bare.partition("#")[0]))


def _float(text: str) -> float:
    if sum(map(str.isdigit, text)) > _MOST_DIGITS:
        raise ValueError
    return float(text)


def _keys(part: Any, levels: int) -> int:
    """Count the keys of a tree; a RecursionError if it has more levels, a ValueError for a whole number too long."""
    if isinstance(part, int) and abs(part) >= 10**_MOST_DIGITS:
        raise ValueError
    if not isinstance(part, dict | list):
        return 0
    if levels == 0:
        raise RecursionError
    inner = part.values() if isinstance(part, dict) else part
    return len(part) + sum(_keys(value, levels - 1) for value in inner)


def _toml_problem(message: str, text: str) -> Problem:
    """Say what `tomllib` found, with its line, its text and a cure."""
    rows = text.split("\n")
    at = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what = re.sub(r"\s*\(at .*\)$", "", message)
    row = int(at.group(1)) if at else len(rows)
    where = f"line {row}, column {at.group(2)}" if at else f"line {row}, where the file ends"
    line = rows[row - 1].strip() if 0 < row <= len(rows) else ""
    letter = rows[row - 1][int(at[2]) - 1 :][:1] if at else ""
    if twice := re.search(r"Cannot declare \((.*)\) twice", what):
        key = ".".join(re.findall("'([^']*)'", twice[1]))
        cure = "two parts can't have one name, so rename one; what stands in brackets or braces is gone on with there"
        return Problem("said-twice", where, f": [{key}] stands twice", "", cure)
    if "Cannot overwrite a value" in what:
        return Problem("said-twice", where, f": the key of `{line}` stands twice", "", "keep one")
    line = line.partition(" #")[0].strip()
    cure = "text goes in quotes, and a table is [name] on a line of its own"
    if "\0" in text or re.search(r"character '\\[rux]", what):
        cure = "save it again as plain text in UTF-8, with the line ends of Windows or Linux"
    elif letter != "\n" and (CONTROLS.match(letter) or (letter.isspace() and letter not in " \t")):
        cure = f"what stands in that column, {letter!a}, looks like a blank or like nothing: delete it, or type a blank"
    elif re.search("[“”„«»‘’]", line):
        cure = 'its quotes are curly: type straight ones, "like these"'
    elif what == r"Illegal character '\n'":
        cure = "a text ends on its own line, with the quotes that it begins with"
    elif re.search(r"=\s*\d+[-./]\d+[-./]\d+", line):
        cure = "a date is year-month-day and one of the calendar's, such as 2023-05-01"
    elif re.search(r"=\s*[-+]?\d+,\d+$", line):
        cure = "a number has a decimal point, such as 37.4"
    elif "not a Unicode scalar" in what:
        cure = r"no letter has the number behind that \u: type the letter itself"
    elif re.search(r"(?i)unescaped|hex value", what):
        cure = r"a backslash in quotes is written twice, \\, or folders of a path are parted by /, on Windows too"
    elif re.search(r"[,;\t].*[,;\t]", line) and all(above.lstrip()[:1] in ("", "#") for above in rows[: row - 1]):
        cure = "it looks like a table, such as a weather file: name the garden's file, which ends in .toml"
    elif what.startswith("Expected newline") and re.search(r"=\s*[-+]?\d", line):
        cure = 'a number stands alone, such as 37.4, and with a unit it is text in quotes, such as "50 cm"'
    elif what.startswith("Expected '='"):
        cure = 'a key is followed by =, such as title = "My garden"'
    found = f": this can't be read as TOML ({what})" + (f": {line[:60]}" if line else "")
    return Problem("not-toml", where, found, "", cure)
