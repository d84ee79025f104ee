"""Fit checks: what a cabinet is asked for, within which bands, and what a student's readings come to."""

from __future__ import annotations

import re
from fractions import Fraction
from importlib.resources import files
from math import acos, degrees
from pathlib import Path

import pytest

from course.course import Course
from course.course_folder import read_course
from course.kinds import read_library
from course.readings import Reading
from lessons.operation_files import read_operations
from rubrics.check_files import TOOLS, read_checks
from rubrics.checks import Check, checks_of, every_check
from rubrics.instruments import instrument, uncertainty
from rubrics.measured import measure, measure_all, missing
from rubrics.proof import proof
from shared.problems import InputRefused
from shared.units import INCH


@pytest.fixture
def course(course_of) -> Course:
    return course_of()


def take(course: Course, texts: dict[str, str], student: str = "s1", attempt: int = 1) -> None:
    """Readings in mm by quantity; several places apart by spaces."""
    course.log.add(
        Reading(student, name, place, attempt, text, Fraction(text))
        for name, line in texts.items()
        for place, text in enumerate(line.split(), 1)
    )
    course.fresh()


def check_of(course: Course, id_: str) -> Check:
    return next(check for check in every_check(course) if check.id == id_)


def result(course: Course, id_: str, student: str = "s1"):
    return measure(check_of(course, id_), course, course.student(student))


def refused(course_of, **texts: str) -> list[str]:
    with pytest.raises(InputRefused) as caught:
        every_check(course_of(**texts))
    return [str(problem) for problem in caught.value.problems]


COURSE = "title: Test course\nid: test\ndate: 2026-10-05\ninvented: yes\n"


def test_every_check_file_is_the_hold_point_of_an_operation():
    """Each check file is waited for by an operation, and no operation waits for a check that is not there."""
    held = {name for operation in read_operations()[0].values() for name in operation.hold}
    assert {spec.name for spec in read_checks().definitions} == held
    assert read_checks().problems == ()


def test_what_a_check_releases_is_made_by_some_kind_or_joint():
    """A check releases a feature that a kind or a joint has; a word of ours would release nothing."""
    library = read_library()
    features = {f.name for kind in (*library.kinds.values(), *library.joints.values()) for f in kind.features}
    assert {spec.releases for spec in read_checks().definitions} <= features


def test_every_built_in_check_says_where_its_band_comes_from_and_what_to_do():
    """A band has a source, and each graded item says what to do when the reading is over it."""
    for spec in read_checks().definitions:
        assert re.search("common practice|invented for the demo course", spec.source), spec.name
        for item in spec.items:
            assert item.kind == "measure" or item.over, (spec.name, item.title)


@pytest.mark.parametrize("demo", ["demo", "demo_inches"])
def test_checks_of_a_demo_stand_in_the_order_of_the_work_once_each(demo: str, tmp_path: Path):
    """Ids are unique, stages follow each other, and every quantity read is a length of the cabinet."""
    course = read_course(Path(str(files("course").joinpath(demo))))
    checks = every_check(course)
    assert len({check.id for check in checks}) == len(checks)
    stages = list(dict.fromkeys(check.stage for check in checks))
    assert stages == ["stock", "case", "frame", "fitting", "finish"]
    assert all(course.cabinet.graph[name].dimension == 1 for check in checks for name, _, _ in check.reads)


def test_other_joints_bring_other_checks():
    """Dowelled dividers have no dado to read, uprights in dadoes have; a haunched tenon is read like a stub tenon."""
    course = read_course(Path(str(files("course").joinpath("demo_inches"))))
    ids = {check.id for check in checks_of(course)}
    assert "post.dado.1_bottom.width" in ids and "doors.left.tenon.clearance" in ids
    assert not [id_ for id_ in ids if id_.startswith("levels.")]


def test_a_back_has_no_reveals_and_a_door_no_recess(course):
    """The use of a frame decides where it is fitted."""
    fitting = {(check.assembly, check.check) for check in checks_of(course) if check.stage == "fitting"}
    assert fitting == {("back", "back_fit"), ("door", "door_reveal")}


def test_bands_start_from_those_of_the_trade(course):
    """Class cabinet, bands as common practice: groove 6.0 and lip 5.0 within 0.1, depth 10.5 to 11.0, shoulders 0.3."""
    for id_, lower, upper in (
        ("door.groove.width", "-0.1", "0.1"), ("door.groove.front_lip", "-0.1", "0.1"), ("door.groove.depth", "0", "0.5"),
        ("door.rail.top.shoulder", "-0.3", "0.3"), ("case.outside.width", "-0.5", "0.5"),
        ("door.reveal.left", "-0.3", "0.3"),
    ):  # fmt: skip
        check = check_of(course, id_)
        assert (check.lower, check.upper) == (Fraction(lower), Fraction(upper)), id_
    squares = [check for check in checks_of(course) if check.check == "case_square"]
    assert [(check.upper, check.one_sided) for check in squares] == [(1, True), (1, True)]


