"""The commands about what is to be built are thin, and say what they did."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner

from course.commands import app, say_problems
from course.course_folder import read_course
from course.readings import Reading
from lessons.__main__ import main
from shared.places import Place
from shared.problems import InputRefused, Problem

CLASS_PLAN = Path(__file__).parents[1].joinpath("class_plan.yaml").read_text("utf-8")


def run(*words: object):
    return CliRunner().invoke(app, [str(word) for word in words])


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.fixture
def folder(course_folder) -> Path:
    return course_folder()


def read(folder: Path, quantity: str, value: str, place: int = 1) -> None:
    read_course(folder).log.add(
        [Reading("s1", quantity, place, 1, value, Fraction(value), source="s1.xlsx", sheet="Fit checks", cell="J9")]
    )


def test_check_counts_what_it_read(folder):
    """A course in order but without sign-offs: one thing to look at, status 1."""
    result = run("check", folder)
    assert result.exit_code == 1
    assert "Test course: 5 assemblies, 18 parts," in result.stdout and "2 students. 1 to look at." in result.stdout
    assert "A010: no sign-off is recorded, so every packet prints the hand\n        routes only" in result.stderr


def test_nothing_is_wider_than_a_terminal(course_folder):
    """Problems, a chain, changes and remedies fit into 80 columns; only the table of a cut list is as wide as it is."""
    folder = course_folder(plan=CLASS_PLAN.replace("panel: {material: cherry", "panel: {material: red oak"))
    run("changes", folder, "--issue")
    run("mark", folder, "s1", "D-SL", "cut")
    read(folder, "divider.upper.height", "425.1")
    read(folder, "door.panel.1.width", "270")
    (folder / "plan.yaml").write_text((folder / "plan.yaml").read_text("utf-8").replace("50", "47"), "utf-8")
    said = {
        "check": run("check", folder).output, "why": run("why", folder, "s1", "door.rail.top.length", "--moves").output,
        "changes": run("changes", folder, "s1").output, "class": run("changes", folder).output,
        "remedy": run("remedy", folder, "s1").output,
        "cut list": run("cutlist", folder, "s1").output.partition("! cut already:")[2],
    }  # fmt: skip
    for name, text in said.items():
        assert len(text.splitlines()) > 3, name
        assert [line for line in text.splitlines() if len(line) > 80] == [], name


def test_a_problem_is_broken_below_its_place(capsys):
    """File and line stand first, so that an editor finds them; what goes on stands further in than what to do."""
    say_problems([Problem("V001", Place("plan.yaml", 3, 5), "word " * 20 + "end", "Do this. " * 10 + "Then that.")])
    assert capsys.readouterr().err.splitlines() == [
        "plan.yaml:3:5: V001: word word word word word word word word word word word word",
        "        word word word word word word word word end",
        "    Do this. Do this. Do this. Do this. Do this. Do this. Do this. Do this. Do",
        "        this. Do this. Then that.",
    ]


def test_problems_are_printed_with_status_2(course_folder, capsys, monkeypatch):
    """The front door prints every problem on standard error, without a traceback, and ends with status 2."""
    folder = course_folder(roster="id,name\ns1,A\ns1,B\n")
    monkeypatch.setattr("sys.argv", ["fairfit", "check", str(folder)])
    with pytest.raises(SystemExit) as ended:
        main()
    said = capsys.readouterr().err
    assert ended.value.code == 2
    assert said == (
        "roster.csv:3:1: R004: the id 's1' stands twice, first in line 2\n    Give every student an id of their own.\n"
    )


def test_why_shows_the_chain_with_values(folder):
    """The chain of a rail's length, with the reading's file and cell and what it should be."""
    read(folder, "divider.upper.width", "365.2")
    result = run("why", folder, "ada", "door.rail.top.length")
    said = " ".join(plain(result.stdout).split())
    assert said.startswith("door.rail.top.length = 282.2 mm = this.shoulder + this.joint [")
    assert (
        "divider.upper.width = 365.2 mm (should be 364.0 mm) = opening.width [s1.xlsx:Fit checks!J9, one reading]"
    ) in said
    assert "case.width = 400.0 mm [plan: plan.yaml:" in said


def test_why_does_not_say_that_a_size_should_be_what_it_is(folder):
    """A stile read a hundredth over its target is printed like it, and that it should be the same is left out."""
    read(folder, "door.stile.left.width", "50.01")
    assert "should be" not in run("why", folder, "s1", "door.stile.left.width").stdout
    read(folder, "door.stile.right.width", "50.1")
    assert "50.1 mm (should be 50.0 mm)" in plain(run("why", folder, "s1", "door.stile.right.width").stdout)


def test_why_shows_what_moves_a_size(folder):
    """`--moves` gives the coefficients, the strongest first."""
    lines = run("why", folder, "s1", "door.rail.top.length", "--moves").stdout.splitlines()
    moves = lines[lines.index("One more of each of these moves it by:") + 1 :]
    assert "     -2.0  door.stile.width" in moves
    assert abs(float(moves[0].split()[0])) >= abs(float(moves[-1].split()[0]))


def test_what_moves_a_size_that_is_read_is_what_moves_the_size_it_should_have(folder):
    """A rail's shoulder, measured: the opening still moves what it should be by 1, each stile by -1."""
    read(folder, "door.rail.top.shoulder", "261.2")
    lines = run("why", folder, "s1", "door.rail.top.shoulder", "--moves").stdout.splitlines()
    moves = [line.split()[:2] for line in lines[lines.index("One more of each of these moves it by:") + 1 :]]
    assert ["-1.0", "door.stile.left.width,"] in moves or ["-1.0", "door.stile.left.width"] in moves
    assert any(line[:1] == ["1.0"] and line[1].startswith("divider.upper.width") for line in moves)


