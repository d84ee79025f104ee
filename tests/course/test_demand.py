"""What a class needs cut. Worked numbers of the class cabinet are common practice, invented for one class of 16."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from course.demand import Purpose, class_demand, joined, percent, rough_thickness, student_needs
from course.order_settings import read_order_settings
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
    from course.demand import Need, StockGroup
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
