"""
Statement PDF: a statement's sheet on A4 or Letter, with page numbers and room for a signature.
"""

from panbudget.reports.pdf import BOX, GREY, SIDE, Paper, PaperSize, quiet
from panbudget.reports.statement.sheet import Sheet, SourceSection

_BODY, _TABLE, _SMALL, _TINY = 8.0, 7.2, 6.7, 5.8  # points


@quiet()
def statement_pdf(sheet: Sheet, size: PaperSize) -> bytes:
    """
    Lay a sheet out on paper.

    Parameters
    ----------
    sheet : Sheet
    size : {"A4", "Letter"}

    Returns
    -------
    bytes
        A PDF file.
    """
    paper = Paper(sheet.title, size=size, foot=f"{sheet.title} · {sheet.when}", bottom=13.0)
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
            _heading(paper, part.heading)
        if isinstance(part, SourceSection):
            _facts(paper, part.facts)
        for sentence in part.items or ():
            paper.say(sentence, _BODY)
            paper.ln(0.5)
        if part.table is not None and part.shown:
            paper.ln(1.2)
            paper.keep(18.0)
            paper.say(part.table.attrs["caption"], _SMALL, grey=GREY)
            paper.put_table(part.table, size=_TABLE, height=3.4, padding=0.45)
    _heading(paper, sheet.limits_heading)
    for label, text in sheet.limits:
        paper.say_labelled(label, text, _SMALL)
    _blanks(paper, sheet.blanks)
    for label, text in sheet.made_from:
        paper.say(f"{label}: {text}", _TINY)
    if paper.boxed:
        paper.say(f"{BOX} stands for a letter that this file's font lacks; statement.html has it.", _TINY)
    return bytes(paper.output())


def _heading(paper: Paper, text: str) -> None:
    paper.ln(2.0)
    paper.keep(16.0)
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


def _blanks(paper: Paper, labels: tuple[str, ...]) -> None:
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
