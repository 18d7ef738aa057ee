"""Longer sweeps: one whose processes are killed goes on to the same bytes; designs parted over files."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time

import pytest

from panbudget.studies.sweep.run import sweep
from tests.studies.sweep.district import ROOT, contents, make_plan
from tests.studies.sweep.test_run import SMALL_PARTS


def test_killed_at_random_moments_it_goes_on_to_the_same_bytes(tmp_path):
    plan = make_plan(tmp_path, places=8, more=SMALL_PARTS)
    whole = tmp_path / "whole"
    sweep(plan, whole, processes=1)
    parts = len(list((whole / "seasons").iterdir()))
    assert parts > 6
    command = [sys.executable, "-m", "panbudget", "sweep", str(plan), "--out", str(tmp_path / "out"), "--quiet"]
    command += ["--processes", "1"]
    dice = random.Random(11)
    alive = 0
    for _ in range(3):
        before = len(list((tmp_path / "out").glob("seasons/part-*")))
        running = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE)
        limit = time.monotonic() + 30.0
        # not before it has begun to write, so that the moments lie within the work
        while len(list((tmp_path / "out").glob("seasons/part-*"))) <= before and running.poll() is None:
            assert time.monotonic() < limit
            time.sleep(0.002)
        time.sleep(dice.random() * 0.15)
        alive += running.poll() is None
        running.send_signal(signal.SIGKILL)
        running.communicate()
    assert alive >= 2, "it must have been killed at work, or this proves nothing"
    done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    assert done.returncode == 0
    assert contents(tmp_path / "out") == contents(whole)


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_that_loses_its_workers_one_by_one_writes_the_same_bytes(tmp_path):
    """Nothing may lie on a worker alone: each of the first two is killed in its turn, and another comes for it."""
    distributed = pytest.importorskip("distributed")
    plan = make_plan(tmp_path, places=8, more=SMALL_PARTS)
    sweep(plan, tmp_path / "alone", processes=1)
    killed = []

    def watch(progress):
        if progress.done in (2, 4) and len(killed) < progress.done // 2:
            killed.append(first.pop())
            os.kill(killed[-1], signal.SIGKILL)

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        first = [worker.pid for worker in cluster.workers.values()]
        sweep(plan, tmp_path / "together", scheduler=cluster.scheduler_address, progress=watch)
    assert len(killed) == 2
    assert contents(tmp_path / "together") == contents(tmp_path / "alone")


@pytest.fixture
def dask(tmp_path):
    """Start a scheduler and workers as people do, from the shell; return them, and where the scheduler says its address."""
    pytest.importorskip("distributed")
    made, file = [], tmp_path / "scheduler.json"

    def start(which, *more):
        command = [
            sys.executable,
            "-m",
            f"distributed.cli.dask_{which}",
            "--scheduler-file",
            str(file),
            "--no-dashboard",
        ]
        made.append(subprocess.Popen([*command, *more], stderr=subprocess.DEVNULL, cwd=ROOT))
        return made[-1]

    def started(threads):
        scheduler = start("scheduler", "--host", "127.0.0.1", "--port", "0")
        limit = time.monotonic() + 60.0
        while not file.exists():
            assert time.monotonic() < limit
            time.sleep(0.05)
        worker = start("worker", "--nthreads", str(threads), "--no-nanny", "--host", "127.0.0.1")
        while True:
            assert time.monotonic() < limit
            with distributed_client(file) as client:
                if client.scheduler_info()["workers"]:
                    return scheduler, worker, file
            time.sleep(0.2)

    yield started
    for process in reversed(made):
        process.kill()
        process.wait()


def distributed_client(file):
    import distributed

    return distributed.Client(scheduler_file=str(file), set_as_default=False, timeout="30 s")


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("threads", [1, 2, 4])
def test_a_worker_with_several_threads_writes_the_same_bytes(tmp_path, dask, threads):
    plan = make_plan(tmp_path, places=6, more=SMALL_PARTS)
    sweep(plan, tmp_path / "alone", processes=1)
    _, _, file = dask(threads)
    sweep(plan, tmp_path / "together", scheduler=str(file), compiler=True)
    assert contents(tmp_path / "together") == contents(tmp_path / "alone")


@pytest.mark.parametrize("lost", ["scheduler", "workers"])
def test_who_loses_scheduler_or_workers_is_told_in_two_lines_and_goes_on(tmp_path, dask, lost):
    plan = make_plan(tmp_path, places=8, first=2010, more="[output]\nrows_per_file = 40\nfigures = false\n")
    scheduler, worker, file = dask(2)
    command = [sys.executable, "-m", "panbudget", "sweep", str(plan), "--out", str(tmp_path / "out"), "--quiet"]
    running = subprocess.Popen([*command, "--scheduler", str(file)], cwd=ROOT, stderr=subprocess.PIPE, text=True)
    limit = time.monotonic() + 120.0
    while not (done := list((tmp_path / "out").glob("seasons/part-*"))):
        assert time.monotonic() < limit
        assert running.poll() is None
        time.sleep(0.01)
    (scheduler if lost == "scheduler" else worker).kill()
    told = running.communicate(timeout=120)[1].strip().splitlines()
    assert running.returncode == 2
    assert told[0].endswith("is gone" if lost == "scheduler" else "has no workers any more")
    assert told[1:] == ["what is done is kept; start scheduler and workers again, and run the same command to go on"]
    bytes_of = {path: path.read_bytes() for path in done}
    subprocess.run([*command, "--processes", "1"], cwd=ROOT, check=True)
    assert {path: path.read_bytes() for path in done} == bytes_of


def test_designs_parted_over_files_are_chosen_from_together(tmp_path):
    plan = make_plan(tmp_path, first=2014, last=2025, more="[output]\nrows_per_file = 100\nfigures = false\n")
    parted = sweep(plan, tmp_path / "parted", processes=1)
    plan = make_plan(tmp_path, first=2014, last=2025, more="[output]\nfigures = false\n")
    whole = sweep(plan, tmp_path / "whole", processes=1)
    assert len(list((tmp_path / "parted" / "seasons").iterdir())) == 6
    assert parted.choices == whole.choices
