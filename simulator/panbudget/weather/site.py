"""
Site: what a weather reader must know of the place, and a plain object to say it with.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

__all__ = ["Site", "SiteLike"]


class SiteLike(Protocol):
    """Anything with these attributes is a site: a scenario's own, or `Site`."""

    @property
    def latitude(self) -> float:
        """Degrees, south negative."""

    @property
    def longitude(self) -> float | None:
        """Degrees, west negative."""

    @property
    def elevation(self) -> float:
        """Height above sea. [m]"""

    @property
    def setting(self) -> str:
        """Either "inland" or "coast"."""

    @property
    def climate(self) -> str:
        """One of "auto", "dry" and "humid"."""

    @property
    def timezone(self) -> str | None:
        """Name of the time zone, such as "Etc/GMT+0"."""


@dataclass(frozen=True)
class Site:
    """
    Where the weather was measured.

    Parameters
    ----------
    latitude : float
        −90 to 90, south negative. [degrees]
    elevation : float
        Height above sea. [m]
    longitude : float, optional
        East positive. [degrees]
    setting : str
        "inland" or "coast"; used only where radiation is missing.
    climate : str
        "dry", "humid" or "auto"; used only where humidity is missing.
    timezone : str, optional
        Name of the time zone.

    Raises
    ------
    ValueError
        A latitude out of range, or a word that is none of those listed.
    """

    latitude: float
    elevation: float
    longitude: float | None = None
    setting: str = "inland"
    climate: str = "auto"
    timezone: str | None = None

    def __post_init__(self) -> None:
        if not -90.0 <= self.latitude <= 90.0:
            raise ValueError(f"latitude is {self.latitude}; -90 to 90 degrees are expected")
        if self.setting not in ("inland", "coast"):
            raise ValueError(f'setting is "{self.setting}"; "inland" or "coast" is expected')
        if self.climate not in ("auto", "dry", "humid"):
            raise ValueError(f'climate is "{self.climate}"; "auto", "dry" or "humid" is expected')
