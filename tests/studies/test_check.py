"""`check`: the weather's page, and variants tried before they are wanted."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from panbudget.errors import PanbudgetError
from panbudget.reports.check.page import check_lines
from panbudget.reports.writing import as_json, as_page, write_into
from panbudget.studies.check import check
from tests.small_weather import weather_csv

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "terraces.toml"


@pytest.fixture(scope="module")
def found():
    return check(DEMO)


def test_extremes_are_those_of_the_season(found):
    by_name = {(row["which"], row["column"]): row for row in found.extremes()}
    hottest = by_name["highest", "tmax"]
    daily = found.weather.daily.loc["2025-05-01":"2025-09-30"]
    assert hottest["value"] == daily["tmax"].max()
    assert daily.loc[hottest["date"], "tmax"] == hottest["value"]


def test_months_add_up(found):
    months = found.by_month()
    assert months.index.tolist() == [f"2025-0{m}" for m in range(5, 10)]
    assert months["eto_mm"].sum() == pytest.approx(found.season.totals["weather"]["eto_mm"])


def test_lines_say_what_was_assumed(found):
    text = "\n".join(check_lines(found, everything=True))
    assert "assumed: vapour_pressure" in text
    assert "the file says of itself: invented weather" in text


@pytest.mark.draws
def test_the_page_stands_alone(found, tmp_path):
    write_into(found, tmp_path, figures=True)
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert "http" not in page
    assert sorted(p.name for p in (tmp_path / "figures").iterdir()) == ["weather.png", "weather.svg"]


def test_the_page_has_the_scenarios_note_under_its_title(tmp_path):
    assert note_on_page(tmp_path, 'note = "The weather is <invented>."') == "The weather is &lt;invented&gt;."
    assert note_on_page(tmp_path, "") is None


def note_on_page(folder, line):
    text = DEMO.read_text(encoding="utf-8").replace("../weather_samples", str(ROOT / "weather_samples"))
    text = text[: text.index("\n[variant.")]  # which would be tried, each a season
    kept = [row for row in text.splitlines() if not row.startswith("note =")]
    garden = folder / "garden.toml"
    garden.write_text("\n".join([line, *kept]), encoding="utf-8")
    match = re.search(r'<p class="note">(.*?)</p>', as_page(check(garden)))
    return match.group(1) if match else None


def test_a_variant_that_fails_is_found_before_it_is_wanted(tmp_path):
    text = DEMO.read_text(encoding="utf-8").replace("../weather_samples", str(ROOT / "weather_samples"))
    text = text.replace("terraces-2024.csv", "terraces-1999.csv")
    (tmp_path / "garden.toml").write_text(text, encoding="utf-8")
    with pytest.raises(PanbudgetError, match=r"variant\.ordinary-summer: .*terraces-1999\.csv: there is no such file"):
        check(tmp_path / "garden.toml")


def without_wind(text):
    """Take the wind of one day, and the rows of two."""
    text = text.replace("2025-05-04,14.0,30.0,80,35,2.0", "2025-05-04,14.0,30.0,80,35,")
    return "\n".join(line for line in text.splitlines() if not line.startswith(("2025-05-11", "2025-05-12"))) + "\n"


@pytest.fixture(scope="module")
def mended(tmp_path_factory):
    """A record of two years with gaps, a fallback for some of them, and the garden on it; checked in its first year."""
    tmp_path = tmp_path_factory.mktemp("mended")
    (tmp_path / "weather.csv").write_text(without_wind(weather_csv(400, radiation=12.0)), encoding="utf-8")
    lines = weather_csv(60, tmin=12.0, radiation=12.0).splitlines()
    del lines[4]
    (tmp_path / "hill.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    template = (ROOT / "simulator" / "panbudget" / "templates" / "garden.toml").read_text(encoding="utf-8")
    text = template.replace(
        "\n[season]", '\n[[weather.fallback]]\nfile = "hill.csv"\nadjust = true\nrain = true\n\n[season]'
    )
    text = text.replace("end = 2023-08-31", "end = 2023-05-31")
    (tmp_path / "garden.toml").write_text(text, encoding="utf-8")
    return tmp_path / "garden.toml"


@pytest.fixture(scope="module")
def lent(mended):
    return check(mended, season=2025)


def test_check_says_what_was_borrowed_and_what_it_matters(lent):
    found = lent
    whole = found.as_dict()["weather"]
    assert whole["filled"]["tmin"] == {"borrowed from hill.csv": 2}
    assert whole["filled"]["wind"] == {"borrowed from hill.csv": 2, "monthly mean wind": 1}
    assert whole["fallbacks"][0]["borrowed"]["tmin"] == 2
    assert whole["fallbacks"][0]["fit"]["tmin"]["shift"] == pytest.approx(2.0)
    assert {row["quantity"] for row in whole["sensitivity"]} == {"wind", "humidity", "radiation"}
    assert len(check_lines(found)) <= 20
    text = "\n".join(check_lines(found, everything=True))
    assert "tmin: 2 day(s) borrowed from hill.csv" in text
    assert "wind: 1 day(s) estimated by monthly mean wind" in text
    assert "wind filled by 0.5 m/s more instead: ETo +" in text
    assert "by monthly mean wind; filled otherwise, ETo would change by −" in text
    assert "km/h, knots, mph or km a day for m/s: wind" in text
    assert "sunshine" not in text.partition("Looked for in the values:")[2].partition("assumed:")[0]
    assert "a clock that is hours out" not in text


def test_the_page_shows_the_years_the_fallback_and_how_much_it_matters(lent, tmp_path):
    found = lent
    folder = tmp_path / "page"
    folder.mkdir()
    write_into(found, folder, figures=True)
    page = (folder / "check.html").read_text(encoding="utf-8")
    names = ["weather.png", "weather.svg", "years.png", "years.svg"]
    assert sorted(p.name for p in (folder / "figures").iterdir()) == names
    assert "+2.00 °C over" in page
    assert "How much it matters what was filled" in page
    assert "0.5 m/s more" in page
    assert "borrowed from another station" in page


def test_variants_are_tried_in_the_year_asked_for(mended):
    """The variant's own planting day moves along; tried in 2023 it would lie outside the weather file."""
    text = mended.read_text(encoding="utf-8") + "\n[variant.later]\nseason.start = 2023-05-10\n"
    later = mended.with_name("later.toml")
    later.write_text(text, encoding="utf-8")
    assert check(later, season=2025).season.totals["season"]["start"] == "2025-05-01"


def test_a_replay_is_made_from_its_fallbacks_too(lent, mended):
    """Their fingerprints stand in season.json and under "Made from"."""
    import hashlib

    season = lent.season
    written = as_json(season)["provenance"]["weather"]
    sha256 = hashlib.sha256(mended.with_name("hill.csv").read_bytes()).hexdigest()
    assert [one["sha256"] for one in written["fallbacks"]] == [sha256]
    assert written["typical"] is False
    page = as_page(season)
    assert sha256 in page
    assert "Filled otherwise, " in page
