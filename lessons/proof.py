"""Said before wood is bought: lesson files that cannot be used, and work for which the shop offers no machine.

`proof` is one more reader for the command `check`; it stops nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

from course.course import Course
from lessons.class_flow import flow_problems
from lessons.class_sheets import setup_step
from lessons.operation import Operation
from lessons.packet import read_lessons
from lessons.route import barred
from lessons.sessions import session_problems
from shared.places import Place
from shared.problems import InputRefused, Problem


def proof(course: Course) -> tuple[Problem, ...]:
    """What is wrong with lesson files, and which work of this cabinet cannot be done as they have it."""
    lessons = read_lessons(course)
    operations = [sheet[0].operation for sheet in lessons.sheets]
    return (
        *lessons.problems, *session_problems(course, lessons), *flow_problems(course, lessons),
        *_bad_set_up_step(course), *_without_route(course, operations), *_without_machine(course, operations),
    )  # fmt: skip


def _bad_set_up_step(course: Course) -> tuple[Problem, ...]:
    """A `shop.setup_step` that is no length, which would stop the class sheets."""
    try:
        setup_step(course)
    except InputRefused as refused:
        return refused.problems
    return ()


def _without_route(course: Course, operations: list[Operation]) -> Iterator[Problem]:
    """Work that nobody may do by any route: each is barred by the shop, or its machine is not there."""
    for operation in operations:
        closed = barred(course, operation)
        routes = [route for route in operation.routes.values() if route not in closed]
        if any(not route.sign_off or route.sign_off in course.machines for route in routes):
            continue
        tools = ", ".join(route.tool for route in operation.routes.values())
        says = f"'{operation.title}' has no route in this shop: it is done with {tools}"
        do = (
            "Change the plan, write a hand route into an own copy of the operation, "
            "or have it done by the instructor; the packets say so."
        )
        yield Problem("V030", operation.place, says, do, severe=False)


def _without_machine(course: Course, operations: list[Operation]) -> Iterator[Problem]:
    """Machines that the shop does not list though work of this cabinet has no other powered route.

    A shop that lists no machine at all works by hand, and that is not told for each machine.
    """
    if not course.machines:
        return
    missing: dict[tuple[str, ...], list[str]] = {}
    for operation in operations:
        closed = barred(course, operation)
        wanted = [route for route in operation.routes.values() if route.sign_off and route not in closed]
        by_hand = any(not route.sign_off for route in operation.routes.values())
        if by_hand and wanted and not any(route.sign_off in course.machines for route in wanted):
            missing.setdefault(tuple(route.sign_off for route in wanted), []).append(operation.title)
    for machines, titles in missing.items():
        says = f"the shop lists no {' and no '.join(machines)}; by hand alone: {', '.join(titles)}"
        do = f"Add {' or '.join(repr(name) for name in machines)} to shop.machines, or count on the time by hand."
        yield Problem("V031", Place("course.yaml"), says, do, severe=False)
