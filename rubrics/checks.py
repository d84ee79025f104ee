"""The fit checks of a course: what its check files ask of its cabinet, within the bands that it sets."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from course.cabinet import Assembly, Cabinet
from course.course import Course
from course.formula import LENGTH, BadFormula, Formula, dimension
from rubrics.bands import Band, band_for, bands_are_limits, read_bands
from rubrics.check_files import STAGES, TOOLS, CheckLibrary, CheckSpec, ItemSpec, read_checks
from rubrics.fit_classes import empty_band, read_fit_classes
from rubrics.instruments import instruments
from shared.problems import InputRefused, Problem, meant


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
    parts_give: Formula | None
    """What the parts, as they were read before, make of the reading; what is charged there is not charged here."""
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

    def __hash__(self) -> int:
        """By the id alone: a class looks a check up a hundred times a student."""
        return hash(self.id)


def limit_of(check: Check) -> Fraction:
    """What counts as one limit: half the band, or all of a band that starts at nothing. [mm]"""
    return check.upper if check.one_sided else (check.upper - check.lower) / 2


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
        parts_give = self.compiled(item.parts_give, item, assembly, joint)
        if item.kind in ("size", "measure", "spread") or item.each:
            for name in names:
                suffix = ".spread" if item.kind == "spread" else ""
                where = self.where(name, assembly)
                yield self.made(item, assembly, name + suffix, [name], None, target, where, parts_give)
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
                return self.cabinet.named(part)
        for joint in assembly.joints.values():
            for site in joint.sites:
                if f"{joint.prefix}.{site.name}" == owner:
                    return f"{assembly.title} {site.name.replace('_', ' ')}"
        if name.startswith("stock."):
            return f"{name.split('.')[1]} stock"
        rest = owner.removeprefix(assembly.name).strip(".").replace(".", " ")
        last = name.rpartition(".")[2].replace("_", " ")
        if rest in ("reveal", "gap") and assembly.title.split()[-1] == last:  # the left side of a left leaf
            return assembly.title
        return f"{assembly.title} {last}" if rest in ("reveal", "gap") else f"{assembly.title} {rest}".strip()

    def made(
        self, item: ItemSpec, assembly: Assembly, id_: str, names: Sequence[str], formula: Formula | None,
        target: Formula | None, where: str, parts_give: Formula | None = None,
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
            item.kind, tuple(reads), formula, target, parts_give, item.band.lower or Fraction(0),
            item.band.upper or Fraction(0), one_sided,
            item.instrument, item.points, spec.who, spec.readers, spec.releases, item.over, item.under, item.look_at,
            item.at, item.band.fit, item.band.source or spec.source,
        )  # fmt: skip


def _chosen(assembly: Assembly, when: Iterable[tuple[str, str]]) -> bool:
    return all(assembly.choices.get(key) == word for key, word in when)
