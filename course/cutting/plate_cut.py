"""The plate-cut model: whole numbers of cuts of each kind instead of whole patterns.

Patterns from pricing are extreme ones; good whole-number plans often need others. Here every plate size that can arise
has a stock of plates: cuts take one and give two, parts take one. Only cuts are kept that an answer cheaper than the
best could use: each cut loses some worth, and a plan of cost C can lose no more than C less the linear program's value.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import highspy
import numpy as np

from course.cutting.certificate import SCALE
from course.cutting.grid import floor_index, normal_points
from course.cutting.highs import quiet_solver
from course.cutting.master import EPS, Master
from course.cutting.model import Axis
from course.cutting.pricing import PlatePricer
from course.cutting.recipe import Recipe
from course.cutting.whole import Answer, answer_of

MOST_ARCS = 6000
"""Most cuts in the model."""
NODES = 40
"""Most nodes of its search."""
SHRINK = (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.08, 0.03, 0.0)
"""Shares of the loss allowed, until the model is small enough."""

Key = tuple[int, int, int]
"""Number of the stock, and of the plate's raster points along x and y."""
Arc = tuple[Key, Axis, int, Key, Key]
"""Plate, axis, where it is cut, and the two plates it gives."""


@dataclass(slots=True)
class _Net:
    """Cuts and parts by plate."""

    arcs: dict[Arc, None] = field(default_factory=dict)
    takes: dict[tuple[Key, int], None] = field(default_factory=dict)


