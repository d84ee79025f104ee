"""Drawings of a student's own cabinet, made from its quantities: what is drawn is as long as the number says."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files

from course.build import Assembly, Cabinet, Joint, Part, Site
from course.quantities import Values
from lessons.layout import Box, Layout, layout, shape
from shared.places import Mapping, read_yaml
from shared.render.sketch import Area, Drawing, Sketch, Span
from shared.units import Shown

SCALES = (
    Fraction(1, 20), Fraction(1, 15), Fraction(1, 10), Fraction(1, 8), Fraction(1, 6), Fraction(1, 5),
    Fraction(1, 4), Fraction(1, 3), Fraction(2, 5), Fraction(1, 2), Fraction(1), Fraction(3, 2), Fraction(2),
    Fraction(5, 2), Fraction(3), Fraction(4), Fraction(5),
)  # fmt: skip
"""Round scales, so that a rule laid on the paper can be used."""

DATA: Mapping = read_yaml(
    (files("lessons") / "templates" / "drawings.yaml").read_text(encoding="utf-8"), "drawings.yaml"
)
"""Which drawing stands with which feature, and which features run along an edge."""


@dataclass(frozen=True)
class Bench:
    """What a drawing is made from: one student's cabinet and how it is shown."""

    cabinet: Cabinet
    values: Values
    shown: Shown
    points: float = 9.0
    """Type size. [pt]"""
    room: tuple[float, float] = (165.0, 120.0)
    """Paper that the drawn thing itself may cover, without its dimensions. [mm]"""

    def number(self, name: str) -> float:
        """A size in mm."""
        return float(self.values.number(name))

    def text(self, name: str, fine: bool = False) -> str:
        """A size as the student reads it, without its unit."""
        value = self.values.number(name)
        return self.shown.fine_bare(value) if fine else self.shown.bare(value)

    def said(self, value: Fraction) -> str:
        """Any length as the student reads it, without its unit."""
        return self.shown.bare(value)

    def has(self, name: str) -> bool:
        """Whether there is such a quantity."""
        return name in self.values

    def sketch(
        self, title: str, alt: str, width: Fraction, height: Fraction, room: tuple[float, float] | None = None
    ) -> Sketch:
        """An empty drawing at the largest round scale at which a thing of this size has room."""
        room = room or self.room
        fits = [s for s in SCALES if width * s <= room[0] and height * s <= room[1]]
        scale = fits[-1] if fits else SCALES[0]
        unit = "inches" if self.shown.unit == "in" else "millimeters"
        return Sketch(f"{title}, {scale_words(scale)}, sizes in {unit}", alt, self.points, float(scale))


def scale_words(scale: Fraction) -> str:
    """`scale 1 : 4`, or `scale 3 : 1` for something drawn larger than it is."""
    if scale >= 1:
        return f"scale {float(scale):g} : 1"
    return f"scale 1 : {float(1 / scale):g}"


class _View:
    """Places of wood on paper: y goes up in wood and down on paper."""

    def __init__(self, sketch: Sketch, height: Fraction | float) -> None:
        self.scale, self.high = sketch.scale, float(height)

    def x(self, value: Fraction | float) -> float:
        return float(value) * self.scale

    def y(self, value: Fraction | float) -> float:
        return (self.high - float(value)) * self.scale

    def area(self, box: Box) -> Area:
        return Area(self.x(box.x), self.y(box.top), float(box.width) * self.scale, float(box.height) * self.scale)


# -- the cabinet from the front --------------------------------------------------------------------------


def front_view(bench: Bench) -> Drawing:
    """The whole cabinet from the front with its main sizes."""
    cabinet, placed = bench.cabinet, layout(bench.cabinet, bench.values)
    seen = [a for a in cabinet.assemblies.values() if not hidden(a)]
    whole = _around(placed.parts[p.name] for p in cabinet.parts if p.name in placed.parts and _of(p, seen))
    names = {a.name for a in seen}
    frames = {name for name in placed.frames if name in names}
    words = _front_words(bench, [a.title for a in seen if a.name in frames], whole)
    sketch = bench.sketch("Front view", words, whole.width, whole.height)
    view = _View(sketch, whole.top)
    covered = {cabinet.assemblies[name].fills for name in frames}
    loose = [p for p in _shown_parts(cabinet, placed, names) if _is_board(cabinet, p)]
    for part in _shown_parts(cabinet, placed, names):
        if part not in loose:
            sketch.rect(view.area(placed.parts[part.name]), "part", part.name)
    for name in sorted(frames):
        _panels(bench, sketch, view, placed, cabinet.assemblies[name])
        sketch.rect(view.area(placed.frames[name]), "outline_only", name)
    for part in loose:
        behind = cabinet.assemblies[part.assembly].fills in covered
        sketch.rect(view.area(placed.parts[part.name]), "hidden" if behind else "part", part.name)
    _front_labels(cabinet, sketch, view, placed, names, covered)
    _front_sizes(bench, sketch, view, placed, names, whole)
    return sketch.done()


