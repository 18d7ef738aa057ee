"""What makes one setting better than another, at the bounds, and what its choice can promise: bare outcomes, no replay."""

import numpy as np
import pytest

from panbudget.studies.size import choosing
from tests.studies.size.made_up import PRESENT, judged, wishing


def best_of(*args, **kwargs):
    return choosing.chosen(judged(*args, **kwargs), wishing(stress_days=1))


def test_wishes_kept_as_often_as_asked_come_first_and_more_often_is_no_better():
    """At the bound: 0.9 will do; the thriftiest of those that reach it is best."""
    choice = best_of([50.0, 30.0, 20.0, 10.0], [1.0, 0.95, 0.9, 0.89])
    assert (choice.best, choice.keeps) == (2, True)


def test_where_none_reaches_it_the_highest_share_is_best_and_the_wish_missed_most_is_named():
    misses = [[0.5, 0, 0, 0], [0.1, 0, 0.3, 0], [0.9, 0, 0, 0]]
    choice = best_of([1.0, 5.0, 3.0], [0.5, 0.7, 0.1], missed=misses)
    assert (choice.best, choice.keeps, choice.binding) == (1, False, "openings_a_day")


@pytest.mark.parametrize(("dry_year", "best"), [(8.0, 1), (8.09, 1), (8.1, 2)])
def test_where_none_reaches_it_nothing_is_advised_that_is_worse_in_any_year(dry_year, best):
    """Two years, described 5 and 8 days short: on a tank more water for a year that is wet is less for one that is dry."""
    by_year = [[5.0, 8.0], [0.0, dry_year], [4.0, 7.0]]
    choice = best_of([5.0, 5.0, 5.0], [0.1, 0.7, 0.3], stress=[6.5, 3.0, 5.5], by_year=by_year)
    assert (choice.best, choice.keeps) == (best, False)
    # what keeps the wishes as often as asked has that as its promise
    assert best_of([5.0, 5.0, 5.0], [0.1, 0.9, 0.3], stress=[6.5, 3.0, 5.5], by_year=by_year).best == 1


def test_the_shortlist_has_what_is_worse_in_no_year_first_where_none_reaches_it():
    share = np.linspace(0.1, 0.8, 60)
    by_year = np.where(np.arange(60) < 20, 8.0, 9.0)[:, None]
    found = choosing.shortlist(judged(range(60), share, by_year=by_year), wishing())
    assert {round((setting.area - 0.2) / 0.1) for setting in found} >= set(range(20))


@pytest.mark.parametrize(("share", "best"), [(0.6801, 2), (0.6799, 1)])
def test_where_none_reaches_it_two_cells_in_a_hundred_are_equal(share, best):
    assert best_of([9.0, 5.0, 1.0], [0.1, 0.7, share]).best == best


@pytest.mark.parametrize(("years", "parts"), [(1, 0), (3, 3), (5, 5), (12, 5)])
def test_each_year_is_left_out_once_with_all_its_draws_in_five_parts_at_most(years, parts):
    found = choosing.held_out(years, 2)
    assert len(found) == parts
    assert (sum(found) == 1).all() if parts else found == []


def test_then_the_plants_count_and_a_day_is_as_good_as_none():
    """A mean of 1.0 days against 0.0 is equal, 1.1 is not: then less water wins."""
    assert best_of([90.0, 30.0, 20.0, 10.0], stress=[9.0, 0.0, 1.0, 1.1]).best == 2


@pytest.mark.parametrize(("wish", "best"), [(0, 1), (1, 1), (3, 2)])
def test_as_many_days_as_the_wish_allows_are_equal_and_one_at_least(wish, best):
    found = judged([90.0, 30.0, 20.0, 10.0], stress=[9.0, 0.0, 3.0, 3.1])
    assert choosing.chosen(found, wishing(stress_days=wish)).best == best


def test_a_setting_that_is_equal_but_for_its_days_never_leaves_the_plants_worse_than_described():
    """Described 0.5 days in the mean: one of 0.6 with less water is not taken, one of 0.5 is."""
    choice = best_of([50.0, 10.0, 20.0], stress=[0.5, 0.6, 0.5])
    assert (choice.best, choice.worse) == (2, False)
    # where the described one keeps the wishes too seldom, fewer days than its are not to be had: that is said
    choice = best_of([50.0, 10.0, 20.0], [0.2, 1.0, 1.0], stress=[0.0, 0.6, 0.5])
    assert (choice.best, choice.worse) == (2, True)


def test_then_water_then_openings_then_what_changes_least():
    """2 % more water and a quarter of an opening are equal; of equals the described pan wins over less water."""
    same_pan = PRESENT._replace(refill_flow=1.5)
    settings = [PRESENT, PRESENT._replace(area=0.3, refill_flow=3.0), same_pan, PRESENT._replace(area=0.4)]
    choice = best_of([200.0, 100.0, 102.0, 103.0], often=[2.0, 4.0, 4.25, 2.0], settings=settings)
    assert (choice.best, choice.equal) == (2, (1,))
    assert best_of([200.0, 100.0, 102.03, 103.0], settings=settings).best == 1
    assert best_of([200.0, 100.0, 102.0, 103.0], often=[2.0, 4.0, 4.255, 2.0], settings=settings).best == 1


def test_of_equals_one_tub_wins_over_two_dishes():
    tub, dishes = PRESENT._replace(area=0.3, label="tub"), PRESENT._replace(area=0.29, label="2 × dish", pieces=1)
    assert best_of([200.0, 100.0, 101.0], settings=[PRESENT, dishes, tub]).best == 2


def test_the_described_setting_may_be_the_best():
    choice = best_of([100.0, 99.0], stress=[0.0, 0.0])
    assert (choice.best, choice.equal) == (0, (1,))


def test_the_shortlist_holds_the_thriftiest_at_each_degree_of_safety():
    """Sixty settings, safer with every litre: seven from 0.85 on, then the next seven from 0.89 on, and so on to 1."""
    share = np.linspace(0.4, 0.9999, 60)
    found = choosing.shortlist(judged(range(60), share), wishing())
    places = [round((setting.area - 0.2) / 0.1) for setting in found]
    first = int(np.argmax(share >= 0.85))
    assert len(places) == len(set(places)) == 35
    assert set(range(first, first + 7)) <= set(places)
    assert set(range(first, 60)) <= set(places)


def test_only_the_ten_thriftier_settings_next_to_the_best_say_what_stops_them():
    """Eleven of less water that miss a wish too often: the thriftiest of all misses another than the ten between."""
    litres = [20.0, *np.arange(9.0, 20.0)]
    often, short = [0.0, 0.0, 0.2, 0.0], [0.2, 0.0, 0.0, 0.0]
    share = [1.0, *[0.8] * 11]
    assert best_of(litres, share, missed=[[0] * 4, short, *[often] * 5, *[short] * 5]).binding == "stress_days"
    assert best_of(litres, share, missed=[[0] * 4, short, *[often] * 6, *[short] * 4]).binding == "openings_a_day"
