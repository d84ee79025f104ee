"""How the errors of several parts add up in a gap or an overall size.

Root sum of squares needs parts cut independently, about centred on their sizes; a class that cuts all
from one badly set stop breaks that, so both results are shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

from shared.problems import OutOfRange


@dataclass(frozen=True, slots=True)
class Link:
    """One size of a chain."""

    share: Fraction
    """+1 when a longer part opens the gap, -1 when it closes it; other numbers when slanted or shared."""
    size: Fraction
    """[mm]"""
    tolerance: Fraction
    """Plus and minus, around the size. [mm]"""

    def __post_init__(self) -> None:
        """Refuse a negative tolerance."""
        if self.tolerance < 0:
            raise OutOfRange("a tolerance is given as plus and minus one number, not below zero")


@dataclass(frozen=True, slots=True)
class Spread:
    """A size and how far it may lie to either side. [mm]"""

    nominal: Fraction
    tolerance: Fraction | float

    @property
    def least(self) -> Fraction | float:
        """[mm]"""
        return self.nominal - self.tolerance

    @property
    def most(self) -> Fraction | float:
        """[mm]"""
        return self.nominal + self.tolerance


def link(share: Fraction, size: Fraction, plus: Fraction, minus: Fraction) -> Link:
    """A link with unequal limits, turned into a centred one. Geometry.

    Args:
        share: As in `Link`.
        size: Named size. [mm]
        plus: How much larger it may be. [mm]
        minus: How much smaller it may be, as a positive number. [mm]
    """
    return Link(share, size + (plus - minus) / 2, (plus + minus) / 2)


def nominal(links: Sequence[Link]) -> Fraction:
    """The gap when every part has its size: the sum of share x size. [mm]"""
    return sum((each.share * each.size for each in links), Fraction(0))


def worst_case(links: Sequence[Link]) -> Spread:
    """The gap when every part errs fully the same way: tolerances add up.

    Scholz, Tolerance Stack Analysis Methods (1995), arithmetic stacking. Exact.
    """
    return Spread(nominal(links), sum((abs(each.share) * each.tolerance for each in links), Fraction(0)))


def root_sum_square(links: Sequence[Link]) -> Spread:
    """The gap when parts err independently: tolerances add up as squares.

    Scholz, Tolerance Stack Analysis Methods (1995), statistical stacking. The tolerance is a float.
    """
    return Spread(nominal(links), sqrt(sum((each.share * each.tolerance) ** 2 for each in links)))


def shares_of_variance(links: Sequence[Link]) -> tuple[Fraction, ...]:
    """How much of the squared tolerance each part brings: where care counts. The sum is 1.

    Raises:
        OutOfRange: No part has a tolerance.
    """
    squares = [(each.share * each.tolerance) ** 2 for each in links]
    if not sum(squares):
        raise OutOfRange("no part of the chain has a tolerance, so none has a share of it")
    return tuple(square / sum(squares) for square in squares)


def equal_tolerance_worst_case(total: Fraction, parts: int) -> Fraction:
    """The tolerance each of so many equal parts may have, errors adding up fully. [mm]"""
    return total / _at_least_one(parts)


def equal_tolerance_root_sum_square(total: Fraction, parts: int) -> float:
    """The tolerance each of so many equal parts may have, errors adding up as squares. [mm]"""
    return float(total) / sqrt(_at_least_one(parts))


def _at_least_one(parts: int) -> int:
    if parts < 1:
        raise OutOfRange(f"a chain has at least one part, not {parts}")
    return parts
