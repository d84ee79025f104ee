"""The tolerance budget: each reading's share of a size, added up in the worst case and as independent errors."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.course_folder import read_course
from course.readings import Reading
from lessons.__main__ import main
from rubrics.budget import Budget, Share, budget, budget_lines, final_reveals


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


def lines_of(course, quantity: str) -> list[str]:
    return [line.replace("\u00a0", " ") for line in budget_lines(course, course.student("s1"), quantity)]


def test_three_of_five_readings_are_told_of_the_reveal_and_all_five_added_up(course_of):
    """0.1555 and four times 0.15 add up to 0.7555, and as root sum square to 0.338 (the formulas of tolerance chains)."""
    course = course_of()
    assert lines_of(course, "door.built.reveal") == [
        "",
        "The readings that move the final reveal most (door.built.reveal, 1.5 mm):",
        "  0.16 mm  divider.upper.width: may be 0.31 mm off, 0.5 of it arrives",
        "  0.15 mm  door.rail.bottom.shoulder: may be 0.3 mm off, 0.5 of it arrives",
        "  0.15 mm  door.rail.top.shoulder: may be 0.3 mm off, 0.5 of it arrives",
        "  0.76 mm  these and 2 more at once and the same way (worst case)",
        "  0.34 mm  these and 2 more as independent errors add up (root sum square)",
    ]


def test_a_size_has_its_own_readings_before_those_of_the_reveal(course_of):
    """A rail is its shoulder and twice its tenon: 0.3 + 2 x 0.4 = 1.1, and as root sum square 0.854."""
    lines = lines_of(course_of(), "door.rail.top.length")
    assert lines[1:6] == [
        "Readings that move it, when each is off by as much as its check allows:",
        "  0.8 mm  door.tenon.length: may be 0.4 mm off, 2.0 of it arrives",
        "  0.3 mm  door.rail.top.shoulder: may be 0.3 mm off, 1.0 of it arrives",
        "  1.1 mm  all at once and the same way (worst case)",
        "  0.85 mm  all as independent errors add up (root sum square)",
    ]
    assert "The readings that move the final reveal most (door.built.reveal, 1.5 mm):" in lines


@pytest.mark.parametrize(
    ("quantity", "reveals"),
    [
        ("back.rail.top.length", ("back.built.reveal",)),
        ("case.side.left.length", ("door.built.reveal",)),
        ("door.panel.1.width", ("door.built.reveal",)),
    ],
)
def test_the_final_reveal_is_that_of_its_frame_or_else_the_door(course_of, quantity: str, reveals: tuple[str, ...]):
    """A part of the back ends in the reveal of the back, a side of the case in that of the door."""
    assert final_reveals(course_of(), quantity) == reveals


def test_only_the_door_is_told_where_no_reading_moves_the_size(course_of):
    """A side is as long as the plan says, whatever is read."""
    assert lines_of(course_of(), "case.side.left.length")[1].startswith("The readings that move the final reveal")


def test_why_moves_ends_with_the_readings_that_count(course_folder, capsys, monkeypatch):
    """The front door puts the coefficients and the budget on one page, and says what is read already."""
    folder = course_folder()
    read_course(folder).log.add([Reading("s1", "door.stile.left.width", 1, 1, "49.6", Fraction("49.6"))])
    monkeypatch.setattr("sys.argv", ["fairfit", "why", str(folder), "s1", "door.rail.top.shoulder", "--moves"])
    with pytest.raises(SystemExit) as ended:
        main()
    lines = capsys.readouterr().out.replace("\u00a0", " ").splitlines()
    assert not ended.value.code
    assert "     -1.0  door.stile.left.width, reading" in lines
    assert "     -1.0  door.stile.right.width, not read yet" in lines
    assert "     -1.0  door.stile.width" in lines
    assert lines[-1] == "  0.34 mm  these and 2 more as independent errors add up (root sum square)"
