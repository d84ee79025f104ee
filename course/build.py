"""Builds the cabinet of a plan: every quantity, part, opening and feature, from kinds, joints and the plan's sizes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from course.cabinet import Assembly, Cabinet, Draft, Feature, Joint, Opening, Part, Rule, Scope, Site, holds
from course.compiling import Compiler, Pending
from course.formula import BadFormula, comparison, parse
from course.kinds import FeatureSpec, JointKind, JointSpec, Kind, Library, ListSpec, PartSpec, QuantitySpec, RuleSpec
from course.plan import Match, Member, Plan, PlannedAssembly
from course.quantities import Origin, Read
from shared.places import Place, Text
from shared.problems import InputRefused, Problem, meant
from shared.units import NotALength, length, number_and_unit

PART_READ = {
    "thickness": Read(3, "mean", "caliper"),
    "width": Read(1, "mean", "caliper", first=True),
    "length": Read(1, "mean", "rule"),
}
"""How the sizes of a part are read: places, which of the readings counts, instrument, whether before what follows."""


class _Builder:
    def __init__(self, plan: Plan, library: Library) -> None:
        self.plan, self.library = plan, library
        self.problems: list[Problem] = []
        self.pending: list[Pending] = []
        self.known: dict[str, int] = {}
        self.drafts: dict[str, Draft] = {}
        self.openings: dict[str, Opening] = {}
        self.parts: list[Part] = []
        self.features: list[Feature] = []
        self.root = Draft(
            self.known, PlannedAssembly("", "", None, {}, {}, (), "", "", {}, {}, Place(plan.file)), "",
            Kind("", "", False, False, None, (), (), (), (), (), (), (), (), (), Place(plan.file)),
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
        self.pending.append(Pending(name, spec, scope, text or spec.formula, origin, unit))

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

    def with_leaves(self, planned: PlannedAssembly) -> PlannedAssembly:
        """The assembly with as many leaves as its kind allows; more are told."""
        kinds, count = self.library.kinds, len(planned.leaves)
        spec = kinds[planned.kind].leaves
        most = spec.most if spec else 0
        if count <= most:
            return planned
        if spec:
            says = f"'{planned.name}' has {count} leaves, and {most} at most share an opening: {spec.because}"
            self.wrong("P034", planned.place, says, spec.do)
        else:
            others = ", ".join(name for name, other in kinds.items() if other.leaves)
            do = f"Leave it out; leaves has: {others}."
            self.wrong("P034", planned.place, f"'{planned.kind}' has no leaves", do)
        return replace(planned, leaves=planned.leaves[:most])

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
        choices |= kind.leaves.edges(planned.leaves, leaf) if kind.leaves else {}
        used = {part.stock for part in kind.parts if holds(part.when, choices)}
        missing = [role for role, wanted in stock.items() if role in used and wanted not in self.plan.stock]
        for role in missing:
            self._no_stock(planned, name, kind, role, stock[role])
        if missing:
            return
        mark = self._mark(planned, leaf)
        draft = Draft(self.known, planned, name, kind, opening, members, sizes, stock, choices, mark)
        self.drafts[name] = draft
        self._parts(draft)
        self._openings(draft)
        self._joints(draft)
        self._quantities(draft)
        self._features(draft, kind.features, "")

    def _no_stock(self, planned: PlannedAssembly, name: str, kind: Kind, role: str, wanted: str) -> None:
        """Say that a stock of an assembly is missing, what it is for, and both ways to name one."""
        place = planned.stock[role].place if role in planned.stock else planned.place
        says = f"the plan has no stock '{wanted}' for the {dict(kind.stock)[role]} of '{name}'"
        do = meant(wanted, self.plan.stock)
        if role not in planned.stock and self.plan.stock:
            do = (
                f"Write `{wanted}:` with its thickness under `stock:`, "
                f"or `stock: {{{role}: ...}}` at '{name}' with one of {', '.join(self.plan.stock)}."
            )
        self.wrong("P012", place, says, do)

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

    def _parts(self, draft: Draft) -> None:
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

    def _part_size(self, draft: Draft, spec: PartSpec, full: str, size: str, text: Text, scope: Scope) -> None:
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

    def _openings(self, draft: Draft) -> None:
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

    def _wall(self, draft: Draft, side: str, wall: str, number: int, count: int) -> str:
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

    def _joints(self, draft: Draft) -> None:
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
                says, do = f"'{wanted}' is not a joint for {spec.says}", meant(wanted, spec.allowed)
                if kind:
                    do += f" A copy of {spec.place.file} in the course folder may have '{wanted}' under `allowed:` too."
                self.wrong("P018", place, says, do)
                kind = self.library.joints[spec.default]
            self._joint(draft, spec, kind)

    def _joint(self, draft: Draft, spec: JointSpec, kind: JointKind) -> None:
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

    def _named(self, draft: Draft, written: str) -> list[str]:
        """Full names of the parts a kind means by `rail`, `side.left` or `opening.left`."""
        first, _, rest = written.partition(".")
        if first == "opening" and draft.opening:
            return [draft.opening.walls.get(rest, "")]
        if first in draft.members and not rest:
            return [draft.path(first, member) for member in draft.members[first]]
        return [f"{draft.name}.{written}"]

    def _quantities(self, draft: Draft) -> None:
        kind, given = draft.kind, dict(draft.planned.sizes)
        for spec in (self._chosen(draft, each) for each in kind.quantities):
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

    def _chosen(self, draft: Draft, spec: QuantitySpec) -> QuantitySpec:
        """A quantity whose formula goes by a choice of the kind, with the formula of the word that is chosen."""
        if spec.by not in draft.choices:
            return spec
        word = draft.choices[spec.by]
        text = dict(spec.cases).get(word)
        if text is None:
            says = f"the quantity '{spec.name}' says nothing for {spec.by}: {word}"
            self.wrong("K001", spec.place, says, f"Write a formula for '{word}' under `when:`.")
            text = Text("0 mm", spec.place)
        return replace(spec, formula=text, by="", cases=())

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
        self, draft: Draft, specs: Sequence[FeatureSpec], joint_kind: str, joint: Joint | None = None
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

    def unknown_sizes(self, draft: Draft) -> None:
        settable = self._settable(draft)
        for key, text in draft.planned.sizes.items():
            if key not in settable:
                says = f"'{draft.kind.name}' has no '{key}'"
                self.wrong("P020", text.place, says, meant(key, settable))

    def _settable(self, draft: Draft) -> set[str]:
        prefix = draft.name + "."
        part_sizes = {
            f"{p.name}.{s}" for p in self.parts if p.assembly == draft.name for s in ("length", "width", "thickness")
        }
        names = {p.name for p in self.pending if p.spec.settable} | part_sizes
        return {n.removeprefix(prefix) for n in names if n.startswith(prefix)} | {c.name for c in draft.kind.choices}

    def rules(self) -> Iterator[Rule]:
        for draft in self.drafts.values():
            for spec in draft.kind.rules:
                yield from self._rule(spec, Scope(draft), draft)
            for joint in draft.joints.values():
                for spec in self.library.joints[joint.kind].rules:
                    yield from self._rule(spec, Scope(draft, joint), draft)

    def _rule(self, spec: RuleSpec, scope: Scope, draft: Draft) -> Iterator[Rule]:
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


def _with_unit(written: str) -> str:
    """A length of a plan that needs no declared unit: a bare fraction is inches."""
    return written if re.search(r"[A-Za-z\"']", written) else f"{written} in"


def _short(member: str, number: int, count: int) -> str:
    """What tells members of a group apart on the wood: nothing, a first letter, or a number."""
    if count == 1:
        return ""
    return str(number) if member.isdigit() or not member else member[0].upper()


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
    for planned in map(builder.with_leaves, plan.assemblies):
        for leaf in planned.leaves or ("",):
            builder.assembly(planned, leaf)
    for draft in builder.drafts.values():
        builder.unknown_sizes(draft)
    graph = Compiler(builder.pending, builder.known, builder.problems).graph()
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