@pytest.mark.parametrize(
    ("id_", "upper", "who", "releases", "instrument"),
    [
        ("door.dry_frame.faces_flush", "0.1", "partner", "panel_blank", "caliper"),
        ("door.dry_frame.wind", "0.5", "partner", "panel_blank", "feeler"),
        ("door.panel.face_of_the_panel", "0.2", "gauge", "glued_frame", "caliper"),
        ("door.door_reveal.face_of_the_door", "0.3", "instructor", "hung_door", "caliper"),
        ("shelf.shelf_fit.lies_flat", "0.3", "partner", "fitted_shelf", "feeler"),
    ],
)
def test_what_should_be_nothing_has_an_upper_limit(course, id_: str, upper: str, who: str, releases: str, instrument):
    """Faces flush, wind, faces of panel and door, a shelf that lies flat; bands of a demo course, of a usual size."""
    check = check_of(course, id_)
    assert (check.upper, check.one_sided) == (Fraction(upper), True)
    assert (check.who, check.releases, check.instrument) == (who, releases, instrument)


@pytest.mark.parametrize(
    ("read", "value"), [("0", "0"), ("0.05 0.1 0.0 0.08", "0.1"), ("0.12 0.02 0.03 0.04", "0.12")]
)
def test_the_largest_step_of_four_joints_counts(course, read: str, value: str):
    """A frame is as flush as its worst joint; no step at all is a reading too."""
    take(course, {"door.flush": read})
    (found,) = result(course, "door.dry_frame.faces_flush")
    assert (found.value, found.target) == (Fraction(value), 0)


@pytest.mark.parametrize(
    ("rabbet", "step", "value"),
    [("5.1", "0", "0"), ("5.1", "0.15", "0.15"), ("5.8", "0.7", "0"), ("5.8", "1.0", "0.3"), ("4.9", "0.2", "0")],
)
def test_the_face_of_a_panel_is_judged_after_its_rabbet(course, rabbet: str, step: str, value: str):
    """Lip 5 and clearance 0.1 want a rabbet of 5.1: one of 5.8 puts the face 0.7 proud, which is charged there alone."""
    take(course, {"door.panel.front_rabbet": rabbet, "door.panel.step": step})
    (found,) = result(course, "door.panel.face_of_the_panel")
    assert found.value == Fraction(value)


def test_a_panel_slides_by_its_room(course):
    """2 mm of room at each groove bottom: 4 mm in all; with the panel cut, a groove 0.2 deeper on each side gives 0.4."""
    (check,) = [check for check in checks_of(course) if check.id == "door.panel.1.slide"]
    assert (check.lower, check.upper, check.releases) == (-1, 1, "glued_frame")
    take(course, {"door.panel.1.slide": "4.3"})
    assert result(course, "door.panel.1.slide")[0].target == 4
    assert course.mark(course.student("s1"), "door.panel.1", "cut")
    take(course, {"door.groove.depth": "10.7"})
    (found,) = result(course, "door.panel.1.slide")
    assert found.target == Fraction("4.4")


def test_a_groove_at_its_hold_point(course):
    """Story 5: groove 6.10, depth 10.5 and front lip 5.05 from a caliper pass, and the tenon is released."""
    take(course, {"door.groove.width": "6.10", "door.groove.depth": "10.5", "door.groove.front_lip": "5.05"})
    for id_, deviation in (("width", "0.1"), ("depth", "0"), ("front_lip", "0.05")):
        check = check_of(course, f"door.groove.{id_}")
        (found,) = measure(check, course, course.student("s1"))
        assert found.deviation == Fraction(deviation)
        assert check.lower <= found.deviation <= check.upper and check.releases == "tenon"


def test_the_target_is_the_students_own(course):
    """Story 9: a rail of 262.6 where the real case and stiles need 262.6 is no error; the plan said 261.0."""
    take(course, {"divider.upper.width": "365.2 364.8 365.0", "door.stile.left.width": "49.6"})
    take(course, {"door.stile.right.width": "49.6", "door.rail.top.shoulder": "262.6"})
    (found,) = result(course, "door.rail.top.shoulder")
    assert (found.target, found.deviation, found.planned) == (Fraction("262.6"), 0, Fraction(261))


def test_a_tenon_is_judged_against_the_groove_it_goes_into(course):
    """A groove of 6.10 takes a tenon of 5.90 to 6.05: the clearance is 0.05 to 0.20."""
    check = check_of(course, "door.tenon.clearance")
    for tenon, deviation in (("6.00", "0"), ("6.05", "-0.05"), ("5.90", "0.1"), ("6.10", "-0.1")):
        take(course, {"door.groove.width": "6.10", "door.tenon.thickness": tenon})
        (found,) = measure(check, course, course.student("s1"))
        assert (found.target, found.deviation) == (Fraction("0.1"), Fraction(deviation))
        assert (check.lower <= found.deviation <= check.upper) == (tenon != "6.10")


def test_diagonals_are_judged_by_their_difference(course):
    """Story 15: diagonals 722.1 and 720.1 differ by 2.0, whichever is the longer."""
    take(course, {"case.diagonal.front_a": "720.1", "case.diagonal.front_b": "722.1"})
    (found,) = result(course, "case.case_square.front_diagonals")
    assert (found.value, found.target, found.deviation) == (2, 0, 2)


def test_the_spread_of_stock_is_the_widest_less_the_narrowest(course):
    """Frame stock of 18.0, 18.05 and 17.95 varies by 0.10, and nothing is said about its mean."""
    take(course, {"stock.frame.thickness": "18.0 18.05 17.95"})
    (found,) = result(course, "stock.frame.thickness.spread")
    assert found.value == Fraction("0.1")


