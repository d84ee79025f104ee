"""Remedies: the worked knock-on sizes of common practice on the class cabinet, exact to the last decimal given."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given as for_all
from hypothesis import settings
from hypothesis import strategies as st

from course.build import build, list_keys
from course.cabinet import Rule
from course.course import Course
from course.course_folder import read_course
from course.formula import parse
from course.kinds import read_library
from course.plan import read_plan
from course.readings import Reading
from course.remedies import remedies
from course.remedy_files import COSTS, read_remedies
from course.remedy_words import Option, Remedy
from course.spare_parts import spares_left
from shared.problems import InputRefused

CLASS_PLAN = files("course").joinpath("demo", "plan.yaml").read_text("utf-8")
LIBRARY = read_library()
CABINET = build(read_plan(CLASS_PLAN, "plan.yaml", list_keys(LIBRARY)), LIBRARY)


def in_folder(folder: Path) -> Course:
    """The class cabinet and one student, in a folder of its own."""
    (folder / "course.yaml").write_text("title: Test\nid: test\ndate: 2026-10-05\ninvented: yes\n", "utf-8")
    (folder / "plan.yaml").write_text(CLASS_PLAN, "utf-8")
    (folder / "roster.csv").write_text("id,name\ns1,Ada Test\n", "utf-8")
    return read_course(folder)


@pytest.fixture
def found(course_of) -> Callable[..., dict[str, Remedy]]:
    """The remedies of a student with these readings and these parts cut, by name."""

    def work(readings: dict[str, str], states: dict[str, str] | None = None, **texts: str) -> dict[str, Remedy]:
        return {one.name: one for one in remedies(*with_readings(course_of(**texts), readings, states))}

    return work


def with_readings(course: Course, readings: dict[str, str], states: dict[str, str] | None = None, who: str = "s1"):
    """The course and its student after these marks and readings; several readings are separated by spaces."""
    student = course.student(who)
    for part, state in (states or {}).items():
        course.mark(student, part, state)
    course.log.add(
        Reading(who, quantity, place, 1, value, Fraction(value))
        for quantity, values in readings.items()
        for place, value in enumerate(values.split(), 1)
    )
    course.fresh()
    return course, student


def option(remedy: Remedy, name: str) -> Option:
    return next(o for o in remedy.options if o.name == name)


def names(remedy: Remedy) -> list[str]:
    return [o.name for o in remedy.options]


def new(option: Option) -> dict[str, Fraction]:
    return {change.quantity: change.new for change in option.changes}


def mm(text: str) -> Fraction:
    return Fraction(text)


def has(option: Option, **sizes: str) -> None:
    """Every one of these sizes is told as new, exactly."""
    moved = new(option)
    for name, size in sizes.items():
        assert moved[name.replace("__", ".")] == mm(size), name


RAILS = {"back.rail.top.shoulder": "289.5", "back.rail.bottom.shoulder": "289.5"}


def test_rails_short_with_stiles_open(found):
    """Story 6: rails of 289.5 for 291.0 leave stiles of 45.75, a lipping of 0.75 or new rails; panels become 139.25."""
    remedy = found(RAILS)["short rails"]
    assert (remedy.where, remedy.says) == ("back", "rails 1.5\u00a0mm short from shoulder to shoulder")
    assert names(remedy) == ["leave the stiles wider", "glue a lipping on each stile", "cut the short rails again"]
    wider, lipping, again = remedy.options
    has(wider, back__stile__left__width="45.75", back__stile__right__width="45.75")
    assert "plane it to 0.75\u00a0mm" in lipping.do
    for one in (wider, lipping):
        has(one, back__panel__1__width="139.25", back__panel__2__width="139.25")
        assert "B-P1, B-P2: width 140.0\u00a0mm \u2192 139.25\u00a0mm" in one.sizes
        assert not any(name.startswith("back.muntin") for name in new(one))
    assert again.changes == ()
    assert again.stock == "B-RT again, 311.0 \u00d7 45.0 \u00d7 18.0 mm; B-RB again, 311.0 \u00d7 45.0 \u00d7 18.0 mm"


def test_rails_short_with_stiles_ripped(found):
    """A stile that is cut, or whose width has been read, is not made wider."""
    for readings, states in ((RAILS, {"B-SL": "cut"}), (RAILS | {"back.stile.left.width": "45.0"}, {})):
        remedy = found(readings, states)["short rails"]
        assert names(remedy) == ["glue a lipping on each stile", "cut the short rails again"]


def test_one_short_rail_is_cut_again(found):
    """Only the rail that is short is made again; a lipping would not mend the other."""
    remedy = found({"back.rail.top.shoulder": "289.5", "back.rail.bottom.shoulder": "291.0"})["short rails"]
    assert names(remedy) == ["cut the short rails again"]
    assert remedy.options[0].stock == "B-RT again, 311.0 \u00d7 45.0 \u00d7 18.0 mm"


def test_a_rail_that_is_off_by_a_hair_is_not_cut_again(found):
    """0.15 short is left as it is: only the rail that is 1.5 short is made again."""
    remedy = found({"back.rail.top.shoulder": "289.5", "back.rail.bottom.shoulder": "290.85"})["short rails"]
    assert remedy.options[0].stock == "B-RT again, 311.0 \u00d7 45.0 \u00d7 18.0 mm"


def test_one_wide_dado(found):
    """A dado 0.3 too wide is veneered on the hidden face; no length changes."""
    remedy = found({"divider.dado.1_left.width": "18.2"})["wide dado"]
    assert remedy.where == "divider (V-D), left"
    assert remedy.size == mm("0.3")
    assert names(remedy) == ["veneer the hidden face"]
    assert "a veneer of 0.3\u00a0mm" in remedy.options[0].do
    assert remedy.options[0].changes == ()


def test_all_dadoes_wide(found):
    """All dadoes wide by the same: one remedy for all places, the same face everywhere."""
    remedy = found({"divider.dado.1_left.width": "18.2", "divider.dado.1_right.width": "18.2"})["wide dado"]
    assert remedy.where == "divider (V-D), left; divider (V-D), right"
    assert names(remedy) == ["veneer the same face everywhere"]


def test_one_dado_too_deep(found):
    """A dado of 7.2 for 6: that part 377.2 long, or the floor packed by 1.2; nothing else changes."""
    longer, packed = found({"divider.dado.1_left.depth": "7.2"})["deep housing"].options
    assert new(longer) == {"divider.divider.1.length": mm("377.2")}
    assert "a packing of 1.2\u00a0mm" in packed.do
    assert packed.changes == ()


def test_a_cut_part_is_never_made_longer(found):
    """With the divider cut, only the packing is left."""
    remedy = found({"divider.dado.1_left.depth": "7.2"}, {"V-D": "cut"})["deep housing"]
    assert names(remedy) == ["pack the floor"]


def test_divider_too_high(found):
    """A divider 3 too high is accepted with a door of 420 instead of 423, or patched and cut again."""
    for readings in (
        {"divider.lower.height": "123 123"},
        {"divider.lower.height": "123 123", "divider.upper.height": "423 423"},
        {"divider.upper.height": "423 423"},
    ):
        accept, patch = found(readings)["divider off its line"].options
        has(accept, door__height="420", door__stile__left__length="420")
        assert patch.changes == ()


def test_a_cut_door_stile_gets_a_consequence_not_a_size(found):
    """A stile that is cut is named with what to trim, and is not among the new sizes."""
    remedy = found({"divider.lower.height": "123 123"}, {"D-SL": "cut"})["divider off its line"]
    accept = remedy.options[0]
    assert "door.stile.left.length" not in new(accept)
    assert accept.already_cut == ("D-SL is cut: length is 423.0\u00a0mm, needs 420.0\u00a0mm: trim 3.0\u00a0mm",)


def test_horizontals_short(found):
    """Three horizontals 1.2 short: case 398.8, inside 362.8, back 379.8, rails 289.8 and 279.8, panels 139.4."""
    short = {"case.top.length": "374.8", "case.bottom.length": "374.8", "divider.divider.1.length": "374.8"}
    remedy = found(short)["short top or bottom"]
    accept = option(remedy, "accept a narrower case")
    has(
        accept,
        case__outside__width="398.8", case__inside__width="362.8", back__width="379.8",
        back__rail__top__shoulder="289.8", back__panel__1__width="139.4", back__panel__2__width="139.4",
        door__width="359.8", door__rail__top__length="279.8", shelf__board__length="360.8",
    )  # fmt: skip
    assert "measure the recess for the back" in accept.do
    assert "380.8\u00a0mm" in accept.do
    assert "divider.divider.1.length" not in new(accept)


def test_one_horizontal_short_is_trimmed_to_or_cut_again(found):
    """Top short, bottom right: trim the longer one to 374.8, or cut the short one again."""
    remedy = found({"case.top.length": "374.8", "case.bottom.length": "376"})["short top or bottom"]
    trim, again = remedy.options
    has(trim, divider__divider__1__length="374.8", case__outside__width="398.8")
    assert again.stock == "C-T again, 376.0 \u00d7 200.0 \u00d7 18.0 mm"


def test_case_out_of_square(found):
    """Diagonals 722.11 and 720.11: clamp by 1.0 while wet; dry, a door blank of 362.3 trimmed to a lean of 1.27."""
    readings = {"case.diagonal.front_a": "722.11", "case.diagonal.front_b": "720.11"}
    clamp, fit = found(readings)["front out of square"].options
    assert "1.0\u00a0mm shorter" in clamp.do
    assert clamp.changes == ()
    moved = new(fit)
    assert round(float(moved["door.blank.width"]), 1) == 362.3
    assert round(float(moved["door.lean"]), 2) == 1.27
    assert set(moved) == {"door.blank.width", "door.lean"}


def test_a_glued_case_is_not_clamped(found):
    """Once glued there is no clamping; a back that leans is trimmed to its recess."""
    readings = {"case.diagonal.back_a": "722.11", "case.diagonal.back_b": "720.11"}
    remedy = found(readings, {"C-SL": "glued"})["back out of square"]
    assert names(remedy) == ["trim the back to the shape"]
    assert {change.quantity for change in remedy.options[0].changes} == {"back.blank.width", "back.lean"}


def test_one_diagonal_alone_says_nothing(found):
    """A single diagonal that is not as planned is no remedy's case."""
    assert found({"case.diagonal.front_a": "725"}) == {}


