"""
Origins: where a statement's weather came from, by what its file says of itself; and in what state its first day began.

No file is called measured here: only what it says of itself is repeated.
"""

import datetime as dt
import re
from collections.abc import Iterator
from typing import Any

import pandas as pd

from panbudget.reports.pages import texts
from panbudget.studies.statement.account import Statement
from panbudget.studies.statement.ledger import year_starts
from panbudget.words import filled


def weather_kind(statement: Statement) -> str:
    """Return a key of `[weather.kinds]`: what a statement's weather is by its file's own account."""
    source, fixed = statement.season.weather.provenance, texts("statement")["weather"]
    if source.get("typical"):
        return "typical"
    if statement.scenario.what_if.heat is not None:
        return "invented"
    notes = " ".join(source["says"])
    by_words = (kind for kind, words in fixed["words"].items() if re.search(words, notes, re.IGNORECASE))
    return str(fixed["readers"].get(source["reader"]) or next(by_words, "unknown"))


def weather_mark(statement: Statement) -> str:
    """Return what stands across each page that prints; empty where the weather may have been."""
    return str(texts("statement")["weather"]["marks"].get(weather_kind(statement), ""))


def weather_said(statement: Statement) -> str:
    """Say where the weather was taken from, and what its file says of itself."""
    season, fixed = statement.season, texts("statement")["weather"]
    source = season.weather.provenance
    says = filled(fixed["says"], {"says": "; ".join(source["says"])}) if source["says"] else ""
    facts = {"file": source["file"], "says": says, "kind": fixed["kinds"][weather_kind(statement)]}
    valves = [name for name, part in season.scenario.controller.items() if part.pan.evaporation == "measured"]
    parts = [filled(fixed["taken"], facts)]
    parts += [filled(fixed["pan"], {"valves": ", ".join(valves)})] if valves else []
    parts += [fixed["heat"]] if season.scenario.what_if.heat is not None else []
    return " ".join(parts)


def first_day_said(statement: Statement) -> str:
    """Say in what state pans and soils were on the first day."""
    fixed, season = texts("statement")["first_day"], statement.season
    facts: dict[str, Any] = {"first": season.totals["season"]["start"], "file": season.weather.provenance["file"]}
    if not statement.is_cut:
        days = season.scenario.season.spin_up_days
        facts["spin_up"] = filled(fixed["spin_up"], {"days": days}) if days else ""
        return str(filled(fixed["described"], facts))
    text = fixed["goes_on" if statement.before else "unknown"]
    return str(filled(text, facts | {"start": statement.described_start}))


def covered_said(statement: Statement) -> Iterator[str]:
    """Say how much of each water year a statement covers, and how much of the rest its weather does."""
    fixed, source = texts("statement")["covered"], statement.season.weather.provenance
    first, last = (dt.date.fromisoformat(source[key]) for key in ("first", "last"))
    years = {(label, begins) for account in statement.accounts for label, begins in year_starts(account.ledger)}
    for label, begins in sorted(years, key=lambda year: year[1]):
        days = pd.date_range(begins, begins.replace(year=begins.year + 1), inclusive="left")
        others = days.difference(pd.DatetimeIndex(statement.season.days.index))
        lacking = sum(not first <= day <= last for day in others.date)
        lacks = filled(fixed["lacks"], {"lacking": lacking}) if lacking else ""
        facts = {"file": source["file"], "first": first, "last": last, "others": len(others), "lacks": lacks}
        rest = filled(fixed["rest"], facts) if len(others) else ""
        yield filled(fixed["year"], {"year": label, "held": len(days) - len(others), "whole": len(days), "rest": rest})