def test_nothing_is_measured_while_a_reading_is_missing(course):
    """A fit waits for both its readings; a size for its first; what is missing is named place by place."""
    clearance = check_of(course, "door.tenon.clearance")
    take(course, {"door.tenon.thickness": "6.0"})
    assert result(course, "door.tenon.clearance") == () and result(course, "door.groove.width") == ()
    assert missing(clearance, course, course.student("s1")) == (
        ("door.tenon.thickness", 2), ("door.tenon.thickness", 3),
        ("door.groove.width", 1), ("door.groove.width", 2), ("door.groove.width", 3),
    )  # fmt: skip


def test_each_attempt_is_a_result_and_keeps_the_readings_that_were_not_taken_again(course):
    """Tenons of 6.40, 6.25, 6.10 and 6.02 in one groove of 6.10 are four results, oldest first."""
    take(course, {"door.groove.width": "6.10"})
    for attempt, tenon in enumerate(("6.40", "6.25", "6.10", "6.02"), 1):
        take(course, {"door.tenon.thickness": tenon}, attempt=attempt)
    found = result(course, "door.tenon.clearance")
    assert [(one.attempt, one.value) for one in found] == [
        (1, Fraction("-0.3")), (2, Fraction("-0.15")), (3, Fraction(0)), (4, Fraction("0.08")),
    ]  # fmt: skip


def test_all_checks_at_once_are_each_check_alone(course):
    """Reading the log once for all checks changes no result."""
    take(course, {"door.groove.width": "6.10 6.05", "door.tenon.thickness": "6.0", "door.rail.top.shoulder": "261.2"})
    take(course, {"door.tenon.thickness": "5.95"}, attempt=2)
    student, checks = course.student("s1"), checks_of(course)
    together = measure_all(checks, course, student)
    assert together == {check.id: measure(check, course, student) for check in checks}
    assert {id_: len(found) for id_, found in together.items() if found} == {
        "door.groove.width": 1, "door.tenon.clearance": 2, "door.rail.top.shoulder": 1,
    }  # fmt: skip


def test_every_result_knows_how_sure_it_is(course):
    """Uncertainty by the instrument: a rule's scale and step (GUM), a caliper finer, a difference free of the scale."""
    take(course, {"door.rail.top.shoulder": "261", "door.groove.width": "6", "door.reveal.left": "1.5"})
    take(course, {"case.diagonal.front_a": "721", "case.diagonal.front_b": "721"})
    # 0.1 mm / sqrt(3) of scale and 0.5 mm / sqrt(12) of step; the step alone, twice; the caliper's 0.02 mm / sqrt(3),
    # 0.01 mm / sqrt(12) and 0.03 mm of handling; 0.05 mm / sqrt(3) of leaves (JCGM 100, 4.3.7 and F.2.2.1)
    assert result(course, "door.rail.top.shoulder")[0].u == pytest.approx(0.1555, abs=0.0001)
    assert result(course, "case.case_square.front_diagonals")[0].u == pytest.approx(0.2041, abs=0.0001)
    assert result(course, "door.groove.width")[0].u == pytest.approx(0.0323, abs=0.0001)
    assert result(course, "door.reveal.left")[0].u == pytest.approx(0.0289, abs=0.0001)


def test_an_instrument_that_does_not_reach_is_replaced(course):
    """A caliper of 150 mm cannot have read 600 mm: the rule's uncertainty is taken, and nothing is raised."""
    take(course, {"door.stile.left.width": "600"})
    assert result(course, "door.stile.left.width")[0].u == pytest.approx(0.1555, abs=0.0001)
    take(course, {"door.stile.right.width": "20000000"})
    assert result(course, "door.stile.right.width")[0].u > 1


def bands(text: str) -> str:
    return f"{COURSE}bands:\n  {text}\n"


