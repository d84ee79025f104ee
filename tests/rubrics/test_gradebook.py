"""The gradebook agrees with the marks: as stored, and after a spreadsheet has worked everything out again."""

from __future__ import annotations

import io
import re
import subprocess
import tempfile
import zipfile
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import openpyxl
import pandas
import pytest
import xlsxwriter

from course.course import Course
from course.readings import Judgement, Reading
from rubrics.book import COLUMNS, ROWS, TINTS, Book, Live
from rubrics.book_places import MARKS, sheet_of
from rubrics.gradebook import TooLarge, write_gradebook
from rubrics.grading import grade
from shared.problems import InputRefused

SHEETS = [
    "Overview", "Heat map", "Charts", "Stock", "Case", "Frame", "Fitting", "Finish", "Judged", "Levels", "Grades",
    "Class", "Attempts", "Readings", "Limits", "Notes",
]  # fmt: skip
ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>
"""
"""Settings of a spreadsheet program that works every formula out when it opens a file."""


def recalculated(book: bytes, folder: Path, office: str) -> dict[str, pandas.DataFrame]:
    """The sheets of a workbook after a spreadsheet program has worked out all formulas."""
    profile = folder / "profile" / "user"
    profile.mkdir(parents=True, exist_ok=True)
    (profile / "registrymodifications.xcu").write_text(ALWAYS, "utf-8")
    (folder / "in.xlsx").write_bytes(book)
    subprocess.run(
        [office, "--headless", f"-env:UserInstallation=file://{folder}/profile", "--convert-to",
         "xlsx:Calc MS Excel 2007 XML", "--outdir", str(folder / "out"), str(folder / "in.xlsx")],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    return stored((folder / "out" / "in.xlsx").read_bytes())


def stored(book: bytes) -> dict[str, pandas.DataFrame]:
    """The sheets of a workbook with the values stored in it, without headings."""
    return pandas.read_excel(
        io.BytesIO(book), sheet_name=None, header=None, dtype=object, keep_default_na=False, engine="openpyxl"
    )


def sheet(book: bytes, name: str, head: int = 3) -> pandas.DataFrame:
    """One sheet under its headings, as a program reads it that does not calculate."""
    return pandas.read_excel(
        io.BytesIO(book), sheet_name=name, header=head, keep_default_na=False, dtype={"typed": str}, engine="openpyxl"
    )


def check_rows(book: bytes, stage: str) -> pandas.DataFrame:
    """The rows of a stage, in a stage that nobody measured too."""
    return sheet(book, sheet_of(stage))


def differences(one: dict[str, pandas.DataFrame], other: dict[str, pandas.DataFrame]) -> list[str]:
    found = []
    for name, frame in one.items():
        for row in range(frame.shape[0]):
            for column in range(frame.shape[1]):
                a, b = frame.iat[row, column], other[name].iat[row, column]
                if isinstance(a, (int, float)) and isinstance(b, (int, float)):
                    same = abs(a - b) <= 1e-9
                else:
                    same = str(a) == str(b)
                if not same:
                    found.append(f"{name} {row + 1},{column + 1}: {a!r} is {b!r}")
    return found


def off(student: str, name: str, texts: list[str], attempt: int = 1, note: str = "") -> list[Reading]:
    return [
        Reading(student, name, n, attempt, t, Fraction(t), "caliper", source="a.xlsx", cell=f"E{n}", note=note)
        for n, t in enumerate(texts, 1)
    ]


ROSTER = "id,name,bench,units\ns1,=1+1,1,mm\ns2,<b>Bo</b>,2,in\n"
ROSTER += "".join(f"s{n},Test {n},{n},mm\n" for n in range(3, 9))


@pytest.fixture
def course(course_of) -> Course:
    """Eight students: a class-wide set-up, a redone part, a mistake that shows twice, a case that is not as planned."""
    made = course_of(roster=ROSTER)
    rows: list[Reading] = []
    for number in range(1, 9):
        student = f"s{number}"
        rows += off(student, "door.groove.width", ["6.25", "6.3", f"6.{20 + number}"])
        rows += off(student, "door.tenon.thickness", ["6.0", "6.05", f"6.{number}"])
        rows += off(student, "divider.upper.width", ["365.2", "364.8", "365"])
        rows += off(student, "case.diagonal.front_a", ["722.1"]) + off(student, "case.diagonal.front_b", ["720.1"])
    rows += off("s1", "door.rail.top.shoulder", ["241.8"]) + off("s1", "door.rail.bottom.shoulder", ["261.8"])
    rows += off("s2", "door.rail.top.shoulder", ["263.175"]) + off("s2", "door.rail.top.shoulder", ["262.1"], 2)
    rows += off("s2", "door.rail.top.shoulder", ["261.79"], 3)
    made.log.add(rows)
    made.log.add(off("s3", "door.groove.width", ["6.1"], note="measured again"))
    made.fresh()
    return made


@pytest.fixture
def book(course) -> bytes:
    return write_gradebook(grade(course))


def test_the_sheets_stand_in_the_order_of_reading(book):
    """Overview first, explanations last."""
    assert list(stored(book)) == SHEETS


def test_every_mark_is_stored_as_worked_out(course, book):
    """Each row of a stage holds the mark of that student, check and attempt, or says that it was not measured."""
    grades = grade(course)
    stages = [check_rows(book, stage) for stage in ("stock", "case", "frame", "fitting", "finish")]
    rows = {(r["student"], r["check id"], r["attempt"]): r for frame in stages for _, r in frame.iterrows()}
    for mark in grades.marks:
        row = rows.pop((mark.student.id, mark.check.id, mark.attempt))
        assert (row["level"], row["counts"]) == (mark.level.word, "yes" if mark.counts else "")
        for heading, value in (
            ("target", mark.target), ("upper", mark.upper), ("reading", mark.value), ("deviation", mark.deviation),
            ("points", mark.points), ("of", mark.check.points), ("set-up", mark.setup_shift),
            ("elsewhere", mark.elsewhere), ("from plan", mark.plan_deviation), ("beyond", mark.beyond),
        ):  # fmt: skip
            assert row[heading] == pytest.approx(float(value), abs=1e-6), (mark.check.id, heading)
        assert row["lower"] == ("" if mark.lower is None else pytest.approx(float(mark.lower), abs=1e-9))
    assert {row["level"] for row in rows.values()} == {"not measured"}
    assert {row["points"] for row in rows.values()} == {""}, "what is not measured is blank, not zero"


def test_grades_are_the_sums_of_marks(course, book):
    """Points, what they are out of and percent of each student, on Overview and on Grades."""
    for one in grade(course).students:
        row = sheet(book, "Grades").set_index("student").loc[one.student.id]
        assert row["points"] == pytest.approx(float(one.points)) and row["of"] == one.of
        for name in ("Overview", "Grades"):
            row = sheet(book, name).set_index("student").loc[one.student.id]
            assert row["percent"] == pytest.approx(float(round(100 * one.share, 1)))


def test_stored_values_are_what_a_spreadsheet_works_out(book, tmp_path, office):
    """Every cell of every sheet, after all formulas were worked out again by another program."""
    assert differences(stored(book), recalculated(book, tmp_path, office)) == []


def test_a_wrong_stored_value_would_be_found(course, tmp_path, monkeypatch, office):
    """The comparison is a real one: with one more point in each stored value it finds every one of them."""
    put = Book.put

    def wrong(self, sheet, row, column, cell, form=None):
        if isinstance(cell, Live) and isinstance(cell.value, Fraction):
            cell = Live(cell.formula, cell.value + 1)
        put(self, sheet, row, column, cell, form)

    monkeypatch.setattr(Book, "put", wrong)
    book = write_gradebook(grade(course))
    assert len(differences(stored(book), recalculated(book, tmp_path, office))) > 300


def with_number(book: bytes, name: str, cell: str, number: float) -> bytes:
    """The workbook with another number in a cell, all else as it is: as a person changes it, charts and all."""
    part = f"xl/worksheets/sheet{SHEETS.index(name) + 1}.xml"
    memory = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(memory, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            data = old.read(info)
            if info.filename == part:
                pattern = rf'(<c r="{cell}"[^>]*><v>)[^<]*(</v>)'
                text, count = re.subn(pattern, rf"\g<1>{number}\g<2>", data.decode())
                assert count == 1
                data = text.encode()
            new.writestr(info, data)
    return memory.getvalue()


def cell_of(book: bytes, name: str, key: str, heading: str) -> str:
    """The address of a cell in the row that begins with a key, under a heading that stands above it."""
    rows = list(openpyxl.load_workbook(io.BytesIO(book), read_only=True)[name].iter_rows(values_only=True))
    row = next(n for n, line in enumerate(rows) if line[0] == key)
    head = max(n for n in range(row) if heading in rows[n])
    return f"{openpyxl.utils.get_column_letter(rows[head].index(heading) + 1)}{row + 1}"


SQUARE = "case.case_square.front_diagonals"


def test_a_changed_limit_moves_everything(course, book, tmp_path, office):
    """Doubling one upper limit raises a Close to On the mark: marks, points, percent, heat map, class and charts."""
    cell = cell_of(book, "Limits", SQUARE, "upper")
    frames = recalculated(with_number(book, "Limits", cell, 2), tmp_path, office)
    headings = [column.heading for column in MARKS]

    def square(frame: pandas.DataFrame) -> set:
        rows = frame[frame[headings.index("check id")] == SQUARE]
        return {tuple(r[headings.index(h)] for h in ("level", "points", "limits off")) for _, r in rows.iterrows()}

    old = stored(book)
    assert square(old["Case"]) == {("Close", 2, 2)}
    assert square(frames["Case"]) == {("On the mark", 3, 1)}
    for name, row, heading, change in (
        ("Grades", "s3", "case points", 1), ("Grades", "s3", "points", 1), ("Overview", "s3", "case", 100 / 3),
        ("Class", "case: front diagonals: difference", "On the mark", 8),
        ("Class", "case: front diagonals: difference", "Close", -8),
        ("Class", "case: front diagonals: difference", "inside", 1),
    ):  # fmt: skip
        assert found(frames, name, row, heading) - found(old, name, row, heading) == pytest.approx(change, abs=0.06)
    heat = [[line for _, line in frames_["Heat map"].iterrows() if "front diagonals" in str(line[1])][0]
            for frames_ in (old, frames)]  # fmt: skip
    assert list(heat[0][3:11]) == [2] * 8 and list(heat[1][3:11]) == [1] * 8
    assert differences({"Charts": old["Charts"]}, frames), "the cells that feed the charts follow too"


def found(frames: dict[str, pandas.DataFrame], name: str, key: str, heading: str) -> float:
    """The number under a heading in the first row of a key."""
    frame = frames[name]
    return next(line for _, line in frame.iterrows() if line[0] == key)[list(frame.iloc[3]).index(heading)]


def test_charts_are_drawn_from_cells_that_follow_a_limit(course, book, tmp_path, office):
    """What a chart itself draws has changed after a limit was changed and everything worked out again."""
    cells = cell_of(book, "Limits", SQUARE, "upper")
    charts = [drawn(one, tmp_path / str(n), office) for n, one in enumerate((book, with_number(book, "Limits", cells, 2)))]
    assert len(charts[0]) == 4 and sum(len(chart) for chart in charts[0]) > 40
    levels = [chart for chart in charts[0] if "On the mark" in chart], [c for c in charts[1] if "On the mark" in c]
    assert levels[0] and levels[0] != levels[1]
    progress = [[chart for chart in side if "class" in chart] for side in charts]
    assert progress[0] and progress[0] != progress[1]


def drawn(book: bytes, folder: Path, office: str) -> list[list[str]]:
    """Names, categories and values of the series of all charts, as a spreadsheet program has them after opening."""
    recalculated(book, folder, office)
    with zipfile.ZipFile(folder / "out" / "in.xlsx") as packed:
        names = sorted(name for name in packed.namelist() if re.fullmatch(r"xl/charts/chart\d+\.xml", name))
        return [re.findall(r"<c:v>([^<]*)</c:v>", packed.read(name).decode()) for name in names]


def test_another_chosen_check_moves_the_charts(course, book, tmp_path, office):
    """The chosen check stands in one cell; the deviations below follow it."""
    changed = openpyxl.load_workbook(io.BytesIO(book))
    changed["Charts"]["B3"] = "case: front diagonals: difference"
    memory = io.BytesIO()
    changed.save(memory)
    frame = recalculated(memory.getvalue(), tmp_path, office)["Charts"]
    rows = [line for _, line in frame.iterrows() if line[0] in {f"s{n}" for n in range(1, 9)} and line[1] != line[0]]
    assert len(rows) == 8 and {(line[2], line[4], line[5], line[6]) for line in rows} == {(2, 0, 1, 2)}


def test_every_formula_holds_its_value(book):
    """No formula cell is empty or an error for a program that does not calculate."""
    formulas = openpyxl.load_workbook(io.BytesIO(book))
    values = openpyxl.load_workbook(io.BytesIO(book), data_only=True)
    found = [
        (name, cell.coordinate, values[name][cell.coordinate].value)
        for name in SHEETS
        for line in formulas[name].iter_rows()
        for cell in line
        if cell.data_type == "f"
    ]
    assert len(found) > 300
    blank = [formulas[name][where].value for name, where, value in found if value is None]
    assert all(re.match(r"=(IF|IFERROR|INDEX)\(", text) for text in blank), "only what says so itself may be empty"
    assert not [one for one in found if str(one[2]).startswith("#")]


def test_readings_are_worked_out_of_the_sheet_of_readings(book):
    """A reading on a stage's sheet is a formula over cells of Readings, for a size and for a fit."""
    found = {}
    for name in ("Case", "Frame"):
        formulas = openpyxl.load_workbook(io.BytesIO(book))[name]
        heads = {cell.value: cell.column for cell in formulas[4]}
        for row in range(5, formulas.max_row + 1):
            if formulas.cell(row, heads["student"]).value == "s1":
                found[formulas.cell(row, heads["check id"]).value] = formulas.cell(row, heads["reading"]).value
    assert found["door.groove.width"] == "=AVERAGE(Readings!$G$5:$G$7)"
    assert found["door.rail.top.shoulder"].startswith("=Readings!$G$")
    assert found["case.case_square.front_diagonals"].startswith("=ABS((Readings!$G$")
    assert found["door.tenon.clearance"].count("Readings!") == 2


