"""The checker believes nothing: every plan passes, and every way to spoil one is refused with words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from course.cutting.certificate import payable
from course.cutting.checker import complaints, recomputed_bound
from course.cutting.engine import plan_cutting
from course.cutting.model import (
    ANY_STAGES,
    CROSSCUT_FIRST,
    RIP_FIRST,
    STICKS,
    Axis,
    Cut,
    Demand,
    Grain,
    Job,
    Layout,
    Offcut,
    Placed,
    Plan,
    Rect,
    Stock,
    Trim,
)


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Small jobs of every kind: sheets, boards and sticks, with limits, defects and pins; some parts fit nowhere."""
    stages = draw(st.sampled_from([ANY_STAGES, RIP_FIRST, CROSSCUT_FIRST, STICKS]))
    stock = []
    for number in range(draw(st.integers(1, 2))):
        length, width = draw(st.integers(30, 60)), 20 if stages == STICKS else draw(st.integers(25, 50))
        flaw = Rect(draw(st.integers(0, length)), draw(st.integers(0, width)), draw(st.integers(1, 8)), 5)
        stock.append(Stock(
            f"stock {number}", length, width, draw(st.integers(1, 9)), draw(st.sampled_from([None, None, None, 0, 1, 3])),
            (flaw,) if draw(st.booleans()) and draw(st.booleans()) else (),
        ))  # fmt: skip
    demand = []
    for number in range(draw(st.integers(1, 5))):
        length, width = draw(st.integers(3, 32)), 20 if stages == STICKS else draw(st.integers(3, 27))
        grain = draw(st.sampled_from(list(Grain)))
        pin = draw(st.sampled_from(["", "", "", "stock 0"]))
        demand.append(Demand(f"part {number}", length, width, draw(st.integers(0, 6)), grain, pin))
    trim = Trim(draw(st.integers(0, 3)), draw(st.integers(0, 3)))
    return Job(tuple(stock), tuple(demand), draw(st.integers(0, 3)), trim, stages)


