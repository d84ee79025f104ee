"""The most valuable way to cut one stick to length, no part more often than it is wanted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from course.cutting.model import Axis
from course.cutting.prepare import Blank, Prepared
from course.cutting.recipe import Recipe


class Lengths:
    """Best values of all lengths up to a limit: a knapsack with counts, by doubling chunks."""

    def __init__(self, sizes: Sequence[int], values: Sequence[int], most: Sequence[int], limit: int) -> None:
        """One entry per part size: length with kerf, value, how many at most."""
        self.sizes = sizes
        self.table = np.zeros(limit + 1, dtype=np.int64)
        self.chunks: list[tuple[int, int]] = []
        self.taken: list[np.ndarray] = []
        for item, (size, value, count) in enumerate(zip(sizes, values, most, strict=True)):
            left, chunk = min(count, limit // size), 1
            while left > 0 and value > 0:
                take = min(chunk, left)
                self._add(item, take, size * take, value * take)
                left, chunk = left - take, 2 * chunk

    def _add(self, item: int, take: int, size: int, value: int) -> None:
        if size >= len(self.table):
            return
        with_it = self.table[:-size] + value
        better = with_it > self.table[size:]
        self.chunks.append((item, take))
        self.taken.append(better)
        np.maximum(self.table[size:], with_it, out=self.table[size:])

    def counts(self, length: int) -> list[int]:
        """How many of each part size make up the best value of a length."""
        found = [0] * len(self.sizes)
        for (item, take), better in zip(reversed(self.chunks), reversed(self.taken), strict=True):
            size = self.sizes[item] * take
            if length >= size and better[length - size]:
                found[item] += take
                length -= size
        return found


class StickPricing:
    """Prices sticks of all lengths and sections of a job."""

    rungs = 1
    counted = True
    """Patterns are priced within what is left to cut."""
    quick = True
    """Pricing is quick enough to be asked at every step of a dive."""

    def __init__(self, job: Prepared, kerf: int) -> None:
        self.job, self.kerf = job, kerf
        self.grids = (1,) * len(job.blanks)

    def columns(self, worth: Sequence[int], rung: int, left: Sequence[int]) -> list[tuple[int, int, Recipe]]:
        """For each stock its number, the best value and the recipe; there is one rung only."""
        tables: dict[tuple[int, ...], Lengths] = {}
        found = []
        for number, blank in enumerate(self.job.blanks):
            table = self._table(tables, blank, worth, left)
            limit = blank.length
            value = int(table.table[min(limit, len(table.table) - 1)])
            counts = table.counts(limit)
            if blank.defects:
                value, recipe = self._around_defects(blank, worth, left)
            else:
                recipe = self._recipe(blank, counts)
            found.append((number, value, recipe))
        return found

    def limits(self, worth: Sequence[int]) -> list[int]:
        """The most that one piece of each stock can give, defects left aside."""
        tables: dict[tuple[int, ...], Lengths] = {}
        found = []
        for blank in self.job.blanks:
            table = self._table(tables, blank, worth, self.job.demand)
            found.append(int(table.table[blank.length]))
        return found

    def _table(self, tables: dict, blank: Blank, worth: Sequence[int], left: Sequence[int]) -> Lengths:
        if blank.shapes not in tables:
            limit = max(b.length for b in self.job.blanks if b.shapes == blank.shapes)
            tables[blank.shapes] = self._lengths(blank, worth, left, limit)
        return tables[blank.shapes]

    def _lengths(self, blank: Blank, worth: Sequence[int], left: Sequence[int], limit: int) -> Lengths:
        shapes = [self.job.shapes[n] for n in blank.shapes]
        items = [shape.item for shape in shapes]
        return Lengths([s.length for s in shapes], [worth[i] for i in items], [left[i] for i in items], limit)

    def _recipe(self, blank: Blank, counts: Sequence[int], rest: Recipe = None) -> Recipe:
        """The longest parts first; `rest` is what follows."""
        order = sorted(zip(blank.shapes, counts, strict=True), key=lambda c: self.job.shapes[c[0]].length)
        for shape, count in order:
            for _ in range(count):
                rest = (Axis.CROSSCUT, self.job.shapes[shape].length, shape, rest)
        return rest

    def _around_defects(self, blank: Blank, worth: Sequence[int], left: Sequence[int]) -> tuple[int, Recipe]:
        """Fills the clear lengths between defects one after the other, the longest first."""
        left, value, filled = list(left), 0, {}
        for start, end in sorted(self._clear(blank), key=lambda c: (c[0] - c[1], c[0])):
            table = self._lengths(blank, worth, left, end - start)
            counts = table.counts(end - start)
            value += int(table.table[end - start])
            filled[start, end] = self._recipe(blank, counts)
            for shape, count in zip(blank.shapes, counts, strict=True):
                left[self.job.shapes[shape].item] -= count
        return value, _joined([(start, end, filled[start, end]) for start, end in sorted(filled)], 0)

    def _clear(self, blank: Blank) -> list[tuple[int, int]]:
        """Where plates between defects start and end, kerf added; no plate and no gap is thinner than 1."""
        found, start, last = [], 0, 0
        for defect in sorted(blank.defects, key=lambda d: d.x):
            end = min(defect.x + self.kerf, blank.length)
            if end - start > self.kerf:
                found.append((start, end))
                last = end
            start = max(start, last, defect.x + defect.length)
            if 0 < start - last <= self.kerf:
                start = last + self.kerf + 1
        return [*found, (start, blank.length)] if start + self.kerf < blank.length else found


def _joined(parts: list[tuple[int, int, Recipe]], at: int) -> Recipe:
    """Recipes between `start` and `end`, ascending, as one for the stick from `at` on."""
    if not parts:
        return None
    start, end, inside = parts[0]
    if start > at:
        return (Axis.CROSSCUT, start - at, None, _joined(parts, start))
    return (Axis.CROSSCUT, end - start, inside, _joined(parts[1:], end))
