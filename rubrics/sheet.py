"""Measuring sheets: what to read, where, with what, and within which limits; as rows for paper and as a workbook."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from pathlib import Path

from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from course.course import Course
from course.quantities import Values
from course.readings import STATES
from course.roster import Student
from rubrics.checks import Check, every_check
from shared.render.files import write_file

FIT, PARTS = "Fit checks", "Parts"
"""Names of the two sheets."""
HEADINGS = (
    "check", "where", "what to measure", "place", "target", "lower", "upper", "with", "checked by", "reading", "note",
    "quantity",
)  # fmt: skip
"""Columns of the first sheet, in order; readings are found by these headings."""
WIDTHS = (15, 19, 30, 6, 10, 10, 12, 9, 11, 13, 20, 40)
"""Of these columns, in signs; the last is not printed, since only the program reads it."""
PART_HEADINGS = ("label", "part", "state", "date", "part name")
READ, NOTE, QUANTITY, PLACE = "reading", "note", "quantity", "place"
KEYS = {"course": "Course", "student": "Student id", "unit": "Unit", "name": "Student"}
"""Labels in the first column of the head, and what they are called here."""
_STAGE_TITLES = {
    "stock": "Stock", "case": "Case", "frame": "Frames and panels", "fitting": "Fitting", "finish": "Finish",
}  # fmt: skip
_DATE = datetime(2000, 1, 1)


@dataclass(frozen=True, slots=True)
class FitRow:
    """One thing to read, as finished text in the student's units."""

    check: str
    """Name of the check, as `shoulder`."""
    group: str
    """Title of the check."""
    assembly: str
    stage: str
    title: str
    """Where, as `door rail top`."""
    what: str
    quantity: str
    places: int
    target: str
    lower: str
    upper: str
    instrument: str
    who: str


def fit_rows(course: Course, student: Student) -> tuple[FitRow, ...]:
    """Everything a student is to read, each thing once, in the order of the work."""
    values = course.values(student)
    rows: dict[str, FitRow] = {}
    for check in every_check(course):
        for name, places, instrument in check.reads:
            if name not in rows:
                rows[name] = _row(check, name, places, instrument, course, student, values)
    return tuple(rows.values())


def _row(
    check: Check, name: str, places: int, instrument: str, course: Course, student: Student, values: Values
) -> FitRow:
    shown, graph = student.shown, course.cabinet.graph
    fine = instrument in ("caliper", "feeler")
    text = shown.fine_bare if fine else shown.bare
    wanted = check.formula is None and check.target
    target = check.target.run(values.all) if wanted else values.target(name)
    assert isinstance(target, Fraction)
    what = check.what if len(check.reads) == 1 else graph[name].says
    lower = upper = ""
    if check.kind in ("size", "fit"):
        low, high = _limits(check, name, values)
        lower, upper = text(target + low), text(target + high)
    elif check.kind in ("difference", "spread"):
        upper = f"{text(check.upper)} apart"
    return FitRow(
        check.check, check.group, check.assembly, check.stage, check.where, what, name, places, text(target), lower,
        upper, instrument, check.who,
    )  # fmt: skip


def _limits(check: Check, name: str, values: Values) -> tuple[Fraction, Fraction]:
    """How far a reading may be from its target when everything else is right, from the band of the check."""
    if check.formula is None:
        return check.lower, check.upper
    nudged = list(values.all)
    index = values.graph.index[name]
    size = nudged[index]
    assert isinstance(size, Fraction)
    nudged[index] = size + 1
    after, before = check.formula.run(nudged), check.formula.run(values.all)
    assert isinstance(after, Fraction) and isinstance(before, Fraction)
    weight = after - before
    first, second = check.lower / weight, check.upper / weight
    return min(first, second), max(first, second)


_LINE = Side(style="thin", color="808080")
_BORDER = Border(left=_LINE, right=_LINE, top=_LINE, bottom=_LINE)
_HEAD = PatternFill("solid", fgColor="E8E8E8")
_FILL_IN = PatternFill("solid", fgColor="FFFBE6")


