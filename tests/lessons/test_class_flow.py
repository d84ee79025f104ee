"""The session plan of a class: its own stations, routes, absences and what has been measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from course.course import Course
from course.course_folder import read_course
from course.readings import Reading
from lessons.catch_up import catch_up
from lessons.class_flow import ClassFlow, changes, class_flow, flow_problems, last, next_slots, outlook, session_plan
from lessons.flow import INSTRUCTOR, plan
from lessons.packet import read_lessons
from lessons.prepare import prepare_course
from rubrics.fit_rows import fit_rows
from shared.render.html import write_html
from shared.render.tree import words
from shared.units import length

COURSE = """title: Test course
id: test
date: 2026-09-28
sessions: [2026-09-14, 2026-09-21, 2026-09-28, 2026-10-05, 2026-10-12, 2026-10-19, 2026-10-26, 2026-11-02]
shop: {machines: [router table, table saw]}
"""
ROSTER = """id,name,bench,units,time_factor,absent
s1,Ada Test,1,mm,1,
s2,Bo Secret,2,mm,1.5,2
"""
SIGNOFFS = "student,machine,lesson,test,score,demonstration,permission\n" + "".join(
    f"{s},{machine},2026-09-14,2026-09-15,100,2026-09-16,2026-09-17\n"
    for s in ("s1", "s2")
    for machine in ("router table", "table saw")
)


def flow_of(course: Course) -> ClassFlow:
    return class_flow(course, read_lessons(course))


@pytest.fixture
def flow(course_of: Callable[..., Course]) -> ClassFlow:
    return flow_of(course_of(course=COURSE, roster=ROSTER, signoffs=SIGNOFFS))


def task(flow: ClassFlow, student: str, operation: str):
    return next(one for one in flow.tasks[student] if one.name.startswith(operation))


def test_minutes_follow_the_route_and_the_pace_of_the_student(flow: ClassFlow) -> None:
    """Grooving takes 10 at the router table; 15 for one who is planned at half as fast again."""
    assert (task(flow, "s1", "groove edges").station, task(flow, "s1", "groove edges").minutes) == ("router table", 10)
    assert task(flow, "s2", "groove edges").minutes == 15
    assert task(flow, "s1", "cut dadoes").station == "bench"  # no dado set in this shop


def test_what_is_done_once_for_the_class_is_no_students_work(flow: ClassFlow) -> None:
    """Measuring the stock and breaking down the sheets stand before the first session."""
    assert [work.operation.name for work in flow.before_the_course] == ["measure stock", "break down sheets"]
    assert not [one for one in flow.tasks["s1"] if one.name.startswith(("measure stock", "break down"))]


def test_the_case_is_squared_in_the_session_in_which_it_is_glued(flow: ClassFlow) -> None:
    """Right after it; and what follows waits until the glue is dry."""
    mine = {b.task: b for b in flow.plan.bookings if b.student == "s1"}
    steps = ("glue up the case", "square the case while wet", "cut the rabbet for the back")
    glue, square, rabbet = (mine[f"{n} (case)"] for n in steps)
    assert (square.session, square.start) == (glue.session, glue.end)
    assert mine["square the case while wet (case), check"].session == square.session
    assert rabbet.session > square.session


def test_a_check_of_the_instructor_takes_the_instructors_time(flow: ClassFlow) -> None:
    """The diagonals are seen by the instructor, five minutes each, before the next step; grooves go by gauge."""
    check = next(one for one in flow.tasks["s1"] if one.name.startswith("square the case") and one.station == INSTRUCTOR)
    assert check.minutes == 5
    assert check.name in task(flow, "s1", "cut the rabbet for the back").needs
    assert not [one for one in flow.tasks["s1"] if one.name.startswith("groove") and one.station == INSTRUCTOR]


def test_nobody_is_booked_for_a_session_that_is_missed(flow: ClassFlow) -> None:
    """Bo is not there in the second."""
    assert {b.student for b in flow.plan.of(2)} == {"s1"}


def test_what_has_been_measured_is_done_and_the_plan_starts_today(
    course_of: Callable[..., Course],
) -> None:
    """With the dadoes read, all before them is done too; the plan goes on with the session of the day of issue."""
    course = course_of(course=COURSE, roster=ROSTER, signoffs=SIGNOFFS)
    rows = [row for row in fit_rows(course, course.student("s1")) if ".dado." in row.quantity]
    course.log.add(
        Reading("s1", row.quantity, place, 1, "17.9", length("17.9 mm"), row.instrument, "", "", "sheet", "", "", "")
        for row in rows
        for place in range(1, row.places + 1)
    )
    course.fresh()
    flow = flow_of(course)
    assert flow.first == 3
    names = [one.name.partition(" (")[0] for one in flow.tasks["s1"]]
    assert not {"crosscut to length", "make a story rod", "cut dadoes"} & set(names) and "dry fit the case" in names
    assert min(b.session for b in flow.plan.bookings) == 3


def test_an_operation_planned_for_a_session_is_not_done_before_it(course_of: Callable[..., Course]) -> None:
    """It is shown in that session; where the course plans nothing it may be done at once."""
    text = COURSE + "plan: {5: [rough crosscut boards]}\n"
    flow = flow_of(course_of(course=text, roster=ROSTER, signoffs=SIGNOFFS))
    assert task(flow, "s1", "rough crosscut boards").earliest == 5
    assert min(b.session for b in flow.plan.bookings if b.task.startswith("rough crosscut")) == 5


def test_stations_and_session_are_settings(course_of: Callable[..., Course]) -> None:
    """Three routers and a session of 120 minutes: 70 are left for work."""
    text = COURSE.replace("table saw]}", "table saw], stations: {router table: 3}, session: {minutes: 120}}")
    flow = flow_of(course_of(course=text, roster=ROSTER, signoffs=SIGNOFFS))
    assert (flow.shop.at("router table"), flow.shop.at("bench"), flow.shop.usable) == (3, 2, 70)


def test_ready_parts_are_nobodys_work(course_of: Callable[..., Course]) -> None:
    """Named under shop.prepared, by name or title; the last student is never later for it."""
    text = COURSE.replace("table saw]}", "table saw], prepared: [rip to width, Plane the boards to thickness]}")
    flow = flow_of(course_of(course=text, roster=ROSTER, signoffs=SIGNOFFS))
    assert not [one for one in flow.tasks["s1"] if one.name.startswith(("rip to width", "plane to thickness"))]
    assert [one for one in flow.tasks["s1"] if one.name.startswith("flatten")]
    assert max(map(flow.with_ready_parts().plan.finish, ("s1", "s2"))) <= max(map(flow.plan.finish, ("s1", "s2")))


@pytest.mark.parametrize(
    ("shop", "says", "do"),
    [
        ("stations: {router tabel: 2}", "L034: shop.stations names 'router tabel', and no operation of this cabinet is done there", "Did you mean 'router table'?"),
        ("stations: {router table: two}", "L035: shop.stations.router table is 'two'", "Write a whole number above 0."),
        ("session: {minuts: 90}", "L034: shop.session names 'minuts', and a session has no such thing", "Did you mean 'minutes'?"),
        ("session: {minutes: 40}", "L035: opening, demonstrations and cleaning take the whole session", "Give it more minutes, or those less."),
        ("prepared: [rip to with]", "L034: shop.prepared names 'rip to with', and this cabinet has no such operation", "Did you mean 'rip to width'?"),
    ],
)  # fmt: skip
def test_settings_that_say_nothing_are_told(course_of: Callable[..., Course], shop: str, says: str, do: str) -> None:
    """A slip would leave the shop as it usually is."""
    course = course_of(course=COURSE.replace("table saw]}", f"table saw], {shop}}}"), roster=ROSTER, signoffs=SIGNOFFS)
    (problem,) = flow_problems(course, read_lessons(course))
    assert says in str(problem) and do in str(problem)
    assert flow_of(course).plan.bookings


def test_the_page_says_the_tightest_station_and_what_one_change_would_do(demo_folder: Path) -> None:
    """The demo: the saws are tightest; every line says when the last student would be done."""
    flow = flow_of(read_course(demo_folder))
    text = words(session_plan(flow).tree).replace("\u00a0", " ")
    assert "130 minutes of each session are left for work" in text
    assert flow.loads[0].station == "table saw" and "table saw" in text.partition("Tightest: ")[2][:20]
    lines = list(changes(flow))
    assert [line.partition(":")[0] for line in lines] == [
        "one more at the table saw", "one more at the clamps", "parts given ripped and planed",
    ]  # fmt: skip
    better = replace(flow, shop=replace(flow.shop, places={**flow.shop.places, "table saw": 3}))
    assert lines[0].endswith(last(better))


def test_the_page_lists_each_session_with_who_goes_first(flow: ClassFlow) -> None:
    """By id and initials, with the sheet; whoever has more work left goes first; the bench has no queue."""
    html = write_html(session_plan(flow))
    assert "Session 2, 2026-09-21" in html and "Absent: s2 BS" in html and "Bo Secret" not in html
    saw = flow.plan.of(1, "table saw")
    assert saw and f"sheet {flow.sheets[saw[0].task]}: s2 BS" in html
    assert "1 student" in html


def test_the_catch_up_page_says_free_times_and_whether_one_can_still_finish(flow: ClassFlow) -> None:
    """Times after the missed session at the machines of its work; the same numbers as the plan of the class."""
    course = flow.course
    student = course.student("s2")
    slots = next_slots(flow, student, 2)
    assert [line.partition(":")[0] for line in slots] == ["table saw"]
    assert slots[0].startswith("table saw: session 3, 0:32 to 2:10; session 4, ")
    assert not [line for line in slots if line.startswith(("bench", INSTRUCTOR))]
    page = catch_up(course, student, flow.lessons, flow)
    assert page is not None
    text = words(page.tree)
    assert slots[0] in text and outlook(flow, student) in text and "Ada" not in text


def test_slots_are_free_for_the_student_too(flow: ClassFlow) -> None:
    """No offered time begins while the student is at another machine; bench work can be left."""
    booked = [b for b in flow.plan.bookings if b.student == "s2"]
    lines = next_slots(flow, flow.course.student("s2"), 2, most=99)
    assert lines
    for line in lines:
        for slot in line.partition(": ")[2].split("; "):
            session = int(slot.split()[1].rstrip(","))
            start = sum(60**power * int(part) for power, part in zip((1, 0), slot.split()[2].split(":"), strict=True))
            there = [b for b in booked if b.session == session and b.start <= start < b.end]
            assert not [b for b in there if b.station != "bench"]


def test_the_outlook_is_the_plans_own(flow: ClassFlow) -> None:
    """In time with what is to spare, late with what to ask for, or done."""
    student = flow.course.student("s1")
    done, slack = flow.plan.finish("s1"), flow.plan.slack("s1")
    assert done and slack is not None
    sixteen = flow_with(flow, sessions=16)
    assert outlook(sixteen, student) == f"You can still finish in session {done[0]} with {16 * 130 - (done[0] - 1) * 130 - done[1]} min slack."
    late = flow_with(flow, sessions=2)
    assert outlook(late, student).startswith("As planned now you would not finish in time")


def flow_with(flow: ClassFlow, sessions: int) -> ClassFlow:
    """The same class in a course of so many sessions."""
    dates = tuple(f"session {number}" for number in range(1, sessions + 1))
    return ClassFlow(replace(flow.course, sessions=dates), flow.lessons, flow.shop, ())


def test_prepare_writes_the_session_plan(course_folder: Callable[..., Path]) -> None:
    """Among the papers of the class; a course without sessions has none."""
    course = read_course(course_folder(course=COURSE, roster=ROSTER, signoffs=SIGNOFFS))
    names = {path.name for path in prepare_course(course).written}
    assert {"sessions.pdf", "sessions.html"} <= names
    without = read_course(course_folder(course=COURSE.replace("sessions:", "#"), roster=ROSTER.replace(",2\n", ",\n")))
    assert "sessions.pdf" not in {path.name for path in prepare_course(without).written}


def test_a_plan_of_the_demo_is_the_same_every_time(demo_folder: Path) -> None:
    """No clock and no chance in it."""
    flow = flow_of(read_course(demo_folder))
    assert plan(flow.tasks, flow.shop, 8) == plan(flow.tasks, flow.shop, 8)
