"""The most valuable way to cut one plate, every part as often as it pays: tables over raster points.

A table pass along one axis joins plates side by side; passes in turn give patterns of one more stage each. What was
chosen is stored when it is chosen, so that a pattern is read back exactly as it was valued. Values are whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from course.cutting.grid import floor_index, raster_points
from course.cutting.model import Axis, Rect, Stages
from course.cutting.recipe import Recipe, Shape

NONE = -(1 << 60)
"""Less than any value, and twice it is still a number."""

SMALL = 1 << 29
"""Values up to this take half the memory, and half the time."""

Passes = tuple[Axis, ...]
"""Axes of the table passes in order; the last is the first cut of the saw. Empty: until nothing changes.
One pass alone makes a single strip, each part trimmed to its own width."""


def rungs(stages: Stages) -> tuple[tuple[Passes, ...], ...]:
    """Families of patterns to price, from few stages to all that are allowed."""
    most = stages.most or 4
    found = []
    for depth in range(2, most):
        found.append(tuple(_passes(depth, first) for first in Axis))
    if stages.most is None:
        return (*found, ((),))
    firsts = tuple(Axis) if stages.first is None else (stages.first,)
    return (*found, tuple(_passes(most, first) for first in firsts))


def _passes(depth: int, first: Axis) -> Passes:
    return tuple(first if (depth - step) % 2 else first.other for step in range(depth))


@dataclass(frozen=True, slots=True)
class Best:
    """The best pattern of a plate."""

    value: int
    recipe: Recipe


class _Strips:
    """Strips along u, stacked along v: the first two passes, part by part, which is faster than by cut positions."""

    def __init__(
        self, along: Axis, points: tuple[np.ndarray, np.ndarray], shapes: Sequence[tuple[int, Shape]], grid: int
    ) -> None:
        """`along` is the axis of the cuts inside a strip."""
        self.along, self.grid = along, grid
        self.us, self.vs = points[along], points[along.other]
        sides = [(shape.length, shape.width) for _, shape in shapes]
        self.numbers = [number for number, _ in shapes]
        self.sizes = [side[along] for side in sides]
        self.heights = sorted({side[along.other] for side in sides})
        self.areas = [side[0] * side[1] for side in sides]
        self.room = int(self.us[-1]) * int(self.vs[-1])
        self.before_u = np.array([floor_index(self.us, np.maximum(self.us - u, -1)) for u in self.sizes])
        self.before_v = np.array([floor_index(self.vs, np.maximum(self.vs - h, -1)) for h in self.heights])
        self.taller = np.array([[side[along.other] > h for h in self.heights] for side in sides])

    def fill(self, values: np.ndarray, u_from: int, stacked: bool) -> _Stacks:
        """Best stacks (of one strip only, unless `stacked`) for every u from index `u_from` and every v."""
        most = max(int(v) * self.room // max(a, 1) for v, a in zip(values, self.areas, strict=True))
        small = most < SMALL
        kind, none = (np.int32, -SMALL) if small else (np.int64, NONE)
        gains = np.where(self.taller, none, values[:, None]).astype(kind)
        strips, part = _knapsack(self.before_u, gains, len(self.heights))
        each = np.ascontiguousarray(strips[u_from:].T)
        before = self.before_v if stacked else np.minimum(self.before_v, 0)
        stacks, strip = _knapsack(before, each, each.shape[1])
        return _Stacks(self, stacks, part, strip, u_from, stacked)


@dataclass(frozen=True, slots=True)
class _Stacks:
    """The values of stacks for one worth, and how each is made."""

    strips: _Strips
    values: np.ndarray
    """Rows are v, columns u."""
    part: np.ndarray
    strip: np.ndarray
    u_from: int
    stacked: bool

    def recipe(self, u: int, v: int) -> Recipe:
        """The pattern at (u, v)."""
        while v > 0 and self.strip[v, u - self.u_from] < 0:
            v -= 1
        if v <= 0:
            return None
        row = int(self.strip[v, u - self.u_from])
        if not self.stacked:
            return self._strip(u, row)
        rest = self.recipe(u, int(self.strips.before_v[row, v]))
        return (self.strips.along.other, self.strips.heights[row] * self.strips.grid, self._strip(u, row), rest)

    def _strip(self, u: int, row: int) -> Recipe:
        while u > 0 and self.part[u, row] < 0:
            u -= 1
        if u <= 0:
            return None
        part = int(self.part[u, row])
        rest = self._strip(int(self.strips.before_u[part, u]), row)
        return (self.strips.along, self.strips.sizes[part] * self.strips.grid, self.strips.numbers[part], rest)


def _knapsack(before: np.ndarray, gains: np.ndarray, columns: int) -> tuple[np.ndarray, np.ndarray]:
    """Best sums for every position, column by column, and which choice was the last (-1: none, as one position less).

    Args:
        before: Position left when a choice (row) has been taken at a position; -1 where it does not fit.
        gains: Value of a choice (row) in each column.
        columns: Number of columns.
    """
    length = before.shape[1]
    table = np.zeros((length + 1, columns), dtype=gains.dtype)
    table[-1] = NONE if gains.dtype == np.int64 else -SMALL
    chosen = np.full((length, columns), -1, dtype=np.int16)
    for here in range(1, length):
        found = table[before[:, here]] + gains
        best = found.max(axis=0)
        better = best > table[here - 1]
        table[here] = np.where(better, best, table[here - 1])
        if better.any():
            chosen[here, better] = found[:, better].argmax(axis=0)
    return table[:-1], chosen


class PlatePricer:
    """Best patterns of one stock size. Sizes with kerf; shapes that do not fit must have been left out.

    On a coarse grid sizes are multiples of it: rounded up, every pattern can be cut; rounded down, no pattern of the
    real sizes is worth more than the best one found.
    """

    def __init__(
        self, length: int, width: int, shapes: Sequence[tuple[int, Shape]], defects: Sequence[Rect] = (),
        kerf: int = 0, grid: int = 1, up: bool = True,
    ) -> None:  # fmt: skip
        """`shapes` with their numbers in the job; `defects` as seen from the corner inside the trim."""
        self.size, self.grid = (length, width), grid
        if grid > 1:
            shapes = [(n, _on_grid(shape, grid, up)) for n, shape in shapes]
            shapes = [(n, s) for n, s in shapes if s.length <= length // grid and s.width <= width // grid]
        self.shapes = shapes
        self.items = np.array([shape.item for _, shape in shapes], dtype=np.int64)
        self.points = (
            raster_points((shape.length for _, shape in shapes), length // grid),
            raster_points((shape.width for _, shape in shapes), width // grid),
        )
        self.defects, self.kerf = tuple(defects), kerf

    @property
    def steps(self) -> int:
        """Additions in a pass along x and one along y: how much work a table of many stages is."""
        nx, ny = (len(points) for points in self.points)
        return nx * ny * (nx + ny) // 4

    @cached_property
    def strips(self) -> dict[Axis, _Strips]:
        """For strips along each axis."""
        return {axis: _Strips(axis, self.points, self.shapes, self.grid) for axis in Axis}

    @cached_property
    def cuts(self) -> dict[Axis, list[np.ndarray]]:
        """For each point of an axis, what is left behind a cut at points 1, 2, ... up to half of it."""
        return {axis: _cuts(self.points[axis]) for axis in Axis}

    def best(self, worth: Sequence[int], passes: Passes) -> Best:
        """The best pattern of the whole plate, defects or none.

        Args:
            worth: Of each part size.
            passes: Which patterns; empty for any number of stages.
        """
        if not len(self.items):
            return Best(0, None)
        return self.table(worth, passes, whole=True).best(*self.size)

    def table(self, worth: Sequence[int], passes: Passes, whole: bool = False) -> Table:
        """The best patterns of every plate up to this stock; `whole`: only the full plate will be asked for."""
        return Table(self, np.asarray(worth, dtype=np.int64)[self.items], passes, whole)

    def around_defects(self, worth: Sequence[int], passes: Passes) -> Best:
        """A good pattern that touches no defect: cuts at the edges of defects, the best patterns between them."""
        return _AroundDefects(self, worth).best(passes)


def _on_grid(shape: Shape, grid: int, up: bool) -> Shape:
    if up:
        return Shape(shape.item, -(-shape.length // grid), -(-shape.width // grid))
    return Shape(shape.item, shape.length // grid, shape.width // grid)


def _cuts(points: np.ndarray) -> list[np.ndarray]:
    halves = np.searchsorted(points, points // 2, side="right")
    return [floor_index(points, here - points[1:half]) for here, half in zip(points, halves, strict=True)]


class Table:
    """Values of all plates up to the stock, for one worth."""

    def __init__(self, pricer: PlatePricer, values: np.ndarray, passes: Passes, whole: bool) -> None:
        self.pricer = pricer
        self.levels: list[tuple[Axis, np.ndarray]] = []
        base = passes[0] if passes else Axis.CROSSCUT
        strips = pricer.strips[base]
        corner_only = whole and len(passes) == 2
        self.stacks = strips.fill(values, len(strips.us) - 1 if corner_only else 0, len(passes) != 1)
        self.values = self.stacks.values if base is Axis.RIP else np.ascontiguousarray(self.stacks.values.T)
        """Rows are x, columns y."""
        for number, axis in enumerate(passes[2:], 3):
            if whole and number == len(passes):
                self.values = self.values[:, -1:] if axis is Axis.CROSSCUT else self.values[-1:, :]
            self._cut(axis)
        if not passes:
            axis, idle = base, 0
            while idle < 2:
                idle, axis = (0 if self._cut(axis) else idle + 1), axis.other

    def _cut(self, axis: Axis) -> bool:
        """Cuts of one axis through every plate; whether any became worth more."""
        rows = self.values.copy() if axis is Axis.CROSSCUT else np.ascontiguousarray(self.values.T)
        chosen = np.full(rows.shape, -1, dtype=np.int16)
        for here, rest in enumerate(self.pricer.cuts[axis]):
            if not len(rest):
                continue
            found = rows[1 : len(rest) + 1] + rows[rest]
            best = found.max(axis=0)
            better = best > rows[here]
            if better.any():
                chosen[here, better] = found[:, better].argmax(axis=0)
                rows[here, better] = best[better]
        changed = bool((chosen >= 0).any())
        if changed:
            self.values = rows if axis is Axis.CROSSCUT else np.ascontiguousarray(rows.T)
            self.levels.append((axis, chosen if axis is Axis.CROSSCUT else chosen.T))
        return changed

    def best(self, length: int, width: int) -> Best:
        """The best pattern of a plate of this size."""
        places = zip(self.pricer.points, (length, width), strict=True)
        i, j = (int(floor_index(points, np.array(side // self.pricer.grid))) for points, side in places)
        row, column = min(i, self.values.shape[0] - 1), min(j, self.values.shape[1] - 1)
        return Best(int(self.values[row, column]), self._read(i, j, len(self.levels)))

    def _chosen(self, i: int, j: int, level: int) -> int:
        """The cut of a level at (i, j); its table may be the last row or column alone."""
        chosen = self.levels[level - 1][1]
        return int(chosen[min(i, chosen.shape[0] - 1), min(j, chosen.shape[1] - 1)])

    def _read(self, i: int, j: int, level: int) -> Recipe:
        while level and self._chosen(i, j, level) < 0:
            level -= 1
        if not level:
            return self.stacks.recipe(*((i, j) if self.stacks.strips.along is Axis.CROSSCUT else (j, i)))
        axis = self.levels[level - 1][0]
        cut, here = self._chosen(i, j, level), (i, j)[axis]
        rest = int(self.pricer.cuts[axis][here][cut])
        where = int(self.pricer.points[axis][rest]) * self.pricer.grid
        if axis is Axis.CROSSCUT:
            return (axis, where, self._read(rest, j, level), self._read(cut + 1, j, level))
        return (axis, where, self._read(i, rest, level), self._read(i, cut + 1, level))


class _AroundDefects:
    """Splits a plate at the edges of its defects until every plate with parts is clear."""

    def __init__(self, pricer: PlatePricer, worth: Sequence[int]) -> None:
        self.pricer, self.worth = pricer, worth
        self.tables: dict[Passes, Table] = {}
        self.known: dict[tuple, Best] = {}

    def best(self, passes: Passes) -> Best:
        """The best splits found."""
        return self._plate(0, 0, *self.pricer.size, passes or None)

    def _plate(self, x: int, y: int, length: int, width: int, passes: Passes | None) -> Best:
        key = (x, y, length, width, passes)
        if key not in self.known:
            self.known[key] = self._find(x, y, length, width, passes)
        return self.known[key]

    def _find(self, x: int, y: int, length: int, width: int, passes: Passes | None) -> Best:
        kerf = self.pricer.kerf
        inside = [
            d for d in self.pricer.defects
            if d.x < x + length - kerf and d.x + d.length > x and d.y < y + width - kerf and d.y + d.width > y
        ]  # fmt: skip
        if not inside:
            return self._clear(length, width, passes)
        found = Best(0, None)
        if passes is not None and len(passes) > 1:
            found = self._plate(x, y, length, width, passes[:-1])
        for axis in Axis if passes is None else (passes[-1],):
            start, end = ((x, x + length), (y, y + width))[axis]
            edges = {p for d in inside for p in _edges(d, axis, kerf, start) if start + kerf < p < end}
            for edge in sorted(edges):
                where = edge - start
                if axis is Axis.CROSSCUT:
                    one = self._plate(x, y, where, width, passes)
                    two = self._plate(edge, y, length - where, width, passes)
                else:
                    one = self._plate(x, y, length, where, passes)
                    two = self._plate(x, edge, length, width - where, passes)
                if one.value + two.value > found.value:
                    found = Best(one.value + two.value, (axis, where, one.recipe, two.recipe))
        return found

    def _clear(self, length: int, width: int, passes: Passes | None) -> Best:
        wanted = passes or ()
        if wanted not in self.tables:
            self.tables[wanted] = self.pricer.table(self.worth, wanted)
        return self.tables[wanted].best(length, width)


def _edges(defect: Rect, axis: Axis, kerf: int, start: int) -> tuple[int, int]:
    """Where a plate can start behind a cut that just clears a defect on either side; no plate is thinner than 1."""
    near, size = (defect.x, defect.length) if axis is Axis.CROSSCUT else (defect.y, defect.width)
    return near + kerf, max(near + size, start + kerf + 1)
