"""Chi-square, Student's t and F: shares below a value, and values below which a share lies.

From the incomplete gamma and beta functions by their series and continued fractions, NIST Digital Library
of Mathematical Functions, sections 8.7, 8.9 and 8.17. Good to about twelve digits for up to some thousand
degrees of freedom. The normal distribution is in the standard library.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, lgamma, log

from shared.problems import OutOfRange

_TINY = 1e-300
_CLOSE = 1e-16
_STEPS = 10_000


def chi_square_below(value: float, freedom: int) -> float:
    """Share of a chi-square distribution below a value.

    Args:
        value: At least 0.
        freedom: Degrees of freedom, at least 1.

    Raises:
        OutOfRange: Fewer than one degree of freedom.
    """
    _check_freedom(freedom)
    return _gamma_share(freedom / 2, value / 2) if value > 0 else 0.0


def chi_square_quantile(share: float, freedom: int) -> float:
    """The value below which a share of a chi-square distribution lies.

    Raises:
        OutOfRange: A share not between 0 and 1, or fewer than one degree of freedom.
    """
    _check_share(share)
    return _solve(lambda value: chi_square_below(value, freedom), share, 0.0, freedom + 10.0)


def student_below(value: float, freedom: float) -> float:
    """Share of Student's t distribution below a value.

    Raises:
        OutOfRange: Fewer than one degree of freedom.
    """
    _check_freedom(freedom)
    square = value * value
    tail = _beta_share(freedom / 2, 0.5, freedom / (freedom + square), square / (freedom + square)) / 2
    return tail if value < 0 else 1 - tail


def student_quantile(share: float, freedom: float) -> float:
    """The value below which a share of Student's t distribution lies.

    Raises:
        OutOfRange: A share not between 0 and 1, or fewer than one degree of freedom.
    """
    _check_share(share)
    if share < 0.5:
        return -student_quantile(1 - share, freedom)
    return _solve(lambda value: student_below(value, freedom), share, 0.0, 10.0)


def f_above(value: float, top: int, bottom: int) -> float:
    """Share of an F distribution above a value: how often chance alone gives so large a ratio.

    Args:
        value: Ratio of two mean squares, at least 0.
        top: Degrees of freedom of the upper one.
        bottom: Degrees of freedom of the lower one.

    Raises:
        OutOfRange: Fewer than one degree of freedom.
    """
    _check_freedom(top)
    _check_freedom(bottom)
    whole = bottom + top * value
    return _beta_share(bottom / 2, top / 2, bottom / whole, top * value / whole)


def _check_freedom(freedom: float) -> None:
    if freedom < 1:
        raise OutOfRange(f"there is at least one degree of freedom, not {freedom}")


def _check_share(share: float) -> None:
    if not 0 < share < 1:
        raise OutOfRange(f"a share lies between 0 and 1, not at {share:g}")


def _solve(below: Callable[[float], float], share: float, low: float, high: float) -> float:
    while below(high) < share:
        low, high = high, high * 2
    while True:
        middle = (low + high) / 2
        if middle in (low, high):
            return middle
        low, high = (middle, high) if below(middle) < share else (low, middle)


def _gamma_share(a: float, x: float) -> float:
    scale = exp(a * log(x) - x - lgamma(a))
    if x < a + 1:
        term = total = 1 / a
        for n in range(1, _STEPS):
            term *= x / (a + n)
            total += term
            if term < total * _CLOSE:
                break
        return total * scale
    b = x + 1 - a
    c, d = 1 / _TINY, 1 / b
    fraction = d
    for n in range(1, _STEPS):
        b += 2
        d = 1 / (b - n * (n - a) * d)
        c = b - n * (n - a) / c
        fraction *= c * d
        if abs(c * d - 1) < _CLOSE:
            break
    return 1 - scale * fraction


def _beta_share(a: float, b: float, x: float, rest: float) -> float:
    """Incomplete beta function at x; `rest` is 1 - x, given apart to keep its digits."""
    if x <= 0 or rest <= 0:
        return float(rest <= 0)
    if x > (a + 1) / (a + b + 2):
        return 1 - _beta_share(b, a, rest, x)
    scale = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(rest)) / a
    fraction, c, d = 1.0, 1.0, 0.0
    for n in range(_STEPS):
        m = n // 2
        if n == 0:
            step = 1.0
        elif n % 2 == 0:
            step = m * (b - m) * x / ((a + n - 1) * (a + n))
        else:
            step = -(a + m) * (a + b + m) * x / ((a + n - 1) * (a + n))
        d = 1 / _not_zero(1 + step * d)
        c = _not_zero(1 + step / c)
        fraction *= c * d
        if n and abs(c * d - 1) < _CLOSE * 10:
            break
    return scale * (fraction - 1)


def _not_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
