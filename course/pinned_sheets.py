"""Layouts that the instructor has pinned: found again piece by piece, and refused in words where they cannot be cut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from course.course import Course
from course.cut_sheets import CutSheet
from course.cutting.model import UNITS, Axis, Certificate, Cut, Grain, Job, Layout, Node, Offcut, Placed, Plan, Rect
from course.cutting.model import Demand as Wanted
from course.demand import Demand
from course.instructions import Instructions, Pinned, PinnedPiece
from course.needs import Need, StockGroup
from course.order_settings import OrderSettings
from course.sheet_jobs import Lot, kerf_of, sawn_sheet, stock_of, trim_in, wanted
from course.sheets_on_hand import Sheet, trim_of, unit_of
from shared.problems import Problem


@dataclass(frozen=True, slots=True)
class PinnedSheet:
    """A sheet whose layout stays as it is."""

    sheet: Sheet
    cut: CutSheet
    lot: Lot
    needs: tuple[Need, ...]
    done: bool
    """Every part on it is cut already."""


@dataclass(frozen=True, slots=True)
class Pins:
    """The pins of one stock."""

    layouts: tuple[PinnedSheet, ...]
    sources: dict[str, str]
    """Piece and the sheet it is to come from, wherever it lies there."""
    closed: frozenset[str]
    """Sheets that something unknown was cut from."""


def pins_of(
    course: Course, settings: OrderSettings, demand: Demand, group: StockGroup, said: Instructions,
    have: Sequence[Sheet], problems: list[Problem],
) -> Pins:  # fmt: skip
    """The pins to a stock's sheets; what cannot be kept is told, and its pieces are planned with the others."""
    layouts: list[PinnedSheet] = []
    sources: dict[str, str] = {}
    closed: set[str] = set()
    done = {need.name for need in demand.done}
    for pin in said.pinned:
        sheet = next((sheet for sheet in have if sheet.name == pin.sheet), None)
        pieces = list(_pieces(demand, group, pin, problems)) if sheet else []
        placed = [piece for piece, _ in pieces if piece.at is not None]
        if sheet is None or not pieces:
            continue
        if placed and len(placed) < len(pieces):
            says = f"some pieces pinned to '{pin.sheet}' have a place, and some have none"
            problems.append(Problem("O034", pin.place, says, "Give every piece its place, or none."))
        elif placed:
            layout = _pinned_sheet(course, settings, group, pin, pieces, sheet, done, problems)
            layouts += [layout] if layout else []
        elif any(need.name in done for _, need in pieces):
            closed.add(pin.sheet)
            says = (
                f"pieces pinned to '{pin.sheet}' are cut, and nobody can tell what is left of it without their places"
            )
            do = "It counts as used up; enter what is left of it in stock.csv."
            problems.append(Problem("O037", pin.place, says, do, False))
        else:
            sources |= {need.name: pin.sheet for _, need in pieces}
    return Pins(tuple(layouts), sources, frozenset(closed))


def _pinned_sheet(
    course: Course, settings: OrderSettings, group: StockGroup, pin: Pinned,
    pieces: Sequence[tuple[PinnedPiece, Need]], sheet: Sheet, done: set[str], problems: list[Problem],
) -> PinnedSheet | None:  # fmt: skip
    """The layout of a pin; None when it cannot be sawn, which is told."""
    needs = tuple(need for _, need in pieces)
    unit, trim = UNITS[unit_of(course)], trim_in(settings, UNITS[unit_of(course)])
    stock = stock_of(sheet, unit, trim_of(settings), 1, 1)
    job = Job((stock,), wanted(needs, unit), kerf_of(course), trim)
    plan = _as_pinned(job, pin, pieces, unit, problems)
    if plan is None:
        return None
    cut = sawn_sheet(course, settings, group, needs, job, plan.layouts[0], sheet)
    own = [need for need in needs if need.student]
    return PinnedSheet(
        sheet, replace(cut, note="pinned"), Lot(job, plan, "pinned"), needs,
        bool(own) and all(need.name in done for need in own),
    )  # fmt: skip


def _pieces(
    demand: Demand, group: StockGroup, pin: Pinned, problems: list[Problem]
) -> Iterator[tuple[PinnedPiece, Need]]:  # fmt: skip
    """The pieces that are still wanted or cut already."""
    known = {need.name: need for need in (*demand.needs, *demand.done)}
    for piece in pin.pieces:
        need = known.get(piece.name)
        if need is None:
            says = f"'{piece.name}', pinned to '{pin.sheet}', is not a piece of this order, so its place stays empty"
            do = "Take it out, or write it as on the layouts."
            problems.append(Problem("O036", piece.place, says, do, False))
        elif need.group != group:
            says = f"'{piece.name}' comes from {need.group.says}, and cannot be pinned to '{pin.sheet}'"
            do = "Pin it to a sheet of its own stock, or give the student this sheet in the roster."
            problems.append(Problem("O035", piece.place, says, do))
        else:
            yield piece, need


