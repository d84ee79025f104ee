"""What the readings of a whole class say: mean and spread, shares inside, capability, limits for control.

Means and sums of squares are exact, so large sizes with small deviations lose no digits; roots are floats.
Readings are lengths in mm unless said; any other unit does as well when it is the same throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import inf, log, sqrt
from statistics import NormalDist

from shared.handbook.distributions import chi_square_below, chi_square_quantile
from shared.handbook.tables import ChartFactors, table
from shared.problems import OutOfRange

Number = Fraction | float | int

CONFIDENCE = 0.95
"""Of the intervals, two-sided; common practice."""
MANY = 25
"""Readings below which a capability should not be shown without its interval; common practice."""

_NORMAL = NormalDist()


def mean(values: Sequence[Number]) -> Fraction:
    """The mean, exact.

    Raises:
        OutOfRange: No values.
    """
    _at_least(values, 1)
    return sum((Fraction(value) for value in values), Fraction(0)) / len(values)


def sd(values: Sequence[Number]) -> float:
    """The sample standard deviation, with n - 1.

    Raises:
        OutOfRange: Fewer than two values.
    """
    return sqrt(_variance(values))


def lag_one(values: Sequence[Number]) -> float:
    """How far each reading goes with the one before: lag-one autocorrelation, -1 to 1.

    NIST Statistical Reference Datasets: sum of (x_i - m)(x_(i-1) - m) over sum of (x_i - m)^2. Far from
    zero it shows drift, as of a fence that creeps or a cutter that dulls.

    Args:
        values: In the order they were made.

    Raises:
        OutOfRange: Fewer than two values, or all equal.
    """
    _at_least(values, 2)
    off = _deviations(values)
    whole = sum(each**2 for each in off)
    if not whole:
        raise OutOfRange("equal readings show no drift")
    return float(sum(a * b for a, b in pairwise(off)) / whole)


def deviations_for(confidence: float) -> float:
    """How many deviations either side of the mean hold a share of a normal spread, as 1.96 for 0.95.

    Raises:
        OutOfRange: No share between 0 and 1.
    """
    if not 0 < confidence < 1:
        raise OutOfRange(f"a confidence lies between 0 and 1, not at {confidence:g}")
    return _NORMAL.inv_cdf((1 + confidence) / 2)


def share_inside(values: Sequence[Number], lower: Number | None, upper: Number | None) -> Fraction:
    """The share of readings within the limits, as counted.

    Args:
        values: Readings.
        lower: Lower limit, or None.
        upper: Upper limit, or None.

    Raises:
        OutOfRange: No values.
    """
    _at_least(values, 1)
    inside = sum((lower is None or v >= lower) and (upper is None or v <= upper) for v in values)
    return Fraction(inside, len(values))


@dataclass(frozen=True, slots=True)
class Interval:
    """Between which two values something lies, with the confidence asked for."""

    low: float
    high: float


def share_interval(count: int, total: int, confidence: float = CONFIDENCE) -> Interval:
    """Between which shares the true one lies, when so many of a total were counted.

    Wilson score interval: the shares p with (count/total - p)^2 <= z^2 p (1 - p) / total.

    Args:
        count: How many had the property, as being inside.
        total: Of how many.
        confidence: [0 to 1]

    Raises:
        OutOfRange: A count outside 0 to total, or no total.
    """
    if not 0 <= count <= total or total < 1:
        raise OutOfRange(f"{count} of {total} is no share")
    z, p = deviations_for(confidence), count / total
    middle = p + z * z / (2 * total)
    half = z * sqrt(p * (1 - p) / total + (z / (2 * total)) ** 2)
    scale = 1 + z * z / total
    return Interval(max(0.0, min(p, (middle - half) / scale)), min(1.0, max(p, (middle + half) / scale)))


def expected_outside(mean: float, sd: float, lower: Number | None, upper: Number | None) -> float:
    """The share a normal spread puts outside the limits: Phi((L - m)/s) + 1 - Phi((U - m)/s).

    Args:
        mean: Of the sizes.
        sd: Their standard deviation, above 0.
        lower: Lower limit, or None.
        upper: Upper limit, or None.

    Raises:
        OutOfRange: No spread.
    """
    _spread(sd)
    below = 0.0 if lower is None else _NORMAL.cdf(float(lower - mean) / sd)
    above = 0.0 if upper is None else _NORMAL.cdf(float(mean - upper) / sd)
    return below + above


@dataclass(frozen=True, slots=True)
class Capability:
    """How the spread of a class compares with a tolerance. [unitless]"""

    readings: int
    mean: float
    sd: float
    cp: float | None
    """Tolerance over six deviations; None with one limit only."""
    cp_interval: Interval | None
    cpk: float
    """Distance of the mean to the nearer limit, over three deviations."""
    cpk_interval: Interval

    @property
    def few(self) -> bool:
        """Too few readings to show the figures without their intervals."""
        return self.readings < MANY


def capability(
    values: Sequence[Number], lower: Number | None, upper: Number | None, confidence: float = CONFIDENCE
) -> Capability:
    """Cp and Cpk of a class with their intervals; for a settled process, about normal, and a fit gauge.

    Cp = (U - L) / 6s, Cpk = min((U - m), (m - L)) / 3s. The interval of Cp follows chi-square, that of Cpk is
    Cpk +- z sqrt(1 / 9n + Cpk^2 / 2(n - 1)), as in the SAS/QC user guide, Example 5.3 and sample CPCON.

    Args:
        values: Readings.
        lower: Lower limit, or None.
        upper: Upper limit, or None.
        confidence: Of the intervals. [0 to 1]

    Raises:
        OutOfRange: Fewer than two values, all equal, or no limit.
    """
    if lower is None and upper is None:
        raise OutOfRange("a capability needs a lower limit, an upper limit or both")
    m, s, n = mean(values), sd(values), len(values)
    _spread(s)
    to_upper = inf if upper is None else float(Fraction(upper) - m)
    to_lower = inf if lower is None else float(m - Fraction(lower))
    cpk = min(to_upper, to_lower) / (3 * s)
    half = deviations_for(confidence) * sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
    cp, cp_interval = None, None
    if lower is not None and upper is not None:
        cp = float(Fraction(upper) - Fraction(lower)) / (6 * s)
        cp_interval = _cp_interval(cp, n, confidence)
    return Capability(n, float(m), s, cp, cp_interval, cpk, Interval(cpk - half, cpk + half))


def _cp_interval(cp: float, n: int, confidence: float) -> Interval:
    tail = (1 - confidence) / 2
    low, high = (chi_square_quantile(share, n - 1) for share in (tail, 1 - tail))
    return Interval(cp * sqrt(low / (n - 1)), cp * sqrt(high / (n - 1)))


def cpm(values: Sequence[Number], lower: Number, upper: Number, target: Number) -> float:
    """Cpm, which counts being off target as spread: (U - L) / (6 sqrt(s^2 + (m - target)^2)). [unitless]

    Raises:
        OutOfRange: Fewer than two values, or all equal and on target.
    """
    square = _variance(values) + (mean(values) - Fraction(target)) ** 2
    _spread(square)
    return float(Fraction(upper) - Fraction(lower)) / (6 * sqrt(square))


@dataclass(frozen=True, slots=True)
class Spreads:
    """Whether several groups scatter alike."""

    statistic: float
    chance: float
    """How often groups that scatter alike differ as much. [0 to 1]"""


def bartlett(groups: Sequence[Sequence[Number]]) -> Spreads:
    """Bartlett's test of equal spread, as NIST/SEMATECH e-Handbook 1.3.5.7 applies it to gear diameters.

    Args:
        groups: Readings by student, machine or batch; about normal.

    Raises:
        OutOfRange: Fewer than two groups, a group of fewer than two, or one without spread.
    """
    if len(groups) < 2:
        raise OutOfRange("spreads are compared between at least two groups")
    freedoms = [len(group) - 1 for group in groups]
    variances = [_variance(group) for group in groups]
    for each in variances:
        _spread(each)
    freedom = sum(freedoms)
    pooled = sum(f * v for f, v in zip(freedoms, variances, strict=True)) / freedom
    weighed = sum(f * log(pooled / v) for f, v in zip(freedoms, variances, strict=True))
    correction = 1 + (sum(1 / f for f in freedoms) - 1 / freedom) / (3 * (len(groups) - 1))
    statistic = weighed / correction
    return Spreads(statistic, 1 - chi_square_below(statistic, len(groups) - 1))


@dataclass(frozen=True, slots=True)
class ControlLimits:
    """Between what the means and the ranges of small groups stay while nothing changes."""

    mean: Fraction
    means: Interval
    range: Fraction
    ranges: Interval


def control_limits(groups: Sequence[Sequence[Number]]) -> ControlLimits:
    """Limits for means and ranges of equal small groups, three deviations either way.

    Factors A2 = 3 / (d2 sqrt n), D3 and D4 = 1 -+ 3 d3 / d2 from `tables/chart_factors.csv`.

    Args:
        groups: In the order made, 2 to 10 readings each.

    Raises:
        OutOfRange: No groups, groups of different size, or a size the table does not have.
    """
    _at_least(groups, 1)
    sizes = {len(group) for group in groups}
    factors = {int(row.readings): row for row in table(ChartFactors)}
    if len(sizes) != 1 or not sizes <= factors.keys():
        raise OutOfRange("control limits need groups of one size, from 2 to 10 readings")
    size = sizes.pop()
    d2, d3 = float(factors[size].d2), float(factors[size].d3)
    centre = mean([mean(group) for group in groups])
    spread = mean([max(group) - min(group) for group in groups])
    half = float(spread) * 3 / (d2 * sqrt(size))
    return ControlLimits(
        mean=centre,
        means=Interval(float(centre) - half, float(centre) + half),
        range=spread,
        ranges=Interval(
            float(spread) * max(0.0, 1 - 3 * d3 / d2),
            float(spread) * (1 + 3 * d3 / d2),
        ),
    )


def _deviations(values: Sequence[Number]) -> list[Fraction]:
    centre = mean(values)
    return [Fraction(value) - centre for value in values]


def _variance(values: Sequence[Number]) -> Fraction:
    _at_least(values, 2)
    return sum((each * each for each in _deviations(values)), Fraction(0)) / (len(values) - 1)


def _at_least(values: Sequence[object], count: int) -> None:
    if len(values) < count:
        raise OutOfRange(f"this figure needs at least {count} values, not {len(values)}")


def _spread(value: Number) -> None:
    if value <= 0:
        raise OutOfRange("readings that do not differ have no spread to compare")
