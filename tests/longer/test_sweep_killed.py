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
def test_a_cluster_that_loses_a_worker_writes_the_same_bytes(tmp_path):
    distributed = pytest.importorskip("distributed")
    plan = make_plan(tmp_path, places=8, more=SMALL_PARTS)
    sweep(plan, tmp_path / "alone", processes=1)
    killed = []

    def watch(progress):
        if progress.done == 3 and not killed:
            victim = next(iter(cluster.workers.values()))
            killed.append(victim.pid)
            os.kill(victim.pid, signal.SIGKILL)

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        sweep(plan, tmp_path / "together", scheduler=cluster.scheduler_address, progress=watch)
    assert killed
    assert contents(tmp_path / "together") == contents(tmp_path / "alone")


def test_designs_parted_over_files_are_chosen_from_together(tmp_path):
    plan = make_plan(tmp_path, first=2014, last=2025, more="[output]\nrows_per_file = 100\nfigures = false\n")
    parted = sweep(plan, tmp_path / "parted", processes=1)
    plan = make_plan(tmp_path, first=2014, last=2025, more="[output]\nfigures = false\n")
    whole = sweep(plan, tmp_path / "whole", processes=1)
    assert len(list((tmp_path / "parted" / "seasons").iterdir())) == 6
    assert parted.choices == whole.choices
