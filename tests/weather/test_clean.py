"""
What a sound file becomes: preferences, gaps, flags and the days that are kept, worked by hand from FAO-56.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import math
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.physics import air as met
from panbudget.physics import sun
from panbudget.weather import GapLimits, Weather, read_weather
from tests.weather.sites import Site
from tests.weather.test_broken_files import table, with_day

SITE = Site(latitude=38.0, elevation=100.0)
NO_HUMIDITY = ("rh_max", "rh_min")


@pytest.fixture
def read(tmp_path):
    """Return a function that writes a table and reads it."""

    def do(text, site=SITE, **options):
        file = tmp_path / "weather.csv"
        file.write_text(text, encoding="utf-8")
        return read_weather(file, site, shown_as="station.csv", **options)

    return do


def e0(temperature):
    """FAO-56 eq 11, written out again."""
    return 0.6108 * math.exp(17.27 * temperature / (temperature + 237.3))


def test_what_a_caution_is_worth_has_no_more_light_than_a_clear_sky_and_both_ends_where_it_may_be_either(read):
    """Light of a hundredth from a day on, of which a line through the season would make some hundred times as much at its end."""
    light = [26 - day % 5 for day in range(60)] + [0.26 - day % 5 / 100 for day in range(60)]
    warm = [30 + day % 3 for day in range(120)]
    wind = [(4 if day < 60 else 1) + day % 3 / 10 for day in range(120)]
    days = table(120, start=dt.date(2025, 5, 1), tmax=warm, radiation=light, wind=wind)
    cautions = {caution.name: caution.worth for caution in read(days, trust=["radiation-leap"]).cautions}
    assert re.fullmatch(r"if so, the season's ETo is \d+ mm \(\+\d+ mm\)", cautions["radiation-fades"])
    found = re.fullmatch(
        r"if so, the season's ETo is (\d+) mm \(-\d+ mm\) to (\d+) mm \(\+\d+ mm\)", cautions["wind-leap"]
    )
    assert int(found[1]) < int(found[2])


def test_what_a_change_of_unit_in_rain_is_worth_is_told_from_unit_to_unit_where_two_are_near(read):
    """By definition of cm and inches: 10 or 25.4 times 15 wet days of 4 mm in the mean is 540 or 1464 mm more."""
    wet = [57.0 + day for day in range(15)]
    rain = [amount for fallen in [*wet, *[round(each / 16.0, 2) for each in wet]] for amount in (fallen, 0.0)]
    (found,) = (
        re.search(r"the season's rain changes by \+(\d+) mm to \+(\d+) mm, and its ETo by \+0 mm", caution.worth)
        for caution in read(table(60, start=dt.date(2025, 5, 1), rain=rain)).cautions
        if caution.name == "rain-change"
    )
    small = sum(rain[30:])
    assert [int(mm) for mm in found.groups()] == pytest.approx([9.0 * small, 24.4 * small], abs=1.0)


def test_a_sound_file_keeps_its_values_and_nothing_is_filled(read):
    """Measured in, measured out; vapour pressure by eq 17 from the file's own humidity is no filling."""
    weather = read(table())
    assert list(weather.daily) == [
        "tmin",
        "tmax",
        "vapour_pressure",
        "rh_mean",
        "rh_min",
        "wind",
        "rain",
        "radiation",
    ]
    assert weather.daily.index.name == "date"
    assert weather.daily["wind"].eq(2.0).all()
    assert weather.daily["vapour_pressure"].to_numpy() == pytest.approx((e0(14) * 0.8 + e0(30) * 0.35) / 2)
    assert weather.daily["rh_mean"].eq(57.5).all()
    assert weather.filled() == {}
    assert set(weather.flags["rain"]) == {"measured"}
    assert weather.daily.attrs["units"]["radiation"] == "MJ/m²/d"


def test_provenance_says_which_file_it_was(read, tmp_path):
    """Enough to tell two runs apart."""
    provenance = read(table()).provenance
    assert provenance["file"] == "station.csv"
    assert provenance["sha256"] == hashlib.sha256((tmp_path / "weather.csv").read_bytes()).hexdigest()
    assert (provenance["rows"], provenance["first"], provenance["last"]) == (20, "2025-06-01", "2025-06-20")
    assert provenance["reader"] == "table"
    assert "comma between columns" in provenance["recognised"]


