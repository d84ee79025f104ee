"""Said before the lesson: fit checks whose band the named instrument cannot judge, so that no reading could prove it.

`proof` is one more reader for the command `check`; it stops nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.course import Course
from course.proof import whom
from course.roster import Student
from rubrics.checks import TOOLS, Check, checks_of, read_checks, result_uncertainty, tool_of
from rubrics.decide import can_decide, guard_band
from rubrics.grading_rules import read_rules
from rubrics.instruments import Instrument, instrument, instruments
from shared.places import NOWHERE, Text
from shared.problems import Problem
from shared.units import INCH, SHOWN, Shown, decimal

STEP = Fraction("0.05")
"""To which an advised limit is rounded outwards. [mm]"""


@dataclass(frozen=True, slots=True)
class Unjudged:
    """A check of one student that no reading could prove."""

    check: Check
    student: Student
    guard: float
    """How far inside a limit a reading must lie to be inside for sure. [mm]"""


def proof(course: Course) -> tuple[Problem, ...]:
    """A problem for each kind of check that its instrument cannot judge, with whom it is about."""
    sure = read_rules(course.folder, course.settings).sure
    groups: dict[tuple, list[Unjudged]] = {}
    for one in unjudged(course, sure):
        check = one.check
        groups.setdefault((check.check, check.what, check.lower, check.upper, check.instrument), []).append(one)
    return tuple(_problem(course, group, sure) for group in groups.values())


def unjudged(course: Course, sure: float) -> Iterator[Unjudged]:
    """Every check of every student whose band is narrower than its guard bands.

    Args:
        course: As read; sizes are those of choices and stock alone.
        sure: Wanted chance of being right at one limit.
    """
    for check in checks_of(course):
        for student in course.students:
            if not _judges(course, check, student, sure):
                yield Unjudged(check, student, guard_band(_expected(course, check, student), sure))


def _judges(course: Course, check: Check, student: Student, sure: float) -> bool:
    u = _expected(course, check, student)
    return can_decide(check.lower, check.upper, u, sure, never_negative=check.one_sided)


def _expected(course: Course, check: Check, student: Student) -> float:
    """Standard uncertainty that a result will have, when everything has the size it should have. [mm]"""
    values = course.without_log(student)
    sizes = {name: values.number(name) for name, _, _ in check.reads}
    return result_uncertainty(check, course, student, values, sizes, {name: places for name, places, _ in check.reads})


def _problem(course: Course, group: Sequence[Unjudged], sure: float) -> Problem:
    shown = SHOWN[course.text("units", "mm")]
    worst = max(group, key=lambda one: one.guard)
    check = worst.check
    where = ", ".join(dict.fromkeys(one.check.where for one in group))
    ids = whom(course, tuple(dict.fromkeys(one.student.id for one in group)))
    says = (
        f"{ids}: '{check.what}' of {where} is to be {_band(check, shown)}; read with the {check.instrument} it is sure "
        f"to {shown.fine(Fraction(worst.guard))} only, so no reading could prove it right"
    )
    ways = [f"write `{_wider(group, worst)}` in course.yaml", *_other_tools(course, worst, sure)]
    do = ", or ".join(ways)
    place = next(spec.place for spec in read_checks(course.folder).definitions if spec.name == check.check)
    return Problem("V020", place, says, f"{do[0].upper()}{do[1:]}.", severe=False)


def _band(check: Check, shown: Shown) -> str:
    if check.one_sided:
        return f"at most {shown.fine(check.upper)}"
    return f"within {shown.fine_bare(check.lower)} and {shown.fine(check.upper)}"


def _wider(group: Sequence[Unjudged], worst: Unjudged) -> str:
    """The narrowest band that can be judged, as `course.yaml` has it."""
    check, guard = worst.check, Fraction(worst.guard)
    names = dict.fromkeys(one.check.id for one in group)
    tails = {one.check.id.removeprefix(f"{one.check.assembly}.") for one in group}
    name = next(iter(names)) if len(names) == 1 else f"*.{tails.pop()}" if len(tails) == 1 else check.check
    if check.one_sided:
        return f'bands: {{"{name}": {{upper: {_outwards(guard)} mm}}}}'
    extra = max(guard - (check.upper - check.lower) / 2, Fraction(0))
    lower, upper = _outwards(check.lower - extra), _outwards(check.upper + extra)
    return f'bands: {{"{name}": {{lower: {lower} mm, upper: {upper} mm}}}}'


def _outwards(limit: Fraction) -> str:
    steps = math.ceil(abs(limit) / STEP) * STEP
    return decimal(steps if limit >= 0 else -steps, 2)


def _other_tools(course: Course, worst: Unjudged, sure: float) -> Iterator[str]:
    """An instrument of the shop that reaches and can judge it, and a finer one of the same kind."""
    check, student = worst.check, worst.student
    values = course.without_log(student)
    longest = max(values.number(name) for name, _, _ in check.reads)
    for word in TOOLS:
        tool = instrument(tool_of(word, course, student), course.folder)
        other = replace(check, reads=tuple((name, places, word) for name, places, _ in check.reads))
        if tool.longest >= longest and _judges(course, other, student, sure):
            yield f"read it with the {word}"
            break
    for word in TOOLS:
        kind = instrument(tool_of(word, course, student), course.folder).kind
        for name, tool in sorted(instruments(course.folder).items(), key=lambda item: item[1].hook_error):
            finer = replace(course, settings={**course.settings, f"shop.instruments.{word}": Text(name, NOWHERE)})
            if tool.kind == kind and _read_by(tool, student) and _judges(finer, check, student, sure):
                yield f"write `shop: {{instruments: {{{word}: {name}}}}}` if the shop has one"
                return


def _read_by(tool: Instrument, student: Student) -> bool:
    """Whether an instrument is divided in the student's units: a part of an inch, or hundredths of a millimetre."""
    if student.unit == "in":
        return (tool.graduation / INCH).numerator == 1
    return (tool.graduation * 100).denominator == 1
