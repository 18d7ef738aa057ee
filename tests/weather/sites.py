"""Sites of tests: elevations in metres, as plain numbers."""

from __future__ import annotations

from panbudget.scenario import garden


def Site(latitude, elevation, longitude=None, **others):  # noqa: N802 (it stands for the class)
    """Return a scenario's site."""
    return garden.Site(latitude=latitude, longitude=longitude, elevation=f"{elevation} m", **others)
