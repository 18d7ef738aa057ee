"""
Record: one place's weather, and what every season there needs of it: ETo, pans, hours of the sun, roofs, demand.

Units as in the engine. Nothing here depends on what a valve does. Each thing is computed over the whole record once,
so that a season sees the days before it.
"""

import dataclasses
import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.engine.arrays import Days
from panbudget.errors import ScenarioError
from panbudget.extras import made_once
from panbudget.numeric import Floats
from panbudget.physics import evaporation, sun
from panbudget.physics.evaporation import PanCoefficient
from panbudget.physics.solar_time import solar_hour
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Scenario, Site
from panbudget.scenario.pans import Pan
from panbudget.scenario.supplies import Roof
from panbudget.season import problem
from panbudget.season.demand import FORCED, BedForcing, Climate, bed_forcing
from panbudget.season.supplies import PanFlows, Valve, roof_inflow
from panbudget.weather import Weather
from panbudget.words import name_days

#: a season's days in a record: its first one's place, and that after its last
Span = tuple[int, int]
_SPAN = re.compile(r"(\d{4}-\d\d-\d\d) to (\d{4}-\d\d-\d\d)")  # of days, in a note


@dataclass(frozen=True)
class PanForcing(PanFlows):
    """
    One controller's pan, before the valve does anything; its flows are those of `PanFlows`.

    Parameters
    ----------
    evaporation : dict
        Model's name -> (days,) what it gives, exposure included; a measured column only where it is chosen. [mm]
    coefficient : PanCoefficient
        And where a bound of its table bit. (days,)
    """

    evaporation: dict[str, Floats]
    coefficient: PanCoefficient


def _names(text: str, day: str) -> bool:
    """Tell whether a note names a day, by itself or in a span of days."""
    return day in text or any(first <= day <= last for first, last in _SPAN.findall(text))


