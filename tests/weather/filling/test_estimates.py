"""
Which humidity is a day's, and how dry a record is: FAO-56 (1998) chapter 3, written out again here.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.filling.estimates import aridity, has_humidity, humidity_of, unmeasured
from panbudget.weather.finishing import _climate
from panbudget.weather.site import sky_of
from tests.weather.sites import Site


def e0(temperature):
    """FAO-56 eq 11."""
    return 0.6108 * math.exp(17.27 * temperature / (temperature + 237.3))


def days(count=4, **columns):
    daily = pd.DataFrame({"tmin": 14.0, "tmax": 30.0} | columns, index=pd.date_range("2025-06-01", periods=count))
    return daily.astype(float)


def found(daily, *, dry=False, in_file=None, borrowed=None):
    mask = np.ones(len(daily), bool) if in_file is None else np.asarray(in_file)
    return humidity_of(daily, dry=dry, in_file=mask, borrowed=borrowed)


@pytest.mark.parametrize(("dry", "dew_point"), [(False, 14.0), (True, 12.0)])
def test_the_dew_point_is_at_tmin_and_2_degrees_below_in_a_dry_climate(dry, dew_point):
    """FAO-56 eq 48."""
    values, flags = found(days(), dry=dry)["vapour_pressure"]
    assert values == pytest.approx(e0(dew_point))
    assert set(flags) == {"dew point from tmin - 2 °C" if dry else "dew point from tmin"}


def test_a_relative_humidity_never_passes_100():
    """A dew point of 25 °C lies above the day's mean of 22."""
    result = found(days(dew_point=25.0))
    assert result["rh_mean"][0].tolist() == [100.0] * 4
    assert result["rh_min"][0] == pytest.approx(100.0 * e0(25.0) / e0(30.0))


def test_the_files_own_mean_goes_before_that_of_its_extremes():
    nan = np.nan
    result = found(days(rh_max=[80, 80, nan, nan], rh_min=[40, 40, 40, nan], rh_mean=[50, nan, nan, 70]))
    mean, flags = result["rh_mean"]
    assert mean[[0, 1, 3]].tolist() == [50.0, 60.0, 70.0]
    assert flags.tolist() == ["measured", "mean of rh_max and rh_min", "from estimated vapour pressure", "measured"]
    low, low_flags = result["rh_min"]
    assert low[:3].tolist() == [40.0] * 3
    assert low_flags.tolist() == ["measured"] * 3 + ["from estimated vapour pressure"]


@pytest.mark.parametrize(("full", "flag"), [(2, "eq 18 from rh_max"), (3, "from rh_max only")])
def test_the_main_source_is_the_best_that_more_than_half_of_the_days_have(full, flag):
    """On two of four days both extremes: no majority, so that the maximum alone, on all four, is the main source."""
    low = [35.0] * full + [np.nan] * (4 - full)
    assert found(days(rh_max=80.0, rh_min=low))["vapour_pressure"][1][3] == flag


@pytest.mark.parametrize("best", ["vapour_pressure", "dew_point"])
def test_both_extremes_are_less_than_the_vapour_itself(best):
    """On three of four days that, on the last the extremes alone."""
    nan = np.nan
    flags = found(days(**{best: [1.5, 1.5, 1.5, nan]}, rh_max=[nan, nan, nan, 80.0], rh_min=[nan, nan, nan, 35.0]))
    assert flags["vapour_pressure"][1][3] == "from rh_max and rh_min only"


def test_the_commonest_source_is_the_main_one_where_none_has_most_days():
    nan = np.nan
    daily = days(
        5, dew_point=[10, nan, nan, nan, nan], rh_max=[nan, 80, 80, nan, nan], rh_mean=[nan, nan, nan, 60, nan]
    )
    flags = found(daily)["vapour_pressure"][1].tolist()
    assert flags == ["eq 14 from dew_point", *["eq 18 from rh_max"] * 2, "from rh_mean only", "dew point from tmin"]


