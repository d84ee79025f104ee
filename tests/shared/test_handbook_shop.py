from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.handbook.lumber import Blank, board_feet, order, rough_board_feet
from shared.handbook.shelf import Shelf, lasting_sag, longest_span, pounds_per_foot, sag, sag_limit
from shared.handbook.spares import enough, spares
from shared.handbook.tolerance_stack import (
    Link,
    Spread,
    link,
    root_sum_square,
    shares_of_variance,
    worst_case,
)
from shared.problems import OutOfRange
from shared.units import INCH


class TestShelf:
    """F22 of the invented class cabinet: 35 lb per foot on 18 x 180 mm, 3500 MPa (an assumed modulus)."""

    LOAD = pounds_per_foot(Fraction(35))

    def shelf(self, span):
        return Shelf(Fraction(span), Fraction(180), Fraction(18), Fraction(3500))

    def test_the_load_and_the_section(self):
        """35 lb per foot is 0.5108 N/mm, and the section has 87480 mm^4."""
        assert float(self.LOAD) == pytest.approx(0.5108, abs=5e-5)
        assert self.shelf(362).second_moment == 87480

    def test_the_short_shelf_holds(self):
        """Span 362: 0.37 at once, 0.56 in the long run, 0.60 allowed."""
        shelf = self.shelf(362)
        assert float(sag(shelf, self.LOAD)) == pytest.approx(0.373, abs=0.001)
        assert float(lasting_sag(shelf, self.LOAD)) == pytest.approx(0.560, abs=0.001)
        assert float(sag_limit(shelf.span)) == pytest.approx(0.603, abs=0.0005)
        assert lasting_sag(shelf, self.LOAD) < sag_limit(shelf.span)

    def test_the_long_shelf_fails(self):
        """Span 762: 7.3 mm."""
        assert float(sag(self.shelf(762), self.LOAD)) == pytest.approx(7.3, abs=0.05)

    def test_the_longest_span_is_the_limit(self):
        """371 mm; a tenth of a millimetre more sags too much."""
        longest = longest_span(self.shelf(100), self.LOAD)
        assert round(longest) == 371
        assert lasting_sag(self.shelf(longest), self.LOAD) <= sag_limit(longest)
        beyond = longest + Fraction(1, 10)
        assert lasting_sag(self.shelf(beyond), self.LOAD) > sag_limit(beyond)

    def test_twice_the_thickness_sags_an_eighth(self):
        """Thickness counts with its cube, span with its fourth power."""
        thick = Shelf(Fraction(362), Fraction(180), Fraction(36), Fraction(3500))
        assert sag(thick, self.LOAD) * 8 == sag(self.shelf(362), self.LOAD)
        assert sag(self.shelf(724), self.LOAD) == 16 * sag(self.shelf(362), self.LOAD)

    def test_a_shelf_without_thickness_is_refused(self):
        """Zero would divide by zero."""
        words = "^span, depth, thickness and modulus of a shelf must be above zero$"
        with pytest.raises(OutOfRange, match=words):
            Shelf(Fraction(362), Fraction(180), Fraction(0), Fraction(3500))


class TestSpares:
    @pytest.mark.parametrize(
        ("parts", "percent", "expected"),
        [(64, 8, 9), (64, 5, 6), (32, 8, 5), (64, 0, 0), (0, 8, 0), (3, 100, 3)],
    )
    def test_the_class_cabinet_needs_so_many(self, parts, percent, expected):
        """F24: 64 parts at 8 % need 9 spares, at 5 % 6; 32 at 8 % need 5."""
        assert spares(parts, Fraction(percent, 100)) == expected

    @given(st.integers(1, 40), st.fractions(0, 1, max_denominator=50))
    def test_one_spare_fewer_is_not_enough(self, parts, scrap):
        """The least number is enough, and the one below is not."""
        least = spares(parts, scrap)
        assert enough(parts, scrap, least) >= Fraction(95, 100)
        assert least == 0 or enough(parts, scrap, least - 1) < Fraction(95, 100)

    def test_the_chance_is_exact(self):
        """Two parts, each spoiled with 1/4: none with 9/16, at most one with 15/16, at most two surely."""
        assert [enough(2, Fraction(1, 4), k) for k in range(3)] == [Fraction(9, 16), Fraction(15, 16), 1]

    @pytest.mark.parametrize(
        ("call", "words"),
        [
            (lambda: spares(-1, Fraction(1, 10)), "a number of parts cannot be below zero"),
            (lambda: enough(10, Fraction(1, 10), -1), "a number of spares cannot be below zero"),
            (lambda: spares(10, Fraction(8)), "the share of spoiled parts lies between 0 and 1, not at 8"),
            (lambda: spares(10, Fraction(1, 10), Fraction(95)), "a chance lies between 0 and 1, not at 95"),
        ],
        ids=["parts", "spares", "scrap", "sure"],
    )
    def test_percent_for_a_share_is_refused(self, call, words):
        """8 for 8 % is a likely slip."""
        with pytest.raises(OutOfRange, match=f"^{words}$"):
            call()


