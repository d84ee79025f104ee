"""Sheets and columns of a measuring workbook, by the names they are written with and found by."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from openpyxl.worksheet.worksheet import Worksheet

from course.course import Course
from rubrics.fit_rows import asks_second

FIT, PARTS, WHERE = "Fit checks", "Parts", "Where to measure"
"""Names of the three sheets."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a sheet; widths in signs of the sheet's own type."""

    heading: str
    width: int
    large: int
    """Width in large print; there the columns after the reading are not printed."""
    shown: bool = True
    """False for a column that only the program reads, or that the line above a group says already."""


COLUMNS = (
    Column("check", 15, 15, False), Column("where", 19, 17), Column("what to measure", 34, 22), Column("place", 6, 6),
    Column("target", 10, 10), Column("lower", 10, 9), Column("upper", 11, 10), Column("with", 9, 8),
    Column("checked by", 11, 11, False), Column("reading", 14, 13), Column("note", 22, 18), Column("quantity", 9, 9),
)  # fmt: skip
"""Columns of the first sheet, in order; readings are found by these headings."""
PART_COLUMNS = (
    Column("label", 14, 12), Column("part", 30, 26), Column("state", 18, 14), Column("date", 18, 14),
    Column("wood %", 12, 10), Column("part name", 9, 9),
)  # fmt: skip
WET = "wood %"
"""Heading of the column for the moisture of solid parts when their width was read."""
READ, NOTE, QUANTITY, PLACE = "reading", "note", "quantity", "place"
SECOND = "second reader"
"""Heading of the column for a partner's readings, and the name under which they are kept."""
SECOND_COLUMN = Column(SECOND, 14, 13)
KEYS = {"course": "Course", "student": "Student id", "unit": "Unit", "name": "Student", "note": "How"}
"""Labels in the first column of the head, and what they are called here."""
TOP = 7
"""The line of the headings."""


def columns_of(course: Course) -> tuple[Column, ...]:
    """Columns of the first sheet; with one for a second reader where the course asks for it (`second_reader: yes`)."""
    if not asks_second(course):
        return COLUMNS
    before = [column.heading for column in COLUMNS].index(NOTE)
    return (*COLUMNS[:before], SECOND_COLUMN, *COLUMNS[before:])


def cells_by_heading(sheet: Worksheet, needed: Iterable[str], limit: int = 60) -> tuple[int, dict[str, int]] | None:
    """The row of headings and the column of each, wherever they were moved to; None when there is no such row."""
    wanted = set(needed)
    for row in sheet.iter_rows(min_row=1, max_row=limit):
        found = {str(cell.value).strip().lower(): cell.column for cell in row if cell.value is not None}
        if wanted <= set(found):
            return row[0].row, {name: found[name] for name in found}
    return None
