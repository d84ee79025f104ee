"""A pair of doors: two leaves in one opening, each gap read once; in mm on the class cabinet and in inches."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pytest

from course.course import Course
from course.course_folder import read_course
from course.kinds import read_library
from course.quantities import Given, Origin, Values
from course.readings import Reading
from course.remedies import Remedy, remedies
from shared.units import INCH

CASE = 364
"""Clear width of the opening: 400 less two sides of 18. [mm]"""


@pytest.fixture
def pair_plan(class_plan: str) -> str:
    """The class cabinet with two doors in the place of its one."""
    return class_plan.replace("    use: door", "    use: door\n    leaves: [left, right]")


@pytest.fixture
def pair(course_of: Callable[..., Course], pair_plan: str) -> Course:
    return course_of(plan=pair_plan)


def read(course: Course, **sizes: str) -> Values:
    """The plan's values after these readings; a double line stands for a dot."""
    found = {n.replace("__", "."): Given(Fraction(s), Origin.READING) for n, s in sizes.items()}
    return course.plan_values.with_given({}, found)


def test_each_gap_of_a_pair_is_there_once(pair):
    """The hinge side of each, the gap between them as a size of the left one, and each one's top and bottom."""
    names = [q.name for q in pair.cabinet.graph.quantities if q.read and q.read.instrument == "feeler"]
    assert [name for name in names if name.startswith("door.") and not name.endswith("wind")] == [
        "door.left.reveal.left", "door.left.meeting", "door.left.reveal.top", "door.left.reveal.bottom",
        "door.right.reveal.right", "door.right.reveal.top", "door.right.reveal.bottom",
    ]  # fmt: skip


def test_one_door_has_no_gap_to_another(course_of):
    """It has all four reveals."""
    names = [q.name for q in course_of().cabinet.graph.quantities if q.name.startswith("door.") and q.read]
    assert {name.rpartition(".")[2] for name in names if ".reveal." in name} == {"left", "right", "top", "bottom"}
    assert not any(name.endswith(".meeting") for name in names)


def test_the_gap_between_the_leaves_is_what_the_opening_leaves(pair):
    """Opening 364, doors of 179.5, hinge sides of 1.5: 2.0 where they meet; F4 for a pair."""
    values = pair.plan_values
    assert values["door.left.width"] == values["door.right.width"] == Fraction("179.5")
    assert values["door.left.meeting"] == CASE - 2 * Fraction("1.5") - 2 * Fraction("179.5") == 2


@pytest.mark.parametrize(
    ("sizes", "meeting"),
    [
        ({"door__left__width": "179.1", "door__left__reveal__left": "1.5"}, "2.4"),
        ({"door__right__width": "179.1", "door__right__reveal__right": "1.5"}, "2.4"),
        ({"door__left__reveal__left": "0.9"}, "2.6"),
        ({"door__right__reveal__right": "1.8", "door__left__reveal__left": "1.8"}, "1.4"),
    ],
)
def test_the_gap_between_the_leaves_follows_both_doors_and_both_hinge_sides(pair, sizes, meeting):
    """A door 0.4 narrow leaves 0.4 more; hinges 0.6 too deep leave 0.6 more; 0.3 too shallow on both take 0.6."""
    assert read(pair, **sizes)["door.left.meeting"] == Fraction(meeting)


def test_all_four_things_move_the_gap_by_the_same_amount(pair):
    """Once they are measured, one more millimetre of any of the four takes one from the gap, of the opening it adds one."""
    values = read(
        pair, door__left__width="179.5", door__right__width="179.5", door__left__reveal__left="1.5",
        door__right__reveal__right="1.5",
    )  # fmt: skip
    case = {"case.width": 1, "case.inside.width": 1, "stock.case.thickness": -2}
    case |= {f"case.side.{side}.thickness": -1 for side in ("left", "right")}
    assert values.moves("door.left.meeting") == case | {
        "divider.upper.width": 1, "door.left.width": -1, "door.right.width": -1, "door.left.reveal.left": -1,
        "door.right.reveal.right": -1,
    }  # fmt: skip


def test_a_pair_in_inches_meets_at_its_own_gap():
    """The second demo: 22 1/2 less two reveals of 1/16 and two doors of 11 9/64 is 3/32."""
    course = read_course(Path(str(files("course").joinpath("demo_inches"))))
    values = course.plan_values
    assert values["doors.left.meeting"] == (Fraction("22.5") - Fraction(2, 16) - 2 * (11 + Fraction(9, 64))) * INCH
    assert values["doors.left.meeting"] == Fraction(3, 32) * INCH
    assert "doors.left.reveal.right" not in values and "doors.right.reveal.left" not in values
    assert values["doors.left.reveal.left"] == values["doors.right.reveal.right"] == Fraction(1, 16) * INCH


