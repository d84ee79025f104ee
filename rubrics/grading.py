"""From deviations to levels and points: the student's own target, the class's set-up taken out, one mistake once.

What is not measured is blank, never zero. A size that differs from the plan because something before it differs
costs nothing: it is told once, at what was measured to be different. What is read at a later stage, as a frame after
its last fit, does not move the target of what was made before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from fractions import Fraction
from statistics import median

from course.course import Course
from course.formula import LENGTH, Formula
from course.moisture import AtMoisture, at_shop
from course.quantities import Given, Origin, Values
from course.readings import Reading, reduced
from course.roster import Student
from rubrics.check_files import STAGES
from rubrics.checks import Check, checks_of, every_check, limit_of
from rubrics.class_figures import mean, sd, share_inside
from rubrics.decide import Decision, Verdict, decide, guard_band
from rubrics.disagreements import Disagreement, allowed_apart, disagreements
from rubrics.doubts import Doubt, doubts
from rubrics.grading_rules import Level, Rules, SetupRule, read_rules
from rubrics.measured import Measured, measure_from
from shared.units import MM, Shown

NOTHING = Fraction(0)
MOISTURE_WORDS = "the moisture of the wood"
"""Where a mark says that what is taken out came from, when it was read at another moisture than the shop's."""

Results = Mapping[str, tuple[Measured, ...]]
"""What one student measured, by the id of the check."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One student's result of one check at one attempt. Lengths in mm."""

    student: Student
    check: Check
    attempt: int
    counts: bool
    """Whether this attempt is the one that counts by the policy."""
    target: Fraction
    lower: Fraction | None
    upper: Fraction
    value: Fraction
    deviation: Fraction
    """Reading less target, the set-up not taken out."""
    setup_shift: Fraction
    """What the set-up of the class adds to the reading; taken out before grading."""
    beyond: Fraction
    """How far the reading, without what is taken out, lies outside the band; negative inside."""
    limit: Fraction
    guard: Fraction
    level: Level
    points: Fraction
    certainty: Decision
    again: bool
    """The reading cannot tell this level from the next lower one: it should be measured again."""
    plan_deviation: Fraction
    """Reading less what the plan alone says."""
    readings: tuple[Reading, ...] = field(hash=False)
    elsewhere: Fraction = NOTHING
    """What a reading that loses points at a check of its own adds here; taken out, so that it is charged once."""
    charged_at: tuple[str, ...] = ()
    """Titles of those checks."""
    wood: AtMoisture | None = None
    """The size at the moisture of its reading and at the shop's, when the rule does not let their distance pass."""

    @property
    def inherited(self) -> Fraction:
        """The part of the plan deviation that came with the target: no mistake of this piece of work."""
        return self.plan_deviation - self.deviation

    @property
    def own(self) -> Fraction:
        """The part of the deviation that is graded: neither the set-up's nor charged elsewhere."""
        return self.deviation - self.setup_shift - self.elsewhere

    def not_own(self, shown: Shown = MM) -> tuple[str, ...]:
        """What of the deviation is taken out before grading, in a reader's units."""
        parts = []
        if self.setup_shift:
            parts.append(f"{signed(self.setup_shift, shown)} of it from the set-up of the class")
        if self.elsewhere:
            parts.append(f"{signed(self.elsewhere, shown)} of it not charged here: {', '.join(self.charged_at)}")
        return tuple(parts)

    def words(self, shown: Shown = MM) -> str:
        """The result in a sentence, in a reader's units."""
        parts = [signed(self.deviation, shown), *self.not_own(shown)]
        if self.again:
            parts.append("measure again: this reading cannot decide")
        if self.wood:
            parts.append(self.wood.words(shown))
        return "; ".join(parts)


def signed(value: Fraction, shown: Shown = MM) -> str:
    """A small difference with its sign; nothing has none."""
    text = shown.fine(value)
    return f"+{text}" if value > 0 and any(c in "123456789" for c in text) else text


