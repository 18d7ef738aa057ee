"""
Statement tables: a statement's readings, tanks, months, licence and beds as text, so that what is printed adds up.
"""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pandas as pd

from panbudget.reports.pages import Section, texts, words_of
from panbudget.scenario.rights import Meter
from panbudget.season.supplies import float_source
from panbudget.studies.statement.account import Account, Statement
from panbudget.studies.statement.ledger import beyond
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS, amount, rounded_parts
from panbudget.words import count, filled, number

_section, _say = words_of("statement")
_MOST_READINGS = 24  # in a table; of more, the first, the last and those with an event


def readings_section(account: Account, statement: Statement) -> Section:
    """Each reading, what its counter shows, and what passed since the one before; of many, those that matter."""
    ledger, readings = account.ledger, account.readings
    passed = {part.end: part.litres for part in account.between}
    meter = statement.scenario.supply[account.source.supply].meter or Meter()
    multiplied = "" if meter.multiplier == 1.0 else f", × {meter.multiplier:g}"
    ends = {0: texts("statement")["first"], len(readings) - 1: texts("statement")["last"]}
    rows = []
    for index, reading in enumerate(readings):
        event = ", ".join(filter(None, (ends.get(index, ""), reading.row["event"])))
        is_first = reading.event == "installed" or index == 0
        litres = "–" if is_first else amount(ledger.unit.rounded(passed[reading.moment], ledger.decimals))
        rows.append({"date": reading.shown, "text": reading.text, "event": event, "passed": litres})
    few = rows if len(rows) <= _MOST_READINGS else [row for row in rows if row["event"]]
    left_out = f"; {len(rows) - len(few)} more in the file" if len(few) < len(rows) else ""
    fill = {"supply": account.source.supply, "unit": ledger.unit.symbol, "multiplied": multiplied, "left_out": left_out}
    return _section("readings", table=few, fill=fill)


def storage_table(account: Account, statement: Statement) -> pd.DataFrame:
    """What came into each tank and left it, so that both add up as printed."""
    unit, decimals = account.ledger.unit, account.ledger.decimals
    rows = []
    for name, tank in account.tanks.items():
        sides = [("start_l", "roof_l", "topped_l"), ("drawn_l", "over_l", "end_l")]
        total = unit.rounded(sum(tank[key] for key in sides[0]), decimals)
        parts = dict[str, Decimal]()
        for side in sides:
            exact = [unit.exact(max(tank[key], 0.0)) for key in side]
            parts |= zip((key.removesuffix("_l") for key in side), rounded_parts(exact, decimals, total), strict=True)
        parts["change"] = parts["end"] - parts["start"]
        drawn_on, shown = float_source(statement.scenario, name), {key: amount(part) for key, part in parts.items()}
        rows.append({"tank": name, "source": "–" if drawn_on is None else drawn_on or "?", **shown})
    return pd.DataFrame(rows)


def days_of(month: Any) -> dict[str, Any]:
    """How many of a month's days are metered, and how many it has."""
    return {"metered": metered_days_said(month["metered_days"]), "days": (month["to"] - month["from"]).days + 1}


def metered_days_said(days: float) -> str:
    """Write days, of which some may be metered in part."""
    return number(days, 0 if days == round(days) else 1)


def _month_name(month: Any) -> str:
    first, after = month["from"], month["to"] + dt.timedelta(days=1)
    return str(month["month"]) + ("" if first.day == 1 and after.day == 1 else f", {first.day} to {month['to'].day}")


