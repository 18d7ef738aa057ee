"""
Readers: the weather formats that are known, and which one a file is in.

To add a format: write a module with ``NAME``, ``SOURCE``, ``sniff`` and ``read`` (see `raw.Reader`) and list it here.
"""

from __future__ import annotations

from panbudget.errors import Problem, WeatherError, did_you_mean
from panbudget.weather.formats import epw, ghcn, gsod, isd_lite, knmi, logger, power, table, tmy3
from panbudget.weather.text.mistakes import problem
from panbudget.weather.text.raw import Reader, Source

_ALL: tuple[Reader, ...] = (table, ghcn, gsod, power, knmi, logger, isd_lite, tmy3, epw)
#: name, as in `[weather] format` -> reader
READERS = {reader.NAME: reader for reader in _ALL}

# how much of a file a reader may look at to recognise it
_HEAD_LINES = 150


def format_problem(file_format: str, *, where: str = "weather") -> Problem | None:
    """Say what is wrong with a format's name, or nothing."""
    names = ["auto", *READERS]
    if file_format in names:
        return None
    hint = did_you_mean(file_format, names, "name one of these")
    known = " or ".join(f'"{name}"' for name in names)
    return problem("unknown-format", value=file_format, table=where, name=file_format, known=known, hint=hint)


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
    if (unknown := format_problem(file_format)) is not None:
        raise WeatherError(unknown, file=source.shown_as)
    if file_format != "auto":
        return READERS[file_format], "format named by the user"
    head = "\n".join(source.text.split("\n", _HEAD_LINES)[:_HEAD_LINES])
    scored = [(*reader.sniff(head), reader) for reader in READERS.values()]
    score, why, reader = max(scored, key=lambda entry: entry[0])
    equals = [other.NAME for other_score, _, other in scored if other_score == score]
    if score <= 0.0:
        text = next((line[:60] for line in head.split("\n") if line.strip() and not line.startswith("#")), "")
        known = ", ".join(f'"{name}"' for name in READERS)
        raise source.refusal("no-format" if text else "no-format-only-comments", text=text, known=known)
    if len(equals) > 1:
        either = " or ".join(f'"{name}"' for name in equals)
        choices = " or ".join(f'format = "{name}"' for name in equals)
        raise source.refusal("two-formats", table=source.table, either=either, choices=choices)
    return reader, why
