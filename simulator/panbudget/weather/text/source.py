"""
Source: the bytes of a weather file, turned into text once, or refused in one line.

A gzip file, a zip archive of one file and an .xlsx workbook (see `workbook`) are opened on the way. Unpacking stops at
`files.MOST_UNPACKED`, since a few kilobytes can be made to unpack to a full disk. Refuses what is no text at all (a picture, an
old workbook) and what is text but no table (a web page), because those are the files that people hand over by mistake.
"""

import codecs
import contextlib
import gzip
import hashlib
import io
import itertools
import json
import os
import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.errors import WeatherError, nearest
from panbudget.files import (
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_LINES,
    MOST_UNPACKED,
    Unlikely,
    bounded,
    contents,
    unlikely_text,
)
from panbudget.weather.text.heading import known_unit
from panbudget.weather.text.mistakes import PROBLEMS, listed, refusal
from panbudget.weather.text.moments import is_dated
from panbudget.weather.text.raw import Source as Source
from panbudget.weather.text.workbook import sheet_as_text
from panbudget.words import packaged

_GZIP_MARK, _ZIP_MARK = b"\x1f\x8b", b"PK\x03\x04"
_MOST_NAMED = 5
_FEW_ZEROS = 0.02  # share of the bytes that are NUL in what is text all the same
_LITTER = ("__macosx/", ".ds_store", "thumbs.db", "desktop.ini")
# first bytes of files that are often mistaken for a table -> what is said of them
_KINDS = {start.encode("latin-1"): key for key, text in PROBLEMS.items() for start in text.get("starts", ())}
_WEB_PAGE = re.compile(r"<(!doctype|html|head|\?xml|body|!--|script|meta|title|table|div|h1)")
# how a workbook that is locked by a password names its contents, inside the old workbooks' wrapping
_LOCKED = "EncryptedPackage".encode("utf-16-le")
_CONTROL = re.compile(r"[\x01-\x08\x0e-\x19\x1b-\x1f]")
# a first line whose cells stand in apostrophes as others do in quotation marks
_IN_APOSTROPHES = re.compile(r"\s*'[^'\n\"]*'(?:[;,|\t]'[^'\n\"]*')+(?=\n)")
# two lines, each of which is one cell that holds marks between cells, as a spreadsheet writes a column of rows
_ROWS_IN_CELLS = re.compile(r'\s*"(?:[^"\n]|"")*[;,\t](?:[^"\n]|"")*"\n\s*"(?:[^"\n]|"")*[;,\t](?:[^"\n]|"")*"(?=\n)')
# but for ESC $ and ESC (, with which letters of older encodings begin
_CONTROL_BYTES = re.compile(rb"[\0-\x08\x0e-\x19\x1c-\x1f]|\x1b(?![$(])")
_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe\0\0", "utf-32"),
    (b"\0\0\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_MOST_JSON = 20_000_000  # letters, which take twenty times as many bytes when they are read
_NUMBERED = re.compile(r"[a-z]+[ _]?\d+")  # names that tell nothing but their place
_DEEPEST = 3  # of names within names, in the last of which the records are
_MILLISECONDS = re.compile(r"\d{12,13}")
_RECORDS = re.compile(r"\}\s*\n\s*\{")  # JSON with a record a line
_HEAD = 20_000  # bytes among which words of weather tables are looked for
_HEADERS = 200  # lines among which a header is


def open_source(path: str | Path, *, shown_as: str) -> Source:
    """
    Read a file's bytes as text.

    Parameters
    ----------
    path : str or Path
        Where the file lies.
    shown_as : str
        Name to use in messages.

    Returns
    -------
    Source
        UTF-8 with or without a mark, UTF-16, or else Windows-1252; single bytes of Windows-1252 among UTF-8
        are read as such.

    Raises
    ------
    WeatherError
        No such file, a folder, an unreadable, empty or binary file, a damaged archive or one of several
        files, a web page.
    """
    data = _bytes_of(Path(path), shown_as)
    sha256 = hashlib.sha256(data).hexdigest()
    taken_from = ""
    if data.startswith(_GZIP_MARK):
        data, taken_from = unpack_gzip(data, shown_as=shown_as), "gzip"
    elif data.startswith(_ZIP_MARK):
        archive = open_zip(data, shown_as=shown_as)
        if any(name.lower() == "xl/workbook.xml" for name in archive.namelist()):
            text, taken_from = sheet_as_text(data, archive, shown_as=shown_as)
            return Source(text, shown_as, sha256, "workbook", taken_from)
        data, member = unpack_zip(archive, shown_as=shown_as)
        taken_from = f"zip archive, file {member}"
    wrong = _what_is_no_text(data, packed=bool(taken_from))
    decoded, encoding = ("", "") if wrong else _decode(data)
    if not wrong and not encoding:
        wrong = "no-text" if _CONTROL_BYTES.search(data[:4096]) else "unknown-encoding"
    del data  # some files fill a good part of the memory
    text = re.sub(r"\r\r?\n|\r", "\n", decoded) if "\r" in decoded else decoded
    if _IN_APOSTROPHES.match(text):
        text = re.sub(r"(?m)(?<![^;,|\t\n])'([^'\"\n]*)'(?![^;,|\t\n])", r'"\1"', text)
    if _ROWS_IN_CELLS.match(text):
        text = re.sub(r'(?m)^"((?:[^"\n]|"")*)"$', lambda row: row[1].replace('""', '"'), text)
    if not wrong and text.lstrip()[:1] in ("[", "{") and (table := _json_as_table(text)):
        text, taken_from = table, f"{taken_from}, JSON".lstrip(", ")
    if wrong := wrong or _what_is_no_table(text):
        raise refusal(wrong, shown_as)
    if len(text) > MOST_CELLS and max(map(text.count, ",;\t|")) > MOST_CELLS:
        raise refusal("many-cells", shown_as, most=MOST_CELLS)
    if unlikely := unlikely_text(text) or _too_wide(text):
        raise refusal("unlikely-text", shown_as, line=unlikely[0], what=unlikely[1])
    return Source(text, shown_as, sha256, encoding, taken_from)


def _bytes_of(path: Path, shown_as: str) -> bytes:
    try:
        data = contents(path)
        if data.strip(b" \t\r\n\0"):
            return data
        raise refusal("empty", shown_as)
    except Unlikely as error:
        raise WeatherError(error.problem, file=shown_as) from None
    except (FileNotFoundError, NotADirectoryError):
        raise refusal("no-file", shown_as, near=_near(path)) from None
    except PermissionError:
        raise refusal("no-permission", shown_as) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise refusal("folder" if os.path.isdir(path) else "unreadable", shown_as, reason=reason) from None


def _what_is_no_text(data: bytes, *, packed: bool) -> str:
    """Return what is to be said of bytes that are known to be no text."""
    if packed and data.startswith((_GZIP_MARK, _ZIP_MARK)):
        return "packed-twice"
    if data.startswith(b"\xd0\xcf\x11\xe0") and _LOCKED in data:
        return "locked-workbook"
    if data[257:262] == b"ustar":
        return "tar"
    return next((key for start, key in _KINDS.items() if data.startswith(start)), "")


def _what_is_no_table(text: str) -> str:
    """Return what is to be said of text that is known to be no table."""
    start = text.lstrip()[:200].lower()
    if not start:
        return "empty"
    if _WEB_PAGE.match(start):
        return "web-page"
    return "json" if start.startswith(("{", "[{")) else ""


def _json_as_table(text: str) -> str:
    """
    Return JSON as a table: a list of records, a record a line, or lists side by side, with their units if those stand beside them.

    Examples
    --------
    >>> _json_as_table('{"daily_units": {"rain": "mm"}, "daily": {"time": ["2025-06-01"], "rain": [1.5]}}')
    'time,rain (mm)\\n2025-06-01,1.5\\n'
    """
    if len(text) > _MOST_JSON or text.count("{") > MOST_LINES:
        return ""
    lined = f"[{_RECORDS.sub('},{', text)}]" if text.lstrip()[0] == "{" and _RECORDS.search(text) else text
    try:
        data = json.loads(lined, object_pairs_hook=_unlike)
        found, tables = {"": data}, dict[str, list[dict[str, object]]]()
        for _ in range(_DEEPEST):
            within = [each for each in found.values() if isinstance(each, dict)]
            found |= {key: value for each in within for key, value in each.items()}
            tables = {
                key: [dict(_flat(row)) for row in rows] for key, value in found.items() if (rows := _records_of(value))
            }
            if tables:
                break
    except (ValueError, TypeError, RecursionError):
        return ""
    if len(tables) > 1:
        tables.pop("", None)  # one list by its name is no list beside others
    if len(tables) != 1:
        return ""
    ((key, rows),) = tables.items()
    columns = [*dict.fromkeys(itertools.chain.from_iterable(rows))]
    if len(columns) > MOST_COLUMNS or len(columns) * len(rows) > MOST_CELLS:
        return ""
    beside = {
        k: str(v) for of in found.values() if isinstance(of, dict) and of is not found[key] for k, v in of.items()
    }
    names = [
        beside[name]
        if name in beside and _NUMBERED.fullmatch(name)
        else f"{name} ({beside[name]})"
        if known_unit(beside.get(name, ""))
        else name
        for name in columns
    ]
    return pd.DataFrame(rows, columns=columns).to_csv(index=False, header=names, lineterminator="\n")


def _unlike(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return a record; a ValueError if it has a name twice."""
    record = dict(pairs)
    if len(record) < len(pairs):
        raise ValueError
    return record


def _flat(row: dict[str, Any], before: str = "") -> Iterator[tuple[str, object]]:
    """Yield a record's values, those of a record in it by both names."""
    for name, value in row.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{name} ")
        else:
            yield f"{before}{name}", value


def _records_of(value: object) -> list[dict[str, object]]:
    """Return the records of a list, of a day each, or of lists of one length by name; none where it is none of these."""
    if series := _series(value):
        return series
    if isinstance(value, list):
        return value if value and all(isinstance(row, dict) for row in value) else []
    if isinstance(value, dict) and value and all(is_dated(day) and isinstance(of, dict) for day, of in value.items()):
        return [{"date": day, **of} for day, of in value.items()]
    if not isinstance(value, dict) or not value:
        return []
    index = list[object]()
    if value.keys() >= {"columns", "data"}:  # as pandas splits a table
        index = value.get("index", [])
        value = _unlike(list(zip(value["columns"], map(list, zip(*value["data"], strict=True)), strict=True)))
    elif all(isinstance(each, dict) for each in value.values()):  # a record a column, all of the same rows
        index = [*next(iter(value.values()))]
        if not ((first := str([*index, ""][0])).isdigit() or is_dated(first)) or any(
            [*each] != index for each in value.values()
        ):
            return []
        value = {name: [*each.values()] for name, each in value.items()}
    days = [*map(_day_of, index)]
    value = ({"date": days} if any(days) else {}) | value
    if not all(isinstance(each, list) for each in value.values()):
        return []
    return [dict(zip(value, row, strict=True)) for row in zip(*value.values(), strict=True)]


def _series(value: object) -> list[dict[str, object]]:
    """Return a record a figure of lists of pairs, each a moment and a figure, by the words beside them; none where it is none."""
    lists = [{"name": name, "data": of} for name, of in value.items()] if isinstance(value, dict) else value
    records = list[dict[str, object]]()
    for of in lists if isinstance(lists, list) else []:
        pairs = [each for each in of.values() if isinstance(each, list)] if isinstance(of, dict) else []
        if len(pairs) != 1 or not pairs[0] or not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs[0]):
            return []
        unit = " ".join(str(text) for key, text in of.items() if key in ("unit", "units", "uom"))
        name = next((text for key, text in of.items() if isinstance(text, str) and text != unit), "")
        for pair in pairs[0]:
            figure, moment = sorted(pair, key=lambda each: bool(_day_of(each)))
            stamp = "time" if isinstance(moment, str) else "time (UTC)"
            if not (day := _day_of(moment)):
                return []
            records.append({stamp: day, "element": name, "unit": unit, "value": figure})
    return records


def _day_of(index: object) -> str:
    """Return the moment that counts milliseconds from 1970, as pandas writes an index; nothing for a row's number."""
    text = str(index)
    return str(pd.Timestamp(int(text), unit="ms")) if _MILLISECONDS.fullmatch(text) else text if is_dated(text) else ""


def _too_wide(text: str) -> tuple[int, str] | None:
    """Return the first line of those that may be a header that has more cells than a table, and what it holds."""
    start = 0
    for number in range(1, _HEADERS + 1):
        end = text.find("\n", start) % (len(text) + 1)
        # a line so short has no more cells, whatever parts them
        line = text[start:end] if end - start >= MOST_COLUMNS else ""
        if line and max(len(line.split(mark)) for mark in (",", ";", "\t", "|", None)) > MOST_COLUMNS:
            return number, f"holds more than {MOST_COLUMNS:,} cells"
        start = end + 1
    return None


def _encoding_of(data: bytes) -> str:
    """Return the encoding by its mark, or UTF-16 without one, whose ASCII letters leave every second byte zero."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return encoding
    zeros, half = [data[i:4096:2].count(0) for i in (0, 1)], len(data[:4096]) / 2
    if sum(zeros) <= _FEW_ZEROS * half:  # what NUL there is, is told by its line
        return "utf-8"
    wide = {"utf-16-be": zeros, "utf-16-le": zeros[::-1]}
    return next((encoding for encoding, (high, low) in wide.items() if high > 0.8 * half and low < 0.1 * half), "")


def _stray(error: UnicodeError) -> tuple[str, int]:
    """Decode one byte that is no UTF-8 as Windows-1252."""
    assert isinstance(error, UnicodeDecodeError)
    return error.object[error.start : error.start + 1].decode("cp1252"), error.start + 1


codecs.register_error("stray-cp1252", _stray)


def _decode(data: bytes) -> tuple[str, str]:
    """
    Return the text and its encoding; no text where that is not known for sure, no encoding where it can't be a table.

    Text that is not UTF-8 throughout, as when files of two programs are joined: a letter of two or more bytes is
    UTF-8 hardly ever by chance. Other bytes are in the encoding in which they have words of weather tables, or Windows-1252.
    """
    encoding = _encoding_of(data)
    text = _decoded(data, encoding) if encoding else ""
    if not text and data and encoding == "utf-8":
        encoding = _by_words(data)
        text = _decoded(data, encoding) if encoding else ""
        if not text:
            with contextlib.suppress(UnicodeDecodeError):
                text = data.decode("utf-8", "stray-cp1252")
            encoding = "cp1252" if data.decode("utf-8", "ignore").isascii() else "utf-8 with bytes of cp1252"
    if _CONTROL.search(text, 0, 4096):
        return "", ""
    return text.rstrip("\x1a"), encoding if text or not data else ""


def _decoded(data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        return ""


def _by_words(data: bytes) -> str:
    """Return the encoding in which the first lines have most words that tables of weather have; nothing where none has any."""
    head = data[:_HEAD].rpartition(b"\n")[0] if len(data) > _HEAD else data
    encodings: dict[str, list[str]] = packaged("weather/text/encodings.toml")
    texts = {encoding: _decoded(head, encoding).lower() for encoding in encodings}
    counts = {encoding: sum(word in text for word in encodings[encoding]) for encoding, text in texts.items()}
    best = max(counts, key=lambda encoding: counts[encoding])
    return best if counts[best] else ""


def _near(place: Path) -> str:
    """Name a file beside the one that is missing, if one is called almost so."""
    try:
        names = [entry.name for entry in place.parent.iterdir() if entry.is_file()]
    except OSError:
        return f"; nor is there a folder {place.parent.name!r}" if place.parent.name else ""
    near = nearest(place.name, names)
    return f" (beside it lies {near!r})" if near else ""


def unpack_gzip(data: bytes, *, shown_as: str, at_most: int = MOST_UNPACKED) -> bytes:
    """
    Unpack a gzip file.

    Parameters
    ----------
    data : bytes
        The file.
    shown_as : str
        Name to use in messages.
    at_most : int
        Largest result. [bytes]

    Returns
    -------
    bytes
        What was packed.

    Raises
    ------
    WeatherError
        A damaged or truncated file, or one that unpacks to more than ``at_most``.
    """
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
            return bounded(stream, at_most)
    except Unlikely as error:
        raise WeatherError(error.problem, file=shown_as) from None
    except (EOFError, OSError, zlib.error) as error:
        raise refusal("damaged-gzip", shown_as) from error


def open_zip(data: bytes, *, shown_as: str) -> zipfile.ZipFile:
    """
    Open a zip archive (a workbook is one too).

    Parameters
    ----------
    data : bytes
        The file.
    shown_as : str
        Name to use in messages.

    Returns
    -------
    ZipFile
        With its table of contents read.

    Raises
    ------
    WeatherError
        A damaged or truncated archive.
    """
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except Exception as error:  # a garbled table of contents ends in many kinds of error, struct.error among them
        raise refusal("damaged-either", shown_as) from error


def unpack_zip(archive: zipfile.ZipFile, *, shown_as: str, at_most: int = MOST_UNPACKED) -> tuple[bytes, str]:
    """
    Unpack the one file that a zip archive holds.

    Parameters
    ----------
    archive : ZipFile
        From `open_zip`.
    shown_as : str
        Name to use in messages.
    at_most : int
        Largest result. [bytes]

    Returns
    -------
    (bytes, str)
        The file and its name in the archive.

    Raises
    ------
    WeatherError
        No file or several, one locked by a password, damaged or too large; a spreadsheet in another format.
    """
    members = [entry for entry in archive.infolist() if not _is_litter(entry.filename)]
    named = listed((entry.filename for entry in members), _MOST_NAMED)
    wrong = {
        "open-document": {"mimetype", "content.xml"} <= set(archive.namelist()),
        "no-text-document": any(name.startswith(("word/", "ppt/")) for name in archive.namelist()),
        "no-member": not members,
        "several-members": len(members) > 1,
        "locked-member": bool(members) and bool(members[0].flag_bits & 0x1),
    }
    for key in (key for key, holds in wrong.items() if holds):
        raise refusal(key, shown_as, count=len(members), named=named)
    try:
        with archive.open(members[0]) as stream:
            return bounded(stream, at_most), " ".join(named.split())
    except Unlikely as error:
        raise WeatherError(error.problem, file=shown_as) from None
    except Exception as error:  # as in `open_zip`: NotImplementedError, zlib.error, BadZipFile, EOFError and more
        raise refusal("damaged-zip", shown_as) from error


def _is_litter(name: str) -> bool:
    """Tell folders, and what an archive program adds of its own accord."""
    lowered = name.lower()
    return name.endswith("/") or lowered.startswith(_LITTER[0]) or lowered.rsplit("/", 1)[-1] in _LITTER[1:]
