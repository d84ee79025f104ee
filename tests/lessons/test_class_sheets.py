"""Sheets of the class: equal settings together, nobody named, nothing forgotten."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from importlib.resources import files
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from course.course import Course, part_sizes
from course.readings import Reading
from lessons.class_sheets import (
    OperationSettings,
    benches,
    class_sheets,
    lacking,
    machines,
    marked,
    stock,
    together_within,
    ways,
)
from lessons.packet import read_lessons
from shared.problems import InputRefused
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
DONE = "2026-09-14,2026-09-15,100,2026-09-16,2026-09-17"
SIGNOFFS = f"""student,machine,lesson,test,score,demonstration,permission
s1,router table,{DONE}
s2,router table,2026-09-14,,,,
"""
COURSE = """title: Test course
id: test
date: 2026-10-05
invented: yes
shop: {machines: [table saw, router table, dado set]%s}
"""


@pytest.fixture
def course(course_of: Callable[..., Course]) -> Course:
    return course_of(roster=ROSTER, stock=STOCK, signoffs=SIGNOFFS)


def class_of(course_of: Callable[..., Course], on_a: int, on_b: int, more: str = "") -> Course:
    """A class with all its sign-offs, so many students on sheet A (17.6 thick) and on sheet B (18.1)."""
    ids = [f"s{i}" for i in range(1, on_a + on_b + 1)]
    roster = "id,name,bench,piece.case\n" + "".join(
        f"{one},Ada Test,1,{'A' if i < on_a else 'B'}\n" for i, one in enumerate(ids)
    )
    signed = "student,machine,lesson,test,score,demonstration,permission\n" + "".join(
        f"{one},{machine},{DONE}\n" for one in ids for machine in ("table saw", "router table", "dado set")
    )
    return course_of(course=COURSE % more, roster=roster, stock=STOCK, signoffs=signed)


def operation_of(course: Course, title: str) -> OperationSettings:
    pages = machines(course, read_lessons(course))
    return next(o for page in pages for o in page.operations if o.title == title)


def test_one_stop_serves_all_parts_of_one_length(course_of: Callable[..., Course]) -> None:
    """Story 12 (common practice): 376.8 serves 27 parts, 3 each for the 9 students on sheet A; 375.8 the other 21."""
    crosscut = operation_of(class_of(course_of, 9, 7), "Cut the case parts to length")
    stops = {row.value: row for row in crosscut.rows}
    stop = stops["376.8\u00a0mm"]
    assert stop.count == 27 and stop.block == "376.8\u00a0mm"
    (run,) = stop.runs
    assert len(run.parts.split(", ")) == 3 and len(run.students) == 9
    assert {value: row.count for value, row in stops.items()} == {
        "376.8\u00a0mm": 27, "375.8\u00a0mm": 21, "600.0\u00a0mm": 32,
    }  # fmt: skip
    assert crosscut.separate == 80


def test_all_stops_of_the_class_cabinet_are_eleven(course_of: Callable[..., Course]) -> None:
    """Story 12 (common practice): the stops fall to 11 for everything that is not a panel, the drawer with it.

    Worked by hand: 600 sides; 376 top, bottom, divider; 581, 311, 511 back; 423, 281 door; 362 shelf; 176, 351 drawer,
    350 its bottom. The shelf and the bottom are set once each.
    """
    plan = files("course").joinpath("demo", "plan.yaml").read_text("utf-8")
    signed = "student,machine,lesson,test,score,demonstration,permission\n" + "".join(
        f"s1,{machine},{DONE}\n" for machine in ("table saw", "router table", "dado set")
    )
    course = course_of(course=COURSE % "", plan=plan, roster="id,name\ns1,Ada Test\n", signoffs=signed)
    wanted = ("stop", "length of the shelf", "length of the bottom")
    rows = [r for p in machines(course, read_lessons(course)) for o in p.operations for r in o.rows if r.name in wanted]
    values = sorted(float(row.value.split("\u00a0")[0]) for row in rows)
    assert values == [176, 281, 311, 350, 351, 362, 376, 423, 511, 581, 600]
    assert sum(row.count for row in rows) == 20


def test_students_of_equal_settings_share_a_line(course_of: Callable[..., Course]) -> None:
    """Sheet A at 17.6 gives a dado of 17.5 (less 0.2 for sanding, plus 0.1); sheet B at 18.1 gives 18.0."""
    rows = operation_of(class_of(course_of, 2, 1), "Cut the dadoes").rows
    widths = [(r.value, r.students) for r in rows if r.name == "width of the dado"]
    assert widths == [("17.5\u00a0mm", ("s1 AT", "s2 AT")), ("18.0\u00a0mm", ("s3 AT",))]
    assert [(r.value, len(r.students)) for r in rows if r.name == "depth of the dado"] == [("6.0\u00a0mm", 3)]


def test_back_and_door_share_a_setting_when_it_is_the_same(course_of: Callable[..., Course]) -> None:
    """Both frames have tenons of 5.9 by plan: one set-up, each frame of each student to tick."""
    rows = operation_of(class_of(course_of, 2, 1), "Make a test tenon").rows
    (tenon,) = [r for r in rows if r.name == "thickness of the tenon"]
    assert (tenon.value, tenon.count, [run.parts for run in tenon.runs]) == ("5.9\u00a0mm", 6, ["back, door"])


def test_settings_within_the_stated_step_share_a_line_set_to_the_middle(course_of: Callable[..., Course]) -> None:
    """Within 0.5 mm the dadoes of 17.5 and 18.0 are one set-up of 17.75; within 0.4 they are two."""
    wide = operation_of(class_of(course_of, 2, 1, ", setup_step: 0.5 mm"), "Cut the dadoes").rows
    assert [(r.value, r.count) for r in wide if r.name == "width of the dado"] == [("17.75\u00a0mm", 3)]
    near = operation_of(class_of(course_of, 2, 1, ", setup_step: 0.4 mm"), "Cut the dadoes").rows
    assert len([r for r in near if r.name == "width of the dado"]) == 2


@pytest.mark.parametrize(
    ("step", "says"),
    [
        ("half", "L032: shop.setup_step: 'half' is not a length"),
        ("-1 mm", "L032: shop.setup_step is '-1 mm'\n    Write it as 0.05 mm, or 0 mm."),
    ],
)
def test_a_step_that_is_no_length_is_refused(course_of: Callable[..., Course], step: str, says: str) -> None:
    """With its place in course.yaml."""
    course = class_of(course_of, 1, 1, f", setup_step: {step}")
    with pytest.raises(InputRefused) as caught:
        machines(course, read_lessons(course))
    assert str(caught.value).startswith("course.yaml:5:")
    assert says in str(caught.value)


@given(st.lists(st.integers(0, 300), min_size=1, max_size=30), st.integers(0, 40))
def test_no_group_spans_more_than_the_step_and_nobody_is_lost(values: list[int], step: int) -> None:
    """For any settings: every one in exactly one group, all within the step, groups in rising order."""
    asked = [SimpleNamespace(value=Fraction(value)) for value in values]
    groups = [[one.value for one in group] for group in together_within(asked, Fraction(step))]
    assert [value for group in groups for value in group] == sorted(values)
    assert all(group[-1] - group[0] <= step for group in groups)
    assert all(after[0] - before[0] > step for before, after in zip(groups, groups[1:], strict=False))


def test_machines_come_in_the_order_of_the_work_and_hand_work_is_left_out(course_of: Callable[..., Course]) -> None:
    """The saw before the router table; whoever planes by hand is on no machine's page."""
    course = class_of(course_of, 2, 1)
    assert [page.station for page in machines(course, read_lessons(course))] == ["table saw", "router table"]


