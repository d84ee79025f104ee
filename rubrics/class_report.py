"""The class report: what the figures say in plain words, charts and tables; one to hang up, one with names.

The report that is hung up names nobody, and leaves out what fewer than five have measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from course.course import Course
from rubrics.class_charts import distribution_chart, progress_chart, strip_chart
from rubrics.class_figures import Interval
from rubrics.class_findings import CheckFigures, Finding, Progress, class_figures, findings, progress
from rubrics.compare import ENOUGH
from rubrics.feedback import templates
from rubrics.fit_rows import STAGE_TITLES
from rubrics.last_term import FILE, Change, LastTerm, changes, figures_csv, read_last_term
from rubrics.marks import Grades, signed
from rubrics.readers import Digits, Readers, digits, readers
from shared.render.document import Document
from shared.render.files import write_file
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.render.sketch import Drawing
from shared.render.templates import render_tree
from shared.units import SHOWN, Shown, decimal

NAME, NAMED = "class-report", "class-report-instructor"
"""Names of the two documents, without ending."""


@dataclass(frozen=True, slots=True)
class FigureRow:
    """The figures of a check as finished text."""

    title: str
    count: str
    mean: str
    spread: str
    inside: str
    capability: str
    says: str


@dataclass(frozen=True, slots=True)
class StagePart:
    """One stage of the work."""

    title: str
    drawing: Drawing
    rows: tuple[FigureRow, ...]


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One check this term and last."""

    title: str
    then: str
    now: str
    mean: str
    inside: str


