"""The HTML writer: one self-contained page, no script, readable on a tablet and printable."""

from __future__ import annotations

import html
import re
from importlib.resources import files
from itertools import groupby
from typing import Any

from shared.render.document import Document
from shared.render.marks import shown

_PAPER = {"a4": "A4", "letter": "letter"}
_WORDS = {
    "danger": "DANGER", "warning": "WARNING", "caution": "CAUTION", "check": "Fit check", "setup": "Set-up",
    "note": "Note", "right": "Right", "wrong": "Wrong",
}  # fmt: skip
"""The word that opens each kind of box; both writers print it."""


def box_word(kind: str) -> str:
    """The word that opens a box of a kind."""
    return _WORDS[kind]


def write_html(document: Document) -> str:
    """The document as one HTML page with its style inside."""
    style = files("shared.render").joinpath("page.css").read_text("utf-8")
    size = "18pt" if document.large_print else "11pt"
    orientation = " landscape" if document.landscape else ""
    title, left, right = (shown(text) for text in (document.title, document.left, document.right))
    page = (
        f"@page {{ size: {_PAPER[document.paper]}{orientation}; margin: 18mm 15mm 16mm;"
        f' @top-left {{ content: "{_css(left)}"; }} @top-right {{ content: "{_css(right)}"; }}'
        f' @bottom-right {{ content: "Page " counter(page) " of " counter(pages); }} }}'
    )
    body = _Writer().blocks(document.tree)
    return (
        f'<!DOCTYPE html>\n<html lang="{document.language}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_text(title)}</title>\n"
        f"<style>\n{page}\n:root {{ font-size: {size}; }}\n{style}</style>\n</head>\n<body>\n"
        f'<header class="running"><span>{_text(left)}</span><span>{_text(right)}</span></header>\n'
        f"<main>\n{body}</main>\n</body>\n</html>\n"
    )


def _text(text: str) -> str:
    return html.escape(text, quote=True)


def _css(text: str) -> str:
    return "".join(c if c.isalnum() or c in " .,-" else f"\\{ord(c):x} " for c in text)


class _Writer:
    def __init__(self) -> None:
        self.drawings = 0

    def blocks(self, tree: list[dict[str, Any]]) -> str:
        made = []
        for kind, group in groupby(tree, lambda node: node["t"]):
            text = "".join(getattr(self, f"_{kind}")(node) for node in group)
            made.append(f'<div class="figures">\n{text}</div>\n' if kind == "svg" else text)
        return "".join(made)

    def inline(self, nodes: list[dict[str, Any]]) -> str:
        return "".join(self._run(node) for node in nodes)

    def _run(self, node: dict[str, Any]) -> str:
        kind = node["t"]
        if kind == "text":
            return _text(node["s"])
        if kind == "br":
            return "<br>"
        if kind == "blank":
            return f'<span class="blank" style="min-width:{node["mm"]}mm"><span class="unseen">to fill in</span></span>'
        if kind == "tick":
            return '<span class="tick"><span class="unseen">box to tick</span></span>'
        if kind == "code":
            return f"<code>{_text(node['s'])}</code>"
        tag = {"b": "strong", "i": "em", "s": "s"}[kind]
        return f"<{tag}>{self.inline(node['c'])}</{tag}>"

    def _h(self, node: dict[str, Any]) -> str:
        return f"<h{node['level']}>{self.inline(node['c'])}</h{node['level']}>\n"

    def _p(self, node: dict[str, Any]) -> str:
        inner = self.inline(node["c"])
        return inner if node.get("tight") else f"<p>{inner}</p>\n"

    def _ul(self, node: dict[str, Any]) -> str:
        items = "".join(f"<li>{self.blocks(item)}</li>\n" for item in node["items"])
        start = f' start="{node["start"]}"' if node["t"] == "ol" and node["start"] != 1 else ""
        return f"<{node['t']}{start}>\n{items}</{node['t']}>\n"

    _ol = _ul

    def _table(self, node: dict[str, Any]) -> str:
        def row(cells: list, tag: str, scope: str = "") -> str:
            made = (
                f'<{tag}{scope} class="{align}">{self.inline(cell)}</{tag}>'
                for cell, align in zip(cells, node["align"], strict=True)
            )
            return "<tr>" + "".join(made) + "</tr>\n"

        head = row(node["head"], "th", ' scope="col"')
        body = "".join(row(cells, "td") for cells in node["rows"])
        return f'<div class="wide"><table>\n<thead>{head}</thead>\n<tbody>{body}</tbody>\n</table></div>\n'

    def _box(self, node: dict[str, Any]) -> str:
        title = self.inline(node["title"])
        head = f'<p class="head"><strong>{box_word(node["kind"])}</strong>{" " + title if title else ""}</p>\n'
        return f'<section class="box {node["kind"]}">\n{head}{self.blocks(node["c"])}</section>\n'

    def _svg(self, node: dict[str, Any]) -> str:
        self.drawings += 1
        mark = f"d{self.drawings}-"
        svg = re.sub(r"<\?xml[^>]*\?>", "", node["svg"])
        svg = re.sub(r'\bid="([^"]+)"', lambda m: f'id="{mark}{m[1]}"', svg)
        svg = re.sub(r"url\(#([^)]+)\)", lambda m: f"url(#{mark}{m[1]})", svg)
        svg = re.sub(
            r'(aria-labelledby|href)="#?([^"]+)"',
            lambda m: f'{m[1]}="{"#" if m[1] == "href" else ""}{mark}{m[2]}"',
            svg,
        )
        return f'<figure role="img" aria-label="{_text(node["alt"])}">{svg.strip()}</figure>\n'

    def _hr(self, node: dict[str, Any]) -> str:
        return "<hr>\n"

    def _pagebreak(self, node: dict[str, Any]) -> str:
        return '<div class="pagebreak"></div>\n'

    def _turn(self, node: dict[str, Any]) -> str:
        return ""

    def _pre(self, node: dict[str, Any]) -> str:
        return f"<pre>{_text(node['text'])}</pre>\n"
