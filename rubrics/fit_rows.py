"""Everything that a student reads, as rows of finished text: where, what, with what, and within which limits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from course.changes import AsMade
from course.course import Course
from course.quantities import Values
from course.roster import Student
from rubrics.checks import Check, every_check
from rubrics.where import Asked, read_where, where_drawing
from shared.render.sketch import Drawing
from shared.units import Shown

STAGE_TITLES = {
    "stock": "Stock", "case": "Case", "frame": "Frames and panels", "fitting": "Fitting", "finish": "Finish",
}  # fmt: skip
"""The stages of the job, as headings."""


@dataclass(frozen=True, slots=True)
class FitRow:
    """One thing to read, as finished text in the student's units."""

    check: str
    """Name of the check, as `shoulder`."""
    group: str
    """Title of the check."""
    assembly: str
    stage: str
    title: str
    """Where, as `door rail top`."""
    what: str
    quantity: str
    places: int
    target: str
    lower: str
    upper: str
    instrument: str
    who: str
    second: bool
    """Whether a second person reads it too."""
    at: str
    """How it is measured, as a sketch of `where.py` shows it."""


def asks_second(course: Course) -> bool:
    """Whether a course asks for a second reader (`second_reader: yes`)."""
    return course.text("second_reader") == "yes"


def fit_rows(course: Course, student: Student) -> tuple[FitRow, ...]:
    """Everything a student is to read, each thing once, in the order of the work."""
    values = course.values(student)
    made = AsMade(course, student, values)
    rows: dict[str, FitRow] = {}
    for check in every_check(course):
        for name, places, instrument in check.reads:
            if name not in rows:
                rows[name] = _row(check, name, places, instrument, course, student, values, made)
    return tuple(rows.values())


def where_to_measure(course: Course, rows: Iterable[FitRow]) -> Drawing | None:
    """Sketches of where some rows are measured, the same for every student; None when they have none.

    Raises:
        InputRefused: The words below them cannot be used (`where.read_where`).
    """
    asked = (Asked(row.at, row.group, row.what, row.places) for row in rows)
    return where_drawing("Where to measure", asked, read_where(course.folder))


def _row(
    check: Check, name: str, places: int, instrument: str, course: Course, student: Student, values: Values,
    made: AsMade,
) -> FitRow:  # fmt: skip
    shown, graph = student.shown, course.cabinet.graph
    fine = instrument in ("caliper", "feeler")
    text = shown.fine_bare if fine else shown.bare
    wanted = check.target if check.formula is None else None
    target = wanted.run(values.all) if wanted else made.target(name)
    assert isinstance(target, Fraction)
    what = graph[name].says if len(check.reads) > 1 or check.kind == "spread" else check.what
    lower, upper, wish = "", "", text(target)
    if check.kind in ("size", "fit"):
        if limits := _limits(check, name, values):
            lower, wish, upper = _between(target + limits[0], target, target + limits[1], shown, fine)
    elif check.kind == "difference" and len(check.reads) == 1:
        low = max(target - check.upper, Fraction(0))
        lower, wish, upper = _between(low, target, target + check.upper, shown, fine)
    elif check.kind in ("difference", "spread"):
        upper = f"{_between(Fraction(0), Fraction(0), check.upper, shown, fine)[2]} apart"
    return FitRow(
        check.check, check.group, check.assembly, check.stage, check.where, what, name, places, wish, lower,
        upper, instrument, check.who, check.readers > 1 and asks_second(course),
        check.at,
    )  # fmt: skip


def _between(low: Fraction, target: Fraction, high: Fraction, shown: Shown, fine: bool) -> tuple[str, str, str]:
    """A lower limit, what is wanted and an upper limit as text: the last marks between the limits, and one of them.

    Limits are never printed wider than they are, so that no reading which keeps to the sheet is outside. Where no mark
    lies between them, or nothing but 0, the finer digit is printed.
    """
    coarse, finer = (shown.mark, shown.bare), (shown.fine_mark, shown.fine_bare)
    for mark, text in (finer,) if fine else (coarse, finer):
        first, last = ceil(low / mark) * mark, floor(high / mark) * mark
        if first <= last and not last == 0 < high:
            return text(first), text(min(max(target, first), last)), text(last)
    return shown.fine_bare(low), shown.fine_bare(target), shown.fine_bare(high)


def _limits(check: Check, name: str, values: Values) -> tuple[Fraction, Fraction] | None:
    """How far a reading may be from its target when everything else is right, from the band of the check.

    None when the result does not follow this reading, as the smaller of two in a `max`.
    """
    if check.formula is None:
        return check.lower, check.upper
    nudged = list(values.all)
    index = values.graph.index[name]
    size = nudged[index]
    assert isinstance(size, Fraction)
    nudged[index] = size + 1
    after, before = check.formula.run(nudged), check.formula.run(values.all)
    assert isinstance(after, Fraction) and isinstance(before, Fraction)
    weight = after - before
    if not weight:
        return None
    first, second = check.lower / weight, check.upper / weight
    return min(first, second), max(first, second)
