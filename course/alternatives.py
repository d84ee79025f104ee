"""What would save a sheet: fewer spares, or students on other sheets; each planned again before it is said."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from course.course import Course
from course.cut_sheets import CutSheet
from course.demand import Demand, class_demand
from course.instructions import Instructions
from course.needs import Need, Purpose
from course.order_settings import OrderSettings
from course.readings import FROZEN
from course.roster import Student
from course.sheet_jobs import sheets_in_words
from course.sheet_plans import SheetPlan, plan_sheets
from course.sheets_given import given
from course.sheets_on_hand import trim_of
from course.spare_parts import Spares, percent
from shared.handbook import spares
from shared.problems import Problem

MOST_TRIES = 4
"""How often the sheets of one stock role are planned again for moves of students."""
MOST_PIECES = 300
"""Of larger stock nothing is planned again: it would take minutes."""
LEAST_COVER = Fraction(1, 2)
"""Fewer spares are offered only while they are enough in this share of classes; our choice."""
MOST_STUDENTS = 3
"""How many students move together at most."""


@dataclass(frozen=True, slots=True)
class Alternative:
    """Something that saves sheets, found by planning again."""

    stock: str
    saves: str
    says: str
    """What would have to be done."""


@dataclass(frozen=True, slots=True)
class _Class:
    """What the sheets are planned from."""

    course: Course
    settings: OrderSettings
    said: Instructions
    demand: Demand

    def plans(self, role: str) -> list[SheetPlan] | None:
        """The sheets of a role planned anew; None when something cannot be cut."""
        problems: list[Problem] = []
        taken: set[str] = set()
        groups = [group for group in self.demand.groups() if group.sheet and group.role == role]
        found = [plan_sheets(self.course, self.settings, self.said, self.demand, g, taken, problems) for g in groups]
        known = [plan for plan in found if plan]
        return None if len(known) < len(found) or any(problem.severe for problem in problems) else known


def alternatives(
    course: Course, settings: OrderSettings, said: Instructions, demand: Demand, plans: Sequence[SheetPlan]
) -> tuple[Alternative, ...]:  # fmt: skip
    """What would save sheets, as far as a few tries show; nothing that was not planned again in full."""
    now = _Class(course, settings, said, demand)
    found: list[Alternative] = []
    for role in dict.fromkeys(plan.group.role for plan in plans):
        own = [plan for plan in plans if plan.group.role == role]
        if sum(len(demand.of(plan.group)) for plan in own) > MOST_PIECES:
            continue
        found += _fewer_spares(now, own)
        found += _moves(now, role, own)
    return tuple(found)


def _total(plans: Sequence[SheetPlan]) -> tuple[int, int]:
    """Sheets to buy, and sheets to cut."""
    return sum(plan.buy for plan in plans), sum(plan.needed for plan in plans)


def _saved(before: tuple[int, int], after: tuple[int, int]) -> str:
    """What is saved in words; empty when nothing is."""
    if after[0] < before[0]:
        return f"{sheets_in_words(before[0] - after[0])} fewer to buy"
    if after[0] == before[0] and after[1] < before[1]:
        return f"{sheets_in_words(before[1] - after[1])} fewer to cut"
    return ""


# -- spares ----------------------------------------------------------------------------------------------


def _fewer_spares(now: _Class, plans: Sequence[SheetPlan]) -> Iterator[Alternative]:
    """The fewest spares, the largest first, whose leaving out saves a sheet of a stock."""
    for plan in plans:
        extra = [n for n in now.demand.of(plan.group) if n.purpose is Purpose.SPARE]
        extra.sort(key=lambda need: (-need.length * need.width, need.name))
        while extra and min(_covers(now, plan, extra).values(), default=Fraction(1)) < LEAST_COVER:
            extra.pop()
        if not extra or not _has_room(now, plan, extra):
            continue

        def saved(count: int, plan: SheetPlan = plan, extra: Sequence[Need] = extra) -> str:
            return _saved(_total([plan]), _without(now, plan, extra[:count]) or _total([plan]))

        if saved(len(extra)):
            fewest = 1 + bisect_left(range(1, len(extra)), True, key=lambda count: bool(saved(count)))
            yield Alternative(plan.group.says, saved(fewest), _spares_words(now, plan, extra[:fewest]))


def _has_room(now: _Class, plan: SheetPlan, extra: Sequence[Need]) -> bool:
    """Whether everything but the spares fits on one sheet less, by area."""
    if plan.needed < 2:
        return False
    area = sum((n.length * n.width for n in now.demand.of(plan.group)), Fraction(0))
    area -= sum((n.length * n.width for n in extra), Fraction(0))
    return area <= _room(now, plan.sheets) - min(_room(now, [sheet]) for sheet in plan.sheets)


def _room(now: _Class, sheets: Sequence[CutSheet]) -> Fraction:
    """Area inside the trim."""
    ends, edges = trim_of(now.settings)
    return sum(((s.length - 2 * ends) * (s.width - 2 * edges) for s in sheets), Fraction(0))


def _without(now: _Class, plan: SheetPlan, left_out: Sequence[Need]) -> tuple[int, int] | None:
    names = {need.name for need in left_out}
    demand = replace(now.demand, needs=tuple(need for need in now.demand.needs if need.name not in names))
    one = plan_sheets(now.course, now.settings, now.said, demand, plan.group, set(), [])
    return _total([one]) if one else None


def _covers(now: _Class, plan: SheetPlan, left_out: Sequence[Need]) -> dict[Spares, Fraction]:
    """The chance that the spares of each kind are enough without some of them."""
    counts = Counter(need.title for need in left_out)
    found = {}
    for one in now.demand.spares:
        gone = counts[f"spare {one.title}"] if one.group == plan.group else 0
        if gone:
            found[one] = spares.enough(one.parts, one.scrap, one.count - gone)
    return found


def _spares_words(now: _Class, plan: SheetPlan, left_out: Sequence[Need]) -> str:
    counts = Counter(need.title for need in left_out)
    return "; ".join(
        f"{one.count - counts[f'spare {one.title}']} instead of {one.count} spares of {one.title}, "
        f"enough in {percent(chance)} of such classes"
        for one, chance in _covers(now, plan, left_out).items()
    )


# -- students on other sheets ----------------------------------------------------------------------------


def _moves(now: _Class, role: str, plans: Sequence[SheetPlan]) -> Iterator[Alternative]:
    """The first move of few students between measured sheets that saves one."""
    before = _total(plans)
    for students, source, target in islice(_candidates(now, plans), MOST_TRIES):
        piece = target.piece
        assert piece is not None
        course = given(now.course, students, piece)
        changed = replace(now, course=course, demand=class_demand(course, now.settings))
        after = changed.plans(role)
        saved = _saved(before, _total(after)) if after else ""
        if saved:
            who = " and ".join(student.id for student in students)
            verb = "swaps" if len(students) == 1 else "swap"
            yield Alternative(
                source.group.says, saved, f"{who} {verb} to {piece.id}: their {role} parts change with its thickness"
            )  # fmt: skip
            return


def _candidates(
    now: _Class, plans: Sequence[SheetPlan]
) -> Iterator[tuple[list[Student], SheetPlan, SheetPlan]]:  # fmt: skip
    """Few students first, and only where the area leaves hope."""
    for count in range(1, MOST_STUDENTS + 1):
        for source in plans:
            free = _free(now, source)
            for target in plans:
                if target is source or target.piece is None or len(free) < count or not _alike(source, target):
                    continue
                students = free[:count]
                moved = sum((_area(now, source, student) for student in students), Fraction(0))
                left = sum((n.length * n.width for n in now.demand.of(source.group)), Fraction(0)) - moved
                there = sum((n.length * n.width for n in now.demand.of(target.group)), Fraction(0)) + moved
                smallest = min((_room(now, [sheet]) for sheet in source.sheets), default=Fraction(0))
                if left <= _room(now, source.sheets) - smallest and there <= _room(now, target.sheets):
                    yield students, source, target


def _alike(one: SheetPlan, other: SheetPlan) -> bool:
    return (one.group.material, one.group.build) == (other.group.material, other.group.build)


def _area(now: _Class, plan: SheetPlan, student: Student) -> Fraction:
    needs = [need for need in now.demand.of(plan.group) if need.student == student.id]
    return sum((need.length * need.width for need in needs), Fraction(0))


def _free(now: _Class, plan: SheetPlan) -> list[Student]:
    """Students of a stock of whom nothing of it is cut or pinned, those with most area first."""
    pinned = {piece.name.partition(" ")[0] for pin in now.said.pinned for piece in pin.pieces}
    names = {part.name for part in now.course.cabinet.parts if part.stock == plan.group.role}
    found = []
    for student in now.course.students:
        states = now.course.log.states(student.id)
        cut = any(name in states and states[name].name in FROZEN for name in names)
        if not cut and student.id not in pinned and _area(now, plan, student):
            found.append(student)
    return sorted(found, key=lambda student: -_area(now, plan, student))
