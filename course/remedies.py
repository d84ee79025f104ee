"""What can still be done after a mistake: remedies as data, worked out with one student's sizes and part states.

A remedy file (`remedy_files`) says by which readings a mistake is known, what to look at first, and the ways out. Each
way out is tried on the graph of sizes itself: what it sets replaces the value there, and every size that moves is read
off. A way out that needs a part which is cut already, or that the geometry forbids, is not offered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property

from course.cabinet import Part
from course.course import Course
from course.cutlist import LEFT
from course.formula import RELATIONS, BadFormula
from course.quantities import Given, Origin, Values
from course.readings import FROZEN, STATES, State
from course.remedy_files import COSTS, OptionSpec, RemedyLibrary, RemedySpec, read_remedies
from course.remedy_places import Spot, chosen, spots
from course.remedy_values import Facts, bad_line
from course.remedy_words import Change, Option, Remedy, blank, consequences, told, wood_left
from course.roster import Student
from shared.places import Text
from shared.problems import InputRefused

MOST = 4
"""Ways out that are offered for one mistake."""
READ_ONCE_CUT = ("length", "width", "shoulder")
"""Sizes of a part that can be read only when it is cut."""


def remedies(course: Course, student: Student, library: RemedyLibrary | None = None) -> tuple[Remedy, ...]:
    """The mistakes that a student's readings show, each with the ways out that are still open.

    Args:
        course: The course.
        student: Whose cabinet.
        library: The remedies, when they were read before, as for a whole class; else they are read here.

    Raises:
        InputRefused: A remedy file cannot be used.
    """
    library = library or read_remedies(course.folder)
    if library.problems:
        raise InputRefused(library.problems)
    now, states = course.values(student), course.log.states(student.id)
    found: list[Remedy] = []
    for spec in library.definitions:
        for spot in spots(spec, course.cabinet):
            case = _Case(spec, spot, course, student, now, states)
            if case.found and (remedy := case.remedy()).options:
                found.append(remedy)
    return _together(found)


def _together(found: Sequence[Remedy]) -> tuple[Remedy, ...]:
    """The same mistake with the same ways out at several places is told once."""
    groups: dict[tuple, list[Remedy]] = {}
    for one in found:
        groups.setdefault((one.name, one.says, one.look_first, one.options), []).append(one)
    return tuple(
        replace(
            group[0],
            where="; ".join(dict.fromkeys(one.where for one in group)),
            reads=tuple(dict.fromkeys(name for one in group for name in one.reads)),
        )
        for group in groups.values()
    )


@dataclass(frozen=True)
class _Case:
    """One remedy file at one place of one student's cabinet."""

    spec: RemedySpec
    spot: Spot
    course: Course
    student: Student
    now: Values
    states: dict[str, State] = field(repr=False)

    @cached_property
    def reads(self) -> tuple[str, ...]:
        """Full names of the readings that show the mistake."""
        return self._names(self.spec.reads, "reads")

    def _names(self, patterns: Sequence[str], key: str) -> tuple[str, ...]:
        try:
            return tuple(dict.fromkeys(full for p in patterns for full in self.spot.expand(p)))
        except BadFormula as error:
            raise bad_line(Text("", self.spec.place), f"{key}: {error}") from None

    @cached_property
    def facts(self) -> Facts:
        """Values with and without the mistake."""
        rest = {name: given for name, given in self.now.found.items() if name not in self.reads}
        return Facts(self.now, self.now.with_given(self.now.settings, rest))

    @property
    def found(self) -> bool:
        """Whether the student's readings show this mistake here."""
        needed = self._names(self.spec.needs, "needs")
        if not any(name in self.now.found for name in self.reads) or not all(n in self.now.found for n in needed):
            return False
        return all(self.facts.holds(condition, self.spot) for condition in self.spec.conditions)

    def remedy(self) -> Remedy:
        """The mistake with its ways out, least loss first."""
        spec, shown = self.spec, self.student.shown
        size = self.facts.value(spec.size, self.spot)
        offered = [option for one in spec.options if (option := self._option(one))]
        offered.sort(key=lambda option: (COSTS.index(option.costs), option.minutes))
        return Remedy(
            spec.name, self.spot.where, self.facts.filled(spec.says, self.spot, shown),
            size if isinstance(size, Fraction) else Fraction(0),
            self.facts.filled(spec.look_first, self.spot, shown), tuple(offered[:MOST]), self.reads,
        )  # fmt: skip

    def _option(self, spec: OptionSpec) -> Option | None:
        """A way out with all that follows from it; None when it is closed."""
        if not self._open(spec):
            return None
        again = self._again(spec)
        sets = self._sets(spec)
        if sets is None:
            return None
        new = self._with(again, sets)
        if self._forbidden(new):
            return None
        shown, facts, cabinet = self.student.shown, self.facts, self.course.cabinet
        changes = tuple(self._changes(new, again))
        kept = [part for part in cabinet.parts if self._frozen(part.name) and part not in again]
        stock = [blank(part, new, shown) for part in again]
        if spec.stock.text:
            stock.append(facts.filled(spec.stock, self.spot, shown, new))
        return Option(
            spec.name, facts.filled(spec.do, self.spot, shown, new), told(changes, cabinet, shown),
            tuple(consequences(kept, new, facts.was, shown)), "; ".join(stock),
            "; ".join(wood_left(self.course, again, new)), facts.filled(spec.checks, self.spot, shown, new),
            spec.minutes, spec.costs, spec.small_piece, changes,
        )  # fmt: skip

    # -- whether it is still open

    def _open(self, spec: OptionSpec) -> bool:
        return (
            chosen(self.spot.assembly, spec.when)
            and not any(self._reached(state, entry) for state, entries in spec.not_yet for entry in entries)
            and (
                not spec.already
                or any(self._reached(state, entry) for state, entries in spec.already for entry in entries)
            )
            and all(self.facts.holds(condition, self.spot) for condition in spec.conditions)
        )

    def _reached(self, state: str, entry: str) -> bool:
        """Whether a part of the group is in that state or further on, or a size of it has been read."""
        parts = self.spot.parts(entry)
        if not parts and entry not in self.spot.assembly.members:
            return any(name in self.now.found for name in self._names([entry], state))
        return any(self._is(part, state) for part in parts)

    def _is(self, part: Part, state: str) -> bool:
        known = self.states.get(part.name)
        if known and known.name in FROZEN and STATES.index(known.name) >= STATES.index(state):
            return True
        return state == "cut" and any(f"{part.name}.{size}" in self.now.found for size in READ_ONCE_CUT)

    def _frozen(self, part: str) -> bool:
        known = self.states.get(part)
        return bool(known and known.name in FROZEN)

    def _again(self, spec: OptionSpec) -> list[Part]:
        """The parts to be made again: those of the groups whose own readings are off by what is not left, else all."""
        parts = [part for group in spec.again for part in self.spot.parts(group)]
        read = (name for name in self.reads if name in self.now.found)
        off = [name for name in read if not self._is_left(name)]
        faulty = [part for part in parts if any(name.startswith(part.name + ".") for name in off)]
        return faulty or parts

    def _is_left(self, name: str) -> bool:
        """Whether a reading is so near to what it should be that nobody would make the part again."""
        value, target = self.now[name], self.now.target(name)
        return isinstance(value, Fraction) and isinstance(target, Fraction) and abs(value - target) < LEFT

    def _sets(self, spec: OptionSpec) -> dict[str, Given] | None:
        """What the way out sets; None when it would change a part that is cut."""
        found: dict[str, Given] = {}
        for pattern, text in spec.sets:
            tail = pattern.partition(".*")[2]
            for name in self._names([pattern], "set"):
                if name not in self.reads and name in self.now.found:
                    continue
                if name not in self.reads and self._frozen(name.rpartition(".")[0]):
                    return None
                spot = replace(self.spot, member=name.removesuffix(tail)) if tail else self.spot
                found[name] = Given(self.facts.value(text, spot), Origin.OVERRIDE, spec.place, spec.name)
        return found

    # -- what it would be like

    def _with(self, again: Sequence[Part], sets: dict[str, Given]) -> Values:
        gone = tuple(part.name + "." for part in again)
        kept = {name: given for name, given in self.now.found.items() if not (gone and name.startswith(gone))}
        return self.now.with_given(self.now.settings, {**kept, **sets})

    def _forbidden(self, new: Values) -> bool:
        """Whether it breaks a rule of the geometry that held before the mistake.

        A sum that must be met exactly is left out: readings never add up to the last tenth.
        """
        return any(
            rule.spec.stops
            and rule.relation != "="
            and RELATIONS[rule.relation](rule.left.run(self.facts.was.all), rule.right.run(self.facts.was.all))
            and not RELATIONS[rule.relation](rule.left.run(new.all), rule.right.run(new.all))
            for rule in self.course.cabinet.rules
        )

    def _changes(self, new: Values, again: Sequence[Part]) -> Iterator[Change]:
        """Sizes of parts that are still open, and those the file follows, that are not what they were."""
        made = {part.name for group in self.spec.made for part in self.spot.parts(group)} - {p.name for p in again}
        parts = {
            f"{part.name}.{size}"
            for part in self.course.cabinet.parts
            if part.name not in made and not (self._frozen(part.name) and part not in again)
            for size in ("length", "width")
        }
        for quantity in new.graph.quantities:
            name = quantity.name
            old, value = self.facts.was[name], new[name]
            if not isinstance(old, Fraction) or not isinstance(value, Fraction) or old == value:
                continue
            if name in self.reads and value == self.now[name]:
                continue
            if name in parts or name in self._followed:
                yield Change(name, old, value)

    @cached_property
    def _followed(self) -> frozenset[str]:
        """Full names of what the file follows; `*.x` is the x of every assembly that has one."""
        cabinet = self.course.cabinet
        everywhere = [p.removeprefix("*.") for p in self.spec.follows if p.startswith("*.")]
        found = set(self._names([p for p in self.spec.follows if not p.startswith("*.")], "follows"))
        for assembly in cabinet.assemblies.values():
            for pattern in everywhere:
                with suppress(BadFormula):
                    names = Spot(cabinet, assembly).expand(pattern)
                    found.update(name for name in names if name.startswith(assembly.name + "."))
        return frozenset(found)
