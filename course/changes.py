"""What moved since a list was handed out or a part was cut, and because of what: an edit, a reading, another build.

Open parts follow; what is cut keeps its size and is told what it would need now. The cause of a change is found by
working the cabinet out again with one given as it was, so nothing is named that did not move the size.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property

from course.basis import Basis, basis_of, given_value, read_basis
from course.cabinet import Part
from course.course import Course, Listed, listed, part_sizes
from course.cutlist import SIZES, advice, measured_words
from course.quantities import Given, Origin, Values
from course.readings import FROZEN, Issue
from course.roster import Student
from shared.places import Place
from shared.problems import InputRefused, Problem
from shared.terminal import wrapped
from shared.units import SHOWN, Shown, decimal

EDIT, READING, BUILT, RULES = "edit", "reading", "built", "rules"
"""Kinds of causes: a given of plan, stock or roster; a reading; other parts or joints; what a kind or joint says."""
_OF = {
    Origin.PLAN: "", Origin.DEFAULT: " by default", Origin.CHOICE: " by the roster", Origin.STOCK: " by the stock",
    Origin.TABLE: " by the table",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that is not as it was."""

    kind: str
    """`EDIT`, `READING`, `BUILT` or `RULES`."""
    name: str = ""
    """Full name of the quantity, or of the assembly, joint or list."""
    was: str = ""
    """As a basis keeps it; empty when it was not there."""
    now: str = ""
    """As a basis keeps it; empty when it is there no more."""
    place: Place = field(default=Place("plan.yaml"), compare=False)
    """Where it stands now; the same edit in the lines of several students is one."""
    says: str = ""
    """For a reading, what was read in the words of the bench; for an edit, which file gives it now."""

    def words(self, course: Course, shown: Shown) -> str:
        """What changed, in a reader's units."""
        if self.kind == RULES:
            return "what a kind, joint or formula of the course says is not as it was"
        was, now = _texts(course, self.name, self.was, self.now, shown)
        if self.kind == READING:
            before = f", before {was}" if self.was else ""
            return f"{self.says}, read {now}{before}" if self.now else f"{self.says}, read {was}, counts no more"
        if self.kind == BUILT:
            return f"{self.name} was {self.was or 'not there'}, now {self.now or 'not there'}"
        return f"{self.name} was {was}, now {now}{self.says}"


def _texts(course: Course, name: str, was: str, now: str, shown: Shown) -> tuple[str, str]:
    """Two values of one quantity as text; finer when they would look the same."""
    graph = course.cabinet.graph

    def text(of: str, size: bool) -> str:
        if name not in graph or graph[name].dimension < 0 or of.startswith("= ") or not of:
            return of.removeprefix("= ")
        value = Fraction(of)
        if graph[name].dimension != 1:
            return decimal(value, 5)
        return shown.size(value) if size else shown.fine(value)

    rough = text(was, True), text(now, True)
    return rough if rough[0] != rough[1] else (text(was, False), text(now, False))


@dataclass(frozen=True, slots=True)
class Effect:
    """One size of one part of one student that is not as listed, or that is made already and asked otherwise now.

    A part that is new or gone has one effect, without its sizes.
    """

    part: str
    """Label; the full name of one that the plan has no more."""
    size: str
    """`length`, `width` or `thickness`; empty for a part as a whole."""
    was: Fraction | None
    """As on the list, or as it was made; None for a part that the list has not. [mm]"""
    now: Fraction | None
    """As it should be now; None for a part that the plan has no more. [mm]"""
    made: str
    """Empty for an open part; else its state, or `measured` where only its reading tells that it is made."""
    because: tuple[Cause, ...]

    @property
    def edits(self) -> tuple[Cause, ...]:
        """Causes that are no readings."""
        return tuple(cause for cause in self.because if cause.kind != READING)

    def words(self, shown: Shown) -> str:
        """The size then and now, and what that means for a part that is made."""
        if self.now is None:
            return "no longer in the plan"
        if self.was is None:
            return "new, not on the list"
        if not self.made:
            return f"{self.size} {shown.bare(self.was)} -> {shown.size(self.now)}"
        todo = advice(self.size, self.was, self.now, shown)
        return f"{self.size} {self.made} at {shown.bare(self.was)}, {shown.size(self.now)} is asked now: {todo}"


