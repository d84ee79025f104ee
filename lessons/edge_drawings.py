"""Rabbets and grooves along an edge, and holes in rows: where the tool stands, which way it goes, what is measured."""

from __future__ import annotations

from fractions import Fraction

from course.cabinet import Part
from lessons.bench import Bench
from shared.render.sketch import Area, Drawing, Sketch, Span

BIT, BEARING, SHANK = Fraction(12), Fraction(6), Fraction(8)
"""How high cutter and bearing of a rabbeting bit are drawn, and how thick its shank: about as they are. [mm]"""
BELOW = Fraction(14)
"""How much of the wall is drawn below the rabbet. [mm]"""
ROUND = 30.0
"""How high the small picture of the way round is. [mm of paper]"""


def _on(bench: Bench, assembly: str, feature: str) -> Part:
    """The first part that a feature of an assembly is made on."""
    found = next(f for f in bench.cabinet.features if f.name == feature and f.assembly == assembly)
    return bench.cabinet.part(found.parts[0])


def back_rabbet(bench: Bench, assembly: str) -> Drawing:
    """The rabbet for the back in one wall of the case, cut through."""
    sketch = _rabbet_sketch(bench, assembly, "Rabbet for the back cut through", Fraction(0), "")
    _wall(bench, sketch, assembly)
    return sketch.done()


def back_rabbet_bit(bench: Bench, assembly: str) -> Drawing:
    """The bit in the last pass of the rabbet for the back, and the way round the case as seen from behind."""
    cutter = bench.values.number("shop.rabbet_cutter")
    wide, deep = (bench.values.number(f"{assembly}.back_rabbet.{size}") for size in ("width", "depth"))
    bearing = cutter - 2 * wide
    words = (
        f" The bearing of {bench.shown.fine(bearing)} runs on the inside of the wall. The router stands on the rear "
        "edge and on a board beside it. Seen from behind it goes round the inside clockwise."
    )
    sketch = _rabbet_sketch(bench, assembly, "Bit in its last pass, and the way round", cutter - wide + 26, words)
    _wall(bench, sketch, assembly)
    k, size = sketch.scale, sketch.size
    left, low, axis = float(wide - cutter) * k, float(deep) * k, float(wide - cutter / 2) * k
    high, run, shank = float(BIT) * k, float(BEARING) * k, float(SHANK) * k
    sketch.rect(Area(left, low - high, float(cutter) * k, high), "cutter", "shop.rabbet_cutter")
    sketch.rect(Area(axis - float(bearing) * k / 2, low, float(bearing) * k, run), "ring", "bearing")
    sketch.rect(Area(axis - shank / 2, 0, shank, max(0.0, low - high)), "shade", "shank")
    board = Area(left - 24 * k, 0, 22 * k, 14 * k)
    sketch.rect(board, "part", "board")
    sketch.label_in(board, "board")
    wall = bench.number(f"{_on(bench, assembly, 'back_rabbet').name}.thickness") * k
    base = Area(board.x, -size * 1.7, wall - board.x, size * 1.7)
    sketch.rect(base, "shade", "base")
    sketch.label_in(base, "base of the router")
    sketch.label(-1.0, low + run + size, f"bearing {bench.shown.fine_bare(bearing)}", "end")
    _way_round(bench, sketch, assembly, board.x - 10.0)
    return sketch.done()


def _rabbet_sketch(bench: Bench, assembly: str, title: str, beside: Fraction, more: str) -> Sketch:
    size = lambda name: bench.shown.size(bench.values.number(f"{assembly}.back_rabbet.{name}"))  # noqa: E731
    words = f"The rear edge of a wall cut through: a rabbet {size('width')} wide and {size('depth')} deep.{more}"
    thick = bench.values.number(f"{_on(bench, assembly, 'back_rabbet').name}.thickness")
    high = bench.values.number(f"{assembly}.back_rabbet.depth") + BELOW
    return bench.sketch(title, words, thick + beside, high, (bench.room[0] - 80, 36.0))


def _wall(bench: Bench, sketch: Sketch, assembly: str) -> None:
    """The wall with its rear edge up; its inside is at 0, on the left."""
    k, name = sketch.scale, f"{assembly}.back_rabbet"
    thick = bench.values.number(f"{_on(bench, assembly, 'back_rabbet').name}.thickness")
    wide, deep = (bench.values.number(f"{name}.{size}") for size in ("width", "depth"))
    w, d, t, low = float(wide) * k, float(deep) * k, float(thick) * k, float(deep + BELOW) * k
    sketch.polygon([(w, 0), (t, 0), (t, low), (0, low), (0, d), (w, d)], "shade", f"{assembly}.wall")
    across = [
        Span(0, w, bench.text(f"{name}.width"), f"{name}.width"),
        Span(w, t, bench.said(thick - wide), "left over"),
    ]
    below = sketch.chain("x", low + 5, across, 1, low)
    sketch.chain("y", t + 5, [Span(0, d, bench.text(f"{name}.depth"), f"{name}.depth")], 1, t)
    sketch.label(t / 2, below + sketch.size * 0.8, "inside on the left")


