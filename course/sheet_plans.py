"""How the sheets of one stock are cut: pinned layouts, what is cut today, and the rest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.course import Course
from course.cut_sheets import Area, CutSheet
from course.cutting.model import Grain
from course.demand import Demand
from course.instructions import Instructions
from course.needs import Need, StockGroup
from course.order_settings import OrderSettings
from course.pinned_sheets import pins_of
from course.sheet_jobs import REST, Lot, planned, sheets_in_words
from course.sheets_on_hand import Sheet, for_sale, on_hand, sheets_of, trim_of, usable
from course.stock import Piece
from shared.problems import Problem
from shared.units import SHOWN


@dataclass(frozen=True, slots=True)
class Bought:
    """Sheets of one size that are to be bought. [mm]"""

    name: str
    length: Fraction
    width: Fraction
    count: int
    price: Fraction | None
    """Of one."""


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """The sheets of one stock."""

    group: StockGroup
    piece: Piece | None
    """The line of `stock.csv`; None for sheets still to be bought."""
    thickness: Fraction
    lots: tuple[Lot, ...]
    """Pieces planned together: pinned layouts, today's, the rest."""
    sheets: tuple[CutSheet, ...]
    """To be cut, in this order."""
    on_hand: int
    """Sheets that were there to be cut; not those whose defects leave no room."""
    bought: tuple[Bought, ...]
    cut_up: tuple[CutSheet, ...] = ()
    """Pinned sheets whose parts are all cut already."""

    @property
    def buy(self) -> int:
        """Sheets to be bought."""
        return sum(one.count for one in self.bought)

    @property
    def needed(self) -> int:
        """Sheets to be cut, not counting again what is left of one."""
        return sum(1 for sheet in self.sheets if not sheet.rest)

    @property
    def share_used(self) -> Fraction:
        """Share of all its sheets that becomes pieces; 0 when there is no sheet."""
        whole = sum((sheet.length * sheet.width for sheet in self.sheets if not sheet.rest), Fraction(0))
        return sum((part.area.size for sheet in self.sheets for part in sheet.parts), Fraction(0)) / (whole or 1)

    @property
    def how_good(self) -> str:
        """How near the layouts are to the best there could be, in words."""
        pinned = [lot for lot in self.lots if lot.when == "pinned"]
        words = [f"{sheets_in_words(len(pinned))} as pinned"] if pinned else []
        words += [lot.how_good for lot in self.lots if lot not in pinned]
        return "; ".join(words) or "nothing could be planned"


def plan_sheets(
    course: Course, settings: OrderSettings, said: Instructions, demand: Demand, group: StockGroup, taken: set[str],
    problems: list[Problem],
) -> SheetPlan | None:  # fmt: skip
    """Layouts for one sheet stock; None when its size is not known.

    Args:
        taken: Names of sheets that other stock is cut from; those of this one are added.
    """
    needs, piece = demand.of(group), course.stock.get(group.piece)
    if piece and (piece.length is None or piece.width is None):
        who = ", ".join(dict.fromkeys(need.student for need in needs if need.student))
        says = f"'{piece.id}' has no length and width, so the {group.role} parts of {who} are not laid out"
        problems.append(Problem("O013", piece.place, says, "Write both in stock.csv, the length along the grain."))
        return None
    have = list(on_hand(course, said, group, taken))
    pins = pins_of(course, settings, demand, group, said, have, problems)
    pinned, sources = pins.layouts, dict(pins.sources)
    fixed = {need.name for one in pinned for need in one.needs}
    gone = {one.sheet.name for one in pinned} | pins.closed
    left = [sheet for sheet in have if sheet.name not in gone]
    clear = list(usable(course, settings, left, needs, problems))
    there, left = len(have) - len(left) + len(clear), clear
    sale = for_sale(course, settings, group)
    sizes = _sizes([*left, *sale])
    open_needs = [need for need in needs if need.name not in fixed]
    problems += too_large(course, settings, open_needs, group, sizes)
    open_needs = [need for need in open_needs if fits(settings, need, sizes)]
    cut_up = tuple(one.cut for one in pinned if one.done)
    rests = [rest for sheet in cut_up for rest in rests_of(sheet)]
    lots = [one.lot for one in pinned if not one.done]
    sheets: list[tuple[Sheet, CutSheet]] = [(one.sheet, one.cut) for one in pinned if not one.done]
    for when, some in _in_time(open_needs, said, sources):
        later = {sources[need.name] for need in open_needs if need.name in sources and need not in some}
        free = [*rests, *(sheet for sheet in left if sheet.name not in later)]
        lot, found = _kept_to_pins(course, settings, said, group, some, free, sale, when, sources, problems)
        problems += lot.plan.problems
        lots.append(lot)
        sheets += [(sheet, replace(cut, note=when)) for sheet, cut in found]
        used = {sheet.name for sheet, _ in found}
        rests = [sheet for sheet in rests if sheet.name not in used]
        rests += [rest for _, cut in found for rest in rests_of(cut)]
        left = [sheet for sheet in left if sheet.name not in used]
    mine = {sheet.name for sheet in have}
    taken |= {sheet.name for sheet, _ in sheets if sheet.name in mine} | {sheet.name for sheet in cut_up} | pins.closed
    return SheetPlan(
        group, piece, _thickness(piece, needs), tuple(lots), tuple(cut for _, cut in sheets), there,
        tuple(_bought(sale, sheets)), cut_up,
    )  # fmt: skip


