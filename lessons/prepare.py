"""All documents of a class, written into the course's folder `out`."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from course.changes import edited
from course.course import Course
from course.roster import Student
from lessons.catch_up import catch_up
from lessons.class_flow import class_flow, flow_problems, session_plan
from lessons.class_sheets import class_sheets
from lessons.fresh import OUT, Made, folder, inputs
from lessons.instructor import instructor_copy
from lessons.packet import Lessons, Only, file_name, packet, read_lessons, sheet_named
from lessons.print_file import in_bench_order, joined
from lessons.seasons import seasons_sheet
from lessons.sessions import session_problems
from rubrics.class_sheet import write_class_sheets
from rubrics.sheet import write_sheet
from shared.places import Place
from shared.problems import InputRefused, Problem, meant, refuse
from shared.render.document import Document
from shared.render.files import safe_name, write_file
from shared.render.html import write_html
from shared.render.pdf import write_pdf


@dataclass(frozen=True, slots=True)
class Prepared:
    """What was written, and what needs attention."""

    written: tuple[Path, ...]
    problems: tuple[Problem, ...]
    kept: tuple[Path, ...] = ()
    """Files of packets that would be made again just as they are."""


def prepare_course(
    course: Course, student: str = "", operation: str = "", told: Callable[[str], None] = lambda name: None,
    print_file: bool = False, read_from: str = "", stage: str = "",
) -> Prepared:  # fmt: skip
    """Write a packet, a measuring workbook and a catch-up page for each student, and the sheets of the class.

    What cannot be made is reported; everything else is made.

    Args:
        course: As read.
        student: Only this student, by id or name, and no class sheets; empty for all.
        operation: Only the sheet of this operation, by name or title, and nothing else; empty for whole packets.
        told: Called with the name of each student when his or her papers are written.
        print_file: Also write all packets as one PDF in the order of the benches.
        read_from: The sum over the course folder (`fresh.folder`) from before it was read; then packets from which
            nothing differs are left as they are. Empty to make all.
        stage: Only the sheets and fit checks of this stage of the job, and nothing else; empty for whole packets.

    Raises:
        InputRefused: No such student, operation or stage, or the folder cannot be written to.
    """
    lessons = read_lessons(course)
    only = _only(lessons, operation, stage)
    flow = class_flow(course, lessons)
    problems: list[Problem] = [
        *course.notes, *lessons.problems, *session_problems(course, lessons), *flow_problems(course, lessons),
        *edited(course, in_full=False),
    ]  # fmt: skip
    written: list[Path] = []
    kept: list[Path] = []
    made = Made.of(course)
    for one in (course.student(student),) if student else course.students:
        name = f"{file_name(one)}-{safe_name(only.name)}" if only else file_name(one)
        made_of = inputs(course, one, only.name if only else "", read_from) if read_from else ""
        if read_from and made.is_fresh(name, made_of):
            kept += made.files(name)
        else:
            wrong = len(problems)
            papers = list(_papers(course, one, lessons, only, name, problems))
            written += papers
            made.remember(name, made_of if len(problems) == wrong else "", papers)
        missed = None if only else catch_up(course, one, lessons, flow)
        if missed:
            written += _written(course, Path("catch-up") / name, missed, problems)
        told(one.name)
    if not student and not only:
        for sheet in (*class_sheets(course, lessons), seasons_sheet(course, lessons)):
            written += _written(course, Path("class") / sheet.file_name, sheet.document, problems)
        written += _written(course, Path("class") / "instructor", instructor_copy(course, lessons), problems)
        if course.sessions:
            written += _written(course, Path("class") / "sessions", session_plan(flow), problems)
        try:
            written += write_class_sheets(course, course.folder / OUT / "sheets")
        except InputRefused as refused:
            problems += refused.problems
    if print_file:
        written.append(_print_file(course, only, {*written, *kept}))
    if read_from and read_from == folder(course.folder):
        made.save()
    return Prepared(tuple(written), tuple(dict.fromkeys(problems)), tuple(kept))


def _papers(
    course: Course, student: Student, lessons: Lessons, only: Only | None, name: str, problems: list[Problem]
) -> Iterator[Path]:
    """A student's packet, and the measuring workbook with a whole one."""
    made = packet(course, student, lessons, only)
    problems += made.problems
    yield from _written(course, Path("packets") / name, made.document, problems)
    if not only:
        try:
            yield write_sheet(course, student, course.folder / OUT / "sheets" / f"{name}.xlsx")
        except InputRefused as refused:
            problems += refused.problems


def _print_file(course: Course, only: Only | None, files: set[Path]) -> Path:
    """The packets that were made as one PDF."""
    ending = f"-{safe_name(only.name)}.pdf" if only else ".pdf"
    names = [course.folder / OUT / "packets" / f"{file_name(s)}{ending}" for s in in_bench_order(course)]
    whole = joined([path for path in names if path in files], f"{course.title}: all packets")
    return write_file(course.folder / OUT / "class" / f"all-packets{ending}", whole)


def _only(lessons: Lessons, operation: str, stage: str) -> Only | None:
    """What is printed when it is not everything."""
    if operation:
        return Only(operation=lessons.sheets[sheet_named(lessons, operation) - 1][0].operation.name)
    if not stage:
        return None
    found = list(dict.fromkeys(sheet[0].operation.stage for sheet in lessons.sheets))
    if stage.strip().lower() not in found:
        raise refuse("L033", f"this cabinet has no stage '{stage}'", meant(stage, found), Place("lessons"))
    return Only(stage=stage.strip().lower())


def _written(course: Course, name: Path, document: Document, problems: list[Problem]) -> Iterator[Path]:
    """The document as HTML and PDF; one that cannot be printed is reported and the HTML still written.

    Args:
        course: Gives the folder and the words.
        name: Within the folder `out`, without ending.
    """
    path, worded = course.folder / OUT / name, course.wording.document(document)
    yield write_file(path.with_name(f"{path.name}.html"), write_html(worded))
    try:
        pdf = write_pdf(worded)
    except InputRefused as refused:
        problems += refused.problems
        return
    yield write_file(path.with_name(f"{path.name}.pdf"), pdf)
