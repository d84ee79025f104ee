"""The tolerance budget of a size: which readings move it most, when each is off by as much as its check allows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from course.course import Course
from course.quantities import Given, Origin, Values
from course.roster import Student
from rubrics.checks import Check, every_check, tool_of
from rubrics.instruments import instrument, uncertainty
from shared.handbook.tolerance_stack import Link, root_sum_square, worst_case


@dataclass(frozen=True, slots=True)
class Share:
    """What one reading may do to a size. Lengths in mm."""

    quantity: str
    says: str
    allowed: Fraction
    """How far the thing may be off: half its band, or what its instrument may be off for what is only read."""
    moves: Fraction
    """How much of that arrives at the size: change of the size for one millimetre."""

    @property
    def adds(self) -> Fraction:
        """What it may add to the size at the most."""
        return abs(self.allowed * self.moves)


@dataclass(frozen=True, slots=True)
class Budget:
    """A size and all that may move it, the widest first."""

    quantity: str
    shares: tuple[Share, ...]

    @property
    def links(self) -> tuple[Link, ...]:
        """The shares as links of a tolerance chain."""
        return tuple(Link(share.moves, Fraction(0), share.allowed) for share in self.shares)

    @property
    def worst_case(self) -> Fraction:
        """All off at once, all the same way. [mm]"""
        return Fraction(worst_case(self.links).tolerance)

    @property
    def root_sum_square(self) -> float:
        """As independent errors add up; needs parts that are not all cut at one badly set stop. [mm]"""
        return float(root_sum_square(self.links).tolerance)


def budget(course: Course, student: Student, quantity: str) -> Budget:
    """The tolerance budget of a size, everything else made as it should be.

    Each thing that is read stands as it is, as if cut, so that nothing follows it: what is left is what its own
    error does.
    """
    values = course.values(student)
    asked = {name: check for check in reversed(every_check(course)) for name in _read(check)}
    fixed = {name: Given(values.number(name), Origin.CUT) for name in asked}
    graph = course.cabinet.graph
    base = graph.evaluate(values.settings, {n: g for n, g in fixed.items() if n != quantity})
    shares = [
        Share(name, graph[name].says, allowed, _moves(base, fixed, name, quantity))
        for name, check in asked.items()
        if name != quantity and (allowed := _allowed(check, name, course, student, values))
    ]
    return Budget(quantity, tuple(sorted((s for s in shares if s.moves), key=lambda s: (-s.adds, s.quantity))))


def _read(check: Check) -> Iterator[str]:
    if check.kind in ("size", "measure"):
        yield from (name for name, _, _ in check.reads)


def _moves(base: Values, fixed: dict[str, Given], name: str, quantity: str) -> Fraction:
    """The larger change of the size, for one millimetre more or one less."""
    found = {n: g for n, g in fixed.items() if n != quantity}
    size = fixed[name].value
    assert isinstance(size, Fraction)
    changes = []
    for by in (Fraction(1), Fraction(-1)):
        nudged = base.graph.evaluate(base.settings, {**found, name: Given(size + by, Origin.CUT)})
        changes.append((nudged.number(quantity) - base.number(quantity)) * by)
    return max(changes, key=abs)


def _allowed(check: Check, name: str, course: Course, student: Student, values: Values) -> Fraction:
    if check.kind == "size":
        return (check.upper - check.lower) / 2
    places, word = next((places, word) for n, places, word in check.reads if n == name)
    tool = instrument(tool_of(word, course, student), course.folder)
    return Fraction(str(round(2 * uncertainty(tool, values.number(name), places), 3)))
