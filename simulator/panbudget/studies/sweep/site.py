"""
Site: the table of places, checked row by row; one place's weather, read once, and what every season there needs of it.

Units as in the engine. Nothing here depends on what a valve does.
"""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from pydantic import ValidationError

from panbudget.errors import Problem, ScenarioError, alike, nearest
from panbudget.extras import made_once, wants_extra
from panbudget.numeric import Floats
from panbudget.physics.air import atmospheric_pressure
from panbudget.scenario import problems as scenario_errors
from panbudget.scenario.beds import Bed, NamedPlants, PlantedBed
from panbudget.scenario.garden import Scenario, Site
from panbudget.season.demand import ANTECEDENT_DAYS, FORCED, BedForcing, Climate, bed_forcing, plant_of
from panbudget.season.record import Record, Span, beside
from panbudget.studies.sweep import MOST_LINES, first_of, named_twice, problem
from panbudget.weather import Weather
from panbudget.weather.checks.inspection import RawFile
from panbudget.weather.clean import WeatherFile, open_weather, read_fallback
from panbudget.weather.flags import filled_in
from panbudget.weather.of_scenario import as_described, fallback_at
from panbudget.weather.text.mistakes import listed, shortened
from panbudget.weather.text.rows import plain_number, read_typed

_NEEDED = ("name", "latitude", "elevation", "weather")
#: columns of a table of sites
KNOWN = (*_NEEDED, *(key for key in Site.model_fields if key not in _NEEDED))
_MORE = ("timezone", "setting", "climate")
_MOST_KINDS = 10_000  # beds of all years
_LONGEST_NAME = 120  # characters
# the unit of a header: in brackets behind it, or a word of it
_BRACKETED, _CAPITAL = re.compile(r"[\[(]([^\[\]()]+)[\])]$"), re.compile(r"(?<=[a-z])(?=[A-Z])")
_UNIT_WORD = re.compile(r"(?<![a-z])(ft|feet|foot|yd|yards?|km)(?![a-z])")


@dataclass(frozen=True)
class Place:
    """
    One site of a plan.

    Parameters
    ----------
    name : str
    latitude, longitude, elevation : float
        [degrees], [degrees], [m]
    file : str
        Its weather file; of a grid, the grid's.
    cell : tuple of int, optional
        Of a grid: places along its two axes.
    more : dict
        Other keys of `scenario.Site`.
    """

    name: str
    latitude: float
    longitude: float | None
    elevation: float
    file: str
    cell: tuple[int, ...] | None = None
    more: dict[str, Any] = field(default_factory=dict)

    def site(self) -> Site:
        """The scenario's site there."""
        place: dict[str, Any] = {"latitude": self.latitude, "longitude": self.longitude, "elevation": self.elevation}
        return Site.model_construct(**place, **self.more)


class SiteRows(NamedTuple):
    """
    A site's rows.

    Parameters
    ----------
    place : Place
    beds : list of tuple of str
        Design, controller and bed that ``row`` counts by.
    columns : dict of ndarray (rows,)
        "row", "area_m2", "start", "end" and `compute.COLUMNS`.
    """

    place: Place
    beds: list[tuple[str, ...]]
    columns: dict[str, npt.NDArray[Any]]


def places_in_table(path: Path, columns: Mapping[str, str], *, shown_as: str) -> list[Place]:
    """
    Read a table of sites.

    Parameters
    ----------
    path : Path
        CSV (with a header line; lines that begin with # are passed over) or ``.parquet``.
    columns : mapping
        Our name -> the table's header, where they differ.
    shown_as : str
        Its name in messages.

    Returns
    -------
    list of Place
        In the table's order.

    Raises
    ------
    ScenarioError
        All that is wrong with it, a line each, at most twenty.
    """
    table = _read(path, shown_as)
    if wrong := list(_wrong_columns([*map(str, table.columns)], columns)):
        raise ScenarioError(*wrong, file=shown_as)
    if table.empty:
        raise ScenarioError(problem("no-site"), file=shown_as)
    table = table.rename(columns={header: name for name, header in columns.items()})
    table = table.loc[:, table.columns.isin(KNOWN)]
    places: list[Place] = []
    problems: list[Problem] = []
    rows: dict[str, str] = {}
    for at, cells in zip(table.index, table.to_dict("records"), strict=True):
        row = {key: text for key in KNOWN if (text := str(cells.get(key, "")).strip())}
        name = row.get("name", "")
        wrong = list(_wrong_names(row, rows))
        rows.setdefault(alike(name), at)
        try:
            described = {key: _value(key, row[key], columns) for key in Site.model_fields if key in row}
            site = Site.model_validate(described)
            more: dict[str, str] = {key: row[key] for key in _MORE if key in row}
            where = site.latitude, site.longitude, site.elevation
            places.append(Place(name, *where, row.get("weather", ""), more=more))
        except ValidationError as error:
            wrong += scenario_errors.problems(error, Site)
        problems += [problem.under(f"{at}: ") for problem in wrong]
    if problems:
        raise ScenarioError(*first_of(problems), file=shown_as)
    return places


