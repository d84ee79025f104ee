"""The PDF writer: the tree goes as data to one fixed Typst template, with our own fonts, and the pages are checked.

Made as PDF/UA-1 (tagged); the same document gives the same bytes on every machine.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from functools import cache
from importlib.resources import as_file, files
from typing import Any

from shared.places import Place
from shared.problems import InputRefused, Problem
from shared.render.document import Document, Tree
from shared.render.html import box_word

FONT = "DejaVu Sans"
BODY, LARGE = 10, 18
"""Type sizes in points."""
MARGIN_SIDE, MARGIN_TOP, MARGIN_BOTTOM = 15, 20, 17
"""Margins of the page in millimetres; the running head and foot stand in them."""
_FIXED = 946684800
"""One fixed time for every document: the first second of 2000."""


def write_pdf(document: Document) -> bytes:
    """The document as a tagged PDF.

    Raises:
        InputRefused: Text that does not fit on its page, or a drawing that cannot be shown.
    """
    raw = _compiled(_data(document), document.title)
    problems = list(overflow(raw, document.title))
    if problems:
        raise InputRefused(problems)
    return _packed(raw)


def _data(document: Document) -> dict[str, Any]:
    return {
        "title": printable(document.title), "left": printable(document.left), "right": printable(document.right),
        "font": FONT, "size": LARGE if document.large_print else BODY, "table": 0.78 if document.large_print else 0.9,
        "paper": {"a4": "a4", "letter": "us-letter"}[document.paper],
        "landscape": document.landscape, "tree": [_prepared(node) for node in document.tree],
    }  # fmt: skip


def _prepared(node: Any) -> Any:
    """The tree as the Typst template wants it: widths of columns, words of boxes, only signs the font has."""
    if isinstance(node, list):
        return [_prepared(one) for one in node]
    if not isinstance(node, dict):
        return node
    made = {key: _prepared(value) for key, value in node.items() if key not in ("s", "text", "svg", "alt")}
    for key in ("s", "text", "alt"):
        if key in node:
            made[key] = printable(node[key])
    if "svg" in node:
        made["svg"] = printable(node["svg"])
    if node["t"] == "box":
        made["word"] = box_word(node["kind"])
    if node["t"] == "table":
        made["widths"] = column_widths(node)
        made["cells"] = [cell for row in made.pop("rows") for cell in row]
    return made


def column_widths(table: dict[str, Any]) -> list[float]:
    """A share of the width for each column; 0 for one that is as wide as its content.

    Columns of short words and numbers keep their width; long text shares what is left by the root of its length.
    """
    rows = [table["head"], *table["rows"]]
    longest = [max(_length(row[i]) for row in rows) for i in range(len(table["head"]))]
    total = sum(longest)
    shares = [0.0 if length <= 9 or total <= 60 else round(max(length, 10) ** 0.5, 2) for length in longest]
    if not any(shares):
        shares[longest.index(max(longest))] = 1.0
    return shares


def _length(cell: Tree) -> int:
    total = 0
    for node in cell:
        if node["t"] == "blank":
            total += max(2, node["mm"] // 2)
        elif node["t"] in ("text", "code"):
            total += len(node["s"])
        elif "c" in node:
            total += _length(node["c"])
        else:
            total += 2
    return total


@cache
def _font_signs() -> frozenset[int]:
    """The characters that our regular face can show, read from its character map."""
    data = files("shared").joinpath("fonts", "DejaVuSans.ttf").read_bytes()
    return frozenset(_character_map(data))


def _character_map(data: bytes) -> Iterator[int]:
    """Code points of a TrueType font's format 4 and 12 maps (OpenType specification, table `cmap`)."""

    def number(at: int, size: int = 2) -> int:
        return int.from_bytes(data[at : at + size], "big")

    tables = {data[12 + 16 * i : 16 + 16 * i]: number(20 + 16 * i, 4) for i in range(number(4))}
    start = tables[b"cmap"]
    for i in range(number(start + 2)):
        at = start + number(start + 8 + 8 * i, 4)
        if number(at) == 12:
            for group in range(number(at + 12, 4)):
                yield from range(number(at + 16 + 12 * group, 4), number(at + 20 + 12 * group, 4) + 1)
        elif number(at) == 4:
            count = number(at + 6) // 2
            for segment in range(count):
                last, first = number(at + 14 + 2 * segment), number(at + 16 + 2 * (count + segment))
                if first != 0xFFFF:
                    yield from range(first, last + 1)


def printable(text: str) -> str:
    """The text with each sign that our font lacks spelled as its code, so that nothing prints as an empty box."""
    signs = _font_signs()
    return "".join(
        c
        if c in "\n\t" or (ord(c) in signs and ord(c) >= 32)
        else ""
        if ord(c) in (0x200D, 0xFE0F)
        else f"[U+{ord(c):04X}]"
        for c in text
    )


def _compiled(data: dict[str, Any], title: str) -> bytes:
    import typst

    with as_file(files("shared")) as folder:
        try:
            result = typst.compile_with_warnings(
                str(folder / "render" / "document.typ"), font_paths=[str(folder / "fonts")], ignore_system_fonts=True,
                sys_inputs={"d": json.dumps(data)}, pdf_standards=["ua-1"], timestamp=_FIXED, format="pdf",
            )  # fmt: skip
        except typst.TypstError as error:
            says = f"the page cannot be printed: {error.message}"
            do = "; ".join(error.hints) or "Simplify the text or the drawing it names."
            raise InputRefused([Problem("W010", Place(title), says, do)]) from None
    pdf, warnings = result
    if warnings:
        says = f"the page would not print as it should: {warnings[0].message}"
        raise InputRefused([Problem("W011", Place(title), says, "Simplify the text it names.")])
    assert isinstance(pdf, bytes)
    return pdf


def _packed(raw: bytes) -> bytes:
    """The same PDF with its objects packed, to a third of the size; tags stay, bytes are the same every time."""
    import pikepdf

    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(raw)) as pdf:
        pdf.save(out, object_stream_mode=pikepdf.ObjectStreamMode.generate, deterministic_id=True)
    return out.getvalue()


def overflow(pdf: bytes, title: str) -> Iterator[Problem]:
    """Text that runs off the content area of its page."""
    import pypdfium2

    mm = 72 / 25.4
    document = pypdfium2.PdfDocument(pdf)
    try:
        for number in range(len(document)):
            page = document[number]
            width, height = page.get_size()
            text = page.get_textpage()
            for index in range(text.count_rects()):
                left, bottom, right, top = text.get_rect(index)
                inside = left >= (MARGIN_SIDE - 1) * mm and right <= width - (MARGIN_SIDE - 1) * mm
                if not inside or bottom < 4 * mm or top > height - 4 * mm:
                    words = text.get_text_bounded(left, bottom, right, top).strip()
                    if words:
                        says = f"page {number + 1}: '{words[:60]}' runs off the page"
                        yield Problem("W012", Place(title), says, "Use fewer or narrower columns, or shorter words.")
    finally:
        document.close()
