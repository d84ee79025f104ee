"""Boards: ripped and crosscut with the grain along them; panels wider than any board are glued up from strips.

A panel of width W in n strips loses the jointing allowance a on both edges of each of its n - 1 joints, so the strips
together are W + 2 (n - 1) a wide (plain geometry). Every strip is a part of its own; the strips of a panel are equal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import reduce
from math import gcd, lcm

from course.cutting.model import CROSSCUT_FIRST, Demand, Grain, Job, Stock, Trim

MOST_STRIPS = 12
"""A panel of more strips is not planned."""


def strips(width: int, widest: int, joint: int) -> tuple[int, int] | None:
    """How many strips make a panel, and how wide each is; one when it fits, None when no reasonable number does.

    Args:
        width: Of the panel.
        widest: Strip that a board gives.
        joint: Planed off each edge that is glued.
    """
    for count in range(1, MOST_STRIPS + 1):
        each = -(-(width + 2 * (count - 1) * joint) // count)
        if each <= widest:
            return count, each
    return None


def whole_costs(prices: Sequence[Fraction]) -> tuple[int, ...]:
    """Whole numbers in the proportions of prices, as small as they can be."""
    scale = reduce(lcm, (price.denominator for price in prices), 1)
    coins = [int(price * scale) for price in prices]
    common = gcd(*coins) or 1
    return tuple(coin // common for coin in coins)


def board_job(stock: Sequence[Stock], demand: Sequence[Demand], kerf: int, trim: Trim) -> Job:
    """The job of cutting parts from boards: crosscut, ripped, crosscut again.

    The length of a part lies along the board; only one whose grain runs along its width lies across. Two stages would
    do with fewer cuts, but three waste less, and short lengths are safer to handle than a strip as long as the board.
    """
    locked = tuple(replace(d, grain=Grain.ALONG) if d.grain is Grain.FREE else d for d in demand)
    return Job(tuple(stock), locked, kerf, trim, CROSSCUT_FIRST)
