"""The command line: puts the commands of the parts together."""

from __future__ import annotations

import sys

import typer

import course.commands
import lessons.commands
import lessons.proof
import rubrics.commands
import rubrics.proof
from shared.places import Unreadable
from shared.problems import InputRefused

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    help="Course toolkit of a cabinet-making instructor: cut lists, handouts, fit checks, gradebook.",
)
for part in (course.commands, rubrics.commands, lessons.commands):
    app.add_typer(part.app)

PROOFS = (rubrics.proof.proof, lessons.proof.proof)
"""What `check` looks at besides the course itself."""


def main() -> None:
    """Run the command line; what an instructor can mend is shown without a traceback."""
    try:
        app(obj=PROOFS)
    except InputRefused as refused:
        typer.echo(str(refused), err=True)
        sys.exit(2)
    except Unreadable as file:
        typer.echo(f"{file.place}: P001: {file.says}\n    {file.do}", err=True)
        sys.exit(2)


if __name__ == "__main__":
    main()