@dataclass(frozen=True, slots=True)
class Gone:
    """A part that was made and that the plan has no more."""

    part: str
    state: str
    at: str
    sizes: dict[str, Fraction]

    def words(self, shown: Shown) -> str:
        """Which part, how far it was and how large."""
        kept = {size: self.sizes.get(f"{self.part}.{size}") for size in SIZES}
        sizes = [f"{word} {shown.size(size)}" for word, size in kept.items() if size is not None]
        return f"{self.part}, {self.state}{f' {self.at}' if self.at else ''}: {', '.join(sizes)}"


@dataclass(frozen=True, slots=True)
class Changes:
    """All that moved for one student."""

    student: Student
    listed: Listed | None
    effects: tuple[Effect, ...]
    gone: tuple[Gone, ...]


class _Then:
    """One student's cabinet now, beside what it rested on at one moment."""

    def __init__(self, course: Course, values: Values, basis: Basis) -> None:
        self.course, self.values, self.basis = course, values, basis
        self._worked_out: dict[tuple[tuple[Cause, ...], str], Values] = {}

    @cached_property
    def _now(self) -> Basis:
        return basis_of(self.course.cabinet, self.values)

    @cached_property
    def edits(self) -> tuple[Cause, ...]:
        """Plan, stock and roster that are not as they were."""
        return tuple(self._edits())

    @cached_property
    def readings(self) -> tuple[Cause, ...]:
        """Readings that are not as they were."""
        return tuple(self._readings())

    @cached_property
    def built(self) -> tuple[Cause, ...]:
        """Assemblies, joints and lists that are not as they were."""
        return tuple(self._built())

    def _edits(self) -> Iterator[Cause]:
        for name, text in self._now.given.items():
            was = self.basis.given.get(name, text)
            if was != text:
                given = self.values.settings.get(name)
                place = given.place if given else self.values.graph[name].place
                origin = given.origin if given else self.values.graph[name].origin
                yield Cause(EDIT, name, was, text, place, _OF.get(origin, ""))

    def _readings(self) -> Iterator[Cause]:
        then, found = self.basis.found, self._now.found or {}
        if then is None:
            return
        for name in dict.fromkeys((*found, *then)):
            was, text = then.get(name, ""), found.get(name, "")
            if was != text and name in self.values.graph:
                given = self.values.found.get(name)
                place = given.place if given else Place("")
                yield Cause(READING, name, was, text, place, measured_words(self.course, name))

    def _built(self) -> Iterator[Cause]:
        now = self._now
        for name in dict.fromkeys((*now.built, *self.basis.built)):
            was, text = self.basis.built.get(name, ""), now.built.get(name, "")
            owner = name.partition(".")[0]
            both = owner in now.built and owner in self.basis.built
            if was != text and (both or owner == name):
                assembly = self.course.cabinet.assemblies.get(owner)
                place = assembly.place if assembly else Place("plan.yaml")
                yield Cause(BUILT, name, was, text, place)

    def _with(self, causes: tuple[Cause, ...], part: str) -> Values:
        """The cabinet with some givens as they were, and with nothing known of a part."""
        if (causes, part) not in self._worked_out:
            settings, found = dict(self.values.settings), dict(self.values.found)
            for cause in causes:
                was = given_value(self.values.graph, cause.name, cause.was) if cause.was else None
                if cause.kind == READING and was is None:
                    found.pop(cause.name, None)
                elif cause.kind == READING and was is not None:
                    found[cause.name] = Given(was, Origin.READING)
                elif was is not None:
                    settings[cause.name] = Given(was, Origin.OVERRIDE)
            try:
                values = self.values.with_given(settings, found) if causes else self.values
            except InputRefused:  # the old size does not go with the new ones, so nothing can be told from it
                values = self.values
            self._worked_out[causes, part] = values.without(part) if part else values
        return self._worked_out[causes, part]

    def now(self, name: str, part: str = "") -> Fraction:
        """A size as it should be now; for a part that is made, whatever it was cut to. [mm]"""
        return _number(self._with((), part).target(name))

    def before(self, name: str, part: str = "") -> Fraction:
        """The same with everything given as it was, in the cabinet as it is built now; what is cut stays cut. [mm]"""
        return _number(self._with((*self.edits, *self.readings), part).target(name))

    def before_edits(self, name: str) -> Fraction:
        """The same with plan, stock and roster as they were, and readings as they are. [mm]"""
        return _number(self._with(self.edits, "").target(name))

    def because(self, name: str, was: Fraction | None, part: str = "") -> tuple[Cause, ...]:
        """What moved a size: each cause without which it would be another one.

        Args:
            name: Full name of the size.
            was: What it was by the basis. [mm]
            part: The part it is a size of, when that is made.
        """
        now, behind = self.now(name, part), self._behind(name, part)
        given = [cause for cause in (*self.edits, *self.readings) if cause.name in behind]
        found = [cause for cause in given if _number(self._with((cause,), part).target(name)) != now]
        if self.before(name, part) != was:
            written = [cause for cause in given if cause.kind == EDIT and cause.was.startswith("= ")]
            found += written or self.built
        return tuple(dict.fromkeys(found or given))

    def _behind(self, name: str, part: str) -> frozenset[str]:
        values = self._with((), part)
        return frozenset().union({name}, *(values.rests_on(inner) for inner in values.inputs(name)))


