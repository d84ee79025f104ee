"""What moved since a list was handed out or a part was cut: told by its cause, and what is cut stays as it is.

Sizes are those of the invented class cabinet (400 x 600 x 200 mm, door stiles 50 wide).
"""

from __future__ import annotations

import sqlite3
from fractions import Fraction
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from course.changes import AsMade, Effect, changes, edited, hand_out
from course.commands import app
from course.course import Course
from course.course_folder import read_course
from course.log import Log
from course.readings import Reading
from course.remedies import remedies
from shared.problems import InputRefused
from shared.units import MM

CLASS_PLAN = Path(__file__).parents[1].joinpath("class_plan.yaml").read_text("utf-8")
STOCK = "id,role,material,thickness 1\nsheet-A,case,birch plywood,17.6\nframe-1,frame,cherry,18\n"
ROSTER = "id,name,bench,units,piece.case,piece.frame\ns1,Ada Test,1,mm,sheet-A,frame-1\ns2,Bo Test,2,in,sheet-A,frame-1\n"


def plan_with(**sizes: object) -> str:
    """The plan of the class cabinet with the door's or case's sizes edited, as `door_stile_width=47`."""
    plan = yaml.safe_load(CLASS_PLAN)
    for name, value in sizes.items():
        assembly, _, size = name.partition("_")
        plan["assemblies"][assembly][size.replace("_", ".")] = value
    return yaml.safe_dump(plan, sort_keys=False)


def said(course: Course, in_full: bool = True) -> str:
    return "\n".join(str(problem) for problem in edited(course, in_full)).replace("\u00a0", " ")


def run(*words: object):
    return CliRunner().invoke(app, [str(word) for word in words])


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.fixture
def handed_out(course_of) -> Course:
    """A course whose lists were handed out, and one stile of whose first student is cut at 423."""
    course = course_of()
    for student in course.students:
        hand_out(course, student)
    course.mark(course.student("s1"), "D-SL", "cut", at="2026-10-07")
    return course


def test_nothing_is_said_of_a_plan_that_was_not_edited(handed_out):
    """No edit, no problem; comments and other words for the same size are no edits."""
    assert edited(handed_out) == ()
    plan = handed_out.folder / "plan.yaml"
    plan.write_text("# a comment\n" + CLASS_PLAN.replace("stile.width: 50", "stile.width: 5 cm"), "utf-8")
    assert edited(read_course(handed_out.folder)) == ()


def test_an_edit_is_told_with_all_it_moves(handed_out, course_of):
    """The door 3 higher: what is open follows for all, the stile that is cut keeps 423 and is 3 too short."""
    course = course_of(plan=CLASS_PLAN.replace("height: 600", "height: 603"))
    text = said(course)
    assert text.startswith(
        "plan.yaml:13:13: V050: since lists went out or parts were cut, case.height was 600.0 mm, now 603.0 mm\n"
    )
    assert "    all 2 students: C-SL, C-SR length 600.0 -> 603.0 mm; " in text
    assert "    s2: D-SL length 423.0 -> 426.0 mm\n" in text
    assert (
        "    s1: D-SL length cut at 423.0, 426.0 mm is asked now: 3.0 mm too short: see\n        the remedies\n" in text
    )
    assert text.replace("\n        ", " ").endswith(
        "What is made keeps its size. Printed lists that no longer hold: all 2 students."
    )
    assert all(len(line) <= 80 for line in text.splitlines()[1:])
    assert course.values(course.student("s1"))["door.stile.left.length"] == 423


def test_an_edit_is_told_in_one_line_when_documents_are_made(handed_out, course_of):
    """With counts in place of sizes."""
    course = course_of(plan=plan_with(door_stile_width=47))
    assert said(course, in_full=False).splitlines()[1] == (
        "    It moves 5 parts of all 2 students; 1 made already, which keeps its size. "
        "Printed lists that no longer hold: all 2 students."
    )


