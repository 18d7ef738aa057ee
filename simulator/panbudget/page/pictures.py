"""
Pictures: small drawings beside the questions, to scale where there is something to scale; SVG, as text.
"""

from __future__ import annotations

import datetime as dt
import html
import math
from collections.abc import Callable, Mapping
from typing import Any

from panbudget import words
from panbudget.units import UnitError, quantity

_TEXTS: dict[str, Any] = words.packaged("page/page.toml")["pictures"]
_INK, _WATER, _EARTH = "#333333", "#9CC3DC", "#D9C7A5"
_WIDE, _HIGH = 360, 190
_ROOM = 150.0  # px for the longest side of what is drawn to scale
_BARS = (0.30, 0.3048)  # m: metric, US
_MOST_DEGREES = {"latitude": 90.0, "longitude": 180.0}
_COLUMNS = (4, 70, 112, 152, 210, 250, 290)  # px: where the columns of the table of weather begin
_FAINT = 'style="stroke:#9AA7B0;stroke-width:0.5"'


def picture(key: str, answers: Mapping[str, Any]) -> str:
    """
    Return the drawing of a screen of questions.

    Parameters
    ----------
    key : str
        The screen's.
    answers : mapping
        As they are typed; what can't be read is drawn as it was at first.

    Returns
    -------
    str
        An SVG element.
    """
    inside = _DRAWN[key](answers)
    return (
        f'<svg viewBox="0 0 {_WIDE} {_HIGH}" role="img" aria-hidden="true" style="width:100%;max-width:{_WIDE}px" '
        f'font-family="system-ui,sans-serif" font-size="11" fill="{_INK}">{inside}</svg>'
    )


def _size(answers: Mapping[str, Any], key: str, kind: str, otherwise: float) -> float:
    try:
        value = quantity(answers.get(key, ""), kind)
    except UnitError:
        return otherwise
    return value if value > 0.0 else otherwise


