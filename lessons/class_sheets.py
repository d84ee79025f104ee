"""Sheets for the whole class: settings of every operation, missing sign-offs, benches, stock.

Students stand on them by id and initials only, since such sheets are pinned up.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from course.course import Course, listed
from course.formula import NUMBER
from course.roster import Student
from lessons.handout import part_labels, unbroken
from lessons.operation import ROUTES, Operation, Route
from lessons.packet import UNITS, Lessons
from lessons.route import barred, choose, is_by_hand, signed_for
from lessons.sequence import Work
from lessons.setups import SetupNumber, setup_numbers
from shared.problems import refuse
from shared.render.document import Document
from shared.render.templates import render_tree
from shared.units import SHOWN, NotALength, Shown, length

STEP = Fraction(1, 20)
"""Settings no further apart share a set-up, where the course does not say. [mm]"""


@dataclass(frozen=True, slots=True)
class Run:
    """Parts that are made at one setting, and the students whose parts they are."""

    parts: str
    """Labels, or what the number is for."""
    students: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting of a machine, and all that is made at it."""

    name: str
    value: str
    block: str
    """What the set-up block reads when it is right; empty for a plain number."""
    runs: tuple[Run, ...]
    count: int
    """Parts, or students where the number is not for single parts."""

    @property
    def students(self) -> tuple[str, ...]:
        """Everybody who is served, each once."""
        return tuple(dict.fromkeys(student for run in self.runs for student in run.students))


@dataclass(frozen=True, slots=True)
class OperationSettings:
    """The settings of one operation at one machine."""

    number: int
    title: str
    tool: str
    rows: tuple[SettingRow, ...]
    separate: int
    """Settings there would be if each student set each number anew."""


@dataclass(frozen=True, slots=True)
class MachinePage:
    """The settings of one machine, in the order of the work."""

    station: str
    operations: tuple[OperationSettings, ...]


@dataclass(frozen=True, slots=True)
class WayRow:
    """An operation that is not done the same way by all."""

    number: int
    title: str
    ways: tuple[str, ...]
    """Each route with its students."""


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
    cut_list: str
    """Which list was handed out, and whether it still holds."""


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


def setup_step(course: Course) -> Fraction:
    """How far apart settings may be that share a set-up (`shop: {setup_step: 0.05 mm}`). [mm]

    Raises:
        InputRefused: It is no length, or less than nothing.
    """
    text = course.settings.get("shop.setup_step")
    if text is None or text.empty:
        return STEP
    try:
        step = length(text.text)
    except NotALength as error:
        raise refuse("L032", f"shop.setup_step: {error}", "Write it as 0.05 mm.", text.place) from None
    if step < 0:
        raise refuse("L032", f"shop.setup_step is '{text.text}'", "Write it as 0.05 mm, or 0 mm.", text.place)
    return step


@dataclass(frozen=True)
class _Asked:
    """A number that one student needs, and the parts it is for."""

    value: Fraction
    number: SetupNumber
    student: Student
    parts: tuple[str, ...]
    """Labels of parts; none where the number is not for single parts."""
    of: tuple[str, ...]
    """What it is for where it is not for single parts; an empty text when that needs no words."""


def machines(course: Course, lessons: Lessons) -> tuple[MachinePage, ...]:
    """A page for every machine, in the order in which it is first used; students with equal settings together.

    What is set by hand is on each student's own sheet.
    """
    shown, step = class_units(course), setup_step(course)
    pages: dict[str, list[OperationSettings]] = {}
    for number, works in enumerate(lessons.sheets, 1):
        for route, students in _by_route(course, works[0].operation).items():
            if not route.sign_off:
                continue
            rows, separate = _setting_rows(course, works, route, students, shown, step)
            if rows:
                made = OperationSettings(number, works[0].operation.title, route.tool, rows, separate)
                pages.setdefault(route.station, []).append(made)
    return tuple(MachinePage(station, tuple(found)) for station, found in pages.items())


def _by_route(course: Course, operation: Operation) -> dict[Route, list[Student]]:
    """Routes with their students; who has none is served where the instructor does it."""
    offered = [operation.routes[n] for n in ROUTES if n in operation.routes]
    open_to_all = [route for route in offered if route not in barred(course, operation)]
    found: dict[Route, list[Student]] = {}
    for student in course.students:
        route = choose(course, student, operation).route or next(iter(open_to_all), None)
        if route:
            found.setdefault(route, []).append(student)
    return {route: found[route] for route in offered if route in found}


def ways(course: Course, lessons: Lessons) -> Iterator[WayRow]:
    """Operations that are not done the same way by all, each way with its students."""
    for number, works in enumerate(lessons.sheets, 1):
        groups: dict[str, list[Student]] = {}
        for student in course.students:
            route = choose(course, student, works[0].operation).route
            way = f"{route.station}, {route.tool}" if route else "with the instructor"
            groups.setdefault(way, []).append(student)
        if len(groups) > 1:
            found = tuple(f"{way}: {_listed(students)}" for way, students in groups.items())
            yield WayRow(number, works[0].operation.title, found)


