"""Board feet, and how much lumber to order for a list of parts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from shared.problems import OutOfRange
from shared.units import INCH

BOARD_FOOT = 144 * INCH**3
"""One board foot, 1 ft x 1 ft x 1 in. [mm^3]"""
EXTRA_WIDTH, EXTRA_LENGTH = Fraction(6), Fraction(25)
"""Added to a part for kerf, jointing and trimming; common practice. [mm]"""


@dataclass(frozen=True, slots=True)
class Blank:
    """Equal parts to be cut from one thickness of lumber, finished width and length. [mm]"""

    width: Fraction
    length: Fraction
    count: int


def board_feet(thickness: Fraction, width: Fraction, length: Fraction) -> Fraction:
    """Volume of a board in board feet: thickness x width x length / 144 in inches.

    powershardwoods.com, lumber information. Surfaced hardwood is sold by its rough thickness, so give that.

    Args:
        thickness: As it is sold. [mm]
        width: [mm]
        length: [mm]

    Raises:
        OutOfRange: A size below zero.
    """
    if min(thickness, width, length) < 0:
        raise OutOfRange("a board has no size below zero")
    return thickness * width * length / BOARD_FOOT


def rough_board_feet(
    blanks: Iterable[Blank],
    thickness: Fraction,
    extra_width: Fraction = EXTRA_WIDTH,
    extra_length: Fraction = EXTRA_LENGTH,
) -> Fraction:
    """Board feet of a list of parts with what jointing and trimming take.

    Args:
        blanks: Finished sizes.
        thickness: Rough thickness they are cut from. [mm]
        extra_width: Added to each width. [mm]
        extra_length: Added to each length. [mm]
    """
    return sum(
        (b.count * board_feet(thickness, b.width + extra_width, b.length + extra_length) for b in blanks),
        Fraction(0),
    )


def order(rough: Fraction, yield_share: Fraction) -> Fraction:
    """Board feet to order so that a yield leaves what is needed.

    Args:
        rough: What the parts take. [board feet]
        yield_share: Share of the lumber that becomes parts, from the shop's own record. [above 0, to 1]

    Raises:
        OutOfRange: A yield of zero or less, or above 1.
    """
    if not 0 < yield_share <= 1:
        raise OutOfRange(f"a yield lies above 0 and is at most 1, not {float(yield_share):g}")
    return rough / yield_share
