"""
CF: what the variables of gridded weather are, by the names and units of the CF conventions (`grid.toml`).

Each is read, converted, left aside, or refused where its numbers contradict the unit that it states; a list tells which.
"""

import itertools
import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from panbudget.errors import Problem
from panbudget.numeric import Floats
from panbudget.physics.air import vapour_pressure_from_specific_humidity
from panbudget.studies.sweep import named_twice, problem
from panbudget.units import UnitError, column_conversion
from panbudget.weather.filling.estimates import unmeasured
from panbudget.words import packaged

TABLE = packaged("studies/sweep/grid.toml")
_FACTOR = re.compile(r"([^\d\s^*/·.-]+|1)(?:\^|\*\*)?([-+]?\d+)?")
_HEIGHT = re.compile(r"(\d+(?:\.\d+)?)[ -]?(?:m|metres?|meters?)\b")
_SPIKES = 1000  # one number in so many may be a spike, which later costs its year and not the grid
_ROUNDED = 0.01  # so far below zero packing and regridding may leave a dry day [mm]
#: named from others of the grid
_MADE_FROM = {"wind": ("eastward_wind", "northward_wind"), "vapour_pressure": ("specific_humidity", "mixing_ratio")}


class Variable(NamedTuple):
    """A variable of the grid, its unit, and what brings it to ours; the scenario's key that names it, if any does."""

    variable: str
    unit: str
    factor: float
    offset: float
    key: str = ""


class Recognised(NamedTuple):
    """
    What a grid's variables are.

    ``variables``: what we take -> its `Variable`; ``unknown``: those whose unit is none, with it; ``ignored``: variable -> why;
    ``wind_height`` [m] and by what it is known.
    """

    variables: dict[str, Variable]
    unknown: dict[str, Variable]
    ignored: dict[str, str]
    wind_height: tuple[float | None, str]

    @property
    def names(self) -> list[str]:
        """The grid's variables that are read."""
        return list(dict.fromkeys(part.variable for part in self.variables.values()))


def canonical(unit: str) -> str:
    """
    Write a unit as `grid.toml` has it.

    Examples
    --------
    >>> canonical("kg/m2/s"), canonical("W m**-2"), canonical("mm/d"), canonical("degrees_Celsius")
    ('kg m-2 s-1', 'W m-2', 'mm day-1', 'degC')
    """
    aliases, plain = TABLE["aliases"], " ".join(unit.replace("²", "2").replace("⁻", "-").replace("¹", "1").split())
    if plain in aliases:
        return str(aliases[plain])
    parts: list[str] = []
    for place, side in enumerate(re.split(r"/|\bper\b", plain)):
        for name, power in _FACTOR.findall(side):
            exponent = int(power or 1) * (-1 if place else 1)
            parts.append(aliases.get(name, name) + ("" if exponent == 1 else str(exponent)))
    return " ".join(part for part in parts if part != "1" or len(parts) == 1)


def in_metres(unit: str) -> float:
    """How many metres a unit of heights is; NaN of no such unit."""
    try:
        return column_conversion(canonical(unit), "m")[0]
    except UnitError:
        return float("nan")


