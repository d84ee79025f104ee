"""The whole cabinet, from the front and cut through: what is drawn is as long as the number says."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from course.cabinet import Assembly, Cabinet, Part
from lessons.bench import DATA, Bench, View
from lessons.layout import Box, Layout, drawer_from_the_side, layout, shape
from shared.places import Mapping
from shared.render.sketch import Area, Drawing, Sketch, Span


def front_view(bench: Bench) -> Drawing:
    """The whole cabinet from the front with its main sizes."""
    cabinet, placed = bench.cabinet, layout(bench.cabinet, bench.values)
    seen = [a for a in cabinet.assemblies.values() if not hidden(a)]
    whole = around(placed.parts[p.name] for p in cabinet.parts if p.name in placed.parts and _of(p, seen))
    names = {a.name for a in seen}
    frames = {name for name in placed.frames if name in names}
    words = _front_words(bench, [a.title for a in seen if a.name in frames], whole)
    sketch = bench.sketch("Front view", words, whole.width, whole.height)
    view = View(sketch, whole.top)
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


def makes_openings(cabinet: Cabinet, assembly: Assembly) -> bool:
    """Whether an assembly makes openings for others."""
    return any(o.owner == assembly.name for o in cabinet.openings.values())


def around(boxes: Iterator[Box]) -> Box:
    """The smallest rectangle round some."""
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


def _panels(bench: Bench, sketch: Sketch, view: View, placed: Layout, assembly: Assembly) -> None:
    for name, bay in placed.bays.items():
        if not name.startswith(f"{assembly.name}."):
            continue
        sketch.rect(view.area(bay), "gap", name)
        gap = bench.values.number(f"{assembly.name}.panel.shadow_gap")
        field = Box(bay.x + gap, bay.y + gap, bay.width - 2 * gap, bay.height - 2 * gap)
        if field.width > 0 and field.height > 0:
            sketch.rect(view.area(field), "thin", f"{name}.field")


def _front_labels(
    cabinet: Cabinet, sketch: Sketch, view: View, placed: Layout, names: set[str], covered: set[str]
) -> None:
    by_name = {part.name: part for part in cabinet.parts}
    boards = [view.area(placed.parts[p.name]) for p in _shown_parts(cabinet, placed, names) if _is_board(cabinet, p)]
    for name, box in placed.parts.items():
        if by_name[name].assembly in names:
            sketch.label_in(view.area(box), by_name[name].label)
    for name, box in placed.bays.items():
        if by_name[name].assembly in names:
            area = view.area(box)
            strips = (Area(area.x, area.y + area.height * at, area.width, area.height * 0.2) for at in (0.4, 0.2, 0.6))
            clear = [strip for strip in strips if not any(strip.meets(board) for board in boards)]
            any(sketch.label_in(strip, by_name[name].label) for strip in clear)
    for opening in cabinet.openings.values():
        if opening.name not in covered and is_leaf(cabinet, opening.name) and not only_hidden(cabinet, opening.name):
            sketch.label_in(view.area(placed.openings[opening.name]), opening.name.rsplit(".", 1)[-1])


def is_leaf(cabinet: Cabinet, opening: str) -> bool:
    """Whether nothing divides an opening further."""
    return not any(a.fills == opening and makes_openings(cabinet, a) for a in cabinet.assemblies.values())


def only_hidden(cabinet: Cabinet, opening: str) -> bool:
    """Whether an opening is one of the back: everything that fills it is hidden from the front."""
    filling = [a for a in cabinet.assemblies.values() if a.fills == opening]
    return bool(filling) and all(hidden(a) for a in filling)


def _front_sizes(bench: Bench, sketch: Sketch, view: View, placed: Layout, names: set[str], whole: Box) -> None:
    rooms = {
        name: box
        for name, box in placed.openings.items()
        if is_leaf(bench.cabinet, name) and not only_hidden(bench.cabinet, name)
    }
    walls = {
        p.name: placed.parts[p.name]
        for p in bench.cabinet.parts
        if p.assembly in names and p.name in placed.parts and is_wall(bench.cabinet, p.name)
    }
    right, top = view.x(whole.right), view.y(whole.top)
    at = right + 5.0
    for lane in lanes(upright_spans(bench, view, rooms, walls)):
        at = sketch.chain("y", at, lane, 1, right) + 4.0
    at = top - 5.0
    for lane in lanes(_level_spans(bench, view, rooms, walls)):
        at = sketch.chain("x", at, lane, -1, top) - 4.0
    height = Span(view.y(whole.top), view.y(whole.y), bench.said(whole.height), "outside height")
    sketch.chain("y", view.x(whole.x) - 5.0, [height], -1, view.x(whole.x))
    width = Span(view.x(whole.x), view.x(whole.right), bench.said(whole.width), "outside width")
    sketch.chain("x", view.y(whole.y) + 5.0, [width], 1, view.y(whole.y))


def is_wall(cabinet: Cabinet, part: str) -> bool:
    """Whether a part is a wall of an opening."""
    return any(part in opening.walls.values() for opening in cabinet.openings.values())


def upright_spans(bench: Bench, view: View, rooms: dict[str, Box], walls: dict[str, Box]) -> list[Span]:
    """Heights of openings and thickness of level walls, each once."""
    spans: dict[tuple[Fraction, Fraction], Span] = {}
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


def _level_spans(bench: Bench, view: View, rooms: dict[str, Box], walls: dict[str, Box]) -> list[Span]:
    """Widths of openings and thickness of upright walls, each once."""
    spans: dict[tuple[Fraction, Fraction], Span] = {}
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


def lanes(spans: list[Span]) -> list[list[Span]]:
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
        if is_leaf(bench.cabinet, name) and not only_hidden(bench.cabinet, name)
    ]
    words = f"{bench.cabinet.title} from the front, {shown.size(whole.width)} wide and {shown.size(whole.height)} high"
    words += f"; openings: {', '.join(openings)}" if openings else ""
    return words + (f"; in them: {', '.join(frames)}." if frames else ".")


# -- cut through from front to back ----------------------------------------------------------------------

ASIDE = Fraction(1, 3)
"""Where the cut goes through the largest opening, as a share of its width: beside an upright in its middle."""


def section(bench: Bench) -> Drawing:
    """The whole cabinet cut through from front to back with its main sizes; its front is on the left."""
    placed = layout(bench.cabinet, bench.values)
    cut = _Cut(bench, placed)
    whole = Box(Fraction(0), placed.outside.y, cut.deep, placed.outside.height)
    sketch = bench.sketch("Cut through, front on the left", _section_words(cut), whole.width, whole.height)
    view = View(sketch, whole.top)
    for part in cut.beyond():
        sketch.rect(view.area(cut.box(part)), "part", part.name)
    for part in cut.parts():
        sketch.polygon([(view.x(x), view.y(y)) for x, y in cut.outline(part)], "shade", part.name)
    for part in cut.parts():
        sketch.label_in(view.area(cut.box(part)), part.label)
    _section_sizes(cut, sketch, view, whole)
    return sketch.done()


class _Cut:
    """What a cut from front to back goes through, and where that stands behind the front."""

    def __init__(self, bench: Bench, placed: Layout) -> None:
        self.bench, self.placed, self.cabinet = bench, placed, bench.cabinet
        self.rooms = {
            name: box
            for name, box in placed.openings.items()
            if is_leaf(self.cabinet, name) and not only_hidden(self.cabinet, name)
        }
        self.room = max(self.rooms, key=lambda name: self.rooms[name].width * self.rooms[name].height)
        largest = self.rooms[self.room]
        self.at = largest.x + largest.width * ASIDE
        boxes = [p for p in self.cabinet.parts if not self.cabinet.assemblies[p.assembly].fills]
        self.drawers = {
            a.name: drawer_from_the_side(self.cabinet, a, bench.values, placed.openings[a.fills])
            for a in self.cabinet.assemblies.values()
            if shape(a.kind).get("shape") == "drawer"
            and self.spans(placed.openings[a.fills])
        }
        self.boxes = {name: box for boxes in self.drawers.values() for name, box in boxes.items()}
        self.deep = max(self.number(f"{part.name}.width") for part in boxes)

    def number(self, name: str) -> Fraction:
        return self.bench.values.number(name)

    def spans(self, box: Box) -> bool:
        return box.x < self.at < box.right

    def parts(self) -> list[Part]:
        """Parts that are cut, in the order of the plan."""
        boxes = {**self.placed.parts, **self.placed.bays}
        seen = [part.name for part in self.beyond()]
        return [
            part
            for part in self.cabinet.parts
            if part.name not in seen
            and (part.name in self.boxes or (part.name in boxes and self.spans(boxes[part.name])))
        ]

    def beyond(self) -> list[Part]:
        """What is seen behind the cut: the wall of the box, and before it the side of a drawer."""
        walls = [
            part
            for part in self.cabinet.parts
            if not self.cabinet.assemblies[part.assembly].fills
            and part.name in self.placed.parts
            and self.placed.parts[part.name].x > self.at
        ]
        drawers = {a: shape(self.cabinet.assemblies[a].kind)["beside"] for a in self.drawers}
        beside = [
            part for part in self.cabinet.parts if part.name in self.boxes and part.group == drawers[part.assembly]
        ]
        return [*walls[-1:], *beside]

    def start(self, part: Part) -> Fraction:
        """How far behind the front of the box a part begins."""
        assembly = self.cabinet.assemblies[part.assembly]
        if not assembly.fills:
            return Fraction(0)
        if hidden(assembly):
            return self.deep - self.number(f"{assembly.fills}.depth")
        if _is_board(self.cabinet, part):
            return self.number(f"{assembly.fills}.depth") - self.number(f"{part.name}.width")
        return Fraction(0)

    def box(self, part: Part) -> Box:
        """A part's rectangle; of a panel only its field."""
        if part.name in self.boxes:
            return self.boxes[part.name]
        if part.name in self.placed.bays:
            bay, gap = self.placed.bays[part.name], self.number(f"{part.assembly}.panel.shadow_gap")
            front = self.start(part) + self.number(f"{part.assembly}.panel.set_back")
            return Box(front, bay.y + gap, self.number(f"{part.name}.thickness"), bay.height - 2 * gap)
        face = self.placed.parts[part.name]
        frame = part.assembly in self.placed.frames
        return Box(
            self.start(part), face.y, self.number(f"{part.name}.{'thickness' if frame else 'width'}"), face.height
        )

    def outline(self, part: Part) -> list[tuple[Fraction, Fraction]]:
        """What is seen of the end of a part: a panel with its tongue, a board with the rabbet in its rear edge."""
        box = self.box(part)
        if part.name in self.placed.bays:
            return self._panel(part, box)
        across, strip = self._rabbet(part)
        inner = box.top - across if box.y < self.rooms[self.room].y else box.y + across
        outer = box.y if box.y < self.rooms[self.room].y else box.top
        edge = box.top if outer == box.y else box.y
        ends = [(box.right, outer), (box.right, inner), (box.right - strip, inner), (box.right - strip, edge)]
        return [(box.x, outer), *(ends if across else [(box.right, outer), (box.right, edge)]), (box.x, edge)]

    def _rabbet(self, part: Part) -> tuple[Fraction, Fraction]:
        """Width and depth of the rabbet along the rear edge of a part; nothing when it has none."""
        edges = DATA.get("edges")
        assert isinstance(edges, Mapping)
        for feature in self.cabinet.features:
            row = edges.get(feature.name)
            if part.name in feature.parts and isinstance(row, Mapping) and row.text("across"):
                sizes = (f"{feature.assembly}.{row.text(key)}" for key in ("across", "strip"))
                return tuple(map(self.number, sizes))  # type: ignore[return-value]
        return Fraction(0), Fraction(0)

    def _panel(self, part: Part, field: Box) -> list[tuple[Fraction, Fraction]]:
        n = lambda name: self.number(f"{part.assembly}.panel.{name}")  # noqa: E731
        front = field.x + n("front_rabbet")
        back = front + n("tongue")
        reach = n("shadow_gap") + n("engagement")
        low, high = field.y - reach, field.top + reach
        return [
            (field.x, field.y), (front, field.y), (front, low), (back, low), (back, field.y), (field.right, field.y),
            (field.right, field.top), (back, field.top), (back, high), (front, high), (front, field.top),
            (field.x, field.top),
        ]  # fmt: skip


