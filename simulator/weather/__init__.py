"""
Weather: files in, one clean daily table out.

`read_weather` does it all. Below it: readers of formats (`readers`, `table`), the order of days (`calendar`),
plausibility (`plausibility`), gaps (`gaps`) and humidity (`humidity`).
"""

from __future__ import annotations

from simulator.weather.columns import STANDARD
from simulator.weather.fallback import Fallback
from simulator.weather.flags import is_filled
from simulator.weather.gaps import GapLimits
from simulator.weather.readers import READERS
from simulator.weather.record import Weather, read_weather
from simulator.weather.site import Site, SiteLike

__all__ = ["READERS", "STANDARD", "Fallback", "GapLimits", "Site", "SiteLike", "Weather", "is_filled", "read_weather"]
