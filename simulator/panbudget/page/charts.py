"""
Charts: what the page draws, as options of the chart library; day by day, a strip a bed under one another.

Colours and dashes are those of the reports (`reports/style.toml`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from panbudget import words
from panbudget.numeric import Floats
from panbudget.page.desk import TEXTS, Desk
from panbudget.reports.writing import shown

COLOURS: dict[str, str] = words.packaged("reports/style.toml")["colours"]
_TEXTS: dict[str, Any] = TEXTS["season"]
_STRIP, _GAP, _TOP, _FOOT = 92, 34, 28, 28  # px: a bed's strip, between two, above all, below
_BARS = {"supplied": _TEXTS["supplied"], "needed": _TEXTS["needed"], "pinned": _TEXTS["supplied_pinned"]}
# thousands as everywhere else (`words.number`), where the library has commas
_THOUSANDS = r"value => String(value).replace(/\B(?=(\d{3})+$)/g, '\u202f').replace('-', '−')"
_INK, _GREY = "#333333", COLOURS["grey"]
_VALVES = [COLOURS[name] for name in ("blue", "orange", "green", "purple", "sky")]


def height(beds: int) -> int:
    """Return the season chart's height. [px]"""
    return _TOP + (beds + 1) * (_STRIP + _GAP) + _FOOT


def _rounded(values: Floats) -> list[float]:
    kept = words.SHOWN["depth"]
    depths = values * kept.shown(1.0)  # a depth has no zero of its own
    rounded: list[float] = np.round(depths, kept.decimals(1)).tolist()
    return rounded


@shown
def season_series(desk: Desk) -> dict[str, Any]:
    """Return what of the season's chart depends on the season."""
    lines, band = desk.lines, desk.band
    if lines is None:
        return {}
    pinned = desk.pinned[1] if desk.pinned else None
    series = [{"id": f"openings {name}", "data": values.tolist()} for name, values in lines.openings.items()]
    for key, left in lines.left.items():
        low = band.low[key] if band and key in band.low else None
        wide = band.high[key] - low if band and low is not None else None
        beside = pinned.left.get(key) if pinned and len(pinned.dates) == len(lines.dates) else None
        parts = {"left": left, "low": low, "wide": wide, "pinned": beside}
        series += [{"id": f"{what} {key}", "data": [] if v is None else _rounded(v)} for what, v in parts.items()]
    return {
        "xAxis": [{"id": f"x{index}", "data": lines.dates} for index in range(len(lines.left) + 1)],
        "series": series,
    }


@shown
def season_chart(desk: Desk) -> dict[str, Any]:
    """Return the options of the season's chart: openings above, then each bed's water left."""
    assert desk.scenario is not None
    valves = list(desk.scenario.controller)
    beds = [f"{name}/{bed}" for name, part in desk.scenario.controller.items() for bed in part.bed]
    titles = [_TEXTS["openings"], *(words.filled(_TEXTS["left"], {"bed": key.replace("/", ", ")}) for key in beds)]
    rows = range(len(beds) + 1)
    tops = [_TOP + row * (_STRIP + _GAP) for row in rows]
    series: list[dict[str, Any]] = [
        {
            "id": f"openings {name}",
            "name": name,
            "type": "line",
            "step": "middle",
            "symbol": "none",
            "stack": "openings",
        }
        # a path a valve: a bar a day takes the browser several times as long
        | {"lineStyle": {"width": 0}, "areaStyle": {"color": _VALVES[k % 5], "opacity": 1}, "color": _VALVES[k % 5]}
        for k, name in enumerate(valves)
    ]
    for row, key in enumerate(beds, 1):
        series += _bed_series(row, key)
    for part in series:
        index = part.pop("row", 0)
        part |= {
            "xAxisIndex": index,
            "yAxisIndex": index,
            "data": [],
            "animation": False,
            "emphasis": {"disabled": True},
        }
    every: dict[str, Any] = {"animation": False, "textStyle": {"fontFamily": "system-ui, sans-serif", "color": _INK}}
    marks = {"show": True, "fontSize": 11, "color": _INK}
    if len(valves) > 1:
        every["legend"] = {"data": valves, "top": 0, "right": 14, "icon": "rect", "textStyle": {"color": _INK}}
    return every | {
        "aria": {"enabled": True, "label": {"description": _TEXTS["chart_label"]}},
        "tooltip": {"trigger": "axis", "confine": True, "axisPointer": {"type": "line"}},
        "axisPointer": {"link": [{"xAxisIndex": "all"}]},
        "title": [
            {
                "text": text,
                "left": 8,
                "top": top - 20,
                "textStyle": {"fontSize": 12, "fontWeight": "bold", "color": _INK},
            }
            for text, top in zip(titles, tops, strict=True)
        ],
        "grid": [{"left": 46, "right": 14, "top": top, "height": _STRIP} for top in tops],
        "xAxis": [
            {
                "id": f"x{row}",
                "gridIndex": row,
                "type": "category",
                "axisLine": {"onZero": False},
                "axisTick": {"show": False},
            }
            | {"axisLabel": marks if row == rows[-1] else {"show": False}}
            for row in rows
        ],
        "yAxis": [
            {"gridIndex": row, "type": "value", "splitNumber": 3, "axisLabel": {"fontSize": 10, "color": _INK}}
            | ({"minInterval": 1} if row == 0 else {})
            for row in rows
        ],
        "dataZoom": [
            {
                "type": "slider",
                "xAxisIndex": list(rows),
                "bottom": 6,
                "height": 18,
                "filterMode": "none",
                "showDetail": False,
            }
            | {"showDataShadow": False, "brushSelect": False}
        ],
        "series": series,
    }


