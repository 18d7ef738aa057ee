"""
Files: a statement as HTML, PDF, CSV and JSON, with the season that it was made from beside it.

Every number of `statement.json` says where in `season.json` it comes from, or how it follows. Same inputs, same bytes.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.files import write_csv, write_json
from panbudget.reports.pages import render
from panbudget.reports.season.files import daily_table, openings_table, season_json
from panbudget.reports.statement.sheet import make_sheet
from panbudget.reports.statement.text import factor_text, method_lines
from panbudget.reports.writing import provenance
from panbudget.season.result import Season
from panbudget.studies.statement.account import Account, BedLine, Statement
from panbudget.studies.statement.rounding import printed
from panbudget.studies.statement.units_of_form import AREA_UNITS, RATE_UNITS

__all__ = ["months_table", "statement_html", "statement_json", "write_statement"]


def write_statement(statement: Statement, folder: Path) -> None:
    """
    Write a statement and its season into an empty folder.

    Parameters
    ----------
    statement : Statement
    folder : Path
    """
    from panbudget.reports.statement.pdf import statement_pdf

    season = statement.season
    write_json(season_json(season), folder / "season.json")
    write_csv(daily_table(season), folder / "daily.csv")
    write_csv(openings_table(season), folder / "openings.csv")
    fingerprint = hashlib.sha256((folder / "season.json").read_bytes()).hexdigest()
    write_json({**statement_json(statement), "season_json_sha256": fingerprint}, folder / "statement.json")
    write_csv(months_table(statement), folder / "statement.csv")
    made_from = (*_made_from(statement), ("season.json beside this, which holds every number, SHA-256", fingerprint))
    sheet = make_sheet(statement, made_from)
    (folder / "statement.html").write_text(
        render("statement.html.j2", title=sheet.title, sheet=sheet), encoding="utf-8"
    )
    (folder / "statement-a4.pdf").write_bytes(statement_pdf(sheet, "A4"))
    (folder / "statement-letter.pdf").write_bytes(statement_pdf(sheet, "Letter"))


def statement_html(statement: Statement) -> str:
    """
    Return the page, as a notebook may show it.

    Parameters
    ----------
    statement : Statement

    Returns
    -------
    str
        A whole page.
    """
    sheet = make_sheet(statement, _made_from(statement))
    return render("statement.html.j2", title=sheet.title, sheet=sheet)


def _made_from(statement: Statement) -> tuple[tuple[str, str], ...]:
    made = provenance(statement.season)
    return (
        ("panbudget", made["panbudget"]),
        ("scenario, SHA-256", made["scenario_sha256"]),
        (f"weather {made['weather']['file']}, SHA-256", made["weather_sha256"]),
        *((f"readings {readings.file}, SHA-256", readings.sha256) for readings in statement.readings),
    )


def months_table(statement: Statement) -> pd.DataFrame:
    """
    Return a statement's months: one row a month and source.

    Parameters
    ----------
    statement : Statement

    Returns
    -------
    DataFrame
        Printed volumes in the form's unit (they add up as printed), then litres in full. ``basis`` says what is
        reported: "modelled", "metered", or "metered in part" with the model for the rest. Empty where there is none.
    """
    rows = []
    for account in statement.accounts:
        ledger, papers = account.ledger, account.source.papers
        for year in ledger.years:
            for month in year.months:
                low, high = account.month_intervals[month.key]

                def number(digits: int | None, decimals: int = ledger.decimals) -> str:
                    return "" if digits is None else f"{printed(digits, decimals):f}"

                rows.append(
                    {
                        "source": account.source.name,
                        "holder": papers.holder,
                        "reference": papers.reference,
                        "water_year": year.label,
                        "month": month.key,
                        "from": month.first.isoformat(),
                        "to": month.last.isoformat(),
                        "days_of_use": month.days_of_use,
                        "unit": ledger.unit.key,
                        "modelled": number(month.modelled_printed),
                        "metered": number(month.metered_printed),
                        "reported": number(month.reported_printed),
                        "basis": month.basis,
                        "metered_days": month.metered_days,
                        "licensed": number(ledger.licence_printed),
                        "headroom": number(month.headroom_printed),
                        "modelled_litres": month.modelled,
                        "metered_litres": month.metered,
                        "reported_litres": month.reported,
                        "range_low_litres": low,
                        "range_high_litres": high,
                    }
                )
    return pd.DataFrame(rows)


def statement_json(statement: Statement) -> dict[str, Any]:
    """
    Return what `statement.json` holds, but for the fingerprint of `season.json`.

    Parameters
    ----------
    statement : Statement

    Returns
    -------
    dict
        Litres, L/h and m² in full; ``printed`` figures in the form's unit; under ``from`` the place in `season.json`.
    """
    rules = statement.season.scenario.statement
    return {
        "schema": 1,
        "title": statement.season.totals["title"],
        "variant": statement.variant or None,
        "season": statement.season.totals["season"],
        "sources": {account.source.name: _source(account, statement.season) for account in statement.accounts},
        "range": {
            "samples": statement.samples,
            "seed": rules.seed,
            "interval": rules.interval,
            "drawn": "evenly within factors",
            "factors": {
                name: list(getattr(rules, name)) for name in ("exposure", "refill_flow", "emitter_flow", "pressure")
            },
        },
        "method": dict(method_lines(statement)),
        "findings": [finding.as_dict() for finding in statement.findings],
        "readings": [{"file": r.file, "sha256": r.sha256, "events": list(r.events)} for r in statement.readings],
        "provenance": provenance(statement.season),
    }


def _source(account: Account, season: Season) -> dict[str, Any]:
    ledger, source, right = account.ledger, account.source, account.source.right
    unit, rate_unit, area_unit = ledger.unit, RATE_UNITS[right.rate_unit], AREA_UNITS[right.area_unit]
    papers = source.papers

    def digits(value: int | None) -> float | None:
        return None if value is None else float(printed(value, ledger.decimals))

    place = f"supplies.{source.supply}"
    shares = " + ".join(f"{share:.12g} × controllers.{name}.litres" for name, share in source.shares.items())
    return {
        "supply": source.supply,
        "right_described": source.described,
        "holder": papers.holder,
        "reference": papers.reference,
        "point_of_diversion": papers.point_of_diversion,
        "purpose": papers.purpose,
        "water_year_start": right.water_year_start,
        "unit": {"key": unit.key, "exact": factor_text(unit, "L"), "decimals": ledger.decimals},
        "litres": ledger.modelled,
        "reported_litres": ledger.reported,
        "reported_interval_litres": list(account.interval),
        "printed": {"modelled": digits(ledger.modelled_printed), "reported": digits(ledger.reported_printed)},
        "days_of_use": ledger.days_of_use,
        "peak_day": {"date": ledger.peak_day.isoformat(), "litres": ledger.peak_litres},
        "largest_rate": {
            "l_per_h": account.rate,
            "in_unit": float(rate_unit.exact(account.rate)),
            "unit": rate_unit.key,
            "first": account.rate_date or None,
        },
        "area": {"m2": account.area, "in_unit": float(area_unit.exact(account.area)), "unit": area_unit.key},
        "water_years": [
            {
                "label": year.label,
                "litres": year.modelled,
                "reported_litres": year.reported,
                "printed": {"modelled": digits(year.modelled_printed), "reported": digits(year.reported_printed)},
                "share_used": year.share_used,
                "exceeded_on": None if year.exceeded_on is None else year.exceeded_on.isoformat(),
                "months": {
                    month.key: {
                        "from": month.first.isoformat(),
                        "to": month.last.isoformat(),
                        "days_of_use": month.days_of_use,
                        "litres": month.modelled,
                        "interval_litres": list(account.month_intervals[month.key]),
                        "metered_litres": month.metered,
                        "reported_litres": month.reported,
                        "basis": month.basis,
                        "metered_days": month.metered_days,
                        "printed": {
                            "modelled": digits(month.modelled_printed),
                            "metered": digits(month.metered_printed),
                            "reported": digits(month.reported_printed),
                            "headroom": digits(month.headroom_printed),
                        },
                    }
                    for month in year.months
                },
            }
            for year in ledger.years
        ],
        "licence": {
            "litres": papers.volume,
            "l_per_h": papers.rate,
            "area_m2": papers.area,
            "season": None if papers.season is None else papers.season.model_dump(mode="json"),
            "days_outside": ledger.outside_days,
            "litres_outside": ledger.outside_litres,
            "first_outside": None if ledger.outside_first is None else ledger.outside_first.isoformat(),
        },
        "beds": [_bed(line, season) for line in account.beds],
        "crops": _crops(account),
        "meter": None
        if account.metered is None
        else {**asdict(account.metered), "interval": list(account.metered.interval), "agrees": account.metered.agrees},
        "from": {
            "litres": f"{place}.litres" if source.is_whole_supply else shares,
            "months": f"{place}.by_month" if source.is_whole_supply else "daily.csv, the same shares of each day",
            "peak_day": f"{place}.peak_day" if source.is_whole_supply else "daily.csv, the same shares of each day",
            "largest_rate": f"{place}.peak_rate_l_per_h" if source.is_whole_supply else "openings.csv",
            "beds": {
                **{line.key: f"beds.{line.key}.litres" for line in account.beds if line.key},
                "pans": " + ".join(
                    f"{s:.12g} × controllers.{name}.refilled_kg" for name, s in source.shares.items() if s
                ),
            },
        },
    }


def _bed(line: BedLine, season: Season) -> dict[str, Any]:
    """One bed's part, or the pans'; beside the fate of its applied water, what rain and applied water did together."""
    said = {"bed": line.key or None, "crop": line.crop, "area_m2": line.area, **asdict(line.fate)}
    if line.key:
        totals = season.totals["beds"][line.key]
        said["deep_percolation_with_rain"] = totals["deep_percolation_mm"] * line.area
        said["runoff_of_rain"] = totals["runoff_mm"] * line.area
    return said


def _crops(account: Account) -> dict[str, dict[str, float]]:
    """Beds of one crop added up."""
    found: dict[str, dict[str, float]] = {}
    for line in account.beds:
        if line.key:
            crop = found.setdefault(line.crop, {"area_m2": 0.0, "litres": 0.0})
            crop["area_m2"] += line.area
            crop["litres"] += line.fate.applied
    return found