def _wrong_columns(headers: list[str], columns: Mapping[str, str]) -> Iterator[Problem]:
    has = listed(map(shortened, headers), MOST_LINES)
    yield from named_twice("sites.columns", columns)
    for name, header in columns.items():
        if header not in headers:
            yield problem("no-column.named", f"sites.columns.{name}", header, header=shortened(header), headers=has)
    ours = {header: name for name, header in columns.items()}
    for name in KNOWN:
        both = [header for header in headers if ours.get(header, header) == name]
        if len(both) > 1 and len({*columns.values()}) == len(columns):
            yield problem("column-twice", value=name, name=name, both=" and ".join(both))
    unused = [header for header in headers if header not in KNOWN and header not in ours]
    for name in _NEEDED:
        if name not in headers and name not in columns:
            own = nearest(name, unused) or next(iter(unused), "")
            unused = [header for header in unused if header != own]
            code = "no-column.other" if own else "no-column.needed"
            yield problem(code, value=name, name=name, own=own, needed=", ".join(_NEEDED), headers=has)


def _wrong_names(row: Mapping[str, str], rows: Mapping[str, str]) -> Iterator[Problem]:
    name = row.get("name", "")
    if not name or not name.isprintable() or len(name) > _LONGEST_NAME:
        yield problem("bad-name", "name", name, name=name, longest=_LONGEST_NAME)
    elif alike(name) in rows:
        yield problem("same-name", "name", name, name=name, row=rows[alike(name)])
    if "weather" not in row:
        yield problem("no-weather", "weather")


def _value(key: str, text: str, columns: Mapping[str, str]) -> float | str:
    """A number stands for degrees, or for height in the header's unit, metres if it names none; else it is left as it is."""
    if "," in text or math.isnan(plain_number(text)):
        return text
    header = columns.get(key, "")
    unit = _BRACKETED.search(header) or _UNIT_WORD.search(_CAPITAL.sub(" ", header).lower())
    return f"{text} {unit[1].strip() if unit else 'm'}" if key == "elevation" else float(text)


def _read(path: Path, shown_as: str) -> pd.DataFrame:
    if path.suffix.lower() not in (".parquet", ".pq"):
        example = ",".join(_NEEDED)
        table = read_typed(path, what="table of sites", shown=shown_as, example=example, error=ScenarioError)
        if table.problems:
            raise ScenarioError(*table.problems, file=shown_as)
        lines = [f"line {row.line}" for row in table.rows]
        return pd.DataFrame([row.cells for row in table.rows], index=lines, columns=table.header)
    wants_extra("pyarrow")
    try:
        frame = pd.read_parquet(path)
        frame.index = [f"row {number}" for number in range(1, len(frame) + 1)]
        return frame.astype(object).where(frame.notna(), "").map(_text)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error).splitlines()[0]
        raise ScenarioError(problem("unreadable", reason=reason), file=shown_as) from None


def _text(cell: object) -> str:
    """Return a cell of Parquet as a table of text has it; text may have been written as bytes."""
    if isinstance(cell, list | tuple | dict | np.ndarray):
        raise ValueError("a cell holds several values")
    try:
        return cell.decode() if isinstance(cell, bytes) else str(cell)
    except UnicodeDecodeError:
        raise ValueError("a cell holds bytes that are no text in UTF-8") from None


def open_site(place: Place, base: Scenario, path: str) -> WeatherFile:
    """
    Read a place's weather file, as the base scenario says its files are to be read.

    Parameters
    ----------
    place : Place
    base : Scenario
        Its ``[weather]``, the file's name left aside.
    path : str
        Where the file is.

    Raises
    ------
    WeatherError
    """
    options = base.weather.model_dump(include={"missing_rain", "too_bright"})
    described = {**as_described(base.weather), "shown_as": place.file}
    file = open_weather(path, place.site(), **described, **options, cautious=False)
    return file if file.file.raw.typical else lent_to(file, place, base)


