"""What the figures of a class say, check by check, and what to look at first, in plain words.

The set-up of the class stands in all figures here: they show the work as it came out, not the marks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from rubrics.check_files import STAGES
from rubrics.checks import Check, limit_of
from rubrics.class_figures import Capability, Interval, capability, mean, sd, share_inside, share_interval
from rubrics.compare import ENOUGH, far_off, mean_interval
from rubrics.decide import Verdict
from rubrics.marks import Grades, Mark, Setup, off_aim, signed
from shared.units import Shown

HOLDS = 1
"""Cpk from which a way of working holds its limits, 3 deviations to the nearer one: common practice."""
SLIP = 0.05
"""Chance of naming a result in a class without any slip, shared out over all results (Bonferroni): our choice."""
SEEN, MOST = Fraction(4, 5), 5
"""Share inside below which scattered work is told among the first things, and how many of such: our choice."""


@dataclass(frozen=True, slots=True)
class Point:
    """One student's result of one check."""

    mark: Mark
    scaled: float
    """Distance from the middle of the band, in limits."""
    inside: bool
    far: bool
    """Far from the others: worth a second look, and never removed."""


@dataclass(frozen=True, slots=True)
class CheckFigures:
    """What a class made of one check, by the attempts that count. Lengths in mm."""

    check: Check
    points: tuple[Point, ...]
    asked: int
    """Students of the class."""
    mean: Fraction | None
    mean_between: Interval | None
    sd: float | None
    inside: int
    inside_between: Interval | None
    capability: Capability | None
    """None for a check with one limit, whose results pile up at nothing, and where nothing differs."""
    setup: Setup | None
    too_coarse: int
    """Results that the tool cannot decide."""

    @property
    def enough(self) -> bool:
        """Whether there are results enough to speak of a class."""
        return len(self.points) >= ENOUGH

    @property
    def nobody_inside(self) -> bool:
        """Whether nobody keeps the limits."""
        return self.enough and not self.inside

    @property
    def everyone_inside(self) -> bool:
        """Whether everybody keeps the limits."""
        return self.enough and self.inside == len(self.points)

    @property
    def says(self) -> str:
        """The figures in a few words; empty when they say nothing yet."""
        if not self.enough:
            return "too few to say" if self.points else ""
        if self.setup:
            return "shared: the set-up"
        if self.nobody_inside:
            return "nobody inside"
        if self.capability is None:
            few = self.inside_between and self.inside_between.high < SEEN
            return "everyone inside" if self.everyone_inside else "few inside" if few else ""
        if self.capability.cpk_interval.low >= HOLDS:
            return "holds with room"
        if self.capability.cpk_interval.high < HOLDS:
            return "off the middle" if (self.capability.cp or 0) >= HOLDS else "scatters"
        return "cannot be told yet"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the class tells, with the names that only an instructor reads."""

    words: str
    names: tuple[str, ...] = ()


def class_figures(grades: Grades) -> tuple[CheckFigures, ...]:
    """The figures of every check, in the order of the work."""
    marks: dict[str, list[Mark]] = {check.id: [] for check in grades.checks}
    for student in grades.students:
        for mark in student.marks:
            marks[mark.check.id].append(mark)
    chance = SLIP / max(1, sum(map(len, marks.values())))
    return tuple(_figures(check, marks[check.id], grades, chance) for check in grades.checks)


def scaled(check: Check, deviation: Fraction) -> float:
    """A deviation in limits, from the middle of the band, or from nothing where there is an upper limit only."""
    middle = Fraction(0) if check.one_sided else (check.upper + check.lower) / 2
    return float((deviation - middle) / limit_of(check))


def _figures(check: Check, marks: Sequence[Mark], grades: Grades, chance: float) -> CheckFigures:
    off = [mark.deviation for mark in marks]
    lower, count = None if check.one_sided else check.lower, len(off)
    far = far_off(off, limit_of(check), chance, 0 if check.one_sided else None)
    points = tuple(
        Point(mark, scaled(check, one), share_inside([one], lower, check.upper) == 1, place in far)
        for place, (mark, one) in enumerate(zip(marks, off, strict=True))
    )
    spread = sd(off) if count > 1 else None
    inside = sum(point.inside for point in points)
    return CheckFigures(
        check, points, len(grades.students), mean(off) if off else None,
        mean_interval(off) if spread is not None else None, spread, inside,
        share_interval(inside, count) if count else None,
        capability(off, lower, check.upper) if spread and not check.one_sided else None,
        next((setup for setup in grades.setups if setup.check is check and not setup.group), None),
        sum(mark.certainty.verdict is Verdict.CANNOT_TELL for mark in marks),
    )  # fmt: skip


def findings(grades: Grades, figures: Sequence[CheckFigures], shown: Shown) -> tuple[Finding, ...]:
    """What to look at, the widest first.

    Args:
        grades: All marks.
        figures: Of every check.
        shown: In whose units lengths are said.
    """
    return (
        *_setups(grades.setups, shown), *_nobody_inside(figures), *_leaning(figures, shown),
        *_off_middle(figures, shown), *_scattering(figures), *_far(figures), *_coarse(figures),
        *_everyone_inside(figures),
    )  # fmt: skip


def _setups(setups: Iterable[Setup], shown: Shown) -> Iterator[Finding]:
    """Shifts that most of a class, or of a group of it, shares; those of one kind of thing together."""
    groups: dict[tuple[str, str, bool, str], list[Setup]] = {}
    for setup in setups:
        if setup.cause is None:
            key = (setup.check.check, setup.check.what, setup.shift > 0, setup.group)
            groups.setdefault(key, []).append(setup)
    for (_, what, over, who), group in groups.items():
        sharing, measured = sum(one.sharing for one in group), sum(one.measured for one in group)
        sizes = list(dict.fromkeys(shown.fine(abs(one.shift)) for one in sorted(group, key=lambda one: abs(one.shift))))
        size = sizes[0] if len(sizes) == 1 else f"{sizes[0]} to {sizes[-1]}"
        where = _listed([one.check.where for one in group])
        sharers, side = f"group '{who}'" if who else "the class", "over" if over else "under"
        yield Finding(
            f"Most of {sharers} is {size} {side} at '{what}' ({where}): look at "
            f"{group[0].check.look_at}, not at the students. {sharing} of {measured} results share it; it is taken "
            "out before grading."
        )


def _nobody_inside(figures: Iterable[CheckFigures]) -> Iterator[Finding]:
    for one in figures:
        if one.nobody_inside and one.setup is None:
            yield Finding(
                f"Nobody keeps the limits at '{one.check.title}' (0 of {len(one.points)}): look at the limit, the tool "
                "and how it was shown, before you look at anybody's work."
            )


def _leaning(figures: Iterable[CheckFigures], shown: Shown) -> Iterator[Finding]:
    """Means that chance does not explain and that are no set-up by the rule."""
    for one in figures:
        if one.enough and one.setup is None and not one.check.one_sided and one.mean_between and one.mean is not None:
            off = off_aim(one.check, one.mean)
            wanted = one.mean - off
            far = abs(off) >= limit_of(one.check) / 2
            if far and not one.mean_between.low <= float(wanted) <= one.mean_between.high:
                side = "over" if off > 0 else "under"
                low, high = sorted(abs(Fraction(end) - wanted) for end in (one.mean_between.low, one.mean_between.high))
                yield Finding(
                    f"The class leans {side} at '{one.check.title}', by {shown.fine(abs(off))} in the "
                    f"mean (between {shown.fine(low)} and {shown.fine(high)}). It is not shared enough to be called "
                    f"the set-up, so nothing is taken out; look at {one.check.look_at} all the same."
                )


def _off_middle(figures: Iterable[CheckFigures], shown: Shown) -> Iterator[Finding]:
    """Checks at which a class works evenly enough, and too near to one limit."""
    for what, group in _by_what(one for one in figures if one.says == "off the middle").items():
        check = group[0].check
        yield Finding(
            f"The class works evenly and too near to one limit at '{what}' "
            f"({_listed([one.check.where for one in group])}): {_inside(group)} are inside. Aim at the middle of the "
            f"limits, {signed((check.lower + check.upper) / 2, shown)} from the target."
        )


def _scattering(figures: Iterable[CheckFigures]) -> Iterator[Finding]:
    groups = _by_what(one for one in figures if one.says in ("scatters", "few inside"))
    told = {what: group for what, group in groups.items() if _share(group) < SEEN}
    if told:
        worst = sorted(told, key=lambda what: _share(told[what]))[:MOST]
        texts = [f"{what} ({_inside(told[what])} inside)" for what in worst]
        yield Finding(
            f"The work scatters more than the limits allow, around no common value: {_listed(texts)}. That is a matter "
            "of practice: show it again, and let it be measured earlier."
        )


def _by_what(figures: Iterable[CheckFigures]) -> dict[str, list[CheckFigures]]:
    """Figures of one kind of thing together."""
    groups: dict[str, list[CheckFigures]] = {}
    for one in figures:
        groups.setdefault(one.check.what, []).append(one)
    return groups


def _share(group: Sequence[CheckFigures]) -> Fraction:
    return Fraction(sum(one.inside for one in group), sum(len(one.points) for one in group))


def _inside(group: Sequence[CheckFigures]) -> str:
    return f"{sum(one.inside for one in group)} of {sum(len(one.points) for one in group)}"


def _far(figures: Iterable[CheckFigures]) -> Iterator[Finding]:
    far = [point.mark for one in figures for point in one.points if point.far]
    if far:
        count = f"{len(far)} result{' stands' if len(far) == 1 else 's stand'}"
        yield Finding(
            f"{count} far from the others and should be looked at a second time: a slip of the pen, a misread scale, "
            "or a part to be mended. None is left out of any figure. In a class without a slip chance alone names one "
            "about once in twenty classes.",
            tuple(f"{mark.student.id} {mark.check.title}" for mark in far),
        )


def _coarse(figures: Iterable[CheckFigures]) -> Iterator[Finding]:
    coarse = [one for one in figures if one.enough and one.too_coarse * 2 > len(one.points)]
    if coarse:
        tools = _listed(dict.fromkeys(f"{one.check.what}, read with the {one.check.instrument}" for one in coarse))
        yield Finding(f"The tool is too coarse to decide most results: {tools}. Use a finer one, or a wider limit.")


def _everyone_inside(figures: Iterable[CheckFigures]) -> Iterator[Finding]:
    kept = _by_what(one for one in figures if one.enough)
    whole = [what for what, group in kept.items() if all(one.everyone_inside for one in group)]
    if whole:
        yield Finding(
            f"Everyone keeps the limits at: {_listed(whole)}. Well done; a partner can see these, and the instructor's "
            "time is better spent elsewhere."
        )


def _listed(texts: Iterable[str]) -> str:
    """Texts as a sentence lists them."""
    found = list(texts)
    return found[0] if len(found) == 1 else f"{', '.join(found[:-1])} and {found[-1]}"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a class is at one stage."""

    stage: str
    measured: int
    asked: int
    inside: int
    again: int
    """Results of parts that were made again."""
    nearer: int
    """How many of those came nearer than the attempt before."""


def progress(grades: Grades, figures: Sequence[CheckFigures]) -> tuple[Progress, ...]:
    """How far the class is, stage by stage."""
    made: dict[tuple[str, str], list[Mark]] = {}
    for mark in sorted(grades.marks, key=lambda mark: mark.attempt):
        made.setdefault((mark.student.id, mark.check.id), []).append(mark)
    remade = [marks for marks in made.values() if len(marks) > 1]
    return tuple(
        Progress(
            stage, sum(len(one.points) for one in own), sum(one.asked for one in own), sum(one.inside for one in own),
            sum(marks[0].check.stage == stage for marks in remade),
            sum(marks[0].check.stage == stage and marks[-1].beyond < marks[-2].beyond for marks in remade),
        )
        for stage in STAGES
        if (own := [one for one in figures if one.check.stage == stage])
    )  # fmt: skip
