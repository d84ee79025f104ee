"""Imports point one way: shared, course, rubrics, lessons; a part knows its own floor and those before it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

FLOORS = ("shared", "course", "rubrics", "lessons")
TOP = Path(__file__).parents[1]
FILES = sorted(path for floor in FLOORS for path in (TOP / floor).rglob("*.py"))


def imported(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(TOP)))
def test_a_part_imports_its_own_floor_and_those_before_it(path: Path):
    """No file reaches for a floor above its own."""
    own = FLOORS.index(path.relative_to(TOP).parts[0])
    assert not imported(path) & set(FLOORS[own + 1 :])


def test_nothing_is_imported_by_a_relative_name():
    """Absolute imports only, so that the floors can be read off."""
    for path in FILES:
        nodes = ast.walk(ast.parse(path.read_text("utf-8")))
        assert not [n for n in nodes if isinstance(n, ast.ImportFrom) and n.level], path


def test_every_floor_was_looked_at():
    """Each of the four packages has code in it."""
    assert {path.relative_to(TOP).parts[0] for path in FILES} == set(FLOORS)
