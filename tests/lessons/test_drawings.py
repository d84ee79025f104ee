"""Drawings: what is drawn is as long as the number says, and no label covers another."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from course.build import build, list_keys
from course.cabinet import Cabinet
from course.kinds import read_library
from course.plan import read_plan
from course.quantities import Given, Origin
from lessons.bench import Bench
from lessons.cabinet_drawings import front_view, section
from lessons.drawings import DRAWINGS
from lessons.edge_drawings import back_rabbet_bit, bottom_groove, bottom_groove_by_hand, pin_holes
from lessons.fit_drawings import diagonals, reveal_map
from lessons.joint_drawings import backing_fence, frame_section, groove_detail, tenon_setup
from lessons.layout import layout
from lessons.part_drawings import part_drawing
from shared.render.columns import advances
from shared.render.sketch import POINT, Drawing, Sketch, Span, spread
from shared.units import INCHES, MM

CLASS_CABINET = """
title: Class cabinet
unit: mm
stock:
  case: {material: birch plywood, form: sheet, thickness: 18}
  frame: {material: cherry, form: solid, thickness: 18}
  panel: {material: cherry, form: solid, thickness: 12}
  drawer: {material: cherry, form: solid, thickness: 12}
  bottom: {material: birch plywood, form: sheet, thickness: 6}
assemblies:
  case: {kind: carcass, width: 400, height: 600, depth: 200}
  divider:
    kind: dividers
    in: case.inside
    openings: {lower: 120, upper: rest}
  shelf: {kind: loose shelf, in: divider.upper}
  back: {kind: frame and panel, in: case.back, use: back, reveal: 0.5, stile.width: 45, rail.width: 45, bays: 2}
  door: {kind: frame and panel, in: divider.upper, use: door}
  drawer: {kind: drawer, in: divider.lower, mark: R, stock: {box: drawer, sides: drawer, floor: bottom}}
