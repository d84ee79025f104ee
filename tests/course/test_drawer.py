"""A wooden drawer in an opening: worked numbers of the trade (common practice), exact, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given as for_all
from hypothesis import settings
from hypothesis import strategies as st

from course.build import build, list_keys
from course.kinds import read_library
from course.plan import read_plan
from course.quantities import Given, Origin, Values
from course.readings import Reading
from course.remedies import remedies
from shared.problems import InputRefused
from shared.units import MM

PLAN = """
title: Drawer test
unit: mm
stock:
  case: {material: birch plywood, form: sheet, thickness: 18}
  frame: {material: cherry, form: solid, thickness: 18}
  drawer: {material: cherry, form: solid, thickness: 12}
  bottom: {material: birch plywood, form: sheet, thickness: 6}
assemblies:
  case: {kind: carcass, width: 400, height: 600, depth: 200}
  divider: {kind: dividers, in: case.inside, openings: {lower: 120, upper: rest}}
  drawer:
    kind: drawer
    in: divider.lower
    stock: {box: drawer, sides: drawer, floor: bottom, facing: frame}
"""
"""The worked case: an opening 364 wide, 120 high and 181 deep, and sides of 12 with rabbets of 6."""
LIBRARY = read_library()
CHERRY = {"stock.drawer.movement": Given(Fraction("0.00248"), Origin.TABLE)}
"""Flat-sawn cherry per percent of moisture, Wood Handbook FPL-GTR-190 table 13-5."""


def mm(text: str) -> Fraction:
    return Fraction(text)


def built(more: str = "", plan: str = PLAN):
    return build(read_plan(plan + more, "plan.yaml", list_keys(LIBRARY)), LIBRARY)


def sizes(more: str = "", **readings: str) -> Values:
    """Sizes of the worked drawer in cherry, with readings put in (`__` for a dot)."""
    found = {name.replace("__", "."): Given(mm(value), Origin.READING) for name, value in readings.items()}
    return built(more).graph.evaluate(CHERRY, found)


def refused(more: str, plan: str = PLAN) -> list[str]:
    with pytest.raises(InputRefused) as caught:
        built(more, plan)
    return [f"{p.code} {p.says}. {p.do}".replace("\u00a0", " ") for p in caught.value.problems]


def noted(more: str, plan: str = PLAN) -> list[str]:
    cabinet = built(more, plan)
    return [f"{p.says}. {p.do}".replace("\u00a0", " ") for p in cabinet.broken_rules(cabinet.graph.evaluate(CHERRY))]


WORKED = [
    # F21: a drawer in wood; height 120 - 120 x 0.00248 x 4 - 1, which is printed as 117.8
    ("drawer.width", "363"), ("drawer.height", "117.8096"), ("drawer.gap.left", "0.5"),
    # F21b: front and back let into the sides, 363 - 2 (12 - 6)
    ("drawer.front.length", "351"), ("drawer.back.length", "351"), ("drawer.rabbet.left_over", "6"),
    # geometry: side as long as the opening is deep less the room behind; bottom from groove to groove
    ("drawer.side.left.length", "176"), ("drawer.side.left.width", "117.8096"),
    ("drawer.groove.width", "6.2"), ("drawer.back.width", "101.6096"),
    ("drawer.bottom.length", "350"), ("drawer.bottom.width", "169.5"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "expected"), WORKED)
def test_a_drawer_that_runs_on_wood_has_the_worked_size(name: str, expected: str):
    """Every size of the drawer in the class cabinet is the worked one, exactly."""
    assert sizes()[name] == mm(expected)


def test_the_height_is_printed_as_worked():
    """F21: the height is told as 117.8."""
    assert MM.bare(sizes().number("drawer.height")) == "117.8"


ON_SLIDES = "    runs: side slides\n    front: applied\n"


def test_a_drawer_on_side_slides_has_the_worked_size():
    """F21b: slides of 1/2 in on each side leave 364 - 2 x 12.7 = 338.6, and 326.6 between the ends of the front."""
    values = sizes(ON_SLIDES)
    assert values["drawer.width"] == mm("338.6")
    assert values["drawer.front.length"] == mm("326.6")


def test_the_makers_sheet_rules_the_room_for_slides():
    """A maker who wants 1 1/16 in in all gets 364 - 26.9875; the shop may say so for every drawer, a plan for one."""
    shop = PLAN.replace("assemblies:", "shop: {slide_room: 17/32 in}\nassemblies:")
    assert built(ON_SLIDES, shop).graph.evaluate()["drawer.width"] == mm("337.0125")
    assert sizes(ON_SLIDES + "    slide.room: 17/32 in\n")["drawer.width"] == mm("337.0125")


def test_an_applied_front_fills_the_opening_and_the_box_stands_behind_it():
    """An applied front of 18 has the reveal all round, the box is 18 shorter, and the pull's screw goes through both."""
    values = sizes(ON_SLIDES)
    assert (values["drawer.face.length"], values["drawer.face.width"]) == (361, 117)
    assert values["drawer.side.left.length"] == 181 - 18 - 5
    assert (values["drawer.pull.through"], values["drawer.pull.screw"]) == (30, 36)
    assert sizes()["drawer.pull.through"] == 12


