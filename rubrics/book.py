"""A workbook of tables that a person can print and sort: title, headings, one kind of number in each column.

Text is written as text whatever it looks like, in the words of the course (`terms`), and every formula with the value
it comes to.
"""

from __future__ import annotations

import datetime
import io
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

HEAD = 3
"""Row of the headings on every sheet, counted from 0; above it stand the title and a line of explanation."""
TINTS = (("EEF6EA", "000000"), ("FFDC82", "000000"), ("F0AE75", "000000"), ("A63A2B", "FFFFFF"))
"""Ground and letters of the levels, best first. The word says the same, and each is darker than the one before, so
that they can be told apart on a grey print and by eyes that see red and green alike."""
BAR = "BCD3EA"
SHADED = "#EAF1FB"
"""Ground of what may be changed."""
LINE = 15
"""Height of a line of text, in points."""
WRITTEN = datetime.datetime(2000, 1, 1)
"""The date in every file, so that the same book is the same bytes; whatever saves it again puts its own."""
PAPERS = {"a4": 9, "letter": 1}

ROWS, COLUMNS = 1_048_576, 16_384
"""Room on a sheet of this file format, within which XlsxWriter writes; it passes over whatever lies beyond."""

Cell = str | Fraction | float | int | None


@dataclass(frozen=True, slots=True)
class Live:
    """A formula and the value it comes to."""

    formula: str
    value: Cell


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a sheet."""

    heading: str
    form: str = "text"
    """One of `FORMS`."""
    printed: bool = True
    widest: int = 46
    """Characters beyond which its text is wrapped."""


class Columns(tuple[Column, ...]):
    """The columns of a sheet, found by their heading."""

    @cached_property
    def letters(self) -> dict[str, str]:
        """The letter of each column, by its heading."""
        return {column.heading: xl_col_to_name(number) for number, column in enumerate(self)}


FORMS: dict[str, dict[str, object]] = {
    "text": {"align": "left", "indent": 1, "text_wrap": True},
    "whole": {"num_format": "0"},
    "mm": {"num_format": "0.00"},
    "fine": {"num_format": "0.000"},
    "signed": {"num_format": "[>=0.005]+0.00;[<=-0.005]-0.00;0.00"},
    "taken": {"num_format": "[>=0.005]+0.00;[<=-0.005]-0.00;"},
    "percent": {"num_format": "0.0"},
    "share": {"num_format": "0 %"},
    "points": {"num_format": "0.00"},
    "input": {"bg_color": SHADED},
    "input fine": {"bg_color": SHADED, "num_format": "0.000"},
    "typed": {"bg_color": SHADED, "num_format": "@", "align": "left", "indent": 1, "text_wrap": True},
    "limits off": {"num_format": "+0.0;-0.0;0.0"},
    "heat": {"num_format": "+0.0;-0.0;0.0", "align": "center", "border": 1, "border_color": "#C8C8C8"},
}
"""How text and numbers of a kind are shown; `taken` is blank where nothing is taken out, `input` may be changed and
`typed` may be changed and stays as it is typed."""
LEFT = ("text", "typed")
"""Forms whose headings stand to the left."""


class Sheet(Worksheet):
    """A sheet that takes formulas as they are written: no function in them is so new that it needs a prefix."""

    def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
        return formula.removeprefix("=")


class Book:
    """A workbook in the making; every sheet has a title, an explanation and one table.

    Cells are written from top to bottom: a row leaves the memory when the next one is begun.
    """

    def __init__(self, title: str, paper: str, footer: str, words: Callable[[str], str]) -> None:
        self._words = words
        self._memory = io.BytesIO()
        self._book = xlsxwriter.Workbook(self._memory, {"strings_to_formulas": False, "strings_to_urls": False})
        self._book.set_properties({"title": title, "created": WRITTEN})
        self._paper, self._footer = PAPERS[paper], footer.replace("&", "&&")
        base: dict[str, object] = {"valign": "top"}
        self.forms = {name: self._book.add_format({**base, **form}) for name, form in FORMS.items()}
        self.title = self._book.add_format({"bold": True, "font_size": 14})
        head = {"bold": True, "bottom": 1, "text_wrap": True, "valign": "bottom"}
        left, right = {"align": "left", "indent": 1}, {"align": "right"}
        self.heads = {n: self._book.add_format({**head, **(left if n in LEFT else right)}) for n in FORMS}
        self.tints = [
            self._book.add_format({"bg_color": f"#{ground}", "font_color": f"#{letters}"}) for ground, letters in TINTS
        ]
        self.grounds = [ground for ground, _ in TINTS]
        self.left = self._book.add_format({**base, "align": "left"})
        self.upright = self._book.add_format({**base, "rotation": 90, "valign": "bottom", "align": "center"})

    def sheet(self, name: str, title: str, says: str, charts: bool = False) -> Any:
        """An empty sheet with its title.

        Args:
            name: On its tab.
            title: In its first row.
            says: In its second row.
            charts: Whether charts are drawn from its cells: it is kept whole, so that they hold the values too.
        """
        self._book.constant_memory = not charts
        sheet = self._book.add_worksheet(name, Sheet)
        self._book.constant_memory = False
        sheet.write_string(0, 0, self._words(title), self.title)
        sheet.write_string(1, 0, self._words(says))
        sheet.set_landscape()
        sheet.set_paper(self._paper)
        sheet.set_margins(0.4, 0.4, 0.5, 0.6)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{self._footer}&C&A&RPage &P of &N")
        return sheet

    def table(
        self, sheet: Any, columns: Sequence[Column], rows: Iterable[Sequence[Cell | Live]], head: int = HEAD,
        sortable: bool = True, frozen: bool = True, more: int = 0,
    ) -> int:  # fmt: skip
        """Write a table below its headings; gives the row after the last.

        Args:
            sheet: As `sheet` made it.
            columns: From left to right; those that are not printed stand last.
            rows: A cell for each column.
            head: Row of the headings, counted from 0.
            sortable: Whether its rows may be sorted: no other sheet may refer to them by place.
            frozen: Whether headings and the first two columns stay in sight.
            more: Empty rows below, shaded where something may be typed.
        """
        widest = [max((len(word) for word in column.heading.split()), default=1) for column in columns]
        for number, column in enumerate(columns):
            sheet.write_string(head, number, self._words(column.heading), self.heads[column.form])
        row = head
        for row, cells in enumerate(rows, head + 1):
            tall = 1
            for number, (column, cell) in enumerate(zip(columns, cells, strict=True)):
                self.put(sheet, row, number, cell, self.forms[column.form])
                shown = cell.value if isinstance(cell, Live) else cell
                widest[number] = max(widest[number], len(shown) if isinstance(shown, str) else 6)
                tall = max(tall, _lines(shown, column.widest))
            if tall > 1:
                sheet.set_row(row, LINE * tall)
        for below in range(row + 1, row + 1 + more):
            for number, column in enumerate(columns):
                self.put(sheet, below, number, "", self.forms[column.form])
        for number, (column, width) in enumerate(zip(columns, widest, strict=True)):
            sheet.set_column(number, number, min(width, column.widest) + (2 if column.form in LEFT else 1.5))
        if frozen:
            sheet.freeze_panes(head + 1, 2)
            sheet.repeat_rows(head)
        if sortable:
            sheet.autofilter(head, 0, max(row, head + 1), len(columns) - 1)
        last = max(number for number, column in enumerate(columns) if column.printed)
        sheet.print_area(0, 0, max(row, head + 1), last)
        return row + 1

    def paragraphs(self, sheet: Any, lines: Sequence[str], width: int = 110) -> None:
        """Write sentences below the title, one a row, wrapped at so many characters."""
        sheet.set_column(0, 0, width + 6)
        for row, line in enumerate(lines, HEAD):
            sheet.write_string(row, 0, self._words(line), self.forms["text"])
            sheet.set_row(row, LINE * _lines(line, width) + 4)
        sheet.print_area(0, 0, HEAD + len(lines), 0)

    def put(self, sheet: Any, row: int, column: int, cell: Cell | Live, form: Any = None) -> None:
        """Write one cell; text is text whatever it looks like, and empty text no more than the ground of its form."""
        if isinstance(cell, Live):
            value = cell.value
            plain = "" if value is None else self._words(value) if isinstance(value, str) else float(value)
            sheet.write_formula(row, column, cell.formula, form, plain)
        elif cell == "":
            if form and form.bg_color:
                sheet.write_blank(row, column, None, form)
        elif isinstance(cell, str):
            sheet.write_string(row, column, self._words(cell), form)
        elif cell is not None:
            sheet.write_number(row, column, float(cell), form)

    def name(self, name: str, cells: str) -> None:
        """Give cells a name that formulas and people can use.

        Args:
            name: In small letters, with low lines.
            cells: With their sheet, all fixed, as `Limits!$A$5:$A$8`.
        """
        self._book.define_name(name, f"={cells}")

    def bars(self, sheet: Any, cells: str, most: float) -> None:
        """Bars behind numbers, from nothing to the most there can be."""
        sheet.conditional_format(
            cells,
            {"type": "data_bar", "bar_solid": True, "bar_color": f"#{BAR}", "bar_border_color": "#44688F",
             "min_type": "num", "max_type": "num", "min_value": 0, "max_value": most},
        )  # fmt: skip

    def tint(self, sheet: Any, cells: str, tests: Sequence[str]) -> None:
        """Shades of the levels for the cells that pass a test; the first that is passed holds.

        Args:
            sheet: Where they are.
            cells: As `D5:G9`.
            tests: A formula for each shade, written for the first cell.
        """
        for test, form in zip(tests, self.tints, strict=False):
            sheet.conditional_format(cells, {"type": "formula", "criteria": f"={test}", "format": form})

    def choice(self, sheet: Any, cells: str, source: str | Sequence[str]) -> None:
        """Offer a list in cells; something else is asked about and not refused.

        Args:
            sheet: Where they are.
            cells: As `D5:D9`.
            source: The words, or a formula for the cells that hold them.
        """
        words = source if isinstance(source, str) else list(source)
        sheet.data_validation(cells, {"validate": "list", "source": words, "error_type": "warning"})

    def chart(self, kind: str, title: str, across: str, up: str, subtype: str = "") -> Any:
        """An empty chart with its titles; grey lines and no frame.

        Args:
            kind: `column`, `bar` or `line`.
            title: What it shows.
            across: Title of the axis of categories.
            up: Title of the axis of values.
            subtype: As `stacked`.
        """
        chart = self._book.add_chart({"type": kind, **({"subtype": subtype} if subtype else {})})
        small = {"size": 9, "bold": False}
        chart.set_title({"name": self._words(title), "name_font": {"size": 12}, "overlay": False})
        chart.set_x_axis({"name": across, "name_font": small, "num_font": small, "label_position": "low"})
        grid = {"visible": True, "line": {"color": "#D0D0D0", "width": 0.75}}
        chart.set_y_axis({"name": up, "name_font": small, "num_font": small, "major_gridlines": grid})
        chart.set_legend({"position": "bottom", "font": small})
        return chart

    def close(self) -> bytes:
        """The finished file."""
        self._book.close()
        return self._memory.getvalue()


def _lines(shown: Cell, width: int) -> int:
    """How many lines a text takes in a column of so many characters."""
    return len(textwrap.wrap(shown, width)) if isinstance(shown, str) and len(shown) > width else 1


def at(columns: Columns, heading: str, row: int | str = "", fixed: bool = False) -> str:
    """The address of a column, or of one of its cells, by the column's heading; rows are counted from 1."""
    return f"${columns.letters[heading]}{'$' if fixed else ''}{row}"
