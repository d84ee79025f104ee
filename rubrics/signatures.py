"""Deviations that have a usual cause by their size, asked about as they come in; the readings count all the same.

A slip of reading is another matter (`doubts`): it is held out of grading. Here the thing itself may well be so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import pairwise

from course.causes import MOST, causes
from course.course import Course
from course.formula import LENGTH
from course.quantities import Values
from course.readings import Reading, reduced
from course.roster import Student
from rubrics.checks import checks_of, limit_of
from shared.places import Mapping, read_yaml
from shared.problems import InputRefused
from shared.units import length

Band = tuple[Fraction, Fraction]
"""Lowest and highest deviation that is let pass. [mm]"""


@dataclass(frozen=True, slots=True)
class Signature:
    """A size that is off by an amount that has usual causes."""

    reading: Reading
    """The first of the readings that show it."""
    expected: Fraction
    """What the student's own case asks for. [mm]"""
    asks: tuple[str, ...]
    """At most three questions with their evidence, the likeliest first."""

    def words(self, student: Student) -> str:
        """Whose reading, of what, and what was expected."""
        one, about = self.reading, student.shown.size(self.expected)
        return f"{one.student}, {one.quantity}: {one.raw} where {about} is expected"


@cache
def _along() -> tuple[int, Fraction, str]:
    top = read_yaml(files("rubrics").joinpath("slips.yaml").read_text("utf-8"), "slips.yaml")
    block = top.get("along")
    assert isinstance(block, Mapping)
    return int(block.text("places")), length(block.text("least")), block.text("asks")


def _unbounded() -> Band:
    """For what no check bounds."""
    return -_along()[1], _along()[1]


def bands(course: Course) -> dict[str, Band]:
    """How far each size may be off: by the check of its size, else by the narrowest check that reads it.

    Empty while a check cannot be used: `check` and `grade` tell that, and readings come in all the same.
    """
    found: dict[str, Band] = {}
    try:
        checks = checks_of(course)
    except InputRefused:
        return found
    for check in checks:
        for name, _, _ in check.reads:
            limit = limit_of(check)
            if check.kind == "size" and not check.one_sided:
                found[name] = (check.lower, check.upper)
            elif name not in found or found[name][1] > limit:
                found[name] = (-limit, limit)
    return found


def signatures(
    course: Course, student: Student, readings: Iterable[Reading], known: dict[str, Band]
) -> tuple[Signature, ...]:
    """What may be behind new readings of sizes that are outside their bands.

    Args:
        course: The course.
        student: Whose readings.
        readings: The new ones, those in doubt left out; all readings of the student count for what is expected.
        known: The `bands` of the course, worked out once for all students.
    """
    values, graph = course.values(student), course.cabinet.graph
    new: dict[str, list[Reading]] = {}
    for one in readings:
        if one.value is not None and one.quantity in graph and graph[one.quantity].dimension == LENGTH:
            new.setdefault(one.quantity, []).append(one)
    kept: dict[str, list[Reading]] = {name: [] for name in new}
    for one in course.record(student).readings:
        if one.quantity in kept and one.value is not None:
            kept[one.quantity].append(one)
    none = _unbounded()
    found = (_signature(student, values, name, own, kept[name], known.get(name, none)) for name, own in new.items())
    return tuple(one for one in found if one.asks)


def _signature(
    student: Student, values: Values, name: str, new: list[Reading], own: Sequence[Reading], band: Band
) -> Signature:
    target = values.target(name)
    assert isinstance(target, Fraction)
    attempt = max(one.attempt for one in new)
    now, before = (_deviation(values, name, [o for o in own if o.attempt == a]) for a in (attempt, attempt - 1))
    asks: list[str] = []
    if now is not None and not band[0] <= now <= band[1]:
        asks = [f"{cause.asks} ({cause.evidence})" for cause in causes(values, name, now, student.shown, before)]
    last = sorted((one for one in own if one.attempt == attempt), key=lambda one: one.place)
    return Signature(new[0], target, (*_grows(student, last, band), *asks)[:MOST])


def _deviation(values: Values, name: str, readings: list[Reading]) -> Fraction | None:
    sizes, target = [one.value for one in readings if one.value is not None], values.target(name)
    assert isinstance(target, Fraction)
    return reduced(sizes, values.graph[name].read)[0] - target if sizes else None


def _grows(student: Student, readings: list[Reading], band: Band) -> Iterator[str]:
    """Whether a size grows, or shrinks, from each place to the next by more in all than its band is wide."""
    places, _, asks = _along()
    sizes = [one.value for one in readings if one.value is not None and not one.reader]
    steps = [b - a for a, b in pairwise(sizes)]
    alike = all(step > 0 for step in steps) or all(step < 0 for step in steps)
    if len(sizes) >= places and alike and abs(sizes[-1] - sizes[0]) > band[1] - band[0]:
        yield asks.format(first=student.shown.fine(sizes[0]), last=student.shown.fine(sizes[-1]))
