"""
Pages: the shared ground of every report: a record of what a page says, and the one template that renders it.

How a verb uses it. Its room, ``reports/VERB/``, holds three things:

- ``texts.toml``: what its page says in fixed words. A table of this file is a section of the page: ``heading`` (or
  ``subheading``), ``text`` above, ``note`` in small letters beneath, ``none`` in place of an empty table, and how its
  table is shown: ``names`` (so many columns of names before the numbers), ``grouped`` (a name is not repeated in the row
  below), ``paired`` (rows belong two and two), ``columns`` (column of the DataFrame -> its heading, or heading and
  format, as `words.written` takes it). ``[captions]`` has a caption a figure. What stands in braces is filled in: ``{litres}``,
  ``{litres:litres}``, ``{days:count day}``, ``{level:depth}``; after the colon, a format as above. A heading that ends with
  ``[depth]`` or another kind of quantity has its unit there, and its column's numbers in that unit.
- ``page.py``: a function from a result and its drawn figures to a `Report`, whose sections are made by `section`, in the
  page's order; an empty section is left out. And ``VERB``, a `writing.Verb`, which names page, totals, tables and
  figures; `writing.write` does the rest.
- ``figures.py``: what is drawn, where there is something to draw.

Whatever came from a user's file passes through the template's escaping. No page has a script or an address outside.
"""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import jinja2
import pandas as pd
from markupsafe import Markup, escape

from panbudget import words
from panbudget.errors import visible
from panbudget.reports.arranging import arranged, causes, words_used
from panbudget.season.result import Finding
from panbudget.studies.ranges import SCAN
from panbudget.words import InUnits, filled, written

#: a table's rows
Rows = Iterable[Mapping[str, Any]] | pd.DataFrame
# where a template has the words that the page uses
_WORDS = "<!-- words used -->"
#: keys of a section in ``texts.toml`` that say how its table is shown
_OF_TABLE = ("columns", "names", "grouped", "paired", "caption", "widths", "total")


@functools.cache
def texts(room: str = "") -> dict[str, Any]:
    """Return the fixed words of a room's page, or those of every page."""
    return words.packaged("/".join(part for part in ("reports", room, "texts.toml") if part))


def margin_said(factors: tuple[float, float] | None) -> str:
    """Write between which factors something holds; the ends of what was looked at stand for what lies beyond them."""
    fixed = texts()["margin"]
    if factors is None:
        return str(fixed["none"])
    low, high = factors
    at_ends = low <= SCAN[0], high >= SCAN[-1]
    bounds = [fixed[key] if at_end else f"{at:.2f}" for key, at_end, at in zip(("low", "high"), at_ends, factors)]  # noqa: B905
    return str(fixed["between"]).format(*bounds)


def margins_said(sure: Any) -> dict[str, str]:
    """Write a result's margins in exposure and in refill flow, for a sentence or a row."""
    return {"exposure": margin_said(sure and sure.exposure), "refill": margin_said(sure and sure.refill_flow)}


def sentence(room: str, key: str, /, **values: Any) -> str:
    """
    Fill one of a room's sentences.

    Parameters
    ----------
    room, key : str
        It stands under ``[sentences]`` of ``reports/ROOM/texts.toml``.
    **values
        For its braces.
    """
    text: str = filled(texts(room)["sentences"][key], values)
    return text


