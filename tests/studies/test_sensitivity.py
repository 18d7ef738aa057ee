"""How much it matters what was filled: against a season whose file holds the alternative itself."""

from __future__ import annotations

import re

import pytest

from panbudget.season.replay import replay
from panbudget.studies.sensitivity import Alternative, alternatives, summed_up
from tests.small_weather import weather_csv


def without(text, *columns):
    """Empty some columns of a table."""
    header, *rows = text.splitlines()
    places = [header.split(",").index(name) for name in columns]
    lines = [header]
    for row in rows:
        cells = row.split(",")
        for place in places:
            cells[place] = ""
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"


def season_eto(make_garden, text, **site):
    return replay(make_garden({"site": site} if site else None, weather=text)).totals["weather"]["eto_mm"]


def test_nothing_filled_has_no_alternative(make_garden):
    season = replay(make_garden())
    assert alternatives(season) == []
    assert summed_up([]) == ""


@pytest.mark.parametrize("wind", [1, 3])
def test_an_assumed_wind_is_set_against_1_and_3_metres_a_second(make_garden, wind):
    """The change is the difference to a file that has that wind on every day."""
    season = replay(make_garden(weather=without(weather_csv(31), "wind")))
    found = {one.instead: one for one in alternatives(season)}
    other = found[f"{wind} m/s"]
    expected = season_eto(make_garden, weather_csv(31, wind=wind)) - season.totals["weather"]["eto_mm"]
    assert other.change_mm == pytest.approx(expected)
    assert other.change_share == pytest.approx(expected / season.totals["weather"]["eto_mm"])
    assert (other.days, other.used) == (31, "2 m/s")


def test_an_estimated_dew_point_is_set_against_the_other_climates(make_garden):
    bare = without(weather_csv(31), "rh_max", "rh_min")
    season = replay(make_garden({"site": {"climate": "humid"}}, weather=bare))
    (other,) = alternatives(season)
    expected = season_eto(make_garden, bare, climate="dry") - season.totals["weather"]["eto_mm"]
    assert other.instead == "dew point 2 °C below tmin"
    assert other.change_mm == pytest.approx(expected)
    assert other.change_mm > 0


def test_estimated_radiation_is_set_against_the_other_setting(make_garden):
    bare = without(weather_csv(31), "radiation")
    season = replay(make_garden(weather=bare))
    (other,) = alternatives(season)
    expected = season_eto(make_garden, bare, setting="coast") - season.totals["weather"]["eto_mm"]
    assert other.instead == "from the temperature range, kRs 0.19 (coast)"
    assert other.change_mm == pytest.approx(expected)


def test_what_was_borrowed_is_set_against_the_estimate_without_it(make_garden, tmp_path):
    """All of the wind borrowed: without the neighbour, FAO-56 would assume 2 m/s."""
    (tmp_path / "hill.csv").write_text(weather_csv(31, wind=4.0), encoding="utf-8")
    overlay = {"weather": {"fallback": [{"file": "hill.csv"}]}}
    season = replay(make_garden(overlay, weather=without(weather_csv(31), "wind")))
    (other,) = alternatives(season)
    expected = season_eto(make_garden, weather_csv(31, wind=2.0)) - season.totals["weather"]["eto_mm"]
    assert (other.quantity, other.used, other.instead) == ("wind", "borrowed from hill.csv", "2 m/s")
    assert other.change_mm == pytest.approx(expected)
    assert other.change_mm < 0


def test_a_monthly_mean_is_set_against_half_a_metre_a_second_to_each_side(make_garden):
    text = weather_csv(31).replace("2025-05-04,14.0,30.0,80,35,2.0", "2025-05-04,14.0,30.0,80,35,")
    found = alternatives(replay(make_garden(weather=text)))
    assert [one.instead for one in found] == ["0.5 m/s less", "0.5 m/s more"]
    assert found[0].change_mm < 0.0 < found[1].change_mm
    assert {one.days for one in found} == {1}


def test_the_sentence_takes_the_largest_change_of_each_quantity(make_garden):
    season = replay(make_garden(weather=without(weather_csv(31), "wind", "radiation")))
    said = summed_up(alternatives(season))
    assert re.fullmatch(
        r"Filled otherwise, wind \([13] m/s\) would change the season's ETo by [+−]\d+\.\d mm \([+−]\d+\.\d %\); "
        r"radiation \(.*\) would change the season's ETo by .*\.",
        said,
    )


def other(quantity, instead, change, share=0.0):
    return Alternative(quantity, 3, "guessed", instead, change, share)


