"""Spells: what of a season is most unlike the rest. Days are made so that the answer is known; sources: worked by hand."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.scenario.garden import Site
from panbudget.weather.checks.spells import spells, still
from panbudget.weather.clean import read_weather
from panbudget.weather.site import sky_of
from panbudget.weather.text.raw import ByHour

N, PLACE = 120, {"latitude": 45.0, "elevation": 100.0}
DAYS = pd.date_range("2025-05-01", periods=N, name="date")
# ± 1 in turn, so that no run of days differs from another by more than a day does
TURN = np.where(np.arange(N) % 2, 1.0, -1.0)
WAVE = np.cos(2.0 * np.pi * (DAYS.dayofyear.to_numpy() - 200) / 365.25)
CLEAR = sky_of(DAYS, **PLACE).clear
COLUMNS = ("tmin", "tmax", "rh_mean", "vapour_pressure", "wind", "rain", "radiation")


def table(**columns):
    """Return a season in which nothing stands out: every column alternates about its level."""
    plain = {
        "tmin": 12.0 + 6.0 * WAVE + 0.5 * TURN,
        "tmax": 24.0 + 6.0 * WAVE - 0.5 * TURN,
        "rh_mean": 60.0 + 5.0 * TURN,
        "vapour_pressure": 1.2 + 0.1 * TURN,
        "wind": 2.0 * 1.2**TURN,
        "rain": np.where(np.arange(N) % 4, 0.0, 5.0),
        "radiation": 0.7 * CLEAR * 1.1**TURN,
    }
    return pd.DataFrame({**plain, **columns}, index=DAYS, dtype=float)


def told(daily, *, lacking=()):
    """Return what stands out by quantity, all measured but what is lacking on some days."""
    known = {name: np.ones(len(daily), bool) for name in COLUMNS}
    for name, days in lacking:
        known[name][days] = False
    return {spell.quantity: spell for spell in spells(daily, known, **PLACE)}


def changed(column, days, by, *, factor=True):
    values = table()[column].to_numpy()
    return {
        column: np.where(
            (np.arange(N) >= days[0]) & (np.arange(N) < days[1]), values * by if factor else values + by, values
        )
    }


def days_of(spell):
    return (DAYS.get_loc(spell.first), DAYS.get_loc(spell.last) + 1)


@pytest.mark.parametrize("days", [(40, 45), (40, 65), (0, 30), (70, N), (20, 80)])
@pytest.mark.parametrize("by", [3.6, 0.4])
def test_a_spell_of_another_wind_is_named_with_its_days_its_factor_and_its_worth(days, by):
    """The spell's mean is ``by`` times the rest's; its worth is the season's ETo less that of the wind as it was."""
    there, plain = table(**changed("wind", days, by)), table()
    spell = told(there)["wind"]
    assert abs(days_of(spell)[0] - days[0]) <= 1
    assert abs(days_of(spell)[1] - days[1]) <= 1
    assert spell.mean / spell.rest == pytest.approx(by, rel=0.1)
    now, then = (reference_evapotranspiration(of, **PLACE).sum() for of in (there, plain))
    assert spell.worth_mm == pytest.approx(now - then, rel=0.15)
    assert spell.worth_share == pytest.approx(spell.worth_mm / now)


@pytest.mark.parametrize(
    ("quantity", "change", "more"),
    [
        (
            "temperature",
            [changed("tmin", (50, 70), 5.0, factor=False), changed("tmax", (50, 70), 5.0, factor=False)],
            5.0,
        ),
        ("tmax", [changed("tmax", (50, 70), -5.0, factor=False)], -5.0),
        ("tmin", [changed("tmin", (50, 70), -5.0, factor=False)], -5.0),
        ("humidity", [changed("rh_mean", (50, 70), 25.0, factor=False)], 25.0),
    ],
)
def test_temperature_its_range_and_humidity_are_told_by_differences(quantity, change, more):
    spell = told(table(**{name: values for part in change for name, values in part.items()}))[quantity]
    assert abs(days_of(spell)[0] - 50) <= 1
    assert abs(days_of(spell)[1] - 70) <= 1
    assert spell.mean - spell.rest == pytest.approx(more, rel=0.1)
    assert spell.worth_mm * more * (1.0 if quantity != "humidity" else -1.0) > 0.0


