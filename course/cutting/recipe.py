"""Recipes: how a plate is cut, before it has a place and real sizes.

The kerf is forgotten in recipes: parts are longer and wider by one kerf, and so is the stock inside its trim. That is
exact for edge to edge cuts, since n parts in a row need n - 1 kerfs. A recipe is None (nothing), the number of a shape
(one part, trimmed from its plate) or a split (axis, where, first, second), `where` counted from the plate's corner.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from course.cutting.model import Axis, Cut, Node, Offcut, Placed

Recipe = None | int | tuple[Axis, int, "Recipe", "Recipe"]


@dataclass(frozen=True, slots=True)
class Shape:
    """One way a part lies, kerf added. [units]"""

    item: int
    """Number of the part size."""
    length: int
    width: int


def shapes_in(recipe: Recipe) -> Iterator[int]:
    """The shapes a recipe gives, in the order of sawing."""
    if isinstance(recipe, tuple):
        yield from shapes_in(recipe[2])
        yield from shapes_in(recipe[3])
    elif recipe is not None:
        yield recipe


def counts(recipe: Recipe, shapes: Sequence[Shape], items: int) -> tuple[int, ...]:
    """How many of each part size a recipe gives."""
    found = [0] * items
    for shape in shapes_in(recipe):
        found[shapes[shape].item] += 1
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Plate:
    """A rectangle on the stock at its real place; sizes with one kerf more than they are. [units]"""

    x: int
    y: int
    length: int
    width: int

    def split(self, axis: Axis, where: int) -> tuple[Plate, Plate]:
        """The two plates of a cut."""
        if axis is Axis.CROSSCUT:
            return (
                Plate(self.x, self.y, where, self.width),
                Plate(self.x + where, self.y, self.length - where, self.width),
            )
        return Plate(self.x, self.y, self.length, where), Plate(self.x, self.y + where, self.length, self.width - where)

    def side(self, axis: Axis) -> int:
        """The side that a cut of this axis shortens."""
        return self.length if axis is Axis.CROSSCUT else self.width


class Drawer:
    """Turns recipes into cuts at real places."""

    def __init__(self, shapes: Sequence[Shape], kerf: int, lengths: Mapping[str, int]) -> None:
        """`lengths` of the parts by name tell which of them lie turned."""
        self.shapes, self.kerf, self.lengths = shapes, kerf, lengths

    def draw(self, recipe: Recipe, plate: Plate, names: Iterator[str]) -> Node:
        """The cuts of a plate; `names` gives each part its name in the order of sawing, empty for a part not wanted."""
        if isinstance(recipe, tuple):
            axis, where, first, second = recipe
            left = plate.side(axis) - where
            if second is None and left <= self.kerf:
                return self.draw(first, plate, names)
            one, two = plate.split(axis, where)
            node_one, node_two = self.draw(first, one, names), self.draw(second, two, names)
            if isinstance(node_one, Offcut) and isinstance(node_two, Offcut):
                return self._offcut(plate)
            return Cut(axis, (one.x + one.length if axis is Axis.CROSSCUT else one.y + one.width) - self.kerf,
                       node_one, node_two)  # fmt: skip
        name = "" if recipe is None else next(names)
        return self._offcut(plate) if recipe is None or not name else self._trimmed(self.shapes[recipe], plate, name)

    def _offcut(self, plate: Plate) -> Offcut:
        return Offcut(plate.x, plate.y, max(plate.length - self.kerf, 0), max(plate.width - self.kerf, 0))

    def _trimmed(self, shape: Shape, plate: Plate, name: str) -> Node:
        """One part from a plate; the cut that leaves the larger offcut comes first."""
        over_length, over_width = plate.length - shape.length, plate.width - shape.width
        crosscut_first = over_length * plate.width >= over_width * plate.length
        order = (Axis.CROSSCUT, Axis.RIP) if crosscut_first else (Axis.RIP, Axis.CROSSCUT)
        for axis in order:
            size = shape.length if axis is Axis.CROSSCUT else shape.width
            if plate.side(axis) - size > self.kerf:
                one, two = plate.split(axis, size)
                at = (two.x if axis is Axis.CROSSCUT else two.y) - self.kerf
                return Cut(axis, at, self._trimmed(shape, one, name), self._offcut(two))
        length, width = shape.length - self.kerf, shape.width - self.kerf
        return Placed(name, plate.x, plate.y, length, width, length != self.lengths[name])