def test_what_is_not_chosen_is_not_there():
    """A front let in has no applied front and needs no stock for one; only a drawer on wood has gaps to measure."""
    plan = PLAN.replace(", facing: frame", "")
    plain, slides = built("", plan), built(ON_SLIDES)
    assert "applied front" not in {part.title for part in plain.parts}
    assert "applied front" in {part.title for part in slides.parts}
    assert "drawer.gap.left" in plain.graph.index and "drawer.gap.left" not in slides.graph.index
    made = {f.name for f in plain.features if f.assembly == "drawer"}
    assert {"fitted_drawer"} == made & {"fitted_drawer", "drawer_slides", "drawer_face"}
    made = {f.name for f in slides.features if f.assembly == "drawer"}
    assert {"drawer_slides", "drawer_face"} == made & {"fitted_drawer", "drawer_slides", "drawer_face"}


def test_an_applied_front_needs_its_stock():
    """With an applied front the plan must say what it is made of."""
    assert refused("    front: applied\n", PLAN.replace(", facing: frame", "")) == [
        "P012 the plan has no stock 'facing' for the applied front of 'drawer'. Write `facing:` with its thickness under "
        "`stock:`, or `stock: {facing: ...}` at 'drawer' with one of case, frame, drawer, bottom."
    ]


def test_every_stock_that_a_drawer_misses_is_told_at_once():
    """Who plans the first drawer sees all its stock in one go, and a misspelt one by its nearest name."""
    said = refused("", PLAN.replace("stock: {box: drawer, sides: drawer, floor: bottom", "stock: {box: drawr"))
    assert [line.split(". ")[0] for line in said] == [
        "P012 the plan has no stock 'floor' for the bottom of 'drawer'",
        "P012 the plan has no stock 'sides' for the sides of 'drawer'",
        "P012 the plan has no stock 'drawr' for the front and back of 'drawer'",
    ]
    assert said[2].endswith("Did you mean 'drawer'?")


def test_the_narrowest_reading_of_the_opening_sizes_the_drawer(course_of):
    """Three widths and two heights of the real opening drive the drawer: the smallest of each."""
    course = course_of(plan=PLAN)
    course.log.add(
        Reading("s1", f"divider.lower.{size}", place, 1, value, mm(value))
        for size, values in (("width", ("365.2", "364.8", "365.0")), ("height", ("121.0", "120.6")))
        for place, value in enumerate(values, 1)
    )
    course.fresh()
    values = course.values(course.student("s1"))
    assert values["drawer.width"] == mm("363.8")
    assert values["drawer.front.length"] == mm("351.8")
    assert values["drawer.height"] == mm("120.6") * (1 - mm("0.00992")) - 1
    assert values["drawer.side.right.width"] == values["drawer.height"]


DEPENDENCIES = [
    # reading, what it moves, coefficient (rows of the dependency map for a drawer, and its diagonals)
    ("divider.lower.width", "drawer.width", "1"), ("divider.lower.width", "drawer.front.length", "1"),
    ("divider.lower.width", "drawer.bottom.length", "1"),
    ("divider.lower.height", "drawer.height", "0.99008"), ("divider.lower.height", "drawer.back.width", "0.99008"),
    ("case.inside.width", "drawer.width", "1"),
    ("drawer.side.left.thickness", "drawer.front.length", "-1"),
    ("drawer.rabbet.front_left.depth", "drawer.front.length", "1"),
    ("drawer.bottom.thickness", "drawer.groove.width", "1"), ("drawer.bottom.thickness", "drawer.back.width", "-1"),
]  # fmt: skip


