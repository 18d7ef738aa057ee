"""
Checks of columns that stand in each other's place: all pairs of the invented terraces' columns, and what speaks beside the bounds.

The bounds are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import io
import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from panbudget.errors import WeatherError
from panbudget.physics import air
from panbudget.scenario.garden import Site
from panbudget.weather.checks.exchanged import wrong_share
from panbudget.weather.clean import open_weather
from tests.weather.checks.days import inspected, spoken

TERRACES = Path(__file__).parents[3] / "weather_samples" / "terraces-2025.csv"
SITE = Site(latitude=38.6, longitude=-6.1, elevation="240 m")
SUMMER = dt.date(2025, 5, 1), dt.date(2025, 9, 30)
COLUMNS = ("tmin", "tmax", "rh_max", "rh_min", "wind", "rain", "radiation")
CODES = {"columns-exchanged", "wind-exchanged", "rain-exchanged"}
# the extremes of one quantity: their headers say themselves which is which, so that no scenario exchanges them
OF_ONE = [("tmin", "tmax"), ("rh_max", "rh_min")]


def _summer(table, folder, columns=None):
    (path := folder / "w.csv").write_text(table.to_csv())
    return open_weather(path, SITE, wind_height=2.0, columns=columns).over(*SUMMER).daily


@pytest.mark.parametrize("pair", list(combinations(COLUMNS, 2)), ids="-".join)
def test_any_two_columns_that_are_exchanged_are_named_and_what_is_pasted_puts_them_right(pair, tmp_path):
    table = pd.read_csv(io.StringIO(TERRACES.read_text()), comment="#", index_col="date")
    sound = _summer(table, tmp_path)
    one, other = pair
    with pytest.raises(WeatherError) as caught:
        _summer(table.rename(columns={one: other, other: one}), tmp_path)
    (problem,) = (problem for problem in caught.value.problems if problem.code in CODES)
    said = problem.sentence()
    assert one in said and other in said and "the two columns look exchanged" in said
    columns = {key.rpartition(".")[2]: tomllib.loads(f"x = {choice}")["x"] for key, choice in problem.paste}
    if pair in OF_ONE:
        assert not columns and "exchange their names in the file;" in said
        return
    pasted = _summer(table.rename(columns={one: other, other: one}), tmp_path, columns)
    pd.testing.assert_frame_equal(pasted, sound)


N = 60
AT = np.arange(N)
SHARE = 0.55 + 0.15 * np.sin(1.3 * AT)
DAYS = {
    "days": N,
    "tmin": 14.0 + np.sin(0.5 * AT),
    "rain": np.where(AT % 5, 0.0, 4.0),
    "wind": 2.0 + 0.5 * np.sin(2.1 * AT),
}
CLEAR = inspected(N, tmin=14.0, tmax=28.0).sky.clear


PLAIN = inspected(N, tmin=14.0, tmax=28.0)
PRESSURE = float(air.atmospheric_pressure(PLAIN.site.elevation))


@pytest.mark.parametrize(
    ("name", "can", "cannot"),
    [
        *(("tmin", can, cannot) for can, cannot in ((-60.0, -60.1), (40.0, 40.1))),
        *(("tmax", can, cannot) for can, cannot in ((-60.0, -60.1), (57.0, 57.1))),
        *(("dew_point", can, cannot) for can, cannot in ((-60.0, -60.1), (35.0, 35.1))),
        *(("wind", can, cannot) for can, cannot in ((0.1, -0.1), (6.0, 6.1))),
        *(("rh_max", can, cannot) for can, cannot in ((5.1, 5.0), (105.0, 105.1))),
        *((name, can, cannot) for name in ("rh_mean", "rh_min") for can, cannot in ((0.1, 0.0), (105.0, 105.1))),
        *(("rain", can, cannot) for can, cannot in ((np.where(AT % 30, 1.0, 0.0), 1.0), (0.0, -0.1))),
        ("radiation", 0.4 * CLEAR, 0.39 * CLEAR),
        ("radiation", 1.1 * CLEAR, 1.11 * CLEAR),
        ("radiation", np.where(AT % 10, 0.018, 0.5) * CLEAR, np.where(AT % 10, 0.0179, 0.5) * CLEAR),
        ("pressure", PRESSURE - 11.9, PRESSURE - 12.1),
        ("pressure", PRESSURE + 11.9, PRESSURE + 12.1),
        *(
            ("sunshine", can, cannot)
            for can, cannot in ((0.0, -0.1), (PLAIN.sky.daylight + 0.29, PLAIN.sky.daylight + 0.31))
        ),
    ],
)
def test_what_no_column_of_its_name_can_be(name, can, cannot):
    """A day's figure, or of a wind, rain and light a season's; of light on nine days of ten."""
    assert wrong_share(PLAIN, {name: can * np.ones(N)}) == 0.0
    assert wrong_share(PLAIN, {name: cannot * np.ones(N)}) >= 0.9


@pytest.mark.parametrize(
    ("columns", "can", "cannot"),
    [
        (("tmin", "tmax"), (14.0, 14.0), (14.1, 14.0)),
        (("tmin", "tmax"), (14.0, 37.0), (14.0, 37.1)),
        (("rh_min", "rh_max"), (60.0, 60.0), (60.1, 60.0)),
        (("rh_min", "rh_mean"), (60.0, 60.0), (60.1, 60.0)),
        (("rh_mean", "rh_max"), (60.0, 60.0), (60.1, 60.0)),
        (("tmin", "dew_point"), (14.0, 24.0), (14.0, 24.1)),
        (("tmax", "vapour_pressure"), (20.0, 2.33), (20.0, 2.35)),  # FAO-56 table 2.3: 2.338 kPa
        (("tmax", "vapour_pressure"), (20.0, 0.01), (20.0, 0.0)),
    ],
)
def test_what_two_columns_beside_each_other_cannot_be(columns, can, cannot):
    shares = [
        wrong_share(PLAIN, {name: np.full(N, of) for name, of in zip(columns, each, strict=True)})
        for each in (can, cannot)
    ]
    assert shares == [0.0, 1.0]


@pytest.mark.parametrize(("calms", "cannot"), [(18, 0.0), (19, 1.0)])
def test_a_wind_of_more_than_three_calms_in_ten_days_is_none(calms, cannot):
    assert wrong_share(PLAIN, {"wind": np.where(calms > AT, 0.0, 2.0)}) == cannot


@pytest.mark.parametrize(("up_to", "tells"), [(5.9, False), (6.1, True)])
def test_light_tells_where_a_clear_sky_has_some(up_to, tells):
    """A winter's darkest days, 6 MJ and less of a clear sky's, say nothing."""
    polar = inspected(
        N, start="2024-10-01", site=Site(latitude=60.0, longitude=10.0, elevation="20 m"), tmin=-9.0, tmax=0.0
    )
    clear = polar.sky.clear
    light = np.where(clear > up_to, 0.5 * clear, 2.0 * clear)
    assert (wrong_share(polar, {"radiation": light}) > 0.0) == tells


def _warm(days):
    """Days of which so many have light for a maximum, and a maximum, no less true, for light."""
    tmax, light = 14.0 + 20.0 * SHARE + 3.0 * np.sin(0.5 * AT), SHARE * CLEAR
    there = days > AT
    return DAYS | {"tmax": np.where(there, light, tmax), "radiation": np.where(there, tmax, light)}


@pytest.mark.parametrize(("days", "speaks"), [(N, True), (0, False), (6, False)])
def test_columns_are_exchanged_as_a_whole_or_not_at_all(days, speaks):
    said = spoken("columns-exchanged", **_warm(days))
    assert ("radiation" in said and "look exchanged" in said) is speaks


def test_units_of_the_file_are_kept_where_columns_are_exchanged():
    """60 °F under rain's name and 0.1 in under tmin's: figures of the file take the other column's unit."""
    fahrenheit, inches = (1.0 / 1.8, -32.0 / 1.8), (25.4, 0.0)
    named = {"stated": ("tmin", "rain"), "conversions": {"tmin": fahrenheit, "rain": inches}}
    tmin, rain = DAYS["tmin"] * 1.8 + 32.0, DAYS["rain"] / 25.4
    turned = {"tmin": (rain - 32.0) / 1.8, "rain": tmin * 25.4, "tmax": 26.0 + np.sin(AT)}
    assert "rain" in spoken("columns-exchanged", **(DAYS | turned), **named)


