"""Variants side by side: same weather, the right state, differences that can be trusted told from those that can't."""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from contextlib import nullcontext
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from panbudget import replay
from panbudget.errors import ScenarioError
from panbudget.reports.compare.page import comparison_sentences
from panbudget.scenario.garden import scenario_from
from panbudget.studies import common, ranges
from panbudget.studies import compare as study
from panbudget.studies.compare import AS_DESCRIBED, compare, recovery_days
from panbudget.words import errors_shown, units_shown
from tests.garden_file import years_csv
from tests.small_weather import heat_wave, weather_csv

WIDE = {"controller": {"upper": {"pan": {"vessels": [{"diameter": "70 cm"}]}}}}
HARDLY = {"controller": {"upper": {"pan": {"vessels": [{"diameter": "51 cm"}]}}}}
SLOWER = {"controller": {"upper": {"valve": {"refill": {"flow": "1.9 L/h"}}}}}
SAME = {"controller": {"upper": {"pan": {"freeboard": "20 mm"}}}}
VARIANTS = {"wide": WIDE, "hardly": HARDLY, "slower": SLOWER, "same": SAME, "heavier": {"title": "x"}}


@pytest.fixture
def garden(make_garden):
    return make_garden({"variant": VARIANTS}, weather=heat_wave())


_MADE = {}


def compared(garden, *names, **options):
    """The garden as described and some of its variants, compared once and only looked at."""
    key = (*names, *options.items())
    if key not in _MADE:
        _MADE[key] = compare(garden, names, with_base=True, **options)
    return _MADE[key]


def by_measure(comparison, variant, where, span="season"):
    rows = comparison.differences.itertuples()
    return {d.measure: d for d in rows if (d.variant, d.where, d.span) == (variant, where, span)}


def test_each_variant_is_the_season_that_replay_gives(garden):
    found = compared(garden, "wide")
    assert found.names == (AS_DESCRIBED, "wide")
    for name, scenario in ((AS_DESCRIBED, garden), ("wide", garden.with_variant("wide"))):
        alone = replay(scenario)
        assert found.seasons[name].totals["controllers"] == alone.totals["controllers"]
        openings = found.value("season", name, "upper", "openings")
        assert openings == alone.totals["controllers"]["upper"]["openings"]
        bed = alone.totals["beds"]["upper/tomatoes"]
        assert found.value("season", name, "upper/tomatoes", "irrigation_mm") == pytest.approx(bed["irrigation_mm"])
        stress = found.value("season", name, "upper/tomatoes", "stress_days")
        assert stress == bed["driest_quarter"]["stress_days"]


def test_a_window_is_cut_out_of_the_whole_season(garden):
    """Days before the window shape what happens in it; its figures are sums over its own days."""
    start, end = dt.date(2025, 5, 11), dt.date(2025, 5, 20)
    found = compare(garden, [AS_DESCRIBED, "wide"], start=start, end=end)
    assert found.spans == ("window", "season")
    whole = replay(garden)
    part = whole.controllers["upper"].loc["2025-05-11":"2025-05-20"]
    assert found.value("window", AS_DESCRIBED, "upper", "litres") == pytest.approx(part["litres"].sum())
    bed = whole.beds["upper/tomatoes"].loc["2025-05-11":"2025-05-20"]
    worst = (100 * bed["driest_morning_depletion_mm"] / bed["taw_mm"]).max()
    assert found.value("window", AS_DESCRIBED, "upper/tomatoes", "worst_depletion_percent") == pytest.approx(worst)
    assert found.value("season", AS_DESCRIBED, "upper", "litres") == pytest.approx(
        whole.totals["controllers"]["upper"]["litres"]
    )


def test_around_heat_looks_from_five_days_before_to_fourteen_after(garden):
    found = compared(garden, "wide", "slower", around_heat=True)
    assert (found.wave.start, found.wave.end) == (dt.date(2025, 5, 11), dt.date(2025, 5, 20))
    assert (found.start, found.end) == (dt.date(2025, 5, 6), dt.date(2025, 5, 30))  # the season ends on the 30th
    assert "heat wave here is" in found.definition
    assert found.value("window", "wide", "upper/tomatoes", "recovery_days") is not None


