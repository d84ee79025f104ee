"""Measured sheets come in cell by cell: nothing lost, nothing twice, every fault with its address."""

from __future__ import annotations

import base64
import datetime
import io
import multiprocessing
import random
import re
import sqlite3
import subprocess
import zipfile
from fractions import Fraction
from pathlib import Path
from xml.sax.saxutils import escape

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from openpyxl.comments import Comment
from openpyxl.drawing.image import Image

from course.changes import AsMade
from course.course import Course
from course.course_folder import read_course
from rubrics.checks import checks_of
from rubrics.fit_rows import fit_rows
from rubrics.grading import grade
from rubrics.intake import Collected, collect
from rubrics.measured import measure
from rubrics.sheet import measurement_workbook
from rubrics.sheet_columns import FIT, PARTS, WHERE, cells_by_heading
from rubrics.sheet_files import fill
from rubrics.slips import question
from shared.units import INCHES, MM

WIDTH = "divider.upper.width"
PICTURE = (
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
)
"""A picture of one dot."""


@pytest.fixture
def course(course_of) -> Course:
    return course_of()


@pytest.fixture
def filled(course) -> bytes:
    return sheet_of(course, readings={(WIDTH, 1): "364.8"}).read_bytes()


def sheet_of(course: Course, student: str = "s1", readings=None, states=None, name: str = "") -> Path:
    data = fill(measurement_workbook(course, course.student(student)), readings or {}, states or {})
    path = course.folder / (name or f"{student}.xlsx")
    path.write_bytes(data)
    return path


def changed(path: Path, edit) -> Path:
    """The workbook with one edit, as another program would save it."""
    book = load_workbook(path)
    edit(book)
    book.save(path)
    return path


def cell_of(book, quantity: str = WIDTH, place: int = 1, heading: str = "reading"):
    sheet = book[FIT]
    top, columns = cells_by_heading(sheet, ("reading", "quantity", "place"))
    for row in range(top + 1, sheet.max_row + 1):
        asked = (sheet.cell(row, columns["quantity"]).value, str(sheet.cell(row, columns["place"]).value))
        if asked == (quantity, str(place)):
            return sheet.cell(row, columns[heading])
    raise AssertionError(f"{quantity} is not on the sheet")


def said(collected: Collected) -> list[str]:
    return [str(p).replace("\u00a0", " ") for p in collected.problems]


@pytest.mark.parametrize(
    ("student", "raw", "value"),
    [
        ("s1", "364.8", "364.8"), ("s1", "364,8", "364.8"), ("s1", "14 3/8 in", "365.125"), ("s1", "36.48 cm", "364.8"),
        ("s2", "14 3/8", "365.125"), ("s2", "14-3/8\"", "365.125"), ("s2", "14.375", "365.125"), ("s2", "364 mm", "364"),
        ("s1", "14 3/16", "360.3625"), ("s1", "14.472 in", "367.5888"), ("s2", ".36 m", "360"), ("s2", "13-3/4\"", "349.25"),
    ],
)  # fmt: skip
def test_readings_are_accepted_as_people_write_them(course, student: str, raw: str, value: str):
    """Points, commas, fractions and units are read; a bare number is in the unit of the student's sheet (story 13)."""
    collect(course, [sheet_of(course, student, {(WIDTH, 1): raw})])
    (reading,) = course.log.readings(student)
    assert (reading.raw, reading.value) == (raw, Fraction(value))
    assert (reading.source, reading.sheet) == (f"{student}.xlsx", FIT)
    assert reading.cell.startswith("J")


def test_the_same_file_twice_changes_nothing(course):
    """Taking a file in again adds no row, under its own name or another."""
    path = sheet_of(course, readings={(WIDTH, 1): "364.8", (WIDTH, 2): "365"})
    assert collect(course, [path]).taken.added == 2
    again = collect(course, [path.rename(course.folder / "copy of s1.xlsx")]).taken
    assert (again.added, again.same, again.corrected) == (0, 2, 0)
    assert len(course.log.all()) == 2


def test_a_corrected_cell_is_a_new_row(course):
    """A cell changed by the student is taken as a correction; the first reading stays in the log."""
    path = sheet_of(course, readings={(WIDTH, 1): "356.8"})
    collect(course, [path])
    changed(path, lambda book: setattr(cell_of(book), "value", "365.8"))
    assert collect(course, [path]).taken.corrected == 1
    assert [r.raw for _, r in course.log.all()] == ["356.8", "365.8"]
    assert course.values(course.student("s1"))[WIDTH] == Fraction("365.8")


def test_a_folder_with_the_old_and_the_corrected_sheet_settles(course):
    """The later of the two counts, it is asked once which that is, and collecting again adds and asks nothing."""
    folder = course.folder / "in"
    (folder / "week 2").mkdir(parents=True)
    sheet_of(course, readings={(WIDTH, 1): "364.8"}, name="in/s1.xlsx")
    sheet_of(course, readings={(WIDTH, 1): "365.2"}, name="in/week 2/s1.xlsx")
    first = collect(course, [folder])
    cell = course.log.readings()[0].cell
    assert (first.taken.added, first.taken.corrected) == (1, 1)
    assert [str(ask) for ask in first.questions] == [
        f"week 2/s1.xlsx:Fit checks!{cell}: C104: s1, {WIDTH}, place 1: 365.2 here and 364.8 in "
        f"s1.xlsx:Fit checks!{cell}\n    The one named first counts; is it the later one?"
    ]
    again = collect(course, [folder])
    assert (again.taken.added, again.taken.corrected, again.questions, again.problems) == (0, 0, (), ())
    assert [r.raw for r in course.log.readings()] == ["365.2"]


def test_a_cell_that_says_again_what_it_said_before_is_told(course):
    """An old copy under the same name takes nothing back, in these words; under another name it is a correction."""
    for raw in ("364.8", "365.2"):
        collect(course, [sheet_of(course, readings={(WIDTH, 1): raw})])
    path = sheet_of(course, readings={(WIDTH, 1): "364.8"})
    cell = course.log.readings()[0].cell
    collected = collect(course, [path])
    assert said(collected) == [
        f"s1.xlsx:Fit checks!{cell}: C028: '364.8' stood here before, and '365.2' after it; it is not taken back\n"
        "    If it is right all the same, save the sheet under another name and collect that."
    ]
    assert collected.taken.corrected == 0 and course.log.readings()[0].raw == "365.2"
    again = collect(course, [path.rename(course.folder / "s1 checked.xlsx")])
    assert again.taken.corrected == 1 and said(again) == [] and course.log.readings()[0].raw == "364.8"


def date_cell(book):
    cell_of(book).value = datetime.datetime(2026, 1, 2)
    cell_of(book).number_format = "d/m/yyyy"


def join_above(book):
    cell = cell_of(book)
    book[FIT].merge_cells(start_row=cell.row - 1, end_row=cell.row, start_column=cell.column, end_column=cell.column)


