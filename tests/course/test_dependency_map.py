"""The dependency map of common practice on the class cabinet: each reading, and every size that it moves, exactly."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.cabinet import Cabinet
from course.quantities import Given, Origin, Values

DRAWER = """
  drawer: {kind: drawer, in: divider.lower, runs: on wood, front: let in, stock: {box: drawer, sides: drawer, floor: bottom}}
"""
STOCK = """  drawer: {material: cherry, form: solid, thickness: 12}
  bottom: {material: birch plywood, form: sheet, thickness: 6}
"""
CHERRY = {
    f"stock.{role}.movement": Given(Fraction("0.00248"), Origin.TABLE) for role in ("frame", "panel", "drawer")
}
"""Flat-sawn cherry per percent of moisture, Wood Handbook FPL-GTR-190 table 13-5; the season is 4 percent by default."""


def moved(sizes: str, coefficient: str) -> dict[str, Fraction]:
    return {size: Fraction(coefficient) for size in sizes.split()}


WIDTH_OF_DOOR = moved(
    "door.width door.rail.top.shoulder door.rail.bottom.shoulder door.rail.top.length door.rail.bottom.length "
    "door.panel.1.width",
    "1",
)
WIDTH_OF_DRAWER = moved("drawer.width drawer.front.length drawer.back.length", "1")
RAILS_OF_BACK = moved(
    "back.rail.top.shoulder back.rail.bottom.shoulder back.rail.top.length back.rail.bottom.length", "1"
)
PANELS_OF_BACK = moved("back.panel.1.width back.panel.2.width", "1/2")
WIDTH_OF_BACK = moved("back.width", "1") | RAILS_OF_BACK | PANELS_OF_BACK
SHELF = moved("shelf.board.length", "1")
DIVIDER = moved("divider.divider.1.length", "1")
HEIGHT_OF_DOOR = moved("door.height door.stile.left.length door.stile.right.length door.panel.1.length", "1")
HEIGHT_OF_DRAWER = moved(
    "drawer.height drawer.front.width drawer.side.left.width drawer.side.right.width drawer.back.width",
    "0.99008",  # 1 - C x dMC = 1 - 0.00248 x 4
)
HEIGHT_OF_BACK = moved(
    "back.height back.stile.left.length back.stile.right.length back.muntin.1.shoulder back.muntin.1.length "
    "back.panel.1.length back.panel.2.length",
    "1",
)


def times(factor: int, sizes: dict[str, Fraction]) -> dict[str, Fraction]:
    return {name: factor * coefficient for name, coefficient in sizes.items()}


MAP: dict[str, dict[str, Fraction]] = {
    # sheet thickness: dado width +1; horizontals and all inside -2 where the width of the case is held; the upper
    # opening loses top, bottom and divider
    "stock.case.thickness": moved("divider.dado.width", "1")
    | times(-2, moved("case.top.length case.bottom.length", "1") | DIVIDER | SHELF)
    | times(-2, WIDTH_OF_DOOR | WIDTH_OF_DRAWER | WIDTH_OF_BACK | HEIGHT_OF_BACK)
    | times(-3, HEIGHT_OF_DOOR),
    # dado depth, each: that housed part +1
    "divider.dado.1_left.depth": DIVIDER,
    "divider.dado.1_right.depth": DIVIDER,
    "case.rabbet.top_left.depth": moved("case.top.length", "1"),
    "case.rabbet.bottom_right.depth": moved("case.bottom.length", "1"),
    # clear width, before the divider is in; then that of each opening and of the recess for the back
    "case.inside.width": DIVIDER | SHELF | WIDTH_OF_DOOR | WIDTH_OF_DRAWER | WIDTH_OF_BACK,
    "divider.upper.width": SHELF | WIDTH_OF_DOOR,
    "divider.lower.width": WIDTH_OF_DRAWER,
    "case.back.width": WIDTH_OF_BACK,
    # opening height
    "divider.upper.height": HEIGHT_OF_DOOR,
    "divider.lower.height": HEIGHT_OF_DRAWER,
    "case.back.height": HEIGHT_OF_BACK,
    # stiles, rails and the muntin, each
    **{
        f"door.stile.{side}.width": moved(
            "door.rail.top.shoulder door.rail.bottom.shoulder door.rail.top.length door.rail.bottom.length "
            "door.panel.1.width",
            "-1",
        )
        for side in ("left", "right")
    },
    **{f"door.rail.{end}.width": moved("door.panel.1.length", "-1") for end in ("top", "bottom")},
    **{f"back.stile.{side}.width": times(-1, RAILS_OF_BACK | PANELS_OF_BACK) for side in ("left", "right")},
    **{
        f"back.rail.{end}.width": moved(
            "back.muntin.1.shoulder back.muntin.1.length back.panel.1.length back.panel.2.length", "-1"
        )
        for end in ("top", "bottom")
    },
    "back.muntin.1.width": times(-1, PANELS_OF_BACK),
    # the groove; the face side is kept, so the back shoulder of the tenon takes what the groove gains
    **{
        f"{frame}.groove.width": moved(f"{frame}.tenon.thickness {frame}.panel.tongue", "1")
        | moved(f"{frame}.panel.back_rabbet {frame}.tenon.back_shoulder", "-1")
        for frame in ("back", "door")
    },
    **{
        f"{frame}.groove.front_lip": moved(f"{frame}.tenon.face_shoulder {frame}.panel.front_rabbet", "1")
        | moved(f"{frame}.panel.back_rabbet {frame}.tenon.back_shoulder", "-1")
        for frame in ("back", "door")
    },
    "back.groove.depth": moved("back.tenon.length", "1")
    | moved(
        "back.panel.1.width back.panel.1.length back.panel.2.width back.panel.2.length "
        "back.rail.top.length back.rail.bottom.length back.muntin.1.length",
        "2",
    ),
    "door.groove.depth": moved("door.tenon.length", "1")
    | moved("door.panel.1.width door.panel.1.length door.rail.top.length door.rail.bottom.length", "2"),
    # set-back, and the thickness of the panel stock
    **{
        f"{frame}.panel.set_back": moved(f"{frame}.panel.front_rabbet", "-1") | moved(f"{frame}.panel.back_rabbet", "1")
        for frame in ("back", "door")
    },
    "stock.panel.thickness": moved("back.panel.back_rabbet door.panel.back_rabbet", "1"),
}
"""Every row but the last, with what follows from it at second hand, as a panel's width from its opening."""

