"""What is said before the lesson of bands that an instrument cannot judge; JCGM 106:2012 guard bands, 1.645 u for 95 %."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot, sqrt

import pytest

from course.course import Course
from rubrics.decide import SURE
from rubrics.proof import proof, reaches, unjudged

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
    from course.course_folder import read_course

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


WIDE_RAILS = 'bands: {"*.shoulder": {lower: -0.5 mm, upper: 0.5 mm}}\n'
"""Each rail may be 0.5 off; the pair is to agree to 0.4, as the check has it."""
PANELS = """check: panel_width
title: Panel width
stage: frame
for: [frame and panel]
items:
  - {title: panel width, kind: size, reads: [panel.*.width], instrument: caliper, lower: LOWER, upper: UPPER, points: 1}
"""


def test_what_the_check_of_one_part_lets_pass_must_not_fail_that_of_a_pair(made):
    """A rail 0.5 longer than it should be is let pass, and alone makes the pair differ by 0.5 where 0.4 is asked."""
    text = said(made(WIDE_RAILS))
    assert text == (
        "checks/08_shoulder.yaml:1:1: V021: s1: 'the two rails: difference' of back, door is to be at most 0.4 mm; "
        "back.rail.top.shoulder, back.rail.bottom.shoulder, door.rail.top.shoulder, door.rail.bottom.shoulder may be "
        "0.5 mm off by its own check, and 0.5 mm arrives here, so an ordinary error fails it\n"
        '    Write `bands: {"*.shoulder.the_two_rails": {upper: 0.5 mm}}` in course.yaml, or hold what was made closer: '
        '`bands: {"shoulder": {lower: -0.4 mm, upper: 0.4 mm}}`.'
    )


@pytest.mark.parametrize(
    "change",
    [
        WIDE_RAILS.replace("}}", '}, "*.shoulder.the_two_rails": {upper: 0.5 mm}}'),
        WIDE_RAILS.replace("0.5", "0.4"),
    ],
)
def test_either_of_the_two_changes_passes(made, change: str):
    """A wider band for the pair, or a closer one for the rails."""
    assert said(made(change)) == ""


def with_panels(made, half: str, course: str = PAIR) -> Course:
    from course.course_folder import read_course

    folder = made(course).folder
    (folder / "checks").mkdir(exist_ok=True)
    text = PANELS.replace("LOWER", f"-{half} mm").replace("UPPER", f"{half} mm")
    (folder / "checks" / "21_panel_width.yaml").write_text(text, "utf-8")
    return read_course(folder)


def test_an_error_of_reading_that_arrives_twice(made):
    """A panel follows the depth of its grooves by 2: the caliper's 1.645 u of 0.0346, twice, is more than 0.06."""
    found = [one for one in reaches(with_panels(made, "0.06"), SURE) if one.quantity.endswith("groove.depth")]
    assert {(one.check.id, round(float(one.arrives / one.off), 6)) for one in found} == {
        ("back.panel.1.width", 2.0), ("back.panel.2.width", 2.0),
    }  # fmt: skip


def test_the_size_of_a_panel_follows_its_bay(made):
    """A bay read with the rule is sure to 0.256, and all of it arrives at a panel: 0.2 is too narrow, 0.3 is not."""
    told = [line for line in said(with_panels(made, "0.2")).splitlines() if "V021" in line or "back.bay" in line]
    assert told == [
        "checks/21_panel_width.yaml:1:1: V021: s1: 'panel width' of back panel 1, back panel 2 is to be within -0.2 and "
        "0.2 mm; its size follows back.bay.1.width, back.bay.2.width, read with the rule sure to 0.26 mm, and 0.26 mm "
        "arrives here, so an ordinary error fails it",
        '    Write `bands: {"panel_width": {lower: -0.3 mm, upper: 0.3 mm}}` in course.yaml, or read back.bay.1.width '
        "with the caliper.",
    ]
    assert said(with_panels(made, "0.3")) == ""


def test_where_several_errors_arrive_the_largest_is_told(made):
    """At 0.06 the case, the bays, the rails and the grooves are each too much: one line, of the bays, and no way round."""
    told = [line for line in said(with_panels(made, "0.06")).splitlines() if "V021" in line]
    assert len(told) == 1 and "follows case.back.width, back.bay.1.width, back.bay.2.width, read" in told[0]


def test_the_gaps_of_a_back_are_judged_by_the_feeler(made):
    """Leaves in steps of 0.05 mm are sure to 1.645 x 0.05 / sqrt(3) = 0.047: 0.04 each way is too narrow, 0.05 is not."""
    gaps = 'bands: {{"*.shoulder.the_two_rails": {{upper: 0.35 mm}}, "back.gap.*": {{lower: -{0} mm, upper: {0} mm}}}}\n'
    told = [line for line in said(made(gaps.format("0.04"))).splitlines() if "V020" in line]
    assert len(told) == 1 and "'gap in the recess' of back left, back right, back top, back bottom" in told[0]
    assert "read with the feeler it is sure to 0.05 mm only" in told[0]
    assert said(made(gaps.format("0.05"))) == ""


def test_what_is_read_last_breaks_nothing_that_was_made_before(made):
    """A panel rests on the width of its frame, but not on what the rule reads there at its last fit, a stage later."""
    course = with_panels(made, "0.06")
    panel = course.values(course.students[0]).rests_on("back.panel.1.width")
    assert {"back.width", "case.back.width"} < panel
    asked = {one.quantity for one in reaches(course, SURE) if one.check.id == "back.panel.1.width"}
    assert "case.back.width" in asked and "back.width" not in asked


def test_what_would_stop_a_command_later_is_said_before(course_of):
    """Words that are missing and figures that are not there, each with its file and cure; `check` goes on."""
    course = course_of(course="title: Test course\nid: test\nlast_term: nowhere.csv\n")
    (course.folder / "feedback.yaml").write_text("practice: {any: Measure again.}\n", "utf-8")
    (course.folder / "where.yaml").write_text("along: here\n", "utf-8")
    found = [problem for problem in proof(course) if problem.code in ("B030", "B031", "B070")]
    assert {problem.code for problem in found} == {"B030", "B031", "B070"}
    assert {problem.place.file for problem in found} == {"feedback.yaml", "where.yaml", "course.yaml"}
    assert not any(problem.severe for problem in found)


def test_a_size_to_be_read_that_is_less_than_nothing_is_told(course_of, class_plan):
    """A panel of 290 in a bay of 261 with 21 of grooves cannot slide: -8 mm is told before anybody should read it."""
    plan = class_plan.replace("    use: door", "    use: door\n    panel.1.width: 290")
    lines = said(course_of(plan=plan, roster=ONE)).split("\n")
    (at,) = [number for number, line in enumerate(lines) if "V022" in line]
    assert lines[at].endswith("V022: s1: door.panel.1.slide is to be read, and by the plan it would be -8.0 mm")
    assert lines[at + 1] == (
        "    See with `fairfit why` where it comes from, and change the size in the plan that makes it so."
    )
