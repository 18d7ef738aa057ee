"""The statement as a whole: several controllers, several rights, meter against model, ranges."""

from __future__ import annotations

import copy
import dataclasses

import pandas as pd
import pytest

from panbudget import scenario_from, statement
from panbudget.errors import ReadingsError, ScenarioError
from panbudget.studies.statement.ledger import largest_rate, sources_of
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
    for reading, codes in ((1e5, ["meter-apart"]), (0.0, ["meter-apart"])):
        (tmp_path / "meter.csv").write_text(f"date,reading,unit\n2025-05-01,0,L\n2025-07-01,{reading},L\n")
        made = statement(garden({}), readings=tmp_path / "meter.csv")
        assert [finding.code for finding in made.findings] == codes
        assert not made.accounts[0].metered.agrees
    litres = made.accounts[0].ledger.litres
    (tmp_path / "meter.csv").write_text(f"date,reading,unit\n2025-05-01,0,L\n2025-07-01,{litres},L\n")
    assert statement(garden({}), readings=tmp_path / "meter.csv").findings == ()


def test_a_variant_other_dates_and_samples_are_taken(garden):
    raw = garden({})
    wide = {"controller": {"upper": {"pan": {"vessels": [{"diameter": "70 cm"}]}}}}
    scenario = raw.changed({"variant": {"wide": wide}})
    made = statement(scenario, variants=["wide"], samples=21, start=raw.season.start, end=raw.season.start)
    assert made.variant == "wide"
    assert made.samples == 21
    assert made.season.totals["season"]["days"] == 1


def test_what_a_user_can_cure_is_told(garden, tmp_path):
    with pytest.raises(ScenarioError, match="season.end = 2025-05-01 is before it starts, 2025-06-30"):
        statement(garden({}), start=garden({}).season.end, end=garden({}).season.start)
    with pytest.raises(ScenarioError, match="uncertainty.samples = 3 must be at least 20"):
        statement(garden({}), samples=3)
    with pytest.raises(ReadingsError, match="nowhere.csv: there is no such file"):
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
