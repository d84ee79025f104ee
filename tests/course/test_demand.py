"""What a class needs cut. Worked numbers of the class cabinet are common practice, invented for one class of 16."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from course.demand import class_demand, joined, rough_thickness, student_needs
from course.needs import Purpose
from course.order_settings import read_order_settings
from course.spare_parts import percent
from shared.problems import InputRefused
from shared.units import INCH, decimal

SIXTEEN = "id,name\n" + "".join(f"s{n:02},Student {n}\n" for n in range(1, 17))
NOTHING_MORE = "scrap: {default: 0, rail: 0}\ntest_pieces: {count: 0}\nsetup_blocks: {count: 0}\n"


@pytest.fixture
def demand_of(course_folder, course_of):
    """The demand of a course, with lines of its own order.yaml."""

    def make(order: str = "", **texts: str):
        folder = course_folder(**texts)
        (folder / "order.yaml").write_text(order, "utf-8")
        course = course_of(**texts)
        return class_demand(course, read_order_settings(folder, [p.group for p in course.cabinet.parts]))

    return make


def test_spares_are_the_fewest_that_cover_95_of_100_classes(demand_of):
    """64 rails with 8 % scrap: 9 spares, enough in 97 %, mean loss 5.1 (worked number; binomial distribution)."""
    rails = next(one for one in demand_of(roster=SIXTEEN).spares if one.part == "rail")
    assert (rails.parts, rails.count, percent(rails.cover), decimal(rails.loss, 1)) == (64, 9, "97\u00a0%", "5.1")
    assert rails.why == (
        "rail: 64 to make, 8\u00a0% are spoiled, that is 5.1 on average; 9 more are enough in 97\u00a0% of such classes"
    )


def test_less_scrap_needs_fewer_spares(demand_of):
    """With the class's own record of 5 % there are 6 spares for 64 rails (worked number)."""
    found = demand_of("scrap: {rail: 5 %}\n", roster=SIXTEEN).spares
    assert [one.count for one in found if one.part == "rail"] == [6]


def test_a_spare_is_as_large_as_the_largest_of_its_kind(demand_of):
    """A back rail is 311 + 25 long, a door rail 50 + 6 wide: a spare rail has both, so that it can become either."""
    spare = next(need for need in demand_of(roster=SIXTEEN).needs if need.name.startswith("spare rail 1"))
    assert (spare.length, spare.width, spare.purpose) == (336, 56, Purpose.SPARE)


def test_every_student_has_every_part_once(demand_of):
    """18 parts for each of two students, each with a name of its own."""
    needs = demand_of(NOTHING_MORE).needs
    labels = [(need.student, part.label) for need in needs for part in need.parts]
    assert len(labels) == len(set(labels)) == 36
    assert len({need.name for need in needs}) == len(needs)


def test_test_pieces_come_from_the_same_stock(demand_of):
    """Each stock has two test pieces and one set-up block of its own thickness."""
    demand = demand_of()
    for group in demand.groups():
        purposes = [need.purpose for need in demand.of(group)]
        assert (purposes.count(Purpose.TEST), purposes.count(Purpose.BLOCK)) == (2, 1)
        assert {need.thickness for need in demand.of(group)} == {18 if group.role != "panel" else 12}


def test_rough_size_is_the_finished_one_with_its_allowance(demand_of):
    """A side of 600 x 200 is 605 x 205 from a sheet; a stile of 423 x 50 is 448 x 56 from a board."""
    sizes = {need.name: (need.length, need.width) for need in demand_of(NOTHING_MORE).needs}
    assert sizes["s1 C-SL"] == (605, 205)
    assert sizes["s1 D-SL"] == (448, 56)


def test_what_is_cut_is_not_ordered_again(course_of):
    """A part that is cut no longer needs stock."""
    course = course_of()
    course.mark(course.students[0], "C-SL", "cut")
    labels = [part.label for need in student_needs(course, course.students[0], []) for part in need.parts]
    assert "C-SL" not in labels and "C-SR" in labels


def test_short_rails_stay_joined(course_of):
    """Rails of 281 + 25 are safe alone at 300, but joined in pairs when the shop's shortest piece is 400."""
    plan = (course_of().folder / "plan.yaml").read_text("utf-8")
    course = course_of(plan=plan + "shop: {least_length: 400 mm}\n")
    needs = {need.name: need for need in student_needs(course, course.students[0], [])}
    assert needs["s1 D-RT+D-RB"].length == 306 + Fraction("3.2") + 306
    assert [part.label for part in needs["s1 D-RT+D-RB"].parts] == ["D-RT", "D-RB"]


