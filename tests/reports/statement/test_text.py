"""The words about method: they say of this garden what is so, and nothing that is not."""

from __future__ import annotations

from panbudget import replay
from panbudget.reports.statement.text import method_lines
from panbudget.studies.statement.account import make_statement
from tests.small_weather import weather_csv


def said(make_garden, overlay, weather=None):
    laid = {"statement": {"samples": 20}, **overlay}
    return dict(method_lines(make_statement(make_garden(laid, weather=weather or weather_csv(10)))))


def test_what_was_measured_in_place_is_called_measured(make_garden):
    valve = {"refill": {"flow": "33 mL/min", "at": None}, "set_up_test": {"falls_at": "7.4 kg", "rises_at": "6.5 kg"}}
    del valve["refill"]["at"]
    garden = make_garden(weather=weather_csv(10))
    raw = dict(garden._raw)
    upper = raw["controller"]["upper"]
    upper["valve"] = valve
    upper["bed"]["tomatoes"]["emitters"] = {"count": 30, "flow": "2 L/h"}
    from panbudget import scenario_from

    made = make_statement(scenario_from({**raw, "statement": {"samples": 20}}, garden.path))
    words = dict(method_lines(made))
    for part in ("swing of upper, by two weighings", "refill flow of upper, in place", "tomatoes, in place"):
        assert part in words["Measured"]
    assert "packets" not in words["Assumed"]


def test_a_reckoned_pan_names_its_model_and_exposure(make_garden):
    pan = {"controller": {"upper": {"pan": {"evaporation": "energy-balance", "exposure": 0.9}}}}
    words = said(make_garden, pan)
    assert "Pan evaporation of upper: the pan's energy balance, exposure 0.9" in words["Assumed"]
    assert "packets" in words["Assumed"]
    assert "column of the weather file" in said(make_garden, {})["Measured"]


def test_a_leak_in_the_season_is_named_on_the_sheet_that_people_sign(make_garden):
    assert "no leak, no clogging" in said(make_garden, {})["Assumed"]
    words = said(make_garden, {"fault": [{"kind": "leak", "loss": "2 L/day"}]})["Assumed"]
    assert "the pan leaks 2.0 L a day" in words
    assert "no leak, no clogging" not in words


def test_filled_days_are_counted_by_column_and_method(make_garden):
    lines = weather_csv(10).splitlines()
    cells = lines[4].split(",")
    cells[7] = ""  # radiation of the fourth day
    lines[4] = ",".join(cells)
    garden = make_garden(weather="\n".join(lines) + "\n")
    words = said(make_garden, {}, "\n".join(lines) + "\n")
    (method,) = replay(garden).totals["weather"]["filled"]["radiation"]
    assert words["Days filled"] == f"Of 10 days, weather was filled in: radiation on 1 ({method})."


def test_the_foot_is_named_only_where_there_is_one(make_garden):
    def units(**right):
        return said(make_garden, {"supply": {"spring": {"right": right}}})["Units and rounding"]

    assert "foot" not in units(volume_unit="m^3")
    assert "The foot is 0.3048 m. 1 ccf is" in units(volume_unit="hundred-cubic-feet")
    assert "survey foot" in units(area_unit="acre")
    assert "1 ft³/s = 101940.6477312\u00a0L/h exactly" in units(rate_unit="ft^3/s")
    assert "added" not in units() and units().startswith("A total is rounded once")


def test_shared_valves_say_how_they_are_split(make_garden):
    right = {"further": {"own": {"beds": ["upper/tomatoes"]}}}
    assert "split between them" not in said(make_garden, {"supply": {"spring": {"right": right}}})["Determination"]
