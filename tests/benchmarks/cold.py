"""
Cold starts: what a command takes as a process of its own, in processor time, beside the imports of its libraries.

    python tests/benchmarks/cold.py today garden.toml
    python tests/benchmarks/cold.py replay garden.toml

Prints the least of three of each, with and without compiled code, and their ratios; a busy machine moves both alike.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time

LIBRARIES = "import numpy, pandas, matplotlib.figure, matplotlib.backends.backend_svg, pydantic, jinja2, typer"


def taken(*arguments: str, runs: int = 3, **environment: str) -> float:
    """Return the least processor time of some runs of Python, children's included. [s]"""
    least = float("inf")
    for _ in range(runs):
        before = os.times()
        subprocess.run([sys.executable, *arguments], check=True, env={**os.environ, **environment})
        after = os.times()
        least = min(least, sum(after[2:4]) - sum(before[2:4]))
    return least


def main() -> None:
    verb, scenario = sys.argv[1:3]
    began, imports = time.perf_counter(), taken("-c", LIBRARIES)
    print(f"imports of its libraries  {imports:5.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        call = ("-m", "panbudget", verb, scenario, "--out", f"{folder}/out", "--overwrite", "--quiet")
        for name, setting in (("as it is", ""), ("nothing compiled", "off")):
            whole = taken(*call, PANBUDGET_COMPILER=setting)
            print(f"{verb}, {name:17} {whole:5.2f} s  {whole / imports:4.1f} times the imports")
    print(f"measured in {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
