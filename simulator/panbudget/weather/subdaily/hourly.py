"""
Hourly: records of part of a day, put together to days.

Every reader of sub-daily records ends in `Records`, and `to_days` makes the daily columns of them: extremes of
temperature and humidity, means of wind, pressure and vapour pressure, sums of rain and radiation. A day with
under 80 % of a column's records is a gap of that column, never a mean of what is left.

Sources: FAO-56 (Allen et al. 1998) eq 10, 11 and 14, hour by hour as its chapter 3 allows where the records are
there. The 80 % are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.physics.air import Floats, saturation_vapour_pressure
from panbudget.weather.site import SiteLike
from panbudget.weather.subdaily.clocks import Stamps, day_lengths, in_order, on_the_sites_clock
from panbudget.weather.subdaily.rain_records import rain_amounts
from panbudget.weather.text.columns import number
from panbudget.weather.text.raw import LeftOut, RawTable
from panbudget.words import and_more, name_days

__all__ = ["COMPLETE", "DAILY_OF", "Records", "to_days"]

#: share of a day's records that a column needs
COMPLETE = 0.8

#: column of records -> the daily columns that come of it
DAILY_OF: dict[str, tuple[str, ...]] = {
    "temperature": ("tmin", "tmax"),
    "humidity": ("rh_max", "rh_min", "vapour_pressure"),
    "dew_point": ("vapour_pressure", "rh_max", "rh_min"),
    "wind": ("wind",),
    "radiation": ("radiation",),
    "rain": ("rain",),
    "pressure": ("pressure",),
}

# records further apart than this make no day [s]
_COARSEST = 6 * 3600.0
# what a single record can be, in the columns' units: beyond it is a mark or a fault. Units mistaken as a whole
# are for the daily checks, which name them; so this asks that few records are concerned. Common practice.
_LIMITS = {
    "temperature": (-90.0, 60.0),
    "humidity": (0.5, 110.0),
    "dew_point": (-95.0, 40.0),
    "wind": (0.0, 75.0),
    "radiation": (-20.0, 1600.0),
    "pressure": (45.0, 110.0),
}
_UNITS = {
    "temperature": "°C",
    "humidity": "%",
    "dew_point": "°C",
    "wind": "m/s",
    "radiation": "W/m²",
    "rain": "mm",
    "pressure": "kPa",
}
_FEW = 0.02
_MJ_OF_A_WATT_DAY = 0.0864


@dataclass(frozen=True, eq=False)
class Records:
    """
    Sub-daily records in standard units, in the file's order.

    Parameters
    ----------
    stamps : ndarray of datetime64[ns], (records,)
        The moment of each record.
    values : dict
        "temperature", "dew_point" [°C], "humidity" [%], "wind" [m/s], "radiation" (mean flux) [W/m²],
        "rain" [mm], "pressure" [kPa] -> ndarray (records,), NaN where missing.
    lines : ndarray of int, (records,)
        Where each stands in the file.
    utc : bool
        Whether the stamps are UTC; else they are what the site's clock showed.
    rain_kind : str
        As in `rain_records.KINDS`, or "unknown".
    ending : frozenset of str
        Columns whose stamp closes the time they speak of: their midnight belongs to the day before.
    units : dict
        Column of records -> its unit in the file.
    stated : frozenset of str
        Columns whose unit the user or the file names.
    headers : dict
        Column of records -> its header in the file.
    """

    stamps: Stamps
    values: dict[str, Floats]
    lines: npt.NDArray[np.int64]
    utc: bool = False
    rain_kind: str = "interval"
    ending: frozenset[str] = frozenset()
    units: dict[str, str] = field(default_factory=dict)
    stated: frozenset[str] = frozenset()
    headers: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class _Days:
    """The days that records cover: midnights, and for each record the place of its day."""

    midnights: Stamps
    of_record: npt.NDArray[np.int64]
    of_ending: npt.NDArray[np.int64]
    expected: Floats


def to_days(records: Records, site: SiteLike, *, recognised: str, shown_as: str, notes: Iterable[str] = ()) -> RawTable:
    """
    Put records together to days.

    Parameters
    ----------
    records : Records
        Of one place.
    site : SiteLike
        Whose clock the days go by.
    recognised : str
        What the format was taken for, for the report.
    shown_as : str
        The file's name in messages.
    notes : iterable of str
        What the reader has to say.

    Returns
    -------
    RawTable
        One row a day, in order. First and last days without a whole column are left out, and that is noted.

    Raises
    ------
    WeatherError
        Records that contradict each other, stand too far apart, or can't be true.
    """
    said = list(notes)
    if not len(records.stamps):
        raise WeatherError("holds no records; records of a day or more are expected: export it again", file=shown_as)
    names = list(records.values)
    table = np.column_stack([records.values[name] for name in names])
    try:
        moments = in_order(records.stamps, table, records.lines, site=site, utc=records.utc)
        stamps = records.stamps[moments.places]
        clock, rule = on_the_sites_clock(stamps, site) if records.utc else (stamps, "")
    except WeatherError as error:
        raise WeatherError(*error.problems, file=shown_as) from error
    said += [rule] if rule else []
    said += moments.notes
    lines = records.lines[moments.places]
    values = {name: table[moments.places, i] for i, name in enumerate(names)}
    problems = [*moments.problems, *_beyond(values, stamps, lines, records)]
    step = _step(stamps)
    if step is None or step > _COARSEST:
        apart = "one alone" if step is None else f"{number(step / 3600.0)} h apart"
        message = (
            f"its records are {apart} in the middle; at least four a day are expected of a table with times: one row "
            "a day is read as a plain table, without a time of day"
        )
        raise WeatherError(Problem.of_text(message, key="date"), *problems, file=shown_as)
    if problems:
        raise WeatherError(*problems, file=shown_as)
    days = _days(clock, step, site)
    daily, problems, more = _columns(values, days, clock, records, step)
    said += more
    if problems:
        raise WeatherError(*problems, file=shown_as)
    first_lines = _first_lines(days, lines)
    has_rows = first_lines >= 0
    daily, has_rows, edge = _without_edges(daily, has_rows, days)
    if not has_rows.any():
        message = (
            f"no day has {100 * COMPLETE:g} % of its records ({days.expected.max():g} a day are expected from the "
            "table's usual step): export whole days"
        )
        raise WeatherError(Problem.of_text(message, key="date"), file=shown_as)
    said += edge
    said += _gap_notes(daily[has_rows], step)
    return RawTable(
        daily=daily[has_rows],
        lines=tuple(first_lines[has_rows].tolist()),
        recognised=f"{recognised}; a record every {number(step / 60.0)} min",
        units={day: records.units[name] for name in names if name in records.units for day in DAILY_OF[name]},
        unit_is_stated=frozenset(day for name in names if name in records.stated for day in DAILY_OF[name]),
        headers={day: records.headers[name] for name in names if name in records.headers for day in DAILY_OF[name]},
        notes=tuple(said),
        left_out=_left_out(daily[has_rows]),
    )


def _left_out(daily: pd.DataFrame) -> dict[str, LeftOut]:
    """Say of which columns a day has some records, and too few of them."""
    days = pd.DatetimeIndex(daily.index)
    gaps = {str(name): days[daily[name].isna().to_numpy()] for name in daily.columns}
    why = f"having under {100 * COMPLETE:g} % of the day's records"
    return {name: LeftOut(why, frozenset(stamp.date() for stamp in gap)) for name, gap in gaps.items() if len(gap)}


def _step(stamps: Stamps) -> float | None:
    apart = np.diff(stamps.astype("datetime64[s]").astype(np.int64))
    apart = apart[apart > 0]
    return float(np.median(apart)) if apart.size else None


def _beyond(values: dict[str, Floats], stamps: Stamps, lines: npt.NDArray[np.int64], records: Records) -> list[Problem]:
    """Name single records that can't be true: in a day's mean they would hide."""
    problems = []
    for name, (lowest, highest) in _LIMITS.items():
        if name not in values:
            continue
        column = values[name]
        wrong = (column < lowest) | (column > highest)
        known = int((~np.isnan(column)).sum())
        if not wrong.any() or (wrong.sum() > max(_FEW * known, 1) and not _is_mark(column[wrong])):
            continue
        place = int(np.argmax(wrong))
        shown = str(stamps[place].astype("datetime64[m]")).replace("T", " ")
        header = records.headers.get(name, name)
        message = (
            f'line {lines[place]}: "{header}" is {number(float(column[place]))} {_UNITS[name]} at {shown}'
            f"{and_more(int(wrong.sum()) - 1, 'record')}; {number(lowest)} to {number(highest)} {_UNITS[name]} are "
            "expected: correct it, or leave the cell empty if it stands for a missing value"
        )
        problems.append(Problem.of_text(message, key=name, value=float(column[place])))
    return problems


def _is_mark(wrong: Floats) -> bool:
    """Tell whether all the values out of bounds are one and the same, as a mark for a missing value is."""
    return bool(np.ptp(wrong) < 1e-9)


def _days(clock: Stamps, step: float, site: SiteLike) -> _Days:
    seconds = clock.astype("datetime64[s]").astype(np.int64)
    of_record = seconds // 86400
    of_ending = (seconds - 1) // 86400
    first = int(min(of_record.min(), of_ending.min()))
    last = int(max(of_record.max(), of_ending.max()))
    midnights = np.arange(first, last + 1).astype("datetime64[D]").astype("datetime64[ns]")
    lengths = day_lengths(midnights, site)
    return _Days(midnights, of_record - first, of_ending - first, lengths * 3600.0 / step)


def _columns(
    values: dict[str, Floats], days: _Days, clock: Stamps, records: Records, step: float
) -> tuple[pd.DataFrame, list[Problem], list[str]]:
    notes: list[str] = []
    problems: list[Problem] = []
    daily: dict[str, Floats] = {}

    def place_of(name: str) -> npt.NDArray[np.int64]:
        return days.of_ending if name in records.ending else days.of_record

    if "temperature" in values:
        low, high = _extremes(values["temperature"], place_of("temperature"), days)
        daily |= {"tmin": low, "tmax": high}
    air, more = _air(values)
    notes += more
    for name, column in air.items():
        place = place_of("temperature")
        if name == "rh":
            daily["rh_min"], daily["rh_max"] = _extremes(column, place, days)
        else:
            daily["vapour_pressure"] = _mean(column, place, days)
    for name in ("wind", "pressure"):
        if name in values:
            daily[name] = _mean(values[name], place_of(name), days)
    if "radiation" in values:
        below = int((values["radiation"] < 0.0).sum())
        if below:
            notes.append(
                f"radiation: {below} record{'s' if below > 1 else ''} a little below 0, a sensor's offset at night, "
                f"count{'s' if below == 1 else ''} as 0"
            )
        daily["radiation"] = _radiation(values["radiation"], place_of("radiation"), days, clock)
    if "rain" in values:
        seconds = clock.astype("datetime64[s]").astype(np.int64)
        header = records.headers.get("rain", "rain")
        found = rain_amounts(values["rain"], seconds, kind=records.rain_kind, step=step, header=header)
        notes += found.notes
        problems += found.problems
        place = days.of_record if found.kind == "interval" and "rain" not in records.ending else days.of_ending
        known = ~np.isnan(found.amounts)
        total = np.bincount(place[known], weights=found.amounts[known], minlength=len(days.midnights))
        whole = _complete(known, place, days)
        daily["rain"] = np.where(whole, total, np.nan)
        lost = float(total[~whole].sum())
        if lost > 0.0:
            count = int((~whole & (total > 0.0)).sum())
            notes.append(
                f"rain: {number(lost)} mm fell on {count} day{'s' if count > 1 else ''} with under "
                f"{100 * COMPLETE:g} % of the records; such a day counts as a gap, and its rain is not used"
            )
    index = pd.DatetimeIndex(days.midnights, name="date")
    return pd.DataFrame(daily, index=index), problems, notes


def _complete(known: npt.NDArray[np.bool_], place: npt.NDArray[np.int64], days: _Days) -> npt.NDArray[np.bool_]:
    count = np.bincount(place[known], minlength=len(days.midnights))
    return np.asarray(count >= COMPLETE * days.expected - 1e-9)


def _mean(column: Floats, place: npt.NDArray[np.int64], days: _Days) -> Floats:
    known = ~np.isnan(column)
    total = np.bincount(place[known], weights=column[known], minlength=len(days.midnights))
    count = np.bincount(place[known], minlength=len(days.midnights))
    return np.where(_complete(known, place, days), total / np.maximum(count, 1), np.nan)


def _extremes(column: Floats, place: npt.NDArray[np.int64], days: _Days) -> tuple[Floats, Floats]:
    known = ~np.isnan(column)
    low = np.full(len(days.midnights), np.inf)
    high = np.full(len(days.midnights), -np.inf)
    np.minimum.at(low, place[known], column[known])
    np.maximum.at(high, place[known], column[known])
    whole = _complete(known, place, days)
    return np.where(whole, low, np.nan), np.where(whole, high, np.nan)


def _air(values: dict[str, Floats]) -> tuple[dict[str, Floats], list[str]]:
    """Vapour pressure and relative humidity of each record, from dew point or humidity and temperature."""
    temperature = values.get("temperature")
    dew_point, humidity = values.get("dew_point"), values.get("humidity")
    if dew_point is None and humidity is None:
        return {}, []
    if temperature is None:
        air = {} if humidity is None else {"rh": humidity}
        return air | ({} if dew_point is None else {"vapour_pressure": saturation_vapour_pressure(dew_point)}), []
    saturated = saturation_vapour_pressure(temperature)
    nothing = np.full(len(temperature), np.nan)
    by_humidity = nothing if humidity is None else saturated * np.minimum(humidity, 100.0) / 100.0
    by_dew_point = nothing if dew_point is None else saturation_vapour_pressure(dew_point)
    notes = []
    damp = by_dew_point > saturated * (1.0 + 1e-9)
    if damp.any():
        by_dew_point = np.where(damp, saturated, by_dew_point)
        notes.append(
            f"the dew point lies above the temperature in {int(damp.sum())} of {len(temperature)} records, and was "
            "brought down to it"
        )
    pressure = np.where(np.isnan(by_dew_point), by_humidity, by_dew_point)
    rh = np.minimum(100.0 * pressure / saturated, 100.0)  # a rounding error above
    if humidity is not None:
        rh = np.where(np.isnan(humidity), rh, humidity)
    source = "from dew point (FAO-56 eq 14)"
    if dew_point is None:
        source = "from temperature and relative humidity (FAO-56 eq 10 and 11)"
    notes.append(f"vapour pressure is the mean of each day's records, {source}")
    return {"rh": rh, "vapour_pressure": pressure}, notes


def _radiation(column: Floats, place: npt.NDArray[np.int64], days: _Days, clock: Stamps) -> Floats:
    """Sum of each day; where records are missing the flux between its neighbours is taken as a straight line."""
    column = np.where((column < 0.0) & (column >= _LIMITS["radiation"][0]), 0.0, column)
    daily = _mean(column, place, days) * _MJ_OF_A_WATT_DAY
    known = ~np.isnan(column)
    count = np.bincount(place[known], minlength=len(days.midnights))
    broken = (count < np.floor(days.expected + 1e-9)) & ~np.isnan(daily)
    if not broken.any():
        return daily
    seconds = clock[known].astype("datetime64[s]").astype(np.float64)
    # a record stands for the time up to half-way to its neighbours, within its own day
    middle = (seconds[1:] + seconds[:-1]) / 2.0
    midnight = days.midnights[place[known]].astype("datetime64[s]").astype(np.float64)
    lower = np.maximum(np.concatenate([[-np.inf], middle]), midnight)
    upper = np.minimum(np.concatenate([middle, [np.inf]]), midnight + 86400.0)
    energy = column[known] * np.maximum(upper - lower, 0.0) / 1e6
    total = np.bincount(place[known], weights=energy, minlength=len(days.midnights))
    return np.where(broken, total, daily)


def _first_lines(days: _Days, lines: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    first = np.full(len(days.midnights), np.iinfo(np.int64).max, dtype=np.int64)
    np.minimum.at(first, days.of_record, lines)
    return np.where(first == np.iinfo(np.int64).max, -1, first)


def _without_edges(
    daily: pd.DataFrame, has_rows: npt.NDArray[np.bool_], days: _Days
) -> tuple[pd.DataFrame, npt.NDArray[np.bool_], list[str]]:
    """Leave out first and last days that are cut off by the file's ends."""
    judged = daily[["tmin"]] if "tmin" in daily.columns else daily
    whole = np.asarray(judged.notna().any(axis=1)) & has_rows
    if not whole.any():
        return daily, whole, []
    first, last = int(np.argmax(whole)), len(whole) - 1 - int(np.argmax(whole[::-1]))
    edges = has_rows.copy()
    edges[first : last + 1] = False
    if not edges.any():
        return daily, has_rows, []
    named = [stamp.date() for stamp in pd.DatetimeIndex(days.midnights)[edges]]
    note = f"days at the file's ends with under {100 * COMPLETE:g} % of their records are left out: {name_days(named)}"
    return daily, has_rows & ~edges, [note]


def _gap_notes(daily: pd.DataFrame, step: float) -> list[str]:
    """Say which days are gaps of which columns, columns with the same gaps together."""
    gaps: dict[bytes, list[str]] = {}
    for name in daily.columns:
        missing = daily[name].isna().to_numpy()
        if missing.any() and not missing.all():
            gaps.setdefault(missing.tobytes(), []).append(str(name))
    notes = []
    for mask, names in gaps.items():
        missing = np.frombuffer(mask, dtype=bool)
        named = [stamp.date() for stamp in pd.DatetimeIndex(daily.index)[missing]]
        count = f"{len(named)} day{'s' if len(named) > 1 else ''} with"
        notes.append(
            f"{', '.join(names)}: {count} under {100 * COMPLETE:g} % of {number(86400.0 / step)} records a day "
            f"count{'s' if len(named) == 1 else ''} as a gap: {name_days(named)}"
        )
    return notes
