"""Who made a part, where it was not the student: such work is measured, and never charged to the student."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from course.cabinet import Cabinet
from shared.places import Place, Table
from shared.problems import Problem, meant

FILE = "made.csv"
EVERYBODY = "all"
"""Stands for every student of the roster."""
COLUMNS = ("student", "what", "by")


@dataclass(frozen=True, slots=True)
class MadeBy:
    """Somebody else's work on one student's cabinet."""

    student: str
    """An id, or `all`."""
    what: str
    """A part or a group of sizes, as the beginning of their names: `door.rail.top`, `back.groove`."""
    by: str
    place: Place

    def covers(self, student: str, quantity: str) -> bool:
        """Whether a size of a student belongs to this work."""
        return self.student in (student, EVERYBODY) and (quantity + ".").startswith(self.what + ".")


def read_made(table: Table, students: Mapping[str, str], cabinet: Cabinet, problems: list[Problem]) -> list[MadeBy]:
    """The rows of `made.csv`; what is wrong is added to `problems`.

    Args:
        table: With the columns student, what and by.
        students: Names by id.
        cabinet: Its parts, by name or label, and its sizes.
        problems: Grows by R020 to R024.
    """
    for needed in COLUMNS:
        if needed not in table.headings:
            do = "The columns are student, what, by."
            problems.append(Problem("R020", table.place, f"the column '{needed}' is missing", do))
            return []
    for heading in table.headings:
        if heading and heading not in (*COLUMNS, "note"):
            says = f"there is no column '{heading}'"
            problems.append(Problem("R024", table.place, says, meant(heading, COLUMNS)))
    parts = {part.label: part.name for part in cabinet.parts}
    known = _beginnings(quantity.name for quantity in cabinet.graph.quantities)
    found = []
    for row in table.rows:
        student, what, by = (row.text(name) for name in COLUMNS)
        what = parts.get(what, what)
        if student != EVERYBODY and student not in students:
            do = meant(student, [*students, EVERYBODY])
            problems.append(Problem("R021", row.at("student"), f"no student '{student}' is on the roster", do))
        elif what not in known:
            says = f"the cabinet has no part or size '{what}'"
            problems.append(Problem("R022", row.at("what"), says, meant(what, [*known, *parts])))
        elif not by:
            do = "Write who made it, as in instructor or partner s02."
            problems.append(Problem("R023", row.at("by"), f"who made {what} is not said", do))
        else:
            found.append(MadeBy(student, what, by, row.place))
    return found


def _beginnings(names: Iterable[str]) -> set[str]:
    """What sizes begin with, down to an assembly and one word more."""
    split = (name.split(".") for name in names)
    return {".".join(words[:number]) for words in split for number in range(2, len(words) + 1)}
