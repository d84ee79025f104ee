"""Equilibrium moisture content of wood: Wood Handbook, chapter 4."""

from __future__ import annotations

from fractions import Fraction

from shared.handbook.tables import EmcConstants, table
from shared.problems import OutOfRange

COLDEST, HOTTEST = Fraction(30), Fraction(270)
"""Degrees Fahrenheit that Table 4-2, made from Eq. 4-5, covers."""
DRIEST, DAMPEST = Fraction(5), Fraction(95)
"""Percent relative humidity that Table 4-2 covers."""


def emc_celsius(temperature: Fraction | int, humidity: Fraction | int) -> Fraction:
    """The moisture content wood comes to in air of a temperature and humidity.

    Wood Handbook, FPL-GTR-282 (2021), p. 4-3, Eq. 4-5 with the constants for degrees Celsius. The handbook
    says that steps of 0.1 % show the trend only: single pieces differ, the more so in damp air.

    Args:
        temperature: [degrees Celsius]
        humidity: Relative humidity. [%]

    Returns:
        Moisture content. [% of the ovendry weight]

    Raises:
        OutOfRange: Outside Table 4-2, which runs from 30 to 270 F and from 5 to 95 % humidity.
    """
    _check(Fraction(temperature) * Fraction(9, 5) + 32, humidity)
    return _equation_4_5("celsius", Fraction(temperature), Fraction(humidity) / 100)


def emc_fahrenheit(temperature: Fraction | int, humidity: Fraction | int) -> Fraction:
    """The moisture content wood comes to in air of a temperature and humidity.

    Wood Handbook, FPL-GTR-282 (2021), p. 4-3, Eq. 4-5 with the constants for degrees Fahrenheit.

    Args:
        temperature: [degrees Fahrenheit]
        humidity: Relative humidity. [%]

    Returns:
        Moisture content. [% of the ovendry weight]

    Raises:
        OutOfRange: As `emc_celsius`.
    """
    _check(Fraction(temperature), humidity)
    return _equation_4_5("fahrenheit", Fraction(temperature), Fraction(humidity) / 100)


def _check(fahrenheit: Fraction, humidity: Fraction | int) -> None:
    if not COLDEST <= fahrenheit <= HOTTEST:
        raise OutOfRange(
            f"the moisture equation holds from 30 to 270 F (-1.1 to 132.2 C), not at {float(fahrenheit):.1f} F"
        )
    if not DRIEST <= humidity <= DAMPEST:
        raise OutOfRange(f"the moisture equation holds from 5 to 95 % relative humidity, not at {float(humidity):g} %")


def _equation_4_5(scale: str, temperature: Fraction, humidity: Fraction) -> Fraction:
    w, k, k1, k2 = (_constant(row, temperature) for row in table(EmcConstants) if row.scale == scale)
    x = k * humidity
    return 1800 / w * (x / (1 - x) + (k1 * x + 2 * k1 * k2 * x**2) / (1 + k1 * x + k1 * k2 * x**2))


def _constant(row: EmcConstants, temperature: Fraction) -> Fraction:
    return row.constant + row.linear * temperature + row.square * temperature**2
