"""What is to be cut, piece by piece: from which stock, how large, for whom and for what."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from course.cabinet import Part
from course.cutting.model import Grain
from shared.places import Place

GRAIN = {"length": Grain.ALONG, "width": Grain.ACROSS, "none": Grain.FREE}
"""What a part of a kind may say of its grain: along its length, along its width, or either way."""


class Purpose(Enum):
    """Why a piece is cut."""

    PART = "part"
    SPARE = "spare"
    TEST = "test piece"
    BLOCK = "set-up block"


@dataclass(frozen=True, slots=True, order=True)
class StockGroup:
    """Stock that its parts can share: one sheet's thickness, or boards of one rough thickness."""

    role: str
    material: str
    build: str
    """`sheet`, `veneered` or `solid`."""
    cut: str
    """How boards are sawn; empty for sheets."""
    piece: str
    """Sheet of `stock.csv` whose thickness the parts have; empty for boards and for sheets still to be bought."""
    rough: str
    """Boards by quarters, as `4/4`; empty for sheets."""
    thick: str = ""
    """Thickness of sheets to be bought, as printed, where a student has chosen another than the plan's."""

    @property
    def sheet(self) -> bool:
        """Whether it is cut from sheets."""
        return self.build != "solid"

    @property
    def tag(self) -> str:
        """Short and unique, as `case sheet-A` or `frame 4/4 cherry`."""
        build = "veneered" if self.build == "veneered" else ""
        words = (self.role, self.piece, self.rough, "" if self.piece else self.material, build, self.cut, self.thick)
        return " ".join(word for word in words if word)

    @property
    def kind(self) -> str:
        """What it is and is for, as `birch plywood for the case`."""
        words = " ".join(word for word in (self.rough, self.thick, self.material, self.cut) if word)
        return f"{words}{' (veneered)' if self.build == 'veneered' else ''} for the {self.role}"

    @property
    def says(self) -> str:
        """The same with its sheet, as `birch plywood for the case, sheet-A`."""
        return f"{self.kind}, {self.piece}" if self.piece else self.kind


@dataclass(frozen=True, slots=True)
class Blank:
    """One part's share of a piece; lies in the piece as its strip runs. [mm]"""

    part: Part
    length: Fraction
    """As the part's own length."""
    width: Fraction


@dataclass(frozen=True, slots=True)
class Need:
    """One piece to be cut. [mm]"""

    name: str
    """Student and label, as `s01 C-SL`; unique in the order."""
    student: str
    """Id; empty for what belongs to the class."""
    blanks: tuple[Blank, ...]
    """What is made of it, in order; more than one when parts stay joined; empty for spares and test pieces."""
    title: str
    group: StockGroup
    length: Fraction
    width: Fraction
    thickness: Fraction
    grain: Grain
    purpose: Purpose
    place: Place
    match: str = ""
    """Name of the match that keeps its parts joined."""
    side_by_side: bool = False
    """Joined parts lie next to each other across the strip, not one behind the other."""

    @property
    def parts(self) -> tuple[Part, ...]:
        """The parts that are made of it."""
        return tuple(blank.part for blank in self.blanks)
