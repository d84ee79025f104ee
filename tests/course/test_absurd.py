"""Readings that leave no wood of a part are told with the reading that does it, and do not go by as sizes."""

from __future__ import annotations

from fractions import Fraction

import pytest
from typer.testing import CliRunner

from course.absurd import absurd
from course.commands import app
from course.course import Course
from course.course_folder import read_course
from course.proof import proof
from course.readings import Reading
from shared.problems import InputRefused

WIDTH = "divider.upper.width"


def read(course: Course, quantity: str, value: str) -> None:
    """Take in one reading of the first student."""
    one = Reading("s1", quantity, 1, 1, value, Fraction(value), source="s1.xlsx", sheet="Fit checks", cell="J9")
    course.log.add([one])
    course.fresh()


SAID = (
    "s1.xlsx:Fit checks!J9: G002: s1: divider.upper.width was read as 90.0 mm and should be about 364.0 mm; "
    "with it there can be no door\n"
    "    Measure it again and collect the sheet again; until then do not cut what follows from it."
)


def test_a_reading_that_leaves_no_rail_is_told(course_of):
    """A door of 90 - 3 mm less two stiles of 50 leaves no room for a panel."""
    course = course_of()
    assert absurd(course, course.students[0]) == ()
    read(course, WIDTH, "90")
    assert [str(p).replace("\u00a0", " ") for p in absurd(course, course.students[0])] == [SAID]
    assert "G002" in {p.code for p in proof(course)}


def test_a_reading_that_leaves_no_part_names_it(course_of):
    """At 75 mm the rails would be 72 - 100 + 20 = -8 mm long, and the panel -11 wide: both are named."""
    course = course_of()
    read(course, WIDTH, "75")
    (one,) = absurd(course, course.students[0])
    assert one.says.endswith("with it there can be no door, D-RT, D-RB, D-P")


def test_a_reading_that_leaves_enough_is_not(course_of):
    """A narrow case is narrow, and everything of it is wood; openings that do not add up to the case are measured."""
    course = course_of()
    read(course, WIDTH, "300")
    read(course, "divider.upper.height", "420")
    assert absurd(course, course.students[0]) == ()


def test_the_cut_list_says_it_and_ends_with_a_sign(course_folder):
    """The list is printed, the reading is told beside it, and the exit status asks for attention."""
    folder = course_folder()
    read(read_course(folder), WIDTH, "90")
    result = CliRunner().invoke(app, ["cutlist", str(folder), "s1"])
    assert result.exit_code == 1
    assert "G002: s1: divider.upper.width was read as" in result.output


@pytest.mark.parametrize(
    ("text", "trouble"),
    [
        ("sqrt(0 - 4)", "there is no square root of a negative number"),
        ("case.width / (case.depth - case.depth)", "it divides by zero"),
    ],
)
def test_a_formula_that_cannot_be_worked_out_is_told(course_of, text: str, trouble: str):
    """What a lesson works out of a student's sizes may fail with some of them: in words, not with a fault."""
    course = course_of()
    with pytest.raises(InputRefused) as caught:
        course.plan_values.formula_value(course.cabinet.formula(text))
    assert str(caught.value) == f"plan.yaml: Q004: {text} cannot be worked out: {trouble}\n    Check the sizes it reads."
