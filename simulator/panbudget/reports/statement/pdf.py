"""
PDF: a statement's sheet on A4 or Letter, black on white, with page numbers and room for a signature.

The letters are DejaVu Sans, which comes with matplotlib and is put into the file; one that it lacks stands as an empty
box, and the sheet's end says so (the HTML page and the JSON have it). Same sheet, same bytes: the file carries no date of its making.
[lengths in mm, letters in points]
"""

from __future__ import annotations

import contextlib
import datetime as dt
import functools
import logging
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import matplotlib
from fpdf import FPDF
from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace
from matplotlib.ft2font import FT2Font

from panbudget.reports.statement.sheet import Section, Sheet, SheetTable

__all__ = ["Paper", "statement_pdf"]

Paper = Literal["A4", "Letter"]

_SIDE, _TOP, _BOTTOM = 15.0, 12.0, 13.0
_FAMILY = "sheet"
_FONTS = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
_BOX = "□"
_BODY, _TABLE, _SMALL, _TINY = 8.0, 7.2, 6.7, 5.8
_GREY = 90  # of 255: still legible from a poor copier
# a format wants a date; the same for all, so that equal input gives equal bytes
_NO_DATE = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


class _Page(FPDF):
    """A page with the statement's foot."""

    foot = ""

    def footer(self) -> None:
        """Put the title and "page 1 of 2" at the foot."""
        self.set_y(-_BOTTOM + 3.0)
        self.set_font(_FAMILY, size=_TINY + 0.7)
        self.set_text_color(_GREY)
        half = self.epw / 2.0
        self.cell(half * 1.5, 4.0, _fitting(self, self.foot, half * 1.45))
        self.cell(half * 0.5, 4.0, f"page {self.page_no()} of {{nb}}", align="R")
        self.set_text_color(0)


def statement_pdf(sheet: Sheet, paper: Paper) -> bytes:
    """
    Lay a sheet out on paper.

    Parameters
    ----------
    sheet : Sheet
    paper : {"A4", "Letter"}

    Returns
    -------
    bytes
        A PDF file.
    """
    with _quiet():
        page = _Page(orientation="portrait", unit="mm", format=paper)
        page.set_creation_date(_NO_DATE)
        page.set_title(_drawn(sheet.title))
        page.set_margins(_SIDE, _TOP, _SIDE)
        page.set_auto_page_break(True, margin=_BOTTOM)
        for style in ("", "B"):
            page.add_font(_FAMILY, style, _font_file(style))
        page.foot = _drawn(f"{sheet.title} · {sheet.subtitle}")
        page.add_page()
        _head(page, sheet)
        for section in sheet.sections:
            _section(page, section)
        _heading(page, "How it was determined, and its limits")
        for label, text in sheet.method:
            page.set_font(_FAMILY, "B", _SMALL)
            page.write(2.9, f"{label}. ")
            page.set_font(_FAMILY, "", _SMALL)
            page.write(2.9, _drawn(text))
            page.ln(3.3)
        _signature(page, sheet.blanks)
        page.set_font(_FAMILY, "", _TINY)
        for label, text in sheet.made_from:
            _paragraph(page, f"{label}: {text}", 2.5)
        if _lacks_letters(sheet):
            _paragraph(page, f"{_BOX} stands for a letter that this file's font lacks; statement.html has it.", 2.5)
        return bytes(page.output())


def _head(page: FPDF, sheet: Sheet) -> None:
    page.set_font(_FAMILY, "B", 14.0)
    _paragraph(page, sheet.title, 6.0)
    page.set_font(_FAMILY, "", _BODY + 1.0)
    _paragraph(page, sheet.subtitle, 4.4)
    if sheet.note:
        page.set_font(_FAMILY, "", _SMALL + 0.5)
        _paragraph(page, sheet.note, 3.6)
    page.ln(1.0)
    page.set_font(_FAMILY, "B", _SMALL + 0.6)
    page.multi_cell(0, 3.5, _drawn(sheet.estimate), border=1, align="L", padding=1, new_x="LMARGIN", new_y="NEXT")


