"""Which settings are tried: grids, what is owned, swings and emitters by bed."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from panbudget.errors import ScenarioError
from panbudget.studies.size import layouts
from panbudget.studies.size.settings import Setting
from panbudget.units import quantity
from panbudget.words import as_typed, units_shown
from tests.studies.size.made_up import PRESENT, garden_of


@pytest.mark.parametrize(("most", "counts"), [(1.35, {}), (1.36, {"a": 10, "b": 7})])
def test_beds_are_served_together_up_to_35_per_cent_apart(most, counts):
    """Common practice, no source; 10 emitters × 1 ÷ 1.36 are 7.4, and 10 × 1.36 would be 13.6: b's move by fewer."""
    assert layouts._fair_counts({"a": 10, "b": 10}, {"a": 1.0, "b": most}) == counts


def test_a_bed_that_needs_nothing_keeps_its_emitters_and_no_bed_is_left_with_none():
    counts = {"a": 10, "b": 1, "c": 7}
    assert layouts._fair_counts(counts, {"a": 1.0, "b": 5.0, "c": math.inf}) == {"a": 10, "b": 1, "c": 7}
    assert layouts._fair_counts(counts, {"a": 1.0, "b": 0.0, "c": math.inf}) == {}


@pytest.mark.parametrize(
    ("swing", "rounded"), [(0.904, 0.90), (0.906, 0.91), (0.1004, 0.10), (0.0996, 0.1), (0.0564, 0.056), (0.001, 0.005)]
)
def test_a_swing_is_rounded_to_ten_grams_from_a_hundred_on_and_to_one_below(swing, rounded):
    """Common practice, no source: what a kitchen scale can set; 5 g at least."""
    assert layouts._round_swing(swing) == rounded


def test_a_swing_takes_four_fifths_of_the_pans_water_at_most():
    """0.2 m² × (180 − 20) mm are 32 kg; 25.6 of them."""
    assert layouts._swings(Setting(0.2, 180.0, 2.0, 25.599), 20.0)
    assert not layouts._swings(Setting(0.2, 180.0, 2.0, 25.601), 20.0)


def test_containers_stand_alone_by_kind_and_in_pairs_of_kinds():
    """By hand: two bowls and a tray; a dish no deeper than the freeboard is left out."""
    parts = [("bowl", 0.1, 150.0, 2), ("tray", 0.3, 100.0, 1), ("dish", 0.2, 20.0, 1)]
    owned = [SimpleNamespace(name=name, area=area, depth=depth, count=count) for name, area, depth, count in parts]
    assert layouts._combined(owned, 20.0) == [
        (0.1, 150.0, "bowl", 0),
        (0.2, 150.0, "2 × bowl", 1),
        (0.3, 100.0, "tray", 0),
        (pytest.approx(0.4), 100.0, "bowl and tray", 1),
        (0.5, 100.0, "2 × bowl and tray", 2),
    ]


def test_more_ways_to_put_what_is_owned_together_than_can_be_tried_are_refused(monkeypatch):
    """Five groups of two bowls and a tray beside 19 flows are 95; a million bowls are refused before any group is made."""
    kinds = {"vessels": True, "flow": None, "area": 0.1, "depth": 150.0}
    bowls, tray = (SimpleNamespace(name=name, count=count, **kinds) for name, count in (("bowl", 2), ("tray", 1)))
    garden = garden_of([bowls, tray])
    garden.path = "garden.toml"
    monkeypatch.setattr(layouts, "_MOST_TRIED", 95)
    assert len(layouts.laid_out(garden, "upper", PRESENT)) == 95
    monkeypatch.setattr(layouts, "_MOST_TRIED", 94)
    with pytest.raises(ScenarioError, match="owned can be put together in 95 ways"):
        layouts.laid_out(garden, "upper", PRESENT)
    bowls.count = 1_000_000
    with pytest.raises(ScenarioError, match="name fewer, or a smaller count"):
        layouts.laid_out(garden, "upper", PRESENT)


def test_a_free_search_lays_areas_and_flows_out_in_even_steps_from_a_quarter_to_four_times():
    """21 areas beside 19 flows, the present ones in their middle; steps of 4^(1/10) and 4^(1/9)."""
    settings = layouts.laid_out(garden_of(), "upper", PRESENT)
    areas, flows = sorted({each.area for each in settings}), sorted({each.refill_flow for each in settings})
    assert areas == pytest.approx([0.2 * 4.0 ** (step / 10) for step in range(-10, 11)])
    assert flows == pytest.approx([2.0 * 4.0 ** (step / 9) for step in range(-9, 10)])
    assert len(settings) == 21 * 19
    assert {each.label for each in settings} == {""}
    assert {each.depth for each in settings} == {180.0}
    assert {each.swing for each in settings} == {0.9}


