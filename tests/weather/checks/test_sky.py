"""
Checks of what comes from the sky, every threshold at its bound.

Thresholds are common practice, no source, unless a test says otherwise. The days are invented: 20 of a June at 38° north.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from panbudget.physics import air, sun
from panbudget.weather.site import Station, sky_of
from panbudget.weather.text.raw import ByHour
from tests.weather.checks.days import SITE, cautions, codes, inspected, one_day
from tests.weather.sites import Site

SAMPLES = Path(__file__).parents[3] / "weather_samples"
RISING = list(np.linspace(0.0, 50.1, 20))


@pytest.mark.parametrize(
    ("rain", "expected"),
    [
        (RISING, ["rain-unit"]),
        ([*RISING[:10], RISING[9] - 0.1, *RISING[11:]], []),
        (list(np.linspace(0.0, 50.0, 20)), []),
        ([0.0] * 15 + [10.05, 20.05, 30.05, 40.05, 50.05], ["rain-unit"]),
        ([0.0] * 16 + [20.05, 30.05, 40.05, 50.05], []),
        (RISING[1:], []),
    ],
)
def test_a_running_total_never_falls_in_20_days_rises_5_times_and_passes_50_mm(rain, expected):
    assert codes(len(rain), rain=rain) == expected


def rains(amounts, days=40):
    return [*amounts, *[0.0] * (days - len(amounts))]


@pytest.mark.parametrize(
    ("amounts", "stated", "expected"),
    [
        ([26.0] * 10, (), ["rain-unit"]),
        ([26.0] * 9, (), []),
        ([25.0] * 10, (), []),
        ([26.0] * 9 + [26.5], (), []),
    ],
)
def test_whole_numbers_with_a_median_above_25_in_10_wet_days_look_like_tenths(amounts, stated, expected):
    assert codes(40, rain=rains(amounts), stated=stated) == expected
    assert cautions(40, rain=rains(amounts), stated=("rain",)) == expected


INCHES = [0.13, 0.27, 0.55, 0.08, 0.31] * 3


@pytest.mark.parametrize(
    ("amounts", "unit"),
    [
        (INCHES, "in"),
        (INCHES[:14], ""),
        ([*INCHES[:14], 3.99], "in"),
        ([*INCHES[:14], 4.01], "cm"),
        ([0.61, 0.59] * 7 + [0.59], "in"),
        ([0.61, 0.59] * 8, "cm"),
        ([0.12, 0.26, 0.54, 0.08, 0.32] * 3, "cm"),
        ([*INCHES[:14], 9.99], "cm"),
        ([*INCHES[:14], 10.01], ""),
        ([0.98, 1.01] * 8, "cm"),
        ([0.99, 1.01] * 8, ""),
        ([*INCHES[:14], 0.125], ""),
        ([0.13, 0.1] * 7 + [0.13], "in"),
        ([0.13, 0.1] * 8, ""),
        ([0.25, 0.51, 0.76, 1.02, 0.25] * 3, ""),
    ],
)
def test_rain_in_hundredths_looks_like_inches_or_centimetres(amounts, unit):
    """
    From 15 wet days, fewer than half of them in tenths. Inches: below 4, with a mean below 0.6; cm: below 10, with a mean
    below 1, or in fiftieths throughout, as a gauge that tips at 0.2 mm. Multiples of 0.254 mm were inches, and are none now.
    """
    problems = inspected(40, rain=rains(amounts)).problems
    assert [problem.code for problem in problems] == ["rain-unit"] * bool(unit)
    assert not unit or f'unit = "{unit}" }}; if it is right after all, write trust = ["rain-unit"]' in problems[0].cure
    assert cautions(40, rain=rains(amounts), stated=("rain",)) == ["rain-unit"] * bool(unit)
    assert cautions(40, rain=rains(amounts), stated=("rain",), trust=["rain-unit"]) == []


@pytest.mark.parametrize(
    ("amounts", "is_doubted"), [(INCHES[:14], True), (INCHES[:5], True), (INCHES[:4], False), ([0.3, 0.8] * 5, False)]
)
def test_rain_of_few_wet_days_is_doubted_where_nobody_names_its_unit(amounts, is_doubted):
    """From 5 wet days on, with what to write."""
    found = inspected(40, rain=rains(amounts))
    assert [caution.name for caution in found.cautions] == ["rain-unit"] * is_doubted
    assert not is_doubted or 'unit = "in" }' in found.cautions[0].sentence
    assert not found.problems
    assert cautions(40, rain=rains(amounts), stated=("rain",)) == []


def test_a_stated_unit_lets_rain_reach_the_worlds_record_with_a_caution():
    found = inspected(rain=one_day(0.0, 1850.0), stated=("rain",))
    assert (found.problems, [caution.name for caution in found.cautions]) == ([], ["rain-spike"])
    (problem,) = inspected(rain=one_day(0.0, 1850.1), stated=("rain",)).problems
    assert problem.expected == "at most 1850 mm"
    (problem,) = inspected(rain=one_day(0.0, 400.1)).problems
    assert problem.expected == "at most 400 mm, as nearly everywhere"
    assert 'trust = ["rain-much"] under [weather]' in problem.cure
    assert codes(rain=one_day(0.0, 400.1), trust=["rain-much"]) == []


DAYS = pd.date_range("2025-06-01", periods=20).day_of_year.to_numpy()
DAYLIGHT = sun.daylight_hours(DAYS, latitude=38.0)
CLEAR = air.clear_sky_radiation(sun.extraterrestrial_radiation(DAYS, latitude=38.0), elevation=100.0)


def test_sunshine_ends_a_little_after_the_day():
    """0.3 h: refraction and rounding."""
    assert codes(sunshine=one_day(9.0, DAYLIGHT[3] + 0.299)) == []
    (problem,) = inspected(sunshine=one_day(9.0, DAYLIGHT[3] + 0.301)).problems
    assert problem.code == "sunshine-range"
    assert f"{DAYLIGHT[3]:.1f} h" in problem.expected


LONGEST = float(DAYLIGHT.max())


@pytest.mark.parametrize(
    ("highest", "looks_like"),
    [
        (61.0 * LONGEST + 1.0, "seconds"),
        (61.0 * LONGEST - 1.0, "minutes"),
        (10.0 * LONGEST + 3.1, "minutes"),
        (10.0 * LONGEST + 2.9, "tenths of an hour (or minutes)"),
        (100.1, "tenths of an hour (or minutes)"),
        (100.0, "per cent"),
    ],
)
def test_sunshine_in_another_unit_shows_by_its_highest(highest, looks_like):
    (problem,) = inspected(sunshine=highest).problems
    assert problem.code == "sunshine-unit"
    assert f"looks like {looks_like}" in problem.found
    assert f"{LONGEST:.1f} h" in problem.expected


@pytest.mark.parametrize(("over", "code"), [(8, "sunshine-range"), (9, "sunshine-unit")])
def test_sunshine_is_in_another_unit_if_it_is_too_long_on_more_than_40_percent_of_the_days(over, code):
    assert codes(sunshine=[60.0] * over + [9.0] * (20 - over)) == [code]


@pytest.mark.parametrize(
    ("days", "highest", "stated", "expected"),
    [
        (14, 1.0, (), ["sunshine-unit"]),
        (14, 1.01, (), []),
        (13, 1.0, (), []),
        (14, 0.0, (), []),
        (14, 0.01, (), ["sunshine-unit"]),
        (14, 1.0, ("sunshine",), ["sunshine-unit"]),
    ],
)
def test_sunshine_never_above_1_in_14_days_looks_like_a_share(days, highest, stated, expected):
    assert codes(days, sunshine=highest, stated=stated) == expected


@pytest.mark.parametrize("site", [SITE, Site(38.0, 2000.0)])
def test_radiation_is_believed_up_to_1_05_of_a_clear_skys(site):
    """The bound of the project's own model page; Rso by FAO-56 eq 37."""
    clear = sky_of(pd.date_range("2025-06-01", periods=20), latitude=38.0, elevation=site.elevation).clear
    assert codes(radiation=one_day(24.0, clear[3] * 1.0499), site=site) == []
    (problem,) = inspected(radiation=one_day(24.0, clear[3] * 1.0501), site=site).problems
    assert problem.code == "radiation-too-bright"
    assert f"{clear[3] * 1.05:.1f} MJ/m² (1.05 Rso)" in problem.expected
    assert 'too_bright = "limit" under [weather]' in problem.cure


