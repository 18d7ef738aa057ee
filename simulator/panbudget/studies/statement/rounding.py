"""
Rounding: columns whose printed parts add up to their printed total.

The rule, which every statement repeats: a total is rounded once, half away from zero; its parts are first cut off at
the last printed digit, and the digits then missing from the total go one each to the parts that lost most (the method
of largest remainders), the earlier one first where two lost the same. So no part is off by a whole last digit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction


def rounded(value: Fraction, decimals: int) -> Decimal:
    """
    Round half away from zero, to a number as it is printed.

    Parameters
    ----------
    value : Fraction
    decimals : int

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