STILES = {"door.stile.left.width": "49.6", "door.stile.right.width": "49.6"}


def test_narrow_stiles_before_the_rails_are_cut(found):
    """Stiles 0.4 narrow each: the rails become 0.8 longer."""
    (longer,) = found(STILES)["narrow stiles"].options
    has(longer, door__rail__top__shoulder="261.8", door__rail__top__length="281.8")


def test_narrow_stiles_after_the_rails_are_cut(found):
    """Rails cut: a lip of 0.4 on the hinge stile, or a door 0.8 narrow with reveals of 1.9."""
    remedy = found(STILES, {"D-RT": "cut", "D-RB": "cut"})["narrow stiles"]
    lip, accept = remedy.options
    assert "a lip of 0.4\u00a0mm" in lip.do
    assert lip.ask_first
    has(accept, door__width="360.2", door__reveal__left="1.9", door__reveal__right="1.9")
    assert "0.8\u00a0mm narrow" in accept.do
    assert not any(name.startswith("door.rail") for name in new(accept))


@pytest.mark.parametrize("frame", ["door", "back"])
def test_a_frame_that_has_been_measured_is_no_longer_judged_by_its_stiles(found, frame: str):
    """Stiles 0.4 narrow and rails cut, but the frame itself read as it should be: nothing is to be accepted."""
    stile, rail, whole = {"door": ("49.6", "261", "361"), "back": ("44.6", "291", "381")}[frame]
    cut = {f"{frame}.stile.{side}.width": stile for side in ("left", "right")}
    cut |= {f"{frame}.rail.{end}.shoulder": rail for end in ("top", "bottom")}
    assert "narrow stiles" in found(cut)
    assert "narrow stiles" not in found(cut | {f"{frame}.width": whole})