def test_radiation_may_be_a_half_in_polar_night():
    """Twilight and printed digits."""
    north = Site(78.0, 10.0)
    assert codes(start="2024-12-10", radiation=one_day(0.0, 0.5), site=north) == []
    assert codes(start="2024-12-10", radiation=one_day(0.0, 0.51), site=north) == ["radiation-too-bright"]
    limited = inspected(start="2024-12-10", radiation=one_day(0.0, 0.62), site=north, too_bright="limit")
    assert limited.problems == [] and limited.daily["radiation"].iloc[3] == 0.5
    assert codes(start="2024-12-10", radiation=one_day(0.0, 0.63), site=north, too_bright="limit") == [
        "radiation-too-bright"
    ]


@pytest.mark.parametrize(("share", "limited"), [(1.2499, True), (1.2501, False)])
def test_radiation_is_limited_up_to_1_25_of_a_clear_skys(share, limited):
    found = inspected(radiation=one_day(24.0, CLEAR[3] * share), too_bright="limit")
    assert (found.problems == []) is limited
    assert found.limited.tolist() == [limited and day == 3 for day in range(20)]
    if limited:
        assert found.daily["radiation"].iloc[3] == pytest.approx(1.05 * CLEAR[3])
    else:
        assert "check the unit, the sensor's calibration" in found.problems[0].cure


