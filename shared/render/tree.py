"""Markdown to one neutral tree; every fault of a text is told with its line.

Blocks: h (level, c), p (c), ul and ol (items), table (align, head, rows), box (kind, title, c), svg (number, alt), hr,
pagebreak, turn (where a part that takes two pages is turned over), pre (text). Inline: text (s), b, i, s (c), code (s),
br, blank (mm), tick.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from markdown_it import MarkdownIt
from markdown_it.token import Token
from mdit_py_plugins.container import container_plugin

from shared.places import Place
from shared.problems import InputRefused, Problem, meant
from shared.render.document import Tree
from shared.render.marks import MARK, Drawings, given, short

BOXES = ("danger", "warning", "caution", "check", "setup", "note", "right", "wrong")
"""Kinds of box that a text may open with `::: kind Title` and close with `:::`."""
_PROBABLE_SIZE = re.compile(r"(?<=\d) (?=\d+/\d+(?!\d)|(?:mm|cm|m|in|ft|kg|g|lb|N|kN|rpm|min|s|h|°|°C|°F|%)(?![\w]))")


def _parser() -> MarkdownIt:
    parser = MarkdownIt("commonmark", {"html": False}).enable(["table", "strikethrough"])
    return parser.use(container_plugin, "box", validate=lambda params, markup: bool(params.strip()))


_PARSER = _parser()


def markdown_tree(
    text: str,
    file: str,
    drawings: Drawings | None = None,
    sources: Callable[[], Mapping[str, str]] | None = None,
) -> Tree:
    """The tree of a Markdown text.

    Args:
        text: Markdown; raw HTML is plain text.
        file: Name shown in problems.
        drawings: What the marks of drawings stand for.
        sources: Gives the templates that a whole page came from, by name; faults are told with their lines where
            they can be found there.

    Raises:
        InputRefused: A box of unknown kind or never closed, a table row with too many or too few cells, a line of a
            table outside a table, a heading that skips a level, or a thing that cannot be printed.
    """
    walk = _Walk(file, text.split("\n"), drawings or Drawings(), sources)
    tokens = _PARSER.parse(text)
    walk.headings(tokens)
    walk.table_rows(tokens)
    tree = walk.blocks(tokens)
    if walk.problems:
        raise InputRefused(walk.problems)
    return tree


class _Walk:
    def __init__(
        self, file: str, lines: Sequence[str], drawings: Drawings, sources: Callable[[], Mapping[str, str]] | None
    ) -> None:
        self.file, self.lines, self.drawings, self.sources = file, lines, drawings, sources
        self.problems: list[Problem] = []
        self.told: set[int] = set()

    def wrong(self, line: int, says: str, do: str) -> None:
        """Keep a problem; a line has one, its first."""
        if line not in self.told:
            self.told.add(line)
            self.problems.append(Problem("W004", self._at(line), says, do))

    def _at(self, line: int) -> Place:
        """Where a rendered line was written.

        A text without templates has its own lines. Else the template line with the most letters in common with it,
        and among equals the one that follows a like line, then the one nearest; the file alone when none is like it.
        """
        if not self.sources:
            return Place(self.file, line + 1)
        text, before = self._line(line), self._before(self.lines, line)
        found: list[tuple[int, int, int, str, int]] = []
        for name, source in self.sources().items():
            written = source.split("\n")
            for number, one in enumerate(written):
                alike = _alike(one.strip(), text)
                if alike:
                    follows = min(1, _alike(self._before(written, number), before))
                    found.append((-alike, -follows, abs(number - line), name, number + 1))
        return Place(min(found)[3], min(found)[4]) if found else Place(self.file)

    def _line(self, line: int) -> str:
        return self.lines[line].strip() if line < len(self.lines) else ""

    @staticmethod
    def _before(lines: Sequence[str], line: int) -> str:
        """The nearest line with text above a line."""
        return next((one.strip() for one in reversed(lines[:line]) if one.strip()), "")

    def headings(self, tokens: Sequence[Token]) -> None:
        """Headings go down one level at a time; a whole document starts with the first level."""
        last = 0 if self.sources else 6
        for token in tokens:
            if token.type == "heading_open":
                level, line = int(token.tag[1]), (token.map or [0])[0]
                if level > last + 1:
                    says = f"a heading skips a level: '{self._quote(line)}'"
                    self.wrong(line, says, f"Begin it with {'#' * (last + 1)}.")
                last = level

    def table_rows(self, tokens: Sequence[Token]) -> None:
        """Cells are counted in the text, since the parser pads or drops what does not match."""
        for start, end in (token.map for token in tokens if token.type == "table_open" and token.map):
            width = _cells(self.lines[start + 1])
            for number in range(start + 2, end):
                cells = _cells(self.lines[number])
                if cells != width:
                    says = f"a table row has {cells} cells, its heading has {width}: '{self._quote(number)}'"
                    self.wrong(number, says, "Give every row the same number of cells.")

    def _quote(self, line: int) -> str:
        return short(self._line(line))

    def blocks(self, tokens: Sequence[Token]) -> Tree:
        """The blocks of a whole text, those of lists and boxes inside them."""
        top: Tree = []
        stack, rest = [top], iter(tokens)
        for token in rest:
            self.block(token, rest, stack)
        return top

    def block(self, token: Token, rest: Iterator[Token], stack: list[Tree]) -> None:
        """Put one block into the innermost of those that are open, or open or close one."""
        kind, here, line = token.type, stack[-1], token.map[0] if token.map else 0
        if kind in ("paragraph_open", "heading_open"):
            here.extend(self.paragraph(next(rest), token))
            next(rest)
        elif kind == "table_open":
            here.append(self.table(rest))
        elif kind in _LISTS:
            here.append({"t": _LISTS[kind], "items": [], "start": token.attrGet("start") or 1})
            stack.append(here[-1]["items"])
        elif kind == "list_item_open":
            item: Tree = []
            here.append(item)  # type: ignore[arg-type]
            stack.append(item)
        elif kind == "container_box_open":
            here.append(self.box(token))
            stack.append(here[-1]["c"])
        elif kind.endswith("_close"):
            stack.pop()
        elif kind == "hr":
            here.append({"t": "hr"})
        elif kind == "fence":
            if MARK.search(token.content):
                self.wrong(line, *_MARK_IN_CODE)
            here.append({"t": "pre", "text": given(token.content.rstrip("\n"))})
        elif kind == "code_block":
            says = f"a line is set in by four spaces or more: '{self._quote(line)}'"
            self.wrong(line, says, "Begin it further left.")
        else:
            what = kind.removesuffix("_open").replace("_", " ")
            self.wrong(line, f"'{what}' cannot be printed: '{self._quote(line)}'", "Write it plainly.")
            if token.nesting == 1:
                stack.append([])

    def paragraph(self, inner: Token, opening: Token) -> Tree:
        line = opening.map[0] if opening.map else 0
        for number, written in enumerate(inner.content.split("\n"), line):
            self.left_over(number, written.strip())
        if opening.type == "heading_open":
            return [{"t": "h", "level": int(opening.tag[1]), "c": self.inline(inner)}]
        found: Tree = []
        marks = MARK.fullmatch(inner.content.strip())
        if marks and marks[1] == "svg":
            number = int(marks[2])
            found.append({"t": "svg", "svg": self.drawings.svgs[number], "alt": self.drawings.alts[number]})
        elif marks and marks[1] in ("pagebreak", "turn"):
            found.append({"t": marks[1]})
        else:
            found.append({"t": "p", "c": self.inline(inner), "tight": opening.hidden})
        return found

    def left_over(self, line: int, written: str) -> None:
        """A line of a box or table that the parser took for plain text."""
        if written.startswith("::"):
            says = f"a box is not opened or closed as it should be: '{short(written)}'"
            self.wrong(line, says, "Open it with ::: and a kind, close it with ::: on a line of its own.")
        elif written.startswith("|"):
            below = self.lines[line + 1] if line + 1 < len(self.lines) else ""
            if _RULE.fullmatch(below) and not _RULE.fullmatch(written):
                says = f"the line below a table's heading has another number of cells: '{short(written)}'"
                self.wrong(line, says, "Give every row the same number of cells.")
                self.told.update(range(line, len(self.lines)))
            else:
                says = f"a table row stands outside a table: '{short(written)}'"
                self.wrong(line, says, "Put a heading and a line of dashes above it.")

    def box(self, token: Token) -> dict[str, Any]:
        start, end = token.map or (0, 0)
        kind, _, title = token.info.strip().partition(" ")
        if kind not in BOXES:
            self.wrong(start, f"there is no box '{kind}'", meant(kind, BOXES))
        if end >= len(self.lines) or not self.lines[end].strip().startswith(":::"):
            self.wrong(
                start, f"the box '{short(token.info)}' is never closed", "Close it with ::: on a line of its own."
            )
        inline = _PARSER.parseInline(title.strip())[0]
        return {"t": "box", "kind": kind, "title": self.inline(inline), "c": []}

    def table(self, rest: Iterator[Token]) -> dict[str, Any]:
        """A table, whose tokens it takes up to its end."""
        rows: list[list[Tree]] = []
        align: list[str] = []
        for token in rest:
            if token.type == "table_close":
                break
            if token.type == "tr_open":
                rows.append([])
            elif token.type in ("th_open", "td_open"):
                if token.type == "th_open":
                    align.append(str(token.attrGet("style") or "left").rpartition(":")[2])
                rows[-1].append(self.inline(next(rest)))
        return {"t": "table", "align": align, "head": rows[0], "rows": rows[1:]}

    def inline(self, token: Token) -> Tree:
        top: Tree = []
        stack: list[Tree] = [top]
        names = {"strong": "b", "em": "i", "s": "s"}
        line = token.map[0] if token.map else 0
        for child in token.children or []:
            base = child.type.removesuffix("_open").removesuffix("_close")
            if child.type in ("text", "text_special"):
                stack[-1].extend(self.marked(child.content, line))
            elif child.type == "softbreak":
                line += 1
                stack[-1].append({"t": "text", "s": " "})
            elif child.type == "hardbreak":
                line += 1
                stack[-1].append({"t": "br"})
            elif child.type == "code_inline":
                if MARK.search(child.content):
                    self.wrong(line, *_MARK_IN_CODE)
                stack[-1].append({"t": "code", "s": given(child.content)})
            elif base in names and child.nesting == 1:
                node: dict[str, Any] = {"t": names[base], "c": []}
                stack[-1].append(node)
                stack.append(node["c"])
            elif base in names:
                stack.pop()
            elif child.nesting != -1:
                says = f"'{base.replace('_', ' ')}' cannot be printed: '{self._quote(line)}'"
                self.wrong(line, says, "Write it plainly.")
        return _joined(top)

    def marked(self, text: str, line: int) -> Tree:
        """A run of text with its blanks and tick boxes."""
        found: Tree = []
        last = 0
        for match in MARK.finditer(text):
            if match.start() > last:
                found.append({"t": "text", "s": _whole_sizes(given(text[last : match.start()]))})
            if match[1] == "blank":
                found.append({"t": "blank", "mm": int(match[2])})
            elif match[1] in ("tick", "br"):
                found.append({"t": match[1]})
            else:
                self.wrong(line, "a drawing or page break stands inside a line", "Give it a line of its own.")
            last = match.end()
        if last < len(text):
            found.append({"t": "text", "s": _whole_sizes(given(text[last:]))})
        return found


_RULE = re.compile(r"\s*\|?\s*:?-+:?\s*(?:\|\s*:?-+:?\s*)*\|?\s*")
"""The line of dashes below a table's heading."""
_LISTS = {"bullet_list_open": "ul", "ordered_list_open": "ol"}
_MARK_IN_CODE = ("a blank, tick box or drawing stands in code", "Take it out of the backquotes.")


