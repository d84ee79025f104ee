"""The order of a class. Worked numbers of the class cabinet are common practice, invented for one class of 16."""

from __future__ import annotations

from fractions import Fraction
from importlib.resources import files
from shutil import copytree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from course.course_folder import read_course
from course.cut_sheets import Area, CutStep, in_few_settings
from course.cutting.checker import complaints
from course.left_over import left_over
from course.order import plan_order
from course.order_files import left_csv, pins_yaml
from course.stops import separate_settings, stops

SIXTEEN = "id,name\n" + "".join(f"s{n:02},Student {n}\n" for n in range(1, 17))
NOTHING_MORE = "scrap: {default: 0, rail: 0}\ntest_pieces: {count: 0}\nsetup_blocks: {count: 0}\n"
HEAD = "id,role,material,thickness 1,length,width,price\n"


@pytest.fixture
def order_of(course_folder, course_of):
    """The order of a course, with lines of its own order.yaml."""

    def make(order: str = "", **texts: str):
        (course_folder(**texts) / "order.yaml").write_text(order, "utf-8")
        return plan_order(course_of(**texts))

    return make


def test_frame_stock_of_sixteen_cabinets(order_of):
    """35.8 board feet rough, 54 ordered at one-third waste (worked number; board feet by the published rule)."""
    frame = next(plan for plan in order_of(NOTHING_MORE, roster=SIXTEEN).boards if plan.group.role == "frame")
    assert (round(float(frame.parts), 1), frame.order, frame.order_of_parts) == (35.8, 54, 54)


def test_spares_and_test_pieces_are_ordered_too(order_of):
    """With them the order of frame stock is larger than for the parts alone."""
    frame = next(plan for plan in order_of(roster=SIXTEEN).boards if plan.group.role == "frame")
    assert frame.spares > 0 and frame.set_up > 0
    assert frame.order > frame.order_of_parts == 54


def test_every_part_lies_on_a_sheet_once_and_the_layouts_can_be_cut(demo_order):
    """The checker, written apart from the planner, has nothing to say; every sheet part of every student is there."""
    for plan in demo_order.sheets:
        assert [complaints(lot.job, lot.plan) for lot in plan.lots] == [[]] * len(plan.lots)
    laid = [part.need.name for sheet in demo_order.cut_sheets for part in sheet.parts]
    assert sorted(laid) == sorted(need.name for need in demo_order.demand.needs if need.group.sheet)


def test_the_demo_needs_two_sheets_of_each_thickness_and_that_is_proven(demo_order):
    """Seven and six cabinets with spares: more than one sheet each, and two are enough; one for all drawer bottoms."""
    found = {plan.group.piece: (len(plan.sheets), plan.buy, plan.how_good) for plan in demo_order.sheets}
    words = "proven: no layout of straight cuts from edge to edge does with fewer"
    assert found == {
        "sheet-A": (2, 0, f"2 sheets; {words}"),
        "sheet-B": (2, 1, f"2 sheets; {words}"),
        "panel-2": (1, 0, f"1 sheet; {words}"),
        "bottom-1": (1, 0, f"1 sheet; {words}"),
    }


def test_a_student_has_one_thickness(demo_order):
    """All parts of one role of a student come from sheets of one id."""
    found: dict[tuple[str, str], set[str]] = {}
    for sheet in demo_order.cut_sheets:
        for part in sheet.parts:
            if part.need.student:
                found.setdefault((part.need.student, sheet.group.role), set()).add(sheet.group.piece)
    assert {len(pieces) for pieces in found.values()} == {1}


def test_students_without_a_sheet_get_one(order_of):
    """A large sheet takes both students; their parts get its thickness."""
    order = order_of(stock=HEAD + "ply-1,case,birch plywood,17.6,2440,1220,\n")
    assert [(a.student, a.role, a.piece) for a in order.assigned] == [("s1", "case", "ply-1"), ("s2", "case", "ply-1")]
    assert order.course.values(order.course.students[0]).number("case.top.length") == Fraction("376.8")


def test_a_student_who_does_not_fit_any_more_gets_the_next_sheet(order_of):
    """Two small sheets of two thicknesses: one student each, no parts on both."""
    rows = "ply-1,case,birch plywood,17.6,1500,500,\nply-2,case,birch plywood,18.1,1500,500,\n"
    order = order_of(NOTHING_MORE, stock=HEAD + rows)
    assert [(a.student, a.piece) for a in order.assigned] == [("s1", "ply-1"), ("s2", "ply-2")]
    assert [plan.buy for plan in order.sheets if plan.group.role == "case"] == [0, 0]


