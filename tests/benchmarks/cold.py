"""
Cold starts: what a command takes as a process of its own, in processor time and by the clock, beside its libraries' imports.

    python tests/benchmarks/cold.py today                   # five beds, two valves, a small tank, 40 years before this one; invented
    python tests/benchmarks/cold.py replay garden.toml

Prints the least of five of each, with nothing kept of compiled code and with no compiler, and their ratios; a busy machine
moves both alike. What a first run writes as bytecode, as installing does, is there before.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
LIBRARIES = "import numpy, pandas, pyet, matplotlib.figure, matplotlib.backends.backend_svg, pydantic, jinja2, typer"
LAST = "2041-07-20"
BARREL = """
[supply.barrel]
kind = "tank"
volume = "1 m^3"
footprint = "1 m^2"
outlet_height = "4 m"
roof = { area = "20 m^2" }
"""


def taken(*arguments: str, runs: int = 5, **environment: str) -> tuple[float, float]:
    """Return the least processor time of some runs of Python, children's included, and the least by the clock. [s]"""
    inherited = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    least = clock = float("inf")
    for _ in range(runs + 1):  # the first one writes bytecode
        before, began = os.times(), time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, env={**inherited, **environment})
        after, ended = os.times(), time.perf_counter()
        least, clock = min(least, sum(after[2:4]) - sum(before[2:4])), min(clock, ended - began)
    return least, clock


def garden_in(folder: Path) -> Path:
    """Describe the demo garden with its orchard on a tank, in 41 invented years."""
    from tests.benchmarks.size import summers

    summers(folder / "weather.csv", 41)
    above, orchard = (ROOT / "scenarios" / "terraces.toml").read_text(encoding="utf-8").split("[controller.orchard]", 1)
    text = "".join((above, "[controller.orchard]", orchard.replace('"spring"', '"barrel"', 1), BARREL))
    path = folder / "garden.toml"
    path.write_text(text.replace("../weather_samples/terraces-2025.csv", "weather.csv"), encoding="utf-8")
    return path


def main() -> None:
    """Measure and print."""
    verb, *scenario = sys.argv[1:3]
    began, (imports, clock) = time.perf_counter(), taken("-c", LIBRARIES)
    print(f"imports of its libraries  {imports:5.2f} s, {clock:5.2f} s by the clock")
    with tempfile.TemporaryDirectory() as folder:
        garden, options = (scenario[0], ()) if scenario else (str(garden_in(Path(folder))), ("--day", LAST))
        call = ("-m", "panbudget", verb, garden, *options, "--out", f"{folder}/out", "--overwrite", "--quiet")
        for name, setting in (("nothing kept", ""), ("no compiler", "off")):
            whole, clock = taken(*call, PANBUDGET_COMPILER=setting, PANBUDGET_CACHE=f"{folder}/cache")
            print(
                f"{verb}, {name:17} {whole:5.2f} s, {clock:5.2f} s by the clock  {whole / imports:4.1f} times the imports"
            )
    print(f"measured in {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
