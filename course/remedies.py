"""What can still be done after a mistake: remedies as data, worked out with one student's sizes and part states.

A remedy file says by which readings a mistake is known, what to look at first, and the ways out. Each way out is
tried on the graph of sizes itself: what it sets replaces the value there, and every size that moves is read off. A way
out that needs a part which is cut already, or that the geometry forbids, is not offered.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from importlib.resources import files
from pathlib import Path

from course.cabinet import Assembly, Cabinet, Joint, Part, Site
from course.course import Course
from course.cutlist import consequence
from course.demand import boards_for, spares_left
from course.formula import RELATIONS, BadFormula, Value, comparison, dimension, parse
from course.quantities import Given, Origin, Values
from course.readings import FROZEN, STATES, State
from course.roster import Student
from shared.places import Items, Mapping, Node, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import InputRefused, Problem, meant
from shared.terminal import wrapped
from shared.units import Shown

COSTS = ("time", "stock", "shows", "part")
"""What a way out costs, least first: time alone; a little wood; what shows or is marked; a part made again."""
MOST = 4
"""Ways out that are offered for one mistake."""
SENSES = ("off", "was", "now", "target")
"""What may stand before a name in a remedy: how far the reading is from what it should be, the value without the
mistake, the value before the way out, and what it should be."""

_TOP = ("remedy", "says", "kinds", "joints", "when", "each", "reads", "needs", "made", "if", "size", "look_first",
        "options", "follows", "source")  # fmt: skip
_OPTION = ("name", "when", "not_yet", "already", "if", "set", "again", "do", "minutes", "stock", "costs", "small_piece",
           "checks")  # fmt: skip


@dataclass(frozen=True, slots=True)
class OptionSpec:
    """One way out, as its file has it."""

    name: str
    when: tuple[tuple[str, tuple[str, ...]], ...]
    not_yet: tuple[tuple[str, tuple[str, ...]], ...]
    """States that none of these part groups or sizes may have reached."""
    already: tuple[tuple[str, tuple[str, ...]], ...]
    """States of which one must be reached."""
    conditions: tuple[Text, ...]
    sets: tuple[tuple[str, Text], ...]
    again: tuple[str, ...]
    """Part groups of which the faulty parts are made again."""
    do: Text
    minutes: int
    """Estimate."""
    stock: Text
    costs: str
    small_piece: bool
    """Whether a machine is used on a small piece."""
    checks: Text
    place: Place


@dataclass(frozen=True, slots=True)
class RemedySpec:
    """A remedy file."""

    name: str
    says: Text
    kinds: tuple[str, ...]
    joints: tuple[str, ...]
    when: tuple[tuple[str, tuple[str, ...]], ...]
    each: str
    """List of which every member is looked at alone, as `site.*`; empty when the assembly is looked at as a whole."""
    reads: tuple[str, ...]
    needs: tuple[str, ...]
    """Readings that must all be there; when empty, one of `reads` is enough."""
    made: tuple[str, ...]
    """Part groups that must have been made when such a reading exists."""
    conditions: tuple[Text, ...]
    size: Text
    look_first: Text
    options: tuple[OptionSpec, ...]
    follows: tuple[str, ...]
    """Sizes besides those of parts that are told when they move."""
    source: str
    place: Place


@dataclass(frozen=True, slots=True)
class RemedyLibrary:
    """All remedy files, built in and of the course folder."""

    definitions: tuple[RemedySpec, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """A size that a way out moves. Lengths in mm."""

    quantity: str
    old: Fraction
    """Without the mistake."""
    new: Fraction


@dataclass(frozen=True, slots=True)
class Option:
    """A way out, as finished text in the student's units."""

    name: str
    do: str
    sizes: tuple[str, ...]
    """What else becomes another size, old and new."""
    already_cut: tuple[str, ...]
    """What parts that are cut already would need; they keep their size."""
    stock: str
    """Wood it takes; empty when it takes none."""
    spares: str
    """Whether there is wood for the parts that it makes again; empty when it makes none."""
    checks: str
    """What it means for the checks; empty when nothing."""
    minutes: int
    costs: str
    ask_first: bool
    """Whether a machine is used on a small piece, so that the instructor is asked before."""
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Remedy:
    """A mistake that a student's readings show, and what can still be done, least loss first."""

    name: str
    where: str
    says: str
    size: Fraction
    """How large the mistake is. [mm]"""
    look_first: str
    options: tuple[Option, ...]
    reads: tuple[str, ...]
    """The readings that show it."""


