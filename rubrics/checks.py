"""Fit checks, read from YAML: what is measured, against which target, within which band, and what it releases."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache, lru_cache
from importlib.resources import files
from math import hypot, sqrt
from pathlib import Path

from course.cabinet import Assembly, Cabinet
from course.changes import AsMade
from course.course import Course
from course.formula import LENGTH, BadFormula, Formula, dimension
from course.kinds import Library, read_library
from course.quantities import Given, Origin, Values
from course.readings import Reading, reduced
from course.roster import Student
from rubrics.bands import Band, band_for, band_of, bands_are_limits, read_bands
from rubrics.fit_classes import FitClass, empty_band, read_fit_classes
from rubrics.instruments import Instrument, instrument, instruments, reading_uncertainty, uncertainty
from rubrics.where import WAYS
from shared.places import Items, Mapping, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import InputRefused, Problem, meant, refuse
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
LONGER = {"caliper": "rule", "rule": "tape", "rods": "tape"}
"""What is taken where an instrument does not reach; leaves of a feeler are stacked."""


@dataclass(frozen=True, slots=True)
class ItemSpec:
    """One thing that a check file asks for."""

    title: str
    kind: str
    reads: tuple[str, ...]
    formula: str
    target: str
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


@dataclass(frozen=True, slots=True)
class Check:
    """One check of one cabinet. Lengths in mm."""

    id: str
    check: str
    """Name of its file, as `shoulder`."""
    group: str
    """Title of its file."""
    assembly: str
    stage: str
    title: str
    """What and where, as `door rail top: shoulder to shoulder`."""
    what: str
    """What alone, as `shoulder to shoulder`."""
    where: str
    """Where alone, as `door rail top`."""
    kind: str
    reads: tuple[tuple[str, int, str], ...]
    """Quantity, at how many places, with which instrument."""
    formula: Formula | None
    """How the result is worked out of the readings; None for the reading itself."""
    target: Formula | None
    """What the result should be; None for the student's own current target, or nothing."""
    lower: Fraction
    upper: Fraction
    one_sided: bool
    """Whether there is an upper limit only."""
    instrument: str
    points: int
    who: str
    readers: int
    """By how many people it is read where a course asks for a second reader."""
    releases: str
    over: str
    under: str
    look_at: str
    """What to look at when most of a class is off together, as `the stop`."""
    at: str
    """How it is measured, as a sketch of `where.py` shows it; empty for no sketch."""
    fit: str
    """Name of its fit class; empty for limits of its own."""
    source: str
    """Where its limits come from."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What one student measured for one check at one attempt. Lengths in mm."""

    value: Fraction
    target: Fraction
    planned: Fraction
    """What the plan alone wants."""
    deviation: Fraction
    u: float
    """Standard uncertainty of the deviation: of the value, and of the readings that the target follows."""
    attempt: int
    readings: tuple[Reading, ...] = field(hash=False)


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

    def known(self, node: Mapping, names: Sequence[str], what: str) -> None:
        for key, place in node.keys.items():
            if key not in names:
                self.wrong(place, f"{what} has no '{key}'", meant(key, names))

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
            ("title", "kind", "reads", "is", "target", "each", "instrument", "places", "fit", "lower", "upper",
             "points", "over", "under", "look_at", "at", "when"),
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
            self.flag(node, "each"), self.word(node, "instrument", tuple(TOOLS), "rule"),
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
        choices = {choice.name: choice.words for kind in kinds for choice in kind.choices if choice.words}
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


def every_check(course: Course) -> tuple[Check, ...]:
    """All checks of a course's cabinet in the order of the work, those that are only read included.

    Raises:
        InputRefused: A check file or a band of the course that cannot be used.
    """
    problems: list[Problem] = []
    found = _all_checks(course, problems)
    bands = read_bands(course.settings, read_fit_classes(course.folder, []), problems)
    bands_are_limits(course.folder, problems)
    _bands_are_known(bands, found, problems)
    banded = [_banded(check, bands, problems) for check in found]
    _tools_are_known(course, problems)
    if problems:
        raise InputRefused(dict.fromkeys(problems))
    return tuple(sorted(banded, key=lambda check: STAGES.index(check.stage)))


