"""Operations as an instructor writes them: one Markdown file each, with a head that says what it makes and how."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from importlib.resources import files
from pathlib import Path

from lessons.cautions import CAUTIONS, FAMILIES, all_families, powered
from lessons.operation import EACH, HANDS, POWERED, ROUTES, Need, Operation, Route, Setup
from lessons.operation_text import Sections
from rubrics.check_files import STAGES, read_checks
from shared.places import Items, Mapping, Node, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import Problem, meant, unknown_keys

RELATIVES = ("owner", "built_in", "filled")
"""Assemblies that a need may be about, besides its own."""

_HEAD = {
    "operation", "number", "title", "makes", "prepares", "parts", "stock", "stage", "after", "before", "together",
    "per_class", "set_up", "hold", "routes", "glue", "cures", "wet", "setup", "reads_during", "reads", "tools",
    "stance",
}  # fmt: skip
_ROUTE = ("station", "tool", "sign_off", "endorsement", "cautions", "minutes")
_SETUP = ("name", "is", "where", "why", "each", "route", "fine", "only_if")


class _Head:
    """Reads the head of one file; what is wrong is collected."""

    def __init__(self, text: str, file: str, checks: Collection[str]) -> None:
        self.file, self.checks = file, checks
        self.lines = text.splitlines()
        self.problems: list[Problem] = []

    def wrong(self, code: str, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem(code, place, says, do))

    def at(self, line: int, column: int = 1) -> Place:
        return Place(self.file, line, column)

    # -- the file ------------------------------------------------------------------------------------

    def operation(self) -> Operation | None:
        """The operation, or None when the file is too broken to be one."""
        end = next((i for i, line in enumerate(self.lines[1:], 1) if line.rstrip() == "---"), 0)
        if not self.lines or self.lines[0].rstrip() != "---" or not end:
            do = "Start the file with a line `---`, then the head, then another line `---`."
            self.wrong("L001", self.at(1), "the file has no head between two lines `---`", do)
            return None
        try:
            head = read_yaml("\n" + "\n".join(self.lines[1:end]) + "\n", self.file)
        except Unreadable as error:
            self.wrong("L001", error.place, error.says, error.do)
            return None
        return self._operation(head, Sections(self.file, self.lines, end + 1, self.problems))

    def _operation(self, head: Mapping, sections: Sections) -> Operation | None:
        self._known(head, _HEAD, "the head")
        for key in ("operation", "number", "title", "stage", "routes"):
            if key not in head.entries:
                self.wrong("L002", head.place, f"the head has no '{key}'", f"Write `{key}:` and its value.")
        number = self._number(head, "number")
        stage = self._word(head, "stage", STAGES)
        makes, prepares = self._words(head, "makes"), self._words(head, "prepares")
        if bool(makes) == bool(prepares):
            do = "Write `makes:` with the features it makes, or `prepares:` with those it is done before."
            self.wrong("L002", head.place, "an operation either makes features or prepares them", do)
        for name in self._words(head, "hold"):
            if name not in self.checks:
                place = head.entries["hold"].place
                self.wrong("L005", place, f"there is no fit check '{name}'", meant(name, self.checks))
        operation = Operation(
            name=head.text("operation"),
            number=number,
            title=head.text("title"),
            makes=makes,
            prepares=prepares,
            parts=self._words(head, "parts"),
            stock=self._word(head, "stock", ("sheet", "solid")),
            stage=stage,
            after=self._needs(head, "after"),
            before=self._needs(head, "before"),
            together=self._flag(head, "together"),
            set_up=head.text("set_up"),
            hold=self._words(head, "hold"),
            routes=self._routes(head, sections),
            glue=self._flag(head, "glue"),
            cures=self._flag(head, "cures"),
            wet=self._flag(head, "wet"),
            per_class=self._flag(head, "per_class"),
            setups=self._setups(head),
            reads_during=self._words(head, "reads_during"),
            reads=self._words(head, "reads"),
            tools=self._words(head, "tools"),
            stance=self._stance(head),
            before_start=sections.items("before"),
            mistakes=sections.items("mistakes"),
            right_when=sections.items("right"),
            instructor=sections.markdown("instructor"),
            place=head.keys.get("operation", head.place),
        )
        return None if self.problems else operation

    # -- the head ------------------------------------------------------------------------------------

    def _known(self, node: Mapping, names: Collection[str], what: str) -> None:
        self.problems += unknown_keys("L002", node, names, what)

    def _words(self, node: Mapping, key: str) -> tuple[str, ...]:
        value = node.get(key)
        if value is None or (isinstance(value, Text) and value.empty):
            return ()
        if isinstance(value, Items):
            return tuple(item.text.strip() for item in value if isinstance(item, Text))
        self.wrong("L003", value.place, f"'{key}' is not a list", f"Write `{key}: [one, two]`.")
        return ()

    def _number(self, node: Mapping, key: str) -> int:
        value = node.get(key)
        if isinstance(value, Text) and value.text.strip().isdecimal():
            return int(value.text)
        if value is not None:
            shown = value.text if isinstance(value, Text) else "a list"
            self.wrong("L003", value.place, f"{key} is '{shown}'", f"Write a whole number, as in `{key}: 10`.")
        return 0

    def _flag(self, node: Mapping, key: str) -> bool:
        return self._word(node, key, ("true", "false", "yes", "no")) in ("true", "yes")

    def _word(self, node: Mapping, key: str, words: Sequence[str]) -> str:
        value = node.get(key)
        if value is None:
            return ""
        text = value.text if isinstance(value, Text) else "a list"
        if text not in words:
            self.wrong("L003", value.place, f"{key} is '{text}'", meant(text, words))
            return words[0]
        return text

    def _needs(self, head: Mapping, key: str) -> tuple[Need, ...]:
        node = head.get(key)
        found = []
        for item in node if isinstance(node, Items) else ():
            if not isinstance(item, Text):
                continue
            relative, dot, rest = item.text.strip().partition(".")
            if dot and relative not in RELATIVES:
                says = f"'{relative}' is no relative of an assembly"
                self.wrong("L003", item.place, says, meant(relative, RELATIVES))
                continue
            names = tuple(re.split(r"\s+or\s+", rest if dot else item.text.strip()))
            found.append(Need(relative if dot else "", names, item.text.strip(), item.place))
        return tuple(found)

    def _block(self, node: Node | None, place: Place, what: str) -> Mapping:
        if isinstance(node, Mapping):
            return node
        self.wrong("L003", place, f"{what} must be `name: value` lines", "Indent them below it.")
        return Mapping({}, {}, place)

    def _routes(self, head: Mapping, sections: Sections) -> dict[str, Route]:
        found: dict[str, Route] = {}
        if head.get("routes") is None:
            return found
        block = self._block(head.get("routes"), head.keys["routes"], "routes")
        self._known(block, ROUTES, "'routes'")
        for name in ROUTES:
            if name in block.entries:
                node = self._block(block.get(name), block.keys[name], f"the route '{name}'")
                found[name] = self._route(name, node, sections)
            elif section := sections.of_route(name):
                place = self.at(sections.first_line(section))
                self.wrong("L006", place, f"there is a section by {name}, but no such route in the head",
                           f"Add the route '{name}' to `routes`, or take the section out.")  # fmt: skip
        return found

    def _route(self, name: str, node: Mapping, sections: Sections) -> Route:
        self._known(node, _ROUTE, f"the route '{name}'")
        for key in ("station", "tool", "minutes"):
            if key not in node.entries:
                self.wrong("L002", node.place, f"the route '{name}' has no {key}", f"Write `{key}:` and its value.")
        cautions = self._words(node, "cautions")
        for word in cautions:
            if word not in FAMILIES and word not in CAUTIONS:
                place = node.entries["cautions"].place
                self.wrong("L004", place, f"there is no family of cautions, and no caution, '{word}'",
                           meant(word, (*FAMILIES, *CAUTIONS)))  # fmt: skip
        if name in POWERED and not powered(cautions):
            says = f"the route '{name}' names no cautions of a machine"
            families = ", ".join(family for family in FAMILIES if powered([family]))
            do = f"Add the family of its machine to `cautions:`, as one of {families}."
            self.wrong("L004", node.place, says, do)
        if powered(cautions) and not node.text("sign_off"):
            says = f"the route '{name}' uses a machine and names no sign-off"
            self.wrong("L002", node.place, says, "Write `sign_off:` and the name of the machine.")
        steps = sections.steps(name, node.place)
        allowed = {*all_families(cautions), *cautions}
        for step in steps:
            for one in step.cautions:
                if one in CAUTIONS and one not in allowed and CAUTIONS[one].family not in allowed:
                    says = f"the caution {one} stands in the steps by {name}, but not among its cautions"
                    do = f"Add '{CAUTIONS[one].family}' or '{one}' to the cautions of the route."
                    self.wrong("L004", node.place, says, do)
        return Route(
            name, node.text("station"), node.text("tool"), node.text("sign_off"),
            node.text("endorsement"), cautions,
            self._number(node, "minutes"), steps, sections.more("before", name), sections.more("mistakes", name),
        )  # fmt: skip

    def _setups(self, head: Mapping) -> tuple[Setup, ...]:
        node = head.get("setup")
        found = []
        for item in node if isinstance(node, Items) else ():
            block = self._block(item, item.place, "a set-up number")
            self._known(block, _SETUP, "a set-up number")
            for key in ("name", "is", "where", "why"):
                if not block.text(key):
                    self.wrong("L002", block.place, f"a set-up number has no '{key}'", f"Write `{key}:` and its value.")
            formula, only_if = block.get("is"), block.get("only_if")
            found.append(
                Setup(
                    block.text("name"), formula if isinstance(formula, Text) else Text("0 mm", block.place),
                    block.text("where"), block.text("why"), self._word(block, "each", EACH),
                    self._word(block, "route", ROUTES), self._flag(block, "fine"),
                    only_if if isinstance(only_if, Text) else None,
                )
            )  # fmt: skip
        return tuple(found)

    def _stance(self, head: Mapping) -> dict[tuple[str, str], str]:
        """Notes for both hands, under the routes that the operation has."""
        if head.get("stance") is None:
            return {}
        block, routes = self._block(head.get("stance"), head.keys["stance"], "stance"), head.get("routes")
        found: dict[tuple[str, str], str] = {}
        self._known(block, tuple(routes.entries) if isinstance(routes, Mapping) else (), "'stance'")
        for route, node in block.items():
            hands = self._block(node, block.keys[route], f"the stance '{route}'")
            self._known(hands, HANDS, f"the stance '{route}'")
            for hand in HANDS:
                found[route, hand] = " ".join(hands.text(hand).split())
                if not found[route, hand]:
                    says = f"the stance '{route}' says nothing for the {hand} hand"
                    self.wrong("L002", hands.place, says, f"Write `{hand}:` and how to stand and hold.")
        return found


def fit_checks() -> tuple[str, ...]:
    """Names of the built-in fit checks."""
    return tuple(spec.name for spec in read_checks().definitions)


def read_operation(
    text: str, file: str, checks: Collection[str] | None = None
) -> tuple[Operation | None, tuple[Problem, ...]]:
    """The operation in one Markdown text, or None and what is wrong with it.

    Args:
        text: Contents of the file.
        file: Name shown in problems.
        checks: Names of the fit checks there are; without them, of the built-in ones.
    """
    head = _Head(text, file, fit_checks() if checks is None else checks)
    operation = head.operation()
    return operation, tuple(head.problems)


def _texts(folders: Sequence[Path], problems: list[Problem]) -> list[tuple[str, list[str]]]:
    """Names, and the texts found under each: the built-in file first, then those of the folders in their order."""
    built_in = (files("lessons") / "operations").iterdir()
    found = {entry.name: [entry.read_text(encoding="utf-8")] for entry in built_in if entry.name.endswith(".md")}
    for folder in folders:
        for path in sorted(folder.glob("*.md")) if folder.is_dir() else ():
            try:
                text = read_text(path)
            except Unreadable as error:
                problems.append(Problem("L001", error.place, error.says, error.do))
                continue
            found.setdefault(path.name, []).append(text)
    return sorted(found.items())


def read_operations(
    *folders: Path, checks: Collection[str] | None = None, without: Collection[str] = ()
) -> tuple[dict[str, Operation], tuple[Problem, ...]]:
    """All operations by name, in the order of their numbers, and what is wrong with the files.

    A broken file of a course is reported, and the built-in one of its name stands in for it.

    Args:
        folders: A course's own `lessons` folders; a file of the same name wins over the built-in one.
        checks: Names of the fit checks there are; without them, of the built-in ones.
        without: Files of a course that cannot be used; the built-in ones of their names stand in for them.
    """
    problems: list[Problem] = []
    found: list[Operation] = []
    for name, texts in _texts(folders, problems):
        operation, wrong = read_operation(texts[0 if name in without else -1], name, checks)
        problems.extend(wrong)
        if operation is None and len(texts) > 1:
            operation, _ = read_operation(texts[0], name, checks)
        if operation:
            found.append(operation)
    found.sort(key=lambda operation: (operation.number, operation.place.sort_key))
    problems.extend(_twice(found))
    return {operation.name: operation for operation in found}, tuple(problems)


def _twice(operations: Sequence[Operation]) -> Iterator[Problem]:
    """Names, numbers and makers of a feature that occur twice."""
    seen: dict[tuple[str, object], Operation] = {}
    for operation in operations:
        keys = [("name", operation.name), ("number", operation.number)]
        if operation.makes:
            keys += [(f"the feature '{made}'", operation.parts) for made in operation.makes]
        for what, value in keys:
            first = seen.setdefault((what, value), operation)
            if first is operation:
                continue
            if what in ("name", "number"):
                says = f"the {what} '{value}' is taken by {first.place.file}"
                do = f"Give one of the two operations another {what}."
            else:
                says = f"{what} is already made by '{first.name}' in {first.place.file}"
                do = "Take it out of one of them, or write `parts:` to say which parts each is for."
            yield Problem("L008", operation.place, says, do)
