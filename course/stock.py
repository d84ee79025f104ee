"""Stock as measured: sheets and boards, each with its own thickness."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from shared.places import Place, Row, Table
from shared.problems import Problem, meant
from shared.units import NotALength, length


@dataclass(frozen=True, slots=True)
class Piece:
    """One sheet or board of `stock.csv`."""

    id: str
    role: str
    """Stock role of the plan it may be used for."""
    material: str
    thickness: tuple[Fraction, ...]
    """Readings at several places. [mm]"""
    length: Fraction | None
    width: Fraction | None
    moisture: Fraction | None
    """Moisture content. [%]"""
    place: Place

    @property
    def mean_thickness(self) -> Fraction:
        """The thickness that parts cut from it get."""
        return sum(self.thickness, Fraction(0)) / len(self.thickness)

    @property
    def spread(self) -> Fraction:
        """Thickest less thinnest reading."""
        return max(self.thickness) - min(self.thickness)


COLUMNS = ("id", "role", "material", "length", "width", "moisture", "price", "note")


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
        if not thickness and any(row.text(heading) for heading in readings):
            continue
        if not thickness:
            do = "Measure it at three places or more, and write each in a column thickness 1, 2, 3."
            problems.append(Problem("S005", row.place, f"'{name}' has no thickness", do))
            continue
        found[name] = Piece(
            name, role, row.text("material"), tuple(thickness), _size(row, "length", unit, problems),
            _size(row, "width", unit, problems), _percent(row, problems), row.place,
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


def _percent(row: Row, problems: list[Problem]) -> Fraction | None:
    text = row.text("moisture").removesuffix("%").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = Fraction(text)
    except (ValueError, ZeroDivisionError):
        value = Fraction(-1)
    if not 0 <= value <= 40:
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
