"""Boards: crosscut, ripped, crosscut; wide panels glued up; a bound; what is on hand first."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from course.cutting.board_filling import board_by_board
from course.cutting.boards import board_job, strips, whole_costs
from course.cutting.checker import complaints, glued_width, short_rips
from course.cutting.engine import plan_cutting
from course.cutting.master import Master
from course.cutting.model import CROSSCUT_FIRST, STICKS, Demand, Grain, Job, Rect, Stock, Trim
from course.cutting.prepare import prepared
from course.cutting.sheets import SheetPricing
from course.cutting.whole import dives, whole_program
from course.order import plan_order
from course.order_files import order_rows, total_cost

FILE = Path(__file__).parent / "cutting" / "instances.json"
INSTANCES = {entry["name"]: entry for entry in json.loads(FILE.read_text("utf-8"))["instances"]}
HEAD = "id,role,material,thickness 1,length,width,price,defects\n"
NOTHING_MORE = "scrap: {default: 0, rail: 0}\ntest_pieces: {count: 0}\nsetup_blocks: {count: 0}\n"


def job_of(name: str) -> Job:
    entry = INSTANCES[name]
    stock = tuple(Stock(f"size {n}", *size) for n, size in enumerate(entry["stock"], 1))
    parts = tuple(Demand(f"part {n}", x, y, count, Grain.ALONG) for n, (x, y, _, count) in enumerate(entry["items"], 1))
    job = board_job(stock, parts, entry["kerf"], Trim(*entry["trim"]))
    return replace(job, stages=STICKS) if name.startswith("sticks") else job


# -- panels of strips ------------------------------------------------------------------------------------


def test_a_panel_wider_than_a_board_is_made_of_two_strips():
    """284 from boards that give 194, 2 planed off each glued edge: (284 + 4) / 2 = 144 each (plain geometry)."""
    assert strips(2840, 1940, 20) == (2, 1440)


def test_a_panel_that_fits_stays_in_one_piece():
    """No joint, no allowance."""
    assert strips(1940, 1940, 20) == (1, 1940)


def test_nothing_reasonable_is_glued_from_slats():
    """A meter from boards of 40 would need more than a dozen strips."""
    assert strips(10000, 400, 20) is None


@given(st.integers(1, 6000), st.integers(30, 3000), st.integers(0, 10))
def test_strips_make_the_panel_and_fit_on_the_board(width: int, widest: int, joint: int):
    """Glued, they are as wide as the panel or a little wider, less than one unit for each strip."""
    found = strips(width, widest, joint)
    if found:
        count, each = found
        assert each <= widest and width <= glued_width([each] * count, joint) < width + count


def test_whole_costs_keep_proportions():
    """4 board feet, 5 1/3 and 6 2/3 are 3, 4 and 5."""
    assert whole_costs([Fraction(4), Fraction(16, 3), Fraction(20, 3)]) == (3, 4, 5)


# -- layouts ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["boards_same24", "sticks_var3x8_uneven"])
def test_600_parts_cost_less_than_one_board_above_the_bound(name: str):
    """Invented class of 24, boards of nine sizes and sticks of three lengths: gap below one board and one percent."""
    job = job_of(name)
    plan = plan_cutting(job)
    assert plan.gap <= min(min(stock.cost for stock in job.stock), plan.lower_bound / 100)
    assert complaints(job, plan) == []


def test_a_small_class_needs_its_boards_filled_one_by_one():
    """Five sizes, one or two of each: patterns that repeat a part cost 15, boards filled one after the other 10."""
    sizes = [(700, 90), (650, 80), (600, 85), (560, 60), (520, 95), (500, 70), (480, 66), (450, 50)]
    parts = tuple(Demand(f"p{n}", *size, 1 + n % 2, Grain.ALONG) for n, size in enumerate(sizes))
    job = board_job((Stock("board", 2400, 200, 5),), parts, 3, Trim(25, 3))
    work = prepared(job)
    master = Master(work, SheetPricing(work, job.kerf, CROSSCUT_FIRST))
    master.start()
    master.generate()
    patterns = whole_program(master, dives(master))
    filled = board_by_board(master, patterns)
    assert (patterns.cost, filled.cost, filled.how) == (15, 10, "board by board")
    assert filled.complete and complaints(job, plan_cutting(job)) == []


def test_a_free_part_lies_along_the_board():
    """Grain runs along a board, so a part of 60 x 40 does not lie across one 60 wide and 45 long."""
    job = board_job((Stock("board", 45, 60),), (Demand("part", 60, 40, 1),), 0, Trim())
    assert [p.code for p in plan_cutting(job).problems] == ["E009"]


def test_a_knot_in_the_board_is_cut_out():
    """A knot from 1000 to 1100 over the whole width leaves 975 and 1275 of 2400, two parts of 900."""
    board = Stock("board", 2400, 150, 1, 1, (Rect(1000, 0, 100, 150),))
    job = board_job((board,), (Demand("part", 900, 140, 2),), 3, Trim(25, 3))
    plan = plan_cutting(job)
    assert plan.used == 1 and not plan.problems and complaints(job, plan) == []


def test_a_rip_through_a_short_piece_is_found():
    """Two parts 200 long side by side are ripped from a piece of 200; a machine wants 300."""
    job = board_job((Stock("board", 2400, 150),), (Demand("part", 200, 60, 2),), 3, Trim(25, 3))
    found = short_rips(plan_cutting(job), 300)
    assert found and found[0].startswith("layout 1: a rip at 63 through a piece 200 long")
    assert short_rips(plan_cutting(job), 200) == []


# -- of a class ------------------------------------------------------------------------------------------


@pytest.fixture
def order_of(course_folder, course_of):
    def make(order: str = "", **texts: str):
        (course_folder(**texts) / "order.yaml").write_text(order, "utf-8")
        return plan_order(course_of(**texts))

    return make


def test_every_board_part_of_the_demo_is_cut_once_and_the_layouts_hold(demo_order):
    """Strips instead of glued panels, nothing twice, no rip through a short piece, gap below one board."""
    order = demo_order
    cut = sorted(part.need.name for board in order.cut_boards for part in board.parts)
    assert cut == sorted(need.name for need in order.blanks if not need.group.sheet)
    for plan in order.boards:
        layout = plan.layout
        assert complaints(layout.job, layout.plan) == []
        assert short_rips(layout.plan, 3000) == []
        assert layout.plan.gap < min(stock.cost for stock in layout.job.stock if stock.cost)


def test_panels_come_whole_from_wide_boards_on_hand_and_the_rest_is_glued(demo_order):
    """Door panels are 284 wide: board panel-1 of 300 gives four, boards to buy are 200 wide, so six are glued up."""
    cherry = next(plan for plan in demo_order.boards if plan.group.role == "panel" and plan.group.material == "cherry")
    (wide,) = [board for board in cherry.layout.boards if board.name == "panel-1"]
    assert len([part for part in wide.parts if part.need.width > 194]) == 4
    for one in cherry.layout.glued:
        assert glued_width((int(strip.width * 10) for strip in one.strips), 20) >= one.need.width * 10
        assert [strip.name for strip in one.strips] == [f"{one.need.name} strip {n} of 2" for n in (1, 2)]
    assert len(cherry.layout.glued) == 6


def test_boards_on_hand_come_before_boards_to_buy(order_of):
    """Enough frame stock on hand: nothing to buy, and that is proven."""
    stock = HEAD + "".join(f"f{n},frame,cherry,18,3000,200,,\n" for n in range(1, 4))
    frame = next(p for p in order_of(NOTHING_MORE, stock=stock).boards if p.group.role == "frame")
    assert frame.layout.bought == () and {board.name for board in frame.layout.boards} <= {"f1", "f2", "f3"}
    assert frame.layout.how_good.endswith("proven: no layout of these rips and crosscuts takes less")


def test_the_cheaper_of_two_boards_is_bought(order_of):
    """The same size at 30 and at 20: only those at 20 are bought, and the words give money."""
    sale = "for_sale: {frame: {fine: {length: 2500 mm, width: 160 mm, price: 30}, plain: {length: 2500 mm, width: 160 mm, price: 20}}}\n"
    frame = next(p for p in order_of(NOTHING_MORE + sale).boards if p.group.role == "frame")
    assert [(one.length, one.width) for one in frame.layout.bought] == [(2500, 160)]
    count = frame.layout.bought[0].count
    assert f"{count} of them to buy for {20 * count}.00" in frame.layout.how_good


def test_boards_with_a_price_stand_in_the_total(order_of):
    """What the laid out boards cost is the cost of their line, and no line without a price."""
    sale = "for_sale: {frame: {plain: {length: 2500 mm, width: 160 mm, price: 20}}}\n"
    order = order_of(NOTHING_MORE + sale)
    frame = next(p for p in order.boards if p.group.role == "frame")
    cost = f"{20 * frame.layout.bought[0].count}.00"
    (row,) = [row for row in order_rows(order) if row.what == frame.group.says]
    assert (row.price, row.cost) == ("", cost)
    others = sum(1 for p in order.boards if p.buy and p.cost is None) + len([b for p in order.sheets for b in p.bought])
    assert total_cost(order) == f"Together {cost}, and {others} more lines without a price."
