"""At the same number of sheets: fewer different layouts, no more settings than it takes, one large offcut."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from course.cutting import engine
from course.cutting.checker import complaints
from course.cutting.model import Axis, Demand, Grain, Job, Plan, Stock, Trim
from course.cutting.recipe import Shape
from course.cutting.second_goals import largest_offcut, settings_in, without

FILE = Path(__file__).parent / "cutting" / "instances.json"
CLASSES = {e["name"]: e for e in json.loads(FILE.read_text("utf-8"))["instances"] if e["family"] == "class"}


def class_job(name: str) -> Job:
    entry = CLASSES[name]
    demand = tuple(
        Demand(f"part {n}", length, width, count, Grain.FREE if free else Grain.ALONG)
        for n, (length, width, free, count) in enumerate(entry["items"], 1)
    )
    return Job((Stock("sheet", *entry["stock"][0]),), demand, entry["kerf"], Trim(*entry["trim"]))


def without_second_goals(job: Job) -> Plan:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "easiest", lambda master, best: best)
        return engine.plan_cutting(job)


@pytest.mark.parametrize(("name", "before", "after"), [("class_A18", 8, 3), ("class_r2", 5, 3), ("class_B6", 3, 1)])
def test_a_class_job_has_fewer_layouts_and_as_many_sheets(name: str, before: int, after: int):
    """Invented class jobs of 24 and 200 parts and more: the figures that were measured."""
    job = class_job(name)
    plain, plan = without_second_goals(job), engine.plan_cutting(job)
    assert (plain.different, plan.different) == (before, after)
    assert plan.cost == plain.cost == plan.lower_bound
    assert complaints(job, plan) == []


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Sheets of one or two sizes, some of them only on hand."""
    stock = [
        Stock(f"stock {n}", draw(st.integers(40, 60)), draw(st.integers(30, 50)), draw(st.integers(1, 5)),
              draw(st.sampled_from([None, None, 2])))
        for n in range(draw(st.integers(1, 2)))
    ]  # fmt: skip
    demand = [
        Demand(f"part {n}", draw(st.integers(5, 30)), draw(st.integers(5, 25)), draw(st.integers(1, 8)))
        for n in range(draw(st.integers(1, 3)))
    ]
    return Job(tuple(stock), tuple(demand), draw(st.integers(0, 2)), Trim(1, 1))


@settings(max_examples=10, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(jobs())
def test_second_goals_never_cost_a_sheet(job: Job):
    """Whatever is cut: not dearer, the same parts planned, still sawn edge to edge, and the bound still proved."""
    plain, plan = without_second_goals(job), engine.plan_cutting(job)
    assert plan.cost <= plain.cost and plan.planned == plain.planned
    assert complaints(job, plan) == []


def test_two_sizes_in_equal_numbers_are_cut_from_equal_sheets():
    """Four long and four short parts that fill a sheet together: one layout, four times."""
    parts = (Demand("long", 60, 60, 4, Grain.ALONG), Demand("short", 40, 60, 4, Grain.ALONG))
    plan = engine.plan_cutting(Job((Stock("sheet", 100, 60),), parts))
    assert (plan.used, plan.different) == (4, 1)


def test_what_is_left_of_the_last_sheet_is_one_piece():
    """Three parts of 30 x 50 lie in a row: 100 x 50 of a sheet of 100 x 100 stays whole."""
    plan = engine.plan_cutting(Job((Stock("sheet", 100, 100),), (Demand("part", 30, 50, 3),)))
    largest = plan.layouts[0].offcuts[0]
    assert largest.length * largest.width >= 5000


SHAPES = (Shape(0, 30, 50), Shape(1, 20, 50))
RECIPE = (Axis.RIP, 50, (Axis.CROSSCUT, 30, 0, (Axis.CROSSCUT, 30, 0, 1)), None)


def test_settings_of_a_sheet_are_counted_once_each():
    """A rip at 50, crosscuts at 30, 30 and 20: the last part is 20 of the 40 that are left."""
    assert set(settings_in(RECIPE, 100, 100, SHAPES)) == {(Axis.RIP, 50), (Axis.CROSSCUT, 30), (Axis.CROSSCUT, 20)}


def test_a_part_that_nobody_needs_stays_in_the_offcut():
    """Without the third part 40 x 50 are left of the strip, less than the 100 x 50 beside it."""
    assert largest_offcut(RECIPE, 100, 100, SHAPES) == 5000
    left = without(RECIPE, lambda item: item == 1, SHAPES)
    assert left == (Axis.RIP, 50, (Axis.CROSSCUT, 30, 0, (Axis.CROSSCUT, 30, 0, None)), None)
    assert largest_offcut(left[2], 100, 50, SHAPES) == 2000
    assert without(RECIPE, lambda item: True, SHAPES) is None
