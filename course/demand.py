"""What a class needs cut: every student's parts at rough size, spares by probability, and pieces to set machines by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from fractions import Fraction
from itertools import groupby

from course.cabinet import Part
from course.course import Course
from course.cutlist import rough
from course.cutting.model import Grain
from course.order_settings import OrderSettings, read_order_settings
from course.plan import Match
from course.quantities import Origin, Values
from course.readings import FROZEN
from course.roster import Student
from shared.handbook import spares
from shared.handbook.tables import HardwoodThickness, table
from shared.places import Place
from shared.problems import Problem
from shared.units import SHOWN, decimal

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
    thick: str = ""
    """Thickness of sheets to be bought, as printed, where a student has chosen another than the plan's."""

    @property
    def sheet(self) -> bool:
        """Whether it is cut from sheets."""
        return self.build != "solid"

    @property
    def tag(self) -> str:
        """Short and unique, as `case sheet-A` or `frame 4/4 cherry`."""
        build = "veneered" if self.build == "veneered" else ""
        words = (self.role, self.piece, self.rough, "" if self.piece else self.material, build, self.cut, self.thick)
        return " ".join(word for word in words if word)

    @property
    def kind(self) -> str:
        """What it is and is for, as `birch plywood for the case`."""
        words = " ".join(word for word in (self.rough, self.thick, self.material, self.cut) if word)
        return f"{words}{' (veneered)' if self.build == 'veneered' else ''} for the {self.role}"

    @property
    def says(self) -> str:
        """The same with its sheet, as `birch plywood for the case, sheet-A`."""
        return f"{self.kind}, {self.piece}" if self.piece else self.kind


@dataclass(frozen=True, slots=True)
class Blank:
    """One part's share of a piece; lies in the piece as its strip runs. [mm]"""

    part: Part
    length: Fraction
    """As the part's own length."""
    width: Fraction


@dataclass(frozen=True, slots=True)
class Need:
    """One piece to be cut. [mm]"""

    name: str
    """Student and label, as `s01 C-SL`; unique in the order."""
    student: str
    """Id; empty for what belongs to the class."""
    blanks: tuple[Blank, ...]
    """What is made of it, in order; more than one when parts stay joined; empty for spares and test pieces."""
    title: str
    group: StockGroup
    length: Fraction
    width: Fraction
    thickness: Fraction
    grain: Grain
    purpose: Purpose
    place: Place
    match: str = ""
    """Name of the match that keeps its parts joined."""
    side_by_side: bool = False
    """Joined parts lie next to each other across the strip, not one behind the other."""

    @property
    def parts(self) -> tuple[Part, ...]:
        """The parts that are made of it."""
        return tuple(blank.part for blank in self.blanks)


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


@dataclass(frozen=True, slots=True)
class Demand:
    """Everything that is to be cut."""

    needs: tuple[Need, ...]
    spares: tuple[Spares, ...]
    problems: tuple[Problem, ...]
    done: tuple[Need, ...] = ()
    """Pieces of students that are cut already."""

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
    done = [need for student in course.students for need in cut_needs(course, student)]
    found = tuple(_spares(course, own, settings))
    unit, safe = course.text("units", "mm"), course.plan_values.number("shop.least_length")
    extra = [need for one in found for need in _spare_needs(one, own, safe)]
    extra += _set_up_pieces(own, settings, unit)
    return Demand((*own, *extra), found, tuple(dict.fromkeys(problems)), tuple(done))


def student_needs(course: Course, student: Student, problems: list[Problem]) -> list[Need]:
    """The blanks of one student's parts that are not cut yet; matched parts and short ones joined."""
    values, frozen = course.values(student), _frozen(course, student)
    found = []
    for part in course.cabinet.parts:
        if part.name not in frozen:
            need = _need(course, student, values, part, problems)
            if need:
                found.append(need)
    kerf = values.number("shop.kerf")
    return list(joined(_matched(course, student, found, kerf, problems), values.number("shop.least_length"), kerf))


def cut_needs(course: Course, student: Student) -> list[Need]:
    """The blanks of one student's parts that are cut already, each by itself."""
    values, frozen = course.values(student), _frozen(course, student)
    found = (_need(course, student, values, part, []) for part in course.cabinet.parts if part.name in frozen)
    return [need for need in found if need]


def _frozen(course: Course, student: Student) -> frozenset[str]:
    states = course.log.states(student.id)
    return frozenset(name for name, state in states.items() if state.name in FROZEN)


def _matched(
    course: Course, student: Student, needs: Sequence[Need], kerf: Fraction, problems: list[Problem]
) -> Iterator[Need]:
    """The same with the parts of each match in one strip, where all of them are still to be cut."""
    left = {need.parts[0].name: need for need in needs}
    for match in course.cabinet.matches:
        found = [left[text.text] for text in match.parts if text.text in left]
        if len(found) < len(match.parts):
            continue
        why = _cannot_match(found)
        if why:
            labels = ", ".join(need.parts[0].label for need in found)
            says = f"the match '{match.name}' ({labels}) of {student.id} cannot lie in one strip: {why}"
            do = "They are planned one by one. Give them one stock and one grain, or take the match out of the plan."
            problems.append(Problem("O017", match.place, says, do, False))
            continue
        for need in found:
            del left[need.parts[0].name]
        yield _strip(match, found, kerf)
    yield from left.values()


