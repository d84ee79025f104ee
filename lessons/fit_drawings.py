"""Squareness and reveals, with blanks to write what is read."""

from __future__ import annotations

from fractions import Fraction

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
    """A door in its opening with the gap wanted on each side and blanks for three readings a side.

    Of a pair both leaves are drawn, with the gap where they meet; left and right are the sides of the opening.
    """
    values, frame = bench.values, bench.cabinet.assemblies[assembly]
    room = frame.fills
    wide, high = values.number(f"{assembly}.width"), values.number(f"{assembly}.height")
    words = "; ".join(
        f"reveal {side} {bench.shown.fine(_target(bench, f'{assembly}.reveal.{side}'))}"
        for side in ("left", "right", "top", "bottom")
    )
    pair = leaves(bench.cabinet, frame)
    meets = bench.shown.fine(values.number(f"{assembly}.meeting_gap"))
    words += f"; gap between the leaves {meets}" if len(pair) > 1 else ""
    sketch = bench.sketch(
        "Reveals", f"The door in its opening, gaps drawn wider than they are: {words}.", wide * len(pair), high,
        (75.0, 80.0),
    )  # fmt: skip
    k, gap = sketch.scale, 3.0
    w, h = float(wide) * k, float(high) * k
    whole = (w + gap) * len(pair) - gap
    sketch.rect(Area(-gap, -gap, whole + 2 * gap, h + 2 * gap), "outline", room)
    at = 0.0
    for number, leaf in enumerate(pair):
        x = (w + gap) * number
        at = x if leaf.name == assembly else at
        sketch.rect(Area(x, 0, w, h), "part" if leaf.name == assembly else "thin", leaf.name)
        sketch.label_in(Area(x, h * 0.3, w, h * 0.4), leaf.title)
        if number:
            sketch.label(x - gap / 2, h * 0.15, meets, name=f"{assembly}.meeting_gap")
    blank = sketch.wide("00.00") + 5
    level = min(blank, w * 0.38 - 2)
    for side, x in (("left", -gap - 3), ("right", whole + gap + 3)):
        anchor = "end" if side == "left" else "start"
        for share in (0.12, 0.5, 0.88):
            _blank(sketch, x if anchor == "start" else x - blank, h * share, blank)
        sketch.label(x, h * 0.31, _wanted(bench, assembly, side), anchor, name=f"{assembly}.reveal.{side}")
    for side, y in (("top", -gap - sketch.size), ("bottom", h + gap + sketch.size * 1.4)):
        for share in (0.12, 0.5, 0.88):
            _blank(sketch, at + w * share - level / 2, y, level)
        stand = y - sketch.size * 1.6 if side == "top" else y + sketch.size * 1.3
        sketch.label(at + w / 2, stand, f"{side}: {_wanted(bench, assembly, side)}", name=f"{assembly}.reveal.{side}")
    return sketch.done()


def _target(bench: Bench, name: str) -> Fraction:
    value = bench.values.target(name)
    assert isinstance(value, Fraction)
    return value


def _wanted(bench: Bench, assembly: str, side: str) -> str:
    return bench.shown.fine(_target(bench, f"{assembly}.reveal.{side}"))


def _blank(sketch: Sketch, x: float, y: float, wide: float) -> None:
    sketch.line(x, y + sketch.size * 0.4, x + wide, y + sketch.size * 0.4, "line", "blank")
