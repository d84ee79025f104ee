"""Templates to Markdown, Markdown to one neutral tree; every fault of a template or text is told with its line.

Blocks: h (level, c), p (c), ul and ol (items), table (align, head, rows), box (kind, title, c), svg (number, alt), hr,
pagebreak, pre (text). Inline: text (s), b, i, s (c), code (s), br, blank (mm), tick.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import jinja2
import jinja2.sandbox
from markdown_it import MarkdownIt
from markdown_it.token import Token
from mdit_py_plugins.container import container_plugin

from shared.places import Place
from shared.problems import InputRefused, Problem, meant
from shared.render.document import Tree

BOXES = ("danger", "warning", "caution", "check", "setup", "note", "right", "wrong")
"""Kinds of box that a text may open with `::: kind Title` and close with `:::`."""

_OPEN, _CLOSE = "\ue000", "\ue001"
_MARK = re.compile(_OPEN + r"(\w+):?([^" + _CLOSE + r"]*)" + _CLOSE)
_SPECIAL = re.compile(r"([\\`*_{}\[\]<>()#+\-.!|~^$:&=\"'@])")


class Ready(str):
    """Text that is Markdown already and is not escaped again."""

    __slots__ = ()


def escaped(value: object) -> str:
    """Data as Markdown that shows exactly the data: no emphasis, no tags, no table borders."""
    if isinstance(value, Ready):
        return value
    if value is None:
        return ""
    text = "".join(" " if c in "\n\r\t" else c for c in str(value) if c not in (_OPEN, _CLOSE))
    text = "".join(c for c in text if ord(c) >= 32 and not 0xD800 <= ord(c) <= 0xDFFF)
    return _SPECIAL.sub(r"\\\1", text)


@dataclass
class Drawings:
    """Drawings of a document, kept out of the Markdown."""

    svgs: list[str] = field(default_factory=list)
    alts: list[str] = field(default_factory=list)

    def add(self, svg: str, alt: str) -> Ready:
        """Keep a drawing and give the mark that stands for it."""
        self.svgs.append(svg)
        self.alts.append(alt)
        return Ready(f"\n\n{_OPEN}svg:{len(self.svgs) - 1}{_CLOSE}\n\n")


def environment(loader: jinja2.BaseLoader) -> jinja2.Environment:
    """The sandboxed environment of all templates: unknown names are faults, data is escaped."""
    made = jinja2.sandbox.SandboxedEnvironment(
        loader=loader, undefined=jinja2.StrictUndefined, finalize=escaped, trim_blocks=True, lstrip_blocks=True,
        keep_trailing_newline=True, autoescape=False,
    )  # fmt: skip
    made.globals.clear()
    made.globals["range"] = range
    return made


def render_tree(template: str, rows: Mapping[str, Any], loader: jinja2.BaseLoader) -> Tree:
    """The tree of a template filled with finished rows.

    The template may use `blank(mm)`, `tick()`, `drawing(svg, alt)` and `pagebreak()`.

    Raises:
        InputRefused: Unknown name, bad syntax, or a text that cannot be laid out; with file and line.
    """
    drawings = Drawings()
    made = environment(loader)
    source = _source(made, template)
    text = _filled(lambda: made.get_template(template).render({**rows, **helpers(drawings)}), template, rows)
    return markdown_tree(text, template, drawings, source)


def render_text(text: str, file: str, rows: Mapping[str, Any], first_line: int = 1) -> Ready:
    """A lesson text filled with finished rows, as Markdown to be placed in a template."""
    made = environment(jinja2.DictLoader({file: "\n" * (first_line - 1) + text}))
    return Ready(_filled(lambda: made.get_template(file).render(rows), file, rows)[first_line - 1 :])


def helpers(drawings: Drawings) -> dict[str, Callable[..., Ready]]:
    """What templates may call."""
    return {
        "blank": lambda mm=22: Ready(f"{_OPEN}blank:{int(mm)}{_CLOSE}"),
        "tick": lambda: Ready(f"{_OPEN}tick{_CLOSE}"),
        "pagebreak": lambda: Ready(f"\n\n{_OPEN}pagebreak{_CLOSE}\n\n"),
        "drawing": drawings.add,
        "ready": Ready,
    }


def _source(made: jinja2.Environment, template: str) -> str:
    try:
        return made.loader.get_source(made, template)[0] if made.loader else ""
    except jinja2.TemplateNotFound:
        says = f"there is no template '{template}'"
        raise InputRefused([Problem("W001", Place(template), says, "Put the file back.")]) from None


def _filled(render: Callable[[], str], template: str, rows: Mapping[str, Any]) -> str:
    try:
        return render()
    except jinja2.TemplateSyntaxError as error:
        place = Place(error.name or template, error.lineno)
        raise _fault("W002", place, f"the template cannot be read: {error.message}", "Check its braces.") from None
    except jinja2.UndefinedError as error:
        name = re.search(r"'([^']+)' is undefined", str(error))
        do = meant(name[1], rows) if name else "Use a name that the page knows."
        raise _fault("W003", Place(template, _line(error, template)), str(error.message), do) from None
    except jinja2.TemplateError as error:
        raise _fault("W002", Place(template, _line(error, template)), str(error), "Check the template.") from None


def _line(error: BaseException, template: str) -> int:
    found, frame = 0, error.__traceback__
    while frame:
        if frame.tb_frame.f_code.co_filename in (template, "<template>"):
            found = frame.tb_lineno
        frame = frame.tb_next
    return found


def _fault(code: str, place: Place, says: str, do: str) -> InputRefused:
    return InputRefused([Problem(code, place, says, do)])


def _parser() -> MarkdownIt:
    parser = MarkdownIt("commonmark", {"html": False}).enable(["table", "strikethrough"])
    return parser.use(container_plugin, "box", validate=lambda params, markup: bool(params.strip()))


_PARSER = _parser()


def markdown_tree(text: str, file: str, drawings: Drawings | None = None, source: str = "") -> Tree:
    """The tree of a Markdown text.

    Args:
        text: Markdown; raw HTML is plain text.
        file: Name shown in problems.
        drawings: What the marks of drawings stand for.
        source: The template the text came from; faults are told with its lines where they can be found there.

    Raises:
        InputRefused: A box of unknown kind or never closed, a table row with too many or too few cells, a line of a
            table outside a table, or a thing that cannot be printed.
    """
    walk = _Walk(file, text.split("\n"), drawings or Drawings(), source.split("\n"))
    walk.table_rows()
    tree = walk.blocks(_PARSER.parse(text))
    if walk.problems:
        raise InputRefused(walk.problems)
    return tree


class _Walk:
    def __init__(self, file: str, lines: Sequence[str], drawings: Drawings, source: Sequence[str]) -> None:
        self.file, self.lines, self.drawings, self.source = file, lines, drawings, source
        self.problems: list[Problem] = []

    def wrong(self, line: int, says: str, do: str) -> None:
        self.problems.append(Problem("W004", Place(self.file, self._at(line)), says, do))

    def _at(self, line: int) -> int:
        """The line of the template that a rendered line came from, found by its text; else the rendered line."""
        text = self.lines[line].strip() if line < len(self.lines) else ""
        for number, written in enumerate(self.source, 1):
            if text and written.strip() == text:
                return number
        return line + 1

    def table_rows(self) -> None:
        """Rows of tables are counted before the parser pads or drops cells."""
        width, inside = 0, False
        for number, line in enumerate(self.lines):
            if re.fullmatch(r"\s*\|?\s*:?-+:?\s*(\|\s*:?-+:?\s*)*\|?\s*", line) and "|" in line:
                width, inside = _cells(line), True
                if number and _cells(self.lines[number - 1]) != width:
                    self.wrong(number - 1, "a table's heading has another number of cells than the line below it",
                               "Give every row the same number of cells.")  # fmt: skip
            elif inside and line.strip() and not line.startswith((":::", "#")):
                if _cells(line) != width:
                    says = f"a table row has {_cells(line)} cells, its heading has {width}: '{_short(line)}'"
                    self.wrong(number, says, "Give every row the same number of cells.")
            else:
                inside = False

    def blocks(self, tokens: Sequence[Token]) -> Tree:
        top: Tree = []
        stack: list[tuple[str, Tree]] = [("", top)]
        index = 0
        while index < len(tokens):
            token = tokens[index]
            kind, here = token.type, stack[-1][1]
            if kind in ("paragraph_open", "heading_open"):
                inner = tokens[index + 1]
                here.extend(self.paragraph(inner, token))
                index += 2
            elif kind in ("bullet_list_open", "ordered_list_open"):
                node = {
                    "t": "ul" if kind.startswith("bullet") else "ol",
                    "items": [],
                    "start": token.attrGet("start") or 1,
                }
                here.append(node)
                stack.append((kind, node["items"]))
            elif kind == "list_item_open":
                item: Tree = []
                here.append(item)  # type: ignore[arg-type]
                stack.append((kind, item))
            elif kind == "container_box_open":
                node = self.box(token)
                here.append(node)
                stack.append((kind, node["c"]))
            elif kind == "table_open":
                node, index = self.table(tokens, index)
                here.append(node)
            elif kind.endswith("_close"):
                stack.pop()
            elif kind == "hr":
                here.append({"t": "hr"})
            elif kind in ("fence", "code_block"):
                here.append({"t": "pre", "text": token.content.rstrip("\n")})
            else:
                line = token.map[0] if token.map else 0
                self.wrong(
                    line, f"'{kind.removesuffix('_open').replace('_', ' ')}' cannot be printed", "Write it plainly."
                )
                if token.nesting == 1:
                    stack.append((kind, []))
            index += 1
        return top

    def paragraph(self, inner: Token, opening: Token) -> Tree:
        line = opening.map[0] if opening.map else 0
        if inner.content.lstrip().startswith(":::"):
            self.wrong(line, f"a box is not opened as it should be: '{_short(inner.content)}'",
                       "Open it with ::: and a kind, close it with ::: on a line of its own.")  # fmt: skip
        if inner.content.lstrip().startswith("|"):
            self.wrong(line, f"a table row stands outside a table: '{_short(inner.content)}'",
                       "Put a heading and a line of dashes above it.")  # fmt: skip
        if opening.type == "heading_open":
            return [{"t": "h", "level": int(opening.tag[1]), "c": self.inline(inner)}]
        found: Tree = []
        marks = _MARK.fullmatch(inner.content.strip())
        if marks and marks[1] == "svg":
            number = int(marks[2])
            found.append({"t": "svg", "svg": self.drawings.svgs[number], "alt": self.drawings.alts[number]})
        elif marks and marks[1] == "pagebreak":
            found.append({"t": "pagebreak"})
        else:
            found.append({"t": "p", "c": self.inline(inner), "tight": opening.hidden})
        return found

    def box(self, token: Token) -> dict[str, Any]:
        start, end = token.map or (0, 0)
        kind, _, title = token.info.strip().partition(" ")
        if kind not in BOXES:
            self.wrong(start, f"there is no box '{kind}'", meant(kind, BOXES))
        if end >= len(self.lines) or not self.lines[end].strip().startswith(":::"):
            self.wrong(
                start, f"the box '{_short(token.info)}' is never closed", "Close it with ::: on a line of its own."
            )
        inline = _PARSER.parseInline(title.strip())[0]
        return {"t": "box", "kind": kind, "title": self.inline(inline), "c": []}

    def table(self, tokens: Sequence[Token], index: int) -> tuple[dict[str, Any], int]:
        rows: list[list[Tree]] = []
        align: list[str] = []
        while tokens[index].type != "table_close":
            token = tokens[index]
            if token.type == "tr_open":
                rows.append([])
            elif token.type in ("th_open", "td_open"):
                if token.type == "th_open":
                    align.append(str(token.attrGet("style") or "left").rpartition(":")[2])
                rows[-1].append(self.inline(tokens[index + 1]))
            index += 1
        return {"t": "table", "align": align, "head": rows[0], "rows": rows[1:]}, index

    def inline(self, token: Token) -> Tree:
        top: Tree = []
        stack: list[Tree] = [top]
        names = {"strong": "b", "em": "i", "s": "s"}
        for child in token.children or []:
            base = child.type.removesuffix("_open").removesuffix("_close")
            if child.type == "text" or child.type == "text_special":
                stack[-1].extend(_marked(child.content))
            elif child.type == "softbreak":
                stack[-1].append({"t": "text", "s": " "})
            elif child.type == "hardbreak":
                stack[-1].append({"t": "br"})
            elif child.type == "code_inline":
                stack[-1].append({"t": "code", "s": child.content})
            elif base in names and child.nesting == 1:
                node: dict[str, Any] = {"t": names[base], "c": []}
                stack[-1].append(node)
                stack.append(node["c"])
            elif base in names:
                stack.pop()
            else:
                line = token.map[0] if token.map else 0
                self.wrong(line, f"'{base.replace('_', ' ')}' cannot be printed", "Write it plainly.")
        return _joined(top)


def _cells(line: str) -> int:
    return len(re.split(r"(?<!\\)\|", line.strip().removeprefix("|").removesuffix("|")))


def _short(text: str) -> str:
    plain = " ".join(text.replace("\\", "").split())
    return plain if len(plain) <= 50 else plain[:47] + "..."


def _marked(text: str) -> Tree:
    found: Tree = []
    last = 0
    for match in _MARK.finditer(text):
        if match.start() > last:
            found.append({"t": "text", "s": text[last : match.start()]})
        found.append({"t": "blank", "mm": int(match[2])} if match[1] == "blank" else {"t": match[1]})
        last = match.end()
    if last < len(text):
        found.append({"t": "text", "s": text[last:]})
    return found


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
