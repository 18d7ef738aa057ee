"""
Workers: where jobs are done: here, in local processes, or on the workers of a dask scheduler. Results come as they are ready,
and depend neither on their order nor on who made them.
"""

import concurrent.futures
import contextlib
import functools
import itertools
import json
import logging
import multiprocessing
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import resource_tracker
from pathlib import Path
from typing import Any, NamedTuple

from panbudget.errors import PanbudgetError
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.jobs import Job, Part, run_job

#: jobs handed out for each worker, so that none waits and none piles up
_AHEAD = 2
_TRIES = 4
#: a scheduler's address, how soon it answers [s], and how long its first message may be [bytes]
_ADDRESS = re.compile(r"(?:(?P<scheme>tcp|tls)://)?(?P<host>\[[\da-fA-F:.%]+\]|[\w.-]+):(?P<port>\d{1,5})")
_ANSWERS, _LONGEST_GREETING = 2.5, 1_000_000
#: how often a scheduler is asked for its workers, and how long others may take to come where all are gone [s]
_ASKED_EVERY, _WITHOUT_WORKERS = 2.0, 15.0


class _Crew(NamedTuple):
    """Who does jobs: how one is handed over, to how many, and what raises once nobody is there to do them."""

    submit: Callable[[Job], concurrent.futures.Future[Part]]
    workers: int
    missed: Callable[[], None] = lambda: None


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
        Address of a dask scheduler, such as "tcp://127.0.0.1:8786", or the file that it wrote, in their place.

    Yields
    ------
    Part
        As they are ready, in any order.

    Raises
    ------
    PanbudgetError
        A scheduler that doesn't answer or is lost, workers that ended.
    """
    if scheduler is None and (processes == 1 or not _stands()):
        yield from (run_job(kit, job) for job in jobs)
        return
    waiting = iter(jobs)
    with _processes(kit, processes) if scheduler is None else _cluster(kit, scheduler) as crew:
        running = set(map(crew.submit, itertools.islice(waiting, crew.workers * _AHEAD)))
        while running:
            first = concurrent.futures.FIRST_COMPLETED
            ready, running = concurrent.futures.wait(running, timeout=_ASKED_EVERY, return_when=first)
            if not ready:
                crew.missed()
            running |= set(map(crew.submit, itertools.islice(waiting, len(ready))))
            for future in ready:
                yield future.result()


def _stands() -> bool:
    """Tell whether the folder is there in which we run, without which Python starts no process."""
    with contextlib.suppress(OSError):
        return bool(os.getcwd())
    return False


@contextlib.contextmanager
def _processes(kit: bytes, processes: int) -> Iterator[_Crew]:
    """Hand jobs to processes of this machine."""
    # started afresh, not forked: this process has threads of its own (files, figures)
    context = multiprocessing.get_context("spawn")
    _track()
    with _unheard():
        pool = concurrent.futures.ProcessPoolExecutor(processes, mp_context=context, initializer=_worker)

    def submit(job: Job) -> concurrent.futures.Future[Part]:
        with _unheard():  # starts a process where one is wanted
            return pool.submit(run_job, kit, job)

    try:
        yield _Crew(submit, processes)
    except BrokenProcessPool:
        raise PanbudgetError(problem("worker-ended")) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextlib.contextmanager
def _unheard() -> Iterator[None]:
    """Let processes that start meanwhile print nothing: where this one is killed, Python's words on it reach the terminal."""
    with contextlib.ExitStack() as after:
        with contextlib.suppress(OSError):  # standard error is closed
            if "PANBUDGET_TRACEBACK" not in os.environ:
                saved = os.dup(2)
                after.callback(os.close, saved)
                nowhere = os.open(os.devnull, os.O_WRONLY)
                after.callback(os.close, nowhere)
                os.dup2(nowhere, 2)
                after.callback(os.dup2, saved, 2)
        yield


def _track() -> None:
    """Start Python's keeper of what processes share, so that a terminal that goes does not end it before us: it would be told."""
    if not hasattr(signal, "SIGHUP"):
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGHUP})  # as what we start then has it for good
    try:
        with _unheard():
            resource_tracker.ensure_running()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _worker() -> None:
    """End with the process that started us, even where that was killed."""
    parent = multiprocessing.parent_process()

    def follow() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=follow, daemon=True).start()


def answering(scheduler: str) -> str:
    """Return a scheduler's address, given as it is or as the file that it wrote; a PanbudgetError if nobody answers there."""
    address = _address_in(scheduler)
    if reason := _mute(address):
        raise PanbudgetError(problem("no-scheduler", "scheduler", address=address, reason=reason))
    return address


