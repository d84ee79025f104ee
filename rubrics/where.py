"""Where to measure: a small numbered sketch for each way of measuring, the same for every student."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path

from shared.own_files import own_or_built_in
from shared.places import Text
from shared.problems import InputRefused, Problem
from shared.render.sketch import Area, Drawing, Sketch

FILE = "where.yaml"
BUILT_IN = Path(__file__).parent / FILE
"""The words that come with the program."""
ACROSS = 4
"""Sketches beside each other."""
WIDE, TALL = 41.0, 25.0
"""Paper for one sketch without its words. [mm]"""
LETTERS = 25
"""Signs in a line of words below a sketch."""
LONGEST = 70
"""Signs of what is measured from which the names of its checks stand there instead."""

_Box = tuple[float, float, float, float]
"""Left, top, width and height on paper. [mm]"""


def _place(sketch: Sketch, number: int, x: float, y: float) -> None:
    sketch.circle(x, y, 1.9, "ring")
    sketch.label(x, y, str(number))


def _double(sketch: Sketch, x1: float, y1: float, x2: float, y2: float) -> None:
    middle = ((x1 + x2) / 2, (y1 + y2) / 2)
    sketch.arrow(*middle, x2, y2, "line")
    sketch.arrow(*middle, x1, y1, "line")


def _along(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    sketch.rect(Area(x, y + h * 0.3, w, h * 0.3), "shade")
    for number, share in enumerate(_shares(places), 1):
        sketch.line(x + w * share, y + h * 0.15, x + w * share, y + h * 0.75)
        _place(sketch, number, x + w * share, y + h * 0.88)


def _shares(places: int) -> list[float]:
    """Where so many places stand along a line, the first and the last near its ends."""
    return [0.5] if places == 1 else [0.12 + 0.76 * number / (places - 1) for number in range(places)]


def _levels(sketch: Sketch, box: _Box, places: int, style: str) -> None:
    x, y, w, h = box
    sketch.rect(Area(x + w * 0.2, y, w * 0.6, h), style)
    for number, share in enumerate(_shares(places), 1):
        _double(sketch, x + w * 0.2, y + h * share, x + w * 0.8, y + h * share)
        _place(sketch, number, x + w * 0.5, y + h * share)


def _uprights(sketch: Sketch, box: _Box, places: int, style: str) -> None:
    x, y, w, h = box
    sketch.rect(Area(x + w * 0.2, y + h * 0.1, w * 0.6, h * 0.8), style)
    for number, share in enumerate(_shares(places), 1):
        across = x + w * (0.2 + 0.6 * share)
        _double(sketch, across, y + h * 0.1, across, y + h * 0.9)
        _place(sketch, number, across, y + h * 0.5)


def _diagonals(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    sketch.rect(Area(x + w * 0.2, y, w * 0.6, h), "outline")
    _double(sketch, x + w * 0.2, y, x + w * 0.8, y + h)
    _double(sketch, x + w * 0.2, y + h, x + w * 0.8, y)


def _shoulders(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    sketch.rect(Area(x, y + h * 0.4, w, h * 0.2), "part")
    sketch.rect(Area(x + w * 0.12, y + h * 0.28, w * 0.76, h * 0.44), "shade")
    _double(sketch, x + w * 0.12, y + h * 0.12, x + w * 0.88, y + h * 0.12)
    for share in (0.12, 0.88):
        sketch.line(x + w * share, y, x + w * share, y + h * 0.28, "thin")


def _tenon(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    sketch.rect(Area(x, y + h * 0.15, w * 0.55, h * 0.7), "shade")
    sketch.rect(Area(x + w * 0.55, y + h * 0.35, w * 0.3, h * 0.3), "part")
    _double(sketch, x + w * 0.92, y + h * 0.35, x + w * 0.92, y + h * 0.65)
    _double(sketch, x + w * 0.55, y + h * 0.8, x + w * 0.85, y + h * 0.8)


def _leaf(sketch: Sketch, box: _Box) -> tuple[float, float, float, float]:
    x, y, w, h = box
    sketch.rect(Area(x + w * 0.2, y, w * 0.6, h), "outline")
    inner = (x + w * 0.2 + 2.2, y + 2.2, w * 0.6 - 4.4, h - 4.4)
    sketch.rect(Area(*inner), "shade")
    return inner


def _sides(sketch: Sketch, box: _Box, places: int) -> None:
    left, top, wide, tall = _leaf(sketch, box)
    for share in _shares(places):
        sketch.line(left - 2.2, top + tall * share, left, top + tall * share, "heavy")
        for down in (top - 2.2, top + tall):
            sketch.line(left + wide * share, down, left + wide * share, down + 2.2, "heavy")
    for number, share in enumerate(_shares(places), 1):
        sketch.line(left + wide, top + tall * share, left + wide + 5.5, top + tall * share, "thin")
        _place(sketch, number, left + wide + 7.5, top + tall * share)


def _meeting(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    sketch.rect(Area(x + w * 0.1, y, w * 0.8, h), "outline")
    inner, gap = w * 0.8 - 4.4, 2.2
    for left in (x + w * 0.1 + 2.2, x + w / 2 + gap / 2):
        sketch.rect(Area(left, y + 2.2, (inner - gap) / 2, h - 4.4), "shade")
    for number, share in enumerate(_shares(places), 1):
        down = y + 2.2 + (h - 4.4) * share
        sketch.line(x + w / 2 - gap / 2, down, x + w / 2 + gap / 2, down, "heavy")
        _place(sketch, number, x + w / 2 + 4.5, down)


def _corners(sketch: Sketch, box: _Box, places: int) -> None:
    left, top, wide, tall = _leaf(sketch, box)
    for number, (across, down) in enumerate(((0, 0), (1, 0), (1, 1), (0, 1)), 1):
        _place(sketch, number, left + wide * across, top + tall * down)


def _gaps(sketch: Sketch, box: _Box, places: int) -> None:
    left, top, wide, tall = _leaf(sketch, box)
    for number, (across, down) in enumerate(((0.5, 0), (1, 0.5), (0.5, 1), (0, 0.5)), 1):
        _place(sketch, number, left + wide * across, top + tall * down)


def _corner(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    sketch.line(x, y + h * 0.75, x + w, y + h * 0.75, "heavy")
    sketch.polygon(
        [(x + w * 0.05, y + h * 0.72), (x + w * 0.92, y + h * 0.5), (x + w * 0.92, y + h * 0.36),
         (x + w * 0.05, y + h * 0.58)],
        "shade",
    )  # fmt: skip
    _double(sketch, x + w * 0.92, y + h * 0.5, x + w * 0.92, y + h * 0.75)


def _slide(sketch: Sketch, box: _Box, places: int) -> None:
    left, top, wide, tall = _leaf(sketch, box)
    _double(sketch, left + wide * 0.1, top + tall / 2, left + wide * 0.9, top + tall / 2)


def _travel(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    for left in (0.14, 0.78):
        sketch.rect(Area(x + w * left, y, w * 0.08, h * 0.42), "shade")
    sketch.rect(Area(x + w * 0.25, y + h * 0.16, w * 0.5, h * 0.52), "part")
    for number, front in enumerate((0.42, 0.68, 0.94)[:places], 1):
        sketch.line(x + w * 0.25, y + h * front, x + w * 0.75, y + h * front, "hidden")
        _place(sketch, number, x + w * 0.99, y + h * front)


def _length(sketch: Sketch, box: _Box, places: int) -> None:
    x, y, w, h = box
    sketch.rect(Area(x, y + h * 0.25, w, h * 0.5), "shade")
    _double(sketch, x, y + h * 0.5, x + w, y + h * 0.5)


WAYS: dict[str, Callable[[Sketch, _Box, int], None]] = {
    "along": _along,
    "width": partial(_levels, style="outline"),
    "height": partial(_uprights, style="outline"),
    "over": partial(_levels, style="shade"),
    "upright": partial(_uprights, style="shade"),
    "diagonals": _diagonals,
    "shoulders": _shoulders,
    "tenon": _tenon,
    "sides": _sides,
    "meeting": _meeting,
    "corners": _corners,
    "gaps": _gaps,
    "corner": _corner,
    "slide": _slide,
    "travel": _travel,
    "length": _length,
}
"""Ways of measuring that a check may name under `at:`."""
NUMBERED = ("along", "width", "height", "over", "upright", "sides", "meeting", "travel")
"""Those whose sketch has as many places as are read."""
ONCE = "once"
"""The words for one place only, of any of these; `sides once` and the like go before it where they are written."""


def read_where(folder: Path | None = None) -> dict[str, str]:
    """What stands under each sketch: of the course folder's `where.yaml` if it has one, else the built-in.

    Raises:
        InputRefused: The file cannot be read (P001), or words for a sketch are missing (B031).
    """
    top = own_or_built_in(folder, BUILT_IN)
    words = {name: node.text.strip() for name, node in top.items() if isinstance(node, Text)}
    problems = [
        Problem("B031", top.place, f"'{way}' has no words", f"Add it, as in the built-in {FILE}.")
        for way in (*WAYS, ONCE)
        if not words.get(way)
    ]
    if problems:
        raise InputRefused(problems)
    return words


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing to measure."""

    way: str
    """One of `WAYS`, or empty."""
    group: str
    """Title of its check."""
    what: str
    places: int


