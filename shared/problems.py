"""What an instructor can mend, said so that it can be mended."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from shared.places import NOWHERE, Mapping, Place


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in the input, where it stands, and what to do about it."""

    code: str
    """Letter of the part and three digits, as in `P012`; never used for two meanings."""
    place: Place
    """File, line and column, or the cell of a workbook."""
    says: str
    """What is wrong, in one sentence without a full stop."""
    do: str
    """What to do about it, in one or two sentences."""
    severe: bool = True
    """False for a thing to look at that does not stop the work."""

    def __str__(self) -> str:
        """`file:line:column: code: what is wrong`, and what to do on the next line."""
        return f"{self.place}: {self.code}: {self.says}\n    {self.do}"


class InputRefused(Exception):
    """The input cannot be used; carries every problem that was found, each once, in reading order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(dict.fromkeys(problems), key=lambda p: (p.place.sort_key, p.code, p.says)))
        super().__init__("\n".join(str(problem) for problem in self.problems))


class OutOfRange(ValueError):
    """A published rule was asked about something its source does not cover."""


def refuse(code: str, says: str, do: str, place: Place = NOWHERE) -> InputRefused:
    """An exception with one problem, to be raised by the caller."""
    return InputRefused([Problem(code, place, says, do)])


def meant(name: str, known: Iterable[str]) -> str:
    """`Did you mean 'x'?` with the nearest known names, or the list of all when none is near."""
    names = sorted(set(known))
    near = difflib.get_close_matches(name, names, n=2, cutoff=0.6)
    if near:
        return "Did you mean " + " or ".join(f"'{n}'" for n in near) + "?"
    if not names:
        return "There is none to choose from."
    shown, more = ", ".join(names[:12]), len(names) - 12
    return f"Known are: {shown}{f' and {more} more' if more > 0 else ''}."


def unknown_keys(code: str, node: Mapping, names: Collection[str], what: str) -> list[Problem]:
    """A problem for each key of a block that is not among those it may have.

    Args:
        code: Of the problems.
        node: The block.
        names: Keys it may have.
        what: What the block is, as `a remedy`.
    """
    return [
        Problem(code, place, f"{what} has no '{key}'", meant(key, names))
        for key, place in node.keys.items()
        if key not in names
    ]
