"""Spares, and pieces to set machines by: how many a class needs, how large, and what is left of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from course.cabinet import Part
from course.course import Course
from course.cutlist import rough
from course.cutting.model import Grain
from course.needs import GRAIN, Need, Purpose, StockGroup
from course.order_settings import OrderSettings, read_order_settings
from shared.handbook import spares
from shared.units import decimal


@dataclass(frozen=True, slots=True)
class Spares:
    """How many spares of one kind of part, and why."""

    group: StockGroup
    part: str
    """Name of the part in its kind, as `rail`."""
    title: str
    """What it is called."""
    parts: int
    scrap: Fraction
    count: int
    cover: Fraction
    """Chance that they are enough."""
    made: int = 0
    """Parts of this kind that the course made so far, where their record says what is spoiled; else 0."""
    again: int = 0
    """How many of them were made again."""

    @property
    def loss(self) -> Fraction:
        """How many are spoiled on average."""
        return self.parts * self.scrap

    @property
    def why(self) -> str:
        """The reason in one sentence."""
        enough = "none more is" if not self.count else "1 more is" if self.count == 1 else f"{self.count} more are"
        record = f" by the course's own record ({self.again} of {self.made})" if self.made else ""
        return (
            f"{self.title}: {self.parts} to make, {percent(self.scrap)} are spoiled{record}, that is "
            f"{decimal(self.loss, 1)} on average; {enough} enough in {percent(self.cover)} of such classes"
        )


def percent(share: Fraction) -> str:
    """A share in whole percent, as `8 %`; what is nearly all is not called all."""
    whole = round(share * 100)
    return "over 99\u00a0%" if whole == 100 and share < 1 else f"{whole}\u00a0%"


def spares_for(course: Course, needs: Sequence[Need], settings: OrderSettings) -> Iterator[Spares]:
    """Spares of each kind of part, by the course's own record where it has made enough of them.

    Args:
        course: The course.
        needs: The pieces of all students.
        settings: Of the order; a scrap rate that the course states goes before its record.
    """
    counts: dict[tuple[StockGroup, str], int] = {}
    titles: dict[str, str] = {}
    for need in needs:
        for part in need.parts:
            counts[need.group, part.group] = counts.get((need.group, part.group), 0) + 1
            titles.setdefault(part.group, part.title.removesuffix(f" {part.member}") if part.member else part.title)
    record = _record(course)
    for (group, name), count in sorted(counts.items()):
        scrap, (made, again) = settings.scrap(name), record.get(name, (0, 0))
        if f"scrap.{name}" in settings.own or made < max(1, settings.count("history.parts")):
            made = again = 0
        else:
            scrap = min(Fraction(1), Fraction(again, made))
        number = spares.spares(count, scrap, settings.size("sure"))
        cover = spares.enough(count, scrap, number)
        yield Spares(group, name, titles[name], count, scrap, number, cover, made, again)


def spares_left(course: Course, part: Part) -> tuple[int, int]:
    """How many spares of a part's kind the class had at first, and how many of them nobody has used.

    At first is before anything was cut: all such parts of all students, with the share that the settings of the order
    take for spoiled. Each part that was made again has used one.
    """
    settings = read_order_settings(course.folder, [one.group for one in course.cabinet.parts], course.cabinet.stock)
    alike = sum(one.group == part.group and one.stock == part.stock for one in course.cabinet.parts)
    first = spares.spares(alike * len(course.students), settings.scrap(part.group), settings.size("sure"))
    return first, max(0, first - _record(course).get(part.group, (0, 0))[1])


def boards_for(course: Course, part: Part, length: Fraction, width: Fraction) -> tuple[str, ...] | None:
    """Boards and sheets of the stock that are large enough for a blank; None when the size of none is known. [mm]"""
    known = [piece for piece in course.stock.values() if piece.role == part.stock and piece.length and piece.width]
    large = (piece.id for piece in known if (piece.length or 0) >= length and (piece.width or 0) >= width)
    return tuple(large) if known else None


def _record(course: Course) -> dict[str, tuple[int, int]]:
    """Of each kind of part, how many the course has made, and how many of them were made again."""
    found: dict[str, tuple[int, int]] = {}
    names = {part.name: part.group for part in course.cabinet.parts}
    for part, (made, again) in course.log.made().items():
        if part in names:
            before = found.get(names[part], (0, 0))
            found[names[part]] = (before[0] + made, before[1] + again)
    return found


def spare_needs(one: Spares, needs: Sequence[Need], safe: Fraction) -> Iterator[Need]:
    """Spares as large as the largest part of their kind, so that each can stand in for any of them."""
    like = [need for need in needs if need.group == one.group and any(p.group == one.part for p in need.parts)]
    blanks = [blank for need in like for blank in need.blanks if blank.part.group == one.part]
    length, width = max(blank.length for blank in blanks), max(blank.width for blank in blanks)
    if max(length, width if one.group.sheet else 0) < safe:
        length = safe
    first = next((need for need in like if len(need.blanks) == 1), like[0])
    grain = GRAIN[blanks[0].part.grain]
    for number in range(1, one.count + 1):
        yield Need(
            f"spare {one.title} {number}, {one.group.tag}", "", (), f"spare {one.title}", one.group, length,
            width, first.thickness, grain, Purpose.SPARE, first.place,
        )  # fmt: skip


def set_up_pieces(needs: Sequence[Need], settings: OrderSettings, unit: str) -> Iterator[Need]:
    """Test pieces and set-up blocks of every stock, of its own thickness."""
    ordered = sorted(needs, key=lambda need: need.group)
    for group, same in groupby(ordered, key=lambda need: need.group):
        first = next(same)
        for purpose, name in ((Purpose.TEST, "test_pieces"), (Purpose.BLOCK, "setup_blocks")):
            length, width = (rough(settings.size(f"{name}.{size}"), unit) for size in ("length", "width"))
            for number in range(1, settings.count(f"{name}.count") + 1):
                yield Need(
                    f"{purpose.value} {number}, {group.tag}", "", (), purpose.value, group, length, width,
                    first.thickness, Grain.ALONG, purpose, first.place,
                )  # fmt: skip
