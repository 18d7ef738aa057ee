"""
Setup PDF: the same page on paper, one sheet of A4 or Letter a valve, the same bytes for the same garden.
"""

from collections.abc import Sequence

from panbudget import words
from panbudget.reports.pages import Report
from panbudget.reports.pdf import POINT, SIDE, Paper, quiet
from panbudget.reports.setup.pan_drawing import HEIGHT, Box, DrawnPage, Line, Shape
from panbudget.words import PaperSize

_FEW_ROWS = 8  # more, and the lines move together so that one sheet holds all
_SCALES = (1.0, 0.95, 0.9, 0.85, 0.8)  # of the letters, until a valve has one sheet


@quiet()
def setup_pdf(report: Report, size: PaperSize | None = None) -> bytes:
    """
    Write the setup pages as a PDF.

    Parameters
    ----------
    report : Report
        Whose pages have drawings.
    size : {"A4", "Letter"}, optional
        What goes with the units shown if left out.
    """
    for scale in _SCALES:
        paper = _written(report, scale, size or words.paper())
        made = bytes(paper.output())  # which closes the fonts' files, too
        if paper.pages_count == len(report.pages):
            break
    return made


def _written(report: Report, scale: float, size: PaperSize) -> Paper:
    """The sheets with letters of this size."""
    paper = Paper(report.title, size=size)
    for page in report.pages:
        assert isinstance(page, DrawnPage)
        paper.add_page()
        paper.say(page.title, 15.0, bold=True)
        paper.say(page.when, 8.0)
        if page.note:
            paper.say(page.note, 8.0, bold=True)
        top = paper.get_y() + 1.5
        _draw(paper, page.drawing, top)
        paper.set_y(top + HEIGHT + 1.0)
        for sentence in page.sentences:
            paper.say(sentence, 8.8 * scale, bold=sentence == page.sentences[0])
        for part in page.sections:
            _heading(paper, part.heading, scale)
            if part.table is not None:
                height = 4.1 if len(part.table) <= _FEW_ROWS else 3.5
                paper.put_table(part.table, size=8.2 * scale, height=height * scale)
                paper.ln(0.8)
            for sentence in part.items or ():
                paper.say(sentence, (8.2 if part.table is None else 7.0) * scale)
        _heading(paper, "Cautions", scale)
        for caution in page.lead:
            paper.say(f"•  {caution}", 7.4 * scale)
        paper.ln(1.0)
        paper.say(page.made_from, 6.2)
        paper.say_lacking("setup.html")
    return paper


def _heading(paper: Paper, text: str, scale: float) -> None:
    paper.ln(1.2 * scale)
    paper.rule()
    paper.ln(0.8 * scale)
    paper.say(text, 9.5 * scale, bold=True)


def _draw(paper: Paper, shapes: Sequence[Shape], top: float) -> None:
    for shape in shapes:
        if isinstance(shape, Line):
            on, off = [float(part) for part in shape.dash.split()] or (0.0, 0.0)
            paper.set_line_width(shape.width)
            paper.set_dash_pattern(dash=on, gap=off)
            paper.line(SIDE + shape.x1, top + shape.y1, SIDE + shape.x2, top + shape.y2)
        elif isinstance(shape, Box):
            paper.set_fill_color(shape.grey)
            paper.rect(SIDE + shape.x, top + shape.y, shape.width, shape.height, style="F")
        else:
            paper.face(shape.size / POINT, bold=shape.bold)
            back = {"start": 0.0, "middle": 0.5, "end": 1.0}[shape.anchor] * paper.get_string_width(shape.text)
            paper.text(SIDE + shape.x - back, top + shape.y, shape.text)
    paper.set_dash_pattern()
    paper.set_fill_color(255)  # or a table's headings would be filled
