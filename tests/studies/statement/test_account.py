"""The statement as a whole: several controllers, several rights, meter against model, ranges."""

from __future__ import annotations

import copy
import dataclasses
import datetime as dt
from types import SimpleNamespace

import pandas as pd
import pytest

from panbudget import scenario_from, statement
from panbudget.errors import ReadingsError, ScenarioError
from panbudget.reports.statement.origins import first_day_said
from panbudget.studies.statement.account import _months_apart, _unlikely
from panbudget.studies.statement.ledger import largest_rate, sources_of
from panbudget.studies.statement.meter import Between
from tests.scenario.test_garden import SOUND
from tests.small_weather import weather_csv


@pytest.fixture
def garden(tmp_path):
    """Return a function that makes two valves on one supply, the upper one with two beds; 61 equal days."""
    (tmp_path / "weather.csv").write_text(weather_csv(61), encoding="utf-8")

    def make(right, **rules):
        raw = copy.deepcopy(SOUND)
        raw.pop("variant")
        raw["season"] = {"start": "2025-05-01", "end": "2025-06-30"}
        upper = raw["controller"]["upper"]
        upper["bed"]["beans"] = {**copy.deepcopy(upper["bed"]["tomatoes"]), "area": "4 m^2"}
        upper["bed"]["beans"]["emitters"] = {"count": 10, "flow": "2 L/h", "at": "100 kPa"}
        lower = copy.deepcopy(upper)
        del lower["bed"]["beans"]
        lower["pan"]["vessels"] = [{"diameter": "40 cm"}]
        raw["controller"]["lower"] = lower
        raw["supply"]["spring"]["right"] = right
        raw["uncertainty"], raw["statement"] = {"samples": 20}, rules
        return scenario_from(raw, tmp_path / "garden.toml")

    return make


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (["100.5,m^3,", "101,m3,"], []),
        (["26550,gal,", "26700,gal,"], ["26550 gal on 2025-05-20 follows 100 m3"]),
        (["100.5,m3,removed", "10,gal,installed", "160,gal,"], []),
    ],
)
def test_a_meter_that_changes_its_unit_is_cautioned(rows, told, garden, tmp_path):
    """Two units in one column were brought to litres without a word; a new meter may have its own."""
    lines = [f"2025-{day},{row}" for day, row in zip(("05-20", "06-10", "06-20"), rows, strict=False)]
    text = "\n".join(["date,reading,unit,event", "2025-05-02,100,m3,", *lines]) + "\n"
    (tmp_path / "m.csv").write_text(text, encoding="utf-8")
    found = statement(garden({}), readings=tmp_path / "m.csv").findings
    said = [finding.message for finding in found if finding.code == "other-units"]
    assert said == [f"The unit of the meter's readings changes: {change}." for change in told]


def test_several_controllers_on_one_source_add_up(garden):
    made = statement(garden({}))
    (account,) = made.accounts
    litres = [made.season.totals["controllers"][name]["litres"] for name in ("upper", "lower")]
    assert account.ledger.litres == pytest.approx(sum(litres), rel=1e-12)
    assert account.area == 12.0 + 4.0 + 12.0
    assert list(account.beds["bed"]) == ["upper/tomatoes", "upper/beans", "lower/tomatoes", ""]
    assert sum(account.beds["applied"]) == pytest.approx(account.ledger.litres, rel=1e-9)


def test_valves_that_are_never_open_together_do_not_add_their_rates(garden):
    """Upper from hour 1 to 2, lower from 2 to 3; then, on the second day, both at once."""
    season = statement(garden({})).season
    source = next(sources_of(season))
    flow = {name: part.refill_flow + sum(part.bed_flows.values()) for name, part in season.forcing.pan_of.items()}
    apart = [("upper", 1.0, 2.0, "2025-05-01 01:00"), ("lower", 2.0, 3.0, "2025-05-01 02:00")]
    both = [("upper", 25.0, 27.0, "2025-05-02 01:00"), ("lower", 26.0, float("nan"), "2025-05-02 02:00")]

    def openings(rows):
        return dataclasses.replace(
            season, openings=pd.DataFrame(rows, columns=["controller", "start_h", "end_h", "start"])
        )

    assert largest_rate(openings(apart), source) == (flow["upper"], "2025-05-01")
    rate, when = largest_rate(openings(apart + both), source)
    assert (rate, when) == (pytest.approx(flow["upper"] + flow["lower"]), "2025-05-02")


