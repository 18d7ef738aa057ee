"""
Findings: what a user should know about a run, in plain words, and what to do about it.

What they say stands in `findings.toml`, by code. The limits that separate the severities are named here, once; they
are common practice, no source, unless one is given.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from panbudget import words
from panbudget.physics.hydraulics import KPA_PER_M
from panbudget.scenario.beds import NamedPlants
from panbudget.scenario.garden import Scenario
from panbudget.season import TEXTS, faults, heat
from panbudget.season.result import SEVERITIES, Finding, Season, short_of_water
from panbudget.season.salt import MOST_DRIFT
from panbudget.season.supplies import float_source, most_static
from panbudget.season.totals import hourly_evaporation
from panbudget.tables.plants import find_plant
from panbudget.weather import flags
from panbudget.weather.flags import MADE_HEAT, is_borrowed
from panbudget.words import count as counted

STUCK_HOURS_DANGER = 6.0  # hours in a season with the valve held open by evaporation alone
ADEQUACY_DANGER, ADEQUACY_CAUTION = 0.75, 0.95  # ETc actual ÷ ETc
STRESS_RUN_DANGER = 14  # days in a row
FROST = 0.0  # °C of the air: air frost, as weather services have it (from memory); on the ground it may come earlier
FLOOD = 100.0  # mm given in a day: more than a soil takes in or holds
BARE_CAUTION, MONTHS = 0.5, 12  # of the season's days, without plants; a day of the month that may be a month
DROWNED_SHARE = 0.3  # of the irrigation, drained below the roots
DROWNED_TIMES = 1.5  # supply over net demand
# supply over net demand; and mm more than that, or a wet summer's need is soon passed
DROWNED_DANGER, DROWNED_MM = 5.0, 100.0
SHORT_OPENING = 2.0  # minutes
OPENINGS_A_DAY = 12
MOST_PRESSURE = 400.0  # kPa that drip emitters and their fittings usually stand (common practice, no source)
SALT_APART = 0.1  # share by which what a bed and its supply say of one water may differ (common practice, no source)
FAR_BELOW_PRINT = 5.0  # times that the pressure lies below what an emitter is printed for (common practice, no source)
BOUND_SHARE = 0.1  # of the days: model page §2
HOT_DAY_SHARE = 0.9  # quantile of the pan's evaporation at noon taken for a hot day's
_NOON = 12  # the hour that begins then
MODELS_APART = 0.15
PIPE_TAKES = 0.5  # of a supply's pressure, lost in pipe and valve (common practice, no source)
TIMES_TABLE = 3.0  # times, or a part so small, of what the table has of a plant (common practice, no source)
# what gardens have, by part and key: the least and the most (common practice, no source)
USUAL: dict[str, dict[str, tuple[float, float]]] = {
    "weather": {"wind_height": (1.0, 100.0)},
    "pan": {"exposure": (0.3, 2.0), "night_share": (0.0, 0.5)},
    "refill": {"flow": (0.1, 50.0), "at": (5.0, 400.0)},
    "emitters": {"flow": (0.1, 250.0), "at": (5.0, 400.0)},
    "bed": {"uniformity": (0.5, 1.0), "root_fraction": (0.1, 1.0), "wetted_fraction": (0.05, 1.0)},
    "soil": {"wilting_point": (0.01, 0.4)},
    "plants": {"root_depth": (0.1, 3.0), "depletion": (0.1, 0.8), "degree_days": (200.0, 6000.0)},
    "leaching": {"water": (0.0, 10.0), "threshold": (0.5, 10.0)},
}
# kinds of quantities
_AS = {"root_depth": "height", "wind_height": "height", "height": "height", "flow": "flow", "at": "pressure"}
_NEARLY_ALL = 0.995  # of what plants could use: shown as 100 %

# of a pan's salt: what is shown, and shares shown as per cent
_SALT_SHOWN = ("salinity_ds_m", "came_g", "most_g_per_kg", "drift_most_g")
_SALT_SHARES = ("evaporation_less", "drift_most_of_swing")

# by code: what was found; or that, and what to do
_TEXTS: dict[str, str | list[str]] = TEXTS["findings"]


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
    findings = [
        *_of_weather(season),
        *_of_supplies(season.scenario),
        *_of_keys(season.scenario),
        *_of_figures(season.scenario),
        *_of_faults(season),
        *(f for name in season.controllers for of in (_of_pan, _of_salt, _of_valve) for f in of(season, name)),
        *(f for key in season.beds for f in _of_bed(season, key)),
        *_of_evenness(season),
    ]
    return tuple(sorted(findings, key=lambda finding: (SEVERITIES.index(finding.severity), -finding.days)))


def _finding(
    severity: str, code: str, at: str, days: pd.Series[bool] | None = None, /, *, text: str = "", **values: Any
) -> Finding:
    """One finding, of the days on which a mask is true; ``text`` names its words where one code has several."""
    hits = list(days.index[days.to_numpy(bool)]) if days is not None else []
    message, cure = _texts(text or code, days=counted(len(hits), "day"), **values)
    return Finding(severity, code, at, message, f"{hits[0]:%Y-%m-%d}" if len(hits) else None, len(hits), cure)


def _texts(name: str, **values: Any) -> tuple[str, str]:
    """What was found, and what to do; empty where nothing is."""
    message, cure = given if isinstance(given := _TEXTS[name], list) else (given, "")
    return words.say(message, **values), words.say(cure, **values)


def _on_days(
    severity: str, code: str, at: str, days: pd.Series[bool], *, text: str = "", **values: Any
) -> Iterator[Finding]:
    """The finding, if there is such a day."""
    if days.any():
        yield _finding(severity, code, at, days, text=text, **values)


def _text_if_empty(text: str, season: Season, valve: str, days: pd.Series[bool]) -> str:
    """Other words where the valve stood open without water on such a day or before: more pan or emitters only take more."""
    starved = season.controllers[valve]["starved_hours"].gt(0.0).cummax()
    on_tank = season.scenario.controller[valve].supply in season.tanks
    return f"{text}-empty" if on_tank and (starved & days).any() else text


def _outside(days: pd.Series[bool]) -> str:
    return "" if days.any() else str(_TEXTS["outside"])


def _of_supplies(scenario: Scenario) -> Iterator[Finding]:
    used = {controller.supply for controller in scenario.controller.values()}
    used |= {(float_source(scenario, name) or "").split(" / ")[0] for name in scenario.supply}
    yield from (_finding("note", "unused-supply", name) for name in scenario.supply if name not in used)


def _of_keys(scenario: Scenario) -> Iterator[Finding]:
    """Keys that nothing goes by as the rest of the garden is described, or that say of one water two things."""
    for name, controller in scenario.controller.items():
        pan, valve = controller.pan, controller.valve
        unused: list[tuple[str, Any, str, bool, str]] = [
            (name, pan, "ground_albedo", pan.evaporation != "energy-balance", 'evaporation = "energy-balance"'),
            (name, valve, "rated_loss", valve.rated_flow is None, "rated_flow"),
        ]
        for key, bed in controller.bed.items():
            dry = bed.method != "dual" and bed.wetting_interval is None
            unused += [
                (f"{name}/{key}", bed, "wetted_fraction", dry, 'method = "dual" or a wetting_interval'),
                (f"{name}/{key}", bed, "wetting_depth", bed.wetting_interval is None, "wetting_interval"),
                (f"{name}/{key}", bed, "antecedent", bed.curve_number is None, "curve_number"),
            ]
            salinity = scenario.supply[controller.supply].salinity
            if bed.leaching and salinity is not None and abs(bed.leaching.water - salinity) > SALT_APART * salinity:
                at, supply = f"{name}/{key}", controller.supply
                yield _finding("note", "two-waters", at, leaching=bed.leaching.water, supply=supply, salinity=salinity)
        for at, part, key, is_unused, other in unused:
            if is_unused and key in part.model_fields_set:
                yield _finding("note", "unused-key", at, key=key, other=other)


def _of_figures(scenario: Scenario) -> Iterator[Finding]:
    """Figures that can be and that a gardener would ask about."""
    end = scenario.season.end
    if texts := [*_beyond("weather", scenario.weather)]:
        yield _finding("caution", "unlikely", "weather", what=words.joined(", ", texts))
    for name, controller in scenario.controller.items():
        unlikely = {name: [*_beyond("pan", controller.pan), *_beyond("refill", controller.valve.refill)]}
        for key, bed in controller.bed.items():
            at, soils = f"{name}/{key}", getattr(bed.soil, "layers", [bed.soil])
            parts: list[tuple[str, Any]] = [("bed", bed), ("leaching", bed.leaching), ("emitters", bed.emitters)]
            parts += [("soil", soil) for soil in soils]
            unlikely[at] = [text for kind, part in parts for text in _beyond(kind, part)]
            for part in getattr(bed, "plantings", None) or getattr(bed, "mix", [bed]):
                unlikely[at] += [*_beyond("plants", part.plants), *_unlike_table(part.plants)]
                if part.planted and part.planted > end and not _is_annual(part.plants):
                    dates = {"planted": words.day_said(part.planted), "end": words.day_said(end)}
                    yield _finding("note", "planted-later", at, **dates)
        for at, texts in unlikely.items():
            if texts:
                yield _finding("caution", "unlikely", at, what=words.joined(", ", dict.fromkeys(texts)))


def _beyond(kind: str, part: Any) -> Iterator[str]:
    """Say which of a part's figures lie beyond what gardens have."""
    for key, (least, most) in USUAL[kind].items():
        value = getattr(part, key, None)
        if value is not None and not least <= value <= most:
            bound, text = (least, "at least") if value < least else (most, "at most")
            form = f"{_AS.get(key, '')} g".strip()
            yield words.say(f"{key} = {{value:{form}}} ({text} {{bound:{form}}})", value=value, bound=bound)


