"""The class workbook: one sheet for each stage, a row for each student, for an instructor who keys in all readings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from openpyxl import Workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.styles import Alignment, Font, Protection
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from course.course import Course
from course.roster import Student
from rubrics.check_files import STAGES
from rubrics.fit_rows import STAGE_TITLES, FitRow, fit_rows
from rubrics.sheet import BORDER, FILL_IN, HEAD_FILL, LONG, TYPE, cell_text
from rubrics.sheet_columns import KEYS, SECOND
from rubrics.sheet_files import finished, write_kept

STUDENT, NAME, UNIT = "student id", "name", "unit"
"""Headings of the first three columns; the sheets are found by them."""
AT_ONCE = 40
"""Students of one file; a larger class gets several, since no file may be larger than what is taken in."""
KEY = 6
"""The line of the headings: each names a size and a place, as `door.width 2`."""
_WIDE, _SMALL = 11, 8
_HEIGHTS = {KEY - 3: 36, KEY - 2: 62, KEY - 1: 24, KEY: 20}
"""Of the lines that say where, what, and at which place, and of the headings. [pt]"""


@dataclass(frozen=True, slots=True)
class ReadingColumn:
    """One column: a size at one place, by one reader."""

    quantity: str
    place: int
    reader: str

    @property
    def heading(self) -> str:
        """As it stands above the column."""
        return f"{self.quantity} {self.place}{f' {self.reader}' if self.reader else ''}"


def read_heading(text: str) -> ReadingColumn | None:
    """The column a heading names; None for any other text."""
    name, _, rest = text.strip().partition(" ")
    place, _, reader = rest.strip().partition(" ")
    if "." not in name or not place.isdecimal() or reader not in ("", SECOND):
        return None
    return ReadingColumn(name, min(int(place), 100), reader)


def _columns(row: FitRow) -> Iterator[ReadingColumn]:
    for place in range(1, row.places + 1):
        yield ReadingColumn(row.quantity, place, "")
        if row.second:
            yield ReadingColumn(row.quantity, place, SECOND)


def class_workbook(course: Course, students: Sequence[Student]) -> bytes:
    """The workbook of some students of a course, nothing filled in.

    Args:
        course: Gives what is to be read, stage by stage.
        students: A row each; every one keeps his or her unit, which stands in the row.
    """
    book = Workbook()
    book.remove(book.active)
    rows = fit_rows(course, students[0])
    for stage, own in groupby(sorted(rows, key=lambda row: STAGES.index(row.stage)), key=lambda row: row.stage):
        _stage(book.create_sheet(STAGE_TITLES[stage]), course, students, list(own))
    return finished(book, course, f"Readings of the class: {course.id}")


def _stage(sheet: Worksheet, course: Course, students: Sequence[Student], rows: Sequence[FitRow]) -> None:
    columns = [(row, column) for row in rows for column in _columns(row)]
    for cell, text in (("A1", KEYS["course"]), ("B1", course.id), ("C1", course.title)):
        _put(sheet, cell, text, bold=True)
    _put(sheet, "A2", "Type each reading in the student's own unit, which stands beside the name.")
    for number, heading in enumerate((STUDENT, NAME, UNIT), 1):
        cell = _put(sheet, (KEY, number), heading, bold=True)
        cell.fill, cell.border = HEAD_FILL, BORDER
    for number, (row, column) in enumerate(columns, 4):
        says = (row.title, f"{row.what} ({row.instrument})", f"place {column.place} {column.reader}".strip())
        for line, text in enumerate(says, KEY - len(says)):
            cell = _put(sheet, (line, number), text, _SMALL)
            cell.alignment, cell.border = Alignment(wrap_text=True, vertical="bottom"), BORDER
        key = _put(sheet, (KEY, number), column.heading, 5)
        key.fill, key.border, key.alignment = HEAD_FILL, BORDER, Alignment(wrap_text=True, vertical="top")
        sheet.column_dimensions[get_column_letter(number)].width = _WIDE
    for line, student in enumerate(students, KEY + 1):
        for number, text in enumerate((student.id, student.name, student.unit), 1):
            _put(sheet, (line, number), text).border = BORDER
        for number in range(4, 4 + len(columns)):
            cell = sheet.cell(line, number)
            cell.protection, cell.number_format, cell.fill = Protection(locked=False), "@", FILL_IN
            cell.border = BORDER
    _printed(sheet, course, KEY + len(students), 3 + len(columns))


def _put(
    sheet: Worksheet, where: str | tuple[int, int], text: str, size: int = 10, bold: bool = False
) -> Cell | MergedCell:
    cell = sheet[where] if isinstance(where, str) else sheet.cell(*where)
    plain = cell_text(text)
    cell.value = plain or None
    if plain:
        cell.data_type = "s"
    cell.font = Font(name=TYPE, size=size, bold=bold)
    return cell


def _printed(sheet: Worksheet, course: Course, last: int, width: int) -> None:
    """Headings and names stay in sight and are printed on every page; labels are protected, nothing is blocked."""
    for line, height in _HEIGHTS.items():
        sheet.row_dimensions[line].height = height
    for letter, wide in (("A", 11), ("B", 22), ("C", 7)):
        sheet.column_dimensions[letter].width = wide
    sheet.freeze_panes = sheet.cell(KEY + 1, 4)
    sheet.print_title_rows, sheet.print_title_cols = f"{min(_HEIGHTS)}:{KEY}", "A:C"
    sheet.print_area = f"A1:{get_column_letter(width)}{last}"
    setup = sheet.page_setup
    setup.orientation, setup.paperSize = "landscape", 9 if course.paper == "a4" else 1
    setup.scale = 70
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = course.id, "Page &P of &N"
    warn = DataValidation(type="textLength", operator="lessThan", formula1=LONG)
    warn.allow_blank, warn.errorStyle, warn.errorTitle = True, "warning", "A long entry"
    warn.error = "Write one reading here, as in 30.2 or 1 3/16."
    warn.add(f"D{KEY + 1}:{get_column_letter(width)}{last}")
    sheet.add_data_validation(warn)
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False


def write_class_sheets(course: Course, folder: Path) -> Iterator[Path]:
    """Write the class workbook, `class.xlsx`, or `class-1.xlsx` and on for a large class; none is written over.

    Raises:
        InputRefused: As `sheet.write_kept`.
    """
    parts = [course.students[at : at + AT_ONCE] for at in range(0, len(course.students), AT_ONCE)]
    for number, students in enumerate(parts, 1):
        name = "class.xlsx" if len(parts) == 1 else f"class-{number}.xlsx"
        yield write_kept(folder / name, class_workbook(course, students))
