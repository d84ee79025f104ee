"""The command about how a cabinet is made: prepare."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from course.commands import CourseFolder, say_problems
from course.course import Course, read_course
from lessons.class_sheets import class_sheets
from lessons.packet import Lessons, packet, read_lessons
from rubrics.sheet import write_sheet
from shared.places import Place
from shared.problems import InputRefused, Problem, meant, refuse
from shared.render.document import Document
from shared.render.files import write_file
from shared.render.html import write_html
from shared.render.pdf import write_pdf

app = typer.Typer()


@app.command(rich_help_panel="Lessons")
def prepare(
    course: CourseFolder,
    student: Annotated[str, typer.Option("--student", help="Only this student, by id or name.")] = "",
    operation: Annotated[
        str, typer.Option("--operation", help="Only the sheet of this operation, by name or title.")
    ] = "",
) -> None:
    """Write all documents of a class: a packet and a measurement workbook for each student, and class sheets."""
    read = read_course(course)
    lessons = read_lessons(read)
    only = _operation(lessons, operation) if operation else ""
    problems: list[Problem] = [*read.notes, *lessons.problems]
    packets = _packets(read, lessons, student, only, problems)
    written = list(packets)
    if not student and not only:
        written += _class(read, lessons, problems)
    say_problems(list(dict.fromkeys(problems)))
    _say_written(read, written)
    raise typer.Exit(1 if problems else 0)


def _operation(lessons: Lessons, wanted: str) -> str:
    """The name of an operation written by name or title.

    Raises:
        InputRefused: The cabinet needs no such operation.
    """
    names = {}
    for sheet in lessons.sheets:
        names[sheet[0].operation.name.lower()] = names[sheet[0].operation.title.lower()] = sheet[0].operation.name
    found = names.get(wanted.strip().lower())
    if found is None:
        raise refuse(
            "L030", f"this cabinet has no operation '{wanted}'", meant(wanted, names.values()), Place("lessons")
        )
    return found


def _packets(course: Course, lessons: Lessons, student: str, only: str, problems: list[Problem]) -> Iterator[Path]:
    students = (course.student(student),) if student else course.students
    folder = course.folder / "out" / "packets"
    with typer.progressbar(students, label="Packets", file=sys.stderr) as shown:
        for one in shown:
            made = packet(course, one, lessons, only)
            problems += made.problems
            name = f"{made.file_name}-{only.replace(' ', '-')}" if only else made.file_name
            yield from _written(folder / name, made.document, problems)
            if not only:
                yield write_sheet(course, one, course.folder / "out" / "sheets" / f"{made.file_name}.xlsx")


def _class(course: Course, lessons: Lessons, problems: list[Problem]) -> Iterator[Path]:
    for sheet in class_sheets(course, lessons):
        yield from _written(course.folder / "out" / "class" / sheet.file_name, sheet.document, problems)


def _written(path: Path, document: Document, problems: list[Problem]) -> Iterator[Path]:
    """The document as HTML and PDF; one that cannot be printed is reported and the HTML still written."""
    yield write_file(path.with_name(f"{path.name}.html"), write_html(document))
    try:
        pdf = write_pdf(document)
    except InputRefused as refused:
        problems += refused.problems
        return
    yield write_file(path.with_name(f"{path.name}.pdf"), pdf)


def _say_written(course: Course, written: list[Path]) -> None:
    folders: dict[Path, dict[str, int]] = {}
    for path in written:
        counts = folders.setdefault(path.parent, {})
        ending = path.suffix.removeprefix(".").upper()
        counts[ending] = counts.get(ending, 0) + 1
    for folder, counts in folders.items():
        said = ", ".join(f"{count} {ending}" for ending, count in counts.items())
        typer.echo(f"Wrote {said} to {folder}")
