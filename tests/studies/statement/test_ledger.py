"""A source's ledger: it is season.json and the list of openings added up, in every unit, and holds a licence to it."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from panbudget import replay, scenario_from
from panbudget.season.totals import rates_by_day
from panbudget.studies.statement.ledger import _year_label, beyond, largest_rate, litres_by_day, sources_of
from panbudget.studies.statement.units_of_form import VOLUME_UNITS
from tests.small_weather import weather_csv


def by_hand(season):
    """Litres by month from the list of openings alone: minutes × flow, parted at midnight."""
    first = season.days.index[0].date()
    flow = {name: part.refill_flow + sum(part.bed_flows.values()) for name, part in season.forcing.pan_of.items()}
    months: dict[str, float] = {}
    for row in season.openings.itertuples():
        end = row.end_h if row.end_h == row.end_h else 24.0 * len(season.days)
        at = row.start_h
        while at < end:
            stop = min((at // 24.0 + 1.0) * 24.0, end)
            key = f"{first + dt.timedelta(days=int(at // 24.0)):%Y-%m}"
            months[key] = months.get(key, 0.0) + (stop - at) * flow[row.controller]
            at = stop
    return months


@pytest.mark.parametrize("unit", VOLUME_UNITS)
def test_every_unit_is_the_openings_list_and_season_json_added_up(state, unit):
    made = state({"volume_unit": unit})
    ledger = made.accounts[0].ledger
    totals = made.season.totals["supplies"]["spring"]
    hand = by_hand(made.season)
    size, decimals = float(VOLUME_UNITS[unit].size), ledger.decimals
    assert list(ledger.months["month"]) == list(totals["by_month"]) == list(hand)
    for month in ledger.months.itertuples():
        assert month.modelled_litres == totals["by_month"][month.month]
        assert month.modelled_litres == pytest.approx(hand[month.month], rel=1e-9)
        assert abs(float(month.modelled) - hand[month.month] / size) < 1.0 / 10**decimals
    assert ledger.litres == totals["litres"]
    total = sum(ledger.months["modelled"], Decimal(0))
    assert total == ledger.modelled
    assert float(total) == pytest.approx(totals["litres"] / size, abs=0.5000001 / 10**decimals)


def test_a_season_over_new_year_and_a_southern_water_year(state):
    """November to March lies whole in a water year from July, and in two from January."""
    south = {"site": {"latitude": -35.0}, "controller": {"upper": {"bed": {"tomatoes": {"planted": "2024-11-05"}}}}}
    more = {"days": 151, "start": dt.date(2024, 11, 1), "overlay": south}
    july = state({"water_year_start": 7, "volume_unit": "m^3"}, **more).accounts[0].ledger
    assert list(july.years.index) == ["July 2024 to June 2025"]
    assert list(july.months["month"]) == ["2024-11", "2024-12", "2025-01", "2025-02", "2025-03"]
    january = state({"volume_unit": "m^3"}, **more).accounts[0].ledger
    assert list(january.years.index) == ["2024", "2025"]
    assert january.months.groupby("water_year").size().tolist() == [2, 3]
    assert january.litres == july.litres
    assert sum(january.years["modelled"]) == july.modelled
    for label, months in january.months.groupby("water_year"):
        assert sum(months["modelled"]) == january.years.loc[label, "modelled"]


def test_each_water_year_has_the_whole_licence(state):
    """The volume is for a water year: what is drawn before New Year does not count after it."""
    south = {"site": {"latitude": -35.0}, "controller": {"upper": {"bed": {"tomatoes": {"planted": "2024-11-05"}}}}}
    ledger = state({"volume": "50 m^3"}, days=90, start=dt.date(2024, 11, 15), overlay=south).accounts[0].ledger
    first, _ = ledger.years.itertuples()
    first_months, second_months = (months for _, months in ledger.months.groupby("water_year"))
    assert first_months["headroom"].iloc[-1] == 50_000 - first.reported == first.headroom
    assert second_months["headroom"].iloc[0] == 50_000 - second_months["reported"].iloc[0]
    assert first.share_used == pytest.approx(first.reported_litres / 50_000)


def test_a_licence_exceeded_in_the_third_month_is_dated_to_the_day(state):
    """Licensed: what May and June draw, and half of July's first fortnight. The date, by adding up days by hand."""
    free = state(None).accounts[0].ledger
    daily = free.days["modelled"].to_numpy()
    volume = float(daily[:61].sum() + daily[61:75].sum() / 2.0)
    made = state({"volume": f"{volume!r} L", "volume_unit": "L"})
    ledger = made.accounts[0].ledger
    running, expected = 0.0, None
    for index, litres in enumerate(daily):
        running += litres
        if running > volume:
            expected = dt.date(2025, 5, 1) + dt.timedelta(days=index)
            break
    assert expected is not None and expected.month == 7
    assert ledger.years["exceeded_on"].iloc[0] == expected
    headroom = ledger.months["headroom"].tolist()
    assert headroom[0] > headroom[1] > 0 > headroom[2]
    licence, used = ledger.licensed, 0
    for month in ledger.months.itertuples():
        used += month.reported
        assert month.headroom == licence - used
    codes = {finding.code: finding for finding in made.findings}
    assert codes["licence-exceeded"].severity == "danger"
    assert codes["licence-exceeded"].first == expected.isoformat()


