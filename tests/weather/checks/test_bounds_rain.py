"""
Checks of rain on the smallest series on which each speaks, and on that beside it across the bound on which it doesn't.

The bounds are common practice, no source; days are invented.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.weather.checks.days import inspected, spoken


def fell(rain, **columns):
    """Return days of one warmth with that rain."""
    rain = np.asarray(rain, float)
    return {"days": rain.size, "tmin": 14.0, "tmax": 28.0, "rain": rain, "stated": ("rain",), **columns}


def on(days, amount, wet):
    rain = np.zeros(days)
    rain[wet] = amount
    return rain


def bright(duller, *, wet=12, dry=100, rain=3.0, other=-1.0, **columns):
    """Return wet days and dry ones, of which so many are warmer by day and drier than the wet ones, and the others less, or as they."""
    warm = np.arange(-wet, dry) < duller
    warmer = np.r_[np.zeros(wet), np.where(warm[wet:], 1.0, other)]
    return fell(on(wet + dry, rain, slice(wet)), tmax=28.0 + warmer, rh_min=50.0 - warmer, **columns)


def repeated(pairs, alone):
    """Return pairs of days with the same rain, and days alone, all with a dry day after them."""
    amount = 2.0 + 0.01 * np.arange(pairs + alone)
    of_pairs, of_alone = ([1.0, 1.0, 0.0] * amount[:pairs, None]).ravel(), ([1.0, 0.0] * amount[pairs:, None]).ravel()
    return fell(np.r_[of_pairs, of_alone, np.zeros(30)])


def smooth(share):
    """Return rain that goes with the day before's by about such a share."""
    at = np.arange(40)
    return fell(20.0 + share * 8.0 * np.sin(at / 3.0) + (1.0 - share) * 8.0 * np.cos(2.7 * at))


def spells(off, count=6, *, alone=0):
    """Return rain of which each day holds the day before's, and so much more of its own on the second; and wet days alone."""
    at = np.arange(200)
    rain = np.where((at % 7 == 1) & (at < 7 * count), 3.0, 0.0) + np.where(
        (at % 7 == 2) & (at < 7 * count), 3.0 + off, 0.0
    )
    rain[120 : 120 + 3 * alone : 3] = 5.0
    return fell(rain * (1.0 + 1e-6 * at))


def weekdays(count):
    """Return a hundred wet days, so many of them on one day of the week and the others three days after the first of these."""
    wet = np.r_[7 * np.arange(count), 7 * np.arange(100 - count) + 3]
    return fell(on(700, np.resize([3.0, 4.0], 100), wet))


def slips(count, *, soonest=5):
    """Return a hundred gaps between wet days, so many of them no whole weeks."""
    gaps = np.r_[np.resize([8, 6, 9, soonest], count), np.full(100 - count, 7)]
    return fell(on(720, 2.0, np.cumsum(np.r_[2, gaps])))


def kept(on_step, *, step=3, others=20):
    """Return wet days, so many of them a step apart, and others at random."""
    at_random = np.random.default_rng(1).choice(400, others, replace=False)
    return fell(on(400, np.resize([4.0, 5.0], on_step + others), np.r_[step * np.arange(on_step), at_random]))


def run(count, *, between=5):
    """Return every third day of a part of the season wet, so many in a row, and so many of those between; others at random."""
    rest = [day for day in range(3 * count) if day % 3][:between]
    at_random = np.random.default_rng(1).choice(np.arange(120, 400), 60, replace=False)
    wet = np.r_[3 * np.arange(count), rest, at_random]
    return fell(on(400, np.resize([4.0, 5.0, 6.0], wet.size), wet))


def test_a_sprinkler_is_worth_what_it_brings_and_leaves_the_rain():
    """6 mm every third day, beside rain of 4 mm, on two of them as well."""
    rain = on(400, 6.0, slice(0, 150, 3)) + on(400, 4.0, [3, 30, 200, 205])
    (said,) = inspected(**fell(rain), only="rain-periods", trust=()).cautions
    assert said.instead[0]["rain"].sum() == pytest.approx(16.0)