def recognise(data: Any, chosen: Mapping[str, Any], time: str, wind_height: float | None) -> Recognised:
    """
    Tell what a grid's variables are.

    Parameters
    ----------
    data : xarray.Dataset
    chosen : mapping
        What we take -> the user's choice of its variable and unit.
    time : str
        Its axis of days.
    wind_height : float, optional
        As the scenario says it. [m]

    Returns
    -------
    Recognised
        Of names that `wrong_names` lets pass.
    """
    taken: dict[str, Variable] = {}
    ignored: dict[str, str] = {}
    for name, choice in chosen.items():
        unit = choice.unit or str(data[choice.column].attrs.get("units", ""))
        taken[name] = _variable(name, choice.column, unit, f"sites.variables.{name}")
    used = {part.variable for part in taken.values()}
    ranked = [(_named(values), str(key)) for key, values in data.data_vars.items() if time in values.dims]
    for (rank, why), key in sorted(ranked, key=lambda each: each[0][0]):
        name = TABLE["names"][rank][0] if rank < len(TABLE["names"]) else ""
        if key in used:
            continue
        if name and name not in taken:
            taken[name] = _variable(name, key, str(data[key].attrs.get("units", "")))
        else:
            ignored[key] = TABLE["says"]["better"].format(name=name) if name else why
    _set_aside(taken, ignored)
    wind = next((taken[name].variable for name in ("wind", "eastward_wind") if name in taken), "")
    height = (wind_height, "the scenario") if wind_height is not None else _height(data[wind]) if wind else (None, "")
    unknown = {name: part for name, part in taken.items() if np.isnan(part.factor)}
    return Recognised(taken, unknown, ignored, height)


def _set_aside(taken: dict[str, Variable], ignored: dict[str, str]) -> None:
    """Leave out what a better variable makes needless, and a wind component without the other."""
    winds, moist = ([part for part in parts if part in taken] for parts in _MADE_FROM.values())
    if len(winds) == 1 or "wind" in taken:
        reason = "speed-first" if "wind" in taken else "alone"
        ignored.update({taken.pop(part).variable: TABLE["says"][reason] for part in winds})
    surplus = moist if "vapour_pressure" in taken else moist[1:]
    ignored.update({taken.pop(part).variable: TABLE["says"]["pressure-first"] for part in surplus})


def _variable(name: str, variable: str, unit: str, key: str = "") -> Variable:
    factor, offset = TABLE["units"][TABLE["kinds"][name]].get(canonical(unit), (np.nan, np.nan))
    return Variable(variable, unit, factor, offset, key)


def _named(values: Any) -> tuple[int, str]:
    """Where in the table of names a variable's stands; or after its end, and why it is not taken."""
    standard, methods = values.attrs.get("standard_name"), str(values.attrs.get("cell_methods", ""))
    extreme = next((word for word in ("minimum", "maximum") if word in methods), "mean")
    fitting = [(rank, method) for rank, (_, known, method) in enumerate(TABLE["names"]) if known == standard]
    for rank, method in fitting:
        if method in ("", extreme):
            return rank, ""
    which = "mean-temperature" if extreme == "mean" else "extreme"
    return len(TABLE["names"]), TABLE["says"][which if fitting else "no-name"].format(method=extreme)


def _height(values: Any) -> tuple[float | None, str]:
    """At which height a variable is: by its coordinate, its attribute or its long name. [m]"""
    for key, coordinate in values.coords.items():
        if "height" in (key, coordinate.attrs.get("standard_name")) and coordinate.size == 1:
            metre = in_metres(str(coordinate.attrs.get("units", "m")))
            return float(coordinate.to_numpy().ravel()[0]) * metre, f'its coordinate "{key}"'
    for key in ("height", "long_name"):
        text = str(values.attrs.get(key, ""))
        if key == "height" and re.fullmatch(r"\d+(\.\d+)?", text):
            return float(text), 'its attribute "height"'
        if found := _HEIGHT.search(text):
            return float(found[1]), f'its attribute "{key}"'
    return None, ""


def wrong_names(data: Any, chosen: Mapping[str, Any], time: str) -> Iterator[Problem]:
    """List the variables that the user names and that are not there, and those of which two are fit for one thing."""
    yield from named_twice("sites.variables", {name: choice.column for name, choice in chosen.items()})
    for name, choice in chosen.items():
        if name not in TABLE["kinds"]:
            yield problem("unknown-column", f"sites.variables.{name}", known=", ".join(TABLE["kinds"]))
        elif choice.column not in data:
            have = ", ".join(map(str, data.data_vars))
            yield problem("no-variable.named", f"sites.variables.{name}", variable=choice.column, variables=have)
    fit: dict[int, list[str]] = {}
    for key, values in data.data_vars.items():
        if time in values.dims:
            fit.setdefault(_named(values)[0], []).append(str(key))
    for rank, fitting in fit.items():
        if len(fitting) > 1 and rank < len(TABLE["names"]) and (name := TABLE["names"][rank][0]) not in chosen:
            yield problem("two-variables", value=name, variables=" and ".join(fitting), name=name)


