"""A course as a whole, and one student's values from all of it: plan, choices, stock, readings, what is cut."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from pathlib import Path

from course.basis import basis_of
from course.cabinet import Cabinet
from course.compiling import WORD
from course.log import FILE, Log
from course.made import MadeBy
from course.quantities import Given, Origin, Values
from course.readings import FROZEN, Reading, Record, reduced
from course.roster import Student
from course.signoffs import Permission, SignOff, permission
from course.stock import Piece
from shared.handbook import tables
from shared.places import Place, Text
from shared.problems import InputRefused, Problem, meant
from shared.terms import Wording, wording


@dataclass(frozen=True)
class Course:
    """Everything an instructor has written about one course."""

    folder: Path
    title: str
    id: str
    """Short name of course and plan revision, printed on every sheet."""
    term: str
    instructor: str
    paper: str
    """`letter` or `a4`."""
    date: str
    """Date of issue, as written in `course.yaml`; the clock is never read."""
    invented: bool
    """Whether the course says that its people are invented."""
    settings: dict[str, Text]
    """`course.yaml` with dotted names."""
    machines: tuple[str, ...]
    """Machines of the shop; each needs a sign-off, and one that is not listed is not there."""
    sessions: tuple[str, ...]
    cabinet: Cabinet
    students: tuple[Student, ...]
    stock: dict[str, Piece]
    signoffs: dict[tuple[str, str], SignOff]
    log: Log
    notes: tuple[Problem, ...] = ()
    """Things to look at that do not stop the work."""
    forbidden: tuple[str, ...] = ()
    """Machines of the shop that no student may use (`shop: {forbidden: [dado set]}`)."""
    hand_only: tuple[str, ...] = ()
    """Operations, by name or title, that the shop allows by hand alone (`shop: {hand_only: [cut dadoes]}`)."""
    endorsements: tuple[str, ...] = ()
    """Kinds of work that need a sign-off of their own here (`shop: {endorsements: [tenoning]}`)."""
    prepared: tuple[str, ...] = ()
    """Operations whose parts the students are given ready-made (`shop: {prepared: [rip to width]}`)."""
    planned: dict[str, tuple[Text, ...]] = field(default_factory=dict)
    """Operations of each session as written under `plan`, by the number of the session; empty without it."""
    made: tuple[MadeBy, ...] = ()
    """Work on a cabinet that its student did not do (`made.csv`)."""
    _values: dict[str, Values] = field(default_factory=dict, repr=False)
    _records: dict[str, Record] = field(default_factory=dict, repr=False)

    @cached_property
    def plan_values(self) -> Values:
        """The cabinet as planned, before any student's choice, stock or reading."""
        return self.cabinet.graph.evaluate(self._settings({}))

    @cached_property
    def wording(self) -> Wording:
        """US or UK words for its documents (`terms` in `course.yaml`); what people wrote of themselves stays."""
        people = (text for s in self.students for text in (s.id, s.name, s.bench, *s.pieces.values()))
        course = (self.title, self.id, self.term, self.instructor, self.cabinet.title, *self.sessions)
        own = (text.text for name, text in self.settings.items() if name.startswith("safety."))
        return wording(self.text("terms", "us"), (*people, *course, *own))

    @cached_property
    def _by_id(self) -> dict[str, Student]:
        return {student.id.lower(): student for student in self.students}

    def student(self, wanted: str) -> Student:
        """The student of an id or a name.

        Raises:
            InputRefused: Nobody, or more than one, is called so.
        """
        text = wanted.strip().lower()
        if text in self._by_id:
            return self._by_id[text]
        found = [s for s in self.students if text and text in s.name.lower()]
        if len(found) == 1:
            return found[0]
        says = f"{len(found)} students are called '{wanted}'" if found else f"there is no student '{wanted}'"
        names = [s.id for s in found] if found else [*(s.id for s in self.students), *(s.name for s in self.students)]
        do = "Use one of the ids " + ", ".join(names) + "." if found else meant(wanted, names)
        raise InputRefused([Problem("R010", Place("roster.csv"), says, do)])

    def values(self, student: Student) -> Values:
        """One student's cabinet as it is now: plan, choices, stock, readings and what is already cut."""
        if student.id not in self._values:
            self._values[student.id] = self.cabinet.graph.evaluate(self._settings(student.choices), self.found(student))
        return self._values[student.id]

    def without_log(self, student: Student) -> Values:
        """One student's cabinet by choices and stock alone, before any reading."""
        return self.cabinet.graph.evaluate(self._settings(student.choices))

    def record(self, student: Student) -> Record:
        """What the log says of a student, as `values` rests on it."""
        if student.id not in self._records:
            self._records[student.id] = self.log.of(student.id)
        return self._records[student.id]

    def found(self, student: Student) -> dict[str, Given]:
        """Readings and frozen sizes of a student, by quantity; a reading wins over a frozen size."""
        found: dict[str, Given] = {}
        record = self.record(student)
        for state in record.states.values():
            if state.name in FROZEN:
                place = Place(state.source or state.at)
                note = f"{state.part} was {state.name}" + (f" on {state.at}" if state.at else "")
                for name, size in state.sizes.items():
                    if name in self.cabinet.graph:
                        found[name] = Given(size, Origin.CUT, place, note)
        found.update(self._read(record.readings))
        return found

    def read_when(self, student: Student, quantity: str, attempt: int) -> dict[str, Given]:
        """What was read of a cabinet when an attempt at a size first came in; nothing where all still stands."""
        before: dict[tuple, Reading] = {}
        for one in self.record(student).anew:
            if one.quantity == quantity and one.attempt == attempt:
                return self._read(before.values())
            before[one.key] = one
        return {}

    def _read(self, readings: Iterable[Reading]) -> dict[str, Given]:
        groups: dict[str, list[Reading]] = {}
        for one in readings:
            if one.value is not None and one.quantity in self.cabinet.graph:
                groups.setdefault(one.quantity, []).append(one)
        found = {}
        for name, group in groups.items():
            last = max(one.attempt for one in group)
            counted = [one for one in group if one.attempt == last]
            value, rule = reduced(
                [one.value for one in counted if one.value is not None], self.cabinet.graph[name].read
            )
            found[name] = Given(value, Origin.READING, counted[-1].where, rule)
        return found

    def _settings(self, choices: dict[str, Given]) -> dict[str, Given]:
        """Choices, and the movement and stiffness of each solid stock from the published tables."""
        given = dict(choices)
        values = self.cabinet.graph.evaluate(choices)
        for role in self.cabinet.stock:
            if values[f"stock.{role}.build"] == "solid":
                given |= _of_tables(values, role)
        return given

    def permission(self, student: Student, machine: str) -> Permission:
        """Whether a student may use a machine on the day of issue."""
        if machine not in (*self.machines, *self.endorsements):
            return Permission(False, f"the shop has no {machine}")
        if machine in self.forbidden:
            return Permission(False, f"the shop does not allow the {machine}")
        try:
            day = datetime.date.fromisoformat(self.date)
        except ValueError:
            day = None
        return permission(
            self.signoffs.get((student.id, machine)), day, self.number("signoff.pass_mark", 100),
            self.number("signoff.valid_days", 365),
        )  # fmt: skip

    def number(self, name: str, default: int) -> int:
        """A whole number of the settings."""
        text = self.settings.get(name)
        return int(text.text) if text and re.fullmatch("[0-9]{1,5}", text.text.strip()) else default

    def text(self, name: str, default: str = "") -> str:
        """A word or sentence of the settings."""
        text = self.settings.get(name)
        return text.text if text and not text.empty else default

    def mark(self, student: Student, part: str, state: str, who: str = "", at: str = "", source: str = "") -> bool:
        """Record the state of a part with its sizes of this moment; False when nothing is new.

        Raises:
            InputRefused: The cabinet has no such part.
        """
        parts = {p.name: p for p in self.cabinet.parts} | {p.label: p for p in self.cabinet.parts}
        if part not in parts:
            says, do = f"there is no part '{part}'", meant(part, parts)
            raise InputRefused([Problem("C030", Place(source or FILE), says, do)])
        name, values = parts[part].name, self.values(student)
        sizes = {
            full: values.number(full)
            for full in (f"{name}.{size}" for size in ("length", "width", "thickness", "shoulder"))
            if full in values
        }
        self._values.pop(student.id, None)
        self._records.pop(student.id, None)
        given = basis_of(self.cabinet, values).text
        return self.log.mark(student.id, name, state, who, at, sizes, source, given)

    def made_by(self, student: Student, quantity: str) -> str:
        """Who made what a size of a student belongs to; empty for the student's own work."""
        return next((one.by for one in self.made if one.covers(student.id, quantity)), "")

    def fresh(self) -> None:
        """Forget worked-out values, after the log has grown."""
        self._values.clear()
        self._records.clear()


