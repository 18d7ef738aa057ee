"""
Fallback stations: what is borrowed, in which order, how it is fitted and flagged. All worked by hand on even days.
"""

from __future__ import annotations

import datetime as dt
import math
import tomllib

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import Fallback, is_filled, read_weather
from panbudget.weather.filling.fallback import fit_of
from tests.weather.formats.test_tmy3 import text as typical_year
from tests.weather.sites import Site
from tests.weather.test_broken_files import table, with_day, without_line

SITE = Site(latitude=38.0, elevation=100.0)
LENT = "borrowed from hill.csv"


@pytest.fixture
def read(tmp_path):
    """Return a function that writes a table and its fallbacks, and reads them."""

    def do(own, *others, **options):
        (tmp_path / "own.csv").write_text(own, encoding="utf-8")
        fallbacks = []
        for name, text, chosen in others:
            (tmp_path / name).write_text(text, encoding="utf-8")
            fallbacks.append(Fallback(tmp_path / name, shown_as=name, **chosen))
        return read_weather(tmp_path / "own.csv", SITE, shown_as="own.csv", fallbacks=fallbacks, **options)

    return do


def hill(text, **chosen):
    return ("hill.csv", text, chosen)


def refusal(read, *arguments, **options):
    with pytest.raises(WeatherError) as caught:
        read(*arguments, **options)
    return str(caught.value)


def e0(temperature):
    """FAO-56 eq 11, written out again."""
    return 0.6108 * math.exp(17.27 * temperature / (temperature + 237.3))


def test_without_gaps_nothing_is_borrowed(read):
    """A fallback changes no value that was measured, and the record is the same as without it."""
    alone = read(table())
    helped = read(table(), hill(table(tmin=5, wind=4, rain=3)))
    assert helped.daily.equals(alone.daily)
    assert helped.flags.equals(alone.flags)
    assert "fallback hill.csv: nothing had to be borrowed from it" in helped.notes


@pytest.mark.parametrize(
    ("name", "theirs", "column", "expected"),
    [
        ("tmin", 11, "tmin", 11.0),
        ("tmax", 33, "tmax", 33.0),
        ("wind", 4, "wind", 4.0),
        ("radiation", 21, "radiation", 21.0),
    ],
)
def test_a_missing_value_is_borrowed_and_flagged_with_the_file(read, name, theirs, column, expected):
    own = table(**{name: with_day({"tmin": 14, "tmax": 30, "wind": 2, "radiation": 24}[name], "")})
    weather = read(own, hill(table(**{name: theirs})))
    assert weather.daily[column].iloc[3] == pytest.approx(expected)
    assert weather.flags[column].iloc[3] == LENT
    assert weather.filled()[column] == {LENT: 1}
    assert weather.provenance["fallbacks"][0]["borrowed"] == {column: 1}
    assert not weather.daily.isna().any().any()


def test_humidity_is_borrowed_as_vapour_pressure(read):
    """Their relative humidity belongs to their temperatures; what the air holds can be carried over (eq 17)."""
    own = table(rh_max=with_day(80, ""), rh_min=with_day(35, ""))
    weather = read(own, hill(table(tmin=10, tmax=26, rh_max=90, rh_min=40)))
    theirs = (e0(10) * 0.9 + e0(26) * 0.4) / 2
    assert weather.daily["vapour_pressure"].iloc[3] == pytest.approx(theirs)
    assert weather.daily["rh_min"].iloc[3] == pytest.approx(100 * theirs / e0(30))
    assert weather.flags.loc[weather.flags.index[3], ["vapour_pressure", "rh_mean", "rh_min"]].tolist() == [LENT] * 3
    assert weather.flags["vapour_pressure"].iloc[4] == "eq 17 from rh_max and rh_min"


def test_a_borrowed_vapour_pressure_never_passes_saturation(read):
    own = table(rh_max=with_day(80, ""), rh_min=with_day(35, ""))
    weather = read(own, hill(table(tmin=25, tmax=38, rh_max=100, rh_min=90)))
    assert weather.daily["vapour_pressure"].iloc[3] == pytest.approx((e0(14) + e0(30)) / 2)
    assert "1 day: borrowed vapour_pressure was bounded to the saturation of the day's temperatures" in weather.notes


