"""Assembly kinds and joint kinds, read from YAML files that an instructor can read, copy and change."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from pathlib import Path

from course.quantities import Read
from shared.places import Items, Mapping, Node, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import Problem, meant, unknown_keys

TAKES = ("smallest", "largest", "mean", "spread")
INSTRUMENTS = ("caliper", "rule", "rods", "feeler", "tape")


@dataclass(frozen=True, slots=True)
class QuantitySpec:
    """A quantity as a kind states it; `stile.*.width` stands for one of each member."""

    name: str
    says: str
    formula: Text | None
    place: Place
    settable: bool
    read: Read | None = None
    by: str = ""
    cases: tuple[tuple[str, Text], ...] = ()
    when: tuple[tuple[str, str], ...] = ()
    words: tuple[str, ...] = ()
    is_word: bool = False


@dataclass(frozen=True, slots=True)
class ListSpec:
    """Members that repeat: fixed, as the plan lists them, between those of another list, or one for each."""

    name: str
    members: tuple[str, ...] = ()
    plan_key: str = ""
    default: int = 0
    between: str = ""
    per: str = ""
    named: bool = False
    says: str = ""


@dataclass(frozen=True, slots=True)
class PartSpec:
    """A part, or one of each member of a list."""

    name: str
    title: str
    mark: str
    stock: str
    grain: str
    sizes: tuple[tuple[str, Text], ...]
    when: tuple[tuple[str, str], ...]
    place: Place


@dataclass(frozen=True, slots=True)
class JointSpec:
    """A place where the plan chooses a joint."""

    name: str
    says: str
    male: tuple[str, ...]
    female: tuple[tuple[str, str, str], ...]
    """Male part it is for (empty for all of them), site, and the part the site is in."""
    allowed: tuple[str, ...]
    default: str
    place: Place


@dataclass(frozen=True, slots=True)
class OpeningSpec:
    """A room that something else may fill."""

    name: str
    says: str
    sizes: tuple[QuantitySpec, ...]
    walls: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class FeatureSpec:
    """Something that an operation must make."""

    name: str
    says: str
    on: tuple[str, ...]
    when: tuple[tuple[str, str], ...]
    note: str = ""
    """For the cut list; sizes in braces."""


@dataclass(frozen=True, slots=True)
class RuleSpec:
    """A comparison that must hold, with its words."""

    must: str
    says: str
    do: str
    stops: bool
    when: tuple[tuple[str, str], ...]
    """Choices of the kind that it is for; empty for all."""
    place: Place


CASE, LEAF = "case", "leaf"
"""What the edge of a leaf meets: the case, or the leaf beside it."""


@dataclass(frozen=True, slots=True)
class LeavesSpec:
    """How several of a kind share one opening, side by side."""

    left: str
    """The choice that says what the left edge of one meets, `case` or `leaf`; a plan does not write it."""
    right: str
    most: int
    because: str
    """Why there are no more, in words."""
    do: str
    """What to do instead."""

    def edges(self, leaves: Sequence[str], leaf: str) -> dict[str, str]:
        """What the edges of one leaf meet, by the names of these choices; the case for one alone."""
        first, last = (leaves[0], leaves[-1]) if leaves else (leaf, leaf)
        return {self.left: CASE if leaf == first else LEAF, self.right: CASE if leaf == last else LEAF}


@dataclass(frozen=True, slots=True)
class Kind:
    """An assembly kind."""

    name: str
    says: str
    fills: bool
    built_in: bool
    """Whether it is made and glued together with the assembly whose opening it divides."""
    leaves: LeavesSpec | None
    """How several of them share one opening; None where one fills it."""
    lists: tuple[ListSpec, ...]
    stock: tuple[tuple[str, str], ...]
    choices: tuple[QuantitySpec, ...]
    quantities: tuple[QuantitySpec, ...]
    parts: tuple[PartSpec, ...]
    joints: tuple[JointSpec, ...]
    openings: tuple[OpeningSpec, ...]
    features: tuple[FeatureSpec, ...]
    rules: tuple[RuleSpec, ...]
    place: Place

    @property
    def words(self) -> dict[str, tuple[str, ...]]:
        """The words of each choice that something may be for: of a plan, and what the edges of a leaf meet."""
        edges = {name: (CASE, LEAF) for name in ((self.leaves.left, self.leaves.right) if self.leaves else ())}
        return {choice.name: choice.words for choice in self.choices if choice.words} | edges


@dataclass(frozen=True, slots=True)
class JointKind:
    """A joint kind: the features it puts on two parts and what it adds to sizes."""

    name: str
    says: str
    prefix: str
    quantities: tuple[QuantitySpec, ...]
    features: tuple[FeatureSpec, ...]
    rules: tuple[RuleSpec, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Settings:
    """What every cabinet has: quantities of each stock, of the shop, of the climate."""

    stock: tuple[QuantitySpec, ...]
    shop: tuple[QuantitySpec, ...]
    climate: tuple[QuantitySpec, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Library:
    """All kinds a plan may use."""

    kinds: dict[str, Kind]
    joints: dict[str, JointKind]
    settings: Settings
    problems: tuple[Problem, ...] = ()


class _Reader:
    """Reads one file and collects what is wrong with it."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def wrong(self, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem("K001", place, says, do))

    def known(self, node: Mapping, names: Collection[str], what: str) -> None:
        self.problems += unknown_keys("K001", node, names, what)

    def mapping(self, node: Node | None, place: Place, what: str) -> Mapping:
        if isinstance(node, Mapping):
            return node
        if node is not None and not (isinstance(node, Text) and node.empty):
            self.wrong(node.place, f"{what} must be `name: value` lines", "Indent them below the name.")
        return Mapping({}, {}, place)

    def entries(self, top: Mapping, key: str) -> Iterator[tuple[str, Node, Place]]:
        block = self.mapping(top.get(key), top.place, key)
        for name, node in block.items():
            yield name, node, block.keys[name]

    def words(self, node: Node | None) -> tuple[str, ...]:
        if node is None:
            return ()
        if isinstance(node, Text):
            return () if node.empty else (node.text.strip(),)
        if isinstance(node, Items):
            return tuple(value.text.strip() for value in node if isinstance(value, Text))
        self.wrong(node.place, "a list of words is expected", "Write [one, two].")
        return ()

    def pairs(self, node: Node | None, place: Place, what: str) -> tuple[tuple[str, str], ...]:
        block = self.mapping(node, place, what)
        return tuple((key, value.text.strip()) for key, value in block.items() if isinstance(value, Text))

    def read(self, node: Node | None, place: Place) -> Read | None:
        if node is None:
            return None
        block = self.mapping(node, place, "read")
        self.known(block, ("places", "take", "with", "first"), "read")
        places = block.text("places", "1")
        take, instrument = block.text("take", "mean"), block.text("with", "rule")
        if not places.isdecimal() or not 1 <= int(places) <= 20:
            self.wrong(block.place, f"places is '{places}'", "Write a whole number from 1 to 20.")
            places = "1"
        if take not in TAKES:
            self.wrong(block.place, f"take is '{take}'", meant(take, TAKES))
        if instrument not in INSTRUMENTS:
            self.wrong(block.place, f"the instrument is '{instrument}'", meant(instrument, INSTRUMENTS))
        return Read(int(places), take, instrument, block.text("first") == "true")

    def quantity(self, name: str, node: Node, place: Place, settable: bool, is_word: bool = False) -> QuantitySpec:
        if isinstance(node, Text):
            return QuantitySpec(name, "", node, place, settable, is_word=is_word)
        block = self.mapping(node, place, name)
        self.known(block, ("default", "is", "says", "read", "by", "when", "words"), f"the quantity '{name}'")
        formula = block.get("default") or block.get("is")
        by = block.text("by")
        cases: tuple[tuple[str, Text], ...] = ()
        when: tuple[tuple[str, str], ...] = ()
        if by:
            cases_block = self.mapping(block.get("when"), place, "when")
            cases = tuple((word, value) for word, value in cases_block.items() if isinstance(value, Text))
        else:
            when = self.pairs(block.get("when"), place, "when")
        if not by and not isinstance(formula, Text):
            self.wrong(
                place,
                f"the quantity '{name}' has no value",
                "Write `is: formula`, `default: value` or `by:`.",
            )
            formula = Text("0 mm", place)
        return QuantitySpec(
            name, block.text("says"), formula if isinstance(formula, Text) else None, place, settable,
            self.read(block.get("read"), place), by, cases, when, self.words(block.get("words")), is_word,
        )  # fmt: skip

    def quantities(self, top: Mapping) -> tuple[QuantitySpec, ...]:
        parameters = [self.quantity(n, node, p, True) for n, node, p in self.entries(top, "parameters")]
        return (
            *parameters,
            *(self.quantity(n, node, p, False) for n, node, p in self.entries(top, "quantities")),
        )

    def choices(self, top: Mapping) -> tuple[QuantitySpec, ...]:
        return tuple(self.quantity(n, node, p, True, True) for n, node, p in self.entries(top, "choices"))

    def list(self, name: str, node: Node, place: Place) -> ListSpec:
        if isinstance(node, Items):
            return ListSpec(name, members=self.words(node))
        block = self.mapping(node, place, name)
        self.known(block, ("plan", "between", "per", "named", "default", "says"), f"the list '{name}'")
        default = block.get("default")
        return ListSpec(
            name, (), block.text("plan"), len(default) if isinstance(default, Items) else 0, block.text("between"),
            block.text("per"), block.text("named") == "true", block.text("says"),
        )  # fmt: skip

    def part(self, name: str, node: Node, place: Place) -> PartSpec:
        block = self.mapping(node, place, name)
        known = ("title", "mark", "stock", "grain", "length", "width", "thickness", "when")
        self.known(block, known, f"the part '{name}'")
        sizes = tuple((n, v) for n in ("length", "width", "thickness") if isinstance(v := block.get(n), Text))
        for needed in ("length", "width"):
            if needed not in dict(sizes):
                self.wrong(place, f"the part '{name}' has no {needed}", f"Write `{needed}: formula`.")
        base = name.removesuffix(".*")
        return PartSpec(
            name, block.text("title", base), block.text("mark", base[:1].upper()), block.text("stock"),
            block.text("grain", "length"), sizes, self.pairs(block.get("when"), place, "when"), place,
        )  # fmt: skip

    def joint(self, name: str, node: Node, place: Place) -> JointSpec:
        block = self.mapping(node, place, name)
        self.known(block, ("says", "male", "female", "allowed", "default"), f"the joint '{name}'")
        allowed = self.words(block.get("allowed"))
        return JointSpec(
            name, block.text("says"), self.words(block.get("male")), self.females(block.get("female"), place),
            allowed, block.text("default", allowed[0] if allowed else ""), place,
        )  # fmt: skip

    def females(self, node: Node | None, place: Place) -> tuple[tuple[str, str, str], ...]:
        """Sites of a joint: the same for all male parts, or those of each under its name."""
        found: list[tuple[str, str, str]] = []
        for key, value in self.mapping(node, place, "female").items():
            if isinstance(value, Text):
                found.append(("", key, value.text))
            else:
                found += [(key, side, part) for side, part in self.pairs(value, place, key)]
        return tuple(found)

    def opening(self, name: str, node: Node, place: Place) -> OpeningSpec:
        block = self.mapping(node, place, name)
        self.known(block, ("says", "width", "height", "depth", "slope", "walls"), f"the opening '{name}'")
        sizes = []
        for size in ("width", "height", "depth", "slope"):
            value = block.get(size) or Text("0" if size == "slope" else "0 mm", place)
            sizes.append(self.quantity(size, value, block.keys.get(size, place), False))
        return OpeningSpec(name, block.text("says", name), tuple(sizes), self.pairs(block.get("walls"), place, "walls"))

    def feature(self, name: str, node: Node, place: Place) -> FeatureSpec:
        block = self.mapping(node, place, name)
        self.known(block, ("on", "says", "when", "note"), f"the feature '{name}'")
        return FeatureSpec(
            name,
            block.text("says", name),
            self.words(block.get("on")),
            self.pairs(block.get("when"), place, "when"),
            block.text("note"),
        )

    def rules(self, top: Mapping) -> tuple[RuleSpec, ...]:
        node = top.get("rules")
        found = []
        for item in node if isinstance(node, Items) else ():
            block = self.mapping(item, item.place, "a rule")
            self.known(block, ("must", "says", "do", "stops", "when"), "a rule")
            stops, when = block.text("stops", "true") != "false", self.pairs(block.get("when"), block.place, "when")
            found.append(RuleSpec(block.text("must"), block.text("says"), block.text("do"), stops, when, block.place))
        return tuple(found)

    def features(self, top: Mapping) -> tuple[FeatureSpec, ...]:
        return tuple(self.feature(*entry) for entry in self.entries(top, "features"))

    def kind(self, top: Mapping) -> Kind:
        self.known(
            top,
            ("kind", "says", "in",
                "built_in", "leaves", "lists", "stock", "choices", "parameters", "quantities", "parts",
             "joints", "openings", "features", "rules"),
            "a kind",
        )  # fmt: skip
        return Kind(
            top.text("kind"), top.text("says"), top.text("in") == "opening",
            top.text("built_in") == "true", self.leaves(top),
            tuple(self.list(*entry) for entry in self.entries(top, "lists")),
            self.pairs(top.get("stock"), top.place, "stock"), self.choices(top), self.quantities(top),
            tuple(self.part(*entry) for entry in self.entries(top, "parts")),
            tuple(self.joint(*entry) for entry in self.entries(top, "joints")),
            tuple(self.opening(*entry) for entry in self.entries(top, "openings")),
            self.features(top), self.rules(top), top.place,
        )  # fmt: skip

    def leaves(self, top: Mapping) -> LeavesSpec | None:
        node = top.get("leaves")
        if node is None:
            return None
        block = self.mapping(node, top.place, "leaves")
        self.known(block, ("left", "right", "most", "because", "do"), "leaves")
        left, right, most = block.text("left"), block.text("right"), block.text("most")
        if not (left and right and left != right and re.fullmatch("[2-9]", most)):
            says = "leaves does not say how they share an opening"
            do = "Write `left:` and `right:` with the names of two choices, and `most:`, from 2 to 9."
            self.wrong(block.place, says, do)
            return None
        return LeavesSpec(left, right, int(most), block.text("because"), block.text("do"))

    def tops(self, texts: _Texts) -> Iterator[Mapping]:
        """The files that are YAML; the others are told."""
        for name, text in texts:
            try:
                yield read_yaml(text, name)
            except Unreadable as error:
                self.wrong(error.place, error.says, error.do)

    def joint_kind(self, top: Mapping) -> JointKind:
        self.known(top, ("joint", "says", "prefix", "parameters", "quantities", "features", "rules"), "a joint")
        return JointKind(
            top.text("joint"), top.text("says"), top.text("prefix", "joint"), self.quantities(top),
            self.features(top), self.rules(top), top.place,
        )  # fmt: skip


