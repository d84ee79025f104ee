"""Judged marks: what is seen rather than measured, in described levels, and gates that must be met.

Items, levels and their descriptions are data in `judged.yaml`. Each judge's latest level counts, several judges count
alike, and what nobody judged is blank, never zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from course.readings import Judgement
from shared.own_files import own_or_built_in
from shared.places import Mapping, Place, Text
from shared.problems import InputRefused, Problem, meant

FILE = "judged.yaml"
BUILT_IN = Path(__file__).parent / FILE
"""The items that come with the program."""
MET, NOT_MET = "met", "not met"
"""What can be said of a gate."""
NOT_RECORDED, NO_GATE = "not recorded", "none"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that is judged."""

    id: str
    title: str
    look: str
    """When, where and how to look."""
    weight: Fraction
    levels: dict[str, str]
    """What each level means here, by its word; for a gate by `MET` and `NOT_MET`."""
    gate: bool = False


@dataclass(frozen=True, slots=True)
class Judging:
    """What is judged in a course."""

    levels: dict[str, Fraction]
    """Share of the weight by the word of the level, best first."""
    items: tuple[Item, ...]
    gates: tuple[Item, ...]

    @property
    def all(self) -> tuple[Item, ...]:
        """Items, then gates."""
        return (*self.items, *self.gates)

    def words_of(self, item: Item) -> tuple[str, ...]:
        """The levels that can be given to an item or a gate."""
        return (MET, NOT_MET) if item.gate else tuple(self.levels)

    def known(self, id_: str) -> Item | None:
        """The item or gate of that id."""
        return next((item for item in self.all if item.id == id_), None)


@dataclass(frozen=True, slots=True)
class JudgedMark:
    """What the judges said of one item."""

    item: Item
    judgements: tuple[Judgement, ...]
    share: Fraction | None
    """Mean of the judges' shares; None when nobody judged it."""

    @property
    def words(self) -> str:
        """The level in words; each judge's where they differ."""
        found = list(dict.fromkeys(one.level for one in self.judgements))
        return found[0] if len(found) == 1 else ", ".join(f"{one.level} ({one.judge})" for one in self.judgements)


@dataclass(frozen=True, slots=True)
class StudentJudged:
    """All that was judged of one student."""

    marks: tuple[JudgedMark, ...]
    """Of every item, judged or not."""
    share: Fraction | None
    """Of the weight of what is judged; None before anything is."""
    gate: str
    """One of `MET`, `NOT_MET`, `NOT_RECORDED`, `NO_GATE`, over all gates."""

    @property
    def done(self) -> int:
        """How many items are judged."""
        return sum(mark.share is not None for mark in self.marks)


def judged(judging: Judging, judgements: Sequence[Judgement]) -> StudentJudged:
    """The judged marks of one student.

    Args:
        judging: What is judged.
        judgements: Of that student; the latest of each item and judge. Those of unknown items or levels are passed
            over.
    """
    marks = tuple(_mark(judging, item, judgements) for item in judging.items)
    found = [(mark.item.weight, mark.share) for mark in marks if mark.share is not None]
    weight = sum((weight for weight, _ in found), Fraction(0))
    share = sum((weight * share for weight, share in found), Fraction(0)) / weight if weight else None
    return StudentJudged(marks, share, gate_word(judging, judgements))


def _mark(judging: Judging, item: Item, judgements: Sequence[Judgement]) -> JudgedMark:
    own = tuple(one for one in judgements if one.item == item.id and one.level in judging.levels)
    shares = [judging.levels[one.level] for one in own]
    return JudgedMark(item, own, sum(shares, Fraction(0)) / len(shares) if shares else None)


def gate_word(judging: Judging, judgements: Sequence[Judgement]) -> str:
    """Whether all gates are met: one that any judge finds not met is not; each must be found met by somebody."""
    said = {(one.item, one.level) for one in judgements}
    if not judging.gates:
        return NO_GATE
    if any((gate.id, NOT_MET) in said for gate in judging.gates):
        return NOT_MET
    return MET if all((gate.id, MET) in said for gate in judging.gates) else NOT_RECORDED


