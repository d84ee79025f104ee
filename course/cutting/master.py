"""The linear program over patterns, the search for better patterns, and the bound that comes with it.

Every step is limited by counts of rounds or nodes, never by the clock, so a job has one answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import Protocol

import highspy
import numpy as np

from course.cutting.certificate import SCALE, Bound, bound, payable, whole_worth
from course.cutting.highs import quiet_solver
from course.cutting.prepare import Prepared
from course.cutting.recipe import Recipe, counts

MISSING = 1000
"""Price of a part that is not cut, in pieces of the dearest stock: only paid when the stock on hand runs out."""
ROUNDS = 500
"""Most rounds of pricing in one family of patterns."""
EPS = 1e-6


class Pricing(Protocol):
    """Finds good patterns for given worths."""

    counted: bool
    kerf: int

    @property
    def rungs(self) -> int:
        """Families of patterns, each asked when the one before gives no more."""

    @property
    def quick(self) -> bool:
        """Whether pricing is worth asking at every step of a dive."""

    @property
    def grids(self) -> tuple[int, ...]:
        """For each stock the grid that sizes are rounded to. [units]"""

    def columns(self, worth: Sequence[int], rung: int, left: Sequence[int]) -> list[tuple[int, int, Recipe]]:
        """Number of the stock, value and recipe."""

    def limits(self, worth: Sequence[int]) -> list[int]:
        """The most that one piece of each stock can give."""


@dataclass(frozen=True, slots=True)
class Column:
    """A pattern as the program sees it."""

    stock: int
    counts: tuple[int, ...]
    recipe: Recipe


@dataclass(frozen=True, slots=True)
class Solution:
    """Of the linear program."""

    value: float
    uses: np.ndarray
    """Of each pattern."""
    worth: np.ndarray
    """Dual of each part size."""
    held: np.ndarray
    """What one more of each stock would save."""


class Program:
    """The linear program in HiGHS: cover the demand, keep to the stock on hand, pay the least."""

    def __init__(self, demand: Sequence[int], costs: Sequence[int], on_hand: Sequence[int | None]) -> None:
        self.items, self.costs = len(demand), costs
        limited = [stock for stock, count in enumerate(on_hand) if count is not None]
        self.rows = {stock: len(demand) + n for n, stock in enumerate(limited)}
        self.solver = quiet_solver()
        none = (np.array([], dtype=np.int32), np.array([], dtype=float))
        for _ in range(len(demand) + len(self.rows)):
            self.solver.addRow(-highspy.kHighsInf, highspy.kHighsInf, 0, *none)
        self.ask(demand, on_hand)
        missing = MISSING * (max(costs) or 1)
        for item in range(len(demand)):
            self.solver.addCol(missing, 0, highspy.kHighsInf, 1, np.array([item], dtype=np.int32), np.ones(1))

    def ask(self, demand: Sequence[int], on_hand: Sequence[int | None]) -> None:
        """Sets what is wanted and what there is."""
        for item, count in enumerate(demand):
            self.solver.changeRowBounds(item, count, highspy.kHighsInf)
        for stock, row in self.rows.items():
            limit = on_hand[stock]
            assert limit is not None  # only stock that can run out has a row
            self.solver.changeRowBounds(row, -highspy.kHighsInf, limit)

    def add(self, column: Column) -> None:
        """One more pattern."""
        rows = [(item, float(n)) for item, n in enumerate(column.counts) if n]
        if column.stock in self.rows:
            rows.append((self.rows[column.stock], 1.0))
        index = np.array([row for row, _ in rows], dtype=np.int32)
        values = np.array([n for _, n in rows])
        self.solver.addCol(self.costs[column.stock], 0, highspy.kHighsInf, len(rows), index, values)

    def close(self, columns: Iterable[int]) -> None:
        """Patterns that must not be used."""
        for column in columns:
            self.solver.changeColBounds(self.items + column, 0, 0)

    def open(self, columns: Iterable[int]) -> None:
        """Patterns that may be used again."""
        for column in columns:
            self.solver.changeColBounds(self.items + column, 0, highspy.kHighsInf)

    def solve(self) -> Solution:
        """The cheapest fractions of patterns."""
        self.solver.run()
        found = self.solver.getSolution()
        held = np.zeros(len(self.costs))
        for stock, row in self.rows.items():
            held[stock] = max(0.0, -found.row_dual[row])
        value = self.solver.getInfo().objective_function_value
        return Solution(value, np.array(found.col_value[self.items :]), np.array(found.row_dual[: self.items]), held)


class Master:
    """Patterns found so far and the best bound."""

    def __init__(self, job: Prepared, pricing: Pricing) -> None:
        self.job, self.pricing = job, pricing
        self.demand = job.demand
        self.costs = [blank.stock.cost for blank in job.blanks]
        self.on_hand = [blank.stock.on_hand for blank in job.blanks]
        self.dearest = max(self.costs) or 1
        self.columns: list[Column] = []
        self.known: dict[tuple[int, tuple[int, ...]], int] = {}
        self.proof: Bound | None = None
        self.program = Program(self.demand, self.costs, self.on_hand)

    @property
    def bound(self) -> int:
        """No answer costs less."""
        return payable(self.proof.value, tuple(self.costs)) if self.proof else 0

    def add(self, stock: int, recipe: Recipe) -> int:
        """The number of a pattern, new or known."""
        found = counts(recipe, self.job.shapes, len(self.demand))
        key = (stock, found)
        if key not in self.known:
            self.known[key] = len(self.columns)
            self.columns.append(Column(stock, found, recipe))
            self.program.add(self.columns[-1])
        return self.known[key]

    def put(self, stock: int, recipe: Recipe) -> int:
        """The number of a pattern that takes the place of one with the same parts."""
        number = self.add(stock, recipe)
        self.columns[number] = replace(self.columns[number], recipe=recipe)
        return number

    def start(self) -> None:
        """One pattern of each part size alone on each stock."""
        for item in (number for number, wanted in enumerate(self.demand) if wanted):
            worth = [int(other == item) for other in range(len(self.demand))]
            for stock, value, recipe in self.pricing.columns(worth, 0, self.demand):
                if value:
                    self.add(stock, recipe)

    def generate(self) -> None:
        """Adds patterns family by family until none pays or the bound cannot rise any more."""
        for rung in range(self.pricing.rungs):
            for _ in range(ROUNDS):
                solution = self.program.solve()
                worth = whole_worth(solution.worth, self.dearest)
                if rung == self.pricing.rungs - 1 and self._prove(worth, solution.value):
                    return
                if not self.price(solution, rung, self.demand):
                    break

    def price(self, solution: Solution, rung: int, left: Sequence[int]) -> bool:
        """Adds the patterns that pay at these worths; whether there were any."""
        before = len(self.columns)
        worth = whole_worth(solution.worth, self.dearest)
        for stock, value, recipe in self.pricing.columns(worth, rung, left):
            if value > (self.costs[stock] + solution.held[stock]) * SCALE / self.dearest * (1 + EPS):
                self.add(stock, recipe)
        return len(self.columns) > before

    def _prove(self, worth: Sequence[int], value: float) -> bool:
        """Keeps the bound of this worth when it is the best; whether more pricing cannot raise it."""
        best = self.pricing.limits(worth)
        found = bound(worth, best, self.demand, self.costs, self.on_hand, self.dearest)
        if self.proof is None or found.value > self.proof.value:
            self.proof = found
        coin = self.job.coin
        return self.bound >= payable(Fraction(ceil(value / coin - EPS) * coin), tuple(self.costs))