def _bed_series(row: int, key: str) -> list[dict[str, Any]]:
    """A bed's strip: the range as a band, the line, the pinned one, the zero line, and what lies below it tinted."""
    plain = {"type": "line", "symbol": "none", "row": row}
    unseen = {"lineStyle": {"opacity": 0}, "stack": f"band {key}", "stackStrategy": "all", "tooltip": {"show": False}}
    zero = {
        "symbol": "none",
        "silent": True,
        "animation": False,
        "lineStyle": {"color": _INK, "width": 2.5, "type": "solid"},
        "label": {"show": False},
        "data": [{"yAxis": 0}],
    }
    below = {
        "silent": True,
        "animation": False,
        "itemStyle": {"color": "rgba(213,94,0,0.10)"},
        "data": [[{"yAxis": 0}, {"yAxis": -1000}]],
    }
    return [
        plain | unseen | {"id": f"low {key}", "name": _TEXTS["band"]},
        plain
        | unseen
        | {"id": f"wide {key}", "name": _TEXTS["band"], "areaStyle": {"color": COLOURS["sky"], "opacity": 0.35}},
        plain
        | {
            "id": f"pinned {key}",
            "name": _TEXTS["pinned"],
            "lineStyle": {"color": _GREY, "type": "dashed", "width": 1.5},
        }
        | {"itemStyle": {"color": _GREY}},
        plain
        | {"id": f"left {key}", "name": key, "lineStyle": {"color": COLOURS["blue"], "width": 1.8}, "markLine": zero}
        | {"itemStyle": {"color": COLOURS["blue"]}, "markArea": below},
    ]


def needed_of(desk: Desk) -> Mapping[str, float]:
    """Return what exact refill would have given each bed, as the last replay has it. [mm]"""
    return {} if desk.season is None else {key: bed["net_demand_mm"] for key, bed in desk.season.totals["beds"].items()}


@shown
def water_series(desk: Desk) -> dict[str, Any]:
    """Return what of the chart of supplied beside needed depends on the season."""
    if desk.lines is None:
        return {}
    beds, needed, kept = list(desk.lines.supplied), needed_of(desk), words.SHOWN["depth"]
    pinned = desk.pinned[1].supplied if desk.pinned else {}
    values = {"supplied": desk.lines.supplied, "needed": needed, "pinned": pinned}
    return {
        "legend": {"data": [_BARS[what] for what, by in values.items() if by or what != "pinned"]},
        "yAxis": {"data": [key.replace("/", ", ") for key in beds]},
        "series": [
            {"id": what, "data": [round(kept.shown(by[k]), kept.decimals(0)) if k in by else "-" for k in beds]}
            for what, by in values.items()
        ],
    }


def water_chart(desk: Desk) -> dict[str, Any]:
    """Return the options of the chart of supplied beside needed."""
    styles = {
        "supplied": {"color": COLOURS["blue"]},
        "needed": {"color": "#FFFFFF", "borderColor": _INK, "borderWidth": 1.5},
        "pinned": {"color": "#FFFFFF", "borderColor": _GREY, "borderWidth": 1.5, "borderType": "dashed"},
    }
    return {
        "animation": False,
        "textStyle": {"fontFamily": "system-ui, sans-serif", "color": _INK},
        "aria": {"enabled": True, "label": {"description": _TEXTS["water_label"]}},
        "legend": {"top": 0, "left": 8, "textStyle": {"color": _INK}},
        "tooltip": {"trigger": "axis", "confine": True, "axisPointer": {"type": "shadow"}},
        "grid": {"left": 112, "right": 24, "top": 34, "bottom": 24},
        "xAxis": {"type": "value", "axisLabel": {"hideOverlap": True, "color": _INK, ":formatter": _THOUSANDS}},
        "yAxis": {
            "type": "category",
            "inverse": True,
            "axisLabel": {"color": _INK, "width": 100, "overflow": "break", "lineHeight": 13},
        },
        "series": [
            {"id": what, "name": _BARS[what], "type": "bar", "itemStyle": style, "data": []}
            for what, style in styles.items()
        ],
    }


@shown
def said(desk: Desk) -> str:
    """Say what the season comes to, in a sentence or two, for the screen reader and all others."""
    if desk.lines is None:
        return str(_TEXTS["waiting"])
    litres = sum(desk.lines.litres.values())
    opened = words.count(int(sum(values.sum() for values in desk.lines.openings.values())), "opening")
    text: str = _TEXTS["line"].format(openings=opened, litres=words.litres(litres))
    if desk.band is not None:
        low, high = (words.litres(value) for value in desk.band.litres)
        text += _TEXTS["range"].format(draws=desk.band.draws, low=low, high=high)
    if desk.pinned is not None:
        text += _TEXTS["against"].format(what=desk.pinned[0], litres=words.litres(sum(desk.pinned[1].litres.values())))
    return text
