"""
Today page: how the garden stands, what may come and what to do, on a phone's screen and as data.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from panbudget.reports.pages import Report, texts, words_of
from panbudget.reports.today.figures import fan_figure
from panbudget.reports.writing import Verb
from panbudget.season.supplies import tanks_in_use
from panbudget.studies.today.fan import band
from panbudget.studies.today.standing import RECENT, BedToday, Today, ValveToday
from panbudget.studies.today.trials import WEEKS, Action
from panbudget.words import bare, count, joined

if TYPE_CHECKING:
    from panbudget.words import PaperSize

_section, _say = words_of("today")
_OVERDUE = 1.0  # mm below the trip, of a valve that is shut, from which it ought to have opened


def today_sentences(today: Today) -> list[str]:
    """Say what to do, first things first; then how valves, beds and supplies stand."""
    lines = [*today.alarms, *_first(today)]
    lines += [_of_valve(today, name, valve) for name, valve in today.valves.items()]
    return [*lines, *_of_beds(today), *_of_supplies(today)]


def _first(today: Today) -> list[str]:
    """What to do; that there is nothing to do, as far as earlier years or a forecast tell."""
    numbered = enumerate(today.actions, 1)
    lines = [_say("first_see", name=name) for name, valve in today.valves.items() if _is_overdue(valve)]
    lines += [_say("action", number=n, action=action, worth=_worth(today, action)) for n, action in numbered]
    if today.fan is not None and not lines:
        lines.append(_say("nothing", weeks=_weeks(today)))
    short = {key: bed for key, bed in today.beds.items() if bed.growing and bed.driest_left_mm < 0.0}
    if today.fan is None and short and _weeks(today):
        lines.append(_say("fill", listed=joined(", ", (_by_hand(today, *each) for each in short.items()))))
    return lines


def _by_hand(today: Today, key: str, bed: BedToday) -> Any:
    on_tank = today.scenario.controller[key.split("/")[0]].supply in tanks_in_use(today.scenario)
    return _say("by_hand_tank" if on_tank else "by_hand", key=key, bed=bed)


def _of_beds(today: Today) -> Iterator[str]:
    short = {key: -bed.driest_left_mm for key, bed in today.beds.items() if bed.growing and bed.driest_left_mm < 0.0}
    if short:
        listed = joined(", ", (_say("short_by", key=key, lack=lack) for key, lack in short.items()))
        yield _say("short_now", listed=listed)
    for key, bed in today.beds.items():
        if key not in short and bed.first_short and bed.first_short.years:
            yield _say("short", key=key, chance=bed.first_short)
    beds, fan = [bed for bed in today.beds.values() if bed.growing], today.fan
    if fan is not None and not any(bed.first_short and bed.first_short.years for bed in beds):
        yield _say("never_short", end=fan.dates[-1].date(), years=len(fan.years))


def _weeks(today: Today) -> int:
    return min(WEEKS, (today.end - today.day).days)


def _worth(today: Today, action: Action) -> str:
    change = "as_much" if abs(action.litres) < 1.0 else "less" if action.litres < 0.0 else "more"
    litres = _say(change, litres=abs(action.litres))
    days = count(round(action.days), "fewer day")
    low, high = action.days_range
    by_days = "worth_days" if round(low) or round(high) else "worth_few"
    key = by_days if action.days >= 0.5 else "worth_lack" if action.lack > 0.0 else "worth_water"
    return _say(key, action=action, days=days, low=low, high=high, litres=litres, weeks=_weeks(today))


def _is_overdue(valve: ValveToday) -> bool:
    return not valve.is_open and valve.trip_mm - valve.level_mm >= _OVERDUE


def _of_valve(today: Today, name: str, valve: ValveToday) -> str:
    times = "once" if valve.openings == 1 else count(valve.openings, "time")
    past = _say("past", times=times, valve=valve)
    if _is_overdue(valve):
        return _say("overdue", name=name, valve=valve, past=past)
    if valve.next_opening is None:
        why = _say("none_ahead" if today.fan is None else "none_soon", weeks=_weeks(today))
        return _say("open" if valve.is_open else "no_next", name=name, valve=valve, past=past, why=why)
    return _say("next", name=name, valve=valve, past=past, moment=_moment_said(valve.next_opening))


def _moment_said(moments: tuple[dt.datetime, dt.datetime, dt.datetime]) -> str:
    """The likeliest moment and its range, whose ends name no day that is the same."""
    middle, early, late = (
        _say("hour" if at is not moments[0] and at.date() == moments[0].date() else "moment", moment=at)
        for at in moments
    )
    return _say("between", middle=middle, early=early, late=late)


def _of_supplies(today: Today) -> Iterator[str]:
    for name, supply in today.supplies.items():
        licence = tank = out = ""
        if supply.licence is not None:
            licence = _say("licence", litres=supply.licence)
        if supply.tank_l is not None:
            tank = _say("tank", litres=supply.tank_l, capacity=supply.capacity)
        if supply.runs_out is not None:
            out = _say("out" if supply.runs_out.years else "not_out", chance=supply.runs_out)
        yield _say("supply", name=name, supply=supply, licence=licence, tank=tank, out=out)


def today_report(today: Today, figures: Mapping[str, str]) -> Report:
    """Say what the page says."""
    fan = today.fan
    years = _say("no_years")
    if fan is not None and fan.years != (0,):
        years = _say("years", end=fan.dates[-1].date(), count=len(fan.years))
    forecast = _say("forecast", days=today.forecast_days) if today.forecast_days else ""
    beds = [
        {**vars(bed), "bed": key, "days": bed.days_left, "driest_days": bed.driest_days_left, "short": _short_said(bed)}
        | ({} if bed.growing else {"driest_left_mm": None})
        for key, bed in today.beds.items()
    ]
    recent = (today.day - dt.timedelta(days=RECENT - 1)).isoformat()
    grave = [f for f in today.season.findings if f.severity != "note" and (f.first or "") >= recent]
    valves = []
    for name, valve in today.valves.items():
        levels = {"level": bare(valve.level_mm, "depth", 0), "trip": bare(valve.trip_mm, "depth", 0)}
        valves.append({"valve": name, "next": _next_said(valve), **levels, "litres": valve.litres})
    return Report(
        title=f"{today.scenario.title}: today",
        when=_say("when", day=today.day, years=years, forecast=forecast),
        sentences=[*today.alarms, *(_of_valve(today, *each) for each in today.valves.items()), *_of_beds(today)],
        first=_first(today),
        lead=[texts("today")["rule"]],
        sections=[
            _section("figures", figures=figures),
            _section("valves", table=valves, folded=False),
            _section("beds", table=beds, folded=False),
            _section("water", items=list(_of_supplies(today)), folded=True),
            _section("notes", items=list(today.notes), folded=True),
            *([_section("findings", findings=grave, folded=True)] if grave else []),
        ],
        assumptions=today.assumptions,
        picture_later=True,
        template="today.html.j2",
    )


def _next_said(valve: ValveToday) -> str:
    if valve.is_open or _is_overdue(valve):
        return _say("open_now" if valve.is_open else "overdue_now")
    return "–" if valve.next_opening is None else _moment_said(valve.next_opening)


def _short_said(bed: BedToday) -> str:
    chance = bed.first_short
    if not bed.growing and not (chance and chance.years):
        return _say("fallow")
    if chance is None:
        return "–"
    return f"{chance.years} of {chance.of}"


def today_totals(today: Today) -> dict[str, Any]:
    """Return what `today.json` holds beside schema, title and provenance."""
    fan = today.fan
    return {
        "day": today.day,
        "end": today.end,
        "sentences": today_sentences(today),
        "notes": list(today.notes),
        "alarms": list(today.alarms),
        "actions": list(today.actions),
        "controllers": {name: _moments(valve) for name, valve in today.valves.items()},
        "beds": {
            key: {**vars(bed), "days_left": bed.days_left, "driest_days_left": bed.driest_days_left}
            for key, bed in today.beds.items()
        },
        "supplies": today.supplies,
        "visits": list(today.visits),
        "forecast_days": today.forecast_days,
        "years": [] if fan is None else [year for year in fan.years if year],
        "findings": list(today.season.findings),
    }


def _moments(valve: ValveToday) -> dict[str, Any]:
    moments = valve.next_opening
    names = ("middle", "earliest", "latest")
    shown = None if moments is None else {n: f"{at:%Y-%m-%d %H:%M}" for n, at in zip(names, moments, strict=True)}
    return {**vars(valve), "next_opening": shown}


def fan_table(today: Today) -> pd.DataFrame:
    """
    Return the fan as a table.

    Returns
    -------
    DataFrame
        A row a day and bed ("driest_left_mm") or valve ("openings", "litres", from tonight on): low, middle, high, worst.
    """
    rows = []
    if (fan := today.fan) is not None:
        parts = [("driest_left_mm", "room_mm", list(today.beds))]
        parts += [(what, what, list(today.valves)) for what in ("openings", "litres")]
        for name, what, row, key in ((name, what, *at) for name, what, keys in parts for at in enumerate(keys)):
            ends = band(fan.each(what, row), worst_is_low=what == "room_mm")
            about = {"where": key, "what": name}
            rows += [{"date": day.date(), **about, **{e: ends[e][n] for e in ends}} for n, day in enumerate(fan.dates)]
    return pd.DataFrame(rows, columns=["date", "where", "what", "low", "middle", "high", "worst"])


def _sheet(today: Today, size: PaperSize) -> bytes:
    if not today.visits:  # and the library for PDF, which takes as long to import as the page to make, is not wanted
        return b""
    from panbudget.reports.today.sheet import sheet_pdf

    return sheet_pdf(today, size)


VERB = Verb(
    "today",
    today_sentences,
    today_report,
    today_totals,
    tables={"today.csv": fan_table},
    figures=lambda today: {"fan": fan_figure} if today.fan is not None else {},
    files={
        "neighbour-a4.pdf": lambda today: _sheet(today, "A4"),
        "neighbour-letter.pdf": lambda today: _sheet(today, "Letter"),
    },
    of=lambda today: today.season,
)