class PlateCuts:
    """Builds and solves the model for the patterns of any number of stages."""

    def __init__(self, master: Master, plates: Sequence[PlatePricer]) -> None:
        self.master, self.plates = master, plates
        self.shapes = master.job.shapes
        solution = master.program.solve()
        self.value = solution.value
        scale = SCALE / master.dearest
        self.worth = np.maximum(np.array([int(d * scale) for d in solution.worth], dtype=np.int64), 0)
        self.tables = [plate.table(self.worth.tolist(), ()).values for plate in plates]
        self.shrunk = [self._shrink(number, plate) for number, plate in enumerate(plates)]

    def _shrink(self, number: int, plate: PlatePricer) -> dict[Axis, np.ndarray]:
        """For each plate the smallest one that parts which fit into it can fill: index along the axis."""
        own = [self.shapes[n] for n in self.master.job.blanks[number].shapes]
        found = {}
        for axis in Axis:
            points, across = plate.points[axis], plate.points[axis.other]
            sides = [((s.length, s.width)[axis], (s.length, s.width)[axis.other]) for s in own]
            index = np.zeros((len(points), len(across)), dtype=np.int32)
            last: tuple[int, ...] = ()
            for j, room in enumerate(across):
                fits = tuple(sorted({a for a, b in sides if b <= room}))
                if j and fits == last:
                    index[:, j] = index[:, j - 1]
                    continue
                sums = normal_points(fits, int(points[-1]))
                index[:, j] = np.searchsorted(points, sums[floor_index(sums, points)])
                last = fits
            found[axis] = index if axis is Axis.CROSSCUT else index.T
        return found

    def _key(self, stock: int, i: int, j: int) -> Key:
        """The plate as it is in the model."""
        narrow, short = self.shrunk[stock][Axis.CROSSCUT], self.shrunk[stock][Axis.RIP]
        while True:
            new = int(narrow[i, j]), int(short[i, j])
            if new == (i, j):
                return (stock, i, j)
            i, j = new

    def _plate_at(self, stock: int, length: int, width: int) -> Key:
        points = self.plates[stock].points
        i, j = (int(floor_index(p, np.array(s))) for p, s in zip(points, (length, width), strict=True))
        return self._key(stock, i, j)

    def net(self, target: int) -> _Net:
        """The cuts for answers up to a cost: as many as the model may have."""
        room = (target - self.value) * SCALE / self.master.dearest
        for share in SHRINK:
            net = _Net()
            for stock in range(len(self.plates)):
                if not self._spread(net, stock, room * share + EPS * SCALE):
                    break
            else:
                break
        self._add_known(net)
        return net

    def _spread(self, net: _Net, stock: int, room: float) -> bool:
        """Adds the cuts of a stock whose losses on the way add up to `room` at most; False when there are too many."""
        plate, values = self.plates[stock], self.tables[stock]
        points = plate.points
        top = self._plate_at(stock, *plate.size)
        whole = self.master.costs[stock] * SCALE / self.master.dearest
        lost = {top: max(0.0, whole - int(values[top[1], top[2]]))}
        waiting: dict[int, set[Key]] = defaultdict(set)
        waiting[top[1] + top[2]].add(top)
        for level in range(top[1] + top[2], -1, -1):
            for key in sorted(waiting.pop(level, ()), reverse=True):
                _, i, j = key
                here, value = lost[key], int(values[i, j])
                self._take(net, key, value, room - here)
                for axis in Axis:
                    rest = plate.cuts[axis][(i, j)[axis]]
                    if not len(rest):
                        continue
                    line = values[:, j] if axis is Axis.CROSSCUT else values[i, :]
                    losses = value - line[1 : len(rest) + 1] - line[rest]
                    for cut in np.flatnonzero(losses <= room - here):
                        big, small = int(rest[cut]), int(cut) + 1
                        ends = [(big, j), (small, j)] if axis is Axis.CROSSCUT else [(i, big), (i, small)]
                        one, two = (self._key(stock, *end) for end in ends)
                        net.arcs[key, axis, int(points[axis][big]), one, two] = None
                        total = here + int(losses[cut])
                        for child in (one, two):
                            if values[child[1], child[2]] > 0:
                                lost[child] = min(lost.get(child, total), total)
                                waiting[child[1] + child[2]].add(child)
                if len(net.arcs) > MOST_ARCS:
                    return False
        return True

    def _take(self, net: _Net, key: Key, value: int, room: float) -> None:
        """Parts that a plate can become, when the rest of it may be lost."""
        points = self.plates[key[0]].points
        length, width = int(points[0][key[1]]), int(points[1][key[2]])
        for number in self.master.job.blanks[key[0]].shapes:
            shape = self.shapes[number]
            if shape.length <= length and shape.width <= width and value - self.worth[shape.item] <= room:
                net.takes[key, number] = None

    def _add_known(self, net: _Net) -> None:
        """The cuts of all known patterns."""
        for column in self.master.columns:
            self._walk(net, column.recipe, self._plate_at(column.stock, *self.plates[column.stock].size))

    def _walk(self, net: _Net, recipe: Recipe, key: Key) -> None:
        """The cuts of a recipe in a plate that its parts fill; the cut stands as far from the corner as they allow."""
        if recipe is None:
            return
        if not isinstance(recipe, tuple):
            net.takes[key, recipe] = None
            return
        axis, _, first, second = recipe
        stock, i, j = key
        points, here = self.plates[stock].points[axis], (i, j)[axis]
        room = int(points[here]) - self._extent(second)[axis]
        cut = int(floor_index(points, np.array(room)))
        rest = int(floor_index(points, np.array(int(points[here] - points[cut]))))
        ends = [(cut, j), (rest, j)] if axis is Axis.CROSSCUT else [(i, cut), (i, rest)]
        if cut == here:
            self._walk(net, first, key)
            return
        one, two = (self._key(stock, *end) for end in ends)
        net.arcs[key, axis, int(points[cut]), one, two] = None
        self._walk(net, first, one)
        self._walk(net, second, two)

    def _extent(self, recipe: Recipe) -> tuple[int, int]:
        """Length and width of the parts of a recipe, pushed together."""
        if recipe is None:
            return 0, 0
        if not isinstance(recipe, tuple):
            return self.shapes[recipe].length, self.shapes[recipe].width
        one, two = self._extent(recipe[2]), self._extent(recipe[3])
        if recipe[0] is Axis.CROSSCUT:
            return one[0] + two[0], max(one[1], two[1])
        return max(one[0], two[0]), one[1] + two[1]

    # ---- solving --------------------------------------------------------------------------------------------

    def solve(self, net: _Net, best: Answer) -> Counter[tuple[int, Recipe]] | None:
        """Sheets of an answer cheaper than the best; None when the search ends without one."""
        model = _Model(self, net, best)
        return model.sheets() if model.solved else None