LEANS = ("door.lean", "door.blank.width", "drawer.shim", "back.lean", "back.blank.width")
UNIVERSE = tuple(dict.fromkeys(name for sizes in MAP.values() for name in sizes)) + LEANS
"""Every size that the map says of some reading that it moves."""


@pytest.fixture
def cabinet(cabinet_of, class_plan) -> Cabinet:
    """The class cabinet with a drawer in its lower opening."""
    return cabinet_of(class_plan.replace("assemblies:", f"{STOCK}assemblies:") + DRAWER)


def perturbed(cabinet: Cabinet, reading: str, before: Values) -> dict[str, Fraction]:
    """How far each size of the map moves when one reading is one millimetre more."""
    found = {reading: Given(before.number(reading) + 1, Origin.READING)}
    after = cabinet.graph.evaluate(CHERRY, found)
    return {name: after.number(name) - before.number(name) for name in UNIVERSE if name != reading}


@pytest.mark.parametrize("reading", MAP)
def test_one_millimetre_of_a_reading_moves_what_the_map_says_and_nothing_else(cabinet, reading: str):
    """Every dependant by its coefficient, and every other size of the map by nothing."""
    before = cabinet.graph.evaluate(CHERRY)
    leans = {f"{frame}.blank.width": MAP[reading].get(f"{frame}.width", Fraction(0)) for frame in ("door", "back")}
    assert perturbed(cabinet, reading, before) == {
        name: (MAP[reading] | leans).get(name, Fraction(0)) for name in UNIVERSE if name != reading
    }


def test_a_difference_of_the_diagonals_moves_the_blank_the_lean_and_the_shim(cabinet):
    """F17: over the height of the case it leans (a x a - b x b) / 4W; what is lower takes its share, and nothing else."""
    before = cabinet.graph.evaluate(CHERRY)
    for face, fills in {"front": ("door.lean", "door.blank.width", "drawer.shim"), "back": ("back.lean", "back.blank.width")}.items():
        reading = f"case.diagonal.{face}_a"
        over_the_case = (2 * before.number(reading) + 1) / (4 * 400)
        height = {name: before.number(f"{name.partition('.')[0]}.height") for name in fills}
        expected = {name: over_the_case * height[name] / 600 for name in fills}
        assert perturbed(cabinet, reading, before) == {name: expected.get(name, Fraction(0)) for name in UNIVERSE}


@pytest.mark.parametrize("reading", MAP)
def test_sensitivities_are_the_map(cabinet, reading: str):
    """`moves`, from which `why --moves` prints, computes the same coefficient for each size of the row."""
    before = cabinet.graph.evaluate(CHERRY)
    for name, coefficient in MAP[reading].items():
        assert before.moves(name)[reading] == coefficient
