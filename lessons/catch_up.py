"""What a student who missed a session has to catch up: demonstrations, own work, numbers, and what releases it.

A page speaks of one student alone; of the others it knows what most of them set, and no name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from course.course import Course
from course.quantities import Origin
from course.roster import Student
from lessons.class_flow import ClassFlow, next_slots, outlook
from lessons.handout import OperationPage, operation_page
from lessons.operation import Route
from lessons.packet import Lessons
from lessons.route import choose
from lessons.sequence import Work
from lessons.sessions import missed_by, sheets_of
from lessons.setups import SetupNumber, readings, setup_numbers
from rubrics.fit_rows import FitRow, fit_rows
from shared.render.document import Document
from shared.render.templates import render_tree


@dataclass(frozen=True, slots=True)
class Demonstration:
    """A demonstration at a machine, and what to look at."""

    sheet: int
    title: str
    way: str
    sign_off: str
    right: tuple[str, ...]
    """Signs that it is right, as Markdown."""
    wrong: tuple[str, ...]
    """Typical mistakes, as Markdown."""


@dataclass(frozen=True, slots=True)
class Own:
    """An operation to do oneself, as finished text."""

    sheet: int
    title: str
    way: str
    """Empty when it is done with the instructor."""
    minutes: str
    after: str
    """Checks that must be passed before it."""
    releases: str
    """The check that releases the next step, and what has to dry; empty when there is neither."""
    done: bool
    """Whether everything that is read at its end has been read."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number to set at a machine, as finished text; those of the bench stand on the sheets."""

    sheet: int
    name: str
    of: str
    most: str
    """What most of the class set, by the same route; empty where the student's own way differs."""
    own: str


@dataclass(frozen=True, slots=True)
class Missed:
    """One session that was missed."""

    number: int
    date: str
    demonstrations: tuple[Demonstration, ...]
    work: tuple[Own, ...]
    numbers: tuple[Number, ...]
    minutes: int
    """Of the work that is not done yet, an estimate."""


def catch_up(course: Course, student: Student, lessons: Lessons, flow: ClassFlow) -> Document | None:
    """The catch-up page of a student; None for one who missed nothing."""
    missed = missed_sessions(course, student, lessons)
    if not missed:
        return None
    filled = {
        "missed": missed, "student": student, "course": course, "large": student.large_print,
        "slots": [line for one in missed for line in next_slots(flow, student, one.number)],
        "outlook": outlook(flow, student),
    }  # fmt: skip
    tree = render_tree("catch_up.md.j2", filled, lessons.templates)
    return Document(
        f"{course.title}: catching up, {student.name}",
        f"{student.name}, bench {student.bench}" if student.bench else student.name, course.id, tree, course.paper,
        student.large_print,
    )  # fmt: skip


def missed_sessions(course: Course, student: Student, lessons: Lessons) -> tuple[Missed, ...]:
    """Every session a student missed, in order."""
    numbers = missed_by(course, student)
    rows = fit_rows(course, student) if numbers else ()
    return tuple(_missed(course, student, lessons, number, rows) for number in sorted(numbers))


def _missed(course: Course, student: Student, lessons: Lessons, session: int, rows: Sequence[FitRow]) -> Missed:
    demonstrations, work, minutes = [], [], 0
    numbers: list[Number] = []
    for number in sheets_of(course, lessons, session):
        works = lessons.sheets[number - 1]
        route = choose(course, student, works[0].operation).route
        page = operation_page(course, student, works, number, rows)
        own = _own(course, student, works, page)
        work.append(own)
        if route and not own.done:
            minutes += _minutes(student, route)
        if route and route.powered:
            numbers += _numbers(course, student, works, number, route.name)
            demonstrations.append(
                Demonstration(number, page.title, page.way, route.sign_off, page.right, page.mistakes)
            )
    return Missed(
        session, course.sessions[session - 1], tuple(demonstrations), tuple(work), tuple(numbers), minutes
    )  # fmt: skip


def _minutes(student: Student, route: Route) -> int:
    """How long a student plans for it, an estimate."""
    return ceil(route.minutes * student.time_factor)


def _own(course: Course, student: Student, works: Sequence[Work], page: OperationPage) -> Own:
    operation, values = works[0].operation, course.values(student)
    route = choose(course, student, operation).route
    wanted = [name for work in works for name in readings(work, course.cabinet)]
    return Own(
        page.number, page.title, page.way, str(_minutes(student, route)) if route else "",
        ", ".join(dict.fromkeys(name for one in page.releases for name in one.checks.split(", "))),
        ", ".join((*(name.replace("_", " ") for name in operation.hold), *(["it is dry"] if operation.cures else []))),
        bool(wanted) and all(values.origin(name) is Origin.READING for name in wanted),
    )  # fmt: skip


def _numbers(course: Course, student: Student, works: Sequence[Work], sheet: int, route: str) -> Iterator[Number]:
    """Own numbers beside those that most of the class set by the same route; equal ones on one line.

    What a number is for is said where there are several of its name.
    """
    labels = _labels(course)
    found: dict[str, dict[tuple[str, str], list[str]]] = {}
    for work in works:
        most = _most(course, work, route)
        for number in setup_numbers(work, course.cabinet, course.values(student), route):
            common = most.get((number.name, number.of))
            texts = (common.shown(student.shown) if common else "", number.shown(student.shown))
            of = [labels.get(title, title) for title in number.of] or [one.title for one in work.assemblies]
            found.setdefault(number.name, {}).setdefault(texts, []).extend(of)
    for name, lines in found.items():
        for (usual, own), of in lines.items():
            yield Number(sheet, name, ", ".join(dict.fromkeys(of)) if len(lines) > 1 else "", usual, own)


def _labels(course: Course) -> dict[str, str]:
    """The label of each part by its title alone, and by assembly and title."""
    found = {}
    for part in course.cabinet.parts:
        label = part.label.replace("-", "\u2011")
        found[part.title] = found[f"{course.cabinet.assemblies[part.assembly].title} {part.title}"] = label
    return found


def _most(course: Course, work: Work, route: str) -> dict[tuple[str, tuple[str, ...]], SetupNumber]:
    """Of each number, by what it is for, the one that most students who go this way set."""
    counts: dict[tuple[str, tuple[str, ...]], Counter[Fraction]] = {}
    found: dict[tuple[str, tuple[str, ...], Fraction], SetupNumber] = {}
    for other in course.students:
        chosen = choose(course, other, work.operation).route
        if chosen is None or chosen.name != route:
            continue
        for number in setup_numbers(work, course.cabinet, course.values(other), route):
            counts.setdefault((number.name, number.of), Counter())[number.value] += 1
            found[number.name, number.of, number.value] = number
    return {key: found[*key, max(sorted(count), key=count.__getitem__)] for key, count in counts.items()}