def test_rails_cut_to_the_real_stiles_need_no_remedy(found):
    """When the rails were cut to the narrow stiles, nothing is left to put right."""
    rails = {"door.rail.top.shoulder": "261.8", "door.rail.bottom.shoulder": "261.8"}
    assert found(STILES | rails) == {}


def test_wide_groove(found):
    """Groove 6.5, front lip 4.75: tenon 6.4 with cheeks 4.80 and 6.80, tongue 6.3, rabbets 4.85 and 0.85; or fill 0.4."""
    fit, fill = found({"back.groove.width": "6.5", "back.groove.front_lip": "4.75"})["wide groove"].options
    has(
        fit,
        back__tenon__thickness="6.4", back__tenon__face_shoulder="4.80", back__tenon__back_shoulder="6.80",
        back__panel__front_rabbet="4.85", back__panel__tongue="6.3", back__panel__back_rabbet="0.85",
    )  # fmt: skip
    assert "a strip of 0.4\u00a0mm" in fill.do
    has(fill, back__tenon__thickness="6.0")


def test_a_frame_without_muntins_has_remedies_too(found):
    """The door has no muntin; its wide groove is fitted or filled all the same."""
    remedy = found({"door.groove.width": "6.5"})["wide groove"]
    assert names(remedy) == ["fit tenons and tongues to it", "fill one wall and run it again"]


