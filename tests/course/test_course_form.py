"""Nothing that is written in a course folder is passed over: wrong forms, unknown lines, cells without a heading."""

from __future__ import annotations

import pytest

from course.course_folder import read_course
from course.proof import proof
from shared.problems import InputRefused

COURSE = "title: T\ndate: 2026-10-05\n"


def refused(course_folder, **texts: str) -> str:
    """What a course of such files is refused with."""
    with pytest.raises(InputRefused) as caught:
        read_course(course_folder(**texts))
    return str(caught.value)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("paper: [a4]", "course.yaml:3:8: P032: 'paper' is a list, and one value is expected\n"
         "    Write `paper:` and the value behind it."),
        ("term: {a: b}", "course.yaml:3:7: P032: 'term' is `name: value` lines, and one value is expected\n"
         "    Write `term:` and the value behind it."),
        ("safety: Ask first.", "course.yaml:3:9: P005: 'safety' must be `name: value` lines\n"
         '    Write `safety: {local: "..."}`.'),
        ("signoff: {pass_mark: eighty}", "course.yaml:3:22: P033: signoff.pass_mark is no whole number\n"
         "    Write the least score of a test, as in `pass_mark: 80`."),
        ("signoff: {passmark: 80}", "course.yaml:3:11: P002: signoff has no 'passmark'\n    Did you mean 'pass_mark'?"),
        ("shop: {machines: table saw}", "course.yaml:3:18: P025: shop.machines is not a list\n"
         "    Write `machines: [one, two]`."),
        ("shop: {kerf: 2 mm}", "course.yaml:3:8: P002: the shop of a course has no 'kerf'\n"
         "    Sizes of the shop, as the kerf, stand under `shop:` in plan.yaml. Known are: endorsements, forbidden, "
         "hand_only, instruments, machines, prepared, session, setup_step, stations."),
        ("grading: {policy: [latest]}", "course.yaml:3:19: P032: 'grading.policy' is a list, and one value is expected\n"
         "    Write `policy:` and the value behind it."),
    ],
)  # fmt: skip
def test_a_line_of_the_course_in_another_form_is_refused(course_folder, line: str, says: str):
    """Each would be passed over and the default used: the machine rules of a shop are no place for that."""
    assert refused(course_folder, course=f"{COURSE}{line}\n") == says


def test_a_forbidden_machine_that_is_not_there_stops_nothing(course_folder):
    """Forbidding what the shop does not have is said and harmless; a slip of a machine it has is refused."""
    shop = "shop: {machines: [table saw], forbidden: [%s]}\n"
    notes = read_course(course_folder(course=COURSE + shop % "dado set")).notes
    assert [(p.says, p.do) for p in notes if p.code == "P025"] == [
        ("shop.forbidden names 'dado set', which is not among shop.machines",
         "Nobody can use what is not there: take it out, or add 'dado set' to shop.machines."),
    ]  # fmt: skip
    assert "Did you mean 'table saw'?" in refused(course_folder, course=COURSE + shop % "tabel saw")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("thickness: 12}", "thickness: [12]}",
         "plan.yaml:8:53: P032: 'stock.panel.thickness' is a list, and one value is expected\n"
         "    Write `thickness:` and the value behind it."),
        ("  case: {material: birch plywood, form: sheet, thickness: 18}", "  case: birch plywood",
         "plan.yaml:6:9: P005: the stock 'case' does not say what it is\n"
         "    Write `case: {material: birch plywood, form: sheet, thickness: 18 mm}`."),
        ("joints: {corner: end rabbet}", "joints: end rabbet",
         "plan.yaml:15:13: P005: 'joints' does not name one word for each\n    Write `joints: {corner: dowels}`."),
        ("openings: {lower: 120, upper: rest}", "openings: {lower: 120, upper: rest, top: [5]}",
         "plan.yaml:20:46: P032: 'top' is a list, and one value is expected\n    Write `top:` and the value behind it."),
        ("revision: 1", "shop: {kerf: [3 mm]}",
         "plan.yaml:4:14: P032: 'shop.kerf' is a list, and one value is expected\n"
         "    Write `kerf:` and the value behind it."),
        ("    use: door", "    use: door\n    leaves: 2",
         "plan.yaml:38:13: P034: leaves does not name the leaves\n"
         "    Write `leaves: [left, right]`, two or more different names of small letters, or leave it out."),
        ("    kind: loose shelf", "    kind: loose shelf\n    leaves: [left, right]",
         "plan.yaml:22:3: P034: 'loose shelf' has no leaves\n    Leave it out; leaves has: frame and panel."),
    ],
)  # fmt: skip
def test_a_line_of_the_plan_in_another_form_is_refused(course_folder, class_plan: str, old: str, new: str, says: str):
    """A size in brackets is no size, and a stock of one word has none."""
    assert old in class_plan
    assert refused(course_folder, plan=class_plan.replace(old, new, 1)).startswith(says)


