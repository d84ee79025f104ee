"""A student who missed a session gets one page of what to watch, to do and to set, and nothing of anybody else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest

from course.course import Course
from course.course_folder import read_course
from course.readings import Reading
from lessons.catch_up import catch_up, missed_sessions
from lessons.class_flow import class_flow
from lessons.packet import read_lessons
from lessons.prepare import prepare_course
from lessons.sessions import session_number, session_problems, sheets_of
from rubrics.fit_rows import fit_rows
from shared.problems import InputRefused
from shared.render.document import Document
from shared.render.pdf import write_pdf
from shared.render.tree import words
from shared.units import length

COURSE = """title: Test course
id: test
date: 2026-10-05
sessions: [2026-09-14, 2026-09-21, 2026-09-28]
shop: {machines: [router table, table saw]}
"""
PLAN = COURSE + "plan: {2: [groove edges, Cut the dadoes], 3: [measure the real case]}\n"
ROSTER = """id,name,bench,units,time_factor,absent,piece.case
s1,Ada Test,1,mm,1,2,sheet-A
s2,Bo Secret,2,mm,1,,sheet-B
s3,Cleo Hidden,3,mm,1.5,2026-09-21,sheet-B
"""
STOCK = "id,role,material,thickness 1\nsheet-A,case,birch plywood,17.6 mm\nsheet-B,case,birch plywood,18.1 mm\n"
SIGNOFFS = "student,machine,lesson,test,score,demonstration,permission\n" + "".join(
    f"{s},router table,2026-09-14,2026-09-15,100,2026-09-16,2026-09-17\n" for s in ("s1", "s2", "s3")
)


@pytest.fixture
def course(course_of: Callable[..., Course]) -> Course:
    return course_of(course=PLAN, roster=ROSTER, stock=STOCK, signoffs=SIGNOFFS)


def page_of(course: Course, student: str) -> Document | None:
    lessons = read_lessons(course)
    return catch_up(course, course.student(student), lessons, class_flow(course, lessons))


def missed(course: Course, student: str = "s1"):
    return missed_sessions(course, course.student(student), read_lessons(course))


def test_a_page_holds_the_operations_planned_for_the_missed_session(course: Course) -> None:
    """By name or title, in the order of the plan; other sessions are not on it."""
    (session,) = missed(course)
    assert (session.number, session.date) == (2, "2026-09-21")
    assert [row.title for row in session.work] == ["Groove the inner edges", "Cut the dadoes"]


def test_an_absence_may_be_a_number_or_a_date(course: Course) -> None:
    """Sessions are counted from 1, as they are listed."""
    assert session_number(course, "2") == session_number(course, "2026-09-21") == 2
    assert session_number(course, "9") is session_number(course, "2026-09-22") is None
    assert missed(course, "s3")[0].number == 2


def test_who_missed_nothing_gets_no_page(course: Course) -> None:
    """Neither a document nor a file."""
    assert page_of(course, "s2") is None
    written = prepare_course(course, "s2").written
    assert not [path for path in written if "catch-up" in path.parts]


def test_machines_are_demonstrated_first(course: Course) -> None:
    """Grooving at the router table is to be watched; dadoes are cut by hand without a sign-off for the machine."""
    (session,) = missed(course)
    assert [(d.title, d.sign_off) for d in session.demonstrations] == [("Groove the inner edges", "router table")]
    assert "bench" in session.work[1].way


def test_what_releases_the_work_is_said(course: Course) -> None:
    """The groove check releases what follows the grooves, the dado check what follows the dadoes."""
    groove, dado = missed(course)[0].work
    assert groove.releases == "groove" and dado.releases == "dado"


def test_numbers_of_the_class_stand_beside_ones_own(course_of: Callable[..., Course]) -> None:
    """Two of three are on a sheet of 18.1, so most set 18.1 - 0.1 = 18.0; own dado on 17.6 is 17.5."""
    text = PLAN.replace("[router table, table saw]", "[router table, dado set]")
    signed = SIGNOFFS + SIGNOFFS.partition("\n")[2].replace("router table", "dado set")
    (session,) = missed(course_of(course=text, roster=ROSTER, stock=STOCK, signoffs=signed))
    rows = {row.name: row for row in session.numbers}
    assert (rows["width of the dado"].most, rows["width of the dado"].own) == ("18.0\u00a0mm", "17.5\u00a0mm")


def test_numbers_of_hand_work_stand_on_the_sheets_alone(course: Course) -> None:
    """Grooves are cut at the router table and have theirs here, dadoes by hand have not."""
    groove, dado = missed(course)[0].work
    assert {row.sheet for row in missed(course)[0].numbers} == {groove.sheet}


def test_minutes_are_those_of_the_own_route_and_pace(course: Course) -> None:
    """Ada: 10 at the router table and 40 by hand are 50; one planned at half as fast again has 15 and 60."""
    assert [row.minutes for row in missed(course, "s1")[0].work] == ["10", "40"]
    assert missed(course, "s1")[0].minutes == 50
    assert [row.minutes for row in missed(course, "s3")[0].work] == ["15", "60"]


def test_what_is_measured_already_is_not_counted_again(course: Course) -> None:
    """When every groove has been read, only the dadoes are left."""
    rows = [row for row in fit_rows(course, course.student("s1")) if ".groove." in row.quantity]
    course.log.add(
        Reading("s1", row.quantity, place, 1, row.target, length(row.target, "mm"), row.instrument)
        for row in rows
        for place in range(1, row.places + 1)
    )
    course.fresh()
    (session,) = missed(course)
    assert [row.done for row in session.work] == [True, False] and session.minutes == 40


def test_stock_that_the_instructor_measured_is_not_work_that_is_done(course_of: Callable[..., Course]) -> None:
    """The thickness of the boards stands in stock.csv, and they are still to be planed and measured."""
    text = COURSE + "plan: {2: [plane to thickness]}\n"
    stock = STOCK + "frame-1,frame,cherry,18.0 mm\n"
    roster = "id,name,absent,piece.frame\ns1,Ada Test,2,frame-1\n"
    ((row,),) = (one.work for one in missed(course_of(course=text, roster=roster, stock=stock)))
    assert row.title == "Plane the boards to thickness" and not row.done


def test_equal_numbers_stand_on_one_line(course_of: Callable[..., Course]) -> None:
    """Back and door have one groove depth; the rough lengths differ and say for which parts they are."""
    text = COURSE.replace("[router", "[miter saw, router") + "plan: {2: [groove edges, Cut the boards to rough length]}\n"
    first = SIGNOFFS.splitlines()[:2]
    signed = "\n".join((*first, first[1].replace("router table", "miter saw")))
    course = course_of(course=text, roster="id,name,absent\ns1,Ada Test,2\n", signoffs=signed)
    (session,) = missed(course)
    depth = [row for row in session.numbers if row.own == "10.5\u00a0mm"]
    assert [(row.name, row.of) for row in depth] == [("fence", "")]
    lengths = {row.own: row.of for row in session.numbers if row.sheet == session.work[1].sheet}
    assert len(lengths) > 1 and all(lengths.values())


def test_nothing_of_another_student_stands_on_the_page(course: Course) -> None:
    """No name, no id, no accommodation, not even how many set the same."""
    page = page_of(course, "s1")
    text = f"{page.left} {words(page.tree)}"
    for secret in ("Bo", "Secret", "Hidden", "s2", "s3", "sheet-B", "absent", "time factor"):
        assert secret not in text, secret
    assert "Ada Test" in text


def test_without_a_plan_the_sheets_are_spread_evenly(course_of: Callable[..., Course]) -> None:
    """Every sheet in one session, in order, and no session with two more than another."""
    course = course_of(course=COURSE, roster=ROSTER.replace(",piece.case", "").replace(",sheet-A", "").replace(",sheet-B", ""))
    lessons = read_lessons(course)
    spread = [sheets_of(course, lessons, session) for session in (1, 2, 3)]
    assert [number for sheets in spread for number in sheets] == list(range(1, len(lessons.sheets) + 1))
    assert max(map(len, spread)) - min(map(len, spread)) <= 1


@pytest.mark.parametrize("session", range(1, 9))
def test_a_missed_session_of_the_demo_is_one_page(demo_folder: Path, session: int) -> None:
    """s07 missed session 4; whichever it had been, the page is one sheet of paper."""
    roster = demo_folder / "roster.csv"
    text = roster.read_text("utf-8")
    assert "Greta Holm,4,mm,right,no,,1,4," in text
    roster.write_text(text.replace("Greta Holm,4,mm,right,no,,1,4,", f"Greta Holm,4,mm,right,no,,1,{session},"), "utf-8")
    course = read_course(demo_folder)
    page = page_of(course, "s07")
    assert f"Session {session}," in words(page.tree)
    assert len(pypdfium2.PdfDocument(write_pdf(page))) == 1


def test_a_plan_with_an_operation_or_a_session_there_is_not_is_told(course_of: Callable[..., Course]) -> None:
    """An operation is told with its line, the rest is made; so is an absence from a session there is not."""
    text = PLAN.replace("groove edges", "groove edgs")
    course = course_of(course=text, roster=ROSTER.replace("1,2,sheet-A", "1,7,sheet-A"), stock=STOCK)
    assert [str(problem) for problem in session_problems(course, read_lessons(course))] == [
        "course.yaml:6:12: L050: plan names 'groove edgs', and this cabinet has no such operation\n"
        "    Did you mean 'groove edges'?",
        "roster.csv:2: L051: s1 is absent from session '7', and there are 3 sessions\n"
        "    Write the number or the date of a session, as listed in course.yaml.",
    ]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("plan: {4: [groove edges]}", "plan names session '4', and there are 3 sessions"),
        ("plan: {2: groove edges}", "session 2 has no list"),
        ("plan: [groove edges]", "plan does not say what is done in which session"),
    ],
)
def test_a_plan_of_another_form_is_refused(course_folder: Callable[..., Path], line: str, says: str) -> None:
    """With its words, and what to write instead."""
    with pytest.raises(InputRefused) as refused:
        read_course(course_folder(course=f"{COURSE}{line}\n"))
    assert f"P024: {says}\n" in str(refused.value)


def test_a_missed_fourth_session_is_two_demonstrations_three_operations_and_one_page(
    course_of: Callable[..., Course],
) -> None:
    """Story 10: the class's numbers, the next free times of twenty minutes or more, and whether one can still finish."""
    days = ", ".join(f"2026-09-{day:02}" for day in range(14, 22))
    text = COURSE.replace("2026-09-14, 2026-09-21, 2026-09-28", days).replace("table saw]", "table saw, dado set]")
    text += "plan: {4: [Groove the inner edges, Cut the dadoes, measure the real case]}\n"
    signed = SIGNOFFS + SIGNOFFS.partition("\n")[2].replace("router table", "dado set")
    made = course_of(course=text, roster=ROSTER.replace("s1,Ada Test,1,mm,1,2", "s1,Ada Test,1,mm,1,4"), stock=STOCK, signoffs=signed)
    (session,) = missed(made)
    assert (len(session.demonstrations), len(session.work)) == (2, 3) and session.numbers
    page = page_of(made, "s1")
    assert page is not None and len(pypdfium2.PdfDocument(write_pdf(page))) == 1
    said = words(page.tree)
    assert "router table: session 5, " in said
    assert "You can still finish in session" in said or "you would not finish in time" in said
