"""What a log's readings say of each other: which are left out, what a log is worth, and what would tell more."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest

from panbudget import replay
from panbudget.errors import PanbudgetError, ReadingsError
from panbudget.scenario.uncertainty import Uncertainty
from panbudget.season.layout import prepare
from panbudget.studies.fit import estimate, evidence, posterior, readings
from panbudget.studies.fit.estimate import fit, fit_controller
from tests.studies.fit.test_estimate import Field, true_garden, values

TRUTH = {"exposure": 0.85, "refill": 2.1, "swing": 0.88}


@pytest.fixture
def field(make_garden):
    return Field(make_garden, days=30)


def turned(field, change, **kept):
    """Fit a log of the true garden, each of its visits changed."""
    log = field.log(TRUTH, every=3.0, **kept)
    visits = tuple(dataclasses.replace(visit, **change(k, visit)) for k, visit in enumerate(log.visits["upper"]))
    return fit_controller(field.garden, prepare(field.garden, field.weather, log.first, log.last), 0, visits)


def litres_off(fitted):
    """Return by how much the true litres are above those fitted, and the range's ends; logarithms."""
    factors = {estimate.name: estimate.factor for estimate in fitted.estimates}
    true = np.log(TRUTH["exposure"] / (TRUTH["refill"] / 2.0))
    return true - np.log(factors["exposure"] / factors.get("refill", 1.0)), *np.log(fitted.ranges["litres"])


def test_a_meter_in_gallons_is_told_by_the_counts_and_left_out(field):
    """3.785 L a gallon: litres an opening are a quarter of what counts and described flows make them."""
    found = turned(field, lambda k, visit: {"meter": visit.meter / 3.785}, meter=True)
    assert any(
        "the meter looks wrong and is left out; it reads like US gallons" in said for said in found.contradictions
    )
    assert values(found)["exposure"] == pytest.approx(0.85 * 0.9 / 0.88, rel=0.04)
    off, low, high = litres_off(found)
    assert low < off < high


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda level: level / 25.4, "they read like inches"),
        (lambda level: level / 10.0, "they read like cm"),
        (lambda level: 180.0 - level, "they read like the depth from the rim down to the water"),
    ],
)
def test_levels_nowhere_near_the_swing_are_left_out_and_what_they_read_like_is_said(change, said, field):
    found = turned(field, lambda k, visit: {"level": change(visit.level)})
    assert said in found.contradictions[0]
    assert values(found)["exposure"] == pytest.approx(0.85 * 0.9 / 0.88, rel=0.05)


def test_a_log_of_levels_alone_that_lie_nowhere_near_the_swing_is_refused(field):
    with pytest.raises(ReadingsError, match="they read like inches, .*nothing else in the log follows the pan"):
        turned(field, lambda k, visit: {"level": visit.level / 25.4, "openings": None}, counts=False)


def test_what_a_log_is_refused_for_names_its_file(field, tmp_path):
    log = tmp_path / "log.csv"
    rows = "".join(f"2025-05-{day:02d} 08:00,4.2\n" for day in range(1, 13))
    log.write_text(f"date,level_mm\n{rows}", encoding="utf-8")
    with pytest.raises(ReadingsError, match="pan") as refused:
        fit(field.garden, log, weather=field.weather)
    assert refused.value.text().startswith(f"{log}: upper: the levels lie nowhere near")


@pytest.mark.parametrize(("shift", "side"), [(-12.0, "below"), (12.0, "above"), (0.0, "")])
def test_levels_read_from_another_zero_within_some_mm_of_a_wide_swing_are_named(shift, side, make_garden):
    """A swing of 20 mm: levels from 12 mm under it are as many mm beyond it, and their differences still tell the exposure."""
    field = Field(make_garden)
    field.garden = field.garden.changed({"controller": {"upper": {"valve": {"swing": "3.93 kg"}}}})
    log = field.log({"exposure": 0.85, "swing": 3.93}, every=2.0)
    visits = tuple(dataclasses.replace(visit, level=visit.level + shift) for visit in log.visits["upper"])
    found = fit_controller(field.garden, prepare(field.garden, field.weather, log.first, log.last), 0, visits)
    assert len(found.contradictions) == (shift != 0.0)
    assert all(f"mm or more {side} the pan's swing" in said for said in found.contradictions)
    assert values(found)["exposure"] == pytest.approx(0.85, rel=0.08)