def _of_tables(values: Values, role: str) -> dict[str, Given]:
    """What the tables say of a solid wood; a movement or stiffness that is written stays."""
    given: dict[str, Given] = {}
    species, cut = str(values[f"stock.{role}.material"]), values[f"stock.{role}.cut"]
    with suppress(tables.UnknownName):
        row = tables.movement(species)
        figure = row.radial if cut == "quarter-sawn" else row.tangential
        place = Place("movement_coefficients.csv")
        note = f"{row.species}, {cut}: {row.source}"
        if not moves_as_written(values, role):
            given[f"stock.{role}.movement"] = Given(figure, Origin.TABLE, place, note)
    if values.origin(f"stock.{role}.modulus") is Origin.DEFAULT:
        with suppress(tables.UnknownName):
            stiff = tables.stiffness(species)
            note = f"{stiff.species}: {stiff.source}"
            given[f"stock.{role}.modulus"] = Given(stiff.modulus, Origin.TABLE, Place("stiffness.csv"), note)
    return given


def moves_as_written(values: Values, role: str) -> bool:
    """Whether the movement of a stock is what somebody wrote: the roster, or the plan for the wood of the plan."""
    origin = values.origin(f"stock.{role}.movement")
    of_the_plan = all(
        values.origin(f"stock.{role}.{word}") in (Origin.PLAN, Origin.DEFAULT) for word in ("material", "cut")
    )
    return origin is Origin.CHOICE or (origin is Origin.PLAN and of_the_plan)