def _section(page: FPDF, section: Section) -> None:
    _heading(page, section.heading)
    half = page.epw / 2.0
    page.set_draw_color(190)
    for left, right in zip(section.facts[::2], section.facts[1::2], strict=True):
        top = page.get_y()
        lowest = top
        for place, (label, text) in enumerate((left, right)):
            page.set_xy(_SIDE + place * half, top)
            page.set_font(_FAMILY, "", _TABLE)
            page.set_text_color(_GREY)
            page.cell(28.0, 3.9, label)
            page.set_text_color(0)
            page.multi_cell(half - 31.0, 3.9, _drawn(text), align="L", new_x="LMARGIN", new_y="NEXT")
            lowest = max(lowest, page.get_y())
        page.line(_SIDE, lowest, _SIDE + page.epw, lowest)
        page.set_y(lowest)
    page.set_draw_color(0)
    page.ln(1.2)
    page.set_font(_FAMILY, "", _BODY)
    for sentence in section.sentences:
        _paragraph(page, sentence, 3.7)
        page.ln(0.5)
    for table in section.tables:
        _table(page, table)


def _table(page: FPDF, table: SheetTable) -> None:
    page.ln(1.2)
    # a caption must not stand alone at a page's foot
    if page.will_page_break(18.0):
        page.add_page()
    page.set_font(_FAMILY, "", _SMALL)
    page.set_text_color(_GREY)
    _paragraph(page, table.caption, 3.1)
    page.set_text_color(0)
    page.set_font(_FAMILY, "", _TABLE)
    page.set_draw_color(170)
    align = tuple("LEFT" if index < table.names else "RIGHT" for index in range(len(table.headings)))
    with page.table(
        col_widths=table.widths,
        text_align=align,
        line_height=3.4,
        padding=(0.45, 0.8),
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        headings_style=FontFace(emphasis="BOLD", size_pt=_SMALL),
        first_row_as_headings=True,
        width=page.epw,
    ) as drawn:
        drawn.row([_drawn(heading) for heading in table.headings])
        for cells in table.rows:
            drawn.row([_drawn(cell) for cell in cells])
        if table.total:
            drawn.row([_drawn(cell) for cell in table.total], style=FontFace(emphasis="BOLD"))
    page.set_draw_color(0)


def _signature(page: FPDF, blanks: tuple[str, ...]) -> None:
    if page.will_page_break(20.0):
        page.add_page()
    page.ln(10.0)
    gap = 6.0
    width = (page.epw - gap * (len(blanks) - 1)) / len(blanks)
    top = page.get_y()
    page.set_font(_FAMILY, "", _SMALL)
    for index, blank in enumerate(blanks):
        left = _SIDE + index * (width + gap)
        page.line(left, top, left + width, top)
        page.set_xy(left, top + 0.5)
        page.cell(width, 3.2, blank)
    page.set_xy(_SIDE, top + 5.0)


def _heading(page: FPDF, text: str) -> None:
    page.ln(2.0)
    if page.will_page_break(16.0):
        page.add_page()
    page.set_font(_FAMILY, "B", _BODY + 1.2)
    _paragraph(page, text, 4.6)
    page.ln(0.3)


def _paragraph(page: FPDF, text: str, height: float) -> None:
    page.multi_cell(0, height, _drawn(text), align="L", new_x="LMARGIN", new_y="NEXT")


def _drawn(text: str) -> str:
    """Text as the font can draw it: one line, no signs that steer, a box for what it lacks."""
    known = _known_letters()
    plain = text.replace("\u202f", "\u00a0").replace("{nb}", "{ nb }")
    return "".join(
        (letter if letter in known else _BOX) if letter.isprintable() or letter == "\u00a0" else " " for letter in plain
    )


def _lacks_letters(sheet: Sheet) -> bool:
    texts = [sheet.subtitle, sheet.note]
    for section in sheet.sections:
        texts += [text for _, text in section.facts]
        texts += [cell for table in section.tables for row in table.rows for cell in row]
    return any(_BOX in _drawn(text) for text in (*texts, *(text for _, text in sheet.method)))


def _font_file(style: str) -> str:
    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / _FONTS[style])


@functools.cache
def _known_letters() -> frozenset[str]:
    """Letters that both fonts have."""
    plain, bold = (set(FT2Font(_font_file(style)).get_charmap()) for style in _FONTS)
    return frozenset(map(chr, plain & bold))


def _fitting(page: FPDF, text: str, width: float) -> str:
    if page.get_string_width(text) <= width:
        return text
    while text and page.get_string_width(text + "…") > width:
        text = text[:-1]
    return text + "…"


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Font tools tell of every table that they touch, and of each letter that is lacking; the docstring says so."""
    loggers = [logging.getLogger(name) for name in ("fontTools", "fpdf")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
