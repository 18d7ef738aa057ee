"""
Statement sheet: a statement in sentences, facts and tables, which the page, both PDFs and the terminal then show.

Numbers become text here and nowhere else, so that all say the same. The fixed words stand in ``texts.toml``.
"""

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple

import pandas as pd

from panbudget.files import json_bytes
from panbudget.reports.arranging import MOST_STEPS, steps_of
from panbudget.reports.garden import garden_line
from panbudget.reports.pages import Report, Section, texts, words_of
from panbudget.reports.statement import tables
from panbudget.reports.statement.method import method_lines
from panbudget.reports.statement.origins import weather_mark
from panbudget.reports.writing import as_json, provenance
from panbudget.scenario.rights import Meter
from panbudget.season.result import Finding
from panbudget.season.supplies import float_source
from panbudget.studies.statement.account import Account, Fate, Statement
from panbudget.studies.statement.ledger import BY_RATIO, METERED, MODELLED, PART, SPLIT, Metered
from panbudget.studies.statement.meter import months_of
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS
from panbudget.words import day_said, days_said, filled, percent

_section, _say = words_of("statement")


@dataclass(frozen=True)
class SourceSection(Section):
    """
    One source's part.

    Parameters
    ----------
    facts : tuple of (str, str)
        What the papers say, an even number; a dash where the scenario says nothing.
    bar : tuple of float or None
        The range and what is reported, low, middle, high, as shares of a picture's width.
    bar_ends : tuple of str
        The same as text.
    picture : Picture or None
    """

    facts: tuple[tuple[str, str], ...] = ()
    bar: tuple[float, float, float] | None = None
    bar_ends: tuple[str, str, str] = ("", "", "")
    picture: "Picture | None" = None


class Bar(NamedTuple):
    """What is reported of a stretch of time: label, text; its range and itself, low, middle, high, as shares of the width."""

    label: str
    text: str
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Picture:
    """
    What one source gave, as bars: the whole, then month by month.

    Parameters
    ----------
    name : str
        The source's.
    bars : tuple of Bar
        The first is the whole.
    licensed : float or None
        The licensed volume, where it lies within the width, as a share of it; of the first bar.
    licensed_text : str
        Empty where no volume is licensed, or where several water years have one each.
    """

    name: str
    bars: tuple[Bar, ...]
    licensed: float | None
    licensed_text: str


@dataclass(frozen=True)
class Sheet(Report):
    """
    A whole statement.

    Parameters
    ----------
    limits : tuple of (str, str)
        How it was determined.
    wording : mapping
        The fixed words of a statement's page.
    attested : tuple of str
        What is attested, in the signer's words.
    made_from : tuple of (str, str)
        Names and fingerprints of inputs.
    mark : str
        Across each page that prints; empty for none.
    found : sequence of Finding
    """

    limits: tuple[tuple[str, str], ...] = ()
    wording: Mapping[str, Any] = field(default_factory=dict)
    attested: tuple[str, ...] = ()
    made_from: tuple[tuple[str, str], ...] = ()
    mark: str = ""
    found: Sequence[Finding] = ()


