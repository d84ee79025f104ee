"""Measured sheets in any number, sizes for sale, and what the instructor has fixed; every plan is checked."""

from __future__ import annotations

import subprocess
import sys
from fractions import Fraction
from importlib.resources import files
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from course.course_folder import read_course
from course.cut_sheets import Area
from course.cutting.checker import complaints
from course.cutting.model import (
    Axis,
    Certificate,
    Demand,
    Grain,
    Job,
    Layout,
    Placed,
    Plan,
    Stock,
    Trim,
)
from course.needs import Need, Purpose, StockGroup
from course.order import Order, plan_order
from course.order_files import left_csv, order_rows, order_workbook, pins_yaml
from course.order_settings import read_order_settings
from course.pinned_sheets import sawn_apart
from course.sheet_jobs import planned
from course.sheets_on_hand import Sheet
from shared.places import NOWHERE

PLAIN = "scrap: {default: 0, rail: 0}\ntest_pieces: {count: 0}\nsetup_blocks: {count: 0}\n"
HEAD = "id,role,material,count,thickness 1,thickness 2,length,width,defects,price\n"
FOUR = "id,name\n" + "".join(f"s{n},Student {n}\n" for n in range(1, 5))
SMALL = "A,case,birch plywood,{count},17.6,17.6,1500,500,{defects},\n"
"""A small sheet: the case parts of one student."""


@pytest.fixture
def order_of(course_folder, course_of):
    """The order of a course, with lines of its own order.yaml and cutting.yaml; every layout is checked."""

    def make(order: str = PLAIN, cutting: str = "", marks: tuple = (), **texts: str) -> Order:
        folder = course_folder(**texts)
        (folder / "order.yaml").write_text(order, "utf-8")
        (folder / "cutting.yaml").write_text(cutting, "utf-8")
        course = course_of(**texts)
        for student, part, state in marks:
            course.mark(course.student(student), part, state)
        found = plan_order(course)
        for plan in found.sheets:
            for lot in plan.lots:
                assert complaints(lot.job, lot.plan) == []
        return found

    return make


def case_of(order: Order):
    return next(plan for plan in order.sheets if plan.group.role == "case")


def told(order: Order, *codes: str) -> list[str]:
    return [str(problem) for problem in order.problems if problem.code in codes]


# -- sheets on hand ------------------------------------------------------------------------------------------


def test_equal_sheets_serve_as_many_students_as_they_hold(order_of):
    """Three sheets of one line for one student each: three students, and who is left is told."""
    order = order_of(roster=FOUR, stock=HEAD + SMALL.format(count=3, defects=""))
    assert [a.student for a in order.assigned] == ["s1", "s2", "s3"]
    plan = next(p for p in order.sheets if p.group.piece == "A")
    assert [sheet.name for sheet in plan.sheets] == ["A 1", "A 2", "A 3"] and (plan.on_hand, plan.buy) == (3, 0)
    assert told(order, "O024") == [
        "stock.csv:2: O024: no sheet of stock.csv has room for the case parts of s4; they are planned on sheets to buy\n"
        "    Buy those, measure them, and enter them: until then the thickness of the plan counts."
    ]


def test_no_piece_touches_a_defect_and_the_drawing_has_it(order_of):
    """A bad strip along the sheet: the sides still fit beside it, and all pieces lie off it."""
    flaw = "at 0 x 600: 2440 x 40"
    order = order_of(stock=HEAD + f"A,case,birch plywood,,17.6,17.6,2440,1220,{flaw},\n")
    (sheet,) = case_of(order).sheets
    assert sheet.defects == (Area(*map(Fraction, (0, 600, 2440, 40))),)
    for part in sheet.parts:
        assert part.area.y >= 640 or part.area.y + part.area.width <= 600


