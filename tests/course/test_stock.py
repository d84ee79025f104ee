"""Stock as measured, and what is refused of it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.quantities import Origin
from course.stock import Defect
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


def test_columns_that_are_missing_or_unknown_are_refused(course_of):
    """A stock file needs id and role; a heading that is none is not passed over."""
    columns = "The columns are id, role, material, thickness 1, thickness 2, ..., length, width, moisture."
    for stock, says in (
        ("id,material\nA,cherry\n", f"stock.csv:1:1: S001: the column 'role' is missing\n    {columns}"),
        (
            HEAD.replace("moisture", "moistures") + "A,case,,17.5,,\n",
            "stock.csv:1:1: S002: there is no column 'moistures'\n    Did you mean 'moisture'?",
        ),
    ):
        with pytest.raises(InputRefused) as refused:
            course_of(stock=stock)
        assert str(refused.value) == says


def test_a_piece_the_stock_lacks_is_refused(course_of):
    """A roster that names a sheet which is not there is told which are."""
    with pytest.raises(InputRefused) as refused:
        course_of(stock=HEAD + "A,case,,17.5,,\n", roster="id,name,piece.case\ns1,S,B\n")
    assert str(refused.value) == "roster.csv:2:3: R008: stock.csv has no 'B' for the case stock\n    Known are: A."


def test_a_piece_of_a_stock_that_has_none_may_be_entered_or_left_out(course_of):
    """Without a stock.csv there is nothing to choose from; the cure says what else can be done."""
    roster = "id,name,piece.case\ns1,Ada,B\n"
    with pytest.raises(InputRefused) as refused:
        course_of(roster=roster)
    assert str(refused.value) == (
        "roster.csv:2:3: R008: stock.csv has no 'B' for the case stock\n"
        "    Enter it in stock.csv, or leave the cell empty: its parts are then planned with the thickness of the plan."
    )
    assert course_of(roster=roster.replace(",B", ",")).students


def test_a_species_no_table_knows_is_looked_at(course_of):
    """A solid panel of an unknown species is counted as not moving, and that is said."""
    course = course_of(
        stock="id,role,material,thickness 1\nP,panel,moonwood,12\n", roster="id,name,piece.panel\ns1,S,P\n"
    )
    assert "no table gives the movement of 'moonwood'" in " ".join(p.says for p in course.notes)
    assert course.values(course.students[0])["door.panel.1.movement"] == 0


def test_a_wood_of_no_table_may_bring_its_own_figure(course_of, class_plan: str):
    """What to write is said with the nearest wood of the tables, and once it is written nothing is said any more."""
    oak = class_plan.replace("panel: {material: cherry", "panel: {material: European oak")
    said = [p for p in course_of(plan=oak).notes if p.code == "S010"]
    assert [p.do for p in said] == [
        "Write its share of the width for each percent of moisture as `movement: 0.003` beside it in the plan. "
        "Did you mean 'red oak'?"
    ]
    figure = oak.replace("European oak", "European oak, movement: 0.003")
    assert "S010" not in {p.code for p in course_of(plan=figure).notes}


FULL = "id,role,material,count,thickness 1,length,width,defects,price\n"


def test_a_line_may_stand_for_several_equal_sheets(course_of):
    """Three sheets, a bad corner on the second; each sheet has a name of its own."""
    course = course_of(stock=FULL + "A,case,birch plywood,3,17.6,2440,1220,sheet 2 at 0 x 1100: 300 x 120,68.50\n")
    piece = course.stock["A"]
    assert (piece.count, piece.names, piece.price) == (3, ("A 1", "A 2", "A 3"), Fraction("68.5"))
    assert piece.defects == (Defect(2, *map(Fraction, (0, 1100, 300, 120))),)


def test_a_single_sheet_needs_no_number(course_of):
    """Two flaws of one sheet; sizes with their own unit are read as written."""
    stock = FULL + "A,case,,,17.6,2440,1220,at 1 in x 0: 60 x 40; at 500 x 500: 20 x 20,\n"
    piece = course_of(stock=stock).stock["A"]
    assert piece.names == ("A",) and [defect.x for defect in piece.defects] == [Fraction("25.4"), 500]


def test_a_sheet_that_is_not_measured_has_the_thickness_of_the_plan(course_of):
    """Bought for later: planned as 18, and that it must be measured is said; nothing is refused."""
    course = course_of(stock=HEAD + "A,case,birch plywood,,,\n", roster=ROSTER)
    values = course.values(course.students[0])
    assert values["case.side.left.thickness"] == 18 and not course.stock["A"].measured
    assert [str(note) for note in course.notes if note.code == "S005"] == [
        "stock.csv:2: S005: 'A' has no thickness, so its parts are planned with the thickness of the plan\n"
        "    Measure it at three places or more before it is cut; write each in a column thickness 1, 2, 3."
    ]


CORNER = "Write place and size from one corner, length first, as in 'sheet 2 at 300 x 0: 60 x 40'."
WRONG = [
    ("A,case,,two,17.6,2440,1220,,", "4: S011: the count is 'two'\n    Write a whole number, as in 3."),
    ("A,case,,,17.6,2440,1220,knot,", f"8: S012: the defect 'knot' of 'A' is not a place and a size\n    {CORNER}"),
    (
        "A,case,,2,17.6,2440,1220,at 0 x 0: 9 x 9,",
        f"8: S012: the defect 'at 0 x 0: 9 x 9' of 'A' does not say which of the 2 sheets has it\n    {CORNER}",
    ),
    (
        "A,case,,2,17.6,2440,1220,sheet 3 at 0 x 0: 9 x 9,",
        f"8: S012: the defect 'sheet 3 at 0 x 0: 9 x 9' of 'A' is on sheet 3, and there are 2\n    {CORNER}",
    ),
    (
        "A,case,,,17.6,2440,1220,at 2400 x 0: 60 x 9,",
        f"8: S012: the defect 'at 2400 x 0: 60 x 9' of 'A' does not lie on the sheet\n    {CORNER}",
    ),
]


def test_a_form_is_sheet_or_solid(course_of):
    """Where a stock is built both ways, its line says whether it is a board; another word is refused."""
    head = "id,role,form,thickness 1\n"
    assert course_of(stock=head + "A,panel,solid,12\nB,panel,,12\n").stock["A"].form == "solid"
    with pytest.raises(InputRefused) as refused:
        course_of(stock=head + "A,panel,board,12\n")
    assert str(refused.value) == "stock.csv:2:3: S013: the form is 'board'\n    Known are: sheet, solid."


@pytest.mark.parametrize(("row", "says"), WRONG)
def test_a_wrong_count_or_defect_is_refused_with_its_cell(course_of, row: str, says: str):
    """The words name the sheet and show how it is written."""
    with pytest.raises(InputRefused) as refused:
        course_of(stock=FULL + row + "\n")
    assert str(refused.value) == f"stock.csv:2:{says}"
