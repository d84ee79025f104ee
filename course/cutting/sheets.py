"""Prices sheets and boards of all sizes of a job by edge to edge cutting patterns."""

from __future__ import annotations

from collections.abc import Sequence

from course.cutting.model import Stages
from course.cutting.prepare import Blank, Prepared
from course.cutting.pricing import Best, Passes, PlatePricer, rungs
from course.cutting.recipe import Recipe

MOST_STEPS = 2_000_000_000
"""More work than this in a table of many stages, and it is made on a coarser grid."""

MOST_POINTS = 5000
"""Cut positions of all stock, up to which pricing of two stages is quick."""


class SheetPricing:
    """Patterns of few stages first, then of all that are allowed."""

    counted = False
    """Patterns may give more of a part than is left to cut."""

    def __init__(self, job: Prepared, kerf: int, stages: Stages) -> None:
        self.job, self.kerf = job, kerf
        self.families = rungs(stages)
        self.rungs = len(self.families)
        self.fine = tuple(self._pricer(blank, 1, True) for blank in job.blanks)
        """Exact sizes, for patterns of two stages."""
        staged = any(len(passes) != 2 for passes in self.families[-1])
        self.plates = tuple(self._coarse(n, True) for n in range(len(job.blanks))) if staged else self.fine
        """Sizes rounded up where the exact ones are too much work."""
        self.above = tuple(self._coarse(n, False) for n in range(len(job.blanks))) if staged else self.fine
        """The same rounded down, for the bound."""
        self._limits: tuple[list[int], dict[tuple[int, Passes], Best]] = ([], {})

    @property
    def quick(self) -> bool:
        """Worth asking at every step of a dive: few points, and not the kind of job that placing rules finish."""
        points = sum(len(points) for plate in self.fine for points in plate.points)
        return points <= MOST_POINTS and (self.families[-1] != ((),) or len(self.fine) > 1)

    @property
    def exact(self) -> bool:
        """No stock needs a coarser grid."""
        return all(plate is fine for plate, fine in zip(self.plates, self.fine, strict=True))

    @property
    def grids(self) -> tuple[int, ...]:
        """The grid of the bound for each stock. [units]"""
        return tuple(plate.grid for plate in self.above)

    def _pricer(self, blank: Blank, grid: int, up: bool) -> PlatePricer:
        shapes = [(n, self.job.shapes[n]) for n in blank.shapes]
        return PlatePricer(blank.length, blank.width, shapes, blank.defects, self.kerf, grid, up)

    def _coarse(self, number: int, up: bool) -> PlatePricer:
        """On the finest grid that is not too much work, and finer than the thinnest part."""
        found, grid = self.fine[number], 1
        thinnest = min(min(shape.length, shape.width) for shape in self.job.shapes)
        while found.steps > MOST_STEPS and 2 * grid <= thinnest:
            grid *= 2
            found = self._pricer(self.job.blanks[number], grid, up)
        return found

    def columns(self, worth: Sequence[int], rung: int, left: Sequence[int]) -> list[tuple[int, int, Recipe]]:
        """Number of the stock, value and recipe of good patterns; `left` is not used."""
        known = self._limits[1] if list(worth) == self._limits[0] else {}
        found = []
        for number in range(len(self.fine)):
            for passes in self.families[rung]:
                plate = self.fine[number] if len(passes) == 2 else self.plates[number]
                if plate.defects:
                    best = plate.around_defects(worth, passes)
                elif (number, passes) in known and plate is self.above[number]:
                    best = known[number, passes]
                else:
                    best = plate.best(worth, passes)
                found.append((number, best.value, best.recipe))
        return found

    def limits(self, worth: Sequence[int]) -> list[int]:
        """The most that one piece of each stock can give, defects left aside."""
        known = {
            (number, passes): plate.best(worth, passes)
            for number, plate in enumerate(self.above)
            for passes in self.families[-1]
        }
        self._limits = (list(worth), known)
        return [max(known[n, passes].value for passes in self.families[-1]) for n in range(len(self.above))]