def whom(course: Course, ids: Sequence[str]) -> str:
    """Ids in a row, or that it is about everybody."""
    return "all students" if len(ids) == len(course.students) > 1 else ", ".join(ids)


def size_names(cabinet: Cabinet) -> tuple[str, ...]:
    """Names that a person may ask about: every quantity that is not a bare word."""
    return tuple(q.name for q in cabinet.graph.quantities if q.dimension != WORD)


def part_sizes(course: Course, student: Student) -> dict[str, Fraction]:
    """Every size of every part of a student, by name."""
    values = course.values(student)
    return {
        f"{part.name}.{size}": values.number(f"{part.name}.{size}")
        for part in course.cabinet.parts
        for size in ("length", "width", "thickness")
    }


@dataclass(frozen=True, slots=True)
class Listed:
    """The cut list that was last handed out to a student."""

    revision: int
    at: str
    moved: dict[str, tuple[Fraction | None, Fraction | None]]
    """Sizes that are not as on that list: as listed, and now; None for what is not there. What is cut or was read
    is made, and no list asks for it any more. [mm]"""

    @property
    def words(self) -> str:
        """Which list it is, and whether it still holds."""
        name = f"List {self.revision}" + (f", handed out {self.at}" if self.at else "")
        count = len(self.moved)
        stale = f"{count} size{'' if count == 1 else 's'} moved since: hand out a new one" if count else "still holds"
        return f"{name}; {stale}"


def listed(course: Course, student: Student) -> Listed | None:
    """What became of the list that was last handed out; None when there was none."""
    last = course.log.issued(student.id)
    if last is None:
        return None
    now, made, text = part_sizes(course, student), course.values(student).found, student.shown.bare
    sizes = {name: (last.sizes.get(name), now.get(name)) for name in (*now, *(n for n in last.sizes if n not in now))}
    moved = {
        name: (was, size)
        for name, (was, size) in sizes.items()
        if name not in made and (was is None or size is None or text(was) != text(size))
    }
    return Listed(last.revision, last.at, moved)