def measurement_workbook(course: Course, student: Student) -> bytes:
    """The workbook a student fills in: readings and parts. Labels are protected, nothing is blocked."""
    book = Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    sheet.title = FIT
    size = 16 if student.large_print else 11
    _head(sheet, course, student, size, "Write each reading in the yellow column, as you read it: 30.2 or 1 3/16.")
    _readings(sheet, fit_rows(course, student), size)
    parts = book.create_sheet(PARTS)
    _head(parts, course, student, size, "Write cut, jointed, fitted or glued beside each part, and the date.")
    _parts(parts, course, student, size)
    book.properties.creator = "fairfit"
    book.properties.title = f"Measuring sheet of {student.id}"
    book.properties.created = book.properties.modified = _DATE
    return _bytes(book)


def _head(sheet: Worksheet, course: Course, student: Student, size: int, note: str) -> None:
    lines = (
        (KEYS["name"], student.name), (KEYS["student"], student.id), (KEYS["course"], course.id),
        (KEYS["unit"], student.unit), ("How", note),
    )  # fmt: skip
    for number, (label, text) in enumerate(lines, 1):
        _text(sheet.cell(number, 1), label, size, bold=True)
        _text(sheet.cell(number, 2), text, size)
    _text(sheet.cell(1, 3), course.title, size, bold=True)