def months(*gaps):
    return fell(on(180, 3.0, np.cumsum([2, *gaps])))


def exchanged(wet=200, calm=100, *, days=200):
    return fell(np.where(np.arange(days) < wet, 3.0, 0.0), wind=np.where(np.arange(days) < calm, 0.0, 2.0))


def strays(by, change, least, side):
    """Return wet days that change by such a logarithm from one on, and stray by another on either side."""
    logs = np.log(402.0) - change * (np.arange(2 * side) >= side) + by * np.resize([1.0, -1.0], 2 * side)
    amounts = np.exp(logs)
    amounts = np.where(np.arange(2 * side) < side, amounts.round(0), amounts.round(1)) if least < 8 else amounts
    return fell(on(40, amounts, 2 + 2 * np.arange(2 * side)), start="2025-06-05")


def lumps(wet, *, step=10, slip=0):
    """Return so many wet days at one distance, all of different rain, the last of them some days late."""
    return fell(on(200, 4.0 + np.arange(wet), step * np.arange(wet) + slip * (np.arange(wet) == wet - 1)))


def same(wet, *, amount=5.9, step=7):
    """Return so many wet days in a row with one amount at one distance, among others."""
    rain = [2.3, 7.7, 1.4, *[amount] * wet, 3.1, 8.4]
    return fell(on(200, rain, np.r_[3, 7, 12, 20 + step * np.arange(wet), 150, 161]))


def tenfold(unit):
    """Return six wet days in hundredths of an inch, and six more of them ten times as wet."""
    amounts = np.outer([25.4, 254.0], [0.11, 0.37, 0.08, 0.52, 0.23, 0.46])
    return fell(on(70, amounts.ravel(), 2 + 5 * np.arange(12)), units={"rain": unit})


def whole_numbers(later, *, side=4):
    return fell(on(40, np.repeat([30.0, later], side), 2 + 2 * np.arange(2 * side)), start="2025-06-05")


def whole_ones(amount, *, count=4, wet=20):
    """Return wet days in tenths, between which so many, one by one, have some amount in whole millimetres; and a drizzle."""
    amounts = np.resize([1.5, 2.4, 3.3, 4.1, 5.6, 0.2], wet)
    amounts[1 : 1 + 4 * count : 4] = amount
    return fell(on(3 * wet, amounts, 3 * np.arange(wet)))


def points_lost(count, *, nearly=0):
    """Return wet days with all digits after the point, or next to whole numbers, and so many whole ones that are three times as much."""
    at = np.arange(40)
    amounts = np.resize([2.0, 3.0, 4.0, 5.0], 40) + np.where(at < nearly, 0.1, 0.1 + 0.1 * (at % 9))
    amounts[1 : 1 + 3 * count : 3] = 10.0 + np.arange(count)
    return fell(np.ravel([amounts, 0.0 * amounts], "F"))


def grains(halves):
    """Return ten wet days of which so many, the last, have halves of a millimetre, and four of some ten times as much in whole ones."""
    amounts = np.r_[np.where(np.arange(10) >= 10 - halves, 2.5, 3.0), [29.0, 31.0, 30.0, 28.0]]
    return fell(on(60, amounts, 2 + 3 * np.arange(14)))


def stops(dull, wet, of, *, dry=45, start="2025-06-10", before=100):
    """Return bright days and dull ones, of which so many of so many are wet, and then dry days, so many of them dull; and one wet."""
    days = before + dry + 1
    at = np.arange(days)
    is_dull = np.isin(at, np.r_[before - 4 * np.arange(1, of), days - 1, before + np.arange(dull)])
    is_wet = np.isin(at, np.r_[before - 1, before - 4 * np.arange(2, wet), days - 1])
    is_dull[before - 1], is_dull[before - 4] = True, False
    light = np.where(is_dull, 0.3, 0.8)
    ranges = np.where(is_dull, 6.0, 14.0)
    return fell(np.where(is_wet, 3.0, 0.0), start=start, tmax=14.0 + ranges, radiation=30.0 * light, clear=30.0)


