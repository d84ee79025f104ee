"""Two people who read one thing further apart than it may be: asked about as it comes in, held out of grading."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from course.course import Course
from course.readings import Reading
from course.roster import Student
from rubrics.checks import checks_of, limit_of
from rubrics.sheet_columns import SECOND
from shared.problems import InputRefused

APART = Fraction(1, 2)
"""Two people who read an opening further apart than this are asked to read it together; at all other sizes the limit
of its check decides. Our choice. [mm]"""


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Readings of one place by several people, the lowest and the highest too far apart."""

    readings: tuple[Reading, ...]
    low: Reading
    high: Reading

    @property
    def apart(self) -> Fraction:
        """Highest less lowest. [mm]"""
        return _value(self.high) - _value(self.low)

    def words(self, student: Student) -> str:
        """Whose reading, of what, and who read what."""
        one, (first, second) = self.low, (f"{who(each)} read {each.raw}" for each in (self.low, self.high))
        apart = student.shown.size(self.apart)
        return f"{one.student}, {one.quantity}, place {one.place}: {first}, {second}, {apart} apart"


def who(one: Reading) -> str:
    """By whom a reading is, in a sentence."""
    return {"": "the student", SECOND: f"the {SECOND}"}.get(one.reader, one.reader)


def _value(one: Reading) -> Fraction:
    assert one.value is not None
    return one.value


def disagreements(readings: Iterable[Reading], allowed: Mapping[str, Fraction]) -> Iterator[Disagreement]:
    """Places that several people read too far apart.

    Args:
        readings: Of one student, those that count.
        allowed: How far two people may differ, by quantity; what is not in it is passed over. [mm]
    """
    groups: dict[tuple, list[Reading]] = {}
    for one in readings:
        if one.value is not None and one.quantity in allowed:
            groups.setdefault(one.key[:4], []).append(one)
    for group in groups.values():
        low, high = min(group, key=_value), max(group, key=_value)
        if _value(high) - _value(low) > allowed[low.quantity]:
            yield Disagreement(tuple(group), low, high)


def allowed_apart(course: Course) -> dict[str, Fraction]:
    """How far two people may differ at each size: the limit of the narrowest check that reads it. [mm]"""
    openings = course.cabinet.openings
    found = {
        quantity.name: APART for quantity in course.cabinet.graph.quantities
        if quantity.name.rpartition(".")[0] in openings
    }  # fmt: skip
    try:
        checks = checks_of(course)
    except InputRefused:  # a check that cannot be used is told by `check` and `grade`; readings come in all the same
        return found
    for check in checks:
        for name, _, _ in check.reads:
            if name not in found or name.rpartition(".")[0] not in openings:
                found[name] = min(limit_of(check), found.get(name, limit_of(check)))
    return found