@dataclass(frozen=True, slots=True)
class Setup:
    """A deviation that most of a class shares: the set-up is the cause. Lengths in mm."""

    check: Check
    attempt: int
    shift: Fraction
    sharing: int
    measured: int
    cause: Check | None = None
    """For a fit, the size that is off together and makes the fit so."""
    group: str = ""
    """The group of the roster that shares it; empty for the whole class."""

    @property
    def finding(self) -> str:
        """How many are off, and by how much."""
        side, who = "over" if self.shift > 0 else "under", f" in group '{self.group}'" if self.group else ""
        text = f"{self.sharing} of {self.measured}{who} are {side} by about {MM.fine(abs(self.shift))}"
        return f"{text}, from '{self.cause.title}'" if self.cause else text

    @property
    def words(self) -> str:
        """The finding in a sentence, with what is done about it."""
        return (
            f"{self.finding} at '{self.check.title}': the set-up is the cause, not the students; "
            "it is taken out before grading"
        )


@dataclass(frozen=True, slots=True)
class ClassResult:
    """What the class made of one check, by the attempts that count. Lengths in mm."""

    check: Check
    measured: int
    students: int
    mean: Fraction | None
    """Mean deviation; None when nobody measured."""
    sd: float | None
    """Of the deviations; None below two."""
    inside: Fraction | None
    """Share within the band, the set-up not taken out."""
    setups: tuple[Setup, ...]


@dataclass(frozen=True, slots=True)
class PlanDifference:
    """A thing that is not as planned, told once where it arose. Lengths in mm."""

    quantity: str
    says: str
    value: Fraction
    planned: Fraction
    by: Fraction
    """What this thing alone adds; what was before it is left out."""
    follows: tuple[tuple[Check, Fraction], ...]
    """Checks whose target followed it, and by how much; no points are lost there."""


@dataclass(frozen=True, slots=True)
class StudentGrade:
    """One student's points so far."""

    student: Student
    marks: tuple[Mark, ...]
    """Those that count, in order of the work."""
    points: Fraction
    of: Fraction
    """Points of the checks that are measured."""
    checks: int
    not_measured: tuple[Check, ...]
    waiting: tuple[Check, ...]
    """Checks that rest on a reading in doubt: blank until it is answered."""
    others: tuple[tuple[Check, str], ...]
    """Checks of what somebody else made, and who: measured, and not graded."""
    doubts: tuple[Doubt, ...]
    """Readings that look like slips."""
    apart: tuple[Disagreement, ...]
    """What two people read too far apart."""
    differences: tuple[PlanDifference, ...]

    @property
    def share(self) -> Fraction | None:
        """Points of those that could be had; None before anything is measured."""
        return self.points / self.of if self.of else None

    @property
    def worst(self) -> Mark | None:
        """The mark that lost most; None when none lost anything."""
        lost = [m for m in self.marks if m.level.share < 1]
        return min(lost, key=lambda m: (m.level.share, -m.beyond / m.limit, m.check.id)) if lost else None


@dataclass(frozen=True, slots=True)
class Grades:
    """All marks of a course."""

    course: Course
    rules: Rules
    checks: tuple[Check, ...]
    marks: tuple[Mark, ...]
    """By student, check and attempt."""
    students: tuple[StudentGrade, ...]
    classes: tuple[ClassResult, ...]
    setups: tuple[Setup, ...]


