"""
Method: how a statement was determined, and its limits, in sentences whose fixed words stand in ``texts.toml``.
"""

from collections.abc import Iterator

from panbudget.reports.pages import texts
from panbudget.reports.statement.origins import covered_said, first_day_said, weather_said
from panbudget.scenario.pans import WeighedValve
from panbudget.scenario.supplies import Mains
from panbudget.scenario.uncertainty import Uncertainty
from panbudget.season.faults import fault_assumptions
from panbudget.studies.ranges import ranges_of
from panbudget.studies.statement.account import Statement
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS
from panbudget.weather import flags
from panbudget.words import filled, number, written


def method_lines(statement: Statement) -> dict[str, str]:
    """
    Say how a statement was determined, and its limits.

    Returns
    -------
    dict
        Heading -> text.
    """
    fixed = texts("statement")["method"]
    season, default = statement.season, Uncertainty.model_validate({})
    rules = season.scenario.uncertainty
    gaps, days = season.totals["weather"]["filled"], season.totals["season"]["days"]
    ways = ((column, *way) for column, of_column in gaps.items() for way in of_column.items())
    columns = (f"{column} on {number(n)} ({flags.said(method)})" for column, method, n in ways)
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
    elif "ft" in symbols or "ccf" in symbols:
        yield fixed["foot"]
    if "ccf" in symbols:
        yield fixed["ccf"]
    yield fixed["rounding"]