class _Model:
    """The whole-number program of a net, in HiGHS."""

    def __init__(self, cuts: PlateCuts, net: _Net, best: Answer) -> None:
        self.arcs, self.takes = list(net.arcs), list(net.takes)
        master = cuts.master
        self.tops = [cuts._plate_at(stock, *plate.size) for stock, plate in enumerate(cuts.plates)]
        keys = dict.fromkeys(self.tops)
        for plate, _, _, one, two in self.arcs:
            keys.update(dict.fromkeys((plate, one, two)))
        keys.update(dict.fromkeys(key for key, _ in self.takes))
        rows = {key: n for n, key in enumerate(keys)}
        self.cuts, items = cuts, len(rows)
        solver = quiet_solver()
        none = (np.array([], dtype=np.int32), np.array([], dtype=float))
        for _ in rows:
            solver.addRow(0, highspy.kHighsInf, 0, *none)
        for wanted in master.demand:
            solver.addRow(wanted, highspy.kHighsInf, 0, *none)
        coin = master.job.coin
        for stock, top in enumerate(self.tops):
            limit = master.on_hand[stock]
            _add(solver, master.costs[stock], {rows[top]: 1}, highspy.kHighsInf if limit is None else limit)
        for plate, _, _, one, two in self.arcs:
            entries = Counter({rows[plate]: -1})
            entries[rows[one]] += 1
            entries[rows[two]] += 1
            _add(solver, 0, entries, highspy.kHighsInf)
        for plate, shape in self.takes:
            _add(solver, 0, {rows[plate]: -1, items + cuts.shapes[shape].item: 1}, highspy.kHighsInf)
        for option, value in (
            ("mip_max_nodes", NODES), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.999 * coin),
            ("objective_target", master.bound + 0.001 * coin), ("objective_bound", best.cost - 0.5 * coin),
        ):  # fmt: skip
            solver.setOptionValue(option, value)
        solver.addRow(
            master.bound, best.cost - coin, len(self.tops), np.arange(len(self.tops), dtype=np.int32),
            np.array([float(c) for c in master.costs]),
        )  # fmt: skip
        solver.run()
        values = solver.getSolution().col_value
        status = solver.getInfo().primal_solution_status
        self.solved = status == 2 and len(values) == len(self.tops) + len(self.arcs) + len(self.takes)
        self.uses = [round(v) for v in values]

    def sheets(self) -> Counter[tuple[int, Recipe]]:
        """Peels the cuts into sheets, one after the other."""
        first = len(self.tops)
        self.left: dict[Key, list[list]] = defaultdict(list)
        for arc, times in zip(self.arcs, self.uses[first:], strict=False):
            if times:
                self.left[arc[0]].append([times, arc])
        for take, times in zip(self.takes, self.uses[first + len(self.arcs) :], strict=True):
            if times:
                self.left[take[0]].append([times, take[1]])
        found: Counter[tuple[int, Recipe]] = Counter()
        for stock, top in enumerate(self.tops):
            for _ in range(self.uses[stock]):
                found[stock, self._peeled(top)] += 1
        return found

    def _peeled(self, key: Key) -> Recipe:
        choices = self.left[key]
        while choices and not choices[0][0]:
            choices.pop(0)
        if not choices:
            return None
        choices[0][0] -= 1
        use = choices[0][1]
        if isinstance(use, int):
            return use
        _, axis, where, one, two = use
        return (axis, where, self._peeled(one), self._peeled(two))


def _add(solver: highspy.Highs, cost: float, entries: dict[int, int], limit: float) -> None:
    kept = [(row, float(value)) for row, value in entries.items() if value]
    index = np.array([row for row, _ in kept], dtype=np.int32)
    solver.addCol(cost, 0, limit, len(kept), index, np.array([value for _, value in kept]))
    solver.changeColIntegrality(solver.getNumCol() - 1, highspy.HighsVarType.kInteger)


def plate_cuts(master: Master, best: Answer, plates: Sequence[PlatePricer]) -> Answer:
    """A cheaper answer from the plate-cut model, or the one there was."""
    cuts = PlateCuts(master, plates)
    sheets = cuts.solve(cuts.net(best.cost - master.job.coin), best)
    if sheets is None:
        return best
    uses: Counter[int] = Counter()
    for (stock, recipe), times in sheets.items():
        if recipe is not None:
            uses[master.add(stock, recipe)] += times
    found = answer_of(master, uses, "plate cuts")
    return found if found.cost < best.cost else best