@pytest.mark.parametrize(
    ("roster", "says"),
    [
        ("id,name,bench\ns1,Test, Ada,1\n",
         "roster.csv:2:4: P001: '1' stands in cell 4, and there are 3 headings\n"
         "    Put a text that has commas in it in quotes, or write a comma for a cell less."),
        ("id,name,name\ns1,Ada,Bo\n",
         "roster.csv:1:3: P001: the column 'name' stands twice\n"
         "    Keep one of the two, or give one another heading."),
    ],
)  # fmt: skip
def test_a_cell_that_would_be_lost_is_told(course_folder, roster: str, says: str):
    """A name with a comma pushes the rest of its line to the right; of two equal columns one would be lost."""
    assert refused(course_folder, roster=roster) == says


def test_empty_cells_behind_the_last_heading_are_no_matter(course_folder):
    """A spreadsheet writes commas for columns that were once used."""
    assert read_course(course_folder(roster="id,name,,\ns1,Ada,,,,\n")).students[0].name == "Ada"


HEAD = "student,machine,lesson,test,score,demonstration,permission,by,%s\n"
DATES = "s1,table saw,2026-09-01,2026-09-02,%s,2026-09-03,2026-09-04,RS,\n"


@pytest.mark.parametrize(
    ("signoffs", "says"),
    [
        (HEAD % "withdrawl" + DATES % 100,
         "signoffs.csv:1:1: A008: there is no column 'withdrawl'\n    Did you mean 'withdrawn'?"),
        (HEAD % "withdrawn" + DATES % "passed",
         "signoffs.csv:2:5: A011: the score is 'passed'\n    Write percent from 0 to 100, as in 95."),
        (HEAD % "withdrawn" + DATES % 100 + DATES % 100,
         "signoffs.csv:3: A009: s1 and table saw stand twice, first in line 2\n"
         "    Keep one line for each student and machine."),
    ],
)  # fmt: skip
def test_a_sign_off_that_cannot_be_read_gives_no_permission(course_folder, signoffs: str, says: str):
    """A withdrawal under a misspelt heading, or a score that is no number, must not open a machine."""
    assert refused(course_folder, signoffs=signoffs) == says


@pytest.mark.parametrize(("score", "allowed"), [("99.5", False), ("80 %", False), ("100 %", True)])
def test_a_score_may_have_decimals_and_a_percent_sign(course_of, score: str, allowed: bool):
    """It is compared with the pass mark of 100 as a number."""
    course = course_of(signoffs=HEAD % "withdrawn" + DATES % score)
    assert course.permission(course.student("s1"), "table saw").allowed is allowed


def test_an_unknown_column_of_other_peoples_work_is_told(course_folder):
    """A column that nothing reads is told."""
    assert "R024: there is no column 'bye'\n    Did you mean 'by'?" in refused(
        course_folder, made="student,what,by,bye\ns1,D-RT,me,x\n"
    )


def test_order_cutting_and_remedies_are_proof_read_too(course_of):
    """`check` says what an order would pass over: a size in brackets, a sheet that is not there."""
    course = course_of()
    (course.folder / "order.yaml").write_text("scrap: {default: [5 %]}\ntrimm: {ends: 9 mm}\n", "utf-8")
    (course.folder / "cutting.yaml").write_text("forbidden: [sheet-A]\n", "utf-8")
    (course.folder / "remedies").mkdir()
    (course.folder / "remedies" / "own.yaml").write_text("remedy: own\n", "utf-8")
    said = {f"{p.place}: {p.code}" for p in proof(course)}
    assert {"order.yaml:1:18: P032", "order.yaml:2:15: O001", "cutting.yaml:1:13: O031", "remedies/own.yaml:1:1: N002"} <= said


def test_the_same_problem_is_told_once(course_folder):
    """Two frames of one stock that is too thin are one line to mend."""
    plan = (course_folder() / "plan.yaml").read_text("utf-8").replace("thickness: 12}", "thickness: 5}")
    assert refused(course_folder, plan=plan).count("the panel is 5.0\u00a0mm thick") == 1


def test_a_machine_that_is_not_there_is_told_once(course_folder):
    """Every line of a machine of which the shop says nothing has one cause; what to write is said."""
    said = refused(course_folder, course=COURSE, signoffs=HEAD % "withdrawn" + DATES % 100 + (DATES % 100).replace("s1", "s2"))
    assert said == (
        "signoffs.csv:2:2: A003: the shop has no machine 'table saw'\n"
        "    Write `shop: {machines: [table saw]}` in course.yaml."
    )


def test_a_roster_that_cannot_be_read_is_all_that_is_said(course_folder):
    """Nobody is told that all students of the sign-offs are unknown when it is the roster that is not there."""
    said = refused(course_folder, roster="", signoffs=HEAD % "withdrawn" + DATES % 100, made="student,what,by\ns1,D-RT,me\n")
    assert said == "roster.csv: P001: the file has no heading line\n    Start with the names of the columns."


def test_a_slip_among_the_readings_of_a_sheet_is_told(course_folder):
    """176 among 17.5 and 17.7 would make every dado of the class four times too wide."""
    stock = "id,role,thickness 1,thickness 2,thickness 3\nA,case,176,17.5,17.7\n"
    assert refused(course_folder, stock=stock) == (
        "stock.csv:2:3: S014: the readings of 'A' are 176, 17.5, 17.7: one is more than twice another\n"
        "    Measure it again, or mend the slip."
    )
