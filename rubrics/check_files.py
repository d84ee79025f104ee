"""Check files, read from YAML: what is measured, with what, within which band, by whom, and what it releases."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from importlib.resources import files
from pathlib import Path

from course.kinds import Library, read_library
from rubrics.bands import Band, band_of
from rubrics.fit_classes import FitClass, empty_band, read_fit_classes
from rubrics.where import WAYS
from shared.places import Items, Mapping, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import Problem, meant, unknown_keys
from shared.units import NotALength, length

KINDS = ("size", "fit", "difference", "spread", "measure")
"""size: a reading against what it should be; fit: worked out from readings, against a wanted fit; difference and
spread: nothing but an upper limit; measure: only read, since other sizes follow from it."""
STAGES = ("stock", "case", "frame", "fitting", "finish")
CHECKERS = ("student", "partner", "gauge", "instructor")
TOOLS = {
    "caliper": ("digital caliper", "digital caliper"),
    "rule": ("steel rule", "inch steel rule"),
    "rods": ("steel rule", "inch steel rule"),
    "feeler": ("feeler leaves", "feeler leaves"),
    "tape": ("class II tape from a mark", "inch tape from a mark"),
}
"""The instrument of `instruments.yaml` behind each word, in mm and in inches; `shop.instruments` may name others."""


@dataclass(frozen=True, slots=True)
class ItemSpec:
    """One thing that a check file asks for."""

    title: str
    kind: str
    reads: tuple[str, ...]
    formula: str
    target: str
    parts_give: str
    """What the parts, as they were read before, make of it; empty when it rests on no part that is judged alone."""
    each: bool
    instrument: str
    places: int
    """0 for as many as the quantity says."""
    band: Band
    points: int
    over: str
    under: str
    look_at: str
    """What to look at when most of a class is off together, as `the stop`."""
    at: str
    """How it is measured, as a sketch of `where.py` shows it; empty for no sketch."""
    when: tuple[tuple[str, str], ...]
    """Choices of the assembly with which it is asked for; always without any."""
    place: Place


@dataclass(frozen=True, slots=True)
class CheckSpec:
    """A check file."""

    name: str
    title: str
    stage: str
    kinds: tuple[str, ...]
    joints: tuple[str, ...]
    openings: bool
    when: tuple[tuple[str, str], ...]
    who: str
    readers: int
    """By how many people it is read where a course asks for a second reader: 1 or 2."""
    releases: str
    items: tuple[ItemSpec, ...]
    source: str
    place: Place


@dataclass(frozen=True, slots=True, eq=False)
class CheckLibrary:
    """All check files, built in and of the course folder, in their order."""

    definitions: tuple[CheckSpec, ...]
    problems: tuple[Problem, ...]


class _Reader:
    def __init__(self, classes: Iterable[FitClass], told: Iterable[Problem]) -> None:
        self.problems = list(told)
        self.classes = {each.name: each for each in classes}

    def wrong(self, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem("B050", place, says, do))

    def word(self, node: Mapping, key: str, known: Sequence[str], default: str) -> str:
        text = node.text(key, default)
        if text not in known:
            value = node.get(key)
            self.wrong(value.place if value else node.place, f"{key} is '{text}'", meant(text, known))
            return known[0]
        return text

    def known(self, node: Mapping, names: Collection[str], what: str) -> None:
        self.problems += unknown_keys("B050", node, names, what)

    def words(self, node: Mapping, key: str) -> tuple[str, ...]:
        value = node.get(key)
        found = tuple(value) if isinstance(value, Items) else () if value is None else (value,)
        for one in found:
            if not isinstance(one, Text):
                self.wrong(one.place, f"{key} does not name it in a word", f"Write `{key}: [one, two]`.")
        return tuple(one.text for one in found if isinstance(one, Text) and not one.empty)

    def size(self, node: Mapping, key: str) -> Fraction | None:
        value = node.get(key)
        if not isinstance(value, Text) or value.empty:
            return None
        try:
            return length(value.text)
        except NotALength as error:
            self.wrong(value.place, str(error), "Write the limit with its unit, as in 0.3 mm.")
            return None

    def whole(self, node: Mapping, key: str) -> int:
        text = node.text(key, "0")
        if not (text.isdecimal() and len(text) <= 2):
            self.wrong(node.place, f"{key} is '{text}'", "Write a whole number up to 99.")
            return 0
        return int(text)

    def flag(self, node: Mapping, key: str) -> bool:
        return self.word(node, key, ("false", "true"), "false") == "true"

    def item(self, node: Mapping) -> ItemSpec:
        self.known(
            node,
            ("title", "kind", "reads", "is", "target", "parts_give", "each", "instrument", "places", "fit", "lower",
             "upper", "points", "over", "under", "look_at", "at", "when"),
            "an item of a check",
        )  # fmt: skip
        kind = self.word(node, "kind", KINDS, "size")
        band = self.band(node)
        if kind != "measure" and (band.upper is None or (band.lower is None and kind in ("size", "fit"))):
            do = "Write `fit:` and a fit class, or `lower:` and `upper:` with units."
            self.wrong(node.place, f"'{node.text('title')}' has no band", do)
            band = Band(Fraction(-1), Fraction(1))
        elif kind != "measure" and (says := empty_band(band.lower, band.upper, f"'{node.text('title')}'")):
            self.wrong(node.place, says, "Exchange the two, or mend one.")
        item = ItemSpec(
            node.text("title"), kind, self.words(node, "reads"), node.text("is"), node.text("target"),
            node.text("parts_give"), self.flag(node, "each"), self.word(node, "instrument", tuple(TOOLS), "rule"),
            self.whole(node, "places"), band, self.whole(node, "points"), node.text("over"),
            node.text("under"), node.text("look_at", "the set-up"), self.word(node, "at", ("", *WAYS), ""),
            self.choices(node), node.place,
        )  # fmt: skip
        self.is_alive(item)
        return item

    def band(self, node: Mapping) -> Band:
        """The limits of the fit class that an item names, or those it writes itself."""
        own, named = Band(self.size(node, "lower"), self.size(node, "upper")), node.get("fit")
        if named is None:
            return own
        name = node.text("fit")
        if name not in self.classes:
            self.wrong(named.place, f"there is no fit class '{name}'", meant(name, self.classes))
        if own.lower is not None or own.upper is not None:
            self.wrong(named.place, f"'{node.text('title')}' has a fit class and limits", "Keep one of the two.")
        return band_of(self.classes[name], named.place) if name in self.classes else Band(Fraction(-1), Fraction(1))

    def choices(self, node: Mapping) -> tuple[tuple[str, str], ...]:
        """Choices under `when`, each with its word."""
        when = node.get("when")
        found = tuple((k, v.text) for k, v in when.items() if isinstance(v, Text)) if isinstance(when, Mapping) else ()
        if when is not None and (not isinstance(when, Mapping) or len(found) < len(when.entries)):
            self.wrong(when.place, "when does not name choices", "Write `when: {use: door}`.")
        return found

    def is_alive(self, item: ItemSpec) -> None:
        """An item asks for something, and its formula is there exactly when its result is worked out."""
        if not item.title:
            self.wrong(item.place, "an item has no title", "Write `title:`, what is measured.")
        if not item.reads:
            self.wrong(item.place, f"'{item.title}' reads nothing", "Write `reads:` with the names of sizes.")
        worked_out = item.kind in ("fit", "difference") and not item.each
        if worked_out and not item.formula:
            says = f"'{item.title}' does not say how it is worked out"
            self.wrong(item.place, says, "Write `is:`, as in `is: groove.width - thickness`, or `each: true`.")
        if item.formula and not worked_out:
            says = f"'{item.title}' is of kind {item.kind}{' for each reading' if item.each else ''} and has an `is:`"
            self.wrong(item.place, says, "Leave `is:` out, or write `kind: fit`.")
        if item.parts_give and not item.each:
            says = f"'{item.title}' has a `parts_give:` and is not judged for each reading"
            self.wrong(item.place, says, "Write `each: true`, or leave `parts_give:` out.")

    def check(self, top: Mapping) -> CheckSpec:
        self.known(
            top,
            ("check", "title", "stage", "for", "joints", "openings", "when", "who", "readers", "releases", "items",
             "source"),
            "a check",
        )  # fmt: skip
        items = top.get("items")
        blocks = [item for item in items if isinstance(item, Mapping)] if isinstance(items, Items) else []
        if not blocks or (isinstance(items, Items) and len(blocks) < len(items)):
            do = "Write `items:` and below it `- title: ...` with what to read."
            self.wrong(items.place if items else top.place, "items are not a list of things to read", do)
        spec = CheckSpec(
            top.text("check"), top.text("title", top.text("check")), self.word(top, "stage", STAGES, "frame"),
            self.words(top, "for"), self.words(top, "joints"), self.flag(top, "openings"),
            self.choices(top),
            self.word(top, "who", CHECKERS, "student"), int(self.word(top, "readers", ("1", "2"), "1")),
            top.text("releases"),
            tuple(self.item(block) for block in blocks), top.text("source", "common practice"), top.place,
        )  # fmt: skip
        if not spec.name:
            self.wrong(top.place, "the check has no name", "Write `check:` and a short name.")
        if not (spec.kinds or spec.joints or spec.openings):
            do = "Write `for:` with kinds, `joints:` with joints, or `openings: true`."
            self.wrong(top.place, f"'{spec.name}' does not say what it is for", do)
        return spec

    def fits(self, top: Mapping, spec: CheckSpec, library: Library) -> None:
        """Kinds, joints and choices that a check names exist somewhere, in this cabinet or not."""
        for key, what, names, known in (
            ("for", "kind", spec.kinds, library.kinds), ("joints", "joint", spec.joints, library.joints),
        ):  # fmt: skip
            for name in names:
                if name not in known:
                    node = top.get(key)
                    self.wrong(node.place if node else top.place, f"there is no {what} '{name}'", meant(name, known))
        kinds = [library.kinds[name] for name in spec.kinds if name in library.kinds] or library.kinds.values()
        choices = {name: words for kind in kinds for name, words in kind.words.items()}
        node = top.get("when")
        asked = [(*one, node.place if node else top.place) for one in spec.when]
        asked += [(*one, item.place) for item in spec.items for one in item.when]
        for key, word, place in asked:
            if key not in choices:
                self.wrong(place, f"there is no choice '{key}' of what it is for", meant(key, choices))
            elif word not in choices[key]:
                self.wrong(place, f"{key} is never '{word}'", meant(word, choices[key]))


def read_checks(folder: Path | None = None) -> CheckLibrary:
    """The built-in check files and those of a course folder; there a file, or a check, of the same name wins.

    A check that replaces a built-in one stands in its place in the order.
    """
    told: list[Problem] = []
    classes = tuple(read_fit_classes(folder, told).values())
    own = tuple(_own_text(path) for path in sorted((folder / "checks").glob("*.yaml"))) if folder else ()
    return _check_library(own, classes, tuple(told), read_library(folder) if own else None)


_Own = tuple[str, str | None, tuple[Place, str, str] | None]
"""A check file of a course folder: its name, and its text or why it cannot be read."""


def _own_text(path: Path) -> _Own:
    try:
        return path.name, read_text(path, f"checks/{path.name}"), None
    except Unreadable as error:
        return path.name, None, (error.place, error.says, error.do)


@lru_cache(maxsize=4)
def _check_library(
    own: tuple[_Own, ...], classes: tuple[FitClass, ...], told: tuple[Problem, ...], library: Library | None
) -> CheckLibrary:
    """The checks of the program and those of a course; the same texts give the same library."""
    reader = _Reader(classes, told)
    added_files = {name: (text, fault) for name, text, fault in own}
    built_in: list[CheckSpec] = []
    added: dict[str, CheckSpec] = {}
    order: dict[str, str] = {}
    for name in sorted({*_built_in(), *added_files}):
        if name not in added_files:
            spec = reader.check(_built_in()[name])
            built_in.append(spec)
            order[spec.name] = name
            continue
        assert library is not None
        text, fault = added_files[name]
        if fault:
            reader.wrong(*fault)
            continue
        try:
            top = read_yaml(text or "", f"checks/{name}")
        except Unreadable as error:
            reader.wrong(error.place, error.says, error.do)
            continue
        spec = reader.check(top)
        reader.fits(top, spec, library)
        if spec.name in added:
            says = f"the check '{spec.name}' stands in {added[spec.name].place.file} already"
            reader.wrong(top.place, says, "Give one of the two another name after `check:`.")
        added.setdefault(spec.name, spec)
        order.setdefault(spec.name, name)
    specs = {spec.name: spec for spec in built_in} | added
    return CheckLibrary(tuple(sorted(specs.values(), key=lambda spec: order[spec.name])), tuple(reader.problems))


@cache
def _built_in() -> dict[str, Mapping]:
    """The check files of the program by their names, each read once."""
    return {
        entry.name: read_yaml(entry.read_text("utf-8"), f"checks/{entry.name}")
        for entry in files("rubrics").joinpath("checks").iterdir()
        if entry.name.endswith(".yaml")
    }
