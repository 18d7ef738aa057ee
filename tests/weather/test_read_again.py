"""
Files that were refused and are read: a spreadsheet's copy of an archive's file, spare columns, winter light; and months told.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.checks.sky import bright_bound
from panbudget.weather.clean import open_weather
from panbudget.weather.site import sky_of
from tests.weather.sites import Site
from tests.weather.test_broken_files import table, with_day

SITE = Site(latitude=52.0, longitude=5.0, elevation=0.0)

POWER = """-BEGIN HEADER-
NASA/POWER CERES/MERRA2 Native Resolution Daily Data
Location: Latitude  52.0   Longitude 5.0
T2M_MAX               MERRA-2 Temperature at 2 Meters Maximum (C)
T2M_MIN               MERRA-2 Temperature at 2 Meters Minimum (C)
PRECTOTCORR           MERRA-2 Precipitation Corrected (mm/day)
-END HEADER-
YEAR,MO,DY,T2M_MAX,T2M_MIN,PRECTOTCORR
""" + "".join(f"2025,6,{day},{20 + day / 10:.1f},10.5,0.5\n" for day in range(1, 21))


def read(folder, text, **options):
    path = folder / "weather.csv"
    path.write_text(text, encoding="utf-8")
    return read_weather(path, SITE, **options)


@pytest.mark.parametrize(
    "again",
    [
        lambda text: "\n".join(line + "," * (5 - line.count(",")) for line in text.splitlines()),
        lambda text: text.replace(",", ";"),
        lambda text: text.replace(",", ";").replace(".", ","),
        lambda text: text.replace(",", "\t"),
    ],
    ids=["padded", "semicolons", "decimal commas", "tabs"],
)
def test_an_archives_file_that_a_spreadsheet_saved_again_reads_the_same(tmp_path, again):
    """The numbers and the reader are the archive's."""
    plain, copy = read(tmp_path, POWER), read(tmp_path, again(POWER))
    assert copy.daily.equals(plain.daily)
    assert copy.provenance["reader"] == plain.provenance["reader"] == "nasa-power"


@pytest.mark.parametrize(
    ("text", "daily"),
    [
        ("date,tmin,tmax,rain\n2025-01,1,5,60\n2025-02,2,6,40\n2025-03,4,9,50\n", "daily values"),
        (
            '"STATION","DATE","TMAX","TMIN"\n"X","2025-01","5","1"\n"X","2025-02","6","2"\n"X","2025-03","9","3"\n',
            "GHCN-Daily",
        ),
        ("month;tmin;tmax\nJan 2025;1;5\nFeb 2025;2;6\nMar 2025;4;9\n", "daily values"),
        (
            "# period;GHI\n2025-01-01T00:00:00.0/2025-02-01T00:00:00.0;9\n2025-02-01T00:00:00.0/2025-03-01T00:00:00.0;8\n"
            "2025-03-01T00:00:00.0/2025-04-01T00:00:00.0;9\n",
            "daily values",
        ),
    ],
)
def test_months_are_told_to_be_months_and_the_daily_product_named(tmp_path, text, daily):
    """A row a month can't be stepped day by day."""
    with pytest.raises(WeatherError, match=f"line 2: .* are months; .* download or export .*{daily}"):
        read(tmp_path, text)


def test_a_spare_column_that_cannot_be_true_is_left_out_and_said(tmp_path):
    """The dew point gives the humidity; a pan's figures are for comparison only."""
    text = table(dew_point=10, rh_max=with_day(80, 400), pan_evaporation=with_day(6, -3))
    notes = " | ".join(read(tmp_path, text, start=dt.date(2025, 6, 1)).notes)
    assert "left out, as nothing needs it: rh_max is 400 %" in notes
    assert "left out, as nothing needs it: pan_evaporation is -3 mm" in notes
    with pytest.raises(WeatherError, match="rh_max is 400 %"):
        read(tmp_path, table(rh_max=with_day(80, 400)))