def _unlike_table(plants: Any) -> Iterator[str]:
    """Say which own figures of a named plant are far from its table's."""
    if not isinstance(plants, NamedPlants):
        return
    table = find_plant(plants.name)
    pairs = [(key, getattr(plants, key), getattr(table, key)) for key in ("kc_ini", "kc_mid", "kc_end", "height")]
    pairs += [("days of stages", plants.stages and sum(plants.stages), table.stages and sum(table.stages))]
    for key, value, usual in pairs:
        if value is not None and usual and not usual / TIMES_TABLE <= value <= usual * TIMES_TABLE:
            form = f"{_AS.get(key, '')} g".strip()
            yield words.say(f"{key} = {{value:{form}}} (the table has {{usual:{form}}})", value=value, usual=usual)


def _is_annual(plants: Any) -> bool:
    return not isinstance(plants, NamedPlants) or find_plant(plants.name).kind == "annual"


def _of_weather(season: Season) -> Iterator[Finding]:
    days, made = season.days, season.scenario.what_if.heat
    for text in season.weather.doubts:
        yield Finding("danger", "other-place", "weather", f"{text[0].upper()}{text[1:]}.")
    for caution in season.weather.cautions:
        # a file's dates are ISO 8601; a season's sentences have its own
        yield Finding("caution", caution.name, "weather", _caution_said(caution.sentence, caution.worth))
    eto = days["eto_mm"]
    yield from _on_days("note", "negative-eto", "weather", eto < 0.0, lowest=eto.min())
    yield from _on_days("caution", "frost", "weather", days["tmin_c"] < FROST, lowest=days["tmin_c"].min())
    if made is not None:
        hot = season.weather.flags.loc[days.index, "tmax"] == MADE_HEAT
        yield _finding("caution", "made-heat", "weather", hot, what=heat.said(made), outside=_outside(hot))
    if season.weather.provenance.get("typical"):
        yield _finding("caution", "typical-year", "weather", pd.Series(True, index=days.index))
    filled: dict[tuple[str, int], list[str]] = {}  # columns that one method filled on as many days share a finding
    for column, methods in season.totals["weather"]["filled"].items():
        for how_often in methods.items():
            filled.setdefault(how_often, []).append(column)
    for (method, count), columns in filled.items():
        if method == MADE_HEAT:
            continue
        total = count >= len(days)
        often = "every day" if total else f"{count} of {len(days)} days"
        how = "borrowed" if is_borrowed(method) else "dry" if method == flags.ZERO_RAIN else "estimated"
        text = f"filled-{how}{'-whole' if total else ''}"
        message, cure = _texts(text, column=", ".join(columns), often=often, method=flags.said(method))
        first = f"{days.index[0]:%Y-%m-%d}" if total else None
        yield Finding("caution" if total else "note", "filled", "weather", message, first, count, cure)


