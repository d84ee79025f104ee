"""The log: readings and part states are only ever added."""

from __future__ import annotations

import multiprocessing
import os
import resource
import shutil
import signal
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from fractions import Fraction
from functools import partial
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from course.changes import changes, hand_out
from course.course_folder import read_course
from course.formula import Value
from course.log import Log
from course.quantities import Origin
from course.readings import FROZEN, STATES, Judgement, Reading, reduce
from shared.problems import InputRefused

VERSION_2 = """
CREATE TABLE reading (number INTEGER PRIMARY KEY, student TEXT NOT NULL, quantity TEXT NOT NULL, place INTEGER NOT NULL,
  attempt INTEGER NOT NULL, raw TEXT NOT NULL, value TEXT, instrument TEXT NOT NULL, reader TEXT NOT NULL,
  taken TEXT NOT NULL, source TEXT NOT NULL, sheet TEXT NOT NULL, cell TEXT NOT NULL, note TEXT NOT NULL,
  held TEXT NOT NULL);
CREATE TABLE state (number INTEGER PRIMARY KEY, student TEXT NOT NULL, part TEXT NOT NULL, state TEXT NOT NULL,
  who TEXT NOT NULL, at TEXT NOT NULL, source TEXT NOT NULL, sizes TEXT NOT NULL);
CREATE TABLE issue (number INTEGER PRIMARY KEY, student TEXT NOT NULL, revision INTEGER NOT NULL, at TEXT NOT NULL,
  sizes TEXT NOT NULL);
PRAGMA user_version = 2;
"""
"""The tables of a log before it kept what a list or a cut rested on."""


def reading(value: str, place: int = 1, **more) -> Reading:
    return Reading(**{"student": "s1", "quantity": "door.width", "place": place, "attempt": 1, "raw": value,
                      "value": Fraction(value), **more})  # fmt: skip


def test_the_same_reading_is_taken_once(tmp_path):
    """A reading offered twice is one row; the second time it is counted as the same."""
    log = Log(tmp_path / "course.db")
    assert log.add([reading("361.8"), reading("361.9", 2)]).added == 2
    again = log.add([reading("361.8"), reading("361.9", 2)])
    assert (again.added, again.same, again.corrected) == (0, 2, 0)
    assert len(log.all()) == 2


def test_a_correction_is_a_new_row(tmp_path):
    """A changed reading stands in for the earlier one, which stays in the log."""
    log = Log(tmp_path / "course.db")
    log.add([reading("361.8", source="week1.xlsx", sheet="Fit checks", cell="F7")])
    assert log.add([reading("362.8", source="week2.xlsx")]).corrected == 1
    assert [one.raw for one in log.readings("s1")] == ["362.8"]
    assert [(number, one.raw, one.source) for number, one in log.all()] == [
        (1, "361.8", "week1.xlsx"),
        (2, "362.8", "week2.xlsx"),
    ]
    assert str(log.all()[0][1].where) == "week1.xlsx:Fit checks!F7"


def test_an_old_sheet_beside_the_corrected_one_settles(tmp_path):
    """The old and the corrected file offered again and again add nothing more; the correction counts."""
    log = Log(tmp_path / "course.db")
    both = [reading("356.8", source="old.xlsx", cell="J9"), reading("365.8", source="s1.xlsx", cell="J9")]
    assert (log.add(both).added, len(log.all())) == (1, 2)
    for order in (both, both[::-1], both[:1]):
        taken = log.add(order)
        assert (taken.added, taken.corrected, taken.same, taken.new) == (0, 0, len(order), ())
    assert [one.raw for one in log.readings()] == ["365.8"]


def test_a_file_saved_again_corrects_and_a_later_file_takes_back(tmp_path):
    """One cell: 1, then 2 corrects. 1 once more in the same cell is an old copy; under a later file name it counts."""
    log = Log(tmp_path / "course.db")
    for raw, source, corrected in (("1", "s1", 0), ("2", "s1", 1), ("1", "s1", 0), ("1", "s1 week 2", 1)):
        assert log.add([reading(raw, source=source, cell="J9")]).corrected == corrected
    assert [(one.raw, one.source) for _, one in log.all()] == [("1", "s1"), ("2", "s1"), ("1", "s1 week 2")]


