"""Why no layout could be much better, on paper: points for every part, and the most that one sheet or board holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from course.cutting.model import UNITS, Grain, Job, Plan
from course.order import Order
from shared.units import decimal


@dataclass(frozen=True, slots=True)
class WorthRow:
    """Parts of one size and what they are worth, as finished text."""

    size: str
    grain: str
    count: str
    each: str
    together: str


@dataclass(frozen=True, slots=True)
class StockRow:
    """One kind of sheet or board, as finished text."""

    name: str
    size: str
    cost: str
    on_hand: str
    most: str
    off: str
    """Taken off for each that is on hand."""
    rate: str
    """Cost of a million points."""


@dataclass(frozen=True, slots=True)
class CertificateRows:
    """The proof of one lot, as finished text."""

    name: str
    words: str
    trim: str
    kerf: str
    ways: str
    grid: str
    stock: tuple[StockRow, ...]
    parts: tuple[WorthRow, ...]
    total: str
    paid: str
    least: str
    bound: str
    cost: str
    used: str
    gap: str


WAYS = {
    None: "cuts from edge to edge in any order",
    1: "cut to length only",
    2: "ripped, then crosscut",
    3: "crosscut, ripped, and crosscut again",
}
"""How a piece of stock is cut, by the stages of its job."""
GRAIN = {Grain.ALONG: "along", Grain.ACROSS: "across", Grain.FREE: "either"}
MILLION = 1_000_000


def lots_of(order: Order) -> Iterator[tuple[str, Job, Plan]]:
    """Name, job and plan of everything that was planned in one go; what the instructor has pinned needs no proof."""
    for plan in order.sheets:
        for lot in plan.lots:
            if lot.plan.how != "pinned" and lot.plan.layouts:
                yield f"{plan.group.says}, {lot.when}" if lot.when else plan.group.says, lot.job, lot.plan
    for boards in order.boards:
        if boards.layout.plan.layouts:
            yield boards.group.says, boards.layout.job, boards.layout.plan


def unit_in_words(order: Order) -> str:
    """What a length of 1 in a job is."""
    return "0.1 mm" if order.shown.unit == "mm" else "1/64 in"


def certificates(order: Order) -> tuple[CertificateRows, ...]:
    """The proof of every lot."""
    return tuple(_certificate(order, *lot) for lot in lots_of(order))


def _certificate(order: Order, name: str, job: Job, plan: Plan) -> CertificateRows:
    unit = UNITS["mm" if order.shown.unit == "mm" else "in"]
    shown, proof = order.shown, plan.certificate
    most, held, worth, planned = dict(proof.best), dict(proof.held), dict(proof.worth), dict(plan.planned)
    usable = [stock for stock in job.stock if stock.id in most]
    total = sum(worth[part] * count for part, count in planned.items())
    off = sum(held.get(stock.id, 0) * (stock.on_hand or 0) for stock in usable)
    rates = [Fraction(s.cost, most[s.id] - held.get(s.id, 0)) for s in usable if most[s.id] > held.get(s.id, 0)]
    least = max(Fraction(0), min(rates, default=Fraction(0)) * (total - off))
    stock = tuple(
        StockRow(
            s.id, f"{shown.bare(s.length * unit)} \u00d7 {shown.size(s.width * unit)}", str(s.cost),
            "any number" if s.on_hand is None else str(s.on_hand), _points(most[s.id]), _points(held.get(s.id, 0)),
            decimal(Fraction(s.cost * MILLION, max(1, most[s.id] - held.get(s.id, 0))), 6),
        )
        for s in usable
    )  # fmt: skip
    grids = {grid for _, grid in proof.grids}
    gap = "Proven: nothing can be better." if plan.proven else f"{plan.gap} above the bound."
    return CertificateRows(
        name, f"{plan.used} used, cost {plan.cost}",
        f"{shown.size(job.trim.ends * unit)} off each end, {shown.size(job.trim.edges * unit)} off each edge",
        shown.size(job.kerf * unit), WAYS[job.stages.most],
        "" if grids == {1} else f"{shown.size(max(grids) * unit)}", stock, tuple(_worths(order, job, plan, unit)),
        _points(total), _points(total - off), decimal(least, 4), str(plan.lower_bound), str(plan.cost),
        str(plan.used), gap,
    )  # fmt: skip


def _worths(order: Order, job: Job, plan: Plan, unit: Fraction) -> Iterator[WorthRow]:
    shown, planned, worth = order.shown, dict(plan.planned), dict(plan.certificate.worth)
    found: dict[tuple, int] = {}
    for part in job.demand:
        if part.part in planned:
            key = (part.length, part.width, GRAIN[part.grain], part.pin, worth[part.part])
            found[key] = found.get(key, 0) + planned[part.part]
    for (length, width, grain, pin, each), count in sorted(found.items(), reverse=True):
        size = f"{shown.bare(length * unit)} \u00d7 {shown.size(width * unit)}"
        yield WorthRow(f"{size}, from {pin}" if pin else size, grain, str(count), _points(each), _points(each * count))


def _points(value: int) -> str:
    """A whole number in groups of three digits."""
    return f"{value:,}".replace(",", "\u202f")
