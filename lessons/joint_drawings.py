"""Joints cut through, and how the machine is set for them: what is drawn is as long as the number says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from lessons.bench import Bench, part_of
from shared.render.sketch import Area, Drawing, Sketch, Span


def frame_section(bench: Bench, assembly: str) -> Drawing:
    """Groove, panel and tenon of a frame, cut through and larger than they are."""
    n = lambda name: bench.values.number(f"{assembly}.{name}")  # noqa: E731
    frame = part_of(bench, assembly, "upright")
    thick, panel = bench.values.number(f"{frame.name}.thickness"), part_of(bench, assembly, "panel")
    panel_thick = bench.values.number(f"{panel.name}.thickness")
    depth, gap = n("groove.depth"), n("panel.shadow_gap")
    solid, field = depth / 2 + 3, Fraction(12)
    width = solid + depth + gap + field
    tenon = _tenon(bench, assembly)
    tenon_width = bench.values.number(f"{tenon}.length") + 12 if tenon else Fraction(0)
    high = max(thick, n("panel.set_back") + panel_thick)
    room = (bench.room[0] - 62 - bench.points * 2, 60.0)
    sketch = bench.sketch(
        "Groove, panel and tenon cut through", _section_words(bench, assembly), width + tenon_width, high, room
    )
    _groove_and_panel(bench, sketch, assembly, thick, panel_thick, solid, field)
    if tenon:
        _tenon_view(bench, sketch, tenon, thick, float(width) * sketch.scale + 34 + bench.points * 1.6)
    return sketch.done()


def _tenon(bench: Bench, assembly: str) -> str:
    """Where the tenon's quantities stand, as `door.tenon`; empty when the joint has none."""
    for joint in bench.cabinet.assemblies[assembly].joints.values():
        if bench.has(f"{joint.prefix}.face_shoulder"):
            return joint.prefix
    return ""


def _groove_and_panel(
    bench: Bench,
    sketch: Sketch,
    assembly: str,
    thick: Fraction,
    panel_thick: Fraction,
    solid: Fraction,
    field: Fraction,
) -> None:
    n = lambda name: float(bench.values.number(f"{assembly}.{name}"))  # noqa: E731
    k = sketch.scale
    edge = float(solid) + n("groove.depth")
    lip, groove = n("groove.front_lip"), n("groove.width")
    face = n("panel.set_back")
    tongue_top = face + n("panel.front_rabbet")
    tongue_end, field_start = edge - n("panel.engagement"), edge + n("panel.shadow_gap")
    right = edge + n("panel.shadow_gap") + float(field)
    frame = [(0, 0), (edge, 0), (edge, lip), (float(solid), lip), (float(solid), lip + groove), (edge, lip + groove),
             (edge, float(thick)), (0, float(thick))]  # fmt: skip
    sketch.polygon([(x * k, y * k) for x, y in frame], "shade", f"{assembly}.frame")
    bottom, tongue_low = face + float(panel_thick), tongue_top + n("panel.tongue")
    panel = [(tongue_end, tongue_top), (field_start, tongue_top), (field_start, face), (right, face), (right, bottom),
             (field_start, bottom), (field_start, tongue_low), (tongue_end, tongue_low)]  # fmt: skip
    sketch.polygon([(x * k, y * k) for x, y in panel], "part", f"{assembly}.panel")
    lips = [
        Span(0, lip * k, bench.text(f"{assembly}.groove.front_lip", True), f"{assembly}.groove.front_lip"),
        Span(lip * k, (lip + groove) * k, bench.text(f"{assembly}.groove.width", True), f"{assembly}.groove.width"),
        Span(
            (lip + groove) * k,
            float(thick) * k,
            bench.text(f"{assembly}.groove.back_lip", True),
            f"{assembly}.groove.back_lip",
        ),
    ]
    sketch.chain("y", -5.0, lips, -1, 0.0)
    names = ("panel.set_back", "panel.front_rabbet", "panel.tongue", "panel.back_rabbet")
    ends = (0.0, face, tongue_top, tongue_low, bottom)
    spans = [
        Span(a * k, b * k, bench.text(f"{assembly}.{name}", True), f"{assembly}.{name}")
        for name, a, b in zip(names, ends, ends[1:], strict=False)
        if b - a > 0.001
    ]
    sketch.chain("y", right * k + 5.0, spans, 1, right * k)
    low, high = max(float(thick), bottom) * k, min(0.0, face) * k
    inside = [
        Span(float(solid) * k, tongue_end * k, bench.text(f"{assembly}.panel.room", True), f"{assembly}.panel.room"),
        Span(
            tongue_end * k, edge * k, bench.text(f"{assembly}.panel.engagement", True), f"{assembly}.panel.engagement"
        ),
    ]
    sketch.chain("x", low + 5.0, inside, 1, low)
    above = [
        Span(float(solid) * k, edge * k, bench.text(f"{assembly}.groove.depth", True), f"{assembly}.groove.depth"),
        Span(
            edge * k, field_start * k, bench.text(f"{assembly}.panel.shadow_gap", True), f"{assembly}.panel.shadow_gap"
        ),
    ]
    sketch.chain("x", high - 4.0, above, -1, high)
    stand = low + 6.5 + sketch.size * 2.4
    sketch.label(edge * k / 2, stand, "frame")
    sketch.label((edge + right) * k / 2 + 4, stand, "panel")


