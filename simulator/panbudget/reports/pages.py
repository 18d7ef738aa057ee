"""
Pages: the shared ground of every report: a record of what a page says, and the one template that renders it.

How a verb uses it. Its room, ``reports/VERB/``, holds three things:

- ``texts.toml``: what its page says in fixed words. A table of this file is a section of the page: ``heading`` (or
  ``subheading``), ``text`` above, ``note`` in small letters beneath, ``none`` in place of an empty table, and how its
  table is shown: ``names`` (so many columns of names before the numbers), ``grouped`` (a name is not repeated in the row
  below), ``paired`` (rows belong two and two), ``columns`` (column of the DataFrame -> its heading, or heading and
  format, one of `FORMATS` or a count of decimals). ``[captions]`` has a caption a figure.
- ``page.py``: a function from a result and its drawn figures to a `Report`, whose sections are made by `section`, in the
  page's order. An empty section is left out.
- ``files.py``: ``VERB``, a `writing.Verb`, which names page, totals, tables and figures; `writing.write` does the rest.

Whatever came from a user's file passes through the template's escaping. No page has a script or an address outside.
"""

from __future__ import annotations

import datetime as dt
import functools
import importlib.resources
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import jinja2
import pandas as pd
from markupsafe import Markup

from panbudget import words
from panbudget.season.result import SEVERITIES, Finding

#: how a cell's value becomes text; a whole number stands for so many decimals
FORMATS: dict[str, Callable[[Any], str]] = {
    "percent": words.percent,
    "percent 1": functools.partial(words.percent, decimals=1),
    "hours": words.hours,
    "litres": words.litres,
    "mm": words.mm,
    "days": words.days_long,
    "signed": words.signed,
}


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

    @property
    def shown(self) -> bool:
        """Whether it has a place on the page."""
        if self.table is not None and not len(self.table):
            return bool(self.none)
        contents = [part for part in (self.figures, self.items) if part is not None]
        if contents:
            return any(map(len, contents))
        words_only = self.heading or self.subheading or self.text or self.code or self.note
        return bool(words_only) or self.table is not None or self.findings is not None


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
        The answer, first of all.
    note : str or None
        The scenario's own, under the title.
    lead : sequence of str
        In small letters under the sentences: what a word or a rule means.
    assumptions : sequence of str
    method : bool
        Whether method and cautions follow.
    provenance : mapping or None
        Versions and fingerprints, as `writing.provenance` gives them.
    """

    #: what renders it; a page that is signed or taken outside has one of its own
    template: ClassVar[str] = "page.html.j2"

    title: str
    when: str
    sections: Sequence[Section]
    sentences: Sequence[str] = ()
    note: str | None = None
    lead: Sequence[str] = ()
    assumptions: Sequence[str] = ()
    method: bool = True
    provenance: Mapping[str, Any] | None = None


@functools.cache
def texts(room: str = "") -> dict[str, Any]:
    """Return the fixed words of a room's page, or those of every page."""
    folder = importlib.resources.files("panbudget.reports")
    return tomllib.loads((folder / room / "texts.toml").read_text(encoding="utf-8"))


def section(
    room: str, key: str, *, table: Iterable[Mapping[str, Any]] | pd.DataFrame | None = None, **content: Any
) -> Section:
    """
    Make a section of a page.

    Parameters
    ----------
    room, key : str
        Where its words stand: a table of ``reports/ROOM/texts.toml``.
    table : DataFrame or iterable of mappings, optional
        A row each; its columns are those that the words name, or all where they name none.
    **content
        What else `Section` takes; before the words of the file.

    Returns
    -------
    Section
    """
    fixed = dict(texts(room).get(key, {}))
    described = {
        name: fixed.pop(name) for name in ("columns", "names", "grouped", "paired", "caption") if name in fixed
    }
    if "figures" in content:
        fixed["captions"] = texts(room)["captions"]
    if table is not None:
        fixed["table"] = labelled(table, **described)
    return Section(**{**fixed, **content})


def labelled(
    rows: Iterable[Mapping[str, Any]] | pd.DataFrame, columns: Mapping[str, Any] | None = None, **shown: Any
) -> pd.DataFrame:
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
    frame = pd.DataFrame(rows if isinstance(rows, pd.DataFrame) else list(rows))
    if not len(frame.columns):
        frame = pd.DataFrame(columns=list(columns))
    frame = frame[[name for name in columns or frame if name in frame]]
    pairs = {name: (what, 0) if isinstance(what, str) else tuple(what) for name, what in columns.items()}
    frame.attrs.update(
        labels={name: label for name, (label, _) in pairs.items()},
        formats={name: form for name, (_, form) in pairs.items()},
        **shown,
    )
    return frame


