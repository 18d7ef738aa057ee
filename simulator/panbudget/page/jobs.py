"""
Jobs: what takes long runs in a process of its own, which says its steps and can be stopped; it writes what the command writes.

`python -m panbudget.page.jobs` is that process: it is given one job as JSON on its standard input.
"""

import asyncio
import contextlib
import datetime as dt
import json
import os
import re
import signal
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from panbudget import words
from panbudget.errors import PanbudgetError
from panbudget.reports.folders import FILES_OF

#: verbs that the page runs, and the first page of each
VERBS = {verb: FILES_OF[verb][0] for verb in ("compare", "size", "setup", "away", "statement", "today", "replay")}
TEXTS: dict[str, Any] = words.packaged("page/page.toml")
_OF = re.compile(r"(\d+) of (\d+)")
_NEARLY = 0.99
_PATIENCE = 5.0  # s from asking a process to stop to ending it


@dataclass
class Job:
    """
    One run of a verb.

    Parameters
    ----------
    path : Path
        The garden's file; what is written goes into a folder of the verb's name beside it.
    verb : str
        One of `VERBS`.
    options : dict
        What else it is asked: first and last day for "away"; whether it is around the heat wave for "compare".
    overlay : dict
        What differs from the garden's file; for "compare", by the name of what is compared.
    year : int
        In which the season starts; for verbs of one season.
    usual : int
        How many steps it took when it last ran here; 0 if unknown.
    heat : dict or None
        A made-up heat wave in that year; for the others it is moved to the garden's own.
    """

    path: Path
    verb: str
    options: dict[str, Any]
    overlay: dict[str, Any]
    year: int
    heat: Mapping[str, Any] | None = None
    steps: list[str] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    error: str = ""
    is_running: bool = False
    is_stopped: bool = False
    seconds: float = 0.0
    usual: int = 0
    _process: asyncio.subprocess.Process | None = field(default=None, repr=False)

    @property
    def share(self) -> float | None:
        """How much is done, 0 to 1: by the parts that its last step counts, else by its steps when last it ran; None if unknown."""
        if counted := _OF.search(self.steps[-1]) if self.steps else None:
            done, parts = int(counted[1]) - 1, int(counted[2])
            return min(max(done / parts, 0.0), 1.0) if parts else None
        return min(len(self.steps) / (self.usual + 1.0), _NEARLY) if self.usual else None

    @property
    def pages(self) -> list[str]:
        """What it has written for people, relative to the garden's folder."""
        made = self.path.parent / self.verb
        if self.is_running or self.error or self.is_stopped:
            return []
        files = [made / VERBS[self.verb], *sorted(made.glob("*.pdf"))]
        return [f"{self.verb}/{file.name}" for file in files if file.is_file()]

    async def run(self, tell: Callable[[], None]) -> None:
        """Run it to its end, telling of each step."""
        begun, self.is_running = time.monotonic(), True
        tell()
        asked = {name: getattr(self, name) for name in ("path", "verb", "options", "overlay", "year", "heat")}
        try:
            self._process = await _started()
            out, errors = await self._talk(json.dumps(asked, default=str), tell)
            if not self.sentences and not self.error and not self.is_stopped:
                self.error = errors or TEXTS["job"]["ended"].format(out=out)
        finally:
            self.is_running, self.seconds = False, time.monotonic() - begun
            tell()

    async def _talk(self, asked: str, tell: Callable[[], None]) -> tuple[str, str]:
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None
        assert process.stderr is not None
        process.stdin.write(asked.encode() + b"\n")
        process.stdin.close()
        errors, line = asyncio.create_task(process.stderr.read()), ""
        while raw := await process.stdout.readline():
            line = raw.decode("utf-8", "replace").strip()
            with contextlib.suppress(ValueError):
                message = json.loads(line)
                self.steps += message.get("step", [])
                self.sentences += message.get("sentences", [])
                self.error += message.get("error", "")
                tell()
        await process.wait()
        lines = (await errors).decode("utf-8", "replace").strip().splitlines()
        return line, lines[-1] if lines else ""

    async def stop(self) -> None:
        """Stop it as Ctrl-C does, so that nothing half-made is left; end it if it does not listen."""
        process = self._process
        if process is None or process.returncode is not None:
            return
        self.is_stopped = True
        if os.name == "posix":
            process.send_signal(signal.SIGINT)
        else:
            process.terminate()
        try:
            await asyncio.wait_for(process.wait(), _PATIENCE)
        except TimeoutError:
            process.kill()


async def _started() -> asyncio.subprocess.Process:
    pipe = asyncio.subprocess.PIPE
    command = (sys.executable, "-m", "panbudget.page.jobs")
    return await asyncio.create_subprocess_exec(*command, stdin=pipe, stdout=pipe, stderr=pipe)


async def warm(path: Path) -> bool:
    """Compile the engine in a process of its own and keep it; whether that went well."""
    process = await _started()
    try:
        await process.communicate(json.dumps({"verb": "warm", "path": str(path)}).encode())
    finally:
        if process.returncode is None:
            process.kill()
    return process.returncode == 0


def _say(**message: Any) -> None:
    print(json.dumps(message), flush=True)


def _work(asked: dict[str, Any]) -> None:
    """Do one job: what the command of that name does, for the garden with its settings laid over it."""
    import panbudget
    from panbudget.season.years import in_year

    path, verb = Path(asked["path"]), asked["verb"]
    scenario = panbudget.load_scenario(path)
    options = {k: v if k == "around_heat" else dt.date.fromisoformat(v) for k, v in asked["options"].items()}
    if verb == "compare":
        scenario = scenario.changed({"variant": None}).changed({"variant": asked["overlay"]})
        options |= {"names": [*asked["overlay"]], "with_base": True}
    elif asked["overlay"]:
        scenario = scenario.changed(asked["overlay"])
    described = scenario.season.start.year
    scenario = in_year(scenario, asked["year"])
    if asked["heat"]:
        scenario = scenario.changed({"what_if": {"heat": asked["heat"]}})
    if verb not in ("replay", "statement", "compare"):
        scenario = in_year(scenario, described)
    # a replay takes no steps: it is over at once
    steps = {} if verb == "replay" else {"step": lambda text: _say(step=[text])}
    result = getattr(panbudget, verb)(scenario, **options, **steps)
    _say(step=[TEXTS["job"]["writing"]])
    result.write(path.parent / verb, overwrite=True)
    _say(sentences=result.sentences())


def _warm(path: Path) -> None:
    if hasattr(os, "nice"):
        os.nice(10)  # the page comes first
    from panbudget.engine.compiled import compiled
    from panbudget.engine.season import run_season
    from panbudget.season.replay import replay

    replay(path, run=compiled(run_season))


def main() -> None:
    """Do the job that standard input describes."""
    asked = json.loads(sys.stdin.readline())
    try:
        if asked["verb"] == "warm":
            _warm(Path(asked["path"]))
        else:
            _work(asked)
    except PanbudgetError as error:
        _say(error=error.text())
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
