"""What one cell says: a reading, a moisture, the state of a part; else what is wrong with it, kept as it was typed."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field, replace
from fractions import Fraction

from openpyxl.cell import Cell, MergedCell

from course.course import Course
from course.formula import LENGTH
from course.readings import MOISTURE, SEVERAL, Judgement, Reading
from course.roster import Student
from course.stock import moisture
from rubrics.book_intake import Edits
from rubrics.cells import as_typed, number_text
from shared.places import Place
from shared.problems import Problem, meant
from shared.units import NotALength, length

LONGEST = 30
"""Signs in a reading."""
CLOSED = Fraction(5)
"""A gap planned no wider than this may be read as 0; nothing else can be. [mm]"""
LARGE = Fraction(50)
"""Of something larger than this nobody cuts or measures less than a quarter; our choice. [mm]"""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a reading is an answer to, as written beside it."""

    student: Student
    quantity: str
    place: str
    attempt: str
    unit: str
    """What a bare number means."""
    where: Place
    note: str = ""
    reader: str = ""
    instrument: str = ""
    taken: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A state of a part, written on a sheet."""

    student: Student
    part: str
    state: str
    date: str
    place: Place


@dataclass
class Found:
    """What the files of one course hold."""

    course: Course
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
        """Keep what could not be taken in."""
        self.problems.append(Problem(code, place, says, do))

    def ask(self, reading: Reading, code: str, place: Place, says: str, do: str) -> None:
        """Keep what to ask about a reading, should it be new."""
        self.asks.append((reading, Problem(code, place, says, do, severe=False)))


def take_cell(found: Found, asked: Asked, cell: Cell | MergedCell, formula: bool) -> None:
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
        says = f"'{str(cell.value)[:LONGEST]}' stands in a row that asks for nothing"
        found.wrong("C013", asked.where, says, "Write it in the row of what was measured.")
        return
    reading = take_value(found, asked, as_typed(cell))
    if reading:
        found.readings.append(reading)
    if reading and formula:
        _ask_about_formula(found, reading)


def take_edits(found: Found, edits: Edits) -> None:
    """What an instructor changed in a gradebook: taken as it stands, for whoever changed it has looked."""
    found.problems += edits.problems
    found.judgements += edits.judgements
    for one in edits.entries:
        asked = Asked(
            one.student, one.quantity, one.place, one.attempt, one.student.unit, one.where, one.note, one.reader,
            one.instrument, one.taken,
        )  # fmt: skip
        reading = take_value(found, asked, one.typed)
        if reading:
            reading = replace(reading, held=one.held)
            found.vouched.append(reading)
        if reading and one.formula:
            _ask_about_formula(found, reading)


def _ask_about_formula(found: Found, reading: Reading) -> None:
    says = f"a formula stands here; what it last came to is taken in: {reading.raw}"
    found.ask(reading, "C103", reading.where, says, "Type the reading itself.")


def take_value(found: Found, asked: Asked, value: object) -> Reading | None:
    """The reading that was typed; one that cannot be is told, and kept as it was typed."""
    before = len(found.problems)
    reading = _reading(found, asked, value)
    if reading is None and len(found.problems) > before:
        found.kept.append(
            _as_written(
                asked, asked.quantity, _counted(asked.place) or 1, _counted(asked.attempt) or 1,
                str(value)[:LONGEST], None, found.problems[-1].says,
            )
        )  # fmt: skip
    return reading


def _as_written(
    asked: Asked, quantity: str, place: int, attempt: int, raw: str, size: Fraction | None, held: str = ""
) -> Reading:
    """A row for the log, with the sheet and the cell or line that it came from."""
    sheet, _, cell = asked.where.cell.rpartition("!")
    return Reading(
        asked.student.id, quantity, place, attempt, raw, size, asked.instrument, asked.reader, asked.taken,
        asked.where.file, sheet, cell or (str(asked.where.line) if asked.where.line else ""), asked.note, held,
    )  # fmt: skip


def _reading(found: Found, asked: Asked, value: object) -> Reading | None:
    place, attempt = _counted(asked.place), _counted(asked.attempt)
    if not _measured(found, asked):
        return None
    if not place or not attempt:
        what, text = ("attempt", asked.attempt) if place else ("place", asked.place)
        shown = text if len(text) <= LONGEST else f"{text[:LONGEST]}..."
        found.wrong("C015", asked.where, f"the {what} is '{shown}'", "Write 1, 2, 3, up to 99.")
        return None
    raw = _typed(found, asked, value)
    size = _size(found, asked, raw) if raw is not None else None
    if raw is None or size is None:
        return None
    reading = _as_written(asked, asked.quantity, place, attempt, raw, size)
    most = found.places[asked.quantity]
    if place > most:
        says = f"{asked.quantity} is read at {most} place{'s' if most > 1 else ''}, and this is place {place}"
        do = "It is taken in beside the others; was another attempt meant?"
        found.ask(reading, "C102", asked.where, says, do)
    return reading


def _counted(text: str) -> int:
    """A whole number from 1 to 99; 0 when it is none."""
    return int(text) if text.isdecimal() and len(text) <= 2 else 0


def _measured(found: Found, asked: Asked) -> bool:
    """Whether the size is one of this cabinet's that somebody measures."""
    graph, name = found.course.cabinet.graph, asked.quantity
    if name not in graph or graph[name].dimension != LENGTH:
        names = [q.name for q in graph.quantities if q.read]
        found.wrong("C014", asked.where, f"this cabinet has no size '{name}'", meant(name, names))
        return False
    if name not in found.places:
        says = f"'{name}' is worked out and never measured"
        found.wrong("C029", asked.where, says, meant(name, found.places))
        return False
    return True


