"""One page of feedback for each student: what went well, what to try next, and why the numbers are as they are.

A page speaks of one student alone and compares with nobody. Its words are data in `feedback.yaml`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from jinja2 import BaseLoader, ChoiceLoader, FileSystemLoader, PackageLoader

from course.causes import Cause, causes
from course.changes import AsMade
from course.course import Course
from course.quantities import Values
from course.readings import Reading, reduced
from course.remedies import remedies
from course.remedy_files import RemedyLibrary, read_remedies
from course.remedy_words import Remedy
from course.roster import Student
from rubrics.checks import Check, every_check
from rubrics.marks import Grades, Mark, StudentGrade, off_aim, signed
from shared.own_files import own_or_built_in
from shared.places import Mapping, Node, Text
from shared.problems import InputRefused, Problem
from shared.render.document import Document
from shared.render.files import safe_name, write_file
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.render.templates import render_tree
from shared.units import Shown, same_digits

FILE = "feedback.yaml"
BUILT_IN = Path(__file__).parent / FILE
"""The words that come with the program."""
BEST, NEXT = 3, 2
"""How many results are praised, and how many are to be worked on."""
REMEDIES = 2
"""How many mistakes are shown with their ways out."""
TRENDS = ("nearer", "better", "not yet")
"""Each attempt nearer than the one before; the last nearer than the first; neither."""


@dataclass(frozen=True, slots=True)
class Words:
    """The words of `feedback.yaml`."""

    practice: dict[str, str]
    """Tasks by the name of a check file, or by name and what is checked, as `shoulder.stile width`."""
    trend: dict[str, str]
    """What to say of several attempts, by `TRENDS`."""

    def task(self, check: Check) -> str:
        """The practice task for a check."""
        names = (f"{check.check}.{check.what}", f"{check.check}.rest", check.check)
        return next((self.practice[name] for name in names if name in self.practice), self.practice["any"])


def read_words(folder: Path | None = None) -> Words:
    """The words: of the course folder's `feedback.yaml` if it has one, else the built-in.

    Raises:
        InputRefused: Every text that is missing (B030).
    """
    top = own_or_built_in(folder, BUILT_IN)
    problems: list[Problem] = []
    practice, trend = _texts(top.get("practice")), _texts(top.get("trend"))
    for block, texts, needed in (("practice", practice, ("any",)), ("trend", trend, TRENDS)):
        for word in needed:
            if word not in texts:
                says = f"'{word}' is missing under {block}"
                problems.append(Problem("B030", top.place, says, "Add it, as in the built-in feedback.yaml."))
    if problems:
        raise InputRefused(problems)
    return Words(practice, trend)


def _texts(node: Node | None, prefix: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in node.items() if isinstance(node, Mapping) else ():
        if isinstance(value, Text):
            found[prefix + key] = value.text.strip()
        else:
            found.update(_texts(value, f"{prefix}{key}."))
    return found


@dataclass(frozen=True, slots=True)
class Result:
    """A result as the page tells it."""

    title: str
    text: str
    cause: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """A page of feedback, all text finished."""

    student: Student
    points: str
    on_mark: str
    """How many results are at the best level; empty when none is."""
    best: tuple[Result, ...]
    improve: tuple[Result, ...]
    practice: str
    """One task, for the first of those to be worked on."""
    again: tuple[Result, ...]
    trends: tuple[Result, ...]
    differences: tuple[Result, ...]
    setups: tuple[Result, ...]
    missing: tuple[str, ...]
    others: tuple[str, ...]
    """What somebody else made, and who: not graded."""
    doubts: tuple[Result, ...]
    """Readings that look like slips, or that two people read too far apart; marks that rest on them wait."""
    wood: tuple[Result, ...]
    """Sizes that were read at another moisture than the shop's, at both."""
    remedies: tuple[Remedy, ...]
    """Mistakes that can still be mended, with the ways out."""


def pages(grades: Grades) -> tuple[Page, ...]:
    """The feedback of every student, in the order of the roster.

    Raises:
        InputRefused: The words cannot be used (`read_words`).
    """
    words = read_words(grades.course.folder)
    where = {name: check.where for check in reversed(every_check(grades.course)) for name, _, _ in check.reads}
    library = read_remedies(grades.course.folder)
    return tuple(_page(grades, one, words, where, library) for one in grades.students)