FAULTS = {
    "word": (
        lambda book: setattr(cell_of(book), "value", "six"),
        "s1.xlsx:Fit checks!{cell}: C017: 'six' is not a length; write it as 30.2, 1 3/16 or 1-3/16\"\n"
        "    The cell is left out; correct it and collect the file again.",
    ),
    "date": (
        date_cell,
        "s1.xlsx:Fit checks!{cell}: C016: the reading has become a date (2026-01-02); a fraction such as 1/2 does that\n"
        "    Format the cell as text and write the fraction again.",
    ),
    "negative": (
        lambda book: setattr(cell_of(book), "value", "-364"),
        "s1.xlsx:Fit checks!{cell}: C018: '-364' is less than nothing\n    The cell is left out; measure again.",
    ),
    "nothing": (
        lambda book: setattr(cell_of(book), "value", 0),
        "s1.xlsx:Fit checks!{cell}: C018: '0' cannot be the size of anything here\n"
        "    The cell is left out; measure again.",
    ),
    "formula without a value": (
        lambda book: setattr(cell_of(book), "value", "=1+1"),
        "s1.xlsx:Fit checks!{cell}: C012: there is a formula here without a value\n    Type the reading itself.",
    ),
    "too long": (
        lambda book: setattr(cell_of(book), "value", "3" * 31),
        f"s1.xlsx:Fit checks!{{cell}}: C017: '{'3' * 30}...' is too long for a reading\n"
        "    Write it as 30.2 or 1 3/16.",
    ),
    "joined cells": (
        join_above,
        "s1.xlsx:Fit checks!{cell}: C023: the cell is joined to another, so nobody can tell which reading is meant\n"
        "    Split the cells and write each reading in its own.",
    ),
    "size the cabinet lacks": (
        lambda book: setattr(cell_of(book, heading="quantity"), "value", "divider.uper.width"),
        "s1.xlsx:Fit checks!{cell}: C014: this cabinet has no size 'divider.uper.width'\n"
        "    Did you mean 'divider.upper.width' or 'divider.lower.width'?",
    ),
    "row that asks for nothing": (
        lambda book: setattr(cell_of(book, heading="quantity"), "value", None),
        "s1.xlsx:Fit checks!{cell}: C013: '364.8' stands in a row that asks for nothing\n"
        "    Write it in the row of what was measured.",
    ),
    "unit": (
        lambda book: setattr(cell_of(book), "value", "3 furlongs"),
        "s1.xlsx:Fit checks!{cell}: C017: 'furlongs' is not a unit of length here; use mm, cm, m, in or ft\n"
        "    The cell is left out; correct it and collect the file again.",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_bad_cell_is_told_and_stops_no_other(course, name: str):
    """A cell that cannot be a reading is reported with its address; the others are taken in."""
    path = sheet_of(course, readings={(WIDTH, 1): "364.8", (WIDTH, 2): "365.0"})
    edit, says = FAULTS[name]
    cell = cell_of(load_workbook(path)).coordinate
    collected = collect(course, [changed(path, edit)])
    assert said(collected) == [says.format(cell=cell)]
    assert [r.place for r in course.log.readings("s1")] == [2]


def test_a_formula_keeps_the_value_its_program_left(course, tmp_path, office):
    """A formula is never worked out here; the value that a spreadsheet stored beside it is the reading."""
    path = changed(sheet_of(course), lambda book: setattr(cell_of(book), "value", "=364+0.8"))
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    subprocess.run(
        [office, "--headless", profile, "--convert-to", "xlsx", "--outdir", str(tmp_path), str(path)],
        check=True, capture_output=True, timeout=240,
    )  # fmt: skip
    collected = collect(course, [tmp_path / "s1.xlsx"])
    assert said(collected) == []
    (one,) = course.log.readings("s1")
    assert one.value == Fraction("364.8")
    assert [str(ask) for ask in collected.questions] == [
        f"s1.xlsx:Fit checks!{one.cell}: C103: a formula stands here; what it last came to is taken in: 364.8\n"
        "    Type the reading itself."
    ]
    assert collect(course, [tmp_path / "s1.xlsx"]).questions == ()


def test_a_number_shown_as_a_fraction_is_inches(course):
    """A program that turned 14 3/8 into a number with a fraction's format has not changed what it means, in mm either."""

    def edit(book):
        cell_of(book).value, cell_of(book).number_format = 14.375, "# ?/?"

    collect(course, [changed(sheet_of(course), edit)])
    assert [(r.raw, r.value) for r in course.log.readings("s1")] == [("14.375 in", Fraction("365.125"))]


REFUSED = {
    "another course": (
        lambda book: setattr(book[FIT]["C3"], "value", "spring-chest r1"),
        "s1.xlsx:Fit checks!C3: C009: the sheet belongs to the course 'spring-chest r1', not to 'test r1'\n"
        "    Give the right file.",
    ),
    "another revision": (
        lambda book: setattr(book[FIT]["C3"], "value", "test r0"),
        "s1.xlsx:Fit checks!C3: C010: the sheet was made for revision r0 of the plan, the course is at r1\n"
        "    Copy the readings into a new sheet, and check which parts changed.",
    ),
    "unknown student": (
        lambda book: setattr(book[FIT]["C2"], "value", "s7"),
        "s1.xlsx:Fit checks!C2: C011: no student 's7' is on the roster\n    Known are: s1, s2.",
    ),
    "head taken out": (
        lambda book: setattr(book[FIT]["B2"], "value", None),
        "s1.xlsx:Fit checks: C008: the head of the sheet does not say 'Student id'\n"
        "    Copy the readings into a new sheet of fairfit's.",
    ),
    "headings taken out": (
        lambda book: book[FIT].delete_rows(7),
        "s1.xlsx: C007: no measuring sheet is in this workbook\n"
        "    Give a sheet that fairfit made, with its headings reading, quantity and place.",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_sheet_of_something_else_is_refused(course, name: str):
    """A workbook of another course, revision or student is refused whole, in these words."""
    edit, says = REFUSED[name]
    collected = collect(course, [changed(sheet_of(course, readings={(WIDTH, 1): "364.8"}), edit)])
    assert said(collected) == [says]
    assert not course.log.all()


def bomb() -> bytes:
    memory = io.BytesIO()
    with zipfile.ZipFile(memory, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b"0" * 120_000_000)
    return memory.getvalue()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (
            b"hello, I am no workbook",
            "x.xlsx: C006: this is not a workbook\n    Save the measuring sheet again as .xlsx.",
        ),
        (b"", "x.xlsx: C006: this is not a workbook\n    Save the measuring sheet again as .xlsx."),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and more",
            "x.xlsx: C005: the workbook is locked by a password or of an old kind\n"
            "    Save it again as .xlsx, without a password.",
        ),
        (bomb(), "x.xlsx: C003: the file is larger than any measuring sheet\n    Give the sheet that fairfit made."),
    ],
    ids=["text", "empty", "locked", "bomb"],
)
def test_what_is_no_workbook_is_refused(course, data: bytes, says: str):
    """Text, nothing, a locked file and a file that unpacks to much are refused before anything is read."""
    (course.folder / "x.xlsx").write_bytes(data)
    assert said(collect(course, [course.folder / "x.xlsx"])) == [says]


def test_missing_files_and_empty_folders_are_told(course, tmp_path):
    """A name that is not there, and a folder without sheets."""
    (tmp_path / "empty").mkdir()
    collected = collect(course, [tmp_path / "empty", tmp_path / "gone.xlsx", tmp_path / "gone.csv"])
    assert said(collected) == [
        "empty: C001: there is no workbook or CSV file in this folder\n    Give another folder.",
        "gone.xlsx: C002: there is no such file\n    Check its name.",
        "gone.csv: C002: there is no such file\n    Check its name.",
    ]


@pytest.mark.parametrize("name", ["s1.xlsx", "class.csv"])
def test_a_file_that_another_program_holds_is_told(course, monkeypatch, name: str):
    """A file that may not be read is named with the reason of the system; the others come in."""
    held, other = course.folder / name, sheet_of(course, readings={(WIDTH, 1): "364.8"}, name="other.xlsx")
    held.write_bytes(b"student,quantity,reading\n")
    read = Path.read_bytes

    def locked(path: Path) -> bytes:
        if path == held:
            raise PermissionError(13, "Permission denied")
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", locked)
    collected = collect(course, [held, other])
    (told,) = said(collected)
    assert told.lower() == (
        f"{name}: c004: the file cannot be read (permission denied)\n    close other programs that use it."
    )
    assert collected.taken.added == 1


@pytest.mark.parametrize("ending", [".ods", ".xls", ".ODS", ".xlsb", ".fods"])
def test_a_workbook_of_another_kind_is_told(course, ending: str):
    """Given by name or lying in a folder, it is named with what to do; the sheets beside it come in."""
    folder = course.folder / "in"
    folder.mkdir()
    sheet_of(course, readings={(WIDTH, 1): "364.8"}, name="in/s1.xlsx")
    (folder / f"s2{ending}").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
    says = (
        f"s2{ending}: C027: a workbook of the kind {ending.lower()} is not taken in\n"
        "    Open it and save it again as .xlsx, then give that."
    )
    collected = collect(course, [folder])
    assert said(collected) == [says] and collected.taken.added == 1
    assert said(collect(course, [folder / f"s2{ending}"])) == [says]


def test_columns_may_be_moved_and_sheets_added(course):
    """Columns are found by their headings wherever another program put them."""
    path = sheet_of(course, readings={(WIDTH, 1): "364.8"})

    def move(book):
        book[FIT].insert_cols(1, 2)
        book[FIT].insert_rows(7, 3)
        book.create_sheet("My notes", 0)["A1"] = "nothing"

    collected = collect(course, [changed(path, move)])
    assert said(collected) == [] and [r.raw for r in course.log.readings("s1")] == ["364.8"]


def test_the_head_of_a_sheet_may_be_pulled_apart(course):
    """Columns inserted between 'Student id' and the id, as between all columns: the sheet is still known."""
    path = sheet_of(course, readings={(WIDTH, 1): "364.8"})
    collected = collect(course, [changed(path, lambda book: book[FIT].insert_cols(3, 2))])
    assert said(collected) == [] and [r.raw for r in course.log.readings("s1")] == ["364.8"]


@pytest.mark.parametrize("ending", [".jpg", ".pdf", ".TXT"])
def test_what_lies_beside_the_sheets_and_is_none_is_told(course, tmp_path, ending: str):
    """A photo of a paper sheet among the workbooks is not passed over in silence."""
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / f"ada{ending}").write_bytes(b"no workbook")
    says = f"ada{ending}: C034: a file of the kind {ending.lower()} holds no readings that could be taken in\n" + (
        "    If it is a sheet all the same, key its readings into a workbook."
    )
    assert said(collect(course, [tmp_path / "in"])) == said(collect(course, [tmp_path / "in" / f"ada{ending}"])) == [says]


