"""The test-cut coach: from a reading on a test piece to what is moved, which way and how much.

What is moved once is the whole difference; what acts on both cheeks counts twice, so it is half. Within the limits of
the fit check nothing is moved. The amounts count from the numbers as they are printed, so that paper and command agree.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

from course.cabinet import Assembly
from course.course import Course
from course.formula import BadFormula
from course.roster import Student
from lessons.operation import ROUTES
from lessons.route import Chosen, choose
from lessons.sequence import Work
from rubrics.fit_rows import FitRow, fit_rows
from shared.places import Items, Mapping, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import InputRefused, Problem, meant, refuse, unknown_keys
from shared.units import INCH, INCHES, NotALength, Shown, decimal, length

SIDES = ("over", "under")
FAR, NEAR = Fraction(1, 2), Fraction(2)
"""A reading that is off by more than this share of its target, and by more than so many mm, is a slip of reading or of
unit, not of a set-up."""
SMALL = Fraction(1)
"""What is off by no more than this is never called a slip: a gap of half a millimetre may be twice as wide. [mm]"""
SHOWN_BEYOND = 2
"""Readings in the table on each side of the limits."""
_HEAD = ("coach", "operations", "things", "source")
_THING = ("name", "reads", "is", "lower", "upper", "step", "stop", "routes")
_MOVE = ("word", "turn", "once", "half", "note")


@dataclass(frozen=True, slots=True)
class Move:
    """What to do when a reading is over, or under, its limits."""

    word: str
    """What it is then, as `thick`."""
    turn: str
    """What is moved and which way, as `raise cutter`; the amount follows it."""
    once: str
    """When the whole difference is moved."""
    half: str
    """When half of it is moved, since it acts on both sides; empty for never."""
    note: str

    def said(self, off: Fraction, shown: Shown) -> str:
        """`0.25 thick: raise cutter 0.25 if ..., 0.125 if both`; lengths without their unit."""
        text = f"{amount(off, shown)} {self.word}: {self.turn} {amount(off, shown)} {self.once}"
        return f"{text}, {amount(off / 2, shown)} {self.half}" if self.half else text

    def hint(self) -> str:
        """`Thick: raise cutter, the first amount if you re-cut one cheek, the second if both.` and the note."""
        turn = self.turn.removesuffix(" by").removesuffix(" of")
        text = f"{turn}, the first amount {self.once}, the second {self.half}" if self.half else f"{turn} {self.once}"
        return f"{self.word.capitalize()}: {text}. {self.note}".strip()

    def short(self, off: Fraction, shown: Shown) -> str:
        """What is moved, for a table: `raise cutter 0.25 or 0.125`."""
        text = f"{self.turn} {amount(off, shown)}"
        return f"{text} or {amount(off / 2, shown)}" if self.half else text


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing that is read on a test piece."""

    name: str
    operations: tuple[str, ...]
    """Operations that are set by it; it is printed on the sheet of the first."""
    reads: str
    """Pattern of the quantity in its assembly, `*` for one word; its fit check gives target and limits."""
    formula: str
    """What it should be, where no fit check reads it; empty where one does."""
    lower: Fraction
    """Limits around that, for a formula. [mm]"""
    upper: Fraction
    step: dict[str, Fraction]
    """From line to line of the table, for `mm` and `in`. [mm]"""
    stop: str
    """What to do within the limits instead of moving anything."""
    routes: dict[str, tuple[Move, Move]]
    """Over and under, for each route."""
    place: Place


@dataclass(frozen=True, slots=True)
class Goal:
    """What a reading should be, as printed for one student, and the assemblies it holds for. Lengths in mm."""

    of: tuple[str, ...]
    target: Fraction
    lower: Fraction
    upper: Fraction

    def off(self, reading: Fraction) -> Fraction:
        """How far a reading is from the target: 0 within the limits."""
        return Fraction(0) if self.lower <= reading <= self.upper else reading - self.target