def _tenon_view(bench: Bench, sketch: Sketch, tenon: str, thick: Fraction, at: float) -> None:
    n = lambda name: float(bench.values.number(f"{tenon}.{name}"))  # noqa: E731
    k, body = sketch.scale, 12.0
    face, tongue, length = n("face_shoulder"), n("thickness"), n("length")
    outline = [(length, 0), (length + body, 0), (length + body, float(thick)), (length, float(thick)),
               (length, face + tongue), (0, face + tongue), (0, face), (length, face)]  # fmt: skip
    sketch.polygon([(at + x * k, y * k) for x, y in outline], "shade", tenon)
    names, ends = ("face_shoulder", "thickness", "back_shoulder"), (0.0, face, face + tongue, float(thick))
    spans = [
        Span(a * k, b * k, bench.text(f"{tenon}.{name}", True), f"{tenon}.{name}")
        for name, a, b in zip(names, ends, ends[1:], strict=False)
    ]
    sketch.chain("y", at - 5.0, spans, -1, at)
    low = float(thick) * k
    sketch.chain("x", low + 5.0, [Span(at, at + length * k, bench.text(f"{tenon}.length"), f"{tenon}.length")], 1, low)
    sketch.label(at + (length + body) * k / 2, low + 6.5 + sketch.size * 2.4, "tenon")


def _section_words(bench: Bench, assembly: str) -> str:
    size = lambda name: bench.shown.fine(bench.values.number(f"{assembly}.{name}"))  # noqa: E731
    words = (
        f"The edge of the frame cut through, face up: front lip {size('groove.front_lip')}, groove "
        f"{size('groove.width')} wide and {size('groove.depth')} deep, back lip {size('groove.back_lip')}. The "
        f"panel's tongue is {size('panel.tongue')} thick and reaches {size('panel.engagement')} into the "
        f"groove; the shadow gap is {size('panel.shadow_gap')}."
    )
    tenon = _tenon(bench, assembly)
    if tenon:
        fine = lambda name: bench.shown.fine(bench.values.number(f"{tenon}.{name}"))  # noqa: E731
        words += (
            f" The tenon: face shoulder {fine('face_shoulder')}, thickness {fine('thickness')}, "
            f"back shoulder {fine('back_shoulder')}."
        )
    return words


