"""Of the answers of one cost, one that is easy to saw: few different layouts, few settings, one large offcut.

The cost never changes. First the patterns that nobody needs are dropped; then patterns are repeated as often as the
linear program says that what is left can still be cut for the rest of the money; a small whole-number program finishes
what repeating leaves over. All work is limited by counts, never by the clock.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from math import ceil
from operator import mul

import highspy
import numpy as np

from course.cutting.highs import quiet_solver
from course.cutting.master import EPS, Master
from course.cutting.model import Axis
from course.cutting.prepare import Blank
from course.cutting.recipe import Recipe, Shape, counts
from course.cutting.start import portfolio
from course.cutting.whole import Answer, answer_of

FOLDS = 12
"""Most equal sheets for which placing rules look for a pattern."""
RULES = 10
"""Placing rules tried for each."""
DIVES = 5
"""Ways of repeating patterns."""
LOOKED_AT = 30
"""Patterns looked at in each step of a dive."""
FINISHES = 24
"""Most whole-number programs."""
NODES = 5
"""Most nodes of each."""
COLUMNS = 200
"""Most patterns in each."""
HALVINGS = 7
"""How finely the smallest piece that gives the parts of the last sheet is sought."""
LAST = 4
"""Pieces of stock up to which placing rules help to finish."""
MOST_PARTS = 150
"""Most parts for which they are asked."""

Uses = Counter[int]
"""Number of the pattern and copies."""


def easiest(master: Master, best: Answer) -> Answer:
    """An answer of the same cost or less with as few different layouts as were found, then as few settings.

    The largest offcut of a piece of stock that is cut only once is then made as large as placing rules can.
    """
    found = _needed(master, Counter(dict(best.uses)))
    if len(found) > 1:
        found = _repeated(master, found)
    found = _largest_offcut(master, found)
    return answer_of(master, found, best.how)


def _needed(master: Master, uses: Uses) -> Uses:
    """Without the copies that only cut what nobody asked for, the dearest first."""
    made = _made(master, uses)
    order = sorted(uses, key=lambda n: (-master.costs[master.columns[n].stock], n))
    kept = Counter(uses)
    for number in order:
        column = master.columns[number].counts
        while kept[number] and all(m - k >= d for m, k, d in zip(made, column, master.demand, strict=True) if k):
            kept[number] -= 1
            made = [m - k for m, k in zip(made, column, strict=True)]
    return +kept


def _made(master: Master, uses: Mapping[int, int]) -> list[int]:
    made = [0] * len(master.demand)
    for number, times in uses.items():
        for item, count in enumerate(master.columns[number].counts):
            made[item] += count * times
    return made


def _cost(master: Master, uses: Mapping[int, int]) -> int:
    return sum(master.costs[master.columns[n].stock] * times for n, times in uses.items())


def _left(master: Master, uses: Mapping[int, int]) -> list[int]:
    return [max(0, d - m) for d, m in zip(master.demand, _made(master, uses), strict=True)]


def _on_hand(master: Master, uses: Mapping[int, int]) -> list[int | None]:
    left = list(master.on_hand)
    for number, times in uses.items():
        stock = master.columns[number].stock
        have = left[stock]
        left[stock] = None if have is None else have - times
    return left


# -- fewer layouts ---------------------------------------------------------------------------------------


def _repeated(master: Master, start: Uses) -> Uses:
    """The best of several dives, each finished from as late as it can be."""
    best, ease, cost = start, _ease(master, start), _cost(master, start)
    _equal_sheets(master, sum(start.values()))
    finishes = 0
    for uses in _beginnings(master, cost):
        if len(uses) + 1 > ease[0]:
            continue
        left = _left(master, uses)
        rest: Counter[int] | None = Counter()
        if any(left):
            if finishes >= FINISHES:
                break
            finishes += 1
            rest = _finished(master, uses, left, cost - _cost(master, uses), ease[0] - len(uses))
        if rest is not None:
            whole = _needed(master, uses + rest)
            if _ease(master, whole) < ease:
                best, ease = whole, _ease(master, whole)
    return best


def _ease(master: Master, uses: Mapping[int, int]) -> tuple[int, int]:
    """Different layouts and different settings: the less the better."""
    found: set[tuple[Axis, int]] = set()
    for number in uses:
        column = master.columns[number]
        blank = master.job.blanks[column.stock]
        found.update(settings_in(column.recipe, blank.length, blank.width, master.job.shapes))
    return len(uses), len(found)


def settings_in(recipe: Recipe, length: int, width: int, shapes: Sequence[Shape]) -> Iterator[tuple[Axis, int]]:
    """Direction and setting of each cut of a plate, kerf added, trimming of single parts included."""
    if isinstance(recipe, tuple):
        axis, where, first, second = recipe
        yield axis, where
        cross = axis is Axis.CROSSCUT
        yield from settings_in(first, where if cross else length, width if cross else where, shapes)
        yield from settings_in(second, length - where if cross else length, width if cross else width - where, shapes)
    elif recipe is not None:
        shape = shapes[recipe]
        if shape.length < length:
            yield Axis.CROSSCUT, shape.length
        if shape.width < width:
            yield Axis.RIP, shape.width


def _equal_sheets(master: Master, used: int) -> None:
    """Adds patterns for a second, third, ... of everything: they can be cut from two, three, ... equal sheets."""
    for fold in range(2, min(used, FOLDS) + 1):
        _placed(master, [wanted // fold for wanted in master.demand], RULES)


def _placed(master: Master, left: Sequence[int], rules: int) -> None:
    """Adds the patterns that placing rules find for some parts."""
    if any(left):
        for stock, blank in enumerate(master.job.blanks):
            for sheets in islice(portfolio(master.job, blank, left), rules):
                for recipe, _ in sheets:
                    master.add(stock, recipe)


def _beginnings(master: Master, cost: int) -> Iterator[Uses]:
    """Patterns repeated as often as can be, then the same less the last step, the last two, ...; at last nothing."""
    dives = [_dive(master, cost, number) for number in range(DIVES)]
    for fewer in range(max(map(len, dives))):
        for steps in dives:
            found: Uses = Counter()
            for column, times in steps[: len(steps) - fewer]:
                found[column] += times
            if found:
                yield found
    yield Counter()


def _dive(master: Master, cost: int, number: int) -> list[tuple[int, int]]:
    """Takes one pattern after the other, most repeats and most area first; what is left must still be affordable.

    Args:
        master: The patterns.
        cost: Of the answer.
        number: 0 to 2 weigh repeats in another way each; later ones leave something to chance.
    """
    chance, weight = random.Random(number), (1.0, 1.5, 0.6)[number % 3]
    steps: list[tuple[int, int]] = []
    uses: Uses = Counter()
    while any(left := _left(master, uses)):
        ranked = []
        for column, repeats in _fitting(master, left, _on_hand(master, uses)):
            luck = 1 + 0.3 * chance.random() * (number > 2)
            ranked.append((-(repeats**weight) * _area(master, column) * luck, column, repeats))
        taken = _most_repeats(master, [r[1:] for r in sorted(ranked)[:LOOKED_AT]], uses, left, cost)
        if taken is None:
            break
        steps.append(taken)
        uses[taken[0]] += taken[1]
    master.program.ask(master.demand, master.on_hand)
    return steps


def _fitting(master: Master, left: Sequence[int], on_hand: Sequence[int | None]) -> Iterator[tuple[int, int]]:
    """Patterns that give nothing beyond what is left, and how often."""
    for number, column in enumerate(master.columns):
        limit = on_hand[column.stock]
        repeats = min((left[item] // n for item, n in enumerate(column.counts) if n), default=0)
        if limit is not None:
            repeats = min(repeats, limit)
        if repeats:
            yield number, repeats


def _area(master: Master, number: int) -> int:
    return sum(map(mul, master.columns[number].counts, _areas(master)))


def _most_repeats(
    master: Master, ranked: Sequence[tuple[int, int]], uses: Uses, left: Sequence[int], cost: int
) -> tuple[int, int] | None:
    """The first of the patterns that may be repeated most often, and how often; None when none may."""
    found = None
    for number, repeats in ranked:
        column = master.columns[number]
        for times in range(repeats, found[1] if found else 0, -1):
            rest = [have - times * n for have, n in zip(left, column.counts, strict=True)]
            more = uses + Counter({number: times})
            if _least(master, rest, _on_hand(master, more)) + _cost(master, more) <= cost:
                found = (number, times)
                break
    return found


def _least(master: Master, left: Sequence[int], on_hand: Sequence[int | None]) -> int:
    """What the rest costs at least, by the linear program over the known patterns."""
    master.program.ask(left, on_hand)
    coin = master.job.coin
    return ceil(master.program.solve().value / coin - EPS) * coin


def _finished(master: Master, uses: Uses, left: Sequence[int], money: int, fewer_than: int) -> Uses | None:
    """Patterns for what is left, as few new ones as can be found; None when that needs too many or too much money."""
    if sum(left) <= MOST_PARTS and money <= LAST * master.dearest:
        _placed(master, left, 2 * RULES)
    on_hand = _on_hand(master, uses)
    master.program.ask(left, on_hand)
    solution = master.program.solve()
    master.program.ask(master.demand, master.on_hand)
    room = money - solution.value + EPS * master.dearest
    dear = []
    for number, column in enumerate(master.columns):
        if any(n and have for n, have in zip(column.counts, left, strict=True)) and on_hand[column.stock] != 0:
            paid = sum(solution.worth[i] * n for i, n in enumerate(column.counts)) - solution.held[column.stock]
            if master.costs[column.stock] - paid <= room:
                dear.append((master.costs[column.stock] - paid, number))
    kept = [number for _, number in sorted(dear)[:COLUMNS]]
    return _few(master, kept, uses, left, on_hand, money, fewer_than) if room >= 0 and kept else None


def _few(
    master: Master, kept: Sequence[int], known: Uses, left: Sequence[int], on_hand: Sequence[int | None], money: int,
    fewer_than: int,
) -> Uses | None:  # fmt: skip
    """A whole-number program: how often each pattern, and whether it is used at all."""
    short = money <= LAST * master.dearest
    bound, target = (highspy.kHighsInf, float(fewer_than)) if short else (fewer_than + 0.5, -highspy.kHighsInf)
    solver, rows = quiet_solver(), len(left) + 1
    none = (np.array([], dtype=np.int32), np.array([], dtype=float))
    for wanted in left:
        solver.addRow(wanted, highspy.kHighsInf, 0, *none)
    solver.addRow(-highspy.kHighsInf, money, 0, *none)
    limited = {}
    for stock, limit in enumerate(on_hand):
        if limit is not None:
            limited[stock], rows = rows, rows + 1
            solver.addRow(-highspy.kHighsInf, limit, 0, *none)
    for number in kept:
        column = master.columns[number]
        entries = {item: n for item, n in enumerate(column.counts) if n}
        entries[len(left)] = master.costs[column.stock]
        if column.stock in limited:
            entries[limited[column.stock]] = 1
        _add(solver, int(short), highspy.kHighsInf, {row: n for row, n in entries.items() if n})
    for place, number in enumerate(() if short else kept):
        most = max(-(-left[i] // n) for i, n in enumerate(master.columns[number].counts) if n)
        _add(solver, 0 if number in known else 1, 1, {})
        pair = np.array([place, len(kept) + place], dtype=np.int32)
        solver.addRow(-highspy.kHighsInf, 0, 2, pair, np.array([1.0, -float(most)]))
    for option, value in (
        ("mip_max_nodes", NODES), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.999), ("objective_bound", bound),
        ("objective_target", target),
    ):  # fmt: skip
        solver.setOptionValue(option, value)
    solver.run()
    if solver.getInfo().primal_solution_status != 2:
        return None
    values = solver.getSolution().col_value[: len(kept)]
    return Counter({number: round(v) for number, v in zip(kept, values, strict=True) if round(v) > 0})


def _add(solver: highspy.Highs, cost: float, most: float, entries: Mapping[int, int]) -> None:
    index = np.array(list(entries), dtype=np.int32)
    solver.addCol(cost, 0, most, len(index), index, np.array([float(n) for n in entries.values()]))
    solver.changeColIntegrality(solver.getNumCol() - 1, highspy.HighsVarType.kInteger)


# -- one large offcut ------------------------------------------------------------------------------------


def _largest_offcut(master: Master, uses: Uses) -> Uses:
    """Pushes together what one piece of stock must give that is cut only once, where that leaves more in one piece."""
    surplus = [m - d for m, d in zip(_made(master, uses), master.demand, strict=True)]
    wanted = {
        number: [max(0, n - more) for n, more in zip(master.columns[number].counts, surplus, strict=True)]
        for number, times in uses.items() if times == 1
    }  # fmt: skip
    if not wanted:
        return uses
    number = min(sorted(wanted), key=lambda n: sum(map(mul, wanted[n], _areas(master))))
    column, now = master.columns[number], max(_offcut_of(master, n) for n in uses)
    blank = master.job.blanks[column.stock]
    ways = _pushed_together(master, blank, wanted[number], column.recipe)
    sized = [(largest_offcut(way, blank.length, blank.width, master.job.shapes), way) for way in ways]
    size, recipe = max(sized, key=lambda found: found[0], default=(0, None))
    if size <= now:
        return uses
    found = uses - Counter({number: 1})
    found[master.put(column.stock, recipe)] += 1
    return found


def _areas(master: Master) -> list[int]:
    return [item.length * item.width for item in master.job.items]


def _offcut_of(master: Master, number: int) -> int:
    column = master.columns[number]
    blank = master.job.blanks[column.stock]
    return largest_offcut(column.recipe, blank.length, blank.width, master.job.shapes)


def _pushed_together(master: Master, blank: Blank, wanted: Sequence[int], old: Recipe) -> Iterator[Recipe]:
    """Ways to cut some parts from one piece of stock: the old one, and those from shorter and from narrower pieces."""
    left = list(wanted)
    yield without(old, lambda item: not _take(left, item), master.job.shapes)
    area = sum(map(mul, wanted, _areas(master)))
    for axis in Axis:
        whole, across = (blank.length, blank.width) if axis is Axis.CROSSCUT else (blank.width, blank.length)
        low, high = area // across, whole
        for _ in range(HALVINGS):
            middle = (low + high) // 2
            sides = {"length": middle} if axis is Axis.CROSSCUT else {"width": middle}
            found = _from_one(master, replace(blank, **sides), wanted)
            if found is None:
                low = middle
            else:
                high = middle
                yield (axis, middle, found, None)


def _from_one(master: Master, blank: Blank, wanted: Sequence[int]) -> Recipe:
    """All the parts from one piece by placing rules; None when no rule does it."""
    for sheets in islice(portfolio(master.job, blank, wanted), 2 * RULES):
        if len(sheets) == 1 and counts(sheets[0][0], master.job.shapes, len(wanted)) == tuple(wanted):
            return sheets[0][0]
    return None


def _take(left: list[int], item: int) -> bool:
    left[item] -= 1
    return left[item] >= 0


def without(recipe: Recipe, drop: Callable[[int], bool], shapes: Sequence[Shape]) -> Recipe:
    """The recipe with some parts left uncut; a cut between two offcuts is not made."""
    if isinstance(recipe, tuple):
        axis, where, first, second = recipe
        first, second = without(first, drop, shapes), without(second, drop, shapes)
        return None if first is None and second is None else (axis, where, first, second)
    return None if recipe is None or drop(shapes[recipe].item) else recipe


def largest_offcut(recipe: Recipe, length: int, width: int, shapes: Sequence[Shape]) -> int:
    """Area of the largest piece left over when a plate is cut by a recipe, kerf added. [units squared]"""
    if isinstance(recipe, tuple):
        axis, where, first, second = recipe
        if axis is Axis.CROSSCUT:
            halves = (first, where, width), (second, length - where, width)
        else:
            halves = (first, length, where), (second, length, width - where)
        return max(largest_offcut(*half, shapes) for half in halves)
    if recipe is None:
        return length * width
    over_length, over_width = length - shapes[recipe].length, width - shapes[recipe].width
    return max(over_length * width, over_width * length)