@dataclass(frozen=True, slots=True)
class Advice:
    """The answer to one reading, as finished text."""

    head: str
    """What was read, what it should be and its limits."""
    text: str
    note: str
    moves: bool
    """Whether something is to be moved."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """One line of a table: a reading, or the limits, and what is moved."""

    reads: str
    move: str
    within: bool


@dataclass(frozen=True, slots=True)
class CoachTable:
    """What to move, for readings around one student's own target."""

    name: str
    of: str
    """Assemblies it is for, when there is more than one target."""
    rows: tuple[TableRow, ...]
    """Two readings under the limits, the limits, two over them; empty lines where there is no such reading."""
    hint: str
    """When each amount holds, under and over the limits, and what to do within them."""


@dataclass(frozen=True, slots=True)
class CoachGrid:
    """Tables side by side."""

    tables: tuple[CoachTable, ...]

    @property
    def lines(self) -> tuple[tuple[TableRow, ...], ...]:
        """The rows of all tables, line by line, without lines that are empty in every one."""
        lines = zip(*(table.rows for table in self.tables), strict=True)
        return tuple(line for line in lines if any(row.reads for row in line))


def amount(value: Fraction, shown: Shown) -> str:
    """A difference without its sign and unit: three decimals of a millimetre or four of an inch at most."""
    return decimal(abs(value), 3) if shown.unit == "mm" else decimal(abs(value) / INCH, 4)


# -- the files -------------------------------------------------------------------------------------------


