"""Whether people who read or judge the same thing agree, and whether readings were really read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from rubrics.class_figures import CONFIDENCE, Interval, Number, deviations_for, mean, sd
from shared.handbook.distributions import chi_square_below
from shared.problems import OutOfRange


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


def _squares(values: Iterable[Fraction]) -> Fraction:
    return sum((value * value for value in values), Fraction(0))


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
    pieces = k * _squares(mean(row) - centre for row in scores)
    people = n * _squares(mean(column) - centre for column in zip(*scores, strict=True))
    whole = _squares(Fraction(value) - centre for row in scores for value in row)
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
    bias, half = mean(off), deviations_for(confidence) * spread
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