def test_a_sheet_with_a_defect_everywhere_is_not_used(order_of):
    """The other sheet of the line is; the words name the sheet."""
    stock = HEAD + SMALL.format(count=2, defects="sheet 1 at 0 x 0: 1500 x 500")
    order = order_of(stock=stock, roster="id,name,piece.case\ns1,Ada,A\n")
    assert [sheet.name for sheet in case_of(order).sheets] == ["A 2"]
    assert told(order, "O023") == [
        "stock.csv:2: O023: the defects of 'A 1' leave no room for any piece of s1 that is to come from it, so it is not "
        "used\n    Measure the defects again, or take the sheet out."
    ]


def test_a_sheet_with_a_defect_everywhere_does_not_count_as_there(order_of):
    """The only sheet of a student: one is needed, none may be used, one is to be bought."""
    stock = HEAD + SMALL.format(count=1, defects="at 0 x 0: 1500 x 500")
    order = order_of(stock=stock, roster="id,name,piece.case\ns1,Ada,A\n")
    assert (case_of(order).needed, case_of(order).on_hand, case_of(order).buy) == (1, 0, 1)
    assert told(order, "O020")[0].startswith(
        "stock.csv:2: O020: the parts of s1 need 1 sheet like 'A', and stock.csv has none that may be used\n"
    )


def test_a_left_over_of_the_same_thickness_is_used_before_more_is_bought(order_of):
    """Two students on one small sheet; an offcut of 17.6 that nobody has takes what the sheet does not give."""
    stock = HEAD + SMALL.format(count=1, defects="") + "rest,case,birch plywood,,17.6,,1500,500,,\n"
    order = order_of(stock=stock, roster="id,name,piece.case\ns1,Ada,A\ns2,Bo,A\n")
    assert [sheet.name for sheet in case_of(order).sheets] == ["A", "rest"] and case_of(order).buy == 0
    other = stock.replace("rest,case,birch plywood,,17.6", "rest,case,birch plywood,,17.7")
    assert case_of(order_of(stock=other, roster="id,name,piece.case\ns1,Ada,A\ns2,Bo,A\n")).buy == 1


UNEVEN = [
    (
        "17.3,17.7",
        "O021: 'A' is 17.3\u00a0mm to 17.7\u00a0mm thick, 0.4\u00a0mm apart, where 0.3\u00a0mm fits its joints, and it is "
        "given to nobody\n    Measure it again; cut what needs no joint from it, or write thickness.spread in order.yaml.",
    ),
    (
        "15,15",
        "O022: 'A' is 15.0\u00a0mm thick, and the plan has 18.0\u00a0mm for the case, and it is given to nobody\n"
        "    Check the reading and the stock it is for, or write thickness.off in order.yaml.",
    ),
]


@pytest.mark.parametrize(("readings", "says"), UNEVEN, ids=["uneven", "another thickness"])
def test_a_sheet_outside_the_fit_is_given_to_nobody(order_of, readings, says):
    """Readings farther apart than the joints allow, or another thickness: told, and new sheets are planned."""
    order = order_of(stock=HEAD + f"A,case,birch plywood,,{readings},2440,1220,,\n")
    assert not order.assigned and case_of(order).buy == 1
    assert told(order, "O021", "O022") == [f"stock.csv:2: {says}"]


@pytest.mark.parametrize(
    ("roster", "who"),
    [("id,name,piece.case\ns1,Ada,A\n", "s1 has"), ("id,name,piece.case\ns1,Ada,A\ns2,Bo,A\n", "s1, s2 have")],
)
def test_who_has_a_sheet_outside_the_fit_is_told_with_the_parts(order_of, roster, who):
    """The roster's word counts, and what will not fit is named."""
    order = order_of(stock=HEAD + "A,case,birch plywood,,15,15,2440,1220,,\n", roster=roster)
    assert told(order, "O022") == [
        "stock.csv:2: O022: 'A' is 15.0\u00a0mm thick, and the plan has 18.0\u00a0mm for the case; "
        f"{who} C-SL, C-SR, C-T, C-B, V-D, H-H from it all the same\n"
        "    Check the reading and the stock it is for, or write thickness.off in order.yaml."
    ]
    assert case_of(order).sheets


