"""Charts of a class: every result against its limits, how results are distributed, and how far the class is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import chain, count, pairwise
from math import floor

from rubrics.class_findings import CheckFigures, Point, Progress, scaled
from rubrics.marks import signed
from shared.render.sketch import Area, Drawing, Sketch
from shared.units import Shown

UNIT = 13.0
"""Paper for one limit. [mm]"""
WIDEST = 3.0
"""Limits beyond which a result stands at the edge, as an arrow."""
ROW, DOT = 6.0, 0.85
"""Height of a row, and radius of a dot. [mm]"""
CROWD = 60
"""Results from which a row has no room for dots."""
_FINE = 0.2
"""Width of a step of such a row, in limits."""
BIN = 0.5
"""Width of a column of the distribution, in limits."""
COLUMN = 11.0
"""Width of a column on paper. [mm]"""
LETTER = 2.0
"""Room for a letter of a name in a row. [mm]"""
TALLEST = 42.0
"""Height of the tallest column. [mm]"""


def strip_chart(title: str, figures: Sequence[CheckFigures], names: Mapping[str, str], shown: Shown) -> Drawing:
    """Every result of a stage as a dot in the row of its check, drawn in limits, with the limits shaded.

    Args:
        title: Of the drawing.
        figures: A row each.
        names: What stands at a result far from the others, by student; empty for a paper that is hung up.
        shown: In whose units the limits are said.
    """
    drawn = [one for one in figures if one.points]
    sketch = Sketch(title, _says(drawn), points=8.0)
    for row, one in enumerate(drawn):
        y = row * ROW
        start = 0.0 if one.check.one_sided else -1.0
        sketch.rect(Area(start * UNIT, y - ROW * 0.42, (1 - start) * UNIT, ROW * 0.84), "pale", one.check.id)
        sketch.line(-WIDEST * UNIT, y, WIDEST * UNIT, y, "thin")
        sketch.label(-WIDEST * UNIT - 2.5, y, one.check.title.replace("\u00a0", " "), "end")
        sketch.label(WIDEST * UNIT + 2.5, y, f"{_limits(one, shown)}: {one.inside} of {len(one.points)}", "start")
        (_dots if len(one.points) <= CROWD else _columns)(sketch, one.points, y, names)
        _mean(sketch, one, y)
    bottom = (len(drawn) - 0.45) * ROW
    crowd = any(len(one.points) > CROWD for one in drawn)
    each = "the wider a row, the more results" if crowd else "each dot a result"
    sketch.label(0, bottom + 2.2, f"{each}; shaded: within the limits; upright line: the mean")
    return sketch.done()


def _says(figures: Sequence[CheckFigures]) -> str:
    rows = "; ".join(f"{one.check.title}: {one.inside} of {len(one.points)} inside" for one in figures)
    return f"Dots of all results against the limits of each check. {rows}."


def _limits(one: CheckFigures, shown: Shown) -> str:
    check = one.check
    if check.one_sided:
        return f"up to {shown.fine(check.upper)}"
    if -check.lower == check.upper:
        return f"\u00b1{shown.fine(check.upper)}"
    return f"{signed(check.lower, shown).split(chr(0xA0))[0]} to {signed(check.upper, shown)}"


def _mean(sketch: Sketch, one: CheckFigures, y: float) -> None:
    if one.enough and one.mean is not None:
        x = max(-WIDEST, min(WIDEST, scaled(one.check, one.mean))) * UNIT
        sketch.line(x, y - ROW * 0.42, x, y + ROW * 0.42, "heavy")


def _dots(sketch: Sketch, points: Sequence[Point], y: float, names: Mapping[str, str]) -> None:
    """Dots side by side where they would cover each other; full ones inside the limits, rings outside."""
    placed: list[tuple[float, int]] = []
    named: list[tuple[float, str]] = []
    for point in sorted(points, key=lambda point: (point.scaled, point.mark.student.id)):
        if abs(point.scaled) > WIDEST:
            x = _beyond(sketch, y, 1 if point.scaled > 0 else -1)
        else:
            x = point.scaled * UNIT
            near = {level for at, level in placed if abs(at - x) < 2 * DOT}
            level = next(level for level in chain((0, 1, -1, 2, -2), count(3)) if level not in near)
            placed.append((x, level))
            at = max(-2.0, min(2.0, float(level))) * DOT * 1.25
            sketch.circle(x, y + at, DOT, "dot" if point.inside else "ring")
        if point.far and point.mark.student.id in names:
            named.append((x, names[point.mark.student.id]))
    for side in (1, -1):
        _name(sketch, y, side, [(abs(x), name) for x, name in named if side * x > 0])


def _name(sketch: Sketch, y: float, side: int, named: Sequence[tuple[float, str]]) -> None:
    """Names on the inner side of what they belong to; those that would cover each other stand together."""
    groups: list[tuple[float, list[str]]] = []
    for x, name in sorted(named, reverse=True):
        if groups and x > groups[-1][0] - 2 - LETTER * len(", ".join(groups[-1][1])):
            groups[-1][1].append(name)
        else:
            groups.append((x, [name]))
    for x, joined in groups:
        sketch.label(side * (x - 1.5), y - 1.2, ", ".join(joined), "end" if side > 0 else "start")


def _beyond(sketch: Sketch, y: float, side: int) -> float:
    """An arrow at the edge, for what lies beyond it; gives where its tail stands."""
    sketch.arrow(side * (WIDEST * UNIT - 4.5), y, side * (WIDEST * UNIT + 0.5), y, "line")
    return side * (WIDEST * UNIT - 5.5)


def _columns(sketch: Sketch, points: Sequence[Point], y: float, names: Mapping[str, str]) -> None:
    """A row that is the wider the more results lie there; for a crowd, in which nobody is named."""
    steps = [_FINE * step for step in range(-round(WIDEST / _FINE), round(WIDEST / _FINE))]
    counts = Counter(floor(point.scaled / _FINE + 1e-9) for point in points)
    most = max(counts[round(low / _FINE)] for low in steps) or 1
    for low in steps:
        tall = ROW * 0.84 * counts[round(low / _FINE)] / most
        if tall:
            sketch.rect(Area(low * UNIT, y - tall / 2, _FINE * UNIT, tall), "cutter")
    for side in (1, -1):
        if any(side * point.scaled > WIDEST for point in points):
            _beyond(sketch, y, side)


def distribution_chart(figures: Sequence[CheckFigures]) -> Drawing | None:
    """How all results that have two limits lie between them; None when there are none."""
    values = [point.scaled for one in figures if not one.check.one_sided for point in one.points]
    if not values:
        return None
    edges = [-WIDEST + BIN * step for step in range(round(2 * WIDEST / BIN) + 1)]
    counts = [sum(low <= value < high for value in values) for low, high in pairwise(edges)]
    counts[-1] += sum(value == edges[-1] for value in values)
    below, above = sum(value < edges[0] for value in values), sum(value > edges[-1] for value in values)
    inside = sum(-1 <= value <= 1 for value in values)
    alt = f"{inside} of {len(values)} results lie within their limits; {below} lie more than three limits under, "
    sketch = Sketch("All results in limits", alt + f"{above} more than three over.", points=8.0)
    scale = TALLEST / max(*counts, below, above, 1)
    middle = len(counts) / 2
    sketch.rect(Area(-COLUMN / BIN, -TALLEST - 6, 2 * COLUMN / BIN, TALLEST + 6), "pale")
    for place, found in enumerate([below, *counts, above]):
        x = (place - 1 - middle) * COLUMN
        if found:
            sketch.rect(Area(x, -found * scale, COLUMN, found * scale), "shade" if 0 < place <= len(counts) else "gap")
            sketch.label(x + COLUMN / 2, -found * scale - 2.2, str(found))
    sketch.line(-(middle + 1) * COLUMN, 0, (middle + 1) * COLUMN, 0)
    for limit in range(-int(WIDEST), int(WIDEST) + 1):
        sketch.line(limit * COLUMN / BIN, 0, limit * COLUMN / BIN, 1.5, "thin")
        sketch.label(limit * COLUMN / BIN, 3.6, f"{limit:+d}" if limit else "0")
    sketch.label(0, 8.4, "distance from the middle of the limits, in limits; shaded: within")
    return sketch.done()


def progress_chart(rows: Sequence[Progress]) -> Drawing:
    """How much of each stage is measured, and how much of that lies inside its limits."""
    alt = "; ".join(f"{row.stage}: {row.measured} of {row.asked} measured, {row.inside} inside" for row in rows)
    sketch = Sketch("How far the class is", f"{alt}.", points=8.0)
    whole = 100.0
    for number, row in enumerate(rows):
        y = number * (ROW + 2)
        sketch.label(-2.5, y, row.stage, "end")
        sketch.rect(Area(0, y - 2.4, whole, 4.8), "gap")
        sketch.rect(Area(0, y - 2.4, whole * row.measured / row.asked, 4.8), "part")
        if row.inside:
            sketch.rect(Area(0, y - 2.4, whole * row.inside / row.asked, 4.8), "shade")
        sketch.label(whole + 2.5, y, f"{row.inside} inside, {row.measured} measured of {row.asked}", "start")
    return sketch.done()
