"""A pair of doors is measured, judged and charged gap by gap: each once, and no mistake twice."""

from __future__ import annotations

import io
from collections.abc import Callable
from fractions import Fraction

import pytest
from openpyxl import load_workbook

from course.course import Course
from course.readings import Reading
from rubrics.check_files import read_checks
from rubrics.checks import Check, checks_of
from rubrics.feedback import pages
from rubrics.fit_rows import fit_rows, where_to_measure
from rubrics.grading import grade
from rubrics.marks import Mark
from rubrics.proof import proof
from rubrics.sheet import measurement_workbook
from rubrics.sheet_columns import WHERE

SIDES = ("left", "right")
PAIR_RAILS = {"door.left.rail.top.shoulder": "79.5", "door.left.rail.bottom.shoulder": "79.5"}
"""Of the class cabinet's pair: doors of 179.5 with stiles of 50."""
RIGHT = {
    "door.left.reveal.left": "1.5", "door.left.meeting": "2.0", "door.left.reveal.top": "1.5",
    "door.left.reveal.bottom": "1.5", "door.right.reveal.right": "1.5", "door.right.reveal.top": "1.5",
    "door.right.reveal.bottom": "1.5",
}  # fmt: skip
"""Every gap of the pair as it should be."""


@pytest.fixture
def pair_plan(class_plan: str) -> str:
    return class_plan.replace("    use: door", "    use: door\n    leaves: [left, right]")


@pytest.fixture
def pair(course_of: Callable[..., Course], pair_plan: str) -> Course:
    return course_of(plan=pair_plan)


def doors(course: Course) -> list[Check]:
    return [check for check in checks_of(course) if check.check == "door_reveal"]


def take(course: Course, sizes: dict[str, str], student: str = "s1") -> None:
    course.log.add(
        Reading(student, name, place, 1, text, Fraction(text)) for name, text in sizes.items() for place in (1, 2, 3)
    )
    course.fresh()


def marks(course: Course) -> dict[str, Mark]:
    return {mark.check.id: mark for mark in grade(course).students[0].marks}


def test_every_gap_of_a_pair_is_asked_for_once(pair):
    """Seven gaps at three places each with a feeler, before the instructor, which release the hung doors."""
    gaps = [check for check in doors(pair) if check.formula is None]
    assert [check.id for check in gaps] == [
        "door.left.reveal.left", "door.left.meeting", "door.left.reveal.top", "door.left.reveal.bottom",
        "door.right.reveal.right", "door.right.reveal.top", "door.right.reveal.bottom",
    ]  # fmt: skip
    assert {(c.reads[0][1], c.instrument, c.who, c.releases) for c in gaps} == {(3, "feeler", "instructor", "hung_door")}
    rows = [row.quantity for row in fit_rows(pair, pair.students[0]) if row.instrument == "feeler"]
    assert [name for name in rows if name.startswith("door.") and "wind" not in name] == [check.id for check in gaps]


def test_the_gap_between_the_leaves_has_a_fit_of_its_own(pair):
    """2.0 with 0.3 either way, by the class `gap between leaves`; the reveals beside it keep theirs."""
    (gap,) = (check for check in doors(pair) if check.id == "door.left.meeting")
    assert (gap.title, gap.fit, gap.lower, gap.upper) == (
        "door left: gap between the leaves", "gap between leaves", Fraction("-0.3"), Fraction("0.3"),
    )  # fmt: skip
    take(pair, {"door.left.meeting": "2.4"})
    mark = marks(pair)["door.left.meeting"]
    assert (mark.target, mark.lower, mark.upper) == (2, Fraction("1.7"), Fraction("2.3"))
    assert (mark.deviation, mark.beyond) == (Fraction("0.4"), Fraction("0.1"))


def test_a_course_sets_another_limit_for_the_gap_between_the_leaves(course_of, pair_plan):
    """Its id stands in `bands:` like any other."""
    bands = 'title: T\nid: t\nbands: {"*.meeting": {lower: -0.5 mm, upper: 0.5 mm}}\n'
    (gap,) = (check for check in doors(course_of(plan=pair_plan, course=bands)) if check.id == "door.left.meeting")
    assert (gap.lower, gap.upper) == (Fraction("-0.5"), Fraction("0.5"))


