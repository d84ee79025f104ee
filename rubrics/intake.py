"""Takes in measured sheets: workbooks from any spreadsheet, and CSV; cell by cell, nothing lost, nothing twice.

Nothing of a foreign file is ever run: formulas are not evaluated, links are not followed.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.worksheet.worksheet import Worksheet

from course.changes import given_now
from course.course import Course
from course.formula import LENGTH
from course.moisture import parts_across
from course.readings import MOISTURE, SEVERAL, STATES, Judgement, Reading, Taken
from course.roster import Student
from course.stock import moisture
from rubrics.book_intake import BEFORE, Edits, Entry, is_gradebook, judged_rows, read_edits
from rubrics.cells import as_typed, number_text
from rubrics.checks import asked_places
from rubrics.class_sheet import NAME, STUDENT, UNIT, read_heading
from rubrics.disagreements import allowed_apart, disagreements, who
from rubrics.doubts import doubts
from rubrics.final import FILE as FINAL
from rubrics.last_term import FILE as FIGURES
from rubrics.repeated import repeated
from rubrics.sheet import KEYS, NOTE, PLACE, QUANTITY, READ, SECOND, WET, cells_by_heading
from rubrics.signatures import bands, signatures
from shared.places import Place, Row, Unreadable, read_csv, read_text
from shared.problems import Problem, meant
from shared.units import NotALength, length

SHEETS, FOREIGN = (".xlsx", ".xlsm", ".csv"), (".ods", ".fods", ".xls", ".xlsb")
"""What is taken in out of a folder, and what is told to be saved again."""
OURS = (BEFORE, FINAL, FIGURES)
"""Files made beside the gradebook, which hold nothing to take in."""
MAX_BYTES, MAX_UNPACKED, MAX_CELLS, MAX_ROWS, MAX_COLUMNS = 10_000_000, 100_000_000, 50_000, 5_000, 400
"""No measuring sheet is larger than this."""
LONGEST = 30
"""Signs in a reading."""
CLOSED = Fraction(5)
"""A gap planned no wider than this may be read as 0; nothing else can be. [mm]"""
_CELL, _FORMULA, _DECLARED = re.compile(rb"<(?:\w+:)?c[ />]"), re.compile(rb"<(?:\w+:)?f[ />]"), re.compile(rb"<!\w")
CSV_COLUMNS = ("student", "quantity", "place", "attempt", "reading", "unit", "reader", "instrument", "taken", "note",
               "moisture")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mark:
    """A state of a part, written on a sheet."""

    student: Student
    part: str
    state: str
    date: str
    place: Place


@dataclass
class _Found:
    """What one file holds."""

    places: dict[str, int]
    """Sizes that are measured, and at how many places."""
    readings: list[Reading] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    asks: list[tuple[Reading, Problem]] = field(default_factory=list)
    """What to ask about a reading, should it be new."""
    moistures: list[Reading] = field(default_factory=list)
    """Moistures of parts, in percent."""
    kept: list[Reading] = field(default_factory=list)
    """What was written and cannot be a reading: kept as typed, and left out."""
    vouched: list[Reading] = field(default_factory=list)
    """What an instructor changed or added in a gradebook."""
    judgements: list[Judgement] = field(default_factory=list)

    def wrong(self, code: str, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem(code, place, says, do))


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


def collect(course: Course, paths: Sequence[Path], told: Callable[[Path], None] = lambda path: None) -> Collected:
    """Take in files, and all workbooks and CSV files of folders.

    Args:
        course: Its log grows; its values are fresh afterwards.
        paths: Files and folders.
        told: Called with each file before it is read.
    """
    found = _Found(asked_places(course))
    files = [file for path in paths for file in _files(path, found)]
    for file, name in files:
        told(file)
        _read(course, file, name, found)
    offered = [*(_doubted(course, one, found) for one in found.readings), *found.vouched]
    taken = course.log.add(offered, given_now(course, {one.student for one in offered}))
    wet = course.log.add(found.moistures)
    judged = len(course.log.judge(found.judgements)) if found.judgements else 0
    course.log.add(found.kept)
    found.problems += _taken_back(taken)
    course.fresh()
    marked = sum(_marked(course, mark, found) for mark in found.marks)
    questions = (
        *(ask for one, ask in found.asks if one in taken.new), *_questions(course, taken.new), *_twice(taken.new),
        *_made_again(taken.new), *_apart(course, taken.new), *_repeated(course, taken.new),
    )  # fmt: skip
    files_read = tuple(file for file, _ in files)
    return Collected(taken, files_read, marked, tuple(found.problems), questions, len(wet.new), judged)


def _files(path: Path, found: _Found) -> Iterator[tuple[Path, str]]:
    """Files, with the name each is told and remembered by: in a folder with its place there."""
    if path.is_dir():
        own = [p for p in path.rglob("*") if not p.name.startswith((".", "~$", *OURS)) and not p.is_dir()]
        inside = sorted(p for p in own if p.suffix.lower() in (*SHEETS, *FOREIGN))
        if not inside:
            says = "there is no workbook or CSV file in this folder"
            found.wrong("C001", Place(path.name), says, "Give another folder.")
        yield from ((file, file.relative_to(path).as_posix()) for file in inside)
    elif path.exists():
        yield path, path.name
    else:
        found.wrong("C002", Place(path.name), "there is no such file", "Check its name.")


def _read(course: Course, file: Path, name: str, found: _Found) -> None:
    if file.suffix.lower() in FOREIGN:
        says = f"a workbook of the kind {file.suffix.lower()} is not taken in"
        found.wrong("C027", Place(name), says, "Open it and save it again as .xlsx, then give that.")
    elif file.suffix.lower() == ".csv":
        _csv(course, file, name, found)
    elif is_gradebook(file):
        _edited(course, read_edits(course, file, name), found)
    elif opened := _opened(file, name, found):
        _workbook(course, opened, name, found)


def _edited(course: Course, edits: Edits, found: _Found) -> None:
    """What an instructor changed in a gradebook: taken as it stands, for whoever changed it has looked."""
    found.problems += edits.problems
    found.judgements += edits.judgements
    for one in edits.entries:
        reading = _reading(course, _asked(one), one.typed, found)
        if reading:
            found.vouched.append(replace(reading, held=one.held))
        if reading and one.formula:
            found.asks.append((found.vouched[-1], _formula_asked(one.where, reading)))


def _asked(one: Entry) -> _Asked:
    return _Asked(
        one.student, one.quantity, one.place, one.attempt, one.student.unit, one.where, one.note, one.reader,
        one.instrument, one.taken,
    )  # fmt: skip


def _formula_asked(where: Place, reading: Reading) -> Problem:
    says = f"a formula stands here; what it last came to is taken in: {reading.raw}"
    return Problem("C103", where, says, "Type the reading itself.", severe=False)


def _taken_back(taken: Taken) -> Iterator[Problem]:
    """Cells that say again what they said before they were changed: the log takes that for an older file."""
    for one, since in taken.back:
        says = f"'{one.raw}' stood here before, and '{since}' after it; it is not taken back"
        do = "If it is right all the same, save the sheet under another name and collect that."
        yield Problem("C028", one.where, says, do, severe=False)


@dataclass(frozen=True, slots=True)
class _Opened:
    """A workbook with the values its program left in it, and the cells of each sheet that hold a formula."""

    book: Workbook
    formulas: dict[str, frozenset[str]]


def _opened(file: Path, name: str, found: _Found) -> _Opened | None:
    place = Place(name)
    try:
        if file.stat().st_size > MAX_BYTES:
            found.wrong(
                "C003", place, "the file is larger than any measuring sheet", "Give the sheet that fairfit made."
            )
            return None
        data = file.read_bytes()
    except OSError as error:
        says = f"the file cannot be read ({(error.strerror or 'unknown reason').lower()})"
        found.wrong("C004", place, says, "Close other programs that use it.")
        return None
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        do = "Save it again as .xlsx, without a password."
        found.wrong("C005", place, "the workbook is locked by a password or of an old kind", do)
        return None
    try:
        return _loaded(data)
    except _TooLarge:
        found.wrong("C003", place, "the file is larger than any measuring sheet", "Give the sheet that fairfit made.")
    except Exception:  # a foreign file can fail in any way; it is refused, whatever it was
        found.wrong("C006", place, "this is not a workbook", "Save the measuring sheet again as .xlsx.")
    return None


class _TooLarge(Exception):
    """More than any measuring sheet holds."""


def _loaded(data: bytes) -> _Opened:
    """The workbook in a file, after a look at what it would unpack to."""
    cells, formulas = 0, False
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        inside = packed.infolist()
        if sum(info.file_size for info in inside) > MAX_UNPACKED:
            raise _TooLarge
        for info in inside:
            if info.filename.endswith((".xml", ".rels")):
                text = packed.read(info)
                if _DECLARED.search(text[:2000]):
                    raise ValueError("declares things of its own")
                cells += sum(1 for _ in _CELL.finditer(text))
                formulas = formulas or _FORMULA.search(text) is not None
                if cells > MAX_CELLS:
                    raise _TooLarge
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl tells what it leaves out of foreign workbooks
        book = load_workbook(io.BytesIO(data), data_only=True, keep_links=False)
        written = load_workbook(io.BytesIO(data), keep_links=False).worksheets if formulas else []
    return _Opened(book, {sheet.title: _formula_cells(sheet) for sheet in written})


def _formula_cells(sheet: Worksheet) -> frozenset[str]:
    return frozenset(cell.coordinate for row in sheet.iter_rows() for cell in row if cell.data_type == "f")


def _workbook(course: Course, opened: _Opened, file: str, found: _Found) -> None:
    sheets = [sheet for sheet in opened.book.worksheets if isinstance(sheet, Worksheet)]
    for sheet in sheets:
        if sheet.max_row > MAX_ROWS or sheet.max_column > MAX_COLUMNS:
            do = "Give the sheet that fairfit made."
            found.wrong("C003", Place(file, cell=sheet.title), "the sheet is larger than any measuring sheet", do)
            return
    fit = [(sheet, top) for sheet in sheets if (top := cells_by_heading(sheet, (READ, QUANTITY, PLACE)))]
    whole = [(sheet, top) for sheet in sheets if (top := cells_by_heading(sheet, (STUDENT, NAME, UNIT)))]
    if not fit and not whole:
        do = "Give a sheet that fairfit made, with its headings reading, quantity and place."
        found.wrong("C007", Place(file), "no measuring sheet is in this workbook", do)
        return
    for sheet, heading in whole:
        head = _head(sheet, heading[0], ("course",), file, found)
        if head is None or not _is_of(course, sheet, *head["course"], file, found):
            return
        _class_sheet(course, sheet, heading, opened.formulas.get(sheet.title, frozenset()), file, found)
    student, unit = None, ""
    for sheet, (top, _) in fit:
        owner = _owner(course, sheet, top, file, found)
        if owner is None:
            return
        student, unit = owner
        _fit_sheet(course, student, unit, sheet, opened.formulas.get(sheet.title, frozenset()), file, found)
    for sheet in sheets:
        parts = cells_by_heading(sheet, ("state", "part name"))
        if parts and student:
            _parts_sheet(course, student, sheet, parts, file, found)
            _moisture_column(course, student, sheet, parts, file, found)


def _head(
    sheet: Worksheet, top: int, needed: Sequence[str], file: str, found: _Found
) -> dict[str, tuple[str, str]] | None:
    """What the lines above the headings say, with the cell of each; None with a problem when something is missing."""
    head: dict[str, tuple[str, str]] = {}
    labels = {label: key for key, label in KEYS.items()}
    for row in sheet.iter_rows(min_row=1, max_row=top - 1):
        for cell, after in zip(row, row[1:], strict=False):
            if isinstance(cell.value, str) and cell.value.strip() in labels and after.value is not None:
                head[labels[cell.value.strip()]] = (str(after.value).strip(), after.coordinate)
    for key in needed:
        if key not in head:
            says = f"the head of the sheet does not say '{KEYS[key]}'"
            found.wrong("C008", Place(file, cell=sheet.title), says, "Copy the readings into a new sheet of fairfit's.")
            return None
    return head


def _is_of(course: Course, sheet: Worksheet, name: str, cell: str, file: str, found: _Found) -> bool:
    """Whether a sheet was made for this course and this revision of its plan; what else it was made for is told."""
    if name == course.id:
        return True
    place = Place(file, cell=f"{sheet.title}!{cell}")
    own, theirs = course.id.rpartition(" "), name.rpartition(" ")
    if own[0] == theirs[0]:
        says = f"the sheet was made for revision {theirs[2]} of the plan, the course is at {own[2]}"
        found.wrong("C010", place, says, "Copy the readings into a new sheet, and check which parts changed.")
    else:
        says = f"the sheet belongs to the course '{name}', not to '{course.id}'"
        found.wrong("C009", place, says, "Give the right file.")
    return False


def _owner(course: Course, sheet: Worksheet, top: int, file: str, found: _Found) -> tuple[Student, str] | None:
    """The student and unit in the head of a sheet; None with a problem when it is not for this course."""
    head = _head(sheet, top, ("course", "student", "unit"), file, found)
    if head is None or not _is_of(course, sheet, *head["course"], file, found):
        return None
    wanted, cell = head["student"]
    for student in course.students:
        if student.id == wanted:
            return student, _unit(sheet, *head["unit"], file, found)
    ids = [student.id for student in course.students]
    place = Place(file, cell=f"{sheet.title}!{cell}")
    found.wrong("C011", place, f"no student '{wanted}' is on the roster", meant(wanted, ids))
    return None


def _unit(sheet: Worksheet, unit: str, cell: str, file: str, found: _Found) -> str:
    """What a bare number on the sheet means; empty when the head names no unit, and then no bare number is taken in."""
    if unit in ("mm", "in"):
        return unit
    found.wrong("C022", Place(file, cell=f"{sheet.title}!{cell}"), f"the unit is '{unit}'", "Write mm or in.")
    return ""


def _class_sheet(
    course: Course, sheet: Worksheet, heading: tuple[int, dict[str, int]], formulas: frozenset[str], file: str,
    found: _Found,
) -> None:  # fmt: skip
    """Take in a sheet with a row for each student and a column for each reading."""
    (top, columns), students = heading, {student.id: student for student in course.students}
    headed = {column: read_heading(str(cell.value or "")) for column, cell in enumerate(sheet[top], 1)}
    for row in range(top + 1, sheet.max_row + 1):
        id_, unit = (str(sheet.cell(row, columns[name]).value or "").strip() for name in (STUDENT, UNIT))
        cells = [sheet.cell(row, column) for column in headed if column not in (columns[STUDENT], columns[NAME])]
        written = [cell for cell in cells if cell.column != columns[UNIT] and _holds(cell, formulas)]
        if not written:
            continue
        first = Place(file, cell=f"{sheet.title}!{written[0].coordinate}")
        if id_ not in students:
            says = f"no student '{id_}' is on the roster" if id_ else "a reading stands in a row without a student"
            found.wrong("C011", first, says, meant(id_, students))
            continue
        if unit and unit not in ("mm", "in"):
            place = Place(file, cell=f"{sheet.title}!{sheet.cell(row, columns[UNIT]).coordinate}")
            found.wrong("C022", place, f"the unit is '{unit}'", "Write mm or in.")
            continue
        for cell in written:
            place = Place(file, cell=f"{sheet.title}!{cell.coordinate}")
            asked = headed[cell.column]
            if asked is None:
                says = f"'{str(cell.value)[:LONGEST]}' stands in a column that asks for nothing"
                found.wrong("C013", place, says, "Write it in the column of what was measured.")
                continue
            what = _Asked(
                students[id_], asked.quantity, str(asked.place), "1", unit or students[id_].unit, place,
                reader=asked.reader,
            )  # fmt: skip
            _fit_cell(course, what, cell, cell.coordinate in formulas, found)


def _holds(cell: Cell | MergedCell, formulas: frozenset[str]) -> bool:
    """Whether somebody wrote into a cell, or joined it to another that somebody wrote into."""
    if isinstance(cell, MergedCell):
        return True
    return cell.coordinate in formulas or (cell.value is not None and str(cell.value).strip() != "")


def _fit_sheet(
    course: Course, student: Student, unit: str, sheet: Worksheet, formulas: frozenset[str], file: str, found: _Found
) -> None:
    heading = cells_by_heading(sheet, (READ, QUANTITY, PLACE))
    assert heading is not None
    top, columns = heading
    for row in range(top + 1, sheet.max_row + 1):
        name = str(sheet.cell(row, columns[QUANTITY]).value or "").strip()
        place_text = str(sheet.cell(row, columns[PLACE]).value or "1").strip().removesuffix(".0")
        attempt = str(sheet.cell(row, columns["attempt"]).value or "1") if "attempt" in columns else "1"
        note = str(sheet.cell(row, columns[NOTE]).value or "").strip() if NOTE in columns else ""
        for heading, reader in ((READ, ""), (SECOND, SECOND)):
            if heading in columns:
                cell = sheet.cell(row, columns[heading])
                where = Place(file, cell=f"{sheet.title}!{cell.coordinate}")
                taken = _date_text(sheet.cell(row, columns["taken"]).value) if "taken" in columns else ""
                asked = _Asked(
                    student, name, place_text, attempt.removesuffix(".0"), unit, where, note, reader, taken=taken
                )  # fmt: skip
                _fit_cell(course, asked, cell, cell.coordinate in formulas, found)


def _fit_cell(course: Course, asked: _Asked, cell: Cell | MergedCell, formula: bool, found: _Found) -> None:
    """Take in one cell for a reading, or say why not."""
    if isinstance(cell, MergedCell):
        if asked.quantity:
            says = "the cell is joined to another, so nobody can tell which reading is meant"
            found.wrong("C023", asked.where, says, "Split the cells and write each reading in its own.")
        return
    if cell.value is None or str(cell.value).strip() == "":
        if formula:
            found.wrong("C012", asked.where, "there is a formula here without a value", "Type the reading itself.")
        return
    if not asked.quantity:
        says = f"'{str(cell.value)[:30]}' stands in a row that asks for nothing"
        found.wrong("C013", asked.where, says, "Write it in the row of what was measured.")
        return
    reading = _reading(course, asked, as_typed(cell), found)
    if reading:
        found.readings.append(reading)
    if reading and formula:
        found.asks.append((reading, _formula_asked(asked.where, reading)))


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a reading is an answer to."""

    student: Student
    quantity: str
    place: str
    attempt: str
    unit: str
    where: Place
    note: str = ""
    reader: str = ""
    instrument: str = ""
    taken: str = ""


