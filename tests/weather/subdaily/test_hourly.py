"""
From records to days: what is summed, averaged and compared, on whose clock, and when a day is no day.

The records are invented and small; what they come to is worked by hand beside them. Clock changes are those of the
IANA time zone data base, which `zoneinfo` reads.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from panbudget.errors import WeatherError
from panbudget.weather.subdaily.clocks import day_lengths
from panbudget.weather.subdaily.hourly import Records, to_days
from tests.weather.sites import Site

LISBON = Site(latitude=38.7, longitude=-9.1, elevation=100.0, timezone="Europe/Lisbon")
NO_ZONE = Site(latitude=38.7, longitude=-9.1, elevation=100.0)


def e0(temperature):
    """FAO-56 eq 11, written out again."""
    return 0.6108 * math.exp(17.27 * temperature / (temperature + 237.3))


def hours(start, count, *, step="h"):
    return pd.date_range(start, periods=count, freq=step).to_numpy().astype("datetime64[ns]")


def records(stamps, *, utc=False, rain_kind="interval", ending=(), **values):
    """Return records at 20 °C unless other values are given, one for all or a list."""
    values = {"temperature": 20.0} | values
    columns = {name: np.broadcast_to(np.asarray(v, float), len(stamps)).copy() for name, v in values.items()}
    lines = np.arange(2, len(stamps) + 2)
    return Records(
        np.asarray(stamps),
        columns,
        lines,
        utc=utc,
        rain_kind=rain_kind,
        ending=frozenset(ending),
        stated=frozenset(values),
    )


def days(found, site=NO_ZONE):
    return to_days(found, site, recognised="test", shown_as="station.csv")


def refusal(found, site=NO_ZONE):
    with pytest.raises(WeatherError) as caught:
        days(found, site)
    return str(caught.value)


def test_a_day_is_the_extremes_means_and_sums_of_its_hours():
    """One day: T 10 to 33 °C by one degree an hour; wind 1 and 3 m/s in turn; 100 W/m² is 8.64 MJ/m² a day."""
    raw = days(
        records(
            hours("2025-06-01", 24),
            temperature=np.arange(10.0, 34.0),
            wind=[1.0, 3.0] * 12,
            radiation=100.0,
            rain=0.2,
            pressure=99.0,
        )
    )
    assert list(raw.daily.index) == [pd.Timestamp("2025-06-01")]
    row = raw.daily.iloc[0]
    assert (row["tmin"], row["tmax"], row["wind"], row["pressure"]) == (10.0, 33.0, 2.0, 99.0)
    assert row["radiation"] == pytest.approx(8.64)
    assert row["rain"] == pytest.approx(4.8)


def test_vapour_pressure_is_the_mean_of_the_hours_and_not_that_of_the_means():
    """Half a day of 10 °C and 90 %, half of 30 °C and 40 %: (0.9·e0(10) + 0.4·e0(30)) / 2 by FAO-56 eq 10, 11."""
    raw = days(
        records(hours("2025-06-01", 24), temperature=[10.0] * 12 + [30.0] * 12, humidity=[90.0] * 12 + [40.0] * 12)
    )
    row = raw.daily.iloc[0]
    assert row["vapour_pressure"] == pytest.approx((0.9 * e0(10) + 0.4 * e0(30)) / 2)
    assert (row["rh_max"], row["rh_min"]) == (90.0, 40.0)


def test_vapour_pressure_comes_from_the_dew_point_where_there_is_one():
    """FAO-56 eq 14; and the relative humidity of each hour from it: at 20 °C and a dew point of 10 °C 52.5 %."""
    raw = days(records(hours("2025-06-01", 24), dew_point=10.0))
    row = raw.daily.iloc[0]
    assert row["vapour_pressure"] == pytest.approx(e0(10))
    assert row["rh_max"] == row["rh_min"] == pytest.approx(100 * e0(10) / e0(20))


def test_a_dew_point_above_the_temperature_is_brought_down_and_that_is_said():
    raw = days(records(hours("2025-06-01", 24), dew_point=[20.4] + [10.0] * 23))
    assert raw.daily.iloc[0]["rh_max"] == 100.0
    assert any("dew point lies above the temperature in 1 of 24" in note for note in raw.notes)


@pytest.mark.parametrize(("present", "whole"), [(24, True), (20, True), (19, False)])
def test_a_day_needs_80_percent_of_its_records(present, whole):
    """20 of 24 are 83 %, 19 are 79 %; the day between two whole ones shows it."""
    stamps = np.concatenate([hours("2025-06-01", 24), hours("2025-06-02", 24)[24 - present :], hours("2025-06-03", 24)])
    raw = days(records(stamps, wind=2.0))
    assert raw.daily["tmin"].notna().tolist() == [True, whole, True]
    assert raw.daily["wind"].notna().tolist() == [True, whole, True]
    assert any("under 80 %" in note and "2025-06-02" in note for note in raw.notes) is not whole


@pytest.mark.parametrize(("kind", "names"), [("interval", "temperature, rain"), ("total", "temperature")])
@pytest.mark.parametrize(("present", "is_told"), [(24, False), (23, True), (20, True), (19, False)])
def test_a_day_that_lacks_a_few_records_is_told(kind, names, present, is_told):
    """Below 80 % it is a gap, which is told as such; a gauge that counts on loses nothing."""
    stamps = np.delete(hours("2025-06-01", 72), range(24 + present, 48))
    rain = np.arange(len(stamps)) * (0.1 if kind == "total" else 0.0)
    notes = days(records(stamps, rain_kind=kind, temperature=np.arange(len(stamps)) % 24.0, rain=rain)).notes
    told = [note for note in notes if "some records are missing on 1 day" in note]
    assert [note.partition(":")[0] for note in told] == ([names] if is_told else [])
    assert all("2025-06-02" in note for note in told)


def test_completeness_is_each_columns_own():
    """The thermometer goes on while the gauge is dead for ten hours."""
    wind = np.full(72, 2.0)
    wind[30:40] = np.nan
    raw = days(records(hours("2025-06-01", 72), wind=wind))
    assert raw.daily["tmin"].notna().all()
    assert raw.daily["wind"].notna().tolist() == [True, False, True]


def test_the_step_is_the_tables_own():
    """144 records a day at ten minutes: 116 are 80.6 %, 115 are 79.9 %."""
    for left_out, whole in ((28, True), (29, False)):
        temperature = np.full(432, 20.0)
        temperature[150 : 150 + left_out] = np.nan
        raw = days(records(hours("2025-06-01", 432, step="10min"), temperature=temperature))
        assert raw.daily["tmin"].notna().tolist() == [True, whole, True]


def test_cut_days_at_the_files_ends_are_left_out_and_named():
    raw = days(records(hours("2025-06-01 12:00", 48)))
    assert [str(day.date()) for day in raw.daily.index] == ["2025-06-02"]
    assert any("left out: 2025-06-01, 2025-06-03" in note or "2025-06-03" in note for note in raw.notes)


def test_records_too_far_apart_are_refused():
    """Twelve-hourly readings give no extremes."""
    assert "12 h apart" in refusal(records(hours("2025-06-01", 20, step="12h")))


def test_utc_days_are_the_sites_days():
    """A warm hour at 23:00 UTC on 1 June is midnight of the 2nd in Lisbon, which is an hour ahead in summer."""
    temperature = np.full(96, 20.0)
    temperature[23] = 30.0
    raw = days(records(hours("2025-06-01", 96), utc=True, temperature=temperature), LISBON)
    assert raw.daily["tmax"]["2025-06-02"] == 30.0
    assert any("clock of Europe/Lisbon" in note for note in raw.notes)


def test_without_a_time_zone_the_longitude_gives_the_clock_and_that_is_said():
    """−105° is seven hours behind: 03:00 UTC on the 2nd is 20:00 on the 1st."""
    temperature = np.full(96, 20.0)
    temperature[27] = 30.0
    site = Site(latitude=40.0, longitude=-105.0, elevation=1600.0)
    raw = days(records(hours("2025-06-01", 96), utc=True, temperature=temperature), site)
    assert raw.daily["tmax"]["2025-06-01"] == 30.0
    assert any("UTC - 7 h, assumed from the longitude" in note for note in raw.notes)


def test_utc_without_zone_and_longitude_is_refused():
    message = refusal(records(hours("2025-06-01", 48), utc=True), Site(latitude=40.0, elevation=10.0))
    assert "neither timezone nor longitude" in message
    assert message.startswith("station.csv: ")


def test_an_unknown_time_zone_is_refused():
    with pytest.raises(ValidationError, match="Mars/Olympus"):
        Site(latitude=40.0, elevation=10.0, timezone="Mars/Olympus")


# clocks are changed in Lisbon on 30 March 2025 from 01:00 to 02:00, and on 26 October 2025 from 02:00 to 01:00


def clock(day, count):
    """Stamps of a station's own clock over the day before, the day itself and the day after."""
    utc = pd.date_range(pd.Timestamp(day, tz="Europe/Lisbon") - dt.timedelta(days=1), periods=count, freq="h")
    return utc.tz_localize(None).to_numpy().astype("datetime64[ns]")