def test_a_wind_in_another_unit_is_not_exchanged_with_anything():
    assert spoken("columns-exchanged", **(_warm(0) | {"wind": 3.6 * 2.5 * DAYS["wind"]})) == ""


LONG = np.arange(1000)
TMIN = np.sin(0.37 * LONG) + 0.5 * np.sin(0.011 * LONG)
OTHER = np.cos(1.9 * LONG)


def _along(series, of):
    """A series of mean 0 and spread 1 that goes with another by a correlation of so much, and else with nothing of it."""
    z, free = ((part - part.mean()) / part.std() for part in (series, OTHER[: series.size]))
    free = free - (free * z).mean() * z
    return of * z + np.sqrt(1.0 - of**2) * free / free.std()


def _dew_under_winds_name(share, by_dew, *, by_wind=1.0, wind=0.0):
    """Dew points under wind's name that go with the minimum, below 0 on a share of the days, and a wind that may be a dew point."""
    tmin = 14.0 + 3.0 * _along(TMIN, 1.0)
    dew_point = _along(TMIN, by_wind)
    under_wind = wind + dew_point - np.quantile(dew_point, share, method="lower")
    return {"tmin": tmin, "tmax": tmin + 8.0, "wind": under_wind, "dew_point": 3.5 + _along(TMIN, by_dew)}