def _doubted(course: Course, one: Reading, found: _Found) -> Reading:
    """The reading, held back when it cannot be true as it stands: it counts once somebody confirms it."""
    student = course.student(one.student)
    target = course.values(student).target(one.quantity)
    part = next((p for p in course.cabinet.parts if one.quantity.rpartition(".")[0] == p.name), None)
    state = course.log.states(student.id).get(part.name) if part else None
    last, taken = _last_day(course), _day(one.taken)
    why = ""
    if isinstance(target, Fraction) and one.value is not None and one.value - target > target > CLOSED:
        why = f"off by more than the piece itself, about {student.shown.size(target)} is expected"
    elif part and state and state.name == "glued":
        why = f"of {part.label}, which is glued already"
    elif taken and last and taken > last:
        why = f"dated {one.taken}, after the course ends on {last}"
    held = replace(one, held=why)
    if one.taken and not taken:
        says = f"{one.student}, {one.quantity}, place {one.place}: its date is '{one.taken}'"
        found.asks.append((held, Problem("C108", one.where, says, "Write it as 2026-10-05.", severe=False)))
    if not why:
        return one
    says = f"{one.student}, {one.quantity}, place {one.place}: {one.raw} is {why}"
    do = "It is kept and left out. Confirm it with `fairfit confirm`, or read it again."
    found.asks.append((held, Problem("C105", one.where, says, do, severe=False)))
    return held