def test_a_copy_of_an_old_sheet_takes_nothing_back(tmp_path):
    """A copy that said the same as the old sheet when it came in is known when it comes again after the correction."""
    log = Log(tmp_path / "course.db")
    three = [reading(raw, source=source, cell="J9") for raw, source in (("1", "a"), ("1", "copy of a"), ("2", "b"))]
    log.add(three)
    assert [one.raw for _, one in log.all()] == ["1", "2"]
    assert log.add(three).same == 3 and [one.raw for one in log.readings()] == ["2"]


OFFERED = st.lists(
    st.builds(
        lambda raw, place, source, cell: reading(str(raw), place, source=source, cell=cell),
        st.integers(1, 3), st.integers(1, 2), st.sampled_from(["a", "b"]), st.sampled_from(["J9", "J10"]),
    ),
    max_size=12,
)  # fmt: skip


@given(offered=OFFERED)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_was_offered_once_adds_nothing_again(tmp_path, offered):
    """The law of the log: any files, with any contradictions, taken in twice are as if taken in once."""
    path = tmp_path / "law.db"
    path.unlink(missing_ok=True)
    log = Log(path)
    log.add(offered)
    once = log.all()
    assert log.add(offered).same == len(offered) and log.all() == once


def test_two_who_mark_or_issue_at_once_do_it_once(tmp_path, monkeypatch):
    """What the log holds is looked up inside the write: a state or an issue that another just wrote is not doubled."""
    log, other = Log(tmp_path / "course.db"), Log(tmp_path / "course.db")
    sizes = {"door.rail.top.length": Fraction(282)}
    monkeypatch.setattr(log, "states", lambda student: {})
    monkeypatch.setattr(log, "issued", lambda student: None)
    assert other.mark("s1", "door.rail.top", "cut", "", "", sizes) and other.issue("s1", "", sizes).revision == 1
    assert not log.mark("s1", "door.rail.top", "cut", "", "", sizes) and log.issue("s1", "", sizes).revision == 1
    assert log.mark("s1", "door.rail.top", "jointed", "", "", {"door.rail.top.length": Fraction(1)})
    assert other.states("s1")["door.rail.top"].sizes == sizes


@pytest.mark.parametrize("statement", ["UPDATE reading SET raw='1'", "DELETE FROM reading"])
def test_nothing_in_the_log_can_be_changed(tmp_path, statement):
    """The file itself refuses to change or remove a row."""
    log = Log(tmp_path / "course.db")
    log.add([reading("361.8")])
    with sqlite3.connect(log.path) as connection, pytest.raises(sqlite3.DatabaseError, match="only ever added to"):
        connection.execute(statement)


def test_several_readings_reduce_by_their_rule():
    """Smallest, largest, mean and spread are exact."""
    values = [Fraction("365.2"), Fraction("364.8"), Fraction("365.0")]
    assert reduce(values, "smallest") == Fraction("364.8")
    assert reduce(values, "largest") == Fraction("365.2")
    assert reduce(values, "mean") == Fraction("365")
    assert reduce(values, "spread") == Fraction("0.4")


def test_a_held_reading_waits_until_it_is_confirmed(tmp_path):
    """A reading that is held back is kept and listed, moves nothing, and counts once somebody confirms it."""
    log = Log(tmp_path / "course.db")
    log.add([reading("36.5", held="ten times off"), reading("361.8", 2)])
    assert [one.raw for one in log.readings("s1")] == ["361.8"]
    assert [(number, one.held) for number, one in log.held("s1")] == [(1, "ten times off")]
    assert log.confirm(1, "RS", "2026-10-06") and not log.confirm(1, "RS", "2026-10-06")
    assert [one.raw for one in log.readings("s1")] == ["36.5", "361.8"]
    assert log.held("s1") == ()


def test_a_held_reading_that_is_read_again_waits_no_more(tmp_path):
    """A new reading of the same thing settles the question."""
    log = Log(tmp_path / "course.db")
    log.add([reading("36.5", held="ten times off")])
    log.add([reading("365")])
    assert log.held("s1") == () and [one.raw for one in log.readings("s1")] == ["365"]


