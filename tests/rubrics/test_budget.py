"""The tolerance budget: each reading's share of a size, added up in the worst case and as independent errors."""

from __future__ import annotations

from fractions import Fraction

import pytest
from typer.testing import CliRunner

from rubrics.budget import Budget, Share, budget
from rubrics.commands import app


def test_the_three_that_move_the_reveal_most(course_of):
    """Two stiles and the longer rail each arrive at the reveal by half, as the opening does (geometry)."""
    course = course_of()
    found = budget(course, course.student("s1"), "door.built.reveal")
    moves = {share.quantity: share.moves for share in found.shares}
    assert moves["door.stile.left.width"] == moves["door.stile.right.width"] == Fraction(-1, 2)
    assert moves["door.rail.top.shoulder"] == moves["door.rail.bottom.shoulder"] == Fraction(-1, 2)
    assert moves["divider.upper.width"] == Fraction(1, 2)
    assert set(moves) == {
        "door.stile.left.width", "door.stile.right.width", "door.rail.top.shoulder", "door.rail.bottom.shoulder",
        "divider.upper.width",
    }  # fmt: skip
    assert [float(share.adds) for share in found.shares] == [0.1555, 0.15, 0.15, 0.15, 0.15]


def test_shares_add_up_as_published():
    """Ten shares of 0.1: 1.0 in the worst case, 0.316 as root sum square (printed on two public pages)."""
    ten = Budget("gap", tuple(Share(f"q{i}", "", Fraction("0.1"), Fraction(1)) for i in range(10)))
    assert ten.worst_case == 1
    assert ten.root_sum_square == pytest.approx(0.316, abs=0.0005)


def test_the_command_prints_the_shares_and_both_sums(course_folder):
    """Widest first, with what is allowed, how much arrives, and both totals."""
    result = CliRunner().invoke(app, ["budget", str(course_folder()), "s1", "door.built.reveal"])
    lines = result.stdout.replace("\u00a0", " ").splitlines()
    assert lines[0] == "door.built.reveal of Ada Test: reveal that the parts leave on each side, 1.5 mm"
    assert lines[1] == "  0.16 mm  divider.upper.width may be off by 0.31 mm, 0.5 of it arrives"
    assert lines[-2].startswith("All at once, the same way: ")
    assert lines[-1].startswith("As independent errors add up: ")
