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

__all__ = ["printed", "rounded", "rounded_parts"]


def rounded(value: Fraction, decimals: int) -> int:
    """
    Round half away from zero, to a count of last digits.

    Parameters
    ----------
    value : Fraction
    decimals : int

    Returns
    -------
    int
        How many units of the last printed digit.

    Examples
    --------
    >>> rounded(Fraction("2.345"), 2), rounded(Fraction("-0.5"), 0)
    (235, -1)
    """
    whole = math.floor(abs(value) * Fraction(10) ** decimals + Fraction(1, 2))
    return whole if value >= 0 else -whole


def rounded_parts(parts: Sequence[Fraction], decimals: int, total: int | None = None) -> list[int]:
    """
    Round parts so that they add up to the rounded total.

    Parameters
    ----------
    parts : sequence of Fraction
        None below zero.
    decimals : int
    total : int, optional
        What they must add up to, in last digits, where a table above has settled it; within one last digit of the
        true sum. Else the sum, rounded.

    Returns
    -------
    list of int
        Counts of last digits, each less than one from its true value.

    Examples
    --------
    Three equal thirds of 1.00: the first takes the digit that is left.

    >>> rounded_parts([Fraction(1, 3)] * 3, 2)
    [34, 33, 33]
    """
    exact = [part * 10**decimals for part in parts]
    cut = [math.floor(part) for part in exact]
    wanted = rounded(sum(parts, Fraction(0)), decimals) if total is None else total
    missing = wanted - sum(cut)
    by_loss = sorted(range(len(exact)), key=lambda index: (cut[index] - exact[index], index))
    for index in by_loss[:missing]:
        cut[index] += 1
    return cut


def printed(digits: int, decimals: int) -> Decimal:
    """
    Return a count of last digits as the decimal number that is printed.

    Examples
    --------
    >>> printed(235, 2)
    Decimal('2.35')
    """
    return Decimal(digits).scaleb(-decimals)