# -- reading the files -----------------------------------------------------------------------------------


class _Reader:
    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def wrong(self, place: Place, says: str, do: str, code: str = "N002") -> None:
        self.problems.append(Problem(code, place, says, do))

    def known(self, node: Mapping, names: Sequence[str], what: str) -> None:
        for key, place in node.keys.items():
            if key not in names:
                self.wrong(place, f"{what} has no '{key}'", meant(key, names))

    def words(self, node: Node | None) -> tuple[str, ...]:
        return tuple(text.text for text in self.texts(node))

    def texts(self, node: Node | None) -> tuple[Text, ...]:
        if isinstance(node, Items):
            return tuple(item for item in node if isinstance(item, Text))
        return (node,) if isinstance(node, Text) and not node.empty else ()

    def text(self, node: Mapping, key: str, needed: bool = False) -> Text:
        value = node.get(key)
        if isinstance(value, Text) and not value.empty:
            return value
        if needed:
            self.wrong(node.place, f"'{key}' is missing", f"Write `{key}:` and what it should be.")
        return Text("", node.place)

    def pairs(self, node: Node | None) -> tuple[tuple[str, tuple[str, ...]], ...]:
        return tuple((key, self.words(value)) for key, value in (node.items() if isinstance(node, Mapping) else ()))

    def progress(self, node: Node | None) -> tuple[tuple[str, tuple[str, ...]], ...]:
        if not isinstance(node, Mapping):
            return ()
        for state, place in node.keys.items():
            if state not in FROZEN:
                self.wrong(place, f"there is no state '{state}'", meant(state, FROZEN))
        return tuple((state, self.words(value)) for state, value in node.items() if state in FROZEN)

    def remedy(self, top: Mapping) -> RemedySpec:
        self.known(top, _TOP, "a remedy")
        options = top.get("options")
        spec = RemedySpec(
            self.text(top, "remedy", needed=True).text, self.text(top, "says", needed=True),
            self.words(top.get("kinds")), self.words(top.get("joints")), self.pairs(top.get("when")),
            self.text(top, "each").text, self.words(top.get("reads")), self.words(top.get("needs")),
            self.words(top.get("made")),
            self.texts(top.get("if")), self.text(top, "size", needed=True), self.text(top, "look_first", needed=True),
            tuple(self.option(o) for o in (options if isinstance(options, Items) else ()) if isinstance(o, Mapping)),
            self.words(top.get("follows")), self.text(top, "source", needed=True).text, top.place,
        )  # fmt: skip
        if not spec.kinds and not spec.joints:
            self.wrong(top.place, f"'{spec.name}' is for no kind", "Write `kinds:` or `joints:` and their names.")
        for key, found in (("reads", spec.reads), ("if", spec.conditions), ("options", spec.options)):
            if not found:
                self.wrong(top.place, f"'{key}' is missing", f"Write `{key}:` and what it should be.")
        return spec

    def option(self, node: Mapping) -> OptionSpec:
        self.known(node, _OPTION, "a way out")
        sets = node.get("set")
        return OptionSpec(
            self.text(node, "name", needed=True).text, self.pairs(node.get("when")),
            self.progress(node.get("not_yet")), self.progress(node.get("already")), self.texts(node.get("if")),
            tuple((k, v) for k, v in (sets.items() if isinstance(sets, Mapping) else ()) if isinstance(v, Text)),
            self.words(node.get("again")), self.text(node, "do", needed=True), self.minutes(node),
            self.text(node, "stock"), self.costs(node), node.text("small_piece") == "true",
            self.text(node, "checks"), node.place,
        )  # fmt: skip

    def minutes(self, node: Mapping) -> int:
        text = self.text(node, "minutes", needed=True)
        if text.text.isdigit():
            return int(text.text)
        if text.text:
            self.wrong(text.place, f"minutes is '{text.text}'", "Write a whole number.")
        return 0

    def costs(self, node: Mapping) -> str:
        text = self.text(node, "costs", needed=True)
        if text.text and text.text not in COSTS:
            self.wrong(text.place, f"costs is '{text.text}'", meant(text.text, COSTS))
        return text.text if text.text in COSTS else COSTS[-1]


