"""What is recorded of a course: readings, judged marks, part states and issued lists; `log.py` keeps them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from course.quantities import Read
from shared.places import Place

STATES = ("open", "issued", "cut", "jointed", "fitted", "glued", "remade")
"""States of a part, in the order of the work; a remade part is open again."""
MOISTURE = ".moisture"
"""Ends the name under which the moisture of a part is kept beside its readings, in percent."""
FROZEN = ("cut", "jointed", "fitted", "glued")
"""States in which a part no longer follows new readings."""

SEVERAL = ";"
"""Stands between readings of the same thing at the same place, as in `30.2; 30.4`; their mean counts."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading, as it was taken in."""

    student: str
    quantity: str
    place: int
    """First, second, ... place where the thing was measured."""
    attempt: int
    """1 for the first; a part that was made again starts the next."""
    raw: str
    """What was typed."""
    value: Fraction | None
    """In mm, of a moisture in percent; None when the text could not be read as a length and was kept for the record."""
    instrument: str = ""
    reader: str = ""
    """Who measured, when it was not the student."""
    taken: str = ""
    """Date of the measurement, as written."""
    source: str = ""
    sheet: str = ""
    cell: str = ""
    note: str = ""
    held: str = ""
    """Why it is kept but left out until somebody confirms it; empty for a reading that counts."""

    @property
    def key(self) -> tuple[str, str, int, int, str]:
        """What one reading answers: student, quantity, place, attempt, reader."""
        return (self.student, self.quantity, self.place, self.attempt, self.reader)

    @property
    def times(self) -> int:
        """How many readings of the same thing its value is the mean of."""
        return self.raw.count(SEVERAL) + 1

    @property
    def where(self) -> Place:
        """The file and cell it came from."""
        return Place(self.source, cell=f"{self.sheet}!{self.cell}" if self.sheet else self.cell)


@dataclass(frozen=True, slots=True)
class Judgement:
    """A level that a person gave to what is seen rather than measured."""

    student: str
    item: str
    judge: str
    """Who judged."""
    level: str
    at: str = ""
    """Date as written."""
    source: str = ""
    sheet: str = ""
    cell: str = ""
    note: str = ""
    over: int = 0
    """Number of the row that was in sight when the level was changed; 0 when there was none."""

    @property
    def key(self) -> tuple[str, str, str]:
        """What one judgement answers: student, item, judge."""
        return (self.student, self.item, self.judge)

    @property
    def where(self) -> Place:
        """The file and cell it came from."""
        return Place(self.source, cell=f"{self.sheet}!{self.cell}" if self.sheet else self.cell)


@dataclass(frozen=True, slots=True)
class State:
    """The latest state of a part."""

    part: str
    name: str
    who: str
    at: str
    """Date as written."""
    source: str
    sizes: dict[str, Fraction]
    """The part's sizes when it was cut."""
    basis: int = 0
    """Number of what was given when it was cut (`Log.basis`); 0 when that is not known."""


@dataclass(frozen=True, slots=True)
class Record:
    """What the log says of one student, all of one moment."""

    readings: tuple[Reading, ...]
    """Those that count."""
    moistures: Mapping[tuple[str, int], Fraction]
    """Of parts when they were read, by part and attempt. [%]"""
    states: Mapping[str, State]
    """The latest of each part that has one."""
    read_on: Mapping[str, int]
    """By size, the number of what was given when its last attempt was first read (`Log.basis`)."""
    anew: tuple[Reading, ...] = ()
    """All that counted once, oldest first, where something was read anew since or made again; else nothing."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of readings offered to the log."""

    added: int
    """New."""
    same: int
    """In the log already, word for word."""
    corrected: int
    """New rows that stand in for an earlier one."""
    new: tuple[Reading, ...] = field(default=(), repr=False)
    """The readings behind both, in their order."""
    back: tuple[tuple[Reading, str], ...] = field(default=(), repr=False)
    """Readings that are the same as what their cell said before it was changed, with what it said since."""


@dataclass(frozen=True, slots=True)
class Issue:
    """A cut list handed out."""

    revision: int
    at: str
    sizes: dict[str, Fraction]
    basis: int = 0
    """Number of what was given then (`Log.basis`); 0 when that is not known."""


def reduce(values: Sequence[Fraction], take: str) -> Fraction:
    """Several readings of one thing to one: smallest, largest, mean or spread."""
    if take == "smallest":
        return min(values)
    if take == "largest":
        return max(values)
    if take == "spread":
        return max(values) - min(values)
    return sum(values, Fraction(0)) / len(values)


def reduced(values: Sequence[Fraction], read: Read | None) -> tuple[Fraction, str]:
    """The one value of several readings, and the rule in words."""
    take = read.take if read else "mean"
    if len(values) == 1:
        return values[0], "one reading"
    return reduce(values, take), f"{take} of {len(values)} readings"