FURTHER = {"further": {"old well": {"beds": ["upper/beans"], "holder": "B", "volume": "1 m^3"}}}


@pytest.mark.parametrize(("split", "share"), [("emitters", 10 / 40), ("area", 4 / 16)])
def test_beds_with_different_rights_are_split_as_stated(garden, split, share):
    """30 emitters beside 10; 12 m² beside 4. The refill emitter's water goes along."""
    made = statement(garden(FURTHER, split=split))
    spring, well = made.accounts
    upper = made.season.totals["controllers"]["upper"]["litres"]
    assert well.source.name == "spring / old well"
    assert well.source.papers.holder == "B"
    assert well.ledger.litres == pytest.approx(share * upper, rel=1e-9)
    assert spring.ledger.litres + well.ledger.litres == pytest.approx(
        made.season.totals["supplies"]["spring"]["litres"], rel=1e-12
    )
    for account in made.accounts:
        assert sum(account.beds["applied"]) == pytest.approx(account.ledger.litres, rel=1e-9)
    assert [finding.where for finding in made.findings] == ["spring / old well"]


def test_a_split_by_area_scales_beds_to_their_part(garden):
    scenario = garden(FURTHER, split="area").changed(
        {"controller": {"upper": {"bed": {"beans": {"emitters": {"count": 90}}}}}}
    )
    made = statement(scenario)
    well = made.accounts[1]
    assert well.ledger.litres == pytest.approx(0.25 * made.season.totals["controllers"]["upper"]["litres"], rel=1e-9)
    assert sum(well.beds["applied"]) == pytest.approx(well.ledger.litres, rel=1e-9)


def test_a_supply_of_further_rights_alone_has_no_account_of_its_own(garden):
    everything = {"further": {"all": {"beds": ["upper/beans", "upper/tomatoes", "lower/tomatoes"]}}}
    made = statement(garden(everything))
    assert [account.source.name for account in made.accounts] == ["spring / all"]
    assert made.accounts[0].ledger.litres == made.season.totals["supplies"]["spring"]["litres"]


def test_a_meter_on_a_shared_supply_is_shared_as_the_model_has_it(garden, tmp_path):
    (tmp_path / "meter.csv").write_text("date,reading,unit\n2025-05-01,0,L\n2025-06-01,9000,L\n", encoding="utf-8")
    made = statement(garden({**FURTHER, "readings": "meter.csv"}))
    may = [account.ledger.months.iloc[0] for account in made.accounts]
    # the meter fixes what both drew together
    assert all(month.basis == "metered total, split by the model" for month in may)
    assert sum(month["reported_litres"] for month in may) == pytest.approx(9000.0)
    assert may[1]["reported_litres"] / may[0]["reported_litres"] == pytest.approx(
        may[1]["modelled_litres"] / may[0]["modelled_litres"]
    )


def test_the_range_is_around_the_replay_and_metered_months_stand_still_in_it(garden, tmp_path):
    modelled = statement(garden({})).accounts[0]
    low, high = modelled.interval
    assert low < modelled.ledger.litres < high
    (tmp_path / "meter.csv").write_text("date,reading,unit\n2025-05-01,0,L\n2025-07-01,9000,L\n", encoding="utf-8")
    metered = statement(garden({}), readings=tmp_path / "meter.csv").accounts[0]
    assert metered.interval == pytest.approx((0.98 * 9000.0, 1.02 * 9000.0))  # the meter's own
    assert metered.ledger.split_stretches == 1


def test_a_meter_far_from_the_model_is_a_finding(garden, tmp_path):
    for reading, codes in ((1e5, ["meter-apart", "reading-unlikely"]), (0.0, ["meter-apart"])):
        (tmp_path / "meter.csv").write_text(f"date,reading,unit\n2025-05-01,0,L\n2025-07-01,{reading},L\n")
        made = statement(garden({}), readings=tmp_path / "meter.csv")
        assert [finding.code for finding in made.findings] == codes
        assert not made.accounts[0].metered.agrees
    litres = made.accounts[0].ledger.litres
    (tmp_path / "meter.csv").write_text(f"date,reading,unit\n2025-05-01,0,L\n2025-07-01,{litres},L\n")
    assert statement(garden({}), readings=tmp_path / "meter.csv").findings == ()


