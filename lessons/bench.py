"""What a drawing is made from, and the scale it is drawn at."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files

from course.cabinet import Cabinet, Part
from course.quantities import Values
from lessons.layout import Box, shape
from shared.places import Mapping, read_yaml
from shared.render.sketch import Area, Sketch
from shared.units import Shown

SCALES = (
    Fraction(1, 20), Fraction(1, 15), Fraction(1, 10), Fraction(1, 8), Fraction(1, 6), Fraction(1, 5),
    Fraction(1, 4), Fraction(1, 3), Fraction(2, 5), Fraction(1, 2), Fraction(1), Fraction(3, 2), Fraction(2),
    Fraction(5, 2), Fraction(3), Fraction(4), Fraction(5),
)  # fmt: skip
"""Round scales, so that a rule laid on the paper can be used."""


DATA: Mapping = read_yaml(
    (files("lessons") / "templates" / "drawings.yaml").read_text(encoding="utf-8"), "drawings.yaml"
)
"""Which drawing stands with which feature, and which features run along an edge."""


@dataclass(frozen=True)
class Bench:
    """What a drawing is made from: one student's cabinet and how it is shown."""

    cabinet: Cabinet
    values: Values
    shown: Shown
    points: float = 9.0
    """Type size. [pt]"""
    room: tuple[float, float] = (165.0, 120.0)
    """Paper that the drawn thing itself may cover, without its dimensions. [mm]"""

    def number(self, name: str) -> float:
        """A size in mm."""
        return float(self.values.number(name))

    def text(self, name: str, fine: bool = False) -> str:
        """A size as the student reads it, without its unit."""
        value = self.values.number(name)
        return self.shown.fine_bare(value) if fine else self.shown.bare(value)

    def said(self, value: Fraction) -> str:
        """Any length as the student reads it, without its unit."""
        return self.shown.bare(value)

    def has(self, name: str) -> bool:
        """Whether there is such a quantity."""
        return name in self.values

    def sketch(
        self, title: str, alt: str, width: Fraction, height: Fraction, room: tuple[float, float] | None = None
    ) -> Sketch:
        """An empty drawing at the largest round scale at which a thing of this size has room."""
        room = room or self.room
        fits = [s for s in SCALES if width * s <= room[0] and height * s <= room[1]]
        scale = fits[-1] if fits else SCALES[0]
        unit = "inches" if self.shown.unit == "in" else "millimeters"
        return Sketch(f"{title}, {scale_words(scale)}, sizes in {unit}", alt, self.points, float(scale))


def scale_words(scale: Fraction) -> str:
    """`scale 1 : 4`, or `scale 3 : 1` for something drawn larger than it is."""
    if scale >= 1:
        return f"scale {float(scale):g} : 1"
    return f"scale 1 : {float(1 / scale):g}"


class View:
    """Places of wood on paper: y goes up in wood and down on paper."""

    def __init__(self, sketch: Sketch, height: Fraction | float) -> None:
        self.scale, self.high = sketch.scale, float(height)

    def x(self, value: Fraction | float) -> float:
        """Millimetres of paper from the left."""
        return float(value) * self.scale

    def y(self, value: Fraction | float) -> float:
        """Millimetres of paper from the top."""
        return (self.high - float(value)) * self.scale

    def area(self, box: Box) -> Area:
        """The paper that a rectangle of wood covers."""
        return Area(self.x(box.x), self.y(box.top), float(box.width) * self.scale, float(box.height) * self.scale)


def part_of(bench: Bench, assembly: str, role: str) -> Part:
    """The first part of an assembly that plays a role of its kind's shape, as `upright`."""
    group = shape(bench.cabinet.assemblies[assembly].kind)[role]
    return next(p for p in bench.cabinet.parts if p.assembly == assembly and p.group == group)