def _add_for_ever(path: str) -> None:
    log = Log(Path(path))
    for number in range(10_000):
        log.add([reading(str(number), place, quantity=f"q{number}") for place in range(1, 6)])


def test_a_killed_writer_leaves_whole_lots_only(tmp_path):
    """A process killed while it writes leaves every lot of five complete or absent, and the log in use."""
    path = tmp_path / "course.db"
    writer = multiprocessing.get_context("spawn").Process(target=_add_for_ever, args=(str(path),))
    writer.start()
    while not path.exists() or len(Log(path).all()) < 50:
        time.sleep(0.02)
        assert writer.is_alive()
    os.kill(writer.pid, signal.SIGKILL)
    writer.join()
    rows = Log(path).all()
    assert len(rows) % 5 == 0
    assert Log(path).add([reading("1", quantity="later")]).added == 1
    assert len(Log(path).all()) == len(rows) + 1


def _add_until_full(path: str, said) -> None:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (96 * 1024, 96 * 1024))
    try:
        _add_for_ever(path)
    except InputRefused as refused:
        said.put(str(refused))


def test_a_full_disk_is_said_in_words_and_loses_nothing(tmp_path):
    """When no more can be written the last lot is refused whole, what was there stays, and with room it goes on."""
    path, context = tmp_path / "course.db", multiprocessing.get_context("spawn")
    said = context.Queue()
    writer = context.Process(target=_add_until_full, args=(str(path), said))
    writer.start()
    words = said.get(timeout=60)
    writer.join(60)
    assert words.startswith("course.db: F002: the log of the course cannot be used (")
    assert "Check that the folder can be written to and has room" in words
    rows = Log(path).all()
    assert len(rows) >= 50 and len(rows) % 5 == 0
    assert Log(path).add([reading("1", quantity="later")]).added == 1


def test_a_file_that_is_no_log_is_refused_in_words(tmp_path):
    """A damaged log is named and left alone."""
    path = tmp_path / "course.db"
    path.write_bytes(b"this is not a database at all, but text " * 40)
    with pytest.raises(Exception, match="F002: the log of the course cannot be used") as refused:
        Log(path).add([reading("1")])
    assert "put back the last copy" in str(refused.value)
    assert path.read_bytes().startswith(b"this is not")


READ = ("divider.upper.width", "divider.upper.height", "door.stile.left.width", "stock.frame.thickness", "door.groove.depth")
LABELS = ("D-SL", "D-SR", "D-RT", "D-P", "H-H")
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("read"), st.sampled_from(READ), st.integers(-30, 30)),
        st.tuples(st.sampled_from(STATES), st.sampled_from(LABELS), st.just(0)),
        st.tuples(st.just("hand out"), st.just(""), st.just(0)),
    ),
    max_size=10,
)
"""What may happen to a cabinet, in any order."""


@given(steps=STEPS)
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_order_of_readings_and_states_changes_what_is_cut(course_folder, steps):
    """Whatever is read, marked or handed out after a part is cut, its sizes stay until it is open again or itself read."""
    folder = course_folder()
    (folder / "course.db").unlink(missing_ok=True)
    course = read_course(folder)
    ada = course.student("s1")
    parts = {part.label: part.name for part in course.cabinet.parts}
    kept: dict[str, dict[str, Value]] = {}
    for kind, name, tenths in steps:
        if kind == "read":
            value = course.plan_values.number(name) + Fraction(tenths, 10)
            course.log.add([Reading("s1", name, 1, 1, str(value), value)])
            course.fresh()
            kept.get(name.rpartition(".")[0], {}).pop(name, None)
        elif kind == "hand out":
            hand_out(course, ada)
        else:
            now, read = course.values(ada), course.found(ada)
            own = {f"{parts[name]}.{size}" for size in ("length", "width", "thickness", "shoulder")}
            if kind not in FROZEN:
                kept.pop(parts[name], None)
            elif parts[name] not in kept:
                whole = {n: now[n] for n in own if n in now}
                kept[parts[name]] = {n: v for n, v in whole.items() if getattr(read.get(n), "origin", 0) != Origin.READING}
            course.mark(ada, name, kind)
        for sizes in kept.values():
            assert {size: course.values(ada)[size] for size in sizes} == sizes
    told = changes(course, ada)
    again = read_course(folder)
    assert again.values(ada).all == course.values(ada).all and changes(again, ada) == told