def test_dark_days_are_seen_beside_a_clear_sky():
    spell = told(table(**changed("radiation", (50, 55), 0.3)))["radiation"]
    assert days_of(spell) == (50, 55)
    assert spell.unit == "% of a clear sky's"
    assert spell.mean / spell.rest == pytest.approx(0.3, rel=0.1)
    assert spell.worth_mm < 0.0


@pytest.mark.parametrize("by", [10.0, 0.1])
def test_rain_by_another_unit_is_told_by_wet_days(by):
    """A wet day in four of 5 mm: from day 40 to 63 there are six, whose rain by the rest would be 6 · 5 mm."""
    rain = changed("rain", (40, 64), by)["rain"] * np.where(np.arange(N) % 8, 1.0, 1.01)  # not all alike
    spell = told(table(rain=rain))["wet"]
    assert days_of(spell) == (40, 61)
    assert spell.days == 6
    assert (spell.mean, spell.rest) == (pytest.approx(5.0 * by, rel=0.02), pytest.approx(5.0, rel=0.02))
    assert spell.worth_mm == pytest.approx(6.0 * 5.0 * (by - 1.0), rel=0.02)


def test_the_longest_days_without_rain_lack_what_falls_on_others():
    """Without days 40 to 60 the wet day before is 36 and the next 64: 27 dry ones; 24 wet days of 5 mm fall on the other 93."""
    rain = np.where((np.arange(N) >= 40) & (np.arange(N) <= 60), 0.0, table()["rain"])
    wet = int((rain > 0.0).sum())
    spell = told(table(rain=rain))["dry"]
    assert days_of(spell) == (37, 64)
    assert spell.worth_mm == pytest.approx(-27.0 * 5.0 * wet / 93.0)
    assert spell.clear
    assert not told(table())["dry"].clear


@pytest.mark.parametrize(
    ("longest", "lacks", "clear"), [(20, 20.0, True), (19, 20.0, False), (20, 10.1, True), (20, 9.9, False)]
)
def test_days_without_rain_are_clear_from_twice_the_next_and_ten_millimetres_on(longest, lacks, clear):
    """Between dry spells of two days one of ten and one twice as long, whose rain by the rest's rate would be so many mm."""
    gaps = [2] * 6 + [10] + [2] * 6 + [longest] + [2] * 6
    wet = np.cumsum(np.array(gaps) + 1) - 1
    days = pd.date_range("2025-05-01", periods=int(wet[-1]) + 1, name="date")
    rain = np.zeros(len(days))
    rain[wet] = lacks / longest * (len(days) - longest) / len(wet)
    spell = told(table().iloc[: len(days)].set_axis(days).assign(rain=rain))["dry"]
    assert (spell.days, spell.clear) == (longest, clear)
    assert spell.worth_mm == pytest.approx(-lacks)


def test_a_drift_over_the_season_is_a_line_of_its_own():
    """From 1 to a third, evenly: the last third's mean over the first's is (1/3 + 1/9) / (1 − 1/9) = 1/2."""
    drifted = told(table(wind=table()["wind"] * np.linspace(1.0, 1.0 / 3.0, N)))
    assert drifted["wind-drift"].mean / drifted["wind-drift"].rest == pytest.approx(0.5, abs=0.02)
    assert drifted["wind-drift"].worth_mm < 0.0
    assert not [quantity for quantity in told(table()) if "drift" in quantity]


