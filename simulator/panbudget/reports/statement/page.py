"""
Statement page: a statement in sentences, facts and tables, which the page, both PDFs and the terminal then show.

Numbers become text here and nowhere else, so that all say the same. The fixed words stand in ``texts.toml``.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

import pandas as pd

from panbudget.files import json_bytes
from panbudget.reports.pages import Report, Section, labelled, texts
from panbudget.reports.writing import as_json, provenance
from panbudget.scenario.garden import WeighedValve
from panbudget.scenario.rights import StatementRules
from panbudget.scenario.supplies import Mains
from panbudget.season.faults import fault_assumptions
from panbudget.studies.ranges import DRAWN
from panbudget.studies.statement.account import Account, Fate, Metered, Statement
from panbudget.studies.statement.ledger import beyond
from panbudget.studies.statement.rounding import rounded_parts
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS, amount
from panbudget.words import count, day_said, days_said, number, percent


@dataclass(frozen=True)
class SourceSection(Section):
    """One source's part: ``facts`` are what the papers say; a dash where the scenario says nothing."""

    facts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Sheet(Report):
    """A whole statement: ``limits`` say how it was determined, ``made_from`` are names and fingerprints of inputs."""

    template: ClassVar[str] = "statement.html.j2"

    limits: tuple[tuple[str, str], ...] = ()
    limits_heading: str = ""
    blanks: tuple[str, ...] = ()
    made_from: tuple[tuple[str, str], ...] = ()


def statement_sheet(statement: Statement) -> Sheet:
    """
    Put a statement into words.

    Parameters
    ----------
    statement : Statement

    Returns
    -------
    Sheet
    """
    totals, fixed, made = statement.season.totals, texts("statement"), provenance(statement.season)
    variant = f", variant {statement.variant}" if statement.variant else ""
    return Sheet(
        title=fixed["title"],
        when=f"{totals['title']}{variant}: {days_said(totals['season']['start'], totals['season']['end'])}",
        note=statement.season.scenario.note,
        lead=[fixed["estimate"]],
        sections=[part for account in statement.accounts for part in _sections(account, statement)],
        limits=tuple(method_lines(statement).items()),
        limits_heading=fixed["method_heading"],
        blanks=tuple(fixed["blanks"]),
        made_from=(
            ("panbudget", made["panbudget"]),
            ("scenario, SHA-256", made["scenario_sha256"]),
            (f"weather {made['weather']['file']}, SHA-256", made["weather_sha256"]),
            *((f"readings {readings.file}, SHA-256", readings.sha256) for readings in statement.readings),
            (fixed["beside"], season_fingerprint(statement)),
        ),
    )


def season_fingerprint(statement: Statement) -> str:
    """Return the SHA-256 of the `season.json` that is written beside a statement."""
    return hashlib.sha256(json_bytes(as_json(statement.season))).hexdigest()


def statement_sentences(statement: Statement) -> list[str]:
    """Return what a person can read in ten seconds: of each source, what was drawn; findings; what this is."""
    sheet = statement_sheet(statement)
    parts = [line for part in sheet.sections if part.heading for line in (part.heading, *(part.items or ()))]
    findings = (
        f"{finding.severity}: {finding.where}: {finding.message}"
        + (f" First on {day_said(finding.first)}." if finding.first else "")
        for finding in statement.findings
    )
    return [sheet.when, *parts, *findings, *sheet.lead]


def _sections(account: Account, statement: Statement) -> Iterator[Section]:
    papers, right, ledger = account.source.papers, account.source.right, account.ledger
    facts = (
        ("Holder", papers.holder or "–"),
        ("Reference", papers.reference or "–"),
        ("Point of diversion", papers.point_of_diversion or "–"),
        ("Purpose", papers.purpose or "–"),
        ("Area irrigated", AREA_UNITS[right.area_unit].text(account.area)),
        ("Water year from", f"1 {dt.date(2000, right.water_year_start, 1):%B}"),
    )
    yield SourceSection(
        heading=f"Source: {account.source.name}", items=list(_sentences(account, statement)), facts=facts
    )
    for year in ledger.years.index:
        yield Section(table=_months(account, year))
    yield Section(table=_licence(account))
    yield Section(table=_beds(account))


