"""The class workbook: what an instructor keys in comes in cell by cell, as from the students' own sheets."""

from __future__ import annotations

import io
import subprocess
from fractions import Fraction
from pathlib import Path

import pytest
from openpyxl import load_workbook

from course.course import Course
from lessons.prepare import prepare_course
from rubrics.class_sheet import AT_ONCE, KEY, ReadingColumn, class_workbook, read_heading, write_class_sheets
from rubrics.fit_rows import fit_rows
from rubrics.intake import collect
from shared.problems import InputRefused

WIDTH, SHOULDER = "divider.upper.width 1", "door.rail.top.shoulder 1"


@pytest.fixture
def course(course_of) -> Course:
    return course_of()


def column_of(sheet, heading: str) -> int | None:
    return next((cell.column for cell in sheet[KEY] if cell.value == heading), None)


def sheet_with(book, heading: str):
    return next(sheet for sheet in book.worksheets if column_of(sheet, heading))


def row_of(sheet, student: str) -> int:
    return next(row for row in range(KEY + 1, sheet.max_row + 1) if sheet.cell(row, 1).value == student)


def keyed(course: Course, texts: dict[tuple[str, str], object], edit=None, name: str = "class.xlsx") -> Path:
    """The class workbook with some cells filled in by student and heading, and one edit more."""
    book = load_workbook(io.BytesIO(class_workbook(course, course.students)))
    for (student, heading), text in texts.items():
        sheet = sheet_with(book, heading)
        sheet.cell(row_of(sheet, student), column_of(sheet, heading)).value = text
    if edit:
        edit(book)
    path = course.folder / name
    book.save(path)
    return path


def said(collected) -> list[str]:
    return [str(p).replace("\u00a0", " ") for p in collected.problems]


def test_every_reading_has_a_column_on_the_sheet_of_its_stage(course):
    """A sheet for each stage, a row for each student with the unit, a column for each size and place."""
    book = load_workbook(io.BytesIO(class_workbook(course, course.students)))
    headings = [cell.value for sheet in book.worksheets for cell in sheet[KEY][3:]]
    rows = fit_rows(course, course.students[0])
    assert sorted(headings) == sorted(f"{row.quantity} {place}" for row in rows for place in range(1, row.places + 1))
    assert book.sheetnames == ["Stock", "Case", "Frames and panels", "Fitting", "Finish"]
    for sheet in book.worksheets:
        assert [[sheet.cell(row, n).value for n in (1, 2, 3)] for row in (KEY + 1, KEY + 2)] == [
            ["s1", "Ada Test", "mm"], ["s2", "Bo Test", "in"],
        ]  # fmt: skip
        assert sheet.protection.sheet and not sheet.cell(KEY + 1, 4).protection.locked
        assert sheet.cell(KEY + 1, 1).protection.locked and sheet.cell(KEY + 1, 4).number_format == "@"


def test_what_is_keyed_in_counts_in_each_students_unit(course):
    """One row in mm, one in inches; the same file again adds nothing."""
    path = keyed(course, {("s1", WIDTH): "364.8", ("s2", WIDTH): "14 3/8", ("s2", SHOULDER): 10.25})
    collected = collect(course, [path])
    assert said(collected) == [] and collected.taken.added == 3
    found = {(one.student, one.quantity, one.place): one for one in course.log.readings()}
    assert found["s1", "divider.upper.width", 1].value == Fraction("364.8")
    assert found["s2", "divider.upper.width", 1].value == Fraction("365.125")
    assert found["s2", "door.rail.top.shoulder", 1].value == Fraction("260.35")
    one = found["s1", "divider.upper.width", 1]
    assert (one.source, one.sheet, one.reader) == ("class.xlsx", "Case", "")
    assert load_workbook(path)["Case"][one.cell].value == "364.8"
    assert collect(course, [path]).taken.added == 0