class _Reader:
    """Reads one file; what is wrong is collected."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def wrong(self, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem("L044", place, says, do))

    def known(self, node: Mapping, names: Collection[str], what: str) -> None:
        self.problems += unknown_keys("L044", node, names, what)

    def text(self, node: Mapping, key: str, what: str) -> str:
        found = " ".join(node.text(key).split())
        if not found:
            self.wrong(node.place, f"{what} has no '{key}'", f"Write `{key}:` and its value.")
        return found

    def size(self, node: object, place: Place, what: str) -> Fraction:
        text = node.text if isinstance(node, Text) else ""
        try:
            return length(text)
        except NotALength as error:
            self.wrong(node.place if isinstance(node, Text) else place, f"{what}: {error}", "Write it as 0.1 mm.")
            return Fraction(0)

    def step(self, node: object, place: Place) -> Fraction:
        step = self.size(node, place, "step")
        if step <= 0:
            self.wrong(place, "a step must be more than nothing", "Write `step: {mm: 0.1 mm, in: 0.005 in}`.")
        return step

    def block(self, node: object, place: Place, what: str) -> Mapping:
        if isinstance(node, Mapping):
            return node
        self.wrong(place, f"{what} must be `name: value` lines", "Indent them below it.")
        return Mapping({}, {}, place)

    def things(self, head: Mapping) -> tuple[Thing, ...]:
        self.known(head, _HEAD, "the file")
        named = head.get("operations")
        operations = tuple(o.text for o in named if isinstance(o, Text)) if isinstance(named, Items) else ()
        if not operations:
            do = "Write `operations: [groove edges]`."
            self.wrong(head.place, "the file names no operations", do)
        things = head.get("things")
        rows = tuple(things) if isinstance(things, Items) else ()
        if not rows:
            self.wrong(head.place, "the file has no things to read", "Write `things:` and lines that begin with `- `.")
        return tuple(self.thing(self.block(row, row.place, "a thing"), operations) for row in rows)

    def thing(self, node: Mapping, operations: tuple[str, ...]) -> Thing:
        self.known(node, _THING, "a thing")
        if bool(node.text("reads")) == bool(node.text("is")):
            do = "Write `reads:` with a quantity of a fit check, or `is:` with a formula and its limits."
            self.wrong(node.place, "a thing either is read for a fit check or has a formula", do)
        step = self.block(node.get("step"), node.place, "'step'")
        routes = self.block(node.get("routes"), node.place, "'routes'")
        self.known(routes, ROUTES, "'routes'")
        limits = {
            key: self.size(node.get(key), node.place, key) if node.text("is") else Fraction(0)
            for key in ("lower", "upper")
        }
        return Thing(
            self.text(node, "name", "a thing"), operations, node.text("reads"), node.text("is"), limits["lower"],
            limits["upper"], {unit: self.size(step.get(unit), step.place, "step") for unit in ("mm", "in")},
            self.text(node, "stop", "a thing"),
            {name: self.moves(self.block(one, routes.keys[name], name)) for name, one in routes.items()}, node.place,
        )  # fmt: skip

    def moves(self, node: Mapping) -> tuple[Move, Move]:
        self.known(node, SIDES, "a route")
        found = []
        for side in SIDES:
            block = self.block(node.get(side), node.place, f"'{side}'")
            self.known(block, _MOVE, f"'{side}'")
            word, turn, once = (self.text(block, key, f"'{side}'") for key in ("word", "turn", "once"))
            found.append(Move(word, turn, once, block.text("half"), " ".join(block.text("note").split())))
        return found[0], found[1]


def read_things(folder: Path | None = None) -> tuple[tuple[Thing, ...], tuple[Problem, ...]]:
    """What may be read on test pieces, and what is wrong with the files.

    Args:
        folder: A course's own `lessons/coach`; a file of the same name wins over the built-in one, a broken one is
            told and the built-in one stands in for it.
    """
    texts: dict[str, str | Path] = {
        entry.name: entry.read_text("utf-8")
        for entry in files("lessons").joinpath("coach").iterdir()
        if entry.name.endswith(".yaml")
    }
    own = {path.name: path for path in folder.glob("*.yaml")} if folder and folder.is_dir() else {}
    found: list[Thing] = []
    problems: list[Problem] = []
    for name in sorted({*texts, *own}):
        for source in (own.get(name), texts.get(name)):
            if source is None:
                continue
            things, wrong = _read(source, f"lessons/coach/{name}")
            problems += wrong
            if not wrong:
                found += things
                break
    return tuple(found), tuple(problems)


def _read(source: str | Path, shown: str) -> tuple[tuple[Thing, ...], list[Problem]]:
    reader = _Reader()
    try:
        head = read_yaml(read_text(source, shown) if isinstance(source, Path) else source, shown)
    except Unreadable as error:
        return (), [Problem("L044", error.place, error.says, error.do)]
    return reader.things(head), reader.problems


BUILT_IN, _ = read_things()
"""What may be read on test pieces, as shipped."""


def things_of(course: Course) -> tuple[tuple[Thing, ...], tuple[Problem, ...]]:
    """What may be read on test pieces in a course, and what is wrong with its own files."""
    own = course.folder / "lessons" / "coach"
    return read_things(own) if own.is_dir() else (BUILT_IN, ())


# -- one student's goals ---------------------------------------------------------------------------------


def goals(
    thing: Thing, works: Sequence[Work], course: Course, student: Student, rows: Sequence[FitRow]
) -> tuple[Goal, ...]:
    """What a thing should be for one student, equal ones together; none when the cabinet has no such thing.

    Args:
        rows: Everything the student reads; target and limits are taken as printed there.
    """
    found: dict[tuple[Fraction, Fraction, Fraction], list[str]] = {}
    for assembly in dict.fromkeys(a for work in works for a in work.assemblies):
        for sizes in _sizes(thing, assembly, course, student, rows):
            found.setdefault(sizes, []).append(assembly.title)
    return tuple(Goal(tuple(dict.fromkeys(of)), *sizes) for sizes, of in found.items())


def _sizes(
    thing: Thing, assembly: Assembly, course: Course, student: Student, rows: Sequence[FitRow]
) -> Iterator[tuple[Fraction, Fraction, Fraction]]:
    if thing.reads:
        form = re.compile(re.escape(f"{assembly.name}.{thing.reads}").replace(r"\*", r"[^.]+"))
        texts = [(row.target, row.lower, row.upper) for row in rows if form.fullmatch(row.quantity) and row.lower]
    else:
        texts = _worked_out(thing, assembly, course, student)
    for target, lower, upper in texts:
        yield length(target, student.unit), length(lower, student.unit), length(upper, student.unit)


def _worked_out(thing: Thing, assembly: Assembly, course: Course, student: Student) -> list[tuple[str, str, str]]:
    try:
        value = course.values(student).formula_value(course.cabinet.formula(thing.formula, assembly.name))
    except BadFormula:
        return []
    assert isinstance(value, Fraction)
    text = student.shown.fine_bare
    return [(text(value), text(value + thing.lower), text(value + thing.upper))]


# -- the table on paper ----------------------------------------------------------------------------------


def coach_tables(
    course: Course, student: Student, works: Sequence[Work], route: str, rows: Sequence[FitRow]
) -> Iterator[CoachTable]:
    """The tables of one operation by one route: what to move for readings around the student's own targets."""
    for thing in things_of(course)[0]:
        if works[0].operation.name == thing.operations[0] and route in thing.routes:
            found = goals(thing, works, course, student, rows)
            for goal in found:
                of = ", ".join(goal.of) if len(found) > 1 else ""
                yield CoachTable(thing.name, of, tuple(_lines(thing, goal, route, student)), _hint(thing, route))


