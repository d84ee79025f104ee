"""A cabinet plan as its author wrote it: assemblies by kind, sizes, joints, stock."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from course.course_form import lists_among, not_single
from shared.handbook import tables
from shared.places import Items, Mapping, Node, Place, Text, Unreadable, read_yaml
from shared.problems import InputRefused, Problem, meant, unknown_keys

UNITS = ("mm", "in")
_RESERVED = ("kind", "in", "joints", "stock", "mark", "title", "leaves")
_NAME = re.compile(r"[a-z][a-z0-9_]*")


@dataclass(frozen=True, slots=True)
class Member:
    """One entry of a list in the plan: a name and what it measures."""

    name: str
    size: Text
    """A length, a share as in `2 shares`, or `rest`."""


@dataclass(frozen=True, slots=True)
class PlannedAssembly:
    """An assembly as the plan states it."""

    name: str
    kind: str
    fills: Text | None
    joints: dict[str, Text]
    stock: dict[str, Text]
    leaves: tuple[str, ...]
    mark: str
    title: str
    lists: dict[str, tuple[Member, ...]]
    sizes: dict[str, Text]
    """Dotted names and what the plan sets them to."""
    place: Place


END, SIDE = "end to end", "side by side"
JOINED = (END, SIDE)
"""How the parts of a match lie: one grain running on through them, or next to each other."""


@dataclass(frozen=True, slots=True)
class Match:
    """Parts that stay joined in one strip of one sheet or board, so that their grain runs on."""

    name: str
    parts: tuple[Text, ...]
    """Full names of parts, in their order."""
    end_to_end: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan file."""

    title: str
    unit: str
    """Unit of bare numbers; empty when the file declares none."""
    revision: str
    stock: dict[str, dict[str, Text]]
    shop: dict[str, Text]
    climate: dict[str, Text]
    assemblies: tuple[PlannedAssembly, ...]
    file: str
    matches: tuple[Match, ...] = ()


def flat(node: Mapping, prefix: str = "") -> dict[str, Text]:
    """Nested or dotted names to one level: `stile: {width: 45}` is `stile.width: 45`."""
    found: dict[str, Text] = {}
    for key, value in node.items():
        name = f"{prefix}{key}"
        if isinstance(value, Text):
            found[name] = value
        elif isinstance(value, Mapping):
            found.update(flat(value, f"{name}."))
    return found


def read_plan(text: str, file: str, list_keys: dict[str, dict[str, bool]]) -> Plan:
    """The plan in a YAML text.

    Args:
        text: Contents of `plan.yaml`.
        file: Name shown in problems.
        list_keys: For each kind, the names under which its plan lists its members, and whether they are named.

    Raises:
        InputRefused: With everything that is wrong with the form of the file.
    """
    problems: list[Problem] = []
    try:
        top = read_yaml(text, file)
    except Unreadable as error:
        raise InputRefused([Problem("P001", error.place, error.says, error.do)]) from None

    known = ("title", "unit", "revision", "stock", "shop", "climate", "assemblies", "match")
    problems += unknown_keys("P002", top, known, "a plan")
    unit = top.text("unit")
    if unit and unit not in UNITS:
        node = top.get("unit")
        problems.append(Problem("P003", node.place if node else top.place, f"the unit is '{unit}'", "Write mm or in."))
        unit = ""
    stock = dict(_stock(top, problems))
    shop = {name: node for name, node in _block(top, "shop", problems) if isinstance(node, Text)}
    others = ((name, node) for name, node in _block(top, "shop", []) if not isinstance(node, Text))
    problems += (not_single(node, f"shop.{name}") for name, node in others)
    for key in ("title", "unit", "revision"):
        node = top.get(key)
        if isinstance(node, Items | Mapping):
            problems.append(not_single(node, key))
    climate = _climate(top, problems)
    assemblies = [
        assembly
        for name, node in _block(top, "assemblies", problems)
        if (assembly := _assembly(name, node, top, list_keys, problems))
    ]
    matches = tuple(_matches(top, problems))
    if not assemblies and not problems:
        problems.append(Problem("P004", top.place, "the plan has no assemblies", "Add `assemblies:` with a carcass."))
    if problems:
        raise InputRefused(problems)
    title = top.text("title", "Cabinet")
    return Plan(title, unit, top.text("revision", "1"), stock, shop, climate, tuple(assemblies), file, matches)


