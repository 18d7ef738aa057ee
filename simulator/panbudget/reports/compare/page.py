"""
Compare page: variants side by side in words, as one page and as data; what can't be told apart is said as such.
"""

import math
import operator
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from panbudget import words
from panbudget.files import toml_value, typed
from panbudget.reports.compare.figures import COMPARE_FIGURES
from panbudget.reports.pages import Report, Section, texts, words_of
from panbudget.reports.writing import Verb
from panbudget.season.result import Season
from panbudget.studies.compare import AS_DESCRIBED, BED_MEASURES, RULE, VALVE_MEASURES, Comparison, measure_of
from panbudget.studies.ranges import ranges_of, verdict_of
from panbudget.words import bare, count, days_said, filled, hundredths, kind_of

_section, _say = words_of("compare")


def _figure(where: str, key: str, value: float) -> str:
    """Write a measure's value with as many decimals as it is worth; "not while it grew" for no recovery."""
    if math.isinf(value):
        return "not while it grew"
    measure = measure_of(where, key)
    return bare(value, kind_of(measure.unit), measure.decimals)


def _printed(d: Any) -> tuple[float, float]:
    """A row's value and reference as they are printed: a difference beside them is the difference of these."""
    measure = measure_of(d.where, d.measure)
    value, reference = (words.printed(each, kind_of(measure.unit), measure.decimals) for each in (d.value, d.reference))
    return value, reference


def _first(comparison: Comparison) -> Season:
    return comparison.seasons[comparison.names[0]]


def _days_of(comparison: Comparison, span: str, years: int = 1) -> str:
    """Name the days of a span, of one year or of several."""
    totals, season = _first(comparison).totals["season"], _first(comparison).scenario.season
    if span == "season" and years > 1:
        return f"the season, {words.calendar_day(season.start)} to {words.calendar_day(season.end)}"
    if span == "season":
        return f"the season, {days_said(totals['start'], totals['end'])}"
    return f"the days looked at, {days_said(comparison.start, comparison.end)}"


def comparison_sentences(comparison: Comparison) -> list[str]:
    """Say what differs, over the days looked at: first the whole, then valve by valve and bed by bed."""
    span, wave, table = comparison.spans[0], comparison.wave, comparison.differences
    sentences = [_overall(comparison, span), *_odds(comparison)]
    if wave is not None:
        sentences.insert(0, _say("made_wave" if wave.made else "wave", wave=wave, days=days_said(wave.start, wave.end)))
    sentences[:0] = _unlike(comparison)
    first, garden = comparison.names[0], comparison.scenario
    described = (garden if first == AS_DESCRIBED else garden.with_variant(first)).season
    if comparison.start < described.start or described.end < comparison.end:
        sentences.append(_say("outside", season=described))
    sentences += [f.message for f in _first(comparison).findings if f.code == "made-heat" and not f.days]
    for name in comparison.names[1:]:
        sentences += _of_variant(name, table[(table["span"] == span) & (table["variant"] == name)])
    return sentences


def _unlike(comparison: Comparison) -> Iterator[str]:
    """Say that some of what is compared was measured and the rest was not, such as a fitted pan beside one as described."""
    ranges = {name: season.scenario.uncertainty for name, season in comparison.seasons.items()}
    measured = [name for name, of_one in ranges.items() if of_one != comparison.scenario.uncertainty]
    if any(of_one != ranges[name] for name in measured for of_one in ranges.values()):
        yield _say("unlike", names=" and ".join(measured), typed=" --over ".join(map(typed, measured)))


def _by_variant(comparison: Comparison, span: str) -> Iterator[tuple[Any, Any, Any, dict[str, int]]]:
    """Each variant's odds of days short and of litres, and how often it has fewer, more and as many days short, of a hundred."""
    for name, both in comparison.odds[comparison.odds["span"] == span].groupby("variant", sort=False):
        days, litres = both.to_dict("records")
        shares = {key: hundredths(days[key]) for key in ("below", "above")}
        yield name, days, litres, {**shares, "equal": 100 - sum(shares.values())}  # so that the three add up


def _ends(litres: Mapping[str, float]) -> dict[str, str]:
    return {key: bare(litres[key], "volume", "signed") for key in ("low", "high")}


