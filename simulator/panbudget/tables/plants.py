"""Plants: a planting's published figures by name, and the levels of landscape factors. Units: m, days, shares."""

import functools
from dataclasses import dataclass
from typing import Literal

from panbudget.tables import folded, look_up, read_table

# field -> column, of the figures that every plant has
_FIGURES = {
    **{name: name for name in ("kc_ini", "kc_mid", "kc_end", "kcb_ini", "kcb_mid", "kcb_end")},
    "height": "height_m",
    "root_depth_start": "root_depth_start_m",
    "root_depth": "root_depth_m",
    "depletion": "p_at_etc_5",
}


@dataclass(frozen=True)
class Plant:
    """
    A row of the table of plants.

    Parameters
    ----------
    name : str
    kind : {"annual", "perennial"}
        Roots of an annual grow until mid season; a perennial keeps its own.
    evergreen : bool
        Growing all year.
    kc_ini, kc_mid, kc_end, kcb_ini, kcb_mid, kcb_end : float
        Single and basal crop coefficients in the standard climate (RHmin 45 %, 2 m/s). [-]
    stages : tuple of int, optional
        Days of the initial, development, mid and late stages.
    height : float
        Full-grown. [m]
    root_depth_start, root_depth : float
        [m]
    depletion : float
        p at ETc 5 mm a day. [-]
    plant_factor : tuple of float, optional
        Landscape plantings: share of ETo, one or twelve. [-]
    ky : float, optional
        Yield response factor. [-]
    stands_for : tuple of str
        Other plants for which these figures are taken.
    source : str
    """

    name: str
    kind: Literal["annual", "perennial"]
    evergreen: bool
    kc_ini: float
    kc_mid: float
    kc_end: float
    kcb_ini: float
    kcb_mid: float
    kcb_end: float
    stages: tuple[int, int, int, int] | None
    height: float
    root_depth_start: float
    root_depth: float
    depletion: float
    plant_factor: tuple[float, ...] | None
    ky: float | None
    stands_for: tuple[str, ...]
    source: str

    @property
    def needs_date(self) -> bool:
        """Whether a day of planting, or of first growth, must be known."""
        return self.stages is not None and not self.evergreen and self.plant_factor is None


@functools.cache
def _plants() -> dict[str, Plant]:
    plants: dict[str, Plant] = {}
    for row in read_table("plants"):
        lengths = [row[key] for key in ("l_ini_d", "l_dev_d", "l_mid_d", "l_late_d")]
        stand_ins = [name for name in row["stands_for"].split(";") if name]
        plant = Plant(
            name=row["name"],
            kind="annual" if row["kind"] == "annual" else "perennial",
            evergreen=row["evergreen"] == "yes",
            stages=tuple(int(text) for text in lengths) if all(lengths) else None,  # type: ignore[arg-type]  # four
            plant_factor=(float(row["plant_factor"]),) if row["plant_factor"] else None,
            ky=float(row["ky"]) if row["ky"] else None,
            stands_for=tuple(folded(name) for name in stand_ins),
            source=row["source"],
            **{field: float(row[column]) for field, column in _FIGURES.items()},
        )
        names = (row["name"], *filter(None, row["also"].split(";")), *stand_ins)
        plants.update({folded(name): plant for name in names})
    return plants


def known_plants() -> list[str]:
    """Return the table's plants, vegetables first."""
    return list(dict.fromkeys(plant.name for plant in _plants().values()))


@functools.cache
def find_plant(name: str) -> Plant:
    """
    Look a plant up; case, hyphens, spaces and the plural don't matter.

    Raises
    ------
    UnknownName
        With the nearest known name, and what else can be given.

    Examples
    --------
    >>> find_plant("Courgettes").name
    'zucchini'
    """
    figures = '{ kc = 0.9, root_depth = "60 cm", depletion = 0.45, height = "0.6 m" }'
    instead = f"give your own figures, such as {figures}"
    return look_up("plant", name, _plants(), known=known_plants(), instead=instead)


@functools.cache
def landscape_level(factor: str, level: str) -> float:
    """
    Return a published category's value.

    Parameters
    ----------
    factor : {"species", "density", "microclimate"}
    level : str
        "very low" (species only), "low", "moderate" or "average", "high".

    Returns
    -------
    float
        Middle of the published range. [-]

    Raises
    ------
    UnknownName
        Naming the levels there are.
    """
    levels = {row["level"]: float(row["value"]) for row in read_table("landscape") if row["factor"] == factor}
    return look_up(f"level of {factor}", level, levels, known=levels, instead="give a number")