def test_a_quantity_that_the_file_lacks_altogether_is_borrowed_on_every_day(read):
    own = table(drop=("wind", "rh_max", "rh_min"))
    weather = read(own, hill(table(wind=3)))
    assert weather.daily["wind"].eq(3.0).all()
    assert weather.filled()["wind"] == {LENT: 20}
    assert not any("no wind at all" in note or "no humidity at all" in note for note in weather.notes)


def test_their_wind_is_brought_to_2_m_by_their_own_gauge(read):
    """FAO-56 example 14: 3.2 m/s at 10 m is 2.4 m/s at 2 m; the primary's own gauge stands at 2 m."""
    weather = read(table(wind=with_day(2, "")), hill(table(wind=3.2), wind_height=10.0))
    assert weather.daily["wind"].iloc[3] == pytest.approx(2.4, abs=0.05)
    assert weather.daily["wind"].iloc[4] == 2.0


def test_the_first_fallback_that_has_a_value_lends_it(read):
    own = table(tmin=[14] * 3 + ["", ""] + [14] * 15)
    first = table(tmin=[12] * 3 + ["", 12] + [12] * 15)
    weather = read(own, hill(first), ("far.csv", table(tmin=9), {}))
    assert weather.daily["tmin"].iloc[3:5].tolist() == [9.0, 12.0]
    assert weather.flags["tmin"].iloc[3:5].tolist() == ["borrowed from far.csv", LENT]


def test_a_day_without_a_row_is_borrowed_whole(read):
    weather = read(without_line(table(), 5), hill(table(tmin=11, rain=2), rain=True))
    assert weather.daily.loc["2025-06-04", ["tmin", "tmax", "rain"]].tolist() == [11.0, 30.0, 2.0]
    assert (weather.flags.loc["2025-06-04"] == LENT).all()


def test_days_after_the_files_end_are_borrowed_too(read):
    weather = read(table(18), hill(table(40), rain=True), start=dt.date(2025, 6, 1), end=dt.date(2025, 6, 20))
    assert len(weather.daily) == 20
    assert (weather.flags["tmax"] == LENT).to_numpy().tolist() == [False] * 18 + [True] * 2


def test_rain_is_borrowed_only_where_that_is_asked_for(read):
    """Rain is local: the refusal names the key that allows it."""
    own = table(rain=with_day(0, ""))
    said = refusal(read, own, hill(table(rain=7)))
    assert "rain is empty on 2025-06-04" in said
    assert "rain = true under the [[weather.fallback]] that has it" in said
    assert read(own, hill(table(rain=7), rain=True)).daily["rain"].iloc[3] == 7.0


def test_zero_rain_stands_where_no_fallback_may_lend_any(read):
    weather = read(table(rain=with_day(0, "")), hill(table(rain=7)), missing_rain="zero")
    assert weather.daily["rain"].iloc[3] == 0.0
    assert weather.flags["rain"].iloc[3] == "zero rain (assumed)"


def test_zero_rain_stands_for_no_days_half_a_year_after_the_last_record(read):
    """A gauge of one day: 183 days on, its empty days may have been dry; 184 days on, and before it, nobody knows."""
    own, span = table(1, rain=3), {"missing_rain": "zero", "end": dt.date(2026, 1, 10)}
    assert read(own, hill(table(300, radiation=10)), start=dt.date(2025, 12, 1), **span).daily["rain"].sum() == 3.0
    said = refusal(read, own, hill(table(300, radiation=10)), start=dt.date(2025, 12, 2), **span)
    assert "rain has no figure from 2025-06-02 to 2026-01-10" in said