@pytest.mark.parametrize(("may", "said"), [(0.0, True), (1.0, False)])
def test_a_month_outside_the_models_range_is_a_finding_though_all_days_agree(garden, tmp_path, may, said):
    """What May lacks stands in June: together they are the model's."""
    modelled = statement(garden({})).accounts[0].ledger.months["modelled_litres"]
    first, both = may * modelled[0], modelled[0] + modelled[1]
    rows = f"date,reading,unit\n2025-05-01,0,L\n2025-06-01,{first},L\n2025-07-01,{both},L\n"
    (tmp_path / "meter.csv").write_text(rows, encoding="utf-8")
    made = statement(garden({}), readings=tmp_path / "meter.csv")
    assert made.accounts[0].metered.agrees
    assert [finding.code for finding in made.findings] == ["month-apart"] * said
    assert all("2025-05 (0.0\u00a0L; the range is" in finding.message for finding in made.findings)


@pytest.mark.parametrize(
    ("litres", "wide", "said"), [(89.0, 10.0, False), (88.0, 10.0, True), (132.0, 10.0, False), (133.0, 10.0, True)]
)
def test_an_opening_about_a_months_end_sets_no_month_apart(litres, wide, said):
    """100 to 120 L by the model, of days of 10 L at most; a meter of 2 %."""
    months = pd.DataFrame({"month": ["2025-05"], "basis": "metered", "metered_litres": litres})
    months = months.assign(range_low_litres=100.0, range_high_litres=120.0)
    ledger = SimpleNamespace(days=pd.DataFrame({"modelled": [2.0, wide]}), months=months)
    assert bool([*_months_apart(ledger, 0.02)]) is said


@pytest.mark.parametrize(("litres", "said"), [(501.0, True), (500.0, False)])
def test_more_than_five_times_the_models_water_is_hardly_a_meters(litres, said):
    """Ten days of 10 L: a zero too many, or another unit; common practice, no source."""
    days = pd.DataFrame({"supply": 10.0}, index=pd.date_range("2025-05-01", periods=10))
    stretch = Between(dt.datetime(2025, 5, 1), dt.datetime(2025, 5, 11), litres)
    made = SimpleNamespace(ledger=SimpleNamespace(days=days), between=[stretch], source=SimpleNamespace(name="spring"))
    assert [finding.code for finding in _unlikely(made)] == ["reading-unlikely"] * said


def test_a_variant_other_dates_and_samples_are_taken(garden):
    raw = garden({})
    wide = {"controller": {"upper": {"pan": {"vessels": [{"diameter": "70 cm"}]}}}}
    scenario = raw.changed({"variant": {"wide": wide}})
    made = statement(scenario, variants=["wide"], samples=21, start=raw.season.start, end=raw.season.start)
    assert made.variant == "wide"
    assert made.samples == 21
    assert made.season.totals["season"]["days"] == 1


def test_what_a_user_can_cure_is_told(garden, tmp_path):
    with pytest.raises(ScenarioError, match="season ends on 2025-05-01, before it starts, on 2025-06-30"):
        statement(garden({}), start=garden({}).season.end, end=garden({}).season.start)
    with pytest.raises(ScenarioError, match="uncertainty.samples = 3 must be at least 20"):
        statement(garden({}), samples=3)
    with pytest.raises(ScenarioError, match='readings = "nowhere.csv": there is no such file'):
        statement(garden({"readings": "nowhere.csv"}))


