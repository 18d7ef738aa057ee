"""
Fuzzing: sound files broken at random, by a seed, for as long as it is told; what ends in anything but a message is shown.

    python tests/robustness/fuzz.py --seed 1 --minutes 10

Each case is told by its seed: `--seed 1234 --cases 1` tries that one again. What it finds becomes a case of `test_past.py`.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import itertools
import random
import re
import sys
import tempfile
import time
import traceback
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "simulator")]

from panbudget.__main__ import main  # noqa: E402

TEMPLATES = ROOT / "simulator" / "panbudget" / "templates"
GARDEN = (TEMPLATES / "garden.toml").read_text(encoding="utf-8").replace("end = 2023-08-31", "end = 2023-06-10")
WEATHER = (TEMPLATES / "weather.csv").read_text(encoding="utf-8")
LOG = "date,openings,level_mm\n" + "".join(f"2023-05-{day:02} 18:00,2,{150 - day % 3}\n" for day in range(5, 30, 2))
READINGS = "date,reading,unit\n2023-05-01,100,m^3\n2023-05-20,101.2,m^3\n2023-06-10,103,m^3\n"
SOUND = {"garden.toml": GARDEN, "weather.csv": WEATHER, "log.csv": LOG, "meter.csv": READINGS}
# of a garden, of a cell
VALUES = ['""', '"x"', "-1", "0", "1e308", "nan", "true", "[]", "{}", "[[1]]", "{ a = 1 }", "2023-05-01", '"1e9 m"']
VALUES += ['"\\u0000"', '"\\u001b[2J"', "9" * 25, '"-1 kg"', '"1 L/h"', '"8 m\u200b^2"', '"８ m^2"', '"2 L**9**9**9"']
CELLS = [
    "",
    "-1",
    "1e999",
    "nan",
    "inf",
    "1,5",
    "１２",
    "12\u200b",
    "\0",
    '"',
    "=1+1",
    "x",
    "2023-13-01",
    "99999",
    "-999",
]
CELLS += ["1" * 10_001, "\x1b[2J", "T", "12 13", "0x12", "2300-01-01", "205-05-01"]
MOST_SECONDS = 20.0
_STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]")


def damaged(data: bytes, chance: random.Random) -> bytes:
    """Return a file with one thing done to it that copying, editing and disks do."""
    at, other = sorted(chance.randrange(len(data) + 1) for _ in range(2))
    lines = data.splitlines(keepends=True)
    row = chance.randrange(len(lines))
    cells = lines[row].rstrip(b"\n").split(b",")
    cells[chance.randrange(len(cells))] = chance.choice(CELLS).encode()
    ways = [
        data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :],
        data[:at],
        data[:at] + data[min(other, at + 300) :],
        data[:at] + bytes(chance.randrange(1, 5000)) + data[at:],
        b"".join([*lines[:row], b",".join(cells) + b"\n", *lines[row + 1 :]]),
        b"".join([*lines[:row], lines[row], *lines[row:]]),
        b"".join([*lines[:row], lines[chance.randrange(len(lines))], *lines[row + 1 :]]),
        data.replace(b"\n", chance.choice([b"\r", b"\r\n", b"\n\n", b"\0"])),
        data.replace(b",", chance.choice([b";", b"\t", b" ", b", "])),
        data + bytes(chance.randrange(256) for _ in range(40)),
    ]
    return chance.choice(ways)


def revalued(data: bytes, chance: random.Random) -> bytes:
    """Return a garden in which one key has another value."""
    text = data.decode()
    key = chance.choice([*re.finditer(r"(?m)^(?:# )?([a-z_]+) = (.+?)(?=\s+#|$)", text)])
    return f"{text[: key.start()]}{key[1]} = {chance.choice(VALUES)}{text[key.end() :]}".encode()


def case(seed: int) -> tuple[list[str], dict[str, bytes]]:
    """Return a command, and the files that it is given, one of them broken."""
    chance = random.Random(seed)
    files = {name: text.encode() for name, text in SOUND.items()}
    name = chance.choice(["garden.toml", "garden.toml", "weather.csv", "weather.csv", "log.csv", "meter.csv"])
    way = revalued if name == "garden.toml" and chance.random() < 0.7 else damaged
    files[name] = way(files[name], chance)
    more = {
        "log.csv": ["fit", "garden.toml", "log.csv"],
        "meter.csv": ["statement", "garden.toml", "--readings", "meter.csv"],
    }
    return [*more.get(name, ["check", "garden.toml"]), *(["--out", "out"] if name in more else [])], files


def wrong_with(command: list[str], files: dict[str, bytes], folder: Path) -> str:
    """Run a command in a folder; return what should not have come out of it, or nothing."""
    for name, content in files.items():
        (folder / name).write_bytes(content)
    out, err = io.StringIO(), io.StringIO()
    began, code = time.perf_counter(), 0
    with contextlib.chdir(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(command)
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        except BaseException:
            return traceback.format_exc()
    told, took = err.getvalue(), time.perf_counter() - began
    litter = {path.name for path in folder.iterdir()} - set(files) - ({"out"} if code == 0 else set())
    wrong = {
        f"exit code {code}": code not in (0, 2),
        "no message": code == 2 and not told.strip(),
        "letters that steer a terminal": bool(_STEERS.search(out.getvalue() + told)),
        f"litter {litter}": bool(litter),
        f"{took:.0f} s": took > MOST_SECONDS,
        "a message of more than a screen": len(told) > 20_000,
    }
    return "; ".join(what for what, holds in wrong.items() if holds) + (
        f": {told[:500]}" if any(wrong.values()) else ""
    )


def run(seeds: range | itertools.count[int], until: float = float("inf")) -> list[tuple[int, str]]:
    """Try cases one after the other; return those that came out wrong."""
    failed = []
    for seed in seeds:
        if time.monotonic() > until:
            break
        with tempfile.TemporaryDirectory() as folder:
            if wrong := wrong_with(*case(seed), Path(folder)):
                failed.append((seed, wrong))
    return failed


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1, help="of the first case")
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--cases", type=int, help="so many, in place of minutes")
    given = parser.parse_args()
    seeds = itertools.count(given.seed) if given.cases is None else range(given.seed, given.seed + given.cases)
    found = run(seeds, time.monotonic() + 60.0 * given.minutes if given.cases is None else float("inf"))
    for number, what in found:
        print(f"seed {number}: {what}")
    sys.exit(bool(found))
