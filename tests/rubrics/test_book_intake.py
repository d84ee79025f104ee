"""What an instructor changes in the gradebook comes back: as new rows, marked, once, and nothing is lost."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.utils.exceptions import IllegalCharacterError
from openpyxl.worksheet.worksheet import Worksheet

from course.course import Course
from course.readings import Judgement, Reading
from rubrics.final import final_csv, final_marks
from rubrics.gradebook import write_gradebook
from rubrics.grading import grade
from rubrics.intake import Collected, collect

SHOULDER, WIDTH = "door.rail.top.shoulder", "divider.upper.width"


@pytest.fixture
def course(course_of) -> Course:
    """Two students; the second works in inches."""
    made = course_of()
    made.log.add([
        *(Reading("s1", WIDTH, place, 1, text, Fraction(text), source="a.xlsx", cell=f"E{place}", note="hook bent")
          for place, text in enumerate(("365.2", "364.8", "365"), 1)),
        Reading("s1", SHOULDER, 1, 1, "261.4", Fraction("261.4"), "rule", source="a.xlsx"),
        Reading("s2", SHOULDER, 1, 1, "10 3/8", Fraction("263.525"), "rule", source="b.xlsx"),
        Reading("s2", "door.groove.width", 1, 1, "six", None, source="b.xlsx", held="'six' is not a length"),
    ])  # fmt: skip
    made.fresh()
    return made


def rows_of(sheet: Worksheet) -> tuple[dict[str, int], range]:
    top = next(row for row in range(1, 10) if sheet.cell(row, 1).value == "student")
    return {cell.value: cell.column for cell in sheet[top]}, range(top + 1, sheet.max_row + 1)


def row_of(sheet: Worksheet, **wanted: object) -> int:
    heads, rows = rows_of(sheet)
    return next(r for r in rows if all(sheet.cell(r, heads[h]).value == v for h, v in wanted.items()))


def put(sheet: Worksheet, row: int, **cells: object) -> str:
    """Type into cells of a row under their headings; gives the address of the last."""
    heads, _ = rows_of(sheet)
    for heading, value in cells.items():
        cell = sheet.cell(row, heads[heading.replace("_", " ")])
        cell.value = value
    return cell.coordinate


@pytest.fixture
def edited(course, tmp_path) -> Callable[[Callable[[openpyxl.Workbook], None]], Collected]:
    """Writes the gradebook, lets it be changed and collected; gives what became of it."""
    file = tmp_path / "out" / "gradebook.xlsx"
    file.parent.mkdir()

    def edit(change: Callable[[openpyxl.Workbook], None], again: bool = False) -> Collected:
        if not again:
            file.write_bytes(write_gradebook(grade(course)))
        book = openpyxl.load_workbook(io.BytesIO(file.read_bytes()))
        change(book)
        book.save(file)
        return collect(course, [file.parent])

    return edit


def nothing(book: openpyxl.Workbook) -> None:
    """Opened and saved."""


def codes(found: Collected) -> list[str]:
    return [problem.code for problem in (*found.problems, *found.questions)]


def test_an_unchanged_gradebook_brings_nothing(course, edited):
    """Opened, saved and collected: no new row and no word."""
    found = edited(nothing)
    assert (found.taken.added, found.taken.corrected, found.judged, codes(found)) == (0, 0, 0, [])
    assert len(course.log.all()) == 6


@pytest.mark.parametrize(
    ("heading", "value", "raw", "size"),
    [("typed", "262.6", "262.6", "262.6"), ("mm", 262.6, "262.6 mm", "262.6"), ("typed", 262.6, "262.6", "262.6")],
)
def test_a_changed_cell_becomes_a_new_row(course, edited, heading, value, raw, size):
    """The new reading counts and is marked with its cell and what stood there; the old one stays in the log."""
    cells = []
    found = edited(lambda book: cells.append(
        put(book["Readings"], row_of(book["Readings"], student="s1", quantity=SHOULDER), **{heading: value})))  # fmt: skip
    assert (found.taken.added, found.taken.corrected, found.problems) == (0, 1, ())
    [old, new] = [one for _, one in course.log.all("s1") if one.quantity == SHOULDER]
    assert (new.raw, new.value) == (raw, Fraction(size))
    assert (new.source, new.sheet, new.cell) == ("gradebook.xlsx", "Readings", cells[0])
    assert (new.reader, new.instrument, new.note) == ("", "rule", "changed in the gradebook, was 261.4")
    assert old.raw == "261.4"
    assert course.values(course.student("s1")).number(SHOULDER) == Fraction(size)


def test_a_change_is_taken_once(course, edited):
    """The same gradebook collected again adds nothing, and neither does the next one."""
    edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), typed="262.6"))
    for again in (True, False):
        found = edited(nothing, again)
        assert (found.taken.added, found.taken.corrected, codes(found)) == (0, 0, [])
    assert len(course.log.all()) == 7


def test_a_change_can_be_changed_back(course, edited):
    """In the next gradebook the first reading may be typed again, and counts again; the notes tell the way."""
    for text in ("262.6", "261.4"):
        edited(lambda book, text=text: put(
            book["Readings"], row_of(book["Readings"], quantity=SHOULDER, counts="yes"), typed=text))  # fmt: skip
    own = [one for _, one in course.log.all("s1") if one.quantity == SHOULDER]
    assert [one.raw for one in own] == ["261.4", "262.6", "261.4"]
    assert own[-1].note == "changed in the gradebook, was 262.6"
    assert course.values(course.student("s1")).number(SHOULDER) == Fraction("261.4")


def test_inches_are_typed_as_on_the_sheet(course, edited):
    """A bare fraction in the row of a student who works in inches."""
    edited(lambda book: put(book["Readings"], row_of(book["Readings"], student="s2", quantity=SHOULDER), typed="10 1/4"))
    assert course.values(course.student("s2")).number(SHOULDER) == Fraction("260.35")


def test_a_note_stays_with_the_reading(course, edited):
    """What the student noted is kept before the mark of the change."""
    edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=WIDTH, place=1), mm=365.3))
    assert course.log.all("s1")[-1][1].note == "hook bent; changed in the gradebook, was 365.2"


def test_what_could_not_be_read_can_be_typed(course, edited):
    """A row that was kept as typed and did not count is mended by typing a size over it."""
    found = edited(lambda book: put(book["Readings"], row_of(book["Readings"], counts="unreadable"), mm=6.05))
    assert found.problems == () and course.log.readings("s2")[-1].raw == "6.05 mm"


def test_a_deleted_reading_is_told_and_kept(course, edited):
    """Empty cells remove nothing."""
    found = edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), typed=None, mm=None))
    [problem] = found.problems
    assert (problem.code, problem.severe) == ("C041", False)
    assert problem.says == f"s1, {SHOULDER}, place 1: the reading '261.4' was deleted here"
    assert problem.do == "Nothing is removed. To correct it, type the right reading over it."
    assert course.values(course.student("s1")).number(SHOULDER) == Fraction("261.4")


def test_a_deleted_row_is_told(course, edited):
    """A whole row that is gone is missed by its number in the log."""
    found = edited(lambda book: book["Readings"].delete_rows(row_of(book["Readings"], quantity=WIDTH, place=2)))
    [problem] = found.problems
    assert problem.code == "C045" and problem.do == "Nothing is removed from the log."
    assert problem.says == f"1 reading is missing from this sheet, the first of s1, {WIDTH}, place 2"
    assert len(course.log.all()) == 6


def test_two_cells_that_differ_are_asked_about(course, edited):
    """Typed and mm both changed, and not to the same size: nothing is taken."""
    found = edited(lambda book: put(
        book["Readings"], row_of(book["Readings"], quantity=SHOULDER), typed="262", mm=263))  # fmt: skip
    assert codes(found) == ["C043"] and len(course.log.all()) == 6
    assert "'262' was typed and '263' in mm, which differ" in found.problems[0].says


def test_two_cells_that_agree_are_one_change(course, edited):
    """Typed and mm changed to the same size."""
    found = edited(lambda book: put(
        book["Readings"], row_of(book["Readings"], student="s2", quantity=SHOULDER), typed="10 1/4", mm=260.35))  # fmt: skip
    assert found.taken.corrected == 1 and course.log.readings("s2")[-1].raw == "10 1/4"


def test_changed_labels_are_refused(course, edited):
    """A row whose quantity was typed over is no row for another reading."""
    found = edited(lambda book: put(
        book["Readings"], row_of(book["Readings"], quantity=SHOULDER), quantity="door.groove.width", mm=6))  # fmt: skip
    assert codes(found) == ["C042"] and "its labels were changed" in found.problems[0].says
    assert len(course.log.all()) == 6


def test_a_replaced_reading_is_not_changed(course, edited):
    """The row that counts is to be changed, not the one that it replaced."""
    edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), mm=262))
    found = edited(lambda book: put(book["Readings"], row_of(book["Readings"], counts="replaced"), mm=263))
    assert codes(found) == ["C044"] and len(course.log.all()) == 7


def test_an_older_gradebook_does_not_overrule(course, edited):
    """A reading that came in after the gradebook was written stands; the change waits to be confirmed."""
    edited(nothing)
    course.log.add([Reading("s1", SHOULDER, 1, 1, "261", Fraction(261), source="new.xlsx")])
    found = edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), mm=262), again=True)
    assert codes(found) == ["C046"]
    assert "'262 mm' was written here, and since then '261' came in from new.xlsx" in found.problems[0].says
    assert course.values(course.student("s1")).number(SHOULDER) == 261
    [(number, held)] = course.log.held("s1")
    assert held.value == 262
    course.log.confirm(number, "R.", "2026-10-05")
    course.fresh()
    assert course.values(course.student("s1")).number(SHOULDER) == 262


def test_a_row_can_be_added(course, edited):
    """A reading typed below, without a number, is the instructor's own."""

    def add(book: openpyxl.Workbook) -> None:
        _, rows = rows_of(book["Readings"])
        put(book["Readings"], rows[-1] + 1, student="s1", quantity="door.groove.width", place=2, typed="6.1")

    found = edited(add)
    one = course.log.readings("s1")[-1]
    assert found.taken.added == 1 and found.problems == ()
    assert (one.quantity, one.place, one.attempt, one.value, one.reader) == (
        "door.groove.width", 2, 1, Fraction("6.1"), "instructor")  # fmt: skip
    assert edited(nothing, again=True).taken.added == 0