@settings(max_examples=100, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(jobs())
def test_every_plan_can_be_cut_and_its_bound_holds(job: Job):
    """Whatever is asked: inside the trim, edge to edge, every part there or named, the bound proved and not above."""
    plan = plan_cutting(job)
    assert complaints(job, plan) == []
    assert plan.lower_bound == recomputed_bound(job, plan) <= plan.cost


JOB = Job(
    (Stock("sheet", 1000, 600, 3, defects=(Rect(900, 500, 20, 20),)), Stock("strip", 1000, 300, 2, on_hand=2)),
    (Demand("side", 400, 280, 2, Grain.ALONG), Demand("shelf", 350, 250, 3), Demand("rail", 350, 100, 1, pin="sheet")),
    kerf=3,
    trim=Trim(10, 10),
)


def spoiled(plan: Plan, **changes) -> Plan:
    """The plan with something else in its first layout."""
    return replace(plan, layouts=(replace(plan.layouts[0], **changes), *plan.layouts[1:]))


def hand_made(tree, stock: str = "sheet") -> Plan:
    """The good plan with this layout before the others."""
    plan = plan_cutting(JOB)
    return replace(plan, layouts=(Layout(stock, 1, tree), *plan.layouts))


LEFT = Placed("side", 10, 10, 400, 280)

SPOILED = {
    "it is cut 0 times": lambda plan: spoiled(plan, copies=0),
    "cut from 'foil', and there is no such stock": lambda plan: spoiled(plan, stock="foil"),
    "does not go through its plate from 10 to 990": lambda plan: hand_made(
        Cut(Axis.CROSSCUT, 988, Offcut(10, 10, 978, 580), Offcut(991, 10, 0, 580))
    ),
    "the offcut at 10, 10 is not what the cuts leave": lambda plan: hand_made(Offcut(10, 10, 900, 580)),
    "'side' at 10, 10 is not what the cuts leave": lambda plan: hand_made(LEFT),
    "'side' at 0, 0 reaches into the trim": lambda plan: hand_made(replace(LEFT, x=0, y=0)),
    "'side' at 700, 310 lies on a defect": lambda plan: hand_made(replace(LEFT, x=700, y=310)),
    "'lid' at 10, 10 is not a part of the job": lambda plan: hand_made(replace(LEFT, part="lid")),
    "'side' at 10, 10 has not the size of the part": lambda plan: hand_made(replace(LEFT, length=399)),
    "'side' at 10, 10 lies with its grain the wrong way": lambda plan: hand_made(
        Placed("side", 10, 10, 280, 400, turned=True)
    ),
    "'rail' at 10, 10 is to come from 'sheet'": lambda plan: hand_made(Placed("rail", 10, 10, 350, 100), "strip"),
    "'side' and 'shelf' at 412, 10 are less than a kerf apart": lambda plan: hand_made(
        Cut(Axis.CROSSCUT, 410, LEFT, Placed("shelf", 412, 10, 350, 250))
    ),
    "of 2 'side' are cut": lambda plan: replace(plan, layouts=()),
    "9 of 'side' are planned, which nobody asked for": lambda plan: replace(
        plan, planned=tuple((part, 9 if part == "side" else n) for part, n in plan.planned)
    ),
    "0 of 2 'side' are planned, and no problem says why": lambda plan: replace(
        plan, planned=tuple((part, n) for part, n in plan.planned if part != "side")
    ),
    "6 of the stock 'strip' are used, and there are 2": lambda plan: replace(
        plan, layouts=(*plan.layouts, Layout("strip", 5, Offcut(10, 10, 980, 280)))
    ),
    "and the plan says 1": lambda plan: replace(plan, cost=1),
    "the bound is said to be 99, and its worths prove": lambda plan: replace(
        plan, certificate=replace(plan.certificate, bound=99)
    ),
    "less than its bound": lambda plan: replace(plan, certificate=replace(plan.certificate, bound=99)),
}


@pytest.mark.parametrize("words", SPOILED)
def test_a_spoiled_plan_is_refused_with_words(words: str):
    """The plan passes as it came out, and each spoiled copy is refused for what was done to it."""
    plan = plan_cutting(JOB)
    assert complaints(JOB, plan) == []
    found = complaints(JOB, SPOILED[words](plan))
    assert any(words in complaint for complaint in found), found


def test_a_layout_of_too_many_stages_is_refused():
    """A crosscut before the rip on a board that is to be ripped first."""
    parts = (Demand("end", 40, 60, 1, Grain.ALONG), Demand("block", 30, 30, 4, Grain.ALONG))
    job = Job((Stock("board", 100, 60),), parts, stages=CROSSCUT_FIRST)
    plan = plan_cutting(job)
    assert complaints(job, plan) == []
    assert "layout 1: it needs more than 2 stages of parallel cuts, or starts the wrong way" in complaints(
        replace(job, stages=RIP_FIRST), plan
    )


def test_a_stick_part_of_another_section_is_refused():
    """Cut to length only: a part 18 wide does not come from a stick of 20."""
    job = Job((Stock("stick", 100, 20),), (Demand("leg", 100, 20, 1),), stages=STICKS)
    plan = plan_cutting(job)
    thin = replace(plan, layouts=(Layout("stick", 1, Placed("leg", 0, 0, 100, 18)),))
    assert "layout 1: 'leg' at 0, 0 has not the section of the stick" in complaints(job, thin)


def test_worth_that_proves_less_is_found_out():
    """With every part worth half as much and one worth nothing, the same bound is no longer proved."""
    plan = plan_cutting(JOB)
    worth = tuple((part, 0 if part == "side" else value) for part, value in plan.certificate.worth)
    weaker = replace(plan, certificate=replace(plan.certificate, worth=worth))
    assert recomputed_bound(JOB, weaker) < plan.lower_bound
    assert any("its worths prove" in words for words in complaints(JOB, weaker))


@given(st.lists(st.integers(0, 40), min_size=1, max_size=3), st.integers(0, 300))
def test_a_bound_is_an_amount_that_can_be_paid(costs: list[int], least: int):
    """The smallest sum of prices not below a value: found by trying all numbers of each; 24 and 50 cannot pay 42."""
    sums = {0}
    for cost in {cost for cost in costs if cost}:
        sums = {s + n * cost for s in sums for n in range(0, 341 // cost + 1)}
    reachable = [s for s in sums if s >= least]
    assert payable(Fraction(least), tuple(costs)) == (min(reachable) if any(costs) else 0)
    assert payable(Fraction(42), (24, 50)) == 48