def groove_detail(bench: Bench, assembly: str) -> Drawing:
    """The tongue in its groove, much larger than it is, so that the room around it can be seen."""
    n = lambda name: bench.values.number(f"{assembly}.{name}")  # noqa: E731
    lip, wide, deep, shown = n("groove.front_lip"), n("groove.width"), n("groove.depth"), bench.shown
    front = n("panel.set_back") + n("panel.front_rabbet") - lip
    tongue, room = n("panel.tongue"), n("panel.room")
    back = wide - front - tongue
    around, out = min(lip, Fraction(3)), n("panel.shadow_gap") + 2
    words = (
        f"The tongue in its groove: {shown.fine(front)} of room at the front wall, {shown.fine(back)} at the back wall "
        f"and {shown.fine(room)} at the floor; the tongue reaches {shown.fine(n('panel.engagement'))} into the groove."
    )
    sketch = bench.sketch(
        "Tongue in its groove, enlarged", words, around + deep + out, wide + 2 * around, (bench.room[0] - 75, 40.0)
    )
    k = sketch.scale
    floor, edge = float(around) * k, float(around + deep) * k
    top, bottom = float(around) * k, float(around + wide) * k
    low = bottom + float(around) * k
    wood = [(0, 0), (edge, 0), (edge, top), (floor, top), (floor, bottom), (edge, bottom), (edge, low), (0, low)]
    sketch.polygon(wood, "shade", f"{assembly}.groove")
    start, end = floor + float(room) * k, edge + float(out) * k
    upper, lower = top + float(front) * k, top + float(front + tongue) * k
    sketch.rect(Area(start, upper, end - start, lower - upper), "part", f"{assembly}.panel.tongue")
    sketch.label_in(Area(start, upper, end - start, lower - upper), "tongue")
    walls = [
        Span(top, upper, shown.fine_bare(front), "room at the front wall"),
        Span(upper, lower, bench.text(f"{assembly}.panel.tongue", True), f"{assembly}.panel.tongue"),
        Span(lower, bottom, shown.fine_bare(back), "room at the back wall"),
    ]
    sketch.chain("y", end + 5.0, walls, 1, end)
    groove = Span(top, bottom, bench.text(f"{assembly}.groove.width", True), f"{assembly}.groove.width")
    sketch.chain("y", -5.0, [groove], -1, 0.0)
    floors = [
        Span(floor, start, bench.text(f"{assembly}.panel.room", True), f"{assembly}.panel.room"),
        Span(start, edge, bench.text(f"{assembly}.panel.engagement", True), f"{assembly}.panel.engagement"),
    ]
    sketch.chain("x", low + 5.0, floors, 1, low)
    return sketch.done()


# -- set-ups ---------------------------------------------------------------------------------------------


def tenon_setup(bench: Bench, assembly: str) -> Drawing:
    """Both cheeks of a tenon with one height of the cutter: a shim lifts the work for the shallow cheek."""
    tenon = _tenon(bench, assembly)
    n = lambda name: bench.values.number(f"{tenon}.{name}")  # noqa: E731
    male = bench.cabinet.assemblies[assembly].joints
    joint = next(j for j in male.values() if j.prefix == tenon)
    thick = bench.values.number(f"{joint.sites[0].male}.thickness")
    shim, deep = n("shim"), max(n("back_shoulder"), n("face_shoulder"))
    stack, buried, length = bench.values.number("shop.dado_stack"), n("buried"), n("length")
    body = max(stack, length) + 22
    words = (
        f"Two cuts at one height of the cutter, {bench.shown.fine(deep)} above the table. First the deep cheek with "
        f"the work on the table, then the other cheek with a shim of {bench.shown.fine(abs(shim))} under all of the "
        f"work. The tenon is {bench.shown.size(length)} long and {bench.shown.fine(n('thickness'))} thick."
    )
    half = (bench.room[0] - 40) / 2
    sketch = bench.sketch("Tenon with a shim", words, body, thick + abs(shim) + 6, (half - 12, 50.0))
    first_up = "face up" if shim >= 0 else "face down"
    then_up = "face down" if shim >= 0 else "face up"
    setup = _OverCutter(bench, sketch, tenon, "rail", f"{tenon}.length", thick, deep, stack, buried, length, body)
    reach = setup.draw(0.0, Fraction(0), f"1. {first_up}, no shim")
    setup.draw(reach + 12.0, abs(shim), f"2. {then_up}, shim under it")
    return sketch.done()


