"""The route of one student for one operation: by machine, by router or by hand."""

from __future__ import annotations

from dataclasses import dataclass

from course.course import Course
from course.roster import Student
from lessons.operation import ROUTES, Operation, Route


@dataclass(frozen=True, slots=True)
class Chosen:
    """The route of one student for one operation."""

    route: Route | None
    """None when the student may only do it with the instructor."""
    machine: str
    """Machine without a sign-off; empty when nothing is missing."""
    missing: str


def choose(course: Course, student: Student, operation: Operation) -> Chosen:
    """The first route, in the order machine, router, hand, that this student may use on the day of issue."""
    by_hand = bool({operation.name, "all"} & student.hand_route) and "hand" in operation.routes
    machine = missing = ""
    for name in ("hand",) if by_hand else ROUTES:
        route = operation.routes.get(name)
        if route is None:
            continue
        allowed = course.permission(student, route.sign_off) if route.sign_off else None
        if allowed is None or allowed.allowed:
            return Chosen(route, machine, missing)
        if not machine:
            machine, missing = route.sign_off, allowed.missing
    return Chosen(None, machine, missing)
