"""Builds the cabinet of a plan: every quantity, part, opening and feature, from kinds, joints and the plan's sizes."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from course.formula import (
    LENGTH,
    NUMBER,
    RELATIONS,
    BadFormula,
    Formula,
    UnknownName,
    Value,
    comparison,
    dimension,
    parse,
)
from course.kinds import (
    FeatureSpec,
    JointKind,
    JointSpec,
    Kind,
    Library,
    ListSpec,
    PartSpec,
    QuantitySpec,
    RuleSpec,
)
from course.plan import Match, Member, Plan, PlannedAssembly
from course.quantities import Graph, Origin, Quantity, Read, Values
from shared.places import Place, Text
from shared.problems import InputRefused, Problem, meant
from shared.units import MM, NotALength, Shown, length, number_and_unit

WORD = -1
"""Dimension of a quantity that is a word."""


PART_READ = {
    "thickness": Read(3, "mean", "caliper"),
    "width": Read(1, "mean", "caliper", first=True),
    "length": Read(1, "mean", "rule"),
}
"""How the sizes of a part are read: places, which of the readings counts, instrument, whether before what follows."""


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

    def __init__(self, draft: _Draft, joint: Joint | None = None, this: str = "", site: Site | None = None) -> None:
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
        known = self.draft.builder.known
        if name.startswith("*"):
            written = name[1:]
            first, _, rest = written.partition(".")
            if first in self.draft.members:
                full = [f"{self.draft.path(first, m)}.{rest}" for m in self.draft.members[first]]
                if all(f in known for f in full):
                    return full
            return self.resolve(written)
        for full in self.candidates(name):
            if full in known:
                return [full]
        raise UnknownName(name)


@dataclass
class _Draft:
    """An assembly while it is being built."""

    builder: _Builder
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

    def path(self, list_name: str, member: str) -> str:
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
        return _holds(when, self.choices)

    def chosen(self, spec: QuantitySpec) -> QuantitySpec:
        """A quantity whose formula goes by a choice of the kind, with the formula of the word that is chosen."""
        if spec.by not in self.choices:
            return spec
        word = self.choices[spec.by]
        text = dict(spec.cases).get(word)
        if text is None:
            says = f"the quantity '{spec.name}' says nothing for {spec.by}: {word}"
            self.builder.wrong("K001", spec.place, says, f"Write a formula for '{word}' under `when:`.")
            text = Text("0 mm", spec.place)
        return replace(spec, formula=text, by="", cases=())


@dataclass
class _Pending:
    """A quantity whose formula is not compiled yet."""

    name: str
    spec: QuantitySpec
    scope: Scope
    text: Text | None
    origin: Origin
    unit: str = ""


class _Builder:
    def __init__(self, plan: Plan, library: Library) -> None:
        self.plan, self.library = plan, library
        self.problems: list[Problem] = list(library.problems)
        self.pending: list[_Pending] = []
        self.known: dict[str, int] = {}
        self.drafts: dict[str, _Draft] = {}
        self.openings: dict[str, Opening] = {}
        self.parts: list[Part] = []
        self.features: list[Feature] = []
        self.root = _Draft(
            self, PlannedAssembly("", "", None, {}, {}, (), "", "", {}, {}, Place(plan.file)), "",
            Kind("", "", False, False, False, (), (), (), (), (), (), (), (), (), Place(plan.file)),
            None, {}, {}, {}, {}, "",
        )  # fmt: skip

    def wrong(self, code: str, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem(code, place, says, do))

    # -- names ---------------------------------------------------------------------------------------

    def add(self, name: str, spec: QuantitySpec, scope: Scope, text: Text | None = None, unit: str = "") -> None:
        """Note a quantity; `text` is what the plan says instead of the kind's default."""
        origin = Origin.PLAN if text else (Origin.DEFAULT if spec.settable else Origin.FORMULA)
        if name in self.known:
            self.wrong("K002", spec.place, f"two things are called '{name}'", "Give one of them another name.")
            return
        self.known[name] = len(self.pending)
        self.pending.append(_Pending(name, spec, scope, text or spec.formula, origin, unit))

    def settings(self) -> None:
        plan = self.plan
        groups = [
            ("shop", self.library.settings.shop, plan.shop),
            ("climate", self.library.settings.climate, plan.climate),
        ]
        groups += [(f"stock.{name}", self.library.settings.stock, given) for name, given in plan.stock.items()]
        for prefix, specs, given in groups:
            names = [spec.name for spec in specs]
            for key, text in given.items():
                if key not in names:
                    self.wrong("P010", text.place, f"{prefix.split('.')[0]} has no '{key}'", meant(key, names))
            for spec in specs:
                scope = Scope(replace(self.root, name=prefix))
                says = spec.says.replace("this stock", f"the {prefix.partition('.')[2]} stock")
                self.add(f"{prefix}.{spec.name}", replace(spec, says=says), scope, given.get(spec.name), plan.unit)

    def assembly(self, planned: PlannedAssembly, leaf: str = "") -> None:
        kind = self.library.kinds[planned.kind]
        name = f"{planned.name}.{leaf}" if leaf else planned.name
        opening = self._filled(planned, kind)
        if kind.fills and opening is None:
            return
        members, sizes = self._lists(planned, kind)
        stock = {role: planned.stock[role].text if role in planned.stock else role for role, _ in kind.stock}
        for role, text in planned.stock.items():
            if role not in stock:
                self.wrong("P011", text.place, f"'{kind.name}' has no stock role '{role}'", meant(role, stock))
        choices = {}
        for spec in kind.choices:
            given = planned.sizes.get(spec.name, spec.formula)
            choices[spec.name] = given.text if given else ""
            if given and spec.words and given.text not in spec.words:
                self.wrong("P013", given.place, f"{spec.name} is '{given.text}'", meant(given.text, spec.words))
                choices[spec.name] = spec.formula.text if spec.formula else spec.words[0]
        used = {part.stock for part in kind.parts if _holds(part.when, choices)}
        for role, wanted in stock.items():
            if role in used and wanted not in self.plan.stock:
                place = planned.stock[role].place if role in planned.stock else planned.place
                self.wrong("P012", place, f"the plan has no stock '{wanted}' for the {role} of '{name}'",
                           meant(wanted, self.plan.stock))  # fmt: skip
                return
        mark = self._mark(planned, leaf)
        draft = _Draft(self, planned, name, kind, opening, members, sizes, stock, choices, mark)
        self.drafts[name] = draft
        self._parts(draft)
        self._openings(draft)
        self._joints(draft)
        self._quantities(draft)
        self._features(draft, kind.features, "")

    def _mark(self, planned: PlannedAssembly, leaf: str) -> str:
        taken = {draft.mark for draft in self.drafts.values()}
        wanted = planned.mark or planned.name[0].upper()
        wanted += leaf[:1].upper()
        mark, n = wanted, 2
        while mark in taken:
            mark, n = f"{wanted}{n}", n + 1
        return mark

    def _filled(self, planned: PlannedAssembly, kind: Kind) -> Opening | None:
        if not kind.fills:
            return None
        if planned.fills is None:
            do = "Write `in:` and the name of an opening, as in `in: case.inside`."
            self.wrong("P014", planned.place, f"'{planned.name}' is not put into any opening", do)
            return None
        opening = self.openings.get(planned.fills.text)
        if opening is None:
            says = f"there is no opening '{planned.fills.text}' above this line"
            self.wrong("P015", planned.fills.place, says, meant(planned.fills.text, self.openings))
        return opening

    def _lists(
        self, planned: PlannedAssembly, kind: Kind
    ) -> tuple[dict[str, tuple[str, ...]], dict[str, dict[str, Text]]]:
        members: dict[str, tuple[str, ...]] = {}
        sizes: dict[str, dict[str, Text]] = {}
        for spec in kind.lists:
            if spec.plan_key:
                given = planned.lists.get(spec.plan_key) or tuple(
                    Member(str(i + 1), Text("1 share", planned.place)) for i in range(spec.default)
                )
                if not given:
                    example = f"{spec.plan_key}: {{lower: 120 mm, upper: rest}}"
                    self.wrong(
                        "P016",
                        planned.place,
                        f"'{planned.name}' does not say its {spec.plan_key}",
                        f"Write `{example}`.",
                    )
                members[spec.name] = tuple(m.name for m in given)
                sizes[spec.name] = {m.name: m.size for m in given}
            elif spec.between:
                members[spec.name] = tuple(str(i + 1) for i in range(len(members[spec.between]) - 1))
            elif spec.per:
                members[spec.name] = members[spec.per]
            else:
                members[spec.name] = spec.members
        return members, sizes

    def _parts(self, draft: _Draft) -> None:
        for spec in draft.kind.parts:
            if not draft.holds(spec.when):
                continue
            base = spec.name.removesuffix(".*")
            found = draft.each(spec.name)
            for number, (full, this) in enumerate(found, 1):
                member = full.rsplit(".", 1)[-1] if this else ""
                label = f"{draft.mark}-{spec.mark}{_short(member, number, len(found))}"
                title = f"{spec.title} {member}".strip() if len(found) > 1 else spec.title
                self.parts.append(
                    Part(full, draft.name, base, member, title, label, draft.stock[spec.stock], spec.grain)
                )
                scope = Scope(draft, this=full)
                for size, text in (("thickness", Text(f"{spec.stock}.thickness", spec.place)), *spec.sizes):
                    self._part_size(draft, spec, full, size, text, scope)

    def _part_size(self, draft: _Draft, spec: PartSpec, full: str, size: str, text: Text, scope: Scope) -> None:
        if (
            size == "thickness"
            and any(name == "thickness" for name, _ in spec.sizes)
            and text.text.endswith(".thickness")
        ):
            return
        says = f"{size} of the {spec.title}"
        quantity = QuantitySpec(f"{spec.name}.{size}", says, text, text.place, False, PART_READ[size])
        local = f"{full.removeprefix(draft.name + '.')}.{size}"
        self.add(f"{full}.{size}", quantity, scope, draft.planned.sizes.get(local), self.plan.unit)

    def _openings(self, draft: _Draft) -> None:
        for spec in draft.kind.openings:
            found = draft.each(spec.name)
            for number, (full, this) in enumerate(found):
                walls = {}
                for side, wall in spec.walls:
                    walls[side] = self._wall(draft, side, wall, number, len(found))
                says = f"{spec.says} '{full.rsplit('.', 1)[-1]}'" if this else spec.says
                self.openings[full] = Opening(full, draft.name, says, walls)
                for size in spec.sizes:
                    self.add(f"{full}.{size.name}", replace(size, says=size.says or f"{size.name} of the {says}"),
                             Scope(draft, this=full))  # fmt: skip

    def _wall(self, draft: _Draft, side: str, wall: str, number: int, count: int) -> str:
        first, _, rest = wall.partition(".")
        if first == "opening" and draft.opening:
            return draft.opening.walls.get(rest, "")
        if wall in draft.members:
            before = side in ("bottom", "left")
            index = number - 1 if before else number
            if 0 <= index < count - 1:
                return draft.path(wall, draft.members[wall][index])
            return draft.opening.walls.get(side, "") if draft.opening else ""
        return f"{draft.name}.{wall}"

    def _joints(self, draft: _Draft) -> None:
        for name, text in draft.planned.joints.items():
            names = [spec.name for spec in draft.kind.joints]
            if name not in names:
                self.wrong("P017", text.place, f"'{draft.kind.name}' has no joint '{name}'", meant(name, names))
        for spec in draft.kind.joints:
            chosen = draft.planned.joints.get(spec.name)
            wanted = chosen.text if chosen else spec.default
            kind = self.library.joints.get(wanted)
            if kind is None or wanted not in spec.allowed:
                place = chosen.place if chosen else spec.place
                says = f"'{wanted}' is not a joint for {spec.says}"
                self.wrong("P018", place, says, meant(wanted, spec.allowed))
                kind = self.library.joints[spec.default]
            self._joint(draft, spec, kind)

    def _joint(self, draft: _Draft, spec: JointSpec, kind: JointKind) -> None:
        sites: list[Site] = []
        for male in spec.male:
            for full in self._named(draft, male):
                member = full.removeprefix(draft.name + ".").rsplit(".", 1)[-1]
                for of, side, female in spec.female:
                    if of in ("", male):
                        sites.append(Site(f"{member}_{side}", full, self._named(draft, female)[0]))
        names = [site.name for site in sites]
        if len(set(names)) < len(names):
            sites = [
                replace(
                    s,
                    name=s.male.removeprefix(draft.name + ".").replace(".", "_") + "_" + s.name.rsplit("_", 1)[-1],
                )
                for s in sites
            ]
        joint = Joint(spec.name, kind.name, f"{draft.name}.{kind.prefix}", tuple(sites))
        draft.joints[spec.name] = joint
        for quantity in kind.quantities:
            head, star, tail = quantity.name.partition("site.*")
            if star:
                for site in sites:
                    self.add(f"{joint.prefix}.{site.name}{tail}", quantity,
                             Scope(draft, joint, f"{joint.prefix}.{site.name}", site))  # fmt: skip
            else:
                given = draft.planned.sizes.get(f"{kind.prefix}.{quantity.name}") if quantity.settable else None
                self.add(f"{joint.prefix}.{quantity.name}", quantity, Scope(draft, joint), given, self.plan.unit)
        for male in dict.fromkeys(site.male for site in sites):
            adds = " + ".join(f"{joint.prefix}.{s.name}.adds" for s in sites if s.male == male)
            says = f"what the {kind.name}s add to its length"
            text = QuantitySpec(spec.name, says, Text(adds, kind.place), kind.place, False)
            self.add(f"{male}.{spec.name}", text, Scope(self.root))
        self._features(draft, kind.features, kind.name, joint)

    def _named(self, draft: _Draft, written: str) -> list[str]:
        """Full names of the parts a kind means by `rail`, `side.left` or `opening.left`."""
        first, _, rest = written.partition(".")
        if first == "opening" and draft.opening:
            return [draft.opening.walls.get(rest, "")]
        if first in draft.members and not rest:
            return [draft.path(first, member) for member in draft.members[first]]
        return [f"{draft.name}.{written}"]

    def _quantities(self, draft: _Draft) -> None:
        kind, given = draft.kind, dict(draft.planned.sizes)
        for spec in map(draft.chosen, kind.quantities):
            if not draft.holds(spec.when):
                continue
            for full, this in draft.each(spec.name):
                local = full.removeprefix(draft.name + ".")
                text = given.get(local) if spec.settable else None
                self.add(full, spec, Scope(draft, this=this), text, self.plan.unit)
        if kind.leaves:
            count = Text(str(max(1, len(draft.planned.leaves))), draft.planned.place)
            self.add(
                f"{draft.name}.leaves",
                QuantitySpec("leaves", "how many leaves share the opening", count, count.place, False),
                Scope(draft),
            )
        for list_name, sizes in draft.sizes.items():
            for member, text in sizes.items():
                path = draft.path(list_name, member)
                fixed, share = self._size(text)
                for word, value in (("fixed", fixed), ("share", share)):
                    says = "given size" if word == "fixed" else "share of what is left"
                    self.add(
                        f"{path}.{word}",
                        QuantitySpec(word, says, value, text.place, True),
                        Scope(draft),
                        value,
                    )

    def _size(self, text: Text) -> tuple[Text, Text]:
        """A member's size as a fixed length and a share of what is left; one of them is nothing."""
        written = text.text.strip()
        shares = re.fullmatch(r"(\d+(?:/\d+)?)\s+shares?", written)
        if shares or written == "rest":
            return Text("0 mm", text.place), Text(shares[1] if shares else "1", text.place)
        try:
            length(written, self.plan.unit)
        except NotALength as error:
            self.wrong("P019", text.place, str(error), "Write a length, a share as in `2 shares`, or rest.")
            return Text("0 mm", text.place), Text("1", text.place)
        bare = not number_and_unit(written)[1]
        return Text(f"{written} {self.plan.unit}" if bare else _with_unit(written), text.place), Text("0", text.place)

    def _features(
        self, draft: _Draft, specs: Sequence[FeatureSpec], joint_kind: str, joint: Joint | None = None
    ) -> None:
        for spec in specs:
            if not draft.holds(spec.when):
                continue
            parts: list[str] = []
            for word in spec.on:
                if joint and word in ("male", "female", "both"):
                    sides = ("male", "female") if word == "both" else (word,)
                    parts += [getattr(site, side) for side in sides for site in joint.sites]
                else:
                    parts += self._named(draft, word)
            self.features.append(
                Feature(
                    spec.name,
                    draft.name,
                    spec.says,
                    tuple(dict.fromkeys(parts)),
                    joint_kind,
                    spec.note,
                    joint.name if joint else "",
                )
            )

    # -- the plan's own names ------------------------------------------------------------------------

    def unknown_sizes(self, draft: _Draft) -> None:
        settable = self._settable(draft)
        for key, text in draft.planned.sizes.items():
            if key not in settable:
                says = f"'{draft.kind.name}' has no '{key}'"
                self.wrong("P020", text.place, says, meant(key, settable))

    def _settable(self, draft: _Draft) -> set[str]:
        prefix = draft.name + "."
        part_sizes = {
            f"{p.name}.{s}" for p in self.parts if p.assembly == draft.name for s in ("length", "width", "thickness")
        }
        names = {p.name for p in self.pending if p.spec.settable} | part_sizes
        return {n.removeprefix(prefix) for n in names if n.startswith(prefix)} | {c.name for c in draft.kind.choices}

    # -- formulas ------------------------------------------------------------------------------------

    def compile(self) -> Graph:
        compiled: list[Quantity] = []
        for pending in self.pending:
            compiled.append(self._compile(pending))
        if self.problems:
            raise InputRefused(self.problems)
        graph = Graph(self._with_dimensions(compiled))
        if self.problems:
            raise InputRefused(self.problems)
        return graph

    def _compile(self, pending: _Pending) -> Quantity:
        spec, text = pending.spec, pending.text
        place = text.place if text else spec.place
        base = Quantity(
            pending.name,
            spec.says or pending.name,
            LENGTH,
            pending.origin,
            place,
            None,
            Fraction(0),
            spec.read,
            spec.words,
        )
        if spec.by and pending.origin is not Origin.PLAN:
            return self._by_word(pending, base)
        assert text is not None
        if spec.is_word:
            if spec.words and text.text not in spec.words:
                self.wrong("P013", place, f"{pending.name} is '{text.text}'", meant(text.text, spec.words))
            return replace(base, dimension=WORD, constant=text.text)
        if pending.origin is Origin.PLAN and (constant := self._plain(pending, text)) is not None:
            return replace(base, constant=constant, dimension=self._plain_dimension(pending))
        try:
            formula = parse(text.text, pending.scope.resolve, self.known)
        except BadFormula as error:
            self._bad_formula(pending, error)
            return base
        if formula.names:
            return replace(base, formula=formula)
        try:
            constant = formula.run([])
        except (BadFormula, ZeroDivisionError) as error:
            says = "it divides by zero" if isinstance(error, ZeroDivisionError) else str(error)
            self._bad_formula(pending, BadFormula(says))
            return base
        return replace(
            base,
            formula=formula if pending.origin is Origin.PLAN else None,
            constant=constant,
            dimension=dimension(formula, pending.scope.resolve, lambda n: LENGTH),
        )

    def _bad_formula(self, pending: _Pending, error: BadFormula) -> None:
        place = pending.text.place if pending.text else pending.spec.place
        code, do = "Q001", "Check the spelling and the brackets."
        if isinstance(error, UnknownName):
            prefix = pending.scope.draft.name + "."
            names = {n.removeprefix(prefix) for n in self.known}
            code, do = "Q002", meant(error.name, names)
        self.wrong(code, place, f"{pending.name}: {error}", do)

    def _plain(self, pending: _Pending, text: Text) -> Fraction | None:
        """A plain number or length of the plan; None when it is a formula."""
        if self._plain_dimension(pending) == NUMBER:
            try:
                value, unit = number_and_unit(text.text)
            except NotALength:
                return None
            return value if not unit or "/" in text.text else None
        try:
            return length(text.text, pending.unit)
        except NotALength as error:
            if "no unit" in str(error):
                self.wrong(
                    "P021",
                    text.place,
                    f"{pending.name}: {error}",
                    "Or write `unit: mm` or `unit: in` at the top of the plan.",
                )
                return Fraction(0)
            return None

    def _plain_dimension(self, pending: _Pending) -> int:
        default = pending.spec.formula
        if default is not None:
            try:
                number_and_unit(default.text)
            except NotALength:
                return LENGTH
            return LENGTH if number_and_unit(default.text)[1] else NUMBER
        return LENGTH

    def _by_word(self, pending: _Pending, base: Quantity) -> Quantity:
        spec, scope = pending.spec, pending.scope
        try:
            selector = parse(spec.by, scope.resolve, self.known)
            if spec.is_word:
                words = {word: text.text for word, text in spec.cases}
                formula = Formula(
                    f"by {spec.by}",
                    selector.names,
                    lambda values: words[str(selector.run(values))],
                    selector.tree,
                )
                return replace(base, formula=formula, dimension=WORD)
            cases = {word: parse(text.text, scope.resolve, self.known) for word, text in spec.cases}
        except BadFormula as error:
            self._bad_formula(pending, error)
            return base
        names = tuple(dict.fromkeys([*selector.names, *(n for case in cases.values() for n in case.names)]))
        text = f"by {spec.by}: " + ", ".join(f"{word} {case.text}" for word, case in cases.items())

        def run(values: Sequence[Value]) -> Value:
            return cases[str(selector.run(values))].run(values)

        return replace(base, formula=Formula(text, names, run, selector.tree), dimension=LENGTH)

    def _with_dimensions(self, quantities: list[Quantity]) -> list[Quantity]:
        """Work out and check the dimension of every formula, in any order."""
        known: dict[str, int] = {}
        by_name = {q.name: q for q in quantities}
        doing: set[str] = set()

        def of(name: str) -> int:
            if name in known:
                return known[name]
            quantity, pending = by_name[name], self.pending[self.known[name]]
            formula = quantity.formula
            if formula is None or formula.text.startswith("by ") or name in doing:
                return quantity.dimension
            doing.add(name)
            try:
                known[name] = dimension(formula, pending.scope.resolve, of)
            except BadFormula as error:
                self.wrong("Q001", quantity.place, f"{name}: {error}", "Check the formula.")
                known[name] = LENGTH
            doing.discard(name)
            return known[name]

        return [replace(q, dimension=of(q.name)) for q in quantities]

    def rules(self) -> Iterator[Rule]:
        for draft in self.drafts.values():
            for spec in draft.kind.rules:
                yield from self._rule(spec, Scope(draft), draft)
            for joint in draft.joints.values():
                for spec in self.library.joints[joint.kind].rules:
                    yield from self._rule(spec, Scope(draft, joint), draft)

    def _rule(self, spec: RuleSpec, scope: Scope, draft: _Draft) -> Iterator[Rule]:
        if not draft.holds(spec.when):
            return
        try:
            left, relation, right = comparison(spec.must)
            yield Rule(
                parse(left, scope.resolve, self.known), relation, parse(right, scope.resolve, self.known), spec, scope,
                draft.planned.place,
            )  # fmt: skip
        except BadFormula as error:
            self.wrong("K003", spec.place, f"the rule '{spec.must}': {error}", "Check the names in it.")