def hidden(assembly: Assembly) -> bool:
    """Whether an assembly cannot be seen from the front, as its kind's shape says."""
    choice, _, word = shape(assembly.kind).get("hidden", "").partition(" ")
    return bool(choice) and assembly.choices.get(choice) == word


def _of(part: Part, assemblies: list[Assembly]) -> bool:
    return any(part.assembly == a.name for a in assemblies)


def _makes(cabinet: Cabinet, assembly: Assembly) -> bool:
    return any(o.owner == assembly.name for o in cabinet.openings.values())


def _around(boxes: Iterator[Box]) -> Box:
    found = list(boxes)
    x, y = min(b.x for b in found), min(b.y for b in found)
    return Box(x, y, max(b.right for b in found) - x, max(b.top for b in found) - y)


def _shown_parts(cabinet: Cabinet, placed: Layout, names: set[str]) -> list[Part]:
    """Parts that are seen, those of the box before those of the frames in it."""
    by_name = {part.name: part for part in cabinet.parts}
    drawn = [by_name[name] for name in placed.parts if by_name[name].assembly in names]
    return sorted(drawn, key=lambda part: part.assembly in placed.frames)


def _is_board(cabinet: Cabinet, part: Part) -> bool:
    return shape(cabinet.assemblies[part.assembly].kind).get("shape") == "board"


def _panels(bench: Bench, sketch: Sketch, view: _View, placed: Layout, assembly: Assembly) -> None:
    for name, bay in placed.bays.items():
        if not name.startswith(f"{assembly.name}."):
            continue
        sketch.rect(view.area(bay), "gap", name)
        gap = bench.values.number(f"{assembly.name}.panel.shadow_gap")
        field = Box(bay.x + gap, bay.y + gap, bay.width - 2 * gap, bay.height - 2 * gap)
        if field.width > 0 and field.height > 0:
            sketch.rect(view.area(field), "thin", f"{name}.field")


def _front_labels(
    cabinet: Cabinet, sketch: Sketch, view: _View, placed: Layout, names: set[str], covered: set[str]
) -> None:
    by_name = {part.name: part for part in cabinet.parts}
    for name, box in placed.parts.items():
        if by_name[name].assembly in names:
            sketch.label_in(view.area(box), by_name[name].label)
    for name, box in placed.bays.items():
        if by_name[name].assembly in names:
            area = view.area(box)
            for share in (0.5, 0.3, 0.7):
                if sketch.label_in(
                    Area(area.x, area.y + area.height * (share - 0.1), area.width, area.height * 0.2),
                    by_name[name].label,
                ):
                    break
    for opening in cabinet.openings.values():
        if opening.name not in covered and _is_leaf(cabinet, opening.name) and not _only_hidden(cabinet, opening.name):
            sketch.label_in(view.area(placed.openings[opening.name]), opening.name.rsplit(".", 1)[-1])


def _is_leaf(cabinet: Cabinet, opening: str) -> bool:
    """Whether nothing divides an opening further."""
    return not any(a.fills == opening and _makes(cabinet, a) for a in cabinet.assemblies.values())


def _only_hidden(cabinet: Cabinet, opening: str) -> bool:
    """Whether an opening is one of the back: everything that fills it is hidden from the front."""
    filling = [a for a in cabinet.assemblies.values() if a.fills == opening]
    return bool(filling) and all(hidden(a) for a in filling)


