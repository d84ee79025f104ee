"""Squareness and reveals, with blanks to write what is read."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from course.cabinet import Assembly
from lessons.bench import Bench
from lessons.cabinet_drawings import around
from lessons.layout import Box, layout, leaves, shape
from shared.render.sketch import Area, Drawing, Sketch, Span


def diagonals(bench: Bench, assembly: str) -> Drawing:
    """An assembly in its clamps with both diagonals and blanks to write them in."""
    placed = layout(bench.cabinet, bench.values)
    deep = shape(bench.cabinet.assemblies[assembly].kind).get("diagonals", "")
    if deep:
        box = Box(Fraction(0), Fraction(0), *(bench.values.number(f"{assembly}.{size}") for size in deep.split()))
    else:
        box = placed.frames.get(assembly) or around(
            placed.parts[p.name] for p in bench.cabinet.parts if p.assembly == assembly and p.name in placed.parts
        )
    names = diagonal_names(bench, assembly)
    sizes = ", ".join(dict.fromkeys(bench.shown.size(_target(bench, name)) for name in names))
    words = f"The diagonals a and b should both be {sizes}. Squeeze the longer one by half of the difference "
    words += "while the glue is wet."
    sketch = bench.sketch("Diagonals", words, box.width, box.height, (70.0, 50.0))
    k = sketch.scale
    w, h = float(box.width) * k, float(box.height) * k
    sketch.rect(Area(0, 0, w, h), "outline", assembly)
    inner = [] if deep else [view for name, view in placed.parts.items() if name.startswith(f"{assembly}.")]
    for part in inner:
        sketch.rect(
            Area(
                float(part.x - box.x) * k, float(box.top - part.top) * k, float(part.width) * k, float(part.height) * k
            ),
            "thin",
        )
    sketch.line(0, h, w, 0, "hidden", "a")
    sketch.line(0, 0, w, h, "hidden", "b")
    for x, y, text in ((w * 0.25, h * 0.75, "a"), (w * 0.25, h * 0.25, "b")):
        area = sketch.area_of(x, y, f" {text} ")
        sketch.rect(area, "blank")
        sketch.label(x, y, text, bold=True)
    for share in (0.2, 0.8):
        _clamp(sketch, w, h * share)
    sketch.chain("y", -10.0, [Span(0, h, bench.said(box.height), deep.split()[1] if deep else "height")], -1, 0.0)
    sketch.chain("x", h + 5.0, [Span(0, w, bench.said(box.width), "width")], 1, h)
    says = [f"{_letter(name)}: {bench.shown.bare(_target(bench, name))}  reads" for name in names]
    at, line = w + 16.0, sketch.size * 2.2
    start = at + max(map(sketch.wide, says)) + 1
    for number, (name, text) in enumerate(zip(names, says, strict=True)):
        sketch.label(at, line * (number + 0.8), text, "start", name=name)
        _blank(sketch, start, line * (number + 0.8), 24.0)
    return sketch.done()


def diagonal_names(bench: Bench, assembly: str) -> list[str]:
    """The diagonals of an assembly that are read, in order."""
    return [
        q.name
        for q in bench.cabinet.graph.quantities
        if q.name.startswith(f"{assembly}.diagonal.") and q.read is not None
    ]


def _letter(name: str) -> str:
    return name.rsplit(".", 1)[-1].replace("_", " ")


def _clamp(sketch: Sketch, width: float, y: float) -> None:
    sketch.line(-5, y, width + 5, y, "thin")
    for x in (-4.0, width):
        sketch.rect(Area(x, y - 2.5, 4.0, 5.0), "shade", "clamp")


def reveal_map(bench: Bench, assembly: str) -> Drawing:
    """A door in its opening with the gap wanted at each place and blanks for three readings of each.

    Of a pair both leaves are drawn, each gap once: left and right at the sides of the opening, the gap between the
    leaves where they meet. The drawing is the same for both.
    """
    values, frame = bench.values, bench.cabinet.assemblies[assembly]
    pair = leaves(bench.cabinet, frame)
    wide, high = values.number(f"{assembly}.width"), values.number(f"{assembly}.height")
    sketch = bench.sketch(
        "Reveals", f"The door in its opening, gaps drawn wider than they are: {_in_words(bench, pair)}.",
        wide * len(pair), high, (75.0, 80.0),
    )  # fmt: skip
    k, gap = sketch.scale, 3.0
    blank = sketch.wide("00.00") + 5
    between = blank + 2 if len(pair) > 1 else 0.0
    w, h = float(wide) * k, float(high) * k
    whole = (w + between) * len(pair) - between
    sketch.rect(Area(-gap, -gap, whole + 2 * gap, h + 2 * gap), "outline", frame.fills)
    for number, leaf in enumerate(pair):
        x = (w + between) * number
        sketch.rect(Area(x, 0, w, h), "part", leaf.name)
        sketch.label_in(Area(x, h * 0.3, w, h * 0.4), leaf.title)
        _sides(bench, sketch, leaf.name, Area(x, 0, w, h), gap, blank)
        _ends(bench, sketch, leaf.name, Area(x, 0, w, h), gap, min(blank, w * 0.38 - 2))
        if number + 1 < len(pair):
            _beside(bench, sketch, f"{leaf.name}.meeting", x + w + 1, h, blank, "start")
    return sketch.done()


def _in_words(bench: Bench, pair: Sequence[Assembly]) -> str:
    """Every gap of a door, or of a pair, with what is wanted."""
    found = []
    for leaf in pair:
        of = f" of the {leaf.title}" if len(pair) > 1 else ""
        for side in ("left", "right", "top", "bottom"):
            if f"{leaf.name}.reveal.{side}" in bench.cabinet.graph:
                found.append(f"reveal {side}{of} {_wanted(bench, f'{leaf.name}.reveal.{side}')}")
        if f"{leaf.name}.meeting" in bench.cabinet.graph:
            found.append(f"gap between the leaves {_wanted(bench, f'{leaf.name}.meeting')}")
    return "; ".join(found)


def _sides(bench: Bench, sketch: Sketch, leaf: str, area: Area, gap: float, blank: float) -> None:
    """The hinge side of a leaf, or both sides of one alone; the edges that meet another have none."""
    for side, x, anchor in (("left", area.x - gap - 3, "end"), ("right", area.x + area.width + gap + 3, "start")):
        if f"{leaf}.reveal.{side}" in bench.cabinet.graph:
            _beside(bench, sketch, f"{leaf}.reveal.{side}", x, area.height, blank, anchor)


def _beside(bench: Bench, sketch: Sketch, name: str, x: float, high: float, blank: float, anchor: str) -> None:
    """A gap that stands upright: three blanks and what is wanted, from `x` to the right, or to the left of it."""
    for share in (0.12, 0.5, 0.88):
        _blank(sketch, x if anchor == "start" else x - blank, high * share, blank)
    sketch.label(x, high * 0.31, _wanted(bench, name), anchor, name=name)


def _ends(bench: Bench, sketch: Sketch, leaf: str, area: Area, gap: float, blank: float) -> None:
    """The gaps above and below a leaf."""
    for side, y in (("top", -gap - sketch.size), ("bottom", area.height + gap + sketch.size * 1.4)):
        for share in (0.12, 0.5, 0.88):
            _blank(sketch, area.x + area.width * share - blank / 2, y, blank)
        stand = y - sketch.size * 1.6 if side == "top" else y + sketch.size * 1.3
        name = f"{leaf}.reveal.{side}"
        sketch.label(area.x + area.width / 2, stand, f"{side}: {_wanted(bench, name)}", name=name)


def _target(bench: Bench, name: str) -> Fraction:
    value = bench.values.target(name)
    assert isinstance(value, Fraction)
    return value


def _wanted(bench: Bench, name: str) -> str:
    return bench.shown.fine(_target(bench, name))


def _blank(sketch: Sketch, x: float, y: float, wide: float) -> None:
    sketch.line(x, y + sketch.size * 0.4, x + wide, y + sketch.size * 0.4, "line", "blank")