def wrong_needs(recognised: Recognised, *, rain: bool) -> Iterator[Problem]:
    """List what a sweep can't do without; rain only where nobody says that no figure means none."""
    for name, method in (("tmin", "minimum"), ("tmax", "maximum")):
        if name not in recognised.variables:
            yield problem("no-variable.needed", value=name, name=name, method=method)
    if rain and "rain" not in recognised.variables:
        yield problem("no-variable.rain", value="rain")


def wrong_units(
    recognised: Recognised, samples: Mapping[str, Floats], trust: tuple[str, ...] = ()
) -> Iterator[Problem]:
    """
    List the units that are unknown, and those that a grid's numbers contradict.

    Parameters
    ----------
    recognised : Recognised
    samples : mapping
        What we take -> some of its numbers, as they are in the grid.
    trust : tuple of str
        Checks that the user knows better than, such as "rain-unit".
    """
    for name, part in recognised.variables.items():
        kind, sample, bounds = TABLE["kinds"][name], samples.get(name, np.empty(0)), TABLE["plausible"].get(name, {})
        like = _looks_like(name, sample, part)
        values = {"variable": part.variable, "unit": part.unit, "name": name, "known": ", ".join(TABLE["units"][kind])}
        check = f"{_CHECKS.get(kind, name.replace('_', '-'))}-unit"
        values |= {"like": like, "key": f"sites.variables.{name}", "check": check}
        if name in recognised.unknown:
            code = "no-unit" if not part.unit else "unknown-unit"
            # rain's bounds are so wide that its numbers tell a unit from what is stated only, not from all that it may be
            names_unit = like and (not part.unit or "apart" not in bounds)
            yield problem(f"{code}.like" if names_unit else code, part.key and f"{part.key}:", part.unit, **values)
        elif values["check"] not in trust and (
            like or not ("apart" in bounds or _fits(name, in_our_unit(sample, part)))
        ):
            ends = {which: f"{value:.4g}" for which, value in _ends(sample).items()}
            values |= {**ends, "ours": TABLE["ours"][kind]}
            values |= dict(zip(("low", "high", "least", "most"), (*bounds["median"], *bounds["highest"]), strict=True))
            yield problem("wrong-unit" if like else "wrong-unit.none", part.key and f"{part.key}:", part.unit, **values)


def typical(recognised: Recognised, samples: Mapping[str, Floats]) -> dict[str, str]:
    """Say the mean of a sample of each variable, in our unit."""
    known = {name: part for name, part in recognised.variables.items() if not np.isnan(samples[name]).all()}
    means = {name: float(np.nanmean(in_our_unit(samples[name], part))) for name, part in known.items()}
    return {name: f"{mean:.3g} {TABLE['ours'][TABLE['kinds'][name]]}" for name, mean in means.items()}


def in_our_unit(numbers: Floats, part: Variable) -> Floats:
    """Return a variable's numbers in our unit."""
    return numbers * part.factor + part.offset


_CHECKS = {"temperature": "temperature", "share": "humidity", "speed": "wind"}


