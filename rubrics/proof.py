"""Said before the lesson of fit checks: bands that no reading could prove, and bands that an ordinary error breaks.

The one since its instrument cannot judge it, the other since so much of an error made elsewhere arrives there. `proof`
is one more reader for the command `check`; it stops nothing. Each rule is one function, and all stand in `RULES`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.course import Course, whom
from course.quantities import Given, Origin, Values
from course.roster import Student
from rubrics.check_files import STAGES, TOOLS, read_checks
from rubrics.checks import Check, checks_of, every_check
from rubrics.decide import can_decide, guard_band
from rubrics.feedback import read_words
from rubrics.grading_rules import read_rules
from rubrics.instruments import Instrument, instrument, instruments
from rubrics.last_term import read_last_term
from rubrics.measured import result_uncertainty, tool_of
from rubrics.where import read_where
from shared.places import NOWHERE, Text
from shared.problems import InputRefused, Problem
from shared.units import INCH, SHOWN, Shown, decimal

STEP = Fraction("0.05")
"""To which an advised limit is rounded outwards. [mm]"""


@dataclass(frozen=True, slots=True)
class Unjudged:
    """A check of one student that no reading could prove."""

    check: Check
    student: Student
    guard: float
    """How far inside a limit a reading must lie to be inside for sure. [mm]"""


def judged_by_their_tools(course: Course, sure: float) -> Iterator[Problem]:
    """A problem for each kind of check that its instrument cannot judge, with whom it is about."""
    groups: dict[tuple, list[Unjudged]] = {}
    for one in unjudged(course, sure):
        check = one.check
        groups.setdefault((check.check, check.what, check.lower, check.upper, check.instrument), []).append(one)
    return (_problem(course, group, sure) for group in groups.values())


def unjudged(course: Course, sure: float) -> Iterator[Unjudged]:
    """Every check of every student whose band is narrower than its guard bands.

    Args:
        course: As read; sizes are those of choices and stock alone.
        sure: Wanted chance of being right at one limit.
    """
    for check in checks_of(course):
        for student in course.students:
            if not _judges(course, check, student, sure):
                yield Unjudged(check, student, guard_band(_expected(course, check, student), sure))


def _judges(course: Course, check: Check, student: Student, sure: float) -> bool:
    u = _expected(course, check, student)
    return can_decide(check.lower, check.upper, u, sure, never_negative=check.one_sided)


def _expected(course: Course, check: Check, student: Student) -> float:
    """Standard uncertainty that a result will have, when everything has the size it should have. [mm]"""
    values = course.without_log(student)
    sizes = {name: values.number(name) for name, _, _ in check.reads}
    return result_uncertainty(check, course, student, values, sizes, {name: places for name, places, _ in check.reads})


def _problem(course: Course, group: Sequence[Unjudged], sure: float) -> Problem:
    shown = SHOWN[course.text("units", "mm")]
    worst = max(group, key=lambda one: one.guard)
    check = worst.check
    where = ", ".join(dict.fromkeys(one.check.where for one in group))
    ids = whom(course, tuple(dict.fromkeys(one.student.id for one in group)))
    says = (
        f"{ids}: '{check.what}' of {where} is to be {_band(check, shown)}; read with the {check.instrument} it is sure "
        f"to {shown.fine(Fraction(worst.guard))} only, so no reading could prove it right"
    )
    ways = [f"write `{_wider(group, worst)}` in course.yaml", *_other_tools(course, worst, sure)]
    do = ", or ".join(ways)
    place = next(spec.place for spec in read_checks(course.folder).definitions if spec.name == check.check)
    return Problem("V020", place, says, f"{do[0].upper()}{do[1:]}.", severe=False)


def _band(check: Check, shown: Shown) -> str:
    if check.one_sided:
        return f"at most {shown.fine(check.upper)}"
    return f"within {shown.fine_bare(check.lower)} and {shown.fine(check.upper)}"


def _wider(group: Sequence[Unjudged], worst: Unjudged) -> str:
    """The narrowest band that can be judged, as `course.yaml` has it."""
    check, guard = worst.check, Fraction(worst.guard)
    name = _band_name([one.check for one in group])
    if check.one_sided:
        return f'bands: {{"{name}": {{upper: {_outwards(guard)} mm}}}}'
    extra = max(guard - (check.upper - check.lower) / 2, Fraction(0))
    lower, upper = _outwards(check.lower - extra), _outwards(check.upper + extra)
    return f'bands: {{"{name}": {{lower: {lower} mm, upper: {upper} mm}}}}'


def _band_name(checks: Sequence[Check]) -> str:
    """The narrowest name in `course.yaml` that stands for some checks."""
    names = dict.fromkeys(check.id for check in checks)
    tails = {check.id.removeprefix(f"{check.assembly}.") for check in checks}
    return next(iter(names)) if len(names) == 1 else f"*.{tails.pop()}" if len(tails) == 1 else checks[0].check


def _outwards(limit: Fraction) -> str:
    steps = math.ceil(abs(limit) / STEP) * STEP
    return decimal(steps if limit >= 0 else -steps, 2)


def _other_tools(course: Course, worst: Unjudged, sure: float) -> Iterator[str]:
    """An instrument of the shop that reaches and can judge it, and a finer one of the same kind."""
    check, student = worst.check, worst.student
    values = course.without_log(student)
    longest = max(values.number(name) for name, _, _ in check.reads)
    for word in TOOLS:
        tool = instrument(tool_of(word, course, student), course.folder)
        other = replace(check, reads=tuple((name, places, word) for name, places, _ in check.reads))
        if tool.longest >= longest and _judges(course, other, student, sure):
            yield f"read it with the {word}"
            break
    for word in TOOLS:
        kind = instrument(tool_of(word, course, student), course.folder).kind
        for name, tool in sorted(instruments(course.folder).items(), key=lambda item: item[1].hook_error):
            finer = replace(course, settings={**course.settings, f"shop.instruments.{word}": Text(name, NOWHERE)})
            if tool.kind == kind and _read_by(tool, student) and _judges(finer, check, student, sure):
                yield f"write `shop: {{instruments: {{{word}: {name}}}}}` if the shop has one"
                return


def _read_by(tool: Instrument, student: Student) -> bool:
    """Whether an instrument is divided in the student's units: a part of an inch, or hundredths of a millimetre."""
    if student.unit == "in":
        return (tool.graduation / INCH).numerator == 1
    return (tool.graduation * 100).denominator == 1


