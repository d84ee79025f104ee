"""One student's sheet for one operation: what to set, how to do it, what can hurt, when it is right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files

from course.course import Course
from course.quantities import Values
from course.roster import Student
from lessons.cautions import GENERAL, SEVERITIES, Caution, cautions_for
from lessons.coach import CoachGrid, coach_tables, grids
from lessons.drawings import drawings_of
from lessons.operation import BOX, Route, Step
from lessons.route import choose, signed_for
from lessons.sequence import Work
from lessons.setups import SetupNumber, before_reading, readings, setup_numbers
from rubrics.fit_rows import FitRow
from shared.places import Items, Mapping, Text, read_yaml
from shared.render.sketch import Drawing
from shared.units import Shown

DEFERRAL: Mapping = read_yaml(
    (files("lessons") / "tables" / "deferral.yaml").read_text(encoding="utf-8"), "deferral.yaml"
)
"""Lines that send the reader to those who decide."""


@dataclass(frozen=True, slots=True)
class SetupValue:
    """One value of a number, and the parts it is for when there are several values."""

    of: str
    text: str


@dataclass(frozen=True, slots=True)
class SetupRow:
    """One number to set, as finished text."""

    name: str
    values: tuple[SetupValue, ...]
    where: str
    why: str
    provisional: bool
    """Whether it rests on something that this student has not measured yet."""


@dataclass(frozen=True, slots=True)
class CautionRow:
    """One caution as it stands on a page."""

    severity: str
    text: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step with the cautions that stand before it."""

    number: int
    text: str
    """Markdown."""
    cautions: tuple[CautionRow, ...]


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One thing to measure at the end, as finished text."""

    title: str
    """Where."""
    what: str
    target: str
    allowed: str
    """From where to where, or how far apart; what to do when there is no band."""
    instrument: str
    who: str
    places: int
    second: bool
    """Whether a second person reads it too."""


@dataclass(frozen=True, slots=True)
class Release:
    """An earlier operation that must be checked before this one begins."""

    title: str
    checks: str


@dataclass(frozen=True, slots=True)
class OperationPage:
    """Everything on one student's sheet of one operation, as finished text."""

    number: int
    """Number of the sheet in this student's packet."""
    title: str
    of: str
    """Assemblies it is for."""
    parts: str
    """Labels of the parts."""
    way: str
    """Station and tool of the route."""
    tools: str
    before: tuple[str, ...]
    releases: tuple[Release, ...]
    setups: tuple[SetupRow, ...]
    waits: str
    """What is still to be measured behind the provisional numbers; empty when nothing is."""
    drawings: tuple[Drawing, ...]
    general: tuple[str, ...]
    """Warnings that are the same everywhere, in few words."""
    cautions: tuple[CautionRow, ...]
    """Cautions of this work that belong to no single step, the gravest first."""
    steps: tuple[StepRow, ...]
    missing: str
    """Why there are no steps: the sign-off that is missing; empty when there are."""
    barred: tuple[str, ...]
    """Tools that the shop allows nobody for this operation."""
    stance: str
    """How to stand and hold with this student's hand, where that differs between hands."""
    mistakes: tuple[str, ...]
    right: tuple[str, ...]
    checks: tuple[CheckRow, ...]
    coach: tuple[CoachGrid, ...]
    """What to move after a test cut, tables side by side."""
    powered: bool
    closing: tuple[str, ...]
    """Order of authority and other lines at the end of a powered operation."""

    @property
    def hints(self) -> tuple[tuple[str, str], ...]:
        """What each table of the coach says in words, once for tables of one name."""
        return tuple({table.name: table.hint for grid in self.coach for table in grid.tables}.items())

    def severity(self, word: str) -> tuple[CautionRow, ...]:
        """The cautions before the steps that carry one signal word."""
        return tuple(row for row in self.cautions if row.severity == word)


def deferral(name: str, **fields: str) -> str:
    """A line that sends the reader to those who decide, with its fields filled."""
    node: object = DEFERRAL
    for key in name.split("."):
        node = node.get(key) if isinstance(node, Mapping) else None
    assert isinstance(node, Text), name
    return " ".join(node.text.split()).format(**fields)


def deferrals(name: str) -> tuple[str, ...]:
    """A list of such lines."""
    node = DEFERRAL.get(name)
    assert isinstance(node, Items), name
    return tuple(" ".join(item.text.split()) for item in node if isinstance(item, Text))


def together(works: Iterable[Work]) -> list[tuple[Work, ...]]:
    """Work of one operation on one sheet, in the order in which the operation first comes up."""
    groups: dict[str, list[Work]] = {}
    for work in works:
        groups.setdefault(work.operation.name, []).append(work)
    return [tuple(group) for group in groups.values()]


