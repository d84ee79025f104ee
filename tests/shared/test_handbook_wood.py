from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.handbook.tables import Movement, movement, table
from shared.handbook.wood_moisture import emc_celsius, emc_fahrenheit
from shared.handbook.wood_movement import (
    Cut,
    across_grain,
    change_by_coefficient,
    change_by_shrinkage,
    coefficient,
    plywood_change,
    shrinkage_to,
)
from shared.problems import OutOfRange

CHERRY = Fraction("0.00248")
widths = st.fractions(min_value=1, max_value=2000, max_denominator=64)
handbook_range = st.fractions(min_value=6, max_value=14, max_denominator=10)
shrinking = st.fractions(min_value=0, max_value=30, max_denominator=10)


class TestMoisture:
    def test_damper_air_makes_damper_wood(self):
        """At any temperature of the table, more humidity gives more moisture content."""
        for fahrenheit in range(30, 271, 20):
            by_humidity = [emc_fahrenheit(fahrenheit, humidity) for humidity in range(5, 96, 5)]
            assert by_humidity == sorted(by_humidity)

    @pytest.mark.parametrize("fahrenheit", [30, 270])
    @pytest.mark.parametrize("humidity", [5, 95])
    def test_the_corners_of_the_table_are_inside(self, fahrenheit, humidity):
        """The range includes its ends, in both scales."""
        assert emc_fahrenheit(fahrenheit, humidity) > 0
        assert emc_celsius(Fraction(fahrenheit - 32) * Fraction(5, 9), humidity) > 0

    def test_a_temperature_outside_the_table_is_refused(self):
        """The source covers 30 to 270 F; a kiln above that is not guessed."""
        words = r"^the moisture equation holds from 30 to 270 F \(-1.1 to 132.2 C\), not at 29.0 F$"
        with pytest.raises(OutOfRange, match=words):
            emc_fahrenheit(29, 50)
        with pytest.raises(OutOfRange, match="not at 28.4 F"):
            emc_celsius(-2, 50)

    def test_a_humidity_outside_the_table_is_refused(self):
        """A share such as 0.5 instead of 50 is caught too."""
        words = "^the moisture equation holds from 5 to 95 % relative humidity, not at 96 %$"
        with pytest.raises(OutOfRange, match=words):
            emc_fahrenheit(70, 96)
        with pytest.raises(OutOfRange, match="not at 0.5 %"):
            emc_celsius(20, Fraction(1, 2))


class TestMovement:
    def test_the_class_cabinet_example_is_exact(self):
        """F15: 140 mm of flatsawn cherry moves 1.3888 mm over 4 points."""
        assert change_by_coefficient(Fraction(140), CHERRY, 8, 12) == Fraction("1.3888")

    def test_an_unknown_cut_counts_as_flatsawn(self):
        """The safe side for a groove."""
        cherry = movement("cherry")
        assert coefficient(cherry, Cut.UNKNOWN) == coefficient(cherry, Cut.FLATSAWN) == CHERRY
        assert coefficient(cherry, Cut("quartersawn")) == Fraction("0.00126")

    def test_a_quartersawn_board_moves_less_in_every_species(self):
        """Radial is smaller than tangential throughout Table 13-5."""
        for species in table(Movement):
            assert coefficient(species, Cut.QUARTERSAWN) < coefficient(species, Cut.FLATSAWN)

    @given(widths, handbook_range, handbook_range)
    def test_twice_the_width_moves_twice(self, width, start, end):
        """Movement is proportional to width, and none without a change of moisture."""
        once = change_by_coefficient(width, CHERRY, start, end)
        assert change_by_coefficient(2 * width, CHERRY, start, end) == 2 * once
        assert change_by_coefficient(width, CHERRY, start, start) == 0

    @given(widths, handbook_range, handbook_range)
    def test_there_and_back_returns_within_the_second_order(self, width, start, end):
        """Eq. 13-2 is odd in the change, so a round trip is off by no more than D (C dM)^2."""
        there = width + change_by_coefficient(width, CHERRY, start, end)
        back = there + change_by_coefficient(there, CHERRY, end, start)
        assert abs(back - width) <= width * (CHERRY * (end - start)) ** 2

    @given(widths, shrinking, shrinking)
    def test_shrinkage_there_and_back_returns_exactly(self, width, start, end):
        """Eq. 13-3 is a straight line, so a round trip ends where it began."""
        shrinkage = Fraction("7.1")
        there = width + change_by_shrinkage(width, shrinkage, start, end)
        assert there + change_by_shrinkage(there, shrinkage, end, start) == width

    def test_from_green_to_ovendry_is_the_whole_shrinkage(self):
        """By Eq. 13-3 and by Eq. 4-9: 100 mm of green cherry (7.1 %) ends at 92.9 mm."""
        assert change_by_shrinkage(Fraction(100), Fraction("7.1"), 30, 0) == Fraction("-7.1")
        assert shrinkage_to(Fraction("7.1"), 0) == Fraction("7.1")
        assert shrinkage_to(Fraction("7.1"), 15) == Fraction("3.55")
        assert shrinkage_to(Fraction("7.1"), 30) == 0

    @pytest.mark.parametrize("pair", [(5, 8), (8, 15)])
    def test_the_coefficients_are_refused_outside_6_to_14(self, pair):
        """Eq. 13-2 states its range."""
        words = r"^the movement coefficients hold from 6 to 14 % moisture content, not at (5|15) %$"
        with pytest.raises(OutOfRange, match=words):
            change_by_coefficient(Fraction(100), CHERRY, *pair)

    def test_moisture_above_the_start_of_shrinkage_is_refused(self):
        """Redcedar is taken to shrink from 22 %, so 25 % is refused for it and not for others."""
        words = "^wood is taken to shrink between 22 and 0 % moisture content, not at 25 %$"
        with pytest.raises(OutOfRange, match=words):
            change_by_shrinkage(Fraction(100), Fraction(5), 25, 10, 22)
        with pytest.raises(OutOfRange, match="between 30 and 0 %.*not at -1 %"):
            shrinkage_to(Fraction(5), -1)
        assert change_by_shrinkage(Fraction(100), Fraction(5), 25, 10) < 0

    def test_the_right_equation_is_taken(self):
        """Inside 6 to 14 % the linear one; outside, Eq. 13-3 with the shrinkage the coefficient implies."""
        width = Fraction(300)
        assert across_grain(width, CHERRY, 8, 12) == change_by_coefficient(width, CHERRY, 8, 12)
        by_shrinkage = change_by_shrinkage(width, Fraction("7.1"), 8, 4)
        assert float(across_grain(width, CHERRY, 8, 4)) == pytest.approx(float(by_shrinkage), rel=2e-3)
        with pytest.raises(OutOfRange, match="not at 31 %"):
            across_grain(width, CHERRY, 8, 31)

    def test_plywood_is_refused_a_humidity_that_cannot_be(self):
        """Relative humidity ends at 100 %."""
        assert plywood_change(Fraction(1000), 60, 30) == Fraction("-0.6")
        with pytest.raises(OutOfRange, match="^relative humidity lies between 0 and 100 %, not at 101 %$"):
            plywood_change(Fraction(1000), 50, 101)
