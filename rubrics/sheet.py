"""Measuring sheets: what to read, where, with what, and within which limits; as rows for paper and as a workbook."""

from __future__ import annotations

import io
import re
import textwrap
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import groupby
from math import ceil, floor
from pathlib import Path
from types import MappingProxyType

from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell
from openpyxl.drawing.image import Image
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.styles.cell_style import StyleArray
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from course.changes import AsMade
from course.course import Course
from course.quantities import Values
from course.readings import STATES
from course.roster import Student
from rubrics.checks import Check, every_check
from rubrics.where import Asked, read_where, where_drawing
from shared.places import Place
from shared.problems import InputRefused, Problem
from shared.render.files import write_file
from shared.render.picture import write_png
from shared.render.sketch import Drawing
from shared.units import INCH, Shown

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
STAGE_TITLES = {
    "stock": "Stock", "case": "Case", "frame": "Frames and panels", "fitting": "Fitting", "finish": "Finish",
}  # fmt: skip
_CHECKERS = {"student": "yourself", "partner": "a partner", "gauge": "a gauge", "instructor": "the instructor"}
_DATE = datetime(2000, 1, 1)
_HIGH, _ALT, _PAGE = 15.0, 105, 700.0
"""Height of a line below the sketches, signs in a line of their words, and height of a page. [pt] and [pt]"""
TYPE = "Arial"
"""Typeface of all cells."""
LONG = "25"
"""Signs from which an entry is so long that it brings a warning."""
TOP = 7
"""The line of the headings."""


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
    second: bool
    """Whether a second person reads it too."""
    at: str
    """How it is measured, as a sketch of `where.py` shows it."""


def columns_of(course: Course) -> tuple[Column, ...]:
    """Columns of the first sheet; with one for a second reader where the course asks for it (`second_reader: yes`)."""
    if course.text("second_reader") != "yes":
        return COLUMNS
    before = [column.heading for column in COLUMNS].index(NOTE)
    return (*COLUMNS[:before], SECOND_COLUMN, *COLUMNS[before:])


def fit_rows(course: Course, student: Student) -> tuple[FitRow, ...]:
    """Everything a student is to read, each thing once, in the order of the work."""
    values = course.values(student)
    made = AsMade(course, student, values)
    rows: dict[str, FitRow] = {}
    for check in every_check(course):
        for name, places, instrument in check.reads:
            if name not in rows:
                rows[name] = _row(check, name, places, instrument, course, student, values, made)
    return tuple(rows.values())


def where_to_measure(course: Course, rows: Iterable[FitRow]) -> Drawing | None:
    """Sketches of where some rows are measured, the same for every student; None when they have none.

    Raises:
        InputRefused: The words below them cannot be used (`where.read_where`).
    """
    asked = (Asked(row.at, row.group, row.what, row.places) for row in rows)
    return where_drawing("Where to measure", asked, read_where(course.folder))


def _row(
    check: Check, name: str, places: int, instrument: str, course: Course, student: Student, values: Values,
    made: AsMade,
) -> FitRow:  # fmt: skip
    shown, graph = student.shown, course.cabinet.graph
    fine = instrument in ("caliper", "feeler")
    text = shown.fine_bare if fine else shown.bare
    wanted = check.formula is None and check.target
    target = check.target.run(values.all) if wanted else made.target(name)
    assert isinstance(target, Fraction)
    what = graph[name].says if len(check.reads) > 1 or check.kind == "spread" else check.what
    lower = upper = ""
    if check.kind in ("size", "fit"):
        if limits := _limits(check, name, values):
            lower, upper = _between(target + limits[0], target + limits[1], shown, text)
    elif check.kind == "difference" and len(check.reads) == 1:
        lower, upper = text(max(target - check.upper, Fraction(0))), text(target + check.upper)
    elif check.kind in ("difference", "spread"):
        upper = f"{text(check.upper)} apart"
    return FitRow(
        check.check, check.group, check.assembly, check.stage, check.where, what, name, places, text(target), lower,
        upper, instrument, check.who, check.readers > 1 and SECOND_COLUMN in columns_of(course),
        check.at,
    )  # fmt: skip


