"""How boards are crosscut, ripped and crosscut again: which boards, what is glued up, and how good the layout is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.course import Course
from course.cut_sheets import CutSheet, Sawing
from course.cutting.boards import board_job, strips, whole_costs
from course.cutting.engine import plan_cutting
from course.cutting.model import UNITS, Job, Plan, Stock, Trim, rounded_up
from course.needs import Need, StockGroup
from course.order_settings import OrderSettings
from course.sheet_jobs import kerf_of, stock_of, wanted
from course.sheets_on_hand import Sheet, sheets_of, unit_of
from course.stock import Piece
from shared.handbook.lumber import board_feet
from shared.problems import Problem
from shared.units import decimal


@dataclass(frozen=True, slots=True)
class GluedUp:
    """A panel that no board gives in one piece. [mm]"""

    need: Need
    strips: tuple[Need, ...]


@dataclass(frozen=True, slots=True)
class BoughtBoards:
    """Boards of one size that are to be bought. [mm]"""

    name: str
    length: Fraction
    width: Fraction
    count: int


@dataclass(frozen=True, slots=True)
class BoardLayout:
    """The boards of one stock as they are sawn."""

    job: Job
    plan: Plan
    boards: tuple[CutSheet, ...]
    glued: tuple[GluedUp, ...]
    bought: tuple[BoughtBoards, ...]
    coin: Fraction
    """What a cost of 1 in the plan stands for: board feet, or money."""
    money: bool

    @property
    def blanks(self) -> dict[str, tuple[Need, ...]]:
        """For the name of each panel that is glued up: its strips."""
        return {one.need.name: one.strips for one in self.glued}

    @property
    def how_good(self) -> str:
        """How near the layout is to the best there could be, in words."""
        used, new = len(self.boards), sum(one.count for one in self.bought)
        if not used:
            return "nothing could be planned"
        plan = self.plan
        words = f"{_boards(used)}, {new} of them to buy for {self._amount(plan.cost)}" if new else f"{_boards(used)}"
        if plan.cost == plan.lower_bound:
            return f"{words}; proven: no layout of these rips and crosscuts takes less"
        least = min(stock.cost for stock in self.job.stock if stock.cost)
        small = ", less than the smallest board" if plan.gap < least else ""
        return (
            f"{words}; at least {self._amount(plan.lower_bound)}. "
            f"Not proven: {self._amount(plan.gap)} less may be possible{small}"
        )

    @property
    def price(self) -> Fraction | None:
        """What the boards to buy cost together; None where their prices are not known, or none is bought."""
        return self.plan.cost * self.coin if self.money and self.bought else None

    def _amount(self, cost: int) -> str:
        if self.money:
            whole, cents = divmod(round(cost * self.coin * 100), 100)
            return f"{whole}.{cents:02}"
        return f"{decimal(cost * self.coin, 1)} board feet"


def _boards(count: int) -> str:
    return "1 board" if count == 1 else f"{count} boards"


def thick_enough(piece: Piece, needs: Sequence[Need]) -> bool:
    """Whether a board gives the thinnest piece that is wanted; one that is not measured may."""
    return not piece.measured or piece.mean_thickness >= min(need.thickness for need in needs)


def lay_out(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need], pieces: Sequence[Piece],
    thickness: Fraction, problems: list[Problem],
) -> BoardLayout:  # fmt: skip
    """Layouts of boards on hand, which cost nothing more, and of as few or as cheap new ones as were found.

    Args:
        course: As read.
        settings: Of the order.
        group: The stock.
        needs: What is cut from it.
        pieces: Boards on hand that serve.
        thickness: Rough thickness, by which board feet are counted. [mm]
        problems: What cannot be cut is added.
    """
    unit = UNITS[unit_of(course)]
    sides = tuple(rounded_up(settings.size(f"board.{name}"), unit) for name in ("ends", "edges"))
    sale = for_sale(course, settings, group)
    money = all(one.price for one in sale)
    prices = [one.price if money and one.price else board_feet(thickness, one.width, one.length) for one in sale]
    costs = whole_costs(prices)
    lots = {line[0].name: line for piece in pieces for line in _alike(piece)}
    owned = [stock_of(line[0], unit, (Fraction(0), Fraction(0)), 0, len(line)) for line in lots.values()]
    new = [stock_of(one, unit, (Fraction(0), Fraction(0)), cost, None) for one, cost in zip(sale, costs, strict=True)]
    wide = _Wide(unit, Trim(*sides), kerf_of(course), rounded_up(settings.size("board.joint"), unit), owned, new)
    blanks, pins, glued = wide.shared_out(needs)
    job = board_job((*owned, *new), wanted(blanks, unit, pins), wide.kerf, wide.trim)
    plan = plan_cutting(job)
    problems += plan.problems
    keep = (settings.size("board.keep.length"), settings.size("board.keep.width"))
    boards = tuple(_sawn(group, blanks, job, plan, lots, sale, keep, unit))
    return BoardLayout(
        job, plan, boards, glued, tuple(_bought(plan, sale)), prices[0] / costs[0] if costs else Fraction(1), money
    )  # fmt: skip


def for_sale(course: Course, settings: OrderSettings, group: StockGroup) -> tuple[Sheet, ...]:
    """The boards that can be bought: those of the course, or the usual ones; the longest and widest last."""
    own = settings.for_sale.get(f"{group.role} {group.build}", settings.for_sale.get(group.role, ()))
    sizes = [(one.length, one.width, one.price) for one in own] or [
        (*size, None) for size in settings.boards(unit_of(course))
    ]
    return tuple(
        Sheet(f"new {group.role} board, size {number}", length, width, price=price)
        for number, (length, width, price) in enumerate(sorted(sizes, key=lambda size: size[:2]), 1)
    )


def _alike(piece: Piece) -> Iterator[list[Sheet]]:
    """The boards of a line of `stock.csv`: those without defects together, the others one by one."""
    boards = list(sheets_of(piece))
    clear = [board for board in boards if not board.defects]
    if clear:
        yield clear
    yield from ([board] for board in boards if board.defects)


@dataclass(frozen=True)
class _Wide:
    """Shares out wide panels: to boards on hand that are wide enough, then glued up from strips."""

    unit: Fraction
    trim: Trim
    kerf: int
    joint: int
    owned: Sequence[Stock]
    new: Sequence[Stock]

    def shared_out(self, needs: Sequence[Need]) -> tuple[list[Need], dict[str, str], tuple[GluedUp, ...]]:
        """What is cut, the board that some of it must come from, and what is glued up."""
        widest = max((self._inside(stock)[1] for stock in self.new), default=0)
        widest = widest or max((self._inside(stock)[1] for stock in self.owned), default=0)
        room = {stock.id: [*self._inside(stock), stock.on_hand] for stock in self.owned if not stock.defects}
        blanks, pins, glued = [], {}, []
        for need in needs:
            if rounded_up(need.width, self.unit) <= widest:
                blanks.append(need)
                continue
            board = self._board_for(need, room)
            parts = None if board else strips(rounded_up(need.width, self.unit), widest, self.joint)
            if board:
                pins[need.name] = board
                blanks.append(need)
            elif parts is None or parts[0] == 1:
                blanks.append(need)
            else:
                glued.append(GluedUp(need, tuple(self._strips(need, *parts))))
                blanks += glued[-1].strips
        return blanks, pins, tuple(glued)

    def _inside(self, stock: Stock) -> tuple[int, int]:
        return stock.length - 2 * self.trim.ends, stock.width - 2 * self.trim.edges

    def _board_for(self, need: Need, room: dict[str, list]) -> str:
        """A board that is wide enough and has length left; what is taken is marked off."""
        length, width = rounded_up(need.length, self.unit), rounded_up(need.width, self.unit)
        for name, (left, across, count) in room.items():
            if width <= across and length <= left and count == 1:
                room[name][0] = left - length - self.kerf
                return name
        return ""

    def _strips(self, need: Need, count: int, width: int) -> Iterator[Need]:
        for number in range(1, count + 1):
            words = f"strip {number} of {count}"
            yield replace(
                need, name=f"{need.name} {words}", title=f"{need.title}, {words}", width=width * self.unit
            )  # fmt: skip


def _sawn(
    group: StockGroup, blanks: Sequence[Need], job: Job, plan: Plan, lots: dict[str, list[Sheet]],
    sale: Sequence[Sheet], keep: tuple[Fraction, Fraction], unit: Fraction,
) -> Iterator[CutSheet]:  # fmt: skip
    """Each board by its own name, those on hand first."""
    waiting = {name: list(line) for name, line in lots.items()}
    stock = {one.id: one for one in job.stock}
    needs = {need.name: need for need in blanks}
    layouts = [layout for layout in plan.layouts for _ in range(layout.copies) if layout.placed]
    number = 0
    for layout in sorted(layouts, key=lambda layout: layout.stock not in waiting):
        if layout.stock in waiting:
            board = waiting[layout.stock].pop(0)
        else:
            number += 1
            board = replace(next(one for one in sale if one.name == layout.stock), name=f"new {group.role} {number}")
        own = replace(job, stock=(stock[layout.stock],))
        drawn = Sawing(keep, group, (board.length, board.width), unit, own, needs)
        yield replace(drawn.sheet(layout, board.name), defects=board.defects)


def _bought(plan: Plan, sale: Sequence[Sheet]) -> Iterator[BoughtBoards]:
    for one in sale:
        count = sum(layout.copies for layout in plan.layouts if layout.stock == one.name)
        if count:
            yield BoughtBoards(one.name, one.length, one.width, count)
