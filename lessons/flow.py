"""How a class flows through a shop: load of each station, and who works where in which session.

A plan is made session by session: whoever has most work left goes first, to the first of the own next steps whose
station is free. Work at a bench is left when a machine gets free. Nothing at a machine is split over two sessions,
no glue is started at the end of one, and what has to dry waits for the next.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

INSTRUCTOR = "instructor"
"""The station of checks that only the instructor may pass: one person."""


@dataclass(frozen=True, slots=True)
class Task:
    """One piece of work of one student at one station."""

    name: str
    station: str
    minutes: int
    needs: frozenset[str] = frozenset()
    """Names of the tasks that must be done before."""
    glue: bool = False
    """Whether it may not be started at the end of a session."""
    cures: bool = False
    """Whether what needs it has to wait for the next session."""
    wet: bool = False
    """Whether it does not wait for what it needs to dry."""
    earliest: int = 1
    """The session in which it is shown, before which it is not done."""


@dataclass(frozen=True)
class Shop:
    """What a shop offers in each session."""

    places: Mapping[str, int]
    """How many can work at a station at once; any other takes one."""
    usable: int
    """Minutes of a session that are left for work."""
    last_glue: int = 45
    """Before the end of the usable time. [min]"""
    interruptible: frozenset[str] = frozenset()
    """Stations at which work can be left and gone on with."""
    slice: int = 5
    """After how long such work is looked at again. [min]"""

    def at(self, station: str) -> int:
        """How many can work there at once."""
        return self.places.get(station, 1)


@dataclass(frozen=True, slots=True)
class Load:
    """The work of a class at one station."""

    station: str
    places: int
    minutes: int
    sessions: Fraction
    """How many whole sessions all its places are busy."""


@dataclass(frozen=True, slots=True)
class Booking:
    """When a student works where."""

    student: str
    task: str
    station: str
    session: int
    start: int
    """Minutes after work begins."""
    end: int


@dataclass(frozen=True, slots=True)
class Slot:
    """When a place at a station is free."""

    station: str
    session: int
    start: int
    end: int


@dataclass(frozen=True)
class Plan:
    """Who works where in which session."""

    shop: Shop
    sessions: int
    """The last session of the course."""
    bookings: tuple[Booking, ...]
    unfinished: frozenset[str]
    """Students who are not done long after the course has ended."""

    def of(self, session: int, station: str = "") -> tuple[Booking, ...]:
        """What is booked in a session, in the order in which it begins."""
        found = (b for b in self.bookings if b.session == session and station in ("", b.station))
        return tuple(sorted(found, key=lambda b: (b.start, b.station, b.student)))

    def finish(self, student: str) -> tuple[int, int] | None:
        """Session and minute in which a student is done; None for one who is not, or has nothing to do."""
        if student in self.unfinished:
            return None
        return max(((b.session, b.end) for b in self.bookings if b.student == student), default=None)

    def slack(self, student: str) -> int | None:
        """Minutes of work that a student has left over at the end of the course; less than nothing when late.

        None for one who is not done long after it.
        """
        done = self.finish(student)
        if done is None:
            return None if student in self.unfinished else self.sessions * self.shop.usable
        return (self.sessions - done[0] + 1) * self.shop.usable - done[1]

    def free(self, station: str, session: int, least: int) -> Iterator[Slot]:
        """When a place at a station is free for so many minutes or more."""
        booked, places = self.of(session, station), self.shop.at(station)
        edges = sorted({0, self.shop.usable, *(b.start for b in booked), *(b.end for b in booked)})
        start: int | None = None
        for edge in edges:
            busy = sum(b.start <= edge < b.end for b in booked)
            if busy < places and edge < self.shop.usable:
                start = edge if start is None else start
            elif start is not None:
                if edge - start >= least:
                    yield Slot(station, session, start, edge)
                start = None


def load(tasks: Mapping[str, Iterable[Task]], shop: Shop) -> tuple[Load, ...]:
    """The work at each station, the tightest first: minutes over places and the usable time of a session."""
    minutes: dict[str, int] = {}
    for mine in tasks.values():
        for task in mine:
            minutes[task.station] = minutes.get(task.station, 0) + task.minutes
    found = (
        Load(station, shop.at(station), total, Fraction(total, shop.at(station) * shop.usable))
        for station, total in minutes.items()
    )
    return tuple(sorted(found, key=lambda one: (-one.sessions, one.station)))


def plan(
    tasks: Mapping[str, Sequence[Task]],
    shop: Shop,
    sessions: int,
    absent: Mapping[str, frozenset[int]] | None = None,
    first: int = 1,
) -> Plan:
    """Who works where in which session.

    Args:
        tasks: Of each student, in the order of the work.
        shop: Its stations and the usable time of a session.
        sessions: The last session of the course; who is late is followed for as many sessions again.
        absent: Sessions in which a student is not there.
        first: The first session that is planned.
    """
    class_ = _Class(tasks, shop, absent or {})
    for session in range(first, 2 * sessions + 1):
        class_.run(session)
        if not class_.left():
            break
    return Plan(shop, sessions, tuple(_whole(class_.bookings)), frozenset(class_.left()))


@dataclass
class _Student:
    name: str
    open: dict[str, Task]
    remaining: dict[str, int]
    done: dict[str, int] = field(default_factory=dict)
    """The session in which each task was done."""
    cures: frozenset[str] = frozenset()

    def ready(self, session: int) -> list[Task]:
        return [task for task in self.open.values() if task.earliest <= session and self._may(task, session)]

    def _may(self, task: Task, session: int) -> bool:
        return all(
            name not in self.open and (task.wet or not (name in self.cures and self.done.get(name, 0) == session))
            for name in task.needs
        )

    @property
    def left(self) -> int:
        return sum(self.remaining[name] for name in self.open)


class _Class:
    def __init__(
        self, tasks: Mapping[str, Sequence[Task]], shop: Shop, absent: Mapping[str, frozenset[int]]
    ) -> None:
        self.shop, self.absent = shop, absent
        self.bookings: list[Booking] = []
        self.students = [
            _Student(
                name, {t.name: t for t in mine}, {t.name: t.minutes for t in mine}, {},
                frozenset(t.name for t in mine if t.cures),
            )
            for name, mine in tasks.items()
        ]  # fmt: skip

    def left(self) -> list[str]:
        """Students who are not done."""
        return [student.name for student in self.students if student.open]

    def run(self, session: int) -> None:
        """One session: at each moment the free students are put to work, then the next that ends is looked for."""
        here = [s for s in self.students if session not in self.absent.get(s.name, ())]
        busy: dict[str, int] = {}
        running: list[tuple[int, int, int]] = []
        started: dict[int, Task] = {}
        free, now = set(range(len(here))), 0
        while True:
            for number in sorted(free, key=lambda number: (-here[number].left, number)):
                task = self._next(here[number], session, now, busy)
                if task is None:
                    continue
                minutes = self._minutes(here[number], task, now)
                self.bookings.append(Booking(here[number].name, task.name, task.station, session, now, now + minutes))
                busy[task.station] = busy.get(task.station, 0) + 1
                heapq.heappush(running, (now + minutes, number, minutes))
                started[number] = task
                free.discard(number)
            if not running:
                return
            now = running[0][0]
            while running and running[0][0] == now:
                _, number, minutes = heapq.heappop(running)
                task, student = started.pop(number), here[number]
                busy[task.station] -= 1
                student.remaining[task.name] -= minutes
                if student.remaining[task.name] <= 0:
                    del student.open[task.name]
                    student.done[task.name] = session
                free.add(number)

    def _next(self, student: _Student, session: int, now: int, busy: Mapping[str, int]) -> Task | None:
        """What a student does now: the first step at a machine that is free, else at a bench."""
        fitting = [
            task
            for task in student.ready(session)
            if busy.get(task.station, 0) < self.shop.at(task.station)
            and not (task.glue and now > self.shop.usable - self.shop.last_glue)
            and self._minutes(student, task, now) > 0
        ]
        return min(fitting, key=lambda task: task.station in self.shop.interruptible, default=None)

    def _minutes(self, student: _Student, task: Task, now: int) -> int:
        """How long it takes from now without a break; 0 when it does not fit into the session any more."""
        left = student.remaining[task.name]
        room = self.shop.usable - now
        if task.station in self.shop.interruptible:
            return min(left, self.shop.slice, room)
        if left > self.shop.usable:
            return min(left, room)  # longer than any session: it cannot but be split
        return left if left <= room else 0


def _whole(bookings: Iterable[Booking]) -> Iterator[Booking]:
    """Bookings with the slices of one piece of work put together where they follow each other."""
    last: dict[str, Booking] = {}
    found: list[Booking] = []
    for one in bookings:
        before = last.get(one.student)
        if before and (before.task, before.session, before.end) == (one.task, one.session, one.start):
            one = Booking(one.student, one.task, one.station, one.session, before.start, one.end)
        elif before:
            found.append(before)
        last[one.student] = one
    yield from sorted((*found, *last.values()), key=lambda b: (b.session, b.start, b.station, b.student))
