"""The class cabinet: worked numbers of the trade (common practice), as exact decimals of a millimetre."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given as over
from hypothesis import settings
from hypothesis import strategies as st

from course.build import build, list_keys
from course.course import Course
from course.cutlist import cut_rows
from course.kinds import read_library
from course.plan import read_plan
from course.quantities import Given, Origin
from course.readings import Reading

CLASS_PLAN = Path(__file__).parents[1].joinpath("class_plan.yaml").read_text("utf-8")


def mm(text: str) -> Fraction:
    return Fraction(text)


def given(**sizes: str) -> dict[str, Given]:
    return {name.replace("__", "."): Given(mm(value), Origin.READING) for name, value in sizes.items()}


PLANNED = [
    # F1-F2: clear width between sides, length of a part housed at both ends
    ("case.inside.width", "364"), ("case.top.length", "376"), ("divider.divider.1.length", "376"),
    ("case.inside.height", "564"), ("divider.lower.height", "120"), ("divider.upper.height", "426"),
    ("case.back.width", "382"), ("case.back.height", "582"),
    # F3: dado of an 18 mm part
    ("divider.dado.width", "17.9"),
    # F4-F5b: inset door and framed back
    ("door.width", "361"), ("door.height", "423"), ("door.rail.top.shoulder", "261"), ("door.rail.top.length", "281"),
    ("back.width", "381"), ("back.height", "581"), ("back.rail.bottom.shoulder", "291"),
    ("back.rail.bottom.length", "311"), ("back.muntin.1.shoulder", "491"), ("back.muntin.1.length", "511"),
    ("back.bay.1.width", "123"), ("back.bay.2.width", "123"),
    # F6: groove off the middle, step when a part is flipped
    ("back.groove.off_centre", "1"), ("back.groove.step_if_flipped", "2"), ("back.groove.back_lip", "7"),
    # F11, F11b: dado stack of 16 against a tenon of 10
    ("back.tenon.length", "10"), ("back.tenon.buried", "6"), ("back.tenon.passes", "1"),
    # F14-F14c: flush panel of 12
    ("back.panel.front_rabbet", "5.1"), ("back.panel.tongue", "5.8"), ("back.panel.back_rabbet", "1.1"),
    ("back.panel.one_rabbet_thickness", "10.9"), ("back.panel.tongue_length", "11.5"),
    ("back.panel.1.width", "140"), ("back.panel.1.length", "508"), ("back.panel.1.field_width", "117"),
    ("door.panel.1.width", "278"), ("door.panel.1.length", "340"),
    # F27: shelf on pins
    ("shelf.board.length", "362"), ("shelf.board.width", "161"),
    # F21, F21b: drawer on wood in the lower opening, front and back let 6 into sides of 12 (its height: test_drawer.py)
    ("drawer.width", "363"), ("drawer.front.length", "351"), ("drawer.back.length", "351"), ("drawer.gap.left", "0.5"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "expected"), PLANNED)
def test_the_plan_gives_the_worked_size(cabinet_of, class_plan: str, name: str, expected: str):
    """Every size of the planned class cabinet is the worked one, exactly."""
    assert cabinet_of(class_plan).graph.evaluate()[name] == mm(expected)


@pytest.fixture
def class_plan() -> str:
    from importlib.resources import files

    return files("course").joinpath("demo", "plan.yaml").read_text("utf-8")


def test_horizontals_and_dado_follow_the_sheet_they_are_cut_from(course_of):
    """Story 2: sheet A of 17.6 gives 376.8 and a dado of 17.5, sheet B of 18.1 gives 375.8 and 18.0."""
    course = course_of(
        roster="id,name,piece.case\n" + "".join(f"s{i},S {i},{'A' if i < 10 else 'B'}\n" for i in range(1, 17)),
        stock="id,role,thickness 1\nA,case,17.6\nB,case,18.1\n",
    )
    for student in course.students:
        values, sheet = course.values(student), student.pieces["case"]
        assert values["case.top.length"] == mm({"A": "376.8", "B": "375.8"}[sheet])
        assert values["divider.divider.1.length"] == mm({"A": "376.8", "B": "375.8"}[sheet])
        assert values["divider.dado.width"] == mm({"A": "17.5", "B": "18.0"}[sheet])
        assert all(sheet in row.stock for row in cut_rows(course, student) if row.assembly == "case")
    assert course.values(course.students[0])["case.inside.width"] == mm("364.8")


def test_a_case_kept_to_the_old_length_ends_narrow(cabinet_of, class_plan):
    """F2: horizontals kept at 376.0 in 17.6 stock end the case at 399.2."""
    graph = cabinet_of(class_plan).graph
    settings = {"stock.case.thickness": Given(mm("17.6"), Origin.STOCK)}
    values = graph.evaluate(settings, given(case__top__length="376.0", case__bottom__length="376.0"))
    assert values["case.outside.width"] == mm("399.2")


def read(course: Course, quantity: str, *values: str, student: str = "s1") -> None:
    course.log.add(
        Reading(student, quantity, place, 1, value, mm(value)) for place, value in enumerate(values, 1)
    )  # fmt: skip
    course.fresh()


def test_work_from_the_actual_case(course_of):
    """Story 1: the smallest readings of the real opening, and the real stiles, size the door."""
    course = course_of()
    ada = course.student("s1")
    course.mark(ada, "D-SL", "cut")
    course.mark(ada, "door.stile.right", "cut")
    read(course, "divider.upper.width", "365.2", "364.8", "365.0")
    read(course, "divider.upper.height", "425.1", "425.3")
    read(course, "door.stile.left.width", "49.6")
    read(course, "door.stile.right.width", "49.6")
    values = course.values(ada)
    assert values["door.width"] == mm("361.8")
    assert values["door.rail.top.shoulder"] == mm("262.6")
    assert values.planned("door.rail.top.shoulder") == mm("261.0")
    assert values["door.rail.top.length"] == mm("282.6")
    assert values["door.height"] == mm("422.1")
    assert values["door.stile.left.length"] == mm("423.0")
    assert values.target("door.stile.left.length") == mm("422.1")
    rows = {row.label: row for row in cut_rows(course, ada)}
    assert "trim 0.9\u00a0mm" in rows["D-SL, D-SR"].consequence
    assert rows["D-RT, D-RB"].length == "282.6"
    assert rows["D-RT, D-RB"].before == "length 281.0 \u2192 282.6"
    assert "width of opening 'upper', read" in rows["D-RT, D-RB"].because


def test_the_worked_opening_without_smallest(cabinet_of, class_plan):
    """F5: opening 365.2 and stiles of 49.6 give a shoulder of 263.0, 2.0 more than planned."""
    found = given(divider__upper__width="365.2", door__stile__left__width="49.6", door__stile__right__width="49.6")
    assert cabinet_of(class_plan).graph.evaluate(None, found)["door.rail.top.shoulder"] == mm("263.0")


def test_the_tenon_follows_the_groove_as_cut(cabinet_of, class_plan):
    """Story 3 and F7-F9: groove 6.10 in stock of 18.0 gives tenon 6.00, shoulders 5.05 and 6.95, shim 1.90."""
    values = cabinet_of(class_plan).graph.evaluate(None, given(back__groove__width="6.10"))
    assert values["back.tenon.thickness"] == mm("6.00")
    assert values["back.tenon.face_shoulder"] == mm("5.05")
    assert values["back.tenon.back_shoulder"] == mm("6.95")
    assert values["back.tenon.shim"] == mm("1.90")
    assert values["back.tenon.spacer"] == mm("9.2")


def test_a_panel_set_back_has_the_worked_rabbets(cabinet_of, class_plan):
    """F14: set back 1.5, the front rabbet is 3.6, the back rabbet 2.6, and 9.4 would need one rabbet only."""
    plan = class_plan.replace("    bays: 2", "    bays: 2\n    panel.set_back: 1.5")
    values = cabinet_of(plan).graph.evaluate()
    assert values["back.panel.front_rabbet"] == mm("3.6")
    assert values["back.panel.back_rabbet"] == mm("2.6")
    assert values["back.panel.one_rabbet_thickness"] == mm("9.4")


def test_panels_move_as_the_handbook_says(course_of):
    """F15-F16: the 278 door panel in cherry, 4 percent between the seasons, changes 2.758 mm (0.00248 per percent)."""
    course = course_of()
    assert course.plan_values["door.panel.1.movement"] == mm("278") * Fraction("0.00248") * 4


def test_red_oak_runs_out_of_room(course_of, class_plan):
    """F16: in red oak (0.00369) the same panel needs 2.05 a side where the groove leaves 2.0; it is said before."""
    text = class_plan.replace("panel: {material: cherry", "panel: {material: red oak")
    notes = [p for p in course_of(plan=text).notes if p.code == "G101"]
    assert len(notes) == 2
    assert "a panel 278.0\u00a0mm wide may change by about 4.1\u00a0mm" in notes[0].says


def test_a_pair_of_doors_shares_its_opening(cabinet_of, class_plan):
    """F4: two leaves in 364 with reveals of 1.5 and a meeting gap of 2 are 179.5 wide each."""
    values = cabinet_of(
        class_plan.replace("    use: door", "    use: door\n    leaves: [left, right]")
    ).graph.evaluate()
    assert values["door.left.width"] == values["door.right.width"] == mm("179.5")


def test_why_ends_at_the_plan_and_the_stock(course_of):
    """The chain behind a size ends in plan lines, measured stock and defaults of the kind."""
    course = course_of(roster="id,name,piece.case\ns1,S,A\n", stock="id,role,thickness 1\nA,case,17.6\n")
    lines = course.values(course.students[0]).why("door.rail.top.length")
    ends = {line.name: line for line in lines if not line.formula}
    assert ends["stock.case.thickness"].origin is Origin.STOCK
    assert str(ends["stock.case.thickness"].place) == "stock.csv:2"
    assert ends["stock.case.thickness"].note == "A, mean of 1 readings"
    assert ends["case.width"].origin is Origin.PLAN
    assert str(ends["case.width"].place).startswith("plan.yaml:")
    assert lines[0].formula == "this.shoulder + this.joint"


def test_shelves_and_the_open_case_are_provisional_until_read(course_of):
    """A line rests on what is not measured yet until the opening is read; the divider waits for nothing of the case."""
    course = course_of(roster="id,name,piece.case\ns1,S,A\n", stock="id,role,thickness 1\nA,case,18\n")
    student = course.students[0]
    rows = {row.label: row for row in cut_rows(course, student)}
    assert rows["V-D"].provisional == ""
    assert rows["H-H"].provisional == "width of opening 'upper'"
    read(course, "divider.upper.width", "364.0", "364.1", "364.2")
    assert {row.label: row for row in cut_rows(course, student)}["H-H"].provisional == ""


CABINET = build(read_plan(CLASS_PLAN, "plan.yaml", list_keys(read_library())), read_library())
LENGTHS = sorted(quantity.name for quantity in CABINET.graph.quantities if quantity.dimension == 1)
SIZES = st.dictionaries(st.sampled_from(LENGTHS), st.integers(5, 5000), max_size=6).map(
    lambda sizes: {name: Given(Fraction(size, 10), Origin.READING) for name, size in sizes.items()}
)
"""What may be given: any lengths of the cabinet, from 0.5 to 500 mm."""


@settings(max_examples=150, deadline=None)
@over(SIZES, SIZES, SIZES, SIZES)
def test_a_step_from_other_values_ends_where_a_new_start_does(set_before, found_before, set_now, found_now):
    """Working out only what follows from a difference gives every value and target that working out all gives."""
    graph = CABINET.graph
    before = graph.evaluate(set_before, found_before)
    stepped, new = before.with_given({**set_before, **set_now}, found_now), graph.evaluate({**set_before, **set_now}, found_now)
    back = stepped.with_given(set_before, found_before)
    for one, other in ((stepped, new), (back, before)):
        assert (one.all, one.targets, one.changed) == (other.all, other.targets, other.changed)
        assert (one.settings, one.found) == (other.settings, other.found)