def _holds(when: tuple[tuple[str, str], ...], choices: dict[str, str]) -> bool:
    return all(choices.get(key) == word for key, word in when)


def _with_unit(written: str) -> str:
    """A length of a plan that needs no declared unit: a bare fraction is inches."""
    return written if re.search(r"[A-Za-z\"']", written) else f"{written} in"


def _short(member: str, number: int, count: int) -> str:
    """What tells members of a group apart on the wood: nothing, a first letter, or a number."""
    if count == 1:
        return ""
    return str(number) if member.isdigit() or not member else member[0].upper()


@dataclass(frozen=True)
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


def list_keys(library: Library) -> dict[str, dict[str, bool]]:
    """For each kind, the names under which a plan lists its members, and whether those are named."""

    def keys(lists: Sequence[ListSpec]) -> dict[str, bool]:
        return {spec.plan_key: spec.named for spec in lists if spec.plan_key}

    return {name: keys(kind.lists) for name, kind in library.kinds.items()}


def _matches(plan: Plan, parts: Sequence[Part], problems: list[Problem]) -> Iterator[Match]:
    """The matches of a plan, whose parts are there, of one stock, and in one match only."""
    known = {name: part for part in parts for name in (part.name, part.label)}
    taken: dict[str, str] = {}
    for match in plan.matches:
        found = [(text, known.get(text.text)) for text in match.parts]
        for text, part in found:
            if part is None:
                says = f"the match '{match.name}' names '{text.text}', and there is no such part"
                problems.append(Problem("P031", text.place, says, meant(text.text, known)))
            elif part.name in taken:
                says = f"{part.label} stands in the match '{match.name}' and in '{taken[part.name]}'"
                problems.append(Problem("P031", text.place, says, "A part lies in one strip: name it once."))
            else:
                taken[part.name] = match.name
        present = [part for _, part in found if part]
        if len({part.stock for part in present}) > 1:
            roles = " and ".join(dict.fromkeys(part.stock for part in present))
            says = f"the parts of the match '{match.name}' come from the stock {roles}"
            problems.append(Problem("P031", match.place, says, "Only parts of one stock can lie in one strip."))
        yield replace(match, parts=tuple(Text(part.name, text.place) for text, part in found if part))