@given(lengths=st.lists(st.integers(60, 500), min_size=1, max_size=9), safe=st.integers(100, 700))
def test_no_blank_of_a_board_is_shorter_than_what_is_safe(lengths, safe):
    """Whatever the parts, every blank is long enough and no part is lost."""
    from course.cutting.model import Grain
    from course.needs import Need, StockGroup
    from shared.places import NOWHERE

    group = StockGroup("frame", "cherry", "solid", "flat-sawn", "", "4/4")
    needs = [
        Need(f"n{i}", "s1", (), f"t{i}", group, Fraction(n), Fraction(50), Fraction(18), Grain.ALONG, Purpose.PART, NOWHERE)
        for i, n in enumerate(lengths)
    ]  # fmt: skip
    found = list(joined(needs, Fraction(safe), Fraction(3)))
    assert all(need.length >= safe for need in found)
    titles = [title for need in found for title in need.title.split(" + ")]
    assert sorted(titles) == sorted(need.title for need in needs)


@pytest.mark.parametrize(("finished", "nominal"), [("18", "4/4"), ("20.6", "4/4"), ("20.7", "5/4"), ("12", "3/4")])
def test_boards_are_chosen_by_quarters(finished, nominal):
    """4/4 gives 13/16 in surfaced on two sides, 3/4 gives 9/16 in (engineeringtoolbox.com, woodbin.com)."""
    assert rough_thickness(Fraction(finished)).nominal == nominal


def test_no_board_is_thick_enough():
    """16/4 gives 3 3/4 in; beyond that nothing is sold (same source)."""
    assert rough_thickness(Fraction(15, 4) * INCH + 1) is None


def test_a_part_thicker_than_any_board_is_told_and_the_rest_is_planned(demand_of, class_text):
    """The problem names part, student and line; the case still has its parts."""
    demand = demand_of(NOTHING_MORE, plan=class_text.replace("thickness: 12}", "thickness: 120}"))
    told = [str(p) for p in demand.problems if p.code == "O011"]
    assert told[0] == (
        "plan.yaml:26:3: O011: back panel 1 (B-P1) of s1 is 120.0 mm thick, more than any board gives\n"
        "    Glue it up from thinner boards, or make it thinner."
    )
    assert any(need.group.role == "case" for need in demand.needs)


@pytest.fixture
def class_text(course_folder) -> str:
    return (course_folder() / "plan.yaml").read_text("utf-8")


SETTINGS = [
    ("scarp: {rail: 8 %}", "order.yaml:1:15: O001: an order has no 'scarp.rail'\n    Did you mean 'scrap.rail'?"),
    ("yield: 0", "order.yaml:1:8: O002: yield is '0'\n    Write a share above 0 and at most 1, as in 2/3 or 67 %."),
    ("scrap: {rail: 80 %}", "order.yaml:1:15: O002: scrap.rail is '80 %'\n    Write a share from 0 to less than 50 %, as in 8 %."),
    ("trim: {ends: 10}", "order.yaml:1:14: O002: trim.ends is '10'\n    '10' has no unit; write '10 mm' or '10 in'."),
    ("labels: {columns: 0}", "order.yaml:1:19: O002: labels.columns is '0'\n    Write a whole number."),
    ("labels: {columns: 4}", "order.yaml:1:19: O003: the labels run off their paper\n    Measure paper, first label, label and step again, in mm."),
    ("labels: {step: {down: 31 mm}}", "order.yaml:1:23: O003: the labels lie on each other\n    Measure paper, first label, label and step again, in mm."),
]  # fmt: skip


@pytest.mark.parametrize(("line", "told"), SETTINGS)
def test_a_wrong_setting_is_told_and_the_built_in_one_used(tmp_path, line, told):
    """Each with file, line and what to write."""
    (tmp_path / "order.yaml").write_text(line + "\n", "utf-8")
    settings = read_order_settings(tmp_path, ["rail"])
    assert [str(problem) for problem in settings.problems] == [told]
    assert settings.values == read_order_settings(tmp_path / "none", []).values


