"""What to ask about readings that have just come in: slips, two people apart, sheets too good to be true."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from course.course import Course
from course.readings import MOISTURE, Reading
from rubrics.disagreements import allowed_apart, disagreements, who
from rubrics.doubts import doubts
from rubrics.repeated import repeated
from rubrics.signatures import bands, signatures
from shared.places import Place
from shared.problems import Problem


def questions(course: Course, new: Sequence[Reading]) -> Iterator[Problem]:
    """What to ask about new readings, none of which is held back for it.

    Args:
        course: Whose log has the readings already.
        new: In the order in which they came in.
    """
    yield from _slips(course, new)
    yield from _twice(new)
    yield from _made_again(new)
    yield from _apart(course, new)
    yield from _repeated(course, new)


def _slips(course: Course, new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask about new readings that count; a slip is asked about once, not again for all that follows from it."""
    by_student: dict[str, list[Reading]] = {}
    for one in (one for one in new if not one.held):
        by_student.setdefault(one.student, []).append(one)
    known = bands(course) if by_student else {}
    for student in (one for one in course.students if one.id in by_student):
        own = by_student[student.id]
        found = doubts(course, student, own)
        for doubt in found:
            ask = doubt.ask[:1].upper() + doubt.ask[1:]
            yield Problem("C100", doubt.reading.where, doubt.words(student), ask, severe=False)
        doubted = {doubt.reading.quantity for doubt in found}
        for sign in signatures(course, student, [o for o in own if o.quantity not in doubted], known):
            yield Problem("C107", sign.reading.where, sign.words(student), " ".join(sign.asks), severe=False)


def _twice(new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask when two cells that came in together say different things about one reading."""
    first: dict[tuple, Reading] = {}
    for one in new:
        earlier = first.setdefault(one.key, one)
        if earlier is not one:
            says = (
                f"{one.student}, {one.quantity}, place {one.place}: {one.raw} here and {earlier.raw} in {earlier.where}"
            )
            yield Problem("C104", one.where, says, "The one named first counts; is it the later one?", severe=False)
        first[one.key] = one


def _made_again(new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask when a later attempt comes in and nothing says what was cut again; once for each thing."""
    asked: dict[tuple, Reading] = {}
    for one in new:
        if one.attempt > 1 and not one.note.strip() and not one.quantity.endswith(MOISTURE):
            asked.setdefault((one.student, one.quantity, one.attempt), one)
    for one in asked.values():
        says = f"{one.student}, {one.quantity}: attempt {one.attempt} does not say what was made again"
        do = "Write it under note, as in 'shoulder pared back'; a part that was only read again is no new attempt."
        yield Problem("C110", one.where, says, do, severe=False)


def _apart(course: Course, new: Iterable[Reading]) -> Iterator[Problem]:
    """What to ask when two people read one thing too far apart; both readings are kept, and their marks wait."""
    fresh = set(new)
    allowed = allowed_apart(course) if fresh else {}
    for student in map(course.student, sorted({one.student for one in fresh})):
        for found in disagreements(course.record(student).readings, allowed):
            if fresh.isdisjoint(found.readings):
                continue
            shown, low = student.shown, found.low
            first, second = (f"{who(one)} read {one.raw} ({one.where})" for one in (low, found.high))
            says = f"{low.student}, {low.quantity}, place {low.place}: {first}, {second}"
            apart = shown.size(found.apart)
            do = f"They are {apart} apart: read it again together; marks that rest on it wait until then."
            yield Problem("C101", next(one.where for one in found.readings if one in fresh), says, do, severe=False)


def _repeated(course: Course, new: Sequence[Reading]) -> Iterator[Problem]:
    """Sheets whose readings fall on their targets more often than work does: asked about kindly, never more."""
    students = {student.id: student for student in course.students}
    sheets: dict[tuple[str, str], list[Reading]] = {}
    for one in new:
        sheets.setdefault((one.student, one.source), []).append(one)
    for (id_, source), readings in sheets.items():
        if found := repeated(course, students[id_], readings):
            says = f"{id_}: {found.count} of {found.of} readings are exactly what the sheet asked for"
            ask = found.ask[:1].upper() + found.ask[1:]
            yield Problem("C106", Place(source, cell=found.first.sheet), says, f"{ask}.", severe=False)