@pytest.mark.parametrize(("days", "limited"), [(2, True), (3, False)])
def test_radiation_is_limited_on_at_most_10_percent_of_the_days(days, limited):
    radiation = [*CLEAR[:days] * 1.1, *[24.0] * (20 - days)]
    assert (codes(radiation=radiation, too_bright="limit") == []) is limited
    assert codes(radiation=radiation, too_bright="limit", bright_share=0.2) == []


def test_one_day_may_be_limited_however_few_there_are():
    assert codes(3, radiation=[CLEAR[0] * 1.1, 24.0, 24.0], too_bright="limit") == []
    assert codes(3, radiation=[*CLEAR[:2] * 1.1, 24.0], too_bright="limit") != []


def test_the_day_that_is_too_bright_by_the_largest_share_is_named():
    radiation = [24.0] * 20
    radiation[2], radiation[18] = CLEAR[2] * 1.2, CLEAR[18] * 1.19
    assert radiation[18] > radiation[2]
    (problem,) = inspected(radiation=radiation).problems
    assert "on 2025-06-03 (and 1 more day)" in problem.found


@pytest.mark.parametrize(("days", "sign"), [(6, False), (7, True)])
def test_the_sign_of_the_latitude_is_thought_of_from_7_days_on(days, sign):
    south = Site(-38.0, 100.0)
    (problem,) = inspected(radiation=[24.0] * days + [10.0] * (20 - days), site=south).problems
    assert ("it would fit latitude 38" in problem.cure) is sign
    agrees = inspected(radiation=[24.0] * 7 + [10.0] * 13, site=south, station=Station("X", -38.0))
    assert "it would fit" not in agrees.problems[0].cure
    spoilt = inspected(radiation=[24.0] * 7 + [10.0] * 12 + [36.0], site=south).problems
    assert "it would fit" not in spoilt[0].cure


