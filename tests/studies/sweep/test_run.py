"""Sweeps from beginning to end: killed and gone on with, bad sites, other orders, other workers, the command itself."""

from __future__ import annotations

import concurrent.futures
import errno
import json
import os
import pathlib
import shutil
import socket

import numpy as np
import pytest
from typer.testing import CliRunner

pq = pytest.importorskip("pyarrow.parquet")

from panbudget import __main__ as cli  # noqa: E402
from panbudget.errors import OutputError, PanbudgetError  # noqa: E402
from panbudget.studies.sweep import jobs, kept, workers  # noqa: E402
from panbudget.studies.sweep import plan as planning  # noqa: E402
from panbudget.studies.sweep import run as running  # noqa: E402
from panbudget.studies.sweep.compute import season_columns  # noqa: E402
from panbudget.studies.sweep.jobs import cut, kit_of, run_job  # noqa: E402
from panbudget.studies.sweep.plan import load_plan  # noqa: E402
from panbudget.studies.sweep.run import estimate, sweep  # noqa: E402
from panbudget.studies.sweep.site import open_site  # noqa: E402
from panbudget.studies.sweep.store import alone  # noqa: E402
from tests.cli.test_main import run  # noqa: E402
from tests.studies.sweep.district import contents, make_plan  # noqa: E402

SMALL_PARTS = "[output]\nrows_per_file = 20\nfigures = false\n"


def rows(folder):
    """The dataset, part after part."""
    tables = [pq.read_table(path).to_pandas() for path in sorted((folder / "seasons").glob("*.parquet"))]
    import pandas as pd

    return pd.concat(tables, ignore_index=True)


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A folder with a plan and what it came to, and that; for tests that only look."""
    folder = tmp_path_factory.mktemp("swept")
    return folder, sweep(make_plan(folder), folder / "out", processes=1)


@pytest.fixture(scope="module")
def parted(tmp_path_factory):
    """The same in many small parts."""
    folder = tmp_path_factory.mktemp("parted")
    sweep(make_plan(folder, more=SMALL_PARTS), folder / "out", processes=1)
    return folder


@pytest.fixture
def again(parted, tmp_path):
    """The same, of a test's own."""
    shutil.copytree(parted, tmp_path, dirs_exist_ok=True)
    return tmp_path / "plan.toml", tmp_path / "out"


def test_one_row_for_each_site_year_design_and_bed(swept):
    folder, found = swept
    table = rows(folder / "out")
    assert len(table) == found.rows == 3 * 2 * 3 * 3
    assert not table.duplicated(["site", "year", "design", "controller", "bed"]).any()
    assert found.seasons == 3 * 2 * 3
    assert {str(day) for day in table["start"]} == {"2020-05-01", "2021-05-01"}
    assert (table["filled_values"] == 0).all()
    for balance, passed in (
        ("closure_mm", "rain_mm"),
        ("driest_closure_mm", "rain_mm"),
        ("pan_closure_kg", "pan_start_kg"),
    ):
        # every term of it is below the water that passed, so this asks more than 1e-9 of that
        assert (table[balance].abs() <= 1e-9 * (table[passed] + table["irrigation_mm"] + 100.0)).all()


def test_the_folder_says_what_the_sweep_came_to(swept):
    folder, found = swept
    names = set(contents(folder / "out"))
    assert names == {
        "figures/map.png",
        "figures/map.svg",
        "plan.json",
        "seasons/part-000000.parquet",
        "suits.csv",
        "suits.parquet",
        "sites.csv",
        "columns.csv",
        "parts.sha256",
        "summary.csv",
        "sweep.json",
    }
    said = json.loads((folder / "out" / "sweep.json").read_text(encoding="utf-8"))
    assert (said["sites"], said["sites_run"], said["rows"], said["seasons"]) == (3, 3, 54, 18)
    assert sum(said["suits"].values()) == 3
    assert len(found.choices) == 3


