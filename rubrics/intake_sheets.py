"""Measuring workbooks, of a student or of a whole class, read cell by cell; headings are found wherever they are."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from itertools import pairwise

from openpyxl.cell import Cell, MergedCell

from course.moisture import parts_across
from course.readings import STATES
from course.roster import Student
from rubrics.class_sheet import NAME, STUDENT, UNIT, read_heading
from rubrics.intake_cells import LONGEST, Asked, Found, Mark, take_cell, take_moisture
from rubrics.sheet_columns import KEYS, NOTE, PLACE, QUANTITY, READ, SECOND, WET, cells_by_heading
from rubrics.workbooks import Tab
from shared.places import Place
from shared.problems import meant

Heading = tuple[int, dict[str, int]]
"""The row of the headings, and the column of each."""


def take_workbook(found: Found, tabs: Sequence[Tab], file: str) -> None:
    """Take in the measuring sheets of a workbook; of one that is for another course, nothing."""
    fit = [(tab, top) for tab in tabs if (top := cells_by_heading(tab.sheet, (READ, QUANTITY, PLACE)))]
    whole = [(tab, top) for tab in tabs if (top := cells_by_heading(tab.sheet, (STUDENT, NAME, UNIT)))]
    if not fit and not whole:
        do = "Give a sheet that fairfit made, with its headings reading, quantity and place."
        found.wrong("C007", Place(file), "no measuring sheet is in this workbook", do)
        return
    for tab, heading in whole:
        head = _head(found, tab, heading[0], ("course",))
        if head is None or not _is_of(found, tab, *head["course"]):
            return
        _class_sheet(found, tab, heading)
    student = None
    for tab, heading in fit:
        owner = _owner(found, tab, heading[0])
        if owner is None:
            return
        student, unit = owner
        _fit_sheet(found, tab, heading, student, unit)
    for tab in tabs:
        parts = cells_by_heading(tab.sheet, ("state", "part name"))
        if parts and student:
            _part_states(found, tab, parts, student)
            _part_moistures(found, tab, parts, student)


# -- whose sheet it is -----------------------------------------------------------------------------------


def _head(found: Found, tab: Tab, top: int, needed: Sequence[str]) -> dict[str, tuple[str, str]] | None:
    """What the lines above the headings say, with the cell of each; None with a problem when something is missing."""
    head: dict[str, tuple[str, str]] = {}
    labels = {label: key for key, label in KEYS.items()}
    for row in tab.sheet.iter_rows(min_row=1, max_row=top - 1):
        for cell, after in pairwise(cell for cell in row if cell.value is not None):
            if isinstance(cell.value, str) and cell.value.strip() in labels:
                head[labels[cell.value.strip()]] = (str(after.value).strip(), after.coordinate)
    for key in needed:
        if key not in head:
            says = f"the head of the sheet does not say '{KEYS[key]}'"
            found.wrong("C008", tab.place, says, "Copy the readings into a new sheet of fairfit's.")
            return None
    return head


def _is_of(found: Found, tab: Tab, name: str, cell: str) -> bool:
    """Whether a sheet was made for this course and this revision of its plan; what else it was made for is told."""
    course = found.course
    if name == course.id:
        return True
    own, theirs = course.id.rpartition(" "), name.rpartition(" ")
    if own[0] == theirs[0]:
        says = f"the sheet was made for revision {theirs[2]} of the plan, the course is at {own[2]}"
        found.wrong("C010", tab.at(cell), says, "Copy the readings into a new sheet, and check which parts changed.")
    else:
        says = f"the sheet belongs to the course '{name}', not to '{course.id}'"
        found.wrong("C009", tab.at(cell), says, "Give the right file.")
    return False


def _owner(found: Found, tab: Tab, top: int) -> tuple[Student, str] | None:
    """The student and unit in the head of a sheet; None with a problem when it is not for this course."""
    head = _head(found, tab, top, ("course", "student", "unit"))
    if head is None or not _is_of(found, tab, *head["course"]):
        return None
    (wanted, cell), (unit, unit_cell) = head["student"], head["unit"]
    student = {student.id: student for student in found.course.students}.get(wanted)
    if student is None:
        ids = [student.id for student in found.course.students]
        found.wrong("C011", tab.at(cell), f"no student '{wanted}' is on the roster", meant(wanted, ids))
        return None
    return student, unit if is_unit(found, unit, tab.at(unit_cell)) else ""


def is_unit(found: Found, unit: str, place: Place) -> bool:
    """Whether a text names a unit of readings; told when it does not, and then no bare number is taken in."""
    if unit in ("mm", "in"):
        return True
    found.wrong("C022", place, f"the unit is '{unit}'", "Write mm or in.")
    return False


# -- readings --------------------------------------------------------------------------------------------


def _class_sheet(found: Found, tab: Tab, heading: Heading) -> None:
    """Take in a sheet with a row for each student and a column for each reading."""
    (top, columns), students = heading, {student.id: student for student in found.course.students}
    headed = {column: read_heading(str(cell.value or "")) for column, cell in enumerate(tab.sheet[top], 1)}
    asking = [column for column in headed if column not in (columns[STUDENT], columns[NAME], columns[UNIT])]
    for row in range(top + 1, tab.sheet.max_row + 1):
        id_, unit = (tab.text(row, columns[name]) for name in (STUDENT, UNIT))
        written = [cell for column in asking if _holds(tab, cell := tab.sheet.cell(row, column))]
        if not written:
            continue
        if id_ not in students:
            says = f"no student '{id_}' is on the roster" if id_ else "a reading stands in a row without a student"
            found.wrong("C011", tab.at(written[0]), says, meant(id_, students))
            continue
        if unit and not is_unit(found, unit, tab.at(tab.sheet.cell(row, columns[UNIT]))):
            continue
        for cell in written:
            asked = headed[cell.column]
            if asked is None:
                says = f"'{str(cell.value)[:LONGEST]}' stands in a column that asks for nothing"
                found.wrong("C013", tab.at(cell), says, "Write it in the column of what was measured.")
                continue
            what = Asked(
                students[id_], asked.quantity, str(asked.place), "1", unit or students[id_].unit, tab.at(cell),
                reader=asked.reader,
            )  # fmt: skip
            take_cell(found, what, cell, tab.has_formula(cell))


def _holds(tab: Tab, cell: Cell | MergedCell) -> bool:
    """Whether somebody wrote into a cell, or joined it to another that somebody wrote into."""
    if isinstance(cell, MergedCell):
        return True
    return tab.has_formula(cell) or (cell.value is not None and str(cell.value).strip() != "")


def _fit_sheet(found: Found, tab: Tab, heading: Heading, student: Student, unit: str) -> None:
    """Take in a student's own sheet, with a row for each reading."""
    top, columns = heading
    for row in range(top + 1, tab.sheet.max_row + 1):
        name = tab.text(row, columns[QUANTITY])
        place, attempt = (
            (tab.text(row, columns[key]) or "1" if key in columns else "1").removesuffix(".0")
            for key in (PLACE, "attempt")
        )
        note = tab.text(row, columns[NOTE]) if NOTE in columns else ""
        taken = _date_text(tab.sheet.cell(row, columns["taken"]).value) if "taken" in columns else ""
        for read, reader in ((READ, ""), (SECOND, SECOND)):
            if read in columns:
                cell = tab.sheet.cell(row, columns[read])
                asked = Asked(student, name, place, attempt, unit, tab.at(cell), note, reader, taken=taken)
                take_cell(found, asked, cell, tab.has_formula(cell))