def test_in_inches_the_gap_between_the_leaves_is_shown_as_a_feeler_reads(pair):
    """Who reads inches has 0.079, and 1.7 to 2.3 mm as 0.067 to 0.09, no wider."""
    (row,) = (row for row in fit_rows(pair, pair.student("s2")) if row.quantity == "door.left.meeting")
    assert (row.target, row.lower, row.upper) == ("0.079", "0.067", "0.09")


@pytest.mark.parametrize("leaf", SIDES)
def test_the_reveals_of_a_leaf_are_compared_with_each_other_alone(pair, leaf):
    """Its hinge side, top and bottom; the gap between the leaves has another width and no part in it."""
    (alike,) = (check for check in doors(pair) if check.id == f"door.{leaf}.door_reveal.reveals")
    assert [name for name, _, _ in alike.reads] == [f"door.{leaf}.reveal.{side}" for side in (leaf, "top", "bottom")]


def test_a_single_door_is_asked_what_it_was_asked(course_of):
    """Four reveals, their difference and the step; the first and the last need no word of leaves."""
    checks = doors(course_of())
    assert [check.id for check in checks] == [
        *(f"door.reveal.{side}" for side in ("left", "right", "top", "bottom")), "door.door_reveal.reveals",
        "door.door_reveal.face_of_the_door",
    ]  # fmt: skip
    assert not any("leaves" in check.title for check in checks)


# -- charged once -------------------------------------------------------------------------------------------


def test_a_pair_that_hangs_right_loses_nothing(pair):
    """All gaps at their targets."""
    take(pair, RIGHT)
    assert {mark.points == mark.check.points for mark in marks(pair).values()} == {True}


@pytest.mark.parametrize("side", SIDES)
def test_a_hinge_that_is_let_in_too_deep_is_charged_at_its_side(pair, side):
    """0.9 at the hinges and so 2.6 between: one mistake, on either door; the gap between the leaves loses nothing."""
    hinge = f"door.{side}.reveal.{side}"
    take(pair, RIGHT | {hinge: "0.9", "door.left.meeting": "2.6"})
    found = marks(pair)
    assert found[hinge].points < found[hinge].check.points
    gap = found["door.left.meeting"]
    assert (gap.elsewhere, gap.points) == (Fraction("0.6"), gap.check.points)
    assert gap.charged_at == (f"door {side}: reveal on the hinge side",)


def test_a_door_that_is_narrow_from_its_rails_is_not_charged_where_they_meet(pair):
    """Rails of 78.7 for 79.5: the 0.8 lies between the leaves, or at the hinges, or in both, and was charged at the rails."""
    rails = {name: "78.7" for name in PAIR_RAILS}
    for hinge, between in (("1.5", "2.8"), ("2.3", "2.0"), ("1.9", "2.4")):
        take(pair, RIGHT | rails | {"door.left.reveal.left": hinge, "door.left.meeting": between})
        found = marks(pair)
        assert found["door.left.rail.top.shoulder"].points == 4 * Fraction(2, 3)
        for name, off in (("door.left.reveal.left", hinge), ("door.left.meeting", between)):
            assert found[name].points == found[name].check.points
            assert found[name].elsewhere == Fraction(off) - (2 if name.endswith("meeting") else Fraction("1.5"))


def test_a_gap_that_nothing_before_explains_is_the_fitters_own(pair):
    """Rails, hinge sides and width right: 2.8 was planed away where they meet, and costs there."""
    take(pair, RIGHT | PAIR_RAILS | {"door.left.meeting": "2.8"})
    gap = marks(pair)["door.left.meeting"]
    assert (gap.elsewhere, gap.beyond) == (0, Fraction("0.5")) and gap.points < gap.check.points


def test_what_the_rails_explain_is_taken_out_once(pair):
    """Rails 0.8 short and 0.8 too much at the hinges already: another 0.8 between the leaves is the fitter's own."""
    rails = {name: "78.7" for name in PAIR_RAILS}
    take(pair, RIGHT | rails | {"door.left.reveal.left": "2.3", "door.left.meeting": "2.8"})
    found = marks(pair)
    assert found["door.left.reveal.left"].elsewhere == Fraction("0.8")
    assert (found["door.left.meeting"].elsewhere, found["door.left.meeting"].beyond) == (0, Fraction("0.5"))


