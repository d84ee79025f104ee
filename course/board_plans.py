"""Boards to buy, by volume, and how they are laid out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from course.board_layouts import BoardLayout, lay_out, thick_enough
from course.course import Course
from course.demand import rough_thickness
from course.needs import Need, Purpose, StockGroup
from course.order_settings import OrderSettings
from course.roster import Student
from course.stock import Piece
from shared.handbook import lumber
from shared.problems import Problem
from shared.units import SHOWN


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """The boards of one stock, by volume. [board feet]"""

    group: StockGroup
    thickness: Fraction
    """Rough thickness. [mm]"""
    parts: Fraction
    """Blanks of all students."""
    spares: Fraction
    set_up: Fraction
    """Test pieces and set-up blocks."""
    share: Fraction
    """Share of boards that becomes blanks."""
    on_hand: Fraction
    price: Fraction | None
    """Of a board foot."""
    layout: BoardLayout

    @property
    def rough(self) -> Fraction:
        """Everything that is cut from it."""
        return self.parts + self.spares + self.set_up

    @property
    def order(self) -> int:
        """What it takes with the waste, up to the whole board foot."""
        return _whole(lumber.order(self.rough, self.share))

    @property
    def order_of_parts(self) -> int:
        """The same for the parts alone."""
        return _whole(lumber.order(self.parts, self.share))

    @property
    def buy(self) -> int:
        """What is not on hand yet."""
        return max(0, _whole(self.order - self.on_hand))

    @property
    def cost(self) -> Fraction | None:
        """Of what is to buy: the board feet at the price of those on hand, else the boards as laid out at theirs."""
        return self.price * self.buy if self.price is not None else self.layout.price


def _whole(value: Fraction) -> int:
    return -(-value.numerator // value.denominator)


def plan_boards(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need],
    problems: list[Problem],
) -> BoardPlan:  # fmt: skip
    """Volume of the boards of one stock, what of it is on hand, and a layout of what is cut."""
    rough = rough_thickness(max(need.thickness for need in needs))
    assert rough is not None
    pieces = [piece for piece in _pieces(course, group) if thick_enough(piece, needs)]
    problems += _too_large(course, needs)

    def volume(*purposes: Purpose) -> Fraction:
        sizes = [(n.width, n.length) for n in needs if n.purpose in purposes]
        return sum((lumber.board_feet(rough.rough, w, n) for w, n in sizes), Fraction(0))

    have = [(p.count * lumber.board_feet(rough.rough, p.width, p.length), p) for p in pieces if p.width and p.length]
    priced = [(feet, p.count * p.price) for feet, p in have if p.price is not None]
    total = sum((feet for feet, _ in priced), Fraction(0))
    price = sum((cost for _, cost in priced), Fraction(0)) / total if total else None
    return BoardPlan(
        group, rough.rough, volume(Purpose.PART), volume(Purpose.SPARE), volume(Purpose.TEST, Purpose.BLOCK),
        settings.size("yield"), sum((feet for feet, _ in have), Fraction(0)), price,
        lay_out(course, settings, group, needs, pieces, rough.rough, problems),
    )  # fmt: skip


def _pieces(course: Course, group: StockGroup) -> Iterator[Piece]:
    """Boards on hand of a stock: those its students have, and those of its material that nobody has; no sheets."""
    users: dict[str, list[Student]] = {}
    for student in course.students:
        if group.role in student.pieces:
            users.setdefault(student.pieces[group.role], []).append(student)
    for piece in course.stock.values():
        if piece.role != group.role or piece.form == "sheet":
            continue
        if piece.id not in users:
            if piece.material in ("", group.material):
                yield piece
        elif any(_same(course, student, group) for student in users[piece.id]):
            yield piece


def _same(course: Course, student: Student, group: StockGroup) -> bool:
    values, stock = course.values(student), f"stock.{group.role}"
    return (values[f"{stock}.material"], values[f"{stock}.build"], values[f"{stock}.cut"]) == (
        group.material, group.build, group.cut,
    )  # fmt: skip


def _too_large(course: Course, needs: Iterable[Need]) -> Iterator[Problem]:
    """Parts that their student's board does not give in one piece; equal ones of several students together."""
    shown = SHOWN[course.text("units", "mm")]
    alike: dict[tuple[Piece, str, Fraction, Fraction], list[str]] = {}
    for need in needs:
        name = course.student(need.student).pieces.get(need.group.role, "") if need.student else ""
        piece = course.stock.get(name)
        if piece and piece.width and piece.length and (need.width > piece.width or need.length > piece.length):
            labels = "+".join(part.label for part in need.parts)
            alike.setdefault((piece, f"{need.title} ({labels})", need.length, need.width), []).append(need.student)
    for (piece, title, length, width), who in alike.items():
        says = (
            f"{title} of {', '.join(who)}, {shown.bare(length)} x {shown.size(width)} rough, is larger than "
            f"'{piece.id}', {shown.bare(piece.length or length)} x {shown.size(piece.width or width)}"
        )
        do = "Glue it up from two boards side by side, or give the student another board."
        if piece.length and length > piece.length:
            do = "Use a longer board, or make the part of two pieces."
        yield Problem("O016", piece.place, says, do, False)
