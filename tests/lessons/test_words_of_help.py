"""Help speaks to instructors: what is to be given is a word of theirs, not a type of the program."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from lessons.__main__ import app

COMMANDS = ["check", "why", "cutlist", "mark", "changes", "remedy", "confirm", "collect", "grade", "prepare", "order",
            "sequence", "coach", "demo"]  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS)
def test_no_option_asks_for_a_type_of_the_program(command: str):
    """A name, a date or a file is asked for; a switch asks for nothing."""
    result = CliRunner().invoke(app, [command, "--help"])
    assert result.exit_code == 0
    options = [line for line in result.stdout.splitlines() if "--" in line.split("  ")[0] + line[2:6]]
    assert options and not [line for line in options if "<" in line and "--help" not in line]