@dataclass(frozen=True, slots=True)
class Reach:
    """An ordinary error of one thing that breaks a check of another. Lengths in mm."""

    check: Check
    student: Student
    quantity: str
    """What is off."""
    own: Check
    """The check that reads it."""
    off: Fraction
    """How far an ordinary error puts it off: as far as its own check lets pass, or as far as its reading is sure to."""
    arrives: Fraction
    """How far the result of the check is from its target then."""

    @property
    def by_reading(self) -> bool:
        """Whether the size follows what was read, so that it is an error of reading that arrives."""
        return self.check.kind == "size"


def reached_by_an_ordinary_error(course: Course, sure: float) -> Iterator[Problem]:
    """A problem for each kind of check that one ordinary error breaks, with whom it is about."""
    groups: dict[tuple, list[Reach]] = {}
    for one in reaches(course, sure):
        groups.setdefault((one.check.check, one.check.what), []).append(one)
    return (_reach_problem(course, group, sure) for group in groups.values())


def reaches(course: Course, sure: float) -> Iterator[Reach]:
    """Every check of every student that one ordinary error breaks, all else made as it should be.

    What is read at a later stage reaches nothing that was made before.

    Sizes that are made later follow what is read, so what they make good does not arrive. A size follows readings, so
    an error of reading arrives there; another result rests on what was made, and what the check of that lets pass
    arrives. A gap that is read itself does not change with what is only written down beside it. Checks that their
    tools cannot judge are told already.
    """
    checks = every_check(course)
    asked: dict[str, Check] = {}
    for check in checks:
        for name in _read(check) if check.kind in ("size", "measure") else ():
            asked.setdefault(name, check)
    known: dict[tuple, list[Reach]] = {}
    for student in course.students:
        values = course.without_log(student)
        alike = (student.unit, tuple(sorted((name, str(given.value)) for name, given in values.settings.items())))
        if alike not in known:
            judged = [c for c in checks if c.kind not in ("measure", "spread") and _judges(course, c, student, sure)]
            known[alike] = [
                one for name, own in asked.items() for one in _reached(course, student, values, judged, name, own, sure)
            ]
        yield from (replace(one, student=student) for one in known[alike])