def build(plan: Plan, library: Library) -> Cabinet:
    """The cabinet of a plan.

    Raises:
        InputRefused: With every problem of the plan: unknown names, cycles, formulas, impossible geometry.
    """
    builder = _Builder(plan, library)
    builder.settings()
    for planned in plan.assemblies:
        for leaf in planned.leaves or ("",):
            builder.assembly(planned, leaf)
    for draft in builder.drafts.values():
        builder.unknown_sizes(draft)
    graph = builder.compile()
    rules = tuple(builder.rules())
    if builder.problems:
        raise InputRefused(builder.problems)
    assemblies = {
        name: Assembly(
            name, d.kind.name, f"{d.planned.title} {name.partition('.')[2]}".strip(), d.mark,
            d.opening.name if d.opening else "", d.opening.owner if d.opening else "", d.choices, d.joints, d.members,
            d.kind.built_in, d.planned.place,
        )
        for name, d in builder.drafts.items()
    }  # fmt: skip
    settable = {p.name for p in builder.pending if p.spec.settable}
    cabinet = Cabinet(
        plan.title, plan.revision, graph, assemblies, tuple(builder.parts), builder.openings, tuple(builder.features),
        rules, tuple(plan.stock), frozenset(settable),
        {"": Scope(builder.root), **{name: Scope(d) for name, d in builder.drafts.items()}},
        tuple(_matches(plan, builder.parts, builder.problems)),
    )  # fmt: skip
    if builder.problems:
        raise InputRefused(builder.problems)
    stopped = [p for p in cabinet.broken_rules(graph.evaluate()) if p.severe]
    if stopped:
        raise InputRefused(stopped)
    return cabinet