def read_judging(folder: Path | None = None) -> Judging:
    """What is judged: by the course folder's `judged.yaml` if it has one, else the built-in.

    Raises:
        InputRefused: Every line that is missing, unknown or of no use (B040, B041), with its place.
    """
    top = own_or_built_in(folder, BUILT_IN)
    return _Reader(top).judging()


class _Reader:
    """Reads `judged.yaml` and keeps every problem."""

    def __init__(self, top: Mapping) -> None:
        self.top = top
        self.problems: list[Problem] = []

    def judging(self) -> Judging:
        self.only(self.top, ("levels", "items", "gates"))
        levels = {word: self.number(block, word, most=1) for block in self.blocks("levels") for word in block.entries}
        if len(levels) < 2 or list(levels.values()) != sorted(levels.values(), reverse=True):
            place = self.top.keys.get("levels", self.top.place)
            self.wrong("B041", place, "the levels do not run from the best share to the least", "Give two or more.")
        items = tuple(self.item(id_, block, tuple(levels)) for id_, block in self.under("items"))
        gates = tuple(self.item(id_, block, (MET, NOT_MET), gate=True) for id_, block in self.under("gates"))
        for gate in gates:
            if gate.id in {item.id for item in items}:
                self.wrong("B041", self.top.keys["gates"], f"'{gate.id}' is an item too", "Give one another name.")
        if self.problems:
            raise InputRefused(self.problems)
        return Judging(levels, items, gates)

    def item(self, id_: str, block: Mapping, words: tuple[str, ...], gate: bool = False) -> Item:
        levels = None if gate else block.get("levels")
        within = levels if isinstance(levels, Mapping) else block
        self.only(block, ("title", "look", *(words if gate else ("weight", "levels"))))
        if within is not block:
            self.only(within, words)
        weight = Fraction(0) if gate else self.number(block, "weight")
        described = {word: self.text(within, word) for word in words}
        return Item(id_, self.text(block, "title"), self.text(block, "look"), weight, described, gate)

    def blocks(self, key: str) -> list[Mapping]:
        found = self.top.get(key)
        return [found] if isinstance(found, Mapping) else []

    def under(self, key: str) -> list[tuple[str, Mapping]]:
        found = [(id_, node) for block in self.blocks(key) for id_, node in block.items()]
        for id_, node in found:
            if not isinstance(node, Mapping):
                self.wrong("B040", node.place, f"'{id_}' has no lines of its own", "Give title, look and levels.")
        return [(id_, node) for id_, node in found if isinstance(node, Mapping)]

    def only(self, block: Mapping, known: tuple[str, ...]) -> None:
        for key in block.entries:
            if key not in known:
                self.wrong("B040", block.keys[key], f"'{key}' is not known here", meant(key, known))

    def text(self, block: Mapping, key: str) -> str:
        found = block.get(key)
        if not isinstance(found, Text) or found.empty:
            do = "Add it, as in the built-in judged.yaml."
            self.wrong("B040", found.place if found else block.place, f"'{key}' is missing", do)
            return ""
        return " ".join(found.text.split())

    def number(self, block: Mapping, key: str, most: int | None = None) -> Fraction:
        text = self.text(block, key)
        value: Fraction | None
        node = block.get(key)
        try:
            value = Fraction(text.replace(",", "."))
        except (ValueError, ZeroDivisionError):
            value = None
        if text and (value is None or value < 0 or (most is not None and value > most)):
            room = "from 0 to 1" if most else "of 0 or more"
            place, do = node.place if node else block.place, f"Write a number {room}, as 1 or 2/3."
            self.wrong("B041", place, f"'{key}' is '{text}'", do)
        return value if value is not None else Fraction(0)

    def wrong(self, code: str, place: Place, says: str, do: str) -> None:
        self.problems.append(Problem(code, place, says, do))
