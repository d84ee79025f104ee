"""A student's panels and frames through the year; sums are common practice and the handbook's, figures Table 13-5."""

from __future__ import annotations

from fractions import Fraction
from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from course.course import Course
from course.readings import Reading
from course.seasons import OF_THE_PLAN, STILL, Concern, FrameYear, PanelYear, frame_years, panel_years, wood_in_use

CHERRY, RED_OAK, RED_OAK_QUARTER = Fraction("0.00248"), Fraction("0.00369"), Fraction("0.00158")
"""Wood Handbook, FPL-GTR-190 (2010), Table 13-5: tangential of black cherry and commercial red oak, its radial."""


def door_panel(course: Course, student: str = "s1") -> PanelYear:
    return next(p for p in panel_years(course, course.student(student)) if p.panel == "door.panel.1")


def frame(course: Course, name: str) -> FrameYear:
    return next(f for f in frame_years(course, course.student("s1")) if f.assembly == name)


def test_a_cherry_panel_of_278_keeps_its_room(course_of):
    """F16: 278 x 0.00248 x 4 = 2.758, half 1.379 < 2.0; held 8.5 - 1.379 = 7.121; gap 3 -> 1.621."""
    panel = door_panel(course_of())
    half = 278 * CHERRY * 4 / 2
    assert panel.width == 278 and half == Fraction("1.37888")
    assert panel.half_change == half
    assert panel.cut_dry.dampest.clearance == 2 - half
    assert panel.cut_damp.driest.held == Fraction("8.5") - half
    assert panel.gap(panel.cut_dry).dampest == 3 - half
    assert panel.gap(panel.cut_damp).driest == 3 + half
    assert panel.concerns == ()


def test_as_built_at_8_percent_it_moves_half_as_far_each_way(course_of):
    """8 to 10 and 8 to 6 percent: 278 x 0.00248 x 2 = 1.379, half of it on each side."""
    panel = door_panel(course_of())
    quarter = 278 * CHERRY * 2 / 2
    assert panel.gap(panel.fit).dampest == 3 - quarter and panel.gap(panel.fit).driest == 3 + quarter
    assert (panel.fit.driest.clearance, panel.fit.built.clearance, panel.fit.dampest.clearance) == (
        2 + quarter, 2, 2 - quarter,
    )  # fmt: skip
    assert panel.fit.driest.held_pushed == 278 * (1 - CHERRY * 2) - 261 - Fraction("10.5")


def test_in_red_oak_it_bottoms_out(course_of, class_plan: str):
    """F16: 0.00369 gives half 2.052 > 2.0; on the quarter 0.00158 gives 0.879."""
    oak = class_plan.replace("panel: {material: cherry", "panel: {material: red oak")
    panel = door_panel(course_of(plan=oak))
    assert panel.half_change == 278 * RED_OAK * 4 / 2 == Fraction("2.05164")
    assert panel.cut_dry.dampest.clearance == Fraction("-0.05164")
    assert panel.concerns == (Concern.SWELLS,)
    quarter = door_panel(course_of(plan=oak.replace("red oak,", "red oak, cut: quarter-sawn,")))
    assert quarter.half_change == 278 * RED_OAK_QUARTER * 4 / 2 and quarter.concerns == ()


def test_the_needed_gap_keeps_the_least_open(course_of, class_plan: str):
    """Cherry needs 1.379 + 0.5; a gap of the veneered kind, 1.5, is too narrow for solid wood."""
    assert door_panel(course_of()).needed_gap == Fraction("1.87888")
    narrow = door_panel(course_of(plan=class_plan.replace("    use: door", "    use: door\n    panel.shadow_gap: 1.5")))
    assert narrow.concerns == (Concern.GAP_CLOSES,)