def halfway(wet):
    """Return a hundred days of which twelve are half dull and ten are dull and wet, and dry days of which fifteen are half dull."""
    kinds = np.zeros(146, int)
    kinds[np.r_[3 * np.arange(12), 100 + np.arange(15)]], kinds[np.r_[40 + 6 * np.arange(9), 145]] = 1, 2
    rain = np.where(kinds == 2, 3.0, 0.0)
    rain[3 * np.arange(wet)], rain[99] = 3.0, 3.0
    kinds[99] = 2
    return fell(
        rain,
        tmax=14.0 + np.array([14.0, 9.0, 6.0])[kinds],
        radiation=30.0 * np.array([0.8, 0.5, 0.3])[kinds],
        clear=30.0,
    )


def looks_wet(days=60, *, wet=6, range_of=7.0, humidity=90.0, share=0.4):
    """Return a season without rain, of which so many days look like rain."""
    wet_days = np.arange(days) % 10 == 4
    wet_days &= np.cumsum(wet_days) <= wet
    more = {} if share is None else {"radiation": 30.0 * np.where(wet_days, share, 0.8), "clear": 30.0}
    humid = {"rh_mean": np.where(wet_days, humidity, 50.0)}
    return fell(np.zeros(days), tmax=14.0 + np.where(wet_days, range_of, 14.0), **humid, **more)


def without(days, name):
    return {column: figures for column, figures in days.items() if column != name}


def other_year(known, wet):
    """Return a hundred days without rain, and a year before of which so many have a figure, so many of them wet."""
    rain = np.zeros(465)
    rain[known:100] = np.nan
    rain[:wet] = 4.0
    return fell(rain, start="2023-03-01", asked=np.arange(465) >= 365 + 1)


def rows_twice(more, hours):
    twice = pd.DataFrame({"hours": 0.0, "rows": 0.0, "larger": 0.0}, index=pd.date_range("2025-06-01", periods=30))
    twice.iloc[10] = hours, more, hours + more
    return fell(twice["larger"].to_numpy(), rain_twice=twice)


def metres(mean):
    return fell(on(60, mean / 1000.0 * np.resize([0.5, 1.0, 1.5], 15), 4 * np.arange(15)))


def inches(mean, wet=15):
    """Return wet days of such a mean, of a column in inches."""
    rain = on(60, 25.4 * mean * np.resize([0.51, 1.0, 1.49], wet), 4 * np.arange(wet))
    return fell(rain) | {"units": {"rain": "in"}, "stated": ("rain",)}


def scant(amount=0.5, *, wet=10, last=0.5, other=0.0, warms=8.0, light=0.5, rh_min=60.0):
    """Return wet days of little rain each, with another last one; and the year before a day with some."""
    rain = np.r_[other, np.zeros(365), on(60, amount, 4 * np.arange(wet))]
    rain[366 + 4 * (wet - 1)] = last
    days = {"tmax": 14.0 + warms, "radiation": 30.0 * light, "clear": 30.0, "rh_min": rh_min}
    return fell(rain, asked=np.arange(rain.size) >= 366, **days)


def tips(mean):
    """Return wet days of such a mean in steps of 0.02, as a gauge's tips of 0.2 mm are in cm."""
    return fell(on(60, np.resize([mean - 0.48, mean, mean + 0.48], 15).round(2), 4 * np.arange(15)))


def most_tips(most):
    return fell(on(60, np.r_[most, np.resize([0.52, 1.02, 1.54], 14)], 4 * np.arange(15)))


def slipping(count, most=401.0):
    """Return a running total of sixty steps, half of them dry, that falls by a slip on so many."""
    rises = np.where(np.arange(61) % 2 == 0, 4.0, 0.0)
    rises[20 : 20 + 2 * count : 2] = -3.0
    total = np.cumsum(rises)
    return fell(total * most / total.max()) | {"stated": ("rain",)}


