"""The tolerance budget of a size: which readings move it most, when each is off by as much as its check allows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from course.course import Course
from course.quantities import Given, Origin, Values
from course.roster import Student
from rubrics.checks import Check, every_check
from rubrics.instruments import instrument, uncertainty
from rubrics.measured import tool_of
from shared.handbook.tolerance_stack import Link, root_sum_square, worst_case
from shared.units import Shown, decimal


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
    base = values.with_given(values.settings, {n: g for n, g in fixed.items() if n != quantity})
    behind = base.rests_on(quantity) - {quantity}
    shares = [
        Share(name, graph[name].says, allowed, _moves(base, fixed, name, quantity))
        for name, check in asked.items()
        if name in behind and (allowed := _allowed(check, name, course, student, values))
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
        nudged = base.with_given(base.settings, {**found, name: Given(size + by, Origin.CUT)})
        changes.append((nudged.number(quantity) - base.number(quantity)) * by)
    return max(changes, key=abs)


def _allowed(check: Check, name: str, course: Course, student: Student, values: Values) -> Fraction:
    if check.kind == "size":
        return (check.upper - check.lower) / 2
    places, word = next((places, word) for n, places, word in check.reads if n == name)
    tool = instrument(tool_of(word, course, student), course.folder)
    return Fraction(str(round(2 * uncertainty(tool, values.number(name), places), 3)))


MOST = 3
"""Readings that are told of the final reveal."""


def final_reveals(course: Course, quantity: str) -> tuple[str, ...]:
    """The reveals that a size ends in: that of its own frame, else those of every door."""
    cabinet = course.cabinet
    found = {a.name: f"{a.name}.built.reveal" for a in cabinet.assemblies.values()}
    known = {assembly: name for assembly, name in found.items() if name in cabinet.graph}
    own = [name for assembly, name in known.items() if quantity.startswith(f"{assembly}.")]
    doors = [name for assembly, name in known.items() if cabinet.assemblies[assembly].choices.get("use") == "door"]
    return tuple(own or doors)


def budget_lines(course: Course, student: Student, quantity: str) -> list[str]:
    """Which readings move a size, and which three move the final reveal most, as lines for a terminal."""
    reveals = final_reveals(course, quantity)
    lines: list[str] = []
    if quantity not in reveals:
        found = budget(course, student, quantity)
        if found.shares:
            lines += ["", "Readings that move it, when each is off by as much as its check allows:"]
            lines += _added(found, student.shown, len(found.shares))
    for reveal in reveals:
        found = budget(course, student, reveal)
        size = student.shown.size(course.values(student).number(reveal))
        lines += ["", f"The readings that move the final reveal most ({reveal}, {size}):"]
        lines += _added(found, student.shown, MOST)
    return lines


def _added(found: Budget, shown: Shown, most: int) -> Iterator[str]:
    """The widest shares, and what all of them add up to."""
    width = max(len(shown.fine(amount)) for amount in (found.worst_case, *(share.adds for share in found.shares)))
    for share in found.shares[:most]:
        yield (
            f"  {shown.fine(share.adds):>{width}}  {share.quantity}: may be {shown.fine(share.allowed)} off, "
            f"{decimal(abs(share.moves), 2)} of it arrives"
        )
    rest = len(found.shares) - most
    words = "all" if rest <= 0 else f"these and {rest} more"
    yield f"  {shown.fine(found.worst_case):>{width}}  {words} at once and the same way (worst case)"
    likely = shown.fine(Fraction(str(round(found.root_sum_square, 4))))
    yield f"  {likely:>{width}}  {words} as independent errors add up (root sum square)"