_LENDERS: dict[tuple[str, str], RawFile] = {}
_MOST_LENDERS = 32


def lent_to(file: WeatherFile, place: Place, base: Scenario) -> WeatherFile:
    """Return a place's weather with the base scenario's fallbacks, each of them read once where places can share it."""
    others = []
    for source in base.weather.fallback:
        fallback = fallback_at(base, source, place.site())
        if source.files == [place.file]:
            continue  # a place lends itself nothing
        described = source.model_dump_json()
        held = _LENDERS.get((described, "")) or _LENDERS.get((described, repr(fallback.site)))
        if held is None:
            held = read_fallback(fallback, place.site())
            if len(_LENDERS) >= _MOST_LENDERS:
                _LENDERS.clear()
            # days of a plain table go by no clock: they are the same wherever the place is
            is_anywheres = held.reader == "table" and held.raw.by_hour is None
            _LENDERS[described, "" if is_anywheres else repr(fallback.site)] = held
        others.append((fallback, held))
    return replace(file, others=others) if others else file


def grid_evapotranspiration(places: Sequence[Place], weathers: Sequence[Weather]) -> list[Floats]:
    """
    Compute the reference ET of many cells at once, through pyet's way for xarray.

    Parameters
    ----------
    places : sequence of Place
    weathers : sequence of Weather
        Of the same days.

    Returns
    -------
    list of ndarray (days,)
        As `evaporation.reference_evapotranspiration` gives for each. [mm/day]
    """
    import pyet
    import xarray as xr

    names = {"wind": "wind", "rs": "radiation", "tmax": "tmax", "tmin": "tmin", "ea": "vapour_pressure"}
    tables = [
        weather.daily.reindex(columns=[*names.values(), "pressure"])
        .fillna({"pressure": float(atmospheric_pressure(place.elevation))})
        .rename_axis("time")
        .to_xarray()
        for place, weather in zip(places, weathers, strict=True)
    ]
    data = xr.concat(tables, "cell").transpose("time", "cell")
    eto = pyet.pm_fao56(
        **{argument: data[name] for argument, name in names.items()},
        tmean=(data["tmax"] + data["tmin"]) / 2.0,
        pressure=data["pressure"],
        elevation=xr.DataArray([place.elevation for place in places], dims="cell"),
        lat=xr.DataArray(np.radians([place.latitude for place in places]), dims="cell"),
        clip_zero=False,
    )
    return [np.ascontiguousarray(values, dtype=float) for values in eto.transpose("cell", "time").to_numpy()]


