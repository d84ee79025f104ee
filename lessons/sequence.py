"""What has to be done for a cabinet, and in which order.

Every feature of the cabinet is work of the operation that makes it. An operation follows what it needs, then
the stages of the job, then the order of the plan, then the order of the trade. One set-up is kept together:
an operation that says so is done for all assemblies at once, others for all leaves of one pair of doors.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from course.cabinet import Assembly, Cabinet, Feature, Part
from lessons.cautions import ENGINEERED, all_families
from lessons.operation import Need, Operation
from rubrics.check_files import STAGES
from shared.places import Place
from shared.problems import Problem, meant


@dataclass(frozen=True, eq=False)
class Work:
    """One operation on one assembly, or on several at one set-up."""

    operation: Operation
    assemblies: tuple[Assembly, ...]
    features: tuple[Feature, ...]
    """What it makes, or prepares."""
    parts: tuple[Part, ...]
    """The parts it is done on; none when it is about an assembly as a whole."""
    sheet: bool
    """Whether some of the parts are sheet goods."""
    plan_rank: int
    """Where the first of its assemblies stands in the plan."""
    follows: tuple[tuple[Work, str], ...] = field(repr=False)
    """What is done before it, and why."""

    @property
    def name(self) -> str:
        """Operation and assemblies, as `groove edges (back)`."""
        return f"{self.operation.name} ({', '.join(assembly.title for assembly in self.assemblies)})"

    @property
    def rank(self) -> tuple[int, int, int]:
        """Stage, place in the plan, number of the operation."""
        return self.operation.stage_rank, self.plan_rank, self.operation.number

    def cautions(self, route: str) -> tuple[str, ...]:
        """Families and ids of the cautions of a route, with those of resin-bonded sheets where dust is made of them."""
        names = self.operation.routes[route].cautions
        if self.sheet and ENGINEERED not in names and "dust_extraction" in all_families(names):
            return (*names, ENGINEERED)
        return names

    def before(self) -> dict[Work, tuple[Work, str]]:
        """Everything that is done before it, each with what it leads to and why that needs it."""
        found: dict[Work, tuple[Work, str]] = {}
        todo = [self]
        while todo:
            one = todo.pop(0)
            for earlier, why in one.follows:
                if earlier not in found:
                    found[earlier] = (one, why)
                    todo.append(earlier)
        return found


_Key = tuple[str, str]
"""Operation and assembly."""


@dataclass
class _Draft:
    operation: Operation
    assembly: Assembly
    features: list[Feature] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)


class _Planner:
    """Finds the work of one cabinet."""

    def __init__(self, cabinet: Cabinet, operations: Mapping[str, Operation]) -> None:
        self.cabinet, self.operations = cabinet, tuple(operations.values())
        self.parts = {part.name: part for part in cabinet.parts}
        self.problems: list[Problem] = []
        self.drafts: dict[_Key, _Draft] = {}
        self.makers: dict[tuple[str, str], list[_Key]] = {}
        """Which drafts make a feature of an assembly."""
        self.present: dict[tuple[str, str], list[Feature]] = {}
        for feature in cabinet.features:
            self.present.setdefault((feature.assembly, feature.name), []).append(feature)
        self.edges: dict[_Key, dict[_Key, str]] = {}
        """Of each draft: what it follows, and why."""

    def wrong(self, code: str, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem(code, place, says, do))

    # -- which work there is -------------------------------------------------------------------------

    def sheet(self, part: Part) -> bool:
        graph = self.cabinet.graph
        return graph.base[graph.index[f"stock.{part.stock}.form"]] == "sheet"

    def suits(self, operation: Operation, part: Part) -> bool:
        """Whether an operation is for such a part, by its group and its stock."""
        stock = "sheet" if self.sheet(part) else "solid"
        return (not operation.parts or part.group in operation.parts) and operation.stock in ("", stock)

    def find_makers(self) -> None:
        for (assembly, name), features in self.present.items():
            left = {part: self.parts[part] for feature in features for part in feature.parts}
            whole = not left
            makers = sorted((o for o in self.operations if name in o.makes), key=lambda o: not o.parts)
            for operation in makers:
                mine = [part for part in left.values() if self.suits(operation, part)]
                if mine or (whole and not operation.parts):
                    self._draft(operation, assembly, features, mine)
                    self.makers.setdefault((assembly, name), []).append((operation.name, assembly))
                    for part in mine:
                        del left[part.name]
            if left or (whole and (assembly, name) not in self.makers):
                self._unmade(assembly, features[0], left.values(), makers)

    def _unmade(self, assembly: str, feature: Feature, parts: Iterable[Part], makers: Sequence[Operation]) -> None:
        titles = ", ".join(part.title for part in parts)
        on = f" on {titles}" if titles and makers else ""
        says = f"{self.cabinet.assemblies[assembly].title}: no operation makes '{feature.name}'{on} ({feature.says})"
        do = f"Write an operation with `makes: [{feature.name}]` into the folder lessons."
        hint = meant(feature.name, {name for operation in self.operations for name in operation.makes})
        if not makers and hint.startswith("Did you mean"):
            do = f"{do} {hint}"
        self.wrong("L020", self.cabinet.assemblies[assembly].place, says, do)

    def _draft(self, operation: Operation, assembly: str, features: Sequence[Feature], parts: Sequence[Part]) -> None:
        draft = self.drafts.setdefault((operation.name, assembly), _Draft(operation, self.cabinet.assemblies[assembly]))
        draft.features += [f for f in features if f not in draft.features]
        draft.parts += [p for p in parts if p not in draft.parts]

    def find_preparations(self) -> None:
        for operation in self.operations:
            for (assembly, name), features in self.present.items():
                if name not in operation.prepares:
                    continue
                if not all(self._given(need, assembly) for need in operation.after):
                    continue
                parts = [self.parts[p] for feature in features for p in feature.parts]
                mine = [part for part in parts if self.suits(operation, part)]
                if mine or not parts:
                    self._draft(operation, assembly, features, mine)

    # -- what follows what ---------------------------------------------------------------------------

    def above(self, assembly: str) -> Iterator[str]:
        """The assembly whose opening this one fills, the one that one fills, and so on."""
        owner = self.cabinet.assemblies[assembly].owner
        while owner:
            yield owner
            owner = self.cabinet.assemblies[owner].owner

    def below(self, assembly: str) -> list[str]:
        """Every assembly in the openings of this one, directly or not."""
        return [name for name in self.cabinet.assemblies if assembly in self.above(name)]

    def wood(self, assembly: str) -> set[str]:
        """The parts of an assembly and of what is jointed to it."""
        family = {assembly}
        for name in self.below(assembly):
            one = self.cabinet.assemblies[name]
            outside = any(
                self.parts[site.female].assembly != name for joint in one.joints.values() for site in joint.sites
            )
            if one.owner in family and outside:
                family.add(name)
        return {part.name for part in self.cabinet.parts if part.assembly in family}

    def where(self, need: Need, assembly: str) -> list[tuple[str, str]]:
        """The features a need means, each as assembly and name."""
        if need.relative == "filled":
            return [(n, f) for n in self.below(assembly) for f in need.features if (n, f) in self.present]
        if need.relative == "built_in":
            wood = self.wood(assembly)
            return [
                (n, f)
                for n in self.below(assembly)
                for f in need.features
                if any(wood & set(feature.parts) for feature in self.present.get((n, f), ()))
            ]
        if need.relative == "owner":
            for name in self.above(assembly):
                if found := [(name, f) for f in need.features if (name, f) in self.present]:
                    return found
            return []
        return [(assembly, f) for f in need.features if (assembly, f) in self.present]

    def _given(self, need: Need, assembly: str) -> bool:
        """Whether what an operation needs is there; only what it needs of its own or of its owner must be."""
        if need.relative in ("filled", "built_in"):
            return True
        if need.relative == "owner" and not self.cabinet.assemblies[assembly].owner:
            return True
        return bool(self.where(need, assembly))

    def follow(self, later: _Key, earlier: _Key, why: str) -> None:
        if later != earlier:
            self.edges.setdefault(later, {}).setdefault(earlier, why)

    def order(self) -> None:
        for key, draft in self.drafts.items():
            operation, assembly = draft.operation, key[1]
            for need in operation.after:
                self._after(key, draft, need)
            for need in operation.before:
                for place in self.where(need, assembly):
                    for maker in self.makers.get(place, ()):
                        self.follow(maker, key, f"{draft.operation.title.lower()} comes before {self._said(place)}")
            for name in operation.prepares:
                for maker in self.makers.get((assembly, name), ()):
                    self.follow(maker, key, f"it prepares {self._said((assembly, name))}")
        self._by_number()

    def _after(self, key: _Key, draft: _Draft, need: Need) -> None:
        places = self.where(need, key[1])
        if not places and not self._given(need, key[1]):
            whose = "the assembly it fills" if need.relative == "owner" else f"the {draft.assembly.title}"
            wanted = " or ".join(f"'{name}'" for name in need.features)
            says = f"{draft.assembly.title}: '{draft.operation.name}' needs {wanted} of {whose}, and nothing makes it"
            do = f"Choose a kind or a joint that has it, or change `after:` in {draft.operation.place.file}."
            self.wrong("L021", draft.assembly.place, says, do)
        for place in places:
            for maker in self.makers.get(place, ()):
                self.follow(key, maker, f"it needs {self._said(place)}")

    def _said(self, place: tuple[str, str]) -> str:
        return f"'{self.present[place][0].says}' of the {self.cabinet.assemblies[place[0]].title}"

    def _by_number(self) -> None:
        """Makers, and preparations, of the same feature of an assembly go by their numbers."""
        same: dict[tuple[str, str, bool], list[_Key]] = {}
        for key, draft in self.drafts.items():
            for feature in draft.features:
                group = same.setdefault((key[1], feature.name, bool(draft.operation.makes)), [])
                if key not in group:
                    group.append(key)
        for (assembly, name, makes), keys in same.items():
            keys.sort(key=lambda key: self.drafts[key].operation.number)
            verb = "make" if makes else "prepare"
            for earlier, later in zip(keys, keys[1:], strict=False):
                self.follow(later, earlier, f"both {verb} {self._said((assembly, name))}, in the order of the trade")

    # -- one set-up kept together --------------------------------------------------------------------

    def groups(self) -> list[list[_Key]]:
        """Drafts that are done as one: each operation over its assemblies, unless one of them leads to another."""
        found: list[list[_Key]] = []
        for operation in self.operations:
            open_groups: dict[str, list[_Key]] = {}
            for key in (k for k in self.drafts if k[0] == operation.name):
                entry = "" if operation.together else key[1].partition(".")[0]
                group = open_groups.get(entry)
                if group is not None and self._can_join(found, group, key):
                    group.append(key)
                else:
                    open_groups[entry] = [key]
                    found.append(open_groups[entry])
        return found

    def _can_join(self, groups: list[list[_Key]], group: list[_Key], key: _Key) -> bool:
        """Whether no path leads from one to the other, seen with all that is already joined."""
        joined = {k: id(g) for g in groups for k in g}
        return not (self._reaches(key, set(group), joined) or any(self._reaches(k, {key}, joined) for k in group))

    def _reaches(self, start: _Key, goals: set[_Key], joined: dict[_Key, int]) -> bool:
        members: dict[int, list[_Key]] = {}
        for key, group in joined.items():
            members.setdefault(group, []).append(key)
        seen, todo = {start}, [start]
        while todo:
            for earlier in self.edges.get(todo.pop(), ()):
                for one in members.get(joined.get(earlier, 0), [earlier]):
                    if one in goals:
                        return True
                    if one not in seen:
                        seen.add(one)
                        todo.append(one)
        return False

    # -- the result ----------------------------------------------------------------------------------

    def works(self) -> tuple[Work, ...]:
        """The work in an order in which each follows what it needs."""
        groups = self.groups()
        index = {key: i for i, group in enumerate(groups) for key in group}
        waits = [
            {index[e]: why for key in reversed(group) for e, why in self.edges.get(key, {}).items() if index[e] != i}
            for i, group in enumerate(groups)
        ]
        done: dict[int, Work] = {}
        left = list(range(len(groups)))
        while left:
            ready = [i for i in left if waits[i].keys() <= done.keys()]
            if not ready:
                self._ring(groups, waits, left)
                break
            for i in ready:
                done[i] = self._work(groups[i], tuple((done[e], why) for e, why in sorted(waits[i].items())))
            left = [i for i in left if i not in done]
        return tuple(done[i] for i in sorted(done))

    def _work(self, keys: Sequence[_Key], follows: tuple[tuple[Work, str], ...]) -> Work:
        drafts = [self.drafts[key] for key in keys]
        parts = tuple(part for draft in drafts for part in draft.parts)
        order = list(self.cabinet.assemblies)
        return Work(
            drafts[0].operation, tuple(draft.assembly for draft in drafts),
            tuple(feature for draft in drafts for feature in draft.features), parts,
            any(self.sheet(part) for part in parts), min(order.index(key[1]) for key in keys), follows,
        )  # fmt: skip

    def _ring(self, groups: list[list[_Key]], waits: list[dict[int, str]], left: list[int]) -> None:
        """Say which operations wait for each other."""
        path = [left[0]]
        while True:
            following = next(i for i in sorted(waits[path[-1]]) if i in left)
            if following in path:
                ring = path[path.index(following) :]
                break
            path.append(following)
        drafts = [self.drafts[groups[i][0]] for i in ring]
        newest = max(range(len(drafts)), key=lambda i: drafts[i].operation.number)
        drafts = [*drafts[newest:], *drafts[:newest]]
        names = " <- ".join(f"'{d.operation.name}' ({d.assembly.title})" for d in (*drafts, drafts[0]))
        place = drafts[0].operation.place
        self.wrong("L022", place, f"these operations wait for each other: {names}", "Change `after:` in one of them.")


def work_of(cabinet: Cabinet, operations: Mapping[str, Operation]) -> tuple[tuple[Work, ...], tuple[Problem, ...]]:
    """All work of a cabinet, and what is missing.

    Problems are a feature that no operation makes, an operation whose inputs nothing produces, and operations
    that wait for each other.
    """
    planner = _Planner(cabinet, operations)
    planner.find_makers()
    planner.find_preparations()
    planner.order()
    return planner.works(), tuple(planner.problems)


def sequence(work: Iterable[Work]) -> tuple[Work, ...]:
    """The work in its order: by what it needs, then stage, place in the plan and number.

    Work at a set-up waits for other work of its stage at the same set-up, as long as something else can be done.
    """
    work = tuple(work)
    numbers = {one: i for i, one in enumerate(work)}
    open_count = {one: sum(earlier in numbers for earlier, _ in one.follows) for one in work}
    leads: dict[Work, list[Work]] = {one: [] for one in work}
    for one in work:
        for earlier, _ in one.follows:
            if earlier in numbers:
                leads[earlier].append(one)
    ready = [one for one in work if not open_count[one]]
    found: list[Work] = []
    while ready:
        ready.sort(key=lambda one: (one.rank, numbers[one]))
        left = [one for one in work if open_count[one]]
        one = next((one for one in ready if not _waits(one, left, ready)), ready[0])
        ready.remove(one)
        found.append(one)
        for later in leads[one]:
            open_count[later] -= 1
            if not open_count[later]:
                ready.append(later)
    return tuple(found)


def _waits(one: Work, left: Iterable[Work], ready: Sequence[Work]) -> bool:
    """Whether work had better wait for other work at its set-up, since something else can be done that leads there."""
    meanwhile = [work for work in ready if work is not one and not shares_set_up(one, work)]
    return any(shares_set_up(one, other) and any(work in other.before() for work in meanwhile) for other in left)


def shares_set_up(a: Work, b: Work) -> bool:
    """Whether two pieces of work of one stage are done at the same set-up."""
    one, other = a.operation, b.operation
    return bool(one.set_up) and (one.set_up, one.stage) == (other.set_up, other.stage)


def why_before(a: Work, b: Work) -> str:
    """Why one piece of work comes before another, in sentences."""
    needed = b.before()
    if a in needed:
        steps = []
        one = a
        while one is not b:
            later, why = needed[one]
            steps.append(f"'{later.name}' follows '{one.name}': {why}.")
            one = later
        return " ".join(steps)
    if b in a.before():
        return f"It does not: '{b.name}' comes first. {why_before(b, a)}"
    if a.operation.stage_rank != b.operation.stage_rank:
        first, second = STAGES[a.operation.stage_rank], STAGES[b.operation.stage_rank]
        if a.operation.stage_rank > b.operation.stage_rank:
            return (
                f"Something else of the {second} stage is waited for; '{a.name}' does not need '{b.name}', "
                f"nor the other way round."
            )
        return f"Neither needs the other. Work of the {first} stage comes before that of the {second} stage."
    if a.rank > b.rank and b.operation.set_up:
        return (
            f"Neither needs the other. '{b.name}' waits for other work with the {b.operation.set_up}, so that one "
            f"set-up serves all of it."
        )
    if a.plan_rank != b.plan_rank:
        sooner, later = (a, b) if a.plan_rank < b.plan_rank else (b, a)
        return (
            f"Neither needs the other. The plan names {sooner.assemblies[0].title} before {later.assemblies[0].title}."
        )
    return (
        f"Neither needs the other. In the order of the trade {min(a, b, key=_number).operation.number} "
        f"comes before {max(a, b, key=_number).operation.number}."
    )


def _number(work: Work) -> int:
    return work.operation.number
