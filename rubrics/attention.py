"""What an instructor should look at once everything is graded."""

from __future__ import annotations

from collections.abc import Sequence

from rubrics.charging import not_read_before
from rubrics.decide import Verdict
from rubrics.marks import Grades


def attention(grades: Grades) -> tuple[str, ...]:
    """What an instructor should look at, the widest first; empty when nothing."""
    lines = []
    raised = [(one, doubt) for one in grades.students for doubt in one.doubts]
    if raised:
        held = sum(len(one.waiting) for one in grades.students)
        asked = "; ".join(f"{doubt.words(one.student)}: {doubt.ask}" for one, doubt in raised[:3])
        more = f"; and {len(raised) - 3} more" if len(raised) > 3 else ""
        look = "reading looks like a slip" if len(raised) == 1 else "readings look like slips"
        lines.append(f"{len(raised)} {look}, and {held} marks wait for an answer. {asked}{more}")
    split = [(one, found) for one in grades.students for found in one.apart]
    if split:
        what = "1 size was" if len(split) == 1 else f"{len(split)} sizes were"
        asked = "; ".join(found.words(one.student) for one, found in split[:3])
        more = f"; and {len(split) - 3} more" if len(split) > 3 else ""
        lines.append(f"{what} read too far apart by two people; marks wait until both read again. {asked}{more}.")
    lines += [f"{setup.words}." for setup in grades.setups if setup.cause is None]
    marks = [mark for one in grades.students for mark in one.marks]
    worst = grades.rules.levels[-1]
    for word, found in (
        (worst.word.lower(), [m for m in marks if m.level is worst]),
        ("measure again", [m for m in marks if m.again]),
    ):
        if found:
            lines.append(f"{len(found)} to {word}: {_some([f'{m.student.id} {m.check.title}' for m in found])}.")
    blind = [
        f"{m.student.id} {m.check.title} ({', '.join(unread)})" for m in marks
        if m.level.share < 1 and (unread := not_read_before(m.check, grades.course.values(m.student)))
    ]  # fmt: skip
    if blind:
        count = "1 mark is" if len(blind) == 1 else f"{len(blind)} marks are"
        lines.append(f"{count} lost by the plan's size, for what should be read before was not: {_some(blind)}.")
    crude = dict.fromkeys(m.check.title for m in marks if m.certainty.verdict is Verdict.CANNOT_TELL)
    if crude:
        lines.append(f"Too coarse a tool to decide, for some or all: {_some(list(crude))}.")
    blank = [(one, len(one.not_measured)) for one in grades.students if one.not_measured]
    if blank:
        lines.append(f"Not measured yet: {_some([f'{s.student.id} ({n} of {s.checks})' for s, n in blank], 8)}.")
    return tuple(lines)


def _some(names: Sequence[str], most: int = 3) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
