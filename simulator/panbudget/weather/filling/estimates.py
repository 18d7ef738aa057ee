"""
Estimates: which quantities a day has, and by what rule those are filled that are missing (how many may be: see `gaps`).

FAO-56 chapter 3. Humidity is one vapour pressure a day out of whatever the file has, and the relative humidities that
follow. Order of preference: vapour pressure or dew point; maximum and minimum relative humidity; the maximum; the mean;
at last the dew point from the minimum temperature (FAO-56 eq 14, 17, 18, 19, 48).
"""

from collections.abc import Callable, Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats, Mask
from panbudget.physics import air
from panbudget.weather import flags as origins
from panbudget.weather.flags import Flags, flagged
from panbudget.weather.site import Site, Sky

#: values, and how each came about, (days,)
Column = tuple[Floats, Flags]

#: FAO-56 chapter 3: the wind to assume where nothing is known. [m/s at 2 m]
_NO_WIND_KNOWN = 2.0


#: United Nations Environment Programme, World Atlas of Desertification (1997), from memory: an aridity index
#: (rain over evaporative demand) below 0.5 is semi-arid or drier. [-]
DRY_BELOW = 0.5


# columns that give a vapour pressure -> how good they are, and how: of their values, tmin and tmax. Best first: a day's comes
# from the first that it has; vapour pressure and dew point say the same thing
_KINDS: dict[tuple[str, ...], tuple[int, Callable[..., Floats]]] = {
    ("vapour_pressure",): (0, lambda ea, **_: ea),
    ("dew_point",): (0, lambda dew_point, **_: air.vapour_pressure_from_dew_point(dew_point)),
    ("rh_max", "rh_min"): (1, air.vapour_pressure_from_rh_max_min),
    ("rh_max",): (2, lambda high, *, tmin, **_: air.vapour_pressure_from_rh_max(high, tmin=tmin)),
    ("rh_mean",): (3, air.vapour_pressure_from_rh_mean),
}


def column_or_nan(daily: pd.DataFrame, name: str) -> Floats:
    """Return a column's values, all NaN where the table lacks it."""
    return daily[name].to_numpy(dtype=float) if name in daily.columns else np.full(len(daily), np.nan)


def known_days(daily: pd.DataFrame) -> dict[str, Mask]:
    """Return the days that have each quantity, measured or from what is measured: "radiation" also by sunshine."""
    known = {name: _has(daily, (name,)) for name in ("tmin", "tmax", "wind", "rain", "radiation")}
    known["radiation"] |= _has(daily, ("sunshine",))
    return {**known, "humidity": has_humidity(daily)}


def unmeasured(columns: Iterable[str]) -> list[str]:
    """Return which of humidity, wind and radiation a table of these columns alone has no measure of."""
    have = set(columns)
    measured = {
        "humidity": any(have.issuperset(kind) for kind in _KINDS),
        "wind": "wind" in have,
        "radiation": not have.isdisjoint(("radiation", "sunshine")),
    }
    return [name for name, known in measured.items() if not known]


def filled_with(daily: pd.DataFrame, name: str, value: float, flag: str) -> Column:
    """
    Fill a column's gaps with one value.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.
    name : str
        The column; it may be absent.
    value : float
        NaN leaves the gaps. [unit of the column]
    flag : str
        How the value came about.

    Returns
    -------
    (ndarray, Categorical)
        Values and flags, (days,).
    """
    values = column_or_nan(daily, name)
    missing = np.isnan(values)
    return np.where(missing, value, values), flagged({flag: missing}, origins.MEASURED)


def filled_wind(wind: Floats, days: pd.DatetimeIndex) -> Column:
    """
    Fill gaps in the wind with its own monthly mean, else 2 m/s.

    Parameters
    ----------
    wind : ndarray, (days,)
        NaN where missing. [m/s at 2 m]
    days : DatetimeIndex
        The days.

    Returns
    -------
    (ndarray, Categorical)
        Wind [m/s at 2 m] and flags, (days,).

    Notes
    -----
    FAO-56 chapter 3. The mean is that month's; where that month has no wind at all, the same month's of all
    years.
    """
    known = ~np.isnan(wind)
    if known.all():
        return wind, flagged({origins.MEASURED: known}, origins.MEASURED)
    series = pd.Series(wind, index=days)
    this_month = series.groupby([days.year, days.month]).transform("mean")
    any_year = series.groupby(days.month).transform("mean")
    mean = this_month.fillna(any_year)
    flags = flagged({origins.MONTHLY_WIND: mean.notna().to_numpy(), origins.MEASURED: known}, origins.DEFAULT_WIND)
    return np.asarray(series.fillna(mean).fillna(_NO_WIND_KNOWN), dtype=np.float64), flags


