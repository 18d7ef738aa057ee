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

from panbudget.errors import Problem, WeatherError

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
        raise _damaged("gzip file", shown_as) from error


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
        raise _damaged("spreadsheet workbook or a zip archive", shown_as) from error


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
    named = ", ".join(entry.filename for entry in members[:_MOST_NAMED])
    more = f" and {len(members) - _MOST_NAMED} more" if len(members) > _MOST_NAMED else ""
    code, found, cure = "", "", ""
    if {"mimetype", "content.xml"} <= set(archive.namelist()):
        code, found = "workbook", "is a spreadsheet workbook in the OpenDocument format"
        cure = "open it and save the sheet as .xlsx or CSV"
    elif not members:
        code, found, cure = "no-member", "is a zip archive without a file in it", "pack or download it again"
    elif len(members) > 1:
        code, found = "several-members", f"is a zip archive of {len(members)} files ({named}{more}); one is expected"
        cure = "unpack it and name the weather file"
    elif members[0].flag_bits & 0x1:
        code, found = "locked", f"is a zip archive whose file {named} is locked by a password"
        cure = "unpack it first"
    if code:
        raise WeatherError(Problem(code, found=found, cure=cure), file=shown_as)
    try:
        with archive.open(members[0]) as stream:
            return _at_most(stream, at_most, shown_as), " ".join(named.split())
    except WeatherError:
        raise
    except Exception as error:  # as in `open_zip`: NotImplementedError, zlib.error, BadZipFile, EOFError and more
        raise _damaged("zip archive", shown_as) from error


def _is_litter(name: str) -> bool:
    """Tell folders, and what an archive program adds of its own accord."""
    lowered = name.lower()
    return name.endswith("/") or lowered.startswith(_LITTER[0]) or lowered.rsplit("/", 1)[-1] in _LITTER[1:]


def _at_most(stream: IO[bytes] | gzip.GzipFile, most: int, shown_as: str) -> bytes:
    data = stream.read(most + 1)
    if len(data) > most:
        found = f"unpacks to more than {most / 1e6:g} MB, which no table of daily or hourly weather needs"
        problem = Problem("too-large", found=found, cure="unpack it yourself and keep the years that you need")
        raise WeatherError(problem, file=shown_as)
    return data


def _damaged(kind: str, shown_as: str) -> WeatherError:
    cure = "open it and save the sheet as CSV: copy" if "workbook" in kind else "copy"
    problem = Problem("damaged", found=f"is a {kind} that is damaged or cut off", cure=f"{cure} or download it again")
    return WeatherError(problem, file=shown_as)