def _sentences(account: Account, statement: Statement) -> Iterator[str]:
    ledger, metered, said = account.ledger, account.metered, texts("statement")["sentences"]
    months, in_part = ledger.months, ledger.months[ledger.months["basis"] == "metered in part"]
    by = ""
    if metered is not None or len(in_part):
        also = said["in_part"].format(count=len(in_part)) if len(in_part) else ""
        whole = metered.months if metered else 0
        by = said["by_meter"].format(metered=whole, months=count(len(months), "month"), in_part=also)
    low, high = map(ledger.text, account.interval)
    yield said["drawn"].format(
        reported=f"{amount(ledger.reported)}\u00a0{ledger.unit.symbol}",
        by=by,
        days=count(ledger.days_of_use, "day"),
        interval=percent(statement.season.scenario.statement.interval),
        samples=statement.samples,
        low=low,
        high=high,
    )
    day, litres = ledger.peak
    yield said["most"].format(
        litres=ledger.text(litres),
        day=day_said(day),
        rate=RATE_UNITS[account.source.right.rate_unit].text(account.rate),
        first=said["first"].format(day=day_said(account.rate_date)) if account.rate_date else "",
    )
    parts = {name: sum(account.beds[name]) for name in Fate._fields}
    if parts["applied"] > 0.0:
        yield said["consumed"].format(**{name: percent(part / parts["applied"]) for name, part in parts.items()})
    if metered is not None:
        yield _meter_against_model(account, metered)
    if len(in_part):
        listed = (
            said["part_month"].format(month=f"{month['from']:%B %Y}", **_days_of(month))
            for _, month in in_part.iterrows()
        )
        yield said["part_metered"].format(months=", ".join(listed))
    if not account.source.described:
        yield said["no_right"].format(supply=account.source.supply)


def _meter_against_model(account: Account, metered: Metered) -> str:
    low, high = map(account.ledger.text, metered.interval)
    apart = ""
    if metered.modelled > 0.0:
        share = metered.metered / metered.modelled - 1.0
        apart = f" ({percent(abs(share))} {'more' if share >= 0.0 else 'less'})"
    litres = {name: account.ledger.text(getattr(metered, name)) for name in ("metered", "modelled")}
    text: str = texts("statement")["sentences"]["agrees" if metered.agrees else "differs"]
    return text.format(**litres, apart=apart, low=low, high=high)


def _days_of(month: Any) -> dict[str, str]:
    """How many of a month's days are metered, and how many it has."""
    days = month["metered_days"]
    whole = days == round(days)
    return {"metered": number(days, 0 if whole else 1), "days": str((month["to"] - month["from"]).days + 1)}


def _month_name(month: Any) -> str:
    first, after = month["from"], month["to"] + dt.timedelta(days=1)
    return str(month["month"]) + ("" if first.day == 1 and after.day == 1 else f", {first.day} to {month['to'].day}")


def _table(key: str, account: Account, rows: pd.DataFrame, *, total: bool = False, year: str = "") -> pd.DataFrame:
    """A table of text, as ``texts.toml`` describes it; ``total``: its last row adds up."""
    fixed, area_unit = texts("statement")[key], AREA_UNITS[account.source.right.area_unit].symbol
    headings = {
        name: text.format(unit=account.ledger.unit.symbol, area_unit=area_unit)
        for name, text in fixed["columns"].items()
    }
    table = labelled(rows, headings, caption=fixed["caption"].format(year=year), names=fixed["names"], total=total)
    table.attrs["widths"] = [fixed["widths"][name] for name in table]
    return table


def _months(account: Account, year: str) -> pd.DataFrame:
    ledger = account.ledger
    bases, has_meter = texts("statement")["months"]["bases"], bool(ledger.months["metered"].notna().any())
    months = ledger.months[ledger.months["water_year"] == year]

    def span(low: float, high: float) -> str:
        return "\u00a0–\u00a0".join(amount(ledger.unit.rounded(value, ledger.decimals)) for value in (low, high))

    rows = [
        {
            "month": _month_name(month),
            "days": str(month["days_of_use"]),
            "range": span(month["range_low_litres"], month["range_high_litres"]),
            "basis": bases[month["basis"]].format(**_days_of(month)),
            **{name: amount(month[name]) for name in ("modelled", "metered", "reported", "headroom")},
        }
        for _, month in months.iterrows()
    ]
    counted = months["metered"].dropna()
    alone = len(ledger.years) == 1 and not has_meter
    totals = {
        "month": "total",
        "days": str(months["days_of_use"].sum()),
        "range": span(*account.interval) if alone else "",
        "basis": "",
        "metered": amount(sum(counted) if len(counted) else None),
        **{name: amount(ledger.years[name][year]) for name in ("modelled", "reported", "headroom")},
    }
    left_out = (() if has_meter else ("metered", "reported", "basis")) + (() if ledger.licensed else ("headroom",))
    table = pd.DataFrame([*rows, totals]).drop(columns=list(left_out))
    return _table("months", account, table, total=True, year=year)