def test_sheets_bought_later_have_the_thickness_of_the_plan_until_measured(order_of):
    """A line without a thickness is a sheet on hand; its students' parts are 18 thick."""
    order = order_of(stock=HEAD + "A,case,birch plywood,2,,,2440,1220,,\n")
    plan = case_of(order)
    assert (plan.piece.id, plan.thickness, plan.on_hand, plan.buy) == ("A", 18, 2, 0)


# -- sizes for sale ------------------------------------------------------------------------------------------

SALE = PLAIN + (
    "for_sale:\n  case:\n    whole: {length: 2440 mm, width: 1220 mm, price: WHOLE}\n"
    "    half: {length: 1220 mm, width: 1220 mm, price: HALF}\n"
)


@pytest.mark.parametrize(
    ("whole", "half", "bought"),
    [("50", "24", {"half": 2}), ("50", "26", {"whole": 1}), ("100", "26", {"half": 2})],
)
def test_the_cheapest_sizes_are_bought(order_of, whole, half, bought):
    """Four cabinets fit on one whole sheet or two halves: what costs less is taken, with a proof."""
    plan = case_of(order_of(SALE.replace("WHOLE", whole).replace("HALF", half), roster=FOUR))
    assert {one.name.removeprefix("new case sheet, "): one.count for one in plan.bought} == bought
    assert "proven: no choice of sheets and layouts takes less" in plan.how_good


def test_each_size_to_buy_has_a_line_with_its_cost(order_of):
    """Six cabinets at 50 a whole and 24 a half sheet: three halves, 72.00."""
    order = order_of(SALE.replace("WHOLE", "50").replace("HALF", "24"), roster=FOUR + "s5,E\ns6,F\n")
    (row,) = [row for row in order_rows(order) if "case" in row.what]
    assert (row.what, row.buy, row.price, row.cost) == (
        "birch plywood for the case, new case sheet, half", "3 sheets", "24.00", "72.00",
    )  # fmt: skip
    book = load_workbook(BytesIO(order_workbook(order)))
    (cells,) = [cells for cells in book["Order"].iter_rows(min_row=5) if "half" in str(cells[0].value)]
    assert [(cell.value, cell.number_format) for cell in cells[5:7]] == [(24, "0.00"), (72, "0.00")]


def test_a_sheet_of_the_workbook_without_rows_says_so(order_of):
    """A class with nothing to save, to give or to look at: no sheet of the workbook is only a heading."""
    book = load_workbook(BytesIO(order_workbook(order_of())))
    assert [book[name]["A5"].value for name in ("Alternatives", "Sheets given out", "To look at")] == [
        "Nothing was found that would save a sheet.",
        "Every student has a sheet by the roster, or there is none to give.", "Nothing.",
    ]  # fmt: skip


# -- the instructor's file -----------------------------------------------------------------------------------

ONE = HEAD + "A,case,birch plywood,2,17.6,17.6,2440,1220,sheet 2 at 0 x 0: 100 x 100,\n"
BOTH = "id,name,piece.case\ns1,Ada,A\ns2,Bo,A\n"


def test_a_pinned_layout_stays_when_everything_else_changes(order_of):
    """The layouts written by one order, pinned, are the layouts of the next with one more student."""
    first = order_of(stock=ONE, roster=BOTH)
    (before,) = case_of(first).sheets
    more = BOTH + "s3,Cy,A\n"
    pins = pins_yaml(first)
    (after, *_) = case_of(order_of(stock=ONE, roster=more, cutting=pins)).sheets
    assert after.note == "pinned"
    where = {(part.need.name, part.area, part.turned) for part in after.parts}
    assert where == {(part.need.name, part.area, part.turned) for part in before.parts}


