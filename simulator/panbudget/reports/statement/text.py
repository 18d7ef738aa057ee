"""
Text: what a statement says in words: what it is, how it was determined, over what it doubts itself, how it rounds.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from panbudget.scenario.garden import WeighedValve
from panbudget.scenario.rights import StatementRules
from panbudget.scenario.supplies import Mains
from panbudget.studies.statement.account import Account, Statement
from panbudget.studies.statement.rounding import printed, rounded
from panbudget.studies.statement.units_of_form import FormUnit
from panbudget.words import number, percent

__all__ = [
    "ESTIMATE",
    "TITLE",
    "amount",
    "area_text",
    "factor_text",
    "method_lines",
    "rate_text",
    "volume_text",
]

TITLE = "Statement of water drawn"
ESTIMATE = (
    "An estimate, prepared by the user of the water; not certified. The authority's own method, its rules for meters "
    "and the terms of the licence prevail over everything said here."
)
_TABLE_PLACES = 6  # decimals of a factor that has no end


def amount(digits: int | None, decimals: int) -> str:
    """Write a count of last digits: "45.51"; a dash where there is none."""
    return "–" if digits is None else number(float(printed(digits, decimals)), decimals)


def volume_text(litres: float, account: Account) -> str:
    """Write litres in the form's unit: "45.51 m³"."""
    unit, decimals = account.ledger.unit, account.ledger.decimals
    return f"{amount(rounded(unit.exact(litres), decimals), decimals)}\u00a0{unit.symbol}"


def rate_text(litres_an_hour: float, unit: FormUnit) -> str:
    """Write a rate in the form's unit: "0.119 L/s"."""
    return f"{amount(rounded(unit.exact(litres_an_hour), unit.decimals), unit.decimals)}\u00a0{unit.symbol}"


def area_text(square_metres: float, unit: FormUnit) -> str:
    """Write an area in the form's unit: "71.0 m²"."""
    return f"{amount(rounded(unit.exact(square_metres), unit.decimals), unit.decimals)}\u00a0{unit.symbol}"


def factor_text(unit: FormUnit, base: str) -> str:
    """
    Write a unit's exact size.

    Examples
    --------
    >>> from panbudget.studies.statement.units_of_form import VOLUME_UNITS
    >>> factor_text(VOLUME_UNITS["gal"], "L").replace("\\u00a0", " ")
    '1 US gal = 3.785411784 L exactly'
    """
    size = unit.size
    if _ends(size):
        exact = Decimal(size.numerator) / Decimal(size.denominator)
        return f"1 {unit.symbol} = {exact.normalize():f}\u00a0{base} exactly"
    return f"1 {unit.symbol} = {float(size):.{_TABLE_PLACES}f}…\u00a0{base}, reckoned with the exact fraction"


def _ends(value: Fraction) -> bool:
    """Whether a fraction has a last decimal."""
    rest = value.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return rest == 1


def method_lines(statement: Statement) -> list[tuple[str, str]]:
    """
    Say how a statement was determined, and its limits.

    Parameters
    ----------
    statement : Statement

    Returns
    -------
    list of (str, str)
        Heading and text.
    """
    lines = [
        ("Determination", _determination(statement)),
        ("Measured", _listed(_measured(statement))),
        ("Assumed", _listed(_assumed(statement))),
        ("Days filled", _filled(statement)),
        ("Range", _range(statement)),
        (
            "Consumption",
            "Root zones and pans are taken as well mixed: of what leaves one on a day, applied water has the part that "
            "it has of what is in there. Rain, and water there on the first day, are not applied water. Drip does not "
            "run off, so runoff of applied water is none; what rain drained and ran off is in season.json. These columns are "
            "of the modelled litres, metered or not.",
        ),
        ("Units and rounding", _units(statement)),
    ]
    return lines


def _listed(parts: Iterator[str]) -> str:
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}."


def _determination(statement: Statement) -> str:
    text = (
        "Modelled from daily weather: a pan's evaporation sets when its valve opens and shuts; the water drawn is the "
        "hours open × the flow of all emitters on that valve, the one that refills the pan among them. "
        "Days run from midnight to midnight by the sun."
    )
    if any(month.metered is not None for account in statement.accounts for month in account.ledger.months):
        text += (
            " Months marked metered lie whole between readings of a meter; there the metered figure is reported and "
            "the modelled one stands beside it. Of a month metered in part (METERED 29/30: 29 of its 30 days), what the "
            "meter counted is reported with what the model has for the days, and parts of days, outside the readings. "
            "A reading without a time of day is taken at the start of its day: one taken at the end of the last day is written 24:00. "
            "Days share metered water as the model has it. A meter's own error is not in any range."
        )
    split = {account.source.supply: account.ledger.split_stretches for account in statement.accounts}
    stretches = sum(split.values())
    if stretches:
        text += (
            f" Stretches between readings that run over a month's end ({number(stretches)} here) are split in proportion "
            "to the modelled days, evenly in time where the model draws nothing or beyond the season."
        )
    area = statement.season.scenario.statement.split == "area"
    if any(not account.source.is_whole_supply for account in statement.accounts):
        by = "area (beds' lines are scaled to it)" if area else "emitter flow as described"
        text += f" A valve whose beds have different rights is split between them by the beds' {by}."
    return text