def test_the_doubled_hour_of_autumn_counts_twice_because_it_rained_twice():
    """26 October 2025 has 25 hours in Lisbon; 1 mm in each is 25 mm, 24 mm on its neighbours."""
    stamps = clock("2025-10-26", 73)
    assert len(np.unique(stamps)) == 72
    raw = days(records(stamps, rain=1.0), LISBON)
    assert raw.daily["rain"].tolist() == [24.0, 25.0, 24.0]
    assert any("2025-10-26 01:00 stands twice, as when clocks go back" in note for note in raw.notes)


def test_the_doubled_hour_may_hold_different_values():
    rain = np.zeros(73)
    rain[25], rain[26] = 2.0, 3.0  # 01:00 and 01:00 again
    raw = days(records(clock("2025-10-26", 73), rain=rain, temperature=np.linspace(10, 20, 73)), LISBON)
    assert raw.daily["rain"].tolist() == [0.0, 5.0, 0.0]
    assert raw.daily["tmax"].notna().all()


def test_the_doubled_hour_is_known_without_a_time_zone_if_the_file_runs_through_it_twice():
    rain = np.zeros(73)
    rain[25], rain[26] = 2.0, 3.0
    raw = days(records(clock("2025-10-26", 73), rain=rain), NO_ZONE)
    assert raw.daily["rain"].tolist() == [0.0, 5.0, 0.0]


