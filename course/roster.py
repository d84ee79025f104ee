"""The students of a course, their choices and what their papers should look like."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from course.cabinet import Cabinet
from course.compiling import WORD
from course.quantities import Given, Origin
from course.stock import Piece
from shared.places import Place, Row, Table
from shared.problems import Problem, meant
from shared.units import SHOWN, NotALength, Shown, length

COLUMNS = (
    "id",
    "name",
    "bench",
    "units",
    "hand",
    "large_print",
    "hand_route",
    "time_factor",
    "absent",
    "group",
    "note",
)


@dataclass(frozen=True, slots=True)
class Student:
    """One student, as the roster states it."""

    id: str
    name: str
    bench: str
    shown: Shown
    """Units of this student's papers."""
    unit: str
    """What a bare number on this student's sheets means: mm or in."""
    hand: str
    large_print: bool
    hand_route: frozenset[str]
    """Operations done by hand by choice, or `all`."""
    time_factor: Fraction
    absent: tuple[str, ...]
    choices: dict[str, Given] = field(hash=False)
    """Choices and measured stock, by quantity."""
    pieces: dict[str, str] = field(hash=False)
    """Sheet or board of each stock role."""
    place: Place
    group: str = ""
    """Of those who work at one machine, or in one session; empty when the class is one."""


NO_STOCK = "Enter it in stock.csv, or leave the cell empty: its parts are then planned with the thickness of the plan."
"""What to do about a sheet or board of a stock that has none."""


def read_roster(
    table: Table, unit: str, units: str, cabinet: Cabinet | None, stock: dict[str, Piece], problems: list[Problem]
) -> tuple[Student, ...]:
    """The students of a roster in its order; what is wrong is added to `problems`.

    Args:
        cabinet: None when the plan cannot be used; then choices are not looked at.
        unit: Unit of bare numbers in the plan, used for choices that are sizes.
        units: Units of students for whom the roster names none.
    """
    for needed in ("id", "name"):
        if needed not in table.headings:
            do = (
                "A roster needs the columns id and name, in small letters; "
                "bench, units, hand, large_print and choices may follow."
            )
            problems.append(Problem("R001", table.place, f"the column '{needed}' is missing", do))
            return ()
    for heading in table.headings:
        if cabinet and heading and heading not in COLUMNS and not _is_choice(heading, cabinet):
            known = (*COLUMNS, *(f"piece.{role}" for role in cabinet.stock), *cabinet.settable)
            problems.append(Problem("R002", table.place, f"there is no column '{heading}'", meant(heading, known)))
    seen: dict[str, Place] = {}
    students = []
    for row in table.rows:
        name = row.text("id")
        if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,19}", name):
            do = "Use up to 20 letters, digits, - and _, as in s07."
            problems.append(Problem("R003", row.at("id"), f"'{name}' cannot be a student's id", do))
            continue
        if name.lower() in seen:
            says = f"the id '{name}' stands twice, first in line {seen[name.lower()].line}"
            problems.append(Problem("R004", row.at("id"), says, "Give every student an id of their own."))
            continue
        seen[name.lower()] = row.place
        students.append(_student(row, unit, units, cabinet, stock, problems))
    if not table.rows:
        problems.append(Problem("R005", table.place, "the roster has no students", "Write one student a line."))
    return tuple(students)


def _is_choice(heading: str, cabinet: Cabinet) -> bool:
    return heading in cabinet.settable or heading.removeprefix("piece.") in cabinet.stock


def _word(row: Row, column: str, known: tuple[str, ...], default: str, problems: list[Problem]) -> str:
    text = row.text(column).lower()
    if text in known:
        return text
    if text:
        problems.append(Problem("R006", row.at(column), f"{column} is '{text}'", meant(text, known)))
    return default


def _student(
    row: Row, unit: str, units: str, cabinet: Cabinet | None, stock: dict[str, Piece], problems: list[Problem]
) -> Student:
    shown = _word(row, "units", tuple(SHOWN), units, problems)
    factor = row.text("time_factor").replace(",", ".") or "1"
    try:
        time_factor = Fraction(factor)
    except (ValueError, ZeroDivisionError):
        time_factor = Fraction(0)
    if not Fraction(1, 2) <= time_factor <= 4:
        problems.append(
            Problem(
                "R007",
                row.at("time_factor"),
                f"time_factor is '{factor}'",
                "Write a number such as 1 or 1.5.",
            )
        )
    choices, pieces = _choices(row, unit, cabinet, stock, problems) if cabinet else ({}, {})
    return Student(
        row.text("id"), row.text("name") or row.text("id"), row.text("bench"), SHOWN[shown],
        "mm" if shown == "mm" else "in", _word(row, "hand", ("right", "left"), "right", problems),
        _word(row, "large_print", ("no", "yes"), "no", problems) == "yes",
        frozenset(t.strip() for t in row.text("hand_route").split(";") if t.strip()), time_factor,
        tuple(t.strip() for t in re.split(r"[;,]", row.text("absent")) if t.strip()), choices, pieces, row.place,
        row.text("group").strip(),
    )  # fmt: skip


def _choices(
    row: Row, unit: str, cabinet: Cabinet, stock: dict[str, Piece], problems: list[Problem]
) -> tuple[dict[str, Given], dict[str, str]]:
    choices: dict[str, Given] = {}
    pieces: dict[str, str] = {}
    for heading, cell in row.cells.items():
        text = cell.text.strip()
        role = heading.removeprefix("piece.")
        if not text or heading in COLUMNS:
            continue
        if heading.startswith("piece.") and role in cabinet.stock:
            piece = stock.get(text)
            fitting = [name for name, other in stock.items() if other.role == role]
            if piece is None or piece.role != role:
                says = f"stock.csv has no '{text}' for the {role} stock"
                do = meant(text, fitting) if fitting else NO_STOCK
                problems.append(Problem("R008", cell.place, says, do))
                continue
            pieces[role] = text
            choices |= stock_given(piece)
        elif heading in cabinet.settable:
            given = _choice(heading, text, unit, cabinet, cell.place, problems)
            if given:
                choices[heading] = given
    return choices, pieces


def stock_given(piece: Piece) -> dict[str, Given]:
    """What a student's cabinet takes from a sheet or board: its thickness, when measured, and its material."""
    found, stock = {}, f"stock.{piece.role}"
    if piece.measured:
        note = f"{piece.id}, mean of {len(piece.thickness)} readings"
        found[f"{stock}.thickness"] = Given(piece.mean_thickness, Origin.STOCK, piece.place, note)
    if piece.material:
        found[f"{stock}.material"] = Given(piece.material, Origin.STOCK, piece.place, piece.id)
    return found


def _choice(name: str, text: str, unit: str, cabinet: Cabinet, place: Place, problems: list[Problem]) -> Given | None:
    quantity = cabinet.graph[name]
    if quantity.dimension == WORD:
        if quantity.words and text not in quantity.words:
            problems.append(Problem("R006", place, f"{name} is '{text}'", meant(text, quantity.words)))
            return None
        return Given(text, Origin.CHOICE, place)
    try:
        value = length(text, unit) if quantity.dimension else Fraction(text.replace(",", "."))
    except (NotALength, ValueError, ZeroDivisionError):
        says = f"{name} is '{text}', which is not a {'length' if quantity.dimension else 'number'}"
        problems.append(Problem("R009", place, says, "Write it as 30.2 or 1 3/16, with mm or in behind it."))
        return None
    return Given(value, Origin.CHOICE, place)
