"""
Zones: what a time zone that is not known was meant to be.

Names are those of the IANA time zone database; its "Etc" zones have their sign turned round (Etc/GMT-10 is UTC+10).
"""

from __future__ import annotations

import re
import zoneinfo

from panbudget.scenario.problems import nearest

__all__ = ["zone_cure"]

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


def zone_cure(text: str) -> str:
    """
    Say what to write for a time zone that is not known.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        The rest of a sentence that begins with the key and its value.

    Examples
    --------
    >>> zone_cure("UTC+10")
    'is not a time zone that is known; for 10 hours ahead of UTC write "Etc/GMT-10" (its sign is turned round)'
    """
    unknown = "is not a time zone that is known"
    hours, place = _ABBREVIATIONS.get(text.strip().upper(), (None, ""))
    match = _OFFSET.fullmatch(text.strip())
    if place:
        fixed = f', or "{_fixed(hours)}" for {_ahead(hours)} all year (its sign is turned round)' if hours else ""
        return f'{unknown}; did you mean "{place}"? Abbreviations stand for several: write a place{fixed}'
    if match is not None:
        hours = int(match.group(2)) * (1 if match.group(1) == "+" else -1)
        if -_MOST_WEST <= hours <= _MOST_EAST:
            turned = " (its sign is turned round)" if hours else ""
            return f'{unknown}; for {_ahead(hours)} write "{_fixed(hours)}"{turned}'
    signed = re.search(r"[-+−]\s*\d", text) is not None  # its neighbours by spelling lie hours away
    if signed:
        return (
            f'{unknown}; expected: whole hours, "Etc/GMT-8" for 8 ahead of UTC, or a place, such as "Australia/Darwin"'
        )
    near = nearest(text, zoneinfo.available_timezones()) if len(text) > 4 else None
    if near:
        return f'{unknown}; did you mean "{near}"?'
    return f'{unknown}; expected: a name of the IANA database, such as "Australia/Perth", or a fixed one, "Etc/GMT-8"'


def _fixed(hours: int) -> str:
    return f"Etc/GMT{-hours:+d}" if hours else "Etc/GMT"


def _ahead(hours: int) -> str:
    return f"{abs(hours)} hour{'' if abs(hours) == 1 else 's'} {'ahead of' if hours >= 0 else 'behind'} UTC"
