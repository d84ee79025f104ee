"""Layouts by simple placing rules: many quick tries with rectpack, each kept only when it can be sawn edge to edge."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import rectpack

from course.cutting.model import Axis, Rect
from course.cutting.prepare import Blank, Prepared
from course.cutting.recipe import Recipe, Shape, shapes_in

RULES = tuple(
    getattr(rectpack, f"Guillotine{fit}{split}")
    for fit in ("Bssf", "Blsf", "Baf")
    for split in ("Sas", "Las", "Slas", "Llas", "Minas", "Maxas")
)
"""Which free rectangle takes a part (short side, long side, area) and how the rest is split."""
ORDERS = (rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_RATIO)
"""Which part is placed next."""
Order = Callable[[list[tuple[Any, ...]]], list[tuple[Any, ...]]]
"""Sorts rectangles (length, width, ...)."""
MOST_PARTS = 500
"""More parts than this take too long."""

Tries = Iterator[list[tuple[Recipe, int]]]


def portfolio(job: Prepared, blank: Blank, left: Sequence[int]) -> Tries:
    """For each rule, order and way the free parts lie: recipes and copies that cut everything in `left`.

    Nothing is tried when a part does not fit on this stock, when the stock has defects, or for many parts.
    """
    ways = _ways(job, blank)
    wanted = [item for item, count in enumerate(left) for _ in range(count)]
    if blank.defects or len(wanted) > MOST_PARTS or any(item not in ways for item in wanted):
        return
    for which in (0, -1):
        chosen = {item: shapes[which] for item, shapes in ways.items()}
        for rule in RULES:
            for order in ORDERS:
                found = _tried(job.shapes, blank, [chosen[item] for item in wanted], rule, order)
                if found is not None:
                    yield found
        if all(len(shapes) == 1 for shapes in ways.values()):
            return


def _ways(job: Prepared, blank: Blank) -> dict[int, list[int]]:
    """The shapes of each part size that fit, the longest along x last."""
    found: dict[int, list[int]] = {}
    for number in blank.shapes:
        found.setdefault(job.shapes[number].item, []).append(number)
    return {item: sorted(numbers, key=lambda n: job.shapes[n].length) for item, numbers in found.items()}


def _tried(
    shapes: Sequence[Shape], blank: Blank, wanted: Sequence[int], rule: type, order: Order
) -> list[tuple[Recipe, int]] | None:
    packer = rectpack.newPacker(
        mode=rectpack.PackingMode.Offline, bin_algo=rectpack.PackingBin.BFF, pack_algo=rule, sort_algo=order,
        rotation=False,
    )  # fmt: skip
    packer.add_bin(blank.length, blank.width, count=len(wanted))
    for shape in wanted:
        packer.add_rect(shapes[shape].length, shapes[shape].width, rid=shape)
    packer.pack()
    found: dict[Recipe, int] = {}
    for sheet in packer:
        boxes = sorted((r.x, r.y, r.x + r.width, r.y + r.height, r.rid) for r in sheet)
        recipe = sawn(boxes)
        if recipe is None:
            return None
        found[recipe] = found.get(recipe, 0) + 1
    return list(found.items())


Box = tuple[int, int, int, int, int]
"""x and y of two opposite corners, and the shape."""


def sawn(boxes: Sequence[Box], x: int = 0, y: int = 0) -> Recipe:
    """The edge to edge cuts that give these boxes of a plate with its corner at x, y; None when there are none."""
    if len(boxes) == 1 and boxes[0][:2] == (x, y):
        return boxes[0][4]
    for axis in Axis:
        corner = (x, y)[axis]
        at = _gap(boxes, axis, corner)
        if at is None:
            continue
        one = sawn([box for box in boxes if box[axis + 2] <= at], x, y)
        far = [box for box in boxes if box[axis] >= at]
        two = sawn(far, at, y) if axis is Axis.CROSSCUT else sawn(far, x, at)
        return None if one is None or two is None else (axis, at - corner, one, two)
    return None


def _gap(boxes: Sequence[Box], axis: Axis, corner: int) -> int | None:
    """Where the first cut of an axis can stand without going through a box; None when it cannot."""
    reached = corner
    for start, end in sorted((box[axis], box[axis + 2]) for box in boxes):
        if start >= reached > corner:
            return reached
        reached = max(reached, end)
    return None


def sheet_by_sheet(job: Prepared, left: Sequence[int], kerf: int) -> Iterator[list[tuple[int, Recipe]]]:
    """For a third of the rules: stock and recipe of each piece that is cut, filled one after the other.

    For what `portfolio` leaves out: several sizes, stock that is limited or has defects, and parts that must come from
    one stock, which are placed on it first. Cheap stock is filled first; what does not fit anywhere is left uncut.
    """
    if sum(left) > MOST_PARTS:
        return
    for rule in RULES[::3]:
        for order in ORDERS:
            for way in (0, -1):
                for first in Axis:
                    yield _filled(job, left, kerf, rule, order, way, first)


def _filled(
    job: Prepared, left: Sequence[int], kerf: int, rule: type, order: Order, way: int, first: Axis
) -> list[tuple[int, Recipe]]:
    """Sheets one after the other, until everything is cut or no sheet takes anything."""
    waiting = list(left)
    found: list[tuple[int, Recipe]] = []
    for number in _cheapest_first(job):
        blank = job.blanks[number]
        chosen = {item: shapes[way] for item, shapes in _ways(job, blank).items()}
        most = sum(waiting) if blank.stock.on_hand is None else blank.stock.on_hand
        for _ in range(most):
            recipe = _filled_one(job, blank, chosen, waiting, kerf, rule, order, first)
            if recipe is None:
                break
            found.append((number, recipe))
            for shape in shapes_in(recipe):
                waiting[job.shapes[shape].item] -= 1
    return found


def _cheapest_first(job: Prepared) -> list[int]:
    """Stock by its price for an area; of equal ones those that something must come from first."""
    blanks = job.blanks
    free = set.intersection(*(set(blank.shapes) for blank in blanks))
    own = [len(set(blank.shapes) - free) for blank in blanks]
    price = [Fraction(blank.stock.cost, blank.length * blank.width) for blank in blanks]
    return sorted(range(len(blanks)), key=lambda n: (price[n], blanks[n].stock.on_hand is None, -own[n], n))


def _filled_one(
    job: Prepared, blank: Blank, chosen: Mapping[int, int], waiting: Sequence[int], kerf: int, rule: type,
    order: Order, first: Axis,
) -> Recipe:  # fmt: skip
    """One piece of stock with as many of the waiting parts as a rule places, those of no other stock first."""
    others = [other for other in job.blanks if other is not blank]
    wanted = [shape for item, shape in chosen.items() for _ in range(waiting[item])]
    alone = {shape for shape in chosen.values() if not any(shape in other.shapes for other in others)}
    sizes = {shape: (job.shapes[shape].length, job.shapes[shape].width) for shape in wanted}
    ordered = order([(*sizes[shape], shape) for shape in wanted])
    packer = rectpack.newPacker(
        mode=rectpack.PackingMode.Online, bin_algo=rectpack.PackingBin.BFF, pack_algo=rule, rotation=False
    )
    split = _split(0, 0, blank.length, blank.width, blank.defects, kerf, first)
    plates = list(_clear_plates(split))
    for plate in plates:
        packer.add_bin(plate[2], plate[3], bid=plate)
    for length, width, shape in sorted(ordered, key=lambda rect: rect[2] not in alone):
        packer.add_rect(length, width, rid=shape)
    recipes: dict[Clear, Recipe] = {}
    for bin_ in packer:
        boxes = sorted((r.x, r.y, r.x + r.width, r.y + r.height, r.rid) for r in bin_)
        recipes[bin_.bid] = sawn(boxes) if boxes else None
    return _assembled(split, recipes)


Clear = tuple[int, int, int, int]
"""A plate that touches no defect: x, y, length, width. [units]"""


@dataclass(frozen=True, slots=True)
class Sawn:
    """A plate cut in two beside a defect."""

    axis: Axis
    where: int
    first: Split
    second: Split


Split = None | Clear | Sawn
"""What is clear of defects in a plate: nothing, all of it, or what is in its two halves."""


def _split(x: int, y: int, length: int, width: int, defects: Sequence[Rect], kerf: int, first: Axis) -> Split:
    """Cuts along the edges of defects until the plates are clear, those of one axis first where they can be."""
    inside = [
        d for d in defects
        if d.x < x + length - kerf and d.x + d.length > x and d.y < y + width - kerf and d.y + d.width > y
    ]  # fmt: skip
    if not inside:
        return (x, y, length, width) if length > kerf and width > kerf else None
    for axis in (first, first.other):
        start, end = ((x, x + length), (y, y + width))[axis]
        for defect in inside:
            near, size = (defect.x, defect.length) if axis is Axis.CROSSCUT else (defect.y, defect.width)
            for edge in (near + kerf, max(near + size, start + kerf + 1)):
                if not start + kerf < edge < end:
                    continue
                if axis is Axis.CROSSCUT:
                    plates = (x, y, edge - x, width), (edge, y, x + length - edge, width)
                else:
                    plates = (x, y, length, edge - y), (x, edge, length, y + width - edge)
                one, two = (_split(*plate, inside, kerf, first) for plate in plates)
                return Sawn(axis, edge - start, one, two)
    return None


def _clear_plates(split: Split) -> Iterator[Clear]:
    if isinstance(split, Sawn):
        yield from _clear_plates(split.first)
        yield from _clear_plates(split.second)
    elif split is not None:
        yield split


def _assembled(split: Split, recipes: Mapping[Clear, Recipe]) -> Recipe:
    """The recipe of the whole piece of stock; None when nothing is cut from it."""
    if not isinstance(split, Sawn):
        return recipes.get(split) if split else None
    one, two = _assembled(split.first, recipes), _assembled(split.second, recipes)
    return None if one is None and two is None else (split.axis, split.where, one, two)
