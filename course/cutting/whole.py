"""From fractions of patterns to whole pieces of stock: dives by rounding, then a whole-number program."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

import highspy
import numpy as np

from course.cutting.highs import quiet_solver
from course.cutting.master import EPS, MISSING, Master
from course.cutting.start import portfolio, sheet_by_sheet

DIVES = 10
RESTS = (6, 4, 2)
"""How many pieces of stock, about, a dive leaves to the placing rules."""
REPRICED = 30
"""Most rounds of pricing after each step of a dive."""
NODES = 300
"""Most nodes of the whole-number program."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Patterns with how many pieces of stock are cut so, and what is left uncut."""

    uses: tuple[tuple[int, int], ...]
    """Number of the pattern and copies."""
    short: tuple[int, ...]
    """Of each part size, how many are not cut."""
    cost: int
    """Price of the stock, and the price of what is missing."""
    how: str

    @property
    def complete(self) -> bool:
        """Everything is cut."""
        return not any(self.short)


def answer_of(master: Master, uses: Counter[int], how: str) -> Answer:
    """Adds up an answer."""
    made = [0] * len(master.demand)
    for column, times in uses.items():
        for item, count in enumerate(master.columns[column].counts):
            made[item] += count * times
    short = tuple(max(0, wanted - got) for wanted, got in zip(master.demand, made, strict=True))
    cost = sum(master.costs[master.columns[column].stock] * times for column, times in uses.items())
    cost += MISSING * master.dearest * sum(short)
    return Answer(tuple(sorted((c, n) for c, n in uses.items() if n)), short, cost, how)


def dives(master: Master, most: int = DIVES) -> Answer:
    """The best of up to `most` dives, the first straight, the others with some chance in what is rounded up."""
    best = _rounded(master, 0)
    for number in range(1, most):
        if best.cost <= master.bound:
            break
        best = min(best, _rounded(master, number), key=lambda answer: answer.cost)
    return best


def _rounded(master: Master, number: int) -> Answer:
    uses, _ = _dive(master, number, 0, reprice=master.pricing.quick)
    return answer_of(master, uses, "rounding")


def _dive(master: Master, number: int, rest: int, reprice: bool) -> tuple[Counter[int], list[int]]:
    """Takes whole parts of the fractions, asks again for what is left, and rounds one up when there are none.

    Args:
        master: The patterns.
        number: Of the dive: 0 rounds up the largest fraction, each next one leaves more to chance.
        rest: Area of parts at which to stop. [units of length squared]
        reprice: Look for new patterns for what is left.
    """
    chance, noise = random.Random(number), 0.05 * number
    left, on_hand = list(master.demand), list(master.on_hand)
    uses: Counter[int] = Counter()
    closed: set[int] = set()
    while any(left) and _area(master, left) > rest:
        master.program.ask(left, on_hand)
        values = _values(master, left, closed, reprice)
        picks = [(c, n) for c, v in enumerate(values) if (n := floor(v + EPS)) > 0]
        if not picks:
            split = [(c, v) for c, v in enumerate(values) if v > EPS]
            if not split:
                break
            picks = [(max(split, key=lambda cv: (cv[1] + noise * chance.random(), -cv[0]))[0], 1)]
        for column, times in sorted(picks, key=lambda p: (-values[p[0]], p[0])):
            _take(master, column, times, left, on_hand, uses)
    master.program.open(sorted(closed))
    master.program.ask(master.demand, master.on_hand)
    return uses, left


def _area(master: Master, left: Sequence[int]) -> int:
    return sum(item.length * item.width * count for item, count in zip(master.job.items, left, strict=True))


