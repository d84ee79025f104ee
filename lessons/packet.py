"""One student's packet: cover, cut list, a sheet for each operation in order, and the fit-check sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2

from course.course import Course, listed
from course.cutlist import cut_rows
from course.cutlist_files import TEMPLATES, UNITS, cutlist_tree
from course.roster import Student
from lessons.cabinet_drawings import front_view, section
from lessons.cautions import CAUTIONS, SEVERITIES, missing_controls
from lessons.coach import things_of
from lessons.drawings import bench_of
from lessons.handout import (
    CONDENSED,
    CheckRow,
    check_row,
    deferral,
    deferrals,
    operation_page,
    together,
)
from lessons.operation import Operation, Route
from lessons.operation_files import read_operations
from lessons.part_drawings import part_drawing
from lessons.route import choose, unknown_names
from lessons.sequence import Work, sequence, why_before, work_of
from lessons.setups import proof
from rubrics.check_files import read_checks
from rubrics.fit_rows import FitRow, fit_rows, where_to_measure
from rubrics.grading_rules import read_rules
from shared.places import Place
from shared.problems import InputRefused, Problem, meant, refuse
from shared.render.document import Document, Tree
from shared.render.files import safe_name
from shared.render.sketch import Drawing
from shared.render.templates import render_tree
from shared.render.tree import words

OPERATION = "operation.md.j2"
"""The template of an operation's sheet."""


class Templates(jinja2.FileSystemLoader):
    """The templates of a course: a file in its folder `lessons` wins over the built-in one; each is compiled once."""

    def __init__(self, folder: Path | None = None) -> None:
        built_in = [str(files("lessons") / "templates"), TEMPLATES]
        super().__init__([str(folder / "lessons"), *built_in] if folder else built_in)
        self._codes: dict[str, Any] = {}

    def load(
        self, environment: jinja2.Environment, name: str, globals: Mapping[str, Any] | None = None
    ) -> jinja2.Template:
        """As a loader does, but each template is compiled once for all pages."""
        if name not in self._codes:
            source, _, _ = self.get_source(environment, name)
            self._codes[name] = environment.compile(source, name)
        made = environment.template_class
        return made.from_code(environment, self._codes[name], environment.make_globals(dict(globals or {})))


@dataclass(frozen=True)
class Lessons:
    """The operations of a course's cabinet in their order."""

    works: tuple[Work, ...]
    sheets: tuple[tuple[Work, ...], ...]
    """Work that shares one sheet."""
    templates: Templates
    problems: tuple[Problem, ...]
    """What is wrong with lesson files; what is not named there can still be printed."""

    def sheet_of(self, work: Work) -> int:
        """Number of the sheet of a work, from 1."""
        return next(i for i, sheet in enumerate(self.sheets, 1) if work in sheet)

    def named(self) -> dict[str, int]:
        """Number of the sheet by what its operation may be called, in small letters."""
        found: dict[str, int] = {}
        for number, sheet in enumerate(self.sheets, 1):
            found |= dict.fromkeys(sheet[0].operation.called, number)
        return found


def read_lessons(course: Course) -> Lessons:
    """The operations of a course, its own files and the built-in ones."""
    checks = [spec.name for spec in read_checks(course.folder).definitions]
    own = course.folder / "lessons"
    operations, wrong = read_operations(own, checks=checks)
    works, missing = work_of(course.cabinet, operations)
    unclear = proof(works, course.cabinet)
    bad = {problem.place.file for problem in unclear}
    if bad:
        operations, _ = read_operations(own, checks=checks, without=bad)
        works, missing = work_of(course.cabinet, operations)
        bad = {problem.place.file for problem in proof(works, course.cabinet)}
    ordered = tuple(w for w in sequence(works) if w.operation.place.file not in bad)
    return Lessons(
        ordered,
        tuple(together(ordered)),
        Templates(course.folder),
        (*wrong, *missing, *unclear, *unknown_names(course, operations), *things_of(course)[1]),
    )


def sheet_named(lessons: Lessons, wanted: str) -> int:
    """The number of the sheet of an operation written by name, title or number.

    Raises:
        InputRefused: The cabinet needs no such operation.
    """
    text = wanted.strip().lower()
    known = {str(number): number for number in range(1, len(lessons.sheets) + 1)} | lessons.named()
    if text not in known:
        names = [sheet[0].operation.name for sheet in lessons.sheets]
        raise refuse("L030", f"this cabinet has no operation '{wanted}'", meant(wanted, names), Place("lessons"))
    return known[text]


