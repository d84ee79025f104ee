"""The instructor's copy: every operation with the numbers of the plan, minutes, sources, what to show and to watch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from course.course import Course
from course.roster import Student
from lessons.cautions import CAUTIONS, Caution
from lessons.class_sheets import class_units
from lessons.handout import CheckRow, OperationPage, SetupRow, cautions_of, operation_page
from lessons.operation import Operation, Route
from lessons.packet import UNITS, Lessons
from lessons.route import barred, signed_for
from lessons.sequence import Work, why_before
from lessons.setups import readings
from rubrics.checks import every_check
from rubrics.fit_rows import FitRow, fit_rows
from shared.render.document import Document
from shared.render.templates import render_tree

READ = "read"
"""Status of a caution whose wording was read in its source."""


@dataclass(frozen=True, slots=True)
class RouteRow:
    """One way to do an operation, as finished text."""

    name: str
    station: str
    tool: str
    sign_off: str
    minutes: int
    """For one student, an estimate."""
    cautions: str
    """Ids of the cautions that are not the same at every machine."""
    barred: bool
    """Whether the shop offers it to nobody."""


@dataclass(frozen=True, slots=True)
class NumberRow:
    """One number of the plan to be set, as finished text."""

    row: SetupRow
    formula: str
    routes: str
    """Routes that set it; empty when all do."""


@dataclass(frozen=True, slots=True)
class OffRow:
    """A reading outside its limits and what it tells."""

    what: str
    over: str
    under: str


@dataclass(frozen=True, slots=True)
class LessonPage:
    """One operation as the instructor sees it, as finished text."""

    number: int
    title: str
    of: str
    parts: str
    stage: str
    releases: str
    """Checks that release the next step."""
    waits: str
    """What has to dry before the next step; empty when nothing has."""
    routes: tuple[RouteRow, ...]
    why: tuple[str, ...]
    """Why it stands where it stands, for each time it is done."""
    numbers: tuple[NumberRow, ...]
    watch: tuple[str, ...]
    """Markdown: the steps that carry a caution, by route."""
    right: tuple[str, ...]
    wrong: tuple[str, ...]
    checks: tuple[CheckRow, ...]
    off: tuple[OffRow, ...]
    notes: str
    """Markdown; empty when there are none."""

    @property
    def minutes(self) -> dict[str, int]:
        """Minutes of each route that the shop offers."""
        return {row.name: row.minutes for row in self.routes if not row.barred}


@dataclass(frozen=True, slots=True)
class SourceRow:
    """A caution with where it comes from."""

    id: str
    severity: str
    text: str
    source: str
    status: str
    """How far it can be trusted, when it was not read in its source."""


def planned_student(course: Course) -> Student:
    """Nobody: the cabinet as it is planned, in the units of the class."""
    shown, first = class_units(course), course.students[0]
    return replace(
        first, id="the plan", name="the plan", bench="", shown=shown, unit=shown.unit, hand="right", large_print=False,
        hand_route=frozenset(), absent=(), choices={}, pieces={},
    )  # fmt: skip


def lesson_pages(course: Course, lessons: Lessons) -> tuple[LessonPage, ...]:
    """Every operation of the cabinet, in order."""
    rows = fit_rows(course, planned_student(course))
    before = dict(zip(lessons.works, (None, *lessons.works), strict=False))
    return tuple(
        _page(course, works, number, rows, [(before[work], work) for work in works])
        for number, works in enumerate(lessons.sheets, 1)
    )


def _page(
    course: Course, works: Sequence[Work], number: int, rows: Sequence[FitRow],
    steps: Sequence[tuple[Work | None, Work]],
) -> LessonPage:  # fmt: skip
    operation = works[0].operation
    closed = {route.name for route in barred(course, operation)}
    pages = {name: planned_page(course, works, number, rows, name) for name in operation.routes}
    first = next(iter(pages.values()))
    pages = {name: page for name, page in pages.items() if name not in closed}
    wanted = {name for work in works for name in readings(work, course.cabinet)}
    return LessonPage(
        number, operation.title, first.of, first.parts, operation.stage,
        ", ".join(name.replace("_", " ") for name in operation.hold),
        "the glue" if operation.glue and operation.cures else "the finish" if operation.cures else "",
        tuple(_route(course, works, route, route.name in closed) for route in operation.routes.values()),
        tuple(why_before(earlier, work) for earlier, work in steps if earlier),
        tuple(_numbers(operation, pages)), tuple(_watch(operation, pages)), first.right,
        tuple(dict.fromkeys(wrong for page in pages.values() or [first] for wrong in page.mistakes)), first.checks,
        tuple(_off(course, wanted)), operation.instructor,
    )  # fmt: skip


def planned_page(
    course: Course, works: Sequence[Work], number: int, rows: Sequence[FitRow], route: str
) -> OperationPage:
    """The sheet of an operation with the numbers of the plan, by one route and whoever may use it."""
    operation = works[0].operation
    only = replace(operation, routes={route: replace(operation.routes[route], sign_off="", endorsement="")})
    alone = [replace(work, operation=only) for work in works]
    return operation_page(course, planned_student(course), alone, number, rows)


def _route(course: Course, works: Sequence[Work], route: Route, closed: bool) -> RouteRow:
    own = [c.id for c in cautions_of(works, route) if c.family in _own(works, route) or c.id in route.cautions]
    signed = " and ".join(signed_for(course, route))
    return RouteRow(route.name, route.station, route.tool, signed, route.minutes, ", ".join(own), closed)


def _own(works: Sequence[Work], route: Route) -> set[str]:
    return {family for work in works for family in work.cautions(route.name)}


def _numbers(operation: Operation, pages: Mapping[str, OperationPage]) -> Iterator[NumberRow]:
    """The numbers of every route; one that several routes set alike stands once."""
    found: dict[SetupRow, list[str]] = {}
    for route, page in pages.items():
        for row in page.setups:
            found.setdefault(replace(row, provisional=False), []).append(route)
    formulas = {(setup.name, setup.where, setup.why): setup.formula.text for setup in operation.setups}
    for row, routes in found.items():
        of = "" if len(routes) == len(pages) else ", ".join(routes)
        yield NumberRow(row, formulas[row.name, row.where, row.why], of)


def _watch(operation: Operation, pages: Mapping[str, OperationPage]) -> Iterator[str]:
    """The steps that carry a caution, with its id."""
    for route, page in pages.items():
        for step, row in zip(operation.routes[route].steps, page.steps, strict=True):
            if step.cautions:
                yield f"**{route} {row.number}** ({', '.join(step.cautions)}): {row.text}"


def _off(course: Course, wanted: set[str]) -> Iterator[OffRow]:
    """What a result over or under its limits tells, each once."""
    found: dict[tuple[str, str, str], None] = {}
    for check in every_check(course):
        if {name for name, _, _ in check.reads} & wanted and (check.over or check.under):
            found[f"{check.group}: {check.what}", check.over, check.under] = None
    yield from (OffRow(*row) for row in found)


def sources(lessons: Lessons) -> tuple[SourceRow, ...]:
    """Every caution that may be printed in a packet of this course, with its source."""
    used: set[str] = set()
    for works in lessons.sheets:
        for route in works[0].operation.routes.values():
            used |= {c.id for c in cautions_of(works, route)}
    return tuple(_source(c) for c in CAUTIONS.values() if c.id in used)


def _source(caution: Caution) -> SourceRow:
    status = "" if caution.status == READ else caution.status
    return SourceRow(caution.id, caution.severity, caution.text, caution.source, status)


def total(pages: Iterable[LessonPage]) -> int:
    """Minutes of the quickest way through all operations for one student."""
    return sum(min(page.minutes.values()) for page in pages if page.minutes)


def instructor_copy(course: Course, lessons: Lessons) -> Document:
    """The instructor's copy as a document.

    Raises:
        InputRefused: A template of the course that cannot be filled.
    """
    pages, used = lesson_pages(course, lessons), sources(lessons)
    filled = {
        "course": course, "pages": pages, "sources": used, "units": UNITS[class_units(course).unit],
        "total": total(pages),
    }  # fmt: skip
    tree = render_tree("instructor.md.j2", filled, lessons.templates)
    return Document(
        f"{course.title}: instructor's copy", "Instructor's copy", course.id, tree, course.paper,
        kept=frozenset(row.source for row in used),
    )  # fmt: skip