def test_pieces_pinned_without_a_place_come_from_their_sheet(order_of):
    """Both sides of both students from sheet 2, off its bad corner, though one sheet would do; the rest as it fits."""
    names = [f"s{n} C-S{side}" for n in (1, 2) for side in "LR"]
    plan = case_of(order_of(stock=ONE, roster=BOTH, cutting=f"pinned: {{A 2: [{', '.join(names)}]}}\n"))
    found = {sheet.name: {part.need.name for part in sheet.parts} for sheet in plan.sheets}
    assert set(names) <= found["A 2"] and plan.how_good.startswith("1 sheet; proven")
    other = case_of(order_of(stock=ONE, roster=BOTH, cutting="pinned: {A 1: [s1 C-SL], A 2: [s2 C-SL]}\n"))
    found = {sheet.name: {part.need.name for part in sheet.parts} for sheet in other.sheets}
    assert "s1 C-SL" in found["A 1"] and "s2 C-SL" in found["A 2"]


def test_pinned_pieces_that_are_cut_use_their_sheet_up(order_of):
    """A side that came from sheet 1, nobody knows where: the sheet is out, and that is said."""
    order = order_of(stock=ONE, roster=BOTH, cutting="pinned: {A 1: [s1 C-SL]}\n", marks=(("s1", "C-SL", "cut"),))
    assert {sheet.name for sheet in case_of(order).sheets} == {"A 2"}
    assert told(order, "O037") == [
        "cutting.yaml:1:10: O037: pieces pinned to 'A 1' are cut, and nobody can tell what is left of it without their "
        "places\n    It counts as used up; enter what is left of it in stock.csv."
    ]


def test_a_pin_says_who_gets_the_sheet(order_of):
    """s2 has no sheet in the roster; a side pinned to B gives them B, with its thickness."""
    stock = HEAD + "A,case,birch plywood,,17.6,,2440,1220,,\nB,case,birch plywood,,18.1,,2440,1220,,\n"
    order = order_of(stock=stock, cutting="pinned: {B: [s2 C-SL]}\n")
    assert {a.student: a.piece for a in order.assigned} == {"s1": "A", "s2": "B"}


def test_a_sheet_whose_parts_are_all_cut_is_used_up_and_its_offcut_is_stock(order_of):
    """The parts of s1 on sheet 1 are pinned; s2 is cut from what is left of it, and nothing is cut twice."""
    one = HEAD + "A,case,birch plywood,,17.6,17.6,2440,1220,,\n"
    first = order_of(stock=one, roster=BOTH, cutting="today: {students: [s1]}\n")
    own = [sheet for sheet in case_of(first).sheets if sheet.note == "today"]
    cut = [part.need.parts[0].label for sheet in own for part in sheet.parts]
    assert cut and [sheet.name for sheet in own] == ["A"]
    pin = pins_yaml(first).split('  "rest')[0]
    again = order_of(stock=one, roster=BOTH, cutting=pin, marks=tuple(("s1", label, "cut") for label in cut))
    plan = case_of(again)
    assert [sheet.name for sheet in plan.cut_up] == ["A"] and plan.buy == 0
    assert all(sheet.name.startswith("rest") and sheet.trim == (0, 0) for sheet in plan.sheets)
    assert {part.need.student for sheet in plan.sheets for part in sheet.parts} == {"s2"}
    assert "A-left-" in left_csv(again)


def test_today_is_cut_first_and_from_as_few_sheets(order_of):
    """The sides of the class today: on sheets of their own, and the rest afterwards also from their offcuts."""
    plan = case_of(order_of(stock=ONE, roster=BOTH, cutting="today: {parts: [C-SL, C-SR]}\n"))
    today = [sheet for sheet in plan.sheets if sheet.note == "today"]
    assert len(today) == 1
    assert {part.need.parts[0].label for part in today[0].parts} == {"C-SL", "C-SR"}
    after = [sheet for sheet in plan.sheets if sheet.note == "after today"]
    assert after and plan.sheets.index(today[0]) == 0 and all("rest" in sheet.name for sheet in after)
    assert plan.how_good.startswith("today: 1 sheet; proven")
    assert (plan.needed, plan.buy) == (1, 0) and 0 < plan.share_used < 1


