"""What a class needs cut: every student's parts at rough size, spares by probability, and pieces to set machines by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from itertools import groupby

from course.build import Part
from course.course import Course
from course.cutting.model import Grain
from course.order_settings import OrderSettings
from course.quantities import Values
from course.readings import FROZEN
from course.roster import Student
from shared.handbook import spares
from shared.handbook.tables import HardwoodThickness, table
from shared.places import Place
from shared.problems import Problem
from shared.units import INCH, decimal

GRAIN = {"length": Grain.ALONG, "width": Grain.ACROSS, "none": Grain.FREE}
"""What a part of a kind may say of its grain: along its length, along its width, or either way."""


class Purpose(Enum):
    """Why a piece is cut."""

    PART = "part"
    SPARE = "spare"
    TEST = "test piece"
    BLOCK = "set-up block"


@dataclass(frozen=True, slots=True, order=True)
class StockGroup:
    """Stock that its parts can share: one sheet's thickness, or boards of one rough thickness."""

    role: str
    material: str
    build: str
    """`sheet`, `veneered` or `solid`."""
    cut: str
    """How boards are sawn; empty for sheets."""
    piece: str
    """Sheet of `stock.csv` whose thickness the parts have; empty for boards and for sheets still to be bought."""
    rough: str
    """Boards by quarters, as `4/4`; empty for sheets."""

    @property
    def sheet(self) -> bool:
        """Whether it is cut from sheets."""
        return self.build != "solid"

    @property
    def tag(self) -> str:
        """Short and unique, as `case sheet-A` or `frame 4/4 cherry`."""
        build = "veneered" if self.build == "veneered" else ""
        words = (self.role, self.piece, self.rough, "" if self.piece else self.material, build, self.cut)
        return " ".join(word for word in words if word)

    @property
    def kind(self) -> str:
        """What it is and is for, as `birch plywood for the case`."""
        words = " ".join(word for word in (self.rough, self.material, self.cut) if word)
        return f"{words}{' (veneered)' if self.build == 'veneered' else ''} for the {self.role}"

    @property
    def says(self) -> str:
        """The same with its sheet, as `birch plywood for the case, sheet-A`."""
        return f"{self.kind}, {self.piece}" if self.piece else self.kind


@dataclass(frozen=True, slots=True)
class Need:
    """One piece to be cut. [mm]"""

    name: str
    """Student and label, as `s01 C-SL`; unique in the order."""
    student: str
    """Id; empty for what belongs to the class."""
    parts: tuple[Part, ...]
    """What is made of it; more than one when short parts stay joined; empty for test pieces."""
    title: str
    group: StockGroup
    length: Fraction
    width: Fraction
    thickness: Fraction
    grain: Grain
    purpose: Purpose
    place: Place


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

    @property
    def loss(self) -> Fraction:
        """How many are spoiled on average."""
        return self.parts * self.scrap

    @property
    def why(self) -> str:
        """The reason in one sentence."""
        enough = "none more is" if not self.count else "1 more is" if self.count == 1 else f"{self.count} more are"
        return (
            f"{self.title}: {self.parts} to make, {percent(self.scrap)} are spoiled, that is {decimal(self.loss, 1)} "
            f"on average; {enough} enough in {percent(self.cover)} of such classes"
        )


@dataclass(frozen=True, slots=True)
class Demand:
    """Everything that is to be cut."""

    needs: tuple[Need, ...]
    spares: tuple[Spares, ...]
    problems: tuple[Problem, ...]

    def groups(self) -> tuple[StockGroup, ...]:
        """The stock it comes from, in order."""
        return tuple(sorted({need.group for need in self.needs}))

    def of(self, group: StockGroup) -> tuple[Need, ...]:
        """What comes from one stock."""
        return tuple(need for need in self.needs if need.group == group)


def percent(share: Fraction) -> str:
    """A share in whole percent, as `8 %`; what is nearly all is not called all."""
    whole = round(share * 100)
    return "over 99\u00a0%" if whole == 100 and share < 1 else f"{whole}\u00a0%"


def class_demand(course: Course, settings: OrderSettings) -> Demand:
    """What the class needs, with everything that cannot be ordered named in problems."""
    problems: list[Problem] = []
    own = [need for student in course.students for need in student_needs(course, student, problems)]
    found = tuple(_spares(own, settings))
    unit = course.text("units", "mm")
    extra = [need for one in found for need in _spare_needs(one, own, _safe(course, course.plan_values))]
    extra += _set_up_pieces(own, settings, unit)
    return Demand((*own, *extra), found, tuple(dict.fromkeys(problems)))


def student_needs(course: Course, student: Student, problems: list[Problem]) -> list[Need]:
    """The blanks of one student's parts that are not cut yet; short parts of boards joined."""
    values, states = course.values(student), course.log.states(student.id)
    found = []
    for part in course.cabinet.parts:
        state = states.get(part.name)
        if state is None or state.name not in FROZEN:
            need = _need(course, student, values, part, problems)
            if need:
                found.append(need)
    return list(joined(found, _safe(course, values), values.number("shop.kerf")))


def _safe(course: Course, values: Values) -> Fraction:
    """Shortest blank that may go through a machine. [mm]"""
    return values.number("shop.least_length")