@dataclass(frozen=True)
class Table:
    """What a table says: ``names`` columns of text, then numbers; ``paired`` rows belong two and two."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    names: int = 1
    paired: bool = False


@dataclass(frozen=True)
class Section:
    """
    A part of a page. What is empty is left out: a table without rows takes its heading and note along.

    Parameters
    ----------
    heading, subheading : str
    text : str
        Above.
    figures : mapping
        Name -> SVG element.
    captions : mapping
        Name -> caption.
    table : DataFrame or None
        With ``labels``, ``units``, ``formats`` and the like in its attrs; see `table_of`.
    none : str
        In place of a table without rows.
    findings : sequence of Finding or None
    items : sequence of str
        A list.
    entries : mapping
        A word in bold -> what stands behind it, a line each.
    code : str
        To copy, as it is.
    note : str
        Beneath, in small letters.
    folded : bool or None
        Whether it stands behind its heading until somebody opens it; tables and lists do if nothing is said.
    """

    heading: str = ""
    subheading: str = ""
    text: str = ""
    figures: Mapping[str, str] | None = None
    captions: Mapping[str, str] | None = None
    table: pd.DataFrame | None = None
    none: str = ""
    findings: Iterable[Finding] | None = None
    items: Sequence[str] | None = None
    entries: Mapping[str, str] | None = None
    code: str = ""
    note: str = ""
    folded: bool | None = None

    @property
    def shown(self) -> bool:
        """Whether it has a place on the page."""
        if self.table is not None and not len(self.table):
            return bool(self.none)
        if contents := [part for part in (self.figures, self.items) if part is not None]:
            return any(map(len, contents))
        texts = (self.heading, self.subheading, self.text, self.code, self.note)
        return any(texts) or self.table is not None or self.findings is not None


@dataclass(frozen=True)
class Report:
    """
    What a page says.

    Parameters
    ----------
    title, when : str
    sections : sequence of Section
        In the page's order.
    sentences : sequence of str
        The answer: three beside the picture, the others to unfold.
    first : sequence of str
        What to do first, in order.
    note : str or None
        The scenario's own, under the title.
    lead : sequence of str
        How it was counted: what a rule means; to unfold.
    assumptions : sequence of str
    method : bool
        Whether method and cautions follow.
    provenance : mapping or None
        Versions and fingerprints, as `writing.provenance` gives them.
    garden : Section or None
        The garden that it is about.
    laid_over : sequence of str
        Variants, in order.
    has_tank : bool
        Whether a tank is described, whose cautions follow.
    picture_later : bool
        Whether what to do stands before the picture, and the tables before the cautions: on a page that is looked at daily.
    template : str
        What renders it; a page that is signed or taken outside has one of its own.
    pages : sequence of Report
        Sheets of paper, where there are several.
    """

    #: what renders it; a page that is signed or taken outside has one of its own
    title: str
    when: str
    sections: Sequence[Section]
    sentences: Sequence[str] = ()
    first: Sequence[str] = ()
    note: str | None = None
    lead: Sequence[str] = ()
    assumptions: Sequence[str] = ()
    method: bool = True
    provenance: Mapping[str, Any] | None = None
    garden: Section | None = None
    laid_over: Sequence[str] = ()
    has_tank: bool = False
    picture_later: bool = False
    template: str = "page.html.j2"
    pages: Sequence[Report] = ()


def section(
    room: str, key: str, *, table: Rows | None = None, fill: Mapping[str, Any] | None = None, **content: Any
) -> Section:
    """
    Make a section of a page.

    Parameters
    ----------
    room, key : str
        Where its words stand: a table of ``reports/ROOM/texts.toml``.
    table : DataFrame or iterable of mappings, optional
        A row each; its columns are those that the words name, or all where they name none.
    fill : mapping, optional
        For the braces in its words.
    **content
        What else `Section` takes; before the words of the file.
    """
    fixed = dict(texts(room).get(key, {}))
    if "figures" in content:
        fixed["captions"] = texts(room)["captions"]
    if table is not None and not isinstance(table, pd.DataFrame):
        table = list(table)
    if fill is not None or table is None or len(table):  # of an empty table nobody knows what its words would say
        fixed = filled(fixed, fill or {})
    described = {name: fixed.pop(name) for name in _OF_TABLE if name in fixed}
    if table is not None:
        fixed["table"] = labelled(table, **described)
    return Section(**{**fixed, **content})


def words_of(room: str) -> tuple[Callable[..., Section], Callable[..., str]]:
    """Return `section` and `sentence` for one room."""
    return functools.partial(section, room), functools.partial(sentence, room)


def labelled(rows: Rows, columns: Mapping[str, Any] | None = None, **shown: Any) -> pd.DataFrame:
    """
    Make a table that says of itself how it is shown.

    Parameters
    ----------
    rows : iterable of mappings or DataFrame
    columns : mapping
        Column -> heading, or (heading, format).
    **shown
        ``names``, ``grouped``, ``paired``, ``caption``.

    Returns
    -------
    DataFrame
        With ``labels`` and ``formats`` in attrs, and what else was given.
    """
    columns = columns or {}
    if not isinstance(rows, pd.DataFrame):  # a frame's column of texts would keep the metric ones
        rows = [{key: str(v) if isinstance(v, InUnits) else v for key, v in row.items()} for row in rows]
    frame = pd.DataFrame(rows)
    if not len(frame.columns):
        frame = pd.DataFrame(columns=list(columns))
    frame = frame[[name for name in columns or frame if name in frame]]
    pairs = {name: (what, 0) if isinstance(what, str) else what for name, what in columns.items()}
    labels, formats = ({name: pair[at] for name, pair in pairs.items()} for at in (0, 1))
    frame.attrs.update(labels=labels, formats=formats, **shown)
    return frame


def table_of(frame: pd.DataFrame) -> Table:
    """
    Put a DataFrame as text, by what its attrs say of it.

    Parameters
    ----------
    frame : DataFrame
        In attrs, all of them optional: ``labels`` (column -> heading), ``units`` (column -> unit), ``formats`` (column ->
        what `written` takes), ``names``, ``grouped``, ``paired``, ``caption``.
    """
    labels, units, formats = (frame.attrs.get(key, {}) for key in ("labels", "units", "formats"))
    named = ((labels.get(name, str(name)), units.get(name)) for name in frame)
    heads = [words.heading(label + (f" [{unit}]" if unit else "")) for label, unit in named]
    headings, kinds = [text for text, _ in heads], [kind for _, kind in heads]
    by_kind = zip(frame, kinds, strict=True)
    columns = [[_cell(value, formats.get(name, 0), kind) for value in frame[name].tolist()] for name, kind in by_kind]
    if frame.attrs.get("grouped") and columns:
        first = columns[0]
        columns[0] = [text if at == 0 or text != first[at - 1] else "" for at, text in enumerate(first)]
    shown = {key: frame.attrs[key] for key in ("caption", "names", "paired") if key in frame.attrs}
    return Table(tuple(headings), tuple(zip(*columns, strict=True)), **shown)


def _cell(value: Any, form: str | int, kind: str = "") -> str:
    if isinstance(value, str):
        return str(value)
    if isinstance(value, dt.date):
        return value.isoformat().replace("-", "\u2011")  # so that no cell breaks a date
    if isinstance(value, bool):
        return "yes" if value else "no"
    value = None if value != value else value
    return words.bare(value, kind, form) if kind else str(written(value, form))


def placed_figures(part: Section) -> Iterator[dict[str, Any]]:
    """Put a section's figures; one drawn for each valve, such as "map-2", has the caption of "map"."""
    captions = part.captions or {}
    for name, svg in (part.figures or {}).items():
        # several figures on one page: each gets ids of its own, or one's clip paths would cut another
        renamed = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", svg)
        # drawn by us from escaped text, so it may pass as it is
        yield {"name": name, "svg": Markup(renamed), "caption": captions.get(re.sub(r"-\d+$", "", name), name)}


