"""The route of one student for one operation: by machine, by router or by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from course.course import Course
from course.roster import Student
from course.signoffs import Permission
from lessons.operation import ROUTES, Operation, Route
from shared.places import Place
from shared.problems import Problem, meant

HAND = "hand"


@dataclass(frozen=True, slots=True)
class Chosen:
    """The route of one student for one operation."""

    route: Route | None
    """None when the student may only do it with the instructor."""
    machine: str
    """Machine or endorsement without a sign-off; empty when nothing is missing."""
    missing: str
    barred: tuple[str, ...]
    """Tools of the routes that the shop offers to nobody."""


def barred(course: Course, operation: Operation) -> tuple[Route, ...]:
    """Routes of an operation that the shop offers to nobody."""
    by_hand = is_by_hand(course, operation)
    return tuple(
        route
        for name, route in operation.routes.items()
        if route.sign_off in course.forbidden or (by_hand and name != HAND)
    )


def is_by_hand(course: Course, operation: Operation) -> bool:
    """Whether the shop allows an operation by hand alone."""
    return is_named(operation, course.hand_only)


def is_named(operation: Operation, names: Iterable[str]) -> bool:
    """Whether an operation is among some given by name or title."""
    return bool(operation.called & {name.lower() for name in names})


def choose(course: Course, student: Student, operation: Operation) -> Chosen:
    """The first route, in the order machine, router, hand, that this student may use on the day of issue."""
    wanted = "all" in student.hand_route or is_named(operation, student.hand_route)
    chosen_hand = wanted and HAND in operation.routes
    not_here = barred(course, operation)
    tools = tuple(route.tool for route in not_here)
    machine = missing = ""
    for name in (HAND,) if chosen_hand else ROUTES:
        route = operation.routes.get(name)
        if route is None or route in not_here:
            continue
        lacks = [(name, found.missing) for name, found in _permissions(course, student, route) if not found.allowed]
        if not lacks:
            return Chosen(route, machine, missing, tools)
        if not machine:
            machine, missing = lacks[0]
    return Chosen(None, machine, missing, tools)


def signed_for(course: Course, route: Route) -> tuple[str, ...]:
    """What a route needs a sign-off for: its machine, and its kind of work where the shop asks for that."""
    names = (route.sign_off, route.endorsement if route.endorsement in course.endorsements else "")
    return tuple(name for name in names if name)


def _permissions(course: Course, student: Student, route: Route) -> Iterator[tuple[str, Permission]]:
    for name in signed_for(course, route):
        said = f"{name} endorsement" if name in course.endorsements else name
        yield said, course.permission(student, name)


def unknown_names(course: Course, operations: Mapping[str, Operation]) -> Iterator[Problem]:
    """Names under `shop` that no operation has: a slip would leave the machine allowed."""
    work = {route.endorsement for operation in operations.values() for route in operation.routes.values()} - {""}
    for wanted in course.endorsements:
        if wanted not in work:
            says = f"shop.endorsements names '{wanted}', and no operation asks for it"
            yield Problem("L031", Place("course.yaml"), says, meant(wanted, work))
    known = {name for operation in operations.values() for name in (operation.name, operation.title)}
    called = {name for operation in operations.values() for name in operation.called}
    for student in course.students:
        for wanted in sorted(student.hand_route - {"all"}):
            if wanted.lower() not in called:
                says = f"{student.id} is to do '{wanted}' by hand, and no operation is called so"
                yield Problem("L036", Place("roster.csv", student.place.line), says, meant(wanted, known))
    for wanted in course.hand_only:
        if wanted.lower() not in called:
            says = f"shop.hand_only names '{wanted}', and no operation is called so"
            yield Problem("L031", Place("course.yaml"), says, meant(wanted, known))