@pytest.mark.parametrize(
    ("text", "id_", "lower", "upper"),
    [
        ("shoulder: {lower: -0.5 mm, upper: 0.5 mm}", "door.rail.top.shoulder", "-0.5", "0.5"),
        ("shoulder: {lower: -0.5 mm, upper: 0.5 mm}", "door.shoulder.the_two_rails", "0", "0.4"),
        ("shoulder: {upper: 0.6 mm}", "door.shoulder.the_two_rails", "0", "0.6"),
        ("shoulder: {upper: 0.6 mm}", "door.rail.top.shoulder", "-0.3", "0.3"),
        ("door.shoulder: {lower: -0.5 mm, upper: 0.5 mm}", "back.rail.top.shoulder", "-0.3", "0.3"),
        ("door.rail.top.shoulder: {lower: 0 mm, upper: 1/64 in}", "door.rail.top.shoulder", "0", "0.396875"),
        ('"*.groove.depth": {lower: 0 mm, upper: 0.8 mm}', "back.groove.depth", "0", "0.8"),
        ('"*.groove.depth": {lower: 0 mm, upper: 0.8 mm}', "back.groove.width", "-0.1", "0.1"),
        ("case_square: {upper: 1/32 in}", "case.case_square.back_diagonals", "0", "0.79375"),
        ("shoulder: {fit: school award parts}", "door.rail.top.shoulder", "-1", "1"),
        ('"*.face_of_the_door": {fit: custom flush}', "door.door_reveal.face_of_the_door", "0", "0.65"),
    ],
)
def test_a_course_sets_its_own_bands(course_of, text: str, id_: str, lower: str, upper: str):
    """By check, by an assembly's check, by one size or with a *; only bands of the same sort are replaced."""
    check = check_of(course_of(course=bands(text)), id_)
    assert (check.lower, check.upper) == (Fraction(lower), Fraction(upper))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "shoulder: {lower: -0.5, upper: 0.5 mm}",
            "course.yaml:6:21: B061: '-0.5' has no unit; write '-0.5 mm' or '-0.5 in'\n"
            "    Write the limit with its unit, as in 0.3 mm.",
        ),
        (
            "shoulder: {fit: school award}",
            "course.yaml:6:19: B066: there is no fit class 'school award'\n"
            "    Did you mean 'school award gaps' or 'school award parts'?",
        ),
        (
            "shoulder: {fit: shoulder, upper: 1 mm}",
            "course.yaml:6:19: B066: 'shoulder' has a fit class and limits\n    Keep one of the two.",
        ),
        (
            "shoulder: {low: -0.5 mm}",
            "course.yaml:6:19: B060: a band has no 'low'\n"
            "    Write `bands: {shoulder: {lower: -0.5 mm, upper: 0.5 mm}}`.",
        ),
        (
            "shoulder: {lower: 0.5 mm, upper: -0.5 mm}",
            "course.yaml:6:21: B062: the lower limit of 'shoulder' is not below its upper limit\n    Exchange the two.",
        ),
        (
            "sholder: {lower: -0.5 mm, upper: 0.5 mm}",
            "course.yaml:6:20: B063: there is no check 'sholder'\n    Did you mean 'shoulder' or 'door.shoulder'?",
        ),
        (
            "tenon: {upper: 0.2 mm}",
            "course.yaml:6:18: B063: no band of 'tenon' has an upper limit alone\n    Write `lower:` too.",
        ),
        (
            "case_square: {lower: 0 mm, upper: 1 mm}",
            "course.yaml:6:24: B063: no band of 'case_square' has two limits\n    Leave `lower:` out.",
        ),
        (
            "shoulder: {upper: -0.5 mm}",
            "course.yaml:6:21: B062: the upper limit of 'door.shoulder.the_two_rails' is -0.5 mm, and a difference is "
            "never less than nothing\n    Mend the band 'shoulder', or write both limits.",
        ),
        (
            "door.rail.top.shoulder: {lower: 0.5 mm}",
            "course.yaml:6:35: B062: the lower limit of 'door.rail.top.shoulder', 0.5 mm, is not below its upper limit, "
            "0.3 mm\n    Mend the band 'door.rail.top.shoulder', or write both limits.",
        ),
        (
            "shoulder: [-0.5 mm, 0.5 mm]",
            "course.yaml:6:13: B060: 'shoulder' has no limits but a list\n"
            "    Write `bands: {shoulder: {lower: -0.5 mm, upper: 0.5 mm}}`.",
        ),
        (
            "[a, b]",
            "course.yaml:6:3: B060: bands are not written as names and limits\n"
            "    Write `bands: {shoulder: {lower: -0.5 mm, upper: 0.5 mm}}`.",
        ),
        (
            "a",
            "course.yaml:6:3: B060: bands are not written as names and limits\n"
            "    Write `bands: {shoulder: {lower: -0.5 mm, upper: 0.5 mm}}`.",
        ),
        (
            "door.groove: {lower: -0.2 mm, upper: 0.2 mm}",
            "course.yaml:6:24: B064: 'door.groove' asks for several things, each with a band of its own\n"
            "    Name one of them: door.groove.width, door.groove.front_lip, door.groove.depth; a * stands for any part.",
        ),
    ],
)
def test_a_band_that_cannot_be_used_is_told(course_of, text: str, says: str):
    """No unit, a wrong word, limits exchanged, no such check, and a band over unlike things."""
    assert says in [problem.replace("\u00a0", " ") for problem in refused(course_of, course=bands(text))]


CHECK = """check: groove
title: Our groove
stage: frame
for: [frame and panel]
who: gauge
releases: tenon
items:
  - {title: groove width, reads: [groove.width], instrument: caliper, lower: -0.2 mm, upper: 0.2 mm, points: 5}
"""


def own_check(course_folder, text: str, name: str = "06_groove.yaml") -> Course:
    folder = course_folder()
    (folder / "checks").mkdir()
    (folder / "checks" / name).write_text(text, "utf-8")
    return read_course(folder)