def _between(low: Fraction, high: Fraction, shown: Shown, text: Callable[[Fraction], str]) -> tuple[str, str]:
    """Two limits as text; as fractions of an inch the last marks of a rule between them, if there is any."""
    if text == shown.bare and shown.unit == "in" and shown.parts:
        mark = INCH / shown.parts
        first, last = ceil(low / mark) * mark, floor(high / mark) * mark
        return (text(first), text(last)) if first <= last else (shown.fine_bare(low), shown.fine_bare(high))
    return text(low), text(high)


def _limits(check: Check, name: str, values: Values) -> tuple[Fraction, Fraction] | None:
    """How far a reading may be from its target when everything else is right, from the band of the check.

    None when the result does not follow this reading, as the smaller of two in a `max`.
    """
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
    if not weight:
        return None
    first, second = check.lower / weight, check.upper / weight
    return min(first, second), max(first, second)


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
    sheet.column_dimensions["A"].width = 86
    sheet.page_setup.paperSize = 9 if course.paper == "a4" else 1
    margins = sheet.page_margins
    margins.left = margins.right = 0.4
    margins.top, margins.bottom, margins.header, margins.footer = 0.5, 0.6, 0.3, 0.3
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = course.id, "Page &P of &N"
    sheet.sheet_format.defaultRowHeight, sheet.sheet_format.customHeight = _HIGH, True
    sheet.protection.sheet = True


def finished(book: Workbook, course: Course, title: str) -> bytes:
    """A workbook in the words of the course, as a file that is the same every time."""
    _in_terms(book, course)
    book.properties.creator = "fairfit"
    book.properties.title = title
    book.properties.created = book.properties.modified = _DATE
    return _bytes(book)


def _in_terms(book: Workbook, course: Course) -> None:
    """The words of the course in every cell; names of quantities and parts are dotted and stay."""
    for cell in (cell for sheet in book.worksheets for row in sheet.iter_rows() for cell in row if cell.value):
        cell.value, cell.data_type = course.wording.text(str(cell.value)), "s"


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
    plain = plain_text(text)
    cell.value = plain or None
    if plain:
        cell.data_type = "s"


def _text(cell: Cell, text: str, size: int, bold: bool = False) -> None:
    _written(cell, text)
    cell.font = Font(name=TYPE, size=size, bold=bold)


def plain_text(text: str) -> str:
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
    large = student.large_print
    for number, column in enumerate(columns, 1):
        _heading(sheet.cell(TOP, number), column.heading, _size(large))
        shape = sheet.column_dimensions[get_column_letter(number)]
        shape.width = (column.large if large else column.width) * _size(large) / 11
        shape.hidden = not column.shown
    sheet.row_dimensions[TOP].height = _size(large) * 1.7
    sheet.freeze_panes = sheet.cell(TOP + 1, 1)
    sheet.print_title_rows = f"{TOP}:{TOP}"
    sheet.print_area = f"A1:{_letter(columns, printed)}{last}"
    setup, margins = sheet.page_setup, sheet.page_margins
    setup.orientation, setup.paperSize = "landscape", 9 if course.paper == "a4" else 1
    setup.fitToWidth, setup.fitToHeight = 1, 0
    margins.left = margins.right = 0.4
    margins.top, margins.bottom, margins.header, margins.footer = 0.5, 0.6, 0.3, 0.3
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = f"{course.id}, {student.id}", "Page &P of &N"
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
    """Write a student's measuring workbook; one that somebody wrote into is never written over.

    Raises:
        InputRefused: There is one that holds somebody's work, or it cannot be written.
    """
    return write_kept(path, measurement_workbook(course, student))


