"""What of a student's cabinet moved targets away from the plan: told once, at what was measured to be different."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from course.formula import LENGTH
from course.quantities import Values
from rubrics.check_files import STAGES
from rubrics.checks import Check
from rubrics.marks import PlanDifference


def plan_differences(
    values: Values, checks: Sequence[Check], tell: Fraction, stages: Mapping[str, str]
) -> tuple[PlanDifference, ...]:
    """What of a student's cabinet moved the targets of checks away from the plan, each told once where it arose.

    A thing arises where a reading differs from what it should be, or where a choice or measured stock differs from
    the plan. What follows is found by working the cabinet out again without it.

    Args:
        values: The student's cabinet now.
        checks: All checks; those of a size can follow.
        tell: Smallest difference that is told. [mm]
        stages: At which stage each quantity is first read; nothing follows what is read later.
    """
    sized = [check for check in checks if check.kind == "size"]
    found = []
    for name in sorted({*values.settings, *values.found}, key=values.graph.index.__getitem__):
        if values.graph[name].dimension != LENGTH:
            continue
        now = values.number(name)
        planned = values.target(name) if name in values.found else values.planned(name)
        assert isinstance(planned, Fraction)
        if abs(now - planned) < tell:
            continue
        without = values.with_given(_less(values.settings, name), _less(values.found, name))
        since = STAGES.index(stages.get(name, STAGES[0]))
        later = [c for c in sized if STAGES.index(c.stage) >= since and c.reads[0][0] != name]
        moved = [(c, values.target_number(c.reads[0][0]) - without.target_number(c.reads[0][0])) for c in later]
        follows = tuple((check, by) for check, by in moved if abs(by) >= tell)
        if follows:
            found.append(PlanDifference(name, values.graph[name].says, now, planned, now - planned, follows))
    return tuple(found)


def _less(given: Mapping[str, object], name: str) -> dict:
    return {key: value for key, value in given.items() if key != name}