def _thickness(piece: Piece | None, needs: Sequence[Need]) -> Fraction:
    return piece.mean_thickness if piece and piece.measured else needs[0].thickness


def _kept_to_pins(
    course: Course, settings: OrderSettings, said: Instructions, group: StockGroup, needs: Sequence[Need],
    have: Sequence[Sheet], sale: Sequence[Sheet], when: str, sources: dict[str, str], problems: list[Problem],
) -> tuple[Lot, tuple[tuple[Sheet, CutSheet], ...]]:  # fmt: skip
    """The layouts with every piece from the sheet it is pinned to; a pin that cannot be kept is told and left out."""
    while True:
        lot, found = planned(course, settings, group, needs, have, sale, when, sources)
        made = dict(lot.plan.planned)
        missing = sorted({sources[n.name] for n in needs if n.name in sources and n.name not in made})
        if not missing:
            return lot, found
        pin = next(pin for pin in said.pinned if pin.sheet == missing[0])
        names = [piece.name for piece in pin.pieces if piece.name in sources]
        says = f"'{pin.sheet}' does not give all that is pinned to it: {', '.join(names)}"
        do = "Pin fewer pieces to it; until then all are planned freely."
        problems.append(Problem("O035", pin.place, says, do))
        for name in names:
            del sources[name]


def _in_time(
    needs: Sequence[Need], said: Instructions, sources: dict[str, str]
) -> Iterator[tuple[str, list[Need]]]:  # fmt: skip
    """Today's pieces, with what is pinned to the same sheets, then the others."""
    today = {n.name for n in needs if said.is_today(n.student, [part.label for part in n.parts])}
    opened = {sources[name] for name in today if name in sources}
    first = [need for need in needs if need.name in today or sources.get(need.name) in opened]
    if first:
        yield "today", first
    rest = [need for need in needs if need not in first]
    if rest:
        yield ("after today" if first else ""), rest


def rests_of(sheet: CutSheet) -> Iterator[Sheet]:
    """What is kept of a sheet that is cut, as sheets with sawn edges."""
    for number, area in enumerate(sheet.kept, 1):
        name = f"{REST}{number} of {sheet.name}" if len(sheet.kept) > 1 else f"{REST}of {sheet.name}"
        flaws = tuple(flaw for defect in sheet.defects if (flaw := _within(area, defect)))
        yield Sheet(name, area.length, area.width, flaws, sawn=True)


def _within(area: Area, defect: Area) -> Area | None:
    """The share of a defect that lies in an area, seen from its corner."""
    x, y = max(area.x, defect.x), max(area.y, defect.y)
    length = min(area.x + area.length, defect.x + defect.length) - x
    width = min(area.y + area.width, defect.y + defect.width) - y
    return Area(x - area.x, y - area.y, length, width) if length > 0 and width > 0 else None


def _bought(sale: Sequence[Sheet], sheets: Sequence[tuple[Sheet, CutSheet]]) -> Iterator[Bought]:
    for one in sale:
        names = [sheet.name for sheet, _ in sheets]
        count = sum(1 for name in names if name == one.name or name.rpartition(" ")[0] == one.name)
        if count:
            yield Bought(one.name, one.length, one.width, count, one.price)