def test_another_reader_is_a_second_reading(course, edited):
    """A name under reader means that this person measured: both readings count."""
    edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), typed="262", reader="R. Sample"))
    own = [one for one in course.log.readings("s1") if one.quantity == SHOULDER]
    assert {(one.reader, one.raw) for one in own} == {("", "261.4"), ("R. Sample", "262")}


def test_no_formula_is_evaluated(course, edited):
    """A formula without a value is told by its cell; nothing works it out."""
    found = edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), mm="=261+1"))
    assert codes(found) == ["C012"] and len(course.log.all()) == 6


def test_a_date_is_told(course, edited):
    """A fraction that the spreadsheet made a date of."""
    date = datetime(2026, 1, 2)
    found = edited(lambda book: put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), typed=date))
    assert codes(found) == ["C016"]


def test_lost_headings_are_told(course, edited):
    """Without its headings a sheet cannot be understood; the other is still read."""

    def change(book: openpyxl.Workbook) -> None:
        put(book["Judged"], row_of(book["Judged"], student="s1", item="surface"), level="Close")
        book["Readings"].delete_rows(4)

    found = edited(change)
    assert codes(found) == ["C040"] and found.judged == 1


def test_another_course_is_refused(course, edited, course_of):
    """A gradebook of another course changes nothing here."""

    def change(book: openpyxl.Workbook) -> None:
        for name in ("Readings", "Judged"):
            book[name]["B3"] = "other r1"
        put(book["Readings"], row_of(book["Readings"], quantity=SHOULDER), mm=262)

    found = edited(change)
    assert codes(found) == ["C009", "C009"] and len(course.log.all()) == 6