def _number(value: object) -> Fraction:
    assert isinstance(value, Fraction)
    return value


def changes(course: Course, student: Student) -> Changes:
    """What moved for a student since the last list and since each part was cut."""
    values, states = course.values(student), course.log.states(student.id)
    issue = course.log.issued(student.id)
    read_on = course.log.read_on(student.id)
    thens: dict[int, _Then | None] = {}

    def then(number: int) -> _Then | None:
        if number not in thens:
            basis = read_basis(course.log.basis(number))
            thens[number] = _Then(course, values, basis) if basis else None
        return thens[number]

    parts = {part.name: part for part in course.cabinet.parts}
    gone = tuple(
        Gone(state.part, state.name, state.at, state.sizes)
        for state in states.values()
        if state.name in FROZEN and state.part not in parts
    )
    last = listed(course, student)
    effects: list[Effect] = []
    for name, (was, now) in (last.moved if last else {}).items():
        owner, _, size = name.rpartition(".")
        whole = was is None or now is None
        if owner in (one.part for one in gone) or (whole and size != SIZES[0]):
            continue
        since = then(issue.basis) if issue else None
        because = (since.because(name, was) if name in values else since.built) if since else ()
        if since and not because:
            because = (Cause(RULES),)
        label = parts[owner].label if owner in parts else owner
        effects.append(Effect(label, "" if whole else size, was, now, "", because))
    for part in course.cabinet.parts:
        state = states.get(part.name)
        made = state.name if state and state.name in FROZEN else ""
        read = next((read_on[name] for size in SIZES if (name := f"{part.name}.{size}") in read_on), 0)
        since = then(state.basis if made and state else read or (issue.basis if issue else 0))
        effects += _of_made(values, part, made, since, student.shown) if since else ()
    return Changes(student, last, tuple(effects), gone)


def _of_made(values: Values, part: Part, made: str, since: _Then, shown: Shown) -> Iterator[Effect]:
    """Sizes of a part that is made, which are asked otherwise now than when it was."""
    for size in SIZES:
        name = f"{part.name}.{size}"
        if name not in values.found:
            continue
        is_, asked = values.number(name), since.now(name, part.name)
        if shown.bare(is_) == shown.bare(asked) or (since.before(name, part.name) == asked and not since.built):
            continue
        because = since.because(name, is_, part.name)
        if because:
            yield Effect(part.label, size, is_, asked, made or "measured", because)


