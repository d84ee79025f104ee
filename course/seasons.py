"""Each student's panels and frames through the seasons, for their own wood, cut, board and the course's climate.

The sums are those of `shared.handbook.panel`. Average figures describe a species and not a board, so all of it is shown
as "about" and never graded. Veneered and sheet panels move so little that they are counted as still.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from course.cabinet import Assembly, Part
from course.course import Course
from course.quantities import Origin, Values
from course.roster import Student
from shared.handbook import tables
from shared.handbook.panel import (
    Groove,
    PanelFit,
    Season,
    Seasons,
    Wood,
    best_width,
    door_growth,
    least_groove_depth,
    panel_fit,
)
from shared.problems import OutOfRange

HIGHEST_MOISTURE = Fraction(22)
"""Moisture content up to which every species of the tables is taken to shrink. [%]"""
OF_THE_PLAN = "as the plan states"
"""Basis of a movement that no table gives."""
STILL = "counted as still"
"""Basis of what is veneered or sheet."""


@dataclass(frozen=True, slots=True)
class Still(Wood):
    """What keeps its size, as far as a shop can tell."""

    def factor(self, start: int | Fraction, end: int | Fraction) -> Fraction:
        """Always 1."""
        return Fraction(1)


class Concern(Enum):
    """What a panel may do that it should not."""

    SWELLS = "it may swell to the bottom of its groove"
    GAP_CLOSES = "its shadow gap may close"
    COMES_OUT = "it may come out of its groove"
    TOO_SHALLOW = "its groove is too shallow for any panel of this wood"


@dataclass(frozen=True, slots=True)
class WoodInUse:
    """The wood of one student's stock."""

    species: str
    """As the stock names it."""
    cut: str
    """`flat-sawn` or `quarter-sawn`; empty for what is counted as still."""
    build: str
    """`solid`, `veneered` or `sheet`."""
    wood: Wood
    basis: str
    """How far the figure can be trusted: `printed`, `from memory`, or as `OF_THE_PLAN` and `STILL`."""
    source: str

    @property
    def still(self) -> bool:
        """Whether it is counted as keeping its size."""
        return isinstance(self.wood, Still)


@dataclass(frozen=True, slots=True)
class Gap:
    """A gap as built and in the two seasons. [mm]"""

    built: Fraction
    driest: Fraction
    dampest: Fraction


@dataclass(frozen=True, slots=True)
class PanelYear:
    """One panel of one student through the year. Lengths in mm."""

    student: Student
    panel: str
    """Full name of the part."""
    label: str
    frame: str
    """Title of its frame."""
    use: str
    """`door` or `back`."""
    wood: WoodInUse
    seasons: Seasons
    measured: bool
    """Whether the moisture as built was measured on the student's board."""
    width: Fraction
    groove: Groove
    shadow_gap: Fraction
    usual_gap: Fraction
    """As the trade leaves it; common practice."""
    least_gap: Fraction
    """Gap that must stay."""
    fit: PanelFit
    """Cut at the moisture as built."""
    cut_dry: PanelFit
    """Cut in the driest season: the most swelling there can be."""
    cut_damp: PanelFit
    """Cut in the dampest season: the most shrinking there can be."""

    def gap(self, fit: PanelFit) -> Gap:
        """The shadow gap through a year: each edge of the field moves by half of the panel's change."""

        def at(season: Season) -> Fraction:
            return self.shadow_gap - (season.width - fit.built.width) / 2

        return Gap(self.shadow_gap, at(fit.driest), at(fit.dampest))

    @property
    def half_change(self) -> Fraction:
        """Half of its change between the seasons: what the groove bottom and the gap of one side must take."""
        return self.cut_dry.swing / 2

    @property
    def needed_gap(self) -> Fraction:
        """The shadow gap that stays open whenever the panel was cut."""
        return self.half_change + self.least_gap

    @property
    def best_width(self) -> Fraction:
        """The widest panel that keeps the handbook chapter's reserve at its dampest, cut at the moisture as built."""
        return best_width(self.groove, self.wood.wood, self.seasons)

    @property
    def least_depth(self) -> Fraction | None:
        """The groove depth below which no width is right; None when no depth is enough."""
        try:
            return least_groove_depth(self.groove.opening, self.wood.wood, self.seasons)
        except OutOfRange:
            return None

    @property
    def concerns(self) -> tuple[Concern, ...]:
        """What may go wrong, whenever the panel was cut."""
        depth = self.least_depth
        found = {
            Concern.SWELLS: self.cut_dry.dampest.clearance < 0 or self.fit.binds,
            Concern.GAP_CLOSES: self.shadow_gap < self.needed_gap,
            Concern.COMES_OUT: self.cut_damp.falls_out,
            Concern.TOO_SHALLOW: depth is None or self.groove.depth < depth,
        }
        return tuple(concern for concern, holds in found.items() if holds)


