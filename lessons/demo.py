"""The demo: a whole invented course, prepared, filled in by a seeded generator, collected and graded."""

from __future__ import annotations

import csv
import fnmatch
import io
import random
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from importlib.resources import as_file, files
from pathlib import Path

from course.changes import hand_out
from course.course import Course
from course.course_folder import read_course
from course.quantities import Given, Origin
from course.readings import reduced
from course.roster import Student
from lessons.prepare import prepare_course
from rubrics.attention import attention
from rubrics.class_report import facts, write_class_report
from rubrics.feedback import write_feedback
from rubrics.final import FILE as FINAL
from rubrics.final import final_csv, final_marks
from rubrics.fit_rows import fit_rows
from rubrics.gradebook import write_gradebook
from rubrics.grading import grade
from rubrics.intake import Collected, collect
from rubrics.sheet import measurement_workbook
from rubrics.sheet_files import fill
from shared.places import Items, Mapping, Place, Text, read_yaml
from shared.problems import InputRefused, Problem
from shared.render.files import safe_name, write_file
from shared.units import INCH, Shown, length

GRADUATION = {"caliper": Fraction(1, 100), "feeler": Fraction(1, 20), "rule": Fraction(1, 10), "rods": Fraction(1, 10)}
"""To what a simulated student reads an instrument in mm; any other to half a millimetre."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that goes wrong for one student."""

    student: str
    quantity: str
    place: int
    """0 for every place."""
    add: Fraction
    write: str


@dataclass(frozen=True, slots=True)
class Shift:
    """A size that most of the class makes wrong in the same way."""

    pattern: str
    add: Fraction
    spared: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Edit:
    """A text of a course file that is replaced after lists were handed out."""

    file: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Partner:
    """What another person read at the same place."""

    student: str
    quantity: str
    place: int
    by: str
    add: Fraction
    """More than the student's own reading. [mm]"""


@dataclass(frozen=True)
class Scenario:
    """What happens in the invented class."""

    seed: str
    spread: dict[str, Fraction]
    shifts: tuple[Shift, ...]
    events: tuple[Event, ...]
    absent: dict[str, tuple[str, ...]]
    moistures: dict[str, dict[str, str]]
    """What a meter shows of parts that are not as dry as the shop, by student and label. [%]"""
    cut_early: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """Labels of parts cut from the first list, by student."""
    edits: tuple[Edit, ...] = ()
    """What was edited after that."""
    old_list: tuple[str, ...] = ()
    """Students who did not get a new list then."""
    states: dict[str, dict[str, str]] = field(default_factory=dict)
    """States ticked on the measuring sheets, by student and label."""
    partners: tuple[Partner, ...] = ()
    read_twice: tuple[str, ...] = ()
    """Students whose work another person read too, in the second column of their sheets."""

MORE = (
    "cutlist {folder} ada      what is cut already and no longer right",
    "changes {folder} bo       what moved since the list: readings, an edit",
    "remedy {folder} jonah     what can still be done about short rails",
    "confirm {folder} dov      a reading that waits",
)
"""Commands that show what else happened."""