def test_forbidden_and_used_sheets_are_left_alone(order_of):
    """Sheet 1 is forbidden and sheet 2 used up: both sheets must be bought; what is forbidden is still there."""
    order = order_of(stock=ONE, roster=BOTH, cutting="forbidden: [A 1]\nused: [A 2]\n")
    assert (case_of(order).on_hand, case_of(order).buy) == (0, 1)
    assert "A-1," in left_csv(order) and "A-2," not in left_csv(order)
    assert "stock.csv has none that may be used" in told(order, "O020")[0]


SIDE = "s1 C-SL at 10 mm x 10 mm"
REFUSED = [
    ("pined: {}", "1:1: O030: cutting.yaml has no 'pined'\n    Did you mean 'pinned'?"),
    ("pinned: A", "1:9: O030: pinned does not say what comes from which sheet\n"
     "    Write `pinned: {sheet-A: [s01 C-SL, s01 C-SR]}`."),
    ("pinned: {A 3: [s1 C-SL]}", "1:10: O031: a layout is pinned to 'A 3', and stock.csv has no such sheet\n"
     "    Did you mean 'A 2' or 'A 1'?"),
    ("used: [B]", "1:8: O031: used names 'B', and stock.csv has no such sheet\n    Known are: A, A 1, A 2."),
    ("today: [s1]", "1:8: O030: today names nothing\n    Write `today: {students: [s01]}`."),
    ("today: {students: [s9]}", "1:20: O032: today names 's9', and there is no such student\n    Known are: s1, s2."),
    ("today: {parts: C-SL}", "1:16: O030: 'parts' is not a list of names\n    Write `parts: [one, two]`."),
    ("used: [A 1]\npinned: {A 1: [s1 C-SL]}", "2:10: O033: a layout is pinned to 'A 1', which line 1 says not to cut\n"
     "    Take one of the two out."),
    ("pinned: {A 1: [s1 C-SL], A 2: [s1 C-SL]}", "1:32: O033: 's1 C-SL' is pinned to 'A 1' and to 'A 2'\n"
     "    A piece is cut once: take one of the two out."),
    ("pinned: {A 1: [s1 C-SL at here x 10]}", "1:16: O034: 's1 C-SL at here x 10' cannot be placed: 'here' is not a length; write it as 30.2, 1 3/16 or 1-3/16\"\n"
     "    Write the place of its corner, length first, as in 's01 C-SL at 10 mm x 220 mm'."),
    (f"pinned: {{A 1: [{SIDE}, s1 C-SR]}}", "1:10: O034: some pieces pinned to 'A 1' have a place, and some have none\n"
     "    Give every piece its place, or none."),
    ("pinned: {A 1: [s1 X-9, s1 C-SL]}", "1:16: O036: 's1 X-9', pinned to 'A 1', is not a piece of this order, so its place "
     "stays empty\n    Take it out, or write it as on the layouts."),
    ("pinned: {A 1: [s1 D-SL]}", "1:16: O035: 's1 D-SL' comes from 4/4 cherry flat-sawn for the frame, and cannot be pinned "
     "to 'A 1'\n    Pin it to a sheet of its own stock, or give the student this sheet in the roster."),
    ("pinned: {A 1: [s1 C-SL at 5 mm x 10 mm]}", "1:16: O035: 's1 C-SL' cannot lie there on 'A 1': it reaches into the trim "
     "or beyond the sheet\n    Correct its place, or write the pieces without places and the planner lays them out."),
    ("pinned: {A 2: [s1 C-SL at 50 mm x 50 mm]}", "1:16: O035: 's1 C-SL' cannot lie there on 'A 2': it touches a defect\n"
     "    Correct its place, or write the pieces without places and the planner lays them out."),
    ("pinned: {A 1: [s1 C-SL at 10 mm x 10 mm turned]}", "1:16: O035: 's1 C-SL' cannot lie there on 'A 1': its grain would "
     "run the wrong way\n    Correct its place, or write the pieces without places and the planner lays them out."),
    (f"pinned: {{A 1: [{SIDE}, s1 C-SR at 617 mm x 10 mm]}}", "1:10: O035: 's1 C-SL' and 's1 C-SR' on 'A 1' are less than a "
     "saw kerf apart\n    Move one of them."),
]  # fmt: skip


