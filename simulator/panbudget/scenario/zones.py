"""
Zones: what an unknown time zone was meant to be.

Names are those of the IANA time zone database; its "Etc" zones have their sign turned round (Etc/GMT-10 is UTC+10).
"""

from __future__ import annotations

import re
import zoneinfo

from panbudget.errors import Problem, nearest

# abbreviation -> hours of standard time ahead of UTC, None where they are not whole; a zone that uses it. From memory;
# an abbreviation may stand for several, so that these are asked about and never taken
_ABBREVIATIONS: dict[str, tuple[int | None, str]] = {
    "AEST": (10, "Australia/Brisbane"),
    "AEDT": (10, "Australia/Sydney"),
    "ACST": (None, "Australia/Darwin"),
    "ACDT": (None, "Australia/Adelaide"),
    "AWST": (8, "Australia/Perth"),
    "NZST": (12, "Pacific/Auckland"),
    "NZDT": (12, "Pacific/Auckland"),
    "BST": (0, "Europe/London"),
    "CEST": (1, "Europe/Paris"),
    "EEST": (2, "Europe/Athens"),
    "SAST": (2, "Africa/Johannesburg"),
    "IST": (None, "Asia/Kolkata"),
    "JST": (9, "Asia/Tokyo"),
    "EDT": (-5, "America/New_York"),
    "CST": (-6, "America/Chicago"),
    "CDT": (-6, "America/Chicago"),
    "MDT": (-7, "America/Denver"),
    "PST": (-8, "America/Los_Angeles"),
    "PDT": (-8, "America/Los_Angeles"),
    "BRT": (-3, "America/Sao_Paulo"),
}
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
    hours, place = _ABBREVIATIONS.get(text.strip().upper(), (None, ""))
    match = _OFFSET.fullmatch(text.strip())
    if match is not None:
        hours = int(match.group(2)) * (1 if match.group(1) == "+" else -1)
    near = nearest(text, zoneinfo.available_timezones()) if len(text) > 4 else None
    if place:
        fixed = f', or "{_fixed(hours)}" for {_ahead(hours)} all year (its sign is turned round)' if hours else ""
        cure = f'did you mean "{place}"? Abbreviations stand for several: write a place{fixed}'
    elif match is not None and hours is not None and -_MOST_WEST <= hours <= _MOST_EAST:
        cure = f'for {_ahead(hours)} write "{_fixed(hours)}"' + (" (its sign is turned round)" if hours else "")
    elif re.search(r"[-+−]\s*\d", text):  # its neighbours by spelling lie hours away
        expected = 'whole hours, "Etc/GMT-8" for 8 ahead of UTC, or a place, such as "Australia/Darwin"'
    elif near:
        cure = f'did you mean "{near}"?'
    else:
        expected = 'a name of the IANA database, such as "Australia/Perth", or a fixed one, "Etc/GMT-8"'
    return Problem("unknown-zone", "timezone", "is an unknown time zone", expected, cure)


def _fixed(hours: int) -> str:
    return f"Etc/GMT{-hours:+d}" if hours else "Etc/GMT"


def _ahead(hours: int) -> str:
    return f"{abs(hours)} hour{'' if abs(hours) == 1 else 's'} {'ahead of' if hours >= 0 else 'behind'} UTC"