def copy_course(folder: Path) -> Path:
    """Write the demo course into a new or empty folder.

    Raises:
        InputRefused: The folder holds something already, or cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        says = "there is something in it already"
        raise InputRefused([Problem("D001", Place(str(folder)), says, "Give the name of a new folder.")])
    try:
        with as_file(files("course").joinpath("demo")) as source:
            shutil.copytree(source, folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__"))
    except OSError as error:
        says = f"the demo cannot be written there ({(error.strerror or 'unknown reason').lower()})"
        raise InputRefused(
            [Problem("F001", Place(str(folder)), says, "Give a folder that can be written to.")]
        ) from None
    return folder


def read_scenario(text: str) -> Scenario:
    """The scenario of a demo course."""
    top = read_yaml(text, "scenario.yaml")
    return Scenario(
        top.text("seed"),
        {name: length(node.text) for name, node in _mapping(top, "spread").items() if isinstance(node, Text)},
        tuple(
            Shift(block.text("quantity"), length(block.text("add")), _words(block, "not"))
            for block in _blocks(top, "shifts")
        ),
        tuple(
            Event(
                block.text("student"), block.text("quantity"), int(block.text("place", "0")),
                length(block.text("add", "0 mm")), block.text("write"),
            )
            for block in _blocks(top, "events")
        ),
        _of_each(top, "absent"), _by_label(top, "moistures"), _of_each(top, "cut_early"),
        tuple(Edit(block.text("file"), block.text("from"), block.text("to")) for block in _blocks(top, "edits")),
        _words(top, "old_list"), _by_label(top, "states"),
        tuple(
            Partner(
                block.text("student"), block.text("quantity"), int(block.text("place")), block.text("by"),
                length(block.text("add")),
            )
            for block in _blocks(top, "partners")
        ),
        _words(top, "read_twice"),
    )  # fmt: skip


def _of_each(top: Mapping, key: str) -> dict[str, tuple[str, ...]]:
    """Words by student."""
    return {student: _words(_mapping(top, key), student) for student in _mapping(top, key).entries}


def _by_label(top: Mapping, key: str) -> dict[str, dict[str, str]]:
    """Texts by student and label of a part."""
    return {
        student: {label: text.text for label, text in _mapping(block, student).items() if isinstance(text, Text)}
        for block in [_mapping(top, key)]
        for student in block.entries
    }


def _mapping(top: Mapping, key: str) -> Mapping:
    node = top.get(key)
    return node if isinstance(node, Mapping) else Mapping({}, {}, top.place)


def _blocks(top: Mapping, key: str) -> Iterator[Mapping]:
    node = top.get(key)
    yield from (item for item in node if isinstance(item, Mapping)) if isinstance(node, Items) else ()


def _words(block: Mapping, key: str) -> tuple[str, ...]:
    node = block.get(key)
    return tuple(item.text for item in node if isinstance(item, Text)) if isinstance(node, Items) else ()


def scenario_of(course: Course) -> Scenario:
    """The scenario in the folder of a demo course."""
    return read_scenario((course.folder / "scenario.yaml").read_text("utf-8"))


def until_today(course: Course) -> Course:
    """The course after what happened before the sheets come in: lists, parts cut from them, an edit, new lists."""
    scenario = scenario_of(course)
    for student in course.students:
        hand_out(course, student)
        for label in scenario.cut_early.get(student.id, ()):
            course.mark(student, label, "cut", course.text("instructor"), course.date)
    for edit in scenario.edits:
        path = course.folder / edit.file
        path.write_text(path.read_text("utf-8").replace(edit.before, edit.after), "utf-8")
    course = read_course(course.folder)
    for student in course.students:
        if student.id not in scenario.old_list:
            hand_out(course, student)
    return course


def filled_workbooks(course: Course, folder: Path) -> list[Path]:
    """The measurement workbook of every student as the generator fills it in, and what partners read beside them.

    Every reading of it is invented.
    """
    scenario = scenario_of(course)
    written, beside = [], [("student", "quantity", "place", "reading", "unit", "reader")]
    for student in course.students:
        readings = simulated(course, student, scenario)
        wet = scenario.moistures.get(student.id, {})
        states = {label: (state, course.date) for label, state in scenario.states.get(student.id, {}).items()}
        twice = second_readings(course, student, scenario, readings)
        data = fill(measurement_workbook(course, student), readings, states, wet, twice)
        written.append(write_file(folder / f"{student.id}-{safe_name(student.name)}-measured.xlsx", data))
        for one in scenario.partners:
            if one.student == student.id:
                text = _written(length(readings[one.quantity, one.place], student.unit) + one.add, student.shown)
                beside.append((one.student, one.quantity, str(one.place), text, student.unit, one.by))
    memory = io.StringIO()
    csv.writer(memory, lineterminator="\n").writerows(beside)
    return [*written, write_file(folder / "partners.csv", memory.getvalue())]


def simulated(course: Course, student: Student, scenario: Scenario) -> dict[tuple[str, int], str]:
    """Readings of one student, each thing made to the size its own case asks for, give or take.

    Each thing has a chance of its own, so that one more thing to read changes no other.
    """
    graph, settings = course.cabinet.graph, course.without_log(student).settings
    skipped = scenario.absent.get(student.id, ())
    groups = {row.quantity: row for row in fit_rows(course, student) if row.stage not in skipped}
    order = {quantity.name: rank for rank, quantity in enumerate(graph.in_order())}
    found = {name: given for name, given in course.found(student).items() if given.origin is Origin.CUT}
    texts: dict[tuple[str, int], str] = {}
    for name in sorted(groups, key=order.__getitem__):
        chance = random.Random(f"{scenario.seed} {student.id} {name}")
        target = graph.evaluate(settings, found).number(name)
        read, instrument = graph[name].read, groups[name].instrument
        made = target + _made(chance, scenario, student, name, instrument)
        values = []
        for place in range(1, groups[name].places + 1):
            at_place = made + _scatter(chance, scenario.spread.get(instrument, Fraction(1, 5)) / 4)
            values.append(_graduated(at_place, instrument, student))
            texts[name, place] = _written(values[-1], student.shown)
        for event in scenario.events:
            if event.write and (event.student, event.quantity) == (student.id, name) and (name, event.place) in texts:
                texts[name, event.place] = event.write
        found[name] = Given(reduced(values, read)[0], Origin.READING)
    return texts


def second_readings(
    course: Course, student: Student, scenario: Scenario, readings: dict[tuple[str, int], str]
) -> dict[tuple[str, int], str]:
    """What another person read of the same things, where two should; nothing for a student whose work one reads."""
    if student.id not in scenario.read_twice:
        return {}
    found: dict[tuple[str, int], str] = {}
    twice = {row.quantity: row.instrument for row in fit_rows(course, student) if row.second}
    for (name, place), text in readings.items():
        if name in twice:
            chance = random.Random(f"{scenario.seed} second reader of {student.id} {name} {place}")
            scatter = _scatter(chance, scenario.spread.get(twice[name], Fraction(1, 5)) / 4)
            value = _graduated(length(text, student.unit) + scatter, twice[name], student)
            found[name, place] = _written(value, student.shown)
    return found


def _made(chance: random.Random, scenario: Scenario, student: Student, name: str, instrument: str) -> Fraction:
    """How far the thing comes out from what it should be."""
    off = _scatter(chance, scenario.spread.get(instrument, Fraction(1, 5)))
    for shift in scenario.shifts:
        if fnmatch.fnmatchcase(name, shift.pattern) and student.id not in shift.spared:
            off += shift.add
    return off + sum(
        (event.add for event in scenario.events if (event.student, event.quantity) == (student.id, name)), Fraction(0)
    )


def _scatter(chance: random.Random, spread: Fraction) -> Fraction:
    """A normal error, exact to a thousandth of a millimetre so that every machine makes the same."""
    return Fraction(round(chance.gauss(0, 1) * 1000), 1000) * spread


def _graduated(value: Fraction, instrument: str, student: Student) -> Fraction:
    if student.shown.unit == "mm":
        step = GRADUATION.get(instrument, Fraction(1, 2))
    elif instrument in ("caliper", "feeler"):
        step = INCH / 1000
    else:
        step = INCH / (student.shown.parts or 1000)
    return max(round(value / step), 0) * step


def _written(value: Fraction, shown: Shown) -> str:
    """As a student would write it: in mm with a point, in inches as a fraction or three decimals."""
    exact = value / INCH
    if shown.unit == "in" and shown.parts and (exact * shown.parts).denominator == 1:
        return shown.bare(value).replace("\u00a0", " ")
    return f"{float(value if shown.unit == 'mm' else exact):.3f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True)
class Demo:
    """What the demo did."""

    written: tuple[Path, ...]
    problems: tuple[Problem, ...]
    """What could not be taken in, with its cell."""
    first: tuple[str, ...]
    """The three things an instructor should look at first."""


def run_demo(folder: Path, told: Callable[[str], None]) -> Demo:
    """Write the demo course, prepare all its documents, fill in the sheets, collect and grade them.

    Args:
        folder: A new or empty folder.
        told: Called with a line for each step done.

    Raises:
        InputRefused: The folder holds something already, or cannot be written.
    """
    course = read_course(copy_course(folder))
    told(f"Wrote the course {course.title!r} with {len(course.students)} invented students to {folder}")
    course = until_today(course)
    told("Handed out cut lists, cut parts from some of them, edited the plan, and handed out new lists")
    prepared = prepare_course(course)
    told(f"Prepared {len(prepared.written)} documents in {folder / 'out'}: packets, sheets, class")
    sheets = filled_workbooks(course, folder / "out" / "measured")
    told(f"Filled in {len(sheets) - 1} measuring sheets in {folder / 'out' / 'measured'}; every reading is invented")
    collected = collect(course, [folder / "out" / "measured", folder / "again.csv", folder / "judged.csv"])
    unread, waiting = len(collected.problems), len([one for _, one in course.log.held() if one.value is not None])
    told(f"Collected {collected.taken.added} readings; {unread} cannot be read, {waiting} waits to be confirmed")
    grades = grade(course)
    book = write_file(folder / "out" / "gradebook.xlsx", write_gradebook(grades))
    final = write_file(folder / "out" / FINAL, final_csv(final_marks(grades)))
    pages = write_feedback(grades, folder / "out" / "feedback")
    reports = write_class_report(facts(grades), folder / "out")
    told(f"Graded: {book}, and {len(grades.students)} pages of feedback in {folder / 'out' / 'feedback'}")
    told(f"Wrote what the class tells: {reports[0]}")
    first = [*attention(grades)]
    first[1:1] = _unread(collected)
    written = (*prepared.written, *sheets, book, final, *pages, *reports)
    return Demo(written, (*prepared.problems, *collected.problems), tuple(first[:3]))


def _unread(collected: Collected) -> list[str]:
    """Cells that could not be read, in one line; nothing when all could."""
    told = "; ".join(f"{problem.place}: {problem.says}" for problem in collected.problems)
    count = len(collected.problems)
    return [f"{count} cell{'' if count == 1 else 's'} could not be read. {told}."] if told else []