def test_a_broken_part_and_a_draft_are_made_anew(again):
    plan, out = again
    whole = contents(out)
    part = out / "seasons" / "part-000001.parquet"
    part.write_bytes(part.read_bytes()[:1000])
    bent = out / "seasons" / "part-000000.parquet"
    content = bytearray(bent.read_bytes())
    content[200] ^= 1  # a byte of the data, which the footer knows nothing of
    bent.write_bytes(content)
    (out / "seasons" / ".part-000002.parquet.77.draft").write_bytes(b"half")
    found = sweep(plan, out, processes=1)
    assert found.kept == len(list((out / "seasons").iterdir())) - 2
    assert contents(out) == whole
    owner = f"is being written by another sweep .process {os.getpid()} on {socket.gethostname()}, since .* UTC.; wait for it"
    with alone(out), pytest.raises(OutputError, match=owner):
        sweep(plan, out, processes=1)


@pytest.mark.parametrize("full_from", [1, 2, 4, 9])
def test_a_full_disk_is_one_line_and_a_later_run_goes_on_to_the_same_bytes(parted, again, monkeypatch, full_from):
    """Each file that is opened for writing is one: drafts of plan and parts, digests after each part, the log."""
    plan, out = again
    shutil.rmtree(out)
    opened = 0

    def full(path, mode="r", *arguments, **more):
        nonlocal opened
        opened += path.is_relative_to(out) and mode in ("wb", "a") and path.name != "sweep.log"
        if opened >= full_from and mode in ("wb", "a"):
            raise OSError(errno.ENOSPC, "No space left on device")
        return really(path, mode, *arguments, **more)

    really = pathlib.Path.open
    with monkeypatch.context() as patched:
        patched.setattr(pathlib.Path, "open", full)
        with pytest.raises(OutputError, match="No space left on device") as stopped:
            sweep(plan, out, processes=1)
    assert stopped.value.text().endswith(
        "the parts that are done are kept: make room, and run the same command to go on"
    )
    assert len(stopped.value.text().splitlines()) == 1
    assert out.exists() == (full_from > 2)  # after the lock and the plan come the parts
    sweep(plan, out, processes=1)
    assert contents(out) == contents(parted / "out")


def test_a_weather_file_changed_since_is_not_mixed_with_the_old_one(again):
    plan, out = again
    before = rows(out)
    weather = plan.parent / "weather" / "place-02.csv"
    weather.write_text(weather.read_text(encoding="ascii").replace(",0.0,", ",0.1,"), encoding="ascii")
    sweep(plan, out, processes=1)
    after = rows(out)
    changed = set(before.loc[(before["rain_mm"] != after["rain_mm"]).to_numpy(), "site"])
    assert changed == {"Place 02"}


def test_a_stop_leaves_no_summary_of_other_parts(again):
    """One file's weather is another now, and the next one's is broken: what both came to is kept apart until it is made again."""
    plan, out = again
    for name, mended in (("place-02.csv", (",0.0,", ",0.1,")), ("place-03.csv", ("tmax", "other"))):
        weather = plan.parent / "weather" / name
        weather.write_text(weather.read_text(encoding="ascii").replace(*mended), encoding="ascii")
    with pytest.raises(PanbudgetError, match="Place 03"):
        sweep(plan, out, processes=1)
    assert sorted(path.name for path in out.iterdir()) == [
        "earlier",
        "parts.sha256",
        "plan.json",
        "seasons",
        "sweep.log",
    ]
    kept = {path.name for path in (out / "earlier").iterdir()}
    assert kept >= {"summary.csv", "suits.csv", "sites.csv", "sweep.json"}


def test_the_order_of_the_jobs_changes_nothing(parted, tmp_path, monkeypatch):
    def backwards(kit, jobs, **_):
        for job in reversed(list(jobs)):
            yield run_job(kit, job)

    monkeypatch.setattr(running, "run_jobs", backwards)
    sweep(parted / "plan.toml", tmp_path / "back", processes=1)
    assert contents(tmp_path / "back") == contents(parted / "out")


