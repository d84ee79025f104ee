"""Stock as measured, and what is refused of it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.quantities import Origin
from shared.problems import InputRefused

HEAD = "id,role,material,thickness 1,thickness 2,moisture\n"
ROSTER = "id,name,piece.case\ns1,S,A\n"


def test_the_mean_of_the_readings_counts(course_of):
    """A sheet read as 17.5 and 17.8 is 17.65 thick for every part cut from it."""
    course = course_of(stock=HEAD + "A,case,birch plywood,17.5,17.8,8\n", roster=ROSTER)
    values = course.values(course.students[0])
    assert values["case.side.left.thickness"] == Fraction("17.65")
    assert values.origin("stock.case.thickness") is Origin.STOCK
    assert course.stock["A"].spread == Fraction("0.3")


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("A,case,,17.5,,\nA,case,,17.5,,\n", "stock.csv:3:1: S003: the id 'A' stands twice"),
        ("A,cases,,17.5,,\n", "stock.csv:2:2: S004: the plan has no stock 'cases'\n    Did you mean 'case'?"),
        ("A,case,,,,\n", "stock.csv:2: S005: 'A' has no thickness"),
        ("A,case,,thin,,\n", "stock.csv:2:4: S006: 'thin' is not a length"),
        ("A,case,,-17.5,,\n", "stock.csv:2:4: S006: '-17.5' is not more than nothing"),
        ("A,case,,17.5,,wet\n", "stock.csv:2:6: S007: the moisture is 'wet'"),
    ],
)
def test_refused_in_words(course_of, rows: str, says: str):
    """A wrong piece is refused with its cell."""
    with pytest.raises(InputRefused) as refused:
        course_of(stock=HEAD + rows)
    assert str(refused.value).startswith(says)


def test_a_piece_the_stock_lacks_is_refused(course_of):
    """A roster that names a sheet which is not there is told which are."""
    with pytest.raises(InputRefused) as refused:
        course_of(stock=HEAD + "A,case,,17.5,,\n", roster="id,name,piece.case\ns1,S,B\n")
    assert str(refused.value) == "roster.csv:2:3: R008: stock.csv has no 'B' for the case stock\n    Known are: A."


def test_a_species_no_table_knows_is_looked_at(course_of):
    """A solid panel of an unknown species is counted as not moving, and that is said."""
    course = course_of(
        stock="id,role,material,thickness 1\nP,panel,moonwood,12\n", roster="id,name,piece.panel\ns1,S,P\n"
    )
    assert "no table gives the movement of 'moonwood'" in " ".join(p.says for p in course.notes)
    assert course.values(course.students[0])["door.panel.1.movement"] == 0
