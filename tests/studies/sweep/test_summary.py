"""What a sweep comes to, at the bounds: dependable values, the design that suits, and lines of a site. Worked by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.studies.sweep.summary import _chosen, _summed, csv_bytes, dependable


@pytest.mark.parametrize(
    ("years", "share", "high", "low"),
    [(5, 0.8, 4, 2), (10, 0.8, 8, 3), (10, 0.9, 9, 2), (11, 0.9, 10, 2), (20, 0.9, 18, 3), (3, 1.0, 3, 1)],
)
def test_a_dependable_value_is_that_of_the_year_that_completes_the_share(years, share, high, low):
    """Years of 1, 2, 3 …, not in order: so many of them, counted from the good end; a share of a year is a whole one."""
    values = np.roll(np.arange(1.0, years + 1.0), 2)
    assert float(dependable(values, share, high_is_bad=True)) == high
    assert float(dependable(values, share, high_is_bad=False)) == low


def site(years, *, designs=("base",), beds=("herbs", "beans"), **columns):
    """Rows of one site as a part holds them: design by design, bed by bed, year after year."""
    rows = [
        {"site": "yard", "design": design, "controller": "upper", "bed": bed, "year": 2001 + year}
        for design in designs
        for bed in beds
        for year in range(years)
    ]
    usual = dict.fromkeys(("litres", "irrigation_mm", "net_demand_mm", "driest_stress_days", "driest_adequacy"), 0.0)
    place = {"latitude": 38.0, "longitude": -9.0, "elevation_m": 10.0}
    return pd.DataFrame(rows).assign(**{**usual, "refilled_kg": 0.0, **place, **columns})


@pytest.mark.parametrize(
    ("years", "four_in_five", "nine_in_ten"), [(4, np.nan, np.nan), (5, 4.0, np.nan), (9, 8.0, np.nan), (10, 8.0, 9.0)]
)
def test_five_years_tell_four_in_five_and_ten_tell_nine_in_ten(years, four_in_five, nine_in_ten):
    rising = np.tile(np.arange(1.0, years + 1.0), 2)
    beds, _ = _summed(site(years, litres=rising, driest_adequacy=-rising))
    line = beds.iloc[1]
    assert line["litres_mean"] == pytest.approx((years + 1) / 2)
    found = line[["litres_four_in_five", "litres_nine_in_ten"]].to_numpy(float)
    np.testing.assert_array_equal(found, [four_in_five, nine_in_ten])
    # of an adequacy a low value is the bad one
    reached = line[["driest_adequacy_four_in_five", "driest_adequacy_nine_in_ten"]].to_numpy(float)
    np.testing.assert_array_equal(reached, [-four_in_five, -nine_in_ten])


def test_a_designs_water_is_its_beds_and_its_pans_refill_once_and_its_stress_the_neediest_beds():
    """Two beds of 10 and 30 L behind one pan that took 4 kg; 2 and 5 days short; the same in each of two years."""
    rows = site(
        2,
        designs=("base", "wide"),
        litres=[10.0, 10.0, 30.0, 30.0, 1.0, 1.0, 3.0, 3.0],
        refilled_kg=4.0,
        driest_stress_days=[2.0, 2.0, 5.0, 5.0, 0.0, 0.0, 1.0, 1.0],
    )
    _, designs = _summed(rows)
    assert designs[["design", "litres", "stress_days", "years"]].to_numpy().tolist() == [
        ["base", 44.0, 5.0, 2],
        ["wide", 8.0, 1.0, 2],
    ]


def chosen(*designs, wish=3):
    """Choose between designs, each its name, litres and stress days."""
    table = pd.DataFrame(designs, columns=["design", "litres", "stress_days"])
    (choice,) = _chosen(table.assign(site="yard", latitude=38.0, longitude=-9.0, years=10), wish)
    return choice.design, choice.keeps


def test_the_thriftiest_design_that_keeps_the_wish_is_chosen_and_else_the_one_least_short():
    assert chosen(("a", 90.0, 0.0), ("b", 80.0, 3.0), ("c", 10.0, 4.0)) == ("b", True)  # at the wish it is kept
    assert chosen(("a", 90.0, 5.0), ("b", 80.0, 7.0)) == ("a", False)
    assert chosen(("a", 90.0, 5.0), ("b", 80.0, 5.0)) == ("b", False)  # of equals the thriftier
    assert chosen(("a", 80.0, 0.0), ("b", 80.0, 1.0)) == ("a", True)  # and the first
    assert _chosen(pd.DataFrame(columns=["site"]), 3) == []


def test_only_the_first_piece_of_a_table_has_its_header():
    table = pd.DataFrame({"a": [1.5]})
    assert csv_bytes(table).splitlines() == [b"a", b"1.5"]
    assert csv_bytes(table, header=False).splitlines() == [b"1.5"]
