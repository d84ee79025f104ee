"""Lengths as people write them, exact inside."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.units import INCH, INCHES, MM, NotALength, Shown, decimal, fraction, length


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("30.2", "mm", "30.2"), ("30,2", "mm", "30.2"), ("364 mm", "", "364"), ("12 mm", "in", "12"),
        ("1 3/16", "in", "30.1625"), ('1-3/16"', "", "30.1625"), ("1 3/16", "mm", "30.1625"), ("0.472 in", "mm", "11.9888"),
        ('14 3/8"', "", "365.125"), ("\u00bd in", "", "12.7"), ("1\u00bd\u2033", "", "38.1"), (".25 in", "", "6.35"),
        ("-0.3 mm", "", "-0.3"), ("\u22120.3", "mm", "-0.3"), ("2 ft", "", "609.6"), ("3 cm", "", "30"),
    ],
)  # fmt: skip
def test_read_as_written(text: str, unit: str, expected: str):
    """Points, commas, fractions and units are read exactly; one inch is 25.4 mm (yard and pound agreement, 1959)."""
    assert length(text, unit) == Fraction(expected)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("364", "", "'364' has no unit; write '364 mm' or '364 in'"),
        ("wide", "mm", "'wide' is not a length; write it as 30.2, 1 3/16 or 1-3/16\""),
        ("3 furlongs", "mm", "'furlongs' is not a unit of length here; use mm, cm, m, in or ft"),
        ("1/0", "in", "'1/0' divides by zero; write it as 1 3/16"),
        ("", "mm", "'' is not a length; write it as 30.2, 1 3/16 or 1-3/16\""),
    ],
)
def test_refused_in_words(text: str, unit: str, says: str):
    """What cannot be read is refused with what to write."""
    with pytest.raises(NotALength) as refused:
        length(text, unit)
    assert str(refused.value) == says


def test_printed_for_the_bench():
    """Millimetres to a tenth, inches in 64ths in lowest terms, fits a digit finer, no size split over a line."""
    assert MM.size(Fraction("364.8")) == "364.8\u00a0mm"
    assert MM.fine(Fraction("5.05")) == "5.05\u00a0mm"
    assert INCHES.size(Fraction("365.125")) == "14\u00a03/8\u00a0in"
    assert INCHES.bare(Fraction("0.396875")) == "1/64"
    assert INCHES.fine(Fraction("0.254")) == "0.01\u00a0in"
    assert Shown("in", 3, 0).size(Fraction("12.7")) == "0.5\u00a0in"


def test_ties_go_to_the_even_part():
    """Half a 64th more than 1/64 prints as 2/64, half more than 2/64 also: repeated rounding does not drift."""
    assert fraction(Fraction(3, 128), 64) == "1/32"
    assert fraction(Fraction(5, 128), 64) == "1/32"
    assert decimal(Fraction("0.25"), 1) == "0.2"
    assert decimal(Fraction("-0.04"), 1) == "0.0"


@given(st.integers(-(10**6), 10**6))
def test_64ths_print_and_read_back(count: int):
    """Every whole number of 64ths is read back exactly from what was printed."""
    value = Fraction(count, 64) * INCH
    assert length(INCHES.size(value)) == value if count >= 0 else length(INCHES.size(-value)) == -value


@given(st.integers(0, 10**7))
def test_tenths_print_and_read_back(count: int):
    """Every whole number of tenths of a millimetre is read back exactly from what was printed."""
    assert length(MM.size(Fraction(count, 10))) == Fraction(count, 10)


def test_inches_are_a_word_in_a_sentence():
    """`Sizes in in` reads like a slip of the pen; millimetres keep their sign."""
    assert (INCHES.unit_word, MM.unit_word) == ("inches", "mm")
