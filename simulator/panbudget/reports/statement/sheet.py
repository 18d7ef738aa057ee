"""
Statement sheet: a statement in sentences, facts and tables, which the page, both PDFs and the terminal then show.

Numbers become text here and nowhere else, so that all say the same. The fixed words stand in ``texts.toml``.
"""

import datetime as dt
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panbudget.files import json_bytes
from panbudget.reports.garden import garden_line
from panbudget.reports.pages import Report, Section, filled, texts, words_of
from panbudget.reports.writing import as_json, provenance
from panbudget.scenario.garden import WeighedValve
from panbudget.scenario.supplies import Mains
from panbudget.scenario.uncertainty import Uncertainty
from panbudget.season.faults import fault_assumptions
from panbudget.studies.ranges import ranges_of
from panbudget.studies.statement.account import Account, Fate, Metered, Statement
from panbudget.studies.statement.ledger import SPLIT, beyond
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS, amount, rounded_parts
from panbudget.words import count, day_said, days_said, number, percent

_section, _say = words_of("statement")


@dataclass(frozen=True)
class SourceSection(Section):
    """One source's part: ``facts`` are what the papers say; a dash where the scenario says nothing."""

    facts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Sheet(Report):
    """A whole statement: ``limits`` say how it was determined, ``made_from`` are names and fingerprints of inputs."""

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
        template="statement.html.j2",
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
    area, unit = AREA_UNITS[right.area_unit], {"unit": ledger.unit.symbol}
    values = {name: getattr(papers, name) or "–" for name in ("holder", "reference", "point_of_diversion", "purpose")}
    values |= {"area": area.text(account.area), "start": dt.date(2000, right.water_year_start, 1)}
    yield SourceSection(
        heading=f"Source: {account.source.name}",
        items=list(_sentences(account, statement)),
        facts=tuple(filled(texts("statement")["facts"], values).items()),
    )
    for year in ledger.years.index:
        yield _section("months", table=_months(account, year), fill={**unit, "year": year})
    terms = pd.DataFrame(_licence(account), columns=["term", "licensed", "here", "outcome"])
    yield _section("licence", table=terms)
    yield _section("beds", table=_beds(account), fill={**unit, "area_unit": area.symbol})


def _sentences(account: Account, statement: Statement) -> Iterator[str]:
    ledger, metered, months = account.ledger, account.metered, account.ledger.months
    in_part = months[months["basis"] == "metered in part"]
    split = months[months["basis"] == SPLIT]
    by: dict[str, Any] = {"metered": metered.months if metered else 0, "months": len(months), "part": len(in_part)}
    by["split"] = _say("of_them_split", months=len(split)) if len(split) else ""
    low, high = map(ledger.text, account.interval)
    share = statement.season.scenario.uncertainty.interval
    day, litres = ledger.peak
    yield _say(
        "drawn",
        reported=f"{amount(ledger.reported)}\u00a0{ledger.unit.symbol}",
        by=_say("by_meter_in_part" if len(in_part) else "by_meter", **by) if metered or len(in_part) else "",
        days=ledger.days_of_use,
        range="" if low == high else _say("drawn_range", samples=statement.samples, low=low, high=high, interval=share),
    )
    first = _say("first", day=account.rate_date) if account.rate_date else ""
    rate = RATE_UNITS[account.source.right.rate_unit].text(account.rate)
    yield _say("most", litres=ledger.text(litres), day=day, rate=rate, first=first)
    parts = {name: sum(account.beds[name]) for name in Fate._fields}
    if parts["applied"] > 0.0:
        yield _say("consumed", **{name: part / parts["applied"] for name, part in parts.items()})
    if metered is not None:
        yield _meter_against_model(account, metered)
    if len(split):
        yield _say("split_metered", months=", ".join(f"{month:%B %Y}" for month in split["from"]))
    if len(in_part):
        names = (_say("part_month", month=month["from"], **_days_of(month)) for month in in_part.to_dict("records"))
        yield _say("part_metered", months=", ".join(names))
    line = garden_line(statement.season.scenario, account.source.supply)
    yield line[0].upper() + line[1:]
    if not account.source.described:
        yield _say("no_right", supply=account.source.supply)


def _meter_against_model(account: Account, metered: Metered) -> str:
    volumes = (metered.metered, metered.modelled, *metered.interval)
    shown = dict(zip(("metered", "modelled", "low", "high"), map(account.ledger.text, volumes), strict=True))
    apart = ""
    if metered.modelled > 0.0:
        share = metered.metered / metered.modelled - 1.0
        apart = f" ({percent(abs(share))} {'more' if share >= 0.0 else 'less'})"
    return _say("agrees" if metered.agrees else "differs", apart=apart, **shown)


def _days_of(month: Any) -> dict[str, Any]:
    """How many of a month's days are metered, and how many it has."""
    days = month["metered_days"]
    return {"metered": number(days, 0 if days == round(days) else 1), "days": (month["to"] - month["from"]).days + 1}


def _month_name(month: Any) -> str:
    first, after = month["from"], month["to"] + dt.timedelta(days=1)
    return str(month["month"]) + ("" if first.day == 1 and after.day == 1 else f", {first.day} to {month['to'].day}")


