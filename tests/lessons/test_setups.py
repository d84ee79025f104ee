"""Set-up numbers of the class cabinet, worked by hand; plain geometry where no other source stands beside."""

from dataclasses import replace
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pytest

from course.build import build, list_keys
from course.kinds import read_library
from course.plan import read_plan
from course.quantities import Given, Origin
from lessons.operation_files import read_operations
from lessons.sequence import work_of
from lessons.setups import readings, setup_numbers
from shared.units import INCHES, MM

LIBRARY = read_library()
OPERATIONS, _ = read_operations()
PLAN = (files("course") / "demo" / "plan.yaml").read_text(encoding="utf-8")
UPRIGHTS = """unit: mm
stock: {case: {material: birch plywood, form: sheet, thickness: 18}}
assemblies:
  case: {kind: carcass}
  wall: {kind: uprights, in: case.inside, openings: {left: 150, right: rest}}
"""
PAIR = PLAN.replace("    use: door", "    use: door\n    leaves: [left, right]")
DRAWERS = (Path(__file__).parents[1] / "drawers_plan.yaml").read_text("utf-8")


def built(text):
    return build(read_plan(text, "plan.yaml", list_keys(LIBRARY)), LIBRARY)


CABINET = built(PLAN)
WORKS, _ = work_of(CABINET, OPERATIONS)
CORNERS = ("top_left", "top_right", "bottom_left", "bottom_right")


def mm(text):
    return Fraction(text)


def work(operation, assembly):
    return next(w for w in WORKS if w.operation.name == operation and assembly in [a.name for a in w.assemblies])


def alone(operation, assembly):
    """The work of one assembly alone, whatever else is done at the same set-up."""
    found = work(operation, assembly)
    return replace(found, assemblies=tuple(a for a in found.assemblies if a.name == assembly))


def values(found=(), settings=()):
    return CABINET.graph.evaluate(
        {name: Given(mm(value), Origin.STOCK) for name, value in dict(settings).items()},
        {name: Given(mm(value), Origin.READING) for name, value in dict(found).items()},
    )


def numbers(operation, assembly, route="machine", found=(), settings=()):
    """Name and value of each number; a name that comes several times with all its values."""
    result = {}
    for number in setup_numbers(alone(operation, assembly), CABINET, values(found, settings), route):
        result.setdefault(number.name, []).append(number.value)
    return {name: all_[0] if len(all_) == 1 else all_ for name, all_ in result.items()}


class TestTenon:
    GROOVE = {"back.groove.width": "6.10"}

    def test_numbers_follow_the_measured_groove(self):
        """Groove 6.10, stock 18.0, lip 5, clearance 0.1: tenon 6.00, cutter 6.95, shim 1.90 for the face cheek."""
        found = numbers("cut the tenons", "back", found=self.GROOVE)
        assert found["thickness of the tenon"] == mm("6.00")
        assert found["height of the cutter"] == mm("6.95")
        assert found["shim for the face cheek"] == mm("1.90")
        assert "shim for the back cheek" not in found

    def test_a_wide_stack_is_buried_and_a_narrow_one_makes_passes(self):
        """Tenon 10 long: a stack of 16 is buried by 6 in one pass, one of 6.35 (1/4 in) takes two passes."""
        wide, narrow = (
            numbers("cut the tenons", "back"),
            numbers("cut the tenons", "back", settings={"shop.dado_stack": "6.35"}),
        )
        assert (wide["part of the dado set in the fence"], wide["passes for one cheek"]) == (6, 1)
        assert "part of the dado set in the fence" not in narrow
        assert narrow["passes for one cheek"] == 2

    def test_a_groove_nearer_the_back_turns_the_shim_over(self):
        """Front lip 7 instead of 5: the face cheek is the deep one, and the shim goes under for the back cheek."""
        found = numbers("make a test tenon", "back", found={"back.groove.front_lip": "7"})
        assert found["height of the cutter"] == mm("7.05")
        assert found["shim for the back cheek"] == mm("2.00")
        assert "shim for the face cheek" not in found

    def test_a_tenon_already_read_does_not_change_what_was_to_be_set(self):
        """After a tenon is read at 6.25, the sheet still says 6.00: the reading is the result, not the target."""
        found = numbers("cut the tenons", "back", found={**self.GROOVE, "back.tenon.thickness": "6.25"})
        assert found["thickness of the tenon"] == mm("6.00")
        assert found["height of the cutter"] == mm("6.95")

    def test_the_hand_route_has_a_gauge_instead_of_a_shim(self):
        """By hand the gauge is set from the face side to 5.05; there is no cutter and no shim."""
        found = numbers("cut the tenons", "back", "hand", found=self.GROOVE)
        assert found["gauge"] == mm("5.05")
        assert not {"height of the cutter", "shim for the face cheek"} & set(found)


