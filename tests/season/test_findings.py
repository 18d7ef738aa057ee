"""What a user is told: each finding where it belongs, with what to do, and nothing where all is well."""

from __future__ import annotations

import copy
import dataclasses
import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from panbudget import replay
from panbudget.season.findings import find
from panbudget.season.result import SEVERITIES
from panbudget.weather.flags import ZERO_RAIN
from panbudget.words import litres
from tests.small_weather import weather_csv
from tests.test_laws import PAN, VALVE, merged, nested

BED = ("controller", "upper", "bed", "tomatoes")


def found(garden):
    return {finding.code: finding for finding in replay(garden).findings}


CASES = {
    "never-opened": (nested(VALVE, {"swing": "9 kg"}), {"days": 3}, "danger", "Use a smaller swing or a wider pan"),
    "over-rating": (nested(VALVE, {"rated_flow": "10 L/h"}), {}, "caution", "rated for 10 L/h"),
    "low-pressure": (nested(VALVE, {"least_pressure": "300 kPa"}), {}, "danger", "needs at least 300 kPa"),
    "weak-refill": (nested(VALVE, {"refill": {"flow": "0.1 L/h"}}), {}, "caution", "can't outrun the pan"),
    "stuck-open": (nested(VALVE, {"refill": {"flow": "0.1 L/h"}}), {}, "danger", "Evaporation outran the refill"),
    "many-openings": (nested(VALVE, {"swing": "60 g"}), {}, "caution", "A larger swing gives fewer"),
    "short-openings": (nested(VALVE, {"swing": "30 g"}), {}, "caution", "shorter than 2 minutes"),
    "spill": (nested(PAN, {"freeboard": "1 mm"}), {"rain": [30.5, 2.5] * 15 + [0.0]}, "note", "More freeboard"),
    "short-of-water": (
        nested(BED, {"plants": {"kc": 1.2, "root_depth": "20 cm", "depletion": 0.3}, "emitters": {"count": 1}}),
        {"days": 60},
        "danger",
        "More or larger emitters",
    ),
    "too-wet": (nested(BED, {"emitters": {"count": 120}}), {}, "caution", "Fewer or smaller emitters"),
    "not-growing": (nested(BED, {"planted": dt.date(2025, 5, 10)}), {}, "note", "nothing grows here"),
    "never-growing": (nested(BED, {"planted": dt.date(2023, 5, 10)}), {}, "caution", "Look at the year of `planted`"),
    "pan-table-bounds": (
        nested(PAN, {"evaporation": "from-eto"}),
        {"wind": 0.2},
        "note",
        "lay outside the pan coefficient's table",
    ),
    "pan-model": (
        nested(PAN, {"evaporation": "from-eto", "fetch": {"cover": "green", "distance": "1000 m"}}),
        {},
        "note",
        "take that as the uncertainty",
    ),
}


@pytest.mark.parametrize("code", CASES)
def test_a_finding_says_what_and_what_to_do(code, make_garden):
    overlay, weather, severity, said = CASES[code]
    finding = found(make_garden(overlay, weather=weather_csv(**{"days": 31, **weather})))[code]
    assert finding.severity == severity
    assert said in finding.text
    assert finding.where.startswith("upper")