@pytest.mark.parametrize(("lines", "says"), REFUSED, ids=[line for line, _ in REFUSED])
def test_what_cannot_be_done_is_told_and_everything_is_still_planned(order_of, lines, says):
    """Line and cure; every part of every student is on a sheet all the same."""
    order = order_of(stock=ONE, roster=BOTH, cutting=lines + "\n")
    assert f"cutting.yaml:{says}" in [str(problem) for problem in order.problems]
    laid = sorted(part.need.name for sheet in case_of(order).sheets for part in sheet.parts)
    assert laid == sorted(need.name for need in order.demand.needs if need.group.role == "case")


def test_a_pin_that_does_not_fit_is_told(order_of):
    """All parts of two students on a sheet for one."""
    names = [f"s{n} C-S{side}" for n in (1, 2) for side in "LR"]
    stock = HEAD + SMALL.format(count=2, defects="").replace("1500", "1250")
    order = order_of(stock=stock, roster=BOTH, cutting=f"pinned: {{A 1: [{', '.join([*names, 's1 C-T', 's2 C-T'])}]}}\n")
    assert told(order, "O035") == [
        "cutting.yaml:1:10: O035: 'A 1' does not give all that is pinned to it: s1 C-SL, s1 C-SR, s2 C-SL, s2 C-SR, s1 C-T, "
        "s2 C-T\n    Pin fewer pieces to it; until then all are planned freely."
    ]


def test_a_pinwheel_cannot_be_pinned(order_of):
    """Four pieces around a hole: no cut goes through."""
    at = {"C-T": (10, 10), "C-B": (400, 10), "V-D": (210, 500), "C-SL": (10, 800)}
    boxes = [Placed("a", 0, 0, 60, 40), Placed("b", 60, 0, 40, 60), Placed("c", 40, 60, 60, 40), Placed("d", 0, 40, 40, 60)]
    assert at and sawn_apart(boxes, (0, 0, 100, 100), 0) is None


@st.composite
def sawn_plates(draw: st.DrawFn) -> tuple[list[Placed], int]:
    """Pieces at the places that some cuts give them."""
    kerf = draw(st.integers(0, 3))
    boxes: list[Placed] = []

    def split(x0: int, y0: int, x1: int, y1: int, depth: int) -> None:
        axis = draw(st.sampled_from([None, *Axis]) if depth else st.none())
        low, high = ((x0, x1), (y0, y1))[axis or 0]
        if axis is None or high - low < 20:
            if draw(st.integers(0, 3)):
                boxes.append(Placed(f"p{len(boxes)}", x0, y0, x1 - x0, y1 - y0))
            return
        at = draw(st.integers(low + 5, high - kerf - 5))
        if axis is Axis.CROSSCUT:
            split(x0, y0, at, y1, depth - 1)
            split(at + kerf, y0, x1, y1, depth - 1)
        else:
            split(x0, y0, x1, at, depth - 1)
            split(x0, at + kerf, x1, y1, depth - 1)

    split(2, 3, 98, 77, 4)
    return boxes, kerf


@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(sawn_plates())
def test_whatever_was_sawn_can_be_pinned(made):
    """Pieces where cuts put them: cuts are found again, and the checker, written apart, lets them pass."""
    boxes, kerf = made
    tree = sawn_apart(boxes, (2, 3, 98, 77), kerf)
    demand = tuple(Demand(b.part, b.length, b.width, 1, Grain.ALONG) for b in boxes)
    job = Job((Stock("s", 100, 80),), demand, kerf, Trim(2, 3))
    planned = tuple(sorted((b.part, 1) for b in boxes))
    proof = Certificate(tuple((p, 0) for p, _ in planned), (), (("s", 0),), 0)
    assert tree is not None
    assert complaints(job, Plan((Layout("s", 1, tree),), proof, planned, cost=1)) == []