@dataclass(frozen=True, slots=True)
class FrameYear:
    """One frame of one student through the year: it grows by its stiles alone. Lengths in mm."""

    student: Student
    assembly: str
    title: str
    use: str
    wood: WoodInUse
    stiles: Fraction
    """Widths of its stiles together."""
    reveal: Gap
    """On one side."""
    change: Fraction
    """Of its width, between the driest and the dampest season."""

    @property
    def closes(self) -> bool:
        """Whether the reveal may close, whenever the frame was fitted."""
        return self.reveal.built < self.change / 2


def in_order(values: Values) -> bool:
    """Whether the climate is one that the handbook's sums hold for."""
    dry, built, damp = (values.number(f"climate.{word}") for word in ("dry", "built", "damp"))
    return 0 <= dry <= built <= damp <= HIGHEST_MOISTURE


def wood_in_use(values: Values, role: str) -> WoodInUse:
    """The wood of one student's stock role, with its movement and how far that can be trusted."""
    species, cut, build = (str(values[f"stock.{role}.{word}"]) for word in ("material", "cut", "build"))
    figure = values.number(f"stock.{role}.movement")
    if build != "solid" or not figure:
        basis = STILL if build != "solid" else OF_THE_PLAN
        return WoodInUse(species, cut if build == "solid" else "", build, Still(Fraction(0)), basis, "")
    if values.origin(f"stock.{role}.movement") is not Origin.TABLE:
        return WoodInUse(species, cut, build, Wood(figure), OF_THE_PLAN, "")
    row = tables.movement(species)
    return WoodInUse(species, cut, build, Wood(figure, row.shrinkage_start), row.basis, row.source)


def _seasons(course: Course, student: Student, values: Values, role: str) -> tuple[Seasons, bool]:
    """The climate, with the moisture of the student's own board where it was measured and lies within it."""
    dry, built, damp = (values.number(f"climate.{word}") for word in ("dry", "built", "damp"))
    piece = course.stock.get(student.pieces.get(role, ""))
    if piece and piece.moisture is not None and dry <= piece.moisture <= damp:
        return Seasons(piece.moisture, dry, damp), True
    return Seasons(built, dry, damp), False


def panel_years(course: Course, student: Student) -> tuple[PanelYear, ...]:
    """Every framed panel of a student, in the order of the plan; none when the climate is out of order."""
    values = course.values(student)
    if not in_order(values):
        return ()
    return tuple(
        _panel_year(course, student, values, assembly, member, course.cabinet.part(f"{assembly.name}.panel.{member}"))
        for assembly in _frames(course)
        for member in assembly.members["panel"]
    )


def _frames(course: Course) -> Iterator[Assembly]:
    for assembly in course.cabinet.assemblies.values():
        if "panel" in assembly.members and f"{assembly.name}.panel.shadow_gap" in course.cabinet.graph:
            yield assembly


def _panel_year(
    course: Course, student: Student, values: Values, assembly: Assembly, member: str, part: Part
) -> PanelYear:
    name = assembly.name
    wood = wood_in_use(values, part.stock)
    seasons, measured = _seasons(course, student, values, part.stock)
    width = values.number(f"{part.name}.width")
    groove = Groove(values.number(f"{name}.bay.{member}.width"), values.number(f"{name}.groove.depth"))
    as_built, in_dry, in_damp = (
        panel_fit(width, groove, wood.wood, Seasons(cut, seasons.driest, seasons.dampest))
        for cut in (seasons.built, seasons.driest, seasons.dampest)
    )
    shadow, usual, least = (values.number(f"{name}.panel.{word}_gap") for word in ("shadow", "usual", "least"))
    return PanelYear(
        student, part.name, part.label, assembly.title, assembly.choices.get("use", ""), wood, seasons, measured, width,
        groove, shadow, usual, least, as_built, in_dry, in_damp,
    )  # fmt: skip


def frame_years(course: Course, student: Student) -> tuple[FrameYear, ...]:
    """Every frame of a student, in the order of the plan; none when the climate is out of order."""
    values = course.values(student)
    if not in_order(values):
        return ()
    return tuple(_frame_year(course, student, values, assembly) for assembly in _frames(course))


def _frame_year(course: Course, student: Student, values: Values, assembly: Assembly) -> FrameYear:
    stiles = [part for part in course.cabinet.parts if part.assembly == assembly.name and part.group == "stile"]
    widths = [values.number(f"{part.name}.width") for part in stiles]
    wood = wood_in_use(values, stiles[0].stock)
    seasons, _ = _seasons(course, student, values, stiles[0].stock)

    def grown(start: Fraction, end: Fraction) -> Fraction:
        return door_growth(widths, wood.wood, start, end)

    reveal = values.number(f"{assembly.name}.reveal")
    gap = Gap(
        reveal,
        reveal - grown(seasons.built, seasons.driest) / 2,
        reveal - grown(seasons.built, seasons.dampest) / 2,
    )  # fmt: skip
    return FrameYear(
        student, assembly.name, assembly.title, assembly.choices.get("use", ""), wood, sum(widths, Fraction(0)), gap,
        grown(seasons.driest, seasons.dampest),
    )  # fmt: skip
