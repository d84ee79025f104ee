"""The cabinet of a plan: parts, openings, features and rules over one graph, and what names mean inside it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from course.formula import LENGTH, RELATIONS, Formula, UnknownName, parse
from course.kinds import Kind, RuleSpec
from course.plan import Match, PlannedAssembly
from course.quantities import Graph, Origin, Values
from shared.places import Place, Text
from shared.problems import Problem
from shared.units import MM, Shown


@dataclass(frozen=True, slots=True)
class Site:
    """One place where a joint is made."""

    name: str
    male: str
    female: str


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint of an assembly, as chosen in the plan."""

    name: str
    """Its name in the kind, as `corner`."""
    kind: str
    prefix: str
    """Where its quantities stand, as `case.rabbet`."""
    sites: tuple[Site, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """One piece of wood of the cabinet; its sizes are the quantities `name.length`, `.width`, `.thickness`."""

    name: str
    assembly: str
    group: str
    """Name of the part in its kind, as `stile`."""
    member: str
    """Which of the group, as `left`; empty when there is one."""
    title: str
    label: str
    """Short mark to write on the wood, unique in the cabinet."""
    stock: str
    grain: str


@dataclass(frozen=True, slots=True)
class Opening:
    """A room that an assembly may fill."""

    name: str
    owner: str
    says: str
    walls: dict[str, str] = field(hash=False)


@dataclass(frozen=True, slots=True)
class Feature:
    """Something that an operation must make on parts of an assembly."""

    name: str
    assembly: str
    says: str
    parts: tuple[str, ...]
    joint: str
    """Joint kind it belongs to; empty for a feature of the assembly kind."""
    note: str
    """What the cut list says of it, with sizes in braces."""
    instance: str
    """The joint's name in its assembly, as `corner`; empty for a feature of the kind."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A comparison that must hold for every student."""

    left: Formula
    relation: str
    right: Formula
    spec: RuleSpec
    scope: Scope
    place: Place


@dataclass(frozen=True, slots=True)
class Assembly:
    """One assembly of the cabinet."""

    name: str
    kind: str
    title: str
    mark: str
    fills: str
    """Full name of the opening it fills; empty for one that stands alone."""
    owner: str
    """The assembly that makes that opening."""
    choices: dict[str, str] = field(hash=False)
    joints: dict[str, Joint] = field(hash=False)
    members: dict[str, tuple[str, ...]] = field(hash=False)
    built_in: bool
    """Whether it is made and glued together with its owner."""
    place: Place


class Scope:
    """What names mean inside one assembly."""

    def __init__(self, draft: Draft, joint: Joint | None = None, this: str = "", site: Site | None = None) -> None:
        self.draft, self.joint, self.this, self.site = draft, joint, this, site

    def candidates(self, name: str) -> Iterator[str]:
        """Full names a written name may stand for, nearest first."""
        draft = self.draft
        first, _, rest = name.partition(".")
        if first == "this":
            if self.this:
                yield f"{self.this}.{rest}"
            return
        parts = name.split(".")
        if "this" in parts[1:] and self.this:
            member = self.this.rsplit(".", 1)[-1]
            name = ".".join(member if part == "this" else part for part in parts)
            first, _, rest = name.partition(".")
        if self.joint:
            yield f"{self.joint.prefix}.{name}"
            if first in ("male", "female") and self.joint.sites:
                site = self.site or self.joint.sites[0]
                yield f"{getattr(site, first)}.{rest}"
        if first == "next_leaf":
            yield f"{draft.next_leaf}.{rest}"
            return
        if first == "opening" and draft.opening:
            wall, _, size = rest.partition(".")
            if wall in draft.opening.walls:
                yield f"{draft.opening.walls[wall]}.{size}"
            yield f"{draft.opening.name}.{rest}"
        yield f"{draft.name}.{name}"
        if first in draft.stock:
            yield f"stock.{draft.stock[first]}.{rest}"
        if first in draft.joints:
            yield f"{draft.joints[first].prefix}.{rest}"
        yield name

    def resolve(self, name: str) -> Sequence[str]:
        """The one full name, or with a leading `*` the names of all members of a list."""
        known = self.draft.known
        if name.startswith("*"):
            written = name[1:]
            first, _, rest = written.partition(".")
            if first in self.draft.members:
                each = [f"{self.draft.path(first, m)}.{rest}" for m in self.draft.members[first]]
                if all(full in known for full in each):
                    return each
            return self.resolve(written)
        for full in self.candidates(name):
            if full in known:
                return [full]
        raise UnknownName(name)


@dataclass
class Draft:
    """One assembly as its kind and the plan have it: what names mean inside it."""

    known: Mapping[str, int]
    """The full name of every quantity of the cabinet."""
    planned: PlannedAssembly
    name: str
    kind: Kind
    opening: Opening | None
    members: dict[str, tuple[str, ...]]
    sizes: dict[str, dict[str, Text]]
    """Of each list the plan gives: member and its size."""
    stock: dict[str, str]
    choices: dict[str, str]
    mark: str
    joints: dict[str, Joint] = field(default_factory=dict)

    @property
    def next_leaf(self) -> str:
        """The full name of the leaf to its right in the same opening; empty for the last and for one alone."""
        names = [f"{self.planned.name}.{leaf}" for leaf in self.planned.leaves]
        after = names[names.index(self.name) + 1 :] if self.name in names else []
        return after[0] if after else ""

    def path(self, list_name: str, member: str) -> str:
        """The full name of a member of a list."""
        spec = next(s for s in self.kind.lists if s.name == list_name)
        return f"{self.name}.{member}" if spec.named else f"{self.name}.{list_name}.{member}"

    def each(self, name: str) -> list[tuple[str, str]]:
        """Full names for `stile.*.width`, each with the path of its member; one for a plain name."""
        head, star, tail = name.partition(".*")
        if not star:
            return [(f"{self.name}.{name}", "")]
        return [(self.path(head, m) + tail, self.path(head, m)) for m in self.members.get(head, ())]

    def holds(self, when: tuple[tuple[str, str], ...]) -> bool:
        """Whether what something is for has been chosen."""
        return holds(when, self.choices)


def holds(when: tuple[tuple[str, str], ...], choices: dict[str, str]) -> bool:
    """Whether each choice is the word that something is for."""
    return all(choices.get(key) == word for key, word in when)


@dataclass(frozen=True, eq=False)
class Cabinet:
    """The cabinet of a plan, ready to be worked out for each student."""

    title: str
    revision: str
    graph: Graph
    assemblies: dict[str, Assembly]
    parts: tuple[Part, ...]
    openings: dict[str, Opening]
    features: tuple[Feature, ...]
    rules: tuple[Rule, ...]
    stock: tuple[str, ...]
    """Names of the stock roles."""
    settable: frozenset[str]
    """Full names of what a plan or a student's choice may set."""
    _scopes: dict[str, Scope] = field(repr=False)
    matches: tuple[Match, ...] = ()
    """Parts whose grain runs on, by their full names."""

    def formula(self, text: str, assembly: str = "", member: str = "", joint: str = "") -> Formula:
        """A formula over this cabinet's quantities, with names as they are meant inside an assembly.

        Raises:
            BadFormula: As `course.formula.parse`.
        """
        return parse(text, self.scope(assembly, member, joint), self.graph.index)

    def scope(self, assembly: str, member: str = "", joint: str = "") -> Callable[[str], Sequence[str]]:
        """What names mean inside an assembly, for one member of a list, or for one of its joints."""
        draft = self._scopes[assembly].draft
        return Scope(draft, draft.joints[joint] if joint else None, member).resolve

    def part(self, name: str) -> Part:
        """The part of a full name."""
        return next(part for part in self.parts if part.name == name)

    def named(self, part: Part) -> str:
        """A part with its assembly, as `door top rail`; once where both are called the same."""
        assembly = self.assemblies[part.assembly].title
        return part.title if part.title.startswith(assembly) else f"{assembly} {part.title}"

    def broken_rules(self, values: Values, shown: Shown = MM) -> list[Problem]:
        """What one student's sizes make impossible."""
        found = []
        for rule in self.rules:
            if not RELATIONS[rule.relation](rule.left.run(values.all), rule.right.run(values.all)):
                says, do = (self._filled(text, rule.scope, values, shown) for text in (rule.spec.says, rule.spec.do))
                found.append(
                    Problem(
                        "G001" if rule.spec.stops else "G101",
                        self._blame(rule, values),
                        says,
                        do,
                        rule.spec.stops,
                    )
                )
        return found

    def note(self, feature: Feature, values: Values, shown: Shown) -> str:
        """What the cut list says of a feature, with this student's sizes; empty when it says nothing."""
        scope = self._scopes[feature.assembly]
        joint = scope.draft.joints[feature.instance] if feature.instance else None
        return self._filled(feature.note, Scope(scope.draft, joint), values, shown)

    def _filled(self, text: str, scope: Scope, values: Values, shown: Shown) -> str:
        def put(match: re.Match[str]) -> str:
            formula = parse(match[1], scope.resolve, self.graph.index)
            value = formula.run(values.all)
            return shown.size(value) if isinstance(value, Fraction) else value

        return re.sub(r"\{([^{}]+)\}", put, text)

    def _blame(self, rule: Rule, values: Values) -> Place:
        """The line of the plan nearest to a broken rule: what it reads, then what that reads."""
        todo = [*rule.left.names, *rule.right.names]
        seen: set[str] = set()
        while todo:
            for name in todo:
                if (
                    values.origin(name) in (Origin.CHOICE, Origin.STOCK, Origin.PLAN)
                    and self.graph[name].dimension == LENGTH
                ):
                    given = values.given(name)
                    return given.place if given else self.graph[name].place
            seen.update(todo)
            todo = [inner for name in todo for inner in values.inputs(name) if inner not in seen]
        return rule.place