def test_columns_and_rows_may_be_moved(course):
    """Each column carries what it asks for, each row its student."""

    def move(book):
        for sheet in book.worksheets:
            sheet.insert_cols(4, 2)
            sheet.insert_rows(1, 2)
        book.create_sheet("My notes", 0)["A1"] = "nothing"

    collected = collect(course, [keyed(course, {("s2", WIDTH): "14 3/8"}, move)])
    assert said(collected) == [] and [r.student for r in course.log.readings()] == ["s2"]


FAULTS = {
    "unknown student": (
        lambda book: setattr(sheet_with(book, WIDTH).cell(KEY + 1, 1), "value", "s9"),
        "class.xlsx:Case!{cell}: C011: no student 's9' is on the roster\n    Known are: s1, s2.",
    ),
    "no student": (
        lambda book: setattr(sheet_with(book, WIDTH).cell(KEY + 1, 1), "value", None),
        "class.xlsx:Case!{cell}: C011: a reading stands in a row without a student\n    Known are: s1, s2.",
    ),
    "unit": (
        lambda book: setattr(sheet_with(book, WIDTH).cell(KEY + 1, 3), "value", "ell"),
        f"class.xlsx:Case!C{KEY + 1}: C022: the unit is 'ell'\n    Write mm or in.",
    ),
    "heading typed over": (
        lambda book: setattr(
            sheet_with(book, WIDTH).cell(KEY, column_of(sheet_with(book, WIDTH), WIDTH)), "value", "width"
        ),
        "class.xlsx:Case!{cell}: C013: '364.8' stands in a column that asks for nothing\n"
        "    Write it in the column of what was measured.",
    ),
    "size the cabinet lacks": (
        lambda book: setattr(
            sheet_with(book, WIDTH).cell(KEY, column_of(sheet_with(book, WIDTH), WIDTH)), "value", "divider.uper.width 1"
        ),
        "class.xlsx:Case!{cell}: C014: this cabinet has no size 'divider.uper.width'\n"
        "    Did you mean 'divider.upper.width' or 'divider.lower.width'?",
    ),
    "word": (
        lambda book: setattr(
            sheet_with(book, WIDTH).cell(KEY + 1, column_of(sheet_with(book, WIDTH), WIDTH)), "value", "six"
        ),
        "class.xlsx:Case!{cell}: C017: 'six' is not a length; write it as 30.2, 1 3/16 or 1-3/16\"\n"
        "    The cell is left out; correct it and collect the file again.",
    ),
    "joined cells": (
        lambda book: sheet_with(book, WIDTH).merge_cells(
            start_row=KEY, end_row=KEY + 1, start_column=column_of(sheet_with(book, WIDTH), WIDTH),
            end_column=column_of(sheet_with(book, WIDTH), WIDTH),
        ),
        "class.xlsx:Case!{cell}: C023: the cell is joined to another, so nobody can tell which reading is meant\n"
        "    Split the cells and write each reading in its own.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_told_and_stops_no_other_row(course, name: str):
    """Told with its cell; what else stands there comes in."""
    edit, says = FAULTS[name]
    path = keyed(course, {("s1", WIDTH): "364.8", ("s2", SHOULDER): "10 1/4"}, edit)
    sheet = load_workbook(io.BytesIO(class_workbook(course, course.students)))["Case"]
    cell = sheet.cell(KEY + 1, column_of(sheet, WIDTH)).coordinate
    collected = collect(course, [path])
    assert said(collected) == [says.format(cell=cell)]
    assert [(one.student, one.raw) for one in course.log.readings()] == [("s2", "10 1/4")]


@pytest.mark.parametrize(
    ("id_", "says"),
    [
        ("test r0", "C010: the sheet was made for revision r0 of the plan, the course is at r1"),
        ("other r1", "C009: the sheet belongs to the course 'other r1', not to 'test r1'"),
    ],
)
def test_another_revision_or_course_is_refused(course, id_: str, says: str):
    """Nothing of it is taken in, and the cell that says so is named."""

    def edit(book):
        for sheet in book.worksheets:
            sheet["B1"] = id_

    collected = collect(course, [keyed(course, {("s1", WIDTH): "364.8"}, edit)])
    assert said(collected)[0].startswith(f"class.xlsx:Stock!B1: {says}") and not course.log.all()


def test_a_second_reader_has_columns_too(course_of):
    """Where the course asks for it, and only where two people read."""
    course = course_of(course="title: Test course\nid: test\nsecond_reader: yes\n")
    path = keyed(course, {("s1", SHOULDER): "261", ("s1", f"{SHOULDER} second reader"): "261.2"})
    collect(course, [path])
    assert [(one.raw, one.reader) for one in course.log.readings()] == [("261", ""), ("261.2", "second reader")]
    book = load_workbook(path)
    assert not any(column_of(sheet, "door.groove.width 1 second reader") for sheet in book.worksheets)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("door.width 2", ReadingColumn("door.width", 2, "")),
        ("door.width 2 second reader", ReadingColumn("door.width", 2, "second reader")),
        ("door.width 99999999", ReadingColumn("door.width", 100, "")),
        ("door.width", None), ("name", None), ("", None), ("door.width 2 third reader", None), ("door.width ²", None),
    ],
)  # fmt: skip
def test_a_heading_says_what_its_column_asks_for(text: str, found):
    """A size, a place, and a second reader if there is one; a place that is too large stays too large."""
    assert read_heading(text) == found