# unit -> MJ/m² in one: 0.0864 from W/m² over a day (86,400 s), 0.0036 from Wh, 0.04184 from cal/cm², by definition
@pytest.mark.parametrize(
    ("looks_like", "size"),
    [
        ("W/m²", 0.0864),
        ("J/cm²", 0.01),
        ("kJ/m²", 0.001),
        ("Wh/m²", 0.0036),
        ("cal/cm² (langley)", 0.04184),
        ("J/m²", 1e-6),
    ],
)
@pytest.mark.parametrize("share", [0.9, 1.0, 1.149])
def test_radiation_in_another_unit_is_known_by_a_clear_sky(looks_like, size, share):
    """The brightest days come just below a clear sky's in the right unit; some others would bring them lower."""
    (problem,) = inspected(radiation=CLEAR * share / size).problems
    assert f"looks like {looks_like}" in problem.found


@pytest.mark.parametrize(
    ("top", "looks_like"),
    [(1.149, "J/m²"), (1.151, "radiation-too-bright"), (0.401, "J/m²"), (0.399, "radiation-too-bright")],
)
def test_a_unit_brings_the_brightest_days_to_between_0_4_and_1_15_of_a_clear_skys(top, looks_like):
    (problem,) = inspected(radiation=CLEAR * top * 1e6).problems
    assert looks_like in problem.found or problem.code == looks_like


@pytest.mark.parametrize(("top", "looks_like"), [(4.01, "tenths of MJ/m²"), (4.62, "tenths of MJ/m²"), (4.64, "W/m²")])
def test_tenths_are_thought_of_where_no_unit_fits(top, looks_like):
    """4 MJ/m² in tenths are 0.4 of a clear sky's; from 4.63 on 0.0864 MJ/m² in one W/m² bring as much."""
    (problem,) = inspected(radiation=CLEAR * top).problems
    assert f"looks like {looks_like}" in problem.found
    assert ('unit = "0.1 MJ/m^2"' in problem.cure) is looks_like.startswith("tenths")


def test_below_four_tenths_of_a_clear_skys_in_tenths_it_is_no_unit():
    assert codes(radiation=CLEAR * 3.95) == ["radiation-too-bright"]


def test_a_few_spikes_hide_no_unit():
    """The 98th of 100 counts: 3 days of 200 are left aside, 5 are not."""
    assert "W/m²" in inspected(200, clear=30.0, radiation=[9000.0] * 3 + [340.0] * 197).problems[0].found
    assert "W/m²" not in inspected(200, clear=30.0, radiation=[9000.0] * 5 + [340.0] * 195).problems[0].found


def test_days_with_little_light_tell_no_unit():
    """From 1 MJ/m² of a clear sky's on."""
    assert codes(clear=1.0, radiation=11.0) == ["radiation-too-bright"]
    assert codes(clear=1.01, radiation=11.0) == ["radiation-unit"]


@pytest.mark.parametrize(("days", "code"), [(10, "radiation-too-bright"), (11, "radiation-unit")])
def test_radiation_is_in_another_unit_if_it_is_too_bright_on_more_than_half_of_the_days(days, code):
    assert codes(radiation=[250.0] * days + [24.0] * (20 - days)) == [code]


@pytest.mark.parametrize(("rises", "told"), [(24, "which looks like"), (25, "which looks like a running total")])
def test_radiation_that_rises_on_most_days_is_a_running_total(rises, told):
    """Four in five of thirty days rise, or more; figures invented."""
    steps = np.where(np.arange(30) < rises, 10.0, -1.0)
    (problem,) = inspected(31, radiation=[100.0, *(100.0 + np.cumsum(steps))]).problems
    assert told in problem.sentence() and ("running" in problem.sentence()) is (rises == 25)


@pytest.mark.parametrize(("days", "told"), [(13, "name its unit"), (14, "not on the 14 days from 2025-06-01 on")])
def test_no_unit_is_named_for_all_days_where_two_weeks_are_right_without(days, told):
    (problem,) = inspected(40, radiation=[24.0] * days + [280.0] * (40 - days)).problems
    assert told in problem.sentence() and bool(problem.paste) == (days == 13)