def test_an_unknown_size_is_refused_with_the_nearest(folder, capsys, monkeypatch):
    """A misspelt size gets its nearest names."""
    monkeypatch.setattr("sys.argv", ["fairfit", "why", str(folder), "s1", "door.rail.top.lenght"])
    with pytest.raises(SystemExit):
        main()
    assert capsys.readouterr().err.startswith(
        "plan.yaml: Q010: there is no size 'door.rail.top.lenght'\n    Did you mean 'door.rail.top.length'"
    )


def test_an_unknown_student_is_refused_with_the_names(folder, capsys, monkeypatch):
    """A misspelt student gets the nearest ids and names."""
    monkeypatch.setattr("sys.argv", ["fairfit", "cutlist", str(folder), "Adda Test"])
    with pytest.raises(SystemExit):
        main()
    assert "R010: there is no student 'Adda Test'\n    Did you mean 'Ada Test' or 'Bo Test'?" in capsys.readouterr().err


def test_a_cut_list_is_printed_with_what_changed(folder):
    """Old and new size, the reading that did it, and what is cut already and should be another size now."""
    assert run("mark", folder, "s1", "D-SL", "cut", "--on", "2026-10-05").stdout == "D-SL of Ada Test is cut.\n"
    read(folder, "divider.upper.height", "425.1")
    result = run("cutlist", folder, "s1")
    assert result.exit_code == 1
    assert "D-SL: length is 423.0 mm, needs 422.1 mm: trim 0.9 mm" in result.stdout
    assert "D-SR: length 423.0 \u2192 422.1 (height of opening 'upper', read)" in result.stdout
    assert "D-SR: groove 6.0 mm wide, 10.5 mm deep, 5.0 mm from the face" in result.stdout
    assert "grain" in result.stdout.splitlines()[3]


@pytest.mark.parametrize(
    ("part", "state", "says"),
    [
        ("D-XX", "cut", "C030: there is no part 'D-XX'"),
        ("D-SL", "sawn", "C031: there is no state 'sawn'"),
    ],
)
def test_a_mark_that_names_nothing_is_refused(folder, part, state, says):
    """A part that the cabinet has not, a state that there is not: nothing is recorded."""
    refused = run("mark", folder, "ada", part, state).exception
    assert says in str(refused)
    course = read_course(folder)
    assert course.log.states(course.student("ada").id) == {}


def test_a_part_marked_twice_is_said(folder):
    """The same state again is nothing new."""
    run("mark", folder, "s1", "D-SL", "cut")
    assert (
        run("mark", folder, "s1", "door.stile.left", "cut").stdout == "door.stile.left of Ada Test was cut already.\n"
    )


@pytest.mark.parametrize("ending", ["html", "pdf", "xlsx", "csv"])
def test_a_cut_list_is_written_as_its_name_asks(folder, ending):
    """Each kind of file, with its student's sizes in it."""
    out = folder / f"list.{ending}"
    result = run("cutlist", folder, "s2", "--out", out)
    assert result.stdout.strip() == f"Wrote {out}"
    if ending == "csv":
        rows = list(csv.DictReader(out.read_text("utf-8").splitlines()))
        assert {row["label"]: row["length"] for row in rows}["D-RT, D-RB"] == "11 1/16"
    elif ending == "xlsx":
        sheet = openpyxl.load_workbook(out).active
        assert sheet["A2"].value == "Test course, test r1, 2026-10-05"
        assert [sheet.cell(5, 1).value, sheet.cell(5, 4).value] == ["C-SL, C-SR", "23 5/8"]
    else:
        assert out.stat().st_size > 5000


def test_another_ending_is_refused(folder, capsys, monkeypatch):
    """A kind of file that fairfit does not write is refused with those it does."""
    monkeypatch.setattr("sys.argv", ["fairfit", "cutlist", str(folder), "s1", "--out", "list.docx"])
    with pytest.raises(SystemExit):
        main()
    assert capsys.readouterr().err == (
        "list.docx: F003: a cut list cannot be written as '.docx'\n    Let the name end in .html, .pdf, .xlsx or .csv.\n"
    )