def asked_places(course: Course) -> dict[str, int]:
    """At how many places each size is read that somebody measures; told even while a check cannot be used."""
    found = {quantity.name: quantity.read.places for quantity in course.cabinet.graph.quantities if quantity.read}
    for check in _all_checks(course, []):
        for name, places, _ in check.reads:
            found[name] = max(places, found.get(name, 0))
    return found


def _all_checks(course: Course, problems: list[Problem]) -> tuple[Check, ...]:
    """The checks of every file, each once; what is graded goes before what is only read."""
    library = read_checks(course.folder)
    checks, told = _instances(course.cabinet, library)
    problems += (*library.problems, *told)
    return checks


@lru_cache(maxsize=2)
def _instances(cabinet: Cabinet, library: CheckLibrary) -> tuple[tuple[Check, ...], tuple[Problem, ...]]:
    """What the check files ask of a cabinet, and what is wrong with them there."""
    found: dict[str, Check] = {}
    problems: list[Problem] = []
    for spec in library.definitions:
        for check in _Instances(cabinet, spec, problems).checks():
            earlier = found.get(check.id)
            if earlier is None or (earlier.kind == "measure" and check.kind != "measure"):
                found[check.id] = check
            elif check.kind != "measure" and check != replace(
                earlier, assembly=check.assembly, where=check.where, title=check.title
            ):
                says = f"'{check.id}' is asked for already, by '{earlier.group}: {earlier.what}'"
                do = f"Keep one of the two: leave '{check.what}' out here, give it another title, or change the other."
                problems.append(Problem("B054", spec.place, says, do))
    return tuple(found.values()), tuple(problems)


def _tools_are_known(course: Course, problems: list[Problem]) -> None:
    prefix, known = "shop.instruments.", instruments(course.folder)
    for key, text in course.settings.items():
        if not key.startswith(prefix):
            continue
        word = key.removeprefix(prefix)
        if word not in TOOLS:
            problems.append(Problem("B053", text.place, f"nothing is read with '{word}'", meant(word, TOOLS)))
        elif text.text not in known:
            says = f"there is no instrument '{text.text}'"
            problems.append(Problem("B053", text.place, says, meant(text.text, known)))


def checks_of(course: Course) -> tuple[Check, ...]:
    """The checks that are graded, in the order of the work."""
    return tuple(check for check in every_check(course) if check.kind != "measure")


def _band_names(check: Check) -> tuple[str, ...]:
    return (f"{check.assembly}.{check.check}", check.check)


def _bands_are_known(bands: dict[str, Band], checks: Sequence[Check], problems: list[Problem]) -> None:
    """Every band is used, and a wide name is not spread over things that have bands of their own."""
    used: dict[str, list[Check]] = {}
    for check in checks:
        if hit := band_for(_band_names(check), check.id, check.one_sided, bands) if check.kind != "measure" else None:
            used.setdefault(hit[0], []).append(check)
    for name, band in bands.items():
        if name not in used:
            known = {word for check in checks for word in (check.id, *_band_names(check)) if check.kind != "measure"}
            if name in known:
                says, do = (("an upper limit alone", "Write `lower:` too.") if band.lower is None
                            else ("two limits", "Leave `lower:` out."))  # fmt: skip
                problems.append(Problem("B063", band.place, f"no band of '{name}' has {says}", do))
            else:
                problems.append(Problem("B063", band.place, f"there is no check '{name}'", meant(name, known)))
        elif len({(check.lower, check.upper) for check in used[name]}) > 1 and "*" not in name:
            says = f"'{name}' asks for several things, each with a band of its own"
            ids = ", ".join(check.id for check in used[name][:4])
            problems.append(Problem("B064", band.place, says, f"Name one of them: {ids}; a * stands for any part."))