def test_a_pasted_picture_and_a_link_are_nobodys_readings(course):
    """A photo of the joint laid over the cells, a link, a comment: the readings under them come in, nothing else."""
    path = sheet_of(course, readings={(WIDTH, 1): "364.8"})

    def paste(book):
        book[FIT].add_image(Image(io.BytesIO(base64.b64decode(PICTURE))), "B9")
        cell = cell_of(book, place=2)
        cell.value, cell.hyperlink = "365.0", "http://127.0.0.1:9/never-followed"
        cell_of(book).comment = Comment("364.1?", "s1")

    collected = collect(course, [changed(path, paste)])
    assert said(collected) == [] and [r.raw for r in course.log.readings("s1")] == ["364.8", "365.0"]


def test_a_formula_into_another_file_is_never_followed(course):
    """What the other program left as its value counts; without one the cell is told."""
    path = sheet_of(course)
    changed(path, lambda book: setattr(cell_of(book), "value", "='file:///etc/[passwd]Sheet'!A1"))
    cell = cell_of(load_workbook(path)).coordinate
    assert said(collect(course, [path])) == [
        f"s1.xlsx:Fit checks!{cell}: C012: there is a formula here without a value\n    Type the reading itself."
    ]
    assert course.log.readings() == ()


def test_a_csv_is_taken_in(course):
    """A list of readings as CSV, with semicolons and commas in numbers, keeps line and reader."""
    path = course.folder / "class.csv"
    path.write_text(
        "student;quantity;place;reading;unit;reader\ns1;door.width;1;361,8;mm;RS\ns2;door.width;1;14 1/4;;\ns9;door.width;1;1;;\n",
        "utf-8",
    )
    collected = collect(course, [path])
    assert said(collected) == ["class.csv:4:1: C011: no student 's9' is on the roster\n    Known are: s1, s2."]
    first, second = course.log.readings()
    assert (first.value, first.reader, first.cell) == (Fraction("361.8"), "RS", "2")
    assert second.value == Fraction("361.95")


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
@pytest.mark.parametrize("between", [",", ";", "\t"])
def test_a_csv_of_any_spreadsheet_is_taken_in(course, encoding: str, between: str):
    """Commas, semicolons or tabs; in UTF-8 with or without its mark, or in UTF-16 as some programs save it."""
    lines = (("student", "quantity", "place", "reading", "note"), ("s1", "door.width", "1", "361.8", "gem\u00e4\u00df"))
    path = course.folder / "class.csv"
    path.write_text("\n".join(between.join(line) for line in lines), encoding)
    assert said(collect(course, [path])) == []
    assert [(one.raw, one.note) for one in course.log.readings()] == [("361.8", "gem\u00e4\u00df")]