def test_tenons_that_are_cut_are_not_fitted_to_the_groove(found):
    """With rails jointed, or the tenon read, the groove can only be filled."""
    readings = {"back.groove.width": "6.5"}
    assert names(found(readings, {"B-RT": "jointed"})["wide groove"]) == ["fill one wall and run it again"]
    read = found(readings | {"back.tenon.thickness": "6.4"})["wide groove"]
    assert names(read) == ["fill one wall and run it again"]


def test_a_way_out_that_the_geometry_forbids_is_not_offered(found):
    """Grooves from the wrong face need a back rabbet of -0.9 in panels of 12, so only with the panel set back 0.9."""
    remedy = found({"back.groove.front_lip": "7.0"})["groove from the wrong face"]
    assert names(remedy) == [
        "let the faces change places and set the panel back",
        "let the faces change places and thin the tongue",
        "groove that part again",
    ]
    back, thin, again = remedy.options
    has(back, back__tenon__face_shoulder="7.05")
    assert "set the panel 0.9\u00a0mm behind" in back.do
    assert "flush it would lack 0.9\u00a0mm" in back.do
    has(thin, back__panel__tongue="4.9")
    assert "stand 2.0\u00a0mm off" in again.do


def test_a_thicker_panel_allows_the_plain_way_out(found):
    """In panels of 14 the faces simply change places; the panel need not be set back."""
    plan = CLASS_PLAN.replace("form: solid, thickness: 12", "form: solid, thickness: 14")
    remedy = found({"back.groove.front_lip": "7.0"}, plan=plan)["groove from the wrong face"]
    assert names(remedy) == ["let the two faces change places", "groove that part again"]
    has(remedy.options[0], back__tenon__face_shoulder="7.05", back__panel__back_rabbet="1.1")


def test_thin_tenon(found):
    """A tenon of 5.6 in a groove of 6.1 takes a strip of 0.4 on its back cheek."""
    remedy = found({"back.groove.width": "6.1", "back.tenon.thickness": "5.6"})["thin tenon"]
    (strip,) = remedy.options
    assert "a strip of 0.4\u00a0mm on the back cheek" in strip.do
    assert strip.changes == ()
    assert "the set-up is the cause" in remedy.look_first


def test_open_shoulder(found):
    """A shoulder 0.8 open: the tenon's end is trimmed by 0.8 and 0.5; no size changes."""
    (trim,) = found({"back.tenon.length": "11.3"})["open shoulder"].options
    assert "by 1.3\u00a0mm: 0.8\u00a0mm that it is too long, and 0.5\u00a0mm for the glue" in trim.do
    assert trim.changes == ()


def test_open_shoulder_over_chips(found):
    """A groove read shallower than it was run is cleared first."""
    remedy = found({"back.tenon.length": "10", "back.groove.depth": "9.2"})["open shoulder"]
    assert names(remedy) == ["clear the groove", "trim the tenon"]
    assert remedy.options[0].changes == ()


def test_narrow_panel(found):
    """A panel of 137 for 140 in cherry reaches 7.0, and 6.32 when it has shrunk; its field is 114 instead of 117."""
    remedy = found({"back.panel.1.width": "137"})["narrow panel"]
    centre, again = remedy.options
    assert remedy.where == "back panel 1 (B-P1)"
    assert "reaches 7.0\u00a0mm" in centre.do
    assert "about 6.32\u00a0mm when it has shrunk" in centre.do
    assert "114.0\u00a0mm wide instead of 117.0\u00a0mm" in centre.do
    assert again.stock == "B-P1 again, 508.0 \u00d7 140.0 \u00d7 12.0 mm"


