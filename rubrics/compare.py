"""Honest comparisons of few readings: a class with nothing, two classes, one reading with all the others.

Lengths in mm unless said; any other unit does as well when it is the same throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import sqrt
from statistics import NormalDist, median

from rubrics.class_figures import CONFIDENCE, Interval, Number, mean, sd, share_interval
from shared.handbook.distributions import student_quantile
from shared.problems import OutOfRange

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


@dataclass(frozen=True, slots=True)
class Extreme:
    """One of the readings farthest from the middle of those that are left."""

    place: int
    """In the readings as given."""
    count: int
    """How many are left, this one included."""
    distance: float
    """From their middle, in their standard deviations."""


def extremes(values: Sequence[Number], centre: Number | None = None) -> tuple[Extreme, ...]:
    """The readings farthest from the middle, each with those before it left out; at most half of all.

    Rosner (1983), Technometrics 25, 165-172, as NIST/SEMATECH e-Handbook 1.3.5.17.3 works it.

    Args:
        values: Readings, in any order.
        centre: Where they would lie without any error, as nothing for a difference; None for their mean.
    """
    start = median([Fraction(value) for value in values]) if centre is None else Fraction(centre)
    off = sorted((float(Fraction(value) - start), place) for place, value in enumerate(values))
    total, squares = sum(one for one, _ in off), sum(one * one for one, _ in off)
    found = []
    for _ in range(len(values) // 2):
        count = len(off)
        middle = 0.0 if centre is not None else total / count
        spread = squares / count if centre is not None else (squares - total * middle) / (count - 1)
        one, place = off.pop(0 if middle - off[0][0] > off[-1][0] - middle else -1)
        if spread <= 0 or one == middle:
            break
        found.append(Extreme(place, count, abs(one - middle) / sqrt(spread)))
        total, squares = total - one, squares - one * one
    return tuple(found)


@lru_cache(maxsize=2000)
def critical(count: int, chance: float, known_centre: bool = False) -> float:
    """The distance that one given reading of a normal spread exceeds with a given chance, in standard deviations.

    NIST/SEMATECH e-Handbook 1.3.5.17.3: (n - 1) t / sqrt((n - 2 + t^2) n), with Student's t of n - 2 for half the
    chance on either side. About a known centre sqrt(n t^2 / (n - 1 + t^2)), with Student's t of n - 1 (geometry).

    Args:
        count: Of how many readings it is one; 3 at least.
        chance: For this reading alone: the chance wanted for a class, shared out over all its readings.
        known_centre: The readings spread about a place that is known beforehand.
    """
    return _edge(count, student_quantile(1 - chance / 2, count - (1 if known_centre else 2)), known_centre)


def _edge(count: int, t: float, known_centre: bool) -> float:
    """As `critical`, of a given t."""
    if known_centre:
        return sqrt(count * t * t / (count - 1 + t * t))
    return (count - 1) * t / sqrt((count - 2 + t * t) * count)


def far_off(
    values: Sequence[Number], least: Number, chance: float, centre: Number | None = None
) -> tuple[int, ...]:
    """Which readings stand so far from the others that they are worth a second look; none is ever removed.

    Rosner's test for several (`extremes`): as many of the farthest as the last one that lies beyond its `critical`
    distance, so that wild readings do not hide each other. What is nearer to the median than `least` is let be, so that
    a class that agrees to a hair's breadth is not asked.

    Args:
        values: Readings, in any order.
        least: Smallest distance from the median that is told; the limit of a check does well.
        chance: As `critical`.
        centre: As `extremes`.

    Returns:
        Their places in `values`; none when there are fewer than `ENOUGH`.
    """
    if len(values) < ENOUGH:
        return ()
    ranked, known = extremes(values, centre), centre is not None
    least_t = NormalDist().inv_cdf(1 - chance / 2)  # Student's t is never less, so most need no closer look
    beyond = [
        one.distance > _edge(one.count, least_t, known) and one.distance > critical(one.count, chance, known)
        for one in ranked
    ]
    named = ranked[: len(beyond) - beyond[::-1].index(True)] if True in beyond else ()
    middle = median([Fraction(value) for value in values])
    return tuple(sorted(one.place for one in named if abs(Fraction(values[one.place]) - middle) > Fraction(least)))
