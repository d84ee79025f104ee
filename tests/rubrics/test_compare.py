"""Comparisons of few readings: against published examples, by hand, and by what must always hold."""

from __future__ import annotations

import csv
import json
import random
from fractions import Fraction
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rubrics.compare import Sample, critical, extremes, far_off, mean_interval, means_apart, shares_apart
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
    CHANCE = 0.01

    def test_the_published_example(self):
        """Rosner (1983), as NIST/SEMATECH e-Handbook 1.3.5.17.3: ten distances, ten critical values, three apart."""
        case = json.loads((PUBLISHED / "far_readings.json").read_text("utf-8"), parse_float=Fraction)
        values, count = case["readings"], len(case["readings"])
        found, near = extremes(values)[:10], float(case["tolerance"])
        assert [one.distance for one in found] == pytest.approx([float(one) for one in case["distances"]], abs=near)
        limits = [critical(one.count, float(case["chance"]) / one.count) for one in found]
        assert limits == pytest.approx([float(one) for one in case["critical"]], abs=near)
        assert list(far_off(values, 0, float(case["chance"]) / count)) == case["apart"]

    def test_two_wild_readings_do_not_hide_each_other(self):
        """Seven about 0.1 and two at 5 and 6: with 5 in the spread 6 lies no 3 deviations off, and yet both are told."""
        values = [Fraction(text) for text in ("0", "0.1", "0.2", "5", "-0.1", "0.1", "6", "-0.2", "0.3")]
        assert extremes(values)[0].distance < 3
        assert far_off(values, Fraction("0.3"), self.CHANCE) == (3, 6)

    def test_distances_from_a_known_centre_by_hand(self):
        """Differences of 3, 4 and 12 about nothing: 12 is 12 / sqrt(169 / 3) deviations off, then 4 is 4 / sqrt(25 / 2)."""
        first, *_ = extremes([3, 4, 12], 0)
        assert (first.place, first.count, first.distance) == (2, 3, pytest.approx(12 / sqrt(169 / 3)))
        assert extremes([3, 4, 12, 84], 0)[1].distance == pytest.approx(12 / sqrt(169 / 3))

    def test_the_critical_distance_about_a_known_centre_by_hand(self):
        """Two of three are left with 2 degrees, where t is (2p - 1) sqrt(2 / (1 - (2p - 1)^2)) in closed form."""
        share = 0.9
        t = share * sqrt(2 / (1 - share**2))
        assert critical(3, 1 - share, known_centre=True) == pytest.approx(sqrt(3 * t * t / (2 + t * t)), rel=1e-9)

    def test_less_than_a_limit_is_let_be(self):
        """In a class that agrees to a hair's breadth only what is off by more than the limit is asked about."""
        values = [0, 0, 0, 0, 0, 0, 0, Fraction("0.31")]
        assert far_off(values, Fraction("0.3"), self.CHANCE) == (7,)
        assert far_off(values, Fraction("0.31"), self.CHANCE) == ()

    def test_four_readings_are_too_few(self):
        """Nobody stands apart from three others."""
        assert far_off([0, 0, 0, 100], 0, self.CHANCE) == ()

    @pytest.mark.parametrize("centre", [None, 0], ids=["sizes", "differences"])
    def test_a_clean_class_is_seldom_asked(self, centre):
        """Two hundred clean classes of 16 with 60 checks, half a limit of spread: one in twenty is asked, as is said."""
        chance, asked = random.Random(5), 0
        for _ in range(200):
            checks = [[chance.gauss(0, 0.5) for _ in range(16)] for _ in range(60)]
            if centre is not None:
                checks = [[abs(one) for one in values] for values in checks]
            asked += any(far_off(values, 1, 0.05 / 960, centre) for values in checks)
        assert asked <= 20

    @given(st.lists(st.integers(-50, 50), min_size=5, max_size=30), st.integers(-9, 9))
    def test_it_does_not_matter_where_nothing_is(self, values: list[int], shift: int):
        """The same readings from another zero give the same places."""
        assert far_off(values, 2, 0.05) == far_off([value + shift for value in values], 2, 0.05)


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