def test_a_check_of_the_course_folder_wins_by_its_name(course_folder):
    """A file of the same name replaces the built-in one whole."""
    checks = [check for check in every_check(own_check(course_folder, CHECK)) if check.check == "groove"]
    assert [(check.id, check.points, check.upper) for check in checks] == [
        ("back.groove.width", 5, Fraction("0.2")), ("door.groove.width", 5, Fraction("0.2")),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "who: gauge", "who: gage",
            "checks/06_groove.yaml:5:6: B050: who is 'gage'\n    Did you mean 'gauge'?",
        ),
        (
            "instrument: caliper", "instrument: calliper",
            "checks/06_groove.yaml:8:62: B050: instrument is 'calliper'\n    Did you mean 'caliper'?",
        ),
        (
            "releases: tenon", "release: tenon",
            "checks/06_groove.yaml:6:1: B050: a check has no 'release'\n    Did you mean 'releases'?",
        ),
        (
            ", upper: 0.2 mm", "",
            "checks/06_groove.yaml:8:5: B050: 'groove width' has no band\n"
            "    Write `fit:` and a fit class, or `lower:` and `upper:` with units.",
        ),
        (
            "lower: -0.2 mm, upper: 0.2 mm", "fit: sholder",
            "checks/06_groove.yaml:8:76: B050: there is no fit class 'sholder'\n    Did you mean 'shoulder'?",
        ),
        (
            "lower: -0.2 mm,", "fit: shoulder,",
            "checks/06_groove.yaml:8:76: B050: 'groove width' has a fit class and limits\n    Keep one of the two.",
        ),
        (
            "groove.width]", "groove.widht]",
            "checks/06_groove.yaml:8:5: B052: 'frame and panel' has no 'groove.widht'\n    Check the name.",
        ),
        (
            "points: 5", "points: 5, kind: fit, is: groove.width / tenon",
            "checks/06_groove.yaml:8:5: B051: back: there is no quantity 'tenon' here\n    Check the formula.",
        ),
        (
            "points: 5", "points: many",
            "checks/06_groove.yaml:8:5: B050: points is 'many'\n    Write a whole number up to 99.",
        ),
        (
            "points: 5", "points: ²",
            "checks/06_groove.yaml:8:5: B050: points is '²'\n    Write a whole number up to 99.",
        ),
        (
            "points: 5", "places: 1000000",
            "checks/06_groove.yaml:8:5: B050: places is '1000000'\n    Write a whole number up to 99.",
        ),
        (
            "lower: -0.2 mm", "lower: 0.2 mm",
            "checks/06_groove.yaml:8:5: B050: the lower limit of 'groove width', 0.2 mm, is not below its upper limit, "
            "0.2 mm\n    Exchange the two, or mend one.",
        ),
        (
            "lower: -0.2 mm, upper: 0.2 mm", "kind: spread, upper: 0 mm",
            "checks/06_groove.yaml:8:5: B050: the upper limit of 'groove width' is 0.0 mm, and a difference is never "
            "less than nothing\n    Exchange the two, or mend one.",
        ),
        (
            "groove.width]", "frame.material]",
            "checks/06_groove.yaml:8:5: B052: 'frame.material' of 'frame and panel' is no length, so nobody can read it\n"
            "    Read a size.",
        ),
        (
            "points: 5", "target: frame.material",
            "checks/06_groove.yaml:8:5: B051: back: 'stock.frame.material' is a word, not a size\n    Check the formula.",
        ),
        (
            "points: 5", "kind: fit, is: groove.width / groove.depth",
            "checks/06_groove.yaml:8:5: B051: back: 'groove.width / groove.depth' does not give a length\n"
            "    Check the formula.",
        ),
        (
            "points: 5", "kind: fit, is: groove.width * ((1 mm) / (groove.depth - groove.depth))",
            "checks/06_groove.yaml:8:5: B051: back: 'groove.width * ((1 mm) / (groove.depth - groove.depth))' divides by "
            "zero\n    Check the formula.",
        ),
        (
            "for: [frame and panel]", "for: [frame and panels]",
            "checks/06_groove.yaml:4:6: B050: there is no kind 'frame and panels'\n    Did you mean 'frame and panel'?",
        ),
        (
            "for: [frame and panel]", "joints: [stub tenons]",
            "checks/06_groove.yaml:4:9: B050: there is no joint 'stub tenons'\n"
            "    Did you mean 'stub tenon'?",
        ),
        (
            "who: gauge", "when: {use: dor}\nwho: gauge",
            "checks/06_groove.yaml:5:7: B050: use is never 'dor'\n    Did you mean 'door'?",
        ),
        (
            "for: [frame and panel]", "openings: no",
            "checks/06_groove.yaml:4:11: B050: openings is 'no'\n    Known are: false, true.",
        ),
        (
            "for: [frame and panel]\n", "",
            "checks/06_groove.yaml:1:1: B050: 'groove' does not say what it is for\n"
            "    Write `for:` with kinds, `joints:` with joints, or `openings: true`.",
        ),
        (
            "check: groove\n", "",
            "checks/06_groove.yaml:1:1: B050: the check has no name\n    Write `check:` and a short name.",
        ),
        (
            "groove.width]", "rials.*.width]",
            "checks/06_groove.yaml:8:5: B052: 'frame and panel' has no list 'rials'\n    Did you mean 'rail'?",
        ),
        (
            "groove.width]", "stile.*.widht]",
            "checks/06_groove.yaml:8:5: B052: 'frame and panel' has no 'stile.*.widht'\n    Check the name.",
        ),
        (
            "reads: [groove.width], ", "",
            "checks/06_groove.yaml:8:5: B050: 'groove width' reads nothing\n    Write `reads:` with the names of sizes.",
        ),
        (
            "points: 5", "kind: fit",
            "checks/06_groove.yaml:8:5: B050: 'groove width' does not say how it is worked out\n"
            "    Write `is:`, as in `is: groove.width - thickness`, or `each: true`.",
        ),
        (
            "points: 5", "is: groove.width - groove.depth",
            "checks/06_groove.yaml:8:5: B050: 'groove width' is of kind size and has an `is:`\n"
            "    Leave `is:` out, or write `kind: fit`.",
        ),
    ],
)  # fmt: skip
def test_a_check_file_that_cannot_be_used_is_told(course_folder, old: str, new: str, says: str):
    """Each fault of a check file with its line, in these words."""
    with pytest.raises(InputRefused) as caught:
        every_check(own_check(course_folder, CHECK.replace(old, new)))
    told = [str(problem).replace("\u00a0", " ") for problem in caught.value.problems]
    assert told.count(says) == 1