def _day(text: str) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        return None


def _last_day(course: Course) -> datetime.date | None:
    """The day after which nothing can have been measured: the end of the course, else its last session."""
    days = [_day(text) for text in ([course.text("ends")] if course.text("ends") else course.sessions)]
    return max((day for day in days if day), default=None)


def _reading(course: Course, asked: _Asked, value: object, found: _Found) -> Reading | None:
    """The reading in a cell; one that cannot be is told, and kept as it was typed."""
    before = len(found.problems)
    reading = _read_value(course, asked, value, found)
    if reading is None and len(found.problems) > before:
        sheet, _, cell = asked.where.cell.rpartition("!")
        found.kept.append(
            Reading(
                asked.student.id, asked.quantity, _counted(asked.place) or 1, _counted(asked.attempt) or 1,
                str(value)[:LONGEST], None, asked.instrument, asked.reader, asked.taken, asked.where.file, sheet,
                cell or (str(asked.where.line) if asked.where.line else ""), asked.note, found.problems[-1].says,
            )  # fmt: skip
        )
    return reading


def _read_value(course: Course, asked: _Asked, value: object, found: _Found) -> Reading | None:
    graph, where = course.cabinet.graph, asked.where
    if asked.quantity not in graph or graph[asked.quantity].dimension != LENGTH:
        names = [q.name for q in graph.quantities if q.read]
        found.wrong("C014", where, f"this cabinet has no size '{asked.quantity}'", meant(asked.quantity, names))
        return None
    if asked.quantity not in found.places:
        says = f"'{asked.quantity}' is worked out and never measured"
        found.wrong("C029", where, says, meant(asked.quantity, found.places))
        return None
    place, attempt = _counted(asked.place), _counted(asked.attempt)
    if not place or not attempt:
        what, text = ("attempt", asked.attempt) if place else ("place", asked.place)
        shown = text if len(text) <= LONGEST else f"{text[:LONGEST]}..."
        found.wrong("C015", where, f"the {what} is '{shown}'", "Write 1, 2, 3, up to 99.")
        return None
    if isinstance(value, (datetime.datetime, datetime.date, datetime.time)):
        says = f"the reading has become a date ({str(value)[:10]}); a fraction such as 1/2 does that"
        found.wrong("C016", where, says, "Format the cell as text and write the fraction again.")
        return None
    if isinstance(value, bool):
        found.wrong("C017", where, f"'{value}' is not a reading", "Write it as 30.2 or 1 3/16.")
        return None
    raw = number_text(value) if isinstance(value, (int, float)) else str(value).strip()
    if len(raw) > LONGEST:
        says = f"'{raw[:LONGEST]}...' is too long for a reading"
        found.wrong("C017", where, says, "Write it as 30.2 or 1 3/16.")
        return None
    try:
        sizes = [length(one, asked.unit) for one in raw.split(SEVERAL)]
    except NotALength as error:
        found.wrong("C017", where, str(error), "The cell is left out; correct it and collect the file again.")
        return None
    size = sum(sizes, Fraction(0)) / len(sizes)
    if min(sizes) < 0 or (size == 0 and abs(course.plan_values.number(asked.quantity)) > CLOSED):
        says = f"'{raw}' is less than nothing" if min(sizes) < 0 else f"'{raw}' cannot be the size of anything here"
        found.wrong("C018", where, says, "The cell is left out; measure again.")
        return None
    sheet, _, cell = where.cell.rpartition("!")
    reading = Reading(
        asked.student.id, asked.quantity, place, attempt, raw, size, asked.instrument,
        asked.reader, asked.taken, where.file, sheet, cell or (str(where.line) if where.line else ""), asked.note,
    )  # fmt: skip
    most = found.places[asked.quantity]
    if place > most:
        says = f"{asked.quantity} is read at {most} place{'s' if most > 1 else ''}, and this is place {place}"
        do = "It is taken in beside the others; was another attempt meant?"
        found.asks.append((reading, Problem("C102", where, says, do, severe=False)))
    return reading


