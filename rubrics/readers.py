"""How the readings were taken: where last digits pile up, and how well two people agree who read the same thing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import median

from course.course import Course
from course.readings import Reading
from rubrics.agreement import Agreement, LastDigits, kappa, last_digits, limits_of_agreement
from rubrics.checks import Check, every_check, limit_of
from rubrics.compare import ENOUGH, SCALED
from rubrics.instruments import Instrument, instrument
from rubrics.marks import Grades, beyond
from rubrics.measured import measure_from, tool_of
from shared.problems import OutOfRange
from shared.units import INCH

MOSTLY = Fraction(19, 20)
"""Share of readings that must be whole steps for these to be the steps that people read to: our choice."""
SURPRISE = 0.01
"""Chance below which piled digits are told; strict, since several tools are looked at."""
ALIKE = Fraction(17, 20)
"""Share of results that would agree by chance, from which agreement beyond it says nothing: our choice."""
STEPS = {
    Fraction(1): (10, "the last digit of whole millimeters"),
    Fraction(1, 2): (2, "whole against half millimeters"),
    Fraction(1, 10): (10, "the tenths of a millimeter"),
    Fraction(1, 100): (10, "the hundredths of a millimeter"),
    INCH / 16: (4, "quarters against sixteenths of an inch"),
    INCH / 32: (2, "sixteenths against thirty-seconds of an inch"),
    INCH / 64: (4, "sixteenths against sixty-fourths of an inch"),
    INCH / 1000: (10, "the thousandths of an inch"),
}
"""Steps that readings are written to: after how many the last digit comes round, and what it is called. [mm]"""
FINER = {"mm": (Fraction(1, 10), Fraction(1, 100)), "in": (INCH / 1000,)}
"""Steps that are tried when readings stand between the marks of a tool."""


@dataclass(frozen=True, slots=True)
class Digits:
    """The last digits of the readings of one tool."""

    tool: str
    what: str
    readings: int
    found: LastDigits

    @property
    def uneven(self) -> bool:
        """Whether honest readings would seldom come out so."""
        return self.found.chance < SURPRISE

    @property
    def most(self) -> str:
        """The digit, or two, that most readings end in, with its share."""
        counts = self.found.counts
        if len(counts) == 10 and counts[0] + counts[5] >= sum(sorted(counts)[-2:]):
            return f"{_percent(counts[0] + counts[5], self.readings)} end in 0 or 5, where 20 % are expected"
        top = max(range(len(counts)), key=lambda digit: counts[digit])
        named = f"end in {top}" if len(counts) == 10 else "stand on the coarser mark" if top == 0 else "stand between"
        return f"{_percent(counts[top], self.readings)} {named}, where {_percent(1, len(counts))} are expected"


def _percent(part: int, whole: int) -> str:
    return f"{round(100 * part / whole)} %"


def digits(course: Course) -> tuple[Digits, ...]:
    """The last digits of every tool that there are readings enough of.

    Each thing counts once, by the student's first reading of it: its other places, and a second reader, find nearly
    the same size, and so the same digits. A size that the class makes too much alike says nothing (`_is_wide`).
    """
    words = {name: word for check in every_check(course) for name, _, word in check.reads}
    sizes: dict[tuple[str, str], dict[str, list[Fraction]]] = {}
    tools: dict[str, Instrument] = {}
    for student in course.students:
        first: dict[str, Reading] = {}
        for one in sorted(course.log.readings(student.id), key=lambda one: (one.reader, one.attempt, one.place)):
            if one.value is not None and one.quantity in words:
                first.setdefault(one.quantity, one)
        for name, one in first.items():
            tool = instrument(tool_of(words[name], course, student), course.folder)
            if tool.kind == "feeler":  # a leaf goes in or not: no digit is read
                continue
            assert one.value is not None
            tools[tool.name] = tool
            sizes.setdefault((tool.name, student.unit), {}).setdefault(name, []).append(one.value)
    made = (_digits(tools[name], unit, list(own.values())) for (name, unit), own in sorted(sizes.items()))
    return tuple(one for one in made if one)


def _digits(tool: Instrument, unit: str, sizes: Sequence[Sequence[Fraction]]) -> Digits | None:
    every = [value for values in sizes for value in values]
    for step in (tool.graduation, *FINER[unit]):
        whole = sum((value / step).denominator == 1 for value in every)
        if step in STEPS and whole >= MOSTLY * len(every):
            break
    else:
        return None
    cycle, what = STEPS[step]
    wide = [values for values in sizes if _is_wide(values, cycle * step)]
    kept = [value for values in wide for value in values if (value / step).denominator == 1]
    try:
        return Digits(tool.name, what, len(kept), last_digits(kept, step, cycle))
    except OutOfRange:
        return None


def _is_wide(values: Sequence[Fraction], cycle: Fraction) -> bool:
    """Whether sizes spread so far that honest last digits fall evenly: over half a cycle of steps as a deviation.

    Geometry of a normal spread s wrapped round a cycle c: the digits are uneven by 2 exp(-2 pi^2 s^2 / c^2) at most,
    1.4 % at half a cycle, and 23 % at a third. The deviation is 1.48 times the median distance from the median, so that
    one wild reading does not make a size wide.
    """
    middle = median(values)
    return SCALED * cycle / 2 <= median(abs(value - middle) for value in values)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two readings of one thing, by two people."""

    first: Reading
    second: Reading

    @property
    def values(self) -> tuple[Fraction, Fraction]:
        """What each has read. [mm]"""
        assert self.first.value is not None and self.second.value is not None
        return self.first.value, self.second.value

    @property
    def apart(self) -> Fraction:
        """First less second. [mm]"""
        first, second = self.values
        return first - second