class SiteRecord(Record):
    """
    A place's record, and what its seasons share.

    Parameters
    ----------
    place : Place
    weather : Weather
    eto : ndarray (days,), optional
        Already computed. [mm/day]
    """

    def __init__(self, place: Place, weather: Weather, eto: Floats | None = None) -> None:
        super().__init__(place.site(), weather, shown=place.file, file=place.file, eto=eto)
        self.place, self.weather = place, weather
        filled = np.sum([filled_in(weather.flags[name]) for name in weather.flags], axis=0)
        self._filled = np.concatenate([[0], np.cumsum(filled)])

    def filled(self, first: int, after: int) -> int:
        """Count the values of some days that were not measured."""
        return int(self._filled[after] - self._filled[first])

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

        Notes
        -----
        A planting whose demand depends on the days about it alone is computed over these; any other over the whole
        record, once where it comes to the same every year.
        """
        if (steady := _kind_of(bed).steady) is not None:
            return self._whole(controller, name, bed, steady).between(first, after)
        low, high, _ = self._window(bed, first, after)
        climate, rain = self.climate(low, high), self.rain[low:high]
        return bed_forcing(controller, name, bed, climate, rain, first - low, after - low)

    def grounds(self, controller: str, name: str, beds: Sequence[Bed], spans: Sequence[Span]) -> BedForcing:
        """
        Return a bed over spans as long as each other, a bed to each, as `ground` gives it span by span. (years, days)

        Years that lie alike about their planting, as nearly all do, are computed side by side.
        """
        alike: dict[Any, list[int]] = {}
        for at, (bed, (first, after)) in enumerate(zip(beds, spans, strict=True)):
            kind, (low, high, planted) = _kind_of(bed), self._window(bed, first, after)
            staged = ("staged", first - low, high - low, planted - low) if kind.staged else at
            alike.setdefault(kind.steady or staged, []).append(at)
        forced: dict[str, Any] = {}
        for key, rows in alike.items():
            bed, chosen = beds[rows[0]], [spans[row] for row in rows]
            if isinstance(key, str):
                part = self._whole(controller, name, bed, key)
                values = {what: beside(getattr(part, what), chosen) for what in FORCED}
            else:
                part = (
                    self._staged(controller, name, bed, chosen)
                    if key != rows[0]
                    else self.ground(controller, name, bed, *chosen[0])
                )
                values = {what: getattr(part, what) for what in FORCED}
            for what, numbers in values.items():
                shape = len(spans), spans[0][1] - spans[0][0]
                forced.setdefault(what, np.empty(shape, numbers.dtype))[rows] = numbers
        return replace(part, **forced)

    def _whole(self, controller: str, name: str, bed: Bed, steady: str) -> BedForcing:
        days = len(self.dates)
        # what is assumed concerns a season, and a sweep tells it of none
        climate = self.climate(0, days, within=())
        of_record = (controller, name, bed, climate, self.rain, 0, days)
        return made_once(self, (controller, name, steady), lambda: bed_forcing(*of_record))

    def _staged(self, controller: str, name: str, bed: Bed, spans: Sequence[Span]) -> BedForcing:
        """A planting in days that lie alike about it; what the weather decides (years, days)."""
        first, after = spans[0]
        low, high, _ = self._window(bed, first, after)
        windows = [(start - first + low, start - first + high) for start, _ in spans]
        wind, rh_min, tmean, eto = (beside(part, windows) for part in (self.wind, self.rh_min, self.tmean, self.eto))
        climate = Climate(self.dates[low:high], wind, rh_min, tmean, eto)
        return bed_forcing(controller, name, bed, climate, beside(self.rain, windows), first - low, after - low)

    def _window(self, bed: Bed, first: int, after: int) -> tuple[int, int, int]:
        """Of the record, the days that a bed's demand depends on, and that of its planting."""
        length, planted = _kind_of(bed)[2:4]
        low, high, at = 0, len(self.dates), -1
        if length and planted:
            at = planted - self.first_day
            if at >= 0 and at + length <= high:  # the record holds all its stages
                low, high = max(min(at, first - ANTECEDENT_DAYS), 0), max(at + length, after)
        return low, high, at


class _Kind(NamedTuple):
    """
    A bed, held so that no other one gets its number, its `_steady_key`, `_stage_days` and day of planting (0: none), and
    whether these are all it depends on.
    """

    bed: Bed
    steady: str | None
    length: int
    planted: int
    staged: bool


_KINDS: dict[int, _Kind] = {}


def _kind_of(bed: Bed) -> _Kind:
    """Return a bed's kind; kept, since all places share a bundle's beds."""
    if (kind := _KINDS.get(id(bed))) is None:
        if len(_KINDS) > _MOST_KINDS:
            _KINDS.clear()
        length = _stage_days(bed)
        planted = bed.planted.toordinal() if isinstance(bed, PlantedBed) and bed.planted is not None else 0
        staged = length > 0 and planted > 0 and bed.wetting_days is None
        kind = _KINDS[id(bed)] = _Kind(bed, _steady_key(bed), length, planted, staged)
    return kind


def _steady_key(bed: Bed) -> str | None:
    """What a bed's demand depends on, where that is the same in every year; else nothing."""
    if not isinstance(bed, PlantedBed):
        return None
    if isinstance(bed.plants, NamedPlants):
        yearly = bed.planted and (plant_of(bed.plants).kind == "annual" or bed.wetting_days is not None)
        if bed.plants.stages_gdd is not None or yearly:
            return None
    described: str = bed.model_dump_json(exclude={"planted", "area", "emitters", "uniformity", "initial_depletion"})
    return described + (f"{bed.planted:%m-%d}" if bed.planted else "")


def _stage_days(bed: Bed) -> int:
    """Length of an annual's stages, where they are given in days; else 0. [days]"""
    if not isinstance(bed, PlantedBed) or not isinstance(bed.plants, NamedPlants) or bed.plants.stages_gdd is not None:
        return 0
    plant = plant_of(bed.plants)
    return sum(plant.stages or ()) if plant.kind == "annual" else 0
