"""What is left of the stock when a class is cut."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from fractions import Fraction

from course.cut_sheets import Area, CutSheet
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
    form: str = ""
    """`sheet` or `solid`; empty for what is whole and whose line does not say."""
    defects: tuple[Area, ...] = ()
    of: str = ""
    """Name of the sheet or board it is cut off; empty for one that is whole."""
    area: Area | None = None
    """Where it lies on it."""


def left_over(order: Order) -> tuple[Left, ...]:
    """Offcuts that are worth keeping, and sheets and boards that nothing is cut from."""
    numbers: Counter[str] = Counter()
    found: list[Left] = []
    for plan in order.sheets:
        used = {sheet.name for sheet in plan.sheets}
        thickness = plan.piece.thickness if plan.piece else (plan.thickness,)
        for sheet in (*plan.cut_up, *plan.sheets):
            stem = plan.group.piece or f"{plan.group.role}-{plan.group.build}"
            moisture = plan.piece.moisture if plan.piece else None
            found += _offcuts(sheet, stem, thickness, moisture, numbers, used)
    pieces = {name: piece for piece in order.course.stock.values() for name in piece.names}
    for boards in order.boards:
        for board in boards.layout.boards:
            piece = pieces.get(board.name)
            thickness = piece.thickness if piece else (boards.thickness,)
            stem = piece.id if piece else f"{boards.group.role}-{boards.group.material.replace(' ', '-')}"
            found += _offcuts(board, stem, thickness, piece.moisture if piece else None, numbers, set())
    return (*found, *_not_used(order))


def _offcuts(
    sheet: CutSheet, stem: str, thickness: tuple[Fraction, ...], moisture: Fraction | None, numbers: Counter[str],
    used: Collection[str],
) -> Iterator[Left]:  # fmt: skip
    """What is kept of a sheet or board, with ids that go on counting."""
    for area, rest in zip(sheet.kept, rests_of(sheet), strict=True):
        if rest.name not in used:
            numbers[stem] += 1
            yield Left(
                f"{stem}-left-{numbers[stem]}", sheet.group.role, sheet.group.material, thickness, area.length,
                area.width, moisture, f"left over from {sheet.name}",
                "sheet" if sheet.group.sheet else "solid", rest.defects, sheet.name, area,
            )  # fmt: skip


def _not_used(order: Order) -> Iterator[Left]:
    """Sheets and boards that nothing is cut from."""
    cut = {sheet.name for plan in order.sheets for sheet in (*plan.cut_up, *plan.sheets)} | order.used
    cut |= {board.name for board in order.cut_boards}
    for piece in order.course.stock.values():
        flaws = {sheet.name: sheet.defects for sheet in sheets_of(piece)}
        whole = [name for name in piece.names if name not in cut]
        for name in whole:
            note = "not used" if len(whole) == len(piece.names) == 1 else f"{name}, not used"
            yield Left(
                name.replace(" ", "-"), piece.role, piece.material, piece.thickness, piece.length, piece.width,
                piece.moisture, note, piece.form, flaws.get(name, ()),
            )  # fmt: skip
