"""How wood changes size with moisture: Wood Handbook, chapters 4 and 13.

Moisture contents are percent of the ovendry weight; changes are positive when the wood grows. Average
coefficients describe a species and not a board, so a result is printed with "about".
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction

from shared.handbook.tables import Movement, SheetMovement, table
from shared.problems import OutOfRange

Number = int | Fraction

LOWEST, HIGHEST = Fraction(6), Fraction(14)
"""Moisture contents between which Eq. 13-2 holds. [%]"""
FIBER_SATURATION = Fraction(30)
"""Moisture content above which wood is taken to keep its size. [%]"""
TABLE_MOISTURE = Fraction(10)
"""Moisture content at which Table 13-5 was worked out from Table 4-3 by Eq. 13-3. [%]"""


class Cut(Enum):
    """How the growth rings lie in a board."""

    FLATSAWN = "flatsawn"
    QUARTERSAWN = "quartersawn"
    UNKNOWN = "unknown"
    """Unknown or mixed: taken as flatsawn, which errs to the safe side for a groove."""


def coefficient(species: Movement, cut: Cut) -> Fraction:
    """The coefficient of a species for a cut: radial when quartersawn, else tangential.

    Wood Handbook, FPL-GTR-190 (2010), p. 13-15: tangential for flatsawn boards, radial for quartersawn.
    That an unknown cut counts as flatsawn is our choice.

    Returns:
        [1/percentage point]
    """
    return species.radial if cut is Cut.QUARTERSAWN else species.tangential


def change_by_coefficient(width: Fraction, coefficient: Fraction, start: Number, end: Number) -> Fraction:
    """Change of a board's size across the grain, by its coefficient.

    Wood Handbook, FPL-GTR-190 (2010), p. 13-15, Eq. 13-2.

    Args:
        width: Across the grain at the start. [mm]
        coefficient: Radial or tangential, of Table 13-5. [1/percentage point]
        start: Moisture content at which the width was measured. [%]
        end: Moisture content it comes to. [%]

    Returns:
        [mm], positive when the board grows.

    Raises:
        OutOfRange: A moisture content below 6 or above 14 %.
    """
    for moisture in (start, end):
        if not LOWEST <= moisture <= HIGHEST:
            raise OutOfRange(
                f"the movement coefficients hold from 6 to 14 % moisture content, not at {float(moisture):g} %"
            )
    return width * coefficient * (end - start)


def change_by_shrinkage(
    width: Fraction,
    shrinkage: Fraction,
    start: Number,
    end: Number,
    shrinkage_start: Number = FIBER_SATURATION,
) -> Fraction:
    """Change of a board's size across the grain, by its shrinkage from green to ovendry.

    Wood Handbook, FPL-GTR-190 (2010), p. 13-17, Eq. 13-3; it follows from shrinkage along a straight line.

    Args:
        width: Across the grain at the start. [mm]
        shrinkage: Radial or tangential, of Table 4-3. [% of the green size]
        start: Moisture content at which the width was measured. [%]
        end: Moisture content it comes to. [%]
        shrinkage_start: Moisture content below which the species shrinks: 30, or 22 for a few. [%]

    Returns:
        [mm], positive when the board grows.

    Raises:
        OutOfRange: A moisture content below 0 or above the start of shrinkage.
    """
    _check_shrinking(start, shrinkage_start)
    _check_shrinking(end, shrinkage_start)
    return width * (end - start) / (shrinkage_start * 100 / shrinkage - shrinkage_start + start)


def coefficient_from_shrinkage(shrinkage: Fraction, shrinkage_start: Number = FIBER_SATURATION) -> Fraction:
    """The coefficient of Table 13-5 that a shrinkage of Table 4-3 gives.

    Wood Handbook, FPL-GTR-190 (2010), Eq. 13-3 for one point at 10 % moisture content; rounded to five
    decimals it is the printed figure.

    Args:
        shrinkage: [% of the green size]
        shrinkage_start: Moisture content below which the species shrinks. [%]

    Returns:
        [1/percentage point]
    """
    return change_by_shrinkage(Fraction(1), shrinkage, TABLE_MOISTURE, TABLE_MOISTURE + 1, shrinkage_start)


def across_grain(
    width: Fraction,
    coefficient: Fraction,
    start: Number,
    end: Number,
    shrinkage_start: Number = FIBER_SATURATION,
) -> Fraction:
    """Change of a board's size across the grain, by the equation the handbook gives for its moisture.

    Eq. 13-2 from 6 to 14 %; outside, Eq. 13-3 with the shrinkage that the coefficient implies
    (`coefficient_from_shrinkage` turned round). The two agree within 2 % of the movement where they meet.

    Args:
        width: Across the grain at the start. [mm]
        coefficient: Radial or tangential, of Table 13-5. [1/percentage point]
        start: Moisture content at which the width was measured. [%]
        end: Moisture content it comes to. [%]
        shrinkage_start: Of the species, from its row of the table. [%]

    Returns:
        [mm], positive when the board grows.

    Raises:
        OutOfRange: A moisture content below 0 or above the start of shrinkage.
    """
    if all(LOWEST <= moisture <= HIGHEST for moisture in (start, end)):
        return change_by_coefficient(width, coefficient, start, end)
    shrinkage = 100 * shrinkage_start / (1 / coefficient - TABLE_MOISTURE + shrinkage_start)
    return change_by_shrinkage(width, shrinkage, start, end, shrinkage_start)


def shrinkage_to(shrinkage: Fraction, moisture: Number, shrinkage_start: Number = FIBER_SATURATION) -> Fraction:
    """Shrinkage from green to a moisture content.

    Wood Handbook, FPL-GTR-282 (2021), p. 4-10, Eq. 4-9.

    Args:
        shrinkage: From green to ovendry, of Table 4-3. [% of the green size]
        moisture: [%]
        shrinkage_start: Fiber saturation point; 30 when it is not known. [%]

    Returns:
        [% of the green size]

    Raises:
        OutOfRange: A moisture content below 0 or above fiber saturation.
    """
    _check_shrinking(moisture, shrinkage_start)
    return shrinkage * (1 - Fraction(moisture) / shrinkage_start)


def _check_shrinking(moisture: Number, shrinkage_start: Number) -> None:
    if not 0 <= moisture <= shrinkage_start:
        raise OutOfRange(
            f"wood is taken to shrink between {float(shrinkage_start):g} and 0 % moisture content, "
            f"not at {float(moisture):g} %"
        )


def plywood_change(size: Fraction, start: Number, end: Number) -> Fraction:
    """Change of the length or width of a softwood plywood sheet with the humidity of the air.

    Trade association statement, as in `tables/sheet_movement.csv`: 0.0002 of the size per 10 points.

    Args:
        size: Length or width. [mm]
        start: Relative humidity at which it was cut. [%]
        end: Relative humidity it comes to. [%]

    Returns:
        [mm], positive when the sheet grows.

    Raises:
        OutOfRange: A humidity below 0 or above 100 %.
    """
    for humidity in (start, end):
        if not 0 <= humidity <= 100:
            raise OutOfRange(f"relative humidity lies between 0 and 100 %, not at {float(humidity):g} %")
    share = next(row.value for row in table(SheetMovement) if row.what == "plywood")
    return size * share * Fraction(end - start) / 10