def test_around_heat_takes_the_made_wave(garden):
    heat = {"what_if": {"heat": {"start": dt.date(2025, 5, 3), "days": 4, "warmer": "+4 K"}}}
    found = compare(garden.changed(heat), ["wide"], with_base=True, around_heat=True)
    assert found.wave.made
    assert (found.wave.start, found.wave.days, found.wave.peak_c) == (dt.date(2025, 5, 3), 4, 34.0)


def test_twice_the_surface_is_a_clear_difference_and_two_percent_are_swamped(garden):
    found = compare(garden, ["wide", "hardly", "slower", "same"], with_base=True)
    wide = by_measure(found, "wide", "upper/tomatoes")["irrigation_mm"]
    assert wide.verdict == "clear"
    assert wide.difference == pytest.approx(wide.value - wide.reference)
    assert wide.low < wide.difference < wide.high
    hardly = by_measure(found, "hardly", "upper/tomatoes")["irrigation_mm"]
    assert hardly.value / hardly.reference == pytest.approx((51 / 50) ** 2, rel=0.02)
    assert hardly.verdict == "clear"  # what is uncertain is drawn alike for both
    slower = by_measure(found, "slower", "upper/tomatoes")["irrigation_mm"]
    assert slower.value / slower.reference == pytest.approx(2.0 / 1.9, rel=0.02)
    assert slower.verdict == "clear"  # the pan is the same and errs the same way in both
    assert {d.verdict for d in by_measure(found, "same", "upper/tomatoes").values()} == {"none"}


def test_a_draw_is_what_replay_gives_with_that_exposure(garden):
    wide = garden.with_variant("wide")
    drawn = study._measured(replay(wide), slice(None), None, ranges.scanned(wide, [0.9, 1.0, 1.1]))
    for at, exposure in enumerate((0.9, 1.0, 1.1)):
        season = replay(wide.changed({"controller": {"upper": {"pan": {"exposure": exposure}}}}))
        assert drawn.loc[("upper", "litres"), at] == pytest.approx(season.totals["controllers"]["upper"]["litres"])
        quarter = season.totals["beds"]["upper/tomatoes"]["driest_quarter"]
        assert drawn.loc[("upper/tomatoes", "stress_days"), at] == quarter["stress_days"]


def test_the_odds_of_two_variants_are_of_the_same_draws(garden, monkeypatch):
    """A pan of twice the surface never leaves the beds drier or uses less water, whatever is drawn for both."""
    monkeypatch.setattr("panbudget.studies.ranges.DRAWS", {True: 5, False: 5})
    found = compare(garden, ["wide", "same"], with_base=True)
    odds = found.odds.set_index(["variant", "measure"])
    assert odds.loc[("wide", "litres"), ["below", "above"]].tolist() == [0.0, 1.0]
    assert odds.loc[("wide", "stress_days"), "above"] == 0.0
    assert odds.loc[("wide", "litres"), "low"] > 0.0
    assert odds.loc["same"][["mean", "low", "high", "below", "above"]].to_numpy().tolist() == [[0.0] * 5] * 2
    assert (found.years, found.draws) == ((2025,), 5)


def test_every_usable_year_counts_in_the_seasons_odds(make_garden):
    text = years_csv(2021, 2022)
    season = {"start": dt.date(2022, 7, 1), "end": dt.date(2022, 7, 20)}
    change = {"season": season, "variant": VARIANTS, "controller": {"upper": {"pan": {"evaporation": "from-eto"}}}}
    found = compare(make_garden(change, weather=text), ["wide"], with_base=True, start=dt.date(2022, 7, 5))
    assert found.years == (2021, 2022)
    assert set(found.odds["span"]) == {"window", "season"}


