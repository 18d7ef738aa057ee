"""
Today's sheet for whoever looks after the garden: what to look at on which day, what should be there, what to do if not.

Black on white, for paper; nothing private stands on it but what `[neighbour]` names.
"""

import math
from collections.abc import Iterator
from typing import Any

from panbudget.reports.pages import Section, labelled, sentence, texts
from panbudget.reports.pdf import Paper, quiet
from panbudget.season.supplies import tanks_in_use
from panbudget.studies.today.standing import ENOUGH_YEARS, Today
from panbudget.words import PaperSize, bare, count, filled

# minutes, from which on a tank ran empty or a valve stuck; times the longest opening from which on it hangs: no source
_A_WHILE, _HANGS = 240.0, 2.0
_BODY, _TABLE, _SMALL = 9.5, 8.5, 8.0  # points
_WORDS: dict[str, Any] = texts("today")["sheet"]


def sheet_sections(today: Today) -> list[Section]:
    """
    Say what the sheet says; nothing where none was asked for, or the season ends today.

    Returns
    -------
    list of Section
        The last has the cautions, that before it whom to ask.
    """
    if not today.visits:
        return []
    minutes = _minutes(today)
    longest = max(_longest(today, name, minutes) for name in today.valves)
    need = sum(bed.need_mm * area for bed, area in zip(today.beds.values(), _areas(today), strict=True))
    values: dict[str, Any] = {"resets": _filled_to(today), "litres": need, "minutes": longest}
    on_tank = bool(tanks_in_use(today.scenario))
    values["empty"] = _WORDS["empty"] if on_tank else ""
    values["apart"] = count(math.ceil(_HANGS * longest / 60.0), "hour")
    cautions = [part["text"] for part in _WORDS["cautions"]]
    tanks = filled(texts()["lists"]["tank_cautions"], {}) if on_tank else []
    years = 0 if today.fan is None else sum(year > 0 for year in today.fan.years)
    few = [filled(_WORDS["few"], {"years": years})] if 0 < years < ENOUGH_YEARS else []
    ask = today.scenario.neighbour.ask
    return [
        Section(
            heading=_WORDS["visits"],
            table=_table(today),
            items=[filled(_WORDS["ruler"], {}), *few, *_bounds(today, minutes)],
        ),
        Section(heading=_WORDS["beds"], items=list(_beds(today))),
        Section(
            heading=_WORDS["wrong"],
            items=[filled(_WORDS[key], values) for key in ("lower", "higher", "stuck", "wet", "hand", "write")],
        ),
        Section(heading=_WORDS["ask"], text=ask or _WORDS["blank"]),
        Section(heading=_WORDS["caution"], items=[*cautions, *tanks[2:5]]),  # lid, mosquitoes, not to be drunk
    ]


def _filled_to(today: Today) -> str:
    """The level at which each valve shuts, once where all have the same."""
    depths = {name: filled("{level:depth ,0}", {"level": valve.reset_mm}) for name, valve in today.valves.items()}
    same = len(set(depths.values())) == 1
    return next(iter(depths.values())) if same else ", ".join(f"{depth} ({name})" for name, depth in depths.items())


def _areas(today: Today) -> list[float]:
    """The beds' areas, in their order. [m²]"""
    return [bed.area for part in today.scenario.controller.values() for bed in part.bed.values()]


def _minutes(today: Today) -> dict[str, tuple[float, float]]:
    """Valve -> how long nine of ten openings of the season so far took at most, and the middle one."""
    openings = today.season.openings.groupby("controller")["minutes"]
    return {str(name): (float(of.quantile(0.9)), float(of.median())) for name, of in openings}


def _longest(today: Today, name: str, minutes: dict[str, tuple[float, float]]) -> float:
    """Return how long a valve's openings take at most: of the season so far, or else as a jug would have it. [min]"""
    so_far, _ = minutes.get(name, (math.nan, 0.0))
    by_jug = 60.0 * today.scenario.controller[name].valve.swing_kg / today.season.forcing.pan_of[name].refill_flow
    return so_far if so_far < _A_WHILE else by_jug


_KINDS = {"level": "depth", "tank": "volume", "openings": ""}


