"""
Finding: one thing that the user should know about a run.

Severities: `note` (so that nothing is silent), `caution` (look at it), `danger` (it breaks the garden).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

SEVERITIES = ("danger", "caution", "note")


@dataclass(frozen=True)
class Finding:
    """
    One thing worth knowing.

    Parameters
    ----------
    severity : str
        One of `SEVERITIES`.
    code : str
        Short and stable, for scripts.
    where : str
        Controller, "controller/bed", "weather" or "season".
    message : str
        What was found, and what to do.
    first : str or None
        First day it concerns, ISO.
    days : int
        How many days it concerns.
    """

    severity: str
    code: str
    where: str
    message: str
    first: str | None = None
    days: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return it as `season.json` lists it."""
        return asdict(self)
