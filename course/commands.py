"""Commands about what is to be built: check, cutlist, why, mark, changes, remedy."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from course.absurd import absurd
from course.changes import change_lines, changes, course_shown, edited, hand_out, stale
from course.course import Course, size_names
from course.course_folder import read_course
from course.cutlist import CutRow, cut_rows
from course.moisture import moisture_lines
from course.proof import proof
from course.quantities import Origin, Value, Values, WhyLine
from course.readings import STATES
from course.roster import Student
from shared.places import Place
from shared.problems import Problem, meant, refuse
from shared.terminal import wrapped, wrapped_text
from shared.units import Shown, decimal

app = typer.Typer()
PANEL = "Course"


@dataclass(frozen=True, slots=True)
class Above:
    """What the floors above this one add to its commands; the front door hands it over."""

    proofs: Callable[[Course], Sequence[Problem]] = lambda course: ()
    """More to look at in `check`."""
    budget: Callable[[Course, Student, str], Sequence[str]] = lambda course, student, quantity: ()
    """Which readings count most for a size, as lines of `why --moves`."""


def _is_day(on: str) -> None:
    """Refuse a date that is none: it goes into the log, which is never changed."""
    if on:
        try:
            datetime.date.fromisoformat(on)
        except ValueError:
            says = f"--on is '{on}', which is not a date"
            raise refuse("C034", says, "Write it as 2026-10-05.") from None


CourseFolder = Annotated[Path, typer.Argument(help="Folder with course.yaml, plan.yaml and roster.csv.")]
StudentName = Annotated[str, typer.Argument(help="Id or name of a student.")]


def say_problems(problems: Sequence[Problem]) -> None:
    """Print problems on standard error, each with what to do below it."""
    for problem in problems:
        typer.echo(problem_text(problem), err=True)


def problem_text(problem: Problem) -> str:
    """A problem broken for a terminal: file and line come first, what to do stands in."""
    says, _, do = str(problem).partition("\n")
    return f"{wrapped(says, hang=8)}\n{wrapped_text(do)}"


@app.command(rich_help_panel=PANEL)
def check(context: typer.Context, course: CourseFolder) -> None:
    """Proof-read a course folder before wood is bought: plan, roster, stock and sign-offs, all problems at once."""
    read = read_course(course)
    found = [*read.notes, *proof(read), *edited(read), *_above(context).proofs(read)]
    say_problems(found)
    cabinet = read.cabinet
    typer.echo(
        f"{read.title}: {len(cabinet.assemblies)} assemblies, {len(cabinet.parts)} parts, "
        f"{len(cabinet.graph.quantities)} sizes, {len(read.students)} students. "
        + (f"{len(found)} to look at." if found else "Nothing is wrong.")
    )
    raise typer.Exit(1 if found else 0)


def _above(context: typer.Context) -> Above:
    return context.obj or Above()


@app.command(rich_help_panel=PANEL)
def why(
    context: typer.Context,
    course: CourseFolder,
    student: StudentName,
    quantity: Annotated[str, typer.Argument(help="Name of a size, as in door.rail.top.length.")],
    moves: Annotated[
        bool,
        typer.Option(
            "--moves", metavar="", help="Also show what moves it and by how much, and which readings count most."
        ),
    ] = False,
) -> None:
    """Show where a size comes from: formulas, plan lines, readings and tables, with values."""
    read = read_course(course)
    person = read.student(student)
    values = read.values(person)
    names = size_names(read.cabinet)
    if quantity not in names:
        raise refuse("Q010", f"there is no size '{quantity}'", meant(quantity, names), Place("plan.yaml"))
    for line in values.why(quantity):
        typer.echo(wrapped(why_text(line, read, person.shown)))
    for text in moisture_lines(read, person, values, tuple(line.name for line in values.why(quantity))):
        typer.echo(wrapped(text))
    if moves:
        typer.echo("\nOne more of each of these moves it by:")
        found = sorted(values.moves(quantity).items(), key=lambda item: (-abs(item[1]), item[0]))
        for name, amount in found:
            typer.echo(f"  {decimal(amount, 3):>7}  {name}{_is_read(name, values)}")
        for text in _above(context).budget(read, person, quantity):
            typer.echo(wrapped(text))


def _is_read(name: str, values: Values) -> str:
    """Whether a size is read by somebody, as the end of a line."""
    if values.origin(name) in (Origin.READING, Origin.CUT):
        return f", {values.origin(name).value}"
    return ", not read yet" if values.graph[name].read else ""


def why_text(line: WhyLine, course: Course, shown: Shown) -> str:
    """One line of the chain, indented by its depth."""
    value = shown_value(line.value, course.cabinet.graph[line.name].dimension, shown)
    text = f"{'  ' * line.depth}{line.name} = {value}"
    if line.target is not None:
        should = shown_value(line.target, course.cabinet.graph[line.name].dimension, shown)
        text += f" (should be {should})" if should != value else ""
    if line.formula:
        text += f" = {line.formula}"
    source = f"{line.origin.value}: {line.place}" if not line.formula else str(line.place)
    return text + f"   [{source}{', ' + line.note if line.note else ''}]"


def shown_value(value: Value, dimension: int, shown: Shown) -> str:
    """A value with its unit, a number without one, or a word."""
    if not isinstance(value, Fraction):
        return value
    return shown.size(value) if dimension == 1 else decimal(value, 5)


@app.command(rich_help_panel=PANEL)
def cutlist(
    course: CourseFolder,
    student: StudentName,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="File to write: .html, .pdf, .xlsx or .csv; by default it is printed here."
        ),
    ] = None,
) -> None:
    """Print a student's cut list, from the real stock and the latest readings."""
    from course.cutlist_files import table_text, write_cutlist

    read = read_course(course)
    person = read.student(student)
    rows = cut_rows(read, person)
    if out is None:
        typer.echo(table_text(read, person, rows))
    else:
        typer.echo(f"Wrote {write_cutlist(read, person, rows, out)}")
    wrong = absurd(read, person)
    say_problems(wrong)
    raise typer.Exit(1 if wrong or _attention(rows) else 0)


