"""
Statement sheet: a statement in sentences, facts and tables, which the page, both PDFs and the terminal then show.

Numbers become text here and nowhere else, so that all say the same. The fixed words stand in ``texts.toml``.
"""

import datetime as dt
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple

import pandas as pd

from panbudget.files import json_bytes
from panbudget.reports.arranging import MOST_STEPS, steps_of
from panbudget.reports.garden import garden_line
from panbudget.reports.pages import Report, Section, texts, words_of
from panbudget.reports.statement.origins import covered_said, first_day_said, weather_mark, weather_said
from panbudget.reports.writing import as_json, provenance
from panbudget.scenario.garden import WeighedValve
from panbudget.scenario.rights import Meter
from panbudget.scenario.supplies import Mains
from panbudget.scenario.uncertainty import Uncertainty
from panbudget.season.faults import fault_assumptions
from panbudget.season.result import Finding
from panbudget.season.supplies import float_source
from panbudget.studies.ranges import ranges_of
from panbudget.studies.statement.account import Account, Fate, Statement
from panbudget.studies.statement.ledger import BY_RATIO, METERED, MODELLED, PART, SPLIT, Metered, beyond
from panbudget.studies.statement.meter import months_of
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS, amount, rounded_parts
from panbudget.weather import flags
from panbudget.words import count, day_said, days_said, filled, number, percent, written

_section, _say = words_of("statement")
_MOST_READINGS = 24  # in a table; of more, the first, the last and those with an event


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
    limits_heading : str
    blanks : tuple of str
        Above which one signs.
    attested : tuple of str
        What is attested, in the signer's words.
    made_from : tuple of (str, str)
        Names and fingerprints of inputs.
    mark : str
        Across each page that prints; empty for none.
    found : sequence of Finding
    """

    limits: tuple[tuple[str, str], ...] = ()
    limits_heading: str = ""
    blanks: tuple[str, ...] = ()
    attested: tuple[str, ...] = ()
    made_from: tuple[tuple[str, str], ...] = ()
    mark: str = ""
    found: Sequence[Finding] = ()

    @property
    def findings_heading(self) -> str:
        """Above what was found."""
        return str(texts("statement")["findings"])

    @property
    def sign_heading(self) -> str:
        """Above what is signed."""
        return str(texts("statement")["sign"])

    def bars_said(self, picture: Picture) -> str:
        """Say what a picture's bars are."""
        fixed = texts("statement")
        licensed = fixed["bars_licensed"].format(volume=picture.licensed_text) if picture.licensed_text else ""
        return str(fixed["bars"].format(licensed=licensed))


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
        limits_heading=fixed["method_heading"],
        blanks=tuple(fixed["blanks"]),
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
    findings = (
        " ".join(
            filter(
                None,
                (
                    f"{finding.severity}: {finding.where}: {finding.message}",
                    f"First on {day_said(finding.first)}." if finding.first else "",
                    finding.cure,
                ),
            )
        )
        for finding in statement.findings
    )
    return [sheet.when, *parts, *findings, *sheet.lead]


def _first_sentences(statement: Statement, sections: Sequence[Section]) -> list[str]:
    """What was drawn of each source, and, where there is one, what of its licence is used and where the water went."""
    parts = [part for part in sections if isinstance(part, SourceSection)]
    if len(parts) > 1:
        return [f"{part.heading}. {(part.items or [''])[0]}" for part in parts]
    (account,) = statement.accounts
    drawn, *others = parts[0].items or ()
    terms = [f"{term}: {outcome}" for term, _, _, outcome in _licence(account)]
    return [drawn, *([_say("licence", terms="; ".join(terms))] if terms else []), *others][:MOST_STEPS]


def _sections(account: Account, statement: Statement) -> Iterator[Section]:
    right, ledger, source = account.source.right, account.ledger, account.source
    area, unit = AREA_UNITS[right.area_unit], {"unit": ledger.unit.symbol, "source": source.name}
    heading, items = f"Source: {source.name}", list(_sentences(account, statement))
    yield SourceSection(
        heading=heading, items=items, facts=_facts(account, statement), picture=_picture(account), **_bar(account)
    )
    for year in ledger.years.index:
        yield _section("months", table=_months(account, statement, year), fill={**unit, "year": year})
    first_of_meter = next(other for other in statement.accounts if other.source.supply == source.supply)
    if account.readings and account is first_of_meter:
        yield _readings(account, statement)
    yield _section("storage", table=_storage(account, statement), fill=unit)
    terms = pd.DataFrame(_licence(account), columns=["term", "licensed", "here", "outcome"])
    yield _section("licence", table=terms, fill=unit)
    yield _section("beds", table=_beds(account), fill={**unit, "area_unit": area.symbol})


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
    widest = (
        1.05 * max((max(month["range_high_litres"], month["reported_litres"]) for month in months), default=0.0) or 1.0
    )

    def bar(label: str, ends: tuple[float, float], reported: float, across: float) -> Bar:
        low, high = ends if ends[0] < ends[1] else (reported, reported)
        return Bar(label, ledger.text(reported), low / across, reported / across, high / across)

    bars = [bar(texts("statement")["whole"], account.interval, ledger.reported_litres, most)]
    bars += [
        bar(
            f"{month['from']:%B}" + (f" {month['from'].year}" if len(ledger.years) > 1 else ""),
            (month["range_low_litres"], month["range_high_litres"]),
            month["reported_litres"],
            widest,
        )
        for month in months
    ]
    text = "" if licensed is None else ledger.text(licensed)
    return Picture(account.source.name, tuple(bars), None if licensed is None else licensed / most, text)


