"""What is left of the stock when a class is cut."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from course.order import Order


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


def left_over(order: Order) -> tuple[Left, ...]:
    """Offcuts that are worth keeping, and sheets and boards that nobody has."""
    found = []
    for plan in order.sheets:
        for sheet in plan.sheets:
            for area in sheet.kept:
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
                    )  # fmt: skip
                )
    taken = {name for student in order.course.students for name in student.pieces.values()}
    for piece in order.course.stock.values():
        if piece.id not in taken:
            found.append(
                Left(
                    piece.id,
                    piece.role,
                    piece.material,
                    piece.thickness,
                    piece.length,
                    piece.width,
                    piece.moisture,
                    "not used",
                )  # fmt: skip
            )
    return tuple(found)
