"""Boards filled one after the other, no part more often than it is wanted.

Patterns from pricing repeat a part as often as it pays, which small classes cannot use. Here a board is crosscut into
sections, a section is ripped into rows, a row is crosscut into parts; each time what gives the most worth for its
length or width is taken. Worths are shifted a little by chance from run to run; the number of runs is fixed.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf

from course.cutting.master import Master
from course.cutting.model import Axis
from course.cutting.prepare import Blank
from course.cutting.recipe import Recipe, Shape, counts
from course.cutting.whole import Answer, answer_of

RUNS = 30
MOST_FILLED = 4000
"""Parts placed in all runs together, about."""
FIRST = 1000
"""How much more a part is worth that can come from one board only."""


def board_by_board(master: Master, best: Answer) -> Answer:
    """The best answer of some runs; every board that was filled stays as a pattern."""
    worth = master.program.solve().worth
    areas = [item.length * item.width for item in master.job.items]
    for run in range(min(RUNS, MOST_FILLED // sum(master.demand))):
        if best.cost <= master.bound:
            break
        chance, base = random.Random(run), worth if run % 2 else areas
        values = [value * (1 + (run > 1) * 0.4 * chance.random()) for value in base]
        found: Counter[int] = Counter()
        for stock, recipe in _boards(master, values):
            found[master.add(stock, recipe)] += 1
        answer = answer_of(master, found, "board by board")
        best = min(best, answer, key=lambda a: a.cost)
    return best


def _boards(master: Master, values: Sequence[float]) -> Iterator[tuple[int, Recipe]]:
    """Boards until nothing is left to cut or nothing more can be cut."""
    left, on_hand = list(master.demand), list(master.on_hand)
    homes = Counter(shape for blank in master.job.blanks for shape in blank.shapes)
    own = {master.job.shapes[s].item for s, n in homes.items() if n == 1 and len(master.job.blanks) > 1}
    weighed = [value * (FIRST if item in own else 1) for item, value in enumerate(values)]
    boards = [_Board(master.job.shapes, blank, weighed) for blank in master.job.blanks]
    while any(left):
        ranked = []
        for stock, board in enumerate(boards):
            if on_hand[stock] == 0 or board.blank.defects:
                continue
            recipe = board.filled(left)
            made = counts(recipe, master.job.shapes, len(left))
            value, cost = sum(n * weighed[i] for i, n in enumerate(made)), master.costs[stock]
            rank = (list(made) == left, -cost if list(made) == left else value / cost if cost else inf, value)
            if recipe is not None:
                ranked.append((rank, -stock, recipe, made))
        if not ranked:
            return
        _, stock, recipe, made = max(ranked, key=lambda found: found[:2])
        yield -stock, recipe
        left = [have - n for have, n in zip(left, made, strict=True)]
        have = on_hand[-stock]
        if have is not None:
            on_hand[-stock] = have - 1


@dataclass(frozen=True)
class _Board:
    """Fills one board."""

    shapes: Sequence[Shape]
    blank: Blank
    values: Sequence[float]

    def filled(self, left: Sequence[int]) -> Recipe:
        """The whole board, section by section."""
        left, room, sections = list(left), self.blank.length, []
        while True:
            lengths = sorted({self.shapes[s].length for s in self._open(left) if self.shapes[s].length <= room})
            found = [(value / length, length, rows) for length in (*lengths, room) if length
                     for value, rows in [self._section(length, left)] if rows]  # fmt: skip
            if not found:
                break
            _, length, rows = max(found, key=lambda f: f[:2])
            sections.append((length, rows))
            room -= length
            for _, parts in rows:
                for shape in parts:
                    left[self.shapes[shape].item] -= 1
        recipe: Recipe = None
        for length, rows in reversed(sections):
            recipe = (Axis.CROSSCUT, length, self._ripped(rows), recipe)
        return recipe

    def _open(self, left: Sequence[int]) -> Iterator[int]:
        return (shape for shape in self.blank.shapes if left[self.shapes[shape].item])

    def _section(self, length: int, left: Sequence[int]) -> tuple[float, list[tuple[int, list[int]]]]:
        """Worth of a section, and its rows: width and parts."""
        left, room, total = list(left), self.blank.width, 0.0
        rows: list[tuple[int, list[int]]] = []
        while True:
            widths = {self.shapes[s].width for s in self._open(left) if self.shapes[s].width <= room}
            found = [(value / width, width, parts, value) for width in sorted(widths)
                     for value, parts in [self._row(length, width, left)] if parts]  # fmt: skip
            if not found:
                return total, rows
            _, width, parts, value = max(found, key=lambda f: f[:2])
            rows.append((width, parts))
            room, total = room - width, total + value
            for shape in parts:
                left[self.shapes[shape].item] -= 1

    def _row(self, length: int, width: int, left: Sequence[int]) -> tuple[float, list[int]]:
        """Worth of a row, and its parts: those that are worth the most for their length first."""
        total, parts = 0.0, []
        for shape, size, item in self.ranked[width]:
            if size <= length and left[item]:
                times = min(left[item], length // size)
                parts += [shape] * times
                length, total = length - times * size, total + times * self.values[item]
        return total, parts

    @cached_property
    def ranked(self) -> dict[int, list[tuple[int, int, int]]]:
        """For each width of a row: shape, length and part size of what fits, the most worth for its length first.

        A part as wide as the row needs no cut more and comes before another that is worth as much.
        """
        own = [(shape, self.shapes[shape]) for shape in self.blank.shapes]
        rate = {shape: self.values[one.item] / one.length for shape, one in own}
        return {
            width: [
                (shape, one.length, one.item)
                for shape, one in sorted(
                    ((shape, one) for shape, one in own if one.width <= width),
                    key=lambda s: (-rate[s[0]] * (1.02 if s[1].width == width else 1), -s[1].length, s[0]),
                )
            ]
            for width in {one.width for _, one in own}
        }  # fmt: skip

    def _ripped(self, rows: Sequence[tuple[int, list[int]]]) -> Recipe:
        recipe: Recipe = None
        for width, parts in reversed(rows):
            row: Recipe = None
            for shape in reversed(parts):
                row = (Axis.CROSSCUT, self.shapes[shape].length, shape, row)
            recipe = (Axis.RIP, width, row, recipe)
        return recipe
