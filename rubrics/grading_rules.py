"""The rule of grading as an instructor wrote it: levels, policy, and when a set-up is to blame.

A level is lost only when the reading proves it: the duty of proof lies with whoever takes the mark away, which is
the idea of ISO 14253-1.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from course.plan import flat
from shared.own_files import own_or_built_in
from shared.places import Place, Text
from shared.problems import InputRefused, Problem, meant
from shared.units import MM, NotALength, length

FILE = "grading.yaml"
BUILT_IN = Path(__file__).parent / FILE
"""The rule that comes with the program."""

POLICIES = ("better", "latest", "capped")
DIGITS = 9
"""Decimals of a millimetre to which a reading and an edge are compared, here and in the workbook."""


@dataclass(frozen=True, slots=True)
class Level:
    """One level of a mark."""

    word: str
    within: Fraction | None
    """Largest distance, in limits; None for the last level."""
    share: Fraction
    """Of the points of the check."""

    @property
    def words(self) -> str:
        """The level in a sentence."""
        share = {Fraction(0): "no points", Fraction(1): "all points"}.get(self.share, f"{self.share} of the points")
        if self.within is None:
            return f"{self.word}: beyond that, {share}."
        return f"{self.word}: within {float(self.within):g} limit{'' if self.within == 1 else 's'}, {share}."


@dataclass(frozen=True, slots=True)
class SetupRule:
    """When a class is off together."""

    share: Fraction
    students: int
    threshold: Fraction
    """In limits."""
    step: Fraction
    """To which the shift is rounded. [mm]"""


@dataclass(frozen=True, slots=True)
class Rules:
    """The rule of a course, as `grading.yaml` and `course.yaml` have it."""

    levels: tuple[Level, ...]
    policy: str
    redo: Fraction
    """With the policy `capped`, the largest share of the points that a part made again can earn."""
    sure: float
    setup: SetupRule
    tell: Fraction
    """Differences from the plan are told from this size on. [mm]"""
    moisture: Fraction
    """How far the moisture of a reading may be from the shop's before the size is shown at both. [percentage points]"""
    judged: Fraction
    """How much of the whole the judged marks make. [0 to 1]"""
    grades: tuple[tuple[str, Fraction], ...]
    """Words for the whole, best first, each with the percent from which it is given."""

    def level(self, beyond: Fraction, limit: Fraction, guard: Fraction = Fraction(0)) -> Level:
        """The best level that a reading does not disprove.

        Args:
            beyond: How far the reading lies outside its band; negative inside. [mm]
            limit: The limit of the check. [mm]
            guard: Guard band of the reading. [mm]
        """
        for each in self.levels[:-1]:
            within = each.within
            if within is None or round(beyond, DIGITS) <= round((within - 1) * limit + guard, DIGITS):
                return each
        return self.levels[-1]

    def share(self, level: Level, attempt: int) -> Fraction:
        """What a level earns at an attempt, of the points of the check."""
        return min(level.share, self.redo) if self.policy == "capped" and attempt > 1 else level.share

    @property
    def policy_words(self) -> str:
        """Which attempt counts, in a sentence."""
        capped = f", and what was made again earns at most {self.redo} of the points" if self.policy == "capped" else ""
        return f"When a part was made again, {_COUNTS[self.policy]} counts{capped}."

    @property
    def words(self) -> tuple[str, ...]:
        """The rule in sentences, for students and instructors."""
        setup = self.setup
        return (
            *(level.words for level in self.levels),
            "The limit of a check is half the width of its band; where there is an upper limit only, all of it. "
            "Distances are counted from the middle of the band, or from nothing.",
            f"A level is only lost when the reading is {self.sure:.0%} sure to lie beyond its edge. ".replace("%", " %")
            + "Until then the better level stands and the part is to be measured again.",
            f"{self.policy_words} Every attempt stays in the record. What is only read again counts with the mean.",
            f"When {float(setup.share):.0%} of the class or of a group of it, or more, of at least ".replace("%", " %")
            + f"{setup.students} students, lie on one side by {float(setup.threshold):g} of a limit or more, "
            f"the set-up is the cause: the middle one of their deviations, to {MM.fine(setup.step)}, is taken out "
            "for those who worked from it. Nobody loses by it, and the spread is graded.",
            "What two people read further apart than its limit allows costs nobody a mark: the marks that rest on it "
            "wait until both have read it again together.",
            "A mistake is charged once: a difference, fit or gap is graded as if a reading that loses points at its "
            "own check were right, and so with what somebody else made, or the set-up moved, unless one's own part was "
            "made to it. A size that follows a changed case or part is graded against what it should be now; nobody "
            "loses by what is read anew after it was made.",
            "What is not measured is blank, not zero: it counts neither in the points nor in what they are out of.",
            f"A size across the grain of solid wood, read at a moisture more than {float(self.moisture):g} % from the "
            "shop's, is also worked out at the shop's, about, and both are shown. Nobody loses by such a prediction: "
            "the better of the two levels stands, and where they differ the size is measured again later.",
            "Judged marks are shown apart and not added to the points."
            if not self.judged
            else f"Judged marks make {float(100 * self.judged):g} % of the total, measured marks the rest; before "
            "anything is judged the measured marks are all of it.",
            "A gate such as safe work gives no points and costs none: the word for the whole is given once it is "
            "recorded as met.",
            f"The word for the whole: {_ladder(self.grades)}.",
        )