def _odds(comparison: Comparison) -> Iterator[str]:
    """Say how sure the differences in days short and litres are: over the days looked at, and over all years' seasons."""
    for span in comparison.spans:
        years = comparison.years if span == "season" else (comparison.start.year,)
        interval = _first(comparison).scenario.uncertainty.interval
        cells = {"years": len(years), "draws": comparison.draws, "interval": interval}
        for name, days, litres, shares in _by_variant(comparison, span):
            ends = _ends(litres) | {f"{key}_days": words.signed(days[key]) for key in ("low", "high")}
            of_days = _days_of(comparison, span, len(years))
            yield _say("odds", name=name, against=days["against"], span=of_days, **cells, **shares, **ends)


def _choices(comparison: Comparison) -> Iterator[str]:
    """Say of each variant whether to take it, by how often it has fewer or more days short than the first."""
    yield from (unlike := [*_unlike(comparison)])
    asked = _first(comparison).scenario.uncertainty.interval
    for name, days, litres, shares in [] if unlike else _by_variant(comparison, comparison.spans[0]):
        cheaper = litres["high"] < 0.0
        fewer, more = (verdict_of(sign, days["below"], days["above"], asked) for sign in (-1.0, 1.0))
        undecided = "save" if cheaper else "same" if fewer == "rare" else "open"
        key = "take" if fewer == "clear" else "leave" if more == "clear" else undecided
        yield _say(f"first_{key}", name=name, against=days["against"], interval=asked, **shares, **_ends(litres))


def _of_variant(name: str, differences: pd.DataFrame) -> list[str]:
    measures, sentences, same = texts("compare")["measures"], [], []
    for where, rows in differences.groupby("where", sort=False):
        shown = measures["of_bed" if "/" in str(where) else "of_valve"]
        apart = [d for d in rows.itertuples() if d.verdict != "none" and operator.ne(*_printed(d))]
        parts = [_part(d, shown[d.measure]) for d in apart if d.measure in shown]
        if parts:
            sentences.append(f"{name}, {where}: " + "; ".join(parts) + ".")
        else:
            same.append(str(where))
    if same:
        what = ", ".join(same) if sentences else "anything compared here"
        sentences.append(f"{name} makes no difference to {what}.")
    return sentences


def _overall(comparison: Comparison, span: str) -> str:
    def values(name: str, places: Mapping[str, Any], key: str) -> dict[str, float]:
        return {where: comparison.value(span, name, where, key) or 0.0 for where in places}

    parts = []
    for name, season in comparison.seasons.items():
        short, litres = values(name, season.beds, "stress_days"), values(name, season.controllers, "litres")
        days, bed = round(sum(short.values())), max(short, key=lambda bed: short[bed])
        key = "driest" if round(short[bed]) < days else "driest_alone"
        driest = _say(key, bed=bed, days=short[bed]) if days and len(short) > 1 else ""
        parts.append(_say("total", name=name, days=days, driest=driest, litres=sum(litres.values())))
    span_days, beds = _days_of(comparison, span), len(comparison.beds)
    return _say("overall", span=span_days, beds=beds, totals="; ".join(parts))


def _part(d: Any, text: str) -> str:
    """Say how a measure, a row of `Comparison.differences`, differs."""
    value, reference = _printed(d)
    share = value / reference - 1.0 if reference > 0.0 else 0.0
    values = {
        "new": _figure(d.where, d.measure, d.value),
        "old": _figure(d.where, d.measure, d.reference),
        "count": round(d.value) if math.isfinite(d.value) else 0,
        "share": f" ({'+' if share > 0.0 else ''}{words.percent(share)})" if reference > 0.0 else "",
        "recovered": _recovered(d.value, "recovered"),
        "recovered_before": _recovered(d.reference, "recovered_before"),
    }
    return f"{filled(text, values)}{texts('compare')['verdicts'][d.verdict]}"


def _recovered(days: float, when: str) -> str:
    text = texts("compare")[when]["never" if math.isinf(days) else "after" if days else "at_once"]
    return str(filled(text, {"days": round(days) if math.isfinite(days) else 0}))