def statement_sheet(statement: Statement) -> Sheet:
    """Put a statement into words."""
    totals, fixed, made = statement.season.totals, texts("statement"), provenance(statement.season)
    sections = [part for account in statement.accounts for part in _sections(account, statement)]
    variant = f", variant {statement.variant}" if statement.variant else ""
    return Sheet(
        template="statement.html.j2",
        title=fixed["title"],
        when=f"{totals['title']}{variant}: {days_said(totals['season']['start'], totals['season']['end'])}",
        note=statement.season.scenario.note,
        lead=[fixed["estimate"]],
        sentences=_first_sentences(statement, sections),
        first=steps_of(statement.findings),
        found=statement.findings,
        sections=sections,
        limits=tuple(method_lines(statement).items()),
        wording=fixed,
        attested=tuple(dict.fromkeys(filter(None, (a.source.papers.attestation for a in statement.accounts)))),
        mark=weather_mark(statement),
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
    for finding in statement.findings:
        first = f"First on {day_said(finding.first)}." if finding.first else ""
        pieces = (f"{finding.severity}: {finding.where}: {finding.message}", first, finding.cure)
        parts.append(" ".join(filter(None, pieces)))
    return [sheet.when, *parts, *sheet.lead]


def _first_sentences(statement: Statement, sections: Sequence[Section]) -> list[str]:
    """What was drawn of each source, and, where there is one, what of its licence is used and where the water went."""
    parts = [part for part in sections if isinstance(part, SourceSection)]
    if len(parts) > 1:
        return [f"{part.heading}. {(part.items or [''])[0]}" for part in parts]
    (account,) = statement.accounts
    drawn, *others = parts[0].items or ()
    terms = [f"{term}: {outcome}" for term, _, _, outcome in tables.licence_rows(account)]
    return [drawn, *([_say("licence", terms="; ".join(terms))] if terms else []), *others][:MOST_STEPS]


def _sections(account: Account, statement: Statement) -> Iterator[Section]:
    right, ledger, source = account.source.right, account.ledger, account.source
    area, unit = AREA_UNITS[right.area_unit], {"unit": ledger.unit.symbol, "source": source.name}
    heading, items, facts = f"Source: {source.name}", list(_sentences(account, statement)), _facts(account, statement)
    yield SourceSection(heading=heading, items=items, facts=facts, picture=_picture(account), **_bar(account))
    for year in ledger.years.index:
        yield _section("months", table=tables.months_table(account, statement, year), fill={**unit, "year": year})
    first_of_meter = next(other for other in statement.accounts if other.source.supply == source.supply)
    if account.readings and account is first_of_meter:
        yield tables.readings_section(account, statement)
    yield _section("storage", table=tables.storage_table(account, statement), fill=unit)
    terms = pd.DataFrame(tables.licence_rows(account), columns=["term", "licensed", "here", "outcome"])
    yield _section("licence", table=terms, fill=unit)
    yield _section("beds", table=tables.beds_table(account), fill={**unit, "area_unit": area.symbol})


def _facts(account: Account, statement: Statement) -> tuple[tuple[str, str], ...]:
    papers, right, fixed = account.source.papers, account.source.right, texts("statement")
    meter = statement.scenario.supply[account.source.supply].meter or Meter()
    values: dict[str, Any] = {name: getattr(papers, name) or "–" for name in fixed["papers"]}
    values["area"] = AREA_UNITS[right.area_unit].text(account.area)
    values |= {"start": dt.date(2000, right.water_year_start, 1), "papers": papers, "meter": meter}
    values["calibrated"] = meter.calibration_date or ""
    values["multiplier"] = "" if meter.multiplier == 1.0 else f"{meter.multiplier:g}"
    for at, name in ((0, "first_reading"), (-1, "last_reading")):
        values[name] = getattr(meter, name)
        if account.readings:
            values[name] = f"{account.readings[at].text}, {account.readings[at].shown}"
    given = filled(fixed["given"], values).items()
    facts = [*filled(fixed["facts"], values).items(), *((label, text) for label, text in given if text)]
    return tuple(facts if len(facts) % 2 == 0 else [*facts, ("", "")])


def _bar(account: Account) -> dict[str, Any]:
    """The range as a picture, from nothing to a little more than its upper end."""
    (low, high), ledger = account.interval, account.ledger
    ends = [ledger.text(end) for end in (low, ledger.reported_litres, high)]
    if ends[0] == ends[2]:
        return {}
    most = 1.05 * max(high, ledger.reported_litres)
    return {"bar": (low / most, ledger.reported_litres / most, high / most), "bar_ends": tuple(ends)}


def _picture(account: Account) -> Picture:
    """The whole and its months as bars from nothing on, and the licensed volume."""
    ledger, volume = account.ledger, account.source.papers.volume
    months = ledger.months.to_dict("records")
    licensed = volume if len(ledger.years) == 1 else None
    most = 1.05 * max(account.interval[1], ledger.reported_litres, licensed or 0.0) or 1.0
    ends_of_months = (max(month["range_high_litres"], month["reported_litres"]) for month in months)
    widest = 1.05 * max(ends_of_months, default=0.0) or 1.0

    def bar(label: str, ends: tuple[float, float], printed: Decimal, reported: float, across: float) -> Bar:
        low, high = ends if ends[0] < ends[1] else (reported, reported)
        return Bar(label, ledger.printed(printed), low / across, reported / across, high / across)

    bars = [bar(texts("statement")["whole"], account.interval, ledger.reported, ledger.reported_litres, most)]
    for month in months:
        label = f"{month['from']:%B}" + (f" {month['from'].year}" if len(ledger.years) > 1 else "")
        ends = month["range_low_litres"], month["range_high_litres"]
        bars.append(bar(label, ends, month["reported"], month["reported_litres"], widest))
    text = "" if licensed is None else ledger.text(licensed)
    return Picture(account.source.name, tuple(bars), None if licensed is None else licensed / most, text)


def _sentences(account: Account, statement: Statement) -> Iterator[str]:
    ledger, metered, months = account.ledger, account.metered, account.ledger.months
    day, litres = ledger.peak
    reported = ledger.printed(ledger.reported)
    how = {"by": _bases(months), "range": _range(account, statement)}
    yield _say("drawn", reported=reported, days=ledger.days_of_use, **how)
    first = _say("first", day=account.rate_date) if account.rate_date else ""
    rate = RATE_UNITS[account.source.right.rate_unit].text(account.rate)
    floats = _say("with_floats") if account.source.floats else ""
    yield _say("most", litres=ledger.text(litres), day=day, rate=rate, first=first, floats=floats)
    parts = {name: sum(account.beds[name]) for name in Fate._fields}
    if parts["applied"] > 0.0:
        yield _say("consumed", **{name: part / parts["applied"] for name, part in parts.items()})
    yield from _of_floats(account, statement)
    if metered is not None:
        yield _metered_total(account)
        yield _meter_against_model(account, metered)
        if metered.ratio != 1.0 and metered.days < len(ledger.days):
            yield _say("by_the_ratio", ratio=metered.ratio)
    spread = {month for part in account.between for month in months_of(part) if len(months_of(part)) > 1}
    if ledger.days["loose"].any():
        yield _say("loose")
    if split := [month for month in months.to_dict("records") if month["basis"] == SPLIT and month["month"] in spread]:
        yield _say("split_metered", months=", ".join(f"{month['from']:%B %Y}" for month in split))
    if in_part := months[months["basis"] == PART].to_dict("records"):
        names = (_say("part_month", month=month["from"], **tables.days_of(month)) for month in in_part)
        yield _say("part_metered", months=", ".join(names))
    line = garden_line(statement.season.scenario, account.source.supply)
    if len(line) > 1:
        yield line[0].upper() + line[1:]
    if not account.source.described:
        yield _say("no_right", supply=account.source.supply)


def _bases(months: pd.DataFrame) -> str:
    """How many months are metered, and how; nothing where none is."""
    named = {METERED: "metered", SPLIT: "sum", PART: "part", BY_RATIO: "ratio", MODELLED: "model"}
    counts = {key: int((months["basis"] == basis).sum()) for basis, key in named.items()}
    if counts["model"] == len(months):
        return ""
    parts = ", ".join(_say(f"by_{key}", count=count) for key, count in counts.items() if count)
    return _say("by", parts=parts, months=len(months))


def _range(account: Account, statement: Statement) -> str:
    low, high = map(account.ledger.text, account.interval)
    metered, ledger = account.metered, account.ledger
    if low == high:
        return ""
    key = "drawn_range" if metered is None else "range_metered" if metered.days >= len(ledger.days) else "range_both"
    key = "range_loose" if ledger.days["loose"].any() else key
    facts = {"low": low, "high": high, "samples": statement.samples, "accuracy": _accuracy(metered)}
    return _say(key, interval=statement.season.scenario.uncertainty.interval, **facts)


def _accuracy(metered: Metered | None) -> str:
    return "" if metered is None else f"{100.0 * metered.accuracy:g}\u00a0%"


def _of_floats(account: Account, statement: Statement) -> Iterator[str]:
    """What float valves let into tanks, and under whose right."""
    for name, tank in account.tanks.items():
        drawn_on, topped = float_source(statement.scenario, name), account.ledger.text(tank["topped_l"])
        if name in account.source.floats:
            yield _say("by_float", tank=name, source=drawn_on, topped=topped)
        elif drawn_on == "":
            yield _say("from_nobody", tank=name, topped=topped)
        elif drawn_on is not None:
            twice = _say("twice") if tank["drawn_l"] > 0.0 and tank["topped_l"] > 0.0 else ""
            yield _say("from_float", tank=name, source=drawn_on, topped=topped, twice=twice)


def _metered_total(account: Account) -> str:
    """What the meter counted in all, between which readings, and what of it is this source's and this statement's."""
    ledger, (first, *_, last) = account.ledger, account.readings
    dates = ledger.days.index
    counted = sum(part.litres for part in account.between)
    within = [dates[0] <= part.start and part.end <= dates[-1] + dt.timedelta(days=1) for part in account.between]
    here = ledger.text(ledger.days["metered"].sum())
    return _say(
        "metered_total",
        supply=account.source.supply,
        volume=ledger.text(counted),
        first=first.shown,
        first_text=first.text,
        last=last.shown,
        last_text=last.text,
        inside="" if all(within) or ledger.shared else _say("metered_inside", volume=here),
        share=_say("metered_share", volume=here) if ledger.shared else "",
    )


def _meter_against_model(account: Account, metered: Metered) -> str:
    volumes = (metered.metered, metered.modelled, *metered.interval)
    shown = dict(zip(("metered", "modelled", "low", "high"), map(account.ledger.text, volumes), strict=True))
    shown |= {"source": account.source.supply, "accuracy": _accuracy(metered)}
    shown["days"] = tables.metered_days_said(metered.days)
    apart = ""
    if metered.modelled > 0.0:
        share = metered.metered / metered.modelled - 1.0
        apart = f" ({percent(abs(share))} {'more' if share >= 0.0 else 'less'})"
    return _say("agrees" if metered.agrees else "differs", apart=apart, **shown)