def test_only_who_may_use_the_machine_is_on_its_page(course: Course) -> None:
    """One has the sign-off for the router table; who has none for the saw has the hand route there."""
    groove = operation_of(course, "Groove the inner edges")
    assert {student for row in groove.rows for student in row.students} == {"s1 AF"}
    assert not any(page.station == "table saw" for page in machines(course, read_lessons(course)))


def test_a_forbidden_machine_has_no_page_and_no_missing_sign_offs(course_of: Callable[..., Course]) -> None:
    """Nobody is to be tested on what nobody may use."""
    course = class_of(course_of, 1, 1, ", forbidden: [table saw, dado set]")
    lessons = read_lessons(course)
    assert [page.station for page in machines(course, lessons)] == ["router table"]
    assert not any(row.machine in ("table saw", "dado set") for row in lacking(course, lessons))


def test_who_works_by_which_route_is_said(course: Course) -> None:
    """One has the sign-off for the router table, two plane by hand; what all do alike is not listed."""
    rows = {row.title: row.ways for row in ways(course, read_lessons(course))}
    assert rows["Groove the inner edges"] == (
        "router table, slot cutter on the router table: s1 AF", "bench, plough plane: s2 BL, s3 CM",
    )  # fmt: skip
    assert "Hang the door and fit its pull and catch" not in rows


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
        assert not any(name in text for name in ("Fenwick", "Larkspur", "Marsh", "large print", "foot forward"))
        assert sheet.document.right == course.id


def test_a_student_is_marked_by_id_and_initials(course: Course) -> None:
    """`s01 AF` tells the instructor who it is and a passer-by nothing."""
    assert [marked(s) for s in course.students] == ["s1 AF", "s2 BL", "s3 CM"]


def test_the_bench_sheet_says_whose_list_is_stale(course_of):
    """A list that still holds, one that sizes moved from since, and a student without one."""
    course = course_of(roster="id,name,bench\ns1,Ada Test,1\ns2,Bo Test,2\ns3,Cy Test,3\n")
    for student in course.students[:2]:
        course.log.issue(student.id, course.date, part_sizes(course, student))
    course.log.add([Reading("s2", "divider.upper.width", 1, 1, "365", Fraction(365))])
    course.fresh()
    assert [row.cut_list for row in benches(course)] == [
        "List 1, handed out 2026-10-05; still holds",
        "List 1, handed out 2026-10-05; 4 sizes moved since: hand out a new one",
        "none yet",
    ]