class AsMade:
    """What sizes should be by the plan, stock and roster they were made to: a later edit costs nobody a mark."""

    def __init__(self, course: Course, student: Student, values: Values) -> None:
        """For one student.

        Args:
            course: The course.
            student: Whose.
            values: The student's values, as they are to be judged.
        """
        self._course, self._values = course, values
        record = course.record(student)
        self._cut = {name: s.basis for name, s in record.states.items() if s.name in FROZEN and s.basis}
        self._read = record.read_on
        self._thens: dict[int, _Then] = {}

    def target(self, name: str) -> Fraction:
        """What a size should be: by what was given when its part was cut or it was read, else as it is now. [mm]"""
        number = self._cut.get(name.rpartition(".")[0]) or self._read.get(name)
        if not number:
            return _number(self._values.target(name))
        if number not in self._thens:
            basis = read_basis(self._course.log.basis(number))
            assert basis is not None
            self._thens[number] = _Then(self._course, self._values, basis)
        return self._thens[number].before_edits(name)


def given_now(course: Course, ids: Container[str]) -> dict[str, str]:
    """What the sizes of some students rest on now, readings left out, for the readings that are taken in."""
    chosen = (one for one in course.students if one.id in ids)
    return {s.id: replace(basis_of(course.cabinet, course.values(s)), found=None).text for s in chosen}


def hand_out(course: Course, student: Student) -> Issue:
    """Record that a student is given the list as it is now, with what it rests on."""
    given = basis_of(course.cabinet, course.values(student)).text
    return course.log.issue(student.id, course.date, part_sizes(course, student), given)


def course_shown(course: Course) -> Shown:
    """The units in which an instructor reads."""
    return SHOWN[course.text("units", "mm")]


def by_cause(found: Iterable[Changes], all_causes: bool) -> dict[tuple[Cause, ...], dict[Effect, list[str]]]:
    """Effects with the ids of the students they are about, by what moved them.

    Args:
        found: Of one student or of many.
        all_causes: Whether readings are told apart; else effects are grouped by edits, and what has none is left out.
    """
    groups: dict[tuple[Cause, ...], dict[Effect, list[str]]] = {}
    for one in found:
        for effect in one.effects:
            causes = effect.because if all_causes else effect.edits
            if causes or all_causes:
                alike = replace(effect, because=causes)
                groups.setdefault(causes, {}).setdefault(alike, []).append(one.student.id)
    return groups


def effect_lines(effects: Mapping[Effect, Sequence[str]], shown: Shown) -> Iterator[tuple[tuple[str, ...], str]]:
    """The students and what moved for them, as `D-SL, D-SR width 50.0 -> 47.0 mm; ...`; what is made apart."""
    lines: dict[tuple[tuple[str, ...], bool], dict[str, list[str]]] = {}
    for effect, students in effects.items():
        line = lines.setdefault((tuple(students), bool(effect.made)), {})
        line.setdefault(effect.words(shown), []).append(effect.part)
    for (students, _), words in sorted(lines.items(), key=lambda line: line[0][1]):
        yield students, "; ".join(f"{', '.join(parts)} {text}" for text, parts in words.items())


def whom(course: Course, ids: Sequence[str]) -> str:
    """`all 13 students`, `all but s01` where few are missing, or their ids."""
    missing = [student.id for student in course.students if student.id not in ids]
    if not missing and len(ids) > 1:
        return f"all {len(ids)} students"
    return f"all but {', '.join(missing)}" if 3 * len(missing) < len(ids) else ", ".join(ids)


def edited(course: Course, in_full: bool = True) -> tuple[Problem, ...]:
    """Edits of plan, stock and roster that came after lists were handed out or parts cut, and what they move.

    Args:
        course: The course.
        in_full: Every size; else how many parts of whom.
    """
    found = [changes(course, student) for student in course.students]
    return (*_edits(course, found, in_full), *_gone(course, found))


