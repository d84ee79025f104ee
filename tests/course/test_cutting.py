"""Plans for published and invented cutting problems, and for small ones that can be worked out on paper."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from functools import cache
from math import ceil
from pathlib import Path

import pytest

from course.cutting import sheets
from course.cutting.checker import complaints, recomputed_bound
from course.cutting.engine import plan_cutting
from course.cutting.master import Master
from course.cutting.model import (
    ANY_STAGES,
    CROSSCUT_FIRST,
    RIP_FIRST,
    STICKS,
    UNITS,
    Demand,
    Grain,
    Job,
    Plan,
    Rect,
    Stock,
    Trim,
    rounded_down,
    rounded_up,
)
from course.cutting.plate_cut import plate_cuts
from course.cutting.prepare import prepared
from course.cutting.pricing import PlatePricer
from course.cutting.recipe import Shape, shapes_in
from course.cutting.sheets import SheetPricing
from course.cutting.whole import dives

FILE = Path(__file__).parent / "cutting" / "instances.json"
INSTANCES = {entry["name"]: entry for entry in json.loads(FILE.read_text("utf-8"))["instances"]}
STAGES = {"three sheet sizes": RIP_FIRST, "boards": RIP_FIRST, "sticks": STICKS}


def job_of(name: str) -> Job:
    entry = INSTANCES[name]
    stock = tuple(Stock(f"size {n}", *size) for n, size in enumerate(entry["stock"], 1))
    demand = tuple(
        Demand(f"part {n}", length, width, count, Grain.FREE if free else Grain.ALONG)
        for n, (length, width, free, count) in enumerate(entry["items"], 1)
    )
    return Job(stock, demand, entry["kerf"], Trim(*entry["trim"]), STAGES.get(entry["family"], ANY_STAGES))


@cache
def plan_of(name: str) -> Plan:
    """Each is planned once for all tests."""
    return plan_cutting(job_of(name))


# Best known number of sheets, published for patterns of three stages; source of each in instances.json.
PUBLISHED_SHEETS = (
    "2d_A1", "2d_CHL2", "2d_OF2", "2d_STS4", "2d_Class_01_20_1", "2d_Class_09_20_1", "2d_Class_10_40_1",
    "2d_gcut01d", "2d_gcut05d", "2d_gcut07d", "2d_gcut09d", "2d_gcut11d",
)  # fmt: skip


@pytest.mark.parametrize("name", PUBLISHED_SHEETS)
def test_a_published_problem_is_solved_in_the_published_number_of_sheets(name: str):
    """The plan uses as few sheets as the best published one, proves that none uses fewer, and can be sawn."""
    job, plan = job_of(name), plan_of(name)
    assert plan.used == INSTANCES[name]["published"]["best known"] == plan.lower_bound
    assert plan.proven and not plan.problems
    assert complaints(job, plan) == []


@pytest.mark.parametrize("name", [name for name in INSTANCES if name.startswith("pat_")])
def test_the_best_pattern_of_one_sheet_has_the_published_value(name: str):
    """Values of Cintra and Wakabayashi for the sets of Beasley 1985, with and without turning."""
    entry = INSTANCES[name]
    length, width, _ = entry["stock"][0]
    shapes = []
    for item, (x, y, free, _) in enumerate(entry["items"]):
        shapes += [Shape(item, x, y)] + ([Shape(item, y, x)] if free else [])
    pricer = PlatePricer(length, width, list(enumerate(shapes)), (), 0)
    worth = [value for *_, value in entry["items"]]
    best = pricer.best(worth, ())
    assert best.value == entry["published"]["optimum"]
    assert sum(worth[shapes[shape].item] for shape in shapes_in(best.recipe)) == best.value


@pytest.mark.parametrize("name", ["2dvar_gcut01d", "2dvar_gcut01dr", "2dvar_gcut05d", "2dvar_gcut05dr"])
def test_three_sheet_sizes_cost_no_more_than_half_a_percent_above_the_best_known(name: str):
    """Strips ripped first, as in the published variant; the published bound is met to its rounding."""
    job, plan, published = job_of(name), plan_of(name), INSTANCES[name]["published"]
    assert plan.cost <= 1.005 * published["best known"]
    assert plan.lower_bound == published["bound"]
    assert complaints(job, plan) == []


@pytest.mark.parametrize("name", ["class_A18", "class_A6", "class_B18", "class_B6", "class_r0", "class_r11", "class_r2"])
def test_a_class_job_is_planned_at_its_bound(name: str):
    """A class building cabinets, 24 to 300 parts: nobody could need fewer sheets."""
    job, plan = job_of(name), plan_of(name)
    assert plan.proven and plan.used == plan.lower_bound
    assert complaints(job, plan) == []


@pytest.mark.parametrize("name", ["sticks_same24_even", "sticks_same24_uneven", "sticks_var3x8_even"])
def test_sticks_of_three_lengths_cost_less_than_one_stick_above_the_bound(name: str):
    """600 sticks; the gap is below the price of the cheapest one and below one percent."""
    job, plan = job_of(name), plan_of(name)
    assert plan.gap <= min(min(s.cost for s in job.stock), plan.lower_bound / 100)
    assert complaints(job, plan) == []


def test_the_bound_can_be_worked_out_again_from_the_printed_worths():
    """The checker, with tables of its own, comes to the same bound as the planner."""
    for name in ("2d_A1", "2d_gcut03d", "2dvar_gcut01dr", "class_B18", "class_r11", "sticks_same24_uneven"):
        job, plan = job_of(name), plan_of(name)
        assert recomputed_bound(job, plan) == plan.lower_bound > 0


def test_plate_cuts_find_the_sheet_that_patterns_miss():
    """gcut5d: rounding patterns gives 198 sheets, the plate-cut model the published 197."""
    work = prepared(job_of("2d_gcut05d"))
    pricing = SheetPricing(work, 0, ANY_STAGES)
    master = Master(work, pricing)
    master.start()
    master.generate()
    patterns = dives(master)
    better = plate_cuts(master, patterns, pricing.plates)
    assert (patterns.cost, better.cost, better.how) == (198, 197, "plate cuts")
    assert better.complete


def test_on_a_coarse_grid_the_plan_can_still_be_cut_and_the_bound_still_holds(monkeypatch):
    """With tables limited to 700,000 steps, sizes are rounded up for patterns and down for the bound."""
    monkeypatch.setattr(sheets, "MOST_STEPS", 700_000)
    job = job_of("class_B18")
    plan = plan_cutting(job)
    assert plan.certificate.grids[0][1] > 1
    assert complaints(job, plan) == [] and recomputed_bound(job, plan) == plan.lower_bound
    assert 16 <= plan.lower_bound <= 17 <= plan.used <= plan.lower_bound + 1


# ---- worked out on paper -----------------------------------------------------------------------------------------


def sheet(length: int, width: int, **more) -> Stock:
    return Stock("sheet", length, width, **more)


def test_kerf_stands_between_strips_only():
    """Three strips of 100 need two kerfs of 3: a sheet of 306 gives three, one of 305 gives two."""
    strips = (Demand("strip", 500, 100, 3, Grain.ALONG),)
    assert plan_cutting(Job((sheet(500, 306),), strips, kerf=3)).used == 1
    assert plan_cutting(Job((sheet(500, 305),), strips, kerf=3)).used == 2


def test_trim_comes_off_every_edge():
    """10 off each of four edges leaves 480 x 280; a part of that size fits and one larger by 1 does not."""
    trim = Trim(10, 10)
    fits = plan_cutting(Job((sheet(500, 300),), (Demand("panel", 480, 280, 1),), kerf=3, trim=trim))
    assert fits.used == 1 and fits.layouts[0].placed[0].x == fits.layouts[0].placed[0].y == 10
    assert plan_cutting(Job((sheet(500, 300),), (Demand("panel", 481, 280, 1),), kerf=3, trim=trim)).problems


def test_grain_decides_how_many_come_from_a_sheet():
    """1000 x 300 gives ten parts of 200 x 150 along (two rows of five) and six across (one row), ten when free."""

    def used(grain: Grain, count: int) -> int:
        return plan_cutting(Job((sheet(1000, 300),), (Demand("part", 200, 150, count, grain),))).used

    assert used(Grain.ALONG, 10) == 1 and used(Grain.ALONG, 11) == 2
    assert used(Grain.ACROSS, 6) == 1 and used(Grain.ACROSS, 7) == 2
    assert used(Grain.FREE, 10) == 1 and used(Grain.FREE, 11) == 2


def test_a_pinwheel_cannot_be_sawn_edge_to_edge():
    """Four parts of 60 x 40 lie around a hole on a sheet of 100 x 100, but no cut goes through: two sheets."""
    job = Job((sheet(100, 100),), (Demand("part", 60, 40, 4),))
    assert plan_cutting(job).used == 2


def test_ripping_first_can_need_more_boards_than_crosscutting_first():
    """A board 100 x 60: one part 40 x 60 and four 30 x 30 need a crosscut before the rip."""
    parts = (Demand("end", 40, 60, 1, Grain.ALONG), Demand("block", 30, 30, 4, Grain.ALONG))
    job = Job((sheet(100, 60),), parts)
    assert plan_cutting(replace(job, stages=CROSSCUT_FIRST)).used == 1
    rip = replace(job, stages=RIP_FIRST)
    assert plan_cutting(rip).used == 2 and complaints(rip, plan_cutting(rip)) == []


def test_the_cheaper_of_two_stock_sizes_is_taken_where_it_pays():
    """Two parts of 50 from one stick of 100 at 9 beat two sticks of 50 at 5; three parts take one of each."""
    sticks = (Stock("long", 100, 20, 9), Stock("short", 50, 20, 5))

    def plan(count: int):
        return plan_cutting(Job(sticks, (Demand("leg", 50, 20, count),), stages=STICKS))

    assert plan(2).cost == 9 and plan(3).cost == 14 == plan(3).lower_bound


def test_stock_on_hand_is_used_up_before_more_is_bought():
    """Two free leftovers on hand and sheets at 10: five parts, one from each leftover, three from a sheet."""
    stock = (sheet(300, 100, cost=10), Stock("leftover", 100, 100, cost=0, on_hand=2))
    job = Job(stock, (Demand("part", 100, 100, 5),))
    plan = plan_cutting(job)
    assert plan.cost == 10 == plan.lower_bound
    assert {layout.stock: layout.copies for layout in plan.layouts} == {"leftover": 2, "sheet": 1}
    assert complaints(job, plan) == []


@pytest.mark.parametrize("stages", [ANY_STAGES, RIP_FIRST, CROSSCUT_FIRST])
def test_no_part_touches_a_defect(stages):
    """A knot in the middle of 300 x 100 leaves a part at each end: two boards for three parts."""
    board = sheet(300, 100, defects=(Rect(140, 40, 20, 20),))
    job = Job((board,), (Demand("part", 120, 100, 3, Grain.ALONG),), kerf=3, stages=stages)
    plan = plan_cutting(job)
    assert complaints(job, plan) == [] and plan.used == 2


def test_no_part_of_a_stick_touches_a_defect():
    """A stick of 300 with a knot from 140 to 160: clear lengths of 140 and 140 for two parts of 140."""
    stick = Stock("stick", 300, 20, defects=(Rect(140, 5, 20, 5),))
    job = Job((stick,), (Demand("leg", 140, 20, 4),), kerf=3, stages=STICKS)
    plan = plan_cutting(job)
    assert plan.used == 2 and complaints(job, plan) == []


def test_what_is_left_of_a_sheet_is_an_offcut_without_its_kerf():
    """400 x 100 from 1000 x 100 with a kerf of 3 leaves 597 x 100."""
    plan = plan_cutting(Job((sheet(1000, 100),), (Demand("part", 400, 100, 1),), kerf=3))
    (offcut,) = plan.layouts[0].offcuts
    assert (offcut.x, offcut.length, offcut.width) == (403, 597, 100)


def test_parts_of_one_size_keep_their_own_names():
    """Left and right sides are one size for the planner; four to a sheet make seven and a spare."""
    parts = (Demand("left side", 300, 200, 3), Demand("right side", 200, 300, 4))
    job = Job((sheet(650, 420),), parts, kerf=3)
    plan = plan_cutting(job)
    assert plan.used == 2 and complaints(job, plan) == []
    assert plan.spares == (("left side", 1),)


def test_a_job_in_another_order_has_the_same_plan():
    """Lines of stock and demand may stand in any order."""
    job = job_of("class_B6")
    assert plan_of("class_B6") == plan_cutting(replace(job, demand=job.demand[::-1], stock=job.stock[::-1]))


def test_three_processes_with_different_hash_seeds_print_one_plan():
    """Nothing depends on the order of sets, on the clock or on chance, and nothing but the plan is printed."""
    code = (
        "from course.cutting.engine import plan_cutting\n"
        "from course.cutting.model import *\n"
        "parts = tuple(Demand(f'p{n}', 20 + 7 * n % 31, 11 + 5 * n % 17, 1 + n % 4) for n in range(9))\n"
        "print(repr(plan_cutting(Job((Stock('a', 97, 61, 5), Stock('b', 80, 55, 4)), parts, 2))))\n"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", code], cwd=FILE.parents[3], env={"PYTHONHASHSEED": seed, "PATH": ""},
            capture_output=True, check=True,
        ).stdout
        for seed in ("0", "1", "4242")
    }  # fmt: skip
    assert len(found) == 1
    assert next(iter(found)).startswith(b"Plan(layouts=(Layout(")


def test_progress_is_told_in_words():
    """Who waits sees how far the plan is and how far it could get."""
    words: list[str] = []
    plan_cutting(job_of("class_B6"), words.append)
    assert words[0].endswith("no plan costs less than 4")


# ---- units -------------------------------------------------------------------------------------------------------


def test_parts_round_up_and_stock_rounds_down():
    """A planned part is never smaller than the real one, and planned stock never larger."""
    tenth, sixtyfourth = UNITS["mm"], UNITS["in"]
    assert rounded_up(Fraction("300.01"), tenth) == 3001 and rounded_up(Fraction(300), tenth) == 3000
    assert rounded_down(Fraction("2440.09"), tenth) == 24400
    assert rounded_up(Fraction(254, 10) * Fraction(1, 8), sixtyfourth) == 8
    assert rounded_down(Fraction(254, 10) * 96, sixtyfourth) == 96 * 64
    assert rounded_up(Fraction("3.2"), sixtyfourth) == ceil(3.2 / 0.396875) == 9


# ---- what cannot be cut ------------------------------------------------------------------------------------------

GOOD = Demand("shelf", 200, 100, 2)

REFUSED = (
    (Demand("top", 600, 200, 1), (), "E011: the part 'top' is larger than any stock inside the trim"),
    (Demand("top", 100, 450, 1, Grain.ALONG), (), "E009: the part 'top' fits on any stock only with its grain"),
    (Demand("top", 100, 50, 1, pin="shet"), (), "E008: the part 'top' is to come from 'shet', and there is no such"),
    (Demand("top", 300, 100, 1, pin="strip"), (Stock("strip", 200, 100),),
     "E011: the part 'top' is larger than the stock 'strip' inside the trim"),
    (Demand("top", 0, 50, 1), (), "E006: the part 'top' is 0 x 50, 1 wanted"),
    (Demand("shelf", 90, 50, 1), (), "E002: the part 'shelf' stands twice"),
)  # fmt: skip


@pytest.mark.parametrize("demand, more, words", REFUSED)
def test_a_part_that_cannot_be_cut_is_named_and_the_rest_is_planned(demand, more, words: str):
    """One problem for the part, and a plan for the shelves."""
    job = Job((sheet(500, 300), *more), (GOOD, demand))
    plan = plan_cutting(job)
    (problem,) = plan.problems
    assert words in str(problem) and problem.do
    assert plan.used == 1 and len(plan.planned) == 1
    if demand.part != "shelf":
        assert complaints(job, plan) == []


def test_without_stock_every_part_is_named():
    """Nothing on hand: the part has no stock to come from."""
    plan = plan_cutting(Job((sheet(500, 300, on_hand=0),), (GOOD,)))
    assert plan.layouts == () and "E007: the part 'shelf' has no stock to come from" in str(plan.problems[0])
    assert plan.cost == plan.lower_bound == 0


def test_parts_beyond_the_stock_on_hand_are_counted():
    """One sheet gives six shelves: of eight, two are named as missing and six are planned."""
    job = Job((sheet(600, 200, on_hand=1),), (replace(GOOD, count=8),))
    plan = plan_cutting(job)
    assert "E012: 2 of 8 'shelf' cannot be cut from the stock on hand" in str(plan.problems[0])
    assert plan.planned == (("shelf", 6),) and plan.used == 1 and complaints(job, plan) == []


WRONG_STOCK = (
    (sheet(500, 300, cost=0), "E004: the stock 'sheet' costs 0"),
    (sheet(500, 300, on_hand=-1), "E005: there are -1 of the stock 'sheet' on hand"),
    (sheet(500, 15), "E003: nothing is left of the stock 'sheet' inside its trim"),
)


@pytest.mark.parametrize("stock, words", WRONG_STOCK)
def test_stock_that_cannot_be_used_is_named(stock: Stock, words: str):
    """And the parts come from the other stock."""
    other = Stock("other", 500, 300)
    plan = plan_cutting(Job((stock, other), (GOOD,), trim=Trim(10, 10)))
    assert words in str(plan.problems[0]) and plan.layouts[0].stock == "other"


def test_two_stocks_of_one_name_are_refused():
    """A layout names its stock, so a name stands for one size."""
    plan = plan_cutting(Job((sheet(500, 300), sheet(400, 300)), (GOOD,)))
    assert "E001: the stock 'sheet' stands twice" in str(plan.problems[0])


def test_a_stick_gives_parts_of_its_own_section():
    """A leg 30 wide cannot be cut to length from sticks 40 wide."""
    job = Job((Stock("stick", 500, 40),), (Demand("leg", 300, 30, 1), Demand("rail", 300, 40, 1)), stages=STICKS)
    plan = plan_cutting(job)
    assert "E010: the part 'leg' has not the section of any stock" in str(plan.problems[0])
    assert plan.planned == (("rail", 1),) and complaints(job, plan) == []


def test_a_damaged_sheet_and_pinned_parts_are_filled_piece_by_piece():
    """Two sheets, one with a bad corner, 40 single parts of five sizes, four of them pinned to it: no third is bought."""
    sizes = ((605, 205), (380, 205), (372, 190), (150, 90), (300, 100))
    demand = tuple(
        Demand(f"p{n}", *sizes[n % 5], 1, Grain.ALONG, pin="worn" if n in (0, 5, 10, 15) else "") for n in range(40)
    )
    stock = (
        sheet(2440, 1220, cost=1), Stock("worn", 2440, 1220, 0, 1, (Rect(2240, 1000, 200, 220),)),
        Stock("sound", 2440, 1220, 0, 1),
    )  # fmt: skip
    job = Job(stock, demand, kerf=3, trim=Trim(10, 10))
    plan = plan_cutting(job)
    assert complaints(job, plan) == []
    assert {layout.stock for layout in plan.layouts} <= {"worn", "sound"} and plan.proven
