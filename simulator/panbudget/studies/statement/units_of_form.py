"""
Units of the form: litres, L/h and m² into what a form asks for, by exact factors.

Factors are fractions, not floats, so that nothing is lost before the one rounding at the end. Source: NIST Special
Publication 811 (2008), appendix B.8, where a factor in bold type is exact: inch 0.0254 m, foot 0.3048 m, US gallon
(231 cubic inches) 3.785411784 L. All others here follow from these by whole numbers.

Which foot. SP 811 computes the acre and the acre-foot by the US survey foot, 1200/3937 m, which makes an acre-foot
1233.489 m³. That foot was retired at the end of 2022 (NIST and National Geodetic Survey, Federal Register 85 FR 62698,
2020): an acre-foot is now 43 560 cubic feet of 0.3048 m, 1233.48183754752 m³. That is the default here. The older one
can be asked for by name; the two differ by six parts in a million.

Rounding: columns whose printed parts add up to their printed total. The rule, which every
statement repeats: a total is rounded once, half away from zero; its parts are first cut off at the last printed digit,
and the digits then missing from the total go one each to the parts that lost most (the method of largest remainders),
the earlier one first where two lost the same. So no part is off by a whole last digit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from panbudget.words import number, packaged

_ENDLESS_PLACES = 6  # decimals that are shown of a factor that has no end


@dataclass(frozen=True)
class FormUnit:
    """
    One unit that a form may ask for.

    Parameters
    ----------
    key : str
        What a scenario calls it.
    symbol : str
        As it stands in a table's heading.
    size : Fraction
        How many litres, L/h or m² one of it is; exact.
    decimals : int
        Decimals printed where the scenario does not say: the last digit is worth at most 13 L, 4 L/h or 10 m².
    """

    key: str
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

    def rounded(self, value: float, decimals: int | None = None) -> Decimal:
        """Turn an engine value into this unit, as it is printed. [L, L/h or m²]"""
        return rounded(self.exact(value), self.decimals if decimals is None else decimals)

    def text(self, value: float, decimals: int | None = None) -> str:
        """Write an engine value in this unit: "45.51 m³". [L, L/h or m²]"""
        return f"{amount(self.rounded(value, decimals))}\u00a0{self.symbol}"

    def factor_text(self, base: str) -> str:
        """
        Write this unit's exact size in a base unit.

        Examples
        --------
        >>> VOLUME_UNITS["gal"].factor_text("L").replace("\\u00a0", " ")
        '1 US gal = 3.785411784 L exactly'
        """
        rest = self.size.denominator
        for prime in (2, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:  # it has a last decimal
            exact = Decimal(self.size.numerator) / Decimal(self.size.denominator)
            return f"1 {self.symbol} = {exact.normalize():f}\u00a0{base} exactly"
        size = f"{float(self.size):.{_ENDLESS_PLACES}f}…"
        return f"1 {self.symbol} = {size}\u00a0{base}, computed with the exact fraction"


def amount(value: Decimal | None) -> str:
    """Write a printed number: "45.51"; a dash where there is none."""
    return "–" if value is None else number(float(value), -int(value.as_tuple().exponent))


#: litres, L/h and m² in one of each
VOLUME_UNITS, RATE_UNITS, AREA_UNITS = (
    {
        key: FormUnit(key, unit["symbol"], Fraction(unit["size"]), unit["decimals"])
        for key, unit in packaged("studies/statement/units_of_form.toml")[kind].items()
    }
    for kind in ("volume", "rate", "area")
)


def rounded(value: Fraction, decimals: int) -> Decimal:
    """
    Round half away from zero, to a number as it is printed.

    Returns
    -------
    Decimal
        With that many decimals, zeros at its end kept.

    Examples
    --------
    >>> rounded(Fraction("2.345"), 2), rounded(Fraction("-0.5"), 0)
    (Decimal('2.35'), Decimal('-1'))
    """
    whole = math.floor(abs(value) * 10**decimals + Fraction(1, 2))
    return Decimal(whole if value >= 0 else -whole).scaleb(-decimals)


def rounded_parts(parts: Sequence[Fraction], decimals: int, total: Decimal | None = None) -> list[Decimal]:
    """
    Round parts so that they add up to the rounded total.

    Parameters
    ----------
    parts : sequence of Fraction
        None below zero.
    decimals : int
    total : Decimal, optional
        What they must add up to, where a table above has settled it; within one last digit of the true sum. Else the
        sum, rounded.

    Returns
    -------
    list of Decimal
        Each less than one last digit from its true value.

    Examples
    --------
    Three equal thirds of 1.00: the first takes the digit that is left.

    >>> [str(part) for part in rounded_parts([Fraction(1, 3)] * 3, 2)]
    ['0.34', '0.33', '0.33']
    """
    exact = [part * 10**decimals for part in parts]
    digits = [math.floor(part) for part in exact]
    wanted = rounded(sum(parts, Fraction(0)), decimals) if total is None else total
    missing = int(wanted.scaleb(decimals)) - sum(digits)
    by_loss = sorted(range(len(exact)), key=lambda index: (digits[index] - exact[index], index))
    for index in by_loss[:missing]:
        digits[index] += 1
    return [Decimal(count).scaleb(-decimals) for count in digits]