def test_a_file_that_only_looks_like_a_gradebook_is_refused(course, tmp_path):
    """Damaged in the middle: told by its name, no traceback."""
    data = write_gradebook(grade(course))
    (tmp_path / "gradebook.xlsx").write_bytes(data[:-5000] + bytes(3000) + data[-2000:])
    found = collect(course, [tmp_path / "gradebook.xlsx"])
    assert codes(found) == ["C006"] and str(found.problems[0].place) == "gradebook.xlsx"


def judge(book: openpyxl.Workbook, level: str | None, item: str = "surface", **more: str) -> str:
    return put(book["Judged"], row_of(book["Judged"], student="s1", item=item), **more, level=level)


def test_a_chosen_level_comes_back(course, edited):
    """Who judged, when and in which cell is kept; without a name it is the instructor."""
    cells = []
    found = edited(lambda book: cells.append(judge(book, "close", judged_by="A. Judge", date="2026-12-01", note="lid")))
    assert found.judged == 1 and codes(found) == []
    [(number, one)] = course.log.judgements()
    assert one == Judgement(
        "s1", "surface", "A. Judge", "Close", "2026-12-01", "gradebook.xlsx", "Judged", cells[0], "lid", 0)  # fmt: skip
    assert [edited(nothing, again=True).judged, edited(nothing).judged] == [0, 0]
    edited(lambda book: judge(book, "met", "safety"))
    assert course.log.judgements()[-1][1].judge == "instructor"