@pytest.mark.parametrize(
    ("case", "speaks"),
    [
        # days that can't be wind's, where nothing else tells as much
        *(((share, 0.0), speaks) for share, speaks in ((0.0165, True), (0.0155, False))),
        # how much better the columns go with each other, where some days can't be
        *(((0.2, by), speaks) for by, speaks in ((0.895, True), (0.905, False))),
        # the same, with what the days come to: 0.02, twice
        *(((0.0201, by), speaks) for by, speaks in ((0.73, True), (0.75, False))),
    ],
)
def test_bounds_of_columns_that_are_exchanged(case, speaks):
    assert bool(spoken("columns-exchanged", 1000, **_dew_under_winds_name(*case))) is speaks


@pytest.mark.parametrize(("by_wind", "speaks"), [(0.942, True), (0.938, False)])
def test_a_column_that_can_not_be_as_a_whole_may_go_a_little_worse_in_its_place(by_wind, speaks):
    """A wind of 8 m/s on the middling day, beside another that goes with the minimum by 0.99."""
    columns = _dew_under_winds_name(0.0, 0.99, by_wind=by_wind, wind=6.0)
    assert bool(spoken("columns-exchanged", 1000, **columns)) is speaks


@pytest.mark.parametrize(("left", "speaks"), [(19, True), (20, False)])
def test_nearly_all_days_can_be_what_they_are_called_once_exchanged(left, speaks):
    columns = _dew_under_winds_name(0.2, 0.0) | {"rain": np.where(left > LONG, -0.1, np.where(LONG % 3, 0.0, 2.0))}
    assert bool(spoken("columns-exchanged", 1000, **columns)) is speaks


@pytest.mark.parametrize(("days", "speaks"), [(20, True), (19, False)])
def test_columns_are_held_against_each_other_on_enough_days(days, speaks):
    """Thirty days of dew point and wind, and the minimum of so many of them."""
    columns = {name: of[:90].copy() for name, of in _dew_under_winds_name(0.2, 0.0).items()}
    for name in ("wind", "dew_point"):
        columns[name][30:] = np.nan
    columns["tmin"][: 30 - days] = np.nan
    assert bool(spoken("columns-exchanged", 90, **columns)) is speaks


@pytest.mark.parametrize(("days", "speaks"), [(30, True), (29, False)])
def test_exchanged_columns_are_told_from_a_month_on(days, speaks):
    columns = {name: of[:days] for name, of in (_warm(N) | {"rain": DAYS["rain"]}).items() if name != "days"}
    assert bool(spoken("columns-exchanged", days, **columns)) is speaks


@pytest.mark.parametrize(("wet", "calm", "speaks"), [(96, 31, True), (95, 31, False), (96, 30, False)])
def test_rain_and_wind_are_exchanged_by_wet_days_and_calms(wet, calm, speaks):
    at = np.arange(100)
    said = spoken("rain-exchanged", 100, rain=np.where(wet > at, 1.0, 0.0), wind=np.where(calm > at, 0.0, 2.0))
    assert bool(said) is speaks


@pytest.mark.parametrize(("range_of_day", "speaks"), [(40.0, True), (40.1, False)])
def test_moved_cells_are_put_back_only_where_they_can_be(range_of_day, speaks):
    columns, _ = _moved(1, 1, tmin=10.0, tmax=10.0 + range_of_day)
    assert bool(spoken("rows-moved", 153, **columns)) is speaks


def _moved(way, days, first=60, **figures):
    """Rows of the terraces whose cells stand one column to the right (1) or to the left (-1), and what so many of them tell."""
    table = pd.read_csv(io.StringIO(TERRACES.read_text()), comment="#", index_col="date", parse_dates=True).loc[
        "2025-05":"2025-09"
    ]
    for name, figure in figures.items():
        table.iloc[first, table.columns.get_loc(name)] = figure
    cells = table.to_numpy(copy=True)
    rows = slice(first, first + days)
    cells[rows] = np.roll(cells[rows], way, axis=1)
    cells[rows, 0 if way > 0 else -1] = np.nan
    return {"site": SITE, "start": "2025-05-01", **dict(zip(table, cells.T, strict=True))}, table


@pytest.mark.parametrize("days", [1, 10, 93])
@pytest.mark.parametrize(("way", "said"), [(1, "to the right"), (-1, "to the left")])
def test_cells_that_moved_by_one_column_are_told_as_such_and_nothing_else_is_made_of_them(way, said, days):
    columns, table = _moved(way, days)
    found = inspected(153, **columns, rain_twice=None)
    (moved, *others) = found.problems
    assert moved.code == "rows-moved" and said in moved.found and "from 2025-06-30" in moved.found
    assert f"on {days} day" in moved.found
    assert not [problem.code for problem in others]
    back = found.daily.iloc[60 : 60 + days, 1:6].to_numpy()
    assert np.array_equal(back, table.iloc[60 : 60 + days, 1:6].to_numpy())


def test_a_day_with_one_thing_wrong_is_not_taken_for_moved_cells():
    columns, _ = _moved(1, 0)
    for name, wrong in (("tmax", 5.0), ("rh_max", 3.0), ("wind", 25.0), ("radiation", 0.0)):
        values = columns[name].copy()
        values[60] = wrong
        assert spoken("rows-moved", 153, **(columns | {name: values})) == ""
    assert spoken("rows-moved", 153, **_moved(1, 1)[0])