def test_a_panel_that_would_fall_out_is_made_again(found):
    """A panel that would reach less than 5 mm when shrunk is not kept."""
    assert names(found({"back.panel.1.width": "133"})["narrow panel"]) == ["make the panel again"]


def test_deep_front_rabbet_before_the_back_rabbet(found):
    """Front rabbet 5.8 for 5.1: the back rabbet becomes 0.4 and 0.7 is planed off the face."""
    plane, proud = found({"back.panel.front_rabbet": "5.8"})["deep front rabbet"].options
    has(plane, back__panel__back_rabbet="0.4")
    assert "plane 0.7\u00a0mm off" in plane.do
    assert "0.7\u00a0mm proud" in proud.do


def test_deep_front_rabbet_after_the_back_rabbet(found):
    """With the back rabbet cut the tongue is only 5.1: a strip of 0.7 on its front makes it flush."""
    for readings, states in (
        ({"back.panel.front_rabbet": "5.8", "back.panel.back_rabbet": "1.1"}, {}),
        ({"back.panel.front_rabbet": "5.8"}, {"B-P1": "jointed"}),
    ):
        strip, proud = found(readings, states)["deep front rabbet"].options
        assert "only 5.1\u00a0mm thick" in strip.do
        assert "a strip of 0.7\u00a0mm" in strip.do
        assert proud.name == "leave all panels proud"


def test_narrow_door(found):
    """A door of 359: a lip of 1.0 makes it 360 with reveals of 2.0, or the gap of 2.5 is shared."""
    lip, share = found({"door.width": "359"})["narrow door"].options
    assert "a lip of 1.0\u00a0mm" in lip.do
    assert "The door is 360.0\u00a0mm wide" in lip.do
    has(lip, door__reveal__left="2.0", door__reveal__right="2.0")
    has(share, door__reveal__left="2.5", door__reveal__right="2.5")


def test_a_back_is_judged_by_both_its_gaps(found):
    """Gaps of 1.2 and 1.0 for 0.5 each: 1.2 narrow; in the middle it has 1.1 on each side, or it gets a lip of 1.2."""
    remedy = found({"back.gap.left": "1.2", "back.gap.right": "1.0"})["narrow back"]
    assert (remedy.where, remedy.says) == ("back", "back 1.2\u00a0mm narrow for its recess")
    lip, share = remedy.options
    assert "1.1\u00a0mm on each side instead of 0.5\u00a0mm" in share.do and share.costs == "shows"
    assert (lip.stock, lip.ask_first, lip.changes) == ("a lip of 1.2\u00a0mm, grain along the stile", True, ())
    low = found({"back.gap.top": "0.9", "back.gap.bottom": "0.9"})["short back"]
    assert low.says == "back 0.8\u00a0mm short for its recess"
    assert [o.do for o in low.options if o.name == "share the gap"] == [
        "Leave it, in the middle of its recess: 0.9\u00a0mm at each end instead of 0.5\u00a0mm."
    ]


def test_a_back_that_is_too_large_is_planed_by_half_on_each_side(found):
    """Gaps of 0.1 and 0.2 for 0.5 each: 0.7 too much, 0.35 off each edge; of the height likewise."""
    tight = found({"back.gap.left": "0.1", "back.gap.right": "0.2"})["tight back"]
    assert tight.says == "back 0.7\u00a0mm wide for its recess"
    assert tight.options[0].do.startswith("Plane 0.35\u00a0mm off each long edge")
    high = found({"back.gap.top": "0.1", "back.gap.bottom": "0.2"})["high back"]
    assert high.says == "back 0.7\u00a0mm high for its recess"
    assert high.options[0].do.startswith("Plane 0.35\u00a0mm off each end")