def test_a_sound_garden_has_no_finding_above_a_note(make_garden):
    """Emitters counted so that the bed gets what it needs."""
    overlay = merged(
        nested(BED, {"plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5}, "emitters": {"count": 50}}),
    )
    season = replay(make_garden(overlay, weather=weather_csv(60, radiation=26.0)))
    assert [f for f in season.findings if f.severity != "note"] == []
    assert season.totals["beds"]["upper/tomatoes"]["stress_days"] == 0


def test_unlike_beds_on_one_valve_are_told(make_garden):
    bed = {"area": "10 m^2", "soil": "loam", "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5}}
    beds = {
        "few": {**bed, "emitters": {"count": 10, "flow": "2 L/h", "at": "100 kPa"}},
        "many": {**bed, "emitters": {"count": 60, "flow": "2 L/h", "at": "100 kPa"}},
    }
    finding = found(make_garden(nested(("controller", "upper", "bed"), beds), days=60))["uneven"]
    assert finding.where == "upper"
    assert '"many" got' in finding.text


@pytest.mark.parametrize(
    ("days", "planted", "severity", "meant"),
    [
        (40, dt.date(2025, 5, 21), "note", False),
        (40, dt.date(2025, 5, 22), "caution", False),
        (40, dt.date(2025, 6, 5), "caution", True),
        (40, dt.date(2025, 6, 4), "caution", False),
    ],
)
def test_a_planting_that_leaves_most_of_the_season_bare_is_a_caution(make_garden, days, planted, severity, meant):
    """20 of 40 days from 1 May on are bare, or one more; 5 June may be 6 May, and 4 June not 6 April."""
    finding = found(make_garden(nested(BED, {"planted": planted}), days=days))["not-growing"]
    assert finding.severity == severity
    assert ("write planted = 2025-05-06" in finding.text) is meant


@pytest.mark.parametrize(
    ("planted", "said"),
    [
        (dt.date(2025, 6, 10), "the planting of 10 June 2025 comes after them"),  # the day after these
        (dt.date(2025, 12, 31), "the planting of 31 December 2025 comes after them"),
        (dt.date(2026, 1, 1), "Look at the year of `planted`"),
        (dt.date(2024, 6, 10), "Look at the year of `planted`"),
    ],
)
def test_days_that_lie_before_the_planting_are_said_to_do_so_and_its_year_is_not_doubted(make_garden, planted, said):
    """A statement may be asked for a month before the season."""
    finding = found(make_garden(nested(BED, {"planted": planted}), days=40))["never-growing"]
    assert (finding.severity, finding.days) == ("caution", 40)
    assert said in finding.text.replace("\u00a0", " ")


def test_gravest_first(make_garden):
    overlay = merged(nested(VALVE, {"refill": {"flow": "0.1 L/h"}, "rated_flow": "1 L/h"}), CASES["not-growing"][0])
    severities = [SEVERITIES.index(f.severity) for f in replay(make_garden(overlay)).findings]
    assert len(set(severities)) == 3
    assert severities == sorted(severities)


def test_of_one_severity_the_longest_comes_first(make_garden):
    overlay = merged(nested(VALVE, {"refill": {"flow": "0.1 L/h"}}), nested(BED, {"emitters": {"count": 1}}))
    findings = replay(make_garden(overlay, days=60)).findings
    pairs = [(SEVERITIES.index(f.severity), -f.days) for f in findings]
    assert len({f.code for f in findings if f.severity == "danger"}) > 1
    assert pairs == sorted(pairs)


def test_a_bed_where_nothing_grows_is_not_told_that_it_got_too_much(make_garden):
    garden = make_garden(nested(BED, {"planted": dt.date(2023, 5, 10)}))
    assert "too-wet" not in found(garden)


def test_a_negative_day_is_told_and_left_alone(make_garden):
    """Saturated air, no sun, hardly a breath of wind: more long-wave out than radiation in."""
    rows = "\n".join(f"2025-12-{day:02d},-6,-4,100,100,0.5,0,0.4,0" for day in range(1, 11))
    header = "date,tmin,tmax,rh_max,rh_min,wind,rain,radiation,pan_evaporation\n"
    season = replay(make_garden(weather=header + rows + "\n"))
    assert season.days["eto_mm"].max() < 0.0
    finding = next(f for f in season.findings if f.code == "negative-eto")
    assert (finding.days, finding.first) == (10, "2025-12-01")


@pytest.fixture
def season(make_garden):
    """A season whose numbers the tests below put in place of their own."""
    return replay(make_garden(days=40))


def told(season, code):
    return [finding for finding in find(season) if finding.code == code]


def with_totals(season, *, pan=None, bed=None, quarter=None):
    """The season with other totals of its controller, its bed and the bed's driest quarter."""
    totals = copy.deepcopy(season.totals)
    totals["controllers"]["upper"] |= pan or {}
    totals["beds"]["upper/tomatoes"] |= bed or {}
    totals["beds"]["upper/tomatoes"]["driest_quarter"] |= quarter or {}
    return dataclasses.replace(season, totals=totals)


def with_columns(season, kind, key, **columns):
    """The season with other columns in a daily table; a list sets the first days, the rest are 0."""
    table = getattr(season, kind)[key].copy()
    for name, values in columns.items():
        table[name] = [*values, *[0] * (len(table) - len(values))] if isinstance(values, list) else values
    return dataclasses.replace(season, **{kind: getattr(season, kind) | {key: table}})


@pytest.mark.parametrize(("hours", "severity"), [(6.0, "caution"), (6.01, "danger")])
def test_more_than_six_hours_held_open_are_a_danger(season, hours, severity):
    """Common practice, no source. Held open for 2 h, 62 L/h × √1.5 pass."""
    stuck = with_columns(
        with_totals(season, pan={"stuck_open_hours": hours}), "controllers", "upper", stuck_hours=[2.0]
    )
    (finding,) = told(stuck, "stuck-open")
    assert (finding.severity, finding.days) == (severity, 1)
    assert f"({litres(2.0 * 62.0 * 1.5**0.5)})" in finding.text


@pytest.mark.parametrize(
    ("column", "code"),
    [("starved_hours", "no-water"), ("dry_hours", "dry-pan"), ("stuck_hours", "stuck-open"), ("spilled_kg", "spill")],
)
def test_the_least_of_what_goes_wrong_is_told(season, column, code):
    (finding,) = told(with_columns(season, "controllers", "upper", **{column: [0.0, 0.001]}), code)
    assert (finding.days, finding.first) == (1, f"{season.days.index[1]:%Y-%m-%d}")


@pytest.mark.parametrize(("column", "code"), [("starved_hours", "no-water"), ("dry_hours", "dry-pan")])
def test_want_of_water_is_a_danger_only_while_something_grows(season, column, code):
    """Of two days without water the crops were over on the second."""
    wanting = with_columns(season, "controllers", "upper", **{column: [3.0, 2.0]})
    always = with_columns(wanting, "beds", "upper/tomatoes", growing=True)
    assert [(finding.severity, finding.days) for finding in told(always, code)] == [("danger", 2)]
    wanting = with_columns(wanting, "beds", "upper/tomatoes", growing=[True])
    grave, idle = told(wanting, code)
    assert (grave.severity, grave.days, idle.severity, idle.days) == ("danger", 1, "note", 1)
    assert "for 3.0\xa0h on 1\xa0day" in grave.text
    assert "for 2.0\xa0h on 1\xa0day on which nothing grew" in idle.text
    assert "larger tank" not in idle.text


@pytest.mark.parametrize(
    ("adequacy", "run", "quarter", "severity"),
    [
        (0.75, 13, 0.94, "caution"),
        (0.74, 13, 0.94, "danger"),  # less than three quarters of what the bed would use
        (0.75, 14, 0.94, "danger"),  # fourteen days in a row
        (0.80, 13, 0.95, "note"),  # 95 % in the driest quarter
        (0.80, 13, 0.949, "caution"),
    ],
)
def test_shortness_of_water_is_graver_from_three_quarters_down_and_fourteen_days_on(
    season, adequacy, run, quarter, severity
):
    """Common practice, no source."""
    bed = {"adequacy": adequacy, "longest_stress_days": run}
    short = with_columns(season, "beds", "upper/tomatoes", driest_ks=0.9, growing=True)
    (finding,) = told(with_totals(short, bed=bed, quarter={"adequacy": quarter}), "short-of-water")
    assert finding.severity == severity


@pytest.mark.parametrize(("share", "said"), [(0.994, True), (0.995, False)])
def test_a_loss_that_would_be_shown_as_none_is_not_said(season, share, said):
    """99.5 % is written 100 %."""
    short = with_columns(season, "beds", "upper/tomatoes", driest_ks=0.9, growing=True)
    (finding,) = told(with_totals(short, quarter={"adequacy": share}), "short-of-water")
    assert ("where the plants could use" in finding.text) is said


@pytest.mark.parametrize(("ks", "days"), [([1.0] * 40, 0), ([1.0] * 39 + [0.99], 1)])
def test_a_day_is_short_below_a_ks_of_one(season, ks, days):
    assert (
        sum(f.days for f in told(with_columns(season, "beds", "upper/tomatoes", driest_ks=ks), "short-of-water"))
        == days
    )


@pytest.mark.parametrize(
    ("column", "code", "last", "first"), [("eto_mm", "negative-eto", 0.0, -0.001), ("tmin_c", "frost", 0.0, -0.1)]
)
def test_nothing_is_no_negative_evapotranspiration_and_no_frost(season, column, code, last, first):
    """Air frost is a lowest temperature below 0 °C, as weather services have it: from memory."""
    for value, days in ((last, 0), (first, 1)):
        changed = season.days.assign(**{column: [value, *season.days[column][1:]]})
        assert sum(finding.days for finding in told(dataclasses.replace(season, days=changed), code)) == days


@pytest.mark.parametrize(("days", "severity", "often"), [(39, "note", "39 of 40 days"), (40, "caution", "every day")])
def test_what_is_estimated_on_every_day_is_a_caution(season, days, severity, often):
    """Columns that were filled alike share it."""
    totals = copy.deepcopy(season.totals)
    totals["weather"]["filled"] = {name: {"2 m/s, no wind measured": days} for name in ("wind", "other")}
    (finding,) = told(dataclasses.replace(season, totals=totals), "filled")
    assert (finding.severity, finding.days) == (severity, days)
    assert finding.message.startswith(f"wind, other: {often} ")


@pytest.mark.parametrize(("days", "cure"), [(39, ""), (40, "Leave it so under a roof or in a tunnel")])
def test_rain_that_the_file_was_told_to_take_as_none_is_not_asked_for_elsewhere(season, days, cure):
    """In a tunnel a nearby station's rain would be worse, and it was advised."""
    totals = copy.deepcopy(season.totals)
    totals["weather"]["filled"] = {"rain": {ZERO_RAIN: days}}
    (finding,) = told(dataclasses.replace(season, totals=totals), "filled")
    assert "taken as dry, as missing_rain says" in finding.message
    assert (finding.cure == "") if not cure else finding.cure.startswith(cure)


@pytest.mark.parametrize(("source", "unused"), [("mains", []), ("", ["mains"])])
def test_a_supply_that_only_fills_a_tank_is_not_to_be_taken_out(source, unused, make_garden):
    """It was, and the garden was refused without it."""
    tank = {"kind": "tank", "volume": "1 m^3", "footprint": "1 m^2", "outlet_height": "2 m"}
    top_up = {"below": "500 L", "rate": "200 L/h"} | ({"from": source} if source else {})
    supplies = {"spring": tank | {"pressure": None, "top_up": top_up}, "mains": {"pressure": "200 kPa"}}
    assert [f.where for f in replay(make_garden({"supply": supplies})).findings if f.code == "unused-supply"] == unused


@pytest.mark.parametrize(("below", "code"), [(0.0, "stuck-open"), (1e-6, "stuck-at-rim")])
def test_a_rim_as_high_as_the_reset_shuts_the_valve_yet(season, below, code):
    """Model page, section 3: stuck open where the rim lies below the reset."""
    pans = season.forcing.pans._replace(rim=season.forcing.pans.swing - below)
    forcing = dataclasses.replace(season.forcing, pans=pans)
    forcing.__dict__["pan_of"] = season.forcing.pan_of
    stuck = with_columns(dataclasses.replace(season, forcing=forcing), "controllers", "upper", stuck_hours=[2.0])
    assert {finding.code for finding in find(stuck)} & {"stuck-open", "stuck-at-rim"} == {code}


@pytest.mark.parametrize(
    ("irrigation", "drained", "wet"),
    [(150.0, 100.0, False), (150.1, 100.0, True), (200.0, 60.0, False), (200.0, 60.1, True)],
)
def test_too_wet_is_over_half_as_much_again_as_needed_with_over_three_tenths_drained(season, irrigation, drained, wet):
    """Common practice, no source. Of 100 mm needed."""
    bed = {"irrigation_growing_mm": irrigation, "net_demand_mm": 100.0, "drained_growing_mm": drained}
    assert bool(told(with_totals(season, bed=bed), "too-wet")) is wet


@pytest.mark.parametrize(
    ("given", "needed", "grave"),
    [(499.9, 100.0, False), (500.0, 100.0, True), (109.9, 10.0, False), (110.0, 10.0, True)],
)
def test_five_times_the_need_and_a_hundred_millimetres_more_is_far_too_wet(season, given, needed, grave):
    """Ours, no source: above it, something is broken or slipped."""
    bed = {"irrigation_growing_mm": given, "net_demand_mm": needed, "drained_growing_mm": given - needed}
    (finding,) = told(with_totals(season, bed=bed), "too-wet")
    assert (finding.severity == "danger") is grave
    assert ("the jug under the refill emitter" in finding.text) is grave


@pytest.mark.parametrize(("minutes", "short"), [([2.0, 2.0], False), ([1.9, 2.0], True), ([1.0, 2.0, 9.0], False)])
def test_openings_are_short_when_half_of_them_are_under_two_minutes(season, minutes, short):
    """Common practice, no source; an opening without an end has no length yet."""
    rows = season.openings.iloc[: len(minutes)].assign(minutes=minutes)
    last = season.openings.iloc[:1].assign(minutes=0.1, end_h=math.nan)
    for openings in (rows, pd.concat([rows, last, last, last])):
        assert bool(told(dataclasses.replace(season, openings=openings), "short-openings")) is short


@pytest.mark.parametrize(("most", "days"), [(12, 0), (13, 1)])
def test_twelve_openings_a_day_are_not_too_many(season, most, days):
    """Common practice, no source."""
    changed = with_columns(season, "controllers", "upper", openings=[most, 1])
    assert sum(finding.days for finding in told(changed, "many-openings")) == days


@pytest.mark.parametrize(("pressure", "told"), [("400 kPa", False), ("400.1 kPa", True), ("150 psi", True)])
def test_a_pressure_that_drip_parts_do_not_stand_is_told(make_garden, pressure, told):
    """Common practice, no source: drip emitters and fittings are made for at most 4 bar."""
    garden = make_garden(days=3).changed({"supply": {"spring": {"pressure": pressure}}})
    assert ("high-pressure" in found(garden)) is told


def test_a_valve_may_draw_what_it_is_rated_for_and_have_its_least_pressure(make_garden):
    """By hand: 62 L/h at 100 kPa, the mains at that pressure."""
    for rated, least, codes in (
        ("62 L/h", "100 kPa", set()),
        ("61.9 L/h", "100.1 kPa", {"over-rating", "low-pressure"}),
    ):
        garden = make_garden(nested(VALVE, {"rated_flow": rated, "least_pressure": least}), days=3)
        codes_found = set(found(garden.changed({"supply": {"spring": {"pressure": "100 kPa"}}})))
        assert codes_found & {"over-rating", "low-pressure"} == codes


def with_pan(season, **changes):
    """The season with another forcing of its pan."""
    forcing = dataclasses.replace(season.forcing)
    forcing.__dict__["pan_of"] = {"upper": dataclasses.replace(season.forcing.pan_of["upper"], **changes)}
    return dataclasses.replace(season, forcing=forcing)


@pytest.mark.parametrize(("left", "codes"), [(75.0, 0), (74.9, 1)])
def test_a_pipe_may_take_half_of_the_pressure(season, left, codes):
    """A pipe like a hair, or one of kilometres, went without a word. Of 150 kPa; common practice, no source."""
    overlay = {"controller": {"upper": {"pipe": {"length": "20 m", "diameter": "13 mm"}}}}
    piped = dataclasses.replace(with_pan(season, pressure=left), scenario=season.scenario.changed(overlay))
    assert len(told(piped, "pipe-takes")) == codes


@pytest.mark.parametrize(("bounded", "said"), [(4, False), (5, True)])
def test_a_bound_of_the_pans_table_is_told_from_over_a_tenth_of_the_days(make_garden, bounded, said):
    """Model page, section 2; of 40 days."""
    season = replay(make_garden(nested(PAN, {"evaporation": "from-eto"}), days=40))
    mask = np.arange(40) < bounded
    coefficient = season.forcing.pan_of["upper"].coefficient
    changed = with_pan(season, coefficient=coefficient._replace(wind_bounded=mask, humidity_bounded=np.zeros(40, bool)))
    assert [finding.days for finding in told(changed, "pan-table-bounds")] == ([5] if said else [])


@pytest.mark.parametrize(("other", "said"), [(115.0, False), (115.1, True), (85.0, False), (84.9, True)])
def test_another_model_is_told_from_over_fifteen_per_cent_apart(season, other, said):
    """Common practice, no source; against 100 mm measured. 1.15 − 1 is a hair under 0.15, and 1 − 0.85 a hair over."""
    models = {"measured": np.array([100.0]), "from-eto": np.array([other + 1e-9 * (100.0 - other)])}
    assert bool(told(with_pan(season, evaporation=models), "pan-model")) is said


def test_the_difference_of_another_model_has_its_sign(season):
    for other, sign in ((150.0, "+50"), (50.0, "50")):
        models = {"measured": np.array([100.0]), "from-eto": np.array([other])}
        (finding,) = told(with_pan(season, evaporation=models), "pan-model")
        assert sign in finding.text
        assert ("+" in finding.text) is (other > 100.0)


def test_a_refill_that_only_equals_a_hot_noon_is_weak(season):
    """Equal days of 8 mm on 0.196 m²: what the hour from noon takes, FAO-56 eq. 34's half sine."""
    noon = 8.0 * season.forcing.days.daylight_share[:, 12] * math.pi * 0.25**2
    hot = float(np.quantile(noon, 0.9))
    assert told(with_pan(season, refill_flow=hot), "weak-refill")
    assert not told(with_pan(season, refill_flow=hot * 1.0001), "weak-refill")


@pytest.mark.parametrize(("times", "uneven"), [(1.5, False), (1.51, True)])
def test_beds_are_unlike_from_over_half_as_much_again(make_garden, times, uneven):
    """Common practice, no source."""
    bed = {"area": "10 m^2", "soil": "loam", "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5}}
    one = {**bed, "emitters": {"count": 10, "flow": "2 L/h", "at": "100 kPa"}}
    season = replay(make_garden(nested(("controller", "upper", "bed"), {"a": one, "b": one}), days=40))
    totals = copy.deepcopy(season.totals)
    for key, ratio in (("a", 2.0), ("b", 2.0 * times), ("tomatoes", 2.5)):
        totals["beds"][f"upper/{key}"] |= {"supply_over_demand": ratio, "net_demand_mm": 10.0}
    assert bool(told(dataclasses.replace(season, totals=totals), "uneven")) is uneven
    totals["beds"]["upper/b"]["net_demand_mm"] = 0.0  # a bed that needs nothing has no share of its need
    assert not told(dataclasses.replace(season, totals=totals), "uneven")


def test_a_valve_that_never_opened_was_never_open_either(season):
    for openings, hours, said in ((0, 0.0, True), (0, 1.0, False), (1, 1.0, False)):
        changed = with_totals(season, pan={"openings": openings, "open_hours": hours})
        assert bool(told(changed, "never-opened")) is said


UNUSED = {
    "pan": ({"ground_albedo": 0.3}, {"evaporation": "energy-balance"}),
    "valve": ({"rated_loss": "3 kPa"}, {"rated_flow": "1 m^3/h"}),
    "bed": (
        {"wetted_fraction": 0.5, "wetting_depth": "5 mm", "antecedent": "five-day"},
        {"method": "dual", "wetting_interval": "3 d", "curve_number": 70},
    ),
}


@pytest.mark.parametrize("part", UNUSED)
def test_a_key_that_nothing_goes_by_is_told_until_what_it_needs_stands_beside_it(part, make_garden):
    keys, beside = UNUSED[part]
    told = []
    for more in (keys, {**keys, **beside}):
        overlay = {"bed": {"tomatoes": more}} if part == "bed" else {part: more}
        found = replay(make_garden({"controller": {"upper": overlay}})).findings
        told.append([f.message.split(" is written")[0] for f in found if f.code == "unused-key"])
    assert told == [list(keys), []]


@pytest.mark.parametrize("beside", [{"method": "dual"}, {"wetting_interval": "3 d"}])
def test_the_wetted_share_counts_for_bare_soil_and_for_young_plants(beside, make_garden):
    overlay = {"controller": {"upper": {"bed": {"tomatoes": {"wetted_fraction": 0.5, **beside}}}}}
    assert not [f for f in replay(make_garden(overlay)).findings if f.code == "unused-key"]


@pytest.mark.parametrize(("kpa", "told"), [(20.0, False), (19.9, True)])
def test_emitters_far_below_their_print_are_told(kpa, told, make_garden):
    """All are printed for 100 kPa; a fifth of it is the bound."""
    found = replay(make_garden({"supply": {"spring": {"pressure": f"{kpa} kPa"}}})).findings
    assert [f.where for f in found if f.code == "far-below-print"] == ["upper"] * told


@pytest.mark.parametrize(("water", "told"), [(1.099, False), (1.101, True), (0.901, False), (0.899, True)])
def test_a_bed_and_its_supply_that_say_two_things_of_one_water_are_told(water, told, make_garden):
    leaching = {"water": f"{water} dS/m", "threshold": "4 dS/m"}
    overlay = {
        "supply": {"spring": {"salinity": "1 dS/m"}},
        "controller": {"upper": {"bed": {"tomatoes": {"leaching": leaching}}}},
    }
    found = [f.where for f in replay(make_garden(overlay)).findings if f.code == "two-waters"]
    assert found == ["upper/tomatoes"] * told
