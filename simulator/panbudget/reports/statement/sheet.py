"""
Sheet: a statement as headings, facts, tables and paragraphs of text, which HTML and PDF then place.

Numbers become text here and nowhere else, so that both say the same.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from panbudget.reports.statement.text import ESTIMATE, TITLE, amount, area_text, method_lines, rate_text, volume_text
from panbudget.studies.statement.account import Account, Statement
from panbudget.studies.statement.ledger import Month, WaterYear, beyond
from panbudget.studies.statement.rounding import rounded, rounded_parts
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS
from panbudget.words import count, day_said, days_said, number, percent

__all__ = ["Section", "Sheet", "SheetTable", "make_sheet"]

_BASIS = {"metered": "METERED", "metered in part": "METERED\u00a0{days}", "modelled": "modelled"}


@dataclass(frozen=True)
class SheetTable:
    """
    A table of text.

    Parameters
    ----------
    caption : str
    headings : tuple of str
    rows : tuple of tuple of str
    total : tuple of str
        A last row that adds up, empty for none.
    names : int
        How many columns from the left are words.
    widths : tuple of int
        Of the columns, relative.
    """

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    total: tuple[str, ...]
    names: int
    widths: tuple[int, ...]


@dataclass(frozen=True)
class Section:
    """
    One source's part.

    Parameters
    ----------
    heading : str
    facts : tuple of (str, str)
        What the papers say; a dash where the scenario says nothing.
    sentences : tuple of str
    tables : tuple of SheetTable
    """

    heading: str
    facts: tuple[tuple[str, str], ...]
    sentences: tuple[str, ...]
    tables: tuple[SheetTable, ...]


@dataclass(frozen=True)
class Sheet:
    """
    A whole statement.

    Parameters
    ----------
    title, subtitle, note : str
    estimate : str
        What this is, and what prevails over it.
    sections : tuple of Section
    method : tuple of (str, str)
    blanks : tuple of str
        What the one who signs fills in.
    made_from : tuple of (str, str)
        Fingerprints.
    """

    title: str
    subtitle: str
    note: str
    estimate: str
    sections: tuple[Section, ...]
    method: tuple[tuple[str, str], ...]
    blanks: tuple[str, ...]
    made_from: tuple[tuple[str, str], ...]


def make_sheet(statement: Statement, made_from: tuple[tuple[str, str], ...]) -> Sheet:
    """
    Put a statement into words.

    Parameters
    ----------
    statement : Statement
    made_from : tuple of (str, str)
        Names and fingerprints of the inputs.

    Returns
    -------
    Sheet
    """
    totals = statement.season.totals
    variant = f", variant {statement.variant}" if statement.variant else ""
    return Sheet(
        title=TITLE,
        subtitle=f"{totals['title']}{variant}: {days_said(totals['season']['start'], totals['season']['end'])}",
        note=statement.season.scenario.note,
        estimate=ESTIMATE,
        sections=tuple(_section(account, statement) for account in statement.accounts),
        method=tuple(method_lines(statement)),
        blanks=("Prepared by", "Date", "Signature"),
        made_from=made_from,
    )


def _section(account: Account, statement: Statement) -> Section:
    years = account.ledger.years
    tables = [_months(account, year, alone=len(years) == 1) for year in years]
    licence = _licence(account)
    if licence.rows:
        tables.append(licence)
    tables.append(_beds(account))
    return Section(
        f"Source: {account.source.name}", _facts(account), tuple(_sentences(account, statement)), tuple(tables)
    )


def _facts(account: Account) -> tuple[tuple[str, str], ...]:
    papers, right = account.source.papers, account.source.right
    month = dt.date(2000, right.water_year_start, 1)
    return (
        ("Holder", papers.holder or "–"),
        ("Reference", papers.reference or "–"),
        ("Point of diversion", papers.point_of_diversion or "–"),
        ("Purpose", papers.purpose or "–"),
        ("Area irrigated", area_text(account.area, AREA_UNITS[right.area_unit])),
        ("Water year from", f"1 {month:%B}"),
    )


def _sentences(account: Account, statement: Statement) -> list[str]:
    ledger, right = account.ledger, account.source.right
    decimals, symbol = ledger.decimals, ledger.unit.symbol
    interval = percent(statement.season.scenario.statement.interval)
    low, high = (volume_text(value, account) for value in account.interval)
    metered = account.metered
    whole = len(ledger.months)
    partly = [month for month in ledger.months if month.basis == "metered in part"]
    by = ""
    if metered is not None or partly:
        in_part = f", {len(partly)} in part" if partly else ""
        by = f" ({metered.months if metered else 0} of {count(whole, 'month')} by meter{in_part})"
    found = [
        f"Drawn: {amount(ledger.reported_printed, decimals)}\u00a0{symbol}{by}, on {count(ledger.days_of_use, 'day')} of "
        f"use; {interval} of {statement.samples} seasons run over the stated ranges lie between {low} and {high}."
    ]
    rate = rate_text(account.rate, RATE_UNITS[right.rate_unit])
    first = f", first on {day_said(account.rate_date)}" if account.rate_date else ""
    found.append(
        f"By the model, the most in a day is {volume_text(ledger.peak_litres, account)} on {day_said(ledger.peak_day)}, and the "
        f"largest rate, of all valves open together, {rate}{first}."
    )
    applied = sum(line.fate.applied for line in account.beds)
    if applied > 0.0:
        consumed, drained = (sum(getattr(line.fate, part) for line in account.beds) for part in ("consumed", "drained"))
        found.append(
            f"Consumptive part: {percent(consumed / applied)} of the modelled water became ET or evaporated from pans; "
            f"{percent(drained / applied)} drained below the roots or spilled; none ran off; the rest is still in soil "
            "and pans."
        )
    if metered is not None:
        found.append(_disagreement(account))
    if partly:
        lines = (f"{month.first:%B %Y} ({_days_of(month)}\u00a0days)" for month in partly)
        found.append(
            f"Readings hold only a part of {', '.join(lines)}: there, what the meter counted is reported with what the "
            "model has for the rest. Readings at the month's ends, or beyond them, would make it whole."
        )
    if not account.source.described:
        found.append(
            f"The scenario describes no right of this supply; describe it under [supply.{account.source.supply}.right]."
        )
    return found


def _disagreement(account: Account) -> str:
    metered = account.metered
    assert metered is not None
    low, high = (volume_text(value, account) for value in metered.interval)
    apart = ""
    if metered.modelled > 0.0:
        share = metered.metered / metered.modelled - 1.0
        apart = f" ({percent(abs(share))} {'more' if share >= 0.0 else 'less'})"
    verdict = "inside" if metered.agrees else "outside"
    cure = "" if metered.agrees else "; look at the meter, at what else draws on it, and at the pan's exposure"
    return (
        f"Over the metered months the meter counted {volume_text(metered.metered, account)} where the model has "
        f"{volume_text(metered.modelled, account)}{apart}, {verdict} the model's range of {low} to {high}{cure}."
    )


def _days_of(month: Month) -> str:
    """How many of a month's days are metered: "29 of 30"."""
    decimals = 0 if month.metered_days == round(month.metered_days) else 1
    return f"{number(month.metered_days, decimals)} of {month.days}"


