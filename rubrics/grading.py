"""From deviations to levels and points: the student's own target, the class's set-up taken out, one mistake once.

What is not measured is blank, never zero. A size that differs from the plan because something before it differs
costs nothing: it is told once, at what was measured to be different. What is read at a later stage, as a frame after
its last fit, does not move the target of what was made before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import replace
from fractions import Fraction

from course.course import Course
from course.moisture import AtMoisture, at_shop
from course.quantities import Given, Origin, Values
from course.roster import Student
from rubrics.charging import Charged, charged_elsewhere, charged_in_order, others_sizes, read_anew_since
from rubrics.check_files import STAGES
from rubrics.checks import Check, checks_of, every_check, limit_of
from rubrics.class_figures import mean, sd, share_inside
from rubrics.class_setups import Results, every_setup, taken_out
from rubrics.decide import decide, guard_band
from rubrics.disagreements import Disagreement, allowed_apart, disagreements
from rubrics.doubts import Doubt, doubts
from rubrics.grading_rules import Rules, read_rules
from rubrics.marks import NOTHING, ClassResult, Grades, Mark, Setup, StudentGrade, beyond
from rubrics.measured import Measured, measure_from
from rubrics.plan_differences import plan_differences

MOISTURE_WORDS = "the moisture of the wood"
"""Where a mark says that what is taken out came from, when it was read at another moisture than the shop's."""


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
    setups = every_setup(checks, course, results, rules.setup)
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
    shift = taken_out(measured.deviation - elsewhere, check, setup)
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
    """What a student has so far, and the marks of every attempt."""
    one = _Student(student, rules, setups, views)
    made = {check.id: one.marks(check, results[check.id]) for check in charged_in_order(checks)}
    marks = [mark for check in checks for mark in made[check.id]]
    counted = tuple(mark for mark in marks if mark.counts)
    points = sum((mark.points for mark in counted), NOTHING)
    of = Fraction(sum(mark.check.points for mark in counted))
    open_ = tuple(check for check in checks if not results[check.id])
    differences = plan_differences(views[STAGES[-1]].values(student), checks, rules.tell, stages)
    return StudentGrade(student, counted, points, of, len(checks), open_, (), (), (), (), differences), marks


class _Student:
    """Marks one student's checks in turn, and keeps what is not to be charged again at a later one."""

    def __init__(
        self, student: Student, rules: Rules, setups: Sequence[Setup], views: Mapping[str, Course]
    ) -> None:
        self.student, self.rules, self.views = student, rules, views
        self.setups = {(one.check.id, one.attempt): one for one in setups if one.group in ("", student.group)}
        self.moistures = views[STAGES[0]].record(student).moistures
        self.charged: dict[str, Charged] = {}
        """Sizes that lost points at checks of their own."""
        self.set_up: dict[str, Charged] = {}
        """Sizes that the set-up of the class moved."""

    def marks(self, check: Check, results: Sequence[Measured]) -> list[Mark]:
        """The marks of every attempt at a check."""
        values = self.views[check.stage].values(self.student)
        blamed = {**self.charged, **others_sizes(self.views[check.stage], check, self.student, values)}
        found = [self._mark(check, one, blamed, values) for one in results]
        marks = _attempts([mark for mark, _ in found], self.rules.policy)
        if check.formula is None and check.kind != "spread":
            for mark, (_, anew) in zip(marks, found, strict=True):
                if mark.counts:
                    self._keep(mark, anew)
        return marks

    def _mark(
        self, check: Check, one: Measured, blamed: Mapping[str, Charged], values: Values
    ) -> tuple[Mark, bool]:
        """The mark of one result, and whether it is better for what was read anew since."""
        course, setup = self.views[check.stage], self.setups.get((check.id, one.attempt))
        alone = setup is None and (check.kind == "difference" or check.parts_give is not None)
        elsewhere, titles = charged_elsewhere(check, one, {**(self.set_up if alone else {}), **blamed}, values)
        mark = mark_of(self.student, check, one, self.rules, setup, elsewhere, titles)
        if wood := _at_shop(check, one, course, self.student, self.moistures, self.rules):
            same = mark_of(self.student, check, one, self.rules, setup, wood.by, (MOISTURE_WORDS,))
            return better_of(mark, same, wood), False
        if check.kind == "size" and mark.level.share < 1:
            by, since = read_anew_since(check, one.attempt, course, self.student, values)
            then = mark_of(self.student, check, one, self.rules, setup, by, since)
            if by and then.beyond < mark.beyond:
                return then, True
        return mark, False

    def _keep(self, mark: Mark, anew: bool) -> None:
        """Note a size that is charged here, or was moved by what is charged elsewhere or by the set-up."""
        name = mark.check.reads[0][0]
        if mark.level.share < 1:
            self.charged[name] = Charged(mark.target, (mark.check.title,))
        elif mark.elsewhere and not anew:
            self.charged[name] = Charged(mark.value - mark.elsewhere, mark.charged_at)
        if mark.setup_shift:
            title = f"the set-up of the class at '{mark.check.title}'"
            self.set_up[name] = Charged(mark.value - mark.setup_shift, (title,))


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


def _class_result(check: Check, students: Sequence[StudentGrade], setups: Sequence[Setup]) -> ClassResult:
    off = [m.deviation for s in students for m in s.marks if m.check is check]
    own = tuple(setup for setup in setups if setup.check is check)
    if not off:
        return ClassResult(check, 0, len(students), None, None, None, own)
    inside = share_inside(off, None if check.one_sided else check.lower, check.upper)
    return ClassResult(check, len(off), len(students), mean(off), sd(off) if len(off) > 1 else None, inside, own)