def read_remedies(course_folder: Path | None = None) -> RemedyLibrary:
    """All built-in remedies, and those of the course folder's `remedies`; a file of the same name there wins."""
    reader = _Reader()
    found: dict[str, tuple[Callable[[], str], str]] = {
        entry.name: (lambda entry=entry: entry.read_text("utf-8"), f"remedies/{entry.name}")
        for entry in files("course").joinpath("remedies").iterdir()
        if entry.name.endswith(".yaml")
    }
    own = course_folder / "remedies" if course_folder else None
    if own and own.is_dir():
        for path in own.glob("*.yaml"):
            found[path.name] = (lambda path=path: read_text(path, f"remedies/{path.name}"), f"remedies/{path.name}")
    specs = []
    for _, (text, file) in sorted(found.items()):
        try:
            specs.append(reader.remedy(read_yaml(text(), file)))
        except Unreadable as error:
            reader.wrong(error.place, error.says, error.do, "N001")
    return RemedyLibrary(tuple(specs), tuple(reader.problems))


# -- names and formulas of a remedy ----------------------------------------------------------------------


@dataclass(frozen=True)
class _Spot:
    """A place of the cabinet that a remedy looks at: an assembly, one of its joints, one member."""

    cabinet: Cabinet
    assembly: Assembly
    joint: Joint | None = None
    member: str = ""
    """Full name, as `back.panel.1` or `divider.dado.1_left`."""

    @cached_property
    def _scope(self) -> Callable[[str], Sequence[str]]:
        return self.cabinet.scope(self.assembly.name, self.member, self.joint.name if self.joint else "")

    @property
    def site(self) -> Site | None:
        """The place of the joint, when one is looked at."""
        sites = self.joint.sites if self.joint else ()
        return next((s for s in sites if self.joint and f"{self.joint.prefix}.{s.name}" == self.member), None)

    def resolve(self, name: str) -> Sequence[str]:
        """Full names behind a written one, each after its sense, as `off:back.groove.width`."""
        star, bare = ("*", name[1:]) if name.startswith("*") else ("", name)
        sense, _, rest = bare.partition(".")
        if sense in SENSES:
            return [f"{sense}:{full}" for full in self._plain(star, rest)]
        return self._plain(star, bare)

    def _plain(self, star: str, name: str) -> Sequence[str]:
        head, _, rest = name.partition(".")
        if self.joint and star and head == "site":
            return [f"{self.joint.prefix}.{site.name}.{rest}" for site in self.joint.sites]
        if self.site and head in ("male", "female") and not star:
            full = f"{getattr(self.site, head)}.{rest}"
            if full in self.cabinet.graph:
                return [full]
        return self._scope(star + name)

    def expand(self, pattern: str) -> Sequence[str]:
        """Full names of `stile.*.width`, or the one of a plain name."""
        head, star, tail = pattern.partition(".*")
        return self.resolve(f"*{head}{tail}" if star else pattern)

    def members(self, pattern: str) -> Iterator[_Spot]:
        """One spot for each member of `site.*` or of a list of parts as `panel.*`."""
        head = pattern.removesuffix(".*")
        if self.joint and head == "site":
            names = [f"{self.joint.prefix}.{site.name}" for site in self.joint.sites]
        else:
            names = [part.name for part in self.parts(head)]
        return (replace(self, member=name) for name in names)

    def parts(self, group: str) -> list[Part]:
        """Parts of a group of the assembly; of a joint also `male` and `female`."""
        if self.joint and group in ("male", "female"):
            sites = (self.site,) if self.site else self.joint.sites
            wanted = {getattr(site, group) for site in sites}
            return [part for part in self.cabinet.parts if part.name in wanted]
        return [p for p in self.cabinet.parts if p.assembly == self.assembly.name and p.group == group]

    @property
    def where(self) -> str:
        """The place in words."""
        title = self.assembly.title
        if self.site:
            male = self.cabinet.part(self.site.male)
            side = self.site.name.rpartition("_")[2]
            return f"{male.title} ({male.label}), {side}"
        if self.member:
            part = self.cabinet.part(self.member)
            return f"{title} {part.title} ({part.label})"
        return title


