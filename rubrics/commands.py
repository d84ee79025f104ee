"""Commands about how well it fits: collect and grade.

Each imports what it needs when it runs, so that a short answer does not wait for what only long ones need.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from course.commands import CourseFolder, say_problems
from course.course import read_course

app = typer.Typer()
PANEL = "Rubrics"


@app.command(rich_help_panel=PANEL)
def collect(
    course: CourseFolder,
    files: Annotated[list[Path], typer.Argument(help="Filled measuring workbooks or CSV files, or folders of them.")],
) -> None:
    """Take measured sheets in: nothing twice, nothing lost, every cell that cannot be read told by its address."""
    from rubrics.intake import collect as take_in

    read = read_course(course)
    found = take_in(read, files)
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
    raise typer.Exit(1 if found.problems or found.questions else 0)


@app.command("grade", rich_help_panel=PANEL)
def grade_course(course: CourseFolder) -> None:
    """Grade what is measured: a gradebook, final marks as CSV, a page of feedback a student, what the class tells."""
    from course.cutlist_files import plain
    from rubrics.class_report import facts, write_class_report
    from rubrics.feedback import write_feedback
    from rubrics.final import FILE as FINAL
    from rubrics.final import final_csv, final_marks
    from rubrics.gradebook import write_gradebook
    from rubrics.grading import attention, grade
    from shared.render.files import write_file

    read = read_course(course)
    grades = grade(read)
    found, out = facts(grades), course / "out"
    typer.echo(f"Wrote {write_file(out / 'gradebook.xlsx', write_gradebook(grades))}")
    typer.echo(f"Wrote {write_file(out / FINAL, final_csv(final_marks(grades)))}")
    pages = write_feedback(grades, out / "feedback")
    typer.echo(f"Wrote {len(pages)} pages of feedback, each as HTML and PDF, to {out / 'feedback'}")
    reports = write_class_report(found, out)
    typer.echo(f"Wrote what the class tells, to hang up and with names, to {', '.join(map(str, reports))}")
    lines = attention(grades)
    if lines:
        typer.echo("To look at:")
    for line in lines:
        typer.echo(plain(f"- {line}"))
    raise typer.Exit(1 if lines else 0)
