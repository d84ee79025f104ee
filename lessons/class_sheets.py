"""Sheets for the whole class: settings of every operation, missing sign-offs, benches, stock.

Students stand on them by id and initials only, since such sheets are pinned up.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from course.course import Course
from course.roster import Student
from lessons.packet import UNITS, Lessons
from lessons.route import Chosen, choose
from lessons.sequence import Work
from lessons.setups import SetupNumber, setup_numbers
from shared.render.document import Document
from shared.render.tree import render_tree
from shared.units import SHOWN, Shown


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting, and the students who share it."""

    name: str
    of: str
    value: str
    students: str
    count: int


@dataclass(frozen=True, slots=True)
class OperationSettings:
    """The settings of the class for one operation."""

    number: int
    title: str
    ways: tuple[str, ...]
    """Each route with its students."""
    rows: tuple[SettingRow, ...]


@dataclass(frozen=True, slots=True)
class LackRow:
    """A machine, who may not use it yet, and which operations wait for that."""

    machine: str
    students: str
    waiting: str


@dataclass(frozen=True, slots=True)
class BenchRow:
    """One bench."""

    bench: str
    student: str
    units: str


@dataclass(frozen=True, slots=True)
class StockRow:
    """One stock of one student."""

    student: str
    stock: str
    material: str
    piece: str
    thickness: str


@dataclass(frozen=True, slots=True)
class ClassSheet:
    """A finished sheet and its file name without ending."""

    file_name: str
    document: Document


def marked(student: Student) -> str:
    """Id and initials, as `s01 AF`."""
    initials = "".join(word[0].upper() for word in student.name.split() if word[0].isalnum())
    return f"{student.id} {initials}".strip()


def _listed(students: Iterable[Student]) -> str:
    return ", ".join(marked(student) for student in students)


def class_units(course: Course) -> Shown:
    """How lengths are shown on sheets of the class."""
    return SHOWN[course.text("units", "mm")]


def settings(course: Course, lessons: Lessons) -> Iterator[OperationSettings]:
    """Every operation with the settings of all students, equal ones together."""
    shown = class_units(course)
    for number, works in enumerate(lessons.sheets, 1):
        operation = works[0].operation
        chosen = {student.id: choose(course, student, operation) for student in course.students}
        yield OperationSettings(
            number, operation.title, tuple(_ways(course, chosen)), tuple(_setting_rows(course, works, chosen, shown)),
        )  # fmt: skip


def _ways(course: Course, chosen: dict[str, Chosen]) -> Iterator[str]:
    groups: dict[str, list[Student]] = {}
    for student in course.students:
        route = chosen[student.id].route
        way = f"{route.station}, {route.tool}" if route else "with the instructor"
        groups.setdefault(way, []).append(student)
    for way, students in groups.items():
        yield f"{way}: {'all' if len(students) == len(course.students) else _listed(students)}"


def _setting_rows(
    course: Course, works: Sequence[Work], chosen: dict[str, Chosen], shown: Shown
) -> Iterator[SettingRow]:
    """One row for each number, what it is for, and value; students of equal value share it."""
    found: dict[tuple[str, str], dict[tuple[Fraction, str], list[Student]]] = {}
    for student in course.students:
        route = chosen[student.id].route
        values = course.values(student)
        for work in works:
            for number in setup_numbers(work, course.cabinet, values, route.name if route else "machine"):
                key = (number.name, _for(number, work, works))
                text = number.shown(shown)
                same = found.setdefault(key, {})
                value = next((v for v in same if v[1] == text), (number.value, text))
                same.setdefault(value, []).append(student)
    for (name, of), values_of in found.items():
        for (_, text), students in sorted(values_of.items(), key=lambda item: item[0][0]):
            who = "all" if len(students) == len(course.students) else _listed(students)
            yield SettingRow(name, of, text, who, len(students))


def _for(number: SetupNumber, work: Work, works: Sequence[Work]) -> str:
    if number.of:
        return ", ".join(number.of)
    return ", ".join(a.title for a in work.assemblies) if len(works) > 1 else ""


def lacking(course: Course, lessons: Lessons) -> Iterator[LackRow]:
    """Machines for which somebody has no complete sign-off on the day of issue."""
    for machine in course.machines:
        missing = [
            f"{marked(student)} ({found.missing})"
            for student in course.students
            if not (found := course.permission(student, machine)).allowed
        ]
        if missing:
            waiting = [
                sheet[0].operation.title
                for sheet in lessons.sheets
                if any(route.sign_off == machine for route in sheet[0].operation.routes.values())
            ]
            yield LackRow(machine, "; ".join(missing), "; ".join(waiting))


def benches(course: Course) -> Iterator[BenchRow]:
    """Students in the order of their benches."""
    for student in sorted(course.students, key=_bench_order):
        yield BenchRow(student.bench, marked(student), student.shown.unit)


def _bench_order(student: Student) -> tuple[bool, int, str, str]:
    number = int(student.bench) if student.bench.isdigit() else 0
    return not student.bench.isdigit(), number, student.bench, student.id


def stock(course: Course) -> Iterator[StockRow]:
    """What each student's parts are cut from."""
    shown = class_units(course)
    for student in course.students:
        values = course.values(student)
        for role in course.cabinet.stock:
            yield StockRow(
                marked(student), role, str(values[f"stock.{role}.material"]), student.pieces.get(role, ""),
                shown.size(values.number(f"stock.{role}.thickness")),
            )  # fmt: skip


def class_sheets(course: Course, lessons: Lessons) -> tuple[ClassSheet, ...]:
    """Every sheet of the class, ready to be written."""
    rows: dict[str, tuple[str, dict[str, Any]]] = {
        "settings": ("Settings of the class", {"operations": tuple(settings(course, lessons))}),
        "sign-offs": ("Sign-offs that are missing", {"rows": tuple(lacking(course, lessons))}),
        "benches": ("Benches", {"rows": tuple(benches(course))}),
        "stock": ("Stock of each student", {"rows": tuple(stock(course))}),
    }
    return tuple(
        ClassSheet(name, _document(course, lessons, name, title, found)) for name, (title, found) in rows.items()
    )


def _document(course: Course, lessons: Lessons, name: str, title: str, rows: dict[str, Any]) -> Document:
    template = f"class_{name.replace('-', '_')}.md.j2"
    shared = {"title": title, "units": UNITS[class_units(course).unit], "date": course.date}
    tree = render_tree(template, {**shared, **rows}, lessons.templates)
    return Document(f"{course.title}: {title}", title, course.id, tree, course.paper, landscape=name == "settings")