def _counted(text: str) -> int:
    """A whole number from 1 to 99; 0 when it is none."""
    return int(text) if text.isdecimal() and len(text) <= 2 else 0


def _parts_sheet(
    course: Course, student: Student, sheet: Worksheet, heading: tuple[int, dict[str, int]], file: str, found: _Found
) -> None:
    top, columns = heading
    names = {part.name for part in course.cabinet.parts}
    for row in range(top + 1, sheet.max_row + 1):
        cell = sheet.cell(row, columns["state"])
        text = str(cell.value or "").strip().lower()
        if not text:
            continue
        part = str(sheet.cell(row, columns["part name"]).value or "").strip()
        where = Place(file, cell=f"{sheet.title}!{cell.coordinate}")
        if text not in STATES:
            found.wrong("C019", where, f"'{text}' is not a state of a part", meant(text, STATES))
        elif part not in names:
            found.wrong("C020", where, f"there is no part '{part}'", meant(part, names))
        else:
            value = sheet.cell(row, columns["date"]).value if "date" in columns else None
            found.marks.append(Mark(student, part, text, _date_text(value), where))


def _date_text(value: object) -> str:
    """A date as a cell holds it."""
    return value.date().isoformat() if isinstance(value, datetime.datetime) else str(value or "").strip()


