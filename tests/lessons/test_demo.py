"""The demo course shows every part of working from the actual: each thing that happens in it is there to be seen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import pytest

from course.changes import changes, edited
from course.course import Course
from course.course_folder import read_course
from course.cutlist import cut_rows
from course.proof import proof
from course.remedies import remedies
from lessons.class_sheets import benches
from lessons.demo import copy_course, filled_workbooks, until_today
from rubrics.class_report import facts
from rubrics.fit_rows import fit_rows
from rubrics.grading import grade
from rubrics.intake import Collected, collect
from rubrics.sheet_columns import SECOND


@dataclass(frozen=True)
class Played:
    """The demo course with all its sheets collected."""

    course: Course
    benches: dict[str, str]
    """What the class sheet said of each student's list before the sheets came in."""
    collected: Collected


@pytest.fixture(scope="module")
def played(tmp_path_factory) -> Iterator[Played]:
    folder = tmp_path_factory.mktemp("demo") / "course"
    course = until_today(read_course(copy_course(folder)))
    lists = {row.student.split()[0]: row.cut_list for row in benches(course)}
    filled_workbooks(course, folder / "out" / "measured")
    yield Played(course, lists, collect(course, [folder / "out" / "measured", folder / "again.csv"]))


def said(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_parts_cut_too_early_are_told_what_they_need(played):
    """Ada cut her door's stiles before the opening was read: they keep 424.2 and are to be trimmed, and nothing else."""
    rows = {row.label: row for row in cut_rows(played.course, played.course.student("ada"))}
    stiles = rows["D-SL, D-SR"]
    assert (stiles.state, stiles.length) == ("cut", "424.2")
    assert said(stiles.consequence) == "length is 424.2 mm, needs 423.4 mm: trim 0.8 mm"


def test_one_printed_list_is_stale(played):
    """Kit was not there when new lists were handed out: the class sheet says so of nobody else."""
    stale = [text for text in played.benches.values() if "hand out a new one" in text]
    assert stale == ["List 1, handed out 2026-10-05; 3 sizes moved since: hand out a new one"]
    assert sorted(set(played.benches.values()) - set(stale)) == ["List 2, handed out 2026-10-05; still holds"]


def test_an_edit_after_the_cut_is_told_and_moves_no_part_that_is_made(played):
    """More room behind the drawer: Bo's sides stay 176 and are to be trimmed, Kit's list is stale; the plan is sound."""
    (edit,) = edited(played.course)
    assert said(edit.says).startswith("since lists went out or parts were cut, drawer.back_room was 5.0 mm, now 7.0 mm")
    assert "s02: R-SL, R-SR length cut at 176.0, 174.0 mm is asked now: trim 2.0 mm" in said(edit.do)
    assert "Printed lists that no longer hold: s11." in edit.do
    assert played.course.values(played.course.student("bo"))["drawer.side.left.length"] == 176
    assert [problem.code for problem in (*played.course.notes, *proof(played.course))] == []


def test_states_ticked_on_a_sheet_are_taken_in(played):
    """Cleo's case is glued, the stiles of her back are jointed."""
    states = {part: state.name for part, state in played.course.log.states("s03").items()}
    assert states == {
        "case.side.left": "glued", "case.side.right": "glued", "case.top": "glued", "case.bottom": "glued",
        "divider.divider.1": "glued", "back.stile.left": "jointed", "back.stile.right": "jointed",
    }  # fmt: skip


def test_a_reading_waits_to_be_confirmed(played):
    """A shelf of 3628 mm is kept, counts for nothing, and waits beside the word that is no length."""
    waiting = {one.student: one for _, one in played.course.log.held()}
    assert {student: one.raw for student, one in waiting.items()} == {"s04": "3628", "s13": "six"}
    assert said(waiting["s04"].held).startswith("off by more than the piece itself")


def test_two_readers_who_disagree_are_both_kept(played):
    """Lena and Kit read one place of one opening 0.8 mm apart."""
    (ask,) = (ask for ask in played.collected.questions if ask.code == "C101")
    assert "Kit read" in ask.says and said(ask.do).startswith("They are 0.8 mm apart: read it again together")
    both = [
        one.value
        for one in played.course.log.readings("s12")
        if (one.quantity, one.place) == ("divider.upper.width", 2) and one.value is not None
    ]
    assert len(both) == 2 and abs(both[0] - both[1]) == Fraction("0.8")


def test_others_read_again_where_two_people_should(played):
    """Five of the class have a second reader: each thing that two should read is read twice, and nothing else is."""
    by_second: dict[str, set[tuple[str, int]]] = {}
    for one in played.course.log.readings():
        if one.reader == SECOND:
            by_second.setdefault(one.student, set()).add((one.quantity, one.place))
    assert set(by_second) == {"s01", "s02", "s06", "s09", "s11"}
    rows = [row for row in fit_rows(played.course, played.course.student("s01")) if row.second]
    assert by_second["s01"] == {(row.quantity, place) for row in rows for place in range(1, row.places + 1)}
    assert "door.rail.top.shoulder" in {row.quantity for row in rows}


def test_the_class_is_told_how_well_readers_agree(played):
    """By instrument, and by the levels that both readings come to.

    Nearly all results of the class are on the mark, so that no agreement beyond chance is claimed.
    """
    told = facts(grade(played.course)).readers
    assert {tool.instrument for tool in told.tools} >= {"rule", "rods"}
    assert told.levels and 0.9 * told.levels.count < told.levels.same < told.levels.count and told.levels.kappa is None


def test_stiles_from_the_shed_are_read_with_their_moisture(played):
    """11 % where the shop stands at 8."""
    assert played.course.log.moistures("s05") == {("door.stile.left", 1): 11, ("door.stile.right", 1): 11}


def test_mistakes_have_remedies(played):
    """Rails without their tenons, and a drawer planed too narrow."""
    names = {who: {one.name for one in remedies(played.course, played.course.student(who))} for who in ("s10", "s12")}
    assert "short rails" in names["s10"] and "narrow drawer" in names["s12"]
    assert changes(played.course, played.course.student("bo")).effects != ()
