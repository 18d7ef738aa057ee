"""
Reading: a weather file, or several, recognised and read, its days set in order and its values checked; nothing is filled.
"""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.physics import air
from panbudget.weather.calendar import arrange, laid_out, once
from panbudget.weather.checks.inspection import Caution, CheckedFile, Inspection, RawFile
from panbudget.weather.checks.plausibility import inspect_values, trust_problem
from panbudget.weather.filling.fallback import Fallback
from panbudget.weather.filling.gaps import GapLimits
from panbudget.weather.formats.readers import as_archived, as_table, choose_reader, refuse_foreign, refuse_months
from panbudget.weather.marks import without_marks
from panbudget.weather.messages import note, problem
from panbudget.weather.several import Paths, joined, paths_of
from panbudget.weather.site import Site, place_doubts, sky_of, station_notes
from panbudget.weather.text.columns import REQUIRED
from panbudget.weather.text.raw import ColumnChoice
from panbudget.weather.text.source import open_source
from panbudget.words import in_both

#: standard name -> where it is found, as in `read_weather`
Columns = Mapping[str, Any] | None

# the heights of a gauge that a profile over grass and a mast allow [m]
_WIND_HEIGHTS = (0.5, 200.0)

# at which the wind of a finished table is [m]
FINISHED_HEIGHT = 2.0

# readers of tables of which no format fixes units, heights and what stands for a missing value
OF_NO_FORMAT = ("table", "logger")


@dataclass(frozen=True)
class Rules:
    """How a file is to be read and filled: what `read_weather` takes, and the scenario's table that says it."""

    site: Site
    wind_height: float | None = None
    missing_rain: str = "error"
    too_bright: str = "error"
    limits: GapLimits | None = None
    start: dt.date | None = None
    end: dt.date | None = None
    table: str = "weather"
    trust: Sequence[str] = ()
    cautious: bool = True

    def refuse(self, shown: str) -> None:
        """Raise with the options that can't be."""
        problems: list[Problem] = []
        height, span, where = self.wind_height, _WIND_HEIGHTS, f"{self.table}.wind_height"
        if height is not None and not span[0] <= height <= span[1]:
            problems.append(problem("wind-height", where, height, height=height, span=span))
        for name, other in (("missing_rain", "zero"), ("too_bright", "limit")):
            if (given := getattr(self, name)) not in ("error", other):
                problems.append(problem("unknown-choice", f"{self.table}.{name}", given, given=given, other=other))
        if unknown := trust_problem(self.trust, where=self.table):
            problems.append(unknown)
        if problems:
            raise WeatherError(*problems, file=shown)


def read_files(path: Paths, site: Site, *, shown_as: str, in_part: bool = False, **options: Any) -> RawFile:
    """Recognise a file or several and read them, unchecked; several joined. Takes what `read_raw` takes."""
    paths = paths_of(path, shown_as=shown_as)
    if len(paths) == 1:
        file = read_raw(paths[0], site, shown_as=shown_as, in_part=in_part, **options)
        named, lacking = {*(options.get("columns") or ())}, {*REQUIRED} - {*file.raw.daily.columns}
        # a column that is named, or known by no name, may be the one that is wanted
        if in_part and (not named <= file.raw.chosen.keys() or (lacking and file.raw.unused)):
            return read_raw(paths[0], site, shown_as=shown_as, **options)
        lent = file.raw.daily.assign(**dict.fromkeys(lacking, np.nan)) if lacking else file.raw.daily
        return file._replace(raw=replace(file.raw, daily=lent))
    files, wrong = _read_each(paths, site, {**options, "needs_rain": False, "in_part": True})
    found = {name for file in files for name in (*file.raw.daily.columns, *file.raw.chosen)}
    if not wrong and not {*REQUIRED, *(options.get("columns") or ())} <= found:
        files, wrong = _read_each(paths, site, options)
    if len(wrong) == 1:
        raise wrong[0]
    if wrong:  # what is wrong with all files, as their headers, is said of the first
        of_each = dict[str, Problem]()
        for of_file in wrong:
            for mistake in of_file.problems:
                of_each.setdefault(mistake.sentence(), mistake.under(f"{of_file.file}: "))
        raise WeatherError(*of_each.values())
    return joined(
        files, site, shown_as=shown_as, columns=chosen_columns(options.get("columns") or {}, "weather", shown_as)
    )


def _read_each(
    paths: Sequence[Path], site: Site, options: Mapping[str, Any]
) -> tuple[list[RawFile], list[WeatherError]]:
    """Read files one by one; return them, and the errors of those that can't be."""
    files, wrong = list[RawFile](), list[WeatherError]()
    for each in paths:
        try:
            files.append(read_raw(each, site, shown_as=each.name, **options))
        except WeatherError as error:
            wrong.append(error)
    return files, wrong


