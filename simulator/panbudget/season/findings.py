"""
Findings: what a user should know about a run, in plain words, and what to do about it.

Severities: `note` (said so that nothing is silent), `caution` (look at it), `danger` (it breaks the garden). The
limits that separate them are named here, once; they are common practice, no source, unless one is given.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget import words
from panbudget.physics.hydraulics import KPA_PER_M
from panbudget.season.faults import fault_days, fault_said, fault_where
from panbudget.season.finding import SEVERITIES, Finding
from panbudget.season.heat import said as heat_said
from panbudget.season.result import Season
from panbudget.season.salt import MOST_DRIFT
from panbudget.season.totals import valve_flows
from panbudget.weather.flags import MADE_HEAT, is_borrowed
from panbudget.words import count as counted

STUCK_HOURS_DANGER = 6.0  # hours in a season with the valve held open by evaporation alone
ADEQUACY_DANGER, ADEQUACY_CAUTION = 0.75, 0.95  # ETc actual ÷ ETc
STRESS_RUN_DANGER = 14  # days in a row
DROWNED_SHARE = 0.3  # of the irrigation, drained below the roots
DROWNED_TIMES = 1.5  # supply over net demand
SHORT_OPENING = 2.0  # minutes
OPENINGS_A_DAY = 12
BOUND_SHARE = 0.1  # of the days: model page §2
HOT_DAY_SHARE = 0.9  # quantile of daily pan evaporation taken for a hot day
MODELS_APART = 0.15


def find(season: Season) -> tuple[Finding, ...]:
    """
    Look a season over.

    Parameters
    ----------
    season : Season
        With everything but its findings.

    Returns
    -------
    tuple of Finding
        Gravest first; of one severity, what concerns most days first, then in the order of the scenario.
    """
    found = [
        *_of_weather(season),
        *_of_faults(season),
        *(f for name in season.controllers for f in _of_controller(season, name)),
        *(f for key in season.beds for f in _of_bed(season, key)),
        *_of_evenness(season),
    ]
    return tuple(sorted(found, key=lambda finding: (SEVERITIES.index(finding.severity), -finding.days)))


def _signed_percent(share: float) -> str:
    return ("+" if share > 0.0 else "") + words.percent(share)


def _days(index: pd.Index[Any], mask: npt.ArrayLike) -> tuple[str | None, int]:
    hits = index[np.asarray(mask, dtype=bool)]
    return (f"{hits[0]:%Y-%m-%d}" if len(hits) else None, len(hits))


def _of_weather(season: Season) -> Iterator[Finding]:
    first, count = _days(season.days.index, season.days["eto_mm"] < 0.0)
    if count:
        lowest = season.days["eto_mm"].min()
        yield Finding(
            "note",
            "negative-eto",
            "weather",
            f"Reference ET comes out below zero on {counted(count, 'day')} (lowest {lowest:.2f} mm): cold, damp, dark days. "
            "It is left so; look at radiation and humidity on those days if it surprises you.",
            first,
            count,
        )
    heat = season.scenario.what_if.heat
    if heat is not None:
        first, count = _days(
            season.days.index, season.weather.flags.loc[season.days.index, "tmax"].to_numpy(object) == MADE_HEAT
        )
        yield Finding(
            "caution",
            "made-heat",
            "weather",
            f"The weather holds {heat_said(heat)}. Nobody measured that: it is there to try the garden."
            + ("" if count else " It lies outside the days replayed and changes nothing in them."),
            first,
            count,
        )
    total = len(season.days)
    start = season.days.index[0].date()
    if season.weather.provenance.get("typical"):
        yield Finding(
            "caution",
            "typical-year",
            "weather",
            "Typical year: its months are from different years, and it is no real summer. Nobody lived through it, and its "
            "extremes are milder than those that come. Try years of a station's own record before you build.",
            start.isoformat(),
            total,
        )
    for column, methods in season.totals["weather"]["filled"].items():
        for method, days in methods.items():
            if method == MADE_HEAT:
                continue
            yield _filled(column, method, days, total, start.isoformat())


def _filled(column: str, method: str, days: int, total: int, start: str) -> Finding:
    whole = days >= total
    often = "every day" if whole else f"{days} of {total} days"
    if is_borrowed(method):
        message = f"{column}: {often} {method}, another station's file."
        more = " All of it is that station's."
    else:
        message = f"{column}: {often} estimated ({method}), not measured."
        more = " Totals lean on that estimate; a nearby station's column would be better."
    severity = "caution" if whole else "note"
    return Finding(severity, "filled", "weather", message + (more if whole else ""), start if whole else None, days)


def _of_faults(season: Season) -> Iterator[Finding]:
    """Say which of the scenario's faults are on, so that nobody takes the season for a sound garden's."""
    for fault in season.scenario.fault:
        first, count = _days(season.days.index, fault_days(fault, pd.DatetimeIndex(season.days.index)))
        what = fault_said(fault)
        yield Finding(
            "caution" if count else "note",
            "fault",
            fault_where(fault, season.scenario),
            f"A fault described under [[fault]]: {what}. The season holds what comes of it; leave the table out to see "
            "the sound garden." + ("" if count else " It lies outside the days replayed and changes nothing in them."),
            first,
            count,
        )


def _of_controller(season: Season, name: str) -> Iterator[Finding]:
    yield from _of_pan(season, name)
    yield from _of_salt(season, name)
    yield from _of_valve(season, name)


def _of_pan(season: Season, name: str) -> Iterator[Finding]:
    table, totals = season.controllers[name], season.totals["controllers"][name]
    described, forcing = season.scenario.controller[name], season.forcing.pan_of[name]
    refill = forcing.refill_flow

    first, count = _days(table.index, table["stuck_hours"] > 0.0)
    if count:
        hours = totals["stuck_open_hours"]
        litres = float((table["stuck_hours"].to_numpy() * valve_flows(season.forcing)[name]).sum())
        yield Finding(
            "danger" if hours > STUCK_HOURS_DANGER else "caution",
            "stuck-open",
            name,
            f"Evaporation outran the refill emitter while the valve was open, which held it open for {words.hours(hours)} "
            f"({words.litres(litres)}) on {counted(count, 'day')}. Use a larger refill emitter, or a smaller or shaded pan.",
            first,
            count,
        )
    first, count = _days(table.index, table["dry_hours"] > 0.0)
    if count:
        yield Finding(
            "danger",
            "dry-pan",
            name,
            f"The pan ran dry for {words.hours(totals['dry_pan_hours'])} on {counted(count, 'day')}: with no water left it can't weigh "
            "anything. Use a deeper pan, a smaller swing or a larger refill emitter.",
            first,
            count,
        )
    first, count = _days(table.index, table["spilled_kg"] > 0.0)
    if count:
        yield Finding(
            "note",
            "spill",
            name,
            f"Rain filled the pan over its rim on {counted(count, 'day')} and {words.kilograms(totals['spilled_kg'])} ran off: rain that "
            "the pan forgets and the beds may still hold. More freeboard keeps more of it.",
            first,
            count,
        )
    if forcing.refill_flow <= _hot_hour(season, name):
        yield Finding(
            "caution",
            "weak-refill",
            name,
            f"The refill emitter gives {refill:.2f} L/h, which can't outrun the pan on a hot day: at noon it loses "
            f"up to {_hot_hour(season, name):.2f} L/h. An opening that starts then lasts until the sun is lower; use a "
            "larger refill emitter or a smaller pan.",
        )
    if described.pan.evaporation == "from-eto":
        for driver, mask in (("wind", forcing.wind_bounded), ("humidity", forcing.humidity_bounded)):
            first, count = _days(table.index, mask)
            if count > BOUND_SHARE * len(table):
                yield Finding(
                    "note",
                    "pan-table-bounds",
                    name,
                    f"On {count} of {len(table)} days the {driver} lay outside the pan coefficient's table (FAO-56 "
                    "Table 7) and was taken at its nearest end: the pan's evaporation is less sure there.",
                    first,
                    count,
                )
        if forcing.fetch_bounded:
            yield Finding(
                "note",
                "pan-table-bounds",
                name,
                "The fetch lies outside the pan coefficient's table (1 to 1000 m) and was taken at its nearest end.",
            )
    chosen = float(forcing.evaporation[described.pan.evaporation].sum())  # without faults, as the other model is
    for model, values in forcing.evaporation.items():
        other = float(values.sum())
        if model != described.pan.evaporation and chosen > 0.0 and abs(other / chosen - 1.0) > MODELS_APART:
            yield Finding(
                "note",
                "pan-model",
                name,
                f'Reckoned by "{model}" the pan would have lost {words.mm(other)} in place of {words.mm(chosen)}, '
                f"{_signed_percent(other / chosen - 1.0)}, and the beds' water with it. Until you have compared a ruler in your "
                "own pan with this, take that as the uncertainty.",
            )


def _of_salt(season: Season, name: str) -> Iterator[Finding]:
    salt = season.totals["controllers"][name].get("salt")
    if salt is None:
        return
    often = salt["rinse_every_days"]
    said = (
        f"The supply's {words.number(salt['salinity_ds_m'], 1)} dS/m brings {words.number(salt['came_g'])} g of salt into the "
        f"pan, where it stays: up to {words.number(salt['most_g_per_kg'], 1)} g/kg, {_tenths(salt['evaporation_less'])} less "
        f"evaporation, and a trip that drifts by up to {words.number(salt['drift_most_g'])} g, "
        f"{_tenths(salt['drift_most_of_swing'])} of the swing."
    )
    if often is None:
        yield Finding("note", "salt", name, f"{said} No rinse is needed within this season.")
        return
    yield Finding(
        "caution",
        "salt",
        name,
        f"{said} Empty the pan, rinse it and fill it anew every {counted(often, 'day')} at the thirstiest time "
        f"({counted(salt['rinses'], 'time')} in this season): the drift then stays under {words.percent(MOST_DRIFT)} of the swing.",
    )


def _tenths(share: float) -> str:
    return f"{words.number(100.0 * share, 1)} %"


def _hot_hour(season: Season, name: str) -> float:
    """What a hot day's noon takes from the pan. [L/h]"""
    index = list(season.controllers).index(name)
    pans, days = season.forcing.pans, season.forcing.days
    noon = (
        days.daylight_share[:, 12] * (1.0 - pans.night_share[index]) + days.dark_share[:, 12] * pans.night_share[index]
    )
    hourly = season.controllers[name]["pan_mm"].to_numpy() * noon * pans.area[index]
    return float(np.quantile(hourly, HOT_DAY_SHARE))


