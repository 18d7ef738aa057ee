"""`check`: the weather's page, and variants tried before they are wanted."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import matplotlib.dates as mdates
import numpy as np
import pandas as pd
import pytest

from panbudget.errors import PanbudgetError
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.reports.check.figures import march_band, march_figure
from panbudget.reports.check.page import check_lines
from panbudget.reports.writing import as_json, as_page, write_into
from panbudget.studies.check import check
from panbudget.words import units_shown
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


def test_months_of_a_hundred_pans_are_summed_without_a_warning(found):
    """Which pandas gives of a table that grows by a column a hundred times."""
    season = SimpleNamespace(
        days=found.season.days, controllers=dict.fromkeys(range(101), found.season.controllers["upper"])
    )
    assert replace(found, season=season).by_month().shape[1] == 103


def test_lines_say_what_was_assumed(found):
    text = "\n".join(check_lines(found, everything=True))
    assert "assumed: vapour_pressure" in text
    assert "the file says of itself: invented weather" in text


@pytest.mark.parametrize(
    ("wind", "said"),
    [
        ("", "a thermometer in the sun; the day's mean for one of its extremes; another"),
        (",2.0", "extremes; temperatures some degrees off; wind up to twice as strong"),
    ],
)
def test_what_no_column_tells_is_said(make_garden, wind, said):
    """A wind alone tells another station, and neither of the others."""
    days = [
        f"2025-05-{day:02d},{14 + day % 3},{30 - day % 4},0,{7 + day % 3}{wind and f',{2 + day % 5 / 10}'}"
        for day in range(1, 9)
    ]
    text = "\n".join(["date,tmin,tmax,rain,pan_evaporation" + (wind and ",wind"), *days])
    lines = check_lines(check(make_garden(weather=text + "\n")))
    (told,) = (line for line in lines if line.startswith("What a file alone can't tell: "))
    assert said in told
    assert ("wind up to" in told) is bool(wind)
    assert "light" not in told
    assert ("another station or sensor from a day on" in told) is (not wind)


def test_files_that_other_verbs_read_are_read_too(make_garden):
    """All that is wrong with them comes at once; a forecast without rain is told under its table, which mends it."""
    named = {
        "weather": {"forecast": {"file": "ahead.csv"}},
        "log": {"file": "log.csv"},
        "supply": {"spring": {"right": {"readings": "meter.csv"}}},
    }
    garden = make_garden(named, weather=weather_csv(8))
    with pytest.raises(PanbudgetError) as caught:
        check(garden)
    texts = (
        'weather.forecast.file = "ahead.csv": there is no',
        'log.file = "log.csv": there is no',
        'supply.spring.right.readings = "meter.csv": there is',
    )
    assert [text in line for text, line in zip(texts, str(caught.value).splitlines(), strict=True)] == [True] * 3
    folder, lines = garden.path.parent, weather_csv(8).splitlines()
    at = lines[0].split(",").index("rain")
    bare = "\n".join(",".join(cell for k, cell in enumerate(line.split(",")) if k != at) for line in lines)
    (folder / "ahead.csv").write_text(bare + "\n", encoding="utf-8")
    ahead = {"file": "ahead.csv", "missing_rain": "error"}
    with pytest.raises(PanbudgetError, match=r'missing_rain = "zero" under \[weather.forecast\]'):
        check(garden := make_garden({"weather": {"forecast": ahead}}, weather=weather_csv(8)))
    assert check(garden.changed({"weather": {"forecast": {**ahead, "missing_rain": "zero"}}})).years == 1


@pytest.mark.draws
def test_the_page_stands_alone(found, tmp_path):
    write_into(found, tmp_path, figures=True)
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert "http" not in page
    assert "no spread between years" in page
    assert sorted(p.name for p in (tmp_path / "figures").iterdir()) == [
        "march.png",
        "march.svg",
        "weather.png",
        "weather.svg",
    ]


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
    with pytest.raises(
        PanbudgetError, match=r'variant\.ordinary-summer: weather\.file = .*terraces-1999\.csv": there is no such file'
    ):
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
    together = "tmin, tmax, vapour_pressure, rh_mean, rh_min, wind, rain, radiation"
    assert f"Missing: {together}: 2\N{NO-BREAK SPACE}days borrowed from hill.csv; filled otherwise, ETo would" in text
    assert "wind: 1\N{NO-BREAK SPACE}day estimated by monthly mean wind" in text
    assert "wind filled by 0.5 m/s more instead: ETo +" in text
    assert "radiation filled from the temperature range, kRs" in text
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
    names = ["march.png", "march.svg", "weather.png", "weather.svg", "years.png", "years.svg"]
    assert sorted(p.name for p in (folder / "figures").iterdir()) == names
    assert "+2.00 °C over" in page
    assert "from the lowest to the highest year" in page
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


def marching(found, years, lacking=(), season=("2025-05-01", "2025-09-30")):
    """Return `found` on an invented record of so many years to the end of 2025, and that record's ETo and rain by day."""
    days = pd.date_range(f"{2026 - years}-01-01", "2025-12-31", name="date").drop(pd.to_datetime(list(lacking)))
    wave = 3.0 + np.sin(days.day_of_year.to_numpy() * 0.7) + days.year.to_numpy() * 5 % 7 / 3.0
    record = pd.DataFrame({name: values.iloc[0] for name, values in found.weather.daily.items()}, days)
    record = record.assign(rain=wave, tmax=record["tmax"] + wave)
    dates = pd.DataFrame(index=pd.date_range(*season))
    weather, usable = replace(found.weather, daily=record), replace(found.usable, weather={})
    site = found.scenario.site
    eto = reference_evapotranspiration(record, latitude=site.latitude, elevation=site.elevation)
    return replace(found, weather=weather, usable=usable, season=SimpleNamespace(days=dates)), [eto, record["rain"]]