def _front_sizes(bench: Bench, sketch: Sketch, view: _View, placed: Layout, names: set[str], whole: Box) -> None:
    rooms = {
        name: box
        for name, box in placed.openings.items()
        if _is_leaf(bench.cabinet, name) and not _only_hidden(bench.cabinet, name)
    }
    walls = {
        p.name: placed.parts[p.name]
        for p in bench.cabinet.parts
        if p.assembly in names and p.name in placed.parts and _is_wall(bench.cabinet, p.name)
    }
    right, top = view.x(whole.right), view.y(whole.top)
    at = right + 5.0
    for lane in _lanes(_upright_spans(bench, view, rooms, walls)):
        at = sketch.chain("y", at, lane, 1, right) + 4.0
    at = top - 5.0
    for lane in _lanes(_level_spans(bench, view, rooms, walls)):
        at = sketch.chain("x", at, lane, -1, top) - 4.0
    height = Span(view.y(whole.top), view.y(whole.y), bench.said(whole.height), "outside height")
    sketch.chain("y", view.x(whole.x) - 5.0, [height], -1, view.x(whole.x))
    width = Span(view.x(whole.x), view.x(whole.right), bench.said(whole.width), "outside width")
    sketch.chain("x", view.y(whole.y) + 5.0, [width], 1, view.y(whole.y))


def _is_wall(cabinet: Cabinet, part: str) -> bool:
    return any(part in opening.walls.values() for opening in cabinet.openings.values())


def _upright_spans(bench: Bench, view: _View, rooms: dict[str, Box], walls: dict[str, Box]) -> list[Span]:
    """Heights of openings and thickness of level walls, each once."""
    spans = {}
    for name, box in rooms.items():
        spans.setdefault(
            (box.y, box.top), Span(view.y(box.top), view.y(box.y), bench.text(f"{name}.height"), f"{name}.height")
        )
    for name, box in walls.items():
        if box.width > box.height:
            spans.setdefault(
                (box.y, box.top),
                Span(view.y(box.top), view.y(box.y), bench.text(f"{name}.thickness"), f"{name}.thickness"),
            )
    return sorted(spans.values(), key=lambda s: (s.start, s.end))


def _level_spans(bench: Bench, view: _View, rooms: dict[str, Box], walls: dict[str, Box]) -> list[Span]:
    """Widths of openings and thickness of upright walls, each once."""
    spans = {}
    for name, box in rooms.items():
        spans.setdefault(
            (box.x, box.right), Span(view.x(box.x), view.x(box.right), bench.text(f"{name}.width"), f"{name}.width")
        )
    for name, box in walls.items():
        if box.height > box.width:
            spans.setdefault(
                (box.x, box.right),
                Span(view.x(box.x), view.x(box.right), bench.text(f"{name}.thickness"), f"{name}.thickness"),
            )
    return sorted(spans.values(), key=lambda s: (s.start, s.end))


def _lanes(spans: list[Span]) -> list[list[Span]]:
    """Dimensions shared out to lines on which none covers another."""
    lanes: list[list[Span]] = []
    for span in spans:
        for lane in lanes:
            if lane[-1].end <= span.start + 0.01:
                lane.append(span)
                break
        else:
            lanes.append([span])
    return lanes


def _front_words(bench: Bench, frames: list[str], whole: Box) -> str:
    shown = bench.shown
    openings = [
        f"{name.rsplit('.', 1)[-1]} {shown.size(bench.values.number(f'{name}.width'))} wide and "
        f"{shown.size(bench.values.number(f'{name}.height'))} high"
        for name in bench.cabinet.openings
        if _is_leaf(bench.cabinet, name) and not _only_hidden(bench.cabinet, name)
    ]
    words = f"{bench.cabinet.title} from the front, {shown.size(whole.width)} wide and {shown.size(whole.height)} high"
    words += f"; openings: {', '.join(openings)}" if openings else ""
    return words + (f"; in them: {', '.join(frames)}." if frames else ".")


# -- frame, groove, tenon and panel ----------------------------------------------------------------------


def frame_section(bench: Bench, assembly: str) -> Drawing:
    """Groove, panel and tenon of a frame, cut through and larger than they are."""
    n = lambda name: bench.values.number(f"{assembly}.{name}")  # noqa: E731
    frame = _part_of(bench, assembly, "upright")
    thick, panel = bench.values.number(f"{frame.name}.thickness"), _part_of(bench, assembly, "panel")
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


def _part_of(bench: Bench, assembly: str, role: str) -> Part:
    group = shape(bench.cabinet.assemblies[assembly].kind)[role]
    return next(p for p in bench.cabinet.parts if p.assembly == assembly and p.group == group)


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


# -- one part --------------------------------------------------------------------------------------------


