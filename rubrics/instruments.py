"""How far a reading may be off: the shop's instruments, and their standard uncertainty.

The models are those of the GUM (JCGM 100): an even distribution over a step or a bound, independent causes
as a root sum of squares. Uncertainties are floats in mm, since they hold roots; sizes are exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from math import ceil, hypot, sqrt
from pathlib import Path

from shared.handbook.tables import UnknownName
from shared.places import Mapping, Place, Text, read_text, read_yaml
from shared.problems import InputRefused, OutOfRange, Problem, meant
from shared.units import NotALength, length

FILE = "instruments.yaml"
BUILT_IN = Path(__file__).parent / FILE
"""The instruments that come with the program."""

KINDS = ("tape", "rule", "caliper", "feeler")

_LENGTHS = ("graduation", "fixed error", "error per metre", "hook error", "handling", "longest")
_WORDS = ("kind", "source", "status")
_NEEDED = ("kind", "graduation", "longest", "source", "status")


@dataclass(frozen=True, slots=True)
class Instrument:
    """One measuring instrument, as `instruments.yaml` has it. [mm]"""

    name: str
    kind: str
    """One of `KINDS`."""
    graduation: Fraction
    """Smallest step shown, or from one feeler leaf to the next."""
    fixed_error: Fraction
    """Largest error of the scale, whatever the length."""
    error_per_metre: Fraction
    """Largest error more for each metre begun."""
    hook_error: Fraction
    """Largest error more from the hook or butt end."""
    handling: Fraction
    """Standard deviation of one reading by hand, until it has been measured."""
    longest: Fraction
    source: str
    status: str
    """`printed`, `common practice`, `our choice` or `from memory`."""
    place: Place


def read_instruments(text: str, file: str = FILE) -> dict[str, Instrument]:
    """The instruments of a YAML text, by name.

    Raises:
        InputRefused: Every field that is missing, unknown or no length (M001 to M004), with its place.
        Unreadable: The text is no YAML.
    """
    problems: list[Problem] = []
    read: dict[str, Instrument] = {}
    for name, node in read_yaml(text, file).items():
        if isinstance(node, Mapping):
            read[name] = _instrument(name, node, problems)
        else:
            says = f"'{name}' has no fields"
            problems.append(Problem("M001", node.place, says, f"Write under it: {', '.join(_NEEDED)}."))
    if problems:
        raise InputRefused(problems)
    return read


def _instrument(name: str, node: Mapping, problems: list[Problem]) -> Instrument:
    for key in node.entries:
        if key not in _LENGTHS + _WORDS:
            says = f"an instrument has no '{key}'"
            problems.append(Problem("M002", node.keys[key], says, meant(key, _LENGTHS + _WORDS)))
    for key in _NEEDED:
        if not node.text(key):
            problems.append(Problem("M001", node.place, f"'{name}' has no '{key}'", f"Add '{key}'."))
    kind = node.get("kind")
    if kind is not None and node.text("kind") not in ("", *KINDS):
        says = f"'{node.text('kind')}' is no kind of instrument"
        problems.append(Problem("M003", kind.place, says, meant(node.text("kind"), KINDS)))
    graduation, fixed, per_metre, hook, handling, longest = (_length(key, node, problems) for key in _LENGTHS)
    return Instrument(
        name, node.text("kind"), graduation, fixed, per_metre, hook, handling, longest, node.text("source"),
        node.text("status"), node.place,
    )  # fmt: skip


def _length(key: str, node: Mapping, problems: list[Problem]) -> Fraction:
    written = node.get(key)
    if not isinstance(written, Text) or written.empty:
        return Fraction(0)
    try:
        value = length(written.text)
    except NotALength as error:
        problems.append(Problem("M004", written.place, str(error), f"Write a length after '{key}:'."))
        return Fraction(0)
    if value < 0 or (value == 0 and key in _NEEDED):
        says = f"'{key}' must be above zero, not {written.text}"
        problems.append(Problem("M004", written.place, says, f"Write a length after '{key}:'."))
    return value


def instruments(folder: Path | None = None) -> dict[str, Instrument]:
    """All instruments, by name: of the course folder's `instruments.yaml` if it has one, else the built-in.

    Raises:
        InputRefused, Unreadable: As `read_instruments`.
    """
    own = folder / FILE if folder else None
    return _instruments(read_text(own) if own and own.is_file() else _built_in())


_instruments = lru_cache(maxsize=4)(read_instruments)
"""The same text gives the same instruments; an edited file is read anew."""


@cache
def _built_in() -> str:
    return read_text(BUILT_IN)


def instrument(name: str, folder: Path | None = None) -> Instrument:
    """One instrument, by name, in any case.

    Raises:
        UnknownName: There is none; the message names the nearest.
    """
    known = instruments(folder)
    for each in known.values():
        if each.name.casefold() == name.strip().casefold():
            return each
    raise UnknownName(f"no instrument is named '{name.strip()}'", meant(name.strip(), known))


def largest_error(tool: Instrument, size: Fraction) -> Fraction:
    """Largest error of the scale over a length: a + b L, and c from the hook, L in metres begun. [mm]

    European Directive 2004/22/EC, MI-008, for tapes; others have no part that grows with the length.

    Args:
        tool: The instrument.
        size: Length measured. [mm]

    Raises:
        OutOfRange: The instrument is too short for it, or the length is below zero.
    """
    if size < 0:
        raise OutOfRange(f"a length of {float(size):g} mm cannot be measured")
    if size > tool.longest:
        raise OutOfRange(f"the {tool.name} reaches {float(tool.longest):g} mm, not {float(size):g} mm")
    return tool.fixed_error + tool.error_per_metre * ceil(size / 1000) + tool.hook_error


def step_uncertainty(step: Fraction) -> float:
    """Standard uncertainty of a reading to a step: step / sqrt(12). JCGM 100 (GUM), F.2.2.1. [mm]"""
    return float(step) / sqrt(12)


def bound_uncertainty(bound: Fraction) -> float:
    """Standard uncertainty when only a largest error is known: bound / sqrt(3). JCGM 100 (GUM), 4.3.7. [mm]"""
    return float(bound) / sqrt(3)


def reading_uncertainty(tool: Instrument, repeats: int = 1, sd: float | None = None) -> float:
    """Standard uncertainty of reading alone, without the error of the scale. [mm]

    What counts when two like lengths are compared with one instrument, as two diagonals: the error of the
    scale is then common to both (ours). Handling falls with the root of the repeats, JCGM 100 (GUM), 4.2;
    the step does not, since repeats tend to fall on the same one.

    A reading with feeler leaves is the thickest leaf that enters, and the gap may be up to a step wider. So its step is
    a largest error, not one to be rounded to: a gap is then called outside with 95 % only when it is (ours).

    Args:
        tool: The instrument.
        repeats: How many readings the mean is of.
        sd: Standard deviation of one reading as the class measured it; that of the instrument when None. [mm]

    Raises:
        OutOfRange: No reading, or a negative deviation.
    """
    if repeats < 1:
        raise OutOfRange(f"there is at least one reading, not {repeats}")
    handling = float(tool.handling) if sd is None else float(sd)
    if handling < 0:
        raise OutOfRange(f"a standard deviation is never below zero, not {handling:g}")
    step = bound_uncertainty if tool.kind == "feeler" else step_uncertainty
    return hypot(step(tool.graduation), handling / sqrt(repeats))


def uncertainty(tool: Instrument, size: Fraction, repeats: int = 1, sd: float | None = None) -> float:
    """Standard uncertainty of a measured length: scale, step and handling as a root sum of squares. [mm]

    JCGM 100 (GUM), 5.1. The error of the scale does not fall with repeats.

    Args:
        tool: The instrument.
        size: Length measured. [mm]
        repeats: How many readings the mean is of.
        sd: Standard deviation of one reading as the class measured it; that of the instrument when None. [mm]

    Raises:
        OutOfRange: As `largest_error` and `reading_uncertainty`.
    """
    return hypot(bound_uncertainty(largest_error(tool, size)), reading_uncertainty(tool, repeats, sd))


def fit_uncertainty(opening: float, part: float) -> float:
    """Standard uncertainty of a fit, opening less part, from those of the two: root sum of squares. [mm]

    JCGM 100 (GUM), 5.1, for two readings whose errors are independent.
    """
    return hypot(opening, part)


def out_of_square(side: Fraction, other: Fraction, diagonal: Fraction, crossing: Fraction) -> Fraction:
    """How far a corner is from square, from the two diagonals. [mm per m]

    Geometry: sin(error) = (d1^2 - d2^2) / (4 a b). Opposite sides must be equal: equal diagonals alone
    prove nothing.

    Args:
        side: One side. [mm]
        other: The side beside it. [mm]
        diagonal: One diagonal. [mm]
        crossing: The other one. [mm]

    Returns:
        Positive when the first diagonal is the longer.

    Raises:
        OutOfRange: A side of zero or less.
    """
    _check_sides(side, other)
    return 1000 * (diagonal**2 - crossing**2) / (4 * side * other)


def out_of_square_uncertainty(side: Fraction, other: Fraction, diagonal_uncertainty: float) -> float:
    """Standard uncertainty of `out_of_square`, from that of one diagonal. [mm per m]

    Geometry: d / (2 a b) x sqrt(2) x u, d the diagonal of a square frame. With one tape for both diagonals
    u is its `reading_uncertainty`.

    Args:
        side: One side. [mm]
        other: The side beside it. [mm]
        diagonal_uncertainty: Standard uncertainty of each diagonal. [mm]

    Raises:
        OutOfRange: A side of zero or less.
    """
    _check_sides(side, other)
    return 1000 * hypot(side, other) / float(2 * side * other) * sqrt(2) * diagonal_uncertainty


def _check_sides(side: Fraction, other: Fraction) -> None:
    if min(side, other) <= 0:
        raise OutOfRange("the sides of a frame are longer than zero")
