"""
Charts: what the page draws, as options of the chart library; day by day, a strip a bed under one another.

Colours and dashes are those of the reports (`reports/style.toml`).
"""

from typing import Any

import numpy as np

from panbudget import words
from panbudget.numeric import Floats
from panbudget.page.desk import TEXTS, Desk
from panbudget.reports.writing import shown

COLOURS: dict[str, str] = words.packaged("reports/style.toml")["colours"]
_DRAWN: dict[str, Any] = words.packaged("page/charts.toml")
_TEXTS: dict[str, Any] = TEXTS["season"]
_STRIP, _GAP, _TOP, _FOOT = 92, 34, 28, 28  # px: a bed's strip, between two, above all, below
_BARS = {"supplied": _TEXTS["supplied"], "needed": _TEXTS["needed"], "pinned": _TEXTS["supplied_pinned"]}
# thousands as everywhere else (`words.number`), where the library has commas
_THOUSANDS = r"value => String(value).replace(/\B(?=(\d{3})+$)/g, '\u202f').replace('-', '−')"
_VALVES = [COLOURS[name] for name in ("blue", "orange", "green", "purple", "sky")]
_FIXED = {**COLOURS, "ink": "#333333", "texts": _TEXTS, "thousands": _THOUSANDS}


def height(beds: int) -> int:
    """Return the season chart's height. [px]"""
    return _TOP + (beds + 1) * (_STRIP + _GAP) + _FOOT


def _drawn(part: str, **values: str) -> Any:
    """Return a part of `charts.toml` with its braces filled."""
    return words.filled(_DRAWN[part], {**_FIXED, **values})


def _rounded(values: Floats) -> list[float | None]:
    """Round as shown; a gap in the line is None."""
    scale = words.SHOWN["depth"]
    depths = values * scale.shown(1.0)  # a depth has no zero of its own
    rounded = np.round(depths, scale.decimals(1))
    gaps: list[float | None] = np.where(np.isnan(rounded), None, rounded).tolist()  # type: ignore[call-overload]
    return gaps


@shown
def season_series(desk: Desk) -> dict[str, Any]:
    """Return what of the season's chart depends on the season."""
    lines, band = desk.lines, desk.band
    if lines is None:
        return {}
    pinned = desk.pinned.lines if desk.pinned else None
    series = [{"id": f"openings {name}", "data": values.tolist()} for name, values in lines.openings.items()]
    for key, water_left in lines.left.items():
        low = band.low[key] if band and key in band.low else None
        wide = band.high[key] - low if band and low is not None else None
        beside = pinned.left.get(key) if pinned and pinned.dates == lines.dates else None
        parts = {"left": water_left, "low": low, "wide": wide, "pinned": beside}
        series += [{"id": f"{what} {key}", "data": [] if v is None else _rounded(v)} for what, v in parts.items()]
    axes = [{"id": f"x{index}", "data": lines.dates} for index in range(len(lines.left) + 1)]
    return {"xAxis": axes, "series": series}


@shown
def season_chart(desk: Desk) -> dict[str, Any]:
    """Return the options of the season's chart: openings above, then each bed's water left."""
    assert desk.scenario is not None
    valves = list(desk.scenario.controller)
    beds = [f"{name}/{bed}" for name, part in desk.scenario.controller.items() for bed in part.bed]
    titles = [_TEXTS["openings"], *(words.filled(_TEXTS["left"], {"bed": key.replace("/", ", ")}) for key in beds)]
    rows = range(len(titles))
    tops = [_TOP + row * (_STRIP + _GAP) for row in rows]
    drawn = [(0, _drawn("openings", name=name, colour=_VALVES[k % 5])) for k, name in enumerate(valves)]
    drawn += [(row, part) for row, key in enumerate(beds, 1) for part in _drawn("bed", key=key)]
    legend = {"legend": {"data": valves, **_drawn("season_legend")}} if len(valves) > 1 else {}
    return {
        **_drawn("common"),
        **legend,
        **_drawn("season"),
        "title": [_drawn("title") | {"text": text, "top": top - 24} for text, top in zip(titles, tops, strict=True)],
        "grid": [_drawn("grid") | {"top": top, "height": _STRIP} for top in tops],
        "xAxis": [
            {"id": f"x{row}", "gridIndex": row, **_drawn("days"), **(_drawn("last_days") if row == rows[-1] else {})}
            for row in rows
        ],
        "yAxis": [{"gridIndex": row, **_drawn("values"), **({} if row else {"minInterval": 1})} for row in rows],
        "dataZoom": [{"xAxisIndex": list(rows), **_drawn("zoom")}],
        "series": [{**part, "xAxisIndex": row, "yAxisIndex": row, **_drawn("series")} for row, part in drawn],
    }


@shown
def water_series(desk: Desk) -> dict[str, Any]:
    """Return what of the chart of supplied beside needed depends on the season."""
    if desk.lines is None:
        return {}
    beds, scale = list(desk.lines.supplied), words.SHOWN["depth"]
    totals = {} if desk.season is None else desk.season.totals["beds"]
    needed = {key: bed["net_demand_mm"] for key, bed in totals.items()}
    pinned = desk.pinned.lines.supplied if desk.pinned else {}
    values = {"supplied": desk.lines.supplied, "needed": needed, "pinned": pinned}
    return {
        "legend": {"data": [_BARS[what] for what, by in values.items() if by or what != "pinned"]},
        "yAxis": {"data": [key.replace("/", ", ") for key in beds]},
        "series": [
            {"id": what, "data": [round(scale.shown(by[k]), scale.decimals(0)) if k in by else "-" for k in beds]}
            for what, by in values.items()
        ],
    }


def water_chart() -> dict[str, Any]:
    """Return the options of the chart of supplied beside needed."""
    return {**_drawn("common"), **_drawn("water")}


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
        litres = sum(desk.pinned.lines.litres.values())
        text += _TEXTS["against"].format(what=desk.in_words(desk.pinned.what), litres=words.litres(litres))
    return text
