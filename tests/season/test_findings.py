"""What a user is told: each finding where it belongs, with what to do, and nothing where all is well."""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget import replay
from panbudget.season.finding import SEVERITIES
from tests.small_weather import weather_csv
from tests.test_laws import PAN, VALVE, merged, nested

BED = ("controller", "upper", "bed", "tomatoes")


def found(garden):
    return {finding.code: finding for finding in replay(garden).findings}


CASES = {
    "never-opened": (nested(VALVE, {"swing": "9 kg"}), {"days": 3}, "danger", "Use a smaller swing or a wider pan"),
    "over-rating": (nested(VALVE, {"rated_flow": "10 L/h"}), {}, "caution", "rated for 10 L/h"),
    "low-pressure": (nested(VALVE, {"least_pressure": "300 kPa"}), {}, "danger", "needs at least 300 kPa"),
    "weak-refill": (nested(VALVE, {"refill": {"flow": "0.1 L/h"}}), {}, "caution", "can't outrun the pan"),
    "stuck-open": (nested(VALVE, {"refill": {"flow": "0.1 L/h"}}), {}, "danger", "Evaporation outran the refill"),
    "many-openings": (nested(VALVE, {"swing": "60 g"}), {}, "caution", "A larger swing gives fewer"),
    "short-openings": (nested(VALVE, {"swing": "30 g"}), {}, "caution", "shorter than 2 minutes"),
    "spill": (nested(PAN, {"freeboard": "1 mm"}), {"rain": [30.5, 2.5] * 15 + [0.0]}, "note", "More freeboard"),
    "short-of-water": (
        nested(BED, {"plants": {"kc": 1.2, "root_depth": "20 cm", "depletion": 0.3}, "emitters": {"count": 1}}),
        {"days": 60},
        "danger",
        "More or larger emitters",
    ),
    "too-wet": (nested(BED, {"emitters": {"count": 300}}), {}, "caution", "Fewer or smaller emitters"),
    "not-growing": (nested(BED, {"planted": dt.date(2025, 5, 10)}), {}, "note", "nothing grows here"),
    "never-growing": (nested(BED, {"planted": dt.date(2023, 5, 10)}), {}, "caution", "Look at the year of `planted`"),
    "pan-table-bounds": (
        nested(PAN, {"evaporation": "from-eto"}),
        {"wind": 0.2},
        "note",
        "lay outside the pan coefficient's table",
    ),
    "pan-model": (
        nested(PAN, {"evaporation": "from-eto", "fetch": {"cover": "green", "distance": "1000 m"}}),
        {},
        "note",
        "take that as the uncertainty",
    ),
}


@pytest.mark.parametrize("code", CASES)
def test_a_finding_says_what_and_what_to_do(code, make_garden):
    overlay, weather, severity, said = CASES[code]
    finding = found(make_garden(overlay, weather=weather_csv(**{"days": 31, **weather})))[code]
    assert finding.severity == severity
    assert said in finding.message
    assert finding.where.startswith("upper")


def test_a_sound_garden_has_no_finding_above_a_note(make_garden):
    """Emitters counted so that the bed gets what it needs."""
    overlay = merged(
        nested(BED, {"plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5}, "emitters": {"count": 50}}),
    )
    season = replay(make_garden(overlay, days=60))
    assert [f for f in season.findings if f.severity != "note"] == []
    assert season.totals["beds"]["upper/tomatoes"]["stress_days"] == 0


def test_unlike_beds_on_one_valve_are_told(make_garden):
    bed = {"area": "10 m^2", "soil": "loam", "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5}}
    beds = {
        "few": {**bed, "emitters": {"count": 10, "flow": "2 L/h", "at": "100 kPa"}},
        "many": {**bed, "emitters": {"count": 60, "flow": "2 L/h", "at": "100 kPa"}},
    }
    finding = found(make_garden(nested(("controller", "upper", "bed"), beds), days=60))["uneven"]
    assert finding.where == "upper"
    assert '"many" got' in finding.message


def test_gravest_first(make_garden):
    overlay = merged(nested(VALVE, {"refill": {"flow": "0.1 L/h"}, "rated_flow": "1 L/h"}), CASES["not-growing"][0])
    severities = [SEVERITIES.index(f.severity) for f in replay(make_garden(overlay)).findings]
    assert len(set(severities)) == 3
    assert severities == sorted(severities)


def test_of_one_severity_the_longest_comes_first(make_garden):
    overlay = merged(nested(VALVE, {"refill": {"flow": "0.1 L/h"}}), nested(BED, {"emitters": {"count": 1}}))
    findings = replay(make_garden(overlay, days=60)).findings
    pairs = [(SEVERITIES.index(f.severity), -f.days) for f in findings]
    assert len({f.code for f in findings if f.severity == "danger"}) > 1
    assert pairs == sorted(pairs)


def test_a_bed_where_nothing_grows_is_not_told_that_it_got_too_much(make_garden):
    garden = make_garden(nested(BED, {"planted": dt.date(2023, 5, 10)}))
    assert "too-wet" not in found(garden)


def test_a_negative_day_is_told_and_left_alone(make_garden):
    """Saturated air, no sun, hardly a breath of wind: more long-wave out than radiation in."""
    rows = "\n".join(f"2025-12-{day:02d},-6,-4,100,100,0.5,0,0.4,0" for day in range(1, 11))
    header = "date,tmin,tmax,rh_max,rh_min,wind,rain,radiation,pan_evaporation\n"
    season = replay(make_garden(weather=header + rows + "\n"))
    assert season.days["eto_mm"].max() < 0.0
    finding = next(f for f in season.findings if f.code == "negative-eto")
    assert (finding.days, finding.first) == (10, "2025-12-01")