def filled_radiation(daily: pd.DataFrame, *, sky: Sky, site: Site, limited: Mask, in_file: Mask) -> Column:
    """
    Take radiation, else turn sunshine into it, else estimate it from the temperature range.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.
    sky : Sky
        Of its days.
    site : Site
        Its setting decides kRs.
    limited : ndarray of bool, (days,)
        Where radiation was brought down to 1.05 Rso.
    in_file : ndarray of bool, (days,)
        Days with a row.

    Returns
    -------
    (ndarray, Categorical)
        Rs [MJ m⁻² d⁻¹] and flags, (days,).

    Notes
    -----
    FAO-56 eq 35 and 50. Days that have only sunshine in a file that has radiation on most are flagged.
    """
    names = ("tmin", "tmax", "sunshine", "radiation")
    tmin, tmax, sunshine, measured = (column_or_nan(daily, name) for name in names)
    has_radiation = ~np.isnan(measured)
    if has_radiation.all():
        return measured, flagged({origins.LIMITED: limited}, origins.MEASURED)
    coefficient = air.KRS_COAST if site.setting == "coast" else air.KRS_INLAND
    above = {"extraterrestrial": sky.extraterrestrial}
    by_sun = air.radiation_from_sunshine(sunshine, daylight=sky.daylight, **above)
    by_range = air.radiation_from_temperature_range(tmin, tmax, clear_sky=sky.clear, coefficient=coefficient, **above)
    has_sun = ~np.isnan(by_sun)
    mostly_measured = has_radiation[in_file].mean() > 0.5
    by_sunshine = origins.SUNSHINE_ONLY if mostly_measured else origins.SUNSHINE_EQ_35
    by = {by_sunshine: has_sun, origins.MEASURED: has_radiation, origins.LIMITED: limited}
    flags = flagged(by, origins.RADIATION_FROM_RANGE)
    return np.where(has_radiation, measured, np.where(has_sun, by_sun, by_range)), flags


def has_humidity(daily: pd.DataFrame) -> Mask:
    """
    Tell which days have a vapour pressure without estimating one.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.

    Returns
    -------
    ndarray of bool, (days,)
        A minimum relative humidity alone is not enough.
    """
    return np.asarray(np.any([_has(daily, columns) for columns in _KINDS], axis=0), dtype=bool)


def _has(daily: pd.DataFrame, names: tuple[str, ...]) -> Mask:
    if not all(name in daily.columns for name in names):
        return np.zeros(len(daily), dtype=bool)
    has: Mask = np.ones(len(daily), dtype=bool)
    for name in names:
        has &= ~np.isnan(daily[name].to_numpy(dtype=float))
    return has


