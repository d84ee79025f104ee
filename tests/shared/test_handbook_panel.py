from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.handbook.panel import (
    Groove,
    Seasons,
    Wood,
    best_width,
    board_gap,
    door_growth,
    least_groove_depth,
    least_reveal,
    least_tongue,
    panel_fit,
)
from shared.problems import OutOfRange
from shared.units import INCH

CHERRY = Wood(Fraction("0.00248"))
RED_OAK = Wood(Fraction("0.00369"))
SWELLING = Seasons(Fraction(8), Fraction(8), Fraction(12))
SHRINKING = Seasons(Fraction(10), Fraction(6), Fraction(10))
DOOR = Groove(opening=Fraction(261), depth=Fraction("10.5"))
"""Door of the class cabinet: 261 between stiles, grooves 10.5 deep; its panel is 278 wide."""
PANEL = Fraction(278)


class TestClassCabinet:
    """F16, the door panel of the invented class cabinet, 4 points of moisture either way."""

    def test_cherry_swells_within_its_clearance(self):
        """2.76 mm of growth, half of it 1.38, leaves 0.62 of the 2.0 mm at each groove bottom."""
        fit = panel_fit(PANEL, DOOR, CHERRY, SWELLING)
        assert fit.swing == Fraction("2.75776")
        assert fit.built.clearance == 2
        assert fit.dampest.clearance == 2 - Fraction("1.37888")
        assert not fit.binds

    def test_cherry_is_held_7_1_mm_when_it_shrinks(self):
        """Held 8.5 as built, less half of 2.76."""
        fit = panel_fit(PANEL, DOOR, CHERRY, SHRINKING)
        assert fit.driest.held == Fraction("8.5") - Fraction("1.37888")
        assert fit.driest.held_pushed == PANEL - Fraction("2.75776") - 261 - Fraction("10.5")
        assert not fit.falls_out

    def test_a_3_mm_shadow_gap_becomes_1_6(self):
        """The gap beside the field closes by half the swing."""
        assert float(3 - panel_fit(PANEL, DOOR, CHERRY, SWELLING).swing / 2) == pytest.approx(1.62, abs=0.002)

    def test_red_oak_bottoms_out(self):
        """Half of 4.10 is 2.05, more than the 2.0 mm there is."""
        fit = panel_fit(PANEL, DOOR, RED_OAK, SWELLING, reserve=Fraction(0))
        assert fit.dampest.clearance == 2 - Fraction("2.05164")
        assert fit.binds

    def test_the_door_grows_by_its_stiles_only(self):
        """F16b: two stiles of 50 mm of cherry grow 0.992 over 4 points, so half of it off each reveal."""
        growth = door_growth([Fraction(50), Fraction(50)], CHERRY, 8, 12)
        assert growth == Fraction("0.992")
        assert least_reveal(growth, Fraction(1)) == Fraction("1.496")


def test_the_example_in_inches():
    """Worked example of the notes on seasonal movement: cherry, opening 11.5 in, groove 3/8, 8/6/11 %."""
    groove = Groove(Fraction("11.5") * INCH, Fraction(3, 8) * INCH)
    seasons = Seasons(Fraction(8), Fraction(6), Fraction(11))
    reserve = INCH / 64
    width = best_width(groove, CHERRY, seasons, reserve)
    fit = panel_fit(width, groove, CHERRY, seasons, reserve)
    inches = {
        "bottom to bottom": groove.bottom_to_bottom,
        "width": width,
        "gap": fit.built.clearance,
        "shrunk": fit.driest.width,
        "held": fit.driest.held,
        "swing": fit.swing,
    }
    expected = {
        "bottom to bottom": 12.25,
        "width": 12.13,
        "gap": 0.06,
        "shrunk": 12.07,
        "held": 0.28,
        "swing": 0.15,
    }
    assert {name: round(float(value / INCH), 2) for name, value in inches.items()} == expected


moistures = st.tuples(*[st.fractions(min_value=4, max_value=16, max_denominator=4)] * 3).map(sorted)
openings = st.fractions(min_value=40, max_value=900, max_denominator=4)
depths = st.fractions(min_value=4, max_value=25, max_denominator=4)
woods = st.sampled_from([CHERRY, RED_OAK, Wood(Fraction("0.00111"), Fraction(22)), Wood(Fraction("0.00462"))])


@given(openings, depths, woods, moistures)
def test_the_best_width_just_does_not_bind(opening, depth, wood, moisture):
    """At its dampest exactly the reserve is left; a hair wider binds."""
    driest, built, dampest = moisture
    groove, seasons = Groove(opening, depth), Seasons(built, driest, dampest)
    width = best_width(groove, wood, seasons)
    fit = panel_fit(width, groove, wood, seasons)
    assert fit.dampest.clearance == fit.reserve
    assert not fit.binds
    assert panel_fit(width + Fraction(1, 1000), groove, wood, seasons).binds


@given(openings, woods, moistures)
def test_the_least_groove_depth_is_the_limit(opening, wood, moisture):
    """A hair deeper and the best panel neither binds nor falls out; a hair shallower and it falls out."""
    driest, built, dampest = moisture
    seasons = Seasons(built, driest, dampest)
    depth = least_groove_depth(opening, wood, seasons)
    hair = Fraction(1, 1000)
    for change, falls in ((hair, False), (-hair, True)):
        groove = Groove(opening, depth + change)
        fit = panel_fit(best_width(groove, wood, seasons), groove, wood, seasons)
        assert (fit.binds, fit.falls_out) == (False, falls)


def test_a_panel_pushed_over_may_leave_its_groove():
    """Held enough when centred is not enough when it slides into one groove."""
    groove = Groove(Fraction(300), Fraction(20))
    fit = panel_fit(Fraction(318), groove, CHERRY, Seasons(Fraction(8), Fraction(8), Fraction(8)))
    assert fit.driest.held == 9
    assert fit.driest.held_pushed == -2
    assert fit.falls_out


def test_the_bare_edge_is_half_the_shrinking():
    """Finish the panel before assembly, or this much bare wood shows on each side."""
    assert panel_fit(PANEL, DOOR, CHERRY, SHRINKING).bare_edge == Fraction("1.37888")


def test_no_groove_holds_what_moves_without_bound():
    """A coefficient ten times too large, as a slip of a digit gives, is refused and not answered."""
    with pytest.raises(OutOfRange, match="^the panel moves so much that no groove can hold it$"):
        least_groove_depth(
            Fraction(300), Wood(Fraction("0.12")), Seasons(Fraction(10), Fraction(6), Fraction(14))
        )


def test_moisture_contents_must_rise():
    """Driest, built, dampest; a swapped pair is named with its figures."""
    words = r"^moisture content must rise from driest \(9 %\) over as built \(8 %\) to dampest \(11 %\)$"
    with pytest.raises(OutOfRange, match=words):
        Seasons(Fraction(8), Fraction(9), Fraction(11))


def test_loose_boards_need_a_gap_and_a_tongue():
    """A 100 mm cherry board, 8/6/11 %: built 0.744 + 0.5, driest 0.496 more, tongue 3 longer."""
    gap = board_gap(Fraction(100), CHERRY, Seasons(Fraction(8), Fraction(6), Fraction(11)))
    assert (gap.built, gap.driest, gap.dampest) == (Fraction("1.244"), Fraction("1.74"), Fraction("0.5"))
    assert least_tongue(gap, Fraction(3)) == Fraction("4.74")