def _date_text(value: object) -> str:
    """A date as a cell holds it."""
    return value.date().isoformat() if isinstance(value, datetime.datetime) else str(value or "").strip()


# -- parts -----------------------------------------------------------------------------------------------


def _part_states(found: Found, tab: Tab, heading: Heading, student: Student) -> None:
    """The states that were written beside parts."""
    top, columns = heading
    names = {part.name for part in found.course.cabinet.parts}
    for row in range(top + 1, tab.sheet.max_row + 1):
        state, part = tab.text(row, columns["state"]).lower(), tab.text(row, columns["part name"])
        if not state:
            continue
        where = tab.at(tab.sheet.cell(row, columns["state"]))
        if state not in STATES:
            found.wrong("C019", where, f"'{state}' is not a state of a part", meant(state, STATES))
        elif part not in names:
            found.wrong("C020", where, f"there is no part '{part}'", meant(part, names))
        else:
            date = tab.sheet.cell(row, columns["date"]).value if "date" in columns else None
            found.marks.append(Mark(student, part, state, _date_text(date), where))


def _part_moistures(found: Found, tab: Tab, heading: Heading, student: Student) -> None:
    """What a meter showed of each part, kept with the attempts that the same file has of its width."""
    top, columns = heading
    for row in range(top + 1, tab.sheet.max_row + 1) if WET in columns else ():
        cell, part = tab.sheet.cell(row, columns[WET]), tab.text(row, columns["part name"])
        if isinstance(cell, MergedCell) or cell.value is None or not str(cell.value).strip():
            continue
        attempts = {
            one.attempt
            for one in found.readings
            if (one.student, one.source) == (student.id, tab.file)
            and part in (p.name for p in parts_across(found.course.cabinet, one.quantity))
        }
        for attempt in sorted(attempts) or (1,):
            take_moisture(found, Asked(student, part, "1", str(attempt), "", tab.at(cell)), cell.value)