def _page(
    grades: Grades, one: StudentGrade, words: Words, where: dict[str, str], library: RemedyLibrary
) -> Page:
    course, student = grades.course, one.student
    values = course.values(student)
    shown = student.shown
    fair = [m for m in one.marks if not m.again]
    full = [m for m in fair if m.level.share == 1 and not m.elsewhere and not m.setup_shift]
    lost = [m for m in fair if m.level.share < 1]
    best = _one_of_each(sorted(full, key=lambda m: (_distance(m), -m.check.points, m.check.id)), BEST)
    worst = _one_of_each(sorted(lost, key=lambda m: (m.level.share, m.points - m.check.points, m.check.id)), NEXT)
    return Page(
        student, _points(one), _on_mark(one),
        tuple(Result(m.check.title, f"{_read(m, shown)}; {_allowed(m, shown)}") for m in best),
        tuple(_improve(m, values, before(grades.marks, m)) for m in worst),
        words.task(worst[0].check) if worst else "",
        tuple(
            Result(m.check.title, f"{_read(m, shown)}; {_allowed(m, shown)}")
            for m in one.marks
            if m.again and not m.elsewhere and not m.wood
        ),
        _trends(grades, student, where, words), _differences(one, where, shown), _setups(one, shown),
        _missing(one), tuple(f"{check.title}, by {by}" for check, by in one.others),
        tuple(
            Result(
                where.get(doubt.reading.quantity, doubt.reading.quantity),
                f"you wrote {doubt.reading.raw}, about {_size(doubt.expected, shown)} was expected: {doubt.ask}",
            )
            for doubt in one.doubts
        ) + tuple(
            Result(
                where.get(found.low.quantity, found.low.quantity),
                f"it was read as {found.low.raw} and as {found.high.raw} by two people: read it again together.",
            )
            for found in one.apart
        ),
        tuple(_of_wood(m) for m in one.marks if m.wood), _remedies(grades, one, library),
    )  # fmt: skip


def _of_wood(mark: Mark) -> Result:
    """A size at both moistures, with whether it is to be measured again."""
    assert mark.wood is not None
    again = f"measure it again when the wood has come to {float(mark.wood.shop):g} %" if mark.again else ""
    return Result(mark.check.title, mark.wood.words(mark.student.shown), again)


def _remedies(grades: Grades, one: StudentGrade, library: RemedyLibrary) -> tuple[Remedy, ...]:
    """What can still be mended; what only follows from a reading in doubt waits for the answer."""
    values = grades.course.values(one.student)
    names = {doubt.reading.quantity for doubt in one.doubts} | {found.low.quantity for found in one.apart}

    def waits(remedy: Remedy) -> bool:
        behind = {name for read in remedy.reads for inner in values.inputs(read) for name in values.rests_on(inner)}
        return bool(names & (behind | set(remedy.reads)))

    found = remedies(grades.course, one.student, library)
    return tuple(remedy for remedy in found if not waits(remedy))[:REMEDIES]


def _one_of_each(marks: Sequence[Mark], most: int) -> list[Mark]:
    """The first few marks, of different checks."""
    found: dict[str, Mark] = {}
    for mark in marks:
        found.setdefault(mark.check.check, mark)
    return list(found.values())[:most]


def _distance(mark: Mark) -> Fraction:
    return abs(off_aim(mark.check, mark.deviation)) / mark.limit


def _points(one: StudentGrade) -> str:
    if not one.of:
        return ""
    points = f"{float(round(one.points, 1)):g} of {float(one.of):g} points"
    return f"{points}, from {len(one.marks)} of {one.checks} checks"


def _on_mark(one: StudentGrade) -> str:
    full = [mark.level.word for mark in one.marks if mark.level.share == 1]
    return f"{full[0]}: {len(full)} of {len(one.marks)} results" if full else ""


def _size(value: Fraction, shown: Shown) -> str:
    """A size to the finer digit; a large one in fractions of an inch as the student's rule shows it."""
    return shown.size(value) if shown.unit == "in" and abs(value) >= 50 else shown.fine(value)


def _read(mark: Mark, shown: Shown) -> str:
    if mark.check.one_sided:
        return f"you read {shown.fine(mark.value)}"
    off = shown.fine(abs(mark.deviation))
    seen = any(c in "123456789" for c in off)
    side = f"{off} {'over' if mark.deviation > 0 else 'under'}" if seen else "on the dot"
    return f"you read {_size(mark.value, shown)}, it should be {_size(mark.target, shown)}: {side}"


def _allowed(mark: Mark, shown: Shown) -> str:
    lower, upper = mark.check.lower, mark.check.upper
    if mark.check.one_sided:
        return f"up to {shown.fine(upper)} is allowed"
    if -lower == upper:
        return f"{shown.fine(upper)} either way is allowed"
    return f"from {signed(lower, shown)} to {signed(upper, shown)} is allowed"


def before(marks: Sequence[Mark], mark: Mark) -> Mark | None:
    """The mark of the attempt before, of the same student and check; None for the first."""
    own = [m for m in marks if m.student is mark.student and m.check is mark.check and m.attempt < mark.attempt]
    return max(own, key=lambda m: m.attempt, default=None)


def _improve(mark: Mark, values: Values, earlier: Mark | None) -> Result:
    own = mark.check.over if off_aim(mark.check, mark.own) > 0 else mark.check.under
    shown = mark.student.shown
    text = "; ".join((_read(mark, shown), *mark.not_own(shown), _allowed(mark, shown)))
    cause = probable_cause(mark, values, earlier) or own
    return Result(mark.check.title, text, cause)