def _moisture_column(
    course: Course, student: Student, sheet: Worksheet, heading: tuple[int, dict[str, int]], file: str, found: _Found
) -> None:
    """What a meter showed of each part, kept with the attempts that the same file has of its width."""
    top, columns = heading
    for row in range(top + 1, sheet.max_row + 1) if WET in columns else ():
        cell = sheet.cell(row, columns[WET])
        part = str(sheet.cell(row, columns["part name"]).value or "").strip()
        if isinstance(cell, MergedCell) or cell.value is None or not str(cell.value).strip():
            continue
        attempts = {
            one.attempt
            for one in found.readings
            if (one.student, one.source) == (student.id, file)
            and part in (p.name for p in parts_across(course.cabinet, one.quantity))
        }
        for attempt in sorted(attempts) or (1,):
            where = Place(file, cell=f"{sheet.title}!{cell.coordinate}")
            _moisture(_Asked(student, part, "1", str(attempt), "", where), cell.value, found)


def _moisture(asked: _Asked, value: object, found: _Found) -> None:
    """A moisture content, kept in percent beside the readings of its part; what is none is told and kept as typed."""
    raw = (number_text(value) if isinstance(value, (int, float)) else str(value).strip())[:LONGEST]
    size, sheet, cell = moisture(raw), *asked.where.cell.rpartition("!")[::2]
    line = cell or (str(asked.where.line) if asked.where.line else "")
    says = "" if size is not None else f"'{raw}' is not a moisture content"
    if says:
        found.wrong("C032", asked.where, says, "Write percent from 0 to 40, as in 8.5.")
    kept = Reading(
        asked.student.id, asked.quantity + MOISTURE, 1, int(asked.attempt), raw, size, asked.instrument, asked.reader,
        asked.taken, asked.where.file, sheet, line, asked.note, says,
    )  # fmt: skip
    (found.kept if says else found.moistures).append(kept)