def _need(course: Course, student: Student, values: Values, part: Part, problems: list[Problem]) -> Need | None:
    assembly = course.cabinet.assemblies[part.assembly]
    title = part.title if part.title.startswith(assembly.title) else f"{assembly.title} {part.title}"
    if part.grain not in GRAIN:
        says = f"the grain of {title} ({part.label}) is '{part.grain}'"
        problems.append(Problem("O010", assembly.place, says, "Write length, width or none in its kind."))
        return None
    thickness = values.number(f"{part.name}.thickness")
    group = _group(student, values, part, thickness)
    if group is None:
        says = f"{title} ({part.label}) of {student.id} is {decimal(thickness, 1)} mm thick, more than any board gives"
        problems.append(Problem("O011", assembly.place, says, "Glue it up from thinner boards, or make it thinner."))
        return None
    unit = course.text("units", "mm")
    sizes = [
        rounded_up(values.number(f"{part.name}.{s}") + values.number(f"stock.{part.stock}.rough_{s}"), unit)
        for s in ("length", "width")
    ]
    return Need(
        f"{student.id} {part.label}", student.id, (part,), title, group, sizes[0], sizes[1], thickness,
        GRAIN[part.grain], Purpose.PART, assembly.place,
    )  # fmt: skip


def rounded_up(value: Fraction, unit: str) -> Fraction:
    """A rough size, up to the whole millimetre or sixteenth of an inch. [mm]"""
    step = Fraction(1) if unit == "mm" else INCH / 16
    return -(-value // step) * step


def _group(student: Student, values: Values, part: Part, thickness: Fraction) -> StockGroup | None:
    role = part.stock
    material, build = str(values[f"stock.{role}.material"]), str(values[f"stock.{role}.build"])
    if build != "solid":
        return StockGroup(role, material, build, "", student.pieces.get(role, ""), "")
    rough = rough_thickness(thickness)
    return StockGroup(role, material, build, str(values[f"stock.{role}.cut"]), "", rough.nominal) if rough else None


def rough_thickness(thickness: Fraction) -> HardwoodThickness | None:
    """The thinnest boards that give a finished thickness, surfaced on two sides; None when none does. [mm]"""
    rows = sorted(table(HardwoodThickness), key=lambda row: row.rough)
    return next((row for row in rows if row.surfaced_two_sides >= thickness), None)


def joined(needs: Iterable[Need], safe: Fraction, kerf: Fraction) -> Iterator[Need]:
    """Blanks of boards, those shorter than a safe length joined end to end or left longer.

    Common practice: short parts stay in one longer piece until they are planed and ripped.

    Args:
        needs: Of one student.
        safe: Shortest piece that may go through a machine. [mm]
        kerf: Lost between two joined parts. [mm]
    """
    short: dict[tuple, list[Need]] = {}
    for need in needs:
        if need.group.sheet or need.length >= safe:
            yield need
        else:
            short.setdefault((need.group, need.width, need.thickness, need.grain), []).append(need)
    for same in short.values():
        chain: list[Need] = []
        for number, need in enumerate(same, 1):
            chain.append(need)
            left = same[number:]
            long_enough = _chained(chain, kerf) >= safe
            if not left or (long_enough and _chained(left, kerf) >= safe):
                yield _chain(chain, max(safe, _chained(chain, kerf)))
                chain = []


def _chained(chain: Sequence[Need], kerf: Fraction) -> Fraction:
    return sum((need.length for need in chain), Fraction(0)) + kerf * (len(chain) - 1)


def _chain(chain: Sequence[Need], length: Fraction) -> Need:
    first, labels = chain[0], "+".join(part.label for need in chain for part in need.parts)
    return Need(
        f"{first.student} {labels}", first.student, tuple(part for need in chain for part in need.parts),
        " + ".join(need.title for need in chain), first.group, length, first.width, first.thickness, first.grain,
        first.purpose, first.place,
    )  # fmt: skip


def _spares(needs: Sequence[Need], settings: OrderSettings) -> Iterator[Spares]:
    counts: dict[tuple[StockGroup, str], int] = {}
    titles: dict[str, str] = {}
    for need in needs:
        for part in need.parts:
            counts[need.group, part.group] = counts.get((need.group, part.group), 0) + 1
            titles.setdefault(part.group, part.title.removesuffix(f" {part.member}") if part.member else part.title)
    for (group, part), count in sorted(counts.items()):
        scrap = settings.scrap(part)
        number = spares.spares(count, scrap, settings.size("sure"))
        yield Spares(group, part, titles[part], count, scrap, number, spares.enough(count, scrap, number))


def _spare_needs(one: Spares, needs: Sequence[Need], safe: Fraction) -> Iterator[Need]:
    """Spares as large as the largest part of their kind, so that each can stand in for any of them."""
    like = [need for need in needs if need.group == one.group and any(p.group == one.part for p in need.parts)]
    length = max(need.length for need in like if len(need.parts) == min(len(n.parts) for n in like))
    length = length if one.group.sheet else max(length, safe)
    width, first = max(need.width for need in like), like[0]
    for number in range(1, one.count + 1):
        yield Need(
            f"spare {one.title} {number}, {one.group.tag}", "", (), f"spare {one.title}", one.group, length,
            width, first.thickness, first.grain, Purpose.SPARE, first.place,
        )  # fmt: skip


def _set_up_pieces(needs: Sequence[Need], settings: OrderSettings, unit: str) -> Iterator[Need]:
    """Test pieces and set-up blocks of every stock, of its own thickness."""
    ordered = sorted(needs, key=lambda need: need.group)
    for group, same in groupby(ordered, key=lambda need: need.group):
        first = next(same)
        for purpose, name in ((Purpose.TEST, "test_pieces"), (Purpose.BLOCK, "setup_blocks")):
            length, width = (rounded_up(settings.size(f"{name}.{size}"), unit) for size in ("length", "width"))
            for number in range(1, settings.count(f"{name}.count") + 1):
                yield Need(
                    f"{purpose.value} {number}, {group.tag}", "", (), purpose.value, group, length, width,
                    first.thickness, Grain.ALONG, purpose, first.place,
                )  # fmt: skip