@dataclass(frozen=True)
class _OverCutter:
    """Work flat over the cutter of a table saw, its end against a wooden fence in which some of the cutter may be."""

    bench: Bench
    sketch: Sketch
    name: str
    """Of the joint, as `door.tenon`."""
    work: str
    """What the work is called."""
    across: str
    """Quantity that says how long the cut is from the end."""
    thick: Fraction
    deep: Fraction
    stack: Fraction
    buried: Fraction
    length: Fraction
    body: Fraction

    def draw(self, at: float, shim: Fraction, title: str) -> float:
        """One cut, seen from the front of the saw; the fence stands on the right."""
        s, k, bench = self.sketch, self.sketch.scale, self.bench
        right = at + float(self.body) * k
        cutter_right = right + float(self.buried) * k
        wide = float(max(self.stack, self.length) if self.buried == 0 else self.stack) * k
        table = 0.0
        under = float(shim) * k
        top = table - under - float(self.thick) * k
        s.rect(Area(at, top, right - at, float(self.thick) * k), "part", f"{self.name}.work")
        room = max(14.0, float(self.buried) * k + 4, s.wide("fence") + 1.5)
        fence = Area(right, top - 3, room, table - top + 3)
        s.rect(fence, "shade", "fence")
        s.rect(
            Area(cutter_right - wide, table - float(self.deep) * k, wide, float(self.deep) * k + 4),
            "cutter",
            f"{self.name}.cutter",
        )
        if shim > 0:
            s.rect(Area(at, table - under, cutter_right - wide - at - 1.5, under), "shade", f"{self.name}.shim")
        s.line(at - 6, table, cutter_right - wide, table, "heavy")
        s.line(cutter_right, table, fence.x + fence.width, table, "heavy")
        s.label_in(Area(at, top, cutter_right - wide - at, float(self.thick) * k), self.work)
        height = Span(
            table - float(self.deep) * k, table, bench.shown.fine_bare(self.deep), f"{self.name}.cutter_height"
        )
        if shim > 0:
            lift = Span(table - under, table, bench.shown.fine_bare(shim), f"{self.name}.shim")
            out = s.chain("y", at - 7, [lift], -1, at)
            s.chain("y", out - 3, [height], -1, out - 1)
        else:
            s.chain("y", at - 7, [height], -1, at)
        span = Span(right - float(self.length) * k, right, bench.text(self.across), self.across)
        reach = s.chain("x", top - 6, [span], -1, top)
        s.label((at + right) / 2, reach - s.size * 0.8, title, bold=True)
        s.label_in(Area(fence.x, fence.y, fence.width, table - float(self.deep) * k - fence.y), "fence")
        return fence.x + fence.width + s.wide("0000.00") + 8


def backing_fence(bench: Bench, assembly: str) -> Drawing:
    """A rabbet across an end by the dado set: the work face down, its end against the backing fence."""
    joints = bench.cabinet.assemblies[assembly].joints.values()
    joint = next(j for j in joints if bench.has(f"{j.prefix}.width") and bench.has(f"{j.prefix}.buried"))
    site = joint.sites[0]
    wide, buried = (bench.values.number(f"{joint.prefix}.{name}") for name in ("width", "buried"))
    deep = bench.values.number(f"{joint.prefix}.{site.name}.depth")
    thick, stack = bench.values.number(f"{site.female}.thickness"), bench.values.number("shop.dado_stack")
    passes = int(bench.values.number(f"{joint.prefix}.passes"))
    inside = f"{bench.shown.fine(buried)} of it inside the fence" if buried else f"in {passes} passes"
    words = (
        f"The work lies inside face down on the table, its end against a straight wooden fence. The dado set of "
        f"{bench.shown.fine(stack)} stands {bench.shown.fine(deep)} above the table, {inside}: it cuts "
        f"{bench.shown.fine(wide)} from the end."
    )
    body = max(stack, wide) + 30
    sketch = bench.sketch("Dado set and backing fence", words, body, thick + 6, (bench.room[0] - 80, 40.0))
    name = joint.prefix
    setup = _OverCutter(bench, sketch, name, "side", f"{name}.width", thick, deep, stack, buried, wide, body)
    setup.draw(0.0, Fraction(0), "inside face down")
    return sketch.done()


