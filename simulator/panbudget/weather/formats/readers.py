"""
Readers: the weather formats that are known, and which one a file is in.

To add a format: write a module with ``NAME``, ``SOURCE``, ``sniff`` and ``read`` (see `raw.Reader`) and list it here.
"""

from __future__ import annotations

import difflib

from panbudget.errors import Problem, WeatherError
from panbudget.weather.formats import epw, ghcn, gsod, isd_lite, knmi, logger, power, table, tmy3
from panbudget.weather.text.raw import Reader, SiteReader
from panbudget.weather.text.source import Source

__all__ = ["READERS", "choose_reader", "format_problem"]

#: name, as in `[weather] format` -> reader
READERS: dict[str, Reader | SiteReader] = {
    table.NAME: table,
    ghcn.NAME: ghcn,
    gsod.NAME: gsod,
    power.NAME: power,
    knmi.NAME: knmi,
    logger.NAME: logger,
    isd_lite.NAME: isd_lite,
    tmy3.NAME: tmy3,
    epw.NAME: epw,
}

# how much of a file a reader may look at to recognise it
_HEAD_LINES = 60


def format_problem(file_format: str, *, where: str = "weather") -> str | None:
    """Say what is wrong with a format's name, or nothing."""
    if file_format == "auto" or file_format in READERS:
        return None
    names = ", ".join(f'"{name}"' for name in READERS)
    near = difflib.get_close_matches(file_format.lower(), ["auto", *READERS], n=1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    return f'{where}.format = "{file_format}" is not known; "auto" or {names} is expected{hint}'


def choose_reader(source: Source, *, file_format: str) -> tuple[Reader | SiteReader, str]:
    """
    Choose the reader of a file.

    Parameters
    ----------
    source : Source
        The file.
    file_format : str
        "auto", or a reader's name.

    Returns
    -------
    (Reader or SiteReader, str)
        The reader, and why it was chosen.

    Raises
    ------
    WeatherError
        An unknown name, or a file that no reader recognises, or that two recognise equally well.
    """
    names = ", ".join(f'"{name}"' for name in READERS)
    problem = format_problem(file_format)
    if problem is not None:
        raise WeatherError(problem, file=source.shown_as)
    if file_format != "auto":
        return READERS[file_format], "format named by the user"
    head = "\n".join(source.text.split("\n", _HEAD_LINES)[:_HEAD_LINES])
    scored = [(*reader.sniff(head), reader) for reader in READERS.values()]
    score, why, reader = max(scored, key=lambda entry: entry[0])
    if score <= 0.0:
        first = next((line[:60] for line in head.split("\n") if line.strip() and not line.startswith("#")), "")
        if not first:
            message = "holds only comments; a header line and one row a day are expected: export or copy it again"
            raise WeatherError(message, file=source.shown_as)
        message = (
            f'is in no weather format that is known: it begins "{first}"; a table with a header line such as '
            f"date,tmin,tmax,rain is expected (formats: {names}): export it as CSV with such a header"
        )
        raise WeatherError(message, file=source.shown_as)
    equals = [other for other_score, _, other in scored if other_score == score]
    if len(equals) > 1:
        either = " or ".join(f'"{other.NAME}"' for other in equals)
        cure = " or ".join(f'format = "{other.NAME}"' for other in equals)
        message = (
            f"may be in the format {either}, and its first lines don't tell which: name it under [weather], {cure}"
        )
        raise WeatherError(Problem.of_text(message, key="weather.format"), file=source.shown_as)
    return reader, why
