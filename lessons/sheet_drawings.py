"""A sheet or board drawn to scale as it is sawn: pieces, cuts in their order, offcuts, defects."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction

from course.cut_sheets import Area as Rectangle
from course.cut_sheets import CutPart, CutSheet
from course.needs import Need
from shared.render.sketch import Area, Drawing, Sketch, Span
from shared.units import Shown

ROOM = (236.0, 88.0)
"""Paper for a sheet's drawing, without its sizes. [mm]"""
PART_POINTS = (7.5, 6.5, 5.5)
"""Type sizes of the labels in a drawing, the best first. [pt]"""


def sheet_drawing(sheet: CutSheet, shown: Shown, kept: Mapping[Rectangle, str]) -> Drawing:
    """The sheet or board to scale: pieces with student and part, cuts numbered in their order, waste hatched.

    Args:
        sheet: As it is sawn.
        shown: How lengths are printed.
        kept: What the offcuts that are kept are called.
    """
    scale = min(ROOM[0] / float(sheet.length), ROOM[1] / float(sheet.width))
    alt = (
        f"{sheet.name}, {shown.bare(sheet.length)} by {shown.size(sheet.width)}, with {len(sheet.parts)} pieces and "
        f"{len(sheet.steps)} cuts: " + ", ".join(part.need.name for part in sheet.parts)
    )
    sketch = Sketch(f"Layout of {sheet.name}", alt, PART_POINTS[0], scale)

    def area(x: Fraction, y: Fraction, length: Fraction, width: Fraction) -> Area:
        return Area(float(x) * scale, float(y) * scale, float(length) * scale, float(width) * scale)

    whole = area(Fraction(0), Fraction(0), sheet.length, sheet.width)
    sketch.rect(whole, "blank")
    sketch.hatch(whole, 2.2)
    for left in sheet.kept:
        sketch.rect(area(left.x, left.y, left.length, left.width), "shade", "kept")
    for part in sheet.parts:
        place = part.area
        sketch.rect(area(place.x, place.y, place.length, place.width), "part", part.need.name)
        for blank in part.blanks:
            sketch.rect(area(blank.x, blank.y, blank.length, blank.width), "hidden", "part of a joined strip")
    for flaw in sheet.defects:
        sketch.rect(area(flaw.x, flaw.y, flaw.length, flaw.width), "cutter", "defect")
    for step in sheet.steps:
        line = step.line
        sketch.rect(area(line.x, line.y, line.length, line.width), "cutter", f"cut {step.number}")
    sketch.rect(whole, "outline_only")
    for step in sheet.steps:
        _number(sketch, area(step.line.x, step.line.y, step.line.length, step.line.width), step.number, step.rip)
    for part in sheet.parts:
        for place, name in _labelled(part):
            size = f"{shown.bare(place.length)} \u00d7 {shown.bare(place.width)}"
            _words_in(sketch, area(place.x, place.y, place.length, place.width), name, size)
    for left in sheet.kept:
        size = f"{shown.bare(left.length)} \u00d7 {shown.bare(left.width)}"
        _words_in(sketch, area(left.x, left.y, left.length, left.width), kept[left], size)
    sketch.points = PART_POINTS[-1]
    for flaw in sheet.defects:
        sketch.label_in(area(flaw.x, flaw.y, flaw.length, flaw.width), "defect")
    sketch.points = PART_POINTS[0]
    low = whole.height + 4
    sketch.chain("x", low, [Span(0, whole.width, shown.size(sheet.length))], 1, whole.height)
    sketch.chain("y", whole.width + 4, [Span(0, whole.height, shown.size(sheet.width))], 1, whole.width)
    sketch.arrow(0, low + 3, 22, low + 3, "line")
    sketch.label(24, low + 3, "grain", "start")
    return sketch.done()


def _labelled(part: CutPart) -> Iterator[tuple[Rectangle, str]]:
    """What is written where on a piece: its name, or that of each part that stays joined in it."""
    if not part.blanks:
        yield part.area, _label(part.need)
    for place, blank in zip(part.blanks, part.need.blanks, strict=False):
        yield place, f"{part.need.student} {blank.part.label}"


def _label(need: Need) -> str:
    """What is written on a piece in a drawing."""
    return need.name if need.student else need.title


def _number(sketch: Sketch, line: Area, number: int, rip: bool) -> None:
    """The number of a cut on its line, where no other stands."""
    sketch.points = PART_POINTS[1]
    text = str(number)
    spots = [0.5, 0.35, 0.65, 0.2, 0.8, 0.08, 0.92, 0.03, 0.97]
    places = [
        (line.x + share * line.width, line.y + line.height / 2) if rip
        else (line.x + line.width / 2, line.y + share * line.height)
        for share in spots
    ]  # fmt: skip
    free = (place for place in places if sketch.free(_around(sketch, *place, text)))
    x, y = next(free, places[0])
    spot = _around(sketch, x, y, text)
    sketch.rect(spot, "gap")
    sketch.label(x, y, text, bold=True)


def _around(sketch: Sketch, x: float, y: float, text: str) -> Area:
    area = sketch.area_of(x, y, text)
    return Area(area.x - 0.5, area.y - 0.4, area.width + 1.0, area.height + 0.8)


def _words_in(sketch: Sketch, room: Area, name: str, size: str) -> None:
    """A name, and a size below it, level or upright, in the largest type that fits."""
    for points in PART_POINTS:
        sketch.points = points
        if _two_lines(sketch, room, (name, size)):
            return
    for points in PART_POINTS:
        sketch.points = points
        if sketch.label_in(room, name):
            return
    sketch.points = PART_POINTS[-1]
    sketch.label(room.x + room.width / 2, room.y + room.height / 2, name, upright=room.height > room.width)


def _two_lines(sketch: Sketch, room: Area, lines: tuple[str, str]) -> bool:
    step = sketch.size * 1.25
    for upright in (False, True):
        across, along = (room.width, room.height) if upright else (room.height, room.width)
        if across < 2 * step + 1 or along < max(map(sketch.wide, lines)) + 1:
            continue
        x, y = room.x + room.width / 2, room.y + room.height / 2
        at = [(x - step / 2, y), (x + step / 2, y)] if upright else [(x, y - step / 2), (x, y + step / 2)]
        wanted = [sketch.area_of(*p, line, upright=upright) for p, line in zip(at, lines, strict=True)]
        if all(sketch.free(area) for area in wanted):
            for number, (place, line) in enumerate(zip(at, lines, strict=True)):
                sketch.label(*place, line, upright=upright, bold=number == 0)
            return True
    return False
