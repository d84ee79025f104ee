"""Honest comparisons of few readings: a class with nothing, two classes, one reading with all the others.

Lengths in mm unless said; any other unit does as well when it is the same throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt
from statistics import median

from rubrics.class_figures import CONFIDENCE, Interval, Number, mean, sd, share_interval
from shared.handbook.distributions import student_quantile
from shared.problems import OutOfRange

FAR = 3.5
"""Scaled distance from the middle reading above which one is looked at again (Iglewicz and Hoaglin)."""
SCALED = 0.6745
"""Of a normal spread, the middle distance from the middle, in deviations."""
ENOUGH = 5
"""Readings below which nobody can say that one stands apart, and below which figures are not hung up: our choice."""


def mean_interval(values: Sequence[Number], confidence: float = CONFIDENCE) -> Interval:
    """Between which values the true mean of a class lies: m -+ t s / sqrt n, with Student's t of n - 1.

    Args:
        values: Readings.
        confidence: [0 to 1]

    Raises:
        OutOfRange: Fewer than two values.
    """
    spread = sd(values)
    half = student_quantile((1 + confidence) / 2, len(values) - 1) * spread / sqrt(len(values))
    middle = float(mean(values))
    return Interval(middle - half, middle + half)


@dataclass(frozen=True, slots=True)
class Sample:
    """What is known of a class at one check, without its readings."""

    count: int
    mean: Fraction
    sd: float


@dataclass(frozen=True, slots=True)
class MeansApart:
    """How far the means of two classes are apart."""

    difference: float
    """Second less first."""
    interval: Interval
    freedom: float
    """Degrees of freedom."""
    t: float


def means_apart(first: Sample, second: Sample, confidence: float = CONFIDENCE) -> MeansApart:
    """The difference of two means with its interval; the classes need not scatter alike.

    NIST/SEMATECH e-Handbook 1.3.5.3, case of unequal variances: t = (m2 - m1) / sqrt(s1^2/n1 + s2^2/n2), with the
    degrees of freedom (s1^2/n1 + s2^2/n2)^2 / (s1^4/(n1^2 (n1 - 1)) + s2^4/(n2^2 (n2 - 1))).

    Args:
        first: The earlier class.
        second: The later class.
        confidence: [0 to 1]

    Raises:
        OutOfRange: Fewer than two readings in a class, or no spread in both.
    """
    if min(first.count, second.count) < 2:
        raise OutOfRange("two classes are compared from two readings each")
    one, two = first.sd**2 / first.count, second.sd**2 / second.count
    if not one + two:
        raise OutOfRange("readings that do not differ have no spread to compare")
    freedom = (one + two) ** 2 / (one**2 / (first.count - 1) + two**2 / (second.count - 1))
    apart, error = float(second.mean - first.mean), sqrt(one + two)
    half = student_quantile((1 + confidence) / 2, freedom) * error
    return MeansApart(apart, Interval(apart - half, apart + half), freedom, apart / error)


def shares_apart(
    first: int, of_first: int, second: int, of_second: int, confidence: float = CONFIDENCE
) -> Interval:
    """Between which values the difference of two shares lies, second less first.

    Newcombe (1998), Statistics in Medicine 17, 873-890, method 10: from the score intervals of both shares.

    Args:
        first: How many had the property in the earlier class.
        of_first: Of how many.
        second: How many in the later class.
        of_second: Of how many.
        confidence: [0 to 1]

    Raises:
        OutOfRange: As `class_figures.share_interval`.
    """
    before, after = share_interval(first, of_first, confidence), share_interval(second, of_second, confidence)
    p, q = first / of_first, second / of_second
    down = sqrt((q - after.low) ** 2 + (before.high - p) ** 2)
    up = sqrt((after.high - q) ** 2 + (p - before.low) ** 2)
    return Interval(q - p - down, q - p + up)


def far_off(values: Sequence[Number], least: Number) -> tuple[int, ...]:
    """Which readings stand so far from the others that they are worth a second look; none is ever removed.

    NIST/SEMATECH e-Handbook 1.3.5.17 names the rule of Iglewicz and Hoaglin: 0.6745 (x - median) / MAD beyond 3.5,
    where MAD is the median distance from the median. One or two wild readings do not hide each other in it. What is
    nearer to the median than `least` is let be, so that a class that agrees to a hair's breadth is not asked.

    Args:
        values: Readings, in any order.
        least: Smallest distance from the median that is told; the limit of a check does well.

    Returns:
        Their places in `values`; none when there are fewer than `ENOUGH`.
    """
    if len(values) < ENOUGH:
        return ()
    exact = [Fraction(value) for value in values]
    middle = median(exact)
    away = [abs(value - middle) for value in exact]
    usual = median(away)
    return tuple(
        place for place, each in enumerate(away)
        if each > Fraction(least) and SCALED * float(each) > FAR * float(usual)
    )  # fmt: skip