@pytest.mark.parametrize(
    ("ks", "days"),
    [
        ([1, 0.8, 0.8, 0.7, 0.9, 1, 1], 2.0),
        ([1, 0.8, 0.8, 1, 0.9, 1, 1], 2.0),  # the day after the wave is not short, but the next is
        ([1, 0.8, 0.8, 1, 0.9, 0.9, 0.9], math.inf),
        ([1, 0.8, 0.8, *[1] * 13, 0.9, 1], 14.0),  # the fourteenth day still counts, the fifteenth no longer
        ([1, 0.8, 0.8, *[1] * 14, 0.9, 1], 0.0),
        ([1, 0.8, 0.8, 0.7, 0.7, 0.9, 0.9], math.inf),
        ([1, 1, 0.8], math.inf),  # the season ends with the wave, and it is short then
        ([1, 1, 1], 0.0),
    ],
)
def test_recovery_counts_the_short_days_after_the_wave(ks, days):
    short = np.array(ks) < 1.0
    assert recovery_days(short, np.ones(len(ks), bool), 3) == days
    # a bed that is cleared does not recover by that, and what comes after it is another's
    cleared = np.array([*short, False, *short]), np.array([*[True] * len(ks), False, *[True] * len(ks)])
    assert recovery_days(*cleared, 3) == days


def test_a_figure_that_is_printed_alike_is_no_difference(garden):
    """In the units shown: 298.4 and 298.5 mm are both 11.75 in."""
    found = compare(garden, ["wide"], with_base=True)
    of_water = found.differences["measure"] == "irrigation_mm"
    alike = found.differences.mask(of_water, found.differences.assign(value=298.46, reference=298.44, verdict="clear"))
    alike = alike.astype(found.differences.dtypes)
    found = replace(found, differences=alike)
    for system, told in {"metric": "298 mm", "US": "11.75 in"}.items():
        with units_shown(system):
            text = " ".join(comparison_sentences(found)).replace("\u00a0", " ")
        assert f"{told} in place of {told}" not in text


def test_the_table_has_a_row_for_each_difference_and_json_no_infinity(garden):
    found = compared(garden, "wide", "slower", around_heat=True)
    table = found.table()
    assert len(table) == len(found.differences)
    assert set(table["variant"]) == {"wide", "slower"}
    assert list(table.columns[:6]) == ["span", "where", "measure", "unit", "variant", "against"]
    import json

    from panbudget.reports.writing import as_json

    assert json.loads(json.dumps(as_json(found), allow_nan=False))["wave"]["days"] == 10


OTHER = {
    "cooler": {"weather": {"file": "other.csv"}},
    "elsewhere": {"site": {"elevation": "900 m"}, "season": {"end": dt.date(2025, 5, 20)}},
}


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["wide"], "takes two to 6 variants and was given 1; name another (the file has: wide"),
        ([], "was given 0"),
        (["wide", "wyde"], '[variant.wyde] is not in this file; did you mean "wide"?'),
        (["wide", "zzz"], "the file has: wide, hardly"),
        (["wide", "wide"], '"wide" is asked for twice'),
        (["wide", "hardly", "slower", "same", "heavier", AS_DESCRIBED, "cooler"], "was given 7; leave some out"),
        ([AS_DESCRIBED, "cooler"], '[variant.cooler] has another weather than "as described"'),
        ([AS_DESCRIBED, "elsewhere"], "another site and season"),
    ],
)
def test_what_can_t_be_compared_is_told_in_one_line(make_garden, names, said):
    garden = make_garden({"variant": {**VARIANTS, **OTHER}}, weather=heat_wave())
    with pytest.raises(ScenarioError) as told:
        compare(garden, names)
    assert said in str(told.value)
    assert sum(said in line for line in str(told.value).splitlines()) == 1


@pytest.mark.parametrize(("limit", "taken"), [(14.99, False), (15.0, True), (60.0, True), (60.01, False)])
def test_a_limit_of_heat_lies_between_fifteen_and_sixty_degrees(garden, limit, taken):
    """Common practice, no source."""
    with nullcontext() if taken else pytest.raises(ScenarioError, match="give a Tmax from 15 °C to 60 °C"):
        study._refuse_days(garden, True, limit, None, None)


