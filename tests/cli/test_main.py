"""Each command through the real program: exit code, what it prints, what it leaves on disk."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import warnings
from pathlib import Path

import pandas as pd
import pytest

from panbudget.__main__ import VERBS, main
from tests.weather_server import serving

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "terraces.toml"
JULY = ("--start", "2025-07-01", "--end", "2025-07-14")  # a fortnight is quicker than a season
SEASON_FILES = ["beds.csv", "daily.csv", "figures", "openings.csv", "report.html", "season.json", "weeks.csv"]


def run(capsys, *arguments):
    """Run the program in this process; return exit code, standard output, standard error."""
    with pytest.raises(SystemExit) as stopped:
        main([str(argument) for argument in arguments])
    printed = capsys.readouterr()
    return stopped.value.code, printed.out, printed.err


def program(*arguments, cwd=None):
    """Run the program as a user does, in a process of its own."""
    command = [sys.executable, "-m", "panbudget", *map(str, arguments)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "simulator")}
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=environment, check=False)


def test_a_new_garden_replays_at_once(tmp_path, capsys):
    made = program("new", "mine", cwd=tmp_path)
    assert made.returncode == 0, made.stderr
    assert sorted(p.name for p in (tmp_path / "mine").iterdir()) == [
        *("garden.schema.json", "garden.toml", "weather.csv")
    ]
    assert "invented" in made.stdout
    assert "invented" in (tmp_path / "mine" / "weather.csv").read_text().splitlines()[0]
    played = program("replay", "mine/garden.toml", "--out", "mine/season", "--json", cwd=tmp_path)
    assert played.returncode == 0, played.stderr
    assert json.loads(played.stdout) == json.loads((tmp_path / "mine" / "season" / "season.json").read_text("utf-8"))
    assert sorted(p.name for p in (tmp_path / "mine" / "season").iterdir()) == [*SEASON_FILES[:2], *SEASON_FILES[3:]]
    assert "Traceback" not in played.stderr
    code, _, err = run(capsys, "new", tmp_path / "mine")
    assert code == 2
    assert "mine: is not empty" in err


def test_the_demo_is_replayed_and_written_as_the_contract_says(tmp_path, capsys):
    code, out, _ = run(capsys, "replay", DEMO, "--figures", "--out", tmp_path / "season")
    assert code == 0
    assert "The valve upper opened" in out
    assert "danger: upper/lettuce" in out
    folder = tmp_path / "season"
    assert sorted(p.name for p in folder.iterdir()) == SEASON_FILES
    whole = json.loads((folder / "season.json").read_text(encoding="utf-8"))
    assert whole["schema"] == 1
    assert set(whole) == {
        *("schema", "title", "laid_over", "garden", "season", "controllers", "beds", "supplies", "weather"),
        *("findings", "provenance", "measure_first"),
    }
    bed = whole["beds"]["upper/tomatoes"]
    wanted = {
        *("area_m2", "litres", "irrigation_mm", "rain_mm", "runoff_mm", "etc_mm", "eta_mm", "deep_percolation_mm"),
        *("stress_days", "longest_stress_days", "adequacy", "net_demand_mm", "depletion_start_mm"),
        *("depletion_end_mm", "closure_mm", "driest_quarter"),
    }
    assert wanted <= set(bed)
    assert wanted - {"area_m2", "litres", "driest_quarter"} <= set(bed["driest_quarter"])
    daily = pd.read_csv(folder / "daily.csv")
    assert len(daily) == 153 * 5
    litres = daily[(daily["controller"] == "upper") & (daily["bed"] == "tomatoes")]["litres"].sum()
    assert litres == pytest.approx(bed["litres"], rel=1e-9)
    openings = pd.read_csv(folder / "openings.csv")
    assert list(openings)[:7] == ["controller", "start", "end", "minutes", "refilled_kg", "litres", "cause"]
    assert (openings["controller"] == "upper").sum() == whole["controllers"]["upper"]["openings"]
    total = whole["supplies"]["spring"]["litres"]
    assert sum(whole["supplies"]["spring"]["by_month"].values()) == pytest.approx(total, rel=1e-12)
    assert openings["litres"].sum() == pytest.approx(total, rel=1e-9)


def test_two_runs_give_the_same_bytes(tmp_path, capsys):
    for name in ("one", "two"):
        assert run(capsys, "replay", DEMO, "--out", tmp_path / name, "--figures", "--quiet") == (0, "", "")
    files = sorted(p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*") if p.is_file())
    assert len(files) == 14
    for file in files:
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes(), file


def test_json_stands_alone_on_standard_output(tmp_path, capsys):
    code, out, _ = run(capsys, "replay", DEMO, "--out", tmp_path / "season", "--json", *JULY)
    assert code == 0
    assert json.loads(out) == json.loads((tmp_path / "season" / "season.json").read_text(encoding="utf-8"))


def test_strict_tells_a_danger_by_its_exit_code_and_still_writes(tmp_path, capsys):
    code, _, _ = run(capsys, "replay", DEMO, "--out", tmp_path / "season", "--strict", "--quiet")
    assert code == 1
    assert (tmp_path / "season" / "report.html").exists()


@pytest.mark.parametrize("columns", [60, 80, 200])
def test_tables_are_cut_off_nowhere_however_narrow_the_terminal(tmp_path, capsys, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    text = DEMO.read_text(encoding="utf-8").replace("../weather_samples", str(DEMO.parent.parent / "weather_samples"))
    name = "tomatoes-behind-the-old-greenhouse"
    garden = tmp_path / "garden.toml"
    garden.write_text(text.replace("bed.tomatoes", f"bed.{name}").replace("upper/tomatoes", f"upper/{name}"), "utf-8")
    code, out, _ = run(capsys, "replay", garden, "--out", tmp_path / "s", *JULY)
    assert code == 0
    assert "…" not in out
    assert all(len(line) <= columns for line in out.splitlines() if line.startswith("upper/"))
    # the last column's heading, and a name whose parts may stand below each other
    assert re.search(r"of them\b|\bin a\b", out) and re.search(r"\brow$", out, re.MULTILINE)
    assert f"upper/{name}" in "".join(re.findall(r"^([\w/-]+)(?: |$)", out, re.MULTILINE))
    code, out, _ = run(capsys, "known", "plants")
    assert "…" not in out and "source" in out and "1.15" in out and "lavender" in out


@pytest.mark.parametrize("option", ["--start", "--end"])
def test_a_date_in_words_is_answered_with_one_as_wanted(tmp_path, capsys, option):
    code, _, err = run(capsys, "replay", DEMO, "--out", tmp_path / "none", option, "1 May")
    assert code == 2
    assert err == f'{option} "1 May" is not a date as expected, year-month-day: write it such as 2025-05-01\n'
    assert not (tmp_path / "none").exists()


def test_a_variant_and_other_dates_can_be_asked_for(tmp_path, capsys):
    options = ("--variant", "wide-pan", "--start", "2025-07-01", "--end", "2025-07-31", "--json")
    code, out, _ = run(capsys, "replay", DEMO, "--out", tmp_path / "wide", *options)
    assert code == 0
    assert json.loads(out)["season"] == {"start": "2025-07-01", "end": "2025-07-31", "days": 31}
    code, _, err = run(capsys, "replay", DEMO, "--out", tmp_path / "none", "--variant", "wide-pam")
    assert code == 2
    assert 'did you mean "wide-pan"' in err
    code, _, err = run(
        capsys, "replay", DEMO, "--out", tmp_path / "none", "--start", "2025-07-31", "--end", "2025-07-01"
    )
    assert code == 2
    assert "before it starts" in err
    assert not (tmp_path / "none").exists()


def test_check_says_what_the_weather_file_holds(tmp_path, capsys):
    code, out, _ = run(capsys, "check", DEMO, "--out", tmp_path / "page")
    assert code == 0
    for said in (
        "sound; 2\N{NO-BREAK SPACE}valves, 5\N{NO-BREAK SPACE}beds",
        "153\N{NO-BREAK SPACE}days",
        "ETo 915 mm",
        "Nothing is missing",
        "--all lists them",
    ):
        assert said in out
    assert len(out.splitlines()) <= 20
    assert "highest tmax: 41.1 °C on 2025-07-13" in run(capsys, "check", DEMO, "--all")[1]
    page = (tmp_path / "page" / "check.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert "ETo [mm]" in page
    code, out, _ = run(capsys, "check", DEMO, "--json")
    assert code == 0
    assert json.loads(out)["weather"]["eto_mm"] == pytest.approx(915.4, abs=0.5)


def test_a_folder_of_somebody_elses_is_left_alone(tmp_path, capsys):
    folder = tmp_path / "papers"
    folder.mkdir()
    (folder / "letter.txt").write_text("dear")
    code, _, err = run(capsys, "replay", DEMO, "--out", folder, "--overwrite")
    assert code == 2
    assert "letter.txt, which `replay` did not make" in err
    assert (folder / "letter.txt").read_text() == "dear"
    code, _, err = run(capsys, "replay", DEMO, "--out", folder / "letter.txt")
    assert code == 2
    assert "is a file" in err


def test_overwrite_replaces_an_earlier_run(tmp_path, capsys):
    out = tmp_path / "season"
    assert run(capsys, "replay", DEMO, "--out", out, "--quiet", *JULY)[0] == 0
    assert run(capsys, "replay", DEMO, "--out", out, "--quiet", *JULY)[0] == 2
    assert run(capsys, "replay", DEMO, "--out", out, "--quiet", "--overwrite", "--end", "2025-05-31")[0] == 0
    assert json.loads((out / "season.json").read_text(encoding="utf-8"))["season"]["days"] == 31
    assert [p.name for p in tmp_path.iterdir()] == ["season"]  # nothing half-made beside it


@pytest.mark.parametrize(
    ("option", "day", "other"), [("--start", "2025-02-20", "--end"), ("--end", "2025-11-20", "--start")]
)
def test_a_day_of_an_option_that_the_record_lacks_is_blamed_on_the_option(option, day, other, capsys, tmp_path):
    """It was blamed on the scenario's key and file, which say another day."""
    code, _, err = run(capsys, "replay", DEMO, option, day, "--out", tmp_path / "season")
    assert code == 2
    assert f"{option} = {day} lies outside the weather file" in err
    assert "season." not in err
    assert other not in err
    assert str(DEMO) not in err


