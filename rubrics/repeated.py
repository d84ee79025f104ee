"""A whole sheet that repeats its targets: how likely honest readings would, and what to ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from math import erf, sqrt

from course.course import Course
from course.readings import Reading
from course.roster import Student
from rubrics.checks import checks_of
from rubrics.instruments import instrument
from rubrics.measured import tool_of
from shared.places import Mapping, read_yaml


@dataclass(frozen=True, slots=True)
class Repeated:
    """Readings of one sheet that fall on their targets."""

    first: Reading
    count: int
    of: int
    chance: float
    """That honest readings would do so as often or more."""
    ask: str


@cache
def _rule() -> tuple[int, float, str]:
    top = read_yaml(files("rubrics").joinpath("slips.yaml").read_text("utf-8"), "slips.yaml")
    block = top.get("repeated")
    assert isinstance(block, Mapping)
    return int(block.text("least")), float(Fraction(block.text("chance"))), block.text("asks")


def chance_on_target(step: float, scatter: float) -> float:
    """That a reading rounded to a step falls on its target, when the work scatters normally about it."""
    return erf(step / 2 / (scatter * sqrt(2)))


def at_least(count: int, chances: Sequence[float]) -> float:
    """That at least so many of independent events happen: the tail of a Poisson binomial, worked out exactly."""
    happen = [1.0]
    for chance in chances:
        happen = [
            (happen[i] * (1 - chance) if i < len(happen) else 0.0) + (happen[i - 1] * chance if i else 0.0)
            for i in range(len(happen) + 1)
        ]
    return sum(happen[count:])


def repeated(course: Course, student: Student, readings: Sequence[Reading]) -> Repeated | None:
    """Whether a sheet repeats its targets more often than honest work would; None when it does not.

    Args:
        readings: Those of one sheet; only what a check compares with the student's own size is looked at.
    """
    least, limit, asks = _rule()
    checks = {check.reads[0][0]: check for check in checks_of(course) if check.kind == "size" and not check.one_sided}
    values, on, chances = course.values(student), [], []
    for one in readings:
        check, target = checks.get(one.quantity), values.target(one.quantity) if one.quantity in checks else None
        if check is None or one.value is None or not isinstance(target, Fraction):
            continue
        step = instrument(tool_of(check.instrument, course, student), course.folder).graduation
        chances.append(chance_on_target(float(step), float(check.upper - check.lower) / 4))
        if abs(one.value - target) * 2 <= step:
            on.append(one)
    if len(on) < least:
        return None
    chance = at_least(len(on), chances)
    if chance >= limit:
        return None
    times = f"{round(1 / chance, -3):,.0f}" if chance > 1e-9 else "1,000,000,000"
    return Repeated(on[0], len(on), len(chances), chance, asks.format(times=times))
