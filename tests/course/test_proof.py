"""What is said of a plan before wood is bought: each rule with its words, and the change that satisfies it."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
import yaml
from typer.testing import CliRunner

from course.commands import Above, app
from course.course import Course
from course.proof import RULES, Look, proof
from shared.problems import InputRefused, Problem

CASES = yaml.safe_load((Path(__file__).parents[1] / "cases" / "proof.yaml").read_text("utf-8"))
ONE = "id,name\ns1,Ada Test\n"


def put(plan: str, changes: dict[str, str]) -> str:
    """The plan with some texts of it changed."""
    for old, new in changes.items():
        assert old in plan
        plan = plan.replace(old, new, 1)
    return plan


def said(course: Course) -> str:
    """All that is to be looked at, but for the sign-offs that test courses do not have."""
    return "\n".join(str(p) for p in (*course.notes, *proof(course)) if p.code != "A010").replace("\u00a0", " ")


@pytest.mark.parametrize("name", CASES)
def test_said_in_these_words(course_of, class_plan: str, name: str):
    """Each fault is told in exactly the words of its case, and nothing else is."""
    case = CASES[name]
    texts = {"roster": case.get("roster", ONE)} | ({"stock": case["stock"]} if "stock" in case else {})
    plan = put(class_plan, case.get("plan", {}))
    if "refused" in case:
        with pytest.raises(InputRefused) as refused:
            course_of(plan=plan, **texts)
        assert str(refused.value).replace("\u00a0", " ") == case["refused"].rstrip("\n")
    else:
        assert said(course_of(plan=plan, **texts)) == case["says"].rstrip("\n")


@pytest.mark.parametrize("name", CASES)
def test_the_nearest_change_passes(course_of, class_plan: str, name: str):
    """With the change that the words name, nothing is said any more."""
    case = CASES[name]
    texts = {"roster": case.get("roster", ONE)} | ({"stock": case["accepted_stock"]} if "stock" in case else {})
    assert said(course_of(plan=put(class_plan, case.get("accepted", {})), **texts)) == ""


def test_every_rule_has_a_case():
    """No rule of the tuple is without a case."""
    text = "".join(case.get("says", "") for case in CASES.values())
    assert [code for code in (f"V{n:03}" for n in range(1, len(RULES) + 2)) if f"{code}:" not in text] == []


def test_it_stops_nothing(course_of, class_plan: str):
    """What the proof says is a warning: the course can be used."""
    course = course_of(plan=class_plan.replace("revision: 1", "revision: 1\nshop: {least_length: 310}"))
    assert [p.severe for p in proof(course)] == [False]


def test_one_thing_is_told_once_for_all_whom_it_is_about(course_of, class_plan: str):
    """Two of three students have the uneven board: one line with their ids, in the units of the course."""
    course = course_of(
        roster="id,name,units,piece.frame\ns1,A,mm,F\ns2,B,in,F\ns3,C,mm,G\n",
        stock="id,role,thickness 1,thickness 2\nF,frame,17.9,18.1\nG,frame,18,18\n",
    )
    assert [p.says.partition(":")[0] for p in proof(course)] == ["s1, s2"]
    both = course_of(
        roster="id,name,piece.frame\ns1,A,F\ns2,B,F\n", stock="id,role,thickness 1,thickness 2\nF,frame,17.9,18.1\n"
    )
    assert [p.says.partition(":")[0] for p in proof(both)] == ["all students"]


def test_a_shelf_of_unknown_stiffness_is_not_judged(course_of, class_plan: str):
    """Nobody knows the modulus of the sheet, so nothing is said of a shelf of 762."""
    wide = class_plan.replace("width: 400", "width: 800")
    stiff = wide.replace("form: sheet, thickness: 18}", "form: sheet, thickness: 18, modulus: 3500}")
    assert "V007" not in said(course_of(plan=wide))
    assert "the shelf H-H spans 762.0 mm and may sag about 12.28 mm" in said(course_of(plan=stiff))


def test_own_rules_can_be_given(course_of):
    """A rule is a function from one student's cabinet to problems."""

    def nobody_left_handed(look: Look) -> Iterator[Problem]:
        if look.student.hand == "left":
            yield Problem("V999", look.student.place, "the bench is for the right hand", "Turn it round.", False)

    course = course_of(roster="id,name,hand\ns1,A,left\ns2,B,right\n")
    assert [str(p) for p in proof(course, [nobody_left_handed])] == [
        "roster.csv:2: V999: s1: the bench is for the right hand\n    Turn it round."
    ]


@pytest.mark.parametrize(
    ("units", "low", "high"), [("mm", "10.0", "10.1"), ("in", "25/64", "13/32"), ("decimal in", "0.394", "0.395")]
)
def test_sizes_of_advice_are_rounded_to_the_safe_side(course_of, units: str, low: str, high: str):
    """10.02 mm (25.25/64 in, 0.39449 in) printed as a least size is never less, as a greatest never more."""
    course = course_of(course=f"title: T\nunits: {units}\n")
    look = Look(course, course.students[0], course.plan_values)
    value = Fraction("10.02")
    assert look.at_most(value).split("\u00a0")[0] == low
    assert look.at_least(value).split("\u00a0")[0] == high


def test_check_tells_what_every_part_has_to_say(course_folder, class_plan: str):
    """The command tells the notes, this proof, and those that the front door hands it; status 1."""
    folder = course_folder(plan=class_plan.replace("revision: 1", "revision: 1\nshop: {least_length: 310}"))

    def more(course: Course) -> tuple[Problem, ...]:
        return (Problem("V999", course.students[0].place, "and one more", "Look.", False),)

    result = CliRunner().invoke(app, ["check", str(folder)], obj=Above(more))
    assert [code for code in ("A010", "V005", "V999") if f": {code}: " in result.stderr] == ["A010", "V005", "V999"]
    assert "3 to look at." in result.stdout and result.exit_code == 1
    assert "2 to look at." in CliRunner().invoke(app, ["check", str(folder)]).stdout


def test_a_back_has_no_hardware(course_of, class_plan: str):
    """What would not hold a door is nothing to a back, nor to a door that turns on no hinge."""
    long = class_plan.replace("    use: back", "    use: back\n    hinge.screw: 60\n    pull.screw: 1")
    assert said(course_of(plan=long)) == ""
    none = class_plan.replace("    use: door", "    use: door\n    hinge: none\n    hinge.screw: 60")
    assert said(course_of(plan=none)) == ""


def test_a_shop_without_machines_hears_of_none(course_of, class_plan: str):
    """`machines: []` is said on purpose: no sign-off is missed, and no blank is too short for a machine."""
    small = class_plan.replace("    width: 400", "    width: 250")
    by_hand, forgotten = (f"title: T\n{shop}" for shop in ("shop: {machines: []}\n", ""))
    with_saw = course_of(plan=small)
    assert {"V005"} <= {p.code for p in proof(with_saw)}
    course = course_of(plan=small, course=by_hand)
    assert not {"A010", "V005", "V006"} & {p.code for p in (*course.notes, *proof(course))}
    assert "A010" in {p.code for p in course_of(course=forgotten).notes}