def write_kept(path: Path, data: bytes) -> Path:
    """Write a workbook that people fill in; one that somebody wrote into is never written over.

    Raises:
        InputRefused: There is one that holds somebody's work (C033), or it cannot be written.
    """
    if path.is_file() and path.read_bytes() != data and _holds_work(path, data):
        says = "somebody wrote into the measuring sheet, so it is left as it is"
        do = "Collect it, then move it away and prepare again."
        raise InputRefused([Problem("C033", Place(path.name), says, do, severe=False)])
    return write_file(path, data)


def _holds_work(path: Path, fresh: bytes) -> bool:
    """Whether a person wrote anything into a sheet that a fresh one lacks; one that cannot be opened holds some."""
    try:
        written, made = load_workbook(path), load_workbook(io.BytesIO(fresh))
        return any(_typed(written[name]) - _typed(made[name]) for name in made.sheetnames)
    except Exception:  # a foreign file can fail in any way; it is somebody's work all the same
        return True


def _typed(sheet: Worksheet) -> set[tuple[str, str]]:
    """Cells that are there to be filled in, and what is in them."""
    cells = (cell for row in sheet.iter_rows() for cell in row if cell.value is not None)
    return {(cell.coordinate, str(cell.value)) for cell in cells if not cell.protection.locked}


def cells_by_heading(sheet: Worksheet, needed: Iterable[str], limit: int = 60) -> tuple[int, dict[str, int]] | None:
    """The row of headings and the column of each, wherever they were moved to; None when there is no such row."""
    wanted = set(needed)
    for row in sheet.iter_rows(min_row=1, max_row=limit):
        found = {str(cell.value).strip().lower(): cell.column for cell in row if cell.value is not None}
        if wanted <= set(found):
            return row[0].row, {name: found[name] for name in found}
    return None


def fill(
    workbook: bytes, readings: Mapping[tuple[str, int], str], states: Mapping[str, tuple[str, str]],
    moistures: Mapping[str, str] = MappingProxyType({}),
    seconds: Mapping[tuple[str, int], str] = MappingProxyType({}),
) -> bytes:  # fmt: skip
    """A measuring workbook with readings and states of parts written in, as a student would.

    Args:
        workbook: From `measurement_workbook`.
        readings: Texts by quantity and place.
        states: State and date by the label of a part.
        moistures: Texts by the label of a part.
        seconds: Texts of the second reader by quantity and place, on a sheet that asks for one.
    """
    book = load_workbook(io.BytesIO(workbook))
    for cell, text in _filled(book, readings, states, moistures, seconds):
        cell.value = text
        cell.data_type = "s"
    return _bytes(book)


def _filled(
    book: Workbook, readings: Mapping[tuple[str, int], str], states: Mapping[str, tuple[str, str]],
    moistures: Mapping[str, str], seconds: Mapping[tuple[str, int], str],
) -> Iterator[tuple[Cell, str]]:  # fmt: skip
    sheet = book[FIT]
    found = cells_by_heading(sheet, (READ, *((SECOND,) if seconds else ()), QUANTITY, PLACE))
    assert found is not None
    top, columns = found
    for row in range(top + 1, sheet.max_row + 1):
        place = str(sheet.cell(row, columns[PLACE]).value or "")
        key = (str(sheet.cell(row, columns[QUANTITY]).value or ""), int(place) if place.isdecimal() else 0)
        if key in readings:
            yield sheet.cell(row, columns[READ]), readings[key]
        if key in seconds:
            yield sheet.cell(row, columns[SECOND]), seconds[key]
    parts = book[PARTS]
    found = cells_by_heading(parts, ("label", "state", "date", WET))
    assert found is not None
    top, columns = found
    for row in range(top + 1, parts.max_row + 1):
        label = str(parts.cell(row, columns["label"]).value or "")
        if label in states:
            state, date = states[label]
            yield parts.cell(row, columns["state"]), state
            yield parts.cell(row, columns["date"]), date
        if label in moistures:
            yield parts.cell(row, columns[WET]), moistures[label]
