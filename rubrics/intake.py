"""Takes in measured sheets: workbooks from any spreadsheet, and CSV; cell by cell, nothing lost, nothing twice.

Nothing of a foreign file is ever run: formulas are not evaluated, links are not followed.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from course.changes import given_now
from course.course import Course
from course.readings import STATES, Reading, Taken
from rubrics.book_intake import BEFORE, is_gradebook, read_edits
from rubrics.checks import asked_places
from rubrics.final import FILE as FINAL
from rubrics.intake_cells import CLOSED, LARGE, Found, Mark, take_edits
from rubrics.intake_csv import take_csv
from rubrics.intake_sheets import take_workbook
from rubrics.last_term import FILE as FIGURES
from rubrics.questions import questions
from rubrics.slips import question
from rubrics.workbooks import tabs_of
from shared.places import Place
from shared.problems import Problem

SHEETS, FOREIGN = (".xlsx", ".xlsm", ".csv"), (".ods", ".fods", ".xls", ".xlsb", ".numbers")
PAPERS = (".jpg", ".jpeg", ".png", ".heic", ".gif", ".webp", ".pdf", ".doc", ".docx", ".odt", ".txt", ".zip")
"""What is taken in out of a folder, and what is told to be saved again."""
OURS = (BEFORE, FINAL, FIGURES)
"""Files made beside the gradebook, which hold nothing to take in."""


@dataclass(frozen=True, slots=True)
class Collected:
    """What became of the files."""

    taken: Taken
    files: tuple[Path, ...]
    marked: int
    problems: tuple[Problem, ...]
    """What could not be taken in, with its cell."""
    questions: tuple[Problem, ...]
    """What was taken in and should be looked at."""
    moistures: int = 0
    """Moistures of parts that are new."""
    judged: int = 0
    """New judged levels."""


def collect(
    course: Course, paths: Sequence[Path], told: Callable[[int, int], None] = lambda number, of: None
) -> Collected:
    """Take in files, and all workbooks and CSV files of folders.

    Args:
        course: Its log grows; its values are fresh afterwards.
        paths: Files and folders.
        told: Called after each file with how many are read, and how many there are.
    """
    found = Found(course, asked_places(course))
    files = [file for path in paths for file in _files(path, found)]
    for number, (file, name) in enumerate(files, 1):
        _read(found, file, name)
        told(number, len(files))
    offered = [*(_doubted(found, one) for one in found.readings), *found.vouched]
    taken = course.log.add(offered, given_now(course, {one.student for one in offered}))
    wet = course.log.add(found.moistures)
    judged = len(course.log.judge(found.judgements)) if found.judgements else 0
    course.log.add(found.kept)
    found.problems += _taken_back(taken)
    course.fresh()
    marked = sum(_marked(found, mark) for mark in found.marks)
    new = set(taken.new)
    asked = (*(ask for one, ask in found.asks if one in new), *questions(course, taken.new))
    files_read = tuple(file for file, _ in files)
    return Collected(taken, files_read, marked, tuple(found.problems), asked, len(wet.new), judged)


def _files(path: Path, found: Found) -> Iterator[tuple[Path, str]]:
    """Files, with the name each is told and remembered by: in a folder with its place there."""
    if path.is_dir():
        own = [p for p in path.rglob("*") if not p.name.startswith((".", "~$", *OURS)) and not p.is_dir()]
        own = [p for p in own if p.suffix != ".pdf" or not p.with_suffix(".html").exists()]  # papers of ours are both
        inside = sorted(p for p in own if p.suffix.lower() in (*SHEETS, *FOREIGN, *PAPERS))
        if not inside:
            says = "there is no workbook or CSV file in this folder"
            found.wrong("C001", Place(path.name), says, "Give another folder.")
        yield from ((file, file.relative_to(path).as_posix()) for file in inside)
    elif path.exists():
        yield path, path.name
    else:
        found.wrong("C002", Place(path.name), "there is no such file", "Check its name.")


def _read(found: Found, file: Path, name: str) -> None:
    if file.suffix.lower() in FOREIGN:
        says = f"a workbook of the kind {file.suffix.lower()} is not taken in"
        found.wrong("C027", Place(name), says, "Open it and save it again as .xlsx, then give that.")
    elif file.suffix.lower() in PAPERS:
        says = f"a file of the kind {file.suffix.lower()} holds no readings that could be taken in"
        found.wrong("C034", Place(name), says, "If it is a sheet all the same, key its readings into a workbook.")
    elif file.suffix.lower() == ".csv":
        take_csv(found, file, name)
    elif is_gradebook(file):
        take_edits(found, read_edits(found.course, file, name))
    elif isinstance(tabs := tabs_of(file, name), Problem):
        found.problems.append(tabs)
    else:
        take_workbook(found, tabs, name)


def _taken_back(taken: Taken) -> Iterator[Problem]:
    """Cells that say again what they said before they were changed: the log takes that for an older file."""
    for one, since in taken.back:
        says = f"'{one.raw}' stood here before, and '{since}' after it; it is not taken back"
        do = "If it is right all the same, save the sheet under another name and collect that."
        yield Problem("C028", one.where, says, do, severe=False)


def _doubted(found: Found, one: Reading) -> Reading:
    """The reading, held back when it cannot be true as it stands: it counts once somebody confirms it."""
    why, taken = _impossible(found.course, one), _day(one.taken)
    held = replace(one, held=why)
    where = f"{one.student}, {one.quantity}, place {one.place}"
    if one.taken and not taken:
        found.ask(held, "C108", one.where, f"{where}: its date is '{one.taken}'", "Write it as 2026-10-05.")
    if why:
        asks = _usual_cause(found.course, one)
        do = f"{asks}It is kept and left out. Confirm it with `fairfit confirm`, or read it again."
        found.ask(held, "C105", one.where, f"{where}: {one.raw} is {why}", do)
    return held


def _usual_cause(course: Course, one: Reading) -> str:
    """What is asked about a reading that is held back, where a slip explains it; empty, or a sentence and a space."""
    student = course.student(one.student)
    target = course.values(student).target(one.quantity)
    if not isinstance(target, Fraction) or one.value is None:
        return ""
    asks = question(one.value, target, one.raw, student.shown, student.unit)
    return f"{asks[:1].upper()}{asks[1:]} " if asks else ""


def _impossible(course: Course, one: Reading) -> str:
    """Why a reading cannot be true as it stands; empty when it can."""
    student = course.student(one.student)
    target = course.values(student).target(one.quantity)
    part = next((p for p in course.cabinet.parts if one.quantity.rpartition(".")[0] == p.name), None)
    state = course.record(student).states.get(part.name) if part else None
    last, taken = _last_day(course), _day(one.taken)
    if isinstance(target, Fraction) and one.value is not None and one.value - target > target > CLOSED:
        return f"off by more than the piece itself, about {student.shown.size(target)} is expected"
    if isinstance(target, Fraction) and one.value is not None and target > LARGE and one.value < target / 4:
        return f"less than a quarter of what is expected, about {student.shown.size(target)}"
    if part and state and state.name == "glued":
        return f"of {part.label}, which is glued already"
    if taken and last and taken > last:
        return f"dated {one.taken}, after the course ends on {last}"
    return ""


def _day(text: str) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        return None


def _last_day(course: Course) -> datetime.date | None:
    """The day after which nothing can have been measured: the end of the course, else its last session."""
    days = [_day(text) for text in ([course.text("ends")] if course.text("ends") else course.sessions)]
    return max((day for day in days if day), default=None)


def _marked(found: Found, mark: Mark) -> bool:
    """Record a state that was written on a sheet; one before the present one is told and changes nothing."""
    course = found.course
    now = course.log.states(mark.student.id).get(mark.part)
    if now and now.name != STATES[-1] and STATES.index(mark.state) < STATES.index(now.name):
        says = f"{mark.part} is {now.name} already, the sheet says '{mark.state}'"
        do = "Nothing is changed. If the part was made again, write remade."
        found.problems.append(Problem("C024", mark.place, says, do, severe=False))
        return False
    last, day = _last_day(course), _day(mark.date)
    if mark.date and not day:
        says = f"{mark.part} is {mark.state}, and its date is '{mark.date}'"
        do = "It counts without a date; write it as 2026-10-05 and collect the sheet again."
        found.problems.append(Problem("C111", mark.place, says, do, severe=False))
        mark = replace(mark, date="")
    if day and last and day > last:
        says = f"{mark.part} is {mark.state} on {mark.date}, after the course ends on {last}"
        found.problems.append(Problem("C109", mark.place, says, "It counts all the same; mend the date.", severe=False))
    return course.mark(mark.student, mark.part, mark.state, "", mark.date, mark.place.file)
