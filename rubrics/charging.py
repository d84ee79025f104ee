"""One mistake charged once: what of a result came from a size charged elsewhere, from others, or from a new reading."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from fractions import Fraction

from course.course import Course
from course.formula import Formula
from course.quantities import Given, Origin, Values
from course.readings import reduced
from course.roster import Student
from rubrics.checks import Check
from rubrics.marks import NOTHING, beyond, off_aim
from rubrics.measured import Measured


@dataclass(frozen=True, slots=True)
class Charged:
    """A size that is not to be charged again."""

    target: Fraction
    """Where it should be. [mm]"""
    titles: tuple[str, ...]
    """The checks it is charged at, or who made it."""


def charged_in_order(checks: Sequence[Check]) -> list[Check]:
    """What is read first, then what rests on it: gaps after the parts and the gaps that give them, results last."""
    by_size = {check.reads[0][0]: check for check in checks if check.formula is None and check.kind != "spread"}

    def behind(check: Check, seen: tuple[Check, ...] = ()) -> int:
        """How many gaps stand one behind the other before this one."""
        if check.parts_give is None or check in seen:
            return 0
        before = [by_size[name] for name in check.parts_give.names if name in by_size]
        return 1 + max((behind(one, (*seen, check)) for one in before), default=0)

    return sorted(checks, key=lambda check: (check.formula is not None, behind(check)))


def others_sizes(course: Course, check: Check, student: Student, values: Values) -> dict[str, Charged]:
    """Sizes that somebody else made and that a check rests on; a fit is made to what was there before.

    So the groove of an instructor is not taken out of the fit of a student's tenon, whose size follows it; a partner's
    tenon is taken out of the fit in a student's groove, and a partner's rail out of the gap that it leaves.
    """
    if not course.made or (check.formula is None and check.parts_give is None):
        return {}
    names = [name for name, _, _ in check.reads]
    if check.parts_give is not None:
        names = [name for name in values.found if name in values.behind(check.parts_give.names)]
    makers = {name: by for name in names if (by := course.made_by(student, name))}
    if check.kind == "fit" and check.formula is not None:
        followed = values.behind([inner for name in names if name not in makers for inner in values.inputs(name)])
        makers = {name: by for name, by in makers.items() if name not in followed}
    return {name: Charged(values.target_number(name), (f"made by {by}",)) for name, by in makers.items()}


def charged_elsewhere(
    check: Check, measured: Measured, charged: Mapping[str, Charged], values: Values
) -> tuple[Fraction, tuple[str, ...]]:
    """What readings that are charged at checks of their own, or to nobody, add to a difference or fit; and where.

    Found by working the check out again with each such reading where it should be; nothing when that is no better.

    Args:
        check: One that is worked out of several readings, or that says what the parts give; others give nothing.
        measured: Its result.
        charged: What is charged elsewhere, by quantity.
        values: The student's cabinet.
    """
    if check.parts_give is not None:
        return _charged_at_its_parts(check, check.parts_give, measured, charged, values)
    blamed = [name for name, _, _ in check.reads if name in charged]
    if check.formula is None or not blamed:
        return NOTHING, ()
    mended, index = list(values.all), values.graph.index
    for name, _, _ in check.reads:
        read = [one.value for one in measured.readings if one.quantity == name and one.value is not None]
        mended[index[name]] = charged[name].target if name in charged else reduced(read, values.graph[name].read)[0]
    value = check.formula.number(mended)
    if beyond(check, value - measured.target) >= beyond(check, measured.deviation):
        return NOTHING, ()
    return measured.value - value, _titles(charged, blamed)


def _charged_at_its_parts(
    check: Check, parts_give: Formula, measured: Measured, charged: Mapping[str, Charged], values: Values
) -> tuple[Fraction, tuple[str, ...]]:
    """As `charged_elsewhere` for a reading of what its parts make: a short rail is not charged again at the gap.

    As much of it as there is: what the parts give may lie on the other side, or be planed away.
    """
    behind = values.behind(parts_give.names)
    blamed = [name for name in charged if name in behind]
    if not blamed:
        return NOTHING, ()
    right = _as_it_should_be(values, {name: charged[name].target for name in blamed}, behind)
    adds = parts_give.number(values.all) - parts_give.number(right.all)
    off = off_aim(check, measured.deviation)
    if adds * off <= 0:
        return NOTHING, ()
    return (min(adds, off) if off > 0 else max(adds, off)), _titles(charged, blamed)


def _as_it_should_be(values: Values, sizes: Mapping[str, Fraction], behind: Set[str]) -> Values:
    """The cabinet with some sizes where they should be; what was made to them moves along, its own error kept.

    Rails that were cut to narrow stiles are right for those stiles, and would be shorter by as much for others.

    Args:
        values: As it was measured.
        sizes: Where they should be, by quantity. [mm]
        behind: What is looked at.
    """
    right, known = values, behind & {*values.found, *sizes}
    for name in [quantity.name for quantity in values.graph.in_order() if quantity.name in known]:
        target = values.target(name)
        if not isinstance(target, Fraction):
            continue
        size = sizes.get(name, values.number(name)) + right.target_number(name) - target
        right = right.with_given(right.settings, {**right.found, name: Given(size, Origin.READING)})
    return right


def _titles(charged: Mapping[str, Charged], names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(title for name in names for title in charged[name].titles))


def read_anew_since(
    check: Check, attempt: int, course: Course, student: Student, values: Values
) -> tuple[Fraction, tuple[str, ...]]:
    """By how much a target moved since a size was made to it, because what it rests on was read anew; and what was.

    A rail that was right for the case as it was on record costs nothing when the case is read differently later. What
    was read for the first time since is no excuse: it was to be read before.
    """
    name = check.reads[0][0]
    behind = values.behind(check.target.names if check.target else values.inputs(name)) - {name}
    then = {
        other: given
        for other, given in course.read_when(student, name, attempt).items()
        if other in behind and other in values.found and values.found[other].value != given.value
    }
    if not then:
        return NOTHING, ()
    past = values.with_given(values.settings, {**values.found, **then})
    before, now = (
        check.target.number(v.all) if check.target else v.target_number(name) for v in (past, values)
    )
    titles = tuple(f"{values.graph[other].says} was read anew since" for other in then)
    return before - now, titles


def not_read_before(check: Check, values: Values) -> tuple[str, ...]:
    """What a size follows that was to be read before it and was not, in words; so it was judged by the plan alone."""
    if check.kind != "size":
        return ()
    found: list[str] = []
    todo = list(check.target.names if check.target else values.inputs(check.reads[0][0]))
    while todo:
        name = todo.pop(0)
        if values.given(name) is not None:
            continue
        read = values.graph[name].read
        if read and read.first:
            found.append(values.graph[name].says)
        else:
            todo += values.inputs(name)
    return tuple(dict.fromkeys(found))