def test_two_to_six_variants_are_compared(garden):
    """So many columns as a page bears; common practice, no source."""
    six = [*VARIANTS, AS_DESCRIBED]
    assert len(study._described(garden, six)) == 6
    assert len(study._described(garden, six[:2])) == 2


@pytest.mark.parametrize(("units", "across", "vessel"), [("metric", "80 cm", "92 cm"), ("US", "30 in", "35 in")])
def test_the_first_variant_is_a_pan_a_third_wider(make_garden, units, across, vessel):
    """By hand: 80 cm · √(4/3) = 92.4 cm, 30 in · √(4/3) = 34.6 in."""
    described = make_garden(
        {"show": {"units": units}, "controller": {"upper": {"pan": {"vessels": [{"diameter": across}]}}}}
    )
    assert study._first_variant(described).paste[0][1] == f'[{{ diameter = "{vessel}" }}]'


@pytest.mark.parametrize("names", [[], ["abc"], ["abc", "abd"]])
def test_a_file_without_a_variant_is_told_how_to_get_one_that_works(make_garden, names):
    described = make_garden(weather=heat_wave())
    whole = {key: part for key, part in described.described.items() if key != "variant"}
    garden = scenario_from(whole, described.path)
    with pytest.raises(
        ScenarioError, match=r"write the lines below .* `panbudget size .* --variant sizes/sized\.toml"
    ) as told:
        compare(garden, names)
    assert "none)" not in str(told.value)
    variants = tomllib.loads("\n".join(told.value.block()))
    found = garden.changed(variants).with_variant("wider-pan").controller["upper"].pan.area
    # a third more water surface, of a diameter in full centimetres
    assert found / garden.controller["upper"].pan.area == pytest.approx(4 / 3, rel=0.03)


def test_dates_and_heat_don_t_go_together_and_no_wave_is_told(garden, make_garden):
    with pytest.raises(ScenarioError, match="leave out start and end"):
        compare(garden, [AS_DESCRIBED, "wide"], around_heat=True, start=dt.date(2025, 5, 2))
    with pytest.raises(ScenarioError, match="before they start"):
        compare(garden, [AS_DESCRIBED, "wide"], start=dt.date(2025, 5, 9), end=dt.date(2025, 5, 2))
    with pytest.raises(ScenarioError, match="the weather has no heat wave from 2025-05-01 to 2025-05-30"):
        compare(garden, [AS_DESCRIBED, "wide"], around_heat=True, hot_above=45.0)
    with pytest.raises(ScenarioError, match=r"113\.0 °F, the limit given; lower the limit") as told, errors_shown("US"):
        compare(garden, [AS_DESCRIBED, "wide"], around_heat=True, hot_above=45.0)
    assert "°C" not in str(told.value)
    with pytest.raises(ScenarioError, match="35 °C is for the heat wave to look at") as refused:
        compare(garden, [AS_DESCRIBED, "wide"], hot_above=35.0)
    with units_shown("US"):
        assert "95 °F is for the heat wave" in str(refused.value)
    late = garden.changed({"what_if": {"heat": {"start": dt.date(2025, 5, 29), "warmer": "+4 K"}}})
    with pytest.raises(ScenarioError, match="lies outside the season; expected: 2025-05-01 to 2025-05-20"):
        compare(late.changed({"season": {"end": dt.date(2025, 5, 20)}}), [AS_DESCRIBED, "same"], around_heat=True)


@pytest.mark.parametrize(("start", "outside"), [(29, True), (28, True), (27, False)])
def test_a_made_wave_wholly_outside_the_season_is_said_to_lie_there(garden, start, outside):
    """Three days of heat from a day near the season's last, the 27th, on."""
    heat = {"start": dt.date(2025, 5, start), "warmer": "+4 K", "days": 3}
    late = garden.changed({"what_if": {"heat": heat}, "season": {"end": dt.date(2025, 5, 27)}})
    comparison = compare(late, [AS_DESCRIBED, "same"])
    said = "It lies outside the days replayed and changes nothing in them."
    assert any(said in text for text in comparison.sentences()) is outside
    season = replay(late)
    beside = "; it lies outside the days replayed, 1 May 2025 to 27 May 2025, and changes nothing in them"
    assert any(text.endswith(beside) for text in season.assumptions) is outside
    assert any(text.endswith(beside) for text in season.weather.notes) is outside