SALE = """\
for_sale:
  case:
    whole: {length: 2440 mm, width: 1220 mm, price: 68}
    half: {length: 1220 mm, width: 4 ft, price: "39,50"}
  panel veneered: {whole: {length: 96 in, width: 48 in}}
"""


def test_sizes_for_sale_are_read_by_stock(tmp_path):
    """Lengths with their unit, a price or none; a build behind the stock where some have another."""
    (tmp_path / "order.yaml").write_text(SALE.replace("4 ft", "610 mm"), "utf-8")
    settings = read_order_settings(tmp_path, [], ["case", "panel"])
    assert not settings.problems
    assert [(s.name, s.length, s.width, s.price) for s in settings.for_sale["case"]] == [
        ("whole", 2440, 1220, 68), ("half", 1220, 610, Fraction("39.5")),
    ]  # fmt: skip
    assert settings.for_sale["panel veneered"][0].price is None


WRITE = "Write `case: {whole: {length: 2440 mm, width: 1220 mm, price: 68}}`."
NOT_FOR_SALE = [
    ("for_sale: none", f"1:11: O004: for_sale does not say what is for sale\n    {WRITE}"),
    ("for_sale: {cases: {a: {}}}", "1:12: O004: the plan has no stock 'cases'\n    Did you mean 'case'?"),
    ("for_sale: {case: 3}", f"1:18: O004: 'case' has no sizes for sale\n    {WRITE}"),
    ("for_sale: {case: {a: 3}}", "1:19: O004: 'a' of case has no size\n    Write its length and width."),
    (
        "for_sale: {case: {a: {length: 9, width: 9 mm}}}",
        "1:19: O005: the length of 'a' is '9'\n    '9' has no unit; write '9 mm' or '9 in'.",
    ),
    (
        "for_sale: {case: {a: {length: 9 mm, width: 0 mm}}}",
        "1:19: O005: the width of 'a' is '0 mm'\n    Measure it again.",
    ),
    (
        "for_sale: {case: {a: {length: 9 mm, width: 9 mm, price: -3}}}",
        "1:19: O012: the price of 'a' is '-3'\n    Write a number of 0 or more without a currency sign, or leave it empty.",
    ),
    (
        "for_sale: {case: {a: {length: 9 mm, width: 9 mm, prize: 3}}}",
        "1:50: O004: a size for sale has no 'prize'\n    Did you mean 'price'?",
    ),
]


@pytest.mark.parametrize(("line", "told"), NOT_FOR_SALE)
def test_a_wrong_size_for_sale_is_told(tmp_path, line, told):
    """With line and cure; what is right is used all the same."""
    (tmp_path / "order.yaml").write_text(line + "\n", "utf-8")
    found = read_order_settings(tmp_path, [], ["case"])
    assert [str(problem) for problem in found.problems] == [f"order.yaml:{told}"]


# -- matched parts -----------------------------------------------------------------------------------------

MATCH = "match: {back: {parts: [back.panel.1, B-P2], joined: side by side}}\n"


def _strip(course, student: int = 0):
    needs = student_needs(course, course.students[student], problems := [])
    return next((need for need in needs if need.match), None), problems, needs


def test_matched_panels_are_one_strip(course_of, class_text):
    """Two back panels side by side: as long as one, as wide as both and a kerf of 3.2; no part is lost."""
    whole = _strip(course_of())[2]
    one, two = (next(need for need in whole if need.name == f"s1 B-P{n}") for n in (1, 2))
    need, problems, needs = _strip(course_of(plan=class_text + MATCH))
    assert problems == [] and (need.name, need.side_by_side) == ("s1 B-P1+B-P2", True)
    assert (need.length, need.width) == (one.length, one.width + Fraction("3.2") + two.width)
    labels = sorted(part.label for need in whole for part in need.parts)
    assert sorted(part.label for need in needs for part in need.parts) == labels


def test_the_grain_of_a_door_panel_runs_on_into_the_back(course_of, class_text):
    """End to end: as long as both and a kerf, as wide as the wider one."""
    match = "match: {door: {parts: [back.panel.1, door.panel.1], joined: end to end}}\n"
    whole = _strip(course_of())[2]
    back, door = (next(need for need in whole if need.name == name) for name in ("s1 B-P1", "s1 D-P"))
    need, _, _ = _strip(course_of(plan=class_text + match))
    assert (need.length, need.width) == (back.length + Fraction("3.2") + door.length, max(back.width, door.width))