SIX = "id,name\n" + "".join(f"s{number},Student {number}\n" for number in range(1, 7))


def test_a_template_that_was_wrong_for_all_is_named_at_the_hinges(course_of, pair_plan):
    """Six pairs with 0.9 at the left hinges and 2.6 between: both are set-ups, and nobody loses a point."""
    course = course_of(plan=pair_plan, roster=SIX)
    for number in range(1, 7):
        take(course, RIGHT | {"door.left.reveal.left": "0.9", "door.left.meeting": "2.6"}, f"s{number}")
    grades = grade(course)
    assert {s.check.id: s.shift for s in grades.setups} == {
        "door.left.reveal.left": Fraction("-0.6"), "door.left.meeting": Fraction("0.6"),
    }  # fmt: skip
    kept = [m for m in grades.marks if m.check.formula is None]
    assert all(mark.points == mark.check.points for mark in kept)


# -- what a person sees ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gap", "says"),
    [
        ("2.9", "Read the hinge sides first. A card under the hinge leaves brings a door nearer to the other; else see the "
                "remedies."),
        ("1.0", "With the hinge sides right, plane both meeting edges alike, with a slight bevel; else let the hinge leaves "
                "in deeper."),
    ],
)  # fmt: skip
def test_the_feedback_says_what_to_do_about_the_gap(pair, gap, says):
    """Over and under, with what is still safe first, and the ways out with this student's sizes."""
    take(pair, RIGHT | {"door.left.meeting": gap})
    page = pages(grade(pair))[0]
    (result,) = page.improve
    assert (result.title, result.cause) == ("door left: gap between the leaves", says)
    assert [remedy.where for remedy in page.remedies] == ["door left"]


def test_the_workbook_shows_where_the_leaves_meet(pair):
    """A sketch of its own with three numbered places, and the same in words."""
    own = [row for row in fit_rows(pair, pair.students[0]) if row.quantity == "door.left.meeting"]
    drawing = where_to_measure(pair, own)
    assert drawing.alt == "gap between the leaves: where the two leaves meet, from top to bottom."
    sheet = load_workbook(io.BytesIO(measurement_workbook(pair, pair.students[0])))[WHERE]
    words = " ".join(str(cell.value) for (cell,) in sheet.iter_rows(max_col=1) if cell.value)
    assert "gap between the leaves: where the two leaves meet, from top to bottom" in words


def test_a_pair_is_proof_read_before_the_lesson(course_of, pair_plan):
    """A feeler in steps of 0.05 mm cannot hold the gap to 0.02 mm; the limits that come with the program it can."""
    shop = 'title: T\nid: t\nshop: {machines: [table saw]}\n'
    assert not [p for p in proof(course_of(plan=pair_plan, course=shop)) if "leaves" in p.says]
    close = shop + 'bands: {"*.meeting": {lower: -0.02 mm, upper: 0.02 mm}}\n'
    told = [p for p in proof(course_of(plan=pair_plan, course=close)) if "gap between the leaves" in p.says]
    assert [p.code for p in told] == ["V020"]


def test_a_check_of_parts_is_for_each_reading(course_folder, pair_plan):
    """`parts_give:` without `each: true` has nothing to be compared with, and is told with its place."""
    folder = course_folder(plan=pair_plan)
    (folder / "checks").mkdir()
    text = (
        "check: own\nstage: frame\nfor: [frame and panel]\nitems:\n"
        "  - {title: t, reads: [groove.width], parts_give: groove.width, lower: -1 mm, upper: 1 mm}\n"
    )
    (folder / "checks" / "own.yaml").write_text(text, "utf-8")

    (problem,) = read_checks(folder).problems
    assert str(problem) == (
        "checks/own.yaml:5:5: B050: 't' has a `parts_give:` and is not judged for each reading\n"
        "    Write `each: true`, or leave `parts_give:` out."
    )