def test_added_sites_years_and_designs_alone_are_computed(tmp_path, monkeypatch):
    """What an earlier plan of the same sweep has left is taken over, and the bytes are those of a sweep from scratch."""
    ran = []

    def counted(record, bundle, dates, years, engine):
        ran.extend((record.place.name, name, year) for name in {row.design for row in bundle.rows} for year in years)
        return season_columns(record, bundle, dates, years, engine)

    monkeypatch.setattr(jobs, "season_columns", counted)
    head, only = "[design.as-is]\n", "[years]\nfirst = 2020\nlast = 2020\n"
    wide = '[design.wide]\ncontroller.yard.pan.vessels = [{ diameter = "70 cm" }]\n'
    more = "[output]\nfigures = false\nrows_per_file = 12\n"
    sweep(make_plan(tmp_path, places=2, years=only, designs=head, more=more), tmp_path / "out", processes=1)
    first, ran[:] = {*ran}, []
    both = "[years]\nfirst = 2020\nlast = 2021\n# and a remark\n"
    plan = make_plan(tmp_path, places=3, years=both, designs=head + wide, more=more)
    sweep(plan, tmp_path / "out", processes=1)
    added, ran[:] = {*ran}, []
    assert len(first) == 2
    assert not first & added
    sweep(plan, tmp_path / "fresh", processes=1)
    assert {*ran} == first | added
    assert contents(tmp_path / "out") == contents(tmp_path / "fresh")
    monkeypatch.setattr(planning, "code_mark", lambda: "other sources")
    monkeypatch.setattr(jobs, "code_mark", lambda: "other sources")
    ran.clear()
    told = [CliRunner().invoke(cli.app, ["sweep", str(plan), "--out", str(tmp_path / "out")]).stderr for _ in range(2)]
    assert [
        f"has changed: the 3\N{NO-BREAK SPACE}parts in {tmp_path / 'out'} are computed again\n" in text for text in told
    ] == [True, False]
    assert {*ran} == first | added
    monkeypatch.undo()
    with pytest.raises(PanbudgetError, match="some workers have other sources"):
        monkeypatch.setattr(jobs, "code_mark", lambda: "a worker's")
        jobs._unpacked.cache_clear()
        sweep(plan, tmp_path / "elsewhere", processes=1)


def test_weather_once_read_is_kept_and_never_trusted_blindly(tmp_path, monkeypatch):
    monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path / "cache"))
    plan = make_plan(tmp_path, places=1, more=SMALL_PARTS)
    opened = []
    monkeypatch.setattr(jobs, "open_site", lambda *given: opened.append(1) or open_site(*given))

    def swept_in(name):
        opened.clear()
        sweep(plan, tmp_path / name, processes=1)
        assert contents(tmp_path / name) == contents(tmp_path / "first")
        return len(opened)

    assert swept_in("first") == 1
    (file,) = (tmp_path / "cache" / "weather").iterdir()
    assert swept_in("again") == 0
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)
    assert swept_in("bent") == 1
    assert swept_in("mended") == 0
    file.write_bytes(b"")
    assert swept_in("emptied") == 1
    if hasattr(os, "mkfifo"):
        file.unlink()
        os.mkfifo(file)  # it was waited for without end
        assert swept_in("piped") == 1
        assert file.is_file()
    (tmp_path / "cache" / "weather").chmod(0o777)  # of whoever likes
    assert swept_in("open") == 1
    (tmp_path / "cache" / "weather").chmod(0o700)
    monkeypatch.setattr(kept, "_MOST", file.stat().st_size - 1)
    kept.trim()
    assert not list((tmp_path / "cache" / "weather").iterdir())


