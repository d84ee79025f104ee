"""A student's cut list: what to cut, from what, how sure each size is, and what changed since the plan."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from course.cabinet import Cabinet, Part
from course.course import Course
from course.quantities import Origin, Values
from course.readings import FROZEN, State
from course.roster import Student
from shared.units import INCH, Shown

SIZES = ("length", "width", "thickness")
SMALLER = {"length": "too short", "width": "too narrow", "thickness": "too thin"}
"""What a size is that should be more."""
LEFT = Fraction(1, 5)
"""A part that is smaller by less than this is left as it is: no remedy begins below it. [mm]"""


@dataclass(frozen=True, slots=True)
class CutRow:
    """One line of a cut list, as finished text in the student's units."""

    label: str
    part: str
    count: int
    length: str
    width: str
    thickness: str
    rough: str
    stock: str
    grain: str
    joints: str
    state: str
    provisional: str
    """What must be measured first; empty when the size can be cut."""
    before: str
    """What is not as planned, old and new, as `length 281.0 \u2192 282.6`; empty when nothing changed."""
    because: str
    """What changed it."""
    consequence: str
    """What to do about a part that is cut already and should now be another size."""
    assembly: str

    @property
    def named(self) -> str:
        """The part with its assembly, as `door rails`; once where both are called the same."""
        return self.part if self.part.startswith(self.assembly) else f"{self.assembly} {self.part}"

    @property
    def size(self) -> str:
        """Length, width and thickness in one."""
        return f"{self.length} \u00d7 {self.width} \u00d7 {self.thickness}"


@dataclass(frozen=True, slots=True)
class _Line:
    part: Part
    row: CutRow


def cut_rows(course: Course, student: Student) -> tuple[CutRow, ...]:
    """The cut list of a student; parts of one kind and size share a line."""
    values, states = course.values(student), course.log.states(student.id)
    rows: list[CutRow] = []
    for assembly in course.cabinet.assemblies.values():
        lines: dict[tuple, list[_Line]] = {}
        for part in course.cabinet.parts:
            if part.assembly == assembly.name:
                row = _row(course, student, values, states.get(part.name), part, assembly.title)
                key = (
                    part.group,
                    row.size,
                    row.joints,
                    row.state,
                    row.provisional,
                    row.before,
                    row.consequence,
                )
                lines.setdefault(key, []).append(_Line(part, row))
        rows += [_joined(group) for group in lines.values()]
    return tuple(rows)


def _joined(group: list[_Line]) -> CutRow:
    first = group[0].row
    labels = ", ".join(line.part.label for line in group)
    title = group[0].part.title
    if len(group) > 1:
        title = group[0].part.title.removesuffix(f" {group[0].part.member}") + "s"
    values = {name: getattr(first, name) for name in CutRow.__slots__}
    return CutRow(**{**values, "label": labels, "part": title, "count": len(group)})


def _row(course: Course, student: Student, values: Values, state: State | None, part: Part, assembly: str) -> CutRow:
    cabinet, shown = course.cabinet, student.shown
    sizes = {size: values.number(f"{part.name}.{size}") for size in SIZES}
    planned = {size: _planned(course, f"{part.name}.{size}") for size in SIZES}
    texts = {size: shown.bare(value) for size, value in sizes.items()}
    before = {size: shown.bare(value) for size, value in planned.items()}
    rough_length = sizes["length"] + values.number(f"stock.{part.stock}.rough_length")
    rough_width = sizes["width"] + values.number(f"stock.{part.stock}.rough_width")
    frozen = state is not None and state.name in FROZEN
    return CutRow(
        part.label, part.title, 1, texts["length"], texts["width"], texts["thickness"],
        f"{_rough_text(rough_length, shown)} \u00d7 {_rough_text(rough_width, shown)}",
        _stock_words(values, student, part), part.grain, _joints(cabinet, part, values, shown),
        state.name if state else "open", "" if frozen else to_measure(course, values, part),
        ", ".join(f"{s} {before[s]} \u2192 {texts[s]}" for s in SIZES if texts[s] != before[s]),
        "; ".join(_causes(course, values, [f"{part.name}.{s}" for s in SIZES if texts[s] != before[s]])),
        consequence(values, part, shown) if frozen else "", assembly,
    )  # fmt: skip