def _edits(course: Course, found: Sequence[Changes], in_full: bool) -> Iterator[Problem]:
    shown = course_shown(course)
    for causes, effects in by_cause(found, all_causes=False).items():
        says = "; ".join(cause.words(course, shown) for cause in causes)
        if in_full:
            lines = [wrapped(f"    {whom(course, who)}: {text}") for who, text in effect_lines(effects, shown)]
            lines.append(wrapped(f"    What is made keeps its size. {stale(course, found, causes)}"))
            do = "\n".join(lines).lstrip()
        else:
            do = f"{_counted(course, effects)} {stale(course, found, causes)}"
        yield Problem("V050", causes[0].place, f"since lists went out or parts were cut, {says}", do, False)


def _gone(course: Course, found: Sequence[Changes]) -> Iterator[Problem]:
    who: dict[str, list[str]] = {}
    for one in found:
        for part in one.gone:
            who.setdefault(part.words(course_shown(course)), []).append(one.student.id)
    for words, ids in who.items():
        says = f"the plan has no such part any more, and {whom(course, ids)} made it: {words}"
        do = "Its sizes stay in the log and move nothing. Give the part its old name back, or measure what replaces it."
        yield Problem("V051", Place("plan.yaml"), says, do, False)


def stale(course: Course, found: Sequence[Changes], causes: Sequence[Cause] | None = None) -> str:
    """Whose printed list no longer holds, in a sentence.

    Args:
        course: The course.
        found: Of the students in question.
        causes: Only lists that these edits moved; None for all.
    """
    ids = [
        one.student.id
        for one in found
        if any(not e.made and causes in (None, e.edits) for e in one.effects)
    ]  # fmt: skip
    if not any(one.listed for one in found):
        return "No list was handed out yet."
    return f"Printed lists that no longer hold: {whom(course, ids)}." if ids else "The printed lists still hold."


def _counted(course: Course, effects: Mapping[Effect, Sequence[str]]) -> str:
    ids = {id_ for students in effects.values() for id_ in students}
    who = whom(course, [student.id for student in course.students if student.id in ids])
    parts = len({effect.part for effect in effects})
    made = len({effect.part for effect in effects if effect.made})
    text = f"It moves {parts} part{'' if parts == 1 else 's'} of {who}"
    return text + (f"; {made} made already, which keep{'s its' if made == 1 else ' their'} size." if made else ".")


def change_lines(course: Course, found: Sequence[Changes], shown: Shown) -> Iterator[str]:
    """What moved, for a terminal: each cause with its place, and below it, indented, the sizes it moved."""
    alone = len(found) == 1
    for causes, effects in by_cause(found, all_causes=alone).items():
        yield from (f"{cause.words(course, shown)}{_at(cause)}" for cause in causes)
        if not causes:
            yield "It was not kept what this list rested on:"
        for who, text in effect_lines(effects, shown):
            yield from (f"    {one}" for one in text.split("; ")) if alone else (f"    {whom(course, who)}: {text}",)
    if not alone:
        yield from _by_readings(found)
    for one in found:
        for part in one.gone:
            yield f"{one.student.id} made a part that the plan has no more: {part.words(shown)}"


def _at(cause: Cause) -> str:
    place = str(cause.place)
    return f" [{place}]" if place and cause.kind != RULES else ""


def _by_readings(found: Sequence[Changes]) -> Iterator[str]:
    """For a class: how many sizes of whom only readings moved."""
    moved = {one.student.id: [e for e in one.effects if e.because and not e.edits] for one in found}
    if any(moved.values()):
        yield "Moved by readings:"
    for id_, effects in moved.items():
        if effects:
            parts = ", ".join(dict.fromkeys(effect.part for effect in effects))
            yield f"    {id_}: {len(effects)} size{'' if len(effects) == 1 else 's'} of {parts}"
