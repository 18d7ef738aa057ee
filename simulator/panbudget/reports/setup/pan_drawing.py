"""
Pan drawing: a pan from the side, to scale, and its upper rim in true size; plain lines that a page and a PDF share.

Units: mm on paper, from the upper left corner, downward.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from panbudget.reports.pages import render
from panbudget.studies.setup import ValveSheet
from panbudget.words import number

WIDTH, HEIGHT = 180.0, 57.0
_SIDE_WIDTH, _SIDE_HEIGHT = 72.0, 37.0
_SCALES = (1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 25.0, 40.0, 50.0, 100.0, 200.0, 500.0)
_APART = 4.2  # between two labels
_STRIP_LEFT, _STRIP_MOST = 125.0, 40.0
_DASHED, _DOTTED = "1.6 0.9", "0.3 0.8"


@dataclass(frozen=True)
class Line:
    """A line; ``dash`` as "on off", empty for a whole one."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float = 0.25
    dash: str = ""


@dataclass(frozen=True)
class Box:
    """A filled area; ``grey`` 0 black to 255 white."""

    x: float
    y: float
    width: float
    height: float
    grey: int


@dataclass(frozen=True)
class Text:
    """Text at its base line; ``anchor`` "start", "middle" or "end"; ``size`` the letters' height. [mm]"""

    x: float
    y: float
    text: str
    size: float = 2.9
    anchor: str = "start"
    bold: bool = False


Shape = Line | Box | Text


def pan_drawing(sheet: ValveSheet) -> list[Shape]:
    """
    Draw a pan from the side with its rim, reset and trip, to scale; and the same levels in true size.

    Parameters
    ----------
    sheet : ValveSheet

    Returns
    -------
    list of Line, Box or Text
        Within `WIDTH` and `HEIGHT`.
    """
    return [*_side(sheet), *_true_size(sheet)]


def _side(sheet: ValveSheet) -> list[Shape]:
    wide = 1000.0 * sheet.vessels[0][1]
    scale = next(
        (s for s in _SCALES if wide / s <= _SIDE_WIDTH and sheet.depth_mm / s <= _SIDE_HEIGHT),
        max(wide / _SIDE_WIDTH, sheet.depth_mm / _SIDE_HEIGHT),
    )
    left, top = 2.0, 10.0
    across, deep = wide / scale, sheet.depth_mm / scale
    reset, trip = top + sheet.freeboard_mm / scale, top + (sheet.freeboard_mm + sheet.swing_mm) / scale
    shapes: list[Shape] = [
        Text(left, 4.0, f"{_which(sheet.counts)}rom the side, 1 : {scale:g}", bold=True),
        Box(left, reset, across, deep - sheet.freeboard_mm / scale, 226),
        Line(left, top, left, top + deep, 0.7),
        Line(left + across, top, left + across, top + deep, 0.7),
        Line(left, top + deep, left + across, top + deep, 0.7),
        Line(left, reset, left + across, reset, 0.3, _DOTTED),
        Line(left, trip, left + across, trip, 0.3, _DASHED),
    ]
    labels = [
        (top, "rim"),
        (reset, f"reset: {number(sheet.freeboard_mm, 1)} mm below the rim; shuts"),
        (trip, f"trip: {number(sheet.freeboard_mm + sheet.swing_mm, 1)} mm below; opens"),
        (top + deep, f"floor: {number(sheet.depth_mm)} mm below"),
    ]
    at, edge = -_APART, left + across
    for y, text in labels:
        at = max(y, at + _APART)
        shapes += [Line(edge + 0.8, y, edge + 4.0, at, 0.15), Text(edge + 4.8, at + 1.0, text)]
    shapes.append(Line(left, top + deep + 4.0, left + across, top + deep + 4.0, 0.15))
    for x in (left, left + across):
        shapes.append(Line(x, top + deep + 3.0, x, top + deep + 5.0, 0.15))
    shapes.append(Text(left + across / 2.0, top + deep + 8.2, f"{number(wide)} mm", anchor="middle"))
    return shapes


def _which(counts: tuple[int, ...]) -> str:
    """Say which vessel is drawn, where there are several, up to the "from" that follows."""
    total, alike = sum(counts), counts[0]
    if total == 1:
        return "F"
    if len(counts) == 1:
        return f"One of {total} alike, f"
    return f"One of {total} vessels{f' ({alike} of them alike)' if alike > 1 else ', the first named'}, f"


def _true_size(sheet: ValveSheet) -> list[Shape]:
    """A strip to hold against the pan: each mm is a mm, as far as the printer keeps to it."""
    trip = sheet.freeboard_mm + sheet.swing_mm
    top, left = 10.0, _STRIP_LEFT
    shapes: list[Shape] = [
        Text(left, 4.0, "True size, for the rim" + (" of each" if sum(sheet.counts) > 1 else " of the pan"), bold=True)
    ]
    long = min(max(trip + 6.0, 30.0), _STRIP_MOST)
    if trip > _STRIP_MOST:
        return [
            Text(left, 4.0, "The trip lies too deep for a strip", bold=True),
            Text(left, 8.5, "in true size: use a ruler."),
        ]
    shapes += [Line(left, top, left, top + long, 0.5), Line(left, top, left + 16.0, top, 0.7)]
    for mark in range(int(long) + 1):
        reach = 4.5 if mark % 10 == 0 else 3.2 if mark % 5 == 0 else 2.0
        shapes.append(Line(left, top + mark, left + reach, top + mark, 0.15))
        if mark % 10 == 0 and mark:
            shapes.append(Text(left - 1.0, top + mark + 1.0, str(mark), anchor="end"))
    at = -_APART
    for level, text, dash in (
        (0.0, "rim", ""),
        (sheet.freeboard_mm, "reset", _DOTTED),
        (trip, "trip", _DASHED),
    ):
        at = max(top + level, at + _APART)
        if level:
            shapes.append(Line(left, top + level, left + 16.0, top + level, 0.35, dash))
        shapes += [Line(left + 16.5, top + level, left + 20.0, at, 0.15), Text(left + 20.8, at + 1.0, text)]
    shapes += [
        Line(left, HEIGHT - 2.5, left + 50.0, HEIGHT - 2.5, 0.5),
        Line(left, HEIGHT - 4.0, left, HEIGHT - 1.0, 0.3),
        Line(left + 50.0, HEIGHT - 4.0, left + 50.0, HEIGHT - 1.0, 0.3),
        Text(left + 25.0, HEIGHT - 3.5, "must measure 50 mm on paper", 2.6, "middle"),
    ]
    return shapes


def as_svg(shapes: Sequence[Shape]) -> Markup:
    """
    Write a drawing as an SVG element that keeps its size on paper.

    Parameters
    ----------
    shapes : sequence of Line, Box or Text

    Returns
    -------
    Markup
        Its text is escaped.
    """
    return Markup(render("pan.svg.j2", shapes=shapes, width=WIDTH, height=HEIGHT))