@pytest.mark.parametrize("meter", [False, True])
def test_levels_of_another_pan_are_told_by_the_counts(meter, field):
    """Anywhere over 45 mm, where the swing is under 5 mm."""
    random = np.random.default_rng(4)
    found = turned(field, lambda k, visit: {"level": float(round(random.uniform(120.0, 165.0)))}, meter=meter)
    assert "the levels look wrong and are left out" in found.contradictions[0]
    assert ("and the meter, which agree with each other" in found.contradictions[0]) == meter
    assert values(found)["exposure"] == pytest.approx(0.85 * 0.9 / 0.88, rel=0.05)


def test_a_fit_gives_the_seasons_litres_with_a_range_that_its_overlay_draws(field):
    log = field.log(TRUTH, every=3.0, meter=True)
    found = fit(field.garden, log, weather=field.weather)
    truth = replay(true_garden(field.garden, **TRUTH), weather=field.weather).totals["controllers"]["upper"]["litres"]
    low, high = found.litres["upper"]
    assert low < truth < high < 1.12 * low
    before = found.before.totals["spread"]["controllers"]["upper"]["litres"]
    assert high - low < 0.2 * (before["high"] - before["low"])
    known = found.overlay["uncertainty"]["controller"]["upper"]
    assert set(known) == {"litres", "openings", "swing"}
    assert all(part[0] <= 1.0 <= part[1] for part in known.values())
    assert "meter" not in {one.what for one in found.controllers["upper"].worth}


@pytest.mark.parametrize("name", ["exposure", "refil"])
def test_an_unknown_name_to_hold_is_refused(name, field):
    with pytest.raises(PanbudgetError, match=f'hold "{name}" is unknown; expected: refill or swing'):
        fit(field.garden, "log.csv", hold=(name,))


def pan_of(counts=(), levels=(), meters=(), timeless=0, **pan):
    """A pan of which so much was read; at 150 mm it shuts, 20 mm lower it opens, and its rim is 30 mm higher."""
    read = {
        key: np.array(values, float) for key, values in (("counts", counts), ("levels", levels), ("meters", meters))
    }
    visits = [SimpleNamespace(timed=k >= timeless) for k in range(max(map(len, read.values())))]
    usual = {"reset_mm": 150.0, "swing": 4.0, "area": 0.2, "freeboard": 6.0}
    return SimpleNamespace(visits=visits, **read, **usual | pan)


@pytest.mark.parametrize(
    ("read", "untold"),
    [
        ({"counts": [1] * 12, "levels": [140] * 12, "meters": [9] * 3}, set()),
        ({"counts": [1] * 12, "levels": [140] * 12, "meters": [9] * 2}, {"refill"}),
        ({"counts": [1] * 2, "levels": [140] * 2, "meters": [9] * 30}, {"refill", "swing"}),
        ({"counts": [1] * 11, "levels": [140] * 12, "meters": [9] * 3}, {"swing"}),
        ({"counts": [1] * 12, "levels": [140] * 11, "meters": [9] * 3}, {"swing"}),
        ({"counts": [1] * 999, "levels": [140] * 999, "meters": [9] * 3, "timeless": 99}, set()),  # a tenth
        ({"counts": [1] * 999, "levels": [140] * 999, "meters": [9] * 3, "timeless": 100}, {"swing"}),
    ],
)
def test_too_few_readings_tell_no_refill_flow_and_no_swing(read, untold):
    assert set(evidence.beforehand(pan_of(**read), ())) == untold


