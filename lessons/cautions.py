"""The cautions of each kind of work, and the controls that published rules ask a sheet to mention."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files

from shared.places import Items, Mapping, Place, Text, read_csv, read_yaml

SEVERITIES = ("danger", "warning", "caution")
"""Signal words, the gravest first."""
GENERAL = "general_workshop"
ENGINEERED = "engineered_wood"
"""The family printed when a sheet of plywood, MDF or particleboard is cut or sanded."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: what may happen, and what to do."""

    id: str
    family: str
    tool: str
    """Machine or tool; `all` concerns everyone in the shop, a machine running or not."""
    hazard: str
    severity: str
    text: str
    source: str
    status: str
    """Whether the wording was read in the source: `read`, `partly read`, `common practice`, `from memory`."""
    place: Place


@dataclass(frozen=True, slots=True)
class Family:
    """A kind of work that shares its cautions."""

    name: str
    title: str
    powered: bool
    adds: tuple[str, ...]
    """Families printed with it."""


@dataclass(frozen=True, slots=True)
class Control:
    """Something a published rule or guidance asks for, and words that count as mentioning it."""

    id: str
    requirement: str
    mention_any: tuple[str, ...]
    source: str
    force: str
    """`regulation`, `guidance`, `standard`, `maker` or `practice`."""
    jurisdiction: str
    general: bool
    """Whether it belongs to every powered operation."""

    def mentioned(self, text: str) -> bool:
        """Whether a text names it; large and small letters are the same."""
        lowered = text.lower()
        return any(words.lower() in lowered for words in self.mention_any)


def _table(name: str) -> str:
    return (files("lessons") / "tables" / name).read_text(encoding="utf-8")


def _read_cautions() -> dict[str, Caution]:
    table = read_csv(_table("cautions.csv"), "cautions.csv")
    return {
        row.text("id"): Caution(
            row.text("id"), row.text("operation_family"), row.text("machine_or_tool"), row.text("hazard"),
            row.text("severity"), row.text("caution_text"), row.text("source"), row.text("source_status"), row.place,
        )
        for row in table.rows
    }  # fmt: skip


def _read_families() -> dict[str, Family]:
    found = {}
    for name, node in read_yaml(_table("families.yaml"), "families.yaml").items():
        assert isinstance(node, Mapping)
        adds = node.get("with")
        names = tuple(v.text for v in adds if isinstance(v, Text)) if isinstance(adds, Items) else ()
        found[name] = Family(name, node.text("title"), node.text("powered") == "yes", names)
    return found


CAUTIONS: dict[str, Caution] = _read_cautions()
"""Every caution by its id, in the order of the table."""
FAMILIES: dict[str, Family] = _read_families()
"""Every family by its name."""
_CONTROLS = json.loads(_table("required_controls.json"))


def all_families(names: Iterable[str]) -> tuple[str, ...]:
    """The families among some families and caution ids, and those printed with them, each once."""
    found: dict[str, None] = {}
    todo = [name for name in names if name in FAMILIES]
    while todo:
        name = todo.pop(0)
        if name not in found:
            found[name] = None
            todo.extend(FAMILIES[name].adds)
    return tuple(found)


def powered(names: Iterable[str]) -> bool:
    """Whether any of these families is about a powered machine or tool."""
    return any(FAMILIES[name].powered for name in names if name in FAMILIES)


def cautions_for(names: Iterable[str], machine: bool) -> tuple[Caution, ...]:
    """The cautions of a piece of work.

    Args:
        names: Families, and ids of single cautions.
        machine: Whether a powered machine or tool is used; then all general cautions are included,
            otherwise those that concern everyone in the shop.

    Returns:
        General ones first, then the others; in each group by severity, then by id.

    Raises:
        KeyError: A name is neither a family nor the id of a caution.
    """
    names = tuple(names)
    for name in names:
        if name not in FAMILIES and name not in CAUTIONS:
            raise KeyError(name)
    families = set(all_families(names)) - {GENERAL}
    general = [c for c in CAUTIONS.values() if c.family == GENERAL and (machine or c.tool == "all")]
    others = [c for c in CAUTIONS.values() if c.family != GENERAL and (c.family in families or c.id in names)]
    return (*sorted(general, key=_gravest), *sorted(others, key=_gravest))


def _gravest(caution: Caution) -> tuple[int, str]:
    return SEVERITIES.index(caution.severity), caution.id


def machine_of(family: str) -> str:
    """The machine under which the controls of a family stand; empty when none are listed."""
    for machine, block in _CONTROLS["machines"].items():
        if family in block["operation_families"]:
            return machine
    return ""


def required_controls(machine: str, family: str) -> tuple[Control, ...]:
    """What a sheet for this work on this machine must mention.

    General controls come first. Where a waiver lists the family, the waived controls give way to those that
    replace them and to those that restore the guard afterwards. Conditions of the machine itself, which no
    sheet can mention, are left out.

    Raises:
        KeyError: No such machine, or the machine does no such work.
    """
    block = _CONTROLS["machines"][machine]
    if family not in block["operation_families"]:
        raise KeyError(family)
    controls = {control["id"]: control for control in block["controls"]}
    wanted = {i: c for i, c in controls.items() if {"*", family} & set(c["applies_to"])}
    for waiver in block.get("waivers", ()):
        if family in waiver["operation_families"]:
            wanted = {i: c for i, c in wanted.items() if i not in waiver["waived"]}
            wanted |= {i: controls[i] for i in (*waiver["replaced_by"], *waiver["afterwards"])}
    general = [_control(c, True) for c in _CONTROLS["general_controls"]]
    return tuple(c for c in (*general, *(_control(c, False) for c in wanted.values())) if c.mention_any)


def _control(row: dict, general: bool) -> Control:
    words = tuple(row["mention_any"])
    return Control(row["id"], row["requirement"], words, row["source"], row["force"], row["jurisdiction"], general)


def missing_controls(text: str, names: Iterable[str]) -> tuple[Control, ...]:
    """What rules ask a sheet to mention, for these families and those printed with them, and a text does not.

    General controls are asked for where a family is about a powered machine or tool.
    """
    found: dict[str, Control] = {}
    for family in all_families(names):
        for control in required_controls(machine_of(family), family) if machine_of(family) else ():
            if (FAMILIES[family].powered or not control.general) and not control.mentioned(text):
                found[control.id] = control
    return tuple(found.values())