@given(order=st.permutations(range(7)))
@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_order_of_readings_does_not_matter(course_folder, order):
    """The same readings in any order, beside a part that is cut and lists handed out in between, give the same sizes."""
    readings = [
        Reading("s1", name, place, 1, text, Fraction(text))
        for name, place, text in (
            ("divider.upper.width", 1, "364.8"), ("divider.upper.width", 2, "365.2"), ("divider.upper.height", 1, "425.1"),
            ("door.stile.left.width", 1, "49.6"), ("door.groove.depth", 1, "10.6"), ("door.groove.width", 1, "6.1"),
        )
    ]  # fmt: skip
    folder = course_folder()
    (folder / "course.db").unlink(missing_ok=True)
    course = read_course(folder)
    ada = course.student("s1")
    course.mark(ada, "D-SR", "cut")
    for index in order:
        if index < len(readings):
            course.log.add([readings[index]])
            course.fresh()
        else:
            hand_out(course, ada)
    once = course.values(ada).all
    course.log.add(readings)
    course.fresh()
    assert course.values(ada).all == once == read_course(folder).values(ada).all
    assert course.values(ada)["door.rail.top.length"] == Fraction("282.4")
    assert course.values(ada)["door.stile.right.length"] == 423 and course.values(ada)["door.stile.left.length"] == Fraction("422.1")


def _work(log: Log) -> Iterator[None]:
    """One write of every kind, with what it leaves in the log."""
    sizes = {"door.rail.top.length": Fraction(282)}
    yield log.add([reading("361.8"), reading("36.5", 2, held="ten times off")])
    yield log.mark("s1", "door.rail.top", "cut", "RS", "2026-10-06", sizes, given="[1]")
    yield log.issue("s1", "2026-10-06", sizes, given="[2]")
    yield log.add([reading("361.8", source="copy.xlsx"), reading("362.8", source="s1 again.xlsx")])
    yield log.confirm(2, "RS", "2026-10-07")
    yield log.mark("s1", "door.rail.top", "glued", "RS", "2026-10-12", {}, given="[3]")


def _written(path: Path) -> str:
    with closing(sqlite3.connect(path)) as connection:
        return "\n".join(connection.iterdump())


class _Dying(sqlite3.Connection):
    """A connection whose process is gone before the n-th statement."""

    left = 0

    def execute(self, *words):
        """Run a statement, or end here as if the plug were pulled."""
        if _Dying.left == 0:
            os._exit(9)
        _Dying.left -= 1
        return super().execute(*words)


def _dies_before(statement: int, path: Path) -> bool:
    """Do all the work in a process that ends before a statement; False when it ran to its end."""
    child = os.fork()
    if child == 0:
        _Dying.left = statement
        sqlite3.connect = partial(sqlite3.connect, factory=_Dying)
        for _ in _work(Log(path)):
            pass
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a process that can be copied")
@pytest.mark.parametrize("old", [False, True], ids=["a new file", "a file of the version before"])
def test_no_moment_of_death_loses_anything(tmp_path, old: bool):
    """Killed before any statement of any write, the log holds whole writes only, and doing the work again completes it."""
    empty, path = tmp_path / "empty.db", tmp_path / "course.db"
    with closing(sqlite3.connect(empty)) as connection:
        connection.executescript(VERSION_2 if old else "")
    shutil.copy(empty, path)
    whole = [_written(path)]
    for _ in _work(Log(path)):
        whole.append(_written(path))
    died = 0
    for statement in range(500):
        shutil.copy(empty, path)
        if not _dies_before(statement, path):
            break
        died += 1
        left = _written(path)
        assert left in whole or "INSERT INTO" not in left
        for _ in _work(Log(path)):
            pass
        assert _written(path) == whole[-1]
    assert died > 30 and _written(path) == whole[-1]


