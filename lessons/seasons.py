"""The class sheet of the seasons: what panels and frames of each wood do through a year, and whose gap is too narrow.

Shown as "about" and never graded. Students stand on it by id and initials only, since such sheets are pinned up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from course.course import Course
from course.roster import Student
from course.seasons import (
    OF_THE_PLAN,
    STILL,
    Concern,
    FrameYear,
    PanelYear,
    WoodInUse,
    frame_years,
    in_order,
    panel_years,
)
from lessons.class_sheets import ClassSheet, class_units, marked
from lessons.handout import unbroken
from lessons.packet import UNITS, Lessons
from shared.handbook.panel import Season
from shared.handbook.tables import FROM_MEMORY
from shared.render.document import Document
from shared.render.sketch import Area, Drawing, Sketch
from shared.render.templates import render_tree
from shared.units import Shown

Year = TypeVar("Year", PanelYear, FrameYear)

TITLE = "Panels through the seasons"
LARGEST_SCALE, WIDEST = 4.0, 96.0
"""Paper for a millimetre of wood at most, and width of the section on paper. [mm]"""
WALL, FIELD = 3.0, 7.0
"""How much of the stile behind the groove and of the panel's field is drawn. [mm of wood]"""
STRIP, STRIP_STEP = 12.0, 15.0
"""Height of one season's section and from one to the next. [mm of paper]"""


@dataclass(frozen=True, slots=True)
class PanelRow:
    """Panels that move alike, and whose they are, as finished text."""

    panels: str
    students: str
    moisture: str
    width: str
    change: str
    room: str
    gap: str
    held: str
    best: str
    needed: str
    usual: str
    concerns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WoodSection:
    """One wood in use."""

    title: str
    basis: str
    """Where its figure comes from, or that it is remembered only."""
    chart: Drawing
    rows: tuple[PanelRow, ...]
    """Empty for wood that is counted as still."""
    still: tuple[str, ...]
    """A line for each kind of panel that is counted as still."""


@dataclass(frozen=True, slots=True)
class FrameRow:
    """Frames that move alike, and whose they are, as finished text."""

    frame: str
    students: str
    wood: str
    stiles: str
    change: str
    reveal: str
    closes: bool


def seasons_sheet(course: Course, lessons: Lessons) -> ClassSheet:
    """The sheet of the class, ready to be written."""
    shown = class_units(course)
    panels = [panel for student in course.students for panel in panel_years(course, student)]
    frames = [frame for student in course.students for frame in frame_years(course, student)]
    moisture = [course.plan_values.number(f"climate.{word}") for word in ("dry", "built", "damp")]
    rows = {
        "title": TITLE,
        "units": UNITS[shown.unit],
        "climate": [percent(each) for each in moisture],
        "in_order": in_order(course.plan_values),
        "wider": tuple(wider(panels, shown)),
        "sections": tuple(sections(panels, shown)),
        "frames": tuple(frame_rows(frames, shown)),
    }
    tree = render_tree("seasons.md.j2", rows, lessons.templates)
    return ClassSheet("seasons", Document(f"{course.title}: {TITLE}", TITLE, course.id, tree, course.paper))


def percent(value: Fraction) -> str:
    """A moisture content, as `8 %`."""
    return f"{float(value):g}\u00a0%"


def wood_title(wood: WoodInUse) -> str:
    """What the wood is, as `cherry, flat-sawn, solid (from memory)`."""
    words = ", ".join(word for word in (wood.species, wood.cut, wood.build) if word)
    return f"{words} ({FROM_MEMORY})" if wood.basis == FROM_MEMORY else words


def _basis(wood: WoodInUse) -> str:
    if wood.basis == STILL:
        return "It moves so little that it is counted as still."
    if not wood.wood.coefficient:
        return "Neither the tables nor the plan have a figure for it; it is counted as still."
    figure = f"{float(wood.wood.coefficient):.5f} of the width for each percent of moisture"
    if wood.basis == OF_THE_PLAN:
        return f"{figure}, as the plan states."
    remembered = " From memory: check it before you rely on it." if wood.basis == FROM_MEMORY else ""
    return f"{figure} ({wood.source}).{remembered}"


