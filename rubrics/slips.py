"""Slips of reading and typing, known by their size the moment a reading comes in; asked about, never blocked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files

from shared.places import Items, Mapping, read_yaml
from shared.units import NotALength, Shown, length


@dataclass(frozen=True, slots=True)
class Slip:
    """A difference that has a usual cause, as `slips.yaml` has it. Lengths in mm."""

    off: Fraction
    """What was lost or added; 0 when the slip is of another sort."""
    times: Fraction
    """What the reading must be multiplied by; 0 when the slip is of another sort."""
    swapped: bool
    far: Fraction
    """Share of the expected size beyond which nothing is expected; 0 when the slip is of another sort."""
    least: Fraction
    """A reading nearer than this to the expected size is not asked about."""
    within: Fraction
    share: Fraction
    unit: str
    """`mm` or `in` when the slip can happen on such a sheet only."""
    asks: str


@cache
def slips() -> tuple[Slip, ...]:
    """The built-in slips, in the order in which they are tried."""
    rows = read_yaml(files("rubrics").joinpath("slips.yaml").read_text("utf-8"), "slips.yaml").get("slips")
    return tuple(_slip(row) for row in (rows if isinstance(rows, Items) else ()) if isinstance(row, Mapping))


@cache
def _least() -> Fraction:
    """A reading nearer than this to the expected size is not asked about by any of them. [mm]"""
    return min(slip.least for slip in slips())


def _slip(row: Mapping) -> Slip:
    return Slip(
        length(row.text("off", "0 mm")), Fraction(row.text("times", "0")), row.text("swapped") == "yes",
        Fraction(row.text("far", "0")), length(row.text("from")), length(row.text("within", "0 mm")),
        Fraction(row.text("share", "1")), row.text("unit"), row.text("asks"),
    )  # fmt: skip


def question(value: Fraction, target: Fraction, raw: str, shown: Shown, unit: str) -> str:
    """What to ask about a reading that is far from what it should be; empty when there is nothing to ask.

    Args:
        value: The reading. [mm]
        target: What the student's own case asks for. [mm]
        raw: The reading as typed.
        shown: How the student's sizes are printed.
        unit: Unit of a bare number on the student's sheet.
    """
    off = abs(value - target)
    for slip in slips() if off >= _least() else ():
        if off < slip.least or slip.unit not in ("", unit):
            continue
        if slip.far:
            fits = [(target, "")] if off > slip.far * abs(target) else []
        else:
            near = min(slip.within, slip.share * abs(target))
            fits = [one for one in _meant(slip, value, raw, unit) if abs(one[0] - target) <= near]
        for meant, typed in fits:
            return slip.asks.format(reading=raw.strip(), off=shown.size(off), meant=shown.size(meant), typed=typed)
    return ""


def _meant(slip: Slip, value: Fraction, raw: str, unit: str) -> Iterator[tuple[Fraction, str]]:
    """What may have been meant, if the reading was this slip: its size in mm, and the text where that is known."""
    if slip.off:
        yield from ((value + slip.off, ""), (value - slip.off, ""))
    if slip.times:
        yield value * slip.times, ""
    if slip.swapped:
        text = raw.strip()
        for i, (one, other) in enumerate(zip(text, text[1:], strict=False)):
            if one.isdigit() and other.isdigit() and one != other:
                typed = f"{text[:i]}{other}{one}{text[i + 2 :]}"
                try:
                    yield length(typed, unit), typed
                except NotALength:  # never for digits in a whole number; a zero may slip under a fraction
                    continue
