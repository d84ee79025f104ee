"""Readings in sixty-fourths stay exact: from the sheet or a CSV to the log, the verdict, the workbook and the page."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from openpyxl import load_workbook
from typer.testing import CliRunner

from course.course_folder import read_course
from lessons.__main__ import app
from rubrics.feedback import pages
from rubrics.grading import grade
from rubrics.intake import collect
from rubrics.sheet import measurement_workbook
from rubrics.sheet_files import fill
from shared.units import INCH

COURSE = "title: Test\nid: test\ndate: 2026-10-05\nunits: in\nbands: {'*.front_diagonals': {upper: 1/32 in}}\n"
ROSTER = "id,name,bench,units\ns1,Ada Test,1,in\ns2,Bo Test,2,mm\n"
A, B, CHECK = "case.diagonal.front_a", "case.diagonal.front_b", "case.case_square.front_diagonals"


@pytest.fixture
def folder(course_folder) -> Path:
    return course_folder(course=COURSE, roster=ROSTER)


def from_sheet(folder: Path, *texts: str) -> None:
    course = read_course(folder)
    book = fill(measurement_workbook(course, course.student("s1")), dict(zip(((A, 1), (B, 1)), texts, strict=True)), {})
    (folder / "s1.xlsx").write_bytes(book)
    assert not collect(course, [folder / "s1.xlsx"]).problems


def from_csv(folder: Path, *texts: str) -> None:
    rows = [f"s1;{name};{text.replace('.', ',')}" for name, text in zip((A, B), texts, strict=True)]
    (folder / "r.csv").write_text("\n".join(["student;quantity;reading", *rows]), "utf-8")
    assert not collect(read_course(folder), [folder / "r.csv"]).problems


@pytest.mark.parametrize("way", [from_sheet, from_csv])
@pytest.mark.parametrize("text", ["28 27/64", '28-27/64"', "28 27/64 in", "28.421875", "28 54\u2044128"])
def test_a_difference_of_exactly_its_limit_is_inside(folder, way, text: str):
    """28 25/64 and 28 27/64 differ by 1/32 in, the limit: nothing beyond it, and nothing to measure again."""
    way(folder, "28 25/64", text)
    course = read_course(folder)
    assert [one.value for one in course.log.readings("s1")] == [Fraction(1817, 64) * INCH, Fraction(1819, 64) * INCH]
    (mark,) = grade(course).students[0].marks
    assert (mark.check.id, mark.value, mark.beyond, mark.again) == (CHECK, INCH / 32, 0, False)
    assert mark.level.word == "On the mark"


def test_half_a_sixty_fourth_beyond_its_limit_is_told(folder):
    """28 55/128 is 1/128 in beyond: 0.1984375 mm exactly, too little for a rule to take a mark away."""
    from_sheet(folder, "28 25/64", "28 55/128")
    (mark,) = grade(read_course(folder)).students[0].marks
    assert (mark.beyond, mark.again, mark.level.word) == (INCH / 128, True, "On the mark")


def test_the_same_fraction_stands_in_why_workbook_and_feedback(folder):
    """As typed beside its exact millimetres; on the page in sixty-fourths."""
    from_sheet(folder, "28 25/64", "28 29/64")
    runner = CliRunner()
    assert "= 28 29/64 in" in runner.invoke(app, ["why", str(folder), "s1", B]).output.replace("\u00a0", " ")
    runner.invoke(app, ["grade", str(folder)])
    sheet = load_workbook(folder / "out" / "gradebook.xlsx")["Readings"]
    rows = {row[2].value: (row[5].value, row[6].value) for row in sheet.iter_rows(min_row=4)}
    assert rows[B] == ("28 29/64", 722.709375)
    (lost,) = pages(grade(read_course(folder)))[0].improve
    assert lost.text.replace("\u00a0", " ") == "you read 0.062 in; up to 0.031 in is allowed"