def grade(course: Course, told: Callable[[str], None] = lambda name: None) -> Grades:
    """Grade everything that is measured.

    Args:
        course: The course.
        told: Called twice with the name of each student: what was measured is worked out, and it is graded.

    Raises:
        InputRefused: The rule of grading cannot be used (`read_rules`).
    """
    rules, checks = read_rules(course.folder, course.settings), checks_of(course)
    stages = first_read(every_check(course))
    views = _by_stage(course, stages)
    raised = {s.id: doubts(course, s, course.record(s).readings) for s in course.students}
    allowed = allowed_apart(course)
    apart = {s.id: tuple(disagreements(course.record(s).readings, allowed)) for s in course.students}
    waiting = {s.id: _waiting(checks, _unsure(raised[s.id], apart[s.id]), s, views) for s in course.students}
    others = {s.id: _of_others(course, checks, s) for s in course.students}
    results = {}
    for student in course.students:
        left_out = {*waiting[student.id], *others[student.id]}
        results[student.id] = _measured(checks, views, student, left_out)
        told(student.name)
    setups = _every_setup(checks, course, results, rules.setup)
    students = []
    for student in course.students:
        students.append(_grade_student(student, checks, results[student.id], rules, setups, views, stages))
        told(student.name)
    marks = tuple(mark for _, every in students for mark in every)
    grades = tuple(
        replace(
            _held(one, waiting[one.student.id], others[one.student.id]),
            doubts=raised[one.student.id], apart=apart[one.student.id],
        )
        for one, _ in students
    )  # fmt: skip
    classes = tuple(_class_result(check, grades, setups) for check in checks)
    return Grades(course, rules, checks, marks, grades, classes, setups)


def _measured(
    checks: Sequence[Check], views: Mapping[str, Course], student: Student, left_out: Set[Check]
) -> Results:
    """What a student measured, each check against the cabinet as it stood at its stage; nothing for one left out."""
    found: dict[str, tuple[Measured, ...]] = {}
    readings = views[STAGES[0]].record(student).readings
    for stage in STAGES:
        found |= measure_from([check for check in checks if check.stage == stage], views[stage], student, readings)
    return {**found, **{check.id: () for check in left_out}}


def _of_others(course: Course, checks: Sequence[Check], student: Student) -> dict[Check, str]:
    """Checks all of whose sizes somebody else made, and who."""
    found = {}
    for check in checks if course.made else ():
        makers = [course.made_by(student, name) for name, _, _ in check.reads]
        if all(makers):
            found[check] = " and ".join(dict.fromkeys(makers))
    return found


def _unsure(raised: Iterable[Doubt], apart: Iterable[Disagreement]) -> set[str]:
    """Sizes with a reading in doubt, or read too far apart by two people."""
    return {doubt.reading.quantity for doubt in raised} | {found.low.quantity for found in apart}


def _waiting(
    checks: Sequence[Check], names: Set[str], student: Student, views: Mapping[str, Course]
) -> tuple[Check, ...]:
    """Checks whose reading, or whose target, rests on a reading in doubt."""
    if not names:
        return ()
    found = []
    for check in checks:
        values = views[check.stage].values(student)
        read = {name for name, _, _ in check.reads}
        formulas = [formula for formula in (check.formula, check.target) if formula]
        behind = [inner for name in read for inner in values.inputs(name)] + [n for f in formulas for n in f.names]
        rests = read.union(*(values.rests_on(name) for name in behind if name not in read))
        if rests & names:
            found.append(check)
    return tuple(found)


def _held(
    one: StudentGrade, waiting: tuple[Check, ...], others: Mapping[Check, str]
) -> StudentGrade:
    open_ = tuple(check for check in one.not_measured if check not in waiting and check not in others)
    held = tuple(check for check in waiting if check not in others)
    return replace(one, not_measured=open_, waiting=held, others=tuple(others.items()))


def first_read(checks: Sequence[Check]) -> dict[str, str]:
    """The stage at which each quantity is first read.

    Args:
        checks: All, those that are only read included.
    """
    found: dict[str, str] = {}
    for check in sorted(checks, key=lambda check: STAGES.index(check.stage)):
        for name, _, _ in check.reads:
            found.setdefault(name, check.stage)
    return found