def test_a_licence_that_is_enough_is_not_exceeded(state):
    made = state({"volume": "900 m^3", "rate": "900 L/h", "area": "90 m^2"})
    assert made.accounts[0].ledger.years["exceeded_on"].iloc[0] is None
    assert made.findings == ()


def test_a_licence_used_up_to_the_litre_is_not_exceeded(state, tmp_path):
    """60 m³ is 59 999.99999999999 L in floats, and 160 m³ less 100 m³ something else: neither is a litre too many."""
    file = meter(tmp_path, "2025-05-01,100,m^3\n2025-08-01,160,m^3\n")
    made = state({"volume": "60 m^3", "area": "0.0012 ha"}, readings=file)
    assert made.accounts[0].ledger.years["exceeded_on"].iloc[0] is None
    assert {finding.code for finding in made.findings} == {"licence-near", "meter-apart", "reading-unlikely"}


@pytest.mark.parametrize(("share", "said"), [(0.95, True), (0.901, True), (0.899, False)])
def test_nine_tenths_of_a_licence_are_said(state, share, said):
    litres = state(None).accounts[0].ledger.litres
    made = state({"volume": f"{litres / share!r} L"})
    assert [finding.code for finding in made.findings] == ["licence-near"] * said


def test_rate_season_and_area_are_held_to_the_licence(state):
    made = state({"rate": "1 L/h", "area": "11 m^2", "season": {"start": "05-11", "end": "12-31"}})
    codes = {finding.code: finding for finding in made.findings}
    assert set(codes) == {"rate-exceeded", "area-exceeded", "out-of-season"}
    ledger = made.accounts[0].ledger
    early = ledger.days["modelled"].to_numpy()[:10]
    assert len(ledger.outside) == codes["out-of-season"].days == int((early > 0).sum())
    assert ledger.outside.sum() == pytest.approx(early.sum())
    assert ledger.outside.index[0].date() == dt.date(2025, 5, 1) + dt.timedelta(days=int(np.flatnonzero(early)[0]))


def test_a_licensed_season_may_run_over_new_year(state):
    assert state({"season": {"start": "10-01", "end": "07-31"}}).findings == ()
    made = state({"season": {"start": "10-01", "end": "05-31"}})
    assert made.accounts[0].ledger.outside.index[0].month == 6


def test_the_largest_rate_is_season_jsons_and_dated_by_its_first_opening(state):
    made = state(None)
    account = made.accounts[0]
    rate, when = largest_rate(made.season, account.source)
    assert rate == made.season.totals["supplies"]["spring"]["peak_rate_l_per_h"]
    assert when == f"{made.season.openings['start'].iloc[0]:%Y-%m-%d}"
    peak = account.ledger.days["modelled"].idxmax()
    assert f"{peak:%Y-%m-%d}" == made.season.totals["supplies"]["spring"]["peak_day"]["date"]


def test_days_of_use_are_days_with_the_valve_open(state):
    made = state(None)
    hours = made.season.controllers["upper"]["open_hours"]
    assert made.accounts[0].ledger.months["days_of_use"].sum() == (hours > 0).sum()