def where_drawing(title: str, asked: Iterable[Asked], words: dict[str, str]) -> Drawing | None:
    """The sketches of some checks beside each other, each way of measuring once; None when no check has one.

    Args:
        title: Of the drawing.
        asked: What is measured; the places of each sketch are numbered as on the measuring sheet.
        words: As `read_where` gives them.
    """
    cells: dict[tuple[str, int], list[Asked]] = {}
    for one in asked:
        if one.way:
            cells.setdefault((one.way, one.places if one.way in NUMBERED else 0), []).append(one)
    if not cells:
        return None
    return _drawn(
        title,
        tuple(
            (way, places, _named(own), _says(way, places, words)) for (way, places), own in cells.items()
        ),
    )


def _says(way: str, places: int, words: dict[str, str]) -> str:
    return words[way] if places != 1 else words.get(f"{way} {ONCE}", words[ONCE])


def _named(asked: Iterable[Asked]) -> str:
    """What is measured in one way; the names of the checks when that is too much to read."""
    own = list(asked)
    whats = ", ".join(dict.fromkeys(one.what for one in own))
    return whats if len(whats) <= LONGEST else ", ".join(dict.fromkeys(one.group for one in own))


@lru_cache(maxsize=64)
def _drawn(title: str, cells: tuple[tuple[str, int, str, str], ...]) -> Drawing:
    alt = "; ".join(f"{what}: {says}" for _, _, what, says in cells)
    sketch = Sketch(title, f"{alt}.", points=7.5)
    line, top = sketch.size * 1.25, 0.0
    for start in range(0, len(cells), ACROSS):
        most = 0
        for column, (way, places, what, says) in enumerate(cells[start : start + ACROSS]):
            x = column * (WIDE + 3)
            WAYS[way](sketch, (x + 4, top, WIDE - 8, TALL - 5), places)
            lines = [(text, True) for text in textwrap.wrap(what, LETTERS)]
            lines += [(text, False) for text in textwrap.wrap(says, LETTERS)]
            for number, (text, bold) in enumerate(lines):
                sketch.label(x + WIDE / 2, top + TALL + number * line, text, bold=bold)
            most = max(most, len(lines))
        top += TALL + most * line + 4
    return sketch.done()
