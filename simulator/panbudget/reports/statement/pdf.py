"""
Statement PDF: a statement's sheet on A4 or Letter, with page numbers and room for a signature.
"""

from collections.abc import Sequence
from typing import Any

from panbudget.reports.pdf import GREY, SIDE, Paper, quiet
from panbudget.reports.statement.sheet import Sheet, SourceSection
from panbudget.words import PaperSize

_BODY, _TABLE, _SMALL, _TINY = 8.0, 7.2, 6.7, 5.8  # points
_ROW = 4.7  # mm, of a table
_WITH_SIGNATURE = 2  # paragraphs that stand on the page that is signed


@quiet()
def statement_pdf(sheet: Sheet, size: PaperSize) -> bytes:
    """Lay a sheet out on paper, as a PDF file."""
    paper = Paper(sheet.title, size=size, foot=f"{sheet.title} · {sheet.when}", bottom=13.0, mark=sheet.mark)
    paper.add_page()
    paper.say(sheet.title, 14.0, bold=True)
    paper.say(sheet.when, _BODY + 1.0)
    if sheet.note:
        paper.say(sheet.note, _SMALL + 0.5)
    paper.ln(1.0)
    for text in sheet.lead:
        paper.say(text, _SMALL + 0.6, bold=True, border=1, padding=1)
    for part in sheet.sections:
        if part.heading:
            _heading(paper, part.heading, 55.0)
        if isinstance(part, SourceSection):
            _facts(paper, part.facts)
        for index, sentence in enumerate(part.items or ()):
            paper.say_whole(sentence, _BODY)
            paper.ln(0.5)
            if index == 0 and isinstance(part, SourceSection) and part.bar is not None:
                _bar(paper, part.bar, part.bar_ends)
        if part.table is not None and part.shown:
            paper.ln(1.2)
            paper.keep(min(_ROW * (len(part.table) + 3), 0.8 * paper.eph))  # whole, where a page holds it
            paper.say(part.table.attrs["caption"], _SMALL, grey=GREY)
            paper.put_table(part.table, size=_TABLE, height=3.4, padding=0.45)
    _heading(paper, sheet.wording["method_heading"])
    for label, text in sheet.limits[:-_WITH_SIGNATURE]:
        paper.say_labelled(label, text, _SMALL)
    # neither a signature alone on a page, nor a page of a line
    tried: Any
    with paper.offset_rendering() as tried:
        _end(tried, sheet)
    if tried.page_break_triggered:
        paper.add_page()
    _end(paper, sheet)
    return bytes(paper.output())


def _end(paper: Paper, sheet: Sheet) -> None:
    """The last paragraphs, what is signed, and what it was made from: on one page."""
    for label, text in sheet.limits[-_WITH_SIGNATURE:]:
        paper.say_labelled(label, text, _SMALL)
    for text in sheet.attested:
        paper.ln(1.5)
        paper.say(text, _BODY)
    _blanks(paper, sheet.wording["blanks"])
    for label, text in sheet.made_from:
        paper.say(f"{label}: {text}", _TINY)
    paper.say_lacking("statement.html", _TINY)


def _bar(paper: Paper, bar: tuple[float, float, float], ends: tuple[str, str, str]) -> None:
    """The range as a bar with what is reported as its mark, from nothing on."""
    width, top = 0.5 * paper.epw, paper.get_y() + 0.8
    low, middle, high = (SIDE + share * width for share in bar)
    paper.set_draw_color(170)
    paper.line(SIDE, top + 1.2, SIDE + width, top + 1.2)
    paper.line(SIDE, top, SIDE, top + 2.4)
    paper.set_draw_color(0)
    with paper.local_context(fill_color=150):
        paper.rect(low, top + 0.3, max(high - low, 0.3), 1.8, style="F")
    paper.set_line_width(0.6)
    paper.line(middle, top - 0.3, middle, top + 2.7)
    paper.set_line_width(0.2)
    paper.set_xy(SIDE + width + 3.0, top - 0.5)
    paper.say(f"{ends[0]} – {ends[2]}; reported {ends[1]}", _SMALL, grey=GREY)
    paper.set_y(top + 3.6)


def _heading(paper: Paper, text: str, height: float = 16.0) -> None:
    paper.ln(2.0)
    paper.keep(height)
    paper.say(text, _BODY + 1.2, bold=True)
    paper.ln(0.6)


def _facts(paper: Paper, facts: tuple[tuple[str, str], ...]) -> None:
    """Two facts a line, each with its label."""
    half = paper.epw / 2.0
    for pair in zip(facts[::2], facts[1::2], strict=True):
        top = lowest = paper.get_y()
        for index, (label, text) in enumerate(pair):
            paper.set_xy(SIDE + index * half, top)
            paper.face(_TABLE, grey=GREY)
            paper.cell(28.0, 3.9, label)
            paper.say(text, _TABLE, w=half - 31.0, h=3.9)
            lowest = max(lowest, paper.get_y())
        paper.set_y(lowest)
        paper.rule(shade=190)
    paper.ln(1.2)


def _blanks(paper: Paper, labels: Sequence[str]) -> None:
    """Lines to be signed, side by side."""
    paper.keep(20.0)
    paper.ln(10.0)
    top, gap = paper.get_y(), 6.0
    width = (paper.epw - gap * (len(labels) - 1)) / len(labels)
    paper.face(_SMALL)
    for index, label in enumerate(labels):
        left = SIDE + index * (width + gap)
        paper.line(left, top, left + width, top)
        paper.set_xy(left, top + 0.5)
        paper.cell(width, 3.2, label)
    paper.set_xy(SIDE, top + 5.0)
