"""
Statement page: a statement as page, PDF, CSV and JSON, with the season that it was made from beside it.

Every number of `statement.json` says where in `season.json` it comes from, or how it follows. Same inputs, same bytes.
"""

import io
from collections.abc import Mapping
from typing import Any

import pandas as pd

from panbudget.files import json_bytes, write_csv
from panbudget.reports.pages import texts
from panbudget.reports.season.files import daily_table, openings_table
from panbudget.reports.statement.method import method_lines
from panbudget.reports.statement.origins import first_day_said, weather_kind, weather_said
from panbudget.reports.statement.pdf import statement_pdf
from panbudget.reports.statement.sheet import season_fingerprint, statement_sentences, statement_sheet
from panbudget.reports.writing import Verb, as_json
from panbudget.season.result import Season
from panbudget.season.supplies import float_source
from panbudget.studies.ranges import ranges_of
from panbudget.studies.statement.account import Account, Statement
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS
from panbudget.words import filled

_CSV_COLUMNS = [
    *("source", "holder", "reference", "water_year", "month", "from", "to", "days_of_use", "unit", "modelled"),
    *("metered", "reported", "basis", "metered_days", "licensed", "headroom", "modelled_litres", "metered_litres"),
    *("reported_litres", "range_low_litres", "range_high_litres"),
]
_PAPERS = ("holder", "reference", "point_of_diversion", "purpose")
_OF_METER = ("days", "metered", "modelled", "interval", "accuracy", "agrees", "ratio")
_GIVEN = ("address", "priority_date", "source_kind", "coordinates", "place_of_use", "attestation")


def months_table(statement: Statement) -> pd.DataFrame:
    """
    Return a statement's months: one row a month and source.

    Returns
    -------
    DataFrame
        Printed volumes in the form's unit (they add up as printed), then litres in full. ``basis`` says what is
        reported, as `Ledger` has it. Empty where there is none.
    """
    parts = []
    for account in statement.accounts:
        ledger, papers = account.ledger, account.source.papers
        about = {"source": account.source.name, "holder": papers.holder, "reference": papers.reference}
        licensed = "" if ledger.licensed is None else f"{ledger.licensed:f}"
        months = ledger.months.assign(**about, unit=ledger.unit.key, licensed=licensed)
        for name in ("modelled", "metered", "reported", "headroom"):
            months[name] = ["" if value is None else f"{value:f}" for value in months[name]]
        parts.append(months[_CSV_COLUMNS])
    return pd.concat(parts, ignore_index=True)


def statement_totals(statement: Statement) -> dict[str, Any]:
    """
    Return what `statement.json` holds beside schema, title, provenance and the fingerprint of `season.json`.

    Returns
    -------
    dict
        Litres, L/h and m² in full; ``printed`` figures in the form's unit; under ``from`` the place in `season.json`.
    """
    rules, season = statement.season.scenario.uncertainty, statement.season
    return {
        "notice": texts("statement")["estimate"],
        "weather": {
            "taken_from": season.weather.provenance["file"],
            "says_of_itself": season.weather.provenance["says"],
            "kind": weather_kind(statement),
            "sentence": weather_said(statement),
        },
        "first_day": first_day_said(statement),
        "variant": statement.variant or None,
        "season": season.totals["season"],
        "sources": {account.source.name: _source(account, season) for account in statement.accounts},
        "range": {
            "samples": statement.samples,
            "seed": rules.seed,
            "interval": rules.interval,
            "drawn": "evenly within factors",
            "factors": ranges_of(season.scenario),
        },
        "method": method_lines(statement),
        "findings": statement.findings,
        "readings": [{"file": r.file, "sha256": r.sha256, "events": r.events} for r in statement.readings],
    }