def _by_stage(course: Course, stages: Mapping[str, str]) -> dict[str, Course]:
    """The course as it stood at each stage: what is read later does not move what was made before."""
    values, views = {student.id: course.values(student) for student in course.students}, {}
    for stage in reversed(STAGES):
        values = {id_: one.with_given(one.settings, _until(stage, one.found, stages)) for id_, one in values.items()}
        views[stage] = replace(course, _values=values)
    return views


def _until(stage: str, found: Mapping[str, Given], stages: Mapping[str, str]) -> dict[str, Given]:
    last = STAGES.index(stage)
    return {
        name: given
        for name, given in found.items()
        if given.origin is not Origin.READING or STAGES.index(stages.get(name, stage)) <= last
    }


def off_aim(check: Check, deviation: Fraction) -> Fraction:
    """How far a deviation lies from where one may aim: at the target, at the middle of the band, or between. [mm]

    So a class that keeps to the middle of a band that begins at its target, as a groove of 10 mm and up to 0.5 more,
    is off by nothing. Where the band does not hold its own target its middle alone is aimed at.
    """
    if check.one_sided:
        return deviation
    middle = (check.upper + check.lower) / 2
    low, high = sorted((NOTHING, middle)) if check.lower <= 0 <= check.upper else (middle, middle)
    return max(deviation - high, NOTHING) + min(deviation - low, NOTHING)


def beyond(check: Check, deviation: Fraction) -> Fraction:
    """How far a deviation lies outside the band of a check; negative inside. [mm]"""
    over = deviation - check.upper
    return over if check.one_sided else max(over, check.lower - deviation)


def _every_setup(
    checks: Sequence[Check], course: Course, results: Mapping[str, Results], rule: SetupRule
) -> tuple[Setup, ...]:
    """What the class misses together, and what only a group of the roster does: one machine, or one session."""
    found = list(find_setups(checks, list(results.values()), rule, course.plan_values))
    together = {(one.check.id, one.attempt) for one in found}
    for group in dict.fromkeys(student.group for student in course.students if student.group):
        own = [results[student.id] for student in course.students if student.group == group]
        shared = find_setups(checks, own, rule, course.plan_values)
        found += [replace(one, group=group) for one in shared if (one.check.id, one.attempt) not in together]
    return tuple(found)


def find_setups(
    checks: Sequence[Check], results: Sequence[Results], rule: SetupRule, plan: Values | None = None
) -> tuple[Setup, ...]:
    """Which checks a class misses together.

    Args:
        checks: In order of the work; a check with one limit only has no side and is passed over.
        results: One mapping for each student.
        rule: Share, number, threshold and rounding.
        plan: The cabinet by the plan alone; with it a set-up of a part is known again where that part is fitted.
    """
    found: list[Setup] = []
    for check in checks:
        attempts = sorted({m.attempt for each in results for m in each[check.id]})
        for attempt in attempts if not check.one_sided else ():
            off = [m.deviation for each in results for m in each[check.id] if m.attempt == attempt]
            shift, sharing = common_shift(off, check, rule)
            if shift:
                found.append(Setup(check, attempt, shift, sharing, len(off)))
    read = {(s.check.reads[0][0], s.attempt): s for s in found if s.check.formula is None}
    return tuple(
        setup if setup.check.kind == "size" else replace(setup, cause=_cause(setup, read, plan)) for setup in found
    )


def _cause(setup: Setup, read: Mapping[tuple[str, int], Setup], plan: Values | None) -> Check | None:
    """The size that is off together: one that the check reads, or one of the parts that make what it reads."""
    own = {name: one for (name, attempt), one in read.items() if attempt == setup.attempt}
    sizes = {name: one.check for name, one in own.items() if one.check.kind == "size"}
    if cause := next((sizes[name] for name, _, _ in setup.check.reads if name in sizes), None):
        return cause
    parts_give = setup.check.parts_give
    if plan is None or parts_give is None:
        return None
    moved, behind = plan, _behind(parts_give.names, plan)
    known = behind & own.keys()
    before = [quantity.name for quantity in plan.graph.in_order() if quantity.name in known]
    for name in before:
        off = Given(moved.number(name) + own[name].shift, Origin.READING)
        moved = moved.with_given(moved.settings, {**moved.found, name: off})
    arrives = _length(parts_give.run(moved.all)) - _length(parts_give.run(plan.all))
    nearest = [sizes[name] for name in before if name in sizes]
    return nearest[-1] if nearest and abs(setup.shift - arrives) < abs(setup.shift) else None


