"""
Away page: may the garden be left alone, in words, as one page and as data.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from panbudget.files import typed
from panbudget.reports.arranging import MOST_STEPS
from panbudget.reports.away.figures import room_figure
from panbudget.reports.pages import Report, margins_said, texts, words_of
from panbudget.reports.writing import Verb
from panbudget.season.years import moved
from panbudget.studies.away.judging import Change, Sure
from panbudget.studies.away.leaving import Away
from panbudget.studies.away.stays import Stay
from panbudget.studies.ranges import ranges_of
from panbudget.studies.today.sheet import EVERY, SPAN
from panbudget.words import filled, hundredths

_section, _say = words_of("away")
ENOUGH_YEARS = 5  # common practice, no source
_ROOM = 0.01  # between the factors that hold, or they are told as none: what two decimals show


def away_sentences(away: Away) -> list[str]:
    """Say whether the garden may be left alone, which year is the worst, and what would make it safe."""
    record, bad = len(away.stays), sum(not stay.safe for stay in away.stays)
    prefix, describe = "single_" if record == 1 else "", _nearest if away.safe else _wrong
    outside = [] if _within_the_season(away) else [_say("outside", season=away.scenario.season)]
    values = {"away": away, "record": record, "bad": bad, "span": _say("span", away=away)}
    values["yes"] = _say("yes_outside" if outside else "yes")
    values |= {key: _say(prefix + key, **values) for key in ("all_years", "bad_years", "worst_is")}
    values |= {"heat": _say("heat", away=away), "of_worst": describe(away.worst), "of_heat": describe(away.heat)}
    verdict = "safe" if away.safe else "unsafe" if bad else "unsure" if away.safe_as_described else "heat"
    sentences: list[str] = outside + filled(texts("away")["verdict"][verdict], values)
    sentences.append(_say("sure", away=away, record=record, **_hundreds(away.sure)))
    if away.sure.exposure is not None:
        low, high = away.sure.exposure
        sentences.append(_say("margin" if high - low >= _ROOM else "margin_none", **margins_said(away.sure)))
    if not away.safe:
        stays = (*away.stays, away.heat)
        if before := sorted({key for stay in stays for key, bed in stay.beds.items() if bed.short_before}):
            sentences.append(_say("before", beds=", ".join(before)))
        sentences.append(_cure(away))
        if any(pan.starved_hours for stay in stays for pan in stay.pans.values()):
            sentences.append(_say("tanks"))
    if fallow := [key for key in away.worst.beds if not any(key in stay.grown for stay in away.stays)]:
        sentences.append(_say("fallow_beds", beds=", ".join(fallow)))
    return sentences + [_say("few", record=record)] * (record < ENOUGH_YEARS)


def _hundreds(sure: Sure | None) -> dict[str, float | None]:
    """Shares as so many of a hundred, downwards."""
    return {key: None if sure is None else hundredths(getattr(sure, key)) for key in ("share", "heat_share")}


def _cure(away: Away) -> str:
    """Say which changes would make it safe, or which comes nearest."""
    if sure := [change for change in away.changes if change.safe]:
        several = (_say("one", n=n, change=each, **_hundreds(each.sure)) for n, each in enumerate(sure, 1))
        return _say("sure_changes", changes="; ".join(several))
    best = _best(away)
    return _say("best", best=best, **_hundreds(best.sure)) if best else _say("none")


def _best(away: Away) -> Change | None:
    """The change that gains most, if any gains."""
    best = next((change for change in away.changes if change.sure is not None), None)  # they are ranked
    gains = best and (best.verdict(away.interval) == "fewer" or _share(best.sure) > _share(away.sure))
    return best if gains else None


def _first(away: Away) -> Iterator[str]:
    """Say what to do before leaving: each change alone makes it safe, or gains most."""
    if away.safe:
        yield _say("first_safe")
        return
    sure = [change for change in away.changes if change.safe]
    yield from (_say("first_change", change=change, **_hundreds(change.sure)) for change in sure[:MOST_STEPS])
    if not sure:
        if best := _best(away):
            yield _say("first_best", change=best, **_hundreds(best.sure))
        garden, leaves = away.scenario, away.start
        begins = (leaves.month, leaves.day) == (garden.season.start.month, garden.season.start.day)
        eve = leaves if begins else leaves - dt.timedelta(days=1)
        on_sheet = "first_ask" if (away.end - eve).days <= SPAN else "first_ask_long"
        ask = on_sheet if _within_the_season(away) else "first_ask_outside"
        visits = range(1, SPAN + 1, EVERY)
        yield _say(ask, file=typed(garden.path, garden.laid_over), eve=eve, last=eve + dt.timedelta(days=visits[-1]))


def _share(sure: Sure | None) -> float:
    return 0.0 if sure is None else sure.share


def _within_the_season(away: Away) -> bool:
    """Tell whether annual plants stand there on all these days; where nothing grows, a bed is never short of water."""
    season, worst = away.scenario.season, away.worst
    by = worst.start.year - season.start.year
    return any(moved(season.start, n) <= worst.start and worst.end <= moved(season.end, n) for n in (by, by - 1))


def _nearest(stay: Stay) -> str:
    nearest = min(stay.grown.items(), key=lambda pair: pair[1].least_room_mm, default=None)
    return _say("fallow") if nearest is None else _say("nearest", key=nearest[0], bed=nearest[1])


def _wrong(stay: Stay) -> str:
    parts = [_say("short", key=key, bed=bed) for key, bed in stay.beds.items() if bed.first_short is not None]
    for name, pan in stay.pans.items():
        wrong = [what for what in ("dry_hours", "stuck_hours", "starved_hours") if getattr(pan, what)]
        parts += [_say(what, name=name, pan=pan) for what in wrong]
    return "; ".join([_say("nothing", nearest=_nearest(stay))] * stay.safe + parts)


def away_report(away: Away, figures: Mapping[str, str]) -> Report:
    """Say what the page says."""
    stays = (*away.stays, away.heat)
    beds = [{"stay": stay.name, "bed": key, **vars(bed)} for stay in stays for key, bed in stay.beds.items()]
    pans = [{"stay": stay.name, "valve": name, **vars(pan)} for stay in stays for name, pan in stay.pans.items()]
    return Report(
        title=f"{away.scenario.title}: left alone",
        when=_say("when", span=_say("span", away=away), record=len(away.stays)),
        lead=[texts("away")["rule"]],
        first=list(_first(away)),
        sections=[
            _section("figures", figures=figures),
            _section("beds", table=beds),
            _section("pans", table=pans),
            _section("changes", table=[_change(change, away.interval) for change in away.changes]),
        ],
        assumptions=away.assumptions,
    )


def _change(change: Change, interval: float) -> dict[str, Any]:
    outcome = _outcome(change, interval)
    return {**vars(change), "outcome": outcome, **_hundreds(change.sure), **margins_said(change.sure)}


def _outcome(change: Change, interval: float) -> str:
    if change.sure is not None and not change.safe and not change.fails_in:
        return _say("unsure")
    key = "can_not" if change.impossible else "safe" if change.safe else f"days_{change.verdict(interval)}"
    return _say(key, change=change, years=", ".join(change.fails_in))


def away_totals(away: Away) -> dict[str, Any]:
    """Return what `away.json` holds beside schema, title and provenance."""
    return {
        "from": away.start,
        "to": away.end,
        **{name: getattr(away, name) for name in ("days", "safe", "safe_as_described", "draws", "interval")},
        "ranges": ranges_of(away.scenario),
        "sure": away.sure,
        "sentences": away_sentences(away),
        "worst": away.worst.start.year,
        "years": [_stay(stay) for stay in away.stays],
        "heat": _stay(away.heat),
        "changes": [asdict(change) for change in away.changes],
    }


def _stay(stay: Stay) -> dict[str, Any]:
    about = {"start": stay.start, "end": stay.end, "made_heat": stay.made_heat or None, "safe": stay.safe}
    return {**about, "beds": stay.beds, "controllers": stay.pans}


VERB = Verb(
    "away",
    away_sentences,
    away_report,
    away_totals,
    tables={"away.csv": Away.table},
    figures=lambda away: {"room": room_figure},
    of=lambda away: away.worst.season,
)
