"""What a student's sizes rest on at one moment: kept with a list handed out and with a part that is cut.

With it an edit of plan, stock or roster that came afterwards can be told by name, and apart from a reading.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from course.cabinet import Cabinet
from course.compiling import WORD
from course.formula import Value
from course.quantities import Graph, Origin, Values


@dataclass(frozen=True, slots=True)
class Basis:
    """What was given, as text that is exact."""

    given: dict[str, str]
    """Everything that stands alone, by its full name: sizes and words of plan, roster, stock, tables and defaults.

    A formula that the plan writes itself stands here as `= formula`.
    """
    built: dict[str, str]
    """Kinds, joints and lists of the assemblies, by what they are called in the plan."""
    found: dict[str, str] | None
    """Sizes as read; None where they are left out."""

    @property
    def text(self) -> str:
        """For the log; the same basis gives the same text."""
        return json.dumps([self.given, self.built, self.found], sort_keys=True, separators=(",", ":"))


def basis_of(cabinet: Cabinet, values: Values) -> Basis:
    """What one student's sizes rest on now."""
    found = {name: str(given.value) for name, given in values.found.items() if given.origin is Origin.READING}
    return Basis(dict(_given(values)), dict(_built(cabinet)), found)


@lru_cache(maxsize=64)
def read_basis(text: str) -> Basis | None:
    """A basis from the log; None when none was kept."""
    return Basis(*json.loads(text)) if text else None


def _given(values: Values) -> Iterator[tuple[str, str]]:
    for name, written in _written(values.graph):
        if name in values.settings:
            yield name, str(values.settings[name].value)
        elif written is not None:
            yield name, written


@lru_cache(maxsize=2)
def _written(graph: Graph) -> tuple[tuple[str, str | None], ...]:
    """Every quantity with what the plan says of it; None where a kind or a joint has a formula for it."""
    return tuple(
        (one.name, str(one.constant) if one.formula is None else
         f"= {one.formula.text}" if one.origin is Origin.PLAN else None)
        for one in graph.quantities
    )  # fmt: skip


def _built(cabinet: Cabinet) -> Iterator[tuple[str, str]]:
    for name, assembly in cabinet.assemblies.items():
        yield name, assembly.kind
        for joint in assembly.joints.values():
            yield f"{name}.joints.{joint.name}", joint.kind
        for list_name, members in assembly.members.items():
            yield f"{name}.{list_name}", ", ".join(members)


def given_value(graph: Graph, name: str, text: str) -> Value | None:
    """The value of a text of `Basis.given` or `.found`; None for a formula, or a name that is no more."""
    if name not in graph or text.startswith("= "):
        return None
    return text if graph[name].dimension == WORD else Fraction(text)
