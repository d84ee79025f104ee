"""Sizes across the grain of solid parts, read at one moisture and asked at another: shown at both, about.

Wood Handbook, FPL-GTR-190 (2010), chapter 13, for the student's own species and cut. Along the grain, and in veneered
or sheet stock, nothing is worked out. Average figures describe a species and not a board, so nothing of it is graded
against anybody.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from course.cabinet import Cabinet, Part
from course.course import Course
from course.formula import Formula
from course.quantities import Values
from course.readings import Reading
from course.roster import Student
from course.seasons import WoodInUse, wood_in_use
from shared.problems import OutOfRange
from shared.units import MM, Shown, same_digits


@dataclass(frozen=True, slots=True)
class AtMoisture:
    """One size as it was read, and as it would be at the moisture of the shop. Lengths in mm, moistures in %."""

    size: Fraction
    at: Fraction
    same: Fraction
    """The size at the moisture of the shop, for which it is planned; about."""
    shop: Fraction
    wood: WoodInUse

    @property
    def by(self) -> Fraction:
        """What the moisture adds to the reading. [mm]"""
        return self.size - self.same

    def words(self, shown: Shown = MM) -> str:
        """Both sizes with their moisture, and for which wood."""
        size, same = same_digits([self.size, self.same], shown)
        return (
            f"{size}\u00a0{shown.unit} at {float(self.at):g} %, about {same}\u00a0{shown.unit} at the shop's "
            f"{float(self.shop):g} % ({self.wood.species}, {self.wood.cut})"
        )


def parts_across(cabinet: Cabinet, name: str) -> tuple[Part, ...]:
    """The parts whose width a size is: of one part, or as the height of a drawer of all that are as wide as it says."""
    graph = cabinet.graph
    return tuple(
        part
        for part in cabinet.parts
        if part.grain == "length"
        and f"{part.name}.width" in graph
        and (name == f"{part.name}.width" or _is_only(graph[f"{part.name}.width"].formula, name))
    )


def _is_only(formula: Formula | None, name: str) -> bool:
    """Whether a formula is nothing but one other size."""
    return formula is not None and formula.names == (name,) and isinstance(formula.tree, (ast.Name, ast.Attribute))


def at_shop(
    course: Course, values: Values, name: str, size: Fraction, moistures: Mapping[tuple[str, int], Fraction],
    attempt: int,
) -> AtMoisture | None:  # fmt: skip
    """A size across the grain at the moisture of the shop; None for any other size, or where no moisture was read.

    Args:
        course: The course.
        values: The student's values.
        name: Full name of the size.
        size: As read. [mm]
        moistures: By part and attempt, as `Log.moistures` gives them. [%]
        attempt: The attempt of the reading.
    """
    shop = values.number("climate.built")
    for part in parts_across(course.cabinet, name) if moistures else ():
        at, wood = moistures.get((part.name, attempt)), wood_in_use(values, part.stock)
        if at is not None and not wood.still:
            try:
                return AtMoisture(size, at, size * wood.wood.factor(at, shop), shop, wood)
            except OutOfRange:  # so damp that it does not move yet, by the handbook
                return None
    return None


def moisture_lines(course: Course, student: Student, values: Values, names: tuple[str, ...]) -> tuple[str, ...]:
    """For each of some sizes that was read at another moisture than the shop's: the size at both."""
    moistures = course.log.moistures(student.id)
    last: dict[str, Reading] = {}
    for one in course.log.readings(student.id) if moistures else ():
        if one.quantity in names and (one.quantity not in last or one.attempt >= last[one.quantity].attempt):
            last[one.quantity] = one
    found = {
        name: at_shop(course, values, name, values.number(name), moistures, one.attempt) for name, one in last.items()
    }
    return tuple(f"{name} was read {at.words(student.shown)}" for name, at in found.items() if at and at.at != at.shop)