@pytest.mark.parametrize(("left", "right"), [("1.0", "0.0"), ("0.8", "0.8"), ("0.2", "0.2")])
def test_a_back_that_is_only_off_the_middle_needs_no_wood(found, left, right):
    """1.0 and 0.0 are 0.5 each when it is shifted; 0.8 or 0.2 on both sides is inside what is allowed."""
    assert found({"back.gap.left": left, "back.gap.right": right}) == {}


def test_one_gap_alone_says_nothing_of_the_size_of_a_back(found):
    """The other gap may be as much too narrow."""
    assert found({"back.gap.left": "1.4"}) == {}


def test_nothing_is_wrong_without_readings_or_within_the_bands(found):
    """No remedy without a reading, nor for readings a tenth off."""
    assert found({}) == {}
    assert found({"back.rail.top.shoulder": "290.9", "back.groove.width": "6.1", "door.width": "360.9"}) == {}


def test_sizes_are_told_in_the_students_units(course_of):
    """A student who works in inches reads fractions, and small amounts in thousandths."""
    (remedy,) = remedies(*with_readings(course_of(), RAILS, who="s2"))
    assert remedy.says == "rails 0.059\u00a0in short from shoulder to shoulder"
    assert "B-P1, B-P2: width 5\u00a033/64\u00a0in \u2192 5\u00a031/64\u00a0in" in remedy.options[0].sizes


GOOD = """remedy: short shelf
says: short
kinds: [loose shelf]
reads: [board.length]
if: off.board.length <= -1 mm
size: -off.board.length
look_first: Is it the right shelf?
options:
  - {name: use it, do: "Use it {board.length} long.", minutes: 1, costs: time}
source: common practice
"""


def test_a_course_adds_remedies_of_its_own(course_folder):
    """A file in the course folder's `remedies` is used beside the built-in ones."""
    folder = course_folder()
    (folder / "remedies").mkdir()
    (folder / "remedies" / "short_shelf.yaml").write_text(GOOD, "utf-8")
    (remedy,) = remedies(*with_readings(read_course(folder), {"shelf.board.length": "360"}))
    assert (remedy.name, remedy.options[0].do) == ("short shelf", "Use it 360.0\u00a0mm long.")


@pytest.mark.parametrize(
    ("old", "bad", "code", "place", "says"),
    [
        ("says: short", "said: short", "N002", "remedies/short_shelf.yaml:2:1", "a remedy has no 'said'"),
        ("costs: time", "costs: money", "N002", "remedies/short_shelf.yaml:9:", "costs is 'money'"),
        ("minutes: 1", "minutes: soon", "N002", "remedies/short_shelf.yaml:9:", "minutes is 'soon'"),
        ("kinds: [loose shelf]", "kinds: []", "N002", "remedies/short_shelf.yaml:1:1", "'short shelf' is for no kind"),
        ("minutes: 1", "minutes: 1, not_yet: {sawn: board}", "N002", "remedies/short_shelf.yaml:9:",
         "there is no state 'sawn'"),
        ("if: off", "if: [off", "N001", "remedies/short_shelf.yaml:6:5", "the file is not valid YAML"),
        ("-off.board.length", "-off.bored.length", "N003", "remedies/short_shelf.yaml:6:7",
         "there is no quantity 'bored.length' here"),
        ("<= -1 mm", "<= -1", "N003", "remedies/short_shelf.yaml:5:5", "'off.board.length <= -1' compares"),
        ("{board.length}", "{board.length + 1}", "N003", "remedies/short_shelf.yaml:9:", "adds a length and a bare"),
    ],
)  # fmt: skip
def test_a_remedy_that_cannot_be_used_is_refused_with_its_place(course_folder, old, bad, code, place, says):
    """Each fault of a file is told with its line and what is wrong."""
    folder = course_folder()
    (folder / "remedies").mkdir()
    assert old in GOOD
    (folder / "remedies" / "short_shelf.yaml").write_text(GOOD.replace(old, bad), "utf-8")
    with pytest.raises(InputRefused) as refused:
        remedies(*with_readings(read_course(folder), {"shelf.board.length": "360"}))
    problems = [p for p in refused.value.problems if p.code == code]
    assert any(says in p.says for p in problems), refused.value
    assert any(str(p.place).startswith(place) for p in problems), refused.value


def test_built_in_remedies_can_be_read():
    """No built-in file has a fault, and each names its source."""
    library = read_remedies()
    assert library.problems == ()
    assert all(spec.source for spec in library.definitions)


