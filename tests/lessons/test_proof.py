"""What is said before wood is bought of work that the shop has no machine or no route for."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest

from course.course_folder import read_course
from lessons.proof import proof

ALL = "table saw, dado set, router table, jointer, planer, miter saw, drill press, hand router, track saw"


@pytest.fixture
def said(course_folder: Callable[..., Path]) -> Callable[..., str]:
    """What is said of a shop with some machines, and of operations with some text changed."""

    def make(machines: str = ALL, more: str = "", operation: str = "", old: str = "", new: str = "") -> str:
        folder = course_folder(course=f"title: T\nid: t\nshop: {{machines: [{machines}]{more}}}\n")
        if operation:
            text = files("lessons").joinpath("operations", operation).read_text("utf-8")
            assert old in text
            (folder / "lessons").mkdir()
            (folder / "lessons" / operation).write_text(text.replace(old, new), "utf-8")
        return "\n".join(map(str, proof(read_course(folder))))

    return make


def test_a_shop_with_all_machines(said):
    """Nothing is said."""
    assert said() == ""


def test_a_machine_that_the_shop_does_not_list(said):
    """Work that then is done by hand alone is named, once for each machine."""
    assert said(ALL.replace("router table, jointer, ", "")) == (
        "course.yaml: V031: the shop lists no jointer; by hand alone: Flatten one face and square one edge\n"
        "    Add 'jointer' to shop.machines, or count on the time by hand.\n"
        "course.yaml: V031: the shop lists no router table; by hand alone: "
        "Groove the inner edges, Cut the tongue round the panels\n"
        "    Add 'router table' to shop.machines, or count on the time by hand."
    )


def test_what_the_shop_forbids_on_purpose_is_not_told(said):
    """A dado set that is there but forbidden leaves the router or the hand; the instructor knows."""
    assert said(more=", forbidden: [dado set]") == ""
    assert said(more=", hand_only: [cut dadoes]") == ""


def test_a_shop_that_works_by_hand(said):
    """No machine at all is a choice, and not told for each of them."""
    assert said("") == ""


def test_work_without_any_route(said):
    """An own operation whose hand route also needs a machine that is not there cannot be done at all."""
    changed = {
        "operation": "21_groove_edges.md",
        "old": "tool: plough plane,",
        "new": "tool: spindle, sign_off: spindle,",
    }
    told = said(ALL.replace("router table, ", ""), **changed)
    assert (
        "21_groove_edges.md:2:1: V030: 'Groove the inner edges' has no route in this shop: "
        "it is done with slot cutter on the router table, spindle\n"
        "    Change the plan, write a hand route into an own copy of the operation, "
        "or have it done by the instructor; the packets say so."
    ) in told
    assert "Groove the inner edges" not in told.partition("V031")[2]


def test_faults_of_lesson_files_are_told_too(said):
    """A slip in an own operation is told by the same check."""
    assert ": L00" in said(operation="21_groove_edges.md", old="stage: frame", new="stage: frme")