# -- what would save a sheet ---------------------------------------------------------------------------------


def test_fewer_spares_save_a_sheet_where_they_do(order_of):
    """Spares and test pieces open a second sheet for one cabinet: said with how often the spares left are enough."""
    stock = HEAD + SMALL.format(count=1, defects="")
    order = order_of("test_pieces: {count: 0}\nsetup_blocks: {count: 0}\n", stock=stock, roster="id,name,piece.case\ns1,Ada,A\n")
    assert case_of(order).buy == 1
    (one,) = [a for a in order.alternatives if a.stock.endswith("for the case, A")]
    assert one.saves == "1 sheet fewer to buy"
    assert "0 instead of 1 spares of side" in one.says and "% of such classes" in one.says


def test_a_student_who_swaps_saves_a_sheet(order_of):
    """Two students on a sheet for one, none on a sheet for two: one of them swaps, which is planned before it is said."""
    stock = HEAD + SMALL.format(count=1, defects="") + "B,case,birch plywood,,18.1,,2440,1220,,\n"
    roster = "id,name,piece.case\ns1,Ada,A\ns2,Bo,A\ns3,Cy,B\n"
    order = order_of(stock=stock, roster=roster)
    assert [(p.group.piece, p.buy) for p in order.sheets if p.group.role == "case"] == [("A", 1), ("B", 0)]
    assert [(a.saves, a.says) for a in order.alternatives] == [
        ("1 sheet fewer to buy", "s1 swaps to B: their case parts change with its thickness"),
    ]  # fmt: skip
    table = load_workbook(BytesIO(order_workbook(order)))["Alternatives"]
    assert [cell.value for cell in table[5]] == [a for one in order.alternatives for a in (one.stock, one.saves, one.says)]
    after = order_of(stock=stock, roster=roster.replace("s1,Ada,A", "s1,Ada,B"))
    assert sum(plan.buy for plan in after.sheets if plan.group.role == "case") == 0


def test_nothing_is_offered_that_saves_nothing(order_of):
    """One sheet for two cabinets: none could be saved. A student whose sides are cut does not swap."""
    assert order_of(stock=ONE, roster=BOTH).alternatives == ()
    stock = HEAD + SMALL.format(count=1, defects="") + "B,case,birch plywood,,18.1,,2440,1220,,\n"
    roster = "id,name,piece.case\ns1,Ada,A\ns2,Bo,A\ns3,Cy,B\n"
    order = order_of(stock=stock, roster=roster, marks=(("s1", "V-D", "cut"), ("s2", "V-D", "cut")))
    assert case_of(order).buy == 1 and order.alternatives == ()


# -- whatever the sheets ---------------------------------------------------------------------------------------

DEMO = read_course(Path(str(files("course").joinpath("demo"))))
AS_IS = read_order_settings(DEMO.folder / "none", [])
GROUP = StockGroup("case", "birch plywood", "sheet", "", "A", "")