def humidity_of(
    daily: pd.DataFrame, *, dry: bool, in_file: Mask, borrowed: npt.NDArray[np.object_] | None = None
) -> dict[str, Column]:
    """
    Find each day's humidity.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.
    dry : bool
        Whether an estimated dew point lies 2 °C below Tmin instead of at it.
    in_file : ndarray of bool, (days,)
        Days with a row: what the file has on most of them is its main source.
    borrowed : ndarray of object, (days,), optional
        The flag of each vapour pressure that another station lent, empty text elsewhere.

    Returns
    -------
    dict
        "vapour_pressure" [kPa], "rh_mean", "rh_min" [%] -> values and flags, (days,). Relative humidities are bounded to
        100 %: at a dew point between the day's mean and maximum temperature the quotient would pass it.
    """
    tmin, tmax = (daily[name].to_numpy(dtype=float) for name in ("tmin", "tmax"))
    nothing = np.full(len(daily), np.nan)
    estimate = origins.DEW_POINT_FROM_TMIN_DRY if dry else origins.DEW_POINT_FROM_TMIN
    has = {columns: _has(daily, columns) for columns in _KINDS}
    texts = () if borrowed is None else borrowed
    lent = {flag: texts == flag for flag in dict.fromkeys(texts) if flag}
    own = in_file & ~np.any([*lent.values(), np.zeros(len(daily), dtype=bool)], axis=0)
    main = _main_rank(has, own if own.any() else in_file)
    by = {estimate: np.ones(len(daily), dtype=bool)}
    best, ea = next((at for at, days in enumerate(has.values()) if days.all()), len(_KINDS)), nothing
    if best == len(_KINDS):
        offset = air.DRY_DEW_POINT_OFFSET if dry else 0.0
        ea = air.vapour_pressure_from_dew_point(air.dew_point_from_tmin(tmin, offset=offset))
    for columns, (rank, vapour_pressure) in reversed(list(_KINDS.items())[: best + 1]):
        if (days := has[columns]).any():
            figures = [daily[name].to_numpy(dtype=float) for name in columns]
            ea = np.where(days, vapour_pressure(*figures, tmin=tmin, tmax=tmax), ea)
            by[_flag(" and ".join(columns), is_main=rank <= main)] = days
    flags = flagged(by | lent, estimate)
    from_ea = {origins.FROM_ESTIMATED: origins.filled_in(flags), **lent}
    result = {"vapour_pressure": (ea, flags)}
    middle = (column_or_nan(daily, "rh_max") + column_or_nan(daily, "rh_min")) / 2.0
    for name, temperature, mean in (("rh_mean", (tmax + tmin) / 2.0, middle), ("rh_min", tmax, nothing)):
        # the file's own figure goes before the mean of its extremes
        better = {origins.RH_MEAN_OF_EXTREMES: mean, origins.MEASURED: column_or_nan(daily, name)}
        known, values = {flag: ~np.isnan(own) for flag, own in better.items()}, nothing
        if not any(days.all() for days in known.values()):
            values = np.minimum(100.0 * ea / air.saturation_vapour_pressure(temperature), 100.0)
        for flag, days in known.items():
            values = np.where(days, better[flag], values)
        result[name] = (values, flagged(from_ea | known, origins.FROM_VAPOUR_PRESSURE))
    return result


def _flag(source: str, *, is_main: bool) -> str:
    if source == "vapour_pressure":
        return origins.MEASURED
    return f"eq {origins.HUMIDITY_EQUATIONS[source]} from {source}" if is_main else f"from {source} only"


def _main_rank(has: dict[tuple[str, ...], Mask], in_file: Mask) -> int:
    """Rank of the best kind that most days of the file have; of the commonest one if none has most."""
    counts = list[int]()
    for rank in range(4):
        days = np.any([has[columns] for columns in _KINDS if _KINDS[columns][0] == rank], axis=0)
        counts.append(int(np.count_nonzero(days & in_file)))
        if 2 * counts[-1] > np.count_nonzero(in_file):
            return rank
    return int(np.argmax(counts))


def aridity(daily: pd.DataFrame, *, radiation: Floats, wind: Floats, rain: Floats, sky: Sky, site: Site) -> float:
    """
    Rain over evaporative demand, of the whole record.

    Parameters
    ----------
    daily : DataFrame
        With tmin and tmax.
    radiation, wind, rain : ndarray, (days,)
        Filled. [MJ m⁻² d⁻¹, m/s at 2 m, mm]
    sky : Sky
        Of the days.
    site : Site
        For its elevation.

    Returns
    -------
    float
        Over the days that have both; infinite if there is no demand. [-]

    Notes
    -----
    The demand is FAO-56 eq 6 with the dew point at Tmin, soil heat left out: only good enough to tell a dry
    record from a wet one. A record of one dry summer counts as dry, which is what the correction is for.
    """
    tmin, tmax = (daily[name].to_numpy(dtype=float) for name in ("tmin", "tmax"))
    T = (tmax + tmin) / 2.0
    ea = air.vapour_pressure_from_dew_point(tmin)
    es = air.mean_saturation_vapour_pressure(tmin, tmax)
    gamma = air.psychrometric_constant(air.atmospheric_pressure(site.elevation))
    delta = air.slope_of_saturation_vapour_pressure(T)
    Rnl = air.net_longwave_radiation(radiation, ea, tmin=tmin, tmax=tmax, clear_sky=sky.clear)
    Rn = air.net_shortwave_radiation(radiation) - Rnl
    drying = gamma * 900.0 / (T + 273.0) * wind * (es - ea)
    demand = np.maximum((0.408 * delta * Rn + drying) / (delta + gamma * (1.0 + 0.34 * wind)), 0.0)
    known = ~np.isnan(demand) & ~np.isnan(rain)
    total = float(demand[known].sum())
    return float(rain[known].sum()) / total if total > 0.0 else float("inf")
