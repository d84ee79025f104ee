"""The PDF writer: the tree goes as data to one fixed Typst template, with our own fonts, and the pages are checked.

Made as PDF/UA-1 (tagged); the same document gives the same bytes on every machine.
"""

from __future__ import annotations

import io
import json
import re
import unicodedata
from collections.abc import Iterator, Sequence
from functools import lru_cache
from importlib.resources import as_file, files
from typing import Any, NamedTuple

from shared.places import Place
from shared.problems import InputRefused, Problem
from shared.render.columns import advances, columns
from shared.render.document import Document, Tree
from shared.render.html import box_word
from shared.render.marks import JOINERS, shown

FONT = "DejaVu Sans"
UPRIGHT, SLANTED = ("", "b"), ("i", "bi")
BODY, LARGE = 9, 18
"""Type sizes in points."""
LARGER = (10.5, 10)
"""Larger type, the best first, for a part of a document that has room for it on its pages. [points]"""
SMALLER = 8.5
"""Type for a part that would else spill a little onto one more page; large print keeps its size. [points]"""
TABLES, TABLES_LARGE = (9, 8.5), (16, 14)
"""Type sizes of tables in points, the best first; a table that fits in none has its rows set below each other."""
PAPER = {"a4": ("a4", 210, 297), "letter": ("us-letter", 215.9, 279.4)}
"""Name, width and height of each paper. [mm] (ISO 216; ANSI/ASME Y14.1 size A)"""
BOX_PADDING, INDENT = 3, 8
"""Room that a box takes at each side, and a list at its left. [mm]"""
SIDE, TOP, BOTTOM = 15, 17, 14
"""Margins of the page; the running head and foot stand in them. [mm]"""
LARGE_TOP, LARGE_BOTTOM = 30, 22
"""The same in large print. [mm]"""
MM = 72 / 25.4
"""Points in a millimetre."""
EDGE = 4
"""What no printer can print on. [mm]"""
MOST_TOLD = 5
"""So many words of a document that do not fit are named; one cause often has many."""
SLACK = 2.5
"""How far an accent, a tail or a mark at a letter may reach over the edge of the content area. [mm]"""
LONG_WORD = 24
"""Longer words may be broken anywhere, since nothing else keeps them on their page. [letters]"""
LARGE_DATA = 100_000
"""A document of more data than this is forgotten once it is set; small ones share what was worked out. [characters]"""
_AGE = 11
"""Typst keeps what it worked out until ten more documents are set; a packet takes some 350 MB of that."""
_FIXED = 946684800
"""One fixed time for every document: the first second of 2000."""


def write_pdf(document: Document) -> bytes:
    """The document as a tagged PDF.

    Raises:
        InputRefused: Text that does not fit on its page, or a drawing that cannot be shown.
    """
    data = _data(document)
    raw = _compiled(data, document.title)
    problems = list(overflow(raw, document.title, data["top"], data["bottom"]))
    if problems:
        raise InputRefused(problems)
    return _packed(raw)


def _data(document: Document) -> dict[str, Any]:
    language, _, region = document.language.partition("-")
    large = document.large_print
    paper = PAPER[document.paper][1:]
    room = paper[document.landscape] - 2 * SIDE
    top, bottom = (LARGE_TOP, LARGE_BOTTOM) if large else (TOP, BOTTOM)
    return {
        "title": printable(shown(document.title)), "left": printable(shown(document.left)),
        "right": printable(shown(document.right)), "language": language, "region": region or None,
        "font": FONT, "size": LARGE if large else BODY, "larger": () if large else LARGER,
        "smaller": LARGE if large else SMALLER, "paper": PAPER[document.paper][0], "side": SIDE,
        "top": top, "bottom": bottom,
        "room": (room, paper[not document.landscape] - top - bottom),
        "landscape": document.landscape,
        "tree": _Prepared(TABLES_LARGE if large else TABLES).blocks(document.tree, room),
    }  # fmt: skip