_Texts = tuple[tuple[str, str], ...]
"""Names and texts of files."""


@cache
def _built_in(package_folder: str) -> _Texts:
    """The files of the program in a folder; they do not change while it runs."""
    return tuple(
        (entry.name, entry.read_text("utf-8"))
        for entry in files("course").joinpath(package_folder).iterdir()
        if entry.name.endswith(".yaml")
    )


def _yaml_texts(package_folder: str, course_folder: Path | None) -> _Texts:
    """The built-in files, then those of the course folder; there a file of the same name wins."""
    folder = course_folder / package_folder if course_folder else None
    paths = sorted(folder.glob("*.yaml")) if folder else []
    own = {path.name: read_text(path, f"{package_folder}/{path.name}") for path in paths}
    built_in = sorted((name, text) for name, text in _built_in(package_folder) if name not in own)
    return tuple((f"{package_folder}/{name}", text) for name, text in (*built_in, *own.items()))


def read_library(course_folder: Path | None = None) -> Library:
    """All built-in kinds and joints, and those of the course folder; faults are in `problems`.

    The same texts give the same library, which nobody changes.

    Raises:
        Unreadable: A file of the course folder is no text.
    """
    return _library(_yaml_texts("kinds", course_folder), _yaml_texts("joints", course_folder))


@lru_cache(maxsize=2)
def _library(kind_texts: _Texts, joint_texts: _Texts) -> Library:
    reader = _Reader()
    kinds = {kind.name: kind for top in reader.tops(kind_texts) for kind in (reader.kind(top),)}
    joints = {joint.name: joint for top in reader.tops(joint_texts) for joint in (reader.joint_kind(top),)}
    top = read_yaml(files("course").joinpath("settings.yaml").read_text("utf-8"), "settings.yaml")
    blocks = {}
    for key in ("stock", "shop", "climate"):
        block = reader.mapping(top.get(key), top.place, key)
        blocks[key] = (*reader.choices(block), *reader.quantities(block))
    return Library(kinds, joints, Settings(**blocks), tuple(reader.problems))
