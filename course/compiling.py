"""From written formulas to one graph: names resolved, plain numbers read, dimensions worked out and checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.cabinet import Scope
from course.formula import LENGTH, NUMBER, BadFormula, Formula, UnknownName, Value, dimension, parse
from course.kinds import QuantitySpec
from course.quantities import Graph, Origin, Quantity
from shared.places import Place, Text
from shared.problems import InputRefused, Problem, meant
from shared.units import NotALength, length, number_and_unit

WORD = -1
"""Dimension of a quantity that is a word."""


@dataclass
class Pending:
    """A quantity whose formula is not compiled yet."""

    name: str
    spec: QuantitySpec
    scope: Scope
    text: Text | None
    origin: Origin
    unit: str = ""


class Compiler:
    """Compiles what is pending; what is wrong is added to the problems."""

    def __init__(self, pending: Sequence[Pending], known: Mapping[str, int], problems: list[Problem]) -> None:
        self.pending, self.known, self.problems = pending, known, problems

    def wrong(self, code: str, place: Place, says: str, do: str) -> None:
        """Note a problem."""
        self.problems.append(Problem(code, place, says, do))

    def graph(self) -> Graph:
        """The graph of all quantities.

        Raises:
            InputRefused: Every problem so far, and circles.
        """
        compiled: list[Quantity] = []
        for pending in self.pending:
            compiled.append(self._compile(pending))
        if self.problems:
            raise InputRefused(self.problems)
        graph = Graph(self._with_dimensions(compiled))
        if self.problems:
            raise InputRefused(self.problems)
        return graph

    def _compile(self, pending: Pending) -> Quantity:
        spec, text = pending.spec, pending.text
        place = text.place if text else spec.place
        base = Quantity(
            pending.name,
            spec.says or pending.name,
            LENGTH,
            pending.origin,
            place,
            None,
            Fraction(0),
            spec.read,
            spec.words,
        )
        if spec.by and pending.origin is not Origin.PLAN:
            return self._by_word(pending, base)
        assert text is not None
        if spec.is_word:
            if spec.words and text.text not in spec.words:
                self.wrong("P013", place, f"{pending.name} is '{text.text}'", meant(text.text, spec.words))
            return replace(base, dimension=WORD, constant=text.text)
        if pending.origin is Origin.PLAN and (constant := self._plain(pending, text)) is not None:
            return replace(base, constant=constant, dimension=self._plain_dimension(pending))
        try:
            formula = parse(text.text, pending.scope.resolve, self.known)
        except BadFormula as error:
            self._bad_formula(pending, error)
            return base
        if formula.names:
            return replace(base, formula=formula)
        try:
            value = formula.run([])
        except (BadFormula, ZeroDivisionError) as error:
            says = "it divides by zero" if isinstance(error, ZeroDivisionError) else str(error)
            self._bad_formula(pending, BadFormula(says))
            return base
        return replace(
            base,
            formula=formula if pending.origin is Origin.PLAN else None,
            constant=value,
            dimension=dimension(formula, pending.scope.resolve, lambda n: LENGTH),
        )

    def _bad_formula(self, pending: Pending, error: BadFormula) -> None:
        place = pending.text.place if pending.text else pending.spec.place
        code, do = "Q001", "Check the spelling and the brackets."
        if isinstance(error, UnknownName):
            prefix = pending.scope.draft.name + "."
            names = {n.removeprefix(prefix) for n in self.known}
            code, do = "Q002", meant(error.name, names)
        self.wrong(code, place, f"{pending.name}: {error}", do)

    def _plain(self, pending: Pending, text: Text) -> Fraction | None:
        """A plain number or length of the plan; None when it is a formula."""
        if self._plain_dimension(pending) == NUMBER:
            try:
                value, unit = number_and_unit(text.text)
            except NotALength:
                return None
            return value if not unit or "/" in text.text else None
        try:
            return length(text.text, pending.unit)
        except NotALength as error:
            if "no unit" in str(error):
                self.wrong(
                    "P021",
                    text.place,
                    f"{pending.name}: {error}",
                    "Or write `unit: mm` or `unit: in` at the top of the plan.",
                )
                return Fraction(0)
            return None

    def _plain_dimension(self, pending: Pending) -> int:
        default = pending.spec.formula
        if default is not None:
            try:
                number_and_unit(default.text)
            except NotALength:
                return LENGTH
            return LENGTH if number_and_unit(default.text)[1] else NUMBER
        return LENGTH

    def _by_word(self, pending: Pending, base: Quantity) -> Quantity:
        spec, scope = pending.spec, pending.scope
        try:
            selector = parse(spec.by, scope.resolve, self.known)
            if spec.is_word:
                words = {word: text.text for word, text in spec.cases}
                formula = Formula(
                    f"by {spec.by}",
                    selector.names,
                    lambda values: words[str(selector.run(values))],
                    selector.tree,
                )
                return replace(base, formula=formula, dimension=WORD)
            cases = {word: parse(text.text, scope.resolve, self.known) for word, text in spec.cases}
        except BadFormula as error:
            self._bad_formula(pending, error)
            return base
        names = tuple(dict.fromkeys([*selector.names, *(n for case in cases.values() for n in case.names)]))
        text = f"by {spec.by}: " + ", ".join(f"{word} {case.text}" for word, case in cases.items())

        def run(values: Sequence[Value]) -> Value:
            return cases[str(selector.run(values))].run(values)

        return replace(base, formula=Formula(text, names, run, selector.tree), dimension=LENGTH)

    def _with_dimensions(self, quantities: list[Quantity]) -> list[Quantity]:
        """Work out and check the dimension of every formula, in any order."""
        known: dict[str, int] = {}
        by_name = {q.name: q for q in quantities}
        doing: set[str] = set()

        def of(name: str) -> int:
            if name in known:
                return known[name]
            quantity, pending = by_name[name], self.pending[self.known[name]]
            formula = quantity.formula
            if formula is None or formula.text.startswith("by ") or name in doing:
                return quantity.dimension
            doing.add(name)
            try:
                known[name] = dimension(formula, pending.scope.resolve, of)
            except BadFormula as error:
                self.wrong("Q001", quantity.place, f"{name}: {error}", "Check the formula.")
                known[name] = LENGTH
            doing.discard(name)
            return known[name]

        return [replace(q, dimension=of(q.name)) for q in quantities]
