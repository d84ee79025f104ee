"""The command line: puts the commands of the parts together."""

from __future__ import annotations

import sys

import typer

import course.commands
import lessons.commands
import rubrics.commands
from course.commands import Above, say_problems
from course.course import Course
from course.roster import Student
from shared.places import Unreadable
from shared.problems import InputRefused, Problem

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    help="Course toolkit of a cabinet-making instructor: cut lists, handouts, fit checks, gradebook.",
)
for part in (course.commands, rubrics.commands, lessons.commands):
    app.add_typer(part.app)


def _proofs(read: Course) -> tuple[Problem, ...]:
    """What `check` looks at besides the course itself."""
    import lessons.proof
    import rubrics.proof

    return (*rubrics.proof.proof(read), *lessons.proof.proof(read))


def _budget(read: Course, student: Student, quantity: str) -> list[str]:
    """What `why --moves` says of the readings that count most."""
    from rubrics.budget import budget_lines

    return budget_lines(read, student, quantity)


ABOVE = Above(_proofs, _budget)
"""What the floors above `course` add to its commands."""


INTERRUPTED = 130
"""Exit code after Ctrl-C, as shells have it."""


def main() -> None:
    """Run the command line; what an instructor can mend is shown without a traceback."""
    try:
        app(obj=ABOVE)
    except InputRefused as refused:
        say_problems(refused.problems)
        sys.exit(2)
    except Unreadable as file:
        say_problems([Problem("P001", file.place, file.says, file.do)])
        sys.exit(2)
    except SystemExit as end:
        if end.code == INTERRUPTED:
            typer.echo("Stopped. What is written so far stays; give the same command again to have the rest.", err=True)
        raise


if __name__ == "__main__":
    main()