def _whole_sizes(text: str) -> str:
    """The text with numbers tied to their fraction and unit, so that no size splits over two lines."""
    return _PROBABLE_SIZE.sub("\u00a0", text)


def _alike(written: str, text: str) -> int:
    """How many letters of a template line stand in a rendered line that it could have made; 0 when it could not."""
    fixed = re.split(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", written)
    if not re.fullmatch(".*".join(re.escape(part) for part in fixed), text):
        return 0
    return sum(not c.isspace() for part in fixed for c in part)


def _cells(line: str) -> int:
    return len(re.split(r"(?<!\\)\|", line.strip().removeprefix("|").removesuffix("|")))




def _joined(nodes: Tree) -> Tree:
    """Neighbouring texts as one, so that both writers see the same runs."""
    found: Tree = []
    for node in nodes:
        if "c" in node:
            node = {**node, "c": _joined(node["c"])}
        if node["t"] == "text" and found and found[-1]["t"] == "text":
            found[-1] = {"t": "text", "s": found[-1]["s"] + node["s"]}
        else:
            found.append(node)
    return found


def words(tree: object) -> str:
    """All text of a tree, in reading order."""
    if isinstance(tree, dict):
        if tree["t"] in ("text", "code"):
            return str(tree["s"])
        if tree["t"] == "pre":
            return str(tree["text"])
        return " ".join(words(tree[key]) for key in ("title", "c", "items", "head", "rows") if key in tree)
    return " ".join(words(part) for part in tree) if isinstance(tree, list) else ""


def count_boxes(tree: object) -> int:
    """How many boxes a tree has, at any depth."""
    if isinstance(tree, dict):
        own = 1 if tree["t"] == "box" else 0
        return own + sum(count_boxes(tree[key]) for key in ("c", "items") if key in tree)
    return sum(count_boxes(part) for part in tree) if isinstance(tree, list) else 0