"""


def cabinet(text: str) -> Cabinet:
    library = read_library()
    return build(read_plan(text, "plan.yaml", list_keys(library)), library)


@pytest.fixture(scope="module", params=["class cabinet", "two bays"])
def bench(request: pytest.FixtureRequest, two_bays_plan: str) -> Bench:
    two_bays = request.param == "two bays"
    made = cabinet(two_bays_plan if two_bays else CLASS_CABINET)
    return Bench(made, made.graph.evaluate(), INCHES if two_bays else MM)


@pytest.fixture(scope="module")
def class_bench() -> Bench:
    made = cabinet(CLASS_CABINET)
    return Bench(made, made.graph.evaluate(), MM)


def every_drawing(bench: Bench) -> dict[str, Drawing]:
    """Every drawing that can be made of a cabinet."""
    found = {"front view": front_view(bench), "section": section(bench)}
    for assembly in bench.cabinet.assemblies.values():
        for name, draw in DRAWINGS.items():
            if _possible(bench, name, assembly.name):
                found[f"{name} of {assembly.name}"] = draw(bench, assembly.name)
    for part in bench.cabinet.parts:
        found[f"part {part.name}"] = part_drawing(bench, part.name)
        found[f"small part {part.name}"] = part_drawing(replace(bench, room=(80.0, 60.0)), part.name, captioned=True)
    return found


def _possible(bench: Bench, name: str, assembly: str) -> bool:
    needs = {
        "frame section": "groove.front_lip", "router table": "groove.front_lip", "tenon set-up": "tenon.shim",
        "channel": ("dado.depth", "rabbet.depth"), "diagonals": ("diagonal.a", "diagonal.front_a"),
        "reveal map": "reveal.left", "corner": "back_rabbet.width", "groove detail": "panel.tongue",
        "backing fence": "rabbet.buried", "back rabbet": "back_rabbet.width", "back rabbet bit": "back_rabbet.width",
        "bottom groove": "groove.up", "bottom groove by hand": "groove.up", "pin holes": "pin.row",
    }[name]  # fmt: skip
    needs = (needs,) if isinstance(needs, str) else needs
    return any(bench.has(f"{assembly}.{n}") for n in needs)


def elements(drawing: Drawing, name: str) -> list[ET.Element]:
    return [e for e in ET.fromstring(drawing.svg).iter() if e.get("data-name") == name]


def drawn_scale(drawing: Drawing) -> float:
    return float(ET.fromstring(drawing.svg).get("data-scale"))


def rectangle(drawing: Drawing, name: str) -> tuple[float, float]:
    """Width and height of a named rectangle in mm of wood, read back from the file."""
    shape = next(e for e in elements(drawing, name) if e.tag.endswith("rect"))
    scale = drawn_scale(drawing)
    return float(shape.get("width")) / scale, float(shape.get("height")) / scale


def polygon(drawing: Drawing, name: str) -> list[tuple[float, float]]:
    shape = next(e for e in elements(drawing, name) if e.tag.endswith("polygon"))
    scale = drawn_scale(drawing)
    return [tuple(float(v) / scale for v in point.split(",")) for point in shape.get("points").split()]


def text_boxes(drawing: Drawing) -> list[tuple[str, float, float, float, float]]:
    """The paper each text covers, by the widths of the typeface it is printed in: text, left, top, right, bottom."""
    found = []
    for e in ET.fromstring(drawing.svg).iter():
        if not e.tag.endswith("text"):
            continue
        size, x, y = float(e.get("font-size")), float(e.get("x")), float(e.get("y"))
        face = advances("b" if e.get("font-weight") == "bold" else "")
        width, height = size * sum(face[ord(sign)] for sign in e.text), 0.72 * size
        left = x - {"start": 0, "middle": width / 2, "end": width}[e.get("text-anchor")]
        box = (left, y - height, left + width, y)
        if e.get("transform"):
            middle = y - size * 0.35
            box = (x - height / 2, middle - width / 2, x + height / 2, middle + width / 2)
        found.append((e.text, *box))
    return found


def test_openings_and_parts_stand_where_the_sizes_of_the_class_cabinet_put_them(class_bench: Bench) -> None:
    """Worked by hand: an 18 mm side, an opening 120 high, an 18 mm divider, then the door with 1.5 mm all round."""
    placed = layout(class_bench.cabinet, class_bench.values)
    box = placed.openings["divider.upper"]
    assert (box.x, box.y, box.width, box.height) == (18, 156, 364, 426)
    door = placed.frames["door"]
    assert (door.x, door.y, door.width, door.height) == (Fraction("19.5"), Fraction("157.5"), 361, 423)
    back = placed.openings["case.back"]
    assert (back.x, back.y, back.width, back.height) == (9, 9, 382, 582)
    assert (placed.outside.width, placed.outside.height) == (400, 600)


def test_two_leaves_stand_beside_each_other_with_the_meeting_gap_between(two_bays_plan: str) -> None:
    """Bays are placed from left to right; a pair of doors shares its opening."""
    made = cabinet(two_bays_plan)
    values = made.graph.evaluate()
    placed = layout(made, values)
    left, right = placed.frames["doors.left"], placed.frames["doors.right"]
    assert right.x - left.right == values["doors.left.meeting_gap"]
    room = placed.openings["bays.right"]
    assert left.x - room.x == values["doors.left.reveal"] == room.right - right.right
    upright = placed.parts["bays.upright.1"]
    assert upright.x == placed.openings["bays.left"].right and upright.right == room.x


def test_every_part_in_the_front_view_is_as_long_as_its_quantity(bench: Bench) -> None:
    """The SVG is read back: a stile is its length by its width, a side its length by its thickness."""
    drawing = front_view(bench)
    seen = 0
    for part in bench.cabinet.parts:
        if part.group in ("panel",) or not elements(drawing, part.name):
            continue
        seen += 1
        sizes = {s: float(bench.values.number(f"{part.name}.{s}")) for s in ("length", "width", "thickness")}
        if f"{part.name}.shoulder" in bench.values:
            sizes["length"] = float(bench.values.number(f"{part.name}.shoulder"))
        face = part.group in ("stile", "rail", "muntin", "front")
        wanted = sorted((sizes["length"], sizes["width"] if face else sizes["thickness"]))
        assert sorted(rectangle(drawing, part.name)) == pytest.approx(wanted, abs=0.02)
    assert seen >= 8


def test_the_front_view_states_outside_sizes_and_each_opening(class_bench: Bench) -> None:
    """Outside 400 by 600; openings 120 and 426 high and 364 wide; thickness 18."""
    texts = [box[0] for box in text_boxes(front_view(class_bench))]
    assert {"400.0", "600.0", "364.0", "120.0", "426.0", "18.0"} <= set(texts)


def test_the_drawer_stands_on_the_floor_of_its_opening(class_bench: Bench) -> None:
    """Its outline is 363 wide in 364, its height as worked, and its front lies between its two sides."""
    placed = layout(class_bench.cabinet, class_bench.values)
    outline, room, front = placed.frames["drawer"], placed.openings["divider.lower"], placed.parts["drawer.front"]
    assert (outline.width, outline.y, outline.x - room.x) == (363, room.y, Fraction(1, 2))
    assert (front.x - outline.x, outline.right - front.right) == (6, 6)
    assert "in them: door, drawer." in front_view(class_bench).alt


def test_an_applied_front_has_the_reveal_all_round() -> None:
    """The applied front is seen, 1.5 from each side of its opening; the box behind it is not."""
    text = CLASS_CABINET.replace("mark: R, stock: {", "runs: side slides, front: applied, stock: {facing: frame, ")
    made = cabinet(text)
    placed = layout(made, made.graph.evaluate())
    face, room = placed.parts["drawer.face"], placed.openings["divider.lower"]
    gaps = (face.x - room.x, room.right - face.right, face.y - room.y, room.top - face.top)
    assert gaps == (Fraction(3, 2),) * 4
    assert "drawer.front" not in placed.parts


def test_the_diagonals_of_a_drawer_are_drawn_from_above(class_bench: Bench) -> None:
    """Width 363 by length 176, whose diagonals are 403.4."""
    drawing = DRAWINGS["diagonals"](class_bench, "drawer")
    assert {"363.0", "176.0", "a: 403.4  reads"} <= {box[0].replace("\u00a0", " ") for box in text_boxes(drawing)}


def test_the_back_is_not_in_the_front_view(class_bench: Bench) -> None:
    """What its kind calls hidden is left out; the shelf behind the door is dashed."""
    drawing = front_view(class_bench)
    assert not elements(drawing, "back.stile.left")
    assert elements(drawing, "shelf.board")[0].get("stroke-dasharray")


@pytest.mark.parametrize("points", [9.0, 14.0])
def test_no_line_of_a_shelf_runs_through_a_label(class_bench: Bench, points: float) -> None:
    """The door's panel is labeled above or below the shelf that is dashed behind it."""
    made = class_bench.cabinet
    drawing = front_view(Bench(made, class_bench.values, MM, points, (150.0, 105.0)))
    shelf = elements(drawing, "shelf.board")[0]
    top, low = float(shelf.get("y")), float(shelf.get("y")) + float(shelf.get("height"))
    (label,) = [box for box in text_boxes(drawing) if box[0] == "D2-P"]
    assert label[4] <= top or label[2] >= low


