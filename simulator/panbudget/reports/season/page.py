"""
HTML: a season, or a checked weather file, as one page that stands by itself and prints on A4.

No script, no address of anything outside; the figures stand in the page. Everything that came from a
user's file passes through the template's escaping. Numbers become text here, by `words`; the templates only place it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from panbudget.reports.pages import Table, listed_findings, placed_figure, provenance_table, render
from panbudget.reports.season.words import three_sentences
from panbudget.reports.texts import CAUTIONS, METHOD
from panbudget.season.heat import said
from panbudget.studies.pressure import pressed
from panbudget.studies.sensitivity import Alternative, alternatives, in_mm, in_percent, summed_up
from panbudget.studies.tank_sizes import enough, tank_sizes
from panbudget.weather.checks.plausibility import PASSED
from panbudget.weather.flags import is_borrowed
from panbudget.words import count, days_long, days_said, hours, litres, mm, number, percent

if TYPE_CHECKING:
    import pandas as pd

    from panbudget.season.result import Season
    from panbudget.studies.check import Checked

__all__ = ["check_html", "report_html"]


def report_html(
    season: Season,
    figures: Mapping[str, str],
    provenance: Mapping[str, Any],
    *,
    sizes: Mapping[str, pd.DataFrame] | None = None,
) -> str:
    """
    Write a season's report.

    Parameters
    ----------
    season : Season
    figures : mapping
        Name -> SVG element, as `figures.svg_text` makes it, in the order of the page.
    provenance : mapping
        Versions and fingerprints, as `output.provenance` gives them.
    sizes : mapping of DataFrame, optional
        Tank -> other sizes of it, as `tank_sizes` gives them; else they are run.

    Returns
    -------
    str
        A whole page.
    """
    return render(
        "report.html.j2",
        title=season.totals["title"],
        when=f"{_when(season)}; {_times(season)}",
        note=season.scenario.note,
        sentences=three_sentences(season),
        findings=listed_findings(season.findings),
        beds=_beds(season),
        yardsticks=_yardsticks(season),
        yields=_yields(season),
        without_yield=_without_yield(season),
        controllers=_controllers(season),
        spread=_spread(season),
        spread_said=_spread_said(season),
        pressures=_pressures(season),
        salts=_salts(season),
        supplies=_supplies(season),
        months=_supply_months(season),
        tanks=_tanks(season, sizes),
        figures=[placed_figure(name, svg) for name, svg in figures.items()],
        models=_models(season),
        filled=_filled(season),
        sensitivity=summed_up(alternatives(season)),
        assumptions=season.assumptions,
        notes=season.weather.notes,
        method=METHOD,
        cautions=CAUTIONS,
        provenance=provenance_table(provenance),
    )


def check_html(found: Checked, figures: Mapping[str, str]) -> str:
    """
    Write what a check found in the weather file.

    Parameters
    ----------
    found : Checked
    figures : mapping
        Name -> SVG element, as `figures.svg_text` makes it, in the order of the page.

    Returns
    -------
    str
        A whole page.
    """
    season, source = found.season, found.weather.provenance
    weather = season.totals["weather"]
    by_month = found.by_month()
    return render(
        "check.html.j2",
        title=season.totals["title"],
        when=_when(season),
        note=found.scenario.note,
        sentences=[
            f"The scenario is sound: {count(len(season.controllers), 'valve')}, "
            f"{count(len(season.beds), 'bed')}, {count(len(found.scenario.variant), 'variant')}.",
            *(
                ["Typical year: its months are from different years, and it is no real summer."]
                if source.get("typical")
                else []
            ),
            f"{source['file']} holds {days_said(source['first'], source['last'])}; {_how_complete(weather['filled'])}.",
            f"Over the season ETo is {mm(weather['eto_mm'])} and rain {mm(weather['rain_mm'])}.",
        ],
        figures=[placed_figure(name, svg) for name, svg in figures.items()],
        fallbacks=_fallbacks(source.get("fallbacks", [])),
        sensitivity=_sensitivity(found.sensitivity),
        passed=PASSED,
        units=Table(
            ("column", "unit in the file"),
            tuple((name, unit) for name, unit in source["units"].items()),
            f"Recognised: {source['recognised']}.",
            names=2,
        ),
        filled=_filled(season),
        extremes=Table(
            ("", "value", "unit", "date"),
            tuple(
                (f"{e['which']} {e['column']}", number(e["value"], 1), e["unit"], e["date"]) for e in found.extremes()
            ),
        ),
        months=Table(
            ("month", *(_month_heading(column) for column in by_month.columns)),
            tuple(
                (str(month), *(number(v) for v in values))
                for month, values in zip(by_month.index, by_month.to_numpy(), strict=True)
            ),
        ),
        assumptions=season.assumptions,
        notes=found.weather.notes,
        findings=listed_findings(season.findings),
    )


def _when(season: Season) -> str:
    totals = season.totals["season"]
    days = count(totals["days"], "day")
    heat = season.scenario.what_if.heat
    made = f"; {said(heat)}" if heat is not None else ""
    typical = "; TYPICAL YEAR, no real summer" if season.weather.provenance.get("typical") else ""
    return f"{days_said(totals['start'], totals['end'])}, {days}{typical}{made}"


def _times(season: Season) -> str:
    clock = "on the site's clock" if season.times_are == "clock" else "by the sun"
    return f"openings.csv gives times {clock}"


def _beds(season: Season) -> Table:
    rows = []
    for key, bed in season.totals["beds"].items():
        for part, lane, amount in (
            ("mean", bed, number(bed["litres"])),
            ("driest quarter", bed["driest_quarter"], ""),
        ):
            rows.append(
                (
                    key if part == "mean" else "",
                    part,
                    amount,
                    number(lane["irrigation_mm"]),
                    number(lane["net_demand_mm"]),
                    percent(lane["supply_over_demand"]),
                    number(lane["etc_mm"]),
                    number(lane["eta_mm"]),
                    percent(lane["adequacy"]),
                    number(lane["stress_days"]),
                    number(lane["longest_stress_days"]),
                    number(lane["deep_percolation_mm"]),
                    number(lane["rain_kept_mm"]),
                )
            )
    headings = (
        "bed",
        "part",
        "litres",
        "supplied [mm]",
        "net demand [mm]",
        "supply ÷ demand",
        "ETc [mm]",
        "ETa [mm]",
        "ETa ÷ ETc",
        "stress days",
        "longest run [days]",
        "deep percolation [mm]",
        "rain kept [mm]",
    )
    return Table(headings, tuple(rows), names=2, paired=True)


def _yardsticks(season: Season) -> Table:
    rows = []
    names = {"mean": "the pan", "timer": "the present timer", "exact_refill": "exact refill"}
    for key, bed in season.totals["beds"].items():
        lanes = {"mean": bed, "timer": bed.get("timer"), "exact_refill": bed["exact_refill"]}
        for lane, totals in lanes.items():
            if totals is None:
                continue
            rain = totals["rain_mm"]
            rows.append(
                (
                    key if lane == "mean" else "",
                    names[lane],
                    number(totals["litres"]),
                    number(totals["irrigation_mm"]),
                    number(totals["stress_days"]),
                    percent(totals["adequacy"]),
                    number(totals["deep_percolation_mm"]),
                    percent(1.0 - totals["rain_kept_mm"] / rain) if rain > 0.0 else "–",
                )
            )
    headings = (
        *("bed", "watered by", "litres", "supplied [mm]", "stress days", "ETa ÷ ETc"),
        *("deep percolation [mm]", "rain gone to waste"),
    )
    return Table(headings, tuple(rows), names=2)


def _yields(season: Season) -> Table:
    rows = tuple(
        (key, one["plants"], number(one["ky"], 2), percent(one["eta_over_etc"]), percent(one["share_of_full_yield"]))
        for key, bed in season.totals["beds"].items()
        for one in bed["yield"]
    )
    return Table(("bed", "plants", "Ky", "ETa ÷ ETc", "share of a full yield"), rows, names=2)


def _without_yield(season: Season) -> str:
    """Say which plantings the table of yields leaves out, and why; empty where it has all."""
    no_ky, not_grown = [], []
    for key in season.totals["beds"]:
        etc = season.beds[key]["etc_mm"].to_numpy(float)
        for part in season.forcing.bed_of[key].curve.parts:
            if part.ky is None:
                no_ky.append(f"{key} ({part.name})")
            elif not etc[part.growing].sum() > 0.0:
                not_grown.append(f"{key} ({part.name})")
    reasons = []
    if no_ky:
        reasons.append(f"{', '.join(no_ky)}: no yield response factor (Ky) is known for plants like these")
    if not_grown:
        reasons.append(f"{', '.join(not_grown)}: nothing of it grew in these days")
    return f"No yield is given for {'; nor for '.join(reasons)}." if reasons else ""


def _controllers(season: Season) -> Table:
    rows = tuple(
        (
            name,
            number(c["openings"]),
            hours(c["open_hours"]),
            litres(c["litres"]),
            days_long(c["longest_gap_days"]),
            number(c["evaporated_kg"], 1),
            number(c["rain_caught_kg"], 1),
            number(c["refilled_kg"], 1),
            number(c["spilled_kg"], 1),
            hours(c["stuck_open_hours"]),
            f"{c['closure_kg']:.0e} kg",
        )
        for name, c in season.totals["controllers"].items()
    )
    headings = (
        "valve",
        "openings",
        "time open",
        "water, refill included",
        "longest gap",
        "evaporated [kg]",
        "rain caught [kg]",
        "refilled [kg]",
        "spilled [kg]",
        "held open by evaporation",
        "closure of the balance",
    )
    return Table(headings, rows)


def _spread(season: Season) -> Table:
    rows = []
    spread = season.totals.get("spread", {"controllers": {}, "beds": {}})
    for name, one in spread["controllers"].items():
        rows.append((name, "water, refill included [L]", *_three(one["litres"])))
        rows.append(("", "openings", *_three(one["openings"])))
    for key, one in spread["beds"].items():
        rows.append((key, "water [L]", *_three(one["litres"])))
        rows.append(("", "stress days, driest quarter", *_three(one["driest_quarter_stress_days"])))
        rows.append(("", "deep percolation [mm]", *_three(one["deep_percolation_mm"])))
    return Table(("where", "what", "from", "median", "to"), tuple(rows), names=2)


def _three(values: dict[str, float]) -> tuple[str, ...]:
    return tuple(number(values[key]) for key in ("low", "median", "high"))


def _spread_said(season: Season) -> str:
    spread = season.totals.get("spread")
    if spread is None:
        return ""
    words = {
        "exposure": "exposure",
        "refill_flow": "refill flow",
        "emitter_flow": "emitter flow",
        "pressure": "pressure",
    }
    ranges = ", ".join(f"{words[key]} {low:g} to {high:g} times" for key, (low, high) in spread["ranges"].items())
    return (
        f"The middle {percent(spread['interval'])} of {spread['samples']} seasons, each with its own factors drawn evenly from the "
        f"ranges under [statement]: {ranges}. Weather, "
        "soils and plants are taken as they are. A field log (panbudget fit) narrows the first."
    )


def _pressures(season: Season) -> Table:
    kinds = {name: supply.kind for name, supply in season.scenario.supply.items()}
    names = {0.5: "half", 1.0: "as described", 2.0: "double"}
    rows = []
    for one in pressed(season):
        what = "pressure" if kinds[one.supply] == "mains" else "height of the outlet"
        each = 60.0 * one.open_hours / one.openings if one.openings else 0.0
        rows.append(
            (
                one.supply,
                f"{names[one.times]} {what}" if one.times != 1.0 else "as described",
                number(one.pressure),
                number(one.openings),
                number(each, 1),
                litres(one.bed_litres),
                number(one.stress_days),
            )
        )
    headings = (
        *("supply", "with", "pressure at the emitters [kPa]", "openings", "minutes each"),
        *("water to the beds", "stress days, driest quarters added"),
    )
    return Table(headings, tuple(rows), names=2)


def _salts(season: Season) -> Table:
    rows = []
    for name, totals in season.totals["controllers"].items():
        salt = totals.get("salt")
        if salt is not None:
            often = salt["rinse_every_days"]
            rows.append(
                (
                    name,
                    number(salt["salinity_ds_m"], 1),
                    number(salt["came_g"]),
                    number(salt["left_g"]),
                    number(salt["end_g"]),
                    number(salt["most_g_per_kg"], 1),
                    f"{number(100.0 * salt['evaporation_less'], 1)} %",
                    number(salt["drift_most_g"]),
                    f"{number(100.0 * salt['drift_most_of_swing'], 1)} %",
                    "not needed" if often is None else f"every {count(often, 'day')}",
                )
            )
    headings = (
        *("pan", "supply [dS/m]", "salt that came [g]", "left with spill or leak [g]", "in the pan at the end [g]"),
        *("strongest [g/kg]", "less evaporation", "trip drifts by [g]", "of the swing", "rinse"),
    )
    return Table(headings, tuple(rows))


def _supplies(season: Season) -> Table:
    rows = tuple(
        (
            name,
            litres(s["litres"]),
            f"{litres(s['peak_day']['litres'])} on {s['peak_day']['date']}",
            f"{number(s['peak_rate_l_per_h'])} L/h",
        )
        for name, s in season.totals["supplies"].items()
    )
    return Table(("supply", "season", "most in a day", "largest flow"), rows)


def _tanks(season: Season, sizes: Mapping[str, pd.DataFrame] | None) -> Table:
    rows = []
    for name, supply in season.totals["supplies"].items():
        tank = supply.get("tank")
        if tank is None:
            continue
        suffices = enough(tank_sizes(season, name) if sizes is None else sizes[name])
        rows.append(
            (
                name,
                number(tank["start_l"]),
                number(tank["roof_l"]),
                number(tank["topped_l"]),
                number(tank["drawn_l"]),
                number(tank["over_l"]),
                number(tank["end_l"]),
                (tank["first_empty_day"] or "–").replace("-", "\u2011"),  # so that no cell breaks a date
                hours(tank["starved_hours"]),
                "–" if tank["days_of_reserve"] is None else number(tank["days_of_reserve"], 1),
                litres(suffices) if suffices is not None else "none tried",
            )
        )
    headings = (
        *("tank", "at the start [L]", "from the roof [L]", "from the mains [L]", "drawn [L]", "run over [L]"),
        *(
            "at the end [L]",
            "first dry on",
            "valves dry, all together",
            "days of reserve at the end",
            "size that suffices",
        ),
    )
    return Table(headings, tuple(rows))


def _supply_months(season: Season) -> Table:
    supplies = season.totals["supplies"]
    months = sorted({month for s in supplies.values() for month in s["by_month"]})
    rows = tuple((month, *(number(s["by_month"].get(month, 0.0)) for s in supplies.values())) for month in months)
    return Table(("month", *(f"{name} [L]" for name in supplies)), rows)


def _models(season: Season) -> Table:
    rows = []
    for name, forcing in season.forcing.pan_of.items():
        chosen = season.scenario.controller[name].pan.evaporation
        base = float(forcing.evaporation[chosen].sum())
        for model, values in sorted(forcing.evaporation.items(), key=lambda item: item[0] != chosen):
            total = float(values.sum())
            difference = f"{100.0 * (total / base - 1.0):+.0f} %".replace("-", "−") if base > 0.0 else "–"
            used = model == chosen
            rows.append(
                (
                    name if used else "",
                    model + (", used here" if used else ""),
                    number(total),
                    "" if used else difference,
                )
            )
    return Table(("pan", "model", "evaporation over the season [mm]", "against the one used"), tuple(rows), names=2)


def _filled(season: Season) -> Table:
    rows = tuple(
        (column, method, number(days))
        for column, methods in season.totals["weather"]["filled"].items()
        for method, days in methods.items()
    )
    return Table(("weather column", "filled by", "days of the season"), rows, names=2)


def _how_complete(filled: Mapping[str, Mapping[str, int]]) -> str:
    """Say how many values of the season were borrowed, and how many estimated."""
    counts = [(method, days) for methods in filled.values() for method, days in methods.items()]
    borrowed = sum(days for method, days in counts if is_borrowed(method))
    estimated = sum(days for method, days in counts if not is_borrowed(method))
    parts = [f"{count(borrowed, 'value')} of the season borrowed from another station"] if borrowed else []
    parts += [f"{count(estimated, 'value')} of the season estimated"] if estimated else []
    return " and ".join(parts) or "nothing had to be filled"


def _fallbacks(fallbacks: Sequence[Mapping[str, Any]]) -> Table:
    """A row for each file and column borrowed; one for a file that lent nothing."""
    rows = []
    for one in fallbacks:
        for index, (column, days) in enumerate(one["borrowed"].items() or [("nothing", 0)]):
            fitted = _fitted(one["fit"].get(column)) if days else ""
            held = f"{one['first']} to {one['last']}"
            rows.append((one["file"] if not index else "", held if not index else "", column, fitted, number(days)))
    headings = ("file", "what it holds", "column", "the site's own beside it", "days borrowed")
    return Table(headings, tuple(rows), names=4)


def _fitted(fit: Mapping[str, Any] | None) -> str:
    if fit is None:
        return "too little in common to compare"
    change = f"{fit['shift']:+.2f} {fit['unit']}" if fit["factor"] == 1.0 else f"× {fit['factor']:.2f}"
    done = "applied" if fit["applied"] else "not applied"
    return f"{change} over {fit['days']} days, scatter {fit['scatter']:.2f} {fit['unit']}; {done}".replace("-", "−")


def _sensitivity(found: Sequence[Alternative]) -> Table:
    rows = tuple((one.quantity, one.used, one.instead, number(one.days), in_mm(one), in_percent(one)) for one in found)
    return Table(("quantity", "filled by", "instead", "days", "season's ETo", "of it"), rows, names=3)


def _month_heading(column: str) -> str:
    """ "eto_mm" and "pan_mm NAME", as a table's heading says them."""
    fixed = {"eto_mm": "ETo [mm]", "rain_mm": "rain [mm]"}
    return fixed.get(column, f"pan {column.removeprefix('pan_mm ')} [mm]")
