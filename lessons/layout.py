"""Where things stand in the front view: openings from the walls that make them, parts from their openings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from importlib.resources import files

from course.cabinet import Assembly, Cabinet, Opening
from course.quantities import Values
from shared.places import Mapping as YamlMapping
from shared.places import Text, read_yaml


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle in the front view, in mm from the cabinet's lower left corner; y goes up."""

    x: Fraction
    y: Fraction
    width: Fraction
    height: Fraction

    @property
    def right(self) -> Fraction:
        """Where it ends on the right."""
        return self.x + self.width

    @property
    def top(self) -> Fraction:
        """Where it ends at the top."""
        return self.y + self.height


@dataclass(frozen=True)
class Layout:
    """Places of everything that can be seen from the front."""

    openings: dict[str, Box] = field(default_factory=dict)
    frames: dict[str, Box] = field(default_factory=dict)
    """Outlines of assemblies that fill an opening, by assembly."""
    parts: dict[str, Box] = field(default_factory=dict)
    """In the order in which they are drawn: what is let into another part comes after it."""
    bays: dict[str, Box] = field(default_factory=dict)
    """What is seen of each panel, by the panel's part name."""
    outside: Box = Box(Fraction(0), Fraction(0), Fraction(0), Fraction(0))


SHAPES: YamlMapping = read_yaml(
    (files("lessons") / "templates" / "shapes.yaml").read_text(encoding="utf-8"), "shapes.yaml"
)
"""How each kind looks from the front, as data: the shape, and which parts play which role in it."""


def shape(kind: str) -> Mapping[str, str]:
    """The shape of an assembly kind and the parts that play its roles; empty for a kind without one."""
    node = SHAPES.get(kind)
    if not isinstance(node, YamlMapping):
        return {}
    return {key: value.text for key, value in node.items() if isinstance(value, Text)}


def layout(cabinet: Cabinet, values: Values) -> Layout:
    """The front view of a cabinet with these sizes.

    Openings made by an assembly that stands alone lie between its walls; those made inside another opening
    are stacked in it, upward when their walls below and above are the assembly's own, else to the right.
    """
    found = Layout()
    for assembly in cabinet.assemblies.values():
        made = [opening for opening in cabinet.openings.values() if opening.owner == assembly.name]
        if assembly.fills and made:
            _stack(assembly, made, values, found)
        elif made:
            _around(made, values, found)
        _walls(assembly, made, values, found)
        _fill(cabinet, assembly, values, found)
    parts = dict(_let_in_last(cabinet, found.parts))
    return Layout(found.openings, found.frames, parts, found.bays, _outside(found))


def stacks_up(assembly: Assembly, made: list[Opening]) -> bool:
    """Whether an assembly divides its opening into spaces above each other."""
    own = f"{assembly.name}."
    return any(o.walls.get(side, "").startswith(own) for o in made for side in ("bottom", "top"))


def _around(made: list[Opening], values: Values, found: Layout) -> None:
    """Openings of a box: the narrowest lies between the walls, wider ones reach evenly into them."""
    sizes = {o.name: (values.number(f"{o.name}.width"), values.number(f"{o.name}.height")) for o in made}
    least_width = min(width for width, _ in sizes.values())
    least_height = min(height for _, height in sizes.values())
    for opening in made:
        width, height = sizes[opening.name]
        left = _thickness(opening, "left", values)
        bottom = _thickness(opening, "bottom", values)
        found.openings[opening.name] = Box(
            left - (width - least_width) / 2, bottom - (height - least_height) / 2, width, height
        )


def _thickness(opening: Opening, side: str, values: Values) -> Fraction:
    wall = opening.walls.get(side)
    return values.number(f"{wall}.thickness") if wall else Fraction(0)


def _stack(assembly: Assembly, made: list[Opening], values: Values, found: Layout) -> None:
    room, up = found.openings[assembly.fills], stacks_up(assembly, made)
    at = room.y if up else room.x
    for opening in made:
        width, height = values.number(f"{opening.name}.width"), values.number(f"{opening.name}.height")
        if up:
            found.openings[opening.name] = Box(room.x, at, width, height)
            at += height + _thickness(opening, "top", values)
        else:
            found.openings[opening.name] = Box(at, room.y, width, height)
            at += width + _thickness(opening, "right", values)


