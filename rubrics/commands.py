"""Commands about how well it fits: collect and grade.

Each imports what it needs when it runs, so that a short answer does not wait for what only long ones need.
"""

from __future__ import annotations

import sys
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from course.commands import CourseFolder, say_problems
from course.course import Course
from course.course_folder import read_course
from shared.terminal import wrapped

if TYPE_CHECKING:
    from rubrics.intake import Collected

app = typer.Typer()
PANEL = "Rubrics"


@app.command(rich_help_panel=PANEL)
def collect(
    course: CourseFolder,
    files: Annotated[list[Path], typer.Argument(help="Filled measuring workbooks or CSV files, or folders of them.")],
) -> None:
    """Take measured sheets in: nothing twice, nothing lost, every cell that cannot be read told by its address."""
    from rubrics.intake import collect as take_in

    with _bar("Files", 1) as bar:

        def told(number: int, of: int) -> None:
            bar.length = of
            bar.update(1)

        found = take_in(read_course(course), files, told)
    _say_collected(found)
    raise typer.Exit(1 if found.problems or found.questions else 0)


def _say_collected(found: Collected) -> None:
    """Tell what was taken in, and what was not."""
    taken = found.taken
    states = f" New states of parts: {found.marked}." if found.marked else ""
    states += f" Moistures of parts: {found.moistures}." if found.moistures else ""
    states += f" New judged levels: {found.judged}." if found.judged else ""
    typer.echo(
        f"Files read: {len(found.files)}. Readings: {taken.added} added, {taken.same} the same as before, "
        f"{taken.corrected} corrected.{states}"
    )
    asked = (("could not be taken in", found.problems), ("to look at, taken in as typed", found.questions))
    for word, problems in asked:
        if problems:
            typer.echo(f"{len(problems)} {word}:", err=True)
            say_problems(problems)


def _take_back(course: Course, book: Path) -> bool:
    """What was changed in the gradebook is taken in, and the book kept, before a new one is written over it.

    Args:
        course: Its log grows.
        book: The gradebook; nothing happens when it is not there, or as it was written.

    Returns:
        Whether there is something to look at.
    """
    from rubrics.book_intake import BEFORE, as_written
    from rubrics.intake import collect as take_in
    from shared.render.files import write_file

    if not book.is_file() or as_written(book):
        return False
    found = take_in(course, [book])
    _say_collected(found)
    typer.echo(f"Kept the gradebook as it was saved: {write_file(book.with_name(BEFORE), book.read_bytes())}")
    return bool(found.problems or found.questions)


def _bar(label: str, steps: int) -> AbstractContextManager[Any]:
    """A bar on a terminal that grows with each step."""
    return typer.progressbar(length=steps, label=label, file=sys.stderr)


@app.command("grade", rich_help_panel=PANEL)
def grade_course(course: CourseFolder) -> None:
    """Grade what is measured: a gradebook, final marks as CSV, a page of feedback a student, what the class tells."""
    from course.cutlist_files import plain
    from rubrics.attention import attention
    from rubrics.class_report import facts, write_class_report
    from rubrics.feedback import write_feedback
    from rubrics.final import FILE as FINAL
    from rubrics.final import final_csv, final_marks
    from rubrics.gradebook import TooLarge, write_gradebook
    from rubrics.grading import grade
    from shared.render.files import write_file

    read, out = read_course(course), course / "out"
    asked = _take_back(read, out / "gradebook.xlsx")
    with _bar("Students", 2 * len(read.students)) as bar:
        grades = grade(read, lambda name: bar.update(1))
    found = facts(grades)
    try:
        typer.echo(f"Wrote {write_file(out / 'gradebook.xlsx', write_gradebook(grades))}")
    except TooLarge as refused:
        say_problems(refused.problems)
        asked = True
    typer.echo(f"Wrote {write_file(out / FINAL, final_csv(final_marks(grades)))}")
    with _bar("Pages of feedback", len(read.students)) as bar:
        pages = write_feedback(grades, out / "feedback", lambda name: bar.update(1))
    typer.echo(f"Wrote {len(pages)} pages of feedback, each as HTML and PDF, to {out / 'feedback'}")
    reports = write_class_report(found, out)
    typer.echo(f"Wrote what the class tells, to hang up and with names, to {', '.join(map(str, reports))}")
    lines = attention(grades)
    if lines:
        typer.echo("To look at:")
    for line in lines:
        typer.echo(wrapped(plain(f"- {line}"), hang=2))
    raise typer.Exit(1 if lines or asked else 0)
