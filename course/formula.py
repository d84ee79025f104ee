"""Formulas in the trade's words: plain arithmetic over dotted names, read with `ast` against a short white list.

    rail.shoulder + 2 * tenon.length        sum(stile.width)        max(cutter - length, 0 mm)

Nothing of a file is ever run: each allowed node becomes one small function here, any other is refused.
Every formula has a dimension (0 a number, 1 a length, 2 an area), worked out when it is read, so that a
length and a bare number cannot be added.
"""

from __future__ import annotations

import ast
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from shared.handbook.wood_moisture import emc_celsius, emc_fahrenheit
from shared.problems import OutOfRange
from shared.units import NotALength, length

Value = Fraction | str
Resolver = Callable[[str], Sequence[str]]
"""Full names of the quantities a written name stands for; with a leading `*`, those of all members of a list."""

NUMBER, LENGTH = 0, 1
LONGEST = 600
"""Characters in a formula; a longer one is a mistake."""


class BadFormula(ValueError):
    """A formula that cannot be used; its words say why."""


class UnknownName(BadFormula):
    """A formula names a quantity that does not exist."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(f"there is no quantity '{name}' here")


@dataclass(frozen=True, slots=True)
class Formula:
    """A compiled formula: `run` takes the list of all values of a cabinet."""

    text: str
    names: tuple[str, ...]
    """Full names of the quantities it reads, each once."""
    run: Callable[[Sequence[Value]], Value]
    tree: ast.expr
    """Checked tree; its names are resolved with the same resolver."""

    def number(self, values: Sequence[Value]) -> Fraction:
        """What it comes to, where that is a length or a number."""
        value = self.run(values)
        assert isinstance(value, Fraction)
        return value


_LITERAL = re.compile(r"(?<![\w.])(\d+(?:-|\s+)\d+/\d+|\d+/\d+|\d*\.?\d+)\s*(mm|cm|in|ft)\b")


def _no_formula(text: str) -> str:
    """Why a text is no formula: nothing is written, it begins as a length, or it is none."""
    if not text:
        return "no size is written; write it as 364 mm or 14 3/8 in"
    if text[0].isdecimal() and re.search(r"[a-z]", text) and not re.search(r"[*/()+]", text.replace("/", "", 1)):
        return f"'{text}' is not a length; write it with one unit, mm, cm, m, in or ft, as in 364 mm or 14 3/8 in"
    return f"'{text}' is not arithmetic; write it as `rail.shoulder + 2 * tenon.length`"


def _prepared(text: str) -> str:
    """Literals with units become `_length("...")`; a member that starts with a digit gets a mark."""
    lengths = _LITERAL.sub(lambda m: f'_length("{m[1]} {m[2]}")', text)
    return re.sub(r"(?<=[A-Za-z_])\.(?=\d)", "._", lengths)


def parse(text: str, resolve: Resolver, index: Mapping[str, int]) -> Formula:
    """Read a formula.

    Args:
        text: As written.
        resolve: Gives the full names behind a written name; raises `UnknownName`.
        index: Where the value of each quantity stands.

    Raises:
        BadFormula: Not arithmetic, a forbidden construction, or an unknown name.
    """
    if len(text) > LONGEST:
        raise BadFormula(f"the formula is longer than {LONGEST} characters")
    try:
        tree = ast.parse(_prepared(text.strip()), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise BadFormula(_no_formula(text.strip())) from None
    names: dict[str, None] = {}

    def slot(name: str) -> int:
        names[name] = None
        return index[name]

    run = _compiled(tree, resolve, slot)
    return Formula(text.strip(), tuple(names), run, tree)


def dotted(node: ast.expr) -> str | None:
    """The dotted name a node spells, or None."""
    parts: list[str] = []
    while isinstance(node, ast.Attribute):
        parts.append(node.attr)
        node = node.value
    if not isinstance(node, ast.Name):
        return None
    parts.append(node.id)
    return ".".join(p[1:] if p.startswith("_") and p[1:2].isdigit() else p for p in reversed(parts))


def _ratio(a: Fraction, b: Fraction) -> Fraction:
    return a / b if b else Fraction(0)


def square_root(value: Fraction) -> Fraction:
    """The root to a billionth of a millimetre, the same on every machine."""
    if value < 0:
        raise BadFormula("there is no square root of a negative number")
    scale = 10**9
    return Fraction(math.isqrt(value.numerator * scale * scale // value.denominator), scale)


def _mean(values: Sequence[Fraction]) -> Fraction:
    return sum(values, Fraction(0)) / len(values)


def _of_air(moisture: Callable[[Fraction, Fraction], Fraction]) -> Callable[[Fraction, Fraction], Fraction]:
    """Moisture of wood by temperature and humidity, to a tenth of a percent: less has no meaning, says the handbook."""

    def rounded(temperature: Fraction, humidity: Fraction) -> Fraction:
        try:
            return Fraction(round(moisture(temperature, humidity) * 10), 10)
        except OutOfRange as error:
            raise BadFormula(str(error)) from None

    return rounded


PLAIN: dict[str, tuple[Callable[..., Fraction], tuple[int, int]]] = {
    "min": (min, (2, 9)),
    "max": (max, (2, 9)),
    "abs": (abs, (1, 1)),
    "sqrt": (square_root, (1, 1)),
    "ceil": (lambda a: Fraction(math.ceil(a)), (1, 1)),
    "floor": (lambda a: Fraction(math.floor(a)), (1, 1)),
    "ratio": (_ratio, (2, 2)),
    "moisture_celsius": (_of_air(emc_celsius), (2, 2)),
    "moisture_fahrenheit": (_of_air(emc_fahrenheit), (2, 2)),
}
"""Functions of single values, and how many they take. `ratio(a, 0)` is 0; `moisture_celsius(21, 50)` is the moisture
content that wood comes to in such air, Wood Handbook Eq. 4-5."""

OVER: dict[str, Callable[[Sequence[Fraction]], Fraction]] = {
    "sum": lambda values: sum(values, Fraction(0)),
    "smallest": min,
    "largest": max,
    "mean": _mean,
    "count": lambda values: Fraction(len(values)),
}
"""Functions over all members of a list."""

_OPERATIONS: dict[type, Callable[[Fraction, Fraction], Fraction]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
}


def _compiled(node: ast.expr, resolve: Resolver, slot: Callable[[str], int]) -> Callable:
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and not isinstance(node.value, bool):
        number = Fraction(str(node.value))
        return lambda values: number
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        inner = _compiled(node.operand, resolve, slot)
        return lambda values: -inner(values)
    if isinstance(node, ast.BinOp) and type(node.op) in _OPERATIONS:
        operation = _OPERATIONS[type(node.op)]
        left, right = _compiled(node.left, resolve, slot), _compiled(node.right, resolve, slot)
        return lambda values: operation(left(values), right(values))
    if isinstance(node, ast.Call):
        return _call(node, resolve, slot)
    name = dotted(node)
    if name is None:
        raise BadFormula(
            "only + - * /, brackets, names and the functions " + ", ".join((*PLAIN, *OVER)) + " may be used"
        )
    full = resolve(name)
    if len(full) != 1:
        raise BadFormula(f"'{name}' stands for {len(full)} sizes; write sum({name}), smallest({name}) or name one")
    index = slot(full[0])
    return lambda values: values[index]


def _call(node: ast.Call, resolve: Resolver, slot: Callable[[str], int]) -> Callable:
    name = node.func.id if isinstance(node.func, ast.Name) else ""
    if node.keywords or any(isinstance(arg, ast.Starred) for arg in node.args):
        raise BadFormula("functions take plain values")
    if name == "_length" and len(node.args) == 1 and isinstance(node.args[0], ast.Constant):
        try:
            fixed = length(str(node.args[0].value))
        except NotALength as error:
            raise BadFormula(str(error)) from None
        return lambda values: fixed
    if name in OVER and len(node.args) == 1:
        written = dotted(node.args[0])
        if written is None:
            raise BadFormula(f"{name}(...) takes the name of a list, as in {name}(stile.width)")
        indexes = [slot(full) for full in resolve("*" + written)]
        over = OVER[name]
        if not indexes and name not in ("sum", "count"):
            raise BadFormula(f"{name}({written}) runs over an empty list")
        return lambda values: over([values[i] for i in indexes])
    if name in PLAIN:
        function, (least, most) = PLAIN[name]
        if not least <= len(node.args) <= most:
            raise BadFormula(f"{name} takes {least if least == most else f'{least} or more'} values")
        inner = [_compiled(arg, resolve, slot) for arg in node.args]
        return lambda values: function(*(part(values) for part in inner))
    raise BadFormula(f"there is no function '{name or '?'}'; use one of " + ", ".join((*PLAIN, *OVER)))


def dimension(formula: Formula, resolve: Resolver, of: Callable[[str], int]) -> int:
    """0 for a number, 1 for a length, 2 for an area.

    Raises:
        BadFormula: A length and a number are added or compared, or the result has no meaning here.
    """
    return _dimension(formula.tree, resolve, of)


def _dimension(node: ast.expr, resolve: Resolver, of: Callable[[str], int]) -> int:
    if isinstance(node, ast.Constant):
        return NUMBER
    if isinstance(node, ast.UnaryOp):
        return _dimension(node.operand, resolve, of)
    if isinstance(node, ast.BinOp):
        left, right = _dimension(node.left, resolve, of), _dimension(node.right, resolve, of)
        if isinstance(node.op, ast.Mult):
            return left + right
        if isinstance(node.op, ast.Div):
            return left - right
        return _same(left, right, "adds")
    if isinstance(node, ast.Call):
        assert isinstance(node.func, ast.Name)
        name = node.func.id
        if name == "_length":
            return LENGTH
        if name in OVER:
            if name == "count":
                return NUMBER
            found = [of(full) for full in resolve("*" + (dotted(node.args[0]) or ""))]
            return found[0] if found else LENGTH
        args = [_dimension(arg, resolve, of) for arg in node.args]
        if name in ("min", "max"):
            for other in args[1:]:
                _same(args[0], other, "compares")
            return args[0]
        if name == "sqrt":
            return args[0] // 2
        if name.startswith("moisture_"):
            return _same(_same(args[0], args[1], "compares"), NUMBER, "takes")
        if name in ("ceil", "floor"):
            return NUMBER
        return args[0] - args[1] if name == "ratio" else args[0]
    return of(resolve(dotted(node) or "")[0])


def _same(left: int, right: int, verb: str) -> int:
    if left != right:
        raise BadFormula(f"it {verb} a length and a bare number; write a unit behind the number, as in 3 mm")
    return left


def comparison(text: str) -> tuple[str, str, str]:
    """Left side, relation and right side of a rule such as `groove.depth < stile.width`.

    Raises:
        BadFormula: No relation in it.
    """
    match = re.fullmatch(r"(.+?)\s*(<=|>=|<|>|=)\s*(.+)", text.strip())
    if not match:
        raise BadFormula(f"'{text}' compares nothing; write it as `groove.depth < stile.width`")
    return match[1], match[2], match[3]


RELATIONS: dict[str, Callable[[Any, Any], bool]] = {
    "<": lambda a, b: a < b,
    "<=": lambda a, b: a <= b,
    ">": lambda a, b: a > b,
    ">=": lambda a, b: a >= b,
    "=": lambda a, b: a == b,
}