def _cannot_match(needs: Sequence[Need]) -> str:
    """Why parts cannot lie in one strip; empty when they can."""
    if len({need.group for need in needs}) > 1:
        return "they come from different stock"
    if len({need.thickness for need in needs}) > 1:
        return "they are not equally thick"
    if any(need.grain is Grain.FREE for need in needs):
        return "one of them may lie either way, so it has no grain to run on"
    return ""


def _strip(match: Match, needs: Sequence[Need], kerf: Fraction) -> Need:
    """One strip, its grain along it."""
    sizes = [(n.length, n.width) if n.grain is Grain.ALONG else (n.width, n.length) for n in needs]
    along, across = [size[0] for size in sizes], [size[1] for size in sizes]
    cuts = kerf * (len(needs) - 1)
    length = sum(along, cuts) if match.end_to_end else max(along)
    width = max(across) if match.end_to_end else sum(across, cuts)
    return replace(
        _joined(needs, length, width), grain=Grain.ALONG, match=match.name, side_by_side=not match.end_to_end
    )  # fmt: skip


def _need(course: Course, student: Student, values: Values, part: Part, problems: list[Problem]) -> Need | None:
    assembly = course.cabinet.assemblies[part.assembly]
    title = course.cabinet.named(part)
    if part.grain not in GRAIN:
        says = f"the grain of {title} ({part.label}) is '{part.grain}'"
        problems.append(Problem("O010", assembly.place, says, "Write length, width or none in its kind."))
        return None
    thickness = values.number(f"{part.name}.thickness")
    group = _group(course, student, values, part, thickness)
    if group is None:
        says = f"{title} ({part.label}) of {student.id} is {decimal(thickness, 1)} mm thick, more than any board gives"
        problems.append(Problem("O011", assembly.place, says, "Glue it up from thinner boards, or make it thinner."))
        return None
    unit = course.text("units", "mm")
    sizes = [
        rough(values.number(f"{part.name}.{s}") + values.number(f"stock.{part.stock}.rough_{s}"), unit)
        for s in ("length", "width")
    ]
    return Need(
        f"{student.id} {part.label}", student.id, (Blank(part, *sizes),), title, group, sizes[0], sizes[1], thickness,
        GRAIN[part.grain], Purpose.PART, assembly.place,
    )  # fmt: skip


def _group(course: Course, student: Student, values: Values, part: Part, thickness: Fraction) -> StockGroup | None:
    role = part.stock
    material, build = str(values[f"stock.{role}.material"]), str(values[f"stock.{role}.build"])
    if build != "solid":
        piece, name = student.pieces.get(role, ""), f"stock.{role}.thickness"
        chosen = not piece and values.origin(name) is Origin.CHOICE and values[name] != course.plan_values[name]
        thick = SHOWN[course.text("units", "mm")].size(values.number(name)) if chosen else ""
        return StockGroup(role, material, build, "", piece, "", thick)
    rough = rough_thickness(thickness)
    return StockGroup(role, material, build, str(values[f"stock.{role}.cut"]), "", rough.nominal) if rough else None


def rough_thickness(thickness: Fraction) -> HardwoodThickness | None:
    """The thinnest boards that give a finished thickness, surfaced on two sides; None when none does. [mm]"""
    rows = sorted(table(HardwoodThickness), key=lambda row: row.rough)
    return next((row for row in rows if row.surfaced_two_sides >= thickness), None)


def joined(needs: Iterable[Need], safe: Fraction, kerf: Fraction) -> Iterator[Need]:
    """Blanks, those of boards that are shorter than a safe length, and those of sheets that are so both ways, joined
    end to end or left longer.

    Common practice: short parts stay in one longer piece until they are planed and ripped.

    Args:
        needs: Of one student.
        safe: Shortest piece that may go through a machine. [mm]
        kerf: Lost between two joined parts. [mm]
    """
    short: dict[tuple, list[Need]] = {}
    for need in needs:
        if need.length >= safe or need.match or (need.group.sheet and need.width >= safe):
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
                yield _joined(chain, max(safe, _chained(chain, kerf)), need.width)
                chain = []


def _chained(chain: Sequence[Need], kerf: Fraction) -> Fraction:
    return sum((need.length for need in chain), Fraction(0)) + kerf * (len(chain) - 1)


def _joined(needs: Sequence[Need], length: Fraction, width: Fraction) -> Need:
    """One piece for several."""
    first, labels = needs[0], "+".join(part.label for need in needs for part in need.parts)
    return replace(
        first, name=f"{first.student} {labels}", blanks=tuple(blank for need in needs for blank in need.blanks),
        title=" + ".join(need.title for need in needs), length=length, width=width,
    )  # fmt: skip


def _spares(course: Course, needs: Sequence[Need], settings: OrderSettings) -> Iterator[Spares]:
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


def _spare_needs(one: Spares, needs: Sequence[Need], safe: Fraction) -> Iterator[Need]:
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


def _set_up_pieces(needs: Sequence[Need], settings: OrderSettings, unit: str) -> Iterator[Need]:
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