def table_of(frame: pd.DataFrame) -> Table:
    """
    Put a DataFrame as text, by what its attrs say of it.

    Parameters
    ----------
    frame : DataFrame
        In attrs, all of them optional: ``labels`` (column -> heading), ``units`` (column -> unit), ``formats`` (column ->
        one of `FORMATS`, or decimals), ``names``, ``grouped``, ``paired``, ``caption``.

    Returns
    -------
    Table
    """
    labels, units, formats = (frame.attrs.get(key, {}) for key in ("labels", "units", "formats"))
    headings = [labels.get(name, str(name)) + (f" [{units[name]}]" if units.get(name) else "") for name in frame]
    columns = [[_cell(value, formats.get(name, 0)) for value in frame[name].tolist()] for name in frame]
    if frame.attrs.get("grouped") and columns:
        first = columns[0]
        columns[0] = [text if at == 0 or text != first[at - 1] else "" for at, text in enumerate(first)]
    shown = {key: frame.attrs[key] for key in ("caption", "names", "paired") if key in frame.attrs}
    return Table(tuple(headings), tuple(zip(*columns, strict=True)), **shown)


def _cell(value: Any, form: str | int) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, dt.date):
        return value.isoformat().replace("-", "\u2011")  # so that no cell breaks a date
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(form, str):
        return FORMATS[form](None if value is None or value != value else value)
    return words.number(value, form)


def listed_findings(findings: Iterable[Finding]) -> list[dict[str, str]]:
    """Put findings as a page lists them, gravest first."""
    listed = []
    for finding in sorted(findings, key=lambda f: SEVERITIES.index(f.severity)):
        when = [f"from {words.day_said(finding.first)}"] if finding.first else []
        when += [words.count(finding.days, "day")] if finding.days else []
        listed.append({**finding.as_dict(), "when": ", ".join(when)})
    return listed


def placed_figure(name: str, svg: str, caption: str = "") -> dict[str, Any]:
    """Put a figure, as `canvas.svg_text` makes it, where a page has room for several."""
    # several figures on one page: each gets ids of its own, or one's clip paths would cut another
    renamed = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", svg)
    # drawn by us from escaped text, so it may pass as it is
    return {"name": name, "svg": Markup(renamed), "caption": caption}


def placed_figures(part: Section) -> list[dict[str, Any]]:
    """Put a section's figures; one drawn for each valve, such as "map-2", has the caption of "map"."""
    captions = part.captions or {}
    return [
        placed_figure(name, svg, captions.get(re.sub(r"-\d+$", "", name), name))
        for name, svg in (part.figures or {}).items()
    ]


def provenance_table(provenance: Mapping[str, Any]) -> Table:
    """Say what a page was made from."""
    weather = provenance.get("weather", {})
    rows = {
        "panbudget": provenance.get("panbudget", ""),
        "Python": provenance.get("python", ""),
        **provenance.get("packages", {}),
        "scenario, SHA-256": provenance.get("scenario_sha256", ""),
        **({"variants laid over it": ", ".join(laid)} if (laid := provenance.get("variants")) else {}),
        "weather file": weather.get("file", ""),
        "weather file, read as": weather.get("recognised", ""),
        "weather file, days": f"{weather.get('first', '')} to {weather.get('last', '')}",
        "weather, SHA-256": provenance.get("weather_sha256", ""),
        **{f"fallback {lent['file']}, SHA-256": lent["sha256"] for lent in weather.get("fallbacks", [])},
    }
    return Table(("what", "which"), tuple((name, str(value)) for name, value in rows.items()), names=2)


@functools.cache
def _templates() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("panbudget.reports", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "table_of": table_of,
        "listed": listed_findings,
        "placed": placed_figures,
        "made_from": provenance_table,
    }
    return environment


def render(template: str, **content: Any) -> str:
    """Fill one of our templates."""
    return _templates().get_template(template).render(**content) + "\n"


def page(report: Report) -> str:
    """
    Render a report.

    Parameters
    ----------
    report : Report

    Returns
    -------
    str
        A whole page of HTML, which stands by itself and prints on A4.
    """
    return render(report.template, title=report.title, report=report, fixed=texts())