def _measured(statement: Statement) -> Iterator[str]:
    season = statement.season
    yield f"weather of {season.weather.provenance['file']}, but for what is filled"
    for name, controller in season.scenario.controller.items():
        if isinstance(controller.valve, WeighedValve):
            yield f"swing of {name}, by two weighings"
        if controller.valve.refill.at is None:
            yield f"refill flow of {name}, in place"
        if controller.pan.evaporation == "measured":
            yield f"pan evaporation of {name}, a column of the weather file"
        in_place = [bed for bed, described in controller.bed.items() if described.emitters.at is None]
        if in_place:
            yield f"emitter flow of {name}: {', '.join(in_place)}, in place"
    for readings in statement.readings:
        yield f"meter readings of {readings.file}" + (f" ({'; '.join(readings.events)})" if readings.events else "")


_MODELS = {
    "from-eto": "FAO-56 reference ET ÷ the Class A pan coefficient",
    "energy-balance": "the pan's energy balance",
    "measured": "measured",
}


def _assumed(statement: Statement) -> Iterator[str]:
    scenario = statement.season.scenario
    reckoned: dict[tuple[str, float], list[str]] = {}
    for name, controller in scenario.controller.items():
        reckoned.setdefault((controller.pan.evaporation, controller.pan.exposure), []).append(name)
    for (model, exposure), names in reckoned.items():
        if model != "measured" or exposure != 1.0:
            yield f"pan evaporation of {', '.join(names)}: {_MODELS[model]}, exposure {exposure:g}"
    by_packet = any(
        emitter.at is not None
        for controller in scenario.controller.values()
        for emitter in (controller.valve.refill, *(bed.emitters for bed in controller.bed.values()))
    )
    if by_packet:
        yield "flows by the emitters' packets and pressures"
    for name, supply in scenario.supply.items():
        if isinstance(supply, Mains):
            yield f"pressure of {name} {number(supply.pressure)}\u00a0kPa all season"
    faults = [line for line in statement.season.assumptions if line.startswith("fault, ")]
    yield from faults
    other = "no other leak or clogging" if faults else "no leak, no clogging"
    yield f"weather at the garden as in the file; {other}, nothing else drawn on the line"


def _filled(statement: Statement) -> str:
    season = statement.season
    filled = season.totals["weather"]["filled"]
    if not filled:
        return f"None of {season.totals['season']['days']} days had to have weather filled in."
    parts = [
        f"{column} on {number(days)} ({method})"
        for column, methods in filled.items()
        for method, days in methods.items()
    ]
    return f"Of {season.totals['season']['days']} days, weather was filled in: {'; '.join(parts)}."


def _range(statement: Statement) -> str:
    rules = statement.season.scenario.statement
    default = StatementRules.model_validate({})

    def said(name: str, label: str) -> str:
        low, high = getattr(rules, name)
        own = "" if (low, high) != getattr(default, name) else " (default)"
        return f"{label} × {low:g} to {high:g}{own}"

    parts = (
        said("exposure", "evaporation of all pans together"),
        said("refill_flow", "each refill emitter's flow"),
        said("emitter_flow", "each bed's emitter flow"),
        said("pressure", "each supply's pressure"),
    )
    return (
        f"The season was run {number(statement.samples)} times, each factor drawn evenly within its range "
        f"(seed {rules.seed}): {'; '.join(parts)}. The range given holds the middle {percent(rules.interval)} of those "
        "seasons. It is no statistical proof: it says what the stated doubts come to, and no others. Defaults are "
        "common practice, no source."
    )


def _units(statement: Statement) -> str:
    from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS

    said: dict[str, None] = {}
    for account in statement.accounts:
        right = account.source.right
        for unit, base in (
            (account.ledger.unit, "L"),
            (RATE_UNITS[right.rate_unit], "L/h"),
            (AREA_UNITS[right.area_unit], "m²"),
        ):
            if unit.size != 1:
                said[factor_text(unit, base)] = None
    text = "; ".join(said) + " (NIST SP 811, 2008). " if said else ""
    joined = " ".join(said)
    if "acre" in joined:
        text += (
            "The US survey foot (1200/3937 m), by which SP 811 has an acre-foot of 1233.489 m³, was retired at the end "
            "of 2022; units marked survey use it, all others the foot of 0.3048 m. They differ by six millionths. "
        )
    elif "ft³" in joined or "ccf" in joined:
        text += "The foot is 0.3048 m. "
    if "ccf" in joined:
        text += "1 ccf is a hundred cubic feet. "
    return text + (
        "A total is rounded once, half upwards; its parts are cut at the last printed digit and the digits missing go "
        "to those that lost most, so that parts add up to their total as printed. Reported totals, and the columns of "
        "consumption, are sums of what is printed."
    )
