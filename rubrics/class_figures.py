"""What the readings of a whole class say: spread, capability, agreement of assessors, fitness of a gauge.

Means and sums of squares are exact, so large sizes with small deviations lose no digits; roots are floats.
Readings are lengths in mm unless said; any other unit does as well when it is the same throughout.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import inf, log, sqrt
from statistics import NormalDist

from shared.handbook.distributions import chi_square_below, chi_square_quantile, f_above
from shared.handbook.tables import ChartFactors, GaugeFactor, table
from shared.problems import OutOfRange

Number = Fraction | float | int

CONFIDENCE = 0.95
"""Of the intervals, two-sided; common practice."""
MANY = 25
"""Readings below which a capability should not be shown without its interval; common practice."""
POOLED_ABOVE = 0.25
"""Chance above which people and parts count as not interacting in a gauge study; common practice."""

_NORMAL = NormalDist()


def mean(values: Sequence[Number]) -> Fraction:
    """The mean, exact.

    Raises:
        OutOfRange: No values.
    """
    _at_least(values, 1)
    return sum(map(Fraction, values), Fraction(0)) / len(values)


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
    z, p = _z(confidence), count / total
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
    half = _z(confidence) * sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
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


def kappa(counts: Sequence[Sequence[Number]], weights: Sequence[Sequence[Number]] | None = None) -> Fraction:
    """Agreement of two assessors beyond chance; 1 is full agreement, 0 what chance gives.

    Cohen's kappa: (p_o - p_e) / (1 - p_e); weighted 1 - sum(w p) / sum(w e). Exact.

    Args:
        counts: How often the first assessor gave the row's level and the second the column's; or shares.
        weights: How bad each disagreement is, 0 where the two agree; None when all are alike.

    Raises:
        OutOfRange: A table that is not square, or in which both always give the same single level.
    """
    size = len(counts)
    if any(len(row) != size for row in counts) or (weights and [len(r) for r in weights] != [size] * size):
        raise OutOfRange("agreement needs a square table: the same levels for both assessors")
    cells = [[Fraction(cell) for cell in row] for row in counts]
    rows = [sum(row) for row in cells]
    columns = [sum(column) for column in zip(*cells, strict=True)]
    whole = sum(rows)
    places = [(i, j, Fraction(weights[i][j]) if weights else int(i != j)) for i in range(size) for j in range(size)]
    by_chance = sum(weight * rows[i] * columns[j] for i, j, weight in places)
    if not by_chance:
        raise OutOfRange("where only one level is ever given, agreement beyond chance has no meaning")
    return 1 - whole * sum(weight * cells[i][j] for i, j, weight in places) / by_chance


@dataclass(frozen=True, slots=True)
class Intraclass:
    """Intraclass correlations of Shrout and Fleiss (1979), of one rating and of the mean of all k. Exact."""

    one_way: Fraction
    """Each piece rated by other people, ICC(1,1)."""
    agreement: Fraction
    """Same people, who stand for any; a strict one counts as disagreement, ICC(2,1)."""
    consistency: Fraction
    """These very people; a strict one is forgiven, ICC(3,1)."""
    one_way_mean: Fraction
    """ICC(1,k)."""
    agreement_mean: Fraction
    """ICC(2,k)."""
    consistency_mean: Fraction
    """ICC(3,k)."""


def intraclass(scores: Sequence[Sequence[Number]]) -> Intraclass:
    """How much of the differences in scores lies in the pieces. Shrout and Fleiss (1979), Table 2.

    Args:
        scores: One row for each piece, in it one score from each person.

    Raises:
        OutOfRange: Fewer than two pieces or people, rows of different length, or no differences at all.
    """
    n, k = len(scores), len(scores[0]) if scores else 0
    if n < 2 or k < 2 or any(len(row) != k for row in scores):
        raise OutOfRange("every piece needs a score from every person, two of each at least")
    centre = mean([value for row in scores for value in row])
    pieces = k * sum((mean(row) - centre) ** 2 for row in scores)
    people = n * sum((mean(column) - centre) ** 2 for column in zip(*scores, strict=True))
    whole = sum((Fraction(value) - centre) ** 2 for row in scores for value in row)
    between = pieces / (n - 1)
    within = (whole - pieces) / (n * (k - 1))
    judges = people / (k - 1)
    error = (whole - pieces - people) / ((n - 1) * (k - 1))
    if not between:
        raise OutOfRange("pieces that do not differ say nothing about the people who score them")
    return Intraclass(
        one_way=(between - within) / (between + (k - 1) * within),
        agreement=(between - error) / (between + (k - 1) * error + Fraction(k, n) * (judges - error)),
        consistency=(between - error) / (between + (k - 1) * error),
        one_way_mean=(between - within) / between,
        agreement_mean=(between - error) / (between + (judges - error) / n),
        consistency_mean=(between - error) / between,
    )


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far one tool or reader differs from another."""

    bias: Fraction
    """Mean of first less second."""
    sd: float
    """Of the differences."""
    limits: Interval
    """Between which the given share of differences lies."""