@pytest.mark.parametrize("wet", [1, 9])
def test_few_wet_days_tell_the_longest_dry_spell_and_nothing_of_their_rain(wet):
    """A gauge that is blocked after so many wet days of 5 mm; it is clear to nobody, who knows so few."""
    found = told(table(rain=np.where(np.arange(N) < wet, 5.0, 0.0)))
    assert "wet" not in found
    dry = found["dry"]
    assert (dry.days, dry.worth_mm, dry.clear) == (N - wet, pytest.approx(-5.0 * (N - wet)), False)


@pytest.mark.parametrize(("end", "told_of"), [(0.80, True), (0.876, True), (0.881, False)])
def test_light_that_fades_is_told_by_its_brightest_days(end, told_of):
    """Two days of three are under cloud, of many kinds, so that a line through all days explains little."""
    cloud = np.where(np.arange(N) % 3, 0.2 + 0.6 * np.abs(np.sin(1.7 * np.arange(N) ** 1.3)), 1.0)
    drifted = told(table(radiation=0.75 * CLEAR * cloud * np.geomspace(1.0, end, N)))
    assert ("radiation-tops-drift" in drifted) is told_of
    if told_of:
        brightest = drifted["radiation-tops-drift"]
        assert brightest.mean / brightest.rest == pytest.approx(end ** (2 / 3), rel=0.01)
        assert brightest.worth_mm < 0.0


def test_a_constant_record_and_a_short_one_give_nothing():
    same = {name: np.full(N, float(table()[name].mean())) for name in COLUMNS[:5]}
    assert told(table(**same, radiation=0.7 * CLEAR, rain=np.zeros(N))) == {}
    assert told(table().iloc[:44]) == {}
    assert "wind" in told(table(**changed("wind", (20, 25), 3.6)).iloc[:45])


def test_a_season_of_ten_years_takes_no_table_of_its_days_by_its_days():
    """3,660 days by themselves would be 107 MB."""
    days = pd.date_range("2015-01-01", periods=3660, name="date")
    long = table().reset_index(drop=True).reindex(np.arange(3660) % N).set_axis(days)
    long.loc["2017-03-01":"2017-03-20", "wind"] *= 3.6
    tracemalloc.start()
    spell = told(long)["wind"]
    assert tracemalloc.get_traced_memory()[1] < 20e6
    tracemalloc.stop()
    assert (spell.first, spell.last) == ("2017-03-01", "2017-03-20")


def test_days_that_were_filled_tell_nothing_of_a_sensor():
    found = told(table(**changed("wind", (40, 65), 3.6)), lacking=[("wind", slice(35, 70))])
    assert "wind" not in found or not 35 <= days_of(found["wind"])[0] < 70
    assert "wind" not in told(table(), lacking=[("wind", slice(0, N - 44))])


def test_what_explains_little_or_is_worth_little_is_not_clear():
    """By 4 days × 3.6 the ETo of a season is moved by less than a fiftieth; by 5 days by more."""
    assert not told(table(**changed("wind", (40, 44), 3.6)))["wind"].clear
    assert told(table(**changed("wind", (40, 45), 3.6)))["wind"].clear
    assert not any(spell.clear for spell in told(table()).values())


@settings(max_examples=10, deadline=None)
@given(first=st.integers(5, 60), days=st.integers(5, 40), seed=st.integers(0, 1000))
def test_neither_the_order_of_rows_nor_units_matter(tmp_path_factory, first, days, seed):
    wind = changed("wind", (first, first + days), 3.0)["wind"]
    frame = table(wind=wind)[["tmin", "tmax", "wind", "rain", "radiation"]].round(4).reset_index()
    folder = tmp_path_factory.mktemp("spells")
    other = frame.assign(wind=frame["wind"] * 3.6, rain=frame["rain"] / 25.4).sample(frac=1.0, random_state=seed)
    units = {"wind": {"column": "wind", "unit": "km/h"}, "rain": {"column": "rain", "unit": "in"}}
    both = []
    for name, rows, columns in (("a.csv", frame, None), ("b.csv", other, units)):
        rows.to_csv(folder / name, index=False)
        site = Site(latitude=45.0, longitude=10.0, elevation="100 m")
        weather = read_weather(folder / name, site, columns=columns, trust=["wind-leap", "wind-unit"])
        known = {column: np.ones(N, bool) for column in weather.daily}
        both.append({of.quantity: of for of in spells(weather.daily, known, **PLACE)})
    assert both[0].keys() == both[1].keys()
    for quantity, spell in both[0].items():
        assert spell[:4] == both[1][quantity][:4]
        assert spell.worth_mm == pytest.approx(both[1][quantity].worth_mm, abs=1e-6)