def _mute(address: str) -> str:
    """
    Return why nobody who speaks as a scheduler does is at an address; nothing where somebody is.

    The library itself waits long for what is no address or does not answer, and takes any bytes for a message's length.
    """
    parts = _ADDRESS.fullmatch(address)
    if parts is None or int(parts["port"]) > 65535:
        return "an address is such as tcp://10.0.0.5:8786"
    heard = ["nobody answers"]

    def listen() -> None:
        try:
            with socket.create_connection((parts["host"].strip("[]"), int(parts["port"])), timeout=_ANSWERS) as line:
                length = bytes(8) if parts["scheme"] == "tls" else line.recv(8)  # a scheduler speaks first
                speaks = len(length) == 8 and int.from_bytes(length, "little") < _LONGEST_GREETING
                heard[0] = "" if speaks else "no scheduler is there"
        except (OSError, UnicodeError) as error:  # the latter of a name that can be none
            heard[0] = getattr(error, "strerror", None) or heard[0]

    thread = threading.Thread(target=listen, daemon=True)  # a name may take longer to look up than anybody waits
    thread.start()
    thread.join(_ANSWERS)
    return heard[0]


def _address_in(text: str) -> str:
    """Return a scheduler's address: as given, or as the file says that `dask scheduler --scheduler-file` writes."""
    path = Path(text)
    if _ADDRESS.fullmatch(text) or not (os.path.isfile(path) or path.suffix == ".json"):
        return text
    try:
        return str(json.loads(path.read_text(encoding="utf-8"))["address"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        reason = getattr(error, "strerror", None) or "it is not what `dask scheduler --scheduler-file` writes"
        raise PanbudgetError(problem("no-scheduler-file", "scheduler", path=text, reason=reason)) from None


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep the library's own log from a screen on which we say what happened; after an error for good, for it comes late."""
    ours = ("asyncio", "distributed", "tornado")
    logs = [logging.getLogger(name) for name in (*ours, *logging.root.manager.loggerDict) if name.startswith(ours)]
    levels = [log.level for log in logs]
    for log in logs:
        log.setLevel(logging.CRITICAL + 1)
    yield
    for log, level in zip(logs, levels, strict=True):
        log.setLevel(level)


@contextlib.contextmanager
def _cluster(kit: bytes, scheduler: str) -> Iterator[_Crew]:
    """Hand jobs to the workers of a dask scheduler, which gives a lost worker's jobs to another."""
    address = answering(scheduler)
    import distributed

    dask: Any = distributed
    with _quiet():
        try:
            client = _in_time(lambda: dask.Client(address, timeout=f"{_ANSWERS} s", set_as_default=False))
        except Exception as error:  # there is nothing that the library does not make of another program's bytes
            theirs = isinstance(error, (OSError, ValueError, MemoryError))
            reason = (str(error).splitlines() or [type(error).__name__])[0] if theirs else "no scheduler is there"
            raise PanbudgetError(problem("no-scheduler", "scheduler", address=address, reason=reason[:100])) from None
        try:
            workers = _at_work(client)
            if not workers:
                raise PanbudgetError(problem("no-workers", "scheduler", address=address))
            # the kit goes along with each job: laid on the workers, it would be lost with the one that holds it
            submit = functools.partial(client.get_executor(pure=False, retries=_TRIES).submit, run_job, kit)
            threads = [worker["nthreads"] for worker in workers.values()]
            yield _Crew(submit, sum(threads), functools.partial(_ask_for_workers, client, address, [time.monotonic()]))
        except ImportError as error:
            raise PanbudgetError(problem("not-on-workers", "scheduler", address=address, name=error.name)) from None
        except (dask.KilledWorker, concurrent.futures.CancelledError, OSError, TimeoutError):
            raise _lost(client, address) from None
        finally:
            with contextlib.suppress(Exception):  # whatever closing meets, what happened has been said
                client.close(timeout=_ANSWERS)


def _in_time(make: Callable[[], Any]) -> Any:
    """Return what is made, or raise: the library waits for ever on who begins to speak as a scheduler does, and stops."""
    made: concurrent.futures.Future[Any] = concurrent.futures.Future()

    def making() -> None:
        try:
            made.set_result(make())
        except BaseException as error:
            made.set_exception(error)

    threading.Thread(target=making, daemon=True).start()
    try:
        return made.result(_ANSWERS + 0.5)  # it has its own say first
    except concurrent.futures.TimeoutError:
        if made.done():  # by an error of that kind
            raise
        raise TimeoutError("nobody answers") from None


def _at_work(client: Any) -> dict[str, Any] | None:
    """Return a scheduler's workers; None where it is gone."""
    try:
        return dict(client.scheduler_info(n_workers=-1)["workers"]) if client.status == "running" else None
    except (OSError, TimeoutError):
        return None


def _lost(client: Any, address: str) -> PanbudgetError:
    """Say whom a sweep has lost, and what to do."""
    workers = _at_work(client)
    gone = "lost.scheduler" if workers is None else "lost.worker" if workers else "lost.workers"
    return PanbudgetError(problem(gone, address=address), problem("go-on"))


def _ask_for_workers(client: Any, address: str, since: list[float]) -> None:
    """Raise where the scheduler is gone, or has had no worker for a while; ``since`` when, is written to."""
    if workers := _at_work(client):
        since[0] = time.monotonic()
    if workers is None or time.monotonic() - since[0] > _WITHOUT_WORKERS:
        raise _lost(client, address)
