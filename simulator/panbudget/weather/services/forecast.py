"""
Forecast: the next days from Open-Meteo's service, as a plain table in standard columns.

Source: Open-Meteo documentation, weather forecast API, daily variables (from memory). Its wind is at 10 m and is brought
to 2 m by FAO-56 eq 47.
"""

import datetime as dt
import json

import numpy as np
import pandas as pd

from panbudget.physics.air import wind_at_2m
from panbudget.scenario.garden import Site
from panbudget.weather.messages import counted
from panbudget.weather.services.asking import Service, ask, reason_in

_GAUGE = 10.0  # [m]
_NEEDED = ("tmin", "tmax", "rain")


def next_days(service: Service, site: Site, days: int, *, today: dt.date) -> pd.DataFrame:
    """
    Ask for the days ahead, and some days past, which records bring late.

    Parameters
    ----------
    service : Service
    site : Site
        With a longitude.
    days : int
        How many, from today.
    today : date
        Of this computer; a day more or less is it elsewhere.

    Returns
    -------
    DataFrame
        Index "date", every day in turn; standard columns and units, wind at 2 m; as far as temperatures and rain reach.

    Raises
    ------
    WeatherError
        As `ask`; something else than a forecast; another place; other units; other or fewer days than were asked for.
    """
    facts, position = service.facts, (site.latitude, site.longitude or 0.0)
    where = {"latitude": f"{position[0]:g}", "longitude": f"{position[1]:g}", "elevation": f"{site.elevation:g}"}
    span = {"forecast_days": str(days), "past_days": str(facts["past_days"])}
    text, service = ask(service, {"daily": ",".join(facts["measures"]), **where, **span, **facts["query"]})
    try:
        answer = json.loads(text)
        daily, units = answer["daily"], dict(answer["daily_units"])
        dates = pd.DatetimeIndex(pd.to_datetime(daily["time"], format="%Y-%m-%d"), name="date")
        columns = {
            name: np.array(daily[key], dtype=float).reshape(len(dates))  # one figure would stand for every day
            for key, (name, _) in facts["measures"].items()
            if key in daily
        }
        if any(isinstance(figure, bool) for key in facts["measures"] for figure in daily.get(key, [])):
            raise TypeError("true is no figure, and would be read as 1")
        missing = [key for key, (name, _) in facts["measures"].items() if name in _NEEDED and name not in columns]
        if missing:
            raise service.refusal("not-weather", why=f": it has no {' and no '.join(missing)}")
        table = pd.DataFrame(columns, index=dates)
        table = table[list(columns)].replace([np.inf, -np.inf], np.nan).dropna(subset=list(_NEEDED))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, OverflowError):
        raise service.refusal("not-weather", why=reason_in(text)) from None
    service.refuse_elsewhere(position, (answer.get("latitude"), answer.get("longitude")))
    for key, (name, expected) in facts["measures"].items():
        if name in columns and units.get(key) != expected:
            raise service.refusal("other-unit", name=key, unit=units.get(key), expected=expected)
    whole = len(table) and (np.diff(table.index) == np.timedelta64(1, "D")).all()
    asked = days + int(facts["past_days"])
    if not whole or len(dates) < asked:
        lacking = counted(max(asked - len(table), 1), "day")
        raise service.refusal("half", first=f"{asked - days} days ago", last=f"{days} days on", missing=lacking)
    if abs((dates[-1].date() - today).days - (days - 1)) > 1:
        raise service.refusal("old", last=dates[-1].date(), today=today)
    service.refuse_impossible(table)
    if "wind" in table:
        table["wind"] = wind_at_2m(table["wind"].to_numpy(), height=_GAUGE).round(2)
    return table.dropna(axis="columns", how="all")
