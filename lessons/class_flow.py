"""The flow of one class: its work as tasks, its shop as stations, and the session plan for the instructor."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from importlib.resources import files
from math import ceil

from course.course import Course
from course.quantities import Origin, Values
from course.roster import Student
from lessons.class_sheets import marked
from lessons.flow import INSTRUCTOR, Booking, Load, Plan, Shop, Slot, Task, load, plan
from lessons.operation import ROUTES, Route
from lessons.packet import Lessons
from lessons.route import choose, is_named
from lessons.sequence import Work
from lessons.sessions import missed_by, sheets_of
from lessons.setups import readings
from rubrics.check_files import STAGES, read_checks
from shared.places import Items, Mapping, Place, Text, read_yaml
from shared.problems import Problem, meant
from shared.render.document import Document
from shared.render.templates import render_tree

DEFAULTS: Mapping = read_yaml((files("lessons") / "tables" / "flow.yaml").read_text(encoding="utf-8"), "flow.yaml")
"""How a session runs where a course does not say."""
CHECKED = ", check"
"""How the task of a check is named after the work that it is about."""


def _block(name: str) -> Mapping:
    node = DEFAULTS.get(name)
    assert isinstance(node, Mapping), name
    return node


SAME = {name: node.text for name, node in _block("same").items() if isinstance(node, Text)}
"""Stations of operations that are one place, and its name."""
SESSION = tuple(_block("session").keys)
"""What `shop.session` may say."""


def stations_of(lessons: Lessons) -> tuple[str, ...]:
    """Every place at which some operation of a cabinet may be done, each once."""
    routes = (route for sheet in lessons.sheets for route in sheet[0].operation.routes.values())
    return tuple(dict.fromkeys([*(_place(route) for route in routes), INSTRUCTOR]))


def _place(route: Route) -> str:
    return SAME.get(route.station, route.station)


def flow_problems(course: Course, lessons: Lessons) -> Iterator[Problem]:
    """Settings of stations and sessions that say nothing: unknown names, and what is no whole number."""
    known = {"stations": stations_of(lessons), "session": SESSION}
    for name, text in course.settings.items():
        shop, _, rest = name.partition(".")
        block, _, key = rest.partition(".")
        if shop != "shop" or block not in known:
            continue
        if key not in known[block]:
            why = "no operation of this cabinet is done there" if block == "stations" else "a session has no such thing"
            says = f"shop.{block} names '{key}', and {why}"
            yield Problem("L034", text.place, says, meant(key, known[block]), severe=False)
        elif not (text.text.strip().isdecimal() and int(text.text) > 0):
            says = f"shop.{block}.{key} is '{text.text}'"
            yield Problem("L035", text.place, says, "Write a whole number above 0.", severe=False)
    for wanted in course.prepared:
        if wanted.lower() not in lessons.named():
            says = f"shop.prepared names '{wanted}', and this cabinet has no such operation"
            names = (name for sheet in lessons.sheets for name in (sheet[0].operation.name, sheet[0].operation.title))
            hint = meant(wanted, [name.lower() for name in names])
            yield Problem("L034", Place("course.yaml"), says, hint, severe=False)
    if usable(course) <= 0:
        says = "opening, demonstrations and cleaning take the whole session"
        place = next(text.place for name, text in course.settings.items() if name.startswith("shop.session."))
        yield Problem("L035", place, says, "Give it more minutes, or those less.", severe=False)


def setting(course: Course, block: str, name: str, default: int) -> int:
    """A whole number of `shop.stations` or `shop.session`; the default where there is none that can be used."""
    return course.number(f"shop.{block}.{name}", 0) or default


def session_setting(course: Course, name: str) -> int:
    """How long something of a session takes, as `minutes` or `clean`. [min]"""
    row = _block("session").get(name)
    assert isinstance(row, Mapping)
    return setting(course, "session", name, int(row.text("is")))


def usable(course: Course) -> int:
    """Minutes of a session that are left for work."""
    whole, *less = (session_setting(course, name) for name in ("minutes", "open", "demonstrations", "clean"))
    return whole - sum(less)


def shop_of(course: Course, lessons: Lessons) -> Shop:
    """The stations of a course's shop and the usable time of its sessions."""
    places = {}
    for station in stations_of(lessons):
        row = _block("stations").get(station)
        usual = int(row.text("places")) or len(course.students) if isinstance(row, Mapping) else 1
        places[station] = setting(course, "stations", station, usual)
    left = DEFAULTS.get("interruptible")
    assert isinstance(left, Items)
    return Shop(
        places, max(usable(course), 1), session_setting(course, "last_glue"),
        frozenset(item.text for item in left if isinstance(item, Text)), session_setting(course, "slice"),
    )  # fmt: skip