def test_kept_weather_under_another_name_is_not_believed(tmp_path, monkeypatch):
    """Two kept files that were exchanged gave each place the other's weather, without a word."""
    monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path / "cache"))
    plan = make_plan(tmp_path, places=2, more=SMALL_PARTS)
    sweep(plan, tmp_path / "first", processes=1)
    one, other = (tmp_path / "cache" / "weather").iterdir()
    held, others = one.read_bytes(), other.read_bytes()
    one.write_bytes(others)
    other.write_bytes(held)
    sweep(plan, tmp_path / "exchanged", processes=1)
    assert contents(tmp_path / "exchanged") == contents(tmp_path / "first")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_in_place_of_a_manifest_is_not_waited_for(tmp_path):
    (tmp_path / "out").mkdir()
    os.mkfifo(tmp_path / "out" / "plan.json")
    os.mkfifo(tmp_path / "out" / ".owner")
    with pytest.raises(OutputError, match="holds a sweep whose plan.json is missing or damaged"):
        sweep(make_plan(tmp_path, places=1), tmp_path / "out", processes=1)


def test_a_manifest_or_a_scheduler_file_nested_without_end_is_met_in_words(tmp_path):
    """It was taken for a bug of ours, exit code 70."""
    plan, out, deep = make_plan(tmp_path, places=1), tmp_path / "out", tmp_path / "deep.json"
    deep.write_text("[" * 200_000, encoding="ascii")
    out.mkdir()
    shutil.copy(deep, out / "plan.json")
    with pytest.raises(OutputError, match="holds a sweep whose plan.json is missing or damaged"):
        sweep(plan, out, processes=1)
    with pytest.raises(PanbudgetError, match="names no scheduler"):
        sweep(plan, tmp_path / "other", scheduler=str(deep))


def test_weather_of_another_file_system_is_read_through_fsspec(tmp_path):
    fsspec = pytest.importorskip("fsspec")
    plan = make_plan(tmp_path, places=2, more=SMALL_PARTS)
    sweep(plan, tmp_path / "near", processes=1)
    for file in (tmp_path / "weather").glob("place-*.csv"):
        with fsspec.open(f"memory://district/{file.name}", "wb") as far:
            far.write(file.read_bytes())
        file.unlink()
    table = tmp_path / "weather" / "places.csv"
    table.write_text(table.read_text().replace("place-", "memory://district/place-"), encoding="utf-8")
    assert sweep(plan, tmp_path / "far", processes=1).rows == len(rows(tmp_path / "near"))
    assert rows(tmp_path / "far").equals(rows(tmp_path / "near"))
    assert sweep(plan, tmp_path / "far", processes=1).kept == len(list((tmp_path / "far" / "seasons").iterdir()))
    table.write_text(table.read_text().replace("place-01", "none"), encoding="utf-8")
    with pytest.raises(PanbudgetError, match=r"memory://district/none\.csv: can't be read"):
        sweep(plan, tmp_path / "none", processes=1)


def test_a_bad_site_stops_the_sweep_and_says_why(tmp_path):
    plan = make_plan(tmp_path)
    (tmp_path / "weather" / "place-02.csv").unlink()
    with pytest.raises(PanbudgetError) as caught:
        sweep(plan, tmp_path / "out", processes=1)
    text = caught.value.text()
    assert "site Place 02: place-02.csv:" in text
    assert "run again to go on, or skip such sites and count them" in text
    assert len(text.splitlines()) == 2


def test_a_weather_file_that_several_sites_have_is_told(tmp_path, capsys):
    """A row that was copied, with its file's name, gave one site another's weather without a word."""
    plan, table = make_plan(tmp_path), tmp_path / "weather" / "places.csv"
    for same in ("place-02", "place-01"):
        table.write_text(table.read_text(encoding="utf-8").replace("place-02", same), encoding="utf-8")
        code, out, _ = run(capsys, "sweep", plan, "--dry-run")
        said = "2\u00a0sites have the same weather file, place-01.csv: Place 01, Place 02\n"
        assert (code, said in out) == (0, same == "place-01")


