"""
Zones: what an unknown time zone was meant to be, and which can't be where the garden is.

Names are those of the IANA time zone database; its "Etc" zones have their sign turned round (Etc/GMT-10 is UTC+10).
"""

import datetime as dt
import re
import zoneinfo
from collections.abc import Iterator

from panbudget.errors import Problem, nearest
from panbudget.scenario import problem
from panbudget.words import packaged

_ABBREVIATIONS = packaged("scenario/zones.toml")
_OFFSET = re.compile(r"(?:UTC|GMT)?\s*([-+−])\s*(\d{1,2})(?::?00)?", re.IGNORECASE)
_MOST_EAST, _MOST_WEST = 14, 12
# not of the database: another zone on another computer, and clocks that count leap seconds
_NO_PLACE = re.compile("localtime|posixrules|(posix|right)/.*")
# a place of the database where gardens are, and none of its older names in capitals
_PLACE = re.compile("(Africa|America|Asia|Atlantic|Australia|Europe|Indian|Pacific)/[A-Z][a-z].+")
# by how much a zone's standard time may differ from the sun's: the far west of China keeps time 3.1 hours ahead [h]
_MOST_APART = 4.0


def is_zone(text: str) -> bool:
    """Tell whether a text names a time zone that is the same on every computer."""
    try:
        return not _NO_PLACE.fullmatch(zoneinfo.ZoneInfo(text).key)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return False


def unknown_zone(text: str) -> Problem:
    """
    Say what to write for an unknown time zone.

    Returns
    -------
    Problem
        Of the key `timezone`.

    Examples
    --------
    >>> unknown_zone("UTC+10").cure
    'for 10 hours ahead of UTC write "Etc/GMT-10" (its sign is turned round)'
    """
    expected, cure = "", ""
    known = _ABBREVIATIONS.get(text.strip().upper(), {})
    match = _OFFSET.fullmatch(text.strip())
    hours = int(match[2]) * (1 if match[1] == "+" else -1) if match else known.get("hours", 0)
    fixed, turned = (f'"Etc/GMT{-hours:+d}"', " (its sign is turned round)") if hours else ('"Etc/GMT"', "")
    ahead = f"{abs(hours)} hour{'' if abs(hours) == 1 else 's'} {'ahead of' if hours >= 0 else 'behind'} UTC"
    near = nearest(text, [zone for zone in zoneinfo.available_timezones() if is_zone(zone)]) if len(text) > 4 else None
    if known:
        or_fixed = f", or {fixed} for {ahead} all year{turned}" if hours else ""
        cure = f'did you mean "{known["zone"]}"? Abbreviations stand for several: write a place{or_fixed}'
    elif match and -_MOST_WEST <= hours <= _MOST_EAST:
        cure = f"for {ahead} write {fixed}{turned}"
    elif re.search(r"[-+−]\s*\d", text):  # its neighbours by spelling lie hours away
        expected = 'whole hours, "Etc/GMT-8" for 8 ahead of UTC, or a place, such as "Australia/Darwin"'
    elif near:
        cure = f'did you mean "{near}"?'
    else:
        expected = 'a name of the IANA database, such as "Australia/Perth", or a fixed one, "Etc/GMT-8"'
    return Problem("unknown-zone", "timezone", "is an unknown time zone", expected, cure)


def far_zone(zone: zoneinfo.ZoneInfo, longitude: float) -> Iterator[Problem]:
    """
    Say that a zone's standard time and the sun's at a longitude lie too far apart; across the date line a day makes no difference.

    Examples
    --------
    >>> [*far_zone(zoneinfo.ZoneInfo("Pacific/Kiritimati"), -157.4)]
    []
    >>> [problem.where for problem in far_zone(zoneinfo.ZoneInfo("America/New_York"), 74.0)]
    ['timezone']
    """
    moment, sun = dt.datetime(2024, 1, 1, tzinfo=zone), longitude / 15.0
    offset = ((zone.utcoffset(moment) or dt.timedelta()) - (zone.dst(moment) or dt.timedelta())) / dt.timedelta(hours=1)
    # who writes these may well live elsewhere
    if zone.key.rpartition("/")[2] not in ("UTC", "GMT") and _apart(offset, sun) > _MOST_APART:
        code = "far-zone.turned" if _apart(offset, -sun) <= _MOST_APART else "far-zone"  # what is mistaken most
        clocks = {"kept": offset, "longitude": longitude, "sun": sun, "turned": -longitude}
        yield problem(code, "timezone", zone.key, **clocks)


def zone_that_doubles(moment: dt.datetime, longitude: float | None) -> str:
    """
    Return a place whose clocks went back over this moment, its standard time near the sun's at a longitude; nothing where none did.

    Examples
    --------
    >>> zone_that_doubles(dt.datetime(2023, 11, 5, 1), -82.0), zone_that_doubles(dt.datetime(2023, 6, 1), -82.0)
    ('America/Detroit', '')
    """
    near = dict[str, float]()
    for name in filter(_PLACE.fullmatch, zoneinfo.available_timezones()):
        first = moment.replace(tzinfo=zoneinfo.ZoneInfo(name))
        second = first.replace(fold=1)
        if (after := second.utcoffset() or dt.timedelta()) < (first.utcoffset() or dt.timedelta()):
            standard = (after - (second.dst() or dt.timedelta())) / dt.timedelta(hours=1)
            near[name] = 0.0 if longitude is None else _apart(standard, longitude / 15.0)
    nearest_of = sorted(name for name, apart in near.items() if apart == min(near.values()) <= _MOST_APART)
    regions = [name.partition("/")[0] for name in nearest_of]
    return min(nearest_of, key=lambda name: (-regions.count(name.partition("/")[0]), name), default="")


def _apart(clock: float, other: float) -> float:
    """How far apart two clocks are, whatever the day. [h]"""
    return abs((clock - other + 12.0) % 24.0 - 12.0)
