"""What a reading with its uncertainty can say about a tolerance.

Chances come from JCGM 106:2012 (worked in UKAS LAB 48), verdicts from the four zones of ILAC-G8:09/2019.
Readings are compared unrounded. The rule must be fixed before anything is measured (ILAC-G8:09/2019), and
the guard band is applied to the limit only, never to the reading as well.

Lengths may be exact fractions or floats; limits, values and uncertainties share one unit, here mm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from math import erfc, inf, sqrt
from statistics import NormalDist

from shared.handbook.distributions import student_below, student_quantile
from shared.problems import OutOfRange

Length = Fraction | float

SURE = 0.95
"""Least chance of being right at the edge of a guarded zone; ISO 14253-1 and LAB 48 use 95 %."""

_NORMAL = NormalDist()


class Verdict(Enum):
    """What can be said of a reading."""

    INSIDE = "inside"
    PROBABLY_INSIDE = "probably inside"
    PROBABLY_OUTSIDE = "probably outside"
    OUTSIDE = "outside"
    CANNOT_TELL = "this tool cannot tell"


@dataclass(frozen=True, slots=True)
class Decision:
    """A verdict and what it rests on."""

    verdict: Verdict
    probability: float
    """That the true size is within the limits. [0 to 1]"""
    guard_band: float
    """Width on either side of each limit in which nothing is sure. [mm]"""


def conformance(value: Length, lower: Length | None, upper: Length | None, u: float) -> float:
    """The chance that the true value is within the limits, given a reading with normal uncertainty.

    JCGM 106:2012, 7.3 (one limit) and 7.4 (two limits): Phi((T_U - y)/u) - Phi((T_L - y)/u).

    Args:
        value: The reading. [mm]
        lower: Lower limit, or None. [mm]
        upper: Upper limit, or None. [mm]
        u: Standard uncertainty of the reading; 0 when it is known exactly. [mm]

    Raises:
        OutOfRange: No limit at all, limits in the wrong order, or an uncertainty below zero.
    """
    _check(lower, upper, u)
    if u == 0:
        return float(_within(value, lower, upper))
    return _between(_steps(lower, value, u, -inf), _steps(upper, value, u, inf))


def conformance_few_readings(
    value: Length, lower: Length | None, upper: Length | None, sd: float, readings: int
) -> float:
    """As `conformance`, when the uncertainty is itself known from a few repeat readings only.

    JCGM 106:2012 with Student's t for the normal distribution: readings - 1 degrees of freedom, and
    sd / sqrt(readings) for the uncertainty of their mean.

    Args:
        value: Mean of the readings. [mm]
        lower: Lower limit, or None. [mm]
        upper: Upper limit, or None. [mm]
        sd: Sample standard deviation of the readings, above 0. [mm]
        readings: How many, at least 2.

    Raises:
        OutOfRange: As `conformance`, no spread, or fewer than two readings.
    """
    u = _mean_uncertainty(sd, readings)
    _check(lower, upper, u)
    above = 1.0 if upper is None else student_below(_steps(upper, value, u, inf), readings - 1)
    below = 0.0 if lower is None else student_below(_steps(lower, value, u, -inf), readings - 1)
    return above - below


def conformance_known_bounds(value: Length, lower: Length | None, upper: Length | None, bound: Length) -> float:
    """The chance that the true value is within the limits, when the error is only known to lie in +-bound.

    JCGM 106:2012 with an even distribution (GUM 4.3.7): the overlap of the reading's interval with the
    tolerance, over the width of the interval.

    Args:
        value: The reading. [mm]
        lower: Lower limit, or None. [mm]
        upper: Upper limit, or None. [mm]
        bound: Largest possible error. [mm]

    Raises:
        OutOfRange: As `conformance`.
    """
    _check(lower, upper, bound)
    if bound == 0:
        return float(_within(value, lower, upper))
    low, high = Fraction(value) - Fraction(bound), Fraction(value) + Fraction(bound)
    inside_from = low if lower is None else max(Fraction(lower), low)
    inside_to = high if upper is None else min(Fraction(upper), high)
    return float(max(Fraction(0), inside_to - inside_from) / (high - low))


def conformance_never_negative(value: Length, lower: Length | None, upper: Length | None, u: float) -> float:
    """As `conformance`, for what cannot be below zero, such as a gap: the distribution is cut off at zero.

    Our extension of JCGM 106:2012, after which prior knowledge shapes the distribution.

    Args:
        value: The reading; it may come out below zero. [mm]
        lower: Lower limit, or None. [mm]
        upper: Upper limit, or None. [mm]
        u: Standard uncertainty of the reading. [mm]

    Raises:
        OutOfRange: As `conformance`.
    """
    _check(lower, upper, u)
    if u == 0:
        return float(_within(value, lower, upper))
    zero = _steps(0, value, u, -inf)
    floor = max(_steps(lower, value, u, -inf), zero)
    top = max(_steps(upper, value, u, inf), floor)
    return _between(floor, top) / _between(zero, inf)


def guard_band(u: float, sure: float = SURE) -> float:
    """How far inside a limit a reading must lie to be inside with a chance. [mm]

    JCGM 106:2012, 8.3.2: w = u Phi^-1(p); 1.645 u for 95 %, 2 u for 97.7 %.

    Args:
        u: Standard uncertainty. [mm]
        sure: Wanted chance at one limit. [0.5 to below 1]

    Raises:
        OutOfRange: A chance below one half, or certainty.
    """
    return u * _NORMAL.inv_cdf(_check_sure(sure))


def guard_band_few_readings(sd: float, readings: int, sure: float = SURE) -> float:
    """As `guard_band`, when the uncertainty is known from a few repeat readings only: Student's t. [mm]

    Raises:
        OutOfRange: As `guard_band`, no spread, or fewer than two readings.
    """
    return _mean_uncertainty(sd, readings) * student_quantile(_check_sure(sure), readings - 1)


def guard_band_known_bounds(bound: Length, sure: float = SURE) -> float:
    """As `guard_band`, when the error is only known to lie in +-bound: bound (2 p - 1). [mm]

    JCGM 106:2012 with an even distribution; a guard band as wide as the bound leaves no risk at all.

    Raises:
        OutOfRange: A chance below one half or above 1.
    """
    if not 0.5 <= sure <= 1:
        raise OutOfRange(f"a wanted chance lies between 0.5 and 1, not at {sure:g}")
    return float(bound) * (2 * sure - 1)


def uncertainty_ratio(lower: Length, upper: Length, u: float) -> float:
    """Test uncertainty ratio: width of the tolerance over twice the expanded uncertainty 2 u.

    ANSI/NCSLI Z540.3:2006, (T_U - T_L) / (4 u). Four is the rule where the risk is not worked out. [unitless]

    Raises:
        OutOfRange: Limits in the wrong order, or an uncertainty of zero or less.
    """
    _check(lower, upper, u)
    if u == 0:
        raise OutOfRange("a ratio to an uncertainty needs one above zero")
    return float(upper - lower) / (4 * u)


def acceptance_limits(
    lower: Length | None, upper: Length | None, u: float, sure: float = SURE
) -> tuple[float | None, float | None]:
    """Between which readings a part is proved inside: each limit moved in by the guard band.

    ILAC-G8:09/2019, 4.2.2, and UKAS LAB 48 Example 13. The two cross when no reading can be proved inside.

    Args:
        lower: Lower limit, or None. [mm]
        upper: Upper limit, or None. [mm]
        u: Standard uncertainty. [mm]
        sure: Wanted chance at one limit. [0.5 to below 1]

    Raises:
        OutOfRange: As `conformance` and `guard_band`.
    """
    _check(lower, upper, u)
    guard = guard_band(u, sure)
    return (
        None if lower is None else float(lower) + guard,
        None if upper is None else float(upper) - guard,
    )


def can_decide(
    lower: Length | None, upper: Length | None, u: float, sure: float = SURE, never_negative: bool = False
) -> bool:
    """Whether any reading at all could be proved inside: to be asked before the lesson.

    Ours, after JCGM 106:2012, 8.3.2: the guard bands of both limits must leave room between them, so the
    guard band may not be wider than half the tolerance. One limit alone leaves room always. A lower limit
    of zero is no limit for what cannot be negative; then the guard band may be as wide as the tolerance.

    Args:
        lower: Lower limit, or None. [mm]
        upper: Upper limit, or None. [mm]
        u: Standard uncertainty. [mm]
        sure: Wanted chance at one limit. [0.5 to below 1]
        never_negative: The quantity cannot be below zero, as a gap.
    """
    _check(lower, upper, u)
    if upper is None or (lower is None and not never_negative):
        return True
    if lower is None or (never_negative and lower <= 0):
        return guard_band(u, sure) <= upper
    return guard_band(u, sure) <= (upper - lower) / 2


def decide(
    value: Length,
    lower: Length | None,
    upper: Length | None,
    u: float,
    sure: float = SURE,
    never_negative: bool = False,
) -> Decision:
    """What a reading says about a tolerance.

    Four zones of ILAC-G8:09/2019, 4.2.3, with the guard band w of `guard_band`: *inside* when at least w
    within the limits, *outside* when more than w beyond one, and *probably* so in between. *This tool
    cannot tell* when no reading could be proved inside (`can_decide`), unless this one is proved outside:
    a crude tool still finds a gross error.

    Args:
        value: The reading. [mm]
        lower: Lower limit, or None. [mm]
        upper: Upper limit, or None. [mm]
        u: Standard uncertainty of the reading. [mm]
        sure: Wanted chance at one limit. [0.5 to below 1]
        never_negative: The quantity cannot be below zero, as a gap; a lower limit of zero is then no limit.

    Raises:
        OutOfRange: As `conformance` and `guard_band`.
    """
    chance = conformance_never_negative if never_negative else conformance
    probability, guard = chance(value, lower, upper, u), Fraction(guard_band(u, sure))
    floor = None if never_negative and lower is not None and lower <= 0 else lower
    if not _within(value, floor, upper, -guard):
        verdict = Verdict.OUTSIDE
    elif not can_decide(lower, upper, u, sure, never_negative):
        verdict = Verdict.CANNOT_TELL
    elif _within(value, floor, upper, guard):
        verdict = Verdict.INSIDE
    else:
        verdict = Verdict.PROBABLY_INSIDE if _within(value, floor, upper) else Verdict.PROBABLY_OUTSIDE
    return Decision(verdict, probability, float(guard))


@dataclass(frozen=True, slots=True)
class Misjudged:
    """How often a tool and a rule judge a whole batch wrongly. [share of all parts]"""

    bad_accepted: float
    good_rejected: float
    bad_among_accepted: float
    """[share of the accepted parts]"""


def misjudged(mean: float, spread: float, u: float, lower: float, upper: float, guard: float = 0.0) -> Misjudged:
    """How many parts of a batch are judged wrongly, both ways.

    JCGM 106:2012, clause 9, normal spread of true sizes and normal uncertainty; integrated by Simpson's rule.

    Args:
        mean: Of the true sizes. [mm]
        spread: Standard deviation of the true sizes, above 0. [mm]
        u: Standard uncertainty of one reading, above 0. [mm]
        lower: Lower limit. [mm]
        upper: Upper limit. [mm]
        guard: Parts are accepted this far inside the limits; negative for outside. [mm]

    Raises:
        OutOfRange: Limits in the wrong order, or no spread or uncertainty.
    """
    _check(lower, upper, u)
    if min(spread, u) <= 0:
        raise OutOfRange("a batch without spread, or a tool without uncertainty, has no such risk")
    sizes = NormalDist(mean, spread)

    def accepted(true: float) -> float:
        return sizes.pdf(true) * _between((lower + guard - true) / u, (upper - guard - true) / u)

    far = 9 * spread
    good_accepted = _integral(accepted, lower, upper)
    bad_accepted = _integral(accepted, min(lower, mean) - far, lower) + _integral(
        accepted, upper, max(upper, mean) + far
    )
    good = _between((lower - mean) / spread, (upper - mean) / spread)
    return Misjudged(bad_accepted, good - good_accepted, bad_accepted / (bad_accepted + good_accepted))


def _integral(function: Callable[[float], float], low: float, high: float, strips: int = 2000) -> float:
    width = (high - low) / strips
    inner = sum((4 if n % 2 else 2) * function(low + n * width) for n in range(1, strips))
    return (function(low) + inner + function(high)) * width / 3


def _between(low: float, high: float) -> float:
    """Share of the standard normal distribution between two values, precise in both tails."""
    if low > 0:
        low, high = -high, -low
    return max(0.0, erfc(-high / sqrt(2)) - erfc(-low / sqrt(2))) / 2


def _steps(limit: Length | None, value: Length, u: float, none: float) -> float:
    return none if limit is None else float(limit - value) / u


def _within(value: Length, lower: Length | None, upper: Length | None, guard: Fraction | int = 0) -> bool:
    return (lower is None or value >= lower + guard) and (upper is None or value <= upper - guard)


def _check(lower: Length | None, upper: Length | None, u: Length) -> None:
    if lower is None and upper is None:
        raise OutOfRange("a tolerance needs a lower limit, an upper limit or both")
    if lower is not None and upper is not None and lower > upper:
        raise OutOfRange(f"the lower limit {float(lower):g} is above the upper limit {float(upper):g}")
    if u < 0:
        raise OutOfRange(f"an uncertainty is never below zero, not {float(u):g}")


def _check_sure(sure: float) -> float:
    if not 0.5 <= sure < 1:
        raise OutOfRange(f"a wanted chance lies between 0.5 and below 1, not at {sure:g}")
    return sure


def _mean_uncertainty(sd: float, readings: int) -> float:
    if readings < 2:
        raise OutOfRange(f"a spread needs at least two readings, not {readings}")
    if sd <= 0:
        raise OutOfRange("equal readings show no spread; the uncertainty of the tool must serve instead")
    return sd / sqrt(readings)