def test_a_latitude_of_the_other_hemisphere_stops_the_sweep(tmp_path):
    """Where no radiation contradicted it, the site was run in the wrong half of the year without a word."""
    plan = make_plan(tmp_path, places=2)
    for file in (tmp_path / "weather").glob("place-*.csv"):
        lines = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
        kept = [",".join(cells[at] for at in (0, 1, 2, 6)) for cells in (line.split(",") for line in lines)]
        file.write_text("\n".join(kept), encoding="utf-8")
    sweep(plan, tmp_path / "right", processes=1)
    table = tmp_path / "weather" / "places.csv"
    name, latitude, *_ = table.read_text(encoding="utf-8").splitlines()[-1].split(",")
    table.write_text(
        table.read_text(encoding="utf-8").replace(f"{name},{latitude}", f"{name},-{latitude}"), encoding="utf-8"
    )
    with pytest.raises(
        PanbudgetError, match=rf"site {name}: place-..\.csv: latitude = -{latitude} .*change the sign of the latitude"
    ):
        sweep(plan, tmp_path / "wrong", processes=1)


def test_with_keep_going_bad_sites_are_skipped_and_counted(tmp_path):
    plan = make_plan(tmp_path)
    (tmp_path / "weather" / "place-02.csv").write_text("date,tmin\n2020-05-01,3\n", encoding="ascii")
    found = sweep(plan, tmp_path / "out", processes=1, keep_going=True)
    assert [site.name for site in found.bad] == ["Place 02"]
    assert set(rows(tmp_path / "out")["site"]) == {"Place 01", "Place 03"}
    said = json.loads((tmp_path / "out" / "sweep.json").read_text(encoding="utf-8"))
    assert (said["sites"], said["sites_run"], said["sites_skipped"]) == (3, 2, 1)
    assert said["skipped"][0]["site"] == "Place 02"
    # a later run without the option must not pass them over in silence
    with pytest.raises(PanbudgetError, match="site Place 02"):
        sweep(plan, tmp_path / "out", processes=1)


@pytest.mark.parametrize("there", [False, True])
def test_with_keep_going_and_no_site_left_nothing_is_written(tmp_path, capsys, there):
    """It ended well, with tables that had no row."""
    plan, out = make_plan(tmp_path, places=2), tmp_path / "out"
    for file in (tmp_path / "weather").glob("place-*.csv"):
        file.write_text("date,tmin\n2020-05-01,3\n", encoding="ascii") if there else file.unlink()
    for more in ((), ("--dry-run",)):
        code, _, err = run(capsys, "sweep", plan, "--out", out, "--keep-going", *more)
        assert code == 2
        assert "site Place 01: place-01.csv" in err and "site Place 02: place-02.csv" in err
        assert "no site is left that can be run, so nothing is swept; mend one" in err and "--keep-going" not in err
        assert not out.exists()
    make_plan(tmp_path, places=2)
    sweep(plan, out, processes=1, compiler=False)
    before = contents(out / "seasons")
    for file in (tmp_path / "weather").glob("place-*.csv"):
        file.unlink()
    with pytest.raises(PanbudgetError, match="no site is left"):
        sweep(plan, out, processes=1, keep_going=True)
    assert contents(out / "seasons") == before  # for the day on which the files are there again


def test_a_year_that_a_record_lacks_is_left_out_and_named(tmp_path):
    plan = make_plan(tmp_path, places=1, designs="", years="[years]\nfirst = 2019\nlast = 2021\n")
    found = sweep(plan, tmp_path / "out", processes=1)
    assert found.skipped == {"Place 01": {"2019": "the record runs from 2020-01-01 to 2021-12-31"}}
    assert set(rows(tmp_path / "out")["year"]) == {2020, 2021}
    plan = make_plan(tmp_path, places=1, designs="", years="[years]\nfirst = 2018\nlast = 2019\n")
    with pytest.raises(PanbudgetError) as caught:
        sweep(plan, tmp_path / "out", processes=1, overwrite=True)
    assert "2018 to 2019: the record runs from 2020-01-01 to 2021-12-31" in caught.value.text()
    assert "has no usable season 1 May to 30 June" in caught.value.text()


def test_without_years_all_whole_seasons_of_a_record_are_taken(tmp_path):
    plan = make_plan(tmp_path, years="", first=2019, last=2021)
    sweep(plan, tmp_path / "nothing" / ".." / "out", processes=1)
    assert set(rows(tmp_path / "out")["year"]) == {2019, 2020, 2021}
    assert not (tmp_path / "nothing").exists()