def _attention(rows: Sequence[CutRow]) -> bool:
    return any(row.consequence for row in rows)


@app.command(rich_help_panel=PANEL)
def mark(
    course: CourseFolder,
    student: StudentName,
    part: Annotated[str, typer.Argument(help="Part by name or label, as in door.stile.left or D-SL.")],
    state: Annotated[str, typer.Argument(help="One of " + ", ".join(STATES) + ".")],
    by: Annotated[str, typer.Option(metavar="NAME", help="Who says so.")] = "",
    on: Annotated[str, typer.Option(metavar="DATE", help="Date, as in 2026-10-05.")] = "",
) -> None:
    """Record that a part is cut, jointed, fitted or glued; from then on it keeps its size."""
    read = read_course(course)
    person = read.student(student)
    _is_day(on)
    if state not in STATES:
        raise refuse("C031", f"there is no state '{state}'", meant(state, STATES))
    new = read.mark(person, part, state, by, on)
    typer.echo(f"{part} of {person.name} is {state}." if new else f"{part} of {person.name} was {state} already.")


@app.command("changes", rich_help_panel=PANEL)
def show_changes(
    course: CourseFolder,
    student: Annotated[str | None, typer.Argument(help="Id or name of a student; without it the whole class.")] = None,
    issue: Annotated[bool, typer.Option("--issue", metavar="", help="Record that the list is handed out now.")] = False,
) -> None:
    """Show what moved since lists were handed out and parts cut, and because of what: a reading, or an edit."""
    read = read_course(course)
    people = (read.student(student),) if student else read.students
    found = [changes(read, person) for person in people]
    if student:
        (person,), (one,) = people, found
        listed = f"{person.name}: {one.listed.words}." if one.listed else f"No list was handed out to {person.name}."
        typer.echo(wrapped(listed))
    else:
        typer.echo(wrapped(f"{read.title}: {stale(read, found)}"))
    for line in change_lines(read, found, person.shown if student else course_shown(read)):
        typer.echo(wrapped(line))
    if issue:
        for person in people:
            typer.echo(f"Recorded list {hand_out(read, person).revision} of {person.name}.")
    raise typer.Exit(1 if any(one.effects or one.gone for one in found) and not issue else 0)


@app.command(rich_help_panel=PANEL)
def remedy(course: CourseFolder, student: StudentName) -> None:
    """Show what can still be done about mistakes that a student's readings show, least loss first."""
    from course.remedies import remedies
    from course.remedy_words import remedy_text

    read = read_course(course)
    person = read.student(student)
    found = remedies(read, person)
    if not found:
        typer.echo(f"The readings of {person.name} ask for no remedy.")
        return
    typer.echo(f"{person.name}: it happens to everyone, and this can still be done.")
    typer.echo("Talk it over before you cut.")
    for one in found:
        typer.echo("\n" + remedy_text(one))
    raise typer.Exit(1)


@app.command(rich_help_panel=PANEL)
def confirm(
    course: CourseFolder,
    student: StudentName,
    number: Annotated[int | None, typer.Argument(help="Number of the reading; without it they are listed.")] = None,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who says so.")] = "",
    on: Annotated[str, typer.Option(metavar="DATE", help="Date, as in 2026-10-05.")] = "",
) -> None:
    """List a student's readings that were kept but left out, or let one of them count."""
    read = read_course(course)
    person = read.student(student)
    _is_day(on)
    held = dict(read.log.held(person.id))
    if number is None:
        for key, one in held.items():
            typer.echo(wrapped(f"{key}: {one.quantity}, place {one.place}: {one.raw} ({one.held}) [{one.where}]"))
        waits = "1 reading waits" if len(held) == 1 else f"{len(held)} readings wait"
        typer.echo(f"{waits} to be confirmed by {person.name} or the instructor." if held else "No reading waits.")
        raise typer.Exit(1 if held else 0)
    if number not in held:
        known = [str(key) for key in held]
        raise refuse("C025", f"no reading {number} of {person.name} waits to be confirmed", meant(str(number), known))
    if held[number].value is None:
        says = f"reading {number} is '{held[number].raw}', which is no length"
        raise refuse("C026", says, "Correct the cell and collect the sheet again.", held[number].where)
    read.log.confirm(number, by, on)
    typer.echo(f"Reading {number} of {person.name} counts now: {held[number].quantity}, {held[number].raw}.")