def _banded(check: Check, bands: dict[str, Band], problems: list[Problem]) -> Check:
    """The check with the limits that the course sets; where it sets one of two, the other must still fit."""
    hit = band_for(_band_names(check), check.id, check.one_sided, bands)
    if hit is None or check.kind == "measure":
        return check
    band = hit[1]
    lower = check.lower if band.lower is None or check.one_sided else band.lower
    upper = check.upper if band.upper is None else band.upper
    told = band.lower is not None and band.upper is not None and band.lower >= band.upper
    if not told and (says := empty_band(None if check.one_sided else lower, upper, f"'{check.id}'")):
        problems.append(Problem("B062", band.place, says, f"Mend the band '{hit[0]}', or write both limits."))
        return check
    return replace(check, lower=lower, upper=upper, fit=band.fit, source=band.source)


class _Instances:
    """The checks that one file asks of one cabinet."""

    def __init__(self, cabinet: Cabinet, spec: CheckSpec, problems: list[Problem]) -> None:
        self.cabinet, self.spec, self.problems = cabinet, spec, problems

    def checks(self) -> Iterator[Check]:
        if self.spec.openings:
            yield from self.of_openings()
            return
        for assembly in self.cabinet.assemblies.values():
            if not _chosen(assembly, self.spec.when):
                continue
            items = [item for item in self.spec.items if _chosen(assembly, item.when)]
            if assembly.kind in self.spec.kinds:
                for item in items:
                    yield from self.of_item(item, assembly, "")
            for name, joint in assembly.joints.items():
                if joint.kind in self.spec.joints:
                    for item in items:
                        yield from self.of_item(item, assembly, name)

    def of_openings(self) -> Iterator[Check]:
        """Checks of the openings that are read once everything is glued."""
        built_in = {a.fills for a in self.cabinet.assemblies.values() if a.built_in}
        for name, opening in self.cabinet.openings.items():
            if name in built_in:
                continue
            assembly = self.cabinet.assemblies[opening.owner]
            for item in self.spec.items:
                for size in item.reads:
                    full = f"{name}.{size}"
                    if full in self.cabinet.graph:
                        yield self.made(item, assembly, full, [full], None, None, opening.says)
                    else:
                        do = "Openings have a width and a height."
                        self.no_size(item, f"the opening '{name}' has no '{size}'", do)

    def of_item(self, item: ItemSpec, assembly: Assembly, joint: str) -> Iterator[Check]:
        names = [full for written in item.reads for full in self.names(written, item, assembly, joint)]
        if not names:
            return
        formula = self.compiled(item.formula, item, assembly, joint)
        target = self.compiled(item.target, item, assembly, joint)
        if item.kind in ("size", "measure", "spread") or item.each:
            for name in names:
                suffix = ".spread" if item.kind == "spread" else ""
                yield self.made(item, assembly, name + suffix, [name], None, target, self.where(name, assembly))
        elif formula:
            slug = re.sub(r"[^a-z0-9]+", "_", item.title.partition(":")[0].lower()).strip("_")
            yield self.made(
                item, assembly, f"{assembly.name}.{self.spec.name}.{slug}", names, formula, target, assembly.title
            )

    def no_size(self, item: ItemSpec, says: str, do: str) -> None:
        self.problems.append(Problem("B052", item.place, says, do))

    def compiled(self, text: str, item: ItemSpec, assembly: Assembly, joint: str) -> Formula | None:
        if not text:
            return None
        try:
            return self.a_length(text, assembly, joint)
        except BadFormula as error:
            says = str(error)
        except ZeroDivisionError:
            says = f"'{text}' divides by zero"
        self.problems.append(Problem("B051", item.place, f"{assembly.name}: {says}", "Check the formula."))
        return None

    def a_length(self, text: str, assembly: Assembly, joint: str) -> Formula:
        """A formula that gives a length with the sizes of the plan."""
        graph, scope = self.cabinet.graph, self.cabinet.scope(assembly.name, joint=joint)
        formula = self.cabinet.formula(text, assembly.name, joint=joint)
        for name in formula.names:
            if graph[name].dimension < 0:
                raise BadFormula(f"'{name}' is a word, not a size")
        if dimension(formula, scope, lambda full: graph[full].dimension) != LENGTH:
            raise BadFormula(f"'{text}' does not give a length")
        formula.run(graph.base)
        return formula

    def names(self, written: str, item: ItemSpec, assembly: Assembly, joint: str) -> list[str]:
        """Full names of the quantities a written name stands for: members of a list, places of a joint."""
        head, star, tail = written.partition(".*")
        graph, kind = self.cabinet.graph, assembly.kind
        if star:
            places = self.members(head, tail, assembly, joint)
            if places is None:
                lists = (*assembly.members, "site") if joint else assembly.members
                self.no_size(item, f"'{kind}' has no list '{head}'", meant(head, lists))
                return []
            found = [next((name for name in names if name in graph), "") for names in places]
        else:
            try:
                found = list(self.cabinet.scope(assembly.name, joint=joint)(written))
            except BadFormula:
                found = [""]
        known = [name for name in found if name]
        if found and not known:
            self.no_size(item, f"'{kind}' has no '{written}'", "Check the name.")
        for name in known:
            if graph[name].dimension != LENGTH:
                self.no_size(item, f"'{written}' of '{kind}' is no length, so nobody can read it", "Read a size.")
        return [name for name in known if graph[name].dimension == LENGTH]

    def members(self, head: str, tail: str, assembly: Assembly, joint: str) -> list[tuple[str, ...]] | None:
        """The names that a size of each member may have; None when there is no such list."""
        if head == "site" and joint:
            made = assembly.joints[joint]
            return [(f"{made.prefix}.{site.name}{tail}",) for site in made.sites]
        if head not in assembly.members:
            return None
        where = assembly.name
        return [(f"{where}.{head}.{member}{tail}", f"{where}.{member}{tail}") for member in assembly.members[head]]

    def where(self, name: str, assembly: Assembly) -> str:
        owner = name.rpartition(".")[0]
        for part in self.cabinet.parts:
            if part.name == owner:
                return part.title if part.title.startswith(assembly.title) else f"{assembly.title} {part.title}"
        for joint in assembly.joints.values():
            for site in joint.sites:
                if f"{joint.prefix}.{site.name}" == owner:
                    return f"{assembly.title} {site.name.replace('_', ' ')}"
        if name.startswith("stock."):
            return f"{name.split('.')[1]} stock"
        rest = owner.removeprefix(assembly.name).strip(".").replace(".", " ")
        last = name.rpartition(".")[2].replace("_", " ")
        return f"{assembly.title} {last}" if rest in ("reveal", "gap") else f"{assembly.title} {rest}".strip()

    def made(
        self, item: ItemSpec, assembly: Assembly, id_: str, names: Sequence[str], formula: Formula | None,
        target: Formula | None, where: str,
    ) -> Check:  # fmt: skip
        graph, spec = self.cabinet.graph, self.spec
        reads = []
        for name in names:
            read = graph[name].read
            places = item.places or (read.places if read else 1)
            reads.append((name, places, item.instrument))
        one_sided = item.band.lower is None
        return Check(
            id_, spec.name, spec.title, assembly.name, spec.stage, f"{where}: {item.title}", item.title, where,
            item.kind, tuple(reads), formula, target, item.band.lower or Fraction(0), item.band.upper or Fraction(0),
            one_sided,
            item.instrument, item.points, spec.who, spec.readers, spec.releases, item.over, item.under, item.look_at,
            item.at, item.band.fit, item.band.source or spec.source,
        )  # fmt: skip


