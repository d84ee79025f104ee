"""This term against the last: the figures of a class as a small file, and what changed, with its interval."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from course.course import Course
from rubrics.checks import Check
from rubrics.class_figures import CONFIDENCE, Interval
from rubrics.class_findings import CheckFigures
from rubrics.compare import ENOUGH, Sample, means_apart, shares_apart
from shared.places import Place, Row, Unreadable, read_csv, read_text
from shared.problems import InputRefused, OutOfRange, Problem

FILE = "class-figures.csv"
"""What `grade` writes; a later course names it as `last_term` in its `course.yaml`."""
SETTING = "last_term"
COLUMNS = (
    *("course", "term", "check", "title", "stage", "readings", "inside"),
    *("mean mm", "sd mm", "lower mm", "upper mm"),
)


@dataclass(frozen=True, slots=True)
class Before:
    """What an earlier class made of one check."""

    sample: Sample
    inside: int
    limits: tuple[str, str]
    """As the file says them; shares inside other limits are not compared."""


@dataclass(frozen=True, slots=True)
class LastTerm:
    """The figures of an earlier class."""

    name: str
    checks: dict[str, Before]


@dataclass(frozen=True, slots=True)
class Change:
    """What changed at one check since the last term. Lengths in mm."""

    check: Check
    before: Before
    now: Sample
    inside: int
    mean_apart: Interval | None
    """Between which values the change of the mean lies; None where nothing scatters."""
    share_apart: Interval | None
    """Between which values the change of the share inside lies; None when the limits are not the same."""

    @property
    def told(self) -> tuple[str, ...]:
        """What chance does not explain."""
        found = []
        if self.share_apart and (self.share_apart.low > 0 or self.share_apart.high < 0):
            found.append("more keep the limits" if self.share_apart.low > 0 else "fewer keep the limits")
        if self.mean_apart and (self.mean_apart.low > 0 or self.mean_apart.high < 0):
            found.append("larger than last term" if self.mean_apart.low > 0 else "smaller than last term")
        return tuple(found)


def figures_csv(course: Course, figures: Sequence[CheckFigures]) -> str:
    """The figures of a class, without any student in them, for the next term to compare with."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in figures:
        check = one.check
        if one.mean is not None and one.sd is not None:
            writer.writerow((
                course.id, course.term, check.id, check.title.replace("\u00a0", " "), check.stage, len(one.points),
                one.inside, f"{float(one.mean):.6f}", f"{one.sd:.6f}", *_limits(check),
            ))  # fmt: skip
    return out.getvalue()


def _limits(check: Check) -> tuple[str, str]:
    return ("" if check.one_sided else f"{float(check.lower):.6f}", f"{float(check.upper):.6f}")


def read_last_term(course: Course) -> LastTerm | None:
    """The figures that `last_term` in `course.yaml` names; None when it names none.

    Raises:
        InputRefused: The file cannot be read (B070), or a line of it (B071).
    """
    wanted = course.settings.get(SETTING)
    if wanted is None or wanted.empty:
        return None
    name = wanted.text
    try:
        table = read_csv(read_text(course.folder / name, name), name)
    except Unreadable as error:
        do = f"Give {SETTING} the path of a {FILE} that `grade` wrote, from the course folder."
        raise InputRefused([Problem("B070", wanted.place, f"{error.place}: {error.says}", do)]) from None
    gone = [column for column in COLUMNS if column not in table.headings]
    if gone:
        says = f"the column '{gone[0]}' is missing"
        raise InputRefused([Problem("B070", table.place, says, f"Give the {FILE} that `grade` wrote, as it is.")])
    problems: list[Problem] = []
    found = {row.text("check"): before for row in table.rows if (before := _before(row, problems))}
    if problems:
        raise InputRefused(problems)
    first = table.rows[0] if table.rows else None
    named = (first.text("term") or first.text("course")) if first else ""
    return LastTerm(named or "last term", found)


def _before(row: Row, problems: list[Problem]) -> Before | None:
    try:
        count, inside = int(row.text("readings")), int(row.text("inside"))
        spread = float(Fraction(row.text("sd mm")))
        sample = Sample(count, Fraction(row.text("mean mm")), spread)
        if not (count >= 2 and 0 <= inside <= count and spread >= 0):
            raise ValueError
    except (ValueError, ZeroDivisionError):
        place = Place(row.place.file, row.place.line)
        do = f"Put back the line as `grade` wrote it, or leave it out of {FILE}."
        problems.append(Problem("B071", place, f"the figures of '{row.text('check')}' are none", do))
        return None
    return Before(sample, inside, (row.text("lower mm"), row.text("upper mm")))


def changes(last: LastTerm, figures: Sequence[CheckFigures]) -> tuple[Change, ...]:
    """What changed at each check that both terms have, five results each at least.

    The confidence is shared out over all comparisons (Bonferroni), so that in all of them together chance alone is
    taken for a change about once in twenty terms.
    """
    both = [one for one in figures if one.enough and _enough(last.checks.get(one.check.id))]
    confidence = 1 - (1 - CONFIDENCE) / (2 * len(both)) if both else CONFIDENCE
    return tuple(_change(one, last.checks[one.check.id], confidence) for one in both)


def _enough(before: Before | None) -> bool:
    return before is not None and before.sample.count >= ENOUGH


def _change(one: CheckFigures, before: Before, confidence: float) -> Change:
    assert one.mean is not None and one.sd is not None
    now = Sample(len(one.points), one.mean, one.sd)
    try:
        apart = means_apart(before.sample, now, confidence).interval
    except OutOfRange:
        apart = None
    shares = None
    if before.limits == _limits(one.check):
        shares = shares_apart(before.inside, before.sample.count, one.inside, now.count, confidence)
    return Change(one.check, before, now, one.inside, apart, shares)