def test_a_part_made_again_follows_readings_again(course_of):
    """A remade part is open: it takes the size of today, not of its first making."""
    course = course_of()
    ada = course.student("s1")
    course.mark(ada, "D-SL", "cut")
    course.log.add([Reading("s1", "divider.upper.height", 1, 1, "425.1", Fraction("425.1"))])
    course.fresh()
    assert course.values(ada)["door.stile.left.length"] == 423
    course.mark(ada, "D-SL", "remade")
    assert course.values(ada)["door.stile.left.length"] == Fraction("422.1")


def test_a_judged_level_is_taken_once_and_never_removed(tmp_path):
    """The same again adds nothing, a change is a new row, an old file beside its successor changes nothing back."""
    log = Log(tmp_path / "course.db")
    first = Judgement("s1", "surface", "A", "Close", "2026-12-01", "week1.csv", cell="2")
    assert log.judge([first, first]) == (first,)
    later = Judgement("s1", "surface", "A", "Usable", "2026-12-08", "week2.csv", cell="2")
    assert log.judge([later]) == (later,) and log.judge([first, later]) == ()
    assert [one for _, one in log.all_judgements()] == [first, later]
    assert log.judgements("s1") == ((2, later),) and log.judgements("s2") == ()


def test_judges_stand_beside_each_other(tmp_path):
    """Each judge's latest level of a student and an item counts."""
    log = Log(tmp_path / "course.db")
    rows = [Judgement("s1", "surface", judge, "Close", source="a.csv", cell=judge) for judge in "AB"]
    assert log.judge(rows) == tuple(rows) and [one for _, one in log.judgements()] == rows


def test_judged_levels_cannot_be_changed_in_the_file(tmp_path):
    """Whoever opens the log with another program can add and nothing else."""
    log = Log(tmp_path / "course.db")
    log.judge([Judgement("s1", "surface", "A", "Close")])
    connection = sqlite3.connect(log.path)
    for statement in ("UPDATE judgement SET level='x'", "DELETE FROM judgement"):
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            connection.execute(statement)
    connection.close()


def test_a_log_without_judged_marks_gets_room_for_them(tmp_path):
    """A file of version 3 keeps its rows and takes levels in."""
    log = Log(tmp_path / "course.db")
    log.add([reading("361.8")])
    connection = sqlite3.connect(log.path)
    connection.executescript("DROP TABLE judgement; PRAGMA user_version = 3;")
    connection.close()
    assert log.judgements() == ()
    log.judge([Judgement("s1", "surface", "A", "Close")])
    assert len(log.judgements()) == 1 and len(log.all()) == 1


def test_the_record_of_a_student_is_what_the_log_says_in_single_answers(course_folder):
    """Readings, moistures, states and what was given, asked at once and one by one, with a held and a corrected row."""
    course = read_course(course_folder())
    log, ada = course.log, course.student("s1")
    log.add([reading("361.8"), reading("361.9", 2, held="far off"), reading("9.5", quantity="door.stile.left.moisture")])
    log.add([reading("362"), reading("300", student="s2")], {"s1": "what was given"})
    course.mark(ada, course.cabinet.parts[0].name, "cut")
    for name in ("s1", "s2", "nobody"):
        one = log.of(name)
        assert one.readings == log.readings(name) and one.moistures == log.moistures(name)
        assert one.states == log.states(name) and one.read_on == log.read_on(name)
    assert [one.raw for one in log.of("s1").readings] == ["362"] and len(log.of("s1").states) == 1
    assert log.of("s1").moistures == {("door.stile.left", 1): Fraction("9.5")} and log.of("s1").read_on


def test_a_course_knows_a_reading_once_it_is_asked_afresh(course_folder):
    """Values and record are of one moment: both stay until `fresh`, and both know the new reading after it."""
    course = read_course(course_folder())
    ada = course.student("s1")
    before = course.values(ada).number("door.groove.width")
    course.log.add([reading("9", quantity="door.groove.width")])
    assert course.values(ada).number("door.groove.width") == before and not course.record(ada).readings
    course.fresh()
    assert course.values(ada).number("door.groove.width") == 9 and len(course.record(ada).readings) == 1