@pytest.mark.parametrize(
    ("level", "hint"),
    [(140.0, ""), (4.528, "inches"), (4.527, "depth from the rim"), (7.086, "inches"), (7.087, "depth from the rim")],
)
def test_levels_read_like_a_unit_from_fifteen_millimetres_below_the_swing_up_to_the_rim(level, hint):
    """From 115 to 180 mm, which are 4.5276 to 7.0866 in; 4.527 and 7.087 mm down from the rim would do as well."""
    found = evidence._level_hint(pan_of(levels=[level]))
    assert hint in found
    assert bool(found) is bool(hint)


@pytest.mark.parametrize(("off", "side"), [(3.99, ""), (4.01, "above"), (-3.99, ""), (-4.01, "below")])
def test_a_fifth_of_the_levels_four_millimetres_beyond_the_swing_are_named(off, side):
    """Of eleven, the third from an end is its fifth."""
    end, further = (150.0 + off, 5.0) if off > 0.0 else (130.0 + off, -5.0)
    pan = pan_of(levels=[140.0] * 8 + [end] + [end + further] * 2)
    found = evidence.levels_off(pan)
    assert len(found) == bool(side)
    lifted = evidence.levels_off(pan, np.full(11, 90.0))  # by rain, which leaves no level too low
    assert lifted == (found if side == "below" else [])
    assert all(side in sentence for sentence in found)


@pytest.mark.parametrize(("error", "tells"), [(0.1799, True), (0.1801, False)])
def test_an_exposure_within_eighteen_per_cent_is_told(error, tells):
    untold: dict[str, str] = {}
    evidence._open(SimpleNamespace(covariance=np.eye(3) * error**2), untold)
    assert (untold == {}) is tells


@pytest.mark.parametrize(("factor", "likely"), [(0.7907, True), (1.2648, True), (0.7905, False), (1.265, False)])
def test_an_exposure_up_to_the_root_of_odd_beyond_its_range_is_likely(factor, likely):
    """√1.6 = 1.2649, to either side of a range that is one factor."""
    assert evidence._is_likely(factor, (1.0, 1.0)) is likely


@pytest.mark.parametrize(
    ("further", "exposure", "count"), [(4.99, 1.0409, 2), (5.01, 1.0409, 1), (4.99, 1.0407, 1), (0.0, 0.96, 2)]
)
def test_an_exposure_contends_within_five_of_the_likeliest_and_four_per_cent_from_it(further, exposure, count):
    """e^0.04 = 1.0408."""
    first, other = (
        posterior.Place({"exposure": at}, value, 1.0, 0.1) for at, value in ((1.0, 0.0), (exposure, -further))
    )
    assert len(posterior.contenders([first, other])) == count


@pytest.mark.parametrize(("off", "said"), [(0.3499, False), (0.3501, True)])
def test_a_tub_three_and_a_half_errors_from_the_rest_is_named(off, said, monkeypatch):
    alone = SimpleNamespace(mean=np.zeros(3), covariance=np.eye(3) * 0.01)
    monkeypatch.setattr(evidence, "by_tub", lambda *_: alone)
    monkeypatch.setattr(evidence, "gather", lambda *_: SimpleNamespace(listed=SimpleNamespace(empty=False)))
    pan = SimpleNamespace(exposure=1.0)
    found = SimpleNamespace(tub=object(), pan=pan, known={}, mean=np.array([off, 0.0, 0.0]))
    assert bool(evidence.tub_apart(found)) is said


@pytest.mark.parametrize(("error", "told"), [(0.0346, True), (0.0347, False)])
def test_a_log_tells_a_swing_of_which_it_leaves_six_tenths_of_the_spread_known_before(error, told):
    """An even range of 10 % to either side has a standard deviation of 0.1 / √3 = 0.0577, six tenths of which are 0.0346."""
    known, spread = {"refill": (0.0, 0.1), "swing": (0.0, 0.1)}, np.diag([0.01, 0.01, error]) ** 2
    untold: dict[str, str] = {}
    estimate._point(SimpleNamespace(mean=np.zeros(3), covariance=spread, known=known), untold, {}, 0.9)
    assert ("swing" not in untold) is told