def pairs(readings: Sequence[Reading]) -> Iterator[Pair]:
    """What was read twice, the student's own reading first."""
    groups: dict[tuple, list[Reading]] = {}
    for one in readings:
        if one.value is not None:
            groups.setdefault(one.key[:4], []).append(one)
    for group in groups.values():
        if len(group) > 1:
            first, second, *_ = sorted(group, key=lambda one: one.reader)
            yield Pair(first, second)


@dataclass(frozen=True, slots=True)
class ToolAgreement:
    """How well two people agree with one instrument."""

    instrument: str
    count: int
    found: Agreement


@dataclass(frozen=True, slots=True)
class LevelAgreement:
    """How often two people's readings come to the same level."""

    count: int
    same: int
    kappa: Fraction | None
    """Weighted by how many levels they are apart; None where nearly all results are of one level (`ALIKE`)."""


@dataclass(frozen=True, slots=True)
class Readers:
    """What two people who read the same things tell about the readings."""

    tools: tuple[ToolAgreement, ...]
    levels: LevelAgreement | None


def readers(grades: Grades) -> Readers:
    """Agreement wherever a thing was read by two people."""
    course = grades.course
    words = {name: word for check in every_check(course) for name, _, word in check.reads}
    apart: dict[str, list[Pair]] = {}
    levels: list[tuple[int, int]] = []
    for student in course.students:
        readings = course.log.readings(student.id)
        for pair in pairs(readings):
            if pair.first.quantity in words:
                apart.setdefault(words[pair.first.quantity], []).append(pair)
        if any(one.reader for one in readings):
            both = _two_results(grades, readings)
            levels += both
    tools = tuple(
        ToolAgreement(word, len(own), limits_of_agreement([p.values[0] for p in own], [p.values[1] for p in own]))
        for word, own in sorted(apart.items())
        if len(own) >= ENOUGH
    )
    return Readers(tools, _levels_agree(levels, len(grades.rules.levels)))


def _two_results(grades: Grades, readings: Sequence[Reading]) -> list[tuple[int, int]]:
    """The level of each check by the student's own readings and by those of the first other reader."""
    student = grades.course.student(readings[0].student)
    other = min(one.reader for one in readings if one.reader)
    own, theirs = (
        measure_from(grades.checks, grades.course, student, [one for one in readings if one.reader == reader])
        for reader in ("", other)
    )
    found = []
    for check in grades.checks:
        second = {one.attempt: one for one in theirs[check.id]}
        found += [
            (_level(grades, check, one.deviation), _level(grades, check, second[one.attempt].deviation))
            for one in own[check.id]
            if one.attempt in second
        ]
    return found


def _level(grades: Grades, check: Check, deviation: Fraction) -> int:
    return grades.rules.levels.index(grades.rules.level(beyond(check, deviation), limit_of(check)))


def _levels_agree(levels: Sequence[tuple[int, int]], count: int) -> LevelAgreement | None:
    if len(levels) < ENOUGH:
        return None
    table = [[sum(pair == (i, j) for pair in levels) for j in range(count)] for i in range(count)]
    weights = [[abs(i - j) for j in range(count)] for i in range(count)]
    by_chance = sum(sum(row) * sum(column) for row, column in zip(table, zip(*table, strict=True), strict=True))
    found = kappa(table, weights) if Fraction(by_chance, len(levels) ** 2) < ALIKE else None
    return LevelAgreement(len(levels), sum(i == j for i, j in levels), found)
