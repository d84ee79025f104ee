"""Probable causes of a deviation, from its size: what may have been left out, counted twice or turned over."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from fractions import Fraction
from functools import cache
from importlib.resources import files

from course.formula import BadFormula, UnknownName, Value, parse
from course.quantities import Values
from shared.places import Items, Mapping, Node, Text, read_yaml
from shared.units import MM, Shown, length

MOST = 3
"""Causes that are named for one deviation."""
PLANNED = "planned"
EARLIER = "earlier"


@dataclass(frozen=True, slots=True)
class CauseSpec:
    """A cause, as `causes.yaml` has it."""

    of: tuple[str, ...]
    each: str
    """`stock` when every stock the size rests on is looked at."""
    unit: str
    """`mm` or `in` when it can happen to who measures in that unit only."""
    leaves: tuple[str, ...]
    """Formulas of the deviation it would leave."""
    within: Fraction
    """How near the deviation must be. [mm]"""
    asks: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Cause:
    """What may be behind a deviation. Lengths in mm."""

    asks: str
    """A question, never a verdict."""
    evidence: str
    """The figures it rests on."""
    leaves: Fraction
    """The deviation this cause would leave."""
    miss: Fraction
    """How far the deviation is from that."""


@cache
def known_causes() -> tuple[CauseSpec, ...]:
    """The causes of `causes.yaml`, in their order."""
    rows = read_yaml(files("course").joinpath("causes.yaml").read_text("utf-8"), "causes.yaml").get("causes")
    return tuple(
        CauseSpec(
            _words(row.get("of")), row.text("each"), row.text("unit"), _words(row.get("is")),
            length(row.text("within")), row.text("asks"), row.text("evidence"),
        )
        for row in (rows if isinstance(rows, Items) else ())
        if isinstance(row, Mapping)
    )  # fmt: skip


def _words(node: Node | None) -> tuple[str, ...]:
    if isinstance(node, Items):
        return tuple(item.text for item in node if isinstance(item, Text))
    return (node.text,) if isinstance(node, Text) else ()


def causes(
    values: Values, quantity: str, deviation: Fraction, shown: Shown = MM, earlier: Fraction | None = None
) -> tuple[Cause, ...]:
    """At most three probable causes of a deviation, the nearest first.

    Args:
        values: The student's values.
        quantity: Full name of what was measured.
        deviation: The reading less what it should be. [mm]
        shown: How sizes are printed in the evidence.
        earlier: The deviation of the attempt before, when there was one. [mm]
    """
    facts = _Facts(values, quantity, earlier)
    found = [
        (cause.miss / spec.within, number, cause)
        for number, spec in enumerate(known_causes())
        if spec.unit in ("", shown.unit) and any(fnmatchcase(quantity, pattern) for pattern in spec.of)
        for cause in _fitting(spec, facts, deviation, shown)
    ]
    return tuple(cause for _, _, cause in sorted(found, key=lambda one: one[:2])[:MOST])


def _fitting(spec: CauseSpec, facts: _Facts, deviation: Fraction, shown: Shown) -> Iterator[Cause]:
    for this in facts.stocks() if spec.each == "stock" else ("",):
        sizes = [size for text in spec.leaves if (size := facts.size(text, this)) is not None]
        fits = [s for s in sizes if abs(s) > spec.within and abs(deviation - s) <= spec.within]
        if fits:
            size = min(fits, key=lambda s: abs(deviation - s))
            yield Cause(spec.asks, facts.filled(spec.evidence, this, shown), size, abs(deviation - size))


class _Facts:
    """What names of a cause mean for one quantity of one student."""

    def __init__(self, values: Values, quantity: str, earlier: Fraction | None) -> None:
        found = {name: given for name, given in values.found.items() if name != quantity}
        self.values = values.with_given(values.settings, found)
        self.quantity = quantity
        graph, count = values.graph, len(values.graph.quantities)
        self._all: list[Value] = [*self.values.all, *graph.base]
        self._index = dict(graph.index) | {f"{PLANNED}:{name}": i + count for name, i in graph.index.items()}
        if earlier is not None:
            self._index[EARLIER] = len(self._all)
            self._all.append(earlier)

    def stocks(self) -> list[str]:
        """Stock whose thickness the quantity rests on, as `stock.case`."""
        return sorted(
            name.removesuffix(".thickness")
            for name in self.values.rests_on(self.quantity)
            if name.startswith("stock.") and name.endswith(".thickness")
        )

    def size(self, text: str, this: str) -> Fraction | None:
        """The value of a formula; None when this cabinet has no such names here."""
        try:
            value = parse(text, lambda name: self._resolve(name, this), self._index).run(self._all)
        except BadFormula:
            return None
        return value if isinstance(value, Fraction) else None

    def _resolve(self, name: str, this: str) -> Sequence[str]:
        sense, _, rest = name.partition(".")
        if sense == PLANNED:
            return [f"{PLANNED}:{full}" for full in self._resolve(rest, this)]
        if sense == "this":
            name = f"{this}.{rest}"
        around = self.quantity
        while around:
            around = around.rpartition(".")[0]
            full = f"{around}.{name}" if around else name
            if full in self._index:
                return [full]
        raise UnknownName(name)

    def filled(self, text: str, this: str, shown: Shown) -> str:
        """Evidence with its formulas worked out."""

        def put(match: re.Match[str]) -> str:
            size = self.size(match[1], this)
            assert size is not None, f"causes.yaml: {match[1]}"
            return shown.fine(size)

        return re.sub(r"\{([^{}]+)\}", put, text)