def _as_pinned(
    job: Job, pin: Pinned, pieces: Sequence[tuple[PinnedPiece, Need]], unit: Fraction,
    problems: list[Problem],
) -> Plan | None:  # fmt: skip
    """The pieces at their places, with the cuts that free them."""
    boxes = [_box(want, piece, unit) for want, (piece, _) in zip(job.demand, pieces, strict=True)]
    for box, want, (piece, _) in zip(boxes, job.demand, pieces, strict=True):
        why = _wrong(job, box, want)
        if why:
            do = "Correct its place, or write the pieces without places and the planner lays them out."
            says = f"'{piece.name}' cannot lie there on '{pin.sheet}': {why}"
            problems.append(Problem("O035", piece.place, says, do))
            return None
    for one, other in combinations(boxes, 2):
        if not _apart(one, other, job.kerf):
            says = f"'{one.part}' and '{other.part}' on '{pin.sheet}' are less than a saw kerf apart"
            problems.append(Problem("O035", pin.place, says, "Move one of them."))
            return None
    stock, ends, edges = job.stock[0], job.trim.ends, job.trim.edges
    tree = sawn_apart(boxes, (ends, edges, stock.length - ends, stock.width - edges), job.kerf)
    if tree is None:
        says = f"the pieces pinned to '{pin.sheet}' cannot be sawn apart with cuts from edge to edge"
        problems.append(Problem("O035", pin.place, says, "Move them so that every cut goes through."))
        return None
    planned = tuple(sorted((want.part, 1) for want in job.demand))
    nothing = Certificate(tuple((part, 0) for part, _ in planned), ((stock.id, 0),), ((stock.id, 0),), 0)
    return Plan((Layout(stock.id, 1, tree),), nothing, planned, how="pinned", cost=stock.cost)


def _box(want: Wanted, piece: PinnedPiece, unit: Fraction) -> Placed:
    assert piece.at is not None
    x, y = (round(side / unit) for side in piece.at)
    size = (want.width, want.length) if piece.turned else (want.length, want.width)
    return Placed(want.part, x, y, *size, piece.turned)


def _wrong(job: Job, box: Placed, want: Wanted) -> str:
    """Why a piece cannot lie at its place; empty when it can."""
    stock, trim = job.stock[0], job.trim
    x1, y1 = box.x + box.length, box.y + box.width
    if box.x < trim.ends or box.y < trim.edges or x1 > stock.length - trim.ends or y1 > stock.width - trim.edges:
        return "it reaches into the trim or beyond the sheet"
    if any(_meet(box, flaw) for flaw in stock.defects):
        return "it touches a defect"
    if want.length != want.width and want.grain is (Grain.ALONG if box.turned else Grain.ACROSS):
        return "its grain would run the wrong way"
    return ""


def _meet(box: Placed, flaw: Rect) -> bool:
    across = box.y < flaw.y + flaw.width and flaw.y < box.y + box.width
    return box.x < flaw.x + flaw.length and flaw.x < box.x + box.length and across


def _apart(one: Placed, other: Placed, kerf: int) -> bool:
    beside = one.x + one.length + kerf <= other.x or other.x + other.length + kerf <= one.x
    return beside or one.y + one.width + kerf <= other.y or other.y + other.width + kerf <= one.y


Plate = tuple[int, int, int, int]
"""x and y of two opposite corners. [units]"""


def sawn_apart(boxes: Sequence[Placed], plate: Plate, kerf: int) -> Node | None:
    """Cuts from edge to edge that free pieces at given places; None when there are none.

    Any cut that goes through is a good first one: pieces that can be sawn apart can be so on either side of it.
    """
    x0, y0, x1, y1 = plate
    if not boxes:
        return Offcut(x0, y0, x1 - x0, y1 - y0)
    for axis in Axis:
        low, high = plate[axis], plate[axis + 2]
        for at in _cuts(boxes, axis, low, high, kerf):
            if axis is Axis.CROSSCUT:
                one, two = (x0, y0, at, y1), (at + kerf, y0, x1, y1)
            else:
                one, two = (x0, y0, x1, at), (x0, at + kerf, x1, y1)
            near = [box for box in boxes if (box.x, box.y)[axis] < at]
            far = [box for box in boxes if (box.x, box.y)[axis] >= at]
            first, second = sawn_apart(near, one, kerf), sawn_apart(far, two, kerf)
            return None if first is None or second is None else Cut(axis, at, first, second)
    return boxes[0] if len(boxes) == 1 and (boxes[0].x, boxes[0].y) == (x0, y0) else None


def _cuts(boxes: Sequence[Placed], axis: Axis, low: int, high: int, kerf: int) -> Iterator[int]:
    """Where a cut of an axis goes through without touching a piece, and takes something off."""
    spans = sorted(((b.x, b.x + b.length), (b.y, b.y + b.width))[axis] for b in boxes)
    reached = low
    for start, end in (*spans, (high - 1, high)):
        if start - kerf >= reached > low:
            yield reached if start - reached > 2 * kerf or start == high - 1 else start - kerf
        elif reached == low and start - kerf > low:
            yield start - kerf
        reached = max(reached, end)
