"""Files of a course folder, and those of the program that stand in where the course has none of its own."""

from __future__ import annotations

from pathlib import Path

from shared.places import Mapping, Place, Unreadable, read_text, read_yaml
from shared.problems import InputRefused, Problem


def yaml_in(folder: Path, name: str, problems: list[Problem], needed: bool = False) -> Mapping:
    """A YAML file of a folder; empty when it is missing, or cannot be read, which is added to the problems (P001).

    Args:
        folder: Of the course.
        name: Of the file.
        problems: Grows.
        needed: Whether a missing file is a problem too.
    """
    path, nothing = folder / name, Mapping({}, {}, Place(name))
    try:
        return read_yaml(read_text(path), name) if needed or path.exists() else nothing
    except Unreadable as error:
        problems.append(Problem("P001", error.place, error.says, error.do))
        return nothing


def own_or_built_in(folder: Path | None, built_in: Path) -> Mapping:
    """The course folder's file of a name, or the one of the program.

    Args:
        folder: Of the course; None for the program's own.
        built_in: The file of the program.

    Raises:
        InputRefused: The file cannot be read (P001).
    """
    own = folder / built_in.name if folder else None
    try:
        return read_yaml(read_text(own if own and own.is_file() else built_in), built_in.name)
    except Unreadable as error:
        raise InputRefused([Problem("P001", error.place, error.says, error.do)]) from None
