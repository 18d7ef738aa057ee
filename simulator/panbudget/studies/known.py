"""
Known: lists of what the program knows by name, each with its source: plants, soils, landscape factors, pans, readers; and
what rests on memory.
"""

from panbudget.tables import read_table

#: topic -> heading -> column of the table of that name
_COLUMNS = {
    "soils": {"name": "name", "field capacity": "field_capacity", "wilting point": "wilting_point"}
    | {"REW [mm]": "rew_mm", "source": "source"},
    "landscape": {"value": "value", "range": "range", "source": "source"},
    "pans": {"name": "name", "what": "what", "source": "source"},
    "from-memory": {"name": "name", "value": "value", "used in": "used_in", "source": "source"},
}
TOPICS = ("plants", "soils", "landscape", "pans", "readers", "from-memory")


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
    if topic == "readers":
        from panbudget.weather.formats.readers import READERS

        return [{"name": name, "what": _purpose(reader), "source": reader.SOURCE} for name, reader in READERS.items()]
    table = read_table(topic.replace("-", "_"))
    if topic == "plants":
        return [_plant(row) for row in table]
    names = [{"name": f"{row['factor']}: {row['level']}"} if topic == "landscape" else {} for row in table]
    columns = _COLUMNS[topic].items()
    rows = zip(names, table, strict=True)
    return [name | {heading: row[column] for heading, column in columns} for name, row in rows]


def _plant(row: dict[str, str]) -> dict[str, str]:
    until_cover = [row[key] for key in ("l_ini_d", "l_dev_d")]
    return {
        "name": row["name"],
        "also": ", ".join(name for key in ("also", "stands_for") for name in row[key].split(";") if name),
        "roots [m]": row["root_depth_m"],
        "may use of the soil's water [%]": f"{100.0 * float(row['p_at_etc_5']):.0f}",
        "days to full cover": str(sum(map(int, until_cover))) if all(until_cover) else "all year",
        "water use at full cover [times ETo]": row["plant_factor"] or row["kc_mid"],
        "source": row["source"],
    }


def _purpose(module: object) -> str:
    """Return the first sentence of a module's head, without the name that it begins with."""
    head = " ".join((module.__doc__ or "").strip().partition("\n\n")[0].split())
    return head.partition(": ")[2].removesuffix(".")