def _text(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{html.escape(text)}</text>'


def _box(x: float, y: float, wide: float, high: float, fill: str = "none", line: str = _INK) -> str:
    where = f'x="{x:.1f}" y="{y:.1f}" width="{max(wide, 0):.1f}" height="{max(high, 0):.1f}"'
    return f'<rect {where} fill="{fill}" stroke="{line}" stroke-width="1.5"/>'


def _line(x1: float, y1: float, x2: float, y2: float, more: str = "") -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{_INK}" stroke-width="1.5" {more}/>'


def _sides(answers: Mapping[str, Any]) -> tuple[float, float]:
    """Length and width of the pan. [m]"""
    if answers.get("shape") == "round":
        diameter = _size(answers, "diameter", "length", 0.45)
        return diameter, diameter
    return _size(answers, "long", "length", 0.6), _size(answers, "wide", "length", 0.4)


def _pan(answers: Mapping[str, Any]) -> str:
    long, wide = _sides(answers)
    depth, is_us = _size(answers, "depth", "depth", 180.0) / 1000.0, words.is_us()
    scale = _ROOM / max(long, wide, depth, 2.0 * _BARS[is_us])
    water, left, top = min(0.02, depth / 2.0) * scale, 15.0, 160.0 - depth * scale
    side = _box(left, top + water, long * scale, depth * scale - water, _WATER, "none")
    walls = f"M{left} {top:.1f}V160H{left + long * scale:.1f}V{top:.1f}"
    side += f'<path d="{walls}" fill="none" stroke="{_INK}" stroke-width="2"/>'
    middle, round_one = 265.0, answers.get("shape") == "round"
    above = (
        f'<circle cx="{middle}" cy="85" r="{long * scale / 2:.1f}" fill="{_WATER}" stroke="{_INK}" stroke-width="2"/>'
        if round_one
        else _box(middle - long * scale / 2, 85 - wide * scale / 2, long * scale, wide * scale, _WATER)
    )
    end = 15 + _BARS[is_us] * scale
    bar = _line(15, 183, end, 183, 'stroke-dasharray="4 2"') + _text(end + 7, 187, _TEXTS["bar"][is_us], "start")
    return (
        side + above + _text(left + long * scale / 2, 174, _TEXTS["side"]) + _text(middle, 174, _TEXTS["above"]) + bar
    )


def _refill(answers: Mapping[str, Any]) -> str:
    long, wide = _sides(answers)
    area = math.pi * long**2 / 4.0 if answers.get("shape") == "round" else long * wide
    layer = _size(answers, "swing", "mass", 0.7) / area  # kg/m² is mm
    depth = _size(answers, "depth", "depth", 180.0)
    px = 110.0 / depth
    reset = 40.0 + min(20.0, depth / 2.0) * px
    trip = min(reset + layer * px, 150.0)
    inside = _box(60, trip, 130, 150 - trip, _WATER, "none") + _box(60, reset, 130, trip - reset, "#CFE3F1", "none")
    walls = f'<path d="M60 40V150H190V40" fill="none" stroke="{_INK}" stroke-width="2"/>'
    beam = (
        _line(125, 150, 125, 165)
        + _line(110, 168, 340, 168, 'style="stroke-width:4"')
        + _box(305, 140, 26, 26, "#BBBBBB")
    )
    pivot = '<path d="M225 170l-9 16h18z" fill="#777777"/>'
    drop = _line(160, 8, 160, 24) + '<path d="M160 26q6 9 0 12q-6 -3 0 -12" fill="#0072B2"/>'
    marks = _line(190, reset, 205, reset, 'stroke-dasharray="2 2"') + _line(
        190, trip, 205, trip, 'stroke-dasharray="5 2"'
    )
    words_ = _text(209, reset + 2, _TEXTS["reset"], "start") + _text(209, trip + 10, _TEXTS["trip"], "start")
    return (
        inside
        + walls
        + beam
        + pivot
        + drop
        + marks
        + words_
        + _text(209, 28, str(words.say(_TEXTS["layer"], layer=layer)), "start")
    )


def _place(answers: Mapping[str, Any]) -> str:
    """A degree is a pixel, both ways: lines each 30 degrees, land by our own coarse outline, and the place."""
    at = {key: _degrees(answers.get(key, ""), most) for key, most in _MOST_DEGREES.items()}
    sea = _box(0, 5, _WIDE, _HIGH - 10, "#E4EEF5", "none")
    lines = [_line(x, 5, x, _HIGH - 5, _FAINT) for x in range(0, _WIDE + 1, 30)]
    lines += [_line(0, y, _WIDE, y, _FAINT) for y in range(5, _HIGH, 30)]
    land = "".join(
        f'<polygon points="{" ".join(f"{_WIDE / 2 + x},{_HIGH / 2 - y}" for x, y in zip(part[::2], part[1::2], strict=True))}" '
        f'fill="{_EARTH}" stroke="none"/>'
        for part in _TEXTS["outline"]
    )
    equator = _line(0, _HIGH / 2, _WIDE, _HIGH / 2, 'stroke-dasharray="3 3"') + _text(
        4, _HIGH / 2 - 3, _TEXTS["equator"], "start"
    )
    across, up = at["longitude"], at["latitude"]
    here = (
        "" if up is None else _line(0, _HIGH / 2 - up, _WIDE, _HIGH / 2 - up, 'style="stroke:#D55E00;stroke-width:1"')
    )
    if up is not None and across is not None:
        here += f'<circle cx="{_WIDE / 2 + across:.1f}" cy="{_HIGH / 2 - up:.1f}" r="5" fill="#D55E00" stroke="#fff"/>'
    return sea + land + "".join(lines) + equator + here


def _degrees(text: Any, most: float) -> float | None:
    try:
        return max(-most, min(float(text), most))
    except (TypeError, ValueError):
        return None


def place_at(across: float, down: float) -> dict[str, str]:
    """
    Return the place at a point of the map.

    Parameters
    ----------
    across, down : float
        Shares of the drawing's width and height, from its upper left corner.

    Returns
    -------
    dict of str
        "latitude" and "longitude", in whole degrees.
    """
    at = {"latitude": _HIGH / 2.0 - down * _HIGH, "longitude": across * _WIDE - _WIDE / 2.0}
    return {key: f"{max(-_MOST_DEGREES[key], min(value, _MOST_DEGREES[key])):.0f}" for key, value in at.items()}


def _weather(answers: Mapping[str, Any]) -> str:
    rows = [_TEXTS["row"], *_TEXTS["example"]]
    cells = [_text(_COLUMNS[c], 40 + 22 * r, cell, "start") for r, row in enumerate(rows) for c, cell in enumerate(row)]
    return "".join(cells) + _line(0, 48, _WIDE, 48)


def _season(answers: Mapping[str, Any]) -> str:
    days = []
    for key, otherwise in (("start", 121), ("end", 243)):
        try:
            days.append(dt.date.fromisoformat(answers.get(key, "")).timetuple().tm_yday)
        except ValueError:
            days.append(otherwise)
    first, last = (15 + day / 366 * 330 for day in days)
    parts = [(first, last)] if first <= last else [(15.0, last), (first, 345.0)]
    strips = "".join(_box(a, 70, b - a, 40, "#CFE3C8", "none") for a, b in parts)
    months = "".join(_text(15 + (m + 0.5) * 27.5, 128, letter) for m, letter in enumerate(_TEXTS["months"]))
    return strips + _box(15, 70, 330, 40) + months


def _supply(answers: Mapping[str, Any]) -> str:
    ground = _line(10, 165, 350, 165)
    bed = _box(230, 150, 90, 15, _EARTH) + "".join(_line(245 + 20 * k, 142, 245 + 20 * k, 150) for k in range(4))
    if answers.get("supply") != "tank":
        return (
            ground
            + bed
            + _line(40, 165, 40, 120)
            + _line(40, 120, 62, 120, 'style="stroke-width:5"')
            + _line(62, 120, 230, 142)
        )
    volume, ground_area = _size(answers, "volume", "volume", 1000.0) / 1000.0, _size(answers, "footprint", "area", 0.8)
    deep, high = volume / ground_area, _size(answers, "outlet_height", "length", 2.0)
    scale = min(40.0, 140.0 / (deep + high))
    wide, bottom = max(math.sqrt(ground_area) * scale, 8.0), 142 - high * scale
    tank = _box(40, bottom - deep * scale, wide, deep * scale, _WATER)
    legs = _line(44, bottom, 44, 165) + _line(36 + wide, bottom, 36 + wide, 165)
    return ground + bed + tank + legs + _line(40 + wide, bottom - 2, 230, 142)


def _bed(answers: Mapping[str, Any]) -> str:
    try:
        count = max(1, min(int(answers.get("count", "32")), 400))
    except ValueError:
        count = 32
    area = _size(answers, "area", "area", 8.0)
    long = min(1.8 * math.sqrt(area) * 40.0, 320.0)
    high = min(area * 40.0**2 / long, 150.0)
    across = max(1, round(math.sqrt(count * long / high)))
    down = math.ceil(count / across)
    places = ((k % across + 0.5, k // across + 0.5) for k in range(count))
    spots = ((20 + x * long / across, 15 + y * high / down) for x, y in places)
    dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.5" fill="#0072B2"/>' for x, y in spots)
    return _box(20, 15, long, high, _EARTH) + dots


_DRAWN: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "place": _place,
    "weather": _weather,
    "season": _season,
    "pan": _pan,
    "refill": _refill,
    "supply": _supply,
    "bed": _bed,
}
