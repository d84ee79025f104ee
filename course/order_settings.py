"""Settings of an order: scrap, yield, trim, sizes for sale, label paper; the course's own lines take precedence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

from course.course_form import lists_among
from course.plan import flat
from course.stock import PRICE, price
from shared.own_files import yaml_in
from shared.places import NOWHERE, Mapping, Place, Text, read_yaml
from shared.problems import Problem, meant, unknown_keys
from shared.units import NotALength, length

FILE = "order.yaml"
SHARES = ("sure", "yield")
COUNTS = ("test_pieces.count", "setup_blocks.count", "labels.columns", "labels.rows", "history.parts")
SALE, PAPER, PAPERS = "for_sale", "label_paper", "label_papers.yaml"
BUILDS = ("sheet", "veneered", "solid")
"""How the stock of a role may be built; said behind its name where the plan says another."""


@dataclass(frozen=True, slots=True)
class LabelPaper:
    """A sheet of labels. [mm]"""

    width: Fraction
    height: Fraction
    columns: int
    rows: int
    label_width: Fraction
    label_height: Fraction
    left: Fraction
    """Left edge of the first label."""
    top: Fraction
    """Upper edge of the first label."""
    across: Fraction
    """From one label to the next in a row."""
    down: Fraction
    """From one row to the next."""


@dataclass(frozen=True, slots=True)
class ForSale:
    """A sheet or board that can be bought. [mm]"""

    name: str
    length: Fraction
    """Along the grain of the face."""
    width: Fraction
    price: Fraction | None
    """Of one."""
    place: Place


@dataclass(frozen=True, slots=True)
class OrderSettings:
    """What `order.yaml` says; lengths in mm, shares from 0 to 1."""

    values: dict[str, Fraction]
    problems: tuple[Problem, ...]
    for_sale: dict[str, tuple[ForSale, ...]] = field(default_factory=dict)
    """Sizes for sale by stock role, or by role and build as in `panel veneered`."""
    own: frozenset[str] = frozenset()
    """Names of the lines that the course has written itself."""

    def size(self, name: str) -> Fraction:
        """A length [mm] or a share by its dotted name."""
        return self.values[name]

    def count(self, name: str) -> int:
        """A whole number by its dotted name."""
        return int(self.values[name])

    def scrap(self, group: str) -> Fraction:
        """Share of parts of a group that get spoiled."""
        return self.values.get(f"scrap.{group}", self.values["scrap.default"])

    def boards(self, unit: str) -> tuple[tuple[Fraction, Fraction], ...]:
        """Length and width of the boards that can be bought where the course names none, by the units of the course."""
        names = dict.fromkeys(name.rpartition(".")[0] for name in self.values if name.startswith(f"board.{unit}."))
        return tuple((self.values[f"{name}.length"], self.values[f"{name}.width"]) for name in names)

    @property
    def labels(self) -> LabelPaper:
        """The label paper."""
        size, count = self.size, self.count
        return LabelPaper(
            size("labels.paper.width"), size("labels.paper.height"), count("labels.columns"), count("labels.rows"),
            size("labels.label.width"), size("labels.label.height"), size("labels.first.left"),
            size("labels.first.top"), size("labels.step.across"), size("labels.step.down"),
        )  # fmt: skip


def read_order_settings(folder: Path, groups: Sequence[str], roles: Sequence[str] = ()) -> OrderSettings:
    """Built-in settings with the course's own lines in their place.

    What is wrong in a line is a problem, and the built-in line is used.

    Args:
        folder: Of the course.
        groups: Names of parts that may have a scrap rate of their own.
        roles: Stock of the plan, for which sizes may be for sale.
    """
    problems: list[Problem] = []
    top = yaml_in(folder, FILE, problems)
    sale = tuple(_for_sale(top, roles, problems))
    own = _label_paper(top, problems)
    problems += lists_among(Mapping({key: node for key, node in top.items() if key != SALE}, top.keys, top.place))
    own |= flat(Mapping({key: node for key, node in top.items() if key not in (SALE, PAPER)}, top.keys, top.place))
    built_in = read_yaml((files("course") / FILE).read_text(encoding="utf-8"), FILE)
    usual: dict[str, Fraction] = {}
    for name, text in flat(built_in).items():
        value = _value(name, text)
        assert isinstance(value, Fraction), name
        usual[name] = value
    values = dict(usual)
    for name, text in own.items():
        if name not in values and not (name.startswith("scrap.") and name.removeprefix("scrap.") in groups):
            known = (*values, *(f"scrap.{group}" for group in groups))
            problems.append(Problem("O001", text.place, f"an order has no '{name}'", meant(name, known)))
            continue
        value = _value(name, text)
        if isinstance(value, str):
            says = f"{name} is '{text.text}'"
            problems.append(Problem("O002", text.place, says, value))
        else:
            values[name] = value
    wrong = _label_problems(OrderSettings(values, ()).labels, own)
    if wrong:
        values |= {name: value for name, value in usual.items() if name.startswith("labels.")}
    problems += wrong
    return OrderSettings(values, tuple(problems), dict(sale), frozenset(own))


def _label_paper(top: Mapping, problems: list[Problem]) -> dict[str, Text]:
    """The lines of the label paper that the course has named; none when it has named none."""
    named = top.get(PAPER)
    if not isinstance(named, Text) or named.empty:
        return {}
    papers = read_yaml((files("course") / PAPERS).read_text(encoding="utf-8"), PAPERS)
    node = papers.get(named.text.strip())
    if isinstance(node, Mapping):
        return flat(node, "labels.")
    says = f"there is no label paper '{named.text}'"
    problems.append(Problem("O006", named.place, says, meant(named.text, papers.entries)))
    return {}


def _for_sale(top: Mapping, roles: Sequence[str], problems: list[Problem]) -> Iterator[tuple[str, tuple[ForSale, ...]]]:
    """The sizes for sale of each stock; a size that is not understood is told and left out."""
    block = top.get(SALE)
    if block is None:
        return
    example = "Write `case: {whole: {length: 2440 mm, width: 1220 mm, price: 68}}`."
    if not isinstance(block, Mapping):
        problems.append(Problem("O004", block.place, f"{SALE} does not say what is for sale", example))
        return
    for key, node in block.items():
        known = (*roles, *(f"{role} {build}" for role in roles for build in BUILDS))
        if key not in known:
            do = meant(key, known if " " in key else roles)
            problems.append(Problem("O004", block.keys[key], f"the plan has no stock '{key}'", do))
        elif not isinstance(node, Mapping) or not node.entries:
            problems.append(Problem("O004", node.place, f"'{key}' has no sizes for sale", example))
        else:
            sizes = [_size_for_sale(node, key, name, problems) for name in node.entries]
            yield key, tuple(size for size in sizes if size)


def _size_for_sale(block: Mapping, stock: str, name: str, problems: list[Problem]) -> ForSale | None:
    node, place = block.get(name), block.keys[name]
    keys = ("length", "width", "price")
    if not isinstance(node, Mapping):
        problems.append(Problem("O004", place, f"'{name}' of {stock} has no size", "Write its length and width."))
        return None
    problems += unknown_keys("O004", node, keys, "a size for sale")
    sides = []
    for key in keys[:2]:
        try:
            side = length(node.text(key))
        except NotALength as error:
            says = f"the {key} of '{name}' is '{node.text(key)}'"
            problems.append(Problem("O005", place, says, f"{str(error)[0].upper()}{str(error)[1:]}."))
            return None
        if side <= 0:
            problems.append(Problem("O005", place, f"the {key} of '{name}' is '{node.text(key)}'", "Measure it again."))
            return None
        sides.append(side)
    problems += lists_among(node, f"{name}.")
    text = node.text("price")
    cost = price(text) if text else None
    if text and cost is None:
        problems.append(Problem("O012", place, f"the price of '{name}' is '{text}'", PRICE, False))
    return ForSale(name, sides[0], sides[1], cost, place)


def _value(name: str, text: Text) -> Fraction | str:
    """The value of a line, or what to write instead."""
    if name in COUNTS:
        ok = text.text.strip().isdecimal() and (int(text.text) > 0 or not name.startswith("labels."))
        return Fraction(int(text.text)) if ok else "Write a whole number."
    if name in SHARES or name.startswith("scrap."):
        return _share(name, text.text)
    try:
        value = length(text.text)
    except NotALength as error:
        return f"{str(error)[0].upper()}{str(error)[1:]}."
    return value if value >= 0 else "Write a length of 0 or more."


def _share(name: str, text: str) -> Fraction | str:
    percent = text.strip().endswith("%")
    try:
        value = Fraction(text.strip().removesuffix("%").strip().replace(",", ".")) / (100 if percent else 1)
    except (ValueError, ZeroDivisionError):
        value = Fraction(-1)
    if name == "yield":
        return value if 0 < value <= 1 else "Write a share above 0 and at most 1, as in 2/3 or 67 %."
    most = "100 %" if name == "sure" else "50 %"
    limit = Fraction(1) if name == "sure" else Fraction(1, 2)
    return value if 0 <= value < limit else f"Write a share from 0 to less than {most}, as in 8 %."


def _label_problems(paper: LabelPaper, own: dict[str, Text]) -> list[Problem]:
    """Labels that lie on each other or run off the paper."""
    place = next((text.place for name, text in own.items() if name.startswith("labels.")), NOWHERE)
    right = paper.left + (paper.columns - 1) * paper.across + paper.label_width
    low = paper.top + (paper.rows - 1) * paper.down + paper.label_height
    if right > paper.width or low > paper.height:
        return [_label_problem(place, "the labels run off their paper")]
    if (paper.columns > 1 and paper.across < paper.label_width) or (paper.rows > 1 and paper.down < paper.label_height):
        return [_label_problem(place, "the labels lie on each other")]
    return []


def _label_problem(place: Place, says: str) -> Problem:
    return Problem("O003", place, says, "Measure paper, first label, label and step again, in mm.")
