"""One part with its joints."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from course.cabinet import Assembly, Cabinet, Joint, Part, Site
from lessons.bench import DATA, Bench, scale_words
from lessons.layout import Layout, layout, shape
from shared.places import Mapping
from shared.render.sketch import Area, Drawing, Sketch, Span


def part_drawing(bench: Bench, name: str, captioned: bool = False) -> Drawing:
    """One part on its face with its joints and where they stand, measured from one end.

    Args:
        bench: What it is made from.
        name: Of the part.
        captioned: Whether its title stands above it, for where no heading says it.
    """
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
    if captioned:
        caption = f"{part.label}, {part.title}, {scale_words(Fraction(k).limit_denominator(100))}"
        sketch.label(whole.width / 2, min(area.y for area in sketch.covered) - sketch.size, caption, bold=True)
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
                found += _end_channel(bench, assembly, joint, site, part)
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
    return [_across(bench, joint, site, start, other.height if upright else other.width)]


def _end_channel(bench: Bench, assembly: Assembly, joint: Joint, site: Site, part: Part) -> list[_Cut]:
    """A joint at an end of a part that is not seen from the front, as the shape of its kind says."""
    roles, male = shape(assembly.kind), bench.cabinet.part(site.male)
    if site.female != part.name or male.group not in (roles.get("first"), roles.get("last")):
        return []
    thick = bench.values.number(f"{male.name}.thickness")
    start = Fraction(0) if male.group == roles["first"] else bench.values.number(f"{part.name}.length") - thick
    return [_across(bench, joint, site, start, thick)]


def _across(bench: Bench, joint: Joint, site: Site, start: Fraction, thick: Fraction) -> _Cut:
    """A channel as wide as its joint says, else as what comes into it is thick."""
    name = next((n for n in (f"{joint.prefix}.{site.name}.width", f"{joint.prefix}.width") if bench.has(n)), "")
    size = bench.values.number(name) if name else thick
    fine = bool(name) and bench.shown.unit == "mm"
    return _Cut(start, start + size, bench.text(name, fine) if name else bench.said(size), name, False)


def _strips(bench: Bench, part: Part) -> Iterator[tuple[Mapping, str, str]]:
    """Strips along an edge of a part: their row in the table, the quantity of their reach and of where they begin."""
    strips = DATA.get("edges")
    assert isinstance(strips, Mapping)
    for feature in bench.cabinet.features:
        row = strips.get(feature.name)
        if part.name in feature.parts and isinstance(row, Mapping):
            size = f"{feature.assembly}.{row.text('strip')}"
            above = f"{feature.assembly}.{row.text('from')}" if row.text("from") else ""
            if bench.has(size):
                yield row, size, above


def _edges(bench: Bench, sketch: Sketch, part: Part, whole: Area) -> float:
    """Strips along an edge, as the data table says: a groove, a rabbet; returns where the paper below is free."""
    below = whole.height + 5.0
    for row, size, above in _strips(bench, part):
        deep = bench.number(size) * sketch.scale
        low = whole.height - (bench.number(above) * sketch.scale if above else 0.0)
        if row.text("round") == part.group:
            sketch.rect(Area(deep, deep, whole.width - 2 * deep, whole.height - 2 * deep), "hidden", size)
        else:
            sketch.rect(Area(0, low - deep, whole.width, deep), "hidden", size)
        if row.text("both") == part.group:
            sketch.rect(Area(0, 0, whole.width, deep), "hidden", size)
        spans = [Span(low - deep, low, bench.text(size), size)]
        spans += [Span(low, whole.height, bench.text(above), above)] if above else []
        sketch.chain("y", whole.width + 5.0, spans, 1, whole.width)
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
    low = at - 4.0 if at > whole.height + 5.0 else whole.height  # not through the words about an edge
    if cuts:
        spans = [Span(float(c.start) * k, float(c.end) * k, c.text, c.name) for c in cuts]
        sketch.chain("x", -5.0, spans, -1, 0.0)
    ends = [c for c in cuts if c.is_end]
    if ends and bench.has(f"{part.name}.shoulder"):
        start = max((c.end for c in ends if c.start == 0), default=Fraction(0))
        stop = min((c.start for c in ends if c.start > 0), default=length)
        span = Span(float(start) * k, float(stop) * k, bench.text(f"{part.name}.shoulder"), f"{part.name}.shoulder")
        at = sketch.chain("x", at, [span], 1, low) + 4.0
    for cut in (c for c in cuts if not c.is_end and c.start > 0):
        span = Span(0.0, float(cut.start) * k, bench.said(cut.start), "from the datum end")
        at = sketch.chain("x", at, [span], 1, low) + 4.0
    sketch.chain("x", at, [Span(0.0, whole.width, bench.said(length), f"{part.name}.length")], 1, low)
    span = Span(0.0, whole.height, bench.text(f"{part.name}.width"), f"{part.name}.width")
    sketch.chain("y", -5.0, [span], -1, 0.0)


def _part_words(bench: Bench, part: Part) -> str:
    length, width, thickness = (
        bench.shown.size(bench.values.number(f"{part.name}.{side}")) for side in ("length", "width", "thickness")
    )
    words = f"{part.label}, {part.title}: {length} long, {width} wide, {thickness} thick."
    for cut in _cuts(bench, part):
        where = "at the end" if cut.is_end else f"from {bench.shown.size(cut.start)} on"
        words += f" Joint {where}: {cut.text}."
    for row, size, above in _strips(bench, part):
        words += f" Along the edge: {row.text('label')}, {bench.text(size)} wide"
        words += f", {bench.text(above)} from the edge." if above else "."
    return words
