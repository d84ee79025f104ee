"""Widths of a table's columns from the widths of its words, so that no word runs into the next column."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

POINT = 25.4 / 72
"""Millimetres in a typographic point."""
SPARE = 0.6
"""Room left in each column for rounding and kerning. [mm]"""
FACES = {"": "DejaVuSans", "b": "DejaVuSans-Bold", "i": "DejaVuSans-Oblique", "bi": "DejaVuSans-BoldOblique"}
"""Our font files: regular, bold, slanted, bold and slanted."""


@cache
def advances(face: str) -> Mapping[int, float]:
    """How wide each character of a face is, as a share of the type size; its keys are all that the face can show.

    Read from the font's tables `cmap` (format 12), `head`, `hhea` and `hmtx` as the OpenType specification lays
    them out.
    """
    data = files("shared").joinpath("fonts", f"{FACES[face]}.ttf").read_bytes()

    def number(at: int, size: int = 2) -> int:
        return int.from_bytes(data[at : at + size], "big")

    tables = {data[12 + 16 * i : 16 + 16 * i]: number(20 + 16 * i, 4) for i in range(number(4))}
    em, count, start = number(tables[b"head"] + 18), number(tables[b"hhea"] + 34), tables[b"cmap"]
    maps = [start + number(start + 8 + 8 * i, 4) for i in range(number(start + 2))]
    at = next(at for at in maps if number(at) == 12)
    found: dict[int, float] = {}
    for group in range(at + 16, at + 16 + 12 * number(at + 12, 4), 12):
        first, last, glyph = (number(group + part, 4) for part in (0, 4, 8))
        for code in range(first, last + 1):
            metric = min(glyph + code - first, count - 1)
            found[code] = number(tables[b"hmtx"] + 4 * metric) / em
    return found


@dataclass(frozen=True, slots=True)
class Columns:
    """How a table is set."""

    widths: tuple[float, ...]
    """Of each column with its padding. [mm]; empty when the rows must be set below each other instead."""
    points: float
    """Type size. [pt]"""
    padding: float
    """Left and right of each cell. [mm]"""


def columns(head: Sequence[Any], rows: Sequence[Sequence[Any]], room: float, sizes: Sequence[float]) -> Columns:
    """The largest type and padding with which every word keeps to its column.

    Columns get their widest word first; what is left goes to those with the most text.

    Args:
        head: A cell for each column, as runs of text; set in bold.
        rows: As many cells in each.
        room: Width of the table. [mm]
        sizes: Type sizes to try, the best first. [pt]
    """
    for points in sizes:
        for padding in (2.2, 1.2):
            least, wanted = _needs(head, rows, points, padding)
            spare = room - sum(least)
            if spare >= 0:
                return Columns(_shared_out(least, wanted, spare), points, padding)
    return Columns((), sizes[0], 2.2)


def _needs(
    head: Sequence[Any], rows: Sequence[Sequence[Any]], points: float, padding: float
) -> tuple[list[float], list[float]]:
    """Width of each column's widest word, and of its widest cell in one line."""
    least, wanted = [], []
    for number, title in enumerate(head):
        cells = [list(_pieces(title, "b")), *(list(_pieces(row[number], "")) for row in rows)]
        around = 2 * padding + SPARE
        least.append(around + max((_width(piece, points) for cell in cells for piece in _words(cell)), default=0.0))
        wanted.append(around + max(sum(_width([piece], points) for piece in cell) for cell in cells))
    return least, wanted


def _shared_out(least: Sequence[float], wanted: Sequence[float], spare: float) -> tuple[float, ...]:
    more = [want - low for low, want in zip(least, wanted, strict=True)]
    if sum(more) <= spare:
        widest = max(range(len(wanted)), key=lambda number: wanted[number])
        made = [want + (spare - sum(more) if number == widest else 0) for number, want in enumerate(wanted)]
    else:
        total = sum(one**0.6 for one in more if one > 0)
        made = [low + spare * (one**0.6 if one > 0 else 0) / total for low, one in zip(least, more, strict=True)]
    return tuple(round(width, 2) for width in made)


Piece = tuple[str, str] | float
"""A text and its face, or a width in mm."""


def _pieces(runs: Sequence[Any], face: str) -> Iterator[Piece]:
    for run in runs:
        kind = run["t"]
        if kind in ("text", "code"):
            yield run["s"], face
        elif kind == "blank":
            yield float(run["mm"])
        elif kind == "tick":
            yield "\u2610", ""
        elif kind == "br":
            yield " ", face
        else:
            yield from _pieces(run["c"], "".join(sorted({*face, *(kind if kind in "bi" else "")})))


def _words(pieces: Sequence[Piece]) -> Iterator[list[Piece]]:
    """Runs of pieces between which a line may end."""
    word: list[Piece] = []
    for piece in pieces:
        if isinstance(piece, float):
            word.append(piece)
            continue
        first, *others = piece[0].replace("\u200b", " ").split(" ")
        word.append((first, piece[1]))
        for other in others:
            yield word
            word = [(other, piece[1])]
    yield word


def _width(pieces: Sequence[Piece], points: float) -> float:
    total = 0.0
    for piece in pieces:
        if isinstance(piece, float):
            total += piece
        else:
            signs = advances(piece[1])
            total += sum(signs.get(ord(c), 0.0 if c == "\u200b" else 1.0) for c in piece[0]) * points * POINT
    return total
