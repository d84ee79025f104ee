"""Stop and fence settings for finished parts, shared by the whole class."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from course.course import Course
from course.cutlist import to_measure
from course.readings import FROZEN
from shared.units import SHOWN


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop or fence setting for finished parts of the whole class."""

    role: str
    rip: bool
    """A width, set at the fence; else a length, set at a stop."""
    setting: Fraction
    parts: tuple[tuple[str, str], ...]
    """Student and label of each part it serves."""
    stock: str
    """Sheets or boards the parts come from."""

    @property
    def students(self) -> tuple[str, ...]:
        """Whose parts they are."""
        return tuple(dict.fromkeys(student for student, _ in self.parts))


def stops(course: Course) -> tuple[Stop, ...]:
    """Settings for finished lengths and widths, shared by the whole class; what must be measured first is left out."""
    shown = SHOWN[course.text("units", "mm")]
    found: dict[tuple, list[tuple[str, str, Fraction, str]]] = {}
    for student in course.students:
        values, states = course.values(student), course.log.states(student.id)
        for part in course.cabinet.parts:
            state = states.get(part.name)
            if (state and state.name in FROZEN) or to_measure(course, values, part):
                continue
            for size in ("length", "width"):
                value = values.number(f"{part.name}.{size}")
                key = (part.stock, size == "width", shown.bare(value))
                piece = student.pieces.get(part.stock, "")
                found.setdefault(key, []).append((student.id, part.label, value, piece))
    made = [
        Stop(role, rip, rows[0][2], tuple(r[:2] for r in rows), ", ".join(sorted({r[3] for r in rows if r[3]})))
        for (role, rip, _), rows in found.items()
    ]
    roles = list(course.cabinet.stock)
    return tuple(sorted(made, key=lambda s: (roles.index(s.role), s.rip, -s.setting)))


def separate_settings(found: Iterable[Stop]) -> int:
    """How many settings it takes when every student sets up alone."""
    return sum(len(stop.students) for stop in found)
