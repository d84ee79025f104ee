"""How many spare parts to cut."""

from __future__ import annotations

from fractions import Fraction
from math import comb

from shared.problems import OutOfRange

SURE = Fraction(95, 100)
"""How sure the spares shall be enough; our choice."""


def enough(parts: int, scrap: Fraction, spares: int) -> Fraction:
    """The chance that no more parts are spoiled than there are spares.

    Binomial distribution, exact: each part is spoiled with the same chance and independently; a set-up
    error that spoils a whole batch breaks this, and spares that are spoiled themselves are not counted.

    Args:
        parts: How many are to be made.
        scrap: Chance that one is spoiled, from the shop's own record. [0 to 1]
        spares: How many more are cut.

    Raises:
        OutOfRange: A count below zero, or a chance outside 0 to 1.
    """
    _check(parts, scrap)
    if spares < 0:
        raise OutOfRange("a number of spares cannot be below zero")
    spoiled, whole = Fraction(scrap).as_integer_ratio()
    good = whole - spoiled
    ways = sum(comb(parts, k) * spoiled**k * good ** (parts - k) for k in range(min(spares, parts) + 1))
    return Fraction(ways, whole**parts)


def spares(parts: int, scrap: Fraction, sure: Fraction = SURE) -> int:
    """The least number of spares that is enough with a wanted chance, by `enough`.

    Args:
        parts: How many are to be made.
        scrap: Chance that one is spoiled. [0 to 1]
        sure: Wanted chance. [0 to 1]

    Raises:
        OutOfRange: As `enough`, or a wanted chance outside 0 to 1.
    """
    _check(parts, scrap)
    if not 0 <= sure <= 1:
        raise OutOfRange(f"a chance lies between 0 and 1, not at {float(sure):g}")
    return next(count for count in range(parts + 1) if enough(parts, scrap, count) >= sure)


def _check(parts: int, scrap: Fraction) -> None:
    if parts < 0:
        raise OutOfRange("a number of parts cannot be below zero")
    if not 0 <= scrap <= 1:
        raise OutOfRange(f"the share of spoiled parts lies between 0 and 1, not at {float(scrap):g}")