class TestCase:
    def test_one_stop_for_top_bottom_and_divider(self):
        """Sheet 17.6 thick: housed parts are 400 - 2 x (17.6 - 6) = 376.8 long, all three at one stop."""
        sheet = values(settings={"stock.case.thickness": "17.6"})
        found = setup_numbers(work("crosscut to length", "case"), CABINET, sheet, "machine")
        assert [(n.value, n.of) for n in found] == [
            (mm("600"), ("case side left", "case side right")),
            (mm("376.8"), ("case top", "case bottom", "divider")),
        ]

    def test_dado_follows_the_sheet(self):
        """Sheet 17.6: dado 17.6 - 2 x 0.1 + 0.1 = 17.5, for the divider as measured."""
        found = numbers("cut dadoes", "divider", settings={"stock.case.thickness": "17.6"})
        assert found == {
            "width of the dado": mm("17.5"), "depth of the dado": mm("6"), "thickness of the board": mm("17.6"),
        }  # fmt: skip

    def test_bearing_of_the_rabbeting_bit(self):
        """Width is half of cutter less bearing, so 9 with a 34.9 cutter needs 16.9; 19 deep takes 3 passes."""
        found = numbers("cut the rabbet for the back", "case")
        assert found["bearing"] == mm("16.9")
        assert found["depth of the rabbet"] == mm("19")
        assert found["passes"] == 3

    def test_round_corner_and_clipped_corner(self):
        """A 34.9 cutter leaves R 17.45, 7.2 deep on the slant; clipping the back takes 12.8 with its gap of 0.5."""
        found = numbers("square the corners of the rabbet", "case", "hand")
        assert found["round to remove"] == mm("17.45")
        assert round(found["depth of the round"], 1) == mm("7.2")
        back = numbers("fit the back", "back", "hand")
        assert round(back["clip, if corners are round"], 1) == mm("12.8")

    def test_rod_of_a_level_board_carries_heights(self):
        """A level divider puts the heights on the rod and not the widths."""
        found = numbers("make a story rod", "divider", "hand")
        assert found["clear height"] == [120, 426]
        assert "clear width" not in found

    def test_rod_of_an_upright_carries_widths(self):
        """Inside 364, one upright of 18: bays of 150 and 196; no heights."""
        cabinet = built(UPRIGHTS)
        one = next(w for w in work_of(cabinet, OPERATIONS)[0] if w.operation.name == "make a story rod")
        found = setup_numbers(one, cabinet, cabinet.graph.evaluate(), "hand")
        assert [n.value for n in found if n.name == "clear width"] == [150, 196]
        assert "clear height" not in [n.name for n in found]


class TestFrame:
    def test_rails_follow_the_measured_opening_and_stiles(self):
        """Opening 364.8, stiles 49.6, reveal 1.5, tenons 10: shoulder 361.8 - 99.2 = 262.6, rail 282.6."""
        found = numbers(
            "cut frame parts to the real opening", "door",
            found={
                "divider.upper.width": "364.8", "divider.upper.height": "425.1",
                "door.stile.left.width": "49.6", "door.stile.right.width": "49.6",
            },
        )  # fmt: skip
        assert found["shoulder to shoulder"] == mm("262.6")
        assert found["stop"] == [mm("422.1"), mm("282.6")]

    def test_panel_rabbets(self):
        """Lip 5, groove 6, panel 12, flush: front 5.1, tongue 5.8, back 1.1, tongue 11.5 long with a 3 mm gap."""
        found = numbers("rabbet the panels", "back")
        assert found == {
            "depth of the front rabbet": mm("5.1"), "width of the front rabbet": mm("11.5"),
            "thickness of the tongue": mm("5.8"), "depth of the back rabbet": mm("1.1"),
        }  # fmt: skip

    def test_a_panel_that_needs_no_back_rabbet_gets_none(self):
        """A panel of 10.9 is front rabbet and tongue; nothing is set for its back."""
        found = numbers("rabbet the panels", "back", settings={"stock.panel.thickness": "10.9"})
        assert "depth of the back rabbet" not in found

    def test_grooving_by_machine_and_by_hand_make_the_same_groove(self):
        """Cutter height and fence of the plane are the same lip; the depth is the same."""
        machine, hand = numbers("groove edges", "back"), numbers("groove edges", "back", "hand")
        assert machine["height of the cutter"] == hand["fence of the plane"] == 5
        assert machine["fence"] == hand["depth stop"] == mm("10.5")

    def test_lean_is_shown_only_where_the_opening_leans(self):
        """Diagonals 722.1 and 720.1: the opening leans, and the trim says so; a square case says nothing."""
        leaning = {"case.diagonal.front_a": "722.1", "case.diagonal.front_b": "720.1"}
        assert "lean of the opening" not in numbers("flush and trim the frame", "door", "hand")
        lean = numbers("flush and trim the frame", "door", "hand", found=leaning)["lean of the opening"]
        assert round(lean, 2) == mm("1.27")