def _month_name(month: Month) -> str:
    after = month.last + dt.timedelta(days=1)
    if month.first.day == 1 and after.day == 1:
        return month.key
    return f"{month.key}, {month.first.day} to {month.last.day}"


def _months(account: Account, year: WaterYear, *, alone: bool) -> SheetTable:
    ledger = account.ledger
    decimals, symbol = ledger.decimals, ledger.unit.symbol
    has_meter = any(month.metered is not None for month in ledger.months)
    has_volume = ledger.licence_printed is not None
    headings = ["month", "days of use", f"modelled [{symbol}]", f"its range [{symbol}]"]
    widths = [20, 11, 16, 24]
    if has_meter:
        headings += [f"metered [{symbol}]", f"reported [{symbol}]", "basis"]
        widths += [16, 16, 17]
    if has_volume:
        headings.append(f"headroom [{symbol}]")
        widths.append(16)

    def span(interval: tuple[float, float]) -> str:
        low, high = (rounded(ledger.unit.exact(value), decimals) for value in interval)
        return f"{amount(low, decimals)}\u00a0–\u00a0{amount(high, decimals)}"

    rows = []
    for month in year.months:
        row = [
            _month_name(month),
            str(month.days_of_use),
            amount(month.modelled_printed, decimals),
            span(account.month_intervals[month.key]),
        ]
        if has_meter:
            row += [amount(month.metered_printed, decimals), amount(month.reported_printed, decimals)]
            row.append(_BASIS[month.basis].format(days=_days_of(month).replace(" of ", "/")))
        if has_volume:
            row.append(amount(month.headroom_printed, decimals))
        rows.append(tuple(row))
    total = [
        "total",
        str(sum(month.days_of_use for month in year.months)),
        amount(year.modelled_printed, decimals),
        span(account.interval) if alone and not has_meter else "",
    ]
    if has_meter:
        counted = [m.metered_printed for m in year.months if m.metered_printed is not None]
        total += [amount(sum(counted), decimals) if counted else "–", amount(year.reported_printed, decimals), ""]
    if has_volume:
        total.append(amount(year.months[-1].headroom_printed, decimals))
    caption = f"By calendar month, water year {year.label}"
    return SheetTable(caption, tuple(headings), tuple(rows), tuple(total), 1, tuple(widths))


