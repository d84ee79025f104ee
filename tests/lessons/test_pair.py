"""The second demo, in inches with uprights and a pair of doors, from the plan to the grades; every reading is invented."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from course.course import Course
from course.course_folder import read_course
from lessons.__main__ import ABOVE, app
from lessons.coach import advise
from lessons.demo import Event, Scenario, simulated
from lessons.packet import packet, read_lessons
from rubrics.fit_rows import fit_rows
from rubrics.grading import grade
from rubrics.sheet import measurement_workbook
from rubrics.sheet_files import fill
from shared.render.html import write_html
from shared.units import INCH

SPREAD = {"caliper": Fraction("0.02"), "rule": Fraction("0.05"), "rods": Fraction("0.05"), "feeler": Fraction("0.05")}
WIDE = Fraction("0.9")
"""How much too wide the second student's doors meet. [mm]"""


@dataclass(frozen=True)
class Played:
    """The course after its sheets were collected and graded, and what each command printed."""

    course: Course
    said: dict[str, str]
    codes: dict[str, int]


@pytest.fixture(scope="module")
def played(tmp_path_factory) -> Iterator[Played]:
    folder = tmp_path_factory.mktemp("pair") / "course"
    shutil.copytree(str(files("course").joinpath("demo_inches")), folder)
    said: dict[str, str] = {}
    codes: dict[str, int] = {}

    def run(name: str, *arguments: str) -> None:
        result = CliRunner().invoke(app, [name, str(folder), *arguments], obj=ABOVE)
        said[name], codes[name] = result.output.replace("\u00a0", " "), result.exit_code

    run("check")
    run("cutlist", "w1")
    run("prepare", "--stage", "fitting")
    course = read_course(folder)
    wide = Event("w2", "doors.left.meeting", 0, WIDE, "")
    scenario = Scenario("pair", SPREAD, (), (wide,), {}, {})
    (folder / "measured").mkdir()
    for student in course.students:
        data = fill(measurement_workbook(course, student), simulated(course, student, scenario), {})
        (folder / "measured" / f"{student.id}.xlsx").write_bytes(data)
    run("collect", str(folder / "measured"))
    run("grade")
    yield Played(read_course(folder), said, codes)


def test_every_command_takes_a_pair_of_doors(played):
    """None refuses it (2); 1 is something to look at, as blanks too short for a machine, or a gap to be mended."""
    assert set(played.codes) == {"check", "cutlist", "prepare", "collect", "grade"}
    assert {code for code in played.codes.values()} <= {0, 1}, played.said


def test_each_leaf_is_cut_to_its_half(played):
    """Doors of 11 9/64 for 22 1/2 as planned: rails of 9 9/64 with tenons of 1 in."""
    rows = played.said["cutlist"]
    assert "DL-RT" in rows and "DR-RT" in rows


def test_every_reading_of_the_pair_is_taken_in_once(played):
    """Three places of seven gaps for each student, and no gap under two names."""
    for student in played.course.students:
        taken = [(r.quantity, r.place) for r in played.course.log.readings(student.id) if r.quantity.startswith("doors.")]
        gaps = {one for one in taken if ".reveal." in one[0] or one[0].endswith(".meeting")}
        assert len(gaps) == 7 * 3 and len(taken) == len(set(taken))


def test_the_gap_between_the_leaves_is_graded_with_the_rest(played):
    """0.9 mm too wide costs the second student points there, and the others none; the page names the way out."""
    by_student = {s.student.id: {m.check.id: m for m in s.marks} for s in grade(played.course).students}
    gaps = {student: marks["doors.left.meeting"] for student, marks in by_student.items()}
    assert {student: mark.points == mark.check.points for student, mark in gaps.items()} == {
        "w1": True, "w2": False, "w3": True,
    }  # fmt: skip
    assert gaps["w1"].target == Fraction(3, 32) * INCH
    (page,) = (played.course.folder / "out" / "feedback").glob("w2-*.html")
    text = page.read_text("utf-8").replace("\u00a0", " ")
    assert "doors left: gap between the leaves" in text and "gap between the leaves 0.0" in text


def test_the_packet_has_the_pair_on_one_map():
    """Both leaves with seven gaps, 0.062 in at the case and 0.094 in between, and a row for each on the sheet."""
    course = read_course(Path(str(files("course").joinpath("demo_inches"))))
    page = write_html(packet(course, course.student("w1"), read_lessons(course)).document).replace("\u00a0", " ")
    assert page.count('<figure role="img" aria-label="The door in its opening') == 1
    assert "gap between the leaves 0.094 in; reveal right of the doors right 0.062 in" in page
    rows = [row for row in fit_rows(course, course.student("w1")) if row.quantity.startswith("doors.")]
    assert len([row for row in rows if row.instrument == "feeler" and "wind" not in row.quantity]) == 7


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        ("0.134", "0.04 wide: move door to the middle 0.04 if one hinge side is too narrow by as much, 0.02 for each door, "
                  "if both hinge sides have room"),
        ("0.074", "0.02 narrow: plane off the meeting edge 0.02 of the door whose hinge side is right, 0.01 off each, if "
                  "both are"),
        ("0.1", "Within the limits: leave the edges alone; the last hair is one stroke of the plane on each, or nothing."),
    ],
)  # fmt: skip
def test_the_coach_knows_the_gap_between_the_leaves(played, reading, words):
    """0.094 in with 0.012 either way: once for one door, half for both; within the limits nothing."""
    course = played.course
    (told,) = advise(course, course.student("w1"), read_lessons(course).sheets, "gap between the leaves", reading)
    assert told.text == words
