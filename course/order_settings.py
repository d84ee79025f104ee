"""Settings of an order: scrap, yield, trim, label paper; built-in lines, and the course's own where it has them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

from course.plan import flat
from shared.places import NOWHERE, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import Problem, meant
from shared.units import NotALength, length

FILE = "order.yaml"
SHARES = ("sure", "yield")
COUNTS = ("test_pieces.count", "setup_blocks.count", "labels.columns", "labels.rows")


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
class OrderSettings:
    """What `order.yaml` says; lengths in mm, shares from 0 to 1."""

    values: dict[str, Fraction]
    problems: tuple[Problem, ...]

    def size(self, name: str) -> Fraction:
        """A length [mm] or a share by its dotted name."""
        return self.values[name]

    def count(self, name: str) -> int:
        """A whole number by its dotted name."""
        return int(self.values[name])

    def scrap(self, group: str) -> Fraction:
        """Share of parts of a group that get spoiled."""
        return self.values.get(f"scrap.{group}", self.values["scrap.default"])

    @property
    def labels(self) -> LabelPaper:
        """The label paper."""
        size, count = self.size, self.count
        return LabelPaper(
            size("labels.paper.width"), size("labels.paper.height"), count("labels.columns"), count("labels.rows"),
            size("labels.label.width"), size("labels.label.height"), size("labels.first.left"),
            size("labels.first.top"), size("labels.step.across"), size("labels.step.down"),
        )  # fmt: skip


def read_order_settings(folder: Path, groups: Sequence[str]) -> OrderSettings:
    """Built-in settings with the course's own lines in their place.

    What is wrong in a line is a problem, and the built-in line is used.

    Args:
        folder: Of the course.
        groups: Names of parts that may have a scrap rate of their own.
    """
    problems: list[Problem] = []
    own = _lines(folder / FILE, problems) if (folder / FILE).exists() else {}
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
    return OrderSettings(values, tuple(problems))


def _lines(path: Path, problems: list[Problem]) -> dict[str, Text]:
    try:
        return flat(read_yaml(read_text(path), FILE))
    except Unreadable as error:
        problems.append(Problem("P001", error.place, error.says, error.do))
        return {}


def _value(name: str, text: Text) -> Fraction | str:
    """The value of a line, or what to write instead."""
    if name in COUNTS:
        ok = text.text.strip().isdigit() and (int(text.text) > 0 or not name.startswith("labels."))
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