def test_a_gauge_without_temperatures_borrows_them(read):
    """But not where a column that is unknown, or named and not there, may hold them, nor without such a fallback."""
    gauge = "date,rain\n2025-06-01,3\n2025-06-02,0\n"
    weather = read(gauge, hill(table(2)))
    assert weather.daily["rain"].tolist() == [3.0, 0.0]
    assert (weather.flags["tmin"] == LENT).all()
    unknown = gauge.replace("\n", ",5\n").replace("rain,5", "rain,knob")
    for refused in ((unknown, hill(table(2))), (gauge,)):
        assert "there is no column tmin" in refusal(read, *refused)
    said = refusal(read, gauge, hill(table(2)), columns={"tmin": {"column": "low"}})
    assert "tmin" in said and '"low"' in said


def test_temperatures_are_shifted_by_the_mean_difference(read):
    """Their tmin is 3 or 5 °C lower day about: 4 °C are added, and the scatter is that of ±1 °C over 39 days."""
    own = table(40, tmin=with_day(14, "", days=40))
    theirs = table(40, tmin=[11 if day % 2 else 9 for day in range(40)])
    weather = read(own, hill(theirs, adjust=True))
    fit = weather.provenance["fallbacks"][0]["fit"]["tmin"]
    mean = (20 * 5 + 19 * 3) / 39
    assert weather.daily["tmin"].iloc[3] == pytest.approx(11 + mean)
    assert (fit["days"], fit["shift"]) == (39, pytest.approx(mean))
    assert fit["scatter"] == pytest.approx(math.sqrt((20 * (5 - mean) ** 2 + 19 * (3 - mean) ** 2) / 38))
    assert any(
        f"tmin: {LENT} on 1 of 40 days (4.03 °C added, fitted over 39 days in common; scatter 1.01 °C)" in text
        for text in weather.provenance["assumptions"]
    )


@pytest.mark.parametrize(("name", "here", "there"), [("wind", 2, 4), ("radiation", 24, 20)])
def test_wind_and_radiation_are_stretched(read, name, here, there):
    own = table(40, **{name: with_day(here, "", days=40)})
    weather = read(own, hill(table(40, **{name: there}), adjust=True))
    assert weather.daily[name].iloc[3] == pytest.approx(here)
    assert weather.provenance["fallbacks"][0]["fit"][name]["factor"] == pytest.approx(here / there)


def test_rain_is_stretched_by_the_ratio_of_the_sums():
    """Gauges seldom agree day by day: a slope by least squares, here 0.5, would lose half of the rain."""
    own, theirs = np.zeros(40), np.zeros(40)
    own[[1, 3]], theirs[[1, 2]] = 10.0, 10.0
    assert fit_of(own, theirs, name="rain").factor == pytest.approx(1.0)
    assert fit_of(own, theirs, name="wind").factor == pytest.approx(0.5)


@pytest.mark.parametrize("dry", [0, 1])
def test_days_in_common_without_any_rain_give_no_ratio(dry):
    """A neighbour's ten millimetres beside a dry month here are no reason to take all its rain as none."""
    columns = [np.zeros(40), np.full(40, 10.0)]
    assert fit_of(columns[dry], columns[1 - dry], name="rain").factor == 1.0


def test_what_is_borrowed_as_it_stands_is_set_beside_the_sites_own(read):
    weather = read(table(40, tmin=with_day(14, "", days=40)), hill(table(40, tmin=11)))
    assert weather.daily["tmin"].iloc[3] == 11.0
    assert any(
        "as it stands there: it is 3.00 °C higher here, over 39 days in common" in text
        for text in weather.provenance["assumptions"]
    )


def test_a_fit_wants_thirty_days(read):
    """Twenty days, one of them a gap: 19 in common."""
    said = refusal(read, table(tmin=with_day(14, "")), hill(table(), adjust=True))
    assert "and 19 days have tmin in both files; expected: 30 days; write adjust = false" in said


def test_thirty_days_in_common_are_enough():
    assert fit_of(np.ones(30), np.ones(30), name="tmin").days == 30
    assert fit_of(np.ones(29), np.ones(29), name="tmin") is None


