"""Who gets which measured sheet, where the roster leaves it open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.course import Course
from course.cutting.engine import plan_cutting
from course.demand import class_demand
from course.order_settings import OrderSettings
from course.roster import Student, stock_given
from course.sheet_plans import fits, job_of
from course.stock import Piece
from shared.problems import Problem


@dataclass(frozen=True, slots=True)
class Assigned:
    """A sheet that a student without one was given."""

    student: str
    role: str
    piece: str


def assign(course: Course, settings: OrderSettings) -> tuple[Course, tuple[Assigned, ...]]:
    """The course with a measured sheet for each student who has none, as far as the sheets go.

    All parts of a student come from one sheet's thickness. Students are taken in the order of the roster, sheets in
    the order of `stock.csv`; a sheet takes as many students as a real layout shows to fit on it, spares included.
    """
    found: list[Assigned] = []
    for role in course.cabinet.stock:
        for piece in course.stock.values():
            if piece.role != role or piece.length is None or piece.width is None:
                continue
            waiting = [s for s in course.students if role not in s.pieces and _from_sheets(course, s, role)]
            count = len(waiting)
            while count and not _holds(tried := _with(course, waiting[:count], piece), settings, role, piece):
                count -= 1
            if count:
                course = tried
                found += [Assigned(student.id, role, piece.id) for student in waiting[:count]]
    return course, tuple(found)


def _from_sheets(course: Course, student: Student, role: str) -> bool:
    return course.values(student)[f"stock.{role}.build"] != "solid"


def _with(course: Course, students: Sequence[Student], piece: Piece) -> Course:
    """The course with these students' parts cut from a sheet."""
    wanted = {student.id for student in students}
    given = stock_given(piece)
    changed = tuple(
        replace(s, choices={**s.choices, **given}, pieces={**s.pieces, piece.role: piece.id}) if s.id in wanted else s
        for s in course.students
    )
    known = {name: values for name, values in course._values.items() if name not in wanted}
    return replace(course, students=changed, _values=known)


def _holds(course: Course, settings: OrderSettings, role: str, piece: Piece) -> bool:
    """Whether one sheet gives everything that is to come from it."""
    demand = class_demand(course, settings)
    needs = [need for need in demand.needs if need.group.role == role and need.group.piece == piece.id]
    area = sum((need.length * need.width for need in needs), Fraction(0))
    assert piece.length is not None and piece.width is not None
    if area > piece.length * piece.width:
        return False
    told: list[Problem] = []
    size = (piece.length, piece.width)
    if not all([fits(course, settings, need, piece.id, size, told) for need in needs]):
        return False
    return plan_cutting(job_of(course, settings, piece.id, size, needs)).used <= 1
