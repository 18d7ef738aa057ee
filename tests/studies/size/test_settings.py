"""Settings side by side: the hottest week, daylight, and how a job is run."""

from types import SimpleNamespace

import numpy as np
import pytest

from panbudget import replay
from panbudget.season.heat import hottest_run
from panbudget.studies.size import settings
from panbudget.studies.size.settings import HOT_DAYS, _daylight
from tests.studies.size.made_up import PRESENT


@pytest.mark.parametrize(
    ("tmax", "hottest"),
    [
        ([20.0] * 3 + [30.0] * 7 + [20.0] * 3, slice(3, 10)),
        ([30.0] * 8, slice(0, 7)),  # the first of equals
        ([20.0, 30.0, 25.0], slice(0, 3)),  # fewer days than a week
    ],
)
def test_the_hottest_week_has_the_highest_mean_of_seven_days(tmax, hottest):
    assert hottest_run(np.array(tmax), HOT_DAYS) == hottest


def test_openings_in_daylight_are_a_share_of_each_settings_own():
    """Sun from 6 to 18 h on the first of two days, none on the second; an opening at the very end is the last day's."""
    daylight = np.zeros((2, 24))
    daylight[0, 6:18] = 1.0 / 12.0
    start = np.array([5.9, 6.0, 17.9, 18.0, 36.0, 48.0, 99.0])
    which = np.array([0, 0, 0, 0, 1, 1, 0])
    forcing = SimpleNamespace(days=SimpleNamespace(rain=np.zeros(2), daylight_share=daylight))
    out = SimpleNamespace(opening_start=start, opening_controller=which)
    assert _daylight(forcing, out, 6, 3).tolist() == [0.5, 0.0, 0.0]


def way_of(monkeypatch, years, count, *, compiler=True, cores=4, draws=None):
    """How a job of so many settings and years is run, and in which chunks; nothing is."""
    ways, chunks = [], []

    class Pool:
        def __init__(self, *, initargs, **_):
            ways.append("processes")
            self.work = initargs

        def __enter__(self):
            return self

        def __exit__(self, *_):
            return None

        def map(self, run, jobs):
            return [part(job, self.work, "processes") for job in jobs]

    def part(job, work, run="plain"):
        ways.append(run)
        if job[0] == 0:
            chunks.append(len(work[2][job[1]]))
        return job[1]

    changes = {"_job": part, "joined": lambda *parts: len(parts), "compiled": lambda text: "compiled"}
    for name, change in changes.items():
        monkeypatch.setattr(settings, name, change)
    monkeypatch.setattr(settings, "has_compiler", lambda: compiler)
    monkeypatch.setattr(settings.os, "cpu_count", lambda: cores)
    monkeypatch.setattr(settings.concurrent.futures, "ProcessPoolExecutor", Pool)
    year = SimpleNamespace(net_demand=np.zeros(1))
    found = settings.outcomes([year] * years, [PRESENT] * count, draws=draws)
    assert found == [len(chunks)] * years
    return set(ways), chunks


@pytest.mark.parametrize(
    ("years", "count", "options", "way"),
    [
        (1, 399, {}, "plain"),
        (1, 400, {}, "processes"),
        (1, 400, {"cores": 1}, "plain"),
        (2, 200, {}, "processes"),
        (1, 1499, {}, "processes"),
        (1, 1500, {}, "compiled"),
        (3, 500, {"cores": 1}, "compiled"),
        (1, 1500, {"compiler": False}, "processes"),
        (1, 1500, {"compiler": False, "cores": 1}, "plain"),
    ],
)
def test_a_large_job_goes_over_the_cores_and_a_larger_one_through_the_compiler(monkeypatch, years, count, options, way):
    """From 400 and from 1500 seasons on; a machine of one core has no use for processes."""
    assert way_of(monkeypatch, years, count, **options)[0] == {way}


def test_settings_are_handed_over_64_at_once(monkeypatch):
    assert way_of(monkeypatch, 2, 250, cores=1)[1] == [64, 64, 64, 58]


@pytest.mark.parametrize(("draws", "chunks"), [(32, [2, 2, 1]), (33, [1] * 5), (101, [1] * 5)])
def test_the_draws_of_a_setting_stay_together(monkeypatch, draws, chunks):
    factors = settings.ValveFactors(*[np.ones(draws)] * 3, np.ones((draws, 1)))
    assert way_of(monkeypatch, 1, 5, cores=1, draws=factors)[1] == chunks


@pytest.mark.parametrize(("from_which", "is_used"), [(6, True), (7, False)])
def test_what_was_compiled_before_is_used_for_jobs_too_small_to_compile_for(
    make_garden, monkeypatch, from_which, is_used
):
    """Margins are such jobs: six settings in a year."""
    used = []
    for name, value in {"_WORTH_PROCESSES": from_which, "WORTH_COMPILING": 7}.items():
        monkeypatch.setattr(settings, name, value)
    for name in ("has_compiler", "is_kept"):
        monkeypatch.setattr(settings, name, lambda *_: True)
    monkeypatch.setattr(settings, "compiled", lambda function: used.append(function) or function)
    year = settings.year_forcing(replay(make_garden(days=5)), "upper")
    settings.outcomes([year], [settings.Setting(0.05 * n, 180.0, 2.0, 0.9) for n in range(2, 8)])
    assert bool(used) is is_used
