"""Sheets as they are sawn: pieces, cuts in their order, what is kept and what is waste; lengths in mm."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.cutting.model import Axis, Cut, Job, Layout, Node, Offcut, Placed
from course.needs import Need, StockGroup


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle of a sheet, x along its length from one corner. [mm]"""

    x: Fraction
    y: Fraction
    length: Fraction
    width: Fraction

    @property
    def size(self) -> Fraction:
        """Its area. [mm^2]"""
        return self.length * self.width


@dataclass(frozen=True, slots=True)
class CutPart:
    """A piece as it lies on a sheet."""

    need: Need
    area: Area
    turned: bool = False
    """Its own length lies across the sheet."""
    blanks: tuple[Area, ...] = ()
    """Where its parts lie when several stay joined; nothing is sawn between them yet."""


@dataclass(frozen=True, slots=True)
class CutStep:
    """One cut through a sheet or a piece of it."""

    number: int
    rip: bool
    """Along the length of the sheet; else across it."""
    setting: Fraction
    """From the edge that lies at the fence to the cut: the size of the piece that comes off. [mm]"""
    line: Area
    """What the blade takes away."""


@dataclass(frozen=True, slots=True)
class CutSheet:
    """One sheet and how it is cut."""

    name: str
    group: StockGroup
    length: Fraction
    width: Fraction
    trim: tuple[Fraction, Fraction]
    """Off each end and each edge. [mm]"""
    kerf: Fraction
    parts: tuple[CutPart, ...]
    steps: tuple[CutStep, ...]
    kept: tuple[Area, ...]
    """What is left over and large enough to keep."""
    waste: tuple[Area, ...]
    defects: tuple[Area, ...] = ()
    """What no piece may touch."""
    note: str = ""
    """Why it is cut so, where the instructor has said it: `pinned` or `today`."""
    rest: bool = False
    """It is what is left of a sheet that was cut before."""

    @property
    def share_used(self) -> Fraction:
        """Share of the sheet that becomes pieces."""
        return sum((part.area.size for part in self.parts), Fraction(0)) / (self.length * self.width)


@dataclass(frozen=True)
class Sawing:
    """Turns layouts in whole units into sheets or boards in millimetres."""

    keep: tuple[Fraction, Fraction]
    """Smallest length and width of an offcut that is kept. [mm]"""
    group: StockGroup
    size: tuple[Fraction, Fraction]
    unit: Fraction
    job: Job
    needs: dict[str, Need]

    def sheet(self, layout: Layout, name: str) -> CutSheet:
        """One sheet of a layout."""
        parts = tuple(self.part(placed) for placed in layout.placed)
        left = [self.area(offcut) for offcut in layout.offcuts]
        kept = tuple(area for area in left if self.worth_keeping(area))
        trim = (self.job.trim.ends * self.unit, self.job.trim.edges * self.unit)
        return CutSheet(
            name, self.group, *self.size, trim, self.job.kerf * self.unit, parts, self.steps(layout.tree), kept,
            tuple(area for area in left if area not in kept),
        )  # fmt: skip

    def part(self, placed: Placed) -> CutPart:
        """A piece with the parts that stay joined in it."""
        need, area = self.needs[placed.part], self.area(placed)
        blanks = tuple(joined_in(need, area, placed.turned, self.job.kerf * self.unit)) if len(need.blanks) > 1 else ()
        return CutPart(need, area, placed.turned, blanks)

    def area(self, leaf: Placed | Offcut) -> Area:
        """The same rectangle in mm."""
        return Area(*(value * self.unit for value in (leaf.x, leaf.y, leaf.length, leaf.width)))

    def worth_keeping(self, area: Area) -> bool:
        """Whether an offcut is large enough to become stock."""
        least = sorted(self.keep)
        have = sorted((area.length, area.width))
        return have[0] >= least[0] and have[1] >= least[1]

    def steps(self, tree: Node) -> tuple[CutStep, ...]:
        """Cuts in the order of sawing: a stage of parallel cuts before the next, equal settings after each other."""
        job, stock = self.job, self.job.stock[0]
        inside = (job.trim.ends, job.trim.edges, stock.length - job.trim.ends, stock.width - job.trim.edges)
        stages: dict[int, list[list[CutStep]]] = {}
        self._chains(tree, inside, 1, None, [], stages)
        ordered = [step for stage in sorted(stages) for step in in_few_settings(stages[stage])]
        return tuple(replace(step, number=number) for number, step in enumerate(ordered, 1))

    def _chains(
        self, node: Node, plate: tuple[int, int, int, int], stage: int, axis: Axis | None, chain: list[CutStep],
        stages: dict[int, list[list[CutStep]]],
    ) -> None:  # fmt: skip
        """Collect the cuts below a plate; parallel cuts of one plate are a chain, which keeps its order."""
        if not isinstance(node, Cut):
            return
        if node.axis is not axis:
            stage, chain = stage + (axis is not None), []
            stages.setdefault(stage, []).append(chain)
        x0, y0, x1, y1 = plate
        kerf = self.job.kerf
        if node.axis is Axis.RIP:
            first, second = (x0, y0, x1, node.at), (x0, node.at + kerf, x1, y1)
            blade, setting = Offcut(x0, node.at, x1 - x0, kerf), node.at - y0
        else:
            first, second = (x0, y0, node.at, y1), (node.at + kerf, y0, x1, y1)
            blade, setting = Offcut(node.at, y0, kerf, y1 - y0), node.at - x0
        chain.append(CutStep(0, node.axis is Axis.RIP, setting * self.unit, self.area(blade)))
        self._chains(node.first, first, stage, node.axis, chain, stages)
        self._chains(node.second, second, stage, node.axis, chain, stages)


def joined_in(need: Need, area: Area, turned: bool, kerf: Fraction) -> Iterator[Area]:
    """The parts of a strip in their order, a kerf between them."""
    at = Fraction(0)
    for blank in need.blanks:
        along = blank.part.grain != "width" or not need.match
        size = blank.length if along is not need.side_by_side else blank.width
        across = need.side_by_side is not turned
        if across:
            yield Area(area.x, area.y + at, area.length, size)
        else:
            yield Area(area.x + at, area.y, size, area.width)
        at += size + kerf


def in_few_settings(chains: Iterable[Sequence[CutStep]]) -> Iterator[CutStep]:
    """The cuts of several chains, each chain in its order, with as many equal settings together as can be."""
    waiting = [list(chain) for chain in chains if chain]
    now: tuple[bool, Fraction] | None = None
    while waiting:
        heads = [(chain[0].rip, chain[0].setting) for chain in waiting]
        if now not in heads:
            now = max(heads, key=lambda head: (heads.count(head), head))
        chain = waiting[heads.index(now)]
        yield chain.pop(0)
        waiting = [chain for chain in waiting if chain]
