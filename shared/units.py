"""Lengths: exact inside, read from and printed as millimetres, decimal inches and inch fractions.

A length is a `Fraction` of a millimetre everywhere in the program; one inch is exactly 25.4 mm.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

INCH = Fraction(254, 10)
"""One inch in millimetres, exact by the international yard and pound agreement of 1959."""

UNITS = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": INCH,
    "inch": INCH,
    "inches": INCH,
    '"': INCH,
    "''": INCH,
    "\u2033": INCH,
    "\u201d": INCH,
    "ft": 12 * INCH,
    "'": 12 * INCH,
}
"""What may stand behind a number, in millimetres."""

_VULGAR = {
    "\u00bd": "1/2", "\u00bc": "1/4", "\u00be": "3/4", "\u215b": "1/8", "\u215c": "3/8", "\u215d": "5/8",
    "\u215e": "7/8", "\u2153": "1/3", "\u2154": "2/3",
}  # fmt: skip
_NUMBER = re.compile(
    r"""(?P<sign>[-+]?)\s*
    (?: (?P<whole>\d{1,9})[\s-]+(?P<n1>\d{1,6})\s*/\s*(?P<d1>\d{1,6})
      | (?P<n2>\d{1,9})\s*/\s*(?P<d2>\d{1,6})
      | (?P<decimal>(?:\d{1,9}(?:[.,]\d{0,12})?|[.,]\d{1,12})) )
    \s*(?P<unit>[A-Za-z"'\u2033\u201d\u2019]*)\s*""",
    re.VERBOSE,
)


class NotALength(ValueError):
    """Text that cannot be read as a length; its words say why and what to write."""


def length(text: str, unit: str = "") -> Fraction:
    """A length in millimetres from `364 mm`, `14 3/8"`, `14-3/8 in`, `30,2`, `.25 in`.

    A fraction without a unit is inches whatever the declared unit: nobody writes fractions of a millimetre.

    Args:
        text: As typed; a comma or a point may stand before the decimals.
        unit: What a bare number means; empty when it must not be guessed.

    Raises:
        NotALength: No number, an unknown unit, a zero denominator, or no unit and none declared.
    """
    value, found = number_and_unit(text)
    name = found or unit
    if not name:
        raise NotALength(f"'{text.strip()}' has no unit; write '{text.strip()} mm' or '{text.strip()} in'")
    return value * UNITS[name]


def number_and_unit(text: str) -> tuple[Fraction, str]:
    """The exact number and the unit behind it (empty when there is none; `in` for a bare fraction).

    Raises:
        NotALength: As `length`.
    """
    plain = text.replace("\u00a0", " ").replace("\u2044", "/").replace("\u2212", "-").strip()
    for sign, spelled in _VULGAR.items():
        plain = plain.replace(sign, " " + spelled)
    plain = plain.strip().replace("\u2019", "'")
    match = _NUMBER.fullmatch(plain)
    if not match:
        raise NotALength(f"'{text.strip()}' is not a length; write it as 30.2, 1 3/16 or 1-3/16\"")
    unit = match["unit"].lower()
    if unit and unit not in UNITS:
        raise NotALength(f"'{match['unit']}' is not a unit of length here; use mm, cm, m, in or ft")
    top, bottom = match["n1"] or match["n2"], match["d1"] or match["d2"]
    if bottom:
        if int(bottom) == 0:
            raise NotALength(f"'{text.strip()}' divides by zero; write it as 1 3/16")
        value = Fraction(int(match["whole"] or 0)) + Fraction(int(top), int(bottom))
        unit = unit or "in"
    else:
        value = Fraction(match["decimal"].replace(",", "."))
    return (-value if match["sign"] == "-" else value), unit


@dataclass(frozen=True, slots=True)
class Shown:
    """How lengths are printed for one reader."""

    unit: str = "mm"
    """`mm` or `in`."""
    places: int = 1
    """Decimals of a millimetre, or of an inch when `parts` is 0."""
    parts: int = 64
    """Finest part of an inch for fractions; 0 for decimal inches."""

    @property
    def unit_word(self) -> str:
        """The unit in a sentence, where `in` would be read as a preposition."""
        return "inches" if self.unit == "in" else self.unit

    def size(self, value: Fraction) -> str:
        """A length with its unit; the parts of one size never split over two lines."""
        return f"{self.bare(value)}\u00a0{self.unit}"

    def bare(self, value: Fraction) -> str:
        """A length without its unit."""
        if self.unit == "mm":
            return decimal(value, self.places)
        if self.parts == 0:
            return decimal(value / INCH, self.places)
        return fraction(value / INCH, self.parts)

    @property
    def mark(self) -> Fraction:
        """The smallest step that `bare` prints. [mm]"""
        if self.unit == "mm":
            return Fraction(1, 10**self.places)
        return INCH / (self.parts or 10**self.places)

    @property
    def fine_mark(self) -> Fraction:
        """The smallest step that `fine` prints. [mm]"""
        return Fraction(1, 10 ** (self.places + 1)) if self.unit == "mm" else INCH / 1000

    def fine(self, value: Fraction) -> str:
        """A small length with its unit, a digit finer than `size`: fits, clearances, shims."""
        if self.unit == "mm":
            return f"{decimal(value, self.places + 1)}\u00a0mm"
        return f"{decimal(value / INCH, 3)}\u00a0in"

    def fine_bare(self, value: Fraction) -> str:
        """As `fine`, without the unit."""
        return self.fine(value).split("\u00a0")[0]


MM = Shown()
INCHES = Shown("in", 3, 64)
SHOWN = {"mm": MM, "in": INCHES, "decimal in": Shown("in", 3, 0)}
"""What may stand under `units`, and how it prints."""


def same_digits(values: Sequence[Fraction], shown: Shown) -> list[str]:
    """Sizes without their unit, all with as many decimals as the one that needs most."""
    texts = [shown.fine_bare(value) for value in values]
    most = max(len(text.partition(".")[2]) for text in texts)
    return [f"{text.partition('.')[0]}.{text.partition('.')[2].ljust(most, '0')}" for text in texts]


def round_half_even(value: Fraction) -> int:
    """The nearest whole number; a tie goes to the even one, so that repeated rounding does not drift."""
    return round(value)


def decimal(value: Fraction, places: int) -> str:
    """A number with at most so many decimals, trailing zeros dropped to one decimal, ties to even."""
    scaled = round_half_even(abs(value) * 10**places)
    sign = "-" if value < 0 and scaled else ""
    whole, rest = divmod(scaled, 10**places)
    digits = str(rest).zfill(places).rstrip("0") if places else ""
    if places:
        digits = digits or "0"
    return f"{sign}{whole}.{digits}" if digits else f"{sign}{whole}"


def fraction(inches: Fraction, parts: int) -> str:
    """A number of inches as a mixed fraction, in lowest terms, to the nearest part; ties to even."""
    count = round_half_even(abs(inches) * parts)
    sign = "-" if inches < 0 and count else ""
    whole, rest = divmod(count, parts)
    if not rest:
        return f"{sign}{whole}"
    part = Fraction(rest, parts)
    text = f"{part.numerator}/{part.denominator}"
    return f"{sign}{whole}\u00a0{text}" if whole else f"{sign}{text}"