def test_a_growing_counter_loses_and_doubles_nothing_in_autumn():
    """The counter gains 1 mm an hour over 73 hours: 72 mm in all, since what fell before the first isn't known."""
    raw = days(records(clock("2025-10-26", 73), rain=np.arange(100.0, 173.0), rain_kind="total"), LISBON)
    assert raw.daily["rain"].sum() == pytest.approx(72.0)
    # the record at midnight closes the day before
    assert raw.daily["rain"].tolist() == [24.0, 25.0, 23.0]


def test_a_daily_counter_in_autumn_holds_its_day():
    """It climbs to 25 mm on the long day and begins again after midnight."""
    stamps = clock("2025-10-26", 74)[1:]
    level = np.concatenate([np.arange(1.0, 25.0), np.arange(1.0, 26.0), np.arange(1.0, 25.0)])
    raw = days(records(stamps, rain=level, rain_kind="daily"), LISBON)
    assert raw.daily["rain"].tolist() == [24.0, 25.0, 24.0]


def test_the_hour_that_spring_skips_is_no_gap():
    """30 March 2025 has 23 hours; they are all there, and so is their rain."""
    stamps = clock("2025-03-30", 71)
    raw = days(records(stamps, rain=1.0), LISBON)
    assert raw.daily["rain"].tolist() == [24.0, 23.0, 24.0]
    assert raw.daily["tmin"].notna().all()