def _source(account: Account, season: Season) -> dict[str, Any]:
    ledger, source, right, papers = account.ledger, account.source, account.source.right, account.source.papers
    rate_unit, area_unit = RATE_UNITS[right.rate_unit], AREA_UNITS[right.area_unit]
    (peak_day, peak), outside, beds = ledger.peak, ledger.outside, account.beds[account.beds["bed"] != ""]
    crops = beds.groupby("crop", sort=False)[["area_m2", "applied"]].sum().rename(columns={"applied": "litres"})
    meter = season.scenario.supply[source.supply].meter
    given = {name: text for name in _GIVEN if (text := getattr(papers, name))}
    return {
        "supply": source.supply,
        "right_described": source.described,
        **{name: getattr(papers, name) for name in _PAPERS},
        **given,
        "meter_described": None if meter is None else meter.model_dump(mode="json", exclude_unset=True),
        "water_year_start": right.water_year_start,
        "unit": {"key": ledger.unit.key, "exact": ledger.unit.factor_text("L"), "decimals": ledger.decimals},
        "litres": ledger.litres,
        "reported_litres": ledger.reported_litres,
        "reported_interval_litres": account.interval,
        "printed": {"modelled": ledger.modelled, "reported": ledger.reported},
        "days_of_use": ledger.days_of_use,
        "peak_day": {"date": peak_day, "litres": peak},
        "largest_rate": {
            "l_per_h": account.rate,
            "in_unit": float(rate_unit.exact(account.rate)),
            "unit": rate_unit.key,
            "first": account.rate_date or None,
        },
        "area": {"m2": account.area, "in_unit": float(area_unit.exact(account.area)), "unit": area_unit.key},
        "water_years": [_year(account, label) for label in ledger.years.index],
        "licence": {
            "litres": papers.volume,
            "l_per_h": papers.rate,
            "area_m2": papers.area,
            "season": None if papers.season is None else papers.season.model_dump(mode="json"),
            "days_outside": len(outside),
            "litres_outside": float(outside.sum()),
            "first_outside": f"{outside.index[0]:%Y-%m-%d}" if len(outside) else None,
        },
        "beds": [_bed(bed, season) for bed in account.beds.to_dict("records")],
        "crops": crops.to_dict("index"),
        "tanks": {
            name: {**tank, "change_l": tank["end_l"] - tank["start_l"], "float_on": float_source(season.scenario, name)}
            for name, tank in account.tanks.items()
        },
        "meter": account.metered and {name: getattr(account.metered, name) for name in _OF_METER},
        "readings": [
            {"date": part.shown, "counter": part.text, "litres": part.litres, "event": part.row["event"]}
            for part in account.readings
        ],
        "from": _origin(account),
    }


def _origin(account: Account) -> dict[str, Any]:
    """Where in `season.json` a source's numbers come from, or how they follow."""
    floats = [f"supplies.{name}.tank.topped_l" for name in account.source.floats]
    shares = [(name, share) for name, share in account.source.shares.items() if "/" not in name]
    litres, pans = (
        " + ".join(
            [f"{share:.12g} × controllers.{name}.{what}" for name, share in shares if share or what == "litres"] + more
        )
        for what, more in (("litres", floats), ("refilled_kg", []))
    )
    origin = texts("statement")["origin"]["whole" if account.source.is_whole_supply and not floats else "shared"]
    beds = {bed: f"beds.{bed}.litres" for bed in account.beds["bed"] if bed}
    return {**filled(origin, {"supply": account.source.supply, "litres": litres}), "beds": {**beds, "pans": pans}}


def _year(account: Account, label: str) -> dict[str, Any]:
    months, year = account.ledger.months, account.ledger.years.loc[label]
    return {
        "label": label,
        "litres": year["modelled_litres"],
        "reported_litres": year["reported_litres"],
        "printed": {name: year[name] for name in ("modelled", "metered", "reported")},
        "basis": year["basis"] or None,
        "share_used": year["share_used"],
        "exceeded_on": year["exceeded_on"],
        "months": {
            month["month"]: {
                **{name: month[name] for name in ("from", "to", "days_of_use")},
                "litres": month["modelled_litres"],
                "interval_litres": [month["range_low_litres"], month["range_high_litres"]],
                **{name: month[name] for name in ("metered_litres", "reported_litres", "basis", "metered_days")},
                "printed": {name: month[name] for name in ("modelled", "metered", "reported", "headroom")},
            }
            for month in months[months["water_year"] == label].to_dict("records")
        },
    }


def _bed(bed: Mapping[Any, Any], season: Season) -> dict[str, Any]:
    """One bed's part, or the pans'; beside the fate of its applied water, what rain and applied water did together."""
    if not bed["bed"]:
        return {**bed, "bed": None}
    totals, area = season.totals["beds"][bed["bed"]], bed["area_m2"]
    with_rain = {"deep_percolation_with_rain": "deep_percolation_mm", "runoff_of_rain": "runoff_mm"}
    return {**bed, **{name: totals[total] * area for name, total in with_rain.items()}}


def _csv(statement: Statement) -> bytes:
    """`statement.csv`: what it is, and where its weather is from, then `months_table`."""
    text = io.StringIO()
    for line in (texts("statement")["estimate"], f"Weather: {weather_said(statement)}"):
        text.write(f"# {' '.join(line.split())}\n")
    write_csv(months_table(statement), text)
    return text.getvalue().encode()


def _sealed(statement: Statement) -> bytes:
    """`statement.json`, which names the `season.json` beside it."""
    return json_bytes({**as_json(statement), "season_json_sha256": season_fingerprint(statement)})


VERB = Verb(
    "statement",
    statement_sentences,
    lambda statement, figures: statement_sheet(statement),
    statement_totals,
    tables={
        "daily.csv": lambda statement: daily_table(statement.season),
        "openings.csv": lambda statement: openings_table(statement.season),
    },
    files={
        "season.json": lambda statement: json_bytes(as_json(statement.season)),
        "statement.json": _sealed,
        "statement.csv": _csv,
        "statement-a4.pdf": lambda statement: statement_pdf(statement_sheet(statement), "A4"),
        "statement-letter.pdf": lambda statement: statement_pdf(statement_sheet(statement), "Letter"),
    },
    of=lambda statement: statement.season,
)
