"""What an instructor has fixed about the cutting, in `cutting.yaml`: layouts, sheets left alone, what is cut today."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from course.course import Course
from shared.own_files import yaml_in
from shared.places import Items, Mapping, Node, Place, Text
from shared.problems import Problem, meant, unknown_keys
from shared.units import NotALength, length

FILE = "cutting.yaml"
KEYS = ("pinned", "forbidden", "used", "today")


@dataclass(frozen=True, slots=True)
class PinnedPiece:
    """A piece that is to come from a sheet, and where it lies."""

    name: str
    """As on the layouts: student and label, or what it is for."""
    at: tuple[Fraction, Fraction] | None
    """x and y of its corner; None where the planner may choose. [mm]"""
    turned: bool
    """Its own length lies across the sheet; only with a place."""
    place: Place


@dataclass(frozen=True, slots=True)
class Pinned:
    """The layout of one sheet, which re-planning leaves alone."""

    sheet: str
    """As in `sheet-A 2`."""
    pieces: tuple[PinnedPiece, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Instructions:
    """What `cutting.yaml` says; names of sheets and students are known to exist."""

    pinned: tuple[Pinned, ...] = ()
    forbidden: dict[str, Place] = field(default_factory=dict)
    """Sheets that are not cut for this class."""
    used: dict[str, Place] = field(default_factory=dict)
    """Sheets that are cut up already."""
    today_students: frozenset[str] = frozenset()
    today_parts: frozenset[str] = frozenset()
    """Labels."""
    problems: tuple[Problem, ...] = ()

    @property
    def today(self) -> bool:
        """Whether something is cut before the rest."""
        return bool(self.today_students or self.today_parts)

    def is_today(self, student: str, labels: Sequence[str]) -> bool:
        """Whether a piece is cut today: of a student and of a part named for today, all where only one is named."""
        if not self.today or not student:
            return False
        mine = not self.today_students or student in self.today_students
        return mine and (not self.today_parts or any(label in self.today_parts for label in labels))


def read_instructions(course: Course) -> Instructions:
    """The instructor's file; what is wrong in it is told and left out."""
    problems: list[Problem] = []
    top = yaml_in(course.folder, FILE, problems)
    problems += unknown_keys("O030", top, KEYS, FILE)
    sheets = {name: name for piece in course.stock.values() for name in piece.names}
    forbidden = _sheets(course, top, "forbidden", sheets, problems)
    used = _sheets(course, top, "used", sheets, problems)
    today = top.get("today")
    if today is not None and not isinstance(today, Mapping):
        problems.append(Problem("O030", today.place, "today names nothing", "Write `today: {students: [s01]}`."))
        today = None
    students = {student.id for student in course.students}
    labels = {part.label for part in course.cabinet.parts}
    return Instructions(
        tuple(_pinned(course, top, sheets, {**forbidden, **used}, problems)), forbidden, used,
        frozenset(_known(today, "students", students, "student", problems)),
        frozenset(_known(today, "parts", labels, "part", problems)), tuple(problems),
    )  # fmt: skip


def _texts(node: Node | None, key: str, problems: list[Problem]) -> tuple[Text, ...]:
    if node is None or (isinstance(node, Text) and node.empty):
        return ()
    if not isinstance(node, Items) or not all(isinstance(item, Text) for item in node):
        problems.append(Problem("O030", node.place, f"'{key}' is not a list of names", f"Write `{key}: [one, two]`."))
        return ()
    return tuple(item for item in node if isinstance(item, Text))


def _sheets(
    course: Course, top: Mapping, key: str, sheets: dict[str, str], problems: list[Problem]
) -> dict[str, Place]:
    """The sheets of a list; the id of a line stands for all of its sheets."""
    found: dict[str, Place] = {}
    for text in _texts(top.get(key), key, problems):
        piece = course.stock.get(text.text)
        names = piece.names if piece else (sheets[text.text],) if text.text in sheets else ()
        if not names:
            says = f"{key} names '{text.text}', and stock.csv has no such sheet"
            problems.append(Problem("O031", text.place, says, meant(text.text, (*course.stock, *sheets))))
        found |= dict.fromkeys(names, text.place)
    return found


def _known(
    today: Mapping | None, key: str, known: set[str], what: str, problems: list[Problem]
) -> Iterator[str]:  # fmt: skip
    for text in _texts(today.get(key) if today else None, key, problems):
        if text.text in known:
            yield text.text
        else:
            says = f"today names '{text.text}', and there is no such {what}"
            problems.append(Problem("O032", text.place, says, meant(text.text, sorted(known))))


def _pinned(
    course: Course, top: Mapping, sheets: dict[str, str], closed: dict[str, Place], problems: list[Problem]
) -> Iterator[Pinned]:
    block = top.get("pinned")
    if block is None or (isinstance(block, Text) and block.empty):
        return
    if not isinstance(block, Mapping):
        do = "Write `pinned: {sheet-A: [s01 C-SL, s01 C-SR]}`."
        problems.append(Problem("O030", block.place, "pinned does not say what comes from which sheet", do))
        return
    unit = "mm" if course.text("units", "mm") == "mm" else "in"
    taken: dict[str, str] = {}
    for sheet, node in block.items():
        place = block.keys[sheet]
        if sheet not in sheets:
            says = f"a layout is pinned to '{sheet}', and stock.csv has no such sheet"
            problems.append(Problem("O031", place, says, meant(sheet, sheets)))
            continue
        if sheet in closed:
            says = f"a layout is pinned to '{sheet}', which line {closed[sheet].line} says not to cut"
            problems.append(Problem("O033", place, says, "Take one of the two out."))
            continue
        pieces = [_piece(text, unit, problems) for text in _texts(node, sheet, problems)]
        kept = []
        for piece in (piece for piece in pieces if piece):
            if piece.name in taken:
                says = f"'{piece.name}' is pinned to '{taken[piece.name]}' and to '{sheet}'"
                problems.append(Problem("O033", piece.place, says, "A piece is cut once: take one of the two out."))
                continue
            taken[piece.name] = sheet
            kept.append(piece)
        if kept:
            yield Pinned(sheet, tuple(kept), place)


_AT = re.compile(r"(.+?)\s+at\s+(.+?)\s+x\s+(.+?)(\s+turned)?")


def _piece(text: Text, unit: str, problems: list[Problem]) -> PinnedPiece | None:
    match = _AT.fullmatch(text.text.strip())
    if not match:
        return PinnedPiece(text.text.strip(), None, False, text.place)
    try:
        at = (length(match[2], unit), length(match[3], unit))
    except NotALength as error:
        do = "Write the place of its corner, length first, as in 's01 C-SL at 10 mm x 220 mm'."
        problems.append(Problem("O034", text.place, f"'{text.text}' cannot be placed: {error}", do))
        return None
    return PinnedPiece(match[1], at, bool(match[4]), text.place)