def test_a_fall_that_outweighs_a_rise_is_the_one_told_with_its_sign():
    """By hand; a minus sign of its own in place of a hyphen."""
    found = [
        other("wind", "less", -5.0, -0.0125),
        other("wind", "more", 4.0),
        other("radiation", "coast", 0.04, 0.0001),
    ]
    assert summed_up(found) == (
        "Filled otherwise, wind (less) would change the season's ETo by −5.0 mm (−1.2 %); "
        "radiation (coast) would change the season's ETo by +0.0 mm (+0.0 %)."
    )


def test_half_a_metre_a_second_less_than_hardly_any_wind_is_none(make_garden):
    """A monthly mean of 0.3 m/s: 0.5 less is a calm, on the one day that was filled."""
    text = weather_csv(31, wind=0.3)
    row = "2025-05-04,14.0,30.0,80,35,0.3"
    assert row in text
    filled = text.replace(row, row[:-3])
    found = {one.instead: one for one in alternatives(replay(make_garden(weather=filled)))}
    was = season_eto(make_garden, text)
    for instead, wind in (("0.5 m/s less", "0.0"), ("0.5 m/s more", "0.8")):
        expected = season_eto(make_garden, text.replace(row, row[:-3] + wind)) - was
        assert found[instead].change_mm == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("setting", "instead"),
    [
        ("inland", "from the temperature range, kRs 0.16 (inland)"),
        ("coast", "from the temperature range, kRs 0.19 (coast)"),
    ],
)
def test_borrowed_radiation_is_set_against_the_sites_own_estimate(make_garden, tmp_path, setting, instead):
    """FAO-56 eq 50 with the kRs of the site's setting: what would have been estimated without the neighbour."""
    (tmp_path / "hill.csv").write_text(weather_csv(31, radiation=20.0), encoding="utf-8")
    bare = without(weather_csv(31), "radiation")
    overlay = {"weather": {"fallback": [{"file": "hill.csv"}]}, "site": {"setting": setting}}
    season = replay(make_garden(overlay, weather=bare))
    (other,) = alternatives(season)
    assert (other.quantity, other.used, other.instead) == ("radiation", "borrowed from hill.csv", instead)
    expected = season_eto(make_garden, bare, setting=setting) - season.totals["weather"]["eto_mm"]
    assert other.change_mm == pytest.approx(expected)


def test_radiation_estimated_on_a_coast_is_set_against_that_inland(make_garden):
    bare = without(weather_csv(31), "radiation")
    season = replay(make_garden({"site": {"setting": "coast"}}, weather=bare))
    (other,) = alternatives(season)
    assert other.instead == "from the temperature range, kRs 0.16 (inland)"
    expected = season_eto(make_garden, bare, setting="inland") - season.totals["weather"]["eto_mm"]
    assert other.change_mm == pytest.approx(expected)


def test_borrowed_humidity_is_set_against_both_climates(make_garden, tmp_path):
    """FAO-56 eq 48: the dew point at Tmin, or 2 °C below."""
    (tmp_path / "hill.csv").write_text(weather_csv(31), encoding="utf-8")
    bare = without(weather_csv(31), "rh_max", "rh_min")
    season = replay(make_garden({"weather": {"fallback": [{"file": "hill.csv"}]}}, weather=bare))
    found = {one.instead: one.change_mm for one in alternatives(season)}
    eto = season.totals["weather"]["eto_mm"]
    assert found == pytest.approx(
        {
            "dew point at tmin": season_eto(make_garden, bare, climate="humid") - eto,
            "dew point 2 °C below tmin": season_eto(make_garden, bare, climate="dry") - eto,
        }
    )


def test_a_dew_point_of_a_dry_climate_is_set_against_that_of_a_humid_one(make_garden):
    bare = without(weather_csv(31), "rh_max", "rh_min")
    season = replay(make_garden({"site": {"climate": "dry"}}, weather=bare))
    (other,) = alternatives(season)
    assert other.instead == "dew point at tmin"
    assert other.change_mm < 0.0


def test_wind_borrowed_on_some_days_is_set_against_the_mean_of_the_others(make_garden, tmp_path):
    """Two days of 31 borrowed at 4.5 m/s: without the neighbour, the mean of the month's other days, which is 2 m/s."""
    (tmp_path / "hill.csv").write_text(weather_csv(31, wind=4.5), encoding="utf-8")
    text = weather_csv(31)
    for day in ("2025-05-04", "2025-05-05"):
        text = text.replace(f"{day},14.0,30.0,80,35,2.0", f"{day},14.0,30.0,80,35,")
    season = replay(make_garden({"weather": {"fallback": [{"file": "hill.csv"}]}}, weather=text))
    (other,) = alternatives(season)
    assert (other.instead, other.days) == ("the month's mean", 2)
    expected = season_eto(make_garden, weather_csv(31)) - season.totals["weather"]["eto_mm"]
    assert other.change_mm == pytest.approx(expected)