def _walls(assembly: Assembly, made: list[Opening], values: Values, found: Layout) -> None:
    """The assembly's own walls, each as long as the part is and centred on the opening it bounds."""
    for opening in made:
        room = found.openings[opening.name]
        for side, part in opening.walls.items():
            if not part.startswith(f"{assembly.name}.") or part in found.parts:
                continue
            length, thick = values.number(f"{part}.length"), values.number(f"{part}.thickness")
            if side in ("left", "right"):
                x = room.x - thick if side == "left" else room.right
                found.parts[part] = Box(x, room.y - (length - room.height) / 2, thick, length)
            else:
                y = room.y - thick if side == "bottom" else room.top
                found.parts[part] = Box(room.x - (length - room.width) / 2, y, length, thick)


def _fill(cabinet: Cabinet, assembly: Assembly, values: Values, found: Layout) -> None:
    roles = shape(assembly.kind)
    if assembly.fills and roles.get("shape") == "frame":
        found.frames[assembly.name] = _leaf(cabinet, assembly, values, found.openings[assembly.fills])
        _frame(assembly, roles, values, found)
    elif assembly.fills and roles.get("shape") == "board":
        _board(cabinet, assembly, values, found)
    elif assembly.fills and roles.get("shape") == "drawer":
        _drawer(cabinet, assembly, roles, values, found)


def leaves(cabinet: Cabinet, assembly: Assembly) -> list[Assembly]:
    """The assemblies of the same plan entry that share one opening, left to right."""
    base = assembly.name.partition(".")[0]
    return [
        other
        for other in cabinet.assemblies.values()
        if other.name.partition(".")[0] == base and other.fills == assembly.fills
    ]


def _leaf(cabinet: Cabinet, assembly: Assembly, values: Values, room: Box) -> Box:
    """Where a frame stands in its opening: all leaves together centred, with the meeting gap between."""
    names = [leaf.name for leaf in leaves(cabinet, assembly)]
    gap = values.number(f"{assembly.name}.meeting_gap")
    widths = [values.number(f"{name}.width") for name in names]
    height = values.number(f"{assembly.name}.height")
    here = names.index(assembly.name)
    start = room.x + (room.width - sum(widths) - gap * (len(names) - 1)) / 2
    x = start + sum(widths[:here]) + gap * here
    return Box(x, room.y + (room.height - height) / 2, widths[here], height)


def _frame(assembly: Assembly, roles: Mapping[str, str], values: Values, found: Layout) -> None:
    outline, name = found.frames[assembly.name], assembly.name
    sides = assembly.members[roles["upright"]]
    wide = {side: values.number(f"{name}.{roles['upright']}.{side}.width") for side in sides}
    for side in sides:
        x = outline.x if side == sides[0] else outline.right - wide[side]
        found.parts[f"{name}.{roles['upright']}.{side}"] = Box(x, outline.y, wide[side], outline.height)
    left = outline.x + wide[sides[0]]
    low = outline.y
    for member in assembly.members[roles["level"]]:
        rail = f"{name}.{roles['level']}.{member}"
        height = values.number(f"{rail}.width")
        y = outline.y if member == "bottom" else outline.top - height
        found.parts[rail] = Box(left, y, values.number(f"{rail}.shoulder"), height)
        low = max(low, outline.y + height) if member == "bottom" else low
    _bays(assembly, roles, values, found, left, low)


def _bays(
    assembly: Assembly, roles: Mapping[str, str], values: Values, found: Layout, x: Fraction, y: Fraction
) -> None:
    name = assembly.name
    muntins = assembly.members[roles["between"]]
    for number, bay in enumerate(assembly.members[roles["bay"]]):
        width = values.number(f"{name}.{roles['bay']}.{bay}.width")
        height = values.number(f"{name}.{roles['bay']}.{bay}.height")
        found.bays[f"{name}.{roles['panel']}.{bay}"] = Box(x, y, width, height)
        x += width
        if number < len(muntins):
            muntin = f"{name}.{roles['between']}.{muntins[number]}"
            thick = values.number(f"{muntin}.width")
            found.parts[muntin] = Box(x, y, thick, values.number(f"{muntin}.shoulder"))
            x += thick