def _stock(top: Mapping, problems: list[Problem]) -> Iterator[tuple[str, dict[str, Text]]]:
    """What each stock is, by its name."""
    for name, node in _block(top, "stock", problems):
        if isinstance(node, Mapping):
            problems += lists_among(node, f"stock.{name}.")
            yield name, flat(node)
            continue
        do = f"Write `{name}: {{material: birch plywood, form: sheet, thickness: 18 mm}}`."
        problems.append(Problem("P005", node.place, f"the stock '{name}' does not say what it is", do))
        yield name, {}


def _block(top: Mapping, key: str, problems: list[Problem]) -> list[tuple[str, Node]]:
    node = top.get(key)
    if node is None or (isinstance(node, Text) and node.empty):
        return []
    if not isinstance(node, Mapping):
        problems.append(Problem("P005", node.place, f"'{key}' must be `name: value` lines", "Indent them below it."))
        return []
    return list(node.items())


_TEMPERATURE = re.compile(r"(-?\d+(?:\.\d+)?)\s*\u00b0?\s*([CF])")
_HUMIDITY = re.compile(r"(\d+(?:\.\d+)?)\s*%?")


def _climate(top: Mapping, problems: list[Problem]) -> dict[str, Text]:
    """The moisture contents of the climate: by the name of a climate of the tables, or one by one."""
    node = top.get("climate")
    if isinstance(node, Text) and not node.empty:
        try:
            row = tables.climate(node.text)
        except tables.UnknownName as error:
            problems.append(Problem("P026", node.place, error.says, error.do))
            return {}
        shares = {"built": row.built, "dry": row.driest, "damp": row.dampest}
        return {name: Text(f"{float(share):g}", node.place) for name, share in shares.items()}
    found = ((name, _moisture(name, value, problems)) for name, value in _block(top, "climate", problems))
    return {name: text for name, text in found if text}


def _moisture(name: str, node: Node, problems: list[Problem]) -> Text | None:
    """A moisture content as written, or the formula of that which wood comes to in air of a climate."""
    if isinstance(node, Text):
        return node
    do = f"Write `{name}: 8`, a moisture content in percent, or `{name}: {{temperature: 21 C, humidity: 40 %}}`."
    if not isinstance(node, Mapping) or set(node.entries) != {"temperature", "humidity"}:
        problems.append(Problem("P026", node.place, f"climate.{name} is no moisture and no air", do))
        return None
    warm, damp = (pattern.fullmatch(node.text(key).strip())
                  for key, pattern in (("temperature", _TEMPERATURE), ("humidity", _HUMIDITY)))  # fmt: skip
    if not warm or not damp:
        key = "humidity" if warm else "temperature"
        places = {word: inner.place for word, inner in node.items()}
        problems.append(Problem("P026", places[key], f"the {key} is '{node.text(key)}'", do))
        return None
    scale = "celsius" if warm[2] == "C" else "fahrenheit"
    return Text(f"moisture_{scale}({warm[1]}, {damp[1]})", node.place)


def _matches(top: Mapping, problems: list[Problem]) -> Iterator[Match]:
    """Which parts stay joined."""
    for name, node in _block(top, "match", problems):
        block = top.get("match")
        assert isinstance(block, Mapping)
        place = block.keys[name]
        parts = node.get("parts") if isinstance(node, Mapping) else None
        names = tuple(part for part in parts if isinstance(part, Text)) if isinstance(parts, Items) else ()
        joined = node.text("joined") if isinstance(node, Mapping) else ""
        if len(names) < 2 or joined not in JOINED:
            says = f"the match '{name}' does not say which parts stay joined, and how"
            do = f"Write `{name}: {{parts: [back.panel.1, back.panel.2], joined: side by side}}`, or end to end."
            problems.append(Problem("P030", place, says, do))
            continue
        yield Match(name, names, joined == END, place)