@st.composite
def sheets(draw: st.DrawFn) -> tuple[list[Sheet], list[Sheet], list[Need], dict[str, str]]:
    """Sheets and offcuts on hand, some flawed; sheets for sale; pieces, some of which must come from one of them."""
    have = []
    for number in range(draw(st.integers(0, 3))):
        length, width = draw(st.integers(300, 900)), draw(st.integers(250, 600))
        flaw = Area(*map(Fraction, (draw(st.integers(0, length - 60)), draw(st.integers(0, width - 40)), 60, 40)))
        flaws = (flaw,) if draw(st.booleans()) else ()
        have.append(Sheet(f"h{number}", Fraction(length), Fraction(width), flaws, draw(st.booleans())))
    sale = [Sheet("new", Fraction(900), Fraction(600), price=draw(st.sampled_from([None, Fraction(50)])))]
    if draw(st.booleans()):
        sale.append(Sheet("half", Fraction(450), Fraction(600), price=Fraction(27)))
    needs, sources = [], {}
    for number in range(draw(st.integers(1, 9))):
        length, width = Fraction(draw(st.integers(60, 420))), Fraction(draw(st.integers(40, 420)))
        grain = draw(st.sampled_from(list(Grain)))
        needs.append(Need(f"p{number}", "s1", (), "piece", GROUP, length, width, Fraction(18), grain, Purpose.PART, NOWHERE))
        if have and draw(st.integers(0, 5)) == 0:
            sources[f"p{number}"] = have[0].name
    return have, sale, needs, sources


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(sheets())
def test_every_sheet_can_be_cut_as_drawn(made):
    """In mm, on the real sheet: inside it and its trim, apart by a kerf, off every flaw; pins kept; the bound holds."""
    have, sale, needs, sources = made
    lot, found = planned(DEMO, AS_IS, GROUP, needs, have, sale, "", sources)
    assert complaints(lot.job, lot.plan) == []
    assert len({sheet.name for sheet, _ in found}) == len(found)
    laid = [part.need.name for _, cut in found for part in cut.parts]
    assert sorted(laid) == sorted(name for name, _ in lot.plan.planned)
    for sheet, cut in found:
        ends, edges = (0, 0) if sheet.sawn else (10, 10)
        for part in cut.parts:
            a = part.area
            assert a.x >= ends and a.y >= edges
            assert a.x + a.length <= sheet.length - ends and a.y + a.width <= sheet.width - edges
            assert sources.get(part.need.name, sheet.name) == sheet.name
            for flaw in sheet.defects:
                assert not (a.x < flaw.x + flaw.length and flaw.x < a.x + a.length
                            and a.y < flaw.y + flaw.width and flaw.y < a.y + a.width)  # fmt: skip


def test_three_processes_with_different_hash_seeds_plan_one_order():
    """The layouts of the demo, with its pin and its defect, byte for byte."""
    code = (
        "from pathlib import Path\nfrom importlib.resources import files\n"
        "from course.course_folder import read_course\nfrom course.order import plan_order\n"
        "from course.order_files import left_csv, pins_yaml\n"
        "made = plan_order(read_course(Path(str(files('course').joinpath('demo')))))\n"
        "print(pins_yaml(made), left_csv(made), made.problems, made.alternatives)\n"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", code], cwd=Path(__file__).parents[2], env={"PYTHONHASHSEED": seed, "PATH": ""},
            capture_output=True, check=True,
        ).stdout
        for seed in ("0", "1", "4242")
    }  # fmt: skip
    assert len(found) == 1 and b"sheet-A 2" in next(iter(found))


@pytest.mark.parametrize("joined", ["side by side", "end to end"])
def test_matched_panels_lie_in_one_strip_of_one_sheet(order_of, class_text, joined):
    """Two back panels of each student in one piece: next to each other across it, or one behind the other along it."""
    plan = class_text + f"match: {{back: {{parts: [back.panel.1, back.panel.2], joined: {joined}}}}}\n"
    roster = "id,name,stock.panel.build\ns1,Ada,veneered\ns2,Bo,veneered\n"
    order = order_of(plan=plan, roster=roster)
    strips = [p for s in order.cut_sheets for p in s.parts if p.need.match]
    assert [part.need.name for part in sorted(strips, key=lambda p: p.need.name)] == ["s1 B-P1+B-P2", "s2 B-P1+B-P2"]
    for strip in strips:
        one, two = strip.blanks
        gap = Fraction("3.2")
        assert (one.x, one.y) == (strip.area.x, strip.area.y)
        across = (joined == "side by side") is not strip.turned
        assert (two.y == one.y + one.width + gap) if across else (two.x == one.x + one.length + gap)
        assert two.x + two.length <= strip.area.x + strip.area.length
        assert two.y + two.width <= strip.area.y + strip.area.width


@pytest.fixture
def class_text(course_folder) -> str:
    return (course_folder() / "plan.yaml").read_text("utf-8")