class TestLumber:
    FRAMES = (
        Blank(Fraction(45), Fraction(581), 2),
        Blank(Fraction(45), Fraction(311), 2),
        Blank(Fraction(45), Fraction(511), 1),
        Blank(Fraction(50), Fraction(423), 2),
        Blank(Fraction(50), Fraction(281), 2),
    )
    """Frame stock of one class cabinet."""

    def test_a_board_foot(self):
        """1 x 6 in, 96 in long, is 4 board feet (powershardwoods.com, lumber information)."""
        assert board_feet(INCH, 6 * INCH, 96 * INCH) == 4

    def test_the_frame_stock_of_a_class(self):
        """F25: 2.24 board feet a student, 35.8 for 16, 53.4 to order at a yield of 0.67."""
        each = rough_board_feet(self.FRAMES, INCH)
        assert float(each) == pytest.approx(2.24, abs=0.005)
        assert float(16 * each) == pytest.approx(35.8, abs=0.05)
        assert float(order(16 * each, Fraction("0.67"))) == pytest.approx(53.4, abs=0.05)

    def test_without_extra_it_is_the_net_volume(self):
        """The extra is what makes a part rough."""
        net = sum(b.count * board_feet(INCH, b.width, b.length) for b in self.FRAMES)
        assert rough_board_feet(self.FRAMES, INCH, Fraction(0), Fraction(0)) == net

    @pytest.mark.parametrize("share", [Fraction(0), Fraction(67)])
    def test_a_yield_is_a_share(self, share):
        """67 for 67 % is refused, and so is nothing."""
        with pytest.raises(OutOfRange, match=f"^a yield lies above 0 and is at most 1, not {share}$"):
            order(Fraction(10), share)

    def test_a_negative_size_is_refused(self):
        """A board has no size below zero."""
        with pytest.raises(OutOfRange, match="^a board has no size below zero$"):
            board_feet(INCH, Fraction(-1), INCH)


class TestStack:
    DOOR = (
        Link(Fraction(1), Fraction(720), Fraction("0.5")),
        Link(Fraction(-1), Fraction(40), Fraction("0.3")),
        Link(Fraction(-1), Fraction(60), Fraction("0.3")),
        Link(Fraction(-1), Fraction(616), Fraction("0.5")),
    )
    """Reveal of an invented inset door: opening less rails and door."""

    def test_the_worst_case_is_exact(self):
        """4 mm of reveal in all, 2.4 to 5.6 when every part errs fully."""
        stack = worst_case(self.DOOR)
        assert stack == Spread(Fraction(4), Fraction("1.6"))
        assert (stack.least, stack.most) == (Fraction("2.4"), Fraction("5.6"))

    def test_independent_errors_add_up_to_less(self):
        """Root of 0.68: 0.8246, so 3.175 to 4.825."""
        stack = root_sum_square(self.DOOR)
        assert stack.tolerance == pytest.approx(0.68**0.5, abs=1e-12)
        assert (stack.least, stack.most) == pytest.approx((3.175379, 4.824621), abs=1e-6)

    def test_shares_say_where_care_counts(self):
        """25/68 for the side and the door, 9/68 for each rail."""
        assert shares_of_variance(self.DOOR) == tuple(Fraction(n, 68) for n in (25, 9, 9, 25))

    @given(
        st.lists(
            st.builds(Link, st.sampled_from([1, -1, 2]), st.integers(0, 900), st.fractions(0, 2)), min_size=1
        )
    )
    def test_root_sum_square_never_exceeds_the_worst_case(self, links):
        """Adding as squares is never more than adding up."""
        assert root_sum_square(links).tolerance <= float(worst_case(links).tolerance) + 1e-9

    def test_unequal_limits_become_centred(self):
        """36 +0 -0.1 is 35.95 plus and minus 0.05 (mevirtuoso.com, method step)."""
        assert link(Fraction(1), Fraction(36), Fraction(0), Fraction("0.1")) == Link(
            Fraction(1), Fraction("35.95"), Fraction("0.05")
        )

    def test_what_makes_no_sense_is_refused(self):
        """A negative tolerance, and shares of nothing."""
        negative = "^a tolerance is given as plus and minus one number, not below zero$"
        with pytest.raises(OutOfRange, match=negative):
            Link(Fraction(1), Fraction(10), Fraction(-1))
        nothing = "^no part of the chain has a tolerance, so none has a share of it$"
        with pytest.raises(OutOfRange, match=nothing):
            shares_of_variance([Link(Fraction(1), Fraction(10), Fraction(0))])
