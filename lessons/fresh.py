"""Which papers are as they would be made again, so that they need not be.

A paper is left as it is only when nothing it was made from has changed and the files are those that were written:
the program with everything in it, what it stands on, the course folder, and the student's part of the log.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import platform
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.metadata import distributions
from importlib.resources import files
from pathlib import Path
from typing import Any

from course.course import Course
from course.log import FILE
from course.roster import Student
from shared.render.files import write_file

PACKAGES = ("shared", "course", "rubrics", "lessons")
OUT = "out"
NOTE = ".made.json"
"""Beside the papers, in the folder `out`: what each was made from. May be deleted at any time."""


@lru_cache(maxsize=1)
def program() -> str:
    """A sum over every file of the program and every package beside it."""
    found = hashlib.sha256(platform.python_version().encode())
    for name in sorted(f"{one.name} {one.version}" for one in distributions()):
        found.update(name.encode())
    for package in PACKAGES:
        for name, data in _files(Path(str(files(package))), skip=("__pycache__",)):
            found.update(f"{package}/{name} {len(data)} ".encode() + data)
    return found.hexdigest()


def folder(path: Path) -> str:
    """A sum over every file of a course folder but the log and what was made from it."""
    found = hashlib.sha256()
    for name, data in _files(path, skip=(OUT, FILE, f"{FILE}-journal", f"{FILE}-wal", f"{FILE}-shm")):
        found.update(f"{name} {len(data)} ".encode() + data)
    return found.hexdigest()


def _files(top: Path, skip: Iterable[str]) -> Iterator[tuple[str, bytes]]:
    """Every file below a folder with its name, in order; what the first folder calls by a name to skip is not."""
    left_out = set(skip)
    for path in sorted(top.rglob("*")):
        name = path.relative_to(top)
        if path.is_file() and name.parts[0] not in left_out and "__pycache__" not in name.parts:
            yield name.as_posix(), path.read_bytes()


def log(path: Path, student: str) -> str:
    """A sum over every row of the log that is about a student, or about nobody in particular."""
    found = hashlib.sha256()
    if not path.exists():
        return found.hexdigest()
    with contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        tables = connection.execute("SELECT name FROM sqlite_master WHERE type='table' ORDER BY name").fetchall()
        for (table,) in tables:
            columns = [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')]
            mine = (" WHERE student=?", (student,)) if "student" in columns else ("", ())
            rows = connection.execute(f'SELECT * FROM "{table}"{mine[0]} ORDER BY rowid', mine[1]).fetchall()
            if rows:
                found.update(f"{table} {rows!r}".encode())
    return found.hexdigest()


def inputs(course: Course, student: Student, only: str, read_from: str) -> str:
    """A sum over everything a student's papers are made from.

    Args:
        course: As read.
        student: Whose papers.
        only: Name of what is printed alone; empty for the whole packet.
        read_from: The sum over the course folder, taken before it was read.
    """
    texts = (program(), read_from, student.id, only, log(course.folder / FILE, student.id))
    return hashlib.sha256(repr(texts).encode()).hexdigest()


@dataclass
class Made:
    """What the papers in the folder `out` were made from."""

    out: Path
    notes: dict[str, dict[str, Any]] = field(default_factory=dict)

    @classmethod
    def of(cls, course: Course) -> Made:
        """As noted at the last run; nothing when there is no note that can be read."""
        out = course.folder / OUT
        try:
            notes = json.loads((out / NOTE).read_text("utf-8"))
        except (OSError, ValueError):
            notes = {}
        return cls(out, notes if isinstance(notes, dict) else {})

    def is_fresh(self, name: str, inputs: str) -> bool:
        """Whether papers were made from just this, and every file is still as it was written."""
        note = self.notes.get(name)
        if not isinstance(note, dict) or note.get("inputs") != inputs or not isinstance(note.get("files"), dict):
            return False
        sums = note["files"]
        return bool(sums) and all(_sum(self.out / path) == as_written for path, as_written in sums.items())

    def remember(self, name: str, inputs: str, written: Iterable[Path]) -> None:
        """Note what papers were made from."""
        sums = {path.relative_to(self.out).as_posix(): _sum(path) for path in written}
        self.notes[name] = {"inputs": inputs, "files": sums}

    def files(self, name: str) -> tuple[Path, ...]:
        """The files of papers that are noted."""
        return tuple(self.out / path for path in self.notes[name]["files"])

    def save(self) -> None:
        """Write the note."""
        write_file(self.out / NOTE, json.dumps(self.notes, indent=1, sort_keys=True) + "\n")


def _sum(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""