class _Facts:
    """Values in all the senses a remedy may ask for, for one mistake of one student."""

    def __init__(self, now: Values, was: Values) -> None:
        graph, targets = now.graph, [now.target(q.name) for q in now.graph.quantities]
        off: list[Value] = [
            a - b if isinstance(a, Fraction) and isinstance(b, Fraction) else Fraction(0)
            for a, b in zip(now.all, targets, strict=True)
        ]
        self.now, self.was = now, was
        self._rest = [*off, *was.all, *now.all, *targets]
        count = len(graph.quantities)
        self._index = dict(graph.index)
        for number, sense in enumerate(SENSES, 1):
            self._index |= {f"{sense}:{name}": i + number * count for name, i in graph.index.items()}

    def value(self, text: Text, spot: _Spot, new: Values | None = None) -> Value:
        """A formula's value; plain names mean `new`, or the student's values as they are.

        Raises:
            InputRefused: The formula cannot be read or worked out.
        """
        return self._worked(text, spot, new)[0]

    def _worked(self, text: Text, spot: _Spot, new: Values | None = None) -> tuple[Value, int]:
        graph = self.now.graph
        try:
            formula = parse(text.text, spot.resolve, self._index)
            sort = dimension(formula, spot.resolve, lambda name: graph[name.rpartition(":")[2]].dimension)
            return formula.run([*(new or self.now).all, *self._rest]), sort
        except ZeroDivisionError:
            raise _bad(text, f"'{text.text}' divides by zero") from None
        except BadFormula as error:
            raise _bad(text, str(error)) from None

    def holds(self, text: Text, spot: _Spot) -> bool:
        """Whether a comparison is true of the values as they are."""
        try:
            left, relation, right = comparison(text.text)
        except BadFormula as error:
            raise _bad(text, str(error)) from None
        (a, sort), (b, other) = (self._worked(Text(side, text.place), spot) for side in (left, right))
        if sort != other:
            raise _bad(text, f"'{text.text}' compares a length and a bare number; write a unit behind the number")
        return RELATIONS[relation](a, b)

    def filled(self, text: Text, spot: _Spot, shown: Shown, new: Values | None = None) -> str:
        """A sentence with its formulas in braces replaced by sizes."""

        def put(match: re.Match[str]) -> str:
            value = self.value(Text(match[1], text.place), spot, new)
            return size_text(value, shown) if isinstance(value, Fraction) else value

        return re.sub(r"\{([^{}]+)\}", put, text.text)


def _bad(text: Text, says: str) -> InputRefused:
    do = "Use names of the kind, with off, was, now or target before them where that is meant."
    return InputRefused([Problem("N003", text.place, says, do)])


def size_text(value: Fraction, shown: Shown) -> str:
    """A size of a remedy: small amounts, and millimetres always, to a digit more than on a cut list."""
    return shown.fine(value) if shown.unit == "mm" or abs(value) < 10 else shown.size(value)