@pytest.mark.parametrize(
    "arguments",
    [
        ("replay",),
        ("replay", "x.toml"),
        ("rerun",),
        ("check", DEMO, "--colour"),
    ],
)
def test_a_mistake_in_the_call_is_told(arguments, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, _, err = run(capsys, *arguments)
    assert code == 2
    assert "Traceback" not in err
    assert "Usage" in err or "Error" in err
    assert not list(tmp_path.iterdir())


def test_help_names_every_command_with_an_example(capsys):
    code, out, _ = run(capsys, "--help")
    assert code == 0
    for verb in VERBS:
        assert verb in out
        code, text, _ = run(capsys, verb, "--help")
        assert code == 0
        assert "Example:" in text
        assert f"panbudget {verb}" in text
        assert not re.search("bool|int range", text, re.IGNORECASE)


HEAVY = {"numpy", "pandas", "matplotlib", "pint", "pydantic", "pyet", "scipy", "jinja2", "fpdf", "httpx", "tomlkit"}


@pytest.mark.parametrize(
    ("arguments", "heavy"), [(["--help"], HEAVY), (["replay", "no.toml", "--out", "o"], {"matplotlib"})]
)
def test_help_imports_nothing_heavy_and_a_refusal_nothing_that_draws(arguments, heavy):
    """So that both answer at once; the time itself is measured in tests/benchmarks."""
    script = (
        "import sys\nfrom panbudget.__main__ import main\n"
        f"try: main({arguments})\nexcept SystemExit: pass\n"
        f"heavy = {heavy} & set(sys.modules)\n"
        "sys.exit(repr(heavy) if heavy else 0)"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "simulator")}
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 0, done.stderr