def test_the_section_is_drawn_with_the_groove_and_the_tongue_of_the_student(class_bench: Bench) -> None:
    """Front lip 5, groove 6 wide and 10.5 deep; the tongue 5.8 thick begins 0.1 below the groove's front wall."""
    drawing = frame_section(class_bench, "door")
    frame, panel = polygon(drawing, "door.frame"), polygon(drawing, "door.panel")
    lip, low = frame[2][1], frame[4][1]
    assert (lip, low - lip, frame[1][0] - frame[3][0]) == pytest.approx((5, 6, 10.5), abs=0.002)
    assert panel[0][1] - lip == pytest.approx(0.1, abs=0.002)
    assert panel[6][1] - panel[0][1] == pytest.approx(5.8, abs=0.002)
    assert panel[1][0] - frame[1][0] == pytest.approx(3, abs=0.002)


def test_a_reading_of_the_groove_moves_the_drawing(class_bench: Bench) -> None:
    """A groove that reads 6.10 is drawn 6.10 wide, and the tenon beside it 6.00 thick."""
    read = {"door.groove.width": Given(Fraction("6.1"), Origin.READING)}
    made = class_bench.cabinet
    drawing = frame_section(Bench(made, made.graph.evaluate(found=read), MM), "door")
    frame, tenon = polygon(drawing, "door.frame"), polygon(drawing, "door.tenon")
    assert frame[4][1] - frame[2][1] == pytest.approx(6.1, abs=0.002)
    assert tenon[5][1] - tenon[6][1] == pytest.approx(6.0, abs=0.002)


def test_the_tenon_set_up_draws_the_shim_and_the_height_of_the_cutter(class_bench: Bench) -> None:
    """Face shoulder 5.05 and back shoulder 7.05: the cutter stands 7.05 high and the shim is 2.00 thick."""
    drawing = tenon_setup(class_bench, "door")
    assert rectangle(drawing, "door.tenon.shim")[1] == pytest.approx(2.0, abs=0.01)
    assert {"7.05", "2.0", "10.0"} <= {box[0] for box in text_boxes(drawing)}


def test_a_side_shows_where_its_dado_and_rabbets_stand(class_bench: Bench) -> None:
    """From the lower end: a rabbet 18 wide, the dado at 138 and 17.9 wide, the upper rabbet at 582."""
    drawing = part_drawing(class_bench, "case.side.left")
    scale = drawn_scale(drawing)
    cut = next(e for e in elements(drawing, "divider.dado.1_left.width") if e.tag.endswith("rect"))
    assert float(cut.get("x")) / scale == pytest.approx(138, abs=0.02)
    assert float(cut.get("width")) / scale == pytest.approx(17.9, abs=0.02)
    texts = {box[0] for box in text_boxes(drawing)}
    assert {"138.0", "582.0", "17.9", "600.0"} <= texts


def test_the_cut_through_shows_every_board_and_frame_where_the_sizes_put_it(class_bench: Bench) -> None:
    """Worked by hand: 200 deep, the back's recess 19, so 181 inside; a door of 18 in front; the shelf 20 behind it."""
    drawing = section(class_bench)
    left, right, low, high = ({} for _ in range(4))
    for part in ("case.top", "case.bottom", "divider.divider.1", "shelf.board", "door.rail.top", "back.rail.top"):
        xs, ys = zip(*polygon(drawing, part), strict=True)
        left[part], right[part], low[part], high[part] = min(xs), max(xs), 600 - max(ys), 600 - min(ys)
    assert (left["case.top"], right["case.top"]) == pytest.approx((0, 200), abs=0.02)
    assert (low["case.top"], high["case.top"]) == pytest.approx((582, 600), abs=0.02)
    assert (low["divider.divider.1"], high["divider.divider.1"]) == pytest.approx((138, 156), abs=0.02)
    assert right["divider.divider.1"] == pytest.approx(181, abs=0.02)
    assert (left["shelf.board"], right["shelf.board"]) == pytest.approx((20, 181), abs=0.02)
    assert (left["door.rail.top"], right["door.rail.top"]) == pytest.approx((0, 18), abs=0.02)
    assert (left["back.rail.top"], right["back.rail.top"]) == pytest.approx((181, 199), abs=0.02)
    assert high["back.rail.top"] == pytest.approx(590.5, abs=0.02)
    texts = [box[0] for box in text_boxes(drawing)]
    assert {"600.0", "426.0", "120.0", "181.0", "19.0", "200.0", "161.0"} <= set(texts)