@pytest.mark.parametrize(("build", "usual"), [("solid", "3.175"), ("veneered", "1.5875"), ("sheet", "1.5875")])
def test_usual_gaps_are_those_of_the_trade(course_of, class_plan: str, build: str, usual: str):
    """Common practice: 1/8 in for solid panels, 1/16 in for veneered and sheet ones."""
    plan = class_plan.replace("form: solid, thickness: 12", f"form: solid, build: {build}, thickness: 12")
    assert door_panel(course_of(plan=plan)).usual_gap == Fraction(usual)


@pytest.mark.parametrize("climate", ["{}", "{dry: 3, damp: 13}"])
def test_a_veneered_panel_is_counted_as_still(course_of, class_plan: str, climate: str):
    """Its size is the same in all seasons of any climate, and its gap of 1.5 stays."""
    plan = class_plan.replace("form: solid, thickness: 12", "form: solid, build: veneered, thickness: 12")
    panel = door_panel(course_of(plan=f"{plan}climate: {climate}\n"))
    assert panel.wood.still and panel.wood.basis == STILL
    assert panel.fit.driest.width == panel.fit.dampest.width == panel.width
    assert panel.gap(panel.fit).dampest == Fraction("1.5") and panel.concerns == ()


def test_every_student_has_their_own_wood_and_board(course_of):
    """One has cherry, one quarter-sawn red oak at 9 percent, one a board too damp to be true."""
    course = course_of(
        roster="id,name,piece.panel,stock.panel.cut\ns1,A,P1,\ns2,B,P2,quarter-sawn\ns3,C,P3,\n",
        stock="id,role,material,thickness 1,moisture\nP1,panel,cherry,12,\nP2,panel,red oak,12,9\nP3,panel,cherry,12,14\n",
    )
    first, second, third = (door_panel(course, s) for s in ("s1", "s2", "s3"))
    assert (first.wood.species, first.wood.cut, first.seasons.built, first.measured) == (
        "cherry",
        "flat-sawn",
        8,
        False,
    )
    assert (second.wood.species, second.wood.cut, second.seasons.built) == ("red oak", "quarter-sawn", 9)
    assert second.measured and second.fit.dampest.width == 278 * (1 + RED_OAK_QUARTER)
    assert (third.seasons.built, third.measured) == (8, False)


def test_what_is_measured_counts(course_of):
    """A groove read at 9.5 leaves 1 mm less of room on each side of a panel already cut."""
    course = course_of()
    course.mark(course.student("s1"), "door.panel.1", "cut")
    course.log.add(Reading("s1", "door.groove.depth", place, 1, "9.5", Fraction("9.5")) for place in (1, 2, 3))
    course.fresh()
    panel = door_panel(course)
    assert (panel.width, panel.fit.built.clearance) == (278, 1)
    assert Concern.SWELLS in panel.concerns


def test_the_best_width_just_keeps_the_reserve(course_of):
    """(261 + 2 x 10.5 - 2 x 0.5) / (1 + 0.00248 x 2); there 0.5 is left at each groove bottom when dampest."""
    panel = door_panel(course_of())
    assert panel.best_width == 281 / (1 + CHERRY * 2)
    grown = panel.best_width * (1 + CHERRY * 2)
    assert (panel.groove.bottom_to_bottom - grown) / 2 == Fraction("0.5")


def test_a_groove_can_be_too_shallow(course_of, class_plan: str):
    """4 mm deep, 261 between the stiles: held 3 mm when dry needs 4.2 mm and a half more."""
    plan = class_plan.replace("    use: door", "    use: door\n    groove.depth: 4")
    panel = door_panel(course_of(plan=plan))
    share = (1 - CHERRY * 2) / (1 + CHERRY * 2)
    assert panel.least_depth == ((261 + 6) / share - 261) / 2 + Fraction("0.5")
    assert panel.concerns == (Concern.COMES_OUT, Concern.TOO_SHALLOW)