def _of_valve(season: Season, name: str) -> Iterator[Finding]:
    table, totals = season.controllers[name], season.totals["controllers"][name]
    described, forcing = season.scenario.controller[name], season.forcing.pan_of[name]
    flow = forcing.valve_flow
    openings = season.openings[season.openings["controller"] == name]

    if totals["openings"] == 0 and totals["open_hours"] == 0.0:
        yield Finding(
            "danger",
            "never-opened",
            name,
            "The valve never opened: the pan did not lose its swing of water. Use a smaller swing or a wider pan.",
            f"{table.index[0]:%Y-%m-%d}",
            len(table),
        )
    if len(openings) and openings["end_h"].isna().any():
        yield Finding(
            "note",
            "open-at-end",
            name,
            "The valve is still open when the season ends; that opening's water is counted up to then.",
            f"{table.index[-1]:%Y-%m-%d}",
            1,
        )
    first, count = _days(table.index, table["starved_hours"] > 0.0)
    if count:
        yield Finding(
            "danger",
            "no-water",
            name,
            f"The valve stood open without water for {words.hours(totals['starved_hours'])} on {counted(count, 'day')}: the "
            "tank was empty, or the supply cut. A larger tank or roof, a float valve, or fewer emitters.",
            first,
            count,
        )
    whole = openings[openings["end_h"].notna()]
    if len(whole) and float(whole["minutes"].median()) < SHORT_OPENING:
        yield Finding(
            "caution",
            "short-openings",
            name,
            f"Half of the openings are shorter than {SHORT_OPENING:.0f} minutes; much of that is spent filling the "
            "pipes. A larger swing gives fewer and longer ones.",
        )
    first, count = _days(table.index, table["openings"] > OPENINGS_A_DAY)
    if count:
        yield Finding(
            "caution",
            "many-openings",
            name,
            f"More than {OPENINGS_A_DAY} openings a day on {counted(count, 'day')} (most {int(table['openings'].max())}): wear, "
            "and little water each time. A larger swing gives fewer.",
            first,
            count,
        )
    rated = described.valve.rated_flow
    if rated is not None and flow > rated:
        yield Finding(
            "caution",
            "over-rating",
            name,
            f"The beds and the refill emitter together draw {flow:.0f} L/h and the valve is rated for {rated:.0f} L/h. "
            "They will get less than reckoned here; use a larger valve or fewer emitters.",
        )
    least, pressure = described.valve.least_pressure, forcing.pressure
    if least is not None and pressure < least:
        yield Finding(
            "danger",
            "low-pressure",
            name,
            f"{_pressure_words(season, described.supply)} {pressure:.0f} kPa at the emitters and the valve needs at least "
            f"{least:.0f} kPa to work. {_pressure_cure(season, described.supply, least - pressure)}",
        )