@pytest.mark.parametrize(("reading", "moved", "coefficient"), DEPENDENCIES)
def test_one_millimetre_moves_what_depends_on_it(reading: str, moved: str, coefficient: str):
    """One more millimetre of a reading moves each size of the drawer by its coefficient, exactly."""
    graph = built().graph
    before = graph.evaluate(CHERRY)
    nudged = graph.evaluate(CHERRY, {reading: Given(before.number(reading) + 1, Origin.READING)})
    assert nudged.number(moved) - before.number(moved) == Fraction(coefficient)


def test_a_case_that_leans_asks_for_shims_under_the_runners():
    """F17: diagonals 722.11 and 720.11 lean 1.80 over 600, so a drawer of 117.8 needs shims of 0.35; sizes stay."""
    square, leaning = sizes(), sizes(case__diagonal__front_a="722.11", case__diagonal__front_b="720.11")
    assert square["drawer.shim"] == 0
    assert leaning["drawer.shim"] == (mm("722.11") ** 2 - mm("720.11") ** 2) / 1600 / 600 * mm("117.8096")
    assert round(leaning.number("drawer.shim"), 2) == mm("0.35")
    assert leaning["drawer.width"] == 363


def test_shims_grow_with_the_difference_of_the_diagonals():
    """Twice the difference of the diagonals about the same mean asks for twice the shim."""
    one = sizes(case__diagonal__front_a="722", case__diagonal__front_b="720")
    two = sizes(case__diagonal__front_a="723", case__diagonal__front_b="719")
    assert two["drawer.shim"] == 2 * one.number("drawer.shim")


def test_one_stock_sheet_bottom_does_not_move_and_solid_wood_does():
    """A solid bottom of 169.5 in cherry may grow 1.68 toward the back, where there is room for it."""
    assert sizes()["drawer.bottom.season"] == 0
    moved = {"stock.bottom.movement": Given(mm("0.00248"), Origin.TABLE)}
    values = built().graph.evaluate({**CHERRY, **moved})
    assert values["drawer.bottom.season"] == mm("169.5") * mm("0.00992")
    assert values.number("drawer.bottom.season") < values.number("drawer.back_room")


REFUSED = [
    ("    side_gap: 190\n", "G001 no room is left for the drawer: it would be -16.0 mm wide in an opening of 364.0 mm. "
     "Make the opening wider, or side_gap or slide.room less."),
    ("    groove.up: 113\n", "G001 the drawer would be 119.0 mm high in an opening of 120.0 mm, and the groove for its "
     "bottom ends 119.2 mm up. Make the opening higher, or top_gap or groove.up less."),
    ("    back_room: 170\n", "G001 no room is left behind the front: the drawer would be 11.0 mm long in an opening "
     "181.0 mm deep. Make the case deeper, or back_room less."),
    ("    side_gap: 176\n", "G001 no room is left between the sides of the drawer, which are 12.0 mm thick. "
     "Make the opening wider or the sides thinner."),
    ("    rabbet.depth: 12\n", "G001 the rabbet is 12.0 mm deep, the side it is cut in only 12.0 mm thick. "
     "Make it less than 12.0 mm; half of the thickness is usual."),
    ("    groove.depth: 13\n", "G001 the groove for the bottom is 13.0 mm deep, the side it is cut in only 12.0 mm "
     "thick. Make groove.depth less than 12.0 mm; half of the thickness is usual."),
    ("    groove.room: 6\n", "G001 the groove for the bottom is 6.0 mm deep and 6.0 mm of it are kept free, so the "
     "bottom does not reach into it. Make groove.depth more or groove.room less."),
    ("    runs: rollers\n", "P013 runs is 'rollers'. Known are: on wood, side slides."),
    ("    front: overlaid\n", "P013 front is 'overlaid'. Known are: applied, let in."),
    ("    joints: {corner: dado}\n", "P018 'dado' is not a joint for front and back to the sides. "
     "Known are: dowels, drawer rabbet. A copy of kinds/drawer.yaml in the course folder may have 'dado' under `allowed:` "
     "too."),
]  # fmt: skip


@pytest.mark.parametrize(("more", "says"), REFUSED)
def test_an_impossible_drawer_is_refused(more: str, says: str):
    """Each impossible drawer is refused with its own words and what to do."""
    assert says in refused(more)


