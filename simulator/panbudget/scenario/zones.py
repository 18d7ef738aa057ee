"""
Zones: what an unknown time zone was meant to be.

Names are those of the IANA time zone database; its "Etc" zones have their sign turned round (Etc/GMT-10 is UTC+10).
"""

import re
import zoneinfo

from panbudget.errors import Problem, nearest
from panbudget.words import packaged

_ABBREVIATIONS = packaged("scenario/zones.toml")
_OFFSET = re.compile(r"(?:UTC|GMT)?\s*([-+−])\s*(\d{1,2})(?::?00)?", re.IGNORECASE)
_MOST_EAST, _MOST_WEST = 14, 12


def unknown_zone(text: str) -> Problem:
    """
    Say what to write for an unknown time zone.

    Parameters
    ----------
    text : str

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
    near = nearest(text, zoneinfo.available_timezones()) if len(text) > 4 else None
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