@pytest.mark.parametrize(
    ("plants", "said"),
    [
        ({"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5}, "own Kc, 0.9"),
        ({"plant_factor": 0.3, "root_depth": "60 cm", "depletion": 0.5}, "own plant factor, 0.3"),
        ({"plant_factor": [0.3] * 11 + [0.5], "root_depth": "60 cm", "depletion": 0.5}, "own plant factor, 0.3 to 0.5"),
        ("tomato", "tomato"),
    ],
)
def test_a_bed_names_what_grows_there(garden, plants, said):
    scenario = garden({}).changed({"controller": {"upper": {"bed": {"beans": {"plants": plants}}}}})
    crops = statement(scenario).accounts[0].beds.set_index("bed")["crop"]
    assert crops["upper/beans"] == said


def test_readings_of_another_year_are_refused(make_garden, tmp_path):
    """Named in the statement and used nowhere, they would claim a measurement that there is not."""
    readings = tmp_path / "meter.csv"
    readings.write_text("date,reading,unit\n2020-05-01,100,L\n2020-06-01,900,L\n", encoding="utf-8")
    with pytest.raises(ReadingsError, match="no reading falls in the season, 2025-05-01 to 2025-05-31"):
        statement(make_garden(days=31), readings=readings)


def on_tank(source="", **more):
    """The small garden's supply as a tank, half full, whose float valve keeps 200 of its 1000 L up; a creek and a house."""
    top_up = {"below": "200 L", "rate": "100 L/h", **({"from": source} if source else {})}
    tank = {"kind": "tank", "pressure": None, "volume": "1 m^3", "footprint": "0.8 m^2", "outlet_height": "2 m"}
    tank |= {"full_at_start": 0.5, "roof": {"area": "10 m^2"}, "top_up": top_up}
    creek = {"pressure": "150 kPa", "right": {"volume": "1 m^3", "further": more.pop("further", {})}}
    return {"supply": {"spring": tank, "creek": creek, "house": {"pressure": "200 kPa"}}}


@pytest.mark.parametrize("source", ["creek", "house"])
def test_what_a_float_valve_lets_in_is_drawn_on_the_right_that_it_names_and_on_no_other(state, source):
    made = state(None, overlay=on_tank(source), days=40)
    by_name = {account.source.name: account for account in made.accounts}
    topped = made.season.tanks["spring"]["topped_l"]
    assert topped.sum() > 100.0
    named, other = by_name[source], by_name[{"creek": "house", "house": "creek"}[source]]
    assert named.ledger.litres == pytest.approx(topped.sum(), rel=1e-12)
    assert named.ledger.days["modelled"].to_numpy() == pytest.approx(topped.to_numpy())
    assert (other.ledger.litres, other.rate, other.area) == (0.0, 0.0, 0.0)
    assert named.area == by_name["spring"].area == 12.0
    tank = named.tanks["spring"]
    assert tank["start_l"] + tank["roof_l"] + tank["topped_l"] == pytest.approx(
        tank["drawn_l"] + tank["over_l"] + tank["end_l"]
    )
    # at its level it passes what the valves draw, and no more
    valve = made.season.forcing.pan_of["upper"].valve_flow
    assert 0.0 < named.rate <= valve < 100.0
    assert named.interval[0] < named.ledger.litres < named.interval[1]
    assert ("licence-exceeded" in {finding.code for finding in made.findings}) == (source == "creek")


def test_a_tank_that_begins_below_its_float_valve_fills_at_the_valves_own_rate(state):
    low = on_tank("creek")
    low["supply"]["spring"]["full_at_start"] = 0.1
    creek = state(None, overlay=low, days=3).accounts[1]
    assert (creek.rate, creek.rate_date) == (100.0, "2025-05-01")


def test_a_float_valve_may_name_a_further_right_or_nobody(state):
    shared = on_tank("creek / mill", further={"mill": {"beds": ["upper/tomatoes"]}})
    with pytest.raises(ScenarioError, match="further.mill"):  # its beds are on the tank
        state(None, overlay=shared, days=3)
    made = state(None, overlay=on_tank(), days=3)
    floats = [finding for finding in made.findings if finding.code != "never-growing"]  # three days before planting
    assert [(finding.code, finding.where) for finding in floats] == [("float-unnamed", "spring")]
    assert all(account.ledger.litres == 0.0 for account in made.accounts[1:])
    with pytest.raises(ScenarioError, match='supply.spring.top_up.from = "crek" names no mains.*did you mean "creek"'):
        state(None, overlay=on_tank("crek"), days=3)


def test_a_statement_that_begins_within_the_season_goes_on_from_the_days_before(garden):
    """Two halves are the whole: litres, soils and ranges; the second says from where it goes on."""
    scenario = garden({})
    whole, first, second = (
        statement(scenario, **part) for part in ({}, {"end": "2025-05-31"}, {"start": "2025-06-01"})
    )
    months = [made.accounts[0].ledger.months for made in (first, second)]
    for index in (0, 1):
        for name in ("modelled_litres", "range_low_litres", "range_high_litres"):
            assert months[index][name].iloc[0] == pytest.approx(
                whole.accounts[0].ledger.months[name].iloc[index], rel=1e-9
            )
    depletion = [made.season.beds["upper/tomatoes"]["depletion_mm"].to_numpy() for made in (whole, second)]
    assert depletion[0][31:] == pytest.approx(depletion[1])
    assert not whole.is_cut and whole.before is None and second.is_cut and second.before is not None
    said = first_day_said(second)
    assert said.startswith("1 June 2025 is not the first day") and "as the days from 1 May 2025 left them" in said
    assert "filled to where their valves shut" in first_day_said(whole)


def test_a_season_whose_days_before_the_file_lacks_says_so(garden):
    scenario = garden({}).changed({"season": {"start": dt.date(2025, 4, 20)}})
    made = statement(scenario, start="2025-06-20")
    assert made.is_cut and made.before is None
    assert [finding.code for finding in made.findings] == ["first-day-unknown"]
    assert "weather.csv does not hold all days from 20 April 2025 on" in first_day_said(made)


def test_outside_the_readings_the_meters_ratio_is_followed_where_it_disagrees(state, tmp_path):
    model = state(None, days=61).accounts[0].ledger.days["modelled"].to_numpy()
    file = tmp_path / "meter.csv"
    for times, follows in ((1.05, 1.0), (2.0, 2.0)):
        file.write_text(
            f"date,reading,unit\n2025-05-01,0,L\n2025-06-01,{times * model[:31].sum()},L\n", encoding="utf-8"
        )
        account = state(None, days=61, readings=file).accounts[0]
        assert account.metered.ratio == pytest.approx(follows)
        june = account.ledger.months.iloc[1]
        assert june["basis"] == ("modelled" if follows == 1.0 else "modelled, at the meter's ratio")
        assert june["reported_litres"] == pytest.approx(follows * model[31:].sum())
        low, high = account.interval
        assert low < account.ledger.reported_litres < high


def test_a_meter_that_stood_still_has_no_days_of_use_and_no_ratio(state, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text("date,reading,unit\n2025-05-01,7,L\n2025-06-01,7,L\n", encoding="utf-8")
    account = state(None, days=61, readings=file).accounts[0]
    assert account.ledger.months["days_of_use"].tolist()[0] == 0
    assert account.ledger.months["days_of_use"].tolist()[1] > 0
    assert account.metered.ratio == 1.0 and not account.metered.agrees


def test_readings_that_reach_beyond_the_season_are_no_better_than_the_models_range(state, tmp_path):
    """A year between readings: what of it fell on these days, time alone splits; the range is the model's, at most all."""
    file = tmp_path / "meter.csv"
    free = state(None, days=61).accounts[0]
    file.write_text("date,reading,unit\n2024-11-01,0,m3\n2025-11-01,20,m3\n", encoding="utf-8")
    account = state(None, days=61, readings=file).accounts[0]
    assert account.ledger.months["basis"].tolist() == ["metered total, split by the model"] * 2
    assert account.ledger.reported_litres == pytest.approx(20000.0 * 61 / 365)
    low, high = account.interval
    assert low <= min(free.interval[0], 20000.0 * 61 / 365) + 1.0 and high >= free.interval[1] - 1.0


def test_two_water_years_are_one_metered_total_split(state, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text("date,reading,unit\n2025-05-01,0,L\n2025-07-01,3456.7,L\n", encoding="utf-8")
    ledger = state({"water_year_start": 6}, days=61, readings=file).accounts[0].ledger
    assert ledger.years["basis"].tolist() == ["metered total, split by the model"] * 2
    assert sum(ledger.years["metered"]) == 3457