@pytest.mark.parametrize("leaves", ["true", "{left: edge, right: edge, most: 2}", "{left: a, right: b, most: 1}"])
def test_a_kind_says_how_its_leaves_share_an_opening(tmp_path, leaves: str):
    """Two names and a number; else the file is named with what to write."""
    text = files("course").joinpath("kinds", "frame_and_panel.yaml").read_text("utf-8")
    start, end = text.index("leaves:  #"), text.index("lists:")
    (tmp_path / "kinds").mkdir()
    (tmp_path / "kinds" / "frame_and_panel.yaml").write_text(f"{text[:start]}leaves: {leaves}\n{text[end:]}", "utf-8")
    told = [str(problem) for problem in read_library(tmp_path).problems]
    assert told[-1].split(": ", 1)[1] == (
        "K001: leaves does not say how they share an opening\n"
        "    Write `left:` and `right:` with the names of two choices, and `most:`, from 2 to 9."
    )


# -- what can be done -------------------------------------------------------------------------------------


def found(course: Course, **sizes: str) -> dict[str, Remedy]:
    course.log.add(
        Reading("s1", name.replace("__", "."), 1, 1, text, Fraction(text)) for name, text in sizes.items()
    )
    course.fresh()
    return {one.name: one for one in remedies(course, course.student("s1"))}


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_wide_gap_is_shared_with_the_hinge_sides_while_they_have_room(pair):
    """2.5 for 2.0 with hinge sides of 1.5: each door 0.25 nearer, hinge sides 1.75; else a lip of 0.5, or left."""
    told = found(pair, door__left__meeting="2.5")
    assert list(told) == ["wide gap between the leaves"]
    remedy = told["wide gap between the leaves"]
    assert (remedy.where, plain(remedy.says)) == ("door left", "gap between the leaves 0.5 mm wide")
    assert [o.name for o in remedy.options] == ["bring the doors together", "lip one meeting edge", "leave it even"]
    together, lip, left = remedy.options
    assert "Bring each door 0.25 mm nearer to the other" in plain(together.do)
    assert plain(together.do).endswith("The hinge sides are 1.75 mm and 1.75 mm then.")
    assert (plain(lip.stock), lip.ask_first) == ("a lip of 0.5 mm, grain along the stile", True)
    assert plain(left.do).startswith("Leave it. A gap of 2.5 mm") and left.costs == "shows"


def test_hinge_sides_that_are_wide_already_are_not_made_wider(pair):
    """With a hinge side of 1.6 a move of 0.25 would pass 1.8: the doors stay where they hang."""
    told = found(pair, door__left__meeting="2.5", door__right__reveal__right="1.6")
    assert [o.name for o in told["wide gap between the leaves"].options] == ["lip one meeting edge", "leave it even"]


def test_a_narrow_gap_is_planed_off_both_doors_by_half(pair):
    """1.4 for 2.0: 0.3 off each meeting edge, or the hinge leaves in by 0.3 where their sides stay above 1.2."""
    remedy = found(pair, door__left__meeting="1.4")["narrow gap between the leaves"]
    deeper, plane = sorted(remedy.options, key=lambda o: o.name)
    assert "Pare the hinge recesses of both doors 0.3 mm deeper" in plain(deeper.do)
    assert plain(deeper.do).endswith("The hinge sides are 1.2 mm and 1.2 mm then.")
    assert plain(plane.do).startswith("Plane 0.3 mm off the meeting edge of each door, with a slight bevel")


def test_only_a_butt_hinge_is_let_in_deeper(course_of, pair_plan):
    """A cup hinge has its own screws; planing stays."""
    told = found(course_of(plan=pair_plan + "    hinge: cup\n"), door__left__meeting="1.4")
    assert [o.name for o in told["narrow gap between the leaves"].options] == ["plane both meeting edges"]


@pytest.mark.parametrize("gap", ["1.7", "2.0", "2.3"])
def test_a_gap_within_its_limits_needs_nothing(pair, gap):
    """0.3 either way is inside."""
    assert found(pair, door__left__meeting=gap) == {}


@pytest.mark.parametrize("leaf", ["left", "right"])
def test_a_narrow_leaf_is_shared_over_three_gaps(pair, leaf):
    """Stiles 0.3 narrow each and rails cut: 0.6 in thirds, 1.7 at the hinges and 2.2 between."""
    stiles = {f"door__{leaf}__stile__{side}__width": "49.7" for side in ("left", "right")}
    rails = {f"door__{leaf}__rail__{side}__shoulder": "79.5" for side in ("top", "bottom")}
    remedy = found(pair, **stiles, **rails)["narrow stiles"]
    (share,) = (o for o in remedy.options if o.name == "accept a narrower leaf")
    assert plain(share.do) == (
        "Leave it. This door of the pair is 0.6 mm narrow; give a third of it to each of the three gaps: 1.7 mm at both "
        "hinge sides and 2.2 mm between the leaves."
    )
    assert "accept a narrower door" not in [o.name for o in remedy.options]