def _section_sizes(cut: _Cut, sketch: Sketch, view: View, whole: Box) -> None:
    bench, right, top, low = cut.bench, view.x(whole.right), view.y(whole.top), view.y(whole.y)
    rooms = {name: box for name, box in cut.rooms.items() if cut.spans(box)}
    walls = {
        part.name: cut.placed.parts[part.name]
        for part in cut.parts()
        if part.name in cut.placed.parts and is_wall(cut.cabinet, part.name)
    }
    at = right + 5.0
    for lane in lanes(upright_spans(bench, view, rooms, walls)):
        at = sketch.chain("y", at, lane, 1, right) + 4.0
    outside = Span(top, low, bench.said(whole.height), "outside height")
    sketch.chain("y", view.x(0) - 5.0, [outside], -1, view.x(0))
    at = top - 5.0
    for lane in lanes(sorted(_deep_spans(cut, view), key=lambda span: (span.start, span.end))):
        at = sketch.chain("x", at, lane, -1, top) - 4.0
    inside = cut.number(f"{cut.room}.depth")
    depths = [Span(view.x(0), view.x(inside), bench.said(inside), f"{cut.room}.depth")]
    if inside < cut.deep:
        depths.append(Span(view.x(inside), right, bench.said(cut.deep - inside), "behind the inside"))
    at = low + 5.0
    for lane in lanes(sorted(_drawer_spans(cut, view), key=lambda span: (span.start, span.end))):
        at = sketch.chain("x", at, lane, 1, low) + 4.0
    at = sketch.chain("x", at, depths, 1, low) + 4.0
    sketch.chain("x", at, [Span(view.x(0), right, bench.said(cut.deep), "outside depth")], 1, low)


