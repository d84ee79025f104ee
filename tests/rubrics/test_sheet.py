"""Measuring sheets: what a student reads on them, and how they behave in a spreadsheet and on paper."""

from __future__ import annotations

import io
import zipfile
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pytest
from openpyxl import load_workbook

from course.course import Course
from course.course_folder import read_course
from course.readings import STATES, Reading
from rubrics.checks import checks_of
from rubrics.fit_rows import _between, fit_rows
from rubrics.sheet import measurement_workbook, write_sheet
from rubrics.sheet_columns import COLUMNS, FIT, PARTS, TOP, WHERE, cells_by_heading
from rubrics.sheet_files import fill
from shared.problems import InputRefused
from shared.units import INCHES, length

ROSTER = "id,name,bench,units,large_print\ns1,Ada Test,1,mm,no\ns2,Bo Test,2,in,no\ns3,Cy Test,3,decimal in,yes\n"


@pytest.fixture
def course(course_of) -> Course:
    return course_of(roster=ROSTER)


def row_of(course: Course, quantity: str, student: str = "s1"):
    return next(row for row in fit_rows(course, course.student(student)) if row.quantity == quantity)


def book_of(course: Course, student: str = "s1"):
    return load_workbook(io.BytesIO(measurement_workbook(course, course.student(student))))


def rows_of(sheet):
    """The rows that ask for something, as mappings by heading."""
    top, columns = cells_by_heading(sheet, ("reading", "quantity", "place"))
    for line in range(top + 1, sheet.max_row + 1):
        if sheet.cell(line, columns["quantity"]).value:
            yield {heading: sheet.cell(line, column) for heading, column in columns.items()}


def plain(*texts: str) -> tuple[str, ...]:
    return tuple(text.replace("\u00a0", " ") for text in texts)


def test_limits_stand_around_the_students_own_target(course):
    """A rail that should be 261.0 may be 260.7 to 261.3; after a wider opening was read, its limits move along."""
    row = row_of(course, "door.rail.top.shoulder")
    assert (row.target, row.lower, row.upper) == ("261.0", "260.7", "261.3")
    course.log.add([Reading("s1", "divider.upper.width", 1, 1, "365.2", Fraction("365.2"))])
    course.fresh()
    row = row_of(course, "door.rail.top.shoulder")
    assert (row.target, row.lower, row.upper) == ("262.2", "261.9", "262.5")


def test_the_limits_of_a_part_follow_from_the_fit_it_must_make(course):
    """F7 and its hold point: in a groove of 6.10 the tenon is 6.0 and may be 5.9 to 6.05."""
    course.log.add([Reading("s1", "door.groove.width", 1, 1, "6.10", Fraction("6.1"))])
    course.fresh()
    row = row_of(course, "door.tenon.thickness")
    assert (row.target, row.lower, row.upper, row.what) == ("6.0", "5.9", "6.05", "thickness of the tenon")


def test_limits_in_inches_stand_on_the_marks_of_a_rule(course):
    """A rail of 261.0 mm within 0.3 is between 10 17/64 and 10 9/32 on a rule of 64ths: no mark outside the band."""
    row = row_of(course, "door.rail.top.shoulder", "s2")
    assert plain(row.target, row.lower, row.upper) == ("10 9/32", "10 17/64", "10 9/32")
    for mark in (Fraction(10) + Fraction(17, 64), Fraction(10) + Fraction(9, 32)):
        assert abs(mark * Fraction("25.4") - 261) <= Fraction("0.3")
    assert plain(row_of(course, "door.groove.width", "s2").lower) == ("0.233",)


@pytest.mark.parametrize("student", ["s1", "s2"])
def test_no_reading_that_keeps_to_the_sheet_is_outside(course, student):
    """Limits are printed to the last mark inside, in mm and in inches: 0.15 apart is 0.005 in, 10.5 and more 0.414 in."""
    unit = course.student(student).unit
    checks = {name: check for check in reversed(checks_of(course)) for name, _, _ in check.reads}
    seen = 0
    for row in fit_rows(course, course.student(student)):
        check = checks.get(row.quantity)
        if check is None or check.formula or not row.upper:
            continue
        target = course.values(course.student(student)).target(row.quantity)
        target = check.target.run(course.values(course.student(student)).all) if check.target else target
        top = length(row.upper.removesuffix(" apart"), unit)
        assert top <= check.upper + (0 if row.upper.endswith("apart") else target), row
        if row.lower:
            assert target + check.lower <= length(row.lower, unit) <= length(row.target, unit) <= top, row
        seen += 1
    assert seen > 30
    texts = plain(row_of(course, "stock.frame.thickness", "s2").upper, row_of(course, "door.groove.depth", "s2").lower)
    assert texts == ("0.005 apart", "0.414")