# check -> days, the last that pass and the first of which it speaks
BOUNDS = [
    ("rain-unit", metres, 30.01, 29.99),
    ("rain-unit", metres, 0.999, 1.001),
    ("rain-unit", inches, 2.99, 3.01),
    ("rain-unit", tips, 3.02, 2.98),
    ("rain-unit", most_tips, 20.0, 19.98),
    ("rain-unit", slipping, 3, 2),  # of sixty steps
    ("rain-unit", lambda most: slipping(2, most=most), 399.0, 401.0),
    ("rain-unit", lambda wet: inches(4.0, wet), 4, 5),
    ("rain-unit", lambda wet: scant(wet=wet), 9, 10),
    ("rain-unit", lambda last: scant(last=last), 0.09, 0.1),
    ("rain-unit", lambda mean: scant(mean, last=mean), 0.14, 0.16),
    ("rain-unit", lambda mean: scant(mean, last=mean), 1.21, 1.19),
    ("rain-unit", lambda other: scant(other=other), 8.0, 7.9),
    ("rain-unit", lambda warms: scant(warms=warms), 11.1, 10.9),
    ("rain-unit", lambda light: scant(light=light), 0.66, 0.64),
    ("rain-unit", lambda rh_min: scant(rh_min=rh_min), 44.0, 46.0),
    ("rain-periods", kept, 16, 17),
    ("rain-periods", lambda step: kept(30, step=step), 11, 10),
    ("rain-periods", run, 16, 17),
    ("rain-periods", lambda between: run(17, between=between), 14, 13),
    ("rain-exchanged", lambda wet: exchanged(wet=wet), 190, 191),
    ("rain-exchanged", lambda calm: exchanged(calm=calm), 60, 61),
    ("rain-exchanged", lambda days: exchanged(days=days), 29, 30),
    ("rain-sum", lambda pairs: repeated(pairs, 200 - 2 * pairs), 60, 61),
    ("rain-sum", lambda alone: repeated(4, alone), 1, 2),
    ("rain-sum", smooth, 0.6985, 0.6999),  # 0.648 and 0.652
    ("rain-sum", spells, 0.0511, 0.0509),
    ("rain-sum", lambda count: spells(0.0, count), 5, 6),
    ("rain-sum", lambda count: spells(0.01, count, alone=4), 11, 12),  # three in four
    ("rain-change", lambda by: strays(by, 2.5, 8, 8), 0.94, 0.93),
    ("rain-change", lambda by: strays(by, 1.5, 4, 4), 0.622, 0.602),
    ("rain-change", tenfold, "mm", "in"),
    ("rain-change", whole_numbers, 10.1, 9.9),
    ("rain-change", lambda amount: whole_ones(amount), 13.0, 14.0),
    ("rain-change", lambda count: whole_ones(30.0, count=count), 3, 4),
    ("rain-spike", lambda amount: whole_ones(amount, count=2), 30.0, 31.0),
    ("rain-spike", lambda count: whole_ones(60.0, count=count), 1, 2),
    ("rain-change", points_lost, 5, 6),  # 6 · ln 10 less ln 40 is 10.1
    ("rain-change", lambda nearly: points_lost(8, nearly=nearly), 15, 14),
    ("rain-change", grains, 6, 7),  # of ten days of 0.5 mm or 5.5
    ("rain-change", lambda side: whole_numbers(9.9, side=side), 2, 3),
    ("rain-none", lambda days: looks_wet(days), 59, 60),
    ("rain-none", lambda wet: looks_wet(wet=wet), 5, 6),
    ("rain-none", lambda range_of: looks_wet(range_of=range_of), 8.01, 8.0),
    ("rain-none", lambda humidity: looks_wet(humidity=humidity), 74.9, 75.0),
    ("rain-none", lambda humidity: looks_wet(humidity=humidity, share=None), 84.9, 85.0),
    ("rain-none", lambda share: looks_wet(share=share), 0.5, 0.499),
    # 75 % at a mean of 17.5 °C is the vapour over 13.0 °C (FAO-56 eq. 11)
    ("rain-none", lambda dew: without(looks_wet(), "rh_mean") | {"dew_point": dew}, 12.9, 13.1),
    ("rain-none", lambda days: looks_wet(days, wet=20, humidity=80.0, share=None), 364, 365),
    ("rain-none", lambda known: other_year(known, 12), 88, 90),
    ("rain-stops", lambda wet: stops(10, wet, 25), 22, 23),
    ("rain-stops", lambda wet: stops(7, wet, 25, dry=31, start="2025-03-23"), 21, 22),
    ("rain-stops", lambda dry: stops(15, 20, 22, dry=dry), 29, 30),
    ("rain-stops", halfway, 1, 6),
    ("rain-periods", lumps, 6, 7),
    ("rain-periods", lambda slip: lumps(9, slip=slip), 1, 0),
    ("rain-periods", same, 3, 4),
    ("rain-periods", lambda amount: same(4, amount=amount), 2.9, 3.0),
    ("rain-periods", lambda step: same(6, step=step), 1, 2),
    ("rain-periods", slips, 41, 40),
    ("rain-periods", lambda soonest: slips(40, soonest=soonest), 4, 5),
    ("rain-periods", weekdays, 89, 90),
    ("rain-periods", lambda count: months(*[30] * count), 2, 3),
    ("rain-periods", lambda gap: months(31, 30, gap), 94, 92),  # 3 · 30.44 is 91.3
    ("rain-periods", lambda days: fell(on(days, 3.0, 7 * np.arange(8))), 59, 60),
    ("rain-rows", lambda more: rows_twice(more, 20.0), 1.99, 2.01),
    ("rain-rows", lambda more: rows_twice(more, 5.0), 0.99, 1.01),
    ("rain-spike", lambda days: fell(on(days, 160.0, 3)), 13, 14),
    ("rain-much", lambda times: fell(on(60, 26.374 * times, slice(0, 20, 2))), 2.69, 2.71),  # of the vapour over 14 °C
    ("rain-much", lambda dew: fell(on(60, 60.0, slice(0, 20, 2)), dew_point=dew), 11.3, 11.1),  # 22.2 mm of vapour
    ("rain-much", lambda wet: fell(on(60, 75.0, slice(0, 2 * wet, 2))), 6, 7),
    ("rain-bright", bright, 60, 59),
    ("rain-bright", lambda duller: bright(duller, other=0.0), 20, 19),  # days alike count half
    ("rain-bright", lambda wet: bright(59, wet=wet), 11, 12),
    ("rain-bright", lambda dry: bright(0, wet=40, dry=dry), 11, 12),
    ("rain-bright", lambda rain: bright(59, rain=rain), 2.9, 3.0),
    (
        "rain-bright",
        lambda dull: bright(59, radiation=30.0 * np.repeat([dull, 0.5], [12, 100]), clear=30.0),
        0.49,
        0.51,
    ),
]


