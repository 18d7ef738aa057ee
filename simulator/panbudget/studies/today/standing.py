"""
Standing: how a garden stands this evening, the weather file's last, and what may come until the season ends.
"""

import contextlib
import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import ClassVar

import numpy as np
import pandas as pd

from panbudget.errors import ScenarioError, WeatherError
from panbudget.extras import Reported, Step, silent
from panbudget.files import typed
from panbudget.numeric import Mask
from panbudget.physics.solar_time import from_solar
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.scenario.quantities import Day, day_or
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.supplies import float_key, tanks_in_use
from panbudget.season.years import in_year, usable_years
from panbudget.studies.common import assumptions_of, read_so_far, water_at_trip
from panbudget.studies.ranges import engine_for
from panbudget.studies.statement.ledger import litres_by_day, sources_of, year_start
from panbudget.studies.today import problem
from panbudget.studies.today.fan import Fan, Start, days_ahead, outcome_of, records_ahead
from panbudget.studies.today.seen import corrected, seen_of
from panbudget.studies.today.sheet import Visit, visits_of
from panbudget.studies.today.trials import RUNS, WEEKS, Action, Trials
from panbudget.weather import Weather
from panbudget.weather.clean import WeatherFile
from panbudget.weather.filling.estimates import unmeasured
from panbudget.weather.of_scenario import open_forecast, open_scenario_weather
from panbudget.words import count, days_said, packaged

_TEXTS = packaged("studies/today.toml")
ENOUGH_YEARS = 9  # from which on the fan's ends hold four years in five (see `fan.band`)
#: over which needs and openings are told [days]
RECENT = 7
_DAY = dt.timedelta(days=1)


@dataclasses.dataclass(frozen=True)
class Chance:
    """In how many ``years`` of how many (``of``) something comes, and on which ``day`` in the middle of those."""

    years: int
    of: int
    day: dt.date | None


@dataclasses.dataclass(frozen=True)
class ValveToday:
    """
    A valve this evening.

    Parameters
    ----------
    level_mm, trip_mm, reset_mm : float
        The pan's level, and those at which it opens and shuts. [mm above the floor]
    is_open : bool
    next_opening : (datetime, datetime, datetime) or None
        Middle, and between which it comes in four runs of five over years and `[uncertainty]`; None if none is in sight.
    openings, litres : float
        Of the last seven days.
    """

    level_mm: float
    trip_mm: float
    reset_mm: float
    is_open: bool
    next_opening: tuple[dt.datetime, dt.datetime, dt.datetime] | None
    openings: int
    litres: float


@dataclasses.dataclass(frozen=True)
class BedToday:
    """
    A bed this evening.

    Parameters
    ----------
    growing : bool
    left_mm, driest_left_mm : float
        Water left before its plants suffer, mean and driest quarter; below zero when they do. [mm]
    need_mm : float
        A day, in the last seven. [mm/day]
    fill_l : float
        What fills its root zone again, of its driest quarter too, spread evenly. [L]
    first_short : Chance or None
        The first day on which its driest quarter falls short.
    """

    growing: bool
    left_mm: float
    driest_left_mm: float
    need_mm: float
    fill_l: float
    first_short: Chance | None

    @property
    def days_left(self) -> float | None:
        """Days until its plants suffer, at this week's need; None without one."""
        return max(self.left_mm, 0.0) / self.need_mm if self.need_mm > 0.0 else None

    @property
    def driest_days_left(self) -> float | None:
        """The same of its driest quarter."""
        return max(self.driest_left_mm, 0.0) / self.need_mm if self.need_mm > 0.0 else None


@dataclasses.dataclass(frozen=True)
class SupplyToday:
    """
    A supply this evening.

    Parameters
    ----------
    litres : float
        Through its valves this season, within the licence's water year where there is one; of a further right, through
        the beds under it. [L]
    licence, tank_l, capacity : float or None
        What the licence allows a year, what the tank holds, and can hold. [L]
    runs_out : Chance or None
        The first day on which the licence is used up, or the tank leaves an open valve without water.
    """

    litres: float
    licence: float | None
    tank_l: float | None
    capacity: float | None
    runs_out: Chance | None


