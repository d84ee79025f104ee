"""Comparisons of few readings: against published examples, by hand, and by what must always hold."""

from __future__ import annotations

import csv
from fractions import Fraction
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rubrics.compare import Sample, far_off, mean_interval, means_apart, shares_apart
from shared.problems import OutOfRange

PUBLISHED = Path(__file__).parents[1] / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_difference_of_two_means_as_published():
    """NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B.DAT, unequal variances: t 12.94627 with 136.875 degrees of freedom."""
    first = Sample(249, Fraction("20.14458"), 6.41470)
    second = Sample(79, Fraction("30.48101"), 6.10771)
    found = means_apart(first, second)
    assert found.t == pytest.approx(12.94627, abs=5e-5)
    assert found.freedom == pytest.approx(136.87499, abs=5e-4)
    assert found.difference == pytest.approx(10.33643)
    assert (found.interval.low + found.interval.high) / 2 == pytest.approx(10.33643)


def test_two_means_of_two_readings_by_hand():
    """Two and two with deviation 1: standard error 1, two degrees; t of 95 % is sqrt(2 * 0.95^2 / (1 - 0.95^2))."""
    found = means_apart(Sample(2, Fraction(0), 1.0), Sample(2, Fraction(3), 1.0))
    half = sqrt(2 * 0.95**2 / (1 - 0.95**2))
    assert (found.freedom, found.t) == (2.0, 3.0)
    assert (found.interval.low, found.interval.high) == pytest.approx((3 - half, 3 + half), rel=1e-9)


@pytest.mark.parametrize("row", rows("shares_apart.csv"), ids=lambda r: f"{r['first']}/{r['of_first']}")
def test_the_difference_of_two_shares_as_published(row):
    """Newcombe (1998), Table II, method 10."""
    found = shares_apart(*(int(row[name]) for name in ("first", "of_first", "second", "of_second")))
    assert (found.low, found.high) == pytest.approx(
        (float(row["low"]), float(row["high"])), abs=float(row["tolerance"])
    )


@given(st.integers(0, 20), st.integers(0, 20))
def test_two_shares_the_other_way_round_change_sign(first: int, second: int):
    """Second less first is the opposite of first less second, and the interval holds the difference that was counted."""
    found, turned = shares_apart(first, 20, second, 20), shares_apart(second, 20, first, 20)
    assert (found.low, found.high) == pytest.approx((-turned.high, -turned.low))
    assert found.low - 1e-12 <= (second - first) / 20 <= found.high + 1e-12


def test_the_interval_of_a_mean_by_hand():
    """1, 2, 3: deviation 1, two degrees; half the interval is sqrt(2 * 0.95^2 / (1 - 0.95^2)) / sqrt 3."""
    found = mean_interval([1, 2, 3])
    half = sqrt(2 * 0.95**2 / (1 - 0.95**2)) / sqrt(3)
    assert (found.low, found.high) == pytest.approx((2 - half, 2 + half), rel=1e-9)


class TestFarOff:
    def test_two_wild_readings_do_not_hide_each_other(self):
        """Median 0.1, median distance 0.1: 5 and 6 lie 33 and 40 scaled distances off, -0.2 only 2."""
        values = [Fraction(text) for text in ("0", "0.1", "0.2", "5", "-0.1", "0.1", "6", "-0.2", "0.3")]
        assert far_off(values, Fraction("0.3")) == (3, 6)

    def test_the_edge_is_three_and_a_half(self):
        """Median 0, usual distance 1: 5.18 is just inside 3.5 / 0.6745 = 5.189, 5.2 just beyond."""
        assert far_off([-1, -1, -1, 0, 1, 1, Fraction("5.18")], 0) == ()
        assert far_off([-1, -1, -1, 0, 1, 1, Fraction("5.2")], 0) == (6,)

    def test_less_than_a_limit_is_let_be(self):
        """In a class that agrees to nothing at all, only what is off by more than the limit is asked about."""
        values = [0, 0, 0, 0, 0, 0, Fraction("0.3"), Fraction("0.31")]
        assert far_off(values, Fraction("0.3")) == (7,)

    def test_four_readings_are_too_few(self):
        """Nobody stands apart from three others."""
        assert far_off([0, 0, 0, 100], 0) == ()

    @given(st.lists(st.integers(-50, 50), min_size=5, max_size=30), st.integers(-9, 9))
    def test_it_does_not_matter_where_nothing_is(self, values: list[int], shift: int):
        """The same readings from another zero give the same places."""
        assert far_off(values, 2) == far_off([value + shift for value in values], 2)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: means_apart(Sample(1, Fraction(0), 1.0), Sample(9, Fraction(0), 1.0)), "from two readings each"),
        (lambda: means_apart(Sample(5, Fraction(0), 0.0), Sample(9, Fraction(0), 0.0)), "no spread to compare"),
        (lambda: mean_interval([1]), "at least 2 values, not 1"),
    ],
)
def test_what_has_no_answer_is_refused(call, words: str):
    """Each refusal says why."""
    with pytest.raises(OutOfRange, match=words):
        call()
