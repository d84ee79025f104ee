"""Templates to Markdown, Markdown to one neutral tree; every fault of a template or text is told with its line.

Blocks: h (level, c), p (c), ul and ol (items), table (align, head, rows), box (kind, title, c), svg (number, alt), hr,
pagebreak, pre (text). Inline: text (s), b, i, s (c), code (s), br, blank (mm), tick.
"""

from __future__ import annotations

import re
import unicodedata
import xml.etree.ElementTree
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
_SHIFT = 0xE100
"""Signs of data that Markdown could take for markup travel through it as private signs, this much higher."""
_NOTHING = chr(_SHIFT)
"""Stands at both ends of data, as a letter would, so that `**{{ name }}**` is bold for any name, even an empty one."""
_TO_PRIVATE = {code: _SHIFT + code for code in range(33, 127) if not chr(code).isalnum()}
_FROM_PRIVATE = {_SHIFT: None, **{private: code for code, private in _TO_PRIVATE.items()}}
JOINERS = "\u200c\u200d\ufe0e\ufe0f"
"""Invisible signs that scripts and emoji need; all others, such as those that turn the direction, are left out."""
_TIED = "\u00a0\u2007\u202f"
"""Spaces at which no line is broken."""
_PROBABLE_SIZE = re.compile(r"(?<=\d) (?=\d+/\d+(?!\d)|(?:mm|cm|m|in|ft|kg|g|lb|N|kN|rpm|min|s|h|°|°C|°F|%)(?![\w]))")
BLANK_MM = (3, 160)
"""Shortest and longest blank to write on. [mm]"""


class Ready(str):
    """Text that is Markdown already and is not escaped again."""

    __slots__ = ()


def escaped(value: object) -> str:
    """Data as Markdown that shows exactly the data wherever it stands: no emphasis, no tags, no table borders.

    Raises:
        ValueError: A blank, tick box or drawing was joined to other text, where it would be lost.
    """
    if isinstance(value, Ready):
        return value
    text = "" if value is None else str(value)
    if _MARK.search(text):
        raise ValueError("a blank, tick box or drawing is joined to text")
    text = shown(text).translate(_TO_PRIVATE)
    return text if text[:1].isalnum() and text[-1:].isalnum() else _NOTHING + text + _NOTHING


def shown(text: str) -> str:
    """The text in one line, without signs that cannot be seen or that turn its direction."""
    plain = unicodedata.normalize("NFC", "".join(" " if c.isspace() and c not in _TIED else c for c in text))
    return "".join(c for c in plain if c in JOINERS or unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co"))


def _given(text: str) -> str:
    """Text as its author gave it, after Markdown has been read."""
    return text.translate(_FROM_PRIVATE)


@dataclass
class Drawings:
    """Drawings of a document, kept out of the Markdown."""

    svgs: list[str] = field(default_factory=list)
    alts: list[str] = field(default_factory=list)

    def add(self, svg: str, alt: str) -> Ready:
        """Keep a drawing and give the mark that stands for it.

        Raises:
            ValueError: The drawing is no SVG, or nothing says what it shows.
        """
        if not alt.strip():
            raise ValueError("a drawing has no words that say what it shows")
        try:
            root = xml.etree.ElementTree.fromstring(svg)
        except xml.etree.ElementTree.ParseError as error:
            raise ValueError(f"the drawing '{_short(alt)}' is not SVG ({error})") from None
        if root.tag != "{http://www.w3.org/2000/svg}svg":
            raise ValueError(f"the drawing '{_short(alt)}' is not SVG")
        self.svgs.append(svg)
        self.alts.append(alt)
        return Ready(f"\n\n{_OPEN}svg:{len(self.svgs) - 1}{_CLOSE}\n\n")


class _Environment(jinja2.sandbox.SandboxedEnvironment):
    """Knows the text of every template it reads, so that a fault is told with file and line, includes too."""

    def __init__(self, loader: jinja2.BaseLoader) -> None:
        super().__init__(
            loader=loader, undefined=_Unknown, finalize=escaped, trim_blocks=True, lstrip_blocks=True,
            keep_trailing_newline=True, autoescape=False,
        )  # fmt: skip
        self.globals.clear()
        self.globals["range"] = jinja2.sandbox.safe_range
        self.used: list[str] = []

    def compile(self, source, name=None, filename=None, raw=False, defer_init=False):
        """As Jinja does it, with the template's name in the place of its path."""
        return super().compile(source, name, name or filename, raw, defer_init)

    def _load_template(self, name, globals):
        """As Jinja does it; keeps the name, since a loader may give a template that was compiled before."""
        if name not in self.used:
            self.used.append(name)
        return super()._load_template(name, globals)

    def sources(self) -> dict[str, str]:
        """The text of each template used, by its name."""
        return {name: self.loader.get_source(self, name)[0] for name in self.used} if self.loader else {}


class _Unknown(jinja2.StrictUndefined):
    """An unknown name; says what is known where it was looked for."""

    __slots__ = ()

    @property
    def _undefined_message(self) -> str:
        name, owner = str(self._undefined_name), self._undefined_obj
        if self._undefined_hint or owner is jinja2.utils.missing:
            return self._undefined_hint or f"'{name}' is undefined"
        known = owner if isinstance(owner, Mapping) else getattr(owner, "__dataclass_fields__", {})
        return f"'{name}' is undefined\n{meant(name, map(str, known))}"


def render_tree(template: str, rows: Mapping[str, Any], loader: jinja2.BaseLoader) -> Tree:
    """The tree of a template filled with finished rows.

    The template may use `blank(mm)`, `tick()`, `newline()`, `drawing(svg, alt)` and `pagebreak()`.

    Raises:
        InputRefused: Unknown name, bad syntax, or a text that cannot be laid out; with file and line.
    """
    drawings = Drawings()
    made = _Environment(loader)
    text = _filled(made, template, {**rows, **helpers(drawings)})
    return markdown_tree(text, template, drawings, made.sources)


def helpers(drawings: Drawings) -> dict[str, Callable[..., Ready]]:
    """What templates may call."""
    return {
        "blank": _blank,
        "tick": lambda: Ready(f"{_OPEN}tick{_CLOSE}"),
        "newline": lambda: Ready(f"{_OPEN}br{_CLOSE}"),
        "pagebreak": lambda: Ready(f"\n\n{_OPEN}pagebreak{_CLOSE}\n\n"),
        "drawing": drawings.add,
        "ready": Ready,
    }


def _blank(mm: int = 22) -> Ready:
    if not BLANK_MM[0] <= int(mm) <= BLANK_MM[1]:
        raise ValueError(f"a blank of {mm} mm; it must be {BLANK_MM[0]} to {BLANK_MM[1]} mm long")
    return Ready(f"{_OPEN}blank:{int(mm)}{_CLOSE}")


def _filled(made: _Environment, template: str, rows: Mapping[str, Any]) -> str:
    try:
        return made.get_template(template).render(rows)
    except jinja2.TemplateSyntaxError as error:
        place = Place(error.name or template, error.lineno)
        raise _fault("W002", place, f"the template cannot be read: {error.message}", "Check its braces.") from None
    except jinja2.TemplateNotFound as error:
        says = f"there is no template '{error.name}'"
        raise _fault("W001", _where(error, made, template), says, "Put the file back, or mend its name.") from None
    except jinja2.UndefinedError as error:
        says, _, do = str(error.message).partition("\n")
        name = re.search(r"'([^']+)' is undefined", says)
        do = do or (meant(name[1], rows) if name else "Use a name that the page knows.")
        raise _fault("W003", _where(error, made, template), says, do) from None
    except jinja2.TemplateError as error:
        raise _fault("W002", _where(error, made, template), str(error), "Check the template.") from None
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError, RecursionError) as error:
        says = f"the template cannot be filled: {error}"
        raise _fault("W002", _where(error, made, template), says, "Check what stands in the braces.") from None