class _Prepared:
    """The tree as the Typst template wants it: widths of columns, words of boxes, only signs the fonts have."""

    def __init__(self, sizes: Sequence[float]) -> None:
        self.sizes = sizes

    def blocks(self, nodes: Tree, room: float) -> Tree:
        """Blocks in a room of so many mm."""
        return [self.block(node, room) for node in nodes]

    def block(self, node: dict[str, Any], room: float) -> dict[str, Any]:
        kind = node["t"]
        if kind in ("h", "p"):
            return {**node, "c": _runs(node["c"])}
        if kind in ("ul", "ol"):
            return {**node, "items": [self.blocks(item, room - INDENT) for item in node["items"]]}
        if kind == "box":
            inner = self.blocks(node["c"], room - 2 * BOX_PADDING)
            return {**node, "word": box_word(node["kind"]), "title": _runs(node["title"]), "c": inner}
        if kind == "table":
            return self.table(node, room)
        return {key: printable(value) if key in ("text", "svg", "alt") else value for key, value in node.items()}

    def table(self, node: dict[str, Any], room: float) -> dict[str, Any]:
        head, rows = [_runs(cell) for cell in node["head"]], [[_runs(cell) for cell in row] for row in node["rows"]]
        set_in = columns(head, rows, room, self.sizes)
        return {
            "t": "table", "align": node["align"], "head": head, "rows": rows, "widths": set_in.widths,
            "points": set_in.points, "padding": set_in.padding,
        }  # fmt: skip


def _runs(nodes: Tree, face: Sequence[str] = UPRIGHT) -> Tree:
    """Runs of text with signs that their face has; slanted text whose signs only stand upright becomes bold."""
    made: Tree = []
    for node in nodes:
        if "s" in node:
            made.append({**node, "s": _breakable(printable(node["s"], face))})
        elif node["t"] == "i":
            upright, slanted = _runs(node["c"]), _runs(node["c"], SLANTED)
            made.append({"t": "i", "c": slanted} if upright == slanted else {"t": "b", "c": upright})
        else:
            made.append({**node, "c": _runs(node["c"], face)} if "c" in node else node)
    return made


def _breakable(text: str) -> str:
    """The text with a place to break after every few letters of a word that is longer than any real one."""
    return re.sub(
        rf"\S{{{LONG_WORD + 1},}}", lambda word: "\u200b".join(re.findall(rf"\S{{1,{LONG_WORD // 3}}}", word[0])), text
    )


def printable(text: str, faces: Sequence[str] = UPRIGHT) -> str:
    """The text with each sign that our fonts lack spelled as its code, so that nothing prints as an empty box."""
    signs = _signs(tuple(faces))
    if signs.issuperset(text):
        return text
    return "".join(c if c in signs else "" if c in JOINERS else f"[U+{ord(c):04X}]" for c in text)


@lru_cache
def _signs(faces: tuple[str, ...]) -> frozenset[str]:
    """What all of these faces can print."""
    common = set.intersection(*(set(advances(face)) for face in faces))
    return frozenset({"\n", "\t", *(chr(code) for code in common if code >= 32)})


def _compiled(data: dict[str, Any], title: str) -> bytes:
    import typst

    text = json.dumps(data)
    with as_file(files("shared")) as folder:
        try:
            result = typst.compile_with_warnings(
                str(folder / "render" / "document.typ"), font_paths=[str(folder / "fonts")], ignore_system_fonts=True,
                sys_inputs={"d": text}, pdf_standards=["ua-1"], timestamp=_FIXED, format="pdf",
            )  # fmt: skip
        except typst.TypstError as error:
            says = f"the page cannot be printed: {error.message}"
            do = "; ".join(error.hints) or "Simplify the text or the drawing it names."
            raise InputRefused([Problem("W010", Place(title), says, do)]) from None
        finally:
            if len(text) > LARGE_DATA:
                _forget()
    pdf, warnings = result
    if warnings:
        says = f"the page would not print as it should: {warnings[0].message}"
        raise InputRefused([Problem("W011", Place(title), says, "Simplify the text it names.")])
    assert isinstance(pdf, bytes)
    return pdf