def test_the_cut_through_shows_the_rabbet_for_the_back(class_bench: Bench) -> None:
    """9 of the 18 mm of top and bottom are taken away at the rear, 19 deep, on the side of the inside."""
    top, bottom = (polygon(section(class_bench), f"case.{part}") for part in ("top", "bottom"))
    assert {(round(x), round(y)) for x, y in top} == {(0, 0), (200, 0), (200, 9), (181, 9), (181, 18), (0, 18)}
    assert {(round(x), round(600 - y)) for x, y in bottom} == {(0, 0), (200, 0), (200, 9), (181, 9), (181, 18), (0, 18)}


def test_the_cut_through_shows_the_tongue_of_a_panel_in_its_groove(class_bench: Bench) -> None:
    """The panel's tongue is 5.8 thick and, with the visible height of 323, reaches 8.5 into either rail: 340."""
    points = polygon(section(class_bench), "door.panel.1")
    ys = [y for _, y in points]
    ends = [x for x, y in points if y in (min(ys), max(ys))]
    assert max(ys) - min(ys) == pytest.approx(340, abs=0.05)
    assert max(ends) - min(ends) == pytest.approx(5.8, abs=0.02)


def test_the_enlarged_tongue_shows_the_room_around_it(class_bench: Bench) -> None:
    """A groove of 6.0 and a tongue of 5.8 that begins 0.1 behind the front wall; 2.0 at the floor; 3 times as large."""
    drawing = groove_detail(class_bench, "door")
    groove, (reach, tongue) = polygon(drawing, "door.groove"), rectangle(drawing, "door.panel.tongue")
    start = next(e for e in elements(drawing, "door.panel.tongue") if e.tag.endswith("rect"))
    assert drawn_scale(drawing) >= 3
    assert tongue == pytest.approx(5.8, abs=0.002)
    assert float(start.get("y")) / drawn_scale(drawing) - groove[2][1] == pytest.approx(0.1, abs=0.002)
    assert float(start.get("x")) / drawn_scale(drawing) - groove[3][0] == pytest.approx(2.0, abs=0.002)
    assert reach == pytest.approx(8.5 + 3 + 2, abs=0.01)
    assert [box[0] for box in text_boxes(drawing)].count("0.1") == 2


@pytest.mark.parametrize(("stack", "buried", "words"), [("16", "0", "in 2 passes"), ("22", "4", "4.0 mm of it inside")])
def test_the_dado_set_stands_in_the_backing_fence_by_what_is_too_wide(stack: str, buried: str, words: str) -> None:
    """F11 (worked example): a set of 22 is buried 4 for a rabbet of 18; a set of 16 makes two passes."""
    made = cabinet(CLASS_CABINET)
    given_ = {"shop.dado_stack": Given(Fraction(stack), Origin.CHOICE)}
    drawing = backing_fence(Bench(made, made.graph.evaluate(given_), MM), "case")
    scale = drawn_scale(drawing)
    cutter = next(e for e in elements(drawing, "case.rabbet.cutter") if e.tag.endswith("rect"))
    fence = next(e for e in elements(drawing, "fence") if e.tag.endswith("rect"))
    reach = float(cutter.get("x")) + float(cutter.get("width")) - float(fence.get("x"))
    assert reach / scale == pytest.approx(float(buried), abs=0.02)
    assert (float(fence.get("x")) - float(cutter.get("x"))) / scale == pytest.approx(18, abs=0.02)
    assert words in drawing.alt.replace("\u00a0", " ")


def test_the_face_of_a_panel_shows_its_tongue_all_round(class_bench: Bench) -> None:
    """The field is smaller than the panel by a tongue of 11.5 at each edge (worked example: 140 less 23 is 117)."""
    drawing = part_drawing(class_bench, "back.panel.1")
    whole, field = rectangle(drawing, "back.panel.1"), rectangle(drawing, "back.panel.tongue_length")
    assert [a - b for a, b in zip(whole, field, strict=True)] == pytest.approx([23, 23], abs=0.02)


def test_a_rail_shows_its_shoulder_and_both_tenons(class_bench: Bench) -> None:
    """261 from shoulder to shoulder and a tenon of 10 at each end make 281."""
    texts = [box[0] for box in text_boxes(part_drawing(class_bench, "door.rail.top"))]
    assert texts.count("10.0") == 2 and {"261.0", "281.0"} <= set(texts)


def test_the_diagonals_page_states_both_diagonals_of_a_frame(class_bench: Bench) -> None:
    """361 by 423: the square root of the sum of squares is 556.1."""
    texts = [box[0] for box in text_boxes(diagonals(class_bench, "door"))]
    assert any(t.startswith("a: 556.1") for t in texts) and any(t.startswith("b: 556.1") for t in texts)