def _sizes(sheets: Sequence[Sheet]) -> tuple[Sheet, ...]:
    """One sheet of each size, the largest first."""
    found = {(sheet.length, sheet.width, sheet.sawn): sheet for sheet in reversed(sheets)}
    return tuple(sorted(found.values(), key=lambda sheet: (-sheet.area, -sheet.length)))


def fits(settings: OrderSettings, need: Need, sheets: Sequence[Sheet]) -> bool:
    """Whether a piece can be cut from one of the sheets."""
    for sheet in sheets:
        along, across = _lies(settings, need, sheet)
        if (along and need.grain is not Grain.ACROSS) or (across and need.grain is not Grain.ALONG):
            return True
    return False


def _lies(settings: OrderSettings, need: Need, sheet: Sheet) -> tuple[bool, bool]:
    """Whether there is room for a piece along a sheet, and across it, whatever its grain."""
    length, width = sheet.room(trim_of(settings))
    return (need.length <= length and need.width <= width), (need.width <= length and need.length <= width)


def too_large(
    course: Course, settings: OrderSettings, needs: Sequence[Need], group: StockGroup, sheets: Sequence[Sheet]
) -> Iterator[Problem]:
    """Pieces that none of the sheets gives, the largest first; equal ones of several students are told together."""
    shown = SHOWN[course.text("units", "mm")]
    alike: dict[tuple, list[Need]] = {}
    for need in needs:
        if not fits(settings, need, sheets):
            labels = "+".join(part.label for part in need.parts)
            title = f"{need.title} ({labels})" if need.student else need.title
            alike.setdefault((need.place, title, need.length, need.width, need.grain), []).append(need)
    for (place, title, length, width, _), same in alike.items():
        who = ", ".join(need.student for need in same if need.student)
        what = f"{title} of {who}" if who else ", ".join(need.name for need in same)
        turned = next((sheet for sheet in sheets if any(_lies(settings, same[0], sheet))), None)
        sheet = turned or sheets[0]
        name = f"'{group.piece or sheet.name}', {shown.bare(sheet.length)} x {shown.size(sheet.width)}"
        size = f"{what}, {shown.bare(length)} x {shown.size(width)} rough,"
        if turned:
            do = "Use a sheet that is longer that way, or free the grain of the part in its kind."
            yield Problem("O014", place, f"{size} fits on {name}, only with its grain the wrong way", do)
        else:
            do = "Use a larger sheet, or make the part of two pieces."
            yield Problem("O015", place, f"{size} is larger than {name}, inside its trim", do)


def enough(
    course: Course, settings: OrderSettings, said: Instructions, demand: Demand, group: StockGroup
) -> bool:  # fmt: skip
    """Whether the sheets of a line of `stock.csv` give everything that is to come from it."""
    needs, piece = demand.of(group), course.stock[group.piece]
    closed = {*said.forbidden, *said.used}
    have = [sheet for sheet in sheets_of(piece) if sheet.name not in closed]
    have = list(usable(course, settings, have, needs, []))
    if sum((need.length * need.width for need in needs), Fraction(0)) > sum(sheet.area for sheet in have):
        return False
    if not have or not all(fits(settings, need, _sizes(have)) for need in needs):
        return False
    if {one.sheet for one in said.pinned} & {sheet.name for sheet in have}:
        plan = plan_sheets(course, settings, said, demand, group, set(), [])
        return plan is not None and not plan.buy
    lot, _ = planned(course, settings, group, needs, have, ())
    return not lot.plan.problems


def short_of(plan: SheetPlan) -> Problem:
    """Measured sheets do not give all that is to come from them."""
    assert plan.piece
    who = ", ".join(sorted({p.need.student for s in plan.sheets for p in s.parts if p.need.student}))
    says = (
        f"the parts of {who} need {sheets_in_words(plan.needed)} like '{plan.piece.id}', and stock.csv has "
        f"{plan.on_hand or 'none that may be used'}"
    )
    do = (
        f"Buy {plan.buy} more and measure: only a sheet of the same thickness may serve the same student; enter any "
        "other under an id of its own and give it to some of the students."
    )
    return Problem("O020", plan.piece.place, says, do, False)
