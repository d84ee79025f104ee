"""The printed bound: whole-number arithmetic from the worth of parts to a cost that no plan can beat.

Valid for any worth at any moment, so neither rounding nor an early stop of the solver can spoil it. It holds for the
job's kerf, trim, stages and whole pieces of stock. Patterns that touch defects are let through, which can only make
the bound lower.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import gcd

SCALE = 10_000_000
"""Worth of the dearest piece of stock, about."""
MOST_SUMS = 1_000_000
"""Up to this many coins all sums are tried; above it nearly every sum can be paid."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A proof: see `model.Certificate` for the arithmetic."""

    worth: tuple[int, ...]
    held: tuple[int, ...]
    best: tuple[int, ...]
    value: Fraction
    """Least cost before rounding up."""


def whole_worth(duals: Iterable[float], dearest: int) -> list[int]:
    """Whole numbers for the duals of a linear program."""
    return [max(0, int(dual * SCALE / dearest)) for dual in duals]


def bound(worth: Sequence[int], best: Sequence[int], demand: Sequence[int], costs: Sequence[int],
          on_hand: Sequence[int | None], dearest: int) -> Bound:  # fmt: skip
    """The best bound that this worth can give.

    Args:
        worth: Of each part size, any whole numbers from 0 up.
        best: Most worth that one piece of each stock can give.
        demand: Wanted of each part size.
        costs: Of each stock.
        on_hand: How many of each stock there are; None for any number.
        dearest: The scale of worth: a stock of this cost is worth `SCALE`.
    """
    unlimited = [Fraction(c, v) for c, v, n in zip(costs, best, on_hand, strict=True) if n is None and v]
    rate = min(unlimited, default=Fraction(dearest, SCALE))
    held = [
        0 if n is None or not rate else max(0, -((Fraction(c) / rate - v) // 1))
        for c, v, n in zip(costs, best, on_hand, strict=True)
    ]
    paid = sum(v * d for v, d in zip(worth, demand, strict=True))
    paid -= sum(m * n for m, n in zip(held, on_hand, strict=True) if n is not None)
    rates = [Fraction(c, v - m) for c, v, m in zip(costs, best, held, strict=True) if v > m]
    value = max(Fraction(0), min(rates, default=Fraction(0)) * paid)
    return Bound(tuple(worth), tuple(held), tuple(best), value)


@cache
def payable(value: Fraction, costs: tuple[int, ...]) -> int:
    """The least cost that can be paid with whole pieces of stock and is not below `value`.

    Args:
        value: Least cost before rounding up.
        costs: Of each stock.
    """
    coins = sorted({cost for cost in costs if cost})
    if not coins or value <= 0:
        return 0
    unit = gcd(*coins)
    least, steps = -(-value // unit), [coin // unit for coin in coins]
    if least > MOST_SUMS:
        return least * unit
    within = (1 << (least + steps[0])) - 1
    sums = 1
    for step in steps:
        while step <= least + steps[-1]:
            sums |= (sums << step) & within
            step *= 2
    above = sums >> least
    return (least + (above & -above).bit_length() - 1) * unit