def test_a_season_in_which_nothing_ran_is_a_statement_of_nothing(state):
    made = state({"volume": "1 m^3"}, pan=0.0, days=10)
    ledger = made.accounts[0].ledger
    assert (ledger.modelled, ledger.months["days_of_use"].sum(), made.accounts[0].rate) == (0, 0, 0.0)
    assert made.accounts[0].rate_date == ""
    assert made.findings == ()


def meter(tmp_path, text):
    path = tmp_path / "meter.csv"
    path.write_text("date,reading,unit\n" + text, encoding="utf-8")
    return path


def test_metered_months_replace_modelled_ones_and_both_are_kept(state, tmp_path):
    """May by the meter: 4 000 L. June half by it, half by the model. July: modelled, at the meter's ratio: it counts twice."""
    file = meter(tmp_path, "2025-05-01,10,m^3\n2025-06-01,14,m^3\n2025-06-16,16,m^3\n")
    ledger = state({"volume": "100 m^3"}, readings=file).accounts[0].ledger
    may, june, july = ledger.months.itertuples()
    assert (may.basis, june.basis, july.basis) == ("metered", "metered in part", "modelled, at the meter's ratio")
    ratio = 6000.0 / ledger.days["modelled"].iloc[:46].sum()
    assert ledger.metered.ratio == pytest.approx(ratio) and ratio > 1.5 and not ledger.metered.agrees
    assert (may.metered_days, june.metered_days, july.metered_days) == (31.0, 15.0, 0.0)
    assert may.metered_litres == may.reported_litres == pytest.approx(4000.0)
    assert may.modelled_litres != may.reported_litres
    assert june.metered_litres == pytest.approx(2000.0)
    rest = ledger.days["modelled"].iloc[46:61].sum()  # 16 to 30 June
    assert june.reported_litres == pytest.approx(2000.0 + ratio * rest)
    assert july.reported_litres == pytest.approx(ratio * july.modelled_litres)
    assert np.isnan(july.metered_litres) and july.metered is None
    assert sum(ledger.months["reported_litres"]) == pytest.approx(6000.0 + ratio * (rest + july.modelled_litres))
    assert ledger.reported == sum(ledger.months["reported"])
    assert may.headroom == 96_000
    assert ledger.days["reported"].iloc[:31].sum() == pytest.approx(4000.0)


def test_a_last_reading_on_the_last_day_leaves_only_that_day_to_the_model(state, tmp_path):
    """No hour: the day's start, so that 30 of May's 31 days are metered; written 24:00, all of them are."""
    early = meter(tmp_path, "2025-05-01,10,m^3\n2025-05-31,11.8,m^3\n")
    ledger = state(None, days=31, readings=early).accounts[0].ledger
    (may,) = ledger.months.itertuples()
    assert (may.basis, may.metered_days) == ("metered in part", 30.0)
    assert ledger.metered.ratio == 1.0  # inside the model's range
    assert may.reported_litres == pytest.approx(1800.0 + ledger.days["modelled"].iloc[30])
    assert ledger.days["reported"].iloc[:30].sum() == pytest.approx(1800.0)
    assert ledger.days["reported"].sum() == pytest.approx(may.reported_litres)
    late = meter(tmp_path, "2025-05-01,10,m^3\n2025-05-31 24:00,14,m^3\n")
    (may,) = state(None, days=31, readings=late).accounts[0].ledger.months.itertuples()
    assert (may.basis, may.reported_litres) == ("metered", pytest.approx(4000.0))


def test_a_meter_decides_when_a_licence_is_exceeded(state, tmp_path):
    file = meter(tmp_path, "2025-05-01,0,m^3\n2025-06-01,50,m^3\n")
    ledger = state({"volume": "25 m^3"}, readings=file).accounts[0].ledger
    assert ledger.years["exceeded_on"].iloc[0].month == 5


def test_a_valve_open_on_an_empty_tank_is_no_day_of_use(state):
    """200 L and no roof: after some days the valve stands open for good and nothing comes."""
    tank = {"kind": "tank", "pressure": None, "volume": "200 L", "footprint": "0.2 m^2", "outlet_height": "2 m"}
    made = state(None, overlay={"supply": {"spring": tank}}, days=31)
    ledger, table = made.accounts[0].ledger, made.season.controllers["upper"]
    assert (table["open_hours"] > 0.0).sum() > (table["litres"] > 0.0).sum() > 0
    assert ledger.months["days_of_use"].sum() == (table["litres"] > 0.0).sum()


