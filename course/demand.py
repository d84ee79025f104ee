"""What a class needs cut: every student's parts at rough size, spares by probability, and pieces to set machines by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.cabinet import Part
from course.course import Course
from course.cutlist import rough
from course.cutting.model import Grain
from course.needs import GRAIN, Blank, Need, Purpose, StockGroup
from course.order_settings import OrderSettings
from course.plan import Match
from course.quantities import Origin, Values
from course.readings import FROZEN
from course.roster import Student
from course.spare_parts import Spares, set_up_pieces, spare_needs, spares_for
from shared.handbook.tables import HardwoodThickness, table
from shared.problems import Problem
from shared.units import SHOWN, decimal


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


def class_demand(course: Course, settings: OrderSettings) -> Demand:
    """What the class needs, with everything that cannot be ordered named in problems."""
    problems: list[Problem] = []
    own = [need for student in course.students for need in student_needs(course, student, problems)]
    done = [need for student in course.students for need in cut_needs(course, student)]
    found = tuple(spares_for(course, own, settings))
    unit, safe = course.text("units", "mm"), course.plan_values.number("shop.least_length")
    extra = [need for one in found for need in spare_needs(one, own, safe)]
    extra += set_up_pieces(own, settings, unit)
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