@pytest.mark.parametrize(
    ("off", "level", "told"),
    [(0.0822, 0.9, False), (-0.0823, 0.9, True), (0.0337, 0.5, False), (0.0338, 0.5, True)],
)
def test_a_refill_flow_beside_which_the_exposure_would_leave_its_range_is_told(off, level, told):
    """Off what is described by 1.645 standard errors of 0.05: as far as the middle nine tenths reach; a half, 0.674."""
    known, spread = {"refill": (0.0, 0.1), "swing": (0.0, 0.1)}, np.diag([0.1, 0.05, 0.05]) ** 2
    untold = {"refill": "by a meter alone"}
    found = SimpleNamespace(mean=np.array([0.0, off, 0.0]), covariance=spread, known=known)
    estimate._point(found, untold, {}, level)
    assert ("refill" not in untold) is told


def test_a_meters_litres_are_counted_in_openings_of_the_described_refill_and_not_rounded():
    """Of one litre each; a refill flow a tenth larger than described lets through a tenth less at a time."""
    unknown, one = np.full(2, np.nan), SimpleNamespace(per_opening=lambda _: 1.0)
    pan = SimpleNamespace(
        counts=unknown,
        levels=unknown,
        meters=np.array([0.0, 0.91]),
        hours=np.array([0.0, 24.0]),
        modelled=lambda _: one,
        of_opening=lambda _: 1.0,
    )
    assert readings.metered_counts(pan, {})[0][1] == pytest.approx(0.91)


@pytest.mark.parametrize(
    ("off", "wrong", "apart"), [(0.1499, 0, False), (-0.1501, 0, True), (0.0, 300, False), (0.0, 301, True)]
)
def test_levels_contradict_counts_that_move_the_exposure_or_look_wrong_beside_them(off, wrong, apart, monkeypatch):
    """Of 100 openings, by 0.12 and 3 / 100 of the logarithm; of 1000 levels, three tenths."""
    pan, spoilt = pan_of(counts=[1.0] * 100, levels=[140.0] * 1000), iter([range(wrong), range(0)])
    at = posterior.Place({"exposure": np.exp(off)}, 0.0, 1.0, 0.1)
    told = {"tally": None, "sighted": None, "without": pan, "placed": at, "places": [at]}
    for name, value in told.items():
        monkeypatch.setattr(evidence, name, lambda *_, value=value: value)
    monkeypatch.setattr(evidence, "account", lambda *_: SimpleNamespace(misread=next(spoilt), shifts=()))
    assert evidence._levels_apart(pan, posterior.Place({"exposure": 1.0}, 0.0, 1.0, 0.1)) is apart


@pytest.mark.parametrize(("apart", "wrong"), [(2, True), (3, False)])
def test_up_to_a_fifth_of_a_meters_readings_may_be_wrong_and_the_rest_stay_sure(apart, wrong, monkeypatch):
    off = np.repeat([4.0, 0.0], [apart, 10 - apart])
    monkeypatch.setattr(posterior, "raw_residuals", lambda *_: off)
    monkeypatch.setattr(posterior, "standard_errors", lambda *_: np.ones(10))
    meter, at = SimpleNamespace(meters=np.ones(10, bool)), SimpleNamespace(factors={})
    found = SimpleNamespace(meter=meter, pan=None, place=at)
    posterior.Posterior.scale_meter(found)
    assert found.scale == pytest.approx(1.0 if wrong else (0.3 * 16.0) ** 0.5)


@pytest.mark.parametrize(("spans", "believed"), [(2, 3.0), (3, 4.0)])
def test_a_meter_bears_out_a_count_from_three_spans_on(spans, believed):
    """Of two litres an opening in each; the first count would be off by one."""
    pan = pan_of(counts=[np.nan, *[4.0] * spans], meters=8.0 * np.arange(spans + 1))
    counts, _ = readings.believed_counts(pan, SimpleNamespace(shifts={1: 1.0}))
    assert counts[1] == believed


