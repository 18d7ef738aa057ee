"""
Pictures: small drawings beside the questions, to scale where there is something to scale; SVG, as text.

Here are their measures [px]; how they are drawn stands in `reports/templates/pictures.svg.j2`.
"""

import datetime as dt
import math
from collections.abc import Callable, Mapping
from typing import Any

from panbudget import words
from panbudget.reports.pages import render
from panbudget.units import UnitError, quantity

_TEXTS: dict[str, Any] = words.packaged("page/page.toml")["pictures"]
_WIDE, _HIGH = 360, 190
_ROOM = 150.0  # for the longest side of what is drawn to scale
_BARS = (0.30, 0.3048)  # m: metric, US
_MOST_DEGREES = {"latitude": 90.0, "longitude": 180.0}


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
    measures = _MEASURES[key](answers) if key in _MEASURES else {}
    return render("pictures.svg.j2", key=key, texts=_TEXTS, width=_WIDE, height=_HIGH, **measures).strip()


def _size(answers: Mapping[str, Any], key: str, kind: str, otherwise: float) -> float:
    try:
        value = quantity(answers.get(key, ""), kind)
    except UnitError:
        return otherwise
    return value if value > 0.0 else otherwise


def _sides(answers: Mapping[str, Any]) -> tuple[float, float]:
    """Length and width of the pan. [m]"""
    if answers.get("shape") == "round":
        diameter = _size(answers, "diameter", "length", 0.45)
        return diameter, diameter
    return _size(answers, "long", "length", 0.6), _size(answers, "wide", "length", 0.4)


def _pan(answers: Mapping[str, Any]) -> dict[str, Any]:
    long, wide = _sides(answers)
    depth, is_us = _size(answers, "depth", "depth", 180.0) / 1000.0, words.is_us()
    scale = _ROOM / max(long, wide, depth, 2.0 * _BARS[is_us])
    sizes = {"long": long, "wide": wide, "deep": depth, "gap": min(0.02, depth / 2.0), "bar": _BARS[is_us]}
    drawn = {name: size * scale for name, size in sizes.items()}
    return {**drawn, "bar_text": _TEXTS["bar"][is_us], "is_round": answers.get("shape") == "round"}


def _refill(answers: Mapping[str, Any]) -> dict[str, Any]:
    long, wide = _sides(answers)
    area = math.pi * long**2 / 4.0 if answers.get("shape") == "round" else long * wide
    layer = _size(answers, "swing", "mass", 0.7) / area  # kg/m² is mm
    depth = _size(answers, "depth", "depth", 180.0)
    px = 110.0 / depth
    reset = 40.0 + min(20.0, depth / 2.0) * px
    return {"reset": reset, "trip": min(reset + layer * px, 150.0), "layer": words.say(_TEXTS["layer"], layer=layer)}


def _place(answers: Mapping[str, Any]) -> dict[str, Any]:
    return {key: _degrees(answers.get(key, ""), most) for key, most in _MOST_DEGREES.items()}


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


def _season(answers: Mapping[str, Any]) -> dict[str, Any]:
    days = []
    for key, otherwise in (("start", 121), ("end", 243)):
        try:
            days.append(dt.date.fromisoformat(answers.get(key, "")).timetuple().tm_yday)
        except ValueError:
            days.append(otherwise)
    first, last = (15 + day / 366 * 330 for day in days)
    return {"parts": [(first, last)] if first <= last else [(15.0, last), (first, 345.0)]}


def _supply(answers: Mapping[str, Any]) -> dict[str, Any]:
    volume, ground_area = _size(answers, "volume", "volume", 1000.0) / 1000.0, _size(answers, "footprint", "area", 0.8)
    deep, high = volume / ground_area, _size(answers, "outlet_height", "length", 2.0)
    scale = min(40.0, 140.0 / (deep + high))
    measures = {"wide": max(math.sqrt(ground_area) * scale, 8.0), "deep": deep * scale, "bottom": 142 - high * scale}
    return {**measures, "is_tank": answers.get("supply") == "tank"}


def _bed(answers: Mapping[str, Any]) -> dict[str, Any]:
    try:
        count = max(1, min(int(answers.get("count", "32")), 400))
    except ValueError:
        count = 32
    area = _size(answers, "area", "area", 8.0)
    long = min(1.8 * math.sqrt(area) * 40.0, 320.0)
    high = min(area * 40.0**2 / long, 150.0)
    across = max(1, round(math.sqrt(count * long / high)))
    return {"count": count, "long": long, "high": high, "across": across, "down": math.ceil(count / across)}


_MEASURES: dict[str, Callable[[Mapping[str, Any]], dict[str, Any]]] = {
    "place": _place,
    "season": _season,
    "pan": _pan,
    "refill": _refill,
    "supply": _supply,
    "bed": _bed,
}