@pytest.mark.parametrize(("wrong", "whole"), [(1, True), (2, True), (3, False)])
def test_few_cells_that_cannot_be_true_leave_a_spare_column_its_others(tmp_path, wrong, whole):
    """A tenth of twenty days may be filled; beyond it the column goes, and FAO-56 eq 18 takes the place of eq 17."""
    cells = [105.0] * wrong + [40.0] * (20 - wrong)
    weather = read(tmp_path, table(rh_max=80, rh_min=cells), start=dt.date(2025, 6, 1))
    by = {str(how) for how in weather.flags["vapour_pressure"]}
    assert ("eq 17 from rh_max and rh_min" in by) is whole
    assert [caution.name for caution in weather.cautions if "rh_min is 105 %" in caution.sentence] == [
        "rh_min-range"
    ] * whole
    assert any("left out, as nothing needs it: rh_min is 105 %" in note for note in weather.notes)


@pytest.mark.parametrize(("share", "refused"), [(1.04, False), (1.2, False), (1.24, False), (1.26, True)])
def test_a_bright_day_in_a_low_sun_is_brought_down(tmp_path, share, refused):
    """In December at 52° a clear sky's light by its height alone is too little; beyond 1.25 of it is no weather."""
    days = pd.date_range("2024-12-01", periods=20)
    clear = sky_of(days, latitude=52.0, elevation=0.0).clear
    light = [round(float(sky) * (share if i == 5 else 0.6), 3) for i, sky in enumerate(clear)]
    text = table(20, start=dt.date(2024, 12, 1), tmin=1, tmax=6, radiation=light)
    if refused:
        with pytest.raises(WeatherError, match="radiation is"):
            read(tmp_path, text)
        return
    found = float(read(tmp_path, text).daily["radiation"].iloc[5])
    assert found == pytest.approx(
        min(light[5], float(bright_bound(sky_of(days, latitude=52.0, elevation=0.0))[5])), abs=1e-3
    )


def test_who_asks_for_no_cautions_has_the_same_days(tmp_path):
    """A wind that stands still is a caution and no refusal: the table, its flags and the seasons' one run are the same."""
    days, rng = pd.date_range("2020-01-01", "2021-12-31"), np.random.default_rng(1)
    warm = 10.0 - 8.0 * np.cos(2.0 * np.pi * days.day_of_year / 365.0) + rng.normal(0.0, 2.0, len(days))
    columns = {"tmin": warm, "tmax": warm + 9.0, "rh_max": 85.0 + rng.normal(0.0, 3.0, len(days)), "wind": 2.0}
    columns |= {"rh_min": 45.0 + rng.normal(0.0, 4.0, len(days)), "rain": rng.exponential(2.0, len(days))}
    file = tmp_path / "weather.csv"
    pd.DataFrame(columns, index=days.rename("date")).round(1).to_csv(file)
    spans = {year: (dt.date(year, 5, 1), dt.date(year, 8, 31)) for year in (2020, 2021)}
    told, untold = (open_weather(file, SITE, cautious=cautious).seasons(spans) for cautious in (True, False))
    assert told[2020].cautions
    assert not untold[2020].cautions
    assert untold[2020] is untold[2021]
    assert told[2020].daily is told[2021].daily
    for year in spans:
        assert untold[year].daily.equals(told[year].daily)
        assert untold[year].flags.equals(told[year].flags)


def test_each_year_is_cautioned_of_its_own_days(tmp_path):
    """A wind that stands still in one summer of two is no concern of the other's."""
    days, rng = pd.date_range("2020-01-01", "2021-12-31"), np.random.default_rng(2)
    warm = 10.0 - 8.0 * np.cos(2.0 * np.pi * days.day_of_year / 365.0) + rng.normal(0.0, 2.0, len(days))
    wind = 2.0 + 0.3 * rng.normal(0.0, 1.0, len(days))
    still = (days >= "2021-06-01") & (days <= "2021-06-10")
    columns = {"tmin": warm, "tmax": warm + 9.0 + rng.normal(0.0, 1.0, len(days)), "wind": np.where(still, 2.2, wind)}
    columns |= {"rain": rng.exponential(2.0, len(days))}
    file = tmp_path / "weather.csv"
    pd.DataFrame(columns, index=days.rename("date")).round(1).to_csv(file)
    spans = {year: (dt.date(year, 5, 1), dt.date(year, 8, 31)) for year in (2020, 2021)}
    for order in ((2020, 2021), (2021, 2020)):
        seasons = open_weather(file, SITE).seasons({year: spans[year] for year in order})
        assert [caution.name for caution in seasons[2020].cautions] == []
        assert [caution.name for caution in seasons[2021].cautions] == ["value-stuck"]
        assert "2021-06-01" in seasons[2021].cautions[0].sentence