def probable_cause(mark: Mark, values: Values, earlier: Mark | None = None) -> str:
    """What usually makes a deviation of this size, as a question with its figures; empty when nothing known fits.

    Args:
        mark: The result.
        values: The student's values.
        earlier: The mark of the attempt before, when there was one.
    """
    own = mark.deviation - mark.setup_shift
    first = earlier.deviation - earlier.setup_shift if earlier else None
    if mark.check.formula is None and mark.check.kind == "size":
        found = causes(values, mark.check.reads[0][0], own, mark.student.shown, first)
    else:
        found = _cause_of_what_changed(mark, values, earlier) if earlier else ()
    return f"{found[0].asks} ({found[0].evidence})" if found else ""


def _cause_of_what_changed(mark: Mark, values: Values, earlier: Mark) -> tuple[Cause, ...]:
    """For a fit or difference: causes of the first reading that was taken anew and shows one."""
    for name in dict.fromkeys(one.quantity for one in mark.readings if one.attempt == mark.attempt):
        now, then = (_size_read(m, name, values) - values.target_number(name) for m in (mark, earlier))
        if found := causes(values, name, now, mark.student.shown, then):
            return found
    return ()


def _size_read(mark: Mark, name: str, values: Values) -> Fraction:
    own = [one.value for one in mark.readings if one.quantity == name and one.value is not None]
    return reduced(own, values.graph[name].read)[0]


def _trends(grades: Grades, student: Student, where: dict[str, str], words: Words) -> tuple[Result, ...]:
    """Sizes that were read at several attempts, oldest first."""
    graph = grades.course.cabinet.graph
    made = AsMade(grades.course, student, grades.course.values(student))
    groups: dict[str, dict[int, list[Reading]]] = {}
    for one in grades.course.log.readings(student.id):
        if one.value is not None and one.quantity in where:
            groups.setdefault(one.quantity, {}).setdefault(one.attempt, []).append(one)
    found = []
    for name, attempts in groups.items():
        if len(attempts) > 1:
            read = graph[name].read
            sizes = [reduced([r.value for r in attempts[n] if r.value is not None], read)[0] for n in sorted(attempts)]
            text = _trend(sizes, made.target(name), student.shown, words)
            found.append(Result(f"{where[name]}: {graph[name].says}", text))
    return tuple(found)


def _trend(sizes: Sequence[Fraction], target: Fraction, shown: Shown, words: Words) -> str:
    away = [abs(size - target) for size in sizes]
    nearer = all(after < before for before, after in pairwise(away))
    kind = "nearer" if nearer else "better" if away[-1] < away[0] else "not yet"
    texts = same_digits([*sizes, target], shown)
    return f"{', '.join(texts[:-1])}; it should be {texts[-1]} {shown.unit}. {words.trend[kind]}"


def _differences(one: StudentGrade, where: dict[str, str], shown: Shown) -> tuple[Result, ...]:
    found = []
    for each in one.differences:
        followers = list(dict.fromkeys(check.title for check, _ in each.follows))
        text = f"{_size(each.value, shown)} instead of {_size(each.planned, shown)} ({signed(each.by, shown)})"
        title = f"{where[each.quantity]}: {each.says}" if each.quantity in where else each.says
        found.append(Result(title, text, "; ".join(followers)))
    return tuple(found)


def _setups(one: StudentGrade, shown: Shown) -> tuple[Result, ...]:
    return tuple(
        Result(m.check.title, f"{signed(m.deviation, shown)}; {signed(m.setup_shift, shown)} of it")
        for m in one.marks
        if m.setup_shift
    )


def _missing(one: StudentGrade) -> tuple[str, ...]:
    """Open checks by their group, with how many."""
    counts: dict[str, int] = {}
    for check in one.not_measured:
        counts[check.group] = counts.get(check.group, 0) + 1
    return tuple(f"{group} ({count})" if count > 1 else group for group, count in counts.items())


def templates(course: Course) -> BaseLoader:
    """The templates of pages about results; a file of the same name in the course's folder `lessons` wins."""
    return ChoiceLoader([FileSystemLoader(str(course.folder / "lessons")), PackageLoader("rubrics")])


def feedback_document(page: Page, course: Course) -> Document:
    """A page as a document, in the student's print size."""
    rows = {"page": page, "student": page.student, "course": course}
    tree = render_tree("feedback.md.j2", rows, templates(course))
    document = Document(
        f"Feedback for {page.student.name}", f"{page.student.name} ({page.student.id})", course.id, tree,
        course.paper, page.student.large_print,
    )  # fmt: skip
    return course.wording.document(document)


def write_feedback(
    grades: Grades, folder: Path, told: Callable[[str], None] = lambda name: None
) -> tuple[Path, ...]:
    """Write every student's page as `<id>-<name>.html` and `.pdf`; gives the HTML files.

    Args:
        grades: All marks.
        folder: Where they go.
        told: Called with the name of each student whose page is written.

    Raises:
        InputRefused: As `pages`, or the folder cannot be written to.
    """
    written = []
    for page in pages(grades):
        document = feedback_document(page, grades.course)
        name = safe_name(f"{page.student.id}-{page.student.name}")
        written.append(write_file(folder / f"{name}.html", write_html(document)))
        write_file(folder / f"{name}.pdf", write_pdf(document))
        told(page.student.name)
    return tuple(written)
