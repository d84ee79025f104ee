"""An invented class of 16 whose causes are known: the split of each deviation must find them again.

The sizes are made the way a student makes them: marked from the real case, then the set-up of the class and the
student's own error are added. What is written down is read with the shop's own instruments: the scale errs by up to
its stated error, and the reading falls on a division (seeded).
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from fractions import Fraction

import pytest

from course.course import Course
from course.readings import Reading
from rubrics.checks import checks_of
from rubrics.grading import grade
from rubrics.marks import Grades, Mark

RAIL, TENON, GROOVE, PAIR = (
    "door.rail.top.shoulder", "back.tenon.thickness", "back.groove.width", "door.shoulder.the_two_rails"
)  # fmt: skip
BAY, STILES = "divider.upper.width", ("door.stile.left.width", "door.stile.right.width")
FIT = "back.tenon.clearance"
STUDENTS = 16


@dataclass(frozen=True)
class Tool:
    """How an instrument of the shop can err. Lengths in mm."""

    division: Fraction
    scale: Fraction
    """Largest error of the scale."""

    @property
    def most(self) -> Fraction:
        """The most by which one reading can be off."""
        return self.scale + self.division / 2

    def read(self, size: Fraction, chance: random.Random) -> Fraction:
        off = self.scale * Fraction(chance.randint(-100, 100), 100)
        return round((size + off) / self.division) * self.division


RULE, CALIPER = Tool(Fraction("0.5"), Fraction("0.1")), Tool(Fraction("0.01"), Fraction("0.02"))


@dataclass
class Made:
    """What one invented student did. Lengths in mm."""

    bay: Fraction = Fraction(0)
    """How much wider than planned the case came out."""
    stiles: Fraction = Fraction(0)
    """How much wider than planned each stile is."""
    rail: Fraction = Fraction(0)
    """Own error of both rails."""
    tenon: Fraction = Fraction(0)
    """Own error of the tenon."""
    set_up: bool = True
    """Whether the tenons were cut with the set-up of the class."""
    readings: list[Reading] = field(default_factory=list)


def roster() -> str:
    rows = [f"n{i:02},Invented {i},{i},mm" for i in range(1, STUDENTS + 1)]
    return "\n".join(["id,name,bench,units", *rows]) + "\n"


def causes(chance: random.Random) -> list[Made]:
    """Cases that differ, three rails cut badly, two tenons cut badly, two students with another set-up."""
    made = [
        Made(bay=Fraction(chance.randint(-15, 15), 10), stiles=Fraction(chance.randint(-4, 4), 10))
        for _ in range(STUDENTS)
    ]
    for index, off in zip(chance.sample(range(STUDENTS), 3), ("1.5", "-1.8", "2.4"), strict=True):
        made[index].rail = Fraction(off)
    for index, off in zip(chance.sample(range(STUDENTS), 2), ("0.4", "0.5"), strict=True):
        made[index].tenon = Fraction(off)
    for index in chance.sample([i for i in range(STUDENTS) if not made[i].tenon], 2):
        made[index].set_up = False
    return made


SHIFT = Fraction("0.2")
"""What the set-up of the class added to each tenon. [mm]"""


def write(course: Course, made: list[Made], chance: random.Random, noise: bool = True) -> None:
    """Every student's sizes, read at every place with that instrument's spread, into the log."""
    checks = {c.id: c for c in checks_of(course)}
    for student, one in zip(course.students, made, strict=True):
        plan = course.plan_values
        width = plan.number(BAY) + one.bay
        rail = plan.number(RAIL) + one.bay - 2 * one.stiles + one.rail
        tenon = plan.number(TENON) + one.tenon + (SHIFT if one.set_up else 0)
        sizes = {
            BAY: (width, 3, RULE), **{name: (plan.number(name) + one.stiles, 1, CALIPER) for name in STILES},
            RAIL: (rail, 1, RULE), RAIL.replace("top", "bottom"): (rail, 1, RULE),
            TENON: (tenon, 3, CALIPER), GROOVE: (plan.number(GROOVE), 3, CALIPER),
        }  # fmt: skip
        for name, (size, places, tool) in sizes.items():
            for place in range(1, places + 1):
                read = tool.read(size, chance) if noise else size
                one.readings.append(Reading(student.id, name, place, 1, str(float(read)), read))
        course.log.add(one.readings)
    course.fresh()
    assert {RAIL, FIT, PAIR} <= checks.keys()


def own(mark: Mark) -> Fraction:
    return mark.deviation - mark.setup_shift - mark.elsewhere


def marks_of(grades: Grades, check: str) -> list[Mark]:
    return [next(m for m in s.marks if m.check.id == check) for s in grades.students]


@pytest.fixture
def class_of(course_of):
    def make(seed: int, noise: bool = True) -> tuple[Grades, list[Made]]:
        course, chance = course_of(roster=roster()), random.Random(seed)
        made = causes(chance)
        write(course, made, chance, noise)
        return grade(course), made

    return make


def test_without_reading_errors_every_cause_is_found_exactly(class_of):
    """Own error, what came with the real case and stiles, and the set-up of the class: each to the hundredth."""
    grades, made = class_of(1, noise=False)
    for one, rail, fit in zip(made, marks_of(grades, RAIL), marks_of(grades, FIT), strict=True):
        assert rail.inherited == one.bay - 2 * one.stiles
        assert own(rail) == one.rail
        assert fit.setup_shift == (-SHIFT if one.set_up else 0)
        assert own(fit) == -one.tenon
    (setup,) = [s for s in grades.setups if s.check.id == FIT]
    assert (setup.shift, setup.sharing, setup.measured) == (-SHIFT, 14, STUDENTS)


@pytest.mark.parametrize("seed", range(20))
def test_the_split_finds_the_causes_within_the_instruments_uncertainty(class_of, seed):
    """Twenty classes of 16: no part of the split is further from what was done than its readings can be off."""
    grades, made = class_of(seed)
    for one, rail, fit in zip(made, marks_of(grades, RAIL), marks_of(grades, FIT), strict=True):
        case = RULE.most + 2 * CALIPER.most
        assert abs(rail.inherited - (one.bay - 2 * one.stiles)) <= case
        assert abs(own(rail) - one.rail) <= RULE.most + case
        assert fit.setup_shift == 0 if not one.set_up else abs(fit.setup_shift + SHIFT) <= 2 * CALIPER.most
        assert abs(own(fit) + one.tenon) <= 4 * CALIPER.most


@pytest.mark.parametrize("seed", range(20))
def test_only_who_erred_loses_points(class_of, seed):
    """A rail 1.5 mm or more off by its own maker loses points; nobody loses them for the case, stiles or set-up."""
    grades, made = class_of(seed)
    for one, rail, fit in zip(made, marks_of(grades, RAIL), marks_of(grades, FIT), strict=True):
        assert (rail.level.share < 1) == bool(one.rail)
        assert (fit.level.share < 1) == bool(one.tenon)


def test_a_rail_charged_at_its_own_check_is_not_charged_at_the_pair(class_of):
    """Both rails off alike: the pair does not differ, and costs nothing whatever the rails cost."""
    grades, _ = class_of(3, noise=False)
    assert {mark.points == mark.check.points for mark in marks_of(grades, PAIR)} == {True}