def grids(tables: Iterable[CoachTable], beside: int) -> tuple[CoachGrid, ...]:
    """Tables side by side, so many at most, and about as many in each row."""
    left = list(tables)
    rows = -(-len(left) // beside)
    each = -(-len(left) // rows) if rows else 1
    return tuple(CoachGrid(tuple(left[i : i + each])) for i in range(0, len(left), each))


def _lines(thing: Thing, goal: Goal, route: str, student: Student) -> Iterator[TableRow]:
    over, under = thing.routes[route]
    shown, step = student.shown, thing.step["mm" if student.shown.unit == "mm" else "in"]
    for reading in reversed(_beyond(goal, -step)):
        move = under.short(reading - goal.target, shown) if reading > 0 else ""
        yield TableRow(shown.fine_bare(reading) if reading > 0 else "", move, False)
    yield TableRow(f"{shown.fine_bare(goal.lower)} to {shown.fine_bare(goal.upper)}", "nothing", True)
    for reading in _beyond(goal, step):
        yield TableRow(shown.fine_bare(reading), over.short(reading - goal.target, shown), False)


def _beyond(goal: Goal, step: Fraction) -> list[Fraction]:
    """The first steps from the target that are outside the limits."""
    found: list[Fraction] = []
    reading = goal.target
    while len(found) < SHOWN_BEYOND:
        reading += step
        if goal.off(reading):
            found.append(reading)
    return found


def _hint(thing: Thing, route: str) -> str:
    over, under = thing.routes[route]
    return f"{under.hint()} {over.hint()} Within the limits: {thing.stop}"


# -- the answer ------------------------------------------------------------------------------------------


def advise(
    course: Course, student: Student, sheets: Sequence[Sequence[Work]], wanted: str, reading: str
) -> tuple[Advice, ...]:
    """What to move after a reading on a test piece, one answer for each target there is.

    Args:
        sheets: The operations of the cabinet.
        wanted: An operation by name or title, or the thing that was read, as `front lip`.
        reading: As typed; a bare number is in the student's unit.

    Raises:
        InputRefused: Nothing of that name can be coached, the reading is no length or far from what it should be,
            or the operation reads several things and it is nearer to another than the first.
    """
    things, problems = things_of(course)
    if problems:
        raise InputRefused(problems)
    try:
        value = length(reading, student.unit)
    except NotALength as error:
        do = "Write what the caliper or rule shows, as 6.25 or 15/64 in."
        raise refuse("L041", str(error), do, Place("reading")) from None
    rows = fit_rows(course, student)
    named = _named(things, sheets, wanted)
    route = _route(choose(course, student, named[0][1][0].operation))
    found = [(thing, goals(thing, works, course, student, rows)) for thing, works in named if route in thing.routes]
    found = [(thing, wants) for thing, wants in found if wants]
    if not found:
        says = f"{student.name} has nothing to set by '{wanted}'"
        do = f"Ask for another operation, or add the route '{route}' to its file in lessons/coach."
        raise refuse("L042", says, do, Place("lessons"))
    _is_meant(value, reading, found, student)
    thing, wants = found[0]
    return tuple(_answer(thing, goal, route, value, reading, student.shown) for goal in wants)


def _route(chosen: Chosen) -> str:
    return chosen.route.name if chosen.route else "machine"


def _named(
    things: Sequence[Thing], sheets: Sequence[Sequence[Work]], wanted: str
) -> list[tuple[Thing, Sequence[Work]]]:
    """The things of an operation, or the one thing of a name, with the operation they are set in.

    Raises:
        InputRefused: No operation of the cabinet that can be coached, and no thing, is called so.
    """
    text, names, found = wanted.strip().lower(), set(), []
    for thing in things:
        for works in sheets:
            operation = works[0].operation
            if operation.name not in thing.operations:
                continue
            names |= {thing.name, operation.name}
            if text == thing.name or text in operation.called:
                found.append((thing, works))
                break
    if not found:
        says = f"no test cut is read at '{wanted}'"
        raise refuse("L040", says, meant(wanted, names), Place("lessons"))
    return found


def _is_meant(
    value: Fraction, reading: str, found: Sequence[tuple[Thing, Sequence[Goal]]], student: Student
) -> None:
    """Refuse a reading that is far from the first thing, or nearer to another of the same operation."""
    nearest = {thing.name: min(wants, key=lambda goal: abs(value - goal.target)) for thing, wants in found}
    off = {name: abs(value - goal.target) for name, goal in nearest.items()}
    first, other = found[0][0].name, min(off, key=lambda name: off[name])
    if all(off[name] > max(goal.target * FAR, NEAR) for name, goal in nearest.items()):
        should = student.shown.fine(nearest[first].target)
        says = f"the {first} reads {reading.strip()} and should be {should}"
        do = "Read it again and look at the unit; no set-up is off by so much."
        raise refuse("L043", says, do, Place("reading"))
    if off[other] < off[first]:
        says = f"{reading.strip()} is nearer to what the {other} should be than to the {first}"
        do = f"Write '{other}' or '{first}' in place of the operation."
        raise refuse("L043", says, do, Place("reading"))


def _answer(thing: Thing, goal: Goal, route: str, value: Fraction, reading: str, shown: Shown) -> Advice:
    bare = shown.fine_bare
    head = (
        f"{', '.join(goal.of)}: {thing.name} reads {amount(value, shown)} {shown.unit}, should be "
        f"{bare(goal.target)}, from {bare(goal.lower)} to {bare(goal.upper)}"
    )
    off = goal.off(value)
    if not off:
        return Advice(head, f"Within the limits: {thing.stop}", "", False)
    move = thing.routes[route][0 if off > 0 else 1]
    note = f"{_in_fractions(off, move, shown)} {move.note}" if "/" in reading else move.note
    return Advice(head, move.said(off, shown), note.strip(), True)


def _in_fractions(off: Fraction, move: Move, shown: Shown) -> str:
    """`On a rule: 0.025 is about 1/32, half of it about 1/64.` for one who reads fractions of an inch; else nothing."""
    if shown.unit != "in":
        return ""
    half = f", half of it about {INCHES.bare(abs(off) / 2)}" if move.half else ""
    return f"On a rule: {amount(off, shown)} is about {INCHES.bare(abs(off))}{half}."