def _chosen(assembly: Assembly, when: Iterable[tuple[str, str]]) -> bool:
    return all(assembly.choices.get(key) == word for key, word in when)


def attempts(check: Check, readings: Iterable[Reading]) -> dict[int, dict[str, list[Reading]]]:
    """Readings of a check by attempt and quantity; a quantity not read again keeps its earlier readings."""
    asked = {name for name, _, _ in check.reads}
    by_attempt: dict[int, dict[str, list[Reading]]] = {}
    for one in readings:
        if one.quantity in asked and one.value is not None:
            by_attempt.setdefault(one.attempt, {}).setdefault(one.quantity, []).append(one)
    found: dict[int, dict[str, list[Reading]]] = {}
    latest: dict[str, list[Reading]] = {}
    for number in sorted(by_attempt):
        latest = {**latest, **by_attempt[number]}
        found[number] = latest
    return found


def measure(check: Check, course: Course, student: Student) -> tuple[Measured, ...]:
    """What a student measured for a check, one result an attempt, oldest first; empty while something is missing."""
    return measure_all((check,), course, student)[check.id]


def measure_all(checks: Sequence[Check], course: Course, student: Student) -> dict[str, tuple[Measured, ...]]:
    """As `measure` for many checks, by their ids; the log is read once."""
    return measure_from(checks, course, student, course.log.readings(student.id))