def _marked(course: Course, mark: Mark, found: _Found) -> bool:
    now = course.log.states(mark.student.id).get(mark.part)
    if now and now.name != STATES[-1] and STATES.index(mark.state) < STATES.index(now.name):
        says = f"{mark.part} is {now.name} already, the sheet says '{mark.state}'"
        do = "Nothing is changed. If the part was made again, write remade."
        found.problems.append(Problem("C024", mark.place, says, do, severe=False))
        return False
    last, day = _last_day(course), _day(mark.date)
    if day and last and day > last:
        says = f"{mark.part} is {mark.state} on {mark.date}, after the course ends on {last}"
        found.problems.append(Problem("C109", mark.place, says, "It counts all the same; mend the date.", severe=False))
    return course.mark(mark.student, mark.part, mark.state, "", mark.date, mark.place.file)


def _csv(course: Course, file: Path, name: str, found: _Found) -> None:
    try:
        table = read_csv(read_text(file, name), name)
    except Unreadable as error:
        found.wrong("C004", error.place, error.says, error.do)
        return
    if {"item", "level"} <= set(table.headings):
        _edited(course, judged_rows(course, table), found)
        return
    for needed in ("student", "quantity", "reading"):
        if needed not in table.headings:
            found.wrong(
                "C021", table.place, f"the column '{needed}' is missing", f"The columns are {', '.join(CSV_COLUMNS)}."
            )
            return
    ids = {student.id: student for student in course.students}
    for row in table.rows:
        reading = _csv_reading(course, row, ids, found)
        if reading:
            found.readings.append(reading)