def test_a_csv_without_headings_is_told_so(course):
    """Not that the column '1' stands twice."""
    path = course.folder / "class.csv"
    path.write_text("s1,door.width,1,1,361.8,mm\n", "utf-8")
    assert said(collect(course, [path])) == [
        "class.csv:1: C021: the first line does not name the columns\n    The columns are student, quantity, place, "
        "attempt, reading, unit, reader, instrument, taken, note, moisture."
    ]


def csv_of(course: Course, *lines: str, name: str = "class.csv") -> Path:
    path = course.folder / name
    path.write_text("\n".join(("student,quantity,place,attempt,reading,reader", *lines, "")), "utf-8")
    return path


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1,99999999999999999999", "C015: the attempt is '99999999999999999999'\n    Write 1, 2, 3, up to 99."),
        ("1," + "9" * 5000, f"C015: the attempt is '{'9' * 30}...'\n    Write 1, 2, 3, up to 99."),
        ("1,0", "C015: the attempt is '0'\n    Write 1, 2, 3, up to 99."),
        ("²,1", "C015: the place is '²'\n    Write 1, 2, 3, up to 99."),
        ("1.5,1", "C015: the place is '1.5'\n    Write 1, 2, 3, up to 99."),
        ("-1,1", "C015: the place is '-1'\n    Write 1, 2, 3, up to 99."),
        ("100,1", "C015: the place is '100'\n    Write 1, 2, 3, up to 99."),
    ],
)
def test_places_and_attempts_are_small_whole_numbers(course, line: str, says: str):
    """Anything else in a CSV is told with its line and stops no other line."""
    path = csv_of(course, f"s1,{WIDTH},{line},364.8,", f"s1,{WIDTH},2,99,365.0,")
    collected = collect(course, [path])
    assert said(collected) == [f"class.csv:2:5: {says}"]
    assert [(r.place, r.attempt) for r in course.log.readings()] == [(2, 99)]


def test_a_size_that_nobody_measures_is_refused(course):
    """The clearance of a tenon is worked out; a reading of it would change the cabinet behind everybody's back."""
    collected = collect(course, [csv_of(course, "s1,door.tenon.clearance,1,1,0.1,", "s1,door.rail.top.length,1,1,282,")])
    assert said(collected) == [
        "class.csv:2:5: C029: 'door.tenon.clearance' is worked out and never measured\n"
        "    Did you mean 'door.tenon.length' or 'door.tenon.thickness'?"
    ]
    assert [r.quantity for r in course.log.readings()] == ["door.rail.top.length"]


def test_a_place_too_many_is_asked_about(course):
    """A shoulder is read at one place: place 9 is taken in and asked about, once."""
    path = csv_of(course, "s1,door.rail.top.shoulder,9,1,261,", f"s1,{WIDTH},3,1,364.8,")
    assert [str(ask) for ask in collect(course, [path]).questions] == [
        "class.csv:2:5: C102: door.rail.top.shoulder is read at 1 place, and this is place 9\n"
        "    It is taken in beside the others; was another attempt meant?"
    ]
    assert len(course.log.readings()) == 2 and collect(course, [path]).questions == ()


@pytest.mark.parametrize(("second", "asked"), [("365.4", 1), ("365.3", 0)])
def test_two_readers_who_disagree_on_an_opening_are_asked(course, second: str, asked: int):
    """More than 0.5 mm apart at one place of a real opening: both are kept, and the question names both (our choice)."""
    collect(course, [sheet_of(course, readings={(WIDTH, 1): "364.8"})])
    own = course.log.readings()[0].cell
    path = csv_of(course, f"s1,{WIDTH},1,1,{second},RS", f"s1,{WIDTH},2,1,366.5,RS")
    assert [str(ask).replace("\u00a0", " ") for ask in collect(course, [path]).questions] == [
        f"class.csv:2: C101: s1, {WIDTH}, place 1: the student read 364.8 (s1.xlsx:Fit checks!{own}), "
        "RS read 365.4 (class.csv:2)\n    They are 0.6 mm apart: read it again together; marks that rest on it wait until then."
    ][:asked]
    assert [r.raw for r in course.log.readings() if r.place == 1] == ["364.8", second]
    assert collect(course, [path]).questions == ()


@pytest.mark.parametrize(("second", "asked"), [("261.31", 1), ("261.3", 0)])
def test_elsewhere_two_readers_may_differ_by_the_limit_of_the_check(course, second: str, asked: int):
    """A shoulder is held to 0.3 mm: what is further apart is asked about, and both readings are kept."""
    path = csv_of(course, "s1,door.rail.top.shoulder,1,1,261,", f"s1,door.rail.top.shoulder,1,1,{second},RS")
    assert [str(ask).replace("\u00a0", " ") for ask in collect(course, [path]).questions] == [
        "class.csv:2: C101: s1, door.rail.top.shoulder, place 1: the student read 261 (class.csv:2), "
        "RS read 261.31 (class.csv:3)\n    They are 0.3 mm apart: read it again together; marks that rest on it wait until then."
    ][:asked]
    assert len(course.log.readings()) == 2


@pytest.mark.parametrize(("note", "asked"), [("", 1), ("shoulder pared back", 0)])
def test_a_part_made_again_says_what_was_cut(course, note: str, asked: int):
    """A second attempt without a note is taken in and asked about, once for all its places; the first needs none."""
    lines = "student,quantity,place,attempt,reading,note\n" + "".join(
        f"s1,door.groove.width,{place},{attempt},6.0{place},{note if attempt > 1 else ''}\n"
        for attempt in (1, 2) for place in (1, 2, 3)
    )  # fmt: skip
    path = course.folder / "again.csv"
    path.write_text(lines, "utf-8")
    collected = collect(course, [path])
    assert collected.taken.added == 6
    assert [str(ask) for ask in collected.questions if ask.code == "C110"] == [
        "again.csv:5: C110: s1, door.groove.width: attempt 2 does not say what was made again\n"
        "    Write it under note, as in 'shoulder pared back'; a part that was only read again is no new attempt."
    ][:asked]


def test_a_second_reader_has_a_column_of_their_own(course_of):
    """Both readings come in from one row, the partner's under that name; again changes nothing, and both count."""
    course = course_of(course="title: Test course\nid: test\nsecond_reader: yes\n")
    shoulder = "door.rail.top.shoulder"
    path = changed(
        sheet_of(course, readings={(shoulder, 1): "261.4"}),
        lambda book: setattr(cell_of(book, shoulder, heading="second reader"), "value", "260.6"),
    )
    collected = collect(course, [path])
    assert said(collected) == [] and collected.taken.added == 2
    assert [(one.raw, one.reader, one.cell[0]) for one in course.log.readings()] == [
        ("261.4", "", "J"), ("260.6", "second reader", "K"),
    ]  # fmt: skip
    assert [ask.says.partition(": ")[2] for ask in collected.questions if ask.code == "C101"] == [
        f"the second reader read 260.6 (s1.xlsx:Fit checks!{course.log.readings()[1].cell}), "
        f"the student read 261.4 (s1.xlsx:Fit checks!{course.log.readings()[0].cell})"
    ]
    assert course.values(course.student("s1")).number(shoulder) == 261
    assert collect(course, [path]).taken.added == 0


