"""
Setup PDF: the same page on paper, one A4 sheet a valve, the same bytes for the same garden.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib

from panbudget.reports.setup.pan_drawing import HEIGHT, Box, Line, Text, pan_drawing
from panbudget.reports.setup.words import CAUTIONS_SHORT, made_from, sheet_words

if TYPE_CHECKING:
    from panbudget.reports.setup.pan_drawing import Shape
    from panbudget.studies.setup import SetUp

__all__ = ["setup_pdf"]

_MARGIN, _TEXT_WIDTH = 15.0, 180.0  # mm on A4
_FEW_ROWS = 8  # more, and the lines move together so that one sheet holds all
_POINT = 25.4 / 72.0  # mm
_FAMILY = "DejaVu"
# whatever the day of writing: the same garden gives the same bytes
_CREATED = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)


def setup_pdf(plan: SetUp, provenance: Mapping[str, Any]) -> bytes:
    """
    Write the setup pages as a PDF.

    Parameters
    ----------
    plan : SetUp
    provenance : mapping
        As `output.provenance` gives it.

    Returns
    -------
    bytes
    """
    from fpdf import FPDF

    pdf: Any = FPDF(orientation="portrait", unit="mm", format="A4")
    pdf.set_creation_date(_CREATED)
    pdf.set_title(f"{plan.scenario.title}: set up")
    pdf.set_lang("en")
    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdf.add_font(_FAMILY, "", fonts / "DejaVuSans.ttf")
    pdf.add_font(_FAMILY, "B", fonts / "DejaVuSans-Bold.ttf")
    pdf.set_margins(_MARGIN, 12.0, _MARGIN)
    pdf.set_auto_page_break(True, margin=10.0)
    for sheet in plan.sheets.values():
        words = sheet_words(plan, sheet)
        pdf.add_page()
        _say(pdf, words.title, 15.0, bold=True)
        _say(pdf, words.under, 8.0)
        if plan.scenario.note:
            _say(pdf, plan.scenario.note, 8.0, bold=True)
        top = pdf.get_y() + 1.5
        _draw(pdf, pan_drawing(sheet), _MARGIN, top)
        pdf.set_y(top + HEIGHT + 1.0)
        for heading, sentences in words.steps:
            _heading(pdf, heading)
            for sentence in sentences:
                _say(pdf, sentence, 8.2)
        _heading(pdf, "4  Month by month")
        _table(pdf, words.headings, words.rows, (22.0, 42.0, 35.0, 22.0, 25.0, 34.0))
        for text in words.table_notes:
            _say(pdf, text, 7.0)
        _heading(pdf, "5  What turning the refill gains")
        _table(pdf, words.gain_headings, words.gain_rows, (62.0, 24.0, 24.0, 42.0, 28.0))
        _say(pdf, words.gain_note, 7.0)
        _heading(pdf, "Cautions")
        for caution in CAUTIONS_SHORT:
            _say(pdf, f"•  {caution}", 7.4)
        pdf.ln(1.0)
        _say(pdf, made_from(provenance), 6.2)
    return bytes(pdf.output())


def _say(pdf: Any, text: str, size: float, *, bold: bool = False) -> None:
    pdf.set_font(_FAMILY, "B" if bold else "", size)
    pdf.set_x(_MARGIN)
    pdf.multi_cell(_TEXT_WIDTH, size * _POINT * 1.32, text, align="L", new_x="LMARGIN", new_y="NEXT")


def _heading(pdf: Any, text: str) -> None:
    pdf.ln(1.2)
    y = pdf.get_y()
    pdf.set_line_width(0.2)
    pdf.line(_MARGIN, y, _MARGIN + _TEXT_WIDTH, y)
    pdf.ln(0.8)
    _say(pdf, text, 9.5, bold=True)


def _table(pdf: Any, headings: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> None:
    """A name, then numbers to the right; a line under each row."""
    high = 4.1 if len(rows) <= _FEW_ROWS else 3.5
    for size, bold, cells in ((7.0, False, headings), *((8.2, False, row) for row in rows)):
        pdf.set_font(_FAMILY, "B" if bold else "", size)
        pdf.set_x(_MARGIN)
        for place, (text, width) in enumerate(zip(cells, widths, strict=True)):
            pdf.cell(width, high, text, align="L" if place == 0 else "R")
        pdf.ln(high)
        pdf.set_line_width(0.3 if cells is headings else 0.1)
        y = pdf.get_y()
        pdf.line(_MARGIN, y, _MARGIN + _TEXT_WIDTH, y)
    pdf.ln(0.8)


def _draw(pdf: Any, shapes: Sequence[Shape], left: float, top: float) -> None:
    for shape in shapes:
        if isinstance(shape, Line):
            dash = [float(part) for part in shape.dash.split()] or [0.0, 0.0]
            pdf.set_line_width(shape.width)
            pdf.set_dash_pattern(dash=dash[0], gap=dash[1])
            pdf.line(left + shape.x1, top + shape.y1, left + shape.x2, top + shape.y2)
        elif isinstance(shape, Box):
            pdf.set_fill_color(shape.grey)
            pdf.rect(left + shape.x, top + shape.y, shape.width, shape.height, style="F")
        elif isinstance(shape, Text):
            pdf.set_font(_FAMILY, "B" if shape.bold else "", shape.size / _POINT)
            wide = pdf.get_string_width(shape.text)
            back = {"start": 0.0, "middle": wide / 2.0, "end": wide}[shape.anchor]
            pdf.text(left + shape.x - back, top + shape.y, shape.text)
    pdf.set_dash_pattern()
