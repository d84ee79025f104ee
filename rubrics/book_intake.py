"""What an instructor changed in a gradebook: readings corrected and added, levels judged; also judged levels in CSV.

Rows are compared with the log by the number they carry. Formulas are never evaluated, links never followed.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from course.course import Course
from course.readings import Judgement, Reading
from course.roster import Student
from rubrics.book import WRITTEN
from rubrics.book_entry import COURSE, JUDGED, JUDGED_SHEET, READINGS, READINGS_SHEET, REPLACED, ROWS
from rubrics.cells import as_typed, plain_text
from rubrics.judged import Judging, read_judging
from shared.places import Place, Table
from shared.problems import Problem, meant
from shared.units import NotALength, length

MAX_BYTES, MAX_UNPACKED, MAX_LINES = 100_000_000, 1_000_000_000, 1_000_000
"""No gradebook is larger than this."""
HEADINGS_WITHIN = 12
"""Lines in which headings are looked for."""
SAME = Fraction(1, 1000)
"""A size typed in two cells of a row is the same when it agrees to this. [mm]"""
BEFORE = "gradebook-before.xlsx"
"""The gradebook as somebody saved it, kept when a new one is written; what was changed in it is taken in already."""
BY = "instructor"
"""Who read what is added in a gradebook without a name, and who judged when no name is known."""
CHANGED = "changed in the gradebook, was"
STALE = "changed in a gradebook older than the reading that counts"
_NAMES = re.compile(rb'<(?:\w+:)?sheet [^>]*name="([^"]*)"')
_DECLARED = re.compile(rb"<!\w")


@dataclass(frozen=True, slots=True)
class Entry:
    """A reading that was changed or added, as typed."""

    student: Student
    quantity: str
    place: str
    attempt: str
    typed: object
    where: Place
    note: str
    reader: str
    instrument: str
    taken: str
    held: str = ""
    """Why it is to be confirmed before it counts."""
    formula: bool = False
    """Whether a formula stands in its cell."""


@dataclass
class Edits:
    """What was changed in one file."""

    entries: list[Entry] = field(default_factory=list)
    judgements: list[Judgement] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def say(self, code: str, place: Place, says: str, do: str, severe: bool = False) -> None:
        """Keep what is to be told."""
        self.problems.append(Problem(code, place, says, do, severe))


def is_gradebook(file: Path) -> bool:
    """Whether a file is a gradebook, by the names of its sheets; whatever cannot be looked into is none."""
    try:
        with zipfile.ZipFile(file) as packed, packed.open("xl/workbook.xml") as book:
            names = set(_NAMES.findall(book.read(1_000_000)))
    except Exception:  # a damaged file can fail in any way; it is looked at again as a measuring sheet
        return False
    return {READINGS_SHEET.encode(), JUDGED_SHEET.encode(), b"Limits"} <= names


def as_written(file: Path) -> bool:
    """Whether a gradebook still bears the date it was written with: no program has saved it since."""
    try:
        with zipfile.ZipFile(file) as packed, packed.open("docProps/core.xml") as core:
            return f">{WRITTEN.isoformat()}Z</dcterms:modified>".encode() in core.read(100_000)
    except Exception:  # a damaged file can fail in any way; it is not as it was written
        return False


def read_edits(course: Course, file: Path, name: str) -> Edits:
    """What was changed in a gradebook since it was written.

    Args:
        course: Whose log the rows are compared with.
        file: The workbook.
        name: What it is told and remembered by.
    """
    edits = Edits()
    try:
        sheets = _sheets(file)
    except Exception:  # a foreign file can fail in any way; it is refused, whatever it was
        edits.say("C006", Place(name), "this is not a workbook", "Run grade again and write into the new one.", True)
        return edits
    for sheet in sheets:
        place = Place(name, cell=sheet.name)
        if sheet.top is None:
            says = "the headings of this sheet are gone, so nothing of it is taken in"
            edits.say("C040", place, says, "Run grade again and make the changes in the new gradebook.", True)
        elif sheet.course != course.id:
            says = f"the gradebook belongs to the course '{sheet.course}', not to '{course.id}'"
            edits.say("C009", place, says, "Run grade again and make the changes in the new gradebook.", True)
        elif sheet.name == READINGS_SHEET:
            _Readings(course, sheet, name, edits).read()
        else:
            _judged(course, sheet, name, edits)
    return edits


@dataclass(frozen=True, slots=True)
class _Line:
    """A row under its headings."""

    number: int
    cells: dict[str, Any]

    def text(self, heading: str) -> str:
        cell = self.cells.get(heading)
        return plain_text(cell.value) if cell is not None else ""

    def value(self, heading: str) -> object:
        cell = self.cells.get(heading)
        return as_typed(cell) if cell is not None else None


@dataclass
class _Sheet:
    """One sheet that is read back."""

    name: str
    course: str
    rows: int
    top: int | None
    """Row of the headings, from 1."""
    columns: dict[str, int]
    """Heading to column, from 0."""
    lines: list[_Line]
    formulas: frozenset[str]

    def cell(self, heading: str, line: _Line) -> str:
        return f"{get_column_letter(self.columns[heading] + 1)}{line.number}"

    def where(self, file: str, heading: str, line: _Line) -> Place:
        return Place(file, cell=f"{self.name}!{self.cell(heading, line)}")


def _sheets(file: Path) -> list[_Sheet]:
    if file.stat().st_size > MAX_BYTES:
        raise ValueError("larger than any gradebook")
    data = file.read_bytes()
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        if sum(info.file_size for info in packed.infolist()) > MAX_UNPACKED:
            raise ValueError("larger than any gradebook")
        for info in packed.infolist():
            if info.filename.endswith((".xml", ".rels")):
                with packed.open(info) as member:
                    if _DECLARED.search(member.read(2000)):
                        raise ValueError("declares things of its own")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl tells what it leaves out of foreign workbooks
        values = load_workbook(io.BytesIO(data), data_only=True, read_only=True, keep_links=False)
        written = load_workbook(io.BytesIO(data), read_only=True, keep_links=False)
        return [
            _sheet(name, values[name], written[name], needed, typed)
            for name, needed, typed in (
                (READINGS_SHEET, [column.heading for column in READINGS], ("typed", "mm")),
                (JUDGED_SHEET, [c.heading for c in JUDGED if c.heading not in ("weight", "earned")], ("level",)),
            )
        ]


def _sheet(name: str, values: Any, written: Any, needed: Sequence[str], typed: Sequence[str]) -> _Sheet:
    found = _Sheet(name, "", 0, None, {}, [], frozenset())
    for number, row in enumerate(values.iter_rows(max_row=MAX_LINES), 1):
        texts = [plain_text(cell.value) for cell in row]
        if found.top is not None:
            if any(texts):
                cells = {h: row[c] for h, c in found.columns.items() if c < len(row)}
                found.lines.append(_Line(number, cells))
        elif set(needed) <= set(texts):
            found.top, found.columns = number, {heading: texts.index(heading) for heading in needed}
        elif number > HEADINGS_WITHIN:
            return found
        else:
            found.course = next((b for a, b in zip(texts, texts[1:], strict=False) if a == COURSE), found.course)
            rows = next((b for a, b in zip(texts, texts[1:], strict=False) if a == ROWS), "")
            found.rows = int(rows) if rows.isdecimal() else found.rows
    if found.top is None:
        return found
    formulas = set()
    for heading in typed:
        column = found.columns[heading] + 1
        rows = written.iter_rows(min_row=found.top + 1, max_row=MAX_LINES, min_col=column, max_col=column)
        for number, row in enumerate(rows, found.top + 1):
            if row and row[0].data_type == "f":
                formulas.add(f"{get_column_letter(column)}{number}")
    found.formulas = frozenset(formulas)
    return found


class _Readings:
    """Compares the sheet of readings with the log."""

    def __init__(self, course: Course, sheet: _Sheet, file: str, edits: Edits) -> None:
        self.course, self.sheet, self.file, self.edits = course, sheet, file, edits
        self.students = {student.id: student for student in course.students}
        self.log = dict(course.log.all())
        self.last = {one.key: number for number, one in self.log.items()}
        self.counting = {one.key: one for one in course.log.readings()}

    def read(self) -> None:
        """Look at every row."""
        seen: set[int] = set()
        for line in self.sheet.lines:
            text = line.text("row")
            number = int(text) if text.isdecimal() else 0
            if number in self.log and number not in seen:
                seen.add(number)
                self.compare(line, self.log[number], number)
            elif number in seen and self.copied(line, self.log[number]):
                continue
            elif any(line.text(heading) for heading in ("typed", "mm", "quantity")):
                self.added(line)
        own = [n for n, one in self.log.items() if one.student in self.students and n <= self.sheet.rows]
        if gone := [self.log[n] for n in own if n not in seen]:
            first = gone[0]
            count = "1 reading is" if len(gone) == 1 else f"{len(gone)} readings are"
            says = (
                f"{count} missing from this sheet, the first of {first.student}, {first.quantity}, place {first.place}"
            )
            self.edits.say("C045", Place(self.file, cell=self.sheet.name), says, "Nothing is removed from the log.")

    def copied(self, line: _Line, one: Reading) -> bool:
        """Whether a row is only there twice."""
        return self.labels(one) == self.own_labels(line) and not self.changes(line, one)

    def labels(self, one: Reading) -> tuple[str, ...]:
        return (one.student, one.quantity, str(one.place), str(one.attempt))

    def own_labels(self, line: _Line) -> tuple[str, ...]:
        return tuple(line.text(heading) for heading in ("student", "quantity", "place", "attempt"))

    def changes(self, line: _Line, one: Reading) -> dict[str, object]:
        """What stands in the two cells of a size, where it differs from the log."""
        typed, mm = line.value("typed"), line.value("mm")
        found: dict[str, object] = {}
        if plain_text(typed) != one.raw.strip():
            found["typed"] = typed
        known = None if one.value is None else float(one.value)
        same = isinstance(mm, (int, float)) and known is not None and abs(mm - known) < 1e-9
        if not same and not (mm is None and known is None):
            found["mm"] = mm
        return found

    def compare(self, line: _Line, one: Reading, number: int) -> None:
        """One row that was written from the log."""
        changed = self.changes(line, one)
        reader = line.text("reader")
        if not changed and reader == one.reader:
            return
        heading = "typed" if "typed" in changed or not changed else "mm"
        where = self.sheet.where(self.file, heading, line)
        what = f"{one.student}, {one.quantity}, place {one.place}"
        if self.labels(one) != self.own_labels(line):
            says = f"this row is of {what}, attempt {one.attempt}, and its labels were changed as well as its reading"
            self.edits.say("C042", where, says, "Nothing is taken in. Write a new row below for another reading.", True)
            return
        blank = [h for h, value in changed.items() if plain_text(value) == "" and self.formula(line, h) is None]
        if blank and not (len(changed) == 2 and len(blank) == 1):
            says = f"{what}: the reading '{one.raw}' was deleted here"
            self.edits.say("C041", where, says, "Nothing is removed. To correct it, type the right reading over it.")
            return
        value = self.one_value(line, one, changed, what)
        if value is None:
            return
        typed, heading = value
        where = self.sheet.where(self.file, heading, line)
        note = line.text("note").partition(CHANGED)[0].rstrip("; ")
        note = f"{note}; {CHANGED} {one.raw}" if note else f"{CHANGED} {one.raw}"
        held = self.stale(line, one, number, typed, where) if reader == one.reader else ""
        if held is None:
            return
        self.entry(line, self.students.get(one.student), typed, where, note, reader, held, heading)

    def one_value(self, line: _Line, one: Reading, changed: dict[str, object], what: str) -> tuple[object, str] | None:
        """The size that is meant, and the column it stands in; None when that is told instead."""
        unit = self.students[one.student].unit if one.student in self.students else "mm"
        mm = changed.get("mm")
        in_mm = f"{plain_text(mm)} mm" if isinstance(mm, (int, float)) and not isinstance(mm, bool) else mm
        for heading in changed:
            if self.formula(line, heading) == "blank":
                where = self.sheet.where(self.file, heading, line)
                self.edits.say(
                    "C012", where, "there is a formula here without a value", "Type the reading itself.", True
                )
                return None
        if "mm" in changed and plain_text(mm) and "typed" in changed and plain_text(changed["typed"]):
            first, second = _size(plain_text(changed["typed"]), unit), _size(plain_text(in_mm), "mm")
            if first is not None and second is not None and abs(first - second) > SAME:
                where = self.sheet.where(self.file, "mm", line)
                says = f"{what}: '{plain_text(changed['typed'])}' was typed and '{plain_text(mm)}' in mm, which differ"
                self.edits.say("C043", where, says, "Nothing is taken in. Change one of the two cells.", True)
                return None
        if "typed" in changed and plain_text(changed["typed"]):
            return changed["typed"], "typed"
        return (in_mm, "mm") if "mm" in changed else (one.raw, "typed")

    def formula(self, line: _Line, heading: str) -> str | None:
        """Whether a formula stands in a cell, and whether it has come to nothing."""
        if self.sheet.cell(heading, line) not in self.sheet.formulas:
            return None
        return "value" if line.text(heading) else "blank"

    def stale(self, line: _Line, one: Reading, number: int, typed: object, where: Place) -> str | None:
        """Why a changed reading is to be confirmed; None when it is told and not taken in, nothing when all is well."""
        counts = self.counting.get(one.key)
        if counts is None or counts == one or self.last[one.key] == number:
            return ""
        later = [each for n, each in self.log.items() if n > number and each.key == one.key]
        sheet, _, cell = where.cell.rpartition("!")
        raw = plain_text(typed)
        if counts.raw == raw or any((o.raw, o.source, o.sheet, o.cell) == (raw, self.file, sheet, cell) for o in later):
            return ""
        what = f"{one.student}, {one.quantity}, place {one.place}"
        if line.text("counts") == REPLACED:
            says = f"{what}: this reading was replaced by a later one and was changed here"
            self.edits.say("C044", where, says, "Nothing is taken in. Change the row of the reading that counts.", True)
            return None
        says = f"{what}: '{raw}' was written here, and since then '{counts.raw}' came in from {counts.where}"
        do = "It is kept and left out. Confirm it with `fairfit confirm`, or run grade and change the new gradebook."
        self.edits.say("C046", where, says, do)
        return STALE

    def added(self, line: _Line) -> None:
        """A row that was written below."""
        heading = "typed" if line.text("typed") or not line.text("mm") else "mm"
        where = self.sheet.where(self.file, heading, line)
        id_ = line.text("student")
        if not line.text("typed") and not line.text("mm"):
            if self.formula(line, "typed") or self.formula(line, "mm"):
                self.edits.say(
                    "C012", where, "there is a formula here without a value", "Type the reading itself.", True
                )
            return
        if id_ not in self.students:
            do = meant(id_, self.students)
            self.edits.say(
                "C011", self.sheet.where(self.file, "student", line), f"no student '{id_}' is on the roster", do, True
            )
            return
        typed = line.value(heading)
        if heading == "mm" and isinstance(typed, (int, float)) and not isinstance(typed, bool):
            typed = f"{plain_text(typed)} mm"
        reader = line.text("reader") or BY
        self.entry(line, self.students[id_], typed, where, line.text("note"), reader, "", heading)

    def entry(
        self, line: _Line, student: Student | None, typed: object, where: Place, note: str, reader: str, held: str,
        heading: str,
    ) -> None:  # fmt: skip
        if student is None:
            return
        self.edits.entries.append(
            Entry(
                student,
                line.text("quantity"),
                line.text("place") or "1",
                line.text("attempt") or "1",
                typed,
                where,
                note,
                reader,
                line.text("instrument"),
                _date(line.value("date")),
                held,
                self.formula(line, heading) is not None,
            )  # fmt: skip
        )


def _size(text: str, unit: str) -> Fraction | None:
    try:
        return length(text, unit)
    except NotALength:
        return None


def _date(value: object) -> str:
    if isinstance(value, datetime.datetime):
        return value.date().isoformat()
    return value.isoformat() if isinstance(value, datetime.date) else plain_text(value)


def _judged(course: Course, sheet: _Sheet, file: str, edits: Edits) -> None:
    """Levels that were given or changed on the sheet of judged marks."""
    judging = read_judging(course.folder)
    known = dict(course.log.all_judgements())
    latest = {one.key: number for number, one in known.items()}
    said = {(*one.key, one.level, one.source, one.sheet, one.cell, one.over) for one in known.values()}
    students = {student.id for student in course.students}
    for line in sheet.lines:
        where, text = sheet.where(file, "level", line), line.text("row")
        number = int(text) if text.isdecimal() else 0
        before = known.get(number)
        level, student, item = line.text("level"), line.text("student"), line.text("item")
        judge = line.text("judged by") or course.instructor or BY
        if sheet.cell("level", line) in sheet.formulas:
            edits.say("C012", where, "there is a formula in place of a level", "Choose the level itself.", True)
            continue
        if not level:
            if before:
                says = f"{student}, {line.text('what')}: the level '{before.level}' was deleted here"
                edits.say("C041", where, says, "Nothing is removed. To correct it, choose the right level.")
            continue
        if before and (level.lower(), judge) == (before.level.lower(), before.judge):
            continue
        if student not in students:
            edits.say("C011", where, f"no student '{student}' is on the roster", meant(student, students), True)
            continue
        one = _judgement(
            judging, student, item, level, judge, _date(line.value("date")), where, line.text("note"), edits
        )
        if one is None:
            continue
        one = replace(one, over=number)
        now = known.get(latest.get(one.key, 0))
        new = (*one.key, one.level, one.source, one.sheet, one.cell, one.over) not in said
        if now and new and latest[one.key] != number and now.level != one.level:
            says = (
                f"{student}, {line.text('what')}: '{level}' was chosen here, and since then {judge} gave '{now.level}'"
            )
            edits.say("C046", where, says, "It is not taken in. Run grade and change the new gradebook.", True)
            continue
        edits.judgements.append(one)


def _judgement(
    judging: Judging, student: str, item: str, level: str, judge: str, at: str, where: Place, note: str, edits: Edits
) -> Judgement | None:
    """A judged level, or None with a problem when it is none."""
    known = judging.known(item)
    if known is None:
        items = [each.id for each in judging.all]
        edits.say("C047", where, f"nothing called '{item}' is judged in this course", meant(item, items), True)
        return None
    words = judging.words_of(known)
    found = next((word for word in words if word.lower() == level.lower()), None)
    if found is None:
        kind = "gate" if known.gate else "item"
        edits.say("C048", where, f"'{level[:30]}' is no level of the {kind} '{item}'", meant(level, words), True)
        return None
    sheet, _, cell = where.cell.rpartition("!")
    cell = cell or (str(where.line) if where.line else "")
    return Judgement(student, item, judge, found, at, where.file, sheet, cell, note)


def judged_rows(course: Course, table: Table) -> Edits:
    """Judged levels of a CSV file with the columns student, item, level, and if wanted judge, date, note."""
    edits, judging = Edits(), read_judging(course.folder)
    students = {student.id for student in course.students}
    for row in table.rows:
        student, level = row.text("student"), row.text("level")
        if not level:
            continue
        if student not in students:
            place = row.at("student")
            edits.say("C011", place, f"no student '{student}' is on the roster", meant(student, students), True)
            continue
        judge = row.text("judge") or course.instructor or BY
        one = _judgement(
            judging, student, row.text("item"), level, judge, row.text("date"), row.at("level"), row.text("note"), edits
        )
        if one:
            edits.judgements.append(one)
    return edits