def _deep_spans(cut: _Cut, view: View) -> Iterator[Span]:
    """How thick frames are, and where loose boards lie; equal ones once."""
    seen = set()
    for part in cut.parts():
        box = cut.box(part)
        frame = part.assembly in cut.placed.frames and part.name in cut.placed.parts and part.name not in cut.boxes
        if (frame or _is_board(cut.cabinet, part)) and (box.x, box.right) not in seen:
            seen.add((box.x, box.right))
            name = f"{part.name}.{'thickness' if frame else 'width'}"
            yield Span(view.x(box.x), view.x(box.right), cut.bench.text(name), name)


def _drawer_spans(cut: _Cut, view: View) -> Iterator[Span]:
    """How thick the front of a drawer's box is, and how long the box; equal ones once."""
    spans: dict[tuple[Fraction, Fraction], Span] = {}
    for boxes in cut.drawers.values():
        first = next(part for part in cut.parts() if part.name in boxes)
        box = boxes[first.name]
        beside = next(part for part in cut.beyond() if part.name in boxes)
        start, rear = box.x, boxes[beside.name].right
        for end, size in ((box.right, f"{first.name}.thickness"), (rear, f"{beside.name}.length")):
            spans.setdefault((start, end), Span(view.x(start), view.x(end), cut.bench.text(size), size))
    yield from spans.values()


def _section_words(cut: _Cut) -> str:
    size = cut.bench.shown.size
    words = (
        f"{cut.cabinet.title} cut through from front to back: {size(cut.deep)} deep outside, "
        f"{size(cut.number(f'{cut.room}.depth'))} inside"
    )
    frames = [
        f"{a.title} {size(cut.number(f'{part.name}.thickness'))} thick"
        for a in cut.cabinet.assemblies.values()
        if a.name not in cut.drawers
        and (part := next((p for p in cut.parts() if p.assembly == a.name and a.name in cut.placed.frames), None))
    ]
    frames += [
        f"{cut.cabinet.assemblies[part.assembly].title} {size(cut.number(f'{part.name}.length'))} long"
        for part in cut.beyond()
        if part.assembly in cut.drawers
    ]
    return words + (f"; {', '.join(frames)}." if frames else ".")