def test_a_limit_finer_than_a_mark_is_printed_in_thousandths(course):
    """Two rails within 0.4 mm: one sixty-fourth. Within 0.3 mm no mark but 0 would be left: 0.011 in."""
    assert plain(*_between(Fraction(0), Fraction(0), Fraction("0.4"), INCHES, False)) == ("0", "0", "1/64")
    assert plain(*_between(Fraction(0), Fraction(0), Fraction("0.3"), INCHES, False)) == ("0.0", "0.0", "0.011")


def test_a_difference_says_how_far_apart_two_readings_may_be(course):
    """Diagonals have no limits of their own; the stock is read as it is, not as a difference."""
    row = row_of(course, "case.diagonal.front_a")
    assert plain(row.lower, row.upper) == ("", "1.0 apart")
    assert row_of(course, "stock.frame.thickness").what.startswith("thickness of the frame stock")


def test_a_reveal_is_read_against_the_wanted_gap(course):
    """Whatever the door came out as, its reveal should be 1.5 within 0.3."""
    course.log.add([Reading("s1", "door.width", 1, 1, "358", Fraction(358))])
    course.fresh()
    row = row_of(course, "door.reveal.left")
    assert (row.target, row.lower, row.upper) == ("1.5", "1.2", "1.8")


def test_a_reading_that_does_not_move_the_result_has_no_limits(course_folder):
    """Of a fit by the wider of two, the narrower is read without limits; nothing is divided by nothing."""
    folder = course_folder()
    (folder / "checks").mkdir()
    (folder / "checks" / "wider.yaml").write_text(
        "check: wider\ntitle: Wider\nfor: [frame and panel]\nitems:\n"
        "  - {title: wider of two, kind: fit, reads: [stile.left.length, rail.top.length], lower: -1 mm, upper: 1 mm,\n"
        "     is: 'max(stile.left.length, rail.top.length)', target: stile.left.length}\n",
        "utf-8",
    )
    course = read_course(folder)
    narrow, wide = (row_of(course, f"door.{name}.length") for name in ("rail.top", "stile.left"))
    assert (narrow.lower, narrow.upper) == ("", "") and (wide.lower, wide.upper) != ("", "")


def test_every_place_has_a_row_and_every_row_is_told_apart(course):
    """Each quantity has as many rows as places; no two rows of one place read the same."""
    rows = list(rows_of(book_of(course)[FIT]))
    asked = [(row["quantity"].value, row["place"].value) for row in rows]
    expected = [(r.quantity, str(p)) for r in fit_rows(course, course.student("s1")) for p in range(1, r.places + 1)]
    assert asked == expected and len(set(asked)) == len(asked)
    seen = [tuple(row[heading].value for heading in ("check", "where", "what to measure", "place")) for row in rows]
    assert len(set(seen)) == len(seen)


def test_only_the_cells_to_be_written_are_open_and_they_are_text(course):
    """Labels cannot be typed over by mistake, there is no password, and 1/2 stays 1/2."""
    book = book_of(course)
    for row in rows_of(book[FIT]):
        for heading, cell in row.items():
            written = heading in ("reading", "note")
            assert cell.protection.locked is not written
            assert not written or cell.number_format == "@"
    for sheet in book.worksheets:
        assert sheet.protection.sheet and not sheet.protection.password


def test_a_second_reader_is_asked_for_where_a_partner_checks(course_of):
    """With `second_reader: yes` there is a column; open where two people read, closed where a gauge decides."""
    course = course_of(roster=ROSTER, course="title: Test course\nid: test\nsecond_reader: yes\n")
    open_ = {
        row["quantity"].value: not row["second reader"].protection.locked for row in rows_of(book_of(course)[FIT])
    }
    assert open_["door.rail.top.shoulder"] and open_["divider.upper.width"] and not open_["door.groove.width"]
    assert {row.quantity: row.second for row in fit_rows(course, course.student("s1"))} == open_


def test_without_the_setting_nobody_is_asked_twice(course):
    """No column, and no row that asks for a second person."""
    assert "second reader" not in next(rows_of(book_of(course)[FIT]))
    assert not any(row.second for row in fit_rows(course, course.student("s1")))


def test_a_second_reading_is_printed_in_large_print_too(course_of):
    """There the columns after the readings are left out, and the second reading is one."""
    course = course_of(roster=ROSTER, course="title: Test course\nid: test\nsecond_reader: yes\n")
    sheet = book_of(course, "s3")[FIT]
    _, columns = cells_by_heading(sheet, ("reading", "quantity"))
    assert sheet.print_area.partition(":")[2].startswith("$K$") and columns["second reader"] == 11


def test_an_unusual_entry_brings_a_warning_and_may_stand(course):
    """Validation never blocks: its style is a warning, on the readings and on the states."""
    book = book_of(course)
    (long,) = book[FIT].data_validations.dataValidation
    (state,) = book[PARTS].data_validations.dataValidation
    assert (long.errorStyle, state.errorStyle) == ("warning", "warning")
    assert state.formula1 == '"' + ",".join(STATES) + '"'
    lines = [row["reading"].row for row in rows_of(book[FIT])]
    assert all(f"J{line}" in long.sqref for line in (lines[0], lines[-1]))