def _forget() -> None:
    """Set empty pages until Typst has forgotten what it worked out for the documents before."""
    import typst

    none = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False)
    for _ in range(_AGE):
        typst.compile(b"", font_paths=none, ignore_system_fonts=True)


def _packed(raw: bytes) -> bytes:
    """The same PDF with its objects packed, to a third of the size; tags stay, bytes are the same every time."""
    import pikepdf

    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(raw)) as pdf:
        pdf.save(out, object_stream_mode=pikepdf.ObjectStreamMode.generate, deterministic_id=True)
    return out.getvalue()


def overflow(pdf: bytes, title: str, top: int = TOP, bottom: int = BOTTOM) -> Iterator[Problem]:
    """Text that runs out of the content area of its page, or over other text.

    Args:
        pdf: As compiled.
        title: For the place of the problems.
        top: Margin in which the running head stands. [mm]
        bottom: Margin in which the foot stands. [mm]
    """
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    told: set[str] = set()
    try:
        for number in range(len(document)):
            page = document[number]
            width, height = (size / MM for size in page.get_size())
            text = page.get_textpage()
            runs = [_run(text, i) for i in range(text.count_rects())]
            outside = [run for run in runs if not run.inside(width, height, top, bottom)]
            for run in outside or _printed_over([run for run in runs if _stands_alone(run.words)]):
                words = " ".join(run.words.split())
                if words and words not in told and len(told) < MOST_TOLD:
                    told.add(words)
                    fault = "runs off the page" if outside else "is printed over other words"
                    says = f"page {number + 1}: '{words[:60]}' {fault}"
                    yield Problem("W012", Place(title), says, "Use fewer or narrower columns, or shorter words.")
    finally:
        document.close()


def _run(text: Any, number: int) -> _Run:
    """A run of a page's text, without the spaces at its end: they are no wider than 0.35 of its height each."""
    edges = text.get_rect(number)
    words = text.get_text_bounded(*edges)
    left, bottom, right, top = (edge / MM for edge in edges)
    spaces = len(words) - len(words.rstrip())
    return _Run(left, bottom, max(left, right - 0.35 * (top - bottom) * spaces), top, words)


def _stands_alone(words: str) -> bool:
    """Whether no sign of a run is meant to lie on others: marks at letters do, and scripts that run to the left."""
    return not any(unicodedata.category(c)[0] == "M" or unicodedata.bidirectional(c) in ("R", "AL") for c in words)


class _Run(NamedTuple):
    """A run of text and its edges. [mm from the lower left corner of the page]"""

    left: float
    bottom: float
    right: float
    top: float
    words: str

    def inside(self, width: float, height: float, top: int, bottom: int) -> bool:
        """Whether it stands in the content area, or wholly in the head or the foot."""
        if all(unicodedata.category(c)[0] in "MZ" for c in self.words):
            return True  # a mark without its letter
        if self.left < SIDE - SLACK or self.right > width - SIDE + SLACK:
            return False
        if self.bottom < EDGE or self.top > height - EDGE:
            return False
        edges = (height - top, bottom)
        return not any(self.bottom < edge - SLACK and self.top > edge + SLACK for edge in edges)

    def covers(self, other: _Run) -> bool:
        """Whether two runs lie on each other by more than touching lines do."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.top, other.top) - max(self.bottom, other.bottom)
        return wide > 0.7 and high > 0.4 * min(self.top - self.bottom, other.top - other.bottom)


def _printed_over(runs: Sequence[_Run]) -> Iterator[_Run]:
    ordered = sorted(runs)
    for number, run in enumerate(ordered):
        for other in ordered[number + 1 :]:
            if other.left > run.right:
                break
            if run.covers(other):
                yield other