def _typed(found: Found, asked: Asked, value: object) -> str | None:
    """The text of a reading; None with a problem when a program has made something else of it."""
    if isinstance(value, (datetime.datetime, datetime.date, datetime.time)):
        says = f"the reading has become a date ({str(value)[:10]}); a fraction such as 1/2 does that"
        found.wrong("C016", asked.where, says, "Format the cell as text and write the fraction again.")
        return None
    if isinstance(value, bool):
        found.wrong("C017", asked.where, f"'{value}' is not a reading", "Write it as 30.2 or 1 3/16.")
        return None
    raw = number_text(value) if isinstance(value, (int, float)) else str(value).strip()
    if len(raw) > LONGEST:
        says = f"'{raw[:LONGEST]}...' is too long for a reading"
        found.wrong("C017", asked.where, says, "Write it as 30.2 or 1 3/16.")
        return None
    return raw


def _size(found: Found, asked: Asked, raw: str) -> Fraction | None:
    """The length that was read, the mean of several; None with a problem when it is none. [mm]"""
    try:
        sizes = [length(one, asked.unit) for one in raw.split(SEVERAL)]
    except NotALength as error:
        found.wrong("C017", asked.where, str(error), "The cell is left out; correct it and collect the file again.")
        return None
    size = sum(sizes, Fraction(0)) / len(sizes)
    if min(sizes) < 0 or (size == 0 and abs(found.course.plan_values.number(asked.quantity)) > CLOSED):
        says = f"'{raw}' is less than nothing" if min(sizes) < 0 else f"'{raw}' cannot be the size of anything here"
        found.wrong("C018", asked.where, says, "The cell is left out; measure again.")
        return None
    return size


def take_moisture(found: Found, asked: Asked, value: object) -> None:
    """A moisture content, kept in percent beside the readings of its part; what is none is told and kept as typed."""
    raw = (number_text(value) if isinstance(value, (int, float)) else str(value).strip())[:LONGEST]
    size = moisture(raw)
    says = "" if size is not None else f"'{raw}' is not a moisture content"
    if says:
        found.wrong("C032", asked.where, says, "Write percent from 0 to 40, as in 8.5.")
    row = _as_written(asked, asked.quantity + MOISTURE, 1, int(asked.attempt), raw, size, says)
    (found.kept if says else found.moistures).append(row)