class Record:
    """
    A place's record, and what its seasons share.

    Parameters
    ----------
    site : Site
    weather : Weather
    shown : str
        The weather file, as messages name it.
    file : str
        The file that errors are about: the scenario's, or the weather file.
    eto : ndarray (days,), optional
        Already computed. [mm/day]
    """

    def __init__(self, site: Site, weather: Weather, *, shown: str, file: str, eto: Floats | None = None) -> None:
        daily = weather.daily
        self.site, self.daily, self.shown, self.file, self.notes = site, daily, shown, file, weather.notes
        self.index = pd.DatetimeIndex(daily.index)
        self.dates = daily.index.to_numpy().astype("datetime64[D]")
        self.first_day = self.index[0].toordinal()
        if eto is None:
            series = evaporation.reference_evapotranspiration(daily, latitude=site.latitude, elevation=site.elevation)
            eto = np.ascontiguousarray(series, dtype=np.float64)
        self.eto = eto
        self.rain: Floats = np.ascontiguousarray(daily["rain"].to_numpy(float))
        self.wind: Floats = daily["wind"].to_numpy(float)
        self.rh_min: Floats = daily["rh_min"].to_numpy(float)
        self.tmean: Floats = (daily["tmin"].to_numpy(float) + daily["tmax"].to_numpy(float)) / 2.0
        self.daylight, self.dark = evaporation.hourly_shares(site.latitude, np.arange(1.0, 367.0))

    def span(self, start: dt.date, end: dt.date) -> tuple[int, int] | None:
        """Return where a season's days stand, or nothing if the record does not hold them all."""
        first, after = start.toordinal() - self.first_day, end.toordinal() - self.first_day + 1
        return (first, after) if first >= 0 and after <= len(self.dates) else None

    def whole_span(self, start: dt.date, end: dt.date, garden: str = "--help") -> tuple[int, int]:
        """Return where a season's days stand; a `ScenarioError` if the record lacks one; `garden` as `today` takes it."""
        if (span := self.span(start, end)) is not None:
            return span
        first, last = self.index[0].date(), self.index[-1].date()
        wrong = []
        for key, day, nearest in (("start", start, first), ("end", end, last)):
            if not first <= day <= last:
                why = "".join(f"; {text}" for text in self.notes if _names(text, str(day)))
                facts = {"day": day, "file": self.shown, "first": first, "last": last, "why": why, "nearest": nearest}
                code = "out-of-record.runs" if day > last >= start >= first else "out-of-record"
                wrong.append(problem(code, f"season.{key}", day, garden=garden, **facts))
        raise ScenarioError(*wrong, file=self.file)

    def days(self, spans: Sequence[Span]) -> Days:
        """Return the engine's drivers over spans as long as each other. (years, days)"""
        day_of_year = made_once(self, "days of the year", lambda: sun.of_calendar(self.index)[0] - 1)
        rain, eto, rows = (beside(part, spans) for part in (self.rain, self.eto, day_of_year))
        return Days(rain, eto, self.daylight[rows], self.dark[rows])

    def pan_coefficient(self, pan: Pan) -> PanCoefficient:
        """Return a pan's coefficient over the whole record, and where its table's bounds bit."""
        fetch, rh_mean = pan.fetch, self.daily["rh_mean"].to_numpy(float)
        return made_once(
            self,
            ("coefficient", fetch.distance, fetch.cover),
            lambda: evaporation.pan_coefficient(self.wind, rh_mean, fetch=fetch.distance, cover=fetch.cover),
        )

    def pan_evaporation(self, pan: Pan, where: str, model: str | None = None) -> Floats:
        """
        Return a pan's evaporation over the whole record, exposure included. [mm/day]

        Parameters
        ----------
        pan : Pan
        where : str
            The pan's key path, for the error.
        model : str, optional
            In place of the pan's own.

        Raises
        ------
        ScenarioError
            A measured pan without its column.
        """
        model = model or pan.evaporation
        key = (model, pan.fetch.distance, pan.fetch.cover, pan.ground_albedo, pan.exposure)
        return made_once(self, key, lambda: self._evaporation(pan, model, where) * pan.exposure)

    def _evaporation(self, pan: Pan, model: str, where: str) -> Floats:
        if model == "energy-balance":
            where_on_earth = {"latitude": self.site.latitude, "elevation": self.site.elevation}
            return evaporation.pan_energy_balance(self.daily, **where_on_earth, ground_albedo=pan.ground_albedo)
        if model == "from-eto":
            return evaporation.pan_from_eto(self.eto, self.pan_coefficient(pan).kp)
        if "pan_evaporation" not in self.daily:
            raise ScenarioError(problem("no-pan-column", f"{where}.evaporation", file=self.shown), file=self.file)
        return np.asarray(self.daily["pan_evaporation"].to_numpy(float))

    def pan_forcing(self, valve: Valve, first: int, after: int) -> PanForcing:
        """Return a valve's pan over some days."""
        pan, cut = valve.controller.pan, slice(first, after)
        kp, wind, humidity, fetch = self.pan_coefficient(pan)
        models = dict.fromkeys(("from-eto", "energy-balance", pan.evaporation))
        return PanForcing(
            **vars(valve.flows),
            evaporation={model: self.pan_evaporation(pan, valve.name, model)[cut] for model in models},
            coefficient=PanCoefficient(kp[cut], wind[cut], humidity[cut], fetch),
        )

    def evaporation(self, valves: Sequence[Valve], spans: Sequence[Span]) -> Floats:
        """Return what valves' pans lose over spans, of which all days must be known. (years, valves, days) [mm/day]"""
        where = [f"{valve.where(self.index[spans[0][0]].year)}.pan" for valve in valves]
        lost = [self.pan_evaporation(valve.controller.pan, at) for valve, at in zip(valves, where, strict=True)]
        kinds = {id(values): values for values in lost}  # many pans lose alike
        row_of = [[*kinds].index(id(values)) for values in lost]
        rows = np.stack([beside(values, spans) for values in kinds.values()], axis=1)[:, row_of]
        for at, row in np.argwhere(np.isnan(rows).any(axis=2))[:1]:
            dates = self.index[slice(*spans[at])]
            missing = name_days([day.date() for day in dates[np.isnan(rows[at, row])]])
            key = f"{valves[row].where(dates[0].year)}.pan.evaporation"
            raise ScenarioError(problem("pan-days", key, file=self.shown, days=missing), file=self.file)
        return rows

    def presses(self, valves: Sequence[Valve], spans: Sequence[Span]) -> Floats:
        """Return the hours at which valves are pressed. (years, valves, days · most presses a day)"""
        times = [tuple(valve.controller.valve.press_times) for valve in valves]
        days = spans[0][1] - spans[0][0]
        none = np.zeros((days, 0))
        tables = {(key, span): self.press_hours(key, *span) if key else none for key in set(times) for span in spans}
        most = max(table.shape[1] for table in tables.values())
        wide = np.full((len(spans), len(valves), days, most), np.inf)
        for year, span in enumerate(spans) if most else ():
            for row, key in enumerate(times):
                wide[year, row, :, : tables[key, span].shape[1]] = tables[key, span]
        return wide.reshape(len(spans), len(valves), -1) if most else wide[..., 0, :]

    def roof_inflow(self, roof: Roof | None) -> Floats:
        """Return what a roof brings to its tank over the whole record. [L/day]"""
        key = ("roof", roof.model_dump_json() if roof is not None else "")
        return made_once(self, key, lambda: roof_inflow(self.rain, roof))

    def press_hours(self, press_times: tuple[str, ...], first: int, after: int) -> Floats:
        """
        Return the solar hours at which a valve is pressed.

        Parameters
        ----------
        press_times : tuple of str
            "sunrise", "sunset" or times of the clock; of the sun where the site has no longitude and time zone.
        first, after : int
            The days.

        Returns
        -------
        ndarray (days, presses a day)
            Ascending, infinite where there is none. [h]
        """
        dates = self.index[first:after]
        by_day: list[list[float]] = [[] for _ in dates]
        daylight = sun.daylight_hours(dates.day_of_year.to_numpy(), latitude=self.site.latitude)
        for index in np.flatnonzero((daylight > 0.0) & (daylight < 24.0)).tolist():
            sides = {"sunrise": -0.5, "sunset": 0.5}
            by_day[index] += [12.0 + sides[text] * daylight[index] for text in press_times if text in sides]
        # a clock's day and the sun's day may part by an hour or two, so neighbours are looked at too
        for index in range(-1, len(dates) + 1):
            day = (dates[0] + dt.timedelta(days=index)).date()
            for text in (text for text in press_times if ":" in text):
                at = index * 24.0 + solar_hour(day, text, self.site.longitude, self.site.timezone)
                if 0.0 <= at < 24.0 * len(dates):
                    by_day[int(at // 24.0)].append(at % 24.0)
        table = np.full((len(dates), max(map(len, by_day))), np.inf)
        for index, moments in enumerate(by_day):
            table[index, : len(moments)] = sorted(moments)
        return table

    def ground(self, controller: str, name: str, bed: Bed, first: int, after: int) -> BedForcing:
        """
        Return a bed's demand, soil water and rain over some days.

        Parameters
        ----------
        controller, name : str
        bed : scenario.Bed
            With its plantings in the season's year.
        first, after : int
            The days.
        """
        within = (self.index[first].date(), self.index[after - 1].date())
        climate = self.climate(0, len(self.dates), within)
        return bed_forcing(controller, name, bed, climate, self.rain, first, after)

    def grounds(self, controller: str, name: str, beds: Sequence[Bed], spans: Sequence[Span]) -> BedForcing:
        """Return a bed's demand, soil water and rain over spans as long as each other, a bed to each. (years, days)"""
        pairs = zip(beds, spans, strict=True)
        return years_of_bed([self.ground(controller, name, bed, *span) for bed, span in pairs])

    def climate(self, low: int, high: int, within: tuple[dt.date, dt.date] | tuple[()] | None = None) -> Climate:
        """Return what demand is computed over; ``within`` are the days whose assumptions somebody wants to know."""
        cut = slice(low, high)
        return Climate(self.dates[cut], self.wind[cut], self.rh_min[cut], self.tmean[cut], self.eto[cut], within=within)


def beside(values: npt.NDArray[Any], spans: Sequence[Span]) -> npt.NDArray[Any]:
    """Return spans of a record, as long as each other. (years, days)"""
    return np.array([values[first:after] for first, after in spans])


def years_of_bed(parts: Sequence[BedForcing]) -> BedForcing:
    """Return years of one bed as one, with what the engine takes (years, days); the rest is the last year's."""
    forced: dict[str, Any] = {name: np.array([getattr(part, name) for part in parts]) for name in FORCED}
    return dataclasses.replace(parts[-1], **forced)


def record_of(scenario: Scenario, weather: Weather) -> Record:
    """
    Return a scenario's record of its weather: the years of a study are seasons of one record, and share what it holds.

    Parameters
    ----------
    scenario : Scenario
        Its site, and its names of files.
    weather : Weather
    """
    shown, file = scenario.weather.shown, str(scenario.path)
    # a table that somebody changed in place is another one
    key = (Record, scenario.site.model_dump_json(), shown, file, hash(weather.daily.to_numpy().tobytes()))
    return made_once(weather, key, lambda: Record(scenario.site, weather, shown=shown, file=file))
