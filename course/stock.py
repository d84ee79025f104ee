"""Stock as measured: sheets and boards, each with its own thickness, number, flaws and price."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from shared.places import Place, Row, Table
from shared.problems import Problem, meant
from shared.units import NotALength, length


@dataclass(frozen=True, slots=True)
class Defect:
    """A rectangle that no part may touch, as a knot or a damaged corner; x along the length, from one corner. [mm]"""

    sheet: int
    """Which of the equal sheets of its line, from 1."""
    x: Fraction
    y: Fraction
    length: Fraction
    width: Fraction


@dataclass(frozen=True, slots=True)
class Piece:
    """One line of `stock.csv`: a sheet or board, or several that are equal."""

    id: str
    role: str
    """Stock role of the plan it may be used for."""
    material: str
    thickness: tuple[Fraction, ...]
    """Readings at several places; none for what is not measured yet. [mm]"""
    length: Fraction | None
    width: Fraction | None
    moisture: Fraction | None
    """Moisture content. [%]"""
    place: Place
    count: int = 1
    """How many equal ones there are."""
    defects: tuple[Defect, ...] = ()
    price: Fraction | None = None
    """Of one."""
    form: str = ""
    """`sheet` or `solid`; empty where it does not say, and those who have it tell."""

    @property
    def measured(self) -> bool:
        """Whether its thickness is known; until then its parts have the thickness of the plan."""
        return bool(self.thickness)

    @property
    def mean_thickness(self) -> Fraction:
        """The thickness that parts cut from it get, once it is measured."""
        return sum(self.thickness, Fraction(0)) / len(self.thickness)

    @property
    def spread(self) -> Fraction:
        """Thickest less thinnest reading."""
        return max(self.thickness) - min(self.thickness) if self.thickness else Fraction(0)

    def name_of(self, number: int) -> str:
        """What one of its sheets is called, as `sheet-A 2`; the id alone where there is only one."""
        return f"{self.id} {number}" if self.count > 1 else self.id

    @property
    def names(self) -> tuple[str, ...]:
        """What each of its sheets is called."""
        return tuple(self.name_of(number) for number in range(1, self.count + 1))


TWICE = 2
"""No sheet or board is so uneven: one reading of its thickness is a slip when it is more than so many times another."""
FORMS = ("sheet", "solid")
COLUMNS = ("id", "role", "material", "form", "count", "length", "width", "moisture", "defects", "price", "note")


def read_stock(table: Table, unit: str, roles: tuple[str, ...], problems: list[Problem]) -> dict[str, Piece]:
    """The pieces of a stock file by id; what is wrong is added to `problems`.

    Every column whose heading starts with `thickness` is one reading.
    """
    found: dict[str, Piece] = {}
    for needed in ("id", "role"):
        if needed not in table.headings:
            do = "The columns are id, role, material, thickness 1, thickness 2, ..., length, width, moisture."
            problems.append(Problem("S001", table.place, f"the column '{needed}' is missing", do))
            return found
    readings = [heading for heading in table.headings if heading.startswith("thickness")]
    for heading in table.headings:
        if heading and heading not in COLUMNS and heading not in readings:
            do = meant(heading, (*COLUMNS, "thickness 1"))
            problems.append(Problem("S002", table.place, f"there is no column '{heading}'", do))
    for row in table.rows:
        name, role = row.text("id"), row.text("role")
        if not name or name in found:
            says = f"the id '{name}' stands twice" if name else "a piece has no id"
            problems.append(Problem("S003", row.at("id"), says, "Give every sheet and board an id of its own."))
            continue
        if role not in roles:
            problems.append(Problem("S004", row.at("role"), f"the plan has no stock '{role}'", meant(role, roles)))
            continue
        thickness = [value for heading in readings if (value := _size(row, heading, unit, problems)) is not None]
        if thickness and max(thickness) > TWICE * min(thickness):
            read = ", ".join(row.text(heading) for heading in readings if row.text(heading))
            says = f"the readings of '{name}' are {read}: one is more than twice another"
            problems.append(Problem("S014", row.at(readings[0]), says, "Measure it again, or mend the slip."))
        if not thickness and any(row.text(heading) for heading in readings):
            continue
        if not thickness:
            do = "Measure it at three places or more before it is cut; write each in a column thickness 1, 2, 3."
            says = f"'{name}' has no thickness, so its parts are planned with the thickness of the plan"
            problems.append(Problem("S005", row.place, says, do, False))
        count = _count(row, problems)
        length_, width = _size(row, "length", unit, problems), _size(row, "width", unit, problems)
        defects = tuple(_defects(row, unit, count, (length_, width), problems))
        found[name] = Piece(
            name, role, row.text("material"), tuple(thickness), length_, width, _percent(row, problems), row.place,
            count, defects, _price(row, problems), _form(row, problems),
        )  # fmt: skip
    return found


def _size(row: Row, column: str, unit: str, problems: list[Problem]) -> Fraction | None:
    text = row.text(column)
    if not text:
        return None
    try:
        value = length(text, unit)
    except NotALength as error:
        problems.append(Problem("S006", row.at(column), str(error), "Write the reading as on the instrument."))
        return None
    if value <= 0:
        problems.append(Problem("S006", row.at(column), f"'{text}' is not more than nothing", "Measure it again."))
        return None
    return value


def moisture(text: str) -> Fraction | None:
    """A moisture content as written, as `8.5` or `8,5 %`; None when it is none from 0 to 40. [%]"""
    try:
        value = Fraction(text.strip().removesuffix("%").strip().replace(",", "."))
    except (ValueError, ZeroDivisionError):
        return None
    return value if 0 <= value <= 40 else None


def _percent(row: Row, problems: list[Problem]) -> Fraction | None:
    text = row.text("moisture")
    if not text:
        return None
    value = moisture(text)
    if value is None:
        problems.append(
            Problem(
                "S007",
                row.at("moisture"),
                f"the moisture is '{text}'",
                "Write percent from 0 to 40, as in 8.5.",
            )
        )
        return None
    return value


def _count(row: Row, problems: list[Problem]) -> int:
    text = row.text("count") or "1"
    if re.fullmatch(r"\d{1,3}", text):
        return int(text)
    problems.append(Problem("S011", row.at("count"), f"the count is '{text}'", "Write a whole number, as in 3."))
    return 1


def _form(row: Row, problems: list[Problem]) -> str:
    text = row.text("form")
    if text and text not in FORMS:
        problems.append(Problem("S013", row.at("form"), f"the form is '{text}'", meant(text, FORMS)))
        return ""
    return text


def _price(row: Row, problems: list[Problem]) -> Fraction | None:
    """The price of one; a wrong one stops nothing and counts as unknown."""
    text = row.text("price")
    value = price(text) if text else None
    if text and value is None:
        says = f"the price of '{row.text('id')}' is '{text}'"
        problems.append(Problem("O012", row.at("price"), says, PRICE, False))
    return value


PRICE = "Write a number of 0 or more without a currency sign, or leave it empty."
"""What to do about a price that is none."""


def price(text: str) -> Fraction | None:
    """An amount of money of 0 or more, in any currency; None when the text is none."""
    try:
        value = Fraction(text.strip().replace(",", "."))
    except (ValueError, ZeroDivisionError):
        return None
    return value if value >= 0 else None


_DEFECT = re.compile(r"(?:sheet\s+(\d+)\s+)?at\s+(.+?)\s+x\s+(.+?)\s*:\s*(.+?)\s+x\s+(.+)")


def _defects(
    row: Row, unit: str, count: int, size: tuple[Fraction | None, Fraction | None], problems: list[Problem]
) -> Iterator[Defect]:
    """The flaws of a line; one that cannot be understood is told, and the others are kept."""
    for text in row.text("defects").split(";"):
        if not text.strip():
            continue
        found = _defect(text.strip(), unit, count, size)
        if isinstance(found, Defect):
            yield found
        else:
            says = f"the defect '{text.strip()}' of '{row.text('id')}' {found}"
            do = "Write place and size from one corner, length first, as in 'sheet 2 at 300 x 0: 60 x 40'."
            problems.append(Problem("S012", row.at("defects"), says, do))


def _defect(text: str, unit: str, count: int, size: tuple[Fraction | None, Fraction | None]) -> Defect | str:
    """One flaw, or what is wrong with it."""
    match = _DEFECT.fullmatch(text)
    if not match:
        return "is not a place and a size"
    if match[1] is None and count > 1:
        return f"does not say which of the {count} sheets has it"
    number = int(match[1] or 1)
    if not 1 <= number <= count:
        return f"is on sheet {number}, and there {'is' if count == 1 else 'are'} {count}"
    try:
        x, y, long, wide = (length(side, unit) for side in match.groups()[1:])
    except NotALength as error:
        return f"cannot be read: {error}"
    ends = (x + long, y + wide)
    if x < 0 or y < 0 or long <= 0 or wide <= 0 or any(s and end > s for end, s in zip(ends, size, strict=True)):
        return "does not lie on the sheet"
    return Defect(number, x, y, long, wide)