def _table(today: Today) -> Any:
    columns = {"day": [_WORDS["column_day"], "calendar_day"]}
    parts = (("level", "levels"), ("openings", "openings"), ("tank", "tanks"))
    rows: list[dict[str, Any]] = [{"day": visit.day} for visit in today.visits]
    for what, field in parts:
        for name in getattr(today.visits[0], field):
            columns[f"{what} {name}"] = [filled(_WORDS[f"column_{what}"], {"name": name}), 0]
            for row, visit in zip(rows, today.visits, strict=True):
                ends = getattr(visit, field).get(name)  # past the forecast's end, nothing is known of some
                row[f"{what} {name}"] = _ends(_KINDS[what], *ends) if ends else ""
    for row in rows:
        row["day"] = f"{row['day']:%a} {row['day'].day} {row['day']:%b}"
    return labelled(rows, columns, names=1, widths=dict.fromkeys(columns, 1.0))


def _ends(kind: str, *bounds: float) -> str:
    low, high = (bare(bound, kind, 0) for bound in bounds)
    return sentence("today", "end" if low == high else "ends", low=low, high=high)


def _bounds(today: Today, minutes: dict[str, tuple[float, float]]) -> Iterator[str]:
    for name, valve in today.valves.items():
        _, mean = minutes.get(name, (0.0, 0.0))
        values = {"name": name, "trip": valve.trip_mm, "reset": valve.reset_mm, "minutes": mean}
        yield filled(_WORDS["bounds" if mean else "no_opening"], values) + (_WORDS["running"] if valve.is_open else "")


def _beds(today: Today) -> Iterator[str]:
    fine = list[str]()
    for row, ((key, bed), area) in enumerate(zip(today.beds.items(), _areas(today), strict=True)):
        days = [] if today.fan is None else today.fan.first_days(outcome.short[row] for outcome in today.fan.outcomes)
        if not bed.growing:
            continue
        if bed.driest_left_mm < 0.0:
            yield filled(_WORDS["dry"], {"key": key, "litres": bed.fill_l})
        elif days:
            from_then = float(today.season.beds[key]["raw_mm"].iloc[-1]) * area
            then = filled(_WORDS["then"], {"litres": from_then}) if days[0] <= today.visits[-1].day else ""
            yield filled(_WORDS["first"], {"key": key, "day": days[0]}) + then
        else:
            fine.append(key)
    if fine:
        yield filled(_WORDS["fine"], {"keys": ", ".join(fine)})


def sheet_lines(today: Today) -> Iterator[str]:
    """Write the sheet for a terminal, a line each."""
    for part in sheet_sections(today):
        yield f"{part.heading}:"
        if part.table is not None:
            headings = part.table.attrs["labels"]
            for row in part.table.to_dict("records"):
                yield "  " + "; ".join(f"{headings[key]}: {value}" for key, value in row.items())
        yield from (f"  {text}" for text in ([part.text] if part.text else part.items or ()))


@quiet()
def sheet_pdf(today: Today, size: PaperSize) -> bytes:
    """Lay the sheet out on paper, as a PDF file."""
    parts = sheet_sections(today)
    first, last = today.visits[0].day, today.visits[-1].day
    title = filled(_WORDS["title"], {"title": today.scenario.title})
    foot = filled(_WORDS["foot"], {"title": title, "first": first})
    paper = Paper(title, size=size, foot=foot, bottom=12.0)
    paper.add_page()
    paper.say(title, 15.0, bold=True)
    paper.say(filled(_WORDS["when"], {"first": first, "days": (last - first).days + 1}), _BODY)
    for part in parts:
        paper.ln(2.0)
        paper.keep(18.0)
        paper.rule()
        paper.ln(1.0)
        paper.say(part.heading, _BODY + 1.5, bold=True)
        paper.ln(0.5)
        if part.table is not None:
            paper.put_table(part.table, size=_TABLE, height=4.6)
            paper.ln(1.0)
        if part.text:
            paper.say(part.text, _BODY + 1.0, bold=True)
        if part.text == _WORDS["blank"]:
            paper.ln(3.0)
            paper.rule()
            paper.ln(5.0)
        for text in part.items or ():
            paper.say(f"•  {text}", _SMALL if part is parts[-1] else _BODY)
    paper.say_lacking("today.html")
    return bytes(paper.output())
