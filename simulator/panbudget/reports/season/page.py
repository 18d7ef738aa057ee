"""
Season page: what happened, in sentences, tables and figures, and what it rests on.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from panbudget.reports.arranging import gravest_first
from panbudget.reports.pages import Report, Section, margin_said, texts, words_of
from panbudget.reports.season.figures import drawn_beds, drawn_valves, other_sizes, season_figures
from panbudget.reports.season.files import beds_table, daily_table, openings_table
from panbudget.reports.season.spells import stands_out
from panbudget.reports.season.weeks import weeks_table
from panbudget.reports.writing import Verb
from panbudget.season.heat import said as heat_said
from panbudget.season.result import Season
from panbudget.season.supplies import floats_on
from panbudget.studies.sensitivity import alternatives, summed_up
from panbudget.studies.supplies import FACTORS, enough, pressed
from panbudget.weather import flags
from panbudget.words import amount, bare, count, days_said, heading, litres, printed, signed

_section, _say = words_of("season")
_MOST_BEDS_NAMED = 6
# supply ÷ net demand within which a bed "got about what it needed"; common practice, no source
_ABOUT_RIGHT = (0.9, 1.2)


def three_sentences(season: Season) -> list[str]:
    """
    Say what happened: how often it opened, what each bed got against its need, what to look at first.

    Returns
    -------
    list of str
        Three sentences.
    """
    return [_opened(season), _got(season), _look_first(season)]


def _opened(season: Season) -> str:
    parts = []
    for name, valve in season.totals["controllers"].items():
        keys = ["opened"] if valve["openings"] or valve["open_hours"] else ["never_opened"]
        keys += ["starved"] if keys == ["opened"] and valve.get("starved_hours") else []
        parts.append("".join(_say(key, name=name, valve=valve, days=season.totals["season"]["days"]) for key in keys))
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "."


def _got(season: Season) -> str:
    beds = season.totals["beds"]
    ratios = {key: bed["supply_over_demand"] for key, bed in beds.items() if bed["supply_over_demand"] is not None}
    if len(beds) <= _MOST_BEDS_NAMED:
        parts = (_say("got_share" if key in ratios else "got", key=key, bed=bed) for key, bed in beds.items())
        return f"In depth of water, {'; '.join(parts)}."
    if not ratios:
        return _say("none_needed", beds=len(beds))
    low, high = _ABOUT_RIGHT
    least, most = (chosen(ratios, key=lambda key: ratios[key]) for chosen in (min, max))
    less, more = sum(ratio < low for ratio in ratios.values()), sum(ratio > high for ratio in ratios.values())
    counts = {"beds": len(beds), "right": len(ratios) - less - more, "less": less, "more": more}
    ends = {"least": least, "most": most, "least_share": ratios[least], "most_share": ratios[most]}
    return _say("beds_counted", low=low, high=high, **counts, **ends)


def _look_first(season: Season) -> str:
    serious = [finding for finding in season.findings if finding.severity != "note"]
    if not serious:
        return _say("nothing_grave")
    worst = gravest_first(serious)[0]
    first = str(worst.message).rstrip(".")  # its cure is among what to do first
    plain_word = first[1:2].islower() or first[1:2] == " "  # ETo and the like stay
    first = first[:1].lower() + first[1:] if plain_word else first
    return _say("look_first_on" if worst.first else "look_first", worst=worst, message=first)


def season_report(season: Season, figures: Mapping[str, str]) -> Report:
    """
    Say what a season's page says.

    Parameters
    ----------
    season : Season
    figures : mapping
        Name -> SVG element, in the order of the page.
    """
    clock = "on the site's clock" if season.times_are == "clock" else "by the sun"
    return Report(
        title=season.totals["title"],
        when=f"{days_of(season)}; openings.csv gives times {clock}",
        sections=[
            _section("findings", findings=season.findings),
            _section("beds", table=_beds(season)),
            _section("yardsticks", table=_yardsticks(season)),
            _section("yields", table=_yields(season)),
            Section(note=_without_yield(season)),
            _section("valves", table=_valves(season)),
            _ranges(season.totals.get("spread")),
            _section("salts", table=_salts(season)),
            _section("supplies", table=_supplies(season)),
            _section("months", table=_months(season)),
            _section("tanks", table=_tanks(season)),
            _section("tank_sizes", table=_tank_sizes(season), fill=_over(season)),
            _section("pressures", table=_pressures(season)),
            _section("figures", figures=figures),
            Section(note=_not_drawn(season)),
            _section("models", table=_models(season)),
            _section("filled", table=filled_rows(season)),
            Section(text=summed_up(alternatives(season))),
            *stands_out(season),
            _section("assumed", items=season.assumptions),
            _section("notes", items=season.weather.notes),
        ],
    )


def days_of(season: Season) -> str:
    """Say which days a season has, and what its weather is not: a real summer, the record as it was."""
    totals = season.totals["season"]
    heat = season.scenario.what_if.heat
    made = f"; {heat_said(heat)}" if heat is not None else ""
    typical = "; TYPICAL YEAR, no real summer" if season.weather.provenance.get("typical") else ""
    return f"{days_said(totals['start'], totals['end'])}, {count(totals['days'], 'day')}{typical}{made}"


def filled_rows(season: Season) -> list[dict[str, Any]]:
    """Return a row for each weather column and method of filling: its days."""
    filled = season.totals["weather"]["filled"]
    rows = ((name, *way) for name, ways in filled.items() for way in ways.items())
    return [{"column": name, "method": flags.said(way), "days": days} for name, way, days in rows]


def _beds(season: Season) -> Iterator[dict[str, Any]]:
    for key, bed in season.totals["beds"].items():
        yield {"bed": key, "part": "mean", **bed}
        yield {"bed": key, "part": "driest quarter", **bed["driest_quarter"], "litres": ""}


def _yardsticks(season: Season) -> Iterator[dict[str, Any]]:
    for key, bed in season.totals["beds"].items():
        for lane, totals in {"mean": bed, "timer": bed.get("timer"), "exact_refill": bed["exact_refill"]}.items():
            if totals is not None:
                rain = totals["rain_mm"]
                lost = 1.0 - totals["rain_kept_mm"] / rain if rain > 0.0 else None
                yield {"bed": key, "by": texts("season")["lanes"][lane], **totals, "rain_lost": lost}


def _yields(season: Season) -> list[dict[str, Any]]:
    return [{"bed": key, **row} for key, bed in season.totals["beds"].items() for row in bed["yield"]]


def _without_yield(season: Season) -> str:
    """Say which plantings the table of yields leaves out, and why; empty where it has all."""
    left_out: dict[str, list[str]] = {"ky_unknown": [], "not_grown": []}
    for key, bed in season.beds.items():
        etc = bed["etc_mm"].to_numpy(float)
        for part in season.forcing.bed_of[key].parts:
            if part.ky is None or not etc[part.growing].sum() > 0.0:
                left_out["ky_unknown" if part.ky is None else "not_grown"].append(f"{key} ({part.name})")
    reasons = [_say(why, plants=", ".join(plants)) for why, plants in left_out.items() if plants]
    return f"No yield is given for {'; nor for '.join(reasons)}." if reasons else ""


def _not_drawn(season: Season) -> str:
    """Say which beds and pans the figures leave out; empty where they have all."""
    kinds = {"beds": (drawn_beds(season), season.beds), "pans": (drawn_valves(season), season.controllers)}
    counts = ((what, len(drawn), len(every)) for what, (drawn, every) in kinds.items())
    return " ".join(_say(f"some_{what}", drawn=drawn, all=every) for what, drawn, every in counts if drawn < every)


def _valves(season: Season) -> Iterator[dict[str, Any]]:
    for name, valve in season.totals["controllers"].items():
        yield {"valve": name, **valve, "closure": amount(valve["closure_kg"], "weight", ".0e")}


def _ranges(ranges: Mapping[str, Any] | None) -> Section:
    if ranges is None:
        return _section("ranges", table=())
    rows = [
        {"where": key, "what": what, **{end: bare(at, kind, 0) for end, at in values[name].items()}}
        for part, labels in texts("season")["ranged"].items()
        for key, values in ranges.get(part, {}).items()
        for name, label in labels.items()
        for what, kind in [heading(label)]
    ]
    spans = {name.removeprefix("controller.").replace("_", " "): span for name, span in ranges["ranges"].items()}
    factors = ", ".join(f"{name} {low:g} to {high:g} times" for name, (low, high) in spans.items())
    return _section("ranges", table=rows, fill={**ranges, "factors": factors})


def _pressures(season: Season) -> Iterator[dict[str, Any]]:
    times = {0.5: "half ", 1.0: "as described", 2.0: "double "}
    for run in pressed(season):
        what = "pressure" if season.scenario.supply[run.supply].kind == "mains" else "height of the outlet"
        minutes = 60.0 * run.open_hours / run.openings if run.openings else 0.0
        yield {**vars(run), "with": times[run.times] + (what if run.times != 1.0 else ""), "minutes": minutes}


def _salts(season: Season) -> Iterator[dict[str, Any]]:
    for name, valve in season.totals["controllers"].items():
        if salt := valve.get("salt"):
            often = salt["rinse_every_days"]
            yield {"pan": name, **salt, "rinse": "not needed" if often is None else f"every {count(often, 'day')}"}


def _supplies(season: Season) -> Iterator[dict[str, Any]]:
    floats = {name: litres(float(by_day.sum())) for name in season.scenario.supply for by_day in _floats(season, name)}
    for name, supply in season.totals["supplies"].items():
        peak, rate = supply["peak_day"], amount(supply["peak_rate_l_per_h"], "flow", ",0")
        opened = {"peak": f"{litres(peak['litres'])} on {peak['date']}", "rate": rate} if supply["litres"] else {}
        into = {"floats": floats.get(name, "–")} if floats else {}
        yield {"supply": name, **supply, **into, "peak": "–", "rate": "–", **opened}


def _floats(season: Season, supply: str) -> list[pd.Series[float]]:
    """What the float valves of tanks draw on a supply day by day, a tank each. [L]"""
    return [season.tanks[tank]["topped_l"] for tank in floats_on(season.scenario, supply)]


def _months(season: Season) -> pd.DataFrame:
    table = pd.DataFrame()
    for name, supply in season.totals["supplies"].items():
        table[f"{name} [volume]"] = pd.Series(supply["by_month"], dtype=float)
        for by_day in _floats(season, name):
            months = pd.DatetimeIndex(by_day.index).strftime("%Y-%m")
            table[f"{name} [volume]"] += by_day.groupby(months).sum()
    return table.fillna(0.0).sort_index().rename_axis("month").reset_index()


def _tanks(season: Season) -> Iterator[dict[str, Any]]:
    for name, sizes in other_sizes(season).items():
        tank = season.totals["supplies"][name]["tank"]
        first, best = tank["first_empty_day"], enough(sizes)
        empty = dt.date.fromisoformat(first) if first else "–"
        yield {"tank": name, **tank, "first_empty_day": empty, "enough": best["volume_l"]}


def _tank_sizes(season: Season) -> pd.DataFrame:
    parts = []
    for name, sizes in other_sizes(season).items():
        best = enough(sizes)["volume_l"]
        marks = {"as described": np.array(FACTORS) == 1.0, "enough for the plants": sizes["volume_l"] == best}
        which = ["; ".join(itertools.compress(marks, holds)) for holds in zip(*marks.values(), strict=True)]
        margin = [margin_said(pair) if marked else "" for pair, marked in zip(sizes["exposure"], which, strict=True)]
        keeping = np.floor(100.0 * sizes["share"] + 1e-9)
        parts.append(sizes.assign(tank=name, which=which, kept=keeping, margin=margin))
    return pd.concat(parts) if parts else pd.DataFrame()


def _over(season: Season) -> dict[str, Any]:
    """Over how many years and draws the sizes of tanks are judged, and by what wish."""
    about = [sizes.attrs for sizes in other_sizes(season).values()] or [{"years": 0, "draws": 0}]
    return {**{str(key): value for key, value in about[0].items()}, "wish": season.scenario.wishes.stress_days}


def _models(season: Season) -> Iterator[dict[str, Any]]:
    for name, pan in season.forcing.pan_of.items():
        chosen = season.scenario.controller[name].pan.evaporation
        totals = {model: float(values.sum()) for model, values in pan.evaporation.items()}
        base = totals.pop(chosen)
        yield {"pan": name, "model": f"{chosen}, used here", "evaporation_mm": base, "difference": ""}
        for model, total in totals.items():
            difference = (
                f"{signed(100.0 * (printed(total, 'depth') / printed(base, 'depth') - 1.0))} %" if round(base) else "–"
            )
            yield {"pan": name, "model": model, "evaporation_mm": total, "difference": difference}


VERB = Verb(
    "replay",
    three_sentences,
    season_report,
    lambda season: {
        **season.totals,
        "weather": {**season.totals["weather"], **season.of_record()},
        "findings": season.findings,
    },
    tables={"daily.csv": daily_table, "openings.csv": openings_table, "beds.csv": beds_table, "weeks.csv": weeks_table},
    figures=season_figures,
    of=lambda season: season,
    measures=True,
)