def operation_page(
    course: Course, student: Student, works: Sequence[Work], number: int, rows: Sequence[FitRow]
) -> OperationPage:
    """The sheet of one operation for one student, for all assemblies it is done on.

    Args:
        number: Of the sheet.
        rows: Everything the student reads, of which the sheet shows what is read after this operation.
    """
    operation, values = works[0].operation, course.values(student)
    chosen = choose(course, student, operation)
    route = chosen.route
    powered = bool(route and route.powered)
    found = cautions_of(works, route)
    placed = {one for step in route.steps for one in step.cautions} if route else set()
    setups = list(_setups(works, course, values, route.name if route else "machine", student.shown))
    texts = _Texts(course, works, values, student.shown)
    return OperationPage(
        number, operation.title, _titles(works), _labels(works), f"{route.station}, {route.tool}" if route else "",
        ", ".join(operation.tools), texts.of(operation.before_start, route.before_start if route else ()),
        tuple(_releases(works)), tuple(row for row, _ in setups),
        "; ".join(dict.fromkeys(w for _, waits in setups for w in waits)),
        tuple(drawings_of(course, student, works, before_reading(works, course.cabinet, values), route)),
        tuple(_condensed(found, powered)),
        tuple(sorted((_row(c) for c in found if c.id not in placed and not _short(c, powered)), key=_gravest)),
        tuple(_steps(route.steps, found, texts)) if route else (),
        "" if route or not chosen.machine else deferral(
            "sign_off.missing", machine=chosen.machine, missing=chosen.missing
        ),
        chosen.barred, operation.stance.get((route.name, student.hand), "") if route else "",
        texts.of(operation.mistakes, route.mistakes if route else ()), texts.of(operation.right_when),
        _checks(course, works, rows), _coach(course, student, works, route, rows), powered,
        tuple(_closing(course, route)) if powered and route else (),
    )  # fmt: skip


def _titles(works: Sequence[Work]) -> str:
    return ", ".join(dict.fromkeys(a.title for work in works for a in work.assemblies))


def _labels(works: Sequence[Work]) -> str:
    return ", ".join(dict.fromkeys(unbroken(p.label) for work in works for p in work.parts))


def unbroken(label: str) -> str:
    """A label that stays on one line."""
    return label.replace("-", "\u2011")


def cautions_of(works: Sequence[Work], route: Route | None) -> tuple[Caution, ...]:
    """Every caution of an operation by one route; none when there is no route or nothing can hurt."""
    names = tuple(dict.fromkeys(n for w in works for n in w.cautions(route.name))) if route else ()
    return cautions_for(names, bool(route and route.powered)) if names else ()


def _read_condensed() -> dict[str, str]:
    text = (files("lessons") / "templates" / "condensed.yaml").read_text(encoding="utf-8")
    node = read_yaml(text, "condensed.yaml").get("cautions")
    assert isinstance(node, Items)
    rows = [row for row in node if isinstance(row, Mapping)]
    return {row.text("family"): " ".join(row.text("text").split()) for row in rows}


CONDENSED = _read_condensed()
"""Warnings that are the same at every machine, by family, in few words."""


def _short(caution: Caution, powered: bool) -> bool:
    """Whether a caution is printed in few words here, and in full on the safety page.

    By hand only those general ones are printed that concern everyone in the shop, in full.
    """
    return caution.family in CONDENSED and (powered or caution.family != GENERAL)


def _condensed(found: Sequence[Caution], powered: bool) -> Iterator[str]:
    families = {caution.family for caution in found if _short(caution, powered)}
    yield from (text for family, text in CONDENSED.items() if family in families)


def _row(caution: Caution) -> CautionRow:
    return CautionRow(caution.severity, caution.text)


def _gravest(row: CautionRow) -> int:
    return SEVERITIES.index(row.severity)


def _releases(works: Sequence[Work]) -> Iterator[Release]:
    """Operations right before this one whose check must be passed."""
    seen: set[str] = {works[0].operation.name}
    for work in works:
        for earlier, _ in work.follows:
            if earlier.operation.hold and earlier.operation.name not in seen:
                seen.add(earlier.operation.name)
                checks = ", ".join(name.replace("_", " ") for name in earlier.operation.hold)
                yield Release(earlier.operation.title, checks)


# -- numbers ---------------------------------------------------------------------------------------------


def _setups(
    works: Sequence[Work], course: Course, values: Values, route: str, shown: Shown
) -> Iterator[tuple[SetupRow, tuple[str, ...]]]:
    """Numbers of the same name on one line, with what each rests on that is not measured yet."""
    groups: dict[tuple[str, str, str], list[tuple[SetupNumber, Work]]] = {}
    for work in works:
        for number in setup_numbers(work, course.cabinet, values, route):
            groups.setdefault((number.name, number.where, number.why), []).append((number, work))
    for (name, where, why), numbers in groups.items():
        said: dict[str, list[str]] = {}
        waits: list[str] = []
        for number, work in numbers:
            of = _labels_of(course, number) or number.of or ((_titles([work]),) if len(works) > 1 else ())
            said.setdefault(number.shown(shown), []).extend(of)
            waits += _unread(course, values, number.names, work)
        found = tuple(
            SetupValue(", ".join(dict.fromkeys(of)) if len(said) > 1 else "", text) for text, of in said.items()
        )
        yield SetupRow(name, found, where, why, bool(waits)), tuple(dict.fromkeys(waits))