@pytest.mark.parametrize("items", ["", "items: groove.width\n", "items: []\n", "items: [groove.width]\n"])
def test_a_check_without_items_is_told(course_folder, items: str):
    """No items, a word instead of them, or words in the list: the check would ask for nothing."""
    with pytest.raises(InputRefused, match="B050: items are not a list of things to read") as caught:
        every_check(own_check(course_folder, CHECK.partition("items:")[0] + items))
    assert "Write `items:` and below it `- title: ...` with what to read." in str(caught.value)


def test_an_opening_has_no_other_sizes(course_folder):
    """A check of the real openings that reads a size no opening has is told, opening by opening."""
    text = CHECK.replace("for: [frame and panel]", "openings: true").replace("groove.width]", "depht]")
    with pytest.raises(InputRefused, match="B052: the opening 'divider.upper' has no 'depht'"):
        every_check(own_check(course_folder, text))


def test_a_check_replaces_the_built_in_one_of_its_name_whatever_its_file_is_called(course_folder):
    """`check: groove` in groove.yaml stands in the place of the built-in groove, and its lip is not asked for."""
    course = own_check(course_folder, CHECK, "groove.yaml")
    found = [(spec.name, spec.title) for spec in read_checks(course.folder).definitions]
    assert [name for name, _ in found] == [spec.name for spec in read_checks().definitions]
    assert ("groove", "Our groove") in found
    assert [check.id for check in every_check(course) if check.check == "groove"] == [
        "back.groove.width", "door.groove.width",
    ]  # fmt: skip


def test_two_files_of_a_course_are_not_one_check(course_folder):
    """Two own files with one name after `check:` are told; neither wins in silence."""
    own_check(course_folder, CHECK, "groove.yaml")
    (course_folder() / "checks" / "other.yaml").write_text(CHECK, "utf-8")
    with pytest.raises(InputRefused) as caught:
        every_check(read_course(course_folder()))
    assert [str(problem) for problem in caught.value.problems] == [
        "checks/other.yaml:1:1: B050: the check 'groove' stands in checks/groove.yaml already\n"
        "    Give one of the two another name after `check:`."
    ]


def test_a_second_check_of_one_size_is_told(course_folder):
    """A size has one target and one band: a second check of it is refused, and says which is the first."""
    with pytest.raises(InputRefused) as caught:
        every_check(own_check(course_folder, CHECK.replace("check: groove", "check: our_groove"), "our_groove.yaml"))
    assert str(caught.value.problems[0]) == (
        "checks/our_groove.yaml:1:1: B054: 'back.groove.width' is asked for already, by 'Groove: groove width'\n"
        "    Keep one of the two: leave 'groove width' out here, give it another title, or change the other."
    )


def test_a_check_of_what_is_only_read_elsewhere_is_kept(course_folder):
    """The real openings are only read; a course that also grades the width of the panel opening gets its check."""
    text = CHECK.replace("groove.width]", "bay.*.width]").replace("check: groove", "check: bays")
    course = own_check(course_folder, text, "99_bays.yaml")
    assert check_of(course, "door.bay.1.width").check == "bays"
    assert [check.id for check in every_check(course)].count("door.bay.1.width") == 1


def test_a_named_list_is_read_member_by_member(course_folder):
    """The spaces of dividers have names of their own: `space.*.height` reads upper and lower."""
    text = CHECK.replace("groove.width]", "space.*.height]").replace("frame and panel", "dividers")
    course = own_check(course_folder, text.replace("check: groove", "check: spaces"), "00_spaces.yaml")
    assert {check.id for check in every_check(course) if check.check == "spaces"} == {
        "divider.upper.height", "divider.lower.height",
    }  # fmt: skip


def test_a_formula_that_fails_on_what_was_read_is_told(course_folder):
    """Readings that make a check's formula divide by zero are a refusal in words, not a traceback."""
    formula = "groove.width * ((1 mm) / (groove.depth - groove.width))"
    text = CHECK.replace("points: 5", f"kind: fit, is: {formula}").replace("groove.width]", "groove.width, groove.depth]")
    course = own_check(course_folder, text)
    take(course, {"door.groove.width": "6", "door.groove.depth": "6"})
    with pytest.raises(InputRefused) as caught:
        result(course, "door.groove.groove_width")
    assert str(caught.value) == (
        f"checks: B055: '{formula}' divides by zero with what was read\n"
        "    Write the formula of the check so that it cannot."
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "shop: {instruments: {rule: steel ruler}}",
            "course.yaml:5:28: B053: there is no instrument 'steel ruler'\n"
            "    Did you mean 'steel rule' or 'inch steel rule'?",
        ),
        (
            "shop: {instruments: {ruler: steel rule}}",
            "course.yaml:5:29: B053: nothing is read with 'ruler'\n    Did you mean 'rule'?",
        ),
    ],
)
def test_an_instrument_the_course_does_not_know_is_told(course_of, text: str, says: str):
    """The shop's instruments are those of the list."""
    assert says in refused(course_of, course=f"{COURSE}{text}\n")


