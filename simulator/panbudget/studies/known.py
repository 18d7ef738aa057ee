"""
Known: lists of what the program knows by name, each with its source: plants, soils, landscape factors, pans, readers.
"""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["TOPICS", "known"]


def known(topic: str) -> list[dict[str, str]]:
    """
    List what is known of a topic.

    Parameters
    ----------
    topic : str
        One of `TOPICS`.

    Returns
    -------
    list of dict
        The same keys in every row; ``name`` first, ``source`` last.

    Raises
    ------
    KeyError
        Another topic.
    """
    return TOPICS[topic]()


def _plants() -> list[dict[str, str]]:
    from panbudget.tables import read_table

    rows = []
    for row in read_table("plants"):
        stages = [row[key] for key in ("l_ini_d", "l_dev_d", "l_mid_d", "l_late_d")]
        others = ", ".join(name for key in ("also", "stands_for") for name in row[key].split(";") if name)
        rows.append(
            {
                "name": row["name"],
                "also": others,
                "Kc ini/mid/end": "/".join(row[f"kc_{stage}"] for stage in ("ini", "mid", "end")),
                "stages [days]": "/".join(stages) if all(stages) else "all year",
                "roots [m]": row["root_depth_m"],
                "p": row["p_at_etc_5"],
                "Ky": row["ky"],
                "source": row["source"],
            }
        )
    return rows


def _soils() -> list[dict[str, str]]:
    from panbudget.tables import read_table

    return [
        {
            "name": row["name"],
            "field capacity": row["field_capacity"],
            "wilting point": row["wilting_point"],
            "REW [mm]": row["rew_mm"],
            "source": row["source"],
        }
        for row in read_table("soils")
    ]


def _landscape() -> list[dict[str, str]]:
    from panbudget.tables import read_table

    return [
        {
            "name": f"{row['factor']}: {row['level']}",
            "value": row["value"],
            "range": row["range"],
            "source": row["source"],
        }
        for row in read_table("landscape")
    ]


def _pans() -> list[dict[str, str]]:
    return [
        {
            "name": "from-eto",
            "what": "ETo over the Class A pan coefficient, by fetch, wind and humidity",
            "source": "FAO-56 (1998) Table 7",
        },
        {
            "name": "energy-balance",
            "what": "the pan's own radiation and wind",
            "source": "Rotstayn, Roderick & Farquhar (2006); coefficients in McMahon et al. (2013)",
        },
        {"name": "measured", "what": "the weather file's column pan_evaporation", "source": "your own pan"},
    ]


def _readers() -> list[dict[str, str]]:
    from panbudget.weather.formats.readers import READERS

    return [{"name": name, "what": _purpose(reader), "source": reader.SOURCE} for name, reader in READERS.items()]


def _purpose(module: object) -> str:
    """Return the first sentence of a module's head, without the name that it begins with."""
    head = " ".join((module.__doc__ or "").strip().partition("\n\n")[0].split())
    return head.partition(": ")[2].removesuffix(".")


#: topic -> its list
TOPICS: dict[str, Callable[[], list[dict[str, str]]]] = {
    "plants": _plants,
    "soils": _soils,
    "landscape": _landscape,
    "pans": _pans,
    "readers": _readers,
}