def router_table(bench: Bench, assembly: str) -> Drawing:
    """The router table from above: fence, cutter, feed and the side where no piece may ever pass."""
    words = (
        "The router table from above. The fence stands behind the cutter, which turns against the clock. Feed from "
        "right to left. Never pass a piece between the cutter and the fence: it is caught and thrown. "
        f"The cutter stands {bench.shown.fine(bench.values.number(f'{assembly}.groove.depth'))} out of the fence."
    )
    stile = part_of(bench, assembly, "upright")
    work_width = bench.values.number(f"{stile.name}.width")
    sketch = bench.sketch("Router table from above", words, Fraction(110), work_width + 35, (bench.room[0] - 30, 55.0))
    k, size = sketch.scale, sketch.size
    deep, high, wide = bench.number(f"{assembly}.groove.depth") * k, float(work_width) * k, 110 * k
    radius, fence = 20 * k, max(9 * k, size * 1.6)
    centre, gap = fence + deep - radius, 22 * k
    halves = (Area(0, 0, wide / 2 - gap, fence), Area(wide / 2 + gap, 0, wide / 2 - gap, fence))
    danger = Area(wide / 2 - gap, centre - radius - 3, 2 * gap, fence - (centre - radius - 3))
    sketch.hatch(danger, 2.2)
    for half in halves:
        sketch.rect(half, "shade", "fence")
        sketch.label_in(half, "fence")
    sketch.circle(wide / 2, centre, radius, "cutter", "cutter")
    work = Area(wide * 0.3, fence, wide * 0.85, high)
    sketch.rect(work, "part", f"{stile.name}.width")
    sketch.circle(wide / 2, centre, radius, "hidden")
    sketch.line(work.x + work.width, fence + deep, wide / 2, fence + deep, "hidden", f"{assembly}.groove.depth")
    sketch.turning(wide / 2, centre - radius * 0.25, radius * 0.5)
    sketch.label(work.x + work.width * 0.62, fence + high - size * 2.2, "face down,")
    sketch.label(work.x + work.width * 0.62, fence + high - size, "edge to fence")
    feed = fence + high + 5
    sketch.arrow(work.x + work.width, feed, work.x, feed)
    sketch.label(work.x + work.width / 2, feed + size * 1.2, "feed from right to left", bold=True)
    sketch.label(wide / 2, danger.y - size * 0.8, "DANGER: no piece between cutter and fence", bold=True)
    span = Span(fence, fence + deep, bench.text(f"{assembly}.groove.depth", True), f"{assembly}.groove.depth")
    sketch.chain("y", work.x + work.width + 5, [span], 1, work.x + work.width)
    return sketch.done()


