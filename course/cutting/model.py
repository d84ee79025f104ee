"""What is to be cut, from what, and the plan that came out: immutable records in integer units.

Lengths here are whole numbers of one unit for the whole job, 0.1 mm or 1/64 in (`UNITS`), so that every
comparison is exact. `rounded_up` is for parts, kerf and trim, `rounded_down` for stock: a plan in units
is then always one that can be cut. x runs along the length of a piece of stock, y along its width, both
from one corner.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import Enum, IntEnum
from fractions import Fraction

from shared.places import NOWHERE, Place
from shared.problems import Problem
from shared.units import INCH

UNITS = {"mm": Fraction(1, 10), "in": INCH / 64}
"""The unit of a job by the units of the course. [mm]"""


def rounded_up(value: Fraction, unit: Fraction) -> int:
    """A part size, kerf or trim in whole units, never less than it is. Both in mm."""
    return -((-value) // unit)


def rounded_down(value: Fraction, unit: Fraction) -> int:
    """A stock size in whole units, never more than it is. Both in mm."""
    return value // unit


class Grain(Enum):
    """How a part may lie on the stock."""

    ALONG = "along"
    """Its length along the length of the stock."""
    ACROSS = "across"
    """Its length across the length of the stock."""
    FREE = "free"
    """Either way."""


class Axis(IntEnum):
    """Which way a cut parts a plate."""

    CROSSCUT = 0
    """Across the length: the cut stands at one x."""
    RIP = 1
    """Along the length: the cut stands at one y."""

    @property
    def other(self) -> Axis:
        """The cut at right angles."""
        return Axis(1 - self)


@dataclass(frozen=True, slots=True)
class Demand:
    """A part and how many are wanted."""

    part: str
    """Printed name; unique in the job."""
    length: int
    width: int
    count: int
    grain: Grain = Grain.FREE
    pin: str = ""
    """Id of the only stock it may come from; empty for any."""
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle on a piece of stock, as a knot or a damaged corner. [units]"""

    x: int
    y: int
    length: int
    width: int


@dataclass(frozen=True, slots=True)
class Stock:
    """Sheets, boards or sticks of one size and price."""

    id: str
    length: int
    width: int
    cost: int = 1
    """Price of one piece in whole coins of any kind; 1 for all when only the count matters."""
    on_hand: int | None = None
    """How many there are; None when more can be bought."""
    defects: tuple[Rect, ...] = ()
    """No part may touch these."""
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True)
class Stages:
    """How often the saw may change direction.

    A stage is a set of parallel cuts. Trimming a plate to its only part is not counted.
    """

    most: int | None = None
    """Number of stages, at least 2; None for as many as it takes; 1 for sticks."""
    first: Axis | None = None
    """Direction of the first stage when `most` are used; None for either."""


ANY_STAGES = Stages()
"""Sheets on a panel saw or table saw: edge to edge cuts in any order."""
RIP_FIRST = Stages(2, Axis.RIP)
"""Boards ripped to strips, then crosscut."""
CROSSCUT_FIRST = Stages(3, Axis.CROSSCUT)
"""Boards crosscut, ripped, and crosscut again."""
STICKS = Stages(1, Axis.CROSSCUT)
"""Sticks of one section, cut to length only; a part comes from stock of its own width."""


@dataclass(frozen=True, slots=True)
class Trim:
    """What is taken off before a part is cut, trimming cut included. [units]"""

    ends: int = 0
    """Off each end of the length."""
    edges: int = 0
    """Off each edge of the width."""


@dataclass(frozen=True, slots=True)
class Job:
    """Everything the planner needs to know."""

    stock: tuple[Stock, ...]
    demand: tuple[Demand, ...]
    kerf: int = 0
    trim: Trim = Trim()
    stages: Stages = ANY_STAGES


@dataclass(frozen=True, slots=True)
class Placed:
    """A part on the stock; sizes as it lies there. [units]"""

    part: str
    x: int
    y: int
    length: int
    """Along x."""
    width: int
    """Along y."""
    turned: bool = False
    """Its own length lies along y."""