@dataclass(frozen=True)
class ClassFlow:
    """The work of a class in its shop."""

    course: Course
    lessons: Lessons
    shop: Shop
    prepared: tuple[str, ...]
    """Operations, by name or title, whose parts the students are given ready-made."""

    @cached_property
    def tasks(self) -> dict[str, tuple[Task, ...]]:
        """What is still to be done, of each student by id."""
        return {student.id: tuple(self._tasks(student)) for student in self.course.students}

    @cached_property
    def before_the_course(self) -> tuple[Work, ...]:
        """What is done before the first session: once for the whole class, and parts that are given ready-made."""
        works = self.lessons.works
        return tuple(w for w in works if w.operation.per_class or is_named(w.operation, self.prepared))

    @cached_property
    def plan(self) -> Plan:
        """Who works where in which session."""
        return self._plan(self.shop)

    @cached_property
    def loads(self) -> tuple[Load, ...]:
        """The work at each station, the tightest first."""
        return load(self.tasks, self.shop)

    def _plan(self, shop: Shop) -> Plan:
        absent = {student.id: missed_by(self.course, student) for student in self.course.students}
        return plan(self.tasks, shop, len(self.course.sessions), absent, self.first)

    @cached_property
    def first(self) -> int:
        """The first session that is planned: the first, or once something is measured that of the day of issue."""
        if not any(self.course.log.readings(student.id) for student in self.course.students):
            return 1
        later = (n for n, date in enumerate(self.course.sessions, 1) if date >= self.course.date)
        return next(later, len(self.course.sessions))

    def with_one_more(self, station: str) -> ClassFlow:
        """The same if one more could work at a station."""
        return replace(self, shop=replace(self.shop, places={**self.shop.places, station: self.shop.at(station) + 1}))

    def with_ready_parts(self) -> ClassFlow:
        """The same if all work of the first stage were done before the first session."""
        stock = (w.operation.name for w in self.lessons.works if w.operation.stage == STAGES[0])
        return replace(self, prepared=(*self.prepared, *stock))

    @cached_property
    def sheets(self) -> dict[str, int]:
        """The sheet of each task by its name."""
        return {name: self.lessons.sheet_of(w) for w in self.lessons.works for name in (w.name, w.name + CHECKED)}

    # -- the tasks of a student ----------------------------------------------------------------------

    @cached_property
    def _planned(self) -> dict[int, int]:
        """The session in which each sheet is planned, where the course says so."""
        found: dict[int, int] = {}
        for session in range(1, len(self.course.sessions) + 1) if self.course.planned else ():
            for sheet in sheets_of(self.course, self.lessons, session):
                found.setdefault(sheet, session)
        return found

    @cached_property
    def _instructors(self) -> frozenset[str]:
        """Checks that only the instructor may pass."""
        found = read_checks(self.course.folder).definitions
        return frozenset(spec.name for spec in found if spec.who == INSTRUCTOR)

    def _tasks(self, student: Student) -> Iterator[Task]:
        done = {*finished(self.course.values(student), self.lessons.works, self.course), *self.before_the_course}
        open_ = [work for work in self.lessons.works if work not in done]
        checked = {work for work in open_ if self._instructors & set(work.operation.hold)}
        for work in open_:
            needs = {earlier.name for earlier, _ in work.follows if earlier not in done}
            needs |= {earlier.name + CHECKED for earlier, _ in work.follows if earlier in checked}
            operation = work.operation
            route = self._route(student, work)
            yield Task(
                work.name, _place(route), ceil(route.minutes * student.time_factor), frozenset(needs), operation.glue,
                operation.cures, operation.wet, self._planned.get(self.lessons.sheet_of(work), 1),
            )  # fmt: skip
            if work in checked:
                minutes = session_setting(self.course, "check")
                yield Task(work.name + CHECKED, INSTRUCTOR, minutes, frozenset({work.name}), wet=True)

    def _route(self, student: Student, work: Work) -> Route:
        """The student's own way, or the first that there is where it is done with the instructor."""
        operation = work.operation
        chosen = choose(self.course, student, operation).route
        return chosen or next(operation.routes[name] for name in ROUTES if name in operation.routes)


