"""The graph of a cabinet's quantities, and one student's values of them.

Compiled once for a plan. A student's values start from the plan's and follow what is given: choices and
measured stock set what a size should be, readings and what is already cut say what it is.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from course.formula import BadFormula, Formula, Value
from shared.places import NOWHERE, Place
from shared.problems import InputRefused, Problem


class Origin(enum.Enum):
    """Where a value comes from."""

    PLAN = "plan"
    DEFAULT = "default"
    FORMULA = "formula"
    TABLE = "table"
    CHOICE = "choice"
    STOCK = "stock"
    READING = "reading"
    OVERRIDE = "override"
    CUT = "cut"


@dataclass(frozen=True, slots=True)
class Read:
    """How a quantity is measured."""

    places: int
    """At how many places a reading is taken."""
    take: str
    """`smallest`, `largest`, `mean` or `spread` of the readings."""
    instrument: str
    """Caliper, rule, rods, feeler, tape."""
    first: bool = False
    """Whether it is to be read before anything that follows from it is cut."""


@dataclass(frozen=True, slots=True)
class Given:
    """A value that replaces a formula, and where it was found."""

    value: Value
    origin: Origin
    place: Place = NOWHERE
    note: str = ""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One named size of the cabinet, or a number or word that sizes depend on."""

    name: str
    says: str
    dimension: int
    """0 number, 1 length [mm], 2 area [mm2], -1 word."""
    origin: Origin
    place: Place
    formula: Formula | None
    """None for a value that stands alone."""
    constant: Value | None = None
    read: Read | None = None
    words: tuple[str, ...] = ()
    """The words it may be, for a quantity that is a word."""


@dataclass(frozen=True, slots=True)
class WhyLine:
    """One step of the chain behind a value."""

    depth: int
    name: str
    says: str
    value: Value
    origin: Origin
    formula: str
    """As written in the kind or the plan; empty for a value that stands alone."""
    place: Place
    note: str
    target: Value | None
    """What it should be, when a reading or a cut part says otherwise."""


def _trouble(error: Exception) -> str:
    return "it divides by zero" if isinstance(error, ZeroDivisionError) else str(error)