def _planned(course: Course, name: str) -> Fraction:
    return course.plan_values.number(name)


def rough(value: Fraction, unit: str) -> Fraction:
    """A rough size, up to the whole millimetre or sixteenth of an inch. [mm]"""
    step = Fraction(1) if unit == "mm" else INCH / 16
    return -(-value // step) * step


def _rough_text(value: Fraction, shown: Shown) -> str:
    size = rough(value, shown.unit)
    return str(size) if shown.unit == "mm" else Shown("in", 3, 16).bare(size)


def _stock_words(values: Values, student: Student, part: Part) -> str:
    role = part.stock
    words = [str(values[f"stock.{role}.material"])]
    build = str(values[f"stock.{role}.build"])
    if build == "veneered":
        words.append("veneered")
    if role in student.pieces:
        words.append(student.pieces[role])
    return ", ".join(words)


def _joints(cabinet: Cabinet, part: Part, values: Values, shown: Shown) -> str:
    notes = [cabinet.note(f, values, shown) for f in cabinet.features if part.name in f.parts and f.note]
    return "; ".join(dict.fromkeys(notes))


def to_measure(course: Course, values: Values, part: Part) -> str:
    """What must be measured before a part can be cut, in words; empty when nothing is missing."""
    graph = course.cabinet.graph
    inside = _own_openings(course.cabinet, part)
    waits: list[str] = []
    for size in SIZES:
        for name in values.rests_on(f"{part.name}.{size}"):
            read = graph[name].read
            if (
                read
                and read.first
                and values.given(name) is None
                and name.rpartition(".")[0] not in (part.name, *inside)
            ):
                waits.append(name)
    nearest = [n for n in waits if not any(n != other and n in values.rests_on(other) for other in waits)]
    return "; ".join(sorted({measured_words(course, name) for name in nearest}))


def _own_openings(cabinet: Cabinet, part: Part) -> tuple[str, ...]:
    """Openings that cannot be read before the part is in, since it is built in with what makes them."""
    assembly = cabinet.assemblies[part.assembly]
    found = []
    while assembly.built_in:
        found.append(assembly.fills)
        assembly = cabinet.assemblies[assembly.owner]
    return tuple(found)


def measured_words(course: Course, name: str) -> str:
    """A quantity as a person would name it at the bench."""
    owner, _, size = name.rpartition(".")
    cabinet = course.cabinet
    if owner in cabinet.openings:
        return f"{size} of {cabinet.openings[owner].says}"
    part = next((p for p in cabinet.parts if p.name == owner), None)
    if part:
        return f"{size} of {part.label}"
    return cabinet.graph[name].says


def _causes(course: Course, values: Values, names: list[str]) -> list[str]:
    """What changed sizes from the plan: readings, cut parts, choices and stock, nearest first."""
    causes: list[str] = []
    for name in names:
        for other in sorted(values.rests_on(name)):
            given = values.given(other)
            if given is None or given.value == values.planned(other) or given.origin is Origin.TABLE:
                continue
            what = measured_words(course, other)
            words = {
                Origin.READING: f"{what}, read",
                Origin.CUT: f"{what}, as cut",
                Origin.STOCK: f"{what} ({given.note.split(',')[0]})",
                Origin.CHOICE: f"{what}, chosen",
                Origin.OVERRIDE: f"{what}, set by the instructor",
            }
            causes.append(words.get(given.origin, other))
    return list(dict.fromkeys(causes))


def consequence(values: Values, part: Part, shown: Shown) -> str:
    """What a part that is cut already would need now; empty when it still fits."""
    words, asked = [], values.without(part.name)
    for size in SIZES:
        name = f"{part.name}.{size}"
        is_now, needs = values.number(name), asked.number(name)
        if shown.bare(is_now) == shown.bare(needs) or 0 < needs - is_now < LEFT:
            continue
        words.append(f"{size} is {shown.size(is_now)}, needs {shown.size(needs)}: {advice(size, is_now, needs, shown)}")
    return "; ".join(words)


def advice(size: str, made: Fraction, needs: Fraction, shown: Shown) -> str:
    """What to do about a part that is made and should be another size."""
    more = shown.size(abs(made - needs))
    if made > needs:
        return f"trim {more}"
    return f"{more} {SMALLER[size]}: {'leave it' if needs - made < LEFT else 'see the remedies'}"