def test_the_reveal_map_has_three_blanks_a_side(class_bench: Bench) -> None:
    """Four reveals of 1.5, each read at three places."""
    drawing = reveal_map(class_bench, "door")
    assert len(elements(drawing, "blank")) == 12
    assert rectangle(drawing, "door") == pytest.approx((361, 423), abs=0.02)
    assert sum("1.5" in box[0] for box in text_boxes(drawing)) == 4


@pytest.mark.parametrize("points", [9.0, 14.0])
def test_no_text_covers_another_in_any_drawing(bench: Bench, points: float) -> None:
    """Texts are compared box by box, also in large print."""
    large = Bench(bench.cabinet, bench.values, bench.shown, points)
    for name, drawing in every_drawing(large).items():
        for one, other in combinations(text_boxes(drawing), 2):
            apart = one[3] <= other[1] or other[3] <= one[1] or one[4] <= other[2] or other[4] <= one[2]
            assert apart, f"{name}: '{one[0]}' covers '{other[0]}'"


def test_every_text_is_at_least_eight_points_on_a_page_of_letter_paper(bench: Bench) -> None:
    """A drawing wider than the text of the page is printed smaller, and must still be readable."""
    for name, drawing in every_drawing(bench).items():
        shrink = min(1.0, 170 / drawing.width)
        for e in ET.fromstring(drawing.svg).iter():
            if e.tag.endswith("text"):
                assert float(e.get("font-size")) * shrink / POINT >= 8, name


def test_no_line_is_too_thin_for_a_cheap_printer(bench: Bench) -> None:
    """No line is thinner than 0.2 mm on paper (common practice), and no drawing is wider than the paper shrinks."""
    for name, drawing in every_drawing(bench).items():
        assert drawing.width <= 180, name
        lines = [e for e in ET.fromstring(drawing.svg).iter() if e.get("stroke") == "#000000"]
        assert lines and all(float(e.get("stroke-width")) >= 0.2 for e in lines), name


def test_every_drawing_says_what_it_shows_without_looking(bench: Bench) -> None:
    """Title and description are there, with sizes in the description."""
    for name, drawing in every_drawing(bench).items():
        root = ET.fromstring(drawing.svg)
        assert root.find("{http://www.w3.org/2000/svg}title").text == drawing.title
        assert root.get("aria-label") == drawing.alt
        assert re.search(r"\d", drawing.alt), name


def test_a_name_with_markup_stays_text() -> None:
    """What a plan calls a thing is shown, never run."""
    sketch = Sketch("<b>", "& \"'<script>")
    sketch.label(0, 0, "<script>alert(1)</script>")
    root = ET.fromstring(sketch.done().svg)
    assert [e.text for e in root.iter() if e.tag.endswith("text")] == ["<script>alert(1)</script>"]
    assert not [e for e in root.iter() if e.tag.endswith("script")]


@given(st.lists(st.tuples(st.floats(0, 200), st.floats(0.5, 15)), min_size=1, max_size=12))
def test_labels_that_are_spread_keep_their_order_and_never_meet(wanted: list[tuple[float, float]]) -> None:
    """Law: neighbours are at least half of each apart, and one label alone is not moved."""
    wanted.sort()
    places = spread(wanted, 0.5)
    for (a, (_, half_a)), (b, (_, half_b)) in zip(
        zip(places, wanted, strict=True), list(zip(places, wanted, strict=True))[1:], strict=False
    ):
        assert b - a >= half_a + half_b + 0.5 - 1e-6
    if len(wanted) == 1:
        assert places == [wanted[0][0]]


@pytest.mark.parametrize(
    ("wanted", "places"),
    [
        ([(50, 5), (50, 5), (50, 5)], [40, 50, 60]),
        ([(0, 5), (50, 5), (50, 5), (52, 5)], [0, 40 + 2 / 3, 50 + 2 / 3, 60 + 2 / 3]),
        ([(10, 2), (12, 4)], [8, 14]),
    ],
)
def test_labels_that_are_spread_move_as_little_as_can_be(
    wanted: list[tuple[float, float]], places: list[float]
) -> None:
    """Least squares, worked by hand: what wants one place stands evenly about it, and who has room is not moved."""
    assert spread(wanted, 0) == pytest.approx(places)


@pytest.mark.parametrize("axis", ["x", "y"])
def test_a_dimension_stands_over_its_middle(axis: str) -> None:
    """From 10 to 50 along the chain: the middle of its text is at 30."""
    sketch = Sketch("t", "a")
    sketch.chain(axis, 5, [Span(10, 50, "40.00")], 1, 0)
    ((_, area),) = sketch.labels
    middle = area.x + area.width / 2 if axis == "x" else area.y + area.height / 2
    assert middle == pytest.approx(30, abs=0.3)


def test_a_label_that_must_move_keeps_a_line_to_its_dimension() -> None:
    """Two narrow dimensions beside each other: the texts part, and a thin line leads to each."""
    sketch = Sketch("t", "a")
    sketch.chain("x", 5, [Span(0, 3, "10.00"), Span(3, 6, "20.00")], 1, 0)
    plain = Sketch("t", "a")
    plain.chain("x", 5, [Span(0, 40, "10.00"), Span(40, 80, "20.00")], 1, 0)
    assert sum("<line" in i for i in sketch.items) == sum("<line" in i for i in plain.items) + 2