@pytest.mark.parametrize(
    ("columns", "kPa"),
    [
        ({"vapour_pressure": 1.5, "dew_point": 12, "rh_max": 80, "rh_min": 35}, 1.5),
        ({"dew_point": 12, "rh_max": 80, "rh_min": 35}, e0(12)),
        ({"rh_max": 80, "rh_min": 35, "rh_mean": 60}, (e0(14) * 0.8 + e0(30) * 0.35) / 2),
        ({"rh_max": 80, "rh_mean": 60}, e0(14) * 0.8),
        ({"rh_mean": 60}, 0.6 * (e0(14) + e0(30)) / 2),
    ],
)
def test_the_best_humidity_of_the_file_is_taken(read, columns, kPa):
    """FAO-56 chapter 3, in the paper's order: eq 14, 17, 18, 19."""
    weather = read(table(drop=[name for name in NO_HUMIDITY if name not in columns], **columns))
    assert weather.daily["vapour_pressure"].to_numpy() == pytest.approx(kPa)
    assert "vapour_pressure" not in weather.filled()


def test_a_day_with_a_lesser_humidity_only_is_counted(read):
    """Max and min on most days; on one the mean alone: derived there, but not from the main source."""
    weather = read(table(rh_min=with_day(35, ""), rh_max=with_day(80, ""), rh_mean=57))
    assert weather.filled()["vapour_pressure"] == {"from rh_mean only": 1}
    assert weather.daily["vapour_pressure"].iloc[3] == pytest.approx(0.57 * (e0(14) + e0(30)) / 2)
    assert weather.flags["vapour_pressure"].iloc[3] == "from rh_mean only"


@pytest.mark.parametrize(("climate", "dew_point"), [("humid", 14.0), ("dry", 12.0)])
def test_without_humidity_the_dew_point_follows_tmin(read, climate, dew_point):
    """FAO-56 eq 48 with the correction for a dry climate."""
    weather = read(table(drop=NO_HUMIDITY), Site(38.0, 100.0, climate=climate))
    assert weather.daily["vapour_pressure"].to_numpy() == pytest.approx(e0(dew_point))
    assert weather.daily["rh_min"].to_numpy() == pytest.approx(100 * e0(dew_point) / e0(30))
    assert weather.daily["rh_mean"].to_numpy() == pytest.approx(100 * e0(dew_point) / e0(22))
    assert sum(weather.filled()["vapour_pressure"].values()) == 20
    texts = " | ".join(weather.provenance["assumptions"])
    assert "the file has no humidity at all" in texts
    assert f'climate is "{climate}", as given' in texts


@pytest.mark.parametrize(
    ("rain", "word", "flag"),
    [(0.5, "dry", "dew point from tmin - 2 °C"), (8, "humid", "dew point from tmin")],
)
def test_the_climate_is_dry_where_rain_is_below_half_the_demand(read, rain, word, flag):
    """UNEP's aridity index, 0.5 (from memory): such days evaporate some 5 mm."""
    weather = read(table(drop=NO_HUMIDITY, rain=rain))
    assert set(weather.flags["vapour_pressure"]) == {flag}
    assert any(f"climate counts as {word}" in text for text in weather.provenance["assumptions"])


def test_the_climate_is_not_spoken_of_where_humidity_was_measured(read):
    """An assumption that wasn't used is noise."""
    assert not any("climate" in text for text in read(table()).provenance["assumptions"])


def test_wind_from_ten_metres_is_brought_down(read):
    """FAO-56 Example 14: 3.2 m/s at 10 m is 2.4 m/s at 2 m."""
    weather = read(table(wind=3.2), wind_height=10.0)
    assert weather.daily["wind"].to_numpy() == pytest.approx(2.4, abs=0.05)
    assert any("from 10 m to 2 m" in text for text in weather.provenance["assumptions"])


@pytest.mark.parametrize(("height", "fits"), [(0.5, True), (0.49, False), (200.0, True), (200.1, False)])
def test_a_gauge_stands_half_a_metre_to_200_m_above_ground(read, height, fits):
    if fits:
        assert len(read(table(), wind_height=height).daily) == 20
    else:
        with pytest.raises(WeatherError, match="is no height of a wind gauge; expected: 0.5 to 200 m above ground"):
            read(table(), wind_height=height)


def test_a_gauge_at_2_m_needs_no_correction(read):
    weather = read(table(wind=3.2), wind_height=2.0)
    assert weather.daily["wind"].eq(3.2).all()
    assert not any("brought from" in text for text in weather.provenance["assumptions"])


def test_a_gap_in_the_wind_takes_its_own_months_mean(read):
    """May blows 1, June 3: a day of June gets 3."""
    wind = [1] * 31 + [3] * 30
    wind[40] = ""
    weather = read(table(61, start=dt.date(2025, 5, 1), wind=wind))
    assert weather.daily["wind"].iloc[40] == 3.0
    assert weather.filled() == {"wind": {"monthly mean wind": 1}}
    assert weather.filled(dt.date(2025, 5, 1), dt.date(2025, 5, 31)) == {}


