"""Readings that leave no wood: what could not be made any more, and the reading that does it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from course.course import Course
from course.formula import RELATIONS
from course.quantities import Origin, Values
from course.roster import Student
from shared.places import Place
from shared.problems import Problem

SIZES = ("length", "width", "thickness")


def absurd(course: Course, student: Student) -> tuple[Problem, ...]:
    """One problem for each reading of a student with which something cannot be made; none without readings."""
    values = course.values(student)
    lost: dict[str, list[str]] = {}
    for what, names in _lost(course, values):
        lost.setdefault(_worst(values, names), []).append(what)
    return tuple(_problem(student, values, name, list(dict.fromkeys(found))) for name, found in lost.items() if name)


def _lost(course: Course, values: Values) -> Iterator[tuple[str, Sequence[str]]]:
    """Assemblies and parts that cannot be, each with the sizes that say so.

    Of the rules those that ask for more than nothing: others hold of a plan exactly, and of readings about.
    """
    for rule in course.cabinet.rules:
        asked = rule.spec.stops and rule.relation == ">"
        if asked and not RELATIONS[rule.relation](rule.left.run(values.all), rule.right.run(values.all)):
            yield rule.scope.draft.name, (*rule.left.names, *rule.right.names)
    for part in course.cabinet.parts:
        names = [name for name in (f"{part.name}.{size}" for size in SIZES) if values.number(name) <= 0]
        if names:
            yield part.label, names


def _problem(student: Student, values: Values, name: str, lost: list[str]) -> Problem:
    given, target = values.given(name), values.target(name)
    size = student.shown.size
    should = f" and should be about {size(target)}" if isinstance(target, Fraction) else ""
    says = (
        f"{student.id}: {name} was read as {size(values.number(name))}{should}; "
        f"with it there can be no {', '.join(lost)}"
    )
    do = "Measure it again and collect the sheet again; until then do not cut what follows from it."
    return Problem("G002", given.place if given else Place("course.db"), says, do)


def _worst(values: Values, names: Sequence[str]) -> str:
    """The reading behind some sizes that is furthest from what it should be; empty when none is behind them."""
    off = {reading: _off(values, reading) for reading in _readings(values, names)}
    return max(off, key=lambda reading: off[reading]) if off else ""


def _off(values: Values, name: str) -> Fraction:
    target = values.target(name)
    return abs(values.number(name) - target) if isinstance(target, Fraction) else Fraction(0)


def _readings(values: Values, names: Sequence[str]) -> Iterator[str]:
    todo, seen = list(names), set(names)
    while todo:
        one = todo.pop()
        if values.origin(one) is Origin.READING:
            yield one
        fresh = [inner for inner in values.inputs(one) if inner not in seen]
        seen.update(fresh)
        todo += fresh