def _where(error: BaseException, made: _Environment, template: str) -> Place:
    """The innermost line of a template that the fault went through."""
    place, frame = Place(template), error.__traceback__
    while frame:
        name = frame.tb_frame.f_code.co_filename
        if name in made.used:
            place = Place(name, frame.tb_lineno)
        frame = frame.tb_next
    return place


def _fault(code: str, place: Place, says: str, do: str) -> InputRefused:
    return InputRefused([Problem(code, place, says, do)])


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
        return _short(self._line(line))

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
            elif kind == "fence":
                if _MARK.search(token.content):
                    self.wrong((token.map or [0])[0], *_MARK_IN_CODE)
                here.append({"t": "pre", "text": _given(token.content.rstrip("\n"))})
            elif kind == "code_block":
                line = (token.map or [0])[0]
                says = f"a line is set in by four spaces or more: '{self._quote(line)}'"
                self.wrong(line, says, "Begin it further left.")
            else:
                line = token.map[0] if token.map else 0
                what = kind.removesuffix("_open").replace("_", " ")
                self.wrong(line, f"'{what}' cannot be printed: '{self._quote(line)}'", "Write it plainly.")
                if token.nesting == 1:
                    stack.append((kind, []))
            index += 1
        return top

    def paragraph(self, inner: Token, opening: Token) -> Tree:
        line = opening.map[0] if opening.map else 0
        for number, written in enumerate(inner.content.split("\n"), line):
            self.left_over(number, written.strip())
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

    def left_over(self, line: int, written: str) -> None:
        """A line of a box or table that the parser took for plain text."""
        if written.startswith("::"):
            says = f"a box is not opened or closed as it should be: '{_short(written)}'"
            self.wrong(line, says, "Open it with ::: and a kind, close it with ::: on a line of its own.")
        elif written.startswith("|"):
            below = self.lines[line + 1] if line + 1 < len(self.lines) else ""
            if _RULE.fullmatch(below) and not _RULE.fullmatch(written):
                says = f"the line below a table's heading has another number of cells: '{_short(written)}'"
                self.wrong(line, says, "Give every row the same number of cells.")
                self.told.update(range(line, len(self.lines)))
            else:
                says = f"a table row stands outside a table: '{_short(written)}'"
                self.wrong(line, says, "Put a heading and a line of dashes above it.")

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
                if _MARK.search(child.content):
                    self.wrong(line, *_MARK_IN_CODE)
                stack[-1].append({"t": "code", "s": _given(child.content)})
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
        for match in _MARK.finditer(text):
            if match.start() > last:
                found.append({"t": "text", "s": _whole_sizes(_given(text[last : match.start()]))})
            if match[1] == "blank":
                found.append({"t": "blank", "mm": int(match[2])})
            elif match[1] in ("tick", "br"):
                found.append({"t": match[1]})
            else:
                self.wrong(line, "a drawing or page break stands inside a line", "Give it a line of its own.")
            last = match.end()
        if last < len(text):
            found.append({"t": "text", "s": _whole_sizes(_given(text[last:]))})
        return found


_RULE = re.compile(r"\s*\|?\s*:?-+:?\s*(?:\|\s*:?-+:?\s*)*\|?\s*")
"""The line of dashes below a table's heading."""
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


def _short(text: str) -> str:
    plain = " ".join(_given(_MARK.sub(" ", text)).replace("\\", "").split())
    return plain if len(plain) <= 50 else plain[:47] + "..."


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
