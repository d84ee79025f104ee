"""A drawing on paper: lines and labels in millimetres of paper, with labels that never cover each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

POINT = 25.4 / 72
"""Millimetres in a typographic point."""
FONT = "DejaVu Sans, Verdana, sans-serif"
WIDE = 0.64
"""Width of a digit in the typeface of the papers, as a share of the type size."""

STYLES = {
    "outline": 'fill="#ffffff" stroke="#000000" stroke-width="0.45"',
    "part": 'fill="#ffffff" stroke="#000000" stroke-width="0.35"',
    "shade": 'fill="#e4e4e4" stroke="#000000" stroke-width="0.35"',
    "cutter": 'fill="#9a9a9a" stroke="#000000" stroke-width="0.45"',
    "gap": 'fill="#ffffff" stroke="#000000" stroke-width="0.25"',
    "hidden": 'fill="none" stroke="#000000" stroke-width="0.3" stroke-dasharray="2 1.2"',
    "blank": 'fill="#ffffff" stroke="none"',
    "outline_only": 'fill="none" stroke="#000000" stroke-width="0.45"',
    "line": 'fill="none" stroke="#000000" stroke-width="0.45"',
    "thin": 'fill="none" stroke="#000000" stroke-width="0.2"',
    "heavy": 'fill="none" stroke="#000000" stroke-width="0.9"',
    "dot": 'fill="#000000" stroke="#ffffff" stroke-width="0.2"',
    "ring": 'fill="#ffffff" stroke="#000000" stroke-width="0.45"',
    "pale": 'fill="#e4e4e4" stroke="none"',
}
"""Line weights in mm of paper; nothing thinner than 0.2 mm, so that a cheap printer shows it."""


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle of paper in mm; y goes down."""

    x: float
    y: float
    width: float
    height: float

    def meets(self, other: Area, room: float = 0.0) -> bool:
        """Whether two rectangles cover each other, or come nearer than `room`."""
        return (
            self.x < other.x + other.width + room
            and other.x < self.x + self.width + room
            and self.y < other.y + other.height + room
            and other.y < self.y + self.height + room
        )


@dataclass(frozen=True, slots=True)
class Span:
    """One dimension: from where to where along its line, and what is written at it."""

    start: float
    end: float
    text: str
    name: str = ""
    """Name of the quantity that the text states."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A finished drawing."""

    title: str
    alt: str
    """What it shows, for those who do not see it."""
    svg: str
    width: float
    """[mm]"""
    height: float
    """[mm]"""


def spread(wanted: Sequence[tuple[float, float]], room: float) -> list[float]:
    """Centres as near as possible to where they are wanted, in order, without covering each other.

    Least squares by pooling neighbours (isotonic regression).

    Args:
        wanted: Of each label, in rising order: its wanted centre and half of its size.
        room: Least gap between two labels.
    """
    offsets, total = [], 0.0
    for number, (_, half) in enumerate(wanted):
        total += (wanted[number - 1][1] + half + room) if number else 0.0
        offsets.append(total)
    pools: list[list[float]] = []
    for (centre, _), offset in zip(wanted, offsets, strict=True):
        pools.append([centre - offset, 1])
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            mean, count = pools.pop()
            pools[-1] = [(pools[-1][0] * pools[-1][1] + mean * count) / (pools[-1][1] + count), pools[-1][1] + count]
    bases = [mean for mean, count in pools for _ in range(int(count))]
    return [base + offset for base, offset in zip(bases, offsets, strict=True)]


