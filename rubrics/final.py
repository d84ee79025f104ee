"""Final marks: points by stage, the judged part beside them, the gate, and a word for the whole.

The word is given once every gate is met; points and percent are always told.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from course.cutlist_files import inert, plain
from course.readings import Judgement
from course.roster import Student
from rubrics.grading_rules import Rules
from rubrics.judged import MET, NO_GATE, NOT_MET, StudentJudged, judged, read_judging
from rubrics.marks import Grades, StudentGrade

FILE = "final-marks.csv"
FIRST, LAST = ("student id", "name"), ("points", "of", "percent", "judged", "total", "safety", "grade", "notes")
"""Columns before and after those of the stages."""
GATE_WORDS = {NOT_MET: "held: safety not met", "": "waits for safety"}
"""What stands in place of the word for the whole while a gate is not met, or not recorded."""


@dataclass(frozen=True, slots=True)
class FinalMark:
    """What one student has so far."""

    grade: StudentGrade
    stages: Mapping[str, tuple[Fraction, int]]
    """Points and what they are out of, of what is measured, by stage."""
    judged: StudentJudged
    total: Fraction | None
    """Percent of the whole, to one decimal; None before anything is measured."""
    word: str
    """For the whole; empty before anything is measured."""

    @property
    def student(self) -> Student:
        """Whose it is."""
        return self.grade.student

    @property
    def percent(self) -> Fraction | None:
        """Of the points of what is measured, to one decimal."""
        return percent(self.grade.share)

    @property
    def notes(self) -> str:
        """What is open, in words."""
        one = self.grade
        again = sum(mark.again for mark in one.marks)
        counted = (
            (len(one.not_measured), "not measured"), (len(one.waiting), "waiting for an answer"),
            (again, "to measure again"), (len(self.judged.marks) - self.judged.done, "not judged"),
        )  # fmt: skip
        return "; ".join(f"{number} {what}" for number, what in counted if number)


def percent(share: Fraction | None) -> Fraction | None:
    """A share in percent to one decimal, a half rounded up as a spreadsheet does."""
    return None if share is None else Fraction(floor(1000 * share + Fraction(1, 2)), 10)


def total_share(measured: Fraction | None, judged: Fraction | None, part: Fraction) -> Fraction | None:
    """The share of the whole.

    Args:
        measured: Of the points of what is measured.
        judged: Of the weight of what is judged; None when nothing is, which then counts neither way.
        part: How much of the whole the judged marks make. [0 to 1]
    """
    if measured is None or judged is None:
        return measured
    return (1 - part) * measured + part * judged


def word(total: Fraction | None, gate: str, rules: Rules) -> str:
    """The word for a percent of the whole, or what it waits for."""
    if total is None:
        return ""
    if gate not in (MET, NO_GATE):
        return GATE_WORDS.get(gate, GATE_WORDS[""])
    return next((each for each, least in rules.grades if total >= least), rules.grades[-1][0])


def final_marks(grades: Grades) -> tuple[FinalMark, ...]:
    """The final mark of every student.

    Raises:
        InputRefused: `judged.yaml` of the course cannot be used (`read_judging`).
    """
    judging = read_judging(grades.course.folder)
    said: dict[str, list[Judgement]] = {}
    for _, judgement in grades.course.log.judgements():
        said.setdefault(judgement.student, []).append(judgement)
    stages = list(dict.fromkeys(check.stage for check in grades.checks))
    found = []
    for one in grades.students:
        own = {stage: [mark for mark in one.marks if mark.check.stage == stage] for stage in stages}
        sums = {
            stage: (sum((m.points for m in marks), Fraction(0)), sum(m.check.points for m in marks))
            for stage, marks in own.items()
        }
        seen = judged(judging, said.get(one.student.id, ()))
        total = percent(total_share(one.share, seen.share, grades.rules.judged))
        found.append(FinalMark(one, sums, seen, total, word(total, seen.gate, grades.rules)))
    return tuple(found)


def final_csv(marks: Sequence[FinalMark]) -> str:
    """Final marks in plain columns, one row a student; what is not known is blank."""
    stages = list(marks[0].stages) if marks else []
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([*FIRST, *(f"{stage} {what}" for stage in stages for what in ("points", "of")), *LAST])
    for mark in marks:
        numbers = [each for stage in stages for each in mark.stages[stage]]
        writer.writerow([
            inert(mark.student.id), inert(plain(mark.student.name)), *map(_number, numbers),
            _number(mark.grade.points), _number(mark.grade.of), _number(mark.percent),
            _number(percent(mark.judged.share)), _number(mark.total), mark.judged.gate, mark.word, mark.notes,
        ])  # fmt: skip
    return text.getvalue()


def _number(value: Fraction | int | None) -> str:
    return "" if value is None else f"{float(value):.2f}".rstrip("0").rstrip(".")
