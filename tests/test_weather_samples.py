"""The committed weather samples: made by their script, said to be invented, and weather that could be."""

from __future__ import annotations

import csv
import datetime as dt
import io
import itertools
import math
import runpy
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SCRIPT = runpy.run_path(str(ROOT / "weather_samples" / "make_samples.py"), run_name="make_samples")
SAMPLES = SCRIPT["SAMPLES"]
NAMES = [Path(sample.path).stem for sample in SAMPLES]
ORDINARY, HOT, TEMPLATE = "terraces-2024", "terraces-2025", "weather"


def _rows(name: str) -> list[dict[str, str]]:
    text = (ROOT / SAMPLES[NAMES.index(name)].path).read_text(encoding="ascii")
    return list(csv.DictReader(io.StringIO("".join(x for x in text.splitlines(True) if x[0] != "#"))))


def _saturation(temperature: float) -> float:
    """FAO-56 (1998) eq. 11, in kPa."""
    return 0.6108 * math.exp(17.27 * temperature / (temperature + 237.3))


@pytest.fixture(params=NAMES)
def name(request: pytest.FixtureRequest) -> str:
    """One sample's name."""
    return str(request.param)


def test_the_script_writes_the_committed_files_byte_for_byte(tmp_path):
    """A hand edit, or a change to the script without a new run, shows here."""
    written = SCRIPT["write_all"](tmp_path)
    assert [path.relative_to(tmp_path).as_posix() for path in written] == [sample.path for sample in SAMPLES]
    for path in written:
        assert path.read_bytes() == (ROOT / path.relative_to(tmp_path)).read_bytes()


def test_every_file_says_that_it_is_invented(name):
    """Nobody who opens the file alone can take it for a measurement."""
    with (ROOT / SAMPLES[NAMES.index(name)].path).open(encoding="ascii") as file:
        assert file.readline().startswith("# invented weather")


@pytest.mark.parametrize(
    ("name", "start", "end"),
    [
        (ORDINARY, "2024-03-01", "2024-10-31"),
        (HOT, "2025-03-01", "2025-10-31"),
        (TEMPLATE, "2023-05-01", "2023-08-31"),
    ],
)
def test_every_day_is_there_once_and_in_order(name, start, end):
    """No day is missing and none stands twice."""
    days = [dt.date.fromisoformat(row["date"]) for row in _rows(name)]
    assert (days[0].isoformat(), days[-1].isoformat()) == (start, end)
    assert {later - earlier for earlier, later in itertools.pairwise(days)} == {dt.timedelta(days=1)}


def test_clear_sky_radiation_matches_fao56_example_8():
    """FAO-56 (1998), Example 8: Ra 32.2 MJ/m² at 20° south on 3 September; eq. 37 at sea level."""
    Rso = SCRIPT["clear_sky_radiation"](246, latitude=-20.0, elevation=0.0)
    # printed to one decimal
    assert Rso == pytest.approx(0.75 * 32.2, abs=0.75 * 0.05)


def test_radiation_is_a_quarter_of_a_clear_sky_or_more_and_never_brighter(name):
    """Between 0.25 and 0.98 of Rso, the bounds asked of the sample."""
    sample = SAMPLES[NAMES.index(name)]
    for row in _rows(name):
        of_year = dt.date.fromisoformat(row["date"]).timetuple().tm_yday
        Rso = SCRIPT["clear_sky_radiation"](of_year, latitude=sample.latitude, elevation=sample.elevation)
        assert 0.25 <= float(row["radiation"]) / Rso <= 0.98, row


def test_the_air_is_air_that_could_have_been(name):
    """Night cooler than day, humidity within 5 to 100 %, one vapour pressure behind both its figures."""
    for row in _rows(name):
        tmin, tmax = float(row["tmin"]), float(row["tmax"])
        assert 2.5 <= tmax - tmin <= 22.0, row
        if not row["rh_max"]:
            continue
        rh_max, rh_min = float(row["rh_max"]), float(row["rh_min"])
        assert 5.0 <= rh_min < rh_max <= 100.0, row
        morning, afternoon = rh_max / 100 * _saturation(tmin), rh_min / 100 * _saturation(tmax)
        # half a per cent of rounding on each side, more at the hot end
        slack = 0.005 * (_saturation(tmin) + _saturation(tmax)) + 1e-9
        assert morning == pytest.approx(afternoon, abs=slack), row


def test_wind_and_rain_stay_within_what_a_garden_sees(name):
    """Wind at 2 m from 0.8 to 4.5 m/s; rain from none to a heavy thunder shower."""
    for row in _rows(name):
        assert row["wind"] == "" or 0.8 <= float(row["wind"]) <= 4.5, row
        assert 0.0 <= float(row["rain"]) <= 35.0, row


def test_wet_days_are_dimmer_than_dry_ones(name):
    """The mean share of clear-sky radiation on days with rain lies far below that of dry days."""
    sample = SAMPLES[NAMES.index(name)]
    shares: dict[bool, list[float]] = {True: [], False: []}
    for row in _rows(name):
        of_year = dt.date.fromisoformat(row["date"]).timetuple().tm_yday
        Rso = SCRIPT["clear_sky_radiation"](of_year, latitude=sample.latitude, elevation=sample.elevation)
        shares[float(row["rain"]) > 0].append(float(row["radiation"]) / Rso)
    wet, dry = (sum(values) / len(values) for values in (shares[True], shares[False]))
    assert wet < dry - 0.2


def test_the_ordinary_summer_has_the_promised_gaps_and_the_others_none():
    """Three wind cells and two pairs of humidity, none beside another."""
    gaps = {name: [(row["date"], key) for row in _rows(name) for key in row if row[key] == ""] for name in NAMES}
    assert not gaps[HOT]
    assert not gaps[TEMPLATE]
    assert sorted(key for _, key in gaps[ORDINARY]) == ["rh_max"] * 2 + ["rh_min"] * 2 + ["wind"] * 3
    assert len({day for day, _ in gaps[ORDINARY]}) == 5


def test_the_heat_wave_lasts_ten_days_of_july_and_is_hot_dry_and_windy():
    """Ten days in a row above 37 °C, 41 °C at their peak, and no other such day in either summer."""
    hot = [row for row in _rows(HOT) if float(row["tmax"]) >= 37.0]
    assert [row["date"] for row in hot] == [f"2025-07-{day:02d}" for day in range(8, 18)]
    assert 40.5 <= max(float(row["tmax"]) for row in hot) <= 41.5
    assert all(float(row["wind"]) >= 2.5 and float(row["rh_min"]) <= 20 and float(row["rain"]) == 0 for row in hot)
    assert max(float(row["tmax"]) for row in _rows(ORDINARY)) < 37.0


def test_one_or_two_showers_of_the_hot_season_overfill_a_pan():
    """May to September: more rain in a day than 20 mm of freeboard and a 4.6 mm swing (0.9 kg, 0.196 m²)."""
    rain = [float(row["rain"]) for row in _rows(HOT) if "2025-05-01" <= row["date"] <= "2025-09-30"]
    assert 1 <= sum(value > 25.0 for value in rain) <= 2


@pytest.mark.parametrize("option", ["--help", "--nope"])
def test_a_script_makes_no_folder_of_an_option(option, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["make_district.py", option])
    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(ROOT / "weather_samples" / "make_district.py"), run_name="__main__")
    assert ended.value.code == (0 if option == "--help" else 2)
    assert not [*tmp_path.iterdir()]