class Graph:
    """All quantities of one cabinet, in an order in which each follows what it reads."""

    def __init__(self, quantities: Sequence[Quantity]) -> None:
        self.quantities = tuple(quantities)
        self.index = {quantity.name: i for i, quantity in enumerate(quantities)}
        self._inputs = [tuple(self.index[n] for n in q.formula.names) if q.formula else () for q in quantities]
        self._order = self._sorted(self._inputs)
        self._rank = {i: rank for rank, i in enumerate(self._order)}
        self.dependents: list[list[int]] = [[] for _ in quantities]
        for i, reads in enumerate(self._inputs):
            for j in reads:
                self.dependents[j].append(i)
        self.base: list[Value] = [Fraction(0)] * len(quantities)
        for i in self._order:
            self.base[i] = self._formula_value(i, self.base)

    def __contains__(self, name: str) -> bool:
        """Whether there is a quantity of this name."""
        return name in self.index

    def __getitem__(self, name: str) -> Quantity:
        """The quantity of a full name."""
        return self.quantities[self.index[name]]

    def in_order(self) -> tuple[Quantity, ...]:
        """All quantities, each after what it reads."""
        return tuple(self.quantities[i] for i in self._order)

    def _sorted(self, inputs: Sequence[Sequence[int]]) -> list[int]:
        order: list[int] = []
        state = [0] * len(inputs)
        for start in range(len(inputs)):
            if state[start]:
                continue
            stack = [(start, iter(inputs[start]))]
            state[start] = 1
            while stack:
                node, rest = stack[-1]
                following = next(rest, None)
                if following is None:
                    order.append(node)
                    state[node] = 2
                    stack.pop()
                elif state[following] == 1:
                    self._refuse_cycle([i for i, _ in stack], following)
                elif state[following] == 0:
                    state[following] = 1
                    stack.append((following, iter(inputs[following])))
        return order

    def _refuse_cycle(self, path: list[int], start: int) -> None:
        ring = [self.quantities[i].name for i in path[path.index(start) :]]
        shown = " -> ".join([*ring, ring[0]])
        written = next(
            (self.quantities[self.index[n]] for n in ring if self.quantities[self.index[n]].origin is Origin.PLAN),
            None,
        )
        place = (written or self.quantities[start]).place
        raise InputRefused(
            [
                Problem(
                    "Q003",
                    place,
                    f"the sizes go round in a circle: {shown}",
                    "Give one of them a size of its own.",
                )
            ]
        )

    def _formula_value(self, i: int, values: Sequence[Value]) -> Value:
        quantity = self.quantities[i]
        if quantity.formula is None:
            assert quantity.constant is not None
            return quantity.constant
        try:
            return quantity.formula.run(values)
        except (ZeroDivisionError, BadFormula, TypeError, KeyError) as error:
            says = _trouble(error)
            raise InputRefused(
                [
                    Problem(
                        "Q004",
                        quantity.place,
                        f"{quantity.name} cannot be worked out: {says}",
                        "Check the sizes it reads.",
                    )
                ]
            ) from None

    def evaluate(self, settings: Mapping[str, Given] | None = None, found: Mapping[str, Given] | None = None) -> Values:
        """One student's values.

        Args:
            settings: Choices and measured stock: what a size should be, instead of the plan's.
            found: Readings, overrides and what is already cut: what a size is.
        """
        settings, found = settings or {}, found or {}
        values = list(self.base)
        targets: dict[int, Value] = {}
        set_at = {self.index[n]: g.value for n, g in settings.items()}
        found_at = {self.index[n]: g.value for n, g in found.items()}
        touched = self._after({*set_at, *found_at})
        for i in touched:
            target = set_at[i] if i in set_at else self._formula_value(i, values)
            if i in found_at:
                targets[i] = target
                values[i] = found_at[i]
            else:
                values[i] = target
        return Values(self, values, targets, dict(settings), dict(found), frozenset(touched))

    def again(self, last: Values, settings: Mapping[str, Given], found: Mapping[str, Given]) -> Values:
        """What `evaluate` gives, from values of this graph: only what follows from a difference is worked out anew."""
        values, targets = list(last.all), dict(last.targets)
        pairs = ((last.settings, settings), (last.found, found))
        starts = {
            self.index[n]
            for was, now in pairs if was is not now
            for n in was.keys() | now.keys()
            if was.get(n) is not now.get(n) and was.get(n) != now.get(n)
        }  # fmt: skip
        set_at = {self.index[n]: g.value for n, g in settings.items()}
        found_at = {self.index[n]: g.value for n, g in found.items()}
        moved: set[int] = set()
        for i in self._after(starts):
            if i not in starts and moved.isdisjoint(self._inputs[i]):
                continue
            target = set_at[i] if i in set_at else self._formula_value(i, values)
            if i in found_at:
                targets[i] = target
            else:
                targets.pop(i, None)
            value = found_at.get(i, target)
            if value != values[i]:
                moved.add(i)
                values[i] = value
        new = starts | moved
        touched = last.touched if last.touched >= new else last.touched | new  # hundreds of names, mostly the same ones
        return Values(self, values, targets, dict(settings), dict(found), touched)

    def _after(self, starts: Iterable[int]) -> list[int]:
        seen = set(starts)
        todo = list(seen)
        while todo:
            for i in self.dependents[todo.pop()]:
                if i not in seen:
                    seen.add(i)
                    todo.append(i)
        return sorted(seen, key=self._rank.__getitem__)