def part_drawing(bench: Bench, name: str) -> Drawing:
    """One part on its face with its joints and where they stand, measured from one end."""
    part = bench.cabinet.part(name)
    length, width = (bench.values.number(f"{name}.{size}") for size in ("length", "width"))
    sketch = bench.sketch(
        f"{part.label}, {part.title}", _part_words(bench, part), length, width, (bench.room[0] - 25, 60.0)
    )
    k = sketch.scale
    whole = Area(0, 0, float(length) * k, float(width) * k)
    sketch.rect(whole, "part", name)
    cuts = list(_cuts(bench, part))
    for cut in cuts:
        area = Area(float(cut.start) * k, 0, float(cut.end - cut.start) * k, whole.height)
        sketch.rect(area, "shade", cut.name)
        sketch.hatch(area)
    below = _edges(bench, sketch, part, whole)
    sketch.label_in(_widest_free(cuts, whole, k), part.label)
    _part_sizes(bench, sketch, part, cuts, whole, below)
    return sketch.done()


@dataclass(frozen=True, slots=True)
class _Cut:
    """What a joint takes away across a part, along its length from the datum end."""

    start: Fraction
    end: Fraction
    text: str
    name: str
    is_end: bool
    """A tenon on the part's own end, so that the shoulder is what counts."""


def _cuts(bench: Bench, part: Part) -> Iterator[_Cut]:
    """Cuts of joints on a part, in order from its datum end: the left or the lower one."""
    found = []
    placed = layout(bench.cabinet, bench.values)
    for assembly in bench.cabinet.assemblies.values():
        for joint in assembly.joints.values():
            if not _cut_by(bench.cabinet, assembly, joint, part):
                continue
            for site in joint.sites:
                found += _end_cut(bench, joint, site, part) + _channel(bench, joint, site, part, placed)
    yield from sorted(found, key=lambda cut: (cut.start, cut.end))


def _cut_by(cabinet: Cabinet, assembly: Assembly, joint: Joint, part: Part) -> bool:
    return any(f.assembly == assembly.name and f.joint == joint.kind and part.name in f.parts for f in cabinet.features)


def _end_cut(bench: Bench, joint: Joint, site: Site, part: Part) -> list[_Cut]:
    if site.male != part.name:
        return []
    adds = bench.values.number(f"{joint.prefix}.{site.name}.adds")
    if adds <= 0:
        return []
    length = bench.values.number(f"{part.name}.length")
    first = site.name.endswith(("left", "bottom"))
    start, end = (Fraction(0), adds) if first else (length - adds, length)
    return [_Cut(start, end, bench.said(adds), f"{joint.prefix}.{site.name}.adds", True)]


def _channel(bench: Bench, joint: Joint, site: Site, part: Part, placed: Layout) -> list[_Cut]:
    if site.female != part.name or site.male not in placed.parts or part.name not in placed.parts:
        return []
    here, other = placed.parts[part.name], placed.parts[site.male]
    upright = here.height > here.width
    apart = other.x > here.right or other.right < here.x if upright else other.y > here.top or other.top < here.y
    if apart:
        return []
    start = other.y - here.y if upright else other.x - here.x
    name = next((n for n in (f"{joint.prefix}.{site.name}.width", f"{joint.prefix}.width") if bench.has(n)), "")
    size = bench.values.number(name) if name else (other.height if upright else other.width)
    fine = bool(name) and bench.shown.unit == "mm"
    return [_Cut(start, start + size, bench.text(name, fine) if name else bench.said(size), name, False)]


def _edges(bench: Bench, sketch: Sketch, part: Part, whole: Area) -> float:
    """Strips along an edge, as the data table says: a groove, a rabbet; returns where the paper below is free."""
    below = whole.height + 5.0
    strips = DATA.get("edges")
    assert isinstance(strips, Mapping)
    for feature in bench.cabinet.features:
        row = strips.get(feature.name)
        if part.name not in feature.parts or not isinstance(row, Mapping):
            continue
        size = f"{feature.assembly}.{row.text('strip')}"
        if not bench.has(size):
            continue
        deep = bench.number(size) * sketch.scale
        both = row.text("both") == part.group
        sketch.rect(Area(0, whole.height - deep, whole.width, deep), "hidden", size)
        if both:
            sketch.rect(Area(0, 0, whole.width, deep), "hidden", size)
        span = Span(whole.height - deep, whole.height, bench.text(size), size)
        sketch.chain("y", whole.width + 5.0, [span], 1, whole.width)
        below = whole.height + 1.5 + sketch.size
        sketch.label(whole.width / 2, below - sketch.size * 0.4, row.text("label"))
        below += 4.0
    return below