def _licence(account: Account) -> pd.DataFrame:
    ledger, papers, right, years = account.ledger, account.source.papers, account.source.right, account.ledger.years
    rows: list[tuple[str, str, str, str]] = []
    if papers.volume is not None:
        for label, year in years.iterrows():
            outcome = f"{percent(year['share_used'])} used, {amount(year['headroom'])}\u00a0{ledger.unit.symbol} left"
            if year["exceeded_on"] is not None:
                outcome = f"{percent(year['share_used'])} used; EXCEEDED, first on {year['exceeded_on']}"
            used = f"{amount(year['reported'])}\u00a0{ledger.unit.symbol}"
            rows.append(
                ("volume" if len(years) == 1 else f"volume, {label}", ledger.text(papers.volume), used, outcome)
            )
    if papers.rate is not None:
        unit, above = RATE_UNITS[right.rate_unit], beyond(account.rate, papers.rate)
        outcome = f"EXCEEDED, first on {account.rate_date}" if above else "within"
        rows.append(("rate", unit.text(papers.rate), unit.text(account.rate), outcome))
    if papers.season is not None:
        start, end = (f"{month:02d}-{day:02d}" for month, day in (papers.season.start, papers.season.end))
        outside, outcome = ledger.outside, "all within"
        if len(outside):
            days = count(len(outside), "day").upper()
            outcome = f"{days} OUTSIDE, first {outside.index[0]:%Y-%m-%d}: {ledger.text(outside.sum())}"
        used = f"{count(ledger.days_of_use, 'day')} of use"
        rows.append(("season", f"{start} to {end}", used, outcome))
    if papers.area is not None:
        unit, above = AREA_UNITS[right.area_unit], beyond(account.area, papers.area)
        rows.append(("area", unit.text(papers.area), unit.text(account.area), "LARGER" if above else "within"))
    columns = ["term", "licensed", "here", "outcome"]
    return _table("licence", account, pd.DataFrame(rows, columns=columns))


def _beds(account: Account) -> pd.DataFrame:
    ledger, area_unit, beds = account.ledger, AREA_UNITS[account.source.right.area_unit], account.beds
    unit, decimals = ledger.unit, ledger.decimals
    applied = rounded_parts([unit.exact(litres) for litres in beds["applied"]], decimals, ledger.modelled)
    areas = rounded_parts([area_unit.exact(area) for area in beds["area_m2"]], area_unit.decimals)
    fates = ["consumed", "drained", "left"]
    parts = [
        rounded_parts([unit.exact(max(bed[name], 0.0)) for name in fates], decimals, total)
        for (_, bed), total in zip(beds.iterrows(), applied, strict=True)
    ]
    printed = pd.DataFrame(parts, columns=fates).join(pd.DataFrame({"area": areas, "applied": applied}))
    names = pd.DataFrame({"bed": beds["bed"].replace("", texts("statement")["beds"]["pans"]), "crop": beds["crop"]})
    table = pd.concat([names, printed.map(amount)], axis=1)
    table.loc[beds["bed"] == "", "area"] = ""
    table.loc[len(table)] = {"bed": "total", "crop": "", **{name: amount(sum(printed[name])) for name in printed}}
    return _table("beds", account, table, total=True)


