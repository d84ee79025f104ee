"""Readings that look like slips, each named once, at its root: asked about as they come in, held out of grading."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from course.causes import MOST, Cause, causes
from course.course import Course
from course.quantities import Given, Origin
from course.readings import Reading, reduced
from course.roster import Student
from rubrics.slips import question


@dataclass(frozen=True, slots=True)
class Doubt:
    """A reading that counts as typed and should be looked at."""

    reading: Reading
    expected: Fraction
    """What the student's own case asks for, this reading left out. [mm]"""
    ask: str
    """The question, as `one inch off: burned inch?`."""

    def words(self, student: Student) -> str:
        """Whose reading, of what, and what was expected."""
        one, about = self.reading, student.shown.size(self.expected)
        return f"{one.student}, {one.quantity}, place {one.place}: {one.raw} where about {about} is expected"


def doubts(course: Course, student: Student, readings: Iterable[Reading]) -> tuple[Doubt, ...]:
    """What to ask about readings of a student.

    What follows from a reading in doubt is compared with what it would be without that reading, so that one slip is
    asked about once.

    Args:
        readings: Those to look at; all readings of the student count for what is expected.
    """
    graph = course.cabinet.graph
    rank = {quantity.name: number for number, quantity in enumerate(graph.in_order())}
    values, kept = course.values(student), course.record(student).readings
    found, doubted, raised = dict(values.found), set(), []
    for one in sorted(readings, key=lambda one: (rank.get(one.quantity, -1), one.place, one.attempt)):
        target = values.target(one.quantity) if one.quantity in graph else None
        if not isinstance(target, Fraction) or one.value is None:
            continue
        ask = question(one.value, target, one.raw, student.shown, student.unit)
        if not ask:
            continue
        others = causes(values, one.quantity, one.value - target, student.shown)
        raised.append(Doubt(one, target, _with_causes(ask, others)))
        doubted.add(one.key)
        found.pop(one.quantity, None)
        rest = [r.value for r in kept if r.quantity == one.quantity and r.key not in doubted and r.value is not None]
        if rest:
            found[one.quantity] = Given(reduced(rest, graph[one.quantity].read)[0], Origin.READING)
        values = values.with_given(values.settings, found)
    return tuple(raised)


def _with_causes(ask: str, found: Sequence[Cause]) -> str:
    """The question of a slip, and what else leaves a deviation of that size; three in all at most."""
    return " ".join([ask, *(f"Or: {cause.asks} ({cause.evidence})" for cause in found[: MOST - 1])])
