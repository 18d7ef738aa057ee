"""
Units of the form: litres, L/h and m² into what a form asks for, by exact factors.

Factors are fractions, not floats, so that nothing is lost before the one rounding at the end. Source: NIST Special
Publication 811 (2008), appendix B.8, where a factor in bold type is exact: inch 0.0254 m, foot 0.3048 m, US gallon
(231 cubic inches) 3.785411784 L. All others here follow from these by whole numbers.

Which foot. SP 811 reckons the acre and the acre-foot by the US survey foot, 1200/3937 m, which makes an acre-foot
1233.489 m³. That foot was retired at the end of 2022 (NIST and National Geodetic Survey, Federal Register 85 FR 62698,
2020): an acre-foot is now 43 560 cubic feet of 0.3048 m, 1233.48183754752 m³. That is the default here. The older one
can be asked for by name; the two differ by six parts in a million.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

__all__ = ["AREA_UNITS", "RATE_UNITS", "VOLUME_UNITS", "FormUnit"]

_FOOT = Fraction("0.3048")  # m, exact (SP 811, B.8)
_SURVEY_FOOT = Fraction(1200, 3937)  # m, exact (SP 811, B.6)
_INCH = Fraction("0.0254")  # m, exact (SP 811, B.8)
_GALLON = 231 * _INCH**3 * 1000  # L, exact: 3.785411784 (SP 811, B.8)
_ACRE = 43_560  # square feet
_SECONDS = 3600  # in an hour


@dataclass(frozen=True)
class FormUnit:
    """
    One unit that a form may ask for.

    Parameters
    ----------
    key : str
        What a scenario calls it.
    name : str
        As it is written out in a sentence.
    symbol : str
        As it stands in a table's heading.
    size : Fraction
        How many litres, L/h or m² one of it is; exact.
    decimals : int
        Decimals printed where the scenario does not say: the last digit is worth at most 13 L, 4 L/h or 10 m².
    """

    key: str
    name: str
    symbol: str
    size: Fraction
    decimals: int

    def exact(self, value: float) -> Fraction:
        """
        Turn an engine value into this unit.

        Parameters
        ----------
        value : float
            [L, L/h or m²]

        Returns
        -------
        Fraction
            Exact for that float.

        Examples
        --------
        >>> float(VOLUME_UNITS["gal"].exact(3.785411784))
        1.0
        """
        return Fraction(value) / self.size


def _by_key(*units: FormUnit) -> dict[str, FormUnit]:
    return {unit.key: unit for unit in units}


#: litres in one of each
VOLUME_UNITS: dict[str, FormUnit] = _by_key(
    FormUnit("L", "litres", "L", Fraction(1), 0),
    FormUnit("m^3", "cubic metres", "m³", Fraction(1000), 2),
    FormUnit("ML", "megalitres", "ML", Fraction(1_000_000), 5),
    FormUnit("gal", "US gallons", "US gal", _GALLON, 0),
    FormUnit("acre-foot", "acre-feet", "acre-ft", _ACRE * _FOOT**3 * 1000, 5),
    FormUnit("acre-inch", "acre-inches", "acre-in", _ACRE * _FOOT**3 * 1000 / 12, 4),
    FormUnit("acre-foot-survey", "acre-feet (US survey foot)", "acre-ft (survey)", _ACRE * _SURVEY_FOOT**3 * 1000, 5),
    FormUnit(
        "acre-inch-survey", "acre-inches (US survey foot)", "acre-in (survey)", _ACRE * _SURVEY_FOOT**3 * 1000 / 12, 4
    ),
    FormUnit("hundred-cubic-feet", "hundred cubic feet", "ccf", 100 * _FOOT**3 * 1000, 3),
)

#: L/h in one of each
RATE_UNITS: dict[str, FormUnit] = _by_key(
    FormUnit("L/h", "litres an hour", "L/h", Fraction(1), 0),
    FormUnit("L/s", "litres a second", "L/s", Fraction(_SECONDS), 3),
    FormUnit("m^3/h", "cubic metres an hour", "m³/h", Fraction(1000), 3),
    FormUnit("gal/min", "US gallons a minute", "gal/min", _GALLON * 60, 2),
    FormUnit("ft^3/s", "cubic feet a second", "ft³/s", _FOOT**3 * 1000 * _SECONDS, 5),
)

#: m² in one of each
AREA_UNITS: dict[str, FormUnit] = _by_key(
    FormUnit("m^2", "square metres", "m²", Fraction(1), 1),
    FormUnit("ha", "hectares", "ha", Fraction(10_000), 4),
    FormUnit("acre", "acres", "acre", _ACRE * _FOOT**2, 4),
)
