"""Station moved to `site`."""

from __future__ import annotations

from panbudget.weather.site import Station, station_notes

__all__ = ["Station", "station_notes"]
