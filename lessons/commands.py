"""Commands about how a cabinet is made: prepare, sequence, order, coach; and the demo.

Each imports what it needs when it runs, so that a short answer does not wait for what only long ones need.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from course.commands import CourseFolder, StudentName, say_problems
from course.course_folder import read_course
from shared.terminal import wrapped, wrapped_text

app = typer.Typer()


@app.command(rich_help_panel="Lessons")
def prepare(
    course: CourseFolder,
    student: Annotated[
        list[str] | None,
        typer.Option("--student", metavar="NAME", help="Only this student, by id or name; may come more than once."),
    ] = None,
    operation: Annotated[
        str, typer.Option("--operation", metavar="NAME", help="Only the sheet of this operation, by name or title.")
    ] = "",
    stage: Annotated[
        str,
        typer.Option(
            "--stage", metavar="STAGE", help="Only the sheets and fit checks of stock, case, frame, fitting or finish."
        ),
    ] = "",
    print_file: Annotated[
        bool, typer.Option("--print-file", metavar="", help="Also all packets as one PDF in the order of the benches.")
    ] = False,
) -> None:
    """Write all documents of a class: a packet and a measuring workbook for each student, class sheets, and the order.

    A packet that would be made again just as it is stays as it is.
    """
    from lessons.fresh import folder
    from lessons.layouts import write_order
    from lessons.prepare import prepare_course

    if print_file and student:
        raise typer.BadParameter("--print-file is for the whole class; leave out --student")
    if operation and stage:
        raise typer.BadParameter("--operation and --stage do not go together; leave one out")
    read_from = folder(course) if course.is_dir() else ""
    read = read_course(course)
    wanted = tuple(dict.fromkeys(student or ()))
    for name in wanted:
        read.student(name)  # a name that is unknown is refused before anything is written
    with typer.progressbar(length=len(wanted) or len(read.students), label="Packets", file=sys.stderr) as bar:
        done = [
            prepare_course(read, name, operation, lambda name: bar.update(1), print_file, read_from, stage)
            for name in wanted or ("",)
        ]
    problems = tuple(dict.fromkeys(problem for one in done for problem in one.problems))
    written = tuple(path for one in done for path in one.written)
    kept = sum(len(one.kept) for one in done)
    if not (student or operation or stage):
        ordered = write_order(read)
        problems, written = tuple(dict.fromkeys((*problems, *ordered.problems))), (*written, *ordered.paths)
    say_problems(problems)
    for line in written_lines(written):
        typer.echo(line)
    if kept:
        typer.echo(f"Left {kept} files as they were: nothing they are made from has changed")
    raise typer.Exit(1 if problems else 0)


def written_lines(written: Iterable[Path]) -> list[str]:
    """One line for each folder: how many files of which kind were written to it."""
    folders: dict[Path, dict[str, int]] = {}
    for path in written:
        counts = folders.setdefault(path.parent, {})
        ending = path.suffix.removeprefix(".").upper()
        counts[ending] = counts.get(ending, 0) + 1
    return [
        f"Wrote {', '.join(f'{count} {ending}' for ending, count in counts.items())} to {folder}"
        for folder, counts in folders.items()
    ]


@app.command(rich_help_panel="Lessons")
def order(course: CourseFolder) -> None:
    """Write what to buy for a class, how every sheet is cut, labels, what goes to whom, and what is left over."""
    from lessons.layouts import write_order

    made = write_order(read_course(course))
    say_problems(made.problems)
    for plan in made.order.sheets:
        typer.echo(f"{plan.group.says}: {plan.how_good}. To buy: {plan.buy}.")
    for boards in made.order.boards:
        laid = f"As laid out: {boards.layout.how_good}."
        typer.echo(f"{boards.group.says}: {boards.order} board feet. To buy: {boards.buy}. {laid}")
    for line in written_lines(made.paths):
        typer.echo(line)
    raise typer.Exit(1 if made.problems else 0)


@app.command(rich_help_panel="Lessons")
def sequence(
    course: CourseFolder,
    why: Annotated[
        tuple[str, str] | None,
        typer.Option(
            "--why", metavar="FIRST SECOND", help="Why one operation, by name, title or number, comes before the other."
        ),
    ] = None,
) -> None:
    """Print the order of the work with the sheet of each step, or why one operation comes before another."""
    from lessons.packet import read_lessons, steps_of, why_text

    read = read_course(course)
    lessons = read_lessons(read)
    say_problems(lessons.problems)
    lines = [why_text(lessons, *why)] if why else steps_of(lessons)
    for line in lines:
        typer.echo(wrapped(read.wording.text(line)))
    raise typer.Exit(1 if lessons.problems else 0)


@app.command(rich_help_panel="Start here")
def demo(
    folder: Annotated[Path, typer.Argument(help="A new folder for the invented course.")],
) -> None:
    """Write a whole invented course, prepare, fill in, collect and grade it, and say what to look at first."""
    from lessons.demo import MORE, run_demo

    done = run_demo(folder, typer.echo)
    typer.echo("\nLook at these three first:")
    for number, line in enumerate(done.first, 1):
        typer.echo(wrapped(f"{number}. {line}", hang=3))
    typer.echo(f"\nOpen {folder / 'out' / 'gradebook.xlsx'} and {folder / 'out' / 'packets'}.")
    typer.echo("Then try:")
    for line in MORE:
        typer.echo(f"  fairfit {line.format(folder=folder)}")
    raise typer.Exit(1 if done.first else 0)


@app.command(rich_help_panel="Lessons")
def coach(
    course: CourseFolder,
    student: StudentName,
    operation: Annotated[
        str, typer.Argument(help="Operation by name or title, or what was read, as in tenon or 'front lip'.")
    ],
    reading: Annotated[str, typer.Argument(help="What the test piece reads, as in 6.25 or 15/64.")],
) -> None:
    """Say after a test cut which way to move and how much, or to stop and take a plane."""
    from lessons.coach import advise
    from lessons.handout import deferral
    from lessons.packet import read_lessons

    read = read_course(course)
    found = advise(read, read.student(student), read_lessons(read).sheets, operation, reading)
    for one in found:
        text = f"{one.head}\n  {one.text}" + (f"\n  {one.note}" if one.note else "")
        typer.echo(wrapped_text(read.wording.text(text), hang=0))
    typer.echo(wrapped(deferral("authority"), hang=0))
    raise typer.Exit(1 if any(one.moves for one in found) else 0)