@pytest.mark.parametrize(("day", "rain"), [("2025-10-26", [24.0, 25.0, 24.0]), ("2025-03-30", [24.0, 23.0, 24.0])])
def test_utc_records_fall_on_days_of_25_and_23_hours(day, rain):
    """The same rain as a file in UTC: the day's own length, without a stamp twice."""
    start = pd.Timestamp(day, tz="Europe/Lisbon") - dt.timedelta(days=1)
    stamps = pd.date_range(start, periods=int(sum(rain)), freq="h").tz_convert("UTC").tz_localize(None).to_numpy()
    raw = days(records(stamps.astype("datetime64[ns]"), utc=True, rain=1.0), LISBON)
    assert raw.daily["rain"].tolist() == rain


@pytest.mark.parametrize(("day", "length"), [("2025-10-26", 25.0), ("2025-03-30", 23.0)])
def test_a_day_on_which_clocks_change_is_an_hour_longer_or_shorter(day, length):
    midnights = np.datetime64(day, "ns") + np.arange(-1, 2) * np.timedelta64(1, "D")
    assert day_lengths(midnights, LISBON).tolist() == [24.0, length, 24.0]


def test_a_leap_day_is_a_day():
    raw = days(records(hours("2024-02-28", 72), rain=0.5))
    assert [str(day.date()) for day in raw.daily.index] == ["2024-02-28", "2024-02-29", "2024-03-01"]
    assert raw.daily["rain"].tolist() == [12.0] * 3


def test_a_moment_twice_with_different_values_is_refused_by_name():
    stamps = hours("2025-06-01", 48)
    stamps[14] = stamps[13]
    message = refusal(records(stamps, temperature=np.arange(48.0)))
    assert "time 2025-06-01 13:00:00 stands twice with different values, on lines 15 and 16" in message
    assert "delete one of the two" in message


@pytest.mark.parametrize(
    ("wrong", "told"),
    [([3], "2025-06-04 stands twice with different values, all of it"), ([3, 7], "(and 1 more day)"), ([3, 7, 11], "")],
)
def test_days_that_stand_twice_whole_are_told_as_such_where_they_are_few(wrong, told):
    """Of 21 days, each the date of the one before; more than a tenth are another mistake."""
    stamps = hours("2025-06-01", 24 * 21)
    for day in wrong:
        stamps[24 * day + 24 : 24 * day + 48] = stamps[24 * day : 24 * day + 24]
    message = refusal(records(stamps, temperature=np.arange(24.0 * 21)))
    assert told in message
    assert ("delete one of the two, or correct its date" in message) == bool(told)
    assert ("on lines 74 to 97 and 98 to 121" in message) == bool(told)


@pytest.mark.parametrize(("first", "told"), [(0, True), (1, True), (2, False)])
def test_a_clock_of_twelve_hours_without_am_and_pm_is_told(first, told):
    """Of all its afternoons one of each two records was to be deleted: hours 0 to 11, or 1 to 12; with an hour 13 it is none."""
    stamps = hours("2025-06-01", 48).reshape(4, 12)[[0, 0, 2, 2]].ravel() + np.timedelta64(first, "h")
    message = refusal(records(stamps, temperature=np.arange(48.0)))
    assert ("no hour of the file is above 12" in message) is told
    assert ("delete one of the two" in message) is not told


@pytest.mark.parametrize(("again", "told"), [(7, False), (8, True)])
def test_a_clock_of_twelve_hours_is_told_where_three_records_in_ten_stand_again(again, told):
    stamps = np.concatenate([hours("2025-06-01", 12), hours("2025-06-01", again), hours("2025-06-02", 5)])
    message = refusal(records(stamps, temperature=np.arange(float(stamps.size))))
    assert ("no hour of the file is above 12" in message) is told


def test_two_stations_in_one_file_are_refused():
    stamps = np.concatenate([hours("2025-06-01", 48)] * 2)
    message = refusal(records(stamps, temperature=np.concatenate([np.full(48, 20.0), np.full(48, 21.0)])))
    assert "(and 47 more records)" in message
    assert "one station to a file" in message


