"""Whether a tool is fit for its readings: how much of their spread lies in the tool, in the people, in the parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

from rubrics.class_figures import Number, mean
from shared.handbook.distributions import f_above
from shared.handbook.tables import GaugeFactor, table
from shared.problems import OutOfRange

POOLED_ABOVE = 0.25
"""Chance above which people and parts count as not interacting in a gauge study; common practice."""


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