def _licence(account: Account) -> SheetTable:
    ledger, papers, right = account.ledger, account.source.papers, account.source.right
    rows: list[tuple[str, str, str, str]] = []
    if papers.volume is not None:
        for year in ledger.years:
            left = year.months[-1].headroom_printed or 0
            outcome = f"{percent(year.share_used)} used, {amount(left, ledger.decimals)}\u00a0{ledger.unit.symbol} left"
            if year.exceeded_on is not None:
                outcome = f"{percent(year.share_used)} used; EXCEEDED, first on {year.exceeded_on}"
            used = f"{amount(year.reported_printed, ledger.decimals)}\u00a0{ledger.unit.symbol}"
            term = "volume" if len(ledger.years) == 1 else f"volume, {year.label}"
            rows.append((term, volume_text(papers.volume, account), used, outcome))
    if papers.rate is not None:
        unit = RATE_UNITS[right.rate_unit]
        above = beyond(account.rate, papers.rate)
        outcome = f"EXCEEDED, first on {account.rate_date}" if above else "within"
        rows.append(("rate", rate_text(papers.rate, unit), rate_text(account.rate, unit), outcome))
    if papers.season is not None:
        start, end = (f"{month:02d}-{day:02d}" for month, day in (papers.season.start, papers.season.end))
        outcome = "all within"
        if ledger.outside_days:
            outcome = (
                f"{count(ledger.outside_days, 'day').upper()} OUTSIDE, first {ledger.outside_first}: "
                f"{volume_text(ledger.outside_litres, account)}"
            )
        rows.append(("season", f"{start} to {end}", f"{count(ledger.days_of_use, 'day')} of use", outcome))
    if papers.area is not None:
        unit = AREA_UNITS[right.area_unit]
        outcome = "LARGER" if beyond(account.area, papers.area) else "within"
        rows.append(("area", area_text(papers.area, unit), area_text(account.area, unit), outcome))
    caption = (
        "Against the licence; only the days of this statement are counted, and what was drawn on others of a water year "
        "comes on top"
    )
    return SheetTable(caption, ("term", "licensed", "here", "outcome"), tuple(rows), (), 4, (26, 22, 22, 50))


def _beds(account: Account) -> SheetTable:
    ledger, area_unit = account.ledger, AREA_UNITS[account.source.right.area_unit]
    unit, decimals = ledger.unit, ledger.decimals
    applied = rounded_parts([unit.exact(line.fate.applied) for line in account.beds], decimals, ledger.modelled_printed)
    areas = rounded_parts([area_unit.exact(line.area) for line in account.beds], area_unit.decimals)
    rows, sums = [], [0, 0, 0]
    for line, digits, area in zip(account.beds, applied, areas, strict=True):
        fate = line.fate
        parts = rounded_parts(
            [unit.exact(max(part, 0.0)) for part in (fate.consumed, fate.drained, fate.left)], decimals, digits
        )
        sums = [have + part for have, part in zip(sums, parts, strict=True)]
        rows.append(
            (
                line.key or "refill emitters, into the pans",
                line.crop,
                amount(area, area_unit.decimals) if line.key else "",
                *(amount(value, decimals) for value in (digits, *parts)),
            )
        )
    headings = (
        *("bed", "crop", f"area [{area_unit.symbol}]", f"modelled [{unit.symbol}]"),
        *(f"consumed [{unit.symbol}]", f"drained [{unit.symbol}]", f"left at the end [{unit.symbol}]"),
    )
    total = (
        *("total", "", amount(sum(areas), area_unit.decimals), amount(sum(applied), decimals)),
        *(amount(value, decimals) for value in sums),
    )
    caption = (
        "Bed by bed, and where the applied water went: consumed is ET of it (from pans, evaporation), drained is deep "
        "percolation (from pans, spill)"
    )
    return SheetTable(caption, headings, tuple(rows), total, 2, (34, 24, 14, 16, 16, 16, 16))
