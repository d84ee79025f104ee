"""The numbers of one student for one operation: what to set before it, what to measure after it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from course.cabinet import Assembly, Cabinet, Part
from course.formula import NUMBER, RELATIONS, BadFormula, Formula, comparison, dimension
from course.quantities import Origin, Values
from lessons.operation import BOX, Setup
from lessons.sequence import Work
from shared.places import Text
from shared.problems import Problem
from shared.units import Shown, decimal


@dataclass(frozen=True, slots=True)
class SetupNumber:
    """One number to set."""

    name: str
    value: Fraction
    dimension: int
    """1 a length [mm], 0 a plain number such as a count of passes."""
    fine: bool
    where: str
    """Between what and what it is measured."""
    why: str
    of: tuple[str, ...]
    """Titles of the parts, openings or assemblies it is for; none when there is only one it can be for."""
    formula: str
    """As written in the operation."""
    names: tuple[str, ...]
    """Full names of the quantities it reads."""

    def shown(self, units: Shown) -> str:
        """The number as printed for a reader."""
        if self.dimension == NUMBER:
            return decimal(self.value, 1).removesuffix(".0")
        return units.fine(self.value) if self.fine else units.size(self.value)


@dataclass(frozen=True, slots=True)
class _Case:
    """Something a set-up number is worked out for."""

    assembly: Assembly
    member: str
    """Full name that `this` stands for; empty for none."""
    stock: str
    """Stock of the part, for `stock.this`; empty for none."""
    title: str


def _cases(setup: Setup, work: Work, cabinet: Cabinet) -> Iterator[_Case]:
    for assembly in work.assemblies:
        if setup.each == "part":
            yield from (_part(cabinet, assembly, p) for p in work.parts if _is_of(p, assembly, work))
        elif setup.each == "male":
            yield from (_part(cabinet, assembly, p) for p in _males(work, assembly, cabinet))
        elif setup.each == "opening":
            for name in _openings(cabinet, assembly):
                opening = cabinet.openings[name]
                yield _Case(cabinet.assemblies[opening.owner], name, "", opening.says)
        else:
            yield _Case(assembly, "", "", assembly.title if len(work.assemblies) > 1 else "")


def _part(cabinet: Cabinet, assembly: Assembly, part: Part) -> _Case:
    alone = sum(other.assembly == part.assembly for other in cabinet.parts) == 1
    several = part.assembly != assembly.name or alone
    title = part.title if several else f"{cabinet.assemblies[part.assembly].title} {part.title}"
    return _Case(cabinet.assemblies[part.assembly], part.name, part.stock, title)


def _is_of(part: Part, assembly: Assembly, work: Work) -> bool:
    """Whether a part is counted under an assembly: its own, or the one whose feature is made on it."""
    if any(part.assembly == other.name for other in work.assemblies):
        return part.assembly == assembly.name
    return any(part.name in f.parts for f in work.features if f.assembly == assembly.name)


def _males(work: Work, assembly: Assembly, cabinet: Cabinet) -> list[Part]:
    """The parts let into others by the joints whose features this work makes."""
    kinds = {feature.joint for feature in work.features if feature.assembly == assembly.name}
    names = {site.male for joint in assembly.joints.values() if joint.kind in kinds for site in joint.sites}
    return [part for part in cabinet.parts if part.name in names]


def _openings(cabinet: Cabinet, assembly: Assembly) -> list[str]:
    """The openings of an assembly; for one that stands alone, also those of all that stands in it."""
    openings = cabinet.openings.values()
    found = [opening.name for opening in openings if opening.owner == assembly.name]
    if not assembly.fills:
        found += [opening.name for opening in openings if _within(cabinet, opening.owner, assembly.name)]
    return found


def _within(cabinet: Cabinet, inner: str, outer: str) -> bool:
    owner = cabinet.assemblies[inner].owner
    return bool(owner) and (owner == outer or _within(cabinet, owner, outer))


def _compiled(cabinet: Cabinet, text: str, case: _Case) -> Formula:
    if case.stock:
        text = re.sub(r"\bstock\.this\b", f"stock.{case.stock}", text)
    return cabinet.formula(text, case.assembly.name, case.member)


def _holds(cabinet: Cabinet, condition: Text | None, case: _Case, values: Values) -> bool:
    if condition is None:
        return True
    left, relation, right = comparison(condition.text)
    sides = (values.formula_value(_compiled(cabinet, side, case)) for side in (left, right))
    return RELATIONS[relation](*sides)


def _one(setup: Setup, case: _Case, cabinet: Cabinet, values: Values) -> SetupNumber | None:
    if not _holds(cabinet, setup.only_if, case, values):
        return None
    formula = _compiled(cabinet, setup.formula.text, case)
    value = values.formula_value(formula)
    assert isinstance(value, Fraction)
    kind = dimension(
        formula, cabinet.scope(case.assembly.name, case.member), lambda name: cabinet.graph[name].dimension
    )
    return SetupNumber(
        name=setup.name,
        value=value,
        dimension=kind,
        fine=setup.fine,
        where=setup.where,
        why=setup.why,
        of=(case.title,) if case.title else (),
        formula=setup.formula.text,
        names=formula.names,
    )


def setup_numbers(work: Work, cabinet: Cabinet, values: Values, route: str) -> tuple[SetupNumber, ...]:
    """What one student sets for one piece of work by one route, in the order of the operation.

    Numbers of one name that come out equal stand together, as one stop serves all parts of one length.
    What is measured at the end of this very work does not change what was to be set before it.
    """
    values = before_reading([work], cabinet, values)
    found: list[SetupNumber] = []
    for setup in work.operation.setups:
        if setup.route not in ("", route):
            continue
        mine: dict[Fraction, SetupNumber] = {}
        for case in _cases(setup, work, cabinet):
            number = _one(setup, case, cabinet, values)
            if number is None:
                continue
            first = mine.get(number.value)
            mine[number.value] = _joined(first, number) if first else number
        found.extend(mine.values())
    return tuple(found)


def before_reading(works: Iterable[Work], cabinet: Cabinet, values: Values) -> Values:
    """The values as they were before anything was read that is measured at the end of these works."""
    reads = (n for work in works for n in _matching(work.operation.reads, work, cabinet))
    own = {n for n in reads if values.origin(n) is Origin.READING}
    if not own:
        return values
    return values.with_given(values.settings, {n: g for n, g in values.found.items() if n not in own})


def _joined(first: SetupNumber, other: SetupNumber) -> SetupNumber:
    names = tuple(dict.fromkeys((*first.names, *other.names)))
    return replace(first, of=tuple(dict.fromkeys((*first.of, *other.of))), names=names)


def readings(work: Work, cabinet: Cabinet) -> tuple[str, ...]:
    """Full names of the quantities that are measured on the way, then at the end, in the order of the operation.

    In a pattern `*` stands for one word; `openings.*` for every opening of the assembly and of what stands in
    it, `stock.*` for every stock of the parts.
    """
    return _matching((*work.operation.reads_during, *work.operation.reads), work, cabinet)


def _matching(patterns: Iterable[str], work: Work, cabinet: Cabinet) -> tuple[str, ...]:
    readable = [quantity.name for quantity in cabinet.graph.quantities if quantity.read]
    found: dict[str, None] = {}
    for pattern in patterns:
        for full in _full_patterns(pattern, work, cabinet):
            form = re.compile(re.escape(full).replace(r"\*", r"[^.]+"))
            found.update(dict.fromkeys(name for name in readable if form.fullmatch(name)))
    return tuple(found)


def _full_patterns(pattern: str, work: Work, cabinet: Cabinet) -> Iterable[str]:
    first, _, rest = pattern.partition(".*.")
    if first == "openings":
        names = (name for assembly in work.assemblies for name in _openings(cabinet, assembly))
        return [f"{name}.{rest}" for name in names]
    if first == "stock":
        return [f"stock.{stock}.{rest}" for stock in dict.fromkeys(part.stock for part in work.parts)]
    return [f"{assembly.name}.{pattern}" for assembly in work.assemblies]


def proof(works: Iterable[Work], cabinet: Cabinet) -> tuple[Problem, ...]:
    """Formulas in set-ups and sizes in texts that cannot be worked out for this cabinet."""
    found: dict[tuple[str, str], Problem] = {}
    for work in works:
        for setup in work.operation.setups:
            for text in (setup.formula.text, *_sides(found, setup, work.operation.name)):
                for case in _cases(setup, work, cabinet):
                    _try(found, work, cabinet, text, case, setup.formula, f"the set-up number '{setup.name}'")
        for box in (box for text in work.operation.texts() for box in BOX.finditer(text) if box[1] == "size"):
            where = Text(box[2], work.operation.place)
            for assembly in work.assemblies:
                case = _Case(assembly, "", "", "")
                _try(found, work, cabinet, box[2], case, where, f'the box size("{box[2]}")')
    return tuple(found.values())


def _sides(found: dict[tuple[str, str], Problem], setup: Setup, operation: str) -> tuple[str, ...]:
    """Both sides of the comparison that a set-up number depends on; told when it is none."""
    if setup.only_if is None:
        return ()
    try:
        left, _, right = comparison(setup.only_if.text)
    except BadFormula as error:
        found[operation, setup.only_if.text] = Problem(
            "L023", setup.only_if.place, f"the set-up number '{setup.name}': {error}", "Write a comparison."
        )
        return ()
    return left, right


def _try(
    found: dict[tuple[str, str], Problem], work: Work, cabinet: Cabinet, text: str, case: _Case, where: Text, what: str
) -> None:
    try:
        _compiled(cabinet, text, case)
    except BadFormula as error:
        says = f"{what} of '{work.operation.name}': {error} (in the {case.assembly.title})"
        found.setdefault((work.operation.name, text), Problem("L023", where.place, says, "Check the names in it."))
