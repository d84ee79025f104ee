"""Commands about how well it fits: collect, grade, budget."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from course.commands import CourseFolder, StudentName, say_problems
from course.course import read_course, size_names
from course.cutlist_files import plain
from rubrics.budget import budget
from rubrics.feedback import write_feedback
from rubrics.gradebook import write_gradebook
from rubrics.grading import attention, grade
from rubrics.intake import collect as take_in
from shared.places import Place
from shared.problems import meant, refuse
from shared.render.files import write_file
from shared.units import decimal

app = typer.Typer()
PANEL = "Rubrics"


@app.command(rich_help_panel=PANEL)
def collect(
    course: CourseFolder,
    files: Annotated[list[Path], typer.Argument(help="Filled measuring workbooks or CSV files, or folders of them.")],
) -> None:
    """Take measured sheets in: nothing twice, nothing lost, every cell that cannot be read told by its address."""
    read = read_course(course)
    found = take_in(read, files)
    taken = found.taken
    states = f" New states of parts: {found.marked}." if found.marked else ""
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
    """Grade what is measured: a gradebook, and one page of feedback for every student."""
    read = read_course(course)
    grades = grade(read)
    out = course / "out"
    typer.echo(f"Wrote {write_file(out / 'gradebook.xlsx', write_gradebook(grades))}")
    pages = write_feedback(grades, out / "feedback")
    typer.echo(f"Wrote {len(pages)} pages of feedback, each as HTML and PDF, to {out / 'feedback'}")
    lines = attention(grades)
    if lines:
        typer.echo("To look at:")
    for line in lines:
        typer.echo(plain(f"- {line}"))
    raise typer.Exit(1 if lines else 0)


@app.command("budget", rich_help_panel=PANEL)
def show_budget(
    course: CourseFolder,
    student: StudentName,
    quantity: Annotated[str, typer.Argument(help="Name of a size, as in door.built.reveal.")],
) -> None:
    """Show which readings move a size most, so that care goes where it counts."""
    read = read_course(course)
    person = read.student(student)
    names = size_names(read.cabinet)
    if quantity not in names:
        raise refuse("Q010", f"there is no size '{quantity}'", meant(quantity, names), Place("plan.yaml"))
    found, shown = budget(read, person, quantity), person.shown
    size = shown.size(read.values(person).number(quantity))
    typer.echo(f"{quantity} of {person.name}: {read.cabinet.graph[quantity].says}, {size}")
    for share in found.shares:
        typer.echo(
            f"  {shown.fine(share.adds)}  {share.quantity} may be off by {shown.fine(share.allowed)}, "
            f"{decimal(share.moves, 2)} of it arrives"
        )
    typer.echo(f"All at once, the same way: {shown.fine(found.worst_case)}")
    typer.echo(f"As independent errors add up: {shown.fine(Fraction(str(round(found.root_sum_square, 4))))}")