@dataclasses.dataclass(frozen=True, repr=False)
class Today(Reported):
    """
    How a garden stands, what may come, and what to do.

    Parameters
    ----------
    scenario : Scenario
        In the year that is running.
    season : Season
        From its start to today.
    end : date
        The season's last day.
    valves, beds, supplies : dict
        Name -> `ValveToday`, `BedToday` ("CONTROLLER/BED"), `SupplyToday`.
    fan : Fan or None
        None where there is neither a forecast nor an earlier year, or the season ends today.
    forecast_days : int
        Days ahead that a forecast covers.
    actions : tuple of Action
    notes : tuple of str
        What is lacking, and what was put right.
    alarms : tuple of str
        What was seen that a fault is the likelier cause of.
    visits : tuple of Visit
        What somebody who looks after the garden should find; empty where that is not asked for.
    """

    room: ClassVar[str] = "today"

    scenario: Scenario
    season: Season
    end: dt.date
    valves: dict[str, ValveToday]
    beds: dict[str, BedToday]
    supplies: dict[str, SupplyToday]
    fan: Fan | None
    forecast_days: int
    actions: tuple[Action, ...]
    notes: tuple[str, ...]
    alarms: tuple[str, ...] = ()
    visits: tuple[Visit, ...] = ()

    @property
    def day(self) -> dt.date:
        """Today: the last day of the season so far."""
        return pd.DatetimeIndex(self.season.days.index)[-1].date()

    @property
    def assumptions(self) -> list[str]:
        """What the season so far assumes."""
        return assumptions_of([self.season])


def today(
    scenario: Scenario | str | Path,
    *,
    day: Day | None = None,
    variants: Sequence[str] = (),
    level: Mapping[str, float | str] | None = None,
    opened: Mapping[str, dt.datetime | str] | None = None,
    sheet: bool = False,
    step: Step = silent,
) -> Today:
    """
    Say how a garden stands in the season that is running, what may come, and what to do.

    Parameters
    ----------
    scenario : Scenario or path
    day : date, optional
        In place of the weather file's last day; later days, and later years, are then not looked at.
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
    level : mapping, optional
        Controller -> its pan's level as somebody saw it tonight. [mm above the floor, or text with its unit]
    opened : mapping, optional
        Controller -> when somebody last saw its valve open, by the site's clock (by the sun without a time zone). Both
        come after the field log that the scenario names.
    sheet : bool
        Whether somebody else looks after the garden in the next two weeks, and gets a sheet.
    step : callable
        Told what is being done.

    Raises
    ------
    ScenarioError, WeatherError
        No season is running on that day; a typical year; what was seen can't be.
    """
    garden = as_scenario(scenario, variants)
    step("reading the weather")
    file = open_scenario_weather(garden)
    garden, weather, last, notes = _running(garden, file, day_or(day, "day", None))
    end, seen = garden.season.end, seen_of(level, opened)
    step("replaying the season so far")
    season = replay(garden, end=last, weather=weather)
    garden, season, start, looked_at, more, alarms = corrected(garden, season, seen)
    notes += more
    fan, trials, forecast_days = None, None, 0
    if last < end:
        forecast, text = _forecast(garden, weather, last)
        forecast_days = min(len(forecast), (end - last).days)
        years = usable_years(garden, last + _DAY, end, file, cautious=False).weather
        earlier = {year: record for year, record in years.items() if year < garden.season.start.year}
        notes += text
        notes += _few_years(garden, len(earlier))
        if earlier or forecast_days:
            step("running the days ahead")
            records = records_ahead(garden, season, earlier, forecast, end)
            laid = list(days_ahead(garden, records, last + _DAY, end))
            run = engine_for(len(laid) + RUNS)  # what changes bear on is a part of the garden, and of its days
            outcomes = tuple(outcome_of(garden, forcing, start, run) for forcing in laid)
            fan = Fan(tuple(records), laid[0].dates, outcomes)
            step("trying changes")
            near = min(end, last + WEEKS * _DAY)
            trials = Trials(garden, start, records, laid, near, looked_at, run)
    return Today(
        scenario=garden,
        season=season,
        end=end,
        valves=_valves(garden, season, start, trials),
        beds=_beds(garden, season, fan),
        supplies=_supplies(garden, season, start, fan),
        fan=fan,
        forecast_days=forecast_days,
        actions=tuple(trials.actions()) if trials is not None else (),
        notes=tuple(notes),
        alarms=tuple(alarms),
        visits=visits_of(garden, season, start, end, trials) if sheet else (),
    )


def _refused(garden: Scenario, code: str, where: str = "", **values: object) -> ScenarioError:
    return ScenarioError(problem(code, where, **values), file=str(garden.path))


