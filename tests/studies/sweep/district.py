"""A small plan on disk for the sweep's tests: invented places, a garden of two valves, some designs."""

from __future__ import annotations

import runpy
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
write_district = runpy.run_path(str(ROOT / "weather_samples" / "make_district.py"), run_name="make_district")[
    "write_district"
]

GARDEN = """
[site]
latitude = 38.6
elevation = "240 m"

[weather]
file = "none.csv"

[season]
start = 2020-05-01
end = 2020-06-30

[supply.tap]
pressure = "150 kPa"

[controller.yard]
supply = "tap"

[controller.yard.pan]
vessels = [{ diameter = "50 cm" }]
depth = "18 cm"

[controller.yard.valve]
swing = "0.9 kg"
refill = { flow = "2 L/h", at = "100 kPa" }

[controller.yard.bed.tomatoes]
area = "12 m^2"
emitters = { count = 48, flow = "2 L/h", at = "100 kPa" }
soil = "loam"
plants = "tomato"
planted = 2020-05-05

[controller.yard.bed.herbs]
area = "4 m^2"
emitters = { count = 18, flow = "2 L/h", at = "100 kPa" }
soil = "sandy loam"
plants = "mint"
planted = 2020-03-15
uniformity = 0.85
initial_depletion = 0.2

[controller.trees]
supply = "tap"
pan = { vessels = [{ length = "60 cm", width = "40 cm" }], depth = "22 cm", evaporation = "energy-balance" }
valve = { swing = "1.1 kg", refill = { flow = "2.4 L/h", at = "100 kPa" }, press_times = ["sunset"] }

[controller.trees.bed.peaches]
area = "30 m^2"
emitters = { count = 24, flow = "4 L/h", at = "100 kPa" }
soil = "sandy loam"
plants = { kc = 0.9, root_depth = "1 m", depletion = 0.5 }
method = "dual"
"""

DESIGNS = """
[design.as-is]

[design.wide]
controller.yard.pan.vessels = [{ diameter = "70 cm" }]

[design.dual]
controller.yard.bed.tomatoes.method = "dual"
controller.yard.bed.tomatoes.mulch = { kind = "organic", cover = 0.5 }
"""


def make_plan(
    folder: Path,
    *,
    places: int = 3,
    first: int = 2020,
    last: int = 2021,
    years: str | None = None,
    designs: str = DESIGNS,
    more: str = "",
    garden: str = GARDEN,
) -> Path:
    """Write weather, garden and plan; return the plan's path."""
    write_district(folder / "weather", first=first, last=last, places=places)
    (folder / "garden.toml").write_text(garden, encoding="utf-8")
    asked = f"[years]\nfirst = {first}\nlast = {last}\n" if years is None else years
    text = f'title = "A test"\nscenario = "garden.toml"\n[sites]\ntable = "weather/places.csv"\n{asked}{designs}{more}'
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return folder / "plan.toml"


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, but for the log: that alone tells when things were done."""
    files = [path for path in sorted(folder.rglob("*")) if path.is_file() and path.name != "sweep.log"]
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}
