"""A solid panel in its frame, and a back of loose boards, through the seasons.

Plain geometry on top of `wood_movement`; the reserves and the least held depth are named as our choice.
Along the grain wood moves too little to matter (0.1 to 0.2 % from green to ovendry, Wood Handbook,
FPL-GTR-190 (2010), p. 4-5), so the opening between stiles keeps its width.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from shared.handbook.wood_movement import FIBER_SATURATION, Number, across_grain
from shared.problems import OutOfRange

RESERVE = Fraction(1, 2)
"""Kept free at each groove bottom for glue and finish; our choice. [mm]"""
LEAST_HELD = Fraction(3)
"""How much of a centred panel the groove must still hold in the dry season; our choice. [mm]"""


@dataclass(frozen=True, slots=True)
class Seasons:
    """The three moisture contents of a piece. [%]"""

    built: Fraction
    driest: Fraction
    dampest: Fraction

    def __post_init__(self) -> None:
        """Refuse an order that cannot be."""
        if not self.driest <= self.built <= self.dampest:
            raise OutOfRange(
                f"moisture content must rise from driest ({float(self.driest):g} %) over as built "
                f"({float(self.built):g} %) to dampest ({float(self.dampest):g} %)"
            )


@dataclass(frozen=True, slots=True)
class Wood:
    """What moves: the coefficient for species and cut, and where its shrinkage starts."""

    coefficient: Fraction
    """[1/percentage point]"""
    shrinkage_start: Fraction = FIBER_SATURATION
    """[%]"""

    def factor(self, start: Number, end: Number) -> Fraction:
        """The size at the end moisture content of what was 1 at the start."""
        return 1 + across_grain(Fraction(1), self.coefficient, start, end, self.shrinkage_start)


@dataclass(frozen=True, slots=True)
class Groove:
    """The grooved frame a panel stands in. [mm]"""

    opening: Fraction
    """Between the inner edges of the two stiles."""
    depth: Fraction
    """Of the groove, in each stile."""

    @property
    def bottom_to_bottom(self) -> Fraction:
        """From groove bottom to groove bottom."""
        return self.opening + 2 * self.depth


@dataclass(frozen=True, slots=True)
class Season:
    """A panel at one moisture content. [mm]"""

    moisture: Fraction
    """[%]"""
    width: Fraction
    clearance: Fraction
    """Room at each groove bottom, panel centred; negative when it would push the frame apart."""
    held: Fraction
    """Depth in each groove, panel centred."""
    held_pushed: Fraction
    """Depth left in the far groove when the panel is pushed into the other one."""


@dataclass(frozen=True, slots=True)
class PanelFit:
    """A panel in its grooves as built, at its driest and at its dampest."""

    built: Season
    driest: Season
    dampest: Season
    reserve: Fraction
    least_held: Fraction

    @property
    def binds(self) -> bool:
        """Swollen, it leaves less than the reserve at the groove bottoms."""
        return self.dampest.clearance < self.reserve

    @property
    def falls_out(self) -> bool:
        """Shrunk, it is held too little when centred or comes out when pushed over."""
        return self.driest.held < self.least_held or self.driest.held_pushed <= 0

    @property
    def bare_edge(self) -> Fraction:
        """Unfinished edge each side shows in the dry season, if the panel is finished in place. [mm]"""
        return (self.built.width - self.driest.width) / 2

    @property
    def swing(self) -> Fraction:
        """From driest to dampest width. [mm]"""
        return self.dampest.width - self.driest.width


def panel_fit(
    width: Fraction,
    groove: Groove,
    wood: Wood,
    seasons: Seasons,
    reserve: Fraction = RESERVE,
    least_held: Fraction = LEAST_HELD,
) -> PanelFit:
    """Room and hold of a panel through the seasons. Geometry on Wood Handbook Eq. 13-2 and 13-3.

    Args:
        width: Across the grain, as cut at `seasons.built`. [mm]
        groove: The frame.
        wood: Of the panel.
        seasons: Moisture contents.
        reserve: Room to be kept at each groove bottom. [mm]
        least_held: Depth in each groove to be kept. [mm]

    Raises:
        OutOfRange: A moisture content at which wood is not taken to shrink.
    """

    def at(moisture: Fraction) -> Season:
        then = width * wood.factor(seasons.built, moisture)
        return Season(
            moisture=moisture,
            width=then,
            clearance=(groove.bottom_to_bottom - then) / 2,
            held=(then - groove.opening) / 2,
            held_pushed=then - groove.opening - groove.depth,
        )

    return PanelFit(at(seasons.built), at(seasons.driest), at(seasons.dampest), reserve, least_held)


def best_width(groove: Groove, wood: Wood, seasons: Seasons, reserve: Fraction = RESERVE) -> Fraction:
    """The widest panel that does not bind at its dampest. Geometry. [mm]"""
    return (groove.bottom_to_bottom - 2 * reserve) / wood.factor(seasons.built, seasons.dampest)


def least_groove_depth(
    opening: Fraction,
    wood: Wood,
    seasons: Seasons,
    reserve: Fraction = RESERVE,
    least_held: Fraction = LEAST_HELD,
) -> Fraction:
    """The groove depth below which no panel neither binds nor falls out. Geometry. [mm]

    A groove of exactly this depth is the limit; what is shallower must be deepened, or the panel split
    or sawn on the quarter. Pushed over, the panel must be held by more than nothing.

    Raises:
        OutOfRange: The wood moves so much that no depth is enough.
    """
    share = wood.factor(seasons.built, seasons.driest) / wood.factor(seasons.built, seasons.dampest)
    centred = ((opening + 2 * least_held) / share - opening) / 2 + reserve
    if 2 * share <= 1:
        raise OutOfRange("the panel moves so much that no groove can hold it")
    pushed = (opening * (1 - share) + 2 * reserve * share) / (2 * share - 1)
    return max(centred, pushed)


def door_growth(stiles: Iterable[Fraction], wood: Wood, start: Number, end: Number) -> Fraction:
    """How much a framed door grows in width: by its stiles only, rails lie along the grain. Geometry. [mm]

    Args:
        stiles: Their widths. [mm]
        wood: Of the stiles.
        start: Moisture content at which the door was fitted. [%]
        end: Moisture content it comes to. [%]
    """
    return sum(stiles, Fraction(0)) * (wood.factor(start, end) - 1)


def least_reveal(growth: Fraction, reserve: Fraction) -> Fraction:
    """Gap as built on each side of an inset door: half its growth and a reserve for hinges and paint. [mm]"""
    return growth / 2 + reserve


@dataclass(frozen=True, slots=True)
class BoardGap:
    """The gap between two loose boards of a back. [mm]"""

    built: Fraction
    driest: Fraction
    dampest: Fraction


def board_gap(board: Fraction, wood: Wood, seasons: Seasons, reserve: Fraction = RESERVE) -> BoardGap:
    """Least gap per joint as built of a back of loose boards, and what it becomes. Geometry.

    Each board works alone and is pinned at one line.

    Args:
        board: Width of one board as built. [mm]
        wood: Of the boards.
        seasons: Moisture contents.
        reserve: Gap that is left when dampest. [mm]
    """
    built = board * (wood.factor(seasons.built, seasons.dampest) - 1) + reserve
    shrinking = board * (1 - wood.factor(seasons.built, seasons.driest))
    return BoardGap(built, built + shrinking, reserve)


def least_tongue(gap: BoardGap, overlap: Fraction) -> Fraction:
    """Length of a tongue, or of a lap, that still covers the widest gap by an overlap. Geometry. [mm]"""
    return gap.driest + overlap