def _assembly(
    name: str, node: Node, top: Mapping, list_keys: dict[str, dict[str, bool]], problems: list[Problem]
) -> PlannedAssembly | None:
    block = top.get("assemblies")
    assert isinstance(block, Mapping)
    place = block.keys[name]
    if not _NAME.fullmatch(name) or name in ("stock", "shop", "climate", "opening", "this"):
        do = "Use small letters, digits and _, as in upper_door; stock, shop, climate, opening and this are taken."
        problems.append(Problem("P006", place, f"'{name}' cannot be the name of an assembly", do))
        return None
    if not isinstance(node, Mapping):
        problems.append(Problem("P005", place, f"'{name}' must be `name: value` lines", "Indent them below it."))
        return None
    kind = node.text("kind")
    if not kind:
        problems.append(Problem("P007", place, f"'{name}' has no kind", "Write `kind: carcass`, or another kind."))
        return None
    keys = list_keys.get(kind)
    if keys is None:
        kind_node = node.get("kind")
        where = kind_node.place if kind_node else place
        problems.append(Problem("P008", where, f"there is no kind '{kind}'", meant(kind, list_keys)))
        return None
    lists = {key: _members(key, node.get(key), named, problems) for key, named in keys.items() if key in node.entries}
    rest = Mapping({k: v for k, v in node.items() if k not in (*_RESERVED, *keys)}, node.keys, node.place)
    for key, value in rest.items():
        if isinstance(value, Items):
            problems.append(Problem("P002", node.keys[key], f"'{kind}' has no list '{key}'", meant(key, keys)))
        elif isinstance(value, Mapping):
            problems += lists_among(value, f"{key}.")
    for key in ("in", "kind", "mark", "title"):
        written = node.get(key)
        if isinstance(written, Items | Mapping):
            problems.append(not_single(written, key))
    fills = node.get("in")
    return PlannedAssembly(
        name, kind, fills if isinstance(fills, Text) else None, _texts(node, "joints", problems),
        _texts(node, "stock", problems),
        _leaves(node.get("leaves"), problems),
        node.text("mark"), node.text("title", name.replace("_", " ")), lists, flat(rest), place,
    )  # fmt: skip


def _leaves(node: Node | None, problems: list[Problem]) -> tuple[str, ...]:
    """The names of leaves that share an opening."""
    if node is None or (isinstance(node, Text) and node.empty):
        return ()
    names = tuple(item.text for item in node if isinstance(item, Text)) if isinstance(node, Items) else ()
    all_words = isinstance(node, Items) and len(names) == len(node)
    if not all_words or not 2 <= len(set(names)) == len(names) or not all(map(_NAME.fullmatch, names)):
        do = "Write `leaves: [left, right]`, two or more different names of small letters, or leave it out."
        problems.append(Problem("P034", node.place, "leaves does not name the leaves", do))
        return ()
    return names


def _texts(block: Mapping, key: str, problems: list[Problem]) -> dict[str, Text]:
    """The words of an assembly's joints or stock, by name."""
    node, example = block.get(key), {"joints": "corner: dowels", "stock": "box: drawer"}[key]
    if node is None or (isinstance(node, Text) and node.empty):
        return {}
    found = {k: v for k, v in node.items() if isinstance(v, Text)} if isinstance(node, Mapping) else {}
    if not isinstance(node, Mapping) or len(found) < len(node.entries):
        says, do = f"'{key}' does not name one word for each", f"Write `{key}: {{{example}}}`."
        problems.append(Problem("P005", node.place, says, do))
    return found


def _members(key: str, node: Node | None, named: bool, problems: list[Problem]) -> tuple[Member, ...]:
    if isinstance(node, Mapping) and node.entries:
        pairs = [(name, value) for name, value in node.items() if isinstance(value, Text)]
        problems += (not_single(value, name) for name, value in node.items() if not isinstance(value, Text))
        bad = [name for name, _ in pairs if not _NAME.fullmatch(name)]
        for name in bad:
            problems.append(
                Problem("P006", node.keys[name], f"'{name}' cannot be a name", "Use small letters, digits and _.")
            )
        return tuple(Member(name, value) for name, value in pairs)
    if isinstance(node, Text) and re.fullmatch(r"[1-9]|1[0-9]", node.text.strip()) and not named:
        return tuple(Member(str(i + 1), Text("1 share", node.place)) for i in range(int(node.text)))
    if isinstance(node, Items) and len(node) and not named:
        return tuple(Member(str(i), value) for i, value in enumerate(node, 1) if isinstance(value, Text))
    example = f"{key}: {{drawer: 120 mm, door: rest}}" if named else f"{key}: 2` or `{key}: [1 share, 2 shares]"
    place = node.place if node else Place("plan.yaml")
    problems.append(Problem("P009", place, f"'{key}' is not a list of sizes", f"Write `{example}`."))
    return ()