def test_the_corner_to_square_is_as_round_as_the_bit(class_bench: Bench) -> None:
    """A bit of 34.9 leaves 17.45 along each wall and 7.2 on the diagonal: R x (the root of 2 less 1)."""
    drawing = DRAWINGS["corner"](class_bench, "case")
    waste = polygon(drawing, "waste")
    assert max(x for x, _ in waste) == pytest.approx(17.45, abs=0.02)
    depth = max(min(x, y) for x, y in waste) * 2**0.5
    assert depth == pytest.approx(17.45 * (2**0.5 - 1), abs=0.02)
    texts = [box[0] for box in text_boxes(drawing)]
    assert texts.count("17.45") == 2 and any("7.23" in t for t in texts)


def test_the_side_of_a_drawer_is_drawn_with_its_rabbets_and_its_groove(class_bench: Bench) -> None:
    """Worked by hand: 176 long, 12 taken at each end for front and back; a groove 6.2 wide begins 10 up (6 + 0.2)."""
    drawing = part_drawing(class_bench, "drawer.side.left")
    scale = drawn_scale(drawing)
    first, last = (e for e in elements(drawing, "drawer.rabbet.width") if e.tag.endswith("rect"))
    assert [float(e.get("x")) / scale for e in (first, last)] == pytest.approx([0, 164], abs=0.02)
    assert [float(e.get("width")) / scale for e in (first, last)] == pytest.approx([12, 12], abs=0.02)
    groove = next(e for e in elements(drawing, "drawer.groove.width") if e.tag.endswith("rect"))
    end = (float(groove.get("y")) + float(groove.get("height"))) / scale
    assert rectangle(drawing, "drawer.groove.width") == pytest.approx((176, 6.2), abs=0.02)
    assert rectangle(drawing, "drawer.side.left")[1] - end == pytest.approx(10, abs=0.02)
    assert {"12.0", "164.0", "6.2", "10.0", "groove for the bottom"} <= {box[0] for box in text_boxes(drawing)}
    assert "Joint from 164.0 mm on: 12.0. Along the edge: groove for the bottom, 6.2 wide, 10.0 from the edge." in (
        drawing.alt.replace("\u00a0", " ")
    )


def test_the_front_of_a_drawer_has_the_groove_alone_and_its_back_none(class_bench: Bench) -> None:
    """The front is let into the sides and is not rabbeted itself; the back stands above the bottom."""
    front, back = (part_drawing(class_bench, f"drawer.{part}") for part in ("front", "back"))
    assert elements(front, "drawer.groove.width") and not elements(front, "drawer.rabbet.width")
    assert not elements(back, "drawer.groove.width") and not elements(back, "drawer.rabbet.width")


def test_the_cut_through_shows_the_drawer_with_its_bottom_under_its_back(class_bench: Bench) -> None:
    """Worked by hand: front 0 to 12, box 176 long from the floor at 18; the bottom 10 up and 5.5 in the front's groove.

    The back ends with the box and begins 16.2 up, where the groove ends; the height is 120 less 1 above it (the wood
    of this plan does not move). The side is seen behind them.
    """
    drawing = section(class_bench)
    boxes = {}
    for part in ("front", "back", "bottom"):
        xs, ys = zip(*polygon(drawing, f"drawer.{part}"), strict=True)
        boxes[part] = (min(xs), max(xs), 600 - max(ys), 600 - min(ys))
    assert boxes["front"] == pytest.approx((0, 12, 18, 137), abs=0.05)
    assert boxes["back"] == pytest.approx((164, 176, 34.2, 137), abs=0.05)
    assert boxes["bottom"] == pytest.approx((6.5, 176, 28, 34), abs=0.05)
    assert rectangle(drawing, "drawer.side.right") == pytest.approx((176, 119), abs=0.05)
    assert {"176.0", "12.0"} <= {box[0] for box in text_boxes(drawing)}
    assert "drawer 176.0 mm long" in drawing.alt.replace("\u00a0", " ")


def arrows(drawing: Drawing) -> list[tuple[float, float, float, float]]:
    """Where heavy arrows begin and where their points are. [mm of paper]"""
    found, shapes = [], list(ET.fromstring(drawing.svg).iter())
    for line, head in pairwise(shapes):
        if line.tag.endswith("line") and head.tag.endswith("polygon") and head.get("fill") == "#000000":
            x, y = (float(v) for v in head.get("points").split()[0].split(","))
            found.append((float(line.get("x1")), float(line.get("y1")), x, y))
    return found


def test_the_bit_of_the_back_rabbet_stands_as_its_bearing_says(class_bench: Bench) -> None:
    """F12 (worked example): a 34.9 cutter on a 16.9 bearing cuts 9.0; the bearing runs on the wall below the rabbet,
    19 deep, and cutter and bearing turn about one axis."""
    drawing = back_rabbet_bit(class_bench, "case")
    wall = polygon(drawing, "case.wall")
    assert wall[:2] == [(9, 0), (18, 0)] and wall[4:] == [(0, 19), (9, 19)]
    assert rectangle(drawing, "shop.rabbet_cutter")[0] == pytest.approx(34.9)
    assert rectangle(drawing, "bearing")[0] == pytest.approx(16.9)
    cutter, bearing = (elements(drawing, name)[0] for name in ("shop.rabbet_cutter", "bearing"))
    ends = [(float(e.get("x")) + float(e.get("width"))) / drawn_scale(drawing) for e in (cutter, bearing)]
    assert ends == pytest.approx([9, 0])
    middles = [float(e.get("x")) + float(e.get("width")) / 2 for e in (cutter, bearing)]
    assert middles[0] == pytest.approx(middles[1])