def limits_of_agreement(first: Sequence[Number], second: Sequence[Number], confidence: float = CONFIDENCE) -> Agreement:
    """Between which limits two tools or readers differ: mean difference +- z deviations.

    Bland and Altman (1986); z is 1.96 for 95 %.

    Args:
        first: Readings of the first, piece by piece.
        second: Readings of the second, of the same pieces.
        confidence: Share of the differences. [0 to 1]

    Raises:
        OutOfRange: Lists of different length, or fewer than two pieces.
    """
    if len(first) != len(second):
        raise OutOfRange(f"each piece is read twice: {len(first)} readings do not pair with {len(second)}")
    off = [Fraction(a) - Fraction(b) for a, b in zip(first, second, strict=True)]
    spread = sd(off)
    bias, half = mean(off), _z(confidence) * spread
    return Agreement(bias, spread, Interval(float(bias) - half, float(bias) + half))


@dataclass(frozen=True, slots=True)
class LastDigits:
    """How evenly the last digits of readings fall."""

    counts: tuple[int, ...]
    """How many readings end in 0, 1, 2 and so on."""
    statistic: float
    chance: float
    """How often honest readings come out as uneven. [0 to 1]"""


def last_digits(values: Sequence[Fraction], step: Fraction, cycle: int = 10) -> LastDigits:
    """Chi-square of the last digits: guessed and copied readings pile up on 0 and 5, or on whole sixteenths.

    A talking point for a whole class or term, never a proof against a student; after Preece (1981), The
    Statistician 30(1). Five readings are wanted for each digit, and sizes that spread over a cycle of steps.

    Args:
        values: Readings.
        step: The smallest step they are written to.
        cycle: Steps after which the last digit comes round: 10, or 4 for sixty-fourths against sixteenths.

    Raises:
        OutOfRange: Too few readings, sizes too much alike, or a reading that is no whole number of steps.
    """
    if len(values) < 5 * cycle:
        raise OutOfRange(f"last digits need at least {5 * cycle} readings, not {len(values)}")
    if max(values) - min(values) < cycle * step:
        raise OutOfRange("sizes this much alike have uneven last digits anyway")
    steps = [Fraction(value) / step for value in values]
    if any(each.denominator != 1 for each in steps):
        raise OutOfRange(f"not every reading is a whole number of steps of {float(step):g}")
    found = Counter(each.numerator % cycle for each in steps)
    counts = tuple(found[digit] for digit in range(cycle))
    even = Fraction(len(values), cycle)
    statistic = float(sum((count - even) ** 2 for count in counts) / even)
    return LastDigits(counts, statistic, 1 - chi_square_below(statistic, cycle - 1))


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What of the spread of readings lies in the tool, the people and the parts; standard deviations."""

    repeatability: float
    """Same person, same part, again (EV)."""
    reproducibility: float
    """From person to person (AV)."""
    gauge: float
    """Both together (GRR)."""
    parts: float
    """From part to part (PV)."""

    @property
    def total(self) -> float:
        """All together (TV)."""
        return sqrt(self.gauge**2 + self.parts**2)

    @property
    def share_of_spread(self) -> float:
        """Of the gauge in all; under 0.1 is good, 0.1 to 0.3 may do, above is not usable. [0 to 1]"""
        return self.gauge / self.total

    @property
    def distinct(self) -> int:
        """How many sizes the gauge tells apart: 1.41 PV / GRR, cut to a whole number."""
        return int(1.41 * self.parts / self.gauge)

    def share_of_tolerance(self, lower: Number, upper: Number) -> float:
        """Six deviations of the gauge over the tolerance. [unitless]"""
        return 6 * self.gauge / float(upper - lower)


Readings = Mapping[str, Sequence[Sequence[Number]]]
"""By person, then trial, then part: `readings["A"][0]` is person A's first go through all parts."""


@dataclass(frozen=True, slots=True)
class RangeStudy:
    """A gauge study by averages and ranges, with what the sheet shows on the way."""

    study: GaugeStudy
    person_means: dict[str, Fraction]
    person_ranges: dict[str, Fraction]
    """Mean range of each person's repeats."""
    mean_range: Fraction
    largest_range: float
    """A range above it is a slip to be read again."""
    part_range: Fraction
    mean_difference: Fraction
    """Largest less smallest mean of a person."""


def gauge_by_ranges(readings: Readings) -> RangeStudy:
    """A gauge study by averages and ranges.

    AIAG, Measurement Systems Analysis, 4th edition; factors in `tables/gauge_factors.csv`, which has those for
    3 trials, 3 people and 10 parts only.

    Args:
        readings: By person, trial and part.

    Raises:
        OutOfRange: Uneven readings, or numbers of trials, people or parts without a factor.
    """
    people, trials, parts = _shape(readings)
    k1, d4 = _factor("K1", trials), _factor("D4", trials)
    k2, k3 = _factor("K2", people), _factor("K3", parts)
    means = {who: mean([v for trial in tries for v in trial]) for who, tries in readings.items()}
    ranges = {who: mean([_range(repeats) for repeats in zip(*tries, strict=True)]) for who, tries in readings.items()}
    by_part = [mean([trial[part] for tries in readings.values() for trial in tries]) for part in range(parts)]
    mean_range, mean_difference = mean(list(ranges.values())), _range(list(means.values()))
    repeatability = float(mean_range) * k1
    square = (float(mean_difference) * k2) ** 2 - repeatability**2 / (parts * trials)
    reproducibility = sqrt(max(0.0, square))
    study = GaugeStudy(
        repeatability=repeatability,
        reproducibility=reproducibility,
        gauge=sqrt(repeatability**2 + reproducibility**2),
        parts=float(_range(by_part)) * k3,
    )
    return RangeStudy(study, means, ranges, mean_range, float(mean_range) * d4, _range(by_part), mean_difference)


