"""Readings and judged levels in CSV, a row for each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from course.moisture import parts_across
from course.roster import Student
from rubrics.book_intake import judged_rows
from rubrics.intake_cells import Asked, Found, take_edits, take_moisture, take_value
from rubrics.intake_sheets import is_unit
from shared.places import Place, Row, Unreadable, read_csv, read_text
from shared.problems import meant

COLUMNS = ("student", "quantity", "place", "attempt", "reading", "unit", "reader", "instrument", "taken", "note",
           "moisture")  # fmt: skip
NEEDED, JUDGED = ("student", "quantity", "reading"), ("item", "level")
"""Columns that readings must have, and those that judged levels have."""


def take_csv(found: Found, file: Path, name: str) -> None:
    """Take in a CSV file; one with the columns item and level holds judged levels."""
    columns = f"The columns are {', '.join(COLUMNS)}."
    try:
        text = read_text(file, name)
        if text.strip() and not any(word in text.lstrip().split("\n", 1)[0] for word in (*NEEDED, *JUDGED)):
            found.wrong("C021", Place(name, 1), "the first line does not name the columns", columns)
            return
        table = read_csv(text, name)
    except Unreadable as error:
        found.wrong("C004", error.place, error.says, error.do)
        return
    if set(JUDGED) <= set(table.headings):
        take_edits(found, judged_rows(found.course, table))
        return
    for needed in NEEDED:
        if needed not in table.headings:
            found.wrong("C021", table.place, f"the column '{needed}' is missing", columns)
            return
    students = {student.id: student for student in found.course.students}
    for row in table.rows:
        _take_row(found, row, students)


def _take_row(found: Found, row: Row, students: Mapping[str, Student]) -> None:
    student = students.get(row.text("student"))
    if student is None:
        says = f"no student '{row.text('student')}' is on the roster"
        found.wrong("C011", row.at("student"), says, meant(row.text("student"), students))
        return
    unit = row.text("unit") or student.unit
    if not row.text("reading") or not is_unit(found, unit, row.at("unit")):
        return
    asked = Asked(
        student, row.text("quantity"), row.text("place") or "1", row.text("attempt") or "1", unit, row.at("reading"),
        row.text("note"), row.text("reader"), row.text("instrument"), row.text("taken"),
    )  # fmt: skip
    reading = take_value(found, asked, row.text("reading"))
    if reading is None:
        return
    if row.text("moisture"):
        across = parts_across(found.course.cabinet, reading.quantity)
        part = across[0].name if across else reading.quantity.rpartition(".")[0]
        own = replace(asked, quantity=part, attempt=str(reading.attempt), where=row.at("moisture"))
        take_moisture(found, own, row.text("moisture"))
    found.readings.append(reading)
