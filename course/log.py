"""The log of a course in SQLite: readings, judged marks, part states and issued lists, only ever added to."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from sys import intern
from types import MappingProxyType
from typing import Any

from course.readings import FROZEN, MOISTURE, STATES, Issue, Judgement, Reading, Record, State, Taken
from shared.places import Place
from shared.problems import InputRefused, Problem

FILE = "course.db"

_TABLES = """
CREATE TABLE IF NOT EXISTS reading (
  number INTEGER PRIMARY KEY, student TEXT NOT NULL, quantity TEXT NOT NULL, place INTEGER NOT NULL,
  attempt INTEGER NOT NULL, raw TEXT NOT NULL, value TEXT, instrument TEXT NOT NULL, reader TEXT NOT NULL,
  taken TEXT NOT NULL, source TEXT NOT NULL, sheet TEXT NOT NULL, cell TEXT NOT NULL, note TEXT NOT NULL,
  held TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS seen (
  number INTEGER PRIMARY KEY, student TEXT NOT NULL, quantity TEXT NOT NULL, place INTEGER NOT NULL,
  attempt INTEGER NOT NULL, reader TEXT NOT NULL, raw TEXT NOT NULL, source TEXT NOT NULL, sheet TEXT NOT NULL,
  cell TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS confirmation (
  number INTEGER PRIMARY KEY, reading INTEGER NOT NULL UNIQUE, who TEXT NOT NULL, at TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS basis (number INTEGER PRIMARY KEY, given TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS read_on (
  number INTEGER PRIMARY KEY, reading INTEGER NOT NULL UNIQUE, basis INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS state (
  number INTEGER PRIMARY KEY, student TEXT NOT NULL, part TEXT NOT NULL, state TEXT NOT NULL, who TEXT NOT NULL,
  at TEXT NOT NULL, source TEXT NOT NULL, sizes TEXT NOT NULL, basis INTEGER);
CREATE TABLE IF NOT EXISTS issue (
  number INTEGER PRIMARY KEY, student TEXT NOT NULL, revision INTEGER NOT NULL, at TEXT NOT NULL, sizes TEXT NOT NULL,
  basis INTEGER);
CREATE TABLE IF NOT EXISTS judgement (
  number INTEGER PRIMARY KEY, student TEXT NOT NULL, item TEXT NOT NULL, judge TEXT NOT NULL, level TEXT NOT NULL,
  at TEXT NOT NULL, source TEXT NOT NULL, sheet TEXT NOT NULL, cell TEXT NOT NULL, note TEXT NOT NULL,
  over INTEGER NOT NULL);
CREATE INDEX IF NOT EXISTS reading_student ON reading (student);
CREATE INDEX IF NOT EXISTS seen_student ON seen (student);
CREATE INDEX IF NOT EXISTS state_student ON state (student);
"""
_KEPT = """
CREATE TRIGGER IF NOT EXISTS {table}_kept_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'the log is only ever added to'); END
"""
VERSION = 5
"""Of the form of the file, raised with every new table; one of version 2 gets room for bases with its next row."""
_GROWN = ("ALTER TABLE state ADD COLUMN basis INTEGER", "ALTER TABLE issue ADD COLUMN basis INTEGER")
_MAKE = (
    *(statement for statement in _TABLES.split(";") if statement.strip()),
    *(
        _KEPT.format(table=t, verb=v)
        for t in ("reading", "seen", "confirmation", "basis", "read_on", "state", "issue", "judgement")
        for v in ("UPDATE", "DELETE")
    ),
    f"PRAGMA user_version = {VERSION}",
)


def _made(connection: sqlite3.Connection) -> None:
    """Make the tables, or bring those of an older file up to date; in one transaction."""
    connection.execute("BEGIN IMMEDIATE")
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    for statement in (*(_GROWN if version == 2 else ()), *(_MAKE if version < VERSION else ())):
        connection.execute(statement)
    connection.execute("COMMIT")


_SAID = (
    "SELECT raw, source, sheet, cell FROM {table}"
    " WHERE student=? AND quantity=? AND place=? AND attempt=? AND reader=? ORDER BY number"
)
"""What was ever said of one thing, and where; what stood in a second file word for word is `seen`, no reading."""
_LAST_ISSUE = "SELECT * FROM issue WHERE student=? ORDER BY number DESC LIMIT 1"

_CONFIRMED = ("confirmation", "SELECT reading FROM confirmation", ())
_STATES = "SELECT * FROM state WHERE student=? ORDER BY number"
_READ_ON = (
    "SELECT quantity, attempt, basis FROM reading JOIN read_on ON read_on.reading = reading.number"
    " WHERE student=? ORDER BY reading.number"
)


def _every_reading(student: str) -> tuple[str, str, Sequence[object]]:
    """The question for all rows of a student, or of everybody, oldest first."""
    where, values = ("WHERE student=?", (student,)) if student else ("", ())
    return "reading", f"SELECT * FROM reading {where} ORDER BY number", values


def _numbered(rows: Iterable[tuple[Any, ...]]) -> tuple[tuple[int, Reading], ...]:
    return tuple((row[0], _reading(*row[1:])) for row in rows)


def _reading(student: str, name: str, place: int, attempt: int, raw: str, value: str | None, *more: str) -> Reading:
    """A reading of a row; text that stands in many of them, as a file or an instrument, is kept once."""
    size = None if value is None else Fraction(value)
    return Reading(intern(student), intern(name), place, attempt, raw, size, *map(intern, more))


def _counting(rows: Iterable[tuple[int, Reading]], confirmed: Set[int]) -> dict[int, Reading]:
    """The latest row for each size asked that is not held back, by its number."""
    latest: dict[tuple[Any, ...], tuple[int, Reading]] = {}
    for number, one in rows:
        if one.quantity.endswith(MOISTURE) or (one.held and number not in confirmed):
            continue
        latest.pop(one.key, None)
        latest[one.key] = number, one
    return dict(latest.values())


def _anew(
    rows: Iterable[tuple[int, Reading]], confirmed: Set[int], counting: Mapping[int, Reading]
) -> tuple[Reading, ...]:
    """As `Record.anew`."""
    every = tuple(
        one for number, one in rows
        if not one.quantity.endswith(MOISTURE) and (not one.held or number in confirmed)
    )
    return every if len(every) > len(counting) or any(one.attempt > 1 for one in every) else ()


def _moistures(rows: Iterable[tuple[int, Reading]]) -> dict[tuple[str, int], Fraction]:
    return {
        (one.quantity.removesuffix(MOISTURE), one.attempt): one.value
        for _, one in rows
        if one.quantity.endswith(MOISTURE) and one.value is not None
    }


def _states(rows: Iterable[tuple[Any, ...]]) -> dict[str, State]:
    found: dict[str, State] = {}
    for _, _, part, name, who, at, source, sizes, *basis in rows:
        found[part] = State(part, name, who, at, source, _sizes(sizes), _basis(basis))
    return found


def _read_on(rows: Iterable[tuple[Any, ...]]) -> dict[str, int]:
    found: dict[str, tuple[int, int]] = {}
    for name, attempt, basis in rows:
        if name not in found or attempt > found[name][0]:
            found[name] = attempt, basis
    return {name: basis for name, (_, basis) in found.items()}


def _issue(row: tuple[Any, ...]) -> Issue:
    _, _, revision, at, sizes, *basis = row
    return Issue(revision, at, _sizes(sizes), _basis(basis))


def _basis(column: Sequence[int | None]) -> int:
    """The last column of a state or an issue, which an older file has not."""
    return (column[0] if column else None) or 0


def _sizes(text: str) -> dict[str, Fraction]:
    return {name: Fraction(value) for name, value in json.loads(text).items()}


def _sizes_text(sizes: dict[str, Fraction]) -> str:
    return json.dumps({name: str(value) for name, value in sorted(sizes.items())})


def _kept(connection: sqlite3.Connection, given: str) -> int | None:
    """The number of a basis, kept once however many states and issues rest on it; None for an empty one."""
    if not given:
        return None
    connection.execute("INSERT OR IGNORE INTO basis VALUES (NULL,?)", (given,))
    return connection.execute("SELECT number FROM basis WHERE given=?", (given,)).fetchone()[0]


def _is_known(connection: sqlite3.Connection, one: Reading, earlier: Sequence[tuple[Any, ...]]) -> bool:
    """Whether a reading counts already or its cell said it before; where else it stands word for word is kept."""
    if not earlier:
        return False
    said = (one.raw, one.source, one.sheet, one.cell)
    if said in earlier or said in connection.execute(_SAID.format(table="seen"), one.key).fetchall():
        return True
    if earlier[-1][0] != one.raw:
        return False
    connection.execute("INSERT INTO seen VALUES (NULL,?,?,?,?,?,?,?,?,?)", (*one.key, *said))
    return True


def _said_since(one: Reading, earlier: Sequence[tuple[Any, ...]]) -> str:
    """What the cell of a known reading said after it; empty when the reading counts or was the last there."""
    here = [raw for raw, *where in earlier if where == [one.source, one.sheet, one.cell]]
    return here[-1] if here and earlier[-1][0] != one.raw != here[-1] else ""


def _insert(connection: sqlite3.Connection, one: Reading, given: str) -> None:
    """A new row, with what the sizes of its student rest on."""
    row = connection.execute(
        "INSERT INTO reading VALUES (NULL,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
        (
            *(one.student, one.quantity, one.place, one.attempt, one.raw),
            None if one.value is None else str(one.value),
            *(one.instrument, one.reader, one.taken, one.source, one.sheet, one.cell, one.note, one.held),
        ),
    )
    if basis := _kept(connection, given):
        connection.execute("INSERT INTO read_on VALUES (NULL,?,?)", (row.lastrowid, basis))


class Log:
    """The log file of one course folder. Every write is one transaction; nothing is changed or removed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._bases: dict[int, str] = {}

    @contextmanager
    def _open(self, write: bool = False) -> Iterator[sqlite3.Connection]:
        try:
            connection = sqlite3.connect(self.path, timeout=60, isolation_level=None)
        except sqlite3.Error as error:
            raise self._refused(error) from None
        try:
            if write:
                if connection.execute("PRAGMA user_version").fetchone()[0] < VERSION:
                    _made(connection)
                connection.execute("BEGIN IMMEDIATE")
            yield connection
            if write:
                connection.execute("COMMIT")
        except sqlite3.Error as error:
            raise self._refused(error) from None
        finally:
            connection.close()

    def _refused(self, error: sqlite3.Error) -> InputRefused:
        says = f"the log of the course cannot be used ({error})"
        do = "Check that the folder can be written to and has room; put back the last copy if the file is damaged."
        return InputRefused([Problem("F002", Place(self.path.name), says, do)])

    def _rows(self, table: str, question: str, values: Sequence[object] = ()) -> list[tuple]:
        """The rows of one question; none where an older file has no such table."""
        return self._answers((table, question, values))[0]

    def _answers(self, *asked: tuple[str, str, Sequence[object]]) -> list[list[tuple]]:
        """The rows of each question about a table, all of one moment: to open the file costs more than to read it."""
        if not self.path.exists():
            return [[] for _ in asked]
        with self._open() as connection:
            connection.execute("BEGIN")
            tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")}
            return [
                connection.execute(question, values).fetchall() if table in tables else []
                for table, question, values in asked
            ]

    def add(self, readings: Iterable[Reading], given: Mapping[str, str] = MappingProxyType({})) -> Taken:
        """Take readings in; one already there word for word is not added again.

        It is there when it counts now, or when the same cell of the same file said the same before: an old sheet that
        lies beside the corrected one takes nothing back, however often both are offered. What a cell said before and
        says again is therefore the same too; under another file name it is a correction like any other.

        Args:
            readings: In the order in which they count.
            given: What the sizes of each student rest on (`course.basis`), kept with the new readings.
        """
        same = corrected = 0
        new: list[Reading] = []
        back: list[tuple[Reading, str]] = []
        with self._open(write=True) as connection:
            for one in readings:
                earlier = connection.execute(_SAID.format(table="reading"), one.key).fetchall()
                if _is_known(connection, one, earlier):
                    same += 1
                    if since := _said_since(one, earlier):
                        back.append((one, since))
                else:
                    _insert(connection, one, given.get(one.student, ""))
                    new.append(one)
                    corrected += bool(earlier)
        return Taken(len(new) - corrected, same, corrected, tuple(new), tuple(back))

    def all(self, student: str = "") -> tuple[tuple[int, Reading], ...]:
        """Every row of a size ever taken in, with its number, oldest first."""
        return tuple(row for row in self._taken(student) if not row[1].quantity.endswith(MOISTURE))

    def moistures(self, student: str) -> dict[tuple[str, int], Fraction]:
        """The moisture of parts when they were read, by part and attempt; a correction stands in for what was before.

        It is taken in by `add`, as a reading of `<part>.moisture`. [%]
        """
        return _moistures(self._taken(student))

    def _taken(self, student: str) -> tuple[tuple[int, Reading], ...]:
        return _numbered(self._rows(*_every_reading(student)))

    def _sizes_and_confirmed(self, student: str) -> tuple[list[tuple[int, Reading]], frozenset[int]]:
        """Every row of a size, oldest first, and the numbers of those that were confirmed."""
        rows, confirmed = self._answers(_every_reading(student), _CONFIRMED)
        sizes = [row for row in _numbered(rows) if not row[1].quantity.endswith(MOISTURE)]
        return sizes, frozenset(number for (number,) in confirmed)

    def readings(self, student: str = "") -> tuple[Reading, ...]:
        """The readings that count: the latest row for each thing asked that is not held back."""
        return tuple(_counting(*self._sizes_and_confirmed(student)).values())

    def all_and_counting(self) -> tuple[list[tuple[int, Reading]], Set[int]]:
        """What `all` gives for everybody, and the numbers of the rows that count, all of one moment."""
        rows, confirmed = self._sizes_and_confirmed("")
        return rows, _counting(rows, confirmed).keys()

    def of(self, student: str) -> Record:
        """Everything about one student at once: what `readings`, `moistures`, `states` and `read_on` give."""
        own = (student,)
        taken, confirmed, states, read_on = self._answers(
            _every_reading(student), _CONFIRMED, ("state", _STATES, own), ("read_on", _READ_ON, own)
        )
        rows = _numbered(taken)
        counting = _counting(rows, {number for (number,) in confirmed})
        anew = _anew(rows, {number for (number,) in confirmed}, counting)
        return Record(tuple(counting.values()), _moistures(rows), _states(states), _read_on(read_on), anew)

    def held(self, student: str = "") -> tuple[tuple[int, Reading], ...]:
        """Readings that wait to be confirmed, with their number; one that was read again since waits no more."""
        rows, confirmed = self._sizes_and_confirmed(student)
        latest = {one.key: (number, one) for number, one in rows}
        return tuple((n, one) for n, one in latest.values() if one.held and n not in confirmed)

    def confirm(self, number: int, who: str, at: str) -> bool:
        """Let a held reading count; False when it counts already."""
        if (number,) in self._rows(*_CONFIRMED):
            return False
        with self._open(write=True) as connection:
            connection.execute("INSERT OR IGNORE INTO confirmation VALUES (NULL,?,?,?)", (number, who, at))
        return True

    def judge(self, judgements: Iterable[Judgement]) -> tuple[Judgement, ...]:
        """Take judged levels in, and give the new ones; one that stands already is not added again.

        It stands when it is the judge's latest, or when the same cell said it of the same row before: a file offered
        twice, or an old one beside its successor, changes nothing.
        """
        new = []
        with self._open(write=True) as connection:
            for one in judgements:
                question = (
                    "SELECT level, source, sheet, cell, over FROM judgement"
                    " WHERE student=? AND item=? AND judge=? ORDER BY number"
                )
                earlier = connection.execute(question, one.key).fetchall()
                said = (one.level, one.source, one.sheet, one.cell, one.over)
                if earlier and (earlier[-1][0] == one.level or said in earlier):
                    continue
                connection.execute(
                    "INSERT INTO judgement VALUES (NULL,?,?,?,?,?,?,?,?,?,?)",
                    (*one.key, one.level, one.at, one.source, one.sheet, one.cell, one.note, one.over),
                )
                new.append(one)
        return tuple(new)

    def all_judgements(self, student: str = "") -> tuple[tuple[int, Judgement], ...]:
        """Every judged level ever taken in, with its number, oldest first."""
        where, values = ("WHERE student=?", (student,)) if student else ("", ())
        question = f"SELECT * FROM judgement {where} ORDER BY number"
        return tuple((row[0], Judgement(*row[1:])) for row in self._rows("judgement", question, values))

    def judgements(self, student: str = "") -> tuple[tuple[int, Judgement], ...]:
        """The latest level of each student, item and judge, with its number, oldest first."""
        latest: dict[tuple[str, str, str], tuple[int, Judgement]] = {}
        for number, one in self.all_judgements(student):
            latest.pop(one.key, None)
            latest[one.key] = (number, one)
        return tuple(latest.values())

    def mark(
        self,
        student: str,
        part: str,
        state: str,
        who: str,
        at: str,
        sizes: dict[str, Fraction],
        source: str = "",
        given: str = "",
    ) -> bool:
        """Record the state of a part; False when it is in that state already.

        Args:
            student: Id.
            part: Full name.
            state: One of `STATES`.
            who: Who says so.
            at: Date as written.
            sizes: The part's sizes now; one that is cut already keeps those it was cut to.
            source: File it came from.
            given: What the sizes rest on (`course.basis`), kept with them.
        """
        assert state in STATES
        with self._open(write=True) as connection:
            now = connection.execute(
                "SELECT state, sizes, basis FROM state WHERE student=? AND part=? ORDER BY number DESC LIMIT 1",
                (student, part),
            ).fetchone()
            if now and now[0] == state:
                return False
            cut = now and now[0] in FROZEN and state in FROZEN
            text, basis = now[1:] if cut else (_sizes_text(sizes), _kept(connection, given))
            connection.execute(
                "INSERT INTO state VALUES (NULL,?,?,?,?,?,?,?,?)", (student, part, state, who, at, source, text, basis)
            )
        return True

    def states(self, student: str) -> dict[str, State]:
        """The latest state of each part that has one."""
        return _states(self._rows("state", _STATES, (student,)))

    def made(self) -> dict[str, tuple[int, int]]:
        """How often each part was made in the whole class, and how often it was made again."""
        found: dict[str, tuple[int, int]] = {}
        last: dict[tuple[str, str], str] = {}
        question = "SELECT student, part, state FROM state ORDER BY number"
        for student, part, state in self._rows("state", question):
            before = last.get((student, part), "")
            cut, again = found.get(part, (0, 0))
            found[part] = (cut + (state in FROZEN and before not in FROZEN), again + (state == "remade"))
            last[student, part] = state
        return found

    def read_on(self, student: str) -> dict[str, int]:
        """By size, the number of what was given when its last attempt was first read (`basis`)."""
        return _read_on(self._rows("read_on", _READ_ON, (student,)))

    def basis(self, number: int) -> str:
        """What was given when a part was cut or a list handed out, as it was kept; empty for 0."""
        if number and number not in self._bases:
            rows = self._rows("basis", "SELECT given FROM basis WHERE number=?", (number,))
            self._bases = {number: rows[0][0] if rows else ""}  # a row never changes, so the last one asked for is kept
        return self._bases[number] if number else ""

    def issue(self, student: str, at: str, sizes: dict[str, Fraction], given: str = "") -> Issue:
        """Record that a cut list was handed out; the same sizes again are the same issue.

        Args:
            student: Id.
            at: Date as written.
            sizes: All sizes on the list.
            given: What they rest on (`course.basis`), kept with them.
        """
        with self._open(write=True) as connection:
            rows = connection.execute(_LAST_ISSUE, (student,)).fetchall()
            last = _issue(rows[0]) if rows else None
            if last and last.sizes == sizes:
                return last
            basis = _kept(connection, given)
            issue = Issue((last.revision if last else 0) + 1, at, sizes, basis or 0)
            values = (student, issue.revision, at, _sizes_text(sizes), basis)
            connection.execute("INSERT INTO issue VALUES (NULL,?,?,?,?,?)", values)
        return issue

    def issued(self, student: str) -> Issue | None:
        """The last list handed out to a student."""
        rows = self._rows("issue", _LAST_ISSUE, (student,))
        return _issue(rows[0]) if rows else None