def _way_round(bench: Bench, sketch: Sketch, assembly: str, right: float) -> None:
    """A small picture of the case from behind, with clockwise arrows in the rabbet; it ends on the right there."""
    if not all(bench.has(f"{assembly}.{size}") for size in ("width", "height")):
        return
    outside, high = (bench.number(f"{assembly}.{size}") for size in ("width", "height"))
    k = min(ROUND / high, 1.4 * ROUND / outside)
    wide, tall, ledge = outside * k, high * k, 5.0
    case = Area(right - wide, 0, wide, tall)
    sketch.rect(case, "shade", "case from behind")
    sketch.rect(Area(case.x + ledge, ledge, wide - 2 * ledge, tall - 2 * ledge), "part")
    near, far = 2.5, 5.5
    x, y, r, b = case.x, case.y, case.x + wide, tall
    for start, end in (
        ((x + far, y + near), (r - far, y + near)), ((r - near, y + far), (r - near, b - far)),
        ((r - far, b - near), (x + far, b - near)), ((x + near, b - far), (x + near, y + far)),
    ):  # fmt: skip
        sketch.arrow(*start, *end)
    sketch.label(x + wide / 2, tall + sketch.size, "from behind:", bold=True)
    sketch.label(x + wide / 2, tall + sketch.size * 2.3, "clockwise", bold=True)


def bottom_groove(bench: Bench, assembly: str) -> Drawing:
    """The groove for the bottom of a drawer, cut through: the part on its inside face, its lower edge at the fence."""
    return _bottom_groove(bench, assembly, "Groove for the bottom at the fence", True)


def bottom_groove_by_hand(bench: Bench, assembly: str) -> Drawing:
    """The groove for the bottom of a drawer, cut through: the inside face up, the plane's fence at the lower edge."""
    return _bottom_groove(bench, assembly, "Groove for the bottom cut through", False)


def _bottom_groove(bench: Bench, assembly: str, title: str, machine: bool) -> Drawing:
    part = _on(bench, assembly, "groove_for_bottom")
    up, wide = (bench.values.number(f"{assembly}.groove.{size}") for size in ("up", "width"))
    deep, thick = bench.values.number(f"{assembly}.groove.depth"), bench.values.number(f"{part.name}.thickness")
    size = bench.shown.fine
    face = "inside face down on the table" if machine else "inside face up"
    words = (
        f"{part.title.capitalize()} cut through, {face}, lower edge at the fence: the groove begins {size(up)} from "
        f"that edge and is {size(wide)} wide and {size(deep)} deep."
        f"{' To widen it the fence moves away from the bit.' if machine else ''}"
    )
    long = up + wide + 22
    sketch = bench.sketch(title, words, long + 18, thick + 6, (bench.room[0] - 70, 26.0))
    k, letter = sketch.scale, sketch.size
    u, w, d, t, end = (float(value) * k for value in (up, wide, deep, thick, long))
    # y = 0 is the inside face: the table below it, or the plane above it.
    away = -1.0 if machine else 1.0
    outline = [(0, 0), (u, 0), (u, d), (u + w, d), (u + w, 0), (end, 0), (end, t), (0, t)]
    sketch.polygon([(x, away * y) for x, y in outline], "part", part.name)
    fence = Area(-18 * k, min(0.0, away * (t + 3)), 18 * k, t + 3)
    sketch.rect(fence, "shade", "fence")
    sketch.label_in(fence, "fence")
    if machine:
        sketch.line(fence.x, 0, u, 0, "heavy")
        sketch.line(u + w, 0, end, 0, "heavy")
    spans = [
        Span(0, u, bench.text(f"{assembly}.groove.up"), f"{assembly}.groove.up"),
        Span(u, u + w, bench.text(f"{assembly}.groove.width", True), f"{assembly}.groove.width"),
    ]
    out = sketch.chain("x", -away * 5, spans, 1 if machine else -1, 0)
    at = Span(
        min(0.0, away * d), max(0.0, away * d), bench.text(f"{assembly}.groove.depth"), f"{assembly}.groove.depth"
    )
    sketch.chain("y", end + 5, [at], 1, end)
    inside = "inside face down" if machine else "inside face up"
    sketch.label(end / 2, away * (t + 3 + letter * 0.8), f"{inside}, lower edge at the fence")
    if machine:
        sketch.arrow(-2, out + letter, fence.x, out + letter)
        sketch.label(fence.x, out + letter * 2.3, "to widen, move the fence this way", "start", bold=True)
    return sketch.done()


def pin_holes(bench: Bench, assembly: str) -> Drawing:
    """Some of the holes for shelf pins in one side, as it lies inside face up."""
    n = lambda name: bench.values.number(f"{assembly}.pin.{name}")  # noqa: E731
    row, spacing, across = n("row"), n("spacing"), n("diameter")
    words = (
        f"Part of a side, inside face up, its front edge below: a row of holes {bench.shown.size(row)} from the front "
        f"edge, {bench.shown.size(spacing)} from middle to middle, {bench.shown.fine(across)} thick and "
        f"{bench.shown.size(n('depth'))} deep. Both sides are measured from the ticked end."
    )
    long, high = 4 * spacing, row + spacing / 2
    sketch = bench.sketch("Holes for the shelf pins", words, long, high, (bench.room[0] - 70, 34.0))
    k, letter = sketch.scale, sketch.size
    wide, tall, y = float(long) * k, float(high) * k, float(spacing / 2) * k
    sketch.rect(Area(0, 0, wide, tall), "part", "side")
    xs = [float(spacing) * k * (number + 0.5) for number in range(4)]
    for x in xs:
        sketch.circle(x, y, float(across) * k / 2, "shade", f"{assembly}.pin.diameter")
    name = f"{assembly}.pin.spacing"
    sketch.chain("x", -5, [Span(xs[1], xs[2], bench.text(name), name)], -1, y - float(across) * k / 2)
    name = f"{assembly}.pin.row"
    sketch.chain("y", wide + 5, [Span(y, tall, bench.text(name), name)], 1, xs[-1])
    sketch.label(wide / 2, tall + letter, "front edge")
    sketch.line(-1.5, tall - 6, 1.5, tall - 3, "heavy")
    sketch.label(-3, tall / 2 + letter, "ticked", "end")
    sketch.label(-3, tall / 2 + letter * 2.2, "end", "end")
    return sketch.done()
