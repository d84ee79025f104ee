from fractions import Fraction
from math import atan, erf, exp, factorial, lgamma, log, pi, sqrt
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.handbook.distributions import (
    chi_square_below,
    chi_square_quantile,
    f_above,
    student_below,
    student_quantile,
)
from shared.problems import OutOfRange

values = st.floats(0.001, 60)
freedoms = st.integers(1, 200)
shares = st.floats(0.001, 0.999)


@given(values)
def test_chi_square_with_one_degree_is_a_squared_normal(value):
    """Closed form: erf(sqrt(x / 2))."""
    assert chi_square_below(value, 1) == pytest.approx(erf(sqrt(value / 2)), abs=1e-13)


@given(values, st.integers(1, 40))
def test_chi_square_with_even_degrees_is_a_poisson_sum(value, half):
    """Closed form for 2k degrees: 1 - exp(-x/2) sum of (x/2)^i / i! for i below k."""
    total = sum((value / 2) ** i / factorial(i) for i in range(half))
    assert chi_square_below(value, 2 * half) == pytest.approx(1 - exp(-value / 2) * total, abs=1e-12)


@given(values, st.integers(1, 40))
def test_chi_square_climbs_by_two_degrees(value, freedom):
    """Two degrees more take away (x/2)^(k/2) exp(-x/2) / Gamma(k/2 + 1)."""
    step = exp(freedom / 2 * log(value / 2) - value / 2 - lgamma(freedom / 2 + 1))
    climbed = chi_square_below(value, freedom) - step
    assert chi_square_below(value, freedom + 2) == pytest.approx(climbed, abs=1e-12)


@given(st.floats(-50, 50))
def test_student_with_one_degree_is_the_arctangent(value):
    """Closed form of the Cauchy distribution."""
    assert student_below(value, 1) == pytest.approx(0.5 + atan(value) / pi, abs=1e-12)


@given(st.floats(-50, 50))
def test_student_with_two_degrees_has_a_closed_form(value):
    """1/2 + t / (2 sqrt(2 + t^2))."""
    assert student_below(value, 2) == pytest.approx(0.5 + value / (2 * sqrt(2 + value * value)), abs=1e-12)


@given(st.floats(-6, 6))
def test_student_with_many_degrees_is_normal(value):
    """With a hundred thousand degrees of freedom the difference is below one in ten thousand."""
    assert student_below(value, 100_000) == pytest.approx(NormalDist().cdf(value), abs=1e-4)


@given(st.floats(0.01, 8), freedoms)
def test_f_with_one_degree_above_is_student_squared(value, freedom):
    """A ratio above t squared is as likely as a t beyond plus or minus t."""
    assert f_above(value**2, 1, freedom) == pytest.approx(2 * student_below(-value, freedom), abs=1e-11)


@given(st.floats(0.01, 8), freedoms)
def test_f_with_two_degrees_above_has_a_closed_form(value, freedom):
    """(1 + 2 x / n)^(-n / 2)."""
    closed = (1 + 2 * value / freedom) ** (-freedom / 2)
    assert f_above(value, 2, freedom) == pytest.approx(closed, abs=1e-11)


@given(st.floats(0.05, 8), freedoms, freedoms)
def test_f_turned_over_is_f(value, top, bottom):
    """Above x with (m, n) is below 1/x with (n, m)."""
    assert f_above(value, top, bottom) == pytest.approx(1 - f_above(1 / value, bottom, top), abs=1e-11)


@given(shares, freedoms)
def test_quantiles_undo_shares(share, freedom):
    """The share below the quantile is the share asked for."""
    assert chi_square_below(chi_square_quantile(share, freedom), freedom) == pytest.approx(share, abs=1e-12)
    assert student_below(student_quantile(share, freedom), freedom) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: chi_square_below(1, 0), "there is at least one degree of freedom, not 0"),
        (lambda: student_below(1, -1), "there is at least one degree of freedom, not -1"),
        (lambda: f_above(1, 2, 0), "there is at least one degree of freedom, not 0"),
        (lambda: chi_square_quantile(1, 3), "a share lies between 0 and 1, not at 1"),
        (lambda: student_quantile(0, 3), "a share lies between 0 and 1, not at 0"),
    ],
    ids=["chi-square", "t", "F", "chi-square share", "t share"],
)
def test_what_has_no_answer_is_refused(call, words):
    """No degrees of freedom, or a share that no finite value has."""
    with pytest.raises(OutOfRange, match=f"^{words}$"):
        call()


def test_nothing_lies_below_zero():
    """Chi-square and F begin at zero."""
    assert chi_square_below(0, 4) == chi_square_below(-3, 4) == 0
    assert f_above(0, 3, 7) == 1


def test_fractions_are_accepted():
    """Statistics of exact lengths come as fractions."""
    assert chi_square_below(Fraction(2), 2) == pytest.approx(1 - exp(-1), abs=1e-14)