def steps_of(lessons: Lessons) -> Iterator[str]:
    """The order of the work in lines, each with the number of its sheet."""
    for work in lessons.works:
        yield f"{lessons.sheet_of(work):>3}  {work.operation.title}: {', '.join(a.title for a in work.assemblies)}"


def why_text(lessons: Lessons, first: str, then: str) -> str:
    """Why one operation comes before another, each given by name, title or number of its sheet.

    Of an operation that comes up several times the works are taken of which one needs the other.
    """
    sheets = [lessons.sheets[sheet_named(lessons, wanted) - 1] for wanted in (first, then)]
    pairs = [(a, b) for a in sheets[0] for b in sheets[1] if a is not b]
    if not pairs:
        return f"'{first}' and '{then}' are one piece of work."
    linked = [(a, b) for a, b in pairs if a in b.before() or b in a.before()]
    return why_before(*(linked or pairs)[0])


@dataclass(frozen=True, slots=True)
class ContentsRow:
    """One line of the contents: a step of the job and the sheet that tells how."""

    step: int
    sheet: int
    title: str
    of: str


@dataclass(frozen=True, slots=True)
class Cover:
    """The first page of a packet, as finished text."""

    title: str
    student: str
    bench: str
    course: str
    revision: str
    issued: str
    units: str
    invented: bool
    view: Drawing
    sizes: str
    """The drawing in words; empty in large print, where the page is full without it."""
    authority: str
    local: str
    settings: tuple[str, ...]
    rule_numbers: str
    licensed: tuple[str, ...]
    health: str
    limits: tuple[str, ...]
    manual: str
    go_ahead: str
    stop: str
    cautions: tuple[str, ...]
    """Cautions that are the same at every machine, in full."""
    contents: tuple[ContentsRow, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Lines under one heading."""

    title: str
    rows: tuple[CheckRow, ...]


@dataclass(frozen=True, slots=True)
class Packet:
    """A student's finished document and what could not be put into it."""

    student: Student
    document: Document
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Only:
    """What is printed when it is not a whole packet: one operation, or one stage with its fit checks."""

    operation: str = ""
    stage: str = ""

    @property
    def name(self) -> str:
        """For the name of the file."""
        return self.operation or f"{self.stage} stage"

    def takes(self, operation: Operation) -> bool:
        """Whether the sheet of an operation is printed."""
        return operation.name == self.operation or operation.stage == self.stage


def file_name(student: Student) -> str:
    """Name of a student's papers without ending, as `s01-Ada-Fenwick`."""
    return safe_name(f"{student.id}-{student.name}")


def packet(course: Course, student: Student, lessons: Lessons, only: Only | None = None) -> Packet:
    """A student's packet.

    A sheet that cannot be made is left out and reported; all others are made.

    Args:
        course: As read.
        student: Whose packet.
        lessons: Of the course.
        only: Print this alone; None for the whole packet.
    """
    problems: list[Problem] = []
    rows = fit_rows(course, student)
    parts: list[Callable[[], Tree]] = []
    if only is None:
        parts += [
            lambda: _cover(course, student, lessons),
            lambda: cutlist_tree(student, cut_rows(course, student), lessons.templates, listed(course, student)),
            lambda: _parts(course, student, lessons),
        ]
    for number, works in enumerate(lessons.sheets, 1):
        if only is None or only.takes(works[0].operation):
            parts.append(partial(sheet, course, student, lessons, works, number, rows))
    read = rows if only is None else tuple(row for row in rows if row.stage == only.stage)
    if read or only is None:
        parts.append(lambda: _fit_sheet(course, student, lessons, read))
    tree: Tree = []
    for part in parts:
        try:
            made = part()
        except InputRefused as refused:
            problems += refused.problems
            continue
        tree += [{"t": "pagebreak"}, *made] if tree else made
    document = Document(
        f"{course.title}: {student.name}", f"{student.name}, bench {student.bench}" if student.bench else student.name,
        course.id, tree, course.paper, student.large_print,
    )  # fmt: skip
    return Packet(student, document, tuple(problems))


def sheet(
    course: Course, student: Student, lessons: Lessons, works: Sequence[Work], number: int, rows: Sequence[FitRow]
) -> Tree:
    """The sheet of one operation.

    Raises:
        InputRefused: Among others, a sheet of powered work that does not mention all that its machine asks for.
    """
    page = operation_page(course, student, works, number, rows)
    filled = {"page": page, "severities": SEVERITIES, "large": student.large_print}
    tree = render_tree(OPERATION, filled, lessons.templates)
    route = choose(course, student, works[0].operation).route
    if route and route.powered:
        _carries_its_cautions(tree, works, route, page.title)
    return tree


def _carries_its_cautions(tree: Tree, works: Sequence[Work], route: Route, title: str) -> None:
    names = dict.fromkeys(name for work in works for name in work.cautions(route.name))
    lacking = missing_controls(words(tree).replace("\u00a0", " "), names)
    if lacking:
        says = f"the sheet '{title}' does not say what must be said at its machine: {lacking[0].requirement}"
        more = f" {len(lacking) - 1} more are missing." if len(lacking) > 1 else ""
        do = f"Put the cautions back into {OPERATION}; without them the sheet is not printed.{more}"
        raise refuse("L052", says, do, Place(OPERATION))


def _cover(course: Course, student: Student, lessons: Lessons) -> Tree:
    return render_tree("cover.md.j2", {"cover": cover(course, student, lessons)}, lessons.templates)


def _parts(course: Course, student: Student, lessons: Lessons) -> Tree:
    """The cabinet cut through, and each part of another shape with its joints."""
    values, cabinet = course.values(student), course.cabinet
    large = student.large_print
    bench = bench_of(course, student, values, (165.0, 110.0) if large else (80.0, 60.0))
    seen: dict[tuple[object, ...], Drawing] = {}
    for part in cabinet.parts:
        sizes = tuple(values.number(f"{part.name}.{size}") for size in ("length", "width", "thickness"))
        seen.setdefault((part.assembly, part.group, *sizes), part_drawing(bench, part.name, captioned=True))
    through = section(replace(bench, room=(165.0, 110.0 if large else 76.0)))
    filled = {"section": through, "parts": tuple(seen.values()), "units": UNITS[student.shown.unit]}
    return render_tree("parts.md.j2", filled, lessons.templates)


def cover(course: Course, student: Student, lessons: Lessons) -> Cover:
    """The cover of a student's packet."""
    room = (150.0, 105.0) if student.large_print else (150.0, 150.0)
    bench = bench_of(course, student, course.values(student), room)
    view = front_view(bench)
    return Cover(
        course.cabinet.title, student.name, student.bench, course.title, course.cabinet.revision, course.date,
        UNITS[student.shown.unit], course.invented, view, "" if student.large_print else view.alt,
        deferral("authority"), deferral("local_rules"),
        tuple(_safety_settings(course)), deferral("rule_numbers"), deferrals("licensed"), deferral("health"),
        deferrals("limits"), deferral("manual", machine="machine"),
        deferral("go_ahead", instructor=course.instructor or "the instructor"), deferral("stop"),
        tuple(c.text for c in CAUTIONS.values() if c.family in CONDENSED), tuple(_contents(lessons)),
    )  # fmt: skip


def _safety_settings(course: Course) -> Iterator[str]:
    """The instructor's own lines: everything under `safety` in course.yaml."""
    for name, text in course.settings.items():
        if name.startswith("safety.") and not text.empty:
            yield text.text


def _contents(lessons: Lessons) -> Iterator[ContentsRow]:
    for step, work in enumerate(lessons.works, 1):
        titles = ", ".join(dict.fromkeys(a.title for a in work.assemblies))
        yield ContentsRow(step, lessons.sheet_of(work), work.operation.title, titles)


def _fit_sheet(course: Course, student: Student, lessons: Lessons, rows: Sequence[FitRow]) -> Tree:
    groups: dict[str, list[FitRow]] = {}
    for row in rows:
        groups.setdefault(row.stage, []).append(row)
    filled = {
        "groups": [Group(stage.capitalize(), tuple(map(check_row, own))) for stage, own in groups.items()],
        "rule": read_rules(course.folder, course.settings).words,
        "where": where_to_measure(course, rows),
        "units": UNITS[student.shown.unit],
        "large": student.large_print,
    }
    return render_tree("fit_sheet.md.j2", filled, lessons.templates)