NOTED = [
    ("    runs: side slides\n", "the gap beside the front of the drawer would be 12.7 mm on each side; more than "
     "3.0 mm shows. Write `front: applied`, so that the front hides what the drawer runs on."),
    (ON_SLIDES + "    slide.screw: 12\n", "a slide's screw goes 12.0 mm into a side 12.0 mm thick and comes out inside "
     "the drawer. Use screws that go in less than 12.0 mm, and write slide.screw."),
    ("    pull.screw: 15\n", "the screws of the pull are 15.0 mm long, 12.0 mm of it in the front: they reach 3.0 mm "
     "into the pull. Use screws of 16.0 mm or more, and write pull.screw."),
    ("    rabbet.depth: 10\n", "the rabbet leaves 2.0 mm of the side; less than 3.0 mm breaks off easily. "
     "Make rabbet.depth 9.0 mm or less."),
    ("    groove.depth: 7\n", "the groove for the bottom is 7.0 mm deep and shows at the end of the side, where the "
     "rabbet takes only 6.0 mm. Make groove.depth 6.0 mm or less."),
    ("    groove.depth: 9.5\n    rabbet.depth: 9.5\n", "the groove for the bottom leaves 2.5 mm of the side; less than "
     "3.0 mm breaks out easily. Make groove.depth 9.0 mm or less."),
    ("    groove.up: 2\n", "the groove for the bottom leaves 2.0 mm below it; less than 3.0 mm breaks out easily. "
     "Make groove.up 3.0 mm or more."),
]  # fmt: skip


@pytest.mark.parametrize(("more", "says"), NOTED)
def test_a_doubtful_drawer_is_noted(more: str, says: str):
    """What can be built but is a likely mistake is said, with what to write instead."""
    assert says in noted(more)


def test_the_worked_drawer_has_nothing_to_note():
    """The drawer of the class cabinet breaks no rule, on wood and on slides."""
    assert noted("") == noted(ON_SLIDES) == []


def test_a_case_that_leans_more_than_the_room_is_noted():
    """Where the lean over the drawer's height takes all of its room, the runners are to be shimmed."""
    cabinet = built()
    found = {name: Given(mm(size), Origin.READING) for name, size in
             (("case.diagonal.front_a", "725"), ("case.diagonal.front_b", "718"))}  # fmt: skip
    says = [p.says.replace("\u00a0", " ") for p in cabinet.broken_rules(cabinet.graph.evaluate(CHERRY, found))]
    assert "the opening leans 1.2 mm over the height of the drawer, and the drawer has 1.0 mm of room in its width" in says


def test_a_solid_bottom_needs_room_behind():
    """A solid bottom may not grow against the back of the case."""
    plan = PLAN.replace("birch plywood, form: sheet, thickness: 6}", "cherry, form: solid, thickness: 6, movement: 0.00248}")
    says = noted("    back_room: 1\n", plan)
    assert says == [
        "the bottom may grow by about 1.7 mm toward the back in the damp season; the room behind the drawer is 1.0 mm. "
        "Make back_room 2.0 mm or more, or use a sheet for the bottom."
    ]


def test_a_formula_for_each_word_is_asked_for():
    """A kind whose quantity goes by a choice must say it for the word that is chosen."""
    kind = LIBRARY.kinds["drawer"]
    room = next(q for q in kind.quantities if q.name == "room.side")
    short = replace(room, cases=room.cases[:1])
    kinds = {**LIBRARY.kinds, "drawer": replace(kind, quantities=tuple(short if q is room else q for q in kind.quantities))}
    library = replace(LIBRARY, kinds=kinds)
    with pytest.raises(InputRefused) as caught:
        build(read_plan(PLAN + "    runs: side slides\n", "plan.yaml", list_keys(library)), library)
    first = caught.value.problems[0]
    assert (first.code, first.says) == ("K001", "the quantity 'room.side' says nothing for runs: side slides")
    assert first.do == "Write a formula for 'side slides' under `when:`."