def _labels_of(course: Course, number: SetupNumber) -> tuple[str, ...]:
    """Labels of the parts a number is for, when it is for more than one."""
    titles = part_labels(course)
    return (
        tuple(unbroken(titles[t]) for t in number.of) if len(number.of) > 1 and set(number.of) <= titles.keys() else ()
    )


def part_labels(course: Course) -> dict[str, str]:
    """Labels of the parts by the titles under which set-up numbers name them."""
    titles = {part.title: part.label for part in course.cabinet.parts}
    for part in course.cabinet.parts:
        titles[f"{course.cabinet.assemblies[part.assembly].title} {part.title}"] = part.label
    return titles


def _unread(course: Course, values: Values, names: Iterable[str], work: Work) -> list[str]:
    """What must be measured before a number holds, in words; what this work itself makes is left out."""
    graph, own = course.cabinet.graph, {assembly.name for assembly in work.assemblies}
    waits = [
        other
        for name in names
        for other in values.rests_on(name)
        if (read := graph[other].read) and read.first and values.given(other) is None
    ]
    nearest = [n for n in waits if not any(n != other and n in values.rests_on(other) for other in waits)]
    return [_said(course, name) for name in sorted(nearest) if _owner(course, name) not in own]


def _owner(course: Course, name: str) -> str:
    opening = course.cabinet.openings.get(name.rpartition(".")[0])
    if opening:
        return opening.owner
    return next((a for a in course.cabinet.assemblies if name.startswith(f"{a}.")), "")


def _said(course: Course, name: str) -> str:
    owner, _, size = name.rpartition(".")
    opening = course.cabinet.openings.get(owner)
    return f"{size} of {opening.says}" if opening else course.cabinet.graph[name].says


class _Texts:
    """Fills the sizes in the texts of an operation."""

    def __init__(self, course: Course, works: Sequence[Work], values: Values, shown: Shown) -> None:
        self.course, self.values, self.shown = course, values, shown
        self.assemblies = list(dict.fromkeys(a for work in works for a in work.assemblies))

    def of(self, *lists: Sequence[str]) -> tuple[str, ...]:
        """The texts of some lists, one after the other, as Markdown."""
        return tuple(self.filled(text) for texts in lists for text in texts)

    def filled(self, text: str) -> str:
        """The text as Markdown, each size box replaced by this student's number."""
        return BOX.sub(lambda box: self.size(box[2]) if box[1] == "size" else "", text).replace("|", "\\|")

    def size(self, name: str) -> str:
        """One number, or one for each assembly when they differ."""
        said: dict[str, list[str]] = {}
        for assembly in self.assemblies:
            value = self.values.formula_value(self.course.cabinet.formula(name, assembly.name))
            assert isinstance(value, Fraction)
            said.setdefault(self.shown.size(value), []).append(assembly.title)
        if len(said) == 1:
            return next(iter(said))
        return ", ".join(f"{text} ({', '.join(titles)})" for text, titles in said.items())


# -- steps, checks, drawings -----------------------------------------------------------------------------


def _steps(steps: Sequence[Step], found: Sequence[Caution], texts: _Texts) -> Iterator[StepRow]:
    by_id = {caution.id: caution for caution in found}
    for number, step in enumerate(steps, 1):
        rows = sorted((_row(by_id[one]) for one in step.cautions if one in by_id), key=_gravest)
        yield StepRow(number, texts.filled(step.text), tuple(rows))


def _closing(course: Course, route: Route) -> Iterator[str]:
    yield deferral("authority")
    if route.sign_off:
        yield deferral("sign_off.signed", machine=" and for ".join(signed_for(course, route)))


def _checks(course: Course, works: Sequence[Work], rows: Sequence[FitRow]) -> tuple[CheckRow, ...]:
    """What is read at the end of the operation, where there is a check for it."""
    wanted = {name for work in works for name in readings(work, course.cabinet)}
    return tuple(check_row(row) for row in rows if row.quantity in wanted)


def _coach(
    course: Course, student: Student, works: Sequence[Work], route: Route | None, rows: Sequence[FitRow]
) -> tuple[CoachGrid, ...]:
    """What to move after a test cut; in large print one table below the other."""
    tables = coach_tables(course, student, works, route.name, rows) if route else ()
    return grids(tables, 1 if student.large_print else 3)


def check_row(row: FitRow) -> CheckRow:
    """A line of a check as printed."""
    allowed = f"{row.lower} to {row.upper}" if row.lower else row.upper or "write it down"
    return CheckRow(row.title, row.what, row.target, allowed, row.instrument, row.who, row.places, row.second)