def test_a_name_that_looks_like_a_formula_stays_text(book):
    """`=1+1` and `<b>` are names here."""
    sheets = openpyxl.load_workbook(io.BytesIO(book))
    cell = sheets["Overview"]["B5"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")
    assert sheets["Overview"]["B6"].value == "<b>Bo</b>"


def test_a_corrected_reading_stays_and_is_marked(book):
    """The sheet Readings has every row ever taken in; the one that was corrected counts no more."""
    frame = sheet(book, "Readings")
    own = frame[(frame["student"] == "s3") & (frame["quantity"] == "door.groove.width") & (frame["place"] == 1)]
    assert list(zip(own["typed"], own["counts"], strict=True)) == [("6.25", "replaced"), ("6.1", "yes")]


def test_the_same_grades_give_the_same_bytes(course, book):
    """No clock and no chance in the file."""
    assert write_gradebook(grade(course)) == book


def test_an_invented_course_says_so(book):
    """The notes say that people are invented, and tell the rule of the set-up."""
    text = "\n".join(stored(book)["Notes"][0].astype(str))
    assert "invented" in text and "set-up is the cause" in text


def test_a_course_without_readings_has_a_gradebook(course_of, tmp_path, office):
    """Nothing measured: no percent, no zero, and still every check in the list."""
    book = write_gradebook(grade(course_of()))
    frame = sheet(book, "Overview")
    assert list(frame["percent"]) == ["", ""] and list(frame["measured"]) == [0, 0]
    assert differences(stored(book), recalculated(book, tmp_path, office)) == []


def test_the_heat_map_says_how_many_limits_off(course, book):
    """Worked by hand: the case leans 2.0 of a limit of 1.0; the top rail of s1 is 241.8 where 262.2 is asked, of 0.3."""
    frame = sheet(book, "Heat map").set_index("check id")
    assert frame.loc[SQUARE, "s1"] == 2
    mark = next(m for m in grade(course).marks if (m.student.id, m.check.id) == ("s1", "door.rail.top.shoulder"))
    assert frame.loc[mark.check.id, "s1"] == pytest.approx(float(mark.deviation / mark.limit))
    assert frame.loc["door.rail.top.shoulder", "s8"] == "", "what is not measured is blank"


def test_shades_of_the_heat_map_are_darker_the_further_off():
    """Told apart on a grey print: lightness falls from level to level (luma of ITU-R BT.601), and letters stay legible."""
    def luma(colour: str) -> float:
        red, green, blue = (int(colour[n : n + 2], 16) for n in (0, 2, 4))
        return 0.299 * red + 0.587 * green + 0.114 * blue

    grounds = [luma(ground) for ground, _ in TINTS]
    assert grounds == sorted(grounds, reverse=True) and all(a - b > 12 for a, b in pairwise(grounds))
    assert all(abs(luma(ground) - luma(letters)) > 120 for ground, letters in TINTS)


def test_every_attempt_is_told_with_what_was_made_again(course, book):
    """Three attempts at one rail: their values, their levels, and which counts."""
    frame = sheet(book, "Attempts")
    assert list(frame["attempt"]) == [1, 2, 3] and set(frame["student"]) == {"s2"}
    assert list(frame["reading"]) == [263.175, 262.1, 261.79]
    marks = [m for m in grade(course).marks if (m.student.id, m.check.id) == ("s2", "door.rail.top.shoulder")]
    assert list(frame["level"]) == [m.level.word for m in marks]
    assert list(frame["counts"]) == ["yes" if m.counts else "" for m in marks]
    assert list(frame["verdict"]) == [m.certainty.verdict.value for m in marks]


@pytest.fixture
def judged_book(course) -> bytes:
    """Two judges of one thing, one of another, and a gate."""
    course.log.judge([
        Judgement("s1", "surface", "A", "Close"), Judgement("s1", "surface", "B", "Do again"),
        Judgement("s1", "edges", "A", "On the mark"), Judgement("s1", "safety", "A", "met"),
        Judgement("s2", "safety", "A", "not met"),
    ])  # fmt: skip
    return write_gradebook(grade(course))


def test_judged_marks_stand_in_a_column_of_their_own(judged_book):
    """By hand: surface, weight 2, (2/3 + 0)/2 = 1/3; edges, weight 1, 1: (2/3 + 1)/3 = 55.6 %; the points do not move."""
    frame = sheet(judged_book, "Overview").set_index("student")
    assert frame.loc["s1", "judged"] == 55.6 and frame.loc["s3", "judged"] == ""
    assert frame.loc["s1", "total"] == frame.loc["s1", "percent"]
    assert list(frame["safety"][:3]) == ["met", "not met", "not recorded"]
    assert list(frame["grade"][1:3]) == ["held: safety not met", "waits for safety"]
    assert frame.loc["s1", "grade"] in ("On the mark", "Close", "Usable", "Do again")


def test_a_chosen_level_and_a_weight_move_the_total_at_once(judged_book, tmp_path, office):
    """Before anything is collected: a level typed on Judged, half the total to the judged marks on Limits."""
    changed = openpyxl.load_workbook(io.BytesIO(judged_book))
    judged, limits = changed["Judged"], changed["Limits"]
    heads = {cell.value: cell.column for cell in judged[4]}
    row = next(r for r in range(5, judged.max_row + 1) if [judged.cell(r, heads[h]).value for h in ("student", "item")] == ["s3", "surface"])
    judged.cell(row, heads["level"]).value = "Usable"
    part = next(r for r in range(5, 30) if limits.cell(r, 1).value == "part of the judged marks")
    limits.cell(part, 2).value = 0.5
    memory = io.BytesIO()
    changed.save(memory)
    frames = recalculated(memory.getvalue(), tmp_path, office)
    percent = found(frames, "Overview", "s3", "percent")
    assert found(frames, "Overview", "s3", "judged") == 33.3
    assert found(frames, "Overview", "s3", "total") == pytest.approx((percent + 100 / 3) / 2, abs=0.06)


def test_judged_marks_are_worked_out_by_a_spreadsheet_too(judged_book, tmp_path, office):
    """All cells, with judges who disagree and gates met, not met and not recorded."""
    assert differences(stored(judged_book), recalculated(judged_book, tmp_path, office)) == []


def test_every_sheet_can_be_printed_and_read_on_a_screen(book):
    """Landscape, one page wide, headings repeated and frozen, a print area; names for cells; lists and bars."""
    sheets = openpyxl.load_workbook(io.BytesIO(book))
    for one in sheets:
        setup = one.page_setup
        assert (setup.orientation, setup.fitToWidth or 1, setup.fitToHeight) == ("landscape", 1, 0), one.title
        assert one.sheet_properties.pageSetUpPr.fitToPage
        assert one.print_area, one.title
        if one.title not in ("Notes", "Limits", "Charts"):
            assert one.freeze_panes and one.print_title_rows, one.title
    assert {"level_words", "level_shares", "check_upper", "heat", "chosen_check", "judged_part"} <= set(sheets.defined_names)
    rules = [rule.type for area in sheets["Overview"].conditional_formatting for rule in area.rules]
    assert rules.count("dataBar") == 8 and "expression" in rules
    assert [v.formula1 for v in sheets["Charts"].data_validations.dataValidation] == ["check_titles", "student_ids"]
    levels = {v.formula1 for v in sheets["Judged"].data_validations.dataValidation}
    assert levels == {"judged_words", '"met,not met"'}


def test_charts_hold_the_values_they_show(book):
    """For a program that shows charts without working anything out, every series of every chart has its points."""
    with zipfile.ZipFile(io.BytesIO(book)) as packed:
        charts = [packed.read(name).decode() for name in packed.namelist() if name.startswith("xl/charts/chart")]
    assert len(charts) == 4
    for chart in charts:
        series = re.findall(r"<c:ser>.*?</c:ser>", chart)
        assert series and all(re.search(r"<c:val>.*?<c:pt .*?</c:val>", one) for one in series)


@pytest.mark.parametrize(
    ("room", "says"),
    [({"ROWS": 200}, "it has 306 marks of one stage, one a row, and there is room for 196\n"
                     "    Split the roster into courses of about 5 students and grade each."),
     ({"COLUMNS": 11}, "it has 8 students, one a column of the heat map, and there is room for 7\n"
                       "    Split the roster into courses of about 7 students and grade each.")],
)  # fmt: skip
def test_a_class_that_does_not_go_into_a_workbook_is_told_what_does(course, monkeypatch, room, says):
    """Rows and columns of a sheet have an end; nothing is left out without a word."""
    for name, number in room.items():
        monkeypatch.setattr(f"rubrics.gradebook.{name}", number)
    with pytest.raises(TooLarge) as refused:
        write_gradebook(grade(course))
    assert str(refused.value.problems[0]) == (
        f"roster.csv: B080: the class is too large for one workbook: {says}"
    )


def test_the_room_of_a_sheet_is_that_of_the_library(tmp_path):
    """Beyond it the library writes nothing and says nothing."""
    sheet = xlsxwriter.Workbook(tmp_path / "x.xlsx").add_worksheet()
    assert (sheet.xls_rowmax, sheet.xls_colmax) == (ROWS, COLUMNS)
    assert (sheet.write_number(ROWS - 1, COLUMNS - 1, 1), sheet.write_number(ROWS, 0, 1)) == (0, -1)


def test_no_room_for_the_file_in_the_making_is_said(course, tmp_path, monkeypatch):
    """A folder for temporary files that cannot be used is named, and what to do."""
    gone = tmp_path / "gone"
    monkeypatch.setattr(tempfile, "tempdir", str(gone))
    with pytest.raises(InputRefused) as refused:
        write_gradebook(grade(course))
    text = str(refused.value.problems[0])
    assert text.startswith(f"{gone}: F004: the gradebook cannot be put together (")
    assert text.endswith("Make room on the disk, then grade again; nothing was changed.")