def test_a_match_with_a_part_that_is_cut_waits_for_nobody(course_of, class_text):
    """The other panel is planned by itself."""
    course = course_of(plan=class_text + MATCH)
    course.mark(course.students[0], "B-P1", "cut")
    need, problems, needs = _strip(course)
    assert need is None and problems == [] and any(n.name == "s1 B-P2" for n in needs)


def test_grain_that_cannot_run_on_is_told_and_the_parts_are_planned_alone(course_of, class_text):
    """A top with its grain along and a bottom that may lie either way; words with match, labels and student."""
    match = "match: {boards: {parts: [C-T, C-B], joined: end to end}}\n"
    course = course_of(plan=class_text + match)
    first = course.cabinet.parts
    free = tuple(replace(part, grain="none") if part.label == "C-B" else part for part in first)
    course = replace(course, cabinet=replace(course.cabinet, parts=free))
    need, problems, needs = _strip(course)
    assert need is None and {"s1 C-T", "s1 C-B"} <= {n.name for n in needs}
    assert [str(problem) for problem in problems] == [
        "plan.yaml:40:9: O017: the match 'boards' (C-T, C-B) of s1 cannot lie in one strip: one of them may lie either "
        "way, so it has no grain to run on\n"
        "    They are planned one by one. Give them one stock and one grain, or take the match out of the plan."
    ]


NO_MATCH = [
    ("match: {back: {parts: [back.panel.1], joined: side by side}}",
     "P030: the match 'back' does not say which parts stay joined, and how"),
    ("match: {back: {parts: [back.panel.1, B-P2], joined: somehow}}",
     "P030: the match 'back' does not say which parts stay joined, and how"),
    ("match: {back: {parts: [back.panel.1, B-P3], joined: side by side}}",
     "P031: the match 'back' names 'B-P3', and there is no such part"),
    ("match: {back: {parts: [B-P1, B-P1], joined: side by side}}",
     "P031: B-P1 stands in the match 'back' and in 'back'"),
    ("match: {back: {parts: [B-P1, C-T], joined: side by side}}",
     "P031: the parts of the match 'back' come from the stock panel and case"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "says"), NO_MATCH)
def test_an_impossible_match_is_refused(course_of, class_text, line, says):
    """Before anything is planned, with the line of the plan."""
    with pytest.raises(InputRefused) as refused:
        course_of(plan=class_text + line + "\n")
    assert says in str(refused.value) and str(refused.value).startswith("plan.yaml:40:")


# -- the course's own record ---------------------------------------------------------------------------------


def test_spares_follow_the_course_once_it_has_made_enough(course_of):
    """24 rails cut, 1 of them made again: 4.2 % in place of 8 %, and the reason says so."""
    course = course_of(roster="id,name\n" + "".join(f"s{n:02},Student {n}\n" for n in range(1, 17)))
    settings = read_order_settings(course.folder / "none", [])
    for student in course.students[:6]:
        for label in ("B-RT", "B-RB", "D-RT", "D-RB"):
            course.mark(student, label, "cut")
    course.mark(course.students[0], "B-RT", "remade")
    rails = next(one for one in class_demand(course, settings).spares if one.part == "rail")
    assert (rails.made, rails.again, rails.scrap, rails.parts) == (24, 1, Fraction(1, 24), 41)
    assert rails.why.startswith(
        "rail: 41 to make, 4\u00a0% are spoiled by the course's own record (1 of 24), that is 1.7"
    )
    stated = replace(settings, own=frozenset({"scrap.rail"}))
    assert next(one for one in class_demand(course, stated).spares if one.part == "rail").scrap == Fraction(8, 100)


def test_sheets_to_buy_are_counted_by_their_thickness(demand_of):
    """A student who chose 15 mm gets sheets of their own; what a third one chose is the plan's and goes with the first."""
    roster = "id,name,stock.case.thickness\ns1,Ada,\ns2,Bo,15\ns3,Cy,18\n"
    groups = [group for group in demand_of(NOTHING_MORE, roster=roster).groups() if group.role == "case"]
    assert [group.says for group in groups] == [
        "birch plywood for the case", "15.0\u00a0mm birch plywood for the case",
    ]  # fmt: skip