@pytest.mark.parametrize(
    ("days", "top", "stated", "expected"),
    [
        (14, 0.39, (), ["radiation-too-dark"]),
        (14, 0.41, (), []),
        (13, 0.39, (), []),
    ],
)
def test_radiation_never_above_40_percent_of_a_clear_skys_in_14_days_is_doubted(days, top, stated, expected):
    assert codes(days, radiation=CLEAR[:days] * top, stated=stated) == expected
    assert cautions(days, radiation=CLEAR[:days] * top, stated=("radiation",)) == expected


@pytest.mark.parametrize(("top", "looks"), [(1.149 / 3.6, True), (1.151 / 3.6, False)])
def test_radiation_in_kilowatt_hours_would_be_up_to_1_15_of_a_clear_skys(top, looks):
    """3.6 MJ are 1 kWh, by definition."""
    (problem,) = inspected(radiation=CLEAR * top).problems
    assert ("looks like kWh/m²" in problem.found) is looks
    assert 'trust = ["radiation-too-dark"]' in problem.cure


@pytest.mark.parametrize(("top", "looks"), [(1.149, "MJ/m²"), (1.149 * 0.0864 / 3.6, "kWh/m²")])
def test_radiation_called_watts_looks_like_what_is_as_bright_as_a_clear_sky(top, looks):
    """A mean of 1 W/m² is 0.0864 MJ/m² a day, by definition."""
    watts = {"radiation": CLEAR * top * 0.0864, "units": {"radiation": "W/m^2"}}
    assert f"looks like {looks}" in inspected(stated=("radiation",), **watts).cautions[0].sentence


def test_radiation_of_hours_that_is_too_dark_looks_like_kilowatts_or_megajoules():
    """A flux of 1 MJ/m² in an hour is 277.8 W/m²; in kW/m² a thousand."""
    for size, unit in ((1000.0, "kW/m²"), (277.8, "MJ/m²")):
        (problem,) = inspected(radiation=CLEAR / size, of_records={"radiation": "radiation"}).problems
        assert f"looks like {unit}" in problem.found


@pytest.mark.parametrize(("clear", "expected"), [(3.0, []), (3.01, ["radiation-zero"])])
def test_a_day_may_be_without_any_light_where_a_clear_sky_gives_at_most_3(clear, expected):
    assert codes(radiation=one_day(20.0, 0.0), clear=one_day(30.0, clear)) == expected


@pytest.mark.parametrize(("clear", "expected"), [(8.0, []), (8.01, ["radiation-too-dark"])])
def test_only_days_with_light_are_too_dark(clear, expected):
    assert codes(radiation=0.3 * clear, clear=clear) == expected


def test_a_record_without_any_light_is_a_dead_sensors_and_not_in_another_unit():
    """Nought is nought in kWh, too."""
    [problem] = inspected(40, tmin=14.0, tmax=30.0, radiation=0.0).problems
    assert problem.code == "radiation-zero" and "kWh" not in problem.sentence()


@pytest.mark.parametrize("dark", [slice(92, None), slice(None, 92), slice(50, 150)], ids=["end", "start", "middle"])
def test_months_without_any_light_are_a_dead_sensors(dark):
    """Weeks of nothing beside weeks of light are no number of times as much."""
    days = pd.read_csv(SAMPLES / "terraces-2024.csv", comment="#").loc[61:]  # from May on, invented
    light = days["radiation"].to_numpy(copy=True)
    light[dark] = 0.0
    columns = {name: days[name].to_numpy() for name in ("tmin", "tmax", "rh_max", "rh_min", "wind", "rain")}
    found = inspected(len(days), start="2024-05-01", trust=(), **columns, radiation=light)
    assert "radiation-zero" in [problem.code for problem in found.problems]


