"""
Weather: files in, one clean daily table out.

`read_weather` does it all. Below it: readers of formats (`readers`, `table`), the order of days (`calendar`),
plausibility (`checks`), gaps and humidity (`filling`).
"""

from panbudget.weather.clean import read_weather
from panbudget.weather.filling.fallback import Fallback
from panbudget.weather.filling.gaps import GapLimits
from panbudget.weather.finishing import Weather
from panbudget.weather.flags import is_filled
from panbudget.weather.formats.readers import READERS
from panbudget.weather.site import Site
from panbudget.weather.text.columns import STANDARD

__all__ = ["READERS", "STANDARD", "Fallback", "GapLimits", "Site", "Weather", "is_filled", "read_weather"]