def test_the_sheet_prints_as_wide_as_the_page_with_its_headings(course):
    """Landscape, one page wide, headings repeated, the course's paper; what only the program reads is not printed."""
    sheet = book_of(course)[FIT]
    assert (sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (
        "landscape", 1, 0,
    )  # fmt: skip
    assert sheet.page_setup.paperSize == 9 and sheet.print_title_rows == f"${TOP}:${TOP}"
    assert sheet.print_area.endswith(f"$K${sheet.max_row}") and COLUMNS[-1].heading == "quantity"


def test_the_parts_print_upright(course):
    """The few columns of the parts are no wider than an upright page; in large print they are."""
    assert book_of(course)[PARTS].page_setup.orientation == "portrait"
    assert book_of(course, "s3")[PARTS].page_setup.orientation == "landscape"


def test_large_print_is_larger_on_paper_too(course):
    """Type grows by more than the sheet does, so that fitting to the page does not take it back."""
    def type_and_width(student: str) -> tuple[float, float]:
        sheet = book_of(course, student)[FIT]
        first = next(rows_of(sheet))
        printed = sheet.print_area.partition(":")[2].strip("$").partition("$")[0]
        letters = [c for c in "ABCDEFGHIJKL" if c <= printed and not sheet.column_dimensions[c].hidden]
        return first["reading"].font.size, sum(sheet.column_dimensions[c].width for c in letters)

    size, width = type_and_width("s1")
    large, wide = type_and_width("s3")
    assert large >= 16 and (large / wide) / (size / width) > 1.3


@pytest.mark.parametrize("name", ['=cmd("x")', "+1", "-1", "@SUM(A1)", "<b>{{ 7*7 }}</b>", "Zoë 🪚"])
def test_a_name_is_only_ever_text(course_of, name: str):
    """Names that look like a formula, markup or a template stand in the sheet as typed."""
    quoted = name.replace('"', '""')
    course = course_of(roster=f'id,name\ns1,"{quoted}"\n')
    for sheet in book_of(course).worksheets:
        cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
        assert all(cell.data_type == "s" for cell in cells)
        assert [cell.value for cell in cells].count(name) == (sheet.title != WHERE)


def test_nothing_in_the_file_tells_the_time(course):
    """The same student gives the same bytes, and every date in the archive is fixed; so does filling in."""
    student = course.student("s1")
    data = measurement_workbook(course, student)
    assert data == measurement_workbook(course, student)
    filled = fill(data, {("door.width", 1): "361"}, {"D-SL": ("cut", "2026-10-06")})
    assert filled == fill(data, {("door.width", 1): "361"}, {"D-SL": ("cut", "2026-10-06")}) != data
    for content in (data, filled):
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            assert {info.date_time for info in packed.infolist()} == {(2000, 1, 1, 0, 0, 0)}


def test_a_sheet_holds_one_students_data_only(course):
    """Nobody else's name or id stands in a student's workbook."""
    data = measurement_workbook(course, course.student("s1"))
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        text = b"".join(packed.read(name) for name in packed.namelist())
    assert b"Ada Test" in text and b"Bo Test" not in text and b">s2<" not in text


def test_the_second_demo_gets_sheets_with_the_same_code():
    """A plan in inches with other joints and a pair of doors is asked for its own sizes."""
    course = read_course(Path(str(files("course").joinpath("demo_inches"))))
    asked = {row.quantity for row in fit_rows(course, course.students[0])}
    assert {"post.dado.1_top.width", "back.muntin.2.shoulder", "doors.right.tenon.thickness"} <= asked


@pytest.mark.parametrize(
    ("readings", "states"), [({("divider.upper.width", 1): "364"}, {}), ({}, {"D-SL": ("cut", "2026-10-06")})]
)
def test_a_sheet_that_was_written_into_is_never_written_over(course_of, tmp_path, readings, states):
    """A student typed into the sheet itself: preparing again leaves it and says so; an untouched one is made anew."""
    course = course_of()
    student, path = course.student("s1"), tmp_path / "s1.xlsx"
    assert write_sheet(course, student, path) == path
    typed = fill(path.read_bytes(), readings, states)
    path.write_bytes(typed)
    with pytest.raises(InputRefused) as refused:
        write_sheet(course, student, path)
    assert str(refused.value) == (
        "s1.xlsx: C033: somebody wrote into the measuring sheet, so it is left as it is\n"
        "    Collect it, then move it away and prepare again."
    )
    assert path.read_bytes() == typed
    path.write_bytes(fill(measurement_workbook(course, student), {}, {}))
    course.mark(student, "D-SL", "cut")
    assert write_sheet(course, student, path).read_bytes() == measurement_workbook(course, student)
