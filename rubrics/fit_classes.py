"""Fit classes: the limits that fit checks name, each with where it comes from; a course adds or replaces some."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path

from shared.places import Mapping, Node, Place, Text, Unreadable, read_text, read_yaml
from shared.problems import Problem, meant
from shared.units import MM, NotALength, length

FILE = "fit_classes.yaml"
BUILT_IN = Path(__file__).parent / FILE
"""The classes that come with the program."""
STATUSES = ("published", "common practice", "our choice")


@dataclass(frozen=True, slots=True)
class FitClass:
    """A named pair of limits around a target. [mm]"""

    name: str
    lower: Fraction | None
    """None where the result should be nothing, and is never less."""
    upper: Fraction
    source: str
    status: str
    """Whether the source prints the limits, or they are common practice, or our choice."""


def read_fit_classes(folder: Path | None, problems: list[Problem]) -> dict[str, FitClass]:
    """The built-in classes and those of a course folder by name; there one of the same name wins.

    What is wrong with the course's file (B065) is added to `problems`.
    """
    own = folder / FILE if folder else None
    if own is None or not own.is_file():
        return _built_in()
    try:
        top = read_yaml(read_text(own, FILE), FILE)
    except Unreadable as error:
        problems.append(Problem("B065", error.place, error.says, error.do))
        return _built_in()
    return _built_in() | _classes(top, problems)


@cache
def _built_in() -> dict[str, FitClass]:
    return _classes(read_yaml(BUILT_IN.read_text("utf-8"), FILE), [])


def _classes(top: Mapping, problems: list[Problem]) -> dict[str, FitClass]:
    made = {name: _class(name, node, problems) for name, node in top.items()}
    return {name: each for name, each in made.items() if each}


def _class(name: str, node: Node, problems: list[Problem]) -> FitClass | None:
    def wrong(place: Place, says: str, do: str) -> None:
        problems.append(Problem("B065", place, says, do))

    if not isinstance(node, Mapping):
        do = "Write `upper:` below it, `lower:` where there is one, and `source:`."
        wrong(node.place, f"'{name}' has no limits", do)
        return None
    known = ("lower", "upper", "source", "status")
    for key, place in node.keys.items():
        if key not in known:
            wrong(place, f"a fit class has no '{key}'", meant(key, known))
    before = len(problems)
    lower, upper = (_limit(node, side, problems) for side in ("lower", "upper"))
    source, status = node.text("source").strip(), node.text("status", "our choice")
    if not source:
        wrong(node.place, f"'{name}' does not say where its limits come from", "Write `source:`.")
    if status not in STATUSES:
        wrong(node.place, f"status of '{name}' is '{status}'", meant(status, STATUSES))
    if upper is None and len(problems) == before:
        wrong(node.place, f"'{name}' has no upper limit", "Write `upper:` with its unit.")
    if upper is not None and (says := empty_band(lower, upper, f"'{name}'")):
        wrong(node.place, says, "Exchange the two, or mend one.")
    return None if upper is None or len(problems) > before else FitClass(name, lower, upper, source, status)


def _limit(node: Mapping, side: str, problems: list[Problem]) -> Fraction | None:
    text = node.get(side)
    if not isinstance(text, Text) or text.empty:
        return None
    try:
        return length(text.text)
    except NotALength as error:
        problems.append(Problem("B065", text.place, str(error), "Write the limit with its unit, as in 0.3 mm."))
        return None


def empty_band(lower: Fraction | None, upper: Fraction | None, name: str) -> str:
    """What is wrong with limits between which nothing can lie; empty when something can."""
    if lower is None and upper is not None and upper <= 0:
        return f"the upper limit of {name} is {MM.fine(upper)}, and a difference is never less than nothing"
    if lower is not None and upper is not None and lower >= upper:
        return f"the lower limit of {name}, {MM.fine(lower)}, is not below its upper limit, {MM.fine(upper)}"
    return ""
