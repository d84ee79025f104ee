"""What a class, or one group of it, misses together: the set-up is the cause and not the students."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from statistics import median

from course.course import Course
from course.quantities import Given, Origin, Values
from rubrics.checks import Check, limit_of
from rubrics.grading_rules import SetupRule
from rubrics.marks import NOTHING, Setup, off_aim
from rubrics.measured import Measured

Results = Mapping[str, tuple[Measured, ...]]
"""What one student measured, by the id of the check."""


def every_setup(
    checks: Sequence[Check], course: Course, results: Mapping[str, Results], rule: SetupRule
) -> tuple[Setup, ...]:
    """What the class misses together, and what only a group of the roster does: one machine, or one session."""
    found = list(find_setups(checks, list(results.values()), rule, course.plan_values))
    together = {(one.check.id, one.attempt) for one in found}
    for group in dict.fromkeys(student.group for student in course.students if student.group):
        own = [results[student.id] for student in course.students if student.group == group]
        shared = find_setups(checks, own, rule, course.plan_values)
        found += [replace(one, group=group) for one in shared if (one.check.id, one.attempt) not in together]
    return tuple(found)


def find_setups(
    checks: Sequence[Check], results: Sequence[Results], rule: SetupRule, plan: Values | None = None
) -> tuple[Setup, ...]:
    """Which checks a class misses together.

    Args:
        checks: In order of the work; a check with one limit only has no side and is passed over.
        results: One mapping for each student.
        rule: Share, number, threshold and rounding.
        plan: The cabinet by the plan alone; with it a set-up of a part is known again where that part is fitted.
    """
    found: list[Setup] = []
    for check in checks:
        attempts = sorted({m.attempt for each in results for m in each[check.id]})
        for attempt in attempts if not check.one_sided else ():
            off = [m.deviation for each in results for m in each[check.id] if m.attempt == attempt]
            shift, sharing = common_shift(off, check, rule)
            if shift:
                found.append(Setup(check, attempt, shift, sharing, len(off)))
    read = {(s.check.reads[0][0], s.attempt): s for s in found if s.check.formula is None}
    return tuple(
        setup if setup.check.kind == "size" else replace(setup, cause=_cause(setup, read, plan)) for setup in found
    )


def _cause(setup: Setup, read: Mapping[tuple[str, int], Setup], plan: Values | None) -> Check | None:
    """The size that is off together: one that the check reads, or one of the parts that make what it reads."""
    own = {name: one for (name, attempt), one in read.items() if attempt == setup.attempt}
    sizes = {name: one.check for name, one in own.items() if one.check.kind == "size"}
    if cause := next((sizes[name] for name, _, _ in setup.check.reads if name in sizes), None):
        return cause
    parts_give = setup.check.parts_give
    if plan is None or parts_give is None:
        return None
    moved, behind = plan, plan.behind(parts_give.names)
    known = behind & own.keys()
    before = [quantity.name for quantity in plan.graph.in_order() if quantity.name in known]
    for name in before:
        off = Given(moved.number(name) + own[name].shift, Origin.READING)
        moved = moved.with_given(moved.settings, {**moved.found, name: off})
    arrives = parts_give.number(moved.all) - parts_give.number(plan.all)
    nearest = [sizes[name] for name in before if name in sizes]
    return nearest[-1] if nearest and abs(setup.shift - arrives) < abs(setup.shift) else None


def common_shift(deviations: Sequence[Fraction], check: Check, rule: SetupRule) -> tuple[Fraction, int]:
    """By how much most of a class is off together, and how many are; 0 when there is no such shift. [mm]"""
    far = rule.threshold * limit_of(check)
    off = [off_aim(check, deviation) for deviation in deviations]
    for side in (1, -1):
        sharing = [each for each in off if side * each >= far]
        if sharing and len(off) >= rule.students and Fraction(len(sharing), len(off)) >= rule.share:
            return round(median(sharing) / rule.step) * rule.step, len(sharing)
    return NOTHING, 0


def taken_out(deviation: Fraction, check: Check, setup: Setup | None) -> Fraction:
    """The shift for a reading nearer to the shifted size than to the right one; nothing for others."""
    if setup is None:
        return NOTHING
    off = off_aim(check, deviation)
    return setup.shift if abs(off - setup.shift) < abs(off) else NOTHING