def test_another_plans_folder_is_left_alone(tmp_path):
    out = tmp_path / "out"
    sweep(make_plan(tmp_path), out, processes=1)
    whole = contents(out)
    plan = make_plan(tmp_path, places=1, designs="[design.other]\n")
    with pytest.raises(OutputError, match="another plan's sweep.*overwrite it to start again"):
        sweep(plan, out, processes=1)
    assert contents(out) == whole
    sweep(plan, out, processes=1, overwrite=True)
    assert set(rows(out)["design"]) == {"other"}
    (out / "mine.txt").write_text("mine", encoding="ascii")
    with pytest.raises(OutputError, match=r"holds mine\.txt"):
        sweep(plan, out, processes=1, overwrite=True)


def test_a_small_plan_never_waits_for_a_compiler(tmp_path):
    jobs = estimate(load_plan(make_plan(tmp_path)))
    assert not jobs.compiled
    assert jobs.processes == 1


@pytest.mark.parametrize(
    ("seconds", "is_there", "compiles"),
    [(5.9, False, False), (6.0, False, True), (1.9, True, False), (2.0, True, True)],
)
def test_six_seconds_are_worth_compiling_and_two_what_is_compiled(tmp_path, monkeypatch, seconds, is_there, compiles):
    pytest.importorskip("numba")
    monkeypatch.delenv("PANBUDGET_COMPILER", raising=False)
    plan = load_plan(make_plan(tmp_path, places=1))
    monkeypatch.setattr(running, "is_kept", lambda function: is_there)
    monkeypatch.setattr(running, "_INTERPRETED", seconds / estimate(plan, 1).bed_days * (1.0 + 1e-12))
    assert estimate(plan, 1).compiled is compiles


def test_memory_is_said_to_hang_on_the_parts_and_not_on_the_sites(tmp_path):
    plan = load_plan(make_plan(tmp_path, places=2))
    import dataclasses

    many = dataclasses.replace(plan, places=list(plan.places) * 500)
    few = estimate(plan, 2), estimate(many, 2)
    assert few[1].memory_bytes < 1.02 * few[0].memory_bytes + 1e6
    assert few[1].rows == 500 * few[0].rows


def test_a_part_holds_no_more_rows_than_asked(tmp_path):
    plan = load_plan(make_plan(tmp_path, more="[output]\nrows_per_file = 100\n"))
    kit = kit_of(plan, through_compiler=False)
    assert all(run_job(kit, job).rows <= 100 for job in cut(plan))
    # designs are parted too where one site's rows are too many
    wide = load_plan(
        make_plan(tmp_path, more="[output]\nrows_per_file = 100\n", years="[years]\nfirst = 1990\nlast = 2005\n")
    )
    jobs = list(cut(wide))
    assert len(jobs) == 3 * 2
    assert {(job.first_design, job.after_design) for job in jobs} == {(0, 2), (2, 3)}


def test_the_command_says_what_it_would_take_and_does_nothing(tmp_path):
    plan = make_plan(tmp_path)
    result = CliRunner().invoke(cli.app, ["sweep", str(plan), "--dry-run"])
    assert result.exit_code == 0, result.output
    assert "54 rows in 1 part\n" in result.output.replace("\u00a0", " ")
    assert "memory: about" in result.output
    assert "time: about" in result.output
    assert not (tmp_path / "out").exists()
    said = json.loads(CliRunner().invoke(cli.app, ["sweep", str(plan), "--dry-run", "--json"]).output)
    assert said["rows"] == 54


def test_the_command_runs_and_says_what_suits(tmp_path):
    plan = make_plan(tmp_path, more="[output]\nfigures = false\n")
    result = CliRunner().invoke(cli.app, ["sweep", str(plan), "--out", str(tmp_path / "out")])
    assert result.exit_code == 0, result.output
    assert "18 seasons at 3 sites: 54 rows" in result.output.replace("\u00a0", " ")
    assert "What suits:" in result.output
    again = CliRunner().invoke(cli.app, ["sweep", str(plan), "--out", str(tmp_path / "out"), "--json"])
    assert json.loads(again.stdout)["rows"] == 54