def test_a_shifted_vapour_pressure_stays_above_nothing():
    """0.01 kPa is what a dew point of -42 °C has."""
    fit = fit_of(np.full(30, 0.2), np.full(30, 1.0), name="vapour_pressure")
    assert fit.applied(np.array([1.0, 0.82, 0.5]), name="vapour_pressure") == pytest.approx([0.2, 0.02, 0.01])
    assert fit.applied(np.array([0.5]), name="tmin") == pytest.approx([-0.3])


@pytest.mark.parametrize(
    ("name", "here", "adjusted", "words"),
    [
        ("tmin", 2.0, True, "1.00 °C added, fitted over 30 days in common; scatter 0 °C"),
        ("tmin", 0.5, True, "0.50 °C taken off, fitted over"),
        ("tmin", 0.5, False, "as it stands there: it is 0.50 °C lower here, over"),
        ("tmin", 2.0, False, "as it stands there: it is 1.00 °C higher here, over"),
        ("wind", 2.0, True, "times 2.00, fitted over"),
        ("wind", 2.0, False, "as it stands there: it is 2.00 times as much here, over"),
    ],
)
def test_how_a_column_was_fitted_is_said(name, here, adjusted, words):
    fit = fit_of(np.full(30, here), np.ones(30), name=name)
    assert fit.in_words(name, adjusted=adjusted).startswith(words)


def test_gap_limits_count_what_is_missing_after_borrowing(read):
    """Six days in a row without wind are too many; with three of them lent, three are filled by the month's mean."""
    own = table(40, wind=[2] * 10 + [""] * 6 + [2] * 24)
    theirs = table(40, wind=["" if 10 <= day < 13 else 4 for day in range(40)])
    assert "wind is missing on up to 6 days in a row" in refusal(read, own)
    assert read(own, hill(theirs)).filled()["wind"] == {LENT: 3, "monthly mean wind": 3}


def test_what_no_fallback_has_is_refused_and_says_so(read):
    own = table(tmin=with_day(14, ""))
    assert "no fallback has them either" in refusal(read, own, hill(own))
    bare = without_line(table(), 5)
    assert "date has no row for 1 day: 2025-06-04" in (said := refusal(read, bare, hill(bare)))
    assert "no fallback has both temperatures there" in said
    assert "[[weather.fallback]]" in refusal(read, bare)


def test_a_borrowed_minimum_above_the_days_maximum_is_left_out(read):
    said = refusal(read, table(tmin=with_day(14, "")), hill(table(tmin=31, tmax=39)))
    why = "left out there for crossing the day's other temperature, once borrowed"
    assert f"tmin is empty on 2025-06-04 ({why}); temperatures" in said


def test_a_damaged_fallback_is_refused_under_its_own_name(read):
    said = refusal(read, table(), hill(table(tmax=with_day(30, 86))))
    assert said.startswith("hill.csv: ")
    said = refusal(read, table(), hill(table(wind=9)))
    assert "name its unit under [weather.fallback.columns]" in said
    (lent,) = tomllib.loads(f'fallback = [{{ file = "hill.csv", {said.splitlines()[-1].replace("?", "km/h")} }}]')[
        "fallback"
    ]
    assert read(table(), hill(table(wind=9), columns=lent["columns"]))


def test_odd_days_of_a_fallback_that_has_none_of_the_season_do_not_matter(read):
    """An odd day of an earlier year is passed over; a column in another unit is not."""
    dates = {"start": dt.date(2025, 6, 1), "end": dt.date(2025, 6, 20)}
    earlier = table(20, start=dt.date(2024, 6, 1), tmax=with_day(30, 86))
    assert read(table(), hill(earlier), **dates).filled() == {}
    assert "km/h" in refusal(read, table(), hill(table(20, start=dt.date(2024, 6, 1), wind=9)), **dates)


def test_borrowed_radiation_stays_below_a_clear_sky(read):
    """1.05 of a clear sky's is what a measured one may reach as well."""
    own = table(40, start=dt.date(2025, 11, 1), radiation=[8] * 39 + [""])
    theirs = table(40, start=dt.date(2025, 11, 1), radiation=[4] * 39 + [10])
    weather = read(own, hill(theirs, adjust=True))
    assert weather.daily["radiation"].iloc[-1] < 12.0
    assert any("borrowed radiation was bounded" in note for note in weather.notes)


