"""Prices sheets and boards of all sizes of a job by edge to edge cutting patterns."""

from __future__ import annotations

from collections.abc import Sequence

from course.cutting.model import Stages
from course.cutting.prepare import Prepared
from course.cutting.pricing import PlatePricer, rungs
from course.cutting.recipe import Recipe


class SheetPricing:
    """Patterns of few stages first, then of all that are allowed."""

    counted = False
    """Patterns may give more of a part than is left to cut."""

    def __init__(self, job: Prepared, kerf: int, stages: Stages) -> None:
        self.job = job
        self.families = rungs(stages)
        self.rungs = len(self.families)
        self.plates = tuple(
            PlatePricer(b.length, b.width, [(n, job.shapes[n]) for n in b.shapes], b.defects, kerf) for b in job.blanks
        )

    def columns(self, worth: Sequence[int], rung: int, left: Sequence[int]) -> list[tuple[int, int, Recipe]]:
        """Number of the stock, value and recipe of good patterns; `left` is not used."""
        found = []
        for number, plate in enumerate(self.plates):
            for passes in self.families[rung]:
                best = plate.best(worth, passes) if not plate.defects else plate.around_defects(worth, passes)
                found.append((number, best.value, best.recipe))
        return found

    def limits(self, worth: Sequence[int]) -> list[int]:
        """The most that one piece of each stock can give, defects left aside."""
        return [max(p.best(worth, passes).value for passes in self.families[-1]) for p in self.plates]