def read_raw(
    path: str | Path,
    site: Site,
    *,
    shown_as: str,
    file_format: str = "auto",
    columns: Columns = None,
    missing: Sequence[str] = (),
    table: str = "weather",
    trust: Sequence[str] = (),
    **wanted: Any,
) -> RawFile:
    """
    Recognise a file and read it, unchecked.

    Parameters
    ----------
    path, site, shown_as, file_format, columns, missing
        As in `read_weather`; one file.
    table : str
        The scenario's table that names the file.
    trust : sequence of str
        As in `read_weather`.
    **wanted : bool
        As in `Source`: ``needs_rain``, ``rainless_if_empty`` and ``in_part``.

    Raises
    ------
    WeatherError
        An unknown format, or a file that doesn't hold to its own.
    """
    choices = chosen_columns(columns or {}, table, shown_as)
    source = replace(open_source(path, shown_as=shown_as), table=table, missing=tuple(missing), **wanted)
    refuse_foreign(source)
    refuse_months(source)
    source = as_archived(source)
    if file_format in ("auto", *OF_NO_FORMAT):
        source = as_table(source)
    reader, why = choose_reader(source, file_format=file_format)
    if missing and reader.NAME not in OF_NO_FORMAT:
        raise source.refusal("own-missing", name=reader.NAME, table=table)
    if choices and reader.NAME not in OF_NO_FORMAT:
        keys = ", ".join(f"{table}.columns.{key}" for key in choices)
        raise source.refusal("own-columns", keys=keys, name=reader.NAME, table=table)
    file = RawFile(reader.read(source, columns=choices, site=site), source, reader.NAME, why)
    if file.raw.problems:  # whole columns in another unit are cured along with their names
        inspected = checked_file(file, Rules(site, table=table, trust=trust)).inspected
        units = (
            wrong for wrong in inspected.problems if wrong.where in inspected.condemned or wrong.code == "rain-range"
        )
        raise WeatherError(*file.raw.problems, *units, file=shown_as)
    return file


def chosen_columns(columns: Mapping[str, Any], table: str, shown: str) -> dict[str, ColumnChoice]:
    """Bring the user's choice of columns, in whichever form, into ours."""
    choices: dict[str, ColumnChoice] = {}
    problems: list[Problem] = []
    for name, given in columns.items():
        parts = {"column": given} if isinstance(given, str) else given
        get = parts.get if isinstance(parts, Mapping) else lambda key, of=parts: getattr(of, key, None)
        header, unit = get("column"), get("unit")
        header = name if header is None and unit else header
        if isinstance(header, str) and header.strip() and (unit is None or (isinstance(unit, str) and unit.strip())):
            choices[str(name)] = ColumnChoice(header.strip(), unit)
        else:
            problems.append(problem("not-a-column", f"{table}.columns.{name}", given))
    if problems:
        raise WeatherError(*problems, file=shown)
    return choices


def checked_file(file: RawFile, rules: Rules, others: Sequence[tuple[Fallback, CheckedFile]] = ()) -> CheckedFile:
    """Set a file's days in order, as far as others reach, and check their values."""
    site = rules.site
    if file.raw.typical:
        file = file._replace(raw=laid_out(file.raw, start=rules.start, end=rules.end))
    file = file._replace(raw=once(without_marks(file.raw)))
    raw, notes = file.raw, [*station_notes(file.raw.station, site), *file.raw.notes]
    height = rules.wind_height or raw.wind_height or FINISHED_HEIGHT
    if rules.wind_height is None and height != FINISHED_HEIGHT and "wind" in raw.daily.columns:
        under = "[weather]" if rules.table == "weather" else f"its [[{rules.table}]]"
        notes.append(note("wind-as-format", height=height, under=under))
    reach = [day for _, other in others for day in (other.days[0], other.days[-1])]
    arranged = arrange(raw, start=rules.start, end=rules.end, reach=reach)
    daily, options = arranged.daily.copy(), (rules.too_bright, (rules.limits or GapLimits()).share)
    sky = sky_of(pd.DatetimeIndex(daily.index), latitude=site.latitude, elevation=site.elevation)
    factor = 1.0 if height == FINISHED_HEIGHT else float(air.wind_at_2m(1.0, height=height))
    inspection = Inspection(
        *(daily, arranged.asked, raw, sky, site, rules.table, factor, *options, frozenset(rules.trust), rules.cautious),
        own_marks=file.reader not in OF_NO_FORMAT,
    )
    doubts = (*raw.doubts, *place_doubts(raw.station, arranged.daily, site))
    inspected = inspect_values(inspection)
    notes += _without_spare(inspected)
    return CheckedFile(file, arranged, inspected, height, tuple(notes), doubts)


# columns of one quantity, the one that is used first
_HUMIDITIES = ("vapour_pressure", "dew_point", "rh_max", "rh_min", "rh_mean")


def _without_spare(inspected: Inspection) -> Iterator[str]:
    """Leave out what can't be true of columns that nothing needs, for a better one is whole: few cells, or all; say why."""
    wrong = {problem.where for problem in inspected.problems}
    whole = [
        name
        for name in _HUMIDITIES
        if inspected.has(name) and name not in wrong and inspected.known(name).size == inspected.asked.sum()
    ]
    spare = set(_HUMIDITIES[_HUMIDITIES.index(whole[0]) + 1 :] if whole else ()) | {"pan_evaporation"}
    # the day's lowest is used along with its highest, whatever unit it has
    spare -= inspected.condemned & {"rh_min"} if whole[:1] == ["rh_max"] else set()
    # of the same cells, as hours' humidity: what is wrong with one is wrong with the other
    of = inspected.raw.of_records
    spare -= {name for name in spare & {"rh_max"} if whole and name in of and of[name] == of.get(whole[0])}
    left_out = [problem for problem in inspected.problems if problem.where in spare]
    inspected.problems[:] = [problem for problem in inspected.problems if problem.where not in spare]
    for each in left_out:
        true = 0 if each.where in inspected.condemned else inspected.known(each.where).size
        if true >= (1.0 - GapLimits().share) * inspected.asked.sum():  # those cells were taken out, and the rest tells
            brief = in_both(replace(each, expected="", cure="").sentence)()
            caution = Caution(each.code, in_both(each.sentence)(), (), note("spare-cells", name=each.where), brief)
            inspected.cautions += [caution] * inspected.cautious
        else:
            inspected.put(slice(None), [each.where], np.nan)
        yield note("spare", sentence=each.sentence())
