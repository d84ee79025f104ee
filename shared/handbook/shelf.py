"""Sag of a shelf under books: beam theory with common-practice limits."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from shared.problems import OutOfRange

POUND_FORCE = Fraction("0.45359237") * Fraction("9.80665")
"""Newtons, exact: the pound by the agreement of 1959, standard gravity of 1901."""
FOOT = Fraction("304.8")
"""Millimetres."""
CREEP = Fraction(3, 2)
"""Sag after years over sag at once; common practice."""
LIMIT_PER_LENGTH = Fraction("0.02") / 12
"""Sag that is let pass, 0.02 in per foot of span; common practice."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """A shelf resting freely on its two ends."""

    span: Fraction
    """Between the rests. [mm]"""
    depth: Fraction
    """Front to back. [mm]"""
    thickness: Fraction
    """[mm]"""
    modulus: Fraction
    """Modulus of elasticity along the span; from the Wood Handbook, chapter 5, or the maker. [MPa]"""

    def __post_init__(self) -> None:
        """Refuse what is no shelf."""
        if min(self.span, self.depth, self.thickness, self.modulus) <= 0:
            raise OutOfRange("span, depth, thickness and modulus of a shelf must be above zero")

    @property
    def second_moment(self) -> Fraction:
        """Of its rectangular section, b t^3 / 12. [mm^4]"""
        return self.depth * self.thickness**3 / 12


def pounds_per_foot(load: Fraction) -> Fraction:
    """A load in pounds per foot of shelf, as force per length. Exact conversion. [N/mm]"""
    return load * POUND_FORCE / FOOT


def sag(shelf: Shelf, load: Fraction) -> Fraction:
    """Sag at mid-span at once. Beam theory, freely supported, evenly loaded: 5 w L^4 / (384 E I). [mm]

    Args:
        shelf: What carries.
        load: Evenly spread. [N/mm]
    """
    return 5 * load * shelf.span**4 / (384 * shelf.modulus * shelf.second_moment)


def lasting_sag(shelf: Shelf, load: Fraction, creep: Fraction = CREEP) -> Fraction:
    """Sag after years: `sag` times a creep factor, 1.5 by common practice. [mm]"""
    return sag(shelf, load) * creep


def sag_limit(span: Fraction) -> Fraction:
    """Sag that is let pass over a span: 0.02 in per foot, common practice. [mm]"""
    return span * LIMIT_PER_LENGTH


def longest_span(shelf: Shelf, load: Fraction, creep: Fraction = CREEP) -> Fraction:
    """The longest span of such a shelf whose lasting sag keeps the limit, down to a tenth of a millimetre.

    `lasting_sag` = `sag_limit` solved for the span; the span of the shelf given does not matter. [mm]
    """
    cube = LIMIT_PER_LENGTH * 384 * shelf.modulus * shelf.second_moment / (5 * load * creep)
    return Fraction(_cube_root(int(cube * 1000)), 10)


def _cube_root(number: int) -> int:
    """The largest whole number whose cube is not above a whole number."""
    low, high = 0, 1 << (number.bit_length() // 3 + 1)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if middle**3 <= number else (low, middle)
    return low
