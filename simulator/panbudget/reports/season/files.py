"""
Season tables: what is written of a season as CSV: its days, its beds' totals, its openings.

Two runs on the same inputs give the same bytes: no dates of writing, no host, numbers printed one way.
"""

import pandas as pd

from panbudget.season.result import Season

_OF_PAN = ["pan_mm", "openings", "open_hours", "pan_level_kg"]
# beside the season's own rain; as a number; net_demand_mm once more
_NOT_DAILY = ["rain_mm", "growing", "exact_irrigation_mm"]


def daily_table(season: Season) -> pd.DataFrame:
    """
    Return the season day by day, long: one row a day and bed.

    Returns
    -------
    DataFrame
        ``date``, ``controller``, ``bed``; the day's ``eto_mm`` and ``rain_mm``; the controller's ``pan_mm``,
        ``openings``, ``open_hours`` and ``pan_level_kg`` (above the trip weight, at solar midnight), what passed its valve
        (``valve_litres``), its ``supply`` and what passed all valves on that (``supply_litres``), and in a garden with a
        tank what a float valve let into it (``float_litres``), repeated for each of its beds; then the bed's own columns,
        the driest quarter's with the prefix ``driest_``.
    """
    parts, valves = [], season.scenario.controller
    litres = [(part.supply, season.controllers[name]["litres"]) for name, part in valves.items()]
    drawn = {supply: sum(of for on, of in litres if on == supply) for supply in season.scenario.supply}
    for rank, (key, table) in enumerate(season.beds.items()):
        controller, bed = key.split("/")
        of_bed = table.drop(columns=_NOT_DAILY).assign(growing=table["growing"].astype(int))
        of_valve, supply = season.controllers[controller], valves[controller].supply
        of_pan = of_valve[_OF_PAN].assign(valve_litres=of_valve["litres"], supply=supply, supply_litres=drawn[supply])
        if season.tanks:
            of_pan["float_litres"] = season.tanks[supply]["topped_l"] if supply in season.tanks else 0.0
        part = pd.concat([season.days[["eto_mm", "rain_mm"]], of_pan, of_bed], axis=1)
        dates = pd.DatetimeIndex(table.index).strftime("%Y-%m-%d")
        for column, value in (("bed", bed), ("controller", controller), ("date", dates)):
            part.insert(0, column, value)
        parts.append(part.assign(rank=rank))
    return pd.concat(parts, ignore_index=True).sort_values(["date", "rank"], ignore_index=True).drop(columns="rank")


def beds_table(season: Season) -> pd.DataFrame:
    """
    Return the beds' totals, one row a bed and part of it.

    Returns
    -------
    DataFrame
        ``controller``, ``bed``, ``part`` ("mean", "driest_quarter", "exact_refill", "timer"), then the totals of `season.json`.
    """
    rows = []
    for key, totals in season.totals["beds"].items():
        controller, bed = key.split("/")
        mean = {name: value for name, value in totals.items() if not isinstance(value, dict | list)}
        parts = {"mean": mean, **{name: totals.get(name) for name in ("driest_quarter", "exact_refill", "timer")}}
        about = {"controller": controller, "bed": bed, "area_m2": totals["area_m2"]}
        rows += [{**about, "part": name, **part} for name, part in parts.items() if part is not None]
    table = pd.DataFrame(rows)
    table.insert(2, "part", table.pop("part"))
    return table


def openings_table(season: Season) -> pd.DataFrame:
    """Return the list of openings as `openings.csv` has it."""
    columns = ["controller", "start", "end", "minutes", "refilled_kg", "litres", "cause"]
    table = season.openings[columns].assign(times=season.times_are)
    for name in ("start", "end"):  # empty while the valve is still open
        table[name] = table[name].dt.strftime("%Y-%m-%d %H:%M:%S").fillna("")
    return table