def test_a_name_that_is_a_formula_stays_text_in_every_list(course_folder):
    """A part of the list that a spreadsheet might run is made harmless; the name in the workbook is a string."""
    folder = course_folder(roster='id,name\ns1,"=HYPERLINK(1)"\n')
    out = folder / "list.xlsx"
    run("cutlist", folder, "s1", "--out", out)
    cell = openpyxl.load_workbook(out).active["A1"]
    assert (cell.data_type, cell.value) == ("s", "Cut list of =HYPERLINK(1) (s1), sizes in mm")


def test_a_class_without_lists_is_not_told_that_they_hold(folder):
    """Before anything is handed out nothing can hold; afterwards it does."""
    assert run("changes", folder).stdout == "Test course: No list was handed out yet.\n"
    run("changes", folder, "--issue")
    assert run("changes", folder).stdout == "Test course: The printed lists still hold.\n"


def test_changes_are_told_since_the_last_list(folder):
    """After a list is handed out, a reading shows what moved; handing out again settles it."""
    assert run("changes", folder, "s1", "--issue").stdout.splitlines()[-1] == "Recorded list 1 of Ada Test."
    assert run("changes", folder, "s1").stdout == "Ada Test: List 1, handed out 2026-10-05; still holds.\n"
    read(folder, "divider.upper.width", "365.0")
    moved = run("changes", folder, "s1")
    assert moved.exit_code == 1
    assert plain(moved.stdout) == (
        "Ada Test: List 1, handed out 2026-10-05; 4 sizes moved since: hand out a new\n    one.\n"
        "width of opening 'upper', read 365.0 mm [s1.xlsx:Fit checks!J9]\n"
        "    H-H length 362.0 -> 363.0 mm\n    D-RT, D-RB length 281.0 -> 282.0 mm\n    D-P width 278.0 -> 279.0 mm\n"
    )
    assert "List 1, handed out 2026-10-05; 4 sizes moved since: hand out a new one" in run("cutlist", folder, "s1").stdout
    assert "Recorded list 2" in run("changes", folder, "s1", "--issue").stdout


def test_a_held_reading_is_listed_and_confirmed(folder):
    """A reading kept but left out is listed with its cell; confirmed, it moves what follows from it."""
    log = read_course(folder).log
    log.add([Reading("s1", "divider.upper.width", 1, 1, "900", Fraction(900), source="s1.xlsx", cell="J9", held="far off")])
    assert run("confirm", folder, "s1").stdout == (
        "1: divider.upper.width, place 1: 900 (far off) [s1.xlsx:J9]\n1 reading waits to be confirmed by Ada Test or the instructor.\n"
    )
    assert "door.width = 361.0" in plain(run("why", folder, "s1", "door.width").stdout)
    confirmed = run("confirm", folder, "s1", "1", "--by", "RS")
    assert confirmed.stdout == "Reading 1 of Ada Test counts now: divider.upper.width, 900.\n"
    assert "door.width = 897.0" in plain(run("why", folder, "s1", "door.width").stdout)
    assert run("confirm", folder, "s1").stdout == "No reading waits.\n"


@pytest.mark.parametrize(
    ("number", "says"),
    [
        ("7", "fairfit: C025: no reading 7 of Ada Test waits to be confirmed\n    Known are: 1.\n"),
        (
            "1",
            "s1.xlsx:J9: C026: reading 1 is 'six', which is no length\n"
            "    Correct the cell and collect the sheet again.\n",
        ),
    ],
)
def test_what_cannot_be_confirmed_is_refused(folder, capsys, monkeypatch, number, says):
    """A number that does not wait, and a word that is no length."""
    held = Reading("s1", "divider.upper.width", 1, 1, "six", None, source="s1.xlsx", cell="J9", held="no length")
    read_course(folder).log.add([held])
    monkeypatch.setattr("sys.argv", ["fairfit", "confirm", str(folder), "s1", number])
    with pytest.raises(SystemExit):
        main()
    assert capsys.readouterr().err == says


@pytest.mark.parametrize("line", [("mark", "C-SL", "cut"), ("confirm",)])
def test_a_date_that_is_none_is_refused(course_folder, line: tuple[str, ...]):
    """The log is never changed, so a day that there is not does not get into it."""
    name, *rest = line
    result = CliRunner().invoke(app, [name, str(course_folder()), "s1", *rest, "--on", "05/10/2026"])
    assert isinstance(result.exception, InputRefused)
    assert str(result.exception) == (
        "fairfit: C034: --on is '05/10/2026', which is not a date\n    Write it as 2026-10-05."
    )
