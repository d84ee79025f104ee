"""What is said before the lesson of bands that an instrument cannot judge; JCGM 106:2012 guard bands, 1.645 u for 95 %."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot, sqrt

import pytest

from course.course import Course
from rubrics.decide import SURE
from rubrics.proof import proof, unjudged

COURSE = "title: T\nid: t\ndate: 2026-10-05\nshop: {machines: [table saw]}\n"
ONE = "id,name\ns1,Ada Test\n"
PAIR = 'bands: {"*.shoulder.the_two_rails": {upper: 0.35 mm}}\n'
"""Two rails read with a rule: 0.5 / sqrt(12) each, so the guard is 1.645 x sqrt(2) x 0.144 = 0.336."""
FINE = PAIR.replace("0.35", "0.2")
"""As finely as two rails held side by side should agree."""


@pytest.fixture
def made(course_of: Callable[..., Course]) -> Callable[..., Course]:
    def make(bands: str = FINE, roster: str = ONE, units: str = "mm") -> Course:
        return course_of(course=f"{COURSE}{bands}units: {units}\n", roster=roster)

    return make


def said(course: Course) -> str:
    return "\n".join(map(str, proof(course))).replace("\u00a0", " ")


def test_a_band_that_the_rule_cannot_judge(made):
    """A difference of at most 0.2 between two rails asks more than two readings to half a millimetre can prove."""
    assert said(made()) == (
        "checks/08_shoulder.yaml:1:1: V020: s1: 'the two rails: difference' of back, door is to be at most 0.2 mm; "
        "read with the rule it is sure to 0.34 mm only, so no reading could prove it right\n"
        '    Write `bands: {"*.shoulder.the_two_rails": {upper: 0.35 mm}}` in course.yaml.'
    )


def test_the_advised_band_can_be_judged(made):
    """With the band that the words name, nothing is said any more."""
    assert said(made(PAIR)) == ""


def test_the_guard_is_that_of_the_readings(made):
    """1.645 x hypot of two steps of 0.5 / sqrt(12): the scale's own error is common to both and drops out."""
    found = {one.check.id: one.guard for one in unjudged(made(), SURE)}
    step = 0.5 / sqrt(12)
    assert found == {
        name: pytest.approx(1.6449 * hypot(step, step), abs=1e-4)
        for name in ("back.shoulder.the_two_rails", "door.shoulder.the_two_rails")
    }


@pytest.mark.parametrize(("half", "proved"), [("0.25", False), ("0.3", True)])
def test_a_band_of_two_limits(made, half: str, proved: bool):
    """One rule reading is sure to 1.645 x hypot(0.1 / sqrt(3), 0.5 / sqrt(12)) = 0.256, so 0.25 each way is too narrow."""
    text = PAIR.rstrip("}\n") + f"}}, shoulder: {{lower: -{half} mm, upper: {half} mm}}}}\n"
    assert said(made(text)) == (
        ""
        if proved
        else "checks/08_shoulder.yaml:1:1: V020: s1: 'shoulder to shoulder' of back rail top, back rail bottom, "
        "back muntin, door rail top, door rail bottom is to be within -0.25 and 0.25 mm; read with the rule it is sure "
        "to 0.26 mm only, so no reading could prove it right\n"
        '    Write `bands: {"shoulder": {lower: -0.3 mm, upper: 0.3 mm}}` in course.yaml.'
    )


def test_another_instrument_of_the_shop_is_named(made):
    """A dado depth is within the reach of the caliper, where a rule was asked for by the course's own check file."""
    course = made(PAIR)
    folder = course.folder / "checks"
    folder.mkdir()
    (folder / "02_dado.yaml").write_text(
        "check: dado\ntitle: Dado fit\nstage: case\njoints: [dado]\nreleases: dry_case\nitems:\n"
        "  - {title: dado depth, kind: size, reads: [site.*.depth], instrument: rule, lower: -0.2 mm, upper: 0.2 mm, "
        "points: 2}\n",
        "utf-8",
    )
    assert said(course).splitlines()[1] == (
        '    Write `bands: {"dado": {lower: -0.3 mm, upper: 0.3 mm}}` in course.yaml, or read it with the caliper.'
    )


def test_a_finer_instrument_of_the_same_kind_is_named(made):
    """Diagonals of 721 mm in inches: an inch rule does for the difference, a tape in sixteenths for a long case not."""
    plan_in_inches = "id,name,units\nw1,Gil Test,in\n"
    wide = made(PAIR, roster=plan_in_inches, units="in")
    assert "class I tape" not in said(wide)
    text = (wide.folder / "plan.yaml").read_text("utf-8").replace("width: 400", "width: 900")
    (wide.folder / "plan.yaml").write_text(text, "utf-8")
    from course.course import read_course

    lines = [line for line in said(read_course(wide.folder)).splitlines() if "front_diagonals" in line]
    assert lines == [
        '    Write `bands: {"case.case_square.front_diagonals": {upper: 1.1 mm}}` in course.yaml, '
        "or write `shop: {instruments: {tape: fine inch tape from a mark}}` if the shop has one."
    ]


def test_each_student_is_asked_with_their_own_instrument(made):
    """The one with a rule in sixty-fourths can judge a difference of 0.3, the one with half millimetres cannot."""
    course = made(PAIR.replace("0.35", "0.3"), roster="id,name,units\ns1,A,mm\ns2,B,in\n")
    assert said(course).split(": ")[2] == "s1"


def test_it_stops_nothing_and_follows_the_wanted_certainty(made):
    """All is a warning; at 50 percent every check can be judged, near certainty the rule fails and the caliper does not."""
    course = made()
    assert [p.severe for p in proof(course)] == [False]
    assert list(unjudged(course, 0.5)) == []
    hard = {one.check.id for one in unjudged(course, 1 - 1e-9)}
    assert "door.rail.top.shoulder" in hard and "door.groove.depth" not in hard