def _ends(sample: Floats) -> dict[str, float]:
    known = np.sort(sample[~np.isnan(sample)])
    return {"median": float(np.median(known)), "highest": float(known[-1 - known.size // _SPIKES])}


def _fits(name: str, sample: Floats) -> bool:
    bounds = TABLE["plausible"].get(name)
    if bounds is None or np.isnan(sample).all():
        return True
    return all(bounds[which][0] <= value <= bounds[which][1] for which, value in _ends(sample).items())


def _looks_like(name: str, sample: Floats, part: Variable) -> str:
    """The unit that a variable's numbers look like, if it is plainly another than the stated one, or none is stated."""
    stated = not np.isnan(part.factor)
    if np.isnan(sample).all() or name not in TABLE["plausible"] or (stated and _fits(name, in_our_unit(sample, part))):
        return ""
    apart = TABLE["plausible"][name].get("apart", 1.0)
    for unit, (factor, offset) in TABLE["units"][TABLE["kinds"][name]].items():
        ratio = max(factor / part.factor, part.factor / factor) if stated else apart
        if ratio >= apart and _fits(name, sample * factor + offset):
            return str(unit)
    return ""


def to_ours(variables: Mapping[str, Variable], raw: Mapping[str, Floats], pressure: Floats) -> dict[str, Floats]:
    """
    Bring numbers of a grid to standard columns and units.

    Parameters
    ----------
    variables : mapping
        What we take -> its `Variable`.
    raw : mapping
        The grid's variable -> its numbers, (days, cells).
    pressure : ndarray (cells,)
        Of each cell's elevation, where the grid has none. [kPa]

    Returns
    -------
    dict
        Standard column -> ndarray (days, cells).
    """
    ours = {name: in_our_unit(raw[part.variable], part) for name, part in variables.items()}
    if "rain" in ours:
        ours["rain"] = np.where((ours["rain"] < 0.0) & (ours["rain"] > -_ROUNDED), 0.0, ours["rain"])
    if "eastward_wind" in ours:
        ours["wind"] = np.hypot(ours.pop("eastward_wind"), ours.pop("northward_wind"))
    for name in ("specific_humidity", "mixing_ratio"):
        if name in ours:
            content = ours.pop(name)
            share = content / (1.0 + content) if name == "mixing_ratio" else content
            known = ours.get("pressure", np.full_like(share, np.nan))
            at = np.where(np.isnan(known), pressure, known)
            ours["vapour_pressure"] = vapour_pressure_from_specific_humidity(share, pressure=at)
    return ours


def listed(recognised: Recognised) -> list[dict[str, str]]:
    """
    List every variable: what for, its name and unit in the grid, and whether it is read, converted, estimated or ignored.

    Returns
    -------
    list of dict
        for, variable, unit, how, note.
    """
    says, variables = TABLE["says"], recognised.variables
    lines = []
    for name, part in variables.items():
        how = "read" if (part.factor, part.offset) == (1.0, 0.0) else "converted"
        note, target = "", name
        if name in ("eastward_wind", "northward_wind"):
            target, how, note = "wind", "converted", says["components"]
        elif name in ("specific_humidity", "mixing_ratio"):
            by = "" if "pressure" in variables else "-elevation"
            target, how, note = "vapour_pressure", "converted", says[name.partition("_")[0] + by]
        lines.append({"for": target, "variable": part.variable, "unit": part.unit, "how": how, "note": note})
    have = {line["for"] for line in lines}
    for line in lines:
        if line["for"] == "wind":
            height, by = recognised.wind_height
            text = "height-unknown" if height is None else "at-2m" if height == 2.0 else "height"
            line["note"] = "; ".join(filter(None, (line["note"], says[text].format(height=height, by=by))))
    for before, line in itertools.pairwise(lines):
        line["note"] = "" if line["note"] == before["note"] else line["note"]  # two components are told once
    estimated = [*unmeasured(have), *(["pressure"] if "pressure" not in have else [])]
    nothing = {"variable": "", "unit": ""}
    lines += [{"for": name, **nothing, "how": "estimated", "note": says[name]} for name in estimated]
    return lines + [
        {"for": "", "variable": name, "unit": "", "how": "ignored", "note": says["not-used"].format(why=why)}
        for name, why in recognised.ignored.items()
    ]