def _csv_reading(course: Course, row: Row, ids: dict[str, Student], found: _Found) -> Reading | None:
    student = ids.get(row.text("student"))
    if student is None:
        says = f"no student '{row.text('student')}' is on the roster"
        found.wrong("C011", row.at("student"), says, meant(row.text("student"), ids))
        return None
    if not row.text("reading"):
        return None
    unit = row.text("unit") or student.unit
    if unit not in ("mm", "in"):
        found.wrong("C022", row.at("unit"), f"the unit is '{unit}'", "Write mm or in.")
        return None
    asked = _Asked(
        student, row.text("quantity"), row.text("place") or "1", row.text("attempt") or "1", unit, row.at("reading"),
        row.text("note"), row.text("reader"), row.text("instrument"), row.text("taken"),
    )  # fmt: skip
    reading = _reading(course, asked, row.text("reading"), found)
    if reading and row.text("moisture"):
        across = parts_across(course.cabinet, reading.quantity)
        part = across[0].name if across else reading.quantity.rpartition(".")[0]
        own = replace(asked, quantity=part, attempt=str(reading.attempt), where=row.at("moisture"))
        _moisture(own, row.text("moisture"), found)
    return reading


def _repeated(course: Course, new: Sequence[Reading]) -> Iterator[Problem]:
    """Sheets whose readings fall on their targets more often than work does: asked about kindly, never more."""
    students = {student.id: student for student in course.students}
    sheets: dict[tuple[str, str], list[Reading]] = {}
    for one in new:
        sheets.setdefault((one.student, one.source), []).append(one)
    for (id_, source), readings in sheets.items():
        if found := repeated(course, students[id_], readings):
            says = f"{id_}: {found.count} of {found.of} readings are exactly what the sheet asked for"
            ask = found.ask[:1].upper() + found.ask[1:]
            yield Problem("C106", Place(source, cell=found.first.sheet), says, f"{ask}.", severe=False)


