"""
Season page: what happened, in sentences, tables and figures, and what it rests on.
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from panbudget.reports.pages import Report, Section, section
from panbudget.reports.season.figures import other_sizes
from panbudget.season.heat import said as heat_said
from panbudget.season.result import Season
from panbudget.studies.pressure import pressed
from panbudget.studies.sensitivity import alternatives, summed_up
from panbudget.studies.tank_sizes import enough
from panbudget.words import count, days_said, litres, number, percent, signed

_section = functools.partial(section, "season")
_LANES = {"mean": "the pan", "timer": "the present timer", "exact_refill": "exact refill"}
_RANGES = {
    "controllers": {"litres": "water, refill included [L]", "openings": "openings"},
    "beds": {
        "litres": "water [L]",
        "driest_quarter_stress_days": "days short of water, driest quarter",
        "deep_percolation_mm": "drained [mm]",
    },
}


def season_report(season: Season, figures: Mapping[str, str]) -> Report:
    """
    Say what a season's page says.

    Parameters
    ----------
    season : Season
    figures : mapping
        Name -> SVG element, in the order of the page.

    Returns
    -------
    Report
    """
    clock = "on the site's clock" if season.times_are == "clock" else "by the sun"
    ranges = season.totals.get("spread")
    return Report(
        title=season.totals["title"],
        when=f"{days_of(season)}; openings.csv gives times {clock}",
        sections=[
            _section("findings", findings=season.findings),
            _section("beds", table=_beds(season)),
            _section("yardsticks", table=_yardsticks(season)),
            _section("yields", table=_of_beds(season, "yield")),
            Section(note=_without_yield(season)),
            _section("valves", table=_valves(season)),
            _section("ranges", table=_ranges(ranges or {}), note=_ranges_note(ranges) if ranges else ""),
            _section("salts", table=_salts(season)),
            _section("supplies", table=_supplies(season)),
            _section("months", table=_months(season)),
            _section("tanks", table=_tanks(season)),
            _section("pressures", table=_pressures(season)),
            _section("figures", figures=figures),
            _section("models", table=_models(season)),
            _section("filled", table=filled_rows(season)),
            Section(text=summed_up(alternatives(season))),
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
    return [
        {"column": column, "method": method, "days": days}
        for column, methods in season.totals["weather"]["filled"].items()
        for method, days in methods.items()
    ]


def _beds(season: Season) -> Iterator[dict[str, Any]]:
    for key, bed in season.totals["beds"].items():
        yield {"bed": key, "part": "mean", **bed}
        yield {"bed": key, "part": "driest quarter", **bed["driest_quarter"], "litres": ""}


def _yardsticks(season: Season) -> Iterator[dict[str, Any]]:
    for key, bed in season.totals["beds"].items():
        lanes = {"mean": bed, "timer": bed.get("timer"), "exact_refill": bed["exact_refill"]}
        for lane, totals in lanes.items():
            if totals is not None:
                rain = totals["rain_mm"]
                lost = 1.0 - totals["rain_kept_mm"] / rain if rain > 0.0 else None
                yield {"bed": key, "by": _LANES[lane], **totals, "rain_lost": lost}


def _of_beds(season: Season, what: str) -> Iterator[dict[str, Any]]:
    for key, bed in season.totals["beds"].items():
        for row in bed[what]:
            yield {"bed": key, **row}


def _without_yield(season: Season) -> str:
    """Say which plantings the table of yields leaves out, and why; empty where it has all."""
    unknown, not_grown = [], []
    for key, bed in season.beds.items():
        etc = bed["etc_mm"].to_numpy(float)
        for part in season.forcing.bed_of[key].parts:
            if part.ky is None:
                unknown.append(f"{key} ({part.name})")
            elif not etc[part.growing].sum() > 0.0:
                not_grown.append(f"{key} ({part.name})")
    reasons = []
    if unknown:
        reasons.append(f"{', '.join(unknown)}: no yield response factor (Ky) is known for plants like these")
    if not_grown:
        reasons.append(f"{', '.join(not_grown)}: nothing of it grew in these days")
    return f"No yield is given for {'; nor for '.join(reasons)}." if reasons else ""


def _valves(season: Season) -> Iterator[dict[str, Any]]:
    for name, valve in season.totals["controllers"].items():
        yield {"valve": name, **valve, "closure": f"{valve['closure_kg']:.0e} kg"}


def _ranges(ranges: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for part, labels in _RANGES.items():
        for key, values in ranges.get(part, {}).items():
            for name, label in labels.items():
                yield {"where": key, "what": label, **values[name]}


def _ranges_note(ranges: Mapping[str, Any]) -> str:
    factors = ", ".join(
        f"{name.replace('_', ' ')} {low:g} to {high:g} times" for name, (low, high) in ranges["ranges"].items()
    )
    return (
        f"The middle {percent(ranges['interval'])} of {ranges['samples']} seasons, each with its own factors drawn evenly "
        f"from the ranges under [statement]: {factors}. Weather, soils and plants are taken as they are. A field log "
        "(panbudget fit) narrows the first."
    )


def _pressures(season: Season) -> Iterator[dict[str, Any]]:
    times = {0.5: "half ", 1.0: "as described", 2.0: "double "}
    for run in pressed(season):
        what = "pressure" if season.scenario.supply[run.supply].kind == "mains" else "height of the outlet"
        yield {
            **vars(run),
            "with": times[run.times] + (what if run.times != 1.0 else ""),
            "minutes": 60.0 * run.open_hours / run.openings if run.openings else 0.0,
        }


def _salts(season: Season) -> Iterator[dict[str, Any]]:
    for name, valve in season.totals["controllers"].items():
        if salt := valve.get("salt"):
            often = salt["rinse_every_days"]
            yield {"pan": name, **salt, "rinse": "not needed" if often is None else f"every {count(often, 'day')}"}


def _supplies(season: Season) -> Iterator[dict[str, Any]]:
    for name, supply in season.totals["supplies"].items():
        peak = f"{litres(supply['peak_day']['litres'])} on {supply['peak_day']['date']}"
        yield {"supply": name, **supply, "peak": peak, "rate": f"{number(supply['peak_rate_l_per_h'])} L/h"}


def _months(season: Season) -> pd.DataFrame:
    supplies = season.totals["supplies"]
    table = pd.DataFrame({f"{name} [L]": pd.Series(s["by_month"], dtype=float) for name, s in supplies.items()})
    return table.fillna(0.0).sort_index().rename_axis("month").reset_index()


def _tanks(season: Season) -> Iterator[dict[str, Any]]:
    for name, sizes in other_sizes(season).items():
        tank = season.totals["supplies"][name]["tank"]
        first, size = tank["first_empty_day"], enough(sizes)
        yield {
            "tank": name,
            **tank,
            "first_empty_day": dt.date.fromisoformat(first) if first else "–",
            "enough": litres(size) if size is not None else "none tried",
        }


def _models(season: Season) -> Iterator[dict[str, Any]]:
    for name, pan in season.forcing.pan_of.items():
        chosen = season.scenario.controller[name].pan.evaporation
        base = float(pan.evaporation[chosen].sum())
        for model, values in sorted(pan.evaporation.items(), key=lambda item: item[0] != chosen):
            total = float(values.sum())
            difference = f"{signed(100.0 * (total / base - 1.0))} %" if base > 0.0 else "–"
            yield {
                "pan": name,
                "model": model + (", used here" if model == chosen else ""),
                "evaporation_mm": total,
                "difference": "" if model == chosen else difference,
            }
