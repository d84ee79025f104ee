"""Who may use which machine: lesson, test, watched demonstration and permission, each dated."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from fractions import Fraction

from shared.places import Place, Row, Table
from shared.problems import Problem, meant

COLUMNS = ("student", "machine", "lesson", "test", "score", "demonstration", "permission", "by", "withdrawn", "note")
STEPS = ("lesson", "test", "demonstration", "permission")
"""In this order; each needs those before it (published by a teachers' council; see the safety notes)."""


@dataclass(frozen=True, slots=True)
class SignOff:
    """The record of one student on one machine."""

    student: str
    machine: str
    dates: dict[str, datetime.date]
    """Dates of the steps that were done."""
    score: str
    by: str
    withdrawn: datetime.date | None
    place: Place


@dataclass(frozen=True, slots=True)
class Permission:
    """Whether a student may use a machine on a day, and what is missing."""

    allowed: bool
    missing: str
    """Empty when allowed; else the missing step in words."""


def read_signoffs(
    table: Table,
    students: set[str],
    machines: tuple[str, ...],
    last_day: datetime.date | None,
    problems: list[Problem],
) -> dict[tuple[str, str], SignOff]:
    """The sign-offs by student and machine; what is wrong is added to `problems`."""
    found: dict[tuple[str, str], SignOff] = {}
    for needed in ("student", "machine"):
        if needed not in table.headings:
            do = "The columns are student, machine, lesson, test, score, demonstration, permission, by, withdrawn."
            problems.append(Problem("A001", table.place, f"the column '{needed}' is missing", do))
            return found
    for heading in table.headings:
        if heading and heading not in COLUMNS:
            says = f"there is no column '{heading}'"
            problems.append(Problem("A008", table.place, says, meant(heading, COLUMNS)))
    unknown: set[str] = set()
    for row in table.rows:
        student, machine = row.text("student"), row.text("machine")
        if student not in students:
            says = f"no student '{student}' is on the roster"
            problems.append(Problem("A002", row.at("student"), says, meant(student, students)))
        elif machine not in machines:
            do = meant(machine, machines) if machines else f"Write `shop: {{machines: [{machine}]}}` in course.yaml."
            if machine not in unknown:
                problems.append(Problem("A003", row.at("machine"), f"the shop has no machine '{machine}'", do))
            unknown.add(machine)
        elif (student, machine) in found:
            says = f"{student} and {machine} stand twice, first in line {found[student, machine].place.line}"
            problems.append(Problem("A009", row.place, says, "Keep one line for each student and machine."))
        else:
            found[student, machine] = _signoff(row, last_day, problems)
    return found


def _signoff(row: Row, last_day: datetime.date | None, problems: list[Problem]) -> SignOff:
    score = row.text("score").removesuffix("%").strip()
    if score and not re.fullmatch(r"[0-9]{1,2}(\.[0-9]+)?|100(\.0+)?", score):
        says = f"the score is '{row.text('score')}'"
        problems.append(Problem("A011", row.at("score"), says, "Write percent from 0 to 100, as in 95."))
    dates: dict[str, datetime.date] = {}
    for step in (*STEPS, "withdrawn"):
        if text := row.text(step):
            try:
                dates[step] = datetime.date.fromisoformat(text)
            except ValueError:
                problems.append(Problem("A004", row.at(step), f"'{text}' is not a date", "Write it as 2026-09-14."))
    withdrawn = dates.pop("withdrawn", None)
    _in_order(dates, row.at("permission"), last_day, problems)
    return SignOff(row.text("student"), row.text("machine"), dates, score, row.text("by"), withdrawn, row.place)


def _in_order(
    dates: dict[str, datetime.date], place: Place, last_day: datetime.date | None, problems: list[Problem]
) -> None:
    """Each step after those before it, and none after the course; what is wrong is added to `problems`."""
    before: tuple[str, datetime.date] | None = None
    for step in STEPS:
        day = dates.get(step)
        if day is None:
            later = next((s for s in STEPS[STEPS.index(step) + 1 :] if s in dates), None)
            if later:
                do = f"Record the {step}, or take the {later} out."
                problems.append(Problem("A005", place, f"the {later} is dated but the {step} is missing", do))
            return
        if before and day < before[1]:
            says = f"the {step} of {day} comes before the {before[0]} of {before[1]}"
            problems.append(Problem("A006", place, says, f"The order is {', '.join(STEPS)}."))
        if last_day and day > last_day:
            says = f"the {step} of {day} is after the course ends on {last_day}"
            problems.append(Problem("A007", place, says, "Check the year."))
        before = (step, day)


def permission(record: SignOff | None, day: datetime.date | None, pass_mark: int, valid_days: int) -> Permission:
    """Whether a machine may be used on a day.

    Args:
        record: None when nothing was recorded.
        day: The day of issue; None counts every recorded step as done.
        pass_mark: Least score of the test. [percent]
        valid_days: How long a permission lasts; 0 for no end.
    """
    if record is None:
        return Permission(False, "no lesson on record")
    for step in STEPS:
        done = record.dates.get(step)
        if done is None or (day and done > day):
            return Permission(False, f"no {step} on record")
        if step == "test" and record.score and Fraction(record.score) < pass_mark:
            return Permission(False, f"test score {record.score}, {pass_mark} needed")
    if record.withdrawn and (day is None or record.withdrawn <= day):
        return Permission(False, f"withdrawn on {record.withdrawn}")
    last = record.dates["permission"]
    if day and valid_days and (day - last).days > valid_days:
        return Permission(False, f"permission of {last} is older than {valid_days} days: refresher needed")
    return Permission(True, "")