def test_without_stock_sheets_are_bought(order_of):
    """Before anything is measured the case parts come from new sheets of the usual size."""
    case = next(plan for plan in order_of(roster=SIXTEEN).sheets if plan.group.role == "case")
    assert (case.piece, case.on_hand, case.buy) == (None, 0, len(case.sheets))


def test_sixteen_cabinets_need_about_the_sheets_of_the_area_rule(order_of):
    """Area x 16 / (sheet x 0.8) gives 4 sheets of 2440 x 1220 (worked number); the layout is not above it."""
    case = next(plan for plan in order_of(NOTHING_MORE, roster=SIXTEEN).sheets if plan.group.role == "case")
    assert len(case.sheets) <= 4 and case.lots[0].plan.lower_bound >= 3


def test_the_price_of_a_board_foot_is_that_of_the_boards_on_hand(order_of):
    """A board of 1 in x 6 in x 96 in is 4 board feet (powershardwoods.com); at 30 it costs 7.5 a foot."""
    rows = "b1,frame,cherry,18,96 in,6 in,30\n"
    frame = next(plan for plan in order_of(stock=HEAD + rows).boards if plan.group.role == "frame")
    assert (frame.on_hand, frame.price, frame.buy) == (4, Fraction("7.5"), frame.order - 4)


def test_an_offcut_of_a_veneered_sheet_is_no_board(order_of):
    """A sheet and a board of cherry that nobody has, both 12 thick: the board alone is on hand."""
    head = "id,role,material,form,thickness 1,length,width\n"
    roster = "id,name,stock.panel.build\ns1,Ada,solid\n"

    def panel(rows: str):
        order = order_of(stock=head + rows, roster=roster)
        return next(plan for plan in order.boards if plan.group.role == "panel")

    board, sheet = "b,panel,cherry,solid,12,1800,300\n", "v,panel,cherry,sheet,12,1300,1200\n"
    both = panel(board + sheet)
    assert both.on_hand == panel(board).on_hand > 0
    names = {one.name for one in both.layout.boards}
    assert "b" in names and "v" not in names
    assert panel(sheet).on_hand == 0


def test_a_board_that_is_too_thin_is_not_on_hand(order_of):
    """Panels of 12 do not come from a board of 9."""
    order = order_of(
        stock=HEAD + "thin,panel,cherry,9,1800,300,\n", roster="id,name,stock.panel.build\ns1,Ada,solid\n"
    )
    assert next(plan for plan in order.boards if plan.group.role == "panel").on_hand == 0


def test_a_board_is_not_given_out_as_a_sheet(order_of):
    """A wide board of 12 among the panel stock: the student with veneered panels does not get it, and does a sheet."""
    head, roster = "id,role,material,form,thickness 1,length,width\n", "id,name,stock.panel.build\ns1,Ada,veneered\n"
    for form, given_out in (("solid", []), ("sheet", ["x"])):
        order = order_of(NOTHING_MORE, stock=head + f"x,panel,cherry,{form},12,2440,1220\n", roster=roster)
        assert [one.piece for one in order.assigned if one.role == "panel"] == given_out


# -- what is told ----------------------------------------------------------------------------------------