@words.in_both
def _caution_said(sentence: str, worth: str) -> str:
    sentence = re.sub(r"\b\d{4}-\d{2}-\d{2}\b", lambda day: words.day_said(day[0]), str(sentence))
    return "; ".join(filter(None, (sentence, str(worth))))


def _of_faults(season: Season) -> Iterator[Finding]:
    """Say which of the scenario's faults are on, so that nobody takes the season for a sound garden's."""
    dates = pd.DatetimeIndex(season.days.index)
    for fault in season.scenario.fault:
        days = pd.Series(faults.fault_days(fault, dates), index=dates)
        severity, where = "caution" if days.any() else "note", faults.fault_where(fault, season.scenario)
        yield _finding(
            severity, "fault", where, days, what=faults.fault_said(fault), outside=_outside(days) or _TEXTS["held"]
        )


def _of_pan(season: Season, name: str) -> Iterator[Finding]:
    table, totals = season.controllers[name], season.totals["controllers"][name]
    model, forcing = season.scenario.controller[name].pan.evaporation, season.forcing.pan_of[name]
    pans, row = season.forcing.pans, list(season.controllers).index(name)
    low_rim = pd.Series(pans.rim[row] < pans.swing[row], index=table.index)
    stuck, dry, spilled = (table[column] > 0.0 for column in ("stuck_hours", "dry_hours", "spilled_kg"))
    at_rim, over_rim = (float(table[column][low_rim].sum()) for column in ("stuck_hours", "spilled_kg"))
    held = totals["stuck_open_hours"] - at_rim
    flow = table["litres"] / (table["open_hours"] - table["starved_hours"])  # L/h, a tank's as its head falls
    for severity, code, days, hours in (
        ("danger" if held > STUCK_HOURS_DANGER else "caution", "stuck-open", stuck & ~low_rim, held),
        ("danger", "stuck-at-rim", stuck & low_rim, at_rim),
    ):
        litres = words.litres(float((table["stuck_hours"] * flow)[days].sum()))
        yield from _on_days(severity, code, name, days, hours=words.hours(hours), litres=litres)
    yield from _of_want(season, name, "dry-pan", "dry_hours", _text_if_empty("dry-pan", season, name, dry))
    kilograms = words.kilograms(totals["spilled_kg"] - over_rim)
    yield from _on_days("note", "spill", name, spilled & ~low_rim, kilograms=kilograms)
    hourly = hourly_evaporation(season.forcing, row, table["pan_mm"].to_numpy())
    noon = float(np.quantile(hourly[:, _NOON], HOT_DAY_SHARE))
    if forcing.refill_flow <= noon:
        yield _finding("caution", "weak-refill", name, refill=forcing.refill_flow, noon=noon)
    coefficient = forcing.coefficient
    if model == "from-eto":
        for driver, mask in (("wind", coefficient.wind_bounded), ("humidity", coefficient.humidity_bounded)):
            bounded, count = pd.Series(mask != 0, index=table.index), int(np.count_nonzero(mask))
            if count > BOUND_SHARE * len(table):
                yield _finding("note", "pan-table-bounds", name, bounded, count=count, total=len(table), driver=driver)
        if coefficient.fetch_bounded:
            yield _finding("note", "pan-table-bounds", name, text="pan-table-fetch")
    chosen = float(forcing.evaporation[model].sum())  # without faults, as the other model is
    for other, values in forcing.evaporation.items():
        lost = float(values.sum())
        if other != model and chosen > 0.0 and abs(lost / chosen - 1.0) > MODELS_APART:
            difference = ("+" if lost > chosen else "") + words.percent(lost / chosen - 1.0)
            amounts = {"other": words.mm(lost), "chosen": words.mm(chosen)}
            yield _finding("note", "pan-model", name, model=other, difference=difference, **amounts)


