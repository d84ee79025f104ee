"""Sheets of the class: equal settings together, nobody named, nothing forgotten."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from course.course import Course
from lessons.class_sheets import benches, class_sheets, lacking, marked, settings, stock
from lessons.packet import read_lessons
from shared.render.tree import words

STOCK = """id,role,material,thickness 1,thickness 2,thickness 3
A,case,birch plywood,17.6,17.6,17.6
B,case,birch plywood,18.1,18.1,18.1
"""
ROSTER = """id,name,bench,units,hand,large_print,piece.case
s1,Ada Fenwick,10,mm,right,no,A
s2,Bo Larkspur,9,mm,left,no,A
s3,Cleo Marsh,2,in,right,yes,B
"""
SIGNOFFS = """student,machine,lesson,test,score,demonstration,permission
s1,router table,2026-09-14,2026-09-15,100,2026-09-16,2026-09-17
s2,router table,2026-09-14,,,,
"""


@pytest.fixture
def course(course_of: Callable[..., Course]) -> Course:
    return course_of(roster=ROSTER, stock=STOCK, signoffs=SIGNOFFS)


def test_students_of_equal_settings_share_a_line(course: Course) -> None:
    """Sheet A at 17.6 gives a dado of 17.5 (less 0.2 for sanding, plus 0.1); sheet B at 18.1 gives 18.0."""
    dadoes = next(o for o in settings(course, read_lessons(course)) if o.title == "Cut the dadoes")
    widths = [(r.value, r.students) for r in dadoes.rows if r.name == "width of the dado"]
    assert widths == [("17.5\u00a0mm", "s1 AF, s2 BL"), ("18.0\u00a0mm", "s3 CM")]
    depths = [(r.value, r.students) for r in dadoes.rows if r.name == "depth of the dado"]
    assert depths == [("6.0\u00a0mm", "all")]


def test_each_setting_has_one_line_for_every_student(course: Course) -> None:
    """The students of one number and part, over all its values, are the whole class, each once."""
    for operation in settings(course, read_lessons(course)):
        counts: dict[tuple[str, str], int] = {}
        for row in operation.rows:
            counts[row.name, row.of] = counts.get((row.name, row.of), 0) + row.count
        assert all(count <= 3 for count in counts.values()), operation.title


def test_who_works_by_which_route_is_said(course: Course) -> None:
    """One has the sign-off for the router table, two plane by hand."""
    groove = next(o for o in settings(course, read_lessons(course)) if o.title == "Groove the inner edges")
    assert any("router table" in way and way.endswith("s1 AF") for way in groove.ways)
    assert any("plough plane" in way and way.endswith("s2 BL, s3 CM") for way in groove.ways)


def test_missing_sign_offs_say_which_step_and_which_operations_wait(course: Course) -> None:
    """By id and initials, with the step that is missing."""
    row = next(r for r in lacking(course, read_lessons(course)) if r.machine == "router table")
    assert row.students == "s2 BL (no test on record); s3 CM (no lesson on record)"
    assert "Groove the inner edges" in row.waiting


def test_benches_are_in_the_order_of_their_numbers(course: Course) -> None:
    """2 before 9 before 10."""
    assert [(r.bench, r.student) for r in benches(course)] == [("2", "s3 CM"), ("9", "s2 BL"), ("10", "s1 AF")]


def test_the_stock_list_names_each_sheet_with_its_measured_thickness(course: Course) -> None:
    """Students are given the sheet that their sizes were worked out from."""
    rows = {(r.student, r.stock): (r.piece, r.thickness) for r in stock(course)}
    assert rows["s1 AF", "case"] == ("A", "17.6\u00a0mm")
    assert rows["s3 CM", "case"] == ("B", "18.1\u00a0mm")


def test_nothing_that_is_pinned_up_names_a_student_or_an_accommodation(course: Course) -> None:
    """Ids and initials only."""
    sheets = class_sheets(course, read_lessons(course))
    assert len(sheets) == 4
    for sheet in sheets:
        text = words(sheet.document.tree)
        assert not any(name in text for name in ("Fenwick", "Larkspur", "Marsh", "large print"))
        assert sheet.document.right == course.id


def test_a_student_is_marked_by_id_and_initials(course: Course) -> None:
    """`s01 AF` tells the instructor who it is and a passer-by nothing."""
    assert [marked(s) for s in course.students] == ["s1 AF", "s2 BL", "s3 CM"]