TOLD = [
    (
        "negative price",
        "ply-1,case,birch plywood,17.6,2440,1220,-5\n",
        "stock.csv:2:7: O012: the price of 'ply-1' is '-5'\n"
        "    Write a number of 0 or more without a currency sign, or leave it empty.",
    ),
    (
        "a part larger than the sheet",
        "ply-1,case,birch plywood,17.6,500,300,\n",
        "plan.yaml:10:3: O015: case side left (C-SL) of s1, 605.0 x 205.0\u00a0mm rough, is larger than "
        "'ply-1', 500.0 x 300.0\u00a0mm, inside its trim\n    Use a larger sheet, or make the part of two pieces.",
    ),
    (
        "grain the wrong way",
        "ply-1,case,birch plywood,17.6,500,700,\n",
        "plan.yaml:10:3: O014: case side left (C-SL) of s1, 605.0 x 205.0\u00a0mm rough, fits on "
        "'ply-1', 500.0 x 700.0\u00a0mm, only with its grain the wrong way\n"
        "    Use a sheet that is longer that way, or free the grain of the part in its kind.",
    ),
    (
        "no size",
        "ply-1,case,birch plywood,17.6,,,\n",
        "stock.csv:2: O013: 'ply-1' has no length and width, so the case parts of s1 are not laid out\n"
        "    Write both in stock.csv, the length along the grain.",
    ),
    (
        "one sheet is not enough",
        "ply-1,case,birch plywood,17.6,900,500,\n",
        "stock.csv:2: O020: the parts of s1 need 2 sheets like 'ply-1', and stock.csv has 1\n"
        "    Buy 1 more and measure: only a sheet of the same thickness may serve the same student; enter any other "
        "under an id of its own and give it to some of the students.",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("row", "told"), [case[1:] for case in TOLD], ids=[case[0] for case in TOLD])
def test_what_cannot_be_cut_is_told_and_the_rest_is_planned(order_of, row, told):
    """File, line and words; the frame is ordered all the same."""
    order = order_of(NOTHING_MORE, stock=HEAD + row, roster="id,name,piece.case\ns1,Ada Test,ply-1\ns2,Bo Test,\n")
    assert told in [str(problem) for problem in order.problems]
    assert next(plan for plan in order.boards if plan.group.role == "frame").order > 0


def test_a_part_wider_than_its_board_is_to_be_glued_up(order_of):
    """The door panel is 278 wide and more when rough; a board of 250 does not give it in one piece."""
    order = order_of(
        stock=HEAD + "b1,panel,cherry,12,1800,250,\n", roster="id,name,piece.panel,stock.panel.build\ns1,Ada,b1,solid\n"
    )
    assert [str(p) for p in order.problems if p.code == "O016"] == [
        "stock.csv:2: O016: door panel (D-P) of s1, 365.0 x 284.0\u00a0mm rough, is larger than 'b1', "
        "1800.0 x 250.0\u00a0mm\n    Glue it up from two boards side by side, or give the student another board."
    ]


def test_a_part_longer_than_its_board_cannot_be_glued_up_side_by_side(order_of):
    """The muntins of two students, 536 rough, from a board of 500: one line for both, and a cure that helps."""
    order = order_of(
        stock=HEAD + "b1,frame,cherry,18,500,150,\n", roster="id,name,piece.frame\ns1,Ada,b1\ns2,Bo,b1\n"
    )
    assert (
        "stock.csv:2: O016: back muntin (B-M) of s1, s2, 536.0 x 51.0\u00a0mm rough, is larger than 'b1', "
        "500.0 x 150.0\u00a0mm\n    Use a longer board, or make the part of two pieces."
    ) in [str(p) for p in order.problems]


def test_a_part_too_large_for_several_students_is_told_once(order_of):
    """Three students, one sheet that is too small: one line for each part, with all three."""
    roster = "id,name,piece.case\ns1,Ada,p\ns2,Bo,p\ns3,Cy,p\n"
    order = order_of(NOTHING_MORE, stock=HEAD + "p,case,birch plywood,17.6,500,300,\n", roster=roster)
    assert [p.says for p in order.problems if p.code == "O015"] == [
        f"case side {side} (C-S{side[0].upper()}) of s1, s2, s3, 605.0 x 205.0\u00a0mm rough, is larger than "
        "'p', 500.0 x 300.0\u00a0mm, inside its trim"
        for side in ("left", "right")
    ]


# -- stops, cuts, what is left -----------------------------------------------------------------------------


def test_one_stop_serves_nine_students(order_of):
    """A stop at 376.8 cuts top, bottom and divider of the nine students on sheet A: 27 parts (worked number)."""
    roster = "id,name,piece.case\n" + "".join(
        f"s{n:02},Student {n},sheet-{'A' if n < 10 else 'B'}\n" for n in range(1, 17)
    )
    rows = "sheet-A,case,birch plywood,17.6,2440,1220,\nsheet-B,case,birch plywood,18.1,2440,1220,\n"
    found = stops(order_of(roster=roster, stock=HEAD + rows).course)
    stop = next(one for one in found if one.setting == Fraction("376.8"))
    assert (len(stop.parts), len(stop.students), stop.stock) == (27, 9, "sheet-A")
    assert {label for _, label in stop.parts} == {"C-T", "C-B", "V-D"}
    assert len(found) < separate_settings(found)


def test_a_size_that_must_be_measured_first_has_no_stop_yet(demo_order):
    """Door and back rails wait for the real opening, so no stop is set for them."""
    assert {one.role for one in stops(demo_order.course)} == {"case"}


def _step(rip: bool, setting: int) -> CutStep:
    return CutStep(0, rip, Fraction(setting), Area(*map(Fraction, (0, 0, 1, 1))))


@given(st.lists(st.lists(st.integers(1, 4), max_size=5), max_size=5))
def test_cuts_of_one_piece_keep_their_order(chains):
    """No cut is lost, parallel cuts of a piece keep their order, and no more settings than one piece after another."""
    made = [[_step(False, setting) for setting in chain] for chain in chains]
    found = list(in_few_settings(made))
    for chain in made:
        own = [step for step in found if any(step is one for one in chain)]
        assert all(a is b for a, b in zip(own, chain, strict=True))
    assert len(found) == sum(map(len, chains))


def test_equal_settings_come_after_each_other():
    """Two strips with the same three cuts need two settings, not four."""
    found = list(in_few_settings([[_step(False, 300), _step(False, 100)]] * 2))
    assert [step.setting for step in found] == [300, 300, 100, 100]


def test_each_cut_goes_where_its_setting_says(demo_order):
    """A cut stands its setting away from an edge: of the trimmed sheet, or the blade's side of an earlier cut."""
    for sheet in demo_order.cut_sheets:
        edges_x, edges_y = {sheet.trim[0]}, {sheet.trim[1]}
        for step in sheet.steps:
            edges, at = (edges_y, step.line.y) if step.rip else (edges_x, step.line.x)
            assert at - step.setting in edges
            edges.add(at + sheet.kerf)


def test_pieces_offcuts_kerf_and_trim_make_the_sheet(demo_order):
    """The areas add up to the sheet, but for slivers that the blade takes whole."""
    for sheet in demo_order.cut_sheets:
        pieces = sum(area.size for area in (*(p.area for p in sheet.parts), *sheet.kept, *sheet.waste))
        kerfs = sum(step.line.size for step in sheet.steps)
        inside = (sheet.length - 2 * sheet.trim[0]) * (sheet.width - 2 * sheet.trim[1])
        assert inside * Fraction(995, 1000) < pieces + kerfs <= inside


def test_what_is_left_starts_the_next_term(demo_order, course_folder):
    """The file is read as stock.csv by a new course, with the thickness readings of its sheet."""
    plan = (demo_order.course.folder / "plan.yaml").read_text("utf-8")
    folder = course_folder(plan=plan)
    (folder / "stock.csv").write_text(left_csv(demo_order), "utf-8", newline="")
    stock = read_course(folder).stock
    assert {name: (p.length, p.width) for name, p in stock.items()} == {
        left.id: (left.length, left.width) for left in left_over(demo_order)
    }
    assert stock["sheet-A-left-1"].mean_thickness == Fraction("17.6")
    assert (stock["panel-2-left-1"].form, stock["panel-cherry-left-1"].form) == ("sheet", "solid")


def test_what_is_left_of_a_class_in_inches_is_written_in_inches(tmp_path):
    """Sizes in fractions, readings in decimals, each read back as it was; pinned places likewise."""
    folder = tmp_path / "inches"
    copytree(str(files("course").joinpath("demo_inches")), folder)
    order = plan_order(read_course(folder))
    text = left_csv(order)
    assert " mm" not in text and " mm" not in pins_yaml(order)
    assert ",0.7185 in,0.719 in,0.7185 in," in text
    (folder / "stock.csv").write_text(text, "utf-8", newline="")
    (folder / "roster.csv").write_text("id,name\nx1,Example\n", "utf-8")
    (folder / "signoffs.csv").unlink(missing_ok=True)
    assert {name: (p.thickness, p.length, p.width) for name, p in read_course(folder).stock.items()} == {
        left.id: (left.thickness, left.length, left.width) for left in left_over(order)
    }


def test_nothing_left_over_is_smaller_than_what_is_kept(order_of):
    """Only pieces of 400 x 400 and more are kept when the course says so."""
    order = order_of("keep: {length: 400 mm, width: 400 mm}\n")
    sheets = {sheet.name for sheet in order.cut_sheets}
    kept = [left for left in left_over(order) if left.of in sheets]
    assert kept and all(min(left.length, left.width) >= 400 for left in kept)
    boards = [left for left in left_over(order) if left.of and left.of not in sheets]
    assert boards and all(left.length >= 300 and left.width >= 50 for left in boards)
    assert any(sheet.waste for sheet in order.cut_sheets)