def _of_want(season: Season, name: str, code: str, hours: str, text: str) -> Iterator[Finding]:
    """Hours on which valve or pan wanted for water: a danger while anything grows in the valve's beds, else a note."""
    beds = [season.beds[f"{name}/{bed}"] for bed in season.scenario.controller[name].bed]
    grows = np.any([table["growing"].to_numpy(bool) for table in beds], axis=0)
    for severity, spoken, of in (("danger", text, grows), ("note", f"{code}-idle", ~grows)):
        dry = season.controllers[name][hours].where(of, 0.0)
        yield from _on_days(severity, code, name, dry > 0.0, text=spoken, hours=words.hours(float(dry.sum())))


def _of_salt(season: Season, name: str) -> Iterator[Finding]:
    salt = season.totals["controllers"][name].get("salt")
    if salt is None:
        return
    shown: dict[str, Any] = {key: salt[key] for key in _SALT_SHOWN}
    shown |= {key: words.number(100.0 * salt[key], 1) for key in _SALT_SHARES}
    if salt["rinse_every_days"] is None:
        yield _finding("note", "salt", name, **shown)
    else:
        often, times = counted(salt["rinse_every_days"], "day"), counted(salt["rinses"], "time")
        shown |= {"often": often, "times": times, "limit": words.percent(MOST_DRIFT)}
        yield _finding("caution", "salt", name, text="salt-rinse", **shown)


