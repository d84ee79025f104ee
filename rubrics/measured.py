"""What a student measured for a check, each attempt with its uncertainty."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import hypot, sqrt

from course.changes import AsMade
from course.course import Course
from course.formula import LENGTH, BadFormula, Formula
from course.quantities import Given, Origin, Values
from course.readings import Reading, reduced
from course.roster import Student
from rubrics.check_files import TOOLS
from rubrics.checks import Check
from rubrics.instruments import Instrument, instrument, reading_uncertainty, uncertainty
from shared.places import Place
from shared.problems import refuse

LONGER = {"caliper": "rule", "rule": "tape", "rods": "tape"}
"""What is taken where an instrument does not reach; leaves of a feeler are stacked."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What one student measured for one check at one attempt. Lengths in mm."""

    value: Fraction
    target: Fraction
    planned: Fraction
    """What the plan alone wants."""
    deviation: Fraction
    u: float
    """Standard uncertainty of the deviation: of the value, and of the readings that the target follows."""
    attempt: int
    readings: tuple[Reading, ...] = field(hash=False)


def attempts(check: Check, readings: Iterable[Reading]) -> dict[int, dict[str, list[Reading]]]:
    """Readings of a check by attempt and quantity; a quantity not read again keeps its earlier readings."""
    asked = {name for name, _, _ in check.reads}
    by_attempt: dict[int, dict[str, list[Reading]]] = {}
    for one in readings:
        if one.quantity in asked and one.value is not None:
            by_attempt.setdefault(one.attempt, {}).setdefault(one.quantity, []).append(one)
    found: dict[int, dict[str, list[Reading]]] = {}
    latest: dict[str, list[Reading]] = {}
    for number in sorted(by_attempt):
        latest = {**latest, **by_attempt[number]}
        found[number] = latest
    return found


def measure(check: Check, course: Course, student: Student) -> tuple[Measured, ...]:
    """What a student measured for a check, one result an attempt, oldest first; empty while something is missing."""
    return measure_all((check,), course, student)[check.id]


def measure_all(checks: Sequence[Check], course: Course, student: Student) -> dict[str, tuple[Measured, ...]]:
    """As `measure` for many checks, by their ids; the log is read once."""
    return measure_from(checks, course, student, course.record(student).readings)


def measure_from(
    checks: Sequence[Check], course: Course, student: Student, readings: Iterable[Reading]
) -> dict[str, tuple[Measured, ...]]:
    """What some of a student's readings come to, as those of one reader, by the ids of the checks."""
    values, readings = course.values(student), tuple(readings)
    behind, made = _target_uncertainties(checks, course, student, values, readings), AsMade(course, student, values)
    return {
        check.id: tuple(
            _measured(check, course, student, values, groups, number, behind.get(check.id, 0.0), made)
            for number, groups in attempts(check, readings).items()
            if all(name in groups for name, _, _ in check.reads)
        )
        for check in checks
    }


def missing(check: Check, course: Course, student: Student) -> tuple[tuple[str, int], ...]:
    """Quantities and places of a check that a student has not read yet."""
    taken = {(r.quantity, r.place) for r in course.log.readings(student.id) if r.value is not None}
    asked = [(name, place) for name, places, _ in check.reads for place in range(1, places + 1)]
    return tuple(one for one in asked if one not in taken)


def _measured(
    check: Check,
    course: Course,
    student: Student,
    values: Values,
    groups: dict[str, list[Reading]],
    attempt: int,
    target_u: float,
    made: AsMade,
) -> Measured:
    graph = course.cabinet.graph
    sizes: dict[str, Fraction] = {}
    for name, _, _ in check.reads:
        texts = [one.value for one in groups[name] if one.value is not None]
        sizes[name] = reduced(texts, graph[name].read)[0]
    readings = tuple(one for name, _, _ in check.reads for one in groups[name])
    first = check.reads[0][0]
    planned = course.plan_values
    if check.kind == "spread":
        texts = [one.value for one in readings if one.value is not None]
        value, target, plan = max(texts) - min(texts), Fraction(0), Fraction(0)
    elif check.formula is None:
        value = sizes[first]
        target = _number(check.target, values.all) if check.target else made.target(first)
        plan = _number(check.target, planned.all) if check.target else planned.number(first)
    else:
        value = _derived(check.formula, values, sizes)
        target = _number(check.target, values.all) if check.target else Fraction(0)
        plan = _number(check.target, planned.all) if check.target else Fraction(0)
    repeats = {name: sum(one.times for one in groups[name]) for name in sizes}
    u = result_uncertainty(check, course, student, values, sizes, repeats)
    return Measured(value, target, plan, value - target, hypot(u, target_u), attempt, readings)