@dataclass
class Sketch:
    """A drawing in the making."""

    title: str
    alt: str
    points: float = 9.0
    """Type size. [pt]"""
    scale: float = 1.0
    """Millimetres of paper for a millimetre of wood."""
    items: list[str] = field(default_factory=list)
    labels: list[tuple[str, Area]] = field(default_factory=list)
    covered: list[Area] = field(default_factory=list)
    """Everything drawn, for the size of the paper."""

    @property
    def size(self) -> float:
        """Type size. [mm]"""
        return self.points * POINT

    def wide(self, text: str) -> float:
        """Room that a text needs. [mm]"""
        return WIDE * self.size * len(text)

    # -- shapes --------------------------------------------------------------------------------------

    def rect(self, area: Area, style: str = "part", name: str = "") -> None:
        """A rectangle; its name says which thing or quantity it stands for."""
        self.covered.append(area)
        self.items.append(
            f'<rect x="{area.x:.3f}" y="{area.y:.3f}" width="{area.width:.3f}" height="{area.height:.3f}" '
            f"{STYLES[style]}{_named(name)}/>"
        )

    def line(self, x1: float, y1: float, x2: float, y2: float, style: str = "line", name: str = "") -> None:
        """A straight line."""
        self.covered.append(Area(min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1)))
        self.items.append(
            f'<line x1="{x1:.3f}" y1="{y1:.3f}" x2="{x2:.3f}" y2="{y2:.3f}" {STYLES[style]}{_named(name)}/>'
        )

    def polygon(self, points: Iterable[tuple[float, float]], style: str = "part", name: str = "") -> None:
        """A closed outline."""
        corners = list(points)
        xs, ys = [x for x, _ in corners], [y for _, y in corners]
        self.covered.append(Area(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)))
        text = " ".join(f"{x:.3f},{y:.3f}" for x, y in corners)
        self.items.append(f'<polygon points="{text}" {STYLES[style]}{_named(name)}/>')

    def circle(self, x: float, y: float, radius: float, style: str = "part", name: str = "") -> None:
        """A circle."""
        self.covered.append(Area(x - radius, y - radius, 2 * radius, 2 * radius))
        self.items.append(f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{radius:.3f}" {STYLES[style]}{_named(name)}/>')

    def hatch(self, area: Area, step: float = 2.0, rising: bool = True) -> None:
        """Slanting lines over a rectangle."""
        position = area.x - area.height
        while position < area.x + area.width:
            low, high = max(position, area.x), min(position + area.height, area.x + area.width)
            if high > low:
                y1, y2 = area.y + (low - position), area.y + (high - position)
                if rising:
                    y1, y2 = 2 * area.y + area.height - y1, 2 * area.y + area.height - y2
                self.line(low, y1, high, y2, "thin")
            position += step

    def arrow(self, x1: float, y1: float, x2: float, y2: float, style: str = "heavy") -> None:
        """An arrow to the second point."""
        self.line(x1, y1, x2, y2, style)
        self._head(x2, y2, math.atan2(y2 - y1, x2 - x1), 2.6)

    def _head(self, x: float, y: float, angle: float, length: float) -> None:
        points = [(x, y)]
        points += [(x - length * math.cos(angle + turn), y - length * math.sin(angle + turn)) for turn in (0.4, -0.4)]
        text = " ".join(f"{px:.3f},{py:.3f}" for px, py in points)
        self.items.append(f'<polygon points="{text}" fill="#000000"/>')

    def turning(self, x: float, y: float, radius: float) -> None:
        """An arc with an arrow head, against the clock."""
        x1, y1 = x + radius * math.cos(-0.5), y + radius * math.sin(-0.5)
        x2, y2 = x + radius * math.cos(-2.6), y + radius * math.sin(-2.6)
        self.covered.append(Area(x - radius, y - radius, 2 * radius, 2 * radius))
        self.items.append(
            f'<path d="M {x1:.3f} {y1:.3f} A {radius:.3f} {radius:.3f} 0 0 0 {x2:.3f} {y2:.3f}" {STYLES["line"]}/>'
        )
        self._head(x2, y2, -2.6 - math.pi / 2 - 0.2, 2.2)

    # -- labels --------------------------------------------------------------------------------------

    def area_of(self, x: float, y: float, text: str, anchor: str = "middle", upright: bool = False) -> Area:
        """The paper a label covers when the middle of its height stands at y."""
        width, height = self.wide(text), self.size
        if upright:
            return Area(x - height / 2, y - width / 2, height, width)
        left = {"start": 0.0, "middle": width / 2, "end": width}[anchor]
        return Area(x - left, y - height / 2, width, height)

    def free(self, area: Area) -> bool:
        """Whether a label may stand there."""
        return not any(area.meets(other) for _, other in self.labels)

    def label(
        self,
        x: float,
        y: float,
        text: str,
        anchor: str = "middle",
        upright: bool = False,
        name: str = "",
        bold: bool = False,
    ) -> Area:
        """A text whose middle height stands at y."""
        area = self.area_of(x, y, text, anchor, upright)
        self.labels.append((text, area))
        self.covered.append(area)
        turned = f' transform="rotate(-90 {x:.3f} {y:.3f})"' if upright else ""
        weight = ' font-weight="bold"' if bold else ""
        self.items.append(
            f'<text x="{x:.3f}" y="{y + self.size * 0.35:.3f}" text-anchor="{"middle" if upright else anchor}" '
            f'font-family="{FONT}" font-size="{self.size:.3f}"{weight} fill="#000000" '
            f'stroke="#ffffff" stroke-width="0.5" paint-order="stroke"{turned}{_named(name)}>'
            f"{escape(text)}</text>"
        )
        return area

    def label_in(self, area: Area, text: str, name: str = "") -> bool:
        """A text in the middle of a rectangle, upright if need be; False when there is no room."""
        x, y = area.x + area.width / 2, area.y + area.height / 2
        for upright in (False, True):
            wanted = self.area_of(x, y, text, upright=upright)
            fits = wanted.width <= area.width and wanted.height <= area.height
            if fits and self.free(wanted):
                self.label(x, y, text, upright=upright, name=name)
                return True
        return False

    def chain(self, axis: str, at: float, spans: Sequence[Span], side: int, start_from: float) -> float:
        """Dimensions in one line with their texts beside it.

        Args:
            axis: `x` for a level line, `y` for an upright one.
            at: Where the line stands across the axis.
            spans: In rising order along the axis.
            side: On which side of the line the texts stand, -1 or 1.
            start_from: Where the extension lines begin across the axis.

        Returns:
            How far the chain reaches across the axis, texts included.
        """
        level = axis == "x"
        for place in sorted({p for span in spans for p in (span.start, span.end)}):
            away = 1.0 if at > start_from else -1.0
            self._across(level, place, start_from + away * 0.8, at + away * 0.8)
            self._tick(level, place, at)
        for span in spans:
            self._along(level, at, span.start, span.end)
        half = [(self.wide(s.text) if level else self.size) / 2 for s in spans]
        wanted = [((s.start + s.end) / 2, h) for s, h in zip(spans, half, strict=True)]
        reach = at + side * 1.4
        for span, (middle, _), place in zip(spans, wanted, spread(wanted, 1.2 if level else 0.5), strict=True):
            moved = abs(place - middle) > 0.3
            stand = at + side * (3.4 if moved else 1.4)
            if moved:
                self._leader(level, middle, at, place, stand - side * 0.4)
            if level:
                area = self.label(place, stand + side * self.size * 0.55, span.text, name=span.name)
                far = area.y + area.height if side > 0 else area.y
            else:
                area = self.label(stand, place, span.text, "start" if side > 0 else "end", name=span.name)
                far = area.x + area.width if side > 0 else area.x
            reach = max(reach, far) if side > 0 else min(reach, far)
        return reach

    def _across(self, level: bool, place: float, start: float, end: float) -> None:
        """A line across the axis, with a gap at each label that stands in its way."""
        low, high = min(start, end), max(start, end)
        for first, last in [*self._in_the_way(level, place), (high, high)]:
            if min(first, high) > low:
                along = min(first, high)
                self.line(*((place, low, place, along) if level else (low, place, along, place)), style="thin")
            low = max(low, last)

    def _in_the_way(self, level: bool, place: float) -> list[tuple[float, float]]:
        """From where to where labels stand in the way of a line across the axis, in rising order."""
        found = []
        for _, area in self.labels:
            across, wide = (area.x, area.width) if level else (area.y, area.height)
            along, long = (area.y, area.height) if level else (area.x, area.width)
            if across < place < across + wide:
                found.append((along - 0.3, along + long + 0.3))
        return sorted(found)

    def _along(self, level: bool, at: float, start: float, end: float) -> None:
        points = (start, at, end, at) if level else (at, start, at, end)
        self.line(*points, style="thin")

    def _tick(self, level: bool, place: float, at: float) -> None:
        x, y = (place, at) if level else (at, place)
        self.line(x - 0.8, y + 0.8, x + 0.8, y - 0.8, "line")

    def _leader(self, level: bool, start: float, at: float, end: float, stand: float) -> None:
        points = (start, at, end, stand) if level else (at, start, stand, end)
        self.line(*points, style="thin")

    # -- the whole -----------------------------------------------------------------------------------

    def done(self, margin: float = 1.5) -> Drawing:
        """The drawing, cut to what is on it."""
        left = min(a.x for a in self.covered) - margin
        top = min(a.y for a in self.covered) - margin
        width = max(a.x + a.width for a in self.covered) + margin - left
        height = max(a.y + a.height for a in self.covered) + margin - top
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
            f'viewBox="{left:.3f} {top:.3f} {width:.3f} {height:.3f}" data-scale="{self.scale:.6f}" role="img" '
            f'aria-label="{escape(self.alt, quote=True)}"><title>{escape(self.title)}</title>'
            f"{''.join(self.items)}</svg>"
        )
        return Drawing(self.title, self.alt, svg, width, height)


def _named(name: str) -> str:
    return f' data-name="{escape(name, quote=True)}"' if name else ""