def _of_valve(season: Season, name: str) -> Iterator[Finding]:
    table, totals = season.controllers[name], season.totals["controllers"][name]
    described, forcing = season.scenario.controller[name], season.forcing.pan_of[name]
    valve, flow, pressure = described.valve, forcing.valve_flow, forcing.pressure
    openings = season.openings[season.openings["controller"] == name]
    all_days, most = pd.Series(True, index=table.index), int(table["openings"].max())
    never = totals["openings"] == 0 and totals["open_hours"] == 0.0
    yield from _on_days("danger", "never-opened", name, all_days & never)
    yield from _on_days("note", "open-at-end", name, all_days.iloc[-1:] & bool(openings["end_h"].isna().any()))
    often, supply = table["openings"] > OPENINGS_A_DAY, season.scenario.supply[described.supply]
    yield from _of_want(season, name, "no-water", "starved_hours", f"no-water-{supply.kind}")
    whole = openings[openings["end_h"].notna()]
    if len(whole) and float(whole["minutes"].median()) < SHORT_OPENING:
        yield _finding("caution", "short-openings", name, minutes=SHORT_OPENING)
    yield from _on_days("caution", "many-openings", name, often, limit=OPENINGS_A_DAY, most=most)
    if valve.rated_flow is not None and flow > valve.rated_flow:
        yield _finding("caution", "over-rating", name, flow=flow, rated=valve.rated_flow)
    full = most_static(supply)
    if described.pipe is not None and pressure < (1.0 - PIPE_TAKES) * full:
        pipe: dict[str, Any] = {"long": described.pipe.length, "wide": 100.0 * described.pipe.diameter}
        yield _finding("caution", "pipe-takes", name, full=full, pressure=pressure, **pipe)
    if valve.least_pressure is not None and pressure < valve.least_pressure:
        text = f"low-pressure-{supply.kind}"
        least, higher = valve.least_pressure, (valve.least_pressure - pressure) / KPA_PER_M
        yield _finding("danger", "low-pressure", name, text=text, pressure=pressure, least=least, higher=higher)
    parts = {"the pan": valve.refill, **{bed: part.emitters for bed, part in described.bed.items()}}
    if far := {part: e.at for part, e in parts.items() if e.at is not None and pressure < e.at / FAR_BELOW_PRINT}:
        yield _finding("note", "far-below-print", name, names=", ".join(far), at=min(far.values()), pressure=pressure)
    if pressure > MOST_PRESSURE:
        yield _finding("caution", "high-pressure", name, pressure=pressure, most=MOST_PRESSURE)