def _widest_free(cuts: list[_Cut], whole: Area, k: float) -> Area:
    """The longest stretch of a part without a cut, where its label has room."""
    ends = [0.0, *(p for c in cuts for p in (float(c.start) * k, float(c.end) * k)), whole.width]
    start, end = max(zip(ends[::2], ends[1::2], strict=True), key=lambda pair: pair[1] - pair[0])
    return Area(start, whole.y, end - start, whole.height * 0.5)


def _part_sizes(bench: Bench, sketch: Sketch, part: Part, cuts: list[_Cut], whole: Area, at: float) -> None:
    k, length = sketch.scale, bench.values.number(f"{part.name}.length")
    if cuts:
        spans = [Span(float(c.start) * k, float(c.end) * k, c.text, c.name) for c in cuts]
        sketch.chain("x", -5.0, spans, -1, 0.0)
    ends = [c for c in cuts if c.is_end]
    if ends and bench.has(f"{part.name}.shoulder"):
        start = max((c.end for c in ends if c.start == 0), default=Fraction(0))
        stop = min((c.start for c in ends if c.start > 0), default=length)
        span = Span(float(start) * k, float(stop) * k, bench.text(f"{part.name}.shoulder"), f"{part.name}.shoulder")
        at = sketch.chain("x", at, [span], 1, whole.height) + 4.0
    for cut in (c for c in cuts if not c.is_end and c.start > 0):
        span = Span(0.0, float(cut.start) * k, bench.said(cut.start), "from the datum end")
        at = sketch.chain("x", at, [span], 1, whole.height) + 4.0
    sketch.chain("x", at, [Span(0.0, whole.width, bench.said(length), f"{part.name}.length")], 1, whole.height)
    span = Span(0.0, whole.height, bench.text(f"{part.name}.width"), f"{part.name}.width")
    sketch.chain("y", -5.0, [span], -1, 0.0)


def _part_words(bench: Bench, part: Part) -> str:
    size = lambda s: bench.shown.size(bench.values.number(f"{part.name}.{s}"))  # noqa: E731
    words = f"{part.label}, {part.title}: {size('length')} long, {size('width')} wide, {size('thickness')} thick."
    for cut in _cuts(bench, part):
        where = "at the end" if cut.is_end else f"from {bench.shown.size(cut.start)} on"
        words += f" Joint {where}: {cut.text}."
    return words


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
    setup = _Cheek(bench, sketch, tenon, thick, deep, stack, buried, length, body)
    reach = setup.draw(0.0, Fraction(0), f"1. {first_up}, no shim")
    setup.draw(reach + 12.0, abs(shim), f"2. {then_up}, shim under it")
    return sketch.done()


@dataclass(frozen=True)
class _Cheek:
    bench: Bench
    sketch: Sketch
    tenon: str
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
        s.rect(Area(at, top, right - at, float(self.thick) * k), "part", f"{self.tenon}.work")
        room = max(14.0, float(self.buried) * k + 4, s.wide("fence") + 1.5)
        fence = Area(right, top - 3, room, table - top + 3)
        s.rect(fence, "shade", "fence")
        s.rect(
            Area(cutter_right - wide, table - float(self.deep) * k, wide, float(self.deep) * k + 4),
            "cutter",
            f"{self.tenon}.cutter",
        )
        if shim > 0:
            s.rect(Area(at, table - under, cutter_right - wide - at - 1.5, under), "shade", f"{self.tenon}.shim")
        s.line(at - 6, table, cutter_right - wide, table, "heavy")
        s.line(cutter_right, table, fence.x + fence.width, table, "heavy")
        s.label_in(Area(at, top, cutter_right - wide - at, float(self.thick) * k), "rail")
        height = Span(
            table - float(self.deep) * k, table, bench.shown.fine_bare(self.deep), f"{self.tenon}.cutter_height"
        )
        if shim > 0:
            lift = Span(table - under, table, bench.shown.fine_bare(shim), f"{self.tenon}.shim")
            out = s.chain("y", at - 7, [lift], -1, at)
            s.chain("y", out - 3, [height], -1, out - 1)
        else:
            s.chain("y", at - 7, [height], -1, at)
        span = Span(right - float(self.length) * k, right, bench.text(f"{self.tenon}.length"), f"{self.tenon}.length")
        reach = s.chain("x", top - 6, [span], -1, top)
        s.label((at + right) / 2, reach - s.size * 0.8, title, bold=True)
        s.label_in(Area(fence.x, fence.y, fence.width, table - float(self.deep) * k - fence.y), "fence")
        return fence.x + fence.width + s.wide("0000.00") + 8


