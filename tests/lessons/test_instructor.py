"""The instructor's copy: the plan's numbers, every source, minutes, what to show and to watch, and why in this order."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest

from course.course import Course
from course.readings import Reading
from lessons.cautions import CAUTIONS
from lessons.instructor import LessonPage, instructor_copy, lesson_pages, sources, total
from lessons.packet import read_lessons
from lessons.sequence import why_before
from shared.render.tree import words

ROSTER = "id,name,bench,units,hand,large_print,hand_route,time_factor,piece.case\n" \
    "s1,Ada Secret,1,mm,right,yes,groove edges,1.5,sheet-B\ns2,Bo Hidden,2,in,left,no,,1,\n"
STOCK = "id,role,material,thickness 1\nsheet-B,case,birch plywood,18.1 mm\n"


@pytest.fixture
def course(course_of: Callable[..., Course]) -> Course:
    return course_of(roster=ROSTER, stock=STOCK)


def page(course: Course, operation: str) -> LessonPage:
    lessons = read_lessons(course)
    number = next(i for i, s in enumerate(lessons.sheets, 1) if s[0].operation.name == operation)
    return next(p for p in lesson_pages(course, lessons) if p.number == number)


def test_numbers_are_those_of_the_plan_whatever_a_student_has_measured(course: Course) -> None:
    """The plan's groove is 6.0 wide and 10.5 deep, its front lip 5.0; a student's reading changes nothing here."""
    course.log.add([Reading("s1", "back.groove.width", p, 1, "6.4", Fraction(64, 10), "caliper") for p in (1, 2, 3)])
    course.fresh()
    rows = {line.row.name: line for line in page(course, "groove edges").numbers}
    assert rows["fence"].row.values[0].text == "10.5\u00a0mm" and rows["fence"].formula == "groove.depth"
    assert rows["height of the cutter"].routes == "machine" and rows["fence of the plane"].routes == "hand"
    assert rows["width of the groove"].row.values[0].text == "6.0\u00a0mm" and rows["width of the groove"].routes == ""


def test_every_route_has_its_minutes_and_sign_off(course: Course) -> None:
    """Grooving: 10 minutes at the router table with its sign-off, 25 by hand (estimates of the operation's file)."""
    routes = {row.name: row for row in page(course, "groove edges").routes}
    assert (routes["machine"].minutes, routes["machine"].sign_off) == (10, "router table")
    assert (routes["hand"].minutes, routes["hand"].sign_off) == (25, "")
    pages = lesson_pages(course, read_lessons(course))
    assert total(pages) == sum(min(row.minutes for row in one.routes) for one in pages)


def test_steps_that_carry_a_caution_are_to_be_watched(course: Course) -> None:
    """By route and step number, with the caution's id and the step's words."""
    watch = page(course, "groove edges").watch
    assert any(text.startswith("**machine 3** (RTG-01): Groove a test piece") for text in watch)
    assert any(text.startswith("**hand ") and "(PLN-02)" in text for text in watch)


def test_wrong_examples_carry_the_plans_sizes(course: Course) -> None:
    """A part turned over in grooving is off by (18 - 6) / 2 - 5 = 1.0 on each side, a step of 2.0."""
    wrong = page(course, "groove edges").wrong
    assert any("off by 2.0\u00a0mm" in text for text in wrong)
    assert any("Groove" in row.what for row in page(course, "groove edges").off)


def test_the_order_is_explained_for_each_time_an_operation_is_done(course: Course) -> None:
    """In the words of the sequence: why each work stands after the one before it."""
    lessons = read_lessons(course)
    said = [text for one in lesson_pages(course, lessons) for text in one.why]
    works = lessons.works
    assert sorted(said) == sorted(why_before(a, b) for a, b in zip(works, works[1:], strict=False))
    assert any("it needs" in text for text in said)


def test_every_caution_of_a_packet_has_its_source_and_says_how_far_it_was_read(course: Course) -> None:
    """What is from memory or common practice is marked in print; what was read is not."""
    found = {row.id: row for row in sources(read_lessons(course))}
    assert {"GEN-01", "RTG-01", "DAD-08"} <= found.keys()
    assert found["DAD-08"].status == "common practice" and found["GEN-01"].status == ""
    for name, row in found.items():
        assert row.source == CAUTIONS[name].source and (row.status or "read") == CAUTIONS[name].status
    tree = instructor_copy(course, read_lessons(course)).tree
    table = next(n for n in reversed(tree) if n["t"] == "table")
    marked = {words(row[0]).split()[0] for row in table["rows"] if any(node["t"] == "b" for node in row[3])}
    assert marked == {name for name, row in found.items() if row.status}
    assert len(table["rows"]) == len(found)


def test_the_sections_for_the_instructor_are_printed(course: Course) -> None:
    """They stand in no student's packet."""
    text = words(instructor_copy(course, read_lessons(course)).tree)
    assert "widened by height, face side down" in text


def test_no_student_is_named_in_it(course: Course) -> None:
    """It lies open on the bench: no name and nothing of anybody's accommodation."""
    text = words(instructor_copy(course, read_lessons(course)).tree)
    for secret in ("Ada", "Secret", "Bo Hidden", "large print", "accommodation", "time factor"):
        assert secret not in text, secret


def test_stock_of_a_student_does_not_change_the_plan(course: Course) -> None:
    """A sheet of 18.1 is chosen by a student; the dado of the plan is cut for the plan's 18.0 less 0.1."""
    assert course.values(course.student("s1")).number("stock.case.thickness") != 18
    rows = {line.row.name: line for line in page(course, "cut dadoes").numbers}
    assert rows["width of the dado"].row.values[0].text == "17.9\u00a0mm"


def test_a_route_that_the_shop_bars_is_marked_and_not_shown(course_of: Callable[..., Course]) -> None:
    """With the router table forbidden, grooving has its hand route alone to watch and to plan for."""
    text = "title: T\nid: t\nsessions: [one]\nshop: {machines: [router table], forbidden: [router table]}\n"
    groove = page(course_of(course=text, roster=ROSTER, stock=STOCK), "groove edges")
    assert {row.name: row.barred for row in groove.routes} == {"machine": True, "hand": False}
    assert groove.minutes == {"hand": 25} and all(text.startswith("**hand") for text in groove.watch)
