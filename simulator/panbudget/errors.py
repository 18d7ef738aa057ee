"""
Errors meant for a person: where, what was found, what was expected, what to do.

A mistake is data first (`Problem`); its sentence is made where it is shown, and nothing searches or rewrites a
sentence. One base class of errors, a few children that a caller may want to tell apart. The command line prints the
message and exits 2; a traceback is for our own bugs only.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace

# letters that steer a terminal, turn the reading round or can't be seen, and halves of letters
CONTROLS = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u061c\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\ud800-\udfff\U000e0000-\U000e007f]"
)
_BREAKS = {ord("\n"): r"\n", ord("\t"): r"\t"}  # which a file's name may have, and a message of one line not
TO_PASTE = "# in the scenario, in place of a table of this name:"
_BESIDE = "# in the scenario, beside this fallback's file, in place of a key of this name (in braces behind a comma):"
# problems that are shown above whatever there is to paste
_LEAST_LINES = 4
# how a problem of a line of a file begins, and how many lines are named of which the same is said
_OF_LINE, _LINES_NAMED = re.compile(r"line (\d+)(?!\d)"), 5
# letters with which a known word that alone begins so is meant
_LEAST_BEGINNING = 3
# letters of what was found; of what is longer, as a broken file has it, so many at its beginning and its end
_LONGEST, _BEGINNING, _END = 1000, 700, 200


def visible(text: str) -> str:
    r"""
    Return a text whose control characters are written out.

    Examples
    --------
    >>> visible("a\x1b[2Jb")
    'a\\x1b[2Jb'
    """
    return CONTROLS.sub(lambda found: found[0].encode("unicode_escape", "surrogatepass").decode(), str(text))


def _in_short(text: str) -> str:
    """Leave out the middle of what is too long to be read."""
    return text if len(text) <= _LONGEST else f"{text[:_BEGINNING]} … {text[-_END:]}"


@dataclass(frozen=True)
class Problem:
    """
    One thing wrong, as data; `sentence` makes the line that a person reads.

    Parameters
    ----------
    code : str
        Short and stable, for scripts, such as "out-of-record".
    where : str
        Key path in a scenario, or column or row of a file; the sentence opens with it.
    found : str
        What is the matter there, a predicate: ``'= "2 kPa" is a pressure'``; or a sentence after a colon.
    expected : str
        What would be right, a noun: ``'a flow, such as "2 L/h"'``.
    cure : str
        What to do, an imperative; must work as it is pasted. Or a question (`did_you_mean`).
    value : object
        The value found, for callers; the sentence shows what ``found`` says.
    paste : tuple of (str, str)
        What to write in the scenario: key path, and its value as TOML has it. One block is made of all problems'.

    Examples
    --------
    >>> Problem("wrong-unit", "valve.swing", '= "2 kPa" is a pressure', 'a weight, such as "900 g"').sentence()
    'valve.swing = "2 kPa" is a pressure; expected: a weight, such as "900 g"'
    """

    code: str
    where: str = ""
    found: str = ""
    expected: str = ""
    cure: str = ""
    value: object = None
    paste: tuple[tuple[str, str], ...] = ()

    def sentence(self) -> str:
        """Return the line that a person reads: where, what was found, what was expected, what to do."""
        expected = f"expected: {self.expected}" if self.expected else ""
        gap = "" if self.found.startswith(":") else " "
        found = f"{self.where}{gap}{self.found}".strip()
        found = _in_short(found)
        parts = (found, expected, self.cure)
        # what is quoted from a broken file may hold line ends of its own
        return visible(" ".join("; ".join(filter(None, parts)).splitlines()))

    def settled(self) -> Problem:
        """Return the same problem with its words in the units that are shown now."""
        return replace(self, found=str(self.found), expected=str(self.expected), cure=str(self.cure))

    def under(self, prefix: str) -> Problem:
        """Return the same problem with a prefix put before where it is, such as "variant.wide: "."""
        return replace(self, where=prefix + self.where)


class PanbudgetError(Exception):
    """
    Base of every error that a user can cure.

    Parameters
    ----------
    *problems : Problem
        All that is wrong, collected: five mistakes in one file are one error with five lines.
    file : str, optional
        The file in which they stand, as the user named it.
    """

    #: so long a message may be
    most_lines = 40

    def __init__(self, *problems: Problem, file: str = "") -> None:
        self.problems = problems
        self.file = file
        super().__init__(*self.problems)  # from these it is made again in another process

    def settle(self) -> None:
        """Keep the words of its problems in the units that are shown now, wherever it is printed."""
        self.problems = self.args = tuple(problem.settled() for problem in self.problems)

    @property
    def key(self) -> str:
        """Key path, column or row of the first problem."""
        return self.problems[0].where if self.problems else ""

    @property
    def value(self) -> object:
        """Value of the first problem."""
        return self.problems[0].value if self.problems else None

    def text(self) -> str:
        """Return the message: one line a problem, each opening with the file's name; what to paste below them."""
        file, block = _in_short(visible(self.file.translate(_BREAKS))), self.block()
        where = f"{file}: " if file else ""
        most = max(self.most_lines - len(block), _LEAST_LINES)
        sentences = _sentences(self.problems)
        shown = sentences if len(sentences) <= most else sentences[: most - 1]
        lines = [where + sentence for sentence in shown]
        if more := len(sentences) - len(shown):
            lines.append(f"{where}and {more} more problems, which are shown when these are mended")
        return "\n".join([*lines, *block])

    def block(self) -> list[str]:
        """Return the lines to write in the scenario as they stand, a table for all problems that name a key of it."""
        tables: dict[str, dict[str, str]] = {}
        for key, value in (pair for problem in self.problems for pair in problem.paste):
            table, _, name = key.rpartition(".")
            tables.setdefault(table, {})[name] = value
        lent = tables.pop("weather.fallback.columns", {})  # one of several, which may stand in braces
        lines = [TO_PASTE] if tables else []
        for table, pairs in tables.items():
            lines += [f"[{table}]", *(f"{name} = {value}" for name, value in pairs.items())]
        if lent:
            lines += [_BESIDE, f"columns = {{ {', '.join(f'{name} = {value}' for name, value in lent.items())} }}"]
        return lines

    __str__ = text