def test_records_that_stand_twice_and_agree_count_once():
    stamps = np.concatenate([hours("2025-06-01", 48), hours("2025-06-02", 24)])
    raw = days(records(stamps, rain=1.0))
    assert raw.daily["rain"].tolist() == [24.0, 24.0]
    assert any("24 records stand twice with the same values" in note for note in raw.notes)


def test_a_file_joined_over_the_autumn_night_does_not_double_it():
    """All of the day stands twice, so the doubled hour's four records are two."""
    day = clock("2025-10-26", 73)
    raw = days(records(np.concatenate([day, day[24:49]]), rain=1.0), LISBON)
    assert raw.daily["rain"]["2025-10-26"] in (24.0, 25.0)


def test_years_out_of_order_are_sorted_and_that_is_said():
    stamps = np.concatenate([hours("2025-06-01", 48), hours("2024-06-01", 48)])
    raw = days(records(stamps, temperature=np.concatenate([np.full(48, 25.0), np.full(48, 15.0)])))
    assert [day.year for day in raw.daily.index] == [2024, 2024, 2025, 2025]
    assert raw.daily["tmax"].tolist() == [15.0, 15.0, 25.0, 25.0]
    assert any("out of order from line 50 (2024-06-01 00:00)" in note for note in raw.notes)


def test_a_file_that_runs_backwards_is_sorted():
    raw = days(records(hours("2025-06-01", 48)[::-1]))
    assert any("runs backwards" in note for note in raw.notes)
    assert len(raw.daily) == 2


def test_a_single_fault_is_named_and_not_hidden_in_a_mean():
    """One hour of 900 m/s would raise the day's mean by 37 m/s, one of 90 by less than a windy day."""
    wind = np.full(480, 2.0)
    wind[100] = 90.0
    message = refusal(records(hours("2025-06-01", 480), wind=wind))
    assert 'line 102: "wind" is 90 m/s at 2025-06-05 04:00' in message
    assert 'write missing = ["90 m/s"] under [weather]' in message


# the limits of a single record: common practice, no source
LIMITS = [
    ("temperature", 20.0, -90.0, 60.0),
    ("humidity", 50.0, 0.5, 110.0),
    ("dew_point", 10.0, -95.0, 40.0),
    ("wind", 2.0, -0.1, 75.0),
    ("radiation", 100.0, -20.0, 1600.0),
    ("pressure", 100.0, 45.0, 110.0),
]


@pytest.mark.parametrize(("name", "usual", "lowest", "highest"), LIMITS)
def test_a_record_is_believed_up_to_its_limits(name, usual, lowest, highest):
    for value, believed in ((lowest, True), (highest, True), (lowest - 0.01, False), (highest + 0.01, False)):
        found = records(hours("2025-06-01", 48), **{name: [value] + [usual] * 47})
        if believed or (name == "radiation" and value > 0.0):
            days(found)
        else:
            assert f'line 2: "{name}" is ' in refusal(found)


def test_a_wind_a_little_below_nothing_is_calm_and_said():
    found = days(records(hours("2025-06-01", 48), wind=[-0.1] * 12 + [2.0] * 36))
    assert any("12 records a little below 0" in note for note in found.notes)
    assert found.daily["wind"].tolist() == [1.0, 2.0]


@pytest.mark.parametrize(("flux", "gap"), [(1599.9, False), (1600.0, True), (2400.0, True)])
def test_a_record_brighter_than_any_sky_is_a_gap_and_said(flux, gap):
    """A glint or a fault of the sensor; what is left of the day is enough."""
    found = days(records(hours("2025-06-01", 48), radiation=[100.0] * 12 + [flux] + [100.0] * 35))
    assert any("brighter than any sky" in note for note in found.notes) is gap
    assert found.daily["radiation"].iloc[0] == pytest.approx(8.64 if gap else 8.64 + (flux - 100.0) * 3.6e-3, abs=0.2)


