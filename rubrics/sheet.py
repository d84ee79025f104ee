"""Measuring workbooks: the sheets that a student fills in, their columns, looks and print."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterable, Sequence
from copy import copy
from itertools import groupby
from math import ceil
from pathlib import Path

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.drawing.image import Image
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.styles.cell_style import StyleArray
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from course.course import Course
from course.readings import STATES
from course.roster import Student
from rubrics.fit_rows import STAGE_TITLES, FitRow, fit_rows, where_to_measure
from rubrics.sheet_columns import (
    FIT,
    KEYS,
    NOTE,
    PART_COLUMNS,
    PARTS,
    PLACE,
    QUANTITY,
    READ,
    SECOND,
    SECOND_COLUMN,
    TOP,
    WET,
    WHERE,
    Column,
    columns_of,
)
from rubrics.sheet_files import finished, write_kept
from shared.render.picture import write_png

_CHECKERS = {"student": "yourself", "partner": "a partner", "gauge": "a gauge", "instructor": "the instructor"}
_HIGH, _ALT, _PAGE = 15.0, 93, 700.0
"""Height of a line below the sketches, signs in a line of their words, and height of a page. [pt] and [pt]"""
_UPRIGHT = 100.0
"""Columns wider than this, in digits of the usual size, print on a page laid on its side."""
TYPE = "Arial"
"""Typeface of all cells."""
LONG = "25"
"""Signs from which an entry is so long that it brings a warning."""
_LINE = Side(style="thin", color="808080")
BORDER = Border(left=_LINE, right=_LINE, top=_LINE, bottom=_LINE)
HEAD_FILL = PatternFill("solid", fgColor="E8E8E8")
FILL_IN = PatternFill("solid", fgColor="FFFBE6")
"""Of cells that are there to be filled in."""


def measurement_workbook(course: Course, student: Student) -> bytes:
    """The workbook a student fills in: readings and parts. Labels are protected, nothing is blocked."""
    book = Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    sheet.title = FIT
    large, columns = student.large_print, columns_of(course)
    second = SECOND_COLUMN in columns
    how = "Write each reading in the yellow column, as you read it: 30.2 or 1 3/16; measured again, 30.2; 30.4."
    _head(sheet, course, student, how)
    last = _readings(sheet, columns, fit_rows(course, student), large)
    _finish(sheet, course, student, columns, last, (SECOND if second else READ) if large else NOTE)
    for heading in (READ, SECOND) if second else (READ,):
        _warned(sheet, columns, heading, last, "A long entry", "Write one reading here, as in 30.2 or 1 3/16.", LONG)
    parts = book.create_sheet(PARTS)
    how = f"Write cut, jointed, fitted or glued, and the date. {WET.capitalize()}: moisture when its width was read."
    _head(parts, course, student, how)
    last = _parts(parts, course, student)
    _finish(parts, course, student, PART_COLUMNS, last, WET)
    _warned(parts, PART_COLUMNS, "state", last, "Not a state", "Write " + ", ".join(STATES) + ".")
    _where(book.create_sheet(WHERE), course, fit_rows(course, student), large)
    return finished(book, course, f"Measuring sheet of {student.id}")


def _where(sheet: Worksheet, course: Course, rows: Sequence[FitRow], large: bool) -> None:
    """The sketches, a picture for each stage below its name; their words stand beside them for those who cannot see."""
    line, used = 1, 0.0
    for stage, own in groupby(rows, key=lambda row: row.stage):
        drawing = where_to_measure(course, own)
        if drawing is None:
            continue
        said, lines = 11.0 * len(textwrap.wrap(drawing.alt, _ALT)), ceil(drawing.height / 25.4 * 72 / _HIGH)
        tall = said + (lines + 2) * _HIGH
        if used and used + tall > _PAGE:
            sheet.row_breaks.append(Break(line - 1))
            used = 0.0
        used += tall
        _text(sheet.cell(line, 1), STAGE_TITLES[stage], _size(large), bold=True)
        _text(sheet.cell(line + 1, 1), drawing.alt, 8)
        sheet.cell(line + 1, 1).alignment = Alignment(wrap_text=True, vertical="top")
        sheet.row_dimensions[line + 1].height = said
        picture = Image(io.BytesIO(write_png(drawing.svg)))
        picture.width, picture.height = (round(side / 25.4 * 96) for side in (drawing.width, drawing.height))
        sheet.add_image(picture, f"A{line + 2}")
        line += 3 + lines
    sheet.column_dimensions["A"].width = 76
    sheet.page_setup.paperSize = 9 if course.paper == "a4" else 1
    margins = sheet.page_margins
    margins.left = margins.right = 0.4
    margins.top, margins.bottom, margins.header, margins.footer = 0.5, 0.6, 0.3, 0.3
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = course.id, "Page &P of &N"
    sheet.sheet_format.defaultRowHeight, sheet.sheet_format.customHeight = _HIGH, True
    sheet.protection.sheet = True


def _size(large: bool) -> int:
    return 16 if large else 11


def _head(sheet: Worksheet, course: Course, student: Student, note: str) -> None:
    """The lines above the headings: their labels stand in the first column that is shown."""
    size = _size(student.large_print)
    lines = (
        (KEYS["name"], student.name, course.title), (KEYS["student"], student.id, ""), (KEYS["course"], course.id, ""),
        (KEYS["unit"], student.unit, ""), (KEYS["note"], note, ""),
    )  # fmt: skip
    first = 2 if sheet.title == FIT else 1
    for number, (label, text, title) in enumerate(lines, 1):
        _text(sheet.cell(number, first), label, size, bold=True)
        _text(sheet.cell(number, first + 1), text, size)
        _text(sheet.cell(number, first + 3), title, size, bold=True)
        sheet.row_dimensions[number].height = size * 1.5


def _readings(sheet: Worksheet, columns: Sequence[Column], rows: Iterable[FitRow], large: bool) -> int:
    """Write the rows under a line for each stage and check; gives the last line."""
    size, line, group = _size(large), TOP, ("", "")
    looks: dict[tuple[bool, bool], StyleArray] = {}
    for row in rows:
        if (row.stage, row.group) != group:
            line, group = line + 1, (row.stage, row.group)
            words = f"{STAGE_TITLES[row.stage]}: {row.group}, checked by {_CHECKERS[row.who]}"
            _text(sheet.cell(line, 2), words, size, bold=True)
            sheet.cell(line, 2).alignment = Alignment(vertical="bottom")
            sheet.row_dimensions[line].height = size * 2
        for place in range(1, row.places + 1):
            line += 1
            known = {
                "check": row.group, "where": row.title, "what to measure": row.what, PLACE: str(place),
                "target": row.target, "lower": row.lower, "upper": row.upper, "with": row.instrument,
                "checked by": row.who, QUANTITY: row.quantity,
            }  # fmt: skip
            texts = [known.get(column.heading, "") for column in columns]
            _line(sheet, line, columns, texts, large, (READ, SECOND, NOTE) if row.second else (READ, NOTE), looks)
    return line


def _parts(sheet: Worksheet, course: Course, student: Student) -> int:
    line, states, values = TOP, course.log.states(student.id), course.values(student)
    looks: dict[tuple[bool, bool], StyleArray] = {}
    for part in course.cabinet.parts:
        line += 1
        state = states.get(part.name)
        known = (state.name, state.at) if state else ("", "")
        texts = (part.label, course.cabinet.named(part), *known, "", part.name)
        solid = values[f"stock.{part.stock}.build"] == "solid"
        open_ = ("state", "date", *((WET,) if solid else ()))
        _line(sheet, line, PART_COLUMNS, texts, student.large_print, open_, looks)
    return line


def _line(
    sheet: Worksheet, line: int, columns: Sequence[Column], texts: Sequence[str], large: bool, written: Sequence[str],
    looks: dict[tuple[bool, bool], StyleArray],
) -> None:
    """One row, as high as its longest text needs; only the cells to be written in are open."""
    size, most = _size(large), 1
    for number, (column, text) in enumerate(zip(columns, texts, strict=True), 1):
        cell = sheet.cell(line, number)
        last, open_ = number == len(columns), column.heading in written
        _written(cell, text)
        if (last, open_) not in looks:
            looks[last, open_] = _look(cell, size, last, open_)
        cell._style = copy(looks[last, open_])
        if column.shown and not last:
            most = max(most, len(textwrap.wrap(text, column.large if large else column.width)))
    sheet.row_dimensions[line].height = size * (1.3 * most + 0.4)


def _warned(
    sheet: Worksheet, columns: Sequence[Column], heading: str, last: int, title: str, words: str, longest: str = ""
) -> None:
    """Entries of a column that are unusual bring a warning and may stand all the same."""
    if longest:
        warn = DataValidation(type="textLength", operator="lessThan", formula1=longest)
    else:
        warn = DataValidation(type="list", formula1=f'"{",".join(STATES)}"')
    warn.allow_blank, warn.errorStyle, warn.errorTitle, warn.error = True, "warning", title, words
    letter = _letter(columns, heading)
    warn.add(f"{letter}{TOP + 1}:{letter}{last}")
    sheet.add_data_validation(warn)


def _letter(columns: Sequence[Column], heading: str) -> str:
    return get_column_letter([column.heading for column in columns].index(heading) + 1)


def _look(cell: Cell, size: int, last: bool, open_: bool) -> StyleArray:
    """Give a cell of a row its look; it is worked out once and copied, since openpyxl takes long over each."""
    if last:
        cell.font = Font(name=TYPE, size=8, color="A0A0A0")
        return cell._style
    cell.font = Font(name=TYPE, size=size)
    cell.border, cell.alignment = BORDER, Alignment(wrap_text=True, vertical="center")
    if open_:
        cell.protection, cell.number_format, cell.fill = Protection(locked=False), "@", FILL_IN
    return cell._style


def _written(cell: Cell, text: str) -> None:
    """Text that is never taken for a formula, whatever it begins with."""
    plain = cell_text(text)
    cell.value = plain or None
    if plain:
        cell.data_type = "s"


def _text(cell: Cell, text: str, size: int, bold: bool = False) -> None:
    _written(cell, text)
    cell.font = Font(name=TYPE, size=size, bold=bold)


def cell_text(text: str) -> str:
    """A text without the signs that a cell cannot hold."""
    return "".join(c for c in text.replace("\u00a0", " ") if ord(c) >= 32)


def _heading(cell: Cell, text: str, size: int) -> None:
    _text(cell, text, size, bold=True)
    cell.fill, cell.border = HEAD_FILL, BORDER
    cell.alignment = Alignment(wrap_text=True, vertical="top")


def _finish(
    sheet: Worksheet, course: Course, student: Student, columns: Sequence[Column], last: int, printed: str
) -> None:
    """Headings, widths, protection, and how the sheet prints."""
    large, wide = student.large_print, 0.0
    paper = [column.heading for column in columns].index(printed) + 1
    for number, column in enumerate(columns, 1):
        _heading(sheet.cell(TOP, number), column.heading, _size(large))
        shape = sheet.column_dimensions[get_column_letter(number)]
        shape.width = (column.large if large else column.width) * _size(large) / 11
        shape.hidden = not column.shown
        wide += shape.width if column.shown and number <= paper else 0
    sheet.row_dimensions[TOP].height = _size(large) * 1.7
    sheet.freeze_panes = sheet.cell(TOP + 1, 1)
    sheet.print_title_rows = f"{TOP}:{TOP}"
    sheet.print_area = f"A1:{_letter(columns, printed)}{last}"
    setup, margins = sheet.page_setup, sheet.page_margins
    setup.orientation = "landscape" if wide > _UPRIGHT else "portrait"
    setup.paperSize = 9 if course.paper == "a4" else 1
    setup.fitToWidth, setup.fitToHeight = 1, 0
    margins.left = margins.right = 0.4
    margins.top, margins.bottom, margins.header, margins.footer = 0.5, 0.6, 0.3, 0.3
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = f"{course.id}, {student.id}", "Page &P of &N"
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False


def write_sheet(course: Course, student: Student, path: Path) -> Path:
    """Write a student's measuring workbook; one that somebody wrote into is never written over.

    Raises:
        InputRefused: There is one that holds somebody's work, or it cannot be written.
    """
    return write_kept(path, measurement_workbook(course, student))