def test_a_fault_of_the_second_reader_has_its_own_cell(course_of):
    """A word there is told with the address of that cell, and the student's reading comes in."""
    course = course_of(course="title: Test course\nid: test\nsecond_reader: yes\n")
    path = changed(
        sheet_of(course, readings={(WIDTH, 1): "364.8"}),
        lambda book: setattr(cell_of(book, heading="second reader"), "value", "same"),
    )
    collected = collect(course, [path])
    address = cell_of(load_workbook(path), heading="second reader").coordinate
    assert said(collected)[0].startswith(f"s1.xlsx:Fit checks!{address}: C017: 'same' is not a length")
    assert [one.raw for one in course.log.readings()] == ["364.8"]


def test_states_of_parts_come_in_after_the_readings(course):
    """A part ticked as cut keeps the size that the readings of the same sheet give it."""
    path = sheet_of(course, readings={("divider.upper.height", 1): "425.1"}, states={"D-SL": ("cut", "2026-10-06")})
    assert collect(course, [path]).marked == 1
    state = course.log.states("s1")["door.stile.left"]
    assert (state.name, state.at, state.sizes["door.stile.left.length"]) == ("cut", "2026-10-06", Fraction("422.1"))
    bad = sheet_of(course, states={"D-SL": ("sawn", "")})
    assert "C019: 'sawn' is not a state of a part" in said(collect(course, [bad]))[0]


def test_a_state_of_a_part_that_the_cabinet_has_not_is_told(course):
    """A name that somebody typed over on the sheet of parts marks nothing."""
    path = sheet_of(course, states={"D-SL": ("cut", "")})
    book = load_workbook(path)
    cells = [cell for row in book[PARTS].iter_rows() for cell in row if cell.value == "door.stile.left"]
    cells[0].value = "door.stile.lefft"
    book.save(path)
    found = collect(course, [path])
    assert "C020: there is no part 'door.stile.lefft'\n    Did you mean 'door.stile.left'" in said(found)[0]
    assert found.marked == 0


@pytest.mark.parametrize(
    ("raw", "unit", "target", "says"),
    [
        ("265.2", "mm", "365", "exactly 100.0 off: retype?"),
        ("13 3/8", "in", "365.125", "one inch off: burned inch?"),
        ("355", "mm", "365", "one centimetre off: burned centimetre?"),
        ("14.3", "mm", "363", "14.3 looks like inches: 363.2\u00a0mm meant?"),
        ("356.2", "mm", "365.2", "two digits exchanged: 365.2 meant?"),
        ("36.5", "mm", "365", "ten times off: a point too many?"),
        ("3648", "mm", "365", "ten times off: a point left out?"),
        ("300", "mm", "365", "65.0\u00a0mm from what it should be: measure again?"),
        ("364.6", "mm", "365", ""),
        ("282", "mm", "284.5", ""),
    ],
)
def test_slips_are_named_by_their_size(raw: str, unit: str, target: str, says: str):
    """Story 14: 265.2 for about 365 is exactly 100 off; 13 3/8 for 14 3/8 is a burned inch; small misses are none."""
    from shared.units import length

    shown = MM if unit == "mm" else INCHES
    assert question(length(raw, unit), Fraction(target), raw, shown, unit) == says


def test_a_slip_is_asked_about_and_taken_in(course):
    """Nothing is blocked: the reading is in the log, and the question names its cell."""
    collected = collect(course, [sheet_of(course, readings={(WIDTH, 1): "265.2"})])
    (ask,) = collected.questions
    assert (
        str(ask)
        .replace("\u00a0", " ")
        .endswith(
            "C100: s1, divider.upper.width, place 1: 265.2 where about 364.0 mm is expected\n    Exactly 100.0 off: retype?"
        )
    )
    assert len(course.log.readings("s1")) == 1


def test_a_slip_is_named_once_at_its_root(course):
    """A rail that fits the slipped opening is not asked about: the opening is."""
    readings = {(WIDTH, 1): "265.2", ("door.rail.top.shoulder", 1): "261.0", ("shelf.board.length", 1): "362"}
    collected = collect(course, [sheet_of(course, readings=readings)])
    assert [problem.says.split(",")[1] for problem in collected.questions] == [" divider.upper.width"]


def test_what_follows_from_a_slip_is_not_asked_about(course):
    """One slipped digit in the opening is one question, though every size of the door follows from the opening."""
    readings = {(WIDTH, place): "265.2" for place in (1, 2, 3)} | {("door.rail.top.shoulder", 1): "261.0"}
    asked = collect(course, [sheet_of(course, readings=readings)]).questions
    assert [q.says.partition(":")[0] for q in asked] == [f"s1, {WIDTH}, place {place}" for place in (1, 2, 3)]


def test_an_older_sheet_never_takes_a_state_back(course):
    """A sheet that still says cut, taken in after the part was glued, changes nothing and is told."""
    collect(course, [sheet_of(course, states={"D-SL": ("glued", "2026-10-20")})])
    older = collect(course, [sheet_of(course, states={"D-SL": ("cut", "2026-10-06")}, name="old.xlsx")])
    assert older.marked == 0 and course.log.states("s1")["door.stile.left"].name == "glued"
    assert said(older)[0].endswith(
        "C024: door.stile.left is glued already, the sheet says 'cut'\n"
        "    Nothing is changed. If the part was made again, write remade."
    )
    remade = sheet_of(course, states={"D-SL": ("remade", "2026-10-21")}, name="new.xlsx")
    again = sheet_of(course, states={"D-SL": ("cut", "2026-10-22")}, name="newer.xlsx")
    assert [collect(course, [path]).marked for path in (remade, again)] == [1, 1]


@given(st.integers(0, 2**31))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_damage_to_a_file_is_a_traceback(course, filled: bytes, seed: int):
    """A workbook with bytes changed, cut off or doubled is taken in or refused in words; nothing is ever raised."""
    chance = random.Random(seed)
    data = bytearray(filled)
    for _ in range(chance.randint(1, 20)):
        data[chance.randrange(len(data))] = chance.randrange(256)
    path = course.folder / "damaged.xlsx"
    path.write_bytes(data[: chance.randrange(len(data))] if chance.random() < 0.3 else data)
    assert all(p.says and p.do for p in collect(course, [path]).problems)


def test_readings_survive_another_program(course, tmp_path, office):
    """Written, saved by LibreOffice as its own kind and back, and read: every reading is there."""
    asked = [
        (row.quantity, place) for row in fit_rows(course, course.student("s2")) for place in range(1, row.places + 1)
    ]
    readings = {key: f"{i % 30 + 1} 3/{2 ** (i % 5 + 2)}" for i, key in enumerate(asked)}
    path = sheet_of(course, "s2", readings)
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    for kind, source in (("ods", path), ("xlsx", tmp_path / "s2.ods")):
        subprocess.run(
            [office, "--headless", profile, "--convert-to", kind, "--outdir", str(tmp_path), str(source)],
            check=True, capture_output=True, timeout=240,
        )  # fmt: skip
    collected = collect(course, [tmp_path / "s2.xlsx"])
    assert said(collected) == []
    assert {(r.quantity, r.place): r.raw for _, r in course.log.all("s2")} == readings