@pytest.mark.parametrize(
    ("system", "right", "units"),
    [
        ("metric", {}, ("L", "L/h", "m^2")),
        ("US", {}, ("gal", "gal/h", "ft^2")),
        ("US", None, ("gal", "gal/h", "ft^2")),
        ("US", {"volume_unit": "L", "area_unit": "acre"}, ("L", "gal/h", "acre")),
    ],
)
def test_a_form_whose_units_nobody_says_is_in_those_of_the_pages(make_garden, system, right, units):
    garden = make_garden(
        {"show": {"units": system}} | ({} if right is None else {"supply": {"spring": {"right": right}}})
    )
    (source,) = sources_of(replay(garden))
    read = source.right
    assert (read.volume_unit, read.rate_unit, read.area_unit) == units
    assert source.described == (right is not None)


@pytest.mark.parametrize("split", ["emitters", "area"])
def test_shares_add_up_and_days_are_the_valves(make_garden, split):
    garden = make_garden(weather=weather_csv(20))
    raw = dict(garden.described)
    beds = raw["controller"]["upper"]["bed"]
    beds["beans"] = {**beds["tomatoes"], "area": "4 m^2"}
    beds["chard"] = {**beds["tomatoes"], "area": "8 m^2"}
    right = {"further": {"a": {"beds": ["upper/beans"]}, "b": {"beds": ["upper/chard"]}}}
    raw["supply"] = {"spring": {"pressure": "150 kPa", "right": right}, "tap": {"pressure": "300 kPa"}}
    season = replay(scenario_from({**raw, "statement": {"split": split}}, garden.path))
    sources = list(sources_of(season))
    assert [source.name for source in sources] == ["spring", "spring / a", "spring / b", "tap"]
    assert sum(source.shares.get("upper", 0.0) for source in sources) == pytest.approx(1.0, rel=1e-15)
    expected = {"emitters": [1 / 3, 1 / 3, 1 / 3], "area": [12 / 24, 4 / 24, 8 / 24]}[split]
    assert [source.shares["upper"] for source in sources[:3]] == pytest.approx(expected)
    assert sources[3].shares == {} and not sources[3].described
    together = np.sum([source.drawn(litres_by_day(season)) for source in sources], axis=0)
    assert together == pytest.approx(season.controllers["upper"]["litres"].to_numpy(), rel=1e-12)


@pytest.mark.parametrize(
    ("month", "start", "label"),
    [
        ("2025-07", 7, "July 2025 to June 2026"),
        ("2025-06", 7, "July 2024 to June 2025"),
        ("2025-12", 12, "December 2025 to November 2026"),
        ("2025-01", 2, "February 2024 to January 2025"),
        ("2025-01", 1, "2025"),
    ],
)
def test_a_water_year_is_named_by_its_first_and_last_month(month, start, label):
    assert _year_label(month, start) == label


def test_a_figure_passes_a_limit_by_more_than_a_billionth_of_it():
    assert not beyond(1000.0 + 0.9e-6, 1000.0)
    assert beyond(1000.0 + 1.1e-6, 1000.0)


def test_valves_rates_add_while_they_are_open_and_one_that_shuts_makes_room_first():
    """By hand: 10 L/h and a half of 6 L/h; together on the second day, and no more than that on the third."""
    days = [("upper", 1.0, 2.0), ("lower", 2.0, 3.0), ("upper", 25.0, 27.0), ("lower", 26.0, 28.0)]
    days += [("lower", 50.0, np.nan), ("upper", 51.0, np.nan), ("idle", 52.0, 53.0)]
    openings = pd.DataFrame(days, columns=["controller", "start_h", "end_h"])
    flows = {"upper": np.full(3, 10.0), "lower": np.full(3, 3.0)}
    assert rates_by_day(openings, flows).tolist() == [10.0, 13.0, 13.0]
    assert rates_by_day(openings.iloc[:0], flows).tolist() == [0.0] * 3
    assert rates_by_day(openings, {}).tolist() == []