@pytest.mark.parametrize(("check", "days", "last", "first"), BOUNDS)
def test_rain_is_doubted_from_a_bound_on(check, days, last, first):
    assert not spoken(check, **days(last))
    assert spoken(check, **days(first))


@pytest.mark.parametrize(
    ("rain", "times"),
    [([0.13, 0.27, 0.55] * 5, 25.4), ([0.61, 0.99] * 8, 10.0), ([0.0131, 0.0092] * 8, 1000.0), ([0.4, 0.7] * 5, 25.4)],
)
def test_rain_in_another_unit_is_worth_what_it_is_in_millimetres(rain, times):
    """By definition of the units."""
    days = fell(on(40, rain, np.arange(len(rain))), tmax=22.0)
    [caution] = inspected(**days, only="rain-unit").cautions
    assert caution.instead[0]["rain"] == pytest.approx(days["rain"] * times)


@pytest.mark.parametrize(
    ("days", "kinds", "step", "told"),
    [(15, 5, 2.0, True), (14, 5, 2.0, False), (15, 4, 2.0, False), (15, 5, 1.0, False), (15, 5, 5.0, True)],
)
def test_whole_figures_with_a_step_of_two_or_more_are_tips_in_tenths(days, kinds, step, told):
    """A gauge's tip is 0.2 or 0.5 mm; no gauge has one of 2 mm, and each figure of whole millimetres is even by chance."""
    amounts = step * np.resize(np.arange(1.0, kinds + 1.0), days)
    found = spoken("rain-unit", **fell(np.r_[amounts, np.zeros(10)]))
    assert ("tenths" in found) is told


