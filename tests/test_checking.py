"""`check`: the weather's page, and variants tried before they are wanted."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulator.checking import check_lines, check_scenario, write_check
from simulator.errors import PanbudgetError

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "scenarios" / "terraces.toml"


@pytest.fixture(scope="module")
def found():
    return check_scenario(DEMO)


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
    text = "\n".join(check_lines(found))
    assert "assumed: vapour_pressure" in text
    assert "the file says of itself: invented weather" in text


def test_the_page_stands_alone(found, tmp_path):
    write_check(found, tmp_path)
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert "http" not in page
    assert sorted(p.name for p in (tmp_path / "figures").iterdir()) == ["weather.png", "weather.svg"]


def test_a_variant_that_fails_is_found_before_it_is_wanted(tmp_path):
    text = DEMO.read_text(encoding="utf-8").replace("../weather_samples", str(ROOT / "weather_samples"))
    text = text.replace("terraces-2024.csv", "terraces-1999.csv")
    (tmp_path / "garden.toml").write_text(text, encoding="utf-8")
    with pytest.raises(PanbudgetError, match=r"variant\.ordinary-summer: .*terraces-1999\.csv: there is no such file"):
        check_scenario(tmp_path / "garden.toml")