def test_a_file_without_wind_gets_two_metres_a_second_and_says_so(read):
    """FAO-56 chapter 3."""
    weather = read(table(drop=["wind"]))
    assert weather.daily["wind"].eq(2.0).all()
    assert weather.filled() == {"wind": {"2 m/s": 20}}
    assert any("no wind at all" in text and "7 %" in text for text in weather.provenance["assumptions"])


def test_sunshine_becomes_radiation_and_is_no_filling(read):
    """FAO-56 eq 35."""
    weather = read(table(drop=["radiation"], sunshine=9))
    days = weather.daily.index.day_of_year.to_numpy()
    Ra, N = sun.extraterrestrial_radiation(days, latitude=38.0), sun.daylight_hours(days, latitude=38.0)
    assert weather.daily["radiation"].to_numpy() == pytest.approx((0.25 + 0.5 * 9 / N) * Ra)
    assert weather.filled() == {}


@pytest.mark.parametrize(("setting", "krs"), [("inland", 0.16), ("coast", 0.19)])
def test_without_sun_radiation_comes_from_the_temperature_range(read, setting, krs):
    """FAO-56 eq 50: kRs √(30 - 14) Ra, at most the clear sky's."""
    weather = read(table(drop=["radiation"]), Site(38.0, 100.0, setting=setting))
    Ra = sun.extraterrestrial_radiation(weather.daily.index.day_of_year.to_numpy(), latitude=38.0)
    expected = np.minimum(krs * 4.0, 0.75 + 2e-5 * 100.0) * Ra
    assert weather.daily["radiation"].to_numpy() == pytest.approx(expected)
    assert weather.filled() == {"radiation": {"radiation from temperature range": 20}}
    assert any("no radiation or sunshine at all" in text for text in weather.provenance["assumptions"])


def test_a_little_too_bright_is_limited_only_on_request(read):
    """36 MJ/m² on one June day is between 1.05 and 1.25 of the clear sky's."""
    weather = read(table(radiation=with_day(24, 36)), too_bright="limit")
    day = weather.daily.index.day_of_year[3]
    Rso = met.clear_sky_radiation(sun.extraterrestrial_radiation(day, latitude=38.0), elevation=100.0)
    assert weather.daily["radiation"].iloc[3] == pytest.approx(1.05 * float(Rso))
    assert weather.filled() == {"radiation": {"limited to 1.05 Rso": 1}}


def test_missing_rain_is_zero_only_on_request(read):
    """And flagged."""
    weather = read(table(rain=with_day(4, "")), missing_rain="zero")
    assert weather.daily["rain"].iloc[3] == 0.0
    assert weather.filled() == {"rain": {"zero rain (assumed)": 1}}


def test_the_limits_of_gaps_are_exact(read):
    """2 of 20 days and 2 in a row pass at 10 %; a run limit of 1 does not let them."""
    text = table(wind=[2] * 8 + ["", ""] + [2] * 10)
    assert read(text).filled() == {"wind": {"monthly mean wind": 2}}
    with pytest.raises(WeatherError, match="up to 2 days in a row: .*; expected: at most 1 "):
        read(text, limits=GapLimits(run=1))


@pytest.mark.parametrize("bad", [{"share": 1.5}, {"run": -1}])
def test_gap_limits_refuse_nonsense(bad):
    """A bug of the caller, so a plain ValueError."""
    with pytest.raises(ValueError, match="expected"):
        GapLimits(**bad)


def test_units_are_read_from_brackets_or_the_users_mapping(read):
    """57.2 °F is 14 °C; 7.2 km/h is 2 m/s."""
    text = table(tmin=57.2, wind=7.2).replace("tmin", "T_low [degF]").replace("wind", "blow")
    text = text.replace("tmax", "tmax [degC]").replace("rain", "rain [mm]")
    columns = {"tmin": {"column": "T_low [degF]", "unit": None}, "wind": {"column": "blow", "unit": "km/h"}}
    weather = read(text, columns=columns)
    assert weather.daily["tmin"].to_numpy() == pytest.approx(14.0)
    assert weather.daily["wind"].to_numpy() == pytest.approx(2.0)
    assert weather.provenance["units"]["wind"] == "km/h"


def test_semicolons_and_decimal_commas_read_as_points_do(read):
    """A spreadsheet of many countries."""
    text = table(tmin=14.5)
    pd.testing.assert_frame_equal(read(text.replace(",", ";").replace("14.5", "14,5")).daily, read(text).daily)