def test_a_shop_with_a_finer_rule_is_surer(course_of):
    """An instrument that the course names is taken instead of the usual one."""
    course = course_of(course=f"{COURSE}shop: {{instruments: {{rule: digital caliper}}}}\n")
    take(course, {"door.rail.top.shoulder": "100"})
    assert result(course, "door.rail.top.shoulder")[0].u < 0.05


def test_a_panel_may_sit_ten_thousandths_behind(course_of):
    """A finished panel may lie about 0.010 in behind its frame (common practice): no less deep a rabbet is inside its band."""
    checks = {check.id: check for check in checks_of(course_of())}
    assert checks["back.panel.front_rabbet"].lower == -INCH / 100


def test_the_last_fit_may_take_a_thirty_second(course_of):
    """Planing a frame to its opening may take 1/32 in (common practice), and the sheet says so."""
    course = course_of()
    assert course.plan_values["back.last_fit"] == INCH / 32


def test_a_check_reads_with_the_instrument_that_the_kind_names(course):
    """A size has one instrument, whether its own check reads it or the target of another follows it; rods are read
    off on the rule."""
    for check in every_check(course):
        for name, _, word in check.reads:
            read = course.cabinet.graph[name].read
            assert read and TOOLS[read.instrument] == TOOLS[word], name


FOUR_SIDES = {
    "case.edge.front.bottom": "400", "case.edge.front.top": "396",
    "case.edge.front.left": "600", "case.edge.front.right": "600",
    "case.diagonal.front_a": "720.0", "case.diagonal.front_b": "720.0",
}  # fmt: skip
"""A front 4 mm narrower at the top with equal diagonals; by the cosine rule its corners are 89.81 and 90.19 degrees."""


@pytest.fixture
def four_sides(course_folder):
    path = course_folder() / "plan.yaml"
    text = path.read_text("utf-8")
    assert text.count("    kind: carcass\n") == 1
    chosen = text.replace("    kind: carcass\n", "    kind: carcass\n    square_by: sides and diagonals\n")
    path.write_text(chosen, "utf-8")
    return read_course(path.parent)


def test_a_plan_judged_by_four_sides_is_proof_read_without_a_word_more(course, four_sides):
    """Nothing that the new check rests on breaks it by an ordinary error."""
    assert proof(four_sides) == proof(course)


def test_equal_diagonals_alone_prove_little(four_sides):
    """Bottom 400, top 396, legs 600, both diagonals 720.0: the diagonals agree, the bottom corners are 89.81 degrees."""
    take(four_sides, FOUR_SIDES)
    (diagonals,) = result(four_sides, "case.case_square.front_diagonals")
    (corners,) = result(four_sides, "case.case_square.corners_of_the_front")
    assert (diagonals.value, corners.value) == (0, 2)
    assert round(degrees(acos(corners.value / 600)), 2) == 89.81
    assert corners.u > diagonals.u > 0


def test_a_spare_size_shows_a_misreading(four_sides):
    """Five sizes of a flat front fix the sixth: 396.0 at the top; 399 read there is 3 mm from what the others say."""
    take(four_sides, FOUR_SIDES)
    assert float(result(four_sides, "case.case_square.the_top_against_the_five_other_sizes")[0].value) == pytest.approx(0, abs=1e-6)
    take(four_sides, {"case.edge.front.top": "399"}, attempt=2)
    first, again = result(four_sides, "case.case_square.the_top_against_the_five_other_sizes")
    assert float(first.value) == pytest.approx(0, abs=1e-6), "the first attempt keeps its own readings"
    assert float(again.value) == pytest.approx(3, abs=1e-6)


def test_four_sides_are_asked_for_only_where_the_plan_wants_them(course, four_sides):
    """A case judged by its diagonals has no such check."""
    wanted = {c.id for c in checks_of(four_sides)} - {c.id for c in checks_of(course)}
    assert wanted == {
        "case.case_square.corners_of_the_front", "case.case_square.the_top_against_the_five_other_sizes"
    }  # fmt: skip


def test_a_size_made_to_the_real_case_is_no_surer_than_the_reading_of_the_case(course):
    """Rail and opening read with one rule, two stiles with the caliper: each weighs as it moves the target, GUM 5.1."""
    take(course, {"door.rail.top.shoulder": "261"})
    rule = uncertainty(instrument("steel rule", None), Fraction(261))
    assert result(course, "door.rail.top.shoulder")[0].u == pytest.approx(rule)
    take(course, {"divider.upper.width": "364 364 364", "door.stile.left.width": "50", "door.stile.right.width": "50"})
    opening = uncertainty(instrument("steel rule", None), Fraction(364), 3)
    stile = uncertainty(instrument("digital caliper", None), Fraction(50))
    wanted = (rule**2 + opening**2 + 2 * stile**2) ** 0.5
    assert result(course, "door.rail.top.shoulder")[0].u == pytest.approx(wanted)


