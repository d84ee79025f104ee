"""A frame in inches against facts of the trade; every figure here is common practice, without a source."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.quantities import Given, Origin
from shared.units import INCH, INCHES

FRAME = """
title: Frame in inches
unit: in
stock:
  case: {form: sheet, thickness: 3/4}
  frame: {form: solid, material: cherry, thickness: 3/4}
  panel: {form: sheet, thickness: 1/2}
shop: {dado_stack: 5/8, slot_cutter: 0.13}
assemblies:
  case: {kind: carcass, width: 20, height: 24, depth: 10}
  back:
    kind: frame and panel
    in: case.back
    reveal: 0
    stile.width: 2
    rail.width: 2
    groove: {width: 1/4, depth: 1/2, front_lip: panel.thickness - panel.tongue}
    tenon: {glue_room: 0, clearance: 0}
    panel: {clearance: 0, ease: 0, room: 1/16, shadow_gap: 1/16}
"""


def inch(text: str) -> Fraction:
    return Fraction(text) * INCH


@pytest.fixture
def graph(cabinet_of):
    return cabinet_of(FRAME).graph


def test_the_half_inch_panel_shows_a_sixteenth(graph):
    """A 1/2 in panel rabbeted 1/2 wide and 1/4 deep shows 1/16 in and leaves 1/16 in at the groove bottom."""
    values = graph.evaluate()
    assert values["back.tenon.length"] == inch("1/2")
    assert values["back.panel.tongue_length"] == inch("1/2")
    assert values["back.panel.front_rabbet"] == inch("1/4")
    assert values["back.panel.back_rabbet"] == 0
    assert values["back.panel.shadow_gap"] == inch("1/16")
    assert values.number("back.groove.depth") - values.number("back.panel.engagement") == inch("1/16")
    assert values["back.groove.off_centre"] == 0


def test_a_thin_panel_moves_the_groove_off_centre(graph):
    """A panel of 15/32 that must come flush puts the groove 1/32 off centre; the shim is the shoulders' difference."""
    values = graph.evaluate({"stock.panel.thickness": Given(inch("15/32"), Origin.STOCK)})
    assert values["back.groove.off_centre"] == inch("1/32")
    shoulders = values.number("back.tenon.back_shoulder") - values.number("back.tenon.face_shoulder")
    assert values["back.tenon.shim"] == shoulders == inch("1/16")


def test_the_stack_buries_what_the_tenon_leaves(graph):
    """A 1/2 in tenon from a 5/8 in stack buries 1/8 in in the backing fence, in one pass."""
    values = graph.evaluate()
    assert values["back.tenon.buried"] == inch("1/8")
    assert values["back.tenon.passes"] == 1


def test_a_narrow_slot_cutter_takes_two_passes(graph):
    """A slot cutter just over 1/8 in makes a 1/4 in groove in two passes."""
    assert graph.evaluate()["back.groove.passes"] == 2


@pytest.mark.parametrize(("build", "usual", "about"), [("sheet", "1/16", "0.1"), ("solid", "1/8", "0.2")])
def test_the_usual_gaps(cabinet_of, build: str, usual: str, about: str):
    """Left alone, a sheet panel gets about 1/16 in of shadow gap and a solid one about 1/8 in."""
    plan = FRAME.replace(", shadow_gap: 1/16", "").replace("panel: {form: sheet", f"panel: {{form: {build}")
    gap = cabinet_of(plan).graph.evaluate().number("back.panel.shadow_gap")
    assert abs(gap - inch(usual)) < Fraction(about)


def test_sheet_and_rabbet_in_fractions(cabinet_of):
    """F2 in inches: a case of 26 in 23/32 stock with 3/8 housings has horizontals of 25 5/16."""
    plan = FRAME.replace("width: 20,", "width: 26, rabbet.depth: 3/8,").replace(
        "form: sheet, thickness: 3/4", "thickness: 23/32"
    )
    length = cabinet_of(plan).graph.evaluate().number("case.top.length")
    assert INCHES.size(length).replace("\u00a0", " ") == "25 5/16 in"


def test_a_door_in_inches_has_the_worked_rail(cabinet_of):
    """Opening 14 wide, reveal 1/16, stiles 2, tenons 3/8: the rail is 10 5/8 long."""
    plan = FRAME.replace("width: 20", "width: 15 1/2").replace("in: case.back", "in: case.inside").replace(
        "reveal: 0\n", "reveal: 1/16\n").replace("tenon: {glue_room: 0", "tenon: {length: 3/8")  # fmt: skip
    assert cabinet_of(plan).graph.evaluate()["back.rail.top.length"] == inch("10") + inch("5/8")
