"""The sheets that a stock's pieces can be cut from: on hand, left of a sheet that is cut already, or for sale."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from course.course import Course
from course.cut_sheets import Area
from course.cutting.model import Grain
from course.instructions import Instructions
from course.needs import Need, StockGroup
from course.order_settings import OrderSettings
from course.stock import Piece
from shared.problems import Problem


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet as it lies there, or one that can be bought. [mm]"""

    name: str
    length: Fraction
    """Along the grain of the face."""
    width: Fraction
    defects: tuple[Area, ...] = ()
    sawn: bool = False
    """Its edges were sawn before, so nothing is trimmed off."""
    price: Fraction | None = None

    @property
    def area(self) -> Fraction:
        """Of its face. [mm^2]"""
        return self.length * self.width

    def room(self, trim: tuple[Fraction, Fraction]) -> tuple[Fraction, Fraction]:
        """Length and width inside the trim off each end and each edge."""
        ends, edges = (Fraction(0), Fraction(0)) if self.sawn else trim
        return self.length - 2 * ends, self.width - 2 * edges


def unit_of(course: Course) -> str:
    """Name of the unit of its cutting jobs."""
    return "mm" if course.text("units", "mm") == "mm" else "in"


def trim_of(settings: OrderSettings) -> tuple[Fraction, Fraction]:
    """What is trimmed off each end and each edge. [mm]"""
    return settings.size("trim.ends"), settings.size("trim.edges")


def sheets_of(piece: Piece) -> Iterator[Sheet]:
    """The sheets of a line of `stock.csv`; none when it has no size."""
    if piece.length is None or piece.width is None:
        return
    for number, name in enumerate(piece.names, 1):
        flaws = tuple(Area(d.x, d.y, d.length, d.width) for d in piece.defects if d.sheet == number)
        yield Sheet(name, piece.length, piece.width, flaws, price=piece.price)


def on_hand(course: Course, said: Instructions, group: StockGroup, taken: Collection[str]) -> tuple[Sheet, ...]:
    """Sheets for a measured stock: its own, then sheets of the same thickness that nobody has.

    Args:
        course: With a sheet for every student.
        said: What the instructor wants left alone.
        group: The stock.
        taken: Names of sheets that another stock is cut from.
    """
    piece = course.stock.get(group.piece)
    if piece is None:
        return ()
    owned = {name for student in course.students for name in student.pieces.values()}
    others = [p for p in course.stock.values() if p.id not in owned and _same(p, piece)]
    closed = {*said.forbidden, *said.used, *taken}
    return tuple(sheet for one in (piece, *others) for sheet in sheets_of(one) if sheet.name not in closed)


def _same(one: Piece, other: Piece) -> bool:
    """Whether parts of one fit the joints of the other: one material and mean thickness, as measured."""
    if not (one.measured and other.measured) or one.form == "solid":
        return False
    return (one.role, one.material, one.mean_thickness) == (other.role, other.material, other.mean_thickness)


def for_sale(course: Course, settings: OrderSettings, group: StockGroup) -> tuple[Sheet, ...]:
    """What can be bought: more of a measured sheet, the sizes of the course, or the usual one."""
    piece = course.stock.get(group.piece)
    if piece and piece.length and piece.width and piece.measured:
        return (Sheet(f"extra {piece.id}", piece.length, piece.width, price=piece.price),)
    new = f"new {group.role} sheet"
    sizes = settings.for_sale.get(f"{group.role} {group.build}", ())
    if not sizes and course.plan_values[f"stock.{group.role}.build"] == group.build:
        sizes = settings.for_sale.get(group.role, ())
    if len(sizes) == 1:
        return (Sheet(new, sizes[0].length, sizes[0].width, price=sizes[0].price),)
    if sizes:
        return tuple(Sheet(f"{new}, {size.name}", size.length, size.width, price=size.price) for size in sizes)
    usual = f"sheet.{unit_of(course)}"
    return (Sheet(new, settings.size(f"{usual}.length"), settings.size(f"{usual}.width")),)


def usable(
    course: Course, settings: OrderSettings, sheets: Sequence[Sheet], needs: Sequence[Need], problems: list[Problem]
) -> Iterator[Sheet]:
    """The sheets whose defects leave room for at least one piece; the others are told."""
    for sheet in sheets:
        if not sheet.defects or any(_goes(need, spot) for spot in _clear(sheet, trim_of(settings)) for need in needs):
            yield sheet
            continue
        piece = next(piece for piece in course.stock.values() if sheet.name in piece.names)
        who = ", ".join(dict.fromkeys(need.student for need in needs if need.student))
        pieces = f"any piece of {who}" if who else "any piece"
        says = f"the defects of '{sheet.name}' leave no room for {pieces} that is to come from it, so it is not used"
        problems.append(Problem("O023", piece.place, says, "Measure the defects again, or take the sheet out.", False))


def _clear(sheet: Sheet, trim: tuple[Fraction, Fraction]) -> Iterator[tuple[Fraction, Fraction]]:
    """Length and width of the rectangles between the edges of the defects that touch none."""
    room = sheet.room(trim)
    low = ((sheet.length - room[0]) / 2, (sheet.width - room[1]) / 2)
    high = (low[0] + room[0], low[1] + room[1])
    xs = sorted({low[0], high[0], *(e for d in sheet.defects for e in (d.x, d.x + d.length) if low[0] < e < high[0])})
    ys = sorted({low[1], high[1], *(e for d in sheet.defects for e in (d.y, d.y + d.width) if low[1] < e < high[1])})
    for x0, x1 in combinations(xs, 2):
        for y0, y1 in combinations(ys, 2):
            if all(d.x >= x1 or d.x + d.length <= x0 or d.y >= y1 or d.y + d.width <= y0 for d in sheet.defects):
                yield x1 - x0, y1 - y0


def _goes(need: Need, spot: tuple[Fraction, Fraction]) -> bool:
    along = need.length <= spot[0] and need.width <= spot[1] and need.grain is not Grain.ACROSS
    across = need.width <= spot[0] and need.length <= spot[1] and need.grain is not Grain.ALONG
    return along or across
