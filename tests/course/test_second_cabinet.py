"""A second cabinet, in inches, with uprights, unequal bays, a pair of doors, dowels and haunched tenons: no code of its own."""

from __future__ import annotations

from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pytest

from course.course import Course
from course.course_folder import read_course
from course.cutlist import cut_rows
from shared.units import INCH


def inch(text: str) -> Fraction:
    return sum((Fraction(part) for part in text.split()), Fraction(0)) * INCH


@pytest.fixture(scope="module")
def course() -> Course:
    return read_course(Path(str(files("course").joinpath("demo_inches"))))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("case.top.length", "34 1/2"),  # 36 less two sides of 3/4: dowels add nothing
        ("post.narrow.width", "11 1/4"),  # a third of 34 1/2 - 3/4
        ("post.wide.width", "22 1/2"),
        ("levels.high.height", "7 1/2"),
        ("levels.low.height", "8"),  # half of 25 - 7 1/2 - two dividers of 3/4
        ("doors.left.width", "11 9/64"),  # (22 1/2 - 2/16 - 3/32) / 2
        ("doors.left.rail.top.shoulder", "7 9/64"),
        ("doors.left.rail.top.length", "9 9/64"),  # tenons of 1 in
        ("doors.left.tenon.mortise_depth", "1"),  # and 1.5 mm of room
        ("back.bay.2.width", "13 27/32"),  # half of what two muntins leave
        ("back.bay.1.width", "6 59/64"),
    ],
)
def test_its_sizes_are_the_worked_ones(course, name: str, expected: str):
    """Hand-worked sizes of the plan, exact to the 64th."""
    value = course.plan_values.number(name)
    if name == "doors.left.tenon.mortise_depth":
        assert value == inch("1") + Fraction(3, 2)
    else:
        assert value == inch(expected)


def test_unequal_bays_fill_the_back(course):
    """The three panels and two muntins fill the frame between the stiles."""
    values = course.plan_values
    bays = sum(values.number(f"back.bay.{n}.width") for n in (1, 2, 3))
    assert bays + 2 * values.number("back.muntin.width") == values.number("back.rail.top.shoulder")
    assert values.number("back.bay.2.width") == 2 * values.number("back.bay.1.width")


def test_every_student_has_a_list_in_their_units(course):
    """Fractions for one, decimals of an inch for another, millimetres for the third."""
    lists = [{row.label: row for row in cut_rows(course, student)} for student in course.students]
    assert [rows["C-T"].length.replace("\u00a0", " ") for rows in lists] == ["34 9/16", "34.531", "877.9"]


def test_quarter_sawn_oak_moves_less(course):
    """The species and cut of each student's own stock pick the published figure (red oak: 0.00158 radial, 0.00369 tangential)."""
    flat, quarter, _ = (course.values(student)["stock.frame.movement"] for student in course.students)
    assert (flat, quarter) == (Fraction("0.00369"), Fraction("0.00158"))


def test_muntins_are_joined_to_the_rails(course):
    """A muntin's tenons sit in the rails, a rail's in the stiles."""
    joint = course.cabinet.assemblies["back"].joints["joint"]
    females = {site.male: site.female for site in joint.sites if site.name.endswith(("_top", "_left"))}
    assert females["back.muntin.1"] == "back.rail.top"
    assert females["back.rail.top"] == "back.stile.left"
