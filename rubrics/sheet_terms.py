"""Formulas of the trade as formulas of a spreadsheet: the same arithmetic, over cells where readings stand."""

from __future__ import annotations

import ast
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from course.formula import PLAIN, Formula, Value, dotted
from course.readings import reduce
from shared.units import length

READINGS = "Readings!$G$"
"""Where the readings stand, without the row."""
TAKES = {"smallest": "MIN", "largest": "MAX", "mean": "AVERAGE"}
FUNCTIONS = {"min": "MIN", "max": "MAX", "abs": "ABS", "sqrt": "SQRT"}
_SIGNS = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}


@dataclass(frozen=True, slots=True)
class Term:
    """A piece of a spreadsheet formula and what it comes to."""

    text: str
    value: Fraction


def reduced_term(rows: Sequence[int], values: Sequence[Fraction], take: str) -> Term:
    """Several readings as one: smallest, largest, mean or spread of their cells.

    Args:
        rows: Where they stand on the sheet of readings, counted from 1.
        values: What they are. [mm]
        take: How they reduce.
    """
    cells = ",".join(f"{READINGS}{row}" for row in rows)
    if list(rows) == list(range(rows[0], rows[0] + len(rows))) and len(rows) > 1:
        cells = f"{READINGS}{rows[0]}:$G${rows[-1]}"
    value = reduce(values, take)
    if take == "spread":
        return Term(f"(MAX({cells})-MIN({cells}))", value)
    return Term(cells if len(rows) == 1 else f"{TAKES[take]}({cells})", value)


def formula_term(
    formula: Formula, cells: Mapping[str, Term], values: Sequence[Value], index: Mapping[str, int]
) -> Term | None:
    """A formula with cells in place of what was read and numbers in place of the rest; None if it cannot be written.

    Args:
        formula: As a check has it.
        cells: Terms of what was read, by full name.
        values: Every quantity of the student's cabinet.
        index: Where each quantity stands in `values`.
    """
    written: dict[str, None] = {}
    for node in _names(formula.tree):
        written[node] = None
    if len(written) != len(formula.names):
        return None
    full = dict(zip(written, formula.names, strict=True))

    def term(node: ast.expr) -> Term:
        if isinstance(node, ast.Constant):
            number = Fraction(str(node.value))
            return Term(_number(number), number)
        if isinstance(node, ast.UnaryOp):
            inner = term(node.operand)
            return Term(f"(-{inner.text})", -inner.value)
        if isinstance(node, ast.BinOp):
            left, right = term(node.left), term(node.right)
            made = {"+": left.value.__add__, "-": left.value.__sub__, "*": left.value.__mul__,
                    "/": left.value.__truediv__}[_SIGNS[type(node.op)]](right.value)  # fmt: skip
            return Term(f"({left.text}{_SIGNS[type(node.op)]}{right.text})", made)
        if isinstance(node, ast.Call):
            return call(node)
        name = full[dotted(node) or ""]
        if name in cells:
            return cells[name]
        value = values[index[name]]
        assert isinstance(value, Fraction)  # formulas are of sizes
        return Term(_number(value), value)

    def call(node: ast.Call) -> Term:
        name, first = dotted(node.func) or "", node.args[0]
        if name == "_length" and isinstance(first, ast.Constant):
            number = length(str(first.value))
            return Term(_number(number), number)
        inner = [term(argument) for argument in node.args]
        value = PLAIN[name][0](*(each.value for each in inner))
        return Term(f"{FUNCTIONS[name]}({','.join(each.text for each in inner)})", value)

    return term(formula.tree) if _can_be_written(formula.tree) else None


def _number(value: Fraction) -> str:
    return repr(float(value)) if value >= 0 else f"({float(value)!r})"


def _can_be_written(tree: ast.expr) -> bool:
    calls = [node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)]
    return all(name in FUNCTIONS or name == "_length" for name in calls)


def _names(node: ast.expr) -> list[str]:
    """Names in the order in which the formula was read."""
    if isinstance(node, ast.BinOp):
        return [*_names(node.left), *_names(node.right)]
    if isinstance(node, ast.UnaryOp):
        return _names(node.operand)
    if isinstance(node, ast.Call):
        return [name for argument in node.args for name in _names(argument)]
    name = dotted(node)
    return [name] if name else []