def _ladder(grades: Sequence[tuple[str, Fraction]]) -> str:
    steps = [f"{word} from {float(least):g} %" for word, least in grades[:-1]]
    return ", ".join([*steps, f"{grades[-1][0]} below that"])


_COUNTS = {"better": "the best attempt", "latest": "the latest attempt", "capped": "the best attempt"}


def read_rules(folder: Path | None = None, settings: Mapping[str, Text] | None = None) -> Rules:
    """The rule: of the course folder's `grading.yaml` if it has one, else the built-in; single lines replaced.

    Args:
        folder: A course folder, or None.
        settings: `course.yaml` with dotted names; those under `grading` are looked at.

    Raises:
        InputRefused: Every line that is missing, unknown or of no use (B020 to B023), with its place.
    """
    lines = flat(own_or_built_in(folder, BUILT_IN))
    own_lines = {k.removeprefix("grading."): v for k, v in (settings or {}).items() if k.startswith("grading.")}
    return _Reader(lines, own_lines).rules()


class _Reader:
    """Reads the rule from dotted lines and keeps every problem."""

    def __init__(self, lines: dict[str, Text], own: dict[str, Text]) -> None:
        self.lines = {**lines, **own}
        self.problems: list[Problem] = []
        self.known: set[str] = set()

    def rules(self) -> Rules:
        words = list(dict.fromkeys(name.split(".")[1] for name in self.lines if name.startswith("levels.")))
        levels = tuple(self._level(word, word == words[-1]) for word in words)
        setup = SetupRule(
            self._number("set-up.share", 0, 1), int(self._number("set-up.students", 1)),
            self._number("set-up.threshold", 0), self._length("set-up.step"),
        )  # fmt: skip
        policy = self._text("policy")
        if policy not in POLICIES:
            self._wrong("B022", "policy", f"the policy is '{policy}'", meant(policy, POLICIES))
        redo = self._number("redo", 0, 1)
        sure = float(self._number("sure", Fraction(1, 2), Fraction(999, 1000)))
        judged = self._number("total.judged", 0, 1)
        ladder = [name.removeprefix("total.words.") for name in self.lines if name.startswith("total.words.")]
        grades = tuple((word, self._number(f"total.words.{word}", 0, 100)) for word in ladder)
        tell, moisture = self._length("plan.tell"), self._number("moisture.step", 0)
        rules = Rules(levels, policy, redo, sure, setup, tell, moisture, judged, grades)
        self._order(levels)
        self._falling(grades)
        for name in self.lines.keys() - self.known:
            self._wrong("B020", name, f"grading has no '{name}'", meant(name, self.known))
        if self.problems:
            raise InputRefused(self.problems)
        return rules

    def _level(self, word: str, last: bool) -> Level:
        within = None if last else self._number(f"levels.{word}.within", 0)
        return Level(word, within, self._number(f"levels.{word}.share", 0, 1))

    def _order(self, levels: Sequence[Level]) -> None:
        if len(levels) < 2:
            self._wrong("B023", "levels", "there are fewer than two levels", "Give at least two, best first.")
        for better, worse in zip(levels, levels[1:], strict=False):
            says = f"'{worse.word}' stands below '{better.word}' but is the better of the two"
            if better.share < worse.share:
                self._wrong("B023", f"levels.{worse.word}.share", says, "Give the levels best first.")
            elif better.within is not None and worse.within is not None and better.within > worse.within:
                self._wrong("B023", f"levels.{worse.word}.within", says, "Give the levels best first.")

    def _falling(self, grades: Sequence[tuple[str, Fraction]]) -> None:
        if not grades:
            self._wrong("B021", "total.words", "'total.words' is missing", "Add it, as in the built-in grading.yaml.")
        for (better, high), (worse, low) in zip(grades, grades[1:], strict=False):
            if high <= low:
                says = f"'{worse}' stands below '{better}' but asks for as much"
                self._wrong("B023", f"total.words.{worse}", says, "Give the words best first.")

    def _text(self, name: str) -> str:
        self.known.add(name)
        found = self.lines.get(name)
        if found is None or found.empty:
            self._wrong("B021", name, f"'{name}' is missing", "Add it, as in the built-in grading.yaml.")
            return ""
        return found.text.strip()

    def _number(self, name: str, low: Fraction | int, high: Fraction | int | None = None) -> Fraction:
        text = self._text(name)
        try:
            value = Fraction(text.replace(",", "."))
        except (ValueError, ZeroDivisionError):
            value = None
        if text and (value is None or value < low or (high is not None and value > high)):
            room = f"from {float(low):g} to {float(high):g}" if high is not None else f"of {float(low):g} or more"
            self._wrong("B021", name, f"'{name}' is '{text}'", f"Write a number {room}, as 0.5 or 2/3.")
        return value if value is not None else Fraction(1)

    def _length(self, name: str) -> Fraction:
        text = self._text(name)
        try:
            value = length(text)
        except NotALength as error:
            if text:
                self._wrong("B021", name, str(error), "Write a length such as 0.01 mm.")
            return Fraction(1)
        if value <= 0:
            self._wrong("B021", name, f"'{name}' is '{text}'", "Write a length above zero, such as 0.01 mm.")
            return Fraction(1)
        return value

    def _wrong(self, code: str, name: str, says: str, do: str) -> None:
        found = self.lines.get(name)
        self.problems.append(Problem(code, found.place if found else Place(FILE), says, do))