def test_few_records_are_faults_and_many_are_another_unit():
    """At most 2 % of the records, or one; all of one value are a mark, however many."""
    wind = np.full(100, 2.0)
    wind[[10, 30]] = 80.0, 90.0
    message = refusal(records(hours("2025-06-01", 100), wind=wind))
    assert "(and 1 more record)" in message
    assert 'write missing = ["80 m/s", "90 m/s"]' in message
    wind[50] = 85.0
    assert days(records(hours("2025-06-01", 100), wind=wind)).daily["wind"].notna().any()
    wind[[10, 30, 50]] = 99.0
    assert "(and 2 more records)" in refusal(records(hours("2025-06-01", 100), wind=wind))
    assert "stands for a missing value" in refusal(records(hours("2025-06-01", 24), wind=[80.0] + [2.0] * 23))


@pytest.mark.parametrize(("faults", "refused"), [(40, True), (41, False)])
def test_one_record_in_fifty_may_be_a_fault(faults, refused):
    wind = np.full(2000, 2.0)
    wind[: 3 * faults : 3] = 80.0 + 0.1 * np.arange(faults)
    found = records(hours("2025-06-01", 2000), wind=wind)
    assert f"(and {faults - 1} more records)" in refusal(found) if refused else len(days(found).daily) == 83


@pytest.mark.parametrize(("count", "by", "refused"), [(48, 1.01, False), (49, 1.01, True), (49, 1.0, False)])
def test_a_dew_point_above_the_temperature_in_most_records_is_it(count, by, refused):
    """By more than 1 °C, as no fog has it, in more than half of them."""
    found = records(hours("2025-06-01", 96), dew_point=np.where(np.arange(96) < count, 20.0 + by, 10.0))
    assert "dew_point" in refusal(found) if refused else len(days(found).daily) == 4


@pytest.mark.parametrize(("step", "refused"), [("6h", False), ("361min", True)])
def test_records_may_be_six_hours_apart(step, refused):
    found = records(hours("2025-06-01", 40, step=step))
    if refused:
        assert "expected: at least four records a day" in refusal(found)
    else:
        assert len(days(found).daily) == 10


def test_one_record_alone_is_no_day():
    assert "one record alone" in refusal(records(hours("2025-06-01", 1)))


def test_a_file_without_any_whole_day_is_refused():
    message = refusal(records(hours("2025-06-01 12:00", 20)))
    assert "no day with 80 % of its records; expected: 24 records a day" in message


def test_a_day_of_25_hours_among_others_is_not_what_is_expected_of_all():
    stamps = hours("2025-10-24", 24 * 5)
    stamps = stamps[(stamps - stamps.astype("M8[D]")) / np.timedelta64(1, "h") < 15]
    assert "expected: 24 records a day" in refusal(records(stamps), LISBON)


def test_a_clock_hour_after_three_is_not_believed_to_stand_twice_without_a_time_zone():
    """Clocks are changed in the small hours: 03 is the last that is believed to be doubled."""
    for hour, believed in ((3, True), (4, False)):
        stamps = np.insert(hours("2025-10-25", 72), 24 + hour, np.datetime64(f"2025-10-26T0{hour}:00", "ns"))
        found = records(stamps, temperature=np.arange(73.0) / 10.0)
        if believed:
            assert any("as when clocks go back" in note for note in days(found).notes)
        else:
            assert "stands twice with different values" in refusal(found)


@pytest.mark.parametrize("mark", [-9999.0, 999.9])
def test_a_mark_for_missing_is_named(mark):
    temperature = np.full(480, 20.0)
    temperature[50:90] = mark
    message = refusal(records(hours("2025-06-01", 480), temperature=temperature))
    assert "or leave the cell empty; where it stands for a missing value throughout" in message
    assert f'write missing = ["{mark:g} degC"] under [weather]' in message


def test_a_sensors_offset_at_night_counts_as_dark_and_is_said():
    light = np.tile(np.where(np.arange(24) < 12, -3.0, 100.0), 2)
    raw = days(records(hours("2025-06-01", 48), radiation=light))
    assert raw.daily["radiation"].to_numpy() == pytest.approx(4.32)
    assert any("24 records a little below 0" in note for note in raw.notes)


