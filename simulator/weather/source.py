"""
Source: the bytes of a weather file, turned into text once, or refused in one line.

Refuses what is no text at all (a workbook, an archive, a picture) and what is text but no table (a web page),
because those are the files that people hand over by mistake.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from simulator.errors import WeatherError

__all__ = ["Source", "open_source"]

# first bytes of files that are often mistaken for a table -> what they are
_KINDS = {
    b"PK\x03\x04": "a spreadsheet workbook or a zip archive; open it and save the sheet as CSV",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook; open it and save the sheet as CSV",
    b"\x1f\x8b": "compressed with gzip; unpack it first",
    b"%PDF": "a PDF; a table saved as CSV text is expected",
    b"\x89PNG": "a picture; a table saved as CSV text is expected",
    b"\xff\xd8\xff": "a picture; a table saved as CSV text is expected",
    b"SQLite": "a database; export the table as CSV",
    b"PAR1": "a Parquet file; export the table as CSV",
}
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


@dataclass(frozen=True)
class Source:
    """
    A weather file as text.

    Parameters
    ----------
    text : str
        The whole file, line ends as ``\\n``.
    shown_as : str
        Its name as the user gave it.
    sha256 : str
        Of its bytes.
    encoding : str
        How the bytes were read.
    """

    text: str
    shown_as: str
    sha256: str
    encoding: str


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
        UTF-8 with or without a mark, UTF-16, or else Windows-1252.

    Raises
    ------
    WeatherError
        No such file, a folder, an unreadable, empty or binary file, a web page.
    """

    def refuse(message: str) -> WeatherError:
        return WeatherError(message, file=shown_as)

    place = Path(path)
    if place.is_dir():
        raise refuse("is a folder; the path of a weather file is expected: add the file's name")
    try:
        data = place.read_bytes()
    except FileNotFoundError as error:
        raise refuse(
            f"there is no such file{_near(place)}; check the path, which is relative to the scenario"
        ) from error
    except PermissionError as error:
        raise refuse("may not be read; give yourself permission to read it") from error
    except (OSError, ValueError) as error:
        raise refuse(f"can't be read ({error}); check the path and the disk") from error
    if not data.strip(b" \t\r\n\0"):
        raise refuse("is empty; a header line and one row a day are expected: export or copy the file again")
    for start, kind in _KINDS.items():
        if data.startswith(start):
            raise refuse(f"is {kind}")
    text, encoding = _decode(data)
    if text is None:
        raise refuse("is not a text file; a table saved as CSV text is expected: export it again as CSV")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        raise refuse("is empty; a header line and one row a day are expected: export or copy the file again")
    start_of_text = text.lstrip()[:200].lower()
    if start_of_text.startswith(("<!doctype", "<html", "<head", "<?xml", "<body")):
        raise refuse("is a web page or XML, not a table; download the file itself, as CSV")
    if start_of_text.startswith(("{", "[{")):
        raise refuse("is JSON, not a table; export or convert it to CSV")
    return Source(text, shown_as, hashlib.sha256(data).hexdigest(), encoding)


def _decode(data: bytes) -> tuple[str | None, str]:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _strict(data, encoding), encoding
    if b"\0" in data[:4096]:
        # UTF-16 without a mark: ASCII letters leave every second byte zero
        even, odd = data[:4096:2].count(0), data[1:4096:2].count(0)
        half = len(data[:4096]) / 2
        if odd > 0.8 * half and even < 0.1 * half:
            return _strict(data, "utf-16-le"), "utf-16-le"
        if even > 0.8 * half and odd < 0.1 * half:
            return _strict(data, "utf-16-be"), "utf-16-be"
        return None, ""
    text = _strict(data, "utf-8")
    if text is not None:
        return text, "utf-8"
    return _strict(data, "cp1252"), "cp1252"


def _strict(data: bytes, encoding: str) -> str | None:
    """Decode, or None where the bytes or the characters that come out can't be a table."""
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        return None
    control = sum(1 for letter in text[:4096] if ord(letter) < 32 and letter not in "\t\n\r\x0b\x0c\x1a")
    return None if control else text.rstrip("\x1a")


def _near(place: Path) -> str:
    """Name a file beside the one that is missing, if one is called almost so."""
    import difflib

    try:
        names = [entry.name for entry in place.parent.iterdir() if entry.is_file()]
    except OSError:
        return f"; nor is there a folder {place.parent.name!r}" if place.parent.name else ""
    near = difflib.get_close_matches(place.name, names, n=1)
    return f" (beside it lies {near[0]!r})" if near else ""