def test_a_name_is_never_a_formula_in_the_sheet(course_of):
    """A name that begins with = is text in its cell."""
    course = course_of(roster='id,name\ns1,"=1+1"\n')
    book = load_workbook(io.BytesIO(measurement_workbook(course, course.students[0])))
    assert (book[FIT]["C1"].value, book[FIT]["C1"].data_type) == ("=1+1", "s")


def test_the_sheet_is_the_same_every_time_and_asks_everything_once(course):
    """Two workbooks of one student are the same bytes; each quantity and place is asked once, in its student's unit."""
    student = course.student("s2")
    assert measurement_workbook(course, student) == measurement_workbook(course, student)
    rows = fit_rows(course, student)
    assert len({row.quantity for row in rows}) == len(rows)
    door = next(row for row in rows if row.quantity == "door.rail.top.shoulder")
    assert door.target.replace("\u00a0", " ") == "10 9/32"
    book = load_workbook(io.BytesIO(measurement_workbook(course, student)))
    assert book.sheetnames == [FIT, PARTS, WHERE]
    assert not cell_of(book).protection.locked and cell_of(book, heading="target").protection.locked


def test_a_folder_is_walked(course):
    """All workbooks of a folder come in; a file beside them that is something else is left alone."""
    sheet_of(course, "s1", {(WIDTH, 1): "364"})
    sheet_of(course, "s2", {(WIDTH, 1): "14 3/8"})
    folder = course.folder / "in"
    folder.mkdir()
    for name in ("s1.xlsx", "s2.xlsx"):
        (course.folder / name).rename(folder / name)
    (folder / "photo.jpg").write_bytes(b"x")
    assert collect(read_course(course.folder), [folder]).taken.added == 2


WEIRD = (
    "", " ", "0", "-1", "1e400", "nan", "inf", "1e-9", "²", "٣", "½", "1/0", "=1+1", "#REF!", "TRUE", "2026-01-02", "364,8",
    "36.4.8", "9" * 400, "\u00a0364\u00a0", "<b>", "{{ 7 * 7 }}", "\U0001fa9a", "s2", "test r9", "in", "furlong", "mm",
    "divider.upper.width", "door.tenon.clearance", "stock.frame.material", "a.b", "reading", "quantity", "Student id",
)  # fmt: skip
"""What may come to stand in a cell by mistake or in malice."""
WHOLE_FILE = ("C003", "C004", "C005", "C006", "C007", "C021")


def taken_or_told(course: Course, path: Path, data: bytes, kept: bytes) -> list[str]:
    """Takes a file in on top of earlier readings; gives the codes of what was told."""
    (course.folder / "course.db").write_bytes(kept)
    course.fresh()
    earlier = course.log.all()
    path.write_bytes(data)
    collected = collect(course, [path])
    assert course.log.all()[: len(earlier)] == earlier
    for told in (*collected.problems, *collected.questions):
        assert told.says and told.do and told.place.file == path.name, told
        assert told.code in WHOLE_FILE or told.place.cell or told.place.line, told
    again = collect(course, [path]).taken
    assert (again.added, again.corrected) == (0, 0)
    return [told.code for told in (*collected.problems, *collected.questions)]


def kept_log(course: Course) -> bytes:
    path = csv_of(course, f"s1,{WIDTH},1,1,364.8,", f"s2,{WIDTH},1,1,14 3/8,", "s1,door.width,1,1,361,RS")
    assert collect(course, [path]).taken.added == 3
    return (course.folder / "course.db").read_bytes()


def test_no_mutated_workbook_is_a_traceback(course):
    """Of 1,000 workbooks with cells changed, swapped, emptied or turned into other types, each is taken in or told."""
    kept, chance = kept_log(course), random.Random(20261005)
    path = sheet_of(course, readings={(WIDTH, place): "364.8" for place in (1, 2, 3)} | {("door.width", 1): "361"})

    def short(book):
        book[FIT].delete_rows(cell_of(book).row + 4, 500)
        book[FIT].delete_rows(8, cell_of(book).row - 9)
        book[PARTS].delete_rows(12, 500)
        del book[WHERE]  # pictures, in which nothing is written

    with zipfile.ZipFile(changed(path, short)) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    words = [escape(word).encode() for word in WEIRD]
    cells = {name: re.findall(rb'<c r="[A-Z]+\d+"[^>]*?(?:/>|>.*?</c>)', data) for name, data in parts.items()}
    codes: set[str] = set()
    for _ in range(1000):
        mutant = dict(parts)
        name = f"xl/worksheets/sheet{chance.choice((1, 1, 1, 2))}.xml"
        for cell in chance.sample(cells[name], chance.randint(1, 6)):
            inner = chance.choice([
                b' t="inlineStr"><is><t>%s</t></is></c>' % chance.choice(words),
                b' t="inlineStr"><is><t>%s</t></is></c>' % chance.choice(words),
                b"><v>%s</v></c>" % chance.choice([b"1e308", b"-0", b"0.1", b"46024", b"364.8", b"nan", b"1e999", b"x"]),
                b' t="b"><v>1</v></c>', b' t="e"><v>#DIV/0!</v></c>', b"><f>1+1</f></c>", b"><f>1+1</f><v>364.8</v></c>",
                b' t="d"><v>2026-01-02T00:00:00</v></c>', b' t="s"><v>99999</v></c>', b"/>",
                re.sub(rb'<c r="[A-Z]+\d+"', b"", chance.choice(cells[name])),
            ])  # fmt: skip
            address = re.match(rb'<c r="[A-Z]+\d+"', cell)
            assert address
            mutant[name] = mutant[name].replace(cell, address[0] + inner, 1)
        memory = io.BytesIO()
        with zipfile.ZipFile(memory, "w") as packed:
            for inside, data in mutant.items():
                packed.writestr(inside, data)
        codes.update(taken_or_told(course, path, memory.getvalue(), kept))
    assert {"C006", "C007", "C008", "C014", "C015", "C016", "C017", "C018", "C019", "C103"} <= codes