@pytest.mark.parametrize(("present", "is_told"), [(19, True), (20, False)])
def test_a_column_without_a_whole_day_is_told(present, is_told):
    light = np.tile(np.where(np.arange(24) < present, 1.0, np.nan), 2)
    notes = days(records(hours("2025-06-01", 48), wind=light)).notes
    assert any("wind: no day has 80 % of its records" in note for note in notes) is is_told


def arch(rises, sets, *, noon=12.0, step=1.0):
    """Return a half sine of 800 W/m² between two hours of a day, by records of so many hours, and those outside of it."""
    hour = np.arange(0.0, 24.0, step)
    off = (hour - noon + 12.0) % 24.0 + noon - 12.0
    flux = 800.0 * np.sin(np.pi * (off - rises) / (sets - rises))
    outside = (off <= rises) | (off >= sets)
    return np.where(outside, 0.0, flux), outside


@pytest.mark.parametrize(("noon", "step"), [(12.0, 1.0), (14.5, 0.25), (2.0, 1.0)])
def test_radiation_that_is_empty_at_night_is_zero_there_by_whatever_clock(noon, step):
    """Lisbon's June day has 14.8 h (FAO-56 eq 34): nothing is lost of what the same records hold with the night's zeros."""
    flux, outside = arch(noon - 7.4, noon + 7.4, noon=noon, step=step)
    night = np.where(outside, np.nan, flux)
    count = 20 * flux.size
    stamps = hours("2025-06-10", count, step=dt.timedelta(hours=step))
    found, sound = (days(records(stamps, radiation=np.tile(light, 20))) for light in (night, flux))
    assert found.daily["radiation"].to_numpy() == pytest.approx(sound.daily["radiation"].to_numpy(), rel=0.01)
    assert any(f"empty in {20 * int(outside.sum())} records at which the sun" in note for note in found.notes)


def test_radiation_that_is_empty_by_day_stays_a_gap_though_its_night_is_zero():
    flux, outside = arch(4.6, 19.4)
    light = np.tile(np.where(outside, np.nan, flux), 20)
    light[24 * 5 + 8 : 24 * 5 + 16] = np.nan
    daily = days(records(hours("2025-06-10", 480), radiation=light)).daily["radiation"]
    assert np.flatnonzero(np.isnan(daily)).tolist() == [5]


@pytest.mark.parametrize(("lit", "dark", "is_gap"), [(0, 7, False), (0, 8, True), (19, 12, False), (19, 11, True)])
def test_the_suns_noon_is_known_by_the_light_of_a_week_on_either_side(lit, dark, is_gap):
    """Days on which a sensor shows nothing all day, and is blank at night."""
    flux, outside = arch(4.6, 19.4)
    light = np.tile(np.where(outside, np.nan, 0.0), 20)
    light[24 * lit : 24 * lit + 24] = np.where(outside, np.nan, flux)
    daily = days(records(hours("2025-06-10", 480), radiation=light)).daily["radiation"]
    assert np.isnan(daily.iloc[dark]) == is_gap


@pytest.mark.parametrize(("lost", "is_gap"), [(0, False), (3, True)])
def test_a_short_day_is_not_whole_for_its_long_dark_alone(lost, is_gap):
    """At 60° N, 21 December has 5.4 h of light by FAO-56 eq 34: the dark is 80 % of the records by itself."""
    flux, outside = arch(9.3, 14.7)
    light = np.where(outside, np.nan, flux)
    light[12 : 12 + lost] = np.nan
    site = Site(latitude=60.0, longitude=0.0, elevation=10.0)
    daily = days(records(hours("2025-12-15", 240), radiation=np.tile(light, 10)), site).daily
    assert np.isnan(daily["radiation"]).all() == is_gap


def test_neither_the_polar_night_nor_the_polar_day_is_taken_for_a_night():
    for start in ("2025-06-10", "2025-12-10"):
        flux, outside = arch(4.6, 19.4)
        light = np.tile(np.where(outside, np.nan, flux * (start < "2025-07")), 10)
        site = Site(latitude=75.0, longitude=0.0, elevation=10.0)
        found = days(records(hours(start, 240), radiation=light), site)
        assert np.isnan(found.daily["radiation"]).all()
        assert not any("below the horizon" in note for note in found.notes)


