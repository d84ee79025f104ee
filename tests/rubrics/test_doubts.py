"""A slip is named once, and no mark is lost to it before it is answered."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.course import Course
from course.readings import Reading
from rubrics.attention import attention
from rubrics.checks import checks_of
from rubrics.doubts import doubts
from rubrics.feedback import feedback_document, pages
from rubrics.grading import grade
from shared.render.tree import words


def read(course: Course, **sizes: str) -> None:
    rows = []
    for name, text in sizes.items():
        for place, value in enumerate(text.split(), 1):
            rows.append(Reading("s1", name.replace("__", "."), place, 1, value, Fraction(value)))
    course.log.add(rows)
    course.fresh()


@pytest.fixture
def slipped(course_of) -> Course:
    """An opening misread by 100 at one place, and a door made to the real one."""
    course = course_of()
    read(
        course, divider__upper__width="265.2 364.8 365.0", door__stile__left__width="50", door__stile__right__width="50",
        door__rail__top__shoulder="261.8", door__rail__bottom__shoulder="261.8", back__groove__width="6 6 6",
    )  # fmt: skip
    return course


def test_the_slip_is_named_once_at_its_root(slipped):
    """The opening is in doubt; the rails, which fit the real opening, are not."""
    student = slipped.student("s1")
    (doubt,) = doubts(slipped, student, slipped.log.readings("s1"))
    assert (doubt.reading.quantity, doubt.reading.place, doubt.ask) == (
        "divider.upper.width", 1, "exactly 100.0 off: retype?",
    )  # fmt: skip


def test_marks_that_rest_on_it_wait(slipped):
    """Neither rail is `Do again` because of a misread opening: both are blank, and wait; the groove is marked."""
    one = grade(slipped).students[0]
    waiting = {check.id for check in one.waiting}
    assert {"door.rail.top.shoulder", "door.rail.bottom.shoulder", "shelf.board.length"} <= waiting
    assert "back.groove.width" not in waiting
    assert {m.check.id for m in one.marks} >= {"back.groove.width", "door.stile.left.width"}
    assert not {m.check.id for m in one.marks} & waiting
    assert not set(one.not_measured) & set(one.waiting)


def test_the_question_is_the_first_thing_to_look_at(slipped):
    """The instructor is told of it before anything else, with what is expected."""
    first = attention(grade(slipped))[0].replace("\u00a0", " ")
    assert first.startswith("1 reading looks like a slip, and ")
    assert first.endswith("s1, divider.upper.width, place 1: 265.2 where about 364.0 mm is expected: exactly 100.0 off: retype?")


def test_the_student_is_asked(slipped):
    """The feedback page opens with the question, and says that nothing is lost."""
    grades = grade(slipped)
    page = pages(grades)[0]
    text = words(feedback_document(page, slipped).tree).replace("\u00a0", " ")
    assert "you wrote 265.2, about 364.0 mm was expected: exactly 100.0 off: retype?" in text
    assert "nothing is lost" in text


def test_an_answer_gives_the_marks_back(slipped):
    """Read again, the opening is what it is, and the rails are marked against it: on the mark."""
    slipped.log.add([Reading("s1", "divider.upper.width", 1, 1, "365.2", Fraction("365.2"))])
    slipped.fresh()
    one = grade(slipped).students[0]
    assert one.waiting == () and one.doubts == ()
    marks = {m.check.id: m for m in one.marks}
    assert marks["door.rail.top.shoulder"].target == Fraction("261.8")
    assert marks["door.rail.top.shoulder"].level.word == "On the mark"
    assert len(checks_of(slipped)) == one.checks