@pytest.mark.parametrize(("start", "end", "outside"), [(1, 20, False), (1, 21, True), (20, 21, True), (25, 28, True)])
def test_days_to_look_at_beyond_the_season_are_said_to_lengthen_it(garden, start, end, outside):
    short = garden.changed({"season": {"end": dt.date(2025, 5, 20)}})
    days = {"start": dt.date(2025, 5, start), "end": dt.date(2025, 5, end)}
    said = "These days lie outside the season described, 1 May to 20 May"
    assert any(said in text for text in compare(short, [AS_DESCRIBED, "same"], **days).sentences()) is outside


def test_every_replay_is_told_to_who_waits(garden):
    told = []
    compare(garden.changed({"season": {"end": dt.date(2025, 5, 3)}}), ["wide"], with_base=True, step=told.append)
    assert told == [
        *("replaying as described", "replaying wide"),
        *("as described over what is uncertain", "wide over what is uncertain"),
    ]


def test_the_window_around_a_wave_is_no_longer_than_five_days_before_and_fourteen_after(make_garden):
    """A wave from 11 to 20 May, in a season of 40 days that holds all of it."""
    head, *rows = heat_wave().splitlines()
    more = [rows[0].replace("2025-05-01", f"{dt.date(2025, 5, 31) + dt.timedelta(days=day)}") for day in range(10)]
    garden = make_garden({"variant": VARIANTS}, weather="\n".join([head, *rows, *more]) + "\n")
    found = compare(garden, [AS_DESCRIBED, "same"], around_heat=True)
    assert (found.start, found.end) == (dt.date(2025, 5, 6), dt.date(2025, 6, 3))


@pytest.mark.parametrize(
    ("value", "other", "sign"),
    [
        (2.0, 1.0, 1),
        (1.0, 2.0, -1),
        (1.0, 1.0 + 0.9e-9, 0),
        (1.0 + 1.1e-9, 1.0, 1),
        (1e6, 1e6 + 9e-4, 0),
        (0.0, 0.9e-9, 0),
        (0.0, 1.1e-9, -1),
        (math.inf, math.inf, 0),
        (math.inf, 3.0, 1),
    ],
)
def test_values_part_by_more_than_a_billionth(value, other, sign):
    assert ranges.signs(value, other) == sign


@pytest.mark.parametrize(
    ("apart", "verdict"),
    [
        ([0.0] * 10, "none"),
        ([0.4] * 10, "none"),  # litres are printed whole
        ([0.6] * 10, "clear"),
        ([2.0] * 9 + [-1.0], "clear"),  # nine of ten, as asked for
        ([2.0] * 8 + [-1.0] * 2, "swamped"),
        ([-2.0] * 2 + [0.0] * 8, "clear"),  # two that are equal contradict nothing
        ([2.0] * 7 + [-1.0] + [0.0] * 2, "swamped"),  # seven of eight
        ([2.0] + [0.0] * 9, "rare"),  # equal in nine of ten
        ([2.0] * 18 + [-1.0] * 2 + [0.0] * 30, "clear"),
        ([2.0] * 17 + [-1.0] * 2 + [0.0] * 31, "swamped"),
    ],
)
def test_a_difference_is_swamped_where_too_few_of_the_draws_that_differ_share_its_sign(make_garden, apart, verdict):
    """The rule as the page says it, worked by hand; as described, it is the first draw's."""
    garden, key = make_garden(days=2), [("upper", "litres")]
    values = {("season", "new"): pd.Series([10.0 + apart[0]], key), ("season", "old"): pd.Series([10.0], key)}
    cells = {
        ("season", "new"): pd.DataFrame([10.0 + np.array(apart)], pd.MultiIndex.from_tuples(key)),
        ("season", "old"): pd.DataFrame([[10.0] * len(apart)], pd.MultiIndex.from_tuples(key)),
    }
    (row,) = study._differences({"old": garden, "new": garden}, "season", "new", values, cells).itertuples()
    assert row.verdict == verdict
    assert (row.below, row.above) == (np.mean(np.array(apart) < 0), np.mean(np.array(apart) > 0))