def _of_bed(season: Season, key: str) -> Iterator[Finding]:
    totals, table = season.totals["beds"][key], season.beds[key]
    quarter, mean = totals["driest_quarter"], totals["stress_days"]
    short, idle = short_of_water(table), ~table["growing"]
    if short.any():
        share, run = quarter["adequacy"], quarter["longest_stress_days"]
        grave = totals["adequacy"] < ADEQUACY_DANGER or totals["longest_stress_days"] >= STRESS_RUN_DANGER
        severity = "danger" if grave else "caution" if share < ADEQUACY_CAUTION else "note"
        days = int(short.sum())
        where = f"{counted(mean, 'day')} on average over the bed, {days}" if mean else counted(days, "day")
        uses = f", where the plants could use {words.percent(share)} of what they would have"
        loss = uses if share < _NEARLY_ALL else ""
        dates = pd.DatetimeIndex(season.days.index)
        at_fault = any(faults.fault_days(fault, dates).any() for fault in season.scenario.fault)
        faulty = "short-of-water-fault" if at_fault else ""  # which may well be why
        text = faulty or _text_if_empty("short-of-water", season, key.split("/")[0], short)
        yield _finding(severity, "short-of-water", key, short, text=text, where=where, run=run, loss=loss)
    # what drains while the bed gets far more than it needs is the valve's doing, not the rain's
    given, needed, drained = (totals[f"{name}_mm"] for name in ("irrigation_growing", "net_demand", "drained_growing"))
    if table["growing"].any() and given > DROWNED_TIMES * needed and drained > DROWNED_SHARE * given:
        wet = (table["deep_percolation_mm"] > 0.0) & table["growing"]
        amounts = {"given": words.mm(given), "needed": words.mm(needed), "drained": words.mm(drained)}
        grave = given >= DROWNED_DANGER * needed and given - needed >= DROWNED_MM
        severity, text = ("danger", "too-wet-by-far") if grave else ("caution", "too-wet")
        yield _finding(severity, "too-wet", key, wet, text=text, **amounts)
    flood = table["irrigation_mm"] > FLOOD
    if flood.any():
        part = season.scenario.controller[key.split("/")[0]].bed[key.split("/")[1]]
        most = words.mm(float(table["irrigation_mm"].max()))
        values: dict[str, Any] = {"count": part.emitters.count, "flow": part.emitters.flow, "area": part.area}
        yield _finding("caution", "flood", key, flood, most=most, limit=words.mm(FLOOD), **values)
    yield from _of_bare_days(season, key, idle)


def _of_bare_days(season: Season, key: str, idle: pd.Series[bool]) -> Iterator[Finding]:
    """Days on which nothing grows; most of a season is more than a note where a date of planting tells why."""
    bare, (valve, bed) = words.mm(season.totals["beds"][key]["etc_bare_mm"]), key.split("/")
    planted = getattr(season.scenario.controller[valve].bed[bed], "planted", None)
    last = idle.index[-1].date()
    if idle.all() and planted and planted > last and planted.year == last.year:
        text = {"text": "not-yet-growing", "planted": words.day_said(planted)}
        yield _finding("caution", "never-growing", key, idle, **text)
        return
    if idle.all() or planted is None or idle.mean() <= BARE_CAUTION:
        severity, code = ("caution", "never-growing") if idle.all() else ("note", "not-growing")
        yield from _on_days(severity, code, key, idle, bare=bare)
        return
    other = planted.replace(month=planted.day, day=planted.month) if planted.day <= MONTHS else planted
    inside = idle.index[0].date() <= other <= last and other != planted
    meant = words.say(str(_TEXTS["exchanged"]), meant=other) if inside else ""
    yield _finding("caution", "not-growing", key, idle, text="mostly-bare", bare=bare, planted=planted, meant=meant)


def _of_evenness(season: Season) -> Iterator[Finding]:
    """Beds on one valve that want different amounts can't all be right."""
    for name, described in season.scenario.controller.items():
        beds = {bed: season.totals["beds"][f"{name}/{bed}"] for bed in described.bed}
        ratios = {bed: of["supply_over_demand"] or 0.0 for bed, of in beds.items() if of["net_demand_mm"] > 0.0}
        if len(ratios) < 2:
            continue
        least, most = (choose(ratios, key=ratios.__getitem__) for choose in (min, max))
        if ratios[most] > DROWNED_TIMES * max(ratios[least], 1e-9):
            shares = {"more": words.percent(ratios[most]), "less": words.percent(ratios[least])}
            yield _finding("caution", "uneven", name, most=most, least=least, **shares)