class TestShown:
    def test_each_number_is_printed_for_its_reader(self):
        """A shim in hundredths of mm or thousandths of an inch, a count as a count."""
        found = {n.name: n for n in setup_numbers(work("cut the tenons", "back"), CABINET, values(), "machine")}
        shim, passes = found["shim for the face cheek"], found["passes for one cheek"]
        assert shim.shown(MM) == "2.0\u00a0mm" and found["height of the cutter"].shown(MM) == "7.05\u00a0mm"
        assert shim.shown(INCHES) == "0.079\u00a0in"
        assert passes.shown(MM) == passes.shown(INCHES) == "1"

    def test_each_number_says_where_and_why(self):
        """No number of any operation is printed without its place and its reason, or what it was read from."""
        for one in WORKS:
            for route in one.operation.routes:
                for number in setup_numbers(one, CABINET, values(), route):
                    assert number.where and number.why and number.formula
                    assert all(name in CABINET.graph for name in number.names)

    def test_a_merged_number_knows_all_it_was_read_from(self):
        """One stop for three parts was worked out from three lengths."""
        stop = setup_numbers(work("crosscut to length", "case"), CABINET, values(), "machine")[1]
        assert stop.names == ("case.top.length", "case.bottom.length", "divider.divider.1.length")


class TestReadings:
    @pytest.mark.parametrize(
        ("operation", "assembly", "wanted"),
        [
            (
                "measure stock",
                "case",
                [f"stock.{role}.thickness" for role in ("case", "frame", "panel", "drawer", "drawer_side", "bottom")],
            ),
            ("cut end rabbets", "case", [f"case.rabbet.{one}.depth" for one in CORNERS]),
            ("groove edges", "back", ["back.groove.width", "back.groove.depth", "back.groove.front_lip"]),
            ("cut the tenons on the muntins", "back", ["back.tenon.thickness", "back.muntin.1.shoulder"]),
            ("fit the door", "door", [f"door.reveal.{side}" for side in ("left", "right", "top", "bottom")]),
            ("mark out the case", "case", []),
        ],
    )  # fmt: skip
    def test_patterns_name_what_is_measured(self, operation, assembly, wanted):
        """Readings of an operation are the quantities of its assemblies that are measured, in its order."""
        assert list(readings(alone(operation, assembly), CABINET)) == wanted

    def test_measuring_the_case_reads_every_opening(self):
        """Width and height of the inside, the recess and both openings of the divider, and four diagonals."""
        found = readings(work("measure the real case", "case"), CABINET)
        for opening in ("case.inside", "case.back", "divider.lower", "divider.upper"):
            assert {f"{opening}.width", f"{opening}.height"} <= set(found)
        assert sum("diagonal" in name for name in found) == 4

    def test_stiles_are_measured_on_the_way(self):
        """Stile widths come first: the rails are set after them."""
        found = readings(alone("cut frame parts to the real opening", "door"), CABINET)
        assert found[:2] == ("door.stile.left.width", "door.stile.right.width")

    def test_every_pattern_finds_something_somewhere(self):
        """No pattern of a built-in operation is a misspelling: each finds a quantity in one of four cabinets."""
        others = [built(UPRIGHTS), built(DRAWERS), built(PAIR)]
        works = [(one, CABINET) for one in WORKS]
        works += [(one, other) for other in others for one in work_of(other, OPERATIONS)[0]]
        lost = [
            (operation.name, pattern)
            for operation in OPERATIONS.values()
            for pattern in (*operation.reads_during, *operation.reads)
            if not any(
                readings(replace(one, operation=replace(operation, reads_during=(), reads=(pattern,))), where)
                for one, where in works
                if one.operation is operation
            )
        ]
        assert lost == []
