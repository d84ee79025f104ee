"""What to buy for a class, which sheet each student has, and how every sheet is cut, with a bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from course.alternatives import Alternative, alternatives
from course.board_plans import BoardPlan, plan_boards
from course.course import Course
from course.cut_sheets import CutSheet
from course.demand import Demand, class_demand
from course.instructions import read_instructions
from course.needs import Need
from course.order_settings import OrderSettings, read_order_settings
from course.sheet_plans import SheetPlan, plan_sheets, short_of
from course.sheets_given import Assigned, assign
from shared.problems import Problem
from shared.units import SHOWN, Shown


@dataclass(frozen=True, slots=True)
class Order:
    """Everything to buy and to cut for a class."""

    course: Course
    """With a sheet for every student."""
    settings: OrderSettings
    demand: Demand
    sheets: tuple[SheetPlan, ...]
    boards: tuple[BoardPlan, ...]
    assigned: tuple[Assigned, ...]
    problems: tuple[Problem, ...]
    used: frozenset[str] = frozenset()
    """Sheets that were cut up before, by the instructor's word."""
    alternatives: tuple[Alternative, ...] = ()
    """What would save sheets."""

    @property
    def cut_sheets(self) -> tuple[CutSheet, ...]:
        """Every sheet, in order."""
        return tuple(sheet for plan in self.sheets for sheet in plan.sheets)

    @property
    def cut_boards(self) -> tuple[CutSheet, ...]:
        """Every board, in order."""
        return tuple(board for plan in self.boards for board in plan.layout.boards)

    @property
    def blanks(self) -> tuple[Need, ...]:
        """Every piece that is cut: the demand, with strips in place of panels that are glued up."""
        strips = {name: found for plan in self.boards for name, found in plan.layout.blanks.items()}
        return tuple(blank for need in self.demand.needs for blank in strips.get(need.name, (need,)))

    @property
    def shown(self) -> Shown:
        """How the class's papers show lengths."""
        return SHOWN[self.course.text("units", "mm")]


def plan_order(course: Course, told: Callable[[str], None] = lambda words: None) -> Order:
    """The order of a class; what cannot be planned is named in its problems, the rest is planned.

    Args:
        course: As read.
        told: Called with a few words as each stock is planned.
    """
    groups = tuple(dict.fromkeys(part.group for part in course.cabinet.parts))
    settings = read_order_settings(course.folder, groups, course.cabinet.stock)
    problems = [*settings.problems, *(note for note in course.notes if note.place.file == "stock.csv")]
    said = read_instructions(course)
    problems += said.problems
    course, assigned = assign(course, settings, said, problems)
    demand = class_demand(course, settings)
    problems += demand.problems
    sheets: list[SheetPlan] = []
    boards: list[BoardPlan] = []
    taken: set[str] = set()
    for group in demand.groups():
        told(group.says)
        if group.sheet:
            plan = plan_sheets(course, settings, said, demand, group, taken, problems)
            sheets += [plan] if plan else []
        else:
            boards.append(plan_boards(course, settings, group, demand.of(group), problems))
    problems += [short_of(plan) for plan in sheets if plan.piece and plan.piece.measured and plan.buy]
    unique = sorted(dict.fromkeys(problems), key=lambda p: (p.place.sort_key, p.code, p.says))
    told("what would save a sheet")
    return Order(
        course, settings, demand, tuple(sheets), tuple(boards), assigned, tuple(unique), frozenset(said.used),
        alternatives(course, settings, said, demand, sheets),
    )  # fmt: skip