def test_a_level_can_be_changed_and_changed_back(course, edited):
    """Each change is a new row of the log; the latest counts."""
    for level in ("Close", "Usable", "Close"):
        assert edited(lambda book, level=level: judge(book, level)).judged == 1
    assert [one.level for _, one in course.log.all_judgements()] == ["Close", "Usable", "Close"]
    assert [one.level for _, one in course.log.judgements()] == ["Close"]


def test_a_second_judge_stands_beside_the_first(course, edited):
    """Another name means another judge; both count alike."""
    edited(lambda book: judge(book, "On the mark", judged_by="A"))
    edited(lambda book: judge(book, "Usable", judged_by="B"))
    assert {(one.judge, one.level) for _, one in course.log.judgements()} == {("A", "On the mark"), ("B", "Usable")}
    [mark] = [m for m in final_marks(grade(course))[0].judged.marks if m.share is not None]
    assert mark.share == Fraction(2, 3) and mark.words == "On the mark (A), Usable (B)"


@pytest.mark.parametrize(
    ("level", "item", "says"),
    [("Splendid", "surface", "'Splendid' is no level of the item 'surface'"), ("Close", "safety", "of the gate 'safety'")],
)
def test_an_unknown_level_is_told(course, edited, level, item, says):
    """With the words that can be given."""
    found = edited(lambda book: judge(book, level, item))
    assert codes(found) == ["C048"] and says in found.problems[0].says and found.judged == 0


def test_a_deleted_level_is_told_and_kept(course, edited):
    """An empty cell takes no level away."""
    edited(lambda book: judge(book, "Close"))
    found = edited(lambda book: judge(book, None))
    assert codes(found) == ["C041"] and "the level 'Close' was deleted here" in found.problems[0].says
    assert len(course.log.judgements()) == 1


def test_an_older_gradebook_does_not_overrule_a_level(course, edited):
    """What the same judge gave since stands."""
    edited(lambda book: judge(book, "Close", judged_by="A"))
    edited(nothing)
    course.log.judge([Judgement("s1", "surface", "A", "Usable", source="judged.csv", cell="2")])
    found = edited(lambda book: judge(book, "Do again"), again=True)
    assert codes(found) == ["C046"] and course.log.judgements()[0][1].level == "Usable"