def _setting_rows(
    course: Course, works: Sequence[Work], route: Route, students: Sequence[Student], shown: Shown, step: Fraction
) -> tuple[tuple[SettingRow, ...], int]:
    """One row for each number and value, whatever it is for, and how many settings they replace."""
    asked: dict[tuple[str, str], list[_Asked]] = {}
    titles = part_labels(course)
    for student in students:
        values = course.values(student)
        for work in works:
            single = {s.name for s in work.operation.setups if s.each in ("part", "male")}
            for number in setup_numbers(work, course.cabinet, values, route.name):
                parts = tuple(unbroken(titles[t]) for t in number.of) if number.name in single else ()
                of = _for(number, work, works)
                one = _Asked(number.value, number, student, parts, of)
                asked.setdefault((number.name, number.where), []).append(one)
    rows = [
        _row(name, group, course, shown)
        for (name, _), found in asked.items()
        for group in together_within(found, step)
    ]
    return tuple(rows), sum(len(one.parts or one.of) for found in asked.values() for one in found)


def together_within(asked: Iterable[_Asked], step: Fraction) -> Iterator[list[_Asked]]:
    """Numbers in rising order, parted where a group would span more than the step."""
    group: list[_Asked] = []
    for one in sorted(asked, key=lambda one: one.value):
        if group and one.value - group[0].value > step:
            yield group
            group = []
        group.append(one)
    if group:
        yield group


def _row(name: str, group: Sequence[_Asked], course: Course, shown: Shown) -> SettingRow:
    """A row set to the middle of its group."""
    number = replace(group[0].number, value=(group[0].value + group[-1].value) / 2)
    mine: dict[Student, list[str]] = {}
    for student in course.students:
        if found := [part for one in group if one.student == student for part in one.parts or one.of]:
            mine[student] = list(dict.fromkeys(found))
    runs: dict[str, list[Student]] = {}
    for student, parts in mine.items():
        runs.setdefault(", ".join(parts), []).append(student)
    return SettingRow(
        name, number.shown(shown), "" if number.dimension == NUMBER else shown.fine(number.value),
        tuple(Run(parts, tuple(map(marked, students))) for parts, students in runs.items()),
        sum(map(len, mine.values())),
    )  # fmt: skip


def _for(number: SetupNumber, work: Work, works: Sequence[Work]) -> tuple[str, ...]:
    if number.of:
        return number.of
    several = len({assembly.name for one in works for assembly in one.assemblies}) > 1
    return tuple(assembly.title for assembly in work.assemblies) if several else ("",)


def lacking(course: Course, lessons: Lessons) -> Iterator[LackRow]:
    """Machines and endorsements for which somebody has no complete sign-off on the day of issue."""
    for machine in (one for one in (*course.machines, *course.endorsements) if one not in course.forbidden):
        missing = [
            f"{marked(student)} ({found.missing})"
            for student in course.students
            if not (found := course.permission(student, machine)).allowed
        ]
        if missing:
            waiting = [
                sheet[0].operation.title
                for sheet in lessons.sheets
                if not is_by_hand(course, sheet[0].operation)
                and any(machine in signed_for(course, route) for route in sheet[0].operation.routes.values())
            ]
            yield LackRow(machine, "; ".join(missing), "; ".join(waiting))


def benches(course: Course) -> Iterator[BenchRow]:
    """Students in the order of their benches."""
    for student in sorted(course.students, key=_bench_order):
        last = listed(course, student)
        yield BenchRow(student.bench, marked(student), student.shown.unit, last.words if last else "none yet")


def _bench_order(student: Student) -> tuple[bool, int, str, str]:
    number = int(student.bench) if student.bench.isdecimal() else 0
    return not student.bench.isdecimal(), number, student.bench, student.id


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
        "settings": ("Settings of the class", _settings(course, lessons)),
        "sign-offs": ("Sign-offs that are missing", {"rows": tuple(lacking(course, lessons))}),
        "benches": ("Benches", {"rows": tuple(benches(course))}),
        "stock": ("Stock of each student", {"rows": tuple(stock(course))}),
    }
    return tuple(
        ClassSheet(name, _document(course, lessons, name, title, found)) for name, (title, found) in rows.items()
    )


def _settings(course: Course, lessons: Lessons) -> dict[str, Any]:
    step = class_units(course).fine(setup_step(course))
    return {"machines": machines(course, lessons), "ways": tuple(ways(course, lessons)), "step": step}


def _document(course: Course, lessons: Lessons, name: str, title: str, rows: dict[str, Any]) -> Document:
    template = f"class_{name.replace('-', '_')}.md.j2"
    shared = {"title": title, "units": UNITS[class_units(course).unit], "date": course.date}
    tree = render_tree(template, {**shared, **rows}, lessons.templates)
    return Document(f"{course.title}: {title}", title, course.id, tree, course.paper, landscape=name == "settings")