def test_a_frame_grows_by_its_stiles(course_of):
    """F16b: 100 x 0.00248 x 4 = 0.992, half of it off each reveal; the reveal of 1.5 stays open."""
    door = frame(course_of(), "door")
    assert (door.stiles, door.change) == (100, Fraction("0.992"))
    assert (door.reveal.driest, door.reveal.built, door.reveal.dampest) == (
        Fraction("1.748"), Fraction("1.5"), Fraction("1.252"),
    )  # fmt: skip
    assert not door.closes


def test_a_narrow_reveal_closes(course_of, class_plan: str):
    """The back's stiles of 45 change by 0.893 in all: 0.446 a side, more than a reveal of 0.4."""
    assert frame(course_of(plan=class_plan.replace("reveal: 0.5", "reveal: 0.4")), "back").closes
    assert not frame(course_of(), "back").closes


def test_no_figure_is_made_up(course_of, class_plan: str):
    """A wood of no table moves as the plan says, or is counted as still; a remembered figure says so."""
    for given_, basis, coefficient in (
        ("moonwood", OF_THE_PLAN, 0),
        ("moonwood, movement: 0.003", OF_THE_PLAN, Fraction("0.003")),
        ('"Pine, sugar"', "from memory", Fraction("0.00194")),
        ("cherry", "printed", CHERRY),
    ):
        values = course_of(plan=class_plan.replace("panel: {material: cherry", f"panel: {{material: {given_}")).values
        found = wood_in_use(values(course_of().students[0]), "panel")
        assert (found.basis, found.wood.coefficient) == (basis, coefficient), given_


def test_a_movement_written_in_the_plan_stays(course_of, class_plan: str):
    """An instructor's own figure wins over the table for the wood of the plan, not for a student's other wood."""
    plan = class_plan.replace("panel: {material: cherry", "panel: {material: cherry, movement: 0.002")
    course = course_of(plan=plan)
    values = course.values(course.students[0])
    assert values["stock.panel.movement"] == Fraction("0.002")
    assert wood_in_use(values, "panel").basis == OF_THE_PLAN
    other = course_of(
        plan=plan, roster="id,name,piece.panel\ns1,S,P\n", stock="id,role,material,thickness 1\nP,panel,red oak,12\n"
    )
    red_oak = Fraction("0.00369")  # Wood Handbook FPL-GTR-190, Table 13-5
    assert other.values(other.students[0])["stock.panel.movement"] == red_oak


def test_a_climate_out_of_order_gives_no_seasons(course_of, class_plan: str):
    """Dry at 9, built at 8: nothing is said, rather than something wrong."""
    course = course_of(plan=class_plan + "climate: {dry: 9}\n")
    assert panel_years(course, course.students[0]) == () == frame_years(course, course.students[0])


@settings(max_examples=25, deadline=None)
@given(dry=st.integers(4, 8), damp=st.integers(8, 16))
def test_the_gap_closes_as_the_room_does(dry: int, damp: int):
    """Gap and room at the groove bottom move by the same amount, since the frame stands still."""
    course = _demo(dry, damp)
    for panel in panel_years(course, course.students[0]):
        gap, fit = panel.gap(panel.fit), panel.fit
        assert gap.dampest <= gap.built <= gap.driest
        assert gap.built - gap.dampest == fit.built.clearance - fit.dampest.clearance
        assert gap.driest - gap.built == fit.built.held - fit.driest.held


def _demo(dry: int, damp: int) -> Course:
    import shutil
    import tempfile
    from pathlib import Path

    from course.course_folder import read_course

    with tempfile.TemporaryDirectory() as folder:
        copy = Path(shutil.copytree(str(files("course").joinpath("demo")), Path(folder) / "demo"))
        plan = copy / "plan.yaml"
        plan.write_text(plan.read_text("utf-8") + f"climate: {{dry: {dry}, damp: {damp}}}\n", "utf-8")
        course = read_course(copy)
        course.values(course.students[0])
        return course