def channel(bench: Bench, assembly: str) -> Drawing:
    """A channel across a part and the board that goes into it, cut through and larger than they are."""
    joint = next(iter(bench.cabinet.assemblies[assembly].joints.values()))
    site = joint.sites[0]
    deep = bench.values.number(f"{joint.prefix}.{site.name}.depth")
    side = bench.values.number(f"{site.female}.thickness")
    board = bench.values.number(f"{site.male}.thickness")
    name = next(n for n in (f"{joint.prefix}.{site.name}.width", f"{joint.prefix}.width") if bench.has(n))
    wide = bench.values.number(name)
    words = (
        f"A part of {bench.shown.fine(side)} cut through: the channel is {bench.shown.fine(wide)} wide and "
        f"{bench.shown.fine(deep)} deep; the board that goes in is {bench.shown.fine(board)} thick before sanding."
    )
    body = Fraction(16)
    sketch = bench.sketch(f"{joint.kind.capitalize()} cut through", words, 2 * body + wide, side + 20, (110.0, 40.0))
    k = sketch.scale
    b, w, d, t = float(body) * k, float(wide) * k, float(deep) * k, float(side) * k
    at_end = not bench.has(f"{joint.prefix}.{site.name}.width")
    right = b + w if at_end else 2 * b + w
    outline = [(0, 0), (b, 0), (b, d), (b + w, d), *([] if at_end else [(b + w, 0), (right, 0)]), (right, t), (0, t)]
    lift = 14.0
    sketch.polygon(outline, "shade", site.female)
    middle = b + w / 2
    sketch.rect(
        Area(middle - float(board) * k / 2, -lift - 12 * k, float(board) * k, lift + 12 * k - 3), "part", site.male
    )
    sketch.arrow(middle, -2.5, middle, d - 0.8, "line")
    sketch.chain("x", t + 5, [Span(b, b + w, bench.text(name, True), name)], 1, d)
    depth = f"{joint.prefix}.{site.name}.depth"
    sketch.chain(
        "y",
        right + 5,
        [Span(0, d, bench.text(depth, True), depth), Span(d, t, bench.said(side - deep), "left over")],
        1,
        right,
    )
    thick = Span(
        middle - float(board) * k / 2,
        middle + float(board) * k / 2,
        bench.text(f"{site.male}.thickness", True),
        f"{site.male}.thickness",
    )
    sketch.chain("x", -lift - 12 * k - 4, [thick], -1, -lift - 12 * k)
    return sketch.done()


def corner(bench: Bench, assembly: str) -> Drawing:
    """The round corner that the bit leaves in a rabbet, seen from behind, and what the chisel takes out."""
    radius = bench.values.number("shop.rabbet_cutter") / 2
    ledge = bench.values.number(f"{assembly}.back_rabbet.width")
    diagonal = Fraction(float(radius) * (math.sqrt(2) - 1)).limit_denominator(1000)
    words = (
        f"A corner of the rabbet from behind: the bit leaves it round with a radius of {bench.shown.fine(radius)}. The "
        f"waste to chop out reaches {bench.shown.fine(radius)} along each wall and is "
        f"{bench.shown.fine(diagonal)} deep on the diagonal. The rabbet is {bench.shown.fine(ledge)} wide."
    )
    wall = Fraction(9)
    side = max(radius, ledge) + 12
    sketch = bench.sketch("Corner of the rabbet from behind", words, side + wall, side + wall, (80.0, 52.0))
    k = sketch.scale
    r, n, w, o = float(radius) * k, float(side) * k, float(ledge) * k, -float(wall) * k
    sketch.polygon([(o, o), (n, o), (n, 0), (0, 0), (0, n), (o, n)], "shade", "walls")
    sketch.polygon([(0, 0), (n, 0), (n, w), (w, w), (w, n), (0, n)], "part", f"{assembly}.back_rabbet.width")
    turns = [math.pi * (1 + i / 48) for i in range(25)]
    arc = [(r + r * math.cos(turn), r + r * math.sin(turn)) for turn in turns]
    sketch.polygon([(0, 0), *reversed(arc)], "cutter", "waste")
    sketch.line(0, 0, r * (1 - math.sqrt(0.5)), r * (1 - math.sqrt(0.5)), "line", "diagonal")
    sketch.chain("x", o - 5, [Span(0, r, bench.shown.fine_bare(radius), "shop.rabbet_cutter")], -1, 0)
    sketch.chain("y", o - 5, [Span(0, r, bench.shown.fine_bare(radius), "shop.rabbet_cutter")], -1, 0)
    ledge_span = Span(0, w, bench.text(f"{assembly}.back_rabbet.width", True), f"{assembly}.back_rabbet.width")
    sketch.chain("y", n + 5, [ledge_span], 1, n)
    at = max(r, w) + 4
    sketch.label(at, at, f"waste, {bench.shown.fine_bare(diagonal)} on the diagonal", "start")
    sketch.line(at - 0.8, at - 0.8, r * 0.2, r * 0.2, "thin")
    return sketch.done()
