"""From pieces and real sheets to a cutting job in whole units, and from its layouts back to sheets in millimetres."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from course.course import Course
from course.cut_sheets import CutSheet, Sawing
from course.cutting.engine import plan_cutting
from course.cutting.model import (
    UNITS,
    Cut,
    Job,
    Layout,
    Node,
    Plan,
    Rect,
    Stock,
    Trim,
    rounded_down,
    rounded_up,
)
from course.cutting.model import Demand as Wanted
from course.needs import Need, StockGroup
from course.order_settings import OrderSettings
from course.sheets_on_hand import Sheet, trim_of, unit_of
from shared.units import decimal

NONE: Mapping[str, str] = MappingProxyType({})
"""Nothing is pinned."""
REST = "rest "
"""How the name of what is left of a sheet begins."""
SQUARE_DECIMETRE = 10_000
"""What sheets of several sizes without prices are compared by. [mm^2]"""


@dataclass(frozen=True, slots=True)
class Lot:
    """Pieces that are planned together, and the plan."""

    job: Job
    plan: Plan
    when: str = ""
    """`today`, or empty."""
    money: bool = False
    """Costs are prices, in hundredths; else they are sizes, or 1 each where all are of one size."""

    @property
    def how_good(self) -> str:
        """How near the layouts are to the best there could be, in words."""
        words = self._words()
        return f"{self.when}: {words}" if self.when else words

    def _words(self) -> str:
        used, bound, cost = self.plan.used, self.plan.lower_bound, self.plan.cost
        if not used:
            return "nothing could be planned"
        bought = [stock for stock in self.job.stock if stock.on_hand is None]
        costs = {stock.cost for stock in self.job.stock}
        rests = " or rests" if any(layout.stock.startswith(REST) for layout in self.plan.layouts) else ""
        if len(costs) == 1 and costs != {0}:
            each = costs.pop()
            least = -(-bound // each)
            if used == least:
                return f"{sheets_in_words(used)}; proven: no layout of straight cuts from edge to edge does with fewer"
            return (
                f"{sheets_in_words(used)}; at least {least} {'are' if least > 1 else 'is'} needed. "
                f"Not proven: {used - least} fewer may be possible"
            )
        if len({stock.cost for stock in bought}) == 1 and costs - {0} == {bought[0].cost}:
            each, new = bought[0].cost, cost // bought[0].cost
            least = -(-bound // each)
            words = f"{sheets_in_words(used - new)}{rests} on hand and {sheets_in_words(new)} to buy"
            if new == least:
                return f"{words}; proven: nobody could buy fewer"
            return f"{words}. Not proven: {new - least} fewer may be possible"
        total = self._amount(cost)
        what = f"{sheets_in_words(used)}{rests}"
        words = f"{what} for {total}" if self.money else f"{what}, {total}"
        if cost == bound:
            return f"{words}; proven: no choice of sheets and layouts takes less"
        return f"{words}; at least {self._amount(bound)}. Not proven: {self._amount(cost - bound)} less may be possible"

    def _amount(self, cost: int) -> str:
        return decimal(Fraction(cost, 100), 2) + ("" if self.money else " m\u00b2")


def sheets_in_words(count: int) -> str:
    """`1 sheet`, `2 sheets`."""
    return "1 sheet" if count == 1 else f"{count} sheets"


def planned(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need], have: Sequence[Sheet],
    sale: Sequence[Sheet], when: str = "", sources: Mapping[str, str] = NONE,
) -> tuple[Lot, tuple[tuple[Sheet, CutSheet], ...]]:  # fmt: skip
    """The layouts of some pieces: from the sheets on hand when they are enough, else with the fewest or cheapest more.

    Every need must fit on one of the sheets. What is for sale is not looked at while the sheets on hand do.

    Args:
        when: What the lot is called.
        sources: Pieces that must come from one sheet, and its name.

    Returns:
        The lot, and each sheet with how it is cut; those of one size for sale are told apart by a number.
    """
    pins = {need.name: sources[need.name] for need in needs if need.name in sources}
    named = frozenset(pins.values())
    area = sum((need.length * need.width for need in needs), Fraction(0))
    lot = None
    if sale and not pins and _all_alike([*have, *sale]):
        lot = _solved(course, settings, needs, [], sale, when, pins)
    elif have and (not sale or area <= sum(sheet.area for sheet in have)):
        lot = _solved(course, settings, needs, _alike(have, named), (), when, pins)
    if sale and (lot is None or lot.plan.problems):
        lot = _solved(course, settings, needs, _alike(have, named), sale, when, pins)
    assert lot is not None
    return lot, tuple(_sawn(course, settings, group, needs, lot, have, sale, named))


def _all_alike(sheets: Sequence[Sheet]) -> bool:
    """Whether it makes no difference which of them is cut."""
    return len(_alike(sheets, frozenset())) == 1 and not sheets[0].sawn and not sheets[0].defects


def _area(needs: Sequence[Need]) -> Fraction:
    return sum((need.length * need.width for need in needs), Fraction(0))


def _solved(
    course: Course, settings: OrderSettings, needs: Sequence[Need], have: Sequence[Sequence[Sheet]],
    sale: Sequence[Sheet], when: str, pins: Mapping[str, str],
) -> Lot:  # fmt: skip
    """With sheets for sale, those on hand cost nothing."""
    priced = sale or [alike[0] for alike in have]
    money = bool(sale) and len({sheet.price for sheet in sale}) > 1 and all(sheet.price for sheet in sale)
    one_size = len({(sheet.length, sheet.width) for sheet in priced}) == 1

    def cost(sheet: Sheet) -> int:
        if money:
            return max(1, round((sheet.price or 0) * 100))
        return 1 if one_size else max(1, round(sheet.area / SQUARE_DECIMETRE))

    unit, trim = UNITS[unit_of(course)], trim_of(settings)
    stock = []
    for alike in have:
        stock.append(stock_of(alike[0], unit, trim, 0 if sale else cost(alike[0]), len(alike)))
    stock += [stock_of(sheet, unit, trim, cost(sheet), None) for sheet in sale]
    job = Job(tuple(stock), wanted(needs, unit, pins), kerf_of(course), trim_in(settings, unit))
    return Lot(job, plan_cutting(job, all_or_nothing=not sale), when, money)


def _alike(sheets: Sequence[Sheet], named: frozenset[str]) -> list[list[Sheet]]:
    """Sheets that are the same for the planner, in the order of the first of each; those named by pins are alone."""
    found: dict[tuple, list[Sheet]] = {}
    for sheet in sheets:
        found.setdefault(
            (sheet.length, sheet.width, sheet.sawn, sheet.defects, sheet.name in named and sheet.name), []
        ).append(sheet)
    return list(found.values())


def kerf_of(course: Course) -> int:
    """Kerf in whole units."""
    return rounded_up(course.plan_values.number("shop.kerf"), UNITS[unit_of(course)])


def trim_in(settings: OrderSettings, unit: Fraction) -> Trim:
    """The trim in whole units."""
    ends, edges = trim_of(settings)
    return Trim(rounded_up(ends, unit), rounded_up(edges, unit))


def wanted(needs: Sequence[Need], unit: Fraction, pins: Mapping[str, str] = NONE) -> tuple[Wanted, ...]:
    """The pieces in whole units, with the sheet that each must come from."""
    return tuple(
        Wanted(
            n.name, rounded_up(n.length, unit), rounded_up(n.width, unit), 1, n.grain, pins.get(n.name, ""), n.place
        )
        for n in needs
    )  # fmt: skip


def stock_of(sheet: Sheet, unit: Fraction, trim: tuple[Fraction, Fraction], cost: int, count: int | None) -> Stock:
    """A sheet for the planner; one with sawn edges is larger by the trim, which is then no loss."""
    ends, edges = (rounded_up(side, unit) if sheet.sawn else 0 for side in trim)
    flaws = tuple(
        Rect(
            rounded_down(d.x, unit) + ends, rounded_down(d.y, unit) + edges,
            rounded_up(d.x + d.length, unit) - rounded_down(d.x, unit),
            rounded_up(d.y + d.width, unit) - rounded_down(d.y, unit),
        )
        for d in sheet.defects
    )  # fmt: skip
    length, width = rounded_down(sheet.length, unit) + 2 * ends, rounded_down(sheet.width, unit) + 2 * edges
    return Stock(sheet.name, length, width, cost, count, flaws)


def _sawn(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need], lot: Lot,
    have: Sequence[Sheet], sale: Sequence[Sheet], named: frozenset[str],
) -> Iterator[tuple[Sheet, CutSheet]]:  # fmt: skip
    """Each sheet by its own name, with how it is cut."""
    names = {alike[0].name: list(alike) for alike in _alike(have, named)}
    bought = {sheet.name: sheet for sheet in sale}
    layouts = [layout for layout in lot.plan.layouts for _ in range(layout.copies)]
    counts = {name: sum(1 for layout in layouts if layout.stock == name) for name in bought}
    numbers = dict.fromkeys(bought, 0)
    spare = list(have) if lot.job.stock and all(stock.on_hand is None for stock in lot.job.stock) else []
    counts = {name: count - len(spare) for name, count in counts.items()}
    for layout in layouts:
        if spare:
            sheet = spare.pop(0)
        elif layout.stock in bought:
            numbers[layout.stock] += 1
            sheet = bought[layout.stock]
            if counts[layout.stock] > 1:
                sheet = replace(sheet, name=f"{layout.stock} {numbers[layout.stock]}")
        else:
            sheet = names[layout.stock].pop(0)
        stock = next(stock for stock in lot.job.stock if stock.id == layout.stock)
        yield sheet, sawn_sheet(course, settings, group, needs, replace(lot.job, stock=(stock,)), layout, sheet)


def sawn_sheet(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need], job: Job, layout: Layout,
    sheet: Sheet,
) -> CutSheet:  # fmt: skip
    """A sheet as it is sawn.

    Args:
        job: With the sheet as its only stock.
    """
    unit = UNITS[unit_of(course)]
    if sheet.sawn:
        ends, edges = job.trim.ends, job.trim.edges
        stock = job.stock[0]
        bare = replace(stock, length=stock.length - 2 * ends, width=stock.width - 2 * edges)
        job = replace(job, stock=(bare,), trim=Trim(0, 0))
        layout = replace(layout, tree=_moved(layout.tree, -ends, -edges))
    keep = (settings.size("keep.length"), settings.size("keep.width"))
    drawn = Sawing(keep, group, (sheet.length, sheet.width), unit, job, {need.name: need for need in needs})
    return replace(drawn.sheet(layout, sheet.name), defects=sheet.defects, rest=sheet.sawn)


def _moved(node: Node, x: int, y: int) -> Node:
    if isinstance(node, Cut):
        at = node.at + (y if node.axis else x)
        return Cut(node.axis, at, _moved(node.first, x, y), _moved(node.second, x, y))
    return replace(node, x=node.x + x, y=node.y + y)