def _months(account: Account, year: str) -> pd.DataFrame:
    """A water year's months as text, and their total."""
    ledger = account.ledger
    has_meter = bool(ledger.months["metered"].notna().any())
    months = ledger.months[ledger.months["water_year"] == year]

    def span(*ends: float) -> str:
        return "\u00a0–\u00a0".join(amount(ledger.unit.rounded(end, ledger.decimals)) for end in ends)

    rows = [
        {
            **{name: amount(month[name]) for name in ("modelled", "metered", "reported", "headroom")},
            "month": _month_name(month),
            "days": str(month["days_of_use"]),
            "range": span(month["range_low_litres"], month["range_high_litres"]),
            "basis": filled(texts("statement")["bases"][month["basis"]], _days_of(month)),
        }
        for month in months.to_dict("records")
    ]
    counted = months["metered"].dropna()
    totals = {
        **{name: amount(ledger.years[name][year]) for name in ("modelled", "reported", "headroom")},
        "metered": amount(sum(counted) if len(counted) else None),
        "month": "total",
        "days": str(months["days_of_use"].sum()),
        "range": span(*account.interval) if len(ledger.years) == 1 and not has_meter else "",
        "basis": "",
    }
    left_out = (() if has_meter else ("metered", "reported", "basis")) + (() if ledger.licensed else ("headroom",))
    return pd.DataFrame([*rows, totals]).drop(columns=list(left_out))


def _licence(account: Account) -> Iterator[tuple[str, str, str, str]]:
    """Each term of the licence, what was licensed, what was done, and how that comes out."""
    ledger, papers, right = account.ledger, account.source.papers, account.source.right
    if papers.volume is not None:
        for label, year in ledger.years.iterrows():
            term = "volume" if len(ledger.years) == 1 else f"volume, {label}"
            used, headroom = (f"{amount(year[name])}\u00a0{ledger.unit.symbol}" for name in ("reported", "headroom"))
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


def _beds(account: Account) -> pd.DataFrame:
    """Bed by bed what was applied and where it went, as text, and the total."""
    ledger, area_unit, beds = account.ledger, AREA_UNITS[account.source.right.area_unit], account.beds
    unit, decimals, fates = ledger.unit, ledger.decimals, ["consumed", "drained", "left"]
    applied = rounded_parts([unit.exact(litres) for litres in beds["applied"]], decimals, ledger.modelled)
    areas = rounded_parts([area_unit.exact(area) for area in beds["area_m2"]], area_unit.decimals)
    parts = [
        rounded_parts([unit.exact(max(bed[name], 0.0)) for name in fates], decimals, total)
        for (_, bed), total in zip(beds.iterrows(), applied, strict=True)
    ]
    printed = pd.DataFrame(parts, columns=fates).join(pd.DataFrame({"area": areas, "applied": applied}))
    table = printed.map(amount).assign(bed=beds["bed"].replace("", texts("statement")["pans"]), crop=beds["crop"])
    table.loc[beds["bed"] == "", "area"] = ""
    totals = {name: amount(sum(printed[name])) for name in printed}
    return pd.concat([table, pd.DataFrame([{"bed": "total", "crop": "", **totals}])])


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
    season, default = statement.season, Uncertainty.model_validate({})
    rules = season.scenario.uncertainty
    gaps, days = season.totals["weather"]["filled"], season.totals["season"]["days"]
    columns = (f"{column} on {number(n)} ({method})" for column, ways in gaps.items() for method, n in ways.items())
    ranges = []
    for name, (low, high) in ranges_of(season.scenario).items():
        usual = " (default)" if (low, high) == getattr(default, name, None) else ""
        valve, _, key = name.removeprefix("controller.").rpartition(".")
        what = texts("statement")["ranges"][key]
        ranges.append(f"{f'{valve}: ' if valve else ''}{what} × {low:g} to {high:g}{usual}")
    drawn = {"samples": statement.samples, "rules": rules, "ranges": "; ".join(ranges)}
    return {
        "Determination": " ".join(_determination(statement)),
        "Measured": _listed(_measured(statement)),
        "Assumed": _listed(_assumed(statement)),
        "Days filled": fixed["filled" if gaps else "not_filled"].format(days=days, columns="; ".join(columns)),
        "Range": filled(fixed["range"], drawn),
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
    alike: dict[tuple[str, float], list[str]] = {}
    for name, controller in scenario.controller.items():
        alike.setdefault((controller.pan.evaporation, controller.pan.exposure), []).append(name)
    for (model, exposure), names in alike.items():
        if model != "measured" or exposure != 1.0:
            how = texts("statement")["models"][model]
            yield f"pan evaporation of {', '.join(names)}: {how}, exposure {exposure:g}"
    valves = scenario.controller.values()
    emitters = (e for c in valves for e in (c.valve.refill, *(bed.emitters for bed in c.bed.values())))
    if any(emitter.at is not None for emitter in emitters):
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
        units = {"L": account.ledger.unit, "L/h": RATE_UNITS[right.rate_unit], "m²": AREA_UNITS[right.area_unit]}
        factors |= {unit.symbol: unit.factor_text(base) for base, unit in units.items() if unit.size != 1}
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