def _running(garden: Scenario, file: WeatherFile, day: dt.date | None) -> tuple[Scenario, Weather, dt.date, list[str]]:
    """Move a garden to the season that holds the weather's last day, or the day named; and read it to there."""
    raw, notes = file.file.raw, list[str]()
    if raw.typical:
        raise _refused(garden, "typical", "weather.file")
    first, held = raw.daily.index.min().date(), raw.daily.index.max().date()
    asked, texts = day or held, _TEXTS["not-running"]
    moved = _season_on(garden, asked) or _season_on(garden, min(asked, held))
    if moved is None or asked > held:
        code, season = ("day", moved) if moved is not None else ("not-running", garden)
        values = {"day": asked, "latest": texts["latest"] if day is None else "", "held": days_said(first, held)}
        values["season"] = days_said(season.season.start, season.season.end)
        cure = _another_day(garden, file, asked, first, held)
        raise _refused(garden, code, "season:" if moved is None else "", **values, cure=cure)
    if moved.season.start < first:
        values = {"start": moved.season.start, "first": first}
        if day is None or moved.season.start == garden.season.start:
            raise _refused(garden, "late", "season.start", **values)
        cure = _another_day(garden, file, asked, first, held)
        raise _refused(garden, "late-day", "", day=day, **values, cure=cure)
    weather, last, why = read_so_far(file, moved, asked)
    if last < asked:
        if day is not None:
            values = {"season": days_said(moved.season.start, moved.season.end), "held": days_said(first, last) + why}
            raise _refused(garden, "day", "", day=day, **values, cure=texts["nearest"].format(day=last))
        notes.append(_TEXTS["notes"]["behind"].format(last=asked, today=last, why=why))
    if moved is not garden:
        years = {"described": garden.season.start.year, "year": moved.season.start.year}
        notes.append(_TEXTS["notes"]["moved"].format(**years))
    return moved, weather, last, notes


def _season_on(garden: Scenario, day: dt.date) -> Scenario | None:
    """Move a garden to the season that holds a day; None where there is none."""
    seasons = (in_year(garden, year) for year in (day.year, day.year - 1))
    return next((moved for moved in seasons if moved.season.start <= day <= moved.season.end), None)


def _another_day(garden: Scenario, file: WeatherFile, asked: dt.date, first: dt.date, held: dt.date) -> str:
    """Name the last day that can be asked about of the season nearest to one that can't, or say that there is none."""
    days = list[dt.date]()
    for year in {asked.year, asked.year - 1, held.year, held.year - 1}:
        moved = in_year(garden, year)
        if first <= moved.season.start <= held:
            with contextlib.suppress(WeatherError):
                days.append(read_so_far(file, moved, min(moved.season.end, held))[1])
    nearest, texts = min(days, key=lambda day: abs(day - asked), default=None), _TEXTS["not-running"]
    return str(texts["no-day"] if nearest is None else texts["nearest"].format(day=nearest))


def _few_years(garden: Scenario, earlier: int) -> list[str]:
    """Say what is to be said of earlier years that are few."""
    if earlier >= ENOUGH_YEARS:
        return []
    now, key = garden.season.start.year, ("no-years", "one-year", "few-years")[min(earlier, 2)]
    values = {"garden": typed(garden.path), "first": now - 10, "last": now, "count": count(earlier, "year")}
    return [_TEXTS["notes"][key].format(**values)]


def _forecast(garden: Scenario, weather: Weather, last: dt.date) -> tuple[pd.DataFrame, list[str]]:
    """Return the forecast's days from tomorrow on, in turn; and why there are none, or what is to be known of them."""
    none, notes = weather.daily.iloc[:0], _TEXTS["notes"]
    file, source = open_forecast(garden), garden.weather.forecast
    if file is None or source is None:
        return none, [notes["no-forecast"].format(garden=typed(garden.path))]
    if any(part.pan.evaporation == "measured" for part in garden.controller.values()):
        return none, [notes["no-column"]]
    foretold, shown = file.over(), source.shown
    daily = foretold.daily
    ahead = daily.loc[pd.Timestamp(last + _DAY) :]
    if not len(ahead) or ahead.index[0].date() != last + _DAY:
        first, final = (daily.index[at].date() for at in (0, -1))
        return none, [notes["old-forecast"].format(file=shown, first=first, last=final, today=last)]
    lacks = ", ".join(unmeasured(file.file.raw.daily.columns))
    remarks = [notes["forecast-lacks"].format(file=shown, what=lacks)] if lacks else []
    doubts = (*foretold.notes, *foretold.doubts, *foretold.cautions)
    return ahead, remarks + [notes["of-forecast"].format(file=shown, note=note) for note in doubts]