def test_a_reading_is_told_apart_from_an_edit(handed_out, course_of):
    """A rail that both moved is told with both; the reading alone is no edit, and comes with its cell."""
    reading = Reading("s1", "divider.upper.width", 1, 1, "365", Fraction(365), source="s1.xlsx", sheet="Fit", cell="J9")
    handed_out.log.add([reading])
    handed_out.fresh()
    assert edited(handed_out) == ()
    read = plain(run("changes", handed_out.folder, "s1").stdout)
    assert "width of opening 'upper', read 365.0 mm [s1.xlsx:Fit!J9]\n    H-H length 362.0 -> 363.0 mm\n" in read
    course = course_of(plan=plan_with(door_stile_width=47))
    rails = [e for e in changes(course, course.student("s1")).effects if e.part == "D-RT"]
    assert [(e.was, e.now) for e in rails] == [(281, 285)]  # one stile is cut at 50, so only the other gives 3
    assert [(c.kind, c.name) for c in rails[0].because] == [
        ("edit", "door.stile.width"), ("reading", "divider.upper.width"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("stock", "roster", "says"),
    [
        (STOCK.replace("17.6", "17.8"), ROSTER, "stock.csv:2: V050: since lists went out or parts were cut, "
         "stock.case.thickness was 17.6 mm, now 17.8 mm by the stock"),
        (STOCK, ROSTER.replace("piece.frame", "piece.frame,door.stile.width").replace("frame-1\n", "frame-1,48\n"),
         "roster.csv:2:7: V050: since lists went out or parts were cut, "
         "door.stile.width was 50.0 mm, now 48.0 mm by the roster"),
        (STOCK, ROSTER.replace("piece.case,", "").replace("sheet-A,", ""),
         "plan.yaml:6:59: V050: since lists went out or parts were cut, stock.case.thickness was 17.6 mm, now 18.0 mm"),
    ],
)  # fmt: skip
def test_stock_and_roster_are_told_by_name(course_of, stock, roster, says):
    """A sheet measured again, a choice of one's own, a sheet taken away: each with its file and line."""
    course = course_of(stock=STOCK, roster=ROSTER)
    for student in course.students:
        hand_out(course, student)
    assert any(line == says for line in said(course_of(stock=stock, roster=roster)).splitlines())


def test_a_default_that_the_plan_no_longer_replaces_is_told(handed_out, course_of):
    """A line taken out of the plan: the size is the kind's again."""
    course = course_of(plan=plan_with(door_reveal="2 mm"))
    for student in course.students:
        hand_out(course, student)
    text = said(course_of())
    assert "door.reveal was 2.0 mm, now 1.5 mm by default" in text


def test_an_edit_that_moves_no_size_is_not_told(handed_out, course_of):
    """Another damp season moves no part of this cabinet."""
    assert edited(course_of(plan=CLASS_PLAN + "climate: {damp: 11}\n")) == ()


def test_other_parts_and_joints_are_told_in_words(handed_out, course_of):
    """Three bays in place of two: the lists of the back, its new parts and its narrower panels."""
    text = said(course_of(plan=CLASS_PLAN.replace("bays: 2", "bays: 3")))
    head = text.splitlines()[0]
    assert "back.bay was 1, 2, now 1, 2, 3; back.muntin was 1, now 1, 2; back.panel was 1, 2, now 1, 2, 3" in head
    told = text.replace("\n        ", " ")
    assert "B-P1, B-P2 width 140.0 -> " in told and "B-M2, B-P3 new, not on the list; B-M1 " not in told
    assert "B-M2, B-P3 new, not on the list" in told and "back.muntin.1 no longer" not in told


def test_a_made_part_that_the_plan_has_no_more_is_said(handed_out, course_of):
    """The door renamed: its stile is cut all the same, and its sizes stay in the log."""
    folder = handed_out.folder
    course = course_of(plan=CLASS_PLAN.replace("  door:\n", "  leaf:\n"))
    text = said(course)
    assert text.splitlines()[0].endswith("leaf was not there, now frame and panel; door was frame and panel, now not there")
    assert (
        "plan.yaml: V051: the plan has no such part any more, and s1 made it: door.stile.left, cut 2026-10-07: "
        "length 423.0 mm, width 50.0 mm, thickness 18.0 mm\n    Its sizes stay in the log and move nothing. "
        "Give the part its old name back, or measure what replaces it." in text
    )
    assert "s1 made a part that the plan has no more: door.stile.left, cut 2026-10-07" in plain(
        run("changes", folder, "s1").stdout
    )
    back = course_of()
    assert back.values(back.student("s1"))["door.stile.left.length"] == 423 and edited(back) == ()


def test_the_whole_class_is_told_at_once(handed_out, course_of):
    """Edits in full, readings by how many sizes of whom; handing out again settles all but what is cut."""
    folder = handed_out.folder
    handed_out.log.add([Reading("s2", "divider.upper.width", 1, 1, "365", Fraction(365))])
    course_of(plan=plan_with(door_stile_width=47))
    told = run("changes", folder)
    text = plain(told.stdout)
    assert told.exit_code == 1
    assert text.startswith("Test course: Printed lists that no longer hold: all 2 students.\ndoor.stile.width was 50.0 mm")
    assert "    s1: D-SL width cut at 50.0, 47.0 mm is asked now: trim 3.0 mm\n" in text
    assert "Moved by readings:\n    s2: 1 size of H-H\n" in text
    assert "Recorded list 2 of Bo Test." in run("changes", folder, "--issue").stdout
    after = plain(run("changes", folder).stdout)
    assert after.startswith("Test course: The printed lists still hold.\n") and "s2" not in after
    assert "s1: D-SL width cut at 50.0, 47.0 mm is asked now: trim 3.0 mm" in after


def test_a_part_that_was_read_is_made_whether_or_not_it_was_marked(handed_out, course_of):
    """A stile of the second student was read at 423 and never marked: no list asks for it, and it is told as measured."""
    handed_out.log.add([Reading("s2", "door.stile.left.length", 1, 1, "423", Fraction(423))])
    course = course_of(plan=CLASS_PLAN.replace("height: 600", "height: 603"))
    made = [e for e in changes(course, course.student("s2")).effects if e.part == "D-SL"]
    assert [(e.made, e.was, e.now) for e in made] == [("measured", 423, 426)]


def test_a_rail_that_is_cut_is_told_what_it_needs(course_of):
    """The length follows the shoulder, and both were cut: 281 for stiles of 50; with one of 49.6 it needs 281.4."""
    course = course_of()
    course.mark(course.student("s1"), "D-RT", "cut")
    course.log.add([Reading("s1", "door.stile.left.width", 1, 1, "49.6", Fraction("49.6"))])
    course.fresh()
    told = plain(run("cutlist", course.folder, "s1").stdout)
    assert "D-RT: length is 281.0 mm, needs 281.4 mm: 0.4 mm too short: see the remedies" in told


@pytest.mark.parametrize(
    ("read", "told"),
    [
        ("49.9", ""),
        ("49.8", "width is 49.8 mm, needs 50.0 mm: 0.2 mm too narrow: see the remedies"),
        ("50.1", "width is 50.1 mm, needs 50.0 mm: trim 0.1 mm"),
    ],
)
def test_a_part_is_sent_to_the_remedies_from_where_they_begin(course_of, read, told):
    """A stile that is cut and reads 0.1 mm under its width is left as it is; remedies begin at 0.2 mm."""
    course = course_of()
    course.mark(course.student("s1"), "D-SL", "cut")
    course.log.add([Reading("s1", "door.stile.left.width", 1, 1, read, Fraction(read))])
    course.fresh()
    said = plain(run("cutlist", course.folder, "s1").stdout)
    assert f"D-SL: {told}" in said if told else "D-SL: width is" not in said
    names = [one.name for one in remedies(course, course.student("s1"))]
    assert ("narrow stiles" in names) is told.endswith("see the remedies")


@pytest.mark.parametrize(("now", "advice"), [("50.1", "leave it"), ("50.2", "see the remedies")])
def test_a_size_that_moved_a_little_is_told_and_left(now, advice):
    """What is asked of a cut part moved by 0.1 mm: that is told, and there is nothing to do."""
    moved = Effect("D-SL", "width", Fraction(50), Fraction(now), "cut", ())
    by = Fraction(now) - 50
    assert plain(moved.words(MM)) == f"width cut at 50.0, {now} mm is asked now: {float(by)} mm too narrow: {advice}"


def test_an_edit_after_the_cut_costs_nobody_a_mark(handed_out, course_of):
    """The stile was cut to a plan of 423: it is judged by that, while an open one of the second student is to be 426."""
    course = course_of(plan=CLASS_PLAN.replace("height: 600", "height: 603"))
    name = "door.stile.left.length"
    ada, bo = course.students
    assert AsMade(course, ada, course.values(ada)).target(name) == 423
    assert AsMade(course, bo, course.values(bo)).target(name) == 426
    course.log.add([Reading("s1", "divider.upper.height", 1, 1, "427.5", Fraction("427.5"))])
    course.fresh()
    assert AsMade(course, ada, course.values(ada)).target(name) == Fraction("424.5")


def test_telling_changes_changes_nothing(handed_out, course_of):
    """Asked twice it says the same, and nothing is written."""
    course = course_of(plan=plan_with(door_stile_width=47))
    before = (course.folder / "course.db").read_bytes()
    assert said(course) == said(course)
    assert (course.folder / "course.db").read_bytes() == before


def test_what_a_list_rested_on_is_kept_once(handed_out):
    """Many parts cut in one state of things share one basis."""
    ada = handed_out.student("s1")
    for label in ("D-RT", "D-RB", "D-SR"):
        handed_out.mark(ada, label, "cut")
    states = handed_out.log.states("s1")
    assert len({state.basis for state in states.values()}) == 1 and handed_out.log.basis(states["door.rail.top"].basis)
    handed_out.mark(ada, "D-RT", "jointed")
    assert handed_out.log.states("s1")["door.rail.top"].basis == states["door.rail.top"].basis


def test_a_log_of_the_version_before_is_kept_and_grows(course_of):
    """States and lists without a basis are read as they are; the next one has room for it."""
    course = course_of()
    ada = course.student("s1")
    with sqlite3.connect(course.log.path) as old:
        old.executescript(
            "CREATE TABLE state (number INTEGER PRIMARY KEY, student TEXT NOT NULL, part TEXT NOT NULL, state TEXT NOT"
            " NULL, who TEXT NOT NULL, at TEXT NOT NULL, source TEXT NOT NULL, sizes TEXT NOT NULL);"
            "CREATE TABLE issue (number INTEGER PRIMARY KEY, student TEXT NOT NULL, revision INTEGER NOT NULL,"
            " at TEXT NOT NULL, sizes TEXT NOT NULL);"
            "INSERT INTO state VALUES (NULL,'s1','door.stile.left','cut','','','','{\"door.stile.left.length\": \"420\"}');"
            "INSERT INTO issue VALUES (NULL,'s1',4,'2026-09-28','{\"door.stile.right.length\": \"420\"}');"
            "PRAGMA user_version = 2;"
        )
    assert course.log.states("s1")["door.stile.left"].basis == 0
    assert course.values(ada)["door.stile.left.length"] == 420 and edited(course) == ()
    assert "It was not kept what this list rested on:" in run("changes", course.folder, "s1").stdout
    course.mark(ada, "D-SR", "cut")
    course.fresh()
    assert hand_out(course, ada).revision == 5 and course.log.issued("s1").basis
    assert course.values(ada)["door.stile.left.length"] == 420 and course.log.states("s1")["door.stile.right"].basis


PARAMETERS = st.sampled_from([
    "door.stile.width", "door.rail.width", "door.reveal", "door.groove.depth", "door.groove.width", "back.stile.width",
    "back.rail.width", "back.reveal", "case.width", "case.height", "case.depth", "stock.frame.thickness",
    "stock.case.thickness", "stock.panel.thickness", "door.panel.shadow_gap", "shop.kerf", "climate.damp", "back.bays",
])  # fmt: skip
CUT = ("D-SL", "D-RT", "D-P", "B-SL", "B-M", "B-P1", "C-T", "C-SL", "H-H")


@given(name=PARAMETERS, tenths=st.integers(-40, 40), cut=st.lists(st.sampled_from(CUT), min_size=1, unique=True))
@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_edit_of_the_plan_changes_what_is_cut(course_folder, name, tenths, cut):
    """The law: whatever parameter of the plan is edited, every size of every part that is cut stays as it was cut."""
    folder = course_folder()
    (folder / "course.db").unlink(missing_ok=True)
    course = read_course(folder)
    ada = course.student("s1")
    for label in cut:
        course.mark(ada, label, "cut")
    names = {part.name for part in course.cabinet.parts if part.label in cut}
    kept = {n: course.values(ada)[n] for n in course.cabinet.graph.index if n.rpartition(".")[0] in names
            and n.rpartition(".")[2] in ("length", "width", "thickness", "shoulder")}  # fmt: skip
    plan = yaml.safe_load(CLASS_PLAN)
    first, _, rest = name.partition(".")
    if name == "back.bays":
        plan["assemblies"]["back"]["bays"] = 2 + abs(tenths) % 3
    else:
        size = float(course.plan_values.number(name)) + tenths / 10
        block = plan.setdefault(first, {}) if first in ("shop", "climate") else plan["assemblies"].get(first)
        block = plan["stock"][rest.partition(".")[0]] if first == "stock" else block
        block[rest.rpartition(".")[2] if first == "stock" else rest] = size
    (folder / "plan.yaml").write_text(yaml.safe_dump(plan, sort_keys=False), "utf-8")
    try:
        after = read_course(folder)
    except InputRefused:
        assume(False)
    values = after.values(after.student("s1"))
    assert {n: values[n] for n in kept if n in values} == {n: size for n, size in kept.items() if n in values}
    gone = {part.part for part in changes(after, after.student("s1")).gone}
    assert {n.rpartition(".")[0] for n in kept if n not in values and n.endswith(".length")} <= gone


def test_the_basis_is_part_of_one_write(tmp_path):
    """A state and what it rests on are there together or not at all; the same words are kept once."""
    log = Log(tmp_path / "course.db")
    log.mark("s1", "door.stile.left", "cut", "", "", {}, given="[1]")
    log.mark("s2", "door.stile.left", "cut", "", "", {}, given="[1]")
    log.issue("s1", "", {}, given="[2]")
    assert [log.basis(n) for n in (0, 1, 2, 3)] == ["", "[1]", "[2]", ""]
    with sqlite3.connect(log.path) as connection, pytest.raises(sqlite3.DatabaseError, match="only ever added to"):
        connection.execute("UPDATE basis SET given='x'")