SHOWN_BY = {
    "back out of square": {"case.diagonal.back_a": "722.1", "case.diagonal.back_b": "720.1"},
    "deep front rabbet": {"back.panel.front_rabbet": "5.8"},
    "deep housing": {"divider.dado.1_left.depth": "7.2"},
    "divider off its line": {"divider.lower.height": "123 123"},
    "front out of square": {"case.diagonal.front_a": "722.1", "case.diagonal.front_b": "720.1"},
    "groove from the wrong face": {"back.groove.front_lip": "7.0"},
    "high back": {"back.gap.top": "0.1", "back.gap.bottom": "0.2"},
    "narrow back": {"back.gap.left": "1.2", "back.gap.right": "1.0"},
    "narrow door": {"door.width": "359"},
    "narrow panel": {"back.panel.1.width": "137"},
    "narrow stiles": {"door.stile.left.width": "49.6", "door.stile.right.width": "49.6"},
    "open shoulder": {"back.tenon.length": "11.3"},
    "short back": {"back.gap.top": "0.9", "back.gap.bottom": "0.9"},
    "short rails": RAILS,
    "short top or bottom": {"case.top.length": "374.8", "case.bottom.length": "374.8"},
    "tight back": {"back.gap.left": "0.1", "back.gap.right": "0.2"},
    "thin tenon": {"back.groove.width": "6.1", "back.tenon.thickness": "5.6"},
    "wide dado": {"divider.dado.1_left.width": "18.2"},
    "wide groove": {"back.groove.width": "6.5", "back.groove.front_lip": "4.75"},
}
"""Readings of the class cabinet that show each mistake."""


def ruled(course: Course, rule: Rule) -> Course:
    """The course with one rule of the geometry more."""
    return replace(course, cabinet=replace(course.cabinet, rules=(*course.cabinet.rules, rule)), _values={})


@pytest.mark.parametrize("name", SHOWN_BY)
def test_no_way_out_is_offered_that_a_rule_of_the_geometry_forbids(course_of, name: str):
    """Of each remedy: a rule that a new size would break takes that way out away, and leaves those that keep it."""
    course, student = with_readings(course_of(), SHOWN_BY[name])
    (remedy,) = [one for one in remedies(course, student) if one.name == name]
    spec = next(rule for rule in course.cabinet.rules if rule.spec.stops)
    for offered in remedy.options:
        for change in offered.changes:
            kept = parse(f"{float(change.old)} mm", lambda name: (name,), {})
            read = course.cabinet.formula(change.quantity, "case")
            relation = "<=" if change.new > change.old else ">="
            left = remedies(ruled(course, replace(spec, left=read, relation=relation, right=kept)), student)
            still = [o.name for one in left if one.name == name for o in one.options]
            assert offered.name not in still, change.quantity
            others = [o for o in remedy.options if all(c.quantity != change.quantity for c in o.changes)]
            assert {o.name for o in others} <= set(still)


def test_every_built_in_remedy_is_shown_by_some_readings():
    """None of the nineteen is without a case here; those of drawers and pairs of doors have theirs elsewhere."""
    assert {spec.name for spec in read_remedies().definitions if not re.search("drawer|leaves", spec.name)} == set(
        SHOWN_BY
    )


@pytest.mark.parametrize("name", SHOWN_BY)
def test_each_way_out_says_what_it_costs(found, name: str):
    """Time, wood, whether to ask first, and what it means for the checks stand with every way out."""
    for offered in found(SHOWN_BY[name])[name].options:
        assert offered.minutes > 0 and offered.costs in COSTS and offered.checks
        assert offered.stock or offered.costs in ("time", "shows"), offered.name


SIXTEEN = "id,name\n" + "".join(f"s{number},Student {number}\n" for number in range(1, 17))


def test_spares_of_the_class_are_counted(found):
    """Story 7: of 64 rails with 8 % spoiled there are 9 spares; none is used yet."""
    remedy = found(RAILS, roster=SIXTEEN)["short rails"]
    assert option(remedy, "cut the short rails again").spares == "9 of the 9 spares for a rail are left"
    assert option(remedy, "glue a lipping on each stile").spares == ""