def common_shift(deviations: Sequence[Fraction], check: Check, rule: SetupRule) -> tuple[Fraction, int]:
    """By how much most of a class is off together, and how many are; 0 when there is no such shift. [mm]"""
    far = rule.threshold * limit_of(check)
    off = [off_aim(check, deviation) for deviation in deviations]
    for side in (1, -1):
        sharing = [each for each in off if side * each >= far]
        if sharing and len(off) >= rule.students and Fraction(len(sharing), len(off)) >= rule.share:
            return round(median(sharing) / rule.step) * rule.step, len(sharing)
    return NOTHING, 0


def _taken_out(deviation: Fraction, check: Check, setup: Setup | None) -> Fraction:
    """The shift for a reading nearer to the shifted size than to the right one; nothing for others."""
    if setup is None:
        return NOTHING
    off = off_aim(check, deviation)
    return setup.shift if abs(off - setup.shift) < abs(off) else NOTHING


def mark_of(
    student: Student,
    check: Check,
    measured: Measured,
    rules: Rules,
    setup: Setup | None = None,
    elsewhere: Fraction = NOTHING,
    charged_at: tuple[str, ...] = (),
) -> Mark:
    """The mark of one result; whether it counts is decided with the other attempts."""
    shift = _taken_out(measured.deviation - elsewhere, check, setup)
    out_of_it = shift + elsewhere
    limit, guard = limit_of(check), round(Fraction(guard_band(measured.u, rules.sure)), 4)
    out = beyond(check, measured.deviation - out_of_it)
    level = rules.level(out, limit, guard)
    lower = None if check.one_sided else measured.target + check.lower
    upper = measured.target + check.upper
    certainty = decide(measured.value - out_of_it, lower, upper, measured.u, rules.sure, check.one_sided)
    return Mark(
        student, check, measured.attempt, True, measured.target, lower, upper, measured.value, measured.deviation,
        shift, out, limit, guard, level, check.points * rules.share(level, measured.attempt), certainty,
        level != rules.level(out, limit), measured.value - measured.planned, measured.readings,
        elsewhere, charged_at,
    )  # fmt: skip


def _attempts(marks: Sequence[Mark], policy: str) -> list[Mark]:
    """The marks of one check, with the one that counts marked."""
    if not marks:
        return []
    best = max(marks, key=lambda m: (NOTHING if policy == "latest" else m.points, m.attempt))
    return [replace(mark, counts=mark is best) for mark in marks]