def measure_from(
    checks: Sequence[Check], course: Course, student: Student, readings: Iterable[Reading]
) -> dict[str, tuple[Measured, ...]]:
    """What some of a student's readings come to, as those of one reader, by the ids of the checks."""
    values, readings = course.values(student), tuple(readings)
    behind, made = _target_uncertainties(checks, course, student, values, readings), AsMade(course, student, values)
    return {
        check.id: tuple(
            _measured(check, course, student, values, groups, number, behind.get(check.id, 0.0), made)
            for number, groups in attempts(check, readings).items()
            if all(name in groups for name, _, _ in check.reads)
        )
        for check in checks
    }


def missing(check: Check, course: Course, student: Student) -> tuple[tuple[str, int], ...]:
    """Quantities and places of a check that a student has not read yet."""
    taken = {(r.quantity, r.place) for r in course.log.readings(student.id) if r.value is not None}
    asked = [(name, place) for name, places, _ in check.reads for place in range(1, places + 1)]
    return tuple(one for one in asked if one not in taken)


def _measured(
    check: Check,
    course: Course,
    student: Student,
    values: Values,
    groups: dict[str, list[Reading]],
    attempt: int,
    target_u: float,
    made: AsMade,
) -> Measured:
    graph = course.cabinet.graph
    sizes: dict[str, Fraction] = {}
    for name, _, _ in check.reads:
        texts = [one.value for one in groups[name] if one.value is not None]
        sizes[name] = reduced(texts, graph[name].read)[0]
    readings = tuple(one for name, _, _ in check.reads for one in groups[name])
    first = check.reads[0][0]
    planned = course.plan_values
    if check.kind == "spread":
        texts = [one.value for one in readings if one.value is not None]
        value, target, plan = max(texts) - min(texts), Fraction(0), Fraction(0)
    elif check.formula is None:
        value = sizes[first]
        target = _number(check.target, values.all) if check.target else made.target(first)
        plan = _number(check.target, planned.all) if check.target else planned.number(first)
    else:
        value = _derived(check.formula, values, sizes)
        target = _number(check.target, values.all) if check.target else Fraction(0)
        plan = _number(check.target, planned.all) if check.target else Fraction(0)
    repeats = {name: sum(one.times for one in groups[name]) for name in sizes}
    u = result_uncertainty(check, course, student, values, sizes, repeats)
    return Measured(value, target, plan, value - target, hypot(u, target_u), attempt, readings)


