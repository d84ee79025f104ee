"""All documents of a class, written into the course's folder `out`."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from course.course import Course
from lessons.catch_up import catch_up, session_problems
from lessons.class_sheets import class_sheets
from lessons.instructor import instructor_copy
from lessons.packet import Lessons, packet, read_lessons
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


def prepare_course(
    course: Course, student: str = "", operation: str = "", told: Callable[[str], None] = lambda name: None
) -> Prepared:
    """Write a packet, a measuring workbook and a catch-up page for each student, and the sheets of the class.

    What cannot be made is reported; everything else is made.

    Args:
        course: As read.
        student: Only this student, by id or name, and no class sheets; empty for all.
        operation: Only the sheet of this operation, by name or title, and nothing else; empty for whole packets.
        told: Called with the name of each student when his or her papers are written.

    Raises:
        InputRefused: No such student or operation, or the folder cannot be written to.
    """
    lessons = read_lessons(course)
    only = operation_name(lessons, operation) if operation else ""
    problems: list[Problem] = [*course.notes, *lessons.problems, *session_problems(course, lessons)]
    written: list[Path] = []
    for one in (course.student(student),) if student else course.students:
        made = packet(course, one, lessons, only)
        problems += made.problems
        name = f"{made.file_name}-{safe_name(only)}" if only else made.file_name
        written += _written(course, Path("packets") / name, made.document, problems)
        if not only:
            written.append(write_sheet(course, one, course.folder / "out" / "sheets" / f"{name}.xlsx"))
            missed = catch_up(course, one, lessons)
            if missed:
                written += _written(course, Path("catch-up") / name, missed, problems)
        told(one.name)
    if not student and not only:
        for sheet in class_sheets(course, lessons):
            written += _written(course, Path("class") / sheet.file_name, sheet.document, problems)
        written += _written(course, Path("class") / "instructor", instructor_copy(course, lessons), problems)
    return Prepared(tuple(written), tuple(dict.fromkeys(problems)))


def operation_name(lessons: Lessons, wanted: str) -> str:
    """The name of an operation written by name or title.

    Raises:
        InputRefused: The cabinet needs no such operation.
    """
    found = lessons.named().get(wanted.strip().lower())
    if found is None:
        names = [sheet[0].operation.name for sheet in lessons.sheets]
        says = f"this cabinet has no operation '{wanted}'"
        raise refuse("L030", says, meant(wanted, names), Place("lessons"))
    return lessons.sheets[found - 1][0].operation.name


def _written(course: Course, name: Path, document: Document, problems: list[Problem]) -> Iterator[Path]:
    """The document as HTML and PDF; one that cannot be printed is reported and the HTML still written.

    Args:
        course: Gives the folder and the words.
        name: Within the folder `out`, without ending.
    """
    path, worded = course.folder / "out" / name, course.wording.document(document)
    yield write_file(path.with_name(f"{path.name}.html"), write_html(worded))
    try:
        pdf = write_pdf(worded)
    except InputRefused as refused:
        problems += refused.problems
        return
    yield write_file(path.with_name(f"{path.name}.pdf"), pdf)