def _grade_student(
    student: Student,
    checks: Sequence[Check],
    results: Results,
    rules: Rules,
    setups: Sequence[Setup],
    views: Mapping[str, Course],
    stages: Mapping[str, str],
) -> tuple[StudentGrade, list[Mark]]:
    shared = {(one.check.id, one.attempt): one for one in setups if one.group in ("", student.group)}
    made: dict[str, list[Mark]] = {}
    charged: dict[str, Charged] = {}
    set_up: dict[str, Charged] = {}
    moistures = views[STAGES[0]].record(student).moistures
    for check in _charged_in_order(checks):
        marks, values = [], views[check.stage].values(student)
        excused: set[int] = set()
        blamed = {**charged, **_others_sizes(views[check.stage], check, student, values)}
        for one in results[check.id]:
            setup = shared.get((check.id, one.attempt))
            together = set_up if setup is None and (check.kind == "difference" or check.parts_give is not None) else {}
            elsewhere, titles = charged_elsewhere(check, one, {**together, **blamed}, values)
            mark = mark_of(student, check, one, rules, setup, elsewhere, titles)
            if wood := _at_shop(check, one, views[check.stage], student, moistures, rules):
                same = mark_of(student, check, one, rules, setup, wood.by, (MOISTURE_WORDS,))
                mark = better_of(mark, same, wood)
            elif check.kind == "size" and mark.level.share < 1:
                by, since = _read_anew_since(check, one.attempt, views[check.stage], student, values)
                then = mark_of(student, check, one, rules, setup, by, since)
                if by and then.beyond < mark.beyond:
                    mark, excused = then, {*excused, one.attempt}
            marks.append(mark)
        made[check.id] = _attempts(marks, rules.policy)
        if check.formula is None and check.kind != "spread":
            name = check.reads[0][0]
            for mark in made[check.id]:
                if mark.counts and mark.level.share < 1:
                    charged[name] = Charged(mark.target, (mark.check.title,))
                elif mark.counts and mark.elsewhere and mark.attempt not in excused:
                    charged[name] = Charged(mark.value - mark.elsewhere, mark.charged_at)
                if mark.counts and mark.setup_shift:
                    title = f"the set-up of the class at '{mark.check.title}'"
                    set_up[name] = Charged(mark.value - mark.setup_shift, (title,))
    marks = [mark for check in checks for mark in made[check.id]]
    counted = tuple(mark for mark in marks if mark.counts)
    points = sum((mark.points for mark in counted), NOTHING)
    of = Fraction(sum(mark.check.points for mark in counted))
    open_ = tuple(check for check in checks if not results[check.id])
    differences = plan_differences(views[STAGES[-1]].values(student), checks, rules.tell, stages)
    return StudentGrade(student, counted, points, of, len(checks), open_, (), (), (), (), differences), marks


def _charged_in_order(checks: Sequence[Check]) -> list[Check]:
    """What is read first, then what rests on it: gaps after the parts and the gaps that give them, results last."""
    by_size = {check.reads[0][0]: check for check in checks if check.formula is None and check.kind != "spread"}

    def behind(check: Check, seen: tuple[Check, ...] = ()) -> int:
        """How many gaps stand one behind the other before this one."""
        if check.parts_give is None or check in seen:
            return 0
        before = [by_size[name] for name in check.parts_give.names if name in by_size]
        return 1 + max((behind(one, (*seen, check)) for one in before), default=0)

    return sorted(checks, key=lambda check: (check.formula is not None, behind(check)))


def _read_anew_since(
    check: Check, attempt: int, course: Course, student: Student, values: Values
) -> tuple[Fraction, tuple[str, ...]]:
    """By how much a target moved since a size was made to it, because what it rests on was read anew; and what was.

    A rail that was right for the case as it was on record costs nothing when the case is read differently later. What
    was read for the first time since is no excuse: it was to be read before.
    """
    name = check.reads[0][0]
    behind = _behind(check.target.names if check.target else values.inputs(name), values) - {name}
    then = {
        other: given
        for other, given in course.read_when(student, name, attempt).items()
        if other in behind and other in values.found and values.found[other].value != given.value
    }
    if not then:
        return NOTHING, ()
    past = values.with_given(values.settings, {**values.found, **then})
    before, now = (
        check.target.run(v.all) if check.target else v.target(name) for v in (past, values)
    )
    titles = tuple(f"{values.graph[other].says} was read anew since" for other in then)
    return _length(before) - _length(now), titles


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


@dataclass(frozen=True, slots=True)
class Charged:
    """A size that is not to be charged again."""

    target: Fraction
    """Where it should be. [mm]"""
    titles: tuple[str, ...]
    """The checks it is charged at, or who made it."""