def test_without_the_extra_one_line_says_how_to_get_it(tmp_path, monkeypatch):
    import importlib.util

    plan = make_plan(tmp_path)
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *a: None if name == "pyarrow" else found(name, *a))
    with pytest.raises(PanbudgetError) as caught:
        cli.app(["sweep", str(plan), "--out", str(tmp_path / "out")], standalone_mode=False)
    assert caught.value.text() == "this needs pyarrow, which is not installed; pip install 'panbudget[sweep]'"


def test_parts_that_threads_of_one_process_make_have_the_same_bytes(parted):
    """A worker of a cluster has several threads: they share the plan, and nothing that anybody writes to."""
    plan = load_plan(parted / "plan.toml")
    kit, some = kit_of(plan, through_compiler=False), list(cut(plan))
    alone_made = [run_job(kit, job).payload for job in some]
    for threads in (2, 4):
        with concurrent.futures.ThreadPoolExecutor(threads) as pool:
            assert [part.payload for part in pool.map(lambda job: run_job(kit, job), some)] == alone_made


def test_dependable_values_of_the_summary_are_those_of_the_rows(tmp_path):
    import pandas as pd

    plan = make_plan(tmp_path, places=1, first=2014, last=2025, more="[output]\nfigures = false\n")
    sweep(plan, tmp_path / "out", processes=1)
    table = rows(tmp_path / "out")
    summary = pd.read_csv(tmp_path / "out" / "summary.csv").set_index(["design", "controller", "bed"])
    mine = table[(table["design"] == "wide") & (table["bed"] == "herbs")]
    line = summary.loc[("wide", "yard", "herbs")]
    ordered = np.sort(mine["litres"])
    # twelve years: four in five stands at 0.8 · 13 = 10.4, nine in ten at 11.7, and from the other end at 1.3
    low = np.sort(mine["driest_adequacy"])
    assert line["litres_four_in_five"] == pytest.approx(0.6 * ordered[9] + 0.4 * ordered[10], rel=1e-11)
    assert line["litres_nine_in_ten"] == pytest.approx(0.3 * ordered[10] + 0.7 * ordered[11], rel=1e-11)
    assert line["driest_adequacy_nine_in_ten"] == pytest.approx(0.7 * low[0] + 0.3 * low[1], rel=1e-11)


def test_fewer_than_five_years_tell_no_dependable_value(tmp_path):
    import pandas as pd

    sweep(make_plan(tmp_path, places=1, more="[output]\nfigures = false\n"), tmp_path / "out", processes=1)
    summary = pd.read_csv(tmp_path / "out" / "summary.csv")
    assert summary["litres_four_in_five"].isna().all()
    assert summary["litres_mean"].notna().all()


def test_time_left_is_that_of_the_parts_after_the_first(tmp_path, monkeypatch):
    plan, told = make_plan(tmp_path, more=SMALL_PARTS), []
    monkeypatch.setattr(running._Watch, "elapsed", property(lambda watch: 100.0 + watch.done))
    sweep(plan, tmp_path / "out", processes=1, progress=told.append)
    parts = told[-1].parts
    assert parts > 2
    assert np.isnan(told[0].seconds_left)
    assert [progress.seconds_left for progress in told[1:]] == [float(parts - done) for done in range(2, parts + 1)]


def test_processes_that_start_say_nothing_of_one_that_was_killed(capfd, monkeypatch):
    """Python's own lines on a parent that has gone reached the terminal; they are heard where all of it is asked for."""
    for asked, heard in ((None, "after"), ("1", "before after")):
        if asked:
            monkeypatch.setenv("PANBUDGET_TRACEBACK", asked)
        with workers._unheard():
            os.write(2, b"before ")
        os.write(2, b"after")
        assert capfd.readouterr().err == heard