def class_flow(course: Course, lessons: Lessons) -> ClassFlow:
    """The work of a class in its shop."""
    return ClassFlow(course, lessons, shop_of(course, lessons), course.prepared)


def finished(values: Values, works: Iterable[Work], course: Course) -> frozenset[Work]:
    """Work that is done: everything that is read at its end has been read, or what needs it is done."""
    found: set[Work] = set()
    for work in works:
        wanted = readings(work, course.cabinet)
        if wanted and all(values.origin(name) is Origin.READING for name in wanted):
            found |= {work, *work.before()}
    return frozenset(found)


# -- the page of the instructor --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LoadRow:
    """The work of the class at one station, as finished text."""

    station: str
    places: int
    minutes: int
    sessions: str
    share: str
    """Of the time there is."""


@dataclass(frozen=True, slots=True)
class QueueRow:
    """One station in one session, as finished text."""

    station: str
    booked: str
    queue: tuple[str, ...]
    """Who works on which sheet, first first; at places where nobody has to wait only the sheets."""
    free: str


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session, as finished text."""

    number: int
    date: str
    absent: str
    glue_until: str
    """The last minute at which glue may be started."""
    stations: tuple[QueueRow, ...]


@dataclass(frozen=True, slots=True)
class FinishRow:
    """When a student is done, as finished text."""

    student: str
    done: str
    slack: str


def session_plan(flow: ClassFlow) -> Document:
    """The page of the instructor: load of each station, who goes first where, and who will be late."""
    course = flow.course
    sessions = range(flow.first, len(course.sessions) + 1)
    filled = {
        "usable": flow.shop.usable,
        "minutes": session_setting(course, "minutes"),
        "less": [session_setting(course, name) for name in ("open", "demonstrations", "clean")],
        "last_glue": flow.shop.last_glue,
        "first": flow.first,
        "count": len(course.sessions),
        "loads": tuple(_load_row(flow, one) for one in flow.loads),
        "tightest": [one.station for one in scarce(flow)[:2]],
        "now": last(flow),
        "changes": tuple(changes(flow)),
        "before": tuple(f"{flow.lessons.sheet_of(w)}. {w.operation.title}" for w in flow.before_the_course),
        "sessions": tuple(_session(flow, session) for session in sessions),
        "students": tuple(_finish(flow, student) for student in course.students),
        "date": course.date,
    }
    tree = render_tree("class_sessions.md.j2", filled, flow.lessons.templates)
    return Document(f"{course.title}: session plan", "Session plan", course.id, tree, course.paper)


def _load_row(flow: ClassFlow, one: Load) -> LoadRow:
    left = max(len(flow.course.sessions) - flow.first + 1, 1)
    share = f"{round(100 * one.sessions / left)} %"
    return LoadRow(one.station, one.places, one.minutes, f"{float(one.sessions):.1f}", share)


def scarce(flow: ClassFlow) -> list[Load]:
    """Stations at which not everybody has a place at once, the tightest first."""
    return [one for one in flow.loads if one.places < len(flow.course.students)]


def changes(flow: ClassFlow) -> Iterator[str]:
    """What one more place at each of the tightest stations, or ready-made parts, would do for the last student."""
    for one in scarce(flow)[:2]:
        yield f"one more at the {one.station}: {last(flow.with_one_more(one.station))}"
    ready = flow.with_ready_parts()
    if ready.before_the_course != flow.before_the_course:
        yield f"parts given ripped and planed: {last(ready)}"


def last(flow: ClassFlow) -> str:
    """When the last student is done, and how many are by the end of the course."""
    made, students = flow.plan, flow.course.students
    slack = [made.slack(student.id) for student in students]
    within = sum(one is not None and one >= 0 for one in slack)
    ends = [done for student in students if (done := made.finish(student.id))]
    if made.unfinished:
        words = "the last student is not done even in twice the sessions"
    else:
        words = f"the last student is done in session {max(ends)[0]}" if ends else "nothing is left to do"
    return f"{words}, {within} of {len(slack)} by the end of the course"


def _session(flow: ClassFlow, session: int) -> SessionRow:
    course = flow.course
    missing = [marked(s) for s in course.students if session in missed_by(course, s)]
    booked = dict.fromkeys(one.station for one in flow.loads)
    rows = (_queue(flow, session, station) for station in booked)
    return SessionRow(
        session, course.sessions[session - 1], ", ".join(missing), clock(flow.shop.usable - flow.shop.last_glue),
        tuple(row for row in rows if row.booked != "0 %"),
    )  # fmt: skip


def _queue(flow: ClassFlow, session: int, station: str) -> QueueRow:
    bookings = flow.plan.of(session, station)
    marks = {student.id: marked(student) for student in flow.course.students}
    places = flow.shop.at(station)
    share = Fraction(sum(b.end - b.start for b in bookings), places * flow.shop.usable)
    lines: dict[int, list[str]] = {}
    for one in bookings:
        names = lines.setdefault(flow.sheets[one.task], [])
        if marks[one.student] not in names:
            names.append(marks[one.student])
    waits = places < len(flow.course.students)
    queue = tuple(f"sheet {n}: {', '.join(names) if waits else _counted(len(names))}" for n, names in lines.items())
    slots = flow.plan.free(station, session, session_setting(flow.course, "slot")) if waits else ()
    return QueueRow(station, f"{round(100 * share)} %", queue, ", ".join(map(slot_text, slots)))


def _counted(students: int) -> str:
    return "1 student" if students == 1 else f"{students} students"


def _finish(flow: ClassFlow, student: Student) -> FinishRow:
    done, slack = flow.plan.finish(student.id), flow.plan.slack(student.id)
    if slack is None:
        return FinishRow(marked(student), f"not by session {2 * len(flow.course.sessions)}", "late")
    when = f"session {done[0]}, {clock(done[1])}" if done else "nothing left to do"
    late = done[0] - flow.plan.sessions if done else 0
    words = f"{late} session{'s' if late > 1 else ''} late"
    return FinishRow(marked(student), when, words if late > 0 else f"{slack} min")


def clock(minutes: int) -> str:
    """Minutes after work begins, as `1:25`."""
    return f"{minutes // 60}:{minutes % 60:02}"


def slot_text(slot: Slot) -> str:
    """When a place is free, as `0:20 to 1:30`."""
    return f"{clock(slot.start)} to {clock(slot.end)}"


def next_slots(flow: ClassFlow, student: Student, session: int, most: int = 3) -> tuple[str, ...]:
    """The next free times after a missed session at the machines of its work, when the student is not at another."""
    sheets = sheets_of(flow.course, flow.lessons, session)
    work = (task.station for task in flow.tasks[student.id] if flow.sheets[task.name] in sheets)
    mine = {*work} - flow.shop.interruptible - {INSTRUCTOR}
    found = []
    for station in sorted(mine):
        slots = [
            f"session {slot.session}, {slot_text(slot)}"
            for later in range(max(session + 1, flow.first), len(flow.course.sessions) + 1)
            for slot in _for_both(flow, student, station, later)
        ]
        if slots and flow.shop.at(station) < len(flow.course.students):
            found.append(f"{station}: {'; '.join(slots[:most])}")
    return tuple(found)


def _for_both(flow: ClassFlow, student: Student, station: str, session: int) -> Iterator[Slot]:
    """When a station is free and the student is not at another that cannot be left."""
    least = session_setting(flow.course, "slot")
    busy = [b for b in flow.plan.of(session) if b.student == student.id and b.station not in flow.shop.interruptible]
    for slot in flow.plan.free(station, session, least):
        start = slot.start
        for one in (*busy, Booking(student.id, "", "", session, slot.end, slot.end)):
            end = min(one.start, slot.end)
            if end - start >= least:
                yield Slot(station, session, start, end)
            start = max(start, one.end)


def outlook(flow: ClassFlow, student: Student) -> str:
    """Whether a student can still finish in time, with the time to spare."""
    done, slack = flow.plan.finish(student.id), flow.plan.slack(student.id)
    if slack is None or slack < 0:
        return "As planned now you would not finish in time: ask the instructor which parts can be made for you."
    if done is None:
        return "Nothing is left to do."
    return f"You can still finish in session {done[0]} with {slack} min slack."