def _readings(sheet: Worksheet, rows: Iterable[FitRow], size: int) -> None:
    top = 7
    for column, heading in enumerate(HEADINGS, 1):
        _heading(sheet.cell(top, column), heading, size)
    line = top
    stage = ""
    for row in rows:
        if row.stage != stage:
            line, stage = line + 1, row.stage
            _text(sheet.cell(line, 1), _STAGE_TITLES[stage], size + 1, bold=True)
        for place in range(1, row.places + 1):
            line += 1
            texts = (
                row.group, row.title, row.what, str(place), row.target, row.lower, row.upper, row.instrument, row.who,
                "", "", row.quantity,
            )  # fmt: skip
            for column, text in enumerate(texts, 1):
                cell = sheet.cell(line, column)
                _text(cell, text, size)
                cell.border = _BORDER
                cell.alignment = Alignment(wrap_text=True, vertical="top")
                if HEADINGS[column - 1] in (READ, NOTE):
                    cell.protection = Protection(locked=False)
                    cell.number_format = "@"
                if HEADINGS[column - 1] == READ:
                    cell.fill = _FILL_IN
                if HEADINGS[column - 1] == QUANTITY:
                    cell.font = Font(name="DejaVu Sans", size=7, color="808080")
            sheet.row_dimensions[line].height = (
                size
                * 1.45
                * max(-(-len(text) // int(width * 0.95)) for text, width in zip(texts, WIDTHS, strict=True) if text)
            )
    _finish(sheet, top, line, WIDTHS, size, HEADINGS.index(NOTE) + 1)
    letter = get_column_letter(HEADINGS.index(READ) + 1)
    warn = DataValidation(type="textLength", operator="lessThan", formula1="25", allow_blank=True, errorStyle="warning")
    warn.errorTitle, warn.error = "A long entry", "Write one reading here, as in 30.2 or 1 3/16."
    sheet.add_data_validation(warn)
    warn.add(f"{letter}{top + 1}:{letter}{line}")


def _parts(sheet: Worksheet, course: Course, student: Student, size: int) -> None:
    top = 7
    states = course.log.states(student.id)
    for column, heading in enumerate(PART_HEADINGS, 1):
        _heading(sheet.cell(top, column), heading, size)
    line = top
    for part in course.cabinet.parts:
        line += 1
        state = states.get(part.name)
        assembly = course.cabinet.assemblies[part.assembly].title
        named = part.title if part.title.startswith(assembly) else f"{assembly} {part.title}"
        texts = (part.label, named, state.name if state else "", state.at if state else "", part.name)
        for column, text in enumerate(texts, 1):
            cell = sheet.cell(line, column)
            _text(cell, text, size)
            cell.border = _BORDER
            if PART_HEADINGS[column - 1] in ("state", "date"):
                cell.protection = Protection(locked=False)
                cell.number_format, cell.fill = "@", _FILL_IN
    _finish(sheet, top, line, (14, 26, 16, 16, 26), size, len(PART_HEADINGS))
    warn = DataValidation(type="list", formula1=f'"{",".join(STATES)}"', allow_blank=True, errorStyle="warning")
    warn.errorTitle, warn.error = "Not a state", "Write " + ", ".join(STATES) + "."
    sheet.add_data_validation(warn)
    letter = get_column_letter(PART_HEADINGS.index("state") + 1)
    warn.add(f"{letter}{top + 1}:{letter}{line}")


def _text(cell: Cell, text: str, size: int, bold: bool = False) -> None:
    """Text that is never taken for a formula, whatever it begins with."""
    plain = "".join(c for c in text.replace("\u00a0", " ") if ord(c) >= 32)
    cell.value = plain or None
    if plain:
        cell.data_type = "s"
    cell.font = Font(name="DejaVu Sans", size=size, bold=bold)


def _heading(cell: Cell, text: str, size: int) -> None:
    _text(cell, text, size, bold=True)
    cell.fill, cell.border = _HEAD, _BORDER
    cell.alignment = Alignment(wrap_text=True, vertical="top")


def _finish(sheet: Worksheet, top: int, last: int, widths: Iterable[float], size: int, printed: int) -> None:
    for column, width in enumerate(widths, 1):
        sheet.column_dimensions[get_column_letter(column)].width = width * size / 11
    sheet.freeze_panes = sheet.cell(top + 1, 1)
    sheet.print_title_rows = f"{top}:{top}"
    sheet.print_area = f"A1:{get_column_letter(printed)}{last}"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.right.text = "Page &P of &N"
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False


def _bytes(book: Workbook) -> bytes:
    """The workbook's bytes, the same every time: dates inside the archive are fixed, files are in order."""
    raw = io.BytesIO()
    book.save(raw)
    out = io.BytesIO()
    with zipfile.ZipFile(raw) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in source.namelist():
            data = source.read(name)
            if name == "docProps/core.xml":
                data = _fixed_dates(data)
            packed.writestr(zipfile.ZipInfo(name, (2000, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _fixed_dates(core: bytes) -> bytes:
    return re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", core)


def write_sheet(course: Course, student: Student, path: Path) -> Path:
    """Write a student's measuring workbook."""
    return write_file(path, measurement_workbook(course, student))


def cells_by_heading(sheet: Worksheet, needed: Iterable[str], limit: int = 60) -> tuple[int, dict[str, int]] | None:
    """The row of headings and the column of each, wherever they were moved to; None when there is no such row."""
    wanted = set(needed)
    for row in sheet.iter_rows(min_row=1, max_row=limit):
        found = {str(cell.value).strip().lower(): cell.column for cell in row if cell.value is not None}
        if wanted <= set(found):
            return row[0].row, {name: found[name] for name in found}
    return None


def fill(
    workbook: bytes, readings: Mapping[tuple[str, int], str], states: Mapping[str, tuple[str, str]]
) -> bytes:  # fmt: skip
    """A measuring workbook with readings and states of parts written in, as a student would.

    Args:
        workbook: From `measurement_workbook`.
        readings: Texts by quantity and place.
        states: State and date by the label of a part.
    """
    book = load_workbook(io.BytesIO(workbook))
    for cell, text in _filled(book, readings, states):
        cell.value = text
        cell.data_type = "s"
    return _bytes(book)


def _filled(
    book: Workbook, readings: Mapping[tuple[str, int], str], states: Mapping[str, tuple[str, str]]
) -> Iterator[tuple[Cell, str]]:  # fmt: skip
    sheet = book[FIT]
    found = cells_by_heading(sheet, (READ, QUANTITY, PLACE))
    assert found is not None
    top, columns = found
    for row in range(top + 1, sheet.max_row + 1):
        place = str(sheet.cell(row, columns[PLACE]).value or "")
        key = (str(sheet.cell(row, columns[QUANTITY]).value or ""), int(place) if place.isdigit() else 0)
        if key in readings:
            yield sheet.cell(row, columns[READ]), readings[key]
    parts = book[PARTS]
    found = cells_by_heading(parts, ("label", "state", "date"))
    assert found is not None
    top, columns = found
    for row in range(top + 1, parts.max_row + 1):
        label = str(parts.cell(row, columns["label"]).value or "")
        if label in states:
            state, date = states[label]
            yield parts.cell(row, columns["state"]), state
            yield parts.cell(row, columns["date"]), date