@dataclass(frozen=True, slots=True)
class LastTermPart:
    """This term against the last."""

    name: str
    intro: str
    told: tuple[str, ...]
    rows: tuple[ChangeRow, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A class report, all text finished."""

    title: str
    intro: str
    invented: bool
    measured: int
    findings: tuple[Finding, ...]
    last_term: LastTermPart | None
    progress: tuple[str, ...]
    progress_drawing: Drawing
    distribution: Drawing | None
    stages: tuple[StagePart, ...]
    left_out: str
    digits: tuple[str, ...]
    readers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """What both reports tell, worked out once."""

    grades: Grades
    figures: tuple[CheckFigures, ...]
    last: LastTerm | None
    digits: tuple[Digits, ...]
    readers: Readers


def facts(grades: Grades) -> Facts:
    """What the reports of a class tell.

    Raises:
        InputRefused: The figures of the last term cannot be read (`last_term.read_last_term`).
    """
    last = read_last_term(grades.course)
    return Facts(grades, class_figures(grades), last, digits(grades.course), readers(grades))


def report(found: Facts, named: bool) -> Report:
    """The report of a class.

    Args:
        found: What it tells.
        named: Whether it is the instructor's, who may see whose result is meant; else it can be hung up.
    """
    grades, every, last = found.grades, found.figures, found.last
    course = grades.course
    shown = SHOWN[course.text("units", "mm")]
    figures = every if named else tuple(one for one in every if one.enough)
    told = findings(grades, figures, shown)
    names = {student.id: student.id for student in course.students} if named else {}
    steps = progress(grades, every)
    few = sum(not one.enough for one in every)
    return Report(
        f"What the class tells: {course.title}", _intro(grades, named), course.invented,
        sum(len(one.points) for one in every),
        told if named else tuple(Finding(one.words) for one in told),
        _last_term(last, changes(last, every), shown) if last else None,
        tuple(_progress(steps, grades if named else None)), progress_chart(steps), distribution_chart(figures),
        tuple(_stages(figures, names, shown)),
        "" if named or not few else f"Checks that fewer than {ENOUGH} have measured are left out: {few}.",
        tuple(_digits(found.digits)), tuple(_readers(found.readers, shown)),
    )  # fmt: skip


def _intro(grades: Grades, named: bool) -> str:
    course = grades.course
    parts = [f"{len(course.students)} students", f"term {course.term}" if course.term else "", course.date]
    whose = "For the instructor alone: it names students." if named else "Nobody is named here."
    unit = SHOWN[course.text("units", "mm")].unit_word
    return f"{', '.join(part for part in parts if part)}. Sizes in {unit}. {whose}"


def _stages(figures: Sequence[CheckFigures], names: dict[str, str], shown: Shown) -> Iterator[StagePart]:
    stages: dict[str, list[CheckFigures]] = {}
    for one in figures:
        if one.points:
            stages.setdefault(one.check.stage, []).append(one)
    for stage, own in stages.items():
        drawing = strip_chart(STAGE_TITLES[stage], own, names, shown)
        yield StagePart(STAGE_TITLES[stage], drawing, tuple(_row(one, shown) for one in own))


def _row(one: CheckFigures, shown: Shown) -> FigureRow:
    count, capable = len(one.points), one.capability if one.enough else None
    between = one.inside_between
    return FigureRow(
        one.check.title, f"{count} of {one.asked}", signed(one.mean, shown) if one.mean is not None else "",
        shown.fine(Fraction(one.sd)) if one.sd is not None else "",
        f"{one.inside} of {count} ({_percent(between)})" if between else "",
        f"{_decimals(capable.cpk)} ({_between(capable.cpk_interval)})" if capable else "",
        one.says,
    )  # fmt: skip


def _decimals(value: float) -> str:
    return decimal(Fraction(value), 1)


def _between(found: Interval) -> str:
    return f"{_decimals(found.low)} to {_decimals(found.high)}"


def _percent(found: Interval) -> str:
    return f"{round(100 * found.low)} to {round(100 * found.high)} %"


def _progress(steps: Iterable[Progress], named: Grades | None) -> Iterator[str]:
    for step in steps:
        if step.again:
            yield f"{STAGE_TITLES[step.stage]}: {step.again} made again, {step.nearer} of them nearer than before."
    if named:
        blank = [(one, len(one.not_measured)) for one in named.students if one.not_measured]
        for one, count in blank:
            yield f"{one.student.id} {one.student.name}: {count} of {one.checks} not measured yet."


def _last_term(last: LastTerm, found: Sequence[Change], shown: Shown) -> LastTermPart:
    told = [
        f"{one.check.title}: {', '.join(one.told)} ({_inside(one)})." for one in found if one.told
    ]
    intro = (
        f"{len(found)} checks can be compared. A change is told when chance does not explain it, with so many compared "
        "at once; with classes as small as these, a real change is easily missed."
    )
    if not told:
        told = ["No change that chance could not explain."] if found else ["No check has results enough in both terms."]
    return LastTermPart(last.name, intro, tuple(told), tuple(_change_row(one, shown) for one in found))


def _inside(one: Change) -> str:
    return f"{one.before.inside} of {one.before.sample.count} inside, now {one.inside} of {one.now.count}"


def _change_row(one: Change, shown: Shown) -> ChangeRow:
    apart = one.mean_apart
    between = [signed(Fraction(end), shown) for end in (apart.low, apart.high)] if apart else ()
    return ChangeRow(
        one.check.title, signed(one.before.sample.mean, shown), signed(one.now.mean, shown),
        " and ".join(between) or "nothing differs",
        _inside(one) if one.share_apart else "other limits then",
    )  # fmt: skip


def _digits(found: Iterable[Digits]) -> Iterator[str]:
    for one in found:
        text = f"{one.tool}, {one.what}, {one.readings} readings: "
        if one.uneven:
            yield (
                f"{text}uneven; {one.most}. Honest readings seldom come out so: talk about reading between the marks, "
                "not about anybody."
            )
        else:
            yield f"{text}as even as honest readings are."


def _readers(found: Readers, shown: Shown) -> Iterator[str]:
    for one in found.tools:
        limits = one.found.limits
        yield (
            f"{one.count} things were read by two people with the {one.instrument}: the student's reading is "
            f"{signed(one.found.bias, shown)} from the second one in the mean, and 95 % of the differences lie between "
            f"{signed(Fraction(limits.low), shown)} and {signed(Fraction(limits.high), shown)}."
        )
    if levels := found.levels:
        beyond = (
            "nearly all are of one level, so agreement beyond chance cannot be told" if levels.kappa is None
            else f"agreement beyond chance (weighted kappa) is {decimal(levels.kappa, 2)}, where 1 is full agreement"
        )  # fmt: skip
        yield f"Both readings came to the same level at {levels.same} of {levels.count} results; {beyond}."


def report_document(made: Report, course: Course) -> Document:
    """A report as a document."""
    tree = render_tree("class_report.md.j2", {"report": made}, templates(course))
    return course.wording.document(Document(made.title, course.title, course.id, tree, course.paper))


def write_class_report(found: Facts, folder: Path) -> tuple[Path, ...]:
    """Write both reports as HTML and PDF, and the figures for the next term; gives all files.

    Raises:
        InputRefused: The folder cannot be written to.
    """
    written = []
    for name, named in ((NAME, False), (NAMED, True)):
        document = report_document(report(found, named), found.grades.course)
        written.append(write_file(folder / f"{name}.html", write_html(document)))
        written.append(write_file(folder / f"{name}.pdf", write_pdf(document)))
    written.append(write_file(folder / FILE, figures_csv(found.grades.course, found.figures)))
    return tuple(written)
