"""What a log's readings say of each other, where telling it takes many fits: misreadings, counts of some openings, what is measured."""

from __future__ import annotations

import numpy as np
import pytest

from panbudget import replay
from panbudget.season.layout import prepare
from panbudget.studies.fit.estimate import fit, fit_controller
from tests.studies.fit.test_estimate import Field, true_garden, values
from tests.studies.fit.test_evidence import TRUTH, litres_off, turned

JUG = 2.1 * 1.5**0.5  # at 150 kPa [L/h]


@pytest.fixture
def field(make_garden):
    return Field(make_garden, days=30)


def test_meter_readings_that_agree_among_themselves_are_not_set_aside(field):
    """Over the second half of the log every opening lets a fifth more through: neither half is a misreading."""
    later = {}

    def more(k, visit):
        later.setdefault("from", visit.meter if k >= 5 else None)
        if k == 5:
            later["from"] = visit.meter
        return {"meter": visit.meter + (0.2 * (visit.meter - later["from"]) if k > 5 else 0.0)}

    plain, found = turned(field, lambda k, visit: {}, meter=True), turned(field, more, meter=True)
    assert found.readings["set_aside"].sum() == 0
    assert any("the meter's readings disagree with each other" in said for said in found.contradictions)
    assert np.ptp(np.log(found.ranges["litres"])) > 2.0 * np.ptp(np.log(plain.ranges["litres"]))
    assert plain.contradictions == ()


def test_the_range_holds_the_refill_flow_and_swing_that_nobody_measured_and_narrows_by_what_is(field):
    """
    Refill and the bed's emitters ±10 %, swing ±5 %, evenly: 90 % within ±14 %; by jug ±3 % for the refill's 10; by a meter
    what counts leave.
    """
    log = field.log(TRUTH, levels=False, every=3.0)
    forcing = prepare(field.garden, field.weather, log.first, log.last)

    def half(**measured):
        found = fit_controller(field.garden, forcing, 0, log.visits["upper"], measured=measured)
        off, low, high = litres_off(found)
        assert low < off < high
        return 0.9 * (high - low) / 2.0, found

    (plain, found), (by_jug, jugged), (by_both, both) = half(), half(refill=JUG), half(refill=JUG, swing=0.88)
    assert 0.125 < plain < 0.16
    assert 0.085 < by_both < by_jug < 0.125  # emitters of a bed alone: ±9 %
    assert values(jugged)["refill"] == pytest.approx(2.1, rel=0.01)
    assert values(both)["swing"] == pytest.approx(0.88, rel=0.01)
    # what was foretold of each is what came of it
    worth = {one.what: one.after / one.before for one in found.worth}
    assert worth["jug"] == pytest.approx(by_jug / plain, abs=0.12)
    assert worth["jug-and-weighings"] == pytest.approx(by_both / plain, abs=0.12)
    assert [one.after for one in found.worth] == sorted(one.after for one in found.worth)
    assert {one.what for one in both.worth} == {"meter"}


def test_counts_of_every_third_opening_are_told_by_the_meter(field):
    found = turned(field, lambda k, visit: {"openings": visit.openings // 3}, meter=True)
    assert "the counts look wrong and are left out" in found.contradictions[0]
    assert abs(litres_off(found)[0]) < 0.08


def test_what_the_log_can_t_tell_is_said(make_garden):
    """Counts alone tell exposure over swing; without a meter nothing tells the refill flow."""
    field = Field(make_garden)
    found = field.fitted({"exposure": 0.9, "swing": 1.1}, levels=False)
    assert [estimate.name for estimate in found.estimates] == ["exposure"]
    assert values(found)["exposure"] == pytest.approx(0.9 * 0.9 / 1.1, rel=0.03)
    assert "levels by ruler" in found.untold["swing"]
    assert "a meter" in found.untold["refill"]
    held = field.fitted({"exposure": 0.9, "swing": 1.1}, every=1.0, level_error=0.4, hold=("swing",))
    assert held.untold["swing"] == "as asked"


def test_a_fit_gives_an_overlay_that_brings_the_season_nearer(make_garden, tmp_path):
    field = Field(make_garden)
    log = field.log({"exposure": 0.75, "refill": 1.8}, meter=True)
    found = fit(field.garden, log, weather=field.weather)
    (tmp_path / "fitted.toml").write_text(found.toml, encoding="utf-8")
    there = field.garden.with_variant(str(tmp_path / "fitted.toml"))
    assert there.controller["upper"].pan.exposure == pytest.approx(0.75, rel=0.03)
    assert there.controller["upper"].valve.refill.flow == pytest.approx(1.8, rel=0.03)
    assert there.controller["upper"].valve.refill.at == 100.0  # the rest of the emitter stays
    truth = replay(true_garden(field.garden, 0.75, 1.8), weather=field.weather).totals["controllers"]["upper"]["litres"]
    before, after = (s.totals["controllers"]["upper"]["litres"] for s in (found.before, found.after))
    assert abs(after - truth) < 0.2 * abs(before - truth)
    one = found.controllers["upper"]
    assert one.rms_after < 0.5 * one.rms_before