def method_lines(statement: Statement) -> dict[str, str]:
    """
    Say how a statement was determined, and its limits.

    Parameters
    ----------
    statement : Statement

    Returns
    -------
    dict
        Heading -> text.
    """
    fixed = texts("statement")["method"]
    season, rules, default = statement.season, statement.season.scenario.statement, StatementRules.model_validate({})
    filled, days = season.totals["weather"]["filled"], season.totals["season"]["days"]
    columns = (
        f"{column} on {number(count)} ({method})" for column, ways in filled.items() for method, count in ways.items()
    )
    ranges = (
        f"{texts('statement')['ranges'][name]} × {low:g} to {high:g}"
        + (" (default)" if (low, high) == getattr(default, name) else "")
        for name, (low, high) in ((name, getattr(rules, name)) for name in DRAWN)
    )
    return {
        "Determination": " ".join(_determination(statement)),
        "Measured": _listed(_measured(statement)),
        "Assumed": _listed(_assumed(statement)),
        "Days filled": fixed["filled" if filled else "not_filled"].format(days=days, columns="; ".join(columns)),
        "Range": fixed["range"].format(
            samples=number(statement.samples),
            seed=rules.seed,
            ranges="; ".join(ranges),
            interval=percent(rules.interval),
        ),
        "Consumption": fixed["consumption"],
        "Units and rounding": " ".join(_units(statement)),
    }


def _listed(parts: Iterator[str]) -> str:
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}."


def _determination(statement: Statement) -> Iterator[str]:
    fixed = texts("statement")["determination"]
    yield fixed["modelled"]
    if any(account.ledger.months["metered"].notna().any() for account in statement.accounts):
        yield fixed["metered"]
    # of a supply's several accounts, each has the same stretches
    stretches = {account.source.supply: account.ledger.split_stretches for account in statement.accounts}
    if any(stretches.values()):
        yield fixed["stretches"].format(stretches=number(sum(stretches.values())))
    if not all(account.source.is_whole_supply for account in statement.accounts):
        yield fixed[f"by_{statement.season.scenario.statement.split}"]


def _measured(statement: Statement) -> Iterator[str]:
    season = statement.season
    yield f"weather of {season.weather.provenance['file']}, but for what is filled"
    for name, controller in season.scenario.controller.items():
        if isinstance(controller.valve, WeighedValve):
            yield f"swing of {name}, by two weighings"
        if controller.valve.refill.at is None:
            yield f"refill flow of {name}, in place"
        if controller.pan.evaporation == "measured":
            yield f"pan evaporation of {name}, a column of the weather file"
        in_place = [bed for bed, described in controller.bed.items() if described.emitters.at is None]
        if in_place:
            yield f"emitter flow of {name}: {', '.join(in_place)}, in place"
    for readings in statement.readings:
        yield f"meter readings of {readings.file}" + (f" ({'; '.join(readings.events)})" if readings.events else "")


def _assumed(statement: Statement) -> Iterator[str]:
    scenario = statement.season.scenario
    valves: dict[tuple[str, float], list[str]] = {}
    for name, controller in scenario.controller.items():
        valves.setdefault((controller.pan.evaporation, controller.pan.exposure), []).append(name)
    for (model, exposure), names in valves.items():
        if model != "measured" or exposure != 1.0:
            how = texts("statement")["models"][model]
            yield f"pan evaporation of {', '.join(names)}: {how}, exposure {exposure:g}"
    by_packet = any(
        emitter.at is not None
        for controller in scenario.controller.values()
        for emitter in (controller.valve.refill, *(bed.emitters for bed in controller.bed.values()))
    )
    if by_packet:
        yield "flows by the emitters' packets and pressures"
    for name, supply in scenario.supply.items():
        if isinstance(supply, Mains):
            yield f"pressure of {name} {number(supply.pressure)}\u00a0kPa all season"
    faults = fault_assumptions(scenario)
    yield from faults
    other = "no other leak or clogging" if faults else "no leak, no clogging"
    yield f"weather at the garden as in the file; {other}, nothing else drawn on the line"


def _units(statement: Statement) -> Iterator[str]:
    fixed = texts("statement")["method"]
    factors: dict[str, str] = {}
    for account in statement.accounts:
        right = account.source.right
        rate, area = RATE_UNITS[right.rate_unit], AREA_UNITS[right.area_unit]
        for unit, base in ((account.ledger.unit, "L"), (rate, "L/h"), (area, "m²")):
            if unit.size != 1:
                factors[unit.symbol] = unit.factor_text(base)
    if factors:
        yield f"{'; '.join(factors.values())} (NIST SP 811, 2008)."
    symbols = " ".join(factors)
    if "acre" in symbols:
        yield fixed["survey_foot"]
    elif "ft³" in symbols or "ccf" in symbols:
        yield fixed["foot"]
    if "ccf" in symbols:
        yield fixed["ccf"]
    yield fixed["rounding"]
