"""
Archive: a weather file taken out of its gzip or zip wrapping, or refused in one line.

Unpacking stops at `MOST_UNPACKED`, since a few kilobytes can be made to unpack to a full disk.
"""

from __future__ import annotations

import gzip
import io
import zipfile
import zlib
from typing import IO

from panbudget.errors import WeatherError
from panbudget.weather.text.mistakes import listed, refusal

GZIP_MARK = b"\x1f\x8b"
ZIP_MARK = b"PK\x03\x04"

#: largest file after unpacking; some 60 years of 10-minute records. [bytes]
MOST_UNPACKED = 500_000_000

_MOST_NAMED = 5
_LITTER = ("__macosx/", ".ds_store", "thumbs.db", "desktop.ini")


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
            return _at_most(stream, at_most, shown_as)
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


def is_workbook(archive: zipfile.ZipFile) -> bool:
    """Tell whether a zip archive is an .xlsx workbook."""
    return any(name.lower() == "xl/workbook.xml" for name in archive.namelist())


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
        "no-member": not members,
        "several-members": len(members) > 1,
        "locked-member": bool(members) and bool(members[0].flag_bits & 0x1),
    }
    for key in (key for key, holds in wrong.items() if holds):
        raise refusal(key, shown_as, count=len(members), named=named)
    try:
        with archive.open(members[0]) as stream:
            return _at_most(stream, at_most, shown_as), " ".join(named.split())
    except WeatherError:
        raise
    except Exception as error:  # as in `open_zip`: NotImplementedError, zlib.error, BadZipFile, EOFError and more
        raise refusal("damaged-zip", shown_as) from error


def _is_litter(name: str) -> bool:
    """Tell folders, and what an archive program adds of its own accord."""
    lowered = name.lower()
    return name.endswith("/") or lowered.startswith(_LITTER[0]) or lowered.rsplit("/", 1)[-1] in _LITTER[1:]


def _at_most(stream: IO[bytes] | gzip.GzipFile, most: int, shown_as: str) -> bytes:
    data = stream.read(most + 1)
    if len(data) > most:
        raise refusal("too-large", shown_as, most=most / 1e6)
    return data