def test_levels_come_in_as_csv(course, tmp_path):
    """Columns student, item, level, and if wanted judge, date, note; twice is once, and each trouble has its line."""
    file = tmp_path / "judged.csv"
    file.write_text(
        "student,item,level,judge,date,note\ns1,surface,usable,A,2026-12-01,\ns2,safety,met,A,,\n"
        "s1,lid,Close,A,,\ns9,surface,Close,A,,\ns1,edges,,A,,\ns1,edges,fine,A,,\n", "utf-8")  # fmt: skip
    found = collect(course, [file])
    assert found.judged == 2
    assert [(str(p.place), p.code) for p in found.problems] == [
        ("judged.csv:4:3", "C047"), ("judged.csv:5:1", "C011"), ("judged.csv:7:3", "C048")]  # fmt: skip
    assert collect(course, [file]).judged == 0
    assert [(o.student, o.item, o.level, o.judge, o.at) for _, o in course.log.judgements()] == [
        ("s1", "surface", "Usable", "A", "2026-12-01"), ("s2", "safety", "met", "A", "")]  # fmt: skip


def test_final_marks_beside_the_gradebook_bring_nothing(course, tmp_path):
    """The folder of the gradebook can be collected as a whole: the CSV file of final marks is passed over."""
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "final-marks.csv").write_text(final_csv(final_marks(grade(course))), "utf-8")
    (tmp_path / "out" / "gradebook.xlsx").write_bytes(write_gradebook(grade(course)))
    found = collect(course, [tmp_path / "out"])
    assert (found.taken.added, codes(found), [file.name for file in found.files]) == (0, [], ["gradebook.xlsx"])


GARBAGE = st.one_of(
    st.none(), st.text(max_size=12), st.floats(allow_nan=False, width=32), st.integers(-5, 10**9), st.booleans(),
    st.datetimes(datetime(1950, 1, 1), datetime(2100, 1, 1)), st.sampled_from(["=1/0", "6,1", "1 3/16", "s2", "'", "#N/A"]),
)  # fmt: skip
"""What may come to stand in a cell."""


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.sampled_from(["Readings", "Judged"]), st.integers(1, 30), st.integers(1, 16), GARBAGE), max_size=8))
def test_whatever_is_typed_nothing_is_lost(course, tmp_path, typed):
    """Any cells of the two sheets overwritten with anything: no traceback, earlier rows stay, troubles name the sheet."""
    before = course.log.all()
    book = openpyxl.load_workbook(io.BytesIO(write_gradebook(grade(course))))
    for name, row, column, value in typed:
        with suppress(IllegalCharacterError):
            book[name].cell(row, column).value = value
    file = tmp_path / "gradebook.xlsx"
    book.save(file)
    found = collect(course, [file])
    assert course.log.all()[: len(before)] == before
    assert all(str(problem.place).startswith("gradebook.xlsx") and problem.do for problem in found.problems)


def saved_by(office: str, file: Path) -> None:
    """Open the file in a spreadsheet program and save it."""
    out = file.parent.parent / "saved"
    subprocess.run(
        [office, "--headless", f"-env:UserInstallation=file://{out}/profile", "--convert-to",
         "xlsx:Calc MS Excel 2007 XML", "--outdir", str(out), str(file)],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    shutil.copy(out / file.name, file)


def test_a_gradebook_saved_by_a_spreadsheet_comes_back(course, edited, tmp_path, office):
    """Changed, then saved by another program: the same two changes and nothing else."""

    def change(book: openpyxl.Workbook) -> None:
        put(book["Readings"], row_of(book["Readings"], student="s2", quantity=SHOULDER), typed="10 1/4")
        judge(book, "Usable", judged_by="A")

    edited(nothing)
    file = tmp_path / "out" / "gradebook.xlsx"
    saved_by(office, file)
    assert codes(collect(course, [file])) == [] and len(course.log.all()) == 6
    book = openpyxl.load_workbook(file)
    change(book)
    book.save(file)
    saved_by(office, file)
    found = collect(course, [file])
    assert (found.taken.corrected, found.taken.added, found.judged, codes(found)) == (1, 0, 1, [])
    assert course.log.readings("s2")[-1].value == Fraction("260.35")