def _board(cabinet: Cabinet, assembly: Assembly, values: Values, found: Layout) -> None:
    """A loose board, drawn at the middle of its opening."""
    room = found.openings[assembly.fills]
    mine = [part for part in cabinet.parts if part.assembly == assembly.name]
    for number, part in enumerate(mine, 1):
        length, thick = values.number(f"{part.name}.length"), values.number(f"{part.name}.thickness")
        y = room.y + room.height * number / (len(mine) + 1) - thick / 2
        found.parts[part.name] = Box(room.x + (room.width - length) / 2, y, length, thick)


def _drawer(cabinet: Cabinet, assembly: Assembly, roles: Mapping[str, str], values: Values, found: Layout) -> None:
    """A drawer from the front: its box at the bottom of the opening, or an applied front in the middle of it."""
    room, groups = found.openings[assembly.fills], {p.group: p for p in cabinet.parts if p.assembly == assembly.name}
    face = groups.get(roles["applied"])
    part = face or groups[roles["front"]]
    long, high = values.number(f"{part.name}.length"), values.number(f"{part.name}.width")
    wide = long if face else values.number(f"{assembly.name}.width")
    y = room.y + ((room.height - high) / 2 if face else 0)
    found.frames[assembly.name] = Box(room.x + (room.width - wide) / 2, y, wide, high)
    found.parts[part.name] = Box(room.x + (room.width - long) / 2, y, long, high)


def drawer_from_the_side(cabinet: Cabinet, assembly: Assembly, values: Values, room: Box) -> dict[str, Box]:
    """Parts of a drawer's box in a cut from front to back, by name; x is counted from the front of its opening.

    Back and bottom end where the sides end, and the back is as high up as they are. The bottom lies as high as the
    groove for it, and at the lower edge where the drawer has none. A drawer without sides has no box.

    Args:
        cabinet: Whose drawer it is.
        assembly: The drawer.
        values: Sizes of one student.
        room: Its opening in the front view.
    """
    roles = shape(assembly.kind)
    mine = [part for part in cabinet.parts if part.assembly == assembly.name]
    parts = {r: p.name for r in ("first", "last", "bottom", "beside") for p in mine if p.group == roles[r]}
    if "beside" not in parts:
        return {}
    own = lambda size: values.number(name) if (name := f"{assembly.name}.{size}") in values else Fraction(0)  # noqa: E731
    start, bottom = own("front.stands"), room.y + own("groove.up")
    long, high = (values.number(f"{parts['beside']}.{size}") for size in ("length", "width"))
    found = {}
    for role, name in parts.items():
        thick, wide = values.number(f"{name}.thickness"), values.number(f"{name}.width")
        found[name] = {
            "beside": Box(start, room.y, long, high),
            "first": Box(start, room.y, thick, wide),
            "last": Box(start + long - thick, room.y + high - wide, thick, wide),
            "bottom": Box(start + long - wide, bottom, wide, thick),
        }[role]
    return found


def _let_in_last(cabinet: Cabinet, parts: dict[str, Box]) -> Iterator[tuple[str, Box]]:
    """Parts that hold others first, then those that are let into them."""
    let_in = {
        site.male
        for assembly in cabinet.assemblies.values()
        for joint in assembly.joints.values()
        for site in joint.sites
    }
    yield from ((name, box) for name, box in parts.items() if name not in let_in)
    yield from ((name, box) for name, box in parts.items() if name in let_in)


def _outside(found: Layout) -> Box:
    boxes = [*found.parts.values(), *found.openings.values()]
    if not boxes:
        return Box(Fraction(0), Fraction(0), Fraction(0), Fraction(0))
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    return Box(x, y, max(b.right for b in boxes) - x, max(b.top for b in boxes) - y)