def _read(check: Check) -> tuple[str, ...]:
    return tuple(name for name, _, _ in check.reads)


def _reached(
    course: Course, student: Student, values: Values, judged: Sequence[Check], name: str, own: Check, sure: float
) -> Iterator[Reach]:
    first = STAGES.index(own.stage)
    later = [check for check in judged if check.id != own.id and STAGES.index(check.stage) >= first]
    behind = [check for check in later if name in _behind(check, values) and not _beside(own, check)]
    if not behind:
        return
    sure_to = _sure_to(course, student, values, own, name, sure)
    passed = (own.lower, own.upper) if own.kind == "size" else (-sure_to, sure_to)
    moved = {off: _put(values, name, off) for off in dict.fromkeys((*passed, -sure_to, sure_to))}
    for check in behind:
        offs = (-sure_to, sure_to) if check.kind == "size" else passed
        for off in offs:
            arrives = _result(check, moved[off], values) - _result(check, values, values)
            if arrives > check.upper or (arrives < check.lower and not check.one_sided):
                yield Reach(check, student, name, own, off, arrives)
                break


def _beside(own: Check, check: Check) -> bool:
    """Whether the one is only written down and the other is read itself, not worked out."""
    return own.kind == "measure" and check.kind == "fit" and check.formula is None


def _behind(check: Check, values: Values) -> frozenset[str]:
    """What a check rests on: its own size when it was worked out, its formula, and its target."""
    names = [name for formula in (check.formula, check.target) if formula for name in formula.names]
    names += () if check.formula else values.inputs(check.reads[0][0]) if check.kind == "size" else _read(check)
    return frozenset().union(*(values.rests_on(name) for name in names))


def _sure_to(course: Course, student: Student, values: Values, own: Check, name: str, sure: float) -> Fraction:
    """How far a reading is sure to. [mm]"""
    places = next(places for read, places, _ in own.reads if read == name)
    word = next(word for read, _, word in own.reads if read == name)
    alone = replace(own, kind="measure", formula=None, reads=((name, places, word),))
    u = result_uncertainty(alone, course, student, values, {name: values.number(name)}, {name: places})
    return Fraction(str(round(guard_band(u, sure), 4)))


def _put(values: Values, name: str, off: Fraction) -> Values:
    size = Given(values.number(name) + off, Origin.READING)
    return values.with_given(values.settings, {**values.found, name: size})


def _result(check: Check, moved: Values, base: Values) -> Fraction:
    """How far a check's result is from its target; of a size what it should be, less what it should have been."""
    name = check.reads[0][0]
    if check.kind == "size":
        return _number(check, moved) - _number(check, base)
    value = check.formula.run(moved.all) if check.formula else moved[name]
    target = check.target.run(moved.all) if check.target else Fraction(0)
    assert isinstance(value, Fraction) and isinstance(target, Fraction)
    return value - target


def _number(check: Check, values: Values) -> Fraction:
    value = check.target.run(values.all) if check.target else values.target(check.reads[0][0])
    assert isinstance(value, Fraction)
    return value


def _reach_problem(course: Course, group: Sequence[Reach], sure: float) -> Problem:
    shown = SHOWN[course.text("units", "mm")]
    worst = max(group, key=lambda one: abs(one.arrives))
    check, off, arrives = worst.check, abs(worst.off), abs(worst.arrives)
    where = ", ".join(dict.fromkeys(one.check.where for one in group))
    ids = whom(course, tuple(dict.fromkeys(one.student.id for one in group)))
    alike = [one for one in group if one.quantity.rpartition(".")[2] == worst.quantity.rpartition(".")[2]]
    names = ", ".join(dict.fromkeys(one.quantity for one in alike))
    cause = (
        f"its size follows {names}, read with the {_word(worst)} sure to {shown.fine(off)}"
        if worst.by_reading
        else f"{names} may be {shown.fine(off)} off by its own check"
    )
    says = (
        f"{ids}: '{check.what}' of {where} is to be {_band(check, shown)}; {cause}, and {shown.fine(arrives)} "
        "arrives here, so an ordinary error fails it"
    )
    ways = [f"write `{_wide_enough(group, worst)}` in course.yaml"]
    ways += _nearer(course, group, worst, sure) if len(alike) == len(group) else ()
    do = ", or ".join(ways)
    place = next(spec.place for spec in read_checks(course.folder).definitions if spec.name == check.check)
    return Problem("V021", place, says, f"{do[0].upper()}{do[1:]}.", severe=False)


