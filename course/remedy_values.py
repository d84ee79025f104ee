"""What the formulas and comparisons of a remedy file come to for one mistake of one student."""

from __future__ import annotations

import re
from fractions import Fraction

from course.formula import RELATIONS, BadFormula, Value, comparison, dimension, parse
from course.quantities import Values
from course.remedy_places import SENSES, Spot
from shared.places import Text
from shared.problems import InputRefused, Problem
from shared.units import Shown


class Facts:
    """Values in all the senses a remedy may ask for, for one mistake of one student."""

    def __init__(self, now: Values, was: Values) -> None:
        graph, targets = now.graph, [now.target(q.name) for q in now.graph.quantities]
        off: list[Value] = [
            a - b if isinstance(a, Fraction) and isinstance(b, Fraction) else Fraction(0)
            for a, b in zip(now.all, targets, strict=True)
        ]
        self.now, self.was = now, was
        self._rest = [*off, *was.all, *now.all, *targets]
        count = len(graph.quantities)
        self._index = dict(graph.index)
        for number, sense in enumerate(SENSES, 1):
            self._index |= {f"{sense}:{name}": i + number * count for name, i in graph.index.items()}

    def value(self, text: Text, spot: Spot, new: Values | None = None) -> Value:
        """A formula's value; plain names mean `new`, or the student's values as they are.

        Raises:
            InputRefused: The formula cannot be read or worked out.
        """
        return self._worked(text, spot, new)[0]

    def _worked(self, text: Text, spot: Spot, new: Values | None = None) -> tuple[Value, int]:
        graph = self.now.graph
        try:
            formula = parse(text.text, spot.resolve, self._index)
            sort = dimension(formula, spot.resolve, lambda name: graph[name.rpartition(":")[2]].dimension)
            return formula.run([*(new or self.now).all, *self._rest]), sort
        except ZeroDivisionError:
            raise bad_line(text, f"'{text.text}' divides by zero") from None
        except BadFormula as error:
            raise bad_line(text, str(error)) from None

    def holds(self, text: Text, spot: Spot) -> bool:
        """Whether a comparison is true of the values as they are."""
        try:
            left, relation, right = comparison(text.text)
        except BadFormula as error:
            raise bad_line(text, str(error)) from None
        (a, sort), (b, other) = (self._worked(Text(side, text.place), spot) for side in (left, right))
        if sort != other:
            raise bad_line(text, f"'{text.text}' compares a length and a bare number; write a unit behind the number")
        return RELATIONS[relation](a, b)

    def filled(self, text: Text, spot: Spot, shown: Shown, new: Values | None = None) -> str:
        """A sentence with its formulas in braces replaced by sizes."""

        def put(match: re.Match[str]) -> str:
            value = self.value(Text(match[1], text.place), spot, new)
            return size_text(value, shown) if isinstance(value, Fraction) else value

        return re.sub(r"\{([^{}]+)\}", put, text.text)


def bad_line(text: Text, says: str) -> InputRefused:
    """What is raised of a line of a remedy file that cannot be used."""
    do = "Use names of the kind, with off, was, now or target before them where that is meant."
    return InputRefused([Problem("N003", text.place, says, do)])


def size_text(value: Fraction, shown: Shown) -> str:
    """A size of a remedy: small amounts, and millimetres always, to a digit more than on a cut list."""
    return shown.fine(value) if shown.unit == "mm" or abs(value) < 10 else shown.size(value)
