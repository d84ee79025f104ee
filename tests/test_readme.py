"""The README's examples work, and it names every command."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from course.kinds import read_library
from lessons.__main__ import app

README = (Path(__file__).parents[1] / "README.md").read_text("utf-8")
GROUPS = [group.typer_instance for group in app.registered_groups]
COMMANDS = sorted(command.name or command.callback.__name__ for group in GROUPS for command in group.registered_commands)


def example(language: str, number: int = 0) -> str:
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)[number]


@pytest.fixture
def readme_course(tmp_path: Path) -> Path:
    (tmp_path / "course.yaml").write_text(example("yaml", 0), "utf-8")
    (tmp_path / "plan.yaml").write_text(example("yaml", 1), "utf-8")
    (tmp_path / "roster.csv").write_text(example("csv"), "utf-8")
    return tmp_path


def test_the_example_plan_is_short():
    """A whole cabinet with a pair of doors takes fewer than 25 lines."""
    assert len(example("yaml", 1).splitlines()) < 25


def test_the_example_course_is_in_order(readme_course):
    """The README's course passes `check`, with nothing to look at but the movement of its wide panels at most."""
    result = CliRunner().invoke(app, ["check", str(readme_course)])
    assert result.exit_code in (0, 1), result.output
    assert "2 students" in result.output


@pytest.mark.parametrize("student", ["t1", "t2"])
def test_the_example_course_has_cut_lists(readme_course, student):
    """Each student of the README's course gets a list with a pair of doors on it."""
    result = CliRunner().invoke(app, ["cutlist", str(readme_course), student])
    assert result.exit_code == 0, result.output
    assert "DL-SL, DL-SR" in result.output and "DR-P" in result.output


def test_every_kind_is_named():
    """Whoever plans a drawer finds its name without reading the program."""
    assert [name for name in read_library().kinds if f"`{name}`" not in README] == []


def test_every_command_is_named_and_has_help():
    """README names each command once in its table, and each says what it does."""
    for command in COMMANDS:
        assert f"`fairfit {command} " in README, command
        result = CliRunner().invoke(app, [command, "--help"])
        assert result.exit_code == 0 and len(result.output.split()) > 15


def test_no_two_commands_share_a_name():
    """A command of one part never hides one of another."""
    assert len(set(COMMANDS)) == len(COMMANDS)