@pytest.mark.parametrize(("days", "expected"), [(4, []), (5, ["radiation-ceiling"])])
def test_light_that_stands_at_its_highest_figure_on_five_days_ends_at_a_limit(days, expected):
    at = pd.Series(600.0, index=pd.date_range("2025-06-03", periods=days))
    hours = ByHour(*np.full((3, 24), np.nan), by_sun=True, ceiling=at)
    columns = {"tmin": 14.0, "tmax": 26.0, "radiation": [18.0 + 0.1 * day for day in range(20)], "by_hour": hours}
    found = [caution for caution in inspected(**columns).cautions if caution.name == "radiation-ceiling"]
    assert [caution.name for caution in found] == expected
    for caution in found:
        assert f"at 600 W/m² for records in a row on {days} days" in caution.sentence
        assert np.isnan(caution.instead[0]["radiation"]).sum() == days
    assert "radiation-ceiling" not in cautions(**columns, trust=["radiation-ceiling"])


def test_a_zero_that_is_off_is_seen_though_a_day_is_brought_down_to_its_bound():
    hours = ByHour(*np.full((2, 24), 20.0), np.r_[25.0, np.full(23, 300.0)], by_sun=True)
    columns = {"tmin": 14.0, "tmax": 26.0, "radiation": one_day(18.0, 36.0), "clear": 30.0, "by_hour": hours}
    inspection = inspected(**columns, too_bright="limit")
    assert inspection.limited.sum() == 1 and not inspection.problems
    assert [caution.name for caution in inspection.cautions] == ["radiation-night"]


@pytest.mark.parametrize(
    ("least", "latitude", "seen"),
    [(10.1, 55.0, 1), (10.0, 55.0, 0), (10.1, 55.1, 0), (10.1, -5.0, 1), (np.nan, 38.0, 0)],
)
def test_light_in_the_darkest_hour_is_a_zero_that_is_off(least, latitude, seen):
    """The same is taken off all hours: 10.1 W/m² are 0.0864 times as many MJ/m² a day."""
    hours = ByHour(*np.full((2, 24), 20.0), np.r_[least, np.full(23, 300.0)], by_sun=True)
    light = [18.0 + 0.1 * day for day in range(20)]
    inspection = inspected(
        tmin=14.0, tmax=26.0, radiation=light, by_hour=hours, site=Site(latitude=latitude, elevation=0.0)
    )
    found = [caution for caution in inspection.cautions if caution.name == "radiation-night"]
    assert len(found) == seen
    for caution in found:
        assert "is 10 W/m² on the mean of the darkest hour" in caution.sentence
        assert caution.instead[0]["radiation"] == pytest.approx(np.array(light) - least * 0.0864)


@pytest.mark.parametrize(
    ("sunshine", "unit"),
    [(90.1, "%"), (89.9, "?"), (101.0, "0.1 h"), (600.0, "min"), (40_000.0, "s")],
)
def test_sunshine_of_another_unit_is_cured_by_what_can_be_pasted(sunshine, unit):
    """Per cent above 90 are none in tenths of an hour: a season that never has more than 9 hours has no 14-hour days."""
    (problem,) = inspected(sunshine=sunshine).problems
    assert f'unit = "{unit}"' in problem.cure
    assert unit in problem.paste[0][1]


def test_endless_light_as_a_grid_may_have_it_is_refused_in_quiet():
    """A file's cells can't be so; numpy warns of what it makes of them, and a warning fails here."""
    (problem,) = inspected(radiation=math.inf).problems
    assert problem.code == "radiation-too-bright"


@pytest.mark.parametrize(
    ("light", "of", "offered"),
    [([-40.0, -40.0], {}, True), ([-40.0, -36.0], {}, False), ([-40.0, -40.0], {"radiation": "radiation"}, False)],
)
def test_a_mark_for_missing_light_is_offered_where_one_value_may_be_one(light, of, offered):
    """Not of several values in turn, nor a day's mean of records, which no cell holds: pasted, it changed nothing."""
    (problem,) = inspected(radiation=light * 10, of_records=of).problems
    assert ("write missing = [" in problem.cure) is offered