def test_the_router_goes_round_the_inside_clockwise_from_behind(class_bench: Bench) -> None:
    """Caution HRT-02: clockwise round the inside. At the top to the right, on the right down, below to the left, then up."""
    drawing = back_rabbet_bit(class_bench, "case")
    ways = [((x2 > x1) - (x2 < x1), (y2 > y1) - (y2 < y1)) for x1, y1, x2, y2 in arrows(drawing)]
    middle = [((x1 + x2) / 2, (y1 + y2) / 2) for x1, y1, x2, y2 in arrows(drawing)]
    assert ways == [(1, 0), (0, 1), (-1, 0), (0, -1)]
    assert middle[0][1] < middle[1][1] < middle[2][1] and middle[3][0] < middle[0][0] < middle[1][0]


def test_the_groove_for_a_bottom_is_widened_away_from_the_bit(class_bench: Bench) -> None:
    """10 from the lower edge, 6.2 wide, 6 deep into the inside face; caution RTG-03: the fence moves away, to the left."""
    drawing = bottom_groove(class_bench, "drawer")
    points = polygon(drawing, "drawer.side.left")
    assert [(x, round(-y, 3)) for x, y in points[1:5]] == [(10, 0), (10, 6), (16.2, 6), (16.2, 0)]
    ((x1, _, x2, _),) = arrows(drawing)
    assert x2 < x1 <= 0
    assert not arrows(bottom_groove_by_hand(class_bench, "drawer"))


def test_pin_holes_are_as_far_apart_as_the_template(class_bench: Bench) -> None:
    """32 from middle to middle, 37 from the front edge, 5 in diameter: the numbers of the sheet."""
    drawing = pin_holes(class_bench, "shelf")
    scale = drawn_scale(drawing)
    holes = elements(drawing, "shelf.pin.diameter")
    xs = [float(hole.get("cx")) / scale for hole in holes]
    assert [b - a for a, b in pairwise(xs)] == pytest.approx([32, 32, 32], abs=0.01)
    assert {float(hole.get("r")) * 2 / scale for hole in holes} == {5}
    front = rectangle(drawing, "side")[1]
    assert front - float(holes[0].get("cy")) / scale == pytest.approx(37, abs=0.01)


def test_lines_of_sizes_do_not_run_through_numbers(bench: Bench) -> None:
    """An extension line that comes to a number of a nearer line of sizes stops before it and goes on behind it."""
    crossed = []
    for name, drawing in every_drawing(bench).items():
        lines = [
            e for e in ET.fromstring(drawing.svg).iter() if e.tag.endswith("line") and e.get("stroke-width") == "0.2"
        ]
        for text, left, top, right, bottom in text_boxes(drawing):
            for line in lines:
                x1, y1, x2, y2 = (float(line.get(key)) for key in ("x1", "y1", "x2", "y2"))
                through = (
                    (x1 == x2 and left < x1 < right and min(y1, y2) < top and max(y1, y2) > bottom)
                    or (y1 == y2 and top < y1 < bottom and min(x1, x2) < left and max(x1, x2) > right)
                )  # fmt: skip
                crossed += [(name, text)] if through and not text.isalpha() else []
    assert crossed == []


def test_lines_of_sizes_do_not_cross_the_words_about_an_edge(bench: Bench) -> None:
    """The words below a small part are wider than it; no extension line of a size runs through them."""
    told = 0
    for part in bench.cabinet.parts:
        drawing = part_drawing(replace(bench, room=(80.0, 60.0)), part.name)
        for text, left, top, right, bottom in text_boxes(drawing):
            if "edge" in text or "all round" in text or "bottom" in text:
                told += 1
                for line in (e for e in ET.fromstring(drawing.svg).iter() if e.tag.endswith("line")):
                    x1, y1, x2, y2 = (float(line.get(key)) for key in ("x1", "y1", "x2", "y2"))
                    crosses = x1 == x2 and left < x1 < right and min(y1, y2) < bottom and max(y1, y2) > top
                    assert not crosses, (part.name, text)
    assert told > 4


OWN_DRAWER = """kind: drawer
says: A drawer whose bottom is nailed under its box.
in: opening
lists:
  side: [left, right]
stock:
  box: the box
  floor: bottom
quantities:
  width: {is: opening.width - 1 mm, says: width of the drawer}
parts:
  front: {title: front, mark: F, stock: box, length: width, width: opening.height - 2 mm, grain: length}
  side.*: {title: side, mark: S, stock: box, length: opening.depth - 6 mm, width: opening.height - 2 mm, grain: length}
  back: {title: back, mark: B, stock: box, length: width, width: opening.height - 2 mm - floor.thickness, grain: length}
  bottom: {title: bottom, mark: U, stock: floor, length: width, width: opening.depth - 6 mm - box.thickness, grain: length}
features:
  drawer_blank: {on: [front, side, back], says: cut to size}
"""