# -- working it out --------------------------------------------------------------------------------------


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
        for spot in _spots(spec, course.cabinet):
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


def _chosen(assembly: Assembly, when: tuple[tuple[str, tuple[str, ...]], ...]) -> bool:
    """Whether the assembly's choices and joints are among the words asked for."""
    chosen = assembly.choices | {joint.name: joint.kind for joint in assembly.joints.values()}
    return all(chosen.get(key) in words for key, words in when)


def _spots(spec: RemedySpec, cabinet: Cabinet) -> Iterator[_Spot]:
    for assembly in cabinet.assemblies.values():
        if not _chosen(assembly, spec.when):
            continue
        spots = [_Spot(cabinet, assembly)] if assembly.kind in spec.kinds else []
        spots += [_Spot(cabinet, assembly, joint) for joint in assembly.joints.values() if joint.kind in spec.joints]
        for spot in spots:
            yield from spot.members(spec.each) if spec.each else (spot,)


@dataclass(frozen=True)
class _Case:
    """One remedy file at one place of one student's cabinet."""

    spec: RemedySpec
    spot: _Spot
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
            raise _bad(Text("", self.spec.place), f"{key}: {error}") from None

    @cached_property
    def facts(self) -> _Facts:
        """Values with and without the mistake."""
        rest = {name: given for name, given in self.now.found.items() if name not in self.reads}
        return _Facts(self.now, self.now.with_given(self.now.settings, rest))

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
        if not self._open(spec):
            return None
        again = self._again(spec)
        sets = self._sets(spec)
        if sets is None:
            return None
        new = self._with(again, sets)
        if self._forbidden(new):
            return None
        shown, facts = self.student.shown, self.facts
        changes = tuple(self._changes(new, again))
        stock = [self._blank(part, new) for part in again]
        if spec.stock.text:
            stock.append(facts.filled(spec.stock, self.spot, shown, new))
        return Option(
            spec.name, facts.filled(spec.do, self.spot, shown, new), self._told(changes),
            tuple(self._consequences(new, again)), "; ".join(stock), "; ".join(self._spares(again, new)),
            facts.filled(spec.checks, self.spot, shown, new), spec.minutes, spec.costs, spec.small_piece, changes,
        )  # fmt: skip

    # -- whether it is still open

    def _open(self, spec: OptionSpec) -> bool:
        return (
            _chosen(self.spot.assembly, spec.when)
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
        sizes = (f"{part.name}.{size}" for size in ("length", "width", "shoulder"))
        return state == "cut" and any(name in self.now.found for name in sizes)

    def _frozen(self, part: str) -> bool:
        known = self.states.get(part)
        return bool(known and known.name in FROZEN)

    def _again(self, spec: OptionSpec) -> list[Part]:
        """The parts to be made again: those of the groups whose own readings are off, else all of them."""
        parts = [part for group in spec.again for part in self.spot.parts(group)]
        faulty = [
            part
            for part in parts
            if any(
                name.startswith(part.name + ".") and name in self.now.found and self._off(name) for name in self.reads
            )
        ]
        return faulty or parts

    def _off(self, name: str) -> bool:
        return self.now[name] != self.now.target(name)

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
                    names = _Spot(cabinet, assembly).expand(pattern)
                    found.update(name for name in names if name.startswith(assembly.name + "."))
        return frozenset(found)

    def _told(self, changes: Sequence[Change]) -> tuple[str, ...]:
        """Changes as text; the same size of several parts in one line."""
        shown = self.student.shown
        lines: dict[tuple[str, str, str], list[str]] = {}
        for change in changes:
            old, new = size_text(change.old, shown), size_text(change.new, shown)
            owner, what = self._words(change.quantity)
            if old != new:
                lines.setdefault((what, old, new), []).append(owner)
        return tuple(
            f"{': '.join(filter(None, (', '.join(dict.fromkeys(owners)), what)))} {old} \u2192 {new}"
            for (what, old, new), owners in lines.items()
        )

    def _words(self, name: str) -> tuple[str, str]:
        """Whose size it is and which, as a person would say."""
        cabinet, (owner, _, size) = self.course.cabinet, name.rpartition(".")
        part = next((p for p in cabinet.parts if p.name == owner), None)
        if part:
            return part.label, size if size in ("length", "width") else cabinet.graph[name].says
        if owner in cabinet.openings:
            return "", f"{size} of the {cabinet.openings[owner].says.removeprefix('the ')}"
        assembly = max((a for a in cabinet.assemblies.values() if name.startswith(a.name + ".")), key=_name_length)
        return assembly.title, cabinet.graph[name].says

    def _consequences(self, new: Values, again: Sequence[Part]) -> Iterator[str]:
        shown = self.student.shown
        for part in self.course.cabinet.parts:
            if self._frozen(part.name) and part not in again:
                words = consequence(new, part, shown)
                if words and words != consequence(self.facts.was, part, shown):
                    yield f"{part.label} is cut: {words}"

    def _spares(self, again: Sequence[Part], new: Values) -> Iterator[str]:
        """What is left to make each kind of part again of: a spare, else a board that holds it, else nothing."""
        kinds: dict[tuple[str, str], list[Part]] = {}
        for part in again:
            kinds.setdefault((part.group, part.stock), []).append(part)
        for (group, _), parts in kinds.items():
            first, left = spares_left(self.course, parts[0])
            if left >= len(parts):
                yield f"{left} of the {first} spares for a {group} are left"
                continue
            yield f"{left or 'none'} of the {first} spares for a {group} {'is' if left < 2 else 'are'} left, " + (
                self._board(parts[0], new)
            )

    def _board(self, part: Part, new: Values) -> str:
        length, width = (
            new.number(f"{part.name}.{size}") + new.number(f"stock.{part.stock}.rough_{size}")
            for size in ("length", "width")
        )
        boards = boards_for(self.course, part, length, width)
        if boards is None:
            return "and no board with its size is in stock.csv: look for one before anything is cut"
        if not boards:
            return "and no board in stock.csv is large enough: buy one first"
        return f"so it takes a piece of {' or '.join(boards)}, if so much is left"

    def _blank(self, part: Part, new: Values) -> str:
        shown = self.student.shown
        size = " \u00d7 ".join(shown.bare(new.number(f"{part.name}.{s}")) for s in ("length", "width", "thickness"))
        return f"{part.label} again, {size} {shown.unit}"


def _name_length(assembly: Assembly) -> int:
    return len(assembly.name)


def remedy_text(remedy: Remedy) -> str:
    """A mistake and its ways out as plain text of at most 80 columns."""
    lines = [*_wrapped(f"{remedy.where}: {remedy.says}", 0), *_wrapped(f"Look first: {remedy.look_first}", 2)]
    for number, option in enumerate(remedy.options, 1):
        lines += [f"  {number}. {option.name} (about {option.minutes} minutes)", *_wrapped(option.do, 5)]
        if option.ask_first:
            lines += _wrapped("Ask first: if a machine is used for it, the piece is small.", 5)
        lines += _wrapped(f"Wood: {option.stock}." if option.stock else "", 5)
        lines += _wrapped(f"{option.spares[0].upper()}{option.spares[1:]}." if option.spares else "", 5)
        lines += _wrapped(f"New sizes: {'; '.join(option.sizes)}." if option.sizes else "No other size changes.", 5)
        lines += _wrapped(". ".join(option.already_cut) + "." if option.already_cut else "", 5)
        lines += _wrapped(f"Checks: {option.checks}" if option.checks else "", 5)
    return "\n".join(lines)


def _wrapped(text: str, by: int) -> list[str]:
    return [wrapped(" " * by + text, hang=0)] if text else []