def _take(
    master: Master, column: int, times: int, left: list[int], on_hand: list[int | None], uses: Counter[int]
) -> None:
    pattern = master.columns[column]
    if master.pricing.counted:
        times = min([times, *(left[i] // n for i, n in enumerate(pattern.counts) if n)])
    uses[column] += times
    for item, count in enumerate(pattern.counts):
        left[item] = max(0, left[item] - count * times)
    have = on_hand[pattern.stock]
    if have is not None:
        on_hand[pattern.stock] = have - times


def _values(master: Master, left: Sequence[int], closed: set[int], reprice: bool) -> np.ndarray:
    """Fractions for what is left; where patterns are counted, only of those that fit into it."""
    start = 0
    for _ in range(REPRICED):
        new = range(start, len(master.columns))
        if master.pricing.counted:
            over = [c for c in new if c not in closed and _too_many(master.columns[c].counts, left)]
            master.program.close(over)
            closed.update(over)
        solution, start = master.program.solve(), len(master.columns)
        if not reprice or not master.price(solution, 0, left):
            break
    return solution.uses


def _too_many(counts: Sequence[int], left: Sequence[int]) -> bool:
    return any(count > most for count, most in zip(counts, left, strict=True))


def whole_program(master: Master, best: Answer, nodes: int = NODES) -> Answer:
    """HiGHS over the patterns that an answer cheaper than the best can use."""
    solution = master.program.solve()
    room = best.cost - master.job.coin - solution.value
    kept = []
    for number, column in enumerate(master.columns):
        paid = sum(solution.worth[i] * n for i, n in enumerate(column.counts)) - solution.held[column.stock]
        if master.costs[column.stock] - paid <= room + EPS * master.dearest:
            kept.append(number)
    if not kept:
        return best
    values = _solved(master, kept, best, nodes)
    uses = Counter({column: n for column, value in zip(kept, values, strict=True) if (n := round(value)) > 0})
    found = answer_of(master, uses, "whole-number program")
    return found if found.cost < best.cost and _in_stock(master, uses) else best


def _solved(master: Master, kept: Sequence[int], best: Answer, nodes: int) -> Sequence[float]:
    solver = quiet_solver()
    none = (np.array([], dtype=np.int32), np.array([], dtype=float))
    for wanted in master.demand:
        solver.addRow(wanted, highspy.kHighsInf, 0, *none)
    rows = {}
    for stock, limit in enumerate(master.on_hand):
        if limit is not None:
            rows[stock] = solver.getNumRow()
            solver.addRow(-highspy.kHighsInf, limit, 0, *none)
    for number in kept:
        column = master.columns[number]
        entries = [(item, float(n)) for item, n in enumerate(column.counts) if n]
        if column.stock in rows:
            entries.append((rows[column.stock], 1.0))
        index = np.array([row for row, _ in entries], dtype=np.int32)
        solver.addCol(master.costs[column.stock], 0, highspy.kHighsInf, len(index), index,
                      np.array([n for _, n in entries]))  # fmt: skip
        solver.changeColIntegrality(solver.getNumCol() - 1, highspy.HighsVarType.kInteger)
    coin = master.job.coin
    for option, value in (
        ("mip_max_nodes", nodes), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.999 * coin),
        ("objective_target", master.bound + 0.001 * coin), ("objective_bound", best.cost - 0.5 * coin),
    ):  # fmt: skip
        solver.setOptionValue(option, value)
    solver.run()
    values = solver.getSolution().col_value
    return values if len(values) == len(kept) else [0.0] * len(kept)


def tries(master: Master, best: Answer) -> Answer:
    """Quick placing rules on all parts, then on what dives leave at their end; all layouts are kept as patterns."""
    best = _one_by_one(master, best)
    largest = max(blank.length * blank.width for blank in master.job.blanks)
    starts: list[tuple[Counter[int], list[int]]] = [(Counter(), list(master.demand))]
    for rest in RESTS:
        for number in range(DIVES):
            if best.cost <= master.bound:
                return best
            uses, left = starts.pop() if starts else _dive(master, number, rest * largest, reprice=False)
            best = _placed(master, best, uses, left)
    return best


def _one_by_one(master: Master, best: Answer) -> Answer:
    """The best answer when stock of several kinds, limits or defects is filled piece by piece."""
    blanks = master.job.blanks
    if len(blanks) == 1 and not blanks[0].defects:
        return best
    for sheets in sheet_by_sheet(master.job, master.demand, master.pricing.kerf):
        if best.cost <= master.bound:
            break
        found = Counter(master.add(stock, recipe) for stock, recipe in sheets)
        answer = answer_of(master, found, "placing rules")
        if answer.cost < best.cost and _in_stock(master, found):
            best = answer
    return best


def _placed(master: Master, best: Answer, uses: Counter[int], left: Sequence[int]) -> Answer:
    """The best answer when what is left is cut from one kind of stock by placing rules."""
    for stock, blank in enumerate(master.job.blanks):
        for sheets in portfolio(master.job, blank, left):
            found = Counter(uses)
            for recipe, copies in sheets:
                found[master.add(stock, recipe)] += copies
            answer = answer_of(master, found, "placing rules")
            if answer.cost < best.cost and _in_stock(master, found):
                best = answer
                if best.cost <= master.bound:
                    return best
    return best


def _in_stock(master: Master, uses: Counter[int]) -> bool:
    used: Counter[int] = Counter()
    for column, times in uses.items():
        used[master.columns[column].stock] += times
    return all(limit is None or used[stock] <= limit for stock, limit in enumerate(master.on_hand))