def _questions(course: Course, new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask about new readings; a slip is asked about once, not again for all that follows from it."""
    by_student: dict[str, list[Reading]] = {}
    for one in new:
        by_student.setdefault(one.student, []).append(one)
    known = bands(course) if by_student else {}
    for student in (one for one in course.students if one.id in by_student):
        own = by_student[student.id]
        found = doubts(course, student, own)
        for doubt in found:
            ask = doubt.ask[:1].upper() + doubt.ask[1:]
            yield Problem("C100", doubt.reading.where, doubt.words(student), ask, severe=False)
        doubted = {doubt.reading.quantity for doubt in found}
        for sign in signatures(course, student, [o for o in own if o.quantity not in doubted], known):
            yield Problem("C107", sign.reading.where, sign.words(student), " ".join(sign.asks), severe=False)


def _twice(new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask when two cells that came in together say different things about one reading."""
    first: dict[tuple, Reading] = {}
    for one in new:
        earlier = first.setdefault(one.key, one)
        if earlier is not one:
            says = (
                f"{one.student}, {one.quantity}, place {one.place}: {one.raw} here and {earlier.raw} in {earlier.where}"
            )
            yield Problem("C104", one.where, says, "The one named first counts; is it the later one?", severe=False)
        first[one.key] = one


def _made_again(new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask when a later attempt comes in and nothing says what was cut again; once for each thing."""
    asked: dict[tuple, Reading] = {}
    for one in new:
        if one.attempt > 1 and not one.note.strip() and not one.quantity.endswith(MOISTURE):
            asked.setdefault((one.student, one.quantity, one.attempt), one)
    for one in asked.values():
        says = f"{one.student}, {one.quantity}: attempt {one.attempt} does not say what was made again"
        do = "Write it under note, as in 'shoulder pared back'; a part that was only read again is no new attempt."
        yield Problem("C110", one.where, says, do, severe=False)


def _apart(course: Course, new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask when two people read one thing too far apart; both readings are kept, and their marks wait."""
    fresh = set(new)
    allowed = allowed_apart(course) if fresh else {}
    for student in sorted({one.student for one in fresh}):
        for found in disagreements(course.log.readings(student), allowed):
            if fresh.isdisjoint(found.readings):
                continue
            shown, low = course.student(student).shown, found.low
            first, second = (f"{who(one)} read {one.raw} ({one.where})" for one in (low, found.high))
            says = f"{low.student}, {low.quantity}, place {low.place}: {first}, {second}"
            apart = shown.size(found.apart)
            do = f"They are {apart} apart: read it again together; marks that rest on it wait until then."
            yield Problem("C101", next(one.where for one in found.readings if one in fresh), says, do, severe=False)