def test_no_mutated_csv_is_a_traceback(course):
    """Of 1,000 CSV texts with cells, headings, quotes and bytes changed, each is taken in or told."""
    kept, chance = kept_log(course), random.Random(20261005)
    codes: set[str] = set()
    for _ in range(1000):
        table = [["student", "quantity", "place", "attempt", "reading", "unit", "reader"]]
        table += [["s1", WIDTH, str(place), "1", f"364.{place}", "mm", ""] for place in range(1, 6)]
        for _ in range(chance.randint(1, 6)):
            row = chance.choice(table if chance.random() < 0.2 else table[1:])
            row[chance.randrange(len(row))] = chance.choice(WEIRD)
        if chance.random() < 0.1:
            chance.choice(table[1:])[1] = "door.tenon.clearance"
        data = bytearray("\n".join(chance.choice(",,;").join(row) for row in table).encode())
        for _ in range(chance.choice((0, 0, 0, 1, 3))):
            data[chance.randrange(len(data))] = chance.choice((*b'",;\n\r', 0, 255, 44, 34))
        codes.update(taken_or_told(course, course.folder / "mutant.csv", bytes(data), kept))
    assert {"C004", "C011", "C014", "C015", "C017", "C018", "C021", "C022", "C029"} <= codes


def _collect_at_once(folder: str, inbox: str, gate) -> None:
    course = read_course(Path(folder))
    gate.wait(60)
    collect(course, [Path(inbox)])


def test_two_collects_at_once_leave_a_whole_log(course):
    """Two people take the same folder in at the same time: both end, everything is there, nothing twice."""
    inbox = course.folder / "in"
    inbox.mkdir()
    for student, raw in (("s1", "364.8"), ("s2", "14 3/8")):
        readings = {(WIDTH, place): raw for place in (1, 2, 3)}
        states = {label: ("cut", "2026-10-06") for label in ("D-SL", "D-SR", "D-RT")}
        sheet_of(course, student, readings, states, name=f"in/{student}.xlsx")
    spawn = multiprocessing.get_context("spawn")
    gate = spawn.Barrier(2)
    both = [spawn.Process(target=_collect_at_once, args=(str(course.folder), str(inbox), gate)) for _ in range(2)]
    for process in both:
        process.start()
    for process in both:
        process.join(120)
    assert [process.exitcode for process in both] == [0, 0]
    assert [(r.student, r.place) for _, r in course.log.all()] == [(s, p) for s in ("s1", "s2") for p in (1, 2, 3)]
    assert len(course.log.states("s1")) == len(course.log.states("s2")) == 3
    with sqlite3.connect(course.log.path) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("SELECT count(*) FROM state").fetchone() == (6,)


def test_the_mean_of_readings_of_the_same_part_counts(course):
    """'364.8; 365.0' is one reading of 364.9 that was taken twice, and so are two fractions."""
    collect(course, [sheet_of(course, readings={(WIDTH, 1): "364.8; 365.0", (WIDTH, 2): "365"})])
    collect(course, [sheet_of(course, "s2", {(WIDTH, 1): "14 3/8; 14 23/64"})])
    twice, once = course.log.readings("s1")
    (inches,) = course.log.readings("s2")
    assert (twice.raw, twice.value, twice.times, once.times) == ("364.8; 365.0", Fraction("364.9"), 2, 1)
    assert inches.value == (Fraction("14.375") + Fraction("14.359375")) / 2 * Fraction("25.4")


def test_measuring_again_makes_a_reading_surer(course):
    """Three caliper readings in one cell: the handling, 0.03 mm, falls with the root of three, GUM 4.2."""
    stile = "door.stile.left.width"
    check = next(c for c in checks_of(course) if c.id == stile)
    found = []
    for raw in ("50.0", "50.0; 50.1; 49.9"):
        collect(course, [sheet_of(course, readings={(stile, 1): raw}, name=f"{len(found)}.xlsx")])
        course.fresh()
        found += measure(check, course, course.student("s1"))
    once, again = found
    assert (once.value, again.value) == (50, 50)
    assert once.u**2 - again.u**2 == pytest.approx(0.03**2 * (1 - 1 / 3))


@pytest.mark.parametrize(
    ("raw", "says"), [("364.8; ", "'' is not a length"), ("364.8; six", "'six' is not a length"), ("-1; 3", "'-1; 3' is less")]
)
def test_each_of_several_readings_must_be_one(course, raw: str, says: str):
    """One that is none is told, and the cell is kept as typed."""
    collected = collect(course, [sheet_of(course, readings={(WIDTH, 1): raw})])
    assert [p.code for p in collected.problems if says in p.says]


def test_what_cannot_be_a_reading_is_kept_as_typed(course):
    """A word is told, kept with its raw text and cell, moves nothing, and waits among the held readings."""
    collected = collect(course, [sheet_of(course, readings={(WIDTH, 1): "six", (WIDTH, 2): "365"})])
    assert collected.taken.added == 1
    ((_, held),) = course.log.held("s1")
    assert (held.raw, held.value, held.quantity) == ("six", None, WIDTH)
    assert held.held.startswith("'six' is not a length")
    assert course.values(course.student("s1"))[WIDTH] == 365


def test_a_reading_larger_than_the_piece_is_left_out_until_confirmed(course):
    """3650 for an opening of 364 is kept, asked about, and counts only once it is confirmed."""
    collected = collect(course, [sheet_of(course, readings={(WIDTH, 1): "3650"})])
    (ask,) = [p for p in collected.questions if p.code == "C105"]
    assert str(ask).replace("\u00a0", " ").endswith(
        "C105: s1, divider.upper.width, place 1: 3650 is off by more than the piece itself, about 364.0 mm is expected\n"
        "    Ten times off: a point left out? It is kept and left out. Confirm it with `fairfit confirm`, or read it again."
    )
    assert course.values(course.student("s1"))[WIDTH] == 364
    ((number, _),) = course.log.held("s1")
    course.log.confirm(number, "RS", "2026-10-06")
    course.fresh()
    assert course.values(course.student("s1"))[WIDTH] == 3650


def test_a_reading_of_a_fraction_of_the_piece_is_left_out(course):
    """14.4 for an opening of 364 was read in inches or is another cell's: no frame of it is put on the cut list."""
    collected = collect(course, [sheet_of(course, readings={(WIDTH, 1): "14.4"})])
    assert [p.says.replace("\u00a0", " ") for p in collected.questions if p.code == "C105"] == [
        "s1, divider.upper.width, place 1: 14.4 is less than a quarter of what is expected, about 364.0 mm"
    ]
    assert course.values(course.student("s1"))[WIDTH] == 364


def test_a_state_with_a_date_that_is_none_counts_without_it(course):
    """The state is recorded, the date is told: nobody can cut on the thirtieth of February."""
    collected = collect(course, [sheet_of(course, states={"C-T": ("cut", "2026-02-30")})])
    assert [str(p).partition(": ")[2] for p in collected.problems] == [
        "C111: case.top is cut, and its date is '2026-02-30'\n"
        "    It counts without a date; write it as 2026-10-05 and collect the sheet again."
    ]
    state = course.log.states("s1")["case.top"]
    assert (state.name, state.at) == ("cut", "")