@settings(max_examples=40, deadline=None)
@for_all(
    st.fractions(min_value=200, max_value=900, max_denominator=20),
    st.fractions(min_value=60, max_value=300, max_denominator=20),
    st.sampled_from(["", "    front: applied\n", ON_SLIDES]),
)
def test_front_between_the_sides_makes_up_the_width(width: Fraction, height: Fraction, choice: str):
    """For any opening: front plus what the rabbets leave of both sides is the drawer, and with its room the opening."""
    graph = built(choice).graph
    found = {f"divider.lower.{n}": Given(v, Origin.READING) for n, v in (("width", width), ("height", height))}
    v = graph.evaluate(CHERRY, found)
    assert v.number("drawer.front.length") + 2 * v.number("drawer.rabbet.left_over") == v.number("drawer.width")
    assert v.number("drawer.width") + 2 * v.number("drawer.room.side") == width
    assert v.number("drawer.height") < height
    assert v.number("drawer.bottom.width") < v.number("drawer.side.left.length")


@pytest.fixture
def found(course_of):
    """The remedies of a student with these readings and these parts cut, by name, as new sizes go by option."""

    def work(readings: dict[str, str], more: str = "", states: dict[str, str] | None = None):
        course = course_of(plan=PLAN + more)
        student = course.student("s1")
        for part, state in (states or {}).items():
            course.mark(student, part, state)
        course.log.add(
            Reading("s1", quantity, place, 1, value, mm(value))
            for quantity, values in readings.items()
            for place, value in enumerate(values.split(), 1)
        )
        course.fresh()
        return {one.name: one for one in remedies(course, student)}

    return work


def new(option) -> dict[str, Fraction]:
    return {change.quantity: change.new for change in option.changes}


def said(option) -> str:
    return option.do.replace("\u00a0", " ")


def test_a_narrow_drawer_is_packed_by_half_of_what_it_lacks(found):
    """A drawer of 361.4 for 363 takes a strip of 0.8 on each side, on its walls or on the drawer; wind is asked first."""
    remedy = found({"drawer.width": "361.4"})["narrow drawer"]
    assert (remedy.says, remedy.size) == ("drawer 1.6\u00a0mm narrow", mm("1.6"))
    assert remedy.look_first.startswith("Is it out of wind?")
    closer, strips = remedy.options
    assert "Fix a strip of 0.8 mm on each wall of the opening" in said(closer)
    assert "re-mount the guides closer" in said(closer)
    assert new(closer) == {}
    assert "Glue a strip of 0.8 mm or a little more on each side and plane to fit" in said(strips)
    assert "The drawer is 363.0 mm wide then. The strips show beside the front." in said(strips)
    assert (strips.ask_first, strips.costs) == (True, "shows")


def test_an_applied_front_is_left_alone(found):
    """With an applied front the strips do not show, and on slides the slides are packed by 0.8."""
    remedy = found({"drawer.width": "337.0"}, ON_SLIDES)["narrow drawer"]
    pack, strips = remedy.options
    assert "a strip of 0.8 mm behind each" in said(pack)
    assert "The applied front stays as it is." in said(strips)
    assert strips.costs == "stock"
    assert strips.stock == "two strips of 0.8\u00a0mm, grain along the sides"


def test_a_drawer_within_its_gap_needs_no_remedy(found):
    """A drawer 0.4 narrow still runs with a gap of 0.7 at each side."""
    assert found({"drawer.width": "362.6"}) == {}


def test_a_divider_too_high_gives_a_higher_drawer(found):
    """A divider 3 too high makes the drawer's opening 123, and the drawer 120.8."""
    accept = found({"divider.lower.height": "123 123"})["divider off its line"].options[0]
    height = mm("123") * (1 - mm("0.00992")) - 1
    assert new(accept)["drawer.height"] == height
    assert new(accept)["divider.upper.height"] == 423
    assert MM.bare(height) == "120.8"
    assert new(accept)["drawer.side.left.width"] == new(accept)["drawer.front.width"] == height


def test_a_drawer_side_that_is_cut_is_named_and_not_resized(found):
    """A side cut already keeps its height; the consequence is told."""
    accept = found({"divider.lower.height": "117 117"}, states={"drawer.side.left": "cut"})["divider off its line"].options[0]
    assert "drawer.side.left.width" not in new(accept)
    assert any("trim" in line for line in accept.already_cut)


def test_a_case_out_of_square_shims_the_runners(found):
    """With the front 2.0 out of square the drawer keeps its size and its runners are shimmed by 0.35."""
    readings = {"case.diagonal.front_a": "722.11", "case.diagonal.front_b": "720.11"}
    fit = found(readings)["front out of square"].options[1]
    assert "Shim the runners of a drawer" in said(fit)
    assert set(new(fit)) == {"drawer.shim"}
    assert round(new(fit)["drawer.shim"], 2) == mm("0.35")