@dataclass(frozen=True)
class Values:
    """Every quantity of one student's cabinet, as it is now."""

    graph: Graph
    all: list[Value] = field(repr=False)
    targets: dict[int, Value] = field(repr=False)
    """What each found value should be, by its place in the graph."""
    settings: dict[str, Given] = field(repr=False)
    found: dict[str, Given] = field(repr=False)
    touched: frozenset[int] = field(repr=False)
    """Places in the graph of all that may differ from the plan."""

    def __getitem__(self, name: str) -> Value:
        """What it is: the reading or the cut size if there is one, else what it should be."""
        return self.all[self.graph.index[name]]

    def __contains__(self, name: str) -> bool:
        """Whether there is such a quantity."""
        return name in self.graph

    def number(self, name: str) -> Fraction:
        """The value of a quantity that is a length or a number."""
        value = self[name]
        assert isinstance(value, Fraction)
        return value

    def target(self, name: str) -> Value:
        """What it should be by everything known except its own reading."""
        i = self.graph.index[name]
        return self.targets.get(i, self.all[i])

    def target_number(self, name: str) -> Fraction:
        """As `target`, of a size; a word is a mistake of the program."""
        value = self.target(name)
        assert isinstance(value, Fraction)
        return value

    def planned(self, name: str) -> Value:
        """What the plan alone says."""
        return self.graph.base[self.graph.index[name]]

    def with_given(self, settings: Mapping[str, Given], found: Mapping[str, Given]) -> Values:
        """The same cabinet with other things given in place of all that are; quick where little differs."""
        return self.graph.again(self, settings, found)

    def without(self, part: str) -> Values:
        """The same with nothing known of one part: what its sizes should be, whatever it was cut to."""
        own = f"{part}."
        if not any(name.startswith(own) for name in self.found):
            return self
        rest = {name: given for name, given in self.found.items() if not name.startswith(own)}
        return self.with_given(self.settings, rest)

    def given(self, name: str) -> Given | None:
        """What replaces the plan or the formula, if anything does."""
        return self.found.get(name) or self.settings.get(name)

    def origin(self, name: str) -> Origin:
        """Where the value comes from."""
        given = self.given(name)
        return given.origin if given else self.graph[name].origin

    def inputs(self, name: str) -> tuple[str, ...]:
        """What its formula reads; nothing when a choice, stock or reading stands instead."""
        formula = self.graph[name].formula
        return formula.names if formula and name not in self.settings else ()

    def formula_value(self, formula: Formula) -> Value:
        """The value of a formula that is not itself a quantity.

        Raises:
            InputRefused: Q004, with these sizes it divides by zero or takes the root of less than nothing.
        """
        try:
            return formula.run(self.all)
        except (ZeroDivisionError, BadFormula) as error:
            says = f"{formula.text} cannot be worked out: {_trouble(error)}"
            raise InputRefused([Problem("Q004", Place("plan.yaml"), says, "Check the sizes it reads.")]) from None

    @cached_property
    def changed(self) -> frozenset[str]:
        """Names whose value differs from the plan's."""
        names = self.graph.quantities
        return frozenset(names[i].name for i in self.touched if self.all[i] != self.graph.base[i])

    def behind(self, names: Iterable[str]) -> frozenset[str]:
        """Everything that some quantities rest on, themselves included."""
        return frozenset[str]().union(*(self.rests_on(name) for name in names))

    def rests_on(self, name: str) -> frozenset[str]:
        """Every quantity that the value depends on, itself included; a found value hides what is behind it."""
        seen: set[str] = set()
        todo = [name]
        while todo:
            one = todo.pop()
            if one in seen:
                continue
            seen.add(one)
            if one not in self.found:
                todo.extend(self.inputs(one))
        return frozenset(seen)

    def why(self, name: str) -> tuple[WhyLine, ...]:
        """The chain behind a value, down to plan lines, readings and tables; each quantity told once."""
        lines: list[WhyLine] = []
        told: set[str] = set()

        def tell(one: str, depth: int) -> None:
            quantity, given = self.graph[one], self.given(one)
            again = one in told
            told.add(one)
            formula = quantity.formula.text if quantity.formula and one not in self.settings else ""
            note = "see above" if again and formula else (given.note if given else "")
            lines.append(
                WhyLine(
                    depth,
                    one,
                    quantity.says,
                    self[one],
                    self.origin(one),
                    formula,
                    given.place if given else quantity.place,
                    note,
                    self.target(one) if one in self.found else None,
                )  # fmt: skip
            )
            if not again:
                for inner in self.inputs(one):
                    tell(inner, depth + 1)

        tell(name, 0)
        return tuple(lines)

    def moves(self, name: str, by: Fraction = Fraction(1)) -> dict[str, Fraction]:
        """How much one more millimetre of each thing it rests on moves it; computed, not listed.

        Of a size that is read or cut, what moves the size that it should have.
        """
        if name in self.found:
            others = {key: given for key, given in self.found.items() if key != name}
            return self.with_given(self.settings, others).moves(name, by)
        base = self.number(name)
        found: dict[str, Fraction] = {}
        for other in sorted(self.rests_on(name) - {name}):
            if self.graph[other].dimension != 1:
                continue
            nudge = Given(self.number(other) + by, Origin.OVERRIDE)
            moved = self.with_given(self.settings, {**self.found, other: nudge}).number(name)
            if moved != base:
                found[other] = (moved - base) / by
        return found