def test_an_own_kind_of_drawer_without_a_groove_is_cut_through_too(tmp_path: Path) -> None:
    """Worked by hand: sides 181 - 6 = 175 long; a bottom of 175 - 12 = 163 lies at the lower edge, behind the front,
    and the back stands on it."""
    (tmp_path / "kinds").mkdir()
    (tmp_path / "kinds" / "drawer.yaml").write_text(OWN_DRAWER, "utf-8")
    library = read_library(tmp_path)
    assert not library.problems
    text = CLASS_CABINET.replace(
        "stock: {box: drawer, sides: drawer, floor: bottom}", "stock: {box: drawer, floor: bottom}"
    )
    made = build(read_plan(text, "plan.yaml", list_keys(library)), library)
    drawing = section(Bench(made, made.graph.evaluate(), MM))
    boxes = {}
    for part in ("front", "back", "bottom"):
        xs, ys = zip(*polygon(drawing, f"drawer.{part}"), strict=True)
        boxes[part] = (min(xs), max(xs), 600 - max(ys), 600 - min(ys))
    assert boxes["front"] == pytest.approx((0, 12, 18, 136), abs=0.05)
    assert boxes["back"] == pytest.approx((163, 175, 24, 136), abs=0.05)
    assert boxes["bottom"] == pytest.approx((12, 175, 18, 24), abs=0.05)
    assert rectangle(drawing, "drawer.side.right") == pytest.approx((175, 118), abs=0.05)
    assert {"175.0", "12.0"} <= {box[0] for box in text_boxes(drawing)}


def test_behind_an_applied_front_the_box_begins_later() -> None:
    """A front 18 thick stands before the box, which begins 18 behind the front of the case; neither covers the other."""
    made = cabinet(
        CLASS_CABINET.replace("floor: bottom}", "floor: bottom, facing: frame}, front: applied, reveal: 1.5")
    )
    drawing = section(Bench(made, made.graph.evaluate(), MM))
    face, front = ([x for x, _ in polygon(drawing, f"drawer.{part}")] for part in ("face", "front"))
    assert (min(face), max(face), min(front)) == pytest.approx((0, 18, 18), abs=0.02)


def test_the_reveals_of_a_pair_stand_beside_both_leaves(class_bench: Bench) -> None:
    """Both leaves lie in the opening, 2.0 where they meet and 1.5 at its sides; one door alone has no such gap."""
    made = cabinet(CLASS_CABINET.replace("use: door}", "use: door, leaves: [left, right]}"))
    drawing = DRAWINGS["reveal map"](Bench(made, made.graph.evaluate(), MM), "door.left")
    places = [
        float(next(e for e in elements(drawing, f"door.{leaf}") if e.tag.endswith("rect")).get("x"))
        for leaf in ("left", "right")
    ]
    assert places[0] < places[1]
    assert rectangle(drawing, "door.left") == rectangle(drawing, "door.right") == pytest.approx((179.5, 423), abs=0.05)
    (gap,) = elements(drawing, "door.left.meeting")
    assert places[0] < float(gap.get("x")) < places[1] and gap.text.replace("\u00a0", " ") == "2.0 mm"
    lines = [e for e in elements(drawing, "blank") if float(e.get("y1")) < 0]
    ends = sorted((float(e.get("x1")), float(e.get("x2"))) for e in lines)
    assert len(ends) == 6 and all(a[1] < b[0] for a, b in pairwise(ends))


def test_every_gap_of_a_pair_is_on_its_map_once(class_bench: Bench) -> None:
    """Seven gaps with three blanks each: two hinge sides, two above, two below, one between; the same map for both."""
    made = cabinet(CLASS_CABINET.replace("use: door}", "use: door, leaves: [left, right]}"))
    bench = Bench(made, made.graph.evaluate(), MM)
    drawing = DRAWINGS["reveal map"](bench, "door.left")
    known = [q for q in made.graph.quantities if q.name.startswith("door.") and q.read]
    gaps = [q.name for q in known if q.read.instrument == "feeler" and q.read.places == 3]
    assert len(gaps) == 7 and len(elements(drawing, "blank")) == 21
    texts = {name: [e.text.replace("\u00a0", " ").split(": ")[-1] for e in elements(drawing, name)] for name in gaps}
    assert texts == {name: ["2.0 mm" if name.endswith("meeting") else "1.5 mm"] for name in gaps}
    assert drawing.alt.replace("\u00a0", " ") == (
        "The door in its opening, gaps drawn wider than they are: reveal left of the door left 1.5 mm; reveal top of the "
        "door left 1.5 mm; reveal bottom of the door left 1.5 mm; gap between the leaves 2.0 mm; reveal right of the door "
        "right 1.5 mm; reveal top of the door right 1.5 mm; reveal bottom of the door right 1.5 mm."
    )
    assert DRAWINGS["reveal map"](bench, "door.right").alt == drawing.alt
    alone = DRAWINGS["reveal map"](class_bench, "door")
    assert len(elements(alone, "blank")) == 12 and "between" not in alone.alt