@dataclass(frozen=True, slots=True)
class VarianceStudy:
    """A gauge study by analysis of variance."""

    study: GaugeStudy
    interaction_chance: float
    """How often people who do not treat parts differently look as if they did. [0 to 1]"""
    pooled: bool
    """The interaction was small enough to be counted as repeatability."""


def gauge_by_variance(readings: Readings) -> VarianceStudy:
    """A gauge study by analysis of variance, for any numbers of people, trials and parts from two up.

    AIAG, Measurement Systems Analysis, 4th edition: two-way analysis with repeats; the interaction of people
    and parts is pooled with the repeats when its chance is above 0.25. Negative parts count as nothing.

    Args:
        readings: By person, trial and part.

    Raises:
        OutOfRange: Uneven readings, fewer than two people, trials or parts, or repeats that never differ.
    """
    people, trials, parts = _shape(readings)
    cells = [list(zip(*tries, strict=True)) for tries in readings.values()]
    every = [value for person in cells for cell in person for value in cell]
    centre = mean(every)
    of_people = parts * trials * sum((_centre(person) - centre) ** 2 for person in cells)
    of_parts = people * trials * sum((_centre(column) - centre) ** 2 for column in zip(*cells, strict=True))
    of_cells = trials * sum((mean(cell) - centre) ** 2 for person in cells for cell in person)
    whole = sum((Fraction(value) - centre) ** 2 for value in every)
    mixed, repeats = of_cells - of_people - of_parts, whole - of_cells
    if not repeats:
        raise OutOfRange("repeats that never differ show nothing about the gauge; read to a finer step")
    mixed_freedom, repeat_freedom = (people - 1) * (parts - 1), people * parts * (trials - 1)
    error = repeats / repeat_freedom
    chance = f_above(float(mixed / mixed_freedom / error), mixed_freedom, repeat_freedom)
    pooled = chance > POOLED_ABOVE
    if pooled:
        error = against = (mixed + repeats) / (mixed_freedom + repeat_freedom)
    else:
        against = mixed / mixed_freedom
    between_people = max(Fraction(0), of_people / (people - 1) - against) / (parts * trials)
    interaction = max(Fraction(0), against - error) / trials
    between_parts = max(Fraction(0), of_parts / (parts - 1) - against) / (people * trials)
    study = GaugeStudy(
        repeatability=sqrt(error),
        reproducibility=sqrt(between_people + interaction),
        gauge=sqrt(error + between_people + interaction),
        parts=sqrt(between_parts),
    )
    return VarianceStudy(study, chance, pooled)


def _shape(readings: Readings) -> tuple[int, int, int]:
    trials = {len(tries) for tries in readings.values()}
    parts = {len(trial) for tries in readings.values() for trial in tries}
    if len(trials) != 1 or len(parts) != 1 or min(len(readings), *trials, *parts) < 2:
        raise OutOfRange("a gauge study needs every person to read every part equally often, two of each at least")
    return len(readings), trials.pop(), parts.pop()


def _factor(name: str, count: int) -> float:
    known = {int(row.count): float(row.value) for row in table(GaugeFactor) if row.factor == name}
    if count not in known:
        what = {"K1": "trials", "D4": "trials", "K2": "people", "K3": "parts"}[name]
        raise OutOfRange(f"there is no factor for {count} {what}; use the analysis of variance")
    return known[count]


def _centre(groups: Sequence[Sequence[Number]]) -> Fraction:
    return mean([value for group in groups for value in group])


def _range(values: Sequence[Number]) -> Fraction:
    return Fraction(max(values)) - Fraction(min(values))


def _deviations(values: Sequence[Number]) -> list[Fraction]:
    centre = mean(values)
    return [Fraction(value) - centre for value in values]


def _variance(values: Sequence[Number]) -> Fraction:
    _at_least(values, 2)
    return sum(each**2 for each in _deviations(values)) / (len(values) - 1)


def _at_least(values: Sequence[object], count: int) -> None:
    if len(values) < count:
        raise OutOfRange(f"this figure needs at least {count} values, not {len(values)}")


def _spread(value: Number) -> None:
    if value <= 0:
        raise OutOfRange("readings that do not differ have no spread to compare")


def _z(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise OutOfRange(f"a confidence lies between 0 and 1, not at {confidence:g}")
    return _NORMAL.inv_cdf((1 + confidence) / 2)