def compare_report(comparison: Comparison, figures: Mapping[str, str]) -> Report:
    """Say what a comparison's page says: differences in words, figures, tables."""
    seasons = comparison.seasons
    serious = {name: [f for f in season.findings if f.severity != "note"] for name, season in seasons.items()}
    return Report(
        title=f"{comparison.scenario.title}: {count(len(seasons), 'variant')} compared",
        when=f"{', '.join(seasons)}; {_days_of(comparison, comparison.spans[0])}",
        lead=[comparison.definition, RULE],
        first=list(_choices(comparison)),
        sections=[
            _section("figures", figures=figures),
            *(part for span in comparison.spans for part in _span(comparison, span)),
            _section("changes", table=_changes(comparison)),
            _section("findings"),
            *(Section(subheading=name, findings=findings) for name, findings in serious.items()),
        ],
        assumptions=list(dict.fromkeys(text for season in seasons.values() for text in season.assumptions)),
    )


def _span(comparison: Comparison, span: str) -> Iterator[Section]:
    yield _section(span, fill={"span": _days_of(comparison, span), "first": comparison.names[0]})
    beds, valves = (comparison.beds, BED_MEASURES), (comparison.controllers, VALVE_MEASURES)
    for heading, (places, measures) in {"valve": valves, "bed": beds}.items():
        rows = []
        for where in places:
            for key, measure in measures.items():
                if row := _row(comparison, span, where, key):
                    label = f"{measure.label} [{words.SHOWN[kind_of(measure.unit)].unit or measure.unit}]"
                    label = label if measure.unit else measure.label
                    rows.append({heading: where, "": label, **row})
        yield _section("values", table=rows)


def _row(comparison: Comparison, span: str, where: str, key: str) -> dict[str, str]:
    """Each variant's value, with its difference from the first; nothing where there is no recovery to speak of."""
    values = {name: comparison.value(span, name, where, key) for name in comparison.names}
    if all(value is None for value in values.values()):
        return {}
    row = {name: "–" if value is None else _figure(where, key, value) for name, value in values.items()}
    table = comparison.differences
    d: Any
    for d in table[(table["span"] == span) & (table["where"] == where) & (table["measure"] == key)].itertuples():
        value, reference = _printed(d)
        if value == reference:
            row[d.variant] += " (=)"
            continue
        if math.isfinite(d.difference):
            measure = measure_of(where, key)
            row[d.variant] += f" ({bare(value - reference, kind_of(measure.unit), f'signed {measure.decimals}')})"
        row[d.variant] += "" if d.verdict == "clear" else " ≈"
    return row


def _changes(comparison: Comparison) -> Iterator[dict[str, Any]]:
    for name in comparison.names:
        overlay = {} if name == AS_DESCRIBED else comparison.scenario.overlay_of(name)
        changed = pd.json_normalize(dict(overlay)).to_dict("records") if overlay else []
        for path, value in changed[0].items() if changed and changed[0] else [("nothing", None)]:
            yield {"variant": name, "key": path, "value": "" if value is None else toml_value(value)}


def compare_totals(comparison: Comparison) -> dict[str, Any]:
    """Return what `compare.json` holds beside schema, title and provenance; a recovery that did not come is null."""
    values: dict[str, dict[str, dict[str, dict[str, float]]]] = {}
    at: Any
    for at, value in comparison.values["value"].items():
        span, name, where, key = at
        values.setdefault(span, {}).setdefault(name, {}).setdefault(where, {})[key] = value
    return {
        "variants": comparison.names,
        "against": comparison.names[0],
        "season": _first(comparison).totals["season"],
        "window": {"start": comparison.start, "end": comparison.end},
        "wave": comparison.wave,
        "definition": comparison.definition,
        "rule": RULE,
        "sentences": comparison_sentences(comparison),
        "values": values,
        "differences": comparison.differences.to_dict("records"),
        "odds": comparison.odds.to_dict("records"),
        "years": comparison.years,
        "draws": comparison.draws,
        "ranges": ranges_of(_first(comparison).scenario),
        "findings": {name: season.findings for name, season in comparison.seasons.items()},
    }


VERB = Verb(
    "compare",
    comparison_sentences,
    compare_report,
    compare_totals,
    tables={"compare.csv": Comparison.table},
    figures=lambda comparison: COMPARE_FIGURES,
    of=_first,
)