def test_prepare_writes_it_and_keeps_what_was_keyed_in(course):
    """It lies with the measuring sheets; prepared again, one that was written into is left as it is and said so."""
    prepare_course(course)
    path = course.folder / "out" / "sheets" / "class.xlsx"
    fresh = path.read_bytes()
    assert fresh == class_workbook(course, course.students)
    book = load_workbook(path)
    sheet = sheet_with(book, WIDTH)
    sheet.cell(KEY + 1, column_of(sheet, WIDTH)).value = "364.8"
    book.save(path)
    with pytest.raises(InputRefused, match="somebody wrote into the measuring sheet"):
        list(write_class_sheets(course, path.parent))
    assert load_workbook(path)["Case"].cell(KEY + 1, column_of(sheet, WIDTH)).value == "364.8"


def test_a_large_class_gets_several_files(course_of, tmp_path):
    """No file is larger than what is taken in, and every student stands in one of them."""
    many = "id,name,bench,units\n" + "".join(f"p{n},Name {n},{n},mm\n" for n in range(1, AT_ONCE + 3))
    paths = list(write_class_sheets(course_of(roster=many), tmp_path))
    assert [path.name for path in paths] == ["class-1.xlsx", "class-2.xlsx"]
    ids = [load_workbook(path).worksheets[0].cell(row, 1).value for path in paths for row in range(KEY + 1, KEY + 1 + AT_ONCE)]
    assert [id_ for id_ in ids if id_] == [f"p{n}" for n in range(1, AT_ONCE + 3)]


def test_words_of_the_course_change_no_heading(course_of):
    """UK words stand above the columns, and the readings still come in."""
    course = course_of(course="title: Test course\nid: test\nterms: uk\n")
    collected = collect(course, [keyed(course, {("s1", "divider.dado.1_left.width 1"): "17.9"})])
    assert said(collected) == [] and collected.taken.added == 1


def test_it_survives_another_program(course, tmp_path, office):
    """Saved again by LibreOffice, every reading is still there."""
    path = keyed(course, {("s1", WIDTH): "364.8", ("s2", WIDTH): "14 3/8", ("s2", SHOULDER): "10 1/4"})
    subprocess.run(
        [office, "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", "xlsx", "--outdir",
         str(tmp_path), str(path)],
        check=True, capture_output=True, timeout=240,
    )  # fmt: skip
    collected = collect(course, [tmp_path / "class.xlsx"])
    assert said(collected) == [] and sorted(one.raw for one in course.log.readings()) == ["10 1/4", "14 3/8", "364.8"]