def wider(panels: Iterable[PanelYear], shown: Shown) -> Iterator[str]:
    """Choices whose shadow gap may close: who, which panel, and the gap that stays open."""
    found: dict[str, list[Student]] = {}
    for panel in panels:
        if Concern.GAP_CLOSES in panel.concerns:
            text = (
                f"{panel.frame}, {_label(panel)}, {wood_title(panel.wood)}: the gap is {shown.size(panel.shadow_gap)}, "
                f"about {shown.size(panel.needed_gap)} is needed"
            )
            found.setdefault(text, []).append(panel.student)
    for text, students in found.items():
        yield f"{_listed(students)}: {text}."


def sections(panels: Sequence[PanelYear], shown: Shown) -> Iterator[WoodSection]:
    """Each wood in use with its chart, of the widest panel, and its panels."""
    woods: dict[WoodInUse, list[PanelYear]] = {}
    for panel in panels:
        woods.setdefault(panel.wood, []).append(panel)
    for wood, own in woods.items():
        widest = max(own, key=lambda panel: panel.width)
        rows = () if wood.still else tuple(panel_rows(own, shown))
        still = tuple(_still_lines(own, shown)) if wood.still else ()
        yield WoodSection(wood_title(wood), _basis(wood), chart(widest, shown), rows, still)


def _still_lines(panels: Iterable[PanelYear], shown: Shown) -> Iterator[str]:
    def figures(panel: PanelYear) -> tuple:
        concerns = "; ".join(("", *_concerns(panel, shown)))
        return (
            f"{_numbers(panel.fit.built, panel.shadow_gap, shown)}, "
            f"usually about {shown.size(panel.usual_gap)}{concerns}",
        )

    for (text,), labels, students in _alike(panels, figures, _label):
        yield f"{labels} of {_listed(students)}: {text}."


def _label(panel: PanelYear) -> str:
    return unbroken(panel.label)


def _year(driest: Fraction, built: Fraction, dampest: Fraction, shown: Shown) -> str:
    """A clearance in the driest season, as built, and in the dampest; once where it never changes."""
    through = [shown.bare(each) for each in (driest, built, dampest)]
    return through[0] if len(set(through)) == 1 else ";\u00a0".join(through)


def panel_rows(panels: Iterable[PanelYear], shown: Shown) -> Iterator[PanelRow]:
    """Panels of equal figures on one line."""

    def figures(panel: PanelYear) -> tuple:
        gap, fit = panel.gap(panel.fit), panel.fit
        return (
            percent(panel.seasons.built) + ("*" if panel.measured else ""), shown.bare(panel.width),
            shown.bare(panel.cut_dry.swing),
            _year(fit.driest.clearance, fit.built.clearance, fit.dampest.clearance, shown),
            _year(gap.driest, gap.built, gap.dampest, shown),
            f"{shown.bare(panel.cut_damp.driest.held)}; {shown.bare(panel.cut_damp.driest.held_pushed)}",
            shown.bare(panel.best_width), shown.bare(panel.needed_gap), shown.bare(panel.usual_gap),
            tuple(_concerns(panel, shown)),
        )  # fmt: skip

    for text, labels, students in _alike(panels, figures, _label):
        yield PanelRow(labels, _listed(students), *text)


def frame_rows(frames: Sequence[FrameYear], shown: Shown) -> Iterator[FrameRow]:
    """Frames of equal figures on one line."""

    def figures(frame: FrameYear) -> tuple:
        reveal = _year(frame.reveal.driest, frame.reveal.built, frame.reveal.dampest, shown)
        return (wood_title(frame.wood), shown.bare(frame.stiles), shown.bare(frame.change), reveal, frame.closes)

    everybody = {frame.student.id for frame in frames}
    for text, titles, students in _alike(frames, figures, lambda frame: frame.title):
        yield FrameRow(titles, "all" if len(students) == len(everybody) > 1 else _listed(students), *text)


