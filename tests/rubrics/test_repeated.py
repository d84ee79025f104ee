"""Readings that only repeat the list are asked about, with the chance that honest work would do so."""

from __future__ import annotations

import random
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from course.course import Course
from lessons.demo import Scenario, read_scenario, simulated
from rubrics.fit_rows import fit_rows
from rubrics.intake import collect
from rubrics.repeated import at_least, chance_on_target
from rubrics.sheet import measurement_workbook
from rubrics.sheet_files import fill


@given(st.integers(1, 30), st.floats(0.05, 0.95), st.data())
def test_equal_chances_give_the_binomial_tail(n: int, p: float, data):
    """With the same chance for all, the tail is that of the binomial distribution."""
    k = data.draw(st.integers(0, n))
    expected = sum(comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k, n + 1))
    assert at_least(k, [p] * n) == pytest.approx(expected, abs=1e-9)


def test_a_step_of_two_standard_deviations_is_met_two_times_in_three():
    """A normal error lies within one standard deviation in 68.27 of 100 cases (published table of the normal law)."""
    assert chance_on_target(2.0, 1.0) == pytest.approx(0.6827, abs=0.00005)


def collected(course: Course, texts: dict[tuple[str, int], str]):
    path = course.folder / "s1.xlsx"
    path.write_bytes(fill(measurement_workbook(course, course.student("s1")), texts, {}))
    return [p for p in collect(course, [path]).questions if p.code == "C106"]


def test_a_sheet_that_repeats_the_list_is_asked_about(course_of):
    """Every reading is the printed target: one kind question, with how seldom that happens by chance."""
    course = course_of()
    rows = fit_rows(course, course.student("s1"))
    texts = {(row.quantity, place): row.target for row in rows for place in range(1, row.places + 1)}
    (ask,) = collected(course, texts)
    assert ask.says.startswith("s1: ") and ask.says.endswith(" readings are exactly what the sheet asked for")
    assert ask.do == (
        "Were they measured, or taken from the list? By chance it happens once in 1,000,000,000 sheets."
    )


def test_honest_scatter_is_not_asked_about(course_of):
    """Twenty simulated students whose work scatters as the demo's does raise no such question."""
    course = course_of()
    from importlib.resources import files

    scenario = read_scenario(files("course").joinpath("demo", "scenario.yaml").read_text("utf-8"))
    student = course.student("s1")
    chance = random.Random(7)
    for _ in range(20):
        texts = simulated(course, student, Scenario(str(chance.random()), scenario.spread, (), (), {}, {}))
        assert not collected(course, texts)
        (course.folder / "course.db").unlink()
        course.fresh()