def test_a_small_pan_is_laid_out_with_the_swing_that_it_can_lose():
    """0.2 m² × 160 mm × 0.8 are 25.6 kg; at a quarter of the area 6.4 kg; the present 10 kg stay where they can."""
    settings = layouts.laid_out(garden_of(), "upper", PRESENT._replace(swing=10.0))
    assert settings[0].swing == 6.4
    assert settings[-1].swing == 10.0
    assert all(each.swing <= 0.8 * each.area * 160.0 + 0.005 for each in settings)


def test_up_to_three_refill_emitters_of_one_kind_stand_side_by_side_at_the_supplys_pressure():
    """Four drippers of 2 L/h at 25 kPa, of exponent 0.5, on 100 kPa: 4, 8 or 12 L/h; one measured in place stays."""
    dripper = SimpleNamespace(name="dripper", vessels=(), flow=2.0, at=25.0, exponent=0.5, count=4)
    placed = SimpleNamespace(name="drop", vessels=(), flow=3.0, at=None, exponent=0.5, count=1)
    settings = layouts.laid_out(garden_of([dripper, placed]), "upper", PRESENT)
    flows = {each.label: each.refill_flow for each in settings}
    assert flows == {"dripper": 4.0, "2 × dripper": 8.0, "3 × dripper": 12.0, "drop": 3.0}


def test_looking_closer_cuts_a_step_of_the_grid_into_three_to_either_side():
    """Steps of 8 and 27 times: in thirds of them, 2 and 3 times; and the described pan with as much refill for its area."""
    best = PRESENT._replace(area=0.4, refill_flow=3.0)
    closer = layouts.closer(best, PRESENT, np.array([8.0, 27.0]), 20.0)
    grid = [each for each in closer if each.area != 0.2 or each.refill_flow in (3.0 * 3.0**n for n in range(-3, 4))]
    assert sorted({each.area for each in grid}) == pytest.approx([0.4 * 2.0**third for third in range(-3, 4)])
    assert sorted({each.refill_flow for each in grid}) == pytest.approx([3.0 * 3.0**third for third in range(-3, 4)])
    same = {each.refill_flow for each in closer if each.area == 0.2}
    assert {round(1.5 * 3.0**third, 9) for third in range(-3, 4)} <= {round(flow, 9) for flow in same}
    # a pan that can't lose its swing is left out: at 0.025 m² 3.2 kg are the most
    heavy = layouts.closer(PRESENT, PRESENT, np.array([8.0, 27.0]), 171.0)
    assert min(each.area for each in heavy) == pytest.approx(0.2)


def test_owned_pans_or_emitters_are_not_cut_finer():
    assert {each.area for each in layouts.closer(PRESENT, PRESENT, np.array([1.0, 8.0]), 20.0)} == {0.2}
    assert layouts.closer(PRESENT, PRESENT, np.array([1.0, 1.0]), 20.0) == [PRESENT]


def test_other_swings_are_tried_from_a_fifth_to_28_tenths_of_the_present_one():
    assert [each.swing for each in layouts.other_swings(PRESENT, 20.0)] == [0.18, 0.32, 0.45, 0.63, 1.26, 1.8, 2.52]


def test_what_is_judged_is_what_is_printed():
    """Three figures of the area and of the flow as written, 0.8 times that at the supply; what is described stays."""
    odd = PRESENT._replace(area=0.123456, refill_flow=3.33333)
    rounded = layouts.printable(odd, PRESENT, 1.6)
    assert (rounded.area, rounded.refill_flow * 0.8) == (0.123, pytest.approx(2.67))
    exact = PRESENT._replace(area=0.19634954, refill_flow=2.4494897)
    assert layouts.printable(exact._replace(swing=0.5), exact, 2.0) == exact._replace(swing=0.5)
    assert layouts.printable(odd._replace(label="tub"), PRESENT, 1.6).area == 0.123456
    with units_shown("US"):  # and so it is written for whoever thinks in them
        rounded = layouts.printable(odd._replace(area=0.08209, swing=0.7), PRESENT, 1.6)
        assert (as_typed(rounded.area, "area"), as_typed(rounded.swing, "weight")) == ("0.884 ft^2", "1.54 lb")
    assert rounded.area == pytest.approx(quantity("0.884 ft^2", "area"), rel=1e-12)