def router_table(bench: Bench, assembly: str) -> Drawing:
    """The router table from above: fence, cutter, feed and the side where no piece may ever pass."""
    words = (
        "The router table from above. The fence stands behind the cutter, which turns against the clock. Feed from "
        "right to left. Never pass a piece between the cutter and the fence: it is caught and thrown. "
        f"The cutter stands {bench.shown.fine(bench.values.number(f'{assembly}.groove.depth'))} out of the fence."
    )
    stile = _part_of(bench, assembly, "upright")
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


def dado_setup(bench: Bench, assembly: str) -> Drawing:
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


# -- squareness and reveals ------------------------------------------------------------------------------


def diagonals(bench: Bench, assembly: str) -> Drawing:
    """An assembly in its clamps with both diagonals and blanks to write them in."""
    placed = layout(bench.cabinet, bench.values)
    deep = shape(bench.cabinet.assemblies[assembly].kind).get("diagonals", "")
    if deep:
        box = Box(Fraction(0), Fraction(0), *(bench.values.number(f"{assembly}.{size}") for size in deep.split()))
    else:
        box = placed.frames.get(assembly) or _around(
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
    """A door in its opening with the gap wanted on each side and blanks for three readings a side."""
    values, frame = bench.values, bench.cabinet.assemblies[assembly]
    room = frame.fills
    wide, high = values.number(f"{assembly}.width"), values.number(f"{assembly}.height")
    words = "; ".join(
        f"reveal {side} {bench.shown.fine(_target(bench, f'{assembly}.reveal.{side}'))}"
        for side in ("left", "right", "top", "bottom")
    )
    sketch = bench.sketch(
        "Reveals", f"The door in its opening, gaps drawn wider than they are: {words}.", wide, high, (75.0, 80.0)
    )
    k, gap = sketch.scale, 3.0
    w, h = float(wide) * k, float(high) * k
    sketch.rect(Area(-gap, -gap, w + 2 * gap, h + 2 * gap), "outline", room)
    sketch.rect(Area(0, 0, w, h), "part", assembly)
    sketch.label_in(Area(0, h * 0.3, w, h * 0.4), frame.title)
    blank = sketch.wide("00.00") + 5
    for side, x in (("left", -gap - 3), ("right", w + gap + 3)):
        anchor = "end" if side == "left" else "start"
        for share in (0.12, 0.5, 0.88):
            _blank(sketch, x if anchor == "start" else x - blank, h * share, blank)
        sketch.label(x, h * 0.31, _wanted(bench, assembly, side), anchor, name=f"{assembly}.reveal.{side}")
    for side, y in (("top", -gap - sketch.size), ("bottom", h + gap + sketch.size * 1.4)):
        for share in (0.12, 0.5, 0.88):
            _blank(sketch, w * share - blank / 2, y, blank)
        stand = y - sketch.size * 1.6 if side == "top" else y + sketch.size * 1.3
        sketch.label(w / 2, stand, f"{side}: {_wanted(bench, assembly, side)}", name=f"{assembly}.reveal.{side}")
    return sketch.done()


def _target(bench: Bench, name: str) -> Fraction:
    value = bench.values.target(name)
    assert isinstance(value, Fraction)
    return value


def _wanted(bench: Bench, assembly: str, side: str) -> str:
    return bench.shown.fine(_target(bench, f"{assembly}.reveal.{side}"))


def _blank(sketch: Sketch, x: float, y: float, wide: float) -> None:
    sketch.line(x, y + sketch.size * 0.4, x + wide, y + sketch.size * 0.4, "line", "blank")


# -- which drawing stands with which work ----------------------------------------------------------------

DRAWINGS: dict[str, Callable[[Bench, str], Drawing]] = {
    "frame section": frame_section,
    "tenon set-up": tenon_setup,
    "router table": router_table,
    "channel": dado_setup,
    "corner": corner,
    "diagonals": diagonals,
    "reveal map": reveal_map,
}
"""Drawings that an operation's head or the data table may name."""
