"""
Cluster: where jobs run: here, in local processes, or on the workers of a dask scheduler. Results come as they are
ready; what they are depends neither on their order nor on who made them.
"""

from __future__ import annotations

import collections
import concurrent.futures
import itertools
import multiprocessing
import os
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from panbudget.errors import PanbudgetError
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.jobs import Job, Part, run_job

#: jobs handed out for each worker, so that none waits and none piles up
_AHEAD = 2
_TRIES = 4


def run_jobs(kit: bytes, jobs: Iterable[Job], *, processes: int, scheduler: str | None = None) -> Iterator[Part]:
    """
    Run jobs.

    Parameters
    ----------
    kit : bytes
        As `jobs.kit_of` makes it.
    jobs : iterable of Job
        Taken as they are needed.
    processes : int
        How many local processes; with 1 this one does it all.
    scheduler : str, optional
        Address of a dask scheduler, such as "tcp://127.0.0.1:8786", in their place.

    Yields
    ------
    Part
        As they are ready, in any order.

    Raises
    ------
    PanbudgetError
        A scheduler that doesn't answer, a worker that ended.
    """
    if scheduler is not None:
        yield from _by_dask(kit, jobs, scheduler)
    elif processes == 1:
        for job in jobs:
            yield run_job(kit, job)
    else:
        yield from _by_processes(kit, jobs, processes)


def _by_processes(kit: bytes, jobs: Iterable[Job], processes: int) -> Iterator[Part]:
    # started afresh, not forked: this process has threads of its own (files, figures)
    context = multiprocessing.get_context("spawn")
    waiting = iter(jobs)
    pool = concurrent.futures.ProcessPoolExecutor(processes, mp_context=context, initializer=_worker)
    try:
        running = {pool.submit(run_job, kit, job) for job in itertools.islice(waiting, processes * _AHEAD)}
        while running:
            ready, running = concurrent.futures.wait(running, return_when=concurrent.futures.FIRST_COMPLETED)
            running |= {pool.submit(run_job, kit, job) for job in itertools.islice(waiting, len(ready))}
            for future in ready:
                yield future.result()
    except BrokenProcessPool:
        raise PanbudgetError(problem("worker-ended")) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _worker() -> None:
    """End with the process that started us, even where that was killed."""
    parent = multiprocessing.parent_process()

    def follow() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=follow, daemon=True).start()


def _by_dask(kit: bytes, jobs: Iterable[Job], address: str) -> Iterator[Part]:
    import distributed

    dask: Any = distributed
    try:
        client = dask.Client(address, timeout="15s", set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise PanbudgetError(problem("no-scheduler", "scheduler", address=address, reason=reason[:100])) from None
    waiting = iter(jobs)
    tries: collections.Counter[int] = collections.Counter()
    with client:
        workers = client.scheduler_info(n_workers=-1)["workers"]
        if not workers:
            raise PanbudgetError(problem("no-workers", "scheduler", address=address))
        sent = client.scatter(kit, broadcast=True)
        slots = sum(worker["nthreads"] for worker in workers.values())
        job_of: dict[str, Job] = {}

        def submitted(job: Job) -> Any:
            future = client.submit(run_job, sent, job, pure=False, retries=_TRIES)
            job_of[future.key] = job
            return future

        first = [submitted(job) for job in itertools.islice(waiting, max(slots * _AHEAD, 2))]
        running = dask.as_completed(first, loop=client.loop)
        for future in running:
            job = job_of.pop(future.key)
            try:
                part: Part = future.result()
            except PanbudgetError:
                raise
            except Exception as error:
                # a worker that was lost took its job along, or the kit: both are sent again
                tries[job.index] += 1
                if tries[job.index] >= _TRIES or not _was_lost(error):
                    raise
                sent = client.scatter(kit, broadcast=True)
                running.add(submitted(job))
                continue
            for more in itertools.islice(waiting, 1):
                running.add(submitted(more))
            yield part


def _was_lost(error: Exception) -> bool:
    names = {kind.__name__ for kind in type(error).__mro__}
    return bool(names & {"KilledWorker", "CancelledError", "FutureCancelledError", "CommClosedError", "TimeoutError"})
