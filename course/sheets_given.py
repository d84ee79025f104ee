"""Who gets which measured sheet, where the roster leaves it open."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.course import Course
from course.demand import class_demand
from course.instructions import Instructions
from course.order_settings import OrderSettings
from course.roster import Student, stock_given
from course.sheet_plans import enough
from course.stock import Piece
from shared.problems import Problem
from shared.units import SHOWN


@dataclass(frozen=True, slots=True)
class Assigned:
    """A sheet that a student without one was given."""

    student: str
    role: str
    piece: str


def assign(
    course: Course, settings: OrderSettings, said: Instructions, problems: list[Problem]
) -> tuple[Course, tuple[Assigned, ...]]:  # fmt: skip
    """The course with a measured sheet for each student who has none, as far as the sheets go.

    All parts of a student come from one thickness. Students are taken in the order of the roster, sheets in the order
    of `stock.csv`; a line of it takes as many students as a real layout shows to fit on its sheets, spares included.
    Sheets whose thickness is uneven or far from the plan's are not given out, which is told.
    """
    found: list[Assigned] = []
    for role in course.cabinet.stock:
        for student, piece in _by_pins(course, said, role):
            course = given(course, [student], piece)
            found.append(Assigned(student.id, role, piece.id))
        sheets = [piece for piece in course.stock.values() if piece.role == role and _is_sheet(course, piece)]
        sheets = [piece for piece in sheets if _fit_to_give(course, settings, piece, problems)]
        for piece in sheets:
            waiting = _waiting(course, role)
            count = _most(course, settings, said, waiting, piece) if waiting else 0
            if count:
                course = given(course, waiting[:count], piece)
                found += [Assigned(student.id, role, piece.id) for student in waiting[:count]]
        waiting = _waiting(course, role)
        if waiting and sheets:
            who = ", ".join(student.id for student in waiting)
            says = f"no sheet of stock.csv has room for the {role} parts of {who}; they are planned on sheets to buy"
            do = "Buy those, measure them, and enter them: until then the thickness of the plan counts."
            problems.append(Problem("O024", sheets[-1].place, says, do, False))
    return course, tuple(found)


def _by_pins(course: Course, said: Instructions, role: str) -> Iterator[tuple[Student, Piece]]:
    """Students without a sheet whose pieces are pinned to one."""
    by_sheet = {name: piece for piece in course.stock.values() if piece.role == role for name in piece.names}
    pinned = {piece.name.partition(" ")[0]: pin.sheet for pin in reversed(said.pinned) for piece in pin.pieces}
    for student in _waiting(course, role):
        if pinned.get(student.id) in by_sheet:
            yield student, by_sheet[pinned[student.id]]


def _waiting(course: Course, role: str) -> list[Student]:
    return [s for s in course.students if role not in s.pieces and from_sheets(course, s, role)]


def from_sheets(course: Course, student: Student, role: str) -> bool:
    """Whether a student's parts of a stock are cut from sheets."""
    return course.values(student)[f"stock.{role}.build"] != "solid"


def _is_sheet(course: Course, piece: Piece) -> bool:
    """Whether it has a size, and is no board, by its line or by the students who have it."""
    if piece.form == "solid":
        return False
    users = [student for student in course.students if student.pieces.get(piece.role) == piece.id]
    return bool(piece.length and piece.width) and all(from_sheets(course, user, piece.role) for user in users)


def _fit_to_give(course: Course, settings: OrderSettings, piece: Piece, problems: list[Problem]) -> bool:
    """Whether its thickness is even enough for the joints and near the plan's; if not, why is told."""
    if not piece.measured or not any(from_sheets(course, student, piece.role) for student in course.students):
        return True
    shown = SHOWN[course.text("units", "mm")]
    wanted = course.plan_values.number(f"stock.{piece.role}.thickness")
    limit = spread_limit(course, settings, piece.role)
    users = [student.id for student in course.students if student.pieces.get(piece.role) == piece.id]
    but = ", and it is given to nobody"
    if users:
        but = f"; {_has(users)} {_labels(course, piece.role)} from it all the same"
    if piece.spread > limit:
        says = (
            f"'{piece.id}' is {shown.fine(min(piece.thickness))} to {shown.fine(max(piece.thickness))} thick, "
            f"{shown.fine(piece.spread)} apart, where {shown.fine(limit)} fits its joints{but}"
        )
        do = "Measure it again; cut what needs no joint from it, or write thickness.spread in order.yaml."
        problems.append(Problem("O021", piece.place, says, do, False))
        return False
    if abs(piece.mean_thickness - wanted) > settings.size("thickness.off"):
        says = (
            f"'{piece.id}' is {shown.fine(piece.mean_thickness)} thick, and the plan has {shown.fine(wanted)} for the "
            f"{piece.role}{but}"
        )
        do = "Check the reading and the stock it is for, or write thickness.off in order.yaml."
        problems.append(Problem("O022", piece.place, says, do, False))
        return False
    return True


def _has(users: Sequence[str]) -> str:
    return f"{', '.join(users)} {'has' if len(users) == 1 else 'have'}"


def _labels(course: Course, role: str) -> str:
    return ", ".join(part.label for part in course.cabinet.parts if part.stock == role)


def spread_limit(course: Course, settings: OrderSettings, role: str) -> Fraction:
    """How far apart the readings of a stock may be: a left-over tenon varies one to one with it (common practice)."""
    values, found = course.plan_values, [settings.size("thickness.spread")]
    for assembly in course.cabinet.assemblies.values():
        for joint in assembly.joints.values():
            roles = {course.cabinet.part(site.male).stock for site in joint.sites}
            if role in roles and f"{joint.prefix}.stock_high" in values:
                found.append(values.number(f"{joint.prefix}.stock_high") - values.number(f"{joint.prefix}.stock_low"))
    return min(found)


def given(course: Course, students: Sequence[Student], piece: Piece) -> Course:
    """The course with these students' parts cut from a sheet."""
    wanted = {student.id for student in students}
    changed = tuple(
        replace(s, choices={**s.choices, **stock_given(piece)}, pieces={**s.pieces, piece.role: piece.id})
        if s.id in wanted
        else s
        for s in course.students
    )
    known = {name: values for name, values in course._values.items() if name not in wanted}
    return replace(course, students=changed, _values=known)


def _most(
    course: Course, settings: OrderSettings, said: Instructions, waiting: Sequence[Student], piece: Piece
) -> int:  # fmt: skip
    """How many of the waiting students, in their order, the sheets of a line have room for."""

    def full(count: int) -> bool:
        return not _holds(given(course, waiting[:count], piece), settings, said, piece)

    return bisect_left(range(1, len(waiting) + 1), True, key=full)


def _holds(course: Course, settings: OrderSettings, said: Instructions, piece: Piece) -> bool:
    """Whether its sheets give everything that is to come from them."""
    demand = class_demand(course, settings)
    groups = [group for group in demand.groups() if group.role == piece.role and group.piece == piece.id]
    return all(enough(course, settings, said, demand, group) for group in groups)
