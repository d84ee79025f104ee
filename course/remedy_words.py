"""A mistake and its ways out as finished text: what becomes another size, what wood it takes, what is cut already."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from course.cabinet import Cabinet, Part
from course.course import Course
from course.cutlist import SIZES, consequence
from course.quantities import Values
from course.remedy_values import size_text
from course.spare_parts import boards_for, spares_left
from shared.terminal import wrapped
from shared.units import Shown


@dataclass(frozen=True, slots=True)
class Change:
    """A size that a way out moves. Lengths in mm."""

    quantity: str
    old: Fraction
    """Without the mistake."""
    new: Fraction


@dataclass(frozen=True, slots=True)
class Option:
    """A way out, as finished text in the student's units."""

    name: str
    do: str
    sizes: tuple[str, ...]
    """What else becomes another size, old and new."""
    already_cut: tuple[str, ...]
    """What parts that are cut already would need; they keep their size."""
    stock: str
    """Wood it takes; empty when it takes none."""
    spares: str
    """Whether there is wood for the parts that it makes again; empty when it makes none."""
    checks: str
    """What it means for the checks; empty when nothing."""
    minutes: int
    costs: str
    ask_first: bool
    """Whether a machine is used on a small piece, so that the instructor is asked before."""
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Remedy:
    """A mistake that a student's readings show, and what can still be done, least loss first."""

    name: str
    where: str
    says: str
    size: Fraction
    """How large the mistake is. [mm]"""
    look_first: str
    options: tuple[Option, ...]
    reads: tuple[str, ...]
    """The readings that show it."""


def remedy_text(remedy: Remedy) -> str:
    """A mistake and its ways out as plain text of at most 80 columns."""
    lines = [*_wrapped(f"{remedy.where}: {remedy.says}", 0), *_wrapped(f"Look first: {remedy.look_first}", 2)]
    for number, option in enumerate(remedy.options, 1):
        lines += [f"  {number}. {option.name} (about {option.minutes} minutes)", *_wrapped(option.do, 5)]
        if option.ask_first:
            lines += _wrapped("Ask first: if a machine is used for it, the piece is small.", 5)
        lines += _wrapped(f"Wood: {option.stock}." if option.stock else "", 5)
        lines += _wrapped(f"{option.spares[0].upper()}{option.spares[1:]}." if option.spares else "", 5)
        lines += _wrapped(f"New sizes: {'; '.join(option.sizes)}." if option.sizes else "No other size changes.", 5)
        lines += _wrapped(". ".join(option.already_cut) + "." if option.already_cut else "", 5)
        lines += _wrapped(f"Checks: {option.checks}" if option.checks else "", 5)
    return "\n".join(lines)


def _wrapped(text: str, by: int) -> list[str]:
    return [wrapped(" " * by + text, hang=0)] if text else []


# -- sizes -----------------------------------------------------------------------------------------------


def told(changes: Sequence[Change], cabinet: Cabinet, shown: Shown) -> tuple[str, ...]:
    """Changes as text; the same size of several parts in one line."""
    lines: dict[tuple[str, str, str], list[str]] = {}
    for change in changes:
        old, new = size_text(change.old, shown), size_text(change.new, shown)
        owner, what = _owner_and_size(change.quantity, cabinet)
        if old != new:
            lines.setdefault((what, old, new), []).append(owner)
    return tuple(
        f"{': '.join(filter(None, (', '.join(dict.fromkeys(owners)), what)))} {old} \u2192 {new}"
        for (what, old, new), owners in lines.items()
    )


def _owner_and_size(name: str, cabinet: Cabinet) -> tuple[str, str]:
    """Whose size it is and which, as a person would say."""
    owner, _, size = name.rpartition(".")
    part = next((p for p in cabinet.parts if p.name == owner), None)
    if part:
        return part.label, size if size in ("length", "width") else cabinet.graph[name].says
    if owner in cabinet.openings:
        return "", f"{size} of the {cabinet.openings[owner].says.removeprefix('the ')}"
    around = [assembly for assembly in cabinet.assemblies.values() if name.startswith(assembly.name + ".")]
    return max(around, key=lambda assembly: len(assembly.name)).title, cabinet.graph[name].says


def consequences(cut: Sequence[Part], new: Values, was: Values, shown: Shown) -> Iterator[str]:
    """What a way out means for parts that are cut, where the mistake alone would not mean it.

    Args:
        cut: The parts that keep their size.
        new: Values with the way out.
        was: Values without the mistake.
        shown: How sizes are printed.
    """
    for part in cut:
        words = consequence(new, part, shown)
        if words and words != consequence(was, part, shown):
            yield f"{part.label} is cut: {words}"


# -- wood ------------------------------------------------------------------------------------------------


def blank(part: Part, new: Values, shown: Shown) -> str:
    """The finished size of a part that is made again."""
    size = " \u00d7 ".join(shown.bare(new.number(f"{part.name}.{s}")) for s in SIZES)
    return f"{part.label} again, {size} {shown.unit}"


def wood_left(course: Course, again: Sequence[Part], new: Values) -> Iterator[str]:
    """What is left to make each kind of part again of: a spare, else a board that holds it, else nothing."""
    kinds: dict[tuple[str, str], list[Part]] = {}
    for part in again:
        kinds.setdefault((part.group, part.stock), []).append(part)
    for (group, _), parts in kinds.items():
        first, left = spares_left(course, parts[0])
        if left >= len(parts):
            yield f"{left} of the {first} spares for a {group} are left"
            continue
        yield f"{left or 'none'} of the {first} spares for a {group} {'is' if left < 2 else 'are'} left, " + (
            _board(course, parts[0], new)
        )


def _board(course: Course, part: Part, new: Values) -> str:
    length, width = (
        new.number(f"{part.name}.{size}") + new.number(f"stock.{part.stock}.rough_{size}")
        for size in ("length", "width")
    )
    boards = boards_for(course, part, length, width)
    if boards is None:
        return "and no board with its size is in stock.csv: look for one before anything is cut"
    if not boards:
        return "and no board in stock.csv is large enough: buy one first"
    return f"so it takes a piece of {' or '.join(boards)}, if so much is left"