def _others_sizes(course: Course, check: Check, student: Student, values: Values) -> dict[str, Charged]:
    """Sizes that somebody else made and that a check rests on; a fit is made to what was there before.

    So the groove of an instructor is not taken out of the fit of a student's tenon, whose size follows it; a partner's
    tenon is taken out of the fit in a student's groove, and a partner's rail out of the gap that it leaves.
    """
    if not course.made or (check.formula is None and check.parts_give is None):
        return {}
    names = [name for name, _, _ in check.reads]
    if check.parts_give is not None:
        names = [name for name in values.found if name in _behind(check.parts_give.names, values)]
    makers = {name: by for name in names if (by := course.made_by(student, name))}
    if check.kind == "fit" and check.formula is not None:
        followed = _behind([inner for name in names if name not in makers for inner in values.inputs(name)], values)
        makers = {name: by for name, by in makers.items() if name not in followed}
    return {name: Charged(_length(values.target(name)), (f"made by {by}",)) for name, by in makers.items()}


def _behind(names: Iterable[str], values: Values) -> frozenset[str]:
    """Everything that some sizes rest on, themselves included."""
    return frozenset[str]().union(*(values.rests_on(name) for name in names))


def _length(value: object) -> Fraction:
    assert isinstance(value, Fraction)
    return value


def _at_shop(
    check: Check, one: Measured, course: Course, student: Student, moistures: Mapping[tuple[str, int], Fraction],
    rules: Rules,
) -> AtMoisture | None:  # fmt: skip
    """A size across the grain at the moisture of the shop, when it was read at one further away than the rule says."""
    if check.formula is not None or check.kind != "size":
        return None
    found = at_shop(course, course.values(student), check.reads[0][0], one.value, moistures, one.attempt)
    return found if found and abs(found.at - found.shop) > rules.moisture else None


def better_of(read: Mark, same: Mark, wood: AtMoisture) -> Mark:
    """The better of two marks of one reading: as it was read, and at the moisture of the shop.

    Where their levels differ the size is to be measured again: no mark is lost to movement that is only predicted.
    """
    best = min(read, same, key=lambda mark: mark.beyond)
    return replace(best, wood=wood, again=best.again or read.level != same.level)


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
    value = _length(check.formula.run(mended))
    if beyond(check, value - measured.target) >= beyond(check, measured.deviation):
        return NOTHING, ()
    return measured.value - value, _titles(charged, blamed)


def _charged_at_its_parts(
    check: Check, parts_give: Formula, measured: Measured, charged: Mapping[str, Charged], values: Values
) -> tuple[Fraction, tuple[str, ...]]:
    """As `charged_elsewhere` for a reading of what its parts make: a short rail is not charged again at the gap.

    As much of it as there is: what the parts give may lie on the other side, or be planed away.
    """
    behind = _behind(parts_give.names, values)
    blamed = [name for name in charged if name in behind]
    if not blamed:
        return NOTHING, ()
    right = _as_it_should_be(values, {name: charged[name].target for name in blamed}, behind)
    adds = _length(parts_give.run(values.all)) - _length(parts_give.run(right.all))
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
        size = sizes.get(name, values.number(name)) + _length(right.target(name)) - target
        right = right.with_given(right.settings, {**right.found, name: Given(size, Origin.READING)})
    return right


def _titles(charged: Mapping[str, Charged], names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(title for name in names for title in charged[name].titles))


def plan_differences(
    values: Values, checks: Sequence[Check], tell: Fraction, stages: Mapping[str, str]
) -> tuple[PlanDifference, ...]:
    """What of a student's cabinet moved the targets of checks away from the plan, each told once where it arose.

    A thing arises where a reading differs from what it should be, or where a choice or measured stock differs from
    the plan. What follows is found by working the cabinet out again without it.

    Args:
        values: The student's cabinet now.
        checks: All checks; those of a size can follow.
        tell: Smallest difference that is told. [mm]
        stages: At which stage each quantity is first read; nothing follows what is read later.
    """
    sized = [check for check in checks if check.kind == "size"]
    found = []
    for name in sorted({*values.settings, *values.found}, key=values.graph.index.__getitem__):
        if values.graph[name].dimension != LENGTH:
            continue
        now = values.number(name)
        planned = _length(values.target(name) if name in values.found else values.planned(name))
        if abs(now - planned) < tell:
            continue
        without = values.with_given(_less(values.settings, name), _less(values.found, name))
        since = STAGES.index(stages.get(name, STAGES[0]))
        later = [c for c in sized if STAGES.index(c.stage) >= since and c.reads[0][0] != name]
        moved = [(c, values.target_number(c.reads[0][0]) - without.target_number(c.reads[0][0])) for c in later]
        follows = tuple((check, by) for check, by in moved if abs(by) >= tell)
        if follows:
            found.append(PlanDifference(name, values.graph[name].says, now, planned, now - planned, follows))
    return tuple(found)


