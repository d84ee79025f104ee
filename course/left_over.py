"""What is left of the stock when a class is cut."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from course.cut_sheets import Area
from course.order import Order
from course.sheet_plans import rests_of
from course.sheets_on_hand import sheets_of


@dataclass(frozen=True, slots=True)
class Left:
    """A piece left over."""

    id: str
    role: str
    material: str
    thickness: tuple[Fraction, ...]
    length: Fraction | None
    width: Fraction | None
    moisture: Fraction | None
    note: str
    defects: tuple[Area, ...] = ()


def left_over(order: Order) -> tuple[Left, ...]:
    """Offcuts that are worth keeping, and sheets and boards that nobody has."""
    found: list[Left] = []
    for plan in order.sheets:
        used = {sheet.name for sheet in plan.sheets}
        for sheet in (*plan.cut_up, *plan.sheets):
            for area, rest in zip(sheet.kept, rests_of(sheet), strict=True):
                if rest.name in used:
                    continue
                stem = plan.group.piece or f"{plan.group.role}-{plan.group.build}"
                number = sum(1 for one in found if one.id.startswith(f"{stem}-left-")) + 1
                thickness = plan.piece.thickness if plan.piece else (plan.thickness,)
                moisture = plan.piece.moisture if plan.piece else None
                found.append(
                    Left(
                        f"{stem}-left-{number}",
                        plan.group.role,
                        plan.group.material,
                        thickness,
                        area.length,
                        area.width,
                        moisture,
                        f"left over from {sheet.name}",
                        rest.defects,
                    )  # fmt: skip
                )
    return (*found, *_not_used(order))


def _not_used(order: Order) -> Iterator[Left]:
    """Sheets that nothing is cut from, and boards that nobody has."""
    cut = {sheet.name for plan in order.sheets for sheet in (*plan.cut_up, *plan.sheets)} | order.used
    owned = {name for student in order.course.students for name in student.pieces.values()}
    planned = {plan.piece.id for plan in order.sheets if plan.piece}
    for piece in order.course.stock.values():
        if piece.id in owned and piece.id not in planned:
            continue
        flaws = {sheet.name: sheet.defects for sheet in sheets_of(piece)}
        whole = [name for name in piece.names if name not in cut]
        for name in whole:
            note = "not used" if len(whole) == len(piece.names) == 1 else f"{name}, not used"
            yield Left(
                name.replace(" ", "-"), piece.role, piece.material, piece.thickness, piece.length, piece.width,
                piece.moisture, note, flaws.get(name, ()),
            )  # fmt: skip