class TestDrawer:
    """A drawer's hold points: common practice, bands invented for the demo course."""

    def test_the_side_gap_is_judged_at_three_places_of_its_travel(self, course_of, drawers_plan):
        """Left and right each want 0.5, from 0.3 to 0.7, whatever the width of the drawer that was read."""
        course = course_of(plan=drawers_plan)
        take(course, {"tray.width": "361.4 361.4 361.4", "tray.gap.left": "0.6 0.7 0.8", "tray.gap.right": "0.3 0.4 0.5"})
        for side, value in (("left", "0.7"), ("right", "0.4")):
            check = check_of(course, f"tray.gap.{side}")
            (one,) = measure(check, course, course.student("s1"))
            assert (check.where, check.reads[0][1:], check.stage, check.who) == (
                f"tray {side}", (3, "feeler"), "finish", "partner",
            )  # fmt: skip
            assert (one.value, one.target) == (Fraction(value), Fraction("0.5"))
            assert (check.lower, check.upper) == (Fraction("-0.2"), Fraction("0.2"))
            assert check.over.startswith("Is the drawer out of wind?") and "wind" in check.under

    def test_a_drawer_is_square_flat_and_not_too_high(self, course_of, drawers_plan):
        """Diagonals 1.0 apart at most, wind 0.5, the height against the opening as it was read; the width is only read."""
        course = course_of(plan=drawers_plan)
        take(course, {"divider.low.height": "120.6 121.0", "tray.diagonal.a": "404.1", "tray.diagonal.b": "403.3"})
        take(course, {"tray.wind": "0.4", "tray.height": "118.0 118.2"})
        found = {c.title: measure(c, course, course.student("s1")) for c in every_check(course) if c.check == "drawer_box"}
        values = {title.partition(": ")[2]: one[0].deviation for title, one in found.items() if one}
        assert values == {
            "diagonals: difference": Fraction("0.8"), "wind: gap under a corner": Fraction("0.4"),
            "height of the drawer": Fraction("118.2") - (Fraction("120.6") * Fraction("0.99008") - 1),
        }  # fmt: skip
        limits = {c.what: c.upper for c in every_check(course) if c.check == "drawer_box" and c.assembly == "tray"}
        assert (limits["diagonals: difference"], limits["wind: gap under a corner"]) == (1, Fraction("0.5"))

    def test_slides_want_their_room_and_no_gap_is_read_there(self, course_of, drawers_plan):
        """On slides of 12.7 the room is 25.4 in all, 0.3 less to 1.0 more; gaps are read only where wood runs on wood."""
        course = course_of(plan=drawers_plan)
        take(course, {"divider.middle.width": "364 364 364", "box.width": "338.0 338.0 338.0"})
        (check,) = (c for c in every_check(course) if c.check == "drawer_slides")
        (one,) = measure(check, course, course.student("s1"))
        assert (one.value, one.target, check.lower, check.upper) == (26, Fraction("25.4"), Fraction("-0.3"), 1)
        assert {c.assembly for c in every_check(course) if c.check == "drawer_travel"} == {"tray"}


def test_what_is_read_again_follows_every_edit(course_folder):
    """Plan, kind, check and instrument files that are edited between two readings of one folder count as they are now."""
    course = own_check(course_folder, CHECK)
    folder = course.folder
    assert read_course(folder).cabinet is course.cabinet
    assert {one.group for one in every_check(course) if one.check == "groove"} == {"Our groove"}
    (folder / "checks" / "06_groove.yaml").write_text(CHECK.replace("Our groove", "Their groove"), "utf-8")
    assert {one.group for one in every_check(course) if one.check == "groove"} == {"Their groove"}

    plan = folder / "plan.yaml"
    plan.write_text(plan.read_text("utf-8").replace("stile.width: 50", "stile.width: 47"), "utf-8")
    assert course.plan_values["door.stile.left.width"] == 50
    assert read_course(folder).plan_values["door.stile.left.width"] == 47

    kind = files("course").joinpath("kinds", "frame_and_panel.yaml").read_text("utf-8")
    (folder / "kinds").mkdir()
    own = folder / "kinds" / "frame_and_panel.yaml"
    own.write_text(kind, "utf-8")
    assert read_course(folder).cabinet.assemblies["door"].kind == "frame and panel"
    own.write_text(kind.replace("kind: frame and panel", "kind: framed panel", 1), "utf-8")
    with pytest.raises(InputRefused, match="there is no kind 'frame and panel'"):
        read_course(folder)

    tools = folder / "instruments.yaml"
    text = files("rubrics").joinpath("instruments.yaml").read_text("utf-8")
    tools.write_text(text, "utf-8")
    assert instrument("digital caliper", folder).graduation == Fraction("0.01")
    tools.write_text(text.replace("graduation: 0.01 mm", "graduation: 0.02 mm", 1), "utf-8")
    assert instrument("digital caliper", folder).graduation == Fraction("0.02")


def test_the_back_is_judged_by_the_gap_on_each_side(course):
    """0.5 mm with 0.3 either way, by feeler: 0.8 on the left is inside, 0.1 above is not; the size is only read."""
    take(course, {"back.gap.left": "0.8", "back.gap.right": "0.2", "back.gap.top": "0.1", "back.gap.bottom": "0.9"})
    found = {side: result(course, f"back.gap.{side}")[0].deviation for side in ("left", "right", "top", "bottom")}
    assert found == {side: Fraction(off) for side, off in zip(found, ("0.3", "-0.3", "-0.4", "0.4"), strict=True)}
    checks = [check_of(course, f"back.gap.{side}") for side in found]
    assert {(c.lower, c.upper, c.instrument, c.who, c.releases) for c in checks} == {
        (Fraction("-0.3"), Fraction("0.3"), "feeler", "instructor", "fitted_back")
    }
    assert [check_of(course, f"back.{size}").kind for size in ("width", "height")] == ["measure", "measure"]