def _sentences(problems: Iterable[Problem]) -> list[str]:
    """Return the sentences, one for all lines of a file of which the same is said."""
    sentences: list[tuple[Problem, list[int]]] = []
    of: dict[str, list[int]] = {}
    for problem in problems:
        line = _OF_LINE.match(problem.where)
        rest = replace(problem, where=problem.where[line.end() :]) if line else problem
        if line is None or (sentence := rest.sentence()) not in of:
            sentences.append((rest, []))
        if line is not None:
            of.setdefault(sentence, sentences[-1][1]).append(int(line[1]))
    return [replace(rest, where=_lines(lines) + rest.where).sentence() for rest, lines in sentences]


def _lines(lines: list[int]) -> str:
    """Name lines of a file before what is said of each."""
    if len(lines) < 2:
        return "".join(f"line {line}" for line in lines)
    if lines == [*range(lines[0], lines[-1] + 1)]:
        return f"each of the lines {lines[0]} to {lines[-1]}"
    more = len(lines) - _LINES_NAMED
    return f"each of the lines {', '.join(map(str, lines[:_LINES_NAMED]))}" + (f" and {more} more" if more > 0 else "")


class ScenarioError(PanbudgetError):
    """A scenario file that can't be read, or says something impossible."""


class WeatherError(PanbudgetError):
    """A weather file that can't be read, or can't be true."""

    most_lines = 12


class ReadingsError(PanbudgetError):
    """A file of meter readings that can't be read, or can't be true."""

    most_lines = 12


class OutputError(PanbudgetError):
    """A folder that can't be written."""


class ClosureError(PanbudgetError):
    """A water balance that does not close: a bug of ours, never hidden."""


def alike(name: str) -> str:
    """Return what names that look alike have in common, however they are composed and capitals aside."""
    return unicodedata.normalize("NFKC", name).strip().casefold()


def nearest(word: object, known: Iterable[object]) -> str | None:
    """Return the known word that looks most like this one, capitals aside, if any is like it; or which alone begins so."""
    by_folded, folded = {str(k).casefold(): str(k) for k in known}, str(word).casefold()
    match = [name for name in by_folded if name.startswith(folded)] if len(folded) >= _LEAST_BEGINNING else []
    match = match if len(match) == 1 else difflib.get_close_matches(folded, by_folded, n=1)
    return by_folded[match[0]] if match else None


def did_you_mean(word: object, known: Iterable[object], otherwise: str | None = None) -> str:
    """
    Return the cure for an unknown name.

    Parameters
    ----------
    word : object
        As it was written.
    known : iterable
        The names there are.
    otherwise : str, optional
        What to say where none looks like it; a list of the known ones if left out.

    Examples
    --------
    >>> did_you_mean("lome", ["loam", "sand"])
    'did you mean "loam"?'
    >>> did_you_mean("basalt", ["loam", "sand"])
    'known are loam, sand'
    """
    names = [str(name) for name in known]
    if near := nearest(word, names):
        return f'did you mean "{near}"?'
    return f"known are {', '.join(names)}" if otherwise is None else otherwise