def test_rows_out_of_order_are_sorted_and_noted(read):
    """Nothing is lost, so nothing is refused."""
    header, *rows = table().splitlines()
    weather = read("\n".join([header, *rows[::-1]]))
    pd.testing.assert_frame_equal(weather.daily, read(table()).daily)
    assert any("backwards in time" in note for note in read("\n".join([header, *rows[::-1]])).notes)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (dt.date(2025, 5, 1), dt.date(2025, 6, 10)),
        (dt.date(2025, 6, 10), dt.date(2025, 9, 1)),
        (dt.date(2026, 1, 1), dt.date(2026, 2, 1)),
    ],
)
def test_a_season_outside_the_file_is_left_to_the_caller_to_refuse(read, start, end):
    """The caller knows where its dates were written."""
    assert len(read(table(), start=start, end=end).daily) == 20


def test_the_record_ends_where_a_day_can_not_be_completed(read):
    """No rain on 4 June, asked for from the 10th: the record begins on the 5th."""
    weather = read(table(rain=with_day(0, "")), start=dt.date(2025, 6, 10), end=dt.date(2025, 6, 12))
    assert [str(day.date()) for day in weather.daily.index[[0, -1]]] == ["2025-06-05", "2025-06-20"]
    assert not weather.daily.isna().any().any()


def test_one_day_is_a_season(read):
    """The shortest record."""
    assert len(read(table(1)).daily) == 1


def test_a_leap_day_is_a_day(read):
    """29 February 2024, and none in 2025."""
    leap = read(table(3, start=dt.date(2024, 2, 28), radiation=12))
    assert str(leap.daily.index[1].date()) == "2024-02-29"
    with pytest.raises(WeatherError, match="no day of the calendar"):
        read(table(3, start=dt.date(2024, 2, 28), radiation=12).replace("2024", "2025"))


def test_the_southern_hemisphere_has_its_summer_in_january(read):
    """24 MJ/m² in June is impossible at 38° south, and the message thinks of the sign."""
    south = Site(latitude=-38.0, elevation=100.0)
    assert len(read(table(start=dt.date(2025, 1, 1)), south).daily) == 20
    with pytest.raises(WeatherError, match="check the sign of the site's latitude"):
        read(table(), south)


def test_polar_night_needs_no_sun(read):
    """Zero radiation is right there, and the estimate is zero too."""
    north = Site(latitude=78.0, elevation=10.0)
    cold = {"start": dt.date(2024, 12, 10), "tmin": -20, "tmax": -10}
    assert read(table(radiation=0, **cold), north).daily["radiation"].eq(0.0).all()
    assert read(table(drop=["radiation"], **cold), north).daily["radiation"].eq(0.0).all()


def test_pressure_and_pan_evaporation_are_there_only_if_the_file_has_them(read):
    """Pressure is completed by FAO-56 eq 7; a measured pan's holes stay holes for its user to judge."""
    weather = read(table(pressure=with_day(100.0, ""), pan_evaporation=with_day(8, "")))
    assert weather.daily["pressure"].iloc[3] == pytest.approx(float(met.atmospheric_pressure(100.0)))
    assert np.isnan(weather.daily["pan_evaporation"].iloc[3])
    assert weather.filled() == {"pressure": {"pressure from elevation": 1}}


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(holes=st.sets(st.integers(0, 39), max_size=4), wind=st.floats(0.2, 4.5))
def test_filling_leaves_measured_values_alone_and_counts_each_hole_once(read, holes, wind):
    """Whatever four days of forty are missing."""
    wind = round(wind, 2)
    weather = read(table(40, wind=["" if day in holes else wind for day in range(40)]))
    assert not weather.daily.isna().any().any()
    assert weather.daily["wind"].to_numpy() == pytest.approx(wind)
    assert sum(weather.filled().get("wind", {}).values()) == len(holes)


@pytest.mark.parametrize(("start", "refused"), [(dt.date(2025, 6, 6), True), (dt.date(2025, 6, 5), False)])
def test_a_season_of_one_day_is_read_and_one_that_ends_before_it_starts_is_not(read, start, refused):
    if refused:
        with pytest.raises(
            WeatherError, match="start = .*2025-06-06 is after the end, 2025-06-05; expected: dates within"
        ):
            read(table(), start=start, end=dt.date(2025, 6, 5))
    else:
        assert len(read(table(), start=start, end=dt.date(2025, 6, 5)).daily) == 20


@pytest.mark.parametrize(
    ("start", "end", "held"), [(1, 3, True), (2, 2, True), (0, 3, False), (1, 4, False), (3, 2, False)]
)
def test_a_record_holds_days_from_its_first_to_its_last(start, end, held):
    daily = pd.DataFrame({"tmin": 1.0}, index=pd.date_range("2025-06-01", periods=3))
    day = dt.date(2025, 5, 31)
    weather = Weather(daily, daily)
    assert weather.holds(day + dt.timedelta(days=start), day + dt.timedelta(days=end)) is held
