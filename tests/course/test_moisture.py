"""A size across the grain at the moisture of the shop: Wood Handbook, FPL-GTR-190 (2010), chapter 13, by its table."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest
from typer.testing import CliRunner

from course.commands import app
from course.course import Course
from course.moisture import at_shop, parts_across
from course.readings import MOISTURE, Reading
from shared.units import MM, length

CLASS_PLAN = Path(__file__).parents[1].joinpath("class_plan.yaml").read_text("utf-8")
PUBLISHED = [
    row
    for row in csv.DictReader(Path(__file__).parents[1].joinpath("published", "wood_movement.csv").open(encoding="utf-8"))
    if row["coefficient"] == "0.00245"
]
"""The handbook's worked example, p. 13-17: white fir, whose coefficient stands in Table 13-5, p. 13-16."""
STILE = "door.stile.left.width"


def wet(part: str, percent: str, attempt: int = 1, student: str = "s1") -> Reading:
    return Reading(student, part + MOISTURE, 1, attempt, percent, Fraction(percent), source="s1.xlsx", cell="E8")


def found(course: Course, name: str, size: Fraction, at: str):
    values = course.values(course.student("s1"))
    return at_shop(course, values, name, size, {(name.rpartition(".")[0], 1): Fraction(at)}, 1)


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: row["id"])
def test_published_boards_come_out_as_printed(course_of, row):
    """A stile of the printed size in white fir, read at 8 % in a shop of 11 %, has grown as printed."""
    plan = CLASS_PLAN.replace("frame: {material: cherry", "frame: {material: 'Fir, white'")
    course = course_of(plan=f"{plan}climate: {{built: {row['end']}, damp: 14}}\n")
    size, unit = length(f"{row['size']} {row['unit']}"), length(f"1 {row['unit']}")
    moved = -found(course, STILE, size, row["start"]).by / unit
    assert abs(moved - Fraction(row["expected"])) <= Fraction(row["tolerance"])


def test_a_cherry_stile_read_damp_is_shown_at_both(course_of):
    """50.5 at 12 % with 0.00248 for cherry (Table 13-5): 50.5 x (1 - 0.00248 x 4) = 49.99904 at the shop's 8 %."""
    one = found(course_of(), STILE, Fraction("50.5"), "12")
    assert one.same == Fraction("49.99904") and one.by == Fraction("0.50096")
    assert one.words(MM).replace("\u00a0", " ") == "50.5 mm at 12 %, about 50.0 mm at the shop's 8 % (cherry, flat-sawn)"
    same = found(course_of(), STILE, Fraction(50), "11")  # 50 x (1 - 0.00248 x 3) = 49.628
    assert same.words(MM).replace("\u00a0", " ").startswith("50.00 mm at 11 %, about 49.63 mm at the shop's 8 %")


def test_the_cut_of_the_students_own_board_counts(course_of):
    """Quarter-sawn cherry moves 0.00126 a percent."""
    roster = "id,name,stock.frame.cut\ns1,Ada Test,quarter-sawn\n"
    assert found(course_of(roster=roster), STILE, Fraction(50), "12").same == 50 * (1 - 4 * Fraction("0.00126"))


def test_only_widths_of_solid_parts_are_worked_out(course_of):
    """Not the length of a stile, nor a side of plywood, nor what no meter was held to."""
    course = course_of()
    assert found(course, "door.stile.left.length", Fraction(423), "12") is None
    assert found(course, "case.side.left.width", Fraction(200), "12") is None
    values = course.values(course.student("s1"))
    assert at_shop(course, values, STILE, Fraction(50), {("door.stile.left", 2): Fraction(12)}, 1) is None
    assert found(course, STILE, Fraction(50), "31") is None  # above fiber saturation it has not begun to move


def test_the_height_of_a_drawer_is_across_its_grain(course_of):
    """Sides and front are as wide as the drawer is high; its back is lower and has a formula of its own."""
    plan = CLASS_PLAN.replace("  door:\n", "  drawer: {kind: drawer, in: divider.lower, stock: "
                              "{box: frame, sides: frame, floor: case, facing: frame}}\n  door:\n")  # fmt: skip
    cabinet = course_of(plan=plan).cabinet
    assert [part.name for part in parts_across(cabinet, "drawer.height")] == [
        "drawer.front", "drawer.side.left", "drawer.side.right",
    ]  # fmt: skip


def test_a_moisture_is_kept_beside_the_readings(course_of):
    """Percent by part and attempt; a correction counts, what was before stays, and no size is taken for one."""
    course = course_of()
    course.log.add([wet("door.stile.left", "12"), wet("door.stile.left", "9", 2)])
    course.log.add([wet("door.stile.left", "11.5")])
    assert course.log.moistures("s1") == {("door.stile.left", 1): Fraction("11.5"), ("door.stile.left", 2): 9}
    assert course.log.all() == () == course.log.readings() and course.log.moistures("s2") == {}


def test_why_shows_a_reading_at_both_moistures(course_of):
    """Below the chain, for what in it was read at another moisture than the shop's."""
    course = course_of()
    course.log.add([Reading("s1", STILE, 1, 1, "50.5", Fraction("50.5")), wet("door.stile.left", "12")])
    told = CliRunner().invoke(app, ["why", str(course.folder), "s1", "door.rail.top.shoulder"]).stdout
    assert " ".join(told.replace("\u00a0", " ").split()).endswith(
        f"{STILE} was read 50.5 mm at 12 %, about 50.0 mm at the shop's 8 % (cherry, flat-sawn)"
    )
    course.log.add([wet("door.stile.left", "8")])
    told = CliRunner().invoke(app, ["why", str(course.folder), "s1", "door.rail.top.shoulder"]).stdout
    assert "the shop's" not in told
