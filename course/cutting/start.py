"""Layouts by simple placing rules: many quick tries with rectpack, each kept only when it can be sawn edge to edge."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import rectpack

from course.cutting.model import Axis
from course.cutting.prepare import Blank, Prepared
from course.cutting.recipe import Recipe, Shape

RULES = tuple(
    getattr(rectpack, f"Guillotine{fit}{split}")
    for fit in ("Bssf", "Blsf", "Baf")
    for split in ("Sas", "Las", "Slas", "Llas", "Minas", "Maxas")
)
"""Which free rectangle takes a part (short side, long side, area) and how the rest is split."""
ORDERS = (rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_RATIO)
"""Which part is placed next."""
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
    shapes: Sequence[Shape], blank: Blank, wanted: Sequence[int], rule: type, order: object
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
