"""What a sweep comes to, at the bounds: dependable values, the design that suits, and lines of a site. Worked by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.studies.sweep.summary import _chosen, _summed, csv_bytes, dependable, mapped, suits_table


@pytest.mark.parametrize(
    ("years", "level", "high", "low"),
    [
        (4, "four_in_five", np.nan, np.nan),
        (5, "four_in_five", 4.8, 1.2),
        (10, "four_in_five", 8.8, 2.2),
        (9, "nine_in_ten", np.nan, np.nan),
        (10, "nine_in_ten", 9.9, 1.1),
        (11, "nine_in_ten", 10.8, 1.2),
        (19, "nine_in_ten", 18.0, 2.0),
    ],
)
def test_a_dependable_value_stands_at_weibulls_plotting_position(years, level, high, low):
    """
    Of years of 1, 2, 3 …, not in order, the kth stands at k/(n + 1): Weibull (1939), as Makkonen, L. (2006), Plotting
    positions in extreme value analysis, J. Appl. Meteorol. Climatol. 45, 334–340, gives it. Worked by hand.
    """
    values = np.roll(np.arange(1.0, years + 1.0), 2)
    assert float(dependable(values, level, high_is_bad=True)) == pytest.approx(high, nan_ok=True)
    assert float(dependable(values, level, high_is_bad=False)) == pytest.approx(low, nan_ok=True)


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
    ("years", "four_in_five", "nine_in_ten"), [(4, np.nan, np.nan), (5, 4.8, np.nan), (9, 8.0, np.nan), (10, 8.8, 9.9)]
)
def test_five_years_tell_four_in_five_and_ten_tell_nine_in_ten(years, four_in_five, nine_in_ten):
    rising = np.tile(np.arange(1.0, years + 1.0), 2)
    beds, _ = _summed(site(years, litres=rising, driest_adequacy=-rising))
    line = beds.iloc[1]
    assert line["litres_mean"] == pytest.approx((years + 1) / 2)
    found = line[["litres_four_in_five", "litres_nine_in_ten"]].to_numpy(float)
    np.testing.assert_allclose(found, [four_in_five, nine_in_ten])
    # of an adequacy a low value is the bad one
    reached = line[["driest_adequacy_four_in_five", "driest_adequacy_nine_in_ten"]].to_numpy(float)
    np.testing.assert_allclose(reached, [-four_in_five, -nine_in_ten])


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


@pytest.mark.parametrize(("years", "judged", "levels"), [(4, 4, [0, 0]), (9, 9, [1, 0]), (10, 9.9, [1, 1])])
def test_a_design_is_judged_by_nine_years_in_ten_or_by_the_highest_of_fewer(years, judged, levels):
    rising = np.tile(np.arange(1.0, years + 1.0), 2)
    _, designs = _summed(site(years, litres=rising / 2.0, driest_stress_days=rising))
    (choice,) = _chosen(designs, 3)
    assert (choice.litres, choice.stress_days) == pytest.approx((judged, judged))
    assert choice.judged_by == ("nine years in ten" if years == 10 else f"highest of {years}")
    line = suits_table([choice]).iloc[0]
    assert line["stress_days_judged"] == pytest.approx(judged)
    found = line[["litres_four_in_five", "litres_nine_in_ten"]].notna().tolist()
    assert found == line[["stress_days_four_in_five", "stress_days_nine_in_ten"]].notna().tolist() == levels


@pytest.fixture(scope="module")
def parts(tmp_path_factory):
    """Two beds (1 and 3 m²) behind one valve, nine years of 1 to 9."""
    rising = np.tile(np.arange(1.0, 10.0), 2)
    area = np.repeat([1.0, 3.0], 9)
    more = {"area_m2": area, "irrigation_mm": rising * area, "stress_days": rising * area, "openings": rising}
    # the first bed needs nothing in the last year, the second in the last two
    ratio = rising.copy()
    ratio[[8, 16, 17]] = np.nan
    more |= {"supply_over_demand": ratio, "adequacy": 1.0 / (rising * area), "eto_mm": rising}
    table = site(9, **more, litres=rising * area)
    path = tmp_path_factory.mktemp("parts") / "part-000000.parquet"
    table.to_parquet(path)
    return [path]


@pytest.mark.parametrize(
    ("column", "by_year"),
    [
        ("irrigation_mm", 2.5),  # (1 · 1 + 3 · 3) / 4, by area
        ("litres", 4.0),  # of both beds
        ("stress_days", 3.0),  # the neediest
        ("openings", 1.0),  # of one valve, once
        ("eto_mm", 1.0),
    ],
)
def test_a_map_takes_a_column_over_beds_and_years(parts, column, by_year):
    assert mapped(parts, column, None)["value"].tolist() == pytest.approx([5.0 * by_year])
    assert mapped(parts, column, 0.9)["value"].tolist() == pytest.approx([9.0 * by_year])  # the ninth of nine, at 9/10
    assert mapped(parts, column, 0.75)["value"].tolist() == pytest.approx([7.5 * by_year])


def test_a_mean_over_beds_is_of_those_that_have_a_value(parts):
    """Of eight years, 1 to 8: in the last of them of the first bed alone; in the ninth of none."""
    assert mapped(parts, "supply_over_demand", None)["value"].tolist() == pytest.approx([4.5])


def test_a_quantile_beyond_its_years_is_unknown(parts):
    assert mapped(parts, "adequacy", 0.1)["value"].tolist() == pytest.approx([1.0 / 27.0])  # the lowest bed's, at 1/10
    assert mapped(parts, "litres", 0.91)["value"].isna().all()
    assert mapped(parts, "litres", 0.09)["value"].isna().all()