@pytest.mark.parametrize(
    ("exposure", "grain", "untold"),
    [
        (0.2551, 5.0, set()),
        (0.2549, 5.0, {"exposure"}),
        (3.137, 5.0, set()),
        (3.138, 5.0, {"exposure"}),
        (1.0, 5.01, {"swing"}),
    ],
)
def test_a_log_tells_exposures_between_a_quarter_and_3_2_times_and_a_swing_by_levels_to_half_of_it(
    exposure, grain, untold, monkeypatch
):
    """But for 2 % to either side; a swing of 10 mm."""
    pan = pan_of(counts=[1.0] * 3, levels=[140.0] * 3, meters=[np.nan] * 3, swing=10.0, area=1.0, exposure=1.0)
    at, told = posterior.Place({"exposure": exposure, "refill": 1.0}, 0.0, 1.0, 0.1), dict[str, str]()
    steps = ("time_openings", "follow_meter", "begin", "sample", "scale_meter")
    found = SimpleNamespace(seen=SimpleNamespace(grain_mm=grain), place=at, covariance=np.zeros((3, 3)))
    vars(found).update(dict.fromkeys(steps, lambda *_: None))
    for name, value in {"tally": None, "places": [at], "Posterior": found}.items():
        monkeypatch.setattr(evidence, name, lambda *_, value=value, **more: value)
    evidence.searched(pan, {"refill": (0.0, 0.1), "swing": (0.0, 0.1)}, (0.1, 10.0), told)
    assert set(told) == untold


def test_a_meter_to_come_is_read_over_two_weeks():
    """An opening a day; two readings of whole openings, each rounded evenly."""
    pan = SimpleNamespace(modelled=lambda _: SimpleNamespace(cycles=np.linspace(0.0, 10.0, 240)), wander=0.0)
    known = {"refill": (0.0, 0.0), "swing": (0.0, 0.0)}
    found = SimpleNamespace(covariance=np.diag([0.01, 0.01, 0.01]), known=known, pan=pan, meter=None)
    found.place, found.seen = SimpleNamespace(factors={}), SimpleNamespace(filled=np.zeros(1, bool))
    (worth,) = estimate._worth(found, {}, Uncertainty(), 0.0)
    error = (2.0 / 12.0) ** 0.5 / 14.0
    assert (worth.what, worth.after) == ("meter", pytest.approx((1.0 / (1.0 / 0.02 + 1.0 / error**2)) ** 0.5))


@pytest.mark.parametrize(("readings", "stands"), [(3, True), (2, False)])
def test_a_meter_that_shows_one_number_three_times_while_openings_are_counted_is_left_out(readings, stands, field):
    """The refill flow was fitted to six times the one described; of two readings no refill flow is fitted."""
    found = turned(field, lambda k, _: {"meter": 1000.0 if k < readings else None}, meter=True)
    assert any("the meter shows the same number 3 times, while" in said for said in found.contradictions) == stands
    assert "refill" in found.untold


def test_a_meter_that_stands_still_beside_no_opening_is_no_mistake(field):
    found = turned(field, lambda k, _: {"meter": 1000.0, "openings": 0 if k else None}, meter=True, levels=False)
    assert not any("the same number" in said for said in found.contradictions)


@pytest.mark.parametrize("days", [60, 100])
def test_counts_of_none_where_a_garden_has_some_are_left_out(days, make_garden):
    """They gave a tenth of the exposure, or a swing twice the one described, without a word."""
    found = turned(Field(make_garden, days=days), lambda k, _: {"openings": 0 if k else None})
    assert any("no opening is counted at any visit, where such a garden has" in said for said in found.contradictions)
    assert not found.estimates


def test_readings_further_from_the_model_than_any_of_one_pan_are_refused(field, monkeypatch):
    """20 mm, or five swings, are the most: common practice, no source."""
    found = turned(field, lambda k, _: {})
    monkeypatch.setattr(estimate, "_FAR_SWINGS", 0.0)
    monkeypatch.setattr(estimate, "_FAR_MM", found.rms_after)
    turned(field, lambda k, _: {})
    monkeypatch.setattr(estimate, "_FAR_MM", found.rms_after * 0.999)
    with pytest.raises(ReadingsError, match="levels and counts lie [0-9]+ .*from what the garden does"):
        turned(field, lambda k, _: {})
