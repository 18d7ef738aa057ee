"""
Source: the bytes of a weather file, turned into text once, or refused in one line.

A gzip file, a zip archive of one file and an .xlsx workbook are opened on the way (see `archive` and
`workbook`). Refuses what is no text at all (a picture, an old workbook) and what is text but no table (a web
page), because those are the files that people hand over by mistake.
"""

from __future__ import annotations

import codecs
import difflib
import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from panbudget.errors import Problem, WeatherError
from panbudget.weather.text.archive import GZIP_MARK, ZIP_MARK, is_workbook, open_zip, unpack_gzip, unpack_zip
from panbudget.weather.text.workbook import sheet_as_text

_EXPORT = "a table saved as CSV text"
# first bytes of files that are often mistaken for a table -> what they are, and what to do
_KINDS = {
    b"PK\x05\x06": ("a zip archive without a file in it", "pack or download it again"),
    b"\xd0\xcf\x11\xe0": ("an old spreadsheet workbook", "open it and save the sheet as .xlsx or CSV"),
    b"\x1f\x9d": ("compressed with compress", "unpack it first"),
    b"\x28\xb5\x2f\xfd": ("compressed with zstd", "unpack it first"),
    b"BZh": ("compressed with bzip2", "unpack it first"),
    b"\xfd7zXZ\0": ("compressed with xz", "unpack it first"),
    b"7z\xbc\xaf": ("a 7z archive", "unpack it first"),
    b"Rar!": ("a rar archive", "unpack it first"),
    b"%PDF": ("a PDF", f"export the table itself: {_EXPORT} is expected"),
    b"\x89PNG": ("a picture", f"export the table itself: {_EXPORT} is expected"),
    b"\xff\xd8\xff": ("a picture", f"export the table itself: {_EXPORT} is expected"),
    b"SQLite": ("a database", "export the table as CSV"),
    b"PAR1": ("a Parquet file", "export the table as CSV"),
}
_WEB_PAGE = re.compile(r"<(!doctype|html|head|\?xml|body|!--|script|meta|title|table|div|h1)")
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

    def refusal(self, code: str, found: str, cure: str, *, where: str = "", expected: str = "") -> WeatherError:
        """Make the error that refuses it."""
        return WeatherError(Problem(code, where, found, expected, cure), file=self.shown_as)


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
    if data.startswith(GZIP_MARK):
        data, taken_from = unpack_gzip(data, shown_as=shown_as), "gzip"
    elif data.startswith(ZIP_MARK):
        archive = open_zip(data, shown_as=shown_as)
        if is_workbook(archive):
            text, sheet = sheet_as_text(data, archive, shown_as=shown_as)
            return Source(text, shown_as, sha256, "workbook", f"sheet {sheet!r}")
        data, member = unpack_zip(archive, shown_as=shown_as)
        taken_from = f"zip archive, file {member}"
    refusal = _what_is_no_text(data, packed=bool(taken_from))
    decoded, encoding = (None, "") if refusal else _decode(data)
    text = (decoded or "").replace("\r\n", "\n").replace("\r", "\n")
    if refusal is None and decoded is None:
        refusal = "no-text", "is not a text file", f"export it again as CSV: {_EXPORT} is expected"
    refusal = refusal or _what_is_no_table(text)
    if refusal is not None:
        code, found, cure = refusal
        raise WeatherError(Problem(code, found=found, cure=cure), file=shown_as)
    return Source(text, shown_as, sha256, encoding, taken_from)


def _bytes_of(path: Path, shown_as: str) -> bytes:
    try:
        data = path.read_bytes()
        if data.strip(b" \t\r\n\0"):
            return data
        code, found, cure = _EMPTY
    except FileNotFoundError:
        code, found = "no-file", f"there is no such file{_near(path)}"
        cure = "check the path, which is relative to the scenario"
    except PermissionError:
        code, found, cure = "no-permission", "may not be read", "give yourself permission to read it"
    except (OSError, ValueError) as error:
        code, found, cure = "unreadable", f"can't be read ({error})", "check the path and the disk"
        if path.is_dir():
            code, found, cure = "folder", "is a folder; the path of a weather file is expected", "add the file's name"
    raise WeatherError(Problem(code, found=found, cure=cure), file=shown_as)


_EMPTY = ("empty", "is empty; a header line and one row a day are expected", "export or copy the file again")


def _what_is_no_text(data: bytes, *, packed: bool) -> tuple[str, str, str] | None:
    """Return code, what was found and cure of bytes that are known to be no text."""
    if packed and data.startswith((GZIP_MARK, ZIP_MARK)):
        return "packed-twice", "holds another archive or a workbook inside", "unpack it and name the file within"
    if data.startswith(b"\xd0\xcf\x11\xe0") and _LOCKED in data:
        cure = "save it without one, or the sheet as CSV"
        return "locked", "is a spreadsheet workbook locked by a password", cure
    if data[257:262] == b"ustar":
        return "tar", "is a tar archive, of many files as a rule", "unpack it and name the weather file"
    return next(
        (("no-text", f"is {kind}", cure) for start, (kind, cure) in _KINDS.items() if data.startswith(start)), None
    )


def _what_is_no_table(text: str) -> tuple[str, str, str] | None:
    """Return code, what was found and cure of text that is known to be no table."""
    start = text.lstrip()[:200].lower()
    if not start:
        return _EMPTY
    if _WEB_PAGE.match(start):
        return "web-page", "is a web page or XML, not a table", "download the file itself, as CSV"
    if start.startswith(("{", "[{")):
        return "json", "is JSON, not a table", "export or convert it to CSV"
    return None


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


def _stray(error: UnicodeError) -> tuple[str, int]:
    """Decode one byte that is no UTF-8 as Windows-1252."""
    assert isinstance(error, UnicodeDecodeError)
    return error.object[error.start : error.start + 1].decode("cp1252"), error.start + 1


codecs.register_error("stray-cp1252", _stray)


def _mixed(data: bytes) -> tuple[str | None, str]:
    """
    Decode text that is not UTF-8 throughout, as when files of two programs are joined.

    A letter of two or more bytes is UTF-8 hardly ever by chance; what is no such letter is Windows-1252.
    """
    encoding = "cp1252" if data.decode("utf-8", "ignore").isascii() else "utf-8 with bytes of cp1252"
    return _strict(data, "utf-8", "stray-cp1252"), encoding


def _strict(data: bytes, encoding: str, errors: str = "strict") -> str | None:
    """Decode, or None where the bytes or the characters that come out can't be a table."""
    try:
        text = data.decode(encoding, errors)
    except UnicodeDecodeError:
        return None
    has_control = any(ord(letter) < 32 and letter not in "\t\n\r\x0b\x0c\x1a" for letter in text[:4096])
    return None if has_control else text.rstrip("\x1a")


def _near(place: Path) -> str:
    """Name a file beside the one that is missing, if one is called almost so."""
    try:
        names = [entry.name for entry in place.parent.iterdir() if entry.is_file()]
    except OSError:
        return f"; nor is there a folder {place.parent.name!r}" if place.parent.name else ""
    near = difflib.get_close_matches(place.name, names, n=1)
    return f" (beside it lies {near[0]!r})" if near else ""