def _sentences(account: Account, statement: Statement) -> Iterator[str]:
    ledger, metered, months = account.ledger, account.metered, account.ledger.months
    day, litres = ledger.peak
    reported = f"{amount(ledger.reported)}\u00a0{ledger.unit.symbol}"
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
        names = (_say("part_month", month=month["from"], **_days_of(month)) for month in in_part)
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
    within = [dates[0] <= part.start and part.end <= dates[-1] + pd.Timedelta(days=1) for part in account.between]
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
    shown["days"] = _days_said(metered.days)
    apart = ""
    if metered.modelled > 0.0:
        share = metered.metered / metered.modelled - 1.0
        apart = f" ({percent(abs(share))} {'more' if share >= 0.0 else 'less'})"
    return _say("agrees" if metered.agrees else "differs", apart=apart, **shown)


def _readings(account: Account, statement: Statement) -> Section:
    """Each reading, what its counter shows, and what passed since the one before; of many, those that matter."""
    ledger, readings = account.ledger, account.readings
    passed = {part.end: part.litres for part in account.between}
    meter = statement.scenario.supply[account.source.supply].meter or Meter()
    multiplied = "" if meter.multiplier == 1.0 else f", × {meter.multiplier:g}"
    ends = {0: texts("statement")["first"], len(readings) - 1: texts("statement")["last"]}
    rows = [
        {
            "date": reading.shown,
            "text": reading.text,
            "event": ", ".join(filter(None, (ends.get(index, ""), reading.row["event"]))),
            "passed": "–"
            if reading.event == "installed" or index == 0
            else amount(ledger.unit.rounded(passed[reading.moment], ledger.decimals)),
        }
        for index, reading in enumerate(readings)
    ]
    few = rows if len(rows) <= _MOST_READINGS else [row for row in rows if row["event"]]
    left_out = f"; {len(rows) - len(few)} more in the file" if len(few) < len(rows) else ""
    fill = {"supply": account.source.supply, "unit": ledger.unit.symbol, "multiplied": multiplied, "left_out": left_out}
    return _section("readings", table=few, fill=fill)


def _storage(account: Account, statement: Statement) -> pd.DataFrame:
    """What came into each tank and left it, so that both add up as printed."""
    unit, decimals = account.ledger.unit, account.ledger.decimals
    rows = []
    for name, tank in account.tanks.items():
        sides = [("start_l", "roof_l", "topped_l"), ("drawn_l", "over_l", "end_l")]
        total = unit.rounded(sum(tank[key] for key in sides[0]), decimals)
        parts = {
            key.removesuffix("_l"): part
            for side in sides
            for key, part in zip(
                side, rounded_parts([unit.exact(max(tank[k], 0.0)) for k in side], decimals, total), strict=True
            )
        }
        parts["change"] = parts["end"] - parts["start"]
        drawn_on, shown = float_source(statement.scenario, name), {key: amount(part) for key, part in parts.items()}
        rows.append({"tank": name, "source": "–" if drawn_on is None else drawn_on or "?", **shown})
    return pd.DataFrame(rows)


def _days_of(month: Any) -> dict[str, Any]:
    """How many of a month's days are metered, and how many it has."""
    return {"metered": _days_said(month["metered_days"]), "days": (month["to"] - month["from"]).days + 1}


def _days_said(days: float) -> str:
    """Write days, of which some may be metered in part."""
    return number(days, 0 if days == round(days) else 1)


def _month_name(month: Any) -> str:
    first, after = month["from"], month["to"] + dt.timedelta(days=1)
    return str(month["month"]) + ("" if first.day == 1 and after.day == 1 else f", {first.day} to {month['to'].day}")


def _months(account: Account, statement: Statement, year: str) -> pd.DataFrame:
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
            "basis": filled(texts("statement")["bases"][month["basis"]], _days_of(month)),
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
    if not len(beds):
        return beds
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
    totals = {name: amount(sum(printed[name], Decimal(0))) for name in printed}
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
    columns = (
        f"{column} on {number(n)} ({flags.said(method)})" for column, ways in gaps.items() for method, n in ways.items()
    )
    ranges = []
    for name, (low, high) in ranges_of(season.scenario).items():
        usual = " (default)" if (low, high) == getattr(default, name, None) else ""
        valve, _, key = name.removeprefix("controller.").rpartition(".")
        what = texts("statement")["ranges"][key]
        ranges.append(f"{f'{valve}: ' if valve else ''}{what} × {low:g} to {high:g}{usual}")
    drawn = {"samples": statement.samples, "rules": rules, "ranges": "; ".join(ranges)}
    return {
        "Determination": " ".join(_determination(statement)),
        "Weather": weather_said(statement),
        "First day": first_day_said(statement),
        "Measured": _listed(_measured(statement)) if any(_measured(statement)) else fixed["nothing"],
        "Assumed": _listed(_assumed(statement)),
        "Days covered": " ".join(covered_said(statement)),
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
    if any(account.source.floats for account in statement.accounts):
        yield fixed["floats"]
    if not all(account.source.is_whole_supply for account in statement.accounts):
        yield fixed[f"by_{statement.season.scenario.statement.split}"]


def _measured(statement: Statement) -> Iterator[str]:
    season = statement.season
    for name, controller in season.scenario.controller.items():
        if isinstance(controller.valve, WeighedValve):
            yield f"swing of {name}, by two weighings"
        if controller.valve.refill.at is None:
            yield f"refill flow of {name}, in place"
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
            yield f"pressure of {name} {written(supply.pressure, 'pressure 0')} all season"
    faults = fault_assumptions(scenario)
    yield from map(str, faults)
    yield from (str(text) for text in statement.season.assumptions if text not in faults)
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