def _target_uncertainties(
    checks: Sequence[Check], course: Course, student: Student, values: Values, readings: Iterable[Reading]
) -> dict[str, float]:
    """Standard uncertainty of the target of each size, from the readings it follows; by the id of the check. [mm]

    A size made to the real case can be no surer than the reading of the case. Each reading counts by how much the
    target moves with it; root sum of squares, JCGM 100 (GUM), 5.1.
    """
    sized = {check: check.reads[0][0] for check in checks if check.kind == "size"}
    rests = {
        check: frozenset().union(*(values.rests_on(one) for one in _target_names(check, name, values) if one != name))
        for check, name in sized.items()
    }
    taken: Counter[str] = Counter()
    for one in readings:
        if one.value is not None:
            taken[one.quantity] += one.times
    squares = dict.fromkeys(sized, 0.0)
    for other, given in values.found.items():
        following = [check for check in sized if other in rests[check]]
        if given.origin is not Origin.READING or values.graph[other].dimension != LENGTH or not following:
            continue
        size = values.number(other)
        moved = values.with_given(values.settings, {**values.found, other: replace(given, value=size + 1)})
        read = values.graph[other].read
        tool, reach = _reaching(read.instrument if read else "rule", size, course, student)
        own = uncertainty(tool, reach, taken[other] or 1)
        for check in following:
            by = _target(check, moved, sized[check]) - _target(check, values, sized[check])
            squares[check] += (own * float(by)) ** 2
    return {check.id: sqrt(total) for check, total in squares.items()}


def _target_names(check: Check, name: str, values: Values) -> tuple[str, ...]:
    return check.target.names if check.target else values.inputs(name)


def _target(check: Check, values: Values, name: str) -> Fraction:
    return _number(check.target, values.all) if check.target else _fraction(values.target(name))


def _fraction(value: object) -> Fraction:
    assert isinstance(value, Fraction)
    return value


def _number(formula: Formula, values: Sequence) -> Fraction:
    try:
        return _fraction(formula.run(values))
    except ZeroDivisionError:
        says = f"'{formula.text}' divides by zero with what was read"
        raise refuse("B055", says, "Write the formula of the check so that it cannot.", Place("checks")) from None
    except BadFormula as error:
        raise refuse("B055", f"'{formula.text}': {error}", "Mend the formula of the check.", Place("checks")) from None


def _derived(formula: Formula, values: Values, sizes: dict[str, Fraction]) -> Fraction:
    """The result of a formula with the readings of one attempt in the places of its sizes, and what follows them."""
    if any(name not in sizes and not values.rests_on(name).isdisjoint(sizes) for name in formula.names):
        read = {name: Given(size, Origin.READING) for name, size in sizes.items()}
        return _number(formula, values.with_given(values.settings, {**values.found, **read}).all)
    changed = list(values.all)
    for name, size in sizes.items():
        changed[values.graph.index[name]] = size
    return _number(formula, changed)


def tool_of(word: str, course: Course, student: Student) -> str:
    """The name in `instruments.yaml` of an instrument word, for this shop and this student's units."""
    metric, inches = TOOLS[word]
    return course.text(f"shop.instruments.{word}", metric if student.unit == "mm" else inches)


def _reaching(word: str, size: Fraction, course: Course, student: Student) -> tuple[Instrument, Fraction]:
    """The instrument that a size is read with, or the longer one that is taken instead, and what it measures of it.

    A size that is less than nothing is told before (`rubrics.proof`); here it is as long the other way.
    """
    size = abs(size)
    tool = instrument(tool_of(word, course, student), course.folder)
    while size > tool.longest and word in LONGER:
        word = LONGER[word]
        tool = instrument(tool_of(word, course, student), course.folder)
    return tool, min(size, tool.longest)


def result_uncertainty(
    check: Check, course: Course, student: Student, values: Values, sizes: dict[str, Fraction], repeats: dict[str, int]
) -> float:
    """Standard uncertainty of a result: each reading's, weighed by how much it moves the result, root sum of squares.

    Where likes are compared with one instrument, the error of its scale is common to both and drops out (ours).
    """
    total = 0.0
    alike = check.kind in ("difference", "spread")
    result = None if check.formula is None else _derived(check.formula, values, sizes)
    for name, _, word in check.reads:
        tool, size = _reaching(word, sizes[name], course, student)
        own = reading_uncertainty(tool, repeats[name]) if alike else uncertainty(tool, size, repeats[name])
        weight = 1.0
        if check.formula is not None and result is not None:
            nudged = {**sizes, name: sizes[name] + 1}
            weight = float(_derived(check.formula, values, nudged) - result)
        total += (own * weight) ** 2
    return sqrt(2 * total if check.kind == "spread" else total)