def _valves(garden: Scenario, season: Season, start: Start, trials: Trials | None) -> dict[str, ValveToday]:
    valves, tomorrow, site = dict[str, ValveToday](), season.days.index[-1].date() + _DAY, garden.site
    for row, (name, part) in enumerate(garden.controller.items()):
        coming = trials.next_openings(row) if trials is not None and not start.state.is_open[row] else None
        recent = season.controllers[name].iloc[-RECENT:]
        moments, at_trip = None, water_at_trip(season.forcing.pans, row)
        if coming is not None:
            texts = from_solar(tomorrow, np.array(coming), site.longitude, site.timezone)
            middle, early, late = (dt.datetime.fromisoformat(text).replace(second=0) for text in texts)
            moments = middle, early, late
        valves[name] = ValveToday(
            level_mm=(float(start.state.level[row]) + at_trip) / part.pan.area,
            trip_mm=at_trip / part.pan.area,
            reset_mm=(at_trip + float(season.forcing.pans.swing[row, -1])) / part.pan.area,
            is_open=bool(start.state.is_open[row]),
            next_opening=moments,
            openings=int(recent["openings"].sum()),
            litres=float(recent["litres"].sum()),
        )
    return valves


def _chance(fan: Fan, hits: list[Mask]) -> Chance:
    days = fan.first_days(hits)
    return Chance(len(days), len(fan.years), days[len(days) // 2] if days else None)


def _beds(garden: Scenario, season: Season, fan: Fan | None) -> dict[str, BedToday]:
    beds, areas = {}, season.forcing.bundle.by_row("area")
    for row, (key, table) in enumerate(season.beds.items()):
        last, growing = table.iloc[-1], bool(table["growing"].iloc[-1])
        # in the evening: the day's use is over
        water_left, driest = (float(last["raw_mm"] - last[f"{lane}depletion_mm"]) for lane in ("", "driest_"))
        first_short = None if fan is None else _chance(fan, [outcome.short[row] for outcome in fan.outcomes])
        need = float(table["etc_mm"].iloc[-RECENT:].mean()) if growing else 0.0
        fill = float(last[["depletion_mm", "driest_depletion_mm"]].max()) * areas[row]
        beds[key] = BedToday(growing, water_left, driest, need, fill, first_short)
    return beds


def _supplies(garden: Scenario, season: Season, start: Start, fan: Fan | None) -> dict[str, SupplyToday]:
    """A row a supply, and one for each further right on it, of what the beds under it draw."""
    supplies, tanks = dict[str, SupplyToday](), list(tanks_in_use(garden))
    in_use, so_far = {part.supply for part in garden.controller.values()}, litres_by_day(season)
    for source in sources_of(season):
        name = source.supply
        licence = float(source.papers.volume) if source.described and source.papers.volume is not None else None
        if name not in in_use and licence is None:
            continue
        drawn, tank = pd.Series(source.drawn(so_far), index=season.days.index), None
        ahead = np.ones(0 if fan is None else len(fan.dates), bool)
        if source.described:  # a water year that begins on the way starts from nothing
            began = pd.Timestamp(year_start(season.days.index[-1], source.right.water_year_start))
            drawn = drawn.loc[began:]
            ahead = ahead if fan is None else fan.dates < began + pd.DateOffset(years=1)
        litres, hits = float(drawn.sum()), list[Mask]()
        if name in tanks and not any(key.split(" / ")[0] == name for key in supplies):  # with the first of its rights
            tank = tanks.index(name)
        for outcome in fan.outcomes if fan is not None and (licence is not None or tank is not None) else ():
            out = np.zeros(len(ahead), bool)
            if licence is not None:
                by_valve = dict(zip(garden.controller, outcome.litres, strict=True))
                by_float = {float_key(key): outcome.topped_l[row] for row, key in enumerate(tanks)}
                out |= (litres + source.drawn(by_valve | by_float).cumsum() > licence) & ahead
            if tank is not None:
                rows = [row for row, part in enumerate(garden.controller.values()) if part.supply == name]
                out |= outcome.starved_hours[rows].sum(axis=0) > 0.0
            hits.append(out)
        volume = None if tank is None else float(start.state.volume[tank])
        capacity = None if tank is None else getattr(garden.supply[name], "volume", None)
        runs_out = _chance(fan, hits) if fan is not None and hits else None
        supplies[source.name] = SupplyToday(litres, licence, volume, capacity, runs_out)
    return supplies