def test_an_interruption_leaves_nothing_half_made(tmp_path, capsys, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("panbudget.files.json_bytes", interrupted)
    code, _, err = run(capsys, "replay", DEMO, "--out", tmp_path / "season")
    assert code == 130
    assert "nothing half-made" in err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("topic", ["plants", "soils", "landscape", "pans", "readers"])
def test_what_is_known_is_listed_with_its_source(topic, capsys):
    code, out, _ = run(capsys, "known", topic, "--json")
    assert code == 0
    rows = json.loads(out)[topic]
    assert rows
    assert all(row["name"] and row["source"] for row in rows)
    code, out, _ = run(capsys, "known", topic)
    assert code == 0
    assert rows[0]["name"] in out
    assert "(1) " in out


def test_what_is_known_is_shown_in_us_units_when_asked_and_stays_metric_as_data(capsys):
    """A clay's REW of 10 mm is 0.39 in; a tomato's 0.7 m of roots are 2.3 ft."""
    code, metric, _ = run(capsys, "known", "plants")
    assert code == 0 and "roots [m]" in metric
    _, us, _ = run(capsys, "known", "plants", "--units", "US")
    assert "roots [ft]" in us and "[m]" not in us
    (tomato,) = [line for line in us.splitlines() if line.startswith("tomato ")]
    (in_metres,) = [line for line in metric.splitlines() if line.startswith("tomato ")]
    metres = float(re.search(r"\b\d\.\d+\b", in_metres)[0])
    assert float(re.search(r"\b\d\.\d+\b", tomato)[0]) == pytest.approx(metres / 0.3048, abs=0.051)
    assert "REW [in]" in run(capsys, "known", "soils", "--units", "US")[1]
    assert run(capsys, "known", "soils", "--units", "US", "--json") == run(capsys, "known", "soils", "--json")
    code, _, err = run(capsys, "known", "soils", "--units", "cubits")
    assert code == 2 and '--units "cubits" is unknown; expected: metric or US' in err


def test_an_unknown_topic_is_told(capsys):
    code, _, err = run(capsys, "known", "plant")
    assert code == 2
    assert err.strip() == (
        'TOPIC = "plant" is unknown; expected: plants, soils, landscape, pans, readers, from-memory; did you mean "plants"?'
    )


def test_a_season_of_another_year_is_picked_by_name(tmp_path, capsys):
    """The demo's own file holds one summer; a file of two is made of both samples."""
    samples = ROOT / "weather_samples"
    first, second = (samples / f"terraces-{year}.csv" for year in (2024, 2025))
    rows = [line for line in second.read_text(encoding="utf-8").splitlines() if line[:2] == "20"]
    (tmp_path / "both.csv").write_text(first.read_text(encoding="utf-8") + "\n".join(rows) + "\n", encoding="utf-8")
    text = DEMO.read_text(encoding="utf-8").replace("../weather_samples/terraces-2025.csv", "both.csv")
    text = text.replace("../weather_samples", str(samples))
    (tmp_path / "garden.toml").write_text(text, encoding="utf-8")
    code, out, _ = run(capsys, "replay", tmp_path / "garden.toml", "--season", 2024, "--out", tmp_path / "s", "--json")
    assert code == 0
    assert json.loads(out)["season"]["start"] == "2024-05-01"
    code, out, _ = run(capsys, "check", tmp_path / "garden.toml", "--season", 2024)
    assert code == 0
    assert "the season is 1 May to 30 September 2024" in out
    code, out, err = run(capsys, "replay", tmp_path / "garden.toml", "--season", 2019, "--out", tmp_path / "t")
    assert code == 2
    assert len(err.splitlines()) == 1
    assert "it holds them in 2024 to 2025" in err
    assert not (tmp_path / "t").exists()
    arguments = ("--season", 2024, "--end", "2025-06-01", "--out", tmp_path / "t")
    code, _, err = run(capsys, "replay", tmp_path / "garden.toml", *arguments)
    assert code == 2
    assert "2025-06-01 lies outside the season of 2024, 2024-05-01 to 2024-09-30" in err


def test_every_reader_has_its_purpose_and_a_source_of_its_own(capsys):
    code, out, _ = run(capsys, "known", "readers", "--json")
    assert code == 0
    rows = {row["name"]: row for row in json.loads(out)["readers"]}
    assert rows["tmy3"]["source"].startswith("Wilcox & Marion (2008)")
    assert rows["gsod"]["what"].startswith("NOAA's Global Surface Summary of the Day")
    assert len({row["source"] for row in rows.values()}) == len({row["what"] for row in rows.values()}) == len(rows)


def test_a_garden_of_ones_own_is_never_overwritten(tmp_path, capsys):
    """`new` begins; what somebody has written since stays, whatever is asked."""
    folder = tmp_path / "mine"
    assert run(capsys, "new", folder)[0] == 0
    assert run(capsys, "new", folder, "--overwrite")[0] == 0  # unchanged: nothing to lose
    garden = folder / "garden.toml"
    garden.write_text(garden.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    code, _, err = run(capsys, "new", folder, "--overwrite")
    assert code == 2
    assert "holds a garden.toml that has been changed, and stays as it is" in err
    assert garden.read_text(encoding="utf-8").endswith("# mine\n")


def test_weather_downloads_both_kinds_and_names_them(tmp_path, capsys):
    path = tmp_path / "garden.toml"
    path.write_text("[site]\nlatitude = 38.6\nlongitude = -6.1\nelevation = '240 m'\n", encoding="utf-8")
    with serving() as server:
        services = ("--power-address", server.address, "--forecast-address", server.address)
        code, out, err = run(capsys, "weather", path, "--years", "2024", "--forecast", "3", *services)
        assert (code, err) == (0, "")
        assert "Downloaded 366" in out
        assert '[weather.forecast] now has file = "garden-forecast.csv"' in out
        code, out, _ = run(capsys, "weather", path, "--years", "2024-2024", *services, "--json")
        assert json.loads(out)["weather"]["new"] == 0
        code, out, _ = run(capsys, "weather", path, "--forecast", "3", *services, "--quiet")
        assert (code, out) == (0, "")
        server.way = "web-page"
        code, out, err = run(capsys, "weather", path, "--years", "2023", *services)
        assert (code, out) == (2, "")
        assert "web page" in err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["garden-forecast.csv", "garden-weather.csv", "garden.toml"]


def test_weather_tells_how_to_ask(tmp_path, capsys):
    path = tmp_path / "garden.toml"
    path.write_text("[site]\nlatitude = 38.6\nlongitude = -6.1\nelevation = '240 m'\n", encoding="utf-8")
    code, _, err = run(capsys, "weather", path)
    assert code == 2
    assert "--years 2015-2025" in err
    code, _, err = run(capsys, "weather", path, "--years", "recent")
    assert code == 2
    assert "write it such as 2015-2025" in err


def test_a_completion_that_cannot_be_is_bad_use_and_no_danger(monkeypatch, capsys):
    """It ended with 1."""
    monkeypatch.setattr("sys.argv", ["panbudget"])
    monkeypatch.setattr(sys.modules["__main__"], "__package__", "")
    monkeypatch.setenv("_PANBUDGET_COMPLETE", "source_nothing")
    with pytest.raises(SystemExit) as ended:
        main([])
    assert ended.value.code == 2
    assert "not supported" in "".join(capsys.readouterr())


@pytest.mark.parametrize("asked_for", [[], ["default"]])
def test_libraries_warnings_are_shown_to_who_asks_for_them_alone(monkeypatch, capsys, asked_for):
    """A hundred valves brought one of pandas, with a path of this machine, above what was found."""
    monkeypatch.setattr(sys, "argv", ["panbudget", "--version"])
    monkeypatch.setattr(sys, "warnoptions", asked_for)
    with warnings.catch_warnings(record=True) as shown:
        warnings.simplefilter("default")
        with pytest.raises(SystemExit):
            main()
        warnings.warn("slow", RuntimeWarning, stacklevel=1)
    assert len(shown) == len(asked_for)
