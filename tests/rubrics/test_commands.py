"""The commands collect and grade: what they call, what they say, and their exit status."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner

from course.course_folder import read_course
from course.readings import Reading, Taken
from rubrics import commands
from rubrics.gradebook import write_gradebook
from rubrics.grading import grade
from rubrics.intake import Collected
from shared.places import Place
from shared.problems import InputRefused, Problem

RUN = CliRunner()


def written(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in (folder / "out").rglob("*") if path.is_file()}


def test_grade_writes_a_gradebook_a_page_for_each_student_and_the_report(course_folder):
    """One workbook, two files a student, and the class report in two versions, under the course folder; all named."""
    folder = course_folder()
    result = RUN.invoke(commands.app, ["grade", str(folder)])
    assert written(folder) == {
        "out/gradebook.xlsx", "out/final-marks.csv", "out/feedback/s1-Ada-Test.html", "out/feedback/s1-Ada-Test.pdf",
        "out/feedback/s2-Bo-Test.html", "out/feedback/s2-Bo-Test.pdf",
        "out/class-report.html", "out/class-report.pdf", "out/class-report-instructor.html",
        "out/class-report-instructor.pdf", "out/class-figures.csv",
    }  # fmt: skip
    assert "gradebook.xlsx" in result.output and "2 pages of feedback" in result.output


def test_grade_asks_for_attention_when_something_is_open(course_folder):
    """Nothing measured yet is worth a look: exit 1, and the students are named."""
    result = RUN.invoke(commands.app, ["grade", str(course_folder())])
    assert result.exit_code == 1
    assert "Not measured yet: s1 (" in result.output


def test_grade_is_quiet_when_all_is_well(course_folder, monkeypatch):
    """Nothing to look at: exit 0 and no list."""
    monkeypatch.setattr("rubrics.attention.attention", lambda grades: ())
    result = RUN.invoke(commands.app, ["grade", str(course_folder())])
    assert result.exit_code == 0 and "To look at" not in result.output


def test_grade_calls_the_library_and_no_more(course_folder, monkeypatch):
    """The gradebook written is the one of the library for this course."""
    folder = course_folder()
    log = read_course(folder).log
    log.add([Reading("s1", "door.rail.top.shoulder", 1, 1, "261", None)])
    RUN.invoke(commands.app, ["grade", str(folder)])
    expected = write_gradebook(grade(read_course(folder)))
    assert (folder / "out" / "gradebook.xlsx").read_bytes() == expected


@pytest.mark.parametrize(
    ("problems", "questions", "status"),
    [((), (), 0), (("bad cell",), (), 1), ((), ("retype?",), 1)],
)
def test_collect_says_what_was_taken(course_folder, monkeypatch, problems, questions, status):
    """Counts on standard output; a bar, problems and questions on standard error; exit 1 when there are any."""
    folder, asked = course_folder(), []

    def stand_in(course, files, told):
        asked.append((course.folder, files))
        tell = [tuple(Problem("C100", Place("a.xlsx", cell="Sizes!E5"), says, "Look.") for says in group)
                for group in (problems, questions)]  # fmt: skip
        return Collected(Taken(3, 2, 1), tuple(files), 4, *tell)

    monkeypatch.setattr("rubrics.intake.collect", stand_in)
    result = RUN.invoke(commands.app, ["collect", str(folder), "a.xlsx", "b.csv"])
    assert asked == [(folder, [Path("a.xlsx"), Path("b.csv")])]
    assert result.stdout == (
        "Files read: 2. Readings: 3 added, 2 the same as before, 1 corrected. New states of parts: 4.\n"
    )
    assert result.exit_code == status
    for says in (*problems, *questions):
        assert f"C100: {says}\n    Look." in result.stderr and "Sizes!E5" in result.stderr
    if not status:
        assert result.stderr == "Files\n"


def test_readings_collected_from_a_file_are_graded(course_folder, tmp_path):
    """From a CSV file to a mark in the gradebook, through both commands."""
    folder = course_folder()
    file = tmp_path / "readings.csv"
    file.write_text("student,quantity,place,attempt,reading\ns1,door.rail.top.shoulder,1,1,241\n", "utf-8")
    first = RUN.invoke(commands.app, ["collect", str(folder), str(file)])
    again = RUN.invoke(commands.app, ["collect", str(folder), str(file)])
    assert "Readings: 1 added, 0 the same" in first.stdout
    assert "Readings: 0 added, 1 the same" in again.stdout
    result = RUN.invoke(commands.app, ["grade", str(folder)])
    assert "1 to do again: s1 door rail top: shoulder to shoulder." in result.output


def test_a_course_that_cannot_be_read_is_refused(tmp_path):
    """The refusal reaches the front door, which prints it and ends with status 2."""
    result = RUN.invoke(commands.app, ["grade", str(tmp_path / "none")])
    assert isinstance(result.exception, InputRefused)


def test_what_was_changed_in_the_gradebook_is_taken_in_before_it_is_written_anew(course_folder):
    """A corrected reading, a chosen level and a changed limit: the first two count, the book as it was saved is kept."""
    folder = course_folder()
    log = read_course(folder).log
    log.add([Reading("s1", "door.rail.top.shoulder", 1, 1, "241", Fraction(241))])
    first = RUN.invoke(commands.app, ["grade", str(folder)])
    assert "Readings:" not in first.output and not (folder / "out" / "gradebook-before.xlsx").exists()
    file = folder / "out" / "gradebook.xlsx"
    book = openpyxl.load_workbook(file)
    readings, judged = book["Readings"], book["Judged"]
    row = next(r for r in range(1, 20) if readings.cell(r, 3).value == "door.rail.top.shoulder")
    readings.cell(row, 7).value = 261
    judged["D5"].value = "Close"
    book.save(file)
    saved = file.read_bytes()
    result = RUN.invoke(commands.app, ["grade", str(folder)])
    assert "Readings: 0 added, 0 the same as before, 1 corrected. New judged levels: 1." in result.output
    assert "1 to do again" in first.output and "to do again" not in result.output
    assert (folder / "out" / "gradebook-before.xlsx").read_bytes() == saved
    again = RUN.invoke(commands.app, ["collect", str(folder), str(folder / "out")])
    assert "Readings: 0 added, 0 the same as before, 0 corrected.\n" in again.output and again.exit_code == 0
    assert "Readings:" not in RUN.invoke(commands.app, ["grade", str(folder)]).output, "nothing was changed since"


def test_a_class_too_large_for_a_gradebook_gets_everything_else(course_folder, monkeypatch):
    """Final marks, feedback and report are written; what does not fit is said, and the exit status asks to look."""
    folder = course_folder()
    monkeypatch.setattr("rubrics.gradebook.COLUMNS", 5)
    result = RUN.invoke(commands.app, ["grade", str(folder)])
    assert result.exit_code == 1 and "B080" in result.output and "too large for one workbook" in result.output
    assert not (folder / "out" / "gradebook.xlsx").exists() and (folder / "out" / "final-marks.csv").exists()
    assert "2 pages of feedback" in result.output


def test_long_work_shows_how_far_it_is(course_folder, tmp_path, monkeypatch):
    """On standard error: files as they are read, students as they are graded, and pages of feedback."""
    steps: dict[str, list[int]] = {}

    class Bar:
        def __init__(self, label: str, length: int) -> None:
            self.length, self.done = length, steps.setdefault(label, [])

        def __enter__(self) -> Bar:
            return self

        def __exit__(self, *problem) -> None:
            self.done.append(self.length)

        def update(self, by: int) -> None:
            self.done.append(by)

    monkeypatch.setattr("rubrics.commands._bar", Bar)
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("student,quantity,reading\ns1,door.groove.width,6.2\n", "utf-8")
    folder = course_folder()
    RUN.invoke(commands.app, ["collect", str(folder), str(tmp_path / "a.csv"), str(tmp_path / "b.csv")])
    RUN.invoke(commands.app, ["grade", str(folder)])
    assert steps == {"Files": [1, 1, 2], "Students": [1, 1, 1, 1, 4], "Pages of feedback": [1, 1, 2]}
