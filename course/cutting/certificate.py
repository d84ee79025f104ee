"""The printed bound: whole-number arithmetic from the worth of parts to a cost that no plan can beat.

Valid for any worth at any moment, so neither rounding nor an early stop of the solver can spoil it. It holds for the
job's kerf, trim, stages and whole pieces of stock. Patterns that touch defects are let through, which can only make
the bound lower.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

SCALE = 10_000_000
"""Worth of the dearest piece of stock, about."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A proof: see `model.Certificate` for the arithmetic."""

    worth: tuple[int, ...]
    held: tuple[int, ...]
    best: tuple[int, ...]
    value: Fraction
    """Least cost before rounding up."""


def whole_worth(duals: Sequence[float], dearest: int) -> list[int]:
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


def rounded_to_coins(value: Fraction, coin: int) -> int:
    """The least cost that can be paid and is not below `value`."""
    return -(-value // coin) * coin