def _less(given: Mapping[str, object], name: str) -> dict:
    return {key: value for key, value in given.items() if key != name}


def _class_result(check: Check, students: Sequence[StudentGrade], setups: Sequence[Setup]) -> ClassResult:
    off = [m.deviation for s in students for m in s.marks if m.check is check]
    own = tuple(setup for setup in setups if setup.check is check)
    if not off:
        return ClassResult(check, 0, len(students), None, None, None, own)
    inside = share_inside(off, None if check.one_sided else check.lower, check.upper)
    return ClassResult(check, len(off), len(students), mean(off), sd(off) if len(off) > 1 else None, inside, own)


def attention(grades: Grades) -> tuple[str, ...]:
    """What an instructor should look at, the widest first; empty when nothing."""
    lines = []
    raised = [(one, doubt) for one in grades.students for doubt in one.doubts]
    if raised:
        held = sum(len(one.waiting) for one in grades.students)
        asked = "; ".join(f"{doubt.words(one.student)}: {doubt.ask}" for one, doubt in raised[:3])
        more = f"; and {len(raised) - 3} more" if len(raised) > 3 else ""
        look = "reading looks like a slip" if len(raised) == 1 else "readings look like slips"
        lines.append(f"{len(raised)} {look}, and {held} marks wait for an answer. {asked}{more}")
    split = [(one, found) for one in grades.students for found in one.apart]
    if split:
        what = "1 size was" if len(split) == 1 else f"{len(split)} sizes were"
        asked = "; ".join(found.words(one.student) for one, found in split[:3])
        more = f"; and {len(split) - 3} more" if len(split) > 3 else ""
        lines.append(f"{what} read too far apart by two people; marks wait until both read again. {asked}{more}.")
    lines += [f"{setup.words}." for setup in grades.setups if setup.cause is None]
    marks = [mark for one in grades.students for mark in one.marks]
    worst = grades.rules.levels[-1]
    for word, found in (
        (worst.word.lower(), [m for m in marks if m.level is worst]),
        ("measure again", [m for m in marks if m.again]),
    ):
        if found:
            lines.append(f"{len(found)} to {word}: {_some([f'{m.student.id} {m.check.title}' for m in found])}.")
    blind = [
        f"{m.student.id} {m.check.title} ({', '.join(unread)})" for m in marks
        if m.level.share < 1 and (unread := not_read_before(m.check, grades.course.values(m.student)))
    ]  # fmt: skip
    if blind:
        count = "1 mark is" if len(blind) == 1 else f"{len(blind)} marks are"
        lines.append(f"{count} lost by the plan's size, for what should be read before was not: {_some(blind)}.")
    crude = dict.fromkeys(m.check.title for m in marks if m.certainty.verdict is Verdict.CANNOT_TELL)
    if crude:
        lines.append(f"Too coarse a tool to decide, for some or all: {_some(list(crude))}.")
    blank = [(one, len(one.not_measured)) for one in grades.students if one.not_measured]
    if blank:
        lines.append(f"Not measured yet: {_some([f'{s.student.id} ({n} of {s.checks})' for s, n in blank], 8)}.")
    return tuple(lines)


def _some(names: Sequence[str], most: int = 3) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