def hours(wind=None, rain=None, days=60):
    """Return what a file of hourly records from 1 May 2025 on holds."""
    index = pd.Timestamp("2025-05-01").value // 3_600_000_000_000 + np.arange(24 * days)
    moving = pd.DataFrame({name: of for name, of in (("wind", wind), ("rain", rain)) if of is not None}, index=index)
    nothing = np.full(24, np.nan)
    return ByHour(nothing, nothing, nothing, True, moving=moving)


HOUR = np.arange(24 * 60) % 24
SPAN = (pd.Timestamp("2025-05-01"), pd.Timestamp("2025-06-29"))


def test_a_gauge_that_is_still_at_night_is_told_with_its_hours():
    """Hours 21 to 5 are nine of the twelve of the night."""
    (found,) = still(hours(wind=np.where((HOUR > 20) | (HOUR < 6), 0.0, 2.5)), *SPAN)
    assert found == ("wind", 0.75, 0.0, (0, 1, 2, 3, 4, 5, 21, 22, 23), 2.5, True)


@pytest.mark.parametrize(("calm", "lines"), [(8, 0), (9, 1)])
def test_wind_that_stands_still_for_more_than_a_third_of_the_nights_is_told(calm, lines):
    """Of 24 days' nights each hour is still on ``calm``: a third is eight."""
    day = np.arange(24 * 60) // 24 % 24
    night = (HOUR < 6) | (HOUR >= 18)
    assert (
        len(
            still(
                hours(wind=np.where(night & (day < calm), 0.0, 1.5), days=60), SPAN[0], SPAN[0] + pd.Timedelta(days=47)
            )
        )
        == lines
    )


@pytest.mark.parametrize(("least", "lines"), [(1.9, 0), (2.0, 1)])
def test_a_gauge_that_does_not_start_below_a_wind_is_told(least, lines):
    wind = np.where((np.arange(24 * 60) // 24 % 5 == 0), 0.0, least)
    assert len(still(hours(wind=wind), *SPAN)) == lines


@pytest.mark.parametrize(("dry", "lines"), [(8, 0), (9, 1)])
def test_rain_that_never_falls_at_a_third_of_the_hours_is_told(dry, lines):
    assert (
        len(still(hours(rain=np.where((dry <= HOUR) & (np.arange(24 * 60) // 24 % 4 == 0), 0.5, 0.0)), *SPAN)) == lines
    )


def test_few_records_of_rain_tell_of_no_hour():
    rain = np.zeros(24 * 60)
    rain[12::24] = 1.0  # sixty wet records, all at noon
    assert still(hours(rain=rain), *SPAN) == []
    assert still(hours(wind=np.zeros(24 * 19), days=19), *SPAN) == []


def test_only_the_season_asked_for_is_looked_at():
    """Still nights before it are none of its own."""
    wind = np.where((np.arange(24 * 60) < 24 * 30) & (HOUR < 6), 0.0, 1.5)
    gauge = hours(wind=wind)
    assert still(gauge, SPAN[0], SPAN[0] + pd.Timedelta(days=29))[0].hours == (0, 1, 2, 3, 4, 5)
    assert still(gauge, SPAN[0] + pd.Timedelta(days=30), SPAN[1]) == []