def _target_uncertainties(
    checks: Sequence[Check], course: Course, student: Student, values: Values, readings: Iterable[Reading]
) -> dict[str, float]:
    """Standard uncertainty of the target of each size, from the readings it follows; by the id of the check. [mm]

    A size made to the real case can be no surer than the reading of the case. Each reading counts by how much the
    target moves with it; root sum of squares, JCGM 100 (GUM), 5.1.
    """
    sized = {check: check.reads[0][0] for check in checks if check.kind == "size"}
    rests = {
        check: frozenset().union(*(values.rests_on(one) for one in _target_names(check, name, values) if one != name))
        for check, name in sized.items()
    }
    taken: Counter[str] = Counter()
    for one in readings:
        if one.value is not None:
            taken[one.quantity] += one.times
    squares = dict.fromkeys(sized, 0.0)
    for other, given in values.found.items():
        following = [check for check in sized if other in rests[check]]
        if given.origin is not Origin.READING or values.graph[other].dimension != LENGTH or not following:
            continue
        size = values.number(other)
        moved = values.with_given(values.settings, {**values.found, other: replace(given, value=size + 1)})
        read = values.graph[other].read
        tool, reach = _reaching(read.instrument if read else "rule", size, course, student)
        own = uncertainty(tool, reach, taken[other] or 1)
        for check in following:
            by = _target(check, moved, sized[check]) - _target(check, values, sized[check])
            squares[check] += (own * float(by)) ** 2
    return {check.id: sqrt(total) for check, total in squares.items()}


def _target_names(check: Check, name: str, values: Values) -> tuple[str, ...]:
    return check.target.names if check.target else values.inputs(name)


def _target(check: Check, values: Values, name: str) -> Fraction:
    return _number(check.target, values.all) if check.target else _fraction(values.target(name))


def _fraction(value: object) -> Fraction:
    assert isinstance(value, Fraction)
    return value


def _number(formula: Formula, values: Sequence) -> Fraction:
    try:
        return _fraction(formula.run(values))
    except ZeroDivisionError:
        says = f"'{formula.text}' divides by zero with what was read"
        raise refuse("B055", says, "Write the formula of the check so that it cannot.", Place("checks")) from None
    except BadFormula as error:
        raise refuse("B055", f"'{formula.text}': {error}", "Mend the formula of the check.", Place("checks")) from None


def _derived(formula: Formula, values: Values, sizes: dict[str, Fraction]) -> Fraction:
    """The result of a formula with the readings of one attempt in the places of its sizes, and what follows them."""
    if any(name not in sizes and not values.rests_on(name).isdisjoint(sizes) for name in formula.names):
        read = {name: Given(size, Origin.READING) for name, size in sizes.items()}
        return _number(formula, values.with_given(values.settings, {**values.found, **read}).all)
    changed = list(values.all)
    for name, size in sizes.items():
        changed[values.graph.index[name]] = size
    return _number(formula, changed)


def tool_of(word: str, course: Course, student: Student) -> str:
    """The name in `instruments.yaml` of an instrument word, for this shop and this student's units."""
    metric, inches = TOOLS[word]
    return course.text(f"shop.instruments.{word}", metric if student.unit == "mm" else inches)


def _reaching(word: str, size: Fraction, course: Course, student: Student) -> tuple[Instrument, Fraction]:
    """The instrument that a size is read with, or the longer one that is taken instead, and what it measures of it."""
    tool = instrument(tool_of(word, course, student), course.folder)
    while size > tool.longest and word in LONGER:
        word = LONGER[word]
        tool = instrument(tool_of(word, course, student), course.folder)
    return tool, min(size, tool.longest)


def result_uncertainty(
    check: Check, course: Course, student: Student, values: Values, sizes: dict[str, Fraction], repeats: dict[str, int]
) -> float:
    """Standard uncertainty of a result: each reading's, weighed by how much it moves the result, root sum of squares.

    Where likes are compared with one instrument, the error of its scale is common to both and drops out (ours).
    """
    total = 0.0
    alike = check.kind in ("difference", "spread")
    for name, _, word in check.reads:
        tool, size = _reaching(word, sizes[name], course, student)
        own = reading_uncertainty(tool, repeats[name]) if alike else uncertainty(tool, size, repeats[name])
        weight = 1.0
        if check.formula is not None:
            nudged = {**sizes, name: sizes[name] + 1}
            weight = float(_derived(check.formula, values, nudged) - _derived(check.formula, values, sizes))
        total += (own * weight) ** 2
    return sqrt(2 * total if check.kind == "spread" else total)
