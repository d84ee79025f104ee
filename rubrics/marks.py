"""Marks and what a course adds up to: one result, a set-up that a class shares, one student, all of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from course.course import Course
from course.moisture import AtMoisture
from course.readings import Reading
from course.roster import Student
from rubrics.checks import Check
from rubrics.decide import Decision
from rubrics.disagreements import Disagreement
from rubrics.doubts import Doubt
from rubrics.grading_rules import Level, Rules
from shared.units import MM, Shown

NOTHING = Fraction(0)


@dataclass(frozen=True, slots=True)
class Mark:
    """One student's result of one check at one attempt. Lengths in mm."""

    student: Student
    check: Check
    attempt: int
    counts: bool
    """Whether this attempt is the one that counts by the policy."""
    target: Fraction
    lower: Fraction | None
    upper: Fraction
    value: Fraction
    deviation: Fraction
    """Reading less target, the set-up not taken out."""
    setup_shift: Fraction
    """What the set-up of the class adds to the reading; taken out before grading."""
    beyond: Fraction
    """How far the reading, without what is taken out, lies outside the band; negative inside."""
    limit: Fraction
    guard: Fraction
    level: Level
    points: Fraction
    certainty: Decision
    again: bool
    """The reading cannot tell this level from the next lower one: it should be measured again."""
    plan_deviation: Fraction
    """Reading less what the plan alone says."""
    readings: tuple[Reading, ...] = field(hash=False)
    elsewhere: Fraction = NOTHING
    """What a reading that loses points at a check of its own adds here; taken out, so that it is charged once."""
    charged_at: tuple[str, ...] = ()
    """Titles of those checks."""
    wood: AtMoisture | None = None
    """The size at the moisture of its reading and at the shop's, when the rule does not let their distance pass."""

    @property
    def inherited(self) -> Fraction:
        """The part of the plan deviation that came with the target: no mistake of this piece of work."""
        return self.plan_deviation - self.deviation

    @property
    def own(self) -> Fraction:
        """The part of the deviation that is graded: neither the set-up's nor charged elsewhere."""
        return self.deviation - self.setup_shift - self.elsewhere

    def not_own(self, shown: Shown = MM) -> tuple[str, ...]:
        """What of the deviation is taken out before grading, in a reader's units."""
        parts = []
        if self.setup_shift:
            parts.append(f"{signed(self.setup_shift, shown)} of it from the set-up of the class")
        if self.elsewhere:
            parts.append(f"{signed(self.elsewhere, shown)} of it not charged here: {', '.join(self.charged_at)}")
        return tuple(parts)

    def words(self, shown: Shown = MM) -> str:
        """The result in a sentence, in a reader's units."""
        parts = [signed(self.deviation, shown), *self.not_own(shown)]
        if self.again:
            parts.append("measure again: this reading cannot decide")
        if self.wood:
            parts.append(self.wood.words(shown))
        return "; ".join(parts)


def signed(value: Fraction, shown: Shown = MM) -> str:
    """A small difference with its sign; nothing has none."""
    text = shown.fine(value)
    return f"+{text}" if value > 0 and any(c in "123456789" for c in text) else text


@dataclass(frozen=True, slots=True)
class Setup:
    """A deviation that most of a class shares: the set-up is the cause. Lengths in mm."""

    check: Check
    attempt: int
    shift: Fraction
    sharing: int
    measured: int
    cause: Check | None = None
    """For a fit, the size that is off together and makes the fit so."""
    group: str = ""
    """The group of the roster that shares it; empty for the whole class."""

    @property
    def finding(self) -> str:
        """How many are off, and by how much."""
        side, who = "over" if self.shift > 0 else "under", f" in group '{self.group}'" if self.group else ""
        text = f"{self.sharing} of {self.measured}{who} are {side} by about {MM.fine(abs(self.shift))}"
        return f"{text}, from '{self.cause.title}'" if self.cause else text

    @property
    def words(self) -> str:
        """The finding in a sentence, with what is done about it."""
        return (
            f"{self.finding} at '{self.check.title}': the set-up is the cause, not the students; "
            "it is taken out before grading"
        )


@dataclass(frozen=True, slots=True)
class ClassResult:
    """What the class made of one check, by the attempts that count. Lengths in mm."""

    check: Check
    measured: int
    students: int
    mean: Fraction | None
    """Mean deviation; None when nobody measured."""
    sd: float | None
    """Of the deviations; None below two."""
    inside: Fraction | None
    """Share within the band, the set-up not taken out."""
    setups: tuple[Setup, ...]


@dataclass(frozen=True, slots=True)
class PlanDifference:
    """A thing that is not as planned, told once where it arose. Lengths in mm."""

    quantity: str
    says: str
    value: Fraction
    planned: Fraction
    by: Fraction
    """What this thing alone adds; what was before it is left out."""
    follows: tuple[tuple[Check, Fraction], ...]
    """Checks whose target followed it, and by how much; no points are lost there."""


@dataclass(frozen=True, slots=True)
class StudentGrade:
    """One student's points so far."""

    student: Student
    marks: tuple[Mark, ...]
    """Those that count, in order of the work."""
    points: Fraction
    of: Fraction
    """Points of the checks that are measured."""
    checks: int
    not_measured: tuple[Check, ...]
    waiting: tuple[Check, ...]
    """Checks that rest on a reading in doubt: blank until it is answered."""
    others: tuple[tuple[Check, str], ...]
    """Checks of what somebody else made, and who: measured, and not graded."""
    doubts: tuple[Doubt, ...]
    """Readings that look like slips."""
    apart: tuple[Disagreement, ...]
    """What two people read too far apart."""
    differences: tuple[PlanDifference, ...]

    @property
    def share(self) -> Fraction | None:
        """Points of those that could be had; None before anything is measured."""
        return self.points / self.of if self.of else None

    @property
    def worst(self) -> Mark | None:
        """The mark that lost most; None when none lost anything."""
        lost = [m for m in self.marks if m.level.share < 1]
        return min(lost, key=lambda m: (m.level.share, -m.beyond / m.limit, m.check.id)) if lost else None


@dataclass(frozen=True, slots=True)
class Grades:
    """All marks of a course."""

    course: Course
    rules: Rules
    checks: tuple[Check, ...]
    marks: tuple[Mark, ...]
    """By student, check and attempt."""
    students: tuple[StudentGrade, ...]
    classes: tuple[ClassResult, ...]
    setups: tuple[Setup, ...]


def off_aim(check: Check, deviation: Fraction) -> Fraction:
    """How far a deviation lies from where one may aim: at the target, at the middle of the band, or between. [mm]

    So a class that keeps to the middle of a band that begins at its target, as a groove of 10 mm and up to 0.5 more,
    is off by nothing. Where the band does not hold its own target its middle alone is aimed at.
    """
    if check.one_sided:
        return deviation
    middle = (check.upper + check.lower) / 2
    low, high = sorted((NOTHING, middle)) if check.lower <= 0 <= check.upper else (middle, middle)
    return max(deviation - high, NOTHING) + min(deviation - low, NOTHING)


def beyond(check: Check, deviation: Fraction) -> Fraction:
    """How far a deviation lies outside the band of a check; negative inside. [mm]"""
    over = deviation - check.upper
    return over if check.one_sided else max(over, check.lower - deviation)