@pytest.mark.parametrize(
    ("times", "digits", "worth"),
    [(10.0, 1, 10.0), (25.4, 2, 25.4), (22.0, 1, 10.0), (22.5, 1, 22.5), (18.0, 2, 25.4), (80.0, 1, 80.0)],
)
def test_a_change_of_unit_is_worth_the_near_unit_that_its_digits_allow(times, digits, worth):
    """By definition of cm and inches; a ratio of 80 is near none."""
    wet = np.linspace(40.0, 90.0, 20)
    rain = np.r_[wet, (wet / times).round(digits)]
    rained = fell(np.ravel([rain, 0.0 * rain], "F"))
    (said,) = inspected(**rained, only="rain-change", trust=()).cautions
    assert (said.instead[0]["rain"][40::2] / rain[20:]).mean() == pytest.approx(worth, rel=0.05)


@pytest.mark.parametrize(
    ("times", "ways"), [(15.0, [10.0, 25.4]), (16.5, [25.4, 10.0]), (22.2, [25.4, 10.0]), (22.3, [25.4])]
)
def test_a_change_that_two_units_are_near_is_worth_from_the_one_to_the_other(times, ways):
    """By definition of cm and inches: both have hundredths; near is a distance of 0.8 in logarithms."""
    wet = np.linspace(40.0, 90.0, 20)
    rained = fell(np.ravel([np.r_[wet, (wet / times).round(2)], np.zeros(40)], "F"))
    (said,) = inspected(**rained, only="rain-change", trust=()).cautions
    small = rained["rain"][40::2]
    assert [float((way["rain"][40::2] / small).mean()) for way in said.instead] == pytest.approx(ways)


@pytest.mark.parametrize(
    ("tenths", "times", "likely"), [(0.0, 10.0, [1.0, 0.1]), (0.0, 5.0, [1.0, 0.2]), (0.1, 10.0, [10.0, 1.0])]
)
def test_where_decimal_points_were_lost_what_is_too_much_is_doubted(tenths, times, likely):
    """Whole numbers after tenths are tenths of a mm or a gauge's tips (0.2 mm); with tenths among them, they are as filed."""
    wet = np.round(np.linspace(4.0, 9.0, 40), 1)
    after = (wet * times).round(0) + tenths
    rained = fell(np.ravel([np.r_[wet, after], np.zeros(80)], "F"))
    (said,) = inspected(**rained, only="rain-change", trust=()).cautions
    times_as_filed = [
        float((said.instead[0]["rain"][part] / rained["rain"][part]).mean()) for part in (np.s_[:80:2], np.s_[80::2])
    ]
    assert times_as_filed == pytest.approx(likely)


@pytest.mark.parametrize(("tenths", "odd", "is_lost"), [(21, 0, True), (20, 0, False), (40, 3, True), (40, 4, False)])
def test_points_were_lost_where_others_have_tenths_more_often_than_not_and_they_hardly_ever(tenths, odd, is_lost):
    wet = np.round(np.linspace(4.0, 9.0, 40)) + 0.1 * (np.arange(40) < tenths)
    after = (10.0 * wet).round() + 0.1 * (np.arange(40) < odd)
    rained = fell(np.ravel([np.r_[wet, after], np.zeros(80)], "F"))
    (said,) = inspected(**rained, only="rain-change", trust=()).cautions
    assert said.instead[0]["rain"][80::2] == pytest.approx(after / (10.0 if is_lost else 1.0))


@pytest.mark.parametrize(("others", "is_lost"), [(3, True), (4, False)])
def test_tips_counted_after_hundredths_of_inches_in_millimetres_are_too_many(others, is_lost):
    """An inch is 25.4 mm by definition; of forty figures nine in ten tell."""
    counts = np.arange(20.0, 60.0)
    wet = (0.254 * counts).round(2) + 0.12 * (np.arange(40) % 10 < 1) * (np.arange(40) < 10 * others)
    (said,) = inspected(
        **fell(np.ravel([np.r_[wet, counts], np.zeros(80)], "F")), only="rain-change", trust=()
    ).cautions
    assert (said.instead[0]["rain"][80::2] < counts).all() == is_lost


