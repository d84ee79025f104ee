"""Marks of sizes that were read at another moisture than the shop's: both shown, nobody loses by a prediction."""

from __future__ import annotations

import io
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from course.course import Course
from course.course_folder import read_course
from course.readings import MOISTURE, Reading
from rubrics.feedback import pages
from rubrics.gradebook import write_gradebook
from rubrics.grading import grade
from rubrics.intake import collect
from rubrics.marks import Mark
from rubrics.sheet import measurement_workbook
from rubrics.sheet_columns import PARTS, WET, cells_by_heading
from rubrics.sheet_files import fill

STILE = "door.stile.left.width"
"""Planned 50, with a band of 0.3 either way; cherry moves 0.00248 of its width a percent (Table 13-5)."""


def mark(course: Course, size: str, percent: str = "") -> Mark:
    course.log.add([Reading("s1", STILE, 1, 1, size, Fraction(size), source=f"{size} {percent}")])
    if percent:
        course.log.add([Reading("s1", "door.stile.left" + MOISTURE, 1, 1, percent, Fraction(percent), source=size)])
    course.fresh()
    return next(m for m in grade(course).marks if m.check.id.startswith("door.stile.left"))


def test_a_stile_that_was_read_damp_keeps_the_better_level(course_of):
    """50.7 at 12 % is about 50.20 at 8 %: within 0.3 of 50. It is to be measured again, and no point is lost."""
    found = mark(course_of(), "50.7", "12")
    assert (found.level.word, found.again, found.wood.same) == ("On the mark", True, Fraction("50.197056"))
    assert found.deviation == Fraction("0.7") and found.elsewhere == Fraction("50.7") * 4 * Fraction("0.00248")
    assert "50.7\u00a0mm at 12 %, about 50.2\u00a0mm at the shop's 8 % (cherry, flat-sawn)" in found.words()


def test_a_stile_that_was_right_when_read_loses_nothing_by_a_prediction(course_of):
    """50.0 at 12 % would be about 49.50 at 8 %: the reading as it was stands, and it is to be measured again."""
    found = mark(course_of(), "50.0", "12")
    assert (found.level.word, found.elsewhere, found.again) == ("On the mark", 0, True)
    assert found.wood.same == 50 * (1 - 4 * Fraction("0.00248"))


@pytest.mark.parametrize(("percent", "more"), [("9", ""), ("8", ""), ("9.5", "grading: {moisture.step: 2}\n")])
def test_a_small_difference_is_let_pass(course_of, percent, more):
    """Up to one percent from the shop, or as the rule of the course says, a reading is a reading."""
    course = course_of(course="title: T\nid: test\nshop: {machines: [table saw]}\n" + more)
    assert mark(course, "50.6", percent).wood is None


def test_a_rule_without_sense_is_refused(course_of):
    """The step is a number of nothing or more."""
    course = course_of(course="title: T\nid: test\nshop: {machines: [table saw]}\ngrading: {moisture.step: damp}\n")
    with pytest.raises(Exception, match=r"B021: 'moisture.step' is 'damp'\n    Write a number of 0 or more"):
        grade(course)


@given(tenths=st.integers(480, 520), percent=st.integers(5, 20))
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_moisture_ever_costs_a_point(course_folder, tenths, percent):
    """The law: with a moisture the points are never less than without it."""
    folder, size = course_folder(), str(Fraction(tenths, 10))
    (folder / "course.db").unlink(missing_ok=True)
    without = mark(read_course(folder), size)
    assert mark(read_course(folder), size, str(percent)).points >= without.points


def test_page_and_book_show_both(course_of):
    """The page has a paragraph of its own, the gradebook a note; the rule is printed with the others."""
    course = course_of()
    mark(course, "50.7", "12")
    grades = grade(course)
    (wood,) = pages(grades)[0].wood
    both = "50.7\u00a0mm at 12 %, about 50.2\u00a0mm at the shop's 8 % (cherry, flat-sawn)"
    assert (wood.text, wood.cause) == (both, "measure it again when the wood has come to 8 %")
    assert not pages(grades)[0].again and not pages(grades)[1].wood
    book = load_workbook(io.BytesIO(write_gradebook(grades)))
    assert any(both in str(c.value) for s in book.worksheets for row in s.iter_rows() for c in row)
    assert any("read at a moisture more than 1 % from the shop's" in words for words in grades.rules.words)


def test_the_sheet_asks_for_it_where_wood_moves(course_of, tmp_path):
    """Open for solid parts only; what stands there comes in with its cell, once, and a correction counts."""
    course = course_of()
    data = measurement_workbook(course, course.student("s1"))
    sheet = load_workbook(io.BytesIO(data))[PARTS]
    top, columns = cells_by_heading(sheet, ("label", WET))
    open_ = {sheet.cell(r, columns["label"]).value: not sheet.cell(r, columns[WET]).protection.locked
             for r in range(top + 1, sheet.max_row + 1)}  # fmt: skip
    assert open_["D-SL"] and open_["D-P"] and not open_["C-SL"] and not open_["H-H"]
    path = tmp_path / "s1.xlsx"
    for percent, new in (("12 %", 1), ("12 %", 0), ("11,5", 1)):
        path.write_bytes(fill(data, {(STILE, 1): "50.6"}, {}, {"D-SL": percent}))
        collected = collect(course, [path])
        assert (collected.moistures, collected.problems) == (new, ())
    assert course.log.moistures("s1") == {("door.stile.left", 1): Fraction("11.5")}


def test_what_is_no_moisture_is_told_with_its_cell(course_of, tmp_path):
    """Kept as typed, named, and left out."""
    course, path = course_of(), tmp_path / "s1.xlsx"
    path.write_bytes(fill(measurement_workbook(course, course.student("s1")), {}, {}, {"D-SL": "wet", "D-SR": "55"}))
    first, second = collect(course, [path]).problems
    assert str(first).startswith("s1.xlsx:Parts!E") and ": C032: 'wet' is not a moisture content\n" in str(first)
    assert "'55' is not a moisture content" in second.says and course.log.moistures("s1") == {}


def test_a_csv_may_have_it_beside_each_reading(course_of, tmp_path):
    """The column moisture; it stays with the attempt of its reading."""
    course, path = course_of(), tmp_path / "class.csv"
    path.write_text(f"student,quantity,attempt,reading,moisture\ns1,{STILE},2,50.6,12\ns1,door.stile.right.width,1,50,\n", "utf-8")
    assert collect(course, [path]).moistures == 1
    assert course.log.moistures("s1") == {("door.stile.left", 2): Fraction(12)}