def test_a_reading_of_a_glued_part_waits(course):
    """A new size for a stile that is in a glued door does not move anything by itself."""
    course.mark(course.student("s1"), "D-SL", "glued")
    collected = collect(course, [sheet_of(course, readings={("door.stile.left.width", 1): "49"})])
    assert [p.says for p in collected.questions if p.code == "C105"] == [
        "s1, door.stile.left.width, place 1: 49 is of D-SL, which is glued already"
    ]
    assert course.values(course.student("s1"))["door.stile.left.width"] == 50


@pytest.mark.parametrize("days", ["ends: 2026-12-11\n", "sessions: [2026-12-04, 2026-12-11]\n"])
def test_a_reading_from_after_the_course_waits(course_of, days):
    """A date after the last day of the course, or else of its sessions, is a slip of the pen."""
    course = course_of(course=f"title: T\nid: test\ndate: 2026-10-05\n{days}")
    path = course.folder / "late.csv"
    path.write_text("student,quantity,place,reading,unit,taken\ns1,door.width,1,361,mm,2027-10-06\n", "utf-8")
    collected = collect(course, [path])
    assert [p.says for p in collected.questions] == [
        "s1, door.width, place 1: 361 is dated 2027-10-06, after the course ends on 2026-12-11"
    ]
    assert course.log.readings() == () and [one.raw for _, one in course.log.held()] == ["361"]


def test_a_date_that_is_none_is_asked_about(course_of):
    """7.12.2026 is not after 2026-12-11: the reading counts, and the date is to be written so that it can be read."""
    course = course_of(course="title: T\nid: test\nends: 2026-12-11\n")
    path = course.folder / "class.csv"
    path.write_text("student,quantity,reading,unit,taken\ns1,door.width,361,mm,7.12.2026\n", "utf-8")
    (ask,) = collect(course, [path]).questions
    assert str(ask) == (
        "class.csv:2: C108: s1, door.width, place 1: its date is '7.12.2026'\n    Write it as 2026-10-05."
    )
    assert [one.raw for one in course.log.readings()] == ["361"]


def dated(book):
    """A column that an instructor added for the date of each reading."""
    cell = cell_of(book)
    sheet = book[FIT]
    top, _ = cells_by_heading(sheet, ("reading", "quantity", "place"))
    sheet.cell(top, sheet.max_column + 1).value = "taken"
    sheet.cell(cell.row, sheet.max_column).value = datetime.datetime(2027, 10, 6)


BAD = {
    "of a part that does not exist": (
        lambda book: setattr(cell_of(book, heading="quantity"), "value", "dor.stile.left.width"), "364.8",
        "C014: this cabinet has no size 'dor.stile.left.width'",
    ),
    "of a glued part": (
        lambda book: (setattr(cell_of(book, "door.stile.left.width"), "value", "49"), setattr(cell_of(book), "value", "")),
        "49", "C105: s1, door.stile.left.width, place 1: 49 is of D-SL, which is glued already",
    ),
    "in the future": (dated, "364.8", "C105: s1, divider.upper.width, place 1: 364.8 is dated 2027-10-06"),
    "in an unknown unit": (
        lambda book: setattr(cell_of(book), "value", "3 furlongs"), "3 furlongs", "C017: 'furlongs' is not a unit of length"
    ),
    "on a sheet in an unknown unit": (
        lambda book: setattr(book[FIT]["C4"], "value", "cm"), "364.8", "C017: '364.8' has no unit",
    ),
    "negative": (lambda book: setattr(cell_of(book), "value", -364.8), "-364.8", "C018: '-364.8' is less than nothing"),
    "off by more than the piece": (
        lambda book: setattr(cell_of(book), "value", "3648"), "3648",
        "C105: s1, divider.upper.width, place 1: 3648 is off by more than the piece itself",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_bad_reading_is_kept_and_moves_nothing(course_of, name: str):
    """Each kind of bad reading, in a workbook: kept as typed, named with file, sheet and cell, left out of all sizes."""
    course = course_of(course="title: T\nid: test\nends: 2026-12-11\n")
    ada = course.student("s1")
    course.mark(ada, "D-SL", "glued")
    before = course.values(ada).all
    edit, raw, says = BAD[name]
    collected = collect(course, [changed(sheet_of(course, readings={(WIDTH, 1): "364.8"}), edit)])
    told = [str(p).replace("\u00a0", " ") for p in (*collected.problems, *collected.questions)]
    ((_, kept),) = course.log.held("s1")
    assert (kept.raw, kept.source, kept.sheet) == (raw, "s1.xlsx", FIT)
    assert any(line.startswith(f"s1.xlsx:{FIT}!{kept.cell}: {says}") for line in told)
    assert course.log.readings() == () and course.values(ada).all == before


def test_a_sheet_in_an_unknown_unit_is_told_at_its_head(course):
    """Once for the sheet, at the cell that names it; a reading that names its own unit is taken in."""
    path = sheet_of(course, readings={(WIDTH, 1): "36.5 cm"})
    collected = collect(course, [changed(path, lambda book: setattr(book[FIT]["C4"], "value", "cm"))])
    assert said(collected) == ["s1.xlsx:Fit checks!C4: C022: the unit is 'cm'\n    Write mm or in."]
    assert course.log.readings()[0].value == 365


def test_a_part_made_after_the_course_is_told(course_of):
    """The state counts, since the part is there; the date is to be mended."""
    course = course_of(course="title: T\nid: test\nends: 2026-12-11\n")
    collected = collect(course, [sheet_of(course, states={"D-SL": ("cut", "2062-10-05")})])
    (told,) = said(collected)
    assert "C109: door.stile.left is cut on 2062-10-05, after the course ends on 2026-12-11" in told
    assert course.log.states("s1")["door.stile.left"].name == "cut"


def test_what_readings_were_made_to_is_kept_with_them(course_of):
    """Grooves read at 10.5 by a plan of 10.5 stay right when the plan asks for 12 afterwards; what is not read follows."""
    course = course_of()
    depth, shoulder = "door.groove.depth", "door.rail.top.shoulder"
    collect(course, [sheet_of(course, readings={(depth, 1): "10.5", (depth, 2): "10.5", (depth, 3): "10.5"})])
    plan = (course.folder / "plan.yaml").read_text("utf-8")
    (course.folder / "plan.yaml").write_text(
        plan.replace("    stile.width: 50\n", "    stile.width: 47\n    groove.depth: 12\n"), "utf-8"
    )
    edited = read_course(course.folder)
    ada, bo = edited.students
    assert [AsMade(edited, one, edited.values(one)).target(depth) for one in (ada, bo)] == [Fraction("10.5"), 12]
    assert AsMade(edited, ada, edited.values(ada)).target(shoulder) == 267
    marks = [mark for mark in grade(edited).marks if mark.check.reads[0][0] == depth]
    assert marks and all(mark.level.share == 1 and mark.target == Fraction("10.5") for mark in marks)
    again = collect(edited, [sheet_of(edited, readings={(depth, 1): "10.6"}, name="later.xlsx")])
    assert again.taken.corrected == 1
    assert AsMade(edited, ada, edited.values(ada)).target(depth) == Fraction("10.5")
