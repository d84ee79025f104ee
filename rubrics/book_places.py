"""Where everything stands in the gradebook: rows of readings, limits and marks, to which its sheets refer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from course.readings import Reading
from course.roster import Student
from rubrics.book import HEAD, Column, Columns, at
from rubrics.check_files import STAGES
from rubrics.checks import Check
from rubrics.final import FinalMark, final_marks
from rubrics.judged import Judging, read_judging
from rubrics.marks import Grades, Mark

MARKS = Columns((
    Column("student"), Column("name"), Column("check"), Column("attempt", "whole"), Column("target", "mm"),
    Column("lower", "mm"), Column("upper", "mm"), Column("reading", "mm"), Column("deviation", "signed"),
    Column("set-up", "taken"), Column("elsewhere", "taken"), Column("limits off", "limits off"), Column("level"),
    Column("points", "points"), Column("of", "whole"), Column("again"), Column("note", widest=24),
    Column("certainty", printed=False), Column("counts", printed=False), Column("plan", "mm", False),
    Column("follows", "signed", False), Column("from plan", "signed", False), Column("beyond", "signed", False),
    Column("guard", "fine", False), Column("check id", printed=False), Column("key", printed=False),
    Column("counting key", printed=False),
))  # fmt: skip
"""Columns of the sheets of stages. By their keys other sheets find a row, however it is sorted: `key` is one attempt,
`counting key` student and check of the attempt that counts."""
LIMITS = Columns((
    Column("check id"), Column("check"), Column("stage"), Column("band"), Column("lower", "input"),
    Column("upper", "input"), Column("points", "input"), Column("limit", "fine"), Column("middle", "fine"),
    Column("fit class", printed=False), Column("where the limits come from", widest=60, printed=False),
))  # fmt: skip
"""Columns of the table of checks on the sheet Limits."""


@dataclass(frozen=True, slots=True)
class Line:
    """A row of a stage: a mark, or a check that has none."""

    student: Student
    check: Check
    mark: Mark | None
    attempts: int


@dataclass(frozen=True, slots=True)
class Block:
    """A table of the sheet Limits: the row of its headings, from 0, and how many rows it has."""

    head: int
    rows: int

    def cells(self, letter: str) -> str:
        """A column of it, with the sheet."""
        return f"Limits!${letter}${self.head + 2}:${letter}${self.head + 1 + max(self.rows, 1)}"

    def cell(self, letter: str, number: int) -> str:
        """A cell of it, with the sheet; rows count from 0."""
        return f"Limits!${letter}${self.head + 2 + number}"


class Places:
    """Where everything stands."""

    def __init__(self, grades: Grades) -> None:
        self.grades, self.course = grades, grades.course
        self.levels = grades.rules.levels
        capped = grades.rules.policy == "capped"
        self.redo = [("most that a part made again earns", grades.rules.redo)] if capped else []
        self.judging: Judging = read_judging(self.course.folder)
        self.final: tuple[FinalMark, ...] = final_marks(grades)
        self.judged = {one.student.id: one.judged for one in self.final}
        names = {student.id: student.name for student in self.course.students}
        order = {student: n for n, student in enumerate(names)}
        rows, self.counting = self.course.log.all_and_counting()
        rows = [row for row in rows if row[1].student in names]
        rows.sort(key=lambda row: (order[row[1].student], row[0]))
        self.readings: list[tuple[int, Reading, str]] = [(n, one, names[one.student]) for n, one in rows]
        self.reading_rows = {
            one.key: row for row, (number, one, _) in enumerate(self.readings, HEAD + 2) if number in self.counting
        }
        self.stages = [stage for stage in STAGES if any(check.stage == stage for check in grades.checks)]
        self.lines = {stage: self._lines(stage) for stage in self.stages}
        self.labels = self._labels()
        head = HEAD
        blocks = []
        for rows_of in (
            len(self.levels), 1 + len(self.redo), len(grades.rules.grades), len(self.judging.levels),
            len(self.judging.items), len(grades.checks),
        ):  # fmt: skip
            blocks.append(Block(head, rows_of))
            head += rows_of + 2
        self.level_block, self.part_block, self.word_block, self.judged_block, self.item_block, self.check_block = (
            blocks
        )
        self.check_rows = {check.id: n for n, check in enumerate(grades.checks)}

    def _lines(self, stage: str) -> list[Line]:
        found: dict[tuple[str, str], list[Mark]] = {}
        for mark in self.grades.marks:
            found.setdefault((mark.student.id, mark.check.id), []).append(mark)
        checks = [check for check in self.grades.checks if check.stage == stage]
        lines = []
        for student in self.course.students:
            for check in checks:
                marks = found.get((student.id, check.id), [])
                lines += [Line(student, check, mark, len(marks)) for mark in marks] or [Line(student, check, None, 0)]
        return lines

    def _labels(self) -> dict[str, str]:
        titles = [check.title for check in self.grades.checks]
        return {
            check.id: check.title if titles.count(check.title) == 1 else f"{check.title} ({check.id})"
            for check in self.grades.checks
        }

    @cached_property
    def marks(self) -> dict[tuple[str, str], Mark]:
        """The marks that count, by student and check."""
        return {(one.student.id, mark.check.id): mark for one in self.grades.students for mark in one.marks}

    def every(self, stage: str, heading: str) -> str:
        """All rows of a column of a stage's sheet."""
        letter, last = at(MARKS, heading), HEAD + 1 + max(len(self.lines[stage]), 1)
        return f"{sheet_of(stage)}!{letter}${HEAD + 2}:{letter}${last}"

    def over_stages(self, formula: str, columns: Iterable[str]) -> str:
        """The sum of a formula over all stages, with `{a}`, `{b}`, ... for the columns named."""
        letters = "abcdefgh"
        return "+".join(
            formula.format(**{letter: self.every(stage, c) for letter, c in zip(letters, columns, strict=False)})
            for stage in self.stages
        )

    def limit(self, check: Check, heading: str) -> str:
        """A cell of a check on the sheet Limits."""
        return self.check_block.cell(LIMITS.letters[heading], self.check_rows[check.id])

    def level_words(self) -> list[str]:
        """The cells with the words of the levels, best first."""
        return [self.level_block.cell("A", n) for n in range(len(self.levels))]


def sheet_of(stage: str) -> str:
    """The name of the sheet of a stage."""
    return stage.capitalize()


def middle_of(check: Check) -> Fraction:
    """The middle of a band, from which distances are counted; nothing where there is an upper limit only. [mm]"""
    return Fraction(0) if check.one_sided else (check.lower + check.upper) / 2


def limits_off(mark: Mark, limit: Fraction) -> Fraction:
    """How many limits a reading, without what is taken out, lies from the middle of its band."""
    return (mark.own - middle_of(mark.check)) / limit if limit else Fraction(0)