def test_each_measure_of_a_window_is_that_of_the_tables_days(garden):
    season = replay(garden)
    found = study._measured(season, slice(10, 20), None, ranges.scanned(garden))[0]
    days = slice("2025-05-11", "2025-05-20")
    valve, bed = season.controllers["upper"].loc[days], season.beds["upper/tomatoes"].loc[days]
    assert found["upper", "most_openings_a_day"] == valve["openings"].max() > valve["openings"].min()
    for key in ("openings", "open_hours", "litres", "stuck_hours", "dry_hours"):
        assert found["upper", key] == pytest.approx(valve[key].sum())
    pan = season.scenario.controller["upper"].pan
    level = season.hourly_level["upper"].reshape(-1, 24)[10:20].min() - season.forcing.pans.dry[0, 0]
    assert found["upper", "lowest_level_mm"] == pytest.approx(level / pan.area)
    assert found["upper/tomatoes", "stress_days_mean"] == (bed["growing"] & (bed["ks"] < 1.0)).sum()
    assert ("upper/tomatoes", "recovery_days") not in found


def test_the_lowest_level_is_the_waters_own_where_the_trip_is_knocked(make_garden):
    """Filled to 160 mm, two days of 1 mm each; the trip heavier by half a millimetre's water on the second moves none of it."""
    knocked = {"kind": "knocked", "trip": "0.1 kg", "start": dt.date(2025, 5, 2)}
    garden = make_garden({"fault": [knocked]}, days=2, weather=weather_csv(2, pan=1.0))
    season = replay(garden)
    assert not len(season.openings)
    assert common.lowest_level(season, "upper") == pytest.approx(158.0)
    found = study._measured(season, slice(None), None, ranges.scanned(garden))[0]
    assert found["upper", "lowest_level_mm"] == pytest.approx(158.0)


def test_a_bed_where_nothing_grows_has_no_worst_depletion(make_garden):
    """Planted on the fifth day: four days without plants are none, as in the tables."""
    late = {"controller": {"upper": {"bed": {"tomatoes": {"planted": dt.date(2025, 5, 5), "initial_depletion": 0.9}}}}}
    season = replay(make_garden(late, days=5))
    assert season.beds["upper/tomatoes"]["growing"].tolist() == [False] * 4 + [True]
    found = study._measured(season, slice(0, 4), None, ranges.scanned(season.scenario))[0]
    assert (found["upper/tomatoes", "worst_depletion_percent"], found["upper/tomatoes", "stress_days"]) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("start", "end", "inside"),
    [
        (dt.date(2025, 5, 1), dt.date(2025, 5, 3), True),  # it ends on the season's first day
        (dt.date(2025, 5, 2), dt.date(2025, 5, 2), False),
        (dt.date(2025, 4, 1), dt.date(2025, 4, 28), True),
        (dt.date(2025, 4, 1), dt.date(2025, 4, 27), False),
    ],
)
def test_a_made_wave_of_which_one_day_lies_in_the_season_is_looked_at(monkeypatch, start, end, inside):
    """A wave from 28 April to 1 May 2025."""
    wave = SimpleNamespace(start=dt.date(2025, 4, 28), end=dt.date(2025, 5, 1))
    monkeypatch.setattr(study, "made_wave", lambda daily, heat: wave)
    scenario = SimpleNamespace(what_if=SimpleNamespace(heat=SimpleNamespace(start=wave.start)), path="garden.toml")
    season = SimpleNamespace(days=pd.DataFrame(index=pd.date_range(start, end)), weather=SimpleNamespace(daily=None))
    if inside:
        assert study._wave(scenario, season, None)[0] is wave
    else:
        with pytest.raises(ScenarioError, match="lies outside the season"):
            study._wave(scenario, season, None)
