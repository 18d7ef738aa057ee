"""
Pan drawing: a pan from the side, to scale, and its upper rim in true size; plain lines that a page and a PDF share.

Units: mm on paper, from the upper left corner, downward.
"""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from panbudget.reports.pages import Report, render
from panbudget.studies.setup import ValveSheet
from panbudget.words import amount, is_us, packaged

WIDTH, HEIGHT = 180.0, 57.0
_SIDE_WIDTH, _SIDE_HEIGHT = 42.0, 37.0
_SCALES = (1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 25.0, 40.0, 50.0, 100.0, 200.0, 500.0)
_LEFT, _TOP = 2.0, 10.0  # of what is drawn
_APART = 4.2  # between two labels
_STRIP_LEFT, _STRIP_MOST = 125.0, 40.0
_PARTS = (0.0, 85.0, 121.0, WIDTH)  # where the side, the mechanism and the strip begin, and where all ends
INCH = 25.4
# of the strip in true size: mm from mark to mark, marks to a long one, which has its figure, and to a middle one, and what a mark is worth
_MARKS = (1.0, 10, 5, 1.0)
_MARKS_US = (INCH / 10.0, 5, 5, 0.1)  # tenths of an inch, as the levels are printed in decimals
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

    Returns
    -------
    list of Line, Box or Text
        Within `WIDTH` and `HEIGHT`.
    """
    return [*_side(sheet), *_mechanism(), *_true_size(sheet)]


def _side(sheet: ValveSheet) -> list[Shape]:
    wide, deep = 1000.0 * sheet.vessels[0][1], sheet.depth_mm
    fitting = (scale for scale in _SCALES if wide / scale <= _SIDE_WIDTH and deep / scale <= _SIDE_HEIGHT)
    scale = next(fitting, max(wide / _SIDE_WIDTH, deep / _SIDE_HEIGHT))
    left, right, bottom = _LEFT, _LEFT + wide / scale, _TOP + deep / scale
    down = {"reset": sheet.freeboard_mm, "trip": sheet.freeboard_mm + sheet.swing_mm}
    reset, trip = (_TOP + level / scale for level in down.values())
    labels = {
        "below the rim:": _TOP,
        f"reset, {amount(down['reset'], 'depth', ',1')}: shuts": reset,
        f"trip, {amount(down['trip'], 'depth', ',1')}: opens": trip,
        f"floor, {amount(deep, 'depth', ',0')}": bottom,
    }
    return [
        Text(left, 4.0, f"{_which(sheet.counts)}rom the side, 1 : {scale:g}", bold=True),
        Box(left, reset, right - left, bottom - reset, 226),
        Line(left, _TOP, left, bottom, 0.7),
        Line(right, _TOP, right, bottom, 0.7),
        Line(left, bottom, right, bottom, 0.7),
        Line(left, reset, right, reset, 0.3, _DOTTED),
        Line(left, trip, right, trip, 0.3, _DASHED),
        *_labels(right + 0.8, right + 4.0, labels),
        *_measure(left, right, bottom + 4.0, 1.0, 0.15, 0.15),
        Text((left + right) / 2.0, bottom + 8.2, amount(wide, "depth", ",0"), anchor="middle"),
    ]


def _mechanism() -> Iterator[Shape]:
    """What works the valve, not to scale; it stands in `mechanism.toml`."""
    kinds: dict[str, type[Shape]] = {"Line": Line, "Box": Box, "Text": Text}
    for shape in packaged("reports/setup/mechanism.toml")["shapes"]:
        yield kinds[shape.pop("kind")](**shape)


def _labels(near: float, far: float, labels: Mapping[str, float]) -> list[Shape]:
    """Name levels beside a drawing, each with a line to it; never one label on another."""
    shapes: list[Shape] = []
    at = -_APART
    for text, y in labels.items():
        at = max(y, at + _APART)
        shapes += [Line(near, y, far, at, 0.15), Text(far + 0.8, at + 1.0, text)]
    return shapes


def _measure(left: float, right: float, y: float, reach: float, width: float, ends: float) -> list[Line]:
    """A line between two short ones across it."""
    across = (Line(x, y - reach, x, y + reach, ends) for x in (left, right))
    return [Line(left, y, right, y, width), *across]


def _which(counts: tuple[int, ...]) -> str:
    """Say which vessel is drawn, where there are several, up to the "from" that follows."""
    total, alike = sum(counts), counts[0]
    if total == 1:
        return "F"
    if len(counts) == 1:
        return f"One of {total} alike, f"
    return f"One of {total} vessels{f' ({alike} of them alike)' if alike > 1 else ', the first named'}, f"


def _true_size(sheet: ValveSheet) -> list[Shape]:
    """A strip to hold against the pan: each mm is a mm, or each inch an inch, as far as the printer keeps to it."""
    trip, left = sheet.freeboard_mm + sheet.swing_mm, _STRIP_LEFT
    if trip > _STRIP_MOST:
        return [
            Text(left, 4.0, "The trip lies too deep for a strip", bold=True),
            Text(left, 8.5, "in true size: use a ruler."),
        ]
    whose = "of each" if sum(sheet.counts) > 1 else "of the pan"
    length = min(max(trip + 6.0, 30.0), _STRIP_MOST)
    shapes: list[Shape] = [
        Text(left, 4.0, f"True size, for the rim {whose}", bold=True),
        Line(left, _TOP, left, _TOP + length, 0.5),
        Line(left, _TOP, left + 16.0, _TOP, 0.7),
    ]
    every, long, middle, figure = _MARKS_US if is_us() else _MARKS
    for mark in range(int(length / every) + 1):
        reach = 4.5 if mark % long == 0 else 3.2 if mark % middle == 0 else 2.0
        at = _TOP + mark * every
        shapes.append(Line(left, at, left + reach, at, 0.15))
        if mark % long == 0 and mark:
            shapes.append(Text(left - 1.0, at + 1.0, f"{mark * figure:g}", anchor="end"))
    bar = 2.0 * INCH if is_us() else 50.0
    levels = {"rim": _TOP, "reset": _TOP + sheet.freeboard_mm, "trip": _TOP + trip}
    dashes = {"reset": _DOTTED, "trip": _DASHED}
    return [
        *shapes,
        *(
            Line(left, levels[name], left + 16.0, levels[name], 0.35, dash)
            for name, dash in dashes.items()
            if levels[name] > _TOP
        ),
        *_labels(left + 16.5, left + 20.0, levels),
        *_measure(left, left + bar, HEIGHT - 2.5, 1.5, 0.5, 0.3),
        Text(left + bar / 2.0, HEIGHT - 3.5, f"must measure {amount(bar, 'depth', 'g')} on paper", 2.6, "middle"),
    ]


@dataclass(frozen=True)
class DrawnPage(Report):
    """One valve's page: a ``drawing`` with its description ``alt``, sections, and what it was made from."""

    drawing: Sequence[Shape] = ()
    alt: str = ""
    made_from: str = ""

    @property
    def svg(self) -> str:
        """The drawing, for a page."""
        return as_svg(self.drawing)


def as_svg(shapes: Sequence[Shape]) -> Markup:
    """
    Write a drawing as SVG elements that keep their size on paper: side by side, or below one another where it is narrow.

    Returns
    -------
    Markup
        Its text is escaped.
    """
    parts = []
    for left, right in itertools.pairwise(_PARTS):
        part = [shape for shape in shapes if left <= (shape.x1 if isinstance(shape, Line) else shape.x) < right]
        parts.append(render("pan.svg.j2", shapes=part, left=left, width=right - left, height=HEIGHT))
    return Markup("".join(parts))
