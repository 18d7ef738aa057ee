"""
PDF: sheets of paper, black on white, for what is signed or taken outside: paragraphs, headings, tables, plain lines.

The letters are DejaVu Sans, which comes with matplotlib and is put into the file; one that it lacks stands as an empty
box, and the file's end says so. Same content, same bytes: the file carries no date of its making.
[lengths in mm from the upper left corner, letters in points]
"""

import contextlib
import datetime as dt
import functools
import logging
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import matplotlib
import pandas as pd
from fpdf import FPDF
from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace
from matplotlib.ft2font import FT2Font

from panbudget.reports.pages import table_of
from panbudget.words import PaperSize

SIDE, _TOP = 15.0, 12.0  # margins
POINT = 25.4 / 72.0  # mm
GREY = 90  # of 255: still legible from a poor copier
BOX = "□"
_FAMILY = "sheet"
_FONTS = {
    style: Path(matplotlib.get_data_path(), "fonts", "ttf", f"DejaVuSans{name}.ttf")
    for style, name in (("", ""), ("B", "-Bold"))
}
_LEADING = 1.3  # a line's height over its letters'
# a format wants a date; the same for all, so that equal input gives equal bytes
_MADE = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)


class Paper(FPDF):
    """
    A document on paper, upright.

    Parameters
    ----------
    title : str
    size : {"A4", "Letter"}
    foot : str
        At each page's foot, with "page 1 of 2"; empty for none.
    bottom : float
        Margin below. [mm]
    mark : str
        Across each page, behind what stands on it; empty for none.
    """

    def __init__(
        self, title: str, *, size: PaperSize = "A4", foot: str = "", bottom: float = 10.0, mark: str = ""
    ) -> None:
        super().__init__("portrait", "mm", size)
        #: whether a letter stood as a box so far
        self.boxed = False
        self._foot, self._bottom, self._mark = self.drawn(foot), bottom, mark
        self.set_creation_date(_MADE)
        self.set_title(self.drawn(title))
        self.set_lang("en")
        self.set_margins(SIDE, _TOP, SIDE)
        self.set_auto_page_break(True, margin=bottom)
        for style, file in _FONTS.items():
            self.add_font(_FAMILY, style, file)

    def header(self) -> None:
        """Put the mark; fpdf asks for it at each page's start."""
        if self._mark:
            self.face(54.0, bold=True, grey=225)
            width, (x, y) = self.get_string_width(self._mark), (self.w / 2.0, self.h / 2.0)
            with self.rotation(52.0, x, y):
                self.text(x - width / 2.0, y + 8.0, self._mark)
            self.set_xy(SIDE, _TOP)

    def footer(self) -> None:
        """Put foot and page number; fpdf asks for it at each page's end."""
        if self._foot:
            self.set_y(3.0 - self._bottom)
            self.face(6.5, grey=GREY)
            text, width = self._foot, 0.72 * self.epw
            while self.get_string_width(text) > width:
                text = text.removesuffix("…")[:-1] + "…"
            self.cell(0.75 * self.epw, 4.0, text)
            self.cell(0.25 * self.epw, 4.0, f"page {self.page_no()} of {{nb}}", align="R")

    def drawn(self, text: str) -> str:
        """Return text as the font can draw it: one line, no signs that steer, a box for what it lacks, code in quotes."""
        plain = re.sub("`([^`]+)`", "“\\1”", text).replace("\u202f", "\u00a0").replace("{nb}", "{ nb }")
        plain = "".join(letter if letter.isprintable() or letter == "\u00a0" else " " for letter in plain)
        text = "".join(letter if letter in _letters() else BOX for letter in plain)
        self.boxed |= text != plain
        return text

    def face(self, size: float, *, bold: bool = False, grey: int = 0) -> None:
        """Set the letters that follow."""
        self.set_font(_FAMILY, "B" if bold else "", size)
        self.set_text_color(grey)

    def say(self, text: str, size: float, *, bold: bool = False, grey: int = 0, **options: Any) -> None:
        """Write a paragraph; options as fpdf's ``multi_cell`` takes them."""
        self.face(size, bold=bold, grey=grey)
        given = {"w": 0, "h": size * POINT * _LEADING, "align": "L", "new_x": "LMARGIN", "new_y": "NEXT", **options}
        self.multi_cell(text=self.drawn(text), **given)

    def say_whole(self, text: str, size: float) -> None:
        """Write a paragraph on one page."""
        self.face(size)
        lines: Any = self.multi_cell(0, text=self.drawn(text), align="L", dry_run=True, output="LINES")
        self.keep(len(lines) * size * POINT * _LEADING)
        self.say(text, size)

    def say_labelled(self, label: str, text: str, size: float) -> None:
        """Write a paragraph that opens with a label in bold letters."""
        for part, bold in ((f"{label}. ", True), (self.drawn(text), False)):
            self.face(size, bold=bold)
            self.write(size * POINT * 1.22, part)
        self.ln(size * POINT * 1.4)

    def say_lacking(self, page: str, size: float = 6.2) -> None:
        """Say what boxes stand for, if there are any, and which page has the letters."""
        if self.boxed:
            self.say(f"{BOX} stands for a letter that this file's font lacks; {page} has it.", size)

    def keep(self, height: float) -> None:
        """Begin a new page where less than a height is left, so that a heading does not stand alone at a foot. [mm]"""
        if self.will_page_break(height):
            self.add_page()

    def rule(self, shade: int = 0) -> None:
        """Draw a line over the whole width."""
        self.set_line_width(0.2)
        self.set_draw_color(shade)
        self.line(SIDE, self.get_y(), SIDE + self.epw, self.get_y())
        self.set_draw_color(0)

    def put_table(self, frame: pd.DataFrame, *, size: float, height: float, padding: float = 0.0) -> None:
        """Write a table, its names to the left and numbers to the right; where its attrs say so, the last row adds up."""
        table, shown = table_of(frame), frame.attrs
        self.face(size)
        self.set_draw_color(170)
        with self.table(
            col_widths=[shown["widths"][name] for name in frame],
            text_align=["LEFT" if index < table.names else "RIGHT" for index in range(len(table.headings))],
            line_height=height,
            padding=(padding, 0.8),
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD", size_pt=size - 0.5),
            width=self.epw,
        ) as rows:
            for index, cells in enumerate((table.headings, *table.rows)):
                bold = FontFace(emphasis="BOLD") if shown.get("total") and index == len(table.rows) else None
                rows.row([self.drawn(cell) for cell in cells], style=bold)
        self.set_draw_color(0)


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Font tools tell of every table that they touch, and of each letter that is lacking; the paper itself says so."""
    levels = {logger: logger.level for logger in map(logging.getLogger, ("fontTools", "fpdf"))}
    for logger in levels:
        logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        for logger, level in levels.items():
            logger.setLevel(level)


@functools.cache
def _letters() -> frozenset[str]:
    """Letters that both fonts have."""
    plain, bold = (set(FT2Font(str(file)).get_charmap()) for file in _FONTS.values())
    return frozenset(map(chr, plain & bold))