def test_radiation_over_a_gap_at_noon_is_a_straight_line_and_not_the_mean_of_the_rest():
    """A half sine of 800 W/m² from 6 to 18 h is 800·(2/π)·12·3600 J = 22.0 MJ/m²; four noon hours are lost."""
    hour = np.arange(24)
    flux = np.maximum(800.0 * np.sin(np.pi * (hour - 6) / 12.0), 0.0)
    whole = days(records(hours("2025-06-01", 72), radiation=np.tile(flux, 3))).daily["radiation"]
    assert whole.iloc[1] == pytest.approx(22.0, rel=0.01)
    holed = np.tile(flux, 3)
    holed[34:38] = np.nan
    found = days(records(hours("2025-06-01", 72), radiation=holed)).daily["radiation"].iloc[1]
    assert found == pytest.approx(22.0, rel=0.1)  # the chord lies below the arch
    assert np.nanmean(holed[24:48]) * 0.0864 < 0.8 * 22.0


@given(st.data())
@settings(deadline=None, max_examples=20)
def test_any_records_make_a_sound_table_or_a_refusal(data):
    """Fuzz: random stamps, values, gaps and kinds."""
    count = data.draw(st.integers(1, 120))
    base = np.datetime64("2025-10-24", "m")
    minutes = data.draw(st.lists(st.integers(0, 6000), min_size=count, max_size=count))
    stamps = (base + np.array(minutes)).astype("datetime64[ns]")
    column = st.lists(st.one_of(st.just(math.nan), st.floats(-100, 1000)), min_size=count, max_size=count)
    found = records(
        stamps,
        utc=data.draw(st.booleans()),
        rain_kind=data.draw(st.sampled_from(["interval", "daily", "hourly", "total", "unknown"])),
        temperature=data.draw(column),
        humidity=data.draw(column),
        rain=data.draw(column),
        radiation=data.draw(column),
    )
    site = data.draw(st.sampled_from([LISBON, NO_ZONE]))
    try:
        raw = days(found, site)
    except WeatherError:
        return
    assert raw.daily.index.is_monotonic_increasing and raw.daily.index.is_unique
    assert len(raw.lines) == len(raw.daily)
    pair = raw.daily.dropna(subset=["tmin", "tmax"])
    assert (pair["tmin"] <= pair["tmax"]).all()


def test_a_day_is_a_date():
    """Not a moment of the day before."""
    raw = days(records(hours("2025-06-01 00:00", 48)))
    assert [stamp.date() for stamp in raw.daily.index] == [dt.date(2025, 6, 1), dt.date(2025, 6, 2)]


def test_the_faintest_light_counts():
    """0.005 W/m² all day are 0.000432 MJ/m²."""
    raw = days(records(hours("2025-06-01", 48), radiation=0.005))
    assert raw.daily["radiation"].to_numpy() == pytest.approx(0.000432)


@pytest.mark.parametrize(("leap", "lone"), [(6.1, True), (6.0, False), (-10.1, True), (-10.0, False)])
def test_a_record_that_leaps_out_and_back_is_told_with_its_day(leap, lone):
    """Three days at 20 °C; one record of the second leaps, and the extremes without it are 20 °C."""
    warmth = np.full(72, 20.0)
    warmth[30] += leap
    found = days(records(hours("2025-06-01", 72), temperature=warmth)).by_hour.lone
    assert list(found.index) == [pd.Timestamp("2025-06-02")] * lone
    assert (found == 20.0).all(axis=None)


def test_a_leap_over_a_gap_and_one_that_stays_are_no_lone_records():
    warmth = np.r_[np.full(30, 20.0), 30.0, np.full(41, 20.0)]
    apart = np.delete(np.arange(72), 31)
    assert days(records(hours("2025-06-01", 72)[apart], temperature=warmth[apart])).by_hour.lone.empty
    assert days(records(hours("2025-06-01", 72), temperature=np.repeat([20.0, 30.0], 36))).by_hour.lone.empty