def test_the_day_of_a_change_is_where_two_means_explain_most():
    """Three drizzles at the end are less still, but far fewer."""
    wet = np.r_[np.linspace(60.0, 90.0, 40), np.linspace(4.0, 9.0, 17).round(1), 0.1, 0.1, 0.1]
    (said,) = inspected(**fell(np.ravel([wet, 0.0 * wet], "F")), only="rain-change", trust=()).cautions
    assert "from 2025-08-20 on" in said.sentence


def test_decimal_points_that_were_lost_here_and_there_are_put_back():
    rained = points_lost(10)
    (said,) = inspected(**rained, only="rain-change", trust=()).cautions
    lost = np.arange(2, 62, 6)
    assert rained["rain"][lost] / said.instead[0]["rain"][lost] == pytest.approx(10.0)
    assert np.delete(said.instead[0]["rain"], lost) == pytest.approx(np.delete(rained["rain"], lost))


def test_among_inches_what_is_too_much_is_doubted():
    """From a day on in mm: by definition of the inch."""
    rain = np.r_[(np.linspace(40.0, 90.0, 20) / 25.4).round(2), np.linspace(40.0, 90.0, 20).round(1)] * 25.4
    rained = fell(np.ravel([rain, 0.0 * rain], "F")) | {"units": {"rain": "in"}, "stated": ("rain",)}
    (said,) = inspected(**rained, only="rain-change", trust=()).cautions
    assert said.instead[0]["rain"][:40] == pytest.approx(rained["rain"][:40])
    assert said.instead[0]["rain"][40::2] == pytest.approx(rain[20:] / 25.4)


def test_one_small_figure_on_dry_days_is_dew_and_worth_its_sum():
    rain = np.where(np.arange(90) % 9 == 0, 6.0 + np.arange(90) / 10.0, 0.4)
    (said,) = inspected(**fell(rain), only="rain-sum", trust=()).cautions
    assert "dew" in said.sentence
    assert said.instead[0]["rain"].sum() == pytest.approx(rain[rain > 0.4].sum())


def test_of_a_running_total_nothing_else_is_made():
    """Rain of a year without a change, added up over seven days or each month: neither leaps nor has a limit."""
    rain = np.where(np.arange(150) % 4 == 0, 3.0 + (37.0 * np.arange(150) % 11), 0.0) * np.where(
        np.arange(150) < 40, 3, 0.4
    )
    week = np.convolve(rain, np.ones(7))[:150].round(1)
    month = np.concatenate([part.cumsum() for part in np.array_split(rain, 5)]).round(1)
    for total in (week, month):
        told = {"rain-sum", "rain-change", "value-limit"} & {
            said.name for said in inspected(**fell(total), trust=()).cautions
        }
        assert told == {"rain-sum"}


def test_a_total_that_is_told_is_no_lost_decimal_point():
    found = inspected(**fell(np.where(np.arange(90) % 7 == 0, 90.0, 0.0)), trust=()).cautions
    assert {"rain-periods", "rain-much"} & {caution.name for caution in found} == {"rain-periods"}


def test_wet_days_between_days_without_a_figure_follow_no_other():
    """Seven pairs of wet days, of which the first tells the second: they alone would pass for a sliding sum."""
    rain = np.full(168, np.nan)
    rain[4::12], rain[5::24], rain[8::12] = (
        np.arange(10.0, 24.0),
        np.arange(11.0, 25.0, 2.0),
        np.linspace(1.0, 30.0, 14),
    )
    assert not spoken("rain-sum", **fell(rain))


def test_a_dry_hygrometer_is_not_blamed_for_rain_that_is_none():
    days = bright(59, rain=6.0, rh_max=70.0)
    for trust, blamed in (([], False), (["rain-bright"], True)):
        assert ("humidity-low" in [caution.name for caution in inspected(**days, trust=trust).cautions]) is blamed
    assert "on wet days" in spoken("humidity-low", **days)
