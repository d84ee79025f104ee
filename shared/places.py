"""Where a value was written, and readers of YAML and CSV that keep it."""

from __future__ import annotations

import csv
import io
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import yaml


@dataclass(frozen=True, slots=True)
class Place:
    """File, line and column (both from 1), or a file and the cell of a sheet."""

    file: str
    line: int = 0
    column: int = 0
    cell: str = ""
    """Sheet and cell of a workbook, as in `Fit checks!D12`."""

    @property
    def sort_key(self) -> tuple[str, int, int, str]:
        """Reading order."""
        return (self.file, self.line, self.column, self.cell)

    def __str__(self) -> str:
        """`plan.yaml:14:9`, `sheet.xlsx:Fit checks!D12`, or the file alone."""
        if self.cell:
            return f"{self.file}:{self.cell}"
        if self.line and self.column:
            return f"{self.file}:{self.line}:{self.column}"
        return f"{self.file}:{self.line}" if self.line else self.file


NOWHERE = Place("fairfit")
"""For what was not written in any file."""


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar as the author typed it."""

    text: str
    place: Place
    quoted: bool = False

    @property
    def empty(self) -> bool:
        """Nothing was written."""
        return not self.quoted and self.text.strip() in ("", "~", "null")


@dataclass(frozen=True, slots=True)
class Items:
    """A YAML sequence."""

    values: tuple[Node, ...]
    place: Place

    def __iter__(self) -> Iterator[Node]:
        """The members in order."""
        return iter(self.values)

    def __len__(self) -> int:
        """How many members."""
        return len(self.values)


@dataclass(frozen=True, slots=True)
class Mapping:
    """A YAML mapping; keys keep their place."""

    entries: dict[str, Node]
    keys: dict[str, Place]
    place: Place

    def get(self, key: str) -> Node | None:
        """The value of a key, or None."""
        return self.entries.get(key)

    def text(self, key: str, default: str = "") -> str:
        """The text of a scalar; the default when the key is missing, empty or no scalar."""
        node = self.entries.get(key)
        return node.text if isinstance(node, Text) and not node.empty else default

    def items(self) -> Iterator[tuple[str, Node]]:
        """Keys and values as written."""
        return iter(self.entries.items())


Node = Text | Items | Mapping


class Unreadable(Exception):
    """A file that is not YAML or CSV at all; carries place, what is wrong and what to do."""

    def __init__(self, place: Place, says: str, do: str) -> None:
        self.place, self.says, self.do = place, says, do
        super().__init__(says)


MAX_BYTES = 4_000_000
"""No plan, roster or lesson is larger; a larger file is a mistake."""


def read_text(path: Path, shown: str | None = None) -> str:
    """The text of a UTF-8 file; one in UTF-16 that says so with its first two bytes is read too.

    Raises:
        Unreadable: Missing, a folder, locked, too large, or neither.
    """
    place = Place(shown or path.name)
    try:
        if path.stat().st_size > MAX_BYTES:
            says = f"the file is larger than {MAX_BYTES // 1_000_000} MB"
            raise Unreadable(place, says, "Give a smaller file.")
        data = path.read_bytes()
        return data.decode("utf-16" if data.startswith((BOM_UTF16_LE, BOM_UTF16_BE)) else "utf-8-sig")
    except FileNotFoundError:
        raise Unreadable(place, "there is no such file", "Make it, or check its name.") from None
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        do = "Save it again as UTF-8; a spreadsheet calls it CSV UTF-8."
        raise Unreadable(Place(place.file, line), "the file is not UTF-8 text", do) from None
    except OSError as error:
        raise Unreadable(
            place, f"the file cannot be read ({error.strerror})", "Close other programs that use it."
        ) from None


_PLAIN = (
    ("character '\\t'", "a tab stands here; a file is indented with spaces alone"),
    ("found '<block mapping start>'", "the line begins further in than those it belongs to"),
    ("mapping values are not allowed", "there is a colon too many, or the line begins further in than the one above"),
    ("could not find expected ':'", "a colon is missing"),
    ("expected ',' or", "a comma or a closing bracket is missing"),
    ("unexpected end of stream", "a quote is never closed"),
    ("found undefined alias", "a value begins with `*`; put it in quotes"),
)
"""What the reader of YAML says, in part, and the same in plain words."""


def read_yaml(text: str, file: str) -> Mapping:
    """The mapping at the top of a YAML text, every scalar as written, with its place.

    Raises:
        Unreadable: Not YAML, not a mapping at the top, an alias, or a key written twice.
    """
    try:
        node = _composed(text)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Place(file, mark.line + 1, mark.column + 1) if mark else Place(file)
        says = next((plain for part, plain in _PLAIN if part in (error.problem or "")), error.problem)
        do = "Check indentation, colons and quotes, here and in the line above."
        raise Unreadable(place, f"the file is not valid YAML: {says}", do) from None
    except (yaml.YAMLError, RecursionError) as error:
        says = f"the file is not valid YAML: {str(error).splitlines()[0]}"
        raise Unreadable(Place(file), says, "Save it as plain text.") from None
    if node is None:
        return Mapping({}, {}, Place(file, 1, 1))
    read = _node(node, file, ())
    if not isinstance(read, Mapping):
        raise Unreadable(read.place, "the file does not start with `name: value` lines", "Begin with a name.")
    return read


def _composed(text: str) -> yaml.Node | None:
    """The nodes of a YAML text, by libyaml where PyYAML was built with it: that is six times as fast.

    What it refuses is read again without it, so that the words of a refusal are the same everywhere.
    """
    if yaml.__with_libyaml__:
        with suppress(yaml.YAMLError):
            return yaml.compose(text, Loader=yaml.CSafeLoader)
    return yaml.compose(text, Loader=yaml.SafeLoader)


def _node(node: yaml.Node, file: str, above: tuple[yaml.Node, ...]) -> Node:
    place = Place(file, node.start_mark.line + 1, node.start_mark.column + 1)
    if any(node is other for other in above) or len(above) > 40:
        raise Unreadable(place, "the file refers to itself", "Write the values out, without `&` and `*`.")
    inner = (*above, node)
    if isinstance(node, yaml.ScalarNode):
        return Text(node.value, place, quoted=node.style in ("'", '"', "|", ">"))
    if isinstance(node, yaml.SequenceNode):
        return Items(tuple(_node(value, file, inner) for value in node.value), place)
    entries: dict[str, Node] = {}
    keys: dict[str, Place] = {}
    for key, value in node.value:
        key_place = Place(file, key.start_mark.line + 1, key.start_mark.column + 1)
        if not isinstance(key, yaml.ScalarNode):
            raise Unreadable(key_place, "a name must be plain text", "Write `name: value`.")
        if key.value in entries:
            raise Unreadable(key_place, f"'{key.value}' is written twice", "Keep one of the two.")
        entries[key.value], keys[key.value] = _node(value, file, inner), key_place
    return Mapping(entries, keys, place)


@dataclass(frozen=True, slots=True)
class Row:
    """One record of a CSV file; columns under their heading."""

    cells: dict[str, Text]
    place: Place

    def text(self, column: str) -> str:
        """The trimmed text of a column; empty when the column or the cell is missing."""
        cell = self.cells.get(column)
        return cell.text.strip() if cell else ""

    def at(self, column: str) -> Place:
        """Where the cell of a column stands."""
        cell = self.cells.get(column)
        return cell.place if cell else self.place


@dataclass(frozen=True, slots=True)
class Table:
    """A CSV file with a heading line."""

    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    place: Place


def _each_once(headings: tuple[str, ...], file: str, line: int) -> None:
    for number, heading in enumerate(headings, 1):
        if heading and heading in headings[: number - 1]:
            says = f"the column '{heading}' stands twice"
            raise Unreadable(Place(file, line, number), says, "Keep one of the two, or give one another heading.")


def _under_headings(record: list[str], headings: tuple[str, ...], file: str, line: int) -> None:
    for number, cell in enumerate(record[len(headings) :], len(headings) + 1):
        if cell.strip():
            says = f"'{cell.strip()}' stands in cell {number}, and there are {len(headings)} headings"
            do = "Put a text that has commas in it in quotes, or write a comma for a cell less."
            raise Unreadable(Place(file, line, number), says, do)


def read_csv(text: str, file: str) -> Table:
    """The rows of a CSV text under its headings; comma, semicolon or tab, empty lines skipped.

    The column of a place is the number of the cell, since a spreadsheet shows cells.

    Raises:
        Unreadable: No heading line, a heading twice, a line with more cells than headings, or quotes that never close.
    """
    delimiter = max(",;\t", key=text.split("\n", 1)[0].count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[Row] = []
    headings: tuple[str, ...] = ()
    start = 1
    try:
        for record in reader:
            line, start = start, reader.line_num + 1
            if not any(cell.strip() for cell in record):
                continue
            if not headings:
                headings = tuple(cell.strip() for cell in record)
                _each_once(headings, file, line)
                continue
            _under_headings(record, headings, file, line)
            cells = {
                heading: Text(cell, Place(file, line, number))
                for number, (heading, cell) in enumerate(zip(headings, record, strict=False), 1)
            }
            rows.append(Row(cells, Place(file, line)))
    except csv.Error as error:
        raise Unreadable(
            Place(file, start), f"the line cannot be read as CSV: {error}", "Check the quotes."
        ) from None
    if not headings:
        raise Unreadable(Place(file), "the file has no heading line", "Start with the names of the columns.")
    return Table(headings, tuple(rows), Place(file, 1, 1))