GAPPY = ("tmin", "tmax", "wind", "rain", "radiation", "rh_max")


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    holes=st.sets(st.tuples(st.sampled_from(GAPPY), st.integers(0, 59)), max_size=8),
    rows=st.sets(st.integers(1, 58), max_size=3),
    lacking=st.sets(st.tuples(st.sampled_from(GAPPY), st.integers(0, 59)), max_size=8),
    adjust=st.booleans(),
)
def test_whatever_is_missing_is_lent_estimated_or_refused(read, holes, rows, lacking, adjust):
    """What was measured stays; what was not is flagged; nothing is left empty behind the door."""
    theirs = {"tmin": 12, "tmax": 29, "wind": 3, "rain": 1, "radiation": 22, "rh_max": 70}
    usual = {"tmin": 14, "tmax": 30, "wind": 2, "rain": 0, "radiation": 24, "rh_max": 80}
    own = {name: ["" if (name, day) in holes else usual[name] for day in range(60)] for name in GAPPY}
    lent = {name: ["" if (name, day) in lacking else theirs[name] for day in range(60)] for name in GAPPY}
    text = table(60, **own).splitlines()
    text = "\n".join(line for index, line in enumerate(text) if index - 1 not in rows) + "\n"
    refused = ""
    try:
        weather = read(text, hill(table(60, **lent), adjust=adjust, rain=True))
    except WeatherError as error:
        refused = str(error)
    if refused:
        assert all(word in refused for word in ("own.csv", "2025"))
        assert any((name, day) in lacking for name, day in holes) or any(day in rows for _, day in lacking)
        return
    assert len(weather.daily) == 60
    assert not weather.daily.isna().any().any()
    for name in ("tmin", "tmax", "wind", "rain", "radiation"):
        there = np.array([(name, day) not in holes and day not in rows for day in range(60)])
        assert (weather.flags[name].to_numpy()[there] == "measured").all()
        assert (weather.daily[name].to_numpy()[there] == usual[name]).all()
        assert all(is_filled(flag) for flag in weather.flags[name].to_numpy()[~there])
        borrowed = (weather.flags[name] == LENT).to_numpy()
        assert all((name, day) not in lacking for day in np.flatnonzero(borrowed))
        expected = usual[name] if adjust and name != "rain" else theirs[name]
        assert weather.daily[name].to_numpy()[borrowed] == pytest.approx(expected)


def test_a_typical_year_neither_lends_nor_borrows(read):
    """Its months are from different years: it has no record of the days that are missing."""
    dates = {"start": dt.date(2025, 6, 1), "end": dt.date(2025, 6, 20)}
    year = typical_year()
    said = refusal(read, table(), ("typical.csv", year, {}), **dates)
    assert said.startswith("typical.csv: is a typical year made of months from different years")
    said = refusal(read, year, hill(table()), **dates)
    assert (
        said
        == "own.csv: is a typical year, which has no gaps that a fallback could fill; take [[weather.fallback]] out"
    )


def test_a_fallback_that_is_not_there_is_named(read, tmp_path):
    with pytest.raises(WeatherError, match=r"hill\.csv: there is no such file"):
        read_weather(tmp_path / "a.csv", SITE, fallbacks=[Fallback(tmp_path / "hill.csv", shown_as="hill.csv")])


def test_a_mark_in_a_fallback_is_named_under_its_table(tmp_path):
    """What was printed to paste bore on the first file alone."""
    (tmp_path / "a.csv").write_text("date,tmin,tmax,rain\n2025-06-01,9,20,0\n", encoding="utf-8")
    (tmp_path / "b.csv").write_text("date,tmin,tmax\n2025-06-01,x,20\n", encoding="utf-8")
    with pytest.raises(WeatherError, match=r'missing = \["x"\] under \[weather.fallback\]'):
        read_weather(tmp_path / "a.csv", SITE, fallbacks=[Fallback(tmp_path / "b.csv", shown_as="b.csv")])
