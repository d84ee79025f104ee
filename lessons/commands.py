"""The command about how a cabinet is made: prepare."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from course.commands import CourseFolder, say_problems
from course.course import read_course
from lessons.demo import run_demo
from lessons.prepare import prepare_course

app = typer.Typer()


@app.command(rich_help_panel="Lessons")
def prepare(
    course: CourseFolder,
    student: Annotated[str, typer.Option("--student", help="Only this student, by id or name.")] = "",
    operation: Annotated[
        str, typer.Option("--operation", help="Only the sheet of this operation, by name or title.")
    ] = "",
) -> None:
    """Write all documents of a class: a packet and a measuring workbook for each student, and class sheets."""
    read = read_course(course)
    count = 1 if student else len(read.students)
    with typer.progressbar(length=count, label="Packets", file=sys.stderr) as bar:
        prepared = prepare_course(read, student, operation, lambda name: bar.update(1))
    say_problems(prepared.problems)
    for line in written_lines(prepared.written):
        typer.echo(line)
    raise typer.Exit(1 if prepared.problems else 0)


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


@app.command(rich_help_panel="Start here")
def demo(
    folder: Annotated[Path, typer.Argument(help="A new folder for the invented course.")],
) -> None:
    """Write a whole invented course, prepare, fill in, collect and grade it, and say what to look at first."""
    done = run_demo(folder, typer.echo)
    typer.echo("\nLook at these three first:")
    for number, line in enumerate(done.first, 1):
        typer.echo(f"{number}. {line}")
    typer.echo(f"\nOpen {folder / 'out' / 'gradebook.xlsx'} and {folder / 'out' / 'packets'}.")
    raise typer.Exit(1 if done.first else 0)