def _alike(
    years: Iterable[Year], figures: Callable[[Year], tuple], name: Callable[[Year], str]
) -> Iterator[tuple[tuple, str, list[Student]]]:
    """Equal figures, the names of what has them, and whose those are."""
    per_student: dict[tuple[str, tuple], list[Year]] = {}
    for year in years:
        per_student.setdefault((year.student.id, figures(year)), []).append(year)
    together: dict[tuple[tuple, str], list[Student]] = {}
    for (_, text), own in per_student.items():
        names = ", ".join(dict.fromkeys(map(name, own)))
        together.setdefault((text, names), []).append(own[0].student)
    for (text, names), students in together.items():
        yield text, names, students


def _listed(students: Iterable[Student]) -> str:
    return ", ".join(marked(student).replace(" ", "\u00a0") for student in students)


def _concerns(panel: PanelYear, shown: Shown) -> Iterator[str]:
    """What else to say of a panel: whose gap may close is told above all."""
    for concern in panel.concerns:
        if concern is Concern.GAP_CLOSES:
            continue
        if concern is Concern.SWELLS:
            left = shown.size(panel.cut_dry.dampest.clearance)
            yield f"{concern.value}: cut in the driest season it has {left} left there in the dampest"
        elif concern is Concern.TOO_SHALLOW and panel.least_depth is not None:
            yield f"{concern.value}: {shown.size(panel.least_depth)} is the least"
        else:
            yield concern.value


def chart(panel: PanelYear, shown: Shown) -> Drawing:
    """A section through one stile and the edge of the panel, season by season; only lengths across are to scale."""
    fit, gap = panel.fit, panel.gap(panel.fit)
    seasons: list[tuple[str, Season, Fraction]] = [
        (f"driest, {percent(fit.driest.moisture)}", fit.driest, gap.driest),
        (f"as built, {percent(fit.built.moisture)}", fit.built, gap.built),
        (f"dampest, {percent(fit.dampest.moisture)}", fit.dampest, gap.dampest),
    ]
    if panel.wood.still:
        seasons = [("all year", fit.built, gap.built)]
    alt = (
        f"Section through the stile and the edge of a {shown.size(panel.width)} panel of {wood_title(panel.wood)}. "
        + "; ".join(f"{word}: about {_numbers(at, open_, shown)}" for word, at, open_ in seasons)
        + "."
    )
    depth = float(panel.groove.depth)
    scale = min(LARGEST_SCALE, WIDEST / (WALL + depth + float(panel.shadow_gap) + FIELD))
    sketch = Sketch(f"{wood_title(panel.wood)}, {panel.label}", alt, 9.0, scale)
    for number, (word, at, open_) in enumerate(seasons):
        top = number * STRIP_STEP
        _section(sketch, top, depth, float(at.clearance), float(open_), float(panel.shadow_gap))
        if not number:
            sketch.label_in(Area(-WALL * scale, top, (WALL + depth) * scale, STRIP / 3), "frame")
            sketch.label_in(Area((depth + float(open_)) * scale, top, FIELD * scale, STRIP * 2 / 3), "panel")
        sketch.label(-WALL * scale - 3, top + STRIP / 2, word, "end")
        right = (depth + float(panel.shadow_gap) + FIELD) * scale
        sketch.label(right + 3, top + STRIP / 2, _numbers(at, open_, shown), "start")
    built = (depth + float(panel.shadow_gap)) * scale
    sketch.line(built, -2, built, (len(seasons) - 1) * STRIP_STEP + STRIP + 2, "hidden", "gap as built")
    return sketch.done()


def _numbers(at: Season, gap: Fraction, shown: Shown) -> str:
    return f"room {shown.size(at.clearance)}, gap {shown.size(gap)}"


def _section(sketch: Sketch, top: float, depth: float, room: float, gap: float, built: float) -> None:
    """Stile with its groove, tongue and field: lengths across in mm of wood from the groove bottom."""
    scale, third = sketch.scale, STRIP / 3
    edge, field, end = depth * scale, (depth + gap) * scale, (depth + built + FIELD) * scale
    sketch.rect(Area(-WALL * scale, top, edge + WALL * scale, STRIP), "shade", "stile")
    sketch.rect(Area(0, top + third, edge, third), "gap", "groove")
    sketch.rect(Area(room * scale, top + third + 0.4, field - room * scale, third - 0.8), "part", "tongue")
    sketch.rect(Area(field, top, end - field, 2 * third - 0.4), "part", "field")