def test_days_without_a_row_and_borrowed_ones_have_no_say_in_the_main_source():
    nan = np.nan
    daily = days(5, vapour_pressure=[nan, nan, 1.5, 1.5, 1.5], rh_mean=[60, 60, nan, nan, nan])
    lent = np.array(["", "", "borrowed from a.csv", "borrowed from a.csv", "borrowed from a.csv"], dtype=object)
    assert found(daily)["vapour_pressure"][1][0] == "from rh_mean only"
    flags = found(daily, borrowed=lent)["vapour_pressure"][1].tolist()
    assert flags == ["eq 19 from rh_mean"] * 2 + ["borrowed from a.csv"] * 3
    assert found(daily, in_file=[True, True, False, False, False])["vapour_pressure"][1][0] == "eq 19 from rh_mean"


def test_a_minimum_alone_is_no_humidity():
    assert not has_humidity(days(rh_min=35.0)).any()
    assert has_humidity(days(rh_max=80.0)).all()


@pytest.mark.parametrize(
    ("columns", "estimated"),
    [
        (("tmin", "tmax"), ["humidity", "wind", "radiation"]),
        (("rh_min", "wind", "sunshine"), ["humidity"]),
        (("rh_max", "rh_min", "radiation"), ["wind"]),
        (("dew_point", "wind"), ["radiation"]),
    ],
)
def test_what_no_column_measures_is_estimated(columns, estimated):
    assert unmeasured(columns) == estimated


def test_aridity_is_rain_over_the_demand_of_fao_56_eq_6():
    """Eq 6 at 20 MJ/m², 3 m/s, 14 and 30 °C, dew point at Tmin, 100 m above sea; rain of 2 mm on each of two days."""
    index = pd.date_range("2025-06-01", periods=3)
    site, sky = Site(38.0, 100.0), sky_of(index, latitude=38.0, elevation=100.0)
    daily = days(3).set_index(index)
    rain = np.array([2.0, 2.0, np.nan])
    index_found = aridity(daily, radiation=np.full(3, 20.0), wind=np.full(3, 3.0), rain=rain, sky=sky, site=site)
    total = 0.0
    for clear in sky.clear[:2]:
        P = 101.3 * ((293.0 - 0.0065 * 100.0) / 293.0) ** 5.26  # eq 7
        gamma = 0.665e-3 * P  # eq 8
        delta = 4098.0 * e0(22.0) / (22.0 + 237.3) ** 2  # eq 13
        ea, es = e0(14.0), (e0(14.0) + e0(30.0)) / 2.0
        sigma = 4.903e-9 * ((14.0 + 273.16) ** 4 + (30.0 + 273.16) ** 4) / 2.0
        Rnl = sigma * (0.34 - 0.14 * math.sqrt(ea)) * (1.35 * min(20.0 / clear, 1.0) - 0.35)  # eq 39
        Rn = 0.77 * 20.0 - Rnl
        total += (0.408 * delta * Rn + gamma * 900.0 / (22.0 + 273.0) * 3.0 * (es - ea)) / (
            delta + gamma * (1 + 0.34 * 3.0)
        )
    assert index_found == pytest.approx(4.0 / total, rel=1e-6)


def test_without_any_demand_nothing_is_arid():
    index = pd.date_range("2025-12-01", periods=2)
    site, sky = Site(80.0, 0.0), sky_of(index, latitude=80.0, elevation=0.0)
    cold = pd.DataFrame({"tmin": -30.0, "tmax": -30.0}, index=index)
    zero = np.zeros(2)
    assert aridity(cold, radiation=zero, wind=zero, rain=zero, sky=sky, site=site) == float("inf")


@pytest.mark.parametrize(("index", "dry"), [(0.499, True), (0.5, False)])
def test_dry_begins_at_the_atlas_bound(index, dry):
    """World Atlas of Desertification (1997), from memory: below 0.5 is semi-arid or drier."""
    assert _climate(Site(38.0, 100.0), index)[0] is dry