def months_table(account: Account, statement: Statement, year: str) -> pd.DataFrame:
    """A water year's months as text, and their total, which is named where there are several."""
    ledger = account.ledger
    has_meter = bool(ledger.months["metered"].notna().any())
    months = ledger.months[ledger.months["water_year"] == year]

    def span(*ends: float) -> str:
        low, high = (amount(ledger.unit.rounded(end, ledger.decimals)) for end in ends)
        return "–" if low == high else f"{low}\u00a0–\u00a0{high}"

    rows = [
        {
            **{name: amount(month[name]) for name in ("modelled", "metered", "reported", "headroom")},
            "month": _month_name(month),
            "days": str(month["days_of_use"]),
            "range": span(month["range_low_litres"], month["range_high_litres"]),
            "basis": filled(texts("statement")["bases"][month["basis"]], days_of(month)),
        }
        for month in months.to_dict("records")
    ]
    names = [account.source.name] if len(statement.accounts) > 1 else []
    names += [year] if len(ledger.years) > 1 else []
    totals = {
        **{name: amount(ledger.years[name][year]) for name in ("modelled", "metered", "reported", "headroom")},
        "month": ", ".join(["total", *names]),
        "days": str(months["days_of_use"].sum()),
        "range": span(*account.interval) if len(ledger.years) == 1 and not has_meter else "",
        "basis": texts("statement")["bases"].get(ledger.years["basis"][year], ""),
    }
    left_out = (() if has_meter else ("metered", "reported", "basis")) + (() if ledger.licensed else ("headroom",))
    return pd.DataFrame([*rows, totals]).drop(columns=list(left_out))


def licence_rows(account: Account) -> Iterator[tuple[str, str, str, str]]:
    """Each term of the licence, what was licensed, what was done, and how that comes out."""
    ledger, papers, right = account.ledger, account.source.papers, account.source.right
    if papers.volume is not None:
        for label, year in ledger.years.iterrows():
            term = "volume" if len(ledger.years) == 1 else f"volume, {label}"
            used, headroom = (ledger.printed(year[name]) for name in ("reported", "headroom"))
            key = "volume_left" if year["exceeded_on"] is None else "volume_exceeded"
            yield term, ledger.text(papers.volume), used, _say(key, year=year, left=headroom)
    if papers.rate is not None:
        unit = RATE_UNITS[right.rate_unit]
        outcome = f"EXCEEDED, first on {account.rate_date}" if beyond(account.rate, papers.rate) else "within"
        yield "rate", unit.text(papers.rate), unit.text(account.rate), outcome
    if papers.season is not None:
        start, end = (f"{month:02d}-{day:02d}" for month, day in (papers.season.start, papers.season.end))
        outside, outcome = ledger.outside, "all within"
        if len(outside):
            days = count(len(outside), "day").upper()
            outcome = f"{days} OUTSIDE, first {outside.index[0]:%Y-%m-%d}: {ledger.text(outside.sum())}"
        yield "season", f"{start} to {end}", f"{count(ledger.days_of_use, 'day')} of use", outcome
    if papers.area is not None:
        area, outcome = AREA_UNITS[right.area_unit], "LARGER" if beyond(account.area, papers.area) else "within"
        yield "area", area.text(papers.area), area.text(account.area), outcome


def beds_table(account: Account) -> pd.DataFrame:
    """Bed by bed what was applied and where it went, as text, and the total."""
    ledger, area_unit, beds = account.ledger, AREA_UNITS[account.source.right.area_unit], account.beds
    if not len(beds):
        return beds
    unit, decimals, fates = ledger.unit, ledger.decimals, ["consumed", "drained", "left"]
    applied = rounded_parts([unit.exact(litres) for litres in beds["applied"]], decimals, ledger.modelled)
    areas = rounded_parts([area_unit.exact(area) for area in beds["area_m2"]], area_unit.decimals)
    exact = [[unit.exact(max(bed[name], 0.0)) for name in fates] for _, bed in beds.iterrows()]
    parts = [rounded_parts(fate, decimals, total) for fate, total in zip(exact, applied, strict=True)]
    printed = pd.DataFrame(parts, columns=fates).join(pd.DataFrame({"area": areas, "applied": applied}))
    table = printed.map(amount).assign(bed=beds["bed"].replace("", texts("statement")["pans"]), crop=beds["crop"])
    table.loc[beds["bed"] == "", "area"] = ""
    totals = {name: amount(sum(printed[name], Decimal(0))) for name in printed}
    return pd.concat([table, pd.DataFrame([{"bed": "total", "crop": "", **totals}])])
