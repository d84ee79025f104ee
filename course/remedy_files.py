"""Remedy files, read from YAML: by which readings a mistake is known, what to look at first, and the ways out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from course.readings import FROZEN
from shared.places import Items, Mapping, Node, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import Problem, meant, unknown_keys

COSTS = ("time", "stock", "shows", "part")
"""What a way out costs, least first: time alone; a little wood; what shows or is marked; a part made again."""

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




class _Reader:
    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def wrong(self, place: Place, says: str, do: str, code: str = "N002") -> None:
        self.problems.append(Problem(code, place, says, do))

    def known(self, node: Mapping, names: Collection[str], what: str) -> None:
        self.problems += unknown_keys("N002", node, names, what)

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
        if text.text.isdecimal():
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
    own = {path.name: path for path in (course_folder / "remedies").glob("*.yaml")} if course_folder else {}
    built_in = {entry.name: entry for entry in files("course").joinpath("remedies").iterdir()}
    specs = []
    for name in sorted(name for name in {*built_in, *own} if name.endswith(".yaml")):
        file = f"remedies/{name}"
        try:
            text = read_text(own[name], file) if name in own else built_in[name].read_text("utf-8")
            specs.append(reader.remedy(read_yaml(text, file)))
        except Unreadable as error:
            reader.wrong(error.place, error.says, error.do, "N001")
    return RemedyLibrary(tuple(specs), tuple(reader.problems))