def _word(reach: Reach) -> str:
    return next(word for name, _, word in reach.own.reads if name == reach.quantity)


def _wide_enough(group: Sequence[Reach], worst: Reach) -> str:
    """The narrowest band that such an error keeps, as `course.yaml` has it."""
    check, limit = worst.check, _outwards(abs(worst.arrives))
    name = _band_name([one.check for one in group])
    if check.one_sided:
        return f'bands: {{"{name}": {{upper: {limit} mm}}}}'
    lower = min(check.lower, -Fraction(limit))
    upper = max(check.upper, Fraction(limit))
    return f'bands: {{"{name}": {{lower: {decimal(lower, 2)} mm, upper: {decimal(upper, 2)} mm}}}}'


def _nearer(course: Course, group: Sequence[Reach], worst: Reach, sure: float) -> Iterator[str]:
    """Another instrument for the reading that arrives, or a narrower band for what was made."""
    values = course.without_log(worst.student)
    share = abs(worst.arrives / worst.off)
    least = worst.check.upper if worst.check.one_sided else min(worst.check.upper, -worst.check.lower)
    if not worst.by_reading:
        limit = decimal(math.floor(least / share / STEP) * STEP, 2)
        name = _band_name([one.own for one in group])
        yield f'hold what was made closer: `bands: {{"{name}": {{lower: -{limit} mm, upper: {limit} mm}}}}`'
        return
    for word in TOOLS:
        reads = tuple((name, places, word) for name, places, _ in worst.own.reads)
        tool = instrument(tool_of(word, course, worst.student), course.folder)
        if tool.longest < values.number(worst.quantity):
            continue
        own = replace(worst.own, reads=reads)
        if _sure_to(course, worst.student, values, own, worst.quantity, sure) * share <= least:
            yield f"read {worst.quantity} with the {word}"
            return


Rule = Callable[[Course, float], Iterator[Problem]]

def own_files_can_be_read(course: Course, sure: float) -> Iterator[Problem]:
    """Words of feedback, words below sketches, and figures of the last term: what stops a command later is said now."""
    readers = (lambda: read_words(course.folder), lambda: read_where(course.folder), lambda: read_last_term(course))
    for read in readers:
        try:
            read()
        except InputRefused as refused:
            yield from (replace(problem, severe=False) for problem in refused.problems)


def never_less_than_nothing(course: Course, sure: float) -> Iterator[Problem]:
    """What is read should be something by the plan: nobody can read a gap that is less than nothing."""
    who: dict[tuple[str, str], list[str]] = {}
    shown = SHOWN[course.text("units", "mm")]
    for student in course.students:
        values = course.without_log(student)
        for name in dict.fromkeys(name for check in checks_of(course) for name, _, _ in check.reads):
            if name in values and values.number(name) < 0:
                who.setdefault((name, shown.size(values.number(name))), []).append(student.id)
    for (name, size), ids in who.items():
        says = f"{whom(course, ids)}: {name} is to be read, and by the plan it would be {size}"
        do = "See with `fairfit why` where it comes from, and change the size in the plan that makes it so."
        yield Problem("V022", course.cabinet.graph[name].place, says, do, severe=False)


RULES: tuple[Rule, ...] = (
    never_less_than_nothing, judged_by_their_tools, reached_by_an_ordinary_error, own_files_can_be_read,
)  # fmt: skip


def proof(course: Course) -> tuple[Problem, ...]:
    """What is wrong with the bands of a course, by its wanted chance of being right, and with its own words."""
    sure = read_rules(course.folder, course.settings).sure
    return tuple(problem for rule in RULES for problem in rule(course, sure))
