"""
Readers: the weather formats that are known, and which one a file is in.

To add a format: write a module with ``NAME``, ``SOURCE``, ``sniff`` and ``read`` (see `raw.Reader`) and list it here.
"""

from __future__ import annotations

from panbudget.errors import Problem, WeatherError, did_you_mean
from panbudget.weather.formats import epw, ghcn, gsod, isd_lite, knmi, logger, power, table, tmy3
from panbudget.weather.text.raw import Reader
from panbudget.weather.text.source import Source

#: name, as in `[weather] format` -> reader
READERS: dict[str, Reader] = {
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


def format_problem(file_format: str, *, where: str = "weather") -> Problem | None:
    """Say what is wrong with a format's name, or nothing."""
    names = ["auto", *READERS]
    if file_format in names:
        return None
    cure = did_you_mean(file_format, names, "name one of these")
    expected = " or ".join(f'"{name}"' for name in names)
    return Problem("unknown-format", f"{where}.format", f'= "{file_format}" is not known', expected, cure, file_format)


def choose_reader(source: Source, *, file_format: str) -> tuple[Reader, str]:
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
    (Reader, str)
        The reader, and why it was chosen.

    Raises
    ------
    WeatherError
        An unknown name, or a file that no reader recognises, or that two recognise equally well.
    """
    problem = format_problem(file_format)
    if problem is not None:
        raise WeatherError(problem, file=source.shown_as)
    if file_format != "auto":
        return READERS[file_format], "format named by the user"
    head = "\n".join(source.text.split("\n", _HEAD_LINES)[:_HEAD_LINES])
    scored = [(*reader.sniff(head), reader) for reader in READERS.values()]
    score, why, reader = max(scored, key=lambda entry: entry[0])
    equals = [other.NAME for other_score, _, other in scored if other_score == score]
    if score <= 0.0:
        first = next((line[:60] for line in head.split("\n") if line.strip() and not line.startswith("#")), "")
        found = f'is in no known weather format: it begins "{first}"' if first else "holds only comments"
        names = ", ".join(f'"{name}"' for name in READERS)
        expected = f"a table with a header line such as date,tmin,tmax,rain and one row a day (formats: {names})"
        code = "unknown-format" if first else "only-comments"
        raise source.refusal(code, found, "export or copy it again", expected=expected)
    if len(equals) > 1:
        either = " or ".join(f'"{name}"' for name in equals)
        found = f'= "auto" is not enough: the file may be in the format {either}, as its first lines show'
        cure = "name it beside the file, " + " or ".join(f'format = "{name}"' for name in equals)
        raise source.refusal("two-formats", found, cure, where=f"{source.table}.format")
    return reader, why
