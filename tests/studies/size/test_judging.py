"""What settings come to beside the wishes, at the bounds: bare outcomes, no replay."""

import dataclasses
import itertools

import numpy as np
import pytest

from panbudget.studies.size import judging
from panbudget.studies.size.settings import Setting
from tests.studies.size.made_up import PRESENT, joined_draws, judged_over, outcome, wishing


def missed(*outcomes, **wishes):
    """In what share of the cells each wish is missed."""
    judged = judged_over(wishing(**wishes), [Setting(0.2, 180.0, 2.0, 0.9)], outcomes)
    return dict(zip(judging.WISHES, judged.missed[0].tolist(), strict=True))


@pytest.mark.parametrize(
    ("wish", "values", "wishes", "by"),
    [
        ("stress_days", {"stress_days": 4.0}, {}, False),
        ("stress_days", {"stress_days": [3.0, 5.0]}, {}, True),  # of the bed that suffers most
        ("stress_days", {"stress_days": 1.0}, {"stress_days": 0}, True),
        ("litres", {"litres": 100.0}, {"litres": 100.0}, False),
        ("litres", {"litres": 100.1}, {"litres": 100.0}, True),
        ("openings_a_day", {"openings_a_day": 4.0}, {}, False),
        ("openings_a_day", {"openings_a_day": 4.1}, {}, True),
        ("openings_a_day", {"openings_a_day": 1.0}, {}, False),
        ("openings_a_day", {"openings_a_day": 0.9}, {}, True),
        ("openings_a_day", {"openings_a_day": 0.0}, {"openings_a_day": (0.0, 4.0)}, False),
        ("when", {"daylight_openings": 0.05}, {"when": "night"}, False),  # one in twenty: common practice, no source
        ("when", {"daylight_openings": 0.0501}, {"when": "night"}, True),
        ("when", {"daylight_openings": 0.30}, {}, False),
    ],
)
def test_a_wish_is_missed_beyond_the_bound_and_not_at_it(wish, values, wishes, by):
    """Worked by hand."""
    found = missed(outcome(**values), **wishes)
    assert found.pop(wish) == by
    assert set(found.values()) == {0.0}


def test_beside_what_is_described_the_garden_is_looked_at_a_little_off_on_every_side():
    """A tenth of exposure and a twentieth of refill flow; our choice, no source."""
    near = judging.near_draws(2)
    corners = {(1.0, 1.0), *itertools.product((0.9, 1.1), (0.95, 1.05))}
    assert set(zip(near.exposure.tolist(), near.refill_flow.tolist(), strict=True)) == corners
    assert (near.swing.tolist(), near.emitters.tolist()) == ([1.0] * 5, [[1.0] * 2] * 5)


def test_hours_held_open_or_dry_are_shown_and_count_for_no_wish():
    years = [outcome(stuck_hours=1.0, dry_hours=0.25), outcome(stuck_hours=30.0)]
    found = judged_over(wishing(), [PRESENT], years)
    assert (found.share[0], found.stuck_hours[0], found.dry_hours[0]) == (1.0, 30.0, 0.25)


def test_every_year_with_every_draw_is_a_cell_and_one_missed_wish_spoils_it():
    """Two years of two draws by hand: one cell misses the days, another both days and openings."""
    first = joined_draws(outcome(stress_days=5.0), outcome())
    second = joined_draws(outcome(stress_days=9.0, openings_a_day=9.0), outcome(stress_days=2.0))
    found = judged_over(wishing(), [PRESENT], [first, second])
    assert found.share.tolist() == [0.5]
    assert found.missed[0].tolist() == [0.5, 0.0, 0.25, 0.0]
    assert (found.mean_stress[0], found.stress_days[0]) == (4.0, 9.0)


@pytest.mark.parametrize(("years", "value"), [(1, 1), (2, 2), (9, 9), (10, 9), (11, 10), (20, 18), (21, 19)])
def test_nine_cells_in_ten_do_not_exceed_it_and_of_few_none(years, value):
    """Cells of 1, 2, 3 …: the lowest with at least nine tenths of them at or below it."""
    assert judging._mostly(np.arange(1.0, years + 1.0)[None], 0.9).tolist() == [value]


def test_over_the_years_litres_and_adequacy_are_means_and_the_neediest_bed_counts():
    """By hand: two settings, two beds, two years."""
    years = [
        outcome(litres=[100.0, 10.0], adequacy=[[0.9, 0.5], [1.0, 0.8]], stress_days=[[1.0, 4.0], [0.0, 0.0]]),
        outcome(litres=[200.0, 30.0], adequacy=[[0.7, 0.8], [0.6, 1.0]], stress_days=[[2.0, 3.0], [5.0, 0.0]]),
    ]
    alike = ("openings_a_day", "open_hours", "starved_hours", "stuck_hours", "dry_hours", "daylight_openings", "wasted")
    years = [dataclasses.replace(year, **dict.fromkeys(alike, np.zeros((2, 1)))) for year in years]
    found = judged_over(wishing(), [PRESENT, PRESENT], years)
    assert found.litres.tolist() == [150.0, 20.0]
    assert found.wet_litres.tolist() == [200.0, 30.0]
    assert found.adequacy == pytest.approx([0.6, 0.7])
    assert found.stress_days.tolist() == [4.0, 5.0]


@pytest.mark.parametrize(
    ("fails", "margin"),
    [
        ([], (0.4, 2.0)),
        ([1.0], None),
        ([0.95, 1.1], (1.0, 1.05)),
        ([0.5, 0.6, 1.9], (0.65, 1.85)),  # without a break
    ],
)
def test_a_margin_reaches_to_the_last_factor_before_a_bed_falls_short(fails, margin):
    holds = ~np.isclose(judging.SCAN[:, None], fails).any(axis=1) if fails else np.ones(len(judging.SCAN), bool)
    assert (
        judging.around(dict(zip(judging.SCAN.tolist(), holds.tolist(), strict=True)).__getitem__, judging.SCAN)
        == margin
    )
