"""
Source: the bytes of a weather file, turned into text once, or refused in one line.

A gzip file, a zip archive of one file and an .xlsx workbook are opened on the way (see `archive` and
`workbook`). Refuses what is no text at all (a picture, an old workbook) and what is text but no table (a web
page), because those are the files that people hand over by mistake.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from panbudget.errors import WeatherError
from panbudget.weather.text.archive import GZIP_MARK, ZIP_MARK, is_workbook, open_zip, unpack_gzip, unpack_zip
from panbudget.weather.text.workbook import sheet_as_text

__all__ = ["Source", "open_source"]

# first bytes of files that are often mistaken for a table -> what they are
_KINDS = {
    b"PK\x05\x06": "a zip archive without a file in it; pack or download it again",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook; open it and save the sheet as .xlsx or CSV",
    b"\x1f\x9d": "compressed with compress; unpack it first",
    b"\x28\xb5\x2f\xfd": "compressed with zstd; unpack it first",
    b"BZh": "compressed with bzip2; unpack it first",
    b"\xfd7zXZ\0": "compressed with xz; unpack it first",
    b"7z\xbc\xaf": "a 7z archive; unpack it first",
    b"Rar!": "a rar archive; unpack it first",
    b"%PDF": "a PDF; a table saved as CSV text is expected",
    b"\x89PNG": "a picture; a table saved as CSV text is expected",
    b"\xff\xd8\xff": "a picture; a table saved as CSV text is expected",
    b"SQLite": "a database; export the table as CSV",
    b"PAR1": "a Parquet file; export the table as CSV",
}
_WEB_PAGES = (
    "<!doctype",
    "<html",
    "<head",
    "<?xml",
    "<body",
    "<!--",
    "<script",
    "<meta",
    "<title",
    "<table",
    "<div",
    "<h1",
)
# how a workbook that is locked by a password names its contents, inside the old workbooks' wrapping
_LOCKED = "EncryptedPackage".encode("utf-16-le")
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
        Of its bytes, as they lie on the disk.
    encoding : str
        How the bytes were read.
    taken_from : str
        What it was unpacked from, such as "gzip"; empty for a plain text file.
    table : str
        The scenario's table that names it, to write cures with: f"[{source.table}.columns]".
    """

    text: str
    shown_as: str
    sha256: str
    encoding: str
    taken_from: str = ""
    table: str = "weather"


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
    sha256 = hashlib.sha256(data).hexdigest()
    taken_from = ""
    if data.startswith(GZIP_MARK):
        data, taken_from = unpack_gzip(data, shown_as=shown_as), "gzip"
    elif data.startswith(ZIP_MARK):
        archive = open_zip(data, shown_as=shown_as)
        if is_workbook(archive):
            text, sheet = sheet_as_text(data, archive, shown_as=shown_as)
            return Source(text, shown_as, sha256, "workbook", f"sheet {sheet!r}")
        data, member = unpack_zip(archive, shown_as=shown_as)
        taken_from = f"zip archive, file {member}"
    if taken_from and data.startswith((GZIP_MARK, ZIP_MARK)):
        raise refuse("holds another archive or a workbook inside; unpack it and name the file within")
    if data.startswith(b"\xd0\xcf\x11\xe0") and _LOCKED in data:
        raise refuse("is a spreadsheet workbook locked by a password; save it without one, or the sheet as CSV")
    if data[257:262] == b"ustar":
        raise refuse("is a tar archive, of many files as a rule; unpack it and name the weather file")
    for start, kind in _KINDS.items():
        if data.startswith(start):
            raise refuse(f"is {kind}")
    text_or_none, encoding = _decode(data)
    if text_or_none is None:
        raise refuse("is not a text file; a table saved as CSV text is expected: export it again as CSV")
    text = text_or_none
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        raise refuse("is empty; a header line and one row a day are expected: export or copy the file again")
    start_of_text = text.lstrip()[:200].lower()
    if start_of_text.startswith(_WEB_PAGES):
        raise refuse("is a web page or XML, not a table; download the file itself, as CSV")
    if start_of_text.startswith(("{", "[{")):
        raise refuse("is JSON, not a table; export or convert it to CSV")
    return Source(text, shown_as, sha256, encoding, taken_from)


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
    return _mixed(data)


def _mixed(data: bytes) -> tuple[str | None, str]:
    """
    Decode text that is not UTF-8 throughout, as when files of two programs are joined.

    A letter of two or more bytes is UTF-8 hardly ever by chance; what is no such letter is Windows-1252.
    """
    lines: list[str] = []
    has_utf8 = False
    for line in data.split(b"\n"):
        rest = line
        decoded = ""
        while rest:
            try:
                good, length = rest.decode("utf-8"), len(rest)
            except UnicodeDecodeError as error:
                good, length = rest[: error.start].decode("utf-8"), error.start
            has_utf8 = has_utf8 or not good.isascii()
            decoded += good
            if length < len(rest):
                one = _strict(rest[length : length + 1], "cp1252")
                if one is None:
                    return None, ""
                decoded += one
                length += 1
            rest = rest[length:]
        lines.append(decoded)
    text = "\n".join(lines)
    encoding = "utf-8 with bytes of cp1252" if has_utf8 else "cp1252"
    return (None if _has_control(text) else text.rstrip("\x1a")), encoding


def _strict(data: bytes, encoding: str) -> str | None:
    """Decode, or None where the bytes or the characters that come out can't be a table."""
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        return None
    return None if _has_control(text) else text.rstrip("\x1a")


def _has_control(text: str) -> bool:
    return any(ord(letter) < 32 and letter not in "\t\n\r\x0b\x0c\x1a" for letter in text[:4096])


def _near(place: Path) -> str:
    """Name a file beside the one that is missing, if one is called almost so."""
    import difflib

    try:
        names = [entry.name for entry in place.parent.iterdir() if entry.is_file()]
    except OSError:
        return f"; nor is there a folder {place.parent.name!r}" if place.parent.name else ""
    near = difflib.get_close_matches(place.name, names, n=1)
    return f" (beside it lies {near[0]!r})" if near else ""