@dataclass(frozen=True, slots=True)
class Offcut:
    """A rectangle that no part is cut from. [units]"""

    x: int
    y: int
    length: int
    width: int


@dataclass(frozen=True, slots=True)
class Cut:
    """One edge to edge cut through a plate; the blade takes `at` to `at` + kerf."""

    axis: Axis
    at: int
    """x of a crosscut, y of a rip: where the first plate ends. [units]"""
    first: Node
    """Plate nearer the corner."""
    second: Node


Node = Cut | Placed | Offcut


def leaves(node: Node) -> Iterator[Placed | Offcut]:
    """What a plate ends up as, in the order of sawing."""
    if isinstance(node, Cut):
        yield from leaves(node.first)
        yield from leaves(node.second)
    else:
        yield node


def _unnamed(node: Node) -> Node:
    """The same cuts with nameless parts."""
    if isinstance(node, Cut):
        return replace(node, first=_unnamed(node.first), second=_unnamed(node.second))
    return replace(node, part="", turned=False) if isinstance(node, Placed) else node


@dataclass(frozen=True, slots=True)
class Layout:
    """How one piece of stock is cut, and how many are cut so."""

    stock: str
    copies: int
    tree: Node
    """The cuts inside the trim, outermost first."""

    @property
    def placed(self) -> tuple[Placed, ...]:
        """Its parts."""
        return tuple(leaf for leaf in leaves(self.tree) if isinstance(leaf, Placed))

    @property
    def offcuts(self) -> tuple[Offcut, ...]:
        """What is left of it, largest first."""
        found = [leaf for leaf in leaves(self.tree) if isinstance(leaf, Offcut)]
        return tuple(sorted(found, key=lambda o: (-o.length * o.width, o.x, o.y)))


@dataclass(frozen=True, slots=True)
class Certificate:
    """Why no plan can cost less: worth of each part and of each piece of stock on hand.

    With `worth` v, `held` m and `best` V (the most worth that one piece of a stock can give), any plan of n_s
    pieces pays sum v d <= sum n_s V_s. Let t be the least c_s / (V_s - m_s); then
    cost >= t * (sum v d - sum m_s A_s), rounded up to a sum that whole pieces of stock can cost.
    """

    worth: tuple[tuple[str, int], ...]
    """Part and what it is worth."""
    held: tuple[tuple[str, int], ...]
    """Stock and what having one more of it would be worth; only stock with a limit."""
    best: tuple[tuple[str, int], ...]
    """Stock and an upper limit of the worth that one piece can give."""
    bound: int
    """No plan of the parts planned costs less."""
    grids: tuple[tuple[str, int], ...] = ()
    """Stock and the grid on which V was found: sizes rounded down to multiples of it, which can only raise V."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Layouts, what they cost, and how much less could be possible at most."""

    layouts: tuple[Layout, ...]
    certificate: Certificate
    planned: tuple[tuple[str, int], ...]
    """Part and how many of it the plan must give: the demand less what the problems name."""
    problems: tuple[Problem, ...] = ()
    how: str = ""
    """Which step found the layouts."""
    cost: int = field(default=0)
    """Total price of the stock used."""

    @property
    def used(self) -> int:
        """Pieces of stock."""
        return sum(layout.copies for layout in self.layouts)

    @property
    def lower_bound(self) -> int:
        """No plan costs less."""
        return self.certificate.bound

    @property
    def gap(self) -> int:
        """Cost above the bound."""
        return self.cost - self.certificate.bound

    @property
    def proven(self) -> bool:
        """Nothing can be cheaper."""
        return self.gap == 0

    @property
    def different(self) -> int:
        """Layouts that differ in their cuts, whatever the names of their parts."""
        return len({(layout.stock, _unnamed(layout.tree)) for layout in self.layouts})

    @property
    def spares(self) -> tuple[tuple[str, int], ...]:
        """Parts cut beyond what is asked."""
        made: dict[str, int] = {}
        for layout in self.layouts:
            for placed in layout.placed:
                made[placed.part] = made.get(placed.part, 0) + layout.copies
        asked = dict(self.planned)
        return tuple((part, n - asked.get(part, 0)) for part, n in sorted(made.items()) if n > asked.get(part, 0))