def provenance_table(provenance: Mapping[str, Any]) -> Table:
    """Say what a page was made from."""
    weather, laid = provenance["weather"], provenance.get("variants")
    rows = {
        "panbudget": provenance["panbudget"],
        "Python": provenance["python"],
        **provenance["packages"],
        "scenario file, SHA-256": provenance["scenario_file_sha256"],
        "scenario as it ran, SHA-256": provenance["scenario_sha256"],
        **({"variants laid over it": ", ".join(laid)} if laid else {}),
        "weather file": weather["file"],
        "weather file, read as": weather["recognised"],
        "weather file, days": f"{weather['first']} to {weather['last']}",
        "weather, SHA-256": provenance["weather_sha256"],
        **{f"fallback {lent['file']}, SHA-256": lent["sha256"] for lent in weather["fallbacks"]},
    }
    return Table(("what", "which"), tuple(rows.items()), names=2)


def whole_options(text: object) -> Markup:
    """Write a text for a page so that no line ends within an option of a command, and what stands in backticks as code."""
    whole = re.sub(r"(?<!\S)--[a-z][\w-]*", r'<span class="option">\g<0></span>', str(escape(text)))
    return Markup(re.sub("`([^`]+)`", r"<code>\1</code>", whole))


@functools.cache
def _templates() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("panbudget.reports", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=lambda value: str(value) if isinstance(value, InUnits) else value,  # not every markupsafe asks for it
        trim_blocks=True,
        lstrip_blocks=True,
    )
    filters = (whole_options, table_of, arranged, causes, placed_figures, provenance_table, words.day_said, words.count)
    environment.filters |= {function.__name__: function for function in filters}
    return environment


def render(template: str, **content: Any) -> str:
    """Fill one of our templates; letters that nobody sees, or that turn the reading round, are written out."""
    return visible(_templates().get_template(template).render(paper=words.paper(), **content)) + "\n"


def page(report: Report) -> str:
    """
    Render a report.

    Returns
    -------
    str
        A whole page of HTML, which stands by itself and prints on A4, or on Letter where units are those of the US.
    """
    fixed = {**texts(), "lists": filled(texts()["lists"], {})}
    whole = render(report.template, title=report.title, report=report, fixed=fixed)
    return whole.replace(_WORDS, render("words.html.j2", words=list(words_used(whole)), fixed=fixed))