def drawn(ax):
    """Lines by label and the band's lowest and highest, week by week."""
    lines = {line.get_label(): line.get_ydata() for line in ax.lines}
    corners = [vertex for area in ax.collections for path in area.get_paths() for vertex in path.vertices]
    at = {x: [y for x_, y in corners if x_ == x] for x, _ in corners}
    return lines, [(min(at[x]), max(at[x])) for x in sorted(at)]


def test_the_years_march_has_the_records_mean_four_years_in_five_and_the_seasons_year(found):
    """Nineteen years: by Weibull's positions, a tenth lies below the second lowest. The last week has eight or nine days."""
    checked, series = marching(found, 19, lacking=["2012-01-17"])
    for ax, values in zip(march_figure(checked), series, strict=True):
        lines, band = drawn(ax)
        for week in (0, 2, 20, 51):
            of_years = {}
            for year in range(2007, 2026):
                start = pd.Timestamp(year, 1, 1) + dt.timedelta(days=7 * week)
                end = start + dt.timedelta(days=6) if week < 51 else pd.Timestamp(year, 12, 31)
                of_years[year] = 7.0 * values.loc[start:end].mean()
            if week == 2:
                del of_years[2012]  # it lacks a day
            assert lines["mean of all years"][week] == pytest.approx(sum(of_years.values()) / len(of_years))
            assert lines["the season's own year"][week] == pytest.approx(of_years[2025])
            ranked = sorted(of_years.values())
            if len(ranked) == 19:
                assert band[week] == pytest.approx((ranked[1], ranked[-2]))
        assert len(band) == 52


@pytest.mark.parametrize(("years", "holds"), [(1, "none"), (2, "few"), (8, "few"), (9, "many")])
def test_fewer_than_nine_years_lie_all_in_the_band_and_a_single_one_has_none(found, years, holds):
    checked, (eto, _) = marching(found, years)
    assert march_band(checked) == holds
    lines, band = drawn(march_figure(checked)[0])
    assert len(lines) == (1 if years == 1 else 2)
    weeks = [7.0 * eto[f"{year}-01-01" : f"{year}-01-07"].mean() for year in range(2026 - years, 2026)]
    assert lines["the season's own year"][0] == pytest.approx(weeks[-1])
    assert band[:1] == ([] if years == 1 else [pytest.approx((min(weeks), max(weeks)))])


def test_the_march_of_a_season_across_new_year_begins_in_its_first_month(found):
    checked, (eto, rain) = marching(found, 3, season=("2024-11-10", "2025-03-31"))
    ax, _ = march_figure(checked)
    (own,) = [line for line in ax.lines if line.get_label() == "the season's own year"]
    assert own.get_xdata()[0] == mdates.date2num(pd.Timestamp("2024-11-04"))
    assert own.get_ydata()[0] == pytest.approx(eto["2024-11-01":"2024-11-07"].sum())
    assert own.get_ydata()[51] == pytest.approx(7.0 * eto["2025-10-24":"2025-10-31"].mean())
    assert checked.weeks["rain_mm"][2022].count() == 43  # of the year that began before the record: from 3 January on
    assert rain.index[0] == pd.Timestamp("2023-01-01")


def test_check_says_once_what_was_filled_and_leaves_out_what_follows_from_it(mended, tmp_path):
    """Of a record of temperatures and rain; but for --all, where each column has its line."""
    for file in mended.parent.glob("*.*"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    rows = [line.split(",") for line in weather_csv(60).splitlines()]
    kept = [rows[0].index(name) for name in ("date", "tmin", "tmax", "rain")]
    named = [[*(rows[0][i] for i in kept), "brisa"], *([*(row[i] for i in kept), "2.0"] for row in rows[1:])]
    (tmp_path / "weather.csv").write_text("\n".join(map(",".join, named)) + "\n")
    (tmp_path / "hill.csv").write_bytes((tmp_path / "weather.csv").read_bytes())
    found = check(tmp_path / "garden.toml", season=2025)
    short, whole = ("\n".join(check_lines(found, everything=everything)) for everything in (False, True))
    assert "rh_mean, rh_min: 31\N{NO-BREAK SPACE}days estimated from estimated vapour pressure" in whole
    assert "every day estimated (2 m/s), not measured" in whole
    assert "wind: 31\N{NO-BREAK SPACE}days estimated by 2 m/s" in short
    assert "radiation: 31\N{NO-BREAK SPACE}days estimated from the temperature range" in short
    assert "vapour_pressure: 31\N{NO-BREAK SPACE}days estimated from tmin" in short
    with units_shown("US"):  # what is estimated is a number of the reader's, too
        shown = "\n".join(check_lines(found))
        assert "days estimated from tmin - 3.6 °F;" in shown
        assert "m/s" not in shown
    assert "rh_mean" not in short
    assert "Columns of the file that are not used: brisa." in short
    assert "not measured" not in short
    listed_by_all = [
        line
        for line in whole.splitlines()
        if line in {f"{f.severity}: {f.where}: {f.text}" for f in found.season.findings}
    ]
    shown = [line for line in listed_by_all if line in short]
    assert f"and {len(listed_by_all) - len(shown)} more findings." in short.replace("\u00a0", " ")
    assert {line.split(":")[0] for line in listed_by_all} >= {"note"}
    quiet = replace(found, season=replace(found.season, findings=()))
    assert check_lines(quiet)[-1].endswith("assumptions and notes.")