def _pressure_words(season: Season, supply: str) -> str:
    return "A full tank gives" if season.scenario.supply[supply].kind == "tank" else "The supply gives"


def _pressure_cure(season: Season, supply: str, missing: float) -> str:
    if season.scenario.supply[supply].kind == "tank":
        return f"Stand the tank {missing / KPA_PER_M:.1f} m higher, or choose a valve made for less."
    return "Raise the pressure or choose a valve made for less."


def _of_bed(season: Season, key: str) -> Iterator[Finding]:
    totals, table = season.totals["beds"][key], season.beds[key]
    quarter = totals["driest_quarter"]
    stressed = (table["driest_ks"] < 1.0) & table["growing"]
    first, count = _days(table.index, stressed)
    if count:
        share, run = quarter["adequacy"], quarter["longest_stress_days"]
        grave = totals["adequacy"] < ADEQUACY_DANGER or totals["longest_stress_days"] >= STRESS_RUN_DANGER
        severity = "danger" if grave else "caution" if share < ADEQUACY_CAUTION else "note"
        mean = totals["stress_days"]
        where = f"{counted(mean, 'day')} on average over the bed, {count}" if mean else f"{counted(count, 'day')}"
        loss = f", where the plants could use {words.percent(share)} of what they would have" if share < 0.995 else ""
        yield Finding(
            severity,
            "short-of-water",
            key,
            f"Short of water: {where} in its driest quarter ({run} in a row){loss}. More or larger "
            "emitters on this bed, or mulch; a wider pan or a smaller refill flow gives every bed on this valve more.",
            first,
            count,
        )
    irrigation, demand = totals["irrigation_mm"], totals["net_demand_mm"]
    # what drains while the bed gets far more than it needs is the valve's doing, not the rain's
    wasted = totals["deep_percolation_mm"]
    grows = bool(table["growing"].any())
    if grows and irrigation > DROWNED_TIMES * demand and wasted > DROWNED_SHARE * irrigation:
        first, count = _days(table.index, table["deep_percolation_mm"] > 0.0)
        yield Finding(
            "caution",
            "too-wet",
            key,
            f"Too much water: {words.mm(irrigation)} where {words.mm(demand)} were needed, and {words.mm(wasted)} "
            "drained below the roots. Fewer or smaller emitters on this bed, or a valve of its own.",
            first,
            count,
        )
    idle = ~table["growing"]
    first, count = _days(table.index, idle)
    if count == len(table):
        yield Finding(
            "caution",
            "never-growing",
            key,
            "Nothing grows here in the whole season by the planting's dates, so no water is counted as needed. Look at "
            "the year of `planted` and at the stages.",
            first,
            count,
        )
    elif count:
        yield Finding(
            "note",
            "not-growing",
            key,
            f"On {counted(count, 'day')} of the season nothing grows here by the planting's dates (before planting, after its "
            "last stage, or dormant): water given then is not counted as needed, and stress is not counted.",
            first,
            count,
        )


def _of_evenness(season: Season) -> Iterator[Finding]:
    """Beds on one valve that want different amounts can't all be right."""
    for name, described in season.scenario.controller.items():
        ratios = {
            bed: season.totals["beds"][f"{name}/{bed}"]["supply_over_demand"] or 0.0
            for bed in described.bed
            if season.totals["beds"][f"{name}/{bed}"]["net_demand_mm"] > 0.0
        }
        if len(ratios) < 2:
            continue
        least, most = min(ratios, key=lambda bed: ratios[bed]), max(ratios, key=lambda bed: ratios[bed])
        if ratios[most] > DROWNED_TIMES * max(ratios[least], 1e-9):
            yield Finding(
                "caution",
                "uneven",
                name,
                f'One valve, unlike beds: "{most}" got {words.percent(ratios[most])} of its need while "{least}" got '
                f"{words.percent(ratios[least])}. No pan puts that right for both; change the number of emitters on one of them.",
            )