def test_a_part_that_was_made_again_has_used_a_spare(course_of):
    """Story 6: nine spares, five used: four are left."""
    course = course_of(roster=SIXTEEN)
    for number in range(2, 7):
        course.mark(course.student(f"s{number}"), "B-RT", "cut")
        course.mark(course.student(f"s{number}"), "B-RT", "remade")
    found = {one.name: one for one in remedies(*with_readings(course, RAILS))}
    assert option(found["short rails"], "cut the short rails again").spares == "4 of the 9 spares for a rail are left"


@pytest.mark.parametrize(
    ("stock", "says"),
    [
        ("", "and no board with its size is in stock.csv: look for one before anything is cut"),
        ("F,frame,18,300,200\n", "and no board in stock.csv is large enough: buy one first"),
        ("F,frame,18,2400,160\nG,frame,18,300,200\n", "so it takes a piece of F, if so much is left"),
    ],
)
def test_where_no_spare_is_left_the_stock_is_named(course_of, stock: str, says: str):
    """One student has no spare of a rail spoiled twice: a board that holds the blank of 336 x 51, or that there is none."""
    course = course_of(roster="id,name\ns1,Ada Test\n", stock=f"id,role,thickness 1,length,width\n{stock}")
    first, _ = spares_left(course, course.cabinet.part("back.rail.top"))
    for part in ("B-RT", "D-RT", "D-RB")[:first]:
        course.mark(course.student("s1"), part, "cut")
        course.mark(course.student("s1"), part, "remade")
    found = {one.name: one for one in remedies(*with_readings(course, RAILS))}
    spares = option(found["short rails"], "cut the short rails again").spares
    assert spares == f"none of the {first} spares for a rail is left, {says}"


def test_the_command_prints_the_ways_out(course_folder):
    """`remedy` prints each mistake with its ways out and ends with 1; with nothing to put right it ends with 0."""
    from typer.testing import CliRunner

    from course.commands import app

    folder = course_folder()
    with_readings(read_course(folder), RAILS)
    result = CliRunner().invoke(app, ["remedy", str(folder), "Ada"])
    text = result.output.replace("\u00a0", " ")
    assert result.exit_code == 1
    assert "Ada Test: it happens to everyone, and this can still be done." in text
    assert "back: rails 1.5 mm short from shoulder to shoulder" in text
    assert "Look first: Are the stiles ripped to their width yet?" in text
    assert "1. leave the stiles wider (about 10 minutes)" in text
    assert "2. glue a lipping on each stile (about 40 minutes)" in text
    assert text.count("Ask first: if a machine is used for it, the piece is small.") == 1
    assert "3. cut the short rails again (about 45 minutes)" in text
    assert max(map(len, text.splitlines())) <= 80
    clean = CliRunner().invoke(app, ["remedy", str(folder), "Bo"])
    assert (clean.exit_code, clean.output) == (0, "The readings of Bo Test ask for no remedy.\n")


@settings(max_examples=20, deadline=None)
@for_all(
    st.dictionaries(
        st.sampled_from([part.name for part in CABINET.parts]), st.sampled_from(["cut", "jointed", "glued"]), max_size=6
    ),
    st.dictionaries(
        st.sampled_from([q.name for q in CABINET.graph.quantities if q.read]),
        st.integers(-40, 40),
        min_size=1,
        max_size=4,
    ),
)
def test_no_way_out_sizes_a_cut_part_or_breaks_the_geometry(states, nudges):
    """Whatever is cut and read: no way out gives a cut part another size, and each loses no less than the one before."""
    with TemporaryDirectory() as folder:
        course = in_folder(Path(folder))
        planned = course.plan_values
        readings = {name: str(planned.number(name) + Fraction(by, 10)) for name, by in nudges.items()}
        found = remedies(*with_readings(course, readings, states))
        for one in (option for remedy in found for option in remedy.options):
            again = {part.name for part in CABINET.parts if f"{part.label} again" in one.stock}
            for change in one.changes:
                part = change.quantity.rpartition(".")[0]
                assert part not in states or part in again or not change.quantity.endswith((".length", ".width"))
        for remedy in found:
            ranks = [COSTS.index(one.costs) for one in remedy.options]
            assert ranks == sorted(ranks)
            assert 1 <= len(ranks) <= 4
